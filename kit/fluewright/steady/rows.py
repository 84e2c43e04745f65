"""Tell the rows of a test point apart: flue gas, fresh air, no reading, the end of a burn."""

from __future__ import annotations

from collections.abc import Container, Iterable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.errors import InputError
from fluewright.steady.criteria import rules
from fluewright.units import Array

OXYGEN = ("oxygen_dry", "oxygen_wet")
DILUTION = (*OXYGEN, "carbon_dioxide_dry")  # what tells how much of a sample is air, the surest first
ROOM_AIR = ("air_temperature", "ambient_temperature")

_CHAIN = 6  # so many runs in a row, each shorter than a light-off, are one flickering run
_FEWEST = 6  # rows that stand still before a light-off
_RUNNING = ("burner_on", "gas_volume_flow")


class State(IntEnum):
    """What a row of a test point is."""

    FRESH = 0
    BURNING = 1
    UNKNOWN = 2
    OFF = 3
    ENDING = 4
    FLICKER = 5
    DRAWN = 6


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows in runs of one state without a gap.

    `seconds` since the first row and `state` are by rows; `interval` [s] is the usual step between
    readings. Each run has its first row, the row after its last, its state, and whether a burner that is
    off comes just before it. The first `probable` rows are fresh air that the cell seems to show as less.
    """

    seconds: Array
    interval: float
    state: NDArray[np.int8]
    start: NDArray[np.intp]
    stop: NDArray[np.intp]
    of: NDArray[np.int8]
    probable: int = 0

    @property
    def burning(self) -> NDArray[np.bool_]:
        """Which runs are burns."""
        return np.asarray(self.of == State.BURNING)

    @property
    def lit(self) -> NDArray[np.bool_]:
        """Which runs have fresh air, or a burner that is off, just before them, but for a dropout."""
        out = np.isin(self.of, (State.FRESH, State.OFF, State.ENDING))
        lasts = self.seconds[self.stop - 1] - self.seconds[self.start] + self.interval
        brief = (self.of == State.UNKNOWN) & (lasts <= longest_gap(self.interval))
        out[1:] |= brief[1:] & out[:-1]
        return np.concatenate(([False], out[:-1]))

    def length(self, start: int, stop: int) -> float:
        """Return the time [s] that rows (last exclusive) cover, each standing for one usual interval."""
        return float(self.seconds[stop - 1] - self.seconds[start] + self.interval) if stop > start else 0.0


def sort_rows(frame: pd.DataFrame) -> Rows:
    """Return the rows of a test point in runs of one state.

    Raises
    ------
    InputError
        There are no rows, or their time has no zone or does not go forward.
    """
    seconds = _seconds(frame)
    steps = np.diff(seconds)
    interval = _usual(steps)
    gap = longest_gap(interval)
    broken = steps > gap
    gas = next((name for name in DILUTION if name in frame and bool(frame[name].notna().any())), None)
    state, probable = _states(frame, gas), probable_fresh_air(frame)
    state[:probable] = State.FRESH
    state = _with_flicker(_bridged(state, seconds, gap), seconds, broken)
    if gas is not None and gas.startswith("oxygen"):
        state = _with_endings(state, frame[gas].to_numpy(dtype=np.float64), broken)
        state = _with_drawn(state, frame, seconds, broken)
    start, stop = _runs(state, broken)
    return Rows(seconds, interval, state, start, stop, state[start], probable)


def probable_fresh_air(frame: pd.DataFrame) -> int:
    """Return how many rows at the beginning are probably fresh air, shown as less oxygen than fresh air holds.

    There oxygen stands still a little too low until a light-off, the flue is as cold as the room, and nothing tells of
    a burner: no carbon monoxide, no carbon dioxide, no signal. A standing pilot's gas is warmer.
    """
    name = first_of(OXYGEN, frame)
    if name is None or "flue_temperature" not in frame or not len(frame):
        return 0
    oxygen = frame[name].to_numpy(dtype=np.float64)
    if not rules().low_fresh_oxygen <= oxygen[0] < rules().fresh_air_oxygen:  # nearly every log ends here
        return 0
    lit = int(np.argmax(oxygen < rules().low_fresh_oxygen))
    if lit < _FEWEST:
        return 0
    moved = np.abs(oxygen[:lit] - np.nanmedian(oxygen[:lit])) > rules().low_fresh_still
    stands = int(np.argmax(moved)) if moved.any() else lit
    if stands < _FEWEST or _seconds(frame.iloc[stands - 1 : lit + 1])[-1] > rules().light_off:
        return 0
    return stands if _as_cold_as_the_room(frame.iloc[:stands]) else 0


def _as_cold_as_the_room(rows: pd.DataFrame) -> bool:
    """Whether the flue is as cold as the room in most of some rows, and nothing else tells of a burner."""
    none = {
        "carbon_monoxide_dry": rules().low_fresh_monoxide,
        "carbon_dioxide_dry": rules().fresh_air_carbon_dioxide,
        "burner_on": 0.0,
        "gas_volume_flow": 0.0,
    }
    if any(float(rows[name].median()) > most for name, most in none.items() if name in rows):
        return False
    flue = float(rows["flue_temperature"].median())
    air = next((one for one in ROOM_AIR if one in rows and bool(rows[one].notna().any())), None)
    return flue <= (
        rules().room_temperature if air is None else float(rows[air].mean()) + rules().as_cold_as_the_room
    )


def first_of(names: Iterable[str], frame: Container[str]) -> str | None:
    """Return the first of some names that stands among the columns of a frame, None where none does."""
    return next((name for name in names if name in frame), None)


def longest_gap(interval: float) -> float:
    """Return the time [s] without a reading that ends a stretch, where one is usually taken every `interval` [s]."""
    return max(rules().gap, rules().gap_intervals * interval)


def _usual(steps: Array) -> float:
    """Return the usual step between readings; where all are alike there is nothing to sort."""
    if not len(steps):
        return 0.0
    return float(steps[0]) if steps.min() == steps.max() else float(np.median(steps))


def _seconds(frame: pd.DataFrame) -> Array:
    index = frame.index
    if not isinstance(index, pd.DatetimeIndex) or index.tz is None:
        raise InputError("the readings of a test point need a time index with a time zone; localize it first")
    if len(index) == 0:
        raise InputError("the test point holds no rows; check its start and end against the log")
    if not index.is_monotonic_increasing or not index.is_unique:
        row = int(np.argmax(np.diff(index.asi8) <= 0)) + 1
        raise InputError(
            f"time does not go forward at {index[row]}, row {row} of the test point; sort the rows"
        )
    seconds: Array = (index.asi8 - index.asi8[0]).astype(np.float64)
    seconds /= pd.Timedelta(seconds=1) / pd.Timedelta(1, index.unit)  # a whole second stays whole
    return seconds


def _states(frame: pd.DataFrame, gas: str | None) -> NDArray[np.int8]:
    if gas is not None:
        value = frame[gas].to_numpy(dtype=np.float64)
        fresh = (
            value < rules().fresh_air_carbon_dioxide
            if gas == "carbon_dioxide_dry"
            else value >= rules().fresh_air_oxygen
        )
    elif "flue_temperature" in frame:  # no gas was logged, and a temperature alone cannot tell fresh air
        value = frame["flue_temperature"].to_numpy(dtype=np.float64)
        fresh = np.zeros(len(frame), dtype=bool)
    else:
        return np.full(len(frame), State.UNKNOWN, dtype=np.int8)
    states = np.full(len(frame), State.BURNING, dtype=np.int8)
    if "burner_on" in frame:
        states[frame["burner_on"].to_numpy(dtype=np.float64) == 0] = State.OFF
    states[fresh] = State.FRESH
    states[np.isnan(value)] = State.UNKNOWN
    return states


def _bridged(states: NDArray[np.int8], seconds: Array, gap: float) -> NDArray[np.int8]:
    """Return the states with a short dropout counted to what is the same on both sides of it."""
    unknown = states == State.UNKNOWN
    if not unknown.any() or unknown.all():
        return states
    first, last = spans(unknown)
    left, right = np.maximum(first - 1, 0), np.minimum(last, len(states) - 1)
    short = (first > 0) & (last < len(states)) & (seconds[right] - seconds[left] <= gap)
    bridged = states.copy()
    same = short & (states[left] == states[right])
    bridged[unknown] = np.repeat(np.where(same, states[left], State.UNKNOWN), last - first)
    return bridged


def _runs(states: NDArray[np.int8], broken: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    cuts = np.flatnonzero((np.diff(states) != 0) | broken) + 1
    return np.concatenate(([0], cuts)), np.concatenate((cuts, [len(states)]))


def spans(flags: NDArray[np.bool_]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return first and last (exclusive) of each run of true flags."""
    framed = np.zeros(len(flags) + 2, dtype=np.int8)
    framed[1:-1] = flags
    edges = np.flatnonzero(np.diff(framed))
    return edges[::2], edges[1::2]


