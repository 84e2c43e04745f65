"""Flue gas from a reading: balances, states, and what a pair of oxygen and carbon dioxide tells."""

from __future__ import annotations

from typing import Any

import cantera as ct
import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fluewright import sources
from fluewright.combustion import (
    Agreement,
    FlueGas,
    Fuel,
    GasState,
    carbon_oxygen_test,
    dry_air,
    flue_gas,
    fuel,
    saturation_pressure,
)
from fluewright.errors import InputError, UnitError
from fluewright.units import quantity

ATOMS = {
    "CO2": {"C": 1, "O": 2},
    "H2O": {"H": 2, "O": 1},
    "O2": {"O": 2},
    "N2": {"N": 2},
    "Ar": {"Ar": 1},
    "SO2": {"S": 1, "O": 2},
    "CO": {"C": 1, "O": 1},
    "H2": {"H": 2},
    "CH4": {"C": 1, "H": 4},
    "NO": {"N": 1, "O": 1},
}
COMPONENTS = sources.table("species")["component"]
fractions = st.floats(0.0, 1.0)


@st.composite
def mixtures(draw: st.DrawFn) -> Fuel:
    weights = {name: draw(fractions) for name in COMPONENTS}
    weights["CH4"] += 0.3
    weights["O2"] *= 0.1  # a gas with much oxygen of its own needs none to burn
    return Fuel(composition=weights, normalize=True)


@st.composite
def lean_gases(draw: st.DrawFn) -> FlueGas:
    return flue_gas(
        draw(mixtures()),
        excess_air=draw(st.floats(0.02, 2.0)),
        carbon_monoxide_dry=draw(st.floats(0.0, 2e-3)),
        hydrogen_dry=draw(st.floats(0.0, 1e-3)),
        methane_dry=draw(st.floats(0.0, 5e-4)),
        nitric_oxide_dry=draw(st.floats(0.0, 5e-4)),
        air_water_fraction=draw(st.floats(0.0, 0.05)),
        pressure=draw(st.floats(6e4, 1.1e5)),
    )


def atoms_in(gas: FlueGas, element: str) -> float:
    fuel_atoms = float(gas.fuel.atoms(element))
    water = gas.air_water_fraction / (1 - gas.air_water_fraction)
    air = {**dry_air(), "H2O": water}
    stoichiometric = gas.fuel.stoichiometric_air
    return fuel_atoms + gas.air_ratio * stoichiometric * sum(
        n * ATOMS[name].get(element, 0) for name, n in air.items()
    )


def assert_elements_balance(gas: FlueGas) -> None:
    for element in ("C", "H", "O", "N", "S", "Ar"):
        came = atoms_in(gas, element)
        left = sum(n * ATOMS[name].get(element, 0) for name, n in gas.moles.items())
        assert left == pytest.approx(came, rel=1e-12, abs=1e-12), element


@pytest.mark.law
@settings(max_examples=150, deadline=None)
@given(lean_gases())
def test_elements_balance(gas: FlueGas) -> None:
    assert_elements_balance(gas)
    assert sum(gas.dry.values()) == pytest.approx(1.0, abs=1e-12)
    assert sum(gas.wet.values()) == pytest.approx(1.0, abs=1e-12)
    assert sum(gas.moles.values()) == pytest.approx(gas.dry_moles + gas.water_moles, rel=1e-12)


@pytest.mark.law
@settings(max_examples=150, deadline=None)
@given(lean_gases())
def test_every_reading_leads_to_the_same_gas(gas: FlueGas) -> None:
    assume(gas.oxygen_dry < 0.19)
    others = {
        "carbon_monoxide_dry": gas.carbon_monoxide_dry,
        "hydrogen_dry": gas.hydrogen_dry,
        "methane_dry": gas.methane_dry,
        "nitric_oxide_dry": gas.nitric_oxide_dry,
        "air_water_fraction": gas.air_water_fraction,
        "pressure": gas.pressure,
    }
    readings = {
        "oxygen_dry": gas.dry["O2"],
        "oxygen_wet": gas.wet["O2"],
        "carbon_dioxide_dry": gas.dry["CO2"],
    }
    for name, reading in readings.items():
        again = flue_gas(gas.fuel, **{name: reading}, **others)
        assert again.air_ratio == pytest.approx(gas.air_ratio, rel=1e-9), name
        assert again.dry_moles == pytest.approx(gas.dry_moles, rel=1e-9), name
        assert again.oxygen_dry == pytest.approx(gas.dry["O2"], abs=1e-12), name
        assert again.water_dew_point == pytest.approx(gas.water_dew_point, rel=1e-9), name


