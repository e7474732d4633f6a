"""The papers: every form there, the same bytes twice, nothing of the draft lost, nothing of its markup let through."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from pipeline.draft import Draft, load
from pipeline.render import papers

DRAFTS = Path(__file__).parent / "drafts"
NAMES = tuple(sorted(path.stem for path in DRAFTS.glob("*.json")))


def draft(name: str) -> Draft:
    return load((DRAFTS / f"{name}.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", NAMES)
def test_same_draft_gives_same_bytes(name: str) -> None:
    assert papers(draft(name)) == papers(draft(name))


@pytest.mark.parametrize("name", NAMES)
def test_every_reading_stands_in_the_report_and_the_table(name: str) -> None:
    job = draft(name)
    made = papers(job, names=["report"])
    rows = list(csv.DictReader(io.StringIO(made["readings.csv"].decode())))

    assert [row["id"] for row in rows] == [reading.id for reading in job.readings]
    html = made["report.html"].decode()
    assert html.count('<th scope="row">') >= len(job.readings)
