"""Starting current against the locked-rotor amps, or as a multiple of the running rating."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Qualifier, Quantity, Rating, Reading, Role
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import NOT_STEADY, Case, Need, Outcome, Rule, from_plate
from pipeline.checks.subjects import DRIVEN
from pipeline.checks.wording import figure
from pipeline.draft import Verdict


def _is_locked_rotor(reading: Reading) -> bool:
    """Whether a plate figure is the locked-rotor current, however it was marked."""
    return reading.rating is Rating.LRA or Qualifier.LOCKED_ROTOR in reading.qualifiers


START = Need(
    "start",
    Quantity.CURRENT,
    "A",
    DRIVEN,
    having=frozenset({Qualifier.INRUSH, Qualifier.PEAK}),
    without=frozenset({Qualifier.LOCKED_ROTOR, Qualifier.STANDBY}),
)
LOCKED = Need(
    "locked",
    Quantity.CURRENT,
    "A",
    DRIVEN,
    (Role.RATED,),
    missing="locked-rotor amps of the {subject}",
    same_subject=True,
    where=_is_locked_rotor,
)
RUNNING = Need(
    "running",
    Quantity.CURRENT,
    "A",
    DRIVEN,
    (Role.RATED,),
    ratings=(Rating.RLA, Rating.FLA, None),
    without=NOT_STEADY,
    same_subject=True,
)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each starting current; the running rating does where the locked-rotor amps were not said."""
    for anchor in job.of(Quantity.CURRENT, (Role.MEASURED,)):
        if START.accepts(anchor):
            locked = bind(job, limits, anchor, START, [LOCKED])
            running = bind(job, limits, anchor, START, [RUNNING])
            yield running if locked.missing and running.has("running") else locked


def judge(case: Case) -> Outcome | None:
    """Percent of the locked-rotor amps, or the multiple of the running amps, of which too little is never out."""
    start = case.num("start", "A")
    key = "locked" if case.has("locked") else "running"
    rated = case.span(key, "A")[1]
    if rated <= 0:
        return None
    basis = from_plate(case.bound[key], limits=[limit for limit in case.limits if limit.from_shop])
    if key == "locked":
        percent = start / rated * 100
        return case.judged(
            percent,
            case.limits.band("locked"),
            "%",
            result=f"{figure(percent)} % of the locked-rotor amps",
            against=f"{case.said(key)} locked rotor",
            basis=basis,
        )
    multiple = start / rated
    band = case.limits.band("multiple")
    weak = band.low is not None and multiple < band.low
    return case.judged(
        multiple,
        band,
        "",
        result=f"{figure(multiple)} times the running rating",
        against=f"{case.said(key)} rated",
        basis=basis,
        notes=["Did the meter catch the start?"] if weak else (),
        at_most=Verdict.MARGINAL if weak else Verdict.OUT_OF_TOLERANCE,
    )


RULE = Rule("inrush-multiple", (START, LOCKED, RUNNING), judge, cases=cases)
