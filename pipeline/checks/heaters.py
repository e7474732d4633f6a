"""What the rules about heaters share: rated power and voltage, and how many phases or elements share them."""

from __future__ import annotations

from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Missing, Need
from pipeline.checks.subjects import HEATERS

POWER = Need(
    "power", Quantity.POWER, "W", HEATERS, (Role.RATED,), missing="rated watts of the {subject}", same_subject=True
)
VOLTAGE = Need("voltage", Quantity.VOLTAGE, "V", HEATERS, (Role.RATED,), same_subject=True)
UNIT_VOLTAGE = replace(VOLTAGE, subjects=("unit", "line"), same_subject=False, missing="rated volts of the {subject}")


def rated_case(job: Job, limits: RuleLimits, anchor: Reading, first: Need, others: tuple[Need, ...] = ()) -> Case:
    """The case of a heater's figure with its rated power and voltage; a single plate voltage stands in for its own."""
    case = bind(job, limits, anchor, first, [POWER, VOLTAGE, *others])
    if case.missing or case.has("voltage"):
        return case
    fallback = bind(job, limits, anchor, first, [UNIT_VOLTAGE])
    plate = fallback.bound.get("voltage")
    if plate is None or plate.value is None:
        return replace(case, missing=Missing((UNIT_VOLTAGE.missing or "").format(subject=anchor.subject)))
    return replace(case, bound={**case.bound, "voltage": plate})


def voltage_note(case: Case) -> list[str]:
    """Says where the voltage came from when it was not the heater's own."""
    return [] if case.bound["voltage"].subject in HEATERS else ["Its rated voltage was taken from the machine's plate."]


SHARES = (2, 3, 4, 6)


def shared(ratio: float, low_pct: float, high_pct: float) -> bool:
    """Whether a figure fits when 2, 3, 4 or 6 elements or phases share the rated power; `ratio` of 1 is one element."""
    return any(
        1 + low_pct / 100 <= ratio / share <= 1 + high_pct / 100 for n in SHARES for share in (float(n), 1.0 / n)
    )
