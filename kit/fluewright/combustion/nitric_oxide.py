"""How fast flame gas makes thermal nitric oxide: a closed form for any fuel, to compare fuels by."""

from __future__ import annotations

import numpy as np

from fluewright import sources
from fluewright.combustion.blocks import Values, plain
from fluewright.combustion.equilibrium import AdiabaticFlame

__all__ = ["thermal_nitric_oxide_rate"]


def thermal_nitric_oxide_rate(flame: AdiabaticFlame) -> Values:
    """Return the rate at which thermal nitric oxide begins to form in a flame gas.

    From the flame's equilibrium oxygen atoms, without the reactions that take nitric oxide away again: the
    beginning only. A rate to set fuels beside each other, no forecast of a reading: prompt nitric oxide, heat
    loss, mixing and time are left out. It holds for any fuel, since the flame gas no longer knows the fuel.

    Parameters
    ----------
    flame : AdiabaticFlame
        Of `adiabatic_flame`.

    Returns
    -------
    float or array [1/s]
        Mole fraction of dry flame gas per second.

    Notes
    -----
    ``d[NO]/dt = 2 k [O] [N2]`` with k of the reaction of nitrogen with oxygen atoms.

    References
    ----------
    Hanson and Salimian (1984), as in Turns, An Introduction to Combustion.

    Examples
    --------
    >>> from fluewright.combustion import adiabatic_flame, fuel
    >>> bool(thermal_nitric_oxide_rate(adiabatic_flame(fuel("hydrogen"))) > 0)
    True
    """
    data, gas = (
        sources.table("nitric_oxide")["rate"],
        sources.table("emission_factors")["gas_constant"]["value"],
    )
    kelvin, wet = np.asarray(flame.temperature), flame.composition
    concentration = np.asarray(flame.pressure) / (gas * kelvin)  # mol/m³
    constant = data["factor"] * np.exp(-data["temperature"] / kelvin)
    rate = 2 * constant * concentration * np.asarray(wet["O"]) * np.asarray(wet["N2"])
    return plain(rate / (1 - np.asarray(wet["H2O"])))
