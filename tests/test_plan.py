"""Which stretch of a recording is whose."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import SHORT, run

from extractors.facts import Segment, Transcript
from pipeline.day import Wish
from pipeline.hear import Heard
from pipeline.ingest import Source
from pipeline.plan import part_of, plans_of

pytestmark = pytest.mark.filterwarnings("ignore")


def heard(*texts: str, unheard: tuple[tuple[float, float], ...] = ()) -> Heard:
    segments = tuple(Segment(start=10.0 * n, end=10.0 * n + 8, text=text) for n, text in enumerate(texts))
    return Heard.model_validate(
        {
            "transcript": Transcript(segments=segments),
            "duration_s": 10.0 * len(texts),
            "unheard": [{"start": start, "end": end} for start, end in unheard],
            "hearing": "careful",
        }
    )


SOURCE = Source(Path("day.m4a"), "day", "sound", "00")


def test_a_job_is_bounded_by_its_neighbours_and_a_later_remark_does_not_widen_it() -> None:
    one = heard("first", "more", "second", "more", "oh, and the first", unheard=((18.2, 19.6), (28.5, 29.9)))
    first, second = part_of(SOURCE, one, (0, 1, 4)), part_of(SOURCE, one, (2, 3))

    assert (first.recording.starts_s, first.recording.ends_s) == (0.0, 20.0)
    assert (second.recording.starts_s, second.recording.ends_s) == (20.0, 40.0)
    assert [segment.text for segment in first.segments] == ["first", "more", "oh, and the first"]
    assert ([len(part.unheard) for part in (first, second)]) == [1, 1]


def test_a_whole_source_lasts_from_its_start_to_its_end() -> None:
    part = part_of(SOURCE, heard("first", "more", unheard=((0.0, 1.0),)), (0, 1))

    assert (part.recording.starts_s, part.recording.ends_s, len(part.unheard)) == (0.0, 20.0, 1)


def test_one_job_joins_all_sources() -> None:
    plans, fault = plans_of([heard("first"), heard("second", "third")], one_job=True)

    assert plans == [((0, (0,)), (1, (0, 1)))]
    assert fault is None


def test_one_job_numbers_its_recordings(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.txt").write_text(SHORT)
    draft = run(tmp_path / "a.txt", tmp_path / "b.txt", out=tmp_path / "out", wish=Wish(one_job=True)).jobs[0].draft

    assert [recording.file for recording in draft.recordings] == ["a.txt", "b.txt"]
    assert [segment.recording for segment in draft.transcript.segments] == [0, 1]
