"""The temperature of a box against its setpoint, and a display against a probe."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from extractors.facts import Qualifier, Quantity, Role, Stage
from pipeline.checks import wording
from pipeline.checks.binding import bind
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.pairing import companion, near, on_the_way, same_place, unsteady
from pipeline.checks.rule import Case, Missing, Need, Outcome, Rule, from_limit, from_plate, place
from pipeline.checks.subjects import SETTERS
from pipeline.draft import Verdict

STILL_MOVING_DEGF = 1.0
ONE_BOX_DEGF = 40.0
"""A display and a probe farther apart than this are hardly of one box."""
EXTREMES = frozenset({Qualifier.MINIMUM, Qualifier.PEAK})
BOX = Need("box", Quantity.TEMPERATURE, "degF", ("box", "cavity", "room"), without=EXTREMES)
SETPOINT = Need("setpoint", Quantity.TEMPERATURE, "degF", SETTERS, (Role.SETPOINT,), missing="setpoint")
DIFFERENTIAL = Need("differential", Quantity.TEMPERATURE_DIFFERENCE, "delta_degF", SETTERS, (Role.SETPOINT, Role.RATED))
DISPLAY = Need("display", Quantity.TEMPERATURE, "degF", ("display",))


def cases(job: Job, limits: RuleLimits) -> Iterator[Case]:
    """Each box temperature that is not on the way of a series, and each display with the probe beside it."""
    temperatures = job.of(Quantity.TEMPERATURE, (Role.MEASURED,))
    boxes = [r for r in temperatures if BOX.accepts(r)]
    passed = on_the_way(job, boxes)
    for anchor in boxes:
        if anchor.id not in passed and not unsteady(anchor):
            yield bind(job, limits, anchor, BOX, [SETPOINT, DIFFERENTIAL])
    for display in temperatures:
        if not DISPLAY.accepts(display):
            continue
        probe = companion(job, display, [r for r in boxes if near(job, r, display)]).reading
        if probe:
            yield Case(job, limits, {"display": display, "box": probe}, tag="display")


def judge(case: Case) -> Outcome | Missing | None:
    """Degrees from the setpoint; with a differential, up to that far above it is right."""
    return _display(case) if case.has("display") else _box(case)


def _box(case: Case) -> Outcome | Missing:
    low, high = case.span("setpoint", "degF")
    setpoint, band = low, case.limits.band()
    spread = case.num("differential", "delta_degF") if case.has("differential") else high - low
    band = replace(band, in_high=(band.in_high or 0) + spread, high=(band.high or 0) + spread)
    off = case.num("box", "degF") - setpoint
    if _still_coming(case, setpoint) and place(off, band) is not Verdict.IN_TOLERANCE:
        text = f"{case.said('box')} is still on its way to {case.said('setpoint')}: no verdict yet."
        return Missing("temperature once it has settled", reference=False, sentence=f"{_name(case)} {text}")
    result = f"{case.show(abs(off), 'delta_degF')} {'below' if off < 0 else 'above'}" if off else "as set"
    return case.judged(
        off,
        band,
        "delta_degF",
        what=f"Room {case.said('box')}" if _is_room(case) else "",
        result=result,
        against=f"{case.said('setpoint')} set",
        basis=from_plate(case.bound["setpoint"], limits=[case.limits.limit("high")]),
    )


def _name(case: Case) -> str:
    return "Room" if _is_room(case) else wording.opening(wording.named(case.anchor))


def _still_coming(case: Case, setpoint: float) -> bool:
    """Whether the reading ends a run, after the repair, that was still nearing the setpoint."""
    if case.anchor.stage is Stage.AS_FOUND or case.anchor.value is None:
        return False
    index = case.job.index
    before = [
        r
        for r in case.job.of(Quantity.TEMPERATURE, (Role.MEASURED,))
        if BOX.accepts(r)
        and r.stage is not Stage.AS_FOUND
        and index[r.id] < index[case.anchor.id]
        and same_place(r, case.anchor)
    ]
    if not before:
        return False
    last = abs(case.of(before[-1], "degF") - setpoint)
    return last - abs(case.num("box", "degF") - setpoint) >= STILL_MOVING_DEGF


def _is_room(case: Case) -> bool:
    """Whether what was called a box is the room that a machine heats or cools."""
    rooms = {"air_conditioning", "heating", "gas_heat"}
    return case.anchor.subject == "box" and bool(case.kinds & rooms) and "refrigeration" not in case.kinds


def _display(case: Case) -> Outcome | None:
    apart = abs(case.num("display", "degF") - case.num("box", "degF"))
    if apart > ONE_BOX_DEGF:
        return None
    band = case.limits.band("display")
    return case.judged(
        apart,
        Band(None, None, band.in_high, band.high),
        "delta_degF",
        what=f"Display {case.said('display')}, probe {case.said('box')}",
        result=f"{case.show(apart, 'delta_degF')} apart",
        against=f"at most {case.show(band.in_high or 0, 'delta_degF')} apart",
        basis=from_limit(case.limits.limit("display_in_high")),
    )


RULE = Rule(
    "box-against-setpoint", (BOX, SETPOINT, DIFFERENTIAL, DISPLAY), judge, cases=cases, not_kinds=("rapid_chill",)
)
