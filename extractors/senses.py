"""Whether words that can tell a state do so here: "the motor's down" and not "down to forty"."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from extractors.claim import Row
from extractors.clauses import BE, Clause
from extractors.facts import Condition
from extractors.grammar import small_words
from extractors.passage import Span
from extractors.things import Thing
from extractors.view import View

TELEGRAM_TAGS = ("RB", "JJ", "VBN")
NOT_NEWS_TAGS = ("DT", "PRP$", "NN", "NNS", "PRP", "IN")


class Senses:
    """Judges each phrase of conditions.toml where it stands."""

    def __init__(self, view: View, rows_at: Mapping[Span, Sequence[Row]]) -> None:
        """`rows_at`: all phrases that were found, with their rows."""
        self.view = view
        self.norm = view.norm
        self.components = view.components
        self.rows_at = rows_at

    def stands(self, clause: Clause, span: Span, row: Row) -> bool:
        """Whether a phrase is used in the sense of a row."""
        view = self.view
        inside = self.components.between(span.start - 4, span.end)
        if any(t.known and t.span.start <= span.start and span.end <= t.span.end for t in inside):
            return False
        if row.kind == "idiom":
            return True
        if span.start == clause.first and span.end < clause.span.end and view.tags[span.end] in ("DT", "PRP$", "PRP"):
            return False  # "bent the guard back": a deed
        if row.kind == "state" and row.condition is Condition.NORMAL:
            return self._judges(clause, span)
        if row.kind == "deed":
            passing = row.condition is Condition.NORMAL and self.norm(span.start) in ("passing", "passes")
            return not passing and self._happens(clause, span, row)  # a valve that passes leaks
        if row.kind == "thing":
            return self._is_had(clause, span)
        return self._is_so(clause, span, row) and (not row.only_denied or bool(view.denied(clause, span)))

    def goes_away(self, clause: Clause, span: Span) -> bool:
        """Whether a verb of running tells of going away, in or slowly, and of no running."""
        slow = self.norm(span.end) in ("slow", "slowly")
        return self.norm(span.start) == "gone" or slow or self.norm(clause.first) in ("in", "on")

    # ------------------------------------------------------------ states: "worn", "off", "low on charge"
    def _is_so(self, clause: Clause, span: Span, row: Row) -> bool:
        view, first, length = self.view, self.norm(span.start), span.end - span.start
        before, words = self.norm(span.start - 1), self.view.words(span)
        if row.condition in (Condition.RUNNING, Condition.NOT_RUNNING) and self._figure_follows(clause, span):
            return False
        if before in small_words("does_it") and view.tags[span.start][:2] == "VB":
            return False
        if before in small_words("change_noun") and first in small_words("finished"):
            return False  # "belt swap done"
        if (
            length > 1
            and row.condition is Condition.OPEN
            and view.any(clause.span.start, span.start, small_words("have"))
        ):
            return True  # "has an open winding"
        if row.condition is Condition.WRONG_PART and before in ("to", "on", "from", "at", "in"):
            return False  # "wired to the wrong sensor": the other one is meant
        if self._is_kind_of_unit(clause, span) or self._is_adverb(span) or self._is_age(clause, span):
            return False
        if first == "off" and any("jumper" in t.said for t in self.components.between(clause.span.start, span.start)):
            return False
        if row.condition is Condition.TRIPPED and first == "locked" and self._is_isolation(clause, span):
            return False
        if (
            first in small_words("noun_opener")
            and length == 1
            and view.tags[min(span.end, clause.span.end - 1)][:2] == "NN"
        ):
            return False  # "full size", "a solid inch"
        if first == "going":
            return span.end == clause.span.end and view.is_after(span.start)
        if words in (("ol",), ("o", "l")) and self.components.header(clause) is None:
            return bool(self.components.between(clause.span.start, span.start))
        if (length == 1 or first in ("off", "out", "down", "up")) and first in small_words("loose_state"):
            settled = self._loose(clause, span, row)
            if settled is not None:
                return settled
        if length <= 2 and not self._is_said_of(clause, span, row):
            return False
        return not (before == "to" and first in ("plugged", "open"))

    def _is_isolation(self, clause: Clause, span: Span) -> bool:
        """The "power is off and locked out" of somebody about to work is no lockout of a control."""
        if self.components.between(clause.span.start, span.start):
            return False
        sentence = self.view.passage.sentence_span(span.start)
        return self.view.any(sentence.start, min(span.end + 3, sentence.end), small_words("isolation"))

    def _is_kind_of_unit(self, clause: Clause, span: Span) -> bool:
        """A "split heat pump" is no damaged one."""
        if not any(row.condition is Condition.DAMAGED for row in self.rows_at.get(span, ())):
            return False
        noun = self.noun_after(clause, span)
        return noun is not None and noun.component == "unit"

    def _is_adverb(self, span: Span) -> bool:
        """The last word of "cracked bad"."""
        return self.view.words(span) == ("bad",) and any(other.end == span.start for other in self.rows_at)

    def _is_age(self, clause: Clause, span: Span) -> bool:
        """The last word of "ten years old", or one that nothing is named for."""
        return self.view.words(span) in (("old",), ("new",)) and (
            self.norm(span.start - 1) in ("years", "year", "not") or not self.view.heads(clause, span.start)
        )

    def _loose(self, clause: Clause, span: Span, row: Row) -> bool | None:
        """Words that are states only with "is" or the like before them; null leaves it to the general rule."""
        view, first = self.view, self.norm(span.start)
        if not row.ahead and self._figure_follows(clause, span):
            return False
        if not (
            view.is_after(span.start)
            or self.norm(span.start - 1) in small_words("seem")
            or self._right_after_thing(clause, span)
            or (row.ahead and self.noun_after(clause, span) is not None)
            or self.alone(clause, span)
            or view.denied(clause, span)
        ):
            return False
        if first in ("out", "off", "down") and span.end - span.start == 1 and not view.is_after(span.start):
            return False
        after = self.norm(span.end)
        if first in ("out", "off", "down", "up", "done", "gone", "low") and after in small_words("goes_on"):
            return after in ("there", "here", "and") and view.is_after(span.start)
        return None

    def _is_said_of(self, clause: Clause, span: Span, row: Row) -> bool:
        """Whether a state is said of something and does not just stand there: "is worn", "worn belt"."""
        view = self.view
        near = range(max(clause.span.start, span.start - 6), span.start)
        telling = small_words("seem") | small_words("have") | BE | small_words("finding")
        return (
            view.is_after(span.start)
            or self._right_after_thing(clause, span)
            or (row.ahead and self.noun_after(clause, span) is not None)
            or self.alone(clause, span)
            or (span.start == clause.first and self.components.header(clause) is not None)
            or view.denied(clause, span)
            or any(self.norm(i) in telling for i in near)
        )

    def _figure_follows(self, clause: Clause, span: Span) -> bool:
        if span.end >= clause.span.end:
            return False
        return self.view.is_number(span.end) or self.norm(span.end) in small_words("before_figure")

    def _judges(self, clause: Clause, span: Span) -> bool:
        """Whether "good", "fine", "okay" judge something here and do not just fill."""
        view = self.view
        before, after = view.before(clause, span), view.after(clause, span)
        copula = view.is_after(span.start)
        if span.end - span.start == 1 and after in small_words("no_judgement"):
            return after in ("for", "about", "to", "and") and copula
        if self.noun_after(clause, span) is not None or (
            after and view.tags[span.end] == "NN" and span.end - span.start == 1
        ):
            return False
        if span.end < clause.span.end and view.is_number(span.end):
            return False
        if view.words(span) == ("happy",) and not view.heads(clause, span.start):
            return False
        if copula or before in small_words("seem") or before in small_words("judging"):
            return True
        if self.norm(span.start) in ("nothing", "no", "not") or span.end - span.start >= 3:
            return True
        return self._right_after_thing(clause, span) and after == ""

    def _right_after_thing(self, clause: Clause, span: Span) -> bool:
        """A telegram: "sight glass clear", "bearings shot", "leg two low"."""
        things = self.components.between(clause.span.start, span.start)
        if not things:
            return False
        gap = range(things[-1].span.end, span.start)
        return len(gap) <= 2 and all(
            self.view.tags[i] in TELEGRAM_TAGS or self.norm(i) in ("all", "both", "a", "pretty", "way", "too")
            for i in gap
        )

    def alone(self, clause: Clause, span: Span) -> bool:
        """Whether the state is all that the clause says: "dead.", "all black"."""
        first = self.norm(span.start)
        if first in ("done", "gone", "way") or (first == "open" and span.end - span.start > 1):
            return False
        header = self.components.header(clause)
        whole = span.start == clause.first and span.end == clause.span.end
        if header is not None and whole and any(row.holds(header) for row in self.rows_at.get(span, ())):
            return True
        if first in small_words("needs_company"):
            return False
        return all(self.norm(i) in small_words("degree_before") for i in range(clause.first, span.start)) and all(
            self.norm(i) in small_words("degree_after") for i in range(span.end, clause.span.end)
        )

    def noun_after(self, clause: Clause, span: Span) -> Thing | None:
        """The noun that a state stands right before: "torn gasket"; of verbs only -ing and -ed stand so."""
        if self.norm(span.end - 1) in ("of", "with", "in"):
            return None
        if any(row.kind == "deed" for row in self.rows_at.get(span, ())) and not (
            span.end - span.start == 1 and self.norm(span.start).endswith(("ing", "ed"))
        ):
            return None
        things = self.components.between(span.end, min(clause.span.end, span.end + 4))
        if things and (
            things[0].start <= span.start
            or (things[0].start <= span.end and self.view.tags[span.end] not in ("DT", "PRP$"))
        ):
            return things[0]
        return None

    # ------------------------------------------------------------ deeds of a thing: "leaks", "won't start"
    def _happens(self, clause: Clause, span: Span, row: Row) -> bool:
        """Whether a verb of state is told of a thing and is no order, plan or deed of the speaker."""
        view, first = self.view, self.norm(span.start)
        before, after = view.before(clause, span), view.after(clause, span)
        denied = view.denied(clause, span)
        if (
            row.condition is Condition.RUNNING
            and not denied
            and (after in small_words("not_running_yet") or self._figure_follows(clause, span))
        ):
            return False
        if before in small_words("no_state_verb") and not denied:
            return before in ("and", "would") or (before in ("the", "no", "will") and first.endswith("ing"))
        if before == "to" or (before == "'d" and self.norm(span.start - 2) in ("i", "we")):
            return False
        if row.condition is Condition.RUNNING and not self._runs(clause, span, denied):
            return False
        if row.condition is Condition.NOT_RUNNING and view.tags[min(span.end, len(view.tags) - 1)] == "VBG":
            return False  # "quit stacking boxes against it": a word to the customer
        if first in ("stay", "stays", "stayed") and not (
            span.end == clause.span.end and view.heads(clause, span.start)
        ):
            return False
        if before in ("gonna", "wanna", "gotta", "lemme", "me", "us") or after in BE:
            return False
        opens = self.norm(clause.first) == first
        finite = any(word.endswith(("s", "ed", "ing")) for word in view.words(span))
        if opens and (row.condition is Condition.NORMAL or not (finite or self.alone(clause, span))):
            return False
        noun = view.tags[span.start] in ("NN", "NNS") and before in small_words("article")
        if noun and row.condition not in (Condition.LEAKING, Condition.NOISY):
            return False
        return not row.only_denied or denied

    def _runs(self, clause: Clause, span: Span, denied: bool) -> bool:
        """Whether running is told as a state: not "while it runs", "running about forty pounds", "run it"."""
        view, first = self.view, self.norm(span.start)
        before, after = view.before(clause, span), view.after(clause, span)
        if clause.opener in small_words("meanwhile") or self.norm(clause.first) in ("when", "while", "with"):
            return False
        if after and not denied and view.tags[span.end] in NOT_NEWS_TAGS and after not in small_words("news"):
            return False
        if view.any(clause.span.start, span.start, ("with", "without")):
            return False
        if first.endswith("ing") and not denied and not view.is_after(span.start):
            return after == "" and (self._right_after_thing(clause, span) or before in ("all", "both"))
        return not (first in small_words("starting") and self.norm(clause.first) == first)

    # ------------------------------------------------------------ things had: "a crack", "no leaks", "ice on it"
    def _is_had(self, clause: Clause, span: Span) -> bool:
        """Whether a noun of state is had, seen or denied here: "there's a crack", "no leaks", "ice on the coil"."""
        view = self.view
        before, after = view.before(clause, span), view.after(clause, span)
        if self._names_something_else(clause, span, before, after) or self._is_culprit(clause, span):
            return False
        if before in ("with", "of", "by", "in") and any(other.end == span.start for other in self.rows_at):
            return False  # "choked with rust": what it is choked with, and no rust of its own
        behind = self.components.between(span.end, clause.span.end)
        located = any(t.prep and t.known for t in behind)
        have = small_words("have")
        words = view.words(Span(clause.span.start, span.start))
        if (
            before in small_words("pointer")
            and after == ""
            and not any(w in have or w in ("found", "see", "there") for w in words)
        ):
            return any(w in ("find", "found", "is", "'s", "was") for w in words)
        if before in BE and self.norm(clause.first) in ("it", "that", "this", "she", "so") and not located:
            dirt = any(row.condition is Condition.DIRTY for row in self.rows_at.get(span, ()))
            return span.end - span.start > 1 or (dirt and after == "")
        for i in range(span.end, clause.span.end - 1):
            if self.norm(i) in ("on", "in") and self.norm(i + 1) in ("it", "there", "them", "that"):
                return True
        has = any(w in have or w in small_words("observing") for w in words)
        return (
            has
            or view.denied(clause, span)
            or located
            or after in ("on", "all", "around")
            or self._right_after_thing(clause, span)
        )

    def _names_something_else(self, clause: Clause, span: Span, before: str, after: str) -> bool:
        """A noun of state that is part of a name, taken away, or only a place: "ice machine", "melted the ice"."""
        view = self.view
        noun = self.noun_after(clause, span)
        if noun is not None and noun.known and noun.start <= span.start:
            return True
        if view.any(clause.span.start, span.start, small_words("being_removed")):
            return True
        behind = self.components.between(span.end, clause.span.end)
        if after in small_words("compound") and not (
            after in ("is", "'s") and before == "the" and any(t.prep for t in behind)
        ):
            return True
        if before in ("the", "that", "this") and self.norm(span.start - 2) in small_words("place_words"):
            return True
        if before == "that" and self.norm(span.start - 2) == "all":
            return True
        if after and view.tags[span.end] in ("NN", "NNS") and after not in ("all", "buildup", "inside"):
            return True
        words = view.words(span)
        if (
            "oil" in words
            and after
            and after not in small_words("where_oil")
            and not view.any(span.end, span.end + 4, ("on",))
        ):
            return True
        return words == ("short",) and before not in ("a", "no", "direct", "dead")

    def _is_culprit(self, clause: Clause, span: Span) -> bool:
        """Tells who did it, and not the state: "the drip on the saw was the float valve"."""
        return any(
            self.norm(i) in ("is", "was", "'s")
            and any(t.known and t.start == i + 1 for t in self.components.between(i, clause.span.end))
            for i in range(span.end, clause.span.end)
        )

    # ------------------------------------------------------------ both
    def sought(self, clause: Clause, span: Span) -> bool:
        """Whether the state is only looked for, or to be kept away."""
        return any(s.end <= span.start for s in self.view.stances.hits("search.before", clause.span.start, span.start))

    def is_news(self, clause: Clause, span: Span) -> bool:
        """Told as news: "it doesn't turn", "now it runs"; "it ran" alone is part of the story."""
        return self.view.denied(clause, span) or self.view.any(
            clause.span.start, clause.span.end, ("now", "again", "finally")
        )
