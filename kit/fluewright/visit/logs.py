"""Read one log as the instrument wrote it, in one pass: the rows that hold readings, and what all others are."""

from __future__ import annotations

import codecs
import csv
import difflib
import hashlib
import io
import math
import re
from collections import Counter, deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv
from numpy.typing import NDArray

from fluewright import sources
from fluewright.units import Array
from fluewright.visit.cells import SWITCHES, TEXT, Cells, Writing, read_cells
from fluewright.visit.problems import Problem, VisitError, shown
from fluewright.visit.raw import TEXTS_KEPT, BlockRead, RawLog, TimedRows
from fluewright.visit.readings import Cell
from fluewright.visit.schema import Log, column_scale
from fluewright.visit.tables import MARK, kind_of, table_lines
from fluewright.visit.times import Mask, read_times
from fluewright.visit.wordings import unit_of

_BLOCK = 5 << 19  # bytes; chosen by measurement
_PIECE = 1 << 17  # bytes read, and looked at, at once; chosen by measurement
_ROOM = 1.1  # times the rows expected from the first block
_WORKERS = 2  # blocks are parsed beside each other while the next is read
_RAGGED = 4096  # rows that do not fit taken apart at once: more would take much memory
_SAMPLE_ROWS = 200  # rows looked at to tell how many cells a row has
_EXAMPLE_LENGTH = 120
_BOMS = {codecs.BOM_UTF8: "utf-8-sig", codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}
_MONOXIDE = "carbon_monoxide_"  # begins the name of each quantity whose danger outlives its row
_UNREADABLE = "time cannot be read"
_UNTIMED = ("blank line", "column names again", "units row", "no time", "text row", _UNREADABLE)
# A remark such as "CO > 4000 ppm"; a pattern of Arrow's.
_SAID = r"(?i)\bco\b\D{0,20}?(?P<ppm>\d+(?:\.\d+)?)\s*ppm\b"
_PPM = 1e-6
# What begins a line that sums up the rows above it; a pattern of Arrow's.
_SUMMARY = (
    r"(?i)^\W*(avg|average|mean|moyenne|mittel|durchschnitt|media|min|minimum|max|maximum|sum|total|count|number|"
    r"anzahl|n|std|stdev|st\.? ?dev|sd|median|range)\b"
)
_ASCII_BELOW_128 = frozenset({"utf-8", "utf8", "latin-1", "cp1252", "iso-8859-1"})


# ------------------------------------------------------------------------------ bytes to blocks of lines


@dataclass(frozen=True, slots=True, kw_only=True)
class _Block:
    """A block of whole lines in UTF-8, the line number of its first, and how many they are.

    `cut` says that the file ended in the last of them, without a line end.
    """

    data: bytes
    first_row: int
    lines: int
    cut: bool = False

    @classmethod
    def of(cls, data: bytes, first_row: int) -> _Block:
        """Return lines as a block."""
        return cls(data=data, first_row=first_row, lines=_line_count(data))

    def line(self, row: int) -> str:
        """Return the line of a row, cut to a readable length."""
        place = row - self.first_row
        return _shown(self.data.split(b"\n", place + 1)[place])[:_EXAMPLE_LENGTH]

    def after(self, lines: int, *, length: int) -> _Block:
        """Return what follows some lines, of so many bytes, at its top."""
        return replace(
            self, data=self.data[length:], first_row=self.first_row + lines, lines=self.lines - lines
        )


def _numbered(pieces: Iterable[bytes]) -> Iterator[_Block]:
    row = 1
    for data in pieces:
        block = _Block.of(data, row)
        row += block.lines
        yield block


