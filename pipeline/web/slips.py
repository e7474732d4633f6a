"""What the review page shows of a job: slips of facts with their figures, doubts, words and choices."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from extractors.facts import Action, Alternative, Evidence, Finding, Frozen, Part, Reading, Said, Stage
from extractors.units import units
from pipeline.desk import OpenJob
from pipeline.draft import Check, Draft, Verdict
from pipeline.edits_apply import Mark
from pipeline.edits_make import fact_named
from pipeline.review import Need, must_hear
from pipeline.words import Words, load_words
from pipeline.words.figures import clock, figure

BEFORE_S, AFTER_S = 2.0, 1.0
"""What is played around a figure."""

OTHER_ROLE = {"may be rated": "rated", "may be measured": "measured"}
"""The doubts that a role answers."""


def stem_of(reason: str) -> str:
    """The fixed words of a doubt."""
    return reason.partition(":")[0]


VISIT_NAMES = {
    "visit.customer": "Customer", "visit.site": "Site", "visit.contact": "Spoke with", "visit.technician": "Technician",
    "visit.date": "Day", "visit.arrived": "Arrived", "visit.left": "Left", "visit.reference": "Our number",
}  # fmt: skip
MACHINE_NAMES = {
    "equipment.type": "Kind", "equipment.make": "Make", "equipment.model": "Model", "equipment.serial": "Serial",
    "equipment.refrigerant": "Refrigerant", "equipment.location": "Where it stands",
}  # fmt: skip


@dataclass(frozen=True)
class Sound:
    """Where to play: which recording, from where to where, in seconds."""

    recording: int
    start: float
    end: float
    clock: str


@dataclass(frozen=True)
class Quote:
    """The words of a fact in three pieces: before, the doubtful ones, after."""

    before: str
    marked: str
    after: str


@dataclass(frozen=True)
class Slip:
    """One entry of the page. `handle` is its name for edits; `values` what its form begins with."""

    handle: str
    kind: str
    figure: str
    title: str
    detail: str
    quote: Quote | None
    sound: Sound | None
    line: int | None
    reasons: tuple[str, ...] = ()
    note: str = ""
    choices: tuple[str, ...] = ()
    other_role: str = ""
    """The role that the figure may have instead, to be chosen with one press."""
    must_hear: str = ""
    heard: bool = False
    accepted: bool = False
    changed: str = ""
    superseded: bool = False
    verdicts: tuple[tuple[str, str], ...] = ()
    can_accept: bool = True
    values: dict[str, Any] = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class GapRow:
    """A question, and what kind of answer it takes."""

    handle: str
    name: str
    question: str
    required: bool
    answer: str
    """field, reading, cause, proof, part, which or words."""
    values: dict[str, Any] = field(default_factory=dict)


class Page:
    """The slips of one job."""

    def __init__(self, opened: OpenJob, words: Words | None = None) -> None:
        """Takes the job; English where no other words are given."""
        self.opened = opened
        self.draft: Draft = opened.draft
        self.words = words or load_words()
        self._slips: dict[str, Slip] = {}
        self._checks: dict[str, list[Check]] = {}
        for check in self.draft.checks:
            for reading_id in check.readings:
                self._checks.setdefault(reading_id, []).append(check)
        self._of: dict[str, Need] = {}
        for need in opened.needs:
            self._of.setdefault(need.handle, need)

    @property
    def marks(self) -> Mapping[str, Mark]:
        """What was done about each entry."""
        return self.opened.replayed.marks

    def first(self) -> list[Slip]:
        """Figures and entries that need a person, the most pressing first, each once."""
        handles = dict.fromkeys(n.handle for n in self.opened.needs if n.kind not in ("gap", "unheard", "conflict"))
        slips = (self.slip(handle) for handle in handles)
        return [slip for slip in slips if slip is not None]

    def slip(self, handle: str) -> Slip | None:
        """The slip of one entry; None when there is none."""
        fact = fact_named(self.draft, handle)
        if isinstance(fact, Reading):
            return self._reading(fact)
        if isinstance(fact, Finding | Action | Part):
            return self._statement(handle, fact)
        if isinstance(fact, Said):
            return self._field(handle, fact)
        return None

    def readings(self) -> list[tuple[str, list[Slip]]]:
        """All readings by stage, in the order in which they were said."""
        names = ((Stage.AS_FOUND, "As found"), (Stage.AS_LEFT, "As left"), (None, "Plates, settings and the rest"))
        groups = []
        for stage, name in names:
            said = [self._reading(reading) for reading in self.draft.readings if reading.stage is stage]
            if said:
                groups.append((name, sorted(said, key=_when)))
        return groups

    def statements(self) -> list[tuple[str, str, list[Slip]]]:
        """Findings, actions and parts: heading, kind, slips."""
        rows: list[tuple[str, str, Iterable[Finding | Action | Part]]] = [
            ("Findings", "finding", self.draft.findings),
            ("Work", "action", self.draft.actions),
            ("Parts", "part", self.draft.parts),
        ]
        return [(name, kind, [self._statement(fact.id, fact) for fact in facts]) for name, kind, facts in rows]

    def fields(self, group: str) -> list[Slip]:
        """The fields of the visit or the equipment, empty ones as well."""
        names = VISIT_NAMES if group == "visit" else MACHINE_NAMES
        made = []
        for handle, name in names.items():
            said = fact_named(self.draft, handle)
            made.append(
                self._field(handle, said)
                if isinstance(said, Said)
                else Slip(handle, "field", "", name, "", None, None, None, can_accept=False, values={"value": ""})
            )
        return made

    def follow_ups(self) -> list[Slip]:
        """What somebody said he would come back for."""
        return [
            self._plain_slip(
                f"follow_up:{i}", "follow_up", item.text, item.date or item.when or "", item.evidence, item
            )
            for i, item in enumerate(self.draft.follow_ups)
        ]

    def machines(self) -> list[Slip]:
        """Further machines of the job."""
        made = []
        for i, machine in enumerate(self.draft.other_equipment):
            said = {name: getattr(machine, name) for name in type(machine).model_fields}
            values = {name: one.value if one is not None else "" for name, one in said.items()}
            title = " ".join(values[name] for name in ("make", "type", "model", "serial") if values[name])
            evidence = next((one.evidence for one in said.values() if one is not None and one.evidence), None)
            reasons = tuple(self.reason(reason) for one in said.values() if one is not None for reason in one.confirm)
            slip = self._plain_slip(f"machine:{i}", "machine", title or "another machine", "", evidence, machine)
            made.append(replace(slip, values=values, reasons=reasons, can_accept=False))
        return made

    def _plain_slip(
        self, handle: str, kind: str, title: str, detail: str, evidence: Evidence | None, fact: Frozen
    ) -> Slip:
        values = {name: _plain(value) for name, value in fact.model_dump(mode="json").items() if name != "evidence"}
        return Slip(
            handle=handle,
            kind=kind,
            figure="",
            title=title,
            detail=detail,
            quote=self._quote(evidence) if evidence else None,
            sound=self.sound(evidence),
            line=evidence.line if evidence else None,
            changed=self.changed(handle),
            values=values,
        )

    def gaps(self) -> list[GapRow]:
        """The questions, each with the kind of answer that it takes."""
        return [
            GapRow(f"gap:{i}", gap.field, gap.question, gap.required, *_answer(gap.field))
            for i, gap in enumerate(self.draft.gaps)
        ]

    def reason(self, reason: str) -> str:
        """A doubt in the words of the papers."""
        stem, _, rest = reason.partition(":")
        key = f"reason.{stem}"
        said = self.words(key) if self.words.has(key) else stem
        return f"{said}: {rest.strip()}" if rest.strip() else said

    def sound(self, evidence: Evidence | None) -> Sound | None:
        """Where a fact can be heard; None for text."""
        if evidence is None or evidence.start is None or not self.has_sound(evidence.recording):
            return None
        end = evidence.end if evidence.end is not None else evidence.start + 2.0
        return Sound(evidence.recording, evidence.start, end, clock(evidence.start))

    def has_sound(self, recording: int) -> bool:
        """Whether the recording of this number can be played."""
        recordings = self.opened.stored.recordings
        return (
            0 <= recording < len(recordings) and recordings[recording].peaks is not None and recordings[recording].kept
        )

    def unit_choices(self) -> list[tuple[str, str]]:
        """All units: the word of the data and how it is written."""
        return [(name, self.words(f"unit.{name}")) for name in units()]

    def changed(self, handle: str) -> str:
        """What people did to an entry, the last thing first: `Ann, 14 March: was 21.9`; empty when nothing."""
        mark = self.marks.get(handle)
        edits = [edit for edit in (mark.edits if mark else ()) if edit.kind.value not in ("heard", "accept", "link")]
        if not edits:
            return ""
        last = edits[-1]
        was = ", ".join(str(value) for name, value in last.was.items() if value is not None and name != "confirm")
        return f"{last.who} changed this{f'; it was {was}' if was else ''}"

    def _reading(self, reading: Reading) -> Slip:
        if reading.id not in self._slips:
            self._slips[reading.id] = self._reading_slip(reading)
        return self._slips[reading.id]

    def _reading_slip(self, reading: Reading) -> Slip:
        words = self.words
        term = words.term(reading.subject).name
        title = f"{term}, {reading.place}" if reading.place else term
        detail = [words(f"quantity.{reading.quantity.value}"), words(f"role.{reading.role.value}")]
        if reading.rating:
            detail.append(reading.rating.value)
        if reading.of:
            detail.append(reading.of)
        if reading.stage:
            detail.append(words(f"stage.{reading.stage.value}"))
        detail += [
            words(f"qualifier.{name.value}") for name in reading.qualifiers if words.has(f"qualifier.{name.value}")
        ]
        mark, need = self.marks.get(reading.id), self._of.get(reading.id)
        checks = self._checks.get(reading.id, [])
        return Slip(
            handle=reading.id,
            kind="reading",
            figure=figure(reading.value, reading.low, reading.high, reading.unit, words).text,
            title=title,
            detail=", ".join(detail),
            quote=self._quote(reading.evidence, reading),
            sound=self.sound(reading.evidence),
            line=reading.evidence.line,
            reasons=tuple(self.reason(reason) for reason in reading.confirm),
            note=need.text if need and need.kind in ("history", "outside") else "",
            choices=tuple(self._choice(reading, other) for other in reading.alternatives),
            other_role=next((OTHER_ROLE[one] for one in map(stem_of, reading.confirm) if one in OTHER_ROLE), ""),
            must_hear=must_hear(self.draft, reading),
            heard=bool(mark and mark.heard),
            accepted=bool(mark and mark.accepted),
            changed=self.changed(reading.id),
            superseded=reading.superseded_by is not None,
            verdicts=tuple(
                (check.verdict.value, check.message) for check in checks if check.verdict is not Verdict.IN_TOLERANCE
            )
            or tuple((check.verdict.value, check.message) for check in checks[:1]),
            values={
                "value": _plain(reading.value),
                "low": _plain(reading.low),
                "high": _plain(reading.high),
                "unit": reading.unit or "",
                "quantity": reading.quantity.value,
                "subject": reading.subject,
                "place": reading.place or "",
                "role": reading.role.value,
                "stage": reading.stage.value if reading.stage else "",
            },
        )

    def _choice(self, reading: Reading, other: Alternative) -> str:
        return figure(other.value, other.low, other.high, other.unit or reading.unit, self.words).text

    def _statement(self, handle: str, fact: Finding | Action | Part) -> Slip:
        words = self.words
        mark = self.marks.get(handle)
        if isinstance(fact, Finding):
            title, status, kind = fact.text, fact.status.value, "finding"
            detail = f"{words.term(fact.component).name}{f', {fact.place}' if fact.place else ''}"
            detail += f": {fact.condition.value.replace('_', ' ')}"
        elif isinstance(fact, Action):
            title, status, kind = fact.text, fact.status.value, "action"
            detail = f"{words.term(fact.component).name}{f', {fact.place}' if fact.place else ''}"
            detail += f": {fact.action.value.replace('_', ' ')}"
        else:
            title, status, kind = fact.description, fact.status.value, "part"
            detail = ", ".join(filter(None, (str(fact.quantity or ""), fact.part_number or "", fact.rating or "")))
        return Slip(
            handle=handle,
            kind=kind,
            figure="",
            title=title,
            detail=f"{detail} ({status.replace('_', ' ')})" if detail else status.replace("_", " "),
            quote=self._quote(fact.evidence),
            sound=self.sound(fact.evidence),
            line=fact.evidence.line,
            reasons=tuple(self.reason(reason) for reason in fact.confirm),
            heard=bool(mark and mark.heard),
            accepted=bool(mark and mark.accepted),
            changed=self.changed(handle),
            values={name: _plain(value) for name, value in _editable(fact).items()},
        )

    def _field(self, handle: str, said: Said) -> Slip:
        mark = self.marks.get(handle)
        names = {**VISIT_NAMES, **MACHINE_NAMES}
        return Slip(
            handle=handle,
            kind="field",
            figure=said.value,
            title=names.get(handle, handle),
            detail="written by hand" if said.given else "",
            quote=self._quote(said.evidence) if said.evidence else None,
            sound=self.sound(said.evidence),
            line=said.evidence.line if said.evidence else None,
            reasons=tuple(self.reason(reason) for reason in said.confirm),
            heard=bool(mark and mark.heard),
            accepted=bool(mark and mark.accepted),
            changed=self.changed(handle),
            values={"value": said.value},
        )

    def _quote(self, evidence: Evidence, reading: Reading | None = None) -> Quote | None:
        if not evidence.quote:
            return None
        if reading is None or not reading.confirm:
            return Quote(evidence.quote, "", "")
        said = evidence.quote
        for text in _written(reading):
            at = said.find(text)
            if at >= 0:
                return Quote(said[:at], text, said[at + len(text) :])
        return Quote("", said, "")


def _editable(fact: Frozen) -> dict[str, Any]:
    names = ("text", "component", "place", "condition", "status", "stage", "action", "description", "part_number")
    body = fact.model_dump(mode="json")
    return {name: body[name] for name in (*names, "serial", "quantity", "rating") if name in body}


def _plain(value: Any) -> Any:
    if value is None:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else value


def _written(reading: Reading) -> list[str]:
    """Ways in which the figure may stand in its words, the longest first."""
    values = [value for value in (reading.value, reading.low, reading.high) if value is not None]
    texts = {f"{value:.10g}" for value in values} | {f"{value:,.10g}" for value in values}
    return sorted(texts, key=len, reverse=True)


def _when(slip: Slip) -> tuple[float, int]:
    return (slip.sound.start if slip.sound else 1e9, slip.line or 0)


def _answer(name: str) -> tuple[str, dict[str, Any]]:
    """The kind of answer for a gap, and what its form begins with."""
    kind, *rest = name.split(":")
    if kind == "reading" and len(rest) == 3:
        return "reading", {"subject": rest[0], "quantity": rest[1], "role": rest[2], "stage": ""}
    if kind == "as_left" and len(rest) == 2:
        return "reading", {"subject": rest[0], "quantity": rest[1], "role": "measured", "stage": "as_left"}
    if kind in ("cause", "proof"):
        return kind, {}
    if kind == "part":
        return "part", {"component": rest[0] if rest else ""}
    if kind == "which":
        return "which", {"subject": rest[0] if rest else ""}
    return "field", {"handle": name}
