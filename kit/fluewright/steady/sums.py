"""The sums of one channel over a window in one pass, block by block: what is formed of a block stays in the cache."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fluewright import sources
from fluewright.units import Array

_BLOCK = 32_768  # rows; chosen by measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """The times [s] of a window's rows about their middle, their sum and the sum of their squares."""

    centred: Array
    total: float
    square: float

    @classmethod
    def of(cls, seconds: Array) -> Times:
        """Return times [s] about their middle."""
        centred = seconds - seconds.mean()
        return cls(centred=centred, total=float(centred.sum()), square=float(centred @ centred))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """What the rows of a channel that hold a number come to.

    `count` of them with their `mean`, `least` and `greatest` [unit], their `variance` [unit²], and the `slope` [unit/s]
    of the line through them, zero without times. `batches` are the means of equally many of them in order, the rows
    themselves where they are few; what is left at the end is in no batch.
    """

    count: int
    mean: float
    variance: float
    slope: float
    least: float
    greatest: float
    batches: Array


def sums_of(value: Array, times: Times | None = None) -> Sums | None:
    """Return the sums of a channel, NaN where a row holds no number; None where none does.

    Parameters
    ----------
    value : array (rows,)
        Readings [unit], in order of time.
    times : Times, optional
        Of the rows.
    """
    missing = np.flatnonzero(~np.isfinite(value))
    count = len(value) - len(missing)
    if not count:
        return None
    if count < len(missing):  # the sums over all times would swamp those over the few
        kept = np.isfinite(value)
        return sums_of(value[kept], None if times is None else Times.of(times.centred[kept]))
    batch = -(-count // int(sources.table("steady")["averages"]["settled_batches"]))
    starts = _starts(count, batch, missing)
    reference = float(value[starts[0]])
    sums = np.empty(len(starts))
    moment, square, least, greatest = 0.0, 0.0, np.inf, -np.inf
    edges, many = np.append(starts, len(value)), max(_BLOCK // batch, 1)
    gone = np.searchsorted(missing, edges)
    for first in range(0, len(starts), many):
        last = min(first + many, len(starts))
        cuts = edges[first : last + 1]
        rows = slice(int(cuts[0]), int(cuts[-1]))
        part = value[rows]
        least = min(least, float(np.fmin.reduce(part)))
        greatest = max(greatest, float(np.fmax.reduce(part)))
        part = part - reference
        part[missing[gone[first] : gone[last]] - rows.start] = 0.0
        sums[first:last] = np.add.reduceat(part, cuts[:-1] - rows.start)
        square += float(part @ part)
        if times is not None:
            moment += float(part @ times.centred[rows])
    total = float(sums.sum())
    return Sums(
        count=count,
        mean=reference + total / count,
        variance=max(square / count - (total / count) ** 2, 0.0),
        slope=0.0 if times is None else _slope(times, missing, moment=moment, total=total, count=count),
        least=least,
        greatest=greatest,
        batches=reference + sums[: count // batch] / batch,
    )


def _starts(count: int, batch: int, missing: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the first row of each batch of rows that hold a number."""
    place = np.arange(0, count, batch)
    return place + np.searchsorted(missing - np.arange(len(missing)), place, "right")


def _slope(times: Times, missing: NDArray[np.intp], *, moment: float, total: float, count: int) -> float:
    """Return the slope of the least-squares line through the rows that are not missing."""
    without = times.centred[missing]
    middle = (times.total - float(without.sum())) / count
    across = times.square - float(without @ without) - count * middle**2
    return (moment - total * middle) / across if across > 0 else 0.0
