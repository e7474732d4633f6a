"""Figures as they stand on paper: digits, units, ranges, and the spaces that align them on the decimal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from extractors.facts import Alternative, Qualifier, Reading, Role
from extractors.units import convert
from pipeline.words import Words

MINUS = "\u2212"
FIGURE_SPACE = "\u2007"
POINT_SPACE = "\u2008"
THIN = "\u202f"

US_TO_SI = {
    "degF": "degC",
    "delta_degF": "delta_degC",
    "psig": "kPa",
    "inHg": "kPa",
    "inWC": "Pa",
    "micron": "Pa",
    "lb": "kg",
    "oz": "g",
    "cfm": "L/s",
    "gpm": "L/s",
    "gal": "L",
    "ft": "m",
    "in": "mm",
    "BTU/h": "kW",
    "hp": "kW",
    "ton": "kW",
}
SI_TO_US = {
    "degC": "degF",
    "delta_degC": "delta_degF",
    "kPa": "psig",
    "bar": "psig",
    "Pa": "inWC",
    "mbar": "inWC",
    "kg": "lb",
    "g": "oz",
    "L/s": "cfm",
    "L": "gal",
    "m": "ft",
    "mm": "in",
    "cm": "in",
}
FINENESS = 2.2
"""A converted figure may be so much finer than one step of what was said: 9.5 lb is 4.31 kg, 400 cfm is 189 L/s."""
SIGNS = {Qualifier.APPROXIMATE: "≈", Qualifier.AT_LEAST: "≥", Qualifier.AT_MOST: "≤"}


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure ready to print: the digits (with sign or range), the unit, and the two together."""

    digits: str
    unit: str

    @property
    def text(self) -> str:
        """Digits and unit with a space that does not break; no space before the percent sign in English."""
        return f"{self.digits}\u00a0{self.unit}" if self.unit else self.digits


def exactly(value: float) -> Decimal:
    """A value as the decimal that was meant: nobody says more than ten figures, what is beyond comes of arithmetic."""
    return Decimal(f"{value:.10g}")


def digits(value: float, words: Words, places: int | None = None) -> str:
    """A number as it is printed: shortest exact form, or with `places` decimals; a true minus sign."""
    exact = exactly(value)
    if places is not None:
        exact = exact.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    elif exact == exact.to_integral_value():
        exact = exact.quantize(Decimal(1))
    sign, text = ("-", f"{-exact:f}") if exact < 0 else ("", f"{exact:f}")
    whole, _, part = text.partition(".")
    if len(whole) > 4:
        thousands = words("language.thousands")
        groups = [whole[max(0, end - 3) : end] for end in range(len(whole), 0, -3)]
        whole = thousands.join(reversed(groups))
    minus = MINUS if sign and (whole.strip("0") or part.strip("0")) else ""
    return f"{minus}{whole}{words('language.decimal')}{part}" if part else f"{minus}{whole}"


def places_of(value: float) -> int:
    """Decimals of the shortest exact form; 0 for whole numbers."""
    exponent = exactly(value).normalize().as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def unit_text(unit: str | None, words: Words) -> str:
    """A unit as it is set; empty for a count."""
    return words(f"unit.{unit}") if unit else ""


def figure(
    value: float | None, low: float | None, high: float | None, unit: str | None, words: Words, sign: str = ""
) -> Figure:
    """A figure or range in its own unit; a dash where there is neither."""
    if value is not None:
        text = digits(value, words)
    elif low is not None and high is not None:
        text = f"{digits(low, words)}–{digits(high, words)}" if low >= 0 else between(low, high, words)
    elif low is not None:
        text = f"≥{THIN}{digits(low, words)}"
    elif high is not None:
        text = f"≤{THIN}{digits(high, words)}"
    else:
        return Figure("–", "")
    return Figure(f"{sign}{THIN}{text}" if sign else text, unit_text(unit, words))


def between(low: float, high: float, words: Words) -> str:
    """A range whose ends may be negative, in words, so that no dash is read as a minus."""
    return words("phrase.between", low=digits(low, words), high=digits(high, words))


def converted(value: float, unit: str, system: str) -> tuple[float, str, int] | None:
    """A value in the other system with its unit and decimals, or None when it needs no conversion.

    Keeps the fineness of what was said: 41 °F is 5 °C and not 5.00 °C.
    """
    target = (US_TO_SI if system == "SI" else SI_TO_US).get(unit)
    if target is None:
        return None
    result = convert(value, unit, target)
    step = abs(convert(value + 10.0 ** -places_of(value), unit, target) - result)
    places = 0
    while places < 4 and 10.0**-places > step * FINENESS:
        places += 1
    return result, target, places


def shown(reading: Reading | Alternative, words: Words, units_shown: str = "said") -> Figure:
    """A reading's figure in the units that the shop shows; with `both`, the other system in brackets."""
    sign = ""
    if isinstance(reading, Reading):
        sign = next((SIGNS[mark] for mark in reading.qualifiers if mark in SIGNS), "")
    said = figure(reading.value, reading.low, reading.high, reading.unit, words, sign)
    if units_shown == "said" or reading.unit is None:
        return said
    systems = ("US", "SI") if units_shown == "both" else (units_shown,)
    for system in systems:
        other = _other(reading, reading.unit, system, words, sign)
        if other is not None:
            if units_shown == "both":
                return Figure(said.digits, f"{said.unit} ({other.text})")
            return other
    return said


def _other(reading: Reading | Alternative, unit: str, system: str, words: Words, sign: str) -> Figure | None:
    """The figure in the other system, or None where the unit belongs to both."""
    ends = [end for end in (reading.value, reading.low, reading.high) if end is not None]
    results = [converted(end, unit, system) for end in ends]
    found = [result for result in results if result is not None]
    if not found or len(found) != len(ends):
        return None
    target, places = found[0][1], max(result[2] for result in found)
    texts = [digits(result[0], words, places) for result in found]
    if len(texts) == 1:
        text = texts[0]
    elif found[0][0] < 0:
        text = words("phrase.between", low=texts[0], high=texts[1])
    else:
        text = "–".join(texts)
    return Figure(f"{sign}{THIN}{text}" if sign else text, unit_text(target, words))


def aligned(texts: list[str], words: Words) -> list[str]:
    """The texts with spaces of figure width behind them, so that right-aligned they stand on the decimal."""
    point = words("language.decimal")

    def after(text: str) -> int:
        """Decimals of the last number; -1 where it has no point."""
        tail = text[-1:].isdigit() and text.rpartition(point)
        return len(tail[2]) if tail and tail[1] and tail[2].isdigit() else -1

    most = max((after(text) for text in texts), default=-1)
    if most < 0:
        return list(texts)
    padded = []
    for text in texts:
        have = after(text)
        if not text[-1:].isdigit():
            padded.append(text)
        elif have < 0:
            padded.append(text + POINT_SPACE + FIGURE_SPACE * most)
        else:
            padded.append(text + FIGURE_SPACE * (most - have))
    return padded


def judged(rule: str, readings: Sequence[Reading]) -> Reading | None:
    """The one of a check's readings on which its verdict falls; None where it falls on all of them together.

    That is the only measured figure among them, or the one that the rule is about: superheat that was said and is
    reckoned again from a pressure and a temperature.
    """
    measured = [one for one in readings if one.role is Role.MEASURED]
    if len(measured) == 1:
        return measured[0]
    return next((one for one in measured if one.subject.replace(" ", "-") == rule), None)


def clock(seconds: float) -> str:
    """A place in a recording: `4:12`, `1:04:12`."""
    whole = int(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{secs:02d}" if hours else f"{minutes}:{secs:02d}"
