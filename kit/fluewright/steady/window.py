"""Find the stretch of a burn in which every channel holds still, and say in words why the others do not.

A burn is cut into equal bins of time. Over a moving window of bins each channel gets a least-squares line; a bin
holds where every channel's slope and spread are within the limits. The steady window is the latest run of holding
bins that is long enough after two trims at its start: the moving mean may not have changed by more than the span,
and a first-order settling may not still lack more than what may remain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeAlias, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.errors import InputError
from fluewright.steady.bins import Bins, Lines, bin_burns, fit_first_order, fit_lines
from fluewright.steady.criteria import Criteria, Limits, named_criteria, rules
from fluewright.steady.words import System, change, channel_words, digits, duration, listed, rate
from fluewright.units import Array

Phase: TypeAlias = Literal[
    "fresh air", "light-off", "warm-up", "unsteady", "steady", "shut-down", "no flue gas reading"
]

_FRESH, _BURNING, _UNKNOWN, _OFF, _ENDING, _FLICKER = range(6)
_CHAIN = 6  # so many stretches in a row, each shorter than a light-off, are one flickering stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of rows that is not in the window, what it is, and why it was refused."""

    start: pd.Timestamp
    end: pd.Timestamp
    rows: int
    phase: Phase
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A window of rows: found by the rules, or chosen by a person and labelled so."""

    start: pd.Timestamp
    end: pd.Timestamp
    rows: int
    chosen_by: Literal["rules", "person"]
    because: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadiness:
    """What became of every row of a test point.

    `window` is None where no steady window was found; `least_bad` is then the best on offer, for a person to
    accept, and `outcome` says so in words. The rows of window and refused stretches add up to `rows`.
    `judged` names the channels that had a say, `not_judged` those of the criteria that had no or too few readings.
    `by_rules` is what the rules found, also where a person chose; `rules_agree` is None unless a person chose.
    `flue_slope` [K/s] is the drift within the window (or the least bad one). `flue_rise_remaining` [K] is the
    first-order estimate of what the flue temperature still had to rise at the end of the window, apart from a steady
    drift; zero where no settling stands out of the noise, NaN where no estimate could be made.
    """

    rows: int
    window: Window | None
    least_bad: Window | None
    refused: tuple[Stretch, ...]
    outcome: str
    criteria: Criteria
    flue_slope: float
    flue_rise_remaining: float
    judged: tuple[str, ...] = ()
    not_judged: tuple[str, ...] = ()
    by_rules: Window | None = None
    rules_agree: bool | None = None

    def __post_init__(self) -> None:
        counted = sum(part.rows for part in self.refused) + (self.window.rows if self.window else 0)
        if counted != self.rows:
            raise AssertionError(f"the stretches hold {counted} rows, but the test point has {self.rows}")


@dataclass(frozen=True, slots=True)
class _Part:
    """Rows `start` to `stop` (exclusive) and what they are."""

    start: int
    stop: int
    phase: Phase
    reason: str


@dataclass(frozen=True, slots=True)
class _Segments:
    """Runs of rows of one state without a gap: first row, row after the last, state."""

    start: NDArray[np.intp]
    stop: NDArray[np.intp]
    state: NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class _Burns:
    """All that the rules look at: rows, bins, and the moving lines of each channel that has a say."""

    seconds: Array
    interval: float
    segments: _Segments
    bins: Bins
    lines: Mapping[str, Lines]
    badness: Mapping[str, Array]
    holds: NDArray[np.bool_]
    criteria: Criteria
    system: System


def find_steady_window(
    frame: pd.DataFrame,
    *,
    criteria: Criteria | None = None,
    manual: tuple[pd.Timestamp, pd.Timestamp, str] | None = None,
    system: System = "US",
) -> Steadiness:
    """Find the steady window of one test point, and say why every other row is not in it.

    Parameters
    ----------
    frame : DataFrame
        Readings of one test point: one float column [SI] per quantity, NaN where there is no number; the index is
        time, with a zone, strictly ascending, at any interval.
    criteria : Criteria, optional
        What "steady" means; ``named_criteria("field test")`` if not given.
    manual : (start, end, because), optional
        A window chosen by a person, both ends included. It overrides the rules and is labelled so.
    system : "US" or "SI"
        Units used in the reasons.

    Returns
    -------
    Steadiness
        The window or the least bad one, and a reason for every other stretch.

    Raises
    ------
    InputError
        The frame is empty, its time is not usable, or the manual window holds no row of flue gas.

    Notes
    -----
    The slope is tested against the noise about its own line by Student's t, after Kelly and Hedengren [1]_ (value
    from memory), on means over bins, which makes the noise nearly independent (method of batch means).

    References
    ----------
    .. [1] J. D. Kelly and J. D. Hedengren, Journal of Process Control 23 (2013) 326-331.
    """
    criteria = named_criteria() if criteria is None else criteria
    seconds = _seconds(frame)
    segments, interval, states = _segments(frame, seconds)
    burns = _look(frame, seconds, interval, segments, criteria, system)
    parts, chosen, least = _sort(burns)
    missing = _not_judged(frame, burns)
    index = cast(pd.DatetimeIndex, frame.index)
    window = _window(index, burns, chosen, _praise(burns, chosen, missing)) if chosen else None
    offered = _window(index, burns, least, _excuse(burns, least)) if least else None
    outcome = _outcome(burns, window, offered, missing)
    agree: bool | None = None
    by_rules = window
    if manual is not None:
        span = _rows_between(index, manual)
        if not np.any(states[span[0] : span[1]] == _BURNING):
            raise InputError(
                f"the window chosen by hand, {manual[0]} to {manual[1]}, holds no flue gas: every row is fresh air or "
                "has no oxygen reading; choose a stretch in which the burner ran"
            )
        agree, outcome = _compare(burns, parts, chosen, span, states, manual[2])
        window, offered = _window(index, burns, span, manual[2], by="person"), None
        parts = _cut_out(parts, chosen, span)
        chosen = span
    slope, rise = _flue_trend(burns, chosen or least)
    return Steadiness(
        rows=len(frame),
        window=window,
        least_bad=offered,
        refused=tuple(
            Stretch(
                start=index[part.start],
                end=index[part.stop - 1],
                rows=part.stop - part.start,
                phase=part.phase,
                reason=part.reason,
            )
            for part in parts
        ),
        outcome=outcome,
        criteria=criteria,
        flue_slope=slope,
        flue_rise_remaining=rise,
        judged=tuple(burns.lines),
        not_judged=missing,
        by_rules=by_rules,
        rules_agree=agree,
    )


def _not_judged(frame: pd.DataFrame, burns: _Burns) -> tuple[str, ...]:
    """Return the channels of the criteria that were logged, or are always expected, and had no say."""
    expected = rules().expected
    limits = burns.criteria.limits
    return tuple(
        name for name in limits if name not in burns.lines and (name in frame.columns or name in expected)
    )


def _seconds(frame: pd.DataFrame) -> Array:
    """Return the time of each row [s] since the first."""
    index = frame.index
    if not isinstance(index, pd.DatetimeIndex) or index.tz is None:
        raise InputError("the readings of a test point need a time index with a time zone; localize it first")
    if len(index) == 0:
        raise InputError("the test point holds no rows; check its start and end against the log")
    nanoseconds = index.as_unit("ns").asi8
    steps = np.diff(nanoseconds)
    if np.any(steps <= 0):
        row = int(np.argmax(steps <= 0)) + 1
        raise InputError(
            f"time does not go forward at row {row} of the test point ({index[row]}); sort the readings"
        )
    return np.asarray((nanoseconds - nanoseconds[0]) * 1e-9, dtype=np.float64)


def _states(frame: pd.DataFrame) -> NDArray[np.int8]:
    """Return for each row whether it is flue gas, fresh air, unknown, or after the burner's own signal went off."""
    for name in ("oxygen_dry", "oxygen_wet", "carbon_dioxide_dry", "flue_temperature"):
        if name in frame.columns and bool(frame[name].notna().any()):
            value = frame[name].to_numpy(dtype=np.float64)
            break
    else:
        return np.full(len(frame), _UNKNOWN, dtype=np.int8)
    if name == "carbon_dioxide_dry":
        fresh = value < rules().fresh_air_carbon_dioxide
    elif name == "flue_temperature":
        fresh = np.zeros(len(frame), dtype=bool)  # no gas was logged: temperature alone cannot tell fresh air
    else:
        fresh = value >= rules().fresh_air_oxygen
    states = np.where(fresh, _FRESH, np.where(np.isnan(value), _UNKNOWN, _BURNING)).astype(np.int8)
    if "burner_on" in frame.columns:
        states[(frame["burner_on"].to_numpy(dtype=np.float64) == 0) & (states == _BURNING)] = _OFF
    return states


