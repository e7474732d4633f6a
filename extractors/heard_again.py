"""Figures that two other hearings of the same sound agree on against the first: theirs is taken, and always asked."""

from __future__ import annotations

from dataclasses import replace

from extractors.facts import Segment, Transcript
from extractors.numerals import Numeral, numerals
from extractors.passage import Passage, make_passage


def outvoted(passage: Passage, found: list[Numeral]) -> list[Numeral]:
    """The numerals, each with the value that the other hearings agree on where they do; its words stay as heard."""
    return [_of_the_others(passage, numeral) for numeral in found]


def _of_the_others(passage: Passage, numeral: Numeral) -> Numeral:
    first, last = passage.tokens[numeral.span.start], passage.tokens[numeral.span.end - 1]
    if first.segment != last.segment:
        return numeral
    for doubt in passage.transcript.segments[first.segment].doubts:
        if doubt.instead is None or (doubt.start, doubt.end) != (first.start, last.end):
            continue
        others = numerals(make_passage(Transcript(segments=(Segment(text=doubt.instead),))))
        if len(others) == 1:
            return replace(others[0], span=numeral.span, mended=True, otherwise=(numeral.value,))
    return numeral
