"""Means with intervals: bias that averaging keeps, noise that remembers, draws that share an instrument."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from fluewright import sources
from fluewright.errors import InputError
from fluewright.steady import (
    ChannelMean,
    SettledPoint,
    Window,
    assumed_accuracy,
    draw_means,
    half_width,
    mean_noise,
    settled_point,
    spot_mean,
    stated_or_assumed,
)
from fluewright.steady.noise import student
from fluewright.units import Array
from fluewright.visit import StatedAccuracy

OXYGEN = StatedAccuracy(instrument="flue", absolute=0.002)


def point_of(
    values: Mapping[str, Array],
    accuracies: Mapping[str, StatedAccuracy],
    *,
    name: str = "as found",
    step: float = 1.0,
) -> SettledPoint:
    """Return the settled point of a frame that is a window as a whole."""
    count = len(next(iter(values.values())))
    index = pd.date_range(
        "2026-01-14 10:00", periods=count, freq=pd.Timedelta(seconds=step), tz="UTC", name="time"
    )
    window = Window(start=index[0], end=index[-1], rows=count, chosen_by="rules", because="made so")
    return settled_point(pd.DataFrame(values, index=index), name=name, window=window, accuracies=accuracies)


def remembering(rng: np.random.Generator, visits: int, count: int, memory: float) -> Array:
    """Return unit-variance first-order autoregressions (visits, count)."""
    noise = np.sqrt(1 - memory**2) * rng.standard_normal((visits, count))
    noise[:, 0] = rng.standard_normal(visits)
    for step in range(1, count):
        noise[:, step] += memory * noise[:, step - 1]
    return noise


# --- noise -----------------------------------------------------------------------------------------------------------


@pytest.mark.published
@pytest.mark.parametrize(
    ("freedom", "printed"),
    [(3, "3.182"), (4, "2.776"), (5, "2.571"), (10, "2.228"), (30, "2.042"), (1e9, "1.960")],
)
def test_student_meets_the_printed_table(freedom: float, printed: str) -> None:
    # two-sided 95 % points as any statistics text prints them (values from memory)
    assert student(freedom) == pytest.approx(float(printed), rel=2e-3)


@pytest.mark.law
@pytest.mark.parametrize(
    ("memory", "count"), [(0.0, 25), (0.0, 300), (0.5, 60), (0.8, 60), (0.8, 300), (0.9, 300), (0.9, 900)]
)
def test_noise_interval_covers_the_mean(memory: float, count: int) -> None:
    visits = 1000
    sample = remembering(np.random.default_rng(7), visits, count, memory)
    noises = [mean_noise(row) for row in sample]
    width = np.array([noise.standard_error * student(noise.degrees_of_freedom) for noise in noises])
    covered = np.mean(np.abs(sample.mean(axis=1)) <= width)
    independent = count * (1 - memory) / (1 + memory)
    assert (0.93 if independent > 10 else 0.90) <= covered <= 0.985  # of a few readings little can be told
    if count >= 300:
        assert covered <= 0.97
        truth = sample.mean(axis=1).std()
        assert np.median([noise.standard_error for noise in noises]) == pytest.approx(truth, rel=0.2)


def test_memory_is_counted_in_independent_readings() -> None:
    white = mean_noise(np.random.default_rng(3).standard_normal(2000))
    assert white.effective_samples == pytest.approx(2000, rel=0.1)
    slow = mean_noise(remembering(np.random.default_rng(3), 1, 20_000, 0.9)[0])
    assert slow.effective_samples == pytest.approx(20_000 * 0.1 / 1.9, rel=0.3)


@pytest.mark.law
def test_noise_scales_with_the_unit_and_ignores_zero_and_drift() -> None:
    value = np.random.default_rng(5).standard_normal(200)
    once = mean_noise(value)
    other = mean_noise(1.8 * value + 459.67 + 0.3 * np.arange(200))
    assert other.standard_error == pytest.approx(1.8 * once.standard_error, rel=1e-9)
    assert other.effective_samples == pytest.approx(once.effective_samples, rel=1e-9)


def test_long_record_is_averaged_in_batches_with_the_same_result() -> None:
    value = np.random.default_rng(6).standard_normal(50_000)
    noise = mean_noise(value)
    assert noise.standard_error == pytest.approx(1 / np.sqrt(50_000), rel=0.05)


def test_still_and_single_readings_have_no_noise_of_their_own() -> None:
    assert mean_noise(np.full(50, 450.1)).standard_error == 0.0
    assert mean_noise(np.array([3.0])).standard_error == 0.0
    assert mean_noise(np.array([1.0, 3.0])).standard_error == pytest.approx(1.0)


# --- bias and noise together -----------------------------------------------------------------------------------------


@pytest.mark.law
def test_half_width_at_its_limits() -> None:
    assert half_width(bias=0.2, noise=0.0, degrees_of_freedom=9) == pytest.approx(0.19)
    assert half_width(bias=0.0, noise=1.0, degrees_of_freedom=1e9) == pytest.approx(1.959964, rel=1e-6)
    assert half_width(bias=0.0, noise=0.0, degrees_of_freedom=9) == 0.0
    assert half_width(bias=1.0, noise=1e-6, degrees_of_freedom=9) == pytest.approx(0.95, rel=1e-4)


@pytest.mark.law
@pytest.mark.parametrize("noise", [0.02, 0.1, 0.3, 1.0, 5.0])
def test_half_width_agrees_with_simulation(noise: float) -> None:
    rng = np.random.default_rng(11)
    draws = rng.uniform(-1, 1, 1_000_000) + noise * rng.standard_normal(1_000_000)
    simulated = np.quantile(np.abs(draws), 0.95)
    assert half_width(bias=1.0, noise=noise, degrees_of_freedom=1e9) == pytest.approx(simulated, rel=3e-3)


@pytest.mark.law
def test_half_width_grows_with_bias_and_with_noise() -> None:
    widths = [half_width(bias=bias, noise=0.3, degrees_of_freedom=12) for bias in np.linspace(0, 3, 13)]
    assert np.all(np.diff(widths) > 0)
    widths = [half_width(bias=0.3, noise=noise, degrees_of_freedom=12) for noise in np.linspace(0, 3, 13)]
    assert np.all(np.diff(widths) > 0)


def test_twenty_five_readings_keep_their_bias() -> None:
    percent = 6.0 + 0.1 * np.random.default_rng(2).standard_normal(25)
    mean = point_of({"oxygen_dry": percent / 100}, {"oxygen_dry": OXYGEN}).means["oxygen_dry"]
    half = (mean.high - mean.low) / 2
    assert half == pytest.approx(0.0020, abs=0.0001)  # and not 0.0004, which is noise alone
    assert mean.noise < 0.0004


@pytest.mark.law
def test_bias_never_shrinks_with_more_readings() -> None:
    rng = np.random.default_rng(4)
    halves = []
    for count in (10, 100, 1000, 10_000):
        values = {"oxygen_dry": 0.06 + 0.001 * rng.standard_normal(count)}
        mean = point_of(values, {"oxygen_dry": OXYGEN}).means["oxygen_dry"]
        assert mean.bias == 0.002
        halves.append((mean.high - mean.low) / 2)
    assert min(halves) >= 0.95 * 0.002 * (1 - 1e-9)
    assert halves[-1] == pytest.approx(0.95 * 0.002, rel=1e-2)


@pytest.mark.law
@pytest.mark.parametrize("scatter", [0.0005, 0.005, 0.02])
def test_interval_covers_the_truth(scatter: float) -> None:
    rng = np.random.default_rng(8)
    visits = 400
    noise = scatter * remembering(rng, visits, 200, 0.7)
    bias = rng.uniform(-0.002, 0.002, visits)
    values = {"oxygen_dry": 0.06 + bias[:, None] + noise}
    held = 0
    for visit in range(visits):
        mean = point_of({"oxygen_dry": values["oxygen_dry"][visit]}, {"oxygen_dry": OXYGEN}).means[
            "oxygen_dry"
        ]
        held += mean.low <= 0.06 <= mean.high
    assert 0.92 <= held / visits <= 0.985  # 0.95 within three standard errors of 400 visits


def test_greatest_part_of_the_accuracy_holds() -> None:
    accuracy = StatedAccuracy(instrument="a", absolute=10e-6, of_reading=0.05, of_span=8e-6)
    low = point_of({"carbon_monoxide_dry": np.full(50, 40e-6)}, {"carbon_monoxide_dry": accuracy})
    high = point_of({"carbon_monoxide_dry": np.full(50, 900e-6)}, {"carbon_monoxide_dry": accuracy})
    assert low.means["carbon_monoxide_dry"].bias == pytest.approx(10e-6)
    assert high.means["carbon_monoxide_dry"].bias == pytest.approx(45e-6)


def test_of_reading_counts_what_a_thermometer_shows() -> None:
    accuracy = StatedAccuracy(instrument="a", of_reading=0.01)
    mean = point_of({"flue_temperature": np.full(50, 473.15)}, {"flue_temperature": accuracy}).means
    assert mean["flue_temperature"].bias == pytest.approx(2.0)  # 1 % of 200 °C


def test_resolution_and_lag_add_to_the_bias() -> None:
    accuracy = StatedAccuracy(instrument="a", absolute=0.002, resolution=0.001)
    still = point_of({"oxygen_dry": np.full(50, 0.06)}, {"oxygen_dry": accuracy}).means["oxygen_dry"]
    assert still.bias == pytest.approx(np.hypot(0.002, 0.0005))
    slow = StatedAccuracy(instrument="a", absolute=1.0, response_time=23.02585)
    drift = point_of({"flue_temperature": 450 + 0.1 * np.arange(100)}, {"flue_temperature": slow}).means
    assert drift["flue_temperature"].slope == pytest.approx(0.1)
    assert drift["flue_temperature"].bias == pytest.approx(np.hypot(1.0, 1.0), rel=1e-5)


def test_carbon_monoxide_near_zero_stays_above_it() -> None:
    accuracy = StatedAccuracy(instrument="a", absolute=10e-6)
    mean = point_of({"carbon_monoxide_dry": np.full(50, 2e-6)}, {"carbon_monoxide_dry": accuracy}).means
    assert mean["carbon_monoxide_dry"].low == 0.0
    assert mean["carbon_monoxide_dry"].high == pytest.approx(11.5e-6)
    cold = point_of({"draft_hood": np.full(50, -3.0)}, {"draft_hood": accuracy}).means["draft_hood"]
    assert cold.high < 0  # a suction is negative, and stays so


# --- what is averaged ------------------------------------------------------------------------------------------------


def test_missing_numbers_are_counted_and_not_filled() -> None:
    value = np.full(60, 0.05)
    value[10:30] = np.nan
    mean = point_of({"oxygen_dry": value}, {"oxygen_dry": OXYGEN}).means["oxygen_dry"]
    assert (mean.samples, mean.missing) == (40, 20)
    assert mean.mean == pytest.approx(0.05)


def test_the_rounding_of_the_display_does_not_cancel_in_a_difference() -> None:
    """Two readings of a display that shows tenths differ by anything up to a tenth more, or less, than they say."""
    shown = replace(OXYGEN, resolution=0.001)
    points = [
        replace(point_of({"oxygen_dry": np.full(50, value)}, {"oxygen_dry": shown}), name=name)
        for name, value in (("found", 0.060), ("left", 0.059))
    ]
    found, left = draw_means(points, draws=50_000, seed=7)
    away = left["oxygen_dry"] - found["oxygen_dry"] + 0.001
    assert away.std() == pytest.approx(0.0005 * np.sqrt(2 / 3), rel=0.02)
    assert found["oxygen_dry"].std() == pytest.approx(
        points[0].means["oxygen_dry"].bias / np.sqrt(3), rel=0.02
    )


def test_switches_counters_and_empty_channels_have_no_mean() -> None:
    values = {
        "oxygen_dry": np.full(50, 0.06),
        "burner_on": np.ones(50),
        "gas_volume": np.arange(50.0),
        "carbon_monoxide_dry": np.full(50, np.nan),
    }
    assert set(point_of(values, {}).means) == {"oxygen_dry"}


@pytest.mark.parametrize(
    "name", [name for name, part in sources.quantities().items() if part.kind == "reading"]
)
def test_every_reading_has_an_accuracy_to_assume(name: str) -> None:
    accuracy = assumed_accuracy(name)
    assert accuracy.stated is False
    assert accuracy.absolute > 0 or accuracy.of_reading > 0


def test_unstated_accuracy_is_assumed_and_said_to_be() -> None:
    point = point_of(
        {"oxygen_dry": np.full(50, 0.06), "air_temperature": np.full(50, 294.0)}, {"oxygen_dry": OXYGEN}
    )
    assert point.means["oxygen_dry"].accuracy_stated
    assert point.means["oxygen_dry"].instrument == "flue"
    assert not point.means["air_temperature"].accuracy_stated
    assert point.means["air_temperature"].high - point.means["air_temperature"].low > 2


def test_spot_reading_is_as_uncertain_as_its_instrument() -> None:
    one = spot_mean("oxygen_dry", [0.06], accuracy=OXYGEN)
    assert (one.low, one.high) == pytest.approx((0.06 - 0.0019, 0.06 + 0.0019))
    three = spot_mean("oxygen_dry", [0.058, 0.06, 0.062], accuracy=OXYGEN)
    assert three.mean == pytest.approx(0.06)
    assert three.high - three.low > one.high - one.low
    with pytest.raises(InputError, match="no number among the spot readings"):
        spot_mean("oxygen_dry", [])


def test_window_without_rows_is_refused() -> None:
    point = point_of({"oxygen_dry": np.full(50, 0.06)}, {})
    late = replace(
        point.window, start=point.window.end + pd.Timedelta("1h"), end=point.window.end + pd.Timedelta("2h")
    )
    index = pd.date_range(point.window.start, periods=50, freq="1s")
    with pytest.raises(InputError, match=r"the window of test point 'as found', .* holds no row"):
        settled_point(
            pd.DataFrame({"oxygen_dry": np.full(50, 0.06)}, index=index),
            name="as found",
            window=late,
            accuracies={},
        )


# --- draws -----------------------------------------------------------------------------------------------------------


def two_points(
    noise: float, instruments: tuple[str, str] = ("flue", "flue")
) -> tuple[SettledPoint, SettledPoint]:
    """Return as found (5 %) and as left (7 %)."""
    rng = np.random.default_rng(9)
    return tuple(  # type: ignore[return-value]
        point_of(
            {"oxygen_dry": level + noise * rng.standard_normal(100), "flue_temperature": np.full(100, 450.0)},
            {"oxygen_dry": replace(OXYGEN, instrument=instrument)},
            name=name,
        )
        for name, level, instrument in zip(("as found", "as left"), (0.05, 0.07), instruments, strict=True)
    )


@pytest.mark.law
def test_draws_share_the_bias_of_an_instrument() -> None:
    found, left = draw_means(two_points(0.0), draws=2000, seed=1)
    difference = left["oxygen_dry"] - found["oxygen_dry"]
    assert np.ptp(difference) < 1e-12
    assert difference.mean() == pytest.approx(0.02)
    assert np.ptp(found["oxygen_dry"]) == pytest.approx(0.004, rel=0.01)
    assert abs(np.corrcoef(found["oxygen_dry"], found["flue_temperature"])[0, 1]) < 0.1


@pytest.mark.law
def test_another_instrument_has_another_bias() -> None:
    found, left = draw_means(two_points(0.0, ("flue", "other")), draws=2000, seed=1)
    assert abs(np.corrcoef(found["oxygen_dry"], left["oxygen_dry"])[0, 1]) < 0.1


@pytest.mark.law
def test_a_mean_that_points_share_is_drawn_once() -> None:
    found, left = two_points(0.01)
    air = spot_mean("air_temperature", [293.0, 295.0, 294.0])
    other = spot_mean("air_temperature", [293.0, 295.0, 294.0])  # the same numbers, read again

    def drawn(*means: ChannelMean) -> list[Array]:
        points = [
            replace(point, means={"air_temperature": mean})
            for point, mean in zip((found, left), means, strict=True)
        ]
        return [values["air_temperature"] for values in draw_means(points, draws=2000, seed=1)]

    np.testing.assert_array_equal(*drawn(air, air))
    once, again = drawn(air, other)
    assert np.std(again - once) == pytest.approx(np.sqrt(2) * np.std(once - once.mean()), rel=0.5)
    assert np.std(again - once) > 0.5


@pytest.mark.law
def test_draws_have_the_interval_of_the_mean() -> None:
    points = two_points(0.01)
    drawn = draw_means(points, draws=200_000, seed=3)
    for point, values in zip(points, drawn, strict=True):
        mean = point.means["oxygen_dry"]
        low, high = np.quantile(values["oxygen_dry"], [0.025, 0.975])
        assert low == pytest.approx(mean.low, abs=0.01 * (mean.high - mean.low))
        assert high == pytest.approx(mean.high, abs=0.01 * (mean.high - mean.low))


def test_draws_repeat_by_seed_and_do_not_depend_on_company() -> None:
    points = two_points(0.01)
    (found, left), (again, _) = (draw_means(points, draws=50, seed=5) for _ in range(2))
    np.testing.assert_array_equal(found["oxygen_dry"], again["oxygen_dry"])
    alone = replace(points[1], means={"oxygen_dry": points[1].means["oxygen_dry"]})
    (single,) = draw_means([alone], draws=50, seed=5)
    np.testing.assert_array_equal(single["oxygen_dry"], left["oxygen_dry"])
    other, _ = draw_means(points, draws=50, seed=6)
    assert not np.array_equal(found["oxygen_dry"], other["oxygen_dry"])


@pytest.mark.law
def test_fewer_draws_of_a_bias_are_the_first_of_more() -> None:
    """So that what was drawn for a test point and what was drawn less often for a cycle share their errors."""
    (many, _), (few, _) = (draw_means(two_points(0.0), draws=draws, seed=5) for draws in (500, 50))
    np.testing.assert_array_equal(few["oxygen_dry"], many["oxygen_dry"][:50])


def test_no_draw_of_a_gas_is_below_zero() -> None:
    accuracy = StatedAccuracy(instrument="a", absolute=10e-6)
    point = point_of({"carbon_monoxide_dry": np.full(50, 2e-6)}, {"carbon_monoxide_dry": accuracy})
    (drawn,) = draw_means([point], draws=1000, seed=1)
    assert drawn["carbon_monoxide_dry"].min() == 0.0
    with pytest.raises(InputError, match="draws is 0; at least one draw is needed"):
        draw_means([point], draws=0, seed=1)


def test_an_assumed_accuracy_keeps_the_resolution_lag_and_span_that_were_stated() -> None:
    partly = StatedAccuracy(
        instrument="flue", resolution=50e-6, response_time=40.0, stated=False, span=(0.0, 200e-6)
    )
    taken, assumed = stated_or_assumed(partly, "carbon_monoxide_dry"), assumed_accuracy("carbon_monoxide_dry")
    assert (taken.absolute, taken.of_reading) == (assumed.absolute, assumed.of_reading)
    assert (taken.resolution, taken.response_time, taken.span) == (50e-6, 40.0, (0.0, 200e-6))
    assert not taken.stated
    assert taken.instrument == "flue"
    assert stated_or_assumed(OXYGEN, "oxygen_dry") is OXYGEN


@pytest.mark.law
@pytest.mark.parametrize("reading", [0.0, -1e-6, -5e-6, -10e-6, -11e-6, -25e-6, -300e-6])
def test_a_gas_read_below_zero_has_the_interval_of_none_and_never_one_inside_out(reading: float) -> None:
    """What the cell was seen to be off by counts as its error; its draws and its interval agree."""
    accuracy = StatedAccuracy(instrument="flue", absolute=10e-6)
    below = spot_mean("carbon_monoxide_dry", [reading], accuracy=accuracy)
    assert below.low == below.shown == 0.0
    assert below.high == pytest.approx(0.95 * max(10e-6, -reading))
    moment = pd.Timestamp("2026-01-14 10:00", tz="UTC")
    window = Window(start=moment, end=moment, rows=1, chosen_by="rules", because="")
    point = SettledPoint(name="one", window=window, means={below.quantity: below})
    (drawn,) = draw_means([point], draws=20_000, seed=1)
    assert drawn[below.quantity].min() == 0.0
    assert np.quantile(drawn[below.quantity], 0.975) == pytest.approx(below.high, rel=0.01)


def test_a_temperature_below_zero_is_what_it_is() -> None:
    cold = spot_mean("outdoor_temperature", [250.0], accuracy=StatedAccuracy(instrument="", absolute=1.0))
    assert cold.shown == cold.mean == 250.0
