"""Finds which machine a talk is about: its type, and where it stands."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from functools import cache
from typing import Any

from extractors.lexicon import load_table
from extractors.passage import Passage, Span
from extractors.phrases import Phrases, plural
from extractors.spelling import number_word

EARLY, SOON = 70, 160  # tokens: a machine is named at the beginning of its job
ARTICLES = frozenset(["a", "an", "the"])
SMALL = frozenset(["a", "an", "the", "this", "that", "our", "your", "their", "my", "his", "her", "is", "it", "it's", "'s"])


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine that was named. `type` is how it is written, `score` how likely it is the one of the job."""

    span: Span
    type: str
    score: float
    because: str
    misheard: bool = False


@dataclass(frozen=True, slots=True)
class Site:
    """A place that was named. `kind`: room, numbered, beside or site."""

    span: Span
    said: str
    kind: str
    score: float


@cache
def _machines() -> dict[str, Any]:
    return load_table("machines")


@cache
def _nouns() -> Phrases:
    rows: list[tuple[str, str]] = []
    for name, row in _machines()["noun"].items():
        rows += [(name, p) for say in row["say"] for p in (say, plural(say))]
        rows += [(name + "?", p) for say in row.get("misheard", ()) for p in (say, plural(say))]
    return Phrases(rows)


@cache
def _words() -> Phrases:
    table = _machines()
    rows = [("modifier", p) for p in table["modifier"]["say"]]
    rows += [("this", p) for p in table["this_one"]["say"]] + [("other", p) for p in table["not_this_one"]["say"]]
    rows += [("opening", p) for p in table["opening"]["say"]]
    places = load_table("locations")
    rows += [("room", p) for p in places["room"]["say"]] + [("room+", p) for p in places["room"]["modifier"]]
    rows += [("numbered", p) for p in places["room"]["numbered"]]
    rows += [("beside", p) for p in places["beside"]["say"]] + [("at", p) for p in places["at"]["say"]]
    rows += [("site", p) for p in places["site"]["say"]]
    return Phrases(rows)


class Surroundings:
    """Words about machines and places in one passage, looked up once."""

    def __init__(self, passage: Passage) -> None:
        self.passage = passage
        self.spans: dict[str, list[Span]] = {}
        self.ends: dict[str, dict[int, int]] = {}
        for hit in _words().find(passage, overlapping=True):
            self.spans.setdefault(hit.label, []).append(hit.span)
            longest = self.ends.setdefault(hit.label, {})
            longest[hit.span.end] = min(hit.span.start, longest.get(hit.span.end, hit.span.start))

    def ends_at(self, label: str, at: int) -> int | None:
        """Where the longest phrase of a kind begins that ends at a token."""
        return self.ends.get(label, {}).get(at)

    def one_breath(self, index: int) -> bool:
        """Whether a token goes on from the one before it."""
        if not 0 < index < len(self.passage.tokens):
            return False
        return self.passage.joined_lines or self.passage.tokens[index].segment == self.passage.tokens[index - 1].segment

    def cue_before(self, label: str, start: int, reach: int = 3) -> str | None:
        """A phrase of a kind right before a token, over small words."""
        index = start
        for _ in range(reach):
            begin = self.ends_at(label, index)
            if begin is not None:
                return self.passage.said(Span(begin, index))
            if index <= 0 or self.passage.norm(index - 1) not in SMALL:
                return None
            index -= 1
        return None


def _widened(near: Surroundings, start: int) -> int:
    """Where the words that belong to the noun begin: "two-door", "gas", "50 pound"."""
    passage = near.passage
    counted = _machines()["modifier"]["counted"]
    while start > 0 and near.one_breath(start):
        begin = near.ends_at("modifier", start)
        if begin is not None:
            start = begin
            continue
        before = passage.norm(start - 1)
        if before in counted and start > 1:
            size = passage.norm(start - 2)
            if number_word(size) or passage.tokens[start - 2].is_digits:
                start -= 2
                while start > 0 and near.one_breath(start) and number_word(passage.norm(start - 1)):
                    start -= 1
                continue
        break
    return start


