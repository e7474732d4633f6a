"""How far the voltage falls when the machine runs or starts."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Qualifier, Quantity, Reading, Role
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import companion
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.subjects import SUPPLY
from pipeline.checks.wording import figure

LEAST_V = 60.0
SAME_SUPPLY_PCT = 45.0
"""A larger drop is hardly one of the same conductors: leg to leg and leg to neutral were taken for one."""
DIPPED = frozenset({Qualifier.MINIMUM, Qualifier.INRUSH})


def _supply(reading: Reading) -> bool:
    return (reading.value or reading.low or 0.0) >= LEAST_V


LOADED = Need("on", Quantity.VOLTAGE, "V", SUPPLY, where=_supply)
OFF = Need("off", Quantity.VOLTAGE, "V", SUPPLY, missing="voltage with the machine off", where=_supply)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """The lowest voltage of a start with the one before it; the running voltage with the one of the machine off."""
    volts = [r for r in job.of(Quantity.VOLTAGE, (Role.MEASURED,)) if LOADED.accepts(r)]
    for anchor in volts:
        mine = [r for r in volts if r.subject == anchor.subject]
        standing = [r for r in mine if Qualifier.STANDBY in r.qualifiers]
        if DIPPED & set(anchor.qualifiers):
            before = [r for r in mine if not NOT_STEADY & set(r.qualifiers) and job.index[r.id] < job.index[anchor.id]]
            off = companion(job, anchor, standing or before[-1:]).reading
            if off:
                yield Case(job, limits, {"on": anchor, "off": off}, tag="start")
            else:
                missing = Missing(OFF.missing or "", reference=False)
                yield Case(job, limits, {"on": anchor}, missing=missing, tag="start")
        elif not NOT_STEADY & set(anchor.qualifiers):
            off = companion(job, anchor, standing).reading
            if off:
                yield Case(job, limits, {"on": anchor, "off": off}, tag="run")


def judge(case: Case) -> Outcome | None:
    """Drop in percent of the voltage off; a rise is no drop."""
    off, on = case.num("off", "V"), case.num("on", "V")
    if off <= 0:
        return None
    drop = (off - on) / off * 100
    if drop > SAME_SUPPLY_PCT:
        return None
    kind = "starting" if case.tag == "start" else "running"
    return case.judged(
        max(drop, 0.0),
        case.limits.band(kind),
        "%",
        what=f"From {case.said('off')} to {case.said('on')} {kind}",
        result=f"{figure(max(drop, 0.0))} % drop",
        against=f"at most {case.limits[f'{kind}_in_high']:g} %",
        basis=from_limit(case.limits.limit(f"{kind}_in_high")),
    )


RULE = Rule("voltage-sag-under-load", (LOADED, OFF), judge, cases=cases)