def _blocks(path: Path, log: Log, digest: Any) -> Iterator[_Block]:
    """Yield the file as UTF-8 in blocks of whole lines, every line ended by a line feed."""
    with path.open("rb") as file:
        start = file.peek(4)[:4]
        encoding = next((name for bom, name in _BOMS.items() if start.startswith(bom)), log.encoding)
        text = _Text(encoding)
        held: list[bytes | memoryview] = []
        size, row = 0, 1
        try:
            while chunk := file.read(_PIECE):  # piece by piece: what is formed of each stays in the cache
                digest.update(chunk)
                data = text.read(chunk)
                held.append(data)
                size += len(data)
                if size < _BLOCK:
                    continue
                if cut := data.rfind(b"\n") + 1:
                    held[-1] = memoryview(data)[:cut]
                    block = _Block.of(b"".join(held), row)
                    yield block
                    held, size, row = [data[cut:]], len(data) - cut, row + block.lines
                elif size > 2 * _BLOCK:
                    row += b"".join(held).count(b"\n")
                    raise _refused(log, row, "the line does not end", "a row is one line", "Is it a log?")
            rest = b"".join([*held, text.end()])
        except UnicodeDecodeError as error:
            row += b"".join(held).count(b"\n") + error.object[: error.start].count(b"\n")
            if encoding.casefold().startswith(("utf-16", "utf16")):
                raise _refused(
                    log,
                    row,
                    f"the log is not whole {encoding}: {error.reason}",
                    "each of its letters takes two bytes or four",
                    "Export it again, if its end is missing; or put encoding right in visit.toml",
                ) from error
            byte = error.object[error.start]
            raise _refused(
                log,
                row,
                f"byte {byte:#04x} is not {encoding}",
                "the log is read in the encoding stated in visit.toml",
                'Write encoding = "cp1252" (or "latin-1") for this log, or save it as UTF-8',
            ) from error
        except UnicodeError as error:
            raise _refused(
                log,
                1,
                f"the log is not {encoding}: it has no byte order mark",
                "the log is read in the encoding stated in visit.toml",
                'Write encoding = "utf-16-le" (or "utf-16-be"), or that in which it is written',
            ) from error
        if rest:
            last = _Block.of(rest.removesuffix(b"\n") + b"\n", row)
            yield replace(last, cut=not rest.endswith(b"\n"))


def _line_count(data: bytes) -> int:
    """Return how many lines end in `data`: piece by piece, which is faster than `bytes.count`."""
    letters = np.frombuffer(data, np.uint8)
    pieces = range(0, len(data), _PIECE)
    return sum(int(np.count_nonzero(letters[start : start + _PIECE] == ord("\n"))) for start in pieces)


class _Text:
    """Turns chunks of a file into UTF-8 with line feeds; plain ASCII, as most logs are, passes as it is."""

    def __init__(self, encoding: str) -> None:
        self._decoder = io.IncrementalNewlineDecoder(codecs.getincrementaldecoder(encoding)(), translate=True)
        self._plain = encoding.casefold() in _ASCII_BELOW_128

    def read(self, chunk: bytes) -> bytes:
        """Return the next chunk; from the first that is not plain, all are decoded."""
        self._plain = self._plain and chunk.isascii() and b"\r" not in chunk
        return chunk if self._plain else self._decoder.decode(chunk).encode("utf-8", "surrogatepass")

    def end(self) -> bytes:
        """Return what was held back at the end of the last chunk."""
        return self._decoder.decode(b"", final=True).encode("utf-8", "surrogatepass")


def _refused(log: Log, row: int | None, what: str, rule: str, way_out: str) -> VisitError:
    return VisitError([problem_in(log, row, what, rule, way_out)])


def problem_in(log: Log, row: int | None, what: str, rule: str, way_out: str) -> Problem:
    """Return a problem of a log, with its row."""
    where = log.file if row is None else f"{log.file}, row {row}"
    return Problem(what=what, where=where, rule=rule, way_out=way_out)


# ------------------------------------------------------------------------------------- the header


@dataclass(frozen=True, slots=True, kw_only=True)
class _Layout:
    """Where in a row the map's columns stand, and slope and offset from the unit of each to SI.

    `names` are those of all columns, `below` the cells of the row below them.
    """

    width: int
    names: tuple[str, ...]
    below: tuple[str, ...]
    time: tuple[int, ...]
    quantities: Mapping[str, int]
    scales: Mapping[str, tuple[float, float]]
    surplus: tuple[int, ...]
    first_row: int


def _cells_of(line: str, log: Log) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=log.delimiter))
    except csv.Error:
        return line.split(log.delimiter)


def _filled_up(line: str, width: int, log: Log) -> list[str]:
    """Return so many cells of a line, blank ones where it has fewer."""
    return (_cells_of(line, log) + [""] * width)[:width]


