"""A draft as a paper sees it: every text ready to print, in one language, nothing computed that is not in the draft."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from extractors.facts import Action, ActionStatus, Finding, FindingStatus, PartStatus, Reading, Role, Said, Stage
from pipeline.draft import Draft, Verdict
from pipeline.render.charts import Chart, Charts
from pipeline.render.statements import Doubt, Line, PartRow, Statements
from pipeline.render.tables import Compared, Group, Pair, Row, Tables
from pipeline.shop import Shop
from pipeline.words import Words, capital
from pipeline.words.figures import clock

FINE = ("normal", "running")
"""Conditions that are no fault."""


@dataclass(frozen=True, slots=True)
class Review:
    """Who checked the draft: what the edits beside it say."""

    checked_by: str = ""
    checked_on: str = ""
    version: str = ""
    changes: int = 0


@dataclass(frozen=True, slots=True)
class Fact:
    """A labelled field of the visit or the machine."""

    label: str
    value: str
    given: bool = False
    doubt: Doubt | None = None
    code: bool = False
    """A model or serial number: set with a slashed zero."""


class View:
    """What the templates of papers read. `paper` is the name of the one being made."""

    def __init__(
        self, draft: Draft, shop: Shop, words: Words, paper: str, review: Review, folder: Path | None = None
    ) -> None:
        """Takes the draft, the shop, the words, which paper it is, who checked, and where its pictures lie."""
        self.draft = draft
        self.shop = shop
        self.words = words
        self.paper = paper
        self.review = review
        self.folder = folder
        self.pictures: dict[str, tuple[str, bytes]] = {}
        units = shop.units_shown
        self.statements = Statements(draft, words, units)
        self.tables = Tables(draft, words, units, self.statements)

    # ---- heading ------------------------------------------------------------------------------

    @cached_property
    def title(self) -> str:
        """The paper's name."""
        return self.words(f"paper.{self.paper}")

    @cached_property
    def machine(self) -> str:
        """The machine as the title names it."""
        said = self.draft.equipment.type
        name = " ".join(said.value.split()) if said else ""
        return capital(name or self.words("paper.unnamed"))

    @cached_property
    def document_title(self) -> str:
        """One line for the title bar and the PDF's title."""
        parts = [self.words("paper.of_machine", paper=self.title, machine=self.machine)]
        for field in (self.draft.visit.customer, self.draft.visit.date):
            if field is not None:
                parts.append(field.value if field is self.draft.visit.customer else self.date(field.value))
        return shortened(", ".join(shortened(part, 70) for part in parts), 150)

    def date(self, text: str) -> str:
        """A date in the shop's form; words that are no ISO date stay as they were said."""
        found = re.fullmatch(r"(\d{4})-(\d{2})-(\d{2})(?:[T ].*)?", text.strip())
        if not found:
            return text
        year, month, day = found.groups()
        if self.shop.date_form == "iso":
            return f"{year}-{month}-{day}"
        if self.shop.date_form == "month first":
            return f"{month}/{day}/{year}"
        if self.shop.date_form == "day first":
            return f"{day}.{month}.{year}"
        if not 1 <= int(month) <= 12:
            return text
        return self.words("date.long", day=int(day), month=self.words(f"date.month_{int(month)}"), year=year)

    def fact(self, name: str, said: Said | None, *, code: bool = False) -> Fact | None:
        """A field with its label; None when nobody said it."""
        if said is None:
            return None
        value = self.date(said.value) if name == "date" else said.value
        doubt = self.statements.doubt(said.confirm, said.evidence)
        return Fact(self.words(f"label.{name}"), value, said.given, doubt, code)

    @cached_property
    def shop_line(self) -> str:
        """Address, telephone and licences of the shop in one line."""
        shop = self.shop
        parts = [*shop.address, shop.phone, shop.email]
        if shop.licences:
            parts.append(self.words("phrase.licences", numbers=", ".join(shop.licences)))
        return " · ".join(part for part in parts if part)

    @cached_property
    def visit(self) -> list[Fact]:
        """Who, where, when."""
        visit = self.draft.visit
        names = ("customer", "site", "contact", "technician", "date", "arrived", "left", "reference")
        facts = [self.fact(name, getattr(visit, name)) for name in names]
        if visit.technician and self.shop.certificate(visit.technician.value):
            facts.append(Fact(self.words("label.certificate"), self.shop.certificate(visit.technician.value)))
        return [fact for fact in facts if fact]

    @cached_property
    def equipment(self) -> list[Fact]:
        """The machine's plate."""
        facts = self._machine_facts(self.draft.equipment)
        kind = self.words("label.type")
        # The machine's kind is the title; it is told again only where there is a doubt or a remark to go with it.
        return [fact for fact in facts if fact.label != kind or fact.doubt or fact.given]

    def _machine_facts(self, equipment: object) -> list[Fact]:
        names = ("type", "make", "model", "serial", "refrigerant", "location")
        facts = [self.fact(name, getattr(equipment, name), code=name in ("model", "serial")) for name in names]
        return [fact for fact in facts if fact]

    @cached_property
    def other_machines(self) -> list[list[Fact]]:
        """Further machines of the job that have at least one field."""
        return [facts for facts in map(self._machine_facts, self.draft.other_equipment) if facts]

    # ---- what is open -------------------------------------------------------------------------

    @cached_property
    def doubtful_figures(self) -> list[Reading]:
        """Figures that have to be heard again; corrected ones do not count."""
        return [one for one in self.draft.readings if one.confirm and one.superseded_by is None]

    @cached_property
    def doubtful_rows(self) -> list[tuple[str, Row]]:
        """The same figures as rows, each with its component, in the order of the recording."""
        wanted = {one.id for one in self.doubtful_figures}
        rows = {row.id: (group.name, row) for group in self.groups for row in group.rows if row.id in wanted}
        return [rows[one.id] for one in self.doubtful_figures]

    @cached_property
    def doubtful_statements(self) -> int:
        """Everything else that has to be heard again."""
        draft = self.draft
        fields = [getattr(draft.visit, name) for name in type(draft.visit).model_fields]
        for machine in (draft.equipment, *draft.other_equipment):
            fields += [getattr(machine, name) for name in type(machine).model_fields]
        facts = [*draft.findings, *draft.actions, *draft.parts, *(one for one in fields if one is not None)]
        return sum(1 for fact in facts if fact.confirm)

    @cached_property
    def open_items(self) -> list[str]:
        """What keeps the paper a draft, in words; empty when it may go out."""
        words, items = self.words, []
        required = sum(1 for gap in self.draft.gaps if gap.required)
        for key, number in (
            ("figures", len(self.doubtful_figures)),
            ("statements", self.doubtful_statements),
            ("questions", required),
        ):
            if number:
                items.append(words.count(f"draft.{key}", number))
        if self.draft.status == "partial":
            items.append(words("draft.failed"))
        return items

    @cached_property
    def is_draft(self) -> bool:
        """Whether the paper carries the DRAFT mark."""
        return bool(self.open_items)

    @cached_property
    def open_line(self) -> str:
        """One sentence of what is open."""
        return self.words("draft.still_open", what=self.words.series(self.open_items)) if self.is_draft else ""

    @cached_property
    def made_line(self) -> str:
        """Whether it was drafted from sound or text, and who checked it."""
        words, review = self.words, self.review
        text_only = self.draft.made_with.hearing == "imported"
        parts = [words("paper.drafted_text" if text_only else "paper.drafted")]
        if review.checked_by and review.checked_on:
            parts.append(words("paper.checked", who=review.checked_by, when=self.date(review.checked_on)))
        elif review.checked_by:
            parts.append(words("paper.checked_when_unknown", who=review.checked_by))
        else:
            parts.append(words("paper.unchecked"))
        if review.version:
            parts.append(words("paper.version", version=review.version))
        if review.changes:
            parts.append(words.count("paper.changes", review.changes))
        return " ".join(parts)

    # ---- statements ---------------------------------------------------------------------------

    def _findings(self, wanted: Sequence[Finding]) -> list[Line]:
        return [self.statements.finding(finding) for finding in wanted]

    @cached_property
    def causes(self) -> list[Line]:
        """Findings that the diagnosis names as causes."""
        names = self.draft.diagnosis.causes
        return self._findings([one for one in self.draft.findings if one.id in names])

    @cached_property
    def found(self) -> list[Line]:
        """Faults that were seen, without the causes."""
        names = self.draft.diagnosis.causes
        return self._findings(
            [
                one
                for one in self.draft.findings
                if one.status is FindingStatus.OBSERVED and one.condition.value not in FINE and one.id not in names
            ]
        )

    @cached_property
    def in_order(self) -> list[Line]:
        """What was looked at and was in order."""
        return self._findings(
            [one for one in self.draft.findings if one.status is FindingStatus.OBSERVED and one.condition.value in FINE]
        )

    @cached_property
    def suspected(self) -> list[Line]:
        """Guesses that nothing proved or cleared."""
        names = self.draft.diagnosis.causes
        return self._findings(
            [one for one in self.draft.findings if one.status is FindingStatus.SUSPECTED and one.id not in names]
        )

    @cached_property
    def ruled_out(self) -> list[Line]:
        """What was looked for and was not there."""
        return self._findings([one for one in self.draft.findings if one.status is FindingStatus.RULED_OUT])

    def _actions(self, status: ActionStatus) -> list[Line]:
        return [self.statements.action(one) for one in self.draft.actions if one.status is status]

    @cached_property
    def done(self) -> list[Line]:
        """Work that is done."""
        return self._actions(ActionStatus.DONE)

    @cached_property
    def planned(self) -> list[Line]:
        """Work that the technician will do."""
        return self._actions(ActionStatus.PLANNED)

    @cached_property
    def recommended(self) -> list[Line]:
        """Work for the customer to decide."""
        return self._actions(ActionStatus.RECOMMENDED)

    def _parts(self, status: PartStatus) -> list[PartRow]:
        return [self.statements.part(one) for one in self.draft.parts if one.status is status]

    @cached_property
    def parts_used(self) -> list[PartRow]:
        """Parts that went in."""
        return self._parts(PartStatus.USED)

    @cached_property
    def parts_to_order(self) -> list[PartRow]:
        """Parts to get."""
        return self._parts(PartStatus.TO_ORDER)

    @cached_property
    def parts_on_hand(self) -> list[PartRow]:
        """Parts that are there and were not used."""
        return self._parts(PartStatus.ON_HAND)

    # ---- figures ------------------------------------------------------------------------------

    @cached_property
    def groups(self) -> tuple[Group, ...]:
        """All readings by component."""
        return self.tables.groups()

    @cached_property
    def pairs(self) -> tuple[Pair, ...]:
        """Before and after."""
        return self.tables.pairs()

    @cached_property
    def charts(self) -> list[Chart]:
        """Drawings: series, legs, figures on their bands."""
        charts = Charts(self.draft, self.words, self.shop.units_shown, self.tables, self.shop.folder)
        return charts.few() if self.paper == "customer" else charts.all()

    @cached_property
    def compared(self) -> tuple[Compared, ...]:
        """All comparisons, the worst first."""
        return self.tables.compared()

    @cached_property
    def verdicts_shown(self) -> set[Verdict]:
        """Verdicts that stand on this paper."""
        return {check.verdict for check in self.draft.checks}

    @cached_property
    def marks_used(self) -> list[tuple[str, str, str]]:
        """Marks that stand on this paper, each with its word and its explanation."""
        used = self.verdicts_shown
        order = (Verdict.IN_TOLERANCE, Verdict.MARGINAL, Verdict.OUT_OF_TOLERANCE, Verdict.NO_REFERENCE)
        names = {Verdict.MARGINAL: "marginal_high", Verdict.OUT_OF_TOLERANCE: "out_of_tolerance_high"}
        return [
            (
                names.get(verdict, verdict.value),
                self.words(f"verdict.{verdict.value}"),
                self.words(f"key.{verdict.value}"),
            )
            for verdict in order
            if verdict in used
        ]

    def place(self, fact: Reading | Finding | Action) -> str:
        """Where a fact was said."""
        return self.statements.place(fact.evidence)

    def clock(self, seconds: float) -> str:
        """A place in a recording."""
        return clock(seconds)

    def as_left(self) -> list[Reading]:
        """Measured figures after the work, corrected ones left out."""
        return [
            one
            for one in self.draft.readings
            if one.stage is Stage.AS_LEFT and one.role is Role.MEASURED and one.superseded_by is None
        ]


def shortened(text: str, length: int) -> str:
    """A text on one line of at most so many letters."""
    text = " ".join(text.split())
    return text if len(text) <= length else text[: length - 1].rstrip() + "…"


def whole(draft: Draft) -> Draft:
    """The draft without comparisons and series that rest on a reading which is there no more.

    A person may delete a reading; a verdict on it must not outlive it on paper.
    """
    there = {one.id for one in draft.readings}
    checks = tuple(check for check in draft.checks if there.issuperset(check.readings))
    trends = tuple(one for one in draft.trends if there.issuperset(point.reading for point in one.points))
    if len(checks) == len(draft.checks) and len(trends) == len(draft.trends):
        return draft
    return draft.model_copy(update={"checks": checks, "trends": trends})
