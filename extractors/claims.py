"""Claims: each place where the words say the state of a component, before claims about one thing are settled into findings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cache

from extractors.clauses import BE, Clause, Clauses
from extractors.components import Components, Thing, figures_only, groups, spread
from extractors.facts import Condition, FindingStatus
from extractors.lexicon import load_table
from extractors.passage import Span
from extractors.phrases import Phrases
from extractors.stance import Stances, copula_before
from extractors.verbs import Form, inflected

HAVE = frozenset({"has", "have", "had", "got", "'ve", "with", "having", "shows", "showed", "gets", "grew", "growing"})
SEEMS = frozenset({"look", "looks", "looked", "seem", "seems", "seemed", "feel", "feels", "felt", "test", "tests", "tested", "check", "checks", "checked", "read", "reads", "stay", "stays", "stayed", "came", "comes", "sounds", "sound", "appears", "got", "gets", "get", "getting", "went", "goes", "found", "keeps", "kept", "ran", "run", "runs"})
BODILY = frozenset({Condition.DAMAGED, Condition.MISSING, Condition.LOOSE, Condition.CORRODED, Condition.WORN, Condition.BURNT, Condition.SEIZED})
ANY_NOUN = BODILY | {Condition.DIRTY, Condition.CLOGGED, Condition.LEAKING, Condition.NOISY, Condition.WET, Condition.ICED}
WORTH_DENYING = frozenset(
    {Condition.LEAKING, Condition.DAMAGED, Condition.DIRTY, Condition.CLOGGED, Condition.GROUNDED, Condition.SHORTED, Condition.UNDERCHARGED,
     Condition.OVERCHARGED, Condition.TRIPPED, Condition.ICED, Condition.FAILED, Condition.OPEN, Condition.SEIZED, Condition.CORRODED, Condition.BURNT,
     Condition.NO_POWER, Condition.OIL_STAINED, Condition.MISSING}
)
REACH_OF_SEARCH = 40  # tokens that a search for leaks reaches on
LEAKERS = spread(("tube", "water", "valve", "coil", "gas", "pump", "system", "service valve", "expansion tank", "noun", "wiring"))
NEARBY = 30  # tokens: how far a state without a subject reaches over the end of its sentence
NEAR = 16  # tokens: how far "that's good" reaches back
FIRM = frozenset({Condition.NORMAL, Condition.RUNNING})


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
    confirm: tuple[str, ...] = field(default=())
    hearsay: bool = False
    """Somebody else's opinion; it counts only when the job proves or clears it."""
    cleanness: bool = False
    """Only that it is clean or clear."""


@cache
def _table() -> tuple[Phrases, list[Row], frozenset[tuple[int, str]]]:
    rows: list[Row] = []
    say: list[tuple[str, str]] = []
    verbal: set[tuple[int, str]] = set()
    for number, entry in enumerate(load_table("conditions")["row"]):
        fits = entry.get("fits")
        rows.append(
            Row(
                Condition(entry["condition"]), entry["kind"], None if fits is None else spread(tuple(fits)), entry.get("component", ""),
                Condition(entry["denied"]) if "denied" in entry else None, entry.get("ahead", True), entry.get("only_denied", False), spread(tuple(entry.get("about", ()))),
            )
        )
        for phrase in entry["say"]:
            if entry["kind"] == "simile":
                continue
            if entry["kind"] == "deed":
                for said, form in inflected(phrase):
                    say.append((str(number), said))
                    if form in (Form.BASE, Form.THIRD):
                        verbal.add((number, said))
            else:
                say.append((str(number), phrase))
    return Phrases(say), rows, frozenset(verbal)


def _width(row: Row) -> int:
    return len(row.fits) if row.fits else 1000


