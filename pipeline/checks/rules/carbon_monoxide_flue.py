"""Carbon monoxide of a flue sample, brought to no excess air."""

from __future__ import annotations

from extractors.facts import Quantity, Reading
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.wording import amount, figure

OXYGEN_OF_AIR = 20.9
FLUE = ("flue", "burner", "heat exchanger")


def _co(reading: Reading) -> bool:
    return reading.of == "CO" and reading.unit == "ppm"


CO = Need("co", Quantity.CONCENTRATION, "ppm", FLUE, where=_co)
OXYGEN = Need(
    "oxygen",
    Quantity.PERCENTAGE,
    "%",
    (*FLUE, "O2"),
    of=("O2",),
    missing="oxygen of the same flue sample",
    also=(Quantity.CONCENTRATION,),
)


def judge(case: Case) -> Outcome | Missing | None:
    """Air-free parts per million; never softened."""
    oxygen = case.num("oxygen", "%")
    if oxygen >= OXYGEN_OF_AIR:
        return Missing("oxygen of the flue sample (the figure said is that of air)", reference=False)
    free = case.num("co", "ppm") * OXYGEN_OF_AIR / (OXYGEN_OF_AIR - oxygen)
    limit = case.limits.limit("high")
    return case.judged(
        free,
        case.limits.band(),
        "ppm",
        what=f"Flue carbon monoxide {case.said('co')} at {case.said('oxygen')} oxygen",
        result=f"{amount(free, 'ppm')} air-free",
        against=f"at most {figure(limit.value)} ppm air-free",
        basis=from_limit(limit),
        computed={"air-free": (free, "ppm")},
    )


RULE = Rule("carbon-monoxide-flue", (CO, OXYGEN), judge, never_soft=True)
