"""How a verdict is reached: ranges, rough figures, doubts, stages, what stays unsaid, and the sentences."""

from __future__ import annotations

from typing import Any

import pytest
from checking import IN, MARGINAL, NONE, OUT, action, cases, finding, held, job, of_rule, only

from extractors.facts import Said
from pipeline.checks import check
from pipeline.checks.limits import all_limits
from pipeline.checks.needs import needs_table
from pipeline.checks.registry import discover
from pipeline.checks.rule import Rule
from pipeline.draft import Draft

CAP = "measured capacitance | run capacitor | {} uF"
MARK = "rated capacitance | run capacitor | 35 uF | tol=6,6"
SUCTION = "measured pressure | suction pressure | 40 psig"
BOX = "measured temperature | box | {} degF"


def test_there_are_fifty_rules_each_with_limits_title_and_example() -> None:
    assert len(discover()) == 50
    assert [rule.name for rule in discover()] == list(all_limits())
    for limits in all_limits().values():
        assert limits.title and limits.about.endswith(".") and limits.example.endswith("."), limits.rule
        assert all(limit.source.title for limit in limits)


def test_every_limit_of_the_file_is_read_by_its_rule() -> None:
    """A limit that no rule reads would be a promise to shops that nothing keeps."""
    from inspect import getsource
    from sys import modules

    from pipeline.checks import capacitors, circuit, legs

    shared = "".join(getsource(one) for one in (capacitors, circuit, legs))
    for rule in discover():
        source = getsource(modules[rule.judge.__module__]) + shared
        for limit in all_limits()[rule.name]:
            stem = limit.name.rstrip("12345")
            for end in ("in_low", "in_high", "low", "high"):
                stem = stem.removesuffix(end).removesuffix("_")
            whole_band = not stem and ".band()" in source
            assert whole_band or f'"{limit.name}"' in source or (stem and stem in source), f"{rule.name}: {limit.name}"


def test_needs_table_has_a_row_for_every_rule() -> None:
    rows = needs_table().splitlines()[2:]
    assert [row.split("`")[1] for row in rows] == [rule.name for rule in discover()]
    assert all(row.count("|") == 5 for row in rows)


def test_a_message_says_the_figures_where_they_come_from_and_the_verdict() -> None:
    draft = job(CAP.format(31.8) + " | at=260", MARK + " at=252")
    found = held(draft, "capacitor-tolerance", OUT)
    assert found.message == (
        "Run capacitor 31.8 µF against 35 µF ±6 % (marking, said at 4:12): 9.14 % low, out of tolerance."
    )
    assert found.basis.kind == "nameplate"
    assert found.basis.source.startswith("marking, said at 4:12")
    assert found.readings == ("r1", "r2")
    assert found.computed["allowed from"].value == pytest.approx(32.9)


def test_text_without_times_names_the_line() -> None:
    draft = job(CAP.format(31.8) + " | line=9", MARK + " line=7")
    assert "(marking, said in line 7)" in only(draft, "capacitor-tolerance").message


@cases("low, high, verdict", "34, 35, in; 33, 35, marginal; 31, 35, out; 35, 38, out; 31, 39, out;")
def test_a_range_is_judged_at_both_ends_and_shows_both(low: float, high: float, verdict: str) -> None:
    found = held(job(CAP.format(f"{low}..{high}"), MARK), "capacitor-tolerance", verdict)
    assert f"{low} to {high} µF" in found.message
    assert " to " in found.message.split(":")[-1] or verdict == IN


@cases("value, verdict", "31.8, marginal; 33.0, in; 34, in;")
def test_a_rough_figure_is_one_step_milder(value: float, verdict: str) -> None:
    draft = job(CAP.format(value) + " | q=approximate", MARK)
    found = held(draft, "capacitor-tolerance", verdict)
    assert ("milder" in found.message) == (value < 33.5)


