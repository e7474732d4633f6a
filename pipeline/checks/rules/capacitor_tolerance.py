"""A run capacitor's measured capacitance against its marking."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.checks import capacitors
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, Limit, RuleLimits
from pipeline.checks.rule import Case, Missing, Outcome, Rule, from_plate
from pipeline.checks.wording import figure

SUBJECT = "run capacitor"


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each measured run capacitor with its marking."""
    return capacitors.cases(job, limits, SUBJECT)


def judge(case: Case) -> Outcome | Missing:
    """Deviation in percent against the marked tolerance. A marking said as a range is its middle."""
    marked = capacitors.nominal(case)
    if isinstance(marked, Missing):
        return marked
    low, high = marked
    nominal = (low + high) / 2
    deviation = (case.num("measured", "uF") - nominal) / nominal * 100
    tolerance = capacitors.tolerance(case)
    band, text = tolerance.band, f" {tolerance.text}"
    defaults: tuple[Limit, ...] = tolerance.defaults
    if low < high:
        half = (high - low) / (high + low) * 100
        band, text, defaults = Band.m20(-half, half), "", ()
    own = bool(defaults) and not any(limit.from_shop for limit in defaults)
    return case.judged(
        deviation,
        band,
        "%",
        result=f"{figure(abs(deviation))} % {'low' if deviation < 0 else 'high'}",
        against=f"{case.said('marking')}{text}",
        basis=from_plate(case.bound["marking"], "marking", defaults),
        computed={
            "allowed from": (nominal * (1 + (band.low or 0) / 100), "uF"),
            "allowed to": (nominal * (1 + (band.high or 0) / 100), "uF"),
        },
        notes=[f"The tolerance of {text.strip()} is the default, not from the marking."] if own else (),
    )


RULE = Rule(
    "capacitor-tolerance",
    (capacitors.measured_need(SUBJECT), capacitors.marking_need(SUBJECT)),
    judge,
    cases=cases,
)
