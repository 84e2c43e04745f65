"""Logs kept as tables, in workbooks and Parquet files, written out as lines of text for the one reader of logs.

Times that the table keeps as times are written as ISO, numbers with the decimal mark that visit.toml states, so that
everything said of a text log holds of a table: words, bounds, the map of columns and the account of rows.
"""

from __future__ import annotations

import datetime as dt
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

from fluewright.visit.problems import Problem, VisitError, shown
from fluewright.visit.schema import Log

MARK = "\t"  # between the cells of a line
_WORKBOOK, _PARQUET, _OLD_WORKBOOK = b"PK\x03\x04", b"PAR1", b"\xd0\xcf\x11\xe0"
_LINES = 4096  # written out at a time
_LOOKED_AT = 200  # rows of a sheet looked at to tell how wide it is
_MOST_UNPACKED = 1 << 31  # bytes; chosen here: the most rows a sheet can have need less


def kind_of(start: bytes) -> str:
    """Return what the first bytes of a file tell it to be: "workbook", "Parquet", "old workbook" or "text"."""
    kinds = {_WORKBOOK: "workbook", _PARQUET: "Parquet", _OLD_WORKBOOK: "old workbook"}
    return kinds.get(start[:4], "text")


def table_lines(
    path: Path, *, kind: str, log: Log | None = None, sheet: str | None = None
) -> Iterator[bytes]:
    """Yield a table as blocks of lines in UTF-8, cells parted by `MARK`; row N of a sheet is line N.

    Parameters
    ----------
    path : Path
        The file.
    kind : str
        As `kind_of` tells.
    log : Log, optional
        How visit.toml describes it.
    sheet : str, optional
        The name of a workbook's sheet, only to look at it; without both the first is taken.

    Raises
    ------
    VisitError
        The file is no table that can be read, or it has several sheets and none is named.
    """
    if kind == "old workbook":
        raise _refused(
            path, "the workbook is of the old kind", "workbooks are .xlsx files", "Save it as .xlsx"
        )
    lines = _parquet_lines(path, log) if kind == "Parquet" else _sheet_lines(path, log, sheet)
    try:
        yield from lines
    except VisitError:
        raise
    except Exception as error:  # a damaged file makes its library raise nearly anything
        raise _refused(
            path,
            f"the {kind} cannot be read: {shown(error)}",
            "a log is a whole file",
            "Export it again, or save it as text (.csv)",
        ) from error


def sheets_of(path: Path) -> Sequence[str]:
    """Return the names of the sheets of a workbook."""
    try:
        with _opened(path) as book:
            return [sheet.title for sheet in book.worksheets]
    except VisitError:
        raise
    except Exception:  # told when the lines are read
        return []


def _refused(path: Path, what: str, rule: str, way_out: str) -> VisitError:
    return VisitError([Problem(what=what, where=path.name, rule=rule, way_out=way_out)])


# ----------------------------------------------------------------------------------------- workbooks


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    try:
        import openpyxl
    except ImportError as error:
        raise _refused(
            path,
            "the log is a workbook, and the library that reads workbooks is not installed",
            "it comes with the extra 'excel'",
            "Install it with: pip install 'fluewright[excel]', or save the sheet as text (.csv)",
        ) from error
    with path.open("rb") as file:
        with zipfile.ZipFile(file) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
        if unpacked > _MOST_UNPACKED:
            raise _refused(
                path,
                "the workbook unpacks to more than 2 GiB",
                "a log fits into memory",
                "Save it as text (.csv)",
            )
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of styles and extensions: nothing here is drawn
            with closing(
                openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
            ) as book:
                yield book


def _sheet_lines(path: Path, log: Log | None, name: str | None) -> Iterator[bytes]:
    with _opened(path) as book:
        sheet = book[name] if name is not None else _sheet(book, path, log)
        sheet.reset_dimensions()  # writers state them wrongly
        rows = (list(row) for row in _shown_values(sheet))
        first = [row for _, row in zip(range(_LOOKED_AT), rows, strict=False)]
        width = max((_filled(row) for row in first), default=0)
        names = [] if log is None or not log.header_row else [*first, []][min(log.header_row, len(first)) - 1]
        stamps = _Stamps(names, log)
        yield from _joined(_line(row, width, stamps) for part in (first, rows) for row in part)


def _shown_values(sheet: Any) -> Iterator[Sequence[object]]:
    """Yield the values of each row; a number that its cell shows in percent is text such as "45 %", as it is shown."""
    if _has_percent(sheet.parent):
        for row in sheet.iter_rows():
            yield [_Percent(100 * cell.value) if _in_percent(cell) else cell.value for cell in row]
    else:  # faster: no cell is made
        yield from sheet.iter_rows(values_only=True)


class _Percent(float):
    """A number in percent."""


def _in_percent(cell: Any) -> bool:
    return isinstance(cell.value, int | float) and _scales(str(cell.number_format))


def _scales(number_format: str) -> bool:
    """Tell whether a number format shows a hundred times the number: a quoted or escaped percent sign is a letter."""
    return "%" in re.sub(r'"[^"]*"|\\.', "", number_format)


def _has_percent(book: Any) -> bool:
    """Tell whether any cell of a workbook may be shown in percent, by the styles that its cells have."""
    from openpyxl.styles import numbers

    custom = dict(enumerate(book._number_formats, start=numbers.BUILTIN_FORMATS_MAX_SIZE))
    formats = {**numbers.BUILTIN_FORMATS, **custom}
    return any(_scales(str(formats.get(style.numFmtId, ""))) for style in book._cell_styles)


