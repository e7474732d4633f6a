"""From a draft to its papers: file name -> bytes. The only door of this package."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pipeline.draft import Draft
from pipeline.errors import InputError
from pipeline.render.view import Review
from pipeline.shop import Shop

__all__ = ["FORMS", "Review", "paper", "papers"]

FORMS = ("html", "pdf", "docx", "md")
PAPERS: dict[str, tuple[str, ...]] = {
    "report": FORMS,
    "customer": FORMS,
    "parts": FORMS,
    "refrigerant-record": FORMS,
    "handover": FORMS,
}
"""Every paper with the forms that are made unasked."""


@dataclass(frozen=True)
class _Made:
    """One paper as HTML with what the other forms need beside it."""

    html: str
    title: str
    footer: str
    pages: str
    draft_open: str
    draft_word: str
    pictures: dict[str, tuple[str, bytes]]


def papers(
    draft: Draft,
    *,
    shop: Shop | None = None,
    names: Iterable[str] | None = None,
    review: Review | None = None,
    folder: Path | None = None,
) -> dict[str, bytes]:
    """The papers of a draft as file name -> bytes; the same input gives the same bytes.

    `names` limits them to some papers. `review` says who checked. `folder` is where the draft's photos lie.
    Raises InputError for a paper that does not exist and AuthoringError where a template is wrong.
    """
    from pipeline.render.exports import readings_csv, transcript_vtt

    wanted = list(PAPERS) if names is None else list(names)
    made: dict[str, bytes] = {}
    for name in wanted:
        _known(name, "html")
        made |= _forms(draft, name, PAPERS[name], shop or Shop(), review or Review(), folder)
    if names is None or "report" in wanted:
        made["readings.csv"] = readings_csv(draft)
        made["transcript.vtt"] = transcript_vtt(draft)
    return made


def paper(
    draft: Draft,
    name: str,
    form: str,
    *,
    shop: Shop | None = None,
    review: Review | None = None,
    folder: Path | None = None,
) -> bytes:
    """One paper in one form. Raises InputError when there is no such paper or form."""
    _known(name, form)
    return _forms(draft, name, (form,), shop or Shop(), review or Review(), folder)[f"{name}.{form}"]


def _known(name: str, form: str) -> None:
    """Raises InputError when there is no such paper or form."""
    if name not in PAPERS:
        raise InputError("paper-unknown", f"There is no paper {name!r}.", f"Use one of {', '.join(PAPERS)}.")
    if form not in FORMS:
        raise InputError("form-unknown", f"There is no form {form!r}.", f"Use one of {', '.join(FORMS)}.")


def _forms(
    draft: Draft, name: str, forms: Iterable[str], shop: Shop, review: Review, folder: Path | None
) -> dict[str, bytes]:
    """One paper in several forms; its HTML is made once."""
    from pipeline.render.tree import parse

    made = _make(draft, name, shop, review, folder)
    body = parse(made.html)
    files: dict[str, bytes] = {}
    for form in forms:
        files[f"{name}.{form}"] = _form(form, made, body, shop)
    return files


def _form(form: str, made: _Made, body: object, shop: Shop) -> bytes:
    """The bytes of one form."""
    from pipeline.render.docx import docx
    from pipeline.render.markdown import markdown
    from pipeline.render.pdf import Page, pdf
    from pipeline.render.tree import Node

    assert isinstance(body, Node)
    if form == "html":
        return made.html.encode("utf-8")
    if form == "md":
        return markdown(body).encode("utf-8")
    page = Page(
        title=made.title,
        author=shop.name,
        language=shop.language,
        paper_size=shop.paper_size,
        footer=made.footer,
        pages=made.pages,
        draft_word=made.draft_word,
        draft_open=made.draft_open,
        pictures=made.pictures,
    )
    return pdf(body, page, shop.folder) if form == "pdf" else docx(body, page)


def _make(draft: Draft, name: str, shop: Shop, review: Review, folder: Path | None) -> _Made:
    """A paper's HTML."""
    from markupsafe import Markup

    from pipeline.render.html import fill, style
    from pipeline.render.paper_view import PaperView
    from pipeline.render.pictures import data_address
    from pipeline.render.refrigerant import RefrigerantView
    from pipeline.shop import logo_bytes
    from pipeline.words import load_words

    words = load_words(shop.language)
    view = (RefrigerantView if name == "refrigerant-record" else PaperView)(draft, shop, words, name, review, folder)
    pictures = view.pictures
    logo = ""
    found = logo_bytes(shop)
    if found is not None:
        logo = data_address(*found)
        pictures[logo] = found
    marked = name == "customer" and view.is_draft
    html = fill(
        f"{name}.html.j2",
        shop.folder,
        view=view,
        draft=draft,
        shop=shop,
        words=words,
        css=Markup(style(shop.folder)),
        logo=logo,
        marked_draft=marked,
    )
    return _Made(
        html=html,
        title=view.document_title,
        footer=view.document_title,
        pages=words("paper.page", n="{n}", total="{total}"),
        draft_word=words("draft.not_for_sending") if marked else "",
        draft_open=view.open_line if marked else "",
        pictures=pictures,
    )
