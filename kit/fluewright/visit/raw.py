"""A log as it fills up while it is read: columns of the rows that hold readings, and what all other rows are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluewright.visit.cells import Cells
from fluewright.visit.times import Mask, Micros

_PAGE = 1 << 21  # bytes of a large page of memory
TEXTS_KEPT = 1000  # unreadable cells and times kept for messages, per block and column


@dataclass(frozen=True, slots=True, kw_only=True)
class RowsAside:
    """Rows set aside for one reason, the first of them, and how it reads."""

    rows: int
    first_row: int
    example: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedRows:
    """The rows of one block that hold readings: `cells` by quantity, `texts` the unreadable cells by row.

    A row that is not `timed` has no time of its own, and stands at that of the row before it.
    """

    rows: NDArray[np.int64]
    micros: Micros
    zoned: Mask
    timed: Mask
    cells: Mapping[str, Cells]
    texts: Mapping[str, Mapping[int, str]]

    def taken(self, keep: Mask) -> TimedRows:
        """Return the rows where `keep` is true."""
        return replace(
            self,
            rows=self.rows[keep],
            micros=self.micros[keep],
            zoned=self.zoned[keep],
            timed=self.timed[keep],
            cells={quantity: column.taken(keep) for quantity, column in self.cells.items()},
        )


@dataclass(slots=True, kw_only=True)
class BlockRead:
    """What was read of one block of lines, in SI.

    `unreadable` holds the first times that could not be read, by row, and `unreadable_rows` counts them all.
    `worded` names the quantities whose cells are not all numbers; `extremes` holds the least and the greatest number
    of each. `misfits` holds, by quantity of carbon monoxide, the rows with a time and too few or too many cells, and
    the greatest number that each may hold of it, NaN where there is none. `renamed` holds, by row, what a repeated
    heading has where the first had something else, and that.
    """

    lines: int
    timed: TimedRows | None = None
    extremes: dict[str, tuple[float, float]] = field(default_factory=dict)
    aside: dict[str, RowsAside] = field(default_factory=dict)
    unreadable: dict[int, str] = field(default_factory=dict)
    unreadable_rows: int = 0
    renamed: dict[int, tuple[str, str]] = field(default_factory=dict)
    worded: set[str] = field(default_factory=set)
    misfits: dict[str, list[tuple[NDArray[np.int64], NDArray[np.float64]]]] = field(default_factory=dict)

    def set_aside(self, reason: str, rows: Sequence[int] | NDArray[np.int64], example: str = "") -> None:
        """Account for rows that are not used."""
        add_aside(self.aside, reason, rows, example)


def add_aside(
    aside: dict[str, RowsAside], reason: str, rows: Sequence[int] | NDArray[np.int64], example: str = ""
) -> None:
    """Add rows to those set aside for a reason."""
    if len(rows):
        _add(aside, reason, RowsAside(rows=len(rows), first_row=int(rows[0]), example=example))


def _add(aside: dict[str, RowsAside], reason: str, more: RowsAside) -> None:
    known = aside.get(reason)
    if known is not None:
        first = min(known, more, key=lambda part: part.first_row)
        more = replace(first, rows=known.rows + more.rows)
    aside[reason] = more


class Growing:
    """An array that grows block by block; room not yet written to costs no memory."""

    __slots__ = ("_array", "_count")

    def __init__(self, kind: type[np.generic], room: int) -> None:
        self._array = _room(kind, max(room, 1))
        self._count = 0

    def ahead(self, place: int, length: int) -> NDArray[Any]:
        """Return where the values from `place` on will stand if all before them are kept, to be written beforehand.

        `append` takes them from there. Where there is no such room it is room elsewhere.
        """
        ahead = self._array[place : place + length]
        return ahead if len(ahead) == length else np.empty(length, self._array.dtype)

    def append(self, part: NDArray[Any] | None, length: int) -> None:
        """Append `length` values; None is that many zeros."""
        end = self._count + length
        if end > len(self._array):
            grown = _room(self._array.dtype, 2 * end)
            grown[: self._count] = self.whole()
            self._array = grown
        room = self._array[self._count : end]
        if part is None:
            room[:] = 0
        elif part.__array_interface__["data"] != room.__array_interface__["data"]:
            room[:] = part
        self._count = end

    def whole(self) -> NDArray[Any]:
        """Return what was appended, without a copy."""
        return self._array[: self._count]


def _room(kind: type[np.generic] | np.dtype[Any], count: int) -> NDArray[Any]:
    """Return room for so many values, not zeroed, a long one from a multiple of `_PAGE` on: it is had twice as fast."""
    size = count * np.dtype(kind).itemsize
    if size < _PAGE:
        return np.empty(count, kind)
    room = np.empty(size + 2 * _PAGE, np.uint8)
    start = -int(room.__array_interface__["data"][0]) % _PAGE
    return room[start : start + size].view(kind)


class RawLog:
    """A log after reading, in SI.

    Parameters
    ----------
    quantities : sequence of str
        What its columns hold.
    room : int
        How many rows the log is expected to have.

    `headings` holds, for each quantity, the name of its column in the log and the cell below it, `time_headings` those
    of the time, and `below` all cells of the row below the names, but of the time.
    """

    def __init__(self, quantities: Sequence[str], *, room: int) -> None:
        self.sha256 = ""
        self.size = self.read = self.unreadable_rows = 0
        self.notes: list[str] = []
        self.aside: dict[str, RowsAside] = {}
        self.unreadable: dict[int, str] = {}
        self.renamed: dict[int, tuple[str, str]] = {}
        self.worded: set[str] = set()
        self.headings: dict[str, tuple[str, str]] = {}
        self.time_headings: list[tuple[str, str]] = []
        self.below: list[str] = []
        self.misfits: dict[str, list[tuple[NDArray[np.int64], NDArray[np.float64]]]] = {}
        self.extremes = dict.fromkeys(quantities, (np.nan, np.nan))
        self.texts: dict[str, dict[int, str]] = {quantity: {} for quantity in quantities}
        self._rows, self._micros = Growing(np.int64, room), Growing(np.int64, room)
        self._zoned, self._timed = Growing(np.bool_, room), Growing(np.bool_, room)
        self._values = {quantity: Growing(np.float64, room) for quantity in quantities}
        self._states = {quantity: Growing(np.int8, room) for quantity in quantities}
        self._bounds: dict[str, list[tuple[int, NDArray[np.float64]]]] = {
            quantity: [] for quantity in quantities
        }

    def ahead(self, place: int, length: int) -> Mapping[str, NDArray[np.float64]]:
        """Return room for the numbers of a block whose first line is the `place`-th below the headings."""
        return {quantity: values.ahead(place, length) for quantity, values in self._values.items()}

    def follow(self, block: BlockRead) -> None:
        """Add what was read of the block that follows."""
        self.read += block.lines
        self.worded |= block.worded
        for quantity, parts in block.misfits.items():
            self.misfits.setdefault(quantity, []).extend(parts)
        self.unreadable_rows += block.unreadable_rows
        self.renamed |= block.renamed
        for quantity, extremes in block.extremes.items():
            ends = (*self.extremes[quantity], *extremes)
            self.extremes[quantity] = (np.fmin.reduce(ends), np.fmax.reduce(ends))
        for row, text in block.unreadable.items():
            if len(self.unreadable) < TEXTS_KEPT:
                self.unreadable[row] = text
        for reason, part in block.aside.items():
            _add(self.aside, reason, part)
        if block.timed is not None:
            self._append(block.timed)

    def _append(self, timed: TimedRows) -> None:
        start, length = len(self.rows), len(timed.rows)
        self._rows.append(timed.rows, length)
        self._micros.append(timed.micros, length)
        self._zoned.append(timed.zoned, length)
        self._timed.append(timed.timed, length)
        for quantity, cells in timed.cells.items():
            self._values[quantity].append(cells.values, length)
            self._states[quantity].append(cells.states, length)
            if cells.bounds is not None:
                self._bounds[quantity].append((start, cells.bounds))
        for quantity, texts in timed.texts.items():
            self.texts[quantity].update(texts)

    @property
    def rows(self) -> NDArray[np.int64]:
        """The line number of each row that holds readings."""
        return self._rows.whole()

    @property
    def micros(self) -> Micros:
        """The time of each of them [µs], of UTC where `zoned`, else of the local clock."""
        return self._micros.whole()

    @property
    def zoned(self) -> Mask:
        """Whether the time of each of them is of UTC."""
        return self._zoned.whole()

    @property
    def timed(self) -> Mask:
        """Whether each of them has a time of its own; one that has none stands at that of the row before it."""
        return self._timed.whole()

    def take(self, quantity: str) -> Cells:
        """Return the cells of a quantity in SI; the log lets go of them, so that a long one is not held twice."""
        values, states = self._values.pop(quantity).whole(), self._states.pop(quantity).whole()
        pieces = self._bounds.pop(quantity)
        bounds = np.full(len(values), np.nan) if pieces else None
        for start, piece in pieces:
            bounds[start : start + len(piece)] = piece  # type: ignore[index]
        return Cells(values=values, states=states if states.any() else None, bounds=bounds)
