"""The facts of a draft laid out for editing: each with what the machine said, what stands now, and who touched it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from pydantic import ValidationError

from extractors.facts import (
    Action,
    Complaint,
    Equipment,
    Finding,
    FollowUp,
    Frozen,
    Part,
    Reading,
    Said,
    Unplaced,
    Visit,
)
from pipeline.draft import Draft, Photo
from pipeline.edits import Edit, Target, TargetKind
from pipeline.edits_find import LISTS, facts_of, key_of, next_id, plain, recording_of, resolve, target_of
from pipeline.errors import InputError

MODELS: dict[TargetKind, type[Frozen]] = {
    TargetKind.READING: Reading,
    TargetKind.FINDING: Finding,
    TargetKind.ACTION: Action,
    TargetKind.PART: Part,
    TargetKind.FOLLOW_UP: FollowUp,
    TargetKind.UNPLACED: Unplaced,
    TargetKind.MACHINE: Equipment,
    TargetKind.PHOTO: Photo,
}
LETTERS = {
    TargetKind.READING: "r",
    TargetKind.FINDING: "f",
    TargetKind.ACTION: "a",
    TargetKind.PART: "p",
}
FIELDS = (
    *(f"visit.{name}" for name in Visit.model_fields),
    *(f"equipment.{name}" for name in Equipment.model_fields),
    "complaint",
)
FIXED = frozenset(
    {"id", "file", "sha256", "evidence", "because", "trail", "repeats", "at", "alternatives", "probability"}
)
"""What no edit changes: where a thing was said and why the machine put it here."""


@dataclass
class Item:
    """One fact on the bench."""

    kind: TargetKind
    target: Target
    origin: Frozen | None
    """What the machine said; null for what a person added or brought back."""
    fact: Frozen | None
    """What stands now; null when it was taken out or a field is empty."""
    heard: bool = False
    accepted: frozenset[str] | None = None
    """The doubts, by their fixed words, that a person answered by letting the figure stand; null when nobody did."""
    edits: list[Edit] = field(default_factory=list)


class Bench:
    """A draft taken apart for edits, and put together again."""

    def __init__(self, draft: Draft, edits: Iterable[Edit]) -> None:
        """Takes the draft and the edits that will be laid on it; finds what each of them means at once."""
        self.draft = draft
        self.items: list[Item] = [
            Item(kind, target_of(draft, kind, place.fact), place.fact, place.fact)
            for kind in LISTS
            for place in facts_of(draft, kind)
        ]
        self._listed = {(kind, i): item for kind in LISTS for i, item in enumerate(self.of(kind))}
        self.fields: dict[str, Item] = {}
        for path in FIELDS:
            value = field_value(draft, path)
            target = Target(kind=TargetKind.FIELD, field=path)
            self.fields[path] = Item(TargetKind.FIELD, target, value, value)
        self._found = resolve(draft, (edit.target for edit in edits))
        self._brought: dict[str, Item] = {}

    def of(self, kind: TargetKind) -> list[Item]:
        """The items of one kind, in the draft's order, added ones last."""
        return [item for item in self.items if item.kind is kind]

    def item(self, target: Target) -> Item | None:
        """What the target means on this draft, or None when the draft has lost it."""
        if target.kind is TargetKind.FIELD:
            return self.fields.get(target.field or "")
        key = key_of(target)
        if target.added is not None or key in self._brought:
            return self._brought.get(target.added or key)
        place = self._found.get(key)
        return self._listed.get((place.kind, place.index)) if place else None

    def add(self, target: Target, fact: dict[str, Any], key: str) -> Item | None:
        """Puts in a fact that the machine has not; None when the recording it was said in is no longer there."""
        recording = recording_of(self.draft, target)
        if recording is None:
            return None
        body = {name: value for name, value in fact.items() if name != "id"}
        if isinstance(body.get("evidence"), dict):
            body["evidence"] = {**body["evidence"], "recording": recording}
        if letter := LETTERS.get(target.kind):
            facts = [fact for item in self.of(target.kind) for fact in (item.fact, item.origin)]
            body["id"] = next_id(letter, [str(getattr(fact, "id", "")) for fact in facts])
        made = validated(MODELS[target.kind], body)
        item = Item(target.kind, target, None, made)
        self.items.append(item)
        self._brought[key] = item
        return item

    def adopt(self, item: Item, key: str) -> None:
        """Makes an item of the machine's answer to the edit that had added it: the machine finds it by itself now."""
        self._brought[key] = item

    def built(self) -> Draft:
        """The draft with everything that stands on the bench now."""
        parts: dict[str, Any] = {
            LISTS[kind]: tuple(item.fact for item in self.of(kind) if item.fact is not None) for kind in LISTS
        }
        for group, model in (("visit", Visit), ("equipment", Equipment)):
            values = {name: self.fields[f"{group}.{name}"].fact for name in model.model_fields}
            parts[group] = getattr(self.draft, group).model_copy(update=values)
        parts["complaint"] = self.fields["complaint"].fact
        return self.draft.model_copy(update=parts)

    def handles(self) -> Iterator[tuple[str, Item]]:
        """Each standing item under the name that a page calls it by: `r3`, `follow_up:0`, `equipment.serial`."""
        for kind in LISTS:
            standing = [item for item in self.of(kind) if item.fact is not None]
            for i, item in enumerate(standing):
                yield str(getattr(item.fact, "id", None) or f"{kind.value}:{i}"), item
        yield from self.fields.items()


def field_value(draft: Draft, path: str) -> Said | Complaint | None:
    """The field of the visit, the equipment or the complaint that the path names."""
    group, _, name = path.partition(".")
    value = getattr(getattr(draft, group), name) if name else getattr(draft, group)
    return value if isinstance(value, Said | Complaint) else None


def validated(model: type[Frozen], body: dict[str, Any]) -> Frozen:
    """The fact made of these values. Raises InputError when one of them cannot be."""
    try:
        return model.model_validate(body)
    except ValidationError as error:
        where = error.errors()[0]
        name = ".".join(str(part) for part in where["loc"]) or "the entry"
        raise InputError(
            "not-a-value", f"{name.replace('_', ' ')} cannot be that ({where['msg']}).", "Correct it and save again."
        ) from error


def changed(item: Item, now: dict[str, Any]) -> Frozen:
    """The item's fact with these fields changed. Raises InputError for a field that may not be, or a wrong value."""
    if item.fact is None:
        raise InputError("no-such-fact", "That entry was taken out.", "Undo the deletion first.")
    if wrong := FIXED.intersection(now):
        raise InputError("not-editable", f"{sorted(wrong)[0]} cannot be changed.", "Change the fact itself.")
    body = item.fact.model_dump(mode="json")
    unknown = set(now) - set(body)
    if unknown:
        raise InputError("not-editable", f"There is no {sorted(unknown)[0]} here.", "Change another field.")
    return validated(type(item.fact), {**body, **now})


def differs(one: Any, other: Any) -> bool:
    """Whether two stored values are not the same; 21 and 21.0 are."""
    if one is None or other is None:
        return one is not other
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) != len(other) or any(differs(a, b) for a, b in zip(one, other, strict=True))
    return plain(one) != plain(other)
