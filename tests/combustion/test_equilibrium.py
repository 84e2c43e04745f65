"""Flames at equilibrium: laws, independent programs, limits. Published values are in tests/published."""

from __future__ import annotations

import pickle
import subprocess
import sys
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import pandas as pd
import pytest

from fluewright.combustion.equilibrium import (
    adiabatic_flame,
    cooling,
    equilibrium_products,
    thermal_nitric_oxide,
)
from fluewright.combustion.fuels import Fuel, fuel
from fluewright.errors import InputError
from fluewright.units import quantity

ATOMS = {
    "CO2": {"C": 1, "O": 2}, "CO": {"C": 1, "O": 1}, "CH4": {"C": 1, "H": 4},
    "H2O": {"H": 2, "O": 1}, "H2": {"H": 2}, "H": {"H": 1}, "OH": {"O": 1, "H": 1}, "HO2": {"O": 2, "H": 1},
    "O2": {"O": 2}, "O": {"O": 1}, "Ar": {"Ar": 1},
    "N2": {"N": 2}, "NO": {"N": 1, "O": 1}, "NO2": {"N": 1, "O": 2},
    "SO2": {"S": 1, "O": 2}, "SO3": {"S": 1, "O": 3}, "SO": {"S": 1, "O": 1}, "H2S": {"H": 2, "S": 1},
}  # fmt: skip
TEXTBOOK_AIR = {"O2": 0.21, "N2": 0.79}
METHANE = fuel("methane")
SOUR = Fuel(
    composition={"CH4": 0.80, "C3H8": 0.10, "n-C5H12": 0.02, "n-C6H14": 0.01, "H2S": 0.03, "N2": 0.04},
    name="sour",
)


def atoms(wet: Mapping[str, Any], element: str) -> Any:
    return sum(ATOMS[name].get(element, 0) * x for name, x in wet.items())


@pytest.mark.law
@pytest.mark.parametrize(
    "gas", [METHANE, SOUR, fuel("hydrogen"), fuel("carbon monoxide")], ids=lambda gas: gas.name
)
def test_every_element_balances_rich_and_lean(gas: Fuel) -> None:
    air_ratio = np.array([0.6, 0.9, 1.0, 1.3, 3.0])
    wet = equilibrium_products(gas, air_ratio=air_ratio, temperature=1900.0, air_water_fraction=0.02).wet
    fractions = gas.composition
    carbon = sum(
        {"CH4": 1, "C3H8": 3, "n-C5H12": 5, "n-C6H14": 6, "CO": 1}.get(n, 0) * x for n, x in fractions.items()
    )
    hydrogen = sum(
        {"CH4": 4, "C3H8": 8, "n-C5H12": 12, "n-C6H14": 14, "H2S": 2, "H2": 2}.get(n, 0) * x
        for n, x in fractions.items()
    )
    sulfur = fractions.get("H2S", 0.0)
    oxygen = fractions.get("CO", 0.0)
    from fluewright.combustion.air import dry_air

    air = dry_air()
    dry = air_ratio * (2 * carbon + hydrogen / 2 + 2 * sulfur - oxygen) / 2 / air["O2"]
    water = dry * 0.02 / 0.98
    brought = {
        "C": carbon + dry * air["CO2"],
        "H": hydrogen + 2 * water,
        "O": oxygen + dry * (2 * air["O2"] + 2 * air["CO2"]) + water,
        "N": 2 * (dry * air["N2"] + fractions.get("N2", 0.0)),
        "S": sulfur + 0.0 * dry,
    }
    for element, amount in brought.items():
        per_argon = atoms(wet, element) / atoms(wet, "Ar") * dry * air["Ar"]
        np.testing.assert_allclose(per_argon, amount, rtol=1e-9, atol=1e-12, err_msg=element)
    np.testing.assert_allclose(sum(wet.values()), 1.0, rtol=1e-12)


@pytest.mark.law
def test_equals_the_full_mechanism_of_53_species() -> None:
    import cantera as ct

    air_ratio = np.array([0.5, 0.75, 1.0, 1.2, 2.0])
    ours = adiabatic_flame(
        METHANE, excess_air=air_ratio - 1, dry_air=TEXTBOOK_AIR, air_temperature=310.0, fuel_temperature=310.0
    )
    full = ct.Solution("gri30.yaml")
    for row, ratio in enumerate(air_ratio):
        full.TP = 310.0, 101325.0
        full.set_equivalence_ratio(1 / ratio, "CH4", "O2:0.21, N2:0.79")
        full.equilibrate("HP")
        assert ours.temperature[row] == pytest.approx(full.T, abs=0.05)
        assert ours.composition["CO"][row] == pytest.approx(full["CO"].X[0], rel=1e-3)


