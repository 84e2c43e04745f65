"""Make tidy SI readings of one log: time on one axis, every number checked, every row accounted for."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright import sources
from fluewright.units import Array
from fluewright.visit.cells import SWITCHES, TEXT, Cells, Writing, meant_numbers, unit_parted
from fluewright.visit.instruments import possible, stated_accuracy
from fluewright.visit.logs import problem_in, read_raw
from fluewright.visit.problems import Problem, RefusalError, VisitError, problem_of, shown, text_in_toml
from fluewright.visit.raw import RawLog, add_aside
from fluewright.visit.readings import (
    Cell,
    Channel,
    ClockOffset,
    Readings,
    RowAccount,
    SetAsideRows,
    StatedAccuracy,
    tell_more,
)
from fluewright.visit.schema import Attendance, Column, Instrument, Log, Moment, column_scale
from fluewright.visit.times import (
    Mask,
    Micros,
    OnUTC,
    moment_on_utc,
    set_on_utc,
    spread,
    standard_time,
    unwrap_midnight,
)
from fluewright.visit.wordings import contradiction, same_unit, time_contradiction, unknown_unit

# Numbers that loggers write for "no reading" (common practice, without a source); only where no reading can be so.
_SENTINELS = (-99.9, -999.0, -999.9, -9999.0, -99999.0, 9999.0, 99999.0, 32767.0, -32768.0, 65535.0)
_LONE = 5  # times any other number of its column, chosen here: a sentinel that could be a reading is none
_AS_WRITTEN = 1e-9  # relative: a number survives its change of unit
_DECIMALS = 6
_WORD = re.compile(r"(?!.*\d[.,]\d)(.*[^\W\d_].*|\D*)", re.DOTALL)  # rather than a number that went wrong
_GAP = 5  # times the usual interval, chosen here: a longer one is noted as a gap
_COARSE = 0.4  # of the rows, chosen here: as many of the time of the row before are told
_SLOW = 600_000_000  # µs, chosen here: rows farther apart are asked about
_LEAP = 3_600_000_000  # µs, chosen here: at midnight, a longer step is not taken for a pause
_STEPS_TO_NOTE = 3
_AT_TOP = 1e-9  # relative: the top of a span survives its change of unit
_NEVER = pd.NaT.value


@dataclass(frozen=True, slots=True, kw_only=True)
class OneLog:
    """The readings of one log, the line number of each of its rows, and how visit.toml describes it."""

    readings: Readings
    rows: NDArray[np.int64]
    log: Log


@dataclass(slots=True, kw_only=True)
class _Draft:
    """A log while it is decided which of its rows are used: their line numbers, their times [µs of UTC]."""

    log: Log
    raw: RawLog
    attendance: Attendance
    rows: NDArray[np.int64]
    kept: Mask
    micros: Micros
    problems: list[Problem]

    @property
    def steps(self) -> NDArray[np.int64]:
        """The time [µs] from each row that is used to the next."""
        return np.diff(self.micros if self.kept.all() else self.micros[self.kept])

    def leave_out(self, these: Mask, reason: str) -> None:
        """Account for rows that are not used after all."""
        add_aside(self.raw.aside, reason, np.sort(self.rows[these]))
        self.kept &= ~these

    def refuse(self, row: int | None, what: str, rule: str, way_out: str) -> None:
        """Add a problem, told of one row."""
        self.problems.append(problem_in(self.log, row, what, rule, way_out))

    def moment(self, moment: Moment) -> int:
        """Return a moment written in visit.toml [µs of UTC]."""
        stamp = moment_on_utc(moment, date=self.attendance.date, zone=self.attendance.time_zone)
        return int(stamp.as_unit("us").asm8.astype(np.int64))

    def clock(self, micros: int | np.int64) -> str:
        """Return the local time of day, with a fraction of a second where there is one."""
        if micros == _NEVER:
            return "a time that cannot be told"
        utc = pd.Timestamp(int(micros), unit="us", tz="UTC")
        return str(utc.tz_convert(self.attendance.time_zone).time())


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
    problems = [*_unreadable_times(raw, log), *_contradictions(raw, log), *_renamed(raw, log)]
    if not len(raw.rows):
        raise VisitError(problems or [_no_rows(raw, log)])
    draft = _Draft(
        log=log,
        raw=raw,
        attendance=attendance,
        rows=raw.rows,
        kept=raw.timed.copy(),
        micros=raw.micros,
        problems=problems,
    )
    _leave_out_rows(draft)
    _set_on_axis(draft)
    _leave_out_stretches(draft)
    order = _order(draft)
    _spread(draft, order)
    _leave_out_duplicates(draft, order)
    _note_interval(draft, order)
    columns = {
        column.quantity: _checked(raw.take(column.quantity), name, column, draft, instruments)
        for name, column in log.columns.items()
    }
    if problems or not draft.kept.any():
        raise VisitError(problems or [_no_rows(raw, log)])
    return _assembled(columns, draft, order, instruments)


# ------------------------------------------------------------------------------------------- time


def _unreadable_times(raw: RawLog, log: Log) -> Iterator[Problem]:
    """Yield the problem of times that could not be read in rows that hold readings."""
    aside = [part.rows for part in log.set_aside if part.rows is not None]
    left = {row: text for row, text in raw.unreadable.items() if not any(a <= row <= b for a, b in aside)}
    if not left:
        return
    row, text = next(iter(left.items()))
    more = raw.unreadable_rows - (len(raw.unreadable) - len(left)) - 1
    way_out = "Write time.format as the log has it"
    if log.time.format == "ISO" and log.time.time_column is None:
        way_out += ": '%d/%m/%Y %H:%M:%S' if the day comes first, '%m/%d/%Y %H:%M:%S' if the month does"
    elif log.time.format == "ISO":
        way_out += ", such as '%I:%M:%S %p' for 12 hours"
    if re.fullmatch(r"\d{5}([.,]\d+)?( 0?[.,]\d+)?", text):
        way_out = 'Write time.format = "serial": days, as workbooks count them'
    yield problem_in(
        log,
        row,
        f"the time {shown(text)} cannot be read{_and_more(more)}",
        f"times of this log are read as {log.time.format}",
        f"{way_out}, or set the row aside in visit.toml with rows = [{row}, {row}]",
    )


def _contradictions(raw: RawLog, log: Log) -> Iterator[Problem]:
    """Yield the problem of a column that the log itself says to hold something else, or in another unit."""
    for name, column in log.columns.items():
        heading, below = raw.headings[column.quantity]
        found = contradiction(heading, below, quantity=column.quantity, unit=column.unit, row=raw.below)
        if found and column.despite_heading is not None:
            raw.notes.append(
                f"column {shown(name)} is read as visit.toml says, though {found}: {column.despite_heading}"
            )
        elif found:
            yield problem_in(
                log,
                log.header_row or None,
                f"column {shown(name)} is read as {column.quantity} in {column.unit}, and {found}",
                "what a log says of its columns holds, unless a person knows better",
                "Put the column map right, or write despite_heading = with the reason into it",
            )
        elif column.quantity not in SWITCHES and (
            unknown := unknown_unit(below, unit=column.unit, row=raw.below)
        ):
            raw.notes.append(
                f"units row: {shown(below)} of column {shown(name)} {unknown}; the map's unit was taken, {column.unit}"
            )
    yield from _time_contradictions(raw, log)


def _renamed(raw: RawLog, log: Log) -> Iterator[Problem]:
    """Yield the problem of a heading that is repeated in mid-file with other columns or other units."""
    aside = [part.rows for part in log.set_aside if part.rows is not None]
    for row, (now, before) in raw.renamed.items():
        if not any(first <= row <= last for first, last in aside):
            yield problem_in(
                log,
                row,
                f"the columns are named again, with {shown(now)} where {shown(before)} stood",
                "the columns of a log hold the same from its first row to its last",
                f"Make two logs of it, each with its map; or set aside the rows from {row} on in visit.toml, and why",
            )
            return


def _time_contradictions(raw: RawLog, log: Log) -> Iterator[Problem]:
    """Yield the problem of elapsed time that the log itself says to be in another unit."""
    if log.time.format != "elapsed":
        return
    for heading, below in raw.time_headings:
        found = time_contradiction(heading, below, unit=log.time.unit)
        if found and log.time.despite_heading is not None:
            raw.notes.append(
                f"elapsed time is read as visit.toml says, though {found}: {log.time.despite_heading}"
            )
        elif found:
            yield problem_in(
                log,
                log.header_row or None,
                f"the elapsed time, column {shown(heading)}, is read in {log.time.unit}, and {found}",
                "what a log says of its columns holds, unless a person knows better",
                "Put time.unit right, or write time.despite_heading = with the reason",
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


def _leave_out_rows(draft: _Draft) -> None:
    last = draft.log.header_row + draft.raw.read
    for part in draft.log.set_aside:
        if part.rows is None:
            continue
        if part.rows[0] > last:
            draft.problems.append(_nothing_aside(f"rows {part.rows[0]} to {part.rows[1]}", draft.log))
        these = draft.kept & (draft.rows >= part.rows[0]) & (draft.rows <= part.rows[1])
        draft.leave_out(these, f"set aside in visit.toml: {part.because}")


def _leave_out_stretches(draft: _Draft) -> None:
    for part in draft.log.set_aside:
        if part.start is None or part.end is None:
            continue
        try:
            start, end = draft.moment(part.start), draft.moment(part.end)
        except RefusalError as refusal:
            draft.problems.append(problem_of(refusal, f"visit.toml, set_aside of {draft.log.file}"))
            continue
        these = draft.kept & (draft.micros >= start) & (draft.micros <= end)
        if not these.any():
            draft.problems.append(_nothing_aside(f"{draft.clock(start)} to {draft.clock(end)}", draft.log))
        clock = ", by the log's own clock" if draft.log.time.offset == "estimate" else ""
        draft.leave_out(these, f"set aside in visit.toml{clock}: {part.because}")


def _nothing_aside(stretch: str, log: Log) -> Problem:
    return Problem(
        what=f"the stretch to set aside, {stretch}, holds no row of the log",
        where=f"visit.toml, set_aside of {log.file}",
        rule="what is set aside is there",
        way_out="Put it right, or take it out",
    )


def _set_on_axis(draft: _Draft) -> None:
    """Turn the times of all rows to UTC, the log's clock corrected by its stated offset."""
    time, notes = draft.log.time, draft.raw.notes
    zoned = draft.raw.zoned
    if time.start is not None and time.format == "elapsed":
        try:
            draft.micros, zoned = draft.micros + draft.moment(time.start), ~zoned
        except RefusalError as refusal:
            raise VisitError(
                [problem_of(refusal, f"visit.toml, time.start of {draft.log.file}")]
            ) from refusal
    elif time.column is None and time.date_column is None:
        draft.micros = unwrap_midnight(draft.micros, first_day=draft.attendance.date)
        first, last = (pd.Timestamp(int(draft.micros[place]), unit="us").date() for place in (0, -1))
        if first != last:
            notes.append("its clock passes midnight")
            _refuse_reset(draft)
    if not zoned.all():
        local = ~zoned if zoned.any() else slice(None)  # several times faster than a mask of all
        placed = set_on_utc(draft.micros[local], zone=draft.attendance.time_zone)
        _refuse_clock_changes(draft, placed, local)
        if zoned.any():
            draft.micros = draft.micros.copy()
            draft.micros[local] = placed.micros
        else:
            draft.micros = placed.micros
    if isinstance(time.offset, float):
        notes.append(_entered(time.offset))
        draft.micros = np.where(draft.micros == _NEVER, _NEVER, draft.micros + round(time.offset * 1e6))


