"""Emission conversions: round trips, two ways to one number, inputs. Published values: tests/published."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fluewright.combustion.emissions import (
    annual_mass,
    carbon_dioxide_per_heat,
    dry_flue_by_composition,
    dry_flue_by_factor,
    emission_per_heat,
    emission_per_output,
    fraction_at_reference_oxygen,
    fraction_from_emission,
    fraction_from_mass_concentration,
    greenhouse_factor,
    greenhouse_gas,
    mass_concentration,
    published_fuel_factor,
)
from fluewright.combustion.flue import flue_gas
from fluewright.combustion.fuels import Fuel, fuel
from fluewright.errors import InputError, UnitError, UnknownNameError
from fluewright.units import convert, quantity

SPECIES = ("NOx", "NO", "NO2", "CO", "CO2", "SO2", "CH4", "N2O")
fractions = st.floats(1e-9, 1e-2)
oxygens = st.floats(0.0, 0.20)


@pytest.mark.law
@given(fraction=fractions, oxygen=oxygens, reference=oxygens)
def test_reference_oxygen_there_and_back(fraction: float, oxygen: float, reference: float) -> None:
    there = fraction_at_reference_oxygen(fraction, oxygen_dry=oxygen, reference_oxygen=reference)
    back = fraction_at_reference_oxygen(there, oxygen_dry=reference, reference_oxygen=oxygen)
    assert back == pytest.approx(fraction, rel=1e-12)
    assert (there > fraction) == (reference < oxygen) or there == pytest.approx(fraction)


@pytest.mark.law
@pytest.mark.parametrize("species", SPECIES)
@given(fraction=fractions, temperature=st.floats(250, 400), pressure=st.floats(7e4, 1.2e5))
def test_mass_concentration_there_and_back(
    species: str, fraction: float, temperature: float, pressure: float
) -> None:
    state = {"species": species, "temperature": temperature, "pressure": pressure}
    back = fraction_from_mass_concentration(mass_concentration(fraction, **state), **state)
    assert back == pytest.approx(fraction, rel=1e-12)


@pytest.mark.law
@given(fraction=fractions, oxygen=oxygens)
def test_emission_there_and_back(fraction: float, oxygen: float) -> None:
    for dry_flue in (
        dry_flue_by_factor(published_fuel_factor("propane"), oxygen_dry=oxygen),
        dry_flue_by_composition(flue_gas(fuel("propane"), oxygen_dry=oxygen), basis="net"),
    ):
        emission = emission_per_heat(fraction, species="NOx", dry_flue=dry_flue)
        assert fraction_from_emission(emission, species="NOx", dry_flue=dry_flue) == pytest.approx(
            fraction, rel=1e-12
        )


@pytest.mark.law
@pytest.mark.parametrize("name", ["methane", "propane", "natural gas", "butane"])
@pytest.mark.parametrize("oxygen", [0.0, 0.03, 0.09])
def test_factor_from_the_composition_gives_what_the_composition_gives(name: str, oxygen: float) -> None:
    gas = fuel(name)
    by_factor = dry_flue_by_factor(gas.fuel_factors.dry, oxygen_dry=oxygen)
    by_composition = dry_flue_by_composition(flue_gas(gas, oxygen_dry=oxygen))
    # The factor counts air with 20.9 % oxygen and heat at 60 °F, the balance 20.94 % and 25 °C.
    assert by_factor == pytest.approx(by_composition, rel=0.005)


@pytest.mark.law
def test_what_is_emitted_does_not_depend_on_dilution() -> None:
    oxygen = np.linspace(0, 0.14, 8)
    air_free = 120e-6
    measured = fraction_at_reference_oxygen(air_free, oxygen_dry=0.0, reference_oxygen=oxygen)
    dry_flue = dry_flue_by_factor(published_fuel_factor("natural gas"), oxygen_dry=oxygen)
    emission = emission_per_heat(measured, species="CO", dry_flue=dry_flue)
    np.testing.assert_allclose(emission, emission[0], rtol=1e-12)


@pytest.mark.law
def test_all_carbon_is_carbon_dioxide_or_monoxide() -> None:
    gas = fuel("natural gas")
    flue = flue_gas(gas, oxygen_dry=0.05, carbon_monoxide_dry=2000e-6)
    dry_flue = dry_flue_by_composition(flue)
    carbon = sum(
        emission_per_heat(flue.dry[name], species=name, dry_flue=dry_flue) / mass
        for name, mass in (("CO2", 0.0440095), ("CO", 0.0280101))
    )
    from_air = flue.air_moles * 0.0004 / gas.gross_heating_value_molar
    assert carbon - from_air == pytest.approx(carbon_dioxide_per_heat(gas) / 0.0440095, rel=1e-9)
    assert carbon_dioxide_per_heat(gas, basis="net") > carbon_dioxide_per_heat(gas)
    assert carbon_dioxide_per_heat(fuel("hydrogen")) == 0


@pytest.mark.law
def test_the_units_limits_are_written_in_agree_with_one_another() -> None:
    one = 1e-9 / 1.0  # 1 µg per joule, as kg/J
    assert convert(one, "kg/J", "ng/J") == pytest.approx(1e3)
    assert convert(one, "kg/J", "mg/kWh") == pytest.approx(3.6e3)
    # 1 lb/MMBtu is 429.92 ng/J: 453.59237 g per 1055.05585 MJ, exact by the definitions of pound and IT Btu.
    assert convert(1.0, "lb/MMBtu", "ng/J") == pytest.approx(453.59237e9 / 1055.05585e6, rel=1e-6)


def test_per_output_annual_and_greenhouse_mass() -> None:
    assert emission_per_output(10e-12, efficiency=0.8) == pytest.approx(12.5e-12)
    year = annual_mass(quantity(40.0, "ng/J"), annual_heat=quantity(100.0, "MMBtu"))
    assert year == pytest.approx(40e-12 * 105.505585e9, rel=1e-6)
    factor = greenhouse_factor("natural gas")
    gas = greenhouse_gas(quantity(np.array([100.0, 200.0]), "MMBtu"), factor=factor, potentials="AR4")
    # 40 CFR 98 Tables A-1, C-1 and C-2, as quoted: 53.06 + 0.001 · 25 + 0.0001 · 298 kg/MMBtu.
    np.testing.assert_allclose(gas.carbon_dioxide_equivalent, [5311.48, 10622.96], rtol=1e-6)
    assert gas.potentials == "AR4"
    assert "IPCC Fourth" in gas.source
    assert factor.heat_in(quantity(1e6, "ft^3")) == pytest.approx(1026 * 1055.05585e6, rel=1e-6)
    with pytest.raises(InputError, match="needs an efficiency above 0"):
        emission_per_output(1e-12, efficiency=0.0)


def test_air_is_no_flue_gas() -> None:
    with pytest.raises(InputError, match=r"oxygen_dry is 20.95 %; this rule counts air as 20.9 % oxygen"):
        fraction_at_reference_oxygen(1e-6, oxygen_dry=0.2095, reference_oxygen=0.03)
    with pytest.raises(InputError, match="reference_oxygen is 21 %"):
        fraction_at_reference_oxygen(1e-6, oxygen_dry=0.05, reference_oxygen=0.21)
    with pytest.raises(InputError, match="no flue gas in the sample"):
        dry_flue_by_factor(2.3e-7, oxygen_dry=0.21)
    masked = fraction_at_reference_oxygen(
        np.full(2, 1e-6), oxygen_dry=np.array([0.05, 0.2095]), reference_oxygen=0.03
    )
    assert np.isnan(masked).tolist() == [False, True]
    assert (
        fraction_at_reference_oxygen(1e-6, oxygen_dry=0.2092, reference_oxygen=0.0, air_oxygen="europe")
        > 1e-4
    )


def test_three_countings_of_air_are_kept_apart() -> None:
    three = [
        fraction_at_reference_oxygen(50e-6, oxygen_dry=0.08, reference_oxygen=0.03, air_oxygen=name)
        for name in ("epa", "europe", "real")
    ]
    # By hand: 50 · (20.9 − 3)/(20.9 − 8), 50 · (21 − 3)/(21 − 8), 50 · (20.939 − 3)/(20.939 − 8) ppm.
    np.testing.assert_allclose(three, [69.3798e-6, 69.2308e-6, 69.3214e-6], rtol=1e-5)


def test_unknown_names_suggest_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match="no gas with a molar mass here 'NOX'"):
        mass_concentration(1e-6, species="NOX")
    with pytest.raises(UnknownNameError, match="did you mean 'natural gas'"):
        published_fuel_factor("natural gass")
    with pytest.raises(UnknownNameError, match="no kind of fuel factor 'damp'"):
        published_fuel_factor("propane", "damp")
    with pytest.raises(UnknownNameError, match="did you mean 'propane, gas'"):
        greenhouse_factor("propane gas")
    with pytest.raises(UnknownNameError, match="edition of warming potentials 'AR7'"):
        greenhouse_gas(1.0, factor=greenhouse_factor("butane"), potentials="AR7")
    with pytest.raises(UnknownNameError, match="no basis 'higher'"):
        dry_flue_by_composition(flue_gas(fuel("methane"), oxygen_dry=0.03), basis="higher")


def test_series_quantities_and_maps_of_fuel() -> None:
    plain = fraction_at_reference_oxygen(np.array([30e-6, 40e-6]), oxygen_dry=0.05, reference_oxygen=0.03)
    series = fraction_at_reference_oxygen(
        pd.Series([30e-6, 40e-6]), oxygen_dry=pd.Series([0.05, 0.05]), reference_oxygen=0.03
    )
    quantities = fraction_at_reference_oxygen(
        quantity(np.array([30.0, 40.0]), "ppm"),
        oxygen_dry=quantity(5.0, "percent"),
        reference_oxygen=quantity(3.0, "percent"),
    )
    np.testing.assert_allclose(series, plain, rtol=1e-14)
    np.testing.assert_allclose(quantities, plain, rtol=1e-12)
    with pytest.raises(UnitError, match="oxygen_dry is given in 'kelvin'"):
        fraction_at_reference_oxygen(1e-6, oxygen_dry=quantity(5.0, "K"), reference_oxygen=0.03)
    share = np.array([0.0, 0.5])
    blend = Fuel(composition={"CH4": 1 - share, "H2": share}, name="blends")
    per_heat = carbon_dioxide_per_heat(blend)
    assert per_heat.shape == (2,)
    assert per_heat[1] < per_heat[0]
    assert isinstance(mass_concentration(1e-6, species="CO"), float)
