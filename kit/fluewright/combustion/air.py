"""Combustion air: its composition and the moisture it brings."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from fluewright import sources
from fluewright.combustion.blocks import Values, blockwise, plain
from fluewright.combustion.water import saturation_pressure_kernel
from fluewright.errors import InputError
from fluewright.units import Number, si

__all__ = ["dry_air", "moist_air_water_fraction"]


@functools.cache
def dry_air() -> Mapping[str, float]:
    """Return the composition of dry air [mol/mol], by species: CIPM-2007."""
    return MappingProxyType(
        {name: float(part) for name, part in sources.table("air")["dry"].items() if isinstance(part, float)}
    )


def moist_air_water_fraction(
    relative_humidity: Number, *, temperature: Number, pressure: Number = 101325.0
) -> Values:
    """Return the water vapor in air from its relative humidity.

    Relative humidity holds only at the temperature at which it was read. Below 0 °C it is taken over ice. The
    enhancement of saturation by air (0.4 % of the vapor) is left out.

    Parameters
    ----------
    relative_humidity : float or array [-]
        Fraction of saturation, 0 to 1.
    temperature : float or array [K]
        Temperature at which the humidity was read, -60 to 100 °C.
    pressure : float or array [Pa]
        Absolute pressure of the air.

    Returns
    -------
    float or array [mol/mol]
        Moles of water per mole of moist air; NaN where an array leaves the range.

    Raises
    ------
    InputError
        A scalar is outside of the range, or the water would boil.

    Examples
    --------
    >>> round(moist_air_water_fraction(0.5, temperature=293.15, pressure=101325.0), 5)
    0.01154
    """
    humidity = si(relative_humidity, "1", "relative_humidity")
    kelvin = si(temperature, "K", "temperature")
    pascal = si(pressure, "Pa", "pressure")
    moist = sources.table("air")["moist"]

    def kernel(humidity: Values, kelvin: Values, pascal: Values) -> tuple[Values]:
        fraction = humidity * saturation_pressure_kernel(kelvin) / pascal
        valid = (
            (humidity >= 0) & (humidity <= moist["relative_humidity_high"]) & (pascal > 0) & (fraction < 1)
        )
        valid &= (kelvin >= moist["temperature_low"]) & (kelvin <= moist["temperature_high"])
        return (np.where(valid, fraction, np.nan),)

    (fraction,) = blockwise(kernel, humidity, kelvin, pascal)
    if fraction.ndim == 0 and np.isnan(fraction):
        raise InputError(
            f"relative_humidity {float(humidity)} at {float(kelvin)} K and {float(pascal)} Pa is not "
            "moist air: "
            "humidity is a fraction from 0 to 1, temperature from 213.15 to 373.15 K, and the water must "
            "not boil. "
            "Check the reading and its unit (a humidity in percent is divided by 100)."
        )
    return plain(fraction)
