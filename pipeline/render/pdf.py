"""A paper as PDF: typst lays the paper's tree out by `paper.typ`; tagged, with its own fonts in it."""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from pipeline.errors import AuthoringError
from pipeline.render.places import find, font_folder, unprintable
from pipeline.render.tree import BOX, Node, breakable, printable

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
    note: str = ""
    """Where the paper comes from and who checked it; at the foot of every page."""
    boxes: str = ""
    """What the page says when letters had to be printed as boxes."""
    draft_word: str = ""
    draft_open: str = ""
    pictures: dict[str, tuple[str, bytes]] = field(default_factory=dict)


def pdf(body: Node, page: Page, own: Path | None = None) -> bytes:
    """The paper as PDF/UA bytes, the same for the same input. Raises AuthoringError when paper.typ is wrong.

    Our fonts print Latin, Greek, Cyrillic, Arabic, Hebrew and emoji. A letter of another script is printed with a
    font of the machine, or as a box where that has none either; the page says so.
    """
    content = _content(page, body)
    missing = unprintable(content)
    with tempfile.TemporaryDirectory(prefix="jobtape-") as name:
        folder = Path(name)
        _lay_out(folder, content, page, own)
        try:
            return _compile(folder / "paper.typ", bool(missing), format="pdf", pdf_standards="ua-1")[0]
        except AuthoringError:
            if not missing:
                raise
        noted = replace(page, footer=f"{page.footer} · {page.boxes}")
        boxed = _content(noted, body).translate({ord(letter): BOX for letter in missing})
        (folder / "paper.json").write_text(boxed, encoding="utf-8")
        return _compile(folder / "paper.typ", format="pdf", pdf_standards="ua-1")[0]


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
        missing = unprintable("".join(svgs))
        return _compile(folder / "drawings.typ", bool(missing), format="png", ppi=220.0)


@lru_cache(maxsize=16)
def drawable(kind: str, data: bytes) -> bool:
    """Whether the page maker can draw a picture; tried once."""
    with tempfile.TemporaryDirectory(prefix="jobtape-") as name:
        folder = Path(name)
        (folder / f"picture.{kind}").write_bytes(data)
        (folder / "picture.typ").write_text(f'#image("picture.{kind}", width: 10mm)', encoding="utf-8")
        try:
            return bool(_compile(folder / "picture.typ", format="png", ppi=20.0))
        except AuthoringError:
            return False


def _content(page: Page, body: Node) -> str:
    """What the page maker reads, as JSON. Pictures are named by their place in the list of the page."""
    files = {address: f"picture-{number}.{kind}" for number, (address, (kind, _)) in enumerate(page.pictures.items())}
    content = {
        "title": printable(page.title),
        "author": printable(page.author),
        "language": page.language,
        "paper": PAPERS[page.paper_size],
        "footer": breakable(printable(page.footer)),
        "note": page.note,
        "pages": page.pages,
        "fonts": FONTS,
        "draft": {"word": page.draft_word, "open": page.draft_open} if page.draft_word else None,
        "pictures": files,
        "tree": body.as_data(),
    }
    return json.dumps(content, ensure_ascii=False)


def _lay_out(folder: Path, content: str, page: Page, own: Path | None) -> None:
    """Writes the style, the content and the pictures where the page maker finds them."""
    for number, (kind, data) in enumerate(page.pictures.values()):
        (folder / f"picture-{number}.{kind}").write_bytes(data)
    (folder / "paper.json").write_text(content, encoding="utf-8")
    (folder / "paper.typ").write_bytes(find("paper.typ", own).read_bytes())


def _compile(source: Path, system_fonts: bool = False, **options: Any) -> list[bytes]:
    """One compilation. The machine's own fonts stay out where ours do, so that every machine gives the same bytes."""
    import typst

    fonts = [str(font_folder())]
    try:
        made: Any = typst.compile(
            source, root=source.parent, font_paths=fonts, ignore_system_fonts=not system_fonts, **options
        )
    except typst.TypstError as fault:
        raise AuthoringError(
            "page-style-wrong", f"{source.name} cannot be laid out: {fault.message}.", "Correct it, or remove it."
        ) from fault
    return list(made) if isinstance(made, list) else [made]
