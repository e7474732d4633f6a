"""Edits as the review page sends them: each is kept at once, and the page comes back as it stands then."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from anyio import to_thread
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from extractors.facts import Evidence
from extractors.units import units
from pipeline.desk import OpenJob
from pipeline.edits import Edit, EditKind, Target, TargetKind, new_edit, to_redo, to_undo
from pipeline.edits_make import fact_named, make_edit, make_fact, make_words, words_at
from pipeline.errors import InputError
from pipeline.review import blockers
from pipeline.web.answers import json_of
from pipeline.web.desk_of import desk_of
from pipeline.web.people import current_user
from pipeline.web.work import work_answer

LONGEST = 2000
"""Letters of one typed text."""

Make = Callable[[OpenJob, str, dict[str, Any], str], Edit]


async def edit(request: Request) -> Response:
    """POST /jobs/ID/edits: one edit. Answers the working part of the page and where the job stands now."""
    asked = await json_of(request)
    return await to_thread.run_sync(_edit, request, asked)


def _edit(request: Request, asked: dict[str, Any]) -> Response:
    user, job_id = current_user(request), request.path_params["job"]
    make = MAKERS.get(str(asked.get("do")))
    edit_id = str(asked.get("id", ""))
    if make is None or not (edit_id.isalnum() and 8 <= len(edit_id) <= 64):
        raise InputError("unknown-edit", "The page asked for something unknown.", "Reload it and try again.")
    seen = asked.get("seen")
    opened = desk_of(request).take(
        job_id,
        user.owner,
        lambda opened: make(opened, user.name, _tidy(asked), edit_id),
        seen=seen if isinstance(seen, int) else 0,
        draft_key=str(asked.get("draft", "")),
    )
    return JSONResponse(work_answer(opened, asked.get("has")))


def _tidy(value: Any) -> Any:
    """Typed texts without outer spaces and unprintable signs. Raises InputError for one that is too long."""
    if isinstance(value, str):
        if len(value) > LONGEST:
            raise InputError("too-long", "That text is too long.", f"Keep it under {LONGEST} letters.")
        return "".join(letter for letter in value if letter.isprintable() or letter == "\n").strip()
    if isinstance(value, dict):
        return {str(name)[:64]: _tidy(item) for name, item in value.items()}
    if isinstance(value, list):
        return [_tidy(item) for item in value[:200]]
    return value


def _table(said: Any) -> dict[str, Any]:
    """Named values as they were sent; none for anything else."""
    return dict(said) if isinstance(said, dict) else {}


def _fields(kind: str, now: dict[str, Any]) -> dict[str, Any]:
    """Typed fields as values: empty is none, figures are numbers with a point or a comma, a unit tells its quantity."""
    fields: dict[str, Any] = {}
    for name, said in now.items():
        if name in ("value", "low", "high") and kind == "reading":
            fields[name] = _number(said)
        elif name == "quantity" and kind == "part":
            fields[name] = None if said in ("", None) else int(_number(said) or 0)
        elif name == "caption":
            fields[name] = str(said or "")
        else:
            fields[name] = None if said == "" else said
    for name in ("subject", "component", "text", "description"):
        if fields.get(name, "") is None:
            raise InputError("empty", f"The {name} cannot be empty.", "Type it, or take the entry out.")
    unit = fields.get("unit")
    if kind == "reading" and isinstance(unit, str) and unit in units() and not fields.get("quantity"):
        fields["quantity"] = units()[unit].quantity.value
    return fields


def _number(said: Any) -> float | None:
    if said is None or said == "":
        return None
    text = str(said).replace("\u2212", "-").replace(" ", "")
    # "1,5" is one and a half to many; "1,500" is fifteen hundred to all.
    if text.count(",") == 1 and "." not in text and len(text.rsplit(",", 1)[1]) != 3:
        text = text.replace(",", ".")
    try:
        value = float(text.replace(",", ""))
    except ValueError as fault:
        raise InputError("not-a-figure", f"“{said}” is not a figure.", "Type digits, as in 24.9.") from fault
    # Not a number is not smaller than anything, so it is refused here as well.
    if not -1e9 < value < 1e9:
        raise InputError("not-a-figure", f"“{said}” is too large for any reading.", "Check the digits.")
    return value


def _kind_of(opened: OpenJob, handle: str) -> str:
    mark = opened.replayed.marks.get(handle)
    return mark.target.kind.value if mark else ""


def _plain_edit(kind: EditKind) -> Make:
    def make(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
        handle, now = str(asked.get("handle", "")), _table(asked.get("now"))
        if kind is EditKind.CHANGE:
            now = _only_changed(opened, handle, _fields(_kind_of(opened, handle), now))
            if _kind_of(opened, handle) == "machine":
                now = _machine_fields(opened, handle, now)
        return make_edit(opened.replayed, who, kind, handle, now, edit_id=edit_id)

    return make


def _machine_fields(opened: OpenJob, handle: str, now: dict[str, Any]) -> dict[str, Any]:
    """The typed fields of a further machine, each as something that a person gave; the others stay as they were."""
    machine = fact_named(opened.draft, handle)
    made: dict[str, Any] = {}
    for name, typed in now.items():
        said = getattr(machine, name, None)
        if (said.value if said is not None else None) != typed:
            evidence = said.evidence.model_dump(mode="json") if said is not None and said.evidence else None
            made[name] = {"value": str(typed), "given": True, "evidence": evidence} if typed else None
    return made


def _only_changed(opened: OpenJob, handle: str, now: dict[str, Any]) -> dict[str, Any]:
    """The fields that differ from what stands: a form sends all of its fields, and a person changed some."""
    fact = fact_named(opened.draft, handle)
    if fact is None or "quantity" not in type(fact).model_fields or _kind_of(opened, handle) != "reading":
        return now
    there = fact.model_dump(mode="json")
    figure: dict[str, Any] = {name: now[name] for name in ("value", "low", "high") if name in now}
    kept = {name: value for name, value in now.items() if name not in figure and there.get(name) != value}
    if any(there.get(name) != value for name, value in figure.items()):
        kept |= figure
    return kept


def _add(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
    kind = _target_kind(asked.get("kind"))
    fact = _fields(kind.value, _table(asked.get("fact")))
    evidence, unplaced = _evidence(opened, asked)
    return make_fact(opened.draft, who, kind, fact, evidence, unplaced=unplaced, edit_id=edit_id)


def _target_kind(said: Any) -> TargetKind:
    if said in ("reading", "finding", "action", "part", "follow_up"):
        return TargetKind(said)
    raise InputError("unknown-edit", "The page asked for something unknown.", "Reload it and try again.")


def _evidence(opened: OpenJob, asked: dict[str, Any]) -> tuple[Evidence | None, bool]:
    words, index = asked.get("words"), asked.get("unplaced")
    if isinstance(index, int) and 0 <= index < len(opened.draft.unplaced):
        return opened.draft.unplaced[index].evidence, True
    if isinstance(words, dict):
        return words_at(opened.draft, *_span(words))[0], False
    return None, False


def _span(words: dict[str, Any]) -> tuple[int, int, int]:
    numbers = [words.get(name) for name in ("segment", "first", "last")]
    if all(isinstance(number, int) for number in numbers):
        return numbers[0], numbers[1], numbers[2]  # type: ignore[return-value]
    raise InputError("no-such-words", "Those words are no longer there.", "Reload the page and choose again.")


def _words(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
    span = _span(_table(asked.get("words")))
    return make_words(opened.draft, who, *span, str(asked.get("text", "")), edit_id=edit_id)


def _answer(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
    """An answer to a gap, of the kind that the gap takes."""
    name, now = str(asked.get("gap", "")), _table(asked.get("now"))
    if name not in {gap.field for gap in opened.draft.gaps}:
        raise InputError("no-such-gap", "That question was answered meanwhile.", "Look at the page again.")
    kind, _, about = name.partition(":")
    if fact := now.get("fact"):
        # An entry that is there already is the cause or the proof.
        link = "causes" if kind == "cause" else "proof"
        return make_edit(opened.replayed, who, EditKind.LINK, str(fact), {"as": link}, edit_id=edit_id)
    if kind == "which":
        target = Target(kind=TargetKind.GAP, field=name)
        if not now.get("place"):
            raise InputError("empty", "Nothing was typed.", "Say which one, or put the question aside.")
        return new_edit(who, EditKind.ANSWER, target, now={"place": now["place"]}, edit_id=edit_id)
    if kind in ("reading", "as_left", "proof"):
        return make_fact(
            opened.draft, who, TargetKind.READING, _fields("reading", now), None,
            link="proof" if kind == "proof" else None, edit_id=edit_id,
        )  # fmt: skip
    if kind == "cause":
        return make_fact(
            opened.draft, who, TargetKind.FINDING, {"status": "observed", **_fields("finding", now)}, None,
            link="causes", edit_id=edit_id,
        )  # fmt: skip
    if kind == "part":
        return make_fact(
            opened.draft, who, TargetKind.PART, {"status": "used", "component": about, **_fields("part", now)}, None,
            edit_id=edit_id,
        )  # fmt: skip
    if not now.get("value"):
        raise InputError("empty", "Nothing was typed.", "Type the answer, or put the question aside.")
    return make_edit(opened.replayed, who, EditKind.ANSWER, name, {"value": now["value"]}, edit_id=edit_id)


def _waive(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
    target = Target(kind=TargetKind.GAP, field=str(asked.get("gap", "")))
    return new_edit(who, EditKind.WAIVE, target, edit_id=edit_id)


def _back(kind: EditKind) -> Make:
    def make(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
        find = to_undo if kind is EditKind.UNDO else to_redo
        found = find(opened.stored.edits)
        if found is None:
            raise InputError("nothing-to-do", f"There is nothing to {kind.value}.", "")
        return new_edit(who, kind, Target(kind=TargetKind.JOB), now={"edit": found.id}, edit_id=edit_id)

    return make


def _settle(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
    keep, index = asked.get("keep"), asked.get("conflict")
    conflicts = opened.replayed.conflicts
    if keep not in ("mine", "machine") or not isinstance(index, int) or not 0 <= index < len(conflicts):
        raise InputError("no-such-conflict", "That was decided meanwhile.", "Look at the page again.")
    now = {"keep": keep, "edits": list(conflicts[index].edits), "machine": conflicts[index].machine}
    return new_edit(who, EditKind.SETTLE, Target(kind=TargetKind.JOB), now=now, edit_id=edit_id)


def _review(opened: OpenJob, who: str, asked: dict[str, Any], edit_id: str) -> Edit:
    """A person answers for the report. Refused while a figure that may hurt somebody was not heard."""
    state = "draft" if asked.get("review") == "draft" else "reviewed"
    open_ones = blockers(opened.replayed)
    if state == "reviewed" and open_ones:
        one = "One thing has" if len(open_ones) == 1 else f"{len(open_ones)} things have"
        raise InputError(
            "not-heard",
            f"{one} to be heard or decided before this report can be called reviewed.",
            "They stand first in the list.",
        )
    return new_edit(who, EditKind.REVIEW, Target(kind=TargetKind.JOB), now={"review": state}, edit_id=edit_id)


MAKERS: dict[str, Make] = {
    **{
        kind.value: _plain_edit(kind)
        for kind in (EditKind.CHANGE, EditKind.CHOOSE, EditKind.ACCEPT, EditKind.HEARD, EditKind.DELETE, EditKind.LINK)
    },
    "add": _add,
    "words": _words,
    "answer": _answer,
    "waive": _waive,
    "undo": _back(EditKind.UNDO),
    "redo": _back(EditKind.REDO),
    "settle": _settle,
    "review": _review,
}