def machines(passage: Passage, near: Surroundings) -> list[Machine]:
    """All machines that were named, in order, each with how likely it is the one of the job."""
    found = []
    nouns = _machines()["noun"]
    for hit in _nouns().find(passage):
        name = hit.label.rstrip("?")
        start = _widened(near, hit.span.start)
        plain = bool(nouns[name].get("plain"))
        score, why = (0.5 if plain else 2.5), []
        if plain and start < hit.span.start:
            score += 1.5  # "medium temp rack": no mere word any more
        cue = near.cue_before("this", start)
        if cue:
            score += 1.0 if plain else 2.0
            why.append(f"“{cue}” before it")
        if start < EARLY:
            score += 2.0 - start / 100
            why.append("said at the beginning")
        elif start < SOON:
            score += 1.0
        score += 1.0 if start < EARLY and _alone(passage, start, hit.span.end) else 0.0
        other = near.cue_before("other", start)
        if other and not cue:
            score -= 4.0
            why.append(f"“{other}” before it")
        if passage.norm(hit.span.end) in ("one", "kind", "type", "style"):
            score -= 2.5
            why.append("only tells which kind")
        lead = passage.said(Span(_kind_from(passage, start, hit.span.start), hit.span.start)).lower().replace("-", " ").strip()
        noun = name if hit.label.endswith("?") else _singular(passage.said(hit.span), name)
        text = f"{lead} {noun}".strip()
        found.append(Machine(Span(start, hit.span.end), text, score, "; ".join(why), hit.label.endswith("?")))
    return found


def _kind_from(passage: Passage, start: int, noun: int) -> int:
    """Where the kind begins: "10 ton" and "50 pound" are sizes and no kind, "two door" is one."""
    for index in range(start, noun):
        if passage.norm(index) in _machines()["modifier"]["sizes"]:
            start = index + 1
    return start


def _singular(said: str, name: str) -> str:
    """A machine's name as it was said, one of them: "espresso machine", "RTU"; the row's writing where that is the name."""
    bare = said.lower().replace("-", " ")
    if bare.replace(" ", "") in (name.lower().replace("-", "").replace(" ", ""), plural(name.lower()).replace("-", "").replace(" ", "")):
        return name
    words = [say for say in _machines()["noun"][name]["say"] if bare in (say.replace("-", " "), plural(say.replace("-", " ")))]
    text = words[0] if words else bare
    short = text.replace(" ", "")
    return short.upper() if short in ("rtu", "ptac", "crac", "vrf") else text


def _alone(passage: Passage, start: int, end: int) -> bool:
    """Nothing but small words stands in the clause beside it: a heading."""
    clause = passage.clause_span(start)
    return all(passage.norm(i) in SMALL or not passage.norm(i).isalpha() or passage.norm(i) in ("okay", "so", "right", "on", "for", "heading") for i in range(clause.start, clause.end) if not start <= i < end)


def main_machine(passage: Passage, near: Surroundings, found: list[Machine]) -> Machine | None:
    """The machine of the job: the likeliest, the first of equals; one that no row names only after "this is the"."""
    likely = [m for m in found if m.score >= 2.0]
    if likely:
        best = max(likely, key=lambda m: (round(m.score, 3), -m.span.start))
        return _fullest(best, found)
    for span in near.spans.get("opening", []):
        if span.start >= EARLY:
            break
        thing = _thing(passage, span.end - 1) or _thing(passage, span.end)
        if thing is None:
            continue
        begin = span.end if passage.norm(span.end) not in ARTICLES else span.end + 1
        words = passage.norms[begin:thing]
        if words and words[-1] not in _machines()["no_machine"]["say"] and not set(words) & set(_machines()["no_machine"]["say"]):
            return Machine(Span(begin, thing), " ".join(words), 2.0, f"“{passage.said(span)}” before it")
    return None


def _fullest(best: Machine, found: list[Machine]) -> Machine:
    """The fullest name of the same machine near the beginning: "oven", and "gas deck oven" a line later."""
    noun = best.type.split()[-1]
    same = [m for m in found if m.type.split()[-1] == noun and m.score > 0 and m.span.start < SOON and m.type.endswith(best.type)]
    fullest = max(same, key=lambda m: (len(m.type), -m.span.start), default=best)
    return fullest if len(fullest.type) > len(best.type) else best


def _room(near: Surroundings, span: Span) -> Span:
    """A room with the words before it that belong to it: "second floor pantry", "the bait shed"."""
    start = span.start
    while near.one_breath(start):
        begin = near.ends_at("room+", start)
        if begin is None:
            break
        start = begin
    passage, free = near.passage, start
    while free > 0 and start - free < 2 and near.one_breath(free):
        before = passage.norm(free - 1)
        if not before.isalpha() or before in STOP or before in NO_NAME or before in SMALL or len(before) < 3:
            break
        free -= 1
    opens = free == 0 or passage.tokens[free].clause != passage.tokens[free - 1].clause or not near.one_breath(free)
    if free < start and (opens or passage.norm(free - 1) in ARTICLES):
        start = free
    for label in ("room", "site"):  # "chapel basement", "roof plant room"
        begin = near.ends_at(label, start) if near.one_breath(start) else None
        start = begin if begin is not None else start
    return Span(start, span.end)