@pytest.mark.parametrize(
    ("rule", "rows", "machine", "refrigerant"),
    [
        ("cold-holding-food", ["measured temperature | product | 44 degF | q=approximate"], "reach-in", ""),
        ("frozen-food", ["measured temperature | product | 22 degF | q=approximate"], "walk-in freezer", ""),
        ("carbon-monoxide-ambient", ["measured concentration | ambient | 44 ppm | of=CO q=approximate"], "", ""),
        (
            "carbon-monoxide-flue",
            [
                "measured concentration | flue | 400 ppm | of=CO q=approximate",
                "measured percentage | flue | 8 % | of=O2",
            ],
            "",
            "",
        ),
        (
            "flammable-charge-limit",
            [
                "measured mass | refrigerant charge | 165 g | q=approximate",
                "rated mass | refrigerant charge | 150 g",
            ],
            "",
            "R-290",
        ),
    ],
)
def test_food_carbon_monoxide_and_flammable_charge_never_soften(
    rule: str, rows: list[str], machine: str, refrigerant: str
) -> None:
    found = of_rule(job(*rows, machine=machine, refrigerant=refrigerant), rule)[0]
    assert found.verdict.value == OUT
    assert "measure it again" in found.message


def test_a_verdict_on_a_doubtful_figure_says_so() -> None:
    draft = job(CAP.format(31.8) + " | confirm=low_confidence", MARK)
    assert (
        "This rests on a figure that needs a second listen: 31.8 µF (low confidence)."
        in only(draft, "capacitor-tolerance").message
    )


@cases(
    "reason, value, verdict",
    """
    subject unclear, 31.8, none; subject unclear, 34.6, in; unit not said, 33.0, none; may be rated, 31.8, none;
    decimal point, 31.8, out; heard differently, 31.8, out; does not fit, 31.8, none;
    """,
)
def test_nothing_is_called_wrong_while_nobody_knows_what_it_is(reason: str, value: float, verdict: str) -> None:
    draft = job(CAP.format(value) + f" | confirm={reason.replace(' ', '_')}", MARK)
    held(draft, "capacitor-tolerance", verdict)


def test_food_is_judged_even_while_its_figure_is_in_doubt() -> None:
    draft = job("measured temperature | product | 48 degF | confirm=subject_unclear")
    assert "second listen" in held(draft, "cold-holding-food", OUT).message


@cases("volts, word", "500, is the supply; 1.2, is the supply; 0, no voltage at all;")
def test_a_voltage_far_from_the_plate_is_hardly_the_supply(volts: float, word: str) -> None:
    draft = job(f"measured voltage | line | {volts} V", "rated voltage | unit | 115 V")
    assert word in only(draft, "supply-voltage-nameplate").message


def test_a_doubtful_refrigerant_is_said_too() -> None:
    draft = job("measured pressure | suction pressure | 40 psig", "measured temperature | suction line | 22 degF")
    doubtful = Said(value="R-404A", confirm=("low confidence",))
    draft = draft.model_copy(update={"equipment": draft.equipment.model_copy(update={"refrigerant": doubtful})})
    assert "refrigerant itself still has to be confirmed" in only(draft, "superheat").message


def test_corrected_readings_are_never_used() -> None:
    draft = job(CAP.format(13) + " | superseded=r2", CAP.format(34), MARK)
    found = only(draft, "capacitor-tolerance")
    assert found.readings == ("r2", "r3")


def test_an_entry_after_the_repair_names_the_figure_before_it() -> None:
    draft = job(CAP.format(31.8) + " | stage=as_found", CAP.format(34.6) + " | stage=as_left", MARK)
    before, after = of_rule(draft, "capacitor-tolerance")
    assert "As found it was 31.8 µF." in after.message
    assert "As found" not in before.message
    assert [before.stage, after.stage] == ["as_found", "as_left"]


@cases(
    "figure, verdict",
    "over 41.0, out; under 41.0, none; over 40.0, none; under 41, none; over 60, out;",
)
def test_a_bound_gives_a_verdict_only_where_the_open_side_cannot_change_it(figure: str, verdict: str) -> None:
    word, value = figure.split()
    mark = "at_least" if word == "over" else "at_most"
    draft = job(f"measured temperature | product | {value} degF | q={mark}")
    found = only(draft, "cold-holding-food")
    assert found.verdict.value == (IN if (word, verdict) == ("under", NONE) else verdict), found.message


def test_more_than_two_hundred_megohms_are_enough() -> None:
    held(job("measured resistance | compressor | 200 Mohm | q=at_least"), "winding-insulation", IN)


