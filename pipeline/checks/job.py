"""What the rules look at: the live readings of one job, its machines, refrigerant, altitude and story."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path

from extractors.facts import (
    Action,
    ActionKind,
    ActionStatus,
    Equipment,
    Evidence,
    PartStatus,
    Quantity,
    Reading,
    Role,
    Stage,
)
from pipeline.checks.air import atmosphere_psia
from pipeline.checks.limits import RuleLimits, all_limits
from pipeline.checks.refrigerants import Refrigerant, named_in, refrigerant
from pipeline.draft import Draft, Trend

KINDS = Path(__file__).with_name("kinds.toml")
Position = tuple[int, float]
"""Where something was said: the recording and the second or line in it."""
AROUND = 40
"""Characters of the transcript on either side of a figure that are looked at for what it is."""
WORDS = re.compile(r"[a-z0-9]+")


@dataclass(frozen=True)
class Job:
    """One draft, arranged for the rules. Readings that the speaker corrected are not in it."""

    draft: Draft
    altitude_ft: float | None = None
    limits: Mapping[str, RuleLimits] = field(default_factory=all_limits)
    trends: tuple[Trend, ...] = ()

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """The readings that stand, in the order they were said."""
        return tuple(reading for reading in self.draft.readings if reading.superseded_by is None)

    @cached_property
    def index(self) -> dict[str, int]:
        """The order of each reading by id."""
        return {reading.id: place for place, reading in enumerate(self.readings)}

    @cached_property
    def _sorted(self) -> dict[tuple[Quantity, Role], tuple[Reading, ...]]:
        groups: dict[tuple[Quantity, Role], list[Reading]] = {}
        for reading in self.readings:
            groups.setdefault((reading.quantity, reading.role), []).append(reading)
        return {key: tuple(group) for key, group in groups.items()}

    def of(self, quantity: Quantity, roles: Iterable[Role]) -> tuple[Reading, ...]:
        """Readings of a quantity in the given roles, role after role."""
        return tuple(reading for role in roles for reading in self._sorted.get((quantity, role), ()))

    @cached_property
    def atmosphere(self) -> float:
        """Atmospheric pressure in psia at the site's altitude, sea level when that is not known."""
        return atmosphere_psia(self.altitude_ft)

    @cached_property
    def machines(self) -> tuple[Equipment, ...]:
        """The machines of the job, the main one first."""
        return (self.draft.equipment, *self.draft.other_equipment)

    def machine_of(self, reading: Reading) -> Equipment:
        """The machine that a reading's place names; otherwise the main one."""
        place = words(reading.place)
        if place and len(self.machines) > 1:
            named = [m for m in self.machines[1:] if place & words(_text(m.type), _text(m.location))]
            main = words(_text(self.machines[0].type), _text(self.machines[0].location))
            if len(named) == 1 and not place & main:
                return named[0]
        return self.machines[0]

    def kinds_of(self, reading: Reading) -> frozenset[str]:
        """The kinds of machine that the reading's machine is; empty when nobody named it."""
        machine = self.machine_of(reading)
        return kinds(_text(machine.type))

    @cached_property
    def kinds(self) -> frozenset[str]:
        """The kinds of the main machine."""
        return kinds(_text(self.draft.equipment.type))

    def elsewhere(self, reading: Reading) -> bool:
        """Whether a place names another kind of machine than the job's, as when the walk-in next door is looked at."""
        there = kinds(reading.place or "") - {"refrigeration", "rack", "receiver"}
        machine = self.machine_of(reading)
        return bool(there) and machine is self.machines[0] and bool(self.kinds) and not there & self.kinds

    @cached_property
    def _changed(self) -> tuple[frozenset[str], frozenset[str]]:
        """Ids of settings before and after the change of a setting in this job."""
        actions = self.draft.actions
        return frozenset(a.was for a in actions if a.was), frozenset(a.now for a in actions if a.now)

    def setting_holds(self, setting: Reading, stage: Stage | None) -> bool:
        """Whether a setting can have been in force at a stage; ratings always are."""
        if setting.role is not Role.SETPOINT or stage is None:
            return True
        was, now = self._changed
        if stage is Stage.AS_FOUND:
            return setting.stage is not Stage.AS_LEFT and setting.id not in now
        if setting.id in was:
            return False
        settings = [o for o in self.of(setting.quantity, (Role.SETPOINT,)) if o.subject == setting.subject]
        if not any(other.stage is Stage.AS_LEFT for other in settings):
            return True
        old = {(o.value, o.low, o.high) for o in settings if o.stage is Stage.AS_FOUND or o.id in was}
        return setting.stage is Stage.AS_LEFT or (setting.value, setting.low, setting.high) not in old

    @cached_property
    def charged_with(self) -> str | None:
        """The refrigerant that a charge or a part names, when it is only one: a conversion overrides the plate."""
        texts = [a.text for a in self.draft.actions if a.action is ActionKind.CHARGED and a.status is ActionStatus.DONE]
        texts += [
            f"{p.description} {p.rating or ''}"
            for p in self.draft.parts
            if p.status is PartStatus.USED and p.component == "refrigerant charge"
        ]
        named = {name for text in texts for name in named_in(text)}
        return named.pop() if len(named) == 1 else None

    def refrigerant_of(self, reading: Reading) -> Refrigerant | None:
        """The refrigerant in the circuit of a reading; None when nobody said it or two are possible."""
        said = {m.refrigerant.value for m in self.machines if m.refrigerant}
        known = {known.name for known in map(refrigerant, said) if known}
        if len(said) != len(known) or not known:
            return refrigerant(self.charged_with) if not said else None
        if len(known) == 1:
            return refrigerant(self.charged_with or known.pop())
        machine = self.machine_of(reading)
        if machine is self.machines[0]:
            return None
        return refrigerant(_text(machine.refrigerant))

    @cached_property
    def refrigerant_in_doubt(self) -> bool:
        """Whether the refrigerant itself waits for somebody to confirm it."""
        return any(m.refrigerant and m.refrigerant.confirm for m in self.machines)

    def position(self, evidence: Evidence) -> Position | None:
        """Where something was said; None for text without times or lines."""
        place = evidence.start if evidence.start is not None else evidence.line
        return None if place is None else (evidence.recording, float(place))

    @cached_property
    def _segments(self) -> dict[tuple[int, float], str]:
        """The texts of the transcript by recording and the line or second at which they begin."""
        texts = {}
        for segment in self.draft.transcript.segments:
            for place in (segment.start, segment.line):
                if place is not None:
                    texts[segment.recording, float(place)] = segment.text
        return texts

    def context(self, reading: Reading) -> str:
        """The words of a figure with a few before and after it, as far as they stand in one piece of the transcript."""
        quote = reading.evidence.quote
        spot = self.position(reading.evidence)
        if spot is None:
            return quote
        begins = [place for place in self._segments if place[0] == spot[0] and place[1] <= spot[1]]
        for place in sorted(begins, reverse=True)[:2]:
            text = self._segments[place]
            at = text.casefold().find(quote.casefold())
            if at >= 0:
                return text[max(0, at - AROUND) : at + len(quote) + AROUND]
        return quote

    @cached_property
    def new_parts(self) -> dict[str, tuple[Action, ...]]:
        """Components that were replaced or newly fitted in this job, with the actions."""
        done: dict[str, list[Action]] = {}
        for action in self.draft.actions:
            if action.action in (ActionKind.REPLACED, ActionKind.INSTALLED) and action.status is ActionStatus.DONE:
                done.setdefault(action.component, []).append(action)
        return {component: tuple(actions) for component, actions in done.items()}

    @cached_property
    def passing(self) -> frozenset[str]:
        """Ids of readings that were only points on the way of a series, not where it ended."""
        return frozenset(point.reading for trend in self.trends for point in trend.points[:-1])


def _text(said: object) -> str:
    """The value of a said field, empty when there is none."""
    return str(getattr(said, "value", "") or "")


def words(*texts: str | None) -> frozenset[str]:
    """The words and numbers of some texts, lower case."""
    return frozenset(word for text in texts if text for word in WORDS.findall(text.casefold()))


@cache
def kinds(machine_type: str) -> frozenset[str]:
    """The kinds that a type of machine is, by the words of kinds.toml."""
    text = f" {machine_type.casefold()} "
    table = _kinds()
    found = {name for name, row in table.items() if any(phrase in text for phrase in row["say"])}
    for name in tuple(found):
        found.update(table[name].get("implies", ()))
    return frozenset(found)


@cache
def _kinds() -> dict[str, dict[str, list[str]]]:
    with KINDS.open("rb") as file:
        return tomllib.load(file)
