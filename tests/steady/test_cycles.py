"""Burner cycles made from formulas: how many, how long, what settled and the peaks are known before the code runs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest

from fluewright.steady import Cycles, find_cycles, find_steady_window

Maker = Callable[..., Any]
FRESH, OXYGEN, MONOXIDE, COLD, HOT = 0.209, 0.06, 40e-6, 295.0, 450.0
LONG, SHORT = 900.0, 240.0  # s; a long burn settles, a short one has no time to
BURNS = (LONG, SHORT, LONG, LONG, SHORT)
OFF = 300.0
MINUTE = pd.Timedelta(minutes=1)


def cycling(
    on: Sequence[float] = BURNS,
    *,
    off: float = OFF,
    step: float = 2.0,
    signal: bool = False,
    noise: float = 1.0,
    left: float = FRESH,
    seed: int = 1,
) -> pd.DataFrame:
    """Burns of `on` seconds, `off` seconds before, between and after; oxygen rises to `left` while off."""
    rng = np.random.default_rng(seed)
    long = np.asarray(on)
    lit = off + np.concatenate(([0.0], np.cumsum(long + off)[:-1]))
    time = np.arange(0.0, lit[-1] + long[-1] + off, step)
    burn = np.searchsorted(lit, time, "right") - 1
    age = time - lit[burn]
    burning = (burn >= 0) & (age < long[burn])
    after = np.where(burn >= 0, age - long[burn], np.inf)  # since the last burn ended
    rise = np.where(burning, 1 - np.exp(-np.abs(age) / 60), np.exp(-np.abs(after) / 60))
    oxygen = np.where(
        burning, OXYGEN, np.where(np.isinf(after), left, left - (left - OXYGEN) * np.exp(-after / 5))
    )
    spike = 1 + 5 * np.exp(-np.clip(age, 0, None) / 15)
    values = {
        "oxygen_dry": oxygen + noise * 3e-4 * rng.standard_normal(len(time)),
        "carbon_monoxide_dry": np.where(burning, MONOXIDE * spike, 0)
        + noise * 1e-6 * rng.standard_normal(len(time)),
        "flue_temperature": COLD + (HOT - COLD) * rise + noise * 0.3 * rng.standard_normal(len(time)),
    }
    if signal:
        values["burner_on"] = burning.astype(float)
    index = pd.date_range(
        "2026-01-14 10:00",
        periods=len(time),
        freq=pd.Timedelta(seconds=step),
        tz="America/New_York",
        name="time",
    )
    return pd.DataFrame(values, index=index)


def lit_at(number: int) -> float:
    """Return when a burn of `BURNS` was lit, in seconds after the log's start."""
    return OFF + sum(BURNS[:number]) + number * OFF


def after(frame: pd.DataFrame, seconds: float) -> pd.Timestamp:
    return frame.index[0] + pd.Timedelta(seconds=seconds)


def check_whole(found: Cycles, step: float) -> None:
    assert [one.on_time for one in found.cycles] == pytest.approx(BURNS, abs=step + 1e-6)
    assert [one.off_before for one in found.cycles[1:]] == pytest.approx([OFF] * 4, abs=step + 1e-6)
    assert all(one.lit and one.ended for one in found.cycles)
    assert [one.settled is not None for one in found.cycles] == [long == LONG for long in BURNS]


# --- count, times, what settled --------------------------------------------------------------------------------------


@pytest.mark.parametrize("signal", [False, True])
@pytest.mark.parametrize("step", [1.0, 2.0, 5.0])
def test_every_cycle_has_its_times_and_the_long_ones_what_they_settled_at(step: float, signal: bool) -> None:
    frame = cycling(step=step, signal=signal)
    found = find_cycles(frame)
    assert found.told_by == ("burner signal" if signal else "flue gas")
    check_whole(found, step)
    assert np.isnan(found.cycles[0].off_before)  # the log began while it was off
    for number, one in enumerate(found.cycles):
        assert abs((one.start - after(frame, lit_at(number))).total_seconds()) <= step
        if one.settled is None:
            assert one.why_never
            continue
        means = one.settled.of(frame).mean()
        assert means["oxygen_dry"] == pytest.approx(OXYGEN, abs=5e-4)
        assert means["carbon_monoxide_dry"] == pytest.approx(MONOXIDE, abs=2e-6)
        assert means["flue_temperature"] == pytest.approx(HOT, abs=2.0)
        assert one.settled_after == pytest.approx((one.settled.start - one.start).total_seconds())
        assert one.start < one.settled.start < one.settled.end <= one.end
    assert found.time_on == pytest.approx(sum(BURNS), abs=6 * step)
    assert found.time_known == pytest.approx(len(frame) * step)
    assert found.interval == step


