"""Finds the readings of a rule: what it judges, and what belongs to that for each of its other needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from extractors.facts import Reading, Stage
from pipeline.checks import wording
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import Match, companion, reference, references, same_place, unsteady
from pipeline.checks.rule import Case, Missing, Need, Rule

MOST_CHOICES = 3


def usual_cases(rule: Rule, job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each reading that fills a rule's first need, with the readings for its other needs.

    A figure that must be known and was not said, or was said in several ways, makes a case that names it.
    """
    first, *others = rule.needs
    for anchor in job.of(first.quantity, first.roles):
        if first.accepts(anchor):
            yield bind(job, limits, anchor, first, others)


def bind(job: Job, limits: RuleLimits, anchor: Reading, first: Need, others: Sequence[Need]) -> Case:
    """The case of one reading, with what belongs to it."""
    bound = {first.key: anchor}
    missing: Missing | None = None
    for need in others:
        found = match(job, anchor, need)
        if found.reading is not None:
            bound[need.key] = found.reading
        elif need.missing and missing is None:
            missing = missing_of(need, anchor, found.ambiguous, found.new_part)
    return Case(job, limits, bound, missing=missing)


def match(job: Job, anchor: Reading, need: Need) -> Match:
    """The reading that fills a need beside the anchor."""

    def accepts(reading: Reading) -> bool:
        return need.accepts(reading) and (not need.same_subject or reading.subject == anchor.subject)

    if need.measured:
        measured = [r for quantity in need.quantities for r in job.of(quantity, need.roles)]
        return companion(job, anchor, [r for r in measured if accepts(r)])
    return reference(job, anchor, references(job, need.quantity, need.roles, accepts))


def missing_of(need: Need, anchor: Reading, ambiguous: Sequence[Reading], new_part: bool) -> Missing:
    """The one thing to ask for when a need is not filled."""
    thing = (need.missing or "").format(subject=anchor.subject)
    if ambiguous:
        figures = list(dict.fromkeys(wording.said(other) for other in ambiguous))
        which = f"which of {wording.joined(figures, 'or')} is the {thing}"
        return Missing(which, unclear=True, reference=not need.measured, silent=len(figures) > MOST_CHOICES)
    if new_part:
        return Missing((need.missing or "").format(subject=f"new {anchor.subject}"), reference=True)
    return Missing(thing, reference=not need.measured)


def _in_between(job: Job, anchor: Reading) -> bool:
    """Whether a figure without a stage was overtaken by a later one of what the machine was left with."""
    return anchor.stage is None and any(
        other.stage is Stage.AS_LEFT
        and other.subject == anchor.subject
        and job.index[other.id] > job.index[anchor.id]
        and same_place(other, anchor)
        for other in job.of(anchor.quantity, (anchor.role,))
    )


def concerns(rule: Rule, job: Job, anchor: Reading) -> bool:
    """Whether a rule is about this reading's machine and moment."""
    if rule.steady and (anchor.id in job.passing or unsteady(anchor) or _in_between(job, anchor)):
        return False
    if rule.kinds or rule.not_kinds:
        kinds = job.kinds_of(anchor)
        if kinds & set(rule.not_kinds) or (rule.kinds and not kinds & set(rule.kinds)):
            return False
    return True
