"""Water: saturation over liquid and ice, vaporization, moist air, and the dew point of flue gas."""

from __future__ import annotations

import iapws
import numpy as np
import pandas as pd
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from iapws._iapws import _Sublimation_Pressure
from iapws.iapws97 import _PSat_T, _TSat_P

from fluewright.combustion import (
    flue_gas,
    fuel,
    moist_air_water_fraction,
    saturation_pressure,
    saturation_temperature,
    vaporization_enthalpy,
)
from fluewright.errors import InputError, UnitError
from fluewright.units import quantity

TRIPLE = 273.16


@pytest.mark.published
def test_ice_has_the_pressure_of_the_release() -> None:
    # IAPWS R14-08, check value; from memory
    assert saturation_pressure(230.0) == pytest.approx(8.94735, abs=5e-6)


def test_saturation_over_liquid_against_an_independent_library() -> None:
    kelvin = np.linspace(273.15, 647.0, 500)
    want = np.array([_PSat_T(t) for t in kelvin]) * 1e6
    np.testing.assert_allclose(saturation_pressure(kelvin), want, rtol=1e-12)
    pascal = np.geomspace(620.0, 22e6, 500)
    want = np.array([_TSat_P(p / 1e6) for p in pascal])
    np.testing.assert_allclose(saturation_temperature(pascal), want, rtol=1e-12)


def test_saturation_over_ice_against_an_independent_library() -> None:
    kelvin = np.linspace(180.0, 273.14, 300)
    want = np.array([_Sublimation_Pressure(t) for t in kelvin]) * 1e6
    np.testing.assert_allclose(saturation_pressure(kelvin), want, rtol=1e-10)


def test_vaporization_against_an_independent_library() -> None:
    for kelvin in (273.16, 298.15, 330.0, 373.15, 450.0, 600.0):
        liquid, vapor = (iapws.IAPWS95(T=kelvin, x=x) for x in (0, 1))
        assert vaporization_enthalpy(kelvin) == pytest.approx((vapor.h - liquid.h) * 1e3, rel=2e-4)


@pytest.mark.law
@settings(max_examples=200, deadline=None)
@given(st.floats(60.0, 647.0))
def test_dew_point_undoes_saturation(kelvin: float) -> None:
    # IF97 region 4 and the ice equation are 0.02 % apart at 0 °C: the frost point stops there.
    tolerance = 2e-3 if 273.0 < kelvin < 273.2 else 1e-8
    assert saturation_temperature(saturation_pressure(kelvin)) == pytest.approx(kelvin, abs=tolerance)


@pytest.mark.law
def test_saturation_rises_without_a_gap_at_freezing() -> None:
    kelvin = np.linspace(272.0, 274.5, 2001)
    pressure = saturation_pressure(kelvin)
    assert np.all(np.diff(pressure) > -1e-4 * pressure[1:])
    assert np.all(np.abs(np.diff(pressure)) < 1e-3 * pressure[1:])
    assert np.all(np.diff(saturation_temperature(np.geomspace(1.0, 1e5, 4001))) >= 0)


@pytest.mark.law
def test_vaporization_is_the_slope_of_saturation() -> None:
    """Clausius and Clapeyron at low pressure, where vapor is nearly ideal and liquid has no volume."""
    for kelvin in (280.0, 300.0, 320.0):
        slope = (
            np.log(saturation_pressure(kelvin + 0.01)) - np.log(saturation_pressure(kelvin - 0.01))
        ) / 0.02
        ideal = 8.3144621 * kelvin**2 * slope / 18.01528e-3
        assert vaporization_enthalpy(kelvin) == pytest.approx(ideal, rel=4e-3)


@pytest.mark.parametrize("celsius", [-40.0, -10.0, 0.5, 20.0, 35.0, 60.0])
@pytest.mark.parametrize("humidity", [0.1, 0.5, 1.0])
def test_moist_air_against_an_independent_library(celsius: float, humidity: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, 95_000.0)
    fraction = ratio / (ratio + psychrolib.GetHumRatioFromVapPres(95_000.0 / 2, 95_000.0))
    ours = moist_air_water_fraction(humidity, temperature=celsius + 273.15, pressure=95_000.0)
    assert ours == pytest.approx(fraction, rel=2e-3)


@pytest.mark.law
def test_relative_humidity_holds_only_at_its_temperature() -> None:
    at_20 = moist_air_water_fraction(0.5, temperature=293.15)
    assert moist_air_water_fraction(0.5, temperature=303.15) > 1.7 * at_20
    assert moist_air_water_fraction(0.0, temperature=293.15) == 0.0
    assert moist_air_water_fraction(1.0, temperature=293.15, pressure=80_000.0) > moist_air_water_fraction(
        1.0, temperature=293.15
    )


