"""Gas pressure at the manifold and at the inlet against the plate."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Quantity, Rating, Reading, Role
from pipeline.checks import wording
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.pairing import figures
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_plate

PLATE_ROLES = (Role.RATED, Role.EXPECTED)
MANIFOLD = Need("manifold", Quantity.PRESSURE, "inWC", ("manifold",))
PLATE = Need(
    "plate", Quantity.PRESSURE, "inWC", ("manifold",), PLATE_ROLES, missing="rated manifold pressure",
)  # fmt: skip
SUPPLY = Need("supply", Quantity.PRESSURE, "inWC", ("gas supply",))
RANGE = Need(
    "range", Quantity.PRESSURE, "inWC", ("gas supply",), PLATE_ROLES, missing="gas supply pressures of the plate"
)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each manifold pressure with the plate's, each supply pressure with its smallest and largest."""
    pressures = job.of(Quantity.PRESSURE, (Role.MEASURED,))
    for anchor in pressures:
        if MANIFOLD.accepts(anchor):
            yield bind(job, limits, anchor, MANIFOLD, [PLATE])
    marked = [r for role in PLATE_ROLES for r in job.of(Quantity.PRESSURE, (role,)) if RANGE.accepts(r)]
    for anchor in pressures:
        if not SUPPLY.accepts(anchor):
            continue
        ends = _ends(marked)
        if ends:
            yield Case(job, limits, {"supply": anchor}, {"range": ends})
        else:
            yield Case(job, limits, {"supply": anchor}, missing=Missing(RANGE.missing or ""))


def _ends(marked: list[Reading]) -> tuple[Reading, ...]:
    """The plate's range, as one reading or as a smallest and a largest; empty when they contradict each other."""
    wide = [r for r in marked if r.low is not None and r.high is not None]
    if len({figures(r) for r in wide}) == 1:
        return (wide[0],)
    low = [r for r in marked if r.rating is Rating.MIN or "minimum" in r.qualifiers or "at_least" in r.qualifiers]
    high = [r for r in marked if r.rating is Rating.MAX or "peak" in r.qualifiers or "at_most" in r.qualifiers]
    if len({figures(r) for r in low}) > 1 or len({figures(r) for r in high}) > 1:
        return ()
    return (*low[:1], *high[:1])


def judge(case: Case) -> Outcome | None:
    """Inches of water from the plate's manifold pressure; the supply inside the plate's range."""
    if case.has("manifold"):
        low, high = case.span("plate", "inWC")
        value = case.num("manifold", "inWC")
        off = value - min(max(value, low), high)
        band = case.limits.band()
        return case.judged(
            off,
            band,
            "inWC",
            result=f"{wording.amount(abs(off), 'inWC')} {'below' if off < 0 else 'above'}" if off else "as marked",
            against=case.said("plate"),
            basis=from_plate(case.bound["plate"], limits=[case.limits.limit("in_high")]),
        )
    value = case.num("supply", "inWC")
    bottom, top = _range(case)
    fits = (bottom is None or value >= bottom) and (top is None or value <= top)
    return case.judged(
        value,
        Band(low=bottom, high=top),
        "inWC",
        result="inside the plate's range" if fits else "outside the plate's range",
        against=wording.joined([wording.said(r) for r in case.groups["range"]], "to"),
        basis=from_plate(case.groups["range"][0]),
    )


def _range(case: Case) -> tuple[float | None, float | None]:
    """Smallest and largest supply pressure of the plate, either of which may not have been said."""
    bottom = top = None
    for reading in case.groups["range"]:
        low, high = case.span_of(reading, "inWC")
        if low < high:
            return low, high
        if reading.rating is Rating.MAX or "at_most" in reading.qualifiers or "peak" in reading.qualifiers:
            top = high
        else:
            bottom = low
    return bottom, top


RULE = Rule("gas-pressure", (MANIFOLD, PLATE, SUPPLY, RANGE), judge, cases=cases)
