"""Two to five sentences for the customer, built from the facts of a draft and from nothing else.

Order: what was reported, what caused it, what was done, what shows that it works, what is open. A fact that has
to be heard again is said as doubtful or left out, and every number is that of a reading.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from extractors.facts import (
    Action,
    ActionKind,
    ActionStatus,
    Finding,
    FindingStatus,
    PartStatus,
    Qualifier,
    Quantity,
    Reading,
    Role,
    Stage,
)
from pipeline.draft import Draft, Trend, Verdict
from pipeline.words import DEFAULT, Words, capital, load_words
from pipeline.words.figures import judged, shown

MOST_CAUSES = 3
MOST_WORK = 6
MOST_OPEN = 3
LONGEST_COMPLAINT = 160
"""Letters. A complaint is a sentence here, not a story."""


@cache
def _order() -> dict[str, tuple[str, ...]]:
    """The lists of summary.toml."""
    with Path(__file__).with_name("summary.toml").open("rb") as file:
        return {name: tuple(words) for name, words in tomllib.load(file).items()}


def _place(name: str, word: str) -> int:
    """The place of a word in a list, the first being 0; behind all others where it is not in it."""
    words = _order()[name]
    return words.index(word) if word in words else len(words)


def _in(name: str, word: str) -> bool:
    """Whether a list holds a word."""
    return word in _order()[name]


def summary(draft: Draft, language: str = DEFAULT) -> str:
    """The summary of a draft in a language that has a catalogue of words."""
    teller = _Teller(draft, load_words(language))
    # A unit may end in a full stop of its own.
    return " ".join(capital(sentence).replace("..", ".") for sentence in teller.sentences())


@dataclass
class _Teller:
    """Builds the sentences of one draft; remembers which components it has explained already."""

    draft: Draft
    words: Words
    explained: set[str] = field(default_factory=set)

    def sentences(self) -> list[str]:
        """Two to five sentences."""
        told = [self._complaint(), self._cause(), self._remedy(), self._proof(), self._open()]
        kept = [sentence for sentence in told if sentence]
        if not kept:
            failed = self.draft.status == "partial"
            return [self.words("summary.failed" if failed else "summary.nothing"), self.words("summary.nothing_do")]
        return kept if len(kept) > 1 else [*kept, self.words("summary.no_more")]

    # ---- components ---------------------------------------------------------------------------

    def _the(self, component: str, place: str | None = None) -> str:
        """A component with its article; in plain words beside it when it is named for the first time."""
        name = component if component in self.words.table["component"] else _without_numbers(component)
        place = place if place and not any(letter.isdigit() for letter in place) else None
        plain = "" if component in self.explained else self.words.term(name).plain
        self.explained.add(component)
        return self.words.the(name, place, plain)

    def _clause(self, finding: Finding) -> str:
        """A finding's clause: "the contactor (the heavy switch …) was burnt"."""
        the = self._the(finding.component, finding.place)
        return self.words.clause(finding.condition.value, finding.component, the)

    # ---- the five sentences -------------------------------------------------------------------

    def _complaint(self) -> str:
        """What the customer reported, in the words that were said, without figures that are no readings."""
        if self.draft.complaint is None:
            return ""
        text = _without_loose_figures(self.draft.complaint.text.strip().rstrip(".!?… "))
        return self.words("summary.complaint", text=capital(text)) if text else ""

    def _cause(self) -> str:
        """The causes, or what was found, or that nothing was; the most certain that can be said."""
        draft, words = self.draft, self.words
        causes = [one for one in draft.findings if one.id in draft.diagnosis.causes and _holds(one)]
        for wanted, sure in (("cause", True), ("cause_unsure", False)):
            chosen = _one_each(one for one in causes if _sure(one) is sure)
            if chosen:
                return words(f"summary.{wanted}", clauses=self._clauses(chosen[:MOST_CAUSES]))
        faults = [one for one in draft.findings if not _in("fine", one.condition) and _holds(one)]
        seen = [one for one in faults if one.status is FindingStatus.OBSERVED and one.stage is not Stage.AS_LEFT]
        for wanted, pool in (
            ("found", [one for one in seen if not one.confirm]),
            ("found_unsure", [one for one in seen if one.confirm]),
            ("suspected", [one for one in faults if one.status is FindingStatus.SUSPECTED]),
        ):
            chosen = self._worked_on_first(_one_each(pool))
            if chosen:
                return words(f"summary.{wanted}", clauses=self._clauses(chosen[:MOST_CAUSES]))
        fine = _one_each(
            one for one in draft.findings if _in("fine", one.condition) and _holds(one) and not one.confirm
        )
        if fine and draft.complaint is None:
            items = [self._the(one.component, one.place) for one in fine[:MOST_WORK]]
            return words("summary.in_order", items=words.series(items))
        return words("summary.no_cause") if draft.complaint is not None and self._work() else ""

    def _clauses(self, findings: list[Finding]) -> str:
        return self.words.series([self._clause(one) for one in findings])

    def _worked_on_first(self, findings: list[Finding]) -> list[Finding]:
        """Findings on components that work was done on before the others."""
        touched = {one.component for one in self._work()}
        return sorted(findings, key=lambda one: one.component not in touched)

    def _work(self) -> list[Action]:
        """Work that is done and that a customer wants to read of."""
        remedies = set(self.draft.diagnosis.remedies)
        done = [
            one
            for one in self.draft.actions
            if one.status is ActionStatus.DONE
            and _in("work", one.action)
            and (not _in("on_the_way", one.action) or one.id in remedies)
        ]
        return sorted(done, key=lambda one: one.id not in remedies and one.action is not ActionKind.BYPASSED)

    def _remedy(self) -> str:
        """What was done, what was done to the cause first; several components of one kind of work together."""
        work = self._work()
        sure = [one for one in work if not one.confirm]
        chosen = sure or work
        if not chosen:
            return ""
        weighty = sorted(chosen, key=lambda one: _place("work", one.action))[:MOST_WORK]
        kept = [one for one in chosen if one in weighty]
        phrases: list[str] = []
        for kind in dict.fromkeys(one.action for one in kept):
            settings = [one for one in kept if one.action is kind and self._change(one)]
            plain = [one for one in kept if one.action is kind and one not in settings]
            things = list(dict.fromkeys((one.component, one.place) for one in plain))
            if things:
                series = self.words.series([self._the(*thing) for thing in things]) if not _in("whole", kind) else ""
                phrases.append(self.words.deed(kind.value, "one", things[0][0], series))
            for one in settings:
                done = self.words.deed(kind.value, "one", one.component, self._the(one.component, one.place))
                phrases.append(f"{done} {self._change(one)}")
        if len(chosen) > MOST_WORK:
            phrases.append(self.words("summary.further"))
        return self.words("summary.did" if sure else "summary.did_unsure", work=self.words.series(phrases))

    def _change(self, action: Action) -> str:
        """The setting before and after, where both figures are sure."""
        was, now = self._reading(action.was), self._reading(action.now)
        if now is None:
            return ""
        if was is None:
            return self.words("phrase.set_to", now=self._figure(now))
        return self.words("phrase.from_to", was=self._figure(was), now=self._figure(now))

    # ---- proof --------------------------------------------------------------------------------

    def _reading(self, name: str | None) -> Reading | None:
        """A reading by its id if it is sure."""
        return next((one for one in self.draft.readings if one.id == name and _firm(one)), None)

    def _figure(self, reading: Reading) -> str:
        """A figure in a sentence, as it was said: the sign before it becomes a word."""
        text = shown(reading, self.words).text
        for mark, sign in ((Qualifier.APPROXIMATE, "≈"), (Qualifier.AT_LEAST, "≥"), (Qualifier.AT_MOST, "≤")):
            text = text.replace(f"{sign}\u202f", self.words(f"qualifier.{mark.value}") + " ")
        return text

    def _what(self, reading: Reading) -> str:
        """What was measured, in words: "the temperature of the box"."""
        key = "itself" if _in("self_named", reading.subject) else reading.quantity.value
        return self.words(f"measured.{key}", the=self._the(reading.subject, reading.place))

    def _proof(self) -> str:
        """What was measured after the work: a series, a figure before and after, or one that lies within bounds."""
        after = [one for one in self.draft.readings if _left(one)]
        firm = [
            one for one in after if _firm(one) and _telling(one) and self._verdict(one) is not Verdict.OUT_OF_TOLERANCE
        ]
        wanted = self._proving_ids()
        firm = self._last_of_each(firm)  # while they stand in the order of the telling
        firm.sort(key=lambda one: (_place("proving", one.subject), one.id not in wanted))
        for last in firm:
            sentence = self._before_and_after(last) or self._series(last)
            if sentence or _in("proving", last.subject):
                return sentence or self._after(last)
        for last in firm:
            if last.id in wanted or self._verdict(last) is Verdict.IN_TOLERANCE:
                return self._after(last)
        runs = [
            one
            for one in self.draft.findings
            if _in("fine", one.condition) and one.stage is Stage.AS_LEFT and _holds(one) and not one.confirm
        ]
        if runs:
            return self.words("summary.runs", clauses=self._clauses(_one_each(runs)[:2]))
        if not self._work():
            return ""
        return self.words("summary.unsure_proof" if any(one.confirm for one in after) else "summary.no_proof")

    def _after(self, last: Reading) -> str:
        """What was measured after the work, by itself."""
        return self.words("summary.after", what=self._what(last), after=self._figure(last))

    def _proving_ids(self) -> set[str]:
        """Readings that the diagnosis names as proof, those of its comparisons among them."""
        proof = set(self.draft.diagnosis.proof)
        return proof | {name for check in self.draft.checks if check.id in proof for name in check.readings}

    def _last_of_each(self, readings: list[Reading]) -> list[Reading]:
        """Of a series only its last figure."""
        last: dict[tuple[object, ...], Reading] = {}
        for one in readings:
            last[_series_key(one)] = one
        return list(last.values())

    def _verdict(self, reading: Reading) -> Verdict | None:
        """The worst verdict on a reading."""
        order = (Verdict.OUT_OF_TOLERANCE, Verdict.MARGINAL, Verdict.IN_TOLERANCE, Verdict.NO_REFERENCE)
        by_id = {one.id: one for one in self.draft.readings}
        verdicts = [
            check.verdict
            for check in self.draft.checks
            if reading.id in check.readings
            and judged(check.rule, [by_id[name] for name in check.readings if name in by_id]) is reading
        ]
        return min(verdicts, key=order.index, default=None)

    def _before_and_after(self, last: Reading) -> str:
        """The same thing before the work and after it."""
        for one in self.draft.readings:
            before = one.stage is Stage.AS_FOUND and one.role is Role.MEASURED and _firm(one)
            if before and _same(one, last) and _moved(one, last):
                return self.words(
                    "summary.pair", what=self._what(last), before=self._figure(one), after=self._figure(last)
                )
        return ""

    def _series(self, last: Reading) -> str:
        """A figure that moved after the work, with the running time where that was said."""
        for trend in self.draft.trends:
            ends = (
                [self._reading(trend.points[0].reading), self._reading(trend.points[-1].reading)]
                if trend.points
                else []
            )
            if len(trend.points) < 2 or ends[1] is None or ends[1].id != last.id or ends[0] is None:
                continue
            time = self._running_time(trend)
            return self.words(
                "summary.series_time" if time else "summary.series",
                what=self._what(last),
                first=self._figure(ends[0]),
                last=self._figure(last),
                time=time,
            )
        return ""

    def _running_time(self, trend: Trend) -> str:
        """The time of a series' last point, where it was said as a figure of its own."""
        in_minutes = {"min": 1.0, "h": 60.0}
        for one in self.draft.readings:
            if one.quantity is not Quantity.DURATION or not _firm(one) or one.value is None:
                continue
            minutes = one.value * in_minutes.get(one.unit or "", 0.0)
            if minutes and abs(minutes - trend.points[-1].minutes) < 0.5:
                return self._figure(one)
        return ""

    # ---- what is open -------------------------------------------------------------------------

    def _open(self) -> str:
        """What comes next, what is to be ordered, decided or settled; each component once."""
        draft, items, told = self.draft, [], set()
        for reading in self._last_of_each([one for one in draft.readings if _left(one)]):
            outside = _firm(reading) and self._verdict(reading) is Verdict.OUT_OF_TOLERANCE
            if outside and reading.subject not in told:
                told.add(reading.subject)
                items.append(self.words("summary.outside", what=self._what(reading), after=self._figure(reading)))
        for status, key in ((ActionStatus.PLANNED, "planned"), (ActionStatus.RECOMMENDED, "recommended")):
            work: list[str] = []
            for one in draft.actions:
                told_already = one.component in told or _in("switching", one.action)
                if one.status is status and not one.confirm and not told_already and len(work) < MOST_OPEN:
                    told.add(one.component)
                    work.append(
                        self.words.deed(one.action.value, "todo", one.component, self._the(one.component, one.place))
                    )
            if work:
                items.append(self.words(f"summary.{key}", work=self.words.series(work)))
        orders = [one for one in draft.parts if one.status is PartStatus.TO_ORDER and not one.confirm]
        parts = list(dict.fromkeys(one.component for one in orders if one.component not in told))
        if parts:
            told.update(parts)
            items.append(self.words("summary.to_order", items=self.words.series([self._the(one) for one in parts])))
        for finding in draft.findings:
            if finding.id in draft.diagnosis.open and _sure(finding) and finding.component not in told:
                told.add(finding.component)
                items.append(self._clause(finding))
        return self.words("summary.open", items="; ".join(items[:MOST_OPEN])) if items else ""


