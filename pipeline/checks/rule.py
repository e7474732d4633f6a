"""What a rule is: its needs as data, one case of it, and what it answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from extractors.facts import Qualifier, Quantity, Rating, Reading, Role
from extractors.units import convert
from pipeline.checks import wording
from pipeline.checks.air import absolute_psia
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, Limit, RuleLimits
from pipeline.checks.refrigerants import Refrigerant
from pipeline.draft import Basis, Computed, Verdict

NOT_STEADY = frozenset({Qualifier.INRUSH, Qualifier.LOCKED_ROTOR, Qualifier.PEAK, Qualifier.MINIMUM, Qualifier.STANDBY})
"""Qualifiers of a figure that is not of the running machine."""
TINY = 1e-9
SI_TEMPERATURES = {"degF": "degC", "delta_degF": "delta_degC"}


@dataclass(frozen=True)
class Need:
    """One figure that a rule wants.

    `missing` is what the message names when it was not said; where that is None the rule does without the figure. The
    first need of a rule is what it judges: when that is missing there is no entry.
    """

    key: str
    quantity: Quantity
    unit: str
    subjects: tuple[str, ...] = ()
    roles: tuple[Role, ...] = (Role.MEASURED,)
    missing: str | None = None
    without: frozenset[Qualifier] = frozenset()
    having: frozenset[Qualifier] = frozenset()
    of: tuple[str, ...] = ()
    ratings: tuple[Rating | None, ...] = ()
    same_subject: bool = False
    where: Callable[[Reading], bool] | None = None
    also: tuple[Quantity, ...] = ()
    """Other quantities under which the same thing may have been filed."""

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """The quantity and the others that do as well."""
        return (self.quantity, *self.also)

    def accepts(self, reading: Reading) -> bool:
        """Whether a reading can fill this need: quantity, role, subject, unit, qualifiers, rating, substance."""
        return (
            reading.quantity in self.quantities
            and reading.role in self.roles
            and (not self.subjects or reading.subject in self.subjects)
            and not self.without & set(reading.qualifiers)
            and (not self.having or bool(self.having & set(reading.qualifiers)))
            and (not self.ratings or reading.rating in self.ratings)
            and (not self.of or reading.of in self.of)
            and convertible(reading, self.unit)
            and (self.where is None or self.where(reading))
        )

    @property
    def measured(self) -> bool:
        """Whether the figure is one that was measured, not a rating or a setting."""
        return self.roles == (Role.MEASURED,)


def convertible(reading: Reading, unit: str) -> bool:
    """Whether a reading has a figure whose unit measures the same thing as `unit`."""
    if reading.unit is None or (reading.value is None and reading.low is None and reading.high is None):
        return False
    try:
        convert(1.0, reading.unit, unit)
    except (ValueError, KeyError):
        return False
    return True


@dataclass(frozen=True)
class Missing:
    """A case that could be judged if one thing were known. `thing` completes "nobody said the …".

    `unclear`: the thing was said in more than one way; the sentence then says that it is not clear.
    """

    thing: str
    unclear: bool = False
    reference: bool = True
    """Whether a rating or target is missing; otherwise another measurement of the same moment."""
    computed: Mapping[str, Computed] = field(default_factory=dict)
    sentence: str = ""
    """Said in place of the usual sentence, for a computation that has no limit."""
    silent: bool = False
    """So many figures are possible that asking which one is meant would only be noise."""


@dataclass(frozen=True)
class Outcome:
    """What a rule found at one end of its readings. Figures in `unit`; texts are parts of one sentence."""

    verdict: Verdict
    value: float
    low: float | None
    high: float | None
    unit: str | None
    result: str
    """What came out: "9.14 % low"."""
    against: str
    """What it was held against: "35 µF ±6 %"."""
    basis: Basis
    computed: Mapping[str, Computed] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    what: str = ""
    """What was judged with its figure; the first reading when empty."""
    never_soft: bool = False


@dataclass(frozen=True)
class Case:
    """One set of readings that a rule may judge, at one end of the ranges among them."""

    job: Job
    limits: RuleLimits
    bound: Mapping[str, Reading]
    groups: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    ends: Mapping[str, float] = field(default_factory=dict)
    missing: Missing | None = None
    tag: str = ""
    """Tells cases of one rule and subject apart that must not be compared as found and as left."""

    @property
    def anchor(self) -> Reading:
        """The reading that the rule judges."""
        return next(iter(self.bound.values()))

    @cached_property
    def readings(self) -> tuple[Reading, ...]:
        """All readings of the case, each once."""
        every = [*self.bound.values(), *(r for group in self.groups.values() for r in group)]
        return tuple({reading.id: reading for reading in every}.values())

    def has(self, key: str) -> bool:
        """Whether a reading fills that need."""
        return key in self.bound

    def said(self, key: str) -> str:
        """The figure of a need as it was said, with its unit."""
        return wording.said(self.bound[key])

    def raw(self, reading: Reading) -> float:
        """The figure of a reading in its own unit, at this end of a range."""
        if reading.id in self.ends:
            return self.ends[reading.id]
        value = reading.value if reading.value is not None else reading.low
        return value if value is not None else float(reading.high or 0.0)

    def num(self, key: str, unit: str) -> float:
        """The figure of a need in `unit`."""
        return self.of(self.bound[key], unit)

    def of(self, reading: Reading, unit: str) -> float:
        """The figure of any reading of the case in `unit`."""
        return convert(self.raw(reading), reading.unit or "", unit)

    def span(self, key: str, unit: str) -> tuple[float, float]:
        """Both ends of a rated figure in `unit`; equal for a single one."""
        return self.span_of(self.bound[key], unit)

    def span_of(self, reading: Reading, unit: str) -> tuple[float, float]:
        """Both ends of any figure in `unit`."""
        low = reading.low if reading.low is not None else reading.value
        high = reading.high if reading.high is not None else reading.value
        low, high = low if low is not None else high, high if high is not None else low
        return convert(low or 0.0, reading.unit or "", unit), convert(high or 0.0, reading.unit or "", unit)

    def psia(self, key: str) -> float:
        """A pressure in psia at the job's altitude."""
        reading = self.bound[key]
        return absolute_psia(self.raw(reading), reading, self.job.atmosphere)

    def show_span(self, low: float, high: float, unit: str) -> str:
        """Two ends with their unit once: `4 to 25 °F`."""
        to = self.shown(unit)
        ends = [wording.figure(convert(value, unit, to)) for value in (low, high)]
        return wording.with_unit(" to ".join(ends), to)

    @property
    def refrigerant(self) -> Refrigerant | None:
        """The refrigerant in the anchor's circuit."""
        return self.job.refrigerant_of(self.anchor)

    @property
    def kinds(self) -> frozenset[str]:
        """The kinds of the anchor's machine."""
        return self.job.kinds_of(self.anchor)

    def shown(self, unit: str) -> str:
        """The unit in which a figure of `unit` is shown: Celsius to somebody who spoke in Celsius."""
        if unit in SI_TEMPERATURES and any(r.unit in ("degC", "delta_degC") for r in self.readings):
            return SI_TEMPERATURES[unit]
        return unit

    def show(self, value: float, unit: str) -> str:
        """A figure with its unit, in the unit that the speaker used."""
        to = self.shown(unit)
        return wording.amount(convert(value, unit, to), to)

    def judged(
        self,
        value: float,
        band: Band,
        unit: str,
        *,
        result: str,
        against: str,
        basis: Basis,
        computed: Mapping[str, tuple[float, str | None]] | None = None,
        notes: Iterable[str] = (),
        what: str = "",
        never_soft: bool = False,
        at_most: Verdict = Verdict.OUT_OF_TOLERANCE,
    ) -> Outcome:
        """The outcome of holding a value against a band, all in `unit`, shown in the speaker's own unit."""
        to = self.shown(unit)
        verdict = min(place(value, band), at_most, key=SEVERITY.index)
        return Outcome(
            verdict=verdict,
            value=convert(value, unit, to) if to != unit else value,
            low=None if band.low is None else convert(band.low, unit, to) if to != unit else band.low,
            high=None if band.high is None else convert(band.high, unit, to) if to != unit else band.high,
            unit=to or None,
            result=result,
            against=against,
            basis=basis,
            computed={name: self._computed(*pair) for name, pair in (computed or {}).items()},
            notes=tuple(note for note in notes if note),
            what=what,
            never_soft=never_soft,
        )

    def _computed(self, value: float, unit: str | None) -> Computed:
        if unit is None:
            return Computed(value=value)
        to = self.shown(unit)
        return Computed(value=convert(value, unit, to) if to != unit else value, unit=to)

    def computed(self, **values: tuple[float, str | None]) -> dict[str, Computed]:
        """Computed values for a case that has no verdict."""
        return {name: self._computed(*pair) for name, pair in values.items()}


