"""The air round a machine, which changes slowly enough to be used for the whole of a visit."""

from __future__ import annotations

from dataclasses import replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks import wording
from pipeline.checks.binding import MOST_CHOICES
from pipeline.checks.pairing import figures, near, same_place
from pipeline.checks.rule import Case, Missing, Need


def _dry_bulb(reading: Reading) -> bool:
    return reading.of not in ("wet bulb", "dew point", "surface")


AMBIENT = Need("ambient", Quantity.TEMPERATURE, "degF", ("ambient",), where=_dry_bulb)


def ambient_of(case: Case, need: Need) -> Case:
    """The case with the ambient temperature: the only one, else that of the same stage, else the nearest said."""
    job, anchor = case.job, case.anchor
    fitting = [r for r in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)) if need.accepts(r) and same_place(anchor, r)]
    for narrower in (
        [r for r in fitting if anchor.stage and r.stage is anchor.stage],
        [r for r in fitting if near(job, anchor, r)],
    ):
        if len({figures(r) for r in fitting}) > 1 and narrower:
            fitting = narrower
    if len({figures(r) for r in fitting}) == 1:
        return replace(case, bound={**case.bound, need.key: fitting[0]})
    if not need.missing:
        return case
    if fitting:
        said = list(dict.fromkeys(wording.said(r) for r in fitting))
        which = f"which of {wording.joined(said, 'or')} is the {need.missing}"
        missing = Missing(which, unclear=True, reference=False, silent=len(said) > MOST_CHOICES)
        return replace(case, missing=missing)
    return replace(case, missing=Missing(need.missing, reference=False))
