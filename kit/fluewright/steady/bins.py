"""Burns cut into equal bins of time, moving lines through them, and the fit of a first-order settling.

Every sum is local to a bin or to a moving window: sums that run through a long log would lose the signal.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fluewright.units import Array

_BINS_PER_WINDOW = 12
_FEWEST_BINS = 6
_BLOCK = 32_768
_LONGEST = 720  # bins: of a longer record the first two hours settle what settles
_FEWEST_TO_FIT = 10
_TIME_CONSTANTS = 40  # of the grid
_CANCELS = 5.0  # times all that the readings span: two approaches of more than that all but cancel each other
_APART = 5  # steps of the grid below which two time constants cannot be told apart


@dataclass(frozen=True, slots=True)
class Binned:
    """One channel by bins: mean and variance within each, and the share of rows that held a number."""

    mean: Array
    within: Array
    share: float


@dataclass(frozen=True, slots=True)
class Lines:
    """Least-squares line of each moving window: slope [unit/s], its standard error, spread about it, mean.

    `binned` holds the means of the bins themselves.
    """

    slope: Array
    slope_error: Array
    spread: Array
    mean: Array
    binned: Array


@dataclass(frozen=True, slots=True)
class _Block:
    """Bins that hold rows, so few that what is formed of them stays in the cache.

    `rows` are theirs, of the rows selected, `cuts` where in these each bin begins and where the last ends, and `size`
    is how many rows each holds, 0 where they hold unlike numbers.
    """

    rows: slice
    cuts: NDArray[np.intp]
    size: int

    @property
    def bins(self) -> int:
        """How many bins these are."""
        return len(self.cuts) - 1

    @classmethod
    def of(cls, edges: NDArray[np.intp]) -> _Block:
        """Return the bins between edges."""
        steps = np.diff(edges)
        even = int(steps[0]) if (steps == steps[0]).all() else 0
        return cls(slice(int(edges[0]), int(edges[-1])), edges - edges[0], even)


@dataclass(frozen=True, slots=True)
class Bins:
    """Bins of all burns one after the other, with a moving window's length of empty bins after each burn.

    `first` and `count` locate each burn's bins; for each bin, `inside` says whether it belongs to a burn,
    `burn_of` and `first_of` which burn and where that begins, and `window_of` which moving window speaks
    for it: the one centred on it, or the nearest that lies within the burn.
    """

    width: float
    moving: int
    first: NDArray[np.intp]
    count: NDArray[np.intp]
    inside: NDArray[np.bool_]
    burn_of: NDArray[np.intp]
    first_of: NDArray[np.intp]
    window_of: NDArray[np.intp]
    row_start: NDArray[np.intp]
    row_stop: NDArray[np.intp]
    selected: NDArray[np.intp] | slice
    filled: NDArray[np.intp] | slice
    blocks: tuple[_Block, ...]

    def average(self, value: Array) -> Binned:
        """Return one channel, given by rows, as means over bins; NaN where a bin holds no number."""
        value = value[self.selected]
        averages = np.empty((2, sum(block.bins for block in self.blocks)))
        read = first = 0
        for block in self.blocks:
            here = averages[:, first : first + block.bins]
            read += _average(value[block.rows], block, out=here)
            first += block.bins
        dense = np.full((2, len(self.inside)), np.nan)
        dense[:, self.filled] = averages
        return Binned(dense[0], dense[1], read / len(value) if len(value) else 0.0)

    def rows(self, first: int, last: int) -> tuple[int, int]:
        """Return the rows (last exclusive) of bins `first` to `last` (exclusive)."""
        return int(self.row_start[first]), int(self.row_stop[last - 1])

    def bins_of(self, rows: tuple[int, int]) -> tuple[int, int]:
        """Return the bins (last exclusive) that hold rows (last exclusive), or the nearest ones."""
        place = np.flatnonzero(self.inside)
        first = int(np.searchsorted(self.row_stop[place], rows[0], "right"))
        first = min(first, len(place) - 1)
        last = int(np.searchsorted(self.row_start[place], rows[1], "left"))
        return int(place[first]), int(place[max(last - 1, first)]) + 1

    def age(self, first: int, last: int) -> Array:
        """Return the time [s] of bins since the first of them."""
        return np.asarray(np.arange(last - first) * self.width, dtype=np.float64)

    def within_long(self, size: int) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
        """Return, for each bin, the window of `size` bins nearest to centred on it, and whether its burn has one."""
        count = self.count[self.burn_of]
        top = self.first_of + np.maximum(count - size, 0)
        place = np.clip(np.arange(len(self.inside)) - size // 2, self.first_of, top)
        return place, self.inside & (count >= size)

    def covered(self, holds: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return which bins lie in any holding moving window, given which bins' own window holds."""
        if not len(self.inside):
            return holds
        starts = np.zeros(len(self.inside), dtype=np.float64)
        starts[self.window_of[holds]] = 1.0
        reach = np.convolve(starts, np.ones(self.moving), "full")[: len(self.inside)]
        return np.asarray((reach > 0.5) & self.inside, dtype=np.bool_)


