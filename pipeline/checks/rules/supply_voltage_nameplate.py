"""Supply voltage at the machine against the voltage on its plate."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Qualifier, Quantity, Reading, Role
from pipeline.checks import wording
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import figures, same_place
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_plate
from pipeline.checks.subjects import SUPPLY

DUAL = (1.04, 1.17)
"""Two plate voltages whose ratio lies here are one dual rating, such as 208 and 230 V."""
LEG_TO_NEUTRAL = (3**0.5, 2.0)
NEUTRAL_WITHIN = 0.06
OF_A_SUPPLY = (0.6, 1.5)
"""Farther from the plate than this a figure is hardly the supply: a drop across something, a tester's own voltage."""
LINE_CONTROL_V = 100.0
"""A control circuit from here on runs at line voltage and is judged by its own rating."""

VOLTS = Need("volts", Quantity.VOLTAGE, "V", SUPPLY, without=NOT_STEADY - {Qualifier.STANDBY})
PLATE = Need("plate", Quantity.VOLTAGE, "V", ("unit", "line"), (Role.RATED,), missing="nameplate voltage")
CONTROL = replace(VOLTS, subjects=("control circuit",), where=lambda r: (r.value or r.low or 0.0) >= LINE_CONTROL_V)
COIL = replace(PLATE, subjects=("control circuit", "contactor"), missing="rated control voltage")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each supply voltage with the plate's; two plate values of one dual rating count as one band."""
    for first, other in ((VOLTS, PLATE), (CONTROL, COIL)):
        plates = [reading for reading in job.of(Quantity.VOLTAGE, (Role.RATED,)) if other.accepts(reading)]
        for anchor in job.of(Quantity.VOLTAGE, (Role.MEASURED,)):
            if not first.accepts(anchor):
                continue
            dual = _dual([plate for plate in plates if same_place(anchor, plate)])
            if dual:
                yield Case(job, limits, {"volts": anchor, "plate": dual[0]}, {"dual": dual})
            else:
                yield bind(job, limits, anchor, first, [other])


def _dual(plates: list[Reading]) -> tuple[Reading, ...]:
    """Several plate readings that are one dual rating, however it was said; empty otherwise."""
    ends = [value for plate in plates for value in (plate.value, plate.low, plate.high) if value]
    if len({figures(plate) for plate in plates}) < 2 or not ends:
        return ()
    return tuple(plates) if DUAL[0] <= max(ends) / min(ends) <= DUAL[1] else ()


def judge(case: Case) -> Outcome | Missing | None:
    """Deviation in percent, zero inside a dual rating."""
    volts = case.num("volts", "V")
    dual = case.groups.get("dual", (case.bound["plate"],))
    spans = [case.span_of(plate, "V") for plate in dual]
    low, high = min(span[0] for span in spans), max(span[1] for span in spans)
    if low <= 0:
        return None
    neutral = any(abs(volts * factor / low - 1) <= NEUTRAL_WITHIN for factor in LEG_TO_NEUTRAL)
    if neutral and low >= 200 and case.anchor.subject not in ("L1-L2", "L2-L3", "L1-L3"):
        return Missing("whether it was taken leg to leg or leg to neutral", unclear=True, reference=False)
    if volts and not OF_A_SUPPLY[0] <= volts / low <= OF_A_SUPPLY[1]:
        return Missing(f"whether {case.said('volts')} is the supply of this machine", unclear=True, reference=False)
    nearest = min(max(volts, low), high)
    deviation = (volts - nearest) / nearest * 100
    band = case.limits.band()
    plate = wording.with_unit(
        wording.plain(low) if low == high else f"{wording.plain(low)} to {wording.plain(high)}", "V"
    )
    allowed = (low * (1 + (band.low or 0) / 100), high * (1 + (band.high or 0) / 100))
    sign = "low" if deviation < 0 else "high"
    return case.judged(
        deviation,
        band,
        "%",
        result="inside the rating" if deviation == 0 else f"{wording.figure(abs(deviation))} % {sign}",
        against=plate,
        basis=from_plate(case.bound["plate"], limits=[case.limits.limit("low"), case.limits.limit("high")]),
        computed={"allowed from": (allowed[0], "V"), "allowed to": (allowed[1], "V")},
        notes=["There is no voltage at all."] if volts == 0 else (),
    )


RULE = Rule("supply-voltage-nameplate", (VOLTS, PLATE), judge, cases=cases)
