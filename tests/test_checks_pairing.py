"""Which figure belongs to which: by subject, place, stage and the story of the part, never by a guess."""

from __future__ import annotations

import pytest
from checking import IN, NONE, OUT, action, cases, job, of_rule, only

from extractors.facts import Equipment, Said
from pipeline.checks.job import Job, kinds
from pipeline.checks.pairing import identity, leg
from pipeline.checks.rules.winding_resistance_sum import terminals

AMPS = "measured current | evaporator fan motor | {} A | {}"
RATED = "rated current | evaporator fan motor | {} A | {}"
CAP = "measured capacitance | run capacitor | {} uF | {}"
MARK = "rated capacitance | run capacitor | {} uF | {}"


@cases(
    "place, names",
    """
    left one, 1 left; at the disconnect, -; leg two, -; number two, 2 number; L1, -; the dairy circuit, circuit dairy;
    A to B, -; element b, b; common to run, -; in the top, top; pole 1, -; T1-T2, -;
    """,
)
def test_what_a_place_says_about_which_machine(place: str, names: str | None) -> None:
    assert identity(place) == frozenset((names or "").split())


@cases("place, name", "leg two, L2; first leg, L1; L3, L3; t1, L1; phase b, L2; pole 3, L3; left, -; second, -;")
def test_what_a_place_says_about_legs(place: str, name: str | None) -> None:
    assert leg(place) == name


@cases("place, ends", "common to run, C R; run to start, R S; C-S, C S; T1-T2, 1 2; to ground, -; s to r, R S;")
def test_terminals_of_a_winding(place: str, ends: str | None) -> None:
    assert terminals(place) == frozenset((ends or "").split())


def test_left_and_right_have_their_own_ratings() -> None:
    rows = (
        RATED.format(0.5, "place=left"), RATED.format(0.9, "place=right"),
        AMPS.format(0.8, "place=left"), AMPS.format(0.8, "place=right"),
    )  # fmt: skip
    assert [one.verdict.value for one in of_rule(job(*rows), "running-amps-rating")] == [OUT, IN]


def test_a_rating_without_a_place_is_for_all_of_a_kind() -> None:
    rows = (RATED.format(0.5, ""), AMPS.format(0.45, "place=left"), AMPS.format(0.8, "place=right"))
    assert [one.verdict.value for one in of_rule(job(*rows), "running-amps-rating")] == [IN, OUT]


def test_two_possible_ratings_give_no_verdict() -> None:
    found = only(job(RATED.format(0.5, ""), RATED.format(0.9, ""), AMPS.format(0.6, "")), "running-amps-rating")
    assert found.verdict.value == NONE
    assert "which of 0.5 A or 0.9 A" in found.message


def test_so_many_possible_ratings_that_asking_would_be_noise() -> None:
    rows = [RATED.format(amps, "") for amps in (0.5, 0.9, 1.3, 2.2)]
    assert of_rule(job(*rows, AMPS.format(0.6, "")), "running-amps-rating") == []


def test_a_rating_of_another_motor_is_not_borrowed() -> None:
    draft = job("measured current | compressor | 9 A", "rated current | unit | 11 A")
    assert "rated amps of the compressor" in only(draft, "running-amps-rating").message


def test_an_old_part_and_a_new_part() -> None:
    rows = (
        MARK.format(7.5, "at=10"), CAP.format(2.1, "stage=as_found at=20"), MARK.format(10, "at=200"),
        CAP.format(9.9, "stage=as_left at=210"),
    )  # fmt: skip
    draft = job(*rows, actions=(action("replaced", "run capacitor", 190),))
    assert [(one.readings, one.verdict.value) for one in of_rule(draft, "capacitor-tolerance")] == [
        (("r2", "r1"), OUT),
        (("r4", "r3"), IN),
    ]


def test_a_new_part_named_just_before_it_is_fitted() -> None:
    rows = (MARK.format(7.5, "at=10"), CAP.format(2.1, "stage=as_found at=20"), MARK.format(10, "at=180"))
    draft = job(*rows, CAP.format(9.9, "stage=as_left at=210"), actions=(action("replaced", "run capacitor", 190),))
    assert [one.verdict.value for one in of_rule(draft, "capacitor-tolerance")] == [OUT, IN]


def test_a_new_part_whose_marking_nobody_said() -> None:
    rows = (MARK.format(35, "at=10"), CAP.format(31, "stage=as_found at=20"), CAP.format(34, "stage=as_left at=300"))
    found = of_rule(job(*rows, actions=(action("replaced", "run capacitor", 190),)), "capacitor-tolerance")
    assert [one.verdict.value for one in found] == [OUT, NONE]
    assert "marking of the new run capacitor" in found[1].message


@cases("compressor, fan, verdicts", "43.8, 4.9, in in; 31, 4.9, out in; 4.9, 43.8, in in;")
def test_two_sides_of_a_dual_capacitor(compressor: float, fan: float, verdicts: str) -> None:
    marks = (MARK.format(45, "tol=6,6"), MARK.format(5, "tol=6,6"))
    draft = job(*marks, CAP.format(compressor, ""), CAP.format(fan, ""))
    short = {"in_tolerance": "in", "out_of_tolerance": "out", "no_reference": "none"}
    found = [short[one.verdict.value] for one in of_rule(draft, "capacitor-tolerance")]
    assert sorted(found) == sorted(verdicts.split())


