"""The charge of a flammable refrigerant against the plate and the ceilings of the product standard."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.binding import bind
from pipeline.checks.charge import MASS, PLATE, kind_of
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import Case, Missing, Outcome, Rule, from_limit, from_plate

CHARGED = replace(MASS, unit="g")
RATED = replace(PLATE, unit="g", missing="plate charge")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """A flammable charge weighed in with the plate's; the plate alone against the ceilings."""
    charged = []
    for anchor in job.of(Quantity.MASS, (Role.MEASURED,)):
        if CHARGED.accepts(anchor) and kind_of(job, anchor) in (None, "total") and _flammable(job, anchor):
            charged.append(anchor)
            yield bind(job, limits, anchor, CHARGED, [RATED])
    for plate in job.of(Quantity.MASS, (Role.RATED,)):
        if RATED.accepts(plate) and _flammable(job, plate):
            yield Case(job, limits, {"plate": plate}, tag="plate")


def _flammable(job: Job, reading: Reading) -> bool:
    found = job.refrigerant_of(reading)
    return bool(found and found.flammable)


def judge(case: Case) -> Outcome | Missing | None:
    """Grams against the plate, without any tolerance; a plate of an A3 machine against the ceilings."""
    if case.tag == "plate":
        return _ceiling(case)
    plate, grams = case.span("plate", "g")[1], case.num("mass", "g")
    if kind_of(case.job, case.anchor) is None and grams < 0.7 * plate:
        return Missing("whether this was the whole charge or an addition", unclear=True, reference=False)
    return case.judged(
        grams,
        Band(high=plate),
        "g",
        result="not above it" if grams <= plate else "more than the plate allows",
        against=f"{case.said('plate')} on the plate",
        basis=from_plate(case.bound["plate"]),
        notes=["Flammable: no more than the plate charge."] if grams > plate else (),
    )


def _ceiling(case: Case) -> Outcome | Missing | None:
    """A plate's charge: under the lowest ceiling it fits every edition, above the highest none."""
    if case.refrigerant is None or case.refrigerant.safety_class != "A3":
        return None
    if case.anchor.confirm:
        return Missing("second listen to the plate charge", reference=False)
    grams = case.span("plate", "g")[1]
    lowest, closed, highest = (case.limits.limit(name) for name in ("any_edition", "closed", "open"))
    if lowest.value < grams <= highest.value and not (grams <= closed.value and "open_case" in case.kinds):
        return Missing("edition of the product standard on the plate")
    limit = lowest if grams <= lowest.value else highest
    return case.judged(
        grams,
        Band(high=limit.value),
        "g",
        result="fits every edition"
        if grams <= lowest.value
        else "fits"
        if grams <= limit.value
        else "above every ceiling",
        against=f"at most {limit.value:g} g a circuit",
        basis=from_limit(limit),
    )


RULE = Rule("flammable-charge-limit", (CHARGED, RATED), judge, cases=cases, never_soft=True)
