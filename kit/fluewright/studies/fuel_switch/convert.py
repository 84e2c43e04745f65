"""What must change: orifices, pressures, primary air, piping, air for combustion. To check a listed kit by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from fluewright import sources, units
from fluewright.appliance import Number
from fluewright.appliance.orifice import (
    Drill,
    drill,
    nearest_drill,
    orifice_diameter,
    orifice_heat_input,
    orifice_pressure_drop,
)
from fluewright.errors import InputError
from fluewright.studies.fuel_switch.givens import Gas, Givens, number
from fluewright.units import Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A drill near the size wanted, and the heat input it gives at the manifold pressure to be set."""

    drill: Drill
    heat_input: Number
    relative: Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """One way to bring combustion air to the room: its rule in words, and the free area of each opening."""

    words: str
    area: Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Conversion:
    """The numbers of a conversion to one fuel, at the rated heat input of the site."""

    numbers: Mapping[str, Number]
    present_size: Drill | None
    sizes: tuple[Size, ...]
    supply: tuple[str, ...]
    supply_source: str
    gas_kind: str


def conversion(present: Gas, gas: Gas, givens: Givens) -> Conversion:
    """Return what the appliance needs to burn a fuel at the heat input it has on the present one.

    Where the present orifice is known, the new one follows from it and the discharge coefficient cancels; where
    not, it follows from heat input, count and an assumed coefficient, and its interval is wider.
    """
    asked = givens.request.appliance
    known = drill(asked.orifice) if asked.orifice is not None else None
    share = _area_share(present, gas, givens)
    numbers = {
        "orifice_area_relative": number("orifice_area_relative", share, basis="same heat input"),
        **_piping(present, gas, givens),
    }
    # A ratio controller meters the gas by the pressure drop of the air: no pressure is set.
    if givens.burner != "ratio-controlled":
        same = present.manifold_pressure * _wobbe_share(present, gas) ** 2
        numbers["manifold_pressure"] = number(
            "manifold_pressure", gas.manifold_pressure, origin=gas.manifold_origin
        )
        numbers["manifold_pressure_same_orifice"] = number(
            "manifold_pressure", same, basis="what the present orifice would need for the present heat input"
        )
    sizes: tuple[Size, ...] = ()
    if known is not None or asked.orifices is not None:
        was, wanted = _diameters(present, gas, givens, known, share)
        numbers["orifice_diameter_present"] = number("orifice_diameter", was)
        numbers["orifice_diameter"] = number("orifice_diameter", wanted)
        sizes = tuple(_size(kind, gas, givens, wanted) for kind in ("number", "metric"))
    if givens.burner == "atmospheric":
        numbers["primary_air_relative"] = number(
            "primary_air_relative",
            primary_air_share(present, gas, givens, share),
            basis="jet that draws air by its momentum; same throat and ports",
        )
    pressures = sources.table("fuel_switch")["pressures"].get(gas.pressure_kind)
    return Conversion(
        numbers=numbers,
        present_size=known,
        sizes=sizes,
        supply=tuple(pressures["supply" if givens.system == "US" else "supply_si"]) if pressures else (),
        supply_source=f"{pressures['source']} ({pressures['status']})" if pressures else "",
        gas_kind=gas.pressure_kind,
    )


def _wobbe_share(present: Gas, gas: Gas) -> Array:
    """Return the present Wobbe index over that of the fuel."""
    return np.asarray(present.drawn.wobbe_gross / gas.drawn.wobbe_gross)


def _area_share(present: Gas, gas: Gas, givens: Givens) -> Array:
    """Return the orifice area that a fuel needs over the present one, from the flow through each."""
    areas = [
        orifice_diameter(
            one.drawn,
            heat_input=givens.heat_input,
            pressure_drop=one.manifold_pressure,
            coefficient=1.0,
            barometric_pressure=givens.pressure,
        )
        ** 2
        for one in (present, gas)
    ]
    return np.asarray(areas[1] / areas[0])


def _diameters(
    present: Gas, gas: Gas, givens: Givens, known: Drill | None, share: Array
) -> tuple[Array, Array]:
    if known is not None:
        was = np.full(share.shape, known.diameter)
        return was, was * np.sqrt(share)
    count = givens.request.appliance.orifices
    both = [
        orifice_diameter(
            one.drawn,
            heat_input=givens.heat_input,
            pressure_drop=one.manifold_pressure,
            count=count,
            coefficient=givens.discharge_coefficient,
            barometric_pressure=givens.pressure,
        )
        for one in (present, gas)
    ]
    return both[0], both[1]


def _size(kind: Any, gas: Gas, givens: Givens, wanted: Array) -> Size:
    found = nearest_drill(float(wanted[0]), series=kind)
    relative = (found.diameter / wanted) ** 2
    return Size(
        drill=found,
        heat_input=number(
            "heat_input_rated", givens.heat_input * relative, basis="gross; at the pressure to be set"
        ),
        relative=number("heat_input_relative", relative, basis="against the heat input wanted"),
    )


