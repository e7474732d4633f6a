"""Claims about one thing settled into one entry: repeats fall away, a suspicion keeps the trail to its end."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from extractors.claim import Claim
from extractors.facts import Condition, FindingStatus

GOOD = frozenset({Condition.NORMAL, Condition.RUNNING})
SUSPECTED, OBSERVED, RULED_OUT = FindingStatus.SUSPECTED, FindingStatus.OBSERVED, FindingStatus.RULED_OUT


@dataclass
class Entry:
    """One finding while claims are gathered."""

    claim: Claim
    trail: list[Claim] = field(default_factory=list)

    @property
    def status(self) -> FindingStatus:
        """The last status."""
        return self.claim.status


def _same_place(one: str | None, other: str | None) -> bool:
    return one is None or other is None or one == other


def _key(claim: Claim) -> str:
    """One key for "bearing" and "bearings"."""
    return claim.component.removesuffix("s")


def settle(claims: list[Claim]) -> list[Entry]:
    """One entry a thing and state: repeats fall away, a suspicion takes the status that it ended with."""
    entries: list[Entry] = []
    by_component: dict[str, list[Entry]] = {}
    for claim in claims:
        if _own_doing(claim, by_component.get(_key(claim), [])):
            continue
        here = [e for e in by_component.get(_key(claim), []) if _same_place(e.claim.place, claim.place)]
        if not _joins(claim, here):
            entry = Entry(claim)
            entries.append(entry)
            by_component.setdefault(_key(claim), []).append(entry)
    return [entry for entry in entries if not entry.claim.hearsay]


def _own_doing(claim: Claim, here: list[Entry]) -> bool:
    """Whether a good word only says that our own work is done: "coil's clear now", "that's good" after a repair."""
    if claim.condition is not Condition.NORMAL:
        return False
    bad = [
        e
        for e in here
        if e.claim.condition not in GOOD and e.status is OBSERVED and _same_place(e.claim.place, claim.place)
    ]
    return bool(bad) and (claim.cleanness or "component: it" in claim.because)


def _joins(claim: Claim, here: list[Entry]) -> bool:
    """Whether a claim says again, proves or clears what was said before; the entry is then brought up to date."""
    good = claim.condition in GOOD or claim.status is RULED_OUT
    for entry in reversed(here):
        if entry.status is not SUSPECTED:
            continue
        same = entry.claim.condition == claim.condition or entry.claim.generic or claim.generic
        if claim.status is SUSPECTED:
            if same:
                entry.trail.append(entry.claim)
                entry.claim = claim if entry.claim.generic else entry.claim
                return True
            continue
        if good and entry.claim.hearsay and claim.status is not RULED_OUT:
            continue
        if good and (same or claim.condition in GOOD):
            entry.trail.append(entry.claim)
            entry.claim = _cleared(entry.claim, claim)
            return True
        if not good and same:
            entry.trail.append(entry.claim)
            entry.claim = claim if not claim.generic else _proved(entry.claim, claim)
            return True
    for entry in reversed(here):
        if entry.claim.condition == claim.condition and (entry.status == claim.status or claim.status is SUSPECTED):
            return True
        if (
            claim.generic
            and claim.status is not RULED_OUT
            and entry.status is OBSERVED
            and entry.claim.condition not in GOOD
        ):
            return True
    return False


def _with(claim: Claim, condition: Condition, status: FindingStatus, place: str | None, generic: bool) -> Claim:
    return replace(
        claim, place=claim.place or place, condition=condition, status=status, generic=generic, hearsay=False
    )


def _cleared(suspicion: Claim, claim: Claim) -> Claim:
    return _with(claim, suspicion.condition, RULED_OUT, suspicion.place, suspicion.generic)


def _proved(suspicion: Claim, claim: Claim) -> Claim:
    return _with(claim, suspicion.condition, OBSERVED, suspicion.place, suspicion.generic)
