"""How far the clocks of two logs are apart, told by events that both saw: a burner lights, and everything moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.units import Array

# Chosen here, as no published rule is known for logs of this kind.
_SPAN = 10.0  # s over which a channel must move to tell an event
_SHARE = 0.05  # of the channel's own range
_NOISES = 6.0  # times its noise
_QUIET = 60.0  # s; movements closer than this are of one event
_FARTHEST = 14 * 3600.0  # s: clocks may be a zone apart
_FEWEST = 2  # events: one fits any offset
_LEAD = 2  # times the events of the next best offset
_NOISE_OF_MEDIAN = 1.4826  # of the median absolute deviation of normal noise


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """Seconds to add to the times of a log, and what speaks for them.

    `events` is how many events of the two logs then fall together within `within` seconds, `spread` how far these
    pairs are scattered [s, half-width], and `rival` how many events the next best offset would join.
    """

    seconds: float
    spread: float
    events: int
    within: float
    rival: int

    @property
    def certain(self) -> bool:
        """Whether several events speak for it, and clearly more than for any other."""
        return self.events >= _FEWEST and self.events >= _LEAD * self.rival


def estimate_offset(frame: pd.DataFrame, reference: pd.DataFrame) -> Offset | None:
    """Return the offset that brings most events of a log together with those of a reference, None without any.

    Parameters
    ----------
    frame, reference : DataFrame
        Readings with a time-zone-aware index. No quantity need be shared: an event is a moment at which any
        channel begins to move by far more than its noise.

    Notes
    -----
    Each pair of events proposes the difference of their times. What is taken is the median of the differences that
    lie within a window as wide as the two sampling intervals, where most pairs agree. The lag of a sensor or of a
    sampling line is not told apart from the clock's error, and stays in it.
    """
    ours, theirs = events(frame), events(reference)
    if not len(ours) or not len(theirs):
        return None
    within = _interval(frame) + _interval(reference)
    apart = np.sort((theirs[:, None] - ours[None, :]).ravel())
    apart = apart[np.abs(apart) <= _FARTHEST]
    if not len(apart):
        return None
    ends = np.searchsorted(apart, apart + within, side="right")
    votes = ends - np.arange(len(apart))
    best = int(np.argmax(votes))
    agreeing = apart[best : ends[best]]
    seconds = float(np.median(agreeing))
    others = votes[(apart + within < agreeing[0]) | (apart > agreeing[-1] + within)]
    return Offset(
        seconds=seconds,
        spread=max(float(np.ptp(agreeing)) / 2, within / 2),
        events=min(len(agreeing), len(ours), len(theirs)),
        within=within,
        rival=int(others.max()) if len(others) else 0,
    )


def events(frame: pd.DataFrame) -> Array:
    """Return the times [s since 1970] at which any channel begins to move, movements close together as one."""
    seconds = _seconds(frame)
    found = [_onsets(seconds, frame[name].to_numpy(dtype=float)) for name in frame]
    moments = np.sort(np.concatenate(found)) if found else np.zeros(0)
    apart = np.concatenate([[True], np.diff(moments) > _QUIET])[: len(moments)]
    return np.asarray(moments[apart])


def _seconds(frame: pd.DataFrame) -> Array:
    index = pd.DatetimeIndex(frame.index)
    return np.asarray(index.tz_convert("UTC").as_unit("us").asi8 / 1e6)


def _interval(frame: pd.DataFrame) -> float:
    steps = np.diff(_seconds(frame))
    return float(np.median(steps)) if len(steps) else 0.0


def _onsets(seconds: Array, value: Array) -> Array:
    """Return where one channel begins to move: the first step, within the span, that is more than noise."""
    read = np.isfinite(value)
    seconds, value = seconds[read], value[read]
    if len(value) < 3:
        return np.zeros(0)
    step = np.diff(value)
    noise = _NOISE_OF_MEDIAN * float(np.median(np.abs(step - np.median(step))))
    low, high = np.percentile(value, (2, 98))
    least = max(_SHARE * (high - low), _NOISES * noise)
    if least <= 0:
        return np.zeros(0)
    ahead = np.maximum(
        np.searchsorted(seconds, seconds + _SPAN, side="right") - 1, np.arange(len(seconds)) + 1
    ).clip(max=len(seconds) - 1)
    moving = np.flatnonzero(np.abs(value[ahead] - value) > least)
    # A movement that dies down goes on and off about the limit: it is one until the channel has been quiet.
    first = moving[np.concatenate([[True], np.diff(seconds[moving]) > _QUIET])[: len(moving)]]
    return np.array([seconds[_begin(step, int(place), int(ahead[place]), least, noise)] for place in first])


def _begin(step: Array, place: int, end: int, least: float, noise: float) -> int:
    """Return the row after the first step of a movement: half of the least that counts, or beyond all noise."""
    steps: NDArray[np.bool_] = np.abs(step[place:end]) > max(least / 4, 4 * noise)
    return place + 1 + (int(np.argmax(steps)) if steps.any() else end - place - 1)