def _refuse_reset(draft: _Draft) -> None:
    """Refuse a clock of the day that passes midnight by a leap: it was rather set back, or started anew."""
    steps = np.abs(np.diff(draft.micros))
    place = int(np.argmax(steps))
    if steps[place] > _LEAP and draft.kept[place : place + 2].all():
        before, after = (pd.Timestamp(int(draft.micros[end]), unit="us") for end in (place, place + 1))
        if before.date() != after.date():
            row = int(draft.rows[place + 1])
            draft.refuse(
                row,
                f"the clock jumps from {before:%H:%M:%S} to {after:%H:%M:%S}",
                "a clock that passes midnight goes on; one that jumps was set, or started anew",
                f"Set the rows on one side of it aside in visit.toml, such as rows = [{row}, {draft.rows[-1]}], saying "
                "why, or make two logs of it, each with its date or its time.offset",
            )


def _refuse_clock_changes(draft: _Draft, placed: OnUTC, local: Mask | slice) -> None:
    fixed = standard_time(draft.attendance.date, zone=draft.attendance.time_zone)
    way_out = "Set the rows aside in visit.toml"
    if fixed:
        way_out += f"; or if the log's clock kept standard time, write time_zone as a fixed offset: {fixed}"
    for mask, what, rule in (
        (placed.twice, "occurs twice", "that night an hour does, and the rows do not tell which is meant"),
        (
            placed.never,
            "does not exist",
            "the clocks are set forward that night, and the log's clock was not",
        ),
    ):
        if not mask.any():
            continue
        refused = np.zeros(len(draft.rows), bool)
        refused[local] = mask
        found = np.flatnonzero(refused & draft.kept)
        if not len(found):
            continue
        moment = pd.Timestamp(int(draft.micros[found[0]]), unit="us")
        draft.refuse(
            int(draft.rows[found[0]]),
            f"{moment:%H:%M:%S} {what} on {moment:%Y-%m-%d} in {draft.attendance.time_zone}"
            f"{_and_more(len(found) - 1)}",
            rule,
            way_out,
        )


