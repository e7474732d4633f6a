"""Refrigerant weighed in this job as carbon dioxide equivalent: a figure for the record, without a verdict."""

from __future__ import annotations

from extractors.facts import Quantity
from pipeline.checks import wording
from pipeline.checks.charge import SUBJECT, kind_of
from pipeline.checks.rule import Case, Missing, Need, Rule

MASS = Need("mass", Quantity.MASS, "kg", (SUBJECT,))
G_PER_KG = 1000.0


def judge(case: Case) -> Missing | None:
    """Tonnes of carbon dioxide equivalent."""
    if case.refrigerant is None:
        return None
    if case.job.draft.actions and kind_of(case.job, case.anchor) not in ("added", "recovered", "total"):
        return None
    tonnes = case.num("mass", "kg") * case.refrigerant.gwp / G_PER_KG
    text = f"{case.said('mass')} of {case.refrigerant.name} is {wording.figure(tonnes)} t of CO₂ equivalent"
    sentence = f"{wording.opening(text)} (GWP {wording.figure(case.refrigerant.gwp)}); a figure for the record."
    computed = case.computed(co2_equivalent=(tonnes, "t"), gwp=(case.refrigerant.gwp, None))
    return Missing("limit", sentence=sentence, computed=computed)


RULE = Rule("co2-equivalent", (MASS,), judge, refrigerant=True)