@pytest.mark.law
def test_the_two_linear_equations_of_the_design() -> None:
    gas, oxygen, monoxide, water = fuel("natural gas"), 0.047, 1.3e-3, 0.011
    air = dry_air()
    stoichiometric = gas.stoichiometric_air
    base = gas.dry_products_without_air
    # Unknowns: air ratio, moles of CO per mole of fuel. Dry gas = base + A λ + y/2.
    matrix = [
        [gas.oxygen_need - oxygen * stoichiometric, 0.5 - oxygen / 2],
        [monoxide * stoichiometric, monoxide / 2 - 1],
    ]
    right = [gas.oxygen_need + oxygen * base, -monoxide * base]
    ratio, moles = np.linalg.solve(matrix, right)
    flue = flue_gas(gas, oxygen_dry=oxygen, carbon_monoxide_dry=monoxide, air_water_fraction=water)
    assert flue.air_ratio == pytest.approx(ratio, rel=1e-12)
    assert flue.moles["CO"] == pytest.approx(moles, rel=1e-12)
    assert flue.dry["CO2"] == pytest.approx(
        (gas.carbon + ratio * stoichiometric * air["CO2"] - moles)
        / (base + stoichiometric * ratio + moles / 2),
        rel=1e-12,
    )


def test_common_practice_at_6_8_percent_oxygen() -> None:
    """Common practice without source: 48 % excess air by the oxygen rule, flue dew point 125.5 °F."""
    flue = flue_gas(fuel("natural gas"), oxygen_dry=0.068)
    assert flue.excess_air_oxygen_rule == pytest.approx(0.48, abs=0.005)
    assert (flue.water_dew_point - 273.15) * 1.8 + 32 == pytest.approx(125.5, abs=1.0)


def test_the_two_rules_differ_by_several_points_for_methane() -> None:
    """Common practice without source: 5 % oxygen is about 28 % excess air by balance, 31 % by the rule."""
    flue = flue_gas(fuel("methane"), oxygen_dry=0.05)
    assert flue.excess_air == pytest.approx(0.28, abs=0.005)
    assert flue.excess_air_oxygen_rule == pytest.approx(0.31, abs=0.005)


@pytest.mark.law
@settings(max_examples=150, deadline=None)
@given(mixtures(), st.floats(0.0, 0.15), st.floats(0.0, 5e-3))
def test_air_free_monoxide_is_never_below_the_reading_in_lean_gas(
    gas: Fuel, oxygen: float, monoxide: float
) -> None:
    assume(oxygen > monoxide / 2)
    flue = flue_gas(gas, oxygen_dry=oxygen, carbon_monoxide_dry=monoxide)
    assert flue.carbon_monoxide_air_free >= monoxide * (1 - 1e-12) - 1e-15
    assert flue.carbon_monoxide_air_free_oxygen_rule >= monoxide - 1e-15


@pytest.mark.law
def test_the_two_air_free_rules_agree_within_a_fraction_of_a_percent() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=np.linspace(0.0, 0.12, 25), carbon_monoxide_dry=2e-4)
    rule = flue.carbon_monoxide_air_free_oxygen_rule
    np.testing.assert_allclose(flue.carbon_monoxide_air_free, rule, rtol=5e-3)


@pytest.mark.law
@pytest.mark.parametrize("name", ["methane", "propane", "hydrogen", "carbon monoxide", "natural gas", "G222"])
def test_limit_of_no_excess_air(name: str) -> None:
    gas = fuel(name)
    flue = flue_gas(gas, excess_air=0.0)
    assert flue.oxygen_dry == pytest.approx(0.0, abs=1e-12)
    assert flue.dry_moles == pytest.approx(gas.stoichiometric_dry_products, rel=1e-12)
    assert flue.carbon_dioxide_dry == pytest.approx(gas.ultimate_carbon_dioxide, rel=1e-12)
    assert flue.state is GasState.OK


