"""A year's savings by a change, formed within each draw from the efficiencies before and after it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fluewright import combustion
from fluewright.appliance import Number, annual_savings
from fluewright.combustion import Fuel
from fluewright.units import Array
from fluewright.visit import Visit

Evaluated = tuple[Mapping[str, float], Mapping[str, Array]]
_BY = ("efficiency_gross", "efficiency_thermal_gross")


@dataclass(frozen=True, slots=True, kw_only=True)
class YearlySavings:
    """What a change saves in a year, each with its 95 % interval, and by which efficiency it was reckoned."""

    by: str
    basis: str
    currency: str
    numbers: Mapping[str, Number]


def yearly_savings(visit: Visit, fuel: Fuel, before: Evaluated, after: Evaluated) -> YearlySavings | None:
    """Return a year's savings, or None where the visit gives no year's load or an efficiency is missing.

    By flue losses or by what reached the air or water, whichever tells the difference more closely.
    """
    stated = visit.plan.savings
    both = [name for name in _BY if name in before[1] and name in after[1]]
    if stated is None or not both:
        return None
    by = min(both, key=lambda name: float(np.nanstd(after[1][name] - before[1][name])))
    price = stated.price
    factor = float(combustion.carbon_dioxide_per_heat(fuel))

    def found(first: Array, second: Array) -> Mapping[str, Array]:
        year = annual_savings(
            first,
            second,
            annual_heat=stated.annual_heat,
            annual_fuel=stated.annual_fuel,
            fuel_price=None if price is None else price.amount / price.per,
            carbon_dioxide_factor=factor,
            cost_of_work=stated.cost_of_work,
        )
        parts = {
            "fuel_before": year.used,
            "fuel_after": year.used - year.fuel,
            "fuel_saved": year.fuel,
            "fuel_saved_share": year.share,
            "cost_saved": year.cost,
            "carbon_dioxide_saved": year.carbon_dioxide,
            "payback_time": year.payback,
        }
        return {name: part for name, part in parts.items() if part is not None}

    central = found(np.array([before[0][by]]), np.array([after[0][by]]))
    drawn = found(before[1][by], after[1][by])
    if not all(np.isfinite(central[name]).all() for name in ("fuel_saved", "fuel_saved_share")):
        return None
    return YearlySavings(
        by=by,
        basis=stated.source or "as entered",
        currency=price.currency if price is not None else "",
        numbers={name: _number(name, float(central[name][0]), drawn[name]) for name in central},
    )


def _number(name: str, value: float, draws: Array) -> Number:
    """Return a number of a year with its interval; a payback that never comes in some draws has no upper end."""
    if np.ptp(draws) == 0:  # fuel as the bills have it
        return Number(quantity=name, value=value, origin="entered", basis="as entered")
    low, high = np.quantile(draws[~np.isnan(draws)], (0.025, 0.975), method="inverted_cdf")
    return Number(
        quantity=name,
        value=value,
        low=float(low),
        high=float(high),
        origin="computed",
        basis="within each draw, heat delivered held the same",
    )