def _with_flicker(states: NDArray[np.int8], seconds: Array, broken: NDArray[np.bool_]) -> NDArray[np.int8]:
    """Return the states with chains of runs too short to be burns marked as one."""
    start, stop = _runs(states, broken)
    first, last = spans(seconds[stop - 1] - seconds[start] < rules().light_off)
    chain = last - first >= _CHAIN
    if not chain.any():
        return states
    marks = np.zeros(len(states) + 1, dtype=np.int64)
    marks[start[first[chain]]] += 1
    marks[stop[last[chain] - 1]] -= 1
    return np.where(np.cumsum(marks)[:-1] > 0, State.FLICKER, states).astype(np.int8)


def _with_endings(states: NDArray[np.int8], oxygen: Array, broken: NDArray[np.bool_]) -> NDArray[np.int8]:
    """Return the states with the rise of oxygen from a burn to the fresh air after it marked as its end."""
    start, stop = _runs(states, broken)
    followed = np.append((states[start[1:]] == State.FRESH) & ~broken[start[1:] - 1], False)
    marked = states.copy()
    for burn in np.flatnonzero((states[start] == State.BURNING) & followed):
        value = oxygen[start[burn] : stop[burn]]
        low = value <= np.nanmedian(value) + rules().ending
        marked[stop[burn] - int(np.argmax(low[::-1])) : stop[burn]] = State.ENDING
    return marked


