"""Drawings: round ticks, every figure in its place, doubt shown by a hollow dot, limits as posts."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest
from render_drafts import draft, reading

from extractors.facts import Stage
from pipeline.draft import Basis, Check, Draft, Trend, TrendPoint
from pipeline.render.charts import Chart, Charts, nice_step, ticks_between
from pipeline.render.statements import Statements
from pipeline.render.tables import Tables
from pipeline.words import load_words


def charts(job: Draft, units: str = "said") -> Charts:
    words = load_words()
    return Charts(job, words, units, Tables(job, words, units, Statements(job, words, units)), None)


@pytest.mark.parametrize(("span", "step"), [(10, 2), (17, 5), (100, 20), (0.9, 0.2), (3.1, 1), (0.04, 0.01)])
def test_steps_are_round(span: float, step: float) -> None:
    assert nice_step(span) == pytest.approx(step)


@pytest.mark.parametrize(("low", "high"), [(37, 54), (-10.0, 19.0), (0.1, 0.9), (5, 5), (1199.5, 1203)])
def test_ticks_hold_all_values(low: float, high: float) -> None:
    ticks = ticks_between(low, high)

    assert ticks[0] <= low
    assert ticks[-1] >= high
    assert 2 <= len(ticks) <= 8


def series(*values: float, doubtful: int = -1) -> Draft:
    readings = tuple(
        reading(f"r{number}", value, stage="as_left", confirm=("teen or ty",) if number == doubtful else ())
        for number, value in enumerate(values)
    )
    points = tuple(
        TrendPoint(reading=one.id, minutes=20.0 * number, value=one.value or 0.0) for number, one in enumerate(readings)
    )
    trend = Trend(id="t1", subject="box", quantity="temperature", unit="degF", points=points, stage="as_left")
    return Draft(readings=readings, trends=(trend,))


def dots(chart: Chart) -> list[tuple[float, float, str]]:
    found = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)".*?fill="(#\w+)"', chart.svg)
    return [(float(x), float(y), fill) for x, y, fill in found]


def test_falling_series_falls_on_paper_and_is_spaced_by_time() -> None:
    (chart,) = charts(series(49, 45, 41, 37)).trends()
    places = dots(chart)

    assert [y for _, y, _ in places] == sorted(y for _, y, _ in places)
    gaps = [right[0] - left[0] for left, right in pairwise(places)]
    assert max(gaps) - min(gaps) < 0.2
    assert chart.alt == (
        "Box, temperature over time: 49\u00a0°F at the start; 45\u00a0°F after 20 min; 41\u00a0°F after 40 min; "
        "37\u00a0°F after 60 min."
    )


def test_doubtful_point_is_hollow_and_said_to_be_so() -> None:
    (chart,) = charts(series(49, 45, 37, doubtful=1)).trends()

    assert [fill for _, _, fill in dots(chart)] == ["#17495a", "#ffffff", "#17495a"]
    assert "45\u00a0°F after 20 min (not yet confirmed)" in chart.alt


def test_two_points_alone_are_no_drawing() -> None:
    assert charts(series(49, 45)).trends() == []


def test_before_and_after_share_a_drawing() -> None:
    job = series(60, 58, 57)
    before = job.trends[0].model_copy(update={"id": "t2", "stage": Stage.AS_FOUND})
    job = job.model_copy(update={"trends": (job.trends[0], before)})
    (chart,) = charts(job).trends()

    assert chart.svg.count('stroke-dasharray="6 4"') == 1
    assert "as left" in chart.svg
    assert "as found" in chart.svg


def check(value: float, verdict: str, low: float | None, high: float | None, unit: str = "degF") -> Draft:
    judged = Check(
        id="c1", rule="x", readings=("r1",), verdict=verdict, value=value, allowed_low=low, allowed_high=high,
        unit=unit, message="", basis=Basis(kind="standard", source=""),
    )  # fmt: skip
    return Draft(readings=(reading("r1", value),), checks=(judged,))


@pytest.mark.parametrize(
    ("value", "verdict", "low", "high", "words"),
    [
        (37, "in_tolerance", 33, 41, "allowed 33 to 41\u00a0°F, within"),
        (54, "out_of_tolerance", 33, 41, "allowed 33 to 41\u00a0°F, outside, high"),
        (12, "out_of_tolerance", 33, 41, "allowed 33 to 41\u00a0°F, outside, low"),
        (34, "marginal", 33, 41, "allowed 33 to 41\u00a0°F, near the edge, low"),
        (54, "out_of_tolerance", None, 41, "allowed at most 41\u00a0°F, outside, high"),
        (54, "in_tolerance", 41, None, "allowed at least 41\u00a0°F, within"),
    ],
)
def test_dot_stands_on_the_side_that_the_verdict_says(
    value: float, verdict: str, low: float | None, high: float | None, words: str
) -> None:
    (chart,) = charts(check(value, verdict, low, high)).bands()
    ((x, _, _),) = dots(chart)
    posts = [float(post) for post in re.findall(r'<path d="M([\d.]+) 24v20"', chart.svg)]
    inside = (low is None or x >= posts[0]) and (high is None or x <= posts[-1])

    assert len(posts) == sum(end is not None for end in (low, high))
    assert inside == (verdict != "out_of_tolerance")
    assert chart.alt.endswith(words)


def test_comparison_in_percent_is_drawn_in_the_readings_own_unit() -> None:
    found = charts(draft("walkin-roof-start-gear")).bands()

    assert any("34.6\u00a0µF, allowed 32.9 to 37.1\u00a0µF, within" in chart.alt for chart in found)


def test_three_legs_are_drawn_only_when_all_three_were_measured() -> None:
    legs = tuple(
        reading(f"r{number}", volts, subject=leg, unit="V", quantity="voltage", stage="as_found")
        for number, (leg, volts) in enumerate((("L1-L2", 236.0), ("L2-L3", 229.0), ("L1-L3", 232.0)))
    )
    (chart,) = charts(Draft(readings=legs)).legs()

    assert chart.alt == "Voltage, as found: L1 to L2 236\u00a0V; L2 to L3 229\u00a0V; L1 to L3 232\u00a0V."
    assert charts(Draft(readings=legs[:2])).legs() == []


def test_drawing_in_other_units_tells_them() -> None:
    (chart,) = charts(series(50, 41, 32), "SI").trends()

    assert "10\u00a0°C at the start; 5\u00a0°C after 20 min; 0\u00a0°C after 40 min" in chart.alt
