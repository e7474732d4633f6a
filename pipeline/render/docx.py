"""A paper as DOCX, from its tree: real heading styles, lists and tables, made to be edited."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from pipeline.render.pdf import Page, png
from pipeline.render.tree import Node, printable

SIZES_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGIN_MM = 18.0
MARKS = {
    "in_tolerance": "|\u2009•\u2009|",
    "marginal_low": "|•\u2009\u2009|",
    "marginal_high": "|\u2009\u2009•|",
    "marginal": "|\u2009\u2009•|",
    "out_of_tolerance_low": "•|\u2003|",
    "out_of_tolerance_high": "|\u2003|•",
    "out_of_tolerance": "|\u2003|•",
    "no_reference": "¦\u2009◦\u2009¦",
}
"""The verdicts' marks in letters: a dot between, at or beyond two posts."""
HEAVY = frozenset({"out_of_tolerance", "kind", "shopname"})
"""Classes that are set in bold."""
FIXED_TIME = (1980, 1, 1, 0, 0, 0)
"""The same input gives the same bytes: a zip's times are the earliest that it can hold."""


def docx(body: Node, page: Page) -> bytes:
    """The paper as DOCX bytes, the same for the same input."""
    return _Writer(page, body).finish()


class _Writer:
    """Walks the tree once."""

    def __init__(self, page: Page, body: Node) -> None:
        import docx as library

        self.page = page
        self.document: Any = library.Document()
        drawings = [figure for figure in body.all("figure") if any(one.raw for one in figure.all("svg"))]
        pictures = png([next(one.raw for one in figure.all("svg") if one.raw) for figure in drawings])
        self.drawings = {id(figure): picture for figure, picture in zip(drawings, pictures, strict=True)}
        self._styles()
        self._page()
        self._blocks(body)

    def _styles(self) -> None:
        """One family of type, quiet headings, no colours that say anything."""
        from docx.oxml.ns import qn
        from docx.shared import Pt, RGBColor

        styles = self.document.styles
        self.style_ids = {style.name: style.style_id for style in styles}
        for name, size, bold, above, below in (
            ("Normal", 10, False, 0, 4),
            ("Title", 20, True, 0, 6),
            ("Heading 1", 13, True, 14, 4),
            ("Heading 2", 10.5, True, 8, 2),
            ("List Bullet", 10, False, 0, 2),
            ("Caption", 9, False, 0, 6),
        ):
            style = styles[name]
            style.font.name = "Source Sans 3" if name == "Normal" else None
            style.font.size = Pt(size)
            style.font.bold = bold
            style.font.color.rgb = RGBColor(0x17, 0x49, 0x5A) if name == "Heading 1" else RGBColor(0x14, 0x19, 0x1D)
            style.paragraph_format.space_before, style.paragraph_format.space_after = Pt(above), Pt(below)
            fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
            for kind in ("ascii", "hAnsi", "cs", "eastAsia"):
                fonts.set(qn(f"w:{kind}"), "Calibri")
            for theme in ("asciiTheme", "hAnsiTheme", "cstheme", "eastAsiaTheme"):
                fonts.attrib.pop(qn(f"w:{theme}"), None)
        border = styles["Title"].element.find(f".//{qn('w:pBdr')}")
        if border is not None:
            border.getparent().remove(border)
        language = styles.element.find(f".//{qn('w:lang')}")
        if language is not None:
            language.set(qn("w:val"), self.page.language)

    def _page(self) -> None:
        """Paper size, running head with the DRAFT line, page numbers, properties without a time of their own."""
        from docx.shared import Mm

        section = self.document.sections[0]
        width, height = SIZES_MM[self.page.paper_size]
        section.page_width, section.page_height = Mm(width), Mm(height)
        section.left_margin = section.right_margin = section.top_margin = section.bottom_margin = Mm(MARGIN_MM)
        self.width_mm = width - 2 * MARGIN_MM
        if self.page.draft_word:
            head = section.header.paragraphs[0]
            head.add_run(printable(self.page.draft_word)).bold = True
            head.add_run(" " + printable(self.page.draft_open))
        foot = section.footer.paragraphs[0]
        before, _, rest = self.page.pages.partition("{n}")
        between, _, after = rest.partition("{total}")
        foot.add_run(printable(f"{self.page.footer}   {before}"))
        self._field(foot, "PAGE")
        foot.add_run(printable(between))
        self._field(foot, "NUMPAGES")
        foot.add_run(printable(after))
        core = self.document.core_properties
        core.title, core.author, core.language = (
            printable(self.page.title)[:255],
            printable(self.page.author)[:255],
            self.page.language,
        )
        core.comments = core.keywords = ""

    def _field(self, paragraph: Any, code: str) -> None:
        """A field that the reader's program fills."""
        from docx.oxml import OxmlElement
        from docx.oxml.ns import qn

        for kind in ("begin", None, "end"):
            run = paragraph.add_run()
            if kind is None:
                text = OxmlElement("w:instrText")
                text.text = code
                run._r.append(text)
            else:
                mark = OxmlElement("w:fldChar")
                mark.set(qn("w:fldCharType"), kind)
                run._r.append(mark)

    # ---- blocks -------------------------------------------------------------------------------

    def _blocks(self, node: Node) -> None:
        """The blocks of an element, in order."""
        loose: list[Node | str] = []
        for child in [*node.children, None]:
            if isinstance(child, str) or (child is not None and child.tag in ("span", "strong", "em", "br")):
                loose.append(child)
                continue
            if any(not isinstance(one, str) or one.strip() for one in loose):
                self._runs(self.document.add_paragraph(), Node("p", children=loose))
            loose = []
            if child is not None:
                self._block(child)

    def _block(self, node: Node) -> None:
        """One block."""
        if "draft" in node.classes:
            return
        if node.tag in ("h1", "h2", "h3"):
            style = {"h1": "Title", "h2": "Heading 1", "h3": "Heading 2"}[node.tag]
            self._runs(self._paragraph(style), node)
        elif node.tag == "p":
            self._runs(self.document.add_paragraph(), node)
        elif node.tag in ("ul", "ol"):
            self._list(node, "boxes" in node.classes, "key" in node.classes)
        elif node.tag == "dl":
            self._facts(node)
        elif node.tag == "table":
            self._table(node)
        elif node.tag == "figure":
            self._figure(node)
        elif node.tag == "img":
            self._picture(self.document.add_paragraph(), node)
        else:
            self._blocks(node)

    def _paragraph(self, style: str) -> Any:
        """A new paragraph of a style; the library's own way looks every style up anew and takes most of the time."""
        paragraph = self.document.add_paragraph()
        paragraph._p.get_or_add_pPr().style = self.style_ids[style]
        return paragraph

    def _list(self, node: Node, boxes: bool, bare: bool) -> None:
        """A list; questions get a box to tick."""
        for item in node.children:
            if not isinstance(item, Node):
                continue
            paragraph = self._paragraph("Normal" if boxes or bare else "List Bullet")
            if boxes:
                paragraph.add_run("☐ ")
            inner = [one for one in item.children if isinstance(one, Node) and one.tag == "ul"]
            self._runs(paragraph, Node("li", children=[one for one in item.children if one not in inner]))
            for deeper in inner:
                self._list(deeper, False, True)

    def _facts(self, node: Node) -> None:
        """Labelled fields as a table of two columns; places to sign stay empty."""
        from docx.shared import Mm

        entries = [child for child in node.children if isinstance(child, Node)]
        table = self._new_table(len(entries), [45, 85] if "sign" not in node.classes else [60, 70])
        for row, entry in zip(table.rows, entries, strict=True):
            label = next(iter(entry.all("dt")), Node("dt"))
            value = next(iter(entry.all("dd")), Node("dd"))
            self._runs(row.cells[0].paragraphs[0], label)
            self._runs(row.cells[1].paragraphs[0], value)
            if "sign" in node.classes:
                row.height = Mm(11.0)
        self._rules(table)
        self._gap()

    def _gap(self) -> None:
        """A narrow line that keeps two tables apart."""
        from docx.shared import Pt

        paragraph = self.document.add_paragraph()
        paragraph.paragraph_format.space_after = Pt(0)
        paragraph.add_run(" ").font.size = Pt(4)

    def _table(self, node: Node) -> None:
        """A table with a head that repeats on every page and rows that do not break."""
        from docx.enum.text import WD_ALIGN_PARAGRAPH
        from docx.oxml import OxmlElement
        from docx.oxml.ns import qn

        rows = node.all("tr")
        widths = [float(width) for width in node.attributes["data-widths"].split()]
        heads = len([row for head in node.all("thead") for row in head.all("tr")])
        table = self._new_table(len(rows), widths)
        for number, (row, made) in enumerate(zip(rows, table.rows, strict=True)):
            cells = row.all("th", "td")
            for cell, target in zip(cells, made.cells, strict=False):
                paragraph = target.paragraphs[0]
                self._runs(paragraph, cell, bold=number < heads or "group" in row.classes)
                if "n" in cell.classes:
                    paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT
            if "group" in row.classes:
                made.cells[0].merge(made.cells[-1])
            properties = made._tr.get_or_add_trPr()
            properties.append(OxmlElement("w:cantSplit"))
            if number < heads:
                head = OxmlElement("w:tblHeader")
                head.set(qn("w:val"), "true")
                properties.append(head)
        self._rules(table)
        self._gap()

    def _new_table(self, rows: int, widths: list[float]) -> Any:
        """An empty table whose columns share the page's width."""
        from docx.shared import Mm

        table = self.document.add_table(rows=rows, cols=len(widths))
        table.autofit = False
        whole = sum(widths)
        for column, width in zip(table.columns, widths, strict=True):
            column.width = Mm(self.width_mm * width / whole)
            for cell in column.cells:
                cell.width = Mm(self.width_mm * width / whole)
        return table

    def _rules(self, table: Any) -> None:
        """Hair lines between rows, nothing else."""
        from docx.oxml import OxmlElement
        from docx.oxml.ns import qn

        borders = OxmlElement("w:tblBorders")
        for side in ("top", "bottom", "insideH"):
            line = OxmlElement(f"w:{side}")
            for name, value in (("val", "single"), ("sz", "4"), ("space", "0"), ("color", "B4BCC2")):
                line.set(qn(f"w:{name}"), value)
            borders.append(line)
        table._tbl.tblPr.append(borders)

    def _figure(self, node: Node) -> None:
        """A drawing as a picture, or a photo, with its caption and its words for who cannot see it."""
        from docx.shared import Mm

        drawing = self.drawings.get(id(node))
        if drawing is not None:
            width = 75.0 if "half" in node.classes else 105.0
            shape = self.document.add_picture(io.BytesIO(drawing), width=Mm(width))
            self._describe(shape, node.attributes.get("data-alt", ""))
        for image in node.all("img"):
            self._picture(self.document.add_paragraph(), image)
        for caption in node.all("figcaption"):
            self._runs(self._paragraph("Caption"), caption)

    def _picture(self, paragraph: Any, node: Node) -> None:
        """A photo or logo; one that this form cannot take is left out."""
        from docx.image.exceptions import UnrecognizedImageError
        from docx.shared import Mm

        kind, data = self.page.pictures.get(node.attributes.get("src", ""), ("", b""))
        if kind == "svg":
            data = png([data.decode("utf-8", "replace")], 60.0)[0]
        if not data:
            return
        width = Mm(36.0 if "logo" in node.classes else min(90.0, self.width_mm))
        try:
            shape = paragraph.add_run().add_picture(io.BytesIO(data), width=width)
        except (UnrecognizedImageError, ValueError, ZeroDivisionError, KeyError):
            return
        self._describe(shape, node.attributes.get("alt", ""))

    def _describe(self, shape: Any, words: str) -> None:
        """Alternative text of a picture."""
        shape._inline.docPr.set("descr", printable(words))

    # ---- running text -------------------------------------------------------------------------

    def _runs(self, paragraph: Any, node: Node | str, bold: bool = False, **look: Any) -> None:
        """Running text with its emphasis."""
        from docx.enum.text import WD_UNDERLINE
        from docx.shared import Pt

        if isinstance(node, str):
            if node:
                run = paragraph.add_run(printable(node))
                run.bold = bold or None
                run.italic = look.get("italic")
                if look.get("dotted"):
                    run.font.underline = WD_UNDERLINE.DOTTED
                if look.get("small"):
                    run.font.size = Pt(8.5)
            return
        if node.tag == "br":
            paragraph.add_run().add_break()
            return
        if "mark" in node.classes:
            paragraph.add_run(MARKS[node.attributes["data-mark"]])
            return
        if "unseen" in node.classes or node.tag == "svg":
            return
        if "remark" in node.classes:
            paragraph.add_run().add_break()
        look = {
            "italic": look.get("italic") or node.tag in ("em", "i") or "said" in node.classes or None,
            "dotted": look.get("dotted") or "doubt" in node.classes,
            "small": look.get("small") or bool({"small", "plain", "said", "remark"} & set(node.classes)),
        }
        heavy = bold or node.tag in ("strong", "b") or bool(HEAVY & set(node.classes))
        for child in node.children:
            self._runs(paragraph, child, heavy, **look)

    def finish(self) -> bytes:
        """The document's bytes with every time in it fixed."""
        made = io.BytesIO()
        self.document.save(made)
        fixed = io.BytesIO()
        with zipfile.ZipFile(made) as source, zipfile.ZipFile(fixed, "w", zipfile.ZIP_DEFLATED) as target:
            for name in source.namelist():
                entry = zipfile.ZipInfo(name, FIXED_TIME)
                entry.compress_type = zipfile.ZIP_DEFLATED
                target.writestr(entry, source.read(name))
        return fixed.getvalue()
