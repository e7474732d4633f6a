"""How sure the sound makes each figure: hearings compared, signs weighed, reasons given."""

from __future__ import annotations

import pytest

from pipeline.compare import agree, agreed, items, opposite
from pipeline.doubt import doubt_table, ends_in_teen_or_ty, ends_in_ty, reasons

SAME = {
    "digits and words": ("one eighteen volts", "118 volts", True),
    "a decimal in words": ("point six five", "0.65", True),
    "teen for ty": ("one fifteen volts", "150 volts", False),
    "a lost hundred": ("two twenty five psi", "25 psi", False),
    "a point put in": ("four sixty eight", "4.86", False),
}


@pytest.mark.parametrize(("first", "second", "same"), SAME.values(), ids=SAME)
def test_figures_are_compared_by_what_they_mean(first: str, second: str, same: bool) -> None:
    left, right = [item for item in items([first]) if item.values], [item for item in items([second]) if item.values]

    assert agree(left[0], right[0]) is same


@pytest.mark.parametrize(
    ("first", "others", "taken"),
    [
        ("forty-nine", ("29", "twenty nine"), "twenty nine"),
        ("forty-point five", ("14.5", "fourteen point five"), "fourteen point five"),
        ("nine point three", ("9.2", "nine point two"), "nine point two"),
        ("five nineteen eight", ("598", "five ninety eight"), "five ninety eight"),
        ("fifty-two", ("50", "fifty"), None),  # a part was lost
        ("four eighteen", ("18", "eighteen"), None),
        ("six point eight", ("8", "eight"), None),
        ("minus one point three", ("1.3", "one point three"), None),
        ("fifteen", ("50", "fifty"), None),  # noise makes fifty of fifteen
        ("one sixteen", ("160", "one sixty"), None),
        ("one sixteen", ("160", "one sixteen"), None),  # one against one
        ("one sixteen", ("160", "one seventy"), None),
    ],
)
def test_two_other_hearings_outvote_the_first(first: str, others: tuple[str, str], taken: str | None) -> None:
    item, one, other = (items([text])[0] for text in (first, *others))

    assert agreed(item, one, other) == taken


def test_a_figure_meets_the_figure_that_stands_for_it() -> None:
    heard = items(["The head was two ten.", "Suction was forty and the box fifty-one."])
    other = items(["the head was 210 section was 14 and the box was"])

    twins = {
        item.text: twin.text if twin and twin.values else None
        for item, twin in zip(heard, opposite(heard, other), strict=True)
    }

    assert (twins["two ten"], twins["forty"], twins["fifty-one"]) == ("210", "14", None)


def test_more_against_a_figure_makes_it_less_sure() -> None:
    table = doubt_table().careful
    sure = {"unsure": 0.05, "unclear": 0.2, "teen_or_ty": 0.0, "alone": 0.0, "alike": 0.0}

    assert table.wrong(sure) < table.threshold
    for against in ({"witness_other": 1.0}, {"plain_other": 1.0}, {"unsure": 2.0}, {"alike": 0.5, "teen_or_ty": 1.0}):
        assert table.wrong(sure | against) > table.wrong(sure)
    assert table.wrong(sure | {"witness_other": 1.0, "plain_other": 1.0, "unsure": 1.0}) > table.threshold


def test_a_bare_forty_is_asked_even_when_nothing_else_speaks_against_it() -> None:
    # Two clear ones that were fourteen: 0.83 likely, both other hearings wrote forty too.
    table = doubt_table().careful
    signs = {"unsure": 0.19, "unclear": 0.21, "teen_or_ty": 1.0, "ty": 1.0, "alone": 0.0, "alike": 0.0}

    assert table.wrong(signs) < table.threshold
    assert table.wrong(signs | {"bare_ty": 1.0}) >= table.threshold


REASONS = {
    "another figure": ({"witness_other": 1.0, "unsure": 0.1}, ("heard differently",)),
    "fourteen": ({"teen_or_ty": 1.0, "alike": 0.4, "unsure": 0.1}, ("teen or ty",)),
    "both, and mumbled": (
        {"plain_other": 1.0, "teen_or_ty": 1.0, "alike": 0.4, "unsure": 1.5},
        ("heard differently", "teen or ty", "low confidence"),
    ),
    "mumbled": ({"unsure": 1.5}, ("low confidence",)),
}


@pytest.mark.parametrize(("signs", "want"), REASONS.values(), ids=REASONS)
def test_flag_has_its_reason(signs: dict[str, float], want: tuple[str, ...]) -> None:
    assert reasons(signs) == want


@pytest.mark.parametrize(
    ("text", "value", "is_one"),
    [
        ("one fifteen", 115, True),
        ("fifty", 50, True),
        ("twenty-four", 24, False),
        ("150", 150, True),
        ("24", 24, False),
    ],
)
def test_teens_and_tys(text: str, value: float, is_one: bool) -> None:
    assert ends_in_teen_or_ty(text, value) is is_one


@pytest.mark.parametrize(
    ("text", "value", "is_one"),
    [
        ("forty", 40, True),
        ("one-fourty", 140, True),  # as Whisper spells it in noise
        ("one fifty", 150, True),
        ("480", 480, True),
        ("fourteen", 14, False),
        ("twenty", 20, False),
        ("four hundred", 400, False),
        ("point forty", 0.4, True),
    ],
)
def test_tens_that_may_have_been_teens(text: str, value: float, is_one: bool) -> None:
    assert ends_in_ty(text, value) is is_one
