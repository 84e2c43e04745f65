"""From readings to heat flows: input by manifold pressure, heat delivered to air or water, airflow, blower, draft."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fluewright import sources
from fluewright.appliance import (
    air_heat_output,
    airflow,
    blower,
    external_static_pressure,
    heat_input_by_nameplate,
    orifice_diameter,
    target_manifold_pressure,
    theoretical_draft,
    water_heat_output,
)
from fluewright.combustion import Fuel
from fluewright.units import Array

BASIS = {
    "heat_input_manifold": "gross; nameplate's rating by the square root of the drop across the orifice",
    "heat_input_clock_to_manifold": "clocked against manifold pressure, gross",
    "orifice_diameter": "that would pass the clocked heat at the pressure read; discharge coefficient 0.80 to 0.95",
    "manifold_pressure_target": "square-root law, same gas, orifices and burner box",
    "heat_output": "flow times gain of enthalpy, return to supply",
    "heat_output_by_losses": "heat input less flue and casing losses, with what the blower adds",
    "efficiency_thermal_gross": "gross; heat delivered to air (less the blower's) or water, to heat input",
    "air_volume_flow_computed": "inferred from heat input, losses and temperature rise",
    "external_static_pressure": "supply less return",
    "blower_air_power": "airflow times external static pressure",
    "blower_efficiency": "air power to electric power; what filter and cabinet take is not in it",
    "electricity_per_heat": "electric power to heat delivered",
    "airflow_per_heating_capacity": "airflow to heat delivered",
    "airflow_per_cooling_capacity": "airflow to the cooling capacity on the nameplate",
    "return_dew_point_margin": "return less water dew point of the flue gas",
    "draft_theoretical": "gas standing at the flue temperature over the whole height: the most it can pull",
    "draft_to_theoretical": "draft in the vent connector to the most the chimney can pull",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class HeatSettings:
    """What the heat flows need of an appliance besides readings; `carrier` is empty where it heats neither.

    `rated_input` [W] and `nameplate_pressure` [Pa] are the nameplate's for the test point's stage, `rating` [W] is the
    input as reduced for altitude; `nameplate_pressure` is None unless a fixed orifice sets the gas flow.
    """

    carrier: str = ""
    glycol_share: float = 0.0
    flow_at: str = "return"
    motor_in_air: bool = True
    rated_input: float | None = None
    rating: float | None = None
    nameplate_pressure: float | None = None
    cooling_capacity: float | None = None
    chimney_height: float | None = None
    orifice_count: int | None = None


def heat_flows(
    fuel: Fuel, inputs: Mapping[str, Array], found: Mapping[str, Array], settings: HeatSettings
) -> Mapping[str, Array]:
    """Return every heat flow [SI] that inputs and the results `found` so far allow; the rest is left out."""
    made: dict[str, Array] = {**_manifold(inputs, found, settings), **_orifice(fuel, inputs, found, settings)}
    if {"supply_static_pressure", "return_static_pressure"} <= inputs.keys():
        made["external_static_pressure"] = external_static_pressure(
            inputs["supply_static_pressure"], inputs["return_static_pressure"]
        )
    side = _air if settings.carrier == "air" else _water if settings.carrier else _neither
    made |= side(inputs, {**found, **made}, settings)
    made |= _per_heat(inputs, {**found, **made}, settings)
    return {**made, **_draft(inputs, settings)}


def _draft(inputs: Mapping[str, Array], settings: HeatSettings) -> Mapping[str, Array]:
    """Return the most the chimney can pull, and what share of it the vent connector shows."""
    if settings.chimney_height is None or not {"outdoor_temperature", "flue_temperature"} <= inputs.keys():
        return {}
    most = theoretical_draft(
        settings.chimney_height,
        outdoor_temperature=inputs["outdoor_temperature"],
        flue_temperature=inputs["flue_temperature"],
        pressure=inputs["barometric_pressure"],
    )
    read = next((inputs[name] for name in ("draft_breech", "draft_hood") if name in inputs), None)
    if read is None:
        return {"draft_theoretical": most}
    share = np.divide(read, most, out=np.full(np.broadcast(read, most).shape, np.nan), where=most < 0)
    return {"draft_theoretical": most, "draft_to_theoretical": share}


def _manifold(
    inputs: Mapping[str, Array], found: Mapping[str, Array], settings: HeatSettings
) -> Mapping[str, Array]:
    if (
        settings.nameplate_pressure is None
        or settings.rated_input is None
        or "manifold_pressure" not in inputs
    ):
        return {}
    box, pressure = _across(inputs)
    rated = sources.table("appliance")["rating_state"]["pressure"]
    by_manifold = inputs["manifold_factor"] * heat_input_by_nameplate(
        settings.rated_input,
        manifold_pressure=pressure,
        nameplate_pressure=settings.nameplate_pressure,
        burner_box_pressure=box,
        nameplate_box_pressure=box,
        state_ratio=inputs["barometric_pressure"] / rated,
    )
    made = {"heat_input_manifold": by_manifold}
    clocked = found.get("heat_input_clocked")
    if clocked is not None:
        made["heat_input_clock_to_manifold"] = clocked / by_manifold
        made["manifold_pressure_target"] = target_manifold_pressure(
            pressure,
            heat_input=clocked,
            heat_input_wanted=settings.rating or settings.rated_input,
            burner_box_pressure=box,
        )
    return made


def _across(inputs: Mapping[str, Array]) -> tuple[Array, Array]:
    """Return the pressures after and before the orifices, NaN for the latter where it drives no gas through them."""
    box = inputs.get("burner_box_pressure", np.zeros(1))
    return box, np.where(inputs["manifold_pressure"] > box, inputs["manifold_pressure"], np.nan)


def _orifice(
    fuel: Fuel, inputs: Mapping[str, Array], found: Mapping[str, Array], settings: HeatSettings
) -> Mapping[str, Array]:
    """Return the orifice that would pass the clocked heat at the pressure read."""
    needed = {"manifold_pressure", "meter_temperature"} <= inputs.keys() and "heat_input_clocked" in found
    if settings.orifice_count is None or not needed:
        return {}
    box, pressure = _across(inputs)
    return {
        "orifice_diameter": orifice_diameter(
            fuel,
            heat_input=found["heat_input_clocked"],
            pressure_drop=pressure - box,
            count=settings.orifice_count,
            coefficient=inputs["discharge_coefficient"],
            gas_temperature=inputs["meter_temperature"],
            barometric_pressure=inputs["barometric_pressure"],
        )
    }


def _input(found: Mapping[str, Array]) -> Array | None:
    """Return the heat input by the meter, or by the manifold pressure where no meter was clocked."""
    return found.get("heat_input_clocked", found.get("heat_input_manifold"))


def _by_losses(inputs: Mapping[str, Array], found: Mapping[str, Array], fan: Array) -> Array | None:
    """Return the heat delivered by input and losses, the blower's heat included."""
    heat_input = _input(found)
    if heat_input is None or "efficiency_gross" not in found:
        return None
    useful = found["efficiency_gross"] - inputs["casing_balance"] - inputs["stray_heat"]
    return np.asarray(heat_input * useful + fan)


