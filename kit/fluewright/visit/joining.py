"""Join the logs of a visit on one time axis, by the nearest reading; nothing is interpolated."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.units import Array
from fluewright.visit.problems import Problem, VisitError
from fluewright.visit.readings import Cell, Channel, Readings, RowAccount, SetAsideRows
from fluewright.visit.tidy import OneLog
from fluewright.visit.times import Micros


def join_logs(logs: Sequence[OneLog]) -> Readings:
    """Join logs on the times of the first, by the nearest reading within half of each log's own interval.

    Logs that hold a quantity of the first continue it, before or after. Nothing is interpolated.

    Raises
    ------
    VisitError
        Two logs hold the same quantity at the same time, or a log has no time near the first's.
    """
    problems = [problem for pair in combinations(logs, 2) for problem in _overlap(*pair)]
    if problems:
        raise VisitError(problems)
    first = set(logs[0].readings.frame)
    axis = [log for log in logs if first & set(log.readings.frame)]
    others = [log for log in logs if not first & set(log.readings.frame)]
    if len(logs) == 1:
        return logs[0].readings
    axis.sort(key=lambda log: log.readings.frame.index[0])
    index = axis[0].readings.frame.index
    for log in axis[1:]:
        index = index.append(log.readings.frame.index)
    joined = _Joined(index=pd.DatetimeIndex(index, name="time"))
    asides = [log.readings.aside for log in logs]
    accounts = {id(log): log.readings.accounts[0] for log in logs}
    start = 0
    for log in axis:
        count = len(log.readings.frame)
        joined.put(log.readings, slice(start, start + count), slice(0, count))
        start += count
    name = logs[0].readings.accounts[0].file
    for log in others:
        match = _nearest(joined.index, pd.DatetimeIndex(log.readings.frame.index))
        matched = np.flatnonzero(match.places >= 0)
        if not len(matched):
            problems.append(_apart(log, name))
            continue
        joined.put(log.readings, matched, match.places[matched])
        unused = np.setdiff1d(np.arange(len(log.rows)), match.places[matched])
        accounts[id(log)] = _with_unused(accounts[id(log)], log.rows[unused], name, match.within)
        asides.append(_as_bounds(log.readings, unused))
    if problems:
        raise VisitError(problems)
    aside = (
        pd.concat([part for part in asides if len(part)]).sort_index() if any(map(len, asides)) else asides[0]
    )
    return joined.readings(
        channels=_channels(logs), accounts=tuple(accounts[id(log)] for log in logs), aside=aside
    )


class _Joined:
    """Columns of several logs on one axis while they are put together; what no log holds is empty."""

    def __init__(self, index: pd.DatetimeIndex) -> None:
        self.index = index
        self.values: dict[str, Array] = {}
        self.states: dict[str, NDArray[np.int8]] = {}
        self.bounds: dict[str, Array] = {}

    def put(self, readings: Readings, here: Any, there: Any) -> None:
        """Put rows `there` of a log at places `here` of the axis."""
        for quantity in readings.channels:
            if quantity not in self.values:
                self.values[quantity] = np.full(len(self.index), np.nan)
                self.states[quantity] = np.full(len(self.index), Cell.EMPTY, np.int8)
                self.bounds[quantity] = np.full(len(self.index), np.nan)
            self.values[quantity][here] = readings.frame[quantity].to_numpy()[there]
            self.states[quantity][here] = (
                readings.states[quantity].to_numpy()[there] if quantity in readings.states else Cell.NUMBER
            )
            if quantity in readings.lower_bounds:
                self.bounds[quantity][here] = readings.lower_bounds[quantity].to_numpy()[there]

    def readings(self, **others: Any) -> Readings:
        """Return the readings, with states and bounds only where there are any."""
        states = {quantity: states for quantity, states in self.states.items() if states.any()}
        bounds = {quantity: bounds for quantity, bounds in self.bounds.items() if np.isfinite(bounds).any()}
        return Readings(
            frame=pd.DataFrame(self.values, index=self.index, copy=False),
            states=pd.DataFrame(states, index=self.index, copy=False),
            lower_bounds=pd.DataFrame(bounds, index=self.index, copy=False),
            **others,
        )


def _overlap(one: OneLog, other: OneLog) -> Iterator[Problem]:
    shared = [quantity for quantity in one.readings.frame if quantity in other.readings.frame]
    early, late = sorted((one, other), key=lambda log: log.readings.frame.index[0])
    if shared and early.readings.frame.index[-1] >= late.readings.frame.index[0]:
        files = [log.readings.accounts[0].file for log in (early, late)]
        yield Problem(
            what=f"{shared[0]} stands in two logs at the same time, {late.readings.frame.index[0]:%H:%M:%S}",
            where=f"{files[0]} and {files[1]}",
            rule="each reading comes from one log",
            way_out="Take the column out of one of them in visit.toml, or name another quantity",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Match:
    """For each time of the axis the place of the nearest reading of a log, -1 where none is near enough."""

    places: NDArray[np.int64]
    within: float


def _nearest(axis: pd.DatetimeIndex, times: pd.DatetimeIndex) -> _Match:
    wanted, given = _utc_micros(axis), _utc_micros(times)
    steps = np.diff(given) if len(given) > 1 else np.diff(wanted)
    within = float(np.median(steps)) / 2 if len(steps) else 0.0
    after = np.clip(np.searchsorted(given, wanted), 0, len(given) - 1)
    before = np.maximum(after - 1, 0)
    places = np.where(np.abs(wanted - given[before]) <= np.abs(given[after] - wanted), before, after)
    return _Match(places=np.where(np.abs(given[places] - wanted) <= within, places, -1), within=within / 1e6)


def _utc_micros(index: pd.DatetimeIndex) -> Micros:
    return np.asarray(index.tz_convert("UTC").as_unit("us").asi8)


def _apart(log: OneLog, first: str) -> Problem:
    index = log.readings.frame.index
    return Problem(
        what=f"its times, {index[0]:%Y-%m-%d %H:%M:%S} to {index[-1]:%H:%M:%S}, are nowhere near those of {first}",
        where=log.readings.accounts[0].file,
        rule=f"logs are joined on the times of {first}",
        way_out="Correct the log's clock with time.offset in visit.toml, or put time.format or the zone right",
    )


def _with_unused(account: RowAccount, rows: NDArray[np.int64], first: str, within: float) -> RowAccount:
    note = f"joined on the times of {first} by the nearest reading within {within:g} s"
    aside = account.set_aside
    if len(rows):
        reason = f"no time of {first} is nearest to it"
        aside = (*aside, SetAsideRows(reason=reason, rows=len(rows), first_row=int(rows.min())))
    return replace(account, used=account.used - len(rows), set_aside=aside, notes=(*account.notes, note))


def _as_bounds(readings: Readings, places: NDArray[np.int64]) -> pd.DataFrame:
    rows = readings.frame.iloc[places]
    return rows.fillna(readings.lower_bounds.iloc[places]) if len(readings.lower_bounds.columns) else rows


def _channels(logs: Sequence[OneLog]) -> Mapping[str, Channel]:
    channels: dict[str, Channel] = {}
    for log in logs:
        for quantity, channel in log.readings.channels.items():
            known = channels.setdefault(quantity, channel)
            if known is not channel:
                columns = (
                    known.column if known.column == channel.column else f"{known.column}, {channel.column}"
                )
                channels[quantity] = replace(known, file=f"{known.file}, {channel.file}", column=columns)
    return channels
