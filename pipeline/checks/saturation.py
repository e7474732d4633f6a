"""Saturation temperatures and pressures by interpolation in a table that was made once; no library at run time."""

from __future__ import annotations

import csv
import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

TABLE = Path(__file__).with_name("saturation.csv")


class OutsideTable(ValueError):
    """A pressure or temperature that the table does not reach, or a refrigerant that it does not hold."""


@dataclass(frozen=True, slots=True)
class Line:
    """One saturation line of one refrigerant: 1/K falling, ln psia rising."""

    inverse_kelvin: tuple[float, ...]
    log_psia: tuple[float, ...]

    def degf(self, psia: float) -> float:
        """Temperature in degF at an absolute pressure in psia. Raises OutsideTable."""
        if psia <= 0:
            raise OutsideTable("no pressure")
        return 1.8 / _between(self.log_psia, self.inverse_kelvin, math.log(psia)) - 459.67

    def psia(self, degf: float) -> float:
        """Absolute pressure in psia at a temperature in degF. Raises OutsideTable."""
        if degf <= -459.67:
            raise OutsideTable("below absolute zero")
        rising = tuple(-x for x in self.inverse_kelvin)
        return math.exp(_between(rising, self.log_psia, -1.8 / (degf + 459.67)))


@cache
def _table() -> dict[str, tuple[Line, Line]]:
    """Bubble and dew line of each refrigerant."""
    points: dict[str, list[tuple[float, float, float]]] = {}
    with TABLE.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(line for line in file if not line.startswith("#")):
            point = (1.8 / (float(row["degF"]) + 459.67), float(row["bubble_psia"]), float(row["dew_psia"]))
            points.setdefault(row["refrigerant"], []).append(point)
    return {name: _lines(rows) for name, rows in points.items()}


def _lines(rows: Sequence[tuple[float, float, float]]) -> tuple[Line, Line]:
    """The two lines of one refrigerant's rows."""
    inverse = tuple(x for x, _, _ in rows)
    return (
        Line(inverse, tuple(math.log(bubble) for _, bubble, _ in rows)),
        Line(inverse, tuple(math.log(dew) for _, _, dew in rows)),
    )


def known() -> tuple[str, ...]:
    """The refrigerants of the table."""
    return tuple(_table())


def bubble(refrigerant: str) -> Line:
    """The liquid line, for subcooling. Raises OutsideTable for a refrigerant that the table does not hold."""
    return _both(refrigerant)[0]


def dew(refrigerant: str) -> Line:
    """The vapour line, for superheat. Raises OutsideTable for a refrigerant that the table does not hold."""
    return _both(refrigerant)[1]


def middle_degf(refrigerant: str, psia: float) -> float:
    """Halfway between bubble and dew temperature in degF, for a coil. Raises OutsideTable."""
    liquid, vapour = _both(refrigerant)
    return (liquid.degf(psia) + vapour.degf(psia)) / 2


def _both(refrigerant: str) -> tuple[Line, Line]:
    try:
        return _table()[refrigerant]
    except KeyError:
        raise OutsideTable(f"{refrigerant} is not in the table") from None


def _between(rising: Sequence[float], other: Sequence[float], x: float) -> float:
    """Straight-line interpolation; raises OutsideTable beyond either end."""
    if not rising[0] <= x <= rising[-1]:
        raise OutsideTable("outside the table")
    i = min(max(bisect_right(rising, x), 1), len(rising) - 1)
    share = (x - rising[i - 1]) / (rising[i] - rising[i - 1])
    return other[i - 1] + share * (other[i] - other[i - 1])
