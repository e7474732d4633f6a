"""Temperature rise of a furnace against the range of its plate."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.air_side import RETURN, SUPPLY, air_cases
from pipeline.checks.binding import match, missing_of
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_plate

PLATE_SUBJECTS = ("supply air", "return air", "heat exchanger", "unit", "rise", "temperature rise", "furnace", "system")


def _range(reading: Reading) -> bool:
    return reading.low is not None and reading.high is not None


PLATE = Need(
    "plate", Quantity.TEMPERATURE_DIFFERENCE, "delta_degF", PLATE_SUBJECTS, (Role.RATED, Role.EXPECTED),
    missing="rated temperature rise of the furnace", where=_range,
)  # fmt: skip


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Supply and return air in heating with the plate's rise. Heat pumps and coolers have none to ask for."""
    for case in air_cases(job, limits):
        supply, back = case.num("supply", "degF"), case.num("return", "degF")
        if supply <= back:
            continue
        found = match(job, case.bound["supply"], PLATE)
        if found.reading:
            yield replace(case, bound={**case.bound, "plate": found.reading})
        elif not case.kinds or case.kinds & {"furnace"}:
            yield replace(case, missing=missing_of(PLATE, case.anchor, found.ambiguous, False))


def judge(case: Case) -> Outcome | None:
    """The rise against the plate; near either end of a wide range it is marginal."""
    rise = case.num("supply", "degF") - case.num("return", "degF")
    low, high = case.span("plate", "delta_degF")
    if rise <= 0 or high <= low:
        return None
    near = case.limits["near_end"] if high - low >= case.limits["wide_range"] else 0.0
    return case.judged(
        rise,
        Band(low, low + near, high - near, high),
        "delta_degF",
        what=f"Supply air {case.said('supply')}, return air {case.said('return')}",
        result=f"rise {case.show(rise, 'delta_degF')}",
        against=case.said("plate"),
        basis=from_plate(case.bound["plate"], limits=[x for x in case.limits if x.from_shop]),
    )


RULE = Rule("furnace-temperature-rise", (RETURN, SUPPLY, PLATE), judge, cases=cases)
