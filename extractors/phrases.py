"""Finds the phrases of the trade vocabulary in a passage, longest first, with spaCy's phrase matcher."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from extractors.passage import Passage, Span, split

if TYPE_CHECKING:
    from spacy.matcher import PhraseMatcher
    from spacy.vocab import Vocab


@dataclass(frozen=True, slots=True)
class Hit:
    """A phrase that was found. `label` names the row of the table that it belongs to."""

    span: Span
    label: str


@cache
def _vocab() -> Vocab:
    from spacy.vocab import Vocab

    return Vocab()


def plural(phrase: str) -> str:
    """The plural of a noun phrase, by its last word."""
    if phrase.endswith(("s", "x", "ch", "sh", "z")):
        return phrase + "es"
    if phrase.endswith("y") and phrase[-2:-1] not in "aeiou":
        return phrase[:-1] + "ies"
    return phrase + "s"


class Phrases:
    """A table of phrases: label to spellings. Built once; asking is linear in the passage."""

    def __init__(self, rows: Iterable[tuple[str, str]]) -> None:
        """Takes (label, phrase) rows; one phrase may stand under several labels."""
        from spacy.matcher import PhraseMatcher
        from spacy.tokens import Doc

        self._labels: dict[tuple[str, ...], list[str]] = {}
        for label, phrase in rows:
            words = tuple(norm for _, norm, _, _, _ in split(phrase.lower()))
            labels = self._labels.setdefault(words, [])
            if label not in labels:
                labels.append(label)
        self._matcher: PhraseMatcher = PhraseMatcher(_vocab())
        self._matcher.add("phrase", [Doc(_vocab(), words=list(words)) for words in self._labels])

    def find(self, passage: Passage, *, overlapping: bool = False) -> list[Hit]:
        """All hits in order; of overlapping ones the longest, the first of equals, unless told otherwise."""
        from spacy.tokens import Doc

        if not passage.tokens:
            return []
        doc = Doc(_vocab(), words=list(passage.norms))
        spans = sorted({(start, end) for _, start, end in self._matcher(doc)}, key=lambda s: (s[0] - s[1], s[0]))
        taken: set[int] = set()
        hits: list[Hit] = []
        for start, end in spans:
            if not overlapping:
                if any(index in taken for index in range(start, end)):
                    continue
                taken.update(range(start, end))
            hits += [Hit(Span(start, end), label) for label in self._labels[passage.norms[start:end]]]
        return sorted(hits, key=lambda hit: (hit.span, hit.label))


class Cues:
    """All hits of a table in one passage, overlapping ones too, by label."""

    def __init__(self, phrases: Phrases, passage: Passage) -> None:
        self.passage = passage
        self.hits: dict[str, list[Hit]] = {}
        for hit in phrases.find(passage, overlapping=True):
            self.hits.setdefault(hit.label, []).append(hit)
        self.starts = {label: [h.span.start for h in hits] for label, hits in self.hits.items()}

    def between(self, label: str, start: int, end: int) -> list[Hit]:
        """Cues of a kind that begin in [start, end)."""
        starts = self.starts.get(label, [])
        return self.hits.get(label, [])[bisect_left(starts, start) : bisect_left(starts, end)]
