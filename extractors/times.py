"""Clock times, dates and ages among the figures: why they are no readings, and the minutes that a time gives."""

from __future__ import annotations

from extractors.beside import Aside, Beside
from extractors.facts import UnplacedReason
from extractors.figure import Figure
from extractors.mentions import quantities_of

HOURS = {
    word: n
    for n, word in enumerate(
        ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"], 1
    )
} | {str(n): n for n in range(1, 13)}
_CLOCK_MINUTES = {
    "five": 5,
    "ten": 10,
    "twenty": 20,
    "twenty-five": 25,
    "5": 5,
    "10": 10,
    "15": 15,
    "20": 20,
    "25": 25,
    "fifteen": 15,
    "three": 3,
    "minutes": 0,
}


def _valid_clock(figure: Figure) -> bool:
    """A shape of hour and minutes: 100 to 1259 with minutes below 60."""
    if figure.value is None or figure.value != int(figure.value):
        return False
    hours, minutes = divmod(int(figure.value), 100)
    return 1 <= hours <= 12 and minutes < 60


def _minutes(figure: Figure) -> float | None:
    """Minutes after midnight of a clock-shaped figure, as said (morning or afternoon is not known)."""
    if figure.value is None:
        return None
    if figure.value <= 12:
        return figure.value * 60
    hours, minutes = divmod(int(figure.value), 100)
    return float(hours * 60 + minutes) if 0 <= hours <= 24 and minutes < 60 else None


def ordinal(by: Beside, figure: Figure) -> Aside | None:
    """Ordinals: a day of a month, or talk."""
    if figure.form == "ordinal":
        month = {by.beside(figure, k) for k in (-2, -1, 2)}
        if month & set(by.table["date"]["months"]):
            return Aside(UnplacedReason.CLOCK_OR_DATE, "a day of a month")
        return Aside(UnplacedReason.FIGURE_OF_SPEECH, "an ordinal")
    return None


def clock(by: Beside, figure: Figure) -> Aside | None:
    """Clock times: said with o'clock, quarter past and the like, or of a clock's shape after at, it's, by."""
    passage, number = by.passage, figure.number
    morning = "A" in figure.units and passage.norm(number.end) in ("am", "a")
    if figure.units and not morning and not set(figure.units) & {"h", "min"}:
        return None
    if by.starts(number.end, "clock_after") and not figure.units and figure.middle <= 2400:
        return Aside(UnplacedReason.CLOCK_OR_DATE, "a time of day is named after it", _minutes(figure))
    before, before2 = passage.norm(number.start - 1), passage.norm(number.start - 2)
    after = passage.norm(number.end)
    if (
        not figure.units
        and figure.value is not None
        and 1 <= figure.value <= 12
        and before in ("past", "after", "to", "till", "of", "before")
    ):
        lead = before2
        if lead in ("quarter", "half") or lead in _CLOCK_MINUTES:
            shift = {"quarter": 15.0, "half": 30.0}.get(lead, float(_CLOCK_MINUTES.get(lead, 0)))
            sign = -1 if before in ("to", "till", "of", "before") else 1
            return Aside(UnplacedReason.CLOCK_OR_DATE, f"“{lead} {before}” before it", figure.value * 60 + sign * shift)
    if after in ("past", "after", "to", "till") and not figure.units and figure.value in (5, 10, 15, 20, 25):
        nxt = passage.norm(number.end + 1)
        hour = HOURS.get(nxt)
        if hour is not None:
            return Aside(UnplacedReason.CLOCK_OR_DATE, "minutes to or past an hour")
    if figure.form == "clock" and not electrical(by, figure) and _valid_clock(figure):
        weak = before not in by.table["clock"]["before"]
        return Aside(UnplacedReason.CLOCK_OR_DATE, "written like a time of day", _minutes(figure), weak=weak)
    if figure.form in ("pair", "pair4", "spelled", "plain") and not figure.units and _valid_clock(figure):
        cue = before if before in by.table["clock"]["before"] else ""
        arrival = any(by.ends(number.start - k, "arrival") for k in (0, 1, 2))
        if arrival:
            return Aside(UnplacedReason.CLOCK_OR_DATE, "an arrival or a leaving is told", _minutes(figure))
        round_ = figure.middle % 5 == 0
        if cue in ("until", "till", "since", "by") and figure.middle >= 100:
            return Aside(UnplacedReason.CLOCK_OR_DATE, f"“{cue}” before it", _minutes(figure))
        if round_ or cue:
            return Aside(UnplacedReason.CLOCK_OR_DATE, "has the shape of a time of day", _minutes(figure), weak=True)
    whole = not figure.units and figure.value is not None and figure.value in range(1, 13)
    if whole and any(by.ends(number.start - k, "arrival") for k in (0, 1, 2)):
        return Aside(UnplacedReason.CLOCK_OR_DATE, "an arrival or a leaving is told", figure.middle * 60)
    return None