@pytest.mark.law
def test_limit_of_fresh_air() -> None:
    """More and more air: the dry gas turns into air, and from 20.9 % on nothing is said."""
    flue = flue_gas(fuel("natural gas"), excess_air=np.array([10.0, 100.0, 400.0, 1e4]))
    assert list(flue.state) == [GasState.TOO_DILUTE] * 2 + [GasState.TOO_DILUTE, GasState.NO_FLUE_GAS]
    assert flue.dry["N2"][2] == pytest.approx(dry_air()["N2"], abs=1e-3)
    assert np.isnan(flue.air_ratio[3])


@pytest.mark.law
def test_limit_of_dry_hydrogen() -> None:
    flue = flue_gas(fuel("hydrogen"), oxygen_dry=0.04)
    assert flue.carbon_dioxide_dry == pytest.approx(dry_air()["CO2"], rel=0.5)
    assert flue.water_moles == pytest.approx(1.0, rel=1e-12)
    assert flue.dry["N2"] > 0.9


@pytest.mark.law
def test_limit_of_pure_carbon_monoxide() -> None:
    flue = flue_gas(fuel("carbon monoxide"), excess_air=0.2)
    assert flue.water_moles == 0.0
    assert np.isnan(flue.water_dew_point)
    assert flue.moles["CO2"] == pytest.approx(1.0, abs=2e-3)
    damp = flue_gas(fuel("carbon monoxide"), excess_air=0.2, air_water_fraction=0.01)
    assert 270.0 < damp.water_dew_point < 290.0


@pytest.mark.parametrize(
    ("reading", "monoxide", "state"),
    [
        (0.05, 1e-4, GasState.OK),
        (0.15, 1e-4, GasState.OK),
        (0.1501, 1e-4, GasState.TOO_DILUTE),
        (0.2089, 1e-6, GasState.TOO_DILUTE),
        (0.209, 0.0, GasState.NO_FLUE_GAS),
        (0.2095, 5e-4, GasState.NO_FLUE_GAS),
        (0.22, 0.0, GasState.NO_FLUE_GAS),
        (0.2201, 0.0, GasState.IMPOSSIBLE),
        (0.9, 0.0, GasState.IMPOSSIBLE),
        (-0.001, 0.0, GasState.IMPOSSIBLE),
        (0.05, -1e-6, GasState.IMPOSSIBLE),
        (0.05, 1.2, GasState.IMPOSSIBLE),
        (0.0, 0.03, GasState.OXYGEN_STARVED),
        (0.001, 0.004, GasState.OXYGEN_STARVED),
        (np.nan, 0.0, GasState.NOT_A_NUMBER),
        (0.05, np.nan, GasState.NOT_A_NUMBER),
    ],
)
def test_states_of_dry_oxygen(reading: float, monoxide: float, state: GasState) -> None:
    row = {"oxygen_dry": np.array([reading]), "carbon_monoxide_dry": np.array([monoxide])}
    flue = flue_gas(fuel("natural gas"), **row)
    assert flue.state[0] == state
    assert np.isnan(flue.air_ratio[0]) == (not state.has_numbers)
    assert np.isnan(flue.excess_air_oxygen_rule[0]) == (not state.has_numbers)
    given_back = np.array([flue.carbon_monoxide_dry[0], flue.oxygen_dry[0]])
    np.testing.assert_array_equal(given_back, [monoxide, reading])  # masked rows keep their readings
    no_air_free = state > GasState.OXYGEN_STARVED
    assert np.isnan(flue.carbon_monoxide_air_free[0]) == no_air_free
    assert np.isnan(flue.carbon_monoxide_air_free_oxygen_rule[0]) == no_air_free
    if state.has_numbers:
        assert flue_gas(fuel("natural gas"), oxygen_dry=reading, carbon_monoxide_dry=monoxide).state is state
    else:
        with pytest.raises(InputError, match=state.words.split(":")[0].split(";")[0]):
            flue_gas(fuel("natural gas"), oxygen_dry=reading, carbon_monoxide_dry=monoxide)