def _order(draft: _Draft) -> slice:
    """Return the order in which rows ascend in time: as written, or all turned round."""
    steps = draft.steps
    back = np.flatnonzero(steps < 0)
    if not len(back) or draft.problems:
        return slice(None)
    places = np.flatnonzero(draft.kept)
    if (steps <= 0).all() and len(places) > 2:
        draft.raw.notes.append("its rows were written newest first and were turned round")
        return slice(None, None, -1)
    before, after = places[back[0]], places[back[0] + 1]
    row = draft.rows[after]
    draft.refuse(
        int(row),
        f"time goes back from {draft.clock(draft.micros[before])} to {draft.clock(draft.micros[after])}"
        f"{_and_more(len(back) - 1)}",
        "the rows of a log follow each other in time",
        f"Set the rows on one side of it aside in visit.toml, such as rows = [{row}, {draft.rows[-1]}], "
        "saying why, or make two logs of it",
    )
    return slice(None)


def _spread(draft: _Draft, order: slice) -> None:
    """Spread the rows of one time where that is asked for, and tell of a clock that tells less than the rows."""
    again = np.count_nonzero(draft.steps == 0)
    if draft.problems or not again:
        return
    if draft.log.time.spread:
        places = np.flatnonzero(draft.kept)[order]
        micros = draft.micros.copy()
        micros[places] = spread(micros[places])
        draft.micros = micros
        draft.raw.notes.append(
            f"{again} rows of the same time as others were spread evenly to the next, as asked"
        )
    elif again >= _COARSE * len(draft.steps):
        draft.raw.notes.append(
            f"{again} rows have the time of the row before and are not used: unless they are the same rows again, the "
            "log's clock tells less than its rows; time.spread = true in visit.toml spreads them evenly to the next"
        )


