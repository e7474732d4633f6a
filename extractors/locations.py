"""Finds where the machine stands, and whose house it is."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.lexicon import load_table
from extractors.machines import ARTICLES, EARLY, SMALL, SOON, STOP, Machine, Surroundings, alone, thing_at
from extractors.number_words import number_word
from extractors.passage import Passage, Span

ADVERBS = frozenset(["outside", "out back", "out front", "upstairs", "downstairs"])
NO_NAME = frozenset(
    [
        "same",
        "other",
        "whole",
        "next",
        "first",
        "last",
        "only",
        "old",
        "new",
        "little",
        "big",
        "nice",
        "hot",
        "cold",
        "actual",
        "whole",
        "very",
        "entire",
        "main",
    ]
)


@dataclass(frozen=True, slots=True)
class Site:
    """A place that was named. `kind`: room, numbered, beside or site."""

    span: Span
    said: str
    kind: str
    score: float


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
        thing = thing_at(passage, span.end)
        if thing is not None and thing <= span.end + 6:
            over = passage.norm(span.start) in ("over", "above") and span.end - span.start == 1
            if over and (near.ends_at("room", thing) is not None or near.ends_at("site", thing) is not None):
                named.append(
                    (Span(span.end + 1, thing), "room", 3.0)
                )  # a rooftop unit is the shop's that it stands over
            else:
                named.append((Span(span.start, thing), "beside", 2.0))
    for span in near.spans.get("room", []):
        whole = _room(near, span)
        shared = passage.said(span).lower() in table["article"]["say"] and whole.start == span.start
        if passage.norms[whole.start : whole.end] in (
            ("room",),
            ("area",),
            ("corner",),
            ("side",),
            ("wall",),
            ("end",),
            ("floor",),
        ):
            continue
        said = passage.said(span).lower()
        stands = said in ADVERBS and (
            any(b.start == span.end for b in near.spans.get("beside", []))
            or (machine is not None and machine.span.end == span.start)
        )
        stands = stands or passage.norms[span.end : span.end + 2] == ("of", "the")
        if not shared or stands or passage.norm(span.start - 1) in SMALL or alone(passage, span.start, span.end):
            named.append((whole, "room", 3.0))
    for span in near.spans.get("site", []):
        whole = _room(near, span)
        lone = whole.start == span.start and span.end - span.start == 1
        if not (
            passage.norm(whole.start - 1) in SMALL
            or near.cue_before("at", whole.start)
            or alone(passage, whole.start, whole.end)
        ):
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
    """As in "Outside by the deck" is one place: an adverb takes what stands right after it."""
    out: list[Site] = []
    for site in found:
        before = out[-1] if out else None
        if (
            before is not None
            and before.said in ADVERBS
            and site.kind == "beside"
            and site.span.start == before.span.end
        ):
            span = Span(before.span.start, site.span.end)
            out[-1] = Site(span, passage.said(span).lower(), before.kind, max(before.score, site.score))
        else:
            out.append(site)
    return out


def _guesses(near: Surroundings, machine: Machine) -> list[tuple[Span, str, float]]:
    """As in "in the bait shed" right after the machine: a place that no row names."""
    found = []
    for span in near.spans.get("at", []):
        tokens = near.passage.tokens
        if (
            not 0 <= span.start - machine.span.end <= 6
            or tokens[span.start].sentence != tokens[machine.span.end - 1].sentence
        ):
            continue
        thing = thing_at(near.passage, span.end)
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
    while (
        end < len(passage.tokens)
        and end - at < 3
        and near.one_breath(end)
        and (passage.tokens[end].is_digits or number_word(passage.norm(end)))
    ):
        end += 1
    if passage.norm(end) in ("hundred", "thousand", "point", "percent", "degrees", "pounds", "volts", "amps", "feet"):
        return None
    if passage.norm(end) in ("by", "x", "times") or any("." in passage.tokens[i].text for i in range(at, end)):
        return None  # "that door 22 by 25", "room 23.4"
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
    if alone(passage, start, end):
        score += 0.7
    if passage.norm(end) in ("'s", "was", "is", "were", "temp", "temperature", "reads") or (
        _figure(passage, end) and near.one_breath(end)
    ):
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
    if set(ahead) & set(load_table("locations")["elsewhere"]["say"]) and not (
        machine and machine.span.start >= start - 5
    ):
        score -= 2.0  # "the remote condenser up on the roof"
    if site.kind == "beside" and passage.norm(start - 1) == "one":
        score += 1.0  # "the one under the left register"
    return Site(site.span, site.said, site.kind, score)


def _figure(passage: Passage, index: int) -> bool:
    """Whether a token is digits or a number word."""
    return 0 <= index < len(passage.tokens) and (
        passage.tokens[index].is_digits or number_word(passage.norm(index)) is not None
    )


def location(found: list[Site]) -> Site | None:
    """Where the machine stands: the likeliest place, the first of equals."""
    likely = [s for s in found if s.score >= 3.0]
    if not likely:
        return None
    return max(likely, key=lambda s: (round(s.score, 3), -s.span.start))
