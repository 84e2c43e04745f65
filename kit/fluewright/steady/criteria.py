"""What "steady" means: named sets of limits per channel, held as data with their sources."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from fluewright import sources, units
from fluewright.errors import InputError, UnknownNameError

DEFAULT = "field test"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one channel must hold; infinite where nothing is asked.

    `slope` [unit/s] bounds the line through a moving window, `spread` [unit] the standard deviation about it,
    and `span` [unit] the change of the moving mean over the whole steady window. `remaining` [unit] is what a
    settling may still lack where the window starts, in undiluted flue gas: with excess air the same lack weighs
    more, so the undiluted share of the gas, to the power `dilution`, takes from it. Above `level` [unit] these
    grow in proportion to the reading; below `cold` [unit] it is `remaining_cold` that may still lack. `margin` and
    `margin_cold` [s] are left out after a settling seen to end, because its end is only estimated.
    """

    slope: float
    spread: float = math.inf
    span: float = math.inf
    remaining: float = math.inf
    level: float = math.inf
    cold: float = -math.inf
    remaining_cold: float = math.inf
    margin: float = 0.0
    margin_cold: float = 0.0
    dilution: float = 0.0
    reason: str = ""

    def __post_init__(self) -> None:
        bounds = (self.slope, self.spread, self.span, self.remaining, self.remaining_cold, self.level)
        if not min(bounds) > 0:
            raise InputError(f"a limit of steadiness must be above zero, but one of these is not: {self}")

    def may_remain(self, reading: float, *, undiluted: float) -> tuple[float, float]:
        """Return what a settling towards `reading` [unit] may still lack [unit], and the margin after it [s]."""
        weight = undiluted**self.dilution
        if reading < self.cold:
            return self.remaining_cold * weight, self.margin_cold
        return self.remaining * max(weight, abs(reading) / self.level), self.margin


@dataclass(frozen=True, slots=True, kw_only=True)
class Criteria:
    """Limits a window must hold, per channel, over a least length [s]; slopes are over `slope_length` [s]."""

    name: str
    minimum_length: float
    slope_length: float
    limits: Mapping[str, Limits]
    source: str
    status: str

    def __post_init__(self) -> None:
        if not (self.minimum_length > 0 and self.slope_length > 0 and self.limits):
            raise InputError(
                f"the steady criteria '{self.name}' need positive lengths and at least one channel"
            )

    @property
    def slope(self) -> Mapping[str, float]:
        """Limit of the slope by channel [unit/s]."""
        return {name: limit.slope for name, limit in self.limits.items()}

    @property
    def spread(self) -> Mapping[str, float]:
        """Limit of the spread by channel [unit]."""
        return {name: limit.spread for name, limit in self.limits.items()}


def _limits(name: str, entry: Mapping[str, Any]) -> Limits:
    unit = sources.quantity(name).unit
    per_second = f"{'1' if unit == 'mol/mol' else unit}/s"
    units_of = {"slope": per_second, "margin": "s", "margin_cold": "s", "dilution": "1"}
    parts = {
        key: units.parse(text, units_of.get(key, unit), f"{name}.{key}")
        for key, text in entry.items()
        if key != "reason"
    }
    return Limits(**parts, reason=entry["reason"])


def criteria_names() -> tuple[str, ...]:
    """Return the names of the published and chosen definitions of steady."""
    return tuple(sources.table("steady")["criteria"])


@functools.cache
def named_criteria(name: str = DEFAULT) -> Criteria:
    """Return one definition of steady by its name.

    Raises
    ------
    UnknownNameError
        No definition has that name; the nearest one is suggested.
    """
    known = sources.table("steady")["criteria"]
    if name not in known:
        raise UnknownNameError("definition of steady", name, known)
    entry = known[name]
    return Criteria(
        name=name,
        minimum_length=units.parse(entry["minimum_length"], "s", "minimum_length"),
        slope_length=units.parse(entry["slope_length"], "s", "slope_length"),
        limits=MappingProxyType(
            {channel: _limits(channel, part) for channel, part in entry["limits"].items()}
        ),
        source=entry["source"],
        status=entry["status"],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """How rows are told apart before any criteria, in SI; the reasons stand beside the values in the data."""

    air_oxygen: float
    fresh_air_oxygen: float
    fresh_air_carbon_dioxide: float
    ending: float
    light_off: float
    gap: float
    gap_intervals: float
    present: float
    significance: float
    curvature: float
    curvature_second: float
    drifts_back: float
    sways: float
    after_margin: float
    slowest_settling: float
    worth_saying: float
    low_fresh_oxygen: float
    low_fresh_still: float
    low_fresh_monoxide: float
    as_cold_as_the_room: float
    room_temperature: float
    drawn: float
    hardly_cooled: float
    fan: float
    modulates: float
    modulates_by_meter: float
    expected: tuple[str, ...]


@functools.cache
def rules() -> Rules:
    """Return the rules by which rows are told apart."""
    entry = sources.table("steady")["rules"]
    units_of = {
        "air_oxygen": "mol/mol",
        "fresh_air_oxygen": "mol/mol",
        "fresh_air_carbon_dioxide": "mol/mol",
        "ending": "mol/mol",
        "light_off": "s",
        "slowest_settling": "s",
        "after_margin": "s",
        "gap": "s",
        "worth_saying": "delta_degC",
        "low_fresh_oxygen": "mol/mol",
        "low_fresh_still": "mol/mol",
        "low_fresh_monoxide": "mol/mol",
        "as_cold_as_the_room": "delta_degC",
        "room_temperature": "K",
        "drawn": "s",
    }
    return Rules(
        **{name: units.parse(entry[name], unit, name) for name, unit in units_of.items()},
        **{name: float(value) for name, value in entry.items() if isinstance(value, int | float)},
        expected=tuple(entry["expected"]),
    )
