"""All deeds of a talk: each place where the words tell work done, planned or advised, not yet settled into actions."""

from __future__ import annotations

from extractors.clauses import Clause
from extractors.deed import PLANNED, PUT_IN, RECOMMENDED, Deed, Memory
from extractors.facts import ActionKind
from extractors.grammar import small_words
from extractors.lexicon import load_table
from extractors.modality import Mood, Moods
from extractors.objects import Objects
from extractors.passage import Span
from extractors.settled import Entry
from extractors.things import Thing, figures_only, groups
from extractors.unsaid_work import UnsaidWork
from extractors.verbphrases import VerbHit, verb_hits
from extractors.view import View

LAST_SAID = 20  # tokens back to the thing that "told him" is about
SHORT_CLAUSE = 16  # tokens up to which a whole clause is the evidence
WITH_FIGURES = frozenset(ActionKind(a) for a in ("set", "adjusted", "charged", "pressure_tested", "evacuated"))
BY_ORDER = frozenset({ActionKind.INSPECTED, ActionKind.REMOVED})
"""Kinds that an order to a helper ("look at that", "pull it") does not make worth an entry."""

ORDERED_BY_NAME = frozenset(ActionKind(a) for a in ("cleaned", "lubricated", "repaired", "installed"))
"""Kinds that an order makes an entry only where the thing is named."""


def find_deeds(view: View, entries: list[Entry]) -> list[Deed]:
    """Every deed of a talk in order. `entries`: the settled states of its components. Linear in the talk."""
    return _Reader(view, entries).all()


