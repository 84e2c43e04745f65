"""Make tidy SI readings of a log: time on one axis, every number checked, every row accounted for; and join logs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright import sources
from fluewright.units import Array
from fluewright.visit.cells import TEXT, Cells
from fluewright.visit.instruments import stated_accuracy
from fluewright.visit.logs import RawLog, problem_in, read_raw
from fluewright.visit.problems import Problem, RefusalError, VisitError, shown
from fluewright.visit.readings import Cell, Channel, Readings, RowAccount, SetAsideRows, StatedAccuracy
from fluewright.visit.schema import Attendance, Column, Instrument, Log, column_scale
from fluewright.visit.times import Mask, Micros, moment_on_utc, set_on_utc, unwrap_midnight

# Numbers that loggers write for "no reading" (common practice, without a source); only where no reading can be so.
_SENTINELS = (-99.9, -999.0, -999.9, -9999.0, -99999.0, 9999.0, 99999.0, 32767.0, -32768.0, 65535.0)
_GAP = 5  # times the usual interval, chosen here: a longer one is noted as a gap
_STEPS_TO_NOTE = 3
_AT_TOP = 1e-9  # relative: the top of a span survives its change of unit


@dataclass(frozen=True, slots=True, kw_only=True)
class OneLog:
    """The readings of one log, and the line number of each of its rows."""

    readings: Readings
    rows: NDArray[np.int64]


def read_log(
    path: Path, *, log: Log, attendance: Attendance, instruments: Mapping[str, Instrument]
) -> OneLog:
    """Return the readings of one log.

    Parameters
    ----------
    path : Path
        The file.
    log : Log
        Its description in visit.toml.
    attendance : Attendance
        Date and time zone of the visit.
    instruments : mapping of str to Instrument
        The instruments; a reading at the top of a stated span is over range.

    Raises
    ------
    VisitError
        The log cannot be read as described; every problem found is listed.
    """
    raw = read_raw(path, log=log)
    problems = list(_unreadable_times(raw, log))
    if not raw.parts:
        raise VisitError(problems or [_no_rows(raw, log)])
    rows = np.concatenate([part.rows for part in raw.parts])
    kept = np.ones(len(rows), bool)
    _leave_out_rows(kept, rows, raw, log)
    micros = _time_axis(rows, kept, raw, log, attendance, problems)
    _leave_out_stretches(kept, micros, rows, raw, log, attendance, problems)
    order: slice = _order(kept, micros, rows, raw, log, attendance.time_zone, problems)
    _leave_out_duplicates(kept[order], micros[order], rows[order], raw)
    _note_interval(kept[order], micros[order], rows[order], raw)
    columns = {}
    for column in log.columns.values():
        say = _Speaker(log=log, column=column, rows=rows, micros=micros, zone=attendance.time_zone)
        cells = _joined(raw, column.quantity)
        columns[column.quantity] = _in_si(cells, kept, raw, say, instruments, problems)
    if not kept.any() and not problems:
        problems.append(_no_rows(raw, log))
    if problems:
        raise VisitError(problems)
    return _assembled(columns, kept, order, micros, rows, raw, log, attendance.time_zone)


# ------------------------------------------------------------------------------------------- time


def _unreadable_times(raw: RawLog, log: Log) -> Iterator[Problem]:
    """Yield the problem of times that could not be read in rows that hold readings."""
    aside = [part.rows for part in log.set_aside if part.rows is not None]
    left = {row: text for row, text in raw.unreadable.items() if not any(a <= row <= b for a, b in aside)}
    if not left:
        return
    row, text = next(iter(left.items()))
    more = raw.unreadable_rows - (len(raw.unreadable) - len(left)) - 1
    if log.time.format == "ISO":
        way_out = (
            "If the day comes first write time.format = '%d/%m/%Y %H:%M:%S', if the month does '%m/%d/%Y %H:%M:%S'"
            if log.time.time_column is None
            else "Write time.format as the log has it, such as '%I:%M:%S %p' for 12 hours"
        )
    else:
        way_out = "Write time.format as the log has it"
    yield problem_in(
        log,
        row,
        f"the time {shown(text)} cannot be read{_and_more(more)}",
        f"times of this log are read as {log.time.format}",
        f"{way_out}, or set the row aside in visit.toml with rows = [{row}, {row}]",
    )


def _no_rows(raw: RawLog, log: Log) -> Problem:
    aside = "; ".join(
        f"{part.rows} × {reason}, the first in row {part.first_row}: {shown(part.example)}"
        for reason, part in raw.aside.items()
    )
    return problem_in(
        log,
        None,
        f"no row of the log can be used{f' ({aside})' if aside else ': below its column names it is empty'}",
        "a log holds readings, each row with its time",
        f"Put header_row, delimiter and time (format {log.time.format}) of this log right in visit.toml",
    )


def _and_more(count: int) -> str:
    return f" (and {count} more like it)" if count > 0 else ""


def _leave_out_rows(kept: Mask, rows: NDArray[np.int64], raw: RawLog, log: Log) -> None:
    for part in log.set_aside:
        if part.rows is not None:
            these = kept & (rows >= part.rows[0]) & (rows <= part.rows[1])
            raw.set_aside(f"set aside in visit.toml: {part.because}", rows[these])
            kept &= ~these


def _time_axis(
    rows: NDArray[np.int64],
    kept: Mask,
    raw: RawLog,
    log: Log,
    attendance: Attendance,
    problems: list[Problem],
) -> Micros:
    """Return the times of all rows on UTC [µs], the log's clock corrected by its stated offset."""
    micros = np.concatenate([part.micros for part in raw.parts])
    zoned = np.concatenate([part.zoned for part in raw.parts])
    zone = attendance.time_zone
    if log.time.format == "elapsed":
        try:
            start = moment_on_utc(log.time.start or dt.datetime.min, date=attendance.date, zone=zone)
        except RefusalError as refusal:
            raise VisitError([problem_of(refusal, log.file)]) from refusal
        micros, zoned = micros + _micros(start), ~zoned
    elif log.time.column is None and log.time.date_column is None:
        micros = unwrap_midnight(micros, first_day=attendance.date)
        if micros[-1] // 86_400_000_000 > micros[0] // 86_400_000_000:
            raw.notes.append("its clock passes midnight")
    if not zoned.all():
        placed = set_on_utc(micros[~zoned], zone=zone)
        for mask, what in ((placed.twice, "occurs twice"), (placed.never, "does not exist")):
            full = np.zeros(len(rows), bool)
            full[~zoned] = mask
            found = np.flatnonzero(full & kept)
            if len(found):
                local = pd.Timestamp(int(micros[found[0]]), unit="us")
                problems.append(
                    problem_in(
                        log,
                        int(rows[found[0]]),
                        f"{local:%H:%M:%S} {what} on {local:%Y-%m-%d} in {zone}{_and_more(len(found) - 1)}",
                        "the clocks are changed that night, and the rows do not tell which hour is meant"
                        if mask is placed.twice
                        else "the clocks are set forward that night, and the log's clock was not",
                        "If the log's clock kept standard time, write time_zone as a fixed offset such as "
                        "'Etc/GMT+5' (5 h behind UTC), or set the rows aside in visit.toml",
                    )
                )
        micros = micros.copy()
        micros[~zoned] = placed.micros
    if log.time.offset is not None:
        raw.notes.append(f"{log.time.offset:+g} s added to its times, as entered")
        micros = micros + round(log.time.offset * 1e6)
    return micros


