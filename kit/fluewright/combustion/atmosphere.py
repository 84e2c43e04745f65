"""The standard atmosphere: the pressure at an elevation."""

from __future__ import annotations

import numpy as np

from fluewright import sources
from fluewright.errors import InputError
from fluewright.units import Array, Number, si


def standard_atmosphere_pressure(elevation: Number) -> Array:
    """Return the absolute pressure of the standard atmosphere at an elevation, without the day's weather.

    Parameters
    ----------
    elevation : float or array [m]
        Above sea level, in the troposphere.

    Returns
    -------
    array [Pa]
        Of the input's shape.

    Raises
    ------
    InputError
        Below −1,000 m or above 9,000 m.

    References
    ----------
    ISO 2533:1975, Standard Atmosphere, the layer from 0 to 11 km.
    """
    height = si(elevation, "m", "elevation")
    if not ((height >= -1000) & (height <= 9000)).all():
        raise InputError(f"elevation is {height} m; a site lies between -1000 and 9000 m: check its unit")
    data = sources.table("atmosphere")
    base, lapse = data["temperature"]["value"], data["lapse_rate"]["value"]
    exponent = data["gravity"]["value"] / (data["gas_constant"]["value"] * lapse)
    return np.asarray(data["pressure"]["value"] * (1.0 - lapse * height / base) ** exponent)
