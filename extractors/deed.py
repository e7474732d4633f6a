"""A deed: one place where the words tell work; and the memory of faults and deeds that says what work was done to."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

from extractors.claim import Claim
from extractors.clauses import Clause
from extractors.facts import ActionKind, ActionStatus, Condition, FindingStatus
from extractors.lexicon import load_table
from extractors.mentions import subjects
from extractors.passage import Span
from extractors.settled import Entry
from extractors.things import Thing, figures_only, groups

DONE, PLANNED, RECOMMENDED = ActionStatus.DONE, ActionStatus.PLANNED, ActionStatus.RECOMMENDED
PUT_IN = frozenset({ActionKind.INSTALLED, ActionKind.REPLACED})
CURE_REACH = 16  # clauses back to which work answers a fault
LOOK_BACK = 80  # faults and deeds that are searched for what "the new one" is
GOOD = (Condition.NORMAL, Condition.RUNNING)


@dataclass(frozen=True, slots=True)
class Deed:
    """Work that a clause tells of."""

    action: ActionKind
    component: str
    place: str | None
    status: ActionStatus
    clause: Clause
    token: int
    evidence: Span
    because: tuple[str, ...]
    confirm: tuple[str, ...] = ()
    soon: bool = False
    """A plan for now, not for another day."""
    order: bool = False
    """It was said as an order, so it may not have been done."""

    @property
    def remedies(self) -> bool:
        """Whether it surely changed the machine: what may be an order must not turn all that follows into as left."""
        return (
            self.status is DONE
            and not self.order
            and self.action
            not in (
                ActionKind.INSPECTED,
                ActionKind.TESTED,
                ActionKind.ADVISED,
                ActionKind.ORDERED,
                ActionKind.SHUT_DOWN,
                ActionKind.STARTED,
                ActionKind.REMOVED,
                ActionKind.LEAK_TESTED,
                ActionKind.PRESSURE_TESTED,
                ActionKind.RESET,
            )
        )


@cache
def cures(action: ActionKind) -> frozenset[Condition]:
    """The states that a kind of work answers."""
    return frozenset(Condition(c) for c in load_table("actions")["cures"].get(action.value, ()))


@cache
def never(action: ActionKind) -> frozenset[str]:
    """Components that a kind of work is never done to, whatever "it" seems to be."""
    return frozenset(load_table("actions")["never"].get(action.value, ()))


@cache
def allowed(action: ActionKind) -> frozenset[str]:
    """Components that a kind of work may be done to."""
    return (frozenset(subjects()) | groups()["noun"]) - never(action) - figures_only()


class Memory:
    """The faults that were told and the deeds so far, asked for what a word without a name means."""

    def __init__(self, entries: Sequence[Entry]) -> None:
        """Takes the settled states of the talk."""
        faults = [e.claim for e in entries if e.status is not FindingStatus.RULED_OUT and e.claim.condition not in GOOD]
        self._faults = sorted(faults, key=lambda claim: claim.clause.index)
        self._fault_clauses = [claim.clause.index for claim in self._faults]
        self._faulty = {c.component for c in self._faults if c.condition in cures(ActionKind.REPLACED)}
        self.deeds: list[Deed] = []
        self._expected: set[str] = set()

    def add(self, deeds: Sequence[Deed]) -> None:
        """Remembers the deeds of a clause."""
        self.deeds += deeds
        self._expected.update(
            d.component for d in deeds if d.action in PUT_IN | {ActionKind.REMOVED, ActionKind.ORDERED}
        )

    def told_of(self, component: str) -> bool:
        """Whether the change, removal or order of a component was told before."""
        return component in self._expected

    def awaited(self, component: str) -> bool:
        """Whether a component's change is no surprise: it was told of, or the component was faulty."""
        return component in self._expected or component in self._faulty

    def planned(self, action: ActionKind, clause: Clause) -> Thing | None:
        """What such work was planned on shortly before: "I'm going to flush the lines ... flushed it"."""
        for deed in reversed(self.deeds[-6:]):
            if clause.index - deed.clause.index > CURE_REACH or (deed.action is action and deed.status is DONE):
                return None
            if deed.action is action and deed.status is PLANNED:
                return as_thing(deed)
        return None

    def due(self, thing: Thing, clause: Clause) -> Thing:
        """A shared word ("the motor") as the one of its meanings that was to be changed or that failed."""
        for deed in self._lately():
            if deed.component in thing.options and deed.action in PUT_IN and deed.status is not DONE:
                return replace(thing, component=deed.component, open=False)
        for claim in self._faults_before(clause):
            curable = claim.component in thing.options and claim.condition in cures(ActionKind.REPLACED)
            if curable and not self._changed(claim.component, None):
                return replace(thing, component=claim.component, open=False)
        return thing

    def failed_last(self, clause: Clause) -> Thing | None:
        """The component that failed last and was not replaced yet: what "the new one" is."""
        for claim in self._faults_before(clause):
            dirty_filter = claim.condition is Condition.DIRTY and claim.component in groups()["filter"]
            curable = claim.condition in cures(ActionKind.REPLACED) or dirty_filter
            if (
                curable
                and claim.component in allowed(ActionKind.REPLACED)
                and not self._changed(claim.component, claim.place)
            ):
                return as_thing(claim)
        return None

    def cured(
        self, clause: Clause, action: ActionKind, fits: frozenset[str] | None, near: Thing | None
    ) -> Thing | None:
        """The component with a fault told shortly before that such work cures: "it's matted ... I washed it".

        A thing named after that fault (`near`) is meant instead.
        """
        for number, claim in enumerate(self._faults_before(clause)):
            far = clause.index - claim.clause.index > CURE_REACH
            if far or number >= 6 or (near is not None and near.span.start >= claim.clause.span.end + 3):
                break
            fitting = claim.component not in never(action) and (fits is None or claim.component in fits)
            if claim.condition in cures(action) and fitting:
                return as_thing(claim)
        return None

    def _faults_before(self, clause: Clause) -> Iterator[Claim]:
        position = bisect_right(self._fault_clauses, clause.index)
        return reversed(self._faults[max(0, position - LOOK_BACK) : position])

    def _lately(self) -> Iterator[Deed]:
        return reversed(self.deeds[-LOOK_BACK:])

    def _changed(self, component: str, place: str | None) -> bool:
        return any(
            d.component == component and d.action in PUT_IN and d.status is DONE and same_place(d.place, place)
            for d in self._lately()
        )


def same_place(one: str | None, other: str | None) -> bool:
    """Whether two places may be one."""
    return one is None or other is None or one == other


def as_thing(said: Claim | Deed) -> Thing:
    """The component of a claim or a deed as something to point at."""
    return Thing(said.component, said.evidence, said.token, "", said.place, start=said.token)
