"""The fuels beside each other: what they are, and how they burn in the same appliance at the same heat input."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fluewright import combustion, sources
from fluewright.appliance import Number
from fluewright.appliance.orifice import gas_density
from fluewright.combustion import AdiabaticFlame, FlueGas
from fluewright.combustion.flame_speed import laminar_flame_speed
from fluewright.combustion.flammability import flammability_limits
from fluewright.combustion.nitric_oxide import thermal_nitric_oxide_rate
from fluewright.studies.fuel_switch.givens import Gas, Givens, number, percent
from fluewright.units import Array

_GRAM = 1e-3  # kg
_AIR_TEMPERATURE, _AIR_PRESSURE = 288.15, 101325.0  # of counted volumes, 15 °C


@dataclass(frozen=True, slots=True, kw_only=True)
class Burned:
    """A fuel burned in the appliance at its heat input: the numbers, by name."""

    numbers: Mapping[str, Number]
    air_ratio: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Flames:
    """The adiabatic flame of a fuel with no excess air and with that of the appliance; central values."""

    stoichiometric: AdiabaticFlame
    running: AdiabaticFlame
    numbers: Mapping[str, Number]
    species: Mapping[str, tuple[float, float]]
    speed_note: str
    speed_origin: str


def properties(gas: Gas, givens: Givens) -> Mapping[str, Number]:
    """Return what a fuel is, whatever burns it."""
    fuel, at = gas.drawn, givens.drawn_properties(gas)
    base = givens.reference.name
    heat = np.asarray(fuel.gross_heating_value_molar)
    limits = flammability_limits(fuel)
    volume = molar_volume()
    dry = np.asarray(fuel.stoichiometric_dry_products)
    wet = dry + np.asarray(fuel.hydrogen) / 2
    water = np.asarray(fuel.hydrogen) / 2 * _molar_mass("H2O")
    carbon = np.asarray(fuel.carbon) * _molar_mass("CO2")
    return {
        "gross_heating_value_volume": number(
            "gross_heating_value_volume", at.gross_heating_value, basis=base
        ),
        "net_heating_value_volume": number("net_heating_value_volume", at.net_heating_value, basis=base),
        "gross_heating_value_mass": number(
            "gross_heating_value_mass", at.gross_heating_value_mass, basis=base
        ),
        "wobbe_gross": number("wobbe_gross", at.wobbe_gross, basis=base),
        "wobbe_net": number("wobbe_net", at.wobbe_net, basis=base),
        "relative_density": number("relative_density", at.relative_density, basis="to dry air, real"),
        "stoichiometric_air": number(
            "stoichiometric_air", fuel.stoichiometric_air, basis="dry air, by volume"
        ),
        "air_per_heat": number(
            "air_per_heat", np.asarray(fuel.stoichiometric_air) / heat * volume, basis="gross"
        ),
        "flue_gas_dry_per_heat": number(
            "flue_gas_dry_per_heat", dry / heat * volume, basis="gross; no excess air"
        ),
        "flue_gas_wet_per_heat": number(
            "flue_gas_wet_per_heat", wet / heat * volume, basis="gross; no excess air"
        ),
        "ultimate_carbon_dioxide": number(
            "ultimate_carbon_dioxide", fuel.ultimate_carbon_dioxide, basis="dry"
        ),
        "condensate_per_heat": number(
            "condensate_per_heat", water / heat, basis="gross; all of the fuel's water"
        ),
        "carbon_dioxide_per_heat": number(
            "carbon_dioxide_per_heat", carbon / heat, basis="gross; at the appliance"
        ),
        "flammability_lower": number("flammability_lower", limits.lower, source=limits.source),
        "flammability_upper": number("flammability_upper", limits.upper, source=limits.source),
    }


def flue(gas: Gas, givens: Givens, *, air_ratio: Array | None = None) -> FlueGas:
    """Return the flue gas of a fuel at the appliance's oxygen, or at an air ratio."""
    air: dict[str, Any] = (
        {"oxygen_dry": givens.oxygen_dry} if air_ratio is None else {"excess_air": air_ratio - 1}
    )
    return combustion.flue_gas(
        gas.drawn, **air, air_water_fraction=givens.air_water_fraction, pressure=givens.pressure
    )


