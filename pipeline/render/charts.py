"""Drawings of a draft's figures: geometry here, ink in templates/chart-*.svg.j2. Each tells its figures in words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from extractors.facts import Quantity, Reading, Role, Stage
from pipeline.draft import Check, Draft, Trend, Verdict
from pipeline.words import Words, capital
from pipeline.words.figures import converted, digits, places_of, unit_text

if TYPE_CHECKING:
    from pipeline.render.tables import Tables

WIDTH = 360.0
BAND_WIDTH = 300.0
MOST_BANDS = 6
TICKS = 5
MOST_LABELS = 9
"""Points of a series that are labelled each; of a longer one only its ends and its turning points."""
LEGS = (("L1-L2", "L2-L3", "L1-L3"), ("L1", "L2", "L3"))


@dataclass(frozen=True, slots=True)
class Chart:
    """One drawing: its SVG, a caption, and the figures in words for who cannot see it."""

    svg: str
    caption: str
    alt: str
    small: bool = False
    """Two of them fit side by side."""


@dataclass(frozen=True, slots=True)
class Dot:
    """A figure in a drawing."""

    x: float
    y: float
    text: str
    sure: bool
    anchor: str = "middle"
    dy: float = -9.0


@dataclass(frozen=True, slots=True)
class Line:
    """A series in a drawing."""

    dots: tuple[Dot, ...]
    path: str
    label: str
    before: bool


def nice_step(span: float, ticks: int = TICKS) -> float:
    """A step of 1, 2 or 5 times a power of ten that divides a span into about so many parts."""
    raw = span / max(1, ticks)
    power = 10.0 ** math.floor(math.log10(raw))
    return next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= raw * 0.999)


def ticks_between(low: float, high: float, ticks: int = TICKS) -> list[float]:
    """Round values from at or below `low` to at or above `high`."""
    if high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    step = nice_step(high - low, ticks)
    first = math.floor(low / step + 1e-9)
    last = math.ceil(high / step - 1e-9)
    return [round(step * number, 10) for number in range(first, last + 1)]


class Charts:
    """Makes the drawings of one draft."""

    def __init__(self, draft: Draft, words: Words, units_shown: str, tables: Tables, own: Path | None) -> None:
        """Takes the draft, words and units, the maker of its tables, and the folder of the shop's own templates."""
        self.draft = draft
        self.words = words
        self.system = units_shown if units_shown in ("US", "SI") else ""
        self.tables = tables
        self.own = own
        self.by_id = {reading.id: reading for reading in draft.readings}

    def all(self) -> list[Chart]:
        """Series, legs, and figures on their allowed bands."""
        return [*self.trends(), *self.legs(), *self.bands()[:MOST_BANDS]]

    def few(self) -> list[Chart]:
        """The drawings that a customer needs: a series, uneven legs, what was outside or has changed."""
        uneven = any(
            check.verdict is not Verdict.IN_TOLERANCE and check.rule.endswith("-unbalance")
            for check in self.draft.checks
        )
        legs = self.legs()[:1] if uneven else []
        return [*self.trends()[:1], *legs, *self.bands(changed_only=True)[:2]]

    def _value(self, value: float, unit: str | None) -> tuple[float, str | None, int]:
        """A value in the units that the shop shows, with its decimals."""
        other = converted(value, unit, self.system) if unit and self.system else None
        return other if other else (value, unit, places_of(value))

    def _text(self, value: float, unit: str | None) -> str:
        """A figure with its unit."""
        number, name, places = self._value(value, unit)
        return f"{digits(number, self.words, places)}\u00a0{unit_text(name, self.words)}".strip()

    def _short(self, value: float, unit: str | None) -> str:
        """A figure without its unit."""
        number, _, places = self._value(value, unit)
        return digits(number, self.words, places)

    def _draw(self, template: str, **values: object) -> str:
        from pipeline.render.html import fill

        return fill(f"chart-{template}.svg.j2", self.own, words=self.words, **values)

    def _sure(self, name: str) -> bool:
        reading = self.by_id.get(name)
        return reading is not None and not reading.confirm

    # ---- series -------------------------------------------------------------------------------

    def trends(self) -> list[Chart]:
        """Series of three points or more; before and after of the same thing share a drawing."""
        drawn: dict[tuple[object, ...], list[Trend]] = {}
        for trend in self.draft.trends:
            if len(trend.points) > 2 or (len(trend.points) == 2 and self._found_before(trend) is not None):
                key = (trend.subject, trend.place, trend.quantity, trend.unit)
                drawn.setdefault(key, []).append(trend)
        return [self._trend(group) for group in drawn.values()]

    def _found_before(self, trend: Trend) -> Reading | None:
        """The same thing as it was found, where it is no point of the series."""
        own = {point.reading for point in trend.points}
        for one in self.draft.readings:
            thing = (one.subject, one.place, one.quantity, one.unit)
            same = thing == (trend.subject, trend.place, trend.quantity, trend.unit) and one.id not in own
            found = one.stage is Stage.AS_FOUND and one.role is Role.MEASURED
            if same and found and one.superseded_by is None and one.value is not None:
                return one
        return None

    def _setpoint(self, trend: Trend) -> Reading | None:
        """What the control of the same thing is set to."""
        for one in self.draft.readings:
            fits = one.subject in (trend.subject, "thermostat", "controller") and one.unit == trend.unit
            stands = one.role is Role.SETPOINT and not one.confirm and one.superseded_by is None
            if stands and fits and one.quantity is trend.quantity and one.stage is not Stage.AS_FOUND:
                return one
        return None

    def _trend(self, group: list[Trend]) -> Chart:
        words, first = self.words, group[0]
        found = None if any(one.stage is Stage.AS_FOUND for one in group) else self._found_before(first)
        setpoint = self._setpoint(first)
        values = [self._value(point.value, first.unit)[0] for one in group for point in one.points]
        extra = [one for one in (found, setpoint) if one is not None and one.value is not None]
        values += [self._value(one.value, one.unit)[0] for one in extra if one.value is not None]
        ys = ticks_between(min(values), max(values))
        longest = max(point.minutes for one in group for point in one.points)
        in_hours = longest > 180
        xs = ticks_between(0.0, longest / 60 if in_hours else longest, 4)
        left, right, top, bottom = 40.0, WIDTH - 22.0, 24.0, 166.0

        def x_of(minutes: float) -> float:
            return round(left + (minutes / 60 if in_hours else minutes) / xs[-1] * (right - left), 1)

        def y_of(value: float) -> float:
            return round(bottom - (value - ys[0]) / (ys[-1] - ys[0]) * (bottom - top), 1)

        lines = []
        for one in group:
            label_all = len(one.points) <= MOST_LABELS
            dots = []
            for number, point in enumerate(one.points):
                labelled = label_all or number in (0, len(one.points) - 1)
                dots.append(
                    Dot(
                        x=x_of(point.minutes),
                        y=y_of(self._value(point.value, one.unit)[0]),
                        text=self._short(point.value, one.unit) if labelled else "",
                        sure=self._sure(point.reading),
                    )
                )
            path = "M" + "L".join(f"{dot.x:g} {dot.y:g}" for dot in dots)
            label = words(f"stage.{one.stage.value}") if one.stage and len(group) > 1 else ""
            lines.append(Line(tuple(dots), path, label, one.stage is Stage.AS_FOUND))
        what = self._name(first.subject, first.place, first.quantity)
        caption = words("chart.trend_title", what=what)
        alt = words("chart.trend_alt", what=what, points=self._points_in_words(group, found, setpoint))
        return Chart(
            svg=self._draw(
                "trend",
                alt=alt,
                width=WIDTH,
                left=left,
                right=right,
                top=top,
                bottom=bottom,
                xs=[(x_of(tick * 60 if in_hours else tick), digits(tick, words)) for tick in xs],
                ys=[(y_of(tick), digits(tick, words)) for tick in ys],
                unit=unit_text(self._value(0.0, first.unit)[1], words),
                axis=words("label.hours_axis" if in_hours else "label.minutes"),
                lines=lines,
                found=self._level(found, y_of, "trend_before"),
                setpoint=self._level(setpoint, y_of, "trend_setpoint"),
                falling=lines[0].dots[0].y <= lines[0].dots[-1].y,
            ),
            caption=caption,
            alt=alt,
        )

    def _level(self, reading: Reading | None, y_of: object, phrase: str) -> tuple[float, str, bool] | None:
        """A level line: its height, its label, whether it is sure."""
        if reading is None or reading.value is None or not callable(y_of):
            return None
        value = self._value(reading.value, reading.unit)[0]
        text = self.words(f"chart.{phrase}", value=self._text(reading.value, reading.unit))
        return float(y_of(value)), text, not reading.confirm

    def _points_in_words(self, group: list[Trend], found: Reading | None, setpoint: Reading | None) -> str:
        """All points of a drawing as a sentence."""
        words, parts = self.words, []
        for level, phrase in ((found, "trend_before"), (setpoint, "trend_setpoint")):
            if level is not None and level.value is not None:
                parts.append(words(f"chart.{phrase}", value=self._text(level.value, level.unit)))
        for one in group:
            for point in one.points:
                key = "trend_point" if point.minutes else "trend_first"
                minutes = digits(round(point.minutes, 1), words)
                text = words(f"chart.{key}", value=self._text(point.value, one.unit), minutes=minutes)
                parts.append(text if self._sure(point.reading) else f"{text} ({words('draft.not_confirmed')})")
        return "; ".join(parts)

    def _name(self, subject: str, place: str | None, quantity: Quantity) -> str:
        """What a drawing shows."""
        text = f"{self.words.term(subject).name}, {self.words(f'quantity.{quantity.value}')}"
        return capital(f"{text} ({place})" if place else text)

    # ---- a figure on its band -----------------------------------------------------------------

    def bands(self, changed_only: bool = False) -> list[Chart]:
        """Figures on their allowed bands, those outside first; the last before and the last after on one band.

        With `changed_only` those that were inside all the time are left out.
        """
        groups: dict[tuple[object, ...], dict[Stage | None, tuple[Reading, Check]]] = {}
        for reading in self.draft.readings:
            if reading.value is None or reading.superseded_by is not None:
                continue
            for check in self.tables.checks_of.get(reading.id, ()):
                if self.tables.limits(check, reading) != (None, None):
                    key = (check.rule, reading.subject, reading.place, reading.quantity, reading.unit)
                    groups.setdefault(key, {})[reading.stage] = (reading, check)
        found = [
            self._band(list(group.values()))
            for group in groups.values()
            if not changed_only or len(group) > 1 or _outside(group.values())
        ]
        return [chart for _, chart in sorted(found, key=lambda pair: pair[0])]

    def _band(self, group: Sequence[tuple[Reading, Check]]) -> tuple[int, Chart]:
        """One band with its figures, and how soon it should be shown."""
        from pipeline.render.tables import WORST

        words = self.words
        reading, check = group[-1]
        low, high = self.tables.limits(check, reading)
        unit = reading.unit
        shown = [(one, self._value(one.value or 0.0, unit)[0]) for one, _ in group]
        limits = [self._value(end, unit)[0] for end in (low, high) if end is not None]
        values = [value for _, value in shown] + limits
        if len(limits) == 1:
            values.append(limits[0] - abs(limits[0]) * 0.4 if low is None else limits[0] + abs(limits[0]) * 0.4)
        least, most = min(values), max(values)
        margin = (most - least) * 0.12 or 1.0
        left, right = 12.0, BAND_WIDTH - 12.0

        def x_of(value: float) -> float:
            return round(left + (value - least + margin) / (most - least + 2 * margin) * (right - left), 1)

        x_low = x_of(self._value(low, unit)[0]) if low is not None else left
        x_high = x_of(self._value(high, unit)[0]) if high is not None else right
        dots = []
        for number, (one, value) in enumerate(sorted(shown, key=lambda pair: pair[1])):
            stage = f"{words(f'stage.{one.stage.value}')} " if one.stage else ""
            x = x_of(value)
            anchor = "start" if x < BAND_WIDTH * 0.25 else "end" if x > BAND_WIDTH * 0.75 else "middle"
            text = f"{stage}{self._text(one.value or 0.0, unit)}"
            dots.append(Dot(x, 34.0, text, not one.confirm, anchor, -12.0 if number % 2 == 0 else -24.0))
        what = self._name(reading.subject, reading.place, reading.quantity)
        band = self.tables.band(check, reading)
        alt = "; ".join(
            words(
                "chart.band_alt",
                what=what,
                value=f"{words(f'stage.{one.stage.value}')} {self._text(one.value or 0.0, unit)}"
                if one.stage
                else self._text(one.value or 0.0, unit),
                band=band,
                verdict=self.tables.judged(verdict).words,
            )
            for one, verdict in group
        )
        posts = [
            (x, self._short(float(f"{end:.4g}"), unit)) for x, end in ((x_low, low), (x_high, high)) if end is not None
        ]
        svg = self._draw(
            "band",
            alt=alt,
            width=BAND_WIDTH,
            x_low=x_low,
            x_high=x_high,
            posts=posts,
            dots=dots,
            left=left,
            right=right,
        )
        rank = min(WORST.index(verdict.verdict) for _, verdict in group)
        return rank, Chart(svg, words("chart.band_title", what=what), alt, small=True)

    # ---- three legs ---------------------------------------------------------------------------

    def legs(self) -> list[Chart]:
        """Voltages or currents of three legs, where all three were measured at the same stage."""
        charts = []
        for names in LEGS:
            for stage in (Stage.AS_FOUND, None, Stage.AS_LEFT):
                for quantity in (Quantity.VOLTAGE, Quantity.CURRENT):
                    legs = [self._leg(name, stage, quantity) for name in names]
                    three = [one for one in legs if one is not None]
                    if len(three) == 3:
                        charts.append(self._three(three, stage, quantity))
        return charts

    def _leg(self, name: str, stage: Stage | None, quantity: Quantity) -> Reading | None:
        """The last measured figure of a leg."""
        fits = [
            one
            for one in self.draft.readings
            if one.subject == name
            and one.stage is stage
            and one.quantity is quantity
            and one.role is Role.MEASURED
            and one.superseded_by is None
            and one.value is not None
        ]
        return fits[-1] if fits else None

    def _three(self, legs: list[Reading], stage: Stage | None, quantity: Quantity) -> Chart:
        """Three dots on three lines: unequal legs show at a glance."""
        words = self.words
        values = [one.value or 0.0 for one in legs]
        spread = max(max(values) - min(values), 0.02 * max(abs(value) for value in values), 0.1)
        least, most = min(values) - spread * 0.6, max(values) + spread * 0.6
        left, right = 66.0, WIDTH - 70.0
        rows = []
        for number, one in enumerate(legs):
            x = left + ((one.value or 0.0) - least) / (most - least) * (right - left)
            dot = Dot(round(x, 1), 20.0 + 26.0 * number, self._text(one.value or 0.0, one.unit), not one.confirm)
            rows.append((words.term(one.subject).name, dot))
        what = capital(words(f"quantity.{quantity.value}"))
        if stage is not None:
            what = f"{what}, {words(f'stage.{stage.value}')}"
        told = "; ".join(f"{name} {dot.text}" for name, dot in rows)
        alt = words("chart.legs_alt", what=what, legs=told)
        svg = self._draw("legs", alt=alt, width=WIDTH, left=left, right=right, rows=rows)
        return Chart(svg, words("chart.legs_title", what=what), alt)


def _outside(group: Iterable[tuple[Reading, Check]]) -> bool:
    """Whether one of the figures lies outside its band."""
    return any(check.verdict is Verdict.OUT_OF_TOLERANCE for _, check in group)
