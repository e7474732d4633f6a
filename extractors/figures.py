"""Numerals with their units, ranges, tolerances and qualifiers become figures; what they are about comes later."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from extractors.facts import Qualifier
from extractors.figure import Figure
from extractors.heard_again import outvoted
from extractors.lexicon import load_table
from extractors.number_atoms import is_number_word
from extractors.number_words import spoken_numbers
from extractors.numerals import Numeral, numerals
from extractors.passage import Passage, Span
from extractors.phrases import Hit, Phrases
from extractors.ranges import ranges, tolerances
from extractors.units import units


@cache
def unit_phrases() -> Phrases:
    """All spoken units; the label is the unit's name, with "?" when the phrase is a mishearing."""
    rows = [(unit.name, phrase) for unit in units().values() for phrase in unit.say]
    rows += [(unit.name + "?", phrase) for unit in units().values() for phrase in unit.misheard]
    return Phrases(rows)


@cache
def _around() -> Phrases:
    rows = []
    for row, table in load_table("figures").items():
        for side in ("before", "after"):
            if row in Qualifier.__members__.values() or row in {q.value for q in Qualifier}:
                rows += [(f"{row}:{side}", phrase) for phrase in table.get(side, ())]
    return Phrases(rows)


# Letters that are units only when they touch the digits or stand as capitals right after them.
SHORT = frozenset(["a", "c", "f", "v", "w", "k", "m", "d", "g", "s"])
HALF_UNITS = frozenset(
    {"h", "min", "lb", "gal", "d", "ton", "ohm", "A", "in", "oz", "degF", "V", "ft", "L", "s", "kg", "psig", "%"}
)


def _begins_number(passage: Passage, index: int) -> bool:
    """Whether a figure begins at a token."""
    return index < len(passage.tokens) and (passage.tokens[index].is_digits or is_number_word(passage.norm(index)))


def _unit_at(
    passage: Passage, index: int, at: dict[int, list[Hit]], numeral: Numeral
) -> tuple[Span, tuple[str, ...], bool] | None:
    """The unit that begins at a token, right after a number: (span, units, misheard)."""
    hits = at.get(index, [])
    if not hits:
        return None
    end = max(hit.span.end for hit in hits)
    hits = [hit for hit in hits if hit.span.end == end]
    token = passage.tokens[index]
    next_line = token.segment != passage.tokens[index - 1].segment and not passage.joined_lines
    if next_line and (passage.norm(end) == "," or _begins_number(passage, end)):
        return None  # the unit of the next line's figure
    if end == index + 1 and token.norm in SHORT:
        capital_unit = token.text.isupper() and token.norm in "vwfck" and passage.tokens[index - 1].is_digits
        glued = token.joined and passage.tokens[index - 1].is_digits and passage.norm(index + 1)[:1] != "-"
        follows = passage.norm(index + 1)
        # "eight point four k": thousands of something; between letters and digits it is part of a name
        thousands = token.norm == "k" and passage.norm(index - 1) in spoken_numbers() and numeral.form == "decimal"
        named = _begins_number(passage, index + 1) or (len(follows) == 1 and follows.isalpha())
        if not (glued or capital_unit or (thousands and not named)):
            return None
    if token.norm in ("over", "split") and (
        passage.norm(end)
        not in (".", ",", "", "so", "and", "that's", "which", "now", "when", "but", "the", "it", "that", "i")
        or (end < len(passage.tokens) and passage.tokens[end].is_digits)
    ):
        return None
    misheard = all(hit.label.endswith("?") for hit in hits)
    if misheard and passage.norm(index) in ("what's", "a"):
        return None
    names = tuple(dict.fromkeys(hit.label.rstrip("?") for hit in hits))
    return Span(index, end), names, misheard


def _find_units(passage: Passage) -> dict[int, list[Hit]]:
    at: dict[int, list[Hit]] = {}
    for hit in unit_phrases().find(passage, overlapping=True):
        at.setdefault(hit.span.start, []).append(hit)
    return at


