"""From the logs of a combustion test to an audit that can be defended.

``import fluewright as fw`` gives a notebook the few names it needs; each is loaded when first used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fluewright.combustion import (
        Fuel,
        adiabatic_flame,
        blend,
        flue_gas,
        fuel,
        stack_losses,
    )
    from fluewright.studies.audit import audit
    from fluewright.units import quantity as Quantity  # noqa: N812
    from fluewright.visit import open_visit

_HOMES = {
    "Fuel": "fluewright.combustion",
    "adiabatic_flame": "fluewright.combustion",
    "blend": "fluewright.combustion",
    "flue_gas": "fluewright.combustion",
    "fuel": "fluewright.combustion",
    "stack_losses": "fluewright.combustion",
    "audit": "fluewright.studies.audit",
    "open_visit": "fluewright.visit",
}

__all__ = [
    "Fuel",
    "Quantity",
    "adiabatic_flame",
    "audit",
    "blend",
    "flue_gas",
    "fuel",
    "open_visit",
    "stack_losses",
]


def __getattr__(name: str) -> Any:
    if name == "Quantity":
        return importlib.import_module("fluewright.units").quantity
    if name in _HOMES:
        return getattr(importlib.import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'fluewright' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
