"""Safety notes: called for by the facts, each once, the worst first, and never made milder."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from checking import action, cases, finding, job

from extractors.facts import ActionKind, Complaint, Condition, Evidence, FindingStatus, Said
from pipeline.cautions import DATA, cautions, for_the_top, safety_follow_ups
from pipeline.checks import check
from pipeline.checks.limits import all_limits
from pipeline.draft import Draft, Verdict

STANDING = "The maker's instructions, local codes and qualified, licensed persons decide."


def texts(draft: Draft) -> list[str]:
    """The notes of a draft with its checks made."""
    return [one.text for one in cautions(check(draft))]


def test_a_job_that_calls_for_none_has_none() -> None:
    assert cautions(Draft()) == ()
    assert cautions(job("measured temperature | box | 38 degF", machine="reach-in cooler")) == ()


@cases(
    "row, machine, word",
    """
    measured voltage | line | 208 V, -, locked and tagged;
    measured capacitance | run capacitor | 31 uF, -, keeps its charge;
    measured concentration | ambient | 9 ppm | of=CO, -, Carbon monoxide;
    measured temperature | product | 44 degF, reach-in, Food;
    measured temperature | box | 44 degF, walk-in, Food; measured temperature | product | 22 degF, freezer, Food;
    measured temperature | final rinse | 164 degF, high temp dish machine, not sanitised;
    measured temperature | discharge line | 180 degF, -, Hot surfaces;
    """,
)
def test_figures_that_call_for_a_note(row: str, machine: str | None, word: str) -> None:
    found = texts(job(row, machine=machine or ""))
    assert any(word in text for text in found)
    assert found[-1] == STANDING
    assert found.count(STANDING) == 1


@cases(
    "kind, component, word",
    """
    replaced, contactor, locked and tagged; tested, start capacitor, keeps its charge;
    bypassed, pressure switch, bypassed;
    pressure_tested, system, Nitrogen; recovered, refrigerant charge, No venting; replaced, gas valve, Leak-test;
    """,
)
def test_work_that_calls_for_a_note(kind: str, component: str, word: str) -> None:
    assert any(word in text for text in texts(job(actions=(action(kind, component),))))


@cases(
    "component, condition, word",
    """
    breaker, tripped, before the breaker; compressor, grounded, before the breaker; evaporator, leaking, No venting;
    heat exchanger, damaged, Carbon monoxide; limit switch, missing, bypassed or missing;
    run capacitor, failed, keeps its;
    drain, clogged, Water on the floor; compressor, burnt, Acidic oil; product, warm, Food;
    """,
)
def test_findings_that_call_for_a_note(component: str, condition: str, word: str) -> None:
    assert any(word in text for text in texts(job(findings=(finding(component, condition),))))
    denied = finding(component, condition, status="ruled_out")
    assert cautions(job(findings=(denied,))) == ()


@cases(
    "name, word",
    "R-290, no more than the plate charge; R-454B, Mildly flammable; R-32, Mildly; R-744, displaces the air;",
)
def test_refrigerants_that_call_for_a_note(name: str, word: str) -> None:
    assert any(word in text for text in texts(job(refrigerant=name)))
    assert texts(job(refrigerant="R-404A")) == []


@cases(
    "text, word",
    """
    brazed the bend, Brazing; the bladder had failed, -; climbed the ladder, height; smell of gas at the burner, gas;
    high pressure switch is jumped out, bypassed; no trouble at all, -;
    """,
)
def test_words_that_call_for_a_note(text: str, word: str | None) -> None:
    found = texts(job(findings=(finding("unit", "noisy", text=text),)))
    assert any((word or "?") in one for one in found) == bool(word)


def test_the_place_of_a_machine_and_the_complaint() -> None:
    roof = job()
    roof = roof.model_copy(
        update={"equipment": roof.equipment.model_copy(update={"location": Said(value="up on the roof")})}
    )
    assert any("height" in text for text in texts(roof))
    complaint = Complaint(text="the breaker keeps popping", evidence=Evidence(quote=""))
    assert any("before the breaker" in text for text in texts(job().model_copy(update={"complaint": complaint})))


def test_a_bypassed_safety_comes_first_and_is_named_at_the_top() -> None:
    draft = check(job("measured voltage | line | 208 V", actions=(action("bypassed", "limit switch", 10),)))
    assert "bypassed" in cautions(draft)[0].text
    assert cautions(draft)[0].because.startswith("Limit switch bypassed")
    assert [one.text for one in for_the_top(draft)] == [cautions(draft)[0].text]
    assert [one.text for one in safety_follow_ups(draft)] == ["Put the limit switch back in the circuit."]


def test_a_safety_that_was_put_back_and_a_heater_taken_out_need_no_follow_up() -> None:
    back = (action("bypassed", "pressure switch", 10), action("repaired", "pressure switch", 50))
    assert safety_follow_ups(job(actions=back)) == ()
    assert safety_follow_ups(job(actions=(action("bypassed", "heating element", 10),))) == ()


def test_approximate_figures_do_not_silence_what_harms() -> None:
    for row, machine in (
        ("measured temperature | product | 44 degF | q=approximate", "reach-in"),
        ("measured concentration | ambient | 40 ppm | of=CO q=approximate", "furnace"),
    ):
        assert for_the_top(check(job(row, machine=machine)))


def test_triggers_are_words_of_the_data() -> None:
    """A trigger with a word that no fact can carry would never fire."""
    with Path(DATA).open("rb") as file:
        rows = tomllib.load(file)["caution"]
    assert len({row["text"] for row in rows}) == len(rows)
    for row in rows:
        for want in row.get("actions", ()):
            assert set(want["actions"]) <= {kind.value for kind in ActionKind}
        for want in row.get("findings", ()):
            assert set(want["conditions"]) <= {condition.value for condition in Condition}
        for want in row.get("checks", ()):
            assert set(want["rules"]) <= set(all_limits())
            assert set(want["verdicts"]) <= {verdict.value for verdict in Verdict}
        assert row["because"] and isinstance(row["top"], bool)


@pytest.mark.parametrize("status", [status.value for status in FindingStatus if status is not FindingStatus.RULED_OUT])
def test_a_suspicion_is_enough_for_a_note(status: str) -> None:
    assert texts(job(findings=(finding("heat exchanger", "damaged", status=status),)))
