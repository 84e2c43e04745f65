"""How far the clocks of two logs are apart, told by events that both saw: a burner lights, and everything moves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright import sources, units
from fluewright.units import Array
from fluewright.visit.cells import SWITCHES
from fluewright.visit.times import utc_micros

# Chosen here, as no published rule is known for logs of this kind.
_SPAN = 10.0  # s over which a channel must move to tell an event
_SHARE = 0.05  # of the channel's own range
_NOISES = 6.0  # times its noise
_QUIET = 60.0  # s; movements closer than this are of one event
_FARTHEST = 14 * 3600.0  # s: clocks may be a zone apart
_FEWEST = 3  # events: one fits any offset, and two often fall together by chance
_LEAD = 2  # times the events of the next best offset
_SHARED = 0.5  # of the events of the log with fewer: as many or fewer fall together by chance
_APART = 30.0  # s: clocks farther apart, beyond what late sensors explain, are told
_FEWEST_APART = 3  # events, to tell so unasked
_NOISE_OF_MEDIAN = 1.4826  # of the median absolute deviation of normal noise


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """Seconds to add to the times of a log, what speaks for them, and how sure they are.

    `low` and `high` [s] are the ends of the 95 % interval. `events` is how many events of the two logs it joins, of
    which `votes` fall together as closely as the logs tell time; `seen` is how many the log with fewer of them
    holds, and `rival` how many votes the next best offset has, `unmoved` the best of those at which the clocks agree
    and only sensors are late. `channels` and `reference_channels` are those that were first to show the events, in
    either log.
    """

    seconds: float
    low: float
    high: float
    events: int
    votes: int
    seen: int
    rival: int
    unmoved: int
    channels: tuple[str, ...]
    reference_channels: tuple[str, ...]

    @property
    def certain(self) -> bool:
        """Whether several events speak for it, clearly more than for any other, and more than chance would join."""
        return self.votes >= _FEWEST and self.votes >= _LEAD * self.rival and self.votes > _SHARED * self.seen

    @property
    def apart(self) -> bool:
        """Whether the clocks differ by more than late sensors explain, whichever offset it is that is right."""
        shared = self.votes >= _FEWEST_APART and self.votes > _SHARED * self.seen
        return shared and self.votes >= _LEAD * self.unmoved


@dataclass(frozen=True, slots=True, kw_only=True)
class Delay:
    """How late an event may show in a channel [s]: by the response time, `stated` or assumed, and on its way there."""

    response_time: float
    way: float
    stated: bool

    @property
    def latest(self) -> float:
        """The response time and the way."""
        return self.response_time + self.way


def delay_of(quantity: str, *, response_time: float) -> Delay:
    """Return how late an event may show in a channel, by its response time to 90 % [s], 0 where none is stated.

    Sources: `sources/clocks.toml`, chosen here. A switch shows it at once.
    """
    rules = sources.table("clocks")
    way = units.parse(rules["way"]["time"], "s", "way") if quantity in rules["way"]["quantities"] else 0.0
    if response_time > 0 or quantity in SWITCHES:
        return Delay(response_time=response_time, way=way, stated=True)
    kind = {"K": "temperature", "mol/mol": "gas"}.get(sources.quantity(quantity).unit, "other")
    assumed = units.parse(rules["response_time"][kind], "s", "response_time")
    return Delay(response_time=assumed, way=way, stated=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Events:
    """The events of a log: when [s since 1970], which channel showed each of them first, and the usual step [s]."""

    moments: Array
    channels: NDArray[np.str_]
    interval: float

    def named(self, places: NDArray[np.int64]) -> tuple[str, ...]:
        """Return the channels that showed some of the events, each once."""
        return tuple(dict.fromkeys(str(name) for name in self.channels[places]))


def estimate_offset(
    frame: pd.DataFrame, reference: pd.DataFrame, *, latest: Mapping[str, float]
) -> Offset | None:
    """Return the offset that brings most events of a log together with those of a reference, None without any.

    Parameters
    ----------
    frame, reference : DataFrame
        Readings with a time-zone-aware index. No quantity need be shared: an event is a moment at which any
        channel begins to move by far more than its noise.
    latest : mapping of str to float
        How late [s] an event may show in a channel, beyond its sampling interval; 0 for one that is not named.

    Notes
    -----
    Each pair of events proposes the difference of their times. Most of them agree within a window as wide as the two
    sampling intervals; what is taken is the mean of all that lie near it, those beyond the window too, lest the
    window hide their scatter. An event shows half an interval late on average, which is taken off. The interval is
    Student's for the scatter of these pairs, and no narrower than sampling alone makes it. A delay within the sensors
    or on the way to them is not told apart from the clock's error: it may be anything from none to `latest`, and each
    end of the interval is moved out by as much.
    """
    ours, theirs = find_events(frame), find_events(reference)
    within = ours.interval + theirs.interval
    apart = (theirs.moments[:, None] - ours.moments[None, :]).ravel()
    order = np.argsort(apart, kind="stable")
    order = order[np.abs(apart[order]) <= _FARTHEST]
    if not len(order):
        return None
    apart = apart[order]
    ends = np.searchsorted(apart, apart + within, side="right")
    votes = ends - np.arange(len(apart))
    best = int(np.argmax(votes))
    agreeing = apart[best : ends[best]]
    others = votes[(apart + within < agreeing[0]) | (apart > agreeing[-1] + within)]
    near = np.abs(apart - np.median(agreeing)) <= max(_QUIET / 2, within)
    there, here = np.divmod(order[near], len(ours.moments))
    seconds = float(apart[near].mean()) + (ours.interval - theirs.interval) / 2
    channels, reference_channels = ours.named(here), theirs.named(there)
    half = _half_width(apart[near], (ours.interval, theirs.interval))
    late, early = (max(latest.get(name, 0.0) for name in names) for names in (channels, reference_channels))
    unmoved = votes[(apart + within >= -late - _APART) & (apart <= early + _APART)]
    return Offset(
        seconds=seconds,
        low=seconds - half - early,
        high=seconds + half + late,
        events=min(len(np.unique(there)), len(np.unique(here))),
        votes=min(len(agreeing), len(ours.moments), len(theirs.moments)),
        seen=min(len(ours.moments), len(theirs.moments)),
        rival=int(others.max(initial=0)),
        unmoved=int(unmoved.max(initial=0)),
        channels=channels,
        reference_channels=reference_channels,
    )


def _half_width(differences: Array, intervals: tuple[float, float]) -> float:
    """Return the half-width [s] of the 95 % interval of a mean: Student's, with what sampling alone would add."""
    count = len(differences)
    if count < 2:
        return math.inf
    student = sources.table("clocks")["student"]
    sampling = student["normal"] * math.hypot(*intervals) / math.sqrt(12)
    factor = dict(enumerate(student["quantiles"], start=2)).get(count, student["normal"])
    return math.hypot(factor * float(np.std(differences, ddof=1)), sampling) / math.sqrt(count)


def find_events(frame: pd.DataFrame) -> Events:
    """Return the moments at which any channel begins to move, movements close together as one."""
    seconds = utc_micros(frame.index) / 1e6
    found = [_onsets(seconds, frame[name].to_numpy(dtype=float)) for name in frame]
    moments = np.concatenate([*found, np.zeros(0)])
    channels = np.repeat(np.array(list(frame), dtype=np.str_), [len(part) for part in found])
    order = np.argsort(moments, kind="stable")
    moments, channels = moments[order], channels[order]
    apart = np.concatenate([[True], np.diff(moments) > _QUIET])[: len(moments)]
    return Events(
        moments=moments[apart],
        channels=channels[apart],
        interval=float(np.median(np.diff(seconds))) if len(seconds) > 1 else 0.0,
    )


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
