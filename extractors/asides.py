"""Tells which figures are no reading of the job, and why: names, times, counts, money, other visits and people."""

from __future__ import annotations

from extractors.beside import Aside, Beside
from extractors.facts import UnplacedReason
from extractors.figure import Figure
from extractors.lexicon import load_table
from extractors.talk import Talk
from extractors.times import HOURS, age, clock, date, ordinal


def speech(by: Beside, figure: Figure) -> Aside | None:
    """Figures of talk: "twenty-four seven"."""
    for span in by.speech:
        if span.start <= figure.number.start < span.end:
            if figure.span.end > span.end:
                continue
            return Aside(UnplacedReason.FIGURE_OF_SPEECH, f"“{by.passage.said(span)}” is talk")
    return None


def spelled(by: Beside, figure: Figure) -> Aside | None:
    """Letters right beside it, a dash between, or five digits and more without a unit: part of a name."""
    passage, span = by.passage, figure.number
    before, after = by.beside(figure, -1), by.beside(figure, 1)
    tokens = passage.tokens
    glued_before = span.start > 0 and tokens[span.start].joined and tokens[span.start - 1].is_word
    glued_after = (
        span.end < len(tokens) and tokens[span.end].joined and len(after) == 1 and after.isalpha() and not figure.units
    )
    if glued_before or glued_after:
        return Aside(UnplacedReason.IDENTIFIER, "letters stand right beside it")
    letter_before = len(before) == 1 and before.isalpha() and before not in ("a", "i")
    letter_after = len(after) == 1 and after.isalpha() and after not in ("a", "i") and by.beside(figure, 2) != "to"
    if figure.units or span.start - 1 in by.talk.legs or span.end in by.talk.legs:
        return None
    if (letter_before or letter_after) and not (
        before == "s" or (before in ("r",) and figure.value and figure.value >= 22)
    ):
        return Aside(UnplacedReason.IDENTIFIER, "a letter stands beside it")
    if before in ("dash", "hyphen", "slash", "tack") or after in ("dash", "hyphen", "slash", "tack"):
        return Aside(UnplacedReason.IDENTIFIER, "spelled with a dash")
    digits = "".join(ch for ch in by.passage.said(span) if ch.isdigit())
    if figure.form == "spelled" and figure.value is not None and (abs(figure.value) >= 10000 or len(digits) >= 5):
        return Aside(UnplacedReason.IDENTIFIER, "spelled digit by digit")
    return None


def money(by: Beside, figure: Figure) -> Aside | None:
    """Money, by its name after or a price word before."""
    if figure.units and not (set(figure.units) & {"lb", "psig"} and by.starts(figure.number.end, "money_after")):
        return None
    if by.starts(figure.number.end, "money_after"):
        return Aside(UnplacedReason.MONEY, "money is named after it")
    cue = next(
        (
            by.ends(figure.number.start - k, "money_before")
            for k in (0, 1, 2)
            if by.ends(figure.number.start - k, "money_before")
        ),
        None,
    )
    if cue and figure.middle >= 20 and cue.strip() != "$":
        return Aside(UnplacedReason.MONEY, f"“{cue}” before it")
    if figure.form == "money" and figure.middle >= 20:
        return Aside(UnplacedReason.MONEY, "a currency sign before it")
    return None


def name_part(by: Beside, figure: Figure) -> Aside | None:
    """A number that is part of a name: "two-pole", "three-door"."""
    if figure.units and not set(figure.units) <= {"lb", "psig"}:
        return None
    after = by.passage.norm(figure.number.end)
    parts = load_table("figures")["name_parts"]["after"]
    joined = figure.number.end < len(by.passage.tokens) and by.passage.tokens[figure.number.end].joined
    hyphen = after == "-" and by.passage.norm(figure.number.end + 1) in parts
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
        follow = by.beside(figure, 2)
        ends = follow in ("", ",", ".", "'s", "is", "at", "was", "reads") or follow[:1].isdigit() or follow in HOURS
        if after in parts and (joined or (named and not ends)) and figure.middle <= 12:
            return Aside(UnplacedReason.COUNT_OF_THINGS, f"part of a name with “{after}”")
        if hyphen:
            return Aside(UnplacedReason.COUNT_OF_THINGS, "part of a name")
    return None