def _with_unit(passage: Passage, numeral: Numeral, at: dict[int, list[Hit]]) -> Figure:
    """A numeral with the unit that follows it, across a filler or "of a"."""
    figure = Figure(
        span=numeral.span,
        number=numeral.span,
        value=numeral.value,
        form=numeral.form,
        also=numeral.also,
        pair=numeral.pair,
        signed=numeral.signed,
        mended=numeral.mended,
        otherwise=numeral.otherwise,
    )
    end = numeral.span.end
    fillers = load_table("figures")["between"]["fillers"]
    steps = [end]
    if passage.norm(end) in fillers and passage.norm(end + 1) in fillers:
        steps.append(end + 2)
    if passage.norm(end) in fillers and passage.norm(end) not in (",", "point"):
        steps.append(end + 1)
    if passage.norm(end) == "," and len(passage.norm(end + 1)) > 3 and passage.norm(end + 1) != "degrees":
        following = passage.norm(end + 2)
        if following in (".", "", "that"):
            steps.append(end + 1)  # "point eight, microamps that is"
    if numeral.form in ("fraction", "decimal") and numeral.value < 1:
        steps += [end + 1, end + 2] if passage.norm(end) == "of" else []
        steps += [end + 1] if passage.norm(end) in ("a", "an") else []
    for index in steps:
        if index >= len(passage.tokens):
            continue
        found = _unit_at(passage, index, at, numeral)
        if found is not None:
            span, names, misheard = found
            if numeral.form == "fraction" and index > end and not set(names) & HALF_UNITS:
                continue
            return replace(figure, span=Span(numeral.span.start, span.end), units=names, misheard_unit=misheard)
    return figure


def _units_first(passage: Passage, figures: list[Figure], at: dict[int, list[Hit]]) -> list[Figure]:
    """A unit that stands before its figure, where the speaker has that habit: "amps fifty, ohms point one"."""
    ending: dict[int, list[Hit]] = {}
    for hits in at.values():
        for hit in hits:
            word = passage.norm(hit.span.end - 1)
            if hit.label.endswith("?"):
                continue
            if (hit.span.end - hit.span.start > 1 and len(word) == 1) or (
                len(word) > 2
                and (word.endswith("s") or word in ("rpm", "psi", "ppm", "cfm", "mfd", "hertz", "percent", "gpm"))
            ):
                ending.setdefault(hit.span.end, []).append(hit)
    ends = {f.number.end for f in figures}

    def before(figure: Figure) -> list[Hit]:
        for gap in (0, 1):
            start = figure.number.start - gap
            if gap and passage.norm(start) not in (",", ":", "is", "'s", "are", "at", "uh", "um"):
                continue
            if passage.tokens[start - 1].segment != passage.tokens[figure.number.start].segment:
                return []
            if start in ending:
                return ending[start]
        return []

    firsts = [f for f in figures if before(f) and not any(h.span.start in ends for h in before(f))]
    plainly = sum(1 for f in firsts if not f.units)
    afters = sum(1 for f in figures if f.units) - sum(1 for f in firsts if f.units)
    habit = plainly >= 4 and plainly > 0.5 * afters
    out: list[Figure] = []
    for figure in figures:
        hits = before(figure)
        if _minute_of(passage, figure):
            if out and out[-1].span.end == figure.number.start and out[-1].value != 1:
                out[-1] = replace(out[-1], span=out[-1].number, units=())  # "seventy-four minute five"
            out.append(replace(figure, span=Span(figure.number.start - 1, figure.number.end), units=("min",)))
            continue
        free = bool(hits) and (habit or not any(h.span.start in ends for h in hits))
        borrowed = (
            bool(figure.units)
            and habit
            and passage.norm(figure.span.end) not in (",", ".", "")
            and passage.tokens[min(figure.span.end, len(passage.tokens) - 1)].segment
            == passage.tokens[figure.span.start].segment
        )
        if hits and free and (not figure.units or borrowed):
            longest = max(h.span.end - h.span.start for h in hits)
            hits = [h for h in hits if h.span.end - h.span.start == longest]
            names = tuple(dict.fromkeys(h.label for h in hits))
            figure = replace(figure, span=Span(hits[0].span.start, figure.number.end), units=names)
        elif borrowed and habit and not hits:
            follows = any(f.number.start == figure.span.end for f in figures)
            if follows:
                figure = replace(figure, span=figure.number, units=())
        out.append(figure)
    return out


def _minute_of(passage: Passage, figure: Figure) -> bool:
    """Whether a figure is a time of a series: "minute five, degrees one thirty-one"."""
    at = figure.number.start
    if figure.units or passage.norm(at - 1) != "minute" or figure.value is None or figure.value != int(figure.value):
        return False
    before = passage.norm(at - 2) if at > 1 else ""
    counted = before in ("a", "per", "every", "each", "one", "last", "this", "any")
    return not counted and passage.tokens[at - 1].sentence == passage.tokens[at].sentence


