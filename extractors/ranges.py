"""Joins figures that belong together: both ends of a range, both sides of a change, a tolerance and its figure."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from extractors.figure import Figure
from extractors.lexicon import load_table
from extractors.passage import Passage, Span
from extractors.phrases import Phrases


@cache
def _marks() -> Phrases:
    return Phrases([("tolerance", phrase) for phrase in load_table("figures")["tolerance"]["say"]])


def _same_units(first: Figure, second: Figure) -> tuple[str, ...]:
    """Units both may have; the second's when the first has none."""
    if not first.units:
        return second.units
    common = tuple(name for name in first.units if name in second.units)
    return common or second.units


def ranges(passage: Passage, figures: list[Figure]) -> list[Figure]:
    """Joins the two ends of a range, and marks both sides of a change."""
    words = load_table("figures")["range"]
    hedges = set(load_table("figures")["approximate"]["before"])
    out: list[Figure] = []
    skip = False
    for index, figure in enumerate(figures):
        if skip:
            skip = False
            continue
        after = figures[index + 1] if index + 1 < len(figures) else None
        if after is None or figure.value is None or after.value is None:
            out.append(figure)
            continue
        gap = " ".join(
            passage.norm(i) for i in range(figure.span.end, after.span.start) if passage.norm(i) not in ("uh", "um")
        )
        before = passage.norm(figure.span.start - 1)
        low, high = figure.value, after.value
        unit_ok = not figure.units or not after.units or bool(set(figure.units) & set(after.units))
        joined = False
        if gap in words["to"] and unit_ok:
            recent = {passage.norm(i) for i in range(max(0, figure.span.start - 7), figure.span.start)}
            moved = before in ("went", "gone", "came", "dropped", "rose", "climbed", "moved", "crept", "fell")
            from_ = before == "from" or passage.norm(figure.span.start - 2) == "from"
            if moved or (from_ and recent & set(words["changed_by"])):
                units_ = _same_units(figure, after)
                figures[index + 1] = replace(after, changed_to=True, units=after.units or units_)
                out.append(replace(figure, units=figure.units or units_, changed_from=True))
                continue
            joined = low < high and after.form not in ("ordinal",) and not (gap == "to" and before in ("to",))
        elif gap == "and" and unit_ok:
            joined = before in ("between",) and low < high
        elif gap in words["or"] and unit_ok:
            joined = low < high and (high - low <= 0.3 * abs(high) or high - low <= 3)
        elif gap == "," and not figure.units and unit_ok:
            third = figures[index + 2] if index + 2 < len(figures) else None
            listed = (
                third is not None and passage.norm(after.span.end) == "," and third.span.start == after.span.end + 1
            )
            hedged = any(passage.norm(figure.span.start - k) in hedges for k in (1, 2, 3)) or before in ("be", "see")
            near = low < high and low == int(low) and high == int(high) and high - low <= max(3, 0.25 * abs(high))
            near = near or (low > high and low < 0 and low - high <= 3 and hedged)
            joined = near and not listed and (bool(after.units) or hedged) and (hedged or abs(high) <= 40)
            joined = joined or (not listed and low + 1 == high and low >= 4 and after.form == figure.form)
            low, high = min(low, high), max(low, high)
        elif gap in ("", "/", "slash") and unit_ok and not figure.units and figure.form not in ("ordinal", "money"):
            dual = {
                (208, 230),
                (115, 230),
                (208, 240),
                (220, 240),
                (200, 230),
                (120, 240),
                (110, 220),
                (230, 460),
                (115, 208),
                (265, 277),
                (200, 208),
                (380, 420),
                (575, 600),
                (208, 220),
                (120, 208),
                (440, 480),
                (110, 120),
                (220, 230),
                (200, 240),
                (460, 480),
            }
            joined = (low, high) in dual or (
                gap != "" and bool(after.units) and low < high <= 4 * low and "V" in after.units
            )
            joined = joined or (gap == "" and "uF" in after.units and 20 < low < high < 2 * low)
        if joined:
            out.append(
                replace(
                    after,
                    span=Span(figure.span.start, after.span.end),
                    number=Span(figure.number.start, after.number.end),
                    value=None,
                    low=low,
                    high=high,
                    units=_same_units(figure, after),
                    form="range",
                    also=(),
                    pair=None,
                    tolerance=after.tolerance,
                )
            )
            skip = True
        else:
            out.append(figure)
    return out


def tolerances(passage: Passage, figures: list[Figure]) -> list[Figure]:
    """Gives "plus or minus six percent" to the figure before it."""
    marks = list(_marks().find(passage))
    out = list(figures)
    for mark in marks:
        number = next((f for f in out if mark.span.start <= f.span.start <= mark.span.end + 1), None)
        owners = [
            f
            for f in out
            if f.span.end <= mark.span.start
            and mark.span.start - f.span.end <= 14
            and passage.tokens[f.span.start].sentence >= passage.tokens[mark.span.start].sentence - 1
        ]
        if number is None or number.value is None:
            continue
        percent = "%" in number.units
        wanted = [f for f in owners if "uF" in f.units]
        owner = wanted[-1] if wanted else (owners[-1] if owners else None)
        if owner is None and not percent:
            continue
        position = out.index(number)
        if owner is not None:
            at = out.index(owner)
            size = abs(number.value)
            in_percent = percent or (bool(wanted) and size in (3, 5, 6, 10, 15, 20) and not number.units)
            out[at] = replace(
                owner,
                tolerance=(size, size),
                tolerance_in_percent=in_percent,
                span=owner.span if mark.span.start - owner.span.end > 1 else Span(owner.span.start, number.span.end),
            )
            out[position] = replace(number, form="tolerance")
        else:
            out[position] = replace(number, form="tolerance alone")
    return out
