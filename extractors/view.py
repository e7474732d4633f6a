"""A talk as findings and actions look at it: clauses, components and stances, found once."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from extractors.clauses import Clause, Clauses
from extractors.components import Components
from extractors.passage import Passage, Span
from extractors.stance import Stances
from extractors.talk import Talk
from extractors.things import Thing


class View:
    """Clauses, components and stances of one talk."""

    def __init__(self, talk: Talk) -> None:
        """Linear in the talk."""
        self.talk = talk
        self.passage: Passage = talk.passage
        self.clauses = Clauses(talk)
        self.components = Components(talk, self.clauses)
        self.stances = Stances(self.clauses)
        self.norm = self.passage.norm
        self.tags = self.clauses.tags

    def words(self, span: Span) -> tuple[str, ...]:
        """The lower-case words of a span."""
        return self.passage.norms[span.start : span.end]

    def before(self, clause: Clause, span: Span) -> str:
        """The word before a span in its clause; empty at the clause's start."""
        return self.norm(span.start - 1) if span.start > clause.span.start else ""

    def after(self, clause: Clause, span: Span) -> str:
        """The word after a span in its clause; empty at the clause's end."""
        return self.norm(span.end) if span.end < clause.span.end else ""

    def any(self, start: int, end: int, of: Collection[str]) -> bool:
        """Whether one of some words stands between two tokens."""
        return any(self.norm(i) in of for i in range(max(start, 0), end))

    def denied(self, clause: Clause, span: Span) -> bool:
        """Whether a denial before a span reaches it."""
        return self.stances.denied(clause, span.start, span) is not None

    def is_after(self, token: int) -> bool:
        """Whether a form of "be" stands right before a token, adverbs between them aside."""
        return self.stances.copula_before(token)

    def heads(self, clause: Clause, before: int) -> list[Thing]:
        """Components that a clause names before a token, and not as a place."""
        return [t for t in self.components.between(clause.span.start, before) if t.known and not t.prep]

    def earlier(self, clause: Clause, count: int) -> Iterator[Clause]:
        """The clauses before one, nearest first."""
        return reversed(self.clauses.clauses[max(0, clause.index - count) : clause.index])

    def sentence_of(self, thing: Thing) -> int:
        """The sentence that names a thing."""
        return self.passage.tokens[thing.span.start].sentence

    def is_number(self, token: int) -> bool:
        """Whether a token is a number in digits or words."""
        return self.passage.tokens[token].is_digits or self.tags[token] == "CD"
