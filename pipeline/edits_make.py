"""Makes an edit out of what a person did on a page: fills in its address, what he saw and what the machine said."""

from __future__ import annotations

from typing import Any

from extractors.facts import Evidence, Frozen, Reading, Segment
from pipeline.draft import Draft
from pipeline.edits import Edit, EditKind, Target, TargetKind, new_edit
from pipeline.edits_apply import FIGURE, Mark, Replayed
from pipeline.edits_bench import FIELDS, MODELS, Item, changed, field_value, validated
from pipeline.edits_find import LISTS, by_id, source_of, traits_of
from pipeline.errors import InputError


def fact_named(draft: Draft, handle: str) -> Frozen | None:
    """The entry that a page calls by this name: `r3`, `follow_up:0`, `equipment.serial`; None when it is empty."""
    if handle in FIELDS:
        return field_value(draft, handle)
    kind, _, index = handle.partition(":")
    if index.isdigit() and kind in {name.value for name in LISTS}:
        facts = getattr(draft, LISTS[TargetKind(kind)])
        return facts[int(index)] if int(index) < len(facts) else None
    place = by_id(draft, handle)
    return place.fact if place else None


def make_edit(
    replayed: Replayed,
    who: str,
    kind: EditKind,
    handle: str,
    now: dict[str, Any] | None = None,
    *,
    edit_id: str | None = None,
) -> Edit:
    """An edit of one entry of a replayed draft.

    `now` holds the fields to change, `{"choice": n}` for one of a reading's other figures, or `{"reason": …}` for
    a deletion. Raises InputError when there is no such entry or a value cannot be.
    """
    mark = replayed.marks.get(handle)
    fact = fact_named(replayed.draft, handle)
    if mark is None or (fact is None and handle not in FIELDS):
        raise InputError("no-such-fact", "That entry is no longer there.", "Reload the page.")
    seen = fact.model_dump(mode="json") if fact is not None else {}
    now = dict(now or {})
    if kind is EditKind.CHOOSE:
        now = _choice(fact, now)
    elif kind is EditKind.ACCEPT:
        now = {name: seen[name] for name in FIGURE if name in seen}
    elif kind is EditKind.HEARD:
        now = {"how": str(now.get("how", "sound"))}
    if kind is EditKind.CHANGE and isinstance(fact, Reading):
        now = _whole_figure(now)
    asked = _asked(kind, now, mark)
    was = {name: seen.get(name) for name in asked}
    if kind is EditKind.ACCEPT:
        was["confirm"] = list(seen.get("confirm", ()))
    there = mark.machine or {}
    machine = {name: there.get(name) for name in asked} if mark.origin is not None else {}
    if handle in FIELDS:
        now = {"value": now.get("value", now.get("text"))}
        if kind is EditKind.ACCEPT:
            now = {"value": seen.get("value", seen.get("text"))}
        after: dict[str, Any] | None = None
    else:
        after = _after(kind, fact, mark, now)
    return new_edit(who, kind, mark.target, now=now, was=was, machine=machine, fact=after, edit_id=edit_id)


def _asked(kind: EditKind, now: dict[str, Any], mark: Mark) -> list[str]:
    """The fields that the edit is about: those that it sets, or those that were vouched for or thrown away."""
    if mark.target.kind is TargetKind.FIELD:
        return ["text" if mark.target.field == "complaint" else "value"]
    if kind in (EditKind.HEARD, EditKind.ACCEPT, EditKind.DELETE):
        there = mark.machine
        return [name for name in FIGURE if there is None or name in there]
    return [name for name in now if name not in ("as", "choice", "reason")]


def _after(kind: EditKind, fact: Frozen | None, mark: Mark, now: dict[str, Any]) -> dict[str, Any] | None:
    if fact is None or kind in (EditKind.HEARD, EditKind.DELETE, EditKind.LINK):
        return None
    item = Item(mark.target.kind, mark.target, None, fact)
    return changed(item, now).model_dump(mode="json") if now else fact.model_dump(mode="json")


