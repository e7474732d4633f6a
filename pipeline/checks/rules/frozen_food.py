"""Frozen food and the air of a freezer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Condition, FindingStatus, Quantity, Role, Stage
from pipeline.checks.food import BOX, PRODUCT, cold
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.pairing import on_the_way, unsteady
from pipeline.checks.rule import Case, Outcome, Rule, from_limit
from pipeline.draft import Verdict

THAWED = frozenset({Condition.WARM, Condition.WET, Condition.DAMAGED})


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Every product temperature; the air of a box in a stage without one."""
    readings = [
        r
        for r in job.of(Quantity.TEMPERATURE, (Role.MEASURED,))
        if cold(r) and "freezer" in job.kinds_of(r) and not job.elsewhere(r)
    ]
    products = [r for r in readings if PRODUCT.accepts(r)]
    for product in products:
        yield Case(job, limits, {"product": product})
    stages = {r.stage for r in products}
    boxes = [r for r in readings if BOX.accepts(r)]
    passed = on_the_way(job, boxes)
    for box in boxes:
        if box.stage not in stages and box.id not in passed and not unsteady(box):
            yield Case(job, limits, {"box": box})


def judge(case: Case) -> Outcome:
    """Degrees against what keeps food frozen; product found soft is out whatever the air says."""
    key = "product" if case.has("product") else "box"
    limit = case.limits.limit("in_high")
    value = case.num(key, "degF")
    thawed = case.anchor.stage is not Stage.AS_LEFT and any(
        f.component == "product" and f.condition in THAWED and f.status is FindingStatus.OBSERVED
        for f in case.job.draft.findings
    )
    notes = ["This is air, not food."] if key == "box" else []
    if thawed:
        notes.append("Product was found soft: the operator judges it under the health code.")
    outcome = case.judged(
        value,
        case.limits.band(),
        "degF",
        result="cold enough" if value <= limit.value else "too warm",
        against=f"at most {case.show(limit.value, 'degF')}",
        basis=from_limit(limit),
        notes=notes,
    )
    return replace(outcome, verdict=Verdict.OUT_OF_TOLERANCE) if thawed else outcome


RULE = Rule(
    "frozen-food", (PRODUCT, BOX), judge, cases=cases, kinds=("freezer",), not_kinds=("ice_cream", "rapid_chill"),
    never_soft=True,
)  # fmt: skip