@pytest.mark.parametrize(
    ("inputs", "state", "words"),
    [
        (
            {"carbon_dioxide_dry": 0.1191},
            GasState.IMPOSSIBLE,
            r"reaches at most 11\.90 % at complete burning",
        ),
        ({"carbon_dioxide_dry": 0.0003}, GasState.NO_FLUE_GAS, "no flue gas"),
        ({"carbon_dioxide_dry": -0.01}, GasState.IMPOSSIBLE, "impossible"),
        ({"oxygen_wet": 0.2095}, GasState.NO_FLUE_GAS, "no flue gas"),
        ({"oxygen_wet": 0.3}, GasState.IMPOSSIBLE, "impossible"),
        ({"excess_air": -0.2}, GasState.IMPOSSIBLE, "there is carbon monoxide, and it must be given"),
        ({"excess_air": -1.5}, GasState.IMPOSSIBLE, "impossible"),
        ({"excess_air": 1e6}, GasState.NO_FLUE_GAS, "no flue gas"),
        ({"oxygen_dry": 0.05, "air_water_fraction": -0.1}, GasState.IMPOSSIBLE, "air_water_fraction -0.1"),
        ({"oxygen_dry": 0.05, "air_water_fraction": 1.0}, GasState.IMPOSSIBLE, "air_water_fraction 1"),
        ({"oxygen_dry": 0.05, "pressure": 0.0}, GasState.IMPOSSIBLE, "impossible"),
        ({"oxygen_dry": 0.05, "pressure": np.nan}, GasState.NOT_A_NUMBER, "no number"),
        ({"oxygen_dry": 0.05, "nitric_oxide_dry": -1e-6}, GasState.IMPOSSIBLE, "nitric_oxide_dry is -1e-06"),
        ({"oxygen_dry": 0.05, "hydrogen_dry": 0.9}, GasState.IMPOSSIBLE, "hydrogen_dry is 0.9"),
        ({"oxygen_dry": 0.05, "ambient_carbon_monoxide": -1e-6}, GasState.IMPOSSIBLE, "impossible"),
    ],
)
def test_what_cannot_be_is_an_error_or_a_labeled_row(
    inputs: dict[str, float], state: GasState, words: str
) -> None:
    with pytest.raises(InputError, match=words):
        flue_gas(fuel("natural gas"), **inputs)
    rows = flue_gas(fuel("natural gas"), **{name: np.array([value, value]) for name, value in inputs.items()})
    assert list(rows.state) == [state, state]
    for name in (
        "air_ratio",
        "excess_air",
        "carbon_dioxide_dry",
        "water_dew_point",
        "carbon_monoxide_air_free",
    ):
        assert np.all(np.isnan(getattr(rows, name))), name


@pytest.mark.parametrize("readings", [{}, {"oxygen_dry": 0.05, "carbon_dioxide_dry": 0.09}])
def test_exactly_one_reading(readings: dict[str, float]) -> None:
    with pytest.raises(InputError, match="needs exactly one of oxygen_dry, oxygen_wet, carbon_dioxide_dry"):
        flue_gas(fuel("natural gas"), **readings)


def test_carbon_dioxide_says_nothing_of_hydrogen() -> None:
    with pytest.raises(InputError, match="'hydrogen' holds no carbon"):
        flue_gas(fuel("hydrogen"), carbon_dioxide_dry=0.05)


def test_inert_gas_does_not_burn() -> None:
    with pytest.raises(InputError, match="'nitrogen' does not burn"):
        flue_gas(Fuel(composition={"N2": 1.0}, name="nitrogen"), oxygen_dry=0.05)


@pytest.mark.law
@settings(max_examples=80, deadline=None)
@given(
    st.sampled_from(["methane", "natural gas", "propane", "G222"]),
    st.floats(0.0, 0.002),
    st.floats(0.006, 0.08),
)
def test_oxygen_starved_gas_is_in_water_gas_equilibrium(name: str, oxygen: float, monoxide: float) -> None:
    flue = flue_gas(fuel(name), oxygen_dry=oxygen, carbon_monoxide_dry=monoxide, air_water_fraction=0.01)
    assert flue.state is GasState.OXYGEN_STARVED
    assert flue.air_ratio < 1
    moles = flue.moles
    constant = moles["CO"] * moles["H2O"] / (moles["CO2"] * moles["H2"])
    assert constant == pytest.approx(sources.table("flue_gas")["water_gas"]["constant"], rel=1e-9)
    assert flue.dry["O2"] == pytest.approx(oxygen, abs=1e-12)
    assert_elements_balance(flue)


