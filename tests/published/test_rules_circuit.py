"""Refrigerant circuit and air: figures worked out with CoolProp 8.0.0 (test_saturation.py compares the table with it).

Every rule at, inside and outside each limit. The source of a limit stands with its test: "seen" means that the source
was read for the figure, "from memory" that it was not; "common practice" has no source.
"""

from __future__ import annotations

import pytest
from checking import IN, MARGINAL, NONE, OUT, cases, held, job, of_rule, only

SUCTION = "measured pressure | suction pressure | {} psig"
SUCTION_LINE = "measured temperature | suction line | {} degF"


@cases(
    "name, psig, line, dew, superheat",
    """
    R-404A, 40, 22, 7.19, 14.81; R-448A, 40, 30, 16.55, 13.45; R-134a, 22, 36, 24.86, 11.14;
    R-410A, 118, 52, 39.84, 12.16; R-22, 68.5, 52, 39.96, 12.04; R-290, 45, 36, 23.77, 12.23;
    R-407C, 68, 55, 43.24, 11.76; R-454B, 110, 50, 41.19, 8.81;
    """,
)
def test_superheat_by_the_dew_line(name: str, psig: float, line: float, dew: float, superheat: float) -> None:
    """CoolProp 8.0.0, dew line. Band 4 to 25: California Title 24, RA3.2 (seen)."""
    found = only(job(SUCTION.format(psig), SUCTION_LINE.format(line), refrigerant=name), "superheat")
    assert found.verdict.value == IN
    assert found.value == pytest.approx(superheat, abs=0.006)
    assert found.computed["saturation"].value == pytest.approx(dew, abs=0.006)


def test_altitude_moves_the_dew_point() -> None:
    """R-134a at 10 psig: 6.66 °F at sea level, 2.08 °F at 5000 ft."""
    draft = job(SUCTION.format(10), SUCTION_LINE.format(20), refrigerant="R-134a")
    for altitude, dew in ((None, 6.66), (5000, 2.08)):
        found = only(draft, "superheat", altitude_ft=altitude)
        assert found.computed["saturation"].value == pytest.approx(dew, abs=0.006)


@cases(
    "value, target, verdict",
    """
    4, -, in; 3.9, -, marginal; 3, -, marginal; 2.9, -, out; 25, -, in; 25.1, -, marginal; 26, -, marginal;
    26.1, -, out; 15, 10, in; 15.1, 10, marginal; 16, 10, marginal; 16.1, 10, out; 5, 10, in; 4.9, 10, marginal;
    4, 10, marginal; 3.9, 10, out;
    """,
)
def test_superheat_limits(value: float, target: float | None, verdict: str) -> None:
    """Title 24, RA3.2: ±5 and ±6 round a target, 4 to 25 and 3 to 26 without (seen)."""
    rows = [f"measured temperature_difference | superheat | {value} delta_degF"]
    rows += [f"rated temperature_difference | superheat | {target} delta_degF"] if target else []
    held(job(*rows), "superheat", verdict, value)


HEAD = "measured pressure | head pressure | {} psig"
LIQUID = "measured temperature | liquid line | {} degF"


@cases(
    "name, psig, line, bubble, subcooling",
    """
    R-410A, 340, 97, 104.61, 7.61; R-22, 225, 98, 109.57, 11.57; R-404A, 250, 92, 103.81, 11.81;
    R-134a, 150, 100, 111.53, 11.53; R-448A, 250, 90, 101.66, 11.66; R-454B, 320, 95, 103.81, 8.81;
    """,
)
def test_subcooling_by_the_bubble_line(name: str, psig: float, line: float, bubble: float, subcooling: float) -> None:
    """CoolProp 8.0.0, bubble line."""
    found = held(job(HEAD.format(psig), LIQUID.format(line), refrigerant=name), "subcooling", IN)
    assert found.value == pytest.approx(subcooling, abs=0.006)
    assert found.computed["saturation"].value == pytest.approx(bubble, abs=0.006)


@cases(
    "value, target, verdict",
    """
    5, -, in; 4.9, -, marginal; 2, -, marginal; 1.9, -, out; 18, -, in; 18.1, -, marginal; 25, -, marginal;
    25.1, -, out; 11, 8, in; 11.1, 8, marginal; 12, 8, marginal; 12.1, 8, out; 7.61, 8, in; 4, 8, marginal;
    3.9, 8, out;
    """,
)
def test_subcooling_limits(value: float, target: float | None, verdict: str) -> None:
    """±3 round a target: Title 24 (seen); ±4 from memory; without a target common practice, no source."""
    rows = [f"measured temperature_difference | subcooling | {value} delta_degF"]
    rows += [f"rated temperature_difference | subcooling | {target} delta_degF"] if target else []
    held(job(*rows), "subcooling", verdict, value)


@cases(
    "psig, verdict, over",
    """
    80, in, 0.86; 96, out, 10.43;
    """,
)
def test_standing_pressure(psig: float, verdict: str, over: float) -> None:
    """R-134a saturates at 75 °F at 78.65 psig (CoolProp 8.0.0); steps common practice, no source."""
    pressure = f"measured pressure | system | {psig} psig | q=standby"
    held(
        job(pressure, "measured temperature | ambient | 75 degF", refrigerant="R-134a"),
        "standing-pressure",
        verdict,
        over,
    )
    assert "temperature round" in held(job(pressure, refrigerant="R-134a"), "standing-pressure", NONE).message


