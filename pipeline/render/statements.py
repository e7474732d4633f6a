"""Findings, actions, parts and the rest of a draft as lines that a paper prints."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from extractors.facts import Action, ActionStatus, Evidence, Finding, FindingStatus, Part
from pipeline.draft import Draft
from pipeline.words import Words, capital
from pipeline.words.figures import Figure, clock, shown


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why something has to be heard again, and where."""

    where: str
    why: tuple[str, ...]
    others: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The whole remark: place, reasons, other possible figures."""
        return ": ".join(part for part in (self.where, "; ".join((*self.why, *self.others))) if part)


@dataclass(frozen=True, slots=True)
class Line:
    """One statement: the sentence, what the component does in plain words, doubt, and where it was said."""

    id: str
    text: str
    plain: str = ""
    name: str = ""
    doubt: Doubt | None = None
    said: str = ""
    at: str = ""
    was: Figure | None = None
    now: Figure | None = None
    earlier: tuple[Line, ...] = ()
    status: str = ""


@dataclass(frozen=True, slots=True)
class PartRow:
    """One part as the counter needs it."""

    id: str
    description: str
    component: str
    number: str
    serial: str
    quantity: str
    rating: str
    status: str
    doubt: Doubt | None
    at: str
    replaced: bool


class Statements:
    """Makes lines of one draft in one language."""

    def __init__(self, draft: Draft, words: Words, units_shown: str) -> None:
        """Takes the draft, the words of its papers, and the units that the shop shows."""
        self.draft = draft
        self.words = words
        self.units_shown = units_shown
        self.many_sources = len(draft.recordings) > 1

    def place(self, evidence: Evidence | None) -> str:
        """Where something was said: `4:12`, `line 14`, `recording 2, 4:12`; empty when nobody knows."""
        if evidence is None:
            return ""
        if evidence.start is not None:
            at = clock(evidence.start)
        elif evidence.line is not None:
            at = self.words("phrase.line", line=evidence.line)
        else:
            return ""
        if self.many_sources:
            return self.words("phrase.in_recording", n=evidence.recording + 1, at=at)
        return at

    def doubt(self, reasons: tuple[str, ...], evidence: Evidence | None, others: Iterable[Figure] = ()) -> Doubt | None:
        """The doubt of a fact; None when there is no reason for one."""
        if not reasons:
            return None
        at = self.place(evidence)
        if evidence is not None and evidence.start is None and evidence.line is not None:
            where = self.words("phrase.hear_line", line=evidence.line)
        else:
            where = self.words("phrase.hear_at", at=at) if at else self.words("phrase.hear_again")
        alternatives = tuple(self.words("phrase.or_figure", figure=other.text) for other in others)
        return Doubt(where, tuple(self.reason(reason) for reason in reasons), alternatives)

    def reason(self, reason: str) -> str:
        """A reason of the contract in words, with its half sentence."""
        head, colon, rest = reason.partition(":")
        key = f"reason.{head.strip()}"
        said = self.words(key) if self.words.has(key) else head.strip()
        return f"{said} ({rest.strip()})" if colon and rest.strip() else said

    def finding(self, finding: Finding) -> Line:
        """A finding as a sentence; its trail as earlier lines."""
        return Line(
            id=finding.id,
            text=self.condition(finding),
            plain=self.words.term(finding.component).plain,
            name=self.words.the(finding.component, finding.place),
            doubt=self.doubt(finding.confirm, finding.evidence),
            said=finding.evidence.quote,
            at=self.place(finding.evidence),
            status=self.words(f"status.{finding.status.value}"),
            earlier=tuple(
                Line(
                    id="",
                    text=self.words(f"status.{step.status.value}"),
                    said=step.evidence.quote or step.text,
                    at=self.place(step.evidence),
                )
                for step in finding.trail
            ),
        )

    def condition(self, finding: Finding) -> str:
        """The finding as a sentence without its full stop. A guess and what was ruled out say so themselves."""
        the = self.words.the(finding.component, finding.place)
        clause = self.words.clause(finding.condition.value, finding.component, the)
        if finding.status is FindingStatus.OBSERVED:
            return capital(clause)
        return self.words(f"statement.{finding.status.value}", clause=clause)

    def action(self, action: Action) -> Line:
        """An action as a sentence, with the setting before and after where it changed one."""
        term = self.words.term(action.component)
        the = self.words.the(action.component, action.place)
        form = "one" if action.status is ActionStatus.DONE else "todo"
        return Line(
            id=action.id,
            text=capital(self.words.deed(action.action.value, form, action.component, the)),
            plain=term.plain,
            name=the,
            doubt=self.doubt(action.confirm, action.evidence),
            said=action.evidence.quote,
            at=self.place(action.evidence),
            was=self._setting(action.was),
            now=self._setting(action.now),
            status=self.words(f"status.{action.status.value}"),
        )

    def _setting(self, reading_id: str | None) -> Figure | None:
        """The figure of a setting; None when there is none or its id is unknown."""
        reading = next((one for one in self.draft.readings if one.id == reading_id), None)
        return shown(reading, self.words, self.units_shown) if reading else None

    def part(self, part: Part) -> PartRow:
        """A part with dashes nowhere: what nobody said is empty and the template says so."""
        replaced = any(
            action.component == part.component and action.action.value == "replaced" and action.status.value == "done"
            for action in self.draft.actions
        )
        return PartRow(
            id=part.id,
            description=capital(part.description),
            component=self.words.term(part.component).name,
            number=part.part_number or "",
            serial=part.serial or "",
            quantity=str(part.quantity) if part.quantity is not None else "",
            rating=part.rating or "",
            status=self.words(f"status.{part.status.value}"),
            doubt=self.doubt(part.confirm, part.evidence),
            at=self.place(part.evidence),
            replaced=replaced and part.status.value == "used",
        )
