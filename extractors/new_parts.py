"""Changes of parts that no verb tells: "new gasket on the flange", "with the new cap in", "contactor swap done"."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.clauses import BE, Clause
from extractors.deed import DONE, PUT_IN, Deed, Memory, allowed, never
from extractors.facts import ActionKind
from extractors.grammar import small_words
from extractors.mentions import subjects
from extractors.modality import Moods
from extractors.objects import Objects, part_name
from extractors.things import Thing, figures_only
from extractors.view import View

JUST = 28  # clauses for which "the new one" is what went in last
READ_TAGS = ("VBZ", "VBD", "VBP", "NNS")
NEW = ("new", "fresh", "replacement")


class NewParts:
    """Finds changes of parts in clauses without a verb of work."""

    def __init__(self, view: View, memory: Memory, objects: Objects, moods: Moods) -> None:
        """Takes what deeds are read with."""
        self.view = view
        self.norm = view.norm
        self.components = view.components
        self.stances = view.stances
        self.memory = memory
        self.objects = objects
        self.moods = moods

    def deeds(self, clause: Clause) -> list[Deed]:
        """The changes that a clause tells."""
        return list(self._new(clause)) or list(self._the_new_one(clause)) or list(self._change_done(clause))

    def _new(self, clause: Clause) -> Iterator[Deed]:
        """A part named as new where work is told; not "new plate says", "new 2.5 amps"."""
        mood, first = self.moods.plain(clause), clause.first
        while first < clause.span.end and self.norm(first) in small_words("filler") | small_words("count_words"):
            first += 1
        if self.norm(first) not in NEW:
            first = self._runs_on_new(clause, first)
        if (
            mood is None
            or self.norm(first) not in NEW
            or first + 1 >= clause.span.end
            or first + 1 in self.objects.figure_starts
        ):
            return
        if self.view.any(first + 1, min(first + 4, clause.span.end), BE | {"says", "plate", "wants", "calls"}):
            return
        things = [
            t for t in self.components.between(first + 1, clause.span.end) if not t.prep and t.span.start - first <= 3
        ]
        thing: Thing | None = None
        if things and things[0].known:
            thing = self.memory.due(things[0], clause) if things[0].options else things[0]
        elif (
            self.norm(first + 1) in ("one", "ones")
            and self.view.tags[min(first + 2, clause.span.end - 1)] not in READ_TAGS
        ):
            thing = self.memory.failed_last(clause) or self.components.before(
                clause.span.start, clause, allowed(ActionKind.REPLACED)
            )
        if thing is None or thing.word in figures_only() or thing.component in never(ActionKind.REPLACED):
            return  # "new gas" is a charge
        if thing.word in allowed(ActionKind.REPLACED) or thing.word not in subjects():
            yield Deed(
                ActionKind.REPLACED,
                part_name(thing),
                thing.place,
                mood,
                clause,
                first,
                clause.bare,
                ("said: new", "status: told among the work"),
            )

    def _runs_on_new(self, clause: Clause, first: int) -> int:
        """Talk without marks: "there you go new dual same numbers"."""
        for index in range(first + 1, clause.span.end - 1):
            if self.norm(index) == "new" and self.view.tags[index - 1] in ("VB", "RB", "RP", "CD", "VBN", "UH"):
                return index
        return first

    def _the_new_one(self, clause: Clause) -> Iterator[Deed]:
        """The new part at work, after the old one failed: "the new one's pulling two amps", "with the new cap in"."""
        if self.moods.plain(clause) is not DONE or self.stances.has("not_done", clause.span):
            return
        at = clause.span.start
        while at < clause.span.end and (
            self.norm(at) in small_words("filler") | small_words("with_it") | small_words("before_new")
        ):
            at += 1
        if self.norm(at) not in NEW or at + 1 >= clause.span.end or self._just_changed(clause):
            return
        due = self.memory.failed_last(clause)
        before = {self.norm(i) for i in range(clause.span.start, at)}
        led = bool(before & small_words("with_it")) or (
            "it" in before and bool(before & {"got", "has"}) and self.view.any(at, clause.span.end, ("now",))
        )
        things = [t for t in self.components.between(at + 1, at + 4) if t.known]
        asked = self.view.any(at + 1, clause.span.end, small_words("price_words"))
        thing: Thing | None = due if self.norm(at + 1) in ("one", "ones") and not asked else None
        if things and (led or (due is not None and things[0].component == due.component)):
            thing = self.memory.due(things[0], clause) if things[0].options else things[0]
        if thing is not None and thing.component in allowed(ActionKind.REPLACED):
            said = ("said: new", "status: at work now")
            yield Deed(ActionKind.REPLACED, part_name(thing), thing.place, DONE, clause, at, clause.bare, said)

    def _just_changed(self, clause: Clause) -> bool:
        """Whether a change was told shortly before: "the new one" is then what went in there."""
        return any(
            d.action in PUT_IN and d.status is DONE and clause.index - d.clause.index <= JUST
            for d in self.memory.deeds[-8:]
        )

    def _change_done(self, clause: Clause) -> Iterator[Deed]:
        """The change of a part told as a noun: "contactor swap done", "finished the belt change"."""
        words = {self.norm(i) for i in range(clause.span.start, clause.span.end)}
        if not words & small_words("finished") or self.moods.plain(clause) is not DONE:
            return
        for thing in self.components.of(clause):
            named_so = {self.norm(thing.head), self.norm(thing.span.end)} & small_words("change_noun")
            if thing.known and named_so:
                if thing.component in allowed(ActionKind.REPLACED) and not self.stances.has("not_done", clause.span):
                    said = ("said: its change", "status: it is done")
                    token = thing.head
                    yield Deed(
                        ActionKind.REPLACED, part_name(thing), thing.place, DONE, clause, token, clause.bare, said
                    )
                return
