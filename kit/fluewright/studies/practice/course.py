"""The true course of a practice burn: settings over time, and what physics makes of them.

Everything goes forward from what is set (pressures, air, flows) to what is there (gas, temperatures, heat).
Nothing here calls the functions that analyze a visit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluewright import combustion, sources, units
from fluewright.combustion import forward
from fluewright.combustion.forward import GAS_CONSTANT
from fluewright.units import Array

SPAN = 20.0  # K over which the heat capacity of the house air or water is taken
LITTLE_FLOW = 0.3  # of rated flow: what natural circulation moves when the fan or pump stands still


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """What was true, second by second.

    `time` [s] after the start; `set` the settings [SI]; `true` the settings, the quantities of the
    nomenclature and a few more [SI], one array each; `heating_value` and `heating_value_net` [J/mol] of the
    true fuel, `heating_value_stated` [J/mol], gross, of the fuel the supplier speaks of.
    """

    time: Array
    set: Mapping[str, Array]
    true: Mapping[str, Array]
    heating_value: float
    heating_value_net: float
    heating_value_stated: float
    fuel: Mapping[str, float]


def number(text: str | float, unit: str, name: str) -> float:
    """Return a number with a unit as text, or a plain SI number, in SI."""
    return units.parse(text, unit, name) if isinstance(text, str) else float(text)


def physics(name: str, unit: str) -> float:
    """Return one number of the simulator's physics table [unit]."""
    return number(sources.table("practice")["physics"][name], unit, name)


def lagged(values: Array, memory: float, step: float) -> Array:
    """Return the first-order response to `values`, at rest at first, with the time constant `memory` [s]."""
    if memory <= 0:
        return values
    keep = np.exp(-step / memory)
    kernel = (1 - keep) * keep ** np.arange(len(values))
    return np.asarray(values[0] + np.convolve(values - values[0], kernel)[: len(values)])


def wandering(draw: np.random.Generator, rows: int, memory: float, step: float) -> Array:
    """Return autocorrelated noise of unit standard deviation, with the time constant `memory` [s]."""
    keep = np.exp(-step / memory) if memory > 0 else 0.0
    lead = int(5 * memory / step) + 1  # long enough to forget that it started at rest
    white = draw.standard_normal(rows + lead)
    kernel = keep ** np.arange(lead)
    return np.asarray(np.sqrt(1 - keep**2) * np.convolve(white, kernel)[lead : lead + rows])


def settings(scenario: Mapping[str, Any]) -> tuple[Array, dict[str, Array]]:
    """Return the time [s] and every setting [SI] over it: held, and ramped where a step takes time."""
    step = float(scenario["step"])
    time = np.arange(0.0, float(scenario["length"]), step)
    known = sources.table("practice")["settings"]
    out: dict[str, Array] = {}
    for name, entry in known.items():
        value = number(entry["start"], entry["unit"], name)
        moments, values = [-step], [value]
        for change in scenario["steps"]:
            if name in change:
                at = float(change["at"]) - step / 2
                now = float(np.interp(at, moments, values))
                past = sum(moment < at for moment in moments)  # a ramp still under way is cut off
                moments = [*moments[:past], at, at + float(change.get("over", 0.0)) + step * 1e-6]
                values = [*values[:past], now, number(change[name], entry["unit"], name)]
        out[name] = np.interp(time, moments, values)
    return time, out


def dry_air() -> dict[str, float]:
    """Return the composition of dry air, by the species names of the mechanism (which writes argon AR)."""
    return {name.upper(): share for name, share in combustion.dry_air().items()}


def moist_air(scenario: Mapping[str, Any], pressure: float) -> dict[str, float]:
    """Return the composition of the air drawn in, from relative humidity at the room's first temperature."""
    room = next(step["room_temperature"] for step in scenario["steps"] if "room_temperature" in step)
    saturated = float(forward.water_saturation(np.array([number(room, "K", "room_temperature")]))[0])
    water = number(scenario["relative_humidity"], "1", "relative_humidity") * saturated / pressure
    return {**{name: share * (1 - water) for name, share in dry_air().items()}, "H2O": water}


def _since_light_off(time: Array, burner: Array) -> Array:
    lit = (burner > 0.5) & (np.concatenate([[0.0], burner[:-1]]) <= 0.5)
    return time - np.maximum.accumulate(np.where(lit, time, -np.inf))


