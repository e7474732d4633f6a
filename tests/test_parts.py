"""Parts as they are told: used, to order, on hand, with number and count; near misses give none."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from extractors.facts import Part, Segment, Transcript
from extractors.find import equipment, findings, parts
from extractors.passage import make_passage
from extractors.registry import Found
from extractors.talk import Talk

CASES = Path(__file__).parent / "cases" / "parts.toml"


def found_in(*lines: str) -> tuple[Part, ...]:
    """The parts of a telling."""
    talk = Talk(make_passage(Transcript(segments=tuple(Segment(text=line, line=n) for n, line in enumerate(lines, 1)))))
    found = Found()
    found.facts["equipment"] = equipment.find(talk, found)
    found.facts["findings"] = findings.find(talk, found)
    return parts.find(talk, found)


def rows() -> list[Any]:
    table = tomllib.loads(CASES.read_text(encoding="utf-8"))
    return [pytest.param(say, case["want"], id=say[:60]) for case in table["case"] for say in case["say"]]


def bare(number: str | None) -> str:
    return "".join(ch for ch in (number or "").lower() if ch.isalnum())


@pytest.mark.parametrize(("say", "want"), rows())
def test_parts_are_told(say: str, want: list[list[Any]]) -> None:
    have = found_in(*say.split(" / "))
    assert sorted((p.status.value, p.component, bare(p.part_number), p.quantity or 0) for p in have) == sorted(
        (status, component, bare(number), quantity) for status, component, number, quantity in want
    )
    for part in have:
        assert part.evidence.quote in " ".join(say.split(" / "))


def test_rating_is_kept_as_said() -> None:
    (part,) = found_in("put in a new run capacitor, 35 microfarads, 440 volts")
    assert part.rating == "35 microfarads, 440 volts"


def test_letters_that_sound_alike_are_asked_again() -> None:
    (part,) = found_in("new drier, part number F D 0 3")
    assert part.part_number == "FD03"
    assert part.confirm


def test_same_number_goes_to_the_ordered_part() -> None:
    have = found_in("new filter on, that's F L 77", "order one filter for stock, same number")
    assert [(p.status.value, p.part_number) for p in have] == [("used", "FL77"), ("to_order", "FL77")]
