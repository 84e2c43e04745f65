"""Laminar flame speed of a fuel in air: from flames computed once and kept as data, or from measured values.

The kept flames are Cantera's one-dimensional flames with the bundled methane mechanism, which is valid for
methane, natural gas, hydrogen and their blends. It is not for propane or butane (it computes propane's flame a
fifth too fast), so those get measured values instead. `computed_flame_speed` runs a flame anew, in seconds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluewright import sources
from fluewright.combustion.air import dry_air
from fluewright.combustion.blocks import Values, plain
from fluewright.combustion.fuels import Fuel
from fluewright.errors import InputError
from fluewright.units import Array, Number, si

__all__ = ["FlameSpeed", "computed_flame_speed", "laminar_flame_speed"]

_INERT = ("N2", "CO2", "Ar", "H2O")
_MECHANISM_AIR = {"Ar": "AR"}  # as the mechanism has it
_LEAST = 1e-9  # mole fraction; below it a part is rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class FlameSpeed:
    """Laminar flame speed [m/s] into fresh mixture at 25 °C and atmospheric pressure.

    ``low`` and ``high`` span what different laboratories measure. An element is NaN where there is neither a valid
    mechanism nor a measured value; where that is all of them, ``origin`` is empty and ``note`` says why.
    """

    value: Values
    low: Values
    high: Values
    origin: str  # "computed" or "measured", or empty
    source: str
    note: str


def laminar_flame_speed(fuel: Fuel, *, equivalence_ratio: Number = 1.0) -> FlameSpeed:
    """Return the laminar flame speed of a fuel in dry air.

    Air in the fuel counts as air. Hydrocarbons of a natural gas count as methane, which is right within 5 % up to
    a tenth of ethane.

    Parameters
    ----------
    fuel : Fuel
        Its composition may hold arrays, for a blend over a range.
    equivalence_ratio : float or array [-]
        Fuel to air, over the stoichiometric. Measured values are kept for 1 only.

    Returns
    -------
    FlameSpeed

    Raises
    ------
    InputError
        The equivalence ratio is outside of what was computed.

    Examples
    --------
    >>> from fluewright.combustion import blend, fuel
    >>> round(laminar_flame_speed(fuel("methane")).value, 2)
    0.38
    >>> laminar_flame_speed(fuel("propane")).origin
    'measured'
    """
    data = sources.table("flame_speed")
    ratio = si(equivalence_ratio, "1", "equivalence_ratio")
    low, high = data["grid"]["equivalence_ratio"][0], data["grid"]["equivalence_ratio"][-1]
    if not np.all((ratio >= low) & (ratio <= high)):
        raise InputError(
            f"equivalence_ratio is {ratio}; flame speeds are kept from {low} to {high}. Ask within, or run a flame "
            "with computed_flame_speed."
        )
    parts = _without_air(fuel)
    for name, entry in data["measured"].items():
        if _is_mostly(parts, entry["components"], data["scope"]["measured_share_low"]):
            return _measured(name, entry, ratio)
    inside = _in_scope(parts, data["scope"])
    if not np.any(inside):
        nothing = plain(np.full(np.broadcast(ratio, inside).shape, np.nan))
        note = f"none is known here: {data['scope']['reason']}"
        return FlameSpeed(value=nothing, low=nothing, high=nothing, origin="", source="", note=note)
    speed = np.where(inside, _interpolated(parts, ratio, data), np.nan)
    spread = data["spread"]["value"]
    return FlameSpeed(
        value=plain(speed),
        low=plain(speed * (1 - spread)),
        high=plain(speed * (1 + spread)),
        origin="computed",
        source=data["grid"]["source"],
        note=f"± {100 * spread:.0f} %, {data['spread']['source']}",
    )


def computed_flame_speed(
    fuel: Fuel,
    *,
    equivalence_ratio: float = 1.0,
    temperature: float = 298.15,
    pressure: float = 101325.0,
) -> float:
    """Return the laminar flame speed by Cantera's freely propagating flame [m/s]; takes seconds.

    Mixture-averaged transport, no thermal diffusion, no radiation. This is how the kept flames were made.

    Parameters
    ----------
    fuel : Fuel
        Methane, natural gas, hydrogen or a blend of these, with inert gas or not.
    equivalence_ratio : float [-]
        Fuel to air, over the stoichiometric.
    temperature, pressure : float [K, Pa]
        Of the fresh mixture.

    Returns
    -------
    float

    Raises
    ------
    InputError
        The mechanism is not for this fuel, or the flame did not settle.
    """
    data = sources.table("flame_speed")
    if not np.all(_in_scope(_without_air(fuel), data["scope"])):
        raise InputError(
            f"no flame of {fuel.name} is computed: {data['scope']['reason']}. Use a measured value instead."
        )
    import cantera as ct

    settings = data["computing"]
    gas = ct.Solution(settings["mechanism"])
    known = set(gas.species_names)
    given = {name: float(part) for name, part in fuel.composition.items() if part > 0}
    # What the mechanism lacks is under two percent by the scope: counted as the propane it has.
    parts: dict[str, float] = {}
    for name, part in given.items():
        symbol = _MECHANISM_AIR.get(name, name) if _MECHANISM_AIR.get(name, name) in known else "C3H8"
        parts[symbol] = parts.get(symbol, 0.0) + part
    air = {_MECHANISM_AIR.get(name, name): part for name, part in dry_air().items()}
    gas.set_equivalence_ratio(equivalence_ratio, parts, air)
    gas.TP = temperature, pressure
    flame = ct.FreeFlame(gas, width=settings["width"])
    flame.transport_model = settings["transport"]
    flame.set_refine_criteria(**settings["refine"])
    try:
        flame.solve(loglevel=0, auto=True)
    except ct.CanteraError as error:
        raise InputError(
            f"the flame of {fuel.name} at {equivalence_ratio:g} did not settle: {error}"
        ) from error
    return float(flame.velocity[0])


# ---------------------------------------------------------------------------- what counts as what


def _without_air(fuel: Fuel) -> Mapping[str, Array]:
    """Return the fuel's parts by mole, air in it taken out and the rest scaled to one."""
    parts = {name: np.asarray(part, dtype=np.float64) for name, part in fuel.composition.items()}
    air = dry_air()
    oxygen = parts.pop("O2", np.asarray(0.0))
    parts["N2"] = np.maximum(parts.get("N2", np.asarray(0.0)) - oxygen * air["N2"] / air["O2"], 0.0)
    total = sum(parts.values())
    return {name: part / total for name, part in parts.items()}


