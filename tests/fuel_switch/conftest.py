"""What the tests of the fuel-switch study share: published rows, and a small request."""

from __future__ import annotations

import copy
import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fluewright.studies.fuel_switch import FuelSwitch, Request, fuel_switch, read_request

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data-demo" / "fuel-switch" / "workshop.toml"

SMALL: dict[str, Any] = {
    "study": {"date": "2026-03-02"},
    "site": {"name": "Harrow Lane hall", "barometric_pressure": "101325 Pa"},
    "appliance": {"rated_input": "20 kW", "manifold_pressure": "3.5 inH2O"},
    "present": {"name": "natural gas"},
    "proposed": [{"name": "propane", "manifold_pressure": "10 inH2O"}],
    "conditions": {"oxygen_dry": "6 percent", "flue_temperature": "180 degC", "air_temperature": "20 degC"},
    "sweeps": [],
}


def published(name: str) -> list[dict[str, str]]:
    """Return the rows of a file of published values."""
    with (ROOT / "tests" / "published" / "fuel_switch" / f"{name}.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def asked() -> dict[str, Any]:
    """Return a small request that may be changed."""
    return copy.deepcopy(SMALL)


@pytest.fixture
def study() -> Callable[[dict[str, Any]], FuelSwitch]:
    """Return a function that makes the study of a request given as a dict."""
    return lambda asked: fuel_switch(Request.model_validate(asked))


@pytest.fixture(scope="session")
def demo() -> FuelSwitch:
    """Return the study of the demo request."""
    return fuel_switch(read_request(DEMO))
