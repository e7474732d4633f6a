"""What is to be done after the visit, and returns that are none."""

from __future__ import annotations

from typing import Any

import pytest
from told import rows, talk_of

from extractors.find.follow_ups import find, when_at
from extractors.registry import Found


@pytest.mark.parametrize(("say", "case"), rows("follow_ups"))
def test_follow_up_is_told(say: str, case: dict[str, Any]) -> None:
    have = find(talk_of(say), Found())
    assert len(have) == len(case["want"])
    for one, (words, when) in zip(have, case["want"], strict=True):
        assert words.lower() in one.text.lower()
        assert (one.when or "") == when
        assert one.date is None
        assert one.evidence.quote in say.replace(" / ", " ")


@pytest.mark.parametrize(
    ("said", "want"),
    [
        ("in two weeks", 3),
        ("in about 5 days", 4),
        ("next fall", 2),
        ("Thursday week", 2),
        ("tomorrow", 1),
        ("in October", 2),
        ("when the blades come in", 5),
        ("in a couple of days", 5),
        ("on the twelfth", 3),
    ],
)
def test_when(said: str, want: int) -> None:
    span = when_at(talk_of(said).passage, 0)
    assert span is not None
    assert span.end - span.start == want
