"""The mean of each channel over a window: noise that remembers, and a sensor error that averaging keeps."""

from __future__ import annotations

import math
import zlib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import Protocol

import numpy as np
import pandas as pd

from fluewright import sources, units
from fluewright.errors import InputError
from fluewright.steady.noise import half_width, noise_of
from fluewright.steady.sums import Sums, Times, sums_of
from fluewright.steady.window import Window
from fluewright.units import Array
from fluewright.visit import StatedAccuracy, on_display

_FEWEST_TO_SCATTER = 8  # readings, chosen here
_AS_NORMAL = 1_000  # degrees of freedom, chosen here: beyond, Student's interval is normal to 0.13 %


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelMean:
    """The mean of one channel over a window [SI], and what it is uncertain by.

    `noise` is the standard error of the mean, with autocorrelation, and `degrees_of_freedom` how well it
    is known; `bias` the half-width of the rectangular distribution of the sensor error shared by all
    samples of the instrument (with resolution and lag), `own` what of it is of this mean alone: the display's
    rounding, and what an error changed by during the visit; `low` and `high` the 95 % coverage interval of
    both together. A share of a gas may be read as less than zero and is none: there the interval is that of a reading
    of zero, as `shown` is. `samples` of the window's rows held a number and `missing` held none: an over-range
    cell is among the missing, so a mean with missing rows may be a lower bound.
    """

    quantity: str
    mean: float
    noise: float
    bias: float
    low: float
    high: float
    samples: int
    effective_samples: float
    slope: float
    least: float
    greatest: float
    instrument: str
    accuracy_stated: bool
    degrees_of_freedom: float = math.inf
    missing: int = 0
    own: float = 0.0

    @property
    def shown(self) -> float:
        """The mean as it can be true [SI]: zero for a share of a gas that was read as less."""
        return max(self.mean, sources.quantity(self.quantity).floor)


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledPoint:
    """A test point reduced to one mean per channel."""

    name: str
    window: Window
    means: Mapping[str, ChannelMean]


class HasMeans(Protocol):
    """A test point with one mean per channel."""

    @property
    def name(self) -> str:
        """Its name."""

    @property
    def means(self) -> Mapping[str, ChannelMean]:
        """By quantity."""


def settled_point(
    frame: pd.DataFrame, *, name: str, window: Window, accuracies: Mapping[str, StatedAccuracy]
) -> SettledPoint:
    """Reduce the window of a test point to one mean per channel, each with its 95 % interval.

    Parameters
    ----------
    frame : DataFrame
        Readings of the test point [SI], by the nomenclature's names, time as index.
    name : str
        The test point's name.
    window : Window
        The rows to average, both ends included. Switches and counters have no mean and are left out.
    accuracies : mapping of str to StatedAccuracy
        What the maker states, by quantity; for a channel not in it an accuracy is assumed, and said to be.

    Raises
    ------
    InputError
        No row of the frame lies in the window.
    """
    rows = window.of(frame)
    if not len(rows):
        raise InputError(f"the window of test point '{name}', {window.start} to {window.end}, holds no row")
    left_out = sources.table("steady")["averages"]["left_out"]
    times = Times.of(_seconds(pd.DatetimeIndex(rows.index)))
    means = {}
    for column in (str(name) for name in rows.columns if name not in left_out):
        accuracy = accuracies.get(column) or assumed_accuracy(column)
        mean = _channel_mean(column, rows[column].to_numpy(dtype=np.float64), times, accuracy)
        if mean is not None:
            means[column] = mean
    return SettledPoint(name=name, window=window, means=MappingProxyType(means))


def _seconds(index: pd.DatetimeIndex) -> Array:
    """Return the times [s] of rows since the first of them."""
    count = index.asi8
    return np.asarray((count - count[0]) * (pd.Timedelta(1, index.unit) / pd.Timedelta(seconds=1)))


def spot_mean(
    quantity: str, values: Sequence[float], *, accuracy: StatedAccuracy | None = None
) -> ChannelMean:
    """Return the mean of readings taken by hand [SI], with the same interval as a logged channel.

    Of a single reading the scatter is unknown: its interval holds the instrument's accuracy and
    resolution only.
    """
    value = np.asarray(values, dtype=np.float64)
    if not np.isfinite(value).any():
        raise InputError(f"{quantity}: no number among the spot readings {list(values)!r}; give at least one")
    found = _channel_mean(quantity, value, None, accuracy or assumed_accuracy(quantity))
    assert found is not None
    return found


def assumed_accuracy(quantity: str) -> StatedAccuracy:
    """Return the accuracy taken where none was stated: cautious, chosen here, to be told as an assumption."""
    assumed = sources.table("steady")["assumed_accuracy"]
    unit = sources.quantity(quantity).unit
    entry = assumed["by_quantity"].get(quantity) or assumed["by_unit"][unit]
    return StatedAccuracy(
        instrument="",
        absolute=units.parse(entry["absolute"], unit, quantity),
        of_reading=float(entry["of_reading"]),
        stated=False,
    )


def stated_or_assumed(stated: StatedAccuracy, quantity: str) -> StatedAccuracy:
    """Return an accuracy as stated, or where none was the one assumed, with the resolution, lag and span stated."""
    if stated.stated:
        return stated
    assumed = assumed_accuracy(quantity)
    return replace(stated, absolute=assumed.absolute, of_reading=assumed.of_reading)


