"""Propose how to read a log, from its wording and values; whatever is doubtful is left for a person."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from fluewright import sources, units
from fluewright.errors import InputError, UnitError
from fluewright.units import Array
from fluewright.visit.cells import TEXT, Writing, read_cells, read_word, unit_parted
from fluewright.visit.problems import text_in_toml
from fluewright.visit.tables import MARK, kind_of, sheets_of, table_lines
from fluewright.visit.times import read_times
from fluewright.visit.wordings import (
    plain,
    quantities_named,
    same_unit,
    split_time_unit,
    split_unit,
    unit_of,
    wordings,
)

_LOOKED_AT = 1 << 18  # bytes of a log
_DELIMITERS = ",;\t|"
_PATTERNS = (
    *("%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d", "%Y.%m.%d"),
    *("%d.%m.%y", "%d/%m/%y", "%m/%d/%y", "%y/%m/%d", "%d-%m-%y", "%m-%d-%y", "%y-%m-%d"),
)
_NAMED_MONTHS = (
    *("%d-%b-%Y", "%d %b %Y", "%d/%b/%Y", "%d.%b.%Y", "%d-%b-%y", "%d %b %y", "%d. %b %Y", "%d. %B %Y"),
    *("%b %d, %Y", "%b %d %Y", "%b-%d-%Y", "%Y-%b-%d", "%d %B %Y", "%B %d, %Y", "%B %d %Y"),
)
_LONG = 600.0  # s, chosen here: rows farther apart speak against the unit of elapsed time
_REPEATED = 0.4  # of the rows, chosen here: of two rows to each time of the clock it is half
_SERIAL_DAYS = (30_000, 80_000)  # of the years 1982 to 2119
_CLOCKS = ("%H:%M:%S", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%H:%M:%S.%f")


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnProposal:
    """What a column seems to hold; `doubt` says why a person must confirm it, "" where nothing is doubtful."""

    name: str
    quantity: str
    unit: str
    computed: bool
    doubt: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """How a log seems to be written: its dialect, the lines of its time, its columns, and its first day."""

    file: str
    instrument: str
    dialect: Mapping[str, Any]
    time: Sequence[str]
    columns: Sequence[ColumnProposal]
    date: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """The first rows of a log, cut into cells.

    `names` are those by which the map can call the columns, `headings` what stands above each, in every way to read it.
    """

    header_row: int
    names: Sequence[str]
    headings: Sequence[Sequence[str]]
    units: Sequence[str]
    columns: Sequence[pa.StringArray]
    writing: Writing


def propose_log(path: Path) -> Proposal:
    """Return how the log seems to be written.

    Raises
    ------
    InputError
        No row of column names with rows of cells below it was found.
    """
    with path.open("rb") as file:
        content = file.read(_LOOKED_AT)
    dialect: dict[str, Any] = {}
    sheets: Sequence[str] = []
    chosen: str | None = None
    if (kind := kind_of(content)) != "text":
        sheets = sheets_of(path) if kind == "workbook" else []
        names: Sequence[str | None] = sheets or [None]
        looked = {name: _first_lines(path, kind, name) for name in names}
        chosen = max(looked, key=lambda name: sum(MARK in line for line in looked[name]))
        lines, delimiter = looked[chosen], MARK
    else:
        encoding = _encoding(content)
        text = content.decode(encoding, "replace")
        lines = re.split(r"\r\n|\n|\r", text)[:-1] or [text]
        delimiter = max(_DELIMITERS, key=lambda mark: _regularity(lines, mark))
        if encoding not in {"utf-8", "utf-8-sig"}:
            dialect["encoding"] = encoding
        if delimiter != ",":
            dialect["delimiter"] = delimiter
    sheet = _sheet(path, lines, delimiter)
    if sheet.writing.decimal != ".":
        dialect["decimal"] = sheet.writing.decimal
    if sheet.header_row != 1:
        dialect["header_row"] = sheet.header_row
    time = _asked_of_repeats(_propose_time(sheet), sheet)
    columns = [
        proposal
        for number in range(len(sheet.names))
        if number not in time.places and (proposal := _propose_column(sheet, number)) is not None
    ]
    return Proposal(
        file=path.name,
        instrument=re.sub(r"[^A-Za-z0-9]+", "-", path.stem).strip("-").lower() or "instrument",
        dialect=dialect,
        time=[*_which_sheet(sheets, chosen), *time.lines],
        columns=_without_rivals(columns),
        date=time.date,
    )


def _first_lines(path: Path, kind: str, sheet: str | None) -> list[str]:
    """Return the names and the first rows of a table, one sheet of a workbook."""
    first = b"".join(islice(table_lines(path, kind=kind, sheet=sheet), 2))
    return first.decode().split("\n")[:-1]


def _which_sheet(sheets: Sequence[str], chosen: str | None) -> list[str]:
    """Return the lines that ask for the sheet of a workbook that has several; that with the most rows was looked at."""
    if len(sheets) < 2 or chosen is None:
        return []
    listed, one = ", ".join(map(text_in_toml, sheets)), text_in_toml(chosen)
    return [f"# The workbook has the sheets {listed}; the columns below are of {one}.", 'sheet = ""']


def _encoding(content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    try:
        content[: content.rfind(b"\n") + 1].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig" if content.startswith(b"\xef\xbb\xbf") else "utf-8"


def _rows(lines: Sequence[str], mark: str) -> list[list[str]]:
    try:
        return list(csv.reader(lines, delimiter=mark))
    except csv.Error:
        return [line.split(mark) for line in lines]


def _regularity(lines: Sequence[str], mark: str) -> float:
    widths = Counter(len(line.split(mark)) for line in lines if line.strip())
    width, count = max(widths.items(), key=lambda item: (item[0] > 1) * item[1], default=(1, 0))
    return 0.0 if width < 2 else count / max(1, sum(widths.values())) + min(width, 50) / 1e3


def _sheet(path: Path, lines: Sequence[str], mark: str) -> _Sheet:
    rows = _rows(lines, mark)
    width = Counter(len(row) for row in rows if len(row) > 1).most_common(1)
    if not width:
        raise InputError(
            f"no columns were found in {path}; a log has a row of column names and rows of cells below it"
        )
    width_of_rows = width[0][0]
    first = next((place for place, row in enumerate(rows) if _is_of_names(row, width_of_rows)), None)
    if first is None:
        raise InputError(
            f"no row of column names was found in {path}; write its [[logs]] by hand, with header_row = 0"
        )
    end = first + 1
    while end < len(rows) and _is_of_names(rows[end], width_of_rows) and not _is_of_units(rows[end]):
        end += 1
    above = [[cell.strip() for cell in row] for row in rows[first:end]]
    number = first + max(range(len(above)), key=lambda place: _recognized(above[place]))
    names = [name.strip() for name in rows[number]]
    body = [row + [""] * (len(names) - len(row)) for row in rows[end:] if any(cell.strip() for cell in row)]
    units_row = [""] * len(names)
    if body and not any(re.search(r"\d[.,:]?\d|^\s*\d+\s*$", cell) for cell in body[0]):
        units_row = body.pop(0)
    again = [_stripped(row) for row in (*above, units_row)]  # each time the instrument was started
    body = [row for row in body if _stripped(row) not in again]
    columns = [pa.array([row[place] for row in body], pa.string()) for place in range(len(names))]
    return _Sheet(
        header_row=number + 1,
        names=[
            name if name and names.count(name) == 1 else f"column {place}"
            for place, name in enumerate(names, start=1)
        ],
        headings=[
            _ways([row[place] for row in above if place < len(row)], name) for place, name in enumerate(names)
        ],
        units=units_row[: len(names)],
        columns=columns,
        writing=Writing(decimal=_decimal(body, mark)),
    )


def _is_of_names(row: Sequence[str], width: int) -> bool:
    timed = any(re.search(r"\d:\d\d", cell) for cell in row)
    return abs(len(row) - width) <= 1 and not timed and sum(map(_is_word, row)) >= max(2, len(row) // 2)


def _stripped(row: Sequence[str]) -> list[str]:
    """Return the cells of a row without blanks around them, nor empty cells at its end."""
    cells = [cell.strip() for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _is_of_units(row: Sequence[str]) -> bool:
    return all(unit_of(cell) is not None for cell in row if cell.strip())


def _recognized(names: Sequence[str]) -> int:
    """Return how many names of a row say what their column holds, and stand there once."""
    words = {word for kind in ("whole", "date", "clock", "elapsed") for word in wordings()["time"][kind]}
    parted = [split_unit(name)[0] for name in names if names.count(name) == 1]
    return sum(bool(quantities_named(name)) or plain(name) in words for name in parted)


def _ways(parts: Sequence[str], name: str) -> Sequence[str]:
    """Return the ways to read a heading that stands in several rows: in a row, from the bottom, and one row alone."""
    filled = [part for part in dict.fromkeys(parts) if part]
    return [*dict.fromkeys([" ".join(filled), " ".join(filled[::-1]), name, *filled[::-1]])]


def _is_word(cell: str) -> bool:
    """Tell whether a cell is neither a number, with or without its unit, nor a time nor a word for no reading."""
    if not re.search(r"[^\W\d]", cell) or re.fullmatch(r"\s*\d[\d.,:/\s-]*([AP]M)?\s*", cell):
        return False
    _, unit = unit_parted(cell.strip().casefold().lstrip("<>=≤≥ "))
    return not unit and read_word(cell, writing=Writing()).state == TEXT


def _decimal(body: Sequence[Sequence[str]], mark: str) -> str:
    cells = [cell.strip() for row in body for cell in row]
    commas, points = (
        sum(bool(re.fullmatch(rf"[+-]?\d+{point}\d+(\s*[^\d\s.,:/-]+)?", cell)) for cell in cells)
        for point in (",", r"\.")
    )
    return "," if mark != "," and commas > points else "."


# ------------------------------------------------------------------------------------------- time


@dataclass(frozen=True, slots=True, kw_only=True)
class _TimeProposal:
    places: Sequence[int]
    lines: Sequence[str]
    date: str = '""'


def _propose_time(sheet: _Sheet) -> _TimeProposal:
    words = wordings()["time"]
    parted = [
        [split_time_unit(heading, below) for heading in ways]
        for ways, below in zip(sheet.headings, sheet.units, strict=True)
    ]

    def named(kind: str) -> int | None:
        places = (n for n, ways in enumerate(parted) if any(plain(name) in words[kind] for name, _ in ways))
        return next(places, None)

    date, clock, whole, elapsed = named("date"), named("clock"), named("whole"), named("elapsed")
    if date is not None and clock is not None and date != clock:
        return _date_and_clock(sheet, date, clock)
    for place in (whole, clock, date, elapsed):
        of_clock = place in (whole, clock)
        found = None if place is None else _one_column(sheet, place, parted[place][-1][1], of_clock)
        if found is not None:
            return found
    for place in (whole, clock, date):
        if place is not None and any(re.search(r"\d", cell) for cell in sheet.columns[place].to_pylist()):
            return _time_lines((place,), f"column = {text_in_toml(sheet.names[place])}", [], None)
    return _TimeProposal(places=(), lines=["# No column of times was recognized.", 'time = { column = "" }'])


def _date_and_clock(sheet: _Sheet, date: int, clock: int) -> _TimeProposal:
    """Return how a date and a clock time in two columns are written."""
    both = zip(sheet.columns[date].to_pylist(), sheet.columns[clock].to_pylist(), strict=True)
    cells = pa.array([f"{day} {time}" for day, time in both])
    day_name, clock_name = (text_in_toml(sheet.names[place]) for place in (date, clock))
    columns = f"date_column = {day_name}, time_column = {clock_name}"
    forms = _forms(cells, dated=True)
    if (
        not forms
        and len(cells)
        and read_times(cells, form="serial", writing=sheet.writing).valid.mean() > 0.9
    ):
        return _TimeProposal(places=(date, clock), lines=[f'time = {{ {columns}, format = "serial" }}'])
    return _time_lines((date, clock), columns, forms, cells)


def _one_column(sheet: _Sheet, place: int, unit: str, whole: bool) -> _TimeProposal | None:
    """Return how times in one column are written, None where they are none; only of a `whole` time a clock is told."""
    cells, name = sheet.columns[place], text_in_toml(sheet.names[place])
    if forms := _forms(cells, dated=True):
        return _time_lines((place,), f"column = {name}", forms, cells)
    if _begins_at_zero(cells):
        return _elapsed_lines(place, name, "", _forms(cells, dated=False) if whole else [])
    if forms := _forms(cells, dated=False):
        return _time_lines((place,), f"time_column = {name}", forms, None)
    numbers = read_cells(cells, writing=sheet.writing).values
    numbers = numbers[np.isfinite(numbers)]
    if not len(numbers):
        return None
    counted = "epoch" if (numbers > 1e9).all() else "serial" if _is_serial(numbers) else ""
    if counted:
        return _TimeProposal(places=(place,), lines=[f'time = {{ column = {name}, format = "{counted}" }}'])
    return _elapsed_lines(place, name, unit, [], numbers)


def _asked_of_repeats(time: _TimeProposal, sheet: _Sheet) -> _TimeProposal:
    """Ask whether the clock tells less than the rows, where many rows have the time of the row before."""
    rows = zip(*(sheet.columns[place].to_pylist() for place in time.places), strict=True)
    stamps = [row for row in rows if any(row)]
    same = [one == other for one, other in pairwise(stamps)]
    if not same or all(same) or sum(same) < _REPEATED * len(same):
        return time
    *before, line = time.lines
    asked = [
        "# Many rows have the time of the row before. Does the clock tell less than the rows? Then take this",
        "# instead, and the rows of one time are spread evenly to the next:",
        f"# {line.removesuffix(' }')}, spread = true }}",
    ]
    return replace(time, lines=[*before, *asked, line])


def _begins_at_zero(cells: pa.StringArray) -> bool:
    """Tell whether times are written with colons and count from 0:00, as a clock of the day would only at midnight."""
    filled = [cell.strip() for cell in cells.to_pylist() if cell.strip()]
    return bool(filled and re.fullmatch(r"0+:00(:00)?([.,]0+)?", filled[0]))


def _is_serial(numbers: Array) -> bool:
    """Tell whether numbers look like days as workbooks count them, of rows less than an hour apart."""
    low, high = _SERIAL_DAYS
    if len(numbers) < 2 or not ((numbers > low) & (numbers < high)).all():
        return False
    return bool(np.median(np.abs(np.diff(numbers))) < 1 / 24)


def _elapsed_lines(
    place: int, name: str, unit: str, clock: Sequence[str], numbers: Array | None = None
) -> _TimeProposal:
    """Return the lines of elapsed time, and of a clock where it could be that too."""
    lines = ["# Elapsed time: write the moment at which it was zero."]
    if clock:
        lines = [
            "# Elapsed time, or time of day? Write the moment at which it was zero, or take this instead:",
            f"# time = {{ time_column = {name}{'' if clock[0] == 'ISO' else f', format = {text_in_toml(clock[0])}'} }}",
        ]
    if numbers is not None and not unit:
        lines[0] = "# Elapsed seconds: write the moment at which they were zero."
        if len(numbers) > 1 and np.median(np.diff(numbers)) > _LONG:
            lines.append('# Rows would be far apart: is it unit = "ms"?')
    stated = f', unit = "{unit}"' if unit not in {"", "s"} else ""
    lines.append(f'time = {{ column = {name}, format = "elapsed"{stated}, start = "" }}')
    return _TimeProposal(places=(place,), lines=lines)


def _forms(cells: pa.StringArray, *, dated: bool) -> list[str]:
    """Return every way of writing time that reads nearly all cells."""
    filled = [cell for cell in cells.to_pylist() if re.search(r"\d", cell)][:500]
    if not filled:
        return []
    days = _NAMED_MONTHS if re.search(r"[^\W\d_]{3}", filled[0]) else _PATTERNS
    patterns = [f"{day} {clock}" for day in days for clock in _CLOCKS] if dated else list(_CLOCKS)
    sample = pa.array(filled)
    fits = [
        form
        for form in ("ISO", *patterns)
        if read_times(sample, form=form, writing=Writing(), dated=dated).valid.mean() > 0.9
    ]
    if "ISO" in fits:
        return ["ISO"]
    # May is a whole name and a short one.
    return [form for form in fits if "%B" not in form or form.replace("%B", "%b") not in fits]


def _time_lines(
    places: Sequence[int], columns: str, forms: Sequence[str], dated: pa.StringArray | None
) -> _TimeProposal:
    if len(forms) != 1:
        asked = "# Say how times are written: %d day, %m month, %Y year, %H hour, %M minute, %S second."
        if forms:
            asked = f"# Day or month first? Keep the one that is right: {', '.join(map(text_in_toml, forms))}"
        return _TimeProposal(places=places, lines=[asked, f'time = {{ {columns}, format = "" }}'])
    form = "" if forms[0] == "ISO" else f", format = {text_in_toml(forms[0])}"
    date = '""'
    if dated is not None:
        times = read_times(dated, form=forms[0], writing=Writing())
        first = times.micros[times.valid][0]
        date = f"{pd.Timestamp(int(first), unit='us'):%Y-%m-%d}" if not times.zoned.any() else '""'
    return _TimeProposal(places=places, lines=[f"time = {{ {columns}{form} }}"], date=date)


# ---------------------------------------------------------------------------------------- columns


def _propose_column(sheet: _Sheet, place: int) -> ColumnProposal | None:
    parted = [split_unit(heading) for heading in sheet.headings[place]]
    name, unit_text = next((part for part in parted if quantities_named(part[0])), parted[0])
    named = quantities_named(name)
    if not name:
        return None
    if not named:
        return ColumnProposal(
            name=sheet.names[place],
            quantity="",
            unit=unit_of(unit_text) or unit_of(sheet.units[place]) or _unit_in(sheet.columns[place]) or "",
            computed=False,
            doubt="not recognized",
        )
    unit = unit_of(unit_text) or unit_of(sheet.units[place]) or _unit_in(sheet.columns[place])
    named = [one for one in named if unit is not None and same_unit(unit, unit, one)] or named
    quantity = sources.quantity(named[0])
    doubt = wordings()["doubtful"].get(named[0], "")
    if len(named) > 1:
        doubt = f"one of {', '.join(named)}"
    if unit is None:
        unit = "1" if quantity.us.unit == "1" else ""
        either = " or ".join(quantity.usual_units)
        doubt = "" if unit and not doubt else f"the log does not say the unit: {either}?"
    fits = _fits(sheet.columns[place], sheet.writing, quantity, unit)
    if fits and not doubt:
        doubt = fits
    return ColumnProposal(
        name=sheet.names[place], quantity=named[0], unit=unit, computed=quantity.kind == "result", doubt=doubt
    )


def _unit_in(cells: pa.StringArray) -> str | None:
    """Return the unit that the first number of a column carries."""
    first = next((cell for cell in cells.to_pylist() if re.search(r"\d", cell)), "")
    return unit_parted(first.strip().casefold().lstrip("<>=≤≥ "))[1] or None


def _fits(cells: pa.StringArray, writing: Writing, quantity: sources.Quantity, unit: str) -> str:
    """Return why the values do not speak for the quantity and unit, or ""."""
    read = read_cells(cells, writing=replace(writing, unit=unit, quantity=quantity.name))
    if read.states is not None and (read.states == TEXT).any():
        text = cells[int(np.flatnonzero(read.states == TEXT)[0])].as_py()
        return f"some cells hold text, such as {text_in_toml(text.strip()[:40])}"
    numbers = read.values[np.isfinite(read.values)]
    if not len(numbers):
        return "it holds no number"
    if not unit:
        return ""
    try:
        slope, offset = units.factor(unit, quantity.unit, quantity.name)
    except UnitError:
        return f"{unit} is no unit of {quantity.name}"
    values = numbers * slope + offset
    low = -np.inf if quantity.low is None else quantity.low
    high = np.inf if quantity.high is None else quantity.high
    return "" if ((values >= low) & (values <= high)).mean() > 0.95 else "the values do not look like it"


def _without_rivals(columns: Sequence[ColumnProposal]) -> list[ColumnProposal]:
    """A quantity claimed by two columns is doubtful in both."""
    claims = Counter(column.quantity for column in columns)
    rival = "another column claims the same quantity"
    return [
        column if claims[column.quantity] == 1 else replace(column, doubt=column.doubt or rival)
        for column in columns
    ]
