"""What happens if another fuel is connected and nothing is changed: input, air, oxygen, carbon monoxide, flame."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from fluewright import combustion, sources, units
from fluewright.appliance import Number
from fluewright.combustion.flammability import flammability_limits
from fluewright.combustion.interchange import (
    bulletin_36_indices,
    gas_groups,
    interchange_scope,
    weaver_indices,
)
from fluewright.studies.fuel_switch.compare import Burned, air_need, burned
from fluewright.studies.fuel_switch.givens import Gas, Givens, number, percent
from fluewright.units import Array

Weight = Literal["stop", "correct", "note"]
Outcome = Literal["within", "beyond preferable", "beyond", "says nothing"]
_INERT = ("N2", "CO2")
_ROUNDING = 1e-3  # an index so far beyond its bound is at it
_BUTANES = ("n-C4H10", "i-C4H10", "n-C5H12", "i-C5H12", "neo-C5H12", "n-C6H14")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One thing that speaks against connecting a fuel unchanged, or a remark, with its weight."""

    weight: Weight
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """One published criterion of interchangeability: its value, its limits, and what they say.

    ``low`` and ``high`` bound what is accepted, in the value's unit; ``preferable`` is a narrower bound, or NaN.
    """

    criterion: str
    family: str
    value: Number | None
    low: float
    high: float
    preferable: float
    outcome: Outcome
    source: str
    status: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Unchanged:
    """A fuel in the appliance as it is: same orifices, same manifold pressure, same air."""

    numbers: Mapping[str, Number]
    indices: tuple[Index, ...]
    groups: tuple[str, ...]
    present_groups: tuple[str, ...]
    scope: str
    reasons: tuple[Reason, ...]

    @property
    def weight(self) -> Weight:
        """The gravest weight among the reasons."""
        weights = {one.weight for one in self.reasons}
        return "stop" if "stop" in weights else "correct" if "correct" in weights else "note"


def unchanged(present: Gas, gas: Gas, givens: Givens, running: Burned) -> Unchanged:
    """Return what a fuel does in the appliance as it is set for the present one.

    The heat input goes as the gross Wobbe index. The air stays what it was, whether draft, an inducer or a fan
    moves it; so does the air that a ratio controller meters, since it meters the gas by the same pressure drop.
    """
    ratio = np.asarray(gas.drawn.wobbe_gross) / np.asarray(present.drawn.wobbe_gross)
    air_ratio = running.air_ratio / ratio * air_need(present) / air_need(gas)
    numbers = {
        "heat_input_relative": number(
            "heat_input_relative", ratio, basis="same orifices and manifold pressure"
        ),
        "air_ratio": number("air_ratio", air_ratio, basis="the air of the present fuel"),
        "excess_air": number("excess_air", air_ratio - 1, basis="the air of the present fuel"),
        **_flue_unchanged(gas, givens, air_ratio, ratio),
    }
    scope = interchange_scope(present.fuel, gas.fuel)
    indices = tuple(_indices(present, gas, scope))
    return Unchanged(
        numbers=numbers,
        indices=indices,
        groups=gas_groups(gas.fuel),
        present_groups=gas_groups(present.fuel),
        scope=scope,
        reasons=(*_firing_reasons(numbers), *_flame_reasons(present, gas, indices)),
    )


def _flue_unchanged(gas: Gas, givens: Givens, air_ratio: Array, ratio: Array) -> Mapping[str, Number]:
    """Return oxygen and carbon dioxide where there is air enough; the carbon monoxide of equilibrium where not."""
    if air_ratio[0] >= 1:
        # Draws that starve have no complete burning: the number's interval is then left to the rest.
        enough = np.maximum(air_ratio, 1.0)
        found = burned(gas, givens, air_ratio=enough, heat_input=givens.heat_input * ratio).numbers
        kept = ("oxygen_dry", "carbon_dioxide_dry", "efficiency_gross", "water_dew_point")
        return {name: found[name] for name in kept}
    quench = units.parse(
        sources.table("fuel_switch")["thresholds"]["quench_temperature"], "K", "quench_temperature"
    )
    starved = combustion.equilibrium_products(
        gas.fuel,
        air_ratio=max(float(air_ratio[0]), 0.5),
        temperature=quench,
        pressure=float(givens.pressure[0]),
    )
    basis = f"equilibrium at {quench:.0f} K, where flue gas freezes"
    return {
        "oxygen_dry": number("oxygen_dry", np.asarray(0.0), basis="none left"),
        "carbon_monoxide_equilibrium": Number(
            quantity="carbon_monoxide_equilibrium",
            value=float(starved.dry["CO"]),
            origin="computed",
            basis=basis,
        ),
    }


