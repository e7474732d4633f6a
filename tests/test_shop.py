"""The shop's own: shop.toml, paper, units, dates, words, logo, and templates of its own."""

from __future__ import annotations

import base64
import io
import re
from pathlib import Path

import pytest
from render_drafts import draft, reading

from extractors.facts import Said
from pipeline.draft import Draft
from pipeline.errors import AuthoringError, InputError
from pipeline.render import paper, papers
from pipeline.shop import Shop, load_shop, logo_bytes

ROOF = "walkin-roof-start-gear"
PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
FULL = """
name = "Example Cold Works"
address = "12 Example Road\\nSpringvale"
phone = "555 0100"
licences = ["RC-0000", "EL-0001"]
paper_size = "A4"
units_shown = "both"
date_form = "day first"
closing = "Thank you for your trust."
altitude_ft = 5200

[technicians]
"Sam Okafor" = "608-U-0000"

[limits.capacitor-tolerance]
marginal = 5
"""


def shop_file(folder: Path, text: str = FULL) -> Path:
    path = folder / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return path


def page(job: Draft, kind: str = "customer", shop: Shop | None = None) -> str:
    return paper(job, kind, "html", shop=shop).decode()


def test_everything_that_a_shop_sets_is_read_and_printed(tmp_path: Path) -> None:
    shop = load_shop(shop_file(tmp_path))
    text = page(draft(ROOF), shop=shop)

    assert shop.limits == {"capacitor-tolerance": {"marginal": 5}}
    assert shop.folder == tmp_path.resolve()
    for said in ("Example Cold Works", "12 Example Road · Springvale · 555 0100", "RC-0000, EL-0001", "Thank you for"):
        assert said in text
    assert "608-U-0000" in text
    assert "09.07.2026" in text
    assert "°F (" in text


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('name = "x"\npaper = "A4"', "paper: Extra inputs"),
        ('paper_size = "A3"', "paper_size"),
        ('language = "xx"', "no catalogue of words for the language 'xx'"),
        ("name = ", "not valid TOML"),
        ('folder = "/"', "folder is not to be set"),
        ("altitude_ft = 'high'", "altitude_ft"),
    ],
)
def test_what_is_wrong_is_said_in_one_sentence(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError, match=re.escape(said)):
        load_shop(shop_file(tmp_path, text))


def test_missing_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_shop(tmp_path / "shop.toml")


# ---- logo -------------------------------------------------------------------------------------


def test_logo_stands_in_every_form(tmp_path: Path) -> None:
    import docx
    from pypdf import PdfReader

    (tmp_path / "logo.png").write_bytes(PNG)
    shop = load_shop(shop_file(tmp_path, 'name = "X"\nlogo = "logo.png"'))
    job = Draft()

    assert 'class="logo" src="data:image/png;base64,' in page(job, "report", shop)
    assert len(PdfReader(io.BytesIO(paper(job, "report", "pdf", shop=shop))).pages[0].images) == 1
    assert len(docx.Document(io.BytesIO(paper(job, "report", "docx", shop=shop))).inline_shapes) == 1


@pytest.mark.parametrize(
    "data", [b"", b"x" * 100, PNG[:40], PNG[:-20] + b"x" * 20], ids=["empty", "text", "half", "bad"]
)
def test_logo_that_is_no_picture_is_refused_when_the_shop_is_read(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "logo.png").write_bytes(data)
    with pytest.raises(InputError, match="no picture that can be printed"):
        load_shop(shop_file(tmp_path, 'logo = "logo.png"'))


def test_logo_of_40_megabytes_is_refused(tmp_path: Path) -> None:
    with (tmp_path / "logo.png").open("wb") as file:
        file.write(PNG)
        file.truncate(40_000_000)
    with pytest.raises(InputError, match="no picture that can be printed"):
        load_shop(shop_file(tmp_path, 'logo = "logo.png"'))


@pytest.mark.parametrize("logo", ["no-such.png", "../../etc/passwd", "broken.svg"])
def test_logo_that_went_bad_later_costs_no_paper(tmp_path: Path, logo: str) -> None:
    (tmp_path / "broken.svg").write_bytes(b"<svg><g></svg>")
    shop = Shop(name="X", logo=logo, folder=tmp_path)
    for form in ("html", "pdf", "docx", "md"):
        assert len(paper(Draft(), "report", form, shop=shop)) > 50


def test_drawn_logo_is_a_picture(tmp_path: Path) -> None:
    drawn = b'<?xml version="1.0"?><svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><circle r="4"/></svg>'
    (tmp_path / "logo.svg").write_bytes(drawn)
    shop = load_shop(shop_file(tmp_path, 'logo = "logo.svg"'))

    assert logo_bytes(shop) == ("svg", drawn)
    assert len(paper(Draft(), "report", "pdf", shop=shop)) > 1000
    assert len(paper(Draft(), "report", "docx", shop=shop)) > 1000