@pytest.mark.parametrize("out", [30, 120, 240])
def test_a_pulled_probe_ends_no_cycle(burn: Maker, out: int) -> None:
    made = burn(minutes=25, step=5.0)
    frame = made.frame()
    pulled = frame.index[made.light_off + 120]
    whole = find_cycles(frame)
    frame.loc[pulled : pulled + pd.Timedelta(seconds=out - 5), "oxygen_dry"] = 0.209
    found = find_cycles(frame)
    assert len(found.cycles) == len(whole.cycles) == 1
    assert found.cycles[0].on_time == whole.cycles[0].on_time
    assert found.cycles[0].settled is not None
    frame.loc[pulled : pulled + pd.Timedelta(seconds=out - 5), "flue_temperature"] = 350.0
    assert len(find_cycles(frame).cycles) == 2


@pytest.mark.law
def test_a_single_burn_settles_where_the_steady_window_is(burn: Maker) -> None:
    frame = burn(minutes=20).frame()
    window = find_steady_window(frame).window
    assert window is not None
    (one,) = find_cycles(frame).cycles
    assert one.settled is not None
    assert (one.settled.start, one.settled.end, one.settled.rows) == (window.start, window.end, window.rows)
    assert one.on_time == pytest.approx(20 * 60, abs=1)


@pytest.mark.law
def test_windows_known_already_give_the_same_as_the_search() -> None:
    frame = cycling()
    found = find_cycles(frame)
    windows = []
    for number in (0, 2):
        part = frame.loc[
            after(frame, lit_at(number)) - MINUTE : after(frame, lit_at(number) + BURNS[number]) + MINUTE
        ]
        windows.append(find_steady_window(part).window)
    again = find_cycles(frame, windows=[one for one in windows if one is not None])
    assert [one.settled for one in again.cycles if one.settled in windows] == windows  # the very same
    for one, other in zip(again.cycles, found.cycles, strict=True):
        assert (one.settled is None) == (other.settled is None)
        assert one.settled_after == pytest.approx(other.settled_after, nan_ok=True)
        if one.settled is not None and other.settled is not None:
            assert (one.settled.end, one.settled.rows) == (other.settled.end, other.settled.rows)


@pytest.mark.law
def test_each_cycle_alone_in_its_log_comes_out_the_same() -> None:
    frame = cycling()
    for number, one in enumerate(find_cycles(frame).cycles):
        start = lit_at(number)
        alone = find_cycles(frame.loc[after(frame, start - 200) : after(frame, start + BURNS[number] + 200)])
        assert len(alone.cycles) == 1
        assert (alone.cycles[0].on_time, alone.cycles[0].light_off_peak) == (
            pytest.approx(one.on_time),
            one.light_off_peak,
        )
        assert (alone.cycles[0].settled is None) == (one.settled is None)
        if one.settled is not None and alone.cycles[0].settled is not None:
            assert (
                abs((one.settled.start - alone.cycles[0].settled.start).total_seconds()) <= 20
            )  # bins begin elsewhere


def test_a_burner_that_hunts_never_settles_and_the_reason_says_what_moved() -> None:
    frame = cycling((LONG, LONG))
    seconds = (frame.index - frame.index[0]).total_seconds().to_numpy()
    burning = frame["oxygen_dry"] < 0.1
    frame["oxygen_dry"] += np.where(burning, 0.01 * np.sin(2 * np.pi * seconds / 170), 0.0)
    found = find_cycles(frame)
    assert len(found.cycles) == 2
    for one in found.cycles:
        assert one.settled is None
        assert one.why_never.startswith("oxygen")


def test_a_short_burn_says_that_it_was_short() -> None:
    assert (
        find_cycles(cycling((SHORT, SHORT))).cycles[1].why_never
        == "burned for 4 min only; 5 min of stillness are needed"
    )


