"""Which fact of a draft an edit means: by the sound and the words it was said in, never by its place in a list."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from extractors.facts import Equipment, Evidence, Frozen, Said
from pipeline.draft import Draft
from pipeline.edits import Target, TargetKind

LISTS: Mapping[TargetKind, str] = {
    TargetKind.READING: "readings",
    TargetKind.FINDING: "findings",
    TargetKind.ACTION: "actions",
    TargetKind.PART: "parts",
    TargetKind.FOLLOW_UP: "follow_ups",
    TargetKind.UNPLACED: "unplaced",
    TargetKind.MACHINE: "other_equipment",
    TargetKind.PHOTO: "photos",
}

TRAITS: Mapping[TargetKind, Mapping[str, float]] = {
    TargetKind.READING: {
        "quantity": 2.0, "subject": 1.5, "role": 0.5, "place": 1.0, "of": 0.5, "rating": 0.5,
        "value": 2.0, "low": 1.0, "high": 1.0, "unit": 0.5, "stage": 0.25,
    },
    TargetKind.FINDING: {"component": 2.0, "condition": 2.0, "place": 0.5, "status": 0.5},
    TargetKind.ACTION: {"action": 2.0, "component": 2.0, "place": 0.5, "status": 0.5},
    TargetKind.PART: {"component": 2.0, "description": 2.0, "part_number": 1.0, "status": 0.5},
    TargetKind.FOLLOW_UP: {"text": 2.0, "when": 1.0},
    TargetKind.UNPLACED: {"text": 2.0, "reason": 0.5},
    TargetKind.MACHINE: {"serial": 3.0, "model": 2.0, "type": 1.0, "make": 0.5, "location": 0.5},
    TargetKind.PHOTO: {"sha256": 2.0},
}  # fmt: skip
"""Weights by judgement: what a second hearing seldom changes weighs most. No source; the tests hold the cases."""

MUST_SHARE: Mapping[TargetKind, tuple[str, ...]] = {
    TargetKind.READING: ("quantity", "value", "low"),
    TargetKind.FINDING: ("component", "condition"),
    TargetKind.ACTION: ("component", "action"),
    TargetKind.PART: ("component", "description", "part_number"),
    TargetKind.FOLLOW_UP: ("text", "when"),
    TargetKind.UNPLACED: ("text",),
    TargetKind.MACHINE: ("serial", "model", "type"),
    TargetKind.PHOTO: ("sha256",),
}
"""At least one of these must be the same, or the fact is another one that merely was said in the same breath."""

NEAR_S = 1.0
"""Two hearings of one sound place a word up to this far apart (seconds; seen with two settings of one model)."""

SOUND_WEIGHT = 3.0


@dataclass(frozen=True)
class Place:
    """One fact of a draft: its kind, its index there, and the model itself."""

    kind: TargetKind
    index: int
    fact: Frozen


def facts_of(draft: Draft, kind: TargetKind) -> list[Place]:
    """All facts of one listed kind, in the draft's order."""
    return [Place(kind, i, fact) for i, fact in enumerate(getattr(draft, LISTS[kind]))]


def evidence_of(fact: Frozen) -> Evidence | None:
    """The evidence of a fact; for a further machine, that of the first of its fields that has any."""
    if isinstance(fact, Equipment):
        for name in Equipment.model_fields:
            said: Said | None = getattr(fact, name)
            if said is not None and said.evidence is not None:
                return said.evidence
        return None
    found = getattr(fact, "evidence", None)
    return found if isinstance(found, Evidence) else None


def traits_of(kind: TargetKind, fact: Frozen) -> dict[str, str]:
    """What tells a fact from its neighbours, as plain words."""
    traits: dict[str, str] = {}
    for name in TRAITS.get(kind, ()):
        value: Any = getattr(fact, name, None)
        if isinstance(value, Said):
            value = value.value
        if value is not None:
            traits[name] = plain(value)
    return traits


