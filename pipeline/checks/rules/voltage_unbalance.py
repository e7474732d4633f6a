"""Unbalance of the three leg-to-leg voltages of one moment."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Quantity, Role
from pipeline.checks import wording
from pipeline.checks.job import Job
from pipeline.checks.legs import derating, three_legs, unbalance_pct
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.subjects import LEG_TO_LEG
from pipeline.checks.wording import figure

VOLTS = Need("volts", Quantity.VOLTAGE, "V", LEG_TO_LEG, without=NOT_STEADY, missing="third leg-to-leg voltage")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each set of three; two of three ask for the third. A leg in doubt waits for its second listen."""
    measured = [r for r in job.of(Quantity.VOLTAGE, (Role.MEASURED,)) if VOLTS.accepts(r)]
    for case in three_legs(job, limits, measured, "volts", VOLTS.missing or ""):
        doubtful = [r for r in case.readings if any(reason.startswith("does not fit") for reason in r.confirm)]
        if doubtful and not case.missing:
            thing = f"second listen to the {wording.named(doubtful[0])} voltage"
            yield Case(job, limits, case.bound, case.groups, missing=Missing(thing, reference=False))
        else:
            yield case


def judge(case: Case) -> Outcome | None:
    """Largest deviation from the average, in percent of it."""
    volts = [case.of(r, "V") for r in case.groups["legs"]]
    found = unbalance_pct(volts)
    if found is None:
        return None
    unbalance, average = found
    stop = case.limits["stop"]
    notes = [f"A motor on it may carry {figure(derating(case.job, unbalance) * 100)} % of its rating."]
    if unbalance > stop:
        notes.append(f"Above {stop:g} % a motor ought not to be run.")
    return case.judged(
        unbalance,
        case.limits.band(),
        "%",
        what=f"Legs {wording.joined([wording.said(r) for r in case.groups['legs']])}",
        result=f"{figure(unbalance)} % unbalance",
        against=f"at most {case.limits['in_high']:g} %",
        basis=from_limit(case.limits.limit("in_high")),
        computed={"average": (average, "V")},
        notes=notes if unbalance > case.limits["in_high"] else (),
    )


RULE = Rule("voltage-unbalance", (VOLTS,), judge, cases=cases)
