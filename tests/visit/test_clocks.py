"""The clocks of two logs, set on each other by the events that both saw."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fluewright import sources
from fluewright.visit import Cell, VisitError, open_visit
from fluewright.visit.clocks import delay_of, estimate_offset, find_events

Writer = Callable[..., Path]
BURNS = ((120, 700), (1000, 1333), (1600, 2450))  # s: on and off, by no regular clock
START = pd.Timestamp("2026-01-14 10:00:00", tz="America/New_York")


def burning(seconds: np.ndarray, burns: tuple[tuple[float, float], ...] = BURNS) -> np.ndarray:
    return np.any([(seconds >= on) & (seconds < off) for on, off in burns], axis=0)


def gas_log(seed: int, burns: tuple[tuple[float, float], ...] = BURNS) -> pd.DataFrame:
    """Oxygen with its noise and the slow warming of the flue, each second."""
    random, seconds = np.random.default_rng(seed), np.arange(0.0, 2700.0)
    on = burning(seconds, burns)
    warm = np.zeros(len(seconds))
    for row in range(1, len(seconds)):
        warm[row] = warm[row - 1] + (on[row] - warm[row - 1]) / 60.0
    return pd.DataFrame(
        {
            "oxygen_dry": np.where(on, 0.06, 0.209) + 3e-4 * random.standard_normal(len(seconds)),
            "flue_temperature": 300 + 150 * warm + 0.3 * random.standard_normal(len(seconds)),
        },
        index=START + pd.to_timedelta(seconds, unit="s"),
    )


def meter_log(
    seed: int, *, behind: float, every: float = 4.0, burns: tuple[tuple[float, float], ...] = BURNS
) -> pd.DataFrame:
    """The gas flow by a clock that runs `behind` seconds late."""
    random, seconds = np.random.default_rng(seed), np.arange(0.0, 2700.0, every)
    flow = np.where(burning(seconds, burns), 6e-4, 0.0) + 5e-6 * random.standard_normal(len(seconds))
    stamps = START + pd.to_timedelta(seconds - behind, unit="s")
    return pd.DataFrame({"gas_volume_flow": flow}, index=stamps)


@pytest.mark.law
@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("behind", [-3600.0, -37.0, 0.0, 12.0, 512.0, 18_000.0])
def test_the_offset_of_a_clock_is_told_within_what_is_said(seed: int, behind: float) -> None:
    offset = estimate_offset(meter_log(seed, behind=behind), gas_log(seed), latest={})
    assert offset is not None
    assert offset.certain
    assert offset.events >= 4
    assert offset.low <= behind <= offset.high
    assert offset.high - offset.low < 12.0


def some_burns(random: np.random.Generator, count: int) -> tuple[tuple[float, float], ...]:
    """Return burns at moments that no clock foresees."""
    lengths = random.uniform(150, 400, 2 * count)
    edges = 60.0 + np.cumsum(lengths) * 2300.0 / lengths.sum()
    return tuple((float(on), float(off)) for on, off in edges.reshape(-1, 2))


@pytest.mark.law
@pytest.mark.parametrize("count", [1, 2, 3])
def test_the_interval_of_an_offset_covers_it_however_few_events_there_were(count: int) -> None:
    """Two events tell their scatter badly: intervals by the normal distribution would miss too often."""
    random, behind, held, runs = np.random.default_rng(count), 90.0, 0, 100
    for seed in range(runs):
        burns = some_burns(random, count)
        late = tuple((on + random.normal(0, 2), off + random.normal(0, 2)) for on, off in burns)
        meter = meter_log(seed, behind=behind, every=5.0, burns=late)
        offset = estimate_offset(meter, gas_log(seed, burns)[["oxygen_dry"]], latest={})
        assert offset is not None
        held += offset.low <= behind <= offset.high
    assert held >= 0.92 * runs  # 95 % but for three standard deviations of a sample of so many


def hosed(frame: pd.DataFrame, seconds: float) -> pd.DataFrame:
    """Return readings that reach the sensor so much later."""
    return frame.set_axis(frame.index + pd.to_timedelta(seconds, unit="s"))


@pytest.mark.law
@pytest.mark.parametrize("slow", ["oxygen_dry", "gas_volume_flow"])
def test_a_late_sensor_widens_the_interval_on_its_own_side(slow: str) -> None:
    gas, meter = gas_log(3)[["oxygen_dry"]], meter_log(3, behind=90.0)
    if slow == "oxygen_dry":
        gas = hosed(gas, 25.0)
    else:
        meter = hosed(meter, 25.0)
    bare, told = (estimate_offset(meter, gas, latest=latest) for latest in ({}, {slow: 40.0}))
    assert bare is not None
    assert told is not None
    assert not bare.low <= 90.0 <= bare.high
    assert told.low <= 90.0 <= told.high
    moved = (bare.low - told.low, told.high - bare.high)
    assert moved == pytest.approx((40.0, 0.0) if slow == "oxygen_dry" else (0.0, 40.0))


def test_an_interval_knows_the_channels_that_told(write_visit: Writer) -> None:
    offset = estimate_offset(meter_log(3, behind=9.0), gas_log(3), latest={})
    assert offset is not None
    assert offset.channels == ("gas_volume_flow",)
    assert "oxygen_dry" in offset.reference_channels


def test_logs_of_other_burns_tell_no_offset() -> None:
    """Some pairs of events fall together by chance; that is less than half of them."""
    random, certain = np.random.default_rng(7), 0
    for seed in range(60):
        meter = meter_log(seed, behind=0.0, every=5.0, burns=some_burns(random, 2))
        offset = estimate_offset(meter, gas_log(seed, some_burns(random, 2)), latest={})
        certain += offset is not None and offset.certain
    assert certain <= 2


def test_events_are_where_a_burner_is_lit_and_put_out() -> None:
    found = find_events(gas_log(3)).moments - START.timestamp()
    edges = np.sort(np.ravel(BURNS))
    np.testing.assert_allclose(found, edges, atol=2.0)


def test_regular_cycles_fit_many_offsets_and_tell_none() -> None:
    regular = tuple((float(on), on + 150.0) for on in range(100, 2600, 300))
    offset = estimate_offset(meter_log(1, behind=40.0, burns=regular), gas_log(1, burns=regular), latest={})
    assert offset is not None
    assert not offset.certain


def test_a_single_event_tells_nothing() -> None:
    once = ((400.0, 9000.0),)
    offset = estimate_offset(meter_log(1, behind=40.0, burns=once), gas_log(1, burns=once), latest={})
    assert offset is not None
    assert not offset.certain


def test_noise_holds_no_event() -> None:
    never = ((9000.0, 9001.0),)
    assert estimate_offset(meter_log(1, behind=0.0, burns=never), gas_log(1), latest={}) is None
    nothing = pd.DataFrame({"oxygen_dry": [np.nan] * 5}, index=START + pd.to_timedelta(range(5), unit="s"))
    assert not len(find_events(nothing).moments)


REGULAR = tuple((float(on), on + 150.0) for on in range(100, 2600, 550))


@pytest.mark.parametrize("burns", [BURNS, REGULAR])
def test_clocks_are_told_to_differ_by_more_than_late_sensors_explain(
    burns: tuple[tuple[float, float], ...],
) -> None:
    """Regular cycles do not tell by how much; that no event falls together tells that they do."""
    latest = {"gas_volume_flow": 40.0, "oxygen_dry": 40.0, "flue_temperature": 40.0}
    for seed in range(6):
        for behind, apart in ((-137.0, True), (137.0, True), (0.0, False), (55.0, False), (-55.0, False)):
            offset = estimate_offset(
                meter_log(seed, behind=behind, burns=burns), gas_log(seed, burns), latest=latest
            )
            assert offset is not None
            assert offset.apart is apart, (seed, behind)


@pytest.mark.parametrize(("behind", "told"), [(90.0, 1), (0.0, 0)])
def test_clocks_that_differ_are_told_unasked(write_visit: Writer, behind: float, told: int) -> None:
    readings = open_visit(write_visit(files=two_logs(behind), more_logs=SLOW)).readings
    notes = [note for note in readings.accounts[1].notes if "more than late sensors explain" in note]
    assert len(notes) == told
    assert all(re.search(r'(89|90|91) s earlier than in flue.csv.*"\+\1 s"', note) for note in notes)


METER = """\
[[logs]]
file = "meter.csv"
instrument = "analyzer"
time = { column = "Time", offset = "estimate" }
[logs.columns]
"Q" = { quantity = "gas_volume_flow", unit = "m^3/s" }
"""


def text(frame: pd.DataFrame, names: dict[str, str], scale: float = 1.0) -> str:
    shown = (frame.rename(columns=names) * scale).round(7)
    shown = shown.clip(lower=0.0)
    stamps = pd.DatetimeIndex(frame.index).strftime("%Y-%m-%d %H:%M:%S")
    return shown.set_axis(stamps).to_csv(index_label="Time")


def two_logs(behind: float, every: float = 4.0, **burns: tuple[tuple[float, float], ...]) -> dict[str, str]:
    gas = gas_log(5, **burns).assign(carbon_monoxide_dry=3e-5)[["oxygen_dry", "carbon_monoxide_dry"]]
    flue = gas.assign(oxygen_dry=gas["oxygen_dry"] * 100, carbon_monoxide_dry=30.0, T=400.0)
    return {
        "flue.csv": text(flue, {"oxygen_dry": "O2", "carbon_monoxide_dry": "CO"}),
        "meter.csv": text(meter_log(5, behind=behind, every=every, **burns), {"gas_volume_flow": "Q"}),
    }


def test_a_visit_that_asks_gets_the_estimate_with_its_confidence(write_visit: Writer) -> None:
    readings = open_visit(write_visit(files=two_logs(90.0), more_logs=METER)).readings
    (note,) = (note for note in readings.accounts[1].notes if "estimated" in note)
    assert "events shared with flue.csv" in note
    assert 85 <= float(note.split(" s added")[0]) <= 95
    clock = readings.accounts[1].clock
    assert clock is not None
    assert clock.low <= 90 <= clock.high
    assert (clock.reference, clock.channels) == ("flue.csv", ("gas_volume_flow",))
    assert readings.accounts[0].clock is None
    burn = readings.frame["gas_volume_flow"].to_numpy() > 3e-4
    lit = readings.frame["oxygen_dry"].to_numpy() < 0.15
    assert (burn == lit)[readings.frame["gas_volume_flow"].notna()].mean() > 0.98


@pytest.mark.parametrize("cut", [500, 2400])
def test_events_count_in_all_logs_that_go_on_from_the_first(write_visit: Writer, cut: int) -> None:
    """Wherever the first log was cut in two."""
    files = two_logs(90.0)
    head, *rows = files.pop("flue.csv").splitlines(keepends=True)
    files |= {"flue.csv": head + "".join(rows[: cut // 2]), "next.csv": head + "".join(rows[cut // 2 :])}
    going_on = """\