def plain(value: Any) -> str:
    """A value as the word that both a fresh and a stored fact give: 21.0 and 21 are the same figure."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    return f"{value:.10g}"


def target_of(draft: Draft, kind: TargetKind, fact: Frozen) -> Target:
    """The address of a fact of this draft."""
    evidence = evidence_of(fact)
    return Target(
        kind=kind,
        source=source_of(draft, evidence),
        evidence=evidence,
        traits=traits_of(kind, fact),
    )


def source_of(draft: Draft, evidence: Evidence | None) -> str | None:
    """sha256 of the recording that the evidence names, or None."""
    if evidence is None or not 0 <= evidence.recording < len(draft.recordings):
        return None
    return draft.recordings[evidence.recording].sha256


def recording_of(draft: Draft, target: Target) -> int | None:
    """Index of the target's recording in this draft; None when the draft has no such recording any more."""
    if target.source is not None:
        for i, recording in enumerate(draft.recordings):
            if recording.sha256 == target.source:
                return i
        return None
    return target.evidence.recording if target.evidence else 0


def key_of(target: Target) -> str:
    """The target as one word, the same for equal targets."""
    return target.model_dump_json()


def resolve(draft: Draft, targets: Iterable[Target]) -> dict[str, Place]:
    """Each target's fact in this draft by `key_of`; a target that is missing from the result has none.

    All targets of a kind are settled together, the surest pair first and no fact twice, so that two figures of
    one breath cannot both fall on the same fact.
    """
    found: dict[str, Place] = {}
    wanted = {key_of(target): target for target in targets if target.kind in LISTS and target.added is None}
    for kind in LISTS:
        pairs = [
            (score, -t, -place.index, key, place)
            for t, (key, target) in enumerate(wanted.items())
            if target.kind is kind
            for place in facts_of(draft, kind)
            if (score := likeness(draft, target, place)) > 0
        ]
        taken: set[int] = set()
        for _, _, _, key, place in sorted(pairs, key=lambda pair: pair[:3], reverse=True):
            if key not in found and place.index not in taken:
                found[key] = place
                taken.add(place.index)
    return found


def likeness(draft: Draft, target: Target, place: Place) -> float:
    """How well a fact answers a target; 0 when it cannot be the one meant."""
    evidence = evidence_of(place.fact)
    sound = same_sound(draft, target, evidence)
    if sound is None:
        return 0.0
    traits = traits_of(place.kind, place.fact)
    shared = {name for name, said in target.traits.items() if traits.get(name) == said}
    if target.traits and not shared.intersection(MUST_SHARE[place.kind]):
        return 0.0
    weights = TRAITS[place.kind]
    absent = {name for name in weights if name not in target.traits and name not in traits}
    return SOUND_WEIGHT * sound + sum(weights[name] for name in shared) + 0.1 * len(absent) + 0.01


def same_sound(draft: Draft, target: Target, evidence: Evidence | None) -> float | None:
    """Share of the sound or text that target and evidence have in common, 0 to 1; None when they are apart."""
    if target.evidence is None or evidence is None:
        return 1.0 if target.evidence is evidence else None
    if recording_of(draft, target) != evidence.recording:
        return None
    mine = target.evidence
    if mine.start is None or mine.end is None or evidence.start is None or evidence.end is None:
        if mine.line != evidence.line:
            return None
        return same_words(mine.quote, evidence.quote)
    both = min(mine.end, evidence.end) - max(mine.start, evidence.start)
    if both < -NEAR_S:
        return None
    whole = max(mine.end, evidence.end) - min(mine.start, evidence.start)
    return max(0.0, both / whole) if whole > 0 else 1.0


def same_words(mine: str, other: str) -> float:
    """Share of the words that two quotes have in common, 0 to 1."""
    ours, theirs = set(mine.casefold().split()), set(other.casefold().split())
    if not ours or not theirs:
        return float(ours == theirs)
    return len(ours & theirs) / len(ours | theirs)


def by_id(draft: Draft, fact_id: str) -> Place | None:
    """The fact with this id (`r3`, `f1`, `a2`, `p1`), or None. Follow-ups and unplaced figures have none."""
    for kind in (TargetKind.READING, TargetKind.FINDING, TargetKind.ACTION, TargetKind.PART):
        for i, fact in enumerate(getattr(draft, LISTS[kind])):
            if fact.id == fact_id:
                return Place(kind, i, fact)
    return None


def next_id(letter: str, taken: Sequence[str]) -> str:
    """The first free id after the highest taken one: `r1`, then `r2`."""
    numbers = [int(name[len(letter) :]) for name in taken if name[len(letter) :].isdigit()]
    return f"{letter}{max(numbers, default=0) + 1}"
