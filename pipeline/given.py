"""What a person gave because nobody said it: `--given KEY=VALUE` and a `job.toml` beside the sources."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from extractors.facts import Equipment, Facts, Said, Visit
from pipeline.errors import InputError

FILE_NAME = "job.toml"
VISIT = tuple(Visit.model_fields)
EQUIPMENT = tuple(Equipment.model_fields)
ALTITUDE = ("altitude_ft", "altitude_m")
KEYS = (*VISIT, *EQUIPMENT, *ALTITUDE)
FT_PER_M = 1 / 0.3048
HIGHEST_FT = 20_000
"""Nobody services machines above the highest towns; more is a slip of the unit."""


@dataclass(frozen=True)
class Given:
    """Values by key for every job, and for single jobs by their name."""

    values: Mapping[str, str] = field(default_factory=dict)
    by_job: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def of(self, job: str) -> dict[str, str]:
        """The values that hold for the job of this name."""
        return {**self.values, **self.by_job.get(job, {})}


def _checked(key: str, value: object, where: str) -> tuple[str, str]:
    """Key and value as they are kept. Raises InputError for an unknown key or a value without meaning."""
    key = key.strip()
    if key not in KEYS:
        near = difflib.get_close_matches(key, KEYS, n=1)
        hint = f"Did you mean {near[0]}?" if near else f"It can be {', '.join(KEYS)}."
        raise InputError("unknown-field", f"{where} gives {key!r}, which is no field of a report.", hint)
    text = str(value).strip()
    if isinstance(value, (dict, list, bool)) or not text or not text.isprintable():
        raise InputError("unknown-field", f"{where} gives no plain value for {key}.", f'Write {key} = "the value".')
    if key in ALTITUDE:
        _altitude(key, text, where)
    return key, _designation(text) if key == "refrigerant" else text


def _designation(text: str) -> str:
    """A refrigerant's name as the standard writes it, `404a` as `R-404A`; one that is not known stays as it is."""
    from pipeline.checks.refrigerants import refrigerant

    known = refrigerant(text)
    return known.name if known is not None else text


def _altitude(key: str, text: str, where: str) -> float:
    """Feet above sea level. Raises InputError when the text is no number or no height of a town."""
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    feet = value * FT_PER_M if key == "altitude_m" else value
    if not -1500 <= feet <= HIGHEST_FT:
        raise InputError("unknown-field", f"{where} gives {key} as {text}.", "Give the height as a plain number.")
    return feet


def read_pairs(pairs: Iterable[str]) -> Given:
    """What `--given` holds. Raises InputError when a pair is not KEY=VALUE with a known key."""
    values: dict[str, str] = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals:
            raise InputError("unknown-field", f"--given {pair!r} has no equals sign.", "Write --given customer=NAME.")
        values.update([_checked(key, value, "--given")])
    return Given(values)


def read_file(path: Path) -> Given:
    """What a job.toml holds: keys for every job, and tables named like a job for that job alone.

    Raises InputError when it cannot be read as TOML or gives something that is no field.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise InputError(
            "bad-job-file", f"{path} cannot be read: {fault}.", 'Each line is a field and its value: site = "…".'
        ) from fault
    values: dict[str, str] = {}
    jobs: dict[str, dict[str, str]] = {}
    for key, value in data.items():
        if isinstance(value, dict):
            jobs[key] = dict(_checked(inner, one, f"{path} [{key}]") for inner, one in value.items())
        else:
            values.update([_checked(key, value, str(path))])
    return Given(values, jobs)


def beside(sources: Iterable[Path]) -> list[Path]:
    """The job.toml files in the folders of the sources, each once, in the order of the sources."""
    folders = dict.fromkeys(source.parent for source in sources)
    return [folder / FILE_NAME for folder in folders if (folder / FILE_NAME).is_file()]


def altitude_ft(values: Mapping[str, str]) -> float | None:
    """The height above sea level that was given, in ft, or None."""
    for key in ALTITUDE:
        if key in values:
            return _altitude(key, values[key], key)
    return None


def _with(said: Said | None, value: str) -> Said:
    """A given value over what was said. Where the two differ, the draft says so."""
    if said is None or said.value.casefold() == value.casefold():
        return Said(value=value, evidence=said.evidence if said else None, given=True)
    return Said(
        value=value,
        evidence=said.evidence,
        given=True,
        confirm=(f"does not fit: {said.value} was said",),
        because=(f"given by a person; {said.value} was said", *said.because),
    )


def apply(facts: Facts, values: Mapping[str, str]) -> Facts:
    """The facts with what was given in its places, marked as given."""
    visit = {key: _with(getattr(facts.visit, key), values[key]) for key in VISIT if key in values}
    machine = {key: _with(getattr(facts.equipment, key), values[key]) for key in EQUIPMENT if key in values}
    return facts.model_copy(
        update={
            "visit": facts.visit.model_copy(update=visit),
            "equipment": facts.equipment.model_copy(update=machine),
        }
    )