def _sheet(book: Any, path: Path, log: Log | None) -> Any:
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    listed = ", ".join(map(shown, sheets))
    if not sheets:
        raise _refused(path, "the workbook has no sheet of cells", "a log holds rows", "Export it again")
    if log is None or (log.sheet is None and len(sheets) == 1):
        return next(iter(sheets.values()))
    if log.sheet is None:
        raise _refused(
            path,
            f"the workbook has the sheets {listed}",
            "which of several sheets is the log is said in visit.toml",
            "Write sheet = with the name of one of them for this log",
        )
    if log.sheet not in sheets:
        raise _refused(
            path,
            f"there is no sheet {shown(log.sheet)}",
            "sheet in visit.toml is the name of one in the workbook",
            f"The sheets are {listed}",
        )
    return sheets[log.sheet]


def _filled(row: Sequence[object]) -> int:
    """Return how many cells a row has up to its last that is not empty."""
    return max((place + 1 for place, cell in enumerate(row) if cell is not None), default=0)


class _Stamps:
    """Which columns of a sheet hold a date without a time or a time without a date, and the decimal mark."""

    def __init__(self, names: Sequence[object], log: Log | None) -> None:
        known = [str(name).strip() for name in names]
        self.looking = log is None
        self.decimal = "." if log is None else log.decimal
        self.date = self._place(known, None if log is None else log.time.date_column)
        self.time = self._place(known, None if log is None else log.time.time_column)

    @staticmethod
    def _place(names: Sequence[str], name: str | None) -> int:
        if name is None:
            return -1
        if name.strip() in names:
            return names.index(name.strip())
        number = name.removeprefix("column ")
        return int(number) - 1 if number.isascii() and number.isdigit() else -1


def _line(row: Sequence[object], width: int, stamps: _Stamps) -> str:
    cells = list(row[: max(_filled(row), width)])
    cells += [None] * (width - len(cells))
    return MARK.join(_cell(cell, place, stamps) for place, cell in enumerate(cells))


def _cell(cell: object, place: int, stamps: _Stamps) -> str:
    if cell is None:
        return ""
    if isinstance(cell, _Percent):
        return f"{cell:.12g} %".replace(".", stamps.decimal)
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, int | float):
        return repr(cell).replace(".", stamps.decimal)
    if isinstance(cell, dt.datetime):
        midnight = cell.time() == dt.time()
        if place == stamps.date or (stamps.looking and midnight):
            return cell.date().isoformat()
        return str(cell.time() if place == stamps.time else cell)
    if isinstance(cell, dt.timedelta):
        return repr(cell.total_seconds()).replace(".", stamps.decimal)
    text = " ".join(str(cell).replace(MARK, " ").splitlines())
    return f'"{text.replace(chr(34), 2 * chr(34))}"' if '"' in text else text


def _joined(lines: Iterable[str]) -> Iterator[bytes]:
    block: list[str] = []
    for line in lines:
        block.append(line)
        if len(block) == _LINES:
            yield _block(block)
            block = []
    if block:
        yield _block(block)


def _block(lines: Sequence[str]) -> bytes:
    return ("\n".join(lines) + "\n").encode("utf-8", "replace")


# ------------------------------------------------------------------------------------------- Parquet


def _parquet_lines(path: Path, log: Log | None) -> Iterator[bytes]:
    import pyarrow.parquet as pq

    if log is not None and log.header_row != 1:
        raise _refused(
            path,
            f"header_row is {log.header_row}",
            "a Parquet file names its columns itself; its rows count from 2",
            "Leave header_row out for this log",
        )
    decimal = "." if log is None else log.decimal
    with pq.ParquetFile(path) as file:
        yield _block([MARK.join(_cell(name, -1, _Stamps([], log)) for name in file.schema_arrow.names)])
        for batch in file.iter_batches(batch_size=16 * _LINES):
            texts = [_texts(column, decimal) for column in batch.columns]
            sink = pa.BufferOutputStream()
            pacsv.write_csv(
                pa.table(texts, names=[str(place) for place in range(len(texts))]),
                sink,
                pacsv.WriteOptions(include_header=False, delimiter=MARK, quoting_style="needed"),
            )
            yield sink.getvalue().to_pybytes()


def _texts(column: pa.Array, decimal: str) -> pa.StringArray:
    """Return the cells of a column as text."""
    if pa.types.is_timestamp(column.type):
        texts = column.cast(pa.timestamp("us", column.type.tz), safe=False)
        if column.type.tz is not None:
            return pc.binary_join_element_wise(
                texts.cast(pa.timestamp("us", "UTC")).cast(pa.timestamp("us")).cast(pa.string()), "Z", ""
            )
        return texts.cast(pa.string())
    if pa.types.is_duration(column.type):
        column = pc.divide(
            column.cast(pa.duration("us"), safe=False).cast(pa.int64()).cast(pa.float64()), 1e6
        )
    numbers = pa.types.is_floating(column.type) or pa.types.is_decimal(column.type)
    texts = column.cast(pa.string())
    if numbers:
        return pc.replace_substring(texts, ".", decimal) if decimal != "." else texts
    return pc.replace_substring_regex(texts, r"[\t\r\n]", " ")
