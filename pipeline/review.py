"""What a report still needs of a person, the most pressing first, and when it may be called reviewed."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache, lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

from extractors.facts import Action, Finding, Part, Reading
from pipeline.draft import Draft, Verdict
from pipeline.edits import Edit, EditKind, effective
from pipeline.edits_apply import Mark, Replayed
from pipeline.edits_find import key_of
from pipeline.errors import AuthoringError

TABLE = Path(__file__).with_name("must_hear.toml")
SAID = ("subject", "quantity", "unit", "of", "place")
FIELDS = (*SAID, "role", "machine")
USUAL_ROLES = ("measured", "setpoint")

NeedKind = Literal["conflict", "figure", "entry", "listen", "outside", "gap", "unheard", "history"]
ORDER: Mapping[str, int] = {
    "conflict": 0,
    "figure": 1,
    "listen": 2,
    "outside": 3,
    "entry": 4,
    "history": 5,
    "gap": 6,
    "unheard": 7,
}


@dataclass(frozen=True)
class Need:
    """One thing for a person to look at. `handle` is the entry's name on the page, `blocks`: no review without it."""

    kind: NeedKind
    handle: str
    text: str
    reasons: tuple[str, ...] = ()
    blocks: bool = False
    at: float | None = None


@cache
def _rows() -> tuple[dict[str, Any], ...]:
    rows = tomllib.loads(TABLE.read_text(encoding="utf-8"))["row"]
    for row in rows:
        unknown = set(row) - {*FIELDS, "why", "source"}
        if unknown or not row.get("why") or not row.get("source"):
            raise AuthoringError("must-hear-wrong", f"A row of {TABLE.name} is wrong: {row}.", "See its head.")
    return tuple(rows)


def must_hear(draft: Draft, reading: Reading) -> str:
    """Why the figure has to be heard before the report goes out; empty when it need not be."""
    if reading.superseded_by is not None:
        return ""
    machine = draft.equipment.type.value.lower() if draft.equipment.type else ""
    said = tuple((name, str(getattr(reading, name) or "").lower()) for name in SAID)
    return _must_hear(machine, str(reading.role), said)


@lru_cache(maxsize=4096)
def _must_hear(machine: str, role: str, fields: tuple[tuple[str, str], ...]) -> str:
    """The same by what it depends on; a page asks it of every figure, again and again."""
    said = dict(fields)
    for row in _rows():
        if role not in row.get("role", USUAL_ROLES):
            continue
        named = [name for name in said if name in row]
        if all(_named(name, said[name], row[name]) for name in named) and (
            "machine" not in row or not machine or any(word in machine for word in row["machine"])
        ):
            return str(row["why"])
    return ""


def _named(field: str, said: str, words: list[str]) -> bool:
    if field == "place":
        return any(word.lower() in said for word in words)
    return said in [word.lower() for word in words]


def needs(replayed: Replayed, history: Mapping[str, str] | None = None) -> list[Need]:
    """What needs a person, the most pressing first. `history` are sentences by reading id, from the machine's past.

    A figure that may hurt somebody comes before others of its kind, then what was said first.
    """
    draft, marks = replayed.draft, replayed.marks
    found: list[Need] = [
        Need("conflict", conflict.fact or conflict.edits[0], conflict.message, blocks=True)
        for conflict in replayed.conflicts
    ]
    outside = {
        reading_id: check.message
        for check in draft.checks
        if check.verdict is Verdict.OUT_OF_TOLERANCE
        for reading_id in check.readings
    }
    for reading in draft.readings:
        found += _of_reading(draft, reading, marks.get(reading.id), outside, history or {})
    entries: list[Finding | Action | Part] = [*draft.findings, *draft.actions, *draft.parts]
    for fact in entries:
        if fact.confirm:
            found.append(Need("entry", fact.id, "", fact.confirm, at=fact.evidence.start))
    for group in ("visit", "equipment"):
        for name in type(getattr(draft, group)).model_fields:
            said = getattr(getattr(draft, group), name)
            if said is not None and said.confirm:
                at = said.evidence.start if said.evidence else None
                found.append(Need("entry", f"{group}.{name}", "", said.confirm, at=at))
    found += [Need("gap", f"gap:{i}", gap.question) for i, gap in enumerate(draft.gaps)]
    found += [
        Need("unheard", f"unheard:{i}", "Somebody speaks here, and no words could be had.", at=stretch.start)
        for i, stretch in enumerate(draft.unheard)
    ]
    return sorted(found, key=lambda need: (ORDER[need.kind], not need.blocks, need.at if need.at is not None else 1e9))


def _of_reading(
    draft: Draft, reading: Reading, mark: Mark | None, outside: Mapping[str, str], history: Mapping[str, str]
) -> list[Need]:
    at = reading.evidence.start
    blocks = bool(must_hear(draft, reading)) and not (mark is not None and mark.heard) and _was_said(reading)
    if reading.confirm and reading.superseded_by is None:
        return [Need("figure", reading.id, "", reading.confirm, blocks, at)]
    if reading.id in outside and not (mark is not None and mark.accepted):
        return [Need("outside", reading.id, outside[reading.id], (), blocks, at)]
    if reading.id in history and not (mark is not None and mark.accepted):
        return [Need("history", reading.id, history[reading.id], (), blocks, at)]
    if blocks:
        return [Need("listen", reading.id, must_hear(draft, reading), (), True, at)]
    return []


def _was_said(reading: Reading) -> bool:
    """Whether there is anything to hear: what a person wrote without words in the recording was not said."""
    return bool(reading.evidence.quote)


def blockers(replayed: Replayed) -> list[Need]:
    """What stands between the draft and its review: figures that must be heard, conflicts that must be decided."""
    return [need for need in needs(replayed) if need.blocks]


PAUSE_S = 300
"""Seconds without anything done after which somebody is taken to have left the page."""


@dataclass(frozen=True)
class Measures:
    """What a review was like, to be told and published: how much was listened to, and how long it took.

    Marks miss errors, and errors without a mark are found less often than where nothing is marked at all (Vertanen and
    Kristensson, CHI 2008): so what counts most is how many of the figures without a mark anybody played.
    """

    marked: int
    marked_heard: int
    unmarked: int
    unmarked_heard: int
    changed: int
    """Entries that stand otherwise than the machine had them."""
    minutes: float
    """From the first thing done to the last, without pauses."""


def measures(machine: Draft, replayed: Replayed, edits: Sequence[Edit]) -> Measures:
    """The measures of a job's review. A figure counts as marked when the machine had doubted it."""
    doubted = {reading.id for reading in machine.readings if reading.confirm}
    counts = {True: [0, 0], False: [0, 0]}
    for reading in replayed.draft.readings:
        mark = replayed.marks.get(reading.id)
        if reading.superseded_by is None and _was_said(reading):
            counts[reading.id in doubted][0] += 1
            counts[reading.id in doubted][1] += bool(mark and mark.heard)
    apart = (EditKind.CHANGE, EditKind.CHOOSE, EditKind.ADD, EditKind.ANSWER, EditKind.DELETE, EditKind.WORDS)
    live = effective(edits)
    moments = [datetime.fromisoformat(edit.when).timestamp() for edit in edits]
    steps = [after - before for before, after in pairwise(sorted(moments))]
    changed = {edit.id if edit.kind is EditKind.ADD else key_of(edit.target) for edit in live if edit.kind in apart}
    minutes = sum(step for step in steps if step <= PAUSE_S) / 60
    (marked, marked_heard), (unmarked, unmarked_heard) = counts[True], counts[False]
    return Measures(marked, marked_heard, unmarked, unmarked_heard, len(changed), minutes)
