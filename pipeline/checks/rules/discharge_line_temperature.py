"""The temperature of the discharge line near the compressor."""

from __future__ import annotations

from extractors.facts import Quantity
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_limit

LINE = Need("line", Quantity.TEMPERATURE, "degF", ("discharge line",))


def judge(case: Case) -> Outcome:
    """Degrees against what oil and valves stand."""
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
