"""The temperature at which sulfuric acid starts to condense from flue gas."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fluewright import sources
from fluewright.combustion.blocks import Values, plain
from fluewright.errors import InputError
from fluewright.units import Array, Number, convert, si

__all__ = ["acid_dew_point", "sulfur_trioxide"]


def sulfur_trioxide(sulfur_dioxide: Number, *, conversion: Number | None = None) -> Values:
    """Return the sulfur trioxide that goes with a share of sulfur dioxide, by an assumed conversion.

    How much dioxide turns to trioxide depends on the flame, the metal surfaces and the time; it is never
    known from a field test, so a result that rests on it is labelled *assumed*.

    Parameters
    ----------
    sulfur_dioxide : float or array, any shape
        Sulfur dioxide of complete burning [mol/mol].
    conversion : float or array, optional
        Share of it that becomes trioxide [mol/mol]; default in ``sources/acid_dew_point.toml``.

    Returns
    -------
    float or array
        Sulfur trioxide [mol/mol], on the basis of `sulfur_dioxide`.

    Raises
    ------
    InputError
        The conversion is not a share between 0 and 1.

    Examples
    --------
    >>> round(1e6 * sulfur_trioxide(100e-6), 3)
    2.0
    """
    share = si(_data("conversion")["value"] if conversion is None else conversion, "mol/mol", "conversion")
    if np.any((share < 0) | (share > 1)):
        raise InputError(f"conversion is {share}; a share of sulfur dioxide lies between 0 and 1")
    return plain(share * si(sulfur_dioxide, "mol/mol", "sulfur_dioxide"))


def acid_dew_point(water_wet: Number, *, sulfur_trioxide_wet: Number, pressure: Number = 101325.0) -> Values:
    """Return the sulfuric-acid dew point of flue gas by the correlation of Verhoff and Banchero.

    All trioxide is taken to be bound as sulfuric acid, as it is below some 200 °C. Uncertain by about
    10 K inside the limits below: other published correlations differ by as much.

    Parameters
    ----------
    water_wet : float or array, shape (n,)
        Water vapor in the wet flue gas [mol/mol]; valid from 0.05 to 0.30.
    sulfur_trioxide_wet : float or array, shape (n,)
        Sulfur trioxide in the wet flue gas [mol/mol]; valid from 0.1 to 100 ppm.
    pressure : float or array, optional
        Absolute pressure [Pa].

    Returns
    -------
    float or array
        Acid dew point [K]; NaN where an array element is outside of the limits, and where there is no
        trioxide (no acid, no acid dew point).

    Raises
    ------
    InputError
        A scalar outside of the limits of the correlation.

    References
    ----------
    Verhoff, Banchero, Chemical Engineering Progress 70 (8), 1974, p. 71, as quoted.

    Examples
    --------
    From a balanced flue gas: ``acid_dew_point(flue.wet["H2O"], pressure=flue.pressure,
    sulfur_trioxide_wet=sulfur_trioxide(flue.wet["SO2"]))``.

    >>> round(acid_dew_point(0.10, sulfur_trioxide_wet=10e-6), 1)
    410.5
    """
    water, trioxide, absolute = np.broadcast_arrays(
        si(water_wet, "mol/mol", "water_wet"),
        si(sulfur_trioxide_wet, "mol/mol", "sulfur_trioxide_wet"),
        si(pressure, "Pa", "pressure"),
    )
    valid = _within_limits(water, trioxide) & (absolute > 0)
    none = trioxide == 0
    if water.ndim == 0 and not (valid or none):
        raise InputError(_outside(water, trioxide, absolute))
    c = _data("verhoff_banchero")
    torr = convert(np.where(valid, absolute, np.nan), "Pa", "mmHg")
    log_water = np.log(np.where(valid, water, np.nan) * torr)
    log_trioxide = np.log(np.where(valid, trioxide, np.nan) * torr)
    inverse = (
        c["constant"]
        + c["water"] * log_water
        + c["sulfur_trioxide"] * log_trioxide
        + c["product"] * log_water * log_trioxide
    )
    return plain(1000.0 / inverse)


def _data(name: str) -> dict[str, float]:
    entry: dict[str, float] = sources.table("acid_dew_point")[name]
    return entry


def _within_limits(water: Array, trioxide: Array) -> NDArray[np.bool_]:
    limits = _data("limits")
    return np.asarray(
        (water >= limits["water_low"])
        & (water <= limits["water_high"])
        & (trioxide >= limits["sulfur_trioxide_low"])
        & (trioxide <= limits["sulfur_trioxide_high"])
    )


def _outside(water: Array, trioxide: Array, pressure: Array) -> str:
    limits = _data("limits")
    return (
        f"no acid dew point for water_wet {water:g} and sulfur_trioxide_wet {trioxide:g} at {pressure:g} Pa: "
        f"the correlation is used from {limits['water_low']:g} to {limits['water_high']:g} mol/mol of water "
        f"and from {limits['sulfur_trioxide_low']:g} to {limits['sulfur_trioxide_high']:g} mol/mol of "
        "trioxide; with less, judge by the water dew point"
    )