def _layout(head: list[str], sample: list[str], log: Log) -> _Layout:
    rows = [row for row in (_cells_of(line, log) for line in sample) if len(row) > 1]
    widths = Counter(len(row) for row in rows)
    header = _cells_of("".join(head), log) if head else []
    names = [name.strip() for name in header]
    width = widths.most_common(1)[0][0] if widths else max(len(names), 1)
    if not head:
        names = [""] * width
    while len(names) > width and not names[-1]:
        names.pop()
    surplus = tuple(range(len(names), width))
    full = [row for row in rows if len(row) == width]
    if len(names) > width or any(row[place].strip() for row in full for place in surplus):
        raise _refused(
            log,
            log.header_row + 1,
            f"rows have {width} cells where the column names are {len(names)}",
            "each row has a cell for each column name",
            f"Put header_row, delimiter or decimal of this log right; row {log.header_row} reads "
            f"{shown(''.join(head))}, and the row after it {shown(sample[0].rstrip() if sample else '')}",
        )
    names += [""] * (width - len(names))
    problems: list[Problem] = []

    def place(name: str, key: str) -> int:
        found = (
            [number for number, known in enumerate(names) if known == name.strip()] if name.strip() else []
        )
        numbered = re.fullmatch(r"column (\d{1,6})", name)
        if not found and numbered and 1 <= int(numbered[1]) <= width:
            return int(numbered[1]) - 1
        if len(found) != 1:
            problems.append(_no_column(name, key, names, bool(found), "".join(head), log))
            return 0
        return found[0]

    clock = log.time
    stamps = [(clock.column, "time.column"), (clock.date_column, "time.date_column")]
    stamps.append((clock.time_column, "time.time_column"))
    time = tuple(place(name, key) for name, key in stamps if name is not None)
    quantities = {column.quantity: place(name, "columns") for name, column in log.columns.items()}
    if problems:
        raise VisitError(problems)
    return _Layout(
        width=width,
        names=tuple(names),
        below=tuple(_filled_up(sample[0] if sample else "", width, log)),
        time=time,
        quantities=quantities,
        scales={one.quantity: column_scale(one.unit, one.quantity) for one in log.columns.values()},
        surplus=surplus,
        first_row=log.header_row + 1,
    )


def _no_column(name: str, key: str, names: list[str], twice: bool, head: str, log: Log) -> Problem:
    known = [known for known in names if known]
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    other = next((mark for mark in ",;\t|" if mark != log.delimiter and mark in head), None)
    if twice:
        what = f"two columns are named {shown(name)}"
        way_out = f"Name it by its place instead, such as 'column {names.index(name.strip()) + 1}'"
    else:
        what = f"there is no column {shown(name)}"
        way_out = (
            f"The columns are {', '.join(map(shown, known[:20]))}" if known else "The row of names is blank"
        )
        if near:
            way_out = f"Did you mean {shown(near[0])}?"
        elif len(known) < 2 and other is not None:
            way_out = f"The row of names holds {shown(other)}: is delimiter = {shown(other)} meant?"
        elif log.header_row != 0:
            way_out += f"; names are read in row {log.header_row}, as header_row says"
    return problem_in(log, log.header_row, what, f"{key} in visit.toml goes by the names in the log", way_out)


# ------------------------------------------------------------------------------- blocks to columns


def read_raw(path: Path, *, log: Log) -> RawLog:
    """Read a log in one pass: its rows that have a time, and what became of all other rows.

    Parameters
    ----------
    path : Path
        The file.
    log : Log
        Its description in visit.toml.

    Raises
    ------
    VisitError
        The log cannot be read as described.
    """
    digest, size = hashlib.sha256(), path.stat().st_size
    with path.open("rb") as file:
        kind = kind_of(file.read(4))
        if kind != "text":
            file.seek(0)
            digest = hashlib.file_digest(file, "sha256")
    if kind == "text":
        blocks = _blocks(path, log, digest)
    else:
        blocks = _numbered(table_lines(path, kind=kind, log=log))
        log = log.model_copy(update={"delimiter": MARK})
    first = next(blocks, None)
    if first is None or not first.data.strip(b"\n\r \t\0"):
        raise _refused(
            log, None, "the log is empty", "a log holds rows", "Export it again, or take it out of visit.toml"
        )
    top = first.data.split(b"\n", log.header_row + _SAMPLE_ROWS)
    lines = [_shown(line) for line in top[: log.header_row + _SAMPLE_ROWS]]
    if len(top) <= log.header_row:
        raise _refused(
            log,
            len(top),
            "the log ends before its column names",
            "header_row is a line of the log",
            f"Put header_row right; it is {log.header_row}",
        )
    head = lines[log.header_row - 1 : log.header_row] if log.header_row else []
    layout = _layout(head, lines[log.header_row :], log)
    raw = _begun(lines, layout, log, room=round(_ROOM * size * first.lines / len(first.data)))
    raw.size = size
    position = sum(len(line) + 1 for line in top[: log.header_row])
    with ThreadPoolExecutor(_WORKERS) as pool:
        waiting: deque[Future[BlockRead]] = deque()
        for block in chain([first.after(log.header_row, length=position)], blocks):
            if not block.data:
                continue
            rooms = raw.ahead(block.first_row - layout.first_row, block.lines)
            waiting.append(pool.submit(_read_block, block, layout, log, frozenset(raw.worded), rooms))
            if len(waiting) > _WORKERS:
                raw.follow(waiting.popleft().result())
        for block_read in waiting:
            raw.follow(block_read.result())
    if raw.misfits:
        raw.notes.append(
            "rows with too few or too many cells are judged for nothing but what carbon monoxide they may hold"
        )
    raw.sha256 = digest.hexdigest()
    return raw


