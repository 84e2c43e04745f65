"""Propose how to read a log, from its wording and values; whatever is doubtful is left for a person."""

from __future__ import annotations

import csv
import functools
import json
import re
import tomllib
import unicodedata
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa

from fluewright import sources, units
from fluewright.errors import InputError, UnitError
from fluewright.visit.cells import TEXT, Writing, read_cells
from fluewright.visit.tables import MARK, kind_of, sheets_of, table_lines
from fluewright.visit.times import read_times

_LOOKED_AT = 1 << 18  # bytes of a log
_DELIMITERS = ",;\t|"
_PATTERNS = ("%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d", "%Y.%m.%d")
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
    """The first rows of a log, cut into cells."""

    header_row: int
    names: Sequence[str]
    units: Sequence[str]
    columns: Sequence[pa.StringArray]
    writing: Writing


@functools.cache
def _wordings() -> Mapping[str, Any]:
    return tomllib.loads(
        resources.files("fluewright.visit").joinpath("wordings.toml").read_text(encoding="utf-8")
    )


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
    if (kind := kind_of(content)) != "text":
        sheets = sheets_of(path) if kind == "workbook" else []
        first = b"".join(islice(table_lines(path, kind=kind), 2))  # the names, and the first rows
        lines, delimiter = first.decode().split("\n")[:-1], MARK
    else:
        encoding = _encoding(content)
        lines = re.split(r"\r\n|\n|\r", content.decode(encoding, "replace"))[:-1] or [
            content.decode(encoding, "replace")
        ]
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
    time = _propose_time(sheet)
    columns = [
        proposal
        for number in range(len(sheet.names))
        if number not in time.places and (proposal := _propose_column(sheet, number)) is not None
    ]
    return Proposal(
        file=path.name,
        instrument=re.sub(r"[^A-Za-z0-9]+", "-", path.stem).strip("-").lower() or "instrument",
        dialect=dialect,
        time=[*_which_sheet(sheets), *time.lines],
        columns=_without_rivals(columns),
        date=time.date,
    )


