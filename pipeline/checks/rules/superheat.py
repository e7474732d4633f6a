"""Superheat, said outright or worked out from suction line and suction pressure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from pipeline.checks import circuit
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Missing, Outcome, Rule

SIDE = circuit.SUPERHEAT


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """One case a moment."""
    return circuit.cases(job, limits, SIDE)


def judge(case: Case) -> Outcome | Missing | None:
    """Superheat against its target or the usual band, which reaches higher for a line measured at the compressor."""
    band, notes = case.limits.band(), []
    name = "in_high"
    if circuit.at_compressor(case) and "air_conditioning" not in case.kinds:
        name = "compressor_in_high"
        band = replace(band, in_high=case.limits[name], high=case.limits["compressor_high"])
        notes.append("At the compressor it is usually higher than at the evaporator.")
    outcome = circuit.judge(case, SIDE, band, circuit.default_basis(case, name), notes)
    if isinstance(outcome, Outcome) and band.low is not None and _too_little(case, band.low):
        return replace(outcome, notes=(*outcome.notes, "Liquid may be coming back to the compressor."))
    return outcome


def _too_little(case: Case, low: float) -> bool:
    """Whether so little superheat is left that liquid may come back."""
    computed = circuit.computed_difference(case, SIDE)
    value = case.num("stated", "delta_degF") if case.has("stated") else computed[0] if computed else low
    return 0 <= value < low


RULE = Rule("superheat", (SIDE.line, SIDE.pressure, SIDE.stated, SIDE.target), judge, cases=cases)
