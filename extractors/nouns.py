"""Nouns that the vocabulary does not know but that a figure may be about, by spaCy's tags."""

from __future__ import annotations

from typing import TYPE_CHECKING

from extractors.figure import Figure
from extractors.lexicon import load_table
from extractors.mentions import Mention
from extractors.passage import Passage, Span

if TYPE_CHECKING:
    from spacy.tokens import Doc


def unknown_nouns(passage: Passage, doc: Doc, known: list[Mention], figures: list[Figure]) -> list[Mention]:
    """Noun phrases of one or two words, followed by a verb of being, a comma or a figure, that no row names."""
    table = load_table("nouns")
    stop, after_words = set(table["never"]["words"]), set(table["speaks"]["after"])
    taken = {i for m in known for i in range(m.span.start, m.span.end)}
    taken |= {i for f in figures for i in range(f.span.start, f.span.end)}
    starts = {f.span.start for f in figures}
    found: list[Mention] = []
    index = 0
    while index < len(passage.tokens):
        if (
            index in taken
            or doc[index].tag_ not in ("NN", "NNS", "NNP")
            or passage.norm(index) in stop
            or len(passage.norm(index)) < 3
        ):
            index += 1
            continue
        end = index + 1
        while (
            end < len(passage.tokens)
            and end not in taken
            and end - index < 2
            and doc[end].tag_ in ("NN", "NNS")
            and passage.norm(end) not in stop
        ):
            end += 1
        after = passage.norm(end)
        if after in after_words or end in starts or (end - index == 2 and after in ("on", "in")):
            name = " ".join(passage.norms[index:end])
            if name.endswith("s") and doc[end - 1].tag_ == "NNS" and not name.endswith("ss"):
                name = name[:-1]
            found.append(Mention(Span(index, end), name))
        index = end
    return found
