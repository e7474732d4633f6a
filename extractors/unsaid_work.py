"""Work that no verb of work tells: "contactor's in", "vacuum, 380", "needs a new belt"."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from extractors.clauses import BE, Clause
from extractors.deed import DONE, PUT_IN, RECOMMENDED, Deed, Memory, allowed
from extractors.facts import ActionKind, ActionStatus
from extractors.grammar import small_words
from extractors.lexicon import load_table
from extractors.modality import Moods
from extractors.new_parts import NewParts
from extractors.objects import Objects, part_name
from extractors.passage import Span
from extractors.phrases import Phrases
from extractors.terse_work import TerseWork
from extractors.things import Thing, figures_only, groups
from extractors.view import View

AWAITED = 14  # clauses back to the removal or plan that "it's in" ends
OUTRIGHT = frozenset(
    {
        "contactor",
        "relay",
        "start relay",
        "line",
        "breaker",
        "disconnect",
        "unit",
        "box",
        "compressor",
        "product",
        "ambient",
        "display",
    }
)
"""Components that are "in" or "on" without having been put there."""
NO_PART = ("wiring", "box", "unit", "product", "ground")
Named = tuple[Span, ActionKind, str, str]


@cache
def _named_work() -> tuple[Phrases, tuple[tuple[ActionKind, str, str], ...]]:
    entries = load_table("actions")["named"]
    return (
        Phrases([(str(n), phrase) for n, row in enumerate(entries) for phrase in row["say"]]),
        tuple((ActionKind(row["action"]), row["component"], row["needs"]) for row in entries),
    )


class UnsaidWork:
    """Finds work in clauses without a verb of work."""

    def __init__(self, view: View, memory: Memory, objects: Objects, moods: Moods) -> None:
        """Takes what deeds are read with."""
        self.view = view
        self.norm = view.norm
        self.components = view.components
        self.stances = view.stances
        self.memory = memory
        self.objects = objects
        self.moods = moods
        self.new_parts = NewParts(view, memory, objects, moods)
        self.terse = TerseWork(view, moods)
        phrases, kinds = _named_work()
        self._named: dict[int, list[Named]] = {}
        for hit in phrases.find(view.passage):
            clause = view.clauses.at(hit.span.start).index
            self._named.setdefault(clause, []).append((hit.span, *kinds[int(hit.label)]))

    def deeds(self, clause: Clause) -> list[Deed]:
        """The deeds of a clause."""
        return (
            list(self._by_name(clause))
            or list(self._on_order(clause))
            or list(self._needs(clause))
            or list(self._in_place(clause))
            or list(self.terse.deeds(clause))
            or list(self.new_parts.deeds(clause))
        )

    # ------------------------------------------------------------ "vacuum, 380, held"
    def _by_name(self, clause: Clause) -> Iterator[Deed]:
        named = self._named.get(clause.index, ())
        if not named or self.moods.plain(clause) is not DONE or self.stances.has("not_done", clause.span):
            return
        end = self._rest(clause)
        for span, action, component, needs in named:
            if any(no.overlaps(span) for no in self.stances.hits("no_deed", clause.span.start, clause.span.end)):
                continue  # "vacuum cleaner", "vacuum relief port"
            if needs == "figure" and not any(i in self.objects.figure_starts for i in range(clause.span.start, end)):
                continue
            if needs == "result" and not self._result(span, end):
                continue
            if action is ActionKind.LEAK_TESTED:
                component = self.components.machine_word("leak") or component
            said = f"said: {self.view.passage.said(span).lower()}"
            yield Deed(
                action, component, None, DONE, clause, span.start, clause.bare, (said, "status: named with its result")
            )
            return

    def _on_order(self, clause: Clause) -> Iterator[Deed]:
        """Ordered already: "gasket's on order"."""
        for index in range(clause.first + 1, clause.span.end - 1):
            heads = self.view.heads(clause, index)
            if self.view.words(Span(index, index + 2)) == ("on", "order") and heads and heads[-1].known:
                because = ("said: on order", "status: it is on its way")
                yield Deed(ActionKind.ORDERED, heads[-1].component, None, DONE, clause, index, clause.bare, because)
                return

    def _result(self, span: Span, end: int) -> bool:
        """Whether a search for leaks is told with what it gave."""
        return (
            bool(self.stances.hits("search.none", span.end, end) or self.stances.hits("search.found", span.end, end))
            or self.norm(span.end) == "on"
            or self.view.any(span.end, end, ("bubbles", "foam", "no", "leak", "leaks"))
        )

    def _rest(self, clause: Clause) -> int:
        """The end of the sentence, and after a very short clause of the next one."""
        end, reach = clause.span.end, 1 if clause.span.end - clause.span.start < 8 else 0
        for following in self.view.clauses.clauses[clause.index + 1 : clause.index + 6]:
            if following.sentence > clause.sentence + reach:
                break
            end = following.span.end
        return end

    # ------------------------------------------------------------ "contactor's in", "jumper's off"
    def _in_place(self, clause: Clause) -> Iterator[Deed]:
        if self.moods.plain(clause) is not DONE:
            return
        goes = {self.norm(clause.first + 1), self.norm(clause.first + 2)} & {"goes", "go", "went"}
        figured = self.objects.figure_in(clause, clause.first)  # "in went eight pounds": a charge
        if self.norm(clause.first) in ("in", "on") and goes and not figured:
            near = self._spoken_of(clause)
            just = near is not None and near.known and self.view.sentence_of(near) >= clause.sentence - 1
            due = near if just else self.memory.failed_last(clause) or near
            if due is not None and due.component not in NO_PART:
                yield self._there_now(clause, clause.first, ActionKind.REPLACED, due.component, due.place, "in it goes")
            return
        cues = [
            s
            for s in self.stances.hits("in_place", clause.first, clause.span.end)
            if s.end == clause.span.end
            or (s.end == clause.span.end - 1 and self.norm(s.end) in ("now", "there", "too", "again"))
            or self.norm(s.end) == "by"
        ]
        if cues:
            cue = min(cues, key=lambda s: s.start)
            thing = self._put_there(clause, cue)
            if thing is None and self._power_is_on(clause, cue):
                yield self._there_now(clause, cue.start, ActionKind.STARTED, "unit", None, "power back on")
                return
            if thing is not None:
                said = self.view.words(cue)
                kind = ActionKind.INSTALLED if "back" in said else ActionKind.REPLACED
                if thing.component == "refrigerant charge":
                    kind = ActionKind.CHARGED
                yield self._there_now(clause, cue.start, kind, part_name(thing), thing.place, " ".join(said))
                return
        yield from self._taken_off(clause)

    def _power_is_on(self, clause: Clause, cue: Span) -> bool:
        heads = self.view.heads(clause, cue.start)
        back = self.view.words(cue) == ("back", "on") or self.norm(cue.start - 1) == "back"
        return back and bool(heads) and heads[0].component in ("line", "disconnect", "breaker")

    def _put_there(self, clause: Clause, cue: Span) -> Thing | None:
        """What is told to be in its place now, where that is news."""
        words = [self.norm(i) for i in range(clause.first, cue.start)]
        if not words or len(words) > 9 or small_words("not_there") & set(words):
            return None
        before = self.view.heads(clause, cue.start)
        new, last = "new" in words, words[-1]
        said_to_go = self.norm(cue.start) in ("went", "goes")
        touching = said_to_go or last in BE or last in ("back", "both", "all", "now") or _is_figure(last)
        if not (touching or new or any(t.span.end == cue.start for t in before)):
            return None
        if before:
            thing: Thing | None = self.memory.due(before[0], clause) if before[0].options else before[0]
        elif small_words("subject_pronoun") & set(words) or any(_is_figure(w) for w in words):
            thing = self._pointed_at(clause, cue, new)
        else:
            thing = None
        if thing is None:
            return None
        awaited, said = self.memory.awaited(thing.component), self.view.words(cue)
        outright = thing.component in OUTRIGHT or thing.word in figures_only()
        if before and outright and not (new or awaited):
            return None
        if said[-1] == "on" and said != ("back", "on") and not (new or self.memory.told_of(thing.component)):
            return None
        charged = thing.component == "refrigerant charge"  # "charge went in by weight"
        if not (BE & set(words) or new or awaited or charged or said[0] in ("back", "in")):
            return None
        name = part_name(thing)
        if name in NO_PART or (name in groups()["noun"] and not (new or self.memory.awaited(name))):
            return None
        return thing

    def _pointed_at(self, clause: Clause, cue: Span, new: bool) -> Thing | None:
        """What "it's in", "the new one's in" means: the last removal or plan, else what failed."""
        for deed in reversed(self.memory.deeds[-6:]):
            if not new and deed.action in PUT_IN | {ActionKind.REMOVED} and clause.index - deed.clause.index <= AWAITED:
                return Thing(deed.component, cue, cue.start, "", deed.place, start=cue.start)
        near, due = self._spoken_of(clause), self.memory.failed_last(clause)
        if due is not None and due.component in NO_PART:
            due = None  # "the new one" is a thing: wires are not counted so
        if due is not None and (new or (near is not None and near.component == due.component)):
            near = due
        return near if near is not None and (new or self.memory.awaited(near.component)) else None

    def _spoken_of(self, clause: Clause) -> Thing | None:
        return self.components.before(clause.span.start, clause, allowed(ActionKind.REPLACED))

    def _there_now(
        self, clause: Clause, token: int, kind: ActionKind, component: str, place: str | None, said: str
    ) -> Deed:
        return Deed(
            kind, component, place, DONE, clause, token, clause.bare, (f"said: {said}", "status: it is there now")
        )

    def _taken_off(self, clause: Clause) -> Iterator[Deed]:
        """What cheated a control, taken away: "jumper's off"; a zip tie is filed under what it held."""
        for thing in self.view.heads(clause, clause.span.end):
            if "jumper" not in thing.said and "zip tie" not in thing.said:
                continue
            held = (
                self.components.before(clause.span.start, clause, groups()["switch"]) if "zip" in thing.said else thing
            )
            off = [
                s
                for s in self.stances.hits("taken_out", clause.span.start, clause.span.end)
                if s.start >= thing.span.end
            ]
            if held is not None and off:
                yield Deed(
                    ActionKind.REMOVED,
                    held.component,
                    held.place,
                    DONE,
                    clause,
                    thing.head,
                    clause.bare,
                    ("said: off", "status: it is gone now"),
                )
            return

    # ------------------------------------------------------------ "needs a new belt"
    def needed(self, clause: Clause) -> Deed | None:
        """Advice without a verb of work: "needs a new belt", "a new coil is the right way"."""
        if self.moods.own_need(clause) or self.stances.has("not_done", clause.span):
            return None
        words = [self.norm(i) for i in range(clause.first, clause.span.end)]
        new = "new" in words or "another" in words
        thing = self._advised_part(clause, words, new)
        if (
            thing is None
            or thing.word in figures_only()
            or (thing.known and thing.word not in allowed(ActionKind.REPLACED))
        ):
            return None
        fresh = new or (thing.known and thing.component not in groups()["noun"])
        kind: ActionKind = ActionKind.REPLACED if fresh else ActionKind.INSTALLED
        status: ActionStatus = RECOMMENDED
        return Deed(
            kind,
            thing.component,
            thing.place,
            status,
            clause,
            clause.first,
            clause.bare,
            ("said: needs", "status: advised"),
        )

    def _needs(self, clause: Clause) -> Iterator[Deed]:
        needed = self.needed(clause)
        if needed is not None:
            yield needed

    def _advised_part(self, clause: Clause, words: list[str], new: bool) -> Thing | None:
        candidates = [
            t
            for t in self.components.of(clause)
            if (t.known and (not t.prep or self.norm(t.start - 1) in ("for", "on")))
            or (
                not t.known and not t.prep and self.objects.is_named(t) and self.norm(t.start) in ("a", "an", "another")
            )
        ]
        cue = self._cue(clause)
        if self.stances.has("recommend.aux", clause.span):
            exchanged = [t for t in candidates if self.norm(t.span.end) == "replacement"]
            if exchanged:  # "quoted him a compressor replacement"
                return exchanged[0]
        if cue is None:
            right = small_words("right_way") & set(words) and BE & set(words)
            fresh = [
                t for t in candidates if self.norm(t.span.start - 1) == "new" or self.norm(t.start) in ("a", "new")
            ]
            return fresh[0] if new and right and fresh else None
        word = self.norm(cue.end - 1)
        if self.view.words(Span(cue.end, cue.end + 2)) == ("to", "be"):
            return None  # "wants to be under forty-one"
        after = [
            t
            for t in candidates
            if t.span.start >= cue.end
            and (new or self.norm(t.start) in small_words("some_thing") or self._bare_plural(t, cue))
        ]
        fronted = word == "would" and self.norm(cue.start - 1) in ("i", "we") and cue.end >= clause.span.end - 1
        before = [t for t in candidates if t.span.end <= cue.start] if fronted else []
        if (
            after
            and word in ("should", "would", "use", "like", "to")
            and not self.view.any(cue.start, after[0].start, small_words("getting"))
        ):
            after = []
        if after or before:
            return (after or before)[0]
        one = word in ("need", "needs", "want", "wants", "use") and {"one", "another"} & set(words[-4:])
        if one and not self.components.between(cue.end, clause.span.end):
            near = self._spoken_of(clause)
            return near if near is not None and self.view.sentence_of(near) >= clause.sentence - 1 else None
        return None

    def _bare_plural(self, thing: Thing, cue: Span) -> bool:
        """What is needed, said without an article: "needs gaskets"."""
        return self.view.tags[thing.head] == "NNS" and thing.start == cue.end and thing.known

    def _cue(self, clause: Clause) -> Span | None:
        """The last word of need or advice in a clause."""
        cues = self.stances.hits("recommend.aux", clause.span.start, clause.span.end)
        strong = [
            s
            for s in cues
            if self.norm(s.end - 1) in small_words("need_words")
            or self.view.words(s) in (("ought", "to"), ("need", "to"), ("needs", "to"))
        ]
        return strong[-1] if strong else None


def _is_figure(word: str) -> bool:
    return word.replace(".", "", 1).isdigit()
