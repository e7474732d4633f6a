"""The working part of the review page, in pieces: an edit is answered with those that it changed and no others."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property, lru_cache
from typing import Any, NamedTuple

from markupsafe import Markup

from extractors.facts import (
    ActionKind,
    ActionStatus,
    Condition,
    FindingStatus,
    PartStatus,
    Quantity,
    Role,
    Segment,
    Transcript,
    UnplacedReason,
)
from extractors.lexicon import load_table
from extractors.units import units
from pipeline import run
from pipeline.desk import Desk, OpenJob
from pipeline.draft import Draft
from pipeline.edits import to_redo, to_undo
from pipeline.edits_make import words_of
from pipeline.review import measures
from pipeline.store import jobs
from pipeline.web.answers import block, macros, templates
from pipeline.web.slips import Page, Slip
from pipeline.words import load_words
from pipeline.words.figures import clock

PIECES = (
    "bar", "conflicts", "first", "questions", "short", "pictures", "visit", "figures", "statements", "follow_ups",
    "unplaced", "papers", "words",
)  # fmt: skip
"""In the order of the page; each is a block of `work.html.j2`."""

VOCABULARY: dict[str, list[str]] = {
    "roles": [role.value for role in Role],
    "quantities": [quantity.value for quantity in Quantity],
    "conditions": sorted(condition.value for condition in Condition),
    "actions": sorted(action.value for action in ActionKind),
    "finding_statuses": [status.value for status in FindingStatus],
    "action_statuses": [status.value for status in ActionStatus],
    "part_statuses": [status.value for status in PartStatus],
    "unplaced": [reason.value for reason in UnplacedReason],
}


EDGE_S = 0.05
"""A word counts as read for a figure when its middle sticks out of the figure's stretch by no more than this."""


class Piece(NamedTuple):
    """One piece as it stands, and a short digest by which a page says that it has it already."""

    digest: str
    html: Markup


def work_answer(opened: OpenJob, has: object = None) -> dict[str, Any]:
    """What the page's script needs after a change: the pieces that it has not. `has` are its digests by name."""
    there: Mapping[object, object] = has if isinstance(has, dict) else {}
    return {
        "seen": opened.stored.seen,
        "draft": opened.stored.row.draft_key,
        "pieces": {
            name: {"digest": piece.digest, "html": piece.html}
            for name, piece in pieces(opened).items()
            if there.get(name) != piece.digest
        },
    }


def pieces(opened: OpenJob) -> dict[str, Piece]:
    """All pieces of the job as it stands, by name, in the order of the page."""
    stored = opened.stored
    return _pieces(
        _Stand(
            job=stored.row.id,
            draft=stored.row.draft_key or "",
            seen=stored.seen,
            review=stored.row.review,
            papers=tuple(paper.id for paper in stored.papers),
            recordings=tuple((one.id, one.kept, one.peaks) for one in stored.recordings),
            breaks=tuple(sorted(opened.breaks.items())),
            opened=opened,
        )
    )


@dataclass(frozen=True)
class _Stand:
    """All that the pieces depend on."""

    job: str
    draft: str
    seen: int
    review: str
    papers: tuple[str, ...]
    recordings: tuple[tuple[str, bool, str | None], ...]
    breaks: tuple[tuple[str, str], ...]
    opened: OpenJob = field(compare=False)


@lru_cache(maxsize=64)
def _pieces(stand: _Stand) -> dict[str, Piece]:
    opened = stand.opened
    shown = Page(opened)
    edits = opened.stored.edits
    values = {
        "job": opened.stored.row,
        "page": shown,
        "draft": opened.draft,
        "conflicts": opened.replayed.conflicts,
        "first": shown.first(),
        "gaps": shown.gaps(),
        "blockers": sum(need.blocks for need in opened.needs),
        "review": measures(opened.machine, opened.replayed, edits),
        "undo": to_undo(edits),
        "redo": to_redo(edits),
        "papers": opened.stored.papers,
        "recordings": opened.stored.recordings,
        "words": VOCABULARY,
        "units": shown.unit_choices(),
        "slips": macros("slip"),
        "slip": _slip,
    }
    made = {name: _piece(name, values) for name in PIECES if name != "words"}
    made["words"] = _words(_said(shown))
    return made