@cases(
    "ambient, verdict",
    """
    72.87, in; 72.8, marginal; 69.9, marginal; 69.8, out; 79.0, -;
    """,
)
def test_standing_pressure_limits(ambient: float, verdict: str | None) -> None:
    """80 psig of R-134a is 75.86 °F: 3 °F above is in, 6 °F marginal; below −3 °F nothing is said."""
    rows = ("measured pressure | system | 80 psig | q=standby", f"measured temperature | ambient | {ambient} degF")
    found = of_rule(job(*rows, refrigerant="R-134a"), "standing-pressure")
    assert [one.verdict.value for one in found] == ([verdict] if verdict else [])


@cases(
    "altitude, ratio",
    """
    -, 7.213; 5000, 7.661;
    """,
)
def test_compression_ratio(altitude: float | None, ratio: float) -> None:
    """250 and 22 psig, absolute; common practice, no source."""
    found = held(job(HEAD.format(250), SUCTION.format(22)), "compression-ratio", IN, altitude_ft=altitude)
    assert found.value == pytest.approx(ratio, abs=5e-4)


@cases(
    "head, verdict",
    """
    14.696, in; 14.5, marginal; 7.35, marginal; 7.3, marginal; 102.871, in; 103, marginal; 132.2, marginal;
    132.4, out;
    """,
)
def test_compression_ratio_limits(head: float, verdict: str) -> None:
    """Against 0 psig suction at sea level (14.696 psia): 2, 1.5, 8 and 10 times; never out at the low end."""
    held(job(HEAD.format(head), SUCTION.format(0)), "compression-ratio", verdict)


def test_compression_ratio_asks_for_the_head_pressure() -> None:
    assert "head pressure" in held(job(SUCTION.format(22)), "compression-ratio", NONE).message


@cases(
    "name, psig, ambient, over",
    """
    R-404A, 275, 90, 20.93; R-448A, 260, 90, 18.91; R-410A, 365, 95, 14.82;
    """,
)
def test_condensing_over_ambient(name: str, psig: float, ambient: float, over: float) -> None:
    """Middle of bubble and dew (CoolProp 8.0.0); bands common practice, no source."""
    draft = job(HEAD.format(psig), f"measured temperature | ambient | {ambient} degF", refrigerant=name)
    held(draft, "condensing-over-ambient", IN, over)
    assert "ambient" in held(job(HEAD.format(psig), refrigerant=name), "condensing-over-ambient", NONE).message


@cases(
    "ambient, verdict",
    """
    100.9, in; 101.0, marginal; 105.9, marginal; 106.0, out; 80.95, in; 80.9, marginal; 75.95, marginal; 75.9, out;
    59, -;
    """,
)
def test_condensing_over_ambient_limits(ambient: float, verdict: str | None) -> None:
    """R-404A at 275 psig condenses at 110.93 °F: 10, 5, 30 and 35 °F over ambient; no verdict in the cold."""
    draft = job(HEAD.format(275), f"measured temperature | ambient | {ambient} degF", refrigerant="R-404A")
    assert [one.verdict.value for one in of_rule(draft, "condensing-over-ambient")] == ([verdict] if verdict else [])


@cases(
    "machine, name, psig, air, td",
    """
    walk-in freezer, R-404A, 15, box | -10, 11.46; reach-in cooler, R-404A, 55, box | 38, 18.23;
    air conditioner, R-410A, 125, return air | 76, 33.14;
    """,
)
def test_evaporator_td(machine: str, name: str, psig: float, air: str, td: float) -> None:
    """Dew line (CoolProp 8.0.0); 10 °F for walk-ins from a trade page (seen), the rest common practice, no source."""
    draft = job(SUCTION.format(psig), f"measured temperature | {air} degF", machine=machine, refrigerant=name)
    held(draft, "evaporator-td", IN, td)


@cases(
    "machine, bands",
    """
    walk-in cooler, 6 8 12 16; reach-in, 8 12 22 28; split system air conditioner, 24 28 40 45;
    """,
)
def test_evaporator_td_limits(machine: str, bands: str) -> None:
    """R-404A at 40 psig: dew 7.19 °F."""
    air = "return air" if "air" in machine else "box"
    low, in_low, in_high, high = (float(end) for end in bands.split())
    for over, verdict in (
        (low - 0.1, OUT), (low + 0.1, MARGINAL), (in_low + 0.1, IN), (in_high - 0.1, IN), (in_high + 0.1, MARGINAL),
        (high + 0.1, OUT),
    ):  # fmt: skip
        rows = (SUCTION.format(40), f"measured temperature | {air} | {7.191 + over} degF")
        held(job(*rows, machine=machine, refrigerant="R-404A"), "evaporator-td", verdict, over)


