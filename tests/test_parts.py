"""Parts as they are told: used, to order, on hand, with number and count; near misses give none."""

from __future__ import annotations

from typing import Any

import pytest
from told import found_before, rows, talk_of

from extractors.facts import Part
from extractors.find import parts


def found_in(*lines: str) -> tuple[Part, ...]:
    """The parts of a telling."""
    talk = talk_of(" / ".join(lines))
    return parts.find(talk, found_before(talk))


def bare(number: str | None) -> str:
    return "".join(ch for ch in (number or "").lower() if ch.isalnum())


@pytest.mark.parametrize(("say", "case"), rows("parts"))
def test_parts_are_told(say: str, case: dict[str, Any]) -> None:
    have = found_in(*say.split(" / "))
    assert sorted((p.status.value, p.component, bare(p.part_number), p.quantity or 0) for p in have) == sorted(
        (status, component, bare(number), quantity) for status, component, number, quantity in case["want"]
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
