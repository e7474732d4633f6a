"""Figures in a text, written or spoken, as plain numbers: the benchmarks' own reading, apart from the product's."""

from __future__ import annotations

import re
from dataclasses import dataclass

ONES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
SMALL = {
    **{word: value for value, word in enumerate(ONES)},
    **{word: value for value, word in enumerate(TEENS, start=10)},
    **dict(zip(TENS, range(20, 100, 10), strict=True)),
    "oh": 0,
}
FRACTIONS = {"half": 0.5, "quarter": 0.25, "eighth": 0.125}
WORD = re.compile(r"\d[\d,]*(?:\.\d+)?(?::\d\d)?(?!\d)|\.\d+|[a-z']+|[^\sa-z\d]", re.IGNORECASE)


@dataclass(frozen=True)
class Token:
    """A word, or a figure with its value; `at` and `to` bound it in the text."""

    text: str
    at: int
    to: int
    value: float | None = None


def tokens(text: str) -> list[Token]:
    """The words and figures of the text in order; punctuation is left out."""
    atoms = [(found[0].lower(), found.start(), found.end()) for found in WORD.finditer(text)]
    atoms = [atom for atom in atoms if atom[0] != "-"]
    result: list[Token] = []
    i = 0
    while i < len(atoms):
        value, used = _figure([atom[0] for atom in atoms], i)
        if used:
            at, to = atoms[i][1], atoms[i + used - 1][2]
            result.append(Token(text[at:to], at, to, value))
            i += used
            continue
        word, at, to = atoms[i]
        if word.isalnum() or "'" in word:
            result.append(Token(word, at, to))
        i += 1
    return result


def _small(word: str) -> int | None:
    if word in SMALL:
        return SMALL[word]
    return int(word) if word.isdigit() and len(word) <= 2 else None


def _figure(words: list[str], i: int) -> tuple[float, int]:
    """The value of the figure that begins at word `i`, and how many words it takes; 0 words for none."""

    def word(k: int) -> str:
        return words[k] if k < len(words) else ""

    start = i
    value: float | None = None
    if re.fullmatch(r"\d[\d,]*\.\d+|\.\d+", word(i)):
        value, i = float(word(i).replace(",", "")), i + 1
    elif re.fullmatch(r"\d+:\d\d", word(i)):
        value, i = float(word(i).replace(":", "")), i + 1
    elif re.fullmatch(r"\d[\d,]{2,}", word(i)):
        value, i = float(word(i).replace(",", "")), i + 1
    elif word(i) in ("point",) and _small(word(i + 1)) is not None:
        value = 0.0
    elif word(i) == "a" and word(i + 1) == "hundred":
        value, i = _words(words, i, 1)
    elif (word(i) != "oh" or _small(word(i + 1)) is not None) and (first := _small(word(i))) is not None:
        value, i = _words(words, i, first)
    if value is None:
        return 0.0, 0
    if word(i) == "point" and _small(word(i + 1)) is not None and float(value).is_integer():
        digits = ""
        k = i + 1
        while (digit := _small(word(k))) is not None:
            if digit > 9 and digits:
                break
            digits += str(digit)
            k += 1
            if digit > 9:
                if digit % 10 == 0 and 0 < (last := _small(word(k)) or 0) < 10 and not word(k).isdigit():
                    digits = str(digit + last)
                    k += 1
                break
        value, i = value + float(f"0.{digits}"), k
    if word(i) in ("thousand",):
        value, i = value * 1000, i + 1
        if word(i) == "and":
            rest, used = _figure(words, i + 1)
            if used and rest < 1000:
                value, i = value + rest, i + 1 + used
        else:
            rest, used = _figure(words, i)
            if used and rest < 1000:
                value, i = value + rest, i + used
    if word(i) == "and" and word(i + 1) == "a" and word(i + 2) in FRACTIONS:
        value, i = value + FRACTIONS[word(i + 2)], i + 3
    elif word(i) == "and" and word(i + 1) == "three" and word(i + 2) == "quarters":
        value, i = value + 0.75, i + 3
    return value, i - start