def _piece(name: str, values: Mapping[str, Any]) -> Piece:
    html = block("work", name, **values)
    # Good while this process runs; a page that comes with digests of another gets all pieces anew.
    return Piece(f"{hash(html) & 0xFFFFFFFFFFFFFFFF:016x}", Markup(html))


@lru_cache(maxsize=4096)
def _slip(slip: Slip, where: str) -> Markup:
    """One entry drawn; most edits leave most of them as they were."""
    return Markup(macros("slip").slip(slip, where))


@dataclass(frozen=True)
class _Said:
    """What the transcript's piece depends on: its words, what of them was read as a figure, what can be played."""

    transcript_id: int
    read: tuple[tuple[int, float, float], ...]
    sounds: tuple[bool, ...]
    # Held here, so that its id means no other transcript while the drawn piece is kept.
    transcript: Transcript = field(compare=False)

    @cached_property
    def longest_s(self) -> float:
        """The longest stretch that one figure was read from, in seconds."""
        return max((end - start for _, start, end in self.read), default=0.0)


def _said(page: Page) -> _Said:
    spans = {
        (said.recording, said.start, said.end)
        for said in (reading.evidence for reading in page.draft.readings)
        if said.start is not None and said.end is not None
    }
    transcript = page.draft.transcript
    sounds = tuple(page.has_sound(number) for number in range(len(page.opened.stored.recordings)))
    return _Said(id(transcript), tuple(sorted(spans)), sounds, transcript)


@lru_cache(maxsize=64)
def _words(said: _Said) -> Piece:
    lines = [_line(said, index, segment) for index, segment in enumerate(said.transcript.segments)]
    return _piece("words", {"lines": lines})


def _line(said: _Said, index: int, segment: Segment) -> dict[str, Any]:
    """A line of the transcript with its words, times, and which of the words a figure was read from."""
    recording, start, end = segment.recording, segment.start, segment.end
    near: list[tuple[float, float]] = []
    if start is not None and end is not None:
        first = bisect_left(said.read, (recording, start - said.longest_s - EDGE_S, 0.0))
        for other, begins, ends in said.read[first:]:
            if (other, begins) > (recording, end + EDGE_S):
                break
            near.append((begins - EDGE_S, ends + EDGE_S))
    read = [
        any(begins <= ((word.start or 0) + (word.end or 0)) / 2 <= ends for begins, ends in near)
        for word in segment.words
    ]
    texts = words_of(segment)
    return {
        "index": index,
        "recording": recording,
        "line": segment.line,
        "start": start,
        "end": end,
        "clock": clock(start) if start is not None else "",
        "sound": start is not None and 0 <= recording < len(said.sounds) and said.sounds[recording],
        "words": [(text, bool(read[i]) if i < len(read) else False) for i, text in enumerate(texts)],
    }


@cache
def forms() -> dict[str, Any]:
    """What stands on every review page alike: the forms to correct and to add, drawn once."""
    words = load_words()
    all_units = [(name, words(f"unit.{name}")) for name in units()]
    drawn = macros("slip")
    return {
        "correct_forms": Markup(drawn.correct_forms(all_units, VOCABULARY)),
        "subjects": list(load_table("subjects")),
        "units": all_units,
        "words": VOCABULARY,
    }


def warm_up(desk: Desk) -> None:
    """Draws the newest job, if there is one, and makes its checks: all that this needs is then at hand."""
    made = templates()
    for name in made.list_templates():
        made.get_template(name)
    forms()
    with desk.store.database.reading() as session:
        newest = next((row.id for row in jobs.listed(session, None) if row.draft_key is not None), None)
    draft = Draft()
    if newest is not None:
        opened = desk.open(newest, None)
        pieces(opened)
        draft = opened.machine
    run.finish(draft, shop=desk.shop)
