"""Losses: the energy balance closed independently, condensing, credits, bad input, the European formula."""

from __future__ import annotations

from typing import Any

import cantera as ct
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fluewright import sources
from fluewright.combustion import (
    FlueGas,
    Fuel,
    GasState,
    StackLosses,
    dry_air,
    flue_gas,
    fuel,
    loss_map,
    saturation_pressure,
    sensible_enthalpy,
    stack_loss_european,
    stack_losses,
)
from fluewright.errors import InputError, UnitError, UnknownNameError
from fluewright.units import quantity

LATENT = 44013.0  # J/mol, ISO 6976:2016 Table A.5 at 25 °C, as quoted
HEATING = {
    "CO": 282_980.0,
    "H2": 285_830.0,
    "CH4": 890_580.0,
}  # J/mol, ISO 6976:2016 Table 3 at 25 °C, as quoted
PARTS = ("dry_gas", "water_latent", "water_sensible", "air_moisture", "carbon_monoxide", "unburnt")
NAMES = ("CO2", "H2O", "O2", "N2", "Ar", "SO2", "CO", "H2", "CH4", "NO")
COMPONENTS = sources.table("species")["component"]


def fahrenheit(degrees: float) -> float:
    return (degrees - 32) / 1.8 + 273.15


@pytest.fixture(scope="module")
def gas_phase() -> Any:
    known = {species.name: species for species in ct.Species.list_from_file("nasa_gas.yaml")}
    return ct.Solution(thermo="ideal-gas", species=[known[name] for name in NAMES])


@pytest.fixture(scope="module")
def liquid() -> Any:
    return {species.name: species for species in ct.Species.list_from_file("nasa_condensed.yaml")}[
        "H2O(L)"
    ].thermo


def enthalpy_above_25(phase: Any, moles: dict[str, float], temperature: float) -> float:
    """Return what a gas holds above 25 °C, by Cantera's own phase [J]."""
    total = sum(moles.values())
    held = []
    for kelvin in (temperature, 298.15):
        phase.TPX = kelvin, ct.one_atm, {name: n / total for name, n in moles.items()}
        held.append(phase.enthalpy_mole / 1e3)
    return total * (held[0] - held[1])


def useful_heat(
    flue: FlueGas,
    phase: Any,
    liquid: Any,
    *,
    flue_temperature: float,
    air_temperature: float,
    condensed: float,
) -> float:
    """Return the heat left for use [J per mole of fuel], from what flows in and out and not from any loss."""
    gas, moles = flue.fuel, dict(flue.moles)
    damp = flue.air_water_fraction / (1 - flue.air_water_fraction)
    air_moles = flue.air_ratio * gas.stoichiometric_air
    air = {name: part * air_moles for name, part in dry_air().items()} | {"H2O": damp * air_moles}
    came = gas.gross_heating_value_molar + enthalpy_above_25(phase, air, air_temperature)
    moles["H2O"] -= condensed
    went = enthalpy_above_25(phase, moles, flue_temperature)
    went += condensed * (liquid.h(flue_temperature) - liquid.h(298.15)) / 1e3
    # Water that left as vapor but did not come as vapor with the air took its heat of vaporization along.
    went += (moles["H2O"] - damp * air_moles) * LATENT
    went += sum(moles[name] * heat for name, heat in HEATING.items())
    phase.TPX = 298.15, ct.one_atm, "NO:1"
    went += moles["NO"] * phase.enthalpy_mole / 1e3
    return came - went


@st.composite
def mixtures(draw: st.DrawFn) -> Fuel:
    weights = {name: draw(st.floats(0.0, 1.0)) for name in COMPONENTS}
    weights["CH4"] += 0.3
    weights["O2"] *= 0.1  # a gas with much oxygen of its own needs none to burn
    return Fuel(composition=weights, normalize=True)


@st.composite
def gases(draw: st.DrawFn) -> FlueGas:
    return flue_gas(
        draw(mixtures()),
        excess_air=draw(st.floats(0.02, 1.5)),
        carbon_monoxide_dry=draw(st.floats(0.0, 5e-3)),
        hydrogen_dry=draw(st.floats(0.0, 2e-3)),
        methane_dry=draw(st.floats(0.0, 1e-3)),
        nitric_oxide_dry=draw(st.floats(0.0, 1e-3)),
        air_water_fraction=draw(st.floats(0.0, 0.05)),
    )