@pytest.mark.parametrize(
    ("humidity", "kelvin", "pascal"),
    [
        (50.0, 293.15, 101325.0),
        (-0.1, 293.15, 101325.0),
        (0.5, 200.0, 101325.0),
        (0.5, 400.0, 101325.0),
        (0.5, 20.0, 101325.0),
        (1.0, 370.0, 50_000.0),
        (0.5, 293.15, 0.0),
        (float("nan"), 293.15, 101325.0),
    ],
)
def test_what_is_no_moist_air(humidity: float, kelvin: float, pascal: float) -> None:
    with pytest.raises(InputError, match="is not moist air: humidity is a fraction from 0 to 1"):
        moist_air_water_fraction(humidity, temperature=kelvin, pressure=pascal)
    rows = moist_air_water_fraction(
        np.array([humidity, 0.5]), temperature=np.array([kelvin, 293.15]), pressure=pascal
    )
    assert np.isnan(rows[0])


@pytest.mark.law
@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("natural gas", 135.0, 138.0), ("propane", 129.0, 131.0)],  # ASHRAE Fundamentals; value from memory
)
def test_stoichiometric_dew_points(name: str, low: float, high: float) -> None:
    fahrenheit = (flue_gas(fuel(name), excess_air=0.0).water_dew_point - 273.15) * 1.8 + 32
    assert low - 0.5 <= fahrenheit <= high + 0.5


@pytest.mark.law
def test_the_flue_dew_point_is_the_saturation_of_its_vapor() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05, air_water_fraction=0.01, pressure=83_000.0)
    vapor = flue.wet["H2O"] * 83_000.0
    assert _PSat_T(flue.water_dew_point) * 1e6 == pytest.approx(vapor, rel=1e-9)
    assert flue.water_fraction == pytest.approx(flue.wet["H2O"], rel=1e-14)


@pytest.mark.law
def test_altitude_lowers_and_humidity_raises_the_dew_point() -> None:
    pressure = np.linspace(70_000.0, 105_000.0, 30)
    assert np.all(
        np.diff(flue_gas(fuel("natural gas"), oxygen_dry=0.05, pressure=pressure).water_dew_point) > 0
    )
    water = np.linspace(0.0, 0.04, 30)
    dew = flue_gas(fuel("natural gas"), excess_air=0.0, air_water_fraction=water).water_dew_point
    assert np.all(np.diff(dew) > 0)
    # One percent of water in the air moves the stoichiometric dew point by about a kelvin.
    raised = flue_gas(fuel("natural gas"), excess_air=0.0, air_water_fraction=0.01).water_dew_point
    assert raised - dew[0] == pytest.approx(1.0, abs=0.4)
    assert np.all(
        np.diff(flue_gas(fuel("propane"), oxygen_dry=np.linspace(0.0, 0.18, 40)).water_dew_point) < 0
    )


@pytest.mark.parametrize("function", [saturation_pressure, saturation_temperature, vaporization_enthalpy])
@pytest.mark.parametrize("wrong", [-1.0, 0.0, float("nan"), 1e12])
def test_out_of_range_is_an_error_or_not_a_number(function: object, wrong: float) -> None:
    assert callable(function)
    with pytest.raises(InputError, match="water is saturated only within"):
        function(wrong)
    assert np.all(np.isnan(function(np.array([wrong, wrong]))))


@pytest.mark.law
def test_water_takes_arrays_series_and_quantities() -> None:
    kelvin = np.array([250.0, 300.0, 350.0])
    want = saturation_pressure(kelvin)
    np.testing.assert_array_equal(saturation_pressure(pd.Series(kelvin)), want)
    np.testing.assert_allclose(saturation_pressure(quantity(kelvin - 273.15, "degC")), want, rtol=1e-12)
    assert isinstance(saturation_pressure(300.0), float)
    np.testing.assert_allclose(saturation_temperature(quantity(want / 100, "hPa")), kelvin, rtol=1e-10)
    np.testing.assert_allclose(
        vaporization_enthalpy(quantity([80.0], "degF")), vaporization_enthalpy([299.81666667])
    )
    fraction = moist_air_water_fraction(
        quantity(50.0, "percent"), temperature=quantity(68.0, "degF"), pressure=quantity(29.92, "inHg")
    )
    assert fraction == pytest.approx(
        moist_air_water_fraction(0.5, temperature=293.15, pressure=101_321.0), rel=1e-4
    )
    with pytest.raises(UnitError, match="temperature is given in 'pascal'"):
        saturation_pressure(quantity(300.0, "Pa"))
