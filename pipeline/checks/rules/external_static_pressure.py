"""External static pressure of a blower against its plate."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Rating, Reading, Role
from pipeline.checks import wording
from pipeline.checks.binding import match, missing_of
from pipeline.checks.job import Job, words
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import companion
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_plate
from pipeline.checks.wording import figure

NO_DUCT_INWC = 4.0
"""More than this is gas or water pressure and not the air of a duct."""
UNITS = ("inWC", "Pa")
WHOLE = ("duct", "unit", "blower motor", "system", "static")
FILTER = ("filter", "coil")


def _side(name: str, reading: Reading) -> bool:
    """Whether a pressure is of the supply or return side of the blower."""
    if reading.unit not in UNITS:
        return False
    return reading.subject == f"{name} air" or (reading.subject in ("duct", "static") and name in words(reading.place))


def _total(reading: Reading) -> bool:
    """Whether a pressure is the whole external static of the blower."""
    sides = {"supply", "return", *FILTER} & words(reading.place)
    return reading.unit in UNITS and reading.subject in WHOLE and not sides


SUPPLY = Need("supply", Quantity.PRESSURE, "inWC", where=lambda r: _side("supply", r))
RETURN = Need("return", Quantity.PRESSURE, "inWC", where=lambda r: _side("return", r))
TOTAL = Need("total", Quantity.PRESSURE, "inWC", where=_total)
PLATE = Need(
    "plate", Quantity.PRESSURE, "inWC", ("blower motor", "duct", "unit", "supply air", "static"),
    (Role.RATED, Role.EXPECTED), missing="rated maximum external static pressure", ratings=(Rating.MAX, None),
    where=lambda r: r.unit in UNITS,
)  # fmt: skip


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Supply and return side of one moment; a total said outright where the sides were not."""
    pressures = job.of(Quantity.PRESSURE, (Role.MEASURED,))
    returns = [r for r in pressures if RETURN.accepts(r)]
    sides = []
    for anchor in pressures:
        if not SUPPLY.accepts(anchor):
            continue
        # The two sides have different places, and are one machine all the same.
        back = companion(job, anchor.model_copy(update={"place": None}), returns).reading
        if back:
            sides.append(Case(job, limits, {"supply": anchor, "return": back}))
    totals = [Case(job, limits, {"total": r}) for r in pressures if TOTAL.accepts(r)]
    for case in sides or totals:
        found = match(job, case.anchor.model_copy(update={"place": None}), PLATE)
        if found.reading:
            yield replace(case, bound={**case.bound, "plate": found.reading})
        else:
            yield replace(case, missing=missing_of(PLATE, case.anchor, found.ambiguous, False))


def judge(case: Case) -> Outcome | None:
    """Both sides added, in percent of the plate's."""
    if case.has("total"):
        pressure, what = abs(case.num("total", "inWC")), ""
    else:
        pressure = abs(case.num("supply", "inWC")) + abs(case.num("return", "inWC"))
        what = f"Static pressure {case.said('supply')} supply and {case.said('return')} return"
    rated = case.span("plate", "inWC")[1]
    if rated <= 0 or pressure > NO_DUCT_INWC:
        return None
    percent = pressure / rated * 100
    return case.judged(
        percent,
        case.limits.band(),
        "%",
        what=what,
        result=f"{wording.amount(pressure, 'inWC')} in all, {figure(percent)} % of the rating",
        against=case.said("plate"),
        basis=from_plate(case.bound["plate"], limits=[x for x in case.limits if x.from_shop]),
        computed={"external static pressure": (pressure, "inWC")},
    )


RULE = Rule(
    "external-static-pressure",
    (SUPPLY, RETURN, TOTAL, PLATE),
    judge,
    cases=cases,
    not_kinds=("hot_kitchen", "dish_machine", "refrigeration", "ice_machine"),
)
