"""The load of a three-phase motor under the voltage unbalance found."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.legs import derating, unbalance_pct
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.pairing import leg_sets, same_moment
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_plate
from pipeline.checks.rules.running_amps_rating import AMPS, RATED
from pipeline.checks.rules.voltage_unbalance import VOLTS
from pipeline.checks.subjects import MOTORS
from pipeline.checks.wording import figure

NEGLIGIBLE_PCT = 1.0
"""Up to here a motor carries its whole rating and the plain comparison with the rating says it all."""
MOTOR_AMPS: Need = replace(AMPS, subjects=MOTORS)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each motor's current with the three voltages of its moment, where they are unbalanced enough to matter."""
    volts = [r for r in job.of(Quantity.VOLTAGE, (Role.MEASURED,)) if VOLTS.accepts(r)]
    sets = [tuple(legs.values()) for legs in leg_sets(job, volts) if len(legs) == 3]
    amps = [r for r in job.of(Quantity.CURRENT, (Role.MEASURED,)) if MOTOR_AMPS.accepts(r)]
    highest = {}
    for legs in leg_sets(job, amps):
        top = max(legs.values(), key=lambda r: max(r.value or 0.0, r.high or 0.0))
        highest.update({r.id: top.id for r in legs.values()})
    for anchor in amps:
        if highest.get(anchor.id, anchor.id) != anchor.id:
            continue
        three = next((legs for legs in sets if same_moment(job, legs[0], anchor)), None)
        if three and _unbalance(three) > NEGLIGIBLE_PCT:
            yield replace(bind(job, limits, anchor, MOTOR_AMPS, [RATED]), groups={"legs": three})


def _unbalance(legs: tuple[Reading, ...]) -> float:
    """Unbalance of three readings in percent, by single figures or the low ends."""
    found = unbalance_pct([leg.value if leg.value is not None else leg.low or 0.0 for leg in legs])
    return found[0] if found else 0.0


def judge(case: Case) -> Outcome | None:
    """Amps against the derated and the full rating."""
    found = unbalance_pct([case.of(r, "V") for r in case.groups["legs"]])
    rated = case.span("rated", "A")[1]
    if found is None or rated <= 0:
        return None
    factor = derating(case.job, found[0])
    amps = case.num("amps", "A")
    return case.judged(
        amps,
        Band(None, None, factor * rated, rated),
        "A",
        result=f"{figure(amps / (factor * rated) * 100)} % of what it may carry",
        against=f"{case.said('rated')} × {figure(factor)} at {figure(found[0])} % unbalance",
        basis=from_plate(case.bound["rated"], limits=[case.limits.limit("factor_2")]),
        computed={"unbalance": (found[0], "%"), "derating factor": (factor, None)},
    )


RULE = Rule("unbalance-motor-derating", (MOTOR_AMPS, VOLTS, RATED), judge, cases=cases)
