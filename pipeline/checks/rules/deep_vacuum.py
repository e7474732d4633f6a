"""The lowest vacuum reached in a system, in microns."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Qualifier, Quantity, Reading, Role
from pipeline.checks.job import Job
from pipeline.checks.limits import RuleLimits
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.wording import amount

COARSE = frozenset({"inHg", "psig", "bar", "kPa"})


def _fine(reading: Reading) -> bool:
    """Whether a pressure is an absolute one fine enough to show a deep vacuum."""
    return reading.unit == "micron" or Qualifier.ABSOLUTE in reading.qualifiers


VACUUM = Need("vacuum", Quantity.PRESSURE, "micron", ("system",), where=_fine)


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """The lowest figure of each stage; a vacuum told in inches only asks for microns."""
    pressures = [r for r in job.of(Quantity.PRESSURE, (Role.MEASURED,)) if r.subject == "system"]
    fine = [r for r in pressures if VACUUM.accepts(r)]
    for stage in dict.fromkeys(r.stage for r in fine):
        mine = [Case(job, limits, {"vacuum": r}) for r in fine if r.stage is stage]
        yield min(mine, key=lambda case: case.num("vacuum", "micron"))
    if not fine:
        for reading in pressures:
            if Qualifier.NEGATIVE_IS_VACUUM in reading.qualifiers and reading.unit in COARSE:
                yield Case(job, limits, {"vacuum": reading}, missing=Missing("vacuum in microns"))
                return


def judge(case: Case) -> Outcome:
    """Microns against the usual limits."""
    microns = case.num("vacuum", "micron")
    limit = case.limits.limit("in_high")
    return case.judged(
        microns,
        case.limits.band(),
        "micron",
        result="deep enough" if microns <= limit.value else "not deep enough",
        against=f"at most {amount(limit.value, 'micron')}",
        basis=from_limit(limit),
    )


RULE = Rule("deep-vacuum", (VACUUM,), judge, cases=cases)
