"""The machine as it is told: models, serials, refrigerants, kinds, places, makers, and near misses."""

from __future__ import annotations

from typing import Any

import pytest
from told import rows, talk_of

from extractors.facts import Equipment, Segment, Transcript
from extractors.find.equipment import find
from extractors.identifiers import identifiers
from extractors.lexicon import load_table
from extractors.passage import make_passage
from extractors.refrigerants import designation
from extractors.registry import Found
from extractors.spelled_again import settled
from extractors.spelling import spell


@pytest.mark.parametrize(("say", "case"), rows("equipment"))
def test_machine_is_told(say: str, case: dict[str, Any]) -> None:
    machine, _ = find(talk_of(say), Found())
    for field, want in case["want"].items():
        have = getattr(machine, field)
        assert (have.value if have else "-") == want, field
        if have is not None:
            assert have.evidence.quote in say.replace(" / ", " ")
    if "confirm" in case:
        assert any(case["confirm"] in reason for field in case["want"] for reason in getattr(machine, field).confirm)


@pytest.mark.parametrize(("say", "case"), rows("spelling"))
def test_string_is_spelled(say: str, case: dict[str, Any]) -> None:
    passage = make_passage(Transcript(segments=(Segment(text=say),)))
    one = spell(passage, 0)
    assert one is not None
    whole = settled(passage, one)
    assert whole.text == case["want"]
    assert (not whole.confirm) is case["sure"]


@pytest.mark.parametrize(
    "say",
    [
        "the display shows E 6 and L1 is 12.4",
        "RLA twelve point eight, LRA eighty-three",
        "C O 45 and O 2 9.4",
        "five k w at two oh eight slash two thirty",
        "legs are 2 06, 2 09, 2 03",
        "three pole thirty amp contactor, a 20 by 25 by 2 filter",
        "suction 48, head 2 38, superheat 9",
        "defrost at 6 a.m. and 6 p.m.",
        "store number 212, ticket 55 1023",
    ],
)
def test_figures_are_no_names(say: str) -> None:
    talk = talk_of(say)
    assert identifiers(talk) == []
    found = Found()
    find(talk, found)
    assert found.used == {}


def test_names_take_their_figures() -> None:
    talk = talk_of("model is Z K M 60 slash 14. serial number 4 1 7 0 8 8 2. charge is 14.5 ounces of 134")
    found = Found()
    find(talk, found)
    said = {field: talk.passage.said(span) for span, field in found.used.items()}
    assert said == {
        "equipment.model": "Z K M 60 slash 14",
        "equipment.serial": "4 1 7 0 8 8 2",
        "equipment.refrigerant": "134",
    }


def test_part_numbers_take_their_figures() -> None:
    talk = talk_of("new drier, part number F D 0 3 0 7, and order one belt, B X 44")
    found = Found()
    find(talk, found)
    assert set(found.used.values()) == {"part.part_number"}
    assert {talk.passage.said(span) for span in found.used} == {"F D 0 3 0 7", "B X 44"}


def test_partly_read_serial_is_asked_again() -> None:
    machine, _ = find(talk_of("the serial is 40 19 66 and then I can't make out the rest"), Found())
    assert machine.serial is not None
    assert machine.serial.value == "401966"
    assert any("missing" in reason for reason in machine.serial.confirm)


def test_second_serial_is_another_machine() -> None:
    machine, others = find(
        talk_of("condensing unit, serial 4 4 0 9 1 2 / indoor coil, model E 24 C, serial 7 7 1 0 3 3"), Found()
    )
    assert machine.serial is not None and machine.serial.value == "440912"
    assert [o.serial.value for o in others if o.serial] == ["771033"]


def test_nothing_said_is_an_empty_machine() -> None:
    assert find(talk_of("okay"), Found()) == (Equipment(), ())


@pytest.mark.parametrize(
    ("number", "letter", "want"),
    [
        # designations as ASHRAE Standard 34 writes them (from memory): blends in capitals, isomers small
        ("404", None, "R-404A"),
        ("134", None, "R-134a"),
        ("410", "A", "R-410A"),
        ("600", "a", "R-600a"),
        ("290", None, "R-290"),
        ("1234", "yf", "R-1234yf"),
        ("717", None, "R-717"),
        ("454", "C", "R-454C"),
    ],
)
def test_designation(number: str, letter: str | None, want: str) -> None:
    assert designation(number, letter) == want


def test_every_refrigerant_is_known_to_a_reference_library() -> None:
    """Names of pure fluids and blends against CoolProp 8's list of fluids, where it has them."""
    coolprop = pytest.importorskip("CoolProp")
    known = {alias.replace("-", "").upper() for alias in coolprop.CoolProp.FluidsList()}
    known |= {
        alias.upper() for fluid in coolprop.CoolProp.FluidsList() for alias in coolprop.CoolProp.get_aliases(fluid)
    }
    ours = {
        designation(n, x or "").replace("-", "").upper()
        for n, row in load_table("refrigerants").items()
        for x in row["letters"]
    }
    assert {
        "R134A",
        "R404A",
        "R410A",
        "R407C",
        "R507A",
        "R22",
        "R32",
        "R290",
        "R744",
        "R717",
        "R1234YF",
        "R600A",
    } <= ours & known