def _fuel(scenario: Mapping[str, Any], inert: float) -> dict[str, float]:
    fuel = {name: share * (1 - inert) for name, share in scenario["fuel"].items()}
    fuel["N2"] = fuel.get("N2", 0.0) + inert
    return fuel


def _fuel_flow(
    scenario: Mapping[str, Any], s: Mapping[str, Array], fuel: Mapping[str, float], rated: float
) -> Array:
    """Return the fuel that flows [mol/s]: through fixed orifices, or as a ratio control sets it."""
    if "orifices" not in scenario:
        return s["burner"] * s["firing"] * rated
    holes = scenario["orifices"]
    diameter = number(holes["diameter"], "m", "diameter")
    area = holes["count"] * holes["discharge"] * np.pi / 4 * diameter**2 * s["orifice_area"]
    pressure = number(scenario["barometric_pressure"], "Pa", "barometric_pressure")
    volume = molar_volume(scenario, pressure, s["room_temperature"])
    drop = np.clip(s["manifold_pressure"] - s["burner_box_pressure"], 0.0, None)
    return np.asarray(s["burner"] * area * np.sqrt(2 * drop * volume / forward.molar_mass(fuel)) / volume)


def _air_ratio(
    scenario: Mapping[str, Any], s: Mapping[str, Array], time: Array, share: Array, draw: np.random.Generator
) -> Array:
    """Return the air ratio: a fan moves the same air whatever the fuel; a ratio control follows it."""
    step = float(scenario["step"])
    since = np.clip(_since_light_off(time, s["burner"]), 0.0, None)
    since = np.where(np.isfinite(since), since, 0.0)
    air = s["air_setting"] * (1 - s["recirculated"])
    air = air * (1 + s["hunting"] * np.sin(2 * np.pi * time / s["hunting_period"])) * (1 - s["creep"] * since)
    flicker = wandering(draw, len(time), physics("flicker_memory", "s"), step)
    air = air * (1 + physics("flicker", "1") * flicker)
    fuel = 1.0 if scenario.get("ratio_control") else share
    return np.asarray(np.clip(air / fuel, physics("least_air_ratio", "1"), None))


def _unmixed(s: Mapping[str, Array], air_ratio: Array, since: Array) -> Array:
    steady = s["unmixed"] * np.exp((s["unmixed_at"] - air_ratio) / s["unmixed_width"])
    start = physics("light_off", "1") * np.exp(-since / physics("light_off_memory", "s"))
    return np.asarray(np.clip(steady + start, 0.0, physics("most_unmixed", "1")))