def _thing(passage: Passage, start: int) -> int | None:
    """The end of a short noun phrase that begins with "the": "the left register", "the bar"."""
    if passage.norm(start) not in ("the", "a", "their", "his", "her"):
        return None
    end = start + 1
    while end < len(passage.tokens) and end - start <= 4:
        token = passage.tokens[end]
        if not token.is_word or token.segment != passage.tokens[start].segment:
            break
        if token.norm in STOP:
            if token.norm == "of" and end - start <= 3 and passage.norm(end + 1) == "the":
                end += 2
                continue
            break
        end += 1
    return end if end > start + 1 else None


ADVERBS = frozenset(["outside", "out back", "out front", "upstairs", "downstairs"])
NO_NAME = frozenset(["same", "other", "whole", "next", "first", "last", "only", "old", "new", "little", "big", "nice", "hot", "cold", "actual", "whole", "very", "entire", "main"])
STOP = frozenset(["and", "is", "was", "of", "in", "on", "at", "that", "which", "so", "it", "with", "to", "for", "because", "but", "where", "when", "i", "he", "she", "they", "it's", "there", "has", "had", "needs", "keeps", "won't", "isn't", "as", "from", "been", "are", "were", "model", "serial", "by", "next", "near", "behind", "under", "over", "above", "off", "out", "up", "down", "back", "today", "again"])


def sites(passage: Passage, near: Surroundings, machine: Machine | None) -> list[Site]:
    """Places that the machine may stand at, in order."""
    found: list[Site] = []
    table = load_table("locations")
    named: list[tuple[Span, str, float]] = []
    for span in near.spans.get("numbered", []):
        end = _numbered_end(near, span.end)
        if end is not None:
            named.append((Span(span.start, end), "numbered", 4.0))
    for span in near.spans.get("beside", []):
        thing = _thing(passage, span.end)
        if thing is not None and thing <= span.end + 6:
            over = passage.norm(span.start) in ("over", "above") and span.end - span.start == 1
            if over and (near.ends_at("room", thing) is not None or near.ends_at("site", thing) is not None):
                named.append((Span(span.end + 1, thing), "room", 3.0))  # a rooftop unit is the shop's that it stands over
            else:
                named.append((Span(span.start, thing), "beside", 2.0))
    for span in near.spans.get("room", []):
        whole = _room(near, span)
        shared = passage.said(span).lower() in table["article"]["say"] and whole.start == span.start
        if passage.norms[whole.start : whole.end] in (("room",), ("area",), ("corner",), ("side",), ("wall",), ("end",), ("floor",)):
            continue
        said = passage.said(span).lower()
        stands = said in ADVERBS and (
            any(b.start == span.end for b in near.spans.get("beside", [])) or (machine is not None and machine.span.end == span.start)
        )
        stands = stands or passage.norms[span.end : span.end + 2] == ("of", "the")
        if not shared or stands or passage.norm(span.start - 1) in SMALL or _alone(passage, span.start, span.end):
            named.append((whole, "room", 3.0))
    for span in near.spans.get("site", []):
        whole = _room(near, span)
        lone = whole.start == span.start and span.end - span.start == 1
        if not (passage.norm(whole.start - 1) in SMALL or near.cue_before("at", whole.start) or _alone(passage, whole.start, whole.end)):
            continue  # "factory charge", "house electrician"
        if not (lone and passage.norm(span.start) in table["site"]["needs_word"]):
            named.append((whole, "site", 0.7))
    if machine is not None:
        named += [n for n in _guesses(near, machine) if not any(n[0].overlaps(other) for other, _, _ in named)]
    rooms = {span for span, kind, _ in named if kind == "room"}
    for span, kind, base in _outermost(named):
        if kind == "beside" and any(span.start < room.start and room.end == span.end for room in rooms):
            base = 3.0
        text = passage.said(span).lower().strip()
        found.append(_scored(near, Site(span, text, kind, base), machine))
    return _with_beside(passage, sorted(found, key=lambda s: s.span))


def _with_beside(passage: Passage, found: list[Site]) -> list[Site]:
    """ "Outside by the deck" is one place: an adverb takes what stands right after it."""
    out: list[Site] = []
    for site in found:
        before = out[-1] if out else None
        if before is not None and before.said in ADVERBS and site.kind == "beside" and site.span.start == before.span.end:
            span = Span(before.span.start, site.span.end)
            out[-1] = Site(span, passage.said(span).lower(), before.kind, max(before.score, site.score))
        else:
            out.append(site)
    return out