def _air(
    inputs: Mapping[str, Array], found: Mapping[str, Array], settings: HeatSettings
) -> Mapping[str, Array]:
    if not {"supply_temperature", "return_temperature"} <= inputs.keys():
        return {}
    state = {
        "supply_temperature": inputs["supply_temperature"],
        "return_temperature": inputs["return_temperature"],
        "flow_temperature": inputs[f"{settings.flow_at}_temperature"],
        "pressure": inputs["barometric_pressure"],
        "water_fraction": found.get("air_water_fraction", np.zeros(1)),
    }
    fan = inputs.get("electric_power", np.zeros(1)) * settings.motor_in_air
    made: dict[str, Array] = {}
    by_losses = _by_losses(inputs, found, fan)
    if by_losses is not None:
        made["heat_output_by_losses"] = by_losses
        made["air_volume_flow_computed"] = airflow(by_losses, **state)
    if "air_volume_flow" in inputs:
        made["heat_output"] = air_heat_output(inputs["air_volume_flow"], **state)
        made |= _thermal(made["heat_output"] - fan, found)
    return made


def _water(
    inputs: Mapping[str, Array], found: Mapping[str, Array], settings: HeatSettings
) -> Mapping[str, Array]:
    made: dict[str, Array] = {}
    if "return_temperature" in inputs and "water_dew_point" in found:
        made["return_dew_point_margin"] = inputs["return_temperature"] - found["water_dew_point"]
    by_losses = _by_losses(inputs, found, np.zeros(1))
    if by_losses is not None:
        made["heat_output_by_losses"] = by_losses
    if {"water_volume_flow", "supply_temperature", "return_temperature"} <= inputs.keys():
        made["heat_output"] = inputs["glycol_factor"] * water_heat_output(
            inputs["water_volume_flow"],
            supply_temperature=inputs["supply_temperature"],
            return_temperature=inputs["return_temperature"],
            flow_temperature=inputs[f"{settings.flow_at}_temperature"],
            fluid=settings.carrier,
            glycol_share=settings.glycol_share,
        )
        made |= _thermal(made["heat_output"], found)
    return made


def _neither(
    inputs: Mapping[str, Array], found: Mapping[str, Array], settings: HeatSettings
) -> Mapping[str, Array]:
    return {}


def _thermal(useful: Array, found: Mapping[str, Array]) -> Mapping[str, Array]:
    heat_input = _input(found)
    return {} if heat_input is None else {"efficiency_thermal_gross": useful / heat_input}


def _per_heat(
    inputs: Mapping[str, Array], found: Mapping[str, Array], settings: HeatSettings
) -> Mapping[str, Array]:
    made: dict[str, Array] = {}
    delivered = found.get("heat_output", found.get("heat_output_by_losses"))
    flow = inputs.get("air_volume_flow", found.get("air_volume_flow_computed"))
    if flow is not None and delivered is not None:
        made["airflow_per_heating_capacity"] = flow / delivered
    if flow is not None and settings.cooling_capacity:
        made["airflow_per_cooling_capacity"] = flow / settings.cooling_capacity
    if "electric_power" in inputs and np.all(inputs["electric_power"] > 0):
        if delivered is not None:
            made["electricity_per_heat"] = inputs["electric_power"] / delivered
        if flow is not None and "external_static_pressure" in found:
            fan = blower(
                inputs["electric_power"], volume_flow=flow, static_pressure=found["external_static_pressure"]
            )
            made |= {"blower_air_power": fan.air_power, "blower_efficiency": fan.efficiency}
    return made
