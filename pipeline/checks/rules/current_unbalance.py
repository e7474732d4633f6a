"""Unbalance of the currents of three legs."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Quantity, Role
from pipeline.checks import wording
from pipeline.checks.job import Job
from pipeline.checks.legs import three_legs, unbalance_pct
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import NOT_STEADY, Case, Need, Outcome, Rule, from_limit
from pipeline.checks.subjects import MOTORS
from pipeline.checks.wording import figure

MAGNIFIED = "A small voltage unbalance makes one of the current several times larger."
AMPS = Need("amps", Quantity.CURRENT, "A", without=NOT_STEADY, missing="current of the third leg")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each set of three legs of one machine; two of three ask for the third."""
    measured = [r for r in job.of(Quantity.CURRENT, (Role.MEASURED,)) if AMPS.accepts(r)]
    return three_legs(job, limits, measured, "amps", AMPS.missing or "")


def judge(case: Case) -> Outcome | None:
    """Largest deviation from the average, in percent of it."""
    legs = case.groups["legs"]
    found = unbalance_pct([case.of(r, "A") for r in legs])
    if found is None:
        return None
    unbalance, average = found
    high = unbalance > case.limits["in_high"]
    subject = "" if case.anchor.subject in ("L1", "L2", "L3") else f"{wording.opening(case.anchor.subject)} legs "
    return case.judged(
        unbalance,
        case.limits.band(),
        "%",
        what=f"{subject or 'Legs '}{wording.joined([wording.said(r) for r in legs])}",
        result=f"{figure(unbalance)} % unbalance",
        against=f"at most {case.limits['in_high']:g} %",
        basis=from_limit(case.limits.limit("in_high")),
        computed={"average": (average, "A")},
        notes=[MAGNIFIED] if high and case.anchor.subject in MOTORS else (),
    )


RULE = Rule("current-unbalance", (AMPS,), judge, cases=cases)
