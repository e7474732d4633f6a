"""A pressure test against what the temperature alone would have done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

from extractors.facts import Qualifier, Quantity, Reading, Role
from extractors.units import convert
from pipeline.checks import wording
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import near
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.surroundings import AMBIENT
from pipeline.checks.wording import figure
from pipeline.draft import Verdict

LEAST_PSIG = 50.0
"""What is lower is a standing pressure and no test."""
RANKINE = 459.67


def _test(reading: Reading) -> bool:
    quiet = {Qualifier.STANDBY, Qualifier.ABSOLUTE, Qualifier.NEGATIVE_IS_VACUUM} & set(reading.qualifiers)
    ends = [v for v in (reading.value, reading.low) if v is not None]
    return (
        not quiet
        and reading.unit in ("psig", "kPa", "bar")
        and bool(ends)
        and convert(ends[0], reading.unit, "psig") >= LEAST_PSIG
    )


START = Need("start", Quantity.PRESSURE, "psig", ("system",), where=_test)
END = replace(START, key="end", missing="pressure at the end of the test")
THERE = replace(AMBIENT, key="temperatures", missing="temperatures at both pressure readings")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """First and last test pressure of a stage, with the temperature said beside each."""
    pressures = [r for r in job.of(Quantity.PRESSURE, (Role.MEASURED,)) if START.accepts(r)]
    for stage in dict.fromkeys(r.stage for r in pressures):
        mine = [r for r in pressures if r.stage is stage]
        if len(mine) < 2:
            continue
        start, end = mine[0], mine[-1]
        case = Case(job, limits, {"end": end, "start": start})
        before, after = _beside(job, start, end)
        if before is None or after is None or before is after:
            yield replace(case, missing=Missing(THERE.missing or "", reference=False))
        else:
            yield replace(case, bound={**case.bound, "start temperature": before, "end temperature": after})


def _beside(job: Job, start: Reading, end: Reading) -> tuple[Reading | None, Reading | None]:
    """The temperatures that go with both pressures: nearest in order, each before or after its own."""
    near_by = [
        r for r in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)) if THERE.accepts(r) and _near(job, r, start, end)
    ]
    pairs = [
        (abs(job.index[before.id] - job.index[start.id]) + abs(job.index[after.id] - job.index[end.id]), place)
        for place, (before, after) in enumerate(combinations(near_by, 2))
    ]
    if not pairs:
        return None, None
    return list(combinations(near_by, 2))[min(pairs)[1]]


def _near(job: Job, reading: Reading, start: Reading, end: Reading) -> bool:
    return near(job, reading, start) or near(job, reading, end)


def judge(case: Case) -> Outcome | None:
    """Difference from the expected end pressure in percent of it, ideal gas, absolute pressures."""
    before, after = (case.num(f"{when} temperature", "degF") + RANKINE for when in ("start", "end"))
    if before <= 0:
        return None
    expected = case.psia("start") * after / before - case.job.atmosphere
    difference = case.num("end", "psig") - expected
    percent = difference / expected * 100
    band = case.limits.band()
    inner = max(band.in_high or 0.0, case.limits["in_psi"] / expected * 100)
    band = replace(band, in_low=-inner, in_high=inner, low=min(band.low or 0, -inner), high=max(band.high or 0, inner))
    risen = band.high is not None and percent > band.high
    return case.judged(
        percent,
        band,
        "%",
        what=f"Test pressure {case.said('start')} at {case.said('start temperature')}, "
        f"{case.said('end')} at {case.said('end temperature')}",
        result=f"{wording.amount(abs(difference), 'psig')} or {figure(abs(percent))} % "
        f"{'below' if difference < 0 else 'above'}",
        against=f"{wording.amount(expected, 'psig')} for that temperature",
        basis=from_limit(case.limits.limit("in_low")),
        computed={"expected": (expected, "psig"), "difference": (difference, "psig")},
        notes=["A pressure cannot rise by itself: were the temperatures right?"] if risen else (),
        at_most=Verdict.MARGINAL if risen else Verdict.OUT_OF_TOLERANCE,
    )


RULE = Rule("nitrogen-pressure-test", (START, END, THERE), judge, cases=cases)
