"""The verbs of the work in a talk, in all forms, their object in the middle: "put the new one in"."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from extractors.clauses import Clause, Clauses
from extractors.facts import ActionKind
from extractors.lexicon import load_table
from extractors.passage import Span
from extractors.things import spread
from extractors.verbs import Form, forms

GAP = 9  # tokens that an object in the middle may have


@dataclass(frozen=True, slots=True)
class Row:
    """A row of actions.toml. `fits` is null for any component."""

    action: ActionKind
    fits: frozenset[str] | None
    component: str
    needs: str
    order: int


@dataclass(frozen=True, slots=True)
class Pattern:
    """A verb and what follows it; "*" stands for the object."""

    before: tuple[str, ...]
    form: Form
    after: tuple[str, ...]
    row: Row

    @property
    def weight(self) -> int:
        """Words that it fixes; the heavier pattern wins."""
        return 1 + len(self.before) + sum(word != "*" for word in self.after)


@dataclass(frozen=True, slots=True)
class VerbHit:
    """A verb of work as it stands. `gap`: the object in the middle, or an empty span."""

    verb: int
    span: Span
    gap: Span
    forms: frozenset[Form]
    rows: tuple[Row, ...]
    """Rows of all patterns that match here, the heaviest first."""


@cache
def _patterns() -> dict[str, list[Pattern]]:
    """Patterns by the inflected word that they start from."""
    found: dict[str, list[Pattern]] = {}
    for order, entry in enumerate(load_table("actions")["row"]):
        fits = entry.get("fits")
        row = Row(
            ActionKind(entry["action"]),
            None if fits is None else spread(tuple(fits)),
            entry.get("component", ""),
            entry.get("needs", ""),
            order,
        )
        for phrase in entry["say"]:
            words = phrase.split()
            at = next((i for i, word in enumerate(words) if word.startswith("^")), 0)
            for word, form in forms(words[at].lstrip("^")):
                found.setdefault(word, []).append(Pattern(tuple(words[:at]), form, tuple(words[at + 1 :]), row))
    return found


def _tail(clauses: Clauses, clause: Clause, at: int, after: tuple[str, ...]) -> tuple[int, Span] | None:
    """Where a pattern's words after the verb end, and its gap; null when they do not stand there."""
    passage = clauses.passage
    gap = Span(at, at)
    for number, word in enumerate(after):
        if word != "*":
            if at >= clause.span.end or passage.norm(at) != word:
                return None
            at += 1
            continue
        following = after[number + 1]
        for stop in range(at + 1, min(at + GAP, clause.span.end)):
            if passage.norm(stop) == following and not (
                following in ("in", "on", "to") and number + 2 == len(after) and _goes_on(clauses, clause, stop)
            ):
                gap, at = Span(at, stop), stop
                break
        else:
            return None
    if after and after[-1] in ("in", "on") and _goes_on(clauses, clause, at - 1) and "*" in after:
        return None
    return at, gap


def _goes_on(clauses: Clauses, clause: Clause, particle: int) -> bool:
    """Whether "in" or "on" opens a place ("in the box") and does not belong to the verb."""
    following = particle + 1
    if (
        clauses.passage.norm(particle) == "to"
        or following >= clause.span.end
        or clauses.passage.norm(following) in ("it", "there", "them", "here")
    ):
        return False
    return (
        clauses.tags[following] in ("DT", "PRP$", "PRP")
        or (clauses.tags[following] == "CD" and clauses.passage.norm(particle) == "in")
        or clauses.passage.norm(following) in ("my", "his", "her", "their")
    )


def verb_hits(clauses: Clauses) -> Iterator[VerbHit]:
    """All verbs of work in order. Linear in the passage."""
    table = _patterns()
    for clause in clauses.clauses:
        for index in range(clause.span.start, clause.span.end):
            patterns = table.get(clauses.passage.norm(index))
            if not patterns:
                continue
            matched: list[tuple[int, int, int, Span, Pattern]] = []
            for pattern in patterns:
                start = index - len(pattern.before)
                if start < clause.span.start or clauses.passage.norms[start:index] != pattern.before:
                    continue
                tail = _tail(clauses, clause, index + 1, pattern.after)
                if tail is not None:
                    matched.append((-pattern.weight, pattern.row.order, tail[0], tail[1], pattern))
            if not matched:
                continue
            matched.sort(key=lambda m: m[:2])
            best = matched[0]
            rows = tuple(dict.fromkeys(m[4].row for m in matched))
            kinds = frozenset(m[4].form for m in matched)
            start = index - len(best[4].before)
            yield VerbHit(index, Span(start, best[2]), best[3], kinds, rows)
