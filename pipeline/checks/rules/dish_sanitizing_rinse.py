"""Final rinse of a hot-water dish machine, and the temperature that a utensil reached."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Role
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit, from_plate

RINSE_SUBJECTS = ("final rinse", "rinse", "rinse manifold")
UTENSILS = ("product", "puck", "plate", "utensil", "dish", "ware")
RINSE = Need("rinse", Quantity.TEMPERATURE, "degF", RINSE_SUBJECTS)
LEAST = Need("least", Quantity.TEMPERATURE, "degF", RINSE_SUBJECTS, (Role.RATED,))
UTENSIL = Need("utensil", Quantity.TEMPERATURE, "degF", UTENSILS)
UNKNOWN = Missing("kind of dish machine (hot-water or chemical, one temperature or two)")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each rinse with the plate's smallest; each utensil temperature of a dish machine."""
    for anchor in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)):
        if RINSE.accepts(anchor):
            yield bind(job, limits, anchor, RINSE, [LEAST])
        elif UTENSIL.accepts(anchor) and "dish_machine" in job.kinds_of(anchor):
            yield Case(job, limits, {"utensil": anchor}, tag="utensil")


def judge(case: Case) -> Outcome | Missing | None:
    """Degrees against the plate's smallest or the food code; asks for the kind of machine where it matters."""
    if case.has("utensil"):
        return _held(case, "utensil", case.limits["utensil_low"], None, "utensil_low")
    high = case.limits["high"]
    if case.has("least"):
        low = case.span("least", "degF")[0]
        outcome = _held(case, "rinse", low, high, "low")
        return replace(outcome, basis=from_plate(case.bound["least"]))
    if "chemical_sanitizing" in case.kinds:
        return None
    value = case.num("rinse", "degF")
    dual, single = case.limits["low"], case.limits["single_low"]
    if "single_temperature" in case.kinds:
        return _held(case, "rinse", single, high, "single_low")
    if "hot_water_sanitizing" not in case.kinds or single <= value < dual:
        return UNKNOWN
    return _held(case, "rinse", dual, high, "low")


def _held(case: Case, key: str, low: float, high: float | None, name: str) -> Outcome:
    value = case.num(key, "degF")
    ends = case.show_span(low, high, "degF") if high is not None else f"at least {case.show(low, 'degF')}"
    fits = value >= low and (high is None or value <= high)
    return case.judged(
        value,
        Band(low=low, high=high),
        "degF",
        result="hot enough" if fits else "not hot enough" if value < low else "too hot: it turns to steam",
        against=ends,
        basis=from_limit(case.limits.limit(name)),
        notes=["Ware is not sanitised until this is right."] if value < low else (),
    )


RULE = Rule("dish-sanitizing-rinse", (RINSE, LEAST, UTENSIL), judge, cases=cases, never_soft=True)
