"""Weighed refrigerant: what was taken out, what was added, what is the whole charge, and the rates that follow."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Literal

from extractors.facts import ActionKind, ActionStatus, Quantity, Reading, Role, Stage
from pipeline.checks.job import Job
from pipeline.checks.rule import Need

DATA = Path(__file__).with_name("charge.toml")
Kind = Literal["recovered", "added", "total", "lost"]
SUBJECT = "refrigerant charge"
DAYS_OF_A_YEAR = 365.0
LINES = ("line set", "liquid line", "suction line", "wiring")
SMALL_ADDITION = 0.5
"""An addition for line length is smaller than this share of the plate's charge."""

MASS = Need("mass", Quantity.MASS, "oz", (SUBJECT,))
PER_LENGTH = ("a foot", "per foot", "each foot", "a meter", "per meter")


def _whole(reading: Reading) -> bool:
    """Whether a rated amount is a charge and not what goes on top of it for each foot of line."""
    return not any(phrase in reading.evidence.quote.casefold() for phrase in PER_LENGTH)


PLATE = Need(
    "plate", Quantity.MASS, "oz", (SUBJECT, "unit", "system"), (Role.RATED,), missing="nameplate charge", where=_whole
)


@cache
def _words() -> dict[str, list[str]]:
    with DATA.open("rb") as file:
        return tomllib.load(file)


def kind_of(job: Job, reading: Reading) -> Kind | None:
    """What a weighed amount is; None when the words do not say, so that nothing is added up by a guess."""
    text = f" {reading.place or ''} {job.context(reading)} ".casefold()
    found = [kind for kind in ("recovered", "lost", "added", "total") if any(w in text for w in _words()[kind])]
    if len(found) == 1:
        return found[0]  # type: ignore[return-value]
    own = f" {reading.place or ''} {reading.evidence.quote} ".casefold()
    narrow = [kind for kind in found if any(w in own for w in _words()[kind])]
    if len(narrow) == 1:
        return narrow[0]  # type: ignore[return-value]
    if found:
        return None
    return _by_story(job, reading)


def _by_story(job: Job, reading: Reading) -> Kind | None:
    """What the work that was done makes of an amount: after an evacuation a charge is the whole charge."""
    done = {a.action for a in job.draft.actions if a.status is ActionStatus.DONE}
    if reading.stage is Stage.AS_FOUND and ActionKind.RECOVERED in done:
        return "recovered"
    if reading.stage is Stage.AS_LEFT and {ActionKind.EVACUATED, ActionKind.CHARGED} <= done:
        return "total"
    if reading.stage is not Stage.AS_FOUND and ActionKind.CHARGED in done and not done & {
        ActionKind.EVACUATED, ActionKind.RECOVERED,
    }:  # fmt: skip
        return "added"
    return None


def weighed(job: Job, kind: Kind) -> tuple[Reading, ...]:
    """The weighed amounts of one kind."""
    masses = [r for r in job.of(Quantity.MASS, (Role.MEASURED,)) if MASS.accepts(r)]
    return tuple(r for r in masses if kind_of(job, r) == kind)


def line_additions(job: Job) -> tuple[Reading, ...]:
    """Amounts that were said to go on top of the plate's charge for the length of the lines."""
    phrases = _words()["line_addition"]
    found = []
    for reading in job.of(Quantity.MASS, (Role.RATED, Role.EXPECTED, Role.MEASURED)):
        text = f"{reading.place or ''} {job.context(reading)}".casefold()
        if _whole(reading) and (reading.subject in LINES or any(phrase in text for phrase in phrases)):
            found.append(reading)
    return tuple(found)


def lines_matter(job: Job) -> bool:
    """Whether the job speaks of the length of its lines, so that the plate's charge is not the whole."""
    return any(
        r.subject in LINES or "line" in r.evidence.quote.casefold()
        for r in job.of(Quantity.LENGTH, (Role.MEASURED, Role.RATED, Role.EXPECTED))
    )


def annualized_pct(added: float, full: float, days: float) -> float:
    """Leak rate in percent a year by annualizing: the amount added, brought from the days since the last to a year.

    `added` and `full` in one unit. Source: definitions of 40 CFR 82.152 and 84.102 (from secondary pages).
    """
    return added / full * DAYS_OF_A_YEAR / min(days, DAYS_OF_A_YEAR) * 100


def rolling_pct(added: float, full: float) -> float:
    """Leak rate in percent as a rolling average: all that was added in the last 365 days, of the full charge."""
    return added / full * 100
