"""Interchangeability of fuel gases: groups by Wobbe index, and the published indices of lifting, flashback, soot.

The indices are empirical. They rest on appliances of their day, adjusted to a natural gas and then supplied with a
gas near it; where the substitute is far from that, they say nothing and `interchange_scope` says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fluewright import sources
from fluewright.combustion.blocks import Values, plain
from fluewright.combustion.fuels import Fuel, reference_conditions
from fluewright.units import Array, convert

__all__ = [
    "BulletinIndices",
    "WeaverIndices",
    "bulletin_36_indices",
    "gas_groups",
    "interchange_scope",
    "weaver_flame_speed",
    "weaver_indices",
]

_US = "US 60 °F, 14.696 psia"
_INERT = ("N2", "CO2", "Ar", "H2O")
_PERCENT = 100.0
_LEAST = 1e-9  # mole fraction; below it a part is rounding


@dataclass(frozen=True, slots=True, kw_only=True)
class BulletinIndices:
    """Indices of AGA Bulletin 36 [-]: one (flashback: about one) where nothing changes.

    ``lifting`` and ``flashback`` grow with the tendency, ``yellow_tip`` falls with it.
    """

    lifting: Values
    flashback: Values
    yellow_tip: Values


@dataclass(frozen=True, slots=True, kw_only=True)
class WeaverIndices:
    """Weaver's indices [-]: ``heat``, ``primary_air`` and ``lifting`` one, the others zero where nothing changes.

    Flames lift as ``lifting`` falls; flashback, yellow tips and incomplete combustion come as theirs grow.
    """

    heat: Values
    primary_air: Values
    lifting: Values
    flashback: Values
    yellow_tip: Values
    incomplete: Values


def gas_groups(fuel: Fuel) -> tuple[str, ...]:
    """Return the groups of EN 437 that the gross Wobbe index of a gas lies in; none is an empty tuple.

    A gas with more hydrogen than the standard's limit gas for light-back belongs to none, whatever its index.

    Examples
    --------
    >>> from fluewright.combustion import fuel
    >>> gas_groups(fuel("G20"))
    ('second family, group E', 'second family, group H')
    """
    data = sources.table("interchange")["en_437"]
    wobbe = convert(fuel.wobbe_gross, "J/m^3", data["unit"])
    if float(fuel.composition.get("H2", 0.0)) > data["hydrogen_high"] + _LEAST:
        return ()
    half = data["rounding"]
    return tuple(name for name, (low, high) in data["groups"].items() if low - half <= wobbe <= high + half)


def interchange_scope(adjustment: Fuel, substitute: Fuel) -> str:
    """Return why the indices say nothing of a substitute gas, in words; empty where they may be used.

    Both gases are single ones, not arrays.
    """
    scope = sources.table("interchange")["scope"]
    ratio = float(substitute.wobbe_gross / adjustment.wobbe_gross)
    hydrogen = float(substitute.composition.get("H2", 0.0))
    if adjustment.kind != "natural gas" and float(adjustment.composition.get("CH4", 0.0)) < 0.5:
        return f"the appliance is set for {adjustment.name}; the indices are for appliances set for a natural gas"
    if not scope["wobbe_ratio_low"] <= ratio <= scope["wobbe_ratio_high"]:
        return f"the Wobbe index is {100 * ratio:.0f} % of that of the gas set for; the indices are for gases near it"
    if hydrogen > scope["hydrogen_high"]:
        most = f"{100 * scope['hydrogen_high']:.0f} %"
        return f"the gas holds {100 * hydrogen:.0f} % hydrogen; the indices are shown up to {most}"
    unknown = [name for name, part in substitute.composition.items() if part > 1e-3 and name not in _known()]
    return f"the indices have no factors for {', '.join(unknown)}" if unknown else ""


def bulletin_36_indices(adjustment: Fuel, substitute: Fuel) -> BulletinIndices:
    """Return the indices of AGA Bulletin 36 for a substitute gas on appliances set for the adjustment gas.

    Parameters
    ----------
    adjustment, substitute : Fuel
        The gas the appliances were set for, and the one now supplied; compositions may hold arrays.

    Returns
    -------
    BulletinIndices

    Notes
    -----
    With f the primary-air factor ``√d / h``, a the air per heat, K the lifting constant and Y the yellow-tip
    constant: ``I_L = K_a / ((f_a a_s)/(f_s a_a) (K_s − log10(f_a/f_s)))``,
    ``I_F = (K_s f_s)/(K_a f_a) √(h_s/1000)`` with h in Btu/ft³, ``I_Y = (f_s a_a)/(f_a a_s) Y_a/Y_s``.
    Formulas and constants are values from memory.

    References
    ----------
    American Gas Association Research Bulletin 36, Interchangeability of other fuel gases with natural gases.
    """
    was, now = _bulletin(adjustment), _bulletin(substitute)
    air = was["f"] * now["a"] / (now["f"] * was["a"])
    with np.errstate(divide="ignore", invalid="ignore"):
        return BulletinIndices(
            lifting=plain(was["K"] / (air * (now["K"] - np.log10(was["f"] / now["f"])))),
            flashback=plain(now["K"] * now["f"] / (was["K"] * was["f"]) * np.sqrt(now["h"] / 1000.0)),
            yellow_tip=plain(was["Y"] / (now["Y"] * air)),
        )


def weaver_flame_speed(fuel: Fuel) -> Values:
    """Return Weaver's flame-speed factor: a maximum flame speed in percent of that of hydrogen [-].

    Examples
    --------
    >>> from fluewright.combustion import fuel
    >>> round(weaver_flame_speed(fuel("hydrogen"))), round(weaver_flame_speed(fuel("methane")))
    (100, 14)
    """
    data = sources.table("interchange")["weaver"]
    formula = data["speed_formula"]
    oxygen, inert = _part(fuel, "O2"), sum(_part(fuel, name) for name in _INERT)
    air = np.asarray(fuel.stoichiometric_air)
    below = air + formula["inert"] * inert - formula["oxygen"] * oxygen + formula["constant"]
    return plain(_weighted(fuel, data["speed"]) / below)


def weaver_indices(adjustment: Fuel, substitute: Fuel) -> WeaverIndices:
    """Return Weaver's indices for a substitute gas on appliances set for the adjustment gas.

    Parameters
    ----------
    adjustment, substitute : Fuel
        The gas the appliances were set for, and the one now supplied; compositions may hold arrays.

    Returns
    -------
    WeaverIndices

    Notes
    -----
    With H the gross heating value by volume, D the relative density, A the air by volume, S the flame-speed factor, Q
    the oxygen in percent, N the carbon atoms that soot is made of per 100 molecules, and R the hydrogen to carbon
    atoms of the hydrocarbons: ``J_H = H_s/H_a √(D_a/D_s)``, ``J_A = A_s/A_a √(D_a/D_s)``,
    ``J_L = J_A S_s/S_a (100 − Q_s)/(100 − Q_a)``, ``J_F = S_s/S_a − 1.4 J_A + 0.4``,
    ``J_Y = J_A + (N_s − N_a)/110 − 1``, ``J_I = J_A − 0.366 R_s/R_a − 0.634``. The six are values from memory.

    References
    ----------
    E. R. Weaver, J. Res. Natl. Bur. Stand. 46 (1951) 213, Research Paper 2193.
    """
    data = sources.table("interchange")["weaver"]
    formula = data["formula"]
    root = np.sqrt(np.asarray(adjustment.relative_density) / np.asarray(substitute.relative_density))
    heat = np.asarray(substitute.wobbe_gross) / np.asarray(adjustment.wobbe_gross)
    air = np.asarray(substitute.stoichiometric_air) / np.asarray(adjustment.stoichiometric_air) * root
    speed = np.asarray(weaver_flame_speed(substitute)) / weaver_flame_speed(adjustment)
    oxygen = (1 - _part(substitute, "O2")) / (1 - _part(adjustment, "O2"))
    soot = _PERCENT * (
        _weighted(substitute, data["soot_carbon"]) - _weighted(adjustment, data["soot_carbon"])
    )
    bonds = _hydrogen_to_carbon(substitute) / _hydrogen_to_carbon(adjustment)
    return WeaverIndices(
        heat=plain(heat),
        primary_air=plain(air),
        lifting=plain(air * speed * oxygen),
        flashback=plain(speed - formula["flashback_air"] * air + formula["flashback_constant"]),
        yellow_tip=plain(air + soot / formula["yellow_carbon"] - 1),
        incomplete=plain(air - formula["incomplete_ratio"] * bonds - formula["incomplete_constant"]),
    )


# ---------------------------------------------------------------------------- common


def _part(fuel: Fuel, name: str) -> Array:
    return np.asarray(fuel.composition.get(name, 0.0), dtype=np.float64)


def _weighted(fuel: Fuel, factors: Mapping[str, float]) -> Array:
    return np.asarray(sum(factor * _part(fuel, name) for name, factor in factors.items()))


def _known() -> frozenset[str]:
    data = sources.table("interchange")
    return frozenset(data["bulletin_36"]["lifting"]) & (
        frozenset(data["weaver"]["speed"]) | {"N2", "CO2", "O2"}
    )


def _hydrogen_to_carbon(fuel: Fuel) -> Array:
    """Return the hydrogen to carbon atoms of the hydrocarbons; NaN where there are none."""
    atoms = {name: sources.table("species")["component"][name]["atoms"] for name in fuel.composition}
    carbons = {name: found["C"] for name, found in atoms.items() if found.get("C") and found.get("H")}
    hydrogens = {name: atoms[name]["H"] for name in carbons}
    with np.errstate(divide="ignore", invalid="ignore"):
        return _weighted(fuel, hydrogens) / _weighted(fuel, carbons)


def _bulletin(fuel: Fuel) -> Mapping[str, Any]:
    """Return what Bulletin 36 takes of a gas: heating value h [Btu/ft³], f, a, K, Y."""
    data = sources.table("interchange")["bulletin_36"]
    inert = data["yellow_inert"]
    heat = convert(
        np.asarray(fuel.properties(reference_conditions(_US)).gross_heating_value), "J/m^3", "Btu/ft^3"
    )
    density, air = np.asarray(fuel.relative_density), np.asarray(fuel.stoichiometric_air)
    idle = inert["inert"] * sum(_part(fuel, name) for name in _INERT) - inert["oxygen"] * _part(fuel, "O2")
    return {
        "h": heat,
        "f": np.sqrt(density) / heat,
        "a": air / heat,
        "K": _weighted(fuel, data["lifting"]) / density,
        "Y": _weighted(fuel, data["yellow"]) / (air + idle),
    }
