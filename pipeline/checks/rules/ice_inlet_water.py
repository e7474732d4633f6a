"""Temperature and pressure of the water that an ice machine gets."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Qualifier, Quantity, Rating, Reading, Role
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit, from_plate

PLATE_ROLES = (Role.RATED, Role.EXPECTED)
TEMPERATURE = Need("temperature", Quantity.TEMPERATURE, "degF", ("inlet water",))
PRESSURE = Need("pressure", Quantity.PRESSURE, "psig", ("inlet water",), without=frozenset({Qualifier.STANDBY}))
PLATE = Need("plate", Quantity.PRESSURE, "psig", ("inlet water",), PLATE_ROLES)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each figure of the inlet water; for a machine that nobody named it asks what it is."""
    for need in (TEMPERATURE, PRESSURE):
        for anchor in job.of(need.quantity, (Role.MEASURED,)):
            if not need.accepts(anchor) or (need is PRESSURE and anchor.unit not in ("psig", "bar", "kPa")):
                continue
            kinds = job.kinds_of(anchor)
            case = Case(job, limits, {need.key: anchor}, tag=need.key)
            if not kinds:
                yield replace(case, missing=Missing("kind of machine"))
            elif "ice_machine" in kinds:
                yield _with_plate(case, need)


def _with_plate(case: Case, need: Need) -> Case:
    """The case with the plate's own ends of that quantity."""
    marked = [r for r in case.job.of(need.quantity, PLATE_ROLES) if r.subject == "inlet water"]
    ends = tuple(r for r in marked if _is_end(r) or (r.low is not None and r.high is not None))
    return replace(case, groups={"plate": ends}) if ends else case


def _is_end(reading: Reading) -> bool:
    return reading.rating in (Rating.MIN, Rating.MAX) or bool(
        {Qualifier.MINIMUM, Qualifier.AT_LEAST, Qualifier.AT_MOST, Qualifier.PEAK} & set(reading.qualifiers)
    )


def judge(case: Case) -> Outcome:
    """Against the plate where it gave an end, else the makers' usual figures."""
    key, unit = case.tag, "degF" if case.tag == "temperature" else "psig"
    band, basis = case.limits.band(key), from_limit(case.limits.limit(f"{key}_high"))
    for reading in case.groups.get("plate", ()):
        low, high = case.span_of(reading, unit)
        basis = from_plate(reading)
        if low < high:
            band = Band(low, None, None, high)
        elif reading.rating is Rating.MAX or {Qualifier.AT_MOST, Qualifier.PEAK} & set(reading.qualifiers):
            band = replace(band, in_high=None, high=high)
        else:
            band = replace(band, in_low=None, low=low)
    value = case.num(key, unit)
    low_end = band.in_low if band.in_low is not None else band.low or 0.0
    high_end = band.in_high if band.in_high is not None else band.high or 0.0
    return case.judged(
        value,
        band,
        unit,
        result="as it should be" if low_end <= value <= high_end else "too low" if value < low_end else "too high",
        against=case.show_span(low_end, high_end, unit),
        basis=basis,
    )


RULE = Rule("ice-inlet-water", (TEMPERATURE, PRESSURE, PLATE), judge, cases=cases, steady=True)
