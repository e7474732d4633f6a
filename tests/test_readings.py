"""Readings of short talks: sentences of the trade with their filing; invented, common practice, no source."""

import pytest

from extractors import find_facts
from extractors.facts import HeardDoubt, Segment, Stage, Transcript


def talk(*lines):
    return find_facts(Transcript(segments=tuple(Segment(text=line, line=n) for n, line in enumerate(lines, 1))))


def filed(facts):
    return [(r.subject, str(r.quantity), str(r.role), r.value, r.unit) for r in facts.readings if not r.superseded_by]


CASES = [
    (
        ["head pressure is 240 psi and suction is 62"],
        [("head pressure", 240, "psig"), ("suction pressure", 62, "psig")],
    ),
    (
        ["sitting at 30 on the low side and 215 on the high side"],
        [("suction pressure", 30, "psig"), ("head pressure", 215, "psig")],
    ),
    (["compressor's pulling 8.7 amps, RLA on the plate is 9.6"], [("compressor", 8.7, "A"), ("compressor", 9.6, "A")]),
    (["the box is at 52 degrees and the stat's set for 36"], [("box", 52, "degF"), ("thermostat", 36, "degF")]),
    (
        ["run cap's marked 35 microfarads and I'm reading 31.8"],
        [("run capacitor", 35, "uF"), ("run capacitor", 31.8, "uF")],
    ),
    (["manifold pressure is 3.5 inches of water column"], [("manifold", 3.5, "inWC")]),
    (["pulled it down to 380 microns"], [("system", 380, "micron")]),
    (
        ["12 degrees of superheat and 9 of subcooling"],
        [("superheat", 12, "delta_degF"), ("subcooling", 9, "delta_degF")],
    ),
]


@pytest.mark.parametrize(("lines", "want"), CASES, ids=[c[0][0] for c in CASES])
def test_filing(lines, want):
    facts = talk(*lines)

    assert [(s, v, u) for s, _, _, v, u in filed(facts)] == want


def test_a_correction_leaves_the_last_figure_and_keeps_the_first():
    facts = talk("suction pressure is 52 psi, no wait, correction, 62 psi")
    first, last = facts.readings

    assert (first.value, first.superseded_by) == (52, last.id)
    assert (last.value, last.superseded_by) == (62, None)


def test_a_figure_said_twice_is_one_reading_with_a_repeat():
    facts = talk("compressor is pulling 4.3 amps, 4.3 amps")

    assert [(r.value, len(r.repeats)) for r in facts.readings] == [(4.3, 1)]


def test_run_times_reach_the_readings_of_their_series():
    facts = talk(
        "Box temperature is 50 degrees when I start it.",
        "At ten minutes the box is at 46 degrees.",
        "At twenty minutes the box is at 42 degrees.",
    )
    box = [(r.value, r.minutes) for r in facts.readings if r.subject == "box"]

    assert box == [(50, 0), (46, 10), (42, 20)]


def test_as_found_and_as_left_from_the_deed_between():
    facts = talk(
        "compressor is pulling 11.4 amps", "I replaced the run capacitor", "compressor is down to 8.7 amps now"
    )
    stages = [r.stage for r in facts.readings if r.subject == "compressor"]

    assert stages == [Stage.AS_FOUND, Stage.AS_LEFT]


def test_figures_that_are_no_reading_are_listed_with_the_reason():
    facts = talk(
        "took out 8 screws", "last year it was pulling 9 amps", "got here at 8:15", "she said it was 50 degrees"
    )
    reasons = {str(u.reason) for u in facts.unplaced}

    assert facts.readings == ()
    assert reasons == {"count of things", "earlier visit", "clock or date", "said by others"}


def test_the_sounds_doubt_and_its_other_figure_reach_the_reading():
    text = "run capacitor reads 50 microfarads"
    at = text.index("50")
    doubt = HeardDoubt(start=at, end=at + 2, wrong=0.6, confirm=("heard differently",), alternatives=("fifteen",))
    facts = find_facts(Transcript(segments=(Segment(text=text, start=0.0, end=2.0, doubts=(doubt,)),)))
    (reading,) = facts.readings

    assert "heard differently: fifteen" in reading.confirm
    assert 15 in [a.value for a in reading.alternatives]


def test_a_name_that_nobody_knows_is_asked():
    facts = talk("the compressor is running", "pet pressure is 390 psi")
    (reading,) = facts.readings

    assert any("pet pressure" in c or c.startswith("subject unclear") for c in reading.confirm)


def test_a_leg_order_that_was_not_said_is_asked():
    facts = talk("three phase, legs are 461, 458 and 463 volts")

    assert [r.subject for r in facts.readings] == ["L1-L2", "L2-L3", "L1-L3"]
    assert all(any("leg" in c for c in r.confirm) for r in facts.readings)


def test_a_figure_given_to_something_else_afterwards_is_asked():
    said = ("defrost heater is forty four ohms", "no wait that was the door heater")
    (reading,) = talk(*said).readings
    assert any("no wait" in reason for reason in reading.confirm)
    (alone,) = talk(said[0]).readings
    assert not any("no wait" in reason for reason in alone.confirm)


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("Room seventy-six, air off the condenser ninety-one.", 76),
        ("Compressor sixteen point four amps, locked rotor is ninety-six fans one point six.", 96),
        ("Voltage, L1 to L2 two oh six L2 to L3 two oh seven.", 206),
    ],
)
def test_a_figure_whose_marks_the_recogniser_lost_is_no_name_and_no_count(said, value):
    assert value in [reading.value for reading in find_facts(Transcript(segments=(Segment(text=said),))).readings]


@pytest.mark.parametrize(
    ("said", "value", "unit"),
    [
        ("CO in the flue is 12 ppm and the oxygen is 6", 6, "%"),
        ("Oxygen in the flue is 6 percent. After the brushing CO in the flue was 95", 95, "ppm"),
    ],
)
def test_the_gas_tells_the_unit(said, value, unit):
    assert [r.unit for r in talk(said).readings if r.value == value] == [unit]


def test_the_size_of_a_probes_ohms_is_asked_where_it_was_not_said():
    (reading,) = talk("The thermistor's resistance is 32.6").readings

    assert any(other.unit == "kohm" for other in reading.alternatives)
    assert any("kilohms" in reason for reason in reading.confirm)
