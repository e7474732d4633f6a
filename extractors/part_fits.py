"""Parts that went in: named beside a deed, or meant by "it", "one" and "new"."""

from __future__ import annotations

from extractors.facts import PartStatus
from extractors.part_nouns import PartNoun, number_at, parts_table
from extractors.part_talk import BACK, FAR, PartTalk
from extractors.passage import Span


def fitted(told: PartTalk) -> None:
    """Nouns beside a word that shows that they went in, and what "it" and "one" stand for."""
    for noun in told.nouns:
        because = _fits(told, noun)
        if because and _may_fit(told, noun):
            told.add(noun, PartStatus.USED, Span(noun.span.start, _quote_end(told, noun)), because)
    _used_lists(told)
    _counted_use(told)
    _beside_new(told)
    _deed_alone(told)
    _put_one_in(told)
    _new_alone(told)
    _sized(told)
    for hit in told.hits.get("stands_for", []):
        said = told.passage.said(hit.span).lower()
        loose = told.passage.joined_lines and said not in parts_table()["open_ended"]["say"]
        if not told.clear(hit.span) or not (loose or told.closes(hit.span.end)):
            continue
        stood_ready = bool(told.between("ready", hit.span.start - 28, hit.span.start))
        just_named = said in ("that's in", "that one's in") and bool(told.inside(hit.span.start - 16, hit.span.start))
        if said in parts_table()["stands_for"]["ready"] and not (stood_ready or just_named):
            continue
        many = bool({"them", "those", "all", "both", "ones"} & set(said.split()))
        meant = told.before(hit.span.start, many=many)
        if meant is None:
            continue
        first = hit.span.start - _counted(told, hit.span.start)
        number = next((n for i in range(first, hit.span.end) if (n := number_at(told.passage, i)) is not None), None)
        if number is None and (said.split()[-1] in ("that", "mine") or " it " in f" {said} "):
            number = 1
        told.add(meant, PartStatus.USED, hit.span, f"“{said}”", number)


def _used_lists(told: PartTalk) -> None:
    """As in "parts used, three cartridges and one O ring": all that is counted in the sentence after the heading."""
    for hit in told.hits.get("used_list", []):
        end = told.sentence_end(hit.span.start)
        for noun in told.inside(hit.span.end, end):
            article = told.passage.norm(noun.span.start - 1)
            if not noun.led and (noun.count or article in ("a", "an", "one", "the", ",", "and", "new")):
                told.add(noun, PartStatus.USED, noun.span, f"“{told.passage.said(hit.span)}” before it")


def _beside_new(told: PartTalk) -> None:
    """As in "New disconnect, 60 amp, fuses 45, 3 of them": what is counted beside something new went in with it."""
    fresh = {d.noun.head: d for d in told.drafts if d.because == "new" and d.status is PartStatus.USED}
    tokens = told.passage.tokens
    for noun in told.nouns:
        if noun.head in fresh or noun.led or noun.old or not noun.plural:
            continue
        near = [
            h
            for h in fresh
            if 0 < noun.head.start - h.end <= 12 and tokens[h.start].sentence == tokens[noun.head.start].sentence
        ]
        count = _many_after(told, noun.head.end)
        if near and count is not None:
            told.add(noun, PartStatus.USED, noun.span, "counted beside a new part", count)


def _many_after(told: PartTalk, end: int) -> int | None:
    """As in "3 of them" within a few tokens."""
    for index in range(end, end + 6):
        if number_at(told.passage, index) is not None and told.passage.norms[index + 1 : index + 3] in (
            ("of", "them"),
            ("of", "those"),
        ):
            return number_at(told.passage, index)
    return None


