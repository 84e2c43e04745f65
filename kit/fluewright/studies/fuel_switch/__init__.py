"""The fuel-switch study: fuels compared in one appliance, what must change, what happens if nothing does."""

from __future__ import annotations

from fluewright.studies.fuel_switch.request import (
    FuelAsked,
    Request,
    read_request,
    request_from_visit,
    request_schema,
)
from fluewright.studies.fuel_switch.results import results_text
from fluewright.studies.fuel_switch.study import FuelCase, FuelSwitch, fuel_switch

__all__ = [
    "FuelAsked",
    "FuelCase",
    "FuelSwitch",
    "Request",
    "fuel_switch",
    "read_request",
    "request_from_visit",
    "request_schema",
    "results_text",
]
