"""Parts used, to order and on hand, each with its number, how many and its rating as said."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from extractors.facts import Condition, FindingStatus, Part, PartStatus
from extractors.identifiers import PART, Identifier, identifiers
from extractors.part_nouns import PartNoun, number_at, part_nouns, parts_table, unknown_nouns
from extractors.passage import Passage, Span
from extractors.phrases import Hit, Phrases
from extractors.registry import Extractor, Found
from extractors.talk import Talk

BACK = 70  # tokens to what "it" and "one" stand for
CLOSERS = frozenset([",", ".", ";", "and", "now", "so", "there", "for", "with", "too", "also", "instead", "then", "as", "all", "while", "but", "where", "because", "when", "i", "that", "in", "on", "at", "by"])
FAR = 300  # tokens back to what was found at fault, where nothing nearer was named
LIST = 26  # tokens over which a list that is to be ordered goes on
RATED = frozenset(["uF", "V", "A", "W", "kW", "hp", "rpm", "in", "mm", "cm", "ton", "psig", "ohm", "kohm", "degF", "ft"])


@dataclass(frozen=True, slots=True)
class Draft:
    """A part on its way."""

    noun: PartNoun
    status: PartStatus
    span: Span
    because: str
    count: int | None = None
    number: Identifier | None = None


@cache
def _cues() -> Phrases:
    table = parts_table()
    rows = [("order", p) for p in table["order"]["say"]] + [("order_after", p) for p in table["order"]["after"]]
    rows += [("no_order", p) for p in table["order"]["not"]]
    rows += [("fit_before", p) for p in table["fit"]["before"]] + [("fit_after", p) for p in table["fit"]["after"]]
    rows += [("not_fitted", p) for p in table["not_fitted"]["say"]] + [("not_yet", p) for p in table["not_fitted"]["sentence"]]
    rows += [("ready", p) for p in table["ready"]["say"]] + [("stands_for", p) for p in table["stands_for"]["say"]]
    rows += [("on_hand", p) for p in table["on_hand"]["say"]] + [("same", p) for p in table["same"]["say"]]
    return Phrases(rows)


def _troubled(found: Found) -> frozenset[str]:
    """Components that were found at fault, as far as findings are known."""
    findings = found.facts.get("findings") or ()
    return frozenset(
        f.component for f in findings
        if f.status is not FindingStatus.RULED_OUT and f.condition not in (Condition.NORMAL, Condition.RUNNING)
    )


def _machine(found: Found) -> str:
    """The kind of machine, where it is known."""
    equipment = found.facts.get("equipment")
    kind = equipment[0].type if equipment else None
    return kind.value.lower() if kind is not None else ""


class _Parts:
    """Nouns, numbers and cues of one talk."""

    def __init__(self, talk: Talk, found: Found) -> None:
        self.talk, self.passage = talk, talk.passage
        self.troubled = _troubled(found)
        self.nouns = part_nouns(talk, self.troubled, _machine(found))
        stops = frozenset(span.start for span, field in found.used.items() if field == "equipment.refrigerant")
        self.numbers = [i for i in identifiers(talk, stops) if i.kind == PART]
        self.used = {i for span in found.used for i in range(span.start, span.end)}
        self.hits: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self.hits.setdefault(hit.label, []).append(hit)
        self.starts = {label: [h.span.start for h in hits] for label, hits in self.hits.items()}
        self.nouns = sorted([*self.nouns, *unknown_nouns(talk, self._sure(), self.nouns)], key=lambda n: n.head)
        self.heads = [n.head.start for n in self.nouns]
        self.figure_ends = {f.span.end: f for f in talk.figures}
        self.drafts: list[Draft] = []

    def _sure(self) -> list[int]:
        """Tokens at which a part is sure to be named, whatever it is called."""
        table = parts_table()
        firm = set(table["fit"]["firm"])
        starts = [h.span.end for h in self.hits.get("order", []) if self.passage.said(h.span).lower() not in table["order"]["weak"] and not self._no_order(h.span)]
        starts += [h.span.end for h in self.hits.get("fit_before", []) if self.passage.said(h.span).lower() in firm]
        return starts

    def between(self, label: str, start: int, end: int) -> list[Hit]:
        """Cues of a kind that begin in [start, end)."""
        starts = self.starts.get(label, [])
        return self.hits.get(label, [])[bisect_left(starts, start) : bisect_left(starts, end)]

    def before(self, token: int, *, plain: bool = True, many: bool | None = None) -> PartNoun | None:
        """What "it" may stand for: near, in the same sentence, found at fault, or new. `many`: "them", so several;
        false for "it" and "one", null where the words do not tell.

        `plain` leaves out nouns that only tell a place.
        """
        tokens = self.passage.tokens
        sentence = tokens[min(token, len(tokens) - 1)].sentence
        best: tuple[float, PartNoun] | None = None
        at, rank = bisect_left(self.heads, token) - 1, 0
        while at >= 0 and token - self.nouns[at].head.end <= FAR:
            noun = self.nouns[at]
            at -= 1
            whole = noun.seldom and not noun.common
            tool = noun.component in parts_table()["tool"]["say"]
            if (plain and noun.led) or noun.old or ((whole or tool) and not noun.new):
                continue
            apart = token - noun.head.end
            troubled = noun.component in self.troubled
            if apart > BACK and (best is not None or not troubled):
                continue
            same = tokens[noun.head.start].sentence == sentence
            weight = (-1.5 if noun.plural and many is False else 0.0) + 2.0 * same + 1.2 * troubled + 0.7 * noun.new + 1.0 * bool(many and noun.plural) - 0.9 * rank - apart / 60
            rank += 1
            if best is None or weight > best[0]:
                best = weight, noun
        return best[1] if best is not None else None

    def inside(self, start: int, end: int) -> list[PartNoun]:
        """The nouns whose heads begin in [start, end)."""
        return self.nouns[bisect_left(self.heads, start) : bisect_left(self.heads, end)]

    def sentence_end(self, token: int) -> int:
        """The end of a token's sentence."""
        return self.passage.sentence_span(token).end

    # ------------------------------------------------------------ to order
    def order(self) -> None:
        """What stands after "order", in a list or alone, or what "it" stands for."""
        weak = set(parts_table()["order"]["weak"])
        done = -1
        for hit in self.hits.get("order", []):
            if hit.span.start < done or self._no_order(hit.span):
                continue
            end = max(h.span.end for h in self.between("order", hit.span.start, hit.span.start + 3))
            said = self.passage.said(Span(hit.span.start, end)).lower()
            done = max(end, self._ordered(hit, end, said, said in weak))
        for hit in self.hits.get("order_after", []):
            noun = self.before(hit.span.start, plain=False)
            if noun is None or hit.span.start - noun.head.end > 8 or self.passage.tokens[noun.head.start].sentence != self.passage.tokens[hit.span.start].sentence:
                continue
            said = self.passage.said(hit.span).lower()
            if said.startswith("for") or said.startswith("on the shelf") or self._no_order(hit.span):
                continue  # only where "order" stands before it
            self._add(noun, PartStatus.TO_ORDER, Span(noun.span.start, hit.span.end), said)

    def _no_order(self, span: Span) -> bool:
        if self.passage.norm(span.start - 1) in ("they", "he", "she", "you", "who"):
            return True
        return any(h.span.start <= span.start < h.span.end for h in self.between("no_order", span.start - 4, span.end))

    def _ordered(self, hit: Hit, end: int, said: str, weak: bool) -> int:
        """Files what an order cue leads to; returns the token up to which it reached."""
        passage = self.passage
        start = hit.span.start
        if end < len(passage.tokens) and not self._one_line(start, end) and passage.norm(end - 1) not in (",", ":", ".") and not self._alone(start, end):
            return end
        ends_line = end >= len(passage.tokens) or passage.tokens[end].segment != passage.tokens[end - 1].segment
        closed = passage.norm(end) in (".", ",", ":") or ends_line
        before = number_at(passage, start - 1) if start else None
        if "to order" in said and (before is not None or self.between("same", start - 6, start)):
            noun = self.before(start, plain=False)  # "same part, 1 to order"
            if noun is not None:
                self._add(noun, PartStatus.TO_ORDER, Span(start - (before is not None), end), f"“{said}” after it", before)
            return end
        count = self._pronoun_count(end)
        if count is None and said == "order" and closed and self._alone(start, end):
            noun = self.before(start)  # "door seal. order."
            if noun is not None and start - noun.head.end <= 2:
                count = 0
        if count is not None:
            noun = self.before(start)
            if noun is not None:
                last = min(end + 1, len(passage.tokens))
                self._add(noun, PartStatus.TO_ORDER, Span(start, last), f"“{said}” and what it stands for", count or None)
                self._listed(last, min(self.sentence_end(start) + 1, last + 2), said)
                return end
        limit = self.sentence_end(start)
        if passage.norm(end) == "." or (limit - end <= 1 and closed):
            limit = max(limit, self.sentence_end(min(limit, len(passage.tokens) - 1)))
        limit = min(limit, end + LIST)
        last = end
        for noun in self.inside(end, limit):
            gap = [passage.norm(i) for i in range(last, noun.span.start)]
            direct = last == end and noun.span.start - end <= 1
            if (noun.led and not direct) or noun.span.start - last > (4 if weak and last == end else 12):
                continue
            if last == end and weak and any(w in ("to", "back", "the", "that", "this", "it") for w in gap):
                break
            if last > end and any(w in (".", "i", "he", "she", "told", "because", "so", "but") for w in gap) and not closed:
                break
            self._add(noun, PartStatus.TO_ORDER, Span(min(start, noun.span.start), noun.head.end), f"“{said}” before it")
            last = noun.head.end
        return max(last, end)

    def _alone(self, start: int, end: int) -> bool:
        """Whether a stretch is a sentence of its own."""
        sentence = self.passage.sentence_span(start)
        return start - sentence.start <= 1 and sentence.end - end <= 1

    def _listed(self, start: int, end: int, said: str) -> None:
        """Counted nouns and nothing else in the sentence after "I'll order that": "so one gauge and one end cap"."""
        for at in range(start, min(end, len(self.passage.tokens))):
            sentence = self.passage.sentence_span(at)
            nouns = [n for n in self.inside(sentence.start, sentence.end) if n.count]
            if sentence.start >= start and nouns and nouns[-1].head.end - sentence.start <= 5 * len(nouns) + 3:
                for noun in nouns:
                    self._add(noun, PartStatus.TO_ORDER, noun.span, f"“{said}” in the sentence before")
                return

    def _pronoun_count(self, index: int) -> int | None:
        """ "one", "it", "4", "one of those" right after a cue: how many, zero where not said; None for a noun."""
        passage = self.passage
        norm, after = passage.norm(index), passage.norm(index + 1)
        if norm == "a" and after in ("pair", "couple", "set"):
            return 0 if after == "set" else 2
        if norm in ("it", "them", "those", "that"):
            return 0 if after in ("", ".", ",", "and", "so", "in", "from", "today", "for", "i", "g") or len(after) == 1 else None
        number = number_at(passage, index)
        if number is None:
            return None
        if after == "more" and self.inside(index + 2, index + 7):
            return None
        if after in ("", ".", ",", "of", "and", "for", "i", "it's", "it", "so", "in", "more") or passage.tokens[min(index + 1, len(passage.tokens) - 1)].segment != passage.tokens[index].segment:
            return None if after == "of" and passage.norm(index + 2) not in ("those", "them", "these") else number
        return None

    # ------------------------------------------------------------ fitted
    def fitted(self) -> None:
        """Nouns beside a word that shows that they went in, and what "it" and "one" stand for."""
        for noun in self.nouns:
            because = self._fits(noun)
            if because and self._may_fit(noun):
                self._add(noun, PartStatus.USED, Span(noun.span.start, self._quote_end(noun)), because)
        self._counted_use()
        self._beside_new()
        self._deed_alone()
        self._put_one_in()
        self._new_alone()
        self._sized()
        for hit in self.hits.get("stands_for", []):
            said = self.passage.said(hit.span).lower()
            loose = self.passage.joined_lines and said not in parts_table()["open_ended"]["say"]
            if not self._clear(hit.span) or not (loose or self._closes(hit.span.end)):
                continue
            stood_ready = bool(self.between("ready", hit.span.start - 28, hit.span.start))
            just_named = said in ("that's in", "that one's in") and bool(self.inside(hit.span.start - 16, hit.span.start))
            if said in parts_table()["stands_for"]["ready"] and not (stood_ready or just_named):
                continue
            many = bool({"them", "those", "all", "both", "ones"} & set(said.split()))
            noun = self.before(hit.span.start, many=many)
            if noun is None:
                continue
            first = hit.span.start - self._counted(hit.span.start)
            number = next((n for i in range(first, hit.span.end) if (n := number_at(self.passage, i)) is not None), None)
            if number is None and said.split()[-1] in ("it", "that", "mine") or " it " in f" {said} ":
                number = 1
            self._add(noun, PartStatus.USED, hit.span, f"“{said}”", number)

    def _beside_new(self) -> None:
        """ "New disconnect, 60 amp, fuses 45, 3 of them": what is counted beside something new went in with it."""
        fresh = {d.noun.head: d for d in self.drafts if d.because == "new" and d.status is PartStatus.USED}
        tokens = self.passage.tokens
        for noun in self.nouns:
            if noun.head in fresh or noun.led or noun.old or not noun.plural:
                continue
            near = [h for h in fresh if 0 < noun.head.start - h.end <= 12 and tokens[h.start].sentence == tokens[noun.head.start].sentence]
            count = self._many_after(noun.head.end)
            if near and count is not None:
                self._add(noun, PartStatus.USED, noun.span, "counted beside a new part", count)

    def _many_after(self, end: int) -> int | None:
        """ "3 of them" within a few tokens."""
        for index in range(end, end + 6):
            if number_at(self.passage, index) is not None and self.passage.norms[index + 1 : index + 3] in (("of", "them"), ("of", "those")):
                return number_at(self.passage, index)
        return None

    def _new_alone(self) -> None:
        """ "That one goes. New, 5.0.": a new one of what was spoken of; "new one." as a whole sentence too."""
        passage = self.passage
        for index, norm in enumerate(passage.norms):
            if norm != "new":
                continue
            sentence = passage.sentence_span(index)
            end = index + 1 + (passage.norm(index + 1) in ("one", "ones"))
            opens = index == sentence.start
            alone = opens and (end >= sentence.end or passage.norm(end) in (",", ".") or (end == index + 1 and passage.tokens[min(end, len(passage.tokens) - 1)].is_digits and passage.norm(end + 1) not in ("by", "inch", "pole", "amp")))
            noun = self.before(index) if alone and self._clear(Span(index, end)) else None
            if noun is not None:
                self._add(noun, PartStatus.USED, Span(index, end), "“new” alone", 1)

    def _deed_alone(self) -> None:
        """ "Replaced.", "fitted, running": a sentence that begins with the deed and names nothing."""
        deeds = set(parts_table()["bare_deed"]["say"])
        for hit in self.hits.get("fit_before", []):
            start, end = hit.span.start, hit.span.end
            sentence = self.passage.sentence_span(start)
            if self.passage.said(hit.span).lower() not in deeds or start - sentence.start > 1 or self.inside(end, min(sentence.end, end + 4)):
                continue
            count = number_at(self.passage, end)
            if not (end >= sentence.end or self.passage.norm(end) in (",", ".", "and") or (count and self.passage.norm(end + 1) == "of")):
                continue
            noun = self.before(start, many=True if count else None)
            if noun is not None and self._clear(hit.span):
                self._add(noun, PartStatus.USED, hit.span, f"“{self.passage.said(hit.span)}” alone", count)

    def _put_one_in(self) -> None:
        """ "Put a 20 pound one in": one of what was spoken of, said by its size."""
        for index, norm in enumerate(self.passage.norms):
            if norm != "put" or self.passage.norm(index + 1) not in ("a", "an"):
                continue
            for end in range(index + 3, index + 7):
                if self.passage.norm(end) == "one" and self.passage.norm(end + 1) in ("in", "on") and not self.inside(index, end):
                    noun = self.before(index)
                    if noun is not None and self._clear(Span(index, end + 2)):
                        self._add(noun, PartStatus.USED, Span(index, end + 2), "“put one in”", 1)

    def _counted_use(self) -> None:
        """ "Filters, I used 2": how many of what was named before."""
        for hit in self.hits.get("fit_before", []):
            if self.passage.said(hit.span).lower() != "i used" or not self._clear(hit.span):
                continue
            count = number_at(self.passage, hit.span.end)
            noun = self.before(hit.span.start)
            if count is not None and noun is not None and not self.inside(hit.span.end, hit.span.end + 3):
                self._add(noun, PartStatus.USED, Span(hit.span.start, hit.span.end + 1), "“I used” and how many", count)

    def _sized(self) -> None:
        """ "New 16 by 25 by 4": a filter that only its size names."""
        passage = self.passage
        for index, norm in enumerate(passage.norms):
            if norm != "new" or number_at(passage, index + 1) is None or passage.norm(index + 2) != "by":
                continue
            noun = next((n for n in reversed(self.inside(index - BACK, index)) if n.component.endswith("filter")), None)
            if noun is not None and self._clear(Span(index, index + 4)):
                self._add(noun, PartStatus.USED, Span(index, index + 4), "“new” and its size", 1)

    def _counted(self, start: int) -> bool:
        """Whether the word before "new ones in" counts them and is no end of a figure."""
        if start == 0 or not self._one_line(start - 1, start) or number_at(self.passage, start - 1) is None:
            return False
        before = self.passage.norm(start - 2)
        return before != "point" and number_at(self.passage, start - 2) is None

    def _closes(self, end: int) -> bool:
        """Whether nothing goes on after "put it on": "put it on auto" tells of a setting."""
        tokens = self.passage.tokens
        return end >= len(tokens) or (
            tokens[end].segment != tokens[end - 1].segment or tokens[end].norm in CLOSERS or number_at(self.passage, end) is not None
        )

    def _quote_end(self, noun: PartNoun) -> int:
        ends = [h.span.end for h in self.between("fit_after", noun.head.end, noun.head.end + 1)]
        return max([noun.head.end, *ends])

    def _fits(self, noun: PartNoun) -> str:
        """What shows that a noun went in, or nothing."""
        passage = self.passage
        if noun.old or (noun.component in parts_table()["tool"]["say"] and not noun.new):
            return ""
        if noun.new and not noun.led:
            return "new"
        after = [h for h in self.between("fit_after", noun.head.end, noun.head.end + 1)]
        if after:
            longest = max(after, key=lambda h: h.span.end)
            said = passage.said(longest.span).lower()
            following = passage.norm(longest.span.end)
            closed = (self._closes(longest.span.end) or following == "three") and not (following == "there" and said.startswith("are"))
            if closed and said.split()[-1] == "in" and not noun.led and said not in ("in",):
                return f"“{said}” after it"
            deed = said.split()[-1] in ("changed", "replaced", "swapped", "installed", "fitted")
            if (closed or deed) and said not in ("in", "on", "'s on", "is on", "are on", "used", "in there"):
                return f"“{said}” after it"
        start = noun.span.start
        while start > 0 and passage.norm(start - 1) in ("the", "a", "an", "another", "my", "our", "both", "all", "that", "in"):
            start -= 1
        for hit in self.between("fit_before", start - 4, noun.span.start + 1):
            if hit.span.end < start or hit.span.start >= noun.head.start or not self._one_line(hit.span.start, noun.head.start):
                continue
            said = passage.said(hit.span).lower()
            article = passage.norm(noun.span.start - 1)
            if said in ("put", "put the", "put on", "put a") and not self._goes_in(noun):
                continue
            if said in ("changed", "changing") and (passage.norm(noun.head.end) in ("from", "to", "setting") or noun.component in ("thermostat", "controller", "defrost timer") and not article == "a"):
                continue
            if said == "used" and not (article in ("a", "one") or noun.count or passage.norm(hit.span.start - 1) in ("i", "parts", "we")):
                continue
            if said in ("hung", "set the new", "new"):
                continue
            return f"“{said}” before it"
        return ""

    def _one_line(self, one: int, other: int) -> bool:
        tokens = self.passage.tokens
        return self.passage.joined_lines or tokens[one].segment == tokens[other].segment

    def _goes_in(self, noun: PartNoun) -> bool:
        """ "Put the relay in": the word that closes it stands right after the noun; "put a belt on" too."""
        after, then = self.passage.norm(noun.head.end), self.passage.norm(noun.head.end + 1)
        return after in ("in", "on") and then in ("", ",", ".", "and", "it", "there", "now", "so", "that", "for", "off", "instead")

    def _may_fit(self, noun: PartNoun) -> bool:
        if noun.seldom and not noun.new and not self._replaced(noun):
            return False
        return self._clear(Span(noun.span.start, noun.head.end))

    def _replaced(self, noun: PartNoun) -> bool:
        """Whether a verb that leaves no doubt stands before a noun: "replaced the compressor"."""
        firm = parts_table()["fit"]["firm"]
        hits = self.between("fit_before", noun.span.start - 5, noun.span.start + 1)
        return any(self.passage.said(h.span).lower() in firm and h.span.end <= noun.head.start for h in hits)

    def _clear(self, span: Span) -> bool:
        """Whether nothing beside a stretch says that it was not done, or not by us, or not now."""
        passage = self.passage
        clause = passage.clause_span(span.start)
        near = (max(clause.start, span.start - 9), min(clause.end, span.end + 5))
        blocked = [h for h in self.between("not_fitted", *near) if not h.span.overlaps(span)]
        if blocked:
            return False
        sentence = passage.sentence_span(span.start)
        return not self.between("not_yet", max(sentence.start, span.start - 25), min(sentence.end, span.end + 8))

    def by_rating(self) -> None:
        """ "10 mike's in", "new 10 is in there": a capacitor that only its rating names."""
        for hit in self.hits.get("fit_after", []):
            said = self.passage.said(hit.span).lower()
            if said.split()[-1] not in ("in", "there") or not self._closes(hit.span.end) or not self._clear(hit.span):
                continue
            figure = self.figure_ends.get(hit.span.start)
            if figure is None or not ("uF" in figure.units or (not figure.units and self.passage.norm(figure.span.start - 1) == "new")):
                continue
            noun = next((n for n in reversed(self.inside(hit.span.start - FAR, hit.span.start)) if "capacitor" in n.component), None)
            if noun is not None:
                self._add(noun, PartStatus.USED, Span(figure.span.start, hit.span.end), f"“{said}” after its rating", 1)

    # ------------------------------------------------------------ on hand
    def in_the_van(self) -> None:
        """What is left or lies ready: "I have two more in the van"."""
        strong = set(parts_table()["on_hand"]["strong"])
        for hit in self.hits.get("on_hand", []):
            if self.passage.said(hit.span).lower() not in strong:
                continue
            sentence = self.passage.sentence_span(hit.span.start)
            nouns = [n for n in self.inside(sentence.start, sentence.end) if abs(n.head.start - hit.span.start) <= 14]
            if nouns:
                self._add(nouns[0], PartStatus.ON_HAND, Span(min(hit.span.start, nouns[0].span.start), max(hit.span.end, nouns[0].head.end)), f"“{self.passage.said(hit.span)}”")

    # ------------------------------------------------------------ numbers and counts
    def _add(self, noun: PartNoun, status: PartStatus, span: Span, because: str, count: int | None = None) -> None:
        if span.end <= span.start:
            span = noun.span
        self.drafts.append(Draft(noun, status, span, because, count))

    def number(self) -> None:
        """Gives every part number to the part that it was said of; a part that nothing else told of is one by its number."""
        for one in self.numbers:
            noun = self._owner(one)
            if noun is None:
                continue
            at = self._drafted(noun, one)
            if at is not None:
                self.drafts[at] = replace(self.drafts[at], number=one)
                continue
            status = PartStatus.TO_ORDER if self._order_near(one, noun) else PartStatus.USED
            self.drafts.append(Draft(noun, status, Span(min(noun.span.start, one.span.start), max(one.span.end, noun.head.end)), "its number was said", None, one))

    def _owner(self, one: Identifier) -> PartNoun | None:
        """The part that a number was said of.

        The noun inside its announcement ("gauge number is"), else of the nouns before it in its sentence or the last few
        one that went in or was at fault, else the nearest, else the one right after it.
        """
        start, spelled = one.span.start, one.spelled.span
        named = [n for n in self.inside(start - 4, spelled.start) if n.head.end == start or n.head.start >= start]
        if named:
            return named[-1]
        sentence = self.passage.sentence_span(start)
        inside = self.inside(max(sentence.start, start - 30), start)
        same = [n for n in inside if not n.led] or inside
        lately = [n for n in self.inside(start - BACK, start) if not n.led and not n.seldom]
        drafted = {d.noun.component for d in self.drafts if d.number is None}
        for nouns in (same, lately):
            if nouns:
                return max(nouns, key=lambda n: self._weight(n, drafted) - (start - n.head.end) / 12)
        after = self.inside(one.span.end, one.span.end + 8)
        return after[0] if after else self.before(start)

    def _weight(self, noun: PartNoun, drafted: set[str]) -> float:
        """How likely a number is of a noun: it is new, it went in, it was at fault."""
        return 3.0 * noun.new + 2.0 * (noun.component in drafted) + 1.5 * (noun.component in self.troubled)

    def _drafted(self, noun: PartNoun, one: Identifier) -> int | None:
        """The draft of the same component that a number belongs to: of one status where an order is spoken of."""
        wanted = PartStatus.TO_ORDER if self._order_near(one, noun) else PartStatus.USED
        fits = [
            (d.status is not wanted, abs(d.span.start - one.span.start), at) for at, d in enumerate(self.drafts)
            if (d.noun.component == noun.component or d.noun.head == noun.head) and d.number is None
        ]
        fits = [f for f in fits if not f[0] or f[1] <= BACK]
        return min(fits)[2] if fits else None

    def _order_near(self, one: Identifier, noun: PartNoun) -> bool:
        """Whether an order is spoken of in the sentence of a number, or right after it."""
        start, end = one.span.start, one.spelled.spans[-1].end
        sentence = self.passage.sentence_span(start)
        begin = max(sentence.start, start - 25)
        if self.passage.tokens[start].sentence == self.passage.tokens[noun.head.start].sentence:
            begin = min(begin, noun.span.start)
        stop = min(self.sentence_end(end - 1), end + 4)
        goes_on = end < len(self.passage.tokens) and self._one_line(start, end)
        follows = self.between("order", end, min(end + 3, len(self.passage.tokens))) if goes_on else []
        back = self.between("order", start - 8, start) if sentence.start > start - 8 and self.passage.joined_lines else []
        return any(not self._no_order(h.span) for h in [*self.between("order", begin, stop), *follows, *back])

    def same_numbers(self) -> None:
        """ "Same number": an ordered part takes the number of the one of its kind that was used."""
        for at, draft in enumerate(self.drafts):
            if draft.number is not None or draft.status is not PartStatus.TO_ORDER:
                continue
            near = self.between("same", draft.span.start - 14, draft.span.end + 12)
            twin = next((d for d in self.drafts if d.number is not None and d.noun.component == draft.noun.component), None)
            if near and twin is not None:
                self.drafts[at] = replace(draft, number=twin.number)

    def count(self, draft: Draft) -> int | None:
        """How many: said with the noun, right after it or its number, or one for a single noun."""
        if draft.count:
            return draft.count
        if draft.noun.count:
            return draft.noun.count
        for end in {draft.noun.head.end, draft.span.end, *((draft.number.span.end,) if draft.number else ())}:
            found = self._count_after(end)
            if found is not None:
                return found
        return None if draft.noun.plural else 1

    def _count_after(self, end: int) -> int | None:
        """ "..., two of them", "quantity 3", ", 1", ". one of": how many, right after a part or its number."""
        passage = self.passage
        table = parts_table()["count"]
        for step in range(5):
            index = end + step
            norm = passage.norm(index)
            number = number_at(passage, index) if index not in self.used else None
            if number is not None:
                before, after = passage.norm(index - 1), passage.norm(index + 1)
                if before in table["before"] or after in table["after"]:
                    return number
                alone = before in (",", ".", "it") and (after in ("", ".", ",", "and", "i") or index + 1 >= len(passage.tokens) or passage.tokens[index + 1].segment != passage.tokens[index].segment)
                if step <= 2 and alone and number <= 12:
                    return number
                return None
            if not (norm in (",", ".", "and", "i", "used", "it's", "too", "just", "get", "quantity", "we", "in", "'s", "all", "of", "the", "now", "that's", "for") or norm in table["before"]):
                return None
        return None

    def rating(self, draft: Draft) -> str | None:
        """The figures right beside a part as they were said: "145 to 175, 330 volts"."""
        figures = self.talk.figures
        begin = draft.noun.span.start
        at = bisect_left([f.span.start for f in figures], begin) if len(figures) < 400 else next((i for i, f in enumerate(figures) if f.span.start >= begin), len(figures))
        spans: list[Span] = []
        edge = draft.noun.head.end
        for figure in figures[at : at + 5]:
            inside = figure.span.end <= draft.noun.head.start
            close = 0 <= figure.span.start - edge <= 3 and all(self.passage.norm(i) in (",", "a", "and", "it's", "is", "at") for i in range(edge, figure.span.start))
            if not (inside or close) or any(i in self.used for i in range(figure.span.start, figure.span.end)):
                break
            if set(figure.units) & RATED or inside:
                spans.append(figure.span)
            edge = figure.span.end
        return self.passage.said(Span(spans[0].start, spans[-1].end)) if spans else None


