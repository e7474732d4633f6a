"""Deeds: each place where the words tell work done, planned or advised, before deeds on one thing are settled into actions."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from extractors.clauses import BE, FILLERS, Clause, Clauses
from extractors.components import Components, Thing, figures_only, groups
from extractors.facts import ActionKind, ActionStatus, Condition, FindingStatus
from extractors.figure import Figure
from extractors.lexicon import load_table
from extractors.mentions import subjects
from extractors.modality import Mood, Moods
from extractors.passage import Span
from extractors.phrases import Phrases
from extractors.settled import Entry
from extractors.stance import Stances
from extractors.verbphrases import Row, VerbHit, verb_hits

DONE, PLANNED, RECOMMENDED = ActionStatus.DONE, ActionStatus.PLANNED, ActionStatus.RECOMMENDED
OBJECT_PRONOUNS = frozenset({"it", "that", "them", "those", "'em", "em", "this", "these", "one", "both", "ones", "him", "her", "some", "two", "three", "four", "all", "everything"})
PUT_IN = frozenset({ActionKind.INSTALLED, ActionKind.REPLACED})
LAST_SAID = 20  # tokens back to the thing that "told him" is about
MASSES = frozenset({"lb", "oz", "g", "kg"})
REACH = 16  # clauses back to which work answers a fault
CURES: dict[ActionKind, frozenset[Condition]] = {
    ActionKind.CLEANED: frozenset({Condition.DIRTY, Condition.CLOGGED, Condition.CORRODED, Condition.OIL_STAINED, Condition.WET}),
    ActionKind.REPLACED: frozenset(
        {Condition.FAILED, Condition.OPEN, Condition.SHORTED, Condition.GROUNDED, Condition.WEAK, Condition.BURNT, Condition.WORN, Condition.DAMAGED,
         Condition.SEIZED, Condition.MISSING, Condition.OLD, Condition.WRONG_PART, Condition.CLOGGED, Condition.NOT_RUNNING, Condition.NOISY}
    ),
    ActionKind.TIGHTENED: frozenset({Condition.LOOSE, Condition.LEAKING}),
    ActionKind.REPAIRED: frozenset({Condition.DAMAGED, Condition.LEAKING, Condition.LOOSE, Condition.OPEN, Condition.BURNT}),
    ActionKind.ADJUSTED: frozenset({Condition.MISADJUSTED, Condition.NOISY, Condition.LOOSE}),
    ActionKind.SET: frozenset({Condition.MISADJUSTED}),
    ActionKind.DEFROSTED: frozenset({Condition.ICED}),
    ActionKind.LUBRICATED: frozenset({Condition.NOISY, Condition.WORN, Condition.SEIZED}),
    ActionKind.RESET: frozenset({Condition.TRIPPED}),
}
CURES[ActionKind.INSTALLED] = CURES[ActionKind.REPLACED]
RESETS = frozenset({"breaker", "overload", "limit switch", "pressure switch", "controller", "control board", "alarm"})
SYSTEM_WORK = frozenset({ActionKind.EVACUATED, ActionKind.PRESSURE_TESTED, ActionKind.LEAK_TESTED, ActionKind.RECOVERED, ActionKind.CHARGED})
NEED_NAME = frozenset({ActionKind.REMOVED, ActionKind.TESTED, ActionKind.INSPECTED})
"""Kinds that count only on a component of the vocabulary: "took the arms out", "looked at the ring" are passing steps."""
WITH_FIGURES = frozenset({ActionKind.SET, ActionKind.ADJUSTED, ActionKind.CHARGED, ActionKind.PRESSURE_TESTED, ActionKind.EVACUATED})
OUTRIGHT = frozenset({"contactor", "relay", "start relay", "line", "breaker", "disconnect", "unit", "box", "compressor", "product", "ambient", "display"})
"""Components that are "in" or "on" without having been put there."""


@dataclass(frozen=True, slots=True)
class Deed:
    """Work that a clause tells of."""

    action: ActionKind
    component: str
    place: str | None
    status: ActionStatus
    clause: Clause
    token: int
    evidence: Span
    because: tuple[str, ...]
    confirm: tuple[str, ...] = ()
    soon: bool = False
    """A plan for now, not for another day."""


@cache
def _allowed(action: ActionKind) -> frozenset[str]:
    """Components that a kind of work is done to."""
    never = frozenset(load_table("actions")["never"].get(action.value, ()))
    return (frozenset(subjects()) | groups()["noun"]) - never - figures_only()


@cache
def _named_work() -> tuple[Phrases, list[tuple[ActionKind, str, str]]]:
    entries = load_table("actions")["named"]
    return (
        Phrases([(str(n), phrase) for n, row in enumerate(entries) for phrase in row["say"]]),
        [(ActionKind(row["action"]), row["component"], row["needs"]) for row in entries],
    )


@cache
def _list(name: str, key: str = "say") -> frozenset[str]:
    return frozenset(load_table("status")[name][key])


class Deeds:
    """Finds all deeds of a talk, in order."""

    def __init__(self, clauses: Clauses, components: Components, stances: Stances, figures: list[Figure], entries: list[Entry]) -> None:
        """Takes the views of the talk that deeds are read from, its figures, and the states of its components."""
        self.passage = clauses.passage
        self.clauses = clauses
        self.components = components
        self.stances = stances
        self.moods = Moods(clauses, stances, frozenset(thing.head for thing in components.things if thing.known))
        self._figure_starts = {figure.span.start for figure in figures}
        self._mass_starts = {figure.span.start for figure in figures if MASSES & set(figure.units[:1])}
        faults = [e.claim for e in entries if e.status is not FindingStatus.RULED_OUT and e.claim.condition not in (Condition.NORMAL, Condition.RUNNING)]
        self._faults = sorted(faults, key=lambda claim: claim.clause.index)
        self._fault_index = [c.clause.index for c in self._faults]
        self._found: list[Deed] = []

    def all(self) -> list[Deed]:
        """Every deed in order. Linear in the passage."""
        by_clause: dict[int, list[VerbHit]] = {}
        nouns, kinds = _named_work()
        named: dict[int, list[tuple[Span, tuple[ActionKind, str, str]]]] = {}
        for found in nouns.find(self.passage):
            named.setdefault(self.clauses.at(found.span.start).index, []).append((found.span, kinds[int(found.label)]))
        for hit in verb_hits(self.clauses):
            by_clause.setdefault(self.clauses.at(hit.verb).index, []).append(hit)
        for clause in self.clauses.clauses:
            stance = self.stances.of[clause.index]
            self.moods.enter(clause)
            if stance.earlier or (stance.quoted and not stance.told and stance.quoted_from <= clause.first):
                continue
            made: list[Deed] = []
            taken = clause.span.start
            for hit in by_clause.get(clause.index, []):
                if hit.span.start < taken and hit.verb < taken:
                    continue
                if any(s.start <= hit.verb < s.end for s in self.stances.hits("no_deed", clause.span.start, clause.span.end)):
                    continue
                mood = self.moods.of(clause, hit)
                if mood is None:
                    continue
                deed = self._deed(clause, hit, mood)
                if deed is not None:
                    made.append(deed)
                    taken = max(hit.span.end, hit.verb + 1)
            if len(made) == 1 and made[0].action is ActionKind.ADVISED:
                needed = self._needed(clause, [t for t in self.components.of(clause) if t.known])
                made += [needed] if needed is not None else []
            if not made and not clause.question:
                made = list(self._by_name(clause, named.get(clause.index, []))) or list(self._without_verb(clause))
            self._found += made
        return self._found

    # ------------------------------------------------------------ a verb of work
    def _deed(self, clause: Clause, hit: VerbHit, mood: Mood) -> Deed | None:
        if clause.question and mood.status is not PLANNED:
            return None
        if hit.rows[0].action is ActionKind.ADVISED:
            return self._advice(clause, hit, mood)
        if hit.rows[0].action is ActionKind.ORDERED:
            return self._order(clause, hit, mood)
        thing, source = self._object(clause, hit, mood)
        if thing is not None and thing.options and not thing.part:
            thing = self._due(thing)
        if mood.order and not self._orderly(hit):
            return None
        for row in hit.rows:
            if mood.order and row.action in (ActionKind.INSPECTED, ActionKind.REMOVED):
                continue
            if row.action is ActionKind.REMOVED and (hit.span.end in self._figure_starts or self.passage.norm(hit.span.end) in ("about", "around", "almost", "only")):
                continue
            if row.action not in WITH_FIGURES and any(i in self._figure_starts for i in range(hit.gap.start, hit.gap.end)):
                continue
            if row.action is ActionKind.REPLACED and self.passage.norm(hit.verb) in ("change", "changed", "changing") and self._changed_to(clause, hit):
                continue
            if row.action is ActionKind.EVACUATED and hit.span.end - hit.verb == 3 and self.passage.norm(hit.verb + 1) == "it" and not self._figure_in(clause, hit.verb) and not self._figure_in(self._next(clause), 0):
                continue
            if row.action in PUT_IN and hit.span.end in self._figure_starts and self.passage.norm(hit.span.end - 1) == "on":
                continue  # "put it on seventy-two": a setting
            fitted = self._fit(clause, hit, row, thing, source)
            if fitted is None:
                continue
            component, place = fitted
            confirm = ("speaker not sure: said as an order",) if mood.order else ()
            action = self._put_in(clause, row.action, component, hit)
            if thing is not None and thing.open and component == thing.component:
                confirm = (*confirm, "subject unclear")
            return Deed(
                action, component, place, mood.status, clause, hit.verb, self._evidence(clause, hit),
                (f"said: {self.passage.said(hit.span).lower()}", f"status: {mood.why}", f"component: {source}"), confirm,
                mood.status is PLANNED and not self.moods.later,
            )
        return None

    def _next(self, clause: Clause) -> Clause:
        return self.clauses.clauses[min(clause.index + 1, len(self.clauses.clauses) - 1)]

    def _changed_to(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether a value was changed and not a part: "changed it to 32"."""
        return any(self.passage.norm(i) in ("to", "from") and i + 1 in self._figure_starts for i in range(hit.verb + 1, clause.span.end))

    def _due(self, thing: Thing) -> Thing:
        """A shared word ("the motor") as the one of its meanings that failed or was to be changed."""
        for deed in reversed(self._found):
            if deed.component in thing.options and deed.action in PUT_IN and deed.status is not DONE:
                return replace(thing, component=deed.component, open=False)
        for claim in reversed(self._faults[: bisect_right(self._fault_index, self.clauses.at(thing.span.start).index)]):
            if claim.component in thing.options and claim.condition in CURES[ActionKind.REPLACED] and not any(
                d.component == claim.component and d.action in PUT_IN and d.status is DONE for d in self._found
            ):
                return replace(thing, component=claim.component, open=False)
        return thing

    def _failed_last(self, clause: Clause) -> Thing | None:
        """The component that failed last and was not replaced yet: what "the new one" is."""
        position = bisect_right(self._fault_index, clause.index)
        for claim in reversed(self._faults[:position]):
            curable = claim.condition in CURES[ActionKind.REPLACED] or (claim.condition is Condition.DIRTY and claim.component in groups()["filter"])
            if curable and claim.component in _allowed(ActionKind.REPLACED) and not any(
                d.component == claim.component and d.action in PUT_IN and d.status is DONE and _same(d.place, claim.place) for d in self._found
            ):
                return Thing(claim.component, claim.evidence, claim.token, "", claim.place, start=claim.token)
        return None

    def _orderly(self, hit: VerbHit) -> bool:
        """Whether a bare verb at the start of a clause has its object with it: "sand it", not "steam's seven"."""
        after = hit.verb + 1
        if after >= len(self.passage.tokens):
            return False
        following = self.passage.norm(after)
        if following in OBJECT_PRONOUNS and self.passage.norm(after + 1) in BE:
            return False
        direct = self.clauses.tags[after] in ("DT", "PRP$") or following in OBJECT_PRONOUNS | {"the", "that", "it", "'em", "me", "us", "both", "all", "new"}
        noun = self.passage.norm(hit.verb) in groups()["noun"] or self.clauses.tags[hit.verb] in ("NN", "NNS")
        return direct or (not noun and following in ("up", "down", "out", "off"))

    def _fit(self, clause: Clause, hit: VerbHit, row: Row, thing: Thing | None, source: str) -> tuple[str, str | None] | None:
        """Component and place for a row, or null where the row does not hold here."""
        if row.needs == "mass" and not any(i in self._mass_starts for i in range(hit.verb, clause.span.end)):
            return None
        if row.action in (ActionKind.STARTED, ActionKind.SHUT_DOWN) and source in ("it", "none") and row.component:
            if self.passage.norm(hit.span.end) in ("both", "number", "all", "one", "two"):
                near = self.components.before(clause.span.start, clause, row.fits)
                if near is not None:
                    return near.component, near.place
            return row.component, None
        if row.action in SYSTEM_WORK and row.component:
            fits = thing is not None and source == "object" and row.fits is not None and thing.word in row.fits
            if row.needs == "object" and not fits:
                return None
            if source == "object" and thing is not None and not fits and row.action is ActionKind.CHARGED and row.needs != "mass":
                return None
            default = self.components.machine_word("leak") if row.action is ActionKind.LEAK_TESTED else None
            return (thing.component, thing.place) if thing is not None and fits else (default or row.component, None)
        if row.action is ActionKind.DEFROSTED:
            return ("evaporator", None) if thing is None or thing.component not in ("drain", "drain pan", "condenser", "suction line") else (thing.component, thing.place)
        if row.action is ActionKind.STARTED and thing is not None and thing.component in ("line", "disconnect", "breaker", "box"):
            return "unit", None
        if row.action is ActionKind.RESET and source != "object":
            thing = self._cured(clause, row) or self.components.before(clause.span.start, clause, RESETS)
            return (thing.component, thing.place) if thing is not None else (row.component, None)
        if source in ("it", "none") and (row.needs != "object" or source == "it"):
            thing = self._same_breath(clause, row) or self._cured(clause, row, thing) or thing
        allowed = _allowed(row.action)
        never = frozenset(load_table("actions")["never"].get(row.action.value, ()))
        if thing is not None and (thing.component in never or thing.word in never or thing.component.removesuffix("s") in never):
            return None
        if thing is not None and (row.fits is None or thing.word in row.fits) and (thing.word in allowed or not thing.known or thing.word not in subjects()):
            if row.action is ActionKind.INSTALLED and "back" in self.passage.norms[hit.verb : hit.span.end] and (source != "object" or thing.component not in groups()["cabinet"]):
                return None
            if row.action is ActionKind.INSPECTED and self.passage.norm(hit.verb) in ("look", "looking") and hit.span.end - hit.verb == 2:
                return None
            if row.action is ActionKind.BYPASSED and source != "object":
                return None
            if row.action in NEED_NAME and (not thing.known or (thing.component in groups()["noun"] and (row.action is not ActionKind.TESTED or source == "it"))):
                return None
            if not thing.known and row.action is ActionKind.INSTALLED:
                return None
            if row.action is ActionKind.SET and not self._figure_in(clause, hit.verb) and not self._setting_words(clause, hit):
                return None
            if thing.word in figures_only() and row.action not in (ActionKind.SET, ActionKind.ADJUSTED):
                return None
            return self._as_part(row, thing), thing.place
        if thing is not None and thing.known and source == "object":
            return None
        if row.action is ActionKind.SET and thing is not None and not thing.known and self._figure_in(clause, hit.verb):
            near = self.components.before(clause.span.start, clause, row.fits)
            return (near.component, near.place) if near is not None else ("thermostat", None)
        if (source in ("it", "none") and row.needs != "object") or source == "it":
            wanted = allowed if row.fits is None else row.fits & (allowed | figures_only())
            near = self.components.before(clause.span.start, clause, wanted, outside=row.fits is None)
            if near is not None and not near.known and row.action in NEED_NAME | PUT_IN:
                return None
            if near is not None and (row.action is not ActionKind.SET or self._figure_in(clause, hit.verb) or self._setting_words(clause, hit)):
                return self._as_part(row, near), near.place
        if row.action is ActionKind.SET and source == "it" and self._figure_in(clause, hit.verb) and hit.span.end - hit.verb > 1:
            return "thermostat", None
        if row.component and row.needs != "object":
            return row.component, None
        return None

    def _as_part(self, row: Row, thing: Thing) -> str:
        """A new bearing or seal is named as the part, and not as what it is in."""
        if row.action is ActionKind.SET and thing.component in ("display", "box", "unit"):
            return "thermostat"
        return thing.said.removeprefix("the ") if row.action in PUT_IN and thing.part else thing.component

    def _same_breath(self, clause: Clause, row: Row) -> Thing | None:
        """What the same sentence worked on or named before: "I brushed it out and vacuumed it"."""
        allowed = _allowed(row.action)
        last = self._found[-1] if self._found else None
        if (
            last is not None and last.clause.sentence == clause.sentence and clause.index - last.clause.index <= 2 and last.component != "casing"
            and last.action not in (ActionKind.ADVISED, ActionKind.ORDERED) and last.component in allowed and (row.fits is None or last.component in row.fits)
        ):
            return Thing(last.component, last.evidence, last.token, "", last.place, start=last.token)
        near = self.components.before(clause.span.start, clause, allowed if row.fits is None else allowed & row.fits, outside=row.fits is None)
        if near is not None and self.passage.tokens[near.span.start].sentence == clause.sentence:
            return near
        return None

    def _cured(self, clause: Clause, row: Row, near: Thing | None = None) -> Thing | None:
        """The component with a fault told shortly before that such work cures: "it's matted ... I washed it".

        A thing named after that fault (`near`) is meant instead."""
        cures = CURES.get(row.action)
        if cures is None:
            return None
        never = frozenset(load_table("actions")["never"].get(row.action.value, ()))
        position = bisect_right(self._fault_index, clause.index)
        for claim in reversed(self._faults[max(0, position - 6) : position]):
            if clause.index - claim.clause.index > REACH or (near is not None and near.span.start >= claim.clause.span.end + 3):
                break
            if claim.condition in cures and claim.component not in never and (row.fits is None or claim.component in row.fits):
                return Thing(claim.component, claim.evidence, claim.token, "", claim.place, start=claim.token)
        return None

    def _setting_words(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether a setting is told without a figure: "back to the factory value", "to hybrid", "in the middle"."""
        rest = [self.passage.norm(i) for i in range(hit.verb + 1, clause.span.end)]
        return rest in ([], ["it"], ["that"]) or any(word in ("to", "at", "back", "down", "up", "on", "in", "clock", "time") for word in rest) or self.passage.norm(hit.verb + 1) in ("that", "the")

    def _figure_in(self, clause: Clause, start: int) -> bool:
        return any(i in self._figure_starts for i in range(max(start, clause.span.start), clause.span.end))

    def _put_in(self, clause: Clause, action: ActionKind, component: str, hit: VerbHit) -> ActionKind:
        """"Put in" is a replacement where it is new, or where the same thing came out or was to be changed."""
        if action is not ActionKind.INSTALLED or any(self.passage.norm(i) == "back" for i in range(hit.verb, hit.span.end)):
            return action
        new = any(self.passage.norm(i) in ("new", "another", "fresh") for i in range(clause.span.start, clause.span.end))
        spoken = any(d.component == component and d.action in (ActionKind.REMOVED, ActionKind.REPLACED) for d in self._found)
        usual = hit.rows[0].action is ActionKind.INSTALLED and self.passage.norm(hit.verb) in ("put", "puts", "putting", "stuck", "threw", "dropped") and component not in groups()["noun"] and component != "time delay"
        return ActionKind.REPLACED if new or spoken or usual else action

    def _object(self, clause: Clause, hit: VerbHit, mood: Mood) -> tuple[Thing | None, str]:
        """What the work was done to: the object after the verb, in front of it, or what "it" stands for."""
        if mood.passive:
            found = [t for t in self.components.between(clause.span.start, hit.verb) if not t.prep and not self.components.is_abstract(t)]
            if found:
                return found[-1] if mood.telegram else found[0], "object"
            return self._meant(clause, hit), "it"
        end = self._next_verb(clause, hit)
        gap = self.components.between(hit.gap.start, hit.gap.end) if hit.gap.end > hit.gap.start else []
        after = [t for t in self.components.between(hit.verb + 1, end) if t.span.start >= hit.span.end or hit.gap.start <= t.span.start < hit.gap.end]
        for things in (gap, [t for t in after if not t.prep or t.start <= hit.span.end]):
            for thing in things:
                if thing.known or (self._named(thing) and not self._held(clause, thing)):
                    return thing, "object"
        words = [self.passage.norm(i) for i in range(hit.verb + 1, min(end, hit.verb + 4))]
        pronoun = any(word in OBJECT_PRONOUNS for word in words[:3]) or (hit.rows[0].action is ActionKind.INSPECTED and "there" in words)
        if not pronoun and hit.rows[0].action is ActionKind.SET:
            pronoun = self.components.place_alone(hit.verb + 1, min(end, hit.verb + 4)) is not None
        if not pronoun and any(not t.known and not t.prep and t.span.start <= hit.verb + 4 for t in after) and not any(t.known and t.prep for t in after) and hit.rows[0].action is not ActionKind.SET:
            return None, "none"
        if not pronoun:
            fronted = [t for t in self.components.between(clause.span.start, hit.span.start) if t.known and not t.prep]
            if fronted and fronted[-1].span.end <= hit.span.start:
                return fronted[-1], "object"
            located = [t for t in after if t.prep and t.known]
            if located:
                return located[0], "object"
        if mood.why == "narrated" and not pronoun and hit.span.end >= end and hit.span.end - hit.span.start == 1 and hit.verb > clause.first:
            return None, "none"
        if mood.passive or pronoun or hit.verb + 1 >= end or self._bare_object(clause, hit, end):
            return self._meant(clause, hit), "it"
        return None, "none"

    def _bare_object(self, clause: Clause, hit: VerbHit, end: int) -> bool:
        """Whether after the verb stands nothing that could be its object: "reset first", "washed out with the hose"."""
        return self.clauses.tags[min(hit.span.end, end - 1)] in ("IN", "RB", "RP", "CC", "TO") and not any(
            self.clauses.tags[i] in ("DT",) for i in range(hit.span.end, min(end, hit.span.end + 1))
        )

    def _held(self, clause: Clause, thing: Thing) -> bool:
        """Whether a noun is only what is in or on a component named after it: "the mud out of the pan"."""
        return any(t.known and t.prep in ("of", "off", "from", "in", "on", "to") for t in self.components.between(thing.span.end, clause.span.end))

    def _named(self, thing: Thing) -> bool:
        """Whether a noun outside the vocabulary is taken as said."""
        return thing.named or (not self.components.is_abstract(thing) and self.passage.norm(thing.start) in ("a", "an", "all"))

    def _meant(self, clause: Clause, hit: VerbHit) -> Thing | None:
        """What "it" is: by the kind of work, else what was spoken of last."""
        within = [t for t in self.components.between(clause.span.start, hit.verb) if t.known and not t.prep]
        if within:
            return within[-1]
        wanted = hit.rows[0].fits
        return self.components.before(clause.span.start, clause, wanted if wanted is not None else _allowed(hit.rows[0].action), outside=wanted is None)

    def _next_verb(self, clause: Clause, hit: VerbHit) -> int:
        return clause.span.end

    def _evidence(self, clause: Clause, hit: VerbHit) -> Span:
        if clause.span.end - clause.first <= 16:
            return clause.bare
        return Span(max(clause.first, hit.span.start - 3), min(clause.span.end, max(hit.span.end, hit.span.start + 10)))

    # ------------------------------------------------------------ advice and orders
    def _advice(self, clause: Clause, hit: VerbHit, mood: Mood) -> Deed | None:
        verb = self.passage.norm(hit.verb)
        following = [self.passage.norm(i) for i in range(hit.verb + 1, min(hit.verb + 4, clause.span.end))]
        if hit.span.end - hit.verb == 1 and verb in ("tell", "told", "telling", "show", "showed", "shown", "warn", "warned", "remind", "reminded", "advise", "advised", "inform", "informed", "explain", "explained", "mention", "mentioned"):
            people = _list("people", "say")
            whom = following[0] if following else ""
            if whom in ("me", "us", "you", "it", "that", "by") or not (
                whom in ("him", "her", "them", "'em", "em", "to") or any(word in people for word in following)
                or (whom in ("the", "his", "her", "their", "our") and not self.components.between(hit.verb + 1, hit.verb + 4))
                or (whom and self.clauses.tags[hit.verb + 1] == "NNP")
                or (whom in ("the", "his") and len(following) > 1 and not any(t.known for t in self.components.between(hit.verb + 1, hit.verb + 4)))
            ):
                return None
        if mood.order or mood.status is RECOMMENDED:
            return None
        people = _list("people", "say")
        start = hit.span.end
        for index in range(hit.span.end, min(hit.span.end + 4, clause.span.end)):
            start = index + 1 if self.passage.norm(index) in people else start
        content = [t for t in self.components.between(start, clause.span.end) if t.known and t.span.start >= start]
        index = clause.index + 1
        while not content and index < len(self.clauses.clauses) and self.clauses.clauses[index].sentence == clause.sentence:
            content = [t for t in self.components.of(self.clauses.clauses[index]) if t.known]
            index += 1
        if not content:
            near = self.components.before(clause.span.start, clause, None)
            content = [t for t in self.components.between(clause.span.start, hit.verb) if t.known] or (
                [near] if near is not None and hit.verb - near.span.end <= LAST_SAID else []
            )
        component = next((t.component for t in content if t.word not in figures_only()), "unit")
        return Deed(ActionKind.ADVISED, component, None, mood.status, clause, hit.verb, clause.bare, (f"said: {verb}", f"status: {mood.why}"))

    def _order(self, clause: Clause, hit: VerbHit, mood: Mood) -> Deed | None:
        status = PLANNED if mood.order or mood.status is RECOMMENDED else mood.status
        end = clause.span.end
        things = [t for t in self.components.between(hit.verb + 1, end) if t.known or self._named(t)]
        index = clause.index + 1
        if not things and not any(self.passage.norm(i) in OBJECT_PRONOUNS for i in range(hit.verb + 1, end)):
            while not things and index < min(len(self.clauses.clauses), clause.index + 3) and self.clauses.clauses[index].sentence == clause.sentence:
                things = [t for t in self.components.of(self.clauses.clauses[index]) if t.known]
                index += 1
        thing = things[0] if things else self.components.before(clause.span.start, clause, None)
        if thing is None or thing.word in figures_only():
            return None
        return Deed(
            ActionKind.ORDERED, thing.component, thing.place, status, clause, hit.verb, clause.bare,
            ("said: order", f"status: {mood.why}"),
        )

    # ------------------------------------------------------------ no verb of work
    def _without_verb(self, clause: Clause) -> Iterator[Deed]:
        """"contactor's in", "new gasket on the flange", "needs a new belt"."""
        things = [t for t in self.components.of(clause) if t.known]
        mood = self.moods.plain(clause)
        recommended = self._needed(clause, things)
        if recommended is not None:
            yield recommended
            return
        if self.passage.norm(clause.first) == "in" and self.passage.norm(clause.first + 2) in ("goes", "go"):
            due = self._failed_last(clause) or self.components.before(clause.span.start, clause, _allowed(ActionKind.REPLACED))
            if due is not None:
                yield Deed(ActionKind.REPLACED, due.component, due.place, DONE, clause, clause.first, clause.bare, ("said: in it goes", "status: it is there now"))
                return
        in_place = [s for s in self.stances.hits("in_place", clause.first, clause.span.end) if s.end == clause.span.end or (s.end == clause.span.end - 1 and self.passage.norm(s.end) in ("now", "there", "too", "again"))]
        if in_place and mood is DONE:
            deed = self._there(clause, things, min(in_place, key=lambda s: s.start))
            if deed is not None:
                yield deed
                return
        jumper = next((t for t in things if "jumper" in t.said or "zip tie" in t.said), None)
        if jumper is not None and "zip" in jumper.said:
            held = self.components.before(clause.span.start, clause, groups()["switch"])
            jumper = None if held is None else replace(jumper, component=held.component)
        if jumper is not None and mood is DONE and any(s.start >= jumper.span.end for s in self.stances.hits("taken_out", clause.span.start, clause.span.end)):
            yield Deed(ActionKind.REMOVED, jumper.component, jumper.place, DONE, clause, jumper.head, clause.bare, ("said: off", "status: it is gone now"))
            return
        yield from self._new(clause, mood)

    def _by_name(self, clause: Clause, found: list[tuple[Span, tuple[ActionKind, str, str]]]) -> Iterator[Deed]:
        """Work that is named: "vacuum, 380, held", "soap on both joints, no bubbles"."""
        stance = self.stances.of[clause.index]
        if not found or stance.unreal or stance.told or self.moods.plain(clause) is not DONE or self.stances.has("not_done", clause.span):
            return
        for span, (action, component, needs) in found:
            rest = self._rest_of_sentence(clause)
            if needs == "figure" and not any(i in self._figure_starts for i in range(clause.span.start, rest)):
                continue
            if needs == "result" and not (
                self.stances.hits("search.none", span.end, rest) or self.stances.hits("search.found", span.end, rest)
                or any(self.passage.norm(i) in ("bubbles", "foam", "no", "leak", "leaks") for i in range(span.end, rest)) or self.passage.norm(span.end) == "on"
            ):
                continue
            if action is ActionKind.LEAK_TESTED:
                component = self.components.machine_word("leak") or component
            yield Deed(action, component, None, DONE, clause, span.start, clause.bare, (f"said: {self.passage.said(span).lower()}", "status: named with its result"))
            return

    def _rest_of_sentence(self, clause: Clause) -> int:
        end, index = clause.span.end, clause.index + 1
        while index < min(len(self.clauses.clauses), clause.index + 6) and self.clauses.clauses[index].sentence <= clause.sentence + (1 if clause.span.end - clause.span.start < 8 else 0):
            end, index = self.clauses.clauses[index].span.end, index + 1
        return end

    def _there(self, clause: Clause, things: list[Thing], cue: Span) -> Deed | None:
        before = [t for t in things if t.span.end <= cue.start and not t.prep]
        words = [self.passage.norm(i) for i in range(clause.first, cue.start)]
        new = "new" in words
        pronoun = any(w in ("it", "that", "one", "they", "those", "ones", "both") for w in words)
        word = self.passage.norms[cue.start : cue.end]
        if any(w in ("not", "isn't", "when", "if", "while", "no", "i", "we") for w in words) or len(words) > 9 or not words:
            return None
        last = words[-1]
        if not (last in BE or last in ("back", "both", "all", "now") or last.replace(".", "").isdigit() or any(t.span.end == cue.start for t in before) or new):
            return None
        subject = before[0] if before else None
        if subject is not None and subject.options:
            subject = self._due(subject)
        be = any(w in BE for w in words)
        if subject is not None and not new and (subject.component in OUTRIGHT or subject.word in figures_only()) and not self._awaited(subject.component):
            return None
        if subject is None:
            if not pronoun and not words == [] and not any(w.replace(".", "").isdigit() for w in words):
                return None
            awaited = [d for d in self._found[-6:] if d.action in PUT_IN | {ActionKind.REMOVED} and clause.index - d.clause.index <= 14]
            if new or not awaited:
                near = self.components.before(clause.span.start, clause, _allowed(ActionKind.REPLACED))
                due = self._failed_last(clause)
                if due is not None and (new or (near is not None and near.component == due.component)):
                    near = due
                if near is None or not (new or self._awaited(near.component)):
                    return None
                subject = near
            else:
                subject = Thing(awaited[-1].component, cue, cue.start, "", awaited[-1].place, start=cue.start)
        if word[-1] == "on" and word != ("back", "on") and not new and not self._told_off(subject.component):
            return None
        if not be and not new and not self._awaited(subject.component) and subject is not None and word[0] not in ("back", "in"):
            return None
        action = ActionKind.INSTALLED if "back" in word else ActionKind.REPLACED
        component = subject.said.removeprefix("the ") if subject.part else subject.component
        if component in ("wiring", "box", "unit", "product") or (component in groups()["noun"] and not (new or self._awaited(component))):
            return None
        return Deed(action, component, subject.place, DONE, clause, cue.start, clause.bare, (f"said: {' '.join(word)}", "status: it is there now"))

    def _told_off(self, component: str) -> bool:
        return any(d.component == component and d.action in PUT_IN | {ActionKind.REMOVED, ActionKind.ORDERED} for d in self._found)

    def _awaited(self, component: str) -> bool:
        """Whether its removal or replacement was told before."""
        return self._told_off(component) or any(
            c.component == component and c.condition in CURES[ActionKind.REPLACED] for c in self._faults
        )

    def _new(self, clause: Clause, mood: ActionStatus | None) -> Iterator[Deed]:
        """"new gasket on the flange", "new ones in, all four": a part named as new where work is told."""
        first = clause.first
        while first < clause.span.end and self.passage.norm(first) in FILLERS | {"with", "a", "the", "one", "two", "three", "four", "2", "3", "4"}:
            first += 1
        if mood is None or self.passage.norm(first) != "new" or first + 1 >= clause.span.end:
            return
        things = [t for t in self.components.between(first + 1, clause.span.end) if not t.prep and t.span.start - first <= 3]
        near = range(first + 1, min(first + 4, clause.span.end))
        if any(self.passage.norm(i) in BE or self.passage.norm(i) in ("says", "plate", "wants", "calls") for i in near) or first + 1 in self._figure_starts:
            return
        if things and things[0].known:
            thing: Thing | None = self._due(things[0]) if things[0].options else things[0]
        elif self.passage.norm(first + 1) in ("one", "ones") and self.clauses.tags[min(first + 2, len(self.clauses.tags) - 1)] not in ("VBZ", "VBD", "VBP", "NNS"):
            thing = self._failed_last(clause) or self.components.before(clause.span.start, clause, _allowed(ActionKind.REPLACED))
        else:
            thing = None
        if thing is not None and thing.word not in figures_only() and thing.component not in ("unit", "box"):
            name = thing.said.removeprefix("the ") if thing.part else thing.component
            yield Deed(ActionKind.REPLACED, name, thing.place, mood, clause, first, clause.bare, ("said: new", "status: told among the work"))

    def _needed(self, clause: Clause, things: list[Thing]) -> Deed | None:
        """"needs a new belt", "I'd recommend a separator", "a new coil is the right way"."""
        cues = self.stances.hits("recommend.aux", clause.span.start, clause.span.end)
        words = [self.passage.norm(i) for i in range(clause.first, clause.span.end)]
        new = "new" in words or "another" in words
        strong = [s for s in cues if self.passage.norm(s.end - 1) in ("needs", "need", "recommend", "recommended", "suggest", "suggested", "use", "stand", "for", "would", "should", "wants", "on", "buy", "like")] + [s for s in cues if self.passage.norms[s.start : s.end] in (("ought", "to"), ("need", "to"), ("needs", "to"))]
        if self.moods.own_need(clause):
            return None
        known = [t for t in things if not t.prep or self.passage.norm(t.start - 1) in ("for", "on")]
        known += [t for t in self.components.of(clause) if not t.known and self._named(t) and not t.prep and self.passage.norm(t.start) in ("a", "an", "another")]
        if strong:
            after = [t for t in known if t.span.start >= strong[-1].end and (self.passage.norm(t.start) in ("a", "an", "new", "another", "some", "two", "one") or new)]
            before = [t for t in known if t.span.end <= strong[-1].start] if self.passage.norm(strong[-1].end - 1) == "would" and self.passage.norm(strong[-1].start - 1) in ("i", "we") and strong[-1].end >= clause.span.end - 1 else []
            chosen = (after or before)[:1]
            if self.passage.norm(strong[-1].end - 1) in ("should", "would", "use", "like", "to") and after and not any(self.passage.norm(i) in ("have", "get", "be", "use", "put", "like", "buy", "want", "stand", "need") for i in range(strong[-1].start, after[0].start)):
                chosen = before[:1]
        elif new and any(w in ("right", "best", "answer", "only", "proper", "better") for w in words) and any(w in BE for w in words):
            chosen = [t for t in known if self.passage.norm(t.span.start - 1) == "new" or self.passage.norm(t.start) in ("a", "new")][:1]
        else:
            chosen = []
        if strong and not chosen and self.passage.norm(strong[-1].end - 1) in ("need", "needs", "want", "wants", "use") and any(w in ("one", "another") for w in words[-4:]) and not self.components.between(strong[-1].end, clause.span.end):
            near = self.components.before(clause.span.start, clause, _allowed(ActionKind.REPLACED))
            if near is not None and self.passage.tokens[near.span.start].sentence >= clause.sentence - 1:
                chosen = [near]
        if not chosen or chosen[0].word not in _allowed(ActionKind.REPLACED) | frozenset({chosen[0].word} if not chosen[0].known else ()) or chosen[0].word in figures_only() or self.stances.has("not_done", clause.span):
            return None
        thing = chosen[0]
        fresh = new or (thing.component not in groups()["noun"] and thing.known)
        return Deed(
            ActionKind.REPLACED if fresh else ActionKind.INSTALLED, thing.component, thing.place, RECOMMENDED, clause, clause.first,
            clause.bare, ("said: needs", "status: advised"),
        )


def remedied(deed: Deed) -> bool:
    """Whether a deed changes the machine."""
    return deed.status is DONE and deed.action not in (
        ActionKind.INSPECTED, ActionKind.TESTED, ActionKind.ADVISED, ActionKind.ORDERED, ActionKind.SHUT_DOWN, ActionKind.STARTED,
        ActionKind.REMOVED, ActionKind.LEAK_TESTED, ActionKind.PRESSURE_TESTED, ActionKind.RESET,
    )


def _same(one: str | None, other: str | None) -> bool:
    return one is None or other is None or one == other