class Claims:
    """Finds all claims of a talk, in order."""

    def __init__(self, clauses: Clauses, components: Components, stances: Stances) -> None:
        """Takes the views of the talk that claims are read from."""
        self.passage = clauses.passage
        self.clauses = clauses
        self.components = components
        self.stances = stances
        self._found: list[Claim] = []
        self._rows_at: dict[Span, list[Row]] = {}
        self._last: Claim | None = None

    def all(self) -> list[Claim]:
        """Every claim in order. Linear in the passage."""
        phrases, rows, verbal = _table()
        by_clause: dict[int, dict[Span, list[Row]]] = {}
        for hit in phrases.find(self.passage):
            row = rows[int(hit.label)]
            if row.kind == "none":
                continue
            by_clause.setdefault(self.clauses.at(hit.span.start).index, {}).setdefault(hit.span, []).append(row)
        self._similes(rows, by_clause)
        self._rows_at = {span: found for hits in by_clause.values() for span, found in hits.items()}
        found = self._found
        for clause in self.clauses.clauses:
            stance = self.stances.of[clause.index]
            if stance.earlier or stance.told or clause.question:
                continue
            hits = by_clause.get(clause.index, {})
            made = [claim for span in sorted(hits) for claim in self._claims(clause, span, sorted(hits[span], key=_width))]
            if not made:
                made = list(self._unsaid(clause)) or list(self._sniffed(clause)) or list(self._bare(clause, found))
            if made:
                self._last = made[-1]
            if stance.quoted:
                made = [self._hearsay(claim, found) if claim.token >= stance.quoted_from else claim for claim in made]
            found += made
        return found

    def _hearsay(self, claim: Claim, found: list[Claim]) -> Claim:
        """A claim in somebody else's words: a suspicion at most; but what denies his own word is the speaker's."""
        said = [c for c in found if c.hearsay and c.clause.sentence == claim.clause.sentence and c.condition is claim.condition]
        if claim.status is FindingStatus.RULED_OUT and said:
            return replace(claim, component=said[-1].component, place=said[-1].place)
        return replace(claim, status=FindingStatus.SUSPECTED, hearsay=True)

    def _similes(self, rows: list[Row], by_clause: dict[int, dict[Span, list[Row]]]) -> None:
        entries = load_table("conditions")["row"]
        known = [(row, frozenset(entry["say"])) for row, entry in zip(rows, entries, strict=True) if entry["kind"] == "simile"]
        for index, norm in enumerate(self.passage.norms):
            if norm != "like":
                continue
            clause = self.clauses.at(index)
            if self.passage.norm(index + 1) not in ("a", "an", "the", "one", "felt", "wool"):
                continue
            for ahead in range(index + 1, min(index + 4, clause.span.end)):
                for row, words in known:
                    if self.passage.norm(ahead) in words:
                        by_clause.setdefault(clause.index, {})[Span(index, ahead + 1)] = [row]

    # ------------------------------------------------------------ one phrase
    def _claims(self, clause: Clause, span: Span, rows: list[Row]) -> Iterator[Claim]:
        rows = [row for row in rows if self._stands(clause, span, row)]
        if not rows or self._sought(clause, span):
            return
        stance = self.stances.of[clause.index]
        if stance.unreal or self.stances.told_before(clause, span.start):
            return
        for row, things, source in self._subjects(clause, span, rows):
            for thing in things:
                claim = self._claim(clause, span, row, thing, source)
                if claim is not None:
                    yield claim
            return

    def _claim(self, clause: Clause, span: Span, row: Row, thing: Thing, source: str) -> Claim | None:
        denial = self.stances.denied(clause, span.start, span)
        cleared = self.stances.has("cleared", clause.span) and row.condition not in FIRM and denial is None
        hedged = self.stances.hedged(clause)
        condition, status = row.condition, FindingStatus.OBSERVED
        if denial is not None or cleared:
            if row.denied is not None:
                condition = row.denied
            else:
                status = FindingStatus.RULED_OUT
        elif hedged and condition not in FIRM:
            status = FindingStatus.SUSPECTED
        if condition is Condition.NOT_RUNNING and status is FindingStatus.RULED_OUT:
            return None
        if condition is Condition.RUNNING and thing.component in ("compressor", "unit", "system") and not self._denied_or_now(clause, span):
            return None
        if thing.component in ("L1", "L2", "L3", "line", "neutral", "ground") and condition in BODILY | {Condition.OPEN, Condition.OVERHEATED, Condition.FAILED}:
            thing = _renamed(thing, "wiring")
        if status is FindingStatus.RULED_OUT and condition not in WORTH_DENYING and not any(
            c.component == thing.component and c.condition is condition for c in self._found
        ):
            return None
        confirm = ("speaker not sure",) if hedged and status is not FindingStatus.SUSPECTED else ()
        if thing.open:
            confirm = (*confirm, "subject unclear")
        return Claim(
            thing.component, thing.place, condition, status, clause, span.start, self._evidence(clause, span, thing),
            (f"said: {self.passage.said(span).lower()}", f"component: {source}"), confirm=confirm,
            cleanness=row.denied in (Condition.DIRTY, Condition.WET),
        )

    def _evidence(self, clause: Clause, span: Span, thing: Thing) -> Span:
        """The clause, or its part from the component to the state where the clause is long."""
        if clause.span.end - clause.first <= 14:
            return clause.bare
        start = min(span.start, thing.start) if clause.span.start <= thing.start < clause.span.end else span.start
        start = max(clause.first, start - 1) if start == span.start else start
        return Span(start, min(clause.span.end, max(span.end, start + 1)))

    def _stands(self, clause: Clause, span: Span, row: Row) -> bool:
        """Whether the words are used in that sense here."""
        if any(t.known and t.span.start <= span.start and span.end <= t.span.end for t in self.components.between(span.start - 4, span.end)):
            return False
        first, after, before = self.passage.norm(span.start), self.passage.norm(span.end), self.passage.norm(span.start - 1)
        if row.kind == "idiom":
            return True
        if span.start == clause.first and span.end < clause.span.end and self.clauses.tags[span.end] in ("DT", "PRP$", "PRP"):
            return False  # "bent the guard back": a deed
        if row.kind == "state" and row.condition is Condition.NORMAL:
            return self._judges(clause, span)
        if row.kind == "deed":
            return self._happens(clause, span, row)
        if row.kind == "thing":
            return self._is_had(clause, span)
        if row.condition in (Condition.RUNNING, Condition.NOT_RUNNING) and span.end < clause.span.end and self._figure_at(span.end):
            return False
        if before in ("i", "we", "'ve", "i've", "to", "my", "he", "she", "'d") and self.clauses.tags[span.start][:2] == "VB":
            return False
        if span.end - span.start > 1 and any(self.passage.norm(i) in HAVE for i in range(clause.span.start, span.start)) and row.condition is Condition.OPEN:
            return True
        if any(row_.condition is Condition.DAMAGED for row_ in self._rows_at.get(span, ())) and (noun := self._noun_after(clause, span)) is not None and noun.component == "unit":
            return False
        if self.passage.norms[span.start : span.end] == ("bad",) and any(other.end == span.start for other in self._rows_at):
            return False
        if self.passage.norms[span.start : span.end] in (("old",), ("new",)) and (before in ("years", "year", "not") or not any(t.known and not t.prep for t in self.components.between(clause.span.start, span.start))):
            return False
        if first == "off" and any("jumper" in t.said or "zip" in t.said for t in self.components.between(clause.span.start, span.start)):
            return False
        if first == "going":
            return span.end == clause.span.end and copula_before(self.clauses, span.start)
        if self.passage.norms[span.start : span.end] in (("ol",), ("o", "l")) and not self.components.between(clause.span.start, span.start) and self.components.header(clause) is None:
            return False
        if (span.end - span.start == 1 or first in ("off", "out", "down", "up")) and first in ("off", "out", "down", "low", "flat", "open", "short", "done", "gone", "up", "old", "cold", "warm", "hot", "white", "black", "brown", "green", "gray", "grey", "tight", "rough", "dead"):
            if not row.ahead and after and span.end < clause.span.end and self._figure_at(span.end):
                return False
            if not (copula_before(self.clauses, span.start) or before in SEEMS or self._right_after_thing(clause, span) or (row.ahead and self._ahead(clause, span)) or self._alone(clause, span) or self.stances.denied(clause, span.start, span)):
                return False
            if first in ("out", "off", "down") and span.end - span.start == 1 and not copula_before(self.clauses, span.start):
                return False
            if first in ("out", "off", "down", "up", "done", "gone", "low") and after in ("of", "the", "to", "at", "in", "with", "there", "here", "by", "for", "on", "and", "side", "voltage", "pressure", "my", "your", "a"):
                return after in ("there", "here", "and") and copula_before(self.clauses, span.start)
        if span.end - span.start <= 2 and not self._predicates(clause, span, row):
            return False
        return not (before == "to" and first in ("plugged", "open"))

    def _predicates(self, clause: Clause, span: Span, row: Row) -> bool:
        """Whether a state is said of something and does not just stand there: "is worn", "found it worn", "worn belt"."""
        before = self.passage.norm(span.start - 1) if span.start > clause.span.start else ""
        return (
            copula_before(self.clauses, span.start) or before in SEEMS or self._right_after_thing(clause, span)
            or (row.ahead and self._ahead(clause, span)) or self._alone(clause, span)
            or (span.start == clause.first and self.components.header(clause) is not None)
            or self.stances.denied(clause, span.start, span) is not None
            or any(self.passage.norm(i) in SEEMS | HAVE | BE | {"see", "saw", "left", "leaves", "find", "had", "too", "so", "and"} for i in range(max(clause.span.start, span.start - 6), span.start))
        )

    def _figure_at(self, index: int) -> bool:
        token = self.passage.tokens[index]
        return token.is_digits or self.clauses.tags[index] == "CD" or token.norm in ("about", "around", "at", "roughly", "to", "low", "high", "in", "a", "like")

    def _judges(self, clause: Clause, span: Span) -> bool:
        """Whether "good", "fine", "okay" judge something here and do not just fill."""
        before = self.passage.norm(span.start - 1) if span.start > clause.span.start else ""
        after = self.passage.norm(span.end) if span.end < clause.span.end else ""
        if after in ("for", "thing", "news", "luck", "grief", "lord", "morning", "afternoon", "point", "question", "idea", "job", "of", "deal", "and", "to", "about", "pressure") and span.end - span.start == 1:
            if after in ("for", "about", "to", "and") and copula_before(self.clauses, span.start):
                return True
            return after == "of" and False
        if self._ahead(clause, span) or (span.end < clause.span.end and self._figure_at(span.end) and after not in ("at", "in", "to", "like", "about", "around")):
            return False
        if self.passage.norms[span.start : span.end] == ("happy",) and not any(t.known and not t.prep for t in self.components.between(clause.span.start, span.start)):
            return False
        if copula_before(self.clauses, span.start) or before in SEEMS or before in ("all", "both", "still", "pretty", "looking", "really", "nice", "just"):
            return True
        if self.passage.norm(span.start) in ("nothing", "no", "not") or span.end - span.start >= 3:
            return True
        return self._right_after_thing(clause, span) and after == ""

    def _right_after_thing(self, clause: Clause, span: Span) -> bool:
        """A telegram: "sight glass clear", "bearings shot", "leg two low"."""
        for thing in reversed(self.components.between(clause.span.start, span.start)):
            gap = range(thing.span.end, span.start)
            return len(gap) <= 2 and all(self.clauses.tags[i] in ("RB", "JJ", "VBN") or self.passage.norm(i) in ("all", "both", "a", "pretty", "way", "too") for i in gap)
        return False

    def _alone(self, clause: Clause, span: Span) -> bool:
        """The state is all that the clause says: "dead.", "all black"."""
        if self.passage.norm(span.start) in ("done", "gone", "way") or self.passage.norms[span.start : span.end] == ("open", "circuit"):
            return False
        header = self.components.header(clause)
        if self.passage.norm(span.start) == "open" and span.end - span.start > 1:
            return False
        if header is not None and span.end == clause.span.end and span.start == clause.first and any(self._fits(row, header) for row in self._rows_at.get(span, ())):
            return True
        if self.passage.norm(span.start) in ("hot", "off", "out", "down", "done", "gone", "low", "flat", "short", "white", "black", "brown", "green", "gray", "grey", "up", "old", "cold", "warm", "rough", "tight"):
            return False
        return all(self.passage.norm(i) in ("all", "pretty", "very", "way", "totally", "just", "completely", "too", "both", "also", "really", "right", "stone", "grounded") for i in range(clause.first, span.start)) and all(
            self.passage.norm(i) in ("too", "also", "now", "again", "as", "well", "though", "completely", "still") for i in range(span.end, clause.span.end)
        )

    def _ahead(self, clause: Clause, span: Span) -> bool:
        """Whether the words stand right before their noun: "torn gasket"."""
        return self._noun_after(clause, span) is not None

    def _noun_after(self, clause: Clause, span: Span) -> Thing | None:
        if self.passage.norm(span.end - 1) in ("of", "with", "in"):
            return None
        if any(row.kind == "deed" for row in self._rows_at.get(span, ())) and not (
            span.end - span.start == 1 and self.passage.norm(span.start).endswith(("ing", "ed"))
        ):
            return None
        for thing in self.components.between(span.end, min(clause.span.end, span.end + 4)):
            if thing.start <= span.start or (thing.start <= span.end and self.clauses.tags[span.end] not in ("DT", "PRP$")):
                return thing
            return None
        return None

    def _happens(self, clause: Clause, span: Span, row: Row) -> bool:
        """Whether a verb of state is told of a thing and is no order, plan or deed of the speaker."""
        before = self.passage.norm(span.start - 1) if span.start > clause.span.start else ""
        first = self.passage.norm(span.start)
        after = self.passage.norm(span.end) if span.end < clause.span.end else ""
        if after in ("out", "up", "right", "at", "from", "by", "into") and row.condition is Condition.RUNNING and self.stances.denied(clause, span.start, span) is None:
            return False
        denied = self.stances.denied(clause, span.start, span) is not None
        if row.condition is Condition.RUNNING and span.end < clause.span.end and self._figure_at(span.end) and not denied:
            return False
        if before in ("i", "we", "to", "'ll", "let", "let's", "can", "could", "please", "you", "would", "should", "the", "a", "an", "my", "this", "will", "no", "of", "and") and not self.stances.denied(clause, span.start, span):
            return before in ("would", "the", "no", "and", "will") and (before == "and" or first.endswith("ing") or before == "would")
        if before == "to" or (before == "'d" and self.passage.norm(span.start - 2) in ("i", "we")):
            return False
        if row.condition in (Condition.RUNNING, Condition.SHORT_CYCLING) and row.condition is Condition.RUNNING:
            if clause.opener in ("when", "while", "with", "once", "until", "till", "after", "before", "if", "whenever") or self.passage.norm(clause.first) in ("when", "while", "with"):
                return False
            if not denied and span.end < clause.span.end and (self._figure_at(span.end) or (self.clauses.tags[span.end] in ("DT", "PRP$", "NN", "NNS", "PRP", "IN") and self.passage.norm(span.end) not in ("now", "again", "fine", "like", "as", "on", "for", "after", "with", "without", "but"))):
                return False
            if any(self.passage.norm(i) in ("with", "without") for i in range(clause.span.start, span.start)):
                return False
            if first.endswith("ing") and not denied and not copula_before(self.clauses, span.start) and not (span.end == clause.span.end and (self._right_after_thing(clause, span) or before in ("all", "both"))):
                return False
            if first in ("run", "start", "turn", "spin", "go", "fire", "light", "cycle", "come", "kick") and self.passage.norm(clause.first) == first:
                return False
        if first in ("stay", "stays", "stayed") and not (span.end == clause.span.end and any(t.known and not t.prep for t in self.components.between(clause.span.start, span.start))):
            return False
        if before in ("gonna", "wanna", "gotta", "lemme", "me", "us"):
            return False
        if self.passage.norm(clause.first) == first and not any(w.endswith(("s", "ed", "ing")) for w in self.passage.norms[span.start : span.end]) and not self._alone(clause, span):
            return False
        if after in BE:
            return False
        if row.condition is Condition.NORMAL and self.passage.norm(clause.first) == first:
            return False
        tag = self.clauses.tags[span.start]
        if tag in ("NN", "NNS") and before in ("the", "a", "an", "no", "any", "this", "that", "my") and row.condition not in (Condition.LEAKING, Condition.NOISY):
            return False
        return not row.only_denied or denied

    def _is_had(self, clause: Clause, span: Span) -> bool:
        """Whether a noun of state is had, seen or denied here: "there's a crack", "no leaks", "ice on the coil"."""
        before = self.passage.norm(span.start - 1) if span.start > clause.span.start else ""
        after = self.passage.norm(span.end) if span.end < clause.span.end else ""
        thing = self._noun_after(clause, span)
        if thing is not None and thing.known and thing.start <= span.start:
            return False
        words = self.passage.norms[clause.span.start : span.start]
        if any(word in ("off", "remove", "removed", "melt", "melted", "out", "washed", "cleaned", "blew", "knocked", "chipped", "steam", "scraped", "wiped", "vacuumed", "flushed", "brushed", "drop", "shot", "added", "change") for word in words):
            return False
        if after in ("machine", "maker", "bin", "bath", "water", "cube", "cubes", "detector", "check", "test", "search", "cream", "pump", "pressure", "level", "filter", "separator", "thickness", "rod", "is", "'s", "pan", "trap", "safety", "failure", "capacity", "per", "cream's", "remover", "was", "says", "said", "reads") and not (after in ("is", "'s") and before in ("the",) and self._place_after(clause, span)):
            return False
        if before in ("the", "that", "this", "his", "their") and after == "" and not any(w in HAVE or w in ("found", "see", "there's", "there") for w in words):
            return any(w in ("find", "found", "is", "'s", "was") for w in words)
        if before in ("the", "that", "this") and self.passage.norm(span.start - 2) in ("on", "off", "in", "from", "of", "under", "through", "into", "with", "for", "to", "at", "past", "by", "up"):
            return False
        if span.end < clause.span.end and self.clauses.tags[span.end] in ("NN", "NNS") and after not in ("all", "buildup", "inside"):
            return False
        if before == "that" and self.passage.norm(span.start - 2) == "all":
            return False
        if first_oil(self.passage.norms[span.start : span.end]) and after not in ("on", "around", "under", "below", "all", "at", "by", "") and not any(
            self.passage.norm(i) == "on" for i in range(span.end, min(clause.span.end, span.end + 4))
        ):
            return False
        if self.passage.norms[span.start : span.end] == ("short",) and before not in ("a", "no", "direct", "dead"):
            return False
        if any(self.passage.norm(i) in ("is", "was", "'s") and any(t.known and t.start == i + 1 for t in self.components.between(i, clause.span.end)) for i in range(span.end, clause.span.end)):
            return False  # "the drip on the saw was the float valve": a culprit
        located = any(t.prep and t.known for t in self.components.between(span.end, clause.span.end))
        if before in BE and self.passage.norm(clause.first) in ("it", "that", "this", "she", "so") and not located:
            dirt = any(row.condition is Condition.DIRTY for row in self._rows_at.get(span, ()))
            return span.end - span.start > 1 or (dirt and span.end == clause.span.end)
        on_it = any(self.passage.norm(i) in ("on", "in") and self.passage.norm(i + 1) in ("it", "there", "them", "that") for i in range(span.end, clause.span.end - 1))
        if on_it:
            return True
        has = any(w in HAVE or w in ("there", "see", "saw", "found", "find", "finding", "notice", "noticed", "is", "'s", "was", "where", "feel", "hear", "with", "some", "just") for w in words)
        denied = self.stances.denied(clause, span.start, span) is not None
        return has or denied or located or after in ("on", "all", "around") or self._right_after_thing(clause, span)

    def _place_after(self, clause: Clause, span: Span) -> bool:
        return any(t.prep for t in self.components.between(span.end, clause.span.end))

    def _sought(self, clause: Clause, span: Span) -> bool:
        """Whether the state is only looked for, or to be kept away."""
        return any(s.end <= span.start for s in self.stances.hits("search.before", clause.span.start, span.start))

    # ------------------------------------------------------------ of what
    def _subjects(self, clause: Clause, span: Span, rows: list[Row]) -> Iterator[tuple[Row, list[Thing], str]]:
        """The row and the things that the words are told of; the likeliest only."""
        ahead = self._noun_after(clause, span)
        if ahead is not None and not ahead.known and any(t.known and not t.prep for t in self.components.between(clause.span.start, span.start)):
            ahead = None
        if ahead is not None:
            candidates: list[tuple[list[Thing], str]] = [([ahead], "the noun after it")]
        else:
            candidates = list(self._told_of(clause, span, rows[0].kind))
        for things, source in candidates:
            if any(thing.part for thing in things):
                rows = sorted(rows, key=lambda row: row.condition is not Condition.WORN)
            for row in rows:
                things = [self._meant_by(row, thing) for thing in things]
                fitting = [thing for thing in things if self._fits(row, thing)]
                if fitting:
                    yield row, fitting, source
                    return
                if any(thing.word in row.about for thing in things) and source == "it":
                    yield row, [self._assumed(row.component, span)], "what that tells"
                    return
        if ahead is not None:
            return
        yield from self._unnamed(clause, span, rows)

    def _unnamed(self, clause: Clause, span: Span, rows: list[Row]) -> Iterator[tuple[Row, list[Thing], str]]:
        """What is meant where the clause names nothing that fits: what was spoken of before, else what it is always said of."""
        for row in rows:
            if row.component and row.fits == frozenset():
                yield row, [self._assumed(row.component, span)], "always said of it"
                return
        named = [t for t in self.components.between(clause.span.start, span.start) if not t.prep]
        pronoun = self._pronoun(clause, span.start)
        whole = self._alone(clause, span) or span.start == clause.first or self.stances.denied(clause, span.start, span) is not None
        if named or not (pronoun or whole or rows[0].kind in ("thing", "simile")):
            return
        doubted = [
            c for c in self._found[-12:] if c.status is FindingStatus.SUSPECTED and clause.index - c.clause.index <= 60
            and (not c.hearsay or c.clause.sentence == clause.sentence)
            and any(c.condition is row.condition and (row.fits is None or c.component in row.fits or c.component == row.component) for row in rows)
        ]
        if doubted and rows[0].condition not in FIRM and (pronoun or whole):
            row = next(row for row in rows if row.condition is doubted[-1].condition)
            yield row, [self._assumed(doubted[-1].component, span)], "suspected before"
            return
        if self.passage.norm(span.start) in ("done", "gone"):
            return
        denied = self.stances.denied(clause, span.start, span) is not None
        for row in rows:
            if row.condition in FIRM and not pronoun and not denied:
                continue
            if row.condition in (Condition.FAILED, Condition.RUNNING) and row.kind == "deed" and not pronoun:
                continue
            if row.condition is Condition.RUNNING and not self._denied_or_now(clause, span):
                continue
            thing = self._lately(clause, row)
            if thing is not None:
                yield row, [thing], "spoken of before"
                return
        for row in rows:
            if row.component and not row.about:
                component = self.components.machine_word("leak") if row.condition is Condition.LEAKING else None
                yield row, [self._assumed(component or row.component, span)], "nothing else is named"
                return

    def _denied_or_now(self, clause: Clause, span: Span) -> bool:
        """"it doesn't turn", "now it runs": told as news, where "it ran" alone is part of the story."""
        return self.stances.denied(clause, span.start, span) is not None or any(
            self.passage.norm(i) in ("now", "again", "finally") for i in range(clause.span.start, clause.span.end)
        )

    def _assumed(self, component: str, span: Span) -> Thing:
        return Thing(component, span, span.start, "", None, start=span.start)

    def _lately(self, clause: Clause, row: Row) -> Thing | None:
        """What was spoken of before and fits. A good word, or one said of anything, holds only of the very last thing."""
        denied = row.condition in FIRM and row.kind == "deed" and row.fits is not None
        if (row.condition in FIRM and not denied) or row.fits is None or row.condition is Condition.WET:
            nearest = self.components.before(clause.span.start, clause, None)
            return nearest if nearest is not None and self._fits(row, nearest) else None
        thing = self.components.before(clause.span.start, clause, row.fits)
        if thing is None:
            return None
        back = clause.sentence - self.passage.tokens[thing.span.start].sentence
        if back > 0 and clause.span.start - thing.span.end > (3 * NEARBY if self.components.place_alone(clause.span.start, clause.span.end) else NEARBY):
            return None
        if row.component and (back > 1 or (back == 1 and row.condition is Condition.LEAKING)):
            return None
        return thing

    def _fits(self, row: Row, thing: Thing) -> bool:
        if not thing.known:
            return self._plainly(row, thing)
        if row.fits:
            return thing.word in row.fits
        if row.fits is not None:
            return False
        return thing.word not in figures_only() and thing.word not in groups()["space"]

    def _meant_by(self, row: Row, thing: Thing) -> Thing:
        """A shared word that nothing resolved, as the one of its meanings that the state fits."""
        if not thing.open or row.fits is None or thing.word in row.fits:
            return thing
        fitting = next((option for option in thing.options if option in row.fits), None)
        return thing if fitting is None else replace(thing, component=fitting, canon="")

    def _plainly(self, row: Row, thing: Thing) -> bool:
        """Whether a noun that no table knows is taken as said: a bodily fault of what "the" points at."""
        return row.condition in ANY_NOUN and row.condition is not Condition.LOOSE and not thing.prep and thing.named and (row.fits is None or "hose" in row.fits)

    def _pronoun(self, clause: Clause, before: int) -> bool:
        """Whether the clause speaks of something by a pronoun."""
        first = self.passage.norm(clause.first)
        if first in BE | {"we", "number"} or (len(first) == 1 and first.isalpha() and first != "i" and self.passage.norm(clause.first + 1) in BE):
            return True  # "so is good", "we're underfired", "b is open"
        return any(self.components.is_pronoun(i) for i in range(clause.first, min(before, clause.first + 4)))

    def _told_of(self, clause: Clause, span: Span, kind: str) -> Iterator[tuple[list[Thing], str]]:
        before = self.components.between(clause.span.start, span.start)
        after = self.components.between(span.end, clause.span.end)
        heads = [t for t in before if not t.prep and not (self.components.is_abstract(t))]
        located = [t for t in after if t.prep]
        if kind == "thing" and located and not any(self.passage.norm(i) in HAVE for i in range(clause.span.start, span.start) if heads):
            yield located[:1], "where it is"
        if heads:
            known = [t for t in heads if t.known]
            group = self._together(heads)
            yield group, "named in the clause"
            if known and known[0] not in group:
                yield [known[0]], "named in the clause"
            if len(known) > 1:
                yield [known[-1]], "named in the clause"
        elif self._pronoun(clause, span.start):
            thing = self.components.before(clause.span.start, clause, None)
            if thing is not None and self._good(span) and (span.start - thing.span.end > NEAR or thing.component in ("unit", "system")):
                thing = None
            if thing is not None and any(row.condition is Condition.WRONG_PART for row in self._rows_at.get(span, ())):
                thing = None
            place = self.components.place_alone(clause.span.start, span.start)
            if thing is not None:
                yield [thing if place is None else _placed(thing, place)], "it"
        if located and kind != "thing":
            yield located[:1], "where it is"
        if kind == "thing" and located:
            yield located[:1], "where it is"
        prepositional = [t for t in before if t.prep]
        if prepositional:
            yield prepositional[:1], "named in the clause"

    def _good(self, span: Span) -> bool:
        return any(row.condition is Condition.NORMAL for row in self._rows_at.get(span, ()))

    def _together(self, heads: list[Thing]) -> list[Thing]:
        """The first thing with those joined to it: "the evap fan and the condenser fan are running"."""
        group = heads[:1]
        for thing in heads[1:]:
            gap = [self.passage.norm(i) for i in range(group[-1].span.end, thing.start)]
            if gap and all(word in ("and", "or", "nor", "the", "&") for word in gap):
                group.append(thing)
            else:
                break
        return group

    # ------------------------------------------------------------ no state named
    def _unsaid(self, clause: Clause) -> Iterator[Claim]:
        """"the fan was running and the compressor wasn't": the state before, denied."""
        last = clause.span.end - 1
        if self._last is None or self._last.clause.sentence != clause.sentence or self.passage.norm(last) not in ("wasn't", "isn't", "weren't", "aren't", "didn't", "doesn't", "not", "ain't"):
            return
        things = [t for t in self.components.of(clause) if t.known and not t.prep]
        flipped = {Condition.RUNNING: Condition.NOT_RUNNING, Condition.NORMAL: Condition.FAILED}
        if things and self._last.condition in flipped and last - clause.first <= 5:
            yield self._plain(clause, things[0].component, things[0].place, FindingStatus.OBSERVED, "the state before, denied", flipped[self._last.condition])

    def _sniffed(self, clause: Clause) -> Iterator[Claim]:
        """What a search for leaks found: "condenser, nothing", "soap on it, no bubbles", "soap, there it is"."""
        none = self.stances.hits("search.none", clause.first, clause.span.end)
        found = self.stances.hits("search.found", clause.first, clause.span.end)
        if (not none and not found) or clause.span.end - clause.first > 8:
            return
        start = self.clauses.clauses[max(0, clause.index - 6)].span.start
        tools = [t for t in self.stances.hits("leak_tools", start, clause.span.end) if not any(t.overlaps(hit) for hit in none + found)]
        if not tools or clause.span.start - tools[-1].end > REACH_OF_SEARCH:
            return
        here = [t for t in self.components.between(self.clauses.clauses[max(0, clause.index - 1)].span.start, clause.span.end) if t.known and t.word not in figures_only()]
        here = [t for t in here if self.passage.tokens[t.span.start].sentence == clause.sentence and not any(t.span.overlaps(tool) for tool in tools)]
        if none and (self.passage.norms[none[0].start : none[0].end] not in (("quiet",), ("clean",)) or here):
            default = self.components.machine_word("leak") or "system"
            yield self._plain(clause, here[0].component if here else default, here[0].place if here else None, FindingStatus.RULED_OUT, "searched for leaks", Condition.LEAKING)
        elif found:
            near = self.components.before(clause.span.start, clause, LEAKERS)
            near = here[0] if here else near
            if near is not None and near.known and near.word != "sight glass":
                yield self._plain(clause, near.component, near.place, FindingStatus.OBSERVED, "searched for leaks", Condition.LEAKING)

    def _bare(self, clause: Clause, found: list[Claim]) -> Iterator[Claim]:
        """Culprits, bare suspicions and what is cleared: "it's not the board", "could be the relay", "the noise is the fan"."""
        stance = self.stances.of[clause.index]
        if stance.unreal and not self.stances.hedged(clause):
            return
        things = [t for t in self.components.of(clause) if t.known and t.word not in figures_only()]
        cleared = self.stances.hits("cleared", clause.span.start, clause.span.end)
        if things:
            yield from self._about(clause, things, bool(cleared))
        elif self.stances.hits("suspects", clause.span.start, clause.span.end):
            near = self.components.before(clause.span.start, clause, None)
            if near is not None and near.word not in figures_only():
                yield self._plain(clause, near.component, near.place, FindingStatus.SUSPECTED, "suspected")
        elif cleared and self._ends_cleared(clause):
            settled = {c.component for c in found if c.status is FindingStatus.RULED_OUT}
            doubted = [c for c in found if c.status is FindingStatus.SUSPECTED and c.component not in settled and clause.index - c.clause.index <= 12]
            if doubted:
                yield self._plain(clause, doubted[-1].component, doubted[-1].place, FindingStatus.RULED_OUT, "cleared")

    def _about(self, clause: Clause, things: list[Thing], cleared: bool) -> Iterator[Claim]:
        symptoms = [i for i in range(clause.first, clause.span.end) if self.passage.norm(i) in load_table("status")["culprit"]["subject"]]
        for thing in things:
            if thing.start == clause.span.start or thing.start == clause.first:
                if cleared and thing is things[0] and self._ends_cleared(clause):
                    yield self._plain(clause, thing.component, thing.place, FindingStatus.RULED_OUT, "cleared")
                continue
            denial = self.stances.denied(clause, thing.start, Span(thing.start, thing.start))
            lead = self.passage.norm(thing.start - 1)
            if denial is not None and thing.start - denial.end <= 1 and self._whole_answer(clause, thing):
                if thing.start == thing.span.start and self.passage.norm(denial.start) != "not":
                    continue
                if lead in ("no",) or self.passage.norm(denial.start) in ("no", "without", "never", "can't", "don't", "didn't", "won't", "nothing"):
                    continue
                yield self._plain(clause, thing.component, thing.place, FindingStatus.RULED_OUT, "denied")
                return
            if cleared and denial is None and self._ends_at(clause, thing):
                yield self._plain(clause, thing.component, thing.place, FindingStatus.RULED_OUT, "cleared")
                return
            if symptoms and symptoms[0] < thing.start and self.passage.norm(thing.start - 1) in BE | {"from", "was", "in", "at"} and denial is None:
                word = self.passage.norm(symptoms[0])
                condition = next((Condition(c) for c, words in load_table("status")["symptom"].items() if word in words), Condition.FAILED)
                yield self._plain(clause, thing.component, thing.place, FindingStatus.OBSERVED, "the culprit", condition)
                return
            guesses = [s for s in self.stances.hits("hedge", clause.span.start, thing.start + 1)]
            if (guesses or self.stances.of[clause.index].hypothesis) and self._ends_at(clause, thing) and denial is None and not self._verb_between(guesses, thing):
                yield self._plain(clause, thing.component, thing.place, FindingStatus.SUSPECTED, "suspected")
                return
            if lead in BE and self._ends_at(clause, thing, strict=True) and self.stances.hits("culprit.after", thing.span.end, clause.span.end):
                yield self._plain(clause, thing.component, thing.place, FindingStatus.OBSERVED, "the culprit")
                return

    def _verb_between(self, guesses: list[Span], thing: Thing) -> bool:
        """Whether a verb of its own stands between the doubt and the thing: "I think I'll pull the fan"."""
        start = guesses[-1].end if guesses else thing.start
        return any(self.clauses.tags[i][:2] == "VB" and self.passage.norm(i) not in BE for i in range(start, thing.start))

    def _whole_answer(self, clause: Clause, thing: Thing) -> bool:
        """"it's not the board telling it to", "not the compressor"."""
        return thing.span.end - clause.first <= 9 and not any(self.clauses.tags[i] in ("VBD", "VBZ") and self.passage.norm(i) not in BE for i in range(clause.first, thing.start))

    def _ends_at(self, clause: Clause, thing: Thing, *, strict: bool = False) -> bool:
        rest = [i for i in range(thing.span.end, clause.span.end)]
        if strict:
            return len(rest) <= 3
        return len(rest) <= 4 and not any(self.clauses.tags[i] in ("VBZ", "VBD", "MD", "VBP", "CD") or self.passage.tokens[i].is_digits for i in rest)

    def _ends_cleared(self, clause: Clause) -> bool:
        hits = self.stances.hits("cleared", clause.span.start, clause.span.end)
        return bool(hits) and hits[-1].end >= clause.span.end - 1

    def _plain(self, clause: Clause, component: str, place: str | None, status: FindingStatus, why: str, condition: Condition = Condition.FAILED) -> Claim:
        generic = condition is Condition.FAILED
        if generic:
            condition = Condition(load_table("components")["generic"].get(component, condition))
        return Claim(component, place, condition, status, clause, clause.first, clause.bare, (why,), generic=generic)


def first_oil(words: tuple[str, ...]) -> bool:
    """Whether a noun of state is oil, which counts only where it does not belong."""
    return "oil" in words


def _renamed(thing: Thing, component: str) -> Thing:
    return replace(thing, component=component)


def _placed(thing: Thing, place: str) -> Thing:
    return replace(thing, place=place)
