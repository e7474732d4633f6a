"""Tells which figures are no reading of the job, and why: names, clock times, counts, money, other visits, other people."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from extractors.facts import UnplacedReason
from extractors.figures import Figure
from extractors.lexicon import load_table
from extractors.numerals import Numeral
from extractors.passage import Passage, Span
from extractors.phrases import Hit, Phrases
from extractors.talk import Talk


@dataclass(frozen=True, slots=True)
class Aside:
    """Why a figure is no reading. `minutes`: minutes after midnight, for a clock time."""

    reason: UnplacedReason
    because: str
    minutes: float | None = None
    weak: bool = False
    """Another reading of the words is reasonable: a fitting subject wins over it."""


@cache
def _cues() -> Phrases:
    table = load_table("asides")
    rows = [("earlier", p) for p in table["earlier"]["sentence"]]
    rows += [("earlier_end", p) for p in table["earlier"]["ends"]]
    rows += [("others", p) for p in table["others"]["sentence"]]
    rows += [("others_end", p) for p in table["others"]["ends"]]
    rows += [("not_this_job", p) for p in table["not_this_job"]["sentence"]]
    rows += [("id", p) for p in table["identifier"]["before"]]
    rows += [("street", p) for p in table["address"]["after"]]
    rows += [("clock_after", p) for p in table["clock"]["after"]]
    rows += [("arrival", p) for p in table["clock"]["arrival"]]
    rows += [("age", p) for p in table["age"]["after"]]
    rows += [("ago", p) for p in table["age"]["earlier"]]
    rows += [("money_after", p) for p in table["money"]["after"]]
    rows += [("money_before", p) for p in table["money"]["before"]]
    rows += [("per", p) for p in table["count"]["per"]]
    rows += [("when_after", p) for p in table["date"]["when_after"]]
    rows += [("when_before", p) for p in table["date"]["when_before"]]
    rows += [("speech", p) for p in load_table("figures")["speech"]["say"]]
    return Phrases(rows)


class Asides:
    """Judges the figures of one talk."""

    def __init__(self, talk: Talk) -> None:
        """Looks up all cue words once."""
        self.talk = talk
        self.passage: Passage = talk.passage
        self.starts: dict[int, list[Hit]] = {}
        self.ends: dict[int, list[Hit]] = {}
        self.by_label: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self.starts.setdefault(hit.span.start, []).append(hit)
            self.ends.setdefault(hit.span.end, []).append(hit)
            self.by_label.setdefault(hit.label, []).append(hit)
        self.table = load_table("asides")
        self.scopes = {
            UnplacedReason.EARLIER_VISIT: self._scopes("earlier", "earlier_end"),
            UnplacedReason.SAID_BY_OTHERS: self._scopes("others", "others_end"),
            UnplacedReason.NOT_THIS_JOB: self._scopes("not_this_job", "others_end"),
        }
        self.speech = [hit.span for hit in self.by_label.get("speech", [])]

    def _scopes(self, label: str, ends: str) -> list[tuple[Span, str]]:
        """From a cue's clause start to the end of its sentence, or to a word that turns back to the job."""
        found = []
        for hit in self.by_label.get(label, []):
            sentence = self.passage.sentence_span(hit.span.start)
            clause = self.passage.clause_span(hit.span.start)
            end = sentence.end
            for stop in self.by_label.get(ends, []):
                if hit.span.end <= stop.span.start < end and stop.span.start > hit.span.end:
                    end = stop.span.start
            found.append((Span(clause.start, end), self.passage.said(hit.span)))
        return found

    def _beside(self, figure: Figure, step: int) -> str:
        """The word so many tokens before (negative) or after a figure, within its sentence; else empty."""
        at = figure.number.start + step if step < 0 else figure.number.end + step - 1
        if not 0 <= at < len(self.passage.tokens):
            return ""
        token = self.passage.tokens[at]
        return token.norm if token.sentence == self.passage.tokens[figure.number.start].sentence else ""

    def _starts(self, at: int, label: str) -> bool:
        return any(hit.label == label for hit in self.starts.get(at, []))

    def _ends(self, at: int, label: str) -> str | None:
        for hit in self.ends.get(at, []):
            if hit.label == label:
                return self.passage.said(hit.span)
        return None

    def judge(self, figure: Figure) -> Aside | None:
        """Why a figure is no reading of the job, or None."""
        for rule in (
            self._speech,
            self._spelled,
            self._ordinal,
            self._money,
            self._clock,
            self._name,
            self._address,
            self._date,
            self._age,
            self._label,
            self._scope,
            self._count,
        ):
            aside = rule(figure)
            if aside is not None:
                return aside
        return None

    def _speech(self, figure: Figure) -> Aside | None:
        for span in self.speech:
            if span.start <= figure.number.start < span.end:
                if figure.span.end > span.end:
                    continue
                return Aside(UnplacedReason.FIGURE_OF_SPEECH, f"“{self.passage.said(span)}” is talk")
        return None

    def _spelled(self, figure: Figure) -> Aside | None:
        """Letters right beside it, a dash between, or five digits and more without a unit: part of a name."""
        passage, span = self.passage, figure.number
        before, after = self._beside(figure, -1), self._beside(figure, 1)
        tokens = passage.tokens
        glued_before = span.start > 0 and tokens[span.start].joined and tokens[span.start - 1].is_word
        glued_after = (
            span.end < len(tokens)
            and tokens[span.end].joined
            and len(after) == 1
            and after.isalpha()
            and not figure.units
        )
        if glued_before or glued_after:
            return Aside(UnplacedReason.IDENTIFIER, "letters stand right beside it")
        letter_before = len(before) == 1 and before.isalpha() and before not in ("a", "i")
        letter_after = (
            len(after) == 1 and after.isalpha() and after not in ("a", "i") and self._beside(figure, 2) != "to"
        )
        if figure.units:
            return None
        if (letter_before or letter_after) and not (
            before == "s" or (before in ("r",) and figure.value and figure.value >= 22)
        ):
            return Aside(UnplacedReason.IDENTIFIER, "a letter stands beside it")
        if before in ("dash", "hyphen", "slash", "tack") or after in ("dash", "hyphen", "slash", "tack"):
            return Aside(UnplacedReason.IDENTIFIER, "spelled with a dash")
        digits = "".join(ch for ch in self.passage.said(span) if ch.isdigit())
        if figure.form == "spelled" and figure.value is not None and (abs(figure.value) >= 10000 or len(digits) >= 5):
            return Aside(UnplacedReason.IDENTIFIER, "spelled digit by digit")
        return None

    def _ordinal(self, figure: Figure) -> Aside | None:
        if figure.form == "ordinal":
            month = {self._beside(figure, k) for k in (-2, -1, 2)}
            if month & set(self.table["date"]["months"]):
                return Aside(UnplacedReason.CLOCK_OR_DATE, "a day of a month")
            return Aside(UnplacedReason.FIGURE_OF_SPEECH, "an ordinal")
        return None

    def _money(self, figure: Figure) -> Aside | None:
        if figure.units and not (set(figure.units) & {"lb", "psig"} and self._starts(figure.number.end, "money_after")):
            return None
        if self._starts(figure.number.end, "money_after"):
            return Aside(UnplacedReason.MONEY, "money is named after it")
        cue = next(
            (
                self._ends(figure.number.start - k, "money_before")
                for k in (0, 1, 2)
                if self._ends(figure.number.start - k, "money_before")
            ),
            None,
        )
        if cue and figure.middle >= 20 and cue.strip() != "$":
            return Aside(UnplacedReason.MONEY, f"“{cue}” before it")
        if figure.form == "money" and figure.middle >= 20:
            return Aside(UnplacedReason.MONEY, "a currency sign before it")
        return None

    def _clock(self, figure: Figure) -> Aside | None:
        """Clock times: said with o'clock, quarter past and the like, or of a clock's shape after at, it's, by."""
        passage, number = self.passage, figure.number
        if figure.units and not (set(figure.units) & {"A"} and passage.norm(number.end) in ("am", "a")):
            if "h" not in figure.units and "min" not in figure.units:
                return None
        if self._starts(number.end, "clock_after") and not figure.units and figure.middle <= 2400:
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
                return Aside(
                    UnplacedReason.CLOCK_OR_DATE, f"“{lead} {before}” before it", figure.value * 60 + sign * shift
                )
        if after in ("past", "after", "to", "till") and not figure.units and figure.value in (5, 10, 15, 20, 25):
            nxt = passage.norm(number.end + 1)
            hour = _HOURS.get(nxt)
            if hour is not None and not self._has_unit_after(number.end + 2):
                return Aside(UnplacedReason.CLOCK_OR_DATE, "minutes to or past an hour")
        if figure.form == "clock" and not self._electrical(figure) and _valid_clock(figure):
            weak = before not in self.table["clock"]["before"]
            return Aside(UnplacedReason.CLOCK_OR_DATE, "written like a time of day", _minutes(figure), weak=weak)
        if figure.form in ("pair", "pair4", "spelled", "plain") and not figure.units and _valid_clock(figure):
            cue = before if before in self.table["clock"]["before"] else ""
            arrival = any(self._ends(number.start - k, "arrival") for k in (0, 1, 2))
            if arrival:
                return Aside(UnplacedReason.CLOCK_OR_DATE, "an arrival or a leaving is told", _minutes(figure))
            round_ = figure.middle % 5 == 0
            if cue in ("until", "till", "since", "by") and figure.middle >= 100:
                return Aside(UnplacedReason.CLOCK_OR_DATE, f"“{cue}” before it", _minutes(figure))
            if round_ or cue:
                return Aside(
                    UnplacedReason.CLOCK_OR_DATE, "has the shape of a time of day", _minutes(figure), weak=True
                )
        if (
            not figure.units
            and figure.value is not None
            and 1 <= figure.value <= 12
            and figure.value == int(figure.value)
        ):
            if any(self._ends(number.start - k, "arrival") for k in (0, 1, 2)):
                return Aside(UnplacedReason.CLOCK_OR_DATE, "an arrival or a leaving is told", figure.value * 60)
        return None

    def _has_unit_after(self, at: int) -> bool:
        return self._starts(at, "unit")

    def _electrical(self, figure: Figure) -> bool:
        """A figure that a recogniser wrote like a time beside electrical or pressure words is no time."""
        if figure.units:
            return True
        clause = self.passage.clause_span(figure.number.start)
        lowest = max(0, min(clause.start, figure.number.start - 12))
        near = [
            m
            for m in self.talk.mentions
            if lowest <= m.span.start and m.span.end <= max(clause.end, figure.number.end + 6)
        ]
        from extractors.mentions import quantities_of

        fits = {"voltage", "pressure", "current", "resistance", "speed"}
        if any(fits & set(quantities_of(m.subject)[:2]) for m in near):
            return True
        words = set(self.passage.norms[lowest : figure.number.end + 5])
        return bool(
            words & {"volts", "pounds", "psi", "amps", "rpm", "ohms", "reading", "drops", "sags", "pulling", "meter"}
        )

    def _name(self, figure: Figure) -> Aside | None:
        if figure.units and not set(figure.units) <= {"lb", "psig"}:
            return None
        after = self.passage.norm(figure.number.end)
        parts = load_table("figures")["name_parts"]["after"]
        joined = figure.number.end < len(self.passage.tokens) and self.passage.tokens[figure.number.end].joined
        hyphen = after == "-" and self.passage.norm(figure.number.end + 1) in parts
        if figure.value == int(figure.value or 0) and 0 < figure.middle <= 40:
            named = after in (
                "pole",
                "phase",
                "door",
                "stage",
                "way",
                "speed",
                "tier",
                "burner",
                "compartment",
                "basket",
                "bay",
                "drawer",
                "row",
                "gauge",
                "head",
            )
            follow = self._beside(figure, 2)
            ends = (
                follow in ("", ",", ".", "'s", "is", "at", "was", "reads") or follow[:1].isdigit() or follow in _HOURS
            )
            if after in parts and (joined or (named and not ends)) and figure.middle <= 12:
                return Aside(UnplacedReason.COUNT_OF_THINGS, f"part of a name with “{after}”")
            if hyphen:
                return Aside(UnplacedReason.COUNT_OF_THINGS, "part of a name")
        return None

    def _address(self, figure: Figure) -> Aside | None:
        if figure.units or figure.value is None or figure.value != int(figure.value):
            return None
        passage = self.passage
        for ahead in range(1, 4):
            at = figure.number.end + ahead
            if at >= len(passage.tokens) or passage.tokens[at].sentence != passage.tokens[figure.number.start].sentence:
                break
            if any(not passage.tokens[i].is_word for i in range(figure.number.end, at)):
                break
            if self._starts(at, "street") and passage.norm(figure.number.end) not in (
                "the",
                "a",
                "on",
                "is",
                "and",
                "to",
                "of",
                "in",
            ):
                if (
                    passage.norm(at) in ("way", "drive", "place", "square", "circle", "row", "court", "lane")
                    and figure.middle < 10
                ):
                    continue
                return Aside(UnplacedReason.ADDRESS, f"“{passage.norm(at)}” after it")
        return None

    def _date(self, figure: Figure) -> Aside | None:
        passage, number = self.passage, figure.number
        beside = {self._beside(figure, k) for k in (-2, -1, 1, 2)}
        months = set(self.table["date"]["months"]) - {"may", "march"}
        if not figure.units and beside & months and figure.middle <= 2100:
            return Aside(UnplacedReason.CLOCK_OR_DATE, "a month beside it")
        if not figure.units and self._beside(figure, -1) in ("may", "march") and 1 <= figure.middle <= 31:
            return Aside(UnplacedReason.CLOCK_OR_DATE, "a month beside it")
        cues = set(self.table["date"]["year_cues"])
        if (
            not figure.units
            and figure.middle == int(figure.middle)
            and 1950 <= figure.middle <= 2040
            and figure.form in ("plain", "pair4", "range", "spelled", "decimal")
        ):
            near = {passage.norm(number.start - k) for k in (1, 2, 3, 4)}
            if near & cues and not near & {"watts", "psi", "microns"}:
                return Aside(UnplacedReason.CLOCK_OR_DATE, "a year")
        if set(figure.units) & {"d", "h"} or self._starts(number.end, "when_after"):
            if "h" in figure.units and not self._ends(number.start, "when_before"):
                return None
            if "h" in figure.units and passage.norm(number.start - 1) in ("in", "every", "about"):
                return None
            if "d" in figure.units or self._starts(number.end, "when_after"):
                if self._starts(number.end, "ago"):
                    return None
                return Aside(UnplacedReason.CLOCK_OR_DATE, "a stretch of days or weeks", weak=False)
        return None

    def _age(self, figure: Figure) -> Aside | None:
        if self._starts(figure.number.end, "ago"):
            return Aside(UnplacedReason.EARLIER_VISIT, "so long ago")
        if self._starts(figure.number.end, "age") and not set(figure.units) - {"d", "h"}:
            return Aside(UnplacedReason.AGE, "years are named after it")
        return None

    def _label(self, figure: Figure) -> Aside | None:
        """A small whole number right after a noun names one of several: "compressor two", "case 4", "code 31"."""
        if figure.units or figure.value is None or figure.value != int(figure.value) or figure.signed:
            return None
        number = figure.number
        cue = self._ends(number.start, "id")
        if cue is None and self.passage.norm(number.start - 1) in (
            "is",
            "'s",
            "was",
            "here's",
            "of",
            "says",
            "reads",
            "on",
        ):
            long_cue = self._ends(number.start - 1, "id")
            if long_cue and long_cue.lower() in (
                "model",
                "model number",
                "serial",
                "serial number",
                "part number",
                "store number",
                "gate code",
                "door code",
                "ticket number",
                "work order",
                "job number",
                "number",
                "code",
                "po",
                "fault code",
                "error code",
                "asset tag",
            ):
                cue = long_cue
        if cue is not None:
            plain = cue.lower()
            if (
                plain
                in (
                    "part",
                    "type",
                    "position",
                    "switch",
                    "step",
                    "floor",
                    "level",
                    "wire",
                    "figure",
                    "spot",
                    "class",
                    "page",
                    "line number",
                    "table",
                    "room",
                    "store",
                    "fault",
                    "house",
                    "gate",
                    "code",
                    "pin",
                    "bay",
                    "series",
                    "lot",
                    "item",
                    "building",
                    "channel",
                    "station",
                    "contact",
                    "terminal",
                    "lane",
                    "parameter",
                    "menu",
                    "cylinder",
                )
                and figure.middle > 999
            ):
                return Aside(UnplacedReason.IDENTIFIER, f"“{cue}” before it")
            if plain in (
                "switch",
                "wire",
                "figure",
                "room",
                "position",
                "terminal",
                "contact",
                "level",
                "dash",
                "slash",
            ) and (self.passage.norm(number.end) in ("degrees",) or figure.form == "decimal"):
                return None
            if plain == "number" or figure.form != "decimal":
                return Aside(UnplacedReason.IDENTIFIER, f"“{cue}” before it")
        before = self.passage.norm(number.start - 1)
        singular = (
            before[:-1] if before.endswith("s") and before[:-1] in self.table["identifier"]["label_nouns"] else before
        )
        if (
            singular in self.table["identifier"]["label_nouns"]
            and singular == before
            and 1 <= figure.value <= 9
            and figure.form == "plain"
        ):
            after = self.passage.norm(number.end)
            if after in (
                "'s",
                "is",
                "was",
                "has",
                "had",
                "and",
                "only",
                "that",
                "which",
                "where",
                "on",
                "in",
                "were",
                "are",
                "'d",
                "isn't",
                "won't",
                "doesn't",
                "with",
                "down",
                "off",
                "keeps",
                "does",
                "got",
                "runs",
                "tripped",
                "wasn't",
                "reads",
                "pulls",
                "pulling",
                "which's",
                "up",
                "went",
                "sits",
                "looks",
                "at",
                "fan",
                "compressor",
            ):
                return Aside(UnplacedReason.IDENTIFIER, f"tells which {before}")
            if after in ("", ".", ",") and before in (
                "number",
                "tank",
                "case",
                "zone",
                "circuit",
                "rack",
                "stop",
                "compressor",
                "bay",
                "cell",
                "cooler",
                "unit",
                "head",
                "tap",
                "keg",
            ):
                return Aside(UnplacedReason.IDENTIFIER, f"tells which {before}", weak=True)
        return None

    def _scope(self, figure: Figure) -> Aside | None:
        for reason, scopes in self.scopes.items():
            for span, cue in scopes:
                if span.start <= figure.number.start < span.end:
                    return Aside(reason, f"“{cue}” in its sentence")
        return None

    def _count(self, figure: Figure) -> Aside | None:
        """Whole numbers before a noun that is counted."""
        if figure.units or figure.middle != int(figure.middle) or figure.signed or not 0 < figure.middle <= 999:
            return None
        passage, end = self.passage, figure.number.end
        if end < len(passage.tokens) and passage.tokens[end].sentence == passage.tokens[figure.number.start].sentence:
            after, after2 = passage.norm(end), passage.norm(end + 1)
            if self._starts(end, "per"):
                return Aside(UnplacedReason.COUNT_OF_THINGS, "counted in a time", weak=True)
            nouns = set(self.table["count"]["nouns"])
            if self._starts(end, "of them") or (
                after == "of"
                and after2 in ("them", "those", "these", "the", "my", "his", "her", "their", "our", "each")
            ):
                return Aside(UnplacedReason.COUNT_OF_THINGS, "so many of them")
            if after in nouns and after not in (
                "new",
                "old",
                "more",
                "other",
                "others",
                "different",
                "good",
                "bad",
                "little",
                "big",
                "small",
                "stripped",
                "missing",
                "loose",
            ):
                return Aside(UnplacedReason.COUNT_OF_THINGS, f"counts “{after}”")
            if after in nouns and (after2 in nouns or (after2.endswith("s") and after2.isalpha() and len(after2) > 3)):
                return Aside(UnplacedReason.COUNT_OF_THINGS, f"counts “{after} {after2}”")
            tag = self.talk.doc[end].tag_ if end < len(self.talk.doc) else ""
            if tag == "NNS" and figure.middle <= 60 and after not in ("pounds", "degrees", "volts", "amps"):
                return Aside(UnplacedReason.COUNT_OF_THINGS, f"counts “{after}”", weak=False)
        before = passage.norm(figure.number.start - 1)
        if (
            before in ("the", "these", "those", "all", "other", "them", "both")
            and figure.middle <= 12
            and passage.norm(figure.number.start).isalpha()
        ):
            return Aside(UnplacedReason.COUNT_OF_THINGS, f"“{before}” before it")
        if passage.norm(figure.number.start) == "one" and figure.number.end - figure.number.start == 1:
            return Aside(UnplacedReason.COUNT_OF_THINGS, "“one” of something", weak=True)
        return None


_HOURS = {
    word: n for n, word in enumerate(["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"], 1)
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


def series_minutes(text: str) -> float | None:
    """Minutes of a clock time written as 9:35, else None."""
    match = re.fullmatch(r"(\d{1,2}):(\d\d)", text.strip())
    return float(int(match[1]) * 60 + int(match[2])) if match else None


__all__ = ["Aside", "Asides", "Numeral", "series_minutes"]
