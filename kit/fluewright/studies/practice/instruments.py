"""What instruments make of the true course: lag, noise, error, range, rounding; and the logs they write."""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np

from fluewright import sources, units
from fluewright.combustion import forward
from fluewright.errors import InputError
from fluewright.studies.practice.course import Course, lagged, number, physics, wandering
from fluewright.units import Array

OVER = "OVER"  # what the instruments here print above their range
_DRIED = ("oxygen_dry", "carbon_dioxide_dry", "carbon_monoxide_dry")
_TEMPERATURE_UNITS = {"degF": "delta_degF", "degC": "delta_degC", "K": "delta_degC"}


def own_draw(seed: int, name: str) -> np.random.Generator:
    """Return the random generator of one part of a visit, whatever other parts draw."""
    return np.random.default_rng([seed, zlib.crc32(name.encode())])


def _spread(entry: Mapping[str, Any], key: str, quantity: str) -> float:
    """Return a difference such as an accuracy in the SI unit of its quantity; 0 where not given."""
    si_unit = sources.quantity(quantity).unit
    return number(entry.get(key, 0.0), _TEMPERATURE_UNITS.get(si_unit, si_unit), key)


def _stated_error(accuracy: Mapping[str, Any], values: Array, quantity: str) -> Array:
    """Return the half-width the maker states [SI], at each value."""
    share = number(accuracy.get("of_reading", 0.0), "1", "of_reading")
    unit = sources.quantity(quantity).unit
    # Of a temperature, percent of reading is meant on the instrument's own scale, not from absolute zero.
    reading = units.convert(values, "K", "degC") if unit == "K" else values
    return np.asarray(np.maximum(_spread(accuracy, "absolute", quantity), share * np.abs(reading)))


def bias(instrument: str, quantity: str, values: Array, seed: int) -> Array:
    """Return the error of one sensor at each value [SI]: one draw for a visit, within the stated accuracy."""
    entry = sources.table("practice")["instruments"][instrument]
    level = own_draw(seed, f"{instrument}/{quantity}/bias").uniform(-1.0, 1.0)
    error = level * _stated_error(entry["accuracy"][quantity], values, quantity)
    zero = entry.get("sensors", {}).get(quantity, {}).get("zeroed_at")
    if zero is None:
        return np.asarray(error)
    # Set right in fresh air: the error grows away from that point, and soon reaches its full width.
    start = number(zero, "mol/mol", "zeroed_at")
    least = _spread(entry["accuracy"][quantity], "absolute", quantity)
    scale = max(physics("zero_holds", "1") * start, least)
    return np.asarray(error * np.clip(np.abs(values - start) / scale, 0.0, 1.0))


def water_left(course: Course, instrument: str, quantity: str) -> Array:
    """Return the share of water [mol/mol] that an instrument leaves in the gas in which it reads a quantity."""
    if quantity not in _DRIED:
        return np.zeros(len(course.time))
    entry = sources.table("practice")["instruments"][instrument]
    dew_point = number(entry["sample_dew_point"], "K", "sample_dew_point")
    return np.asarray(forward.water_saturation(np.array([dew_point]))[0] / course.true["barometric_pressure"])


def sensed(course: Course, instrument: str, quantity: str, seed: int) -> Array:
    """Return what the sensor of one quantity shows over time [SI], before range and rounding."""
    entry = sources.table("practice")["instruments"][instrument]
    sensor = entry["sensors"][quantity]
    step = float(course.time[1] - course.time[0])
    values = course.true[quantity]
    values = values * (1 - water_left(course, instrument, quantity))
    late = round(number(sensor["delay"], "s", "delay") / step)
    values = np.concatenate([np.full(late, values[0]), values])[: len(values)]
    values = lagged(values, number(sensor["lag"], "s", "lag"), step)
    if quantity == "oxygen_dry":
        values = values + course.set["oxygen_cell_drift"] * course.time
    draw = own_draw(seed, f"{instrument}/{quantity}/noise")
    memory = number(sensor["memory"], "s", "memory")
    noise = _spread(sensor, "noise", quantity) * draw.standard_normal(len(values))
    wander = _spread(sensor, "wander", quantity) * wandering(draw, len(values), memory, step)
    return np.asarray(values + bias(instrument, quantity, values, seed) + noise + wander)


def _scale(accuracy: Mapping[str, Any], quantity: str, unit: str) -> tuple[float, int, float]:
    """Return the resolution in the unit written, the decimals it needs, and the top of the range."""
    resolution = accuracy.get("resolution", f"0.01 {unit}")
    amount, _, written = resolution.partition(" ")
    same = _TEMPERATURE_UNITS.get(unit, unit)
    step = float(units.convert(float(amount), written, same))
    decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
    top = accuracy.get("span", ["", ""])[1]
    return step, decimals, units.parse(top, unit, quantity) if top else np.inf


