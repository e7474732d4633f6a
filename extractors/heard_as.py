"""Trade words and units that came out of noise as other words, understood again by their sound; always asked."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any, TypeVar

from extractors.facts import Evidence, Frozen
from extractors.lexicon import load_table
from extractors.number_words import spoken_numbers
from extractors.numerals import Numeral, numerals
from extractors.passage import Passage, Span, Token

F = TypeVar("F", bound=Frozen)

# Sounds that are taken for each other, as the letters of double metaphone: made at the same place of the mouth.
ALIKE = [frozenset(group) for group in ("PF", "0T", "SXJ", "MN", "LR", "KJ")]
HALF_ALIKE = 0.4
"""What it costs to take one sound for another made at the same place; another one costs 1."""


def understood(passage: Passage) -> Passage:
    """The passage with misheard words under the names they stand for; `taken` says which, the text stays as heard."""
    strange = [token.index for token in passage.tokens if is_strange(passage, token)]
    table = load_table("heard_as")
    doubtful = set(table["units_before"]["heard"])
    if not strange and not doubtful & set(passage.norms):
        return passage
    found = numerals(passage)
    taken: dict[int, str] = {}
    for index, meant in (
        *_units_of(passage, found, set(strange)),
        *_units_before(passage, found),
        *_trade_words(passage, found, strange),
    ):
        taken.setdefault(index, meant)
    if not taken:
        return passage
    tokens = tuple(replace(t, norm=taken[t.index]) if t.index in taken else t for t in passage.tokens)
    return replace(passage, tokens=tokens, taken=taken)


@cache
def _known() -> frozenset[str]:
    """Words that stand for themselves: of every phrase in the tables, of numbers, and of ordinary talk."""
    said = [
        phrase for table in ("subjects", "shared_words") for row in load_table(table).values() for phrase in _all(row)
    ]
    said += [phrase for row in load_table("units").values() for phrase in _all(row)]
    said += [phrase for row in load_table("machines")["noun"].values() for phrase in _all(row)]
    words = {word for phrase in said for word in phrase.lower().replace("-", " ").split()}
    return frozenset(words | set(spoken_numbers()) | set(load_table("plain_words")["say"].split()))


def _all(row: dict[str, Any]) -> list[str]:
    return [*row.get("say", ()), *row.get("misheard", ()), *row.get("glued", ())]


def is_strange(passage: Passage, token: Token) -> bool:
    """Whether no table and no ordinary talk knows a word, and it is no name either."""
    norm = token.norm
    if len(norm) < 3 or not norm.isalpha() or not norm.isascii() or is_plain(norm):
        return False
    first = token.index == 0 or passage.tokens[token.index - 1].sentence != token.sentence
    return first or not token.text[0].isupper()


def is_plain(word: str) -> bool:
    """Whether a word, or the word that it is a form of, is known."""
    known = _known()
    return word in known or any(word.endswith(end) and word[: -len(end)] in known for end in ("s", "es", "ed", "ing"))


def _units_of(passage: Passage, found: list[Numeral], strange: set[int]) -> Iterator[tuple[int, str]]:
    """Strange words right after a figure, or right before one that no unit follows."""
    table = load_table("heard_as")["units"]
    for numeral in found:
        after, before = numeral.span.end, numeral.span.start - 1
        if after in strange and passage.tokens[after].segment == passage.tokens[after - 1].segment:
            meant = _nearest(passage.norm(after), tuple(table["say"]), table["sound"], table["letters"], table["both"])
            if meant is not None:
                yield after, meant
        elif before in strange and passage.norm(after) not in table["say"]:
            meant = _nearest(
                passage.norm(before), tuple(table["first"]), table["sound"], table["letters"], table["first_both"]
            )
            if meant is not None:
                yield before, meant


def _units_before(passage: Passage, found: list[Numeral]) -> Iterator[tuple[int, str]]:
    """Words that are things too, read as a unit where a figure without one follows: "the bolts fell to two twenty"."""
    table = load_table("heard_as")["units_before"]
    units = load_table("heard_as")["units"]["say"]
    for numeral in found:
        start = numeral.span.start
        clause = passage.clause_span(start)
        if passage.norm(numeral.span.end) in units or numeral.value < table["least"]:
            continue
        for index in range(start - 1, max(clause.start - 2, start - 1 - table["reach"]), -1):
            meant = table["heard"].get(passage.norm(index))
            number_before = passage.tokens[index - 1].is_digits or passage.norm(index - 1) in spoken_numbers()
            sentence = passage.sentence_span(index)
            held = set(passage.norms[sentence.start : sentence.end]) & set(table["not_with"])
            if meant is not None and not number_before and not held:
                yield index, meant
                break


def _trade_words(passage: Passage, found: list[Numeral], strange: list[int]) -> Iterator[tuple[int, str]]:
    """Strange words in a sentence with a figure: like one name alone, or like the missing word of a name beside it."""
    table = load_table("heard_as")["trade"]
    sentences = {passage.tokens[numeral.span.start].sentence for numeral in found}
    numbers = {index for numeral in found for index in range(numeral.span.start, numeral.span.end)}
    for index in strange:
        if passage.tokens[index].sentence not in sentences or index in numbers:
            continue
        word = passage.norm(index)
        names = _names_beside(passage, index)
        beside = _nearest(word, names, table["beside_sound"], table["beside_letters"], table["beside_both"])
        if beside is not None:
            yield index, beside
        elif len(word) >= table["shortest"]:
            alone = _nearest(word, _single_names(), table["sound"], table["letters"], table["both"])
            if alone is not None:
                yield index, alone


@cache
def _single_names() -> tuple[str, ...]:
    """Names of one word, long enough to be told by their sound."""
    shortest = load_table("heard_as")["trade"]["shortest"]
    return tuple(sorted({phrase[0] for phrase in _names() if len(phrase) == 1 and len(phrase[0]) >= shortest}))


@cache
def _names() -> tuple[tuple[str, ...], ...]:
    said = [
        phrase for table in ("subjects", "shared_words") for row in load_table(table).values() for phrase in row["say"]
    ]
    return tuple(sorted({tuple(phrase.lower().split()) for phrase in said}))


@cache
def _by_word() -> dict[str, list[tuple[tuple[str, ...], int]]]:
    """Names of two and three words by each of their words that is not too common, with its place in the name."""
    common = set(load_table("heard_as")["trade"]["common"])
    found: dict[str, list[tuple[tuple[str, ...], int]]] = {}
    for phrase in _names():
        for place, word in enumerate(phrase if 2 <= len(phrase) <= 3 else ()):
            if word not in common:
                found.setdefault(word, []).append((phrase, place))
    return found


def _names_beside(passage: Passage, index: int) -> tuple[str, ...]:
    """The words that would make a name of a strange word and its neighbours."""
    found: dict[str, None] = {}
    for other in (index - 2, index - 1, index + 1, index + 2):
        for phrase, place in _by_word().get(passage.norm(other), ()):
            begin = other - place
            inside = index - begin
            if not 0 <= inside < len(phrase) or inside == place:
                continue
            rest = [passage.norm(begin + k) == word for k, word in enumerate(phrase) if k != inside]
            if all(rest) and passage.tokens[begin].clause == passage.tokens[index].clause:
                found[phrase[inside]] = None
    return tuple(found)


def _nearest(word: str, names: tuple[str, ...], sound: float, letters: float, both: float) -> str | None:
    """The name most like a word in sound and letters, where it is like enough in each and in both."""
    from rapidfuzz import fuzz

    best: tuple[float, str] | None = None
    for name in names:
        heard, written = alike(word, name), fuzz.ratio(word, name) / 100
        if heard >= sound and written >= letters and heard + written >= both and heard + written > (best or (0.0,))[0]:
            best = heard + written, name
    return best[1] if best else None


@cache
def _sounds(word: str) -> str:
    from metaphone import doublemetaphone

    return str(doublemetaphone(word)[0])


def alike(word: str, other: str) -> float:
    """How much two words sound alike, 0 to 1: what it costs to turn the sounds of one into those of the other."""
    left, right = _sounds(word), _sounds(other)
    if not left or not right:
        return 0.0
    row = [float(j) for j in range(len(right) + 1)]
    for i, one in enumerate(left, 1):
        above, row = row, [float(i)]
        for j, two in enumerate(right, 1):
            row.append(min(above[j] + 1, row[j - 1] + 1, above[j - 1] + _swap(one, two)))
    return 1 - row[-1] / max(len(left), len(right))


def said_of(passage: Passage, span: Span) -> list[str]:
    """What to ask of a fact whose words a span holds: each misheard word with what it was taken for."""
    return [
        f"heard differently: “{passage.tokens[index].text}” taken for {meant}"
        for index, meant in passage.taken.items()
        if span.start <= index < span.end
    ]


def asked(fact: F, passage: Passage) -> F:
    """A fact that asks for every misheard word of its quote; as it is when it has none."""
    evidence, reasons = getattr(fact, "evidence", None), getattr(fact, "confirm", None)
    if not isinstance(evidence, Evidence) or reasons is None:
        return fact
    words = set(re.findall(r"\w+", evidence.quote))
    more = [
        f"heard differently: “{passage.tokens[index].text}” taken for {meant}"
        for index, meant in passage.taken.items()
        if passage.tokens[index].text in words and _within(passage, passage.tokens[index], evidence)
    ]
    new = tuple(dict.fromkeys([*reasons, *more]))
    return fact.model_copy(update={"confirm": new}) if len(new) > len(reasons) else fact


def _within(passage: Passage, token: Token, evidence: Evidence) -> bool:
    """Whether a token was said where the evidence lies: by its time, else by its line."""
    segment, start = passage.transcript.segments[token.segment], passage.start_of(token)
    if segment.recording != evidence.recording:
        return False
    if start is None or evidence.start is None or evidence.end is None:
        return segment.line is None or evidence.line is None or segment.line >= evidence.line
    return evidence.start <= start <= evidence.end


def _swap(one: str, two: str) -> float:
    if one == two:
        return 0.0
    return HALF_ALIKE if any(one in group and two in group for group in ALIKE) else 1.0
