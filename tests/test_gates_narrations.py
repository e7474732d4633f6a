"""The gates on figures that careful readers took from whole narrations: right figures are left alone.

The narrations are invented. A flag on a right figure costs trust in flags, so hardly any may be asked about.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from extractors.facts import Equipment, Evidence, Qualifier, Reading, Said
from pipeline.checks import check
from pipeline.draft import Draft

FOLDER = Path(__file__).parent / "narrations"
NARRATIONS = sorted(FOLDER.glob("*.gold.json"))
MOST_FLAGGED = 0.01


def first(value: Any) -> Any:
    """The first of several accepted values."""
    return value[0] if isinstance(value, list) else value


def jobs(path: Path) -> Iterator[Draft]:
    """The jobs of a narration as drafts of what its careful reader wrote down."""
    gold = json.loads(path.read_text(encoding="utf-8"))
    said = (
        path.with_name(path.name.replace(".gold.json", ".said.txt")).read_text(encoding="utf-8").casefold().splitlines()
    )
    for one in gold.get("jobs") or [None]:
        rows = [row for row in gold["readings"] if one is None or row.get("job") == one["job"]]
        equipment = (one or gold)["equipment"]
        readings = [_reading(number, row, said) for number, row in enumerate(rows, start=1)]
        yield Draft(
            equipment=Equipment(type=_said(equipment.get("type")), refrigerant=_said(equipment.get("refrigerant"))),
            readings=tuple(readings),
        )


def _said(value: Any) -> Said | None:
    return Said(value=first(value)) if value else None


def _reading(number: int, row: dict[str, Any], said: list[str]) -> Reading:
    line = next((place for place, text in enumerate(said, start=1) if row["quote"].casefold() in text), None)
    known = {mark.value for mark in Qualifier}
    return Reading(
        id=f"r{number}",
        **{name: first(row.get(name)) for name in ("quantity", "subject", "role", "value", "unit", "place", "of")},
        low=row.get("low"),
        high=row.get("high"),
        rating=first(row.get("rating")),
        stage=first(row.get("stage")),
        qualifiers=tuple(mark for mark in row.get("qualifiers") or () if mark in known),
        evidence=Evidence(quote=row["quote"], line=line),
    )


@pytest.mark.parametrize("path", NARRATIONS, ids=lambda path: path.name.split(".")[0])
def test_checks_of_a_narration_raise_nothing(path: Path) -> None:
    for draft in jobs(path):
        result = check(draft)
        assert result.problems == ()
        assert all(one.message for one in result.checks)


def test_right_figures_are_left_alone() -> None:
    every = [reading for path in NARRATIONS for draft in jobs(path) for reading in check(draft).readings]
    flagged = [reading for reading in every if reading.confirm]
    assert len(every) > 300
    assert len(flagged) <= MOST_FLAGGED * len(every), [(one.evidence.quote, one.confirm) for one in flagged]
