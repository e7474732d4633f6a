"""Number words and digits become numerals; the words stay as they are, and other ways to hear them are kept."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise, takewhile
from typing import Any

from extractors.lexicon import load_table
from extractors.number_atoms import MAX_RUN, Atom, first_atom, run_of
from extractors.passage import Passage, Span

SAID_AGAIN = 1.4  # for a figure that is said twice in one breath: "ninety-two ninety-two"
UNSURE_CUT = 0.35  # numbers side by side that another cut would read at so little more cost are asked
SPLIT_PENALTY = 0.3  # numbers side by side are of a like size: "four sixty-one four fifty-eight"


@dataclass(frozen=True, slots=True)
class Numeral:
    """A number as said. `form` tells how it was said, `also` what else the same words may mean.

    Forms: plain, pair (one eighteen), pair4 (fifteen fifty), spelled (one one five), dropped (twenty-three
    five), decimal, fraction, clock (1:18 as written), comma (12,5), money, ordinal, article (a hundred).
    """

    span: Span
    value: float
    form: str
    also: tuple[float, ...] = ()
    signed: bool = False
    pair: tuple[float, float] | None = None
    """Two numbers that the words may mean instead: "thirty-five five" is 35 and 5."""
    mended: bool = False
    """The words were understood otherwise than they were heard: "thirt nine", "two, oh eight"."""
    otherwise: tuple[float, ...] = ()
    """The numbers that these words and those beside them would be, cut elsewhere: 340 and 548 for 345 and 48."""


@dataclass(frozen=True, slots=True)
class _Reading:
    """One way to read atoms up to `end`."""

    end: int
    value: float
    form: str
    cost: float
    also: tuple[float, ...] = ()
    pair: tuple[float, float] | None = None


@cache
def _table() -> dict[str, Any]:
    return load_table("numbers")


def _digit(atom: Atom) -> bool:
    """A single digit, said or written."""
    return atom.kind in "DZ" or (atom.kind == "N" and len(atom.text) == 1)


def _two(atoms: list[Atom], at: int) -> list[tuple[int, float, bool]]:
    """Ways to read a number of 10 to 99, or "oh eight", at an atom: (end, value, written with digits)."""
    found: list[tuple[int, float, bool]] = []
    if at >= len(atoms):
        return found
    atom = atoms[at]
    if atom.kind == "T":
        found.append((at + 1, atom.value, False))
    elif atom.kind == "Y":
        found.append((at + 1, atom.value, False))
        if (
            at + 1 < len(atoms)
            and atoms[at + 1].kind in ("D", "N")
            and _digit(atoms[at + 1])
            and atoms[at + 1].value > 0
        ):
            found.append((at + 2, atom.value + atoms[at + 1].value, False))
    elif atom.kind == "N" and re.fullmatch(r"\d\d", atom.text):
        found.append((at + 1, atom.value, True))
    elif atom.kind == "Z" and at + 1 < len(atoms) and _digit(atoms[at + 1]):
        found.append((at + 2, atoms[at + 1].value, False))
    return found


def _cardinals(atoms: list[Atom], at: int) -> Iterator[_Reading]:
    """Whole numbers that begin at an atom."""
    first = atoms[at]
    size = len(atoms)
    if first.kind == "N":
        form = "comma" if re.fullmatch(r"\d+,\d{1,2}", first.text) else "plain"
        form = "decimal" if "." in first.text else form
        yield _Reading(at + 1, first.value, form, 1.0)
        if (
            len(first.text) == 2
            and first.text.isdigit()
            and at + 1 < size
            and _digit(atoms[at + 1])
            and not (at + 2 < size and _digit(atoms[at + 2]))
        ):
            tail = atoms[at + 1].value
            yield _Reading(
                at + 2, first.value + tail / 10, "dropped", 1.5, (first.value * 10 + tail,), (first.value, tail)
            )
        more = atoms[at + 2] if at + 2 < size and atoms[at + 1].kind == "A" else None
        hundreds = first.kind == "N" and first.value in range(100, 1000, 100)
        if more is not None and hundreds and more.kind in "DN" and 0 < more.value < 10:
            yield _Reading(at + 3, first.value + more.value, "joined", 1.6)
    if first.kind == "C":
        hours, minutes = first.text.split(":")
        # 1:18 may be 118, 1.18, or a minute and eighteen seconds
        span = round(int(hours) + int(minutes) / 60, 6)
        yield _Reading(at + 1, first.value, "clock", 1.0, (float(f"{hours}.{minutes}"), span))
    if first.kind in "DZ" or _digit(first):
        if first.kind != "N":
            yield _Reading(at + 1, first.value, "plain", 1.0)
        if first.value > 0:
            for end, value, written in _two(atoms, at + 1):
                penalty = 0.25 if written else 0.0
                yield _Reading(end, first.value * 100 + value, "pair", 1.05 + penalty)
                if end < size and atoms[end].kind == "D" and value >= 10:
                    tail = atoms[end].value
                    yield _Reading(
                        end + 1,
                        first.value * 100 + value + tail / 10,
                        "dropped",
                        1.6,
                        ((first.value * 100 + value) * 10 + tail,),
                    )
        end = at
        while end < size and _digit(atoms[end]):
            end += 1
        if [atom.text for atom in atoms[at + 1 : at + 5 : 3]] == ["oh", "oh"]:
            end = min(end, at + 3)  # "two oh six two oh nine": two legs, no number of six digits
        for stop in range(at + 2, end + 1):
            digits = "".join(str(int(atom.value)) for atom in atoms[at:stop])
            if stop - at == 2:
                if first.value > 0:
                    dotted = float(f"{digits[0]}.{digits[1]}")
                    yield _Reading(stop, dotted, "dropped", 1.3, (float(digits),), (first.value, atoms[at + 1].value))
            else:
                yield _Reading(stop, float(digits), "spelled", 1.0, (float(f"{digits[:-1]}.{digits[-1]}"),))
    for end, value, _ in _two(atoms, at) if first.kind in "TY" else []:
        yield _Reading(end, value, "plain", 1.0)
        for end2, value2, _ in _two(atoms, end):
            four = value <= _table()["four_figures"]["up_to"] or atoms[end2 - 1].large
            yield _Reading(end2, value * 100 + value2, "pair4", 1.3 if four else 2.4, (), (value, value2))
        if end < size and atoms[end].kind == "D" and (value < 20 or value % 10):
            tail = atoms[end].value
            yield _Reading(end + 1, value + tail / 10, "dropped", 1.25, (value * 10 + tail,), (value, tail))
    yield from _grammatical(atoms, at)


def _grammatical(atoms: list[Atom], at: int) -> Iterator[_Reading]:
    """Numbers with hundred and thousand, as grammar has them."""
    position, total, current, power_seen, form = at, 0.0, 0.0, False, "plain"
    limit = math.inf
    if atoms[at].kind == "a":
        if at + 1 >= len(atoms) or atoms[at + 1].kind not in "HK":
            return
        current, position, form = 1.0, at + 1, "article"
    elif atoms[at].kind == "H":
        current, form = 1.0, "article"
    while position < len(atoms):
        atom = atoms[position]
        if atom.kind == "H":
            if current <= 0 or current > 99:
                return
            current *= 100
            power_seen, limit = True, 100
            position += 1
        elif atom.kind == "K":
            if current <= 0:
                return
            total += current * atom.value
            current, power_seen, limit = 0.0, True, 1000
            position += 1
        else:
            step = position
            if atom.kind == "A" and power_seen:
                step += 1
            if step >= len(atoms):
                break
            options = [(end, value) for end, value, _ in _two(atoms, step)]
            if _digit(atoms[step]) and atoms[step].kind != "Z":
                options.append((step + 1, atoms[step].value))
            if atoms[step].kind == "N" and not options and position == at:
                options.append((step + 1, atoms[step].value))
            options = [o for o in options if o[1] < limit]
            if not options or (position > at and not power_seen):
                break
            end, value = max(options)
            # "five thousand two hundred" takes the two as hundreds, "one hundred five" as ones
            current += value
            limit = 0.5 if end >= len(atoms) or atoms[end].kind not in "HK" else limit
            position = end
        if power_seen:
            yield _Reading(position, total + current, form, 1.0)


def _after(atoms: list[Atom], whole: _Reading) -> Iterator[_Reading]:
    """A whole number with the decimals or the fraction that follow it."""
    yield whole
    size = len(atoms)
    end = whole.end
    if end < size and atoms[end].kind == "P" and whole.form not in ("decimal", "comma", "clock"):
        yield from _decimals(atoms, end, whole.value, whole.cost)
    if end < size and atoms[end].kind == "F" and atoms[end].value <= 0.1 and whole.form == "plain":
        yield _Reading(end + 1, whole.value * atoms[end].value, "fraction", whole.cost)
    if end < size and atoms[end].kind == "K" and whole.form == "pair":
        yield replace(whole, end=end + 1, value=whole.value * atoms[end].value, also=())
    if end < size and whole.form != "fraction":
        joint = end + 1 if atoms[end].kind == "A" else end
        if joint < size and atoms[joint].kind == "F" and (joint > end or atoms[joint].text == "/"):
            yield _Reading(joint + 1, whole.value + atoms[joint].value, "fraction", whole.cost)
        if joint > end and joint + 1 < size and atoms[joint + 1].kind == "F" and atoms[joint].kind in "aDN":
            times = 1.0 if atoms[joint].kind == "a" else atoms[joint].value
            yield _Reading(joint + 2, whole.value + times * atoms[joint + 1].value, "fraction", whole.cost)


def _decimals(atoms: list[Atom], point: int, base: float, cost: float) -> Iterator[_Reading]:
    """Decimals after the word "point"."""
    digits, at = "", point + 1
    while at < len(atoms) and len(digits) < 4:
        atom = atoms[at]
        if _digit(atom):
            digits += str(int(atom.value))
            at += 1
        elif not digits and atom.kind in "TY":
            end, value, _ = max(_two(atoms, at))
            digits, at = str(int(value)), end
            if digits.endswith("0"):
                yield _Reading(at, base + float(f"0.{digits}"), "decimal", cost)
                return
        elif not digits and atom.kind == "N" and atom.text.isdigit():
            digits, at = atom.text, at + 1
        else:
            break
        yield _Reading(at, base + float(f"0.{digits}"), "decimal", cost)


def _readings(atoms: list[Atom], at: int) -> Iterator[_Reading]:
    """All ways to read one number that begins at an atom."""
    first = atoms[at]
    if first.kind == "S":
        if at + 1 < len(atoms) and atoms[at + 1].kind != "S":
            for reading in _readings(atoms, at + 1):
                yield replace(
                    reading,
                    value=reading.value * first.value,
                    also=tuple(v * first.value for v in reading.also),
                    cost=reading.cost - 0.01,
                )
        return
    if first.kind == "P":
        yield from _decimals(atoms, at, 0.0, 1.0)
        return
    if first.kind == "F":
        yield _Reading(at + 1, first.value, "fraction", 1.0)
        return
    if first.kind == "O":
        yield _Reading(at + 1, first.value, "ordinal", 1.0)
        return
    if first.kind in "aH":
        if at + 1 < len(atoms) and atoms[at + 1].kind == "F":
            yield _Reading(at + 2, atoms[at + 1].value, "fraction", 1.0)
        for whole in _grammatical(atoms, at):
            yield from _after(atoms, whole)
        return
    for whole in _cardinals(atoms, at):
        yield from _after(atoms, whole)
    if _digit(first) and at + 1 < len(atoms) and atoms[at + 1].kind == "F":
        yield _Reading(at + 2, first.value * atoms[at + 1].value, "fraction", 1.0)


def _cut(atoms: list[Atom], barred: int = 0) -> tuple[float, list[tuple[int, _Reading]]]:
    """The cheapest way to read a run of atoms as numbers: its cost and (first atom, reading) each.

    `barred`: no cut before this atom.
    """
    size = len(atoms)
    best: list[tuple[float, float | None, list[tuple[int, _Reading]]] | None] = [None] * (size + 1)
    best[0] = (0.0, None, [])
    for at in range(size):
        state = best[at] if at != barred or at == 0 else None
        if state is None:
            continue
        cost, before, path = state
        skip = 0.0 if atoms[at].kind in "AaO" else 1.0 if atoms[at].kind == "S" else 1.6
        options: list[tuple[int, float, float | None, list[tuple[int, _Reading]]]] = [
            (at + 1, cost + skip, None if skip else before, path)
        ]
        for reading in _readings(atoms, at):
            apart = 0.0
            if before and reading.value and path and path[-1][1].end == at:
                apart = SPLIT_PENALTY * abs(math.log10(abs(before) / abs(reading.value)))
                apart -= SAID_AGAIN if _again(path[-1][1], reading) else 0.0
            options.append((reading.end, cost + reading.cost + apart, reading.value or None, [*path, (at, reading)]))
        for end, price, last, route in options:
            known = best[end]
            if known is None or price < known[0] - 1e-9:
                best[end] = (price, last, route)
    final = best[size]
    return (final[0], final[2]) if final else (math.inf, [])


def _otherwise(atoms: list[Atom], cost: float, path: list[tuple[int, _Reading]]) -> dict[int, tuple[float, ...]]:
    """For the first atoms of numbers side by side that could nearly as well be cut otherwise: those other numbers."""
    found: dict[int, tuple[float, ...]] = {}
    for (at, one), (again, two) in pairwise(path):
        if one.end != again or one.value == two.value:
            continue
        price, other = _cut(atoms, barred=again)
        values = tuple(reading.value for start, reading in other if at <= start < two.end)
        if price - cost < UNSURE_CUT and {one.value, two.value}.isdisjoint(values[:1]):
            found[at] = found[again] = values
    return found


def _again(before: _Reading, reading: _Reading) -> bool:
    """Whether a figure is the one before once more. Digits one by one may make a longer number of themselves."""
    value = reading.value
    if value == 20 or (value < 10 and value == int(value)) or before.form == "spelled":
        return False
    return value == before.value or (value in before.also and before.form == "dropped")


def _is_pronoun(passage: Passage, index: int) -> bool:
    """Whether a lone "one" stands for a thing: "the left one", "one of those"."""
    words = _table()["pronoun_one"]
    before, after = passage.norm(index - 1), passage.norm(index + 1)
    return before in words["before"] or after in words["after"]


def numerals(passage: Passage, skip: frozenset[int] = frozenset()) -> list[Numeral]:
    """All numerals of a passage, in order, none overlapping, outside the tokens to skip. Linear in its length."""
    found: list[Numeral] = []
    index = 0
    while index < len(passage.tokens):
        atom = None if index in skip else first_atom(passage, index)
        if (
            atom is None
            or atom.kind in "AK"
            or (
                atom.kind == "Z" and atom.text in ("oh", "o", "owe") and passage.norm(index + 1) not in ("point", "dot")
            )
        ):
            index += 1
            continue
        if passage.norm(index) == "one" and passage.norm(index - 1) in _table()["pronoun_one"]["thing"]:
            index += 1
            continue
        atoms = list(takewhile(lambda a: a.token not in skip, run_of(passage, index)))
        part_of_hour = passage.norm(index - 2) in ("half", "quarter")
        if part_of_hour and passage.norm(index - 1) in ("past", "to", "till", "after", "of"):
            atoms = atoms[:1]  # "half past six, sixty-one"
        cost, path = _cut(atoms)
        otherwise = _otherwise(atoms, cost, path)
        consumed = index + 1
        for at, reading in path:
            start = atoms[at].token
            last = atoms[reading.end - 1]
            span = Span(start, last.token + last.width)
            if len(atoms) == MAX_RUN and reading.end == MAX_RUN and at > 0:
                break  # the run goes on beyond what was looked at: begin again here
            consumed = max(consumed, span.end)
            lone = reading.form == "plain" and span.end - span.start == 1 and passage.norm(start) == "one"
            if lone and _is_pronoun(passage, start):
                continue
            form = reading.form
            if passage.norm(span.start - 1) == "$":
                form = "money"
            value, also = reading.value, reading.also
            signed = atoms[at].kind == "S" and atoms[at].value < 0
            if (
                passage.norm(span.start - 1) in ("-", "−", "–")
                and passage.tokens[span.start].joined
                and not passage.tokens[span.start - 1].joined
                and passage.tokens[span.start].is_digits
            ):
                span = Span(span.start - 1, span.end)
                value, also, signed = -value, tuple(-v for v in also), True
            value = round(value, 9)
            mended = any(atom.mended for atom in atoms[at : reading.end]) or form == "joined"
            found.append(Numeral(span, value, form, also, signed, reading.pair, mended, otherwise.get(at, ())))
        if not path:
            consumed = index + max(1, sum(a.width for a in atoms[:1]))
        index = max(consumed, index + 1)
    return found
