"""Whom a state is told of: the noun beside it, the subject of its clause, or what "it" points at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from extractors.claim import FIRM, Claim, Row
from extractors.clauses import BE, Clause
from extractors.facts import Condition, FindingStatus
from extractors.grammar import small_words
from extractors.passage import Span
from extractors.senses import Senses
from extractors.things import Thing
from extractors.view import View

NAMED_ONLY = frozenset({Condition.NOISY, Condition.WET})
"""What is heard or felt anywhere: never said of what was spoken of a while ago."""
NEARBY = 30  # tokens: how far a state without a subject reaches over the end of its sentence
NEAR = 16  # tokens: how far "that's good" reaches back
DOUBT_REACH = 60  # clauses: how long a suspicion waits for its proof

Told = tuple[Row, list[Thing], str]
"""The row that holds, of what, and how that was found."""


class ToldOf:
    """Finds what each state is told of."""

    def __init__(self, view: View, senses: Senses, found: Sequence[Claim]) -> None:
        """`found`: the claims so far; it grows while the talk is read."""
        self.view = view
        self.components = view.components
        self.senses = senses
        self.found = found

    def resolve(self, clause: Clause, span: Span, rows: list[Row]) -> Told | None:
        """The row and the things that the words are told of; the likeliest only."""
        ahead = self.senses.noun_after(clause, span)
        if ahead is not None and not ahead.known and self.view.heads(clause, span.start):
            ahead = None
        candidates = (
            [([ahead], "the noun after it")]
            if ahead is not None
            else list(self._candidates(clause, span, rows[0].kind))
        )
        for named, source in candidates:
            things = [self._filed(thing, clause, span) for thing in named]
            if any(thing.part for thing in things):
                rows = sorted(rows, key=lambda row: row.condition is not Condition.WORN)  # "the bearings are shot"
            for row in rows:
                meant = [_meant_by(row, thing) for thing in things]
                fitting = [
                    thing
                    for thing in meant
                    if row.holds(thing) and (thing.known or row.condition is not Condition.LOOSE)
                ]
                if fitting:
                    return row, fitting, source
                if source == "it" and any(thing.word in row.about for thing in meant):
                    return row, [_assumed(row.component, span)], "what that tells"
        return None if ahead is not None else self._unnamed(clause, span, rows)

    def _candidates(self, clause: Clause, span: Span, kind: str) -> Iterator[tuple[list[Thing], str]]:
        before = self.components.between(clause.span.start, span.start)
        heads = [t for t in before if not t.prep and not self.components.is_abstract(t)]
        located = [t for t in self.components.between(span.end, clause.span.end) if t.prep]
        if not any(t.known for t in heads) and not (kind == "thing" and any(t.known for t in located)):
            topic = self._topic(clause, span, kind)
            if topic is not None:
                yield [topic], "the topic"
        has = bool(heads) and self.view.any(clause.span.start, span.start, small_words("have"))
        if kind == "thing" and located and not has:
            yield located[:1], "where it is"
        if heads:
            known = [t for t in heads if t.known]
            group = self._together(heads)
            yield group, "named in the clause"
            if known and known[0] not in group:
                yield known[:1], "named in the clause"
            if len(known) > 1:
                yield known[-1:], "named in the clause"
        elif self._pronoun(clause, span.start):
            thing = self._pointed_at(clause, span)
            if thing is not None:
                yield [thing], "it"
        if located:
            yield located[:1], "where it is"
        places = [t for t in before if t.prep]
        if places:
            yield places[:1], "named in the clause"

    def _topic(self, clause: Clause, span: Span, kind: str) -> Thing | None:
        """The name alone that stood before: "Fan bearing. Seized at the drive end"; not of what somebody does."""
        if self._pronoun(clause, span.start) or self.view.any(clause.first, span.start, small_words("doer")):
            return None
        if kind == "deed" and any(row.condition in FIRM for row in self.senses.rows_at.get(span, ())):
            return None
        return self.components.header(clause)

    def _filed(self, thing: Thing, clause: Clause, span: Span) -> Thing:
        """A part under the component that the rest of the clause names: "bearings are shot on that motor"."""
        if not thing.part or thing.component != thing.said:
            return thing
        whole = [
            t for t in self.components.between(span.end, clause.span.end) if t.prep and t.component in thing.options
        ]
        return replace(thing, component=whole[0].component, place=whole[0].place) if whole else thing

    def _pointed_at(self, clause: Clause, span: Span) -> Thing | None:
        """What "it" is; a good word reaches less far, and never to the whole machine."""
        thing = self.components.before(clause.span.start, clause, None)
        if thing is None:
            return None
        conditions = {row.condition for row in self.senses.rows_at.get(span, ())}
        if Condition.NORMAL in conditions and (
            span.start - thing.span.end > NEAR or thing.component in ("unit", "system")
        ):
            return None
        if Condition.WRONG_PART in conditions:
            return None
        place = self.components.place_alone(clause.span.start, span.start)
        return thing if place is None else replace(thing, place=place)

    def _together(self, heads: list[Thing]) -> list[Thing]:
        """The first thing with those joined to it: "the evap fan and the condenser fan are running"."""
        group = heads[:1]
        for thing in heads[1:]:
            gap = [self.view.norm(i) for i in range(group[-1].span.end, thing.start)]
            if not gap or any(word not in ("and", "or", "nor", "the", "&") for word in gap):
                break
            group.append(thing)
        return group

    def _pronoun(self, clause: Clause, before: int) -> bool:
        """Whether the clause speaks of something by a pronoun, or by nothing at all ("so is good", "b is open")."""
        first = self.view.norm(clause.first)
        if first in BE or first in ("we", "number"):
            return True
        if len(first) == 1 and first.isalpha() and first != "i" and self.view.norm(clause.first + 1) in BE:
            return True
        return any(self.components.is_pronoun(i) for i in range(clause.first, min(before, clause.first + 4)))

    # ------------------------------------------------------------ nothing named
    def _unnamed(self, clause: Clause, span: Span, rows: list[Row]) -> Told | None:
        """What is meant where the clause names nothing that fits."""
        for row in rows:
            if row.component and row.fits == frozenset():
                return row, [_assumed(row.component, span)], "always said of it"
        named = [t for t in self.components.between(clause.span.start, span.start) if not t.prep]
        pronoun, denied = self._pronoun(clause, span.start), self.view.denied(clause, span)
        whole = self.senses.alone(clause, span) or span.start == clause.first or denied
        if named or not (pronoun or whole or rows[0].kind in ("thing", "simile")):
            return None
        doubted = self._doubted(clause, rows) if pronoun or whole else None
        if doubted is not None:
            row = next(row for row in rows if row.condition is doubted.condition)
            return row, [_assumed(doubted.component, span)], "suspected before"
        if self.view.norm(span.start) in ("done", "gone"):
            return None
        for row in rows:
            if row.condition in FIRM and not pronoun and not denied:
                continue
            if row.condition in (Condition.FAILED, Condition.RUNNING) and row.kind == "deed" and not pronoun:
                continue
            if row.condition is Condition.RUNNING and not self.senses.is_news(clause, span):
                continue
            if row.condition in NAMED_ONLY:
                continue
            thing = self._lately(clause, row)
            if thing is not None:
                return row, [thing], "spoken of before"
        for row in rows:
            if row.component and not row.about:
                leak = self.components.machine_word("leak") if row.condition is Condition.LEAKING else None
                return row, [_assumed(leak or row.component, span)], "nothing else is named"
        return None

    def _doubted(self, clause: Clause, rows: list[Row]) -> Claim | None:
        """The suspicion that a state without a subject answers: "it's not low", after "I'm thinking low on gas"."""
        if rows[0].condition in FIRM:
            return None
        for claim in reversed(self.found[-12:]):
            if claim.status is not FindingStatus.SUSPECTED or clause.index - claim.clause.index > DOUBT_REACH:
                continue
            if claim.hearsay and claim.clause.sentence != clause.sentence:
                continue
            for row in rows:
                if claim.condition is row.condition and (
                    row.fits is None or claim.component in row.fits or claim.component == row.component
                ):
                    return claim
        return None

    def _lately(self, clause: Clause, row: Row) -> Thing | None:
        """What was spoken of before and fits; a good word, or one said of anything, only of the very last thing."""
        verb = row.kind == "deed" and row.fits is not None
        if (row.condition in FIRM and not verb) or row.fits is None or row.condition is Condition.WET:
            nearest = self.components.before(clause.span.start, clause, None)
            return nearest if nearest is not None and row.holds(nearest) else None
        thing = self.components.before(clause.span.start, clause, row.fits)
        if thing is None:
            return None
        back = clause.sentence - self.view.sentence_of(thing)
        pointed = self.components.place_alone(clause.span.start, clause.span.end) is not None
        if back > 0 and clause.span.start - thing.span.end > NEARBY * (3 if pointed else 1):
            return None
        if row.component and (back > 1 or (back == 1 and row.condition is Condition.LEAKING)):
            return None
        return thing


def _assumed(component: str, span: Span) -> Thing:
    return Thing(component, span, span.start, "", None, start=span.start)


def _meant_by(row: Row, thing: Thing) -> Thing:
    """A shared word that nothing resolved, as the one of its meanings that the state fits."""
    if not thing.open or row.fits is None or thing.word in row.fits:
        return thing
    fitting = next((option for option in thing.options if option in row.fits), None)
    return thing if fitting is None else replace(thing, component=fitting, canon="")
