"""Figures that cannot be right are asked about, with the figure that would fit; right figures are left alone."""

from __future__ import annotations

import pytest
from checking import action, cases, job

from extractors.facts import Reading
from pipeline.checks import check
from pipeline.draft import Draft

LINE = "measured temperature | suction line | {} degF | at={}"
SUCTION, HEAD = (
    "measured pressure | suction pressure | {} psig | at={}",
    "measured pressure | head pressure | {} psig | at={}",
)
LEGS = ("L1-L2", "L2-L3", "L1-L3")


def asked(draft: Draft) -> dict[str, tuple[str, ...]]:
    """The reasons of the readings that the gates ask about."""
    return {reading.id: reading.confirm for reading in check(draft).readings if reading.confirm}


def first(draft: Draft) -> Reading:
    """The first reading after the gates."""
    return check(draft).readings[0]


@cases(
    "row, reason",
    """
    measured voltage | line | 320 V, outside usual range; measured voltage | line | 120 V, -;
    measured voltage | L1-L2 | 398 V, -; measured voltage | line | 0 V, -;
    measured voltage | line | 45 V, outside usual range;
    measured current | compressor | 900 A, outside usual range; measured current | compressor | 0 A, -;
    measured current | condenser fan motor | 48 A, outside usual range;
    measured current | evaporator fan motor | 0.48 A, -; rated capacitance | run capacitor | 45 uF, -;
    rated capacitance | run capacitor | 189 uF, outside usual range;
    rated capacitance | start capacitor | 8 uF, outside usual range; measured capacitance | run capacitor | 2.1 uF, -;
    measured temperature | discharge line | 23 degF, outside usual range;
    measured temperature | liquid line | 95 degF, -;
    measured temperature | ambient | 192 degF, outside usual range; measured temperature | ambient | 31 degC, -;
    measured temperature_difference | superheat | 180 delta_degF, outside usual range;
    measured pressure | manifold | 35 inWC, outside usual range; measured pressure | manifold | 3.5 inWC, -;
    measured pressure | gas supply | 70 inWC, outside usual range; measured pressure | return air | -0.62 inWC, -;
    measured current | flame sensor | 28 mA, outside usual range; measured current | flame sensor | 2.8 uA, -;
    measured speed | condenser fan motor | 10750 rpm, outside usual range; measured pressure | system | 480 micron, -;
    measured pressure | system | 48000 micron, outside usual range; measured pressure | system | 351 psig, -;
    """,
)
def test_usual_bounds(row: str, reason: str | None) -> None:
    confirm = first(job(row)).confirm
    assert [one.split(":")[0] for one in confirm] == ([reason] if reason else [])


def test_what_a_person_answered_is_not_asked_again_and_its_verdict_stands() -> None:
    draft = job(SUCTION.format(62, 10), HEAD.format(26, 15), refrigerant="R-404A")
    assert set(asked(draft)) == {"r1", "r2"}
    settled = {"r1": {"does not fit"}, "r2": {"does not fit"}}
    assert all(not reading.confirm for reading in check(draft, answered=settled).readings)


def test_a_room_or_an_oven_is_no_unusual_box() -> None:
    box = "measured temperature | box | 295 degF"
    assert asked(job(box, machine="convection oven")) == {}
    assert "r1" in asked(job(box, machine="walk-in cooler"))


def test_nothing_is_changed_or_dropped() -> None:
    draft = job("measured voltage | line | 320 V | confirm=low_confidence", "measured current | compressor | 900 A")
    after = check(draft).readings
    assert [r.model_copy(update={"confirm": ()}) for r in after] == [
        r.model_copy(update={"confirm": ()}) for r in draft.readings
    ]
    assert after[0].confirm[0] == "low confidence"
    assert check(check(draft)).readings == after


@cases(
    "mass, name, mark",
    "150 lb, R-290, 1; 150 g, R-290, 0; 95 g, R-600a, 0; 210 lb, R-404A, 0; 9 oz, R-134a, 0; 9000 lb, -, 1;",
)
def test_strange_charges(mass: str, name: str | None, mark: int) -> None:
    assert bool(asked(job(f"rated mass | refrigerant charge | {mass}", refrigerant=name or ""))) == bool(mark)


def test_amps_between_terminals_are_ohms() -> None:
    found = first(job("measured current | compressor | 6.9 A | place=common_to_start"))
    assert found.confirm[0].startswith("unit not said")


