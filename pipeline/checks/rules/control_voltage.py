"""The voltage of a 24 V control circuit."""

from __future__ import annotations

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit, from_plate

NOMINAL = 24.0
PLAUSIBLE = (15.0, 34.0)
"""Only a figure in here is taken for a 24 V circuit when nobody said what it is."""
LINE_VOLTAGE = 100.0
WIDE = 1.3
"""A circuit that swings farther than this is a signal and not a supply."""
COILS = ("control circuit", "transformer", "contactor", "relay", "gas valve", "reversing valve")


def _low_voltage(reading: Reading) -> bool:
    ends = [v for v in (reading.value, reading.low, reading.high) if v is not None]
    return max(ends) < LINE_VOLTAGE and (reading.low is None or max(ends) <= WIDE * max(min(ends), 1e-9))


VOLTS = Need("volts", Quantity.VOLTAGE, "V", ("control circuit", "transformer"), where=_low_voltage)
RATED = Need("rated", Quantity.VOLTAGE, "V", COILS, (Role.RATED,), where=_low_voltage)


def judge(case: Case) -> Outcome | Missing:
    """Volts against the band of a 24 V circuit, or of the nominal voltage that was said."""
    volts = case.num("volts", "V")
    nominal = case.span("rated", "V")[0] if case.has("rated") else NOMINAL
    if not case.has("rated") and not PLAUSIBLE[0] <= volts <= PLAUSIBLE[1]:
        return Missing("nominal control voltage")
    scaled = case.limits.band().scaled(nominal / NOMINAL)
    limit = case.limits.limit("in_low")
    return case.judged(
        volts,
        scaled,
        "V",
        result="as it should be" if (scaled.in_low or 0) <= volts <= (scaled.in_high or 0) else "off",
        against=f"{nominal:g} V nominal, {(scaled.in_low or 0):g} to {(scaled.in_high or 0):g} V",
        basis=from_plate(case.bound["rated"], limits=[limit]) if case.has("rated") else from_limit(limit),
    )


RULE = Rule("control-voltage", (VOLTS, RATED), judge)
