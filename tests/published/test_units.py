"""Every unit of the closed list against a library of units, and figures printed in NIST SP 811.

pint reads some of our names wrongly (cfm is centi-femto-metre to it), so each has its own name there.
"""

from __future__ import annotations

from typing import Any

import pytest
from checking import cases, reading

from extractors.facts import Qualifier
from extractors.units import convert, units
from pipeline.checks.air import absolute_psia

IN_PINT = {
    "V": "volt", "mV": "millivolt", "A": "ampere", "mA": "milliampere", "uA": "microampere", "W": "watt",
    "kW": "kilowatt", "ohm": "ohm", "kohm": "kiloohm", "Mohm": "megaohm", "uF": "microfarad", "Hz": "hertz",
    "degF": "degF", "degC": "degC", "delta_degF": "delta_degF", "delta_degC": "delta_degC", "psig": "psi",
    "kPa": "kilopascal", "Pa": "pascal", "bar": "bar", "mbar": "millibar", "inHg": "inch_Hg", "inWC": "inH2O",
    "micron": "micrometer_Hg", "lb": "pound", "oz": "ounce", "g": "gram", "kg": "kilogram", "s": "second",
    "min": "minute", "h": "hour", "d": "day", "cfm": "foot**3/minute", "cfh": "foot**3/hour", "fpm": "foot/minute",
    "gpm": "gallon/minute", "L/s": "liter/second", "gal": "gallon", "L": "liter", "ft": "foot", "in": "inch",
    "m": "meter", "mm": "millimeter", "cm": "centimeter", "BTU/h": "Btu_it/hour", "hp": "horsepower",
    "ton": "ton_of_refrigeration",
}  # fmt: skip
NO_PINT = {"%", "ppm", "rpm", "pH", "VA"}
"""Counted, logarithmic or of their own dimension to us: nothing to compare."""
VALUES = (-40.0, 0.0, 1.0, 37.25, 1234.5)


@pytest.fixture(scope="module")
def pint() -> Any:
    """A registry with the trade's pressure columns."""
    import pint as library

    registry = library.UnitRegistry()
    registry.define("micrometer_Hg = 1e-3 * millimeter_Hg")
    return registry


def test_every_unit_is_compared() -> None:
    assert set(units()) == set(IN_PINT) | NO_PINT


@pytest.mark.parametrize("unit", IN_PINT)
def test_conversion_to_every_other_unit_of_its_dimension(pint: Any, unit: str) -> None:
    """Both ways, within the six digits that NIST SP 811 prints for columns of mercury and water."""
    for other in IN_PINT:
        if units()[other].dimension != units()[unit].dimension:
            with pytest.raises(ValueError, match="different"):
                convert(1.0, unit, other)
            continue
        for value in VALUES:
            wanted = pint.Quantity(value, IN_PINT[unit]).to(IN_PINT[other]).magnitude
            assert convert(value, unit, other) == pytest.approx(wanted, rel=3e-6, abs=1e-9)
            assert convert(convert(value, unit, other), other, unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


@cases(
    "value, unit, to, result",
    """
    1, psig, kPa, 6.894757; 1, psig, bar, 0.06894757; 1, inHg, kPa, 3.386389; 1, inHg, psig, 0.491154;
    1, inWC, Pa, 249.0889; 1, inWC, psig, 0.0361273; 1, psig, inWC, 27.6799; 1, micron, Pa, 0.1333224;
    1, inHg, micron, 25400; 1, psig, micron, 51714.9; 1, lb, kg, 0.45359237; 1, oz, g, 28.349523;
    1, ton, W, 3516.853; 1, ton, BTU/h, 12000; 1, BTU/h, W, 0.29307107; 1, kW, BTU/h, 3412.142;
    1, cfm, L/s, 0.4719474; 1, gpm, L/s, 0.06309020; 20, degC, degF, 68; 20, delta_degC, delta_degF, 36;
    500, micron, Pa, 66.66; 500, micron, psig, 0.00967; 500, micron, inHg, 0.0197; 3.5, inWC, psig, 0.126446;
    """,
)
def test_printed_factors(value: float, unit: str, to: str, result: float) -> None:
    """NIST SP 811, Appendix B (from memory; inHg seen in a reprint)."""
    digits = 2e-3 if result in (66.66, 0.00967, 0.0197) else 2e-5
    assert convert(value, unit, to) == pytest.approx(result, rel=digits)


@cases(
    "figure, marks, psia",
    """
    0 psig, -, 14.69595; 100 kPa, -, 29.19968; 1 bar, -, 29.19972; 5 inHg, negative_is_vacuum, 12.24018;
    500 micron, -, 0.00966839; 30 psig, absolute, 30; -5 inHg, negative_is_vacuum, 12.24018;
    """,
)
def test_gauge_and_absolute(figure: str, marks: str | None, psia: float) -> None:
    """Absolute is gauge plus the atmosphere; microns are absolute; a vacuum counts down from the atmosphere."""
    options = f"q={marks}" if marks else ""
    one = reading(1, f"measured pressure | system | {figure} | {options}")
    assert absolute_psia(one.value or 0.0, one, 14.69594877551) == pytest.approx(psia, rel=1e-5)
    assert (Qualifier.NEGATIVE_IS_VACUUM in one.qualifiers) == (marks == "negative_is_vacuum")


def test_a_temperature_and_a_difference_are_never_mixed() -> None:
    with pytest.raises(ValueError, match="different"):
        convert(20, "degC", "delta_degF")