def _bridge(states: NDArray[np.int8], seconds: Array, gap: float) -> NDArray[np.int8]:
    """Return the states with short dropouts counted to the burn on both sides of them."""
    unknown = states == _UNKNOWN
    if not unknown.any() or unknown.all():
        return states
    rows = np.arange(len(states))
    before = np.maximum.accumulate(np.where(unknown, -1, rows))
    after = np.minimum.accumulate(np.where(unknown, len(states), rows)[::-1])[::-1]
    inside = unknown & (before >= 0) & (after < len(states))
    left, right = before[inside], after[inside]
    short = (states[left] == states[right]) & (seconds[right] - seconds[left] <= gap)
    bridged = states.copy()
    bridged[np.flatnonzero(inside)[short]] = states[left][short]
    return bridged


def _runs(states: NDArray[np.int8], broken: NDArray[np.bool_]) -> _Segments:
    cuts = np.flatnonzero((np.diff(states) != 0) | broken) + 1
    start = np.concatenate(([0], cuts))
    return _Segments(start=start, stop=np.concatenate((cuts, [len(states)])), state=states[start])


def _mark_flicker(states: NDArray[np.int8], seconds: Array, broken: NDArray[np.bool_]) -> NDArray[np.int8]:
    """Return the states with chains of stretches too short to be burns marked as one."""
    segments = _runs(states, broken)
    short = seconds[segments.stop - 1] - seconds[segments.start] < rules().light_off
    edges = np.flatnonzero(np.diff(np.concatenate(([0], short.view(np.int8), [0]))))
    first, last = edges[::2], edges[1::2]
    chain = last - first >= _CHAIN
    marked = np.zeros(len(states) + 1, dtype=np.int8)
    marked[segments.start[first[chain]]] += 1
    marked[segments.stop[last[chain] - 1]] -= 1
    return np.where(np.cumsum(marked)[:-1] > 0, _FLICKER, states).astype(np.int8)