def _new_alone(told: PartTalk) -> None:
    """As in "That one goes. New, 5.0.": a new one of what was spoken of; "new one." as a whole sentence too."""
    passage = told.passage
    for index, norm in enumerate(passage.norms):
        if norm != "new":
            continue
        sentence = passage.sentence_span(index)
        end = index + 1 + (passage.norm(index + 1) in ("one", "ones"))
        opens = index == sentence.start
        alone = opens and (
            end >= sentence.end
            or passage.norm(end) in (",", ".")
            or (
                end == index + 1
                and passage.tokens[min(end, len(passage.tokens) - 1)].is_digits
                and passage.norm(end + 1) not in ("by", "inch", "pole", "amp")
            )
        )
        noun = told.before(index) if alone and told.clear(Span(index, end)) else None
        if noun is not None:
            told.add(noun, PartStatus.USED, Span(index, end), "“new” alone", 1)


def _deed_alone(told: PartTalk) -> None:
    """As in "Replaced.", "fitted, running": a sentence that begins with the deed and names nothing."""
    deeds = set(parts_table()["bare_deed"]["say"])
    for hit in told.hits.get("fit_before", []):
        start, end = hit.span.start, hit.span.end
        sentence = told.passage.sentence_span(start)
        if (
            told.passage.said(hit.span).lower() not in deeds
            or start - sentence.start > 1
            or told.inside(end, min(sentence.end, end + 4))
        ):
            continue
        count = number_at(told.passage, end)
        if not (
            end >= sentence.end
            or told.passage.norm(end) in (",", ".", "and")
            or (count and told.passage.norm(end + 1) == "of")
        ):
            continue
        noun = told.before(start, many=True if count else None)
        if noun is not None and told.clear(hit.span):
            told.add(noun, PartStatus.USED, hit.span, f"“{told.passage.said(hit.span)}” alone", count)


def _put_one_in(told: PartTalk) -> None:
    """As in "Put a 20 pound one in": one of what was spoken of, said by its size."""
    for index, norm in enumerate(told.passage.norms):
        if norm != "put" or told.passage.norm(index + 1) not in ("a", "an"):
            continue
        for end in range(index + 3, index + 7):
            if (
                told.passage.norm(end) == "one"
                and told.passage.norm(end + 1) in ("in", "on")
                and not told.inside(index, end)
            ):
                noun = told.before(index)
                if noun is not None and told.clear(Span(index, end + 2)):
                    told.add(noun, PartStatus.USED, Span(index, end + 2), "“put one in”", 1)


def _counted_use(told: PartTalk) -> None:
    """As in "Filters, I used 2": how many of what was named before."""
    for hit in told.hits.get("fit_before", []):
        if told.passage.said(hit.span).lower() != "i used" or not told.clear(hit.span):
            continue
        count = number_at(told.passage, hit.span.end)
        noun = told.before(hit.span.start)
        if count is not None and noun is not None and not told.inside(hit.span.end, hit.span.end + 3):
            told.add(noun, PartStatus.USED, Span(hit.span.start, hit.span.end + 1), "“I used” and how many", count)


def _sized(told: PartTalk) -> None:
    """As in "New 16 by 25 by 4": a filter that only its size names."""
    passage = told.passage
    for index, norm in enumerate(passage.norms):
        if norm != "new" or number_at(passage, index + 1) is None or passage.norm(index + 2) != "by":
            continue
        noun = next((n for n in reversed(told.inside(index - BACK, index)) if n.component.endswith("filter")), None)
        if noun is not None and told.clear(Span(index, index + 4)):
            told.add(noun, PartStatus.USED, Span(index, index + 4), "“new” and its size", 1)


def _counted(told: PartTalk, start: int) -> bool:
    """Whether the word before "new ones in" counts them and is no end of a figure."""
    if start == 0 or not told.one_line(start - 1, start) or number_at(told.passage, start - 1) is None:
        return False
    before = told.passage.norm(start - 2)
    return before != "point" and number_at(told.passage, start - 2) is None


def _quote_end(told: PartTalk, noun: PartNoun) -> int:
    ends = [h.span.end for h in told.between("fit_after", noun.head.end, noun.head.end + 1)]
    return max([noun.head.end, *ends])


