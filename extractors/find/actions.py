"""Actions: deeds on one thing settled into one entry, a plan made one with its doing."""

from __future__ import annotations

from dataclasses import replace

from extractors.claims import Claims
from extractors.clauses import Clauses
from extractors.components import Components
from extractors.deeds import Deed, Deeds, remedied
from extractors.facts import Action, ActionKind, ActionStatus
from extractors.passage import Passage
from extractors.registry import Extractor, Found
from extractors.settled import settle as settled
from extractors.stance import Stances
from extractors.talk import Talk

DONE = ActionStatus.DONE
SAME = {ActionKind.INSTALLED: ActionKind.REPLACED}
WHOLE = frozenset({"unit", "compressor", "system"})


def deeds_of(talk: Talk) -> list[Deed]:
    """All deeds of a talk as told, in order."""
    clauses = Clauses(talk)
    components = Components(talk, clauses)
    stances = Stances(clauses)
    entries = settled(Claims(clauses, components, stances).all())
    return Deeds(clauses, components, stances, talk.figures, entries).all()


def remedies(talk: Talk) -> list[int]:
    """The tokens at which work that changes the machine is told as done, in order."""
    return [deed.token for deed in settle(deeds_of(talk)) if remedied(deed)]


def _key(deed: Deed) -> tuple[ActionKind, str]:
    component = deed.component.removesuffix("s")
    if deed.action in (ActionKind.STARTED, ActionKind.SHUT_DOWN) and component in WHOLE:
        component = "unit"
    return SAME.get(deed.action, deed.action), component


def _same_place(one: Deed, other: Deed) -> bool:
    return one.place is None or other.place is None or one.place == other.place


def settle(deeds: list[Deed]) -> list[Deed]:
    """One entry a kind of work and thing, in the order of their doing."""
    kept: list[Deed | None] = []
    open_: dict[tuple[ActionKind, str], list[int]] = {}
    for deed in deeds:
        places = open_.setdefault(_key(deed), [])
        joined = False
        for index in reversed(places):
            earlier = kept[index]
            if earlier is None or not _same_place(earlier, deed):
                continue
            if earlier.status is not DONE and deed.status is DONE:
                kept[index] = None  # the plan: its doing stands where it was done
                places.remove(index)
                break
            joined = earlier.status is deed.status
            if joined:
                break
        if joined:
            continue
        if deed.status is DONE and _key(deed)[0] is ActionKind.REPLACED:
            for index in open_.get((ActionKind.REMOVED, _key(deed)[1]), []):
                kept[index] = None  # out with the old one: part of the replacement
        places.append(len(kept))
        kept.append(deed)
    last = deeds[-1].clause.index if deeds else 0
    return [_carried_out(deed, last) for deed in kept if deed is not None]


def _carried_out(deed: Deed, last: int) -> Deed:
    """A plan for now, early in the job, as done but for the reviewer to confirm: nobody tells every step twice."""
    if deed.soon and deed.action not in (ActionKind.ORDERED, ActionKind.ADVISED) and deed.clause.index < 0.8 * last:
        return replace(deed, status=DONE, confirm=(*deed.confirm, "speaker not sure: told as a plan, its doing was not told"))
    return deed


def _action(number: int, deed: Deed, passage: Passage) -> Action:
    evidence = passage.evidence(deed.evidence)
    return Action(
        id=f"a{number}", action=deed.action, component=deed.component, place=deed.place, status=deed.status, text=evidence.quote,
        evidence=evidence, at=passage.start_of(passage.tokens[deed.token]), confirm=deed.confirm, because=deed.because,
    )


def find(talk: Talk, found: Found) -> list[Action]:
    """The actions of a job in order. Linear in the talk."""
    deeds = settle(deeds_of(talk))
    found.deeds = [deed.token for deed in deeds if remedied(deed)]
    return [_action(number, deed, talk.passage) for number, deed in enumerate(deeds, 1)]


EXTRACTOR = Extractor("actions", find, gives="actions", needs=())
