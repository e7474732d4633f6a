"""Finds every model, serial and part number of a talk, so that no figure in one is taken for a reading."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from functools import cache
from typing import Any

from extractors.figures import unit_phrases
from extractors.lexicon import load_table
from extractors.passage import Span
from extractors.phrases import Hit, Phrases
from extractors.spelled_again import settled
from extractors.spelling import HYPHENS, Spelled, spell
from extractors.talk import Talk

MODEL, SERIAL, PART = "equipment.model", "equipment.serial", "part.part_number"
GAP = 14  # tokens between the announcement and the string
FAR_GAP = 9  # tokens of any words between them
NEAR = 20  # tokens within which a word beside an unannounced string says what it is
NEAR_PLATE = 30
EARLY = 200  # tokens in which the plate is read
PLATE_FOLLOWS = 14  # tokens after a model in which the rest of the plate begins
BEFORE_SERIAL = frozenset((",", ".", "and", "the", "that's", "it's", "model", "uh", "um", "okay", "then", "with"))
CLOSE = 8  # tokens within which the bare name of a part does so
BESIDE = 8  # tokens after the model in which the serial may follow unannounced


@dataclass(frozen=True, slots=True)
class Identifier:
    """One number of a machine or a part. `span` begins at its announcement; `kind` is the field it goes to."""

    span: Span
    kind: str
    spelled: Spelled
    announced: bool
    because: str


@cache
def _table() -> dict[str, Any]:
    return load_table("identifiers")


@cache
def _cues() -> Phrases:
    rows = [
        (kind, phrase) for kind in ("model", "serial", "part", "number", "plate") for phrase in _table()[kind]["say"]
    ]
    rows += [("belt", phrase) for phrase in ("belt", "belts")]
    rows += [("close", phrase) for phrase in _table()["part_close"]["say"]]
    rows += [("near", phrase) for phrase in _table()["part_near"]["say"]]
    rows += [("other", phrase) for phrase in load_table("spelling")["other_number"]["say"]]
    return Phrases(rows)


class _Finder:
    """All identifiers of one talk; `stops` are tokens where a refrigerant's name begins."""

    def __init__(self, talk: Talk, stops: frozenset[int]) -> None:
        self.talk, self.passage, self.stops = talk, talk.passage, stops
        self.hits: dict[str, list[Hit]] = {}
        for hit in _cues().find(self.passage, overlapping=True):
            self.hits.setdefault(hit.label, []).append(hit)
        self.starts = {label: sorted(h.span.start for h in hits) for label, hits in self.hits.items()}
        self.ends = {label: {h.span.end for h in hits} for label, hits in self.hits.items()}
        self.announcing = {i for kind in ("model", "serial", "part") for i in self.starts.get(kind, [])}
        self.taken: set[int] = set()
        self.found: list[Identifier] = []
        self.kinds: dict[str, str] = {}
        self.units = {
            hit.span.start for hit in unit_phrases().find(self.passage, overlapping=True) if not hit.label.endswith("?")
        }
        self.named = {m.span.start for m in talk.mentions}

    def near(self, label: str, start: int, end: int) -> bool:
        """Whether a cue begins in [start, end)."""
        starts = self.starts.get(label, [])
        return bisect_left(starts, start) < bisect_left(starts, end)

    def after_cue(self, hit: Hit, kind: str) -> Identifier | None:
        """The string that an announcement leads to: over small words any, over others only what is surely a name."""
        passage, index = self.passage, hit.span.end
        lines, small = 0, True
        while index < min(len(passage.tokens), hit.span.end + GAP):
            if index in self.announcing or index in self.stops:
                return None
            if passage.tokens[index].segment != passage.tokens[index - 1].segment and not passage.joined_lines:
                lines += 1
                if lines > 1:
                    return None
            told = index == hit.span.end
            free = index not in self.taken
            one = spell(passage, index, self.stops, told=told, named=small) if free else None
            if one is not None and self._fits(one, kind, hit) and (small or self._surely(one)):
                whole = settled(passage, one, self.stops)
                begin = hit.span.start if index - hit.span.end <= 6 else index
                return Identifier(
                    Span(begin, whole.span.end), kind, whole, True, f"“{passage.said(hit.span)}” before it"
                )
            if one is not None and one.digits >= 2 and not small:
                return None
            small = small and passage.norm(index) in _table()["gap"]["say"]
            if not small and (hit.label == "number" or index - hit.span.end > FAR_GAP):
                return None
            index += 1
        return None

    def _surely(self, one: Spelled) -> bool:
        """Whether a string can hardly be a figure: letters and digits, or digits one by one."""
        if one.span.end in self.units or (_head(one) in _abbreviations() and len(one.bare) < 6):
            return False
        return len(one.bare) >= 5 and one.digits >= 3 and (one.letters > 0 or one.pieces >= 5)

    def _fits(self, one: Spelled, kind: str, hit: Hit) -> bool:
        """Whether a string may be what was announced."""
        if not one.digits or (one.span.end in self.units and not one.letters):
            return False
        mixed = one.letters > 0 or any(ch in one.text for ch in "-/")
        if hit.label == "number":
            joint = any(ch in one.text for ch in "-/")
            plain = _head(one) not in _abbreviations() or (len(_head(one)) == 1 and one.digits >= 3)
            return (mixed and len(one.bare) >= 3 and (joint or plain)) or one.digits >= 5
        if kind == PART:
            return len(one.bare) >= (3 if mixed else 4)
        return len(one.bare) >= 3

    def announced(self, labels: tuple[str, ...]) -> None:
        """Takes the strings after announcements of these kinds, of announcements that overlap the longest."""
        longest: dict[int, Hit] = {}
        for hit in (hit for label in ("model", "serial", "part", "number") for hit in self.hits.get(label, [])):
            if hit.span.end not in longest or hit.span.start < longest[hit.span.end].span.start:
                longest[hit.span.end] = hit
        for end in sorted(longest):
            hit = longest[end]
            if hit.label not in labels or hit.span.start in self.taken:
                continue
            if hit.label in ("number", "part") and self._other(hit):
                continue
            one = self.after_cue(hit, {"model": MODEL, "serial": SERIAL}.get(hit.label, PART))
            if one is not None:
                self._take(self._plain_number(one) if hit.label == "number" else one)

    def _other(self, hit: Hit) -> bool:
        """Whether the number is a store's, a ticket's, a telephone's."""
        return any(
            hit.span.start in self.ends.get("other", ()) or hit.span.end == end
            for end in self.ends.get("other", ())
            if hit.span.start < end <= hit.span.end
        )

    def _plain_number(self, one: Identifier) -> Identifier:
        """As in "The number's ..." right after a model without a serial is the serial, beside a plate the model."""
        close = any(k.kind == MODEL and 0 <= one.span.start - k.span.end <= 8 for k in self.found)
        if close and not any(k.kind == SERIAL for k in self.found):
            return Identifier(one.span, SERIAL, one.spelled, False, "right after the model")
        start = max(0, one.span.start - NEAR)
        alone = not self.near("near", start, one.spelled.span.end + NEAR) and self.near("plate", start, one.span.start)
        if alone and not any(k.kind == MODEL for k in self.found):
            return Identifier(one.span, MODEL, one.spelled, False, "a number beside the plate")
        return one

    def _take(self, one: Identifier) -> None:
        self.found.append(one)
        self.kinds.setdefault(one.spelled.bare, one.kind)
        for span in (one.span, *one.spelled.spans):
            self.taken.update(range(span.start, span.end))

    def unannounced(self, kinds: tuple[str, ...]) -> None:
        """Takes strings that stand by themselves: "C N 20 240", "24-771B"."""
        index = 0
        while index < len(self.passage.tokens):
            if index in self.taken or index in self.stops or not self._may_begin(index):
                index += 1
                continue
            one = spell(self.passage, index, self.stops)
            if one is None or not self._looks_like_one(one):
                index += 1
                continue
            kind, because = self._kind(one)
            if kind in kinds:
                whole = settled(self.passage, one, self.stops)
                self._take(Identifier(whole.span, kind, whole, False, because))
            index = one.span.end

    def beside_model(self) -> None:
        """A second string right after the model, where no serial was announced: the serial, asked again."""
        models = [k for k in self.found if k.kind == MODEL]
        if len(models) != 1 or any(k.kind == SERIAL for k in self.found):
            return
        start = models[0].spelled.spans[-1].end
        for index in range(start, min(len(self.passage.tokens), start + BESIDE)):
            if index in self.taken or index in self.stops:
                return
            one = spell(self.passage, index, self.stops)
            if one is None:
                continue
            if self._surely(one) and one.digits >= 4:
                whole = settled(self.passage, one, self.stops)
                doubt = "low confidence: taken for the serial, which was not announced"
                whole = Spelled(whole.span, whole.text, (*whole.confirm, doubt), whole.again, whole.pieces)
                self._take(Identifier(whole.span, SERIAL, whole, False, "right after the model"))
            return

    def before_serial(self) -> None:
        """Letters and digits right before the serial, where no model was announced: the model, asked again."""
        serials = [k for k in self.found if k.kind == SERIAL and k.announced]
        if len(serials) != 1 or any(k.kind == MODEL for k in self.found):
            return
        end = serials[0].span.start
        for index in range(max(0, end - BESIDE), end):
            if index in self.taken or index in self.stops or not self._may_begin(index):
                continue
            one = spell(self.passage, index, self.stops)
            if one is None or not one.letters or not one.digits or len(one.bare) < 3 or one.span.end > end:
                continue
            if one.span.end in self.units or set(self.passage.norms[one.span.end : end]) - BEFORE_SERIAL:
                continue
            doubt = "low confidence: taken for the model, which was not announced"
            whole = Spelled(one.span, one.text, (*one.confirm, doubt), one.again, one.pieces)
            self._take(Identifier(one.span, MODEL, whole, False, "right before the serial"))
            return

    def _may_begin(self, index: int) -> bool:
        """Whether a string without announcement may begin at a token: a letter of its own, capitals, or digits."""
        token = self.passage.tokens[index]
        before = self.passage.norm(index - 1)
        following = self.passage.tokens[index + 1] if index + 1 < len(self.passage.tokens) else None
        if (
            token.is_word
            and 2 <= len(token.norm) <= 4
            and following is not None
            and following.joined
            and following.is_digits
        ):
            return token.norm not in _abbreviations()  # "gc10"
        if (
            index
            and len(before) == 1
            and before.isalpha()
            and before not in ("a", "i")
            and self.passage.tokens[index].segment == self.passage.tokens[index - 1].segment
        ):
            return False
        if token.is_digits:
            return bool(token.norm.isdigit()) and not (index and before.isdigit())
        return (
            token.norm.isascii()
            and token.norm.isalpha()
            and (len(token.norm) == 1 or (token.text.isupper() and len(token.norm) <= 6))
        )

    def _looks_like_one(self, one: Spelled) -> bool:
        start = one.span.start
        if not one.digits or not one.letters or len(one.bare) < 3 or one.span.end in self.units:
            return False
        if start in self.named:
            return False  # "L 1 12.4", "T 2"
        if start in self.units and start and self.passage.tokens[start - 1].is_digits:
            return False
        joint = any(ch in one.text for ch in "-/")
        head = _head(one)
        boxed = self.passage.norms[one.span.end : one.span.end + 3] in (
            ("on", "the", "box"),
            ("is", "the", "part"),
            ("is", "the", "number"),
        )
        belt = len(head) == 1 and one.digits == 2 and self.near("belt", start - 6, start)
        if self._spelled_out(one):
            return True
        if head in _abbreviations() and not (joint and one.digits >= 3) and not (boxed or belt or self._paired(one)):
            return False
        if not head:  # digits first: only with a dash and a letter, "24-771B"
            return "-" in one.text and len(one.bare) >= 5 and self._hyphens(one)
        if len(head) == 1 and not joint:
            by = "x" in one.text and one.digits >= 2
            second = self.passage.tokens[min(start + 1, one.span.end - 1)]
            glued = one.digits >= 3 and second.joined and second.is_digits
            told = self.near("near", start - 12, one.span.end + 12) or self.near(
                "close", start - CLOSE, one.span.end + 4
            )
            return (one.digits >= 4 or by or glued or belt) and (told or belt)
        return "." not in one.text

    def _spelled_out(self, one: Spelled) -> bool:
        """Whether it stands between marks, said sign by sign, after a part or an order: "D G 2 2 0, one"."""
        start, end = one.span.start, one.span.end
        signs = [n for n in self.passage.norms[start:end] if n not in ("dash", "hyphen")]
        marked = self.passage.norm(start - 1) in (",", ".", ":") and self.passage.norm(end) in (",", ".", "")
        part = self.near("close", start - CLOSE, start) or self.near("near", start - CLOSE, start)
        return marked and part and len(signs) >= 4 and all(len(n) == 1 for n in signs) and signs[0].isalpha()

    def _paired(self, one: Spelled) -> bool:
        """As in "D T 44. 6 2 0 1 5.": two names side by side, as a plate has them."""
        index = one.span.end + 1
        if index >= len(self.passage.tokens) or self.passage.norm(one.span.end) not in (".", ","):
            return False
        other = spell(self.passage, index, self.stops)
        return other is not None and self._surely(other) and one.span.start < EARLY

    def _hyphens(self, one: Spelled) -> bool:
        """Whether its dashes were said or written as such, and it is no "3-pole"."""
        words = [self.passage.norm(i) for i in range(one.span.start, one.span.end)]
        tail = one.text.rsplit("-", 1)[-1]
        written = any(self.passage.tokens[i].text in HYPHENS for i in range(one.span.start, one.span.end))
        return "dash" in words or "hyphen" in words or "tack" in words or written or len(tail) <= 2

    def _kind(self, one: Spelled) -> tuple[str | None, str]:
        """Which field an unannounced string goes to, and why."""
        start, end = one.span.start, one.span.end
        if one.bare in self.kinds:
            return self.kinds[one.bare], "said before"
        if any(e in self.ends.get("other", ()) for e in (start - 1, start)):
            return None, "a ticket's or a door's"
        if MODEL not in self.kinds.values():
            if self.passage.norm(end) == "model" or (
                self.passage.norm(end) == "for" and self.passage.norm(end + 2) == "model"
            ):
                return MODEL, "“model” after it"
            if self.near("serial", end, end + 6):
                return MODEL, "right before the serial"
            told = self.near("plate", start - NEAR_PLATE, start) or (start < EARLY and self._plate_follows(end))
            if told and not self.near("part", start - 6, end + 6) and self.passage.norm(end) != "on":
                return MODEL, "beside the plate"
        beside = any(self.near(label, start - NEAR, end + NEAR) for label in ("near", "part"))
        beside = beside or self.near("close", start - CLOSE, end + 4)
        tight = self.passage.norm(start - 1) in (",", ":") and (
            self.near("close", start - 4, start) or self.near("near", start - 4, start)
        )
        belt = self.near("belt", start - 6, start)
        if (
            (beside or belt)
            and (one.digits >= 2 or tight or any(ch in one.text for ch in "-/"))
            and len(one.bare) >= 3
            and (len(one.bare) >= 4 or one.letters >= 2 or belt)
        ):
            return PART, "a part is spoken of beside it"
        return None, ""

    def _plate_follows(self, end: int) -> bool:
        """Whether what stands on a plate comes right after: another number, volts, phases, a refrigerant."""
        return any(
            i in self.stops or i in self.announcing or self.passage.norm(i) in _table()["plate"]["follows"]
            for i in range(end, end + PLATE_FOLLOWS)
        )


def _head(one: Spelled) -> str:
    """The letters that it begins with, lower case."""
    size = next((i for i, ch in enumerate(one.text) if not ch.isalpha()), len(one.text))
    return one.text[:size].lower()


@cache
def _abbreviations() -> frozenset[str]:
    return frozenset(load_table("spelling")["abbreviations"]["say"])


def identifiers(talk: Talk, stops: frozenset[int] = frozenset()) -> list[Identifier]:
    """All numbers of machines and parts, in order, none twice. Linear in the talk."""
    finder = _Finder(talk, stops)
    finder.announced(("model", "serial", "part"))
    finder.unannounced((MODEL,))
    finder.announced(("number",))
    finder.beside_model()
    finder.before_serial()
    finder.unannounced((MODEL, SERIAL, PART))
    return sorted(finder.found, key=lambda i: i.span)
