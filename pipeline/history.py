"""What a machine's past says: which machine a draft is about, how its figures went, what breaks with them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median
from typing import Protocol

from extractors.facts import ActionKind, ActionStatus, Quantity, Reading, Role, Said
from pipeline.draft import Draft

SOUND_ALIKE = str.maketrans("OQIL5B2G", "00118826")
"""Letters and digits of plates that are misread or misheard for each other. From experience, no source."""

BREAK_SHARE = 0.2
BREAK_TIMES = 3.0
FEWEST_BEFORE = 2
"""A figure breaks with the past when it leaves the median of at least two earlier visits by more than a fifth and by
more than three times their spread. Common practice, no source: it asks for a look and judges nothing."""


@dataclass(frozen=True)
class Plate:
    """What a machine is known by; empty where nobody said it."""

    type: str = ""
    make: str = ""
    model: str = ""
    serial: str = ""
    refrigerant: str = ""
    site: str = ""
    location: str = ""
    customer: str = ""

    @property
    def tells(self) -> bool:
        """Whether it says enough to know the machine again."""
        return bool(self.serial or self.model or (self.type and (self.site or self.location)))


@dataclass(frozen=True)
class Likeness:
    """How two plates compare. `same`: taken for one machine. `why`: else the reason to ask a person, or empty."""

    same: bool = False
    why: str = ""
    other_serial: bool = False


def plate_of(draft: Draft) -> Plate:
    """What a draft says of its machine."""
    machine, visit = draft.equipment, draft.visit
    return Plate(
        type=_word(machine.type),
        make=_word(machine.make),
        model=_word(machine.model),
        serial=_word(machine.serial),
        refrigerant=_word(machine.refrigerant),
        site=_word(visit.site),
        location=_word(machine.location),
        customer=_word(visit.customer),
    )


def _word(said: Said | None) -> str:
    return said.value.strip() if said is not None else ""


def serial_key(serial: str) -> str:
    """A serial without spaces, dashes and case."""
    return "".join(letter for letter in serial.upper() if letter.isalnum())


def likeness(known: Plate, wanted: Plate) -> Likeness:
    """Whether two plates are of one machine.

    Only the same serial is taken for the same machine without asking, and only while model, make and type do not
    speak against it. A serial that is one letter off, or the same model and type at the same place, is a question.
    """
    mine, other = serial_key(known.serial), serial_key(wanted.serial)
    against = [
        name
        for name in ("model", "make", "type")
        if getattr(known, name) and getattr(wanted, name) and not _alike(getattr(known, name), getattr(wanted, name))
    ]
    if mine and other:
        if mine == other and len(mine) >= 4:
            if "model" not in against:
                return Likeness(same=True)
            return Likeness(why=f"The same serial {known.serial}, but another {against[0]}.")
        if len(mine) >= 5 and _one_off(mine, other) and "model" not in against:
            return Likeness(
                why=f"Serial {known.serial} there, {wanted.serial} here: one letter apart.", other_serial=True
            )
        return Likeness(other_serial=True)
    place = _alike(known.site, wanted.site) or (not known.site and not wanted.site and bool(known.location))
    if (
        not place
        or against
        or not (_alike(known.location, wanted.location) or not known.location or not wanted.location)
    ):
        return Likeness()
    shared = [name for name in ("model", "make", "type") if getattr(known, name) and getattr(wanted, name)]
    if "model" in shared or "type" in shared:
        return Likeness(why=f"The same {' and '.join(shared)} at {known.site or known.location}.")
    return Likeness()


def _alike(one: str, other: str) -> bool:
    return bool(one) and serial_key(one) == serial_key(other)


def _one_off(one: str, other: str) -> bool:
    """Whether two serials sound alike or differ in one letter: another, one more, or two changed places."""
    if one.translate(SOUND_ALIKE) == other.translate(SOUND_ALIKE):
        return True
    if len(one) == len(other):
        apart = [i for i, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
        if len(apart) == 1:
            return True
        return len(apart) == 2 and one[apart[0]] == other[apart[1]] and one[apart[1]] == other[apart[0]]
    short, long = sorted((one, other), key=len)
    return len(long) - len(short) == 1 and any(long[:i] + long[i + 1 :] == short for i in range(len(long)))


class Figure(Protocol):
    """One figure of the past, as the store keeps it. `day` is ISO 8601."""

    job_id: str
    day: str
    quantity: str
    subject: str
    place: str
    role: str
    stage: str
    qualifiers: str
    value: float
    unit: str
    doubtful: bool


@dataclass(frozen=True, order=True)
class Point:
    """One figure of a series. `stage` is as_found, as_left or empty; `doubtful`: nobody has heard it again yet."""

    day: str
    job_id: str
    value: float
    stage: str = ""
    doubtful: bool = False


@dataclass(frozen=True)
class Series:
    """One thing measured over the years, the oldest point first."""

    subject: str
    place: str
    quantity: str
    unit: str
    points: tuple[Point, ...]
    rated: float | None = None
    """The rated figure of the same thing, where only one was said."""

    @property
    def visits(self) -> int:
        """On how many visits it was measured."""
        return len({point.job_id for point in self.points})


UNUSUAL = frozenset({"inrush", "locked_rotor", "peak"})


def series_of(figures: Iterable[Figure]) -> list[Series]:
    """The measured figures of a machine by what they are about, those of most visits first.

    Readings in other units than others of their kind make their own series. What was put in of refrigerant is an
    account and no series.
    """
    points: dict[tuple[str, str, str, str], list[Point]] = {}
    rated: dict[tuple[str, str, str, str], set[float]] = {}
    for figure in figures:
        key = (figure.subject, figure.place, figure.quantity, figure.unit)
        if key[0] == "refrigerant charge" and key[2] == Quantity.MASS:
            continue
        if figure.role == Role.MEASURED and not UNUSUAL & set(figure.qualifiers.split()):
            point = Point(figure.day, figure.job_id, figure.value, figure.stage, figure.doubtful)
            points.setdefault(key, []).append(point)
        elif figure.role == Role.RATED:
            rated.setdefault(key, set()).add(figure.value)
    made = [
        Series(*key, points=tuple(sorted(said)), rated=next(iter(rated[key])) if len(rated.get(key, ())) == 1 else None)
        for key, said in points.items()
    ]
    return sorted(made, key=lambda series: (-series.visits, series.subject, series.place, series.quantity))


def breaks(draft: Draft, figures: Iterable[Figure], job_id: str, day: str) -> dict[str, str]:
    """Readings of a draft that break with the machine's past: a plain sentence by reading id."""
    before: dict[tuple[str, ...], dict[str, float]] = {}
    for figure in figures:
        if figure.job_id != job_id and figure.day <= day and figure.role == Role.MEASURED:
            key = (figure.subject, figure.place, figure.quantity, figure.unit, figure.stage)
            before.setdefault(key, {})[figure.job_id] = figure.value
    told: dict[str, str] = {}
    for reading in draft.readings:
        if reading.value is None or reading.role is not Role.MEASURED or reading.superseded_by is not None:
            continue
        key = (reading.subject, reading.place or "", reading.quantity, reading.unit or "", reading.stage or "")
        values = list(before.get(key, {}).values())
        if len(values) >= FEWEST_BEFORE and _breaks(reading.value, values):
            usual = f"{min(values):g} to {max(values):g}" if min(values) != max(values) else f"{values[0]:g}"
            told[reading.id] = f"On {len(values)} earlier visits it was {usual}: listen again, or look why."
    return told


