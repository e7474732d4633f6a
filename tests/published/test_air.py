"""Standard atmosphere and air against psychrolib, and the table of ASHRAE Fundamentals as it is commonly printed."""

from __future__ import annotations

import pytest
from checking import cases

from extractors.units import convert
from pipeline.checks.air import airflow_cfm, atmosphere_psia, sensible_btuh


@pytest.mark.parametrize("feet", range(-1000, 15001, 500))
def test_standard_atmosphere_against_a_library(feet: int) -> None:
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.IP)
    assert atmosphere_psia(feet) == pytest.approx(psychrolib.GetStandardAtmPressure(feet), rel=5e-6)


@cases(
    "feet, psia, inches, factor",
    """
    0, 14.696, 29.92, 1.080; 1000, 14.173, 28.86, 1.042; 2000, 13.664, 27.82, 1.004; 3000, 13.171, 26.82, 0.968;
    4000, 12.692, 25.84, 0.933; 5000, 12.228, 24.90, 0.899; 6000, 11.777, 23.98, 0.865; 7000, 11.340, 23.09, 0.833;
    8000, 10.916, 22.23, 0.802; 10000, 10.107, 20.58, 0.743;
    """,
)
def test_table_of_altitudes(feet: float, psia: float, inches: float, factor: float) -> None:
    pressure = atmosphere_psia(feet)
    assert pressure == pytest.approx(psia, abs=6e-4)
    assert convert(pressure, "psig", "inHg") == pytest.approx(inches, abs=0.006)
    assert sensible_btuh(1, 1, pressure) == pytest.approx(factor, abs=6e-4)


def test_unknown_altitude_is_sea_level() -> None:
    assert atmosphere_psia(None) == pytest.approx(14.69595, abs=1e-5)


def test_the_factor_of_sensible_heat_against_dry_air() -> None:
    """Dry air at 70 °F carries 1.0784 BTU/h per cfm and °F; the trade rounds to 1.08."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.IP)
    change = psychrolib.GetDryAirEnthalpy(71) - psychrolib.GetDryAirEnthalpy(70)
    carried = 60 / psychrolib.GetMoistAirVolume(70, 0, 14.696) * change
    assert carried == pytest.approx(1.0784, abs=1e-3)
    assert sensible_btuh(1, 1, 14.69594877551) == pytest.approx(carried, rel=2e-3)


def test_airflow_is_the_inverse_of_sensible_heat() -> None:
    heat = sensible_btuh(1200, 20, 12.2279)
    assert heat == pytest.approx(21567, abs=1)
    assert airflow_cfm(heat, 20, 12.2279) == pytest.approx(1200)
