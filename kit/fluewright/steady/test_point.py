"""The mean of each channel over a window, with noise that remembers and a sensor error that averaging cannot shrink."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from fluewright.steady.window import Window


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """What the maker states for one quantity, in SI: the greatest of the given parts holds; 0 where none."""

    instrument: str
    absolute: float = 0.0
    of_reading: float = 0.0
    of_span: float = 0.0  # already multiplied by the span
    resolution: float = 0.0
    response_time: float = 0.0
    stated: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class ChannelMean:
    """The mean of one channel over a window [SI], and what it is uncertain by.

    `noise` is the standard error of the mean, with autocorrelation; `bias` the half-width of the rectangular
    distribution of the sensor error shared by all samples of the instrument (with resolution); `low` and `high` the
    95 % coverage interval of both together.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledPoint:
    """A test point reduced to one mean per channel."""

    name: str
    window: Window
    means: Mapping[str, ChannelMean]


def settled_point(
    frame: pd.DataFrame, *, name: str, window: Window, accuracies: Mapping[str, Accuracy]
) -> SettledPoint:
    raise NotImplementedError
