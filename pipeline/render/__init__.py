"""From a draft to its papers: file name -> bytes. The only door of this package."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.draft import Draft
from pipeline.errors import InputError
from pipeline.render.view import Review
from pipeline.shop import Shop

if TYPE_CHECKING:
    from pipeline.render.paper_view import PaperView
    from pipeline.render.pdf import Page
    from pipeline.render.tree import Node

__all__ = ["FORMS", "PAPERS", "Review", "forms_of", "paper", "papers"]

FORMS = ("html", "pdf", "docx", "md")
"""Forms of every paper."""
OWN_FORMS: dict[str, tuple[str, ...]] = {"customer": ("eml",), "parts": ("csv",)}
"""Forms that a single paper has beside them."""
PAPERS: dict[str, tuple[str, ...]] = {
    "report": FORMS,
    "customer": ("html", "pdf", "docx", "eml"),
    "parts": ("pdf", "csv"),
    "refrigerant-record": ("pdf", "docx"),
    "handover": ("html", "pdf"),
}
"""Every paper with the forms that are made unasked."""
EXPORTS = ("readings.csv", "transcript.vtt", "follow-ups.ics")
"""Files for other programs, made with the report."""


def papers(
    draft: Draft,
    *,
    shop: Shop | None = None,
    names: Iterable[str] | None = None,
    review: Review | None = None,
    folder: Path | None = None,
) -> dict[str, bytes]:
    """The papers of a draft as file name -> bytes; the same input gives the same bytes.

    Without `names` all that the job calls for: no parts list without parts, no refrigerant record where the
    circuit stayed closed. `review` says who checked, `folder` is where the draft's photos lie.
    Raises InputError for a paper that does not exist and AuthoringError where a template is wrong.
    """
    made: dict[str, bytes] = {}
    for name in PAPERS if names is None else names:
        maker = _Maker(draft, _known(name), shop or Shop(), review or Review(), folder)
        if names is not None or maker.view.called_for:
            made |= {f"{name}.{form}": maker.form(form) for form in PAPERS[name]}
            if name == "report":
                made |= maker.exports()
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
    if form not in forms_of(_known(name)):
        raise InputError(
            "form-unknown", f"The paper {name} has no form {form!r}.", f"Use one of {', '.join(forms_of(name))}."
        )
    return _Maker(draft, name, shop or Shop(), review or Review(), folder).form(form)


def forms_of(name: str) -> tuple[str, ...]:
    """All forms that a paper can have."""
    return (*FORMS, *OWN_FORMS.get(name, ()))


def _known(name: str) -> str:
    """The name of a paper. Raises InputError when there is none of this name."""
    if name not in PAPERS:
        raise InputError("paper-unknown", f"There is no paper {name!r}.", f"Use one of {', '.join(PAPERS)}.")
    return name


@dataclass
class _Maker:
    """Makes one paper; its view, HTML and tree are made once for all forms."""

    draft: Draft
    name: str
    shop: Shop
    review: Review
    folder: Path | None

    @cached_property
    def view(self) -> PaperView:
        """What the template reads."""
        from pipeline.render.paper_view import PaperView
        from pipeline.render.refrigerant import RefrigerantView
        from pipeline.render.view import whole
        from pipeline.words import load_words

        kind = RefrigerantView if self.name == "refrigerant-record" else PaperView
        return kind(whole(self.draft), self.shop, load_words(self.shop.language), self.name, self.review, self.folder)

    @cached_property
    def html(self) -> str:
        """The paper as HTML."""
        from markupsafe import Markup

        from pipeline.render.html import fill, style

        return fill(
            f"{self.name}.html.j2",
            self.shop.folder,
            view=self.view,
            draft=self.view.draft,
            shop=self.shop,
            words=self.view.words,
            css=Markup(style(self.shop.folder)),
            marked_draft=self._marked,
        )

    @property
    def _marked(self) -> bool:
        """Whether the paper says on each page that it is not for sending."""
        return self.name == "customer" and self.view.is_draft

    @cached_property
    def _tree(self) -> Node:
        from pipeline.render.tree import parse

        return parse(self.html)

    @cached_property
    def _page(self) -> Page:
        from pipeline.render.pdf import Page

        self._tree  # noqa: B018  the template fills the view's pictures
        view, words = self.view, self.view.words
        return Page(
            title=view.document_title,
            author=self.shop.name,
            language=self.shop.language,
            paper_size=self.shop.paper_size,
            footer=view.document_title,
            pages=words("paper.page", n="{n}", total="{total}"),
            note=view.made_line,
            boxes=words("paper.boxes"),
            draft_word=words("draft.not_for_sending") if self._marked else "",
            draft_open=view.open_line if self._marked else "",
            pictures=view.pictures,
        )

    @cached_property
    def pdf(self) -> bytes:
        """The paper as PDF."""
        from pipeline.render.pdf import pdf

        return pdf(self._tree, self._page, self.shop.folder)

    def form(self, form: str) -> bytes:
        """The paper's bytes in one of its forms."""
        if form == "html":
            return self.html.encode("utf-8")
        if form == "pdf":
            return self.pdf
        if form == "docx":
            from pipeline.render.docx import docx

            return docx(self._tree, self._page)
        if form == "md":
            from pipeline.render.markdown import markdown

            return markdown(self._tree).encode("utf-8")
        if form == "eml":
            from pipeline.render.post import mail

            return mail(self.view, self.pdf)
        from pipeline.render.exports import parts_csv

        return parts_csv(self.draft)

    def exports(self) -> dict[str, bytes]:
        """Files for other programs."""
        from pipeline.render.exports import readings_csv, transcript_vtt
        from pipeline.render.post import calendar, dated

        files = {"readings.csv": readings_csv(self.draft), "transcript.vtt": transcript_vtt(self.draft)}
        if dated(self.draft):
            files["follow-ups.ics"] = calendar(self.view)
        return files