def _restocked(drafts: list[Draft]) -> list[Draft]:
    """ "Order me a heater for stock": of what a shared word may mean, the one that was used."""
    used = {d.noun.component for d in drafts if d.status is PartStatus.USED}
    out = []
    for draft in drafts:
        may = [c for c in draft.noun.may if c in used]
        if draft.status is PartStatus.TO_ORDER and draft.noun.component not in used and len(may) == 1:
            draft = replace(draft, noun=replace(draft.noun, component=may[0]))
        out.append(draft)
    return out


def _merged(drafts: list[Draft]) -> list[Draft]:
    """One draft for each part of a status; two numbers are two parts."""
    out: list[Draft] = []
    for draft in sorted(drafts, key=lambda d: d.span):
        twin = next(
            (i for i, d in enumerate(out) if d.noun.component == draft.noun.component and d.status is draft.status and _alike(d, draft)), None
        )
        if twin is None:
            out.append(draft)
            continue
        kept = out[twin]
        better = draft if (draft.noun.count or draft.noun.plural) and not (kept.noun.count or kept.count) else kept
        out[twin] = replace(kept, noun=better.noun, count=kept.count or draft.count, number=kept.number or draft.number)
    return out


def _alike(one: Draft, other: Draft) -> bool:
    return one.number is None or other.number is None or one.number.spelled.bare == other.number.spelled.bare


