"""Air against a second library, and the laws of an airflow that carries heat."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fluewright.appliance.air_side import (
    air_heat_output,
    airflow,
    blower,
    external_static_pressure,
    moist_air_density,
    sensible_heat_factor,
)
from fluewright.combustion import moist_air_water_fraction
from fluewright.combustion.atmosphere import standard_atmosphere_pressure
from fluewright.errors import InputError, UnitError
from fluewright.units import convert, quantity

TEMPERATURES = st.floats(250.0, 340.0)
FRACTIONS = st.floats(0.0, 0.03)
PRESSURES = st.floats(70e3, 105e3)


@pytest.mark.law
@pytest.mark.parametrize("celsius", [-10.0, 10.0, 21.0, 35.0, 50.0])
@pytest.mark.parametrize("humidity", [0.0, 0.3, 0.8])
@pytest.mark.parametrize("pascal", [101325.0, 84000.0])
def test_moist_air_agrees_with_a_second_library(celsius: float, humidity: float, pascal: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, pascal)
    kelvin = celsius + 273.15
    water = moist_air_water_fraction(humidity, temperature=kelvin, pressure=pascal)
    density = moist_air_density(kelvin, pressure=pascal, water_fraction=water)
    assert float(density) == pytest.approx(psychrolib.GetMoistAirDensity(celsius, ratio, pascal), rel=5e-4)
    warmed = psychrolib.GetMoistAirEnthalpy(celsius + 25.0, ratio) - psychrolib.GetMoistAirEnthalpy(
        celsius, ratio
    )
    dry_air = float(density) / (1 + ratio)
    heat = air_heat_output(
        1.0,
        supply_temperature=kelvin + 25.0,
        return_temperature=kelvin,
        flow_temperature=kelvin,
        pressure=pascal,
        water_fraction=water,
    )
    assert float(heat) == pytest.approx(dry_air * warmed, rel=3e-3)


@pytest.mark.law
@settings(max_examples=40, deadline=None)
@given(
    back=TEMPERATURES,
    rise=st.floats(0.5, 60.0),
    water=FRACTIONS,
    pressure=PRESSURES,
    flow=st.floats(0.05, 5.0),
)
def test_airflow_is_the_inverse_of_output(
    back: float, rise: float, water: float, pressure: float, flow: float
) -> None:
    state = {
        "supply_temperature": back + rise,
        "return_temperature": back,
        "flow_temperature": back,
        "pressure": pressure,
        "water_fraction": water,
    }
    assert float(airflow(air_heat_output(flow, **state), **state)) == pytest.approx(flow, rel=1e-10)


@pytest.mark.law
def test_the_trade_constant_is_off_at_altitude_by_the_density_ratio() -> None:
    kelvin = float(convert(70.0, "degF", "K"))
    sea = float(sensible_heat_factor(kelvin))
    for feet in (0.0, 2000.0, 5280.0, 8000.0):
        pressure = float(standard_atmosphere_pressure(convert(feet, "foot", "m")))
        here = float(sensible_heat_factor(kelvin, pressure=pressure))
        assert here / sea == pytest.approx(
            float(moist_air_density(kelvin, pressure=pressure) / moist_air_density(kelvin)), rel=1e-9
        )
    # Denver's elevation: the constant overstates the heat by a fifth.
    assert here < 0.8 * sea


@pytest.mark.law
def test_mass_decides_not_the_place_where_the_volume_was_read() -> None:
    state = {
        "supply_temperature": 325.0,
        "return_temperature": 294.0,
        "pressure": 98e3,
        "water_fraction": 0.01,
    }
    at_return = air_heat_output(0.5, flow_temperature=294.0, **state)
    at_supply = air_heat_output(0.5 * 325.0 / 294.0, flow_temperature=325.0, **state)
    assert float(at_return) == pytest.approx(float(at_supply), rel=1e-12)


def test_no_airflow_is_inferred_without_a_rise() -> None:
    found = airflow(
        10e3,
        supply_temperature=np.array([294.0, 290.0, 310.0]),
        return_temperature=294.0,
        flow_temperature=294.0,
    )
    assert np.isnan(found).tolist() == [True, True, False]


@pytest.mark.law
def test_a_blower_gives_pressure_times_flow_and_heats_the_air_with_the_rest() -> None:
    # By hand: 1200 cfm = 0.5663 m³/s against 0.5 in. w.c. = 124.5 Pa is 70.5 W of air power.
    found = blower(
        quantity(450.0, "W"),
        volume_flow=quantity(1200.0, "cubic_foot_per_minute"),
        static_pressure=external_static_pressure(quantity(0.3, "inH2O"), quantity(-0.2, "inH2O")),
    )
    assert float(found.air_power) == pytest.approx(70.5, abs=0.1)
    assert float(found.efficiency) == pytest.approx(70.5 / 450.0, rel=2e-3)
    assert float(found.heat) == 450.0
    outside = blower(450.0, volume_flow=0.5, static_pressure=120.0, motor_in_air=False)
    assert float(outside.heat) == float(outside.air_power)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(InputError, match="pressure is 0"):
        moist_air_density(290.0, pressure=0.0)
    with pytest.raises(InputError, match="electric_power is -3"):
        blower(-3.0, volume_flow=0.5, static_pressure=100.0)
    with pytest.raises(UnitError, match="volume_flow is given in 'kelvin'"):
        air_heat_output(
            quantity(1.0, "kelvin"),
            supply_temperature=300.0,
            return_temperature=290.0,
            flow_temperature=290.0,
        )