def _average(value: Array, block: _Block, *, out: Array) -> int:
    """Put mean and variance of the rows of each bin into `out`, NaN where none holds a number; return how many do."""
    read = np.isfinite(value)
    numbers = int(np.count_nonzero(read))
    size, cuts = block.size, block.cuts
    count: Any = float(size) if size else np.diff(cuts).astype(np.float64)
    reference = value[int(np.argmax(read))] if numbers else 0.0
    value = value - reference
    if numbers < len(value):
        without = np.flatnonzero(~read)
        count = count - np.bincount(np.searchsorted(cuts, without, "right") - 1, minlength=block.bins)
        value[without] = 0.0

    def sums() -> Array:
        if size:  # several times faster
            return np.asarray(value.reshape(-1, size) @ np.ones(size), dtype=np.float64)
        return np.asarray(np.add.reduceat(value, cuts[:-1]), dtype=np.float64)

    mean, within = out
    with np.errstate(invalid="ignore", divide="ignore"):
        np.divide(sums(), count, out=mean)
        np.square(value, out=value)
        np.divide(sums(), count, out=within)
    within -= mean**2
    np.maximum(within, 0.0, out=within)
    mean += reference
    return numbers


def bin_burns(
    seconds: Array, *, start: NDArray[np.intp], stop: NDArray[np.intp], interval: float, length: float
) -> Bins:
    """Cut burns (rows `start` to `stop`, exclusive) into bins, a dozen to a moving window of `length` [s].

    Where readings are too far apart for that, a bin holds one reading, and the window is longer.
    """
    width = max(length / _BINS_PER_WINDOW, interval, 1e-9)
    moving = max(round(length / width), _FEWEST_BINS)
    rows = stop - start
    count = np.floor((seconds[stop - 1] - seconds[start]) / width).astype(np.intp) + 1
    first = np.concatenate(([0], np.cumsum(count + moving)[:-1])).astype(np.intp)[: len(count)]
    total = int(np.sum(count + moving))
    burn_of = np.repeat(np.arange(len(count)), count + moving)
    first_of = first[burn_of]
    inside = np.arange(total) - first_of < count[burn_of]
    top = first_of + np.maximum(count[burn_of] - moving, 0)
    window_of = np.clip(np.arange(total) - moving // 2, first_of, top)
    whole = len(start) == 1
    selected = slice(int(start[0]), int(stop[0])) if whole else _ranges(start, stop)
    age = seconds[selected] - (seconds[start[0]] if whole else np.repeat(seconds[start], rows))
    age /= width
    place = age.astype(np.intp)  # towards zero: no age is below it
    place += first[0] if whole else np.repeat(first, rows)
    begins = np.append(True, place[1:] != place[:-1])[: len(place)]  # empty where there is no burn
    edges = np.flatnonzero(begins)
    filled = place[edges]
    row_start, row_stop = _bin_rows(total, filled, edges, selected, len(place))
    whole = bool(len(filled)) and int(filled[-1] - filled[0]) == len(filled) - 1
    return Bins(
        width,
        moving,
        first,
        count,
        inside,
        burn_of,
        first_of,
        window_of,
        row_start,
        row_stop,
        selected,
        slice(int(filled[0]), int(filled[-1]) + 1) if whole else filled,
        tuple(map(_Block.of, _parted(np.append(edges, len(place))))),
    )


def _parted(edges: NDArray[np.intp]) -> Iterator[NDArray[np.intp]]:
    """Yield the edges of so many bins at a time; each part begins with the last edge of the one before."""
    for first in range(0, len(edges) - 1, _BLOCK // 8):
        yield edges[first : first + _BLOCK // 8 + 1]


def _ranges(start: NDArray[np.intp], stop: NDArray[np.intp]) -> NDArray[np.intp]:
    rows = stop - start
    if not len(rows):
        return np.zeros(0, dtype=np.intp)
    return np.arange(int(rows.sum())) + np.repeat(start - np.concatenate(([0], np.cumsum(rows)[:-1])), rows)


def _bin_rows(
    total: int,
    filled: NDArray[np.intp],
    edges: NDArray[np.intp],
    selected: NDArray[np.intp] | slice,
    rows: int,
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return each bin's first row and the row after its last; an empty bin stands after the one before it."""
    ends = np.append(edges, rows)[1:] - 1
    start, stop = np.zeros(total, dtype=np.intp), np.zeros(total, dtype=np.intp)
    start[filled] = edges + selected.start if isinstance(selected, slice) else selected[edges]
    stop[filled] = 1 + (ends + selected.start if isinstance(selected, slice) else selected[ends])
    last = np.zeros(total, dtype=np.intp)
    last[filled] = filled
    last = np.maximum.accumulate(last)
    empty = np.ones(total, dtype=bool)
    empty[filled] = False
    start[empty] = stop[last[empty]]
    stop[empty] = stop[last[empty]]
    return start, stop


def fit_lines(bins: Bins, binned: Binned, *, size: int) -> Lines:
    """Fit the least-squares line of every moving window of so many bins to the means of its bins.

    A window of which less than half the bins hold a number has no line (NaN).
    """
    total, extra = len(binned.mean), size - 1
    mean = np.concatenate((binned.mean, np.full(extra, np.nan)))
    within = np.concatenate((binned.within, np.full(extra, np.nan)))
    lines = np.empty((4, total))
    for start in range(0, total, _BLOCK):  # in blocks, so that the temporaries stay in the cache
        stop = min(start + _BLOCK, total)
        _lines(mean[start : stop + extra], within[start : stop + extra], size, out=lines[:, start:stop])
    lines[:2] /= bins.width
    return Lines(lines[0], lines[1], lines[2], lines[3], binned.mean)


def _lines(mean: Array, within: Array, size: int, *, out: Array) -> None:
    """Put slope and its error [unit/bin], spread and mean [unit] of each window of `size` bins into `out`, by rows."""
    read = np.isfinite(mean)
    whole = bool(read.all())
    reference = float(mean[int(np.argmax(read))]) if read.any() else 0.0
    y = mean - reference if whole else np.where(read, mean - reference, 0.0)
    (sy, yy, inner), tilted = _moving(
        np.stack((y, y * y, within if whole else np.where(read, within, 0.0))), size
    )
    n: Any = float(size)
    across: Any = size * (size**2 - 1) / 12  # of places about the middle of a whole window
    with np.errstate(invalid="ignore", divide="ignore"):
        if not whole:
            weights, place = read.astype(np.float64), np.arange(size) - (size - 1) / 2
            n, t, tt = (np.correlate(weights, place**power, "valid") for power in range(3))
            across = tt - t * t / n
            tilted = tilted - t * sy / n
        slope, error, spread, level = out
        np.multiply(sy, 1 / n, out=level)
        np.multiply(tilted, 1 / across, out=slope)
        rest = yy - sy * level - tilted * slope
        rest = np.maximum(rest, 0.0, out=rest) * (1 / (n - 2))
        np.sqrt(rest * (1 / across), out=error)
        np.sqrt(rest + inner * (1 / n), out=spread)
    level += reference
    out[:, n < max(3, size / 2)] = np.nan


def _moving(values: Array, size: int) -> tuple[Array, Array]:
    """Return the sum of each row of `values` over each window of `size`, and the first row's moment about its middle.

    A window of twice the length is the sum of two: `size` is put together from such powers of two.
    """
    count = values.shape[1] - size + 1
    power, moment, length = values, np.zeros(values.shape[1]), 1
    total, first, done = np.zeros((len(values), count)), np.zeros(count), 0
    while True:
        if size & length:
            total += power[:, done : done + count]
            first += moment[done : done + count] + done * power[0, done : done + count]
            done += length
        if 2 * length > size:
            return total, first - (size - 1) / 2 * total[0]
        moment = moment[:-length] + moment[length:] + length * power[0, length:]
        power = power[:, :-length] + power[:, length:]
        length *= 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """A sum of first-order approaches: amplitudes [unit] and time constants [s] from the first of the fitted times.

    There are none where no approach stands out of the noise. `fitted` is False where there was too little to fit.
    """

    amplitudes: tuple[float, ...]
    time_constants: tuple[float, ...]
    fitted: bool = True

    def at(self, time: Array | float) -> Array:
        """Return the distance [unit] from the settled path at times [s]: negative while still rising."""
        away = np.zeros(np.shape(time)) if self.fitted else np.full(np.shape(time), np.nan)
        for amplitude, constant in zip(self.amplitudes, self.time_constants, strict=True):
            away = away + amplitude * np.exp(-np.asarray(time) / constant)
        return away

    def lacks_until(self, limit: float) -> float:
        """Return a time [s] after which the distance is no more than `limit`: infinite where it may always be more."""
        size = sum(map(abs, self.amplitudes))
        if not self.fitted or limit <= 0:
            return np.inf
        return max(self.time_constants) * max(float(np.log(size / limit)), 0.0) if size > 0 else 0.0


def fit_settling(
    time: Array,
    value: Array,
    *,
    drifts: bool,
    slowest: float,
    believed_from: tuple[float, float],
    drifts_back: float,
) -> Settling:
    """Fit a straight path and up to two first-order approaches to it, least squares: a + b t + Σ c exp(-t/τ).

    For each τ of a geometric grid, and for each pair, the amplitudes are closed: the readings, freed of their
    straight part, are projected on exponentials freed of theirs. The first approach and the second are believed
    where the F ratio of amplitude and time constant reaches the first and the second of `believed_from`. τ is at
    most `slowest` [s] and half the record: a slower approach cannot be told from a drift, and counts as one.
    Where the path cannot drift (`drifts` False) b is zero. Where it would have to drift back by more than the share
    `drifts_back` of the approach, the readings wander, and approach nothing.

    Parameters
    ----------
    time, value : array
        Equal lengths [s], [unit]; NaN values are left out.
    """
    read = np.isfinite(value)
    time, value = time[read][:_LONGEST], value[read][:_LONGEST]
    if len(value) < _FEWEST_TO_FIT:
        return Settling(amplitudes=(), time_constants=(), fitted=False)
    centred = time - time.mean()
    line = centred / np.sqrt(np.sum(centred**2)) * drifts

    def straightened(data: Array) -> Array:
        data = data - data.mean(axis=-1, keepdims=True)
        return np.asarray(data - (data @ line)[..., None] * line, dtype=np.float64)

    span = float(time[-1] - time[0])
    constants = np.geomspace(span / (len(time) - 1), min(span / 2, slowest), _TIME_CONSTANTS)
    bent = straightened(np.exp(-(time - time[0]) / constants[:, None]))
    rest = straightened(value)
    left = float(rest @ rest)
    floor = 1e-20 * float(value @ value)  # rounding is no evidence
    size, along = bent @ bent.T, bent @ rest
    own = np.diag(size)
    gain = along**2 / own
    best = int(np.argmax(gain))
    noise = max(left - float(gain[best]), 0.0) / (len(value) - 4) + floor
    if gain[best] / 2 < believed_from[0] * noise:
        return Settling(amplitudes=(), time_constants=())

    def believed(found: Settling) -> Settling:
        away = found.at(time - time[0])
        moved = float(away[-1] - away[0])
        drift = float(line @ (value - away)) * float(line[-1] - line[0])
        wanders = drift * moved < 0 and abs(drift) > drifts_back * abs(moved)
        return Settling(amplitudes=(), time_constants=()) if wanders else found

    one = Settling(amplitudes=(float(along[best] / own[best]),), time_constants=(float(constants[best]),))
    first, second = np.triu_indices(len(constants), _APART)
    cross = size[first, second]
    across = own[first] * own[second] - cross**2
    fast = (along[first] * own[second] - along[second] * cross) / across
    slow = (along[second] * own[first] - along[first] * cross) / across
    both = fast * along[first] + slow * along[second]
    pair = int(np.argmax(both))
    noise = max(left - float(both[pair]), 0.0) / (len(value) - 6) + floor
    cancels = abs(fast[pair]) + abs(slow[pair]) > _CANCELS * np.ptp(value)
    if cancels or (both[pair] - gain[best]) / 2 < believed_from[1] * noise:
        return believed(one)
    return believed(
        Settling(
            amplitudes=(float(fast[pair]), float(slow[pair])),
            time_constants=(float(constants[first[pair]]), float(constants[second[pair]])),
        )
    )
