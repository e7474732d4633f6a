"""A claim: one place where the words say the state of a component; and the manners of speaking in conditions.toml."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from extractors.clauses import Clause
from extractors.facts import Condition, FindingStatus
from extractors.lexicon import load_table
from extractors.passage import Span
from extractors.phrases import Phrases
from extractors.things import Thing, figures_only, groups, spread
from extractors.verbs import inflected

FIRM = frozenset({Condition.NORMAL, Condition.RUNNING})
"""Good states: they are judged of what was just spoken of, and never guessed."""
BODILY = frozenset(Condition(c) for c in ("damaged", "missing", "loose", "corroded", "worn", "burnt", "seized"))
ANY_NOUN = frozenset(
    Condition(c)
    for c in (
        "damaged",
        "missing",
        "corroded",
        "worn",
        "burnt",
        "seized",
        "dirty",
        "clogged",
        "leaking",
        "noisy",
        "wet",
        "iced",
    )
)
"""What is believed of a noun outside the vocabulary."""
WORTH_DENYING = frozenset(
    Condition(c)
    for c in (
        "leaking",
        "damaged",
        "dirty",
        "clogged",
        "grounded",
        "shorted",
        "undercharged",
        "overcharged",
        "tripped",
        "iced",
        "failed",
        "open",
        "seized",
        "corroded",
        "burnt",
        "no_power",
        "oil_stained",
        "missing",
    )
)
"""What is worth telling when it was looked for and not there."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row of conditions.toml. `fits` is null for any component that has a state."""

    condition: Condition
    kind: str
    fits: frozenset[str] | None
    component: str
    denied: Condition | None
    ahead: bool
    only_denied: bool = False
    about: frozenset[str] = frozenset()
    """Further subjects of which it is said, meaning `component`: "it's low", of a sight glass, means the charge."""

    @property
    def width(self) -> int:
        """How many components it is said of; the narrowest row goes first."""
        return len(self.fits) if self.fits else 1000

    @property
    def takes_nouns(self) -> bool:
        """Whether it is said of nouns outside the contract's vocabulary as well."""
        return self.fits is None or groups()["noun"] <= self.fits

    def holds(self, thing: Thing) -> bool:
        """Whether it can be said of a thing."""
        if not thing.known:
            return self.condition in ANY_NOUN and not thing.prep and thing.named and self.takes_nouns
        if self.fits is not None:
            return thing.word in self.fits or (thing.part and thing.component in self.fits)
        return thing.word not in figures_only() and thing.word not in groups()["space"]


@dataclass(frozen=True, slots=True)
class Claim:
    """A state that a clause tells of a component."""

    component: str
    place: str | None
    condition: Condition
    status: FindingStatus
    clause: Clause
    token: int
    evidence: Span
    because: tuple[str, ...]
    generic: bool = False
    """Neither the state nor its kind was named: "it could be the relay"."""
    confirm: tuple[str, ...] = ()
    hearsay: bool = False
    """Somebody else's opinion; it counts only when the job proves or clears it."""
    cleanness: bool = False
    """Only that it is clean or clear."""


def plain(
    clause: Clause, thing: Thing, status: FindingStatus, why: str, condition: Condition = Condition.FAILED
) -> Claim:
    """A claim of a clause that names no state: that the thing failed, or what that means of such a thing."""
    generic = condition is Condition.FAILED
    if generic:
        condition = Condition(load_table("components")["generic"].get(thing.component, condition))
    return Claim(
        thing.component, thing.place, condition, status, clause, clause.first, clause.bare, (why,), generic=generic
    )


@cache
def rows() -> tuple[Row, ...]:
    """The rows of conditions.toml in order."""
    found = []
    for entry in load_table("conditions")["row"]:
        fits = entry.get("fits")
        found.append(
            Row(
                Condition(entry["condition"]),
                entry["kind"],
                None if fits is None else spread(tuple(fits)),
                entry.get("component", ""),
                Condition(entry["denied"]) if "denied" in entry else None,
                entry.get("ahead", True),
                entry.get("only_denied", False),
                spread(tuple(entry.get("about", ()))),
            )
        )
    return tuple(found)


@cache
def phrases() -> Phrases:
    """What the rows say, verbs in all forms; the label is the number of the row."""
    say: list[tuple[str, str]] = []
    for number, entry in enumerate(load_table("conditions")["row"]):
        if entry["kind"] == "simile":
            continue
        for phrase in entry["say"]:
            forms = [said for said, _ in inflected(phrase)] if entry["kind"] == "deed" else [phrase]
            say += [(str(number), said) for said in forms]
    return Phrases(say)


@cache
def similes() -> tuple[tuple[Row, frozenset[str]], ...]:
    """Rows of likenesses ("like a wool blanket") with their words."""
    entries = load_table("conditions")["row"]
    return tuple((row, frozenset(e["say"])) for row, e in zip(rows(), entries, strict=True) if e["kind"] == "simile")
