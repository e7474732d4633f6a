"""How figures, units, places and times are written in a message."""

from __future__ import annotations

from extractors.facts import Evidence, Qualifier, Reading

SYMBOLS = {
    "ohm": "Ω", "kohm": "kΩ", "Mohm": "MΩ", "uF": "µF", "uA": "µA",
    "degF": "°F", "degC": "°C", "delta_degF": "°F", "delta_degC": "°C",
    "inHg": "in. Hg", "inWC": "in. w.c.", "micron": "microns", "%": "%", "d": "days", "BTU/h": "BTU/h",
    "gal": "gal", "in": "in.", "L/s": "L/s",
}  # fmt: skip
"""Where a unit of the data is written otherwise in a sentence."""
SIGNIFICANT = 3


def figure(value: float) -> str:
    """A computed figure with three significant digits: 5.48, 120, 25,900; zeros at the end are dropped."""
    if value == 0:
        return "0"
    rounded = float(f"{value:.{SIGNIFICANT}g}")
    if abs(rounded) >= 1e9:
        return f"{rounded:.3g}"
    text = f"{rounded:,.6f}".rstrip("0").rstrip(".")
    return text.replace("-", "−") if text not in ("-0", "") else "0"


def plain(value: float) -> str:
    """A figure as it was said, without zeros that nobody said."""
    text = f"{value:,.6f}".rstrip("0").rstrip(".") if abs(value) < 1e9 else f"{value:g}"
    return ("0" if text == "-0" else text).replace("-", "−")


def with_unit(text: str, unit: str | None) -> str:
    """The figure and its unit; none for a plain ratio."""
    return f"{text} {SYMBOLS.get(unit, unit)}" if unit else text


def amount(value: float, unit: str | None) -> str:
    """A computed figure and its unit: `14.8 °F`."""
    return with_unit(figure(value), unit)


def said(reading: Reading) -> str:
    """A reading's figure as it was said: `31.8 µF`, `116 to 117 V`, `about 21 A`, `over 200 MΩ`."""
    if reading.value is not None:
        text = plain(reading.value)
    elif reading.low is not None and reading.high is not None:
        text = f"{plain(reading.low)} to {plain(reading.high)}"
    else:
        text = plain(reading.low if reading.low is not None else reading.high or 0.0)
    text = with_unit(text, reading.unit)
    if Qualifier.NEGATIVE_IS_VACUUM in reading.qualifiers:
        text += " of vacuum"
    if Qualifier.AT_LEAST in reading.qualifiers:
        return f"at least {text}"
    if Qualifier.AT_MOST in reading.qualifiers:
        return f"at most {text}"
    if Qualifier.APPROXIMATE in reading.qualifiers:
        return f"about {text}"
    return text


def named(reading: Reading) -> str:
    """What a reading is about, with its place: `run capacitor (left)`, `L1–L2`."""
    subject = reading.subject.replace("L1-L2", "L1–L2").replace("L2-L3", "L2–L3").replace("L1-L3", "L1–L3")
    place = (reading.place or "").strip()
    return f"{subject} ({place})" if place and place.casefold() not in subject.casefold() else subject


def opening(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


def when(evidence: Evidence) -> str:
    """When something was said: `said at 4:12`, `said in line 7`; empty when nobody knows."""
    if evidence.start is not None:
        seconds = int(evidence.start)
        hours, minutes = seconds // 3600, seconds // 60 % 60
        clock = f"{hours}:{minutes:02d}:{seconds % 60:02d}" if hours else f"{minutes}:{seconds % 60:02d}"
        where = f", recording {evidence.recording + 1}" if evidence.recording else ""
        return f"said at {clock}{where}"
    if evidence.line is not None:
        return f"said in line {evidence.line}"
    return ""


def joined(words: list[str], last: str = "and") -> str:
    """`a, b and c`."""
    return f"{', '.join(words[:-1])} {last} {words[-1]}" if len(words) > 1 else "".join(words)