def _leave_out_duplicates(draft: _Draft, order: slice) -> None:
    """Leave out all but the first of the rows of one time, in the order in which they ascend."""
    same = draft.steps[order] == 0
    if same.any():
        again = np.zeros(len(draft.rows), bool)
        again[np.flatnonzero(draft.kept)[order][1:][same]] = True
        draft.leave_out(again, "same time as the row before")


def _note_interval(draft: _Draft, order: slice) -> None:
    """Note how often a row was written, and where rows are missing."""
    steps = draft.steps[order]
    if len(steps) < _STEPS_TO_NOTE:
        return
    np.abs(steps, out=steps)
    usual = float(np.median(steps))
    note, gaps = f"rows follow each other every {usual / 1e6:g} s", int((steps > _GAP * usual).sum())
    if gaps:
        row = draft.rows[draft.kept][order][1:][np.argmax(steps)]
        note += f"; {gaps} gap{'s' if gaps > 1 else ''} of more than {_GAP * usual / 1e6:g} s, "
        note += f"the longest {steps.max() / 1e6:g} s before row {row}"
    if usual > _SLOW:
        note += (
            ", slow for a log of a visit: is time.format, and time.unit of elapsed time, as the log has it?"
        )
    draft.raw.notes.append(note)


# ---------------------------------------------------------------------------------------- numbers


