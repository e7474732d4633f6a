"""Things: components as clauses name them, and the tables that say what kinds of components there are."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cache

from extractors.lexicon import load_table
from extractors.mentions import subjects
from extractors.passage import Passage, Span
from extractors.phrases import Phrases, plural
from extractors.verbs import forms


@dataclass(frozen=True, slots=True)
class Thing:
    """One component as a clause names it. `prep`: the preposition before it, or empty. `span`: its whole name."""

    component: str
    span: Span
    head: int
    prep: str
    place: str | None
    known: bool = True
    open: bool = False
    """A shared word that nothing resolved."""
    start: int = 0
    """First token of the noun phrase, its article included."""
    said: str = ""
    canon: str = ""
    """The word of the vocabulary that decides what fits; `component` where empty."""
    options: tuple[str, ...] = ()
    """What else a shared word may mean."""
    part: bool = False
    """A part that is named by itself where its component is not spoken of."""
    named: bool = False
    """Outside the vocabulary, but pointed at by an article or standing first: it may be a component all the same."""

    @property
    def word(self) -> str:
        """The word of the vocabulary, or the noun as said."""
        return self.canon or self.component


@dataclass(frozen=True, slots=True)
class Part:
    """What components.toml says of a part: the components that have it; `alone`: it has a name of its own."""

    of: tuple[str, ...]
    alone: bool


@cache
def groups() -> dict[str, frozenset[str]]:
    """Groups of components by name; `noun`: nouns of the trade outside the contract's vocabulary."""
    found = {name: frozenset(members) for name, members in load_table("components")["groups"].items()}
    nouns = [*load_table("components")["nouns"]["say"], *(n for n, s in subjects().items() if s.noun)]
    known = frozenset(nouns) | frozenset(plural(noun) for noun in nouns)
    return found | {"noun": known - found["figure"] - found["space"]}


@cache
def spread(names: tuple[str, ...]) -> frozenset[str]:
    """Groups and components as components."""
    found: set[str] = set()
    for name in names:
        found |= groups().get(name, frozenset({name}))
    return frozenset(found)


def figures_only() -> frozenset[str]:
    """Subjects that are told in figures and have no state of their own."""
    return groups()["figure"]


@cache
def listed(name: str) -> frozenset[str]:
    """The words of a list of components.toml."""
    return frozenset(load_table("components")[name]["say"])


@cache
def part_phrases() -> tuple[Phrases, tuple[Part, ...]]:
    """Phrases of parts and nouns; the label is the number of the part, or the noun itself."""
    rows = [(noun, p) for noun in load_table("components")["nouns"]["say"] for p in (noun, plural(noun))]
    parts = []
    for number, row in enumerate(load_table("components")["part"]):
        parts.append(Part(tuple(row["of"]), row.get("alone", False)))
        rows += [(str(number), p) for phrase in row["say"] for p in (phrase, plural(phrase))]
    return Phrases(rows), tuple(parts)


@cache
def state_words() -> frozenset[str]:
    """Single words that tell a state: "the motor's fine" names no thing called fine."""
    found: set[str] = set()
    for row in load_table("conditions")["row"]:
        single = [phrase for phrase in row["say"] if " " not in phrase]
        if row["kind"] in ("state", "thing"):
            found.update(single)
        elif row["kind"] == "deed":
            found.update(word for phrase in single for word, _ in forms(phrase))
    return frozenset(found)


@cache
def _machines() -> tuple[Phrases, tuple[dict[str, str], ...]]:
    rows = load_table("components")["usual"]
    return (
        Phrases([(str(n), p) for n, row in enumerate(rows) for word in row["machine"] for p in (word, plural(word))]),
        tuple({key: value for key, value in row.items() if key != "machine"} for row in rows),
    )


def usual_words(passage: Passage) -> dict[str, str]:
    """What shared words usually mean on the machine whose words fall most often; empty when none falls."""
    phrases, usual = _machines()
    counts = Counter(hit.label for hit in phrases.find(passage))
    return usual[int(counts.most_common(1)[0][0])] if counts else {}
