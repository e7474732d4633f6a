"""Nouns that may be parts: subjects of the vocabulary and the parts that it does not name, with how many were said."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from extractors.lexicon import load_table
from extractors.mentions import Mention, subjects
from extractors.number_words import number_word
from extractors.passage import Passage, Span
from extractors.phrases import Phrases, plural
from extractors.talk import Talk

WIDEST = 6  # tokens of modifiers before a noun
FULLER = 260  # tokens back to the fuller name of a bare noun


@dataclass(frozen=True, slots=True)
class PartNoun:
    """A noun that may be a part. `span` with its modifiers, `head` the noun itself."""

    span: Span
    head: Span
    component: str
    text: str
    count: int | None
    plural: bool
    new: bool
    old: bool
    seldom: bool
    led: bool
    """A preposition stands before it: "for the strainer"."""
    may: tuple[str, ...] = ()
    """What a shared word ("the fan") may stand for instead."""
    bare: bool = False
    """One word without anything that says which."""
    bad: bool = False
    """Called bad: what takes its place is told after it."""
    common: bool = False
    """A noun of the trade that is no word of the contract."""


@cache
def parts_table() -> dict[str, Any]:
    """The table of parts."""
    return load_table("parts")


@cache
def _nouns() -> Phrases:
    rows = [(name, say) for name, says in parts_table()["noun"].items() for say in says]
    named = {say for _, say in rows} | set(parts_table()["no_thing"]["say"])
    rows += [(f"~{noun}", noun) for noun in load_table("components")["nouns"]["say"] if noun not in named]
    return Phrases([(name, p) for name, say in rows for p in (say, plural(say))])


def number_at(passage: Passage, index: int) -> int | None:
    """A whole number from one to a hundred at a token, or None."""
    norm = passage.norm(index)
    if norm.isdigit():
        return int(norm) if 0 < int(norm) <= 100 else None
    if norm in parts_table()["count"]["words"]:
        return int(parts_table()["count"]["words"][norm])
    word = number_word(norm)
    return int(word) if word is not None and int(word) > 0 and norm not in ("oh", "o") else None


PREPOSITIONS = frozenset(
    [
        "for",
        "of",
        "on",
        "in",
        "at",
        "to",
        "with",
        "from",
        "under",
        "behind",
        "across",
        "by",
        "off",
        "through",
        "inside",
        "into",
        "before",
        "after",
        "than",
        "over",
    ]
)
DETERMINERS = frozenset(
    [
        "the",
        "a",
        "an",
        "that",
        "this",
        "these",
        "those",
        "his",
        "her",
        "their",
        "my",
        "our",
        "its",
        "both",
        "all",
        "another",
        "each",
    ]
)
MODIFIES = frozenset(["JJ", "JJR", "NN", "NNP", "VBN", "CD", "NNS", "HYPH"])
NO_MODIFIER = frozenset(
    [
        "got",
        "put",
        "used",
        "changed",
        "replaced",
        "installed",
        "swapped",
        "order",
        "ordered",
        "get",
        "need",
        "needs",
        "is",
        "was",
        "left",
        "right",
        "so",
        "then",
        "okay",
        "it",
        "i",
        "me",
        "us",
        "like",
        "just",
        "only",
        "fitted",
        "ok",
        "alright",
        "thing",
        "number",
        "part",
        "parts",
        "plus",
        "same",
    ]
)


@cache
def _usual() -> tuple[tuple[tuple[str, ...], dict[str, str]], ...]:
    rows = load_table("components").get("usual", ())
    return tuple((tuple(row["machine"]), {k: v for k, v in row.items() if k != "machine"}) for row in rows)


def _usually(machine: str) -> dict[str, str]:
    """What bare words mean on a kind of machine: the filter of an ice machine is its water filter."""
    best = max(
        ((len(word), row) for words, row in _usual() for word in words if word in machine),
        key=lambda m: m[0],
        default=(0, {}),
    )
    return best[1]


def part_nouns(talk: Talk, troubled: frozenset[str] = frozenset(), machine: str = "") -> list[PartNoun]:
    """All nouns that may be parts, in order, none inside another. Linear in the talk.

    `troubled`: components that were found at fault; of what a shared word may stand for, one of them comes first.
    `machine`: the kind of machine, for what bare words usually mean on it.
    """
    passage = talk.passage
    heads: dict[int, tuple[Span, str, bool, tuple[str, ...]]] = {}
    common: set[int] = set()
    usually = _usually(machine)
    for mention in talk.mentions:
        component = _component(mention, troubled)
        component = parts_table()["means"].get(component, component)
        usual = usually.get(passage.said(mention.span).lower().removesuffix("s"))
        if usual is not None:
            component = usual if is_part(usual) else component
        if component is not None and not _no_thing(passage, mention.span):
            rare = component in parts_table()["seldom"]["subjects"]
            heads[mention.span.end] = (mention.span, component, rare, mention.options if mention.weak else ())
    spans = sorted(m.span for m in talk.mentions)
    for hit in _nouns().find(passage):
        inside = _mention_inside(spans, hit.span)
        if (
            inside is not None
            and inside.end >= hit.span.end
            and inside.end - inside.start > hit.span.end - hit.span.start
        ):
            continue
        if passage.norms[hit.span.start : hit.span.end] == ("couple",) and passage.norm(hit.span.start - 1) not in (
            "new",
            "bad",
            "pilot",
        ):
            continue  # "a couple of screws"
        known = heads.get(hit.span.end)
        if known is not None and known[0] == hit.span and hit.label in load_table("components")["nouns"]["say"]:
            known = None  # "strainer": findings and actions name it so too
        if known is not None and not known[2] and known[0].end - known[0].start >= hit.span.end - hit.span.start:
            continue
        heads[hit.span.end] = (hit.span, hit.label.lstrip("~"), hit.label.startswith("~"), ())
        if hit.label.startswith("~"):
            common.add(hit.span.end)
    found: list[PartNoun] = []
    ordered = [heads[end] for end in sorted(heads)]
    for at, (span, component, rare, may) in enumerate(ordered):
        following = ordered[at + 1][0] if at + 1 < len(ordered) else None
        if following is not None and following.start <= span.end and _one_clause(passage, span.start, following.start):
            continue  # "pump seal": the last noun is the part
        noun = replace(_made(talk, span, component, rare, may), common=span.end in common)
        found.append(_with_suffix(passage, noun))
    return _named_fully(passage, found)


def _with_suffix(passage: Passage, noun: PartNoun) -> PartNoun:
    """As in "hinge kit": a word behind the noun that belongs to its name."""
    end = noun.head.end
    if end >= len(passage.tokens) or passage.norm(end) not in parts_table()["suffix"]["say"]:
        return noun
    if not _one_clause(passage, noun.head.start, end):
        return noun
    return replace(
        noun,
        span=Span(noun.span.start, end + 1),
        head=Span(noun.head.start, end + 1),
        text=f"{noun.text} {passage.norm(end)}",
    )


def _component(mention: Mention, troubled: frozenset[str]) -> str | None:
    """What a mention is as a part, or None where it is none."""
    if mention.weak and mention.subject not in troubled:
        for other in mention.options:
            if other in troubled and is_part(other):
                return other
    if is_part(mention.subject):
        return mention.subject
    return next((o for o in mention.options if is_part(o)), None) if mention.weak else None


@cache
def is_part(subject: str) -> bool:
    """Whether a subject of the vocabulary is a thing that is fitted and ordered."""
    row, known = parts_table()["subjects"], subjects().get(subject)
    return subject not in row["never"] and (
        subject in row["also"] or (known is not None and known.kind in row["kinds"])
    )


def _no_thing(passage: Passage, span: Span) -> bool:
    """Whether the words name a setting or an instrument: "set point", "my gauges"."""
    said = passage.said(span).lower()
    if said not in parts_table()["no_thing"]["say"]:
        return False
    ahead = passage.norms[max(0, span.start - 3) : span.start]
    return said not in parts_table()["no_thing"]["but_new"] or not (
        {"new", "a", "one", "order", "that", "those"} & set(ahead)
    )


def _named_fully(passage: Passage, found: list[PartNoun]) -> list[PartNoun]:
    """A bare noun takes the component of its fuller name before it: "scraper blades", and later "she needs blades"."""
    lately: dict[str, PartNoun] = {}
    out = []
    for noun in found:
        word = passage.norm(noun.head.end - 1).removesuffix("s")
        fuller = lately.get(word)
        if noun.bare and fuller is not None and noun.head.start - fuller.head.end <= FULLER:
            noun = replace(noun, component=fuller.component)
        elif not noun.bare and not noun.may:
            lately[word] = noun
        if noun.component == "air filter" and noun.bare and _watery(passage, noun):
            noun = replace(noun, component="water filter")
        if noun.component == "door gasket" and noun.bare and noun.new and word == "gasket":
            noun = replace(noun, component="gasket")  # of a flange, a pump: a door's is called so
        out.append(noun)
    return out


def _watery(passage: Passage, noun: PartNoun) -> bool:
    """Whether a bare "filter" is told among words of water."""
    start = passage.sentence_span(noun.head.start).start
    around = passage.norms[max(0, start - 12, noun.head.start - 30) : noun.head.end + 8]
    return bool(set(around) & set(parts_table()["watery"]["say"])) and not set(around) & set(
        parts_table()["airy"]["say"]
    )


def _one_clause(passage: Passage, one: int, other: int) -> bool:
    first, second = passage.tokens[one], passage.tokens[other]
    return first.clause == second.clause and first.segment == second.segment


def _led(passage: Passage, before: int, head: int, *, fresh: bool) -> bool:
    """Whether a preposition makes a noun a mere place: not in "popped in a new contactor" or "with two new gaskets"."""
    if before < 0 or passage.norm(before) not in PREPOSITIONS or not _one_breath(passage, before, head):
        return False
    if passage.norm(before) == "of" and passage.norm(before - 1) in parts_table()["bundles"]["say"]:
        return False
    return not (fresh and passage.norm(before) in ("with", "in", "on"))


def unknown_nouns(talk: Talk, starts: list[int], known: list[PartNoun]) -> list[PartNoun]:
    """Nouns that no row names, at tokens where a part is sure to be named: after "order", "replaced the"."""
    passage, doc = talk.passage, talk.doc
    taken = {i for n in known for i in range(n.span.start, n.head.end)}
    abstract = set(load_table("components")["abstract"]["say"])
    found: dict[int, PartNoun] = {}
    for start in starts:
        index = start
        while index < len(passage.tokens) and (
            passage.norm(index) in DETERMINERS
            or passage.norm(index) in ("new", "one", "another")
            or number_at(passage, index)
        ):
            index += 1
        end = index
        while (
            end < len(passage.tokens)
            and end - index < 3
            and _one_clause(passage, start - 1, end)
            and doc[end].tag_ in ("NN", "NNS", "NNP", "JJ")
        ):
            end += 1
        while end > index and doc[end - 1].tag_ == "JJ":
            end -= 1
        words = passage.norms[index:end]
        if not words or any(i in taken for i in range(start, end)) or words[-1] in abstract or len(words[-1]) < 3:
            continue
        name = " ".join(words)
        if doc[end - 1].tag_ == "NNS" and name.endswith("s") and not name.endswith("ss"):
            name = name[:-1]
        made = _made(talk, Span(index, end), name, False, ())
        found[made.head.start] = replace(made, text=" ".join(words), led=False)
    return [found[at] for at in sorted(found)]


def _one_breath(passage: Passage, before: int, head: int) -> bool:
    """Whether a preposition goes with a noun: in its line, or over a caption's end but for "in" and "on"."""
    if _one_clause(passage, before, head):
        return True
    same_clause = passage.tokens[before].clause == passage.tokens[head].clause
    return passage.joined_lines and same_clause and passage.norm(before) not in ("in", "on", "off", "over", "at", "to")