def _begun(lines: Sequence[str], layout: _Layout, log: Log, *, room: int) -> RawLog:
    """Return the log before its rows are read: with its headings, and what is not read of it."""
    raw = RawLog(tuple(layout.quantities), room=room)
    below = layout.below
    headings = list(zip(layout.names, below, strict=True))
    raw.headings = {quantity: headings[place] for quantity, place in layout.quantities.items()}
    raw.time_headings = [headings[place] for place in layout.time]
    raw.below = [cell for place, cell in enumerate(below) if place not in layout.time]
    if log.header_row > 1:
        raw.notes.append(f"{log.header_row - 1} lines above the column names are not rows")
    mapped = {layout.names[place] for place in (*layout.time, *layout.quantities.values())}
    if unused := [shown(name) for name in layout.names if name and name not in mapped]:
        raw.notes.append(f"columns not named in visit.toml, not used: {', '.join(unused)}")
    return raw


def _shown(line: bytes) -> str:
    return line.decode("utf-8", "replace")


def _read_block(
    block: _Block, layout: _Layout, log: Log, worded: AbstractSet[str], rooms: Mapping[str, Array]
) -> BlockRead:
    """Read a block; `rooms` is where its numbers go, `worded` are the quantities in which words were met before."""
    raw = BlockRead(lines=block.lines)
    open_quotes = _open_quotes(block, log)
    data = _blanked(block.data, open_quotes - block.first_row)
    cut = _cut(data, layout, log, worded, rooms)
    if any(row.cells > layout.width for row in cut.ragged):
        shorter = _without_empty_ends(data, cut.ragged, layout, log)
        cut = _cut(shorter, layout, log, worded, rooms) if len(shorter) < len(data) else cut
    table, cells, rows = cut.table, cut.cells, np.arange(block.first_row, block.first_row + block.lines)
    if cut.ragged:
        rows = np.delete(rows, [row.row for row in cut.ragged])
    if len(rows) != table.num_rows:
        raise AssertionError(f"rows were lost in {log.file}")
    if len(open_quotes):
        raw.set_aside("a quotation mark is not closed", open_quotes, block.line(int(open_quotes[0])))
        lines = block.data.split(b"\n")
        for first in range(0, len(open_quotes), _RAGGED):
            part = open_quotes[first : first + _RAGGED] - block.first_row
            _keep_monoxide(
                [_shown(lines[row]).replace('"', "") for row in part], part, block, layout, log, raw
            )
    cut_row = block.lines - 1 if block.cut else None
    for first in range(0, len(cut.ragged), _RAGGED):
        _set_aside_ragged(cut.ragged[first : first + _RAGGED], block, layout, log, raw, cut_row=cut_row)
    if len(open_quotes):
        closed = ~np.isin(rows, open_quotes)
        table, rows = table.filter(pa.array(closed)), rows[closed]
        cells = {quantity: column.taken(closed) for quantity, column in cells.items()}
    if len(rows):
        raw.worded |= cut.worded
        raw.extremes |= cut.extremes
        _read_rows(table, cells, rows, block, layout, log, raw)
    return raw


class _Ragged(NamedTuple):
    """A row with too few or too many cells; `row` counts from the block's first."""

    row: int
    text: str
    cells: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """A block cut into columns: their texts or numbers, the cells of each quantity, and the rows that do not fit.

    `worded` names the quantities whose cells are not all numbers or empty; `extremes` are the least and the greatest
    number of each.
    """

    table: pa.Table
    cells: Mapping[str, Cells]
    worded: AbstractSet[str]
    extremes: Mapping[str, tuple[float, float]]
    ragged: Sequence[_Ragged]


def _cut(
    data: bytes, layout: _Layout, log: Log, worded: AbstractSet[str], rooms: Mapping[str, Array]
) -> _Cut:
    """Cut a block into columns; where a word stands for a number, every distinct text is read by itself."""
    cut = _cut_by(data, layout, log, rooms, coded=worded)
    cut = cut or _cut_by(data, layout, log, rooms, coded=frozenset(layout.quantities))
    if cut is None:
        raise AssertionError(f"{log.file} cannot be cut into columns")
    return cut


