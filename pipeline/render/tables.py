"""Readings and comparisons as the rows of tables: grouped by component, aligned on the decimal, judged."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from extractors.facts import Qualifier, Reading, Role, Stage
from pipeline.draft import Check, Draft, Verdict
from pipeline.render.statements import Doubt, Statements
from pipeline.words import DEFAULT, SPACES, Words, capital
from pipeline.words.figures import Figure, aligned, converted, digits, judged, shown, unit_text

WORST = (Verdict.OUT_OF_TOLERANCE, Verdict.MARGINAL, Verdict.IN_TOLERANCE, Verdict.NO_REFERENCE)
LABELLED = (
    Qualifier.INRUSH,
    Qualifier.LOCKED_ROTOR,
    Qualifier.PEAK,
    Qualifier.MINIMUM,
    Qualifier.STANDBY,
    Qualifier.NEGATIVE_IS_VACUUM,
    Qualifier.ABSOLUTE,
)
"""Qualifiers that are said in words; the others are signs before the figure."""
LIMIT_NAMES = (("allowed low", "allowed from"), ("allowed high", "allowed to"))
"""How a check that compares in percent names its limits in the reading's unit, among what it computed."""
ROLE_ORDER = {Role.RATED: 0, Role.SETPOINT: 1, Role.EXPECTED: 2, Role.MEASURED: 3}
CONTROLS = ("thermostat", "controller", "sensor")
STAGE_ORDER = {Stage.AS_FOUND: 0, None: 1, Stage.AS_LEFT: 2}


@dataclass(frozen=True, slots=True)
class Judged:
    """A verdict in words and as the name of its mark."""

    mark: str
    words: str
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Row:
    """One reading. `digits` carries the spaces that align it in its table."""

    id: str
    what: str
    kind: str
    figure: Figure
    digits: str
    doubt: Doubt | None
    judged: Judged | None
    at: str
    said: str
    note: str = ""
    superseded: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """The readings of one component."""

    name: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Pair:
    """One figure before and after the work, with what it should be."""

    what: str
    before: Figure | None
    after: Figure | None
    before_digits: str
    after_digits: str
    unit: str
    should_be: str
    doubt: Doubt | None
    judged: Judged | None
    key: tuple[object, ...] = ()


@dataclass(frozen=True, slots=True)
class Compared:
    """One check as it is printed."""

    id: str
    judged: Judged
    message: str
    basis: str
    source: str
    doubt: bool
    readings: tuple[str, ...] = field(default=())


