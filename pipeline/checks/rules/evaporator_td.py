"""Air entering the evaporator over its saturation temperature."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Role, Stage
from pipeline.checks import saturation
from pipeline.checks.air_side import SUPPLY
from pipeline.checks.binding import match
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import companion, near, on_the_way
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.rules.box_against_setpoint import SETPOINT

SUCTION = Need("suction", Quantity.PRESSURE, "psig", ("suction pressure",), without=NOT_STEADY)
AIR = Need("air", Quantity.TEMPERATURE, "degF", ("return air", "box"))
TARGET = replace(SETPOINT, missing=None)
KINDS = ("walk_in", "reach_in", "air_conditioning")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each suction pressure with air that had settled, and its setpoint."""
    temperatures = [r for r in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)) if AIR.accepts(r)]
    settled = [r for r in temperatures if r.id not in on_the_way(job, temperatures)]
    for anchor in job.of(Quantity.PRESSURE, (Role.MEASURED,)):
        if SUCTION.accepts(anchor):
            air = companion(job, anchor, [r for r in settled if near(job, anchor, r)]).reading
            if air:
                case = Case(job, limits, {"suction": anchor, "air": air})
                target = match(job, air, TARGET).reading
                yield replace(case, bound={**case.bound, "setpoint": target}) if target else case


def judge(case: Case) -> Outcome | Missing | None:
    """Degrees of the air over the coil, by kind of machine. Far from the setpoint it says nothing."""
    if case.refrigerant is None or _pulling_down(case):
        return None
    try:
        coil = saturation.dew(case.refrigerant.name).degf(case.psia("suction"))
    except saturation.OutsideTable:
        return None
    kind = next((name for name in KINDS if name in case.kinds), None)
    difference = case.num("air", "degF") - coil
    if difference <= 0:
        return None
    if kind is None:
        if case.kinds:
            return None
        return Missing("kind of equipment")
    if kind == "air_conditioning" and (case.bound["air"].subject != "return air" or _heating(case)):
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
    if not case.has("setpoint"):
        return case.anchor.stage is Stage.AS_FOUND and "refrigeration" in case.kinds
    return case.num("air", "degF") - case.span("setpoint", "degF")[1] > case.limits["settled"]


def _heating(case: Case) -> bool:
    """Whether a heat pump was heating, so that its evaporator stood outdoors; or nobody can tell."""
    supplies = [r for r in case.job.of(Quantity.TEMPERATURE, (Role.MEASURED,)) if SUPPLY.accepts(r)]
    beside = companion(case.job, case.bound["air"], supplies).reading
    if beside is None:
        return "heat_pump" in case.kinds
    return case.of(beside, "degF") >= case.num("air", "degF")


RULE = Rule(
    "evaporator-td",
    (SUCTION, AIR, TARGET),
    judge,
    cases=cases,
    refrigerant=True,
    steady=True,
    not_kinds=("heating", "ice_machine", "outside_air"),
)