@pytest.mark.law
@settings(max_examples=100, deadline=None)
@given(gases(), st.floats(280.0, 1700.0), st.floats(220.0, 700.0), st.booleans())
def test_energy_balances_with_useful_heat_from_enthalpy_flows(
    gas_phase: Any,
    liquid: Any,
    flue: FlueGas,
    flue_temperature: float,
    air_temperature: float,
    condensing: bool,
) -> None:
    loss = stack_losses(
        flue, flue_temperature=flue_temperature, air_temperature=air_temperature, condensing=condensing
    )
    condensed = loss.condensed_fraction * flue.water_moles
    useful = useful_heat(
        flue,
        gas_phase,
        liquid,
        flue_temperature=flue_temperature,
        air_temperature=air_temperature,
        condensed=condensed,
    )
    gross = flue.fuel.gross_heating_value_molar
    assert loss.efficiency_gross == pytest.approx(useful / gross, abs=1e-12)
    assert loss.efficiency_net == pytest.approx(useful / flue.fuel.net_heating_value_molar, abs=1e-12)
    assert sum(getattr(loss, part) for part in PARTS) == pytest.approx(loss.total, abs=1e-14)
    assert loss.total + loss.efficiency_gross == pytest.approx(
        1 + loss.credit_air + loss.credit_fuel, abs=1e-12
    )
    net = loss.net
    lost = sum(getattr(net, part) for part in PARTS)
    assert lost + net.efficiency == pytest.approx(1 + net.credit_air + net.credit_fuel, abs=1e-10)


@pytest.mark.law
def test_net_losses_know_no_latent_heat_but_that_of_condensate() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05, hydrogen_dry=1e-3, methane_dry=5e-4)
    dry = stack_losses(flue, flue_temperature=450.0, air_temperature=293.0)
    assert dry.net.water_latent == pytest.approx(0.0, abs=1e-15)
    assert dry.water_latent > 0.09
    wet = stack_losses(flue, flue_temperature=310.0, air_temperature=293.0, condensing=True)
    moles = wet.condensed_fraction * flue.water_moles
    assert wet.net.water_latent == pytest.approx(
        -moles * LATENT / flue.fuel.net_heating_value_molar, rel=1e-12
    )
    burnt = flue.moles["H2"] * (HEATING["H2"] - LATENT) + flue.moles["CH4"] * (HEATING["CH4"] - 2 * LATENT)
    assert dry.net.unburnt == pytest.approx(burnt / flue.fuel.net_heating_value_molar, rel=1e-12)


@pytest.mark.law
@pytest.mark.parametrize("name", ["natural gas", "propane", "hydrogen", "carbon monoxide"])
@pytest.mark.parametrize("condensing", [False, True])
def test_efficiency_falls_as_the_flue_warms(name: str, condensing: bool) -> None:
    flue = flue_gas(fuel(name), oxygen_dry=0.05, air_water_fraction=0.01)
    loss = stack_losses(
        flue, flue_temperature=np.linspace(275.0, 1770.0, 400), air_temperature=290.0, condensing=condensing
    )
    assert np.all(np.diff(loss.efficiency_gross) < 0)
    assert np.all(np.diff(loss.dry_gas) > 0)
    assert np.all(np.diff(loss.condensed_fraction) <= 0)


@pytest.mark.law
@settings(max_examples=60, deadline=None)
@given(mixtures(), st.floats(300.0, 900.0), st.floats(225.0, 299.0), st.floats(0.0, 0.04))
def test_efficiency_falls_with_oxygen_where_the_flue_is_warmer(
    gas: Fuel, flue_temperature: float, air_temperature: float, water: float
) -> None:
    flue = flue_gas(gas, oxygen_dry=np.linspace(0.0, 0.2, 50), air_water_fraction=water)
    for condensing in (False, True):
        loss = stack_losses(
            flue, flue_temperature=flue_temperature, air_temperature=air_temperature, condensing=condensing
        )
        assert np.all(np.diff(loss.efficiency_gross) < 1e-15)


@pytest.mark.law
def test_at_25_degrees_only_latent_and_unburnt_heat_is_lost() -> None:
    gas = fuel("natural gas")
    flue = flue_gas(gas, oxygen_dry=0.05)
    loss = stack_losses(flue, flue_temperature=298.15, air_temperature=298.15)
    assert loss.efficiency_net == pytest.approx(1.0, abs=1e-12)
    assert loss.efficiency_gross == pytest.approx(gas.net_heating_value_molar / gas.gross_heating_value_molar)