def _checked(
    cells: Cells, name: str, column: Column, draft: _Draft, instruments: Mapping[str, Instrument]
) -> Cells:
    """Return the cells of a column, over-range readings as bounds; report what is no possible reading."""
    accuracy = stated_accuracy(instruments, column.instrument or draft.log.instrument, column.quantity)
    low, high = possible(column.quantity, accuracy)
    meant = meant_numbers(Writing(decimal=draft.log.decimal, words=draft.log.words))
    span = np.nan if accuracy.span is None else accuracy.span[1]
    top = span - abs(span) * _AT_TOP
    least, greatest = draft.raw.extremes[column.quantity]
    sentinels = bool(_sentinels(np.array([least, greatest]), column).any())
    usual = (
        column.quantity not in draft.raw.worded and low <= least and greatest <= high and not greatest >= top
    )
    if usual and not meant and not sentinels:
        return cells
    values, bounds = cells.values, cells.bounds
    states = np.zeros(len(values), np.int8) if cells.states is None else cells.states
    _refuse_text(states, name, column, draft)
    for number, state in meant.items():
        these = np.isclose(_written(values, column), number, rtol=_AS_WRITTEN, atol=0.0)
        states[these], values[these] = state, np.nan
    if sentinels:
        lone = _lone_sentinels(values, name, column, draft)
        states[lone], values[lone] = Cell.NO_NUMBER, np.nan
    impossible = np.flatnonzero((values < low) | (values > high))
    if len(impossible):
        sentinel = _sentinels(values[impossible], column)
        _refuse_impossible(impossible[~sentinel], values, name, column, draft)
        states[impossible[sentinel]], values[impossible[sentinel]] = Cell.NO_NUMBER, np.nan
    at_top = values >= top
    states[at_top], values[at_top] = Cell.OVER_RANGE, np.nan
    over = states == Cell.OVER_RANGE
    if not over.any():
        return Cells(values=values, states=states if states.any() else None)
    bounds = np.full(len(values), span) if bounds is None else np.where(np.isnan(bounds), span, bounds)
    _refuse_boundless(np.flatnonzero(over & np.isnan(bounds) & draft.kept), column, accuracy, draft)
    return Cells(values=values, states=states, bounds=np.where(over, bounds, np.nan))


def _written(values: Array, column: Column) -> Array:
    """Return SI values in the unit in which the column was written."""
    slope, offset = column_scale(column.unit, column.quantity)
    return (values - offset) / slope


def _sentinels(values: Array, column: Column) -> Mask:
    """Tell which numbers were written as those that loggers write for no reading."""
    return np.isin(np.round(_written(values, column), _DECIMALS), _SENTINELS)


def _lone_sentinels(values: Array, name: str, column: Column, draft: _Draft) -> NDArray[np.int64]:
    """Return where a number written for no reading stands far from all readings of the column, and tell of it.

    Of a gas none is taken for that: where it is possible it is a reading, and may be dangerous.
    """
    found = np.flatnonzero(_sentinels(values, column))
    others = np.delete(values, found)
    if not len(found) or sources.quantity(column.quantity).floor == 0:
        return found[:0]
    written = _written(values[found], column)
    if np.isfinite(others).any():
        far = np.abs(written) >= _LONE * np.nanmax(np.abs(_written(others, column)))
    else:  # nothing else was ever written
        far = np.full(len(found), len(found) >= _STEPS_TO_NOTE)
    if far.any():
        draft.raw.notes.append(
            f"{written[far][0]:.6g} in column {shown(name)} is taken for no reading, {far.sum()} times: loggers write "
            f"it so, and it is at least {_LONE} times any other number of the column"
        )
    return np.asarray(found[far])


