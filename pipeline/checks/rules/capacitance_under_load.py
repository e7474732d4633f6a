"""A run capacitor's capacitance worked out from the amps in its lead and the volts across it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from extractors.facts import Quantity, Role
from pipeline.checks import capacitors
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import same_moment
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_plate
from pipeline.checks.subjects import SUPPLY
from pipeline.checks.wording import amount, figure

SUBJECT = "run capacitor"
SAME_AS_LINE = 0.02
AMPS = Need("amps", Quantity.CURRENT, "A", (SUBJECT,), without=NOT_STEADY)
VOLTS = Need("volts", Quantity.VOLTAGE, "V", (SUBJECT,), missing="voltage across the capacitor")
FREQUENCY = Need("frequency", Quantity.FREQUENCY, "Hz", ("unit", "line"), (Role.RATED, Role.MEASURED))
MARKING = capacitors.marking_need(SUBJECT)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each current in a capacitor's lead with the voltage across it."""
    for anchor in job.of(Quantity.CURRENT, (Role.MEASURED,)):
        if AMPS.accepts(anchor):
            yield bind(job, limits, anchor, AMPS, [VOLTS, MARKING, FREQUENCY])


def judge(case: Case) -> Outcome | Missing | None:
    """Capacitance by circuit theory, judged like a measured one."""
    volts = case.num("volts", "V")
    hertz = case.span("frequency", "Hz")[0] if case.has("frequency") else case.limits["frequency"]
    marking = (case.span("marking", "uF")[0] + case.span("marking", "uF")[1]) / 2
    if volts <= 0 or hertz <= 0 or marking <= 0:
        return None
    microfarads = case.num("amps", "A") * 1e6 / (2 * math.pi * hertz * volts)
    deviation = (microfarads / marking - 1) * 100
    tolerance = capacitors.tolerance(case)
    notes = [] if case.has("frequency") else [f"Taken at {hertz:g} Hz, which nobody said."]
    if _line_voltage(case, volts):
        notes.append("Was that voltage taken across the capacitor? It is the line's.")
    return case.judged(
        deviation,
        tolerance.band,
        "%",
        what=f"Run capacitor {amount(microfarads, 'uF')} from {case.said('amps')} and {case.said('volts')}",
        result=f"{figure(abs(deviation))} % {'low' if deviation < 0 else 'high'}",
        against=f"{case.said('marking')} {tolerance.text}",
        basis=from_plate(case.bound["marking"], "marking", tolerance.defaults),
        computed={"capacitance": (microfarads, "uF")},
        notes=notes,
    )


def _line_voltage(case: Case, volts: float) -> bool:
    """Whether the voltage equals the supply's of the same moment."""
    return any(
        r.subject in SUPPLY and r.value and abs(r.value / volts - 1) <= SAME_AS_LINE
        for r in case.job.of(Quantity.VOLTAGE, (Role.MEASURED,))
        if same_moment(case.job, r, case.anchor)
    )


RULE = Rule("capacitance-under-load", (AMPS, VOLTS, MARKING, FREQUENCY), judge, cases=cases)
