"""Series over time: minutes, rates, before and after, and when the recording's own clock may be trusted."""

from __future__ import annotations

import pytest
from checking import cases, job

from pipeline.checks import check
from pipeline.checks.trends import fall_per_h, minutes_of, minutes_to, side_by_side, trends
from pipeline.draft import Trend

BOX = "measured temperature | box | {} degF | {}"


def one(*rows: str) -> Trend:
    """The only trend of some readings."""
    found = trends(job(*rows))
    assert len(found) == 1
    return found[0]


def timed(stage: str, *points: tuple[float, float]) -> list[str]:
    """Box temperatures at seconds of the recording."""
    return [BOX.format(degf, f"stage={stage} at={at}") for degf, at in points]


def test_a_series_by_the_recording() -> None:
    trend = one(*timed("as_left", (52, 60), (45, 1560), (38, 2760)))
    assert [(point.reading, point.minutes, point.value) for point in trend.points] == [
        ("r1", 0, 52), ("r2", 25, 45), ("r3", 45, 38),
    ]  # fmt: skip
    assert trend.rate_per_h == pytest.approx(-18.6667, abs=5e-4)
    assert fall_per_h(trend) == pytest.approx(18.6667, abs=5e-4)
    assert (trend.subject, trend.unit, trend.stage) == ("box", "degF", "as_left")


def test_two_minutes_of_talk_are_no_series() -> None:
    assert trends(job(*timed("as_left", (52, 60), (50, 120)))) == ()


def test_a_recording_that_was_stopped_tells_no_time() -> None:
    rows = timed("as_left", (52, 60), (38, 700))
    assert len(trends(job(*rows))) == 1
    assert trends(job(*rows, "measured duration | run time | 70 min | at=650")) == ()
    assert len(trends(job(*rows, "measured duration | labor | 240 min | at=690"))) == 1


def test_text_without_times_has_no_series() -> None:
    assert trends(job(BOX.format(52, "line=3"), BOX.format(45, "line=4"), BOX.format(38, "line=5"))) == ()


def test_before_and_after_are_two_series_side_by_side() -> None:
    draft = job(*timed("as_found", (52, 0), (50, 1800)), *timed("as_left", (52, 3600), (38, 6300)))
    before, after = side_by_side(trends(draft), "box")
    assert before and after
    assert (fall_per_h(before), fall_per_h(after)) == (pytest.approx(4.0), pytest.approx(18.6667, abs=5e-4))
    assert [trend.id for trend in trends(draft)] == ["t1", "t2"]
    assert check(draft).trends == trends(draft)


def test_left_and_right_are_two_series() -> None:
    rows = [
        BOX.format(degf, f"place={place} at={at}")
        for degf, place, at in ((50, "left", 0), (48, "right", 5), (40, "left", 1800), (41, "right", 1805))
    ]
    assert [trend.place for trend in trends(job(*rows))] == ["left", "right"]


@cases("last, target, minutes", "38, 36, 6.4286; 38, 38, 0; 38, 45, 0; 38, 60, -; 52, 36, -;")
def test_straight_line_time_to_a_target(last: float, target: float, minutes: float | None) -> None:
    """From 52 °F in 45 min: a lower bound, nothing for a series that moves away or stands still."""
    found = minutes_to(one(*timed("as_left", (52, 0), (last, 2700))), target)
    assert found == (pytest.approx(minutes, abs=5e-4) if minutes is not None else None)


def test_corrected_readings_and_ratings_are_no_points() -> None:
    rows = [*timed("as_left", (52, 0), (38, 2700)), BOX.format(99, "at=1200 superseded=r2")]
    assert len(one(*rows, "rated temperature | box | 38 degF | at=2000").points) == 2


def said_at(monkeypatch: pytest.MonkeyPatch, *minutes: float | None) -> None:
    """Lets the readings r1, r2, … say these minutes, whatever field of theirs holds them."""
    times = {f"r{number}": one for number, one in enumerate(minutes, start=1)}
    monkeypatch.setattr("pipeline.checks.trends.minutes_of", lambda reading: times[reading.id])


def test_minutes_that_were_said_go_before_the_recording(monkeypatch: pytest.MonkeyPatch) -> None:
    said_at(monkeypatch, None, 20, 70, 120)
    trend = one(*timed("as_found", (54, 83)), *timed("as_left", (49, 695), (41, 725), (37, 777)))
    assert [point.minutes for point in trend.points] == [0, 50, 100]
    assert trend.rate_per_h == pytest.approx(-7.2)


def test_a_series_that_begins_again_is_another_series(monkeypatch: pytest.MonkeyPatch) -> None:
    said_at(monkeypatch, 15, 25, 40, 5, 10)
    rows = [f"measured pressure | system | {microns} micron" for microns in (2400, 1150, 480, 610, 640)]
    assert [len(trend.points) for trend in trends(job(*rows))] == [3, 2]


def test_the_minutes_of_a_reading_are_its_own_or_none() -> None:
    assert minutes_of(job(BOX.format(38, "at=5")).readings[0]) is None
