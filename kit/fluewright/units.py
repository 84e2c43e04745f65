"""The one unit registry, and the two crossings: into SI on the way in, out of SI on the way out.

Inside, every number is plain SI (K, Pa, mol/mol, J, W, m³/s). A public function takes plain numbers,
which are the documented SI unit, or pint quantities, which are converted here.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
import pint
from numpy.typing import NDArray

from fluewright.errors import UnitError

Array: TypeAlias = NDArray[np.float64]
Number: TypeAlias = Any  # float, array of floats, Series of floats, or pint quantity of these

# Exact factors of the trade that pint lacks or reads as something else ("cfm" would be centi-femto-metre).
_TRADE_UNITS = (
    "inch_water_column = 249.08891 * pascal = inH2O = in_wc",  # conventional inch of water, 4 °C
    "cubic_foot_per_minute = foot**3 / minute = cfm = CFM",
    "gallon_per_minute = gallon / minute = gpm = GPM",
    "hundred_cubic_feet = 100 * foot**3 = ccf",
    "parts_per_billion = 1e-9 = ppb",
    "MMBtu = 1e6 * british_thermal_unit = mmBtu = MMBTU",
    "therm_US = 1e5 * british_thermal_unit = therm",
)


@functools.cache
def registry() -> pint.UnitRegistry[Any]:
    """Return the package's unit registry; made once, on first use."""
    made: pint.UnitRegistry[Any] = pint.UnitRegistry(on_redefinition="ignore")
    for line in _TRADE_UNITS:
        made.define(line)
    return made


def quantity(value: object, unit: str) -> Any:
    """Return `value` (number or array) with `unit` as a pint quantity of the package's registry."""
    return registry().Quantity(value, unit)


def _unit_of(text: str, name: str, like: str) -> Any:
    try:
        return registry().parse_units(text)
    except Exception as error:
        raise UnitError(
            f"{name}: '{text}' is not a unit this project knows; write a unit such as '{like}', by pint's names"
        ) from error


def _wrong_kind(name: str, given: object, wanted: str, usual: Sequence[str] = ()) -> UnitError:
    if usual:
        listed = " or ".join(f"'{unit}'" for unit in usual)
        return UnitError(
            f"{name} is given in '{given}', but it needs a unit like {listed}; write it in such a unit"
        )
    difference = " (a difference of temperatures is written in delta_degF or kelvin)" if wanted == "K" else ""
    return UnitError(
        f"{name} is given in '{given}', but it needs a unit like '{wanted}'{difference}; "
        f"write for example Quantity(value, '{wanted}')"
    )


def si(value: Number, unit: str, name: str) -> Array:
    """Return `value` as a float array in the SI unit `unit`.

    Parameters
    ----------
    value : float, array, Series or pint quantity
        Plain numbers are taken to be in `unit`; quantities are converted.
    unit : str
        The SI unit, by pint's name; "1" or "mol/mol" for a pure ratio.
    name : str
        The argument's name, for the message.

    Returns
    -------
    ndarray
        Float array [unit] of the input's shape (0-d for a scalar).

    Raises
    ------
    UnitError
        The quantity has the wrong dimension, or the value is no number.
    """
    if hasattr(value, "magnitude") and hasattr(value, "dimensionality"):
        wanted = "dimensionless" if unit in {"1", "mol/mol"} else unit
        try:
            value = value.to(wanted).magnitude
        except Exception as error:
            raise _wrong_kind(name, getattr(value, "units", "?"), unit) from error
    try:
        return np.asarray(value, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise UnitError(
            f"{name} must be a number or an array of numbers in '{unit}', not {value!r}"
        ) from error


@functools.cache
def _offset_units() -> frozenset[Any]:
    return frozenset(registry().Unit(name) for name in ("degree_Celsius", "degree_Fahrenheit"))


_LEAST = {"m^3": 1e-8, "m^3/s": 1e-10}  # of what is measured here nothing comes in smaller units; chosen here
_MISREAD = frozenset({"dcfm", "dcfh", "ccfm"})


@functools.cache
def _affine(from_unit: str, to_unit: str, name: str, usual: tuple[str, ...] = ()) -> tuple[float, float]:
    source = _unit_of(from_unit, name, usual[0] if usual else to_unit)
    if to_unit.startswith("delta_") and registry().Quantity(1.0, source).units in _offset_units():
        raise UnitError(
            f"{name} is a difference of temperatures, but '{from_unit}' is a point on a scale; write delta_{from_unit}"
        )
    target = _unit_of("dimensionless" if to_unit in {"1", "mol/mol"} else to_unit, name, to_unit)
    make = registry().Quantity
    try:
        zero = float(make(0.0, source).to(target).magnitude)
        # A large step keeps the slope exact for offset units (degF to K).
        slope = (float(make(1e6, source).to(target).magnitude) - zero) / 1e6
    except Exception as error:
        raise _wrong_kind(name, from_unit, to_unit, usual) from error
    # "acfm" would be attofeet, "Nl/min" nanoliters, and "dcfm", of dry gas, decifeet.
    if abs(slope) < _LEAST.get(to_unit, 0.0) or from_unit in _MISREAD:
        raise UnitError(
            f"{name} is given in '{from_unit}', which is not a unit this project knows; write for example "
            f"'{(usual or (to_unit,))[0]}'"
        )
    return slope, zero


def factor(from_unit: str, to_unit: str, name: str = "value") -> tuple[float, float]:
    """Return (slope, offset) such that `to = slope * from + offset`, exact for offset temperatures.

    Raises
    ------
    UnitError
        A unit is unknown, or the two are of different kinds.
    """
    return _affine(from_unit, to_unit, name)


def convert(value: Any, from_unit: str, to_unit: str, name: str = "value") -> Any:
    """Return plain numbers `value` [from_unit] expressed in `to_unit`."""
    slope, offset = _affine(from_unit, to_unit, name)
    return value * slope + offset


def parse(text: str, unit: str, name: str, *, usual: Sequence[str] = ()) -> float:
    """Return a number with its unit, written as text ("80000 Btu/h"), in the SI unit `unit`.

    Parameters
    ----------
    text : str
        The number, a space and the unit.
    unit : str
        The SI unit, by pint's name.
    name : str
        The argument's name, for the message.
    usual : sequence of str, optional
        The units that a message suggests; by default the SI unit.

    Raises
    ------
    UnitError
        No number, no unit, an unknown unit, or a unit of the wrong kind.
    """
    number, _, rest = str(text).strip().partition(" ")

    def such(value: str) -> str:
        examples = " or ".join(f"'{value} {one}'" for one in usual or (unit,))
        return f"write number, space, unit, such as {examples}"

    try:
        value = float(number.replace("_", ""))
    except ValueError:
        why = "does not start with a number"
        if "," in number:
            why = "holds a comma, which may be of decimals or of thousands"
        elif re.match(r"[+-]?[\d.]", number):
            why = "has no blank between number and unit"
        raise UnitError(f"{name}: '{text}' {why}; {such('1.5')}") from None
    if not np.isfinite(value):
        raise UnitError(f"{name}: '{text}' is not a finite number")
    if not rest.strip():
        raise UnitError(f"{name}: '{text}' has no unit; {such(number)}")
    slope, offset = _affine(rest.strip(), unit, name, tuple(usual))
    return value * slope + offset
