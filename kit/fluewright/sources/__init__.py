"""Published constants and limits as data, each with its citation, and the small loader that reads them.

Every file here is TOML beside this module. A value carries its unit, its source and its status:
``read`` (seen in the source), ``quoted`` (seen in a text that quotes the source), ``memory`` (seen in no
text: to be checked against the edition in force), ``chosen`` (chosen here, with the reason),
``defined`` (exact by definition).
"""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from types import MappingProxyType
from typing import Any

from fluewright.errors import UnknownNameError

__all__ = ["Quantity", "Shown", "quantities", "quantity", "table"]


@functools.cache
def table(name: str) -> Mapping[str, Any]:
    """Return the data file ``NAME.toml`` of this package as a read-only mapping."""
    text = resources.files(__package__).joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return MappingProxyType(tomllib.loads(text))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """How a quantity is printed in one system of units: pint's name, the sign on the page, most decimals."""

    unit: str
    sign: str
    decimals: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One quantity of the nomenclature: its only name, its unit inside, and how a report shows it."""

    name: str
    kind: str
    unit: str
    us: Shown
    si: Shown
    label: str
    low: float | None = None
    high: float | None = None

    def shown(self, system: str) -> Shown:
        """Return the unit shown in `system`, "US" or "SI"."""
        return self.us if system == "US" else self.si

    @property
    def floor(self) -> float:
        """The least a true value can be: a share of a gas is not below zero, whatever a cell reads."""
        return 0.0 if self.unit == "mol/mol" else -math.inf

    @property
    def usual_units(self) -> tuple[str, ...]:
        """The units shown in either system, by pint's names, each once."""
        return tuple(dict.fromkeys((self.us.unit, self.si.unit)))


@functools.cache
def quantities() -> Mapping[str, Quantity]:
    """Return the nomenclature: every quantity by its name."""
    return MappingProxyType(
        {
            name: Quantity(
                name=name,
                kind=entry["kind"],
                unit=entry["unit"],
                us=Shown(**entry["us"]),
                si=Shown(**entry["si"]),
                label=entry["label"],
                low=entry.get("low"),
                high=entry.get("high"),
            )
            for name, entry in table("quantities").items()
        }
    )


def quantity(name: str) -> Quantity:
    """Return one quantity of the nomenclature.

    Raises
    ------
    UnknownNameError
        No quantity has that name; the nearest one is suggested.
    """
    try:
        return quantities()[name]
    except KeyError:
        raise UnknownNameError("quantity", name, quantities()) from None
