"""Equalised pressure of a machine at rest against the temperature round it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Qualifier, Quantity, Role
from pipeline.checks import saturation
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.surroundings import AMBIENT, ambient_of

PRESSURE = Need(
    "pressure", Quantity.PRESSURE, "psig", ("system", "suction pressure", "head pressure"),
    having=frozenset({Qualifier.STANDBY}),
)  # fmt: skip
NEEDED = replace(AMBIENT, missing="temperature round the machine")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each standing pressure with the ambient temperature."""
    for anchor in job.of(Quantity.PRESSURE, (Role.MEASURED,)):
        if PRESSURE.accepts(anchor) and anchor.unit != "micron":
            yield ambient_of(Case(job, limits, {"pressure": anchor}), NEEDED)


def judge(case: Case) -> Outcome | Missing | None:
    """Saturation less ambient. Below ambient it says nothing about purity, only that no liquid is left."""
    if case.refrigerant is None:
        return None
    try:
        saturated = saturation.middle_degf(case.refrigerant.name, case.psia("pressure"))
    except saturation.OutsideTable:
        return None
    over = saturated - case.num("ambient", "degF")
    band = case.limits.band()
    if band.low is not None and over < band.low:
        return None
    return case.judged(
        over,
        band,
        "delta_degF",
        what=f"Standing pressure {case.said('pressure')}",
        result=f"saturation {case.show(saturated, 'degF')}, {case.show(abs(over), 'delta_degF')} "
        f"{'below' if over < 0 else 'above'} it",
        against=f"{case.said('ambient')} around it",
        basis=from_limit(case.limits.limit("in_high")),
        computed={"saturation": (saturated, "degF")},
        notes=["Air in the system, or another refrigerant?"] if band.high is not None and over > band.high else (),
    )


RULE = Rule("standing-pressure", (PRESSURE, NEEDED), judge, cases=cases, refrigerant=True)
