"""What is to be done after the visit, and when, as it was said."""

from __future__ import annotations

from functools import cache
from typing import Any

from extractors.facts import FollowUp
from extractors.find.complaint import tidy
from extractors.lexicon import load_table
from extractors.number_words import number_word
from extractors.passage import Passage, Span
from extractors.phrases import Cues, Phrases
from extractors.registry import Extractor, Found
from extractors.talk import Talk

LONGEST = 34  # tokens of one follow-up


@cache
def _table() -> dict[str, Any]:
    return load_table("follow_ups")


@cache
def _cues() -> Phrases:
    table = _table()
    return Phrases(
        [(kind, p) for kind in ("heading", "back", "waits", "quote", "future", "past") for p in table[kind]["say"]]
    )


def _amount(passage: Passage, index: int) -> int | None:
    """The end of "two", "a couple of", "about 5" at a token, or None."""
    while passage.norm(index) in ("about", "around", "maybe", "like"):
        index += 1
    if passage.norm(index) in ("a", "an", "one"):
        index += 1
        if passage.norm(index) in ("couple", "few"):
            index += 1
            index += passage.norm(index) == "of"
        return index
    start = index
    while (
        passage.norm(index).isdigit()
        or number_word(passage.norm(index)) is not None
        or passage.norm(index) in ("or", "to")
    ):
        index += 1
    return index if index > start else None


def when_at(passage: Passage, index: int) -> Span | None:
    """A time to come that begins at a token: "next week", "in two weeks", "Thursday week", "when the part comes in"."""
    table, norm = _table()["when"], passage.norm(index)
    after = passage.norm(index + 1)
    if norm in ("in", "within") and after in table["months"] and after != "may":
        return Span(index, index + 2)
    if norm in ("in", "within"):
        end = _amount(passage, index + 1)
        if end is not None and passage.norm(end) in table["spans"]:
            return Span(index, end + 1)
    if norm in ("next", "this") and after in table["next"]:
        return Span(index, index + 2)
    if norm in table["days"]:
        end = index + 1
        end += passage.norm(end) == "week"
        if passage.norm(end) == "," and passage.norm(end + 1) in ("in", "at"):
            end += 1
        if passage.norm(end) == "in" and passage.norm(end + 2) in ("morning", "afternoon"):
            end += 3
        return Span(index, end)
    if norm == "a" and after == "week":
        day = passage.norm(index + 2)
        return Span(index, index + 3) if day in table["days"] else None
    if norm == "on" and after == "the" and passage.norm(index + 2).endswith(("th", "rst", "ond", "ird", "eth")):
        return Span(index, index + 3)
    if norm in ("when", "once", "till", "until", "after"):
        for end in range(index + 2, index + 7):
            if passage.norm(end) in table["arrives"] and passage.norm(index + 1) in (
                "the",
                "it",
                "they",
                "that",
                "those",
                "my",
                "we",
            ):
                end += 1
                end += passage.norm(end) in ("in", "here", "up", "back")
                return Span(index, end)
    return None


class _Plans(Cues):
    """The cues of one passage."""

    def __init__(self, passage: Passage) -> None:
        super().__init__(_cues(), passage)

    def when(self, start: int, end: int) -> Span | None:
        """The first time to come in [start, end)."""
        return next(
            (w for i in range(start, end) if (w := when_at(self.passage, i)) is not None and w.end <= end + 4), None
        )

    def part(self, span: Span, *, heading: bool, until: int) -> Span:
        """What belongs to a plan: from its clause to the end of the sentence, the next plan, or another thought.

        A heading takes the sentence after it where nothing else stands in its own.
        """
        passage, at = self.passage, span.start
        sentence = passage.sentence_span(at)
        start = at if heading else passage.clause_span(at).start
        while start < at and passage.norm(start) in ("and", "so", "uh", "um", "okay", "then", "but", ","):
            start += 1
        if at - start > 10:
            start = at  # captions without marks: the clause began elsewhere
        end = sentence.end
        while heading and end < len(passage.tokens) and end - span.end < 6:
            end = passage.sentence_span(end).end
        end = min(end, start + LONGEST, max(until, span.end))
        while end > span.end and (
            not passage.norm(end - 1)[-1:].isalnum() or passage.norm(end - 1) in ("and", "so", "then")
        ):
            end -= 1
        return Span(start, end)

    def all(self) -> list[FollowUp]:
        """Every plan, in order, one a stretch."""
        found: list[tuple[Span, FollowUp]] = []
        marks = sorted(
            (hit.span, label) for label in ("heading", "back", "waits", "quote") for hit in self.hits.get(label, [])
        )
        for at, (span, label) in enumerate(marks):
            if found and span.start < found[-1][0].end:
                continue
            later = [other.start for other, kind in marks[at + 1 :] if other.start > span.end + 3 and kind != label]
            until = self.passage.clause_span(later[0]).start if later else len(self.passage.tokens)
            part = self.part(span, heading=label == "heading", until=until)
            if not self._holds(span, label, part):
                continue
            when = self.when(max(part.start, span.start - 8), part.end)
            found.append((part, self._made(part if label != "heading" else self._beneath(span, part), when)))
        return [one for _, one in found]

    def _beneath(self, heading: Span, part: Span) -> Span:
        """What stands under a heading, the heading left out; all of it where nothing does."""
        start = heading.end
        while start < part.end and (
            self.passage.norm(start) in ("is", "the", "for", "to") or not self.passage.norm(start)[:1].isalnum()
        ):
            start += 1
        return Span(start, part.end) if part.end - start >= 3 else part

    def _holds(self, span: Span, label: str, part: Span) -> bool:
        """Whether a cue tells of something to come."""
        passage = self.passage
        past = [
            h.span
            for h in self.between("past", span.start - 4, span.start + 2)
            if h.span.start <= span.start < h.span.end
        ]
        if any(when_at(passage, hit.end - 1) is None and when_at(passage, hit.end) is None for hit in past):
            return False
        if any(
            passage.norm(i) in ("didn't", "don't", "not", "never")
            for i in range(max(part.start, span.start - 3), span.start)
        ):
            return False
        when = self.when(span.start, part.end)
        future = bool(self.between("future", max(part.start, span.start - 6), span.start + 2))
        opens = span.start - part.start <= 1
        if label == "heading":
            return True
        if label == "quote":
            return not (passage.norm(span.start - 1) in ("and", "says") and when is None and not future) or opens
        if label == "back":
            return (when is not None and (future or opens)) or (
                future
                and passage.norm(span.end) in ("with", "to", "and", "when")
                and passage.norm(span.start) != "back"
            )
        return when is not None or future or opens

    def _made(self, part: Span, when: Span | None) -> FollowUp:
        passage = self.passage
        said = passage.said(when).lower() if when is not None else None
        return FollowUp(text=tidy(passage.said(part)), when=said, evidence=passage.evidence(part))


def find(talk: Talk, found: Found) -> tuple[FollowUp, ...]:
    """All follow-ups in order. A date is left open: the words alone do not say which day the visit was."""
    return tuple(_Plans(talk.passage).all())


EXTRACTOR = Extractor("follow_ups", find, gives="follow_ups")
