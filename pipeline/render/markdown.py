"""A paper as Markdown, from its tree."""

from __future__ import annotations

import re

from pipeline.render.tree import Node
from pipeline.words.figures import FIGURE_SPACE, POINT_SPACE

SPECIAL = re.compile(r"([\\`*_\[\]<>|#])")
LINE_START = re.compile(r"^(\s*)([-+]|\d+[.)])(?=\s)")


def markdown(body: Node) -> str:
    """The paper as Markdown text; what data holds is escaped and cannot turn into markup."""
    blocks: list[str] = []
    _blocks(body, blocks)
    return "\n\n".join(block for block in blocks if block.strip()) + "\n"


def _escape(text: str) -> str:
    """Text that Markdown shows as it stands; the spaces that align figures are of no use here."""
    text = text.replace(FIGURE_SPACE, "").replace(POINT_SPACE, "")
    return SPECIAL.sub(r"\\\1", text)


def _inline(node: Node | str) -> str:
    """Running text."""
    if isinstance(node, str):
        return _escape(node)
    if node.tag == "br":
        return "  \n"
    if node.tag == "img":
        return ""
    inner = "".join(_inline(child) for child in node.children)
    bare = inner.strip()
    if "mark" in node.classes or "unseen" in node.classes or node.tag == "svg" or not bare:
        return ""
    if node.tag in ("strong", "b") or "out_of_tolerance" in node.classes:
        return f"**{bare}**"
    if node.tag in ("em", "i"):
        return f"*{bare}*"
    if "doubt" in node.classes:
        return f"{bare} (?)"
    if "remark" in node.classes:
        return f" *{bare}*"
    return inner


def _line(node: Node) -> str:
    """An element's running text on one line, that no list or heading can begin by chance."""
    text = "".join(_inline(child) for child in node.children).strip()
    return LINE_START.sub(r"\1\\\2", text)


def _blocks(node: Node, out: list[str]) -> None:
    """The blocks of an element, in order."""
    running: list[str] = []

    def flush() -> None:
        text = "".join(running).strip()
        if text:
            out.append(text)
        running.clear()

    for child in node.children:
        if isinstance(child, str) or child.tag in ("span", "strong", "em", "br"):
            running.append(_inline(child))
            continue
        flush()
        if child.tag in ("h1", "h2", "h3"):
            out.append("#" * int(child.tag[1]) + " " + _line(child))
        elif child.tag == "p":
            out.append(_line(child))
        elif child.tag in ("ul", "ol"):
            out.append(_list(child, 0))
        elif child.tag == "dl":
            out.append(_facts(child))
        elif child.tag == "table":
            out.append(_table(child))
        elif child.tag == "figure":
            # A drawing cannot stand here: its figures do, as they are told to who cannot see it.
            told = _escape(child.attributes.get("data-alt", ""))
            out.append(told or " ".join(_line(caption) for caption in child.all("figcaption")))
        else:
            _blocks(child, out)
    flush()


def _list(node: Node, depth: int) -> str:
    """A list, with the lists inside it."""
    rows = []
    for item in node.children:
        if not isinstance(item, Node):
            continue
        own = Node("li", children=[one for one in item.children if isinstance(one, str) or one.tag not in ("ul", "ol")])
        rows.append("  " * depth + "- " + _line(own))
        rows += [_list(inner, depth + 1) for inner in item.children if isinstance(inner, Node) and inner.tag == "ul"]
    return "\n".join(rows)


def _facts(node: Node) -> str:
    """Labelled fields, one a line."""
    rows = []
    for entry in node.children:
        if isinstance(entry, Node):
            label = next(iter(entry.all("dt")), Node("dt"))
            value = next(iter(entry.all("dd")), Node("dd"))
            rows.append(f"- {_line(label)}: {_line(value) or '____________________'}")
    return "\n".join(rows)


def _table(node: Node) -> str:
    """A table; a group's heading becomes a row in bold."""
    rows = node.all("tr")
    width = max(
        (sum(int(cell.attributes.get("colspan", "1")) for cell in row.all("th", "td")) for row in rows), default=0
    )
    lines = []
    for index, row in enumerate(rows):
        cells = [_line(cell).replace("\n", " ") for cell in row.all("th", "td")]
        if "group" in row.classes:
            cells = [f"**{cells[0]}**"]
        cells += [""] * (width - len(cells))
        lines.append("| " + " | ".join(cells) + " |")
        if index == 0:
            right = ["n" in cell.classes for cell in row.all("th", "td")]
            lines.append("|" + "|".join(" ---: " if is_number else " --- " for is_number in right) + "|")
    return "\n".join(lines)
