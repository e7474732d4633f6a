"""Finds what a passage talks about: subjects of the vocabulary, and shared words resolved by what was named before."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cache

from extractors.lexicon import load_table
from extractors.passage import Passage, Span
from extractors.phrases import Phrases, plural


@dataclass(frozen=True, slots=True)
class Subject:
    """A row of subjects.toml. `of`: usual quantities, commonest first; `usual`: unit to (low, high)."""

    name: str
    kind: str
    of: tuple[str, ...]
    usual: tuple[tuple[str, float, float], ...]
    noun: bool
    units: tuple[tuple[str, str], ...] = ()
    """Quantity to the unit that is meant where none is said, when it is not the common one."""


@dataclass(frozen=True, slots=True)
class Mention:
    """A stretch of words that names a subject.

    `weak`: a shared word ("the fan") that neighbours or memory resolved; `open`: nothing resolved it.
    `options`: what else the words may mean. `misheard`: the words are a known mishearing of the name.
    """

    span: Span
    subject: str
    weak: bool = False
    open: bool = False
    misheard: bool = False
    options: tuple[str, ...] = ()
    place: str | None = None


@cache
def subjects() -> dict[str, Subject]:
    """All subjects by name."""
    return {
        name: Subject(
            name,
            row["kind"],
            tuple(row["of"]),
            tuple((unit, float(b[0]), float(b[1])) for unit, b in row.get("usual", {}).items()),
            row.get("noun", False),
            tuple(row.get("unit", {}).items()),
        )
        for name, row in load_table("subjects").items()
    }


def quantities_of(subject: str) -> tuple[str, ...]:
    """The quantities usually stated about a subject, commonest first; empty for an unknown noun."""
    known = subjects().get(subject)
    return known.of if known else ()


@cache
def _phrases() -> Phrases:
    rows: list[tuple[str, str]] = []
    for name, row in load_table("subjects").items():
        rows += [(name, p) for phrase in row["say"] for p in (phrase, plural(phrase))]
        rows += [(name + "?", p) for phrase in row.get("misheard", ()) for p in (phrase, plural(phrase))]
    for word, row in load_table("shared_words").items():
        rows += [("~" + word, p) for phrase in row["say"] for p in (phrase, plural(phrase))]
        rows += [("~" + word + "?", p) for phrase in row.get("misheard", ()) for p in (phrase, plural(phrase))]
    return Phrases(rows)


@cache
def _sides() -> Phrases:
    table = load_table("places")
    return Phrases(
        [("side", phrase) for phrase in table["side"]["say"]] + [("leg", phrase) for phrase in table["leg"]["say"]]
    )


@dataclass(frozen=True, slots=True)
class Place:
    """A word that says which one: "left", "common to run"."""

    span: Span
    said: str
    alone: bool
    """It can stand for the thing itself: "the left one", "upper's point four"."""


def places(passage: Passage) -> list[Place]:
    """All place words of a passage in order."""
    found = []
    for hit in _sides().find(passage):
        said = passage.said(hit.span).lower()
        if said == "right" and (
            passage.norm(hit.span.start - 1)
            in ("all", "that's", "about", "is", "was", "are", "looks", "look", "just", "'s", "been", "not", "its")
            or passage.norm(hit.span.end)
            in (
                "now",
                "there",
                "where",
                "around",
                "about",
                "here",
                "at",
                "after",
                "on",
                "away",
                "up",
                "before",
                ",",
                "back",
                "off",
                "over",
                "?",
                "as",
                "when",
                "up",
                "down",
                "in",
                "out",
                "through",
                "by",
                "size",
            )
        ):
            continue
        if said in ("back", "near", "far", "front", "top") and passage.norm(hit.span.end) in (
            "to",
            "on",
            "in",
            "up",
            "at",
            "off",
            "down",
            "together",
            "out",
            "and",
            "there",
            "here",
            "with",
            "of",
            "off",
            "end",
            "ed",
            "as",
            "from",
            "by",
            "when",
            "so",
            "away",
        ):
            continue
        if said == "left" and passage.norm(hit.span.start - 1) in (
            "i",
            "we",
            "it",
            "he",
            "she",
            "they",
            "when",
            "was",
            "'ve",
        ):
            continue
        if said == "back" and passage.norm(hit.span.start - 1) not in ("the", "in", "a", "our", "one", "on"):
            continue
        following = passage.norm(hit.span.end)
        alone = (
            following in ("one", "ones", "'s", "is", "was", "reads", "at", "side", ",", "two", "pulls", "pulling", "")
            or passage.tokens[min(hit.span.end, len(passage.tokens) - 1)].is_digits
        )
        found.append(Place(hit.span, said, alone or hit.label == "leg"))
    return found


def mentions(passage: Passage) -> list[Mention]:
    """All mentions of a passage in order, shared words resolved by the sentence or by what was named before."""
    shared = load_table("shared_words")
    found: list[Mention] = []
    lately: dict[str, Mention] = {}
    by_span: dict[Span, list[str]] = {}
    for hit in _phrases().find(passage):
        by_span.setdefault(hit.span, []).append(hit.label)
    for span in sorted(by_span):
        if _is_verb(passage, span):
            continue
        labels = by_span[span]
        plain = [label for label in labels if not label.startswith("~")]
        if plain:
            label = next((p for p in plain if not p.endswith("?")), plain[0])
            mention = Mention(span, label.rstrip("?"), misheard=label.endswith("?"))
        else:
            word = labels[0].lstrip("~").rstrip("?")
            mention = _resolve(passage, span, shared[word], lately, labels[0].endswith("?"))
        found.append(mention)
        if not mention.open:
            lately.pop(mention.subject, None)
            lately[mention.subject] = mention
    found = [m for m in found if m.subject not in LEGS or _is_leg(passage, m)]
    sides = places(passage)
    return [replace(m, place=_place_of(passage, m, sides)) for m in found]


LEGS = frozenset(("L1-L2", "L2-L3", "L1-L3"))
ONE_LEG = frozenset(("L1", "L2", "L3"))


def _is_leg(passage: Passage, mention: Mention) -> bool:
    """Whether "two to three" names a pair of legs: where a figure follows; alone it is a range."""
    if any(
        passage.norm(i)[:1] == "l" or passage.norm(i) in ("a", "b", "c")
        for i in range(mention.span.start, mention.span.end)
    ):
        return True
    at = mention.span.end
    while passage.norm(at) in (",", "is", "'s", "at", "was", "reads", "uh", "um", ":", "i've", "got", "i"):
        at += 1
    return passage.norm(at) in NUMBER_STARTS or passage.norm(at)[:1].isdigit()


NUMBER_STARTS = frozenset(
    "one two three four five six seven eight nine ten eleven twelve twenty thirty forty fifty a".split()  # noqa: SIM905
)


def _resolve(
    passage: Passage, span: Span, row: dict[str, object], lately: dict[str, Mention], misheard: bool
) -> Mention:
    """A shared word: by a deciding word of its sentence, by the last full name, or open, by the talk's topic."""
    options: tuple[str, ...] = tuple(row["may"])  # type: ignore[arg-type]
    near: dict[str, list[str]] = row["near"]  # type: ignore[assignment]
    sentence = passage.sentence_span(span.start)
    clause = passage.clause_span(span.start)
    for stretch in (clause, sentence):
        words = set(passage.norms[stretch.start : stretch.end])
        text = f" {' '.join(passage.norms[stretch.start : stretch.end])} "
        for subject, cues in near.items():
            if any(cue in words or (" " in cue and f" {cue} " in text) for cue in cues):
                return Mention(span, subject, weak=True, misheard=misheard, options=options)
    for subject in reversed(lately):
        if subject in options and not row.get("talk_first"):
            return Mention(span, subject, weak=True, misheard=misheard, options=options)
    said = Counter(passage.norms)
    trade: dict[str, list[str]] = row.get("talk", {})  # type: ignore[assignment]
    likely = max(options, key=lambda o: (sum(said[word] for word in trade.get(o, ())), -options.index(o)))
    return Mention(span, likely, weak=True, open=True, misheard=misheard, options=options)


