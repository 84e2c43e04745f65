"""Heat and water: output from flow and temperature difference, with real water or a glycol mixture.

Water by the IAPWS equations for the liquid at 0.1 MPa; the pressure of a heating system moves its density by less than
0.03 % per 0.6 MPa. Whether an appliance can condense follows from return temperature against the flue's dew point.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from fluewright import sources
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import Array, Number, si

_LIQUIDS = sources.table("liquids")
FLUIDS = tuple(_LIQUIDS)
_STEPS, _WEIGHTS = np.polynomial.legendre.leggauss(3)  # exact for the cubic that the specific heat is


def heat_carrier(name: str) -> str:
    """Return the name of a heat carrier as the table has it.

    Raises
    ------
    UnknownNameError
        There is no such heat carrier; the nearest is suggested.
    """
    if name not in FLUIDS:
        raise UnknownNameError("heat carrier", name, FLUIDS)
    return name


def _powers(base: Array, coefficients: Sequence[float], powers: Sequence[int], *, slope: bool = False) -> Any:
    """Return the sum of coefficient times base to its power; for `slope` each term times its power and the base."""
    return sum((n * base if slope else 1.0) * a * base**n for a, n in zip(coefficients, powers, strict=True))


def _valid(kelvin: Array, low: Array | float, high: float, fluid: str) -> Array:
    """Return the temperatures with NaN where the properties do not hold; a scalar outside is refused."""
    outside = (kelvin < low) | (kelvin > high)
    if np.ndim(outside) == 0 and outside:
        raise InputError(
            f"{fluid} at {float(kelvin):.2f} K is outside of what its properties hold for, {float(low):.2f} to "
            f"{high:.2f} K; check the temperature and its unit"
        )
    return np.where(outside, np.nan, kelvin)


def _water(kelvin: Array) -> tuple[Array, Array]:
    """Return specific enthalpy [J/kg] and density [kg/m³] of liquid water."""
    w = _LIQUIDS["water"]
    kelvin = _valid(kelvin, w["temperature_low"], w["temperature_high"], "water")
    tau = kelvin / w["reduction"]
    alpha, beta = w["reduction"] / (w["upper"] - kelvin), w["reduction"] / (kelvin - w["lower"])
    c1, c2, c3 = w["c"]
    gibbs = c1 + c2 * tau + c3 * tau * np.log(tau)
    gibbs = gibbs + _powers(alpha, w["gibbs_a"], w["gibbs_n"]) + _powers(beta, w["gibbs_b"], w["gibbs_m"])
    entropy = -(c2 + c3 * (1 + np.log(tau)))
    entropy = entropy - _powers(alpha, w["gibbs_a"], w["gibbs_n"], slope=True)
    entropy = entropy + _powers(beta, w["gibbs_b"], w["gibbs_m"], slope=True)
    volume = w["volume_constant"] + _powers(alpha, w["volume_a"], w["volume_n"])
    volume = volume + _powers(beta, w["volume_b"], w["volume_m"])
    scale = w["gas_constant"] * w["reduction"]
    return scale * (gibbs + tau * entropy), w["pressure"] / (scale * volume)


def _mixture(name: str, kelvin: Array, share: Array, property_: str) -> Array:
    entry = _LIQUIDS[name]
    w, t = share - entry["base_share"], kelvin - entry["base_temperature"]
    return np.asarray(
        sum(a * w**i * t**j for i, row in enumerate(entry[property_]) for j, a in enumerate(row))
    )


def freezing_temperature(fluid: str, *, glycol_share: Number = 0.0) -> Array:
    """Return the temperature at which a heat carrier begins to freeze [K].

    Parameters
    ----------
    fluid : str
        "water", "ethylene glycol" or "propylene glycol".
    glycol_share : number or array [kg/kg]
        Mass fraction of glycol.
    """
    share = si(glycol_share, "1", "glycol_share")
    if heat_carrier(fluid) == "water":
        return np.asarray(np.full_like(share, _LIQUIDS["water"]["temperature_low"]))
    entry = _LIQUIDS[fluid]
    return np.asarray(sum(a * (share - entry["base_share"]) ** i for i, a in enumerate(entry["freezing"])))


def _checked(fluid: str, kelvin: Array, share: Array) -> Array:
    """Return the temperatures with NaN where the mixture's properties do not hold; its share is checked."""
    entry = _LIQUIDS[heat_carrier(fluid)]
    if fluid == "water":
        if np.any(share != 0):
            raise InputError(f"glycol_share is {share} of water; name the glycol as the heat carrier")
        return kelvin
    if np.any((share < 0) | (share > entry["share_high"])):
        raise InputError(
            f"glycol_share is {share}; the properties of {fluid} are known up to {entry['share_high']:.0%} by mass"
        )
    return _valid(kelvin, freezing_temperature(fluid, glycol_share=share), entry["temperature_high"], fluid)


