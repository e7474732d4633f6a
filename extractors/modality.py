"""Whether a verb of work tells a deed, a plan, advice or nothing of ours: from what stands before it in its clause."""

from __future__ import annotations

from dataclasses import dataclass

from extractors.clauses import BE, CONNECTIVES, FILLERS, JOINS, Clause, Clauses
from extractors.facts import ActionStatus
from extractors.grammar import small_words
from extractors.stance import Stances
from extractors.verbphrases import VerbHit
from extractors.verbs import Form

DONE, PLANNED, RECOMMENDED = ActionStatus.DONE, ActionStatus.PLANNED, ActionStatus.RECOMMENDED
OURS = frozenset({"i", "we", "i've", "we've"})
OTHERS = small_words("others")
ADVERBS = small_words("adverb")
MODALS = small_words("modal")
HAVE = frozenset({"have", "'ve", "has", "had", "having"})
WILL = frozenset({"will", "'ll"})
STATES = small_words("state_participle")
"""Participles that tell a state where "is" stands before them, and no deed."""
OF_ITSELF = small_words("of_itself")
"""What a component does of itself: "the overload tripped" is no deed of the speaker."""
GERUND_DONE = small_words("gerund_done")
GERUND_ADVICE = small_words("gerund_advice")
GERUND_NOTHING = small_words("gerund_nothing")
GOVERNORS_OURS = small_words("plan_governor")
WORKED = frozenset({"tested", "adjusted", "charged", "started", "inspected", "evacuated", "reset"})
"""Kinds of work that "was" and a participle tell as done."""
NEXT_STEP = (("next",), ("next", "up"))
NOT_OURS_AFTER = ("by", "last", "ago", "back", "wrong", "at")  # "was changed by", "is fixed at 450"


@dataclass(frozen=True, slots=True)
class Mood:
    """How a verb of work is meant. `order`: said as an order to a helper. `passive`: its object stands before it."""

    status: ActionStatus
    why: str
    passive: bool = False
    telegram: bool = False
    order: bool = False


