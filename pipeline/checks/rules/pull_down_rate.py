"""How fast the box falls after the repair against before."""

from __future__ import annotations

from collections.abc import Iterator

from extractors.facts import Quantity, Role, Stage
from extractors.units import convert
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.pairing import identity, reference
from pipeline.checks.rule import TINY, Case, Missing, Need, Outcome, Rule, from_limit
from pipeline.checks.rules.box_against_setpoint import SETPOINT
from pipeline.checks.trends import fall_per_h, minutes_to
from pipeline.checks.wording import figure
from pipeline.draft import Trend

BOX = Need(
    "box", Quantity.TEMPERATURE, "degF", ("box",), missing="second box temperature with its time, after the repair"
)
BEFORE = Need("before", Quantity.TEMPERATURE, "degF", ("box",), missing="second box temperature with its time")


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """The series of a box after the repair with the one before. One rate alone has no verdict."""
    boxes = [t for t in job.trends if t.subject == "box" and t.quantity is Quantity.TEMPERATURE]
    before = [t for t in boxes if t.stage is Stage.AS_FOUND and t.rate_per_h is not None]
    after = [t for t in boxes if t.stage is Stage.AS_LEFT and t.rate_per_h is not None]
    for later in after:
        earlier = next((t for t in before if _one_box(t, later)), None)
        if earlier is None:
            continue
        points = [job.draft.reading(p.reading) for p in (*earlier.points, *later.points)]
        bound = {"box": job.draft.reading(later.points[-1].reading)}
        setpoint = reference(job, bound["box"], [r for r in job.of(*_setpoints()) if SETPOINT.accepts(r)]).reading
        if setpoint:
            bound["setpoint"] = setpoint
        yield Case(job, limits, bound, {"points": tuple(points)}, tag=f"{earlier.id}/{later.id}")
    if before and not after:
        left = [r for r in job.of(Quantity.TEMPERATURE, (Role.MEASURED,)) if BOX.accepts(r)]
        for reading in left:
            if reading.stage is Stage.AS_LEFT:
                missing = Missing(BOX.missing or "", reference=False)
                yield Case(job, limits, {"box": reading}, missing=missing)
                return


def _setpoints() -> tuple[Quantity, tuple[Role, ...]]:
    return Quantity.TEMPERATURE, (Role.SETPOINT,)


def _one_box(one: Trend, other: Trend) -> bool:
    here, there = identity(one.place), identity(other.place)
    return not here or not there or bool(here & there)


def judge(case: Case) -> Outcome | None:
    """Rate after over rate before; a box that warmed before needs only to fall after."""
    trends = {t.id: t for t in case.job.trends}
    earlier, later = (trends[t] for t in case.tag.split("/"))
    was, now = (_degf_per_h(t) for t in (earlier, later))
    if was is None or now is None:
        return None
    lower = case.limits.limit("in_low")
    ratio = now / was if was > 0 else None
    band = Band(low=TINY * 10, in_low=lower.value) if ratio is not None else Band(low=TINY * 10)
    values: dict[str, tuple[float, str | None]] = {
        "fall an hour before": (was, "delta_degF"),
        "fall an hour after": (now, "delta_degF"),
    }
    minutes = _to_setpoint(case, later)
    if minutes is not None:
        values["minutes to setpoint, at least"] = (minutes, "min")
    text = (
        f"{figure(ratio)} times as fast" if ratio is not None and now > 0 else "falling" if now > 0 else "not falling"
    )
    notes = [f"To the setpoint at least {figure(minutes)} min more at that rate."] if minutes else []
    if ratio is not None and 0 < ratio <= lower.value:
        notes.append("Near the setpoint it slows by itself.")
    return case.judged(
        ratio if ratio is not None else now,
        band,
        "" if ratio is not None else "delta_degF",
        what=f"Box falling {case.show(now, 'delta_degF')} an hour after the repair",
        against=f"{case.show(was, 'delta_degF')} an hour before",
        result=text,
        basis=from_limit(lower, default=False),
        computed=values,
        notes=notes,
    )


def _degf_per_h(trend: Trend) -> float | None:
    """Fall of a series in delta_degF an hour."""
    fall = fall_per_h(trend)
    return None if fall is None else convert(fall, f"delta_{trend.unit}", "delta_degF")


def _to_setpoint(case: Case, trend: Trend) -> float | None:
    """Minutes to the setpoint at the straight-line rate, a lower bound."""
    if not case.has("setpoint") or trend.unit is None:
        return None
    low, high = case.span("setpoint", trend.unit)
    return minutes_to(trend, (low + high) / 2)


RULE = Rule("pull-down-rate", (BOX, BEFORE, SETPOINT), judge, cases=cases)
