"""Running amps of a motor or machine against its rated amps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Rating, Reading, Role
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import leg_of, leg_sets
from pipeline.checks.rule import NOT_STEADY, Case, Need, Outcome, Rule, from_plate
from pipeline.checks.subjects import DRIVEN
from pipeline.checks.wording import figure

STARTING_PCT = 250.0
AMPS = Need("amps", Quantity.CURRENT, "A", (*DRIVEN, "L1", "L2", "L3"), without=NOT_STEADY)
RATED = Need(
    "rated",
    Quantity.CURRENT,
    "A",
    DRIVEN,
    (Role.RATED,),
    missing="rated amps of the {subject}",
    without=NOT_STEADY,
    ratings=(Rating.RLA, Rating.FLA, None),
    same_subject=True,
)
RATED_UNIT = replace(RATED, subjects=("unit",), same_subject=False, missing="rated amps of the unit")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each running current with the rating of the same motor; of several legs the highest stands for all."""
    amps = [r for r in job.of(Quantity.CURRENT, (Role.MEASURED,)) if AMPS.accepts(r)]
    legs = [tuple(found.values()) for found in leg_sets(job, amps)]
    in_sets = {reading.id for found in legs for reading in found if len(found) > 1}
    for group in legs:
        if len(group) > 1:
            yield with_rating(job, limits, max(group, key=_top), group)
    for anchor in amps:
        if anchor.id not in in_sets and anchor.id not in job.passing:
            yield with_rating(job, limits, anchor, ())


def with_rating(job: Job, limits: RuleLimits, anchor: Reading, legs: tuple[Reading, ...]) -> Case:
    """The case of one current, with the other legs that were measured with it."""
    rated = RATED_UNIT if anchor.subject == leg_of(anchor) else RATED
    case = bind(job, limits, anchor, AMPS, [rated])
    return replace(case, groups={"legs": legs}) if legs else case


def _top(reading: Reading) -> float:
    """The higher end of a current in its own unit."""
    return max(value for value in (reading.value, reading.low, reading.high, 0.0) if value is not None)


def judge(case: Case) -> Outcome | None:
    """Percent of the rating."""
    rated = case.span("rated", "A")[1]
    if rated <= 0:
        return None
    percent = case.num("amps", "A") / rated * 100
    return case.judged(
        percent,
        case.limits.band(),
        "%",
        result=f"{figure(percent)} % of the rating",
        against=case.said("rated"),
        basis=from_plate(case.bound["rated"], limits=[x for x in [case.limits.limit("high")] if x.from_shop]),
        notes=[
            "It is the highest leg of those measured." if case.groups else "",
            "That is more like a starting or locked-rotor current." if percent > STARTING_PCT else "",
        ],
    )


RULE = Rule("running-amps-rating", (AMPS, RATED), judge, cases=cases)
