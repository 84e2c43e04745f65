"""The report of an audit: the sections a notebook shows, in the order of the pages. Each takes an audit."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fluewright.report.appliance import agreement, heat_exchanger, record, savings
    from fluewright.report.pages import (
        assumptions,
        attachments,
        burner_cycles,
        cautions,
        changes,
        conditions,
        dew_points,
        document,
        findings,
        flue_gas,
        heat,
        methods,
        page_one,
        provenance,
        rates,
        rows,
        signatures,
        stabilization,
        uncertainty,
    )

__all__ = [
    "agreement",
    "assumptions",
    "attachments",
    "burner_cycles",
    "cautions",
    "changes",
    "conditions",
    "dew_points",
    "document",
    "findings",
    "flue_gas",
    "heat",
    "heat_exchanger",
    "methods",
    "page_one",
    "provenance",
    "rates",
    "record",
    "rows",
    "savings",
    "signatures",
    "stabilization",
    "uncertainty",
]

_APPLIANCE = frozenset({"agreement", "heat_exchanger", "record", "savings"})


def __getattr__(name: str) -> Any:
    # Drawing and tables load when a section is first asked for: the command line imports this room early.
    if name in __all__:
        module = "appliance" if name in _APPLIANCE else "pages"
        return getattr(importlib.import_module(f"fluewright.report.{module}"), name)
    raise AttributeError(f"module 'fluewright.report' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted(__all__)
