"""Starts an hour and share of running time from one cycle."""

from __future__ import annotations

from extractors.facts import Quantity, Reading
from pipeline.checks.job import words
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_limit
from pipeline.checks.wording import figure

SUBJECTS = ("run time", "compressor", "unit")


def _on(reading: Reading) -> bool:
    return "on" in words(reading.place) and "off" not in words(reading.place)


def _off(reading: Reading) -> bool:
    return "off" in words(reading.place) and "on" not in words(reading.place)


ON = Need("on", Quantity.DURATION, "min", SUBJECTS, where=_on)
OFF = Need("off", Quantity.DURATION, "min", SUBJECTS, where=_off, missing="off time of the cycle")


def judge(case: Case) -> Outcome | None:
    """Starts an hour are judged; the share of running time is told."""
    on, off = case.num("on", "min"), case.num("off", "min")
    if on + off <= 0:
        return None
    starts, share = 60 / (on + off), on / (on + off) * 100
    limit = case.limits.limit("in_high")
    return case.judged(
        starts,
        case.limits.band(),
        "",
        what=f"{case.said('on')} on, {case.said('off')} off",
        result=f"{figure(starts)} starts an hour, running {figure(share)} % of the time",
        against=f"at most {limit.value:g} starts an hour",
        basis=from_limit(limit),
        computed={"run": (share, "%"), "starts an hour": (starts, None)},
    )


RULE = Rule("run-fraction", (ON, OFF), judge)
