"""Words beside a figure that tell why it is no reading of the job, looked up once for a talk."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from extractors.facts import UnplacedReason
from extractors.figure import Figure
from extractors.lexicon import load_table
from extractors.passage import Passage, Span
from extractors.phrases import Hit, Phrases
from extractors.talk import Talk


@dataclass(frozen=True, slots=True)
class Aside:
    """Why a figure is no reading. `minutes`: minutes after midnight, for a clock time."""

    reason: UnplacedReason
    because: str
    minutes: float | None = None
    weak: bool = False
    """Another reading of the words is reasonable: a fitting subject wins over it."""


@cache
def _cues() -> Phrases:
    table = load_table("asides")
    rows = [("earlier", p) for p in table["earlier"]["sentence"]]
    rows += [("earlier_end", p) for p in table["earlier"]["ends"]]
    rows += [("others", p) for p in table["others"]["sentence"]]
    rows += [("others_end", p) for p in table["others"]["ends"]]
    rows += [("not_this_job", p) for p in table["not_this_job"]["sentence"]]
    rows += [("id", p) for p in table["identifier"]["before"]]
    rows += [("street", p) for p in table["address"]["after"]]
    rows += [("clock_after", p) for p in table["clock"]["after"]]
    rows += [("arrival", p) for p in table["clock"]["arrival"]]
    rows += [("age", p) for p in table["age"]["after"]]
    rows += [("ago", p) for p in table["age"]["earlier"]]
    rows += [("money_after", p) for p in table["money"]["after"]]
    rows += [("money_before", p) for p in table["money"]["before"]]
    rows += [("per", p) for p in table["count"]["per"]]
    rows += [("when_after", p) for p in table["date"]["when_after"]]
    rows += [("when_before", p) for p in table["date"]["when_before"]]
    rows += [("speech", p) for p in load_table("figures")["speech"]["say"]]
    return Phrases(rows)


class Beside:
    """The cue words of one talk, and what stands beside a figure."""

    def __init__(self, talk: Talk) -> None:
        """Looks up all cue words once."""
        self.talk = talk
        self.passage: Passage = talk.passage
        self._starts_at: dict[int, list[Hit]] = {}
        self._ends_at: dict[int, list[Hit]] = {}
        self.by_label: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self._starts_at.setdefault(hit.span.start, []).append(hit)
            self._ends_at.setdefault(hit.span.end, []).append(hit)
            self.by_label.setdefault(hit.label, []).append(hit)
        self.table = load_table("asides")
        self.scopes = {
            UnplacedReason.EARLIER_VISIT: self._scopes("earlier", "earlier_end"),
            UnplacedReason.SAID_BY_OTHERS: self._scopes("others", "others_end"),
            UnplacedReason.NOT_THIS_JOB: self._scopes("not_this_job", "others_end"),
        }
        self.speech = [hit.span for hit in self.by_label.get("speech", [])]

    def _scopes(self, label: str, ends: str) -> list[tuple[Span, str]]:
        """From a cue's clause start to the end of its sentence, or to a word that turns back to the job."""
        found = []
        for hit in self.by_label.get(label, []):
            sentence = self.passage.sentence_span(hit.span.start)
            clause = self.passage.clause_span(hit.span.start)
            end = sentence.end
            for stop in self.by_label.get(ends, []):
                if hit.span.end <= stop.span.start < end and stop.span.start > hit.span.end:
                    end = stop.span.start
            found.append((Span(clause.start, end), self.passage.said(hit.span)))
        return found

    def beside(self, figure: Figure, step: int) -> str:
        """The word so many tokens before (negative) or after a figure, within its sentence; else empty."""
        at = figure.number.start + step if step < 0 else figure.number.end + step - 1
        if not 0 <= at < len(self.passage.tokens):
            return ""
        token = self.passage.tokens[at]
        return token.norm if token.sentence == self.passage.tokens[figure.number.start].sentence else ""

    def starts(self, at: int, label: str) -> bool:
        """Whether a cue of a label begins at a token."""
        return any(hit.label == label for hit in self._starts_at.get(at, []))

    def ends(self, at: int, label: str) -> str | None:
        """The words of a cue of a label that ends before a token."""
        for hit in self._ends_at.get(at, []):
            if hit.label == label:
                return self.passage.said(hit.span)
        return None