def _words(words: list[str], i: int, first: int) -> tuple[float, int]:
    """A whole number of spoken parts: one eighteen, two oh eight, three hundred and five, seven seven zero."""

    def small(k: int) -> int | None:
        return _small(words[k]) if k < len(words) else None

    def tens_and_ones(k: int, value: int) -> tuple[int, int]:
        follows = small(k)
        tens = value >= 20 and value % 10 == 0 and not words[k - 1].isdigit()
        if tens and follows in range(1, 10) and not words[k].isdigit():
            return value + (follows or 0), k + 1
        return value, k

    value, k = tens_and_ones(i + 1, first)
    if k < len(words) and words[k] == "hundred":
        value, k = value * 100, k + 1
        skip = 1 if k < len(words) and words[k] == "and" else 0
        if (rest := small(k + skip)) is not None:
            more, k = tens_and_ones(k + skip + 1, rest)
            value += more
        return float(value), k
    follows = small(k)
    if follows is None or (first == 0 and value == 0 and follows > 9):
        return float(value), k
    if value < 10 and follows < 10:
        digits = str(value)
        while (digit := small(k)) is not None and digit < 10:
            digits += str(digit)
            k += 1
        # Two single digits alone are "four three" for 4.3, or two figures: they are not read as forty-three.
        return (float(digits), k) if len(digits) > 2 else (float(digits) / 10, k)
    if follows == 0 and value >= 10 and (last := small(k + 1)) is not None and last < 10:
        return float(value * 100 + last), k + 2
    if follows >= 10 and value > 0:
        second, k = tens_and_ones(k + 1, follows)
        return float(value * 100 + second), k
    return float(value), k


@dataclass(frozen=True)
class Pair:
    """A figure that was said and what was written for it; either may be missing."""

    said: Token | None
    heard: Token | None

    @property
    def right(self) -> bool:
        """Both are there and equal."""
        return (
            self.said is not None
            and self.heard is not None
            and self.said.value is not None
            and self.heard.value is not None
            and abs(self.said.value - self.heard.value) < 1e-6 * max(1.0, abs(self.said.value))
        )


def align(said: list[Token], heard: list[Token]) -> list[Pair]:
    """The figures of two texts put opposite each other by the cheapest way to turn one text into the other."""
    rows, columns = len(said), len(heard)
    cost = [[float(i + j) if not i or not j else 0.0 for j in range(columns + 1)] for i in range(rows + 1)]
    for i in range(1, rows + 1):
        for j in range(1, columns + 1):
            cost[i][j] = min(
                cost[i - 1][j] + 1.0,
                cost[i][j - 1] + 1.0,
                cost[i - 1][j - 1] + _swap(said[i - 1], heard[j - 1]),
            )
    pairs: list[Pair] = []
    i, j = rows, columns
    while i or j:
        if i and j and abs(cost[i][j] - cost[i - 1][j - 1] - _swap(said[i - 1], heard[j - 1])) < 1e-9:
            i, j = i - 1, j - 1
            left, right = said[i], heard[j]
        elif i and abs(cost[i][j] - cost[i - 1][j] - 1.0) < 1e-9:
            i -= 1
            left, right = said[i], None
        else:
            j -= 1
            left, right = None, heard[j]
        if left is not None and left.value is None:
            left = None
        if right is not None and right.value is None:
            right = None
        if left is not None or right is not None:
            pairs.append(Pair(left, right))
    return pairs[::-1]


def _swap(left: Token, right: Token) -> float:
    if left.value is not None and right.value is not None:
        return 0.0 if abs(left.value - right.value) < 1e-9 else 0.9
    if left.value is not None or right.value is not None:
        return 1.7
    return 0.0 if left.text == right.text else 1.2