def electrical(by: Beside, figure: Figure) -> bool:
    """A figure that a recogniser wrote like a time beside electrical or pressure words is no time."""
    if figure.units:
        return True
    clause = by.passage.clause_span(figure.number.start)
    sentence = by.passage.sentence_span(figure.number.start)
    lowest = max(sentence.start, min(clause.start, figure.number.start - 12))
    near = [
        m for m in by.talk.mentions if lowest <= m.span.start and m.span.end <= max(clause.end, figure.number.end + 6)
    ]
    fits = {"voltage", "pressure", "current", "resistance", "speed"}
    if any(fits & set(quantities_of(m.subject)[:2]) for m in near):
        return True
    words = set(by.passage.norms[lowest : figure.number.end + 5])
    return bool(
        words & {"volts", "pounds", "psi", "amps", "rpm", "ohms", "reading", "drops", "sags", "pulling", "meter"}
    )


def date(by: Beside, figure: Figure) -> Aside | None:
    """Days of months, years, stretches of days."""
    passage, number = by.passage, figure.number
    beside = {by.beside(figure, k) for k in (-2, -1, 1, 2)}
    months = set(by.table["date"]["months"]) - {"may", "march"}
    if not figure.units and beside & months and figure.middle <= 2100:
        return Aside(UnplacedReason.CLOCK_OR_DATE, "a month beside it")
    if not figure.units and by.beside(figure, -1) in ("may", "march") and 1 <= figure.middle <= 31:
        return Aside(UnplacedReason.CLOCK_OR_DATE, "a month beside it")
    cues = set(by.table["date"]["year_cues"])
    if (
        not figure.units
        and figure.middle == int(figure.middle)
        and 1950 <= figure.middle <= 2040
        and figure.form in ("plain", "pair4", "range", "spelled", "decimal")
    ):
        near = {passage.norm(number.start - k) for k in (1, 2, 3, 4)}
        if near & cues and not near & {"watts", "psi", "microns"}:
            return Aside(UnplacedReason.CLOCK_OR_DATE, "a year")
    if set(figure.units) & {"d", "h"} or by.starts(number.end, "when_after"):
        if "h" in figure.units and not by.ends(number.start, "when_before"):
            return None
        if "h" in figure.units and passage.norm(number.start - 1) in ("in", "every", "about"):
            return None
        if "d" in figure.units or by.starts(number.end, "when_after"):
            if by.starts(number.end, "ago"):
                return None
            return Aside(UnplacedReason.CLOCK_OR_DATE, "a stretch of days or weeks", weak=False)
    return None


def age(by: Beside, figure: Figure) -> Aside | None:
    """So many years old, so many years ago."""
    if by.starts(figure.number.end, "ago"):
        return Aside(UnplacedReason.EARLIER_VISIT, "so long ago")
    if by.starts(figure.number.end, "age") and not set(figure.units) - {"d", "h"}:
        return Aside(UnplacedReason.AGE, "years are named after it")
    return None