def _holds(finding: Finding) -> bool:
    """Whether a finding was not ruled out."""
    return finding.status is not FindingStatus.RULED_OUT


def _sure(finding: Finding) -> bool:
    """Seen, and with nothing left to confirm."""
    return finding.status is FindingStatus.OBSERVED and not finding.confirm


def _firm(reading: Reading) -> bool:
    """A figure that stands: nothing to confirm, not corrected later."""
    return not reading.confirm and reading.superseded_by is None


def _left(reading: Reading) -> bool:
    """Measured after the work."""
    return reading.stage is Stage.AS_LEFT and reading.role is Role.MEASURED


def _telling(reading: Reading) -> bool:
    """Whether a figure can tell a customer that the machine works.

    A passing peak cannot, nor what a part measures by itself, nor the supply, nor the weather. Times are told with
    what they belong to.
    """
    tells = _in("results", reading.quantity) and not _in("given", reading.subject)
    return tells and not any(_in("passing", mark) for mark in reading.qualifiers)


def _series_key(reading: Reading) -> tuple[object, ...]:
    """What makes two readings figures of the same thing."""
    special = tuple(mark for mark in reading.qualifiers if mark is not Qualifier.APPROXIMATE)
    return reading.subject, reading.place, reading.quantity, reading.of, reading.unit, special


