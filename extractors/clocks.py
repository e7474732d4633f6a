"""Reads clock times as they are said: "quarter past one", "ten to two", "half 4", "seven fifty", "8:25"."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.number_words import number_word
from extractors.passage import Passage, Span

PARTS = {"quarter": 15, "half": 30}
PAST, TO = frozenset(["past", "after"]), frozenset(["to", "till", "before", "of"])


@dataclass(frozen=True, slots=True)
class Clock:
    """A time of day. `hour` as said, 1 to 12 or up to 23; `half`: "am", "pm" or empty where it was not said."""

    span: Span
    hour: int
    minute: int
    half: str = ""

    @property
    def text(self) -> str:
        """As it is written: "1:15", "8:10 am"."""
        return f"{self.hour}:{self.minute:02d}{' ' + self.half if self.half else ''}"


def _number(passage: Passage, index: int) -> tuple[int, int] | None:
    """A whole number below sixty at a token, and where it ends: "twenty-five", "10"."""
    norm = passage.norm(index)
    if norm.isdigit() and len(norm) <= 2:
        return int(norm), index + 1
    word = number_word(norm)
    if word is None or norm in ("oh", "o", "nil", "null"):
        return None
    value, end = int(word), index + 1
    ones = number_word(passage.norm(end))
    if value in (20, 30, 40, 50) and ones is not None and 0 < int(ones) < 10 and passage.norm(end) not in ("oh", "o"):
        return value + int(ones), end + 1
    return value, end


def _hour(passage: Passage, index: int) -> tuple[int, int] | None:
    found = _number(passage, index)
    return found if found is not None and 1 <= found[0] <= 12 else None


def _half(passage: Passage, end: int) -> tuple[str, int]:
    """Morning or afternoon right after a time."""
    words = [passage.norm(end + k) for k in range(3)]
    if words[0] == ",":
        words = [passage.norm(end + 1 + k) for k in range(3)]
        end += 1 if words[:2] in (["in", "the"],) or words[0] in ("am", "pm") else 0
    if words[0] in ("am", "pm"):
        return words[0], end + 1
    if words[0] in ("a", "p") and words[1] in ("m", "."):
        return words[0] + "m", end + 2
    if words[0] in ("in", "this") and words[2 if words[0] == "in" else 1] in ("morning", "afternoon", "evening"):
        size = 3 if words[0] == "in" else 2
        return ("am" if words[size - 1] == "morning" else "pm"), end + size
    if words[0] == "sharp" or _oclock(passage, end):
        return _half(passage, _oclock(passage, end) or end + 1)
    return "", end


def clock_at(passage: Passage, index: int, *, bare: bool = False) -> Clock | None:
    """The clock time that begins at a token, or None. `bare`: a lone hour ("left at 4") is one too."""
    norm = passage.norm(index)
    if norm == "a" and passage.norm(index + 1) == "quarter":
        index, norm = index + 1, "quarter"
    if norm in ("noon", "midnight"):
        return Clock(Span(index, index + 1), 12, 0, "pm" if norm == "noon" else "am")
    if ":" in norm and norm[:1].isdigit():
        hours, minutes = norm.split(":")
        return _made(passage, index, index + 1, int(hours), int(minutes))
    if norm in PARTS:
        return _part(passage, index)
    first = _number(passage, index)
    if first is None:
        return None
    value, end = first
    step = end + 1 if passage.norm(end) in ("minutes", "minute") else end
    if passage.norm(step) in PAST | TO and value < 60:
        hour = _hour(passage, step + 1)
        if hour is not None and (passage.norm(step) in PAST or value in (5, 10, 15, 20, 25)):
            return _shifted(passage, index, hour, value, passage.norm(step) in PAST)
    if not 1 <= value <= 12 or (end - index > 1):
        return None
    minute = _minutes(passage, end)
    if minute is not None:
        return _made(passage, index, minute[1], value, minute[0])
    if passage.norm(end) in ("sharp", "am", "pm", "noon") or _oclock(passage, end) or bare:
        return _made(passage, index, end + (passage.norm(end) == "noon"), value, 0)
    return None


def _oclock(passage: Passage, end: int) -> int | None:
    """The end of "o'clock" at a token, however it was cut, or None."""
    if passage.norm(end) in ("o'clock", "oclock"):
        return end + 1
    if passage.norm(end) == "o" and passage.norm(end + 1) == "'" and passage.norm(end + 2) == "clock":
        return end + 3
    return None


def _minutes(passage: Passage, at: int) -> tuple[int, int] | None:
    """Minutes after an hour: "fifteen", "oh five", "thirty-five"."""
    if passage.norm(at) in ("oh", "o"):
        ones = number_word(passage.norm(at + 1))
        return (int(ones), at + 2) if ones is not None and 0 < int(ones) < 10 else None
    found = _number(passage, at)
    return found if found is not None and 10 <= found[0] < 60 else None


def _part(passage: Passage, index: int) -> Clock | None:
    """As in "quarter past one", "half past four", "half 4"."""
    part, after = PARTS[passage.norm(index)], passage.norm(index + 1)
    if after in PAST | TO:
        hour = _hour(passage, index + 2)
        return None if hour is None else _shifted(passage, index, hour, part, after in PAST)
    hour = _hour(passage, index + 1) if part == 30 else None
    return None if hour is None else _shifted(passage, index, hour, 30, True)


def _shifted(passage: Passage, start: int, hour: tuple[int, int], minutes: int, past: bool) -> Clock | None:
    value, end = hour
    if past:
        return _made(passage, start, end, value, minutes)
    return _made(passage, start, end, value - 1 if value > 1 else 12, 60 - minutes)


def _made(passage: Passage, start: int, end: int, hour: int, minute: int) -> Clock | None:
    if not (0 <= hour <= 23 and 0 <= minute < 60):
        return None
    half, end = _half(passage, end)
    return Clock(Span(start, end), hour, minute, half if hour <= 12 else "")
