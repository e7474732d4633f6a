"""Arrival, leaving, house, names, date and reference as they are said, and what only sounds like them."""

from __future__ import annotations

from typing import Any

import pytest
from told import found_before, rows, talk_of

from extractors.clocks import clock_at
from extractors.find.visit import find


@pytest.mark.parametrize(("say", "case"), rows("visit"))
def test_visit_is_told(say: str, case: dict[str, Any]) -> None:
    talk = talk_of(say)
    visit = find(talk, found_before(talk))
    for field, want in case["want"].items():
        have = getattr(visit, field)
        assert (have.value if have else "-") == want, field
        if have is not None:
            assert have.evidence.quote in say.replace(" / ", " ")


@pytest.mark.parametrize(
    ("said", "want"),
    [
        ("quarter past one", "1:15"),
        ("ten to two", "1:50"),
        ("half past four", "4:30"),
        ("half 4", "4:30"),
        ("seven fifty", "7:50"),
        ("six oh five", "6:05"),
        ("8:25", "8:25"),
        ("noon", "12:00 pm"),
        ("twenty past nine in the morning", "9:20 am"),
        ("five to one", "12:55"),
        ("eleven thirty-five pm", "11:35 pm"),
        ("14:05", "14:05"),
    ],
)
def test_clock(said: str, want: str) -> None:
    clock = clock_at(talk_of(said).passage, 0)
    assert clock is not None
    assert clock.text == want


@pytest.mark.parametrize(
    "said", ["one eighteen volts", "thirteen fifteen", "half an inch", "seven seventy", "forty to two hundred"]
)
def test_no_clock(said: str) -> None:
    clock = clock_at(talk_of(said).passage, 0)
    assert clock is None or clock.span.end < len(talk_of(said).passage.tokens)


def test_about_a_time_is_asked_again() -> None:
    talk = talk_of("I got there about quarter past one")
    visit = find(talk, found_before(talk))
    assert visit.arrived is not None
    assert visit.arrived.confirm[0].startswith("speaker not sure")


def test_a_models_figures_are_no_time() -> None:
    talk = talk_of("the type plate reads T K ten, oblique, three fifty, serial number two two zero six one")
    assert find(talk, found_before(talk)).arrived is None
