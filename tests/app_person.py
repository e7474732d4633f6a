"""Somebody who edits a draft in a test, one thing after another."""

from __future__ import annotations

from extractors.facts import Reading
from pipeline.draft import Draft
from pipeline.edits import Edit, EditKind, Target, TargetKind, new_edit
from pipeline.edits_apply import Replayed, replay
from pipeline.edits_make import make_edit


class Person:
    """Somebody who edits a draft, one thing after another."""

    def __init__(self, machine: Draft, who: str = "Ann") -> None:
        self.machine, self.who, self.edits = machine, who, ()

    def sees(self) -> Replayed:
        return replay(self.machine, self.edits)

    def does(self, kind: EditKind, handle: str, **now: object) -> Edit:
        edit = make_edit(self.sees(), self.who, kind, handle, now)
        self.edits = (*self.edits, edit)
        return edit

    def says(self, kind: EditKind, **now: object) -> None:
        self.edits = (*self.edits, new_edit(self.who, kind, Target(kind=TargetKind.JOB), now=now))


def reading(replayed: Replayed, reading_id: str) -> Reading:
    return replayed.draft.reading(reading_id)
