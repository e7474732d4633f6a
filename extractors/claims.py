"""All claims of a talk: each place where the words say the state of a component, not yet settled into findings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.claim import BODILY, FIRM, WORTH_DENYING, Claim, Row, phrases, rows, similes
from extractors.clauses import Clause
from extractors.facts import Condition, FindingStatus
from extractors.grammar import small_words
from extractors.hints import Hints
from extractors.passage import Span
from extractors.senses import Senses
from extractors.things import Thing
from extractors.told_of import ToldOf
from extractors.view import View

ELECTRICAL = frozenset({"L1", "L2", "L3", "line", "neutral", "ground"})
SHORT_CLAUSE = 14  # tokens up to which a whole clause is the evidence
GUESSED = 16  # tokens from which on the component is asked about
Hits = dict[int, dict[Span, list[Row]]]


def find_claims(view: View) -> list[Claim]:
    """Every claim of a talk in order. Linear in the talk."""
    hits = _hits(view)
    found: list[Claim] = []
    senses = Senses(view, {span: at for clause in hits.values() for span, at in clause.items()})
    reader = _Reader(view, senses, ToldOf(view, senses, found), found)
    hints = Hints(view, found)
    last: Claim | None = None
    for clause in view.clauses.clauses:
        stance = view.stances.of[clause.index]
        if stance.earlier or stance.told or clause.question:
            continue
        here = hits.get(clause.index, {})
        made = [
            c
            for span in sorted(here)
            for c in reader.claims(clause, span, sorted(here[span], key=lambda row: row.width))
        ]
        made = made or hints.claims(clause, last)
        last = made[-1] if made else last
        if stance.quoted:
            made = [_hearsay(claim, found) if claim.token >= stance.quoted_from else claim for claim in made]
        found += made
    return found


def _hits(view: View) -> Hits:
    """All phrases of conditions.toml and likenesses, by clause."""
    found: Hits = {}
    for hit in phrases().find(view.passage):
        row = rows()[int(hit.label)]
        if row.kind != "none":
            found.setdefault(view.clauses.at(hit.span.start).index, {}).setdefault(hit.span, []).append(row)
    for index, norm in enumerate(view.passage.norms):
        if norm != "like" or view.norm(index + 1) not in small_words("likeness"):
            continue
        clause = view.clauses.at(index)
        for ahead in range(index + 1, min(index + 4, clause.span.end)):
            for row, said in similes():
                if view.norm(ahead) in said:
                    found.setdefault(clause.index, {})[Span(index, ahead + 1)] = [row]
    return found


def _hearsay(claim: Claim, found: list[Claim]) -> Claim:
    """A claim in somebody else's words: a suspicion at most; but what denies his own word is the speaker's."""
    said = [
        c
        for c in found[-20:]
        if c.hearsay and c.clause.sentence == claim.clause.sentence and c.condition is claim.condition
    ]
    if claim.status is FindingStatus.RULED_OUT and said:
        return replace(claim, component=said[-1].component, place=said[-1].place)
    return replace(claim, status=FindingStatus.SUSPECTED, hearsay=True)


class _Reader:
    """Turns a phrase where it stands into claims."""

    def __init__(self, view: View, senses: Senses, told_of: ToldOf, found: list[Claim]) -> None:
        self.view = view
        self.senses = senses
        self.told_of = told_of
        self.found = found

    def claims(self, clause: Clause, span: Span, rows_here: list[Row]) -> Iterator[Claim]:
        """The claims that a phrase makes: one, or one a thing where several are named together."""
        standing = [row for row in rows_here if self.senses.stands(clause, span, row)]
        stances = self.view.stances
        if (
            not standing
            or self.senses.sought(clause, span)
            or stances.unreal_at(clause, span)
            or stances.told_before(clause, span.start)
        ):
            return
        told = self.told_of.resolve(clause, span, standing)
        if told is not None:
            row, things, source = told
            if row.condition is Condition.WET and source == "it":
                return  # "it's wet in there": a place, more often than the thing spoken of
            for thing in things:
                claim = self._claim(clause, span, row, thing, source)
                if claim is not None:
                    yield claim

    def _claim(self, clause: Clause, span: Span, row: Row, thing: Thing, source: str) -> Claim | None:
        stances = self.view.stances
        denied = self.view.denied(clause, span)
        cleared = stances.has("cleared", clause.span) and row.condition not in FIRM
        hedged = stances.hedged(clause)
        condition, status = row.condition, FindingStatus.OBSERVED
        if denied or cleared:
            condition = row.denied or condition
            status = FindingStatus.OBSERVED if row.denied is not None else FindingStatus.RULED_OUT
        elif hedged and condition not in FIRM:
            status = FindingStatus.SUSPECTED
        if not self._worth_telling(clause, span, thing, condition, status):
            return None
        if thing.component in ELECTRICAL and condition in BODILY | {
            Condition.OPEN,
            Condition.OVERHEATED,
            Condition.FAILED,
        }:
            thing = replace(thing, component="wiring")  # a leg of the supply burns in its wire
        confirm = ("speaker not sure",) if hedged and status is not FindingStatus.SUSPECTED else ()
        if thing.open or (source == "spoken of before" and clause.span.start - thing.span.end > GUESSED):
            confirm = (*confirm, "subject unclear")
        return Claim(
            thing.component,
            thing.place,
            condition,
            status,
            clause,
            span.start,
            _evidence(clause, span, thing),
            (f"said: {self.view.passage.said(span).lower()}", f"component: {source}"),
            confirm=confirm,
            cleanness=row.denied in (Condition.DIRTY, Condition.WET),
        )

    def _worth_telling(
        self, clause: Clause, span: Span, thing: Thing, condition: Condition, status: FindingStatus
    ) -> bool:
        """Not that the compressor runs as it always does, nor that nothing hums which nobody had heard hum."""
        if condition is Condition.RUNNING and (thing.part or self.senses.goes_away(clause, span)):
            return False  # "the bearing's going", "the frost's gone", "in it goes"
        if condition is Condition.RUNNING and thing.component in ("compressor", "unit", "system", "pilot"):
            return self.senses.is_news(clause, span)
        if status is not FindingStatus.RULED_OUT:
            return True
        if condition is Condition.NOT_RUNNING:
            return False
        return condition in WORTH_DENYING or any(
            c.component == thing.component and c.condition is condition for c in self.found
        )


def _evidence(clause: Clause, span: Span, thing: Thing) -> Span:
    """The clause, or its part from the component to the state where the clause is long."""
    if clause.span.end - clause.first <= SHORT_CLAUSE:
        return clause.bare
    inside = clause.span.start <= thing.start < clause.span.end
    start = min(span.start, thing.start) if inside else span.start
    start = max(clause.first, start - 1) if start == span.start else start
    return Span(start, min(clause.span.end, max(span.end, start + 1)))