def implied_coefficient(present: Gas, givens: Givens) -> float | None:
    """Return the discharge coefficient that the present orifices have if they pass the heat input, or None."""
    asked = givens.request.appliance
    if asked.orifice is None or asked.orifices is None:
        return None
    passed = orifice_heat_input(
        present.fuel,
        diameter=drill(asked.orifice).diameter,
        pressure_drop=float(present.manifold_pressure[0]),
        count=asked.orifices,
        coefficient=1.0,
        barometric_pressure=float(givens.pressure[0]),
    )
    return float(givens.heat_input / passed)


def check_orifices(present: Gas, givens: Givens) -> None:
    """Refuse orifices that cannot pass the heat input.

    Raises
    ------
    InputError
        The orifices as entered would need a discharge coefficient that no hole has.
    """
    implied = implied_coefficient(present, givens)
    if implied is None or 0.6 <= implied <= 1.0:
        return
    asked = givens.request.appliance
    needed = orifice_pressure_drop(
        present.fuel,
        heat_input=givens.heat_input,
        diameter=drill(asked.orifice or "").diameter,
        count=asked.orifices or 1,
        barometric_pressure=float(givens.pressure[0]),
    )
    raise InputError(
        f"{asked.orifices} orifices {asked.orifice} at {float(present.manifold_pressure[0]):.0f} Pa pass "
        f"the heat input of {givens.heat_input / 1e3:.2f} kW of {present.name} only with a discharge "
        f"coefficient of {implied:.2f}; a drilled hole has 0.8 to 0.95 (they would need {float(needed):.0f} "
        "Pa). Check size, count, pressure, fuel and rating."
    )


def _piping(present: Gas, gas: Gas, givens: Givens) -> Mapping[str, Number]:
    """Return gas flows and, in the same pipe, the pressure drop: as density times the square of the flow."""
    flows = [
        givens.heat_input
        / np.asarray(one.drawn.gross_heating_value_molar)
        * np.asarray(givens.drawn_properties(one).molar_volume)
        for one in (present, gas)
    ]
    densities = [np.asarray(one.drawn.relative_density) for one in (present, gas)]
    drop = densities[1] / densities[0] * (flows[1] / flows[0]) ** 2
    basis = givens.reference.name
    return {
        "gas_volume_flow_present": number("gas_volume_flow", flows[0], basis=basis),
        "gas_volume_flow": number("gas_volume_flow", flows[1], basis=basis),
        "pipe_pressure_drop_relative": number(
            "pipe_pressure_drop_relative", drop, basis="turbulent flow, friction factor the same"
        ),
    }


def primary_air_share(present: Gas, gas: Gas, givens: Givens, area_share: Array) -> Array:
    """Return the primary aeration of an atmospheric burner with a fuel, over that with the present one.

    The momentum of the jet is that of the mixture in the throat: with R the air drawn by volume, d the relative
    density and A the area of the orifice, ``(d + R)(1 + R) = d G / A``, in which G belongs to the burner.
    """
    was, now = (np.asarray(one.drawn.relative_density) for one in (present, gas))
    need_was, need_now = (np.asarray(one.drawn.stoichiometric_air) for one in (present, gas))
    drawn = givens.primary_aeration * need_was
    burner = (was + drawn) * (1 + drawn) / was
    product = now * burner / area_share
    half = (1 + now) / 2
    air = np.sqrt(half**2 - now + product) - half
    return np.asarray(air / need_now / givens.primary_aeration)


def openings(givens: Givens) -> tuple[tuple[Opening, ...], Number, str]:
    """Return the ways to bring in combustion air, the room that needs none, and the source of the rules."""
    data = sources.table("fuel_switch")["openings"]
    ways = []
    for rule in data["rules"].values():
        area = _per_input(rule["per_input"], "m^2") * givens.rated_input
        if "least" in rule:
            area = max(area, units.parse(rule["least"], "m^2", "area"))
        ways.append(
            Opening(words=rule["words"], area=Number(quantity="opening_area", value=area, origin="computed"))
        )
    room = _per_input(data["room"]["per_input"], "m^3") * givens.rated_input
    return (
        tuple(ways),
        Number(quantity="room_volume", value=room, origin="computed"),
        f"{data['source']} ({data['status']})",
    )


def _per_input(text: str, unit: str) -> float:
    """Return an amount per heat input [unit per W], written as "1 inch^2/(4000 Btu/hour)"."""
    amount, _, per = text.partition("/(")
    return units.parse(amount, unit, "amount") / units.parse(per.removesuffix(")"), "W", "heat input")