@pytest.mark.law
def test_burning_to_monoxide_costs_its_heating_value() -> None:
    flue = flue_gas(fuel("methane"), oxygen_dry=0.05, carbon_monoxide_dry=np.array([0.0, 1e-3]))
    loss = stack_losses(flue, flue_temperature=298.15, air_temperature=298.15)
    moles = 1e-3 * flue.dry_moles[1]
    assert loss.carbon_monoxide[1] == pytest.approx(
        moles * HEATING["CO"] / flue.fuel.gross_heating_value_molar
    )
    assert loss.efficiency_gross[0] - loss.efficiency_gross[1] == pytest.approx(
        loss.carbon_monoxide[1], rel=1e-9
    )


def test_common_practice_at_254_degrees() -> None:
    """Common practice without source: flue 254 °F, air 72 °F, 6.8 % oxygen: 84 to 85.4 % gross."""
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.068)
    loss = stack_losses(flue, flue_temperature=fahrenheit(254.0), air_temperature=fahrenheit(72.0))
    assert 0.84 <= loss.efficiency_gross <= 0.854


@pytest.mark.law
def test_condensing_is_credited_only_where_declared() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05)
    conventional = stack_losses(flue, flue_temperature=310.0, air_temperature=293.0)
    assert conventional.condensed_fraction == 0.0
    assert "not declared condensing" in conventional.condensation
    assert conventional.dew_point_margin == pytest.approx(310.0 - flue.water_dew_point)
    condensing = stack_losses(flue, flue_temperature=310.0, air_temperature=293.0, condensing=True)
    assert condensing.efficiency_gross > conventional.efficiency_gross + 0.05
    assert "assumed: gas saturated" in condensing.condensation
    left = flue.water_moles * (1 - condensing.condensed_fraction)
    assert left / (left + flue.dry_moles) * flue.pressure == pytest.approx(
        saturation_pressure(310.0), rel=1e-12
    )


@pytest.mark.law
def test_condensation_begins_at_the_dew_point() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05, air_water_fraction=0.01)
    dew = flue.water_dew_point
    loss = stack_losses(
        flue, flue_temperature=np.array([dew - 0.01, dew + 0.01]), air_temperature=293.0, condensing=True
    )
    assert 0 < loss.condensed_fraction[0] < 1e-3
    assert loss.condensed_fraction[1] == 0.0
    hot = stack_losses(
        flue, flue_temperature=np.array([375.0, 900.0]), air_temperature=293.0, condensing=True
    )
    np.testing.assert_array_equal(hot.condensed_fraction, [0.0, 0.0])


@pytest.mark.law
def test_measured_condensate_goes_before_the_assumption() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05)
    assumed = stack_losses(flue, flue_temperature=315.0, air_temperature=293.0, condensing=True)
    mass = assumed.condensed_fraction * flue.water_moles * 18.01528e-3 / flue.fuel.gross_heating_value_molar
    same = stack_losses(
        flue, flue_temperature=315.0, air_temperature=293.0, condensing=True, condensate_measured=mass
    )
    assert same.efficiency_gross == pytest.approx(assumed.efficiency_gross, abs=1e-12)
    assert same.condensed_fraction == pytest.approx(assumed.condensed_fraction, rel=1e-12)
    assert same.condensation == "measured condensate"
    half = stack_losses(
        flue, flue_temperature=315.0, air_temperature=293.0, condensing=True, condensate_measured=mass / 2
    )
    assert half.condensed_fraction == pytest.approx(assumed.condensed_fraction / 2, rel=1e-12)


def test_condensate_that_cannot_be() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05)
    kelvin = {"flue_temperature": 315.0, "air_temperature": 293.0}
    with pytest.raises(InputError, match="not declared condensing; latent heat is credited only"):
        stack_losses(flue, **kelvin, condensate_measured=1e-8)
    for wrong in (1e-6, -1e-9):
        with pytest.raises(InputError, match="negative or more than the flue gas held water"):
            stack_losses(flue, **kelvin, condensing=True, condensate_measured=wrong)
        rows = stack_losses(flue, **kelvin, condensing=True, condensate_measured=np.array([wrong, 1e-9]))
        assert list(rows.state) == [GasState.IMPOSSIBLE, GasState.OK]
        assert np.isnan(rows.efficiency_gross[0])


@pytest.mark.law
def test_the_casing_makes_a_number_of_its_own() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05)
    loss = stack_losses(
        flue, flue_temperature=450.0, air_temperature=293.0, casing_loss=quantity(1.5, "percent")
    )
    bare = stack_losses(flue, flue_temperature=450.0, air_temperature=293.0)
    assert loss.efficiency_gross == bare.efficiency_gross
    assert loss.efficiency_thermal_gross == pytest.approx(bare.efficiency_gross - 0.015, rel=1e-14)
    for wrong in (-0.01, 1.5, float("nan")):
        with pytest.raises(InputError, match="casing_loss is a share of the gross heat input, from 0 to 1"):
            stack_losses(flue, flue_temperature=450.0, air_temperature=293.0, casing_loss=wrong)


