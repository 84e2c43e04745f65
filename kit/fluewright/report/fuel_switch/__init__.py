"""The report of a fuel-switch study: the sections its notebook shows, each taking the study, and the writing of it."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fluewright.report.fuel_switch.pages import (
        assumptions,
        attachments,
        cautions,
        changes,
        comparison,
        document,
        flames,
        interchange,
        methods,
        page_one,
        provenance,
        steps,
        sweeps,
    )
    from fluewright.report.fuel_switch.writing import WrittenFuelSwitch, write_fuel_switch

_WRITING = ("WrittenFuelSwitch", "write_fuel_switch")

__all__ = [
    "WrittenFuelSwitch",
    "assumptions",
    "attachments",
    "cautions",
    "changes",
    "comparison",
    "document",
    "flames",
    "interchange",
    "methods",
    "page_one",
    "provenance",
    "steps",
    "sweeps",
    "write_fuel_switch",
]


def __getattr__(name: str) -> Any:
    # Drawing and tables load when a section is first asked for: writing starts a kernel before anything slow.
    if name in __all__:
        home = "writing" if name in _WRITING else "pages"
        return getattr(importlib.import_module(f"fluewright.report.fuel_switch.{home}"), name)
    raise AttributeError(f"module 'fluewright.report.fuel_switch' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
