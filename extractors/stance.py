"""How the speaker stands to what a clause says: doubt, denial, a plan, advice, hearsay, another time."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from extractors.clauses import BE, Clause, Clauses
from extractors.grammar import small_words
from extractors.lexicon import load_table
from extractors.passage import Span
from extractors.phrases import Hit, Phrases

TELLS = frozenset({"told", "telling", "tell", "advised", "warned"})
ASIDE = 40  # tokens that a sentence to a bystander has at most


@dataclass(frozen=True, slots=True)
class Stance:
    """What holds for a whole clause."""

    quoted: bool
    """Somebody else's words, from `quoted_from` on."""
    quoted_from: int
    told: bool
    """What the speaker says that he told somebody."""
    earlier: bool
    """Another visit, or another's work."""
    unreal: bool
    """A condition, a rule, what ought to be."""
    hypothesis: bool
    """A doubt said in the clause before it reaches into this one: "the first thing I thought was, ..."."""


@cache
def _cues() -> Phrases:
    table = load_table("status")
    rows: list[tuple[str, str]] = []
    for name in (
        "hedge",
        "denial",
        "no_denial",
        "cleared",
        "people",
        "leak_tools",
        "in_place",
        "not_done",
        "taken_out",
        "no_deed",
        "suspects",
    ):
        key = "says" if "says" in table[name] else "say"
        rows += [(name, phrase) for phrase in table[name][key]]
    for name, keys in (
        ("quote", ("says", "opens")),
        ("plan", ("aux", "opens", "waits")),
        ("recommend", ("aux",)),
        ("unreal", ("says", "opens_hard")),
        ("earlier", ("says",)),
        ("aside", ("says",)),
        ("search", ("before", "none", "found")),
        ("culprit", ("after",)),
    ):
        rows += [(f"{name}.{key}", phrase) for key in keys for phrase in table[name][key]]
    return Phrases(rows)


@cache
def _set(name: str, key: str) -> frozenset[str]:
    return frozenset(load_table("status")[name][key])


