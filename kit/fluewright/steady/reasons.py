"""Why a stretch was refused or taken, in words with numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from fluewright.steady.burns import SWAYS, Burns
from fluewright.steady.criteria import rules
from fluewright.steady.words import System, change, channel_words, duration, listed, rate

FLUE = "flue_temperature"


def why_not(burns: Burns, windows: NDArray[np.intp], system: System) -> str:
    """Return the channel and the number that stand most in the way in some moving windows; "" where all hold."""
    if not burns.lines:
        return f"none of {listed(tuple(burns.criteria.limits))} has enough readings to judge"
    counts = {}
    for name, badness in burns.badness.items():
        bad = np.minimum(badness[windows], 10.0)  # one wild window is not the whole story
        counts[name] = float(np.sum(bad, where=bad > 1))
    worst = max(counts, key=lambda name: counts[name])
    return _complaint(burns, worst, windows, system) if counts[worst] else ""


def _complaint(burns: Burns, name: str, windows: NDArray[np.intp], system: System) -> str:
    line, limit, words = burns.lines[name], burns.criteria.limits[name], channel_words(name)
    windows = windows[np.isfinite(line.slope[windows])]
    if not len(windows):
        return f"{words}: too few readings to judge"
    slope = line.slope[windows]
    mean, steepest = float(np.mean(slope)), float(np.max(np.abs(slope)))
    grown = max(1.0, abs(float(np.mean(line.mean[windows]))) / limit.level)
    allowed = limit.slope * grown
    if abs(mean) > allowed:
        way = "rising" if mean > 0 else "falling"
        return f"{words} still {way} {rate(name, abs(mean), system)}; limit {rate(name, allowed, system)}"
    if steepest > allowed:
        up_to = rate(name, steepest, system)
        return f"{words} swinging by up to {up_to}; limit {rate(name, allowed, system)}"
    widest = change(name, float(np.max(line.spread[windows])), system)
    allowed = limit.spread * grown
    return f"{words} scattered by {widest} (standard deviation); limit {change(name, allowed, system)}"


def why_moved(name: str, moved: float, limit: float, system: System) -> str:
    """Return that a channel's moving mean moved too far within a stretch."""
    far = change(name, moved, system)
    return (
        f"{channel_words(name)} moved by {far} by the end of the stretch; limit {change(name, limit, system)}"
    )


def why_unsettled(name: str, lacking: float, limit: float, system: System) -> str:
    """Return that a channel had not come near enough to where it was settling."""
    far, side = change(name, abs(lacking), system), "below" if lacking > 0 else "above"
    return f"{channel_words(name)} still {far} {side} where it settles; limit {change(name, limit, system)}"


def flue_trend(burns: Burns, rows: tuple[int, int] | None) -> tuple[float, float]:
    """Return the flue's drift within rows [K/s], and what it had left to rise at their end [K]."""
    line = burns.lines.get(FLUE)
    if rows is None or line is None:
        return np.nan, np.nan
    first, last = burns.bins.bins_of(rows)
    value = line.binned[first:last]
    age = burns.bins.age(first, last)[np.isfinite(value)]
    value = value[np.isfinite(value)]
    if len(age) < 3:
        return np.nan, np.nan
    age = age - age.mean()
    slope = float(age @ (value - value.mean()) / (age @ age))
    begin = max(int(burns.bins.first_of[first]), first - 2 * burns.bins.moving)
    end = (last - begin - 0.5) * burns.bins.width  # a bin's mean stands for its middle
    lacking = float(burns.settling(FLUE, begin, last).at(end))
    return slope, 0.0 - lacking


def _gone(burns: Burns, rows: tuple[int, int], name: str) -> float:
    """Return by how much a channel went up or down [SI] over rows, by the line through them."""
    first, last = burns.bins.bins_of(rows)
    value = burns.lines[name].binned[first:last]
    read = np.isfinite(value)
    if np.count_nonzero(read) < 3:
        return 0.0
    age = burns.bins.age(first, last)[read]
    age = age - age.mean()
    return float(age @ value[read] / (age @ age)) * burns.rows.length(*rows)


def why_taken(
    burns: Burns,
    rows: tuple[int, int],
    missing: Mapping[str, int],
    trend: tuple[float, float],
    system: System,
) -> str:
    """Return what held in the steady window, for how long, and how the flue drifted meanwhile, by its `trend`.

    Of a channel that is `missing` on some rows of the window, no more is said than was read.
    """
    whole = tuple(name for name in burns.lines if name not in missing)
    together = " together" if len(whole) > 1 else ""
    length = duration(burns.rows.length(*rows))
    text = f"{listed(whole)} held still{together} for {length}" if whole else f"for {length}"
    for number, (name, count) in enumerate(missing.items()):
        read = f"on the {rows[1] - rows[0] - count:,} of {rows[1] - rows[0]:,} rows on which it was read"
        text += f"{';' if whole or number else ''} {channel_words(name)} held still {read}"
    slope, rise = trend
    if np.isfinite(slope):
        text += f"; the flue drifted by {rate(FLUE, slope, system)}"
    if abs(rise) >= rules().worth_saying:  # not so for NaN
        text += f" and had {change(FLUE, abs(rise), system)} left to {'rise' if rise > 0 else 'fall'}"
    for name in SWAYS:
        gone = _gone(burns, rows, name) if name in burns.lines else 0.0
        limit = burns.criteria.limits.get(name)
        if limit is not None and abs(gone) > limit.span / 2:  # no settling that was seen, and yet to be told
            way = "rose" if gone > 0 else "fell"
            text += f"; {channel_words(name)} {way} by {change(name, abs(gone), system)} meanwhile"
    return text


def outcome_words(burns: Burns, *, taken: str | None, offered: str | None, missing: Sequence[str]) -> str:
    """Return what became of the test point, in whole sentences."""
    unseen = f" Not judged, for want of readings: {listed(missing)}." if missing else ""
    if burns.unasked:
        unseen += f" Not judged, because '{burns.criteria.name}' asks nothing of it: {listed(burns.unasked)}."
    if taken:
        return f"A steady window was found: {taken}.{unseen}"
    if not len(burns.bins.first):
        return "No steady window: there is no flue gas here, only fresh air or rows without a gas reading."
    if not burns.lines:
        return f"No steady window: no channel that these criteria ask for has enough readings.{unseen}"
    needed = burns.criteria.minimum_length
    longest = max(
        map(burns.rows.length, burns.rows.start[burns.rows.burning], burns.rows.stop[burns.rows.burning])
    )
    offer = f" On offer, if a person accepts it: {offered}." if offered else ""
    if longest < needed and (many := int(burns.rows.burning.sum())) > 1:
        return (
            f"No steady window: the burner did not run for long enough; the longest of {many} burns lasted "
            f"{duration(longest)}, and '{burns.criteria.name}' asks for {duration(needed)}.{offer}{unseen}"
        )
    if longest < needed:
        return (
            f"No steady window: the log is too short; it holds {duration(longest)} of unbroken burning, and "
            f"'{burns.criteria.name}' asks for {duration(needed)}.{offer}{unseen}"
        )
    return f"No steady window of {duration(needed)} was found.{offer}{unseen}"
