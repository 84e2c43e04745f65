"""What a change saves in a year: fuel, cost and carbon dioxide, within each draw, never without a range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fluewright.errors import InputError
from fluewright.units import Array, Number, si


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Savings:
    """What changes in a year, draw by draw; negative where more is used.

    `used` [J, gross] is the fuel of a year before the change, of which `fuel` [J, gross] is saved; `cost` [currency]
    where a price is given, `carbon_dioxide` [kg] where a factor is given, `payback` [s], infinite in draws that save
    nothing, where price and cost of the work are given.
    """

    used: Array
    fuel: Array
    share: Array
    cost: Array | None
    carbon_dioxide: Array | None
    payback: Array | None


_YEAR = 365.2425 * 86400.0  # s, the Gregorian mean year


def annual_savings(
    efficiency_before: Number,
    efficiency_after: Number,
    *,
    annual_heat: Number | None = None,
    annual_fuel: Number | None = None,
    fuel_price: Number | None = None,
    carbon_dioxide_factor: Number | None = None,
    cost_of_work: Number | None = None,
) -> Savings:
    """Return what a change of efficiency saves in a year, with the heat delivered held the same.

    Parameters
    ----------
    efficiency_before, efficiency_after : number or array [-]
        Gross, of the same kind; draw by draw, so that errors they share cancel.
    annual_heat : number or array [J]
        Heat delivered in a year, or
    annual_fuel : number or array [J]
        fuel used in a year before the change, gross, as on the bills. One of the two.
    fuel_price : number or array [currency/J]
        Of the fuel, gross.
    carbon_dioxide_factor : number or array [kg/J]
        Per gross heat.
    cost_of_work : number or array [currency]
        What the change cost.

    Returns
    -------
    Savings

    Raises
    ------
    InputError
        Neither or both of heat and fuel are given, or an efficiency is not above zero.

    Notes
    -----
    A steady-state efficiency stands for the season's: standing and cycling losses are taken to change in proportion.
    """
    before, after = (
        si(efficiency_before, "1", "efficiency_before"),
        si(efficiency_after, "1", "efficiency_after"),
    )
    for name, values in (("efficiency_before", before), ("efficiency_after", after)):
        if not np.all((values > 0) | np.isnan(values)):
            raise InputError(f"{name} is not above zero; a saving cannot be formed")
    if (annual_heat is None) == (annual_fuel is None):
        raise InputError(
            "a saving needs the heat delivered in a year or the fuel used in a year, and not both"
        )
    share = 1 - before / after
    used = (
        si(annual_heat, "J", "annual_heat") / before
        if annual_fuel is None
        else si(annual_fuel, "J", "annual_fuel")
    )
    fuel = np.asarray(used * share)
    cost = None if fuel_price is None else fuel * si(fuel_price, "1/J", "fuel_price")
    factor = carbon_dioxide_factor
    carbon = None if factor is None else fuel * si(factor, "kg/J", "carbon_dioxide_factor")
    payback = None
    if cost is not None and cost_of_work is not None:
        spent = si(cost_of_work, "1", "cost_of_work")
        payback = np.divide(
            spent * _YEAR, cost, out=np.full(np.broadcast(spent, cost).shape, np.inf), where=cost > 0
        )
    return Savings(
        used=np.broadcast_to(used, fuel.shape),
        fuel=fuel,
        share=np.asarray(share),
        cost=cost,
        carbon_dioxide=carbon,
        payback=payback,
    )