[[logs]]
file = "next.csv"
instrument = "analyzer"
time = { column = "Time" }
[logs.columns]
"O2" = { quantity = "oxygen_dry", unit = "percent" }
"CO" = { quantity = "carbon_monoxide_dry", unit = "ppm" }
"T" = { quantity = "flue_temperature", unit = "degF" }
"""
    clock = open_visit(write_visit(files=files, more_logs=going_on + METER)).readings.accounts[-1].clock
    assert clock is not None
    assert clock.seconds == pytest.approx(90.0, abs=3.0)


def test_what_is_set_aside_of_a_log_with_an_estimated_clock_is_by_its_own(write_visit: Writer) -> None:
    aside = 'set_aside = [{ start = 10:10:00, end = 10:10:30, because = "valve moved" }]\n[logs.columns]\n"Q"'
    estimated = METER.replace('[logs.columns]\n"Q"', aside)
    (part, *_) = (
        open_visit(write_visit(files=two_logs(90.0), more_logs=estimated)).readings.accounts[1].set_aside
    )
    assert (part.reason, part.rows) == ("set aside in visit.toml, by the log's own clock: valve moved", 8)


@pytest.mark.parametrize("stated", [False, True])
def test_how_late_a_sensor_may_be_is_said_and_widens_the_interval(write_visit: Writer, stated: bool) -> None:
    accuracy = {'{ absolute = "0.2 percent" }': '{ absolute = "0.2 percent", response_time = "7 s" }'}
    folder = write_visit(files=two_logs(90.0), more_logs=METER, swap=accuracy if stated else None)
    account = open_visit(folder).readings.accounts[1]
    (note,) = (note for note in account.notes if "estimated" in note)
    late = "up to 7 s (as its response time is stated)" if stated else "up to 40 s (assumed, as no response"
    assert f"in flue.csv, 'Oxygen in flue gas, dry' {late}" in note
    assert "'Gas flow' up to 10 s (assumed, as no response time is stated)" in note
    assert account.clock is not None
    below = account.clock.seconds - account.clock.low
    assert 7 < below < 20 if stated else 40 < below < 53


def test_an_offset_as_entered_is_a_number_without_interval(write_visit: Writer) -> None:
    more = METER.replace('"estimate"', '"90 s"')
    clock = open_visit(write_visit(files=two_logs(90.0), more_logs=more)).readings.accounts[1].clock
    assert clock is not None
    assert (clock.seconds, clock.events, clock.channels) == (90.0, 0, ())
    assert np.isnan([clock.low, clock.high]).all()


@pytest.mark.law
def test_delays_are_as_stated_or_assumed_and_a_switch_has_none() -> None:
    assert delay_of("oxygen_dry", response_time=25.0).latest == 25.0
    assert not delay_of("oxygen_dry", response_time=0.0).stated
    assert delay_of("burner_on", response_time=0.0).latest == 0.0
    assert delay_of("supply_temperature", response_time=45.0).latest > 45.0  # heat has its way
    assert delay_of("flue_temperature", response_time=45.0).latest == 45.0


def test_an_offset_that_cannot_be_told_is_asked_for(write_visit: Writer) -> None:
    files = two_logs(40.0, burns=((400.0, 9000.0),))
    with pytest.raises(
        VisitError, match=r"only 1 event is shared with flue.csv.*Enter it instead: time.offset"
    ):
        open_visit(write_visit(files=files, more_logs=METER))


def test_the_first_log_is_the_clock_of_the_visit(write_visit: Writer) -> None:
    swap = {'time = { column = "Time" }': 'time = { column = "Time", offset = "estimate" }'}
    with pytest.raises(VisitError, match=r"it is the first log, to whose times the others are joined"):
        open_visit(write_visit(swap=swap))


SLOW = METER.replace(', offset = "estimate"', "")
FLUE_TIMES = "2026-01-14 10:00:{:02d},{}\n"


def slow_meter(*rows: tuple[int, str]) -> str:
    return "Time,Q\n" + "".join(FLUE_TIMES.format(second, cell) for second, cell in rows)


def flow(folder: Path) -> tuple[list[float], list[int], object]:
    readings = open_visit(folder).readings
    states = readings.states.get("gas_volume_flow", pd.Series(0, index=readings.frame.index))
    return list(readings.frame["gas_volume_flow"]), states.tolist(), readings


def test_the_tolerance_of_a_join_is_the_one_stated(write_visit: Writer, flue_text: str) -> None:
    files = {"flue.csv": flue_text, "meter.csv": slow_meter((0, "1"), (12, "2"))}
    more = SLOW.replace("[logs.columns]", 'within = "2 s"\n[logs.columns]')
    values, states, _ = flow(write_visit(files=files, more_logs=more))
    np.testing.assert_array_equal(values, [1, np.nan, 2, np.nan, np.nan])
    assert states == [0, Cell.EMPTY, 0, Cell.EMPTY, Cell.EMPTY]


@pytest.mark.parametrize("turned", [False, True])
def test_of_two_logs_that_follow_each_other_the_nearer_reading_is_taken(
    write_visit: Writer, flue_text: str, turned: bool
) -> None:
    """Whatever their order in visit.toml, and however wide the tolerance; no reading is lost without being told."""
    files = {
        "flue.csv": flue_text,
        "meter.csv": slow_meter((0, "1"), (10, "9")),
        "next.csv": slow_meter((12, "2")),
    }
    first = SLOW.replace("[logs.columns]", 'within = "60 s"\n[logs.columns]')
    second = first.replace("meter.csv", "next.csv")
    logs = (second, first) if turned else (first, second)
    values, _, readings = flow(write_visit(files=files, more_logs="".join(logs)))
    np.testing.assert_array_equal(values, [1, 1, 9, 2, 2])
    assert sum(account.used for account in readings.accounts) == len(values) + 3


def test_what_is_interpolated_was_asked_for_and_says_so(write_visit: Writer, flue_text: str) -> None:
    files = {"flue.csv": flue_text, "meter.csv": slow_meter((0, "1"), (10, "2"), (20, "---"))}
    more = SLOW.replace("[logs.columns]", "interpolate = true\n[logs.columns]")
    values, states, readings = flow(write_visit(files=files, more_logs=more))
    np.testing.assert_allclose(values[:3], [1, 1.5, 2])
    assert states[:3] == [0, 0, 0]
    assert np.isnan(values[4])
    assert states[4] == Cell.NO_NUMBER
    assert readings.channels["gas_volume_flow"].interpolated
    assert not readings.channels["oxygen_dry"].interpolated
    assert any(
        "interpolated to the times of flue.csv, as asked" in note for note in readings.accounts[1].notes
    )


@pytest.mark.law
def test_the_points_of_student_s_distribution_leave_a_fortieth_above_them() -> None:
    for freedom, point in enumerate(sources.table("clocks")["student"]["quantiles"], start=1):
        of = math.gamma((freedom + 1) / 2) / (math.gamma(freedom / 2) * math.sqrt(freedom * math.pi))
        x = np.linspace(0.0, point, 20_001)
        below = 0.5 + np.trapezoid(of * (1 + x**2 / freedom) ** (-(freedom + 1) / 2), x)
        assert below == pytest.approx(0.975, abs=5e-5)