@cases(
    "rule, missing",
    """
    running-amps-rating, rated amps of the compressor; capacitor-tolerance, marking of the run capacitor;
    superheat, suction pressure; box-against-setpoint, setpoint;
    """,
)
def test_no_reference_names_the_one_missing_thing(rule: str, missing: str) -> None:
    rows = {
        "running-amps-rating": "measured current | compressor | 9 A",
        "capacitor-tolerance": CAP.format(31),
        "superheat": "measured temperature | suction line | 22 degF",
        "box-against-setpoint": BOX.format(38),
    }
    found = held(job(rows[rule]), rule, NONE)
    assert missing in found.message
    assert (found.value, found.allowed_low, found.allowed_high) == (None, None, None)


def test_without_a_refrigerant_nothing_is_computed() -> None:
    rows = ("measured pressure | suction pressure | 40 psig", "measured temperature | suction line | 22 degF")
    draft = job(*rows)
    assert "refrigerant" in held(draft, "superheat", NONE).message
    unknown = draft.model_copy(
        update={"equipment": draft.equipment.model_copy(update={"refrigerant": Said(value="R-999")})}
    )
    assert "R-999 is not in the table" in held(unknown, "superheat", NONE).message


def test_one_no_reference_a_rule_and_subject_and_none_for_a_figure_judged_elsewhere() -> None:
    amps = "measured current | compressor | {} A | stage={}"
    draft = job(amps.format(9, "as_found"), amps.format(8, "as_left"))
    assert len(of_rule(draft, "running-amps-rating")) == 1
    assert of_rule(draft, "running-amps-low") == []
    pressure, line = (
        "measured pressure | suction pressure | {} psig | {}",
        "measured temperature | suction line | 22 degF | {}",
    )
    draft = job(
        pressure.format(20, "stage=as_found at=0"), pressure.format(40, "stage=as_left at=900"),
        line.format("stage=as_left at=910"), refrigerant="R-404A",
    )  # fmt: skip
    assert [one.verdict.value for one in of_rule(draft, "superheat")] == [IN]


def test_a_rule_that_raises_costs_no_other_rule_and_makes_the_draft_partial(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_: object) -> None:
        raise ZeroDivisionError("made for the test")

    rules = tuple(
        Rule(rule.name, rule.needs, broken, cases=rule.cases) if rule.name == "capacitor-tolerance" else rule
        for rule in discover()
    )
    monkeypatch.setattr("pipeline.checks.registry.discover", lambda: rules)
    result = check(job(CAP.format(31.8), MARK, BOX.format(44)))
    assert result.status == "partial"
    assert "capacitor-tolerance" in result.problems[0].message
    assert [one.rule for one in result.checks] == ["box-against-setpoint", "cold-holding-food"]


def test_celsius_is_answered_in_celsius() -> None:
    draft = job("measured temperature | box | 8 degC", "setpoint temperature | thermostat | 2 degC")
    found = held(draft, "box-against-setpoint", OUT, 6)
    assert found.unit == "delta_degC"
    assert "6 °C above" in found.message


def test_points_on_the_way_of_a_pull_down_are_not_judged() -> None:
    rows = [f"{BOX.format(degf)} | stage=as_left at={600 * place}" for place, degf in enumerate((58, 50, 44, 38))]
    draft = job(*rows, "setpoint temperature | controller | 36 degF")
    assert [one.readings for one in of_rule(draft, "box-against-setpoint")] == [("r4", "r5")]


def test_a_box_still_on_its_way_gets_no_verdict_yet() -> None:
    rows = [f"{BOX.format(degf)} | stage=as_left at={600 * place}" for place, degf in enumerate((58, 50, 44))]
    found = only(job(*rows, "setpoint temperature | controller | 36 degF"), "box-against-setpoint")
    assert found.verdict.value == NONE
    assert "still on its way to 36 °F" in found.message


def test_the_same_draft_gives_the_same_checks() -> None:
    draft = job(CAP.format(31.8), MARK, BOX.format(44), "measured current | compressor | 9 A")
    assert check(draft).model_dump_json() == check(draft).model_dump_json()
    assert check(check(draft)).checks == check(draft).checks


def test_a_voltage_that_may_be_leg_to_neutral_is_not_called_low() -> None:
    draft = job("measured voltage | line | 120 V", "rated voltage | unit | 208 V")
    assert "leg to neutral" in held(draft, "supply-voltage-nameplate", NONE).message