def _cut_by(
    data: bytes, layout: _Layout, log: Log, rooms: Mapping[str, Array], *, coded: AbstractSet[str]
) -> _Cut | None:
    """Cut a block into columns: times as text, quantities as numbers, those `coded` as their distinct texts.

    None where a column that is not coded holds anything but numbers and empty cells.
    """
    ragged: list[_Ragged] = []

    def note(row: Any) -> str:
        ragged.append(_Ragged(row.number - 1, row.text, row.actual_columns))
        return "skip"

    texts = pa.dictionary(pa.int32(), pa.string())
    types = {str(place): texts for place in layout.surplus}
    types |= {
        str(place): texts if name in coded else pa.float64() for name, place in layout.quantities.items()
    }
    types |= {str(place): pa.string() for place in layout.time}
    try:
        table = pacsv.read_csv(
            pa.BufferReader(data),
            read_options=pacsv.ReadOptions(
                use_threads=False,
                block_size=len(data) + 1,
                column_names=[str(n) for n in range(layout.width)],
            ),
            parse_options=pacsv.ParseOptions(
                delimiter=log.delimiter,
                quote_char='"' if b'"' in data else False,  # faster without
                ignore_empty_lines=False,
                invalid_row_handler=note,
            ),
            convert_options=pacsv.ConvertOptions(
                include_columns=list(types),
                column_types=types,
                decimal_point=log.decimal,
                check_utf8=False,
                strings_can_be_null=False,
                null_values=[""],
            ),
        )
    except pa.ArrowInvalid:
        return None
    cells, worded, extremes = {}, set(), {}
    for quantity, place in layout.quantities.items():  # one after the other: a column stays in the cache
        column = _whole(table.column(str(place)))
        plain, room = pa.types.is_floating(column.type), rooms[quantity][: len(column)]
        if not plain:
            cells[quantity] = _decoded(column, _writing(log, quantity), layout.scales[quantity])
        elif (numbers := _numbers(column, layout.scales[quantity], room)) is not None:
            cells[quantity] = numbers
        else:
            return None
        worded |= {quantity} if not plain and _holds_words(cells[quantity].states) else set()
        extremes[quantity] = _extremes(cells[quantity].values)
    return _Cut(table=table, cells=cells, worded=worded, extremes=extremes, ragged=ragged)


def _numbers(column: pa.DoubleArray, scale: tuple[float, float], room: Array) -> Cells | None:
    """Put a column of numbers and empty cells into `room`, in SI; None where it may hold a word such as "nan" or "inf".

    Such a word makes the sum no number. What stands in memory where a cell is empty counts as well, so that a sound
    column may be told to hold words, never one of words to hold none.
    """
    if not len(column):
        return Cells(values=room)
    here = slice(column.offset, column.offset + len(column))
    held = np.frombuffer(column.buffers()[1], np.float64)[here]
    if not math.isfinite(held.sum()):
        return None
    np.multiply(held, scale[0], out=room)
    if scale[1]:
        room += scale[1]
    if not column.null_count:
        return Cells(values=room)
    filled = np.unpackbits(np.frombuffer(column.buffers()[0], np.uint8), bitorder="little")[here]
    room[np.flatnonzero(filled == 0)] = np.nan
    return Cells(values=room, states=(1 - filled).view(np.int8) * np.int8(Cell.EMPTY))


def _open_quotes(block: _Block, log: Log) -> NDArray[np.int64]:
    """Return the rows in which a quoted cell is not closed: left alone, it would swallow the rows below."""
    if b'"' not in block.data or _plainly_quoted(block.data, log.delimiter):
        return np.zeros(0, np.int64)
    mark = re.escape(log.delimiter)
    cell = rf'(?:"(?:[^"]|"")*"(?:[^{mark}"][^{mark}]*)?|[^{mark}"][^{mark}]*|)'
    closed = re.compile(f"(?:{cell}{mark})*{cell}")
    return np.array(
        [
            block.first_row + place
            for place, line in enumerate(_shown(block.data).split("\n"))
            if '"' in line and closed.fullmatch(line) is None
        ],
        np.int64,
    )


def _plainly_quoted(data: bytes, delimiter: str) -> bool:
    """Tell whether quotation marks only open and close whole cells, none over the end of its line."""
    letters = np.frombuffer(b"\n" + data, np.uint8)
    marks = np.flatnonzero(letters == ord('"'))
    if len(marks) % 2:
        return False
    opening, closing = marks[::2], marks[1::2]
    edges = (ord(delimiter), ord("\n"))
    ends = np.flatnonzero(letters == ord("\n"))
    return bool(
        np.isin(letters[opening - 1], edges).all()
        and np.isin(letters[closing + 1], edges).all()
        and (np.searchsorted(ends, opening) == np.searchsorted(ends, closing)).all()
    )


def _without_empty_ends(data: bytes, ragged: Sequence[_Ragged], layout: _Layout, log: Log) -> bytes:
    """Return a block without the delimiters that end some of its rows and not the others."""
    lines, mark = data.split(b"\n"), re.escape(log.delimiter.encode())
    for row in ragged:
        if (surplus := row.cells - layout.width) > 0:
            lines[row.row] = re.sub(rb"(?:" + mark + rb"[ \r]*){%d}$" % surplus, b"", lines[row.row])
    return b"\n".join(lines)