def cea_flame(name: str, oxygen: float, species: tuple[str, ...]) -> tuple[float, dict[str, float]]:
    """NASA CEA itself: one mole of fuel with so much oxygen and its nitrogen, at 300 K and 1 bar."""
    import cea

    names = [name, "O2", "N2"]
    reactants, products = cea.Mixture(names), cea.Mixture(names, products_from_reactants=True)
    solver = cea.EqSolver(products, reactants=reactants)
    solution = cea.EqSolution(solver)
    weights = reactants.moles_to_weights(np.array([1.0, oxygen, oxygen * 79 / 21]))
    solver.solve(
        solution, cea.HP, reactants.calc_property(cea.ENTHALPY, weights, 300.0) / cea.R, 1.0, weights
    )
    return float(solution.T), {each: float(solution.mole_fractions.get(each, 0.0)) for each in species}


@pytest.mark.published
@pytest.mark.parametrize("equivalence_ratio", [0.55, 0.85, 1.0, 1.15, 1.6])
@pytest.mark.parametrize(
    ("component", "name"),
    [
        ("CH4", "CH4"),
        ("C3H8", "C3H8"),
        ("n-C4H10", "C4H10,n-butane"),
        ("C2H6", "C2H6"),
        ("H2", "H2"),
        ("CO", "CO"),
        ("n-C5H12", "C5H12,n-pentane"),
    ],
)
def test_agrees_with_the_nasa_cea_program(component: str, name: str, equivalence_ratio: float) -> None:
    gas = Fuel(composition={component: 1.0}, name=component)
    species = ("CO2", "H2O", "CO", "H2", "NO", "OH")
    temperature, fractions = cea_flame(name, gas.oxygen_need / equivalence_ratio, species)
    ours = adiabatic_flame(
        gas,
        excess_air=1 / equivalence_ratio - 1,
        air_temperature=300.0,
        fuel_temperature=300.0,
        pressure=1e5,
        dry_air=TEXTBOOK_AIR,
    )
    # Two sets of thermodynamic data; the heat of formation of OH differs most, by 2.1 kJ/mol.
    assert ours.temperature == pytest.approx(temperature, abs=2.0)
    tolerances = {"CO2": 0.01, "H2O": 0.01, "OH": np.expm1(2.1e3 / 8.314 / temperature) + 0.01}
    for each, fraction in fractions.items():
        if fraction > 1e-12:
            assert ours.composition[each] == pytest.approx(fraction, rel=tolerances.get(each, 0.04)), each


@pytest.mark.law
def test_trends() -> None:
    def temperature(**given: Any) -> Any:
        return adiabatic_flame(METHANE, **given).temperature

    assert np.all(np.diff(temperature(excess_air=np.linspace(0, 3, 13))) < 0)
    assert np.all(np.diff(temperature(air_water_fraction=np.linspace(0, 0.2, 5))) < 0)
    assert np.all(np.diff(temperature(air_temperature=np.linspace(230, 900, 6))) > 0)
    assert np.all(np.diff(temperature(fuel_temperature=np.linspace(230, 500, 4))) > 0)
    assert np.all(
        np.diff(temperature(pressure=np.array([6e4, 8e4, 1e5, 1e6]))) > 0
    )  # pressure holds dissociation down
    rich = np.linspace(-0.15, 0.05, 41)
    assert -0.10 < rich[np.argmax(temperature(excess_air=rich))] < 0.0  # the hottest flame is slightly rich


@pytest.mark.law
def test_dissociation_only_cools_and_fades_with_temperature() -> None:
    flame = adiabatic_flame(METHANE, excess_air=np.array([-0.1, 0.0, 0.5, 2.0, 5.0]))
    assert np.isnan(flame.frozen_temperature[0])  # complete burning does not exist without enough air
    gap = flame.frozen_temperature[1:] - flame.temperature[1:]
    assert np.all(np.diff(gap) < 0)
    assert gap[0] > 90
    assert 0 < gap[-1] < 0.1
    for species in ("CO2", "H2O", "O2", "N2", "Ar"):
        assert flame.frozen_composition[species][-1] == pytest.approx(
            flame.composition[species][-1], rel=1e-3
        )


@pytest.mark.law
def test_very_lean_flame_reaches_its_air() -> None:
    flame = adiabatic_flame(METHANE, excess_air=1e5, air_temperature=400.0)
    assert flame.temperature == pytest.approx(400.0, abs=0.1)


