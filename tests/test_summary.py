"""The summary says facts and nothing else: each number is a reading's, what is doubtful is said so or left out."""

from __future__ import annotations

import re
import tomllib
from enum import StrEnum
from pathlib import Path
from typing import Any

import pytest

from extractors.facts import (
    Action,
    ActionKind,
    Complaint,
    Condition,
    Evidence,
    Finding,
    FindingStatus,
    Part,
    Qualifier,
    Quantity,
    Reading,
)
from pipeline.draft import Basis, Check, Diagnosis, Draft, Trend, TrendPoint, load
from pipeline.summary import summary
from pipeline.words import languages, load_words
from pipeline.words.figures import shown

ROOT = Path(__file__).parents[1]
DRAFTS = Path(__file__).parent / "drafts"
NAMES = tuple(sorted(path.stem for path in DRAFTS.glob("*.json")))
SAID = Evidence(start=1.0, end=2.0, quote="as said")


def reading(name: str, value: float, **more: Any) -> Reading:
    fields: dict[str, Any] = {
        "quantity": "temperature",
        "subject": "box",
        "role": "measured",
        "unit": "degF",
        "stage": "as_left",
        "evidence": SAID,
    }
    return Reading(id=name, value=value, **(fields | more))


def finding(name: str, component: str, condition: str, **more: Any) -> Finding:
    fields: dict[str, Any] = {"status": "observed", "text": "", "evidence": SAID}
    return Finding(id=name, component=component, condition=condition, **(fields | more))


def action(name: str, kind: str, component: str, **more: Any) -> Action:
    fields: dict[str, Any] = {"status": "done", "text": "", "evidence": SAID}
    return Action(id=name, action=kind, component=component, **(fields | more))


def job(**fields: Any) -> Draft:
    return Draft(**fields)


REPAIR = job(
    complaint=Complaint(text="It is warm inside.", evidence=SAID),
    findings=(finding("f1", "start relay", "failed"),),
    actions=(action("a1", "replaced", "start relay"),),
    readings=(reading("r1", 54.0, stage="as_found"), reading("r2", 37.5)),
    diagnosis=Diagnosis(causes=("f1",), remedies=("a1",), proof=("r2",)),
)


def loose_numbers(draft: Draft, text: str, language: str) -> list[str]:
    """Numbers left when every reading's figure has been taken out; `L1` and the like are names."""
    words = load_words(language)
    figures = {shown(one, words).text for one in draft.readings}
    for figure in sorted(figures, key=len, reverse=True):
        text = text.replace(re.sub(r"^[≈≥≤]\u202f", "", figure), "")
    return re.findall(r"(?<![A-Za-z\d-])[\d.,]*\d", text)


def sentences(text: str) -> list[str]:
    return re.findall(r"[^.]+\.(?=\s[A-ZÁÉÍÓÚ¿«“]|$)", text.replace("w.c.", "wc").replace("in.", "in"))


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", NAMES)
def test_every_number_is_a_readings(name: str, language: str) -> None:
    draft = load((DRAFTS / f"{name}.json").read_text(encoding="utf-8"))
    text = summary(draft, language)

    assert loose_numbers(draft, text, language) == []
    assert 2 <= len(sentences(text)) <= 5, text


def test_number_test_can_fail() -> None:
    assert loose_numbers(REPAIR, "It was 38 °F and then 37.5\u00a0°F.", "en") == ["38"]


def test_five_things_in_their_order() -> None:
    order = Part(id="p1", description="fan", component="condenser fan motor", status="to_order", evidence=SAID)
    text = summary(REPAIR.model_copy(update={"parts": (order,)}))

    places = [
        text.index(said) for said in ("It is warm inside", "had failed", "replaced", "37.5", "condenser fan motor")
    ]
    assert places == sorted(places)
    assert "was 54\u00a0°F before the work and 37.5\u00a0°F after it" in text


def test_flagged_figure_is_left_out_and_said_to_be_open() -> None:
    doubtful = tuple(one.model_copy(update={"confirm": ("teen or ty",)}) for one in REPAIR.readings)
    text = summary(REPAIR.model_copy(update={"readings": doubtful}))

    assert "37.5" not in text
    assert "has still to be confirmed" in text


def test_flagged_cause_is_said_as_doubtful() -> None:
    doubtful = (REPAIR.findings[0].model_copy(update={"confirm": ("speaker not sure",)}),)

    assert "still to be confirmed, that the start relay" in summary(REPAIR.model_copy(update={"findings": doubtful}))


def test_suspicion_is_no_cause() -> None:
    guess = (REPAIR.findings[0].model_copy(update={"status": FindingStatus.SUSPECTED}),)
    text = summary(REPAIR.model_copy(update={"findings": guess, "diagnosis": Diagnosis()}))

    assert "not proven" in text
    assert "The cause was" not in text


def test_what_was_ruled_out_is_not_told_as_a_fault() -> None:
    cleared = (REPAIR.findings[0].model_copy(update={"status": FindingStatus.RULED_OUT}),)

    assert "had failed" not in summary(REPAIR.model_copy(update={"findings": cleared, "actions": ()}))


