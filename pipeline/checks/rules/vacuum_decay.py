"""How a vacuum holds with the pump shut off."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from extractors.facts import Quantity, Reading, Role
from extractors.units import convert
from pipeline.checks import wording
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import near
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.rules.deep_vacuum import VACUUM
from pipeline.checks.trends import minutes_of
from pipeline.checks.wording import figure
from pipeline.draft import Verdict

END = replace(VACUUM, key="end", missing="micron reading at the end of a hold, and how long it was held")
HOLD = Need("hold", Quantity.DURATION, "min", ("system", "run time", "pump"), missing="time it was held")
STEADY = 0.8
"""A last step at least this share as fast as the first is no levelling off."""


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """The lowest vacuum with the readings that follow it; a vacuum alone asks whether it was held."""
    fine = [r for r in job.of(Quantity.PRESSURE, (Role.MEASURED,)) if VACUUM.accepts(r)]
    for stage in dict.fromkeys(r.stage for r in fine):
        mine = [r for r in fine if r.stage is stage]
        lowest = min(mine, key=_microns)
        after = _rising(mine[mine.index(lowest) + 1 :], lowest)
        case = Case(job, limits, {"start": lowest})
        if not after:
            yield replace(case, missing=Missing(END.missing or ""))
            continue
        held = _minutes(job, lowest, after)
        case = replace(case, bound={"end": after[-1], "start": lowest}, groups={"points": (lowest, *after)})
        if held is None:
            yield replace(case, missing=Missing(HOLD.missing or ""))
        else:
            minutes, said = held
            bound = {**case.bound, "hold": said} if said else case.bound
            yield replace(case, bound=bound, tag=repr(minutes))


def _microns(reading: Reading) -> float:
    return convert(reading.value if reading.value is not None else reading.low or 0.0, reading.unit or "", "micron")


def _rising(readings: list[Reading], lowest: Reading) -> list[Reading]:
    """The run of readings after the lowest that do not fall again: the pump is off."""
    run: list[Reading] = []
    for reading in readings:
        if _microns(reading) < _microns(run[-1] if run else lowest):
            break
        run.append(reading)
    return run


def _minutes(job: Job, start: Reading, after: list[Reading]) -> tuple[float, Reading | None] | None:
    """How long it was held, by the minutes of the series or a time that was said with the last reading."""
    end = minutes_of(after[-1])
    begin = minutes_of(start)
    if end is not None:
        # Minutes of a hold begin anew when the pump is shut; those of the pumping before do not count.
        return (end - begin if begin is not None and begin < (minutes_of(after[0]) or end) else end), None
    said = [r for r in job.of(Quantity.DURATION, (Role.MEASURED,)) if HOLD.accepts(r) and near(job, r, after[-1])]
    if not said:
        return None
    last = min(said, key=lambda r: abs(job.index[r.id] - job.index[after[-1].id]))
    return convert(last.value if last.value is not None else last.low or 0.0, last.unit or "", "min"), last


def judge(case: Case) -> Outcome | Missing:
    """Microns at the end of the hold; a steady rise above the lower limit is a leak."""
    minutes = float(case.tag)
    if minutes < case.limits["hold"]:
        return Missing(f"micron reading after a hold of {case.limits['hold']:g} min or more", reference=False)
    end, start = case.num("end", "micron"), case.num("start", "micron")
    limit = case.limits.limit("in_high")
    steady = end > limit.value and _still_rising(case)
    outcome = case.judged(
        end,
        case.limits.band(),
        "micron",
        what=f"Vacuum from {case.said('start')} to {case.said('end')} in {figure(minutes)} min",
        result=f"rising {figure((end - start) / minutes)} microns a minute",
        against=f"at most {wording.amount(limit.value, 'micron')} at the end",
        basis=from_limit(limit),
        computed={"rise": (end - start, "micron")},
        notes=["It was still rising steadily: a leak?"] if steady
        else ["It is levelling off: moisture?"] if end > limit.value and len(case.groups["points"]) > 2 else (),
    )  # fmt: skip
    return replace(outcome, verdict=Verdict.OUT_OF_TOLERANCE) if steady else outcome


def _still_rising(case: Case) -> bool:
    """Whether the last step of a timed hold was nearly as fast as the first."""
    timed = [(minutes_of(r), case.of(r, "micron")) for r in case.groups["points"][1:]]
    points = [(minutes, microns) for minutes, microns in timed if minutes is not None]
    if len(points) < 3:
        return False
    rates = [
        (later - earlier) / (after - before) for (before, earlier), (after, later) in pairwise(points) if after > before
    ]
    return len(rates) > 1 and rates[0] > 0 and rates[-1] >= STEADY * rates[0]


RULE = Rule("vacuum-decay", (replace(VACUUM, key="start"), END, HOLD), judge, cases=cases)
