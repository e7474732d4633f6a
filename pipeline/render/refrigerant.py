"""The refrigerant record: the fields that 40 CFR 82.157 and 84.106 ask for, each with what was said or "not said".

The list of fields is read from a digest of 82.157(l) and, for 84.106, from memory: see the note in DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from extractors.facts import (
    Action,
    ActionKind,
    ActionStatus,
    Condition,
    Evidence,
    FindingStatus,
    Quantity,
    Reading,
    Role,
)
from pipeline.render.paper_view import PaperView
from pipeline.render.statements import Doubt, Line
from pipeline.words import capital
from pipeline.words.figures import shown

CIRCUIT = frozenset(
    {
        "system", "compressor", "condenser", "evaporator", "receiver", "filter drier", "expansion valve", "sight glass",
        "capillary tube", "reversing valve", "solenoid valve", "suction line", "discharge line", "liquid line",
        "refrigerant charge",
    }
)  # fmt: skip
"""Components that hold refrigerant."""
OPENING = (ActionKind.REPLACED, ActionKind.REPAIRED, ActionKind.INSTALLED, ActionKind.REMOVED)
TESTS = (ActionKind.LEAK_TESTED, ActionKind.PRESSURE_TESTED, ActionKind.EVACUATED)


@dataclass(frozen=True, slots=True)
class Entry:
    """One field of the record; an empty value prints as "not said"."""

    label: str
    value: str = ""
    at: str = ""
    doubt: Doubt | None = None
    said: str = ""


class RefrigerantView(PaperView):
    """The view of the refrigerant record."""

    def _entry(self, label: str, value: str = "", at: str = "", doubt: Doubt | None = None, said: str = "") -> Entry:
        return Entry(self.words(f"record.{label}"), value, at, doubt, said)

    def _said(self, label: str, group: str, name: str) -> Entry:
        """A field of the visit or the machine."""
        said = getattr(getattr(self.draft, group), name)
        if said is None:
            return self._entry(label)
        value = self.date(said.value) if name == "date" else said.value
        return self._entry(label, value, "", self.statements.doubt(said.confirm, said.evidence))

    @cached_property
    def appliance(self) -> list[Entry]:
        """Whose machine, which, where, how much refrigerant it holds and how that is known."""
        machine = self.draft.equipment
        kind = " ".join(said.value for said in (machine.make, machine.type) if said is not None)
        return [
            self._said("owner", "visit", "customer"),
            self._said("address", "visit", "site"),
            self._entry("machine", capital(kind)),
            self._said("model", "equipment", "model"),
            self._said("serial", "equipment", "serial"),
            self._said("location", "equipment", "location"),
            self._entry("circuit"),
            self._said("refrigerant", "equipment", "refrigerant"),
            *self._full_charge(),
        ]

    def _full_charge(self) -> list[Entry]:
        """The full charge where the plate gives one weight: a weight that was put in says nothing of it."""
        plates = [one for one in self._weights() if one.role is Role.RATED]
        if len(plates) != 1:
            return [self._entry("full_charge"), self._entry("full_charge_how")]
        how = self.words("record.from_plate")
        return [self._weight_entry("full_charge", plates[0]), self._entry("full_charge_how", how)]

    def _weights(self) -> list[Reading]:
        """Weights of refrigerant that stand."""
        return [
            one
            for one in self.draft.readings
            if one.quantity is Quantity.MASS and one.subject in CIRCUIT and one.superseded_by is None
        ]

    def _weight_entry(self, label: str, one: Reading) -> Entry:
        figure = shown(one, self.words, self.shop.units_shown)
        return self._entry(label, figure.text, self.place(one), self.tables.doubt_of(one), one.evidence.quote)

    @cached_property
    def persons(self) -> list[Entry]:
        """Who did the work, for whom, when."""
        technician = self.draft.visit.technician
        certificate = self.shop.certificate(technician.value) if technician else ""
        return [
            self._said("technician", "visit", "technician"),
            self._entry("certificate", certificate),
            self._entry("company", ", ".join(part for part in (self.shop.name, *self.shop.address) if part)),
            self._entry("company_contact", ", ".join(part for part in (self.shop.phone, self.shop.email) if part)),
            self._said("date", "visit", "date"),
        ]

    @cached_property
    def called_for(self) -> bool:
        """Whether the job touched the refrigerant: without that no record is made unasked."""
        return bool(self.circuit_work or any(one.role is Role.MEASURED for one in self._weights()))

    @cached_property
    def circuit_work(self) -> list[Line]:
        """Parts of the refrigerant circuit that were worked on, with the kind of work."""
        wanted = [
            one
            for one in self.draft.actions
            if one.status is ActionStatus.DONE
            and (one.action in (ActionKind.CHARGED, ActionKind.RECOVERED, *TESTS) or _opens(one))
        ]
        return [self.statements.action(one) for one in wanted]

    @cached_property
    def amounts(self) -> list[Entry]:
        """What went in and came out.

        A weight counts only where the words of the work hold it; every other weight stands by itself with its
        words, for the person who knows to place it.
        """
        entries: list[Entry] = []
        plates = [one for one in self._weights() if one.role is Role.RATED]
        placed = {plates[0].id} if len(plates) == 1 else set()
        for kind, label in ((ActionKind.RECOVERED, "recovered"), (ActionKind.CHARGED, "added")):
            actions = [one for one in self.draft.actions if one.action is kind and one.status is ActionStatus.DONE]
            weights = [
                one
                for one in self._weights()
                if one.role is Role.MEASURED and any(_same_words(one.evidence, act.evidence) for act in actions)
            ]
            if not actions:
                entries.append(self._entry(label, self.words("record.no_such_work")))
            elif not weights:
                entries.append(self._entry(label, "", self.statements.place(actions[0].evidence)))
            entries += [self._weight_entry(label, one) for one in weights]
            placed |= {one.id for one in weights}
        entries += [self._weight_entry("other_weight", one) for one in self._weights() if one.id not in placed]
        return [*entries, *(self._entry(label) for label in ("origin", "cylinder", "destination"))]

    @cached_property
    def leak_checks(self) -> list[Entry]:
        """Leak search and what it found, leak rate, and the tests after a repair."""
        searches = self._tests(ActionKind.LEAK_TESTED, "leak_search")
        leaks = [
            self._entry(
                "leak_found",
                capital(self.words.the(one.component, one.place)),
                self.place(one),
                self.statements.doubt(one.confirm, one.evidence),
            )
            for one in self.draft.findings
            if one.condition in (Condition.LEAKING, Condition.OIL_STAINED) and one.status is FindingStatus.OBSERVED
        ]
        none = [self._entry("leak_found", self.words("record.ruled_out"))] if self._leak_ruled_out() else []
        rates = [
            self._entry("leak_rate", check.message)
            for check in self.draft.checks
            if check.rule == "refrigerant-leak-rate" and check.value is not None
        ]
        return [
            *(searches or [self._entry("leak_search")]),
            self._entry("leak_method"),
            *(leaks or none or [self._entry("leak_found")]),
            *(rates or [self._entry("leak_rate")]),
            self._entry("whole_inspected"),
            self._entry("initial_test"),
            self._entry("follow_up_test"),
        ]

    def _leak_ruled_out(self) -> bool:
        """Whether a leak was looked for and was not there."""
        return any(
            one.condition is Condition.LEAKING and one.status is FindingStatus.RULED_OUT and not one.confirm
            for one in self.draft.findings
        )

    def _tests(self, kind: ActionKind, label: str) -> list[Entry]:
        """Tests of one kind that were done."""
        return [
            self._entry(
                label,
                capital(self.words.the(one.component, one.place)),
                self.statements.place(one.evidence),
                self.statements.doubt(one.confirm, one.evidence),
            )
            for one in self.draft.actions
            if one.action is kind and one.status is ActionStatus.DONE
        ]

    @cached_property
    def pressure_tests(self) -> list[Entry]:
        """Pressure test and evacuation with the figures of the circuit at rest."""
        entries = [
            *self._tests(ActionKind.PRESSURE_TESTED, "pressure_test"),
            *self._tests(ActionKind.EVACUATED, "vacuum"),
        ]
        for one in self.draft.readings:
            if one.subject == "system" and one.quantity is Quantity.PRESSURE and one.superseded_by is None:
                label = "vacuum_figure" if one.unit == "micron" else "pressure_figure"
                entries.append(self._weight_entry(label, one))
        return entries or [self._entry("pressure_test"), self._entry("vacuum")]


def _opens(action: Action) -> bool:
    """Whether work on a component opens the refrigerant circuit."""
    return action.component in CIRCUIT and action.action in OPENING


def _same_words(one: Evidence, other: Evidence) -> bool:
    """Whether two statements share words of the recording: their stretches overlap, or one quotes the other."""
    if one.recording != other.recording:
        return False
    if None not in (one.start, one.end, other.start, other.end):
        return max(one.start or 0.0, other.start or 0.0) < min(one.end or 0.0, other.end or 0.0)
    if one.line is not None and other.line is not None and one.line != other.line:
        return False
    return one.quote in other.quote or other.quote in one.quote