VERB_BEFORE = frozenset(
    ["to", "i'll", "i'd", "we'll", "don't", "can't", "could", "would", "should", "will", "let's", "gonna"]
)
VERB_WORDS = frozenset(
    {
        "drain",
        "freeze",
        "head",
        "drive",
        "plug",
        "travel",
        "charge",
        "wash",
        "rinse",
        "light",
        "case",
        "filter",
        "run",
        "cycle",
        "limit",
        "bill",
        "return",
        "trap",
        "draft",
        "vent",
        "power",
        "flex",
        "supply",
    }
)


def _is_verb(passage: Passage, span: Span) -> bool:
    """Whether a word that may be a verb stands as one: "to drain", "I'll head over"."""
    if span.end - span.start != 1 or passage.norm(span.start) not in VERB_WORDS:
        return False
    return (
        passage.norm(span.start - 1) in VERB_BEFORE
        or (
            passage.norm(span.start) == "head"
            and passage.norm(span.end) in ("out", "over", "back", "down", "to", "home", "up")
        )
        or (passage.norm(span.start) == "case" and passage.norm(span.start - 1) in ("in", "just", "any", "that"))
    )


def _place_of(passage: Passage, mention: Mention, sides: list[Place]) -> str | None:
    """The place word right before a mention, inside it, or right after it ("on the left")."""
    best: str | None = None
    for side in sides:
        if side.span.end > mention.span.start + 40:
            break
        if side.span == mention.span or (mention.span.start <= side.span.start and side.span.end <= mention.span.end):
            return side.said
        gap = range(side.span.end, mention.span.start)
        if (
            0 <= mention.span.start - side.span.end <= 2
            and all(
                passage.tokens[i].is_word and passage.norm(i) not in ("and", "is", "one", "but", "to", "on")
                for i in gap
            )
            and passage.tokens[side.span.start].clause == passage.tokens[mention.span.start].clause
        ):
            best = side.said
        if 1 <= side.span.start - mention.span.end <= 2 and [
            passage.norm(i) for i in range(mention.span.end, side.span.start)
        ] in (["on", "the"], ["the"], ["at", "the"], ["on"]):
            best = best or side.said
    return best
