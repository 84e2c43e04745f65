"""The balance of a test point: its readings bound by what they must agree in, reconciled, and which do not fit."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from fluewright import sources
from fluewright.appliance import COVERAGE, Fit, Number, Reconciliation, reconcile
from fluewright.combustion import Fuel
from fluewright.studies import numbers as core
from fluewright.units import Array

# Each condition: its words, and the two results whose ratio must be one, or the one result that must be zero.
Condition: TypeAlias = tuple[str, tuple[str, ...]]
CONDITIONS: tuple[Condition, ...] = (
    ("heat input by meter and by manifold pressure", ("heat_input_manifold", "heat_input_clocked")),
    ("heat delivered, and heat input less losses", ("heat_output", "heat_output_by_losses")),
    ("carbon dioxide measured, and by oxygen", ("carbon_dioxide_difference",)),
)
# Inputs that are no readings: they blur the conditions and are never suspected.
MODEL = frozenset({"stray_heat", "discharge_coefficient"})
CORRECTED = (
    "heat_input_clocked",
    "heat_input_manifold",
    "heat_output",
    "efficiency_gross",
    "efficiency_thermal_gross",
)
_HARDLY_ANY = 1e-3  # of what was read: readings that contradict one another by far may not end below zero
_FUEL_DRAWS = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectedReading:
    """A reading as measured and as the balance corrects it, with 95 % intervals, and the error that would be found.

    `measured` and `corrected` are None for what has no quantity of its own, such as a stopwatch. `test` is the
    correction over its standard deviation; `detectable` the gross error found with 90 % probability, and
    `detectable_share` the same as a share of the reading.
    """

    label: str
    measured: Number | None
    corrected: Number | None
    test: float
    detectable: float
    detectable_share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """What the redundancy of a test point's readings says.

    `closure` is heat delivered less heat input and losses account for, as a share of the input. `readings` are those
    that something checks; `unchecked` are the labels of those that nothing does. `alike` are sets of readings that the
    redundancy cannot tell apart; `suspects` the labels of those of which one error may be the cause.
    """

    conditions: tuple[str, ...]
    fit: Fit
    chi_square: Number
    degrees_of_freedom: int
    quality_limit: float
    alpha_limit: float
    closure: Number | None
    readings: tuple[CorrectedReading, ...]
    results: Mapping[str, tuple[Number, Number]]
    unchecked: tuple[str, ...]
    alike: tuple[tuple[str, ...], ...]
    suspects: tuple[str, ...]
    explained: bool


def _differences(found: Mapping[str, Array], named: Iterable[Condition], rows: int) -> Array:
    columns = []
    for _, names in named:
        first, *other = (np.broadcast_to(np.ravel(found[name]), (rows,)) for name in names)
        columns.append(np.log(first / other[0]) if other else first)
    return np.stack(columns, axis=-1)


def _interval(quantity: str, value: float, deviation: float, basis: str) -> Number:
    half = COVERAGE * deviation
    return Number(
        quantity=quantity,
        value=float(value),
        low=float(value - half),
        high=float(value + half),
        origin="computed",
        basis=basis,
    )


def balance(
    fuel: Fuel, fuel_draws: Fuel, inputs: Iterable[core.Input], settings: core.Settings
) -> Balance | None:
    """Return the balance of a test point, or None where nothing is redundant.

    Parameters
    ----------
    fuel, fuel_draws : Fuel
        The fuel, and with drawn compositions.
    inputs : iterable of Input
        As the chain of formulas takes them.
    settings : Settings
        The same.

    Notes
    -----
    Inputs of one group share an error (a reading that stands in for another), so they are one reading here. Readings
    are taken as independent of one another, with the variance of their draws; what they share, the conditions see
    through the chain: a heating value moves the input by the meter and by the manifold alike.
    """
    given = tuple(inputs)
    central = {one.name: one.central for one in given}
    base = core.chain(fuel, _rows(central, 1), settings)
    held = {**base, **_rows(central, 1)}
    named = tuple(
        part
        for part in CONDITIONS
        if held.keys() >= set(part[1]) and all(np.isfinite(held[name]).all() for name in part[1])
    )
    if not named:
        return None
    groups = _groups(given)

    def chain(rows: Array) -> Mapping[str, Array]:
        moved = {
            one.name: np.maximum(one.central + rows[:, number], _least(one))
            for number, members in enumerate(groups.values())
            for one in members
        }
        fixed = {name: np.array([value]) for name, value in central.items() if name not in moved}
        return {**(readings := {**fixed, **moved}), **core.chain(fuel, readings, settings)}

    deviation = np.array([float(np.std(members[0].draws)) for members in groups.values()])
    found = reconcile(
        tuple(groups),
        measured=np.zeros(len(groups)),
        covariance=np.diag(deviation**2),
        conditions=lambda rows: _differences(chain(rows), named, len(rows)),
        greatest_error=np.array([_believable(members[0]) for members in groups.values()]),
        condition_covariance=_blur(fuel_draws, given, settings, named),
    )
    return _made(found, groups, named, chain)


def _rows(values: Mapping[str, float], count: int) -> dict[str, Array]:
    return {name: np.full(count, value) for name, value in values.items()}


def _groups(given: Iterable[core.Input]) -> dict[str, list[core.Input]]:
    """Return the readings that are suspected, by group: those with an uncertainty of their own."""
    groups: dict[str, list[core.Input]] = {}
    for one in given:
        if np.ptp(one.draws) > 0 and one.name not in MODEL:
            groups.setdefault(one.group, []).append(one)
    return groups


def _least(one: core.Input) -> float:
    """Return the least an input can be [SI]: what was read above zero does not end at zero or below it."""
    known = sources.quantities().get(one.name)
    floor = -math.inf if known is None else known.floor
    return max(floor, _HARDLY_ANY * one.central) if one.central > 0 else floor


def _believable(one: core.Input) -> float:
    """Return the greatest error [SI] that is believed of a reading."""
    known = sources.quantities().get(one.name)
    shares = sources.table("appliance")["believable"]
    if known is not None and known.unit == "K":
        return float(shares["temperature"])
    return max(float(shares.get(one.name, shares["other"])) * abs(one.central), 1e-12)


def _blur(
    fuel_draws: Fuel,
    given: Iterable[core.Input],
    settings: core.Settings,
    named: tuple[Condition, ...],
) -> Array:
    """Return the covariance of the conditions by what is no reading: the fuel's composition, stray heat."""
    count = min(_FUEL_DRAWS, core.DRAWS)
    inputs = {one.name: one.draws[:count] if one.name in MODEL else np.array([one.central]) for one in given}
    rows = _differences(
        {**inputs, **core.chain(core.first_of(fuel_draws, count), inputs, settings)}, named, count
    )
    return np.atleast_2d(np.cov(rows[np.isfinite(rows).all(axis=1)], rowvar=False))


