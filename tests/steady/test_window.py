"""The steady window of burns made from formulas: what is expected follows from the formula."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import hypothesis
import hypothesis.strategies as some
import numpy as np
import pandas as pd
import pytest

from fluewright.errors import InputError, UnknownNameError
from fluewright.steady import (
    Criteria,
    Limits,
    Steadiness,
    criteria_names,
    find_steady_window,
    named_criteria,
    settled_point,
)
from fluewright.units import Array

Maker = Callable[..., Any]
FAHRENHEIT = 5 / 9


def rows_of(found: Steadiness, frame: pd.DataFrame) -> tuple[int, int]:
    """Return first row and row after the last of the window."""
    assert found.window is not None, found.outcome
    start, stop = frame.index.get_loc(found.window.start), frame.index.get_loc(found.window.end)
    return int(start), int(stop) + 1


def check_account(found: Steadiness, frame: pd.DataFrame) -> None:
    """Every row is in exactly one stretch or in the window, in order."""
    pieces = list(found.refused) + ([found.window] if found.window else [])
    pieces.sort(key=lambda piece: piece.start)
    assert sum(piece.rows for piece in pieces) == len(frame) == found.rows
    at = 0
    for piece in pieces:
        assert frame.index[at] == piece.start
        at += piece.rows
        assert frame.index[at - 1] == piece.end
    assert all(piece.reason for piece in found.refused)


# --- a burn that settles ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("tau", [45.0, 90.0, 150.0])
@pytest.mark.parametrize("step", [1.0, 5.0, 10.0])
def test_window_starts_when_the_warm_up_is_over(burn: Maker, tau: float, step: float) -> None:
    made = burn(minutes=25, tau=tau, step=step)
    frame = made.frame()
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    lack = (made.settled - 295) * np.exp(-(start - made.light_off) * step / tau)
    assert lack < 4.5 * FAHRENHEIT  # 3 °F are allowed; noise and a bin's width add to it
    earliest = tau * np.log((made.settled - 295) / (3 * FAHRENHEIT))
    assert (start - made.light_off) * step < earliest + 150  # no more than about a moving window too late
    assert abs(stop - made.off) * step <= 10
    check_account(found, frame)


def test_phases_come_in_order(burn: Maker) -> None:
    found = find_steady_window(burn().frame())
    phases = list(dict.fromkeys(part.phase for part in found.refused))
    assert phases == ["fresh air", "light-off", "warm-up", "shut-down"]
    assert found.refused[-1].phase == "fresh air"
    assert found.judged == ("oxygen_dry", "carbon_monoxide_dry", "flue_temperature")
    assert found.not_judged == ()
    assert found.least_bad is None
    assert found.rules_agree is None
    assert found.window == found.by_rules


def test_slow_drift_of_the_flue_does_not_block(burn: Maker) -> None:
    drift = 0.5 * FAHRENHEIT / 60
    frame = burn(minutes=20, tau=30, drift=drift).frame()
    found = find_steady_window(frame)
    assert found.window is not None
    assert found.window.rows > 600
    assert found.flue_slope == pytest.approx(drift, rel=0.1)
    assert re.search(r"the flue drifted by 0\.(49|5|51) °F/min", found.window.because)


def test_a_steady_climb_is_refused_with_its_number(burn: Maker) -> None:
    frame = burn(minutes=20, tau=1.0, settled=400.0, drift=6 * FAHRENHEIT / 60).frame()
    found = find_steady_window(frame)
    assert found.window is None
    assert found.least_bad is not None
    assert found.least_bad.chosen_by == "rules"
    reasons = " ".join(part.reason for part in found.refused)
    assert "flue temperature still rising 6 °F/min; limit 2 °F/min" in reasons
    assert re.search(r"flue temperature still rising (5\.9|6|6\.1) °F/min", found.least_bad.because)
    assert found.least_bad.because in found.outcome
    reasons = " ".join(part.reason for part in find_steady_window(frame, system="SI").refused)
    assert "flue temperature still rising 3.3 K/min; limit 1.1 K/min" in reasons


@pytest.mark.parametrize("with_return", [False, True])
@pytest.mark.parametrize("tau", [60.0, 120.0])
def test_remaining_rise_is_the_rest_of_the_exponential(burn: Maker, tau: float, with_return: bool) -> None:
    drift = 0.3 * FAHRENHEIT / 60
    made = burn(minutes=20, tau=tau, drift=drift, noise=0.3)
    frame = made.frame()
    if with_return:
        frame["return_temperature"] = 293.0 + drift * np.arange(len(frame))
    stop = made.light_off + round(4.0 * tau)
    manual = (frame.index[made.light_off + 60], frame.index[stop - 1], "to see the rise")
    found = find_steady_window(frame, manual=manual)
    left = (made.settled - 295) * np.exp(-4.0)
    assert found.flue_rise_remaining == pytest.approx(left, rel=0.15)


def test_flue_that_follows_a_warming_loop_counts_as_settled(burn: Maker) -> None:
    made = burn(minutes=16, tau=25, settled=320.0, step=2.0, noise=0.2)
    frame = made.frame()
    age = np.clip((np.arange(len(frame)) - made.light_off) * made.step, 0, None)
    loop = 6.0 * (1 - np.exp(-age / 200))
    frame["flue_temperature"] += np.where(frame["oxygen_dry"] < 0.15, loop, 0.0)
    alone = find_steady_window(frame)
    frame["return_temperature"] = 300.0 + loop
    followed = find_steady_window(frame)
    start, stop = rows_of(followed, frame)
    assert stop > made.off - 10
    assert alone.window is None or frame.index.get_loc(alone.window.start) > start + 60 / made.step


def test_nothing_remains_once_it_is_over(burn: Maker) -> None:
    found = find_steady_window(burn(minutes=40, drift=0.3 * FAHRENHEIT / 60).frame())
    assert abs(found.flue_rise_remaining) < 0.2


def test_creep_of_oxygen_is_taken_only_as_far_as_the_span(burn: Maker) -> None:
    made = burn(minutes=40)
    frame = made.frame()
    age = np.clip((np.arange(len(frame)) - made.light_off) / 60, 0, 40)
    frame["oxygen_dry"] += np.where(
        frame["oxygen_dry"] < 0.15, 0.0004 * age, 0.0
    )  # 0.04 % a minute: slope passes
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    assert stop > made.off - 15
    assert (
        8 * 60 < stop - start < 13 * 60
    )  # 0.4 % are ten minutes, and a moving mean looks a minute to either side
    assert any(
        re.fullmatch(r"oxygen moved by 1\.\d % by the end of the stretch; limit 0.4 %", part.reason)
        for part in found.refused
    )


@pytest.mark.parametrize("step", [1.0, 4.0, 10.0])
@pytest.mark.parametrize("minutes", [8, 12, 20])
@pytest.mark.parametrize(
    "path", [lambda t: np.sin(3 * t), lambda t: -np.sin(3 * t), lambda t: np.sin(7 * t + 1) / 2, lambda t: t]
)
def test_oxygen_that_wanders_by_a_digit_or_two_approaches_nothing(
    path: Callable[[Array], Array], minutes: int, step: float
) -> None:
    """A display in tenths of a percent: a wander of 0.2 %, as of wind, is no settling of twice its size."""
    count = round(60 * minutes / step)
    rng = np.random.default_rng(3)
    oxygen = 0.0624 + 0.002 * path(np.arange(count) / count) + 1e-4 * rng.standard_normal(count)
    frame = pd.DataFrame(
        {
            "oxygen_dry": np.round(oxygen, 3),
            "flue_temperature": 450 + 0.2 * rng.standard_normal(count),
        },
        index=pd.date_range("2026-01-14", periods=count, freq=pd.Timedelta(seconds=step), tz="UTC"),
    )
    found = find_steady_window(frame)
    assert found.window is not None, found.outcome
    assert found.window.rows * step >= 300


def test_adjustment_in_mid_burn_moves_the_window_behind_it(burn: Maker) -> None:
    made = burn(minutes=30)
    frame = made.frame()
    change = made.light_off + 15 * 60
    age = np.clip(np.arange(len(frame)) - change, 0, None)
    lit = (np.arange(len(frame)) >= change) & (np.arange(len(frame)) < made.off)
    frame.loc[lit, "oxygen_dry"] += 0.02 * (1 - np.exp(-age[lit] / 20))
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    assert change + 20 < start < change + 240
    assert stop >= made.off - 10
    earlier = [part for part in found.refused if part.phase == "steady"]
    assert any("a later stretch was taken" in part.reason for part in earlier)
    check_account(found, frame)


def test_last_burn_that_settles_is_taken(burn: Maker) -> None:
    one = burn(minutes=15).frame()
    short = burn(minutes=3, seed=2).frame()
    frame = pd.concat([one, one, short], ignore_index=True)
    frame.index = pd.date_range("2026-01-14 10:00", periods=len(frame), freq="1s", tz="UTC", name="time")
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    assert len(one) < start < stop < 2 * len(one)
    assert sum(part.phase == "light-off" for part in found.refused) == 3
    check_account(found, frame)


# --- burns that do not -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("period", [100.0, 180.0, 300.0])
def test_modulation_never_holds(burn: Maker, period: float) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    rows = np.arange(len(frame))
    swing = 0.01 * np.sin(2 * np.pi * rows / period)
    frame["oxygen_dry"] += np.where((rows >= made.light_off) & (rows < made.off), swing, 0.0)
    found = find_steady_window(frame)
    assert found.window is None
    assert found.least_bad is not None
    assert "No steady window of 5 min was found" in found.outcome
    assert any("oxygen" in part.reason and part.phase == "unsteady" for part in found.refused)
    check_account(found, frame)


def test_fast_flutter_is_refused_for_its_spread(burn: Maker) -> None:
    made = burn(minutes=20)
    frame = made.frame()
    lit = slice(made.light_off, made.off)
    column = frame.columns.get_loc("oxygen_dry")
    flutter = 0.01 * np.where(np.arange(made.off - made.light_off) % 2, 1.0, -1.0)
    frame.iloc[lit, column] += flutter
    found = find_steady_window(frame)
    assert found.window is None
    assert any(
        "oxygen scattered by 1 % (standard deviation); limit 0.3 %" in part.reason for part in found.refused
    )


def test_spike_of_carbon_monoxide_is_left_out_and_named(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    spike = made.light_off + 12 * 60
    frame.iloc[spike : spike + 20, frame.columns.get_loc("carbon_monoxide_dry")] += 400e-6
    found = find_steady_window(frame)
    start, _ = rows_of(found, frame)
    assert start > spike + 20
    (hit,) = [part for part in found.refused if part.start <= frame.index[spike] <= part.end]
    assert hit.phase == "unsteady"
    assert hit.reason.startswith("carbon monoxide")


def test_dropouts_do_not_break_the_window(burn: Maker) -> None:
    made = burn(minutes=20)
    frame = made.frame()
    frame.iloc[::7, 0] = np.nan
    frame.iloc[made.light_off + 800 : made.light_off + 830] = np.nan
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    assert start < made.light_off + 800
    assert stop > made.off - 15
    check_account(found, frame)


def test_long_dropout_of_the_gas_ends_the_stretch(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    hole = made.light_off + 900
    frame.iloc[hole : hole + 120, 0] = np.nan
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    assert start >= hole + 120
    assert stop > made.off - 15
    assert any(part.phase == "no flue gas reading" and part.rows == 120 for part in found.refused)


def test_gap_in_the_log_ends_the_stretch(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    hole = made.light_off + 900
    frame = frame.drop(frame.index[hole : hole + 240])
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    assert start >= hole or stop <= hole
    check_account(found, frame)


def test_carbon_monoxide_without_numbers_is_told(burn: Maker) -> None:
    frame = burn().frame()
    frame["carbon_monoxide_dry"] = np.nan
    found = find_steady_window(frame)
    assert found.window is not None
    assert found.not_judged == ("carbon_monoxide_dry",)
    assert "Not judged, for want of readings: carbon monoxide." in found.outcome


def test_missing_flue_temperature_is_told(burn: Maker) -> None:
    found = find_steady_window(burn().frame().drop(columns="flue_temperature"))
    assert found.window is not None
    assert found.not_judged == ("flue_temperature",)
    assert np.isnan(found.flue_slope)
    assert np.isnan(found.flue_rise_remaining)


def test_a_pre_purge_is_told_by_the_fan(burn: Maker) -> None:
    made = burn()
    frame = made.frame()
    pull = np.where(np.arange(len(frame)) < made.light_off - 30, 0.0, -180.0)
    pull[made.off :] = 0.0
    found = find_steady_window(frame.assign(draft_inducer=pull))
    assert [part.phase for part in found.refused[:3]] == ["fresh air", "pre-purge", "light-off"]
    assert abs(found.refused[1].rows - 30) <= 10  # light-off is told by the oxygen, which lags
    assert found.window == find_steady_window(frame).window
    check_account(found, frame)


def test_a_fan_that_stopped_again_is_no_pre_purge(burn: Maker) -> None:
    made = burn()
    frame = made.frame()
    pull = np.where(np.arange(len(frame)) > made.light_off + 10, -180.0, 0.0)
    pull[10:40] = -180.0
    found = find_steady_window(frame.assign(draft_inducer=pull))
    assert "pre-purge" not in {part.phase for part in found.refused}


@pytest.mark.parametrize("name", ["firing_rate_setting", "gas_volume_flow"])
def test_modulation_is_told_by_the_firing_rate(burn: Maker, name: str) -> None:
    made = burn(minutes=30)
    frame = made.frame()
    age = np.arange(len(frame)) - made.light_off
    moving = (age > 1000) & (age < 1400)
    share = np.where(moving, 0.7 + 0.3 * np.sin(age / 15), 1.0)
    frame["oxygen_dry"] += np.where(moving, 0.02 * (1 - share), 0.0)
    frame["flue_temperature"] += np.where(moving, 40 * (share - 1), 0.0)
    parts = find_steady_window(frame.assign(**{name: share * (1.0 if "setting" in name else 6e-4)})).refused
    (part,) = [part for part in parts if part.phase == "modulating"]
    assert part.reason.startswith("the firing rate moved between 4")
    still = find_steady_window(frame.assign(**{name: 1.0})).refused
    assert {one.phase for one in still} >= {"unsteady"}
    assert "modulating" not in {one.phase for one in still}


@pytest.mark.parametrize(("until", "found"), [(120, True), (360, False)])
def test_a_slow_ramp_of_the_firing_rate_is_no_steady_window(until: int, found: bool) -> None:
    """However still oxygen and flue are kept meanwhile, as a ratio control keeps them."""
    rows = np.arange(360)
    frame = pd.DataFrame(
        {
            "oxygen_dry": 0.06 + 2e-4 * np.random.default_rng(3).standard_normal(360),
            "flue_temperature": 430.0 + 0.2 * np.random.default_rng(4).standard_normal(360),
            "firing_rate_setting": np.where(rows < until, 0.7 - 0.4 * rows / until, 0.3),
        },
        index=pd.date_range("2026-01-14 10:00", periods=360, freq="5s", tz="UTC"),
    )
    result = find_steady_window(frame)
    assert "modulating" in {part.phase for part in result.refused}
    assert (result.window is not None) is found
    if result.window is not None:
        assert result.window.start >= frame.index[until - 20]


def test_a_burner_signal_that_says_off_is_off(burn: Maker) -> None:
    made = burn()
    frame = made.frame()
    on = np.arange(len(frame)) < made.off - 60
    found = find_steady_window(frame.assign(burner_on=on.astype(float)))
    assert "off" in {part.phase for part in found.refused}


def test_short_burn_is_told_so(burn: Maker) -> None:
    found = find_steady_window(burn(minutes=3).frame())
    assert found.window is None
    assert "the log is too short; it holds 3 min of unbroken burning" in found.outcome
    assert found.least_bad is not None


def test_light_off_only(burn: Maker) -> None:
    found = find_steady_window(burn(minutes=0.8).frame())
    assert found.window is None
    assert {part.phase for part in found.refused} == {"fresh air", "light-off", "shut-down"}


def test_fresh_air_only(burn: Maker) -> None:
    frame = burn().frame().iloc[:100]
    found = find_steady_window(frame)
    assert found.window is None
    assert found.least_bad is None
    assert "no flue gas" in found.outcome
    assert [part.phase for part in found.refused] == ["fresh air"]


def test_no_gas_reading_at_all(burn: Maker) -> None:
    frame = burn().frame()[["carbon_monoxide_dry"]]
    found = find_steady_window(frame)
    assert found.window is None
    assert [part.phase for part in found.refused] == ["no flue gas reading"]


def test_carbon_dioxide_stands_in_for_oxygen(burn: Maker) -> None:
    made = burn()
    frame = made.frame()
    frame["carbon_dioxide_dry"] = 0.118 * (1 - frame.pop("oxygen_dry") / 0.209)
    found = find_steady_window(frame)
    start, stop = rows_of(found, frame)
    assert made.light_off < start < stop <= made.off + 30


def test_the_burners_own_signal_ends_the_burn(burn: Maker) -> None:
    made = burn()
    frame = made.frame()
    off = made.off - 120
    frame["burner_on"] = ((np.arange(len(frame)) >= made.light_off) & (np.arange(len(frame)) < off)).astype(
        float
    )
    found = find_steady_window(frame)
    assert rows_of(found, frame)[1] == off
    assert any(part.reason == "the burner's own signal says off" for part in found.refused)


def test_flicker_is_one_stretch(burn: Maker) -> None:
    frame = burn(minutes=20).frame()
    frame.iloc[::2, 0] = 0.209
    found = find_steady_window(frame)
    assert found.window is None
    assert len(found.refused) < 6
    check_account(found, frame)


# --- laws ------------------------------------------------------------------------------------------------------------


@pytest.mark.law
def test_moving_the_clock_moves_the_window_with_it(burn: Maker) -> None:
    frame = burn().frame()
    moved = frame.set_axis((frame.index + pd.Timedelta(days=93, seconds=7.25)).tz_convert("Asia/Kolkata"))
    assert rows_of(find_steady_window(frame), frame) == rows_of(find_steady_window(moved), moved)


@pytest.mark.law
def test_units_of_the_log_do_not_matter(burn: Maker) -> None:
    frame = burn().frame()
    through = frame.copy()
    fahrenheit = frame["flue_temperature"] * 9 / 5 - 459.67
    through["flue_temperature"] = (fahrenheit + 459.67) * 5 / 9
    through["oxygen_dry"] = frame["oxygen_dry"] * 100 / 100
    assert rows_of(find_steady_window(frame), frame) == rows_of(find_steady_window(through), through)
    us, si = find_steady_window(frame, system="US"), find_steady_window(frame, system="SI")
    assert rows_of(us, frame) == rows_of(si, frame)


@pytest.mark.law
@pytest.mark.parametrize("offset", [-40.0, 0.1, 300.0])
def test_a_wrong_thermometer_finds_the_same_window(burn: Maker, offset: float) -> None:
    frame = burn().frame()
    wrong = frame.assign(flue_temperature=frame["flue_temperature"] + offset)
    assert rows_of(find_steady_window(frame), frame) == rows_of(find_steady_window(wrong), wrong)


@pytest.mark.law
def test_order_of_columns_does_not_matter(burn: Maker) -> None:
    frame = burn().frame()
    turned = frame[list(frame.columns[::-1])]
    assert find_steady_window(frame) == find_steady_window(turned)


@pytest.mark.law
def test_the_frame_is_left_alone(burn: Maker) -> None:
    frame = burn().frame()
    frame.iloc[::7, 0] = np.nan
    before = frame.copy(deep=True)
    find_steady_window(frame)
    pd.testing.assert_frame_equal(frame, before)


@pytest.mark.law
def test_faster_drift_is_never_easier_to_accept(burn: Maker) -> None:
    lengths = []
    for drift in (0.0, 1.0, 1.5, 2.5, 4.0):
        found = find_steady_window(burn(minutes=25, tau=20, drift=drift * FAHRENHEIT / 60).frame())
        lengths.append(found.window.rows if found.window else 0)
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[0] > 1200
    assert lengths[-1] == 0


@pytest.mark.law
@hypothesis.settings(max_examples=60, deadline=None)
@hypothesis.given(
    seed=some.integers(0, 10_000), count=some.integers(1, 400), step=some.sampled_from([0.5, 1.0, 7.0, 60.0])
)
def test_every_row_is_accounted_for(seed: int, count: int, step: float) -> None:
    rng = np.random.default_rng(seed)
    level = np.repeat(rng.choice([0.05, 0.08, 0.15, 0.209, np.nan], 20), 20)[:count]
    steps = step * rng.choice([1.0, 1.0, 1.0, 2.0, 40.0], count, p=[0.4, 0.3, 0.2, 0.08, 0.02])
    frame = pd.DataFrame(
        {
            "oxygen_dry": level + 2e-4 * rng.standard_normal(count),
            "carbon_monoxide_dry": np.where(rng.random(count) < 0.1, np.nan, 30e-6),
            "flue_temperature": 400 + np.cumsum(rng.standard_normal(count)) * rng.choice([0.0, 0.1, 3.0]),
        },
        index=pd.Timestamp("2026-03-29", tz="UTC") + pd.to_timedelta(np.cumsum(steps), unit="s"),
    )
    found = find_steady_window(frame)
    check_account(found, frame)
    if found.window:
        inside = frame.loc[found.window.start : found.window.end, "oxygen_dry"]
        assert not (inside >= 0.2).any()
        assert (found.window.end - found.window.start).total_seconds() >= 300 - 2 * 60


# --- definitions of steady -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", criteria_names())
def test_each_definition_says_where_it_is_from(name: str) -> None:
    criteria = named_criteria(name)
    assert criteria.name == name
    assert criteria.source
    assert criteria.status in {"memory", "quoted", "read", "chosen"}
    assert criteria.status != "memory" or "value from memory" in criteria.source
    assert all(limit.reason for limit in criteria.limits.values())
    assert criteria.slope["flue_temperature"] > 0
    assert criteria.spread["flue_temperature"] > 0


@pytest.mark.parametrize("name", [name for name in criteria_names() if name != "field test"])
def test_published_definition_takes_half_an_hour(burn: Maker, name: str) -> None:
    criteria = named_criteria(name)
    calm = burn(minutes=60, step=5.0, noise=0.3).frame()
    found = find_steady_window(calm, criteria=criteria)
    assert found.window is not None
    assert (found.window.end - found.window.start).total_seconds() >= 1795
    enough = find_steady_window(burn(minutes=38, tau=20, step=5.0, noise=0.3).frame(), criteria=criteria)
    assert enough.window is not None  # the definition holds for any half hour, not only for the middle of one
    climbing = burn(minutes=60, step=5.0, noise=0.3, drift=0.3 * FAHRENHEIT / 60).frame()
    assert find_steady_window(climbing, criteria=criteria).window is None
    assert find_steady_window(climbing).window is not None
    short = find_steady_window(burn(minutes=20).frame(), criteria=criteria)
    assert short.window is None
    assert "the log is too short; it holds 20 min of unbroken burning" in short.outcome
    assert "asks for 30 min" in short.outcome


def test_unknown_definition_suggests_the_nearest() -> None:
    with pytest.raises(
        UnknownNameError, match="no definition of steady 'feild test'; did you mean 'field test'"
    ):
        named_criteria("feild test")


def test_limits_and_criteria_are_checked_when_made() -> None:
    with pytest.raises(InputError, match="must be above zero"):
        Limits(slope=0.0)
    with pytest.raises(InputError, match="need positive lengths and at least one channel"):
        Criteria(name="x", minimum_length=1.0, slope_length=1.0, limits={}, source="", status="chosen")


# --- a person's window -----------------------------------------------------------------------------------------------


def test_window_of_a_person_overrides_and_is_labelled(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    ends = (frame.index[made.light_off + 900], frame.index[made.light_off + 1300], "meter clocked here")
    found = find_steady_window(frame, manual=ends)
    assert found.window is not None
    assert (found.window.start, found.window.end) == ends[:2]
    assert found.window.rows == 401
    assert found.window.chosen_by == "person"
    assert found.window.because == "meter clocked here"
    assert found.rules_agree is True
    assert "chosen by a person (meter clocked here)" in found.outcome
    assert "The rules agree" in found.outcome
    assert found.by_rules is not None
    assert found.by_rules.chosen_by == "rules"
    check_account(found, frame)


def test_rules_say_so_when_they_disagree_with_a_person(burn: Maker) -> None:
    made = burn(minutes=25, tau=150.0)
    frame = made.frame()
    ends = (frame.index[made.light_off + 70], frame.index[made.light_off + 400], "in a hurry")
    found = find_steady_window(frame, manual=ends)
    assert found.rules_agree is False
    assert "The rules refuse 331 of its 331 rows; most of them as warm-up: flue temperature" in found.outcome
    check_account(found, frame)


def test_window_of_a_person_may_be_too_short_for_the_rules(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    ends = (frame.index[made.light_off + 900], frame.index[made.light_off + 1000], "short")
    found = find_steady_window(frame, manual=ends)
    assert found.rules_agree is False
    assert "the rules ask for at least 5 min" in found.outcome


def test_fresh_air_within_the_window_of_a_person_is_told(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    ends = (frame.index[made.off - 400], frame.index[-1], "all the rest")
    found = find_steady_window(frame, manual=ends)
    assert found.rules_agree is False
    assert "rows hold no flue gas" in found.outcome
    check_account(found, frame)


@pytest.mark.law
def test_fresh_air_within_the_window_of_a_person_is_left_out_of_its_means(burn: Maker) -> None:
    made = burn(minutes=25, step=5.0)
    frame = made.frame()
    pull = slice(made.light_off + 200, made.light_off + 206)
    frame.iloc[pull, 0] = 0.209
    age = 5.0 * np.arange(60)
    frame.iloc[pull.stop : pull.stop + 60, 0] += 0.15 * np.exp(-age / 10)
    ends = (frame.index[made.light_off + 150], frame.index[made.light_off + 280], "a whole stretch")
    found = find_steady_window(frame, manual=ends)
    assert found.window is not None
    averaged = found.window.of(frame)
    assert found.window.rows == 131
    assert 117 <= len(averaged) <= 122  # six rows of fresh air, and as many until the probe has filled
    assert f"{131 - len(averaged)} of its 131 rows hold no flue gas" in found.outcome
    assert averaged["oxygen_dry"].mean() == pytest.approx(0.06, abs=5e-4)
    assert averaged["oxygen_dry"].max() < 0.075
    settled = settled_point(frame, name="one", window=found.window, accuracies={})
    assert settled.means["oxygen_dry"].mean == pytest.approx(averaged["oxygen_dry"].mean())
    check_account(found, frame)


# --- what fresh air is -----------------------------------------------------------------------------------------------


def pulled(made: Any, **columns: tuple[float, float]) -> pd.DataFrame:
    """Return a burn with the probe out for half a minute; each further column has a value in the burn and in it."""
    frame = made.frame()
    out = slice(made.light_off + 600, made.light_off + 630)
    frame.iloc[out, 0] = 0.209
    for name, (on, then) in columns.items():
        frame[name] = np.where(frame["oxygen_dry"] < 0.2, on, 0.0)
        frame.iloc[out, frame.columns.get_loc(name)] = then
    return frame


def phases(found: Steadiness) -> list[str]:
    return [part.phase for part in found.refused]


@pytest.mark.parametrize("columns", [{}, {"burner_on": (1.0, 1.0)}, {"gas_volume_flow": (4e-4, 4e-4)}])
def test_a_pulled_probe_is_no_burner_off(burn: Maker, columns: dict[str, tuple[float, float]]) -> None:
    found = find_steady_window(pulled(burn(minutes=25), **columns))
    assert phases(found).count("light-off") == 1
    assert phases(found).count("shut-down") <= 1
    assert any(part.rows == 30 and "the burner ran on" in part.reason for part in found.refused)


@pytest.mark.parametrize("columns", [{"burner_on": (1.0, 0.0)}, {"gas_volume_flow": (4e-4, 0.0)}])
def test_the_burners_signal_says_that_it_went_off(
    burn: Maker, columns: dict[str, tuple[float, float]]
) -> None:
    found = find_steady_window(pulled(burn(minutes=25), **columns))
    assert phases(found).count("light-off") == 2
    assert not any("ran on" in part.reason for part in found.refused)


def test_a_flue_that_cools_tells_of_a_burner_off(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = pulled(made)
    cooling = slice(made.light_off + 600, made.light_off + 630)
    frame.iloc[cooling, 2] -= 155 * (1 - np.exp(-np.arange(30) / 60))
    assert phases(find_steady_window(frame)).count("light-off") == 2


def low_cell(burn: Maker, *, factor: float = 0.937, **columns: float) -> pd.DataFrame:
    frame = burn(minutes=25).frame()
    frame["oxygen_dry"] *= factor
    return frame.assign(**columns).iloc[:1500]


@pytest.mark.parametrize("columns", [{}, {"air_temperature": 296.0}, {"carbon_dioxide_dry": 0.0004}])
def test_a_cell_that_reads_low_in_fresh_air_hides_no_light_off(
    burn: Maker, columns: dict[str, float]
) -> None:
    found = find_steady_window(low_cell(burn, **columns))
    assert phases(found)[:2] == ["fresh air", "light-off"]
    assert re.search(r"oxygen stood at 19\.6 % .*was the oxygen cell set right", found.refused[0].reason)
    assert found.refused[0].rows == pytest.approx(120, abs=2)


@pytest.mark.parametrize(
    "columns", [{"air_temperature": 280.0}, {"carbon_dioxide_dry": 0.007}, {"burner_on": 1.0}]
)
def test_gas_with_any_sign_of_a_burner_is_not_taken_for_fresh_air(
    burn: Maker, columns: dict[str, float]
) -> None:
    assert "fresh air" not in phases(find_steady_window(low_cell(burn, **columns)))


def test_a_dropout_between_fresh_air_and_the_burn_loses_no_light_off(burn: Maker) -> None:
    made = burn(minutes=25, step=5.0)
    frame = made.frame()
    frame.iloc[made.light_off + 1, 0] = np.nan
    assert phases(find_steady_window(frame))[:3] == ["fresh air", "no flue gas reading", "light-off"]
    frame.iloc[made.light_off + 1 : made.light_off + 40, 0] = np.nan  # three minutes hide when it lit
    assert "light-off" not in phases(find_steady_window(frame))


# --- what is said ----------------------------------------------------------------------------------------------------


def test_no_channel_is_said_to_hold_still_where_it_was_not_read(burn: Maker) -> None:
    made = burn(minutes=25)
    frame = made.frame()
    frame.iloc[[made.light_off + 900, made.light_off + 901], 1] = np.nan
    found = find_steady_window(frame)
    assert found.window is not None
    rows = found.window.rows
    assert found.window.because.startswith("oxygen and flue temperature held still together for")
    said = f"carbon monoxide held still on the {rows - 2:,} of {rows:,} rows on which it was read"
    assert said in found.window.because


def test_logged_channels_without_a_say_in_a_definition_are_named(burn: Maker) -> None:
    frame = burn(minutes=80, step=5.0).frame()
    found = find_steady_window(frame, criteria=named_criteria("furnace or boiler, ASHRAE 103"))
    assert found.not_judged == ("oxygen_dry", "carbon_monoxide_dry")
    assert "asks nothing of it: oxygen and carbon monoxide." in found.outcome
    assert find_steady_window(frame).not_judged == ()


@pytest.mark.parametrize(
    ("ends", "message"),
    [
        ((5000, 6000), "holds no row; this test point's readings run from"),
        ((300, 200), "holds no row"),
        ((0, 60), "holds no flue gas"),
    ],
)
def test_unusable_window_of_a_person(burn: Maker, ends: tuple[int, int], message: str) -> None:
    frame = burn().frame()
    start, end = (frame.index[0] + pd.Timedelta(seconds=second) for second in ends)
    with pytest.raises(InputError, match=message):
        find_steady_window(frame, manual=(start, end, "wrong"))


def test_window_of_a_person_needs_a_zone(burn: Maker) -> None:
    naive = pd.Timestamp("2026-01-14 10:10")
    with pytest.raises(InputError, match="has no time zone; give both ends"):
        find_steady_window(burn().frame(), manual=(naive, naive, "wrong"))


# --- frames that cannot be used --------------------------------------------------------------------------------------


def test_unusable_time_is_refused(burn: Maker) -> None:
    frame = burn().frame()
    with pytest.raises(InputError, match="need a time index with a time zone"):
        find_steady_window(frame.tz_localize(None))
    with pytest.raises(InputError, match="holds no rows"):
        find_steady_window(frame.iloc[:0])
    with pytest.raises(InputError, match=r"time does not go forward at .*, row 100 of the test point"):
        find_steady_window(pd.concat([frame.iloc[:100], frame.iloc[99:]]))


# --- what a sceptic found ---------------------------------------------------------------------------------------------


def made(count: int, step: float, **columns: Array) -> pd.DataFrame:
    index = pd.date_range("2026-01-14", periods=count, freq=pd.Timedelta(seconds=step), tz="UTC")
    return pd.DataFrame(columns, index=index)


@pytest.mark.parametrize("name", criteria_names())
def test_no_flue_gas_is_told_by_every_definition(name: str) -> None:
    frame = made(300, 1.0, oxygen_dry=np.full(300, 0.209), flue_temperature=np.full(300, 295.0))
    found = find_steady_window(frame, criteria=named_criteria(name))
    assert found.window is None
    assert "there is no flue gas here" in found.outcome


@pytest.mark.parametrize("late", [0, 2, 6, 20, 60])
def test_a_window_of_a_person_that_begins_while_the_probe_fills_leaves_that_out(late: int) -> None:
    time = np.arange(0, 720, 2.0)
    oxygen = np.round(np.where(time < 60, 0.209, 0.06 + 0.149 * np.exp(-(time - 60) / 20)), 3)
    frame = made(360, 2.0, oxygen_dry=oxygen, flue_temperature=np.full(360, 460.0))
    start = frame.index[0] + pd.Timedelta(seconds=60 + late)
    found = find_steady_window(frame, manual=(start, start + pd.Timedelta(seconds=300), "chosen"))
    assert found.window is not None
    assert found.window.of(frame)["oxygen_dry"].mean() == pytest.approx(0.0605, abs=0.0006)


def test_a_flue_that_rises_has_nothing_left_to_fall() -> None:
    """Two approaches that cancel each other fit noise that remembers; the flue itself only rises."""
    time, falls = np.arange(0, 900, 2.0), 0
    for seed in range(530, 560):
        noise = np.random.default_rng(seed).standard_normal(len(time))
        for row in range(1, len(noise)):
            noise[row] = 0.95 * noise[row - 1] + np.sqrt(1 - 0.95**2) * noise[row]
        rise = 240 * (0.85 * np.exp(-time / 100) + 0.15 * np.exp(-time / 220))
        flue = np.round(10 * (265 - rise + 0.3 * noise)) / 10 + 273.15
        frame = made(len(time), 2.0, oxygen_dry=np.full(len(time), 0.06), flue_temperature=flue)
        falls += find_steady_window(frame).flue_rise_remaining < -0.5
    assert not falls


def test_a_cold_flue_whose_path_falls_has_settled_only_once_its_rise_is_over() -> None:
    """A condensing boiler whose return water, not logged, cools: the flue settles to a falling path."""
    time = np.arange(0, 1200, 2.0)
    lacks = 22 * (0.75 * np.exp(-time / 50) + 0.25 * np.exp(-time / 150))
    noise = 0.1 * np.random.default_rng(4).standard_normal(len(time))
    flue = np.round(10 * (42 - 2.4 * time / 600 - lacks + noise)) / 10 + 273.15
    frame = made(len(time), 2.0, oxygen_dry=np.full(len(time), 0.05), flue_temperature=flue)
    found = find_steady_window(frame)
    assert found.window is not None, found.outcome
    assert lacks[frame.index.get_loc(found.window.start)] < 0.3


@pytest.mark.parametrize("period", [180, 220, 1800])
@pytest.mark.parametrize("amplitude", [0.001, 0.002])
def test_oxygen_that_sways_with_the_wind_and_goes_nowhere_holds_still(
    amplitude: float, period: float
) -> None:
    time = np.arange(0, 1800, 2.0)
    noise = 2e-4 * np.random.default_rng(1).standard_normal(len(time))
    oxygen = np.round(0.0624 + amplitude * np.sin(2 * np.pi * time / period) + noise, 3)
    frame = made(len(time), 2.0, oxygen_dry=oxygen, flue_temperature=np.full(len(time), 460.0))
    found = find_steady_window(frame)
    assert found.window is not None, found.outcome
    assert found.window.rows > 0.7 * len(frame)


def test_the_rules_agree_with_a_person_who_chooses_their_own_window(burn: Maker) -> None:
    for minutes in (9, 10, 12, 14):
        frame = burn(minutes=minutes, tau=90, step=2.0).frame()
        window = find_steady_window(frame).window
        if window is not None:
            again = find_steady_window(frame, manual=(window.start, window.end, "as the rules"))
            assert again.rules_agree, again.outcome
            assert window.rows * 2 >= 180


def test_a_slow_burn_in_is_told_with_its_number() -> None:
    time = np.arange(0, 900, 2.0)
    noise = np.random.default_rng(2).standard_normal(len(time))
    monoxide = np.round(30 + 40 * np.exp(-(time + 300) / 1200) + 0.5 * noise) * 1e-6
    flat = np.full(len(time), 460.0)
    frame = made(
        len(time), 2.0, oxygen_dry=flat * 0 + 0.06, carbon_monoxide_dry=monoxide, flue_temperature=flat
    )
    found = find_steady_window(frame)
    assert found.window is not None
    assert re.search(r"carbon monoxide fell by \d+ ppm meanwhile", found.outcome), found.outcome
    level = frame.assign(carbon_monoxide_dry=40e-6)
    assert "meanwhile" not in find_steady_window(level).outcome
