"""Corrected words of the transcript: put in where they were said, with the times of the words they replace."""

from __future__ import annotations

import re
from collections.abc import Sequence

from extractors.facts import Segment, Transcript, Word
from pipeline.draft import Draft
from pipeline.edits import Conflict, Edit, EditKind, Target
from pipeline.edits_find import recording_of

EDGE_S = 0.05
"""A word counts as inside a stretch when it sticks out by no more than this."""


def correct_words(draft: Draft, edits: Sequence[Edit]) -> tuple[Draft, list[Conflict]]:
    """The draft with its transcript corrected, and the corrections that no longer fit the words there.

    Facts are left as they were: reading them again from the new words is the caller's work.
    """
    settled = {edit_id for edit in edits if edit.kind is EditKind.SETTLE for edit_id in edit.now.get("edits", ())}
    segments = list(draft.transcript.segments)
    conflicts: list[Conflict] = []
    for edit in edits:
        if edit.kind is not EditKind.WORDS:
            continue
        was, now = str(edit.was.get("text", "")), str(edit.now.get("text", ""))
        index = _segment_index(segments, draft, edit.target, was, now)
        replaced = None if index is None else _replaced(segments[index], edit.target, was, now, edit.id in settled)
        if index is not None and replaced is not None:
            segments[index] = replaced
        elif edit.id not in settled:
            there = _words_there(segments, draft, edit.target)
            conflicts.append(
                Conflict(
                    edits=(edit.id,),
                    kind="changed" if there else "gone",
                    message=(
                        f"You corrected “{was}” to “{now}”; the words there are now “{there}”."
                        if there
                        else f"You corrected “{was}” to “{now}”; nothing is heard there any more."
                    ),
                    mine=now,
                    machine=there,
                )
            )
    if segments == list(draft.transcript.segments):
        return draft, conflicts
    return draft.model_copy(update={"transcript": Transcript(segments=tuple(segments))}), conflicts


def _segment_index(segments: Sequence[Segment], draft: Draft, target: Target, was: str, now: str) -> int | None:
    """Index of the segment that the correction belongs to: by line, or by sound and then by words."""
    evidence = target.evidence
    recording = recording_of(draft, target)
    if evidence is None or recording is None:
        return None
    best: tuple[float, int] | None = None
    for i, segment in enumerate(segments):
        if segment.recording != recording:
            continue
        if evidence.line is not None or evidence.start is None or evidence.end is None:
            if segment.line == evidence.line and (_find(segment.text, was) or _find(segment.text, now)):
                return i
            continue
        if segment.start is None or segment.end is None:
            continue
        both = min(evidence.end, segment.end) - max(evidence.start, segment.start)
        if both >= -EDGE_S and (best is None or both > best[0]):
            best = (both, i)
    return best[1] if best else None


def _replaced(segment: Segment, target: Target, was: str, now: str, anyway: bool) -> Segment | None:
    """The segment with the words replaced; None when other words stand there and nobody said `anyway`."""
    if not segment.words:
        place = _find(segment.text, was, int(target.traits.get("nth", "0")))
        if place is None:
            return segment if _find(segment.text, now) else None
        return segment.model_copy(update={"text": segment.text[: place[0]] + now + segment.text[place[1] :]})
    inside = _inside(segment, target)
    if not inside:
        return None
    there = " ".join(word.text.strip() for word in segment.words[inside[0] : inside[-1] + 1])
    if _same(there, now):
        return segment
    if not _same(there, was) and not anyway:
        return None
    first, last = segment.words[inside[0]], segment.words[inside[-1]]
    words = (*segment.words[: inside[0]], *_spread(now, first, last), *segment.words[inside[-1] + 1 :])
    return segment.model_copy(
        update={"words": words, "text": " ".join(word.text.strip() for word in words if word.text.strip())}
    )


def _inside(segment: Segment, target: Target) -> list[int]:
    """Indexes of the words whose middle lies in the target's stretch."""
    evidence = target.evidence
    if evidence is None or evidence.start is None or evidence.end is None:
        return []
    return [
        i
        for i, word in enumerate(segment.words)
        if word.start is not None
        and word.end is not None
        and evidence.start - EDGE_S <= (word.start + word.end) / 2 <= evidence.end + EDGE_S
    ]


def _spread(text: str, first: Word, last: Word) -> list[Word]:
    """The words of a correction, sharing the time of those they replace. A person vouches for them: 1.0."""
    parts = text.split()
    if first.start is None or last.end is None:
        return [Word(text=part, probability=1.0) for part in parts]
    step = (last.end - first.start) / max(1, len(parts))
    return [
        Word(
            start=round(first.start + i * step, 3),
            end=round(first.start + (i + 1) * step, 3),
            text=part,
            probability=1.0,
        )
        for i, part in enumerate(parts)
    ]


def _words_there(segments: Sequence[Segment], draft: Draft, target: Target) -> str:
    """The words that now stand where the correction was made; empty when there are none."""
    recording = recording_of(draft, target)
    said: list[str] = []
    for segment in segments:
        if segment.recording != recording or target.evidence is None:
            continue
        if segment.words:
            said += [segment.words[i].text.strip() for i in _inside(segment, target)]
        elif segment.line is not None and segment.line == target.evidence.line:
            said.append(segment.text)
    return " ".join(said)


def _find(text: str, words: str, nth: int = 0) -> tuple[int, int] | None:
    """Start and end of the nth place where the words stand as whole words, or None."""
    if not words.strip():
        return None
    pattern = r"(?<!\w)" + r"\s+".join(map(re.escape, words.split())) + r"(?!\w)"
    places = [match.span() for match in re.finditer(pattern, text)]
    return places[min(nth, len(places) - 1)] if places else None


def _same(one: str, other: str) -> bool:
    """Whether two stretches are the same words, however spaced."""
    return one.split() == other.split()
