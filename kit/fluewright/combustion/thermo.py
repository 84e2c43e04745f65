"""Sensible enthalpies from Cantera's species data, as polynomials that are added before they are evaluated.

The NASA polynomials are linear in the amounts of the species, so the polynomials of a gas are folded into one
whose coefficients are evaluated row by row. Everything counts from 25 °C; heats of formation are left out,
since the heat input is that of ISO 6976 and the two must not be mixed within one balance.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np

from fluewright.combustion.blocks import Values, blockwise, plain
from fluewright.errors import UnknownNameError
from fluewright.units import Array, Number, si

__all__ = ["REFERENCE_TEMPERATURE", "evaluate", "fold", "formation_enthalpy", "sensible_enthalpy"]

REFERENCE_TEMPERATURE = 298.15  # K, the 25 °C of the heating value and of Cantera's data
GASES = "nasa_gas.yaml"  # valid from 200 K, where the bundled mechanism's nitrogen begins at 300 K
LIQUIDS = "nasa_condensed.yaml"
_SWITCH = 1000.0  # K, where the NASA polynomials change branch
_KILO = 1000.0  # Cantera counts in kmol
LIQUID_WATER = "H2O(L)"


@functools.cache
def _species(file: str) -> Mapping[str, Any]:
    import cantera

    return MappingProxyType({species.name: species for species in cantera.Species.list_from_file(file)})


def _branches(name: str) -> tuple[Any, Array, Array]:
    """Return the species and its low and high branch, seven coefficients each."""
    known = _species(LIQUIDS if name.endswith(")") else GASES)
    if name not in known:
        raise UnknownNameError("species with thermodynamic data", name, known)
    middle, *coefficients = known[name].thermo.coeffs
    high, low = np.reshape(coefficients, (2, 7))
    return known[name], low, (high if middle == _SWITCH else low)


@functools.cache
def _polynomial(name: str) -> Array:
    """Return the sensible enthalpy of one species [J/mol] as coefficients of T, T², … T⁵, 1: shape (2, 6)."""
    import cantera

    gas_constant = cantera.gas_constant / _KILO
    species, low, high = _branches(name)
    reference = species.thermo.h(REFERENCE_TEMPERATURE) / _KILO
    made = np.array([[*(branch[:5] / np.arange(1, 6)), branch[5]] for branch in (low, high)]) * gas_constant
    made[:, 5] -= reference
    made.setflags(write=False)
    return made


def formation_enthalpy(name: str) -> float:
    """Return the heat of formation of a species at 25 °C by Cantera's data [J/mol]."""
    return float(_branches(name)[0].thermo.h(REFERENCE_TEMPERATURE) / _KILO)


def fold(amounts: Mapping[str, Any]) -> Array:
    """Return the polynomial of a gas from the amounts of its species.

    Parameters
    ----------
    amounts : mapping of str to float or array [mol]
        Amount of each species; negative where one is used up.

    Returns
    -------
    ndarray, shape (12, ...)
        Coefficients of T, T², … T⁵, 1 [J], of the branch below 1,000 K and then of the one above.
    """
    parts = np.broadcast_arrays(*amounts.values())
    polynomials = [_polynomial(name).ravel() for name in amounts]
    return np.asarray(sum(np.multiply.outer(*pair) for pair in zip(polynomials, parts, strict=True)))


def _horner(coefficients: Sequence[Any] | Array, temperature: Any) -> Any:
    first, second, third, fourth, fifth, constant = coefficients
    value = fifth * temperature
    for coefficient in (fourth, third, second, first):
        value += coefficient
        value *= temperature
    value += constant
    return value


def evaluate(coefficients: Sequence[Any] | Array, temperature: Any) -> Any:
    """Return the enthalpy [J] of a folded polynomial (twelve coefficients) at `temperature` [K]."""
    low = _horner(coefficients[:6], temperature)
    if not np.any(temperature > _SWITCH):
        return low
    return np.where(temperature > _SWITCH, _horner(coefficients[6:], temperature), low)


def sensible_enthalpy(amounts: Mapping[str, Number], *, temperature: Number) -> Values:
    """Return the enthalpy that a gas holds above 25 °C.

    Parameters
    ----------
    amounts : mapping of str to float or array [mol]
        Amount of each species, by its name in Cantera's NASA data (``CO2``, ``H2O``, ``N2`` …); ``H2O(L)`` is
        liquid water.
    temperature : float or array [K]
        Its temperature.

    Returns
    -------
    float or array [J]

    Raises
    ------
    UnknownNameError
        Cantera's data hold no such species.

    Examples
    --------
    >>> from fluewright.combustion.thermo import sensible_enthalpy
    >>> round(sensible_enthalpy({"N2": 1.0}, temperature=398.15))
    2918
    """
    folded = fold({name: si(amount, "mol", name) for name, amount in amounts.items()})
    (result,) = blockwise(
        lambda kelvin, *coefficients: (evaluate(coefficients, kelvin),),
        si(temperature, "K", "temperature"),
        *folded,
    )
    return plain(result)
