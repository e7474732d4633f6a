"""Figures with unit, range, tolerance and qualifier, by a table of phrasings."""

import pytest

from extractors.facts import Qualifier, Segment, Transcript
from extractors.figures import find_figures
from extractors.passage import make_passage
from extractors.talk import Talk


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


@pytest.mark.parametrize(("said", "value"), [("the gap was a sixteenth", 0.0625), ("under a tenth on every pole", 0.1)])
def test_a_fine_fraction_needs_no_unit(said, value):
    assert [figure.value for figure in read(said)] == [value]


@pytest.mark.parametrize("said", ["turned it a quarter turn", "wait a minute", "a third of the way"])
def test_no_figure_of_measure(said):
    assert read(said) == []


INDEXED = [
    ("leg one, thirty point two, leg two, seventeen point four", [30.2, 17.4]),
    ("L 1 is 10 8 and L 2 is 10.7", [10.8, 10.7]),
    ("leg two oh six", [206]),
    ("minute five, one thirty-one, minute ten, one ninety-four", [5, 131, 10, 194]),
]


@pytest.mark.parametrize(("said", "values"), INDEXED, ids=[row[0] for row in INDEXED])
def test_the_number_of_a_leg_is_no_figure(said, values):
    passage = make_passage(Transcript(segments=(Segment(text=said),)))

    assert [figure.value for figure in Talk(passage).figures] == values


@pytest.mark.parametrize("said", ["minute five, degrees", "at minute five it was"])
def test_a_minute_of_a_series_is_a_time(said):
    assert read(said)[0].units == ("min",)


def test_a_minute_to_wait_is_no_unit_of_the_figure_after_it():
    assert "min" not in read("wait a minute five psi")[-1].units


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
