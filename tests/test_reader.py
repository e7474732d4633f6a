"""The model that read annotated talks: every figure gets its impression, once, and the shares are shares."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from extractors.facts import Segment, Transcript
from extractors.passage import make_passage
from extractors.reader import AFTER, BEFORE, WINDOW, Impression, Pieces, reader, share_word, windows
from extractors.talk import Talk


def talk(*lines: str) -> Talk:
    return Talk(make_passage(Transcript(segments=tuple(Segment(text=t, line=n) for n, t in enumerate(lines, 1)))))


def impressions(*lines: str) -> list[Impression]:
    said = talk(*lines)
    return reader().read(said.passage, said.figures, said.mentions)


def likeliest(table: object) -> str:
    assert isinstance(table, dict)
    return str(max(table, key=lambda name: table[name]))


@pytest.mark.parametrize(
    ("said", "quantity", "subject"),
    [
        ("Okay the walk-in, box temp is thirty eight. Suction is twenty two", "pressure", "suction pressure"),
        ("Ohmed the compressor. Common to run is two point one ohms", "resistance", "compressor"),
        ("Condenser fan is pulling point nine", "current", "condenser fan motor"),
        ("Run cap is marked forty five, it reads thirty nine microfarads", "capacitance", "run capacitor"),
    ],
)
def test_plain_sentences_are_understood(said: str, quantity: str, subject: str) -> None:
    last = impressions(said)[-1]

    assert (likeliest(last.quantity), likeliest(last.subject)) == (quantity, subject)


def test_shares_add_up() -> None:
    for one in impressions("Box is at 38 and the head is 240 psi. Store number 4417."):
        assert 0 <= one.is_reading <= 1
        for table in (one.quantity, one.subject, one.role, one.stage):
            assert math.isclose(sum(table.values()), 1, abs_tol=1e-3)


def test_a_talk_without_figures_has_no_impressions() -> None:
    assert impressions("Good morning.") == []


@given(st.lists(st.sampled_from(["word", "box", "38", "twelve", "it's", "amps", "uh"]), min_size=1, max_size=1500))
def test_every_figure_is_told_once_from_a_window_that_holds_it(words: list[str]) -> None:
    said = talk(" ".join(words))
    pieces = Pieces(said.passage, reader().tokenizer)
    found = windows(pieces, said.figures)

    assert [i for window in found for i in window.figures] == list(range(len(said.figures)))
    for window in found:
        assert window.end - window.start <= WINDOW
        for i in window.figures:
            at = pieces.first[said.figures[i].number.start]
            assert window.start <= at < window.end
            assert at - window.start >= min(BEFORE, at) or window.end == len(pieces.ids)
            assert at < window.end - AFTER or window.end == len(pieces.ids) or i == window.figures[0]


@pytest.mark.parametrize(
    ("share", "word"), [(0.0, "<0.1%"), (0.05, "<20%"), (0.949, "<95%"), (0.95, ">95%"), (1.0, ">95%")]
)
def test_shares_have_words(share: float, word: str) -> None:
    assert share_word(share) == word
