"""From the means of a test point to its results, each with an interval: one chain of formulas, run on draws.

Propagation of distributions after JCGM 101: each input is drawn from what is known of it, the same chain that gives
the central values is run on all draws at once, and the interval is read off the results. What the whole visit
shares (an instrument's error, the air's humidity, the fuel of the day) is drawn once for all test points.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fluewright import combustion
from fluewright.appliance import Number, heat_input_clocked
from fluewright.combustion import Fuel
from fluewright.steady import DILUTION
from fluewright.studies import heat_flows
from fluewright.studies.heat_flows import HeatSettings
from fluewright.units import Array

DRAWS = 20_000
CONTRIBUTION_DRAWS = 4_000
SEED = 20_260_114  # any fixed number: the same visit must give the same report

_BEYOND_AN_END = 0.025  # of the draws, of a probabilistically symmetric 95 % interval
_TRIED = 14  # draws that tell whether an input moves a result at all, besides the least and the greatest
_NOTHING = 1e-9  # share of the variance below which a contribution is rounding
FUEL_GROUP = "fuel composition"

UNBURNT = ("hydrogen_dry", "methane_dry", "nitric_oxide_dry")
HEAT = (
    "loss_dry_gas",
    "loss_water_latent",
    "loss_water_sensible",
    "loss_air_moisture",
    "loss_carbon_monoxide",
    "loss_unburnt",
    "loss_casing",
    "credit_air",
    "credit_fuel",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """One input of the chain: its central value, its draws [SI], and where it came from.

    `group` is the name under which its share of the uncertainty is listed.
    """

    name: str
    central: float
    draws: Array
    group: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """What one input adds to the uncertainty of one result: half-width [SI] alone, and share of the variance."""

    group: str
    half_width: float
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """What the chain needs besides readings.

    `base_pressure` [Pa] and `base_temperature` [K] are those of the dry gas that the heating value is per volume of.
    """

    condensing: bool
    subtract_ambient: bool
    stack_loss_fuel: str
    rated_input: float | None
    dial_volume: float | None = None
    compensated: bool = False
    base_pressure: float = math.nan
    base_temperature: float = math.nan
    heat: HeatSettings = field(default_factory=HeatSettings)


def chain(fuel: Fuel, inputs: Mapping[str, Array], settings: Settings) -> Mapping[str, Array]:
    """Return every result [SI] that `inputs` [SI, arrays] allow; what lacks its readings is left out."""
    results: dict[str, Array] = {}
    oxygen = next((name for name in DILUTION if name in inputs), None)
    if oxygen is not None:
        water = combustion.moist_air_water_fraction(
            inputs["relative_humidity"],
            temperature=inputs["humidity_temperature"],
            pressure=inputs["barometric_pressure"],
        )
        flue = combustion.flue_gas(
            fuel,
            **{oxygen: inputs[oxygen]},
            **{name: inputs[name] for name in ("carbon_monoxide_dry", *UNBURNT) if name in inputs},
            air_water_fraction=water,
            pressure=inputs["barometric_pressure"],
            sample_dew_point=inputs["sample_dew_point"],
        )
        results |= _flue_results(flue, with_monoxide="carbon_monoxide_dry" in inputs)
        results["air_water_fraction"] = water
        if oxygen != "carbon_dioxide_dry" and "carbon_dioxide_dry" in inputs:
            # Both of a cell of their own. The gas that the cell reads still holds some water.
            left = combustion.saturation_pressure(inputs["sample_dew_point"]) / inputs["barometric_pressure"]
            dried = inputs["carbon_dioxide_dry"] / (1 - left)
            results["carbon_dioxide_difference"] = dried - results["carbon_dioxide_dry_computed"]
        if settings.subtract_ambient and {"carbon_monoxide_dry", "carbon_monoxide_ambient"} <= inputs.keys():
            # A number beside the others: no limit is judged by it.
            cleared = replace(flue, ambient_carbon_monoxide=inputs["carbon_monoxide_ambient"])
            results["carbon_monoxide_air_free_less_ambient"] = cleared.carbon_monoxide_air_free
        if "flue_temperature" in inputs:
            results["dew_point_margin"] = inputs["flue_temperature"] - results["water_dew_point"]
            if "air_temperature" in inputs:
                results |= _loss_results(flue, inputs, settings)
    if {"supply_temperature", "return_temperature"} <= inputs.keys():
        results["temperature_rise"] = inputs["supply_temperature"] - inputs["return_temperature"]
    if settings.dial_volume is not None:
        results |= _firing_results(settings.dial_volume / inputs["clock_seconds"], inputs, settings)
    elif "gas_volume_flow" in inputs:
        results |= _firing_results(inputs["gas_volume_flow"], inputs, settings)
    return {**results, **heat_flows.heat_flows(fuel, inputs, results, settings.heat)}


def _flue_results(flue: combustion.FlueGas, *, with_monoxide: bool) -> Mapping[str, Array]:
    names = ["air_ratio", "equivalence_ratio", "excess_air", "excess_air_oxygen_rule", "water_dew_point"]
    if with_monoxide:
        names += ["carbon_monoxide_air_free", "carbon_monoxide_air_free_oxygen_rule"]
    found = {name: getattr(flue, name) for name in names}
    return found | {"carbon_dioxide_dry_computed": flue.carbon_dioxide_dry}


def _loss_results(
    flue: combustion.FlueGas, inputs: Mapping[str, Array], settings: Settings
) -> Mapping[str, Array]:
    losses = combustion.stack_losses(
        flue,
        flue_temperature=inputs["flue_temperature"],
        air_temperature=inputs["air_temperature"],
        condensing=settings.condensing,
        casing_loss=inputs["casing_loss"],
    )
    net = losses.net
    results = {name: getattr(losses, name.removeprefix("loss_")) for name in HEAT}
    results |= {f"{name}_net": getattr(net, name.removeprefix("loss_")) for name in HEAT}
    results |= {
        "efficiency_gross": losses.efficiency_gross,
        "efficiency_net": losses.efficiency_net,
        "condensed_fraction": losses.condensed_fraction,
    }
    if settings.stack_loss_fuel and not settings.condensing:
        results["loss_stack_european"] = combustion.stack_loss_european(
            flue.oxygen_dry,
            flue_temperature=inputs["flue_temperature"],
            air_temperature=inputs["air_temperature"],
            fuel_kind=settings.stack_loss_fuel,
        )
    return results


def _firing_results(flow: Array, inputs: Mapping[str, Array], settings: Settings) -> Mapping[str, Array]:
    heat = heat_input_clocked(
        flow * inputs["meter_factor"],
        seconds=1.0,
        heating_value=inputs["heating_value"],
        meter_pressure=inputs["meter_pressure"],
        meter_temperature=inputs["meter_temperature"],
        barometric_pressure=inputs["barometric_pressure"],
        base_pressure=settings.base_pressure,
        base_temperature=settings.base_temperature,
        compensated=settings.compensated,
    )
    results = {"heat_input_clocked": heat}
    if settings.rated_input:
        results["heat_input_ratio"] = heat / settings.rated_input
    return results


def evaluate(
    fuel: Fuel, fuel_draws: Fuel, inputs: Iterable[Input], settings: Settings
) -> tuple[Mapping[str, float], Mapping[str, Array]]:
    """Return the central value of every result, and its draws [SI]."""
    return next(evaluate_each(fuel, fuel_draws, [tuple(inputs)], settings, draws=DRAWS))


def evaluate_each(
    fuel: Fuel, fuel_draws: Fuel, inputs: Sequence[Iterable[Input]], settings: Settings, *, draws: int
) -> Iterator[tuple[Mapping[str, float], Mapping[str, Array]]]:
    """Yield, of several sets of the same inputs, what `evaluate` returns of each: the chain runs once.

    The first `draws` of every input count, so that what the sets share stays shared.
    """
    burned = Fuel(
        composition={
            name: np.append(fuel.composition[name], np.broadcast_to(share, (DRAWS,))[:draws])
            for name, share in fuel_draws.composition.items()
        },
        name=fuel.name,
    )
    found = chain(
        burned,
        {alike[0].name: _rows(alike, draws) for alike in zip(*inputs, strict=True)},
        settings,
    )
    shape = len(inputs), 1 + draws
    rows = {name: np.broadcast_to(np.asarray(value, float), shape) for name, value in found.items()}
    for number in range(len(inputs)):
        values = {name: float(value[number, 0]) for name, value in rows.items()}
        yield values, {name: value[number, 1:] for name, value in rows.items()}


def _rows(alike: Sequence[Input], draws: int) -> Array:
    """Return the central value and the draws of one input of each set as a row; one row where the sets share it."""
    own = alike[:1] if all(one is alike[0] for one in alike) else alike
    return np.stack([np.append(one.central, one.draws[:draws]) for one in own])


def interval(draws: Array) -> tuple[float, float]:
    """Return the probabilistically symmetric 95 % coverage interval of draws; NaN where its ends cannot be told.

    Draws that give no number, such as of a sample too dilute, lie beyond one of the ends: no more than an end leaves
    out may be without one, or the interval of the others would be too short.
    """
    found = np.sort(draws[np.isfinite(draws)])  # several times faster than to ask NumPy for quantiles
    if found.size < (1 - _BEYOND_AN_END) * draws.size:
        return float("nan"), float("nan")
    last = found.size - 1
    part, below = math.modf(_BEYOND_AN_END * last)
    places = (int(below), int(below) + 1, last - int(below) - 1, last - int(below))
    low, inward, outward, high = found.take(places, mode="clip").tolist()
    return low + part * (inward - low), high - part * (high - outward)


def contributions(
    fuel: Fuel, fuel_draws: Fuel, inputs: Iterable[Input], settings: Settings, *, of: Iterable[str]
) -> Mapping[str, tuple[Contribution, ...]]:
    """Return, for each result named in `of`, what each group of inputs adds alone, greatest first."""
    given, names = tuple(inputs), tuple(of)
    moved_by: dict[str, dict[str, Array]] = {name: {} for name in names}
    for group in (*_moving(fuel, given, settings, names), FUEL_GROUP):
        moved = {
            one.name: one.draws[:CONTRIBUTION_DRAWS] if one.group == group else np.array([one.central])
            for one in given
        }
        burned = first_of(fuel_draws, CONTRIBUTION_DRAWS) if group == FUEL_GROUP else fuel
        results = chain(burned, moved, settings)
        for name, found in moved_by.items():
            drawn = np.ravel(results.get(name, np.nan))
            if np.isfinite(drawn).sum() > 1:
                found[group] = drawn[np.isfinite(drawn)]
    return {name: _ranked(found) for name, found in moved_by.items()}


def _moving(fuel: Fuel, given: Sequence[Input], settings: Settings, names: Sequence[str]) -> Sequence[str]:
    """Return the groups of inputs that move any of some results: a few draws of each tell, all in one run."""
    groups = list(dict.fromkeys(one.group for one in given if np.ptp(one.draws) > 0))
    rows = {one.name: np.full((1 + len(groups), _TRIED + 2), one.central) for one in given}
    for one in given:
        if one.group in groups:
            tried = one.draws[:_TRIED]
            rows[one.name][1 + groups.index(one.group)] = [*tried, one.draws.min(), one.draws.max()]
    found = chain(fuel, {name: np.ravel(values) for name, values in rows.items()}, settings)
    moves = np.zeros(len(groups), bool)
    for name in set(names) & found.keys():
        value = np.broadcast_to(np.ravel(found[name]), rows[given[0].name].size).reshape(1 + len(groups), -1)
        moves |= (np.nan_to_num(value[1:]) != np.nan_to_num(value[0])).any(axis=1)
    return [group for group, any_moved in zip(groups, moves, strict=True) if any_moved]


def first_of(fuel_draws: Fuel, count: int) -> Fuel:
    """Return a drawn fuel with the first so many of its draws."""
    shares = fuel_draws.composition.items()
    return Fuel(
        composition={name: np.asarray(share)[:count] if np.ndim(share) else share for name, share in shares},
        name=fuel_draws.name,
    )


def _ranked(moved_by: Mapping[str, Array]) -> tuple[Contribution, ...]:
    """Return the contributions by their share of the variance; one that moves nothing is left out."""
    variances = {group: float(np.var(drawn)) for group, drawn in moved_by.items()}
    total = sum(variances.values()) or 1.0
    kept = sorted(
        (group for group in variances if variances[group] > _NOTHING * total), key=variances.__getitem__
    )
    return tuple(
        Contribution(
            group=group,
            half_width=float(np.subtract(*interval(moved_by[group])[::-1]) / 2),
            share=variances[group] / total,
        )
        for group in reversed(kept)
    )


_BASIS = {
    "excess_air": "carbon–oxygen balance on the fuel burned",
    "excess_air_oxygen_rule": "dry oxygen against 20.9 %",
    "air_ratio": "carbon–oxygen balance on the fuel burned",
    "equivalence_ratio": "carbon–oxygen balance on the fuel burned",
    "carbon_dioxide_dry_computed": "dry; carbon–oxygen balance",
    "carbon_dioxide_difference": "both in wholly dry gas; by carbon–oxygen balance on the fuel burned",
    "water_dew_point": "at the site's pressure, with the air's humidity",
    "dew_point_margin": "flue temperature less water dew point",
    "carbon_monoxide_air_free": "dry, air-free; carbon balance",
    "carbon_monoxide_air_free_oxygen_rule": "dry, air-free; oxygen rule",
    "carbon_monoxide_air_free_less_ambient": "dry, air-free; carbon balance; room air subtracted; judged by no limit",
    "efficiency_gross": "gross; flue losses only; heat above 25 °C",
    "efficiency_net": "net; flue losses only; heat above 25 °C",
    "condensed_fraction": "gas saturated at the flue temperature",
    "air_water_fraction": "moist air",
    "loss_stack_european": "net; dry oxygen against 21 %; not for condensing",
    "temperature_rise": "supply less return",
    "external_static_pressure": "supply less return, across the appliance",
    "heat_input_clocked": "gross; at the base of the heating value",
    "heat_input_ratio": "gross; against the nameplate, as reduced for altitude",
    **heat_flows.BASIS,
}


def _is_net(name: str) -> bool:
    return name.endswith("_net") and name.removesuffix("_net") in HEAT


def numbers(values: Mapping[str, float], draws: Mapping[str, Array]) -> Mapping[str, Number]:
    """Return every result as a number with its interval; a result that could not be formed is left out.

    So is one that too many draws could not form: its limits would be judged by an interval that is too short.
    """
    made: dict[str, Number] = {}
    for name, value in values.items():
        low, high = interval(draws[name])
        if not np.isfinite([value, low, high]).all():
            continue
        net = _is_net(name)
        made[name] = Number(
            quantity=name.removesuffix("_net") if net else name.removesuffix("_computed"),
            value=value,
            low=low,
            high=high,
            origin="computed",
            basis=_BASIS.get(name, "share of net heat input" if net else "share of gross heat input"),
        )
    return made


def differences(
    before: tuple[Mapping[str, float], Mapping[str, Array]],
    after: tuple[Mapping[str, float], Mapping[str, Array]],
) -> Mapping[str, Number]:
    """Return after less before of every result both have, formed within each draw: shared errors cancel."""
    made: dict[str, Number] = {}
    for name in before[0].keys() & after[0].keys():
        value = after[0][name] - before[0][name]
        low, high = interval(after[1][name] - before[1][name])
        if not np.isfinite([value, low, high]).all() or _is_net(name):
            continue
        made[name] = Number(
            quantity=name.removesuffix("_computed"),
            value=value,
            low=low,
            high=high,
            origin="computed",
            basis="difference, formed within each draw",
        )
    return dict(sorted(made.items()))
