"""A start capacitor's measured capacitance against its marked range."""

from __future__ import annotations

from collections.abc import Iterator

from pipeline.checks import capacitors
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import Case, Missing, Outcome, Rule, from_plate
from pipeline.checks.wording import amount, figure

SUBJECT = "start capacitor"


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each measured start capacitor with its marking."""
    return capacitors.cases(job, limits, SUBJECT)


def judge(case: Case) -> Outcome | Missing:
    """Microfarads against the marked range, or a single marking and what usually lies above it."""
    low, high = case.span("marking", "uF")
    if low <= 0:
        return capacitors.nothing_marked(case)
    single, marked = low == high, case.bound["marking"].tolerance_pct
    if marked:
        low, high = low * (1 - abs(marked[0]) / 100), high * (1 + abs(marked[1]) / 100)
    elif single:
        high = low * (1 + case.limits["single_high"] / 100)
    beyond = case.limits["beyond"] / 100
    value = case.num("measured", "uF")
    end = low if value < low else high
    off = (value - end) / end * 100
    result = "inside the range"
    if not low <= value <= high:
        which, way = ("low", "below") if value < low else ("high", "above")
        result = f"{figure(abs(off))} % {way} the {which} end"
    used = [case.limits.limit("single_high")] if single and not marked else []
    text = case.said("marking")
    return case.judged(
        value,
        Band(low * (1 - beyond), low, high, high * (1 + beyond)),
        "uF",
        result=result,
        against=f"{text}, allowed to {amount(high, 'uF')}" if single else text,
        basis=from_plate(case.bound["marking"], "marking", used),
    )


RULE = Rule(
    "start-capacitor-range",
    (capacitors.measured_need(SUBJECT), capacitors.marking_need(SUBJECT)),
    judge,
    cases=cases,
)
