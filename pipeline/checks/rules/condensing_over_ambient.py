"""Condensing temperature over the air that enters the condenser."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Role
from pipeline.checks import saturation
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.surroundings import AMBIENT, ambient_of

HEAD = Need("head", Quantity.PRESSURE, "psig", ("head pressure",), without=NOT_STEADY)
WATER = ("leaving water", "entering water", "condenser water", "tower water", "loop")
NEEDED = replace(AMBIENT, missing="ambient temperature at the condenser")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each head pressure with the ambient temperature."""
    watered = any(r.subject in WATER for r in job.readings)
    for anchor in job.of(Quantity.PRESSURE, (Role.MEASURED,)):
        if HEAD.accepts(anchor) and not watered:
            yield ambient_of(Case(job, limits, {"head": anchor}), NEEDED)


def judge(case: Case) -> Outcome | Missing | None:
    """Degrees over ambient; no verdict in cold weather or outside the table."""
    ambient = case.num("ambient", "degF")
    if ambient < case.limits["coldest_ambient"] or case.refrigerant is None:
        return None
    try:
        condensing = saturation.middle_degf(case.refrigerant.name, case.psia("head"))
    except saturation.OutsideTable:
        return None
    over = condensing - ambient
    if over <= 0:
        return None  # not condensing: off, or in a hot gas cycle
    band = case.limits.band()
    return case.judged(
        over,
        band,
        "delta_degF",
        what=f"Head pressure {case.said('head')} of {case.refrigerant.name} at {case.said('ambient')} ambient",
        result=f"condensing at {case.show(condensing, 'degF')}, {case.show(over, 'delta_degF')} over ambient",
        against=case.show_span(band.in_low or 0, band.in_high or 0, "delta_degF"),
        basis=from_limit(case.limits.limit("in_high")),
        computed={"condensing": (condensing, "degF")},
    )


RULE = Rule(
    "condensing-over-ambient",
    (HEAD, NEEDED),
    judge,
    cases=cases,
    refrigerant=True,
    not_kinds=("water_cooled",),
    steady=True,
)
