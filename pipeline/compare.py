"""Two texts of the same sound put opposite each other, figure by figure."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.facts import Segment, Transcript
from extractors.numerals import numerals
from extractors.passage import make_passage

# What it costs to turn one text into the other; a figure rather meets another figure than a word.
LEFT_OUT, OTHER_WORD, OTHER_FIGURE, WORD_FOR_FIGURE = 1.0, 1.2, 0.9, 1.7


@dataclass(frozen=True)
class Item:
    """A word or a figure of a text; `start` and `end` are places in the text of segment `segment`."""

    segment: int
    start: int
    end: int
    text: str
    values: frozenset[float] = frozenset()
    """What a figure may mean, in order of no matter; empty for a word."""
    value: float | None = None


def items(texts: list[str]) -> list[Item]:
    """The words and figures of consecutive texts; marks are left out."""
    passage = make_passage(Transcript(segments=tuple(Segment(text=text) for text in texts)))
    found: list[Item] = []
    at = 0
    for numeral in numerals(passage):
        found += _words(passage.tokens[at : numeral.span.start])
        first, last = passage.tokens[numeral.span.start], passage.tokens[numeral.span.end - 1]
        end = last.end if last.segment == first.segment else len(texts[first.segment])
        values = {numeral.value, *numeral.also, *(numeral.pair or ())}
        found.append(
            Item(
                segment=first.segment,
                start=first.start,
                end=end,
                text=texts[first.segment][first.start : end],
                values=frozenset(round(value, 6) for value in values),
                value=round(numeral.value, 6),
            )
        )
        at = numeral.span.end
    return [*found, *_words(passage.tokens[at:])]


def _words(tokens: tuple[object, ...]) -> list[Item]:
    from extractors.passage import Token

    return [
        Item(token.segment, token.start, token.end, token.norm)
        for token in tokens
        if isinstance(token, Token) and token.norm[:1].isalnum()
    ]


def agree(left: Item, right: Item) -> bool:
    """Both figures mean the same number, or at least one that the other's words may mean too."""
    return left.value in right.values or right.value in left.values


def agreed(item: Item, one: Item | None, other: Item | None) -> str | None:
    """What two other hearings of a figure wrote, where they agree with each other and not with it; else None.

    A figure that lost a part of itself ("fifty" of "fifty-two") or its sign outvotes nothing, and a ty outvotes no
    teen: noise makes ty of teen and hardly ever the other way.
    """
    if one is None or other is None or not one.values or not other.values or not agree(one, other):
        return None
    if item.value is None or one.value is None or agree(item, one) or agree(item, other):
        return None
    have, new = _digits(item.value), _digits(one.value)
    lost = have.endswith(new) or have.startswith(new) or (len(have) == len(new) and have.startswith(new.rstrip("0")))
    ty_for_teen = 13 <= item.value % 100 <= 19 and one.value % 100 == item.value % 10 * 10
    return None if lost or ty_for_teen else min(one.text, other.text, key=lambda text: any(map(str.isdigit, text)))


def _digits(value: float) -> str:
    return f"{abs(value):.6f}".rstrip("0").replace(".", "").lstrip("0") if value % 1 else f"{abs(value):.0f}"


def opposite(left: list[Item], right: list[Item]) -> list[Item | None]:
    """For each item of the left text the one of the right text that stands for it, or None."""
    rows, columns = len(left), len(right)
    cost = [[LEFT_OUT * (i + j) if not i or not j else 0.0 for j in range(columns + 1)] for i in range(rows + 1)]
    for i in range(1, rows + 1):
        above, here, item = cost[i - 1], cost[i], left[i - 1]
        for j in range(1, columns + 1):
            here[j] = min(above[j - 1] + _swap(item, right[j - 1]), above[j] + LEFT_OUT, here[j - 1] + LEFT_OUT)
    found: list[Item | None] = [None] * rows
    i, j = rows, columns
    while i and j:
        if cost[i][j] == cost[i - 1][j - 1] + _swap(left[i - 1], right[j - 1]):
            i, j = i - 1, j - 1
            found[i] = right[j]
        elif cost[i][j] == cost[i - 1][j] + LEFT_OUT:
            i -= 1
        else:
            j -= 1
    return found


def _swap(left: Item, right: Item) -> float:
    if left.values and right.values:
        return 0.0 if agree(left, right) else OTHER_FIGURE
    if left.values or right.values:
        return WORD_FOR_FIGURE
    return 0.0 if left.text == right.text else OTHER_WORD