def _with_drawn(
    states: NDArray[np.int8], frame: pd.DataFrame, seconds: Array, broken: NDArray[np.bool_]
) -> NDArray[np.int8]:
    """Return the states with fresh air between two burns marked as drawn in where the burner ran on meanwhile."""
    start, stop = _runs(states, broken)
    of = states[start]
    burn = np.flatnonzero(of == State.BURNING)
    before, after = burn[:-1], burn[1:]
    fresh = (of[after - 1] == State.FRESH) & (
        (after - before == 2) | ((after - before == 3) & (of[before + 1] == State.ENDING))
    )
    fresh &= seconds[start[after]] - seconds[stop[before] - 1] <= rules().drawn
    before, after = before[fresh], after[fresh]
    if not len(before):
        return states
    middle = (start[after - 1] + stop[after - 1]) // 2
    marked = states.copy()
    on = _ran_on(frame, stop[before] - 1, middle, start[after] - 1)
    for first, last in zip(stop[before[on]], start[after[on]], strict=True):
        marked[first:last] = State.DRAWN
    return marked


def _ran_on(
    frame: pd.DataFrame, before: NDArray[np.intp], middle: NDArray[np.intp], last: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Tell whether a burner ran on: by its own signal or its gas, else by a flue that hardly cooled.

    The rows are the last of the burn, and the middle and the last of the fresh air after it.
    """
    on = np.zeros(len(before), dtype=np.bool_)
    if "flue_temperature" in frame:
        flue = frame["flue_temperature"].to_numpy(dtype=np.float64)
        air = first_of(ROOM_AIR, frame)
        room = rules().room_temperature if air is None else frame[air].to_numpy(dtype=np.float64)[before]
        above = flue[before] - room
        fell = flue[before] - np.minimum(flue[middle], flue[last])
        on = (above > rules().as_cold_as_the_room) & (fell < rules().hardly_cooled * above)
    for name in _RUNNING:
        if name in frame:
            signal = frame[name].to_numpy(dtype=np.float64)
            told = np.isfinite(signal[middle]) & (signal[before] > 0)
            on = np.where(told, signal[middle] > signal[before] / 2, on)
    return on
