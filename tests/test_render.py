"""The papers: every form there, the same bytes twice, nothing of the draft lost, readable again by libraries."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser

import pytest
from render_drafts import DRAFTS, NAMES, draft, reading, with_readings

from extractors.facts import Action, Evidence, Qualifier, Role, Said, Stage
from extractors.units import units
from pipeline.draft import Draft, Gap
from pipeline.errors import InputError
from pipeline.render import FORMS, PAPERS, Review, forms_of, paper, papers
from pipeline.words import load_words
from pipeline.words.figures import shown

ROOF = "walkin-roof-start-gear"
CODE_WORDS = re.compile(
    r"\b(as_found|as_left|at_least|at_most|locked_rotor|in_tolerance|out_of_tolerance|no_reference|not_running|"
    r"oil_stained|to_order|on_hand|leak_tested|degF|degC|inWC|uF|psig|setpoint|None|null|True|False)\b"
)


class Text(HTMLParser):
    """What eyes see of a page."""

    def __init__(self, html: bytes) -> None:
        super().__init__()
        self.parts: list[str] = []
        self.outside: list[str] = []
        self.skipping = False
        self.feed(html.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.skipping = tag == "style"
        for name, value in attrs:
            if name in ("src", "href", "srcset", "action", "data") and value and not value.startswith(("data:", "#")):
                self.outside.append(value)

    def handle_data(self, data: str) -> None:
        if not self.skipping:
            self.parts.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.parts).split())


def pdf_text(data: bytes) -> list[str]:
    from pypdf import PdfReader

    return [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]


def bare(text: str) -> str:
    """A text without any space, so that how a page breaks it does not matter."""
    return re.sub(r"[\s\u200b\u2007\u2008\u202f\u00a0]+", "", text)


@pytest.mark.parametrize("name", NAMES)
def test_same_draft_gives_same_bytes(name: str) -> None:
    assert papers(draft(name)) == papers(draft(name))


@pytest.mark.parametrize("name", NAMES)
def test_every_reading_stands_in_every_form_of_the_report(name: str) -> None:
    job, words = draft(name), load_words()
    made = papers(job, names=["report"])
    texts = {
        "report.html": Text(made["report.html"]).text,
        "report.pdf": "".join(pdf_text(made["report.pdf"])),
        "report.md": made["report.md"].decode().replace("\\", ""),
        "report.docx": docx_text(made["report.docx"]),
    }
    for one in job.readings:
        for form, text in texts.items():
            assert bare(shown(one, words).digits) in bare(text), (form, one.id)


def docx_text(data: bytes) -> str:
    import docx

    document = docx.Document(io.BytesIO(data))
    cells = [cell.text for table in document.tables for row in table.rows for cell in row.cells]
    return "\n".join([*(paragraph.text for paragraph in document.paragraphs), *cells])


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("form", ["html", "md"])
def test_no_field_is_named_like_code(name: str, form: str) -> None:
    for kind in PAPERS:
        made = paper(draft(name), kind, form)
        text = Text(made).text if form == "html" else made.decode()

        assert CODE_WORDS.findall(text) == [], kind
        assert not re.search(r"[a-z]_[a-z]", text), kind


@pytest.mark.parametrize("kind", PAPERS)
def test_page_asks_nothing_of_any_other_host(kind: str) -> None:
    page = paper(draft(ROOF), kind, "html")

    assert Text(page).outside == []
    assert b"http" not in page.replace(b"http://www.w3.org/2000/svg", b"")
    assert b"<script" not in page


# ---- PDF --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", PAPERS)
def test_pdf_is_tagged_with_title_language_and_its_own_fonts(kind: str) -> None:
    from pypdf import PdfReader

    reader = PdfReader(io.BytesIO(paper(draft(ROOF), kind, "pdf")))
    root = reader.trailer["/Root"]

    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"]
    assert "/StructTreeRoot" in root
    assert load_words()(f"paper.{kind}") in reader.metadata.title
    assert len(reader.outline) > 1
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font["/DescendantFonts"][0]["/FontDescriptor"]
            assert "/FontFile2" in descriptor or "/FontFile3" in descriptor


def test_pdf_claims_the_accessibility_standard() -> None:
    """PDF/UA-1 (ISO 14289-1): the claim is made in the metadata; the page maker refuses a page that cannot hold it."""
    assert b"pdfuaid:part" in paper(draft(ROOF), "customer", "pdf")


def test_pages_are_numbered_and_table_heads_repeat() -> None:
    pages = pdf_text(paper(with_readings(120), "report", "pdf"))

    assert len(pages) > 2
    for number, text in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in text
    inner = [text for text in pages[1:-1] if "as found" in text]
    assert inner
    assert all("Judged" in text for text in inner)


@pytest.mark.parametrize(("size", "width"), [("A4", 595), ("Letter", 612)])
def test_paper_size_is_the_shops(size: str, width: int) -> None:
    from pypdf import PdfReader

    from pipeline.shop import Shop

    data = paper(draft(ROOF), "customer", "pdf", shop=Shop(paper_size=size))

    assert round(PdfReader(io.BytesIO(data)).pages[0].mediabox.width) == width


def test_table_cells_are_whole() -> None:
    """Nothing is clipped: the rows read back from the page are those that were set."""
    import pdfplumber

    job = draft(ROOF)
    with pdfplumber.open(io.BytesIO(paper(job, "report", "pdf"))) as document:
        for page in document.pages:
            assert all(word["x0"] >= 0 and word["x1"] <= page.width for word in page.extract_words())


@pytest.mark.parametrize("kind", ["report", "customer", "handover"])
def test_customer_and_handover_stay_short(kind: str) -> None:
    most = {"report": 8, "customer": 3, "handover": 2}[kind]

    assert all(len(pdf_text(paper(draft(name), kind, "pdf"))) <= most for name in NAMES)


# ---- DRAFT mark -------------------------------------------------------------------------------


def settled(job: Draft) -> Draft:
    sure = tuple(one.model_copy(update={"confirm": (), "alternatives": ()}) for one in job.readings)
    asked = tuple(gap.model_copy(update={"required": False}) for gap in job.gaps)
    return job.model_copy(update={"readings": sure, "gaps": asked})


def test_customers_paper_is_marked_on_each_page_while_something_is_open() -> None:
    job = draft(ROOF)
    pages = pdf_text(paper(job, "customer", "pdf"))

    assert len(pages) > 1
    assert all("DRAFT, not for sending" in text and "2 figures to hear again" in text for text in pages)
    for form in ("html", "md"):
        assert b"DRAFT, not for sending" in paper(job, "customer", form)


@pytest.mark.parametrize("form", ["html", "pdf", "docx", "md"])
def test_settled_paper_carries_no_mark(form: str) -> None:
    made = paper(settled(draft(ROOF)), "customer", form)
    text = {"pdf": lambda: "".join(pdf_text(made)), "docx": lambda: docx_text(made)}.get(form, made.decode)()

    assert "DRAFT" not in text


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"gaps": (Gap(field="cause", question="What was it?", required=True),)}, "1 question that has to be answered"),
        ({"status": "partial"}, "a part of the draft that could not be made"),
        ({"readings": (reading("r1", confirm=("teen or ty",)),)}, "1 figure to hear again"),
    ],
    ids=["question", "partial", "figure"],
)
def test_each_open_thing_marks_the_paper_and_is_named(change: dict[str, object], said: str) -> None:
    job = settled(draft(ROOF)).model_copy(update=change)

    assert said in Text(paper(job, "customer", "html")).text


def test_verdict_does_not_outlive_its_reading() -> None:
    job = draft(ROOF)
    gone = tuple(one for one in job.readings if one.subject != "start capacitor")
    text = Text(paper(job.model_copy(update={"readings": gone}), "report", "html")).text

    assert "Start capacitor 68 µF" in Text(paper(job, "report", "html")).text
    assert "Start capacitor 68 µF" not in text


def test_corrected_figure_keeps_no_paper_open() -> None:
    old = reading("r1", confirm=("teen or ty",), superseded_by="r2")
    job = settled(draft(ROOF)).model_copy(update={"readings": (old, reading("r2", 40.0))})

    assert b"DRAFT" not in paper(job, "customer", "html")


# ---- doubt and verdict ------------------------------------------------------------------------


def test_doubt_names_its_place_its_reason_and_the_other_figure() -> None:
    text = Text(paper(draft(ROOF), "report", "html")).text

    assert "hear again at 12:09: two hearings differ; or 202 psi" in text


def test_customer_reads_of_a_doubtful_figure_that_it_is_not_confirmed() -> None:
    job = draft(ROOF)
    doubtful = tuple(
        one.model_copy(update={"confirm": ("teen or ty",)}) if one.subject == "start capacitor" else one
        for one in job.readings
    )
    text = Text(paper(job.model_copy(update={"readings": doubtful}), "customer", "html")).text

    assert "not yet confirmed" in text
    assert "hear again at" not in text


def test_verdict_is_said_in_words_and_not_by_colour_alone() -> None:
    page = paper(draft(ROOF), "report", "html").decode()

    assert re.search(r'data-mark="out_of_tolerance_low".*?outside, low', page, re.S)
    assert re.search(r'data-mark="in_tolerance".*?within', page, re.S)


def test_marks_are_explained_once() -> None:
    assert Text(paper(draft(ROOF), "report", "html")).text.count("How to read the marks") == 1


def test_drawing_tells_its_figures_in_words() -> None:
    page = paper(draft(ROOF), "customer", "html").decode()
    labels = re.findall(r'<svg[^>]*role="img" aria-label="([^"]*)"', page)

    assert any("as found 54\u00a0°F" in label and "37\u00a0°F" in label for label in labels)
    assert any("68\u00a0µF" in label and "outside, low" in label for label in labels)


def test_figures_are_aligned_on_the_decimal() -> None:
    from pipeline.words.figures import FIGURE_SPACE, POINT_SPACE, aligned

    made = aligned(["1", "34.6", "0.24", "−10", "145–175", "–"], load_words())

    assert made[0] == "1" + POINT_SPACE + FIGURE_SPACE * 2
    assert made[1] == "34.6" + FIGURE_SPACE
    assert made[2] == "0.24"
    assert made[4] == "145–175" + POINT_SPACE + FIGURE_SPACE * 2
    assert made[5] == "–"


# ---- what a paper is ---------------------------------------------------------------------------


def test_unknown_paper_and_form_are_refused_in_one_sentence() -> None:
    with pytest.raises(InputError, match="no paper 'invoice'"):
        paper(Draft(), "invoice", "pdf")
    with pytest.raises(InputError, match="no form 'odt'"):
        paper(Draft(), "report", "odt")


def test_job_without_parts_or_refrigerant_gets_no_paper_for_them() -> None:
    made = papers(Draft(readings=(reading("r1"),)))

    assert not any(name.startswith(("parts", "refrigerant")) for name in made)
    assert {f"report.{form}" for form in FORMS} <= set(made)


def test_refrigerant_record_prints_not_said_for_every_field_that_nobody_said() -> None:
    text = paper(Draft(), "refrigerant-record", "md").decode()
    fields = [line for line in text.splitlines() if line.startswith("| ") and "---" not in line and "Field" not in line]

    assert len(fields) > 20
    assert all("not said" in line or "none was spoken of" in line for line in fields)


def test_review_is_told_at_the_foot() -> None:
    review = Review(checked_by="R. Osei", checked_on="2026-07-10", version="2", changes=3)
    text = Text(paper(draft(ROOF), "customer", "html", review=review)).text

    assert "Checked by R. Osei on July 10, 2026. Version 2. 3 entries were changed by hand." in text
    assert "Not yet checked by a person." in Text(paper(draft(ROOF), "customer", "html")).text


def test_customers_paper_has_a_place_to_sign() -> None:
    text = Text(paper(draft(ROOF), "customer", "html")).text

    assert all(word in text for word in ("Received and accepted", "Name", "Signature", "Date"))


def test_time_on_site_is_reckoned_from_the_clock_only_when_both_times_are_there() -> None:
    visit = draft(ROOF).visit.model_copy(update={"arrived": Said(value="8:10"), "left": Said(value="12:40")})
    job = draft(ROOF).model_copy(update={"visit": visit})
    one = job.model_copy(update={"visit": visit.model_copy(update={"left": None})})

    assert "On site: 4 h 30 min (from arrival 8:10 to leaving 12:40)" in Text(paper(job, "customer", "html")).text
    assert "On site" not in Text(paper(one, "customer", "html")).text


def switched(kind: str, start: float) -> Action:
    return Action(
        id=f"a{start}", action=kind, component="unit", status="done", text="", evidence=Evidence(start=start, quote="x")
    )


@pytest.mark.parametrize(
    ("actions", "measured_at", "said"),
    [
        ((), None, "Whether it was left running was not said."),
        ((switched("started", 50.0),), None, "It was left running."),
        ((switched("started", 50.0), switched("shut_down", 90.0)), None, "It was left switched off."),
        ((switched("shut_down", 50.0), switched("started", 90.0)), None, "It was left running."),
        ((switched("shut_down", 50.0),), 90.0, "Whether it was left running was not said."),
    ],
    ids=["nothing", "started", "off", "off and on", "off, then measured"],
)
def test_handover_tells_how_it_was_left(actions: tuple[Action, ...], measured_at: float | None, said: str) -> None:
    after = [reading("r1", stage="as_left", evidence=Evidence(start=measured_at, quote="x"))] if measured_at else []
    job = Draft(actions=actions, readings=tuple(after))

    assert said in Text(paper(job, "handover", "html")).text


def test_every_unit_prints() -> None:
    words = load_words()
    job = Draft(readings=tuple(reading(f"r{number}", 2.0, unit=unit) for number, unit in enumerate(units())))
    text = bare(Text(paper(job, "report", "html")).text)

    assert all(bare(words(f"unit.{unit}")) in text for unit in units())


def test_qualifiers_and_roles_print_in_words() -> None:
    job = Draft(
        readings=(
            reading("r1", 500.0, unit="Mohm", quantity="resistance", qualifiers=(Qualifier.AT_LEAST,)),
            reading("r2", 88.0, unit="A", quantity="current", qualifiers=(Qualifier.INRUSH,), stage=Stage.AS_LEFT),
            reading("r3", 36.0, role=Role.SETPOINT, stage=Stage.AS_FOUND),
        )
    )
    text = Text(paper(job, "report", "html")).text

    assert "≥ 500" in text
    assert "Current, while starting as left" in text
    assert "setting, as found" in text


@pytest.mark.parametrize("kind", PAPERS)
def test_every_form_of_every_paper_of_an_empty_draft(kind: str) -> None:
    for form in forms_of(kind):
        assert len(paper(Draft(), kind, form)) > 50


def test_drafts_are_drafts() -> None:
    assert NAMES
    assert all((DRAFTS / f"{name}.json").is_file() for name in NAMES)
