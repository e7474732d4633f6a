"""Series of one thing over time: minutes, rate, before and after the repair.

Minutes come from what was said ("at twenty minutes", "9:35"). Seconds of a recording stand in for them only where the
recording evidently ran on without a pause: technicians stop the recorder while a box pulls down.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from extractors.facts import Quantity, Reading, Role, Stage
from extractors.units import convert
from pipeline.checks.pairing import identity
from pipeline.draft import Draft, Trend, TrendPoint

LEAST_SPAN_MIN = 10.0
"""A series timed by the recording alone must span this long, or the times say more about the talk than the machine."""
PAUSE_SLACK_MIN = 1.0
WITH_RATE = frozenset({Quantity.TEMPERATURE, Quantity.PRESSURE, Quantity.HUMIDITY, Quantity.MASS, Quantity.LENGTH})
NOT_ELAPSED = frozenset({"labor", "travel", "defrost timer", "time delay"})


def trends(draft: Draft) -> tuple[Trend, ...]:
    """Every series of the draft, in the order in which the series begin."""
    groups: dict[object, list[Reading]] = {}
    for reading in draft.readings:
        if reading.superseded_by is None and reading.role is Role.MEASURED and reading.value is not None:
            if reading.quantity is Quantity.DURATION:
                continue
            unit_kind = reading.unit
            key = (reading.quantity, reading.subject, identity(reading.place), unit_kind)
            groups.setdefault(key, []).append(reading)
    paused = _paused(draft.readings)
    found = []
    for group in groups.values():
        for points in _series(group, paused):
            found.append(points)
    order = {reading.id: place for place, reading in enumerate(draft.readings)}
    found.sort(key=lambda points: order[points[0][0].id])
    return tuple(_trend(f"t{number}", points) for number, points in enumerate(found, start=1))


def minutes_of(reading: Reading) -> float | None:
    """Minutes of the series at which a reading was said to be taken; None when nobody said."""
    minutes = getattr(reading, "minutes", None)
    return None if minutes is None else float(minutes)


def _series(group: Sequence[Reading], paused: set[int]) -> list[list[tuple[Reading, float]]]:
    """The runs of one thing's readings that belong together, with minutes."""
    timed = [(reading, minutes) for reading in group if (minutes := minutes_of(reading)) is not None]
    if not timed:
        timed = _by_recording(group, paused)
    runs: list[list[tuple[Reading, float]]] = []
    for reading, minutes in timed:
        last = runs[-1] if runs else None
        if last and minutes > last[-1][1] and _one_stage(last, reading):
            last.append((reading, minutes))
        else:
            runs.append([(reading, minutes)])
    return [run for run in runs if len(run) > 1]


def _one_stage(run: Sequence[tuple[Reading, float]], reading: Reading) -> bool:
    """Whether a reading may continue a series: not across the repair."""
    stages = {other.stage for other, _ in run if other.stage}
    return not stages or reading.stage is None or reading.stage in stages


def _by_recording(group: Sequence[Reading], paused: set[int]) -> list[tuple[Reading, float]]:
    """Minutes from the seconds of one recording, where that evidently ran on."""
    timed = [reading for reading in group if reading.at is not None and reading.evidence.recording not in paused]
    if len({reading.evidence.recording for reading in timed}) != 1:
        return []
    minutes = [(reading, (reading.at or 0.0) / 60) for reading in timed]
    minutes.sort(key=lambda pair: pair[1])
    long_enough = minutes[-1][1] - minutes[0][1] >= LEAST_SPAN_MIN
    return minutes if long_enough else []


def _paused(readings: Iterable[Reading]) -> set[int]:
    """Recordings that were stopped in between: somebody says a longer time has passed than was recorded."""
    stopped = set()
    for reading in readings:
        said = minutes_of(reading)
        if reading.quantity is Quantity.DURATION and reading.role is Role.MEASURED and reading.unit:
            longest = reading.value if reading.value is not None else reading.high
            said = convert(longest, reading.unit, "min") if longest is not None else None
            if reading.subject in NOT_ELAPSED:
                said = None
        if said is not None and reading.at is not None and said > reading.at / 60 + PAUSE_SLACK_MIN:
            stopped.add(reading.evidence.recording)
    return stopped


def _trend(trend_id: str, points: Sequence[tuple[Reading, float]]) -> Trend:
    """One series with its rate."""
    first, start = points[0]
    last, end = points[-1]
    hours = (end - start) / 60
    rate = ((last.value or 0.0) - (first.value or 0.0)) / hours if first.quantity in WITH_RATE and hours > 0 else None
    stages = [reading.stage for reading, _ in points if reading.stage]
    place = next((reading.place for reading, _ in points if reading.place), None)
    return Trend(
        id=trend_id,
        subject=first.subject,
        place=place,
        quantity=first.quantity,
        unit=first.unit,
        points=tuple(
            TrendPoint(reading=reading.id, minutes=round(minutes - start, 3), value=reading.value or 0.0)
            for reading, minutes in points
        ),
        rate_per_h=None if rate is None else round(rate, 4),
        stage=stages[-1] if stages else None,
    )


def fall_per_h(trend: Trend) -> float | None:
    """How fast a series falls, in its own unit an hour; negative while it rises."""
    return None if trend.rate_per_h is None else -trend.rate_per_h


def minutes_to(trend: Trend, target: float) -> float | None:
    """Minutes from the last point to a target at the straight-line rate: a lower bound, for a pull-down slows.

    `target` in the trend's unit. Zero when it is reached; None when the series moves away or has no rate.
    """
    last = trend.points[-1].value
    rate = trend.rate_per_h
    if rate is None:
        return None
    distance = target - last
    if distance == 0 or (rate < 0) == (distance > 0):
        return 0.0 if _reached(trend, target) else None
    return distance / rate * 60 if rate else None


def _reached(trend: Trend, target: float) -> bool:
    """Whether a series has passed a target on its way."""
    return any(min(a.value, b.value) <= target <= max(a.value, b.value) for a, b in pairwise(trend.points))


def side_by_side(all_trends: Iterable[Trend], subject: str) -> tuple[Trend | None, Trend | None]:
    """The series of a subject as found and as left, either None: the proof that a customer understands."""
    mine = [trend for trend in all_trends if trend.subject == subject and trend.quantity is Quantity.TEMPERATURE]
    return (
        next((trend for trend in mine if trend.stage is Stage.AS_FOUND), None),
        next((trend for trend in reversed(mine) if trend.stage is Stage.AS_LEFT), None),
    )
