"""States and deeds of a talk, worked out once for the extractors that tell them."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.claims import find_claims
from extractors.deed import Deed
from extractors.deeds import find_deeds
from extractors.registry import Found
from extractors.settled import Entry, settle
from extractors.talk import Talk
from extractors.view import View


@dataclass(frozen=True)
class Work:
    """What a talk says of its components and of the work on them, not yet made into findings and actions."""

    view: View
    entries: list[Entry]
    deeds: list[Deed]


def work_of(talk: Talk, found: Found) -> Work:
    """The states and deeds of a talk; kept in `found` for the next that asks. Linear in the talk."""
    kept = found.work
    if isinstance(kept, Work) and kept.view.talk is talk:
        return kept
    view = View(talk)
    entries = settle(find_claims(view))
    made = Work(view, entries, find_deeds(view, entries))
    found.work = made
    return made