def problem_of(refusal: Exception, where: str) -> Problem:
    """Return the problem of a value that was refused, with its place."""
    if isinstance(refusal, RefusalError):
        return Problem(what=refusal.what, where=where, rule=refusal.rule, way_out=refusal.way_out)
    what, _, way_out = str(refusal).partition("; ")
    return Problem(what=what, where=where, way_out=way_out[:1].upper() + way_out[1:] or "Put it right")


def _leave_out_stretches(
    kept: Mask,
    micros: Micros,
    rows: NDArray[np.int64],
    raw: RawLog,
    log: Log,
    attendance: Attendance,
    problems: list[Problem],
) -> None:
    for part in log.set_aside:
        where = f"visit.toml, set_aside of {log.file}"
        if part.rows is not None and part.rows[0] > log.header_row + raw.read:
            problems.append(_nothing_aside(f"rows {part.rows[0]} to {part.rows[1]}", where))
        if part.start is None or part.end is None:
            continue
        try:
            start, end = (
                _micros(moment_on_utc(moment, date=attendance.date, zone=attendance.time_zone))
                for moment in (part.start, part.end)
            )
        except RefusalError as refusal:
            problems.append(problem_of(refusal, where))
            continue
        these = kept & (micros >= start) & (micros <= end)
        if not these.any():
            stretch = f"{_clock(start, attendance.time_zone)} to {_clock(end, attendance.time_zone)}"
            problems.append(_nothing_aside(stretch, where))
        raw.set_aside(f"set aside in visit.toml: {part.because}", rows[these])
        kept &= ~these