# ---- units and dates --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "quantity", "said"),
    [
        # Exact by definition: (41 − 32) / 1.8 = 5 °C. Pressure and mass after NIST SP 811, appendix B (from memory).
        (41.0, "degF", "temperature", "5 °C"),
        (-10.0, "degF", "temperature", "−23 °C"),
        (18.0, "delta_degF", "temperature_difference", "10 K"),
        (62.0, "psig", "pressure", "427 kPa"),
        (0.5, "inWC", "pressure", "125 Pa"),
        (9.5, "lb", "mass", "4.31 kg"),
        (400.0, "cfm", "flow", "189 L/s"),
        (35.0, "uF", "capacitance", "35 µF"),
    ],
)
def test_units_of_the_other_system(value: float, unit: str, quantity: str, said: str) -> None:
    job = Draft(readings=(reading("r1", value, unit=unit, quantity=quantity),))
    text = " ".join(re.sub(r"<[^>]+>", " ", page(job, "report", Shop(units_shown="SI"))).split())

    assert said in text


@pytest.mark.parametrize(
    ("units", "before", "after", "band"),
    [
        ("said", "54", "37", "at most 41 °F"),
        ("SI", "12", "3", "at most 5 °C"),
        ("both", "54 °F (12 °C)", "37 °F (3 °C)", "at most 41 °F (at most 5 °C)"),
    ],
)
def test_limits_stand_in_the_same_units_as_the_figures(units: str, before: str, after: str, band: str) -> None:
    html = page(draft(ROOF), shop=Shop(units_shown=units))
    row = re.search(r"Box: temperature</th>.*?</tr>", html, re.S)
    assert row
    cells = [" ".join(re.sub(r"<[^>]+>", "", cell).split()) for cell in re.findall(r"<td.*?</td>", row[0], re.S)]

    assert cells[0] == before
    assert cells[1] == after
    assert cells[3] == band


@pytest.mark.parametrize(
    ("form", "said"),
    [("iso", "2026-07-09"), ("month first", "07/09/2026"), ("day first", "09.07.2026"), ("long", "July 9, 2026")],
)
def test_date_in_the_shops_form(form: str, said: str) -> None:
    assert said in page(draft(ROOF), shop=Shop(date_form=form))


@pytest.mark.parametrize("said", ["last Thursday", "2026-13-45", "2026-07"])
def test_words_that_are_no_date_stay_as_they_were_said(said: str) -> None:
    visit = draft(ROOF).visit.model_copy(update={"date": Said(value=said)})

    assert said in page(draft(ROOF).model_copy(update={"visit": visit}))


def test_paper_in_spanish() -> None:
    text = page(draft(ROOF), shop=Shop(language="es"))

    assert '<html lang="es">' in text
    for said in ("Informe de servicio", "Lo que hicimos", "El capacitor de arranque", "BORRADOR", "9 de julio de 2026"):
        assert said in text
    assert "What we did" not in text


def test_summary_that_a_person_wrote_is_not_translated_away() -> None:
    own = draft(ROOF).model_copy(update={"summary": "Written by hand."})

    assert "Written by hand." in page(own, shop=Shop(language="es"))


# ---- own templates ----------------------------------------------------------------------------


def test_own_template_of_the_same_name_takes_the_place_of_ours(tmp_path: Path) -> None:
    own = '{% extends "page.html.j2" %}{% block body %}<section><h2>Ours</h2></section>{% endblock %}'
    (tmp_path / "customer.html.j2").write_text(own, encoding="utf-8")
    made = papers(draft(ROOF), shop=Shop(folder=tmp_path), names=["customer", "handover"])

    assert b"<h2>Ours</h2>" in made["customer.html"]
    assert b"<h2>Ours</h2>" not in made["handover.html"]


def test_undefined_name_is_told_with_file_and_line(tmp_path: Path) -> None:
    own = '{% extends "page.html.j2" %}\n{% block body %}\n<p>{{ draft.custmer }}</p>\n{% endblock %}'
    (tmp_path / "customer.html.j2").write_text(own, encoding="utf-8")

    with pytest.raises(AuthoringError, match=r"customer\.html\.j2, line 3 .*custmer"):
        page(draft(ROOF), shop=Shop(folder=tmp_path))


def test_broken_template_is_told_with_file_and_line(tmp_path: Path) -> None:
    (tmp_path / "customer.html.j2").write_text("<p>\n{% if %}\n", encoding="utf-8")

    with pytest.raises(AuthoringError, match=r"customer\.html\.j2, line 2"):
        page(draft(ROOF), shop=Shop(folder=tmp_path))


@pytest.mark.parametrize(
    "code",
    [
        "{{ draft.__class__.__mro__ }}",
        "{{ ''.__class__.__base__.__subclasses__() }}",
        "{{ words.__init__.__globals__ }}",
        "{% set x = view.draft.readings.__class__ %}{{ x }}",
        "{% include '../../etc/passwd' %}",
    ],
)
def test_template_has_no_way_out(tmp_path: Path, code: str) -> None:
    (tmp_path / "customer.html.j2").write_text(code, encoding="utf-8")

    with pytest.raises(AuthoringError):
        page(draft(ROOF), shop=Shop(folder=tmp_path))


def test_broken_page_style_is_told(tmp_path: Path) -> None:
    (tmp_path / "paper.typ").write_text("#panic()\n", encoding="utf-8")

    with pytest.raises(AuthoringError, match=r"paper\.typ cannot be laid out"):
        paper(Draft(), "report", "pdf", shop=Shop(folder=tmp_path))
