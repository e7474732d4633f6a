"""Actions: deeds on one thing settled into one entry, a plan made one with its doing."""

from __future__ import annotations

from dataclasses import replace

from extractors.deed import DONE, Deed, same_place
from extractors.facts import Action, ActionKind
from extractors.passage import Passage
from extractors.registry import Extractor, Found
from extractors.talk import Talk
from extractors.work import work_of

SAME = {ActionKind.INSTALLED: ActionKind.REPLACED}
WHOLE = frozenset({"unit", "compressor", "system"})
STILL_TO_COME = 0.8  # of the clauses: a plan told later than this is for another day
AFTER_REMOVAL = frozenset(
    ActionKind(a) for a in ("cleaned", "repaired", "inspected", "tested", "lubricated", "adjusted")
)
STEP = 8  # clauses in which work on a thing follows its removal
Key = tuple[ActionKind, str]


def _key(deed: Deed) -> Key:
    component = deed.component.removesuffix("s")
    if deed.action in (ActionKind.STARTED, ActionKind.SHUT_DOWN) and component in WHOLE:
        component = "unit"
    return SAME.get(deed.action, deed.action), component


def settle(deeds: list[Deed], clauses: int) -> list[Deed]:
    """One entry a kind of work and thing, in the order of their doing. `clauses`: how many the talk has."""
    kept: dict[int, Deed] = {}
    places: dict[Key, list[int]] = {}
    for number, deed in enumerate(deeds):
        key = _key(deed)
        before = [kept[n] for n in places.get(key, []) if n in kept and same_place(kept[n].place, deed.place)]
        if before and before[-1].status is deed.status:
            continue  # said again
        if before and before[-1].status is not DONE and deed.status is DONE:
            _drop(kept, before[-1])  # the plan: its doing stands where it was done
        if deed.status is DONE and key[0] is ActionKind.REPLACED:
            for n in places.get((ActionKind.REMOVED, key[1]), []):
                kept.pop(n, None)  # out with the old one: part of the replacement
        if deed.status is DONE and key[0] in AFTER_REMOVAL:
            for n in places.get((ActionKind.REMOVED, key[1]), []):
                if n in kept and deed.clause.index - kept[n].clause.index <= STEP:
                    kept.pop(n)  # "pulled the burners and brushed them": a step on the way
        places.setdefault(key, []).append(number)
        kept[number] = deed
    return [_carried_out(deed, clauses) for _, deed in sorted(kept.items()) if not _only_a_step(deed)]


def _only_a_step(deed: Deed) -> bool:
    """Whether a removal names nothing ("pulled it"): what was done to it is told by itself."""
    return deed.action is ActionKind.REMOVED and deed.status is DONE and "component: it" in deed.because


def _drop(kept: dict[int, Deed], deed: Deed) -> None:
    for number in [n for n, other in kept.items() if other is deed]:
        del kept[number]


def _carried_out(deed: Deed, clauses: int) -> Deed:
    """A plan for now, early in the job, as done but for the reviewer to confirm: nobody tells every step twice."""
    if (
        deed.soon
        and deed.action not in (ActionKind.ORDERED, ActionKind.ADVISED)
        and deed.clause.index < STILL_TO_COME * clauses
    ):
        return replace(
            deed, status=DONE, confirm=(*deed.confirm, "speaker not sure: told as a plan, its doing was not told")
        )
    return deed


def _action(number: int, deed: Deed, passage: Passage) -> Action:
    evidence = passage.evidence(deed.evidence)
    return Action(
        id=f"a{number}",
        action=deed.action,
        component=deed.component,
        place=deed.place,
        status=deed.status,
        text=evidence.quote,
        evidence=evidence,
        at=passage.start_of(passage.tokens[deed.token]),
        confirm=deed.confirm,
        because=deed.because,
    )


def find(talk: Talk, found: Found) -> list[Action]:
    """The actions of a job in order; tells `found` where the machine was changed. Linear in the talk."""
    work = work_of(talk, found)
    deeds = settle(work.deeds, len(work.view.clauses.clauses))
    found.deeds = [deed.token for deed in deeds if deed.remedies]
    return [_action(number, deed, talk.passage) for number, deed in enumerate(deeds, 1)]


EXTRACTOR = Extractor("actions", find, gives="actions", needs=())
