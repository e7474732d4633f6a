"""Small charts of a figure over the years, as SVG of our own: hollow as found, filled as left, dotted while doubted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from pipeline.history import Series
from pipeline.words import Words
from pipeline.words.figures import digits, unit_text

WIDTH, HEIGHT = 300.0, 110.0
LEFT, RIGHT, TOP, BOTTOM = 10.0, 42.0, 16.0, 20.0


@dataclass(frozen=True)
class Dot:
    """One reading on the chart: its place in the drawing, how it is drawn, and what it says."""

    x: float
    y: float
    style: str
    said: str
    label: str = ""


@dataclass(frozen=True)
class Row:
    """The same reading in the table below the chart."""

    day: str
    figure: str
    stage: str
    job: str
    doubtful: bool


@dataclass(frozen=True)
class Chart:
    """A chart ready to draw, with the same in words."""

    title: str
    unit: str
    dots: tuple[Dot, ...]
    paths: tuple[str, ...]
    rated_y: float | None
    rated: str
    first: str
    last: str
    told: str
    rows: tuple[Row, ...]


def chart(series: Series, words: Words) -> Chart:
    """The drawing of one series. The scale holds all points and the rated figure, and does not begin at nought.

    What was found and what was left are two lines: one line through both would only show that work was done.
    """
    points = series.points
    days = [date.fromisoformat(point.day) for point in points]
    known = [point.value for point in points] + ([series.rated] if series.rated is not None else [])
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
    name = words.term(series.subject).name
    title = f"{name}, {series.place}" if series.place else name
    newest = {point.stage: i for i, point in enumerate(points)}
    lines: dict[str, list[tuple[float, float]]] = {}
    dots = []
    for i, (day, point) in enumerate(zip(days, points, strict=True)):
        lines.setdefault(point.stage, []).append((x(day), y(point.value)))
        style = " ".join(filter(None, ("left" if point.stage == "as_left" else "", "asked" if point.doubtful else "")))
        figure = f"{digits(point.value, words)} {unit}".strip()
        label = digits(point.value, words) if newest[point.stage] == i else ""
        dots.append(Dot(x(day), y(point.value), style, f"{point.day}: {figure}", label))
    began, ended = points[0], points[-1]
    return Chart(
        title=f"{title}: {words(f'quantity.{series.quantity}')}",
        unit=unit,
        dots=tuple(dots),
        paths=tuple(
            " ".join(f"{'L' if i else 'M'}{a} {b}" for i, (a, b) in enumerate(line)) for line in lines.values()
        ),
        rated_y=y(series.rated) if series.rated is not None else None,
        rated=digits(series.rated, words) if series.rated is not None else "",
        first=began.day,
        last=ended.day,
        told=f"{digits(began.value, words)} {unit} on {began.day}, {digits(ended.value, words)} {unit} on {ended.day}",
        rows=tuple(
            Row(
                point.day,
                f"{digits(point.value, words)} {unit}".strip(),
                words(f"stage.{point.stage}") if point.stage else "",
                point.job_id,
                point.doubtful,
            )
            for point in points
        ),
    )
