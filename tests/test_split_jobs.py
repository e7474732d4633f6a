"""Which lines of a day belong to which job."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from extractors.facts import Segment, Transcript
from extractors.jobs import split_jobs

CASES = tomllib.loads((Path(__file__).parent / "cases" / "jobs.toml").read_text(encoding="utf-8"))["case"]


def transcripts(sources: list[list[str]]) -> list[Transcript]:
    return [
        Transcript(segments=tuple(Segment(text=line, line=n) for n, line in enumerate(lines, 1))) for lines in sources
    ]


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_jobs_are_told_apart(case: dict[str, Any]) -> None:
    jobs = split_jobs(transcripts(case["sources"]))
    assert [[f"{source}:{line}" for source, lines in job for line in lines] for job in jobs] == case["jobs"]


def test_every_line_belongs_to_one_job() -> None:
    for case in CASES:
        lines = sorted(
            (s, i) for job in split_jobs(transcripts(case["sources"])) for s, indices in job for i in indices
        )
        assert lines == [(s, i) for s, source in enumerate(case["sources"]) for i in range(len(source))]


def test_nothing_said_is_still_a_job() -> None:
    assert split_jobs([]) == []
    assert split_jobs([Transcript()]) == [[(0, ())]]
    assert len(split_jobs([Transcript(), Transcript(segments=(Segment(text="box is forty"),))])) == 2
