"""Findings: what the words say about the state of components, one entry a thing and state."""

from __future__ import annotations

from extractors.deed import Deed, cures, same_place
from extractors.facts import Finding, FindingStatus, Stage, Trail
from extractors.registry import Extractor, Found
from extractors.settled import GOOD, Entry
from extractors.talk import Talk
from extractors.view import View
from extractors.work import work_of

PAST = ("was", "were", "had", "been")


class _Stages:
    """Before or after the repair, by where in the telling the deeds stand that changed the machine."""

    def __init__(self, view: View, deeds: list[Deed]) -> None:
        self.view = view
        self.deeds = [deed for deed in deeds if deed.remedies]

    def of(self, entry: Entry) -> Stage:
        """The stage of a state: before the first remedy as found, and so is what was mended or seen on the way."""
        claim = entry.claim
        if not self.deeds or claim.token < self.deeds[0].token:
            return Stage.AS_FOUND
        if claim.condition in GOOD or claim.status is FindingStatus.RULED_OUT:
            return Stage.AS_LEFT
        mended = [
            deed.token
            for deed in self.deeds
            if deed.component == claim.component
            and same_place(deed.place, claim.place)
            and claim.condition in cures(deed.action)
        ]
        if mended:
            # "new cap's in, the old one was weak"
            told_after = self.view.any(claim.clause.span.start, claim.token, PAST)
            return Stage.AS_FOUND if mended[-1] > claim.token or told_after else Stage.AS_LEFT
        return Stage.AS_FOUND if claim.token < self.deeds[-1].token else Stage.AS_LEFT


def find(talk: Talk, found: Found) -> list[Finding]:
    """The findings of a job in the order of their last word. Linear in the talk."""
    work, passage = work_of(talk, found), talk.passage
    entries = work.entries
    stages = _Stages(work.view, work.deeds)
    findings = []
    for number, entry in enumerate(sorted(entries, key=lambda entry: entry.claim.token), 1):
        claim = entry.claim
        evidence = passage.evidence(claim.evidence)
        findings.append(
            Finding(
                id=f"f{number}",
                component=claim.component,
                place=claim.place,
                condition=claim.condition,
                status=claim.status,
                text=evidence.quote,
                evidence=evidence,
                at=passage.start_of(passage.tokens[claim.token]),
                stage=stages.of(entry),
                confirm=claim.confirm,
                trail=tuple(
                    Trail(status=c.status, text=passage.said(c.evidence), evidence=passage.evidence(c.evidence))
                    for c in entry.trail
                ),
                because=claim.because,
            )
        )
    return findings


EXTRACTOR = Extractor("findings", find, gives="findings", needs=())
