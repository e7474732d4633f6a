"""Direct current of a flame sensor."""

from __future__ import annotations

from extractors.facts import Quantity, Role
from pipeline.checks.limits import Band
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_limit, from_plate
from pipeline.checks.wording import amount

CURRENT = Need("current", Quantity.CURRENT, "uA", ("flame sensor",))
LEAST = Need("least", Quantity.CURRENT, "uA", ("flame sensor",), (Role.RATED,))


def judge(case: Case) -> Outcome:
    """Microamps against the control maker's smallest, or the usual steps."""
    value = case.num("current", "uA")
    if case.has("least"):
        least = case.span("least", "uA")[0]
        return case.judged(
            value,
            Band(low=least),
            "uA",
            result="enough" if value >= least else "too little",
            against=f"at least {case.said('least')}",
            basis=from_plate(case.bound["least"], "control maker's figure"),
        )
    limit = case.limits.limit("in_low")
    return case.judged(
        value,
        case.limits.band(),
        "uA",
        result="enough" if value >= limit.value else "weak",
        against=f"at least {amount(limit.value, 'uA')}",
        basis=from_limit(limit),
    )


RULE = Rule("flame-current", (CURRENT, LEAST), judge)
