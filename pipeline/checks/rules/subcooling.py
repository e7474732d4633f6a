"""Subcooling, said outright or worked out from liquid line and head pressure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from pipeline.checks import circuit
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Missing, Outcome, Rule, from_limit
from pipeline.draft import Verdict

SIDE = circuit.SUBCOOLING


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """One case a moment."""
    return circuit.cases(job, limits, SIDE)


def judge(case: Case) -> Outcome | Missing | None:
    """Subcooling against its target or the usual band; little of it is common with a receiver."""
    band = case.limits.band()
    outcome = circuit.judge(case, SIDE, band, from_limit(case.limits.limit("in_low")), [])
    if not isinstance(outcome, Outcome) or case.has("target") or not _has_receiver(case):
        return outcome
    if outcome.verdict is Verdict.OUT_OF_TOLERANCE and band.high is not None and outcome.value < band.high:
        note = "With a receiver so little subcooling is common."
        return replace(outcome, verdict=Verdict.MARGINAL, notes=(*outcome.notes, note))
    return outcome


def _has_receiver(case: Case) -> bool:
    """Whether the job knows of a liquid receiver in the circuit."""
    named = [r.subject for r in case.job.readings] + [f.component for f in case.job.draft.findings]
    return "receiver" in named or "receiver" in case.kinds


RULE = Rule("subcooling", (SIDE.line, SIDE.pressure, SIDE.stated, SIDE.target), judge, cases=cases)
