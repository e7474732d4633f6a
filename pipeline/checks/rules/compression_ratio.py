"""Head pressure over suction pressure, both absolute."""

from __future__ import annotations

from extractors.facts import Quantity
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.wording import figure
from pipeline.draft import Verdict

SUCTION = Need("suction", Quantity.PRESSURE, "psig", ("suction pressure",), without=NOT_STEADY)
HEAD = Need(
    "head",
    Quantity.PRESSURE,
    "psig",
    ("head pressure",),
    without=NOT_STEADY,
    missing="head pressure at the same moment",
)


NO_MACHINE = 25.0
"""No single stage runs at such a ratio; one of the pressures was misheard."""


def judge(case: Case) -> Outcome | Missing | None:
    """The ratio; none where suction is not below head, which the gates ask about."""
    head, suction = case.psia("head"), case.psia("suction")
    if suction <= 0 or head <= suction:
        return None
    ratio = head / suction
    if ratio > NO_MACHINE:
        return Missing("second listen to both pressures", reference=False)
    band = case.limits.band()
    weak = band.low is not None and ratio < band.low
    return case.judged(
        ratio,
        band,
        "",
        what=f"Head pressure {case.said('head')} over suction pressure {case.said('suction')}",
        result=f"compression ratio {figure(ratio)}",
        against=f"{band.in_low:g} to {band.in_high:g}",
        basis=from_limit(case.limits.limit("in_high")),
        computed={"compression ratio": (ratio, None), "head": (head, "psia"), "suction": (suction, "psia")},
        notes=["Is the compressor hardly pumping?"] if weak else (),
        at_most=Verdict.MARGINAL if weak else Verdict.OUT_OF_TOLERANCE,
    )


RULE = Rule("compression-ratio", (SUCTION, HEAD), judge, steady=True)