def _blanked(data: bytes, places: NDArray[np.int64]) -> bytes:
    if not len(places):
        return data
    lines = data.split(b"\n")
    for place in places:
        lines[place] = b""
    return b"\n".join(lines)


def _set_aside_ragged(
    ragged: Sequence[_Ragged],
    block: _Block,
    layout: _Layout,
    log: Log,
    raw: BlockRead,
    *,
    cut_row: int | None,
) -> None:
    """Account for rows with too few or too many cells: text rows, or readings that were cut or shifted."""
    cells = [_cells_of(row.text, log) for row in ragged]
    stamps = [" ".join(row[place] if place < len(row) else "" for place in layout.time) for row in cells]
    timed = read_times(
        pa.array(stamps, pa.string()), form=log.time.format, writing=_writing(log), dated=_dated(log)
    ).valid
    reasons: dict[str, list[int]] = {}
    for place, (row, has_time) in enumerate(zip(ragged, timed, strict=True)):
        reason = "text row" if row.text.strip(" \t\0") else "blank line"
        if has_time and row.cells > 1:
            reason = f"{row.cells} cells where a row has {layout.width}"
        reasons.setdefault(reason, []).append(place)
    rows = np.array([row.row for row in ragged], np.int64)
    for reason, places in reasons.items():
        example = ragged[places[0]].text[:_EXAMPLE_LENGTH]
        raw.set_aside(reason, block.first_row + rows[places], example)
    told = [place for place in range(len(ragged)) if timed[place] and ragged[place].cells > 1]
    _keep_monoxide([ragged[one].text for one in told], rows[told], block, layout, log, raw, cut_row=cut_row)


def _keep_monoxide(
    texts: Sequence[str],
    rows: NDArray[np.int64],
    block: _Block,
    layout: _Layout,
    log: Log,
    raw: BlockRead,
    *,
    cut_row: int | None = None,
) -> None:
    """Keep the carbon monoxide that rows may hold, given as text and by their places in the block."""
    cells = [_cells_of(text, log) for text in texts]
    widths: dict[int, list[int]] = {}
    for place, row in enumerate(cells):
        widths.setdefault(len(row), []).append(place)
    for quantity in layout.quantities:
        for places in widths.values() if quantity.startswith(_MONOXIDE) else ():
            columns = list(zip(*(cells[one] for one in places), strict=True))
            slope, offset = layout.scales[quantity]
            held = _held_of(columns, quantity, layout, log, cut=rows[places] == cut_row) * slope + offset
            if quantity == f"{_MONOXIDE}dry":
                held = np.fmax(held, _said_of([texts[one] for one in places]))
            raw.misfits.setdefault(quantity, []).append((block.first_row + rows[places], held))


def _held_of(
    columns: Sequence[Sequence[str]], quantity: str, layout: _Layout, log: Log, *, cut: Mask
) -> Array:
    """Return the most that rows of as many cells, too few or too many, may hold of a quantity, in its column's unit.

    A tail without a number is a note that holds the delimiter, and moves nothing; nor does the end of a file in the
    midst of its last row (`cut`). A short row with text in it is a remark; one whose cells before the column are
    possible readings of theirs lacks what follows. Elsewhere the cell may stand anywhere between its place counted
    from the row's beginning and that from its end. NaN where there is no number.
    """
    place, surplus = layout.quantities[quantity], len(columns) - layout.width
    after = max(layout.time) if place > max(layout.time) else -1  # a counter before the time is no reading
    inside = [one for one in range(after + 1, len(columns)) if one not in layout.time]
    cells = {one: _cells_in(columns[one], log) for one in inside}
    text, moved = np.zeros(len(cut), bool), ~cut
    if surplus < 0:
        texts = (one.states == TEXT for one in cells.values() if one.states is not None)
        text = ~cut & _any(texts, len(cut))
        moved &= _impossible_before(cells, place, layout, rows=len(cut))
    else:
        moved &= _any((np.isfinite(cells[one].values) for one in inside if one >= layout.width), len(cut))
    ends = {one: _most(read) for one, read in cells.items()}
    nothing = np.full(len(cut), np.nan)
    near = [ends[one] for one in inside if min(place, place + surplus) <= one <= max(place, place + surplus)]
    held = np.where(moved, np.fmax.reduce([nothing, *near]), ends.get(place, nothing))
    return np.where(text, np.nan, held)


def _most(cells: Cells) -> Array:
    """Return the most that cells hold for certain: infinite where one is over a range that the log does not tell."""
    most = cells.values if cells.bounds is None else np.fmax(cells.values, cells.bounds)
    over = np.zeros(len(most), bool) if cells.states is None else cells.states == Cell.OVER_RANGE
    return np.where(over & np.isnan(most), np.inf, most)


