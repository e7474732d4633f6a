"""The complaint in the customer's words, and talk that holds none."""

from __future__ import annotations

from typing import Any

import pytest
from told import rows, talk_of

from extractors.find.complaint import find, tidy
from extractors.registry import Found


@pytest.mark.parametrize(("say", "case"), rows("complaint"))
def test_complaint_is_told(say: str, case: dict[str, Any]) -> None:
    have = find(talk_of(say), Found())
    if not case["want"]:
        assert have is None
        return
    assert have is not None
    assert case["want"].lower() in have.text.lower()
    assert have.evidence.quote in say.replace(" / ", " ")


def test_the_telling_of_the_speaker_is_left_out() -> None:
    have = find(talk_of("she says it quits at noon and the ice is soft, but my probe says thirty eight"), Found())
    assert have is not None
    assert have.text == "It quits at noon and the ice is soft"


@pytest.mark.parametrize(
    ("said", "want"),
    [
        ("um the top's warm, ", "The top's warm"),
        ("quote, i'm out of ice", "Quote, I'm out of ice"),
        ("it hums  and quits;", "It hums and quits"),
    ],
)
def test_tidy(said: str, want: str) -> None:
    assert tidy(said) == want
