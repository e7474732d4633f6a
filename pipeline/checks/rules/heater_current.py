"""A heater's current against its rated power, at the voltage measured."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Rating, Role
from pipeline.checks.binding import bind
from pipeline.checks.heaters import POWER, UNIT_VOLTAGE, VOLTAGE, rated_case, shared, voltage_note
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import leg_of
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_plate
from pipeline.checks.subjects import HEATERS, LEG_TO_LEG
from pipeline.checks.wording import amount, figure

AMPS = Need("amps", Quantity.CURRENT, "A", HEATERS, without=NOT_STEADY)
RATED = Need("rated", Quantity.CURRENT, "A", HEATERS, (Role.RATED,), ratings=(Rating.FLA, None), same_subject=True)
SUPPLY = Need("supply", Quantity.VOLTAGE, "V", ("line", "unit", *LEG_TO_LEG, *HEATERS), without=NOT_STEADY)
FRACTIONS = ((0.5, "half"), (1 / 3, "a third"), (2 / 3, "two thirds"))
FRACTION_WITHIN = 0.05
THREE_PHASE_WITHIN = 0.06
"""A figure this near the rated current over the root of three may be a leg of a three-phase heater."""
PLAUSIBLE_SUPPLY = (0.8, 1.2)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each heater current with rated amps where they were said, else with rated watts and volts."""
    for anchor in job.of(Quantity.CURRENT, (Role.MEASURED,)):
        if not AMPS.accepts(anchor):
            continue
        direct = bind(job, limits, anchor, AMPS, [RATED])
        case = direct if direct.has("rated") else rated_case(job, limits, anchor, AMPS, (SUPPLY,))
        yield replace(case, tag="three" if leg_of(anchor) or _has_legs(job, anchor.subject) else "")


def _has_legs(job: Job, subject: str) -> bool:
    """Whether the legs of this heater were measured one by one."""
    return any(r.subject == subject and leg_of(r) == "L3" for r in job.of(Quantity.CURRENT, (Role.MEASURED,)))


def judge(case: Case) -> Outcome | Missing | None:
    """Deviation from the expected current; a fraction of it points at an element that does not draw."""
    if case.has("rated"):
        expected, notes = case.span("rated", "A")[1], []
        against, basis = case.said("rated"), from_plate(case.bound["rated"], limits=[case.limits.limit("in_high")])
    else:
        watts, rated = case.span("power", "W")[1], case.span("voltage", "V")[1]
        supply = case.num("supply", "V") if case.has("supply") else rated
        if watts <= 0 or rated <= 0:
            return None
        if not PLAUSIBLE_SUPPLY[0] <= supply / rated <= PLAUSIBLE_SUPPLY[1]:
            supply = rated
        expected = watts / rated * (supply / rated) / (3**0.5 if case.tag else 1.0)
        against = f"{amount(expected, 'A')} from {case.said('power')} at {case.said('voltage')}"
        against += f", {supply:g} V supplied" if supply != rated else ""
        basis, notes = from_plate(case.bound["power"], limits=[case.limits.limit("in_high")]), voltage_note(case)
    if expected <= 0:
        return None
    ratio = case.num("amps", "A") / expected
    band = case.limits.band()
    if not case.tag and not case.has("rated"):
        if abs(ratio * 3**0.5 - 1) <= THREE_PHASE_WITHIN:
            return Missing("whether the heater is single- or three-phase", unclear=True)
        if ratio > 1 and shared(ratio, band.low or 0.0, band.high or 0.0):
            return Missing("how many elements share the rated watts", unclear=True)
    part = next((text for share, text in FRACTIONS if abs(ratio - share) <= FRACTION_WITHIN), None)
    if part:
        notes.append(f"That is about {part} of it: one of several elements may not be drawing.")
    deviation = (ratio - 1) * 100
    return case.judged(
        deviation,
        band,
        "%",
        result=f"{figure(abs(deviation))} % {'low' if deviation < 0 else 'high'}",
        against=against,
        basis=basis,
        computed={"expected": (expected, "A")},
        notes=notes,
    )


RULE = Rule("heater-current", (AMPS, RATED, POWER, VOLTAGE, UNIT_VOLTAGE, SUPPLY), judge, cases=cases)
