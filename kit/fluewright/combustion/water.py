"""Saturation of water over liquid and over ice, and its enthalpy of vaporization, by IAPWS."""

from __future__ import annotations

from typing import Any

import numpy as np

from fluewright import sources
from fluewright.combustion.blocks import Values, blockwise, plain
from fluewright.errors import InputError
from fluewright.units import Array, Number, si

__all__ = ["saturation_pressure", "saturation_temperature", "vaporization_enthalpy"]

_DATA = sources.table("water")
_LIQUID = _DATA["saturation"]
_ICE = _DATA["sublimation"]
_VAPORIZATION = _DATA["vaporization"]
_NEWTON_STEPS = 4  # from the start below: 1e-12 relative over the whole range of ice


def saturation_pressure(temperature: Number) -> Values:
    """Return the pressure at which water vapor is saturated: over liquid water, below 0 °C over ice.

    Parameters
    ----------
    temperature : float or array [K]
        From 50 K to the critical point at 647.096 K.

    Returns
    -------
    float or array [Pa]
        NaN where an array leaves that range.

    Raises
    ------
    InputError
        A scalar is outside of the range.

    Notes
    -----
    IAPWS-IF97 region 4, equation 30; below 273.15 K the sublimation equation of IAPWS R14-08. At 273.15 K
    the two differ by 0.02 %.

    Examples
    --------
    >>> round(saturation_pressure(300.0), 3)
    3536.589
    """
    kelvin = si(temperature, "K", "temperature")
    (pressure,) = blockwise(lambda t: (saturation_pressure_kernel(t),), kelvin)
    _refuse_scalar(
        pressure, kelvin, "temperature", "K", f"{_ICE['temperature_low']} to {_LIQUID['temperature_high']}"
    )
    return plain(pressure)


def saturation_temperature(pressure: Number) -> Values:
    """Return the temperature at which water vapor of a pressure is saturated: its dew or frost point.

    Parameters
    ----------
    pressure : float or array [Pa]
        Partial pressure of the vapor, up to the critical 22.064 MPa.

    Returns
    -------
    float or array [K]
        NaN where an array leaves the range.

    Raises
    ------
    InputError
        A scalar is outside of the range; dry gas has no dew point.

    Notes
    -----
    IAPWS-IF97 region 4, equation 31; below 611 Pa the sublimation equation of IAPWS R14-08, solved by
    Newton's method in a fixed number of steps.

    Examples
    --------
    >>> round(saturation_temperature(1e5), 4)
    372.7559
    """
    pascal = si(pressure, "Pa", "pressure")
    (kelvin,) = blockwise(lambda p: (saturation_temperature_kernel(p),), pascal)
    _refuse_scalar(kelvin, pascal, "pressure", "Pa", "1e-39 to 22.064e6")
    return plain(kelvin)


def vaporization_enthalpy(temperature: Number) -> Values:
    """Return the heat that evaporates water at saturation.

    Parameters
    ----------
    temperature : float or array [K]
        From 273.15 K to the critical point.

    Returns
    -------
    float or array [J/kg]
        NaN where an array leaves the range.

    Raises
    ------
    InputError
        A scalar is outside of the range.

    Notes
    -----
    Clausius and Clapeyron, with the auxiliary equations of IAPWS SR1-86 (1992) for vapor pressure and
    densities.

    Examples
    --------
    >>> round(vaporization_enthalpy(298.15) / 1e3, 0)
    2442.0
    """
    kelvin = si(temperature, "K", "temperature")
    (heat,) = blockwise(lambda t: (_vaporization(t),), kelvin)
    _refuse_scalar(
        heat, kelvin, "temperature", "K", f"{_LIQUID['temperature_low']} to {_LIQUID['temperature_high']}"
    )
    return plain(heat)


def saturation_pressure_kernel(temperature: Any) -> Any:
    """Return the saturation pressure [Pa] of one block of temperatures [K]; NaN outside of the range."""
    pressure = _pressure_over_liquid(temperature)
    if np.any(temperature < _LIQUID["temperature_low"]):
        pressure = np.where(
            temperature < _LIQUID["temperature_low"], _pressure_over_ice(temperature), pressure
        )
    valid = (temperature >= _ICE["temperature_low"]) & (temperature <= _LIQUID["temperature_high"])
    return np.where(valid, pressure, np.nan)


