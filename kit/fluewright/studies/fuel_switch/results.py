"""results.json of a fuel-switch study: every number with its unit, interval, origin and basis."""

from __future__ import annotations

import json
import math
import platform
from collections.abc import Mapping
from importlib import metadata
from typing import Any

from fluewright.appliance import Number
from fluewright.studies.fuel_switch.givens import DRAWS, SEED
from fluewright.studies.fuel_switch.study import FuelCase, FuelSwitch
from fluewright.studies.fuel_switch.sweeps import Sweep
from fluewright.units import Array

LAYOUT = "fluewright fuel-switch results 1"
_LIBRARIES = ("fluewright", "cantera", "numpy", "pint", "pydantic")


def results_of(study: FuelSwitch) -> Mapping[str, Any]:
    """Return the study as plain values, in the order of results.schema.json."""
    request = study.request
    return {
        "layout": LAYOUT,
        "study": {
            "site": request.site.name,
            "date": request.study.date.isoformat(),
            "prepared_by": request.study.prepared_by,
            "appliance": request.appliance.description,
            "burner": request.appliance.burner,
            "condensing": request.appliance.condensing,
            "warning": request.warning or None,
        },
        "heat_input": _number(
            Number(
                quantity="heat_input_rated", value=study.givens.heat_input, origin="entered", basis="gross"
            )
        ),
        "rating_share_at_elevation": _plain(study.givens.rating_share),
        "conditions": _numbers(study.givens.numbers),
        "fuels": [_case(case) for case in study.cases],
        "combustion_air": {
            "openings": [{"rule": one.words, "area": _number(one.area)} for one in study.openings],
            "room": _number(study.room),
            "source": study.openings_source,
        },
        "sweeps": [_sweep(one) for one in study.sweeps],
        "assumptions": [
            {"subject": one.subject, "number": _number(one.number), "text": one.text, "why": one.why}
            for one in study.assumptions
        ],
        "provenance": {
            "python": platform.python_version(),
            "libraries": {name: metadata.version(name) for name in _LIBRARIES},
            "draws": DRAWS,
            "seed": SEED,
        },
    }


def results_text(study: FuelSwitch) -> str:
    """Return results.json as text."""
    return json.dumps(results_of(study), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _case(case: FuelCase) -> Mapping[str, Any]:
    kept, changes = case.unchanged, case.conversion
    return {
        "name": case.name,
        "composition": {name: _plain(float(part)) for name, part in case.gas.fuel.composition.items()},
        "source": case.gas.fuel.source,
        "properties": _numbers(case.properties),
        "same_oxygen": _numbers(case.same_oxygen.numbers),
        "same_air": _numbers(case.same_air.numbers),
        "flames": _numbers(case.flames.numbers),
        "conclusion": case.conclusion or None,
        "unchanged": None
        if kept is None
        else {
            "weight": kept.weight,
            "reasons": [{"weight": one.weight, "text": one.text} for one in kept.reasons],
            "numbers": _numbers(kept.numbers),
            "groups": list(kept.groups),
            "groups_of_present_fuel": list(kept.present_groups),
            "indices_say_nothing_because": kept.scope or None,
            "indices": [
                {
                    "family": one.family,
                    "criterion": one.criterion,
                    "value": _number(one.value),
                    "limit_low": _plain(one.low),
                    "limit_high": _plain(one.high),
                    "preferable": _plain(one.preferable),
                    "outcome": one.outcome,
                    "source": one.source,
                    "status": one.status,
                }
                for one in kept.indices
            ],
        },
        "conversion": None
        if changes is None
        else {
            "numbers": _numbers(changes.numbers),
            "present_size": changes.present_size.name if changes.present_size else None,
            "sizes": [
                {
                    "drill": one.drill.name,
                    "heat_input": _number(one.heat_input),
                    "relative": _number(one.relative),
                }
                for one in changes.sizes
            ],
            "supply_pressures": list(changes.supply),
        },
    }


def _sweep(one: Sweep) -> Mapping[str, Any]:
    return {
        "name": one.name,
        "axis": one.axis,
        "along": _listed(one.along),
        "curves": [
            {
                "title": panel.title,
                "quantity": curve.quantity,
                "name": curve.name or None,
                "values": _listed(curve.values),
            }
            for panel in one.panels
            for curve in panel.curves
        ],
        "finding": one.finding,
    }


def _listed(values: Array) -> list[float | None]:
    return [_plain(float(value)) for value in values]


def _numbers(found: Mapping[str, Number]) -> Mapping[str, Any]:
    return {name: _number(one) for name, one in sorted(found.items())}


def _number(one: Number | None) -> Mapping[str, Any] | None:
    if one is None:
        return None
    made: dict[str, Any] = {
        "quantity": one.quantity,
        "value": _plain(one.value),
        "unit": one.unit,
        "interval_low": _plain(one.low),
        "interval_high": _plain(one.high),
        "origin": one.origin,
        "basis": one.basis,
    }
    return {**made, "source": one.source} if one.source else made


def _plain(value: float) -> float | None:
    """Return a number JSON can hold: twelve digits, or null where there is none."""
    return float(f"{value:.12g}") if math.isfinite(value) else None