def test_evaporator_td_asks_for_the_kind_of_machine_and_keeps_silent_in_a_pull_down() -> None:
    rows = (SUCTION.format(40), "measured temperature | box | 38 degF")
    assert "kind of equipment" in held(job(*rows, refrigerant="R-404A"), "evaporator-td", NONE).message
    warm = (SUCTION.format(40), "measured temperature | box | 60 degF", "setpoint temperature | thermostat | 36 degF")
    assert of_rule(job(*warm, machine="walk-in", refrigerant="R-404A"), "evaporator-td") == []


@cases(
    "degf, verdict",
    """
    212, marginal; 238, out; 200, in; 200.1, marginal; 225, marginal; 225.1, out;
    """,
)
def test_discharge_line_temperature(degf: float, verdict: str) -> None:
    """225 °F: trade press (seen); 200 °F a convention of ours."""
    held(job(f"measured temperature | discharge line | {degf} degF"), "discharge-line-temperature", verdict, degf)


RETURN, SUPPLY = "measured temperature | return air | {} degF", "measured temperature | supply air | {} degF"


@cases(
    "supply, verdict, split",
    """
    56, in, 19; 63, out, 12; 59, in, 16; 59.1, marginal, 15.9; 61, marginal, 14; 61.1, out, 13.9; 53, in, 22;
    52.9, marginal, 22.1; 50, marginal, 25; 49.9, out, 25.1;
    """,
)
def test_air_temperature_split(supply: float, verdict: str, split: float) -> None:
    """Common practice, no source."""
    held(job(RETURN.format(75), SUPPLY.format(supply)), "air-temperature-split", verdict, split)
    alone = job(RETURN.format(75), machine="air conditioner")
    assert "supply air" in held(alone, "air-temperature-split", NONE).message


@cases(
    "supply, verdict, rise",
    """
    128, in, 60; 136, marginal, 68; 142, out, 74; 113, in, 45; 112.9, marginal, 44.9; 108, marginal, 40;
    107.9, out, 39.9; 133, in, 65; 133.1, marginal, 65.1; 138, marginal, 70; 138.1, out, 70.1;
    """,
)
def test_furnace_temperature_rise(supply: float, verdict: str, rise: float) -> None:
    """Nameplate (makers' manuals, seen); the last five degrees of a wide range are a convention of ours."""
    plate = "rated temperature_difference | unit | 40..70 delta_degF"
    held(
        job(RETURN.format(68), SUPPLY.format(supply), plate, machine="gas furnace"),
        "furnace-temperature-rise",
        verdict,
        rise,
    )
    bare = job(RETURN.format(68), SUPPLY.format(supply), machine="gas furnace")
    assert "temperature rise" in held(bare, "furnace-temperature-rise", NONE).message


def test_a_narrow_rise_range_has_no_marginal_ends() -> None:
    plate = "rated temperature_difference | unit | 40..60 delta_degF"
    held(job(RETURN.format(68), SUPPLY.format(109), plate, machine="gas furnace"), "furnace-temperature-rise", IN, 41)


@cases(
    "altitude, heat",
    """
    -, 25920; 5000, 21567;
    """,
)
def test_sensible_heat(altitude: float | None, heat: float) -> None:
    """1.08 BTU/h per cfm and °F (ASHRAE Fundamentals, from memory), thinned by the standard atmosphere."""
    draft = job("measured flow | supply air | 1200 cfm", RETURN.format(75), SUPPLY.format(55))
    found = held(draft, "sensible-heat", NONE, altitude_ft=altitude)
    assert found.computed["sensible_heat"].value == pytest.approx(heat, abs=0.6)


def test_airflow_of_an_electric_heater() -> None:
    """9.6 kW at a rise of 28 °F: 3412.14 × 9.6 / (1.08 × 28) = 1083.2 cfm."""
    draft = job("measured power | heating element | 9.6 kW", RETURN.format(70), SUPPLY.format(98))
    assert only(draft, "sensible-heat").computed["airflow"].value == pytest.approx(1083.2, abs=0.06)


@cases(
    "cfm, verdict",
    """
    1200, in; 1050, in; 1049, marginal; 900, marginal; 899, out; 1350, in; 1351, marginal; 1500, marginal;
    1501, out;
    """,
)
def test_airflow_per_ton(cfm: float, verdict: str) -> None:
    """300 cfm a ton: Title 24 (seen); 400: common practice, no source."""
    draft = job(f"measured flow | supply air | {cfm} cfm", "rated power | unit | 3 ton")
    held(draft, "sensible-heat", verdict, cfm / 3)


@cases(
    "back, verdict, percent",
    """
    -0.38, out, 138; -0.19, in, 100; -0.2, marginal, 102; -0.29, marginal, 120; -0.3, out, 122;
    """,
)
def test_external_static_pressure(back: float, verdict: str, percent: float) -> None:
    """Nameplate; the 120 % step is common practice, no source."""
    sides = ("measured pressure | supply air | 0.31 inWC", f"measured pressure | return air | {back} inWC")
    plate = "rated pressure | blower motor | 0.5 inWC | rating=max"
    held(job(*sides, plate), "external-static-pressure", verdict, percent)
    assert "rated maximum" in held(job(*sides), "external-static-pressure", NONE).message
