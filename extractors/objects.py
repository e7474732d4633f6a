"""What work was done to: the object of a verb, the thing in front of it, or what "it" stands for."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.clauses import BE, Clause
from extractors.deed import PUT_IN, Memory, allowed, as_thing, never
from extractors.facts import ActionKind
from extractors.figure import Figure
from extractors.grammar import small_words
from extractors.mentions import subjects
from extractors.modality import Mood
from extractors.passage import Span
from extractors.things import Thing, figures_only, groups
from extractors.verbphrases import Row, VerbHit
from extractors.view import View

MASSES = frozenset({"lb", "oz", "g", "kg"})
SYSTEM_WORK = frozenset(ActionKind(a) for a in ("evacuated", "pressure_tested", "leak_tested", "recovered", "charged"))
NEED_NAME = frozenset({ActionKind.REMOVED, ActionKind.TESTED, ActionKind.INSPECTED})
"""Kinds that count only on a component of the vocabulary; "took the arms out" is a step on the way."""
RESETS = frozenset({"breaker", "overload", "limit switch", "pressure switch", "controller", "control board", "alarm"})
THAWED = ("drain", "drain pan", "condenser", "suction line")
NO_OBJECT_TAGS = ("IN", "RB", "RP", "CC", "TO")


@dataclass(frozen=True, slots=True)
class Object:
    """What a verb is done to. `source`: "object" where it is named, "it" where a pronoun points, "none" else."""

    thing: Thing | None
    source: str

    @property
    def pointed(self) -> bool:
        """Nothing is named."""
        return self.source in ("it", "none")


class Objects:
    """Finds what work was done to."""

    def __init__(self, view: View, memory: Memory, figures: list[Figure]) -> None:
        """`figures`: the figures of the talk, in order."""
        self.view = view
        self.norm = view.norm
        self.components = view.components
        self.memory = memory
        self.figure_starts = frozenset(figure.span.start for figure in figures)
        self._glycol = any(m.subject in ("glycol", "sanitizer") for m in view.talk.mentions)
        self._masses = frozenset(figure.span.start for figure in figures if MASSES & set(figure.units[:1]))

    # ------------------------------------------------------------ the words
    def of(self, clause: Clause, hit: VerbHit, mood: Mood) -> Object:
        """The object of a verb as its clause has it."""
        kind, end = hit.rows[0].action, clause.span.end
        if mood.passive:
            subjects_ = self.components.between(clause.span.start, hit.verb)
            named = [t for t in subjects_ if not t.prep and not self.components.is_abstract(t)]
            if named:
                return Object(named[-1] if mood.telegram else named[0], "object")
            return Object(self._meant(clause, hit), "it")
        after = [
            t
            for t in self.components.between(hit.verb + 1, end)
            if t.head >= hit.span.end or hit.gap.start <= t.span.start < hit.gap.end
        ]
        gap = [t for t in after if t.span.start < hit.gap.end]
        for thing in gap + [t for t in after if not t.prep or t.start <= hit.span.end]:
            if thing.known or (self.is_named(thing) and not self._held(clause, thing)):
                return Object(thing, "object")
        if kind in PUT_IN and self._holds_a_stranger(hit):
            return Object(None, "none")  # "put the clamp on it"
        pronoun = self._pronoun(clause, hit, kind)
        located = [t for t in after if t.prep and t.known]
        if not pronoun:
            stranger = any(not t.known and not t.prep and t.span.start <= hit.verb + 4 for t in after)
            if stranger and not located and kind is not ActionKind.SET:
                return Object(None, "none")
            if self._is_what_i_did(clause, hit):
                return Object(None, "none")
            fronted = self.view.heads(clause, hit.span.start)
            if fronted and fronted[-1].span.end <= hit.span.start:
                return Object(fronted[-1], "object")
            if located and kind in PUT_IN and self._has_a_noun(hit.span.end, located[0].start):
                return Object(None, "none")  # "put a tablet in the pan"
            if located:
                return Object(located[0], "object")
        in_passing = mood.why == "narrated" and hit.span.end >= end and hit.span.end - hit.span.start == 1
        if in_passing and not pronoun and hit.verb > clause.first:
            return Object(None, "none")
        consumed = self.view.words(Span(hit.verb + 1, hit.span.end))
        if self.norm(hit.verb) in small_words("consume") and consumed in (("one",), ("two",)):
            sentence = self.view.passage.sentence_span(hit.verb)
            same = [t for t in self.components.between(sentence.start, hit.verb) if t.known]
            return Object(same[-1] if same else None, "object" if same else "none")
        if pronoun or hit.verb + 1 >= end or self._stops(hit, end):
            return Object(self._meant(clause, hit), "it")
        return Object(None, "none")

    def _holds_a_stranger(self, hit: VerbHit) -> bool:
        """Whether the verb has a noun of its own in its middle that is no component, and not only "spare"."""
        gap = range(hit.gap.start, hit.gap.end)
        nouns = [i for i in gap if self.view.tags[i] in ("NN", "NNS")]
        if any(i in self.figure_starts for i in gap):
            return False  # "put a new forty-five five in": a part by its rating
        return any(self.norm(i) not in small_words("subject_pronoun") for i in nouns)

    def _has_a_noun(self, start: int, end: int) -> bool:
        return any(self.view.tags[i] in ("NN", "NNS") for i in range(start, end))

    def _pronoun(self, clause: Clause, hit: VerbHit, kind: ActionKind) -> bool:
        near = range(hit.verb + 1, min(clause.span.end, max(hit.verb + 4, hit.span.end + 1)))
        if any(self._stands_alone(i) for i in near):
            return True
        if hit.span.end >= clause.span.end and self.norm(hit.span.end - 1) == "new":
            return True  # "put in the new"
        if kind is ActionKind.INSPECTED and any(self.norm(i) == "there" for i in near):
            return True
        return kind is ActionKind.SET and self.components.place_alone(near.start, near.stop) is not None

    def _stands_alone(self, token: int) -> bool:
        """Whether a word is a pronoun here: not the "some" of "some grease"."""
        norm = self.norm(token)
        following = self.view.tags[min(token + 1, len(self.view.tags) - 1)]
        return norm in small_words("object_pronoun") and not (norm == "some" and following in ("NN", "NNS"))

    def _is_what_i_did(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether the verb only says which thing is meant, and that is no component: "the lint I took out"."""
        subject = hit.span.start - 1
        if self.norm(subject) not in ("i", "we") or subject <= clause.first:
            return False
        led = [t for t in self.components.between(clause.first, subject) if t.span.end == subject]
        return self.view.tags[subject - 1] in ("NN", "NNS") and not any(t.known for t in led)

    def _stops(self, hit: VerbHit, end: int) -> bool:
        """Whether after the verb stands nothing that could be its object: "reset first", "washed out with the hose"."""
        return self.view.tags[min(hit.span.end, end - 1)] in NO_OBJECT_TAGS

    def _held(self, clause: Clause, thing: Thing) -> bool:
        """Whether a noun is only what is in or on a component named after it: "the mud out of the pan"."""
        behind = self.components.between(thing.span.end, clause.span.end)
        return any(t.known and t.prep in small_words("held_by") for t in behind)

    def is_named(self, thing: Thing) -> bool:
        """Whether a noun outside the vocabulary is taken as said."""
        article = self.norm(thing.start) in ("a", "an", "all")
        return thing.named or (article and not self.components.is_abstract(thing))

    def _meant(self, clause: Clause, hit: VerbHit) -> Thing | None:
        """What "it" is: by the kind of work, else what was spoken of last."""
        within = self.view.heads(clause, hit.verb)
        if within:
            return within[-1]
        row = hit.rows[0]
        wanted = row.fits if row.fits is not None else allowed(row.action)
        hardware = row.action is ActionKind.TIGHTENED
        return self.components.before(clause.span.start, clause, wanted, hardware=hardware)

    # ------------------------------------------------------------ whether a row of actions.toml holds of it
    def fit(self, clause: Clause, hit: VerbHit, row: Row, object_: Object) -> tuple[str, str | None] | None:
        """Component and place for a row, or null where the row does not hold here."""
        if row.needs in ("mass", "volume", "vacuum") and not self._has_amount(clause, hit, row.needs):
            return None
        if row.needs == "mass" and self.norm(hit.gap.end - 1) in ("one", "ones"):
            return None  # "put a twenty pound one in": a spring, a cap
        if row.needs == "name" and object_.source != "object":
            return None
        if row.component == "glycol" and not self._glycol:
            return None
        if row.action in SYSTEM_WORK and row.component:
            return self._on_the_system(row, object_)
        thing = object_.thing
        if row.action is ActionKind.DEFROSTED:
            thawed = thing is not None and thing.component in THAWED and "defrost" not in self.view.words(hit.span)
            return (thing.component, thing.place) if thing is not None and thawed else ("evaporator", None)
        if row.action in (ActionKind.STARTED, ActionKind.SHUT_DOWN) and row.component and object_.pointed:
            return self._whole_machine(clause, hit, row)
        if (
            row.action is ActionKind.STARTED
            and thing is not None
            and thing.component in ("line", "disconnect", "breaker", "box")
        ):
            return "unit", None
        if row.action is ActionKind.RESET and object_.pointed:
            near = self.memory.cured(clause, row.action, row.fits, None) or self.components.before(
                clause.span.start, clause, RESETS
            )
            return (row.component, None) if near is None else (near.component, near.place)
        if object_.source == "it" or (object_.source == "none" and row.needs != "object"):
            thing = (
                self._same_breath(clause, row)
                or self.memory.planned(row.action, clause)
                or self.memory.cured(clause, row.action, row.fits, thing)
                or thing
            )
        if thing is not None and {thing.component, thing.word, thing.component.removesuffix("s")} & never(row.action):
            return None
        if thing is not None and self._may(row, thing):
            return (
                (self._name(row, thing), thing.place) if self._counts(clause, hit, row, thing, object_.source) else None
            )
        if thing is not None and thing.known and object_.source == "object":
            return None
        return self._elsewhere(clause, hit, row, thing, object_)

    def _has_amount(self, clause: Clause, hit: VerbHit, kind: str) -> bool:
        return any(
            self.norm(i) in small_words(kind) or (kind == "mass" and i in self._masses)
            for i in range(hit.verb, clause.span.end)
        )

    def _on_the_system(self, row: Row, object_: Object) -> tuple[str, str | None] | None:
        """Vacuum, charge and leak search: what is named where it fits, else the whole system."""
        thing = object_.thing
        fits = object_.source == "object" and thing is not None and row.fits is not None and thing.word in row.fits
        if thing is not None and fits:
            return (row.component, None) if thing.component == "system" else (thing.component, thing.place)
        if row.needs == "object":
            return None
        if object_.source == "object" and row.action is ActionKind.CHARGED and row.needs != "mass":
            return None
        leak = self.components.machine_word("leak") if row.action is ActionKind.LEAK_TESTED else None
        return leak or row.component, None

    def _whole_machine(self, clause: Clause, hit: VerbHit, row: Row) -> tuple[str, str | None]:
        if self.norm(hit.span.end) in ("both", "number", "all", "one", "two"):
            near = self.components.before(clause.span.start, clause, row.fits)
            if near is not None:
                return near.component, near.place
        return row.component, None

    def _may(self, row: Row, thing: Thing) -> bool:
        if row.fits is not None and thing.word not in row.fits:
            return False
        return not thing.known or thing.word in allowed(row.action) or thing.word not in subjects()

    def _counts(self, clause: Clause, hit: VerbHit, row: Row, thing: Thing, source: str) -> bool:
        """Whether work of a kind on a thing is worth an entry."""
        kind, words = row.action, self.view.passage.norms[hit.verb : hit.span.end]
        if (
            kind is ActionKind.INSTALLED
            and "back" in words
            and (source != "object" or thing.component not in groups()["cabinet"])
        ):
            return False
        if kind is ActionKind.INSPECTED and words[0] in ("look", "looking") and len(words) == 2:
            return False
        if kind is ActionKind.BYPASSED and source != "object":
            return False
        if kind in NEED_NAME and not thing.known:
            return False
        if (
            kind in NEED_NAME
            and thing.component in groups()["noun"]
            and (kind is not ActionKind.TESTED or source == "it")
        ):
            return False
        if kind is ActionKind.INSTALLED and not thing.known:
            return False
        if kind is ActionKind.SET and not self.has_setting(clause, hit):
            return False
        return thing.word not in figures_only() or kind in (ActionKind.SET, ActionKind.ADJUSTED)

    def _elsewhere(
        self, clause: Clause, hit: VerbHit, row: Row, thing: Thing | None, object_: Object
    ) -> tuple[str, str | None] | None:
        """The nearest thing that fits, where what stands there does not."""
        figure = self.figure_in(clause, hit.verb)
        if row.action is ActionKind.SET and thing is not None and not thing.known and figure:
            near = self.components.before(clause.span.start, clause, row.fits)
            return ("thermostat", None) if near is None else (near.component, near.place)
        if object_.source == "it" or (object_.source == "none" and row.needs != "object"):
            fine = allowed(row.action)
            wanted = fine if row.fits is None else row.fits & (fine | figures_only())
            near = self.components.before(clause.span.start, clause, wanted)
            if near is not None and not near.known and row.action in NEED_NAME | PUT_IN:
                return None
            if near is not None and (row.action is not ActionKind.SET or self.has_setting(clause, hit)):
                return self._name(row, near), near.place
        if row.action is ActionKind.SET and object_.source == "it" and figure and hit.span.end - hit.verb > 1:
            return "thermostat", None
        return (row.component, None) if row.component and row.needs != "object" else None

    def _name(self, row: Row, thing: Thing) -> str:
        """A new bearing or seal is named as the part, and not as what it is in; what is set is a control."""
        if row.action is ActionKind.SET and thing.component in ("display", "box", "unit"):
            return "thermostat"
        if row.action is ActionKind.REWIRED and row.component:
            return row.component
        return part_name(thing) if row.action in PUT_IN else thing.component

    def _same_breath(self, clause: Clause, row: Row) -> Thing | None:
        """What the same sentence worked on or named before: "I brushed it out and vacuumed it"."""
        fine = allowed(row.action) if row.fits is None else allowed(row.action) & row.fits
        last = self.memory.deeds[-1] if self.memory.deeds else None
        if (
            last is not None
            and last.clause.sentence == clause.sentence
            and clause.index - last.clause.index <= 2
            and last.component in fine
            and last.component != "casing"
            and last.action not in (ActionKind.ADVISED, ActionKind.ORDERED)
        ):
            return as_thing(last)
        near = self.components.before(clause.span.start, clause, fine)
        return near if near is not None and self.view.sentence_of(near) == clause.sentence else None

    # ------------------------------------------------------------ figures and settings
    def figure_in(self, clause: Clause, start: int) -> bool:
        """Whether a figure stands in a clause from a token on."""
        return any(i in self.figure_starts for i in range(max(start, clause.span.start), clause.span.end))

    def has_setting(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether a setting is told: by a figure, or "back to the factory value", "to hybrid", "in the middle"."""
        rest = [self.norm(i) for i in range(hit.verb + 1, clause.span.end)]
        return (
            self.figure_in(clause, hit.verb)
            or rest in ([], ["it"], ["that"])
            or rest[0] in ("that", "the")
            or any(word in small_words("setting_words") for word in rest)
        )

    def has_its_object(self, hit: VerbHit) -> bool:
        """Whether a bare verb at the start of a clause has its object with it: "sand it", not "steam's seven"."""
        after = hit.verb + 1
        if after >= len(self.view.passage.tokens):
            return False
        following = self.norm(after)
        if following in small_words("object_pronoun") and self.norm(after + 1) in BE:
            return False
        if self.view.tags[after] in ("DT", "PRP$") or following in small_words("object_pronoun") | small_words(
            "object_first"
        ):
            return True
        if hit.span.end <= after and following in ("up", "down", "out", "off"):
            return False  # "defrost off time is four": the particle is not the verb's
        noun = self.norm(hit.verb) in groups()["noun"] or self.view.tags[hit.verb] in ("NN", "NNS")
        return not noun and following in ("up", "down", "out", "off")


def part_name(thing: Thing) -> str:
    """A part by its own name, where it has one."""
    return thing.said.removeprefix("the ") if thing.part else thing.component
