"""Work told in a few words without a verb: "out one turn", "brush and vacuum"."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.clauses import Clause
from extractors.deed import DONE, Deed, allowed
from extractors.facts import ActionKind
from extractors.grammar import small_words
from extractors.modality import Moods
from extractors.things import Thing, groups
from extractors.view import View

REACH = 60
"""Tokens back to the valve whose stem is turned, or the coil that is brushed."""


class TerseWork:
    """Finds work in clauses that name only how far, or with what."""

    def __init__(self, view: View, moods: Moods) -> None:
        """Takes what deeds are read with."""
        self.view = view
        self.norm = view.norm
        self.components = view.components
        self.moods = moods

    def deeds(self, clause: Clause) -> Iterator[Deed]:
        """The deed of a clause, if it tells one so."""
        if self.moods.plain(clause) is not DONE or self.view.stances.has("not_done", clause.span):
            return
        turned = self._turns(clause)
        thing = None if turned is None else self._near(clause, frozenset(groups()["trimmed"]))
        if turned is not None and thing is not None:
            yield self._deed(clause, turned, ActionKind.ADJUSTED, thing)
            return
        brushed = self._brushed(clause)
        thing = None if brushed is None else self._near(clause, allowed(ActionKind.CLEANED) & groups()["coil"])
        if brushed is not None and thing is not None:
            yield self._deed(clause, brushed, ActionKind.CLEANED, thing)

    def _turns(self, clause: Clause) -> int | None:
        """The word of a turn with how many and which way beside it: "a half turn open", "out one turn"."""
        for index in range(clause.first + 1, clause.span.end):
            counted = self.view.is_number(index - 1) or self.norm(index - 1) in small_words("turn_count")
            if self.norm(index) not in ("turn", "turns") or not counted:
                continue
            near = range(max(clause.first, index - 4), min(clause.span.end, index + 3))
            if any(self.norm(i) in small_words("turn_way") for i in near):
                return index
        return None

    def _brushed(self, clause: Clause) -> int | None:
        """The first tool of cleaning where a clause of a few words names nothing else: "brush and vacuum"."""
        words = [self.norm(i) for i in range(clause.first, clause.span.end)]
        tools = [word for word in words if word in small_words("cleaning_tool")]
        filler = small_words("filler") | {"and", "then", ","}
        return clause.first if tools and all(word in filler or word in tools for word in words) else None

    def _near(self, clause: Clause, fits: frozenset[str]) -> Thing | None:
        """What is meant: named in the clause, else what was spoken of last that fits."""
        named = [t for t in self.components.of(clause) if t.known and {t.word, t.component} & fits]
        if named:
            return named[0]
        near = self.components.before(clause.span.start, clause, fits)
        return near if near is not None and clause.span.start - near.span.end <= REACH else None

    def _deed(self, clause: Clause, token: int, kind: ActionKind, thing: Thing) -> Deed:
        because = (f"said: {self.norm(token)}", "status: told in a few words")
        return Deed(kind, thing.component, thing.place, DONE, clause, token, clause.bare, because)
