"""What the logs of a visit become: a tidy frame in SI, the state of every cell, and the account of rows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.visit.schema import VisitFile


class Cell(IntEnum):
    """What a cell of a log held."""

    NUMBER = 0
    EMPTY = 1
    OVER_RANGE = 2
    UNDER_RANGE = 3
    NO_NUMBER = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAsideRows:
    """Rows of a log that were read and not used, and why."""

    reason: str
    rows: int
    first_row: int
    example: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockOffset:
    """What was added to the times of a log [s], as entered or as estimated from events shared with another log.

    `words` say so. `low` and `high` are the ends of the 95 % interval, NaN where it was entered. `events` is how many
    were shared, `channels` and `reference_channels` are the quantities of this and of the other log that showed them
    first.
    """

    seconds: float
    words: str
    low: float = math.nan
    high: float = math.nan
    events: int = 0
    channels: tuple[str, ...] = ()
    reference: str = ""
    reference_channels: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RowAccount:
    """What became of every row of one log: read = used + set aside.

    Rows are the lines of the file below the column names. `notes` says what was done to the log as a whole, and
    what was not used of it; `clock` how its clock was put right, None where it was not. `misfits` holds for each
    quantity of carbon monoxide the greatest number [SI] that a row with too few or too many cells may hold of it,
    and that row.
    """

    file: str
    sha256: str
    size: int
    read: int
    used: int
    set_aside: tuple[SetAsideRows, ...] = ()
    notes: tuple[str, ...] = ()
    clock: ClockOffset | None = None
    misfits: Mapping[str, tuple[float, int]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.read != self.used + sum(part.rows for part in self.set_aside):
            raise AssertionError(f"the account of rows of {self.file} does not add up")


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """Where one quantity of the readings came from; `file` and `column` hold several where logs follow each other.

    `interpolated` where visit.toml asked for values between the readings of its log, at the times of the first.
    """

    quantity: str
    file: str
    column: str
    unit: str
    instrument: str
    origin: str
    interpolated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """The logs of a visit on one time axis.

    `frame` has a time-zone-aware index named "time", strictly ascending, and one float column [SI] per
    quantity, NaN where the log held no number. `states` has the same index and an int8 column (values of
    `Cell`) for each quantity that has any cell that is not a number. `lower_bounds` has a float column [SI]
    for each quantity with over-range cells: the least the reading can be, NaN elsewhere.

    `aside` holds the readings [SI] of rows that have a time and were set aside (by a person, as duplicates, or
    between the times of the axis, also where others were interpolated from them), over-range cells as their lower
    bounds: what was dangerous there stays dangerous. It is used for nothing else. A row that only says again what
    its log said at that time is not in it.
    """

    frame: pd.DataFrame
    states: pd.DataFrame
    lower_bounds: pd.DataFrame
    channels: Mapping[str, Channel]
    accounts: tuple[RowAccount, ...]
    aside: pd.DataFrame

    def cells(self, quantity: str) -> Mapping[Cell, int]:
        """Return on how many rows a quantity held what; empty as well where its log has no row near enough."""
        if quantity not in self.states:
            return {cell: 0 if cell else len(self.frame) for cell in Cell}
        states = self.states[quantity].to_numpy()
        others = states[np.flatnonzero(states.view(np.bool_))]  # several times faster than by comparing all
        counts = np.bincount(others, minlength=len(Cell))
        counts[Cell.NUMBER] = len(states) - counts.sum()
        return {cell: int(counts[cell]) for cell in Cell}


def tell_more(aside: pd.DataFrame, frame: pd.DataFrame, lower_bounds: pd.DataFrame) -> NDArray[np.bool_]:
    """Tell which rows set aside hold a reading that no row of the same time held before: one reading counts once.

    Parameters
    ----------
    aside : DataFrame
        Rows set aside [SI], over-range cells as their lower bounds.
    frame, lower_bounds : DataFrame
        The rows used and the least values of their over-range cells; one row a time.
    """
    known = frame.reindex(index=aside.index, columns=aside.columns).to_numpy()
    least = lower_bounds.reindex(index=aside.index, columns=aside.columns).to_numpy()
    read = aside.to_numpy()
    more = (np.isfinite(read) & (read != np.fmax(known, least))).any(axis=1)
    return np.asarray(more & ~aside.reset_index().duplicated().to_numpy())


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedAccuracy:
    """What a maker states for one quantity of an instrument, in SI: the greatest of the parts holds, 0 where none.

    `of_span` is already multiplied by the span. `span` is the lowest and highest reading, None where not given.
    `wandered` is what of an error went on to change during the visit, as its checks show: half of that change.
    """

    instrument: str
    absolute: float = 0.0
    of_reading: float = 0.0
    of_span: float = 0.0
    resolution: float = 0.0
    response_time: float = 0.0
    stated: bool = True
    span: tuple[float, float] | None = None
    wandered: float = 0.0

    def half_width(self, reading: float) -> float:
        """Return how wrong a reading may be, its last digit included; of a temperature it is that on the display."""
        return max(self.absolute, self.of_reading * abs(reading), self.of_span) + self.resolution / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """What zero and span checks before and after a visit found of one quantity of an instrument [SI].

    `before` and `after` hold (shown, error) of each check, zero first; an error is what was shown less what was
    applied. `correct` is whether visit.toml asks for the mean of both to be taken off settled readings.
    """

    before: tuple[tuple[float, float], ...] = ()
    after: tuple[tuple[float, float], ...] = ()
    correct: bool = False

    def half_width(self, reading: float, *, corrected: bool = False) -> float:
        """Return how wrong a reading may be by what the checks found: half of the drift where it was corrected.

        One check alone does not tell an error of the zero from one of the slope: both may be, where it was corrected.
        """
        errors = [_error_at(checks, reading) for checks in (self.before, self.after) if checks]
        if corrected and self.correct:
            others = [_of_slope(checks, reading) for checks in (self.before, self.after) if len(checks) == 1]
            taken_off = sum(errors) / len(errors)
            return max(abs(one - taken_off) for one in (*errors, *others))
        return max(map(abs, errors), default=0.0)

    def wandered(self, reading: float) -> float:
        """Return half of how much the error at a reading changed from the checks before to those after."""
        if not (self.before and self.after):
            return 0.0
        change = abs(_error_at(self.after, reading) - _error_at(self.before, reading))
        return change / 2 if change > 1e-12 * abs(reading) else 0.0

    def correction(self, reading: float) -> float:
        """Return what is to be added to a reading: by the mean of the lines through zero and span, before and after.

        The same as the drift correction of EPA Method 7E (its equation 7E-5B, from memory) but for terms of the
        second order in the errors.
        """
        if not self.correct:
            return 0.0
        return -(_error_at(self.before, reading) + _error_at(self.after, reading)) / 2


def _of_slope(checks: tuple[tuple[float, float], ...], reading: float) -> float:
    """Return the error at a reading if what one check found is an error of the slope, not of the zero."""
    ((shown, error),) = checks
    return error * reading / shown if abs(shown) > abs(reading) else error


def _error_at(checks: tuple[tuple[float, float], ...], reading: float) -> float:
    """Return the error at a reading, on the line through zero and span; that of a single check, as it is."""
    (low, error), (high, other) = checks[0], checks[-1]
    return error if high == low else error + (other - error) * (reading - low) / (high - low)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpotReading:
    """One reading taken by hand [SI]; `bound` is "" for a plain value, ">" or "<" for a bound."""

    quantity: str
    value: float
    bound: str = ""
    instrument: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPointRows:
    """The stretch of time of one test point, its manual window if any, and its spot readings."""

    __test__ = False

    name: str
    start: pd.Timestamp
    end: pd.Timestamp
    manual_window: tuple[pd.Timestamp, pd.Timestamp, str] | None
    spots: Mapping[str, tuple[SpotReading, ...]]


@dataclass(frozen=True, slots=True, weakref_slot=True, kw_only=True, eq=False)
class Visit:
    """A visit folder, read and checked."""

    folder: Path
    plan: VisitFile
    readings: Readings
    test_points: tuple[TestPointRows, ...]
    spots: Mapping[str, tuple[SpotReading, ...]]
    plan_sha256: str

    def by_hand(self, quantity: str) -> tuple[SpotReading, ...]:
        """Return every reading of a quantity taken by hand: for the whole visit, then at each test point."""
        groups = (self.spots, *(point.spots for point in self.test_points))
        return tuple(one for spots in groups for one in spots.get(quantity, ()))