def _mention_inside(spans: list[Span], span: Span) -> Span | None:
    """The mention that shares the last token of a span."""
    at = bisect_right(spans, Span(span.end, 0)) - 1
    for other in spans[max(0, at - 3) : at + 1]:
        if other.start < span.end <= other.end:
            return other
    return None


def _made(talk: Talk, head: Span, component: str, rare: bool, may: tuple[str, ...]) -> PartNoun:
    passage, doc = talk.passage, talk.doc
    start = head.start
    while start > 0 and head.start - start < WIDEST and _one_clause(passage, start - 1, head.start):
        norm = passage.norm(start - 1)
        if start < head.start and passage.norm(start) == "new":
            break
        if norm in NO_MODIFIER or norm in PREPOSITIONS or norm in DETERMINERS or doc[start - 1].tag_ not in MODIFIES:
            break
        start -= 1
    count = None
    if (
        start > 0
        and _one_clause(passage, start - 1, head.start)
        and (start == head.start or passage.norm(start) == "new")
        and number_at(passage, start - 1) is not None
    ):
        start -= 1
    if start < head.start:
        size = passage.norm(start + 1) if head.start - start >= 2 else ""
        count = number_at(passage, start) if size not in parts_table()["count"]["sizes"] else None
    norms = passage.norms[start : head.start]
    before = start - 1
    article = passage.norm(before)
    if article in ("both",):
        count = 2
    ahead = before - 1 if article in DETERMINERS else before
    if passage.norm(ahead) == "of" and passage.norm(ahead - 1) == "pair":
        count = 2
    last = passage.norm(head.end - 1)
    many = (
        last.endswith("s")
        and not last.endswith("ss")
        and doc[head.end - 1].tag_ in ("NNS", "NNPS", "VBZ")
        and last not in ("gas", "bus", "brass")
    )
    edge = set(parts_table()["edge"]["say"])
    begin = start
    while begin < head.start and (
        passage.norm(begin) in edge or (number_at(passage, begin) is not None and begin == start)
    ):
        begin += 1
    return PartNoun(
        span=Span(start, head.end),
        head=head,
        component=component,
        text=passage.said(Span(begin, head.end)).lower(),
        count=count,
        plural=many,
        new="new" in norms or article == "new",
        old="old" in norms or "bad" in norms,
        bad="bad" in norms,
        seldom=rare,
        led=_led(
            passage, ahead, head.start, fresh="new" in norms or (count is not None and article not in DETERMINERS)
        ),
        may=may,
        bare=begin == head.start and head.end - head.start == 1,
    )


def nouns_between(nouns: list[PartNoun], start: int, end: int) -> list[PartNoun]:
    """The nouns whose heads begin in [start, end)."""
    starts = [n.head.start for n in nouns]
    return nouns[bisect_left(starts, start) : bisect_left(starts, end)]
