"""Which figure belongs to which: the rating to its measurement, the temperature to its pressure, leg to leg.

Two figures that are both possible are never decided by a guess: the match is then ambiguous and says so.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from extractors.facts import Action, Quantity, Reading, Role, Stage
from pipeline.checks.job import Job, Position, words

DATA = Path(__file__).with_name("pairing.toml")
TERMINALS = re.compile(r"[a-z]\d?\s*(?:to|-|/|and)\s*[a-z]\d?")
"""`A to B`, `T1-T2`, `c/s`: two ends of one thing, which tell no machine from another."""
LETTER_NAMES = 2
"""A single letter names a part (`element b`) only in so short a place; elsewhere it is an article."""
NEAR_S = 90.0
"""Two figures said within this many seconds may be of one moment even if only one says which stage."""
NEAR_LINES = 5.0
LEAST_RUN = 3
Accepts = Callable[[Reading], bool]


@dataclass(frozen=True)
class Match:
    """The figure that belongs to another; or the several that could, of which none may be chosen."""

    reading: Reading | None = None
    ambiguous: tuple[Reading, ...] = ()
    new_part: bool = False
    """The part was replaced and nobody said this figure of the new one."""


@cache
def _data() -> dict[str, Any]:
    with DATA.open("rb") as file:
        return tomllib.load(file)


@cache
def identity(place: str | None) -> frozenset[str]:
    """The words of a place that tell one machine or part from another: `left one` gives left, 1."""
    point, number = set(_data()["point"]), _data()["number"]
    said = words(place)
    if leg(place) or TERMINALS.fullmatch((place or "").casefold().strip()):
        return frozenset()
    letters = len(said) <= LETTER_NAMES
    return frozenset(
        number.get(word, word) for word in said if word not in point and (letters or len(word) > 1 or word.isdigit())
    )


@cache
def leg(place: str | None) -> str | None:
    """L1, L2 or L3 when a place names a leg of the supply, however it is said; else None."""
    text = (place or "").casefold().replace("-", " ").split()
    table = _data()["leg"]
    if len(text) == 1 and text[0] in ("l1", "l2", "l3", "t1", "t2", "t3"):
        return str(table[text[0]])
    if len(text) == 2:
        first, second = text
        if first in _data()["leg_words"] and second in table:
            return str(table[second])
        if second in _data()["leg_words"] and first in table:
            return str(table[first])
    return None


def leg_of(reading: Reading) -> str | None:
    """The leg of a reading, by its subject or its place."""
    return reading.subject if reading.subject in ("L1", "L2", "L3") else leg(reading.place)


def same_place(one: Reading, other: Reading) -> bool:
    """Whether two places may be one: equal names, or one that names nothing."""
    here, there = identity(one.place), identity(other.place)
    return not here or not there or bool(here & there)


def unsteady(reading: Reading) -> bool:
    """Whether the figure is of a moment at which the machine was in no steady state."""
    text = f"{reading.place or ''} {reading.evidence.quote}".casefold()
    return any(phrase in text for phrase in _data()["unsteady"])


def near(job: Job, one: Reading, other: Reading) -> bool:
    """Whether two figures were said close together; true where nobody knows when."""
    here, there = job.position(one.evidence), job.position(other.evidence)
    if here is None or there is None:
        return True
    reach = NEAR_S if one.evidence.start is not None else NEAR_LINES
    return here[0] == there[0] and abs(here[1] - there[1]) <= reach


def same_moment(job: Job, one: Reading, other: Reading) -> bool:
    """Whether two measurements may be taken together: of one stage, or said close together where a stage is missing."""
    if one.stage is not None and other.stage is not None:
        return one.stage is other.stage
    return (one.stage is other.stage and not job.draft.actions) or near(job, one, other)


def companion(job: Job, anchor: Reading, candidates: Iterable[Reading]) -> Match:
    """The measurement taken together with another: the nearest of the same stage and place."""
    fitting = [
        other
        for other in candidates
        if other is not anchor and same_place(anchor, other) and same_moment(job, anchor, other)
    ]
    if not fitting:
        return Match()
    exact = [other for other in fitting if identity(other.place) & identity(anchor.place)] or fitting
    if len({figures(other) for other in exact}) == 1:
        return Match(exact[0])
    close = [other for other in exact if near(job, anchor, other)]
    if not close:
        return Match(ambiguous=tuple(exact))
    return Match(min(close, key=lambda other: _distance(job, anchor, other)))


def reference(job: Job, anchor: Reading, candidates: Sequence[Reading]) -> Match:
    """The rated, set or expected figure that a measurement is to be held against.

    The place decides first, then the story (the old part's marking against what was found, the new part's against
    what was left), then the stage. What is still several different figures after that is ambiguous.
    """
    fitting = [other for other in candidates if same_place(anchor, other) and job.setting_holds(other, anchor.stage)]
    exact = [other for other in fitting if identity(other.place) & identity(anchor.place)]
    fitting = exact or ([] if job.elsewhere(anchor) else fitting)
    if not fitting:
        return Match()
    actions = [a for a in job.new_parts.get(anchor.subject, ()) if _concerns(a, anchor)]
    if actions:
        fitting = _of_the_part(job, anchor, fitting, actions)
        if not fitting:
            return Match(new_part=True)
    settings = all(other.role is Role.SETPOINT for other in fitting)
    for narrower in (
        [other for other in fitting if other.stage is anchor.stage and anchor.stage is not None],
        [other for other in fitting if other.stage is None],
    ):
        if narrower and not settings and len({figures(other) for other in fitting}) > 1:
            fitting = narrower
    if len({figures(other) for other in fitting}) > 1:
        return Match(ambiguous=tuple(fitting))
    return Match(fitting[0])


def figures(reading: Reading) -> tuple[float | None, float | None, float | None, str | None]:
    """The figure of a reading, to tell equal ones from different ones."""
    return (reading.value, reading.low, reading.high, reading.unit)


def _distance(job: Job, one: Reading, other: Reading) -> tuple[float, int]:
    """How far apart two readings were said; the order decides where times are equal or missing."""
    here, there = job.position(one.evidence), job.position(other.evidence)
    apart = abs(here[1] - there[1]) if here and there and here[0] == there[0] else 0.0
    return (apart, abs(job.index.get(one.id, 0) - job.index.get(other.id, 0)))


def _concerns(action: Action, anchor: Reading) -> bool:
    """Whether an action is about the part at the reading's place."""
    here, there = identity(action.place), identity(anchor.place)
    return not here or not there or bool(here & there)