@pytest.mark.law
@pytest.mark.parametrize("name", ["oxygen_wet", "carbon_dioxide_dry"])
def test_starved_gas_is_the_same_by_every_reading(name: str) -> None:
    want = flue_gas(fuel("natural gas"), oxygen_dry=0.001, carbon_monoxide_dry=0.02, air_water_fraction=0.01)
    reading = {"oxygen_wet": want.wet["O2"], "carbon_dioxide_dry": want.dry["CO2"]}[name]
    got = flue_gas(fuel("natural gas"), **{name: reading}, carbon_monoxide_dry=0.02, air_water_fraction=0.01)
    assert got.state is GasState.OXYGEN_STARVED
    assert got.air_ratio == pytest.approx(want.air_ratio, rel=1e-9)
    assert got.hydrogen_dry == pytest.approx(want.hydrogen_dry, rel=1e-9)


@pytest.mark.law
def test_measured_hydrogen_is_not_replaced_by_an_estimate() -> None:
    flue = flue_gas(fuel("methane"), oxygen_dry=0.0, carbon_monoxide_dry=0.03, hydrogen_dry=0.01)
    assert flue.state is GasState.OXYGEN_STARVED
    assert flue.hydrogen_dry == 0.01


@pytest.mark.law
def test_only_the_starved_rows_get_hydrogen() -> None:
    flue = flue_gas(
        fuel("methane"), oxygen_dry=np.array([0.05, 0.0]), carbon_monoxide_dry=np.array([1e-4, 0.03])
    )
    assert flue.hydrogen_dry[0] == 0.0
    assert flue.hydrogen_dry[1] > 0.01
    alone = flue_gas(fuel("methane"), oxygen_dry=0.0, carbon_monoxide_dry=0.03)
    assert flue.air_ratio[1] == pytest.approx(alone.air_ratio, rel=1e-14)


@pytest.mark.law
def test_the_water_gas_constant_belongs_to_a_quenched_flame() -> None:
    """By an independent equilibrium the constant holds between 1,600 and 1,900 K, where flue gas freezes."""
    gas = ct.Solution("gri30.yaml")

    def constant(temperature: float) -> float:
        gas.TP = temperature, ct.one_atm
        rt = ct.gas_constant * temperature
        free = dict(zip(gas.species_names, gas.standard_gibbs_RT * rt, strict=True))
        return float(np.exp(-(free["CO"] + free["H2O"] - free["CO2"] - free["H2"]) / rt))

    assert constant(1600.0) < sources.table("flue_gas")["water_gas"]["constant"] < constant(1900.0)


@pytest.mark.law
def test_gas_still_damp_reads_low() -> None:
    dew_point, pressure = 278.15, 98_000.0
    water = saturation_pressure(dew_point) / pressure
    flue = flue_gas(
        fuel("natural gas"),
        oxygen_dry=0.06 * (1 - water),
        carbon_monoxide_dry=1e-4 * (1 - water),
        sample_dew_point=dew_point,
        pressure=pressure,
    )
    dry = flue_gas(fuel("natural gas"), oxygen_dry=0.06, carbon_monoxide_dry=1e-4, pressure=pressure)
    assert flue.air_ratio == pytest.approx(dry.air_ratio, rel=1e-12)
    assert flue.oxygen_dry == pytest.approx(0.06, rel=1e-12)
    assert flue.carbon_monoxide_dry == pytest.approx(1e-4, rel=1e-12)


def test_a_sample_dew_point_at_boiling_is_refused() -> None:
    with pytest.raises(InputError, match="sample_dew_point is at or above the boiling point"):
        flue_gas(fuel("natural gas"), oxygen_dry=0.05, sample_dew_point=380.0)
    rows = flue_gas(fuel("natural gas"), oxygen_dry=0.05, sample_dew_point=np.array([380.0, 278.0, np.nan]))
    assert list(rows.state) == [GasState.NOT_A_NUMBER, GasState.OK, GasState.NOT_A_NUMBER]


