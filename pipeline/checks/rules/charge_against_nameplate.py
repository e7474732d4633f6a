"""The whole charge weighed in against the nameplate."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Role
from pipeline.checks import wording
from pipeline.checks.binding import bind
from pipeline.checks.charge import MASS, PLATE, SMALL_ADDITION, kind_of, line_additions, lines_matter
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import Case, Missing, Outcome, Rule, from_plate
from pipeline.checks.wording import figure

WHOLE_FROM = 0.7
"""An amount of unknown kind that is at least this share of the plate's charge can only be the whole one."""


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each weighed amount that is or may be a whole charge. What was taken out or lost is no charge."""
    for anchor in job.of(Quantity.MASS, (Role.MEASURED,)):
        if not MASS.accepts(anchor) or kind_of(job, anchor) in ("recovered", "lost", "added"):
            continue
        case = bind(job, limits, anchor, MASS, [PLATE])
        extra = [r for r in line_additions(job) if r.id not in (anchor.id, case.bound.get("plate", anchor).id)]
        yield replace(case, groups={"additions": tuple(extra)}) if extra else case


def judge(case: Case) -> Outcome | Missing | None:
    """Deviation in percent from the plate and what was said to go on top of it."""
    plate = case.span("plate", "oz")[1]
    if plate <= 0:
        return None
    additions = [case.of(r, "oz") for r in case.groups.get("additions", ())]
    extra = sum(ounces for ounces in additions if ounces < SMALL_ADDITION * plate)
    mass, rated = case.num("mass", "oz"), plate + extra
    if kind_of(case.job, case.anchor) is None and mass < WHOLE_FROM * rated:
        return Missing("whether this was the whole charge or an addition", unclear=True, reference=False)
    deviation = (mass / rated - 1) * 100
    band = case.limits.band()
    inner = max(band.in_high or 0.0, case.limits["in_oz"] / rated * 100)
    band = Band(min(band.low or 0, -inner), -inner, inner, max(band.high or 0, inner))
    if not extra and lines_matter(case.job) and band.high is not None and deviation > band.high:
        return Missing("addition for the length of the lines")
    against = case.said("plate")
    if extra:
        against += f" and {wording.amount(extra, 'oz')} for the lines"
    return case.judged(
        deviation,
        band,
        "%",
        result=f"{figure(abs(deviation))} % {'low' if deviation < 0 else 'high'}",
        against=against,
        basis=from_plate(case.bound["plate"], limits=[case.limits.limit("in_high")]),
        computed={"charge": (mass, "oz"), "rated": (rated, "oz")},
    )


RULE = Rule("charge-against-nameplate", (MASS, PLATE), judge, cases=cases)
