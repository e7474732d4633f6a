"""Papers as they were last looked at and accepted. `ACCEPT=1 pytest tests/test_golden.py` takes the new ones over."""

from __future__ import annotations

import io
import os
from functools import cache
from pathlib import Path

import pytest
from render_drafts import draft

from pipeline.draft import dump
from pipeline.render import paper, papers
from pipeline.render.places import template_folder
from pipeline.render.schema import FILE, draft_schema
from pipeline.shop import Shop

GOLDEN = Path(__file__).parent / "golden"
ACCEPT = os.environ.get("ACCEPT") == "1"
JOBS = ("walkin-roof-start-gear", "heat-pump-coil-leak")
FILES = (
    "report.md", "report.pdf.txt", "customer.html", "customer.md", "parts.md", "refrigerant-record.md", "handover.md",
    "readings.csv", "parts.csv", "transcript.vtt",
)  # fmt: skip
SHOP = Shop(name="Example Cold Works", address=("12 Example Road", "Springvale"), phone="555 0100", paper_size="A4")


@cache
def exports(name: str) -> dict[str, bytes]:
    return papers(draft(name), shop=SHOP, names=["report"])


def made(name: str, file: str) -> bytes:
    """A paper's bytes; of a PDF its text, for a newer page maker may set the same page with other bytes."""
    if file in ("readings.csv", "transcript.vtt"):
        return exports(name)[file]
    kind, form = file.split(".")[:2]
    data = paper(draft(name), kind, form, shop=SHOP)
    if form != "pdf":
        return data
    from pypdf import PdfReader

    return "\f\n".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages).encode("utf-8")


def compare(path: Path, data: bytes) -> None:
    if ACCEPT:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    assert path.read_bytes() == data, f"{path.name} is not as it was accepted; look at it, then ACCEPT=1"


@pytest.mark.parametrize("file", FILES)
@pytest.mark.parametrize("name", JOBS)
def test_paper_is_as_it_was_accepted(name: str, file: str) -> None:
    compare(GOLDEN / name / file, made(name, file))


def test_published_schema_is_that_of_the_model() -> None:
    compare(template_folder() / FILE, draft_schema().encode("utf-8"))


def test_schema_holds_for_a_real_draft() -> None:
    """JSON Schema 2020-12, checked by the reference library where it is there."""
    import json

    validate = pytest.importorskip("jsonschema", reason="jsonschema is not installed").validate
    for name in JOBS:
        validate(json.loads(dump(draft(name))), json.loads(draft_schema()))


def test_nothing_is_accepted_unseen() -> None:
    assert not (ACCEPT and os.environ.get("CI")), "CI does not accept golden files"
