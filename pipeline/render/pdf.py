"""A paper as PDF: typst lays the paper's tree out by `paper.typ`; tagged, with its own fonts in it."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pipeline.errors import AuthoringError
from pipeline.render.places import find, font_folder
from pipeline.render.tree import Node

FONTS = ("Source Sans 3", "Noto Sans Arabic", "Noto Sans Hebrew", "Noto Emoji")
PAPERS = {"A4": "a4", "Letter": "us-letter"}


@dataclass(frozen=True)
class Page:
    """What stands around a paper's text: titles, page numbers, the DRAFT line, pictures by their address."""

    title: str
    author: str
    language: str
    paper_size: str
    footer: str
    pages: str
    draft_word: str = ""
    draft_open: str = ""
    pictures: dict[str, tuple[str, bytes]] = field(default_factory=dict)


def pdf(body: Node, page: Page, own: Path | None = None) -> bytes:
    """The paper as PDF/UA bytes, the same for the same input. Raises AuthoringError when paper.typ is wrong."""
    with tempfile.TemporaryDirectory(prefix="jobtape-") as name:
        folder = Path(name)
        _lay_out(folder, body, page, own)
        data = _compile(folder / "paper.typ", format="pdf", pdf_standards="ua-1")
    return data[0]


def png(svgs: list[str], width_mm: float = 120.0) -> list[bytes]:
    """Drawings as PNG pictures, for forms that take no vectors; 220 pixels an inch."""
    if not svgs:
        return []
    lines = [
        f"#set page(width: {width_mm}mm, height: auto, margin: 0mm)",
        f"#set text(font: {json.dumps(FONTS)[1:-1].join('()')})",
        '#let d = json("drawings.json")',
        '#for (i, s) in d.enumerate() { if i > 0 { pagebreak() }; image(bytes(s), format: "svg", width: 100%) }',
    ]
    with tempfile.TemporaryDirectory(prefix="jobtape-") as name:
        folder = Path(name)
        (folder / "drawings.json").write_text(json.dumps(svgs), encoding="utf-8")
        (folder / "drawings.typ").write_text("\n".join(lines), encoding="utf-8")
        return _compile(folder / "drawings.typ", format="png", ppi=220.0)


def _lay_out(folder: Path, body: Node, page: Page, own: Path | None) -> None:
    """Writes the style, the tree and the pictures where the page maker finds them."""
    pictures = {}
    for number, (address, (kind, data)) in enumerate(page.pictures.items()):
        file = f"picture-{number}.{kind}"
        (folder / file).write_bytes(data)
        pictures[address] = file
    content = {
        "title": page.title,
        "author": page.author,
        "language": page.language,
        "paper": PAPERS[page.paper_size],
        "footer": page.footer,
        "pages": page.pages,
        "fonts": FONTS,
        "draft": {"word": page.draft_word, "open": page.draft_open} if page.draft_word else None,
        "pictures": pictures,
        "tree": body.as_data(),
    }
    (folder / "paper.json").write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    (folder / "paper.typ").write_bytes(find("paper.typ", own).read_bytes())


def _compile(source: Path, **options: Any) -> list[bytes]:
    """One compilation. System fonts stay out, so that every machine gives the same bytes."""
    import typst

    try:
        made: Any = typst.compile(
            source, root=source.parent, font_paths=[str(font_folder())], ignore_system_fonts=True, **options
        )
    except typst.TypstError as fault:
        raise AuthoringError(
            "page-style-wrong", f"{source.name} cannot be laid out: {fault.message}.", "Correct it, or remove it."
        ) from fault
    return list(made) if isinstance(made, list) else [made]