def simulate(scenario: Mapping[str, Any], draw: np.random.Generator) -> Course:
    """Return the true course of a scenario.

    Parameters
    ----------
    scenario : mapping
        One scenario of the practice table, with any fault worked in.
    draw : Generator
        For the flicker of the flame.

    Returns
    -------
    Course
        Settings and true quantities over time.
    """
    time, s = settings(scenario)
    step = float(scenario["step"])
    pressure = number(scenario["barometric_pressure"], "Pa", "barometric_pressure")
    fuel = _fuel(scenario, float(s["fuel_inert"][0]))
    reference = physics("heat_temperature", "K")
    heating_value = forward.formation_heat(fuel, temperature=reference)
    stated = forward.formation_heat(scenario["fuel"], temperature=reference)
    rated = number(scenario["rated_input"], "W", "rated_input") / stated
    air = moist_air(scenario, pressure)
    flow = _fuel_flow(scenario, s, fuel, rated)
    burning = flow > 0
    share = np.where(burning, flow / rated, 1.0)
    air_ratio = _air_ratio(scenario, s, time, share, draw)
    since = np.where(burning, _since_light_off(time, s["burner"]), 0.0)
    unmixed = _unmixed(s, air_ratio, since)

    # Flame, row by row where it burns; room air elsewhere.
    rows = np.flatnonzero(burning)
    burnt = forward.burn(
        fuel,
        air=air,
        air_ratio=air_ratio[rows],
        unmixed=unmixed[rows],
        pocket_air_ratio=physics("pocket_air_ratio", "1"),
        quench_temperature=physics("quench_temperature", "K"),
        air_temperature=s["room_temperature"][rows],
        pressure=pressure,
    )
    moles = {name: _spread(values, rows, len(time)) for name, values in burnt.moles.items()}
    brought = _spread(burnt.reactants_enthalpy, rows, len(time))
    flame = _spread(burnt.flame_temperature, rows, len(time))

    # Exchanger: what the gas keeps above the medium falls exponentially with its transfer units.
    ratio = np.clip(s["medium_flow"] / s["medium_flow_rated"], LITTLE_FLOW, None)
    exponent = scenario["flow_exponent"]
    transfer = s["transfer_units"] * (share * air_ratio / s["air_setting"]) ** -exponent * ratio**exponent
    target = s["return_temperature"] + np.where(
        burning, (flame - s["return_temperature"]) * np.exp(-transfer), 0.0
    )
    slow = physics("casing_share", "1")
    flue_temperature = (1 - slow) * lagged(target, physics("body_memory", "s"), step) + slow * lagged(
        target, physics("casing_memory", "s"), step
    )

    # Heat: what came in less what the gas carries out, with the water that condensed left as liquid.
    vapor, liquid = _condensed(moles, flue_temperature, pressure)
    carried = forward.enthalpy({**moles, "H2O": vapor}, flue_temperature) + liquid * forward.liquid_water(
        flue_temperature
    )
    released = np.where(burning, brought - carried, 0.0)  # J per mole of fuel
    useful = released - scenario["casing"] * heating_value * burning
    output = lagged(flow * useful, physics("delivery_memory", "s"), step)
    capacity = _capacity_flow(scenario, s, pressure) * np.where(ratio > LITTLE_FLOW, 1.0, LITTLE_FLOW)
    fan = s["fan_power"] * float(scenario.get("fan_heats_medium", False))
    supply = s["return_temperature"] + lagged(
        (output + fan) / capacity, physics("delivery_memory", "s") / 3, step
    )

    # The room: spilled flue gas mixes into it.
    spilled = s["spilled"] * flow * moles["CO"]
    base = number(scenario["ambient_carbon_monoxide"], "mol/mol", "ambient_carbon_monoxide")
    ambient = base + _mixed_in(spilled / scenario["room_moles"], s["room_air_change"], step)

    sample = _sample(s, moles, burning, ambient)
    dry_flue = _dry(moles)
    wet_flue = dry_flue + moles["H2O"]
    humidity = number(scenario["relative_humidity"], "1", "relative_humidity")
    oxygen_flue, carbon_flue = (_ratio(moles[name], dry_flue) for name in ("O2", "CO"))
    dew_point = np.full(len(time), np.nan)
    dew_point[rows] = forward.water_dew_point(moles["H2O"][rows] / wet_flue[rows] * pressure)
    excess_dry_air = np.clip(air_ratio - 1, 0.0, None) * burnt.air_need * (1 - air["H2O"])
    meter = scenario.get("meter", {})
    metered = molar_volume(
        scenario,
        pressure + number(meter.get("pressure", "0 Pa"), "Pa", "pressure"),
        number(meter.get("temperature", "60 degF"), "K", "temperature"),
    )
    true = {
        **sample,
        "flue_temperature": np.where(s["probe"] > 0.5, flue_temperature, s["room_temperature"]),
        "air_temperature": s["room_temperature"],
        "supply_temperature": supply,
        "return_temperature": s["return_temperature"],
        "carbon_monoxide_ambient": ambient,
        "carbon_monoxide_supply": ambient,
        "carbon_monoxide_return": ambient,
        "blower_on": (s["medium_flow"] > 0).astype(np.float64),
        "electric_power": s["fan_power"],
        "oxygen_intake": dry_air()["O2"] * (1 - s["recirculated"]) + oxygen_flue * s["recirculated"],
        "gas_volume_flow": flow * metered,
        "relative_humidity": np.full(len(time), humidity),
        "humidity_temperature": np.full(len(time), s["room_temperature"][0]),
        "barometric_pressure": np.full(len(time), pressure),
        "air_ratio": np.where(burning, air_ratio, np.nan),
        "excess_air": np.where(burning, air_ratio - 1, np.nan),
        "oxygen_flue_dry": np.where(burning, oxygen_flue, np.nan),
        "carbon_monoxide_flue_dry": np.where(burning, carbon_flue, np.nan),
        "carbon_dioxide_flue_dry": np.where(burning, _ratio(moles["CO2"], dry_flue), np.nan),
        "carbon_monoxide_air_free": np.where(burning, _ratio(moles["CO"], dry_flue - excess_dry_air), np.nan),
        "water_dew_point": dew_point,
        "heat_input": flow * heating_value,
        "heat_output": output,
        "heat_to_medium": output + fan,
        "efficiency_gross": np.where(burning, released / heating_value, np.nan),
        "condensed_fraction": np.where(burning, _ratio(liquid, moles["H2O"]), np.nan),
        "stack_temperature": flue_temperature,
        "burning": burning.astype(np.float64),
    }
    medium = "water_volume_flow" if scenario["medium"] == "water" else "air_volume_flow"
    true[medium] = s["medium_flow"]
    return Course(
        time=time,
        set=s,
        true={**s, **true},
        heating_value=heating_value,
        heating_value_net=forward.formation_heat(fuel, temperature=reference, condensed=False),
        heating_value_stated=stated,
        fuel=fuel,
    )


