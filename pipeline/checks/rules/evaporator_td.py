"""Air entering the evaporator over its saturation temperature."""

from __future__ import annotations

from dataclasses import replace

from extractors.facts import Quantity
from pipeline.checks import saturation
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.rules.box_against_setpoint import SETPOINT

SUCTION = Need("suction", Quantity.PRESSURE, "psig", ("suction pressure",), without=NOT_STEADY)
AIR = Need("air", Quantity.TEMPERATURE, "degF", ("return air", "box"))
TARGET = replace(SETPOINT, missing=None)
KINDS = ("walk_in", "reach_in", "air_conditioning")


def judge(case: Case) -> Outcome | Missing | None:
    """Degrees of the air over the coil, by kind of machine. Far from the setpoint it says nothing."""
    if not case.has("air") or case.refrigerant is None or _pulling_down(case):
        return None
    try:
        coil = saturation.dew(case.refrigerant.name).degf(case.psia("suction"))
    except saturation.OutsideTable:
        return None
    kind = next((name for name in KINDS if name in case.kinds), None)
    difference = case.num("air", "degF") - coil
    if kind is None:
        if case.kinds or difference <= 0:
            return None
        return Missing("kind of equipment")
    if kind == "air_conditioning" and case.bound["air"].subject != "return air":
        return None
    band = case.limits.band(kind)
    return case.judged(
        difference,
        band,
        "delta_degF",
        what=f"{case.bound['air'].subject.capitalize()} {case.said('air')} over the coil at {case.said('suction')}",
        result=f"{case.show(difference, 'delta_degF')} over {case.show(coil, 'degF')}",
        against=case.show_span(band.in_low or 0, band.in_high or 0, "delta_degF"),
        basis=from_limit(case.limits.limit(f"{kind}_in_high")),
        computed={"saturation": (coil, "degF")},
    )


def _pulling_down(case: Case) -> bool:
    """Whether the air is so far from its setpoint, or on its way to it, that the coil is not in balance."""
    if case.bound["air"].id in case.job.passing:
        return True
    if not case.has("setpoint"):
        return False
    return case.num("air", "degF") - case.span("setpoint", "degF")[1] > case.limits["settled"]


RULE = Rule("evaporator-td", (SUCTION, AIR, TARGET), judge, refrigerant=True, steady=True)