class Stances:
    """Cue words of a talk by place, and the stance of each clause."""

    def __init__(self, clauses: Clauses) -> None:
        """Linear in the passage."""
        self.passage = clauses.passage
        self.clauses = clauses
        self._hits: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self._hits.setdefault(hit.label, []).append(hit)
        self._at = {label: [hit.span.start for hit in hits] for label, hits in self._hits.items()}
        self.of: list[Stance] = list(self._walk())

    def hits(self, label: str, start: int, end: int) -> list[Span]:
        """The cues of a kind that lie between two tokens, in order."""
        hits = self._hits.get(label, [])
        position = bisect_left(self._at.get(label, []), start)
        found: list[Span] = []
        while position < len(hits) and hits[position].span.start < end:
            if hits[position].span.end <= end:
                found.append(hits[position].span)
            position += 1
        return found

    def has(self, label: str, span: Span) -> bool:
        """Whether a cue of a kind lies in a span."""
        return bool(self.hits(label, span.start, span.end))

    def denied(self, clause: Clause, at: int, inside: Span) -> Span | None:
        """The denial before a token in its clause, unless it belongs to the phrase itself or denies nothing."""
        empty = self.hits("no_denial", clause.span.start, clause.span.end)
        for span in reversed(self.hits("denial", clause.span.start, at)):
            if span.overlaps(inside) or any(span.overlaps(e) for e in empty):
                continue
            answer = self.passage.norm(span.start) == "no" and self.passage.norm(span.end) in small_words(
                "answer_subject"
            )
            if answer and span.start == clause.span.start and clause.span.end - clause.span.start > 3:
                continue  # "no the cap's fine": an answer, not a denial of what follows
            return span
        return None

    def hedged(self, clause: Clause) -> bool:
        """Whether the clause is said as a guess."""
        return bool(self._guesses(clause)) or self.of[clause.index].hypothesis

    def _guesses(self, clause: Clause) -> list[Span]:
        found = []
        for span in self.hits("hedge", clause.span.start, clause.span.end):
            words = self.passage.norms[span.start : span.end]
            resembles = words in (("looks", "like"), ("feels", "like"), ("sounds", "like"))
            if resembles and self.passage.norm(span.end) in small_words("resembling"):
                continue  # "looks like a sweater"
            if words == ("could",) and self.passage.norm(span.start - 1) in ("i", "we", "you"):
                continue
            found.append(span)
        return found

    def copula_before(self, token: int) -> bool:
        """Whether a form of "be" stands right before a token, adverbs between them aside."""
        for index in range(token - 1, max(-1, token - 5), -1):
            norm = self.passage.norm(index)
            if norm in BE:
                return True
            if self.clauses.tags[index] not in ("RB", "JJ") and norm not in small_words("degree"):
                return False
        return False

    # ------------------------------------------------------------ clause by clause
    def _walk(self) -> Iterator[Stance]:
        sentence, quoted, told, earlier, guess_left = -1, False, False, False, 0
        spoken_to = self._sentences_to_others()
        for clause in self.clauses.clauses:
            if clause.sentence != sentence:
                sentence, quoted, told, earlier, guess_left = clause.sentence, False, False, False, 0
            if self._speaker_again(clause):
                quoted, told = False, told and self.passage.norm(clause.span.start) not in ("but", "so", "i", "we")
            if earlier and self._now_again(clause):
                earlier = False
            starts_quote = self._quotes(clause)
            if self.has("earlier.says", clause.span) and not self._since_then(clause):
                earlier = True
            guess = guess_left > 0 and clause.opener not in ("but", "so", "because", "which")
            begins = clause.span.start if quoted or starts_quote is None else starts_quote
            quoted_here = quoted or starts_quote is not None
            if clause.sentence in spoken_to:
                quoted_here, begins = True, clause.span.start
            yield Stance(quoted_here, begins, told, earlier, self._unreal(clause), guess)
            quoted, told = quoted or starts_quote is not None, told or self._tells(clause)
            guess_left = max(0, guess_left - 1)
            if self._leaves_open(clause):
                guess_left = 1

    def _sentences_to_others(self) -> set[int]:
        """Short sentences said to somebody who stands by."""
        found = set()
        for hit in self._hits.get("aside.says", []):
            span = self.passage.sentence_span(hit.span.start)
            if span.end - span.start <= ASIDE:
                found.add(self.passage.tokens[hit.span.start].sentence)
        return found

    def _leaves_open(self, clause: Clause) -> bool:
        """Whether the clause ends in a doubt about what comes next: "my bet is,", "the first thing I thought was,"."""
        guesses = self._guesses(clause)
        return bool(guesses) and clause.span.end - guesses[-1].end <= 1

    def _speaker_again(self, clause: Clause) -> bool:
        first = self.passage.norm(clause.span.start)
        if first in ("but", "so"):
            return True
        return self.passage.norm(clause.first) in ("i", "we", "let", "my") and self._quotes(clause) is None

    def _now_again(self, clause: Clause) -> bool:
        first, second = self.passage.norm(clause.first), self.passage.norm(clause.first + 1)
        if first in ("i", "we") and second in ("'d", "'ll", "'m", "think", "say", "don't"):
            return True
        return self.passage.norm(clause.span.start) in ("so", "but", "now", "today") or clause.opener in ("so", "but")

    def _since_then(self, clause: Clause) -> bool:
        return self.passage.norm(clause.first) == "since"

    def _quotes(self, clause: Clause) -> int | None:
        """The token at which somebody else's words start in the clause."""
        opens = self.hits("quote.opens", clause.span.start, clause.span.end)
        if opens:
            return opens[0].start
        people = self.hits("people", clause.span.start, clause.span.end)
        if not people:
            return None
        for says in self.hits("quote.says", clause.span.start, clause.span.end):
            if self.passage.norm(says.start - 1) in ("i", "'ve", "we", "i'd", "to", "have"):
                continue
            before = [p for p in people if p.end <= says.start]
            if before and not any(self.passage.norm(i) in ("i", "we") for i in range(before[-1].end, says.start)):
                return before[-1].start
            told = self.passage.norms[says.start : says.end] in (("told",), ("tells",))
            if told and self.passage.norm(says.end) in ("me", "us"):
                return None if self.passage.norm(says.start - 1) in ("that", "which") else clause.span.start
        return None

    def _tells(self, clause: Clause) -> bool:
        """Whether the speaker starts to say what he told somebody: "I told her ..."."""
        return any(
            self.passage.norm(i) in TELLS and self.passage.norm(i + 1) not in ("me", "us", "you", "by")
            for i in range(clause.span.start, clause.span.end)
        )

    def told_before(self, clause: Clause, at: int) -> bool:
        """Whether a place in a clause is what the speaker told somebody."""
        return self._tells(clause) and any(self.passage.norm(i) in TELLS for i in range(clause.span.start, at))

    def unreal_at(self, clause: Clause, span: Span) -> bool:
        """Whether what a span says is unreal; not by words after it: "has a groove you could lose a dime in"."""
        if not self.of[clause.index].unreal:
            return False
        said = self.hits("unreal.says", clause.span.start, clause.span.end)
        behind = bool(said) and said[0].start >= span.end
        return not (behind and self.passage.norms[said[0].start : said[0].end] == ("you", "could"))

    def _unreal(self, clause: Clause) -> bool:
        first = self.passage.norm(clause.span.start)
        if first in _set("unreal", "opens_hard") or clause.opener in _set("unreal", "opens_hard"):
            return True
        following = self.passage.norm(clause.first)
        if following in _set("unreal", "opens_hard") and clause.first - clause.span.start <= 2:
            return True
        return self.has("unreal.says", clause.span)