@pytest.mark.law
def test_warm_air_and_warm_fuel_are_credits() -> None:
    flue = flue_gas(fuel("propane"), oxygen_dry=0.05, air_water_fraction=0.01)
    inputs: dict[str, Any] = {"flue_temperature": 450.0}
    cold, even, warm = (stack_losses(flue, **inputs, air_temperature=t) for t in (240.0, 298.15, 350.0))
    assert cold.credit_air < 0 == pytest.approx(even.credit_air, abs=1e-15)
    assert warm.credit_air > 0
    assert cold.dry_gas == even.dry_gas == warm.dry_gas
    heated = stack_losses(flue, **inputs, air_temperature=298.15, fuel_temperature=348.15)
    # c_p of propane is about 74 J/(mol K) at room temperature and rises; common tables, from memory
    assert heated.credit_fuel * flue.fuel.gross_heating_value_molar == pytest.approx(50 * 78.0, rel=0.03)
    assert heated.efficiency_gross == pytest.approx(even.efficiency_gross + heated.credit_fuel, abs=1e-14)


@pytest.mark.parametrize(
    ("flue_kelvin", "air_kelvin", "state", "words"),
    [
        (272.0, 293.0, GasState.FLUE_TEMPERATURE_OUT_OF_RANGE, "outside of 0 to 1,500 °C"),
        (1774.0, 293.0, GasState.FLUE_TEMPERATURE_OUT_OF_RANGE, "outside of 0 to 1,500 °C"),
        (150.0, 20.0, GasState.FLUE_TEMPERATURE_OUT_OF_RANGE, "check the value and its unit"),
        (450.0, 213.0, GasState.AIR_TEMPERATURE_OUT_OF_RANGE, "for air -60 to 1,000 °C"),
        (450.0, 1300.0, GasState.AIR_TEMPERATURE_OUT_OF_RANGE, "for air -60 to 1,000 °C"),
        (float("nan"), 293.0, GasState.NOT_A_NUMBER, "no number"),
        (450.0, float("nan"), GasState.NOT_A_NUMBER, "no number"),
        (float("inf"), 293.0, GasState.FLUE_TEMPERATURE_OUT_OF_RANGE, "outside of 0 to 1,500 °C"),
    ],
)
def test_temperatures_out_of_range(
    flue_kelvin: float, air_kelvin: float, state: GasState, words: str
) -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05)
    with pytest.raises(InputError, match=words):
        stack_losses(flue, flue_temperature=flue_kelvin, air_temperature=air_kelvin)
    for condensing in (False, True):
        rows = stack_losses(
            flue,
            flue_temperature=np.array([flue_kelvin, 450.0]),
            air_temperature=np.array([air_kelvin, 293.0]),
            condensing=condensing,
        )
        assert list(rows.state) == [state, GasState.OK]
        for name in (
            *PARTS,
            "credit_air",
            "condensed_fraction",
            "efficiency_gross",
            "efficiency_net",
            "total",
        ):
            assert np.isnan(getattr(rows, name)[0]), name
            assert np.isfinite(getattr(rows, name)[1]), name


def test_a_fuel_temperature_out_of_range() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05)
    with pytest.raises(InputError, match=r"fuel_temperature is 20\.0 K; a fuel gas comes between"):
        stack_losses(flue, flue_temperature=450.0, air_temperature=293.0, fuel_temperature=20.0)
    rows = stack_losses(
        flue, flue_temperature=450.0, air_temperature=293.0, fuel_temperature=np.array([20.0, 293.0])
    )
    assert list(rows.state) == [GasState.AIR_TEMPERATURE_OUT_OF_RANGE, GasState.OK]
    assert np.isnan(rows.efficiency_gross[0])


def test_masked_flue_gas_stays_masked() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=np.array([0.05, 0.2095, np.nan, 0.16, 0.3]))
    loss = stack_losses(flue, flue_temperature=450.0, air_temperature=293.0)
    np.testing.assert_array_equal(loss.state, flue.state)
    np.testing.assert_array_equal(np.isnan(loss.efficiency_gross), [False, True, True, False, True])


