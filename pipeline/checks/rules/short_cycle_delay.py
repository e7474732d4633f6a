"""The delay that keeps a compressor from starting again too soon."""

from __future__ import annotations

from extractors.facts import Quantity, Reading, Role
from pipeline.checks.rule import Case, Need, Outcome, Rule, from_limit
from pipeline.checks.wording import amount

OTHER_DELAYS = ("oil", "fan", "blower", "purge", "ignit", "defrost", "bin", "door", "pump", "light", "drip", "alarm")
CUES = ("delay", "short cycl", "short-cycl", "off time", "between starts", "minimum off", "anti")


def _short_cycle(reading: Reading) -> bool:
    """Whether a time is the delay between starts and not one of the many others of a control."""
    text = f"{reading.place or ''} {reading.evidence.quote}".casefold()
    if any(word in text for word in OTHER_DELAYS):
        return False
    return reading.subject == "time delay" or any(cue in text for cue in CUES)


DELAY = Need(
    "delay", Quantity.DURATION, "min", ("time delay", "controller", "control board"), (Role.SETPOINT, Role.MEASURED),
    where=_short_cycle,
)  # fmt: skip


def judge(case: Case) -> Outcome:
    """Minutes between starts."""
    value = case.num("delay", "min")
    limit = case.limits.limit("in_low")
    high = case.limits["in_high"]
    return case.judged(
        value,
        case.limits.band(),
        "min",
        result="long enough" if value >= limit.value else "short",
        against=f"{amount(limit.value, 'min')} to {amount(high, 'min')}",
        basis=from_limit(limit),
    )


RULE = Rule("short-cycle-delay", (DELAY,), judge)