def burned(
    gas: Gas, givens: Givens, *, air_ratio: Array | None = None, heat_input: Array | None = None
) -> Burned:
    """Return a fuel burned at the appliance's heat input, at its oxygen or at an air ratio, at its flue temperature."""
    found = flue(gas, givens, air_ratio=air_ratio)
    losses = combustion.stack_losses(
        found,
        flue_temperature=givens.flue_temperature,
        air_temperature=givens.air_temperature,
        condensing=givens.condensing,
    )
    fuel, heat = gas.drawn, np.asarray(gas.drawn.gross_heating_value_molar)
    moles = (givens.heat_input if heat_input is None else heat_input) / heat  # mol/s of fuel
    ratio, dry, water = (np.asarray(part) for part in (found.air_ratio, found.dry_moles, found.water_moles))
    air_mass = ratio * np.asarray(fuel.stoichiometric_air) * _air_mass()
    moisture = np.asarray(found.air_water_moles) * _molar_mass("H2O")
    condensed = np.asarray(losses.condensed_fraction) * water * _molar_mass("H2O")
    gas_volume = combustion_gas_volume(givens.flue_temperature, givens.pressure)
    air_volume = combustion_gas_volume(givens.air_temperature, givens.pressure)
    air_moles = np.asarray(found.air_moles) + np.asarray(found.air_water_moles)
    efficiency = np.asarray(losses.efficiency_gross)
    carbon = np.asarray(fuel.carbon) * _molar_mass("CO2") / heat
    at = givens.drawn_properties(gas)
    values: dict[str, tuple[Array, str]] = {
        "oxygen_dry": (np.asarray(found.oxygen_dry), "dry"),
        "carbon_dioxide_dry": (np.asarray(found.carbon_dioxide_dry), "dry"),
        "excess_air": (np.asarray(found.excess_air), "carbon–oxygen balance"),
        "water_dew_point": (
            np.asarray(found.water_dew_point),
            "at the site's pressure, with the air's humidity",
        ),
        "efficiency_gross": (efficiency, "gross; flue losses only; steady state"),
        "efficiency_net": (np.asarray(losses.efficiency_net), "net; flue losses only; steady state"),
        "loss_water_latent": (np.asarray(losses.water_latent), "share of gross heat input"),
        "stack_mass_flow": (moles * (np.asarray(fuel.molar_mass) + air_mass + moisture - condensed), "wet"),
        "stack_volume_flow": (
            moles * (dry + water * (1 - np.asarray(losses.condensed_fraction))) * gas_volume,
            "wet",
        ),
        "combustion_air_flow": (moles * air_moles * air_volume, "moist"),
        "gas_volume_flow": (moles * np.asarray(at.molar_volume), givens.reference.name),
        "carbon_dioxide_per_heat_delivered": (carbon / efficiency, "at the appliance; steady state"),
    }
    if givens.condensing:
        values["condensed_fraction"] = (
            np.asarray(losses.condensed_fraction),
            "gas saturated at the flue temperature",
        )
        values["condensate_rate"] = (moles * condensed, "gas saturated at the flue temperature")
    made = {name: number(name, array, basis=basis) for name, (array, basis) in values.items()}
    return Burned(numbers={**made, **_money(gas, givens, efficiency, carbon)}, air_ratio=ratio)


