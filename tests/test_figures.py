"""Figures with unit, range, tolerance and qualifier, by a table of phrasings."""

import pytest

from extractors.facts import Qualifier, Segment, Transcript
from extractors.figures import find_figures
from extractors.passage import make_passage


def read(text):
    return find_figures(make_passage(Transcript(segments=(Segment(text=text),))))


UNITS = [
    ("five point six amps", 5.6, "A"),
    ("0.45A", 0.45, "A"),
    ("eleven fifty cfm", 1150, "cfm"),
    ("point two of an ohm", 0.2, "ohm"),
    ("half a pound", 0.5, "lb"),
    ("a pound and a half", 1.5, "lb"),
    ("two pounds six ounces", 2.375, "lb"),
    ("an hour and twenty", 80, "min"),
    ("an hour and three-quarters", 1.75, "h"),
    ("2 hours and 10 minutes", 130, "min"),
    ("thirty point five bolts", 30.5, "V"),
    ("15 mikes", 15, "uF"),
    ("ten below zero", -10, "degF"),
    ("volts two oh eight", 208, "V"),
    ("the coil reads eight point four k", 8.4, "kohm"),
]


@pytest.mark.parametrize(("said", "value", "unit"), UNITS, ids=[u[0] for u in UNITS])
def test_unit(said, value, unit):
    (figure,) = read(said)

    assert figure.value == pytest.approx(value, rel=1e-4)
    assert unit in figure.units


RANGES = [
    ("three eighty to four twenty", 380, 420),
    ("between ten and twelve amps", 10, 12),
    ("ten, twelve degrees", 10, 12),
    ("208/230 volts", 208, 230),
    ("two oh eight two thirty", 208, 230),
    ("about minus 2, minus 3", -3, -2),
    ("4 or 5 degrees", 4, 5),
]


@pytest.mark.parametrize(("said", "low", "high"), RANGES, ids=[r[0] for r in RANGES])
def test_both_ends_of_a_range_survive(said, low, high):
    (figure,) = read(said)

    assert (figure.value, figure.low, figure.high) == (None, low, high)


def test_a_change_is_two_figures_and_no_range():
    first, second = read("I changed it from 28 to 36")

    assert first.changed_from and second.changed_to
    assert (first.value, second.value) == (28, 36)


@pytest.mark.parametrize("said", ["35 mike plus or minus 6 percent", "35 mike, plus for minus 6 percent"])
def test_a_tolerance_belongs_to_its_figure(said):
    figure = read(said)[0]

    assert figure.tolerance == (6, 6)
    assert figure.tolerance_in_percent


@pytest.mark.parametrize(
    ("said", "qualifier"),
    [
        ("about 12 amps", Qualifier.APPROXIMATE),
        ("at least 300 microns", Qualifier.AT_LEAST),
        ("under ten ohms", Qualifier.AT_MOST),
        ("it spiked to 31 amps", Qualifier.INRUSH),
        ("118 volts with nothing running", Qualifier.STANDBY),
    ],
)
def test_qualifier(said, qualifier):
    assert qualifier in read(said)[0].qualifiers
