"""As found or as left: from the story of the job, with the words beside a figure as a second opinion."""

from __future__ import annotations

from functools import cache

from extractors.facts import Stage
from extractors.lexicon import load_table
from extractors.passage import Passage, Span
from extractors.phrases import Phrases


@cache
def _phrases() -> Phrases:
    return Phrases([(row, phrase) for row, table in load_table("stages").items() for phrase in table["say"]])


class Story:
    """The course of one job: where the first deed that changes the machine stands, and what was said beside figures."""

    def __init__(self, passage: Passage, deeds: list[int]) -> None:
        """`deeds`: tokens at which a remedy was done; the words of stages.toml are used where none is known."""
        self.passage = passage
        self._hits = _phrases().find(passage, overlapping=True)
        words = [hit.span.start for hit in self._hits if hit.label == "remedy"]
        marks = sorted(deeds or words)
        self.first_deed = marks[0] if marks else None

    def _near(self, label: str, span: Span) -> bool:
        return any(h.label == label and span.start <= h.span.start < span.end for h in self._hits)

    def stage(self, number: Span, clause: Span) -> Stage | None:
        """The stage of a measured figure. Null where nothing was repaired."""
        lead = Span(max(clause.start, number.start - 10), number.end + 4)
        found, left = self._near("as_found", lead), self._near("as_left", lead)
        after = self.first_deed is not None and number.start > self.first_deed
        if left and not found and after:
            return Stage.AS_LEFT
        if found and not left and not after:
            return Stage.AS_FOUND
        return Stage.AS_LEFT if after else Stage.AS_FOUND
