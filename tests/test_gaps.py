"""What a report of a job lacks: asked once, in order, the required first, never more than seven."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from extractors.facts import (
    Action,
    ActionKind,
    ActionStatus,
    Complaint,
    Condition,
    Equipment,
    Evidence,
    Finding,
    FindingStatus,
    Part,
    PartStatus,
    Quantity,
    Reading,
    Role,
    Said,
    Stage,
    Visit,
)
from pipeline.draft import Basis, Check, Diagnosis, Draft, Verdict
from pipeline.gaps import gaps

CASES = tomllib.loads((Path(__file__).parent / "cases" / "gaps.toml").read_text(encoding="utf-8"))["case"]
HEARD = Evidence(quote="as said")


def said(value: str, *confirm: str) -> Said:
    return Said(value=value, evidence=HEARD, confirm=confirm)


def reading(
    number: int,
    subject: str,
    quantity: Quantity,
    unit: str,
    value: float,
    stage: Stage | None = None,
    place: str | None = None,
) -> Reading:
    return Reading(
        id=f"r{number}",
        quantity=quantity,
        subject=subject,
        role=Role.MEASURED,
        value=value,
        unit=unit,
        evidence=HEARD,
        stage=stage,
        place=place,
    )


def whole() -> Draft:
    """An invented job of which everything was said."""
    return Draft(
        visit=Visit(customer=said("Alder Grill"), arrived=said("8:10")),
        complaint=Complaint(text="The box is warm", evidence=HEARD),
        equipment=Equipment(
            type=said("reach-in cooler"),
            make=said("Fernholt"),
            model=said("RX48"),
            serial=said("550188"),
            refrigerant=said("R-134a"),
        ),
        readings=(
            reading(1, "box", Quantity.TEMPERATURE, "degF", 52, Stage.AS_FOUND),
            reading(2, "box", Quantity.TEMPERATURE, "degF", 37, Stage.AS_LEFT),
            reading(3, "suction pressure", Quantity.PRESSURE, "psig", 18),
        ),
        findings=(
            Finding(
                id="f1",
                component="evaporator fan motor",
                condition=Condition.SEIZED,
                status=FindingStatus.OBSERVED,
                text="seized",
                evidence=HEARD,
            ),
        ),
        actions=(
            Action(
                id="a1",
                action=ActionKind.REPLACED,
                component="evaporator fan motor",
                status=ActionStatus.DONE,
                text="replaced the fan motor",
                evidence=HEARD,
            ),
        ),
        parts=(
            Part(
                id="p1",
                description="new fan motor",
                component="evaporator fan motor",
                part_number="FM9",
                quantity=1,
                status=PartStatus.USED,
                evidence=HEARD,
            ),
        ),
        diagnosis=Diagnosis(causes=("f1",), remedies=("a1",), proof=("r2",)),
    )


def without(draft: Draft, names: list[str]) -> Draft:
    """The draft with fields emptied by their names."""
    for name in names:
        if name == "part_number":
            draft = draft.model_copy(
                update={"parts": tuple(p.model_copy(update={"part_number": None}) for p in draft.parts)}
            )
        elif name == "as_left":
            draft = draft.model_copy(
                update={"readings": tuple(r for r in draft.readings if r.stage is not Stage.AS_LEFT)}
            )
        elif "." in name:
            head, field = name.split(".")
            empty: object = () if head == "diagnosis" else None
            draft = draft.model_copy(update={head: getattr(draft, head).model_copy(update={field: empty})})
        else:
            draft = draft.model_copy(update={name: None})
    return draft


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_only_what_the_job_lacks(case: dict[str, Any]) -> None:
    found = gaps(without(whole(), case["drop"]))
    assert [gap.field for gap in found] == case["want"]
    for gap in found:
        assert gap.question[0].isupper() and gap.question.endswith("?")
        assert "{" not in gap.question
        # required by the draft's data: these and no others
        assert gap.required is (gap.field.split(":")[0] in ("complaint", "cause", "proof", "which", "part"))


def test_a_job_of_which_nothing_was_said_is_asked_nothing() -> None:
    assert gaps(Draft()) == ()


def test_part_of_a_serial_asks_for_its_rest() -> None:
    draft = whole()
    serial = said("401966", "low confidence: part of it may be missing")
    draft = draft.model_copy(update={"equipment": draft.equipment.model_copy(update={"serial": serial})})
    (gap,) = gaps(draft)
    assert gap.field == "equipment.serial"
    assert "401966" in gap.question


def test_left_or_right_is_asked_where_both_were_told() -> None:
    draft = whole()
    sides = (
        reading(4, "evaporator fan motor", Quantity.CURRENT, "A", 0.9, place="left"),
        reading(5, "evaporator fan motor", Quantity.CURRENT, "A", 0.5, place="right"),
    )
    (gap,) = gaps(draft.model_copy(update={"readings": (*draft.readings, *sides)}))
    assert gap.field == "which:evaporator fan motor"
    assert "left or right" in gap.question


def test_a_fryer_is_not_asked_for_a_refrigerant() -> None:
    draft = without(whole(), ["equipment.refrigerant"])
    fryer = draft.equipment.model_copy(update={"type": said("gas fryer")})
    assert gaps(draft.model_copy(update={"equipment": fryer})) == ()


def test_a_comparison_asks_for_the_rating_of_what_was_changed() -> None:
    draft = whole()
    check = Check(
        id="c1",
        rule="running-amps-rating",
        readings=("r4",),
        verdict=Verdict.NO_REFERENCE,
        message="The rating was not said.",
        basis=Basis(kind="nameplate", source="not said"),
    )
    amps = reading(4, "evaporator fan motor", Quantity.CURRENT, "A", 0.9)
    (gap,) = gaps(draft.model_copy(update={"readings": (*draft.readings, amps), "checks": (check,)}))
    assert gap.field == "reading:evaporator fan motor:current:rated"
    assert gap.question == "What is the rated current of the evaporator fan motor?"
    plate = reading(5, "evaporator fan motor", Quantity.CURRENT, "A", 1.0).model_copy(update={"role": Role.RATED})
    (gap,) = gaps(draft.model_copy(update={"readings": (*draft.readings, amps, plate), "checks": (check,)}))
    assert gap.question == "What current is marked on the new evaporator fan motor?"


def test_the_house_is_asked_for_by_its_kind() -> None:
    draft = without(whole(), ["visit.customer"])
    draft = draft.model_copy(update={"visit": draft.visit.model_copy(update={"site": said("bakery")})})
    (gap,) = gaps(draft)
    assert gap.question == "What is the bakery called?"