def _mark_endings(
    frame: pd.DataFrame, states: NDArray[np.int8], broken: NDArray[np.bool_]
) -> NDArray[np.int8]:
    """Return the states with the rise of oxygen from a burn to the fresh air that follows it marked as its end."""
    name = next((name for name in ("oxygen_dry", "oxygen_wet") if name in frame.columns), None)
    if name is None:
        return states
    oxygen = frame[name].to_numpy(dtype=np.float64)
    marked = states.copy()
    segments = _runs(states, broken)
    followed = np.append((segments.state[1:] == _FRESH) & ~broken[segments.start[1:] - 1], False)
    for number in np.flatnonzero((segments.state == _BURNING) & followed):
        start, stop = int(segments.start[number]), int(segments.stop[number])
        burn = oxygen[start:stop]
        low = burn <= np.nanmedian(burn) + rules().ending
        marked[stop - int(np.argmax(low[::-1])) : stop] = _ENDING
    return marked


def _segments(frame: pd.DataFrame, seconds: Array) -> tuple[_Segments, float, NDArray[np.int8]]:
    steps = np.diff(seconds)
    interval = float(np.median(steps)) if len(steps) else 0.0
    gap = max(rules().gap, rules().gap_intervals * interval)
    broken = steps > gap
    states = _mark_flicker(_bridge(_states(frame), seconds, gap), seconds, broken)
    states = _mark_endings(frame, states, broken)
    return _runs(states, broken), interval, states


