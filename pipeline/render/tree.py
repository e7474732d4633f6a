"""A paper's HTML as a small tree, from which the PDF, the DOCX and the Markdown are made.

So every form says the same: a doubt, a verdict or a caution that stands in one stands in all.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html import escape
from html.parser import HTMLParser

VOID = frozenset({"br", "img", "meta", "hr", "col", "link", "input"})
SKIPPED = frozenset({"style", "script", "head", "title"})
INLINE = frozenset({"span", "strong", "em", "small", "a", "b", "i", "br"})


@dataclass(slots=True)
class Node:
    """An element: its tag, its attributes, its children, which are nodes or texts. `raw` is a drawing's own source."""

    tag: str
    attributes: dict[str, str] = field(default_factory=dict)
    children: list[Node | str] = field(default_factory=list)
    raw: str = ""

    @property
    def classes(self) -> list[str]:
        """The element's classes."""
        return self.attributes.get("class", "").split()

    def all(self, *tags: str) -> list[Node]:
        """Descendants with one of the tags, in order."""
        found: list[Node] = []
        for child in self.children:
            if isinstance(child, Node):
                if child.tag in tags:
                    found.append(child)
                found += child.all(*tags)
        return found

    def text(self) -> str:
        """The text of the element and its descendants, white space collapsed."""
        parts = [child if isinstance(child, str) else child.text() for child in self.children]
        return collapse("".join(parts)).strip()

    def as_data(self) -> dict[str, object]:
        """The node as plain data for the page maker."""
        data: dict[str, object] = {
            "tag": self.tag,
            "class": self.classes,
            "kids": [breakable(child) if isinstance(child, str) else child.as_data() for child in self.children],
        }
        data.update({name: value for name, value in self.attributes.items() if name not in ("class", "tag", "kids")})
        if self.raw:
            data["raw"] = self.raw
        return data


NOT_FOR_PAPER = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff\u202a-\u202e\u2066-\u2069]")
"""Control characters, halves of characters, and marks that turn the direction of what follows."""


LONG_WORD = re.compile(r"\S{25,}")
BOX = "\u25a1"
"""Stands for a character that cannot be printed."""


def printable(text: str) -> str:
    """Text without what no paper can hold; a lost character shows as one."""
    return NOT_FOR_PAPER.sub(BOX, text)


def collapse(text: str) -> str:
    """Runs of ordinary white space as one space; the spaces that align figures stay."""
    return re.sub(r"[ \t\r\n\f]+", " ", text)


def breakable(text: str) -> str:
    """The text with places where a line may break in words that are longer than any column is wide."""
    return LONG_WORD.sub(lambda found: "\u200b".join(re.findall(".{1,10}", found[0])), text)


class _Builder(HTMLParser):
    """Builds the tree; drawings are kept as they stand."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Node("root")
        self.stack = [self.root]
        self.drawing: list[str] = []
        self.depth = 0
        self.skipping = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Opens an element."""
        if self.skipping or tag in SKIPPED:
            self.skipping += tag not in VOID
            return
        if self.depth or tag == "svg":
            self.depth += 1
            self.drawing.append(self.get_starttag_text() or "")
            return
        node = Node(tag, {name: value or "" for name, value in attrs})
        self.stack[-1].children.append(node)
        if tag not in VOID:
            self.stack.append(node)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """An element that closes itself."""
        if self.depth:
            self.drawing.append(self.get_starttag_text() or "")
        elif not self.skipping:
            self.handle_starttag(tag, attrs)
            self.handle_endtag(tag)

    def handle_endtag(self, tag: str) -> None:
        """Closes the nearest open element of this tag."""
        if self.skipping:
            self.skipping -= tag not in VOID
            return
        if self.depth:
            self.depth -= 1
            self.drawing.append(f"</{tag}>")
            if self.depth == 0:
                self.stack[-1].children.append(Node("svg", raw="".join(self.drawing)))
                self.drawing = []
            return
        for index in range(len(self.stack) - 1, 0, -1):
            if self.stack[index].tag == tag:
                del self.stack[index:]
                return

    def handle_data(self, data: str) -> None:
        """Text."""
        if self.depth:
            self.drawing.append(escape(data, quote=False))
        elif not self.skipping:
            self.stack[-1].children.append(collapse(data))


def parse(html: str) -> Node:
    """The tree of a paper's body."""
    builder = _Builder()
    builder.feed(html)
    builder.close()
    body = next(iter(builder.root.all("body")), builder.root)
    _tidy(body)
    return body


def _is_block(child: Node | str) -> bool:
    """Whether a child stands on lines of its own."""
    return isinstance(child, Node) and child.tag not in INLINE and not child.raw


def _tidy(node: Node) -> None:
    """Drops white space at the ends of an element and beside blocks; between words and inline elements it stays."""
    kept: list[Node | str] = []
    for number, child in enumerate(node.children):
        if isinstance(child, Node):
            _tidy(child)
        elif not child.strip(" "):
            before = kept[-1] if kept else None
            after = next(
                (one for one in node.children[number + 1 :] if not isinstance(one, str) or one.strip(" ")), None
            )
            edge = before is None or after is None
            if edge or _is_block(before or "") or _is_block(after or ""):
                continue
        kept.append(child)
    node.children = kept