@pytest.mark.law
def test_starved_gas_loses_its_estimated_hydrogen() -> None:
    flue = flue_gas(fuel("methane"), oxygen_dry=0.0, carbon_monoxide_dry=0.02)
    loss = stack_losses(flue, flue_temperature=450.0, air_temperature=293.0)
    assert loss.unburnt == pytest.approx(
        flue.moles["H2"] * HEATING["H2"] / flue.fuel.gross_heating_value_molar
    )
    assert loss.unburnt > 0.02
    assert loss.state is GasState.OXYGEN_STARVED


@pytest.mark.law
def test_the_map_is_the_chain_on_a_grid() -> None:
    table = loss_map(
        fuel("natural gas"),
        oxygen_dry=[0.02, 0.06, 0.2095],
        flue_temperature=quantity([300.0, 500.0], "degF"),
        air_temperature=quantity(70.0, "degF"),
        carbon_monoxide_dry=1e-4,
    )
    assert table.efficiency_gross.shape == (3, 2)
    assert np.all(np.isnan(table.efficiency_gross[2]))
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.06, carbon_monoxide_dry=1e-4)
    one = stack_losses(flue, flue_temperature=fahrenheit(500.0), air_temperature=fahrenheit(70.0))
    assert table.efficiency_gross[1, 1] == pytest.approx(one.efficiency_gross, rel=1e-13)


@pytest.mark.law
@pytest.mark.parametrize(
    ("name", "kind"), [("natural gas", "natural gas"), ("propane", "propane"), ("G30", "butane")]
)
def test_the_european_formula_agrees_with_the_net_balance(name: str, kind: str) -> None:
    """Within a point and below, as its docstring says: it has one mean heat capacity."""
    oxygen = np.linspace(0.02, 0.10, 9)[:, None]
    kelvin = np.linspace(373.15, 523.15, 7)[None, :]
    flue = flue_gas(fuel(name), oxygen_dry=oxygen)
    full = stack_losses(flue, flue_temperature=kelvin, air_temperature=293.15)
    lost = 1 - full.efficiency_net
    simple = stack_loss_european(oxygen, flue_temperature=kelvin, air_temperature=293.15, fuel_kind=kind)
    assert np.max(np.abs(simple - lost)) < 0.01
    assert np.all(np.diff(simple - lost, axis=1) < 0)
    assert stack_loss_european(
        0.05, flue_temperature=453.15, air_temperature=293.15, fuel_kind=kind
    ) == pytest.approx(0.08, abs=0.01)


def test_the_european_formula_refuses_what_is_no_reading() -> None:
    inputs: dict[str, Any] = {
        "flue_temperature": 453.15,
        "air_temperature": 293.15,
        "fuel_kind": "natural gas",
    }
    for wrong in (0.209, -0.01, float("nan"), 0.21):
        with pytest.raises(InputError, match="are no readings of a flue"):
            stack_loss_european(wrong, **inputs)
        assert np.isnan(stack_loss_european(np.array([wrong, 0.05]), **inputs)[0])
    with pytest.raises(UnknownNameError, match="did you mean 'natural gas'"):
        stack_loss_european(0.05, **(inputs | {"fuel_kind": "natural gaz"}))
    with pytest.raises(InputError, match="are no readings of a flue"):
        stack_loss_european(0.05, **(inputs | {"flue_temperature": 180.0}))


def test_a_temperature_in_the_wrong_unit_is_named() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.05)
    with pytest.raises(UnitError, match="flue_temperature is given in 'pascal'"):
        stack_losses(flue, flue_temperature=quantity(1.0, "Pa"), air_temperature=293.0)


@pytest.mark.law
def test_heat_capacities_of_the_species() -> None:
    """c_p of air near room temperature is 29.1 J/(mol K), of water vapor 33.6: common tables, from memory."""
    air = sensible_enthalpy(dict(dry_air()), temperature=299.15)
    assert air == pytest.approx(29.1, abs=0.1)
    assert sensible_enthalpy({"H2O": 1.0}, temperature=299.15) == pytest.approx(33.6, abs=0.1)
    assert sensible_enthalpy({"H2O(L)": 1.0}, temperature=299.15) == pytest.approx(75.3, abs=0.2)
    with pytest.raises(UnknownNameError, match="species with thermodynamic data 'XYZ'"):
        sensible_enthalpy({"XYZ": 1.0}, temperature=300.0)


def test_results_are_frozen() -> None:
    loss = stack_losses(
        flue_gas(fuel("methane"), oxygen_dry=0.05), flue_temperature=450.0, air_temperature=293.0
    )
    assert isinstance(loss, StackLosses)
    with pytest.raises(AttributeError, match="dry_gas"):
        loss.dry_gas = 0.0  # type: ignore[misc]
