"""Extraction against narrations of writers on whose wording nothing was built: floors that a change may not break.

The golds are one careful reader's opinion each. The floors lie a little under what was measured when they were set.
"""

from __future__ import annotations

from functools import cache

import pytest
from scoring import NARRATIONS, Score

SET_ASIDE = ("fb-",)
"""Names of the narrations that nobody tunes on and nothing learned from."""


@cache
def score() -> Score:
    total = Score()
    for path in sorted(NARRATIONS.glob("*.said.txt")):
        if path.name.startswith(SET_ASIDE):
            total.add(path.name.removesuffix(".said.txt"))
    return total


@pytest.fixture(scope="module")
def total() -> Score:
    return score()


def test_every_quote_stands_in_the_transcript(total: Score) -> None:
    assert total.quotes > 1000
    assert total.false_quotes == 0


def test_hardly_a_figure_is_lost(total: Score) -> None:
    assert total.per_100(total.lost) <= 3.4


def test_figures_are_found(total: Score) -> None:
    assert total.found / total.required >= 0.77


def test_few_wrong_figures_look_sure(total: Score) -> None:
    assert total.per_100(total.silently_wrong) <= 4.5