def test_corrected_figure_is_not_told() -> None:
    readings = (REPAIR.readings[0], reading("r2", 73.5, superseded_by="r3"), reading("r3", 37.5))
    text = summary(REPAIR.model_copy(update={"readings": readings}))

    assert "73.5" not in text
    assert "37.5" in text


def test_result_outside_its_limits_is_open_and_no_proof() -> None:
    outside = Check(
        id="c1",
        rule="box-against-setpoint",
        readings=("r2",),
        verdict="out_of_tolerance",
        message="",
        basis=Basis(kind="common_practice", source=""),
    )
    text = summary(REPAIR.model_copy(update={"checks": (outside,)}))

    assert "outside what is allowed" in text
    assert "before the work" not in text


def test_without_a_diagnosis_it_tells_what_was_found_and_no_cause() -> None:
    text = summary(REPAIR.model_copy(update={"diagnosis": Diagnosis()}))

    assert "We found that the start relay" in text
    assert "cause" not in text.lower()


def test_figures_of_the_complaint_are_not_repeated() -> None:
    told = Complaint(text="It won't cool, it was 50 when he opened up", evidence=SAID)
    text = summary(REPAIR.model_copy(update={"complaint": told}))

    assert "It won't cool" in text
    assert "50" not in text


def test_nothing_heard_is_said_in_two_sentences() -> None:
    assert len(sentences(summary(job()))) == 2


def test_failure_of_the_program_is_not_told_as_silence() -> None:
    assert "failed" in summary(job(status="partial"))
    assert "failed" not in summary(job())


def test_setting_changed_names_both_figures_only_when_both_are_sure() -> None:
    was = reading("r3", 2.0, unit="psig", quantity="pressure", subject="pressure switch", role="setpoint")
    now = reading("r4", 20.0, unit="psig", quantity="pressure", subject="pressure switch", role="setpoint")
    setting = action("a2", "set", "pressure switch", was="r3", now="r4")
    sure = REPAIR.model_copy(update={"readings": (was, now), "actions": (setting,)})
    flagged = now.model_copy(update={"confirm": ("teen or ty",)})
    doubtful = sure.model_copy(update={"readings": (was, flagged)})

    assert "from 2\u00a0psi to 20\u00a0psi" in summary(sure)
    assert "20" not in summary(doubtful)


def test_running_time_is_told_only_when_it_was_said() -> None:
    points = (TrendPoint(reading="r1", minutes=0, value=49), TrendPoint(reading="r2", minutes=120, value=37))
    base = {
        "trends": (Trend(id="t1", subject="box", quantity="temperature", unit="degF", points=points),),
        "diagnosis": Diagnosis(),
    }
    figures = (reading("r1", 49.0), reading("r2", 37.0))
    time = reading("r3", 2.0, unit="h", quantity="duration", subject="run time", stage=None)
    unsaid = summary(REPAIR.model_copy(update=base | {"readings": figures}))
    said = summary(REPAIR.model_copy(update=base | {"readings": (*figures, time)}))

    assert "from 49\u00a0°F to 37\u00a0°F." in unsaid
    assert "running time of 2\u00a0h" in said


@pytest.mark.parametrize("component", ["contactor", "start capacitor", "evaporator"])
def test_word_of_the_trade_comes_with_its_plain_word_once(component: str) -> None:
    plain = load_words().term(component).plain
    text = summary(
        job(
            complaint=Complaint(text="It is warm.", evidence=SAID),
            findings=(finding("f1", component, "dirty"),),
            actions=(action("a1", "cleaned", component),),
        )
    )

    assert plain
    assert text.count(plain) == 1


@pytest.mark.parametrize(
    ("lists", "vocabulary"),
    [
        (("work", "on_the_way", "switching", "whole"), ActionKind),
        (("fine", "telling"), Condition),
        (("results",), Quantity),
        (("passing",), Qualifier),
    ],
    ids=["actions", "conditions", "quantities", "qualifiers"],
)
def test_lists_hold_words_of_the_contract(lists: tuple[str, ...], vocabulary: type[StrEnum]) -> None:
    table = tomllib.loads((ROOT / "pipeline" / "summary.toml").read_text(encoding="utf-8"))

    assert all({*table[name]} <= {one.value for one in vocabulary} for name in lists)


def test_work_that_waits_is_told_once_for_each_kind_of_waiting() -> None:
    planned = (
        action("a2", "ordered", "contactor", status="planned"),
        action("a3", "replaced", "door gasket", status="recommended"),
        action("a4", "cleaned", "condenser", status="recommended"),
    )
    text = summary(REPAIR.model_copy(update={"actions": (*REPAIR.actions, *planned)}))

    assert text.count("for you to decide") == 1
    assert "replace the door gasket (the door’s seal) and clean the condenser" in text


def test_figure_that_did_not_move_is_no_proof() -> None:
    same = (reading("r1", 30.2, stage="as_found"), reading("r2", 30.1))
    text = summary(REPAIR.model_copy(update={"readings": same, "diagnosis": Diagnosis()}))

    assert "before the work" not in text


def test_space_is_not_set_but_its_control() -> None:
    text = summary(REPAIR.model_copy(update={"actions": (action("a1", "set", "box"),)}))

    assert "We set the control of the refrigerated space" in text
