"""A heating element's resistance against its rated power and voltage."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.heaters import POWER, UNIT_VOLTAGE, VOLTAGE, rated_case, shared, voltage_note
from pipeline.checks.job import Job, words
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_plate
from pipeline.checks.subjects import HEATERS
from pipeline.checks.wording import amount, figure

TO_GROUND = frozenset({"ground", "earth", "frame", "case", "chassis", "sheath", "shell"})


def _across(reading: Reading) -> bool:
    """Whether a resistance is of the element and not to ground."""
    text = words(reading.place, reading.evidence.quote)
    return reading.unit != "Mohm" and not TO_GROUND & text


OHMS = Need("ohms", Quantity.RESISTANCE, "ohm", HEATERS, where=_across)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each resistance across an element with its ratings."""
    for anchor in job.of(Quantity.RESISTANCE, (Role.MEASURED,)):
        if OHMS.accepts(anchor):
            yield rated_case(job, limits, anchor, OHMS)


def judge(case: Case) -> Outcome | Missing | None:
    """Deviation from volts squared over watts. Where several elements may share the watts nothing is guessed."""
    watts, volts = case.span("power", "W")[1], case.span("voltage", "V")[1]
    if watts <= 0 or volts <= 0:
        return None
    expected = volts**2 / watts
    ratio = case.num("ohms", "ohm") / expected
    band = case.limits.band()
    if shared(ratio, band.low or 0.0, band.high or 0.0):
        return Missing("how many elements share the rated watts", unclear=True)
    deviation = (ratio - 1) * 100
    return case.judged(
        deviation,
        band,
        "%",
        result=f"{figure(abs(deviation))} % {'low' if deviation < 0 else 'high'}",
        against=f"{amount(expected, 'ohm')} from {case.said('power')} at {case.said('voltage')}",
        basis=from_plate(case.bound["power"], limits=[case.limits.limit("in_high")]),
        computed={"expected": (expected, "ohm")},
        notes=voltage_note(case),
    )


RULE = Rule("heater-resistance", (OHMS, POWER, VOLTAGE, UNIT_VOLTAGE), judge, cases=cases)