def _cells_in(texts: Sequence[str], log: Log) -> Cells:
    return _decoded(pa.array(texts, pa.string()), _writing(log))


def _any(masks: Iterable[Mask], rows: int) -> Mask:
    """Return in which of so many rows any of some masks is true."""
    found = np.zeros(rows, bool)
    for mask in masks:
        found |= mask
    return found


def _impossible_before(cells: Mapping[int, Cells], place: int, layout: _Layout, *, rows: int) -> Mask:
    """Tell in which rows a cell before a column holds what the column it would belong to cannot hold."""
    impossible = []
    for quantity, (slope, offset) in layout.scales.items():
        other = layout.quantities[quantity]
        if other < place and other in cells:
            known, value = sources.quantity(quantity), cells[other].values * slope + offset
            low = -math.inf if known.low is None else known.low
            high = math.inf if known.high is None else known.high
            impossible.append((value < low) | (value > high))
    return _any(impossible, rows)


def _said_of(texts: Sequence[str]) -> Array:
    """Return the dry carbon monoxide [mol/mol] that remarks name; NaN where they name none."""
    found = pc.struct_field(pc.extract_regex(pa.array(texts, pa.string()), _SAID), "ppm")
    return np.asarray(pc.cast(found, pa.float64()).to_numpy(zero_copy_only=False) * _PPM, np.float64)


def _writing(log: Log, quantity: str = "") -> Writing:
    return Writing(
        decimal=log.decimal,
        thousands=log.thousands,
        switch=quantity in SWITCHES,
        words=log.words,
        unit=next(
            (column.unit for column in log.columns.values() if column.quantity == quantity), log.time.unit
        ),
        quantity=quantity,
    )


def _dated(log: Log) -> bool:
    return log.time.column is not None or log.time.date_column is not None


def _read_rows(
    table: pa.Table,
    cells: Mapping[str, Cells],
    rows: NDArray[np.int64],
    block: _Block,
    layout: _Layout,
    log: Log,
    raw: BlockRead,
) -> None:
    columns = {place: table.column(str(place)) for place in map(int, table.column_names)}
    stamps = _whole(columns[layout.time[0]])
    if len(layout.time) > 1:
        stamps = pc.binary_join_element_wise(*(_whole(columns[place]) for place in layout.time), " ")
    times = read_times(stamps, form=log.time.format, writing=_writing(log), dated=_dated(log))
    keep = times.valid
    for place in layout.surplus:
        keep = keep & pc.equal(
            pc.binary_length(pc.utf8_trim_whitespace(columns[place].cast(pa.string()))), 0
        ).to_numpy(zero_copy_only=False)
    whole = bool(keep.all())
    if not whole:
        _set_aside_shifted(times.valid & ~keep, rows, cells, block, layout, raw)
        untimed = _set_aside_untimed(~times.valid, rows, stamps, cells, block, layout, log, raw)
        if not keep.any():
            return
        before = np.maximum.accumulate(np.where(keep, np.arange(len(rows)), np.argmax(keep)))
        times = replace(times, micros=times.micros[before], zoned=times.zoned[before])
    timed = TimedRows(
        rows=rows,
        micros=times.micros,
        zoned=times.zoned,
        timed=keep,
        cells=cells,
        texts={
            quantity: _texts(columns[layout.quantities[quantity]], cells[quantity], rows, keep)
            for quantity in raw.worded
        },
    )
    raw.timed = timed if whole else timed.taken(keep | untimed)