def _of_the_part(job: Job, anchor: Reading, candidates: Sequence[Reading], actions: Sequence[Action]) -> list[Reading]:
    """Of several ratings, those of the part that the measurement was taken on: the old one or the new one."""
    on_new = _is_new(job, anchor, _first(job, actions))
    if on_new is None:
        return list(candidates)
    return [other for other in candidates if is_new_part(job, other, actions) in (None, on_new)]


def is_new_part(job: Job, rating: Reading, actions: Sequence[Action]) -> bool | None:
    """Whether a rating is of the part that these actions put in; None when nothing tells.

    The new part is often named before it is fitted: a second, different rating that comes after the old part was
    measured is the new part's, when the old part's was said before that.
    """
    fitted = _first(job, actions)
    new = _is_new(job, rating, fitted)
    spot = job.position(rating.evidence)
    if new is not False or rating.stage is not None or spot is None:
        return new
    mine = [r for r in job.of(rating.quantity, (Role.MEASURED, rating.role)) if r.subject == rating.subject]
    placed = [(job.position(r.evidence), r) for r in mine]
    measured = [at for at, r in placed if at and at < spot and r.role is Role.MEASURED and r.stage is not Stage.AS_LEFT]
    earlier = [
        at for at, r in placed if at and measured and at < max(measured) and r.role is rating.role and r is not rating
    ]
    different = [r for at, r in placed if at in earlier and r.role is rating.role and figures(r) != figures(rating)]
    return bool(different)


def _first(job: Job, actions: Sequence[Action]) -> Position | None:
    """Where the first of some actions was told."""
    changed = [spot for spot in (job.position(a.evidence) for a in actions) if spot is not None]
    return min(changed) if changed else None


def _is_new(job: Job, reading: Reading, changed: Position | None) -> bool | None:
    """Whether a figure comes after the change of a part, by its stage or its place in the talk."""
    if reading.stage is Stage.AS_LEFT:
        return True
    if reading.stage is Stage.AS_FOUND:
        return False
    spot = job.position(reading.evidence)
    if spot is None or changed is None or spot[0] != changed[0] or spot == changed:
        return None
    return spot > changed


def on_the_way(job: Job, readings: Sequence[Reading]) -> frozenset[str]:
    """Ids of temperatures that were only passed through: a later one of the same place says where it ended.

    What was found before the repair stands for itself, unless it is a point of a series.
    """
    passed = set(job.passing) | _run_up(readings)
    for place, reading in enumerate(readings):
        later = (other for other in readings[place + 1 :] if other.stage is not Stage.AS_FOUND)
        if reading.stage is not Stage.AS_FOUND and any(same_place(reading, other) for other in later):
            passed.add(reading.id)
    return frozenset(passed)


def _run_up(readings: Sequence[Reading]) -> set[str]:
    """Ids of as-found temperatures that rise or fall without a break towards the last of at least three."""
    passed: set[str] = set()
    groups: dict[frozenset[str], list[Reading]] = {}
    for reading in readings:
        if reading.stage is Stage.AS_FOUND and reading.value is not None:
            groups.setdefault(identity(reading.place), []).append(reading)
    for group in groups.values():
        values = [reading.value or 0.0 for reading in group]
        if len(group) >= LEAST_RUN and values in (sorted(set(values)), sorted(set(values), reverse=True)):
            passed.update(reading.id for reading in group[:-1])
    return passed


def references(job: Job, quantity: Quantity, roles: tuple[Role, ...], accepts: Accepts) -> list[Reading]:
    """The candidates for `reference` in the first of the roles that has any."""
    for role in roles:
        found = [reading for reading in job.of(quantity, (role,)) if accepts(reading)]
        if found:
            return found
    return []


def leg_sets(job: Job, readings: Iterable[Reading]) -> list[dict[str, Reading]]:
    """Readings of the legs of one machine, moment after moment: L1, L2 and L3 each once a set.

    A leg that comes a second time begins the next set. Legs said without a machine belong to the unit.
    """
    sets: list[tuple[object, dict[str, Reading]]] = []
    for reading in readings:
        name = leg_of(reading) or (reading.subject if "-" in reading.subject else None)
        if name is None:
            continue
        machine = "" if reading.subject == name else reading.subject
        key = (machine, reading.stage, identity(reading.place))
        current = next((legs for other, legs in reversed(sets) if other == key), None)
        if current is None or name in current or not near(job, next(reversed(current.values())), reading):
            sets.append((key, {name: reading}))
        else:
            current[name] = reading
    return [legs for _, legs in sets]
