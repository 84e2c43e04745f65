"""Find the stretch of a burn in which every channel holds still, and say in words why the others do not.

A burn is cut into equal bins of time. Over a moving window of bins each channel gets a least-squares
line; a bin holds where every channel's slope and spread are within the limits. The steady window is the
latest run of holding bins that is long enough after two trims at its start: the moving mean may not have
changed by more than the span, and a first-order settling may not still lack more than what may remain.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, TypeAlias, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.errors import InputError
from fluewright.steady.burns import Burns, how_bad, look_at_burns
from fluewright.steady.criteria import Criteria, named_criteria, rules
from fluewright.steady.reasons import (
    FLUE,
    flue_trend,
    outcome_words,
    why_moved,
    why_not,
    why_taken,
    why_unsettled,
)
from fluewright.steady.rows import OXYGEN, State, first_of, sort_rows, spans
from fluewright.steady.signals import moving_rate, pre_purges
from fluewright.steady.words import System, duration, listed
from fluewright.units import Array

Phase: TypeAlias = Literal[
    "fresh air",
    "pre-purge",
    "light-off",
    "warm-up",
    "unsteady",
    "modulating",
    "steady",
    "shut-down",
    "off",
    "no flue gas reading",
]

_BRIEF = "held still for a moment only, between two disturbances"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of rows that is not in the window, what it is, and why it was refused."""

    start: pd.Timestamp
    end: pd.Timestamp
    rows: int
    phase: Phase
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """A window of rows: found by the rules, or chosen by a person and labelled so.

    `without` are the stretches, both ends included, of a window chosen by a person in which the sample held no flue
    gas, or the probe was still filling with it: they count among its rows and are left out of its means.
    """

    start: pd.Timestamp
    end: pd.Timestamp
    rows: int
    chosen_by: Literal["rules", "person"]
    because: str
    without: tuple[tuple[pd.Timestamp, pd.Timestamp], ...] = ()

    def of(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Return the rows of a frame [time as index] that the window averages."""
        part = frame.loc[self.start : self.end]
        if not self.without:
            return part
        keep = np.ones(len(part), dtype=np.bool_)
        for first, last in self.without:
            keep[part.index.slice_indexer(first, last)] = False
        return part[keep]


class Moved(NamedTuple):
    """A gas that held still at another level before the window, in the same burn: both means [SI], and how long [s]."""

    quantity: str
    before: float
    within: float
    length: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Steadiness:
    """What became of every row of a test point.

    `window` is None where no steady window was found; `least_bad` is then the best on offer, for a person
    to accept, and `outcome` says so in words. The rows of window and refused stretches add up to `rows`.
    `judged` names the channels that had a say, `not_judged` those the criteria ask for that had too few
    readings, and those logged of which the criteria ask nothing. `by_rules` is what the rules found, also where a
    person chose; `rules_agree` is None unless a person chose. `flue_slope` [K/s] is the drift within the window
    (or the least bad one). `flue_rise_remaining` [K] is the first-order estimate of what the flue temperature still
    had to rise at the window's end, apart from a steady drift: zero where no settling stands out of the noise, NaN
    where no estimate could be made. `moved` is None unless an earlier stretch held still at another level.
    """

    rows: int
    window: Window | None
    least_bad: Window | None
    refused: tuple[Stretch, ...]
    outcome: str
    criteria: Criteria
    flue_slope: float
    flue_rise_remaining: float
    judged: tuple[str, ...] = ()
    not_judged: tuple[str, ...] = ()
    by_rules: Window | None = None
    rules_agree: bool | None = None
    moved: Moved | None = None

    def __post_init__(self) -> None:
        counted = sum(part.rows for part in self.refused) + (self.window.rows if self.window else 0)
        if counted != self.rows:
            raise AssertionError(f"the stretches hold {counted} rows, but the test point has {self.rows}")


class _Span(NamedTuple):
    """Rows `start` to `stop` (exclusive)."""

    start: int
    stop: int


class _Part(NamedTuple):
    """Rows `start` to `stop` (exclusive), what they are, and why they are not the window."""

    start: int
    stop: int
    phase: Phase
    reason: str


class Refusal(NamedTuple):
    """What a stretch of a burn is, and why it was refused."""

    phase: Phase
    reason: str


def find_steady_window(
    frame: pd.DataFrame,
    *,
    criteria: Criteria | None = None,
    manual: tuple[pd.Timestamp, pd.Timestamp, str] | None = None,
    system: System = "US",
) -> Steadiness:
    """Find the steady window of one test point, and say why every other row is not in it.

    Parameters
    ----------
    frame : DataFrame
        Readings of one test point: one float column [SI] per quantity, NaN where there is no number; the
        index is time, with a zone, strictly ascending, at any interval.
    criteria : Criteria, optional
        What "steady" means; ``named_criteria("field test")`` if not given.
    manual : (start, end, because), optional
        A window chosen by a person, both ends included. It overrides the rules and is labelled so.
    system : "US" or "SI"
        Units used in the reasons.

    Returns
    -------
    Steadiness
        The window or the least bad one, and a reason for every other stretch.

    Raises
    ------
    InputError
        The frame is empty, its time is not usable, or the manual window holds no row of flue gas.

    Notes
    -----
    A slope counts only where Student's t tells it from the noise about its own line, as in Kelly and
    Hedengren [1]_ (value from memory); on means over bins, whose noise is nearly independent (batch means).

    References
    ----------
    .. [1] J. D. Kelly and J. D. Hedengren, Journal of Process Control 23 (2013) 326-331.
    """
    burns = look_at_burns(frame, sort_rows(frame), criteria or named_criteria())
    index = cast(pd.DatetimeIndex, frame.index)
    chosen, refusals = _choose(burns, system)
    least = None if chosen else _least_bad(burns)
    trend = flue_trend(burns, chosen or least)
    missing = tuple(
        name
        for name in burns.criteria.limits
        if name not in burns.lines and (name in frame or name in rules().expected)
    )
    by_rules = (
        window_of(index, chosen, why_taken(burns, chosen, _missing(burns, frame, chosen), trend, system))
        if chosen
        else None
    )
    window = by_rules
    offered = window_of(index, least, _excuse(burns, least, refusals, system)) if least else None
    outcome = outcome_words(
        burns,
        taken=by_rules.because if by_rules else None,
        offered=offered.because if offered else None,
        missing=missing,
    )
    parts = _parts(burns, frame, chosen, refusals, system)
    agree: bool | None = None
    if manual is not None:
        span, idle = _manual_span(index, burns, frame, manual)
        agree, outcome = _compare(
            burns, parts, span, idle=int(idle.sum()), because=manual[2], system=system, chosen=chosen
        )
        without = _stretches(index, span, idle)
        window, offered = (
            replace(window_of(index, span, manual[2]), chosen_by="person", without=without),
            None,
        )
        parts = _cut_out(parts, chosen, span)
        chosen, trend = span, flue_trend(burns, span)
    return Steadiness(
        rows=len(frame),
        window=window,
        least_bad=offered,
        refused=tuple(_stretch(index, part) for part in parts),
        outcome=outcome,
        criteria=burns.criteria,
        flue_slope=trend[0],
        flue_rise_remaining=trend[1],
        judged=tuple(burns.lines),
        not_judged=(*missing, *burns.unasked),
        by_rules=by_rules,
        rules_agree=agree,
        moved=_moved(burns, chosen, system) if chosen else None,
    )


def _moved(burns: Burns, chosen: _Span, system: System) -> Moved | None:
    """Return the longest sound stretch before the window in which oxygen was another than in it, or None."""
    name = first_of((*OXYGEN, "carbon_dioxide_dry"), burns.lines)
    if name is None:
        return None
    bins, binned = burns.bins, burns.lines[name].binned
    first, last = bins.bins_of(chosen)
    if not np.isfinite(binned[first:last]).any():
        return None
    within = float(np.nanmean(binned[first:last]))
    before = [
        Moved(name, float(np.nanmean(binned[begin:end])), within, burns.length(begin, end))
        for begin, end in burns.holding()
        if end <= first
        and bins.burn_of[begin] == bins.burn_of[first]
        and sound_stretch(burns, begin, end, system)[0]
    ]
    apart = (one for one in before if abs(one.before - within) > burns.criteria.limits[name].span)
    return max(apart, key=lambda one: one.length, default=None)


def _stretch(index: pd.DatetimeIndex, part: _Part) -> Stretch:
    return Stretch(
        start=index[part.start],
        end=index[part.stop - 1],
        rows=part.stop - part.start,
        phase=part.phase,
        reason=part.reason,
    )


def window_of(index: pd.DatetimeIndex, rows: tuple[int, int], because: str) -> Window:
    """Return rows (last exclusive) as a window that the rules found."""
    start, stop = rows
    return Window(
        start=index[start], end=index[stop - 1], rows=stop - start, chosen_by="rules", because=because
    )


def _missing(burns: Burns, frame: pd.DataFrame, span: _Span) -> dict[str, int]:
    """Return on how many rows of a window each channel that has a say holds no number, where it lacks any."""
    values = {name: frame[name].to_numpy(dtype=np.float64)[span.start : span.stop] for name in burns.gappy}
    counts = {name: int(np.count_nonzero(np.isnan(value))) for name, value in values.items()}
    return {name: count for name, count in counts.items() if count}


def _choose(burns: Burns, system: System) -> tuple[_Span | None, Mapping[int, Refusal]]:
    """Return the rows of the latest sound stretch, and why later ones, or its beginning, were refused."""
    refusals: dict[int, Refusal] = {}
    for first, last in reversed(burns.holding()):
        span, refusal = sound_stretch(burns, first, last, system)
        if refusal:
            refusals[first] = refusal
        if span:
            return span, refusals
    return None, refusals


def sound_stretch(burns: Burns, first: int, last: int, system: System) -> tuple[_Span | None, Refusal | None]:
    """Return the rows of a holding run that are a steady window, and why its beginning, or all of it, is not."""
    settled, start, refusal = _trimmed(burns, first, last, system)
    whole = burns.length(settled, last) >= burns.criteria.minimum_length
    if whole and start < last and burns.length(start, last) >= rules().after_margin:
        return _Span(*burns.bins.rows(start, last)), refusal
    needed = rules().after_margin if whole else burns.criteria.minimum_length
    least, length = duration(needed), duration(burns.length(first, last))
    if refusal:
        return None, Refusal(refusal.phase, f"{refusal.reason}; what is left is shorter than {least}")
    return None, Refusal("steady", f"held still for {length} only; at least {least} are needed")


def _trimmed(burns: Burns, first: int, last: int, system: System) -> tuple[int, int, Refusal | None]:
    """Return the bin from which a holding run seems settled, that at which it is safe to begin, and why not before."""
    settled, start, refusal = first, first, None
    within = np.clip(burns.bins.window_of[first:last], first, max(last - burns.bins.moving, first))
    if burns.rate is not None and (begin := _level_from(burns.rate[within], 1.0, first)) > first:
        settled = start = begin
        refusal = Refusal("modulating", "the firing rate moved meanwhile")
    for name, line in burns.lines.items():
        limit = burns.criteria.limits[name]
        mean = line.mean[within]
        span = limit.span * max(1.0, abs(float(mean[-1])) / limit.level)
        begin = _level_from(mean, span, first)
        settled = max(settled, begin)
        if begin > start:
            start, refusal = begin, Refusal("unsteady", why_moved(name, float(np.ptp(mean)), span, system))
        allowed, margin = limit.may_remain(float(mean[-1]), undiluted=burns.undiluted(last))
        if np.isinf(allowed):
            continue
        begin, lacking = _settled_bin(burns, name, first, last, allowed)
        settled = max(settled, begin)
        begin += int(np.ceil(margin / burns.bins.width)) if begin > first else 0
        if begin > start:
            phase: Phase = "unsteady" if name == FLUE and lacking < 0 else "warm-up"
            reason = why_unsettled(name, lacking, allowed, system)
            if margin:
                reason += f"; {duration(margin)} after its settling are left out too, as a margin"
            start, refusal = begin, Refusal(phase, reason)
    return min(settled, last), min(start, last), refusal


def _level_from(mean: Array, span: float, first: int) -> int:
    """Return the bin, counted from `first`, from which means stay within a span up to their end."""
    if not np.fmax.reduce(mean) - np.fmin.reduce(mean) > span:
        return first
    back = mean[::-1]
    wide = np.fmax.accumulate(back) - np.fmin.accumulate(back) > span
    return first + len(mean) - int(np.argmax(wide))


def _settled_bin(burns: Burns, name: str, first: int, last: int, limit: float) -> tuple[int, float]:
    """Return the first bin from which a settling lacks at most `limit`, and the most that it lacks from `first` on."""
    begin = max(int(burns.bins.first_of[first]), first - burns.bins.moving)
    settling = burns.settling(name, begin, last)
    age = burns.bins.age(begin, last)[first - begin :]
    lacking = -settling.at(age[: np.searchsorted(age, settling.lacks_until(limit), "right") + 1])
    late = np.flatnonzero(np.abs(lacking) > limit)
    most = int(np.argmax(np.abs(lacking)))
    return first + (int(late[-1]) + 1 if len(late) else 0), float(lacking[most])


def _parts(
    burns: Burns,
    frame: pd.DataFrame,
    chosen: _Span | None,
    refusals: Mapping[int, Refusal],
    system: System,
) -> list[_Part]:
    """Return all rows outside the chosen window as parts, in order and without holes."""
    by_burn: dict[int, list[tuple[int, int]]] = {}
    for first, last in burns.holding():
        by_burn.setdefault(int(burns.bins.burn_of[first]), []).append((first, last))
    parts: list[_Part] = []
    burn, lit, purges = 0, burns.rows.lit, pre_purges(frame, burns.rows)
    for run, state in enumerate(burns.rows.of):
        if state != State.BURNING:
            parts += _idle_parts(burns, frame, run, purges)
            continue
        at = begin = int(burns.bins.first[burn])
        finish = begin + int(burns.bins.count[burn])
        for first, last in [*by_burn.get(burn, []), (finish, finish)]:
            parts += _moving_parts(
                burns, frame, at, first, opening=at == begin, lit=bool(lit[run]), system=system
            )
            if first < last:
                parts += _still_parts(burns, first, last, chosen, refusals)
            at = last
        burn += 1
    return parts


_IDLE: Mapping[int, Refusal] = {
    State.DRAWN: Refusal("fresh air", "fresh air drawn in, as by a pulled probe: the burner ran on"),
    State.FRESH: Refusal("fresh air", "fresh air in the sample: no flue gas to judge"),
    State.OFF: Refusal("off", "the burner's own signal says off"),
    State.ENDING: Refusal("shut-down", "oxygen rising to fresh air: the burner went off"),
    State.FLICKER: Refusal("unsteady", "flue gas, fresh air or no reading, changing within a minute"),
    State.UNKNOWN: Refusal("no flue gas reading", "no number from the gas sensor"),
}


def _idle_parts(burns: Burns, frame: pd.DataFrame, run: int, purges: Mapping[int, int]) -> Iterator[_Part]:
    """Yield the parts of a run of rows without a burn: what it is, and the pre-purge at its end."""
    start, stop = int(burns.rows.start[run]), int(burns.rows.stop[run])
    purge = purges.get(run, stop)
    if start < burns.rows.probable:
        yield _Part(start, purge, "fresh air", _probable_air(frame, purge))
    elif start < purge:
        yield _Part(start, purge, *_IDLE[int(burns.rows.of[run])])
    if purge < stop:
        yield _Part(purge, stop, "pre-purge", "the burner's fan runs before light-off")


def _probable_air(frame: pd.DataFrame, stop: int) -> str:
    shown = 100 * float(frame[first_of(OXYGEN, frame)].iloc[:stop].mean())
    return (
        f"oxygen stood at {shown:.1f} % before light-off, with a cold flue: probably fresh air; "
        "was the oxygen cell set right?"
    )


def _still_parts(
    burns: Burns, first: int, last: int, chosen: _Span | None, refusals: Mapping[int, Refusal]
) -> list[_Part]:
    start, stop = burns.bins.rows(first, last)
    if chosen and start <= chosen.start < stop:
        return [_Part(start, chosen.start, *refusals[first])] if start < chosen.start else []
    if first in refusals:
        return [_Part(start, stop, *refusals[first])]
    length = duration(burns.length(first, last))
    return [_Part(start, stop, "steady", f"held still for {length}, but a later stretch was taken")]


def _moving_parts(
    burns: Burns, frame: pd.DataFrame, first: int, last: int, *, opening: bool, lit: bool, system: System
) -> list[_Part]:
    """Return the parts of a run of bins that does not hold: light-off, warm-up, unsteady or modulating."""
    if first >= last:
        return []
    bins, seconds = burns.bins, burns.rows.seconds
    start, stop = bins.rows(first, last)
    parts: list[_Part] = []
    if opening and lit:
        length = rules().light_off
        row = start + int(np.searchsorted(seconds[start:stop], seconds[start] + length))
        reason = f"the first {duration(length)} after light-off are not judged"
        parts.append(_Part(start, row, "light-off", reason))
        start, first = row, min(first + int(np.ceil(length / bins.width)), last - 1)
    warm = _warm_bin(burns, first, last) if opening else first
    turn = max(start, bins.rows(first, warm)[1]) if warm > first else start
    if start < turn:
        reason = why_not(burns, bins.window_of[first:warm], system) or _BRIEF
        parts.append(_Part(start, turn, "warm-up", reason))
    if turn < stop:
        reason = why_not(burns, bins.window_of[min(warm, last - 1) : last], system) or _BRIEF
        moved = moving_rate(frame, turn, stop)
        if moved:
            rate = f"the firing rate moved between {moved[0]:.0%} and {moved[1]:.0%} of its greatest"
            parts.append(_Part(turn, stop, "modulating", f"{rate}; {reason}"))
        else:
            parts.append(_Part(turn, stop, "unsteady", reason))
    return parts


def _warm_bin(burns: Burns, first: int, last: int) -> int:
    """Return the bin up to which the flue warms up at the beginning of a burn."""
    flue = burns.lines.get(FLUE)
    if flue is None:
        return last  # without a flue temperature, all that comes before the first stillness counts as warm-up
    rising = flue.slope[burns.bins.window_of[first:last]] > burns.criteria.limits[FLUE].slope
    warm = last if rising.all() else first + int(np.argmin(rising))
    return last if first < warm and last - warm < burns.bins.moving // 2 else warm


def _least_bad(burns: Burns) -> _Span | None:
    """Return the rows of the calmest stretch of the least length, or the longest burn if that is shorter."""
    bins = burns.bins
    if not len(bins.first) or not burns.lines:
        return None
    wanted = int(np.ceil(burns.criteria.minimum_length / bins.width))
    longest = int(np.argmax(bins.count))
    if bins.count[longest] <= wanted:
        return _Span(*bins.rows(int(bins.first[longest]), int(bins.first[longest] + bins.count[longest])))
    score = np.zeros(len(bins.inside))
    for name, line in burns.lines.items():
        bad = how_bad(line, burns.criteria.limits[name], significance=0.0)
        score = np.maximum(score, np.minimum(bad, 1e3)[bins.window_of])
    # Never across two burns, nor into a light-off if it can be helped.
    score[~bins.inside | burns.light_off] = 1e6
    first = int(np.argmin(np.convolve(score, np.ones(wanted), "valid")))
    return _Span(*bins.rows(first, first + wanted))


def _excuse(burns: Burns, rows: _Span, refusals: Mapping[int, Refusal], system: System) -> str:
    """Return how long the least bad stretch is, and what is wrong with it."""
    first, last = burns.bins.bins_of(rows)
    inner = np.arange(first, max(last - burns.bins.moving, first) + 1)
    reason = why_not(burns, inner, system)
    known = (refusals[run] for run, end in burns.holding() if run < last and end > first and run in refusals)
    calmest = f"the calmest {duration(burns.rows.length(*rows))}"
    if not reason and (refused := next(known, None)):
        if refused.phase == "steady":
            return f"{calmest}, in which all channels {refused.reason}"
        reason = refused.reason
    if not reason:
        _, _, refusal = _trimmed(burns, first, last, system)
        reason = refusal.reason if refusal else "every channel holds, but not for long enough"
    return f"{calmest}; {reason}"


def _manual_span(
    index: pd.DatetimeIndex,
    burns: Burns,
    frame: pd.DataFrame,
    manual: tuple[pd.Timestamp, pd.Timestamp, str],
) -> tuple[_Span, NDArray[np.bool_]]:
    """Return the rows of a window chosen by a person, and which of them hold no flue gas or not yet only that."""
    words = f"the window chosen by hand, {manual[0]} to {manual[1]},"
    if manual[0].tzinfo is None or manual[1].tzinfo is None:
        raise InputError(f"{words} has no time zone; give both ends in the zone of the log")
    span = _Span(int(index.searchsorted(manual[0], "left")), int(index.searchsorted(manual[1], "right")))
    if span.start >= span.stop:
        raise InputError(
            f"{words} holds no row; this test point's readings run from {index[0]} to {index[-1]}"
        )
    states = burns.rows.state[span.start : span.stop]
    idle = ~np.isin(states, (State.BURNING, State.UNKNOWN)) | _filling(burns, frame, span)
    if not np.any(~idle & (states == State.BURNING)):
        raise InputError(
            f"{words} holds no flue gas: every row is fresh air, shut-down or without a gas reading; "
            "choose a stretch in which the burner ran"
        )
    return span, idle


def _stretches(
    index: pd.DatetimeIndex, span: _Span, flags: NDArray[np.bool_]
) -> tuple[tuple[pd.Timestamp, pd.Timestamp], ...]:
    """Return the first and last time of each run of flagged rows in a span."""
    first, last = spans(flags)
    return tuple(zip(index[span.start + first], index[span.start + last - 1], strict=True))


def _filling(burns: Burns, frame: pd.DataFrame, span: _Span) -> NDArray[np.bool_]:
    """Return in which rows of a window oxygen still falls from the fresh air before them to flue gas."""
    falls = np.zeros(span.stop - span.start, dtype=np.bool_)
    name = first_of(OXYGEN, frame)
    rows = burns.rows
    burns_in_it = (rows.stop > span.start) & (rows.start < span.stop) & rows.burning
    for run in np.flatnonzero(burns_in_it) if name is not None else ():
        start, stop = int(rows.start[run]), int(rows.stop[run])
        value = frame[name].to_numpy(dtype=np.float64)[start:stop]
        if not np.isfinite(value).any():
            continue
        settled = start + int(np.argmax(value <= np.nanmedian(value) + rules().ending))
        falls[max(start - span.start, 0) : max(settled - span.start, 0)] = True
    return falls


def _compare(
    burns: Burns,
    parts: Sequence[_Part],
    span: _Span,
    *,
    idle: int,
    because: str,
    system: System,
    chosen: _Span | None,
) -> tuple[bool, str]:
    """Return whether the rules would take a window chosen by a person, and the outcome in words."""
    rows = span.stop - span.start
    text = f"The window was chosen by a person ({because})."
    if idle:
        text += f" {idle} of its {rows} rows hold no flue gas, or not yet only that, and are left out of its means."
    overlaps = [(min(part.stop, span.stop) - max(part.start, span.start), part) for part in parts]
    against = [(count, part) for count, part in overlaps if count > 0 and part.phase != "steady"]
    if against:
        refused = sum(count for count, _ in against)
        _, most = max(against, key=lambda pair: pair[0])
        said = f"The rules refuse {refused} of its {rows} rows; most of them as {most.phase}: {most.reason}."
        return False, f"{text} {said}"
    first, last = burns.bins.bins_of(span)
    _, _, refusal = _trimmed(burns, first, last, system)
    if refusal:
        return False, f"{text} The rules do not agree: {refusal.reason}."
    least = burns.criteria.minimum_length
    if chosen is not None:  # what was left of settled rows after a margin is long enough for the rules, too
        least = min(least, burns.rows.length(*chosen))
    if burns.rows.length(span.start, span.stop) < least:
        return False, f"{text} Every channel holds in it, but the rules ask for at least {duration(least)}."
    return True, f"{text} The rules agree: {listed(tuple(burns.lines))} hold in it, where read."


def _cut_out(parts: Sequence[_Part], chosen: _Span | None, span: _Span) -> list[_Part]:
    """Return the parts of all rows outside `span`; the rules' own window becomes one of them."""
    whole = list(parts)
    if chosen:
        whole.append(_Part(*chosen, "steady", "steady by the rules, but a person chose another window"))
    outside = [part._replace(stop=min(part.stop, span.start)) for part in whole if part.start < span.start]
    outside += [part._replace(start=max(part.start, span.stop)) for part in whole if part.stop > span.stop]
    return sorted(outside)
