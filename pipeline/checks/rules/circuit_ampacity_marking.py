"""Breaker and total amps against the ampacity markings of the plate. It never names a wire or breaker to fit."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Quantity, Rating, Reading, Role
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.rule import NOT_STEADY, Case, Need, Outcome, Rule, from_plate
from pipeline.checks.wording import figure
from pipeline.draft import Basis

CIRCUIT = ("unit", "line", "breaker", "fuse", "disconnect", "wiring")
BREAKER = Need("breaker", Quantity.CURRENT, "A", ("breaker", "fuse"), (Role.RATED,), ratings=(None,))
TOTAL = Need("total", Quantity.CURRENT, "A", ("unit",), without=NOT_STEADY)
LARGEST = Need(
    "largest", Quantity.CURRENT, "A", CIRCUIT, (Role.RATED,), ratings=(Rating.MOCP,),
    missing="largest overcurrent protection on the plate (MOCP)",
)  # fmt: skip
AMPACITY = Need("ampacity", Quantity.CURRENT, "A", CIRCUIT, (Role.RATED,), ratings=(Rating.MCA,))


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """The breaker with the largest protection, and the total amps with the minimum ampacity.

    Only a plate that gave the one marking is asked for the other.
    """
    rated = job.of(Quantity.CURRENT, (Role.RATED,))
    marked = any(AMPACITY.accepts(r) for r in rated)
    for anchor in rated:
        if BREAKER.accepts(anchor):
            case = bind(job, limits, anchor, BREAKER, [LARGEST])
            if case.has("largest") or marked:
                yield case
    for anchor in job.of(Quantity.CURRENT, (Role.MEASURED,)):
        if TOTAL.accepts(anchor):
            case = bind(job, limits, anchor, TOTAL, [AMPACITY])
            if case.has("ampacity"):
                yield case


def judge(case: Case) -> Outcome | None:
    """Breaker at most the largest protection; total amps in percent of the ampacity."""
    if case.has("breaker"):
        size, most = case.num("breaker", "A"), case.span("largest", "A")[1]
        share = case.limits["breaker_high"] / 100
        return case.judged(
            size,
            Band(high=most * share),
            "A",
            result="not larger than marked" if size <= most * share else "larger than marked",
            against=f"at most {case.said('largest')}",
            basis=_basis(case.bound["largest"], case, "breaker_high"),
        )
    ampacity = case.span("ampacity", "A")[0]
    if ampacity <= 0:
        return None
    percent = case.num("total", "A") / ampacity * 100
    return case.judged(
        percent,
        case.limits.band("ampacity"),
        "%",
        result=f"{figure(percent)} % of it",
        against=f"{case.said('ampacity')} minimum circuit ampacity",
        basis=_basis(case.bound["ampacity"], case, "ampacity_in_high"),
    )


def _basis(plate: Reading, case: Case, name: str) -> Basis:
    limit = case.limits.limit(name)
    return from_plate(plate, limits=[limit] if limit.from_shop else [])


RULE = Rule("circuit-ampacity-marking", (BREAKER, LARGEST, TOTAL, AMPACITY), judge, cases=cases)