def _fits(told: PartTalk, noun: PartNoun) -> str:
    """What shows that a noun went in, or nothing."""
    passage = told.passage
    if noun.old or (noun.component in parts_table()["tool"]["say"] and not noun.new):
        return ""
    if noun.new and not noun.led:
        return "new"
    after = told.between("fit_after", noun.head.end, noun.head.end + 1)
    if after:
        longest = max(after, key=lambda h: h.span.end)
        said = passage.said(longest.span).lower()
        following = passage.norm(longest.span.end)
        closed = (told.closes(longest.span.end) or following == "three") and not (
            following == "there" and said.startswith("are")
        )
        if closed and said.split()[-1] == "in" and not noun.led and said not in ("in",):
            return f"“{said}” after it"
        deed = said.split()[-1] in ("changed", "replaced", "swapped", "installed", "fitted")
        counted = said == "used" and noun.count is not None
        loosely = ("in", "on", "'s on", "is on", "are on", "used", "in there")
        if (closed or deed or counted) and (counted or said not in loosely):
            return f"“{said}” after it"
    start = noun.span.start
    while start > 0 and passage.norm(start - 1) in (
        "the",
        "a",
        "an",
        "another",
        "my",
        "our",
        "both",
        "all",
        "that",
        "in",
    ):
        start -= 1
    for hit in told.between("fit_before", start - 4, noun.span.start + 1):
        if (
            hit.span.end < start
            or hit.span.start >= noun.head.start
            or not told.one_line(hit.span.start, noun.head.start)
        ):
            continue
        said = passage.said(hit.span).lower()
        article = passage.norm(noun.span.start - 1)
        if said in ("put", "put the", "put on", "put a") and not _goes_in(told, noun):
            continue
        if said in ("changed", "changing") and (
            passage.norm(noun.head.end) in ("from", "to", "setting")
            or (noun.component in ("thermostat", "controller", "defrost timer") and article != "a")
        ):
            continue
        if said == "used" and not (
            article in ("a", "one") or noun.count or passage.norm(hit.span.start - 1) in ("i", "parts", "we")
        ):
            continue
        if said in ("hung", "set the new", "new"):
            continue
        return f"“{said}” before it"
    return ""


def _goes_in(told: PartTalk, noun: PartNoun) -> bool:
    """As in "Put the relay in": the word that closes it stands right after the noun; "put a belt on" too."""
    after, then = told.passage.norm(noun.head.end), told.passage.norm(noun.head.end + 1)
    return after in ("in", "on") and then in (
        "",
        ",",
        ".",
        "and",
        "it",
        "there",
        "now",
        "so",
        "that",
        "for",
        "off",
        "instead",
    )


def _may_fit(told: PartTalk, noun: PartNoun) -> bool:
    counted = noun.common and (noun.count is not None or told.passage.norm(noun.span.start - 1) == "one")
    if noun.seldom and not noun.new and not counted and not _replaced(told, noun):
        return False
    return told.clear(Span(noun.span.start, noun.head.end))


def _replaced(told: PartTalk, noun: PartNoun) -> bool:
    """Whether a verb that leaves no doubt stands before a noun: "replaced the compressor"."""
    firm = parts_table()["fit"]["firm"]
    hits = told.between("fit_before", noun.span.start - 5, noun.span.start + 1)
    return any(told.passage.said(h.span).lower() in firm and h.span.end <= noun.head.start for h in hits)


def by_rating(told: PartTalk) -> None:
    """As in "10 mike's in", "new 10 is in there": a capacitor that only its rating names."""
    for hit in told.hits.get("fit_after", []):
        said = told.passage.said(hit.span).lower()
        if said.split()[-1] not in ("in", "there") or not told.closes(hit.span.end) or not told.clear(hit.span):
            continue
        figure = told.figure_ends.get(hit.span.start)
        if figure is None or not (
            "uF" in figure.units or (not figure.units and told.passage.norm(figure.span.start - 1) == "new")
        ):
            continue
        noun = next(
            (n for n in reversed(told.inside(hit.span.start - FAR, hit.span.start)) if "capacitor" in n.component),
            None,
        )
        if noun is not None:
            told.add(noun, PartStatus.USED, Span(figure.span.start, hit.span.end), f"“{said}” after its rating", 1)
