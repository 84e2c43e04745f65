"""How far a mean of readings that remember each other strays, and the interval of noise and bias together."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fluewright import sources
from fluewright.steady.sums import Sums, sums_of
from fluewright.units import Array

_COVERAGE = 0.95
_NORMAL = 1.959963984540054  # 97.5 % point of the standard normal distribution
_FEWEST_FOR_MEMORY = 8  # fewer readings than this say nothing of their own memory


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Standard error of a mean [unit], the independent readings it is worth, and its degrees of freedom."""

    standard_error: float
    effective_samples: float
    degrees_of_freedom: float


def mean_noise(value: Array) -> Noise:
    """Return the noise of the mean of readings taken at equal steps, about their straight line.

    Parameters
    ----------
    value : array (readings,)
        Finite readings [unit], at least one, in order of time; a missing one is taken as a step not made.
    """
    found = sums_of(value)
    assert found is not None
    return noise_of(found)


def noise_of(sums: Sums) -> Noise:
    """Return the noise of the mean of a channel, about its straight line.

    The line is left out because a drift within the window is part of what the window's mean means. The
    memory is the larger of two estimates of the integrated autocorrelation time: the initial monotone
    sequence of Geyer [1]_ and a first-order autoregression with the bias correction of Marriott and Pope
    [2]_; autocovariances are corrected for the mean and slope taken out of them. Of fewer than eight
    readings the scatter counts as independent. A long record counts by its batches: its mean, and so the error of it,
    stay the same.

    References
    ----------
    .. [1] C. J. Geyer, Statistical Science 7 (1992) 473-483 (value from memory).
    .. [2] F. H. C. Marriott and J. A. Pope, Biometrika 41 (1954) 390-402 (value from memory).
    """
    fewest = float(sources.table("steady")["averages"]["fewest_degrees_of_freedom"])
    count, value = sums.count, sums.batches
    if count < _FEWEST_FOR_MEMORY:
        error = float(np.std(value, ddof=1)) / math.sqrt(count) if count > 1 else 0.0
        return Noise(
            standard_error=error, effective_samples=float(count), degrees_of_freedom=max(count - 1.0, fewest)
        )
    rest = _straightened(value)
    size = len(rest)
    variance = float(rest @ rest) / size
    if variance <= (1e-13 * float(np.max(np.abs(value)))) ** 2:
        return Noise(
            standard_error=0.0, effective_samples=float(count), degrees_of_freedom=max(count - 2.0, fewest)
        )
    estimates = [_monotone_sequence(rest)]
    if size == count:  # batches of an autoregression are none, and there are then enough of them without it
        estimates.append(_autoregression(rest))
    memory, spread = max(estimates, key=lambda pair: pair[0] * pair[1])
    return Noise(
        standard_error=math.sqrt(spread * memory / size),
        effective_samples=size / memory,
        degrees_of_freedom=max(size / memory - 2, fewest),
    )


def _straightened(value: Array) -> Array:
    time = np.arange(len(value)) - (len(value) - 1) / 2
    centred = value - value.mean()
    return np.asarray(centred - time * (time @ centred) / (time @ time), dtype=np.float64)


def _monotone_sequence(rest: Array) -> tuple[float, float]:
    """Return integrated autocorrelation time in steps and variance, by Geyer's initial monotone sequence."""
    size = len(rest)
    transform = np.fft.rfft(rest, 2 * size)
    covariance = np.fft.irfft(transform * np.conj(transform), 2 * size)[: size // 2] / size
    kept = 1 - np.arange(len(covariance)) / size
    removed, memory, variance = 0.0, 1.0, float(covariance[0])
    for _ in range(3):  # the correction for mean and slope needs the memory that it corrects
        corrected = (covariance + 2 * removed) / kept
        variance = float(corrected[0])
        pairs = (corrected[: len(corrected) // 2 * 2] / variance).reshape(-1, 2).sum(axis=1)
        positive = len(pairs) if np.all(pairs > 0) else max(int(np.argmax(pairs <= 0)), 1)
        memory = 2 * float(np.minimum.accumulate(pairs[:positive]).sum()) - 1
        memory = min(max(memory, 1.0), size / 4)
        removed = variance * memory / size
    return memory, variance


def _autoregression(rest: Array) -> tuple[float, float]:
    """Return integrated autocorrelation time in steps and variance, by a first-order autoregression."""
    size = len(rest)
    first = float(rest[1:] @ rest[:-1]) / float(rest @ rest)
    first = min(max(first + (2 + 4 * first) / size, 0.0), 0.99)
    memory = min((1 + first) / (1 - first), size / 4)
    return memory, float(rest @ rest) / (size - 2 * memory)


def student(degrees_of_freedom: float) -> float:
    """Return the 97.5 % point of Student's distribution, by the expansion of Abramowitz and Stegun 26.7.5.

    From 3 degrees of freedom the expansion is good to 0.1 % (value from memory, checked in the tests).
    """
    z, n = _NORMAL, degrees_of_freedom
    terms = (
        (z**3 + z) / 4,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
    )
    return z + sum(term / n ** (power + 1) for power, term in enumerate(terms))


def half_width(*, bias: float, noise: float, degrees_of_freedom: float) -> float:
    """Return the half-width [unit] that holds 95 % of a rectangular bias and the noise of a mean, added.

    The noise is taken as normal with the 95 % width of its Student distribution; the sum's distribution
    function is then closed, and its 95 % point is found by halving. A bias alone gives 0.95 of its
    half-width, a noise alone Student's interval. (JCGM 101:2008, 6.4.2 and 6.4.9, for the two
    distributions; from memory.)

    Parameters
    ----------
    bias, noise : float
        Half-width of the rectangular bias and standard error of the mean [unit].
    """
    scale = noise * student(degrees_of_freedom) / _NORMAL
    if bias <= 0:
        return _NORMAL * scale
    if scale <= 1e-9 * bias:
        return _COVERAGE * bias

    def held(width: float) -> float:
        return (_ramp((width + bias) / scale) - _ramp((width - bias) / scale)) * scale / bias - 1

    low, high = 0.0, bias + 5 * scale
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if held(middle) < _COVERAGE else (low, middle)
    return (low + high) / 2


def _ramp(x: float) -> float:
    """Return the integral of the standard normal distribution function up to x."""
    return x * (1 + math.erf(x / math.sqrt(2))) / 2 + math.exp(-x * x / 2) / math.sqrt(2 * math.pi)