def _look(
    frame: pd.DataFrame,
    seconds: Array,
    interval: float,
    segments: _Segments,
    criteria: Criteria,
    system: System,
) -> _Burns:
    """Bin every burn and fit the moving lines of each channel the criteria ask for."""
    burning = segments.state == _BURNING
    bins = bin_burns(
        seconds,
        start=segments.start[burning],
        stop=segments.stop[burning],
        interval=interval,
        length=criteria.slope_length,
    )
    lines: dict[str, Lines] = {}
    badness: dict[str, Array] = {}
    holds = bins.inside.copy()
    for name, limit in criteria.limits.items():
        if name not in frame.columns or not len(bins.first):
            continue
        binned = bins.average(frame[name].to_numpy(dtype=np.float64))
        if binned.share < rules().present:
            continue
        lines[name] = fit_lines(bins, binned)
        badness[name] = _badness(lines[name], limit)
        holds &= badness[name][bins.window_of] <= 1.0
    if criteria.slope_length >= criteria.minimum_length:
        holds = bins.covered(holds)  # the definition is about the whole moving window, not its middle
    holds &= ~_light_off(bins, segments)
    return _Burns(seconds, interval, segments, bins, lines, badness, holds & bool(lines), criteria, system)


def _badness(line: Lines, limit: Limits) -> Array:
    """Return how far each moving window is beyond its limits: at most 1 where it holds, infinite where unread."""
    grown = np.maximum(1.0, np.abs(line.mean) / limit.level)
    slope = np.abs(line.slope)
    drift = np.where(slope > rules().significance * line.slope_error, slope / (limit.slope * grown), 0.0)
    bad = np.maximum(drift, line.spread / (limit.spread * grown))
    return np.where(np.isnan(bad), np.inf, bad)


def _light_off(bins: Bins, segments: _Segments) -> NDArray[np.bool_]:
    """Return which bins lie within a burn's first minute, where its beginning was seen."""
    lit = _lit(segments)[segments.state == _BURNING]
    age = (np.arange(len(bins.inside)) - bins.first_of) * bins.width
    return bins.inside & (age < rules().light_off) & lit[bins.burn_of] if len(lit) else bins.inside


def _lit(segments: _Segments) -> NDArray[np.bool_]:
    """Return for each segment whether fresh air, or a burner that is off, comes just before it."""
    out = np.isin(segments.state, (_FRESH, _OFF, _ENDING))
    return np.concatenate(([False], out[:-1]))


def _sort(burns: _Burns) -> tuple[list[_Part], tuple[int, int] | None, tuple[int, int] | None]:
    """Return every part of the test point, the rows of the steady window, and those of the least bad one."""
    runs = _holding_runs(burns)
    chosen: tuple[int, int] | None = None
    refused: dict[int, str] = {}
    for first, last in reversed(runs):
        start, why = _trim(burns, first, last)
        if burns.bins.length(start, last, burns.seconds, burns.interval) >= burns.criteria.minimum_length:
            chosen = burns.bins.rows(start, last)
            if start > first:
                refused[first] = why
            break
        refused[first] = why if start > first else "held still"
    parts: list[_Part] = []
    lit = _lit(burns.segments)
    burn = 0
    by_burn: dict[int, list[tuple[int, int]]] = {}
    for first, last in runs:
        by_burn.setdefault(int(burns.bins.burn_of[first]), []).append((first, last))
    for number, state in enumerate(burns.segments.state):
        start, stop = int(burns.segments.start[number]), int(burns.segments.stop[number])
        if state == _BURNING:
            parts += _burn_parts(burns, burn, by_burn.get(burn, []), bool(lit[number]), chosen, refused)
            burn += 1
        else:
            parts.append(_idle_part(int(state), start, stop))
    return parts, chosen, None if chosen else _least_bad(burns)


