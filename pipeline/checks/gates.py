"""Figures that cannot be right, or that a slip of the ear would explain: they ask for a second listen.

Nothing is dropped or changed. Physics, the plate, the other stage and the other leg say what does not fit; a figure
that would fit stands beside it as an alternative.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from extractors.facts import Alternative, Qualifier, Reading
from extractors.units import convert
from pipeline.checks import wording
from pipeline.checks.job import Job
from pipeline.checks.rule import convertible
from pipeline.draft import Draft

DATA = Path(__file__).with_name("gates.toml")


@dataclass(frozen=True)
class Flag:
    """A reason to listen to a reading again: one of the data's reasons, and after a colon what does not fit."""

    reading: str
    reason: str
    alternatives: tuple[Alternative, ...] = ()


Gate = Callable[[Job], Iterator[Flag]]


@cache
def settings() -> dict[str, Any]:
    """The bounds of gates.toml."""
    with DATA.open("rb") as file:
        return tomllib.load(file)


def ask(job: Job, answered: Mapping[str, Collection[str]]) -> Draft:
    """The job's draft with the reasons and alternatives of all gates added to its readings and its refrigerant.

    What a person has `answered` (reading id: kinds of reasons) is not asked again.
    """
    from pipeline.checks.gates_cross import GATES, refrigerant_doubt

    flags: dict[str, list[Flag]] = {}
    for gate in (usual, *GATES):
        for flag in gate(job):
            if flag.reason.split(":")[0] in answered.get(flag.reading, ()):
                continue
            flags.setdefault(flag.reading, []).append(flag)
    draft = job.draft
    if flags:
        readings = tuple(_with(reading, flags.get(reading.id, ())) for reading in draft.readings)
        draft = draft.model_copy(update={"readings": readings})
    doubt = refrigerant_doubt(job)
    said = draft.equipment.refrigerant
    if doubt and said and not any(reason.startswith("does not fit") for reason in said.confirm):
        said = said.model_copy(update={"confirm": (*said.confirm, doubt)})
        draft = draft.model_copy(update={"equipment": draft.equipment.model_copy(update={"refrigerant": said})})
    return draft


def _with(reading: Reading, flags: Iterable[Flag]) -> Reading:
    """A reading with new reasons; one kind of reason stands once, and the words of the first are kept."""
    confirm, alternatives = list(reading.confirm), list(reading.alternatives)
    for flag in flags:
        kind = flag.reason.split(":")[0]
        if all(reason.split(":")[0] != kind for reason in confirm):
            confirm.append(flag.reason)
        alternatives += [other for other in flag.alternatives if other not in alternatives]
    if confirm == list(reading.confirm) and alternatives == list(reading.alternatives):
        return reading
    return reading.model_copy(update={"confirm": tuple(confirm), "alternatives": tuple(alternatives)})


def usual(job: Job) -> Iterator[Flag]:
    """Figures outside the bounds of what is ever met, by quantity and subject. Zero is a finding and no slip."""
    for reading in job.readings:
        rows = _rows().get(reading.quantity, ())
        values = [v for v in (reading.value, reading.low, reading.high) if v is not None]
        for row in rows:
            if not _concerns(row, job, reading) or not any(values):
                continue
            shown = [convert(value, reading.unit or "", row["unit"]) for value in values]
            if not all(any(low <= value <= high for low, high in row["within"]) for value in shown):
                yield Flag(reading.id, f"outside usual range: {wording.said(reading)} is {row['say']}")
                break


@cache
def _rows() -> dict[str, list[dict[str, Any]]]:
    """The rows of usual figures by quantity."""
    found: dict[str, list[dict[str, Any]]] = {}
    for row in settings()["usual"]:
        found.setdefault(row["quantity"], []).append(row)
    return found


def _concerns(row: dict[str, Any], job: Job, reading: Reading) -> bool:
    """Whether a row is about this reading."""
    if not convertible(reading, row["unit"]):
        return False
    if reading.role not in row.get("roles", ("measured",)) or reading.unit not in row.get("units", (reading.unit,)):
        return False
    if reading.subject not in row.get("subjects", (reading.subject,)) or reading.of not in row.get("of", (reading.of,)):
        return False
    if set(reading.qualifiers) & {Qualifier(name) for name in row.get("without", ())}:
        return False
    refrigerant = job.refrigerant_of(reading) if "classes" in row or "not_classes" in row else None
    if "classes" in row and (refrigerant is None or refrigerant.safety_class not in row["classes"]):
        return False
    if refrigerant and refrigerant.safety_class in row.get("not_classes", ()):
        return False
    kinds = job.kinds_of(reading)
    return not kinds & set(row.get("not_kinds", ())) and (not row.get("kinds") or bool(kinds & set(row["kinds"])))