def address(by: Beside, figure: Figure) -> Aside | None:
    """A house number before a street."""
    if figure.units or figure.value is None or figure.value != int(figure.value):
        return None
    passage = by.passage
    for ahead in range(1, 4):
        at = figure.number.end + ahead
        if at >= len(passage.tokens) or passage.tokens[at].sentence != passage.tokens[figure.number.start].sentence:
            break
        if any(not passage.tokens[i].is_word for i in range(figure.number.end, at)):
            break
        if by.starts(at, "street") and passage.norm(figure.number.end) not in (
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


def label(by: Beside, figure: Figure) -> Aside | None:
    """A small whole number right after a noun names one of several: "compressor two", "case 4", "code 31"."""
    if figure.units or figure.value is None or figure.value != int(figure.value) or figure.signed:
        return None
    number = figure.number
    cue = by.ends(number.start, "id")
    if cue is None and by.passage.norm(number.start - 1) in (
        "is",
        "'s",
        "was",
        "here's",
        "of",
        "says",
        "reads",
        "on",
    ):
        long_cue = by.ends(number.start - 1, "id")
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
        ) and (by.passage.norm(number.end) in ("degrees",) or figure.form == "decimal"):
            return None
        first = (
            number.start == 1
            or by.passage.tokens[number.start - 2].sentence != by.passage.tokens[number.start].sentence
        )
        if plain == "room" and first and 45 <= figure.value <= 110:
            return None  # "Room seventy-six.": how warm it is; a room by its number stands after "in" or "to"
        if plain == "number" or figure.form != "decimal":
            return Aside(UnplacedReason.IDENTIFIER, f"“{cue}” before it")
    before = by.passage.norm(number.start - 1)
    singular = before[:-1] if before.endswith("s") and before[:-1] in by.table["identifier"]["label_nouns"] else before
    if (
        singular in by.table["identifier"]["label_nouns"]
        and singular == before
        and 1 <= figure.value <= 9
        and figure.form == "plain"
    ):
        after = by.passage.norm(number.end)
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


def scope(by: Beside, figure: Figure) -> Aside | None:
    """Figures of an earlier visit, of somebody else, or of another job."""
    for reason, scopes in by.scopes.items():
        for span, cue in scopes:
            if span.start <= figure.number.start < span.end:
                return Aside(reason, f"“{cue}” in its sentence")
    return None


def count(by: Beside, figure: Figure) -> Aside | None:
    """Whole numbers before a noun that is counted."""
    if figure.units or figure.middle != int(figure.middle) or figure.signed or not 0 < figure.middle <= 999:
        return None
    passage, end = by.passage, figure.number.end
    if end < len(passage.tokens) and passage.tokens[end].sentence == passage.tokens[figure.number.start].sentence:
        after, after2 = passage.norm(end), passage.norm(end + 1)
        if by.starts(end, "per"):
            return Aside(UnplacedReason.COUNT_OF_THINGS, "counted in a time", weak=True)
        nouns = set(by.table["count"]["nouns"])
        if by.starts(end, "of them") or (
            after == "of" and after2 in ("them", "those", "these", "the", "my", "his", "her", "their", "our", "each")
        ):
            return Aside(UnplacedReason.COUNT_OF_THINGS, "so many of them")
        machines = set(by.table["count"]["machines"])
        if after in machines and figure.middle > by.table["count"]["most_machines"]:
            return None  # "locked rotor ninety-six, fans one six": no machine has so many
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
        tag = by.talk.doc[end].tag_ if end < len(by.talk.doc) else ""
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


RULES = (speech, spelled, ordinal, money, clock, name_part, address, date, age, label, scope, count)


class Asides:
    """Judges the figures of one talk."""

    def __init__(self, talk: Talk) -> None:
        """Looks up all cue words once."""
        self._at = Beside(talk)

    def judge(self, figure: Figure) -> Aside | None:
        """Why a figure is no reading of the job, or None."""
        for rule in RULES:
            aside = rule(self._at, figure)
            if aside is not None:
                return aside
        return None
