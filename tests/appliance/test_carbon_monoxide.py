"""Carbon monoxide on every row, from rows made by hand."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from fluewright.appliance import CarbonMonoxideRows, carbon_monoxide_rows
from fluewright.combustion import fuel

PPM = 1e-6
WIDTHS = {"carbon_monoxide_dry": (10 * PPM, 0.05), "oxygen_dry": (0.002, 0.0)}
pytestmark = pytest.mark.law


def log(oxygen: list[float], monoxide: list[float], *, seconds: float = 5.0) -> pd.DataFrame:
    start = pd.Timestamp("2026-01-14 10:00", tz="America/New_York")
    index = start + pd.to_timedelta(np.arange(len(oxygen)) * seconds, unit="s")
    index.name = "time"
    return pd.DataFrame(
        {"oxygen_dry": np.array(oxygen), "carbon_monoxide_dry": np.array(monoxide) * PPM}, index=index
    )


def worst(frame: pd.DataFrame, bounds: pd.DataFrame | None = None) -> CarbonMonoxideRows:
    found = carbon_monoxide_rows(
        frame,
        lower_bounds=pd.DataFrame(index=frame.index) if bounds is None else bounds,
        fuel=fuel("natural gas"),
        half_widths=WIDTHS,
        oxygen_name="oxygen_dry",
    )
    assert found is not None
    return found


def test_the_worst_row_by_the_oxygen_rule_by_hand() -> None:
    found = worst(log([0.06, 0.06, 0.06], [50, 200, 50]))
    # By hand: 200 x 20.9 / (20.9 - 6.0) = 280.5 ppm; corners 190 x 20.9 / 15.1 and 210 x 20.9 / 14.7.
    assert found.air_free.value / PPM == pytest.approx(280.54, abs=0.01)
    assert found.air_free.low / PPM == pytest.approx(262.98, abs=0.01)
    assert found.air_free.high / PPM == pytest.approx(298.57, abs=0.01)
    assert found.when == log([0.06] * 3, [0] * 3).index[1]


def test_no_air_free_value_is_below_what_was_measured() -> None:
    found = worst(log([0.209, 0.18, 0.02], [500, 300, 100]))
    assert found.air_free.value / PPM == pytest.approx(500)
    assert found.dilute == 2


def test_an_over_range_cell_is_at_least_its_bound() -> None:
    frame = log([0.05, 0.05, 0.05], [50, math.nan, 60])
    bounds = pd.DataFrame({"carbon_monoxide_dry": [math.nan, 2000 * PPM, math.nan]}, index=frame.index)
    found = worst(frame, bounds)
    assert found.over_range == 1
    assert found.dry.value / PPM == pytest.approx(2000)
    assert found.dry.is_lower_bound
    assert found.air_free.low / PPM >= 2000 * 20.9 / 16.1


def test_a_rise_is_told_from_the_burn_alone() -> None:
    fresh, burn = [0.209] * 100, [0.06] * 240
    flat = worst(log(fresh + burn + fresh, [0.0] * 100 + [100.0] * 240 + [0.0] * 100))
    assert flat.rise is not None
    assert flat.rise.value == pytest.approx(0, abs=1e-12)
    climbing = worst(log(fresh + burn, [0.0] * 100 + list(np.linspace(20, 260, 240))))
    assert climbing.rise is not None
    # By hand: of 240 rows the last 180 lie after five minutes; fifths of 36 rows, 144 rows apart.
    step = 240 / 239 * 20.9 / 14.9
    assert climbing.rise.value / PPM == pytest.approx(144 * step, rel=1e-9)
    assert climbing.rise.low < climbing.rise.value < climbing.rise.high


def test_a_log_without_carbon_monoxide_says_nothing() -> None:
    frame = log([0.06], [0]).drop(columns="carbon_monoxide_dry")
    found = carbon_monoxide_rows(
        frame, lower_bounds=frame, fuel=fuel("natural gas"), half_widths={}, oxygen_name="oxygen_dry"
    )
    assert found is None


def test_the_upper_end_reaches_beyond_what_is_too_dilute_to_be_read() -> None:
    found = worst(log([0.149], [110]))
    # By hand: (110 + 10) x 20.9 / (20.9 - 15.1), though a sample of 15.1 % oxygen would be too dilute.
    assert found.air_free.high / PPM == pytest.approx(120 * 20.9 / 5.8, rel=1e-3)
    assert found.air_free.low <= found.air_free.value <= found.air_free.high


def test_rows_of_another_log_between_those_with_oxygen_end_no_burn() -> None:
    steady, rising = [0.06] * 400, np.linspace(50, 90, 400)
    together = worst(log(steady, list(rising)))
    apart = worst(
        log([value for _ in steady for value in (0.06, np.nan)], list(np.repeat(rising, 2)), seconds=2.5)
    )
    assert together.rise is not None
    assert apart.rise is not None
    assert apart.rise.value == pytest.approx(together.rise.value, rel=0.01)
    assert (apart.dilute, apart.unread) == (0, 400)


def test_without_oxygen_air_free_is_only_known_to_be_at_least_as_measured() -> None:
    found = worst(log([np.nan], [330]))
    assert not found.told
    assert found.air_free.value / PPM == pytest.approx(330)
    assert found.air_free.is_lower_bound


def test_a_cell_that_reads_less_than_none_has_an_interval_that_holds_zero() -> None:
    found = worst(log([0.06, 0.06], [-25, -20]))
    for number in (found.dry, found.air_free):
        assert number.low == number.value == 0
    assert found.dry.high / PPM == pytest.approx(25)  # its error is at least what it reads below zero