def test_a_burn_that_stood_still_too_briefly_never_settled() -> None:
    (one,) = find_cycles(cycling((480.0,))).cycles  # the flue takes five minutes of its eight
    assert one.settled is None
    assert one.why_never.startswith("held still for 2")


# --- where the log begins, ends or has a gap -------------------------------------------------------------------------


@pytest.mark.parametrize("signal", [False, True])
def test_a_log_that_begins_in_mid_burn(signal: bool) -> None:
    frame = cycling(signal=signal)
    found = find_cycles(frame.loc[after(frame, lit_at(0) + 120) :])
    first = found.cycles[0]
    assert len(found.cycles) == 5
    assert (first.lit, first.ended) == (False, True)
    assert first.on_time == pytest.approx(LONG - 120, abs=2)
    assert first.light_off_peak is None  # no light-off was seen, so none was peaceful
    assert first.settled is not None
    assert np.isnan(first.settled_after)
    assert np.isnan(first.off_before)
    assert found.cycles[1].off_before == pytest.approx(OFF, abs=2)


@pytest.mark.parametrize("signal", [False, True])
def test_a_log_that_ends_in_mid_burn(signal: bool) -> None:
    frame = cycling(signal=signal)
    found = find_cycles(frame.loc[: after(frame, lit_at(3) + 200)])
    assert len(found.cycles) == 4
    last = found.cycles[-1]
    assert (last.lit, last.ended) == (True, False)
    assert last.on_time == pytest.approx(200, abs=4)
    assert last.light_off_peak is not None


def test_a_gap_in_mid_burn_makes_two_of_which_neither_was_seen_whole() -> None:
    frame = cycling((LONG,))
    found = find_cycles(pd.concat([frame.iloc[:300], frame.iloc[400:]]))  # 600 s and 800 s after the start
    assert [(one.lit, one.ended) for one in found.cycles] == [(True, False), (False, True)]
    assert [one.on_time for one in found.cycles] == pytest.approx([300, 400], abs=4)
    assert found.cycles[1].light_off_peak is None
    assert found.time_known == pytest.approx(len(frame) * 2.0 - 200)


def test_a_gap_while_off_leaves_the_time_off_and_the_light_off_unknown() -> None:
    frame = cycling((LONG, LONG))
    start, stop = after(frame, OFF + LONG + 100), after(frame, OFF + LONG + OFF + 100)
    found = find_cycles(frame[(frame.index < start) | (frame.index > stop)])
    assert len(found.cycles) == 2
    assert not found.cycles[1].lit
    assert np.isnan(found.cycles[1].off_before)


def test_a_reading_that_drops_out_at_light_off_hides_no_light_off() -> None:
    frame = cycling((LONG, LONG))
    frame.iloc[round(OFF / 2) - 3 : round(OFF / 2) + 3, 0] = np.nan
    found = find_cycles(frame)
    assert all(one.lit and one.ended for one in found.cycles)
    assert len(found.cycles) == 2


def test_a_gas_reading_lost_for_minutes_hides_the_light_off() -> None:
    frame = cycling((LONG, LONG))
    frame.iloc[round((OFF - 100) / 2) : round((OFF + 100) / 2), 0] = np.nan
    first = find_cycles(frame).cycles[0]
    assert not first.lit
    assert first.on_time == pytest.approx(LONG - 100, abs=2)
    assert first.light_off_peak is None


def test_no_burn_no_cycle() -> None:
    frame = cycling((SHORT,)).iloc[:140]
    found = find_cycles(frame)
    assert (found.cycles, found.time_on) == ((), 0.0)
    assert found.time_known == pytest.approx(280)


def test_a_flue_temperature_alone_tells_no_cycle() -> None:
    found = find_cycles(cycling().drop(columns="oxygen_dry"))
    assert (found.told_by, found.cycles, found.time_known) == ("nothing", (), 0.0)


# --- what tells on from off ------------------------------------------------------------------------------------------


def test_the_burners_own_signal_tells_cycles_that_the_flue_gas_hides() -> None:
    hidden = cycling(
        (LONG, LONG, LONG), left=0.15, signal=True
    )  # gas stays in the flue while the burner is off
    assert len(find_cycles(hidden.drop(columns="burner_on")).cycles) == 1
    assert [one.on_time for one in find_cycles(hidden).cycles] == pytest.approx([LONG] * 3)


