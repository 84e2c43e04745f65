"""Burn a fuel forward: what leaves the flame when mixing is not perfect, and the enthalpy it carries.

The analysis goes from readings to the flame; this module goes the other way, by Cantera's equilibrium and
element balance alone, so that simulated readings owe nothing to the functions they are to test.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import cantera as ct
import numpy as np

from fluewright.errors import InputError
from fluewright.units import Array

__all__ = [
    "GAS_CONSTANT",
    "BurntGas",
    "burn",
    "enthalpy",
    "formation_heat",
    "liquid_water",
    "liquid_water_density",
    "molar_mass",
    "water_dew_point",
    "water_saturation",
]

STABLE = ("CO2", "CO", "H2O", "H2", "O2", "N2", "AR")
RADICALS = ("OH", "O", "H", "NO")
_MECHANISM = "gri30.yaml"
_KILO = 1000.0  # Cantera counts in kmol
GAS_CONSTANT = ct.gas_constant / _KILO  # J/(mol K)


@dataclass(frozen=True, slots=True, kw_only=True)
class BurntGas:
    """Flue gas per mole of fuel, row by row.

    `air_need` [mol/mol fuel] of the moist air at an air ratio of one; `moles` [mol/mol fuel] by species;
    `reactants_enthalpy` [J/mol fuel] of fuel and air as they came, with the heats of formation;
    `flame_temperature` [K], adiabatic, of the whole mixture at equilibrium.
    """

    air_need: float
    moles: Mapping[str, Array]
    reactants_enthalpy: Array
    flame_temperature: Array


@functools.cache
def _species() -> Mapping[str, Any]:
    return {species.name: species for species in ct.Species.list_from_file(_MECHANISM)}


def _phase(names: tuple[str, ...]) -> Any:
    return ct.Solution(thermo="ideal-gas", species=[_species()[name] for name in names])


def _atoms(moles: Mapping[str, Array | float], element: str) -> Array:
    total = sum(np.asarray(n) * _species()[name].composition.get(element, 0.0) for name, n in moles.items())
    return np.asarray(total, dtype=np.float64)


def _start(moles: Mapping[str, Array | float], names: tuple[str, ...]) -> Array:
    """Return the elements of `moles` as CO, H2O, H2, O2, N2 and Ar [rows, species]."""
    carbon, hydrogen, oxygen = (_atoms(moles, element) for element in "CHO")
    water = np.minimum(hydrogen / 2, oxygen - carbon)
    if np.any(water < 0):
        raise InputError("so little air that carbon would remain: air_ratio must be above about 0.4")
    parts = {
        "CO": carbon,
        "H2O": water,
        "H2": hydrogen / 2 - water,
        "O2": (oxygen - carbon - water) / 2,
        "N2": _atoms(moles, "N") / 2,
        "AR": _atoms(moles, "Ar"),
    }
    zero = np.zeros(np.broadcast_shapes(*(np.shape(part) for part in parts.values())))
    return np.atleast_2d(np.stack([parts.get(name, 0.0) + zero for name in names], axis=-1))


def _quenched(moles: Mapping[str, Array | float], temperature: float, pressure: float) -> Array:
    """Return the equilibrium of the stable species at `temperature`, in moles [rows, species]."""
    gas = _phase(STABLE)
    rows = _start(moles, STABLE)
    out = np.empty_like(rows)
    for row, start in enumerate(rows):  # Cantera solves one state at a time
        gas.TPX = temperature, pressure, start
        mass = start @ gas.molecular_weights
        gas.equilibrate("TP")
        out[row] = gas.X * mass / gas.mean_molecular_weight
    return out


def _flame_temperature(moles: Mapping[str, Array | float], total_enthalpy: Array, pressure: float) -> Array:
    gas = _phase(STABLE + RADICALS)
    rows = _start(moles, STABLE + RADICALS)
    specific = total_enthalpy * _KILO / (rows @ gas.molecular_weights)
    out = np.empty(len(rows))
    for row, start in enumerate(rows):  # Cantera solves one state at a time
        gas.HPX = specific[row], pressure, start
        gas.equilibrate("HP")
        out[row] = gas.T
    return out


def enthalpy(moles: Mapping[str, Array | float], temperature: Array | float) -> Array:
    """Return the enthalpy of a gas, heats of formation included, by Cantera's species data.

    Parameters
    ----------
    moles : mapping of arrays [mol]
        Amount of each species.
    temperature : array [K]
        Temperature of the gas.

    Returns
    -------
    array [J]
        Enthalpy of the whole amount.
    """
    known = _species()
    total = np.zeros(np.broadcast_shapes(np.shape(temperature), *(np.shape(n) for n in moles.values())))
    for name, amount in moles.items():
        middle, *coefficients = known[name].thermo.coeffs  # Cantera puts the range above the middle first
        high, low = np.reshape(coefficients, (2, 7))
        total = total + np.asarray(amount) * np.where(
            np.asarray(temperature) > middle, _nasa7(high, temperature), _nasa7(low, temperature)
        )
    return total


def _nasa7(coefficients: Array, temperature: Array | float) -> Array:
    a1, a2, a3, a4, a5, a6, _ = coefficients
    t = np.asarray(temperature, dtype=np.float64)
    series = t * (a1 + t * (a2 / 2 + t * (a3 / 3 + t * (a4 / 4 + t * a5 / 5)))) + a6
    return np.asarray(GAS_CONSTANT * series)


def burn(
    fuel: Mapping[str, float],
    *,
    air: Mapping[str, float],
    air_ratio: Array,
    unmixed: Array,
    pocket_air_ratio: float,
    quench_temperature: float,
    air_temperature: Array,
    pressure: float,
) -> BurntGas:
    """Burn a fuel in air of which a part does not mix in time.

    The share `unmixed` of the fuel burns in rich pockets at `pocket_air_ratio`; the rest burns with all the
    air that is left. Both reach equilibrium at `quench_temperature`, are frozen, and then mix: the pockets
    leave CO and H2.

    Parameters
    ----------
    fuel, air : mapping of float [mol/mol]
        Composition of the fuel and of the (moist) air.
    air_ratio : array, shape (rows,) [-]
        Air to stoichiometric air, over all.
    unmixed : array, shape (rows,) [mol/mol]
        Share of the fuel in rich pockets.
    pocket_air_ratio : float [-]
        Air ratio within them.
    quench_temperature : float [K]
        Temperature at which composition freezes.
    air_temperature : array, shape (rows,) [K]
        Temperature of air and fuel.
    pressure : float [Pa]
        Absolute pressure.

    Returns
    -------
    BurntGas
        Per mole of fuel.

    Raises
    ------
    InputError
        Too little air for carbon to burn to CO at least.
    """
    need = float(_atoms(fuel, "C") * 2 + _atoms(fuel, "H") / 2 - _atoms(fuel, "O")) / 2 / air["O2"]

    def mixed(fuel_moles: Array | float, air_moles: Array | float) -> Mapping[str, Array | float]:
        names = dict.fromkeys((*fuel, *air))
        return {name: fuel.get(name, 0.0) * fuel_moles + air.get(name, 0.0) * air_moles for name in names}

    pocket = _quenched(mixed(1.0, need * pocket_air_ratio), quench_temperature, pressure)
    rest = mixed(1.0 - unmixed, need * (air_ratio - unmixed * pocket_air_ratio))
    products = _quenched(rest, quench_temperature, pressure) + np.multiply.outer(unmixed, pocket[0])
    whole = mixed(1.0, need * air_ratio)
    brought = enthalpy(whole, air_temperature)
    return BurntGas(
        air_need=need,
        moles=dict(zip(STABLE, products.T, strict=True)),
        reactants_enthalpy=brought,
        flame_temperature=_flame_temperature(whole, brought, pressure),
    )


def formation_heat(fuel: Mapping[str, float], *, temperature: float, condensed: bool = True) -> float:
    """Return the heating value [J/mol] by heats of formation at `temperature` [K].

    Gross where the water leaves condensed, net where it leaves as vapor.
    """
    oxygen = float(_atoms(fuel, "C") + _atoms(fuel, "H") / 4 - _atoms(fuel, "O") / 2)
    gases = {"CO2": float(_atoms(fuel, "C")), "N2": float(_atoms(fuel, "N")) / 2}
    water = float(_atoms(fuel, "H")) / 2
    reactants = enthalpy({**fuel, "O2": fuel.get("O2", 0.0) + oxygen}, temperature)
    molar = liquid_water(np.array([temperature]))[0] if condensed else enthalpy({"H2O": 1.0}, temperature)
    return float(reactants - enthalpy(gases, temperature) - water * molar)


def molar_mass(fuel: Mapping[str, float]) -> float:
    """Return the molar mass [kg/mol] of a gas."""
    return float(sum(share * _species()[name].molecular_weight for name, share in fuel.items())) / _KILO


def _saturated(temperature: Array, read: str) -> Array:
    water = ct.Water()

    def at(kelvin: float) -> float:
        water.TQ = kelvin, 0.0
        return float(getattr(water, read))

    return np.array([at(kelvin) for kelvin in temperature])


def liquid_water(temperature: Array) -> Array:
    """Return the enthalpy [J/mol] of saturated liquid water at `temperature` [K], by the datum of gases."""
    return _saturated(temperature, "enthalpy_mole") / _KILO


def liquid_water_density(temperature: Array) -> Array:
    """Return the molar density [mol/m³] of saturated liquid water at `temperature` [K]."""
    return _saturated(temperature, "density_mole") * _KILO


def water_saturation(temperature: Array) -> Array:
    """Return the saturation pressure [Pa] of water at `temperature` [K], by Cantera's equation of state."""
    return _saturated(temperature, "P")


def water_dew_point(partial_pressure: Array) -> Array:
    """Return the temperature [K] at which water of `partial_pressure` [Pa] begins to condense."""
    water = ct.Water()

    def at(pascal: float) -> float:
        water.PQ = pascal, 1.0
        return float(water.T)

    return np.array([at(pascal) for pascal in partial_pressure])