def _guesses(near: Surroundings, machine: Machine) -> list[tuple[Span, str, float]]:
    """ "in the bait shed" right after the machine: a place that no row names."""
    found = []
    for span in near.spans.get("at", []):
        tokens = near.passage.tokens
        if not 0 <= span.start - machine.span.end <= 6 or tokens[span.start].sentence != tokens[machine.span.end - 1].sentence:
            continue
        thing = _thing(near.passage, span.end)
        words = near.passage.norms[span.end + 1 : thing or span.end]
        if thing is not None and words and not set(words) & set(load_table("locations")["no_place"]["say"]):
            found.append((Span(span.end + 1, thing), "guess", 0.5))
    return found


def _outermost(named: list[tuple[Span, str, float]]) -> list[tuple[Span, str, float]]:
    """Those that do not lie inside a longer one, each stretch once."""
    kept: list[tuple[Span, str, float]] = []
    for span, kind, base in sorted(named, key=lambda n: (n[0].start, -n[0].end, -n[2])):
        if not (kept and kept[-1][0].end >= span.end):
            kept.append((span, kind, base))
    return kept


def _numbered_end(near: Surroundings, at: int) -> int | None:
    """The end of a number or letter after "aisle": "nine", "number 6", "B7", "one fourteen"."""
    passage = near.passage
    if passage.norm(at) == "number":
        at += 1
    end = at
    while end < len(passage.tokens) and end - at < 3 and near.one_breath(end) and (passage.tokens[end].is_digits or number_word(passage.norm(end))):
        end += 1
    if passage.norm(end) in ("hundred", "thousand", "point", "percent", "degrees", "pounds", "volts", "amps", "feet"):
        return None
    if end == at and end < len(passage.tokens) and len(passage.norm(at)) == 1 and passage.tokens[at].text.isupper():
        end = at + 1
        if end < len(passage.tokens) and passage.tokens[end].joined and passage.tokens[end].is_digits:
            end += 1
    return end if end > at else None


def _scored(near: Surroundings, site: Site, machine: Machine | None) -> Site:
    """A place with what speaks for it being where the machine stands."""
    passage, start, end = near.passage, site.span.start, site.span.end
    score = site.score
    if site.kind != "beside" and near.cue_before("at", start):
        score += 1.0
    if start < EARLY:
        score += 1.5
    elif start < SOON:
        score += 0.75
    if machine is not None:
        apart = min(abs(start - machine.span.end), abs(machine.span.start - end))
        score += 1.5 if apart <= 4 else 1.0 if apart <= 14 else 0.0
    if _alone(passage, start, end):
        score += 0.7
    if passage.norm(end) in ("'s", "was", "is", "were", "temp", "temperature", "reads") or (_figure(passage, end) and near.one_breath(end)):
        score -= 2.5
    if machine is not None and site.span.overlaps(machine.span):
        score -= 5.0
    if near.cue_before("other", start) and passage.norm(start - 2) in ("from", "to", "into"):
        score -= 2.0  # "second from the alley"
    lead = start - 1
    while lead > 0 and passage.norm(lead) in ("the", "in", "at", "on"):
        lead -= 1
    if lead < start - 1 and _figure(passage, lead):
        score -= 1.5  # "it hit 88 in the hallway"
    ahead = passage.norms[max(0, start - 5) : start]
    if set(ahead) & set(load_table("locations")["elsewhere"]["say"]) and not (machine and machine.span.start >= start - 5):
        score -= 2.0  # "the remote condenser up on the roof"
    if site.kind == "beside" and passage.norm(start - 1) == "one":
        score += 1.0  # "the one under the left register"
    return Site(site.span, site.said, site.kind, score)


def _figure(passage: Passage, index: int) -> bool:
    """Whether a token is digits or a number word."""
    return 0 <= index < len(passage.tokens) and (passage.tokens[index].is_digits or number_word(passage.norm(index)) is not None)


def location(found: list[Site]) -> Site | None:
    """Where the machine stands: the likeliest place, the first of equals."""
    likely = [s for s in found if s.score >= 3.5]
    if not likely:
        return None
    return max(likely, key=lambda s: (round(s.score, 3), -s.span.start))


def mentions_of(found: list[Machine], start: int, end: int) -> list[Machine]:
    """The machines named in [start, end)."""
    starts = [m.span.start for m in found]
    return found[bisect_left(starts, start) : bisect_left(starts, end)]