@pytest.mark.law
def test_ambient_monoxide_is_taken_off_air_free_values_only() -> None:
    inputs: dict[str, Any] = {"oxygen_dry": 0.09, "carbon_monoxide_dry": np.array([5e-6, 5e-5])}
    plain = flue_gas(fuel("natural gas"), **inputs)
    less = flue_gas(fuel("natural gas"), **inputs, ambient_carbon_monoxide=1e-5)
    np.testing.assert_array_equal(less.carbon_monoxide_dry, plain.carbon_monoxide_dry)
    np.testing.assert_array_equal(less.air_ratio, plain.air_ratio)
    assert less.carbon_monoxide_air_free[0] == 0.0
    assert less.carbon_monoxide_air_free[1] == pytest.approx(0.8 * plain.carbon_monoxide_air_free[1])


@pytest.mark.law
@settings(max_examples=80, deadline=None)
@given(st.floats(0.005, 0.10), st.floats(0.0, 1e-3), st.floats(0.0, 0.25))
def test_dilution_is_invisible(oxygen: float, monoxide: float, leak: float) -> None:
    """Air drawn into the flue moves oxygen, carbon dioxide and CO along one line: air-free CO stays."""
    tight = flue_gas(fuel("natural gas"), oxygen_dry=oxygen, carbon_monoxide_dry=monoxide)
    diluted = {
        name: (part + leak * dry_air().get(name, 0.0)) / (1 + leak) for name, part in tight.dry.items()
    }
    leaky = flue_gas(fuel("natural gas"), oxygen_dry=diluted["O2"], carbon_monoxide_dry=diluted["CO"])
    assert leaky.carbon_dioxide_dry == pytest.approx(diluted["CO2"], rel=1e-9)
    assert leaky.carbon_monoxide_air_free == pytest.approx(tight.carbon_monoxide_air_free, rel=1e-9)
    test = carbon_oxygen_test(
        fuel("natural gas"), oxygen_dry=diluted["O2"], carbon_dioxide_dry=diluted["CO2"]
    )
    assert test.agreement is Agreement.AGREES


@pytest.mark.law
def test_arrays_series_lists_and_quantities_give_the_same() -> None:
    plain = np.array([0.03, 0.05, 0.2095])
    ppm = np.array([50.0, 80.0, 3.0])
    want = flue_gas(fuel("propane"), oxygen_dry=plain, carbon_monoxide_dry=ppm * 1e-6, pressure=95_000.0)
    for oxygen, monoxide in (
        (list(plain), list(ppm * 1e-6)),
        (pd.Series(plain, index=[7, 8, 9]), pd.Series(ppm * 1e-6)),
        (quantity(plain * 100, "percent"), quantity(ppm, "ppm")),
    ):
        got = flue_gas(
            fuel("propane"), oxygen_dry=oxygen, carbon_monoxide_dry=monoxide, pressure=quantity(950.0, "hPa")
        )
        np.testing.assert_allclose(got.excess_air, want.excess_air, rtol=1e-13)
        np.testing.assert_allclose(got.water_dew_point, want.water_dew_point, rtol=1e-13)
        np.testing.assert_array_equal(got.state, want.state)
    one = flue_gas(fuel("propane"), oxygen_dry=0.05, carbon_monoxide_dry=8e-5, pressure=95_000.0)
    assert isinstance(one.excess_air, float)
    assert isinstance(one.water_dew_point, float)
    assert one.excess_air == pytest.approx(want.excess_air[1], rel=1e-14)


def test_a_wrong_dimension_names_the_argument() -> None:
    with pytest.raises(UnitError, match="oxygen_dry is given in 'kelvin'"):
        flue_gas(fuel("propane"), oxygen_dry=quantity(300.0, "K"))
    with pytest.raises(UnitError, match="pressure is given in 'percent'"):
        flue_gas(fuel("propane"), oxygen_dry=0.05, pressure=quantity(5.0, "percent"))


