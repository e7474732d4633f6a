"""Insulation resistance of a winding to ground."""

from __future__ import annotations

from extractors.facts import Quantity, Reading
from pipeline.checks.job import words
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_limit
from pipeline.checks.subjects import MOTORS
from pipeline.checks.wording import amount

TO_GROUND = frozenset({"ground", "earth", "frame", "case", "chassis", "shell", "casing", "pipe"})
GROUNDED_OHM = 1000.0
BASE_DEGC = 40.0


def _to_ground(reading: Reading) -> bool:
    """Whether a resistance is one to ground that a megohm test gave, or a plain short to ground.

    An ordinary meter's "open" is no megohm test, and a winding's own resistance is another thing.
    """
    grounded = bool(TO_GROUND & words(reading.place, reading.evidence.quote))
    return reading.unit == "Mohm" or (grounded and reading.unit in ("ohm", "kohm"))


OHMS = Need("ohms", Quantity.RESISTANCE, "Mohm", MOTORS, where=_to_ground)
WARMTH = Need("winding temperature", Quantity.TEMPERATURE, "degC", MOTORS)


def judge(case: Case) -> Outcome:
    """Megohms, brought to 40 °C where the winding's temperature is known; hermetic compressors by their own steps."""
    hermetic = case.anchor.subject == "compressor"
    measured = case.num("ohms", "Mohm")
    corrected, notes = measured, []
    if not hermetic and case.has("winding temperature"):
        corrected = measured * 0.5 ** ((BASE_DEGC - case.num("winding temperature", "degC")) / 10)
    elif not hermetic:
        notes.append("Not brought to 40 °C, for nobody said how warm the winding was.")
    kind = "hermetic" if hermetic else "motor"
    low = case.limits.limit(f"{kind}_low")
    if measured * 1e6 < GROUNDED_OHM:
        notes = ["That is a winding to ground."]
    elif hermetic and measured < case.limits["hermetic_in_low"]:
        notes.append("Ask for the maker's limit before a compressor is condemned on this alone.")
    return case.judged(
        corrected,
        case.limits.band(kind),
        "Mohm",
        result=f"{amount(corrected, 'Mohm')} at 40 °C" if corrected != measured else _words(case, measured, kind),
        against=f"at least {amount(case.limits[f'{kind}_in_low'], 'Mohm')}",
        basis=from_limit(low),
        computed={"at 40 °C": (corrected, "Mohm")} if corrected != measured else None,
        notes=notes,
    )


def _words(case: Case, measured: float, kind: str) -> str:
    return (
        "enough"
        if measured >= case.limits[f"{kind}_in_low"]
        else "too low"
        if measured < case.limits[f"{kind}_low"]
        else "low"
    )


RULE = Rule("winding-insulation", (OHMS, WARMTH), judge)
