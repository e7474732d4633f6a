"""Finds which machine a talk is about: its type, and where it stands."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from extractors.lexicon import load_table
from extractors.number_words import number_word
from extractors.passage import Passage, Span
from extractors.phrases import Phrases, plural

EARLY, SOON = 70, 160  # tokens: a machine is named at the beginning of its job
ARTICLES = frozenset(["a", "an", "the"])
SMALL = frozenset(
    ["a", "an", "the", "this", "that", "our", "your", "their", "my", "his", "her", "is", "it", "it's", "'s"]
)


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine that was named. `type` is how it is written, `score` how likely it is the one of the job."""

    span: Span
    type: str
    score: float
    because: str
    misheard: bool = False


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
        score += 1.0 if start < EARLY and alone(passage, start, hit.span.end) else 0.0
        other = near.cue_before("other", start)
        if other and not cue:
            score -= 4.0
            why.append(f"“{other}” before it")
        if passage.norm(hit.span.end) in ("one", "kind", "type", "style"):
            score -= 2.5
            why.append("only tells which kind")
        lead = (
            passage.said(Span(_kind_from(passage, start, hit.span.start), hit.span.start))
            .lower()
            .replace("-", " ")
            .strip()
        )
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
    """A machine's name as it was said, one of them; the row's writing where that is the name."""
    bare = said.lower().replace("-", " ")
    if bare.replace(" ", "") in (
        name.lower().replace("-", "").replace(" ", ""),
        plural(name.lower()).replace("-", "").replace(" ", ""),
    ):
        return name
    words = [
        say
        for say in _machines()["noun"][name]["say"]
        if bare in (say.replace("-", " "), plural(say.replace("-", " ")))
    ]
    text = words[0] if words else bare
    short = text.replace(" ", "")
    return short.upper() if short in ("rtu", "ptac", "crac", "vrf") else text


def alone(passage: Passage, start: int, end: int) -> bool:
    """Nothing but small words stands in the clause beside it: a heading."""
    clause = passage.clause_span(start)
    return all(
        passage.norm(i) in SMALL
        or not passage.norm(i).isalpha()
        or passage.norm(i) in ("okay", "so", "right", "on", "for", "heading")
        for i in range(clause.start, clause.end)
        if not start <= i < end
    )


def main_machine(passage: Passage, near: Surroundings, found: list[Machine]) -> Machine | None:
    """The machine of the job: the likeliest, the first of equals; one that no row names only after "this is the"."""
    likely = [m for m in found if m.score >= 2.0]
    if likely:
        best = max(likely, key=lambda m: (round(m.score, 3), -m.span.start))
        return _fullest(best, found)
    for span in near.spans.get("opening", []):
        if span.start >= EARLY:
            break
        thing = thing_at(passage, span.end - 1) or thing_at(passage, span.end)
        if thing is None:
            continue
        begin = span.end if passage.norm(span.end) not in ARTICLES else span.end + 1
        words = passage.norms[begin:thing]
        if (
            words
            and words[-1] not in _machines()["no_machine"]["say"]
            and not set(words) & set(_machines()["no_machine"]["say"])
        ):
            return Machine(Span(begin, thing), " ".join(words), 2.0, f"“{passage.said(span)}” before it")
    return None


def _fullest(best: Machine, found: list[Machine]) -> Machine:
    """The fullest name of the same machine near the beginning: "oven", and "gas deck oven" a line later."""
    noun = best.type.split()[-1]
    same = [
        m
        for m in found
        if m.type.split()[-1] == noun and m.score > 0 and m.span.start < SOON and m.type.endswith(best.type)
    ]
    fullest = max(same, key=lambda m: (len(m.type), -m.span.start), default=best)
    return fullest if len(fullest.type) > len(best.type) else best


def thing_at(passage: Passage, start: int) -> int | None:
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


STOP = frozenset(
    [
        "and",
        "is",
        "was",
        "of",
        "in",
        "on",
        "at",
        "that",
        "which",
        "so",
        "it",
        "with",
        "to",
        "for",
        "because",
        "but",
        "where",
        "when",
        "i",
        "he",
        "she",
        "they",
        "it's",
        "there",
        "has",
        "had",
        "needs",
        "keeps",
        "won't",
        "isn't",
        "as",
        "from",
        "been",
        "are",
        "were",
        "model",
        "serial",
        "by",
        "next",
        "near",
        "behind",
        "under",
        "over",
        "above",
        "off",
        "out",
        "up",
        "down",
        "back",
        "today",
        "again",
    ]
)