def test_inputs_stay_and_results_cannot_be_written() -> None:
    oxygen = np.array([0.05, 0.21])
    flue = flue_gas(fuel("propane"), oxygen_dry=oxygen)
    with pytest.raises(ValueError, match="read-only"):
        flue.air_ratio[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        flue.oxygen_dry[0] = 1.0
    oxygen[0] = 0.06  # the caller's own array stays writable
    with pytest.raises(AttributeError, match="air_ratio"):
        flue.air_ratio = 1.0  # type: ignore[misc]


def test_shapes_broadcast() -> None:
    flue = flue_gas(fuel("propane"), oxygen_dry=np.full((3, 1), 0.05), carbon_monoxide_dry=np.full(4, 1e-4))
    assert flue.air_ratio.shape == flue.oxygen_dry.shape == flue.water_dew_point.shape == (3, 4)


@pytest.mark.law
def test_the_carbon_oxygen_test_finds_what_does_not_belong_together() -> None:
    gas = fuel("natural gas")
    truth = flue_gas(gas, oxygen_dry=0.05, carbon_monoxide_dry=2e-3)
    dioxide = truth.carbon_dioxide_dry

    def test(factor: float, **more: Any) -> Any:
        return carbon_oxygen_test(
            gas, oxygen_dry=0.05, carbon_dioxide_dry=dioxide * factor, carbon_monoxide_dry=2e-3, **more
        )

    same = test(1.0)
    assert same.agreement is Agreement.AGREES
    assert same.fuel_factor == pytest.approx(same.fuel_factor_expected, rel=1e-12)
    assert same.difference == pytest.approx(0.0, abs=1e-15)
    low, high = same.fuel_factor_range
    assert low < same.fuel_factor < high
    assert test(1.1).agreement is Agreement.CARBON_DIOXIDE_HIGH
    assert test(0.9).agreement is Agreement.CARBON_DIOXIDE_LOW
    assert test(1.1, carbon_dioxide_uncertainty=0.01).agreement is Agreement.CANNOT_TELL
    assert test(1.0, oxygen_uncertainty=0.02).agreement is Agreement.CANNOT_TELL
    assert "dilution by air cannot cause it" in Agreement.CARBON_DIOXIDE_HIGH.words


@pytest.mark.law
def test_the_wrong_fuel_shows_in_the_carbon_oxygen_test() -> None:
    propane = flue_gas(fuel("propane"), oxygen_dry=0.05)
    test = carbon_oxygen_test(
        fuel("natural gas"), oxygen_dry=0.05, carbon_dioxide_dry=propane.carbon_dioxide_dry
    )
    assert test.agreement is Agreement.CARBON_DIOXIDE_HIGH


def test_the_carbon_oxygen_test_masks_what_is_no_flue_gas() -> None:
    test = carbon_oxygen_test(
        fuel("natural gas"),
        oxygen_dry=np.array([0.05, 0.2095, np.nan, 0.05]),
        carbon_dioxide_dry=np.array([0.09, 0.0, 0.09, np.nan]),
    )
    assert list(test.agreement) == [Agreement.AGREES] + [Agreement.NO_NUMBERS] * 3
    with pytest.raises(InputError, match="carbon_dioxide_dry is 0; flue gas holds some"):
        carbon_oxygen_test(fuel("natural gas"), oxygen_dry=0.05, carbon_dioxide_dry=0.0)
    with pytest.raises(InputError, match="'hydrogen' holds no carbon"):
        carbon_oxygen_test(fuel("hydrogen"), oxygen_dry=0.05, carbon_dioxide_dry=0.01)


@pytest.mark.law
def test_draws_of_the_fuel_run_through_the_balance() -> None:
    methane = np.array([0.90, 0.93, 0.96])
    many = Fuel(composition={"CH4": methane, "C2H6": 0.98 - methane, "N2": 0.02})
    rows = flue_gas(
        many, oxygen_dry=np.array([0.03, 0.05, 0.0]), carbon_monoxide_dry=np.array([1e-4, 1e-4, 0.03])
    )
    for row, (part, oxygen, monoxide) in enumerate(
        zip(methane, [0.03, 0.05, 0.0], [1e-4, 1e-4, 0.03], strict=True)
    ):
        one = flue_gas(
            Fuel(composition={"CH4": part, "C2H6": 0.98 - part, "N2": 0.02}),
            oxygen_dry=oxygen,
            carbon_monoxide_dry=monoxide,
        )
        assert rows.air_ratio[row] == pytest.approx(one.air_ratio, rel=1e-13)
        assert rows.water_dew_point[row] == pytest.approx(one.water_dew_point, rel=1e-13)
        assert rows.carbon_monoxide_air_free[row] == pytest.approx(one.carbon_monoxide_air_free, rel=1e-13)
        assert rows.state[row] == one.state
