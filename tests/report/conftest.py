"""Audits of the demo visits, made once, and one way to make an audit of a visit written by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from fluewright.studies.audit import Audit, audit
from fluewright.visit import open_visit

DEMO = Path(__file__).resolve().parents[2] / "data-demo"


@pytest.fixture(scope="session")
def hall() -> Audit:
    """Return the furnace: two test points, the second after a change, US units."""
    return audit(open_visit(DEMO / "hall-furnace"))


@pytest.fixture(scope="session")
def laundry() -> Audit:
    """Return the condensing boiler: two firing rates, SI units, A4."""
    return audit(open_visit(DEMO / "laundry-boiler"))


@pytest.fixture(scope="session")
def workshop() -> Audit:
    """Return the unit heater that must stay off: one test point, broken off, carbon monoxide over range."""
    return audit(open_visit(DEMO / "workshop-heater"))


@pytest.fixture
def make_audit(make_visit: Callable[..., Path]) -> Callable[..., Audit]:
    """Return a function that writes a visit from its plan and rows and audits it."""

    def make(plan: dict[str, object], rows: list[list[str]]) -> Audit:
        return audit(open_visit(make_visit(plan, rows)))

    return make