def _refuse_cells(
    found: NDArray[np.int64], what: str, rule: str, way_out: str, column: Column, draft: _Draft
) -> None:
    """Add the problem of cells of one column, told of the first."""
    first = found[0]
    draft.refuse(
        int(draft.rows[first]),
        f"{column.quantity} is {what} at {draft.clock(draft.micros[first])}{_and_more(len(found) - 1)}",
        rule,
        way_out,
    )


def _refuse_text(states: NDArray[np.int8], name: str, column: Column, draft: _Draft) -> None:
    found = np.flatnonzero(states == TEXT)
    left = found[~draft.kept[found]]
    if len(left):
        text = draft.raw.texts[column.quantity].get(int(draft.rows[left[0]]), "")
        draft.raw.notes.append(
            f"text in column {shown(name)} of {len(left)} rows set aside, such as {shown(text)}"
        )
    found = found[draft.kept[found]]
    if not len(found):
        return
    row = int(draft.rows[found[0]])
    text = draft.raw.texts[column.quantity].get(row, "")
    what, rule = f"{shown(text)} in column {shown(name)}", "a cell holds a number or a known word for none"
    way_out = _way_out_of(text, row, column, draft.log, remark=_is_remark(text, row, column, draft.raw))
    _refuse_cells(found, what, rule, way_out, column, draft)


def _is_remark(text: str, row: int, column: Column, raw: RawLog) -> bool:
    """Tell whether a text is rather of a row that tells an event: one of several texts, or words that stand once."""
    beside = sum(row in texts for texts in raw.texts.values()) > 1
    words = re.findall(r"[^\W_]+", text)
    return beside or (len(words) > 1 and list(raw.texts[column.quantity].values()).count(text) == 1)


def _way_out_of(text: str, row: int, column: Column, log: Log, *, remark: bool) -> str:
    """Return what to do about the text of a cell that is neither a number nor a known word."""
    set_aside = f"set the row aside in visit.toml with rows = [{row}, {row}], saying why"
    mark = "," if log.decimal == "." else "."
    _, unit = unit_parted(text.casefold().lstrip("<>=≤≥ "))
    if unit and same_unit(unit, column.unit, column.quantity) is not None:
        return f'Put the cell into {column.unit}, or write unit = "{unit}" for the column if all are in it'
    if text.lstrip()[:1] in tuple("<>=≤≥") or _WORD.fullmatch(text):
        meaning = (
            f'words = {{ {text_in_toml(text.strip())} = "over range" }}, or "under range" or "no reading"'
        )
        if remark:
            return f"If it is a remark, {set_aside}; if a word for a reading, in the table of this log: {meaning}"
        return f"Say what it means, in the table of this log in visit.toml: {meaning}"
    if mark in text:
        return f'Write decimal = "{mark}" or thousands = "{mark}" for this log in visit.toml'
    return f"Put the cell right, or {set_aside}"


def _refuse_impossible(
    found: NDArray[np.int64], values: Array, name: str, column: Column, draft: _Draft
) -> None:
    found = found[draft.kept[found]]
    if not len(found):
        return
    known, row = sources.quantity(column.quantity), draft.rows[found[0]]
    limits = [
        f"{word} {_written(np.array(limit), column):.4g} {column.unit}"
        for word, limit in (("below", known.low), ("above", known.high))
        if limit is not None
    ]
    _refuse_cells(
        found,
        f"{_written(values[found[0]], column):.6g} {column.unit}",
        f"it cannot be {' or '.join(limits)}",
        f"Check the sensor and its zero, and the unit of column {shown(name)}; or set the row aside in "
        f"visit.toml with rows = [{row}, {row}], saying why",
        column,
        draft,
    )


def _refuse_boundless(
    found: NDArray[np.int64], column: Column, accuracy: StatedAccuracy, draft: _Draft
) -> None:
    if len(found):
        _refuse_cells(
            found,
            "over the instrument's range",
            "a reading over range counts as at least the top of the range",
            f"Give the instrument's span: [instruments.{accuracy.instrument}.accuracy] {column.quantity} = "
            f'{{ span = ["lowest {column.unit}", "highest {column.unit}"] }}',
            column,
            draft,
        )


# ----------------------------------------------------------------------------------------- frames


