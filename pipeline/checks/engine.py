"""Runs the rules over a job: finds their readings, judges both ends of ranges, and writes the checks."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

from extractors.facts import Qualifier, Stage
from pipeline.checks import wording
from pipeline.checks.binding import concerns, usual_cases
from pipeline.checks.job import Job
from pipeline.checks.pairing import identity
from pipeline.checks.rule import SEVERITY, Case, Missing, Outcome, Rule
from pipeline.checks.subjects import LEG_TO_LEG
from pipeline.draft import Basis, Check, Verdict

MOST_ENDS = 64
"""Combinations of range ends that are tried; beyond, the ends of the judged reading alone."""
VERDICT_WORDS = {
    Verdict.IN_TOLERANCE: "in tolerance",
    Verdict.MARGINAL: "marginal",
    Verdict.OUT_OF_TOLERANCE: "out of tolerance",
}
STAGE_WORDS = {Stage.AS_FOUND: "as found", Stage.AS_LEFT: "as left"}
UNIDENTIFIED = {
    "subject unclear": "what {said} is of",
    "unit not said": "in which unit {said} was meant",
    "may be rated": "whether {said} was measured or read off a label",
    "may be measured": "whether {said} was measured or read off a label",
    "does not fit": "whether {said} was heard right, for it does not fit the rest",
}
"""Reasons to confirm on whose word nothing may be called wrong: nobody knows what the figure is, or it cannot be."""
NOBODY = Basis(kind="common_practice", source="nothing to compare with was said")


Group = tuple[str, str, frozenset[str], str]


@dataclass(frozen=True)
class Found:
    """A case with what came out of it."""

    rule: Rule
    case: Case
    outcome: Outcome | Missing
    stage: Stage | None

    @property
    def group(self) -> Group:
        """What the same comparison before and after the repair has in common."""
        anchor = self.case.anchor
        return (self.rule.name, anchor.subject, identity(anchor.place), self.case.tag)


def run(job: Job, rules: Sequence[Rule], failed: Callable[[str, Exception], None] | None = None) -> tuple[Check, ...]:
    """All checks of a job. A rule that raises is told to `failed` and costs no other rule."""
    found: list[Found] = []
    for rule in rules:
        try:
            found.extend(_judged(job, rule))
        except Exception as fault:
            if failed is None:
                raise
            failed(rule.name, fault)
    found = _without_noise(found)
    before = {item.group: item for item in found if item.stage is Stage.AS_FOUND}
    ordered = sorted(found, key=lambda item: (job.index.get(item.case.anchor.id, 0), item.rule.name))
    return tuple(_check(f"c{number}", item, before, job) for number, item in enumerate(ordered, start=1))


def _judged(job: Job, rule: Rule) -> Iterator[Found]:
    """Every case of one rule with its outcome."""
    limits = job.limits[rule.name]
    cases = rule.cases(job, limits) if rule.cases else usual_cases(rule, job, limits)
    for case in cases:
        outcome = _outcome(rule, case) if concerns(rule, job, case.anchor) else None
        if outcome is not None:
            yield Found(rule, case, outcome, stage_of(case))


def stage_of(case: Case) -> Stage | None:
    """The stage of what was judged; where it names none, that of the measurements with it."""
    measured = [case.anchor, *(r for r in case.readings if r.role.value == "measured")]
    return next((reading.stage for reading in measured if reading.stage), None)


def _outcome(rule: Rule, case: Case) -> Outcome | Missing | None:
    """The worst of the outcomes at all ends, softened where a figure was approximate."""
    if case.missing is not None:
        return case.missing
    if rule.refrigerant and case.refrigerant is None:
        return Missing("refrigerant", unclear=_several_refrigerants(case))
    outcomes = [rule.judge(replace(case, ends=ends)) for ends in _ends(case)]
    if any(outcome is None for outcome in outcomes):
        return None
    for outcome in outcomes:
        if isinstance(outcome, Missing):
            return outcome
    whole = [outcome for outcome in outcomes if isinstance(outcome, Outcome)]
    if _open_ended(case) and len({outcome.verdict for outcome in whole}) > 1:
        return Missing("exact figure", reference=False)
    worst = max(whole, key=lambda outcome: SEVERITY.index(outcome.verdict))
    results = [] if _open_ended(case) else list(dict.fromkeys(outcome.result for outcome in whole))
    if len(results) > 1:
        worst = replace(worst, result=f"{results[0]} to {results[-1]}")
    softened = _softened(rule, case, worst)
    doubt = _what_it_is(case)
    blames = softened.verdict is not Verdict.IN_TOLERANCE and not (rule.never_soft or softened.never_soft)
    return doubt if doubt is not None and blames else softened


def _what_it_is(case: Case) -> Missing | None:
    """A figure of the case of which nobody is sure what it is; nothing may be called wrong on its word."""
    for reading in case.readings:
        for reason in reading.confirm:
            thing = UNIDENTIFIED.get(reason.split(":")[0])
            if thing:
                return Missing(thing.format(said=wording.said(reading)), unclear=True, reference=False)
    return None


def _several_refrigerants(case: Case) -> bool:
    return len({m.refrigerant.value for m in case.job.machines if m.refrigerant}) > 1


def _ends(case: Case) -> list[Mapping[str, float]]:
    """The combinations of range ends to judge; one without any when every figure is single."""
    choices: list[tuple[str, tuple[float, ...]]] = []
    for reading in case.readings:
        if reading.role.value != "measured":
            continue
        if reading.low is not None and reading.high is not None:
            choices.append((reading.id, (reading.low, reading.high)))
        elif reading.value is not None and Qualifier.AT_LEAST in reading.qualifiers:
            choices.append((reading.id, (reading.value * (1 + 1e-6), _beyond(reading.value, 1))))
        elif reading.value is not None and Qualifier.AT_MOST in reading.qualifiers:
            choices.append((reading.id, (reading.value * (1 - 1e-6), _beyond(reading.value, -1))))
    if not choices:
        return [{}]
    if 2 ** len(choices) > MOST_ENDS:
        choices = [choice for choice in choices if choice[0] == case.anchor.id] or choices[:1]
    ids = [name for name, _ in choices]
    return [dict(zip(ids, values, strict=True)) for values in product(*(ends for _, ends in choices))]


def _beyond(value: float, direction: int) -> float:
    """A figure far on the open side of "at least" or "at most"."""
    return value + 9 * max(abs(value), 1.0) if direction > 0 else value * 0.1


def _open_ended(case: Case) -> bool:
    """Whether a measured figure was said as a bound only."""
    return any(
        {Qualifier.AT_LEAST, Qualifier.AT_MOST} & set(reading.qualifiers)
        for reading in case.readings
        if reading.role.value == "measured"
    )


def _softened(rule: Rule, case: Case, outcome: Outcome) -> Outcome:
    """One step softer for a figure that was only roughly said; food, carbon monoxide and flammable charge never."""
    rough = [r for r in case.readings if Qualifier.APPROXIMATE in r.qualifiers and r.role.value == "measured"]
    if not rough or outcome.verdict is Verdict.IN_TOLERANCE:
        return outcome
    if rule.never_soft or outcome.never_soft:
        return replace(outcome, notes=(*outcome.notes, "The figure was only approximate: measure it again."))
    softer = SEVERITY[SEVERITY.index(outcome.verdict) - 1]
    note = "The figure was only approximate, so this is one step milder than the arithmetic."
    return replace(outcome, verdict=softer, notes=(*outcome.notes, note))


def _without_noise(found: Sequence[Found]) -> list[Found]:
    """At most one entry without a verdict for each rule and subject.

    None where another rule asks for the same thing, and none for a figure taken alone when the same thing was judged
    elsewhere in the job.
    """
    judged = {(f.rule.name, f.case.anchor.subject) for f in found if isinstance(f.outcome, Outcome)}
    asked: set[tuple[str, str]] = set()
    things: set[tuple[str, str]] = set()
    kept = []
    for item in found:
        if isinstance(item.outcome, Outcome):
            kept.append(item)
            continue
        subject = item.case.anchor.subject
        same = subject in item.outcome.thing
        mark = (item.rule.name, "leg" if subject in LEG_TO_LEG else subject)
        thing = (item.outcome.thing, "" if same else item.case.anchor.id)
        alone = not item.outcome.reference and (item.rule.name, subject) in judged
        if item.outcome.silent:
            continue
        if item.outcome.sentence:
            kept.append(item)
        elif mark not in asked and thing not in things and not alone:
            kept.append(item)
            asked.add(mark)
            things.add(thing)
    return kept


def _check(check_id: str, item: Found, before: Mapping[Group, Found], job: Job) -> Check:
    """The entry of the report for one outcome."""
    case, outcome = item.case, item.outcome
    ids = tuple(reading.id for reading in case.readings)
    if isinstance(outcome, Missing):
        return Check(
            id=check_id,
            rule=item.rule.name,
            readings=ids,
            verdict=Verdict.NO_REFERENCE,
            computed=dict(outcome.computed),
            message=outcome.sentence or _no_verdict(case, outcome),
            basis=NOBODY,
            stage=item.stage,
        )
    notes = [*outcome.notes, *_doubt(item, job), *_earlier(item, before)]
    what = outcome.what or f"{wording.named(case.anchor)} {wording.said(case.anchor)}"
    sentence = f"{what} against {outcome.against}" if outcome.against else what
    source = outcome.basis.source.split(";")[0]
    words = VERDICT_WORDS[outcome.verdict]
    message = " ".join([wording.opening(f"{sentence} ({source}): {outcome.result}, {words}."), *notes])
    return Check(
        id=check_id,
        rule=item.rule.name,
        readings=ids,
        verdict=outcome.verdict,
        value=outcome.value,
        allowed_low=outcome.low,
        allowed_high=outcome.high,
        unit=outcome.unit,
        computed=dict(outcome.computed),
        message=message,
        basis=outcome.basis,
        stage=item.stage,
    )


def _no_verdict(case: Case, missing: Missing) -> str:
    """The sentence of an entry that could be judged if one thing were known."""
    what = wording.opening(f"{wording.named(case.anchor)} {wording.said(case.anchor)}")
    why = f"it is not clear {missing.thing}" if missing.unclear else f"nobody said the {missing.thing}"
    if missing.unclear and not missing.thing.startswith(("which", "whether", "how", "what", "in which")):
        why = f"the {missing.thing} is not clear"
    return f"{what}: no verdict, because {why}."


def _doubt(item: Found, job: Job) -> list[str]:
    """A sentence for each reading of the case that waits for a second listen."""
    doubtful = [r for r in item.case.readings if r.confirm]
    notes = []
    if doubtful:
        which = wording.joined([f"{wording.said(r)} ({r.confirm[0].split(':')[0]})" for r in doubtful])
        notes.append(f"This rests on a figure that needs a second listen: {which}.")
    computed = item.outcome.computed
    if job.refrigerant_in_doubt and (item.rule.refrigerant or "saturation" in computed):
        notes.append("The refrigerant itself still has to be confirmed.")
    return notes


def _earlier(item: Found, before: Mapping[Group, Found]) -> list[str]:
    """What the same thing was before the repair, for an entry after it."""
    if item.stage is not Stage.AS_LEFT or item.group not in before:
        return []
    earlier = before[item.group]
    if isinstance(earlier.outcome, Outcome) and earlier.outcome.what:
        return [f"As found: {earlier.outcome.what}, {earlier.outcome.result}."]
    return [f"As found it was {wording.said(earlier.case.anchor)}."]
