"""Lays a person's edits over any draft, old or newly heard, and tells what no longer fits."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from extractors.facts import Complaint, Evidence, Frozen, Reading, Said, Unplaced, UnplacedReason
from pipeline.draft import Draft
from pipeline.edits import Conflict, Edit, EditKind, Target, TargetKind, effective
from pipeline.edits_bench import Bench, Item, changed, differs
from pipeline.edits_find import key_of, same_sound
from pipeline.edits_words import correct_words

FIGURE = ("value", "low", "high", "unit")

ANSWERED_BY: dict[str, tuple[str, ...]] = {
    "value": (
        "low confidence", "heard differently", "decimal point", "teen or ty", "outside usual range",
        "corrected twice", "speaker not sure", "does not fit",
    ),
    "unit": ("unit not said",),
    "subject": ("subject unclear",),
    "role": ("may be rated", "may be measured"),
}  # fmt: skip
"""Which doubts a person answers by setting a field himself. Checks made afterwards may raise one anew."""

FROM_CHECKS = ("outside usual range", "does not fit")
"""Doubts that only checks raise, by comparing figures. They are taken off before the checks run again, which raise
them where they still hold: a corrected figure must not leave its neighbours doubted."""

TWIN = {
    TargetKind.READING: ("quantity", "subject", "role", "place", "value", "low", "high", "unit"),
    TargetKind.FINDING: ("component", "condition", "place"),
    TargetKind.ACTION: ("component", "action", "place"),
    TargetKind.PART: ("component", "description"),
    TargetKind.FOLLOW_UP: ("text",),
}
"""A fact that a person added and a later draft finds by itself is known again by these."""


@dataclass(frozen=True)
class Mark:
    """What a person did about one entry of the page, and the address for the next edit of it."""

    target: Target
    heard: bool = False
    accepted: bool = False
    edits: tuple[Edit, ...] = ()
    origin: Frozen | None = None
    """The fact as the machine had it; null for what a person added."""

    @property
    def machine(self) -> dict[str, Any] | None:
        """The same as plain values."""
        return self.origin.model_dump(mode="json") if self.origin is not None else None


@dataclass(frozen=True)
class Replayed:
    """A draft with the edits on it. `marks` are by the page's names: `r3`, `follow_up:0`, `equipment.serial`."""

    draft: Draft
    conflicts: tuple[Conflict, ...]
    marks: dict[str, Mark]


def apply(
    draft: Draft,
    edits: Iterable[Edit],
    *,
    read: Callable[[Draft], Draft] | None = None,
    finish: Callable[[Draft], Draft] | None = None,
) -> tuple[Draft, tuple[Conflict, ...]]:
    """The draft with the edits on it, and the conflicts; see `replay`."""
    replayed = replay(draft, edits, read=read, finish=finish)
    return replayed.draft, replayed.conflicts


def replay(
    draft: Draft,
    edits: Iterable[Edit],
    *,
    read: Callable[[Draft], Draft] | None = None,
    finish: Callable[[Draft], Draft] | None = None,
) -> Replayed:
    """The machine's draft with a person's edits on it.

    `read` finds the facts anew after words were corrected; `finish` makes checks, trends, diagnosis, gaps,
    cautions and summary follow. What a person set always stands; where the machine now says something else
    than it said to that person, a conflict tells both.
    """
    live = effective(edits)
    corrected, conflicts = correct_words(draft, live)
    if read is not None and corrected is not draft:
        corrected = read(corrected)
    bench = Bench(corrected, live)
    desk = _Desk(bench)
    for edit in live:
        desk.lay(edit)
    desk.mend()
    built = bench.built()
    if finish is not None:
        built = finish(_unjudged(built))
    built = _after(built, bench, live)
    marks = {
        handle: Mark(
            target=item.target,
            heard=item.heard,
            accepted=item.accepted is not None,
            edits=tuple(item.edits),
            origin=item.origin,
        )
        for handle, item in bench.handles()
    }
    return Replayed(built, _unsettled([*conflicts, *desk.conflicts()], live), marks)


def heard_on(replayed: Replayed, edit: Edit) -> Replayed | None:
    """The same with one more entry listened to, which is most of what a review does and changes no fact.

    None when the edit is of another kind or more has to be looked at: then all of it is laid over anew.
    """
    if edit.kind is not EditKind.HEARD:
        return None
    wanted = key_of(edit.target)
    meant = [handle for handle, mark in replayed.marks.items() if key_of(mark.target) == wanted]
    if len(meant) != 1:
        return None
    mark = replayed.marks[meant[0]]
    there = mark.machine
    other = there is not None and any(differs(there.get(name), then) for name, then in edit.machine.items())
    made = replace(mark, heard=mark.heard or not other, edits=(*mark.edits, edit))
    return replace(replayed, marks={**replayed.marks, meant[0]: made})