def _nothing_aside(stretch: str, where: str) -> Problem:
    return Problem(
        what=f"the stretch to set aside, {stretch}, holds no row of the log",
        where=where,
        rule="what is set aside is there",
        way_out="Put it right, or take it out",
    )


def _micros(stamp: pd.Timestamp) -> int:
    return int(stamp.as_unit("us").asm8.astype(np.int64))


def _order(
    kept: Mask,
    micros: Micros,
    rows: NDArray[np.int64],
    raw: RawLog,
    log: Log,
    zone: str,
    problems: list[Problem],
) -> slice:
    """Return the order in which rows ascend in time: as written, or all turned round."""
    places = np.flatnonzero(kept)
    steps = np.diff(micros[places])
    if not (steps < 0).any() or problems:
        return slice(None)
    if (steps <= 0).all() and len(places) > 2:
        raw.notes.append("its rows were written newest first and were turned round")
        return slice(None, None, -1)
    back = np.flatnonzero(steps < 0)
    before, after = places[back[0]], places[back[0] + 1]
    problems.append(
        problem_in(
            log,
            int(rows[after]),
            f"time goes back from {_clock(micros[before], zone)} to {_clock(micros[after], zone)}"
            f"{_and_more(len(back) - 1)}",
            "the rows of a log follow each other in time",
            f"Set the rows on one side of it aside in visit.toml, such as rows = [{rows[after]}, ...], saying why, "
            "or name the two parts as two logs",
        )
    )
    return slice(None)


def _clock(micros: int | np.int64, zone: str) -> str:
    return f"{pd.Timestamp(int(micros), unit='us', tz='UTC').tz_convert(zone):%H:%M:%S}"


def _leave_out_duplicates(kept: Mask, micros: Micros, rows: NDArray[np.int64], raw: RawLog) -> None:
    places = np.flatnonzero(kept)
    again = places[1:][np.diff(micros[places]) == 0]
    raw.set_aside("same time as the row before", np.sort(rows[again]))
    kept[again] = False


def _note_interval(kept: Mask, micros: Micros, rows: NDArray[np.int64], raw: RawLog) -> None:
    """Note how often a row was written, and where rows are missing."""
    steps = np.diff(micros[kept]) / 1e6
    if len(steps) < _STEPS_TO_NOTE:
        return
    usual = float(np.median(steps))
    gaps = steps > _GAP * usual
    note = f"rows follow each other every {usual:g} s"
    if gaps.any():
        count = int(gaps.sum())
        row = rows[kept][1:][np.argmax(steps)]
        note += (
            f"; {count} gap{'s' if count > 1 else ''} of more than {_GAP * usual:g} s, "
            f"the longest {steps.max():g} s before row {row}"
        )
    raw.notes.append(note)


# ---------------------------------------------------------------------------------------- numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class _Speaker:
    """What a message about a cell needs to know."""

    log: Log
    column: Column
    rows: NDArray[np.int64]
    micros: Micros
    zone: str

    def problem(self, places: NDArray[np.int64], what: str, rule: str, way_out: str) -> Problem:
        """Return the problem of cells at some places, told of the first."""
        first = places[0]
        return problem_in(
            self.log,
            int(self.rows[first]),
            f"{self.column.quantity} is {what} at {_clock(self.micros[first], self.zone)}{_and_more(len(places) - 1)}",
            rule,
            way_out,
        )

    @property
    def name(self) -> str:
        """The column's name as the log has it."""
        return next(name for name, column in self.log.columns.items() if column is self.column)


