"""What the rules about superheat and subcooling share: a line's temperature, its pressure, a figure said outright."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from extractors.facts import Quantity, Reading, Role
from pipeline.checks import saturation, wording
from pipeline.checks.binding import match, missing_of
from pipeline.checks.job import Job
from pipeline.checks.limits import Band, RuleLimits
from pipeline.checks.pairing import companion, unsteady
from pipeline.checks.rule import NOT_STEADY, Case, Missing, Need, Outcome, from_limit, from_plate
from pipeline.draft import Basis


def _surface(reading: Reading) -> bool:
    return reading.of in (None, "surface")


MOST_DEGF = 80.0
"""More superheat or subcooling than this is a slip of the ear, not of the machine."""


@dataclass(frozen=True)
class Side:
    """One side of the circuit: which line and pressure, and whether the line is warmer than saturation (superheat)."""

    name: str
    line: Need
    pressure: Need
    stated: Need
    target: Need
    vapour: bool

    def difference(self, refrigerant: str, psia: float, line_degf: float) -> tuple[float, float]:
        """(difference in delta_degF, saturation in degF). Raises OutsideTable."""
        line = saturation.dew(refrigerant) if self.vapour else saturation.bubble(refrigerant)
        saturated = line.degf(psia)
        return (line_degf - saturated if self.vapour else saturated - line_degf), saturated


def side(name: str, line: str, pressure: str, *, vapour: bool) -> Side:
    """The needs of one side of the circuit."""
    return Side(
        name=name,
        line=Need(
            "line", Quantity.TEMPERATURE, "degF", (line,), where=_surface, missing=f"{line} temperature at that moment"
        ),
        pressure=Need(
            "pressure", Quantity.PRESSURE, "psig", (pressure,), without=NOT_STEADY,
            missing=f"{pressure} at that moment",
        ),
        stated=Need("stated", Quantity.TEMPERATURE_DIFFERENCE, "delta_degF", (name,)),
        target=Need(
            "target", Quantity.TEMPERATURE_DIFFERENCE, "delta_degF", (name,),
            (Role.RATED, Role.SETPOINT, Role.EXPECTED),
        ),
        vapour=vapour,
    )  # fmt: skip


SUPERHEAT = side("superheat", "suction line", "suction pressure", vapour=True)
SUBCOOLING = side("subcooling", "liquid line", "head pressure", vapour=False)


def cases(job: Job, limits: RuleLimits, circuit: Side) -> Iterator[Case]:
    """One case a moment: a figure said outright with what it can be compared with, or line and pressure.

    A line without its pressure, or a pressure without its line, names the other.
    """
    lines, pressures, stated = (
        [r for r in job.of(need.quantity, (Role.MEASURED,)) if need.accepts(r) and not unsteady(r)]
        for need in (circuit.line, circuit.pressure, circuit.stated)
    )
    used: set[str] = set()
    for anchor in stated:
        case = Case(job, limits, {"stated": anchor})
        for key, candidates in (("line", lines), ("pressure", pressures)):
            beside = companion(job, anchor, candidates).reading
            if beside:
                case = replace(case, bound={**case.bound, key: beside})
        used.update(r.id for r in case.readings)
        yield _with_target(job, case, circuit)
    for anchor in lines:
        if anchor.id in used:
            continue
        found = companion(job, anchor, pressures)
        case = Case(job, limits, {"line": anchor})
        if found.reading:
            used.add(found.reading.id)
            case = replace(case, bound={"line": anchor, "pressure": found.reading})
            yield _with_target(job, _needs_refrigerant(case), circuit)
        elif pressures or not stated:
            yield replace(case, missing=missing_of(circuit.pressure, anchor, found.ambiguous, False))
    if not lines and not stated:
        for anchor in pressures:
            yield Case(job, limits, {"pressure": anchor}, missing=missing_of(circuit.line, anchor, (), False))


def _with_target(job: Job, case: Case, circuit: Side) -> Case:
    """The case with the target for it, if one was said. Several targets are as good as none."""
    found = match(job, case.anchor, circuit.target)
    return replace(case, bound={**case.bound, "target": found.reading}) if found.reading else case


def _needs_refrigerant(case: Case) -> Case:
    """The case; without a refrigerant nothing can be computed from it."""
    if case.refrigerant is not None or case.missing:
        return case
    said = [m.refrigerant.value for m in case.job.machines if m.refrigerant]
    if len(set(said)) > 1:
        return replace(case, missing=Missing("which refrigerant is in this circuit", unclear=True))
    if said:
        sentence = f"{wording.opening(wording.named(case.anchor))}: no verdict, because {said[0]} is not in the table."
        return replace(case, missing=Missing("refrigerant", sentence=sentence))
    return replace(case, missing=Missing("refrigerant"))


def computed_difference(case: Case, circuit: Side) -> tuple[float, float] | None:
    """(difference in delta_degF, saturation in degF) from line and pressure; None where it cannot be computed."""
    if not (case.has("line") and case.has("pressure")) or case.refrigerant is None:
        return None
    try:
        return circuit.difference(case.refrigerant.name, case.psia("pressure"), case.num("line", "degF"))
    except saturation.OutsideTable:
        return None


def judge(case: Case, circuit: Side, band: Band, basis: Basis, notes: list[str]) -> Outcome | Missing | None:
    """The difference, said or computed, against its band or its target."""
    computed = computed_difference(case, circuit)
    refrigerant = case.refrigerant.name if case.refrigerant else ""
    if not case.has("stated") and computed is None:
        where = f"{case.said('pressure')} of {refrigerant} lies outside the saturation table"
        return Missing("pressure inside the table", sentence=f"{wording.opening(circuit.name)}: no verdict, {where}.")
    value = case.num("stated", "delta_degF") if case.has("stated") else computed[0] if computed else 0.0
    if value < 0 or value > MOST_DEGF:
        return Missing(
            "second listen to pressure, line temperature and refrigerant",
            reference=False,
            sentence=(
                f"{wording.opening(circuit.name)} comes out at {case.show(value, 'delta_degF')}, which can hardly be: "
                "no verdict until pressure, line temperature and refrigerant have been confirmed."
            ),
        )
    text, what = f"{circuit.name} {case.show(value, 'delta_degF')}", ""
    values: dict[str, tuple[float, str | None]] = {}
    if computed:
        values = {"saturation": (computed[1], "degF"), circuit.name: (computed[0], "delta_degF")}
    if case.has("stated"):
        text = "as it was said"
        if computed:
            text = f"{case.show(computed[0], 'delta_degF')} from {case.said('line')} and {case.said('pressure')}"
    elif computed:
        what = f"{wording.opening(wording.named(case.bound['line']))} {case.said('line')}"
        what += f" at {case.said('pressure')} of {refrigerant}"
        text += f" (saturation {case.show(computed[1], 'degF')})"
    if case.has("stated") and computed and abs(computed[0] - value) > case.limits["disagree"]:
        notes.append("What was said and what the pressure gives do not agree.")
    if case.has("target"):
        low, high = case.span("target", "delta_degF")
        allowed = (case.limits.limit("target_in_high"), case.limits.limit("target_high"))
        band = Band(low - allowed[1].value, low - allowed[0].value, high + allowed[0].value, high + allowed[1].value)
        against = f"a target of {case.said('target')}"
        basis = from_plate(case.bound["target"], limits=allowed)
    else:
        against = case.show_span(band.in_low or 0, band.in_high or 0, "delta_degF")
    return case.judged(
        value, band, "delta_degF", what=what, result=text, against=against, basis=basis, computed=values, notes=notes
    )


def at_compressor(case: Case) -> bool:
    """Whether the line's temperature was taken at the compressor."""
    line = case.bound.get("line") or case.anchor
    return "compressor" in (line.place or "").casefold() or "at the compressor" in line.evidence.quote.casefold()


def default_basis(case: Case, name: str) -> Basis:
    """Basis without a target: the regulation for room air conditioning, else common practice that borrows its band."""
    limit = case.limits.limit(name)
    if limit.from_shop or "air_conditioning" in case.kinds:
        return from_limit(limit)
    return Basis(kind="common_practice", source=f"default, not from the plate; {limit.source.title}")