def _whole(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _holds_words(states: NDArray[np.int8] | None) -> bool:
    """Tell whether any cell is neither a number nor empty."""
    return states is not None and bool(np.any((states != Cell.NUMBER) & (states != Cell.EMPTY)))


def _extremes(values: Array) -> tuple[float, float]:
    """Return the least and the greatest number, NaN where there is none."""
    return float(np.fmin.reduce(values, initial=np.nan)), float(np.fmax.reduce(values, initial=np.nan))


def _decoded(column: pa.Array, writing: Writing, scale: tuple[float, float] = (1.0, 0.0)) -> Cells:
    """Return the cells of a column of texts in another unit by `scale`, each distinct text read once."""
    if pa.types.is_string(column.type):  # such as the column of times, which may hold a quantity as well
        column = column.dictionary_encode()
    distinct = read_cells(column.dictionary, writing=writing).scaled(scale)
    return distinct.taken(column.indices.to_numpy(zero_copy_only=False))


def _texts(column: pa.DictionaryArray, cells: Cells, rows: NDArray[np.int64], keep: Mask) -> dict[int, str]:
    places = np.flatnonzero((cells.states == TEXT) & keep)[:TEXTS_KEPT]
    return {int(rows[place]): str(column[int(place)]) for place in places}


def _set_aside_shifted(
    misfit: Mask,
    rows: NDArray[np.int64],
    cells: Mapping[str, Cells],
    block: _Block,
    layout: _Layout,
    raw: BlockRead,
) -> None:
    """Account for rows with a time that hold more cells than are named, and for the carbon monoxide they may hold."""
    shifted = rows[misfit]
    if not len(shifted):
        return
    for quantity, column in cells.items():
        if quantity.startswith(_MONOXIDE):
            raw.misfits.setdefault(quantity, []).append((shifted, _most(column)[misfit]))
    named = layout.width - len(layout.surplus)
    raw.set_aside(f"more cells than the {named} named", shifted, block.line(shifted[0]))


def _set_aside_untimed(
    bad: Mask,
    rows: NDArray[np.int64],
    stamps: pa.StringArray,
    cells: Mapping[str, Cells],
    block: _Block,
    layout: _Layout,
    log: Log,
    raw: BlockRead,
) -> Mask:
    """Account for the rows without a time: blank, names again, units, text, or a reading whose time is not there.

    Return which rows are such readings.
    """
    places, stamps = rows[bad], pc.utf8_trim_whitespace(stamps.filter(pa.array(bad)))
    numbers = np.zeros(len(places), bool)
    words = np.zeros(len(places), bool)
    for quantity, column in cells.items():
        states = np.zeros(len(places), np.int8) if column.states is None else column.states[bad]
        if quantity not in SWITCHES:  # "on" is how a units row names the unit of a switch, too
            numbers |= np.isin(states, (Cell.NUMBER, Cell.OVER_RANGE))
        words |= states != Cell.EMPTY
    names = " ".join(layout.names[place] for place in layout.time)
    blank = _mask(pc.match_substring_regex(stamps, r"^[\s\x00]*$"))
    wordy = _mask(pc.match_substring_regex(stamps, r"^(\p{L}|\P{Nd}*$)"))
    again = _mask(pc.equal(stamps, names)) & (names.strip() != "")
    units = ~numbers & words & (places == layout.first_row)
    which = np.select(
        [blank & ~words, again, units, blank & numbers, wordy | ~numbers], range(5), len(_UNTIMED) - 1
    )
    for number, reason in enumerate(_UNTIMED):
        if len(these := places[which == number]):
            raw.set_aside(reason, these, block.line(int(these[0])))
    summed = _mask(pc.match_substring_regex(stamps, _SUMMARY))
    remark = (which == _UNTIMED.index("text row")) & ~summed
    for quantity, column in cells.items():
        if quantity.startswith(_MONOXIDE) and remark.any():  # such as "ALARM" where the time should be
            raw.misfits.setdefault(quantity, []).append((places[remark], _most(column)[bad][remark]))
    if again.any():
        raw.renamed |= _renamed(places[again], block, layout, log)
    unreadable = np.flatnonzero(which == _UNTIMED.index(_UNREADABLE))
    raw.unreadable_rows += len(unreadable)
    for place in unreadable[: TEXTS_KEPT - len(raw.unreadable)]:
        raw.unreadable[int(places[place])] = str(stamps[int(place)])
    readings = np.zeros(len(rows), bool)
    readings[bad] = np.isin(which, [_UNTIMED.index("no time"), _UNTIMED.index(_UNREADABLE)])
    return readings


def _renamed(rows: NDArray[np.int64], block: _Block, layout: _Layout, log: Log) -> dict[int, tuple[str, str]]:
    """Return, by row, what a repeated heading, or the row of units below it, has where the first had something else."""
    lines, found = block.data.split(b"\n"), {}
    places = (*layout.time, *layout.quantities.values())
    for row in rows[:TEXTS_KEPT].tolist():
        at = row - block.first_row
        cells = [cell.strip() for cell in _filled_up(_shown(lines[at]), layout.width, log)]
        if other := next(
            ((cells[one], layout.names[one]) for one in places if cells[one] != layout.names[one]), None
        ):
            found[row] = other
        after = _filled_up(_shown(lines[at + 1]), layout.width, log) if at + 1 < len(lines) else []
        for one, cell in enumerate(after):
            units = unit_of(cell.strip(" []()")), unit_of(layout.below[one].strip(" []()"))
            if one in places and None not in units and units[0] != units[1]:
                found.setdefault(row + 1, (cell.strip(), layout.below[one].strip()))
    return found


def _mask(answer: pa.BooleanArray) -> Mask:
    return np.asarray(answer.to_numpy(zero_copy_only=False), bool)
