"""Which stretch of which source belongs to which job of the day."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from extractors.facts import Segment
from pipeline import versions
from pipeline.draft import MadeWith, Recording, Stretch
from pipeline.hear import Heard
from pipeline.ingest import Source
from pipeline.run import Part

JobPlan = tuple[tuple[int, tuple[int, ...]], ...]
"""A job as sources by index, each with the indices of its segments that belong to the job."""


def plans_of(heard: Sequence[Heard], *, one_job: bool) -> tuple[list[JobPlan], str | None]:
    """The jobs of the day in the order in which they begin, and a sentence when the split itself failed.

    A fault in finding the cues must not cost the day: each source is then a job of its own.
    """
    whole = [(number, tuple(range(len(one.transcript.segments)))) for number, one in enumerate(heard)]
    if not whole:
        return [], None
    if one_job:
        return [tuple(whole)], None
    try:
        from extractors.jobs import split_jobs

        jobs = split_jobs([one.transcript for one in heard])
        return [tuple((number, chosen) for number, chosen in job if chosen) for job in jobs if any(job)], None
    except Exception as fault:
        return [(one,) for one in whole], f"The jobs could not be told apart ({type(fault).__name__}: {fault})."


def part_of(source: Source, heard: Heard, chosen: Sequence[int]) -> Part:
    """What the source says about one job: its chosen segments, and the speech there that could not be heard."""
    segments = heard.transcript.segments
    first, last = _main_stretch(chosen)
    whole = len(chosen) == len(segments)
    return Part(
        recording=Recording(
            file=source.path.name,
            sha256=source.sha256,
            duration_s=heard.duration_s,
            starts_s=0.0 if first == 0 and segments[0].start is not None else segments[first].start,
            ends_s=_end(segments, last, heard.duration_s),
            recorded_at=source.recorded_at,
            recorded_at_from=source.recorded_at_from,
            grade=heard.grade,
        ),
        segments=tuple(segments[index] for index in chosen),
        unheard=tuple(
            stretch for stretch in heard.unheard if whole or _segment_before(segments, stretch) in set(chosen)
        ),
    )


def _main_stretch(chosen: Sequence[int]) -> tuple[int, int]:
    """First and last of the longest run of neighbours; a remark made later is not part of it."""
    runs = [
        [index for _, index in group]
        for _, group in groupby(enumerate(sorted(chosen)), key=lambda pair: pair[1] - pair[0])
    ]
    longest = max(runs, key=len)
    return longest[0], longest[-1]


def _end(segments: Sequence[Segment], last: int, duration_s: float | None) -> float | None:
    """Where the stretch ends in seconds: where the next job's begins, or with the source."""
    if last + 1 < len(segments):
        return segments[last + 1].start
    return duration_s if duration_s is not None else segments[last].end


def _segment_before(segments: Sequence[Segment], stretch: Stretch) -> int:
    """The index of the last segment that begins before the stretch; the first one when none does."""
    before = [index for index, one in enumerate(segments) if one.start is not None and one.start <= stretch.start]
    return before[-1] if before else 0


def made_with(heard: Sequence[Heard]) -> MadeWith:
    """The versions that decide the result of a job made of these sources."""
    sound = next((one for one in heard if one.hearing != "imported"), heard[0])
    return MadeWith(
        program=versions.program(),
        speech_model=sound.speech_model,
        model_sha256=sound.model_sha256,
        hearing=sound.hearing,
        trade_data=versions.trade_data(),
        settings=dict(sound.settings),
    )
