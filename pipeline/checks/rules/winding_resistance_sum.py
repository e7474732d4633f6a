"""The three winding resistances of a compressor or motor against each other."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks import wording
from pipeline.checks.job import Job
from pipeline.checks.legs import unbalance_pct
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.pairing import identity
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.subjects import MOTORS
from pipeline.checks.wording import figure
from pipeline.draft import Verdict

TERMINALS = {"common": "C", "run": "R", "start": "S", "c": "C", "r": "R", "s": "S"}
PHASES = {"t1": "1", "t2": "2", "t3": "3", "l1": "1", "l2": "2", "l3": "3", "u": "1", "v": "2", "w": "3"}
PAIRS = (frozenset("CR"), frozenset("CS"), frozenset("RS"))
THREE_PHASE = (frozenset("12"), frozenset("23"), frozenset("13"))
OPEN_OHM = 1e5


def terminals(place: str | None) -> frozenset[str]:
    """The two terminals that a place names: `common to run` gives C and R, `T1-T2` gives 1 and 2; else nothing."""
    words = re.findall(r"[a-z]+\d?", (place or "").casefold())
    for table in (TERMINALS, PHASES):
        named = frozenset(table[word] for word in words if word in table)
        if len(named) == 2:
            return named
    return frozenset()


def _between_terminals(reading: Reading) -> bool:
    return len(terminals(reading.place)) == 2


WINDING = Need(
    "winding", Quantity.RESISTANCE, "ohm", MOTORS, where=_between_terminals, missing="third winding resistance"
)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each set of three of one machine; two of three ask for the third."""
    sets: list[tuple[object, dict[frozenset[str], Reading]]] = []
    for reading in job.of(Quantity.RESISTANCE, (Role.MEASURED,)):
        if not WINDING.accepts(reading):
            continue
        pair = terminals(reading.place)
        phases = pair in THREE_PHASE
        key = (reading.subject, reading.stage, identity(reading.place) - set("123"), phases)
        current = next((found for other, found in reversed(sets) if other == key), None)
        if current is None or pair in current:
            sets.append((key, {pair: reading}))
        else:
            current[pair] = reading
    for _, found in sets:
        readings = tuple(found.values())
        case = Case(job, limits, {"winding": readings[0]}, {"windings": readings})
        if len(found) == 3:
            yield case
        elif len(found) == 2:
            yield replace(case, missing=Missing(WINDING.missing or "", reference=False))


def judge(case: Case) -> Outcome | None:
    """Run to start against the sum of the other two; three-phase windings against their average."""
    ohms = {terminals(r.place): case.of(r, "ohm") for r in case.groups["windings"]}
    is_open = any(ohm >= OPEN_OHM for ohm in ohms.values())
    if set(ohms) == set(PAIRS):
        run, start, whole = (ohms[pair] for pair in PAIRS)
        expected = run + start
        deviation = (whole / expected - 1) * 100 if expected > 0 else 0.0
        broken = not run < start < whole
        result = f"{figure(abs(deviation))} % {'below' if deviation < 0 else 'above'} the sum"
        against = f"the sum of the other two, {case.show(expected, 'ohm')}"
    else:
        found = unbalance_pct(list(ohms.values()))
        if found is None:
            return None
        deviation, expected = found
        broken, result, against = False, f"{figure(deviation)} % apart", "three equal windings"
    if expected <= 0:
        return None
    inner = max(case.limits["in_high"], case.limits["in_ohm"] / expected * 100)
    outer = max(case.limits["high"], case.limits["ohm"] / expected * 100)
    notes = ["The order common to run, common to start, run to start is broken."] if broken else []
    outcome = case.judged(
        deviation,
        Band(-outer, -inner, inner, outer),
        "%",
        what=f"{wording.opening(case.anchor.subject)} windings "
        + wording.joined([f"{wording.said(r)} ({r.place})" for r in case.groups["windings"]]),
        result="one winding is open" if is_open else result,
        against=against,
        basis=from_limit(case.limits.limit("in_high")),
        computed={"expected": (expected, "ohm")},
        notes=notes,
    )
    return replace(outcome, verdict=Verdict.OUT_OF_TOLERANCE) if broken or is_open else outcome


RULE = Rule("winding-resistance-sum", (WINDING,), judge, cases=cases)
