"""Drafts for tests of the papers: those of tests/drafts, and hostile ones made here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from extractors.facts import (
    Action,
    Complaint,
    Equipment,
    Evidence,
    Finding,
    FollowUp,
    Part,
    Reading,
    Said,
    Segment,
    Transcript,
    Unplaced,
    Visit,
)
from pipeline.draft import Basis, Caution, Check, Diagnosis, Draft, Gap, Photo, Recording, Trend, TrendPoint, load

DRAFTS = Path(__file__).parent / "drafts"
NAMES = tuple(sorted(path.stem for path in DRAFTS.glob("*.json")))

MARKUP = '<script>alert("x")</script><img src=x onerror=alert(1)>&amp;</td></table>'
RIGHT_TO_LEFT = "مطعم البحر — שלום 123"
EMOJI = "🔥🧊 Frosty’s 👩🏽‍🔧 №5"
LONG = "Wolkenkuckucksheimerverwaltungsgesellschaft" * 6
FORMULA = '=cmd|"/c calc"!A1'
CONTROL = "bell\x07 null\x00 escape\x1b[31m \ufffe tab\t end"
HOSTILE = {
    "markup": MARKUP,
    "right to left": RIGHT_TO_LEFT,
    "emoji": EMOJI,
    "long": LONG,
    "formula": FORMULA,
    "control": CONTROL,
    "jinja": "{{ 7 * 7 }}{% for x in y %}",
    "typst": '#let x = 1; #panic("no") $a$ @ref <label> `raw`',
    "markdown": "# head\n* list [link](javascript:alert(1)) | cell | `code` __x__",
    "lines": "one\r\ntwo\n\nthree; four, five: six",
    "chinese": "北京海鲜酒楼",
}


def draft(name: str) -> Draft:
    """A draft of tests/drafts."""
    return load((DRAFTS / f"{name}.json").read_text(encoding="utf-8"))


def evidence(quote: str = "as said", start: float = 61.0) -> Evidence:
    return Evidence(start=start, end=start + 2, quote=quote)


def reading(name: str, value: float | None = 41.0, **more: Any) -> Reading:
    fields: dict[str, Any] = {
        "quantity": "temperature",
        "subject": "box",
        "role": "measured",
        "unit": "degF",
        "evidence": evidence(),
    }
    return Reading(id=name, value=value, **(fields | more))


def with_text(text: str) -> Draft:
    """A draft that holds the same text in every place where a text can stand."""
    said = Said(value=text, evidence=evidence(text))
    return Draft(
        name="hostile",
        visit=Visit(
            customer=said, site=said, contact=said, technician=said, date=said, arrived=said, left=said, reference=said,
        ),
        equipment=Equipment(type=said, make=said, model=said, serial=said, refrigerant=said, location=said),
        other_equipment=(Equipment(type=said, model=said),),
        recordings=(Recording(file=text, sha256="0" * 64, duration_s=60.0),),
        transcript=Transcript(segments=(Segment(start=1.0, end=2.0, text=text), Segment(text=text, line=2))),
        complaint=Complaint(text=text, evidence=evidence(text)),
        readings=(
            reading("r1", stage="as_found", place=text, of=text, evidence=evidence(text)),
            reading(
                "r2", 38.0, stage="as_left", subject=text, evidence=evidence(text),
                confirm=(f"low confidence: {text}", text),
            ),
        ),
        checks=(
            Check(
                id="c1", rule="x", readings=("r1",), verdict="out_of_tolerance", value=41, allowed_high=40, unit="degF",
                message=text, basis=Basis(kind="standard", source=text),
            ),
        ),
        findings=(
            Finding(
                id="f1", component=text, place=text, condition="dirty", status="observed", text=text,
                evidence=evidence(text),
            ),
        ),
        actions=(
            Action(
                id="a1", action="cleaned", component=text, place=text, status="done", text=text,
                evidence=evidence(text),
            ),
        ),
        parts=(
            Part(
                id="p1", description=text, component=text, part_number=text, serial=text, quantity=1, rating=text,
                status="used", evidence=evidence(text),
            ),
        ),
        follow_ups=(FollowUp(text=text, when=text, date="2026-07-09", evidence=evidence(text)),),
        photos=(Photo(file="no-such.jpg", sha256="0" * 64, caption=text, at=3.0),),
        diagnosis=Diagnosis(causes=("f1",), remedies=("a1",)),
        gaps=(Gap(field="cause", question=text, required=True),),
        cautions=(Caution(text=text, because=text),),
        unplaced=(Unplaced(text=text, reason="unclear", evidence=evidence(text)),),
        summary=text,
    )  # fmt: skip


def with_readings(number: int) -> Draft:
    """A job with so many readings on so many components, a tenth of them flagged."""
    subjects = (
        "compressor",
        "box",
        "condenser fan motor",
        "start capacitor",
        "L1-L2",
        "evaporator",
        "belt of the line",
    )
    readings = tuple(
        reading(
            f"r{index}",
            round(((index * 37) % 5000) / (1, 10, 100, 1000)[index % 4], 3) - (40 if index % 11 == 0 else 0),
            subject=subjects[index % len(subjects)],
            quantity=("temperature", "pressure", "current")[index % 3],
            unit=("degF", "psig", "A")[index % 3],
            stage=(None, "as_found", "as_left")[index % 3 if index % 2 else 0],
            confirm=("teen or ty",) if index % 10 == 0 else (),
            evidence=evidence(f"figure number {index}", 5.0 * index),
        )
        for index in range(number)
    )
    points = tuple(
        TrendPoint(reading=one.id, minutes=7.0 * place, value=one.value or 0.0)
        for place, one in enumerate(readings[:30])
    )
    return Draft(
        name="many",
        readings=readings,
        trends=(Trend(id="t1", subject="compressor", quantity="temperature", unit="degF", points=points),)
        if number > 3
        else (),
    )
