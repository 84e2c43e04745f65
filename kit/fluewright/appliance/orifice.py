"""Gas orifices: the heat input that passes one, the size and the pressure that a heat input needs, drill sizes.

Flow from first principles: the pressure drop becomes velocity, and the jet is narrower than the hole by the
discharge coefficient. The expansion of the gas on its way (below 1 % up to 5 kPa) is left out, as in the
trade's tables.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fluewright import sources
from fluewright.combustion import Fuel
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import Array, Number, convert, si

__all__ = [
    "Drill",
    "discharge_coefficient",
    "drill",
    "gas_density",
    "nearest_drill",
    "orifice_diameter",
    "orifice_heat_input",
    "orifice_pressure_drop",
    "target_manifold_pressure",
]

_STANDARD_PRESSURE, _STANDARD_TEMPERATURE = 101325.0, 288.15  # Pa, K: of the fuel's density by ISO 6976
_SMALLEST, _LARGEST = 0.2e-3, 20e-3  # m: between these an orifice of any diameter may have been drilled


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """A size of drill: its name as the trade has it, its diameter [m], and its series."""

    name: str
    diameter: float
    series: Literal["number", "letter", "metric"]


def discharge_coefficient() -> float:
    """Return the discharge coefficient of a drilled orifice where nothing better is known [-]."""
    return float(sources.table("orifices")["discharge"]["value"])


def gas_density(
    fuel: Fuel, *, pressure: Number = _STANDARD_PRESSURE, temperature: Number = _STANDARD_TEMPERATURE
) -> Array:
    """Return the density of a fuel gas at an absolute pressure [Pa] and a temperature [K], in kg/m³.

    By ISO 6976 at 15 °C and 101.325 kPa, and by the gas law from there.
    """
    absolute = si(pressure, "Pa", "pressure")
    kelvin = si(temperature, "K", "temperature")
    standard = np.asarray(fuel.properties().density)
    return np.asarray(standard * (absolute / _STANDARD_PRESSURE) * (_STANDARD_TEMPERATURE / kelvin))


def orifice_heat_input(
    fuel: Fuel,
    *,
    diameter: Number,
    pressure_drop: Number,
    count: Number = 1,
    coefficient: Number | None = None,
    gas_temperature: Number = _STANDARD_TEMPERATURE,
    barometric_pressure: Number = _STANDARD_PRESSURE,
) -> Array:
    """Return the heat input that passes gas orifices, on the gross basis.

    Parameters
    ----------
    fuel : Fuel
        The gas; its composition may hold arrays.
    diameter : number or array [m]
        Of the hole.
    pressure_drop : number or array [Pa]
        From the manifold to where the orifice discharges (the burner box).
    count : number or array
        Orifices of that size.
    coefficient : number or array [-], optional
        Discharge coefficient; default `discharge_coefficient`.
    gas_temperature : number or array [K]
        Of the gas before the orifice.
    barometric_pressure : number or array [Pa]
        Absolute pressure of the site.

    Returns
    -------
    array [W]

    Raises
    ------
    InputError
        A diameter, count, coefficient or pressure that is not above zero.

    Notes
    -----
    ``m = n C A √(2 ρ Δp)`` is the mass flow, with A the area of a hole and ρ the density before it; times the
    gross heating value by mass.

    Examples
    --------
    >>> from fluewright.combustion import fuel
    >>> float(round(orifice_heat_input(fuel("methane"), diameter=2e-3, pressure_drop=870.0) / 1e3, 2))
    5.42
    """
    size = _above_zero(si(diameter, "m", "diameter"), "diameter")
    flow = _flow_of_unit_area(fuel, pressure_drop, count, coefficient, gas_temperature, barometric_pressure)
    return np.asarray(np.pi / 4 * size**2 * flow * _heat_per_mass(fuel))


def orifice_diameter(
    fuel: Fuel,
    *,
    heat_input: Number,
    pressure_drop: Number,
    count: Number = 1,
    coefficient: Number | None = None,
    gas_temperature: Number = _STANDARD_TEMPERATURE,
    barometric_pressure: Number = _STANDARD_PRESSURE,
) -> Array:
    """Return the diameter of hole [m] that passes a heat input [W, gross]; see `orifice_heat_input`.

    Examples
    --------
    >>> from fluewright.combustion import fuel
    >>> size = orifice_diameter(fuel("methane"), heat_input=5422.0, pressure_drop=870.0)
    >>> float(round(size * 1e3, 2))
    2.0
    """
    wanted = _above_zero(si(heat_input, "W", "heat_input"), "heat_input")
    flow = _flow_of_unit_area(fuel, pressure_drop, count, coefficient, gas_temperature, barometric_pressure)
    return np.asarray(np.sqrt(4 / np.pi * wanted / (flow * _heat_per_mass(fuel))))


def orifice_pressure_drop(
    fuel: Fuel,
    *,
    heat_input: Number,
    diameter: Number,
    count: Number = 1,
    coefficient: Number | None = None,
    gas_temperature: Number = _STANDARD_TEMPERATURE,
    barometric_pressure: Number = _STANDARD_PRESSURE,
) -> Array:
    """Return the pressure drop [Pa] at which holes pass a heat input [W, gross]; see `orifice_heat_input`."""
    air = _above_zero(si(barometric_pressure, "Pa", "barometric_pressure"), "barometric_pressure")
    wanted = _above_zero(si(heat_input, "W", "heat_input"), "heat_input")
    unit = 1.0  # Pa
    passed = orifice_heat_input(
        fuel,
        diameter=diameter,
        pressure_drop=unit,
        count=count,
        coefficient=coefficient,
        gas_temperature=gas_temperature,
        barometric_pressure=air,
    )
    # The flow goes as the root of (air + drop) drop, the gas before the hole being denser at a higher drop.
    product = (wanted / passed) ** 2 * (air + unit) * unit
    return np.asarray((np.sqrt(air**2 + 4 * product) - air) / 2)


def target_manifold_pressure(
    manifold_pressure: Number,
    *,
    heat_input: Number,
    heat_input_wanted: Number,
    burner_box_pressure: Number = 0.0,
) -> Array:
    """Return the manifold pressure that brings a heat input to the one wanted, by the square-root law.

    Only where a fixed orifice sets the gas flow: not for a ratio-controlled premix burner, which is set by
    oxygen or carbon dioxide instead. The same gas, orifice and burner box.

    Parameters
    ----------
    manifold_pressure : number or array [Pa]
        Gauge pressure as found.
    heat_input, heat_input_wanted : number or array [W]
        As found, and as it is to be.
    burner_box_pressure : number or array [Pa]
        Gauge pressure where the orifice discharges; negative under an inducer.

    Returns
    -------
    array [Pa]
        Gauge pressure to set.

    Raises
    ------
    InputError
        A heat input or the pressure across the orifice is not above zero.

    Examples
    --------
    >>> float(target_manifold_pressure(870.0, heat_input=22e3, heat_input_wanted=20e3).round(1))
    719.0
    """
    box = si(burner_box_pressure, "Pa", "burner_box_pressure")
    drop = _above_zero(
        si(manifold_pressure, "Pa", "manifold_pressure") - box, "pressure across the orifice", unknown=True
    )
    found = _above_zero(si(heat_input, "W", "heat_input"), "heat_input")
    wanted = _above_zero(si(heat_input_wanted, "W", "heat_input_wanted"), "heat_input_wanted")
    return np.asarray(box + drop * (wanted / found) ** 2)


# ---------------------------------------------------------------------------- drills


@functools.cache
def _drills() -> Mapping[str, Drill]:
    data = sources.table("orifices")
    made: dict[str, Drill] = {}
    signs: dict[Literal["number", "letter"], str] = {"number": "#", "letter": ""}
    for series, sign in signs.items():
        for name, size in data[series]["sizes"].items():
            diameter = float(convert(size, data[series]["unit"], "m"))
            made[f"{sign}{name}"] = Drill(name=f"{sign}{name}", diameter=diameter, series=series)
    for part in data["metric"]["ranges"]:
        tenths = range(round(part["from"] * 10), round(part["to"] * 10))
        for size in (tenth / 10 + step / 100 for tenth in tenths for step in part["hundredths"]):
            name = f"{size:.2f} mm"
            diameter = float(convert(size, data["metric"]["unit"], "m"))
            made[name] = Drill(name=name, diameter=diameter, series="metric")
    return made


def drill(name: str) -> Drill:
    """Return a size of drill by its name: "#54" or "54", "F", "1.40 mm", or a diameter such as "2.08 mm" or "1/8 in".

    Raises
    ------
    UnknownNameError
        No drill has that name; the nearest one is suggested.
    """
    given = str(name).strip()
    metric = re.fullmatch(r"(\d*\.?\d+)\s*mm", given)
    inches = re.fullmatch(r"(\d*\.?\d+)(?:/(\d+))?\s*(?:in\.?|inch|\")", given)
    if metric:
        given = f"{float(metric[1]):.2f} mm"
        if given not in _drills() and _SMALLEST <= float(metric[1]) / 1e3 <= _LARGEST:
            return Drill(name=given, diameter=float(metric[1]) / 1e3, series="metric")
    elif inches and int(inches[2] or 1):
        diameter = float(inches[1]) / int(inches[2] or 1) * 0.0254
        if _SMALLEST <= diameter <= _LARGEST:
            return Drill(name=given, diameter=diameter, series="number")
    elif re.fullmatch(r"(?:no\.?|#)?\s*\d{1,2}", given, re.IGNORECASE):
        given = "#" + re.sub(r"\D", "", given)
    found = _drills().get(given if given in _drills() else given.upper())
    if found is None:
        raise UnknownNameError("drill size", name, _drills())
    return found


def nearest_drill(diameter: float, *, series: Literal["number", "metric"]) -> Drill:
    """Return the drill whose area is nearest to that of a diameter [m]; letters go on from the numbers.

    Raises
    ------
    InputError
        The diameter is beyond the series.
    """
    wanted = ("number", "letter") if series == "number" else ("metric",)
    known = [one for one in _drills().values() if one.series in wanted]
    smallest, largest = (pick(known, key=lambda one: one.diameter) for pick in (min, max))
    if not smallest.diameter <= diameter <= largest.diameter:
        raise InputError(
            f"no {series} drill has a diameter of {diameter * 1e3:.3f} mm; the series goes from {smallest.name} "
            f"to {largest.name}. Divide the flow over another count of orifices."
        )
    return min(known, key=lambda one: abs(one.diameter**2 - diameter**2))


# ---------------------------------------------------------------------------- common


def _heat_per_mass(fuel: Fuel) -> Array:
    """Return the gross heating value at 25 °C [J/kg], what heat input counts."""
    return np.asarray(fuel.gross_heating_value_molar / fuel.molar_mass)


def _flow_of_unit_area(
    fuel: Fuel,
    pressure_drop: Number,
    count: Number,
    coefficient: Number | None,
    gas_temperature: Number,
    barometric_pressure: Number,
) -> Array:
    """Return the mass flow of all holes per area of one [kg/(s m²)]."""
    drop = _above_zero(si(pressure_drop, "Pa", "pressure_drop"), "pressure_drop", unknown=True)
    holes = _above_zero(si(count, "1", "count"), "count")
    given = discharge_coefficient() if coefficient is None else coefficient
    discharge = _above_zero(si(given, "1", "coefficient"), "coefficient")
    air = _above_zero(si(barometric_pressure, "Pa", "barometric_pressure"), "barometric_pressure")
    density = gas_density(fuel, pressure=air + drop, temperature=gas_temperature)
    return np.asarray(holes * discharge * np.sqrt(2 * density * drop))


def _above_zero(values: Array, name: str, *, unknown: bool = False) -> Array:
    """Return values after refusing what is not above zero; NaN stays NaN where it may be `unknown`."""
    if not np.all((values > 0) | (unknown & np.isnan(values))):
        raise InputError(f"{name} must be above zero, not {float(np.min(values)):.6g}; check value and unit")
    return values
