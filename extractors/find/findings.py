"""Findings: what the words say about the state of components, one entry a thing and state."""

from __future__ import annotations

from extractors.claims import find_claims
from extractors.facts import Finding, Trail
from extractors.passage import Passage
from extractors.registry import Extractor, Found
from extractors.settled import Entry, settle
from extractors.talk import Talk
from extractors.view import View


def _finding(number: int, entry: Entry, passage: Passage) -> Finding:
    claim = entry.claim
    evidence = passage.evidence(claim.evidence)
    return Finding(
        id=f"f{number}",
        component=claim.component,
        place=claim.place,
        condition=claim.condition,
        status=claim.status,
        text=evidence.quote,
        evidence=evidence,
        at=passage.start_of(passage.tokens[claim.token]),
        confirm=claim.confirm,
        trail=tuple(
            Trail(status=c.status, text=passage.said(c.evidence), evidence=passage.evidence(c.evidence))
            for c in entry.trail
        ),
        because=claim.because,
    )


def find(talk: Talk, found: Found) -> list[Finding]:
    """The findings of a job in the order of their last word. Linear in the talk."""
    entries = sorted(settle(find_claims(View(talk))), key=lambda entry: entry.claim.token)
    return [_finding(number, entry, talk.passage) for number, entry in enumerate(entries, 1)]


EXTRACTOR = Extractor("findings", find, gives="findings", needs=())