def _choice(fact: Frozen | None, now: dict[str, Any]) -> dict[str, Any]:
    """The fields of the chosen alternative. Raises InputError when the reading has no such one."""
    number = now.get("choice")
    if isinstance(fact, Reading) and isinstance(number, int) and 0 <= number < len(fact.alternatives):
        chosen = fact.alternatives[number].model_dump(mode="json")
        # A figure is replaced whole; anything else that the alternative names only where it names it.
        others = {name: value for name, value in chosen.items() if name not in FIGURE and value is not None}
        return {name: chosen[name] for name in FIGURE} | {"unit": chosen["unit"] or fact.unit} | others
    raise InputError("no-such-choice", "That figure is not among the choices.", "Type the figure instead.")


def _whole_figure(now: dict[str, Any]) -> dict[str, Any]:
    """A figure is either one value or a range: setting the one takes the other away. Raises InputError for neither."""
    if not {"value", "low", "high"}.intersection(now):
        return now
    value, low, high = now.get("value"), now.get("low"), now.get("high")
    if value is None and (low is None or high is None):
        raise InputError("no-figure", "A reading needs a figure, or both ends of a range.", "Type one.")
    if value is None and low is not None and high is not None and float(low) > float(high):
        raise InputError("no-figure", "The range begins above its end.", "Put the lower figure first.")
    return {
        **now,
        "value": value,
        "low": None if value is not None else low,
        "high": None if value is not None else high,
    }


def make_words(
    draft: Draft, who: str, segment: int, first: int, last: int, text: str, *, edit_id: str | None = None
) -> Edit:
    """A correction of the words `first` to `last` (counted from 0, both included) of one segment."""
    evidence, nth = words_at(draft, segment, first, last)
    target = Target(
        kind=TargetKind.WORDS, source=source_of(draft, evidence), evidence=evidence, traits={"nth": str(nth)}
    )
    text = " ".join(text.split())
    return new_edit(who, EditKind.WORDS, target, was={"text": evidence.quote}, now={"text": text}, edit_id=edit_id)


def make_fact(
    draft: Draft,
    who: str,
    kind: TargetKind,
    fact: dict[str, Any],
    evidence: Evidence | None,
    *,
    unplaced: bool = False,
    link: str | None = None,
    edit_id: str | None = None,
) -> Edit:
    """An added fact. Without evidence it is one that nobody said: it stands with empty words and says who wrote it.

    `link` makes it one of the diagnosis's `causes`, `remedies` or `proof`.
    """
    said = evidence or Evidence(quote="")
    body = {**fact, "evidence": said.model_dump(mode="json")}
    if kind is TargetKind.READING:
        body = {**body, **_whole_figure({name: body.get(name) for name in ("value", "low", "high")})}
    if "at" in MODELS[kind].model_fields:
        body["at"] = said.start
    with_id = {"id": "new"} if "id" in MODELS[kind].model_fields else {}
    made = validated(MODELS[kind], {**body, **with_id})
    target = Target(
        kind=kind,
        source=source_of(draft, evidence) if evidence else None,
        evidence=said,
        traits=traits_of(kind, made),
    )
    now: dict[str, Any] = {"fact": made.model_dump(mode="json")}
    if unplaced:
        now["unplaced"] = True
    if link:
        now["as"] = link
    return new_edit(who, EditKind.ADD, target, now=now, edit_id=edit_id)


def words_of(segment: Segment) -> list[str]:
    """The words of a segment as a page shows and counts them."""
    return [word.text.strip() for word in segment.words] if segment.words else segment.text.split()


def words_at(draft: Draft, segment: int, first: int, last: int) -> tuple[Evidence, int]:
    """Evidence for a stretch of words, and how many times the same words stand earlier in the segment.

    Raises InputError when there is no such stretch.
    """
    segments = draft.transcript.segments
    words = words_of(segments[segment]) if 0 <= segment < len(segments) else []
    if not 0 <= first <= last < len(words):
        raise InputError("no-such-words", "Those words are no longer there.", "Reload the page and choose again.")
    said = segments[segment]
    start, end = said.start, said.end
    if said.words:
        start, end = said.words[first].start, said.words[last].end
    quote = words[first : last + 1]
    nth = sum(words[i : i + len(quote)] == quote for i in range(first))
    evidence = Evidence(recording=said.recording, start=start, end=end, line=said.line, quote=" ".join(quote))
    return evidence, nth