def _article_units(passage: Passage, at: dict[int, list[Hit]], taken: set[int]) -> list[Figure]:
    """A unit that counts one of itself: "an hour", "a pound and a half"."""
    found = []
    fractions = load_table("numbers")["fractions"]
    for index, hits in at.items():
        if index in taken or not hits:
            continue
        end = max(hit.span.end for hit in hits)
        names = tuple(dict.fromkeys(h.label for h in hits if h.span.end == end))
        if not {"h", "lb", "gal", "min", "ton", "oz", "in", "d"} & set(names) or passage.norm(index).endswith("s"):
            continue
        tail, extra = end, 0.0
        if passage.norm(end) == "and":
            k = end + 1
            times = 1.0
            if passage.norm(k) in ("a", "an"):
                k += 1
            elif passage.norm(k) in ("three", "3"):
                times, k = 3.0, k + 1
            if passage.norm(k) in fractions:
                extra, tail = times * fractions[passage.norm(k)], k + 1
        article = passage.norm(index - 1) in ("a", "an")
        if passage.norm(index - 1) in ("another", "this", "the", "every", "per", "each", "that", "last", "any"):
            continue
        if passage.norm(index - 1) == "half" or passage.norm(index - 2) == "half":
            continue
        hour_and = (
            "h" in names
            and passage.norm(end) == "and"
            and (passage.tokens[end + 1].is_digits if end + 1 < len(passage.tokens) else False)
        ) or ("h" in names and passage.norm(end) == "and" and passage.norm(end + 1) in TENS)
        if (
            not extra
            and not hour_and
            and not (
                article
                and "h" in names
                and passage.norm(index - 2)
                not in ("times", "cycles", "per", "starts", "btu", "btus", "feet", "once", "twice")
            )
            and not (article and passage.norm(index - 2) in ABOUT)
        ):
            continue
        start = index - 1 if article else index
        found.append(Figure(Span(start, tail), Span(start, tail), 1.0 + extra, units=names, form="article"))
    return found


ABOUT = frozenset(("under", "over", "about", "around", "than", "nearly", "almost", "barely", "within"))
FINE = frozenset(("tenth", "sixteenth", "eighth", "hundredth", "thousandth"))
FINE_BEFORE = frozenset(("", ",", ".", "?", "on", "at", "in", "across", "over", "now", "and", "or", "but", "when"))


def _is_fine(passage: Passage, figure: Figure) -> bool:
    """Whether a fraction without a unit is a measure, "under a tenth on every pole", and no part of a name."""
    last, after = figure.number.end - 1, passage.norm(figure.number.end)
    new_line = passage.tokens[min(last + 1, len(passage.tokens) - 1)].segment != passage.tokens[last].segment
    return passage.norm(last) in FINE and (after in FINE_BEFORE or new_line)


TENS = frozenset(
    [
        "five",
        "ten",
        "fifteen",
        "twenty",
        "twenty-five",
        "thirty",
        "thirty-five",
        "forty",
        "forty-five",
        "fifty",
        "fifty-five",
    ]
)
# A second, smaller unit carries the rest: (large, small, how many small make one large).
COMPOUNDS = {("lb", "oz"): 16.0, ("h", "min"): 60.0, ("min", "s"): 60.0, ("ft", "in"): 12.0}


def _compound(passage: Passage, figures: list[Figure]) -> list[Figure]:
    """One figure of two units: "2 pounds 6 ounces", "an hour and twenty"."""
    out: list[Figure] = []
    for figure in figures:
        if out and out[-1].value is not None and figure.value is not None:
            before = out[-1]
            gap = [passage.norm(i) for i in range(before.span.end, figure.span.start)]
            for (large, small), many in COMPOUNDS.items():
                if large not in before.units or gap not in ([], ["and"], [","], [",", "and"]):
                    continue
                named = small in figure.units
                bare = (
                    not figure.units
                    and gap in ([], ["and"])
                    and figure.form in ("plain", "article")
                    and before.value == int(before.value or 0)
                    and not passage.norm(figure.span.end).isdigit()
                )
                unlikely = large == "ft" or (large == "min" and bool(gap))
                if bare and (figure.value >= many or unlikely):
                    bare = False
                if bare and (
                    passage.norm(figure.span.start) in ("one", "a", "an")
                    or passage.norm(before.span.start - 1) in ("at", "after", "minute")
                ):
                    bare = large == "h" and passage.norm(before.span.start - 1) not in ("at", "after")
                if named and (figure.value >= many or figure.form == "money" or (gap == [","] and large != "lb")):
                    named = False
                if named or bare:
                    total = (before.value or 0.0) + figure.value / many
                    # what is no whole number of quarters is plainer in the smaller unit: 130 min, not 2.1667 h
                    quarters = large in ("lb", "ft") or (total * 4) % 1 == 0
                    out[-1] = replace(
                        before,
                        span=Span(before.span.start, figure.span.end),
                        number=Span(before.number.start, figure.number.end),
                        value=round(total, 6) if quarters else round(total * many, 6),
                        units=(large if quarters else small,),
                        form="compound",
                        notes=(*before.notes, "" if named else f"{small} not said"),
                    )
                    break
            else:
                out.append(figure)
            continue
        out.append(figure)
    return out


