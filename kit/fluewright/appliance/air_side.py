"""Heat and air: output from airflow and temperature rise, airflow from output and rise, and what the blower adds.

The air is the real moist air at the site's pressure: an ideal mixture (its compression factor, 0.9996, is left out)
with the enthalpy of its species. The trade's constants hold only at sea level; here they come out as results.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fluewright import sources
from fluewright.combustion import dry_air, sensible_enthalpy
from fluewright.errors import InputError
from fluewright.units import Array, Number, si

_GRAM = 1e-3


def _amounts(water_fraction: Array) -> dict[str, Array]:
    """Return the moist air [mol/mol] by species."""
    dry = {name: share * (1 - water_fraction) for name, share in dry_air().items()}
    return {**dry, "H2O": water_fraction}


def _molar_density(temperature: Array, pressure: Array) -> Array:
    return np.asarray(pressure / (sources.table("species")["reference"]["gas_constant"] * temperature))


def _above_zero(**given: Array) -> None:
    for name, values in given.items():
        if not np.all((values > 0) | np.isnan(values)):
            raise InputError(f"{name} is {values}; it must be above zero. Check the reading and its unit.")


def moist_air_density(
    temperature: Number, *, pressure: Number = 101325.0, water_fraction: Number = 0.0
) -> Array:
    """Return the density of moist air.

    Parameters
    ----------
    temperature : number or array [K]
        Of the air.
    pressure : number or array [Pa]
        Absolute.
    water_fraction : number or array [mol/mol]
        Moles of water per mole of moist air, as `moist_air_water_fraction` gives it.

    Returns
    -------
    array [kg/m³]

    Raises
    ------
    InputError
        A temperature or pressure that is not above zero.

    Examples
    --------
    >>> round(float(moist_air_density(293.15)), 3)
    1.204
    """
    kelvin = si(temperature, "K", "temperature")
    pascal = si(pressure, "Pa", "pressure")
    _above_zero(temperature=kelvin, pressure=pascal)
    mass = sources.table("species")["component"]
    molar = sum(
        mass[name]["molar_mass"] * share
        for name, share in _amounts(si(water_fraction, "mol/mol", "water_fraction")).items()
    )
    return np.asarray(_molar_density(kelvin, pascal) * molar * _GRAM)


def sensible_heat_factor(
    temperature: Number, *, pressure: Number = 101325.0, water_fraction: Number = 0.0
) -> Array:
    """Return the heat that warms a volume of air by one kelvin: what the trade writes as 1.08 Btu/(h cfm °F).

    Parameters
    ----------
    temperature : number or array [K]
        At which the volume counts.
    pressure : number or array [Pa]
        Absolute.
    water_fraction : number or array [mol/mol]
        Of the moist air.

    Returns
    -------
    array [J/(m³ K)]
        The mean over the kelvin above `temperature`.
    """
    kelvin = si(temperature, "K", "temperature")
    return air_heat_output(
        1.0,
        supply_temperature=kelvin + 1.0,
        return_temperature=kelvin,
        flow_temperature=kelvin,
        pressure=pressure,
        water_fraction=water_fraction,
    )


def _heat_per_volume(
    supply: Number, back: Number, flow_temperature: Number, pressure: Number, water_fraction: Number
) -> Array:
    warm, cool = si(supply, "K", "supply_temperature"), si(back, "K", "return_temperature")
    at, pascal = si(flow_temperature, "K", "flow_temperature"), si(pressure, "Pa", "pressure")
    _above_zero(flow_temperature=at, pressure=pascal)
    air = _amounts(si(water_fraction, "mol/mol", "water_fraction"))
    gained = np.asarray(sensible_enthalpy(air, temperature=warm)) - sensible_enthalpy(air, temperature=cool)
    return np.asarray(gained * _molar_density(at, pascal))


def air_heat_output(
    volume_flow: Number,
    *,
    supply_temperature: Number,
    return_temperature: Number,
    flow_temperature: Number,
    pressure: Number = 101325.0,
    water_fraction: Number = 0.0,
) -> Array:
    """Return the heat that an airflow gains from return to supply, the blower's included.

    Parameters
    ----------
    volume_flow : number or array [m³/s]
        Airflow as a volume at `flow_temperature` and `pressure`.
    supply_temperature, return_temperature : number or array [K]
        Of the air leaving and entering the appliance.
    flow_temperature : number or array [K]
        At which the volume counts: that of the return where the flow was read there.
    pressure : number or array [Pa]
        Absolute, at the site.
    water_fraction : number or array [mol/mol]
        Of the moist air, the same in supply and return.

    Returns
    -------
    array [W]

    Raises
    ------
    InputError
        A pressure or flow temperature that is not above zero.
    """
    flow = si(volume_flow, "m^3/s", "volume_flow")
    return np.asarray(
        flow
        * _heat_per_volume(supply_temperature, return_temperature, flow_temperature, pressure, water_fraction)
    )


def airflow(
    heat_output: Number,
    *,
    supply_temperature: Number,
    return_temperature: Number,
    flow_temperature: Number,
    pressure: Number = 101325.0,
    water_fraction: Number = 0.0,
) -> Array:
    """Return the airflow that carries a heat output at a temperature rise; the inverse of `air_heat_output`.

    Parameters
    ----------
    heat_output : number or array [W]
        Heat that the air gains, the blower's included.
    supply_temperature, return_temperature, flow_temperature, pressure, water_fraction
        As for `air_heat_output`.

    Returns
    -------
    array [m³/s]
        NaN where the supply is not warmer than the return: no airflow can be inferred.
    """
    heat = si(heat_output, "W", "heat_output")
    gained = _heat_per_volume(
        supply_temperature, return_temperature, flow_temperature, pressure, water_fraction
    )
    return np.asarray(
        np.divide(heat, gained, out=np.full(np.broadcast(heat, gained).shape, np.nan), where=gained > 0)
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Blower:
    """What a blower does: `air_power` [W] given to the air, `efficiency` [-] of that to the electricity it draws.

    `heat` [W] is what of its electricity ends in the air stream: all of it, unless its motor stands outside.
    """

    air_power: Array
    efficiency: Array
    heat: Array


def external_static_pressure(supply: Number, return_: Number) -> Array:
    """Return the total external static pressure: supply above the room less return (a suction) [Pa].

    Parameters
    ----------
    supply, return_ : number or array [Pa]
        Static pressures with their signs; the return's is negative.
    """
    return np.asarray(si(supply, "Pa", "supply") - si(return_, "Pa", "return_"))


def blower(
    electric_power: Number,
    *,
    volume_flow: Number,
    static_pressure: Number,
    motor_in_air: bool = True,
) -> Blower:
    """Return the air power, efficiency and heat of a blower.

    Parameters
    ----------
    electric_power : number or array [W]
        Drawn by the blower's motor.
    volume_flow : number or array [m³/s]
        Airflow through it.
    static_pressure : number or array [Pa]
        Total external static pressure; what filter and exchanger inside the cabinet take is not in it, so the
        efficiency is that of blower and cabinet together.
    motor_in_air : bool
        The motor stands in the air stream.

    Returns
    -------
    Blower
    """
    power = si(electric_power, "W", "electric_power")
    moved = si(volume_flow, "m^3/s", "volume_flow") * si(static_pressure, "Pa", "static_pressure")
    _above_zero(electric_power=power)
    return Blower(
        air_power=np.asarray(moved),
        efficiency=np.asarray(moved / power),
        heat=np.asarray(power if motor_in_air else moved + 0.0 * power),
    )