def _money(gas: Gas, givens: Givens, efficiency: Array, carbon: Array) -> Mapping[str, Number]:
    """Return cost and carbon dioxide per heat delivered and per year, where asked."""
    year = givens.request.year
    made: dict[str, Number] = {}
    if year is not None:
        yearly = year.heat_delivered * carbon / efficiency
        made["carbon_dioxide_per_year"] = number("carbon_dioxide_per_year", yearly, basis="at the appliance")
    if gas.price_per_heat is not None:
        cost = gas.price_per_heat / efficiency
        made["cost_per_heat_delivered"] = number("cost_per_heat_delivered", cost, basis=gas.currency)
        if year is not None:
            made["cost_per_year"] = number("cost_per_year", cost * year.heat_delivered, basis=gas.currency)
    return made


def same_air_setting(present: Gas, gas: Gas, air_ratio: Array) -> Array:
    """Return the air ratio of a fuel that gets the air the present one got, at the same heat input."""
    return air_ratio * air_need(present) / air_need(gas)


def air_need(gas: Gas) -> Array:
    """Return the stoichiometric dry air of a fuel per gross heat [mol/J], with its draws."""
    return np.asarray(gas.drawn.stoichiometric_air / gas.drawn.gross_heating_value_molar)


def flames(gas: Gas, givens: Givens, excess_air: float) -> Flames:
    """Return the flames of a fuel: temperature, species and nitric oxide at equilibrium, speed."""
    shared: dict[str, Any] = {
        "air_temperature": float(givens.air_temperature[0]),
        "air_water_fraction": float(givens.air_water_fraction[0]),
        "pressure": float(givens.pressure[0]),
    }
    stoichiometric = combustion.adiabatic_flame(gas.fuel, excess_air=0.0, **shared)
    running = combustion.adiabatic_flame(gas.fuel, excess_air=excess_air, **shared)
    speed = laminar_flame_speed(gas.fuel)
    made: dict[str, Number] = {}
    for end, flame in (("", stoichiometric), ("_running", running)):
        basis = "no excess air" if not end else f"{percent(excess_air)} excess air"
        one = {
            "flame_temperature_adiabatic": flame.temperature,
            "nitric_oxide_equilibrium": flame.dry["NO"],
            "carbon_monoxide_equilibrium": flame.dry["CO"],
            "nitric_oxide_rate": thermal_nitric_oxide_rate(flame),
        }
        made |= {
            f"{name}{end}": Number(
                quantity=name, value=float(value), origin="computed", basis=f"equilibrium; {basis}"
            )
            for name, value in one.items()
        }
    if speed.origin:
        made["flame_speed"] = Number(
            quantity="flame_speed",
            value=float(speed.value),
            low=float(speed.low),
            high=float(speed.high),
            origin="computed",
            basis=f"{speed.origin}; 25 °C, atmospheric pressure, no excess air",
            source=speed.source,
        )
    listed = ("CO2", "H2O", "N2", "O2", "CO", "H2", "OH", "NO")
    return Flames(
        stoichiometric=stoichiometric,
        running=running,
        numbers=made,
        species={
            name: (float(stoichiometric.composition[name]), float(running.composition[name]))
            for name in listed
        },
        speed_note=speed.note,
        speed_origin=speed.origin,
    )


# ---------------------------------------------------------------------------- common


def combustion_gas_volume(temperature: Array, pressure: Array) -> Array:
    """Return the volume of a mole of gas [m³/mol], ideal."""
    gas = sources.table("emission_factors")["gas_constant"]["value"]
    return np.asarray(gas * temperature / pressure)


def molar_volume() -> float:
    """Return the volume of a mole of gas at 15 °C and 101.325 kPa [m³/mol], ideal: how air and flue gas are counted."""
    return float(combustion_gas_volume(np.asarray(_AIR_TEMPERATURE), np.asarray(_AIR_PRESSURE)))


def _molar_mass(species: str) -> float:
    return float(sources.table("species")["component"][species]["molar_mass"]) * _GRAM


def _air_mass() -> float:
    return float(sources.table("species")["air"]["molar_mass"]) * _GRAM


def density(gas: Gas, givens: Givens) -> Array:
    """Return the density of a fuel at the site's pressure and 15 °C [kg/m³], with its draws."""
    return gas_density(gas.drawn, pressure=givens.pressure)
