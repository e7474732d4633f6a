"""The refrigerant record: the fields that 40 CFR 82.157 and 84.106 ask for, each with what was said or "not said".

The list of fields is read from a digest of 82.157(l) and, for 84.106, from memory: see the note in DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from extractors.facts import (
    Action,
    ActionKind,
    ActionStatus,
    Condition,
    Finding,
    FindingStatus,
    Quantity,
    Reading,
    Role,
)
from pipeline.render.paper_view import PaperView
from pipeline.render.statements import Doubt, Line
from pipeline.words import capital
from pipeline.words.figures import digits, shown

if TYPE_CHECKING:
    from pipeline.refrigerant_account import Account, Amounts

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

    @cached_property
    def account(self) -> Account:
        """What went in and out, as the words say it."""
        from pipeline.refrigerant_account import refrigerant_account

        return refrigerant_account(self.draft, shop=self.shop)

    def _full_charge(self) -> list[Entry]:
        """The full charge as the plate gives it: a weight that was put in says nothing of it."""
        plate = self.account.plate
        if plate is None:
            return [self._entry("full_charge"), self._entry("full_charge_how")]
        how = self.words("record.from_plate")
        additions = self._weighed("line_addition", self.account.line_additions)
        return [*self._weighed("full_charge", plate), self._entry("full_charge_how", how), *additions]

    def _weighed(self, label: str, amounts: Amounts | None) -> list[Entry]:
        """Weights of one kind, each with its words, and their sum where there are several."""
        if amounts is None:
            return []
        entries = [self._weight_entry(label, one) for one in amounts.readings]
        return [*entries, self._entry("sum", amounts.text)] if len(entries) > 1 else entries

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
        return bool(self.circuit_work) or self.account.touched

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
        """What went in and came out; a weight whose words do not say which stands apart, to be placed."""
        account = self.account
        entries: list[Entry] = []
        for kind, label, amounts in (
            (ActionKind.RECOVERED, "recovered", account.recovered),
            (ActionKind.CHARGED, "added", account.added or account.total),
        ):
            actions = [one for one in self.draft.actions if one.action is kind and one.status is ActionStatus.DONE]
            if amounts is not None:
                entries += self._weighed(label, amounts)
            elif actions:
                entries.append(self._entry(label, "", self.statements.place(actions[0].evidence)))
            else:
                entries.append(self._entry(label, self.words("record.no_such_work")))
        if account.added is not None:
            entries += self._weighed("total", account.total)
        entries += self._weighed("lost", account.lost)
        entries += self._weighed("other_weight", account.unclear)
        if account.co2e_charge_t is not None:
            tonnes = digits(float(f"{account.co2e_charge_t:.3g}"), self.words)
            entries.append(self._entry("co2e", self.words("record.tonnes", t=tonnes)))
        return [*entries, *(self._entry(label) for label in ("origin", "cylinder", "destination"))]

    @cached_property
    def leak_checks(self) -> list[Entry]:
        """Leak search and what it found, leak rate, and the tests after a repair."""
        searches = self._tests(ActionKind.LEAK_TESTED, "leak_search")
        places = {(one.component, one.place): one for one in reversed(self.draft.findings) if _leaks(one)}
        leaks = [
            self._entry(
                "leak_found",
                capital(self.words.the(one.component, one.place)),
                self.place(one),
                self.statements.doubt(one.confirm, one.evidence),
            )
            for one in reversed(places.values())
        ]
        none = [self._entry("leak_found", self.words("record.ruled_out"))] if self._leak_ruled_out() else []
        leak_rate = self.account.leak_rate
        rates = [self._entry("leak_rate", leak_rate.message)] if leak_rate is not None else []
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
            measured = one.role is Role.MEASURED and one.superseded_by is None
            if measured and one.subject == "system" and one.quantity is Quantity.PRESSURE:
                label = "vacuum_figure" if one.unit == "micron" else "pressure_figure"
                entries.append(self._weight_entry(label, one))
        return entries or [self._entry("pressure_test"), self._entry("vacuum")]


def _leaks(finding: Finding) -> bool:
    """Whether a finding says where refrigerant got out."""
    leaking = finding.condition in (Condition.LEAKING, Condition.OIL_STAINED)
    return leaking and finding.status is FindingStatus.OBSERVED and finding.component in CIRCUIT


def _opens(action: Action) -> bool:
    """Whether work on a component opens the refrigerant circuit."""
    return action.component in CIRCUIT and action.action in OPENING
