"""Draft: what a chimney can pull, from its height and temperatures."""

from __future__ import annotations

import numpy as np

from fluewright import sources
from fluewright.errors import InputError
from fluewright.units import Array, Number, si

_GRAM = 1e-3


def theoretical_draft(
    height: Number,
    *,
    outdoor_temperature: Number,
    flue_temperature: Number,
    pressure: Number = 101325.0,
    gas_molar_mass: Number | None = None,
) -> Array:
    """Return the draft at the foot of a column of hot gas that stands still.

    Friction and the cooling of the gas on its way are left out: `flue_temperature` is the mean over the height, and
    what is measured is less.

    Parameters
    ----------
    height : number or array [m]
        From where the draft is read to the outlet.
    outdoor_temperature, flue_temperature : number or array [K]
        Of the outdoor air; mean of the gas in the chimney.
    pressure : number or array [Pa]
        Absolute, outdoors.
    gas_molar_mass : number or array [kg/mol], optional
        Of the flue gas; by default that of air, as the handbooks take it.

    Returns
    -------
    array [Pa]
        Suction, so negative where the gas is lighter than the air outdoors.

    Raises
    ------
    InputError
        A height, temperature or pressure that is not above zero.

    References
    ----------
    The stack effect of any handbook; with equal molar masses the D = 0.52 H P (1/T - 1/T1) of Steam: its generation
    and use (in. w.c., ft, psi, °R).

    Examples
    --------
    >>> round(float(theoretical_draft(8.0, outdoor_temperature=270.0, flue_temperature=400.0)), 1)
    -33.4
    """
    up, cold = si(height, "m", "height"), si(outdoor_temperature, "K", "outdoor_temperature")
    hot, pascal = si(flue_temperature, "K", "flue_temperature"), si(pressure, "Pa", "pressure")
    for name, values in (
        ("height", up),
        ("outdoor_temperature", cold),
        ("flue_temperature", hot),
        ("pressure", pascal),
    ):
        if not np.all((values > 0) | np.isnan(values)):
            raise InputError(f"{name} is {values}; it must be above zero. Check the reading and its unit.")
    species = sources.table("species")
    air = species["air"]["molar_mass"] * _GRAM
    gas = air if gas_molar_mass is None else si(gas_molar_mass, "kg/mol", "gas_molar_mass")
    gravity = sources.table("atmosphere")["gravity"]["value"]
    column = gravity * up * pascal / species["reference"]["gas_constant"]
    return np.asarray(-column * (air / cold - gas / hot))
