"""What single papers choose from a draft: the customer's few lines, the next technician's one page."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property

from extractors.facts import Action, ActionKind, ActionStatus, Condition, Finding, FindingStatus, Reading, Stage
from pipeline.draft import Gap, Verdict
from pipeline.render.pdf import drawable
from pipeline.render.pictures import data_address, inside, photo
from pipeline.render.statements import Doubt, Line, PartRow
from pipeline.render.tables import Pair, Row
from pipeline.render.view import Fact, View
from pipeline.shop import logo_bytes
from pipeline.words import capital, load_words
from pipeline.words.figures import Figure, aligned, clock, shown

MOST_PAIRS = 8
MOST_LAST = 8
TELLING_SUBJECTS = ("box", "product", "supply air", "compressor", "suction pressure", "head pressure", "superheat")
"""Whose figures stand first where not all have room."""
LOOKING = (ActionKind.TESTED, ActionKind.INSPECTED)
SWITCHING = (ActionKind.STARTED, ActionKind.SHUT_DOWN)


@dataclass(frozen=True, slots=True)
class HourRow:
    """A time that the office can bill, with where it was said or how it was reckoned."""

    what: str
    figure: Figure
    doubt: Doubt | None
    at: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """A picture: its address in the page, or none where it could not be read."""

    file: str
    caption: str
    at: str
    address: str


@dataclass(frozen=True, slots=True)
class SourceRow:
    """A recording as evidence."""

    file: str
    length: str
    sha256: str
    recorded: str
    grade: str


class PaperView(View):
    """The view of one paper."""

    @cached_property
    def called_for(self) -> bool:
        """Whether the job needs this paper without being asked for it."""
        return self.paper != "parts" or bool(self.draft.parts)

    @cached_property
    def logo(self) -> str:
        """The shop's logo inside the page; empty when there is none that can be printed."""
        found = logo_bytes(self.shop)
        if found is None or not drawable(*found):
            return ""
        address = data_address(*found)
        self.pictures[address] = found
        return address

    @cached_property
    def summary(self) -> str:
        """The draft's summary; in another language made anew, unless a person has written it."""
        from pipeline.summary import summary

        machine_made = not self.draft.summary or self.draft.summary == summary(self.draft)
        return summary(self.draft, self.shop.language) if machine_made else self.draft.summary

    # ---- time, pictures, sources ----------------------------------------------------------------

    @cached_property
    def hours(self) -> list[HourRow]:
        """Labor and travel as they were said, and the time on site by the clock, one billable line each."""
        rows = []
        for subject, key in (("labor", "work"), ("travel", "travel")):
            for one in self.draft.readings:
                if one.subject == subject and one.quantity.value == "duration" and one.superseded_by is None:
                    doubt = self.tables.doubt_of(one)
                    rows.append(HourRow(self.words(f"phrase.{key}"), shown(one, self.words), doubt, self.place(one)))
        stay = self._stay()
        return [*rows, stay] if stay is not None else rows

    @cached_property
    def photos(self) -> list[PhotoRow]:
        """Pictures with their captions; one that cannot be read is named all the same."""
        rows = []
        for number, one in enumerate(self.draft.photos, 1):
            path = inside(self.folder, one.file) if self.folder is not None else None
            data = photo(path) if path is not None else None
            address = data_address("jpg", data) if data else ""
            if data:
                self.pictures[address] = ("jpg", data)
            caption = capital(one.caption) or self.words("phrase.picture", n=number)
            at = clock(one.at) if one.at is not None else ""
            rows.append(PhotoRow(one.file, caption, at, address))
        return rows

    @cached_property
    def sources(self) -> list[SourceRow]:
        """The recordings with what proves that they are the same ones."""
        rows = []
        for one in self.draft.recordings:
            start, end = one.starts_s or 0.0, one.ends_s
            part = end is not None and one.duration_s is not None and (start > 0 or end < one.duration_s - 1)
            length = clock(one.duration_s) if one.duration_s is not None else ""
            if part and end is not None:
                length = self.words("phrase.no_unheard", start=clock(start), end=clock(end))
            recorded = self.date(one.recorded_at) if one.recorded_at else ""
            if recorded and one.recorded_at_from and one.recorded_at_from != "metadata":
                recorded = f"{recorded} ({self.words(f'recorded.{one.recorded_at_from}')})"
            grade = f"{round(one.grade * 100)}\u00a0%" if one.grade is not None else ""
            rows.append(SourceRow(one.file, length, one.sha256, recorded, grade))
        return rows

    @cached_property
    def made_with(self) -> str:
        """Program and speech model, so that the result can be made again."""
        made, words = self.draft.made_with, self.words
        parts = [f"{words('label.program')} jobtape {made.program}".strip()]
        if made.speech_model:
            parts.append(f"{words('label.speech')} {made.speech_model}")
        return ", ".join(parts) + "."

    def _stay(self) -> HourRow | None:
        """Time on site from arrival and leaving, where both are times of day."""
        arrived, left = self.draft.visit.arrived, self.draft.visit.left
        if arrived is None or left is None:
            return None
        start, end = _minutes(arrived.value), _minutes(left.value)
        if start is None or end is None or end <= start:
            return None
        hours, minutes = divmod(end - start, 60)
        text = self.words("phrase.hours_minutes", h=hours, min=minutes)
        doubt = self.statements.doubt((*arrived.confirm, *left.confirm), arrived.evidence)
        note = self.words("phrase.by_clock", arrived=arrived.value, left=left.value)
        return HourRow(self.words("phrase.on_site"), Figure(text, ""), doubt, "", note)

    @cached_property
    def key_needed(self) -> bool:
        """Whether a mark or a doubt stands on this paper that has to be explained."""
        return bool(self.verdicts_shown or self.doubt_shown)

    @cached_property
    def doubt_shown(self) -> bool:
        """Whether anything on this paper is marked as doubtful."""
        if self.paper != "customer":
            return bool(self.doubtful_figures or self.doubtful_statements)
        shown: list[Line | Fact | Pair | PartRow | HourRow] = [
            *self.causes, *self.found, *self.suspected, *self.done_for_customer, *self.planned, *self.recommended,
            *self.visit_for_customer, *self.machine_for_customer, *self.best_pairs, *self.hours,
            *self.parts_used, *self.parts_to_order,
        ]  # fmt: skip
        return any(one.doubt for one in shown)

    @cached_property
    def verdicts_shown(self) -> set[Verdict]:
        """Verdicts that stand on this paper: on the customer's only those of the table."""
        if self.paper != "customer":
            return {check.verdict for check in self.draft.checks}
        return {pair.judged.verdict for pair in self.best_pairs if pair.judged}

    # ---- customer -----------------------------------------------------------------------------

    @cached_property
    def visit_for_customer(self) -> list[Fact]:
        """Who, where, when, without how it came into the report."""
        left_out = {self.words(f"label.{name}") for name in ("contact", "arrived", "left")}
        return [replace(fact, given=False) for fact in self.visit if fact.label not in left_out]

    @cached_property
    def machine_for_customer(self) -> list[Fact]:
        """The machine's plate; its kind stands in the title."""
        return [replace(fact, given=False) for fact in self.equipment]

    @cached_property
    def in_order_names(self) -> list[str]:
        """Components that were looked at and in order, each once; doubtful ones are left to the shop's report."""
        return list(dict.fromkeys(line.name for line in self.in_order if line.doubt is None))

    @cached_property
    def done_for_customer(self) -> list[Line]:
        """Work done, without mere looking, measuring and switching."""
        wanted = [
            one
            for one in self.draft.actions
            if one.status is ActionStatus.DONE and one.action not in (*LOOKING, *SWITCHING)
        ]
        return [self.statements.action(one) for one in wanted]

    @cached_property
    def tested_names(self) -> list[str]:
        """Components that were tested or inspected, each once."""
        lines = [
            self.statements.action(one)
            for one in self.draft.actions
            if one.status is ActionStatus.DONE and one.action in LOOKING and not one.confirm
        ]
        return list(dict.fromkeys(line.name for line in lines))

    @cached_property
    def best_pairs(self) -> tuple[Pair, ...]:
        """The rows of before and after that tell most; all of them where they have room."""
        if len(self.pairs) <= MOST_PAIRS:
            return self.pairs

        def weight(pair: Pair) -> tuple[bool, int]:
            subject = str(pair.key[0])
            place = TELLING_SUBJECTS.index(subject) if subject in TELLING_SUBJECTS else len(TELLING_SUBJECTS)
            return pair.before is None or pair.judged is None, place

        chosen = sorted(self.pairs, key=weight)[:MOST_PAIRS]
        return tuple(pair for pair in self.pairs if pair in chosen)

    @cached_property
    def cautions(self) -> list[str]:
        """Safety notes in the paper's language; the sentence that closes them has a place of its own."""
        return [self.words.translated(one.text) for one in self.draft.cautions if _letters(one.text) != STANDING]

    @cached_property
    def questions(self) -> list[tuple[str, bool]]:
        """What nobody said, as questions, each with whether the report needs it."""
        return [(self._question(gap), gap.required) for gap in self.draft.gaps]

    def _question(self, gap: Gap) -> str:
        """A gap's question; in another language the one that its field stands for."""
        asked = self.words.table.get("asked", {})
        head, *rest = gap.field.split(":")
        pattern = asked.get(head)
        if not isinstance(pattern, str):
            return gap.question
        names = {"the": self.words.the(rest[0]) if rest else "", "quantity": "", "role": ""}
        for section, name in zip(("quantity", "role"), rest[1:], strict=False):
            if self.words.has(f"{section}.{name}"):
                names[section] = self.words(f"{section}.{name}")
        return self.words.smooth(pattern.format(**names))

    @cached_property
    def first_cautions(self) -> list[str]:
        """Safety notes that a customer must see before anything else."""
        from pipeline.cautions import for_the_top

        kept = {one.text for one in self.draft.cautions}
        return [self.words.translated(one.text) for one in for_the_top(self.draft) if one.text in kept]

    @cached_property
    def other_cautions(self) -> list[str]:
        """The other safety notes."""
        return [text for text in self.cautions if text not in self.first_cautions]

    # ---- parts and handover -------------------------------------------------------------------

    @cached_property
    def job_facts(self) -> list[Fact]:
        """What tells which job it is."""
        wanted = {self.words(f"label.{name}") for name in ("customer", "site", "technician", "date", "reference")}
        return [replace(fact, given=False) for fact in self.visit if fact.label in wanted]

    @cached_property
    def state_left(self) -> str:
        """Running, off, or that nobody said it: the last sure statement counts."""
        said: list[tuple[float, bool]] = []
        for number, one in enumerate(self.draft.actions):
            if one.action in SWITCHING and one.status is ActionStatus.DONE and not one.confirm:
                said.append((_order(one, number), one.action is ActionKind.STARTED))
        for number, finding in enumerate(self.draft.findings):
            runs = finding.condition is Condition.RUNNING
            sure = finding.status is FindingStatus.OBSERVED and not finding.confirm
            if sure and finding.stage is Stage.AS_LEFT and (runs or finding.condition is Condition.NOT_RUNNING):
                said.append((_order(finding, number), runs))
        if not said:
            return self.words("state.left_unknown")
        when, runs = max(said, key=lambda pair: pair[0])
        measured = [one.evidence.start for one in self.as_left() if one.evidence.start is not None]
        if not runs and measured and max(measured) > when:
            # What was measured after the switching off was measured on a machine that ran again.
            return self.words("state.left_unknown")
        return self.words("state.left_running" if runs else "state.left_off")

    @cached_property
    def bypassed(self) -> list[Line]:
        """Devices that were bypassed."""
        wanted = [
            one for one in self.draft.actions if one.action is ActionKind.BYPASSED and one.status is ActionStatus.DONE
        ]
        return [self.statements.action(one) for one in wanted]

    @cached_property
    def open_points(self) -> list[Line]:
        """Findings that nobody resolved, and guesses that nothing proved."""
        names = self.draft.diagnosis.open
        wanted = [one for one in self.draft.findings if one.id in names or one.status is FindingStatus.SUSPECTED]
        return self._findings(wanted)

    @cached_property
    def settings(self) -> list[Line]:
        """Settings that were changed."""
        wanted = [
            one
            for one in self.draft.actions
            if one.status is ActionStatus.DONE
            and (one.now or one.was or one.action in (ActionKind.SET, ActionKind.ADJUSTED))
        ]
        return [replace(self.statements.action(one), name=self._bare(one)) for one in wanted]

    def _bare(self, action: Action) -> str:
        """A component's name with its place, as the first column of a table has it."""
        name = self.words.term(action.component).name
        return capital(f"{name} ({action.place})" if action.place else name)

    def _telling(self, reading: Reading) -> tuple[bool, int]:
        """Judged figures and those of the subjects that tell most come first."""
        place = (
            TELLING_SUBJECTS.index(reading.subject) if reading.subject in TELLING_SUBJECTS else len(TELLING_SUBJECTS)
        )
        return reading.id not in self.tables.checks_of, place

    @cached_property
    def last_readings(self) -> list[tuple[str, Row]]:
        """The last figure of each thing measured after the work, aligned."""
        last: dict[tuple[object, ...], Reading] = {}
        for one in self.as_left():
            last[(one.subject, one.place, one.quantity, one.of, one.qualifiers)] = one
        names = {one.id for one in last.values()}
        rows = [(group.name, row) for group in self.groups for row in group.rows if row.id in names]
        if len(rows) > MOST_LAST:
            kept = sorted(last.values(), key=self._telling)[:MOST_LAST]
            rows = [pair for pair in rows if pair[1].id in {one.id for one in kept}]
        texts = aligned([row.figure.digits for _, row in rows], self.words)
        return [(group, replace(row, digits=text)) for (group, row), text in zip(rows, texts, strict=True)]


def _letters(text: str) -> str:
    """A sentence without its punctuation and case, to be compared."""
    return "".join(letter for letter in text.lower() if letter.isalpha())


STANDING = _letters(load_words()("phrase.safety_line"))
"""The sentence that closes the safety notes."""


def _order(fact: Action | Finding, number: int) -> float:
    """When a fact was said; by its place in the draft where it has no time."""
    start = fact.evidence.start
    return start if start is not None else float(number)


def _minutes(text: str) -> int | None:
    """Minutes after midnight of `8:10`, `08:10`, `2:05 pm`; None for anything else."""
    found = re.fullmatch(r"(\d{1,2}):(\d{2})\s*(?:([ap])\.?m\.?)?", text.strip().lower())
    if not found:
        return None
    hour, minute, half = int(found[1]), int(found[2]), found[3]
    if minute > 59 or hour > (12 if half else 23):
        return None
    return (hour % 12 + (12 if half == "p" else 0) if half else hour) * 60 + minute