def _burning(parts: Mapping[str, Array]) -> Array:
    return np.asarray(sum(part for name, part in parts.items() if name not in _INERT))


def _is_mostly(parts: Mapping[str, Array], components: list[str], least: float) -> bool:
    share = np.asarray(sum(parts.get(name, np.asarray(0.0)) for name in components)) / _burning(parts)
    return bool(np.all(share >= least) and np.all(_burning(parts) > 1 - 1e-2))


def _in_scope(parts: Mapping[str, Array], scope: Mapping[str, Any]) -> NDArray[np.bool_]:
    """Tell, row by row, whether the bundled methane mechanism stands for a fuel."""
    nothing = np.asarray(0.0)
    burning = np.maximum(_burning(parts), _LEAST)
    ethane = parts.get("C2H6", nothing) / burning
    core = sum(parts.get(name, nothing) for name in ("CH4", "H2", "C2H6")) / burning
    inside = (ethane <= scope["ethane_high"]) & (1 - core <= scope["heavier_high"])
    for name in _INERT:
        inside = inside & (parts.get(name, nothing) <= scope["inert_high"] + _LEAST)
    return np.asarray(inside)


def _measured(name: str, entry: Mapping[str, Any], ratio: Array) -> FlameSpeed:
    at_one = np.where(ratio == 1.0, 1.0, np.nan)
    return FlameSpeed(
        value=plain(entry["value"] * at_one),
        low=plain(entry["low"] * at_one),
        high=plain(entry["high"] * at_one),
        origin="measured",
        source=entry["source"],
        note=f"measured values of {name} at an equivalence ratio of 1; {entry['note']}",
    )


def _interpolated(parts: Mapping[str, Array], ratio: Array, data: Mapping[str, Any]) -> Array:
    """Return the kept flame speeds between their nodes: the logarithm is linear in hydrogen and in the ratio."""
    grid = data["grid"]
    hydrogen = parts.get("H2", np.asarray(0.0)) / np.maximum(_burning(parts), _LEAST)
    hydrogen, ratio = np.broadcast_arrays(hydrogen, ratio)
    logs = np.log(np.asarray(grid["speed"]))
    speed = np.exp(_bilinear(logs, grid["hydrogen"], grid["equivalence_ratio"], hydrogen, ratio))
    for name, kept in data["dilution"].items():
        share = np.clip(parts.get(name, np.asarray(0.0)), kept["share"][0], kept["share"][-1])
        share = np.broadcast_to(share, ratio.shape)
        near = np.clip(ratio, kept["equivalence_ratio"][0], kept["equivalence_ratio"][-1])
        speed = speed * _bilinear(
            np.asarray(kept["factor"]), kept["share"], kept["equivalence_ratio"], share, near
        )
    return np.asarray(speed)


def _bilinear(table: Array, rows: list[float], columns: list[float], row: Array, column: Array) -> Array:
    """Return `table` between its nodes; points lie within."""

    def place(nodes: list[float], at: Array) -> tuple[NDArray[np.intp], Array]:
        known = np.asarray(nodes)
        index = np.clip(np.searchsorted(known, at, side="right") - 1, 0, len(known) - 2)
        return index, (at - known[index]) / (known[index + 1] - known[index])

    (i, s), (j, t) = place(rows, row), place(columns, column)
    return np.asarray(
        (1 - s) * ((1 - t) * table[i, j] + t * table[i, j + 1])
        + s * ((1 - t) * table[i + 1, j] + t * table[i + 1, j + 1])
    )
