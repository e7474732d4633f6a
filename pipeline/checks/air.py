"""Air: standard atmosphere by altitude, gauge against absolute pressure, and sensible heat."""

from __future__ import annotations

from extractors.facts import Qualifier, Reading
from extractors.units import convert

SEA_LEVEL_PSIA = 14.69594877551
"""One standard atmosphere, 101.325 kPa."""
SENSIBLE_FACTOR = 1.08
"""BTU/h per cfm and delta_degF: 60 min/h × 0.24 BTU/lb°F × 0.075 lb/ft³ (ASHRAE Fundamentals, from memory)."""


def atmosphere_psia(altitude_ft: float | None) -> float:
    """Standard atmospheric pressure at an altitude in feet; sea level when it is not known.

    Source: ASHRAE Fundamentals, psychrometrics, as a public library codes it.
    """
    return float(SEA_LEVEL_PSIA * (1 - 6.8754e-6 * (altitude_ft or 0.0)) ** 5.2559)


def absolute_psia(value: float, reading: Reading, atmosphere: float) -> float:
    """A pressure in psia: gauge unless the reading says absolute or vacuum. Raises ValueError for other units.

    `value` is in the reading's own unit, so that either end of a range can be asked for. Microns are always absolute.
    """
    psi = convert(value, reading.unit or "", "psig")
    if reading.unit == "micron" or Qualifier.ABSOLUTE in reading.qualifiers:
        return psi
    if Qualifier.NEGATIVE_IS_VACUUM in reading.qualifiers:
        return atmosphere - abs(psi)
    return atmosphere + psi


def sensible_btuh(cfm: float, difference_degf: float, atmosphere: float) -> float:
    """Sensible heat in BTU/h of an airflow in cfm warmed or cooled by a difference in delta_degF."""
    return SENSIBLE_FACTOR * atmosphere / SEA_LEVEL_PSIA * cfm * difference_degf


def airflow_cfm(btuh: float, difference_degf: float, atmosphere: float) -> float:
    """Airflow in cfm that carries a sensible heat in BTU/h at a difference in delta_degF."""
    return btuh / (SENSIBLE_FACTOR * atmosphere / SEA_LEVEL_PSIA * difference_degf)