def _which_sheet(sheets: Sequence[str]) -> list[str]:
    """Return the lines that ask for the sheet of a workbook that has several."""
    if len(sheets) < 2:
        return []
    listed = ", ".join(map(text_in_toml, sheets))
    return [f"# The workbook has the sheets {listed}; the columns below are of the first.", 'sheet = ""']


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
    number = next(
        (
            place
            for place, row in enumerate(rows)
            if abs(len(row) - width[0][0]) <= 1 and sum(map(_is_word, row)) >= max(2, len(row) // 2)
        ),
        None,
    )
    if number is None:
        raise InputError(
            f"no row of column names was found in {path}; write its [[logs]] by hand, with header_row = 0"
        )
    names = [name.strip() for name in rows[number]]
    body = [
        row + [""] * (len(names) - len(row))
        for row in rows[number + 1 :]
        if any(cell.strip() for cell in row)
    ]
    units_row = [""] * len(names)
    if body and not any(re.search(r"\d[.,:]?\d|^\s*\d+\s*$", cell) for cell in body[0]):
        units_row = body.pop(0)
    columns = [pa.array([row[place] for row in body], pa.string()) for place in range(len(names))]
    return _Sheet(
        header_row=number + 1,
        names=names,
        units=units_row[: len(names)],
        columns=columns,
        writing=Writing(decimal=_decimal(body, mark)),
    )


def _is_word(cell: str) -> bool:
    return bool(re.search(r"[^\W\d]", cell)) and not re.fullmatch(r"\s*\d[\d.,:/\s-]*([AP]M)?\s*", cell)


def _decimal(body: Sequence[Sequence[str]], mark: str) -> str:
    cells = [cell.strip() for row in body for cell in row]
    commas = sum(bool(re.fullmatch(r"[+-]?\d+,\d+", cell)) for cell in cells)
    points = sum(bool(re.fullmatch(r"[+-]?\d+\.\d+", cell)) for cell in cells)
    return "," if mark != "," and commas > points else "."


# ------------------------------------------------------------------------------------------- time


@dataclass(frozen=True, slots=True, kw_only=True)
class _TimeProposal:
    places: Sequence[int]
    lines: Sequence[str]
    date: str = '""'


def _propose_time(sheet: _Sheet) -> _TimeProposal:
    words = _wordings()["time"]
    plain = [_plain(_split_unit(name)[0]) for name in sheet.names]

    def named(kind: str) -> int | None:
        return next((place for place, name in enumerate(plain) if name in words[kind]), None)

    date, clock, whole, elapsed = named("date"), named("clock"), named("whole"), named("elapsed")
    if date is not None and clock is not None and date != clock:
        joined = pa.array(
            [
                f"{day} {time}"
                for day, time in zip(
                    sheet.columns[date].to_pylist(), sheet.columns[clock].to_pylist(), strict=True
                )
            ]
        )
        forms = _forms(joined, dated=True)
        return _time_lines(
            (date, clock),
            f"date_column = {text_in_toml(sheet.names[date])}, "
            f"time_column = {text_in_toml(sheet.names[clock])}",
            forms,
            joined,
        )
    for place in (whole, date, elapsed):
        if place is None:
            continue
        cells, name = sheet.columns[place], text_in_toml(sheet.names[place])
        if forms := _forms(cells, dated=True):
            return _time_lines((place,), f"column = {name}", forms, cells)
        if forms := _forms(cells, dated=False):
            return _time_lines((place,), f"time_column = {name}", forms, None)
        numbers = read_cells(cells, writing=sheet.writing).values
        numbers = numbers[np.isfinite(numbers)]
        if len(numbers) and (numbers > 1e9).all():
            return _TimeProposal(places=(place,), lines=[f'time = {{ column = {name}, format = "epoch" }}'])
        if len(numbers):
            return _TimeProposal(
                places=(place,),
                lines=[
                    "# Elapsed seconds: write the moment at which they were zero.",
                    f'time = {{ column = {name}, format = "elapsed", start = "" }}',
                ],
            )
    return _TimeProposal(places=(), lines=["# No column of times was recognized.", 'time = { column = "" }'])


def _forms(cells: pa.StringArray, *, dated: bool) -> list[str]:
    """Return every way of writing time that reads nearly all cells."""
    patterns = [f"{day} {clock}" for day in _PATTERNS for clock in _CLOCKS] if dated else list(_CLOCKS)
    filled = [cell for cell in cells.to_pylist() if re.search(r"\d", cell)][:500]
    if not filled:
        return []
    sample = pa.array(filled)
    fits = [
        form
        for form in ("ISO", *patterns)
        if read_times(sample, form=form, writing=Writing(), dated=dated).valid.mean() > 0.9
    ]
    return ["ISO"] if "ISO" in fits else fits


def _time_lines(
    places: Sequence[int], columns: str, forms: Sequence[str], dated: pa.StringArray | None
) -> _TimeProposal:
    if not forms:
        return _TimeProposal(
            places=places,
            lines=[
                "# Say how times are written: %d day, %m month, %Y year, %H hour, %M minute, %S second.",
                f'time = {{ {columns}, format = "" }}',
            ],
        )
    if len(forms) > 1:
        return _TimeProposal(
            places=places,
            lines=[
                f"# Day or month first? Keep the one that is right: {', '.join(map(text_in_toml, forms))}",
                f'time = {{ {columns}, format = "" }}',
            ],
        )
    form = "" if forms[0] == "ISO" else f", format = {text_in_toml(forms[0])}"
    date = '""'
    if dated is not None:
        times = read_times(dated, form=forms[0], writing=Writing())
        first = times.micros[times.valid][0]
        date = f"{pd.Timestamp(int(first), unit='us'):%Y-%m-%d}" if not times.zoned.any() else '""'
    return _TimeProposal(places=places, lines=[f"time = {{ {columns}{form} }}"], date=date)


def text_in_toml(text: str) -> str:
    """Return text as a TOML string, whatever it holds."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


# ---------------------------------------------------------------------------------------- columns


def _plain(text: str) -> str:
    """Return a heading in lower case with marks left out, subscripts made plain."""
    text = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(re.sub(r"[^\w%]|_", " ", text).split())


def _split_unit(heading: str) -> tuple[str, str]:
    """Return the name and the unit of a heading such as "O2 [%]", "CO ppm" or "T flue (°C)"."""
    heading = unicodedata.normalize("NFKC", heading).strip()
    if found := re.fullmatch(r"(.*?)\s*[\[({]\s*([^\[\](){}]*?)\s*[\])}]\s*", heading, re.DOTALL):
        return found[1], found[2]
    for gap in re.finditer(r"[\s_,/]+", heading):
        if gap.start() and _unit(heading[gap.end() :]) is not None:
            return heading[: gap.start()], heading[gap.end() :]
    return heading, ""


def _unit(text: str) -> str | None:
    known: Mapping[str, str] = _wordings()["units"]
    return known.get(" ".join(unicodedata.normalize("NFKC", text).casefold().split()))


def _propose_column(sheet: _Sheet, place: int) -> ColumnProposal | None:
    name, unit_text = _split_unit(sheet.names[place])
    named = [quantity for quantity, words in _wordings()["quantities"].items() if _plain(name) in words]
    if not name:
        return None
    if not named:
        return ColumnProposal(
            name=sheet.names[place],
            quantity="",
            unit=_unit(unit_text) or "",
            computed=False,
            doubt="not recognized",
        )
    unit = _unit(unit_text) or _unit(sheet.units[place])
    named = [one for one in named if unit is not None and _is_unit_of(unit, one)] or named
    quantity = sources.quantity(named[0])
    doubt = _wordings()["doubtful"].get(named[0], "")
    if len(named) > 1:
        doubt = f"one of {', '.join(named)}"
    if unit is None:
        unit = "1" if quantity.us.unit == "1" else ""
        either = " or ".join(dict.fromkeys((quantity.us.unit, quantity.si.unit)))
        doubt = "" if unit and not doubt else f"the log does not say the unit: {either}?"
    fits = _fits(sheet.columns[place], sheet.writing, quantity, unit)
    if fits and not doubt:
        doubt = fits
    return ColumnProposal(
        name=sheet.names[place], quantity=named[0], unit=unit, computed=quantity.kind == "result", doubt=doubt
    )


def _is_unit_of(unit: str, quantity: str) -> bool:
    try:
        units.factor(unit, sources.quantity(quantity).unit, quantity)
    except UnitError:
        return False
    return True


def _fits(cells: pa.StringArray, writing: Writing, quantity: sources.Quantity, unit: str) -> str:
    """Return why the values do not speak for the quantity and unit, or ""."""
    read = read_cells(cells, writing=writing)
    if read.states is not None and (read.states == TEXT).any():
        return "some cells hold text"
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
    return [
        column
        if claims[column.quantity] == 1
        else ColumnProposal(
            name=column.name,
            quantity=column.quantity,
            unit=column.unit,
            computed=column.computed,
            doubt=column.doubt or "another column claims the same quantity",
        )
        for column in columns
    ]