class Moods:
    """Moods of a talk's verbs, clause after clause; a plan or advice reaches over its sentence."""

    def __init__(self, clauses: Clauses, stances: Stances, named: frozenset[int]) -> None:
        """Takes the views of the talk; `named`: tokens at which the name of a component ends."""
        self.named = named
        self.passage = clauses.passage
        self.clauses = clauses
        self.stances = stances
        self._sentence = -1
        self._mode: ActionStatus | None = None
        self.later = False
        """Whether the sentence tells of another day: "come back in a week", "follow up"."""

    def enter(self, clause: Clause) -> None:
        """Goes on to the next clause; what was planned or advised before reaches on within the sentence."""
        if clause.sentence != self._sentence:
            self._sentence, self._mode, self.later = clause.sentence, None, False
        self.later = self.later or self._waits(clause)
        if self.stances.has("plan.opens", clause.span):
            hits = self.stances.hits("plan.opens", clause.span.start, clause.span.end)
            first = max(hits, key=lambda span: (-span.start, span.end))
            if first.start <= clause.first + 3:
                self._mode = PLANNED
                words = self.passage.norms[first.start : first.end]
                self.later = self.later or (words[0] not in ("plan", "the", "so", "then") and words not in NEXT_STEP)
        if self.stances.of[clause.index].told:
            self._mode = RECOMMENDED

    def _waits(self, clause: Clause) -> bool:
        """Whether the clause or the next waits for another day: "I'll swap it | when the part shows up"."""
        following = self.clauses.clauses[clause.index + 1 : clause.index + 2]
        return self.stances.has("plan.waits", clause.span) or any(
            c.opener in ("when", "once", "as") and self.stances.has("plan.waits", c.span) for c in following
        )

    def plain(self, clause: Clause) -> ActionStatus | None:
        """The mood of a clause without a verb of work: planned where a plan is told, null where it is none of ours."""
        stance = self.stances.of[clause.index]
        if stance.unreal or stance.told or clause.opener in ("if", "unless", "when", "once"):
            return None
        if self._mode is not None or self.stances.has("plan.aux", clause.span):
            return None if self._mode is RECOMMENDED else PLANNED
        return DONE

    def own_need(self, clause: Clause) -> bool:
        """Whether "need" is the speaker's own: "I need a 10 mike"."""
        return any(
            self.passage.norm(i) in ("need", "needed", "want")
            and self.passage.norm(i - 1) in ("i", "we", "i'd", "you", "'d", "'ll")
            for i in range(clause.span.start, clause.span.end)
        )

    def of(self, clause: Clause, hit: VerbHit) -> Mood | None:
        """The mood of a verb; null when it tells no work of ours."""
        mood = self._judge(clause, hit)
        if mood is not None and mood.status is not DONE and not mood.passive:
            self._mode = mood.status
        elif mood is not None and mood.status is DONE and not self.stances.of[clause.index].told:
            self._mode = None if self._mode is not PLANNED or mood.why != "narrated" else self._mode
        return mood

    def _judge(self, clause: Clause, hit: VerbHit) -> Mood | None:
        start = hit.span.start
        if self.stances.hits("not_done", clause.span.start, hit.verb) and not self._only_after(clause, hit):
            return None
        stance = self.stances.of[clause.index]
        if self._keeps_so(clause, hit):
            return None
        if (
            self.stances.told_before(clause, start)
            and Form.BASE in hit.forms
            and self.clauses.tags[hit.verb] != "JJ"
            and self._before(clause, start)[1] not in MODALS | {"to"}
        ):
            return Mood(RECOMMENDED, "told")
        if clause.opener in ("if", "unless", "whenever", "until", "till") or self.passage.norm(clause.first) in (
            "if",
            "unless",
        ):
            return None
        if stance.quoted and not stance.told and start >= stance.quoted_from:
            return None
        at, near = self._before(clause, start)
        timed = clause.opener in ("when", "once", "before", "while", "after") or self.passage.norm(clause.first) in (
            "when",
            "once",
            "before",
        )
        subject = self._subject(clause, at if near else start)
        if near == "to":
            return self._infinitive(clause, at)
        if near in ("gonna", "gotta", "wanna", "lemme"):
            return Mood(PLANNED, near) if subject not in OTHERS else None
        if near in ("me", "'s", "us") and self.passage.norm(at - 1) == "let":
            return Mood(DONE, "narrated")
        if near in WILL or near.endswith("'ll"):
            return Mood(PLANNED, "will") if subject in OURS or subject == "" else None
        if near in MODALS:
            return self._modal(hit, near, subject)
        have = (
            self._had_done(clause, at)
            if hit.forms & {Form.PARTICIPLE, Form.PAST} and near not in OURS | BE | HAVE | MODALS | {"", "to"}
            else None
        )
        if have is not None:
            return have
        if near == "did":
            return Mood(DONE, "did") if subject in OURS or (subject == "" and at == clause.first) else None
        if near in ("do", "does", "don't", "doesn't", "didn't"):
            return None
        if near in HAVE and hit.forms & {Form.PARTICIPLE, Form.PAST}:
            return self._perfect(clause, at, subject)
        if Form.ING in hit.forms:
            return None if timed and not near else self._gerund(clause, hit, at, near, subject)
        if near in BE | {"get", "gets", "being", "got", "getting"} and hit.forms & {Form.PARTICIPLE, Form.PAST}:
            return self._passive(clause, at, near, hit)
        if near in GERUND_ADVICE and hit.forms & {Form.PARTICIPLE, Form.PAST}:
            return Mood(RECOMMENDED, "needs it", passive=True)
        if near in BE and self._what_i_did(clause, at):
            return Mood(DONE, "what I did")
        if near in BE | MODALS or (
            near and at not in self.named and self.clauses.tags[at] in ("DT", "PRP$", "JJ", "POS", "IN", "NNP")
        ):
            return None
        if hit.forms & {Form.PAST, Form.PARTICIPLE}:
            return self._past(clause, hit, at, near, subject, timed)
        if Form.BASE in hit.forms:
            return None if timed else self._base(clause, hit, at, near, subject)
        return None

    # ------------------------------------------------------------ what stands before
    def _before(self, clause: Clause, start: int) -> tuple[int, str]:
        """The first word before a verb that is no adverb, with its place; empty at the start of the clause."""
        at = start - 1
        while at >= clause.span.start and (
            self.passage.norm(at) in ADVERBS
            or (self.clauses.tags[at] == "RB" and self.passage.norm(at) not in ("not", "never", "n't"))
        ):
            if self.passage.norm(at) == "got" and self.passage.norm(at - 1) not in ("i", "we"):
                break
            at -= 1
        if at < clause.span.start or self.passage.norm(at) in FILLERS | CONNECTIVES | JOINS | {",", "please"}:
            return at, ""
        return at, self.passage.norm(at)

    def _subject(self, clause: Clause, end: int) -> str:
        """The last pronoun or person before a token in its clause; empty when none is named."""
        for index in range(end, clause.span.start - 1, -1):
            norm = self.passage.norm(index)
            if norm in OURS:
                return "i"
            if norm in OTHERS:
                return norm if norm != "you" else "you"
        people = self.stances.hits("people", clause.span.start, end + 1)
        return "they" if people else ""

    def _only_after(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether the denial belongs to another verb: "didn't fit so I cut it"."""
        cues = self.stances.hits("not_done", clause.span.start, hit.verb)
        between = range(cues[-1].end, hit.span.start)
        return any(self.passage.norm(i) in ("i", "we", "and", "but") for i in between)

    # ------------------------------------------------------------ each kind
    def _what_i_did(self, clause: Clause, at: int) -> bool:
        """Whether "what I did is" stands before a verb."""
        words = [self.passage.norm(i) for i in range(clause.first, at)]
        return words[-1:] == ["did"] and words[:1] == ["what"] and bool(OURS & set(words))

    def _infinitive(self, clause: Clause, at: int) -> Mood | None:
        index, governor = self._before(clause, at)
        subject = self._subject(clause, index)
        if self.stances.told_before(clause, at):
            return Mood(RECOMMENDED, "told to")
        if any(self.passage.norm(i) in ("took", "taken") for i in range(clause.first, at)):
            return Mood(DONE, "took time to") if subject in OURS or subject == "" else None
        if governor in ("had", "able", "managed", "decided"):
            return Mood(DONE, f"{governor} to") if subject in OURS or subject == "" else None
        if governor == "due":
            return Mood(RECOMMENDED, "due to")
        if governor in ("ought",):
            return Mood(RECOMMENDED, "ought to") if subject not in OURS else Mood(PLANNED, "ought to")
        if governor in ("needs", "has", "wants") or (governor in ("need", "want", "have") and subject in OTHERS):
            return Mood(RECOMMENDED, f"{governor} to")
        if governor in ("used", "went", "want", "wanted", "likes") and governor != "want":
            return None
        if governor in GOVERNORS_OURS and subject not in OTHERS:
            return Mood(PLANNED, f"{governor} to")
        if self._mode is PLANNED:
            return Mood(PLANNED, "on the plan")
        if governor == "" and clause.first >= at - 1:
            return Mood(PLANNED, "to do")
        if governor in ("recommend", "recommended", "suggest", "suggested"):
            return Mood(RECOMMENDED, governor)
        return None

    def _modal(self, hit: VerbHit, modal: str, subject: str) -> Mood | None:
        if modal in ("could", "might", "can", "may"):
            return None
        if modal == "'d" and Form.BASE not in hit.forms:
            return Mood(DONE, "had") if subject in OURS else None
        if subject in OURS and modal in ("should", "must", "ought"):
            return Mood(PLANNED, modal)
        return Mood(RECOMMENDED, modal)

    def _perfect(self, clause: Clause, at: int, subject: str) -> Mood | None:
        _, before = self._before(clause, at)
        if before in MODALS | {"to"} or subject in OTHERS:
            return None
        if subject in OURS:
            return Mood(DONE, "have done")
        return None

    def _had_done(self, clause: Clause, at: int) -> Mood | None:
        """Advice, where somebody is to have it done: "have that filter changed"; "got the coil washed" is done."""
        for index in range(at, max(clause.span.start - 1, at - 5), -1):
            norm = self.passage.norm(index)
            if norm == "got" and self._subject(clause, index) not in OTHERS:
                return Mood(DONE, "got it done", passive=True)
            if norm in ("have", "get"):
                _, before = self._before(clause, index)
                if before in MODALS | {"to", "needs", "gotta", ""} or index == clause.first:
                    return Mood(RECOMMENDED, "have it done", passive=True)
                return None
            if self.clauses.tags[index][:2] not in ("DT", "NN", "PR", "JJ", "CD") and norm not in (
                "that",
                "it",
                "this",
            ):
                return None
        return None

    def _gerund(self, clause: Clause, hit: VerbHit, at: int, near: str, subject: str) -> Mood | None:
        if near in GERUND_ADVICE:
            return Mood(RECOMMENDED, f"{near} doing", passive=near in ("needs", "need", "wants"))
        if near == "up" and self.passage.norm(at - 1) == "ended":
            return Mood(DONE, "ended up doing")
        if near in GERUND_DONE:
            return Mood(DONE, f"{near} doing")
        if near in GERUND_NOTHING:
            return None
        if any(self.passage.norm(i) == "spent" for i in range(clause.first, at + 1)):
            return Mood(DONE, "spent time doing") if subject not in OTHERS else None
        if near in ("'m", "am", "'re", "was", "were", "are", "be"):
            return Mood(DONE, "narrated") if subject == "i" else None
        if near == "":
            return Mood(DONE, "narrated") if subject not in OTHERS else None
        return None

    def _passive(self, clause: Clause, at: int, near: str, hit: VerbHit) -> Mood | None:
        index, before = self._before(clause, at)
        subject = self._subject(clause, index)
        if near in ("get", "got", "be", "being") and before in MODALS | {
            "to",
            "needs",
            "gotta",
            "will",
            "'ll",
            "have",
            "want",
        }:
            if before == "to":
                mood = self._infinitive(clause, index)
                return (
                    None
                    if mood is None
                    else Mood(
                        mood.status if mood.status is not PLANNED or mood.why.startswith("going") else RECOMMENDED,
                        mood.why,
                        passive=True,
                    )
                )
            if before in WILL:
                return Mood(PLANNED, "will be", passive=True)
            return None if before in ("could", "can", "might", "may") else Mood(RECOMMENDED, before, passive=True)
        if subject in OTHERS - {"they", "you"} and before in ("", *OTHERS):
            return None
        if near == "getting":
            return Mood(PLANNED, "getting it", passive=True)
        past = near in ("was", "were", "been", "got")
        following = self.clauses.tags[hit.span.end] if hit.span.end < clause.span.end else ""
        if (near in BE and following in ("NN", "NNS")) or self.passage.norm(hit.verb - 1) in ("so", "too", "very"):
            return None  # "that's reclaimed gas", "so bleached"
        if self.passage.norm(hit.verb) in STATES and not (past and hit.span.end - hit.verb > 1):
            return None
        if near in ("get", "have"):
            return Mood(RECOMMENDED, "get it done", passive=True) if before == "" else None
        if subject in OURS and near in ("'m", "am", "was", "'re", "are"):
            return None
        action = hit.rows[0].action.value
        if past and self._was_worked_on(hit, action, near):
            return Mood(DONE, "was done", passive=True)
        if action == "set" and clause.span.end - clause.first <= 3 and hit.verb == clause.span.end - 1:
            return Mood(DONE, "it's set", passive=True)
        if action in (
            "set",
            "bypassed",
            "installed",
            "tested",
            "charged",
            "started",
            "shut_down",
            "adjusted",
        ) and not any(self.passage.norm(i) in ("now", "new", "all") for i in range(clause.span.start, clause.span.end)):
            return None
        if hit.verb + 1 < clause.span.end and self.passage.norm(hit.verb + 1) in NOT_OURS_AFTER:
            return None
        return Mood(DONE, "was done", passive=True)

    def _was_worked_on(self, hit: VerbHit, action: str, near: str) -> bool:
        """Whether "was" and a participle tell work, and not how something was found: "was tested", not "was set"."""
        after = self.passage.norm(hit.verb + 1)
        if after in (*NOT_OURS_AFTER, "for", "on", "off"):
            return False
        if near in ("been", "got"):
            return action in WORKED | {"set", "installed"}
        found = self.passage.norm(hit.verb) in small_words("found_set")
        return not found and (action in WORKED or action == "set")

    def _past(self, clause: Clause, hit: VerbHit, at: int, near: str, subject: str, timed: bool) -> Mood | None:
        if subject in OURS and near in OURS:
            return Mood(DONE, "I did")
        if subject in OTHERS or near in ("what", "which", "that", "not", "never", "n't"):
            return None
        if near == "":
            base = Form.BASE in hit.forms
            after = self.passage.norm(hit.verb + 1)
            bare = hit.verb + 1 >= clause.span.end or after in ("again", "at", "in", "on", "after")
            if bare and self.passage.norm(hit.verb) in OF_ITSELF and hit.rows[0].action.value == "tested":
                return None  # "tripped again in four seconds"
            if (
                base
                and hit.verb == clause.first
                and self.passage.norm(hit.verb + 1) in ("at", "for", "to", "on", "itself", "point")
            ):
                return None
            if self.passage.norm(hit.verb + 1) == "itself":
                return None
            if base and self._mode is not None:
                return Mood(self._mode, "goes on")
            return None if timed else Mood(DONE, "did")
        if (
            at in self.named
            or self.clauses.tags[at] in ("NN", "NNS", "RP", "CD", "RB")
            or near in ("them", "it", "all")
        ):
            ends = hit.verb + 1 >= clause.span.end or self.passage.norm(hit.verb + 1) in small_words("after_participle")
            if self.passage.norm(hit.verb) in OF_ITSELF:
                return Mood(DONE, "I did") if subject == "i" else None
            if any(self.passage.norm(i) in small_words("kept_so") for i in range(max(clause.span.start, at - 2), at)):
                return None
            if ends and near not in ("it", "them", "one") and hit.span.end - hit.verb <= 2:
                return Mood(DONE, "done", passive=True, telegram=True) if self._fronted(clause, hit) else None
            return Mood(DONE, "I did") if subject == "i" else None
        if subject == "i":
            return Mood(DONE, "I did")
        follows = self.passage.norm(hit.verb + 1) in small_words("object_opener")
        plain = Form.BASE not in hit.forms or self.passage.norm(hit.verb + 2) == "new"
        if follows and plain and at not in self.named and near not in ("that", "which", "who", "it", "this"):
            return Mood(DONE, "did")  # talk without marks: "it's twelve years old put a new one in"
        return None

    def _keeps_so(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether a thing is to be kept in a state: "keep the condenser clean"."""
        near = range(max(clause.span.start, hit.verb - 5), hit.verb)
        kept = [i for i in near if self.passage.norm(i) in ("keep", "keeping", "keeps")]
        return bool(kept) and (hit.verb - 1 in self.named or self.passage.norm(hit.verb - 1) in ("it", "that", "them"))

    def _fronted(self, clause: Clause, hit: VerbHit) -> bool:
        """Whether nothing but the thing itself stands before the verb: "lugs tightened"."""
        return hit.verb - clause.first <= 5

    def _base(self, clause: Clause, hit: VerbHit, at: int, near: str, subject: str) -> Mood | None:
        if near in OURS or (subject == "i" and near == "i"):
            if any(
                self.passage.norm(i) in ("always", "usually", "never", "don't", "would", "normally")
                for i in range(clause.span.start, hit.verb)
            ):
                return None
            return Mood(DONE, "I do")
        if near == "you" or subject in OTHERS:
            return (
                Mood(DONE, "you do", order=True)
                if near == "you"
                and not self.stances.of[clause.index].unreal
                and hit.verb - clause.first <= 3
                and self._mode is None
                else None
            )
        if near == "" or (self.passage.norm(at) in JOINS):
            if (
                self.clauses.tags[hit.verb] in ("NN", "NNS", "JJ")
                and self.clauses.tags[min(hit.verb + 1, len(self.clauses.tags) - 1)] not in ("DT", "PRP", "PRP$", "WP")
                and self.passage.norm(hit.verb + 1) not in ("it", "that", "the")
            ):
                return None
            if self._mode is not None:
                return Mood(self._mode, "goes on")
            return Mood(DONE, "said as an order", order=True)
        if near in ("that", "this", "them") or self.clauses.tags[at][:2] == "NN":
            return None
        return None
