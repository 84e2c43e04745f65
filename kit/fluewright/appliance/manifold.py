"""Heat input by manifold pressure, and what the pressure and the clocked rate say of each other.

Only where a fixed orifice sets the gas flow. A ratio-controlled premix burner has no manifold pressure to judge: it is
judged by oxygen or carbon dioxide at its lowest and highest rate.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np

from fluewright import sources
from fluewright.errors import InputError
from fluewright.units import Array, Number, convert, si

Suspicion: TypeAlias = Literal["agree", "cannot tell", "more by clock", "less by clock"]


def heat_input_by_nameplate(
    rated_input: Number,
    *,
    manifold_pressure: Number,
    nameplate_pressure: Number,
    burner_box_pressure: Number = 0.0,
    nameplate_box_pressure: Number = 0.0,
    wobbe_ratio: Number = 1.0,
    state_ratio: Number = 1.0,
) -> Array:
    """Return the heat input that a manifold pressure makes, from the nameplate, by the square-root law.

    Takes for granted the orifices that the nameplate means; the interval of a result has to hold their tolerance.

    Parameters
    ----------
    rated_input : number or array [W]
        On the nameplate, gross.
    manifold_pressure, nameplate_pressure : number or array [Pa]
        Gauge pressure at the manifold: as read, and on the nameplate.
    burner_box_pressure, nameplate_box_pressure : number or array [Pa]
        Gauge pressure where the orifice discharges: as read, and as the maker's figure assumes.
    wobbe_ratio : number or array [-]
        Gross Wobbe index of the gas to that of the gas of the maker's rating.
    state_ratio : number or array [-]
        Absolute pressure over temperature of the gas before the orifice to those of the rating: below one at altitude.

    Returns
    -------
    array [W]

    Raises
    ------
    InputError
        The pressure across the orifice is not above zero.

    Notes
    -----
    The mass flow goes with √(density x pressure drop), and heat is that times the heating value by mass; of two gases
    at one pressure the heat goes as their Wobbe indices.
    """
    drop = si(manifold_pressure, "Pa", "manifold_pressure") - si(
        burner_box_pressure, "Pa", "burner_box_pressure"
    )
    meant = si(nameplate_pressure, "Pa", "nameplate_pressure") - si(
        nameplate_box_pressure, "Pa", "nameplate_box_pressure"
    )
    state = si(state_ratio, "1", "state_ratio")
    for name, values in (("manifold_pressure", drop), ("nameplate_pressure", meant)):
        if not np.all((values > 0) | np.isnan(values)):
            raise InputError(
                f"{name} leaves {float(np.min(values)):.4g} across the orifice; it must be above zero: "
                "check the pressure, its unit, and that the burner was firing"
            )
    heat = si(rated_input, "W", "rated_input") * si(wobbe_ratio, "1", "wobbe_ratio")
    return np.asarray(heat * np.sqrt(drop / meant * state))


def clock_against_manifold(low: float, high: float) -> Suspicion:
    """Return what the 95 % interval of clocked to manifold heat input says: they agree, or which shows more.

    Parameters
    ----------
    low, high : float
        Ends of the interval of the ratio of heat input by the clock to that by the manifold pressure.
    """
    if not np.isfinite([low, high]).all():
        return "cannot tell"
    return "more by clock" if low > 1 else "less by clock" if high < 1 else "agree"


def suspects(suspicion: Suspicion) -> tuple[str, ...]:
    """Return in words what is to be suspected where clock and manifold pressure cannot both be right."""
    return tuple(sources.table("appliance")["suspects"].get(suspicion, ()))


def adjustment_range(nameplate_pressure: Number, *, fuel_kind: str) -> tuple[float, float]:
    """Return between which manifold pressures [Pa] an adjustment stays; beyond, the orifice is in question.

    Parameters
    ----------
    nameplate_pressure : number [Pa]
        On the nameplate.
    fuel_kind : str
        "natural gas" or "propane"; others as natural gas.
    """
    table = sources.table("appliance")["adjustment"]
    entry = table.get(fuel_kind, table["natural gas"])
    half = float(convert(entry["value"], entry["unit"], "Pa"))
    pressure = float(si(nameplate_pressure, "Pa", "nameplate_pressure"))
    return pressure - half, pressure + half
