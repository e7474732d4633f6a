"""Texts that mean harm, or nothing: escaped, laid out, and in no form taken for markup, code or a formula."""

from __future__ import annotations

import csv
import io
import re
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from render_drafts import FORMULA, HOSTILE, LONG, MARKUP, RIGHT_TO_LEFT, draft, with_readings, with_text

from pipeline.draft import Draft
from pipeline.render import PAPERS, forms_of, paper, papers
from pipeline.shop import Shop

NAMES = tuple(HOSTILE)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", PAPERS)
def test_every_paper_comes_out_whole_in_every_form(name: str, kind: str) -> None:
    text = HOSTILE[name]
    shop = Shop(name=text, address=(text,), phone=text, closing=text, licences=(text,))
    for form in forms_of(kind):
        assert len(paper(with_text(text), kind, form, shop=shop)) > 300


@pytest.mark.parametrize("kind", PAPERS)
def test_markup_in_a_name_stays_text(kind: str) -> None:
    page = paper(with_text(MARKUP), kind, "html", shop=Shop(name=MARKUP, closing=MARKUP)).decode()

    assert "<script" not in page
    assert "onerror=" not in re.sub(r"&lt;.*?&gt;", "", page)
    assert not re.search(r"<img(?! class=\"logo\" src=\"data:)", page)
    assert "&lt;script&gt;" in page


def test_template_and_page_code_in_a_name_is_not_run() -> None:
    for name in ("jinja", "typst"):
        page = paper(with_text(HOSTILE[name]), "customer", "html").decode()
        sheet = "".join(page_texts(paper(with_text(HOSTILE[name]), "customer", "pdf")))

        assert "49" not in page.partition("<body")[2] or name != "jinja"
        assert "#panic" in sheet if name == "typst" else "{{ 7 * 7 }}" in sheet


def page_texts(data: bytes) -> list[str]:
    from pypdf import PdfReader

    return [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]


def test_markdown_in_a_name_becomes_no_link_heading_or_cell() -> None:
    text = paper(with_text(HOSTILE["markdown"]), "report", "md").decode()

    assert not re.search(r"(?<!\\)\[link(?<!\\)\]", text)
    assert r"\[link\]" in text
    rows = [line for line in text.splitlines() if line.startswith("|")]
    assert all(len(re.findall(r"(?<!\\)\|", row)) in (4, 5, 6, 7) for row in rows)


@pytest.mark.parametrize("text", [FORMULA, "+1+cmd", "-2+3+cmd|' /C calc'!A0", "@SUM(1)", "\t=1+1", "\r=1+1"])
def test_no_cell_of_a_table_begins_like_a_formula(text: str) -> None:
    """OWASP, CSV injection: cells must not begin with =, +, -, @, tab or carriage return."""
    made = papers(with_text(text), names=["report", "parts"])
    for name in ("readings.csv", "parts.csv"):
        for row in csv.reader(io.StringIO(made[name].decode())):
            for cell in row:
                assert not re.match(r"[=+\-@\t\r]", cell) or re.fullmatch(r"-?\d+(\.\d+)?", cell), (name, cell)


def test_docx_holds_formula_like_text_as_text_and_no_field_but_page_numbers() -> None:
    with zipfile.ZipFile(io.BytesIO(paper(with_text(FORMULA), "report", "docx"))) as archive:
        xml = archive.read("word/document.xml").decode()
        parts = [archive.read(name).decode("utf-8", "ignore") for name in archive.namelist() if name.endswith(".xml")]

    assert "=cmd|" in xml
    assert {code for part in parts for code in re.findall(r"<w:instrText[^>]*>([^<]*)<", part)} <= {"PAGE", "NUMPAGES"}
    assert not any('TargetMode="External"' in part for part in parts)


def test_docx_and_pages_hold_control_characters_as_boxes() -> None:
    page = paper(with_text(HOSTILE["control"]), "report", "html").decode()

    assert "\x07" not in page
    assert "\x1b" not in page
    assert "bell□" in page


def test_marks_that_turn_the_direction_of_text_are_taken_out() -> None:
    assert "\u202e" not in paper(with_text("abc\u202edef"), "customer", "html").decode()


def test_names_from_right_to_left_keep_their_own_direction() -> None:
    page = paper(with_text(RIGHT_TO_LEFT), "customer", "html").decode()

    assert re.search(r'<span dir="auto"[^>]*>' + re.escape(RIGHT_TO_LEFT), page)


def test_letters_without_a_font_print_as_boxes_and_the_page_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """No machine is sure to have a font for every script, so the page must not depend on one."""
    import typst

    compiled = typst.compile

    def without_system_fonts(*args: object, **options: object) -> object:
        return compiled(*args, **{**options, "ignore_system_fonts": True})

    monkeypatch.setattr(typst, "compile", without_system_fonts)
    text = "".join(page_texts(paper(with_text(HOSTILE["chinese"]), "customer", "pdf")))

    assert "□□□□□□" in text
    assert "no font here has" in text


def test_letters_that_our_fonts_have_need_no_font_of_the_machine() -> None:
    from pipeline.render.places import unprintable

    assert unprintable("Zürich, ¿dónde?, µΩ°±≥≈−–, Ж, שלום, مرحبا, 🔥, №, □") == set()
    assert unprintable("A北") == {"北"}


def test_long_word_is_broken_inside_the_page() -> None:
    import pdfplumber

    with pdfplumber.open(io.BytesIO(paper(with_text(LONG), "report", "pdf"))) as document:
        for page in document.pages:
            assert all(char["x1"] <= page.width for char in page.chars)


@pytest.mark.parametrize("number", [0, 3, 120, 500])
def test_any_number_of_readings(number: int) -> None:
    made = papers(with_readings(number))
    pages = page_texts(made["report.pdf"])

    assert len(pages) <= max(1, number // 25)
    assert f"of {len(pages)}" in pages[-1]
    assert made["readings.csv"].count(b"\r\n") == number + 1


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.text(st.characters(codec="utf-8"), min_size=1, max_size=40))
def test_no_text_breaks_a_paper(text: str) -> None:
    job = with_text(text)
    page = paper(job, "report", "html").decode()

    assert "<script" not in page
    assert page.count("<section") == page.count("</section>")
    for kind, form in (("report", "md"), ("parts", "csv"), ("customer", "pdf")):
        assert paper(job, kind, form)
    assert papers(job, names=["report"])["follow-ups.ics"].count(b"BEGIN:VEVENT") == 1


def test_nothing_found_is_said_and_no_section_is_empty() -> None:
    for kind in ("report", "customer", "handover", "parts"):
        page = paper(Draft(), kind, "html").decode()

        assert not re.search(r'<div class="body">\s*</div>', page)
        assert not re.search(r"<tbody[^>]*>\s*</tbody>", page)
        assert not re.search(r"<ul[^>]*>\s*</ul>", page)
    assert b"It has to be heard again" in paper(Draft(), "report", "html")


@pytest.mark.parametrize("kind", PAPERS)
def test_no_section_of_a_full_job_is_empty(kind: str) -> None:
    page = paper(draft("walkin-roof-start-gear"), kind, "html").decode()

    assert not re.search(r'<div class="body">\s*</div>', page)
    assert not re.search(r"<tbody[^>]*>\s*</tbody>", page)