@pytest.mark.law
def test_equilibrium_at_the_flame_temperature_is_the_flame() -> None:
    flame = adiabatic_flame(SOUR, excess_air=0.1, pressure=9e4, air_water_fraction=0.01)
    products = equilibrium_products(
        SOUR, air_ratio=1.1, temperature=flame.temperature, pressure=9e4, air_water_fraction=0.01
    )
    for species, fraction in flame.composition.items():
        assert products.wet[species] == pytest.approx(fraction, rel=1e-5), species
    assert sum(flame.dry.values()) == pytest.approx(1.0, rel=1e-12)
    assert "H2O" not in products.dry


@pytest.mark.law
def test_water_gas_equilibrium_in_rich_gas() -> None:
    gas = equilibrium_products(METHANE, air_ratio=0.8, temperature=np.array([1000.0, 1500.0, 2000.0])).wet
    constant = gas["CO"] * gas["H2O"] / gas["CO2"] / gas["H2"]
    # CO2 + H2 = CO + H2O, by log10 K_f of the JANAF tables: -0.159, 0.412, 0.656 (value from memory).
    np.testing.assert_allclose(constant, 10 ** np.array([-0.159, 0.412, 0.656]), rtol=0.03)


def test_maps_over_air_and_fuel_are_one_call() -> None:
    share = np.array([0.0, 0.2, 1.0])
    blend = Fuel(composition={"CH4": 1 - share, "H2": share}, name="blends")
    flame = adiabatic_flame(blend, excess_air=np.array([[0.0], [0.3]]))
    assert flame.temperature.shape == (2, 3)
    for row, excess in enumerate((0.0, 0.3)):
        for column, part in enumerate(share):
            single = adiabatic_flame(
                Fuel(composition={"CH4": 1 - part, "H2": part}, name="blend"), excess_air=excess
            )
            assert flame.temperature[row, column] == pytest.approx(single.temperature, abs=1e-4)
            assert flame.composition["NO"][row, column] == pytest.approx(single.composition["NO"], rel=1e-6)
    assert isinstance(single.temperature, float)


def test_series_and_quantities_give_what_plain_numbers_give() -> None:
    plain = adiabatic_flame(METHANE, excess_air=np.array([0.0, 0.2]), air_temperature=300.0, pressure=9e4)
    series = adiabatic_flame(
        METHANE, excess_air=pd.Series([0.0, 0.2]), air_temperature=pd.Series([300.0, 300.0]), pressure=9e4
    )
    quantities = adiabatic_flame(
        METHANE,
        excess_air=quantity(np.array([0.0, 20.0]), "percent"),
        air_temperature=quantity(26.85, "degC"),
        fuel_temperature=quantity(77.0, "degF"),
        pressure=quantity(0.9, "bar"),
    )
    np.testing.assert_allclose(series.temperature, plain.temperature, rtol=1e-12)
    np.testing.assert_allclose(quantities.temperature, plain.temperature, rtol=1e-9)


def test_results_are_frozen() -> None:
    flame = adiabatic_flame(METHANE, excess_air=np.array([0.0, 0.2]))
    with pytest.raises(AttributeError, match="cannot assign to field"):
        flame.temperature = 1.0  # type: ignore[misc]
    with pytest.raises(ValueError, match="read-only"):
        flame.temperature[0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        flame.composition["CO"][0] = 1.0


def test_threads_side_by_side_change_nothing() -> None:
    excess = [0.0, 0.1, -0.2, 1.0, 0.5, -0.3] * 4

    def one(excess_air: float) -> float:
        return adiabatic_flame(METHANE, excess_air=excess_air).temperature

    with ThreadPoolExecutor(8) as threads:
        assert list(threads.map(one, excess)) == [one(each) for each in excess]


def test_results_cross_processes() -> None:
    flame = adiabatic_flame(METHANE, excess_air=np.array([0.0, 0.2]))
    returned = pickle.loads(pickle.dumps(flame))
    np.testing.assert_array_equal(returned.temperature, flame.temperature)
    np.testing.assert_array_equal(returned.composition["CO"], flame.composition["CO"])
    script = (
        "from fluewright.combustion import adiabatic_flame, fuel;"
        "print(repr(adiabatic_flame(fuel('methane'), excess_air=0.2).temperature))"
    )
    elsewhere = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    ).stdout
    assert float(elsewhere) == adiabatic_flame(METHANE, excess_air=0.2).temperature


