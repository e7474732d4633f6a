"""Small charts of a figure over the years, as SVG of our own: a point a reading, hollow as found, filled as left."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.history import Series
from pipeline.words import Words
from pipeline.words.figures import digits, unit_text

WIDTH, HEIGHT = 300.0, 96.0
LEFT, RIGHT, TOP, BOTTOM = 8.0, 8.0, 12.0, 20.0


@dataclass(frozen=True)
class Point:
    """One reading on the chart: place in the drawing, and what it says."""

    x: float
    y: float
    left: bool
    said: str
    job: str


@dataclass(frozen=True)
class Chart:
    """A chart ready to draw, with the same in words."""

    title: str
    unit: str
    points: tuple[Point, ...]
    path: str
    rated_y: float | None
    rated: str
    first: str
    last: str
    told: str
    rows: tuple[tuple[str, str, str, str], ...]


def chart(series: Series, words: Words) -> Chart:
    """The drawing of one series. The scale holds all points and the rated figure, never from nought by force."""
    days = [date.fromisoformat(day) for day, *_ in series.points]
    values = [value for _, _, value, _ in series.points]
    known = [*values, *([series.rated] if series.rated is not None else [])]
    low, high = min(known), max(known)
    span = (high - low) or max(abs(high), 1.0) * 0.1
    low, high = low - 0.1 * span, high + 0.1 * span
    first, last = min(days), max(days)
    width = max((last - first).days, 1)

    def x(day: date) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * (day - first).days / width, 1)

    def y(value: float) -> float:
        return round(TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low), 1)

    unit = unit_text(series.unit or None, words)
    points = tuple(
        Point(x(day), y(value), stage == "as_left", f"{day.isoformat()}: {digits(value, words)} {unit}".strip(), job)
        for day, (_, job, value, stage) in zip(days, series.points, strict=True)
    )
    name = words.term(series.subject).name
    title = f"{name}, {series.place}" if series.place else name
    told = f"{digits(values[0], words)} {unit} on {first.isoformat()}, {digits(values[-1], words)} {unit} on {last}"
    return Chart(
        title=f"{title}: {words(f'quantity.{series.quantity}')}",
        unit=unit,
        points=points,
        path=" ".join(f"{'M' if i == 0 else 'L'}{point.x} {point.y}" for i, point in enumerate(points)),
        rated_y=y(series.rated) if series.rated is not None else None,
        rated=f"{digits(series.rated, words)} {unit}" if series.rated is not None else "",
        first=first.isoformat(),
        last=last.isoformat(),
        told=told,
        rows=tuple(
            (day, f"{digits(value, words)} {unit}".strip(), words(f"stage.{stage}") if stage else "", job)
            for day, job, value, stage in series.points
        ),
    )