def _firing_reasons(numbers: Mapping[str, Number]) -> Iterator[Reason]:
    rules = sources.table("fuel_switch")["thresholds"]
    heat, air = numbers["heat_input_relative"], numbers["air_ratio"]
    low, high = _ends(heat)
    if high > rules["heat_input_high"]:
        weight: Weight = "stop" if low > rules["heat_input_high"] else "correct"
        yield Reason(
            weight=weight,
            text=f"It would fire at {percent(heat.value)} of the heat input of the present fuel, over the rating.",
        )
    if low < rules["heat_input_low"]:
        yield Reason(
            weight="correct", text=f"It would fire at only {percent(heat.value)} of the present heat input."
        )
    least = _ends(air)[0]
    if air.value < 1:
        starved = numbers["carbon_monoxide_equilibrium"].value
        yield Reason(
            weight="stop",
            text=f"It would get {percent(air.value)} of the air it needs: the flue gas would hold some "
            f"{100 * starved:.1f} % carbon monoxide, and soot would form.",
        )
    elif least < rules["air_ratio_low"]:
        yield Reason(
            weight="stop" if least < 1 else "correct",
            text=f"Only {percent(air.value - 1)} excess air would be left: carbon monoxide is to be expected.",
        )
    oxygen = numbers["oxygen_dry"]
    if oxygen.value > rules["oxygen_high"]:
        yield Reason(
            weight="correct",
            text=f"The flue gas would hold {percent(oxygen.value)} oxygen: so much air chills the flame or "
            "blows it off.",
        )


def _flame_reasons(present: Gas, gas: Gas, indices: tuple[Index, ...]) -> Iterator[Reason]:
    families = [{group.split(",")[0] for group in gas_groups(one.fuel)} for one in (present, gas)]
    if not families[1]:
        yield Reason(weight="stop", text="It belongs to no group of gas that appliances are made for.")
    elif not families[0] & families[1]:
        yield Reason(weight="stop", text=f"It belongs to another family of gas than {present.name}.")
    if float(flammability_limits(gas.fuel).upper) >= 1:
        yield Reason(weight="stop", text="It is flammable as piped: a flame can run back into the pipe.")
    for family in dict.fromkeys(one.family for one in indices):
        beyond = [one.criterion for one in indices if one.family == family and one.outcome == "beyond"]
        if beyond:
            yield Reason(weight="correct", text=f"Beyond the limits of {family}: {'; '.join(beyond)}.")
    was_light, is_heavy = float(present.fuel.relative_density) < 1, float(gas.fuel.relative_density) > 1
    if was_light and is_heavy:
        yield Reason(weight="note", text="Leaked gas sinks to floors and basements; that of today rises.")
    elif not was_light and not is_heavy:
        yield Reason(
            weight="note", text="Leaked gas rises and gathers under ceilings; that of today lies on floors."
        )


def _ends(one: Number) -> tuple[float, float]:
    return (one.low, one.high) if one.has_interval else (one.value, one.value)


# ---------------------------------------------------------------------------- published criteria


def _indices(present: Gas, gas: Gas, scope: str) -> Iterator[Index]:
    yield from _guideline(present, gas)
    yield from _bulletin(present, gas, scope)
    yield from _weaver(present, gas, scope)