def _mixed_in(source: Array, change: Array, step: float) -> Array:
    """Return what has gathered in a well-mixed room [mol/mol] from a source [1/s] at an air change [1/s]."""
    faded = np.exp(np.cumsum(change) * step)  # at most a few air changes a visit, so this stays small
    return np.asarray(np.cumsum(source * faded) * step / faded)


def _dry(moles: Mapping[str, Array]) -> Array:
    return np.asarray(sum(amount for name, amount in moles.items() if name != "H2O"))


def _spread(values: Array, rows: NDArray[np.intp], length: int) -> Array:
    out = np.zeros(length)
    out[rows] = values
    return out


def _ratio(part: Array, whole: Array) -> Array:
    return np.asarray(np.divide(part, whole, out=np.zeros_like(part), where=whole > 0))


def molar_volume(scenario: Mapping[str, Any], pressure: float, temperature: Array | float) -> Any:
    """Return the volume of a mole of the scenario's gas [m³/mol]."""
    return scenario["compression_factor"] * GAS_CONSTANT * temperature / pressure


def _condensed(moles: Mapping[str, Array], temperature: Array, pressure: float) -> tuple[Array, Array]:
    """Return water left as vapor and water condensed [mol/mol fuel], saturated at the flue temperature."""
    dry = _dry(moles)
    cold = temperature < forward.water_dew_point(np.array([0.5 * pressure]))[0]
    held = np.full(len(temperature), np.inf)
    saturated = forward.water_saturation(temperature[cold]) / pressure
    held[cold] = dry[cold] * saturated / (1 - saturated)
    vapor = np.minimum(moles["H2O"], held)
    return vapor, moles["H2O"] - vapor


def _capacity_flow(scenario: Mapping[str, Any], s: Mapping[str, Array], pressure: float) -> Array:
    """Return the heat capacity flow of the house air or water [W/K], at rated flow where nothing moves."""
    flow = np.where(s["medium_flow"] > 0, s["medium_flow"], s["medium_flow_rated"])
    cool, warm = s["return_temperature"], s["return_temperature"] + SPAN
    if scenario["medium"] == "water":
        molar = forward.liquid_water(warm) - forward.liquid_water(cool)
        return np.asarray(flow * forward.liquid_water_density(cool) * molar / SPAN)
    air = moist_air(scenario, pressure)
    molar = forward.enthalpy(air, warm) - forward.enthalpy(air, cool)
    return np.asarray(flow * pressure / (GAS_CONSTANT * cool) * molar / SPAN)


def _sample(
    s: Mapping[str, Array], moles: Mapping[str, Array], burning: NDArray[np.bool_], ambient: Array
) -> dict[str, Array]:
    """Return the gas at the probe, wholly dry: flue gas with what leaks into it, or room air."""
    air = dry_air()
    dry = _dry(moles)
    in_flue = burning & (s["probe"] > 0.5)
    leak = s["sample_leak"] + s["house_air_leak"] * (s["medium_flow"] > 0)
    air_moles = np.where(in_flue, leak * dry, 1.0)
    whole = np.where(in_flue, dry, 0.0) + air_moles

    def mixed(name: str, in_air: Array | float) -> Array:
        return np.asarray((np.where(in_flue, moles[name], 0.0) + air_moles * in_air) / whole)

    return {
        "oxygen_dry": mixed("O2", air["O2"]),
        "carbon_dioxide_dry": mixed("CO2", air["CO2"]),
        "carbon_monoxide_dry": mixed("CO", ambient),
    }