@cases("suction, head, mark", "215, 30, 1; 30, 215, 0; 56, 56, 0;")
def test_suction_above_head(suction: float, head: float, mark: int) -> None:
    found = asked(job(SUCTION.format(suction, 10), HEAD.format(head, 15)))
    assert sorted(found) == (["r1", "r2"] if mark else [])
    assert not mark or "may be swapped" in found["r1"][0]


def test_standing_pressures_are_left_alone() -> None:
    row = "measured pressure | suction pressure | 165 psig | q=standby"
    assert asked(job(row, refrigerant="R-404A")) == {}
    assert "165 psig of R-404A" in asked(job(row.replace(" | q=standby", ""), refrigerant="R-404A"))["r1"][0]


@cases(
    "subject, psig, mark",
    "suction pressure, 620, 1; suction pressure, 62, 0; head pressure, 26, 1; head pressure, 262, 0;",
)
def test_pressures_out_of_this_world(subject: str, psig: float, mark: int) -> None:
    row = f"measured pressure | {subject} | {psig} psig"
    assert bool(asked(job(row, refrigerant="R-404A"))) == bool(mark)
    assert asked(job(row)) == {}


def test_pressure_line_and_refrigerant_that_do_not_go_together() -> None:
    """62 psig of R-404A is about 25 °F: a line of 13 °F cannot be, one of 43 °F can."""
    found = asked(job(SUCTION.format(62, 10), LINE.format(13, 15), refrigerant="R-404A"))
    assert sorted(found) == ["r1", "r2"]
    assert "from pressure, line and refrigerant" in found["r1"][0]
    assert asked(job(SUCTION.format(62, 10), LINE.format(43, 15), refrigerant="R-404A")) == {}
    assert asked(job(SUCTION.format(62, 10), LINE.format(13, 900), refrigerant="R-404A")) == {}


def test_a_superheat_said_that_the_pressure_contradicts() -> None:
    said = "measured temperature_difference | superheat | {} delta_degF | at=20"
    rows = (SUCTION.format(62, 10), LINE.format(43, 15))
    assert asked(job(*rows, said.format(18), refrigerant="R-404A")) == {}
    assert sorted(asked(job(*rows, said.format(80), refrigerant="R-404A"))) == ["r1", "r2", "r3"]


def test_a_saturation_temperature_said_beside_its_pressure() -> None:
    said = "measured temperature | suction pressure | {} degF | at=12"
    assert asked(job(SUCTION.format(62, 10), said.format(25), refrigerant="R-404A")) == {}
    assert "r1" in asked(job(SUCTION.format(62, 10), said.format(45), refrigerant="R-404A"))


def test_a_line_that_equals_its_saturation_may_be_a_converted_figure() -> None:
    found = asked(job(SUCTION.format(40, 10), LINE.format(7.2, 15), refrigerant="R-404A"))
    assert "converted" in found["r1"][0]


@cases("measured, other, mark", "83, 8.3, 1; 0.83, 8.3, 1; 8.1, -, 0; 6.5, -, 0; 62, -, 0;")
def test_a_decimal_point_that_moved(measured: float, other: float | None, mark: int) -> None:
    one = first(job(f"measured current | compressor | {measured} A", "rated current | compressor | 8.7 A | rating=RLA"))
    assert [reason.split(":")[0] for reason in one.confirm] == (["decimal point"] if mark else [])
    assert [other_.value for other_ in one.alternatives] == ([other] if other else [])


def test_a_decimal_point_by_the_other_stage_and_never_by_a_start() -> None:
    amps = "measured current | evaporator fan motor | {} A | stage={} {}"
    assert "other stage" in asked(job(amps.format(4.6, "as_left", ""), amps.format(0.48, "as_found", "")))["r1"][0]
    start = "measured current | compressor | 80 A | q=inrush"
    assert asked(job(start, "rated current | compressor | 8.2 A | rating=RLA")) == {}


@cases("value, rated, other", "50, 15, 15?; 15, 50, 50; 13, 30, 30; 40, 38, -; 14, 15, -; 90, 20, 19; 30, 30, -;")
def test_teen_or_ty(value: float, rated: float, other: str | None) -> None:
    wanted = float(str(other).rstrip("?")) if other is not None else None
    one = first(
        job(f"measured capacitance | run capacitor | {value} uF", f"rated capacitance | run capacitor | {rated} uF")
    )
    assert [found.value for found in one.alternatives] == ([wanted] if wanted else [])
    assert bool(wanted) == any(reason.startswith("teen or ty") for reason in one.confirm)