def _breaks(value: float, values: Sequence[float]) -> bool:
    middle = median(values)
    away = abs(value - middle)
    spread = median([abs(other - middle) for other in values])
    return away > BREAK_TIMES * spread and away > BREAK_SHARE * max(abs(middle), 1e-9)


@dataclass(frozen=True)
class Charge:
    """Refrigerant put in or taken out on one visit, in pounds; `open` says what makes the figure doubtful."""

    day: str
    job_id: str
    added_lb: float = 0.0
    recovered_lb: float = 0.0
    open: str = ""


LB = {"lb": 1.0, "oz": 1 / 16, "kg": 1 / 0.45359237, "g": 0.001 / 0.45359237}


def charge_of(draft: Draft, job_id: str, day: str) -> Charge | None:
    """What a visit did to the machine's charge, from its readings and actions; None when it did nothing to it.

    A mass counts as added or recovered only where one of the two actions was done and the other was not; with both,
    each mass goes to the action whose words stand nearest before or around it, and the entry is marked open.
    """
    done = {
        action.action
        for action in draft.actions
        if action.status is ActionStatus.DONE and action.action in (ActionKind.CHARGED, ActionKind.RECOVERED)
    }
    masses = [r for r in draft.readings if _is_charge(r)]
    if not done:
        return None
    if not masses:
        return Charge(day, job_id, open="refrigerant was handled and no weight was said")
    total = sum(_pounds(reading) for reading in masses)
    if len(done) == 2:
        return Charge(day, job_id, open=f"{total:.2f} lb were named, both added and recovered: see the report")
    doubt = "the weight asks for a second listen" if any(r.confirm for r in masses) else ""
    if len(masses) > 1:
        doubt = "several weights were said and added up"
    if ActionKind.CHARGED in done:
        return Charge(day, job_id, added_lb=total, open=doubt)
    return Charge(day, job_id, recovered_lb=total, open=doubt)


def _is_charge(reading: Reading) -> bool:
    return (
        reading.subject == "refrigerant charge"
        and reading.quantity is Quantity.MASS
        and reading.role is Role.MEASURED
        and reading.superseded_by is None
        and reading.value is not None
        and reading.unit in LB
    )


def _pounds(reading: Reading) -> float:
    return (reading.value or 0.0) * LB[reading.unit or "lb"]


def leak_rate(charges: Sequence[Charge], full_lb: float | None) -> float | None:
    """Percent of the full charge lost a year, by the latest addition; None when it cannot be said.

    The annualizing method of 40 CFR 82.152 (from memory): pounds added over pounds of full charge, times 365 over the
    days since refrigerant was last added (365 at most).
    """
    added = [charge for charge in charges if charge.added_lb > 0]
    if not full_lb or len(added) < 2:
        return None
    days = (date.fromisoformat(added[-1].day) - date.fromisoformat(added[-2].day)).days
    if days <= 0:
        return None
    return added[-1].added_lb / full_lb * 365 / min(days, 365) * 100
