"""How a job hangs together: what caused the trouble, what mended it, what shows that it works, what is still open."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from extractors.facts import Action, ActionStatus, Condition, Evidence, Finding, FindingStatus, Reading, Role, Stage
from pipeline.draft import Diagnosis, Draft, Verdict
from pipeline.errors import AuthoringError

TABLE = Path(__file__).with_name("diagnosis.toml")
MOST_PROOF = 6
"""Proof is for reading: the first few, the room before the machine's parts."""
ROOM = ("box", "product", "supply air", "evaporator")


@dataclass(frozen=True)
class Bonds:
    """The table: which states explain, which are only noticed, which are sound, and what each deed mends."""

    causes: frozenset[str]
    symptoms: frozenset[str]
    sound: frozenset[str]
    mends: dict[str, frozenset[str]]

    def mended_by(self, finding: Finding, action: Action) -> bool:
        """Whether the deed, done to the part that was so before it, mends that state.

        Mostly the state is told first; "new cap's in, the old one was weak" is a state as found all the same.
        """
        states = self.mends.get(action.action.value, frozenset())
        return (
            ("*" in states or finding.condition.value in states)
            and finding.component == action.component
            and _same_place(finding.place, action.place)
            and (finding.stage is Stage.AS_FOUND or _order(finding.evidence) <= _order(action.evidence))
        )


@cache
def _bonds() -> Bonds:
    table = tomllib.loads(TABLE.read_text(encoding="utf-8"))
    known = {condition.value for condition in Condition}
    groups = {name: frozenset(table[name]) for name in ("causes", "symptoms", "sound")}
    if sorted(state for group in groups.values() for state in group) != sorted(known):
        raise AuthoringError("bad-table", f"{TABLE.name} does not hold every state once.", "Add what is missing.")
    return Bonds(**groups, mends={deed: frozenset(states) for deed, states in table["mends"].items()})


def diagnose(draft: Draft) -> Diagnosis:
    """Causes, remedies, proof and what is open, by the ids of the draft's own facts; nothing is concluded beyond them.

    A cause is an observed fault of a part that was then mended. Proof is what was measured after the work: a
    comparison that the machine now passes, else a figure that was taken before and after.
    """
    bonds = _bonds()
    remedies = [
        action for action in draft.actions if action.status is ActionStatus.DONE and action.action.value in bonds.mends
    ]
    causes = _causes(draft.findings, remedies, bonds)
    return Diagnosis(
        causes=_ids(causes),
        remedies=_ids(remedies),
        proof=_proof(draft) if remedies else (),
        open=_ids(_open(draft.findings, remedies, causes, bonds)),
    )


def _ids(facts: Iterable[Finding | Action]) -> tuple[str, ...]:
    return tuple(fact.id for fact in facts)


def _same_place(one: str | None, other: str | None) -> bool:
    return one is None or other is None or one == other


def _order(evidence: Evidence) -> tuple[int, float, int]:
    """Where in the telling something was said."""
    return evidence.recording, evidence.start or 0.0, evidence.line or 0


def _causes(findings: Sequence[Finding], remedies: Sequence[Action], bonds: Bonds) -> list[Finding]:
    """Observed faults of parts that were mended; a symptom only where its part shows no other."""
    mended = [
        finding
        for finding in findings
        if finding.status is FindingStatus.OBSERVED
        and finding.stage is not Stage.AS_LEFT
        and any(bonds.mended_by(finding, action) for action in remedies)
    ]
    faults = [finding for finding in mended if finding.condition.value in bonds.causes]
    explained = {finding.component for finding in faults}
    return [
        finding
        for finding in mended
        if finding in faults
        or (finding.condition.value in bonds.symptoms and not explained and finding.component not in explained)
    ]


def _open(
    findings: Sequence[Finding], remedies: Sequence[Action], causes: Sequence[Finding], bonds: Bonds
) -> list[Finding]:
    """Faults that nothing answered: no deed mended them, and nobody found the part in order later.

    A symptom goes with its cause: once a cause was mended it is open only where it was seen after the work.
    """
    still = []
    for finding in findings:
        if finding in causes or finding.status is FindingStatus.RULED_OUT or finding.condition.value in bonds.sound:
            continue
        if any(bonds.mended_by(finding, action) for action in remedies):
            continue
        if any(_answers(other, finding, bonds) for other in findings):
            continue
        if finding.condition.value in bonds.symptoms and causes and finding.stage is not Stage.AS_LEFT:
            continue
        still.append(finding)
    return still


def _answers(later: Finding, finding: Finding, bonds: Bonds) -> bool:
    """Whether the part was found in order after the fault."""
    return (
        later.component == finding.component
        and _same_place(later.place, finding.place)
        and (later.condition.value in bonds.sound or later.status is FindingStatus.RULED_OUT)
        and _order(later.evidence) > _order(finding.evidence)
    )


def _proof(draft: Draft) -> tuple[str, ...]:
    """Ids of the comparisons that the machine passes after the work, else of figures taken before and after it."""
    readings = {reading.id: reading for reading in draft.readings}

    def about_room(ids: Sequence[str]) -> bool:
        return any(readings[one].subject in ROOM for one in ids if one in readings)

    passed = [check for check in draft.checks if check.stage is Stage.AS_LEFT and check.verdict is Verdict.IN_TOLERANCE]
    passed.sort(key=lambda check: not about_room(check.readings))
    if passed:
        return tuple(check.id for check in passed[:MOST_PROOF])
    before = {_thing(one) for one in draft.readings if _measured(one, Stage.AS_FOUND)}
    after = [one for one in draft.readings if _measured(one, Stage.AS_LEFT) and _thing(one) in before]
    after.sort(key=lambda one: one.subject not in ROOM)
    return tuple(one.id for one in after[:MOST_PROOF])


def _measured(reading: Reading, stage: Stage) -> bool:
    return reading.role is Role.MEASURED and reading.stage is stage and reading.superseded_by is None


def _thing(reading: Reading) -> tuple[str, str, str | None]:
    """What a reading is about, for telling before and after of the same thing."""
    return reading.subject, reading.quantity.value, reading.place