def _with_fraction(passage: Passage, figures: list[Figure]) -> list[Figure]:
    """Adds what stands after the unit: "three hours and a quarter", "two pounds and a half"."""
    fractions = load_table("numbers")["fractions"]
    out: list[Figure] = []
    for figure in figures:
        at = figure.span.end
        if figure.units and figure.value is not None and set(figure.units) & HALF_UNITS and passage.norm(at) == "and":
            article = passage.norm(at + 1) in ("a", "an")
            times = 3.0 if passage.norm(at + 1) in ("three", "3") else 1.0
            word = passage.norm(at + 2)
            if (article or times > 1) and fractions.get(word, 1.0) in (0.25, 0.5):
                value = round(figure.value + times * fractions[word], 6)
                figure = replace(figure, span=Span(figure.span.start, at + 3), value=value, form="compound")
        if out and out[-1].span.overlaps(figure.span):
            continue
        out.append(figure)
    return out


def _qualified(passage: Passage, figures: list[Figure]) -> list[Figure]:
    """Adds what the words right before and after a figure say of it."""
    before: dict[int, list[str]] = {}
    after: dict[int, list[str]] = {}
    for hit in _around().find(passage, overlapping=True):
        name, _, side = hit.label.partition(":")
        if side == "before":
            before.setdefault(hit.span.end, []).append(name)
        elif side == "after":
            after.setdefault(hit.span.start, []).append(name)
    out = []
    for figure in figures:
        names: list[str] = []
        for back in range(0, 5):
            at = figure.span.start - back
            if back and (
                passage.norm(at) in ".?!"
                or any(passage.tokens[at].is_digits for _ in (0,))
                or passage.norm(at) in (",",)
            ):
                break
            for name in before.get(at, []):
                if back <= 3 or name in ("inrush", "locked_rotor", "peak", "minimum"):
                    names.append(name)
        at = figure.span.end
        names += after.get(at, [])
        if passage.norm(at) == ",":
            names += [name for name in after.get(at + 1, []) if name in ("approximate",)]
        kept = tuple(q for q in Qualifier if q.value in names)
        out.append(replace(figure, qualifiers=kept) if kept else figure)
    return out


def _belows(passage: Passage, figures: list[Figure]) -> list[Figure]:
    """Makes "ten below" minus ten, unless it is below something."""
    out: list[Figure] = []
    for figure in figures:
        if out and out[-1].signed and out[-1].span.overlaps(figure.span):
            continue  # the zero of "ten below zero"
        at = figure.number.end
        if passage.norm(at) == "below" and figure.value is not None and figure.value > 0:
            next_word = passage.norm(at + 1)
            if next_word in ("zero", "", ",", ".", "and", "now", "in", "on", "at", "when", "so", "which", "right") or (
                passage.tokens[min(at + 1, len(passage.tokens) - 1)].segment != passage.tokens[at].segment
            ):
                end = at + 2 if next_word == "zero" else at + 1
                figure = replace(
                    figure,
                    value=-figure.value,
                    span=Span(figure.span.start, end),
                    units=figure.units or ("degF",),
                    signed=True,
                )
        out.append(figure)
    return out


def find_figures(passage: Passage, skip: frozenset[int] = frozenset()) -> list[Figure]:
    """All figures of a passage in order. `skip`: tokens that are part of something else (a name, a subject)."""
    at = _find_units(passage)
    plain = [_with_unit(passage, numeral, at) for numeral in outvoted(passage, numerals(passage, skip))]
    plain = _units_first(passage, plain, at)
    taken = {i for figure in plain for i in range(figure.span.start, figure.span.end)}
    articles = _article_units(passage, at, taken)
    whole = sorted(plain + articles, key=lambda f: f.span)
    whole = [
        f
        for f in whole
        if not any(a is not f and a.span.overlaps(f.span) for a in articles)
        and not (
            f.form == "fraction"
            and not f.units
            and f.value is not None
            and abs(f.value) < 1
            and not f.also
            and passage.norm(f.number.start) in ("a", "half", "quarter", "third", "thirds", "quarters")
            and not _is_fine(passage, f)
        )
    ]
    whole = _with_fraction(passage, _compound(passage, whole))
    whole = _belows(passage, whole)
    whole = tolerances(passage, whole)
    whole = ranges(passage, whole)
    return _qualified(passage, whole)