def test_carbon_dioxide_and_ammonia_run_hot_in_order() -> None:
    row = "measured temperature | discharge line | 240 degF"
    assert of_rule(job(row, refrigerant="R-744"), "discharge-line-temperature") == []
    held(job(row, refrigerant="R-404A"), "discharge-line-temperature", OUT)


def test_two_plate_voltages_of_one_dual_rating_are_one_band() -> None:
    draft = job("measured voltage | line | 219 V", "rated voltage | unit | 208 V", "rated voltage | unit | 230 V")
    assert "208 to 230 V" in held(draft, "supply-voltage-nameplate", IN, 0).message


def test_a_superheat_said_and_one_worked_out_are_compared() -> None:
    rows = (
        "measured pressure | suction pressure | 40 psig", "measured temperature | suction line | 22 degF",
        "measured temperature_difference | superheat | {} delta_degF",
    )  # fmt: skip
    agree = only(job(*rows[:2], rows[2].format(15), refrigerant="R-404A"), "superheat")
    assert agree.value == 15
    assert agree.computed["superheat"].value == pytest.approx(14.81, abs=0.006)
    assert "do not agree" in only(job(*rows[:2], rows[2].format(24), refrigerant="R-404A"), "superheat").message


def test_negative_superheat_is_never_a_verdict() -> None:
    rows = ("measured pressure | suction pressure | 40 psig", "measured temperature | suction line | 2 degF")
    found = held(job(*rows, refrigerant="R-404A"), "superheat", NONE)
    assert "can hardly be" in found.message


def test_at_the_compressor_a_refrigeration_superheat_may_be_higher() -> None:
    rows = (
        "measured pressure | suction pressure | 40 psig",
        "measured temperature | suction line | 40 degF | place={}",
    )
    for place, verdict in (("at_the_compressor", IN), ("at_the_coil", OUT)):
        draft = job(rows[0], rows[1].format(place), machine="walk-in cooler", refrigerant="R-404A")
        held(draft, "superheat", verdict, 32.81)


def test_little_subcooling_is_common_with_a_receiver() -> None:
    row = "measured temperature_difference | subcooling | 1 delta_degF"
    held(job(row), "subcooling", OUT)
    draft = job(row, findings=(finding("receiver", "normal"),))
    assert "receiver" in held(draft, "subcooling", MARGINAL).message


def test_rooms_and_ovens_are_no_cold_food() -> None:
    for machine in ("split system air conditioner", "convection oven", "gas furnace", "vaccine refrigerator"):
        assert of_rule(job(BOX.format(60), machine=machine), "cold-holding-food") == []


def test_a_shop_setting_is_used_and_named() -> None:
    class Shop:
        altitude_ft = None
        folder = None
        limits: dict[str, dict[str, Any]] = {"capacitor-tolerance": {"low": -5, "high": 5}}  # noqa: RUF012

    found = held(job(CAP.format(33), MARK), "capacitor-tolerance", OUT, shop=Shop())
    assert found.basis.kind == "shop_setting"
    assert (found.allowed_low, found.allowed_high) == (-5, 5)


def test_the_sites_altitude_goes_before_the_shops() -> None:
    class Shop:
        altitude_ft = 8000.0
        folder = None
        limits: dict[str, dict[str, Any]] = {}  # noqa: RUF012

    rows = ("measured pressure | head pressure | 250 psig", "measured pressure | suction pressure | 22 psig")
    held(job(*rows), "compression-ratio", IN, 7.661, altitude_ft=5000, shop=Shop())
    assert only(job(*rows), "compression-ratio", shop=Shop()).value == pytest.approx(7.93, abs=0.01)


def test_a_conversion_overrides_the_plate_and_two_circuits_are_not_guessed() -> None:
    rows = ("measured pressure | suction pressure | 40 psig", "measured temperature | suction line | 30 degF")
    converted = job(
        *rows, refrigerant="R-404A", actions=(action("charged", "refrigerant charge", text="put R-448A in"),)
    )
    assert "R-448A" in only(converted, "superheat").message
    both = job(*rows, refrigerant="R-404A")
    other = both.equipment.model_copy(update={"refrigerant": Said(value="R-290"), "type": Said(value="prep table")})
    both = both.model_copy(update={"other_equipment": (other,)})
    assert "which refrigerant" in only(both, "superheat").message


def test_an_empty_draft_has_no_checks() -> None:
    assert check(Draft()) == Draft()