def _channel_mean(
    quantity: str, value: Array, times: Times | None, accuracy: StatedAccuracy
) -> ChannelMean | None:
    """Return the mean of a channel, or None where no row holds a number."""
    sums = sums_of(value, times)
    if sums is None:
        return None
    noise, mean = noise_of(sums), sums.mean
    rounding = _rounding(sums, accuracy.resolution)
    bias = _bias(quantity, mean, sums.slope, accuracy, rounding=rounding)
    width = half_width(bias=bias, noise=noise.standard_error, degrees_of_freedom=noise.degrees_of_freedom)
    shown = max(mean, sources.quantity(quantity).floor)
    return ChannelMean(
        quantity=quantity,
        mean=mean,
        noise=noise.standard_error,
        bias=bias,
        low=max(shown - width, sources.quantity(quantity).floor),
        high=shown + width,
        samples=sums.count,
        effective_samples=noise.effective_samples,
        slope=sums.slope,
        least=sums.least,
        greatest=sums.greatest,
        instrument=accuracy.instrument,
        accuracy_stated=accuracy.stated,
        degrees_of_freedom=noise.degrees_of_freedom,
        missing=len(value) - sums.count,
        own=math.hypot(rounding, accuracy.wandered),
    )


def _rounding(sums: Sums, resolution: float) -> float:
    """Return the half-width of what the rounding of the display leaves in a mean, in the unit of the readings.

    That of readings that stand still is half of the last digit; where they scatter over several digits it averages
    out. In between it is taken to fall with the first harmonic of the rounding of a normal variable,
    exp(−2 π² σ²/q²), as in Widrow and Kollár, Quantization Noise (2008) (value from memory); what rounding itself adds
    to the scatter, q²/12, is taken off it. Of fewer than eight readings the scatter tells nothing.
    """
    if sums.count < _FEWEST_TO_SCATTER or resolution <= 0:
        return resolution / 2
    scatter = max(sums.variance / resolution**2 - 1 / 12, 0.0)
    return resolution / 2 * math.exp(-2 * math.pi**2 * scatter)


def _bias(quantity: str, mean: float, slope: float, accuracy: StatedAccuracy, *, rounding: float) -> float:
    """Return the half-width [SI] of the error that all samples share.

    The greatest part of the stated accuracy holds. "Of reading" means the number on the display: for a
    temperature the degrees Celsius, not the kelvins. What rounding leaves and the lag behind a drift (slope
    times time constant, the response time being to 90 %) are further rectangular errors. Their sum is
    replaced by one rectangle of the same variance. A reading of a gas below zero shows an error of at least its size.
    """
    shown = abs(on_display(quantity, mean))
    stated = max(accuracy.absolute, accuracy.of_reading * shown, accuracy.of_span)
    stated = max(stated, sources.quantity(quantity).floor - mean)
    lag = slope * accuracy.response_time / math.log(10)
    return math.hypot(stated, rounding, lag)


def draw_means(points: Iterable[HasMeans], *, draws: int, seed: int) -> Iterator[Mapping[str, Array]]:
    """Draw the channel means of the test points of one visit, for propagation after JCGM 101.

    One bias is drawn per instrument and quantity, as a share of its half-width, and holds for every point
    of the visit; so a difference between points, formed within each draw, loses it. What is a mean's own
    is no part of that, and noise is independent, by Student's distribution; but a mean that several points hold,
    the same object, is one reading of the whole visit, and both are drawn once as well. Shares of a gas are not
    drawn below zero. Each channel has a random stream of its own: leaving out a channel or a point changes no
    other draw, and fewer draws of a bias are the first of more.

    Parameters
    ----------
    points : iterable
        All test points that share the instruments, each with its name and means, such as a `SettledPoint`.
    draws : int
        Number of draws.
    seed : int
        The same seed gives the same draws.

    Returns
    -------
    iterator of mapping
        One per point, drawn when its turn comes: quantity to array (draws,) [SI].
    """
    if draws < 1:
        raise InputError(f"draws is {draws}; at least one draw is needed")
    points = tuple(points)
    holders = Counter(id(part) for point in points for part in point.means.values())

    @cache
    def share(instrument: str, quantity: str) -> Array:
        return _stream(seed, "bias", instrument, quantity).uniform(-1.0, 1.0, draws)

    def drawn(part: ChannelMean, point: str) -> Array:
        shared = math.sqrt(max(part.bias**2 - part.own**2, 0.0))
        value = part.shown + shared * share(part.instrument, part.quantity)
        whose = "" if holders[id(part)] > 1 else point
        if part.own > 0:
            value += _stream(seed, "own", whose, part.quantity).uniform(-part.own, part.own, draws)
        if part.noise > 0:
            stream = _stream(seed, "noise", whose, part.quantity)
            many = part.degrees_of_freedom >= _AS_NORMAL
            value += part.noise * (
                stream.standard_normal(draws) if many else stream.standard_t(part.degrees_of_freedom, draws)
            )
        return np.maximum(value, sources.quantity(part.quantity).floor, out=value)

    return (
        MappingProxyType({quantity: drawn(part, point.name) for quantity, part in point.means.items()})
        for point in points
    )


def _stream(seed: int, *names: str) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32("\0".join(names).encode())])
