"""The cycles of a burner in a log: from each light-off to its shut-down, what settled meanwhile, and the peaks.

Where the burner's own signal was logged it tells on from off. Elsewhere the flue gas does: then a probe drawn out of
the flue for long reads as a burner off (for a few minutes it does not, if the flue stays hot), and a burner that lights
before oxygen has risen to fresh air as one that stayed on.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.steady.burns import Burns, look_at_burns
from fluewright.steady.criteria import Criteria, named_criteria, rules
from fluewright.steady.reasons import why_not
from fluewright.steady.rows import DILUTION, OXYGEN, Rows, State, first_of, longest_gap, sort_rows
from fluewright.steady.window import Window, sound_stretch, window_of
from fluewright.steady.words import System, duration
from fluewright.units import Array

ToldBy: TypeAlias = Literal["burner signal", "flue gas", "nothing"]

_SWITCH, _MONOXIDE = "burner_on", "carbon_monoxide_dry"
_BECAUSE = "the latest stretch of the cycle in which every channel held still"
_KNOWN = (State.BURNING, State.FRESH, State.OFF, State.ENDING, State.DRAWN)


@dataclass(frozen=True, slots=True, kw_only=True)
class Peak:
    """The greatest reading of a stretch [SI], and when; `at_least` where a cell of the stretch was over range."""

    value: float
    at_least: bool
    when: pd.Timestamp


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycle:
    """One burner cycle, from the first row in which it burned to the last.

    `on_time` [s] is a least value where light-off or shut-down was not seen (`lit`, `ended`): there the log begins,
    ends or has a gap. `off_before` [s] is the time off before it, NaN where not all of that was seen. `settled` holds
    the rows in which every channel held still, `settled_after` [s] the time from light-off to the first of them, NaN
    where light-off was not seen; a cycle that never settled has none, and `why_never` says why. The peaks are of dry
    carbon monoxide:
    `light_off_peak` in the first minute after a light-off that was seen, `peak` in any row from the cycle's start to
    the next one's; None where none was read.
    """

    start: pd.Timestamp
    end: pd.Timestamp
    on_time: float
    off_before: float
    lit: bool
    ended: bool
    settled: Window | None
    settled_after: float
    why_never: str
    light_off_peak: Peak | None
    peak: Peak | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cycles:
    """The burner cycles of a log in order of time; the time on, and the time known to be on or off [s].

    `interval` [s] is the usual step between the readings that tell it: a light-off or a shut-down lies somewhere in it.
    Nothing told on from off where neither a signal nor oxygen or carbon dioxide was logged: there are then no cycles.
    """

    told_by: ToldBy
    cycles: tuple[Cycle, ...]
    time_on: float
    time_known: float
    interval: float


@dataclass(frozen=True, slots=True)
class _Runs:
    """Runs of rows (stop exclusive) in which the burner was on or off, none of them across a gap.

    `after` tells where a run follows the one before it at once; `length` [s] counts each row as one usual `interval`.
    """

    start: NDArray[np.intp]
    stop: NDArray[np.intp]
    on: NDArray[np.bool_]
    after: NDArray[np.bool_]
    length: Array
    interval: float


def find_cycles(
    frame: pd.DataFrame,
    *,
    monoxide: pd.Series[float] | None = None,
    least_monoxide: pd.Series[float] | None = None,
    windows: Iterable[Window] = (),
    criteria: Criteria | None = None,
    system: System = "US",
) -> Cycles:
    """Find the burner cycles of a log, each with its settled part by the rules of the steady window.

    Parameters
    ----------
    frame : DataFrame
        Readings as `find_steady_window` takes them; of a whole log, not of a test point only.
    monoxide, least_monoxide : Series, optional
        Dry carbon monoxide [mol/mol] of every row to look for peaks in, in order of time, and row for row the least
        value of a cell that was over range, NaN elsewhere; the frame's own column, and none, if not given.
    windows : iterable of Window
        Steady windows of this log that the rules have found already: a cycle that holds one is not searched again,
        and the latest of them is its settled part.
    criteria : Criteria, optional
        What "steady" means; ``named_criteria("field test")`` if not given.
    system : "US" or "SI"
        Units used in the reasons.

    Returns
    -------
    Cycles
        One entry for each burner cycle, also for those cut off by an end of the log or by a gap in it.

    Raises
    ------
    InputError
        The frame is empty, or its time is not usable.
    """
    rows, index = sort_rows(frame), cast(pd.DatetimeIndex, frame.index)
    told_by, runs = _on_and_off(frame, rows)
    on = np.flatnonzero(runs.on)
    starts, ends = index[runs.start[on]], index[runs.stop[on] - 1]
    lit = runs.after[on]
    ended = np.append(runs.after[1:], False)[on]
    before = np.where(lit & runs.after[on - 1], runs.length[on - 1], np.nan)
    found = _known(index, runs, windows)
    if len(found) < len(on):
        burns = look_at_burns(frame, rows, criteria or named_criteria())
        found |= _searched(burns, index, runs, found, system)
    if monoxide is None:
        monoxide = frame[_MONOXIDE] if _MONOXIDE in frame else pd.Series(dtype=np.float64, index=index[:0])
    peaks = _peaks(monoxide, least_monoxide, starts, lit)
    cycles = []
    for number, (at_light_off, peak) in enumerate(peaks):
        settled = one if isinstance(one := found[number], Window) else None
        after = (settled.start - starts[number]).total_seconds() if settled and lit[number] else np.nan
        cycles.append(
            Cycle(
                start=starts[number],
                end=ends[number],
                on_time=float(runs.length[on[number]]),
                off_before=float(before[number]),
                lit=bool(lit[number]),
                ended=bool(ended[number]),
                settled=settled,
                settled_after=after,
                why_never=one if isinstance(one, str) else "",
                light_off_peak=at_light_off,
                peak=peak,
            )
        )
    return Cycles(
        told_by=told_by,
        cycles=tuple(cycles),
        time_on=float(runs.length[on].sum()),
        time_known=float(runs.length.sum()),
        interval=runs.interval,
    )


# ---------------------------------------------------------------------------- on and off


def _on_and_off(frame: pd.DataFrame, rows: Rows) -> tuple[ToldBy, _Runs]:
    """Return what tells when the burner was on, and when it was."""
    logged = (name for name in (_SWITCH, *DILUTION) if name in frame)
    first = next((name for name in logged if frame[name].notna().any()), None)
    if first == _SWITCH:
        return "burner signal", _by_signal(frame[_SWITCH].to_numpy(dtype=np.float64), rows)
    if first is not None:
        return "flue gas", _by_flue_gas(frame, rows)
    none = np.zeros(0, dtype=np.intp)
    return "nothing", _runs(rows.seconds, none, none, none > 0, rows.interval)


def _by_signal(signal: Array, rows: Rows) -> _Runs:
    """Return when the burner was on or off, by its own signal."""
    read = np.flatnonzero(np.isfinite(signal))
    steps = np.diff(rows.seconds[read])
    interval = float(np.median(steps)) if len(steps) else rows.interval
    return _runs(rows.seconds, read, read + 1, signal[read] > 0.5, interval)


def _by_flue_gas(frame: pd.DataFrame, rows: Rows) -> _Runs:
    """Return when the burner was on or off, by the flue gas; a brush with the limit of fresh air is no burn."""
    known = np.isin(rows.of, _KNOWN)
    start, stop, on = rows.start[known], rows.stop[known], rows.of[known] == State.BURNING
    drawn = rows.of[known] == State.DRAWN  # the probe was out, and the burner ran on
    oxygen = first_of(OXYGEN, frame)
    if oxygen is not None and len(start):
        least = np.fmin.reduceat(frame[oxygen].to_numpy(dtype=np.float64), start)
        on &= ~(least >= rules().fresh_air_oxygen - rules().ending)
    return _runs(rows.seconds, start, stop, on | drawn, rows.interval)


def _runs(
    seconds: Array, start: NDArray[np.intp], stop: NDArray[np.intp], on: NDArray[np.bool_], interval: float
) -> _Runs:
    """Return stretches of rows as runs, those alike that follow each other without a gap as one."""
    steps = seconds[start[1:]] - seconds[stop[:-1] - 1]
    near = np.concatenate(([False], steps <= longest_gap(interval)))[: len(start)]
    first = ~near | (on != np.roll(on, 1))
    last = np.append(first[1:], True)[: len(start)]
    start, stop = start[first], stop[last]
    length = seconds[stop - 1] - seconds[start] + interval
    return _Runs(start, stop, on[first], near[first], np.asarray(length, dtype=np.float64), interval)


# ---------------------------------------------------------------------------- what settled


def _known(index: pd.DatetimeIndex, runs: _Runs, windows: Iterable[Window]) -> dict[int, Window | str]:
    """Return the latest of `windows` in each cycle that holds one."""
    found: dict[int, Window | str] = {}
    begins, ends = runs.start[runs.on], runs.stop[runs.on]
    for window in sorted(windows, key=lambda one: one.start):
        start, stop = index.searchsorted(window.start), index.searchsorted(window.end, "right")
        cycle = int(np.searchsorted(begins, start, "right")) - 1
        if cycle >= 0 and stop <= ends[cycle]:
            found[cycle] = window
    return found


def _searched(
    burns: Burns, index: pd.DatetimeIndex, runs: _Runs, known: Container[int], system: System
) -> dict[int, Window | str]:
    """Return for each cycle not `known` its latest sound stretch, or why there is none."""
    begins = runs.start[runs.on]
    ends = burns.rows.stop[burns.rows.burning] - 1
    cycle_of = np.searchsorted(begins, ends, "right") - 1  # by burn; -1 before the first cycle
    found: dict[int, Window | str] = {}
    refused: dict[int, str] = {}
    for first, last in reversed(burns.holding()):
        cycle = int(cycle_of[burns.bins.burn_of[first]])
        if cycle < 0 or cycle in found or cycle in known:
            continue
        span, refusal = sound_stretch(burns, first, last, system)
        if span:
            found[cycle] = window_of(index, span, _BECAUSE)
        elif refusal:
            refused.setdefault(cycle, refusal.reason)
    for cycle in range(len(begins)):
        if cycle not in found and cycle not in known:
            inside = np.flatnonzero(cycle_of == cycle)
            found[cycle] = _why_never(burns, inside, refused.get(cycle, ""), system)
    return found


def _why_never(burns: Burns, inside: NDArray[np.intp], refused: str, system: System) -> str:
    """Return why nothing of a cycle, which holds the burns `inside`, settled."""
    if not len(inside):
        return "no flue gas was read"
    bins, least = burns.bins, duration(burns.criteria.minimum_length)
    first = int(bins.first[inside[0]])
    last = int(bins.first[inside[-1]] + bins.count[inside[-1]])
    burned = burns.length(first, last)
    if burned < burns.criteria.minimum_length:
        return f"burned for {duration(burned)} only; {least} of stillness are needed"
    windows = bins.window_of[first:last][bins.inside[first:last]]
    return refused or why_not(burns, windows, system) or f"never held still for {least}"


# ---------------------------------------------------------------------------- peaks


def _peaks(
    monoxide: pd.Series[float],
    least: pd.Series[float] | None,
    starts: pd.DatetimeIndex,
    lit: NDArray[np.bool_],
) -> Iterator[tuple[Peak | None, Peak | None]]:
    """Yield for each cycle the peak of carbon monoxide at light-off and that of all its rows."""
    times = cast(pd.DatetimeIndex, monoxide.index)
    value = monoxide.to_numpy(dtype=np.float64)
    over = np.zeros(len(value), dtype=bool)
    if least is not None:
        bound = least.to_numpy(dtype=np.float64)
        value, over = np.fmax(value, bound), np.isfinite(bound)

    def peak(first: int, last: int) -> Peak | None:
        part = value[first:last]
        if not np.isfinite(part).any():
            return None
        top = int(np.nanargmax(part))
        return Peak(value=float(part[top]), at_least=bool(over[first:last].any()), when=times[first + top])

    # A burner lights after the row before the first that shows flue gas: that row counts to the light-off.
    begin = times.searchsorted(starts) - lit
    minute = times.searchsorted(starts + pd.Timedelta(seconds=rules().light_off))
    until = np.append(begin, len(times))[1:]
    for first, last, end, seen in zip(begin.tolist(), minute.tolist(), until.tolist(), lit, strict=True):
        yield (peak(first, last) if seen else None, peak(first, end))
