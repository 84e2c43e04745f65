"""Limits of flammability of a fuel gas in air, from those of its components by Le Chatelier's rule."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fluewright import sources
from fluewright.combustion.blocks import Values, plain
from fluewright.combustion.fuels import Fuel
from fluewright.errors import InputError

__all__ = ["FlammabilityLimits", "flammability_limits"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlammabilityLimits:
    """Share of a fuel gas in its mixture with air [mol/mol] between which a flame spreads by itself.

    At about 25 °C and atmospheric pressure. Where ``upper`` is one, the fuel gas itself burns as it is piped: a
    flame can travel into the pipe.
    """

    lower: Values
    upper: Values
    source: str
    note: str


def flammability_limits(fuel: Fuel) -> FlammabilityLimits:
    """Return the limits of flammability in air.

    Parameters
    ----------
    fuel : Fuel
        Its composition may hold arrays. Air in the fuel counts as air of the mixture.

    Returns
    -------
    FlammabilityLimits

    Raises
    ------
    InputError
        Nothing in it burns, or a combustible part has no limits in the data.

    Notes
    -----
    ``1/L = Σ xᵢ/Lᵢ`` over the combustible parts. Inert gas is counted as air, which is close at the lower limit
    and wide, hence cautious, at the upper.

    Examples
    --------
    >>> from fluewright.combustion import fuel
    >>> limits = flammability_limits(fuel("natural gas"))
    >>> round(limits.lower, 3), round(limits.upper, 3)
    (0.049, 0.151)
    """
    data = sources.table("flammability")
    known = data["limits"]["components"]
    burning = {name: np.asarray(part) for name, part in fuel.composition.items() if _burns(name)}
    unknown = [name for name, part in burning.items() if name not in known and np.any(part > 0)]
    if unknown or not burning or not np.all(sum(burning.values(), start=np.asarray(0.0)) > 0):
        what = f"no limits of {unknown[0]} are in the data" if unknown else "nothing in it burns"
        raise InputError(f"the limits of flammability of '{fuel.name}' cannot be formed: {what}")
    lower, upper = (1 / sum(part / known[name][end] for name, part in burning.items()) for end in (0, 1))
    return FlammabilityLimits(
        lower=plain(np.minimum(lower, 1.0)),
        upper=plain(np.minimum(upper, 1.0)),
        source=data["limits"]["source"],
        note=data["mixing"]["note"],
    )


def _burns(name: str) -> bool:
    atoms = sources.table("species")["component"][name]["atoms"]
    need = 2 * atoms.get("C", 0) + atoms.get("H", 0) / 2 + 2 * atoms.get("S", 0) - atoms.get("O", 0)
    return bool(need > 0)
