"""Times of a series: the minutes that were said with a reading, from a clock time or a run time before it."""

from __future__ import annotations

from dataclasses import replace

from extractors.facts import Quantity
from extractors.scene import Scene
from extractors.settle import Entry

TIMED = (Quantity.TEMPERATURE, Quantity.PRESSURE, Quantity.TEMPERATURE_DIFFERENCE, Quantity.RESISTANCE)
REACH = 12  # tokens between a time and its reading
START_REACH = 70  # tokens back to the reading with which a series of run times began


def with_minutes(scene: Scene, entries: list[Entry]) -> tuple[list[Entry], set[int]]:
    """Entries with `minutes` where a time was said with them, and the figures that are such times.

    A run time counts from the reading before the first. A time of a series is no reading of its own.
    """
    times: set[int] = set()
    out: list[Entry] = []
    last: dict[tuple[str, Quantity], int] = {}
    for entry in entries:
        reading = entry.reading
        key = (reading.subject, reading.quantity)
        if reading.quantity in TIMED and reading.superseded_by is None and entry.filed is not None:
            before = out[last[key]].reading.minutes if key in last else None
            said = _said(scene, entry.filed.index, before)
            if said is not None:
                minutes, run_time = said
                times.add(entry.filed.index - 1)
                entry = replace(entry, reading=reading.model_copy(update={"minutes": minutes}))
                start = last.get(key)
                if run_time and start is not None and before is None:
                    first = out[start]
                    if entry.span.start - first.span.end <= START_REACH:
                        out[start] = replace(first, reading=first.reading.model_copy(update={"minutes": 0.0}))
            last[key] = len(out)
        out.append(entry)
    kept = [e for e in out if not (_is_time(e, times) and e.reading.superseded_by is None)]
    return kept, {e.filed.index for e in out if e.filed is not None and _is_time(e, times)}


def _is_time(entry: Entry, times: set[int]) -> bool:
    """Whether an entry is a duration that only tells when a reading of a series was taken."""
    work = entry.reading.subject in ("run time", "labor", "travel")
    return (
        entry.filed is not None and entry.filed.index in times and entry.reading.quantity is Quantity.DURATION and work
    )


def _said(scene: Scene, index: int, before: float | None) -> tuple[float, bool] | None:
    """Minutes said right before a figure, and whether they are a run time; None where no time was said."""
    if index == 0:
        return None
    figure, time = scene.figures[index], scene.figures[index - 1]
    if figure.span.start - time.span.end > REACH or not scene.same_sentence(figure, time):
        return None
    aside = scene.asides.get(index - 1)
    if aside is not None and aside.minutes is not None:
        return aside.minutes, False
    if time.value is None or not set(time.units) & {"min", "h"}:
        return None
    minutes = time.value * (60.0 if "h" in time.units else 1.0)
    words = (scene.passage.norm(time.span.end), scene.passage.norm(time.span.start - 1))
    if before is not None and (words[0] in ("later", "more") or words[1] == "another"):
        return before + minutes, True
    return minutes, True
