"""Join the logs of a visit on one time axis, by the nearest reading; interpolated only where visit.toml asks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright import sources
from fluewright.units import Array
from fluewright.visit.cells import SWITCHES
from fluewright.visit.clocks import Delay, Offset, delay_of, estimate_offset
from fluewright.visit.instruments import stated_accuracy
from fluewright.visit.problems import Problem, VisitError
from fluewright.visit.readings import Cell, Channel, ClockOffset, Readings, RowAccount, SetAsideRows
from fluewright.visit.schema import Instrument, Log
from fluewright.visit.tidy import OneLog
from fluewright.visit.times import utc_micros

_LONGEST_LOOKED_AT = 20_000  # rows, chosen here: in longer logs no events are sought unasked


def join_logs(logs: Sequence[OneLog], *, instruments: Mapping[str, Instrument]) -> Readings:
    """Join logs on the times of the first, by the nearest reading within half of each log's own interval.

    Logs that hold a quantity of the first continue it, before or after. Where visit.toml asks for it, a log's clock
    is corrected by the events it shares with the first, the tolerance is the one stated, and values are interpolated
    between the readings before and after, which its channels then say.

    Raises
    ------
    VisitError
        Two logs hold the same quantity at the same time or by different instruments, a log has no time near the
        first's, or the offset of a clock cannot be told from events.
    """
    logs = _on_one_clock(logs, instruments)
    pairs = tuple(combinations(logs, 2))
    problems = [problem for pair in pairs for problem in (*_overlap(*pair), *_two_tools(*pair))]
    if problems:
        raise VisitError(problems)
    first = set(logs[0].readings.frame)
    axis = [log for log in logs if first & set(log.readings.frame)]
    others = [log for log in logs if not first & set(log.readings.frame)]
    if len(logs) == 1:
        return logs[0].readings
    axis.sort(key=lambda log: log.readings.frame.index[0])
    beside = [_beside_each_other(*pair) for pair in pairwise(axis) if _reach_into(*pair)]
    if beside:
        raise VisitError(beside)
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
    name = logs[0].log.file
    matches = [_nearest(joined.index, log.readings.frame.index, log.log) for log in others]
    problems += [
        _apart(log, name) for log, match in zip(others, matches, strict=True) if not (match.places >= 0).any()
    ]
    for log, match in zip(others, _each_from_one(others, matches), strict=True):
        matched = np.flatnonzero(match.places >= 0)
        joined.put(log.readings, matched, match.places[matched])
        used = nearest = match.places[matched]
        if log.log.interpolate:
            used = np.union1d(used, joined.interpolate(log.readings, matched, match.within))
            # What is drawn between readings does not hold them, but for those over range: a peak stays a peak.
            between = ~log.readings.frame.index[nearest].isin(joined.index)
            asides.append(log.readings.frame.iloc[np.unique(nearest[between])])
        every = np.arange(len(log.rows))
        asides.append(_as_bounds(log.readings, np.setdiff1d(every, nearest)))
        unused = np.setdiff1d(every, used)
        account = _with_unused(accounts[id(log)], log, unused, name, match.within)
        accounts[id(log)] = replace(account, notes=(*account.notes, *_apart_by(log, logs[0], instruments)))
    if problems:
        raise VisitError(problems)
    aside = (
        pd.concat([part for part in asides if len(part)]).sort_index() if any(map(len, asides)) else asides[0]
    )
    return joined.readings(
        channels=_channels(logs), accounts=tuple(accounts[id(log)] for log in logs), aside=aside
    )


# ------------------------------------------------------------------------------------------ clocks


def _on_one_clock(logs: Sequence[OneLog], instruments: Mapping[str, Instrument]) -> list[OneLog]:
    """Return the logs with the clocks corrected that are to be told from shared events."""
    problems, told = [], []
    for log in logs:
        if log.log.time.offset != "estimate":
            told.append(log)
            continue
        delays = _delays((log, logs[0]), instruments)
        latest = {name: delay.latest for name, delay in delays.items()}
        ours, theirs = log.readings.frame, _reference(logs)
        offset = estimate_offset(ours, theirs, latest=latest) if log is not logs[0] else None
        if offset is None or not offset.certain:
            problems.append(_no_offset(log, logs[0], offset))
        else:
            told.append(_shifted(log, offset, delays, logs[0].log.file))
    if problems:
        raise VisitError(problems)
    return told


def _reference(logs: Sequence[OneLog]) -> pd.DataFrame:
    """Return the readings of the first log and of those that go on from it by the same clock."""
    first = logs[0].readings.frame
    others = [log.readings.frame for log in logs[1:] if log.log.time.offset != "estimate"]
    going_on = [frame for frame in others if set(frame) & set(first)]
    return pd.concat([first, *going_on]).sort_index() if going_on else first


def _apart_by(log: OneLog, first: OneLog, instruments: Mapping[str, Instrument]) -> Iterator[str]:
    """Yield the note that the events of two logs speak for clocks that differ, where no estimate was asked for."""
    if log.log.time.offset == "estimate" or max(len(log.rows), len(first.rows)) > _LONGEST_LOOKED_AT:
        return
    latest = {name: delay.latest for name, delay in _delays((log, first), instruments).items()}
    offset = estimate_offset(log.readings.frame, first.readings.frame, latest=latest)
    if offset is not None and offset.apart:
        yield (
            f"{offset.votes} of {offset.seen} events show {abs(offset.seconds):.0f} s "
            f"{'earlier' if offset.seconds > 0 else 'later'} than in {first.log.file}, more than late sensors explain: "
            f'if a clock is wrong, write time.offset, such as "{offset.seconds:+.0f} s"'
        )


def _delays(logs: Sequence[OneLog], instruments: Mapping[str, Instrument]) -> Mapping[str, Delay]:
    """Return how late an event may show in each channel of some logs."""
    return {
        name: delay_of(name, response_time=stated_accuracy(instruments, one.instrument, name).response_time)
        for log in logs
        for name, one in log.readings.channels.items()
    }


def _shifted(log: OneLog, offset: Offset, delays: Mapping[str, Delay], first: str) -> OneLog:
    shift = pd.Timedelta(round(offset.seconds * 1e6), unit="us")
    low, seconds, high = (f"{round(end, 1):+g}" for end in (offset.low, offset.seconds, offset.high))
    note = (
        f"{seconds} s added to its times, estimated from {offset.events} events shared with {first} (95 % interval "
        f"{low} to {high} s; the next best offset joins {offset.rival}). The lag of a sensor counts as its clock's, so "
        f"the interval allows for events that show late: {_latest(offset.channels, delays)}; in {first}, "
        f"{_latest(offset.reference_channels, delays)}"
    )
    readings = log.readings
    (account,) = readings.accounts
    frames = {
        name: getattr(readings, name).set_axis(getattr(readings, name).index + shift)
        for name in ("frame", "states", "lower_bounds", "aside")
    }
    clock = ClockOffset(
        seconds=offset.seconds,
        words=note,
        low=offset.low,
        high=offset.high,
        events=offset.events,
        channels=offset.channels,
        reference=first,
        reference_channels=offset.reference_channels,
    )
    accounts = (replace(account, notes=(*account.notes, note), clock=clock),)
    return replace(log, readings=replace(readings, **frames, accounts=accounts))


def _latest(channels: Sequence[str], delays: Mapping[str, Delay]) -> str:
    """Return in words how late an event may show in some channels, and where that comes from."""
    return ", ".join(_late(sources.quantity(name).label, delays[name]) for name in channels)


def _late(label: str, delay: Delay) -> str:
    if not delay.latest:
        return f"'{label}' at once"
    why = "as its response time is stated" if delay.stated else "assumed, as no response time is stated"
    way = f", {delay.way:g} s of it on the way to the sensor" if delay.way else ""
    return f"'{label}' up to {delay.latest:g} s ({why}{way})"


def _no_offset(log: OneLog, first: OneLog, offset: Offset | None) -> Problem:
    what = "no event, a moment at which readings begin to move, is found in both logs"
    if log is first:
        what = "it is the first log, to whose times the others are joined"
    elif offset is not None and offset.votes == 1:
        what = f"only 1 event is shared with {first.log.file}"
    elif offset is not None:
        seconds = f"{round(offset.seconds, 1):+g} s would join {offset.votes} of {offset.seen} events"
        what = f"{seconds}, and another offset {offset.rival}"
    return Problem(
        what=f"the offset of its clock cannot be estimated: {what}",
        where=log.log.file,
        rule="three shared events or more tell an offset: more than half of those seen, twice as many as tell another",
        way_out="Enter it instead: time.offset = with the seconds to add to this log's times",
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

    def interpolate(self, readings: Readings, here: NDArray[np.int64], within: float) -> NDArray[np.int64]:
        """Put values between the readings before and after, both within the tolerance, and return what served.

        Where one of the two is no number, the nearest reading stays, whatever it says.
        """
        wanted, given = utc_micros(self.index)[here], utc_micros(readings.frame.index)
        if len(given) < 2:
            return np.zeros(0, np.int64)
        after = np.clip(np.searchsorted(given, wanted), 1, len(given) - 1)
        before = after - 1
        share = (wanted - given[before]) / (given[after] - given[before])
        near = (wanted - given[before] <= 2e6 * within) & (given[after] - wanted <= 2e6 * within)
        between = (share >= 0) & (share <= 1) & near
        here, before, after, share = here[between], before[between], after[between], share[between]
        for quantity in readings.channels:
            if quantity in SWITCHES:
                continue
            values = readings.frame[quantity].to_numpy()
            drawn = values[before] * (1 - share) + values[after] * share
            told = np.isfinite(drawn)
            self.values[quantity][here[told]] = drawn[told]
            self.states[quantity][here[told]] = Cell.NUMBER
            self.bounds[quantity][here[told]] = np.nan
        return np.union1d(before, after)

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


def _reach_into(early: OneLog, late: OneLog) -> bool:
    return bool(early.readings.frame.index[-1] >= late.readings.frame.index[0])


def _beside_each_other(early: OneLog, late: OneLog) -> Problem:
    """Return the problem of two logs that both go on from the first, with other quantities, at the same time."""
    files = [log.log.file for log in (early, late)]
    return Problem(
        what=f"{files[1]} begins at {late.readings.frame.index[0]:%H:%M:%S}, before {files[0]} ends, and both go on "
        "from the first log",
        where=f"{files[0]} and {files[1]}",
        rule="the first log, and those that go on from it one after the other, give the times of a visit",
        way_out="List a log first that runs through the whole visit, or put what these two hold into one file",
    )


def _overlap(one: OneLog, other: OneLog) -> Iterator[Problem]:
    shared = [quantity for quantity in one.readings.frame if quantity in other.readings.frame]
    early, late = sorted((one, other), key=lambda log: log.readings.frame.index[0])
    if shared and _reach_into(early, late):
        files = [log.log.file for log in (early, late)]
        if not early.readings.frame.index.isin(late.readings.frame.index).any():
            yield Problem(
                what=f"{shared[0]} stands in two logs in turns, none of them before the other",
                where=f"{files[0]} and {files[1]}",
                rule="a log that goes on from another begins where that one ends",
                way_out="Put their rows into one file in order of time",
            )
            return
        again = late.rows[late.readings.frame.index <= early.readings.frame.index[-1]]
        rows = f"[{again.min()}, {again.max()}]"
        yield Problem(
            what=f"{shared[0]} stands in two logs at the same time, {late.readings.frame.index[0]:%H:%M:%S}",
            where=f"{files[0]} and {files[1]}",
            rule="each reading comes from one log",
            way_out=f"Set the rows that {files[1]} repeats aside in visit.toml, with rows = {rows} and why; or take "
            "the column out of one of the two",
        )


def _two_tools(one: OneLog, other: OneLog) -> Iterator[Problem]:
    """Yield the first quantity that two logs hold by different instruments, or of which only one is measured."""
    ours, theirs = one.readings.channels, other.readings.channels
    for quantity in (name for name in ours if name in theirs):
        tools = [f"'{log[quantity].instrument}'" for log in (ours, theirs)]
        origins = ["measured" if log[quantity].origin == "measured" else "computed" for log in (ours, theirs)]
        if len(set(tools)) == len(set(origins)) == 1:
            continue
        files = [log.log.file for log in (one, other)]
        first, second = (f"{origin} by {tool}" for origin, tool in zip(origins, tools, strict=True))
        yield Problem(
            what=f"{quantity} is {first} in {files[0]}, and {second} in {files[1]}",
            where=f"{files[0]} and {files[1]}",
            rule="each quantity is read by one instrument throughout a visit: it has one accuracy",
            way_out="Take the column out of one of the two logs, or make two visits of them; if it is one instrument, "
            "name it the same in both",
        )
        return


@dataclass(frozen=True, slots=True, kw_only=True)
class _Match:
    """For each time of the axis the place of the nearest reading of a log, -1 where none is near enough.

    `away` is how far it is [µs].
    """

    places: NDArray[np.int64]
    away: NDArray[np.int64]
    within: float


def _nearest(axis: pd.Index, times: pd.Index, log: Log) -> _Match:
    wanted, given = utc_micros(axis), utc_micros(times)
    steps = np.diff(given) if len(given) > 1 else np.diff(wanted)
    within = float(np.median(steps)) / 2 if len(steps) else 0.0
    if log.within is not None:
        within = log.within * 1e6
    after = np.clip(np.searchsorted(given, wanted), 0, len(given) - 1)
    before = np.maximum(after - 1, 0)
    places = np.where(np.abs(wanted - given[before]) <= np.abs(given[after] - wanted), before, after)
    away = np.abs(given[places] - wanted)
    return _Match(places=np.where(away <= within, places, -1), away=away, within=within / 1e6)


def _each_from_one(logs: Sequence[OneLog], matches: Sequence[_Match]) -> list[_Match]:
    """Return the matches with each time left to the nearest of logs that hold the same quantity, as one goes on."""
    kept = [match.places.copy() for match in matches]
    for one, other in combinations(range(len(logs)), 2):
        if set(logs[one].readings.frame) & set(logs[other].readings.frame):
            both = (kept[one] >= 0) & (kept[other] >= 0)
            first = matches[one].away <= matches[other].away
            kept[other][both & first] = -1
            kept[one][both & ~first] = -1
    return [replace(match, places=places) for match, places in zip(matches, kept, strict=True)]


def _apart(log: OneLog, first: str) -> Problem:
    index = log.readings.frame.index
    return Problem(
        what=f"its times, {index[0]:%Y-%m-%d %H:%M:%S} to {index[-1]:%H:%M:%S}, are nowhere near those of {first}",
        where=log.log.file,
        rule=f"logs are joined on the times of {first}",
        way_out="Correct the log's clock with time.offset in visit.toml, or put time.format or the zone right",
    )


def _with_unused(
    account: RowAccount, log: OneLog, unused: NDArray[np.int64], first: str, within: float
) -> RowAccount:
    note = f"joined on the times of {first} by the nearest reading within {within:g} s"
    if log.log.interpolate:
        note = (
            f"interpolated to the times of {first}, as asked, between readings each within {2 * within:g} s"
        )
    aside = account.set_aside
    if len(unused):
        rows = log.rows[unused]
        reason = f"no time of {first} is nearest to it"
        aside = (*aside, SetAsideRows(reason=reason, rows=len(rows), first_row=int(rows.min())))
    return replace(account, used=account.used - len(unused), set_aside=aside, notes=(*account.notes, note))


def _as_bounds(readings: Readings, places: NDArray[np.int64]) -> pd.DataFrame:
    rows = readings.frame.iloc[places]
    return rows.fillna(readings.lower_bounds.iloc[places]) if len(readings.lower_bounds.columns) else rows


def _channels(logs: Sequence[OneLog]) -> Mapping[str, Channel]:
    channels: dict[str, Channel] = {}
    for log in logs:
        for quantity, channel in log.readings.channels.items():
            if log.log.interpolate and log is not logs[0] and quantity not in SWITCHES:
                channel = replace(channel, interpolated=True)
            known = channels.setdefault(quantity, channel)
            if known is not channel:
                columns = ", ".join(dict.fromkeys((known.column, channel.column)))
                drawn = known.interpolated or channel.interpolated
                file = f"{known.file}, {channel.file}"
                channels[quantity] = replace(known, file=file, column=columns, interpolated=drawn)
    return channels
