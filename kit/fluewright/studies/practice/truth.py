"""The truth of a practice visit: means free of sensor and lag over the settled part of each test point.

Gases are as the instrument of their log dries them: that, not the wholly dry gas, is what its readings are of.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluewright import sources
from fluewright.studies.practice.course import Course, number, physics
from fluewright.studies.practice.instruments import water_left
from fluewright.units import Array

# What is true, where it stands in the course, and its unit.
_MEANS = {
    "excess_air": ("excess_air", "1"),
    "excess_air_oxygen_rule": ("excess_air_oxygen_rule", "1"),
    "oxygen_dry": ("oxygen_flue_dry", "mol/mol"),
    "carbon_dioxide_dry": ("carbon_dioxide_flue_dry", "mol/mol"),
    "carbon_monoxide_dry": ("carbon_monoxide_flue_dry", "mol/mol"),
    "carbon_monoxide_air_free": ("carbon_monoxide_air_free", "mol/mol"),
    "oxygen_dry_at_probe": ("oxygen_dry", "mol/mol"),
    "carbon_monoxide_dry_at_probe": ("carbon_monoxide_dry", "mol/mol"),
    "flue_temperature": ("stack_temperature", "K"),
    "air_temperature": ("air_temperature", "K"),
    "water_dew_point": ("water_dew_point", "K"),
    "condensed_fraction": ("condensed_fraction", "1"),
    "efficiency_gross": ("efficiency_gross", "1"),
    "efficiency_net": ("efficiency_net", "1"),
    "efficiency_thermal_gross": ("efficiency_thermal_gross", "1"),
    "heat_input": ("heat_input", "W"),
    "heat_output": ("heat_to_medium", "W"),
    "supply_temperature": ("supply_temperature", "K"),
    "return_temperature": ("return_temperature", "K"),
    "temperature_rise": ("temperature_rise", "delta_degC"),
    "manifold_pressure": ("manifold_pressure", "Pa"),
    "carbon_monoxide_ambient": ("carbon_monoxide_ambient", "mol/mol"),
}


def truth_of(scenario: Mapping[str, Any], course: Course) -> dict[str, Any]:
    """Return the truth of a visit, ready to be written as JSON."""
    greatest = course.true["carbon_monoxide_ambient"].max()
    return {
        "means_over": "from the settled moment to the end of the test point; all of it where nothing settled",
        "fuel": dict(course.fuel),
        "gross_heating_value_molar": _record(course.heating_value, "J/mol"),
        "carbon_monoxide_ambient_greatest": _record(greatest, "mol/mol"),
        "test_points": {point["name"]: _point(point, scenario, course) for point in scenario["test_points"]},
        **({"cycles": _cycles(scenario, course)} if "burns" in scenario else {}),
    }


def _cycles(scenario: Mapping[str, Any], course: Course) -> list[dict[str, Any]]:
    """Return what was true of each burn of a burner that cycles, as of a test point."""
    return [
        {
            "lit": _clock(scenario, lit),
            "off": _clock(scenario, off),
            "on_time": _record(off - lit, "s"),
            **_point({"start": lit, "end": off}, scenario, course),
        }
        for lit, off in scenario["burns"]
    ]


def _clock(scenario: Mapping[str, Any], second: float) -> str:
    return str((scenario["start"] + dt.timedelta(seconds=second)).isoformat(timespec="seconds"))


def _record(value: Any, unit: str) -> dict[str, Any]:
    """Return a number and its unit; eight digits, so that the text is the same on every machine."""
    return {"value": None if value is None else float(f"{value:.8g}"), "unit": unit}


def _point(point: Mapping[str, Any], scenario: Mapping[str, Any], course: Course) -> dict[str, Any]:
    rows = _burning(point, course)
    true = course.true
    rise = (true["stack_temperature"] - true["return_temperature"])[rows]
    settled = _settled(course.time[rows], rise, true["oxygen_flue_dry"][rows])
    took = None if settled is None else settled - float(course.time[rows[0]])
    steady = rows if settled is None else rows[course.time[rows] >= settled]
    return {
        "settling_time": _record(took, "s"),
        "steady_from": _clock(scenario, float(course.time[steady[0]])),
        "steady_to": _clock(scenario, float(course.time[steady[-1]])),
        "carbon_monoxide_air_free_greatest": _record(
            np.max(true["carbon_monoxide_air_free"][rows]), "mol/mol"
        ),
        **_means(steady, point, scenario, course),
    }


def means_of(window: Mapping[str, Any], scenario: Mapping[str, Any], course: Course) -> dict[str, Any]:
    """Return what was true on the mean over a window that an audit took: all of it, wherever it settled.

    Parameters
    ----------
    window : mapping
        Its "start" and "end" [s], and the "stage" of its test point, if any.
    """
    return _means(_burning(window, course), window, scenario, course)


def _burning(point: Mapping[str, Any], course: Course) -> NDArray[np.intp]:
    within = (course.time >= point["start"]) & (course.time < point["end"]) & (course.true["burning"] > 0.5)
    return np.flatnonzero(within)


def _means(
    rows: NDArray[np.intp], point: Mapping[str, Any], scenario: Mapping[str, Any], course: Course
) -> dict[str, Any]:
    true = {**course.true, **_derived(course)}
    left = {
        column["quantity"]: water_left(course, log["instrument"], column["quantity"])
        for log in scenario["logs"].values()
        for column in log["columns"]
    }
    plate = scenario["visit"]["appliance"]
    stated = plate["rated_input_low"] if point.get("stage") == "low" else scenario["rated_input"]
    return {
        "heat_input_ratio": _record(
            np.mean(true["heat_input"][rows]) / number(stated, "W", "rated_input"), "1"
        ),
        **{
            name: _record(np.mean((true[key] * (1 - left.get(name, 0.0)))[rows]), unit)
            for name, (key, unit) in _MEANS.items()
            if name != "manifold_pressure" or "orifices" in scenario
        },
    }


def _derived(course: Course) -> dict[str, Array]:
    true = course.true
    gain = course.heating_value / course.heating_value_net
    burning = true["burning"] > 0.5
    thermal = np.divide(
        true["heat_output"], true["heat_input"], out=np.full(len(course.time), np.nan), where=burning
    )
    air, oxygen = sources.table("air")["trade"]["oxygen"], true["oxygen_flue_dry"]
    return {
        "excess_air_oxygen_rule": oxygen / (air - oxygen),
        "temperature_rise": true["supply_temperature"] - true["return_temperature"],
        "efficiency_net": true["efficiency_gross"] * gain,
        "efficiency_thermal_gross": thermal,
    }


def _settled(time: Array, rise: Array, oxygen: Array) -> float | None:
    """Return the moment from which flue and oxygen stay near where they end; None where they never do.

    `rise` is the flue's above the return. The level held against is the mean of the last fifth; a burn that
    holds only in that fifth has not settled.
    """
    last = len(time) - max(1, len(time) // 5)
    level = float(np.mean(rise[last:]))
    band = physics("settled", "1") * abs(level) + physics("settled_least", "delta_degC")
    warming = np.abs(rise - level) > band
    swinging = np.abs(oxygen - np.mean(oxygen[last:])) > physics("settled_oxygen", "mol/mol")
    outside = np.flatnonzero(warming | swinging)
    first = 0 if len(outside) == 0 else int(outside[-1]) + 1
    return None if first >= last else float(time[first])