def _joined(raw: RawLog, quantity: str) -> Cells:
    """Join the cells of a quantity over all parts, which let go of them."""
    cells = [part.cells.pop(quantity) for part in raw.parts]
    states = bounds = None
    if any(part.states is not None for part in cells):
        states = np.concatenate(
            [np.zeros(len(part.values), np.int8) if part.states is None else part.states for part in cells]
        )
    if any(part.bounds is not None for part in cells):
        bounds = np.concatenate(
            [np.full(len(part.values), np.nan) if part.bounds is None else part.bounds for part in cells]
        )
    return Cells(values=np.concatenate([part.values for part in cells]), states=states, bounds=bounds)


def _in_si(
    cells: Cells,
    kept: Mask,
    raw: RawLog,
    say: _Speaker,
    instruments: Mapping[str, Instrument],
    problems: list[Problem],
) -> Cells:
    """Return cells in SI with over-range readings as bounds; report every cell that is no possible reading."""
    column = say.column
    slope, offset = column_scale(column.unit, column.quantity)
    accuracy = stated_accuracy(instruments, column.instrument or say.log.instrument, column.quantity)
    values, states, bounds = cells.values, cells.states, cells.bounds
    problems.extend(_no_numbers(states, kept, raw, say))
    values *= slope
    values += offset
    if bounds is not None:
        bounds = bounds * slope + offset
    impossible = np.flatnonzero(_impossible(values, column.quantity, accuracy))
    if len(impossible):
        written = (values[impossible] - offset) / slope
        sentinel = np.isclose(written[:, None], np.array(_SENTINELS), rtol=1e-9, atol=0.0).any(axis=1)
        states = np.zeros(len(values), np.int8) if states is None else states
        states[impossible[sentinel]], values[impossible[sentinel]] = Cell.NO_NUMBER, np.nan
        found = impossible[~sentinel & kept[impossible]]
        if len(found):
            problems.append(_not_plausible(found, values, slope, offset, say))
    top = accuracy.span[1] if accuracy.span is not None else np.inf
    at_top = values >= top - abs(top) * _AT_TOP if np.isfinite(top) else np.zeros(0, bool)
    over = states == Cell.OVER_RANGE if states is not None else np.zeros(0, bool)
    if not at_top.any() and not over.any():
        return Cells(values=values, states=states)
    states = np.zeros(len(values), np.int8) if states is None else states
    if at_top.any():
        states[at_top], values[at_top] = Cell.OVER_RANGE, np.nan
    over = states == Cell.OVER_RANGE
    bounds = np.where(over, np.nan if bounds is None else bounds, np.nan)
    bounds = np.where(over & np.isnan(bounds) & np.isfinite(top), top, bounds)
    unbounded = np.flatnonzero(over & np.isnan(bounds) & kept)
    if len(unbounded):
        problems.append(
            say.problem(
                unbounded,
                "over the instrument's range",
                "a reading over range counts as at least the top of the range",
                f"Give the instrument's span: [instruments.{accuracy.instrument}.accuracy] {column.quantity} = "
                f'{{ span = ["lowest {column.unit}", "highest {column.unit}"] }}',
            )
        )
    return Cells(values=values, states=states, bounds=bounds)


def _no_numbers(states: NDArray[np.int8] | None, kept: Mask, raw: RawLog, say: _Speaker) -> Iterator[Problem]:
    found = np.flatnonzero((states == TEXT) & kept) if states is not None else np.zeros(0, np.int64)
    if not len(found):
        return
    row = int(say.rows[found[0]])
    texts = {row: text for part in raw.parts for row, text in part.texts.get(say.column.quantity, {}).items()}
    text = texts.get(row, "")
    way_out = f"Put the cell right, or set the row aside in visit.toml with rows = [{row}, {row}], saying why"
    if "," in text and say.log.decimal == ".":
        way_out = 'Write decimal = "," or thousands = "," for this log in visit.toml'
    elif "." in text and say.log.decimal == ",":
        way_out = 'Write decimal = "." or thousands = "." for this log in visit.toml'
    yield say.problem(
        found,
        f"{shown(text)} in column {shown(say.name)}",
        "a cell holds a number or a known word for none",
        way_out,
    )


