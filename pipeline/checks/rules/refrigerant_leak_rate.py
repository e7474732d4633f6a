"""The leak rate by the amount added, where the federal rules set a threshold."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Role
from pipeline.checks import wording
from pipeline.checks.binding import match
from pipeline.checks.charge import MASS, PLATE, SUBJECT, annualized_pct, weighed
from pipeline.checks.job import Job
from pipeline.checks.limits import MARGINAL_FROM, Band, RuleLimits
from pipeline.checks.refrigerants import Refrigerant
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit

ADDED = replace(MASS, key="added", unit="lb")
FULL = replace(PLATE, key="full", unit="lb", missing="full charge")
DAYS = Need("days", Quantity.DURATION, "d", (SUBJECT, "system"), missing="days since the last addition")
DAY_UNITS = ("d",)
EXEMPT = ("air_conditioning",)
"""Residential and light commercial air conditioning and heat pumps are outside the rule for substitutes."""


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """All that was added in this job, with the full charge and the days since the last addition."""
    added = [r for r in weighed(job, "added") if ADDED.accepts(r)]
    if not added:
        return
    case = Case(job, limits, {"added": added[0]}, {"all": tuple(added)})
    if set(EXEMPT) & case.kinds and not (case.refrigerant and case.refrigerant.ozone_depleting):
        return
    full = match(job, added[0], FULL).reading
    if full is None:
        yield replace(case, missing=Missing(FULL.missing or ""))
        return
    case = replace(case, bound={**case.bound, "full": full})
    days = [r for r in job.of(Quantity.DURATION, (Role.MEASURED,)) if DAYS.accepts(r) and r.unit in DAY_UNITS]
    if len(days) == 1:
        yield replace(case, bound={**case.bound, "days": days[0]})
    elif case.refrigerant is None or _applies(case, case.refrigerant, case.span("full", "lb")[1]):
        yield replace(case, missing=Missing(DAYS.missing or ""))


def judge(case: Case) -> Outcome | Missing | None:
    """Percent a year against the threshold; outside the rules the rate alone."""
    full, days = case.span("full", "lb")[1], case.num("days", "d")
    if full <= 0 or days <= 0:
        return None
    added = sum(case.of(r, "lb") for r in case.groups["all"])
    rate = annualized_pct(added, full, days)
    what = f"{wording.amount(added, 'lb')} added to {case.said('full')} after {case.said('days')}"
    applies = case.refrigerant and _applies(case, case.refrigerant, full)
    if not applies:
        if case.refrigerant is None:
            return Missing("refrigerant")
        text = f"{what}: leak rate {wording.figure(rate)} % a year; the federal leak rules do not reach this machine."
        return Missing("nothing", sentence=text, computed=case.computed(leak_rate=(rate, "%")))
    name = _category(case)
    limit = case.limits.limit(f"{name}_high")
    return case.judged(
        rate,
        Band(None, None, limit.value * MARGINAL_FROM, limit.value),
        "%",
        what=what,
        result=f"leak rate {wording.figure(rate)} % a year by annualizing",
        against=f"at most {limit.value:g} %",
        basis=from_limit(limit),
        notes=["This reminds of the rule; whether it is kept is for the owner and the authority to say."],
    )


def _category(case: Case) -> str:
    """Which threshold: comfort cooling, industrial process, or commercial refrigeration."""
    if "air_conditioning" in case.kinds:
        return "comfort"
    kind = case.job.machine_of(case.anchor).type
    return "industrial" if kind and "process" in kind.value.casefold() else "commercial"


def _applies(case: Case, refrigerant: Refrigerant, full_lb: float) -> bool:
    """Whether a leak-rate rule reaches a machine with this refrigerant and full charge in lb."""
    if refrigerant.ozone_depleting:
        return full_lb >= case.limits["ozone_charge"]
    if set(EXEMPT) & case.kinds:
        return False
    return refrigerant.gwp > case.limits["substitute_gwp"] and full_lb >= case.limits["substitute_charge"]


RULE = Rule("refrigerant-leak-rate", (ADDED, FULL, DAYS), judge, cases=cases)
