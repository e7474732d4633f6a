"""A passage: the words of a transcript as one stream of tokens that know where they were said."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby

from extractors.facts import Evidence, Segment, Transcript

TOKEN = re.compile(
    r"""
    \d{1,3}(?:,\d{3})+(?:\.\d+)?      # 12,000
  | \d+:\d\d(?!\d)                    # 1:18
  | \d+(?:[.,]\d+)?                   # 118.6, 12,5
  | \.\d+                             # .65
  | [^\W\d_]+n['’]t\b                 # isn't
  | [^\W\d_]+                         # words
  | ['’](?:s|re|ve|ll|d|m)\b          # fan's, it'll
  | \S
    """,
    re.VERBOSE | re.IGNORECASE,
)
ENDS = frozenset(".?!")
BREAKS = frozenset(",;:.?!")


@dataclass(frozen=True, slots=True)
class Token:
    """One word, figure or mark. `segment` is the index in the transcript; `start` and `end` are places in its text."""

    index: int
    text: str
    norm: str
    segment: int
    start: int
    end: int
    joined: bool
    """No space stands before it."""
    sentence: int
    clause: int

    @property
    def is_word(self) -> bool:
        """Made of letters."""
        return self.norm[:1].isalpha()

    @property
    def is_digits(self) -> bool:
        """Written with digits."""
        return self.norm[:1].isdigit() or (self.norm[:1] == "." and len(self.norm) > 1)


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """Tokens `start` up to, not including, `end`."""

    start: int
    end: int

    def overlaps(self, other: Span) -> bool:
        """Shares a token with the other."""
        return self.start < other.end and other.start < self.end


def split(text: str) -> list[tuple[str, str, int, int, bool]]:
    """Text as (surface, lower-case form, start, end, joined to the one before). Hyphens between words vanish."""
    found: list[tuple[str, str, int, int, bool]] = []
    for match in TOKEN.finditer(text):
        surface = match.group()
        start, end = match.span()
        joined = bool(found) and found[-1][3] == start
        if surface in "-‐‑" and start > 0 and end < len(text) and not text[start - 1].isspace() and text[end].isalpha():
            continue
        norm = surface.lower().replace("’", "'")
        found.append((surface, norm, start, end, joined))
    return found


@dataclass(frozen=True)
class Passage:
    """The tokens of a transcript, with sentences and clauses numbered through."""

    transcript: Transcript
    tokens: tuple[Token, ...]
    joined_lines: bool
    """Sentences run on over the ends of segments, as in captions and recognised sound."""
    taken: Mapping[int, str] = field(default_factory=dict)
    """Tokens that were misheard, with the word under which they stand in `norms`."""
    _word_times: dict[int, tuple[tuple[int, ...], tuple[int, ...]]] = field(default_factory=dict, repr=False)

    @cached_property
    def heard(self) -> bool:
        """Whether a recogniser wrote the words, and not a person."""
        return any(segment.words or segment.doubts for segment in self.transcript.segments)

    @cached_property
    def norms(self) -> tuple[str, ...]:
        """The lower-case forms of all tokens."""
        return tuple(token.norm for token in self.tokens)

    def norm(self, index: int) -> str:
        """The lower-case form of a token; empty beyond either end."""
        return self.tokens[index].norm if 0 <= index < len(self.tokens) else ""

    def said(self, span: Span) -> str:
        """The words of a span as they stand in the transcript."""
        if span.end <= span.start:
            return ""
        first, last = self.tokens[span.start], self.tokens[span.end - 1]
        if first.segment == last.segment:
            return self.transcript.segments[first.segment].text[first.start : last.end]
        parts = [self.transcript.segments[first.segment].text[first.start :].rstrip()]
        parts += [self.transcript.segments[i].text.strip() for i in range(first.segment + 1, last.segment)]
        parts.append(self.transcript.segments[last.segment].text[: last.end].lstrip())
        return " ".join(part for part in parts if part)

    def _word_range(self, token: Token) -> tuple[int, int] | None:
        """Indexes of the first and last word of the segment that the token stands in."""
        segment = self.transcript.segments[token.segment]
        if not segment.words:
            return None
        if token.segment not in self._word_times:
            starts, ends, position = [], [], 0
            for word in segment.words:
                bare = word.text.strip()
                at = segment.text.find(bare, position)
                at = position if at < 0 else at
                position = at + len(bare)
                starts.append(at)
                ends.append(position)
            self._word_times[token.segment] = (tuple(starts), tuple(ends))
        starts_at, _ = self._word_times[token.segment]
        first = max(0, bisect_right(starts_at, token.start) - 1)
        last = max(first, bisect_right(starts_at, token.end - 1) - 1)
        return first, last

    def start_of(self, token: Token) -> float | None:
        """Second at which a token begins: of its word where words are known, else of its segment."""
        segment = self.transcript.segments[token.segment]
        words = self._word_range(token)
        if words is None:
            return segment.start
        found = segment.words[words[0]].start
        return segment.start if found is None else found

    def end_of(self, token: Token) -> float | None:
        """Second at which a token ends."""
        segment = self.transcript.segments[token.segment]
        words = self._word_range(token)
        if words is None:
            return segment.end
        found = segment.words[words[1]].end
        return segment.end if found is None else found

    def probability(self, span: Span) -> float | None:
        """The lowest probability among the words that a span touches; null for imported text."""
        lowest: float | None = None
        for token in self.tokens[span.start : span.end]:
            words = self._word_range(token)
            if words is None:
                continue
            for word in self.transcript.segments[token.segment].words[words[0] : words[1] + 1]:
                if word.probability is not None and (lowest is None or word.probability < lowest):
                    lowest = word.probability
        return lowest

    def evidence(self, span: Span) -> Evidence:
        """The evidence of a span: times, line and the words as they stand."""
        first, last = self.tokens[span.start], self.tokens[span.end - 1]
        segment: Segment = self.transcript.segments[first.segment]
        return Evidence(
            recording=segment.recording,
            start=self.start_of(first),
            end=self.end_of(last),
            line=segment.line,
            quote=self.said(span),
        )

    @cached_property
    def _clauses(self) -> tuple[Span, ...]:
        return _stretches([token.clause for token in self.tokens])

    @cached_property
    def _sentences(self) -> tuple[Span, ...]:
        return _stretches([token.sentence for token in self.tokens])

    def clause_span(self, index: int) -> Span:
        """The clause that a token stands in."""
        return self._clauses[index]

    def sentence_span(self, index: int) -> Span:
        """The sentence that a token stands in."""
        return self._sentences[index]


def _stretches(numbers: Sequence[int]) -> tuple[Span, ...]:
    """For each place, the run of neighbours with the same number: asked for so often that it is made once."""
    spans: list[Span] = []
    for _, run in groupby(range(len(numbers)), key=numbers.__getitem__):
        places = list(run)
        spans += [Span(places[0], places[-1] + 1)] * len(places)
    return tuple(spans)


def _runs_on(segments: Sequence[Segment]) -> bool:
    """Whether sentences cross the ends of segments: many marks inside, few at the end."""
    if len(segments) < 4:
        return False
    inside = sum(1 for segment in segments if re.search(r"[.?!]\s+\S", segment.text))
    open_ended = sum(1 for segment in segments if not segment.text.rstrip().endswith((".", "?", "!")))
    return inside >= 0.25 * len(segments) and open_ended >= 0.25 * len(segments)


def make_passage(transcript: Transcript) -> Passage:
    """The passage of a transcript. Linear in its length."""
    runs_on = _runs_on(transcript.segments)
    tokens: list[Token] = []
    sentence = clause = 0
    for number, segment in enumerate(transcript.segments):
        for surface, norm, start, end, joined in split(segment.text):
            tokens.append(Token(len(tokens), surface, norm, number, start, end, joined, sentence, clause))
            if norm in ENDS:
                sentence += 1
                clause += 1
            elif norm in BREAKS:
                clause += 1
        if not runs_on and tokens and tokens[-1].segment == number and tokens[-1].norm not in ENDS:
            sentence += 1
            clause += 1
    return Passage(transcript, tuple(tokens), runs_on)
