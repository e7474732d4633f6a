"""Safety notes: which ones the facts of a job call for, each once, by the triggers of cautions.toml."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from extractors.facts import ActionKind, ActionStatus, FindingStatus, FollowUp, Reading, Role
from extractors.units import convert
from pipeline.checks import wording
from pipeline.checks.job import kinds
from pipeline.checks.refrigerants import refrigerant
from pipeline.draft import Caution, Draft

DATA = Path(__file__).with_name("cautions.toml")
Row = Mapping[str, Any]
WORK = (ActionStatus.DONE, ActionStatus.PLANNED)
RESTORED = (ActionKind.REPLACED, ActionKind.REPAIRED, ActionKind.REWIRED, ActionKind.INSTALLED)


@cache
def _table() -> dict[str, Any]:
    with DATA.open("rb") as file:
        return tomllib.load(file)


def cautions(draft: Draft) -> tuple[Caution, ...]:
    """The safety notes of a job in the order of cautions.toml; the standing sentence closes them, if there are any."""
    found = [caution for caution, _ in _called_for(draft)]
    if found:
        found.append(Caution(text=_table()["standing"], because=_table()["standing_because"]))
    return tuple(found)


def for_the_top(draft: Draft) -> tuple[Caution, ...]:
    """The notes that a customer must see first: a bypassed safety, carbon monoxide, food, and their like."""
    return tuple(caution for caution, row in _called_for(draft) if row["top"])


def safety_follow_ups(draft: Draft) -> tuple[FollowUp, ...]:
    """A follow-up for each safety device that was bypassed and not put back in this job."""
    devices = next(row for row in _table()["caution"] if row["name"] == "bypassed safety")["actions"][0]["components"]
    restored = {
        action.component for action in draft.actions if action.action in RESTORED and action.status is ActionStatus.DONE
    }
    return tuple(
        FollowUp(text=f"Put the {action.component} back in the circuit.", evidence=action.evidence)
        for action in draft.actions
        if action.action is ActionKind.BYPASSED and action.component in devices and action.component not in restored
    )


def _called_for(draft: Draft) -> Iterator[tuple[Caution, Row]]:
    """Each caution whose triggers hold, with the fact that called for it."""
    for row in _table()["caution"]:
        fact = _fact(row, draft)
        if fact:
            yield Caution(text=row["text"], because=f"{wording.opening(fact)}: {row['because']}."), row


def _fact(row: Row, draft: Draft) -> str:
    """What in the job calls for a caution, in a few words; empty when nothing does."""
    for trigger in (_action, _finding, _check, _reading, _refrigerant, _machine, _words):
        fact = trigger(row, draft)
        if fact:
            return fact
    return ""


def _action(row: Row, draft: Draft) -> str:
    for want in row.get("actions", ()):
        for action in draft.actions:
            if (
                action.action in want["actions"]
                and action.component in want.get("components", (action.component,))
                and action.status in want.get("statuses", WORK)
            ):
                return f"{action.component} {action.action.value.replace('_', ' ')}"
    return ""


def _finding(row: Row, draft: Draft) -> str:
    for want in row.get("findings", ()):
        for finding in draft.findings:
            if (
                finding.status is not FindingStatus.RULED_OUT
                and finding.condition in want["conditions"]
                and finding.component in want.get("components", (finding.component,))
            ):
                return f"{finding.component} {finding.condition.value.replace('_', ' ')}"
    return ""


def _check(row: Row, draft: Draft) -> str:
    for want in row.get("checks", ()):
        for check in draft.checks:
            if check.rule in want["rules"] and check.verdict in want["verdicts"]:
                judged = draft.reading(check.readings[0])
                return f"{wording.named(judged)} {wording.said(judged)}"
    return ""


def _reading(row: Row, draft: Draft) -> str:
    for want in row.get("readings", ()):
        for reading in draft.readings:
            if reading.role is Role.MEASURED and reading.superseded_by is None and _reaches(reading, want):
                return f"{wording.named(reading)} {wording.said(reading)}"
    return ""


def _reaches(reading: Reading, want: Row) -> bool:
    """Whether a measured figure reaches a trigger."""
    if reading.quantity != want["quantity"] or reading.unit not in _same_units(want["units"]):
        return False
    if reading.subject not in want.get("subjects", (reading.subject,)) or reading.of not in want.get(
        "of", (reading.of,)
    ):
        return False
    ends = [value for value in (reading.value, reading.low, reading.high) if value is not None]
    return bool(ends) and convert(max(ends), reading.unit or "", want["units"][0]) >= want["from"]


def _same_units(units: Sequence[str]) -> tuple[str, ...]:
    """The units of a trigger and the smaller and larger ones of the same thing."""
    more = {"V": ("mV",), "A": ("mA",)}
    return (*units, *(other for unit in units for other in more.get(unit, ())))


def _refrigerant(row: Row, draft: Draft) -> str:
    for machine in (draft.equipment, *draft.other_equipment):
        said = machine.refrigerant.value if machine.refrigerant else ""
        known = refrigerant(said)
        if said and said in row.get("refrigerants", ()):
            return said
        if known and known.safety_class in row.get("classes", ()):
            return known.name
    return ""


def _machine(row: Row, draft: Draft) -> str:
    """By the kind of machine together with a word, or by where the machine stands."""
    location = draft.equipment.location.value.casefold() if draft.equipment.location else ""
    place = next((word for word in row.get("places", ()) if word in location), "")
    if place:
        return f"machine at: {draft.equipment.location.value if draft.equipment.location else place}"
    machine = draft.equipment.type.value if draft.equipment.type else ""
    if kinds(machine) & set(row.get("kinds_with", ())):
        return _word(row.get("words_with", ()), draft)
    return ""


def _words(row: Row, draft: Draft) -> str:
    return _word(row.get("words", ()), draft)


def _word(wanted: Sequence[str], draft: Draft) -> str:
    """The first fact of the job whose words hold one of those wanted; what was ruled out does not count."""
    texts = [f.text for f in draft.findings if f.status is not FindingStatus.RULED_OUT]
    texts += [a.text for a in draft.actions if a.status in WORK]
    texts += [p.description for p in draft.parts]
    texts += [draft.complaint.text] if draft.complaint else []
    return next((text for text in texts if any(_stands_in(word, text) for word in wanted)), "")


def _stands_in(word: str, text: str) -> bool:
    """Whether a word or the beginning of one stands in a text; `ladder` does not stand in `bladder`."""
    return re.search(rf"\b{re.escape(word)}", text, re.IGNORECASE) is not None
