"""Supply voltage against ranges A and B of the nominal system that it belongs to."""

from __future__ import annotations

from extractors.facts import Qualifier, Quantity, Reading, Role
from pipeline.checks.pairing import same_moment
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.subjects import SUPPLY
from pipeline.checks.wording import figure

BASE = 120.0
NOMINALS = (120.0, 208.0, 240.0, 277.0, 480.0, 600.0)
CLASSES = {
    (100.0, 127.0): 120.0, (199.0, 209.0): 208.0, (219.0, 241.0): 240.0, (264.0, 278.0): 277.0,
    (439.0, 481.0): 480.0, (549.0, 601.0): 600.0,
}  # fmt: skip
"""Rated or spoken voltages of a class, and the nominal system they are made for."""
ALONE = 0.12
"""Without a plate a reading belongs to a nominal system when it lies this near it, and 208 and 240 V stay open."""
BETWEEN = 224.0
LEG_RATIO = {208.0: 3**0.5, 240.0: 2.0}
OF_A_SUPPLY = (0.6, 1.5)
LEG_WITHIN = 0.04

VOLTS = Need("volts", Quantity.VOLTAGE, "V", SUPPLY, without=NOT_STEADY - {Qualifier.STANDBY})
PLATE = Need("plate", Quantity.VOLTAGE, "V", ("unit", "line"), (Role.RATED,))
OPEN = Missing("nominal system voltage (208 V or 240 V)")


def judge(case: Case) -> Outcome | Missing | None:
    """Volts against the utilization ranges, scaled from the 120 V base."""
    volts = case.num("volts", "V")
    nominal = _of_plate(case, volts) or _of_legs(case, volts) or _alone(volts)
    if nominal is None:
        unmarked = not any(PLATE.accepts(r) for r in case.job.of(Quantity.VOLTAGE, (Role.RATED,)))
        return OPEN if unmarked and abs(volts / BETWEEN - 1) <= ALONE else None
    if not OF_A_SUPPLY[0] <= volts / nominal <= OF_A_SUPPLY[1]:
        return None
    if case.has("plate") and any(abs(volts * ratio / nominal - 1) <= 0.06 for ratio in LEG_RATIO.values()):
        return None
    scaled = case.limits.band().scaled(nominal / BASE)
    return case.judged(
        volts,
        scaled,
        "V",
        result=f"{figure(volts / nominal * 100)} % of nominal",
        against=f"the {nominal:g} V system, {figure(scaled.in_low or 0)} to {figure(scaled.in_high or 0)} V",
        basis=from_limit(case.limits.limit("in_low")),
    )


def _class_of(volts: float) -> float | None:
    return next((nominal for (low, high), nominal in CLASSES.items() if low <= volts <= high), None)


def _of_plate(case: Case, volts: float) -> float | None:
    """The system of a plate with one voltage that the reading lies near too; a dual rating leaves it open."""
    if not case.has("plate"):
        return None
    low, high = case.span("plate", "V")
    systems = {_class_of(low), _class_of(high)}
    system = systems.pop() if len(systems) == 1 else None
    nearest = min(NOMINALS, key=lambda nominal: abs(volts / nominal - 1))
    wrong = system in LEG_RATIO and nearest in LEG_RATIO and nearest != system
    return None if wrong else system


def _of_legs(case: Case, volts: float) -> float | None:
    """208 or 240 V by a leg to neutral that was measured too."""
    fitting = set()
    for leg in case.job.of(Quantity.VOLTAGE, (Role.MEASURED,)):
        if _is_leg(leg) and same_moment(case.job, leg, case.anchor):
            for nominal, ratio in LEG_RATIO.items():
                if abs((leg.value or 0.0) * ratio / volts - 1) <= LEG_WITHIN:
                    fitting.add(nominal)
    return fitting.pop() if len(fitting) == 1 else None


def _is_leg(reading: Reading) -> bool:
    return reading.subject in ("L1", "L2", "L3") and bool(reading.value) and 90 <= (reading.value or 0) <= 140


def _alone(volts: float) -> float | None:
    """The nearest nominal voltage; 208 and 240 V are never told apart by the reading itself."""
    nearest = min(NOMINALS, key=lambda nominal: abs(volts / nominal - 1))
    if nearest in LEG_RATIO or abs(volts / nearest - 1) > ALONE:
        return None
    return nearest


RULE = Rule("supply-voltage-c84", (VOLTS, PLATE), judge)