class _Desk:
    """Lays edits on a bench one by one and gathers the conflicts by what they are about."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self._conflicts: dict[str, tuple[Conflict, Item | None]] = {}

    def conflicts(self) -> list[Conflict]:
        return [
            conflict.model_copy(update={"fact": getattr(item.fact, "id", None) if item else None})
            for conflict, item in self._conflicts.values()
        ]

    def lay(self, edit: Edit) -> None:
        if edit.kind in (EditKind.WORDS, EditKind.SETTLE, EditKind.REVIEW, EditKind.WAIVE):
            return
        if edit.kind is EditKind.ADD:
            self._add(edit)
            return
        if edit.target.kind is TargetKind.GAP:
            self._which(edit)
            return
        item = self.bench.item(edit.target)
        if item is None:
            item = self._gone(edit)
            if item is None:
                return
        else:
            self._compare(edit, item)
        item.edits.append(edit)
        if edit.kind is EditKind.HEARD:
            item.heard = item.heard or not self._other_figure(edit, item)
        elif edit.kind is EditKind.ACCEPT:
            self._set(item, {name: edit.now[name] for name in FIGURE if name in edit.now}, edit)
            item.accepted = frozenset(reason.split(":")[0] for reason in edit.was.get("confirm", ()))
        elif edit.kind is EditKind.DELETE:
            self._delete(edit, item)
        elif edit.kind in (EditKind.CHANGE, EditKind.CHOOSE, EditKind.ANSWER):
            self._set(item, edit.now, edit)

    def _which(self, edit: Edit) -> None:
        """An answer to "which one?": the place goes to every entry about that component that has none."""
        component = (edit.target.field or "").partition(":")[2]
        place = str(edit.now.get("place", "")).strip()
        for item in self.bench.items:
            about = getattr(item.fact, "component", None) or getattr(item.fact, "subject", None)
            if item.fact is None or about != component or getattr(item.fact, "place", "") is not None:
                continue
            item.fact = changed(item, {"place": place})
            item.edits.append(edit)

    def _set(self, item: Item, now: dict[str, Any], edit: Edit) -> None:
        if item.kind is TargetKind.FIELD:
            item.fact = _field_set(item, edit)
            return
        if not now or item.fact is None:
            return
        differing = {
            name: value for name, value in now.items() if differs(value, item.fact.model_dump(mode="json").get(name))
        }
        item.fact = changed(item, differing) if differing else item.fact
        touched = {"value" if name in ("value", "low", "high") else name for name in now}
        if touched & {"value", "unit"}:
            item.accepted = None
        answered = {reason for name in touched for reason in ANSWERED_BY.get(name, ())}
        if edit.kind is EditKind.ACCEPT:
            answered = {reason.split(":")[0] for reason in edit.was.get("confirm", ())}
        update: dict[str, Any] = {}
        if confirm := getattr(item.fact, "confirm", ()):
            update["confirm"] = tuple(reason for reason in confirm if reason.split(":")[0] not in answered)
        if "value" in touched and isinstance(item.fact, Reading):
            update["alternatives"] = ()
        if differing and hasattr(item.fact, "because"):
            update["because"] = (*item.fact.because, _because(edit, differing))
        item.fact = item.fact.model_copy(update=update)

    def _delete(self, edit: Edit, item: Item) -> None:
        fact, item.fact = item.fact, None
        if item.origin is None or not isinstance(fact, Reading):
            return
        # Nothing spoken vanishes: a figure taken out is listed as heard and not placed, with the reason given.
        said = str(edit.now.get("reason") or UnplacedReason.NOT_THIS_JOB.value)
        reason = UnplacedReason(said) if said in set(UnplacedReason) else UnplacedReason.UNCLEAR
        unplaced = Unplaced(
            text=fact.evidence.quote,
            reason=reason,
            evidence=fact.evidence,
            because=(f"taken out by {edit.who} on {edit.when[:10]}",),
        )
        target = Target(kind=TargetKind.UNPLACED, source=item.target.source, evidence=fact.evidence, added=edit.id)
        self.bench.add(target, unplaced.model_dump(mode="json"), edit.id)

    def _add(self, edit: Edit) -> None:
        fact = edit.now.get("fact")
        if not isinstance(fact, dict):
            return
        twin = self._twin(edit.target, fact)
        if twin is not None:
            self.bench.adopt(twin, edit.id)
            twin.edits.append(edit)
            return
        said = edit.target.evidence
        if said is not None:
            for item in self.bench.of(TargetKind.UNPLACED):
                evidence = getattr(item.fact, "evidence", None)
                if edit.now.get("unplaced") and isinstance(evidence, Evidence) and evidence == said:
                    item.fact = None
        added = self.bench.add(edit.target, {**fact, **_added_because(edit)}, edit.id)
        if added is None:
            self._note(edit, None, "gone", "You added an entry from a recording that is no longer in this job.")
            return
        added.target = edit.target.model_copy(update={"added": edit.id})
        added.edits.append(edit)

    def _twin(self, target: Target, fact: dict[str, Any]) -> Item | None:
        if target.evidence is None:
            return None
        for item in self.bench.of(target.kind):
            if item.origin is None or item.fact is None:
                continue
            body = item.fact.model_dump(mode="json")
            evidence = getattr(item.fact, "evidence", None)
            if same_sound(self.bench.draft, target, evidence) and not any(
                differs(body.get(name), fact.get(name)) for name in TWIN.get(target.kind, ("id",))
            ):
                return item
        return None

    def _gone(self, edit: Edit) -> Item | None:
        """Brings a fact back that a person vouched for and a later draft lost, with a conflict that says so."""
        if edit.kind in (EditKind.HEARD, EditKind.DELETE):
            return None
        if edit.fact is None or edit.kind is EditKind.LINK:
            self._note(edit, None, "gone", "What you marked here is no longer found in the recording.")
            return None
        item = self.bench.add(edit.target, edit.fact, key_of(edit.target))
        mine = said_of(edit.fact)
        if item is None:
            self._note(edit, None, "gone", f"You kept “{mine}” from a recording that is no longer in this job.", mine)
        else:
            self._note(edit, item, "gone", f"You kept “{mine}”; it is no longer heard there. Yours stays.", mine)
        return item

    def _compare(self, edit: Edit, item: Item) -> None:
        """Notes a conflict when the machine now says something else than it said to the person, and than he set."""
        if edit.kind in (EditKind.HEARD, EditKind.LINK) or edit.target.added is not None:
            return
        if item.origin is None and item.kind is not TargetKind.FIELD:
            conflict, _ = self._conflicts[key_of(edit.target)]
            mine = said_of(edit.fact or {}) or conflict.mine
            self._note(edit, item, conflict.kind, conflict.message.replace(conflict.mine, mine), mine)
            return
        there = item.origin.model_dump(mode="json") if item.origin is not None else {}
        apart = [
            name
            for name, then in edit.machine.items()
            if differs(there.get(name), then) and differs(there.get(name), edit.now.get(name, then))
        ]
        if apart:
            mine = ", ".join(str(edit.now.get(name, edit.machine[name])) for name in apart)
            says = ", ".join(str(there.get(name)) for name in apart)
            fields = ", ".join(name.replace("_", " ") for name in apart)
            then = ", ".join(str(edit.machine[name]) for name in apart)
            what = "took it out" if edit.kind is EditKind.DELETE else f"set {mine}"
            message = f"You {what} when {fields} read {then}; it now reads {says}. Yours stays until you decide."
            self._note(edit, item, "changed", message, mine, says)

    def _other_figure(self, edit: Edit, item: Item) -> bool:
        """Whether the machine now has another figure than the one that was listened to."""
        if item.origin is None:
            return False
        there = item.origin.model_dump(mode="json")
        return any(differs(there.get(name), then) for name, then in edit.machine.items())

    def _note(self, edit: Edit, item: Item | None, kind: Any, message: str, mine: str = "", machine: str = "") -> None:
        key = key_of(edit.target)
        before = self._conflicts.get(key)
        ids = (*before[0].edits, edit.id) if before else (edit.id,)
        self._conflicts[key] = (
            Conflict(edits=ids, kind=kind, message=message, mine=mine, machine=machine),
            item or (before[1] if before else None),
        )

    def mend(self) -> None:
        """Takes away references to facts that were taken out."""
        ids = {getattr(item.fact, "id", None) for item in self.bench.items if item.fact is not None}
        for item in self.bench.items:
            update: dict[str, Any] = {}
            for name in ("superseded_by", "was", "now"):
                if getattr(item.fact, name, None) is not None and getattr(item.fact, name) not in ids:
                    update[name] = None
            if isinstance(item.fact, Reading) and "superseded_by" in update:
                # The figure that had replaced this one is gone: it counts again, but nobody has said so.
                update["confirm"] = (*item.fact.confirm, "corrected twice: its correction was taken out")
            if update and item.fact is not None:
                item.fact = item.fact.model_copy(update=update)


def _unjudged(draft: Draft) -> Draft:
    """The draft without the doubts that checks had raised."""

    def left(confirm: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(reason for reason in confirm if reason.split(":")[0] not in FROM_CHECKS)

    readings = tuple(reading.model_copy(update={"confirm": left(reading.confirm)}) for reading in draft.readings)
    refrigerant = draft.equipment.refrigerant
    if refrigerant is not None:
        refrigerant = refrigerant.model_copy(update={"confirm": left(refrigerant.confirm)})
    equipment = draft.equipment.model_copy(update={"refrigerant": refrigerant})
    return draft.model_copy(update={"readings": readings, "equipment": equipment})


def _field_set(item: Item, edit: Edit) -> Frozen | None:
    """A field of the visit or the equipment, or the complaint, as a person set or accepted it."""
    text = edit.now.get("value", edit.now.get("text"))
    if text is None or not str(text).strip():
        return None
    text = str(text).strip()
    evidence = getattr(item.fact or item.origin, "evidence", None)
    if edit.target.field == "complaint":
        said = evidence or edit.target.evidence or Evidence(quote="")
        return Complaint(text=text, evidence=said, because=(f"written by {edit.who} on {edit.when[:10]}",))
    return Said(value=text, evidence=edit.target.evidence or evidence, given=edit.kind is not EditKind.ACCEPT)


def _because(edit: Edit, differing: dict[str, Any]) -> str:
    parts = [f"{name.replace('_', ' ')} from {edit.was.get(name)} to {value}" for name, value in differing.items()]
    return f"{edit.who} changed {', '.join(parts)} on {edit.when[:10]}"


def _added_because(edit: Edit) -> dict[str, Any]:
    if edit.target.kind in (TargetKind.FOLLOW_UP, TargetKind.MACHINE, TargetKind.PHOTO):
        return {}
    how = "from the words" if edit.target.evidence and edit.target.evidence.quote else "without words in the recording"
    return {"because": [f"added {how} by {edit.who} on {edit.when[:10]}"]}


def _after(draft: Draft, bench: Bench, live: Iterable[Edit]) -> Draft:
    """What can only be said once checks and gaps were made anew: answered doubts, links, waived gaps."""
    answered = {
        item.fact.id: item.accepted
        for item in bench.of(TargetKind.READING)
        if item.accepted and isinstance(item.fact, Reading)
    }
    readings = tuple(
        reading.model_copy(
            update={"confirm": tuple(r for r in reading.confirm if r.split(":")[0] not in answered[reading.id])}
        )
        if reading.id in answered
        else reading
        for reading in draft.readings
    )
    diagnosis, closed = draft.diagnosis, set()
    for edit in live:
        if edit.kind is EditKind.WAIVE:
            closed.add(edit.target.field)
        elif edit.kind is EditKind.LINK or (edit.kind is EditKind.ADD and "as" in edit.now):
            added = {"added": edit.id} if edit.kind is EditKind.ADD else {}
            item = bench.item(edit.target.model_copy(update=added))
            fact_id = getattr(item.fact, "id", None) if item else None
            name = str(edit.now.get("as"))
            if fact_id is not None and name in ("causes", "remedies", "proof"):
                ids = getattr(diagnosis, name)
                update: dict[str, Any] = {} if fact_id in ids else {name: (*ids, fact_id)}
                update["open"] = tuple(other for other in diagnosis.open if other != fact_id)
                diagnosis = diagnosis.model_copy(update=update)
                closed.add({"causes": "cause", "proof": "proof"}.get(name))
    gaps = tuple(gap for gap in draft.gaps if gap.field not in closed)
    return draft.model_copy(update={"readings": readings, "diagnosis": diagnosis, "gaps": gaps})


def _unsettled(conflicts: Iterable[Conflict], live: Iterable[Edit]) -> tuple[Conflict, ...]:
    """The conflicts that nobody has decided. A decision holds as long as the machine says the same."""
    settled = {
        (edit_id, str(edit.now.get("machine", "")))
        for edit in live
        if edit.kind is EditKind.SETTLE and edit.now.get("keep") == "mine"
        for edit_id in edit.now.get("edits", ())
    }
    return tuple(
        conflict
        for conflict in conflicts
        if not all((edit_id, conflict.machine) in settled for edit_id in conflict.edits)
    )


def said_of(fact: dict[str, Any]) -> str:
    """A fact in a few words, for a sentence about it."""
    if "quantity" in fact and "role" in fact:
        low, high = fact.get("low"), fact.get("high")
        figure = fact.get("value") if fact.get("value") is not None else f"{low} to {high}"
        return f"{fact.get('subject')} {figure} {fact.get('unit') or ''}".strip()
    for name in ("text", "description", "value"):
        if fact.get(name):
            return str(fact[name])
    return str(fact.get("component", ""))
