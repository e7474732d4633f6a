"""How findings, deeds and proof of a job hang together. Invented jobs; the bonds are common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest

from extractors.facts import Action, Evidence, Finding, Reading
from pipeline.diagnosis import diagnose
from pipeline.draft import Basis, Check, Draft


def said(line: int) -> Evidence:
    return Evidence(line=line, quote="…")


def finding(line: int, component: str, condition: str, **other: Any) -> Finding:
    fields = {"status": "observed", "text": "…", "evidence": said(line), **other}
    return Finding.model_validate({"id": f"f{line}", "component": component, "condition": condition, **fields})


def action(line: int, deed: str, component: str, **other: Any) -> Action:
    fields = {"status": "done", "text": "…", "evidence": said(line), **other}
    return Action.model_validate({"id": f"a{line}", "action": deed, "component": component, **fields})


def temperature(line: int, subject: str, stage: str) -> Reading:
    fields = {"quantity": "temperature", "role": "measured", "value": 40.0, "unit": "degF", "evidence": said(line)}
    return Reading.model_validate({"id": f"r{line}", "subject": subject, "stage": stage, **fields})


def check(number: int, reading: str, stage: str, verdict: str) -> Check:
    basis = Basis(kind="common_practice", source="…")
    fields = {"rule": "some-rule", "message": "…", "basis": basis, "readings": (reading,)}
    return Check.model_validate({"id": f"c{number}", "stage": stage, "verdict": verdict, **fields})


WEAK = finding(1, "run capacitor", "weak")
SWAPPED = action(3, "replaced", "run capacitor")


@pytest.mark.parametrize(
    ("findings", "actions", "causes", "remedies", "open_"),
    [
        ([WEAK], [SWAPPED], ["f1"], ["a3"], []),
        ([WEAK], [action(3, "replaced", "run capacitor", status="planned")], [], [], ["f1"]),
        ([WEAK], [action(3, "inspected", "run capacitor")], [], [], ["f1"]),
        ([WEAK], [action(3, "cleaned", "run capacitor")], [], ["a3"], ["f1"]),
        ([finding(5, "run capacitor", "weak")], [SWAPPED], [], ["a3"], ["f5"]),
        ([finding(5, "run capacitor", "weak", stage="as_found")], [SWAPPED], ["f5"], ["a3"], []),
        ([finding(1, "run capacitor", "weak", place="left")], [action(3, "replaced", "run capacitor", place="right")],
         [], ["a3"], ["f1"]),
        ([finding(1, "contactor", "failed", status="suspected"), finding(2, "contactor", "normal")], [], [], [], []),
        ([finding(1, "contactor", "failed", status="ruled_out")], [], [], [], []),
        ([WEAK, finding(2, "condenser fan motor", "not_running")], [SWAPPED], ["f1"], ["a3"], []),
        ([WEAK, finding(5, "condenser fan motor", "noisy", stage="as_left")], [SWAPPED], ["f1"], ["a3"], ["f5"]),
        ([finding(1, "evaporator", "iced")], [action(3, "defrosted", "evaporator")], ["f1"], ["a3"], []),
        ([finding(1, "evaporator", "iced"), WEAK], [action(3, "defrosted", "evaporator"), SWAPPED],
         ["f1"], ["a3", "a3"], []),
    ],
    ids=[
        "a fault that was mended", "a plan mends nothing", "a look mends nothing", "the wrong deed",
        "a fault found after the deed", "a fault told after its mending", "the other one of two",
        "suspected, then found in order", "ruled out",
        "a symptom goes with its cause", "a symptom after the work is open", "a symptom that was mended itself",
        "a mended symptom beside a mended fault is no cause",
    ],
)  # fmt: skip
def test_causes_remedies_and_what_is_open(
    findings: list[Finding], actions: list[Action], causes: list[str], remedies: list[str], open_: list[str]
) -> None:
    found = diagnose(Draft(findings=tuple(findings), actions=tuple(actions)))

    assert (list(found.causes), list(found.remedies), list(found.open)) == (causes, remedies, open_)


def test_proof_is_a_comparison_passed_after_the_work_the_room_first() -> None:
    readings = (temperature(4, "suction line", "as_left"), temperature(5, "box", "as_left"))
    checks = (
        check(1, "r4", "as_found", "in_tolerance"),
        check(2, "r4", "as_left", "out_of_tolerance"),
        check(3, "r4", "as_left", "in_tolerance"),
        check(4, "r5", "as_left", "in_tolerance"),
    )
    found = diagnose(Draft(findings=(WEAK,), actions=(SWAPPED,), readings=readings, checks=checks))

    assert found.proof == ("c4", "c3")


def test_proof_is_else_a_figure_taken_before_and_after() -> None:
    before, after = temperature(2, "box", "as_found"), temperature(4, "box", "as_left")
    readings = (before, after, temperature(5, "ambient", "as_left"))

    assert diagnose(Draft(actions=(SWAPPED,), readings=readings)).proof == ("r4",)


def test_without_work_there_is_no_proof_of_it() -> None:
    draft = Draft(readings=(temperature(5, "box", "as_left"),), checks=(check(1, "r5", "as_left", "in_tolerance"),))

    assert diagnose(draft).proof == ()