@pytest.mark.parametrize("every", [30.0, 90.0])
def test_a_signal_logged_less_often_still_tells_each_cycle(every: float) -> None:
    frame = cycling(signal=True)
    frame.loc[np.arange(len(frame)) % round(every / 2) != 0, "burner_on"] = np.nan
    found = find_cycles(frame)
    assert found.told_by == "burner signal"
    check_whole(found, every)


def test_a_signal_without_a_reading_is_none() -> None:
    assert find_cycles(cycling().assign(burner_on=np.nan)).told_by == "flue gas"


def test_a_brush_with_the_limit_of_fresh_air_is_no_burn() -> None:
    frame = cycling((LONG, LONG))
    frame.iloc[10:13, 0] = 0.199  # fresh air read a little low, for six seconds
    found = find_cycles(frame)
    assert len(found.cycles) == 2
    assert found.cycles[0].start >= after(frame, OFF - 2)


# --- peaks -----------------------------------------------------------------------------------------------------------


def test_the_peak_at_light_off_is_its_greatest_row_and_when() -> None:
    frame = cycling(noise=0.0)
    frame.iloc[round(lit_at(2) / 2) + 5, 1] = 900e-6
    frame.iloc[round((lit_at(3) + 400) / 2), 1] = 700e-6  # long after light-off
    frame.iloc[round((lit_at(3) + LONG + 20) / 2), 1] = 800e-6  # and after shut-down
    cycles = find_cycles(frame).cycles
    peaks = [one.light_off_peak.value for one in cycles if one.light_off_peak]
    assert peaks == pytest.approx([6 * MONOXIDE, 6 * MONOXIDE, 900e-6, 6 * MONOXIDE, 6 * MONOXIDE])
    assert cycles[2].light_off_peak is not None
    assert cycles[2].light_off_peak.when == after(frame, lit_at(2) + 10)
    assert [one.peak.value for one in cycles if one.peak] == pytest.approx(
        [6 * MONOXIDE, 6 * MONOXIDE, 900e-6, 800e-6, 6 * MONOXIDE]
    )


def test_a_puff_just_before_flue_gas_shows_counts_to_the_light_off() -> None:
    frame = cycling(noise=0.0)
    row = round(lit_at(2) / 2) - 1
    frame.iloc[row, 1] = 600e-6
    cycles = find_cycles(frame).cycles
    assert cycles[2].light_off_peak is not None
    assert (cycles[2].light_off_peak.value, cycles[2].light_off_peak.when) == (600e-6, frame.index[row])
    assert cycles[1].peak is not None
    assert cycles[1].peak.value < 600e-6


def test_an_over_range_cell_makes_the_peak_a_least_value() -> None:
    frame = cycling(noise=0.0)
    row = round(lit_at(1) / 2) + 8
    frame.iloc[row, 1] = np.nan
    bounds = pd.Series(np.nan, index=frame.index)
    bounds.iloc[row] = 4000e-6
    cycles = find_cycles(frame, least_monoxide=bounds, monoxide=frame["carbon_monoxide_dry"]).cycles
    assert [one.light_off_peak.at_least for one in cycles if one.light_off_peak] == [
        False,
        True,
        False,
        False,
        False,
    ]
    assert cycles[1].light_off_peak is not None
    assert (cycles[1].light_off_peak.value, cycles[1].light_off_peak.when) == (4000e-6, frame.index[row])


def test_a_row_set_aside_keeps_its_peak() -> None:
    frame = cycling(noise=0.0)
    row = round(lit_at(4) / 2) + 6
    every = frame["carbon_monoxide_dry"].copy()
    every.iloc[row] = 1500e-6
    found = find_cycles(frame.drop(index=frame.index[row]), monoxide=every)
    assert found.cycles[4].light_off_peak is not None
    assert found.cycles[4].light_off_peak.value == pytest.approx(1500e-6)


def test_without_carbon_monoxide_there_is_no_peak() -> None:
    for one in find_cycles(cycling().drop(columns="carbon_monoxide_dry")).cycles:
        assert (one.light_off_peak, one.peak) == (None, None)


@pytest.mark.law
def test_the_frame_is_left_alone() -> None:
    frame = cycling(signal=True)
    before = frame.copy()
    find_cycles(frame)
    pd.testing.assert_frame_equal(frame, before)