def liquid_density(temperature: Number, *, fluid: str = "water", glycol_share: Number = 0.0) -> Array:
    """Return the density of a heat carrier.

    Parameters
    ----------
    temperature : number or array [K]
        Of the liquid; from its freezing point to 110 °C (water) or 100 °C (mixtures).
    fluid : str
        "water", "ethylene glycol" or "propylene glycol" (mixed with water).
    glycol_share : number or array [kg/kg]
        Mass fraction of glycol, up to 0.6.

    Returns
    -------
    array [kg/m³]
        NaN where an array leaves what the equations hold for.

    Raises
    ------
    InputError
        A scalar, or the share of glycol, is outside.
    UnknownNameError
        There is no such heat carrier.

    Examples
    --------
    >>> round(float(liquid_density(293.15)), 1)
    998.2
    """
    kelvin, share = si(temperature, "K", "temperature"), si(glycol_share, "1", "glycol_share")
    kelvin = _checked(fluid, kelvin, share)
    return _water(kelvin)[1] if fluid == "water" else _mixture(fluid, kelvin, share, "density")


def water_heat_output(
    volume_flow: Number,
    *,
    supply_temperature: Number,
    return_temperature: Number,
    flow_temperature: Number,
    fluid: str = "water",
    glycol_share: Number = 0.0,
) -> Array:
    """Return the heat that a flow of water or of a glycol mixture gains from return to supply.

    Parameters
    ----------
    volume_flow : number or array [m³/s]
        Flow as a volume at `flow_temperature`.
    supply_temperature, return_temperature : number or array [K]
        Of the water leaving and entering the appliance.
    flow_temperature : number or array [K]
        At which the volume counts: that of the pipe the flow meter sits in.
    fluid, glycol_share
        As for `liquid_density`.

    Returns
    -------
    array [W]
        NaN where an array leaves what the equations hold for.

    Raises
    ------
    InputError
        A scalar, or the share of glycol, is outside.
    UnknownNameError
        There is no such heat carrier.

    Notes
    -----
    Of water the difference of enthalpies; of a mixture the integral of its specific heat, by a Gauss rule that is exact
    for it. The pump's heat within the appliance is part of the result.
    """
    flow = si(volume_flow, "m^3/s", "volume_flow")
    warm, cool = (
        si(supply_temperature, "K", "supply_temperature"),
        si(return_temperature, "K", "return_temperature"),
    )
    share = si(glycol_share, "1", "glycol_share")
    density = liquid_density(flow_temperature, fluid=fluid, glycol_share=share)
    warm, cool = _checked(fluid, warm, share), _checked(fluid, cool, share)
    if fluid == "water":
        gained = _water(warm)[0] - _water(cool)[0]
    else:
        middle, half = (warm + cool) / 2, (warm - cool) / 2
        gained = half * sum(
            weight * _mixture(fluid, middle + half * step, share, "specific_heat")
            for step, weight in zip(_STEPS, _WEIGHTS, strict=True)
        )
    return np.asarray(flow * density * gained)


def property_spread(fluid: str) -> float:
    """Return the half-width of a heat carrier's heat capacity per volume, as a share; zero for water."""
    return float(_LIQUIDS[heat_carrier(fluid)].get("spread", 0.0))