def _same(one: Reading, other: Reading) -> bool:
    """Whether two readings are of the same thing."""
    return _series_key(one) == _series_key(other)


def _moved(one: Reading, other: Reading) -> bool:
    """Whether two figures differ by more than a twentieth; ranges do not count."""
    if one.value is None or other.value is None:
        return False
    return abs(one.value - other.value) > 0.05 * max(abs(one.value), abs(other.value))


def _one_each(findings: Iterable[Finding]) -> list[Finding]:
    """One finding a component and place, the one that says most, in the order of first mention."""
    best: dict[tuple[str, str | None], Finding] = {}

    def weight(finding: Finding) -> int:
        return _place("telling", finding.condition)

    for one in findings:
        key = (one.component, one.place)
        if key not in best or weight(one) < weight(best[key]):
            best[key] = one
    return list(best.values())


def _without_numbers(noun: str) -> str:
    """A noun without the words that hold digits: no number stands in the summary that is no reading."""
    kept = [word for word in noun.split() if not any(letter.isdigit() for letter in word)]
    return " ".join(kept) or noun


def _without_loose_figures(text: str) -> str:
    """A complaint without the clauses that hold figures: they are the customer's and nobody measured them."""
    clauses = re.split(r"(?<=[,;.])\s+|\s+(?=(?:and|but)\s)", text)
    kept = [clause for clause in clauses if not any(letter.isdigit() for letter in clause)]
    joined = " ".join(kept).strip(" ,;.")
    joined = re.sub(r"^(?:and|but)\s+", "", joined)
    if len(joined) <= LONGEST_COMPLAINT:
        return joined
    return joined[:LONGEST_COMPLAINT].rpartition(" ")[0].rstrip(" ,;.") + " …"
