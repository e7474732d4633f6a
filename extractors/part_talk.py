"""What every step of finding parts works with: nouns, numbers and cues of one talk, and the parts on their way."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from functools import cache

from extractors.facts import Condition, FindingStatus, PartStatus
from extractors.identifiers import PART, Identifier, identifiers
from extractors.part_nouns import PartNoun, number_at, part_nouns, parts_table, unknown_nouns
from extractors.passage import Span
from extractors.phrases import Hit, Phrases
from extractors.registry import Found
from extractors.talk import Talk

BACK = 70  # tokens to what "it" and "one" stand for
# fmt: off
CLOSERS = frozenset(
    [",", ".", ";", "and", "now", "so", "there", "for", "with", "too", "also", "instead", "then", "as", "all", "while",
     "but", "where", "because", "when", "i", "that", "in", "on", "at", "by"]
)
# fmt: on
FAR = 300  # tokens back to what was found at fault, where nothing nearer was named


@dataclass(frozen=True, slots=True)
class Draft:
    """A part on its way."""

    noun: PartNoun
    status: PartStatus
    span: Span
    because: str
    count: int | None = None
    number: Identifier | None = None


@cache
def _cues() -> Phrases:
    table = parts_table()
    rows = [("order", p) for p in table["order"]["say"]] + [("order_after", p) for p in table["order"]["after"]]
    rows += [("no_order", p) for p in table["order"]["not"]]
    rows += [("fit_before", p) for p in table["fit"]["before"]] + [("fit_after", p) for p in table["fit"]["after"]]
    rows += [("not_fitted", p) for p in table["not_fitted"]["say"]] + [
        ("not_yet", p) for p in table["not_fitted"]["sentence"]
    ]
    rows += [("ready", p) for p in table["ready"]["say"]] + [("stands_for", p) for p in table["stands_for"]["say"]]
    rows += [("lacking", p) for p in table["lacking"]["say"]]
    rows += [("store", p) for p in table["store"]["say"]]
    rows += [("used_list", p) for p in table["used_list"]["say"]]
    rows += [("on_hand", p) for p in table["on_hand"]["say"]] + [("same", p) for p in table["same"]["say"]]
    return Phrases(rows)


def _troubled(found: Found) -> frozenset[str]:
    """Components that were found at fault, as far as findings are known."""
    findings = found.facts.get("findings") or ()
    return frozenset(
        f.component
        for f in findings
        if f.status is not FindingStatus.RULED_OUT and f.condition not in (Condition.NORMAL, Condition.RUNNING)
    )


def _machine(found: Found) -> str:
    """The kind of machine, where it is known."""
    equipment = found.facts.get("equipment")
    kind = equipment[0].type if equipment else None
    return kind.value.lower() if kind is not None else ""


class PartTalk:
    """Nouns, numbers and cues of one talk."""

    def __init__(self, talk: Talk, found: Found) -> None:
        self.talk, self.passage = talk, talk.passage
        self.troubled = _troubled(found)
        self.nouns = part_nouns(talk, self.troubled, _machine(found))
        stops = frozenset(span.start for span, field in found.used.items() if field == "equipment.refrigerant")
        self.numbers = [i for i in identifiers(talk, stops) if i.kind == PART]
        self.used = {i for span in found.used for i in range(span.start, span.end)}
        self.hits: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self.hits.setdefault(hit.label, []).append(hit)
        self.starts = {label: [h.span.start for h in hits] for label, hits in self.hits.items()}
        self.nouns = sorted([*self.nouns, *unknown_nouns(talk, self._sure(), self.nouns)], key=lambda n: n.head)
        self.heads = [n.head.start for n in self.nouns]
        self.figure_ends = {f.span.end: f for f in talk.figures}
        self.drafts: list[Draft] = []
        self.sections: list[tuple[Span, PartStatus]] = []

    def _sure(self) -> list[int]:
        """Tokens at which a part is sure to be named, whatever it is called."""
        table = parts_table()
        firm = set(table["fit"]["firm"])
        starts = [
            h.span.end
            for h in self.hits.get("order", [])
            if self.passage.said(h.span).lower() not in table["order"]["weak"] and not self.no_order(h.span)
        ]
        starts += [h.span.end for h in self.hits.get("fit_before", []) if self.passage.said(h.span).lower() in firm]
        return starts

    def between(self, label: str, start: int, end: int) -> list[Hit]:
        """Cues of a kind that begin in [start, end)."""
        starts = self.starts.get(label, [])
        return self.hits.get(label, [])[bisect_left(starts, start) : bisect_left(starts, end)]

    def before(self, token: int, *, plain: bool = True, many: bool | None = None) -> PartNoun | None:
        """What "it" may stand for: near, in the same sentence, found at fault, or new.

        `many`: "them", so several; false for "it" and "one", null where the words do not tell. `plain` leaves out
        nouns that only tell a place.
        """
        tokens = self.passage.tokens
        sentence = tokens[min(token, len(tokens) - 1)].sentence
        best: tuple[float, PartNoun] | None = None
        at, rank = bisect_left(self.heads, token) - 1, 0
        while at >= 0 and token - self.nouns[at].head.end <= FAR:
            noun = self.nouns[at]
            at -= 1
            whole = noun.seldom and not noun.common
            tool = noun.component in parts_table()["tool"]["say"]
            if (plain and noun.led) or (noun.old and not noun.bad) or ((whole or tool) and not noun.new):
                continue
            apart = token - noun.head.end
            troubled = noun.component in self.troubled
            if apart > BACK and (best is not None or not troubled):
                continue
            same = tokens[noun.head.start].sentence == sentence
            weight = (
                (-1.5 if noun.plural and many is False else 0.0)
                + 2.0 * same
                + 1.2 * troubled
                + 0.7 * noun.new
                + 1.0 * bool(many and noun.plural)
                - 0.9 * rank
                - apart / 60
            )
            rank += 1
            if best is None or weight > best[0]:
                best = weight, noun
        return best[1] if best is not None else None

    def inside(self, start: int, end: int) -> list[PartNoun]:
        """The nouns whose heads begin in [start, end)."""
        return self.nouns[bisect_left(self.heads, start) : bisect_left(self.heads, end)]

    def sentence_end(self, token: int) -> int:
        """The end of a token's sentence."""
        return self.passage.sentence_span(token).end

    def section(self, token: int) -> PartStatus | None:
        """The status of the list that a token stands in, or None."""
        return next((status for span, status in self.sections if span.start <= token < span.end), None)

    def no_order(self, span: Span) -> bool:
        """Whether an order cue is none of ours: "out of order", "they order those"."""
        before = self.passage.norms[max(0, span.start - 2) : span.start]
        if before[-1:] and before[-1] in ("they", "he", "she", "you", "who"):
            return True
        if {"don't", "not", "won't", "never", "didn't", "wouldn't"} & set(before):
            return True
        return any(h.span.start <= span.start < h.span.end for h in self.between("no_order", span.start - 4, span.end))

    def closes(self, end: int) -> bool:
        """Whether nothing goes on after "put it on": "put it on auto" tells of a setting."""
        tokens = self.passage.tokens
        return end >= len(tokens) or (
            tokens[end].segment != tokens[end - 1].segment
            or tokens[end].norm in CLOSERS
            or number_at(self.passage, end) is not None
        )

    def one_line(self, one: int, other: int) -> bool:
        """Whether two tokens stand in one line, or in captions whose sentences run on."""
        tokens = self.passage.tokens
        return self.passage.joined_lines or tokens[one].segment == tokens[other].segment

    def clear(self, span: Span) -> bool:
        """Whether nothing beside a stretch says that it was not done, or not by us, or not now."""
        passage = self.passage
        clause = passage.clause_span(span.start)
        near = (max(clause.start, span.start - 9), min(clause.end, span.end + 5))
        blocked = [h for h in self.between("not_fitted", *near) if not h.span.overlaps(span)]
        if blocked:
            return False
        sentence = passage.sentence_span(span.start)
        return not self.between("not_yet", max(sentence.start, span.start - 25), min(sentence.end, span.end + 8))

    def add(self, noun: PartNoun, status: PartStatus, span: Span, because: str, count: int | None = None) -> None:
        """One more part on its way."""
        if span.end <= span.start:
            span = noun.span
        self.drafts.append(Draft(noun, status, span, because, count))
