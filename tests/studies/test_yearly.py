"""A year's savings: within each draw, never without a range, and not reckoned without a year's load."""

from __future__ import annotations

from pathlib import Path

import pytest

import fluewright as fw
from fluewright.studies.audit import Audit
from fluewright.units import convert

DEMO = Path(__file__).resolve().parents[2] / "data-demo"
pytestmark = pytest.mark.law


@pytest.fixture(scope="module")
def hall() -> Audit:
    return fw.audit(fw.open_visit(DEMO / "hall-furnace"))


def test_savings_by_hand(hall: Audit) -> None:
    found = hall.savings[("as found", "as left")]
    before, after = (point.numbers[found.by].value for point in hall.points)
    share = 1 - before / after
    assert found.numbers["fuel_saved_share"].value == pytest.approx(share, rel=1e-9)
    therms = convert(found.numbers["fuel_saved"].value, "J", "therm_US")
    assert therms == pytest.approx(1150 * share, rel=1e-3)
    assert found.numbers["cost_saved"].value == pytest.approx(1.12 * therms, rel=1e-3)
    assert found.currency == "USD"
    year = {
        name: convert(found.numbers[name].value, "J", "therm_US") for name in ("fuel_before", "fuel_after")
    }
    assert year["fuel_before"] == pytest.approx(1150, rel=1e-3)  # as the bills have it: entered
    assert found.numbers["fuel_before"].origin == "entered"
    assert year["fuel_after"] == pytest.approx(1150 * before / after, rel=1e-3)
    years = convert(found.numbers["payback_time"].value, "s", "year")
    assert years == pytest.approx(260 / (1.12 * therms), rel=2e-3)


def test_every_saving_has_a_range_and_shared_errors_cancel(hall: Audit) -> None:
    found = hall.savings[("as found", "as left")]
    for number in (one for one in found.numbers.values() if one.origin == "computed"):
        assert number.low < number.value < number.high
    share = found.numbers["fuel_saved_share"]
    parts = [point.numbers[found.by] for point in hall.points]
    alone = sum((one.high - one.low) ** 2 for one in parts) ** 0.5
    assert share.high - share.low < 0.8 * alone


def test_without_a_years_load_nothing_is_reckoned() -> None:
    for name in ("laundry-boiler", "workshop-heater"):
        assert fw.audit(fw.open_visit(DEMO / name)).savings == {}