def saturation_temperature_kernel(pressure: Any) -> Any:
    """Return the saturation temperature [K] of one block of pressures [Pa]; NaN outside of the range."""
    freezing, critical = (
        _pressure_over_liquid(_LIQUID[end]) for end in ("temperature_low", "temperature_high")
    )
    temperature = _temperature_over_liquid(pressure)
    frozen = pressure < freezing
    if np.any(frozen):
        # The two equations are 0.02 % apart at 0 °C: the frost point stops where the dew point begins.
        frost_point = np.minimum(_temperature_over_ice(pressure), _LIQUID["temperature_low"])
        temperature = np.where(frozen, frost_point, temperature)
    valid = (pressure >= _pressure_over_ice(_ICE["temperature_low"])) & (pressure <= critical)
    return np.where(valid, temperature, np.nan)


def _pressure_over_liquid(temperature: Any) -> Any:
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _LIQUID["n"]
    theta = temperature + n9 / (temperature - n10)
    a = (theta + n1) * theta + n2
    b = (n3 * theta + n4) * theta + n5
    c = (n6 * theta + n7) * theta + n8
    root = 2 * c / (np.sqrt(b * b - 4 * a * c) - b)
    root *= root
    return _LIQUID["pressure_unit"] * root * root


def _temperature_over_liquid(pressure: Any) -> Any:
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _LIQUID["n"]
    beta = np.sqrt(np.sqrt(pressure / _LIQUID["pressure_unit"]))
    e = (beta + n3) * beta + n6
    f = (n1 * beta + n4) * beta + n7
    g = (n2 * beta + n5) * beta + n8
    d = 2 * g / (-f - np.sqrt(f * f - 4 * e * g))
    return (n10 + d - np.sqrt((n10 + d) ** 2 - 4 * (n9 + n10 * d))) / 2


def _log_pressure_over_ice(temperature: Any) -> tuple[Any, Any]:
    """Return ln(p / triple pressure) and its slope in temperature [1/K]."""
    theta = temperature / _ICE["triple_temperature"]
    terms = [a * theta ** (b - 1) for a, b in zip(_ICE["a"], _ICE["b"], strict=True)]
    slopes = [(b - 1) * term for b, term in zip(_ICE["b"], terms, strict=True)]
    return sum(terms), sum(slopes) / temperature


def _pressure_over_ice(temperature: Any) -> Any:
    return _ICE["triple_pressure"] * np.exp(_log_pressure_over_ice(temperature)[0])


def _temperature_over_ice(pressure: Any) -> Any:
    target = np.log(pressure / _ICE["triple_pressure"])
    slope = _log_pressure_over_ice(_ICE["triple_temperature"])[1]
    # ln p is close to a straight line in 1/T: start there, and step in 1/T.
    inverse = 1 / _ICE["triple_temperature"] - target / (slope * _ICE["triple_temperature"] ** 2)
    for _ in range(_NEWTON_STEPS):
        value, slope = _log_pressure_over_ice(1 / inverse)
        inverse = inverse + (value - target) * inverse**2 / slope
    return 1 / inverse


def _vaporization(temperature: Any) -> Any:
    data = _VAPORIZATION
    theta = temperature / data["critical_temperature"]
    tau = np.maximum(1 - theta, 0.0)
    series = sum(a * tau**power for a, power in zip(data["a"], data["a_power"], strict=True))
    slope = sum(a * power * tau ** (power - 1) for a, power in zip(data["a"], data["a_power"], strict=True))
    pressure = data["critical_pressure"] * np.exp(series / theta)
    pressure_slope = -pressure / temperature * (series / theta + slope)
    liquid = data["critical_density"] * (
        1 + sum(b * tau ** (n / 3) for b, n in zip(data["b"], data["b_third"], strict=True))
    )
    vapor = data["critical_density"] * np.exp(
        sum(c * tau ** (n / 6) for c, n in zip(data["c"], data["c_sixth"], strict=True))
    )
    valid = (temperature >= _LIQUID["temperature_low"]) & (temperature <= _LIQUID["temperature_high"])
    return np.where(valid, temperature * (1 / vapor - 1 / liquid) * pressure_slope, np.nan)


def _refuse_scalar(result: Array, given: Array, name: str, unit: str, span: str) -> None:
    if result.ndim == 0 and np.isnan(result):
        raise InputError(
            f"{name} is {float(given)} {unit}; water is saturated only within {span} {unit}. Check the "
            "value and its unit."
        )