def test_one_leg_far_from_the_other_two_and_no_verdict_until_it_is_confirmed() -> None:
    rows = [f"measured voltage | {leg} | {volts} V" for leg, volts in zip(LEGS, (208, 207, 280), strict=True)]
    assert list(asked(job(*rows))) == ["r3"]
    unbalance = next(one for one in check(job(*rows)).checks if one.rule == "voltage-unbalance")
    assert "second listen" in unbalance.message
    near = [f"measured voltage | {leg} | {volts} V" for leg, volts in zip(LEGS, (208, 207, 212), strict=True)]
    assert asked(job(*near)) == {}


@cases("leg, pair, mark", "120, 208, 0; 118, 236, 0; 277, 480, 0; 108, 208, 1; 208, 208, 0;")
def test_leg_to_neutral_and_leg_to_leg(leg: float, pair: float, mark: int) -> None:
    draft = job(f"measured voltage | L1 | {leg} V", f"measured voltage | L1-L2 | {pair} V")
    assert ("r1" in asked(draft)) == bool(mark)


@cases("quote, mark", "it's a 230, 1; I've got 230, 0; the meter reads 230, 0;")
def test_the_name_of_a_supply(quote: str, mark: int) -> None:
    row = f"measured voltage | line | 230 V | quote={quote.replace(' ', '_')}"
    assert bool(asked(job(row))) == bool(mark)
    assert asked(job("measured voltage | line | 231 V")) == {}


@cases("value, quote, mark", "7.1, compressor 7.1, 1; 7.1, it's pulling 7.1, 0; 7.2, compressor 7.2, 0;")
def test_a_figure_equal_to_its_rating(value: float, quote: str, mark: int) -> None:
    row = f"measured current | compressor | {value} A | quote={quote.replace(' ', '_')}"
    assert bool(asked(job(row, "rated current | compressor | 7.1 A"))) == bool(mark)


@cases("watts, mark", "1500, 1; 800, 0;")
def test_more_watts_than_volts_times_amps(watts: float, mark: int) -> None:
    rows = (f"measured power | unit | {watts} W", "measured current | unit | 8 A", "measured voltage | line | 118 V")
    assert len(asked(job(*rows))) == (3 if mark else 0)


@cases(
    "quote, mark",
    "two pounds eighteen, 1; 2 pounds 18 ounces, 1; two pounds six, 0; 8 pounds 6 ounces, 0; five pounds fifteen, 0;",
)
def test_sixteen_ounces_and_more_after_pounds(quote: str, mark: int) -> None:
    row = f"measured mass | refrigerant charge | 3.1 lb | quote={quote.replace(' ', '_')}"
    assert bool(asked(job(row))) == bool(mark)


@cases(
    "one, other, mark",
    """
    18 A | rating=RLA, 16 A | rating=MCA, 1; 18 A | rating=RLA, 23.8 A | rating=MCA, 0;
    23.8 A | rating=MCA, 20 A | rating=MOCP, 1; 8.7 A | rating=RLA, 51 A | rating=LRA, 0;
    8.7 A | rating=RLA, 12 A | rating=LRA, 1; 8.7 A | rating=RLA, 151 A | rating=LRA, 1;
    """,
)
def test_labels_of_the_plate(one: str, other: str, mark: int) -> None:
    found = asked(job(*(f"rated current | compressor | {part}" for part in (one, other))))
    assert sorted(found) == (["r1", "r2"] if mark else [])


def test_a_charge_of_another_refrigerant_without_a_conversion_told() -> None:
    draft = job("measured temperature | box | 38 degF", refrigerant="R-404A")
    draft = draft.model_copy(
        update={"actions": (action("charged", "refrigerant charge", text="charged it with R-448A"),)}
    )
    said = check(draft).equipment.refrigerant
    assert said and said.confirm == ("does not fit: R-448A was charged",)
    assert check(check(draft)).equipment.refrigerant == said


def test_a_figure_corrected_twice() -> None:
    rows = [f"measured temperature | box | {degf} degF | superseded={by}" for degf, by in ((38, "r2"), (48, "r3"))]
    assert asked(job(*rows, "measured temperature | box | 41 degF")) == {"r3": ("corrected twice",)}
    same = [row.replace("48", "38") for row in rows]
    assert asked(job(*same, "measured temperature | box | 38 degF")) == {}


def test_times_of_a_series_that_run_backwards(monkeypatch: pytest.MonkeyPatch) -> None:
    times = {"r1": 5.0, "r2": 50.0, "r3": 20.0, "r4": 60.0}
    monkeypatch.setattr("pipeline.checks.gates_cross.minutes_of", lambda reading: times[reading.id])
    rows = [f"measured temperature | box | {degf} degF" for degf in (58, 50, 44, 38)]
    assert list(asked(job(*rows))) == ["r3"]