def written(values: Array, accuracy: Mapping[str, Any], quantity: str, unit: str) -> list[str]:
    """Return readings [SI] as the instrument prints them in `unit`: stepped, with OVER above its range."""
    step, decimals, top = _scale(accuracy, quantity, unit)
    shown = units.convert(values, sources.quantity(quantity).unit, unit, quantity)
    if quantity.startswith("carbon_"):
        shown = np.clip(shown, 0.0, None)
    stepped = np.round(shown / step) * step + 0.0
    return [OVER if value > top else f"{value:.{decimals}f}" for value in stepped.tolist()]


def spot(course: Course, entry: Mapping[str, Any], quantity: str, seed: int) -> list[dict[str, str]]:
    """Return readings taken by hand at the moments `entry` names, as visit.toml writes them."""
    instrument, unit = entry["instrument"], entry["unit"]
    accuracy = sources.table("practice")["instruments"][instrument]["accuracy"][quantity]
    moments = np.atleast_1d(entry["at"]).astype(np.float64)
    true = np.interp(moments, course.time, course.true[quantity])
    jitter = own_draw(seed, f"{instrument}/{quantity}/{moments[0]:g}/spot").standard_normal(len(moments))
    resolution = _spread(accuracy, "resolution", quantity)
    values = true + bias(instrument, quantity, true, seed) + 0.5 * resolution * jitter
    top = accuracy.get("span", ["", ""])[1]
    texts = written(values, accuracy, quantity, unit)
    return [
        {"value": f"> {top}" if text == OVER else f"{text} {unit}", "instrument": instrument}
        for text in texts
    ]


def clocked(course: Course, meter: Mapping[str, Any], at: float, seed: int) -> dict[str, Any]:
    """Return the meter clocked by hand around `at` [s], with a stopwatch in the hand."""
    dial = number(meter["dial"], "m^3", "dial")
    flow = float(np.interp(at, course.time, course.true["gas_volume_flow"]))
    if flow <= 0:
        raise InputError(f"the meter cannot be clocked at {at:g} s of this scenario: no gas flows")
    draw = own_draw(seed, f"meter/{at:g}")
    meter_error = physics("meter_error", "1") * own_draw(seed, "meter/error").uniform(-1.0, 1.0)
    slips = physics("stopwatch", "s") * draw.standard_normal(int(meter["tries"]))
    seconds = dial / flow / (1 + meter_error) + slips
    amount, _, unit = meter["dial"].partition(" ")
    entered = float(amount) * float(course.set["dial_entered"][0])
    return {
        "dial": f"{entered:g} {unit}",
        "seconds": [round(float(second), 1) for second in seconds],
        "revolutions": 1.0,
        "pressure": meter["pressure"],
        "temperature": meter["temperature"],
        "compensated": False,
        "other_loads_off": True,
    }


def log_text(course: Course, scenario: Mapping[str, Any], log: Mapping[str, Any], seed: int) -> bytes:
    """Return one log as the instrument would have written it."""
    instrument = log["instrument"]
    accuracy = sources.table("practice")["instruments"][instrument]["accuracy"]
    every = round(float(log["every"]) / float(scenario["step"]))
    moments = [scenario["start"] + dt.timedelta(seconds=float(second)) for second in course.time[::every]]
    columns: dict[str, list[str]] = {
        part["column"]: [moment.strftime(part["format"]) for moment in moments] for part in log["time"]
    }
    for column in log["columns"]:
        quantity = column["quantity"]
        if "calculated_from" in column:
            columns[column["name"]] = _calculated(columns[column["calculated_from"]], column["ultimate"])
            continue
        values = sensed(course, instrument, quantity, seed)[::every]
        columns[column["name"]] = written(values, accuracy[quantity], quantity, column["unit"])
    between, point = log.get("delimiter", ","), log.get("decimal", ".")
    timed = {part["column"] for part in log["time"]}
    body = [
        texts if name in timed else [text.replace(".", point) for text in texts]
        for name, texts in columns.items()
    ]
    lines = [*log.get("preamble", []), between.join(columns)]
    if log.get("units_row"):
        signs = {column["name"]: column.get("sign", column["unit"]) for column in log["columns"]}
        lines.append(between.join(signs.get(name, "") for name in columns))
    lines += [between.join(row) for row in zip(*body, strict=True)]
    return ("\r\n".join(lines) + "\r\n").encode(log.get("encoding", "utf-8"))


def _calculated(oxygen: list[str], ultimate: float) -> list[str]:
    """Return the carbon dioxide [%] an instrument works out from the oxygen it shows."""
    fresh = 100 * physics("fresh_air_oxygen", "mol/mol")
    return [f"{max(0.0, ultimate * (1 - float(text) / fresh)):.1f}" for text in oxygen]


__all__ = ["OVER", "bias", "clocked", "log_text", "own_draw", "sensed", "spot", "water_left", "written"]
