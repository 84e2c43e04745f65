"""How things change over a range: hydrogen in the gas, air in propane, inert gas, altitude. Arrays in one pass each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fluewright import combustion, sources, units
from fluewright.appliance.altitude import altitude_rating
from fluewright.combustion import Fuel
from fluewright.combustion.atmosphere import standard_atmosphere_pressure
from fluewright.combustion.flame_speed import laminar_flame_speed
from fluewright.combustion.interchange import bulletin_36_indices
from fluewright.studies.fuel_switch.givens import Gas, Givens, percent
from fluewright.units import Array

_POINTS = 61
_HIGHEST = "10000 foot"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Curve:
    """One quantity along a sweep [SI], with the name its line carries where a panel has several."""

    quantity: str
    values: Array
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Panel:
    """One small drawing of a sweep: its curves, and bounds to draw with their names."""

    curves: tuple[Curve, ...]
    title: str
    bounds: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sweep:
    """A range swept: what changes along the axis, the panels over it, and what it shows in words."""

    name: str
    axis: str
    along: Array
    panels: tuple[Panel, ...]
    finding: str
    note: str
    valid_to: float | None = None


def sweeps(givens: Givens, gases: Sequence[Gas], air_ratio: float) -> tuple[Sweep, ...]:
    """Return the sweeps asked for; gases of the study serve as their base, else the library's.

    Parameters
    ----------
    givens : Givens
        Central values are used.
    gases : sequence of Gas
        The fuels of the study.
    air_ratio : float
        Of the present fuel in the appliance [-]: the setting that is left alone along a sweep.
    """
    natural = _base(gases, "natural gas")
    made = {
        "hydrogen": lambda: _hydrogen(givens, natural, air_ratio),
        "propane-air": lambda: _propane_air(givens, natural, _base(gases, "propane"), air_ratio),
        "inert": lambda: _inert(givens, natural, air_ratio),
        "altitude": lambda: _altitude(givens, gases[0].fuel, air_ratio),
    }
    return tuple(made[name]() for name in dict.fromkeys(givens.request.sweeps))


def _base(gases: Sequence[Gas], kind: str) -> Fuel:
    return next((gas.fuel for gas in gases if gas.fuel.kind == kind), None) or combustion.fuel(kind)


def _shared(givens: Givens) -> dict[str, Any]:
    return {
        "air_temperature": float(givens.air_temperature[0]),
        "air_water_fraction": float(givens.air_water_fraction[0]),
        "pressure": float(givens.pressure[0]),
    }


def _untouched(base: Fuel, gas: Fuel, air_ratio: float) -> tuple[Array, Array]:
    """Return heat input against that of `base`, and air ratio, with orifices, pressure and air left alone."""
    heat = np.asarray(gas.wobbe_gross) / base.wobbe_gross
    need = (base.stoichiometric_air / base.gross_heating_value_molar) / (
        np.asarray(gas.stoichiometric_air) / np.asarray(gas.gross_heating_value_molar)
    )
    return heat, np.asarray(air_ratio / heat * need)


def _oxygen(gas: Fuel, air_ratio: Array, givens: Givens) -> Array:
    """Return the dry oxygen of flue gas with air enough; NaN without."""
    enough = np.where(air_ratio >= 1, air_ratio, np.nan)
    with np.errstate(invalid="ignore"):
        found = combustion.flue_gas(gas, excess_air=np.nan_to_num(enough, nan=1.0) - 1)
    return np.where(np.isnan(enough), np.nan, np.asarray(found.oxygen_dry))


def _hydrogen(givens: Givens, base: Fuel, air_ratio: float) -> Sweep:
    share = np.linspace(0.0, 1.0, _POINTS)
    gas = combustion.blend({base: 1 - share, "hydrogen": share}, by="volume")
    heat, ratio = _untouched(base, gas, air_ratio)
    flame = combustion.adiabatic_flame(gas, excess_air=ratio - 1, **_shared(givens))
    speed = np.asarray(laminar_flame_speed(gas).value)
    to = float(sources.table("interchange")["scope"]["hydrogen_high"])
    carbon = _carbon(gas)
    flashback = np.where(share <= to, np.asarray(bulletin_36_indices(base, gas).flashback), np.nan)
    at = int(np.argmin(np.abs(share - 0.2)))
    limit = sources.table("interchange")["bulletin_36"]["limits"]["flashback"]["high"]
    return Sweep(
        name="hydrogen",
        axis=f"Hydrogen in {base.name}, % by volume",
        along=100 * share,
        panels=(
            Panel(
                title="Heat input, nothing changed",
                curves=(Curve(quantity="heat_input_relative", values=heat),),
            ),
            Panel(
                title="Oxygen in flue gas, nothing changed",
                curves=(Curve(quantity="oxygen_dry", values=_oxygen(gas, ratio, givens)),),
            ),
            Panel(title="Laminar flame speed", curves=(Curve(quantity="flame_speed", values=speed),)),
            Panel(
                title="Adiabatic flame, nothing changed",
                curves=(Curve(quantity="flame_temperature_adiabatic", values=np.asarray(flame.temperature)),),
            ),
            Panel(
                title="Flashback index, Bulletin 36",
                curves=(Curve(quantity="interchange_index", values=flashback),),
                bounds={"objectionable": float(limit)},
            ),
            Panel(
                title="Carbon dioxide per heat",
                curves=(Curve(quantity="carbon_dioxide_per_heat", values=carbon),),
            ),
        ),
        finding=f"At 20 % hydrogen the heat input falls to {percent(heat[at])}, the flame runs "
        f"{percent(speed[at] / speed[0] - 1)} faster, and carbon dioxide per heat falls only by "
        f"{percent(1 - carbon[at] / carbon[0])}, since hydrogen brings little heat by volume.",
        note=f"The index is shown up to {percent(to)}, as far as it is shown to hold; the rest to 100 % "
        "with nothing changed is physics, not a proposal: a burner for hydrogen is another burner.",
        valid_to=100 * to,
    )


def _propane_air(givens: Givens, natural: Fuel, propane: Fuel, air_ratio: float) -> Sweep:
    share = np.linspace(0.4, 1.0, 61)
    air = combustion.dry_air()
    parts: dict[str, Any] = {name: share * part for name, part in propane.composition.items()}
    for name, part in air.items():
        parts[name] = parts.get(name, 0.0) + (1 - share) * part
    gas = Fuel(composition=parts, name="propane–air", normalize=True)
    heat, ratio = _untouched(natural, gas, air_ratio)
    equal = float(np.interp(1.0, heat, share))
    oxygen = _oxygen(gas, ratio, givens)
    near = int(np.argmin(np.abs(share - equal)))
    heating = np.asarray(gas.properties(givens.reference).gross_heating_value)
    density = np.asarray(gas.relative_density)
    return Sweep(
        name="propane-air",
        axis=f"{propane.name} in air, % by volume",
        along=100 * share,
        panels=(
            Panel(
                title=f"Heat input of an appliance set for {natural.name}",
                curves=(Curve(quantity="heat_input_relative", values=heat),),
                bounds={"equal": 1.0},
            ),
            Panel(
                title="Oxygen in flue gas, nothing changed",
                curves=(Curve(quantity="oxygen_dry", values=oxygen),),
            ),
            Panel(
                title="Heating value, gross",
                curves=(Curve(quantity="gross_heating_value_volume", values=heating),),
            ),
            Panel(title="Relative density", curves=(Curve(quantity="relative_density", values=density),)),
        ),
        finding=f"A mixture with {percent(equal)} {propane.name} has the Wobbe index of {natural.name} and "
        f"a relative density of {density[near]:.2f}: the same heat input, at "
        f"{percent(heating[near] / natural.properties(givens.reference).gross_heating_value)} of the "
        "heating value by volume.",
        note="The same heat input is not the same flame: yellow tips and flashback differ, and the mixture sinks.",
    )


def _inert(givens: Givens, base: Fuel, air_ratio: float) -> Sweep:
    share = np.linspace(0.0, 0.3, _POINTS)
    wobbe, oxygen, hot, speed = [], [], [], []
    inert = {"nitrogen": "N2", "carbon dioxide": "CO2"}
    for name, symbol in inert.items():
        gas = combustion.blend(
            {base: 1 - share, Fuel(composition={symbol: 1.0}, name=name): share}, by="volume"
        )
        heat, ratio = _untouched(base, gas, air_ratio)
        wobbe.append(Curve(quantity="heat_input_relative", values=heat, name=name))
        oxygen.append(Curve(quantity="oxygen_dry", values=_oxygen(gas, ratio, givens), name=name))
        flame = combustion.adiabatic_flame(gas, excess_air=ratio - 1, **_shared(givens))
        hot.append(
            Curve(quantity="flame_temperature_adiabatic", values=np.asarray(flame.temperature), name=name)
        )
        speed.append(
            Curve(quantity="flame_speed", values=np.asarray(laminar_flame_speed(gas).value), name=name)
        )
    at = int(np.argmin(np.abs(share - 0.1)))
    return Sweep(
        name="inert",
        axis=f"Inert gas added to {base.name}, % by volume",
        along=100 * share,
        panels=(
            Panel(title="Heat input, nothing changed", curves=tuple(wobbe)),
            Panel(title="Oxygen in flue gas, nothing changed", curves=tuple(oxygen)),
            Panel(title="Laminar flame speed", curves=tuple(speed)),
            Panel(title="Adiabatic flame, nothing changed", curves=tuple(hot)),
        ),
        finding=f"Ten percent of carbon dioxide takes the heat input to {percent(wobbe[1].values[at])}, of "
        f"nitrogen to {percent(wobbe[0].values[at])}: carbon dioxide is heavier, and the orifice passes "
        "less of it.",
        note="With less heat and the same air, oxygen rises and flames lift.",
    )


def _altitude(givens: Givens, fuel: Fuel, air_ratio: float) -> Sweep:
    height = np.linspace(0.0, units.parse(_HIGHEST, "m", "elevation"), _POINTS)
    pressure = np.asarray(standard_atmosphere_pressure(height)) / standard_atmosphere_pressure(0.0)
    # The same pressure drop across the orifice moves a thinner gas: mass as the root of its density.
    heat = np.sqrt(pressure)
    practice = givens.request.site.altitude_practice
    rating = np.asarray(altitude_rating(height, practice=practice))
    ratio = air_ratio * pressure / heat
    us = givens.system == "US"
    slope = units.factor("m", "foot" if us else "m", "elevation")[0]
    at = int(np.argmin(np.abs(height - units.parse("5000 foot", "m", "elevation"))))
    place = "5,000 ft" if us else "1,500 m"
    return Sweep(
        name="altitude",
        axis=f"Elevation, {'ft' if us else 'm'}",
        along=height * slope,
        panels=(
            Panel(
                title="Heat input, same orifice and pressure",
                curves=(
                    Curve(quantity="heat_input_relative", values=heat, name="by thinner gas alone"),
                    Curve(quantity="heat_input_relative", values=rating, name=f"rating, “{practice}”"),
                ),
            ),
            Panel(
                title="Oxygen in flue gas, same orifice and air volume",
                curves=(Curve(quantity="oxygen_dry", values=_oxygen(fuel, ratio, givens)),),
            ),
        ),
        finding=f"At {place} the same orifice passes {percent(heat[at])} of the sea-level heat input by "
        f"itself, and the rating there is {percent(rating[at])}; the air moved by a fan or a draft thins "
        "faster than the gas.",
        note="Hence smaller orifices or lower pressure at altitude, by the maker's table. The practice is "
        "named and cited under methods.",
    )


def _carbon(gas: Fuel) -> Array:
    mass = sources.table("species")["component"]["CO2"]["molar_mass"] * 1e-3
    return np.asarray(gas.carbon * mass / gas.gross_heating_value_molar)