def _idle_part(state: int, start: int, stop: int) -> _Part:
    if state == _FRESH:
        return _Part(start, stop, "fresh air", "fresh air in the sample: no flue gas to judge")
    if state == _OFF:
        return _Part(start, stop, "shut-down", "the burner's own signal says off")
    if state == _ENDING:
        return _Part(start, stop, "shut-down", "oxygen rising to fresh air: the burner went off")
    if state == _FLICKER:
        return _Part(
            start, stop, "unsteady", "changes between flue gas, fresh air and no reading within a minute"
        )
    return _Part(start, stop, "no flue gas reading", "no number from the gas sensor")


def _holding_runs(burns: _Burns) -> list[tuple[int, int]]:
    """Return runs of holding bins (last exclusive) of at least half a moving window; shorter ones are chance."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], burns.holds.view(np.int8), [0]))))
    first, last = edges[::2], edges[1::2]
    keep = (last - first) >= max(1, burns.bins.moving // 2)
    return list(zip(first[keep].tolist(), last[keep].tolist(), strict=True))


def _trim(burns: _Burns, first: int, last: int) -> tuple[int, str]:
    """Return the first bin from which the run is settled, and why it starts no earlier."""
    start, why = first, ""
    for name, line in burns.lines.items():
        limit = burns.criteria.limits[name]
        mean = line.mean[burns.bins.window_of[first:last]]
        grown = max(1.0, abs(float(mean[-1])) / limit.level)
        back = mean[::-1]
        wide = np.maximum.accumulate(back) - np.minimum.accumulate(back) > limit.span * grown
        if wide.any():
            begin = last - int(np.argmax(wide))
            if begin > start:
                start = begin
                moved = change(name, abs(float(mean[-1] - mean[0])), burns.system)
                why = (
                    f"{channel_words(name)} moved by {moved} up to the end of the stretch; "
                    f"limit {change(name, limit.span * grown, burns.system)}"
                )
        if np.isfinite(limit.remaining):
            begin, lacking = _settled_bin(burns, name, first, last, limit.remaining * grown)
            if begin > start:
                start = begin
                why = (
                    f"{channel_words(name)} still {change(name, abs(lacking), burns.system)} "
                    f"{'below' if lacking > 0 else 'above'} where it was settling; "
                    f"limit {change(name, limit.remaining * grown, burns.system)}"
                )
    return min(start, last), why


def _settled_bin(burns: _Burns, name: str, first: int, last: int, limit: float) -> tuple[int, float]:
    """Return the first bin at which no more than `limit` remains of a first-order settling, and what lacks at `first`."""
    bins = burns.bins
    begin = max(int(bins.first_of[first]), first - bins.moving // 2)
    fit = fit_first_order(
        bins.age(begin, last), burns.lines[name].binned[begin:last], believed_from=rules().curvature
    )
    if fit.amplitude == 0 or not np.isfinite(fit.amplitude):
        return first, 0.0
    lacking = -fit.at((first - begin) * bins.width)
    if abs(lacking) <= limit:
        return first, lacking
    settled = fit.time_constant * float(np.log(abs(fit.amplitude) / limit))
    return max(first, begin + int(np.ceil(settled / bins.width))), lacking


def _burn_parts(
    burns: _Burns,
    burn: int,
    runs: Sequence[tuple[int, int]],
    lit: bool,
    chosen: tuple[int, int] | None,
    refused: Mapping[int, str],
) -> list[_Part]:
    """Return the parts of one burn, in order and without holes, the chosen window left out."""
    bins = burns.bins
    begin, finish = int(bins.first[burn]), int(bins.first[burn] + bins.count[burn])
    parts: list[_Part] = []
    at = begin
    for first, last in runs:
        parts += _moving_parts(burns, at, first, begin, lit)
        parts += _still_parts(burns, first, last, chosen, refused)
        at = last
    return parts + _moving_parts(burns, at, finish, begin, lit)


def _still_parts(
    burns: _Burns, first: int, last: int, chosen: tuple[int, int] | None, refused: Mapping[int, str]
) -> list[_Part]:
    start, stop = burns.bins.rows(first, last)
    least = duration(burns.criteria.minimum_length)
    if chosen and start <= chosen[0] < stop:
        return [_Part(start, chosen[0], "warm-up", refused[first])] if start < chosen[0] else []
    length = duration(burns.bins.length(first, last, burns.seconds, burns.interval))
    if first not in refused:
        return [_Part(start, stop, "steady", f"held still for {length}, but a later stretch was taken")]
    if refused[first] == "held still":
        return [_Part(start, stop, "steady", f"held still for {length} only; at least {least} are needed")]
    return [_Part(start, stop, "unsteady", f"{refused[first]}; what is left is shorter than {least}")]


def _moving_parts(burns: _Burns, first: int, last: int, begin: int, lit: bool) -> list[_Part]:
    """Return the parts of a run of bins that does not hold: light-off, warm-up, unsteady."""
    if first >= last:
        return []
    bins = burns.bins
    start, stop = bins.rows(first, last)
    parts: list[_Part] = []
    opening = first == begin
    if opening and lit:
        length = rules().light_off
        row = start + int(np.searchsorted(burns.seconds[start:stop], burns.seconds[start] + length))
        parts.append(
            _Part(start, row, "light-off", f"the first {duration(length)} after light-off are not judged")
        )
        start, first = row, min(first + int(np.ceil(length / bins.width)), last - 1)
    warm = _warm_bin(burns, first, last) if opening else first
    turn = max(start, bins.rows(first, warm)[1]) if warm > first else start
    if start < turn:
        parts.append(_Part(start, turn, "warm-up", _why(burns, bins.window_of[first:warm])))
    if turn < stop:
        parts.append(_Part(turn, stop, "unsteady", _why(burns, bins.window_of[min(warm, last - 1) : last])))
    return parts


def _warm_bin(burns: _Burns, first: int, last: int) -> int:
    """Return the bin up to which the flue warms up at the beginning of a burn."""
    flue = burns.lines.get("flue_temperature")
    if flue is None:
        return last  # without a flue temperature, what comes before the first stillness counts as warm-up
    rising = flue.slope[burns.bins.window_of[first:last]] > burns.criteria.limits["flue_temperature"].slope
    warm = last if rising.all() else first + int(np.argmin(rising))
    return last if last - warm < burns.bins.moving // 2 and warm > first else warm


def _why(burns: _Burns, windows: NDArray[np.intp]) -> str:
    """Return, in words, the channel and the number that stand most in the way in some moving windows."""
    if not burns.lines:
        return f"none of {listed(tuple(burns.criteria.limits))} has enough readings to judge"
    counts = {}
    for name, badness in burns.badness.items():
        bad = badness[windows]
        counts[name] = float(
            np.sum(np.minimum(bad, 10.0), where=bad > 1)
        )  # one wild window is not the whole story
    worst = max(counts, key=lambda name: counts[name])
    if counts[worst] == 0:
        return "held still for a moment only, between two disturbances"
    return _complaint(burns, worst, windows)


def _complaint(burns: _Burns, name: str, windows: NDArray[np.intp]) -> str:
    line, limit, words = burns.lines[name], burns.criteria.limits[name], channel_words(name)
    slope, spread = line.slope[windows], line.spread[windows]
    read = np.isfinite(slope)
    if not read.any():
        return f"{words}: too few readings to judge"
    grown = max(1.0, abs(float(np.nanmean(line.mean[windows]))) / limit.level)
    mean = float(np.mean(slope[read]))
    steepest = float(np.max(np.abs(slope[read])))
    allowed = f"limit {rate(name, limit.slope * grown, burns.system)}"
    if abs(mean) > limit.slope * grown:
        return f"{words} still {'rising' if mean > 0 else 'falling'} {rate(name, abs(mean), burns.system)}; {allowed}"
    if steepest > limit.slope * grown:
        return f"{words} swinging by up to {rate(name, steepest, burns.system)}; {allowed}"
    widest = change(name, float(np.max(spread[read])), burns.system)
    return f"{words} scattered by {widest} (standard deviation); limit {change(name, limit.spread * grown, burns.system)}"


def _least_bad(burns: _Burns) -> tuple[int, int] | None:
    """Return the rows of the calmest stretch of the least length, or of the longest burn where all are shorter."""
    bins = burns.bins
    if not len(bins.first) or not burns.lines:
        return None
    wanted = int(np.ceil(burns.criteria.minimum_length / bins.width))
    longest = int(np.argmax(bins.count))
    if bins.count[longest] <= wanted:
        first, last = int(bins.first[longest]), int(bins.first[longest] + bins.count[longest])
        return bins.rows(first, last)
    score = np.full(len(bins.inside), 0.0)
    for name, line in burns.lines.items():
        limit = burns.criteria.limits[name]
        plain = np.maximum(burns.badness[name], np.abs(line.slope) / limit.slope)
        score = np.maximum(score, np.nan_to_num(plain, nan=1e3, posinf=1e3)[bins.window_of])
    score[~bins.inside | _light_off(bins, burns.segments)] = 1e6
    first = int(np.argmin(np.convolve(np.minimum(score, 1e6), np.ones(wanted), "valid")))
    return bins.rows(first, first + wanted)


def _window(
    index: pd.DatetimeIndex,
    burns: _Burns,
    rows: tuple[int, int],
    because: str,
    by: Literal["rules", "person"] = "rules",
) -> Window:
    return Window(
        start=index[rows[0]], end=index[rows[1] - 1], rows=rows[1] - rows[0], chosen_by=by, because=because
    )


def _length(burns: _Burns, rows: tuple[int, int]) -> float:
    return float(burns.seconds[rows[1] - 1] - burns.seconds[rows[0]] + burns.interval)


def _praise(burns: _Burns, rows: tuple[int, int], missing: Sequence[str]) -> str:
    slope, rise = _flue_trend(burns, rows)
    text = f"{listed(tuple(burns.lines))} held still together for {duration(_length(burns, rows))}"
    if np.isfinite(slope):
        text += f"; the flue drifted by {rate('flue_temperature', slope, burns.system)}"
    if abs(rise) >= rules().worth_saying:  # not for NaN
        text += f" and had {change('flue_temperature', abs(rise), burns.system)} left to {'rise' if rise > 0 else 'fall'}"
    return text


def _excuse(burns: _Burns, rows: tuple[int, int]) -> str:
    first, last = burns.bins.bins_of(rows, burns.seconds)
    inner = np.arange(first, max(last - burns.bins.moving, first) + 1)
    return f"the calmest {duration(_length(burns, rows))}; {_why(burns, inner)}"


def _outcome(burns: _Burns, window: Window | None, least: Window | None, missing: Sequence[str]) -> str:
    unseen = f" Not judged, for want of readings: {listed(missing)}." if missing else ""
    if window:
        return f"A steady window was found: {window.because}.{unseen}"
    if not len(burns.bins.first):
        return "No steady window: the test point holds no flue gas, only fresh air or rows without a gas reading."
    if not burns.lines:
        return f"No steady window: none of the channels these criteria ask for has enough readings.{unseen}"
    longest = burns.bins.longest(burns.seconds, burns.interval)
    if longest < burns.criteria.minimum_length:
        return (
            f"No steady window: the log holds {duration(longest)} of unbroken burning, and '{burns.criteria.name}' "
            f"needs {duration(burns.criteria.minimum_length)}. The stretch on offer needs a person to accept it.{unseen}"
        )
    offer = f" On offer, if a person accepts it: {least.because}." if least else ""
    return f"No steady window of {duration(burns.criteria.minimum_length)} was found.{offer}{unseen}"


def _rows_between(index: pd.DatetimeIndex, manual: tuple[pd.Timestamp, pd.Timestamp, str]) -> tuple[int, int]:
    start, stop = int(index.searchsorted(manual[0], "left")), int(index.searchsorted(manual[1], "right"))
    if start >= stop:
        raise InputError(
            f"the window chosen by hand, {manual[0]} to {manual[1]}, holds no row; this test point's readings run from "
            f"{index[0]} to {index[-1]}"
        )
    return start, stop


def _compare(
    burns: _Burns,
    parts: Sequence[_Part],
    chosen: tuple[int, int] | None,
    span: tuple[int, int],
    states: NDArray[np.int8],
    because: str,
) -> tuple[bool, str]:
    """Return whether the rules would accept a window chosen by a person, and the outcome in words."""
    rows = span[1] - span[0]
    text = f"The window was chosen by a person ({because})."
    idle = rows - int(np.sum(states[span[0] : span[1]] == _BURNING))
    if idle:
        text += f" {idle} of its {rows} rows hold no flue gas."
    inside = [(min(part.stop, span[1]) - max(part.start, span[0]), part) for part in parts]
    inside = [(count, part) for count, part in inside if count > 0]
    against = [(count, part) for count, part in inside if part.phase != "steady"]
    if not against:
        return True, f"{text} The rules agree: every channel holds in it."
    count, worst = max(against, key=lambda pair: pair[0])
    refused = sum(number for number, _ in against)
    return (
        False,
        f"{text} The rules do not agree on {refused} of its {rows} rows; the most: {worst.phase}, {worst.reason}.",
    )


def _cut_out(parts: Sequence[_Part], chosen: tuple[int, int] | None, span: tuple[int, int]) -> list[_Part]:
    """Return the parts of all rows outside `span`; the rules' own window becomes one of them."""
    whole = list(parts)
    if chosen:
        whole.append(_Part(*chosen, "steady", "steady by the rules, but a person chose another window"))
    pieces = []
    for part in sorted(whole, key=lambda part: part.start):
        if part.start < span[0]:
            pieces.append(replace(part, stop=min(part.stop, span[0])))
        if part.stop > span[1]:
            pieces.append(replace(part, start=max(part.start, span[1])))
    return pieces


def _flue_trend(burns: _Burns, rows: tuple[int, int] | None) -> tuple[float, float]:
    """Return the flue temperature's drift within rows [K/s], and what it still had to rise at their end [K]."""
    line = burns.lines.get("flue_temperature")
    if rows is None or line is None:
        return np.nan, np.nan
    first, last = burns.bins.bins_of(rows, burns.seconds)
    begin = max(int(burns.bins.first_of[first]), first - 2 * burns.bins.moving)
    value = line.binned[first:last]
    read = np.isfinite(value)
    age = burns.bins.age(first, last)[read]
    if len(age) < 3:
        return np.nan, np.nan
    slope = float(np.polyfit(age - age.mean(), value[read] - value[read].mean(), 1)[0])
    fit = fit_first_order(
        burns.bins.age(begin, last), line.binned[begin:last], believed_from=rules().curvature
    )
    return slope, -fit.at((last - begin) * burns.bins.width)
