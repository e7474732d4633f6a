"""Builds saturation.csv, the bubble and dew pressures of every refrigerant in refrigerants.toml.

Run `python -m pipeline.checks.make_saturation` with CoolProp installed; the program itself never loads CoolProp.
Where the solver for a blend fails, the node is filled from the good nodes beside it and marked in the file.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipeline.checks.refrigerants import refrigerants

OUT = Path(__file__).with_name("saturation.csv")
LOWEST_DEGF = -95.0
HIGHEST_DEGF = 165.0
STEP_DEGF = 2.5
BELOW_CRITICAL_DEGF = 0.5
"""Nearer to the critical point the two lines meet and a saturation temperature says little."""
PASCAL_PER_PSI = 6894.757293168361
NEIGHBOURS = 4
APART_DEGF = 0.8
"""Points closer together than this say the same twice and make the polynomial swing."""
MISFIT = 0.005
REACH_DEGF = 8.0
"""How far above the last answer a line is carried on; ln p on 1/T is nearly straight."""


def kelvin(degf: float) -> float:
    """Absolute temperature in kelvin."""
    return (degf + 459.67) / 1.8


def nodes(critical_degf: float, triple_degf: float) -> list[float]:
    """The temperatures of one refrigerant's rows, in degF; the last lies just below its critical point."""
    count = round((HIGHEST_DEGF - LOWEST_DEGF) / STEP_DEGF)
    grid = [LOWEST_DEGF + STEP_DEGF * i for i in range(count + 1)]
    end = min(HIGHEST_DEGF, critical_degf - BELOW_CRITICAL_DEGF)
    inside = [t for t in grid if triple_degf < t < end - 0.2]
    near = [end - 2.0, end - 1.0, end] if end < HIGHEST_DEGF else [end]
    return sorted({round(t, 2) for t in [*inside, *near]})


def psia(state: Any, inputs: Any, quality: float, degf: float) -> float | None:
    """Saturation pressure in psia, or None where the solver fails."""
    try:
        state.update(inputs, quality, kelvin(degf))
        pressure = float(state.p()) / PASCAL_PER_PSI
    except ValueError:
        return None
    return pressure if math.isfinite(pressure) and pressure > 0 else None


def beside_holes(state: Any, inputs: Any, quality: float, pressures: list[float]) -> list[tuple[float, float]]:
    """(degF, psia) that the solver gives when asked by pressure, which works in some of its holes."""
    found = []
    for psi in pressures:
        try:
            state.update(inputs, psi * PASCAL_PER_PSI, quality)
        except ValueError:
            continue
        found.append((float(state.T()) * 1.8 - 459.67, psi))
    return found


def filled(
    points: list[tuple[float, float | None]], more: list[tuple[float, float]]
) -> list[tuple[float, float, bool]]:
    """(degF, psia, filled?) with each hole bridged by a polynomial of ln p in 1/T through the nearest good points."""
    nodes_found = [(t, p) for t, p in points if p is not None]
    good = sorted(nodes_found + [point for point in more if _fits(point, nodes_found)])
    last_good = good[-1][0]
    out = []
    for t, p in points:
        if p is not None:
            out.append((t, p, False))
        elif t < last_good + REACH_DEGF:
            out.append((t, _bridged(good, t), True))
    return out


def _fits(point: tuple[float, float], nodes_found: list[tuple[float, float]]) -> bool:
    """Whether an answer lies on the line of the good nodes: near a critical point the solver also gives wrong ones."""
    degf, psi = point
    return degf < nodes_found[-1][0] + REACH_DEGF and abs(_bridged(nodes_found, degf) / psi - 1) < MISFIT


def _bridged(good: list[tuple[float, float]], degf: float) -> float:
    """Pressure in psia at a temperature, from the nearest good points."""
    spread: list[tuple[float, float]] = []
    for node in sorted(good, key=lambda node: abs(node[0] - degf)):
        if all(abs(node[0] - other[0]) > APART_DEGF for other in spread):
            spread.append(node)
        if len(spread) == NEIGHBOURS:
            break
    return math.exp(_lagrange(spread, degf))


def _lagrange(beside: list[tuple[float, float]], degf: float) -> float:
    """Ln p at a temperature, by the polynomial through the neighbours in 1/T."""
    x = 1 / kelvin(degf)
    xs = [1 / kelvin(t) for t, _ in beside]
    total = 0.0
    for i, (_, pressure) in enumerate(beside):
        weight = 1.0
        for j, other in enumerate(xs):
            if j != i:
                weight *= (x - other) / (xs[i] - other)
        total += weight * math.log(pressure)
    return total


def critical_degf(state: Any) -> float:
    """The lowest stable critical point, in degF. The solver finds several for some blends."""
    try:
        return float(state.T_critical()) * 1.8 - 459.67
    except ValueError:
        stable = [point.T for point in state.all_critical_points() if point.stable]
        return float(min(stable)) * 1.8 - 459.67


def rows(fluid: str, say: Callable[[str], None]) -> list[tuple[float, float, float, bool]]:
    """(degF, bubble psia, dew psia, filled?) of one fluid."""
    import CoolProp.CoolProp as CP

    state = CP.AbstractState("HEOS", fluid)
    critical = critical_degf(state)
    triple = max(float(state.Ttriple()), 0.0) * 1.8 - 459.67
    temperatures = nodes(critical, triple)
    lines = []
    for quality in (0.0, 1.0):
        found = [(t, psia(state, CP.QT_INPUTS, quality, t)) for t in temperatures]
        holes = [t for t, p in found if p is None]
        if holes:
            say(f"{fluid} quality {quality:g}: no answer at {holes}")
        top = max(p for _, p in found if p is not None)
        probes = [top * (0.8 + 0.01 * i) for i in range(35)] if holes else []
        more = beside_holes(state, CP.PQ_INPUTS, quality, probes)
        lines.append({t: (p, was_filled) for t, p, was_filled in filled(found, more)})
    bubble, dew = lines
    return [(t, bubble[t][0], dew[t][0], bubble[t][1] or dew[t][1]) for t in temperatures if t in bubble and t in dew]


def main() -> None:
    """Writes the table anew."""
    import CoolProp

    lines = [
        f"# Saturation pressures made by make_saturation.py with CoolProp {CoolProp.__version__}.",
        "# Interpolate ln p on 1/T (kelvin). filled: bridged from the neighbours where the solver gave no answer.",
        "refrigerant,degF,bubble_psia,dew_psia,filled",
    ]
    for name, refrigerant in refrigerants().items():
        for degf, bubble, dew, was_filled in rows(refrigerant.fluid, print):
            lines.append(f"{name},{degf:g},{bubble:.8g},{dew:.8g},{int(was_filled)}")
    OUT.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{len(lines) - 3} rows in {OUT.name}")


if __name__ == "__main__":
    main()