def find(talk: Talk, found: Found) -> tuple[Part, ...]:
    """All parts in the order of the telling, one entry for each part of a status."""
    parts = _Parts(talk, found)
    parts.order()
    ordered = {d.noun.head for d in parts.drafts}
    parts.fitted()
    parts.drafts = [
        d for d in parts.drafts if d.status is PartStatus.TO_ORDER or d.noun.head not in ordered or d.because != "new"
    ]
    parts.by_rating()
    parts.in_the_van()
    parts.drafts = _restocked(parts.drafts)
    parts.number()
    parts.same_numbers()
    made = []
    for number, draft in enumerate(_merged(parts.drafts), 1):
        made.append(_part(parts, talk.passage, draft, f"p{number}"))
    return tuple(made)


def _part(parts: _Parts, passage: Passage, draft: Draft, name: str) -> Part:
    spelled: Any = draft.number.spelled if draft.number is not None else None
    return Part(
        id=name, description=draft.noun.text or draft.noun.component, component=draft.noun.component,
        part_number=spelled.text if spelled is not None else None, quantity=parts.count(draft), rating=parts.rating(draft),
        status=draft.status, evidence=passage.evidence(draft.span), confirm=spelled.confirm if spelled is not None else (),
        because=(draft.because,),
    )


EXTRACTOR = Extractor("parts", find, gives="parts", needs=("equipment", "findings"))