def _guideline(present: Gas, gas: Gas) -> Iterator[Index]:
    data = sources.table("interchange")["guideline"]
    natural = "natural gas" in (present.pressure_kind, present.fuel.kind)
    family = "US guideline (Natural Gas Council Plus, 2005)"
    at = gas.drawn.properties(combustion.reference_conditions("US 60 °F, 14.696 psia"))
    ratio = np.asarray(gas.drawn.wobbe_gross) / np.asarray(present.drawn.wobbe_gross)
    low, high = (units.convert(data[f"wobbe_{end}"], data["wobbe_unit"], "J/m^3") for end in ("low", "high"))
    parts = gas.drawn.composition
    inert, heavy = (
        np.asarray(sum(np.asarray(parts.get(name, 0.0)) for name in names)) for names in (_INERT, _BUTANES)
    )
    spread = data["wobbe_spread"]
    heating = data["heating_value"]
    most = units.convert(heating["high"], data["wobbe_unit"], "J/m^3")
    quoted, memory = data["status"], heating["status"]
    without = -np.inf
    rows: list[tuple[str, Number, float, float, str]] = [
        (
            "Wobbe index against the present gas",
            number("heat_input_relative", ratio),
            1 - spread,
            1 + spread,
            quoted,
        ),
        ("Wobbe index, gross", number("wobbe_gross", at.wobbe_gross), low, high, quoted),
        (
            "Heating value, gross",
            number("gross_heating_value_volume", at.gross_heating_value),
            without,
            most,
            memory,
        ),
        ("Nitrogen and carbon dioxide", number("fuel_share", inert), without, data["inert_high"], quoted),
        ("Butanes and heavier", number("fuel_share", heavy), without, data["butanes_high"], quoted),
    ]
    for criterion, value, least, greatest, status in rows:
        yield Index(
            criterion=criterion,
            family=family,
            value=value,
            low=least,
            high=greatest,
            preferable=np.nan,
            outcome=_outcome(value.value, least, greatest, np.nan) if natural else "says nothing",
            source=data["source"],
            status=status,
        )


def _outcome(value: float, low: float, high: float, preferable: float) -> Outcome:
    """Return what a value says against its bounds; a preferable bound lies inside of the one that is finite."""
    if not low - _ROUNDING <= value <= high + _ROUNDING:
        return "beyond"
    inside = value <= preferable + _ROUNDING if np.isfinite(high) else value >= preferable - _ROUNDING
    return "within" if np.isnan(preferable) or inside else "beyond preferable"


def _index(
    family: str, label: str, values: Array, data: Mapping[str, Any], limit: Mapping[str, float], scope: str
) -> Index:
    """Return one index of a published set, with its limits; outside of its scope it says nothing."""
    low, high = limit.get("low", -np.inf), limit.get("high", np.inf)
    preferable = limit.get("preferable", np.nan)
    known = not scope and bool(np.isfinite(values.flat[0]))
    return Index(
        criterion=label,
        family=family,
        value=number("interchange_index", values) if known else None,
        low=low,
        high=high,
        preferable=preferable,
        outcome=_outcome(float(values.flat[0]), low, high, preferable) if known else "says nothing",
        source=data["source"],
        status=data["status"],
    )


def _bulletin(present: Gas, gas: Gas, scope: str) -> Iterator[Index]:
    data = sources.table("interchange")["bulletin_36"]
    found = bulletin_36_indices(present.drawn, gas.drawn)
    words = {"lifting": "Lifting", "flashback": "Flashback", "yellow_tip": "Yellow tips"}
    for name, label in words.items():
        values = np.asarray(getattr(found, name))
        yield _index("AGA Bulletin 36", label, values, data, data["limits"][name], scope)


def _weaver(present: Gas, gas: Gas, scope: str) -> Iterator[Index]:
    data = sources.table("interchange")["weaver"]
    found = weaver_indices(present.drawn, gas.drawn)
    words = {
        "heat": "Heat rate",
        "primary_air": "Primary air",
        "lifting": "Lifting",
        "flashback": "Flashback",
        "yellow_tip": "Yellow tips",
        "incomplete": "Incomplete combustion",
    }
    for name, label in words.items():
        values = np.asarray(getattr(found, name))
        yield _index("Weaver (1951)", label, values, data, data["limits"][name], scope)
