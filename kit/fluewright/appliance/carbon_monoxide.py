"""Carbon monoxide on every row of a log, used or refused: the worst of them, and whether it was rising."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.appliance.numbers import Number
from fluewright.combustion import FlueGas, Fuel, flue_gas
from fluewright.steady.criteria import rules
from fluewright.units import Array

SETTLING = pd.Timedelta(minutes=5)
RISE_ROWS = 25  # fewer rows than this tell nothing of a trend
EDGE = 0.2  # the rise is the mean of the last fifth less that of the first
HELD = pd.Timedelta(minutes=2)  # chosen here: longer than the cells' lag at light-off and shut-down
_PASSES = "every burning row, used or refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class CarbonMonoxideRows:
    """The worst carbon monoxide of a stretch of rows.

    `air_free` and `dry` are the greatest over all rows, with the interval of the stated accuracy; infinite above
    where a reading was over range. Where not one row tells an air-free value (`told` is False), `air_free` is only
    what it is at least, and infinite above as well. `running` is the greatest air-free value outside of the first
    minutes after each light-off; of all rows where no others tell one. `rise` is how much the air-free value rose
    over the burn, None where too few rows tell. `held_dilute` is what the oxygen rule, followed on into samples too
    dilute for it, gives at least over two minutes without a break, None where there is no such stretch.

    `over_range` counts rows that were over range; `dilute` those too dilute for an air-free value, and `unread` those
    without a reading that tells the dilution: both are judged by their carbon monoxide as measured, which the
    air-free value cannot be below.
    """

    air_free: Number
    dry: Number
    running: Number
    rise: Number | None
    held_dilute: Number | None
    rows: int
    over_range: int
    dilute: int
    unread: int
    when: pd.Timestamp

    @property
    def told(self) -> bool:
        """Whether any row tells an air-free value."""
        return self.unread + self.dilute < self.rows


def _worst(quantity: str, value: Array, low: Array, high: Array, basis: str, origin: str) -> Number:
    return Number(
        quantity=quantity,
        value=float(np.max(value)),
        low=float(np.max(low)),
        high=float(np.max(high)),
        origin=origin,  # type: ignore[arg-type]
        basis=basis,
    )


def _air_free(flue: FlueGas, monoxide: Array) -> Array:
    """Return air-free carbon monoxide by the oxygen rule; as measured where the sample cannot tell."""
    ruled = np.asarray(flue.carbon_monoxide_air_free_oxygen_rule, dtype=float)
    return np.asarray(np.fmax(ruled, monoxide))


def _followed(flue: FlueGas, monoxide: Array) -> Array:
    """Return air-free carbon monoxide by the oxygen rule, followed on beyond the limit for dilute samples."""
    return np.asarray(monoxide * (1 + np.asarray(flue.excess_air_oxygen_rule, dtype=float)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _AirFree:
    """Air-free carbon monoxide of readings, and the least and the greatest it may be by their accuracy.

    `told` says whether the dilution was read, `burning` whether it allows an air-free value: elsewhere `value` is as
    measured. `at_least` is what the rule, followed on into samples too dilute for it, gives at least, zero elsewhere.
    """

    value: Array
    low: Array
    high: Array
    told: NDArray[np.bool_]
    burning: NDArray[np.bool_]
    at_least: Array


def _as_measured(monoxide: Array, low: Array) -> _AirFree:
    """Return readings whose dilution is not known: as measured is the least that they can be."""
    never = np.zeros(monoxide.size, dtype=bool)
    endless, nothing = np.full(monoxide.size, np.inf), np.zeros(monoxide.size)
    return _AirFree(value=monoxide, low=low, high=endless, told=never, burning=never, at_least=nothing)


def _undiluted(
    fuel: Fuel, oxygen_name: str, oxygen: Array, reach: Array, monoxide: Array, low: Array, high: Array
) -> _AirFree:
    """Return readings made air-free with the reading that tells their dilution, which may be wrong by `reach`."""
    side = -1.0 if oxygen_name == "carbon_dioxide_dry" else 1.0
    as_read, least, most = (
        flue_gas(fuel, **{oxygen_name: oxygen + shift * reach}, carbon_monoxide_dry=value)
        for shift, value in ((0.0, monoxide), (-side, low), (side, np.where(np.isinf(high), monoxide, high)))
    )
    told = np.isfinite(oxygen)
    burning = np.isfinite(np.asarray(as_read.carbon_monoxide_air_free, dtype=float))
    greatest = np.full(monoxide.size, np.inf)
    if burning.any():
        followed = _followed(most, high)
        greatest = np.where(burning, np.where(np.isnan(followed), np.inf, followed), high)
    dilute = told & ~burning & (np.asarray(as_read.oxygen_dry, dtype=float) < rules().fresh_air_oxygen)
    lowest = _air_free(least, low)  # of a sample just too dilute it may be told, where the sample is not
    return _AirFree(
        value=np.maximum(_air_free(as_read, monoxide), lowest),
        low=lowest,
        high=greatest,
        told=told,
        burning=burning,
        at_least=np.where(dilute, np.nan_to_num(_followed(least, low)), 0.0),
    )


def _half(half_widths: Mapping[str, tuple[float, float]], name: str, values: Array) -> Array:
    absolute, share = half_widths.get(name, (0.0, 0.0))
    return np.maximum(absolute, share * np.abs(values))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Distinct:
    """The distinct pairs of readings among rows, and how many rows hold each; `row` finds the pair of each row.

    Instruments round, so a long log holds few.
    """

    oxygen: Array
    monoxide: Array
    bounded: NDArray[np.bool_]
    rows: NDArray[np.intp]
    row: NDArray[np.intp]


def _numbered(values: Array) -> tuple[NDArray[np.intp], Array]:
    """Return the number of each value among the distinct ones, and these: by their bits, in two thirds of the time."""
    numbers, bits = pd.factorize(np.ascontiguousarray(values).view(np.int64))
    return numbers, bits.view(np.float64)


def _distinct(oxygen: Array, monoxide: Array, bounded: NDArray[np.bool_]) -> _Distinct:
    """Return each pair of oxygen and carbon monoxide once, a bound apart from a reading."""
    codes, shares = _numbered(oxygen)
    second, levels = _numbered(monoxide)
    codes *= len(levels)
    codes += second
    codes *= 2
    codes += bounded
    kept = np.arange(2 * len(shares) * len(levels))
    if len(kept) > len(codes):  # more pairs could be than there are rows: number those that are
        codes, kept = pd.factorize(codes)
    rows = np.bincount(codes, minlength=len(kept))
    first, second = np.divmod(kept // 2, len(levels))
    found = rows > 0
    number = np.cumsum(found) - 1
    return _Distinct(
        oxygen=shares[first[found]],
        monoxide=levels[second[found]],
        bounded=kept[found] % 2 == 1,
        rows=rows[found],
        row=number[codes],
    )


def carbon_monoxide_rows(
    frame: pd.DataFrame,
    *,
    lower_bounds: pd.DataFrame,
    fuel: Fuel,
    half_widths: Mapping[str, tuple[float, float]],
    oxygen_name: str | None,
    light_off: NDArray[np.bool_] | None = None,
) -> CarbonMonoxideRows | None:
    """Return the worst carbon monoxide over the rows of `frame`, or None where none was read.

    Parameters
    ----------
    frame : DataFrame
        Rows in SI, any phase of the burn: a row taken for fresh air keeps its carbon monoxide.
    lower_bounds : DataFrame
        Least values of over-range cells, row for row; NaN or no column where there are none.
    fuel : Fuel
        What was burned.
    half_widths : mapping
        (absolute [SI], share of reading) of the stated accuracy per quantity; the greater holds.
    oxygen_name : str or None
        The reading that tells dilution; None judges every row as measured.
    light_off : array of bool, optional
        Which rows lie in the first minutes after a light-off.

    Notes
    -----
    Air-free by the trade's dry-oxygen rule. The interval of a row takes oxygen and carbon monoxide at the corners
    of their accuracy, so it is wider than the 95 % interval of a mean.
    """
    if "carbon_monoxide_dry" not in frame:
        return None
    monoxide = frame["carbon_monoxide_dry"].to_numpy(dtype=float).copy()
    bounded = np.zeros(monoxide.size, dtype=bool)
    if "carbon_monoxide_dry" in lower_bounds:
        bound = lower_bounds["carbon_monoxide_dry"].to_numpy(dtype=float)
        bounded = np.isfinite(bound)
        monoxide[bounded] = bound[bounded]
    read = np.isfinite(monoxide)
    if not read.any():
        return None
    known = oxygen_name is not None and oxygen_name in frame
    oxygen = frame[oxygen_name].to_numpy(dtype=float) if known else np.zeros(monoxide.size)
    pairs = _distinct(oxygen[read], monoxide[read], bounded[read])
    monoxide, bounded = pairs.monoxide, pairs.bounded

    spread = _half(half_widths, "carbon_monoxide_dry", monoxide)
    # A cell that reads less than none shows an error of at least that size.
    spread, monoxide = np.maximum(spread, -monoxide), np.maximum(monoxide, 0.0)
    low = np.where(bounded, monoxide, np.maximum(monoxide - spread, 0.0))
    high = np.where(bounded, np.inf, monoxide + spread)
    free = _as_measured(monoxide, low)
    if oxygen_name is not None and known:
        reach = _half(half_widths, oxygen_name, pairs.oxygen)
        free = _undiluted(fuel, oxygen_name, pairs.oxygen, reach, monoxide, low, high)

    def worst(which: NDArray[np.bool_] | slice, basis: str) -> Number:
        rule = "carbon_monoxide_air_free_oxygen_rule"
        return _worst(rule, free.value[which], free.low[which], free.high[which], basis, "computed")

    told, burning = free.told, free.burning
    by_row = free.value[pairs.row]
    times = frame.index if read.all() else frame.index[read]
    telling = slice(None) if told.all() else told[pairs.row]  # rows of another log between them end no burn
    running: NDArray[np.bool_] | slice = slice(None)
    passes = _PASSES
    if light_off is not None and light_off.any():
        others = pairs.rows > np.bincount(pairs.row[light_off[read]], minlength=pairs.rows.size)
        if (others & burning).any():
            running, passes = others, f"{_PASSES}, but for the first minutes after light-off"
    return CarbonMonoxideRows(
        air_free=worst(slice(None), _PASSES),
        running=worst(running, passes),
        dry=_worst("carbon_monoxide_dry", monoxide, low, high, f"dry; greatest of {_PASSES}", "measured"),
        rise=_rise(times[telling], by_row[telling], burning[pairs.row][telling]),
        held_dilute=_held(times, free.at_least[pairs.row]) if free.at_least.any() else None,
        rows=int(pairs.rows.sum()),
        over_range=int(pairs.rows[bounded].sum()),
        dilute=int(pairs.rows[told & ~burning].sum()),
        unread=int(pairs.rows[~told].sum()),
        when=times[int(np.argmax(by_row))],
    )


def _held(times: pd.Index, at_least: Array) -> Number | None:
    """Return the greatest value that rows held for two minutes without a break."""
    held = pd.Series(at_least, index=times).rolling(HELD).min()[times >= times[0] + HELD]
    if not len(held) or not held.max() > 0:
        return None
    value = float(held.max())
    return Number(
        quantity="carbon_monoxide_air_free_oxygen_rule",
        value=value,
        low=value,
        high=np.inf,
        origin="computed",
        basis="held for two minutes in a sample too dilute for an air-free value",
    )


def _longest_run(holds: NDArray[np.bool_]) -> slice:
    """Return the longest run of rows in which `holds` is true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], holds, [False])).astype(np.int8)))
    starts, stops = edges[::2], edges[1::2]
    if not starts.size:
        return slice(0, 0)
    longest = int(np.argmax(stops - starts))
    return slice(int(starts[longest]), int(stops[longest]))


def _rise(times: pd.Index, air_free: Array, burning: NDArray[np.bool_]) -> Number | None:
    """Return how much air-free carbon monoxide rose over the longest burn, after its first minutes."""
    run = _longest_run(burning)
    burn, moments = air_free[run], times[run]
    late = burn[moments.searchsorted(moments[0] + SETTLING) :] if burn.size else burn
    if late.size < RISE_ROWS:
        return None
    part = max(int(late.size * EDGE), 5)
    first, last = late[:part], late[-part:]
    # The log is autocorrelated: each fifth counts as few independent readings.
    error = 2.0 * math.sqrt((first.var(ddof=1) + last.var(ddof=1)) / max(part / 5.0, 2.0))
    rise = float(last.mean() - first.mean())
    return Number(
        quantity="carbon_monoxide_air_free_oxygen_rule",
        value=rise,
        low=rise - error,
        high=rise + error,
        origin="computed",
        basis="rise over the burn: mean of its last fifth less that of its first, after five minutes",
    )