def _made(
    found: Reconciliation,
    groups: Mapping[str, list[core.Input]],
    named: tuple[Condition, ...],
    chain: Callable[[Array], Mapping[str, Array]],
) -> Balance:
    names = tuple(groups)
    before, after = (found.standard_deviation(corrected=corrected) for corrected in (False, True))
    readings = []
    for number, (label, members) in enumerate(groups.items()):
        if label in found.unchecked:
            continue
        first = members[0]
        known = first.name in sources.quantities()
        readings.append(
            CorrectedReading(
                label=label,
                measured=_interval(first.name, first.central, before[number], "as measured")
                if known
                else None,
                corrected=_interval(
                    first.name, first.central + found.corrected[number], after[number], "as reconciled"
                )
                if known
                else None,
                test=float(found.test[number]),
                detectable=float(found.detectable[number]),
                detectable_share=float(found.detectable[number] / abs(first.central))
                if first.central
                else np.inf,
            )
        )
    conditions = tuple(part[0] for part in named)
    closure = None
    if CONDITIONS[1][0] in conditions:
        where = conditions.index(CONDITIONS[1][0])
        closure = _interval(
            "balance_closure",
            float(np.expm1(found.contradictions[where])),
            float(np.sqrt(found.contradiction_covariance[where, where])),
            "heat delivered against heat input less losses",
        )
    return Balance(
        conditions=conditions,
        fit=found.fit,
        chi_square=Number(
            quantity="balance_chi_square",
            value=found.chi_square,
            origin="computed",
            basis=f"{found.degrees_of_freedom} conditions; VDI 2048 allows {found.quality_limit:.2f} (95 %)",
        ),
        degrees_of_freedom=found.degrees_of_freedom,
        quality_limit=found.quality_limit,
        alpha_limit=found.alpha_limit,
        closure=closure,
        readings=tuple(readings),
        results=_corrected_results(found, chain, len(names)),
        unchecked=tuple(label for label in found.unchecked if groups[label][0].name in sources.quantities()),
        alike=tuple(one for one in found.alike if len(one) > 1),
        suspects=found.suspects,
        explained=found.explained,
    )


def _corrected_results(
    found: Reconciliation, chain: Callable[[Array], Mapping[str, Array]], count: int
) -> Mapping[str, tuple[Number, Number]]:
    """Return results as measured and as they follow from the corrected readings, by linear propagation."""
    deviation = found.standard_deviation(corrected=False)
    step = 0.1 * deviation  # the chain is smooth over a standard deviation
    results: dict[str, tuple[Number, ...]] = {}
    for at, covariance, basis in (
        (found.measured, found.covariance, "as measured"),
        (found.corrected, found.corrected_covariance, "as reconciled"),
    ):
        rows = chain(np.concatenate([at[np.newaxis, :], at + np.diag(step), at - np.diag(step)]))
        for name in CORRECTED:
            if name not in rows:
                continue
            values = np.broadcast_to(np.ravel(rows[name]), (2 * count + 1,))
            slope = (values[1 : count + 1] - values[count + 1 :]) / (2 * step)
            spread = float(np.sqrt(np.maximum(slope @ covariance @ slope, 0.0)))
            results[name] = (*results.get(name, ()), _interval(name, float(values[0]), spread, basis))
    return {name: (pair[0], pair[1]) for name, pair in results.items() if len(pair) == 2}
