"""What a person changed: kept apart from the machine's draft and addressed by evidence, as `edits.json` beside it.

The log only grows. Undo, redo and the settling of a conflict are entries of their own, so that every later
change of a record stays visible (EU 2024/573 article 7 as its readers ask of electronic logs).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal
from uuid import uuid4

from pydantic import ConfigDict, Field, ValidationError

from extractors.facts import Evidence, Frozen
from pipeline.errors import StoreError

ReviewState = Literal["draft", "reviewed", "sent"]


class EditKind(StrEnum):
    """What a person did."""

    CHANGE = "change"  # fields of a fact, of the visit or of the equipment
    CHOOSE = "choose"  # one of the other figures that the sound may mean
    ACCEPT = "accept"  # the figure stands as it is, its doubts are answered
    HEARD = "heard"  # the sound was played, or without sound the words were confirmed
    DELETE = "delete"  # no fact of this job
    ADD = "add"  # a fact that the machine did not find
    ANSWER = "answer"  # a gap, filled
    WAIVE = "waive"  # a gap that nobody can fill or that does not apply
    WORDS = "words"  # the transcript itself
    LINK = "link"  # a fact is the cause, the remedy or the proof
    SETTLE = "settle"  # a conflict, decided
    UNDO = "undo"
    REDO = "redo"
    REVIEW = "review"  # draft, reviewed or sent


class TargetKind(StrEnum):
    """What an edit speaks of."""

    READING = "reading"
    FINDING = "finding"
    ACTION = "action"
    PART = "part"
    FOLLOW_UP = "follow_up"
    UNPLACED = "unplaced"
    COMPLAINT = "complaint"
    MACHINE = "machine"  # one of other_equipment
    PHOTO = "photo"
    FIELD = "field"  # visit.customer, equipment.serial
    GAP = "gap"
    WORDS = "words"
    JOB = "job"


class Target(Frozen):
    """Where an edit belongs, in terms that outlive a new hearing: the sound or line, and what was said there."""

    kind: TargetKind
    source: str | None = None
    """sha256 of the recording or text that the evidence names."""
    evidence: Evidence | None = None
    traits: dict[str, str] = Field(default_factory=dict)
    """What tells this fact from its neighbours of the same breath, as the machine had it."""
    field: str | None = None
    added: str | None = None
    """Id of the edit that added the fact."""


class Edit(Frozen):
    """One thing that a person did."""

    id: str
    who: str
    when: str
    """ISO 8601, UTC."""
    kind: EditKind
    target: Target
    was: dict[str, Any] = Field(default_factory=dict)
    """What the person saw."""
    machine: dict[str, Any] = Field(default_factory=dict)
    """What the machine said then: another answer by a later draft is a conflict."""
    now: dict[str, Any] = Field(default_factory=dict)
    fact: dict[str, Any] | None = None
    """The whole fact after the edit, to bring it back when a later draft has lost it."""


class Edits(Frozen):
    """All edits of one job, oldest first."""

    schema_: Annotated[Literal["edits/1"], Field(alias="schema")] = "edits/1"
    edits: tuple[Edit, ...] = ()

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Conflict(Frozen):
    """Edits of one thing that do not sit on this draft as on the one they were made for. Shown, never dropped."""

    edits: tuple[str, ...]
    kind: Literal["changed", "gone"]
    """changed: the machine now says something else. gone: it no longer finds it."""
    message: str
    mine: str = ""
    machine: str = ""
    fact: str | None = None
    """Id of the fact in the replayed draft, where there is one."""


STEPS_ASIDE = frozenset({EditKind.HEARD, EditKind.UNDO, EditKind.REDO, EditKind.SETTLE, EditKind.REVIEW})
"""Kinds that undo leaps over: a sound that was heard stays heard, a decision on a report is made anew."""


def new_edit(
    who: str,
    kind: EditKind,
    target: Target,
    *,
    now: dict[str, Any] | None = None,
    was: dict[str, Any] | None = None,
    machine: dict[str, Any] | None = None,
    fact: dict[str, Any] | None = None,
    edit_id: str | None = None,
) -> Edit:
    """An edit made at this moment; the browser may bring its own id, so that sending it twice is harmless."""
    return Edit(
        id=edit_id or uuid4().hex,
        who=who,
        when=datetime.now(UTC).isoformat(timespec="seconds"),
        kind=kind,
        target=target,
        was=was or {},
        machine=machine or {},
        now=now or {},
        fact=fact,
    )


def effective(edits: Iterable[Edit]) -> tuple[Edit, ...]:
    """The edits that count, oldest first: neither undone nor given up for what the machine says."""
    edits = tuple(edits)
    undone: set[str] = set()
    for edit in edits:
        if edit.kind is EditKind.UNDO:
            undone.add(str(edit.now.get("edit")))
        elif edit.kind is EditKind.REDO:
            undone.discard(str(edit.now.get("edit")))
        elif edit.kind is EditKind.SETTLE and edit.now.get("keep") == "machine":
            undone.update(str(edit_id) for edit_id in edit.now.get("edits", ()))
    return tuple(edit for edit in edits if edit.id not in undone and edit.kind not in (EditKind.UNDO, EditKind.REDO))


def to_undo(edits: Iterable[Edit]) -> Edit | None:
    """The last edit that undo would take back, or None."""
    for edit in reversed(effective(edits)):
        if edit.kind not in STEPS_ASIDE:
            return edit
    return None


def to_redo(edits: Iterable[Edit]) -> Edit | None:
    """The edit that redo would bring back, or None: something done since the undo ends the way back."""
    waiting: list[str] = []
    by_id: dict[str, Edit] = {}
    for edit in edits:
        by_id[edit.id] = edit
        if edit.kind is EditKind.UNDO:
            waiting.append(str(edit.now.get("edit")))
        elif edit.kind is EditKind.REDO:
            if waiting:
                waiting.pop()
        elif edit.kind not in STEPS_ASIDE:
            waiting.clear()
    return by_id.get(waiting[-1]) if waiting else None


def review_state(edits: Iterable[Edit]) -> ReviewState:
    """Where the report stands. An edit made after the review makes it a draft again, also of a sent one.

    What was sent is kept as it was by whoever sent it; this is about the report that would be made now.
    """
    state: ReviewState = "draft"
    for edit in edits:
        state = review_after(state, edit)
    return state


def review_after(state: ReviewState, edit: Edit) -> ReviewState:
    """Where the report stands once one more edit was made."""
    if edit.kind is EditKind.REVIEW:
        said = edit.now.get("review")
        return said if said in ("reviewed", "sent") else "draft"
    return state if edit.kind is EditKind.HEARD else "draft"


def dump_edits(edits: Iterable[Edit]) -> str:
    """The log as JSON text; the same edits give the same bytes."""
    return Edits(edits=tuple(edits)).model_dump_json(by_alias=True, indent=1) + "\n"


def load_edits(text: str) -> tuple[Edit, ...]:
    """Edits from JSON text. Raises StoreError when it is no such log."""
    try:
        return Edits.model_validate_json(text).edits
    except ValidationError as error:
        raise StoreError(
            "edits-unreadable",
            "The corrections beside the draft cannot be read.",
            "Put back edits.json from a copy; the draft itself is untouched.",
        ) from error


def edits_beside(draft_file: Path) -> tuple[Edit, ...]:
    """The edits kept beside a draft file; none when nobody edited it."""
    path = draft_file.with_name("edits.json")
    return load_edits(path.read_text(encoding="utf-8")) if path.exists() else ()