class Tables:
    """Makes the tables of one draft in one language."""

    def __init__(self, draft: Draft, words: Words, units_shown: str, statements: Statements) -> None:
        """Takes the draft, its words and units, and the maker of its lines."""
        self.draft = draft
        self.words = words
        self.units_shown = units_shown
        self.statements = statements
        self.checks_of: dict[str, list[Check]] = {}
        by_id = {one.id: one for one in draft.readings}
        for check in draft.checks:
            on = judged(check.rule, [by_id[name] for name in check.readings if name in by_id])
            if on is not None and check.verdict is not Verdict.NO_REFERENCE:
                self.checks_of.setdefault(on.id, []).append(check)

    def judged(self, check: Check) -> Judged:
        """The verdict with the side on which the figure lies."""
        side = ""
        if check.value is not None and check.verdict in (Verdict.MARGINAL, Verdict.OUT_OF_TOLERANCE):
            low, high = check.allowed_low, check.allowed_high
            if low is not None and (high is None or abs(check.value - low) <= abs(check.value - high)):
                side = "_low"
            elif high is not None:
                side = "_high"
        name = f"{check.verdict.value}{side}"
        return Judged(name, self.words(f"verdict.{name}"), check.verdict)

    def of_reading(self, reading: Reading) -> Judged | None:
        """The worst verdict of the comparisons that judge this reading."""
        checks = self.checks_of.get(reading.id)
        if not checks:
            return None
        return self.judged(min(checks, key=lambda check: WORST.index(check.verdict)))

    def what(self, reading: Reading) -> str:
        """The quantity with everything that tells it from its neighbours."""
        words = self.words
        parts = [words(f"quantity.{reading.quantity.value}")]
        if reading.of:
            parts = [words("phrase.of", subject=parts[0], of=reading.of)]
        if reading.place:
            parts.append(reading.place)
        if reading.rating is not None:
            parts.append(words(f"rating.{reading.rating.value}"))
        parts += [
            words(f"qualifier.{mark.value}")
            for mark in reading.qualifiers
            if mark in LABELLED and not (mark is Qualifier.LOCKED_ROTOR and reading.rating is not None)
        ]
        return capital(", ".join(parts))

    def kind(self, reading: Reading) -> str:
        """Rated, setting, ought to be; for a measured figure its stage."""
        if reading.stage is not None:
            stage = self.words(f"stage.{reading.stage.value}")
            if reading.role is Role.MEASURED:
                return stage
            return f"{self.words(f'role.{reading.role.value}')}, {stage}"
        return self.words(f"role.{reading.role.value}")

    def doubt_of(self, reading: Reading) -> Doubt | None:
        """The doubt of a reading, with the other figures that its words may mean."""
        others = [shown(other, self.words, self.units_shown) for other in reading.alternatives]
        return self.statements.doubt(reading.confirm, reading.evidence, others)

    def row(self, reading: Reading) -> Row:
        """A reading as a row, not yet aligned."""
        figure = shown(reading, self.words, self.units_shown)
        notes = []
        if reading.tolerance_pct is not None:
            notes.append(self._tolerance(reading.tolerance_pct))
        if reading.superseded_by is not None:
            notes.append(self.words("phrase.superseded"))
        if reading.repeats:
            notes.append(self.words.count("phrase.said_again", len(reading.repeats)))
        return Row(
            id=reading.id,
            what=self.what(reading),
            kind=self.kind(reading),
            figure=figure,
            digits=figure.digits,
            doubt=self.doubt_of(reading),
            judged=self.of_reading(reading),
            at=self.statements.place(reading.evidence),
            said=reading.evidence.quote,
            note=", ".join(notes),
            superseded=reading.superseded_by is not None,
        )

    def _tolerance(self, pct: tuple[float, float]) -> str:
        """A tolerance in percent: ±6 %, or −0/+20 %."""
        minus, plus = (digits(abs(side), self.words) for side in pct)
        return f"±{minus}\u00a0%" if minus == plus else f"\u2212{minus}/+{plus}\u00a0%"

    def groups(self) -> tuple[Group, ...]:
        """All readings, by component in the order of their first mention, aligned over the whole table."""
        by_subject: dict[str, list[Reading]] = {}
        for reading in self.draft.readings:
            by_subject.setdefault(reading.subject, []).append(reading)
        for readings in by_subject.values():
            readings.sort(key=lambda one: (ROLE_ORDER[one.role], STAGE_ORDER[one.stage]))
        rows = {reading.id: self.row(reading) for readings in by_subject.values() for reading in readings}
        texts = aligned([row.digits for row in rows.values()], self.words)
        for row, text in zip(list(rows.values()), texts, strict=True):
            rows[row.id] = replace(row, digits=text)
        return tuple(
            Group(capital(self.words.term(subject).name), tuple(rows[reading.id] for reading in readings))
            for subject, readings in by_subject.items()
        )

    def sure(self, reading: Reading) -> bool:
        """Whether a reading stands: not flagged and not corrected by a later one."""
        return not reading.confirm and reading.superseded_by is None

    def pairs(self) -> tuple[Pair, ...]:
        """Figures that were measured before and after, and figures after the work that were judged."""
        series: dict[tuple[object, ...], dict[Stage, list[Reading]]] = {}
        for reading in self.draft.readings:
            if reading.role is not Role.MEASURED or reading.superseded_by is not None or reading.stage is None:
                continue
            special = tuple(mark for mark in reading.qualifiers if mark in LABELLED)
            key: tuple[object, ...] = (
                reading.subject,
                reading.place,
                reading.quantity,
                reading.of,
                special,
                reading.unit,
            )
            series.setdefault(key, {}).setdefault(reading.stage, []).append(reading)
        pairs = []
        proof = set(self.draft.diagnosis.proof)
        for key, stages in series.items():
            before, after = stages.get(Stage.AS_FOUND, []), stages.get(Stage.AS_LEFT, [])
            if not after:
                continue
            last = after[-1]
            judged = self.of_reading(last)
            proves = last.id in proof or any(check.id in proof for check in self.checks_of.get(last.id, ()))
            if before or judged or proves:
                pairs.append(self._pair(key, before[0] if before else None, last, judged))
        return self._aligned_pairs(pairs)

    def _pair(self, key: tuple[object, ...], before: Reading | None, after: Reading, judged: Judged | None) -> Pair:
        """One row of before and after."""
        old = shown(before, self.words, self.units_shown) if before else None
        new = shown(after, self.words, self.units_shown)
        name = self.words.term(after.subject).name
        doubts = [doubt for doubt in (self.doubt_of(one) for one in (before, after) if one) if doubt]
        both = self.units_shown == "both"
        return Pair(
            what=capital(f"{name}: {self.what(after).lower()}" if self._ambiguous(after) else name),
            before=old,
            after=new,
            before_digits=(old.text if both else old.digits) if old else "",
            after_digits=new.text if both else new.digits,
            unit="" if both else new.unit,
            should_be=self.should_be(after),
            doubt=doubts[0] if doubts else None,
            judged=judged,
            key=key,
        )

    def _ambiguous(self, reading: Reading) -> bool:
        """Whether the component's name alone does not say what was measured."""
        return reading.subject not in (
            "superheat", "subcooling", "suction pressure", "head pressure", "run time", "ambient",
        )  # fmt: skip

    def _aligned_pairs(self, pairs: list[Pair]) -> tuple[Pair, ...]:
        """Both columns aligned on the decimal."""
        before = aligned([pair.before_digits for pair in pairs], self.words)
        after = aligned([pair.after_digits for pair in pairs], self.words)
        return tuple(
            replace(pair, before_digits=old, after_digits=new)
            for pair, old, new in zip(pairs, before, after, strict=True)
        )

    def should_be(self, reading: Reading) -> str:
        """What the figure is held against: the allowed band, the plate, the setting, or the rule of thumb."""
        for check in self.checks_of.get(reading.id, ()):
            band = self.band(check, reading)
            if band:
                return band
        for role, phrase in ((Role.RATED, "rated_at"), (Role.SETPOINT, "setpoint_at"), (Role.EXPECTED, "expected_at")):
            for other in self.draft.readings:
                same = other.quantity == reading.quantity and self._holds_for(other, reading)
                if same and other.role is role and self.sure(other) and self._same_rating(other, reading):
                    return self.words(f"phrase.{phrase}", figure=shown(other, self.words, self.units_shown).text)
        return ""

    def _holds_for(self, other: Reading, measured: Reading) -> bool:
        """Whether a rating or setting is of the same thing; what a control is set to holds for its space."""
        if other.subject == measured.subject:
            return True
        controls = other.role is Role.SETPOINT and other.subject in CONTROLS and measured.subject in SPACES
        return controls and other.unit == measured.unit and other.stage is not Stage.AS_FOUND

    def _same_rating(self, rated: Reading, measured: Reading) -> bool:
        """Locked-rotor ratings belong to locked-rotor and starting currents, the others to running ones."""
        locked = Qualifier.LOCKED_ROTOR in rated.qualifiers or (
            rated.rating is not None and rated.rating.value == "LRA"
        )
        starting = bool({Qualifier.INRUSH, Qualifier.LOCKED_ROTOR} & set(measured.qualifiers))
        return locked == starting

    def limits(self, check: Check, reading: Reading) -> tuple[float | None, float | None]:
        """The allowed low and high for the reading itself; None and None where the check gives none.

        A check that compares a deviation has limits for the deviation, even in the same unit.
        """
        unit = reading.unit
        itself = check.value is not None and check.value in (reading.value, reading.low, reading.high)
        if check.unit == unit and itself:
            return check.allowed_low, check.allowed_high
        found: list[float | None] = []
        for names in LIMIT_NAMES:
            ends = [check.computed[name] for name in names if name in check.computed]
            found.append(next((end.value for end in ends if end.unit == unit), None))
        return found[0], found[1]

    def band(self, check: Check, reading: Reading) -> str:
        """The allowed band of the reading in words; empty where the check has none."""
        return self.band_text(*self.limits(check, reading), reading.unit)

    def band_text(self, low: float | None, high: float | None, unit: str | None) -> str:
        """Two limits, or one, in words and in the units that the shop shows."""
        said = self._band_in(low, high, unit, "")
        if self.units_shown == "said" or not said:
            return said
        if self.units_shown != "both":
            return self._band_in(low, high, unit, self.units_shown)
        others = (self._band_in(low, high, unit, system) for system in ("US", "SI"))
        other = next((text for text in others if text != said), "")
        return f"{said} ({other})" if other else said

    def _band_in(self, low: float | None, high: float | None, unit: str | None, system: str) -> str:
        """The limits in one system, each rounded to what anybody reads."""
        name = unit

        def one(value: float) -> str:
            """A limit, in the other system where it has a unit there."""
            nonlocal name
            rounded = float(f"{value:.4g}")
            other = converted(rounded, unit, system) if unit and system else None
            if other is None:
                return digits(rounded, self.words)
            name = other[1]
            return digits(other[0], self.words, other[2])

        if low is not None and high is not None:
            text = self.words("phrase.between", low=one(low), high=one(high))
        elif low is not None:
            text = self.words("phrase.at_least", low=one(low))
        elif high is not None:
            text = self.words("phrase.at_most", high=one(high))
        else:
            return ""
        return f"{text}\u00a0{unit_text(name, self.words)}".strip()

    def compared(self) -> tuple[Compared, ...]:
        """All checks, the worst first."""
        flagged = {reading.id for reading in self.draft.readings if reading.confirm}
        rows = [
            Compared(
                id=check.id,
                judged=self.judged(check),
                message=self._message(check),
                basis=self.words(f"basis.{check.basis.kind}"),
                source=check.basis.source,
                doubt=bool(flagged & set(check.readings)) and "second listen" not in self._message(check),
                readings=check.readings,
            )
            for check in self._worst_first(self.draft.checks)
        ]
        return tuple(rows)

    def _message(self, check: Check) -> str:
        """The sentence of a check; in another language than the draft's, one made of its figures."""
        if self.words.language == DEFAULT:
            return check.message
        by_id = {one.id: one for one in self.draft.readings}
        told = [
            self.words(
                "check.figure",
                what=self.words.term(one.subject).name,
                figure=shown(one, self.words, self.units_shown).text,
                kind=self.kind(one),
            )
            for one in (by_id[name] for name in check.readings if name in by_id)
        ]
        parts = [capital("; ".join(told))] if told else []
        if check.value is not None:
            value = digits(float(f"{check.value:.3g}"), self.words)
            parts.append(self.words("check.value", value=f"{value}\u00a0{unit_text(check.unit, self.words)}".strip()))
        band = self.band_text(check.allowed_low, check.allowed_high, check.unit)
        if band:
            parts.append(self.words("check.allowed", band=band))
        return ". ".join(parts) + "."

    def _worst_first(self, checks: Iterable[Check]) -> list[Check]:
        """Checks by how much they matter, otherwise in their order."""
        return sorted(checks, key=lambda check: WORST.index(check.verdict))
