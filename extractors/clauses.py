"""Clauses: stretches of speech that say one thing each, finer than the marks of the passage alone."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from extractors.grammar import small_words
from extractors.passage import BREAKS, ENDS, Passage, Span
from extractors.talk import Talk

CONNECTIVES = small_words("connective")
JOINS = frozenset({"and", "or", "then", "plus"})
SUBJECTS = small_words("subject")
POINTERS = frozenset({"that", "this", "these", "those"})
FINITE = frozenset({"VBZ", "VBD", "VBP", "MD"})
FILLERS = small_words("filler")
OPENERS = small_words("opener")
BE = small_words("be")
SEEMING = small_words("seeming")
UNFINISHED = small_words("unfinished")


@dataclass(frozen=True, slots=True)
class Clause:
    """Tokens of one clause, no marks at its ends. `opener`: the word that joins it to the one before, or empty."""

    index: int
    span: Span
    sentence: int
    opener: str
    first: int
    """The first token that is neither opener nor filler."""
    question: bool

    @property
    def bare(self) -> Span:
        """The clause without its opener and fillers."""
        return Span(self.first, self.span.end)


class Clauses:
    """All clauses of a talk in order."""

    def __init__(self, talk: Talk) -> None:
        """Linear in the passage; the tags of the parser decide where "and" joins clauses."""
        self.passage: Passage = talk.passage
        self.tags: list[str] = [token.tag_ for token in talk.doc]
        self._inside = {i for m in talk.mentions for i in range(m.span.start + 1, m.span.end)}
        """Tokens inside the name of a component: no clause starts there."""
        self.clauses: list[Clause] = list(self._split())
        self._starts = [clause.span.start for clause in self.clauses]

    def at(self, token: int) -> Clause:
        """The clause that a token stands in; of a mark between two, the earlier one."""
        return self.clauses[max(0, bisect_right(self._starts, token) - 1)]

    @cached_property
    def questions(self) -> frozenset[int]:
        """Sentences that end in a question mark."""
        return frozenset(token.sentence for token in self.passage.tokens if token.norm == "?")

    def _split(self) -> Iterable[Clause]:
        tokens = self.passage.tokens
        start, opener, index = 0, "", 0
        for at in range(len(tokens) + 1):
            ends = at == len(tokens)
            new_sentence = not ends and at > 0 and tokens[at].sentence != tokens[at - 1].sentence
            mark = not ends and self._is_mark(at)
            joins = (
                not ends and not new_sentence and at > start and (self._joins(start, at) or self._runs_on(start, at))
            )
            if not (ends or new_sentence or mark or joins):
                continue
            if at > start:
                clause = self._clause(index, start, at, opener)
                if clause is not None:
                    yield clause
                    index += 1
            start = at + 1 if mark else at
            opener = tokens[at].norm if joins and tokens[at].norm in CONNECTIVES | JOINS | {"before", "after"} else ""

    def _is_mark(self, at: int) -> bool:
        norm = self.passage.norm(at)
        return norm in BREAKS or norm in ENDS or norm in ("-", "–", "—", "(", ")", '"', "“", "”", "…")

    def _clause(self, index: int, start: int, end: int, opener: str) -> Clause | None:
        tokens = self.passage.tokens
        first = start
        if not opener and tokens[start].norm in CONNECTIVES | JOINS:
            opener = tokens[start].norm
        while first < end - 1 and (tokens[first].norm in FILLERS or tokens[first].norm in CONNECTIVES):
            first += 1
        asked = tokens[start].sentence in self.questions or (
            tokens[first].norm in small_words("asking") and self.passage.norm(first + 1) in small_words("asked")
        )
        asked = asked or (
            tokens[first].norm in ("what", "where", "who", "why", "how")
            and any(self.passage.norm(i) in ("did", "do", "does") for i in range(first + 1, min(first + 4, end)))
        )
        return Clause(index, Span(start, end), tokens[start].sentence, opener, first, asked)

    def _joins(self, start: int, at: int) -> bool:
        """Whether a joining word opens a clause of its own here."""
        norm, following = self.passage.norm(at), self.passage.norm(at + 1)
        if norm in CONNECTIVES:
            if (
                norm == "so"
                and self.tags[min(at + 1, len(self.tags) - 1)] in ("JJ", "RB")
                and self.passage.norm(at - 1) in BE
            ):
                return False
            if norm in ("since", "except", "cause", "once") and following not in SUBJECTS | POINTERS:
                return False
            return not (norm == "if" and self.passage.norm(at - 1) in ("as", "see"))
        if norm in ("before", "after"):
            return following in SUBJECTS or self.tags[min(at + 1, len(self.tags) - 1)] == "VBG"
        if norm not in JOINS:
            return False
        if norm == "then" and self.passage.norm(at - 1) in JOINS | CONNECTIVES:
            return False
        if norm == "then" and at + 1 >= len(self.tags):
            return False
        if following in SUBJECTS:
            return True
        if norm in ("and", "or") and self.tags[at + 1][:2] not in ("VB", "MD", "RB") and not self._has_verb(start, at):
            return False  # "the evap fan and the condenser fan are running"
        if following in small_words("particle_pair"):
            return False
        return self._verb_follows(at + 1)

    def _runs_on(self, start: int, at: int) -> bool:
        """Whether a new clause starts here though no mark says so, as in captions: "so that's good | okay fans"."""
        tokens, before, norm = self.passage.tokens, self.passage.norm(at - 1), self.passage.norm(at)
        following = self.passage.norm(at + 1)
        tag = self.tags[at - 1]
        if at in self._inside:
            return False
        if norm in OPENERS:
            return (
                before not in BE | SEEMING
                and following not in BREAKS
                and at + 1 < len(tokens)
                and tokens[at + 1].sentence == tokens[at].sentence
            )
        if (
            following == "'s"
            and tag in ("NN", "NNS", "CD")
            and self.tags[at] in ("NN", "NNS")
            and self._has_verb(start, at)
        ):
            return True  # "it's in the shop vac | drain's plugged"
        if norm == "that" and tag in ("NN", "NNS"):
            return False  # "a cooler that's making noise"
        if norm in ("it", "that", "there", "this", "she", "he") and following in (
            "'s",
            "is",
            "was",
            "ain't",
            "isn't",
            "wasn't",
        ):
            return (
                (tag in ("JJ", "NN", "NNS", "RB", "CD", "VBN", "PRP", "RP") or before in ("ain't", "isn't", "wasn't"))
                and before not in UNFINISHED
                and self._has_verb(start, at)
            )
        if self._starts_anew(start, at):
            return True
        if tokens[at].segment != tokens[at - 1].segment and self.passage.joined_lines:
            if (
                tag in ("VBZ", "VBD", "VBN", "RB", "PRP", "RP")
                and before not in BE | UNFINISHED
                and any(self.passage.norm(i) in BREAKS for i in range(at + 1, min(at + 4, len(tokens))))
                and self._has_verb(start, at)
            ):
                return True
            return (
                tag not in ("IN", "TO", "DT", "CC", "PRP$", "MD")
                and before not in UNFINISHED | BE
                and self._has_verb(start, at)
                and (
                    (self.tags[at][:2] not in ("VB", "MD", "IN", "TO", "CC", "RB", "RP") and self._verb_follows(at))
                    or norm in OPENERS
                )
            )
        return False

    def _starts_anew(self, start: int, at: int) -> bool:
        """Whether a new subject with its verb starts here: "put a new float in too | the old one stuck on me"."""
        before, tag = self.passage.norm(at - 1), self.tags[at - 1]
        if self.tags[at] not in ("DT", "PRP$") or before in UNFINISHED | BE or not self._has_verb(start, at):
            return False
        if not (tag in ("NN", "NNS", "CD", "RP", "VBN") or before in small_words("closes") or self._is_said(at - 1)):
            return False
        for index in range(at + 1, min(at + 6, len(self.tags))):
            if self.tags[index] in FINITE or self.passage.norm(index) in BE:
                return index > at + 1 or self.passage.norm(at) in POINTERS
            if self.tags[index][:2] not in ("NN", "JJ", "CD"):
                return False
        return False

    def _is_said(self, at: int) -> bool:
        """Whether an adjective ends what is said of a thing: "the cap is weak"."""
        return self.tags[at] == "JJ" and self.passage.norm(at - 1) in BE and self.passage.norm(at) != "sure"

    def _has_verb(self, start: int, end: int) -> bool:
        return any(self.tags[i] in FINITE or self.passage.norm(i) in BE for i in range(start, end))

    def _verb_follows(self, at: int) -> bool:
        """Whether what follows a joining word has a verb of its own before the next mark."""
        tokens = self.passage.tokens
        for index in range(at, min(at + 8, len(tokens))):
            norm = tokens[index].norm
            if norm in BREAKS or tokens[index].sentence != tokens[at].sentence or norm in JOINS or norm in CONNECTIVES:
                return False
            tag = self.tags[index]
            if norm in BE and index > at:
                return True
            if tag in FINITE or (index == at and tag in ("VB", "VBN", "VBG")):
                return True
        return False