class _Reader:
    """Turns verbs of work where they stand into deeds."""

    def __init__(self, view: View, entries: list[Entry]) -> None:
        self.view = view
        self.norm = view.norm
        self.components = view.components
        self.stances = view.stances
        self.memory = Memory(entries)
        self.objects = Objects(view, self.memory, view.talk.figures)
        self.moods = Moods(view.clauses, view.stances, frozenset(t.head for t in view.components.things if t.known))
        self.unsaid = UnsaidWork(view, self.memory, self.objects, self.moods)
        self.people = frozenset(load_table("status")["people"]["say"])

    def all(self) -> list[Deed]:
        by_clause: dict[int, list[VerbHit]] = {}
        for hit in verb_hits(self.view.clauses):
            by_clause.setdefault(self.view.clauses.at(hit.verb).index, []).append(hit)
        for clause in self.view.clauses.clauses:
            stance = self.stances.of[clause.index]
            self.moods.enter(clause)
            others = stance.quoted and not stance.told and stance.quoted_from <= clause.first
            if not (stance.earlier or others):
                self.memory.add(self._clause(clause, by_clause.get(clause.index, [])))
        return self.memory.deeds

    def _clause(self, clause: Clause, hits: list[VerbHit]) -> list[Deed]:
        made: list[Deed] = []
        taken = clause.span.start
        for hit in hits:
            if hit.verb < taken or self._looks_like_work(clause, hit):
                continue
            mood = self.moods.of(clause, hit)
            deed = None if mood is None else self._deed(clause, hit, mood)
            if deed is not None:
                made.append(deed)
                taken = max(hit.span.end, hit.verb + 1)
        if not made and not clause.question:
            return self.unsaid.deeds(clause)
        if len(made) == 1 and made[0].action is ActionKind.ADVISED:
            needed = self.unsaid.needed(clause)  # "told her she needs new blades"
            made += [needed] if needed is not None else []
        return made

    def _looks_like_work(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether the verb is part of an expression that is no work: "hang on", "got the coil washed out"."""
        if self.norm(hit.verb) in ("got", "get", "getting") and any(
            self.view.tags[i] in ("VBN", "VBD") for i in range(hit.gap.start, hit.gap.end)
        ):
            return True
        return any(
            s.start <= hit.verb < s.end for s in self.stances.hits("no_deed", clause.span.start, clause.span.end)
        )

    def _deed(self, clause: Clause, hit: VerbHit, mood: Mood) -> Deed | None:
        if clause.question and mood.status is not PLANNED:
            return None
        if hit.rows[0].action is ActionKind.ADVISED:
            return self._advice(clause, hit, mood)
        if hit.rows[0].action is ActionKind.ORDERED:
            return self._order(clause, hit, mood)
        if (mood.order and not self.objects.has_its_object(hit)) or self._goes_by_itself(clause, hit):
            return None
        object_ = self.objects.of(clause, hit, mood)
        thing = object_.thing
        if thing is not None and thing.options and not thing.part:
            thing = self.memory.due(thing, clause)
            object_ = type(object_)(thing, object_.source)
        for row in hit.rows:
            if mood.order and (row.action in BY_ORDER or self._heads_a_figure(hit, row.action)):
                continue
            if self._is_a_value(clause, hit, row.action) or not self._means_a_setting(clause, hit, row.action):
                continue
            if row.action is ActionKind.SET and object_.source == "none":
                continue  # "took fifty minutes to get back": nothing that is set is named or meant
            fitted = self.objects.fit(clause, hit, row, object_)
            if fitted is None or (object_.source == "it" and _guessed_for_another(mood, row.action)):
                continue
            component, place = fitted
            confirm = ("speaker not sure: said as an order",) if mood.order else ()
            if thing is not None and thing.open and component == thing.component:
                confirm = (*confirm, "subject unclear")
            said = self.view.passage.said(hit.span).lower()
            return Deed(
                self._kind(clause, row.action, component, hit),
                component,
                place,
                mood.status,
                clause,
                hit.verb,
                _evidence(clause, hit),
                (f"said: {said}", f"status: {mood.why}", f"component: {object_.source}"),
                confirm,
                mood.status is PLANNED and not self.moods.later,
                mood.order,
            )
        return None

    def _heads_a_figure(self, hit: VerbHit, action: ActionKind) -> bool:
        """Whether a bare verb only says what the figure right after it is: "charge three point two ounces"."""
        return action in WITH_FIGURES and hit.span.end in self.objects.figure_starts

    def _is_a_value(self, clause: Clause, hit: VerbHit, action: ActionKind) -> bool:
        """Whether a figure makes the verb another one: "pulling nine amps", "changed it to 32", "put it on 72"."""
        figures = self.objects.figure_starts
        end, verb = hit.span.end, self.norm(hit.verb)
        if action is ActionKind.REMOVED and (
            end in figures or self.norm(end) in ("about", "around", "almost", "only", "at")
        ):
            return True
        if action not in WITH_FIGURES and any(i in figures for i in range(hit.gap.start, hit.gap.end)):
            new = self.view.any(hit.verb, hit.gap.end, ("new",))  # "put a new forty-five five in"
            return not (new or any(t.known for t in self.components.between(hit.gap.start, hit.gap.end)))
        if action is ActionKind.REPLACED and verb in ("change", "changed", "changing"):
            return any(
                self.norm(i) in ("to", "from") and i + 1 in figures for i in range(hit.verb + 1, clause.span.end)
            )
        if action is ActionKind.EVACUATED and self.view.words(Span(hit.verb + 1, end)) == ("it", "down"):
            following = self.view.clauses.clauses[min(clause.index + 1, len(self.view.clauses.clauses) - 1)]
            return not (self.objects.figure_in(clause, hit.verb) or self.objects.figure_in(following, 0))
        setting = end in figures or self.norm(end) in small_words("setting_value")
        return action in PUT_IN and setting and self.norm(end - 1) == "on"

    def _goes_by_itself(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether a clause of one word tells what the machine does: "turning.", "draining"."""
        return clause.span.end - clause.first == 1 and self.norm(hit.verb) in small_words("gerund_of_itself")

    def _means_a_setting(self, clause: Clause, hit: VerbHit, action: ActionKind) -> bool:
        """Whether "put it to", "turned it on" tells a setting, by what follows: a figure, or "auto", "the middle"."""
        figures, end = self.objects.figure_starts, hit.span.end
        if action is ActionKind.ADJUSTED and any(
            row.action is ActionKind.SET for row in hit.rows
        ):  # "turned it down from one eighty-five to one seventy-five" is set
            return not any(
                self.norm(i) in ("from", "to") and i + 1 in figures for i in range(hit.verb + 1, clause.span.end - 1)
            )
        if action is not ActionKind.SET or self.norm(end - 1) not in small_words("setting_particle"):
            return True
        following = range(end, min(end + 4, clause.span.end))
        return any(i in figures or self.norm(i) in small_words("setting_value") for i in following)

    def _kind(self, clause: Clause, action: ActionKind, component: str, hit: VerbHit) -> ActionKind:
        """The contract's word for the work: a valve that is set to a pressure is adjusted."""
        if action is ActionKind.SET and component in groups()["trimmed"]:
            return ActionKind.ADJUSTED
        return self._put_in(clause, action, component, hit)

    def _put_in(self, clause: Clause, action: ActionKind, component: str, hit: VerbHit) -> ActionKind:
        """Replaced instead of installed, where the thing is new, or the same came out before or was to be changed."""
        if action in PUT_IN and component == "wiring":
            return ActionKind.REWIRED  # "put new ends on it"
        if action is not ActionKind.INSTALLED or self.view.any(hit.verb, hit.span.end, ("back",)):
            return action
        new = self.view.any(clause.span.start, clause.span.end, ("new", "another", "fresh"))
        usual = (
            hit.rows[0].action is ActionKind.INSTALLED
            and self.norm(hit.verb) in small_words("put_verbs")
            and (component not in groups()["noun"] or self.view.any(hit.verb, hit.span.end, ("one", "ones", "mine")))
            and component != "time delay"
        )
        return ActionKind.REPLACED if new or usual or self.memory.told_of(component) else action

    # ------------------------------------------------------------ words to the customer, orders
    def _advice(self, clause: Clause, hit: VerbHit, mood: Mood) -> Deed | None:
        told = mood.passive and self.norm(hit.verb) in small_words("telling_verbs")  # "it's being told to run"
        if mood.order or told or mood.status is RECOMMENDED or not self._addresses(clause, hit):
            return None
        start = hit.span.end
        for index in range(hit.span.end, min(hit.span.end + 4, clause.span.end)):
            start = index + 1 if self.norm(index) in self.people else start
        content = [t for t in self.components.between(start, clause.span.end) if t.known]
        for following in self.view.clauses.clauses[clause.index + 1 : clause.index + 12]:
            if content or following.sentence != clause.sentence:
                break
            content = [t for t in self.components.of(following) if t.known]
        if not content:
            content = [t for t in self.components.between(clause.span.start, hit.verb) if t.known]
        near = self.components.before(clause.span.start, clause, None)
        if not content and near is not None and hit.verb - near.span.end <= LAST_SAID:
            content = [near]
        component = next((t.component for t in content if t.word not in figures_only()), "unit")
        because = (f"said: {self.norm(hit.verb)}", f"status: {mood.why}")
        return Deed(ActionKind.ADVISED, component, None, mood.status, clause, hit.verb, clause.bare, because)

    def _addresses(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether a verb of telling is said of somebody: "told her", "told the lead"; not "tells me", "told you"."""
        if self.norm(hit.span.end) in small_words("not_addressed"):
            return False  # "talking to myself"
        if hit.span.end - hit.verb > 1 or self.norm(hit.verb) not in small_words("telling_verbs"):
            return True
        following = [self.norm(i) for i in range(hit.verb + 1, min(hit.verb + 4, clause.span.end))]
        whom = following[0] if following else ""
        if not whom or whom in ("me", "us", "you", "it", "that", "by"):
            return False
        if whom in ("him", "her", "them", "'em", "em", "to") or self.view.tags[hit.verb + 1] == "NNP":
            return True
        things = self.components.between(hit.verb + 1, hit.verb + 4)
        return any(word in self.people for word in following) or (
            whom in ("the", "his", "her", "their", "our") and not any(t.known for t in things)
        )

    def _order(self, clause: Clause, hit: VerbHit, mood: Mood) -> Deed | None:
        status = PLANNED if mood.order or mood.status is RECOMMENDED else mood.status
        things = [
            t for t in self.components.between(hit.verb + 1, clause.span.end) if t.known or self.objects.is_named(t)
        ]
        if not things and not self.view.any(hit.verb + 1, clause.span.end, small_words("object_pronoun")):
            for following in self.view.clauses.clauses[clause.index + 1 : clause.index + 3]:
                if following.sentence == clause.sentence and not things:
                    things = [t for t in self.components.of(following) if t.known]
        if not things and mood.passive:
            things = self.view.heads(clause, hit.verb)
        thing: Thing | None = things[0] if things else self.components.before(clause.span.start, clause, None)
        if thing is None or thing.word in figures_only():
            return None
        because = ("said: order", f"status: {mood.why}")
        return Deed(ActionKind.ORDERED, thing.component, thing.place, status, clause, hit.verb, clause.bare, because)


def _guessed_for_another(mood: Mood, action: ActionKind) -> bool:
    """Whether somebody else is to do it, and to what is only guessed: "told him descale it monthly", "grease it"."""
    return mood.why in ("told", "told to") or (mood.order and action in ORDERED_BY_NAME)


def _evidence(clause: Clause, hit: VerbHit) -> Span:
    """The clause, or its words around the verb where the clause is long."""
    if clause.span.end - clause.first <= SHORT_CLAUSE:
        return clause.bare
    return Span(max(clause.first, hit.span.start - 3), min(clause.span.end, max(hit.span.end, hit.span.start + 10)))
