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
    # said twice in one breath, as a technician does to be sure of being understood
    ("ninety-two ninety-two up here", [92, 92]),
    ("ninety four ninety four amps", [94, 94]),
    ("one eighteen one eighteen", [118, 118]),
    ("five four five point four", [5.4, 5.4]),
    ("fifteen fifteen", [15, 15]),
    # two figures of three hundred and more: a motor's speed is said so, nothing else that a clamp or gauge shows
    ("ten seventy-five", [1075]),
    ("forty-three sixty-two", [43, 62]),
    ("forty-three sixty-two cfm", [4362]),
    ("legs two oh six two oh nine two oh six", [206, 209, 206]),
    ("2-oh-8", [208]),
    ("30-point-1", [30.1]),
    ("twenty-2", [22]),
    # the number of a name is no decimal of the figure before it
    ("two oh eight three-phase", [208, 3]),
    ("two hundred and eight three phase forty nine point five", [208, 3, 49.5]),
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


# What a recogniser makes of a figure in noise; seen in the sound of voices over machine noise.
MISHEARD = [
    ("Thirt nine outside", [39]),
    ("dairy fort nine, meat forty-one", [49, 41]),
    ("third nine outside", [39]),
    ("volts two, oh eight, three phase", [208, 3]),
    ("one eighteen-one, eighteen sitting there", [118, 118]),
    ("twelve point, eight over", [12.8]),
    ("thirty-point, one twelve point six", [30.1, 12.6]),
    ("the oven was at seven to four", [74]),
    ("one-15 volts", [115]),
    ("it is 200 and 8-three-phase", [208, 3]),
]


@pytest.mark.parametrize(("heard", "meant"), MISHEARD, ids=[s for s, _ in MISHEARD])
def test_a_figure_that_came_in_pieces_is_put_together(heard, meant):
    assert values(heard) == pytest.approx(meant)


@pytest.mark.parametrize("heard", [heard for heard, _ in MISHEARD])
def test_a_figure_that_was_put_together_says_so(heard):
    assert any(numeral.mended for numeral in read(heard))


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("the third nine footer", [1 / 3, 9]),
        ("third one, twelve", [1 / 3, 12]),
        ("it went from seven to four", [7, 4]),
        ("four to seven", [4, 7]),
        ("seven to four psi", [7, 4]),
        ("I have two, oh and three spare", [2, 3]),
        ("in twenty twenty", [2020]),
        ("one, eighteen inches", [1, 18]),
        ("twenty-five, five", [25, 5]),
        ("between 200 and 250", [200, 250]),
        ("five-10 minutes", [5, 10]),
        ("88-108", [88, 108]),
    ],
)
def test_what_was_said_so_stays_so(said, meant):
    numerals_ = read(said)

    assert [n.value for n in numerals_] == pytest.approx(meant)
    assert not any(n.mended for n in numerals_)


def test_numbers_side_by_side_that_may_be_cut_elsewhere_say_how():
    first, second = read("head's three forty-five forty-eight")

    assert (first.value, second.value) == (340, 548)
    assert first.otherwise == second.otherwise == (345, 48)


@pytest.mark.parametrize("said", ["two oh eight two thirty", "one eighteen one eighteen", "thirty-five, five"])
def test_numbers_with_one_likely_cut_are_sure(said):
    assert not any(numeral.otherwise for numeral in read(said))


@pytest.mark.parametrize("said", ["second one eleven", "the last one eleven", "this one eleven"])
def test_one_that_stands_for_a_thing_is_no_digit_of_the_figure_after_it(said):
    assert [numeral.value for numeral in numerals(make_passage(Transcript(segments=(Segment(text=said),))))] == [11]