def test_a_side_of_a_dual_capacitor_by_its_name_and_a_figure_between_both() -> None:
    marks = (MARK.format(40, ""), MARK.format(5, ""))
    named = job(*marks, CAP.format(11.2, "place=herm"), CAP.format(4.9, "place=fan"))
    assert [one.readings[1] for one in of_rule(named, "capacitor-tolerance")] == ["r1", "r2"]
    between = job(*marks, CAP.format(11.2, ""))
    assert only(between, "capacitor-tolerance").verdict.value == NONE
    slash = job(MARK.format("5..45", ""), CAP.format(43.8, ""))
    assert only(slash, "capacitor-tolerance").verdict.value == IN


def test_a_tolerance_worked_out_aloud_is_no_marking() -> None:
    rows = (
        "rated capacitance | run capacitor | 35 uF | tol=6,6", "rated capacitance | run capacitor | 2.1 uF",
        "rated capacitance | run capacitor | 32.9 uF", "measured capacitance | run capacitor | 34.6 uF",
    )  # fmt: skip
    assert only(job(*rows), "capacitor-tolerance").readings == ("r4", "r1")


def test_a_tolerance_said_by_itself_counts() -> None:
    rows = (MARK.format(35, ""), "rated percentage | run capacitor | 5 %", CAP.format(33.1, ""))
    assert only(job(*rows), "capacitor-tolerance").verdict.value == OUT


def test_pressure_and_line_of_one_moment() -> None:
    pressure, line = (
        "measured pressure | suction pressure | {} psig | {}",
        "measured temperature | suction line | {} degF | {}",
    )
    rows = (
        pressure.format(20, "stage=as_found at=100"), pressure.format(40, "stage=as_left at=900"),
        line.format(22, "stage=as_left at=905"),
    )  # fmt: skip
    assert only(job(*rows, refrigerant="R-404A"), "superheat").readings == ("r3", "r2")
    apart = job(
        pressure.format(20, "stage=as_found at=100"), line.format(22, "stage=as_left at=905"), refrigerant="R-404A"
    )
    assert only(apart, "superheat").verdict.value == NONE


def test_the_nearest_of_several_pressures_of_a_stage() -> None:
    pressure = "measured pressure | suction pressure | {} psig | stage=as_left at={}"
    line = "measured temperature | suction line | 22 degF | stage=as_left at=905"
    draft = job(pressure.format(60, 300), pressure.format(40, 900), line, refrigerant="R-404A")
    assert only(draft, "superheat").readings == ("r3", "r2")
    far = job(pressure.format(60, 100), pressure.format(50, 300), line, refrigerant="R-404A")
    assert "is the suction pressure" in only(far, "superheat").message


@pytest.mark.parametrize("kind", ["highest"])
def test_of_several_legs_the_highest_counts(kind: str) -> None:
    rows = [f"measured current | compressor | {amps} A | place=L{n}" for n, amps in enumerate((19.2, 19.6, 18.9), 1)]
    found = only(job(*rows, "rated current | compressor | 25.6 A"), "running-amps-rating")
    assert found.readings == ("r2", "r4", "r1", "r3")
    assert kind in found.message


def test_legs_measured_twice_are_two_sets() -> None:
    legs = ("L1-L2", "L2-L3", "L1-L3") * 2
    rows = [f"measured voltage | {leg} | {volts} V" for leg, volts in zip(legs, range(206, 212), strict=True)]
    assert [len(one.readings) for one in of_rule(job(*rows), "voltage-unbalance")] == [3, 3]


def test_a_setting_of_after_the_repair_does_not_judge_what_was_found() -> None:
    box, set_ = (
        "measured temperature | box | {} degF | stage={}",
        "setpoint temperature | controller | {} degF | stage={}",
    )
    draft = job(
        box.format(52, "as_found"), set_.format(28, "as_found"), set_.format(36, "as_left"), box.format(38, "as_left")
    )
    assert [one.readings for one in of_rule(draft, "box-against-setpoint")] == [("r1", "r2"), ("r4", "r3")]


def test_two_settings_in_force_at_once_are_no_target() -> None:
    rows = ("measured temperature | box | 59 degF", "setpoint temperature | thermostat | 70 degF")
    draft = job(*rows, "setpoint temperature | thermostat | 55 degF")
    assert only(draft, "box-against-setpoint").verdict.value == NONE


def test_another_machine_next_door_is_not_held_against_this_ones_setting() -> None:
    rows = ("measured temperature | box | 36 degF | place=walk-in", "setpoint temperature | thermostat | 38 degF")
    assert only(job(*rows, machine="reach-in cooler"), "box-against-setpoint").verdict.value == NONE


def test_the_machine_that_a_place_names() -> None:
    draft = job("measured temperature | box | -2 degF | place=the_freezer", machine="walk-in cooler")
    freezer = Equipment(type=Said(value="reach-in freezer"))
    work = Job(draft.model_copy(update={"other_equipment": (freezer,)}))
    assert work.machine_of(work.readings[0]) is freezer
    assert "freezer" in work.kinds_of(work.readings[0])


@cases(
    "text, kind, yes",
    """
    walk-in freezer, freezer, 1; three-door merchandiser, reach_in, 1; gas rooftop unit, furnace, 1;
    cuber, ice_machine, 1;
    remote condensing unit, refrigeration, 1; high temp dish machine, hot_water_sanitizing, 1; boiler, refrigeration, 0;
    parallel rack, receiver, 1; ductless mini split, variable_speed, 1; orange juice dispenser, hot_kitchen, 0;
    """,
)
def test_kinds_of_machines(text: str, kind: str, yes: int) -> None:
    assert (kind in kinds(text)) == bool(yes)