SEVERITY = (Verdict.NO_REFERENCE, Verdict.IN_TOLERANCE, Verdict.MARGINAL, Verdict.OUT_OF_TOLERANCE)


def place(value: float, band: Band) -> Verdict:
    """Where a value lies in a band. Values at a limit belong to the better side."""
    inner = (band.low if band.in_low is None else band.in_low, band.high if band.in_high is None else band.in_high)
    if _inside(value, *inner):
        return Verdict.IN_TOLERANCE
    if _inside(value, band.low, band.high):
        return Verdict.MARGINAL
    return Verdict.OUT_OF_TOLERANCE


def _inside(value: float, low: float | None, high: float | None) -> bool:
    slack = TINY * max(1.0, abs(value))
    return (low is None or value >= low - slack) and (high is None or value <= high + slack)


def from_plate(reading: Reading, word: str = "nameplate", limits: Iterable[Limit] = ()) -> Basis:
    """Basis of a comparison with something that was read off, set or expected: where and when it was said.

    `limits` are the tolerances that were laid round it; where the shop set one of them, the basis says so.
    """
    words = {
        Role.RATED: word,
        Role.SETPOINT: "setting",
        Role.EXPECTED: "what it ought to be, as the technician said",
        Role.MEASURED: "measured",
    }[reading.role]
    source = ", ".join(part for part in (words, wording.when(reading.evidence)) if part)
    used = list(limits)
    titles = dict.fromkeys("the shop's own setting" if limit.from_shop else limit.source.title for limit in used)
    if titles:
        source = f"{source}; tolerance: {', '.join(titles)}"
    if any(limit.from_shop for limit in used):
        return Basis(kind="shop_setting", source=source)
    return Basis(kind="nameplate" if reading.role is Role.RATED else "common_practice", source=source)


def from_limit(limit: Limit, *, default: bool = True) -> Basis:
    """Basis of a comparison with a limit of the file or of the shop."""
    if limit.from_shop:
        return Basis(kind="shop_setting", source="the shop's own setting in shop.toml")
    if limit.basis == "common_practice" and default:
        return Basis(kind="common_practice", source=f"default, not from the plate; {limit.source.title}")
    return Basis(kind=limit.basis, source=limit.source.title)


Judge = Callable[[Case], "Outcome | Missing | None"]
Cases = Callable[[Job, RuleLimits], Iterator[Case]]


@dataclass(frozen=True)
class Rule:
    """One rule. `needs` says what it reads; `judge` is called with them bound, once for each end of a range.

    `cases` replaces the usual way of finding the readings, for rules that take several at once.
    `kinds` and `not_kinds` limit it to machines; `steady` leaves out points on the way of a series.
    `never_soft`: an approximate figure does not soften the verdict.
    """

    name: str
    needs: tuple[Need, ...]
    judge: Judge
    cases: Cases | None = None
    refrigerant: bool = False
    kinds: tuple[str, ...] = ()
    not_kinds: tuple[str, ...] = ()
    steady: bool = False
    never_soft: bool = False
