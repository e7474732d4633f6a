"""Number words and digits against what they mean: the trade's ways by a table, the textbook's by num2words."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from extractors.facts import Segment, Transcript
from extractors.numerals import numerals
from extractors.passage import make_passage


def read(text):
    return numerals(make_passage(Transcript(segments=(Segment(text=text),))))


def values(text):
    return [n.value for n in read(text)]


# What the trade says and a recogniser writes; common practice, no source.
SAID = [
    ("one eighteen", [118]),
    ("two oh eight", [208]),
    ("eleven and a half", [11.5]),
    ("point six five", [0.65]),
    ("oh point six", [0.6]),
    ("a hundred and five", [105]),
    ("twelve hundred", [1200]),
    ("minus ten", [-10]),
    ("three and three sixteenths", [3.1875]),
    ("six and three-quarters", [6.75]),
    ("one oh six point nine", [106.9]),
    ("five thousand two hundred", [5200]),
    ("eleven thousand eight hundred and fifty", [11850]),
    ("fifteen fifty", [1550]),
    ("two forty", [240]),
    ("2 forty", [240]),
    ("118 point 6", [118.6]),
    ("1:18", [118]),
    (".65", [0.65]),
    ("11 1/2", [11.5]),
    ("1 18", [118]),
    ("minus 2.7", [-2.7]),
    ("-2.7", [-2.7]),
    ("12,5", [12.5]),
    ("12,000", [12000]),
    ("88-108", [88, 108]),
    ("two oh eight two thirty", [208, 230]),
    ("four sixty-one four fifty-eight and four sixty-three", [461, 458, 463]),
    ("one twenty one nineteen one twenty", [120, 119, 120]),
    ("eighty-eight to one oh eight", [88, 108]),
    ("between ten and twelve", [10, 12]),
    ("one one five", [115]),
    ("nineteen", [19]),
    ("zero", [0]),
    ("a 16th of an inch", [0.0625]),
    ("1 32nd", [0.03125]),
]


@pytest.mark.parametrize(("said", "meant"), SAID, ids=[s for s, _ in SAID])
def test_trade_numbers(said, meant):
    assert values(said) == pytest.approx(meant)


@pytest.mark.parametrize(
    ("said", "first", "other"),
    [
        ("nine six", 9.6, 96),
        ("thirty-two nine", 32.9, 329),
        ("fourteen one", 14.1, 141),
        ("1:18", 118, 1.18),
        ("2:10", 210, 2 + 10 / 60),
    ],
)
def test_two_ways_to_hear_are_both_kept(said, first, other):
    (numeral,) = read(said)

    assert numeral.value == pytest.approx(first)
    assert other in [pytest.approx(v) for v in numeral.also]


def test_dual_capacitor_keeps_both_figures():
    (numeral,) = read("thirty-five five")

    assert numeral.pair == (35, 5)


@pytest.mark.parametrize("said", ["the left one", "one of those", "that one", "the new one's", "oh boy", "and a"])
def test_words_that_count_nothing(said):
    assert values(said) == []


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.integers(min_value=0, max_value=99_999))
def test_whole_numbers_as_the_textbook_says_them(number):
    """Source: num2words, a general-purpose library that writes numbers in words."""
    import num2words

    assert values(num2words.num2words(number).replace(",", "")) == [number]


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.integers(min_value=0, max_value=9_999), st.integers(min_value=1, max_value=99))
def test_decimals_as_the_textbook_says_them(whole, cents):
    """Source: num2words."""
    import num2words

    number = float(f"{whole}.{cents:02d}")

    assert values(num2words.num2words(number).replace(",", "")) == pytest.approx([number])


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.integers(min_value=101, max_value=999).filter(lambda n: n % 100 >= 10))
def test_hundreds_dropped_as_the_trade_says_them(number):
    import num2words

    said = f"{num2words.num2words(number // 100)} {num2words.num2words(number % 100)}"

    assert values(said) == [number]