@pytest.mark.law
def test_frozen_gas_keeps_heat_that_equilibrium_gives_up() -> None:
    down = cooling(METHANE, temperature=np.array([2200.0, 1800.0, 1500.0, 1000.0, 400.0]))
    assert np.all(down.heat_equilibrium > down.heat_frozen)
    assert np.all(np.diff(down.heat_frozen) > 0)
    assert np.all(np.diff(down.equilibrium["CO"]) < 0)
    assert np.ptp(down.frozen["CO"]) == 0
    # What the frozen gas keeps: the heat of burning its CO, H2 and radicals, by formation enthalpies [J/mol].
    moles = 1.0 / (down.frozen["CO2"] + down.frozen["CO"])[0] * (1 + 9.56 * 0.0004)
    heat = {
        "CO": 283.0e3,
        "H2": 241.8e3,
        "OH": 39.3e3 + 241.8e3 / 2,
        "H": 218.0e3 + 241.8e3 / 2,
        "O": 249.2e3,
        "NO": 90.3e3,
        "HO2": 133e3,
    }
    kept = moles * sum(down.frozen[name][0] * joules for name, joules in heat.items())
    assert (down.heat_equilibrium - down.heat_frozen)[-1] == pytest.approx(kept, rel=0.02)


def test_cooling_starts_at_one_flame() -> None:
    with pytest.raises(InputError, match="cooling starts at the flame"):
        cooling(METHANE, temperature=2400.0)
    with pytest.raises(InputError, match="follows one flame"):
        cooling(METHANE, temperature=1500.0, excess_air=np.array([0.0, 0.1]))


@pytest.mark.law
def test_thermal_nitric_oxide_grows_towards_equilibrium() -> None:
    made = thermal_nitric_oxide(
        METHANE, residence_time=np.array([0.0, 1e-3, 1e-2, 0.1, 1.0, 30.0]), excess_air=0.1
    )
    assert made.kinetic_dry[0] == 0
    assert np.all(np.diff(made.kinetic_dry) > 0)
    assert np.all(made.kinetic_dry <= made.equilibrium_dry * 1.001)
    assert made.kinetic_dry[-1] == pytest.approx(made.equilibrium_dry, rel=2e-3)
    # Short times grow in proportion to time: the rate is that of N2 + O.
    assert made.kinetic_dry[2] / made.kinetic_dry[1] == pytest.approx(10, rel=0.05)
    assert "teaching" in made.note
    cooler = thermal_nitric_oxide(METHANE, residence_time=0.01, excess_air=0.5)
    assert cooler.kinetic_dry[0] < 0.05 * made.kinetic_dry[2]


SULFURIC = Fuel(composition={"CH4": 0.99, "H2S": 0.01}, name="methane with sulfur")


@pytest.mark.parametrize("gas", [fuel("propane"), fuel("hydrogen"), SULFURIC], ids=lambda gas: gas.name)
def test_kinetics_refuse_fuels_outside_of_the_mechanism(gas: Fuel) -> None:
    with pytest.raises(InputError, match="methane and natural gas only, without sulfur"):
        thermal_nitric_oxide(gas, residence_time=0.01)


def test_kinetics_refuse_times_that_do_not_ascend() -> None:
    with pytest.raises(InputError, match="must ascend"):
        thermal_nitric_oxide(METHANE, residence_time=np.array([0.1, 0.01]))


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"excess_air": -0.8}, "soot"),
        ({"excess_air": -1.0}, "more than none"),
        ({"excess_air": np.nan}, "air_ratio"),
        ({"pressure": 0.0}, "pressure is 0: .* from 10000 to 1e.07 Pa"),
        ({"air_temperature": 20.0}, "air_temperature is 20: .* from 213.15 to 1500 K"),
        ({"fuel_temperature": np.inf}, "fuel_temperature is inf"),
        ({"air_water_fraction": -0.01}, "air_water_fraction is -0.01"),
    ],
)
def test_outside_of_the_limits_a_scalar_is_an_error_and_an_array_is_masked(
    given: dict[str, float], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        adiabatic_flame(METHANE, **given)
    ((name, value),) = given.items()
    usual = {"excess_air": 0.1, "pressure": 1e5}.get(name, 0.01 if name == "air_water_fraction" else 300.0)
    flame = adiabatic_flame(METHANE, **{name: np.array([value, usual])})
    assert np.isnan(flame.temperature[0])
    assert np.isnan(flame.composition["CO"][0])
    assert 1500 < flame.temperature[1] < 2500


def test_nothing_to_burn_is_an_error() -> None:
    with pytest.raises(InputError, match="it has nothing to burn"):
        adiabatic_flame(Fuel(composition={"N2": 0.5, "CO2": 0.5}, name="inert"))


def test_odd_air_is_refused() -> None:
    with pytest.raises(InputError, match="must hold oxygen and sum to one"):
        adiabatic_flame(METHANE, dry_air={"O2": 0.21, "N2": 0.70})
