"""Claims without a word of state: culprits, bare suspicions, what is cleared, and what a search for leaks gave."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

from extractors.claim import Claim, plain
from extractors.clauses import BE, Clause
from extractors.facts import Condition, FindingStatus
from extractors.grammar import small_words
from extractors.lexicon import load_table
from extractors.passage import Span
from extractors.things import Thing, figures_only, spread
from extractors.view import View

SEARCH_REACH = 40  # tokens that a search for leaks reaches on
CLEARED_REACH = 12  # clauses back to the suspicion that "it's not that" clears
OBSERVED, SUSPECTED, RULED_OUT = FindingStatus.OBSERVED, FindingStatus.SUSPECTED, FindingStatus.RULED_OUT
FLIPPED = {Condition.RUNNING: Condition.NOT_RUNNING, Condition.NORMAL: Condition.FAILED}
VERBS = ("VBZ", "VBD", "MD", "VBP", "CD")


@cache
def _leakers() -> frozenset[str]:
    return spread(
        ("tube", "water", "valve", "coil", "gas", "pump", "system", "service valve", "expansion tank", "noun", "wiring")
    )


@cache
def _symptoms() -> dict[str, Condition]:
    """Words for a symptom with the state that they mean: "noise", "drip"; failed where nothing else is meant."""
    table = load_table("status")
    found = dict.fromkeys(table["culprit"]["subject"], Condition.FAILED)
    for condition, said in table["symptom"].items():
        found.update(dict.fromkeys(said, Condition(condition)))
    return found


class Hints:
    """Finds claims in clauses that name no state."""

    def __init__(self, view: View, found: Sequence[Claim]) -> None:
        """`found`: the claims so far; it grows while the talk is read."""
        self.view = view
        self.norm = view.norm
        self.components = view.components
        self.stances = view.stances
        self.found = found

    def claims(self, clause: Clause, last: Claim | None) -> list[Claim]:
        """The claims of a clause; `last`: the claim before it, wherever it was."""
        return list(self._unsaid(clause, last)) or list(self._searched(clause)) or list(self._bare(clause))

    def _unsaid(self, clause: Clause, last: Claim | None) -> Iterator[Claim]:
        """The state before, denied of another thing: "the fan was running and the compressor wasn't"."""
        end = clause.span.end - 1
        if last is None or last.clause.sentence != clause.sentence or self.norm(end) not in small_words("denies_last"):
            return
        things = self.view.heads(clause, clause.span.end)
        if things and last.condition in FLIPPED and end - clause.first <= 5:
            yield plain(clause, things[0], OBSERVED, "the state before, denied", FLIPPED[last.condition])

    def _searched(self, clause: Clause) -> Iterator[Claim]:
        """What a search for leaks found: "condenser, nothing", "soap on it, no bubbles", "soap, there it is"."""
        none = self.stances.hits("search.none", clause.first, clause.span.end)
        found = self.stances.hits("search.found", clause.first, clause.span.end)
        if not (none or found) or clause.span.end - clause.first > 8:
            return
        clauses = self.view.clauses.clauses
        start = clauses[max(0, clause.index - 6)].span.start
        tools = [
            tool
            for tool in self.stances.hits("leak_tools", start, clause.span.end)
            if not any(tool.overlaps(hit) for hit in none + found)
        ]
        if not tools or clause.span.start - tools[-1].end > SEARCH_REACH:
            return
        here = [
            t
            for t in self.components.between(clauses[max(0, clause.index - 1)].span.start, clause.span.end)
            if t.known
            and t.word not in figures_only()
            and self.view.sentence_of(t) == clause.sentence
            and not any(t.span.overlaps(tool) for tool in tools)
        ]
        if none:
            if here or self.view.words(none[0]) not in (("quiet",), ("clean",)):
                whole = Thing(self.components.machine_word("leak") or "system", clause.bare, clause.first, "", None)
                yield plain(clause, here[0] if here else whole, RULED_OUT, "searched for leaks", Condition.LEAKING)
            return
        near = here[0] if here else self.components.before(clause.span.start, clause, _leakers())
        if near is not None and near.known and near.word != "sight glass":
            yield plain(clause, near, OBSERVED, "searched for leaks", Condition.LEAKING)

    def _bare(self, clause: Clause) -> Iterator[Claim]:
        """Suspicion and clearing without a state: "it's not the board", "could be the relay", "rule that out"."""
        if self.stances.of[clause.index].unreal and not self.stances.hedged(clause):
            return
        things = [t for t in self.components.of(clause) if t.known and t.word not in figures_only()]
        if things:
            yield from self._about(clause, things)
        elif self.stances.has("suspects", clause.span):
            near = self.components.before(clause.span.start, clause, None)
            if near is not None and near.word not in figures_only():
                yield plain(clause, near, SUSPECTED, "suspected")
        elif self._ends_cleared(clause):
            settled = {c.component for c in self.found if c.status is RULED_OUT}
            for claim in reversed(self.found[-40:]):
                if clause.index - claim.clause.index > CLEARED_REACH:
                    break
                if claim.status is SUSPECTED and claim.component not in settled:
                    thing = Thing(claim.component, clause.bare, clause.first, "", claim.place)
                    yield plain(clause, thing, RULED_OUT, "cleared")
                    break

    def _about(self, clause: Clause, things: list[Thing]) -> Iterator[Claim]:
        cleared = self.stances.has("cleared", clause.span)
        symptom = next((i for i in range(clause.first, clause.span.end) if self.norm(i) in _symptoms()), None)
        for thing in things:
            if thing.start in (clause.span.start, clause.first):
                if thing is things[0] and self._ends_cleared(clause):
                    yield plain(clause, thing, RULED_OUT, "cleared")
                continue
            denial = self.stances.denied(clause, thing.start, Span(thing.start, thing.start))
            if denial is not None:
                if thing.start - denial.end <= 1 and self._denies(clause, thing, denial):
                    yield plain(clause, thing, RULED_OUT, "denied")
                    return
                continue
            if cleared and self._ends_at(clause, thing):
                yield plain(clause, thing, RULED_OUT, "cleared")
                return
            lead = self.norm(thing.start - 1)
            if symptom is not None and symptom < thing.start and (lead in BE or lead in ("from", "in", "at")):
                yield plain(clause, thing, OBSERVED, "the culprit", _symptoms()[self.norm(symptom)])
                return
            if self._guessed(clause, thing):
                yield plain(clause, thing, SUSPECTED, "suspected")
                return
            rest = clause.span.end - thing.span.end
            if lead in BE and rest <= 3 and self.stances.hits("culprit.after", thing.span.end, clause.span.end):
                yield plain(clause, thing, OBSERVED, "the culprit")
                return

    def _denies(self, clause: Clause, thing: Thing, denial: Span) -> bool:
        """Whether a denial right before a thing clears it: "it's not the board telling it to", "not the compressor"."""
        word = self.norm(denial.start)
        if any(tag.startswith("VB") for tag in self.view.tags[denial.end : thing.start]):
            return False  # "not tapping a box with three ounces in it": what is denied is a deed
        if (thing.start == thing.span.start and word != "not") or word in small_words("denies_deed"):
            return False
        verb = any(
            self.view.tags[i] in ("VBD", "VBZ") and self.norm(i) not in BE for i in range(clause.first, thing.start)
        )
        return self.norm(thing.start - 1) != "no" and thing.span.end - clause.first <= 9 and not verb

    def _guessed(self, clause: Clause, thing: Thing) -> bool:
        """Whether a thing ends a clause of doubt, with no verb of its own between: "I think I'll pull the fan"."""
        guesses = self.stances.hits("hedge", clause.span.start, thing.start + 1)
        if not (guesses or self.stances.of[clause.index].hypothesis) or not self._ends_at(clause, thing):
            return False
        between = range(guesses[-1].end if guesses else thing.start, thing.start)
        return not any(self.view.tags[i][:2] == "VB" and self.norm(i) not in BE for i in between)

    def _ends_at(self, clause: Clause, thing: Thing) -> bool:
        rest = range(thing.span.end, clause.span.end)
        return len(rest) <= 4 and not any(self.view.tags[i] in VERBS or self.view.is_number(i) for i in rest)

    def _ends_cleared(self, clause: Clause) -> bool:
        hits = self.stances.hits("cleared", clause.span.start, clause.span.end)
        return bool(hits) and hits[-1].end >= clause.span.end - 1
