"""Carbon monoxide in the air that people breathe."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit

AIR = ("ambient", "supply air", "box", "return air", "unit", "room", "boiler room", "house")
CO_WORDS = ("carbon monoxide", " co ")
LEAST_STEP = 1e-6


def _is_co(reading: Reading) -> bool:
    return reading.of == "CO"


CO = Need("co", Quantity.CONCENTRATION, "ppm", AIR)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each concentration in air; one that does not say what it was of asks for that."""
    for anchor in job.of(Quantity.CONCENTRATION, (Role.MEASURED,)):
        if not CO.accepts(anchor):
            continue
        text = f" {anchor.evidence.quote} {job.context(anchor)} ".casefold()
        if _is_co(anchor) or (anchor.of is None and any(word in text for word in CO_WORDS)):
            yield Case(job, limits, {"co": anchor})
        elif anchor.of is None:
            yield Case(job, limits, {"co": anchor}, missing=Missing("substance that was measured", reference=False))


def judge(case: Case) -> Outcome:
    """Parts per million; a message for every step, never softened."""
    ppm = case.num("co", "ppm")
    below, high, leave = (case.limits[name] for name in ("in_below", "high", "leave"))
    note, result = "", "below it"
    if ppm >= leave:
        note, result = "Everybody out, and call the emergency number.", "dangerous"
    elif ppm >= high:
        note, result = "Ventilate and shut the appliance down.", "too much"
    elif ppm >= below:
        note, result = "Find the source.", "more than there should be"
    return case.judged(
        ppm,
        Band(None, None, below * (1 - LEAST_STEP), high),
        "ppm",
        what=f"Carbon monoxide {case.said('co')} ({case.anchor.subject})",
        result=result,
        against=f"{below:g} ppm",
        basis=from_limit(case.limits.limit("in_below")),
        notes=[note],
    )


RULE = Rule("carbon-monoxide-ambient", (CO,), judge, cases=cases, never_soft=True)
