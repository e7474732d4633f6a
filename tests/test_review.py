"""What a report needs of a person: the order, what must be heard, and what stands in the way of its review."""

from __future__ import annotations

import pytest
from app_drafts import draft
from app_person import Person

from extractors.facts import Evidence, Reading, Said
from pipeline.draft import Stretch
from pipeline.edits import EditKind
from pipeline.review import blockers, measures, must_hear, needs


def reading(**fields: object) -> Reading:
    usual = {"id": "r1", "quantity": "temperature", "subject": "box", "role": "measured", "value": 38.0, "unit": "degF"}
    return Reading.model_validate({**usual, "evidence": Evidence(quote="38"), **fields})


@pytest.mark.parametrize(
    ("fields", "heard"),
    [
        ({}, True),
        ({"role": "setpoint"}, True),
        ({"role": "rated"}, False),
        ({"role": "expected"}, False),
        ({"superseded_by": "r2"}, False),
        ({"subject": "ambient"}, False),
        ({"subject": "manifold", "quantity": "pressure", "unit": "inWC"}, True),
        ({"subject": "flue", "quantity": "concentration", "of": "CO", "unit": "ppm"}, True),
        ({"subject": "ambient", "quantity": "concentration", "of": "CO", "unit": "ppm"}, True),
        ({"subject": "compressor", "quantity": "resistance", "unit": "Mohm"}, True),
        ({"subject": "compressor", "quantity": "resistance", "unit": "ohm", "place": "common to ground"}, True),
        ({"subject": "compressor", "quantity": "resistance", "unit": "ohm", "place": "common to run"}, False),
        ({"subject": "refrigerant charge", "quantity": "mass", "unit": "lb"}, True),
        ({"subject": "final rinse"}, True),
        ({"subject": "compressor", "quantity": "current", "unit": "A"}, False),
        ({"subject": "run capacitor", "quantity": "capacitance", "unit": "uF"}, False),
    ],
    ids=str,
)
def test_figures_on_which_safety_or_food_hangs_must_be_heard(fields: dict[str, object], heard: bool) -> None:
    """Which figures: must_hear.toml. A cold box: FDA Food Code 3-501.16 (from memory); the rest common practice."""
    assert bool(must_hear(draft(), reading(**fields))) is heard


def test_the_box_of_a_machine_that_keeps_no_food_need_not_be_heard() -> None:
    furnace = draft().model_copy(
        update={"equipment": draft().equipment.model_copy(update={"type": Said(value="gas furnace")})}
    )
    assert must_hear(furnace, reading()) == ""


def test_what_presses_most_comes_first() -> None:
    machine = draft().model_copy(update={"unheard": (Stretch(start=1.0, end=3.0),)})
    found = needs(Person(machine).sees(), {"r3": "On 3 earlier visits it was 7."})

    assert [(need.kind, need.handle) for need in found] == [
        ("figure", "r1"),
        ("figure", "r2"),
        ("listen", "r4"),
        ("listen", "r5"),
        ("entry", "equipment.serial"),
        ("history", "r3"),
        ("gap", "gap:0"),
        ("gap", "gap:1"),
        ("unheard", "unheard:0"),
    ]


def test_a_figure_out_of_its_limits_is_shown_once_its_doubt_is_gone_and_until_it_is_said_to_be_right() -> None:
    ann = Person(draft())
    ann.does(EditKind.CHANGE, "r2", value=21.8)
    assert ("outside", "r2") in [(need.kind, need.handle) for need in needs(ann.sees())]
    ann.does(EditKind.ACCEPT, "r2")
    assert "r2" not in [need.handle for need in needs(ann.sees())]


def test_a_report_waits_for_what_must_be_heard_and_for_nothing_else() -> None:
    ann = Person(draft())
    assert [need.handle for need in blockers(ann.sees())] == ["r4", "r5"]
    ann.does(EditKind.HEARD, "r4", how="sound")
    ann.does(EditKind.ACCEPT, "r5")
    assert [need.handle for need in blockers(ann.sees())] == ["r5"], "to say it is right is not to have heard it"
    ann.does(EditKind.HEARD, "r5", how="words")
    assert blockers(ann.sees()) == []


def test_a_review_tells_how_many_figures_without_a_mark_anybody_played() -> None:
    """The measures that studies of review ask for; marks alone hide the errors that they miss."""
    ann = Person(draft())
    ann.does(EditKind.HEARD, "r3")
    ann.does(EditKind.HEARD, "r2")
    ann.does(EditKind.CHANGE, "r3", value=8.6)
    told = measures(ann.machine, ann.sees(), ann.edits)

    assert (told.marked, told.marked_heard) == (2, 1)
    assert (told.unmarked, told.unmarked_heard) == (3, 1)
    assert told.changed == 1
