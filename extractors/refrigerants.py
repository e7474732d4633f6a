"""Finds the refrigerant, however it is said, and gives its ASHRAE 34 designation."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from extractors.figures import unit_phrases
from extractors.lexicon import load_table
from extractors.number_words import number_word
from extractors.passage import Passage, Span
from extractors.phrases import Phrases

NEAR_PLATE = 60  # tokens: how far a plate's words reach
ENOUGH = 2.0


@dataclass(frozen=True, slots=True)
class Refrigerant:
    """One mention. `letter` is null where none was said; `weight` says how surely it is a refrigerant."""

    span: Span
    number: str
    letter: str | None
    weight: float
    because: str
    earlier: bool = False
    """It was in the machine once: "used to be 22"."""


@cache
def _cues() -> dict[str, Any]:
    return load_table("refrigerant_cues")


@cache
def _phrases() -> Phrases:
    cues = _cues()
    rows = [("before", p) for p in cues["before"]] + [("weak", p) for p in cues["weak"]]
    rows += [("after", p) for p in cues["after"]] + [("after_weak", p) for p in cues["after_weak"]]
    rows += [("not_now", p) for p in cues["not_now"]]
    for number, row in load_table("refrigerants").items():
        rows += [(f"number:{number}", p) for p in row.get("misheard", ())]
        rows += [(f"name:{number}", p) for p in row.get("names", ())]
    return Phrases(rows)


def designation(number: str, letter: str | None) -> str:
    """The ASHRAE 34 designation: R-404A. Where the letter was not said, that of the commonest member."""
    letters = load_table("refrigerants")[number]["letters"]
    return f"R-{number}{letters[0] if letter is None else letter}"


def _numbers(passage: Passage, start: int) -> Iterator[tuple[str, int]]:
    """Digit strings that begin at a token, each with its end: "four oh four", "4:48", "a hundred and thirty-four"."""
    text, index, tens = "", start, False
    while index < len(passage.tokens) and index - start < 6:
        if (
            index > start
            and passage.tokens[index].segment != passage.tokens[index - 1].segment
            and not passage.joined_lines
        ):
            return
        norm = passage.norm(index)
        if norm in ("hundred", "and") and text:
            if norm == "hundred" and len(text) == 1:
                text, tens = text + "00", False
                yield text, index + 1
            elif norm == "and" and not text.endswith("00"):
                return
            index += 1
            continue
        if norm == "a" and not text and passage.norm(index + 1) == "hundred":
            text, index = "100", index + 2
            continue
        digits = number_word(norm) or (norm.replace(":", "") if norm[:1].isdigit() else None)
        if digits is None or not digits.isdigit():
            return
        whole_hundred = len(text) == 3 and text.endswith("00") and passage.norm(index - 1) in ("hundred", "and")
        ones = tens and len(digits) == 1 and digits != "0" and not passage.tokens[index].is_digits
        if whole_hundred or ones:
            text = str(int(text) + int(digits))
        else:
            text += digits
        tens = digits in ("20", "30", "40", "50", "60", "70", "80", "90") and not passage.tokens[index].is_digits
        index += 1
        if len(text) > 4:
            return
        if not (
            tens
            and number_word(passage.norm(index)) not in (None, "0")
            and len(number_word(passage.norm(index)) or "00") == 1
        ):
            yield text, index


def _letter(passage: Passage, at: int, letters: list[str]) -> tuple[str, int] | None:
    """The letter after the number and where it ends."""
    if at >= len(passage.tokens):
        return None
    token = passage.tokens[at]
    step = at + 1 if token.norm == "-" else at
    said = _cues()["letters"].get(passage.norm(step), "")
    end = step + 1
    if passage.norm(step) in ("y", "z") and passage.norm(step + 1) in ("f", "e"):
        said, end = passage.norm(step) + passage.norm(step + 1), step + 2
    match = next((letter for letter in letters if letter and letter.lower() == said), None)
    if match is None:
        return None
    if passage.norm(step) == "a" and not token.joined and token.text != "A":
        after = passage.norm(end)
        own_line = end < len(passage.tokens) and passage.tokens[end].segment != token.segment
        if after.isalpha() and after not in _cues()["letter_before"] and not own_line:
            return None
    return match, end


def _is_number(passage: Passage, index: int) -> bool:
    """Whether a token is a number word or written with digits."""
    norm = passage.norm(index)
    return norm[:1].isdigit() or (number_word(norm) is not None and norm not in ("o", "nil", "null"))


class _Finder:
    """All mentions of one passage."""

    def __init__(self, passage: Passage) -> None:
        self.passage = passage
        self.table = load_table("refrigerants")
        self.units = {
            hit.span.start for hit in unit_phrases().find(passage, overlapping=True) if not hit.label.endswith("?")
        }
        self.mass = {
            hit.span.start
            for hit in unit_phrases().find(passage, overlapping=True)
            if hit.label in ("oz", "lb", "g", "kg")
        }
        self.ends: dict[int, set[str]] = {}
        self.starts: dict[int, set[str]] = {}
        self.named: list[tuple[str, Span, bool]] = []
        for hit in _phrases().find(passage, overlapping=True):
            kind, _, number = hit.label.partition(":")
            if number:
                self.named.append((number, hit.span, kind == "name"))
            self.ends.setdefault(hit.span.end, set()).add(kind)
            self.starts.setdefault(hit.span.start, set()).add(kind)
        plate_words = set(_cues()["plate"])
        self.plates = [i for i, norm in enumerate(passage.norms) if norm in plate_words]

    def _cue_before(self, start: int) -> set[str]:
        """Cues that end right before a token, over small words."""
        found: set[str] = set()
        index = start
        for _ in range(6):
            found |= self.ends.get(index, set())
            if index <= 0 or self.passage.norm(index - 1) not in _cues()["between"]:
                break
            index -= 1
        return found

    def _near_plate(self, start: int) -> bool:
        from bisect import bisect_right

        at = bisect_right(self.plates, start) - 1
        return at >= 0 and start - self.plates[at] <= NEAR_PLATE

    def _mass_follows(self, end: int) -> bool:
        """As in "404A, twenty-two ounces": the charge follows the refrigerant."""
        for index in range(end, min(end + 8, len(self.passage.tokens))):
            if index in self.mass:
                return index > end + 1
            norm = self.passage.norm(index)
            if not (
                norm
                in (
                    ",",
                    ".",
                    "on",
                    "it",
                    "in",
                    "and",
                    "a",
                    "half",
                    "quarter",
                    "quarters",
                    "point",
                    "it's",
                    "is",
                    "charge",
                    "with",
                    "uh",
                    "um",
                    "hundred",
                )
                or number_word(norm)
                or norm[:1].isdigit()
            ):
                return False
        return False

    def _charge_next(self, start: int, end: int) -> bool:
        """As in "two ninety, five and a half ounces": set apart by commas, and the very next is an amount in ounces."""
        norm = self.passage.norm
        return norm(start - 1) in (",", ".") and norm(end) == "," and self._mass_follows(end)

    def _one_breath(self, index: int) -> bool:
        """Whether a token goes on from the one before it."""
        if not 0 < index < len(self.passage.tokens):
            return False
        return self.passage.joined_lines or self.passage.tokens[index].segment == self.passage.tokens[index - 1].segment

    def _stands_alone(self, start: int) -> bool:
        """A known number as written that is no part of the number before it: "410A", "20B-4471 404"."""
        tokens = self.passage.tokens
        row = self.table.get(tokens[start].norm)
        if row is None or not row.get("plain"):
            return False
        touching = start + 1 < len(tokens) and tokens[start + 1].joined
        if touching and any(letter and letter.lower() == tokens[start + 1].norm for letter in row["letters"]):
            return True
        return len(tokens[start - 1].norm) >= 4 and not tokens[start].joined and not tokens[start].norm.startswith("0")

    def _alone(self, start: int, end: int) -> bool:
        """The clause or line holds the number and little else."""
        clause = self.passage.clause_span(start)
        rest = [self.passage.norm(i) for i in range(clause.start, clause.end) if not start <= i < end]
        return all(
            w in ("it's", "it", "is", "'s", "and", "so", "uh", "um", ",", ".", "r", "-", "the", "gas", "that's", "okay")
            for w in rest
        )

    def weigh(self, number: str, start: int, end: int, *, name: bool, misheard: bool) -> Refrigerant | None:
        """A candidate with what speaks for it, or None where it is a figure."""
        passage, row = self.passage, self.table[number]
        tail = None if name else _letter(passage, end, row["letters"])
        letter, stop = tail if tail else (None, end)
        r_at = start - 2 if passage.norm(start - 1) == "-" else start - 1
        lone_r = len(passage.norm(r_at - 1)) != 1 or not passage.norm(r_at - 1).isalpha() or not self._one_breath(r_at)
        prefixed = not name and start > 0 and passage.norm(r_at) == "r" and lone_r
        whole = prefixed and passage.norm(start) == number  # "R 32 2 pounds": written as one, so no digit follows
        if not name and not whole and _is_number(passage, end) and self._one_breath(end):
            return None
        halves = passage.norm(end) == "and" and {passage.norm(end + 1), passage.norm(end + 2)} & {
            "half",
            "quarter",
            "quarters",
        }
        if (
            not prefixed
            and tail is None
            and not misheard
            and (end in self.units or passage.norm(end) == "point" or halves)
        ):
            return None
        cues, after = self._cue_before(r_at if prefixed else start), self.starts.get(stop, set())
        plain = bool(row.get("plain")) or misheard
        weight, why = 0.0, []
        for holds, points, reason in (
            (prefixed, 3.0, "“R” before it"),
            (tail is not None and len(number) > 2, 2.0, "its letter after it"),
            ("before" in cues, 2.0, "a refrigerant is named before it"),
            ("weak" in cues, 1.0, "a word before it"),
            ("after" in after, 2.0, "a word after it"),
            ("after_weak" in after and plain, 1.0, "a word after it"),
            ((plain or name) and self._mass_follows(stop), 2.0, "a charge follows"),
            (
                not plain and len(number) > 2 and self._near_plate(start) and self._charge_next(start, stop),
                2.0,
                "a charge follows on the plate",
            ),
            (plain and self._near_plate(start) and self._alone(start, stop), 1.5, "alone beside the plate"),
            (
                plain and "weak" in cues and self._near_plate(start) and not passage.norm(stop)[:1].isalpha(),
                1.0,
                "beside the plate",
            ),
            (not name and passage.norm(start - 1) in _cues()["prefix"] and plain, 1.0, "“R” misheard before it"),
        ):
            if holds:
                weight += points
                why.append(reason)
        told = "a charge follows on the plate" in why
        if not plain and not prefixed and tail is None and not told and "before" not in cues and "after" not in after:
            weight = 0.0
        if misheard and not weight and passage.norm(start - 1) in _cues()["again"]:
            weight = ENOUGH  # nothing else is said like "the 4 or 4"
        begin = r_at if prefixed else start
        if not weight:
            return None
        return Refrigerant(Span(begin, stop), number, letter, weight, "; ".join(why), "not_now" in cues)

    def candidates(self) -> Iterator[Refrigerant]:
        """Every number that may be one, heaviest first at each place."""
        passage = self.passage
        spoken: dict[int, list[Refrigerant]] = {}
        for number, span, name in self.named:
            found = self.weigh(number, span.start, span.end, name=name, misheard=not name)
            if found:
                spoken.setdefault(span.start, []).append(found)
        for start in range(len(passage.tokens)):
            norm = passage.norm(start)
            if not (norm[:1].isdigit() or number_word(norm) or norm == "a"):
                continue
            if passage.norm(start - 1) == "-" and passage.norm(start - 2) not in ("r", ""):
                continue  # "PC-450A" is a model
            if _is_number(passage, start - 1) and self._one_breath(start) and not self._stands_alone(start):
                continue
            for text, end in _numbers(passage, start):
                if text in self.table:
                    found = self.weigh(text, start, end, name=False, misheard=False)
                    if found:
                        spoken.setdefault(start, []).append(found)
        for start in sorted(spoken):
            yield max(spoken[start], key=lambda r: (r.weight, r.span.end))


def refrigerants(passage: Passage) -> list[Refrigerant]:
    """All mentions that are surely refrigerants, in order, also those known only from a surer one. Linear."""
    finder = _Finder(passage)
    weighed = list(finder.candidates())
    known = {r.number for r in weighed if r.weight >= ENOUGH}
    found: list[Refrigerant] = []
    end = 0
    for one in weighed:
        if one.span.start < end:
            continue
        if one.weight < ENOUGH and not (one.number in known and len(one.number) > 2):
            continue
        found.append(one)
        end = one.span.end
    return _again(passage, finder, found, known) if known else found


def _again(passage: Passage, finder: _Finder, found: list[Refrigerant], known: set[str]) -> list[Refrigerant]:
    """Adds bare numbers of a known refrigerant: "the 404 is sitting at 30"."""
    taken = {i for r in found for i in range(r.span.start, r.span.end)}
    more = []
    for start in range(len(passage.tokens)):
        if start in taken or passage.norm(start - 1) not in _cues()["again"]:
            continue
        for text, end in _numbers(passage, start):
            if (
                text in known
                and len(text) > 2
                and end not in finder.units
                and passage.norm(end) not in ("point", "and")
            ):
                more.append(Refrigerant(Span(start, end), text, None, 0.0, "named before"))
                break
    return sorted([*found, *more], key=lambda r: r.span)


def chosen(found: list[Refrigerant]) -> tuple[Refrigerant, str, tuple[str, ...]] | None:
    """The job's refrigerant: (its first sure mention, designation, why to ask again); None where none was said."""
    sure = [r for r in found if r.weight >= ENOUGH]
    if not sure:
        return None
    totals: Counter[str] = Counter()
    for one in sure:
        totals[one.number] += round((2 if one.earlier else 10) * one.weight)
    number = max(totals, key=lambda n: (totals[n], -next(i for i, r in enumerate(sure) if r.number == n)))
    same = [r for r in sure if r.number == number]
    letters = Counter(r.letter for r in same if r.letter is not None)
    first = same[0]
    confirm: list[str] = []
    choices = load_table("refrigerants")[number]["letters"]
    letter = max(letters, key=lambda x: letters[x]) if letters else None
    if letter is None and len(choices) > 1:
        said = [f"R-{number}{x}" for x in choices]
        confirm.append(f"low confidence: the letter was not said: {', '.join(said[:-1])} or {said[-1]}")
    if len(letters) > 1:
        confirm.append("heard differently: " + " or ".join(f"R-{number}{x}" for x in letters))
    if letter is not None:
        first = replace(next(r for r in same if r.letter == letter))
    return first, designation(number, letter), tuple(confirm)
