"""The clocks of two logs, set on each other by the events that both saw."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fluewright.visit import Cell, VisitError, open_visit
from fluewright.visit.clocks import estimate_offset, events

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
    offset = estimate_offset(meter_log(seed, behind=behind), gas_log(seed))
    assert offset is not None
    assert offset.certain
    assert offset.events >= 4
    assert abs(offset.seconds - behind) <= offset.spread + offset.within


def test_events_are_where_a_burner_is_lit_and_put_out() -> None:
    found = events(gas_log(3)) - START.timestamp()
    edges = np.sort(np.ravel(BURNS))
    np.testing.assert_allclose(found, edges, atol=2.0)


def test_regular_cycles_fit_many_offsets_and_tell_none() -> None:
    regular = tuple((float(on), on + 150.0) for on in range(100, 2600, 300))
    offset = estimate_offset(meter_log(1, behind=40.0, burns=regular), gas_log(1, burns=regular))
    assert offset is not None
    assert not offset.certain


def test_a_single_event_tells_nothing() -> None:
    once = ((400.0, 9000.0),)
    offset = estimate_offset(meter_log(1, behind=40.0, burns=once), gas_log(1, burns=once))
    assert offset is not None
    assert not offset.certain


def test_noise_holds_no_event() -> None:
    never = ((9000.0, 9001.0),)
    assert estimate_offset(meter_log(1, behind=0.0, burns=never), gas_log(1)) is None
    nothing = pd.DataFrame({"oxygen_dry": [np.nan] * 5}, index=START + pd.to_timedelta(range(5), unit="s"))
    assert not len(events(nothing))


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
    burn = readings.frame["gas_volume_flow"].to_numpy() > 3e-4
    lit = readings.frame["oxygen_dry"].to_numpy() < 0.15
    assert (burn == lit)[readings.frame["gas_volume_flow"].notna()].mean() > 0.98


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