def _assembled(
    columns: dict[str, Cells], draft: _Draft, order: slice, instruments: Mapping[str, Instrument]
) -> OneLog:
    """Make the readings of the rows kept; `columns` is emptied, so that a long log is not held twice."""
    kept, zone = draft.kept[order], draft.attendance.time_zone
    whole = kept.all() and order == slice(None)
    take: Callable[[NDArray[Any]], NDArray[Any]] = (lambda a: a) if whole else (lambda a: a[order][kept])
    left = np.flatnonzero(~draft.kept & (draft.micros != _NEVER))
    values, states, bounds, aside = {}, {}, {}, {}
    for quantity in list(columns):
        cells = columns.pop(quantity)
        values[quantity] = take(cells.values)
        aside[quantity] = cells.values[left]
        if cells.bounds is not None:
            aside[quantity] = np.fmax(aside[quantity], cells.bounds[left])
        if cells.states is not None and (state := take(cells.states)).any():
            states[quantity] = state
            if cells.bounds is not None and np.isfinite(bound := take(cells.bounds)).any():
                bounds[quantity] = bound
    index = _index(take(draft.micros), zone)
    frame = pd.DataFrame(values, index=index, copy=False)
    least = pd.DataFrame(bounds, index=index, copy=False)
    others = pd.DataFrame(aside, index=_index(draft.micros[left], zone))
    readings = Readings(
        frame=frame,
        states=pd.DataFrame(states, index=index, copy=False),
        lower_bounds=least,
        channels=_channels(draft.log),
        accounts=(_account(draft, instruments),),
        aside=others[tell_more(others, frame, least)] if len(others) else others,
    )
    return OneLog(readings=readings, rows=take(draft.rows), log=draft.log)


def _index(micros: Micros, zone: str) -> pd.DatetimeIndex:
    utc = pd.DatetimeIndex(micros.view("datetime64[us]"), tz="UTC", name="time", copy=False)
    return utc.tz_convert(zone)


def _channels(log: Log) -> Mapping[str, Channel]:
    return {
        column.quantity: Channel(
            quantity=column.quantity,
            file=log.file,
            column=name,
            unit=column.unit,
            instrument=column.instrument or log.instrument,
            origin=column.origin,
        )
        for name, column in log.columns.items()
    }


def _account(draft: _Draft, instruments: Mapping[str, Instrument]) -> RowAccount:
    raw, offset = draft.raw, draft.log.time.offset
    return RowAccount(
        file=draft.log.file,
        sha256=raw.sha256,
        size=raw.size,
        read=raw.read,
        used=int(draft.kept.sum()),
        set_aside=tuple(
            SetAsideRows(reason=reason, rows=part.rows, first_row=part.first_row, example=part.example)
            for reason, part in sorted(raw.aside.items(), key=lambda entry: entry[1].first_row)
        ),
        notes=tuple(raw.notes),
        misfits=dict(_misfits(draft, instruments)),
        clock=ClockOffset(seconds=offset, words=_entered(offset)) if isinstance(offset, float) else None,
    )


def _entered(offset: float) -> str:
    return f"{offset:+g} s added to its times, as entered"


def _misfits(draft: _Draft, instruments: Mapping[str, Instrument]) -> Iterator[tuple[str, tuple[float, int]]]:
    """Yield the greatest number that a row whose cells do not fit may hold; a row set aside by a person tells none.

    A word for over range is the top of the stated span, and where none is stated the most that can be.
    """
    tools = {one.quantity: one.instrument or draft.log.instrument for one in draft.log.columns.values()}
    for quantity, pieces in draft.raw.misfits.items():
        rows, values = (np.concatenate(part) for part in zip(*pieces, strict=True))
        span = stated_accuracy(instruments, tools[quantity], quantity).span
        top = (sources.quantity(quantity).high or 1.0) if span is None else span[1]
        values = np.where(np.isposinf(values), top, values)
        for part in draft.log.set_aside:
            if part.rows is not None:
                values[(rows >= part.rows[0]) & (rows <= part.rows[1])] = np.nan
        if np.isfinite(values).any():
            worst = int(np.nanargmax(values))
            yield quantity, (float(values[worst]), int(rows[worst]))
