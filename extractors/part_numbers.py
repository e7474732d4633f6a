"""Gives parts their numbers, how many they are, and their rating as said."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace

from extractors.facts import PartStatus
from extractors.identifiers import Identifier
from extractors.part_nouns import PartNoun, number_at, parts_table
from extractors.part_talk import BACK, Draft, PartTalk
from extractors.passage import Span

RATED = frozenset(
    ["uF", "V", "A", "W", "kW", "hp", "rpm", "in", "mm", "cm", "ton", "psig", "ohm", "kohm", "degF", "ft"]
)


def number_all(told: PartTalk) -> None:
    """Gives every part number to the part that it was said of; one that nothing else told of is a part by it."""
    for one in told.numbers:
        noun = _owner(told, one)
        if noun is None:
            continue
        at = _drafted(told, noun, one)
        if at is not None:
            told.drafts[at] = replace(told.drafts[at], number=one)
            continue
        status = _status(told, one, noun)
        told.drafts.append(
            Draft(
                noun,
                status,
                Span(min(noun.span.start, one.span.start), max(one.span.end, noun.head.end)),
                "its number was said",
                None,
                one,
            )
        )


def _owner(told: PartTalk, one: Identifier) -> PartNoun | None:
    """The part that a number was said of.

    The noun inside its announcement ("gauge number is"), else of the nouns before it in its sentence or of the last
    few one that went in or was at fault, else the nearest, else the one right after it.
    """
    start, spelled = one.span.start, one.spelled.span
    named = [n for n in told.inside(start - 4, spelled.start) if n.head.end == start or n.head.start >= start]
    if named:
        return named[-1]
    sentence = told.passage.sentence_span(start)
    inside = told.inside(max(sentence.start, start - 30), start)
    same = [n for n in inside if not n.led] or inside
    drafted = {d.noun.component for d in told.drafts if d.number is None}
    heads = {d.noun.head for d in told.drafts if d.number is None}
    lately = [n for n in told.inside(start - BACK, start) if not n.led and (not n.seldom or n.head in heads)]
    if same:
        return max(same, key=lambda n: _weight(told, n, drafted) / 2.5 - _apart(told, n.head.end, start) / 6)
    if lately:
        return max(lately, key=lambda n: _weight(told, n, drafted) - _apart(told, n.head.end, start) / 12)
    after = told.inside(one.span.end, one.span.end + 8)
    return after[0] if after else told.before(start)


def _apart(told: PartTalk, start: int, end: int) -> int:
    """Tokens between two places, those of other numbers left out."""
    return sum(i not in told.used for i in range(start, end))


def _status(told: PartTalk, one: Identifier, noun: PartNoun) -> PartStatus:
    """What a part is that only its number tells of: under a heading, near an order, in store, else used."""
    listed = told.section(one.span.start)
    if listed is not None:
        return listed
    if _order_near(told, one, noun):
        return PartStatus.TO_ORDER
    sentence = told.passage.sentence_span(one.span.start)
    strong = parts_table()["on_hand"]["strong"]
    stored = [
        h for h in told.between("on_hand", sentence.start, sentence.end) if told.passage.said(h.span).lower() in strong
    ]
    return PartStatus.ON_HAND if stored else PartStatus.USED


def _weight(told: PartTalk, noun: PartNoun, drafted: set[str]) -> float:
    """How likely a number is of a noun: it is new, it went in, it was at fault."""
    return 3.0 * noun.new + 2.0 * (noun.component in drafted) + 1.5 * (noun.component in told.troubled)


def _drafted(told: PartTalk, noun: PartNoun, one: Identifier) -> int | None:
    """The draft of the same component that a number belongs to: of one status where an order is spoken of."""
    wanted = _status(told, one, noun)
    fits = [
        (d.status is not wanted, abs(d.span.start - one.span.start), at)
        for at, d in enumerate(told.drafts)
        if (d.noun.component == noun.component or d.noun.head == noun.head) and d.number is None
    ]
    fits = [f for f in fits if not f[0] or f[1] <= BACK]
    return min(fits)[2] if fits else None


def _order_near(told: PartTalk, one: Identifier, noun: PartNoun) -> bool:
    """Whether an order is spoken of in the sentence of a number, or right after it."""
    start, end = one.span.start, one.spelled.spans[-1].end
    sentence = told.passage.sentence_span(start)
    begin = max(sentence.start, start - 60)
    if told.passage.tokens[start].sentence == told.passage.tokens[noun.head.start].sentence:
        begin = min(begin, noun.span.start)
    stop = min(told.sentence_end(end - 1), end + 4)
    goes_on = end < len(told.passage.tokens) and told.one_line(start, end)
    follows = told.between("order", end, min(end + 3, len(told.passage.tokens))) if goes_on else []
    back = told.between("order", start - 8, start) if sentence.start > start - 8 and told.passage.joined_lines else []
    return any(not told.no_order(h.span) for h in [*told.between("order", begin, stop), *follows, *back])


def same_numbers(told: PartTalk) -> None:
    """As in "Same number": an ordered part takes the number of the one of its kind that was used."""
    for at, draft in enumerate(told.drafts):
        if draft.number is not None or draft.status is not PartStatus.TO_ORDER:
            continue
        near = told.between("same", draft.span.start - 14, draft.span.end + 12)
        twin = next((d for d in told.drafts if d.number is not None and d.noun.component == draft.noun.component), None)
        if near and twin is not None:
            told.drafts[at] = replace(draft, number=twin.number)


def count(told: PartTalk, draft: Draft) -> int | None:
    """How many: said with the noun, right after it or its number, or one for a single noun."""
    corrected = _make_it(told, draft)
    if corrected is not None:
        return corrected
    if draft.count:
        return draft.count
    if draft.noun.count:
        return draft.noun.count
    for end in {draft.noun.head.end, draft.span.end, *((draft.number.span.end,) if draft.number else ())}:
        found = _count_after(told, end)
        if found is not None:
            return found
    return _at_the_end(told, draft) if draft.noun.plural else 1


def _make_it(told: PartTalk, draft: Draft) -> int | None:
    """As in "gaskets, one, no, make it two": the count that was put right in the sentence."""
    sentence = told.passage.sentence_span(draft.noun.head.start)
    for index in range(draft.noun.head.end, sentence.end - 2):
        if told.passage.norms[index : index + 2] in (("make", "it"), ("make", "that")):
            return number_at(told.passage, index + 2)
    return None


def _at_the_end(told: PartTalk, draft: Draft) -> int | None:
    """As in "order belts for next year, 2.": a number alone at the end of the sentence of many."""
    sentence = told.passage.sentence_span(draft.noun.head.start)
    last = sentence.end - 1
    while last > draft.noun.head.end and told.passage.norm(last) in (".", ","):
        last -= 1
    lonely = told.passage.norm(last - 1) == "," and last not in told.used
    others = [n for n in told.inside(draft.noun.head.end, sentence.end) if not n.led]
    return number_at(told.passage, last) if lonely and not others else None


def _count_after(told: PartTalk, end: int) -> int | None:
    """As in "..., two of them", "quantity 3", ", 1", ". one of": how many, right after a part or its number."""
    passage = told.passage
    table = parts_table()["count"]
    for step in range(5):
        index = end + step
        norm = passage.norm(index)
        number = number_at(passage, index) if index not in told.used else None
        if number is not None:
            before, after = passage.norm(index - 1), passage.norm(index + 1)
            if before in table["before"] or after in table["after"]:
                return number
            alone = before in (",", ".", "it") and (
                after in ("", ".", ",", "and", "i")
                or index + 1 >= len(passage.tokens)
                or passage.tokens[index + 1].segment != passage.tokens[index].segment
            )
            if step <= 2 and alone and number <= 12:
                return number
            return None
        if not (
            norm
            in (
                ",",
                ".",
                "and",
                "i",
                "used",
                "it's",
                "too",
                "just",
                "get",
                "quantity",
                "we",
                "in",
                "'s",
                "all",
                "of",
                "the",
                "now",
                "that's",
                "for",
            )
            or norm in table["before"]
        ):
            return None
    return None


def rating(told: PartTalk, draft: Draft) -> str | None:
    """The figures right beside a part as they were said: "145 to 175, 330 volts"."""
    figures = told.talk.figures
    begin = draft.noun.span.start
    at = (
        bisect_left([f.span.start for f in figures], begin)
        if len(figures) < 400
        else next((i for i, f in enumerate(figures) if f.span.start >= begin), len(figures))
    )
    spans: list[Span] = []
    edge = draft.noun.head.end
    for figure in figures[at : at + 5]:
        inside = figure.span.end <= draft.noun.head.start
        close = 0 <= figure.span.start - edge <= 3 and all(
            told.passage.norm(i) in (",", "a", "and", "it's", "is", "at") for i in range(edge, figure.span.start)
        )
        if not (inside or close) or any(i in told.used for i in range(figure.span.start, figure.span.end)):
            break
        if set(figure.units) & RATED or inside:
            spans.append(figure.span)
        edge = figure.span.end
    return told.passage.said(Span(spans[0].start, spans[-1].end)) if spans else None
