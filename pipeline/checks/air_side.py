"""What the rules about moving air share: return and supply air of one moment."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks import wording
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import on_the_way, same_moment
from pipeline.checks.rule import Case, Need

NOT_ROOMS = frozenset({"refrigeration", "hot_kitchen", "dish_machine", "ice_machine"})
WET = ("wet bulb", "dew point")


def _dry(reading: Reading) -> bool:
    return reading.of not in WET and reading.of != "surface"


RETURN = Need("return", Quantity.TEMPERATURE, "degF", ("return air",), where=_dry)
SUPPLY = Need("supply", Quantity.TEMPERATURE, "degF", ("supply air",), where=_dry)


def air_cases(job: Job, limits: RuleLimits, missing_supply: str | None = None) -> Iterator[Case]:
    """Supply air with the return air of the same moment, of a machine that serves rooms.

    A series of supply temperatures counts by its last point. Return air alone asks for the supply air.
    """
    used: set[str] = set()
    supplies = [r for r in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)) if SUPPLY.accepts(r)]
    passed = on_the_way(job, supplies)
    for anchor in supplies:
        if anchor.id in passed or job.kinds_of(anchor) & NOT_ROOMS:
            continue
        case = bind(job, limits, anchor, SUPPLY, [RETURN])
        if case.has("return"):
            used.add(case.bound["return"].id)
            yield replace(case, bound={"return": case.bound["return"], "supply": anchor})
    if missing_supply is None or supplies:
        return
    for alone in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)):
        if RETURN.accepts(alone) and not job.kinds_of(alone) & NOT_ROOMS and job.kinds_of(alone) & {"air_conditioning"}:
            yield bind(job, limits, alone, RETURN, [replace(SUPPLY, missing=missing_supply)])


def humidity_note(case: Case) -> list[str]:
    """What was said about moisture, which moves a split."""
    for quantity in (Quantity.HUMIDITY, Quantity.TEMPERATURE):
        for reading in case.job.of(quantity, (Role.MEASURED,)):
            moist = quantity is Quantity.HUMIDITY or reading.of in WET
            if moist and same_moment(case.job, reading, case.anchor):
                word = "humidity" if quantity is Quantity.HUMIDITY else reading.of
                return [f"The {word} was {wording.said(reading)}: humid air makes the split smaller, dry air larger."]
    return []
