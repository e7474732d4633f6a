"""Who, where and when: customer, site, contact, technician, date, arrival, leaving, the shop's reference."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from extractors.clocks import Clock, clock_at
from extractors.facts import Said, Visit
from extractors.find.equipment import said
from extractors.lexicon import load_table
from extractors.locations import sites
from extractors.machines import EARLY, Surroundings
from extractors.mentions import subjects
from extractors.number_words import number_word
from extractors.passage import Passage, Span
from extractors.phrases import Hit, Phrases
from extractors.registry import Extractor, Found
from extractors.spelling import spell
from extractors.talk import Talk

REACH = 9  # tokens between a cue and its value
STAY = 14  # tokens around two clock times in which words tell that they bound the visit


@cache
def _table() -> dict[str, Any]:
    return load_table("visit")


@cache
def _cues() -> Phrases:
    table = _table()
    rows = [
        (f"{name}:{side}", p) for name in ("arrived", "left") for side in ("before", "after") for p in table[name][side]
    ]
    rows += [
        (name, p) for name in ("customer", "contact", "technician", "reference", "date") for p in table[name]["before"]
    ]
    rows += [("left:bare", p) for p in table["left"]["bare"]]
    rows += [(name, p) for name in ("stay", "roughly") for p in table[name]["say"]]
    return Phrases(rows + [("street", p) for p in load_table("asides")["address"]["after"]])


class _Looker:
    """The cues of one passage, and what follows them."""

    def __init__(self, talk: Talk, used: Iterable[Span]) -> None:
        self.passage: Passage = talk.passage
        self.used = {i for span in used for i in range(span.start, span.end)}
        self.hits: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self.hits.setdefault(hit.label, []).append(hit)
        self.clocks: list[Clock] = []
        index = 0
        while index < len(self.passage.tokens):
            clock = clock_at(self.passage, index)
            if clock is not None and self._may(clock.span):
                self.clocks.append(clock)
                index = clock.span.end
            else:
                index += 1

    def _one_line(self, span: Span) -> bool:
        tokens = self.passage.tokens
        return self.passage.joined_lines or tokens[span.start].segment == tokens[span.end - 1].segment

    def after(self, hit: Hit) -> int:
        """The first token after a cue and small words."""
        index = hit.span.end
        while index < hit.span.end + REACH and self.passage.norm(index) in _table()["between"]["say"]:
            index += 1
        return index

    # ------------------------------------------------------------ times
    def time(self, which: str) -> Said | None:
        """The arrival or the leaving, by the words beside a clock time: the first arrival, the last leaving."""
        found: list[Said] = []
        for hit in self.hits.get(f"{which}:before", []):
            index = self.after(hit)
            if self.passage.norm(hit.span.start - 1) in _table()["left"]["not_after"] and self.passage.norm(
                hit.span.start
            ) in ("out", "left"):
                continue
            firm = self.passage.norm(index - 1) == "at" or self.passage.norm(hit.span.end - 1) in (
                "at",
                "in",
                "out",
                "time",
                "since",
                "there",
                "here",
            )
            clock = clock_at(self.passage, index, bare=firm and self._hour_alone(index))
            if clock is not None and self._may(Span(hit.span.start, clock.span.end)):
                found.append(self._clock(clock, Span(hit.span.start, clock.span.end), self.passage.said(hit.span)))
        for clock in self.clocks:
            beside = any(h.span.start == clock.span.end for h in self.hits.get(f"{which}:after", []))
            bare = any(
                h.span.end == clock.span.start
                and self.passage.norm(h.span.start - 1) not in _table()["left"]["not_after"]
                for h in self.hits.get(f"{which}:bare", [])
            )
            if (beside or bare) and self._may(clock.span):
                found.append(
                    self._clock(clock, Span(clock.span.start - bare, clock.span.end + beside), "the word beside it")
                )
        if not found:
            return None
        return found[0] if which == "arrived" else found[-1]

    def _may(self, span: Span) -> bool:
        """Whether a stretch lies in one line and is no part of a name of the machine."""
        return self._one_line(span) and not any(i in self.used for i in range(span.start, span.end))

    def _hour_alone(self, index: int) -> bool:
        """Whether a lone number may be an hour: nothing is counted by it."""
        after = self.passage.norm(index + 1)
        return after in ("", ",", ".", "and", "so", "in", "this", "sharp", "or", "today", "o'clock")

    def _clock(self, clock: Clock, span: Span, because: str) -> Said:
        around = {hit.span.end for hit in self.hits.get("roughly", [])} | {
            h.span.start for h in self.hits.get("roughly", [])
        }
        rough = clock.span.start in around or clock.span.end in around
        confirm = (f"speaker not sure: “{self.passage.said(span)}”",) if rough else ()
        return said(self.passage, clock.text, span, confirm, (f"“{because}”",))

    def stay(self) -> tuple[Said, Said] | None:
        """As in "Hours two and a quarter, that's nine fifteen to eleven thirty": arrival and leaving."""
        for one, other in zip(self.clocks, self.clocks[1:], strict=False):
            gap = [self.passage.norm(i) for i in range(one.span.end, other.span.start)]
            if len(gap) > 3 or not gap or gap[0] not in ("to", "till", "until", "through", "-"):
                continue
            near = [
                h for h in self.hits.get("stay", []) if one.span.start - STAY <= h.span.start <= other.span.end + STAY
            ]
            if near:
                because = self.passage.said(near[0].span)
                return self._clock(one, one.span, because), self._clock(other, other.span, because)
        return None

    def opening_time(self) -> Said | None:
        """A clock time at the very beginning: "it's ten past eight, I'm at the bakery"."""
        for clock in self.clocks:
            if clock.span.start >= EARLY:
                return None
            clause = self.passage.clause_span(clock.span.start)
            before = [self.passage.norm(i) for i in range(clause.start, clock.span.start)]
            told = any(w in ("it's", "it", "'s", "at", "time") for w in before)
            written = ":" in self.passage.norm(clock.span.start) and clock.span.start < EARLY // 2
            lead = all(
                w in ("it's", "it", "is", "'s", "about", "and", "okay", "so", "at", "uh", "um", "here", "time")
                for w in before
            )
            after = self.passage.norm(clock.span.end)
            if (
                lead
                and (told or clock.half or written)
                and after in (",", ".", "", "and", "so", "here", "in", "i", "i'm")
            ):
                return self._clock(clock, clock.span, "said at the beginning")
        return None

    # ------------------------------------------------------------ places and people
    def address(self) -> Said | None:
        """A number and a street."""
        passage = self.passage
        for hit in self.hits.get("street", []):
            start = hit.span.start
            while (
                start > 0
                and hit.span.start - start < 4
                and passage.tokens[start - 1].is_word
                and passage.tokens[start - 1].clause == passage.tokens[hit.span.start].clause
                and not number_word(passage.norm(start - 1))
                and passage.norm(start - 1)
                not in ("the", "on", "at", "of", "in", "a", "to", "down", "hundred", "thousand")
            ):
                start -= 1
            name = passage.said(Span(start, hit.span.end)) if start < hit.span.start else ""
            if not name:
                continue
            number, begin = self._number_before(start)
            if number is None:
                number, begin = self._number_after(hit.span.end), start
            if number is not None and self._is_address(Span(start, hit.span.end)):
                return said(
                    passage, f"{number} {name.title()}", Span(begin, hit.span.end), (), ("a number and a street",)
                )
        return None

    def _is_address(self, span: Span) -> bool:
        """Whether words before a street word name one: "each way" and "two square" do not."""
        words = self.passage.norms[span.start : span.end]
        if set(words) & set(_table()["no_street"]["say"]):
            return False
        capital = all(t.text[:1].isupper() for t in self.passage.tokens[span.start : span.end])
        return capital or words[-1] not in _table()["no_street"]["shared"] or span.start < EARLY

    def _number_before(self, start: int) -> tuple[str | None, int]:
        for size in range(min(5, start), 0, -1):
            begin = start - size
            one = spell(self.passage, begin)
            if (
                one is not None
                and one.span.end == start
                and one.text.isdigit()
                and len(one.text) <= 5
                and self._starts_number(begin)
            ):
                return one.text, begin
        return None, start

    def _starts_number(self, index: int) -> bool:
        norm = self.passage.norm(index)
        return self.passage.tokens[index].is_digits or number_word(norm) is not None

    def _number_after(self, end: int) -> str | None:
        """As in "Mill Lane, number 60"."""
        index = end + 1 if self.passage.norm(end) == "," else end
        if self.passage.norm(index) != "number":
            return None
        one = spell(self.passage, index + 1) if index + 1 < len(self.passage.tokens) else None
        return one.text if one is not None and one.text.isdigit() else None

    def site(self, talk: Talk) -> Said | None:
        """The house: its address, or what it is called."""
        address = self.address()
        if address is not None:
            return address
        near = Surroundings(self.passage)
        houses = [s for s in sites(self.passage, near, None) if s.kind == "site" and s.span.start < 2 * EARLY]
        best = max(houses, key=lambda s: (s.score, -s.span.start), default=None)
        return None if best is None else said(self.passage, best.said, best.span, (), ("a house at the beginning",))

    def name_after(self, label: str, *, until: int | None = None) -> Said | None:
        """Capitalised words after a cue."""
        for hit in self.hits.get(label, []):
            if until is not None and hit.span.start >= until:
                return None
            index = hit.span.end
            while (
                self.passage.norm(index) in ("is", ",", ":", "uh", "um", "'s", "the", "with")
                and index < hit.span.end + 4
            ):
                index += 1
            span = self._capitals(index)
            if span is not None:
                return said(
                    self.passage, self.passage.said(span), span, (), (f"“{self.passage.said(hit.span)}” before it",)
                )
        return None

    def _capitals(self, start: int) -> Span | None:
        """A run of capitalised words at a token, none of them a day, a month or a word of the trade."""
        tokens, end = self.passage.tokens, start
        while (
            end < len(tokens)
            and end - start < 5
            and tokens[end].text[:1].isupper()
            and tokens[end].is_word
            and len(tokens[end].norm) > 1
            and tokens[end].norm not in _table()["no_name"]["say"]
            and tokens[end].norm not in subjects()
            and tokens[end].clause == tokens[start].clause
        ):
            end += 1
        return Span(start, end) if end > start and not tokens[start].text.isupper() else None

    def customer(self) -> Said | None:
        """Who was called: named after a cue, or a house with a name of its own at the beginning."""
        told = self.name_after("customer")
        if told is not None:
            return told
        tokens = self.passage.tokens
        lower = sum(t.text[:1].islower() for t in tokens if t.is_word) > 0.5 * max(1, sum(t.is_word for t in tokens))
        if not lower:
            return None
        for index in range(1, min(EARLY, len(tokens))):
            if tokens[index - 1].norm not in ("the", "at", "for") or tokens[index].segment != tokens[index - 1].segment:
                continue
            span = self._capitals(index)
            if span is None or self._is_street(span.end):
                continue
            house = self.passage.norm(span.end) in load_table("locations")["site"]["say"]
            named = len(range(span.start, span.end)) > 1 or tokens[index].norm not in ("thursday",)
            if house or (named and tokens[index - 1].norm == "the"):
                whole = Span(span.start, span.end + house)
                return said(
                    self.passage,
                    self.passage.said(whole),
                    whole,
                    ("low confidence: a name as it was heard",),
                    ("a house with a name",),
                )
        return None

    def _is_street(self, end: int) -> bool:
        return any(h.span.start in (end - 1, end) for h in self.hits.get("street", []))

    # ------------------------------------------------------------ date and reference
    def date(self) -> Said | None:
        """The day as it was said, near the beginning."""
        table = _table()["date"]
        for hit in self.hits.get("date", []):
            if hit.span.start >= 2 * EARLY:
                return None
            start = hit.span.end
            while self.passage.norm(start) in (",", "the", "a") and start < hit.span.end + 2:
                start += 1
            end, told = start, False
            while end < min(len(self.passage.tokens), start + 8):
                norm = self.passage.norm(end)
                known = (
                    norm in table["days"]
                    or norm in table["months"]
                    or norm.endswith(("teenth", "tieth"))
                    or norm in ("th", "st", "nd", "rd")
                )
                told = told or known
                if not (known or norm in (",", "the", "of") or number_word(norm) or norm.isdigit()):
                    break
                end += 1
            while end > start and self.passage.norm(end - 1) in (",", "the", "of"):
                end -= 1
            if told and end > start:
                return said(
                    self.passage,
                    self.passage.said(Span(start, end)),
                    Span(start, end),
                    (),
                    (f"“{self.passage.said(hit.span)}” before it",),
                )
        return None

    def reference(self) -> Said | None:
        """The shop's own number."""
        for hit in sorted(self.hits.get("reference", []), key=lambda h: (h.span.start, -h.span.end)):
            index = hit.span.end
            while (
                self.passage.norm(index) in ("is", "number", ",", ":", "#", "'s", "uh", "um", "it's")
                and index < hit.span.end + 5
            ):
                index += 1
            one = spell(self.passage, index) if index < len(self.passage.tokens) else None
            if one is not None and one.digits >= 3 and self._one_line(Span(hit.span.start, one.span.end)):
                return said(
                    self.passage,
                    one.text,
                    Span(hit.span.start, one.span.end),
                    one.confirm,
                    (f"“{self.passage.said(hit.span)}” before it",),
                )
        return None


def find(talk: Talk, found: Found) -> Visit:
    """All that the words tell about the visit; a field that was not said is null."""
    looker = _Looker(talk, found.used)
    arrived, left = looker.time("arrived"), looker.time("left")
    stay = looker.stay()
    if stay is not None:
        arrived, left = arrived or stay[0], left or stay[1]
    return Visit(
        customer=looker.customer(),
        site=looker.site(talk),
        contact=looker.name_after("contact"),
        technician=looker.name_after("technician", until=EARLY),
        date=looker.date(),
        arrived=arrived or looker.opening_time(),
        left=left,
        reference=looker.reference(),
    )


EXTRACTOR = Extractor("visit", find, gives="visit", needs=("equipment",))
