"""Draft, altitude, manifold pressure and savings: what physics, the trade and arithmetic demand of them."""

from __future__ import annotations

import numpy as np
import pytest

from fluewright.appliance.altitude import PRACTICES, altitude_citation, altitude_rating
from fluewright.appliance.draft import theoretical_draft
from fluewright.appliance.manifold import (
    adjustment_range,
    clock_against_manifold,
    heat_input_by_nameplate,
    suspects,
)
from fluewright.appliance.savings import annual_savings
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import convert


@pytest.mark.law
def test_draft_grows_with_height_and_heat_and_falls_with_outdoor_warmth() -> None:
    heights = theoretical_draft(np.array([4.0, 8.0, 12.0]), outdoor_temperature=270.0, flue_temperature=400.0)
    assert heights / heights[0] == pytest.approx([1.0, 2.0, 3.0])
    hot = theoretical_draft(8.0, outdoor_temperature=270.0, flue_temperature=np.array([300.0, 400.0, 500.0]))
    assert (np.diff(hot) < 0).all()  # more suction
    warm = theoretical_draft(8.0, outdoor_temperature=np.array([260.0, 280.0, 300.0]), flue_temperature=400.0)
    assert (np.diff(warm) > 0).all()
    assert float(theoretical_draft(8.0, outdoor_temperature=300.0, flue_temperature=300.0)) == pytest.approx(
        0.0
    )
    # Flue gas of natural gas is lighter than air at the same temperature: it still draws.
    assert (
        theoretical_draft(8.0, outdoor_temperature=300.0, flue_temperature=300.0, gas_molar_mass=0.0277) < 0
    )
    with pytest.raises(InputError, match="height is 0"):
        theoretical_draft(0.0, outdoor_temperature=270.0, flue_temperature=400.0)


@pytest.mark.law
def test_no_practice_raises_a_rating_and_all_leave_low_sites_alone() -> None:
    for practice in PRACTICES:
        assert float(altitude_rating(convert(2000.0, "foot", "m"), practice=practice)) == 1.0
        assert (altitude_rating(np.linspace(0.0, 1300.0, 20), practice=practice) <= 1.0).all()
    high = convert(7000.0, "foot", "m")
    assert float(altitude_rating(high)) == pytest.approx(1 - 0.04 * 7)
    assert float(altitude_rating(high, practice="above 2000 ft")) == pytest.approx(1 - 0.04 * 5)
    with pytest.raises(InputError, match="holds up to 1372 m"):
        altitude_rating(high, practice="band")
    with pytest.raises(UnknownNameError, match="did you mean 'from sea level'"):
        altitude_rating(high, practice="from sea-level")
    assert altitude_citation().status == "quoted"
    assert altitude_citation("above 2000 ft").text_seen


@pytest.mark.law
def test_input_goes_with_the_square_root_of_the_drop_across_the_orifice() -> None:
    four_times = heat_input_by_nameplate(20e3, manifold_pressure=3480.0, nameplate_pressure=870.0)
    assert float(four_times) == pytest.approx(40e3)
    box = heat_input_by_nameplate(
        20e3, manifold_pressure=870.0, nameplate_pressure=870.0, burner_box_pressure=-87.0
    )
    assert float(box) == pytest.approx(20e3 * 1.1**0.5)
    high = heat_input_by_nameplate(20e3, manifold_pressure=870.0, nameplate_pressure=870.0, state_ratio=0.81)
    assert float(high) == pytest.approx(18e3)
    with pytest.raises(InputError, match="across the orifice"):
        heat_input_by_nameplate(20e3, manifold_pressure=0.0, nameplate_pressure=870.0)


def test_clock_and_manifold_are_said_to_contradict_only_where_the_interval_says_so() -> None:
    assert clock_against_manifold(0.96, 1.04) == "agree"
    assert clock_against_manifold(1.02, 1.20) == "more by clock"
    assert clock_against_manifold(0.40, 0.60) == "less by clock"
    assert clock_against_manifold(float("nan"), 1.0) == "cannot tell"
    assert suspects("agree") == ()
    assert any("orifices larger" in one for one in suspects("more by clock"))
    assert any("dial" in one for one in suspects("less by clock"))


def test_a_manifold_pressure_is_moved_only_so_far() -> None:
    low, high = adjustment_range(convert(3.5, "inH2O", "Pa"), fuel_kind="natural gas")
    assert (convert(low, "Pa", "inH2O"), convert(high, "Pa", "inH2O")) == pytest.approx((3.2, 3.8))


@pytest.mark.law
def test_savings_by_hand() -> None:
    # 100 GJ of fuel at 80 %, then 84 %: 100 x (1 - 80/84) = 4.762 GJ; at 10 per GJ, 47.62; 300 of work in 6.3 years.
    found = annual_savings(
        0.80, 0.84, annual_fuel=100e9, fuel_price=10e-9, carbon_dioxide_factor=50e-9, cost_of_work=300.0
    )
    assert float(found.fuel) == pytest.approx(4.7619e9, rel=1e-4)
    assert found.cost is not None
    assert float(found.cost) == pytest.approx(47.62, abs=0.01)
    assert found.carbon_dioxide is not None
    assert float(found.carbon_dioxide) == pytest.approx(238.1, abs=0.1)
    assert found.payback is not None
    assert float(found.payback) / (365.2425 * 86400) == pytest.approx(6.3, abs=0.01)
    # The same from the heat delivered.
    by_heat = annual_savings(0.80, 0.84, annual_heat=80e9)
    assert float(by_heat.fuel) == pytest.approx(float(found.fuel), rel=1e-12)


@pytest.mark.law
def test_errors_that_both_efficiencies_share_cancel_within_each_draw() -> None:
    rng = np.random.default_rng(1)
    shared = 0.01 * rng.standard_normal(5000)
    together = annual_savings(0.80 + shared, 0.84 + shared, annual_fuel=1.0).share
    apart = annual_savings(0.80 + shared, 0.84 + rng.permutation(shared), annual_fuel=1.0).share
    assert together.std() < 0.1 * apart.std()


def test_a_saving_that_is_none_is_never_paid_back() -> None:
    found = annual_savings(
        np.array([0.80, 0.80]), np.array([0.80, 0.78]), annual_fuel=1e9, fuel_price=1e-8, cost_of_work=1.0
    )
    assert found.payback is not None
    assert np.isinf(found.payback).all()
    with pytest.raises(InputError, match="and not both"):
        annual_savings(0.8, 0.84)
    with pytest.raises(InputError, match="efficiency_after is not above zero"):
        annual_savings(0.8, 0.0, annual_fuel=1.0)
