"""Return air less supply air of an air conditioner."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.checks.air_side import RETURN, SUPPLY, air_cases, humidity_note
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Outcome, Rule, from_limit


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each return and supply air of one moment, of a machine that cools rooms."""
    return air_cases(job, limits, "supply air temperature")


def judge(case: Case) -> Outcome | None:
    """The split in cooling; supply air warmer than return air is heating and no matter of this rule."""
    split = case.num("return", "degF") - case.num("supply", "degF")
    if split <= 0:
        return None
    band = case.limits.band()
    return case.judged(
        split,
        band,
        "delta_degF",
        what=f"Return air {case.said('return')}, supply air {case.said('supply')}",
        result=f"split {case.show(split, 'delta_degF')}",
        against=case.show_span(band.in_low or 0, band.in_high or 0, "delta_degF"),
        basis=from_limit(case.limits.limit("in_low")),
        notes=humidity_note(case),
    )


RULE = Rule("air-temperature-split", (RETURN, SUPPLY), judge, cases=cases, not_kinds=("outside_air",))
