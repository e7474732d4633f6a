"""Running amps far below the rating: a question, never a fault."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Outcome, Rule, from_plate
from pipeline.checks.rules import running_amps_rating as rating
from pipeline.checks.wording import figure
from pipeline.draft import Verdict

MODULATING = ("ecm", "variable", "inverter", "two-stage", "two stage", "low speed", "low stage")
LEGS = ("L1", "L2", "L3")
"""A leg without a machine may be one of a part only, of which the whole machine's rating says nothing."""
FULL_PCT = 100.0
QUESTION = "Is it short of refrigerant or load, unloaded, starved of air, on a low stage, or is one part not drawing?"


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """The same cases as those of the rating, without motors that change their speed."""
    for case in rating.cases(job, limits):
        text = f"{case.anchor.place or ''} {case.anchor.evidence.quote}".casefold()
        if case.anchor.subject not in LEGS and not any(word in text for word in MODULATING):
            yield case


def judge(case: Case) -> Outcome | None:
    """Percent of the rating, marginal when below half of it."""
    rated = case.span("rated", "A")[1]
    if rated <= 0:
        return None
    percent = case.num("amps", "A") / rated * 100
    if percent > FULL_PCT:
        return None  # that is a matter of the rating alone
    limit = case.limits.limit("in_low")
    return case.judged(
        percent,
        case.limits.band(),
        "%",
        result=f"{figure(percent)} % of the rating",
        against=case.said("rated"),
        basis=from_plate(case.bound["rated"], limits=[limit]),
        notes=[QUESTION] if percent < limit.value else (),
        at_most=Verdict.MARGINAL,
    )


RULE = Rule("running-amps-low", (rating.AMPS, rating.RATED), judge, cases=cases, not_kinds=("variable_speed",))
