"""The temperature of the discharge line near the compressor."""

from __future__ import annotations

from extractors.facts import Quantity
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_limit

LINE = Need("line", Quantity.TEMPERATURE, "degF", ("discharge line",))


HOT_BY_NATURE = ("R-744", "R-717")
"""Carbon dioxide and ammonia run hot in order: makers' figures count there."""


def judge(case: Case) -> Outcome | None:
    """Degrees against what oil and valves stand."""
    if any(m.refrigerant and m.refrigerant.value in HOT_BY_NATURE for m in case.job.machines):
        return None
    limit = case.limits.limit("in_high")
    value = case.num("line", "degF")
    return case.judged(
        value,
        case.limits.band(),
        "degF",
        result="not too hot" if value <= limit.value else "hot",
        against=f"at most {case.show(limit.value, 'degF')}",
        basis=from_limit(limit),
        notes=["The valves inside are hotter still."] if value > limit.value else (),
    )


RULE = Rule("discharge-line-temperature", (LINE,), judge)
