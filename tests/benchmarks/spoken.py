"""Written figures turned into what a technician says: 118 is "one eighteen", 0.65 "point six five"."""

from __future__ import annotations

import random
import re

LOW = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
ONES = f"{LOW} sixteen seventeen eighteen nineteen".split(" ")
TENS = ["x", "x", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
FRACTIONS = {"1/2": "a half", "1/4": "a quarter", "3/4": "three quarters", "1/8": "one eighth"}


def _two(number: int) -> str:
    if number < 20:
        return ONES[number]
    return TENS[number // 10] + (f" {ONES[number % 10]}" if number % 10 else "")


def _whole(number: int, rng: random.Random) -> str:
    if number < 100:
        return _two(number)
    upper, rest = divmod(number, 100)
    if number < 1000:
        if rest == 0:
            return f"{ONES[upper]} hundred"
        if rest < 10:
            return f"{ONES[upper]} {'oh' if rng.random() < 0.8 else 'hundred and'} {ONES[rest]}"
        if rng.random() < 0.75:
            return f"{ONES[upper]} {_two(rest)}"
        return f"{ONES[upper]} hundred {'and ' if rng.random() < 0.4 else ''}{_two(rest)}"
    if number < 10_000:
        if number % 1000 == 0:
            return f"{ONES[number // 1000]} thousand"
        if rest == 0:
            return f"{_two(upper)} hundred"
        if upper % 10 == 0:
            return f"{ONES[number // 1000]} thousand {_whole(rest, rng)}"
        return f"{_two(upper)} {_two(rest) if rest > 9 else 'oh ' + ONES[rest]}"
    upper, rest = divmod(number, 1000)
    return f"{_whole(upper, rng)} thousand {_whole(rest, rng) if rest else ''}".strip()


def _digits(text: str) -> str:
    return " ".join("oh" if digit == "0" else ONES[int(digit)] for digit in text)


def figure(text: str, rng: random.Random) -> str:
    """A written figure in words, in one of the ways in which people say it."""
    text = text.replace(",", "")
    if "." in text:
        upper, lower = text.split(".", 1)
        lead = "zero " if upper == "0" and rng.random() < 0.25 else ""
        lead = f"{_whole(int(upper), rng)} " if upper not in ("", "0") else lead
        return f"{lead}point {_digits(lower)}"
    if len(text) > 6 or (len(text) > 1 and text.startswith("0")):
        return _digits(text)
    return _whole(int(text), rng)


def _clock(hours: str, minutes: str) -> str:
    if minutes == "00":
        return f"{_two(int(hours))} o'clock"
    return f"{_two(int(hours))} {'oh ' + ONES[int(minutes)] if minutes[0] == '0' else _two(int(minutes))}"


def spoken(line: str, rng: random.Random) -> str:
    """A line of a narration as a voice should read it; a time in brackets at its start is left out."""
    line = re.sub(r"^\[[\d:]+\]\s*", "", line)
    line = re.sub(r"\bR-?(4\d\d|\d{2,3})([A-Za-z]?)\b", lambda m: f"R {figure(m[1], rng)} {m[2].upper()}".strip(), line)
    line = re.sub(r"\b(\d{1,2}):(\d\d)\b", lambda m: _clock(m[1], m[2]), line)
    line = re.sub(
        r"\b(\d+)/(\d+)\b",
        lambda m: FRACTIONS.get(m[0]) or f"{figure(m[1], rng)} over {figure(m[2], rng)}",
        line,
    )
    line = re.sub(
        r"\b(?=[A-Z0-9-]*\d)(?=[A-Z0-9-]*[A-Z])[A-Z0-9]+(?:-[A-Z0-9]+)*\b",
        lambda m: " ".join(ONES[int(c)] if c.isdigit() else "dash" if c == "-" else c for c in m[0]),
        line,
    )
    line = re.sub(r"\d[\d,]*\.\d+|\.\d+|\d[\d,]*\d|\d", lambda m: figure(m[0], rng), line)
    return " ".join(line.replace("%", " percent").replace("°", " degrees").split())
