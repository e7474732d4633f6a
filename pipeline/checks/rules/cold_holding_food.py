"""Cold food against the food code. Air is not food: it can only ask for a product temperature."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.food import BOX, NO_COLD_FOOD, PRODUCT, cold
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import on_the_way, unsteady
from pipeline.checks.rule import Case, Outcome, Rule, from_limit
from pipeline.draft import Verdict

UNKNOWN_TIME = "How long it was warmer is not known here: the operator judges the food under the health code."


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Every product temperature; the air of a box in a stage without one."""
    temperatures = [r for r in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)) if _refrigerated(job, r)]
    products = [r for r in temperatures if PRODUCT.accepts(r)]
    for product in products:
        yield Case(job, limits, {"product": product})
    stages = {r.stage for r in products}
    passed = on_the_way(job, [r for r in temperatures if BOX.accepts(r)])
    for box in temperatures:
        if BOX.accepts(box) and box.stage not in stages and box.id not in passed and not unsteady(box):
            yield Case(job, limits, {"box": box})


def _refrigerated(job: Job, reading: Reading) -> bool:
    """Whether a temperature is of a machine that holds food cold, and not of a freezer."""
    kinds = job.kinds_of(reading)
    return cold(reading) and not kinds & NO_COLD_FOOD and "freezer" not in kinds


def judge(case: Case) -> Outcome:
    """Product against the code; air above it is marginal at most."""
    limit = case.limits.limit("high")
    shown = case.show(limit.value, "degF")
    if case.has("product"):
        value = case.num("product", "degF")
        outcome = case.judged(
            value,
            case.limits.band(),
            "degF",
            result="cold enough" if value <= limit.value else "too warm",
            against=f"{shown} at most",
            basis=from_limit(limit),
        )
        if outcome.verdict is Verdict.OUT_OF_TOLERANCE:
            return replace(outcome, notes=(UNKNOWN_TIME,))
        return outcome
    value = case.num("box", "degF")
    warm = value > limit.value
    return case.judged(
        value,
        case.limits.band(),
        "degF",
        result="air above it" if warm else "air below it",
        against=f"{shown} at most for food",
        basis=from_limit(limit),
        notes=["This is air: take a product temperature."] if warm else ("This is air, not food.",),
        at_most=Verdict.MARGINAL,
    )


RULE = Rule("cold-holding-food", (replace(PRODUCT, key="product"), BOX), judge, cases=cases, never_soft=True)