def _impossible(values: Array, quantity: str, accuracy: StatedAccuracy) -> Mask:
    """Tell the readings outside of what the quantity can be, by more than the instrument may be wrong."""
    known = sources.quantity(quantity)
    allowed = max(accuracy.absolute, accuracy.of_span, accuracy.resolution)
    low = -np.inf if known.low is None else known.low - allowed
    high = np.inf if known.high is None else known.high + allowed
    return np.asarray((values < low - abs(low) * _AT_TOP) | (values > high + abs(high) * _AT_TOP))


def _not_plausible(
    found: NDArray[np.int64], values: Array, slope: float, offset: float, say: _Speaker
) -> Problem:
    known = sources.quantity(say.column.quantity)
    unit = say.column.unit
    limits = [None if limit is None else (limit - offset) / slope for limit in (known.low, known.high)]
    if limits[1] is None:
        rule = f"it cannot be below {limits[0]:.4g} {unit}"
    elif limits[0] is None:
        rule = f"it cannot be above {limits[1]:.4g} {unit}"
    else:
        rule = f"it lies between {limits[0]:.4g} and {limits[1]:.4g} {unit}"
    row = say.rows[found[0]]
    return say.problem(
        found,
        f"{(values[found[0]] - offset) / slope:.6g} {unit}",
        rule,
        f"Check the sensor and its zero and the unit of column {shown(say.name)}, "
        f"or set the row aside in visit.toml with rows = [{row}, {row}], saying why",
    )


# ----------------------------------------------------------------------------------------- frames


def _assembled(
    columns: Mapping[str, Cells],
    kept: Mask,
    order: slice,
    micros: Micros,
    rows: NDArray[np.int64],
    raw: RawLog,
    log: Log,
    zone: str,
) -> OneLog:
    every = kept.all() and order == slice(None)
    take: Callable[[NDArray[Any]], NDArray[Any]] = (
        (lambda a: a) if every else (lambda a: a[order][kept[order]])
    )
    index = _index(take(micros), zone)
    values, states, bounds = {}, {}, {}
    for quantity, cells in columns.items():
        values[quantity] = take(cells.values)
        if cells.states is not None and (state := take(cells.states)).any():
            states[quantity] = state
            if cells.bounds is not None and np.isfinite(bound := take(cells.bounds)).any():
                bounds[quantity] = bound
    left = np.flatnonzero(~kept & (micros != pd.NaT.value))
    aside = {
        quantity: cells.values[left]
        if cells.bounds is None
        else np.fmax(cells.values[left], cells.bounds[left])
        for quantity, cells in columns.items()
    }
    names = {column.quantity: name for name, column in log.columns.items()}
    channels = {
        column.quantity: Channel(
            quantity=column.quantity,
            file=log.file,
            column=names[column.quantity],
            unit=column.unit,
            instrument=column.instrument or log.instrument,
            origin=column.origin,
        )
        for column in log.columns.values()
    }
    readings = Readings(
        frame=pd.DataFrame(values, index=index, copy=False),
        states=pd.DataFrame(states, index=index, copy=False),
        lower_bounds=pd.DataFrame(bounds, index=index, copy=False),
        channels=channels,
        accounts=(_account(raw, int(kept.sum()), log),),
        aside=pd.DataFrame(aside, index=_index(micros[left], zone)),
    )
    return OneLog(readings=readings, rows=take(rows))


def _index(micros: Micros, zone: str) -> pd.DatetimeIndex:
    return pd.DatetimeIndex(micros.astype("datetime64[us]"), tz="UTC", name="time").tz_convert(zone)


def _account(raw: RawLog, used: int, log: Log) -> RowAccount:
    return RowAccount(
        file=log.file,
        sha256=raw.sha256,
        size=raw.size,
        read=raw.read,
        used=used,
        set_aside=tuple(
            SetAsideRows(reason=reason, rows=part.rows, first_row=part.first_row, example=part.example)
            for reason, part in raw.aside.items()
        ),
        notes=tuple(raw.notes),
    )


# ------------------------------------------------------------------------------------------- join


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
