"""Time as logs write it, made into one axis: microseconds of UTC, through midnight and daylight-saving changes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from fluewright.visit.cells import Writing, read_cells
from fluewright.visit.problems import RefusalError

Micros = NDArray[np.int64]
Mask = NDArray[np.bool_]

_SECOND = 1_000_000
_DAY = 86_400 * _SECOND
_HALF_DAY = _DAY // 2
_QUARTER = 900 * _SECOND
_ISO = r"^\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d+)?)?"
_SERIAL = 25_569  # days from the day that workbooks count from to 1970
_PART_OF_DAY = r"^(?P<day>\S+) (?P<part>0|0?[.,]\d+|\d(?:[.,]\d+)?[eE]-\d+)$"
_UNITS = {"ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0}  # s, of elapsed time
_ZONE = r" ?(Z|[+-]\d\d(:?\d\d)?)$"
_MILLISECONDS_FROM = 1e11  # seconds since 1970 reach this in the year 5138
_MICROSECONDS_FROM = 1e14
_QUARTERS_LOOKED_AT = 100_000  # nearly three years
_UNBROKEN = 5  # intervals: a longer gap is taken for a break when an hour that occurs twice is told apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """Times read from cells [µs]: of UTC where `zoned`, else of the local clock; unreadable where not `valid`."""

    micros: Micros
    valid: Mask
    zoned: Mask


def read_times(cells: pa.StringArray, *, form: str, writing: Writing, dated: bool = True) -> Times:
    """Read times written as `form`, as `LogTime.format` says; `dated` where cells hold a date.

    Clock times without a date count from midnight, elapsed times from the log's start.
    """
    if form == "ISO" and dated and (plain := _plain_iso(cells)) is not None:
        return plain
    trimmed = pc.utf8_trim_whitespace(cells)
    if form == "serial":
        return _serial(trimmed, writing, dated)
    if form in {"epoch", "elapsed"}:
        return _counted(trimmed, form, writing)
    if form != "ISO":
        return _patterned(trimmed, form, dated)
    if not dated:
        trimmed = pc.replace_substring_regex(trimmed, r"^(\d:)", r"0\1")
        trimmed = pc.binary_join_element_wise("1970-01-01", trimmed, " ")
    return _iso(trimmed)


def _plain_iso(cells: pa.StringArray) -> Times | None:
    """Return the times where every cell holds one and nothing else, all of them with a zone or none."""
    count, shortest = len(cells), pc.min(pc.binary_length(cells)).as_py()
    if shortest is None or shortest < len("2026-01-31 10:04"):  # a bare date would pass the cast below
        return None
    for zone in (None, "UTC"):
        try:
            read = pc.cast(cells, pa.timestamp("us", zone))
        except pa.ArrowInvalid:
            continue
        micros = read.cast(pa.int64()).to_numpy(zero_copy_only=False)
        return Times(micros=micros, valid=np.ones(count, bool), zoned=np.full(count, zone is not None))
    return None


def _iso(cells: pa.StringArray) -> Times:
    if (plain := _plain_iso(cells)) is not None:
        return plain
    zoned = pc.match_substring_regex(cells, _ISO + _ZONE)
    known = pc.or_(zoned, pc.match_substring_regex(cells, _ISO + "$"))
    texts = pc.replace_substring(pc.if_else(known, cells, None), ",", ".").to_pandas()
    stamps = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=True)
    return _from_stamps(stamps, zoned.to_numpy(zero_copy_only=False))


def _patterned(cells: pa.StringArray, form: str, dated: bool) -> Times:
    zoned = "%z" in form
    if "%p" in form:
        cells = pc.replace_substring_regex(cells, r"(?i)\b([ap])\.\s?m\.?", r"\1m")
    stamps = pd.to_datetime(cells.to_pandas(), format=form, errors="coerce", utc=zoned)
    times = _from_stamps(stamps, np.full(len(cells), zoned))
    return times if dated else Times(micros=times.micros % _DAY, valid=times.valid, zoned=times.zoned)


def _from_stamps(stamps: pd.Series[pd.Timestamp], zoned: Mask) -> Times:
    valid = stamps.notna().to_numpy()
    naive = stamps.dt.tz_localize(None) if stamps.dt.tz is not None else stamps
    micros = naive.to_numpy().astype("datetime64[us]").astype(np.int64)
    return Times(micros=np.where(valid, micros, 0), valid=valid, zoned=zoned)


def _counted(cells: pa.StringArray, form: str, writing: Writing) -> Times:
    seconds = read_cells(cells, writing=writing).values
    if form == "epoch":
        seconds = np.where(np.abs(seconds) >= _MICROSECONDS_FROM, seconds / 1e6, seconds)
        seconds = np.where(np.abs(seconds) >= _MILLISECONDS_FROM, seconds / 1e3, seconds)
    else:
        seconds = np.where(
            np.isnan(seconds), _spelled(cells, writing.unit), seconds * _UNITS[writing.unit or "s"]
        )
    return _from_seconds(seconds, zoned=form == "epoch")


def _from_seconds(seconds: NDArray[np.float64], *, zoned: bool) -> Times:
    valid = np.isfinite(seconds) & (np.abs(seconds) < _MILLISECONDS_FROM)
    micros = np.rint(np.where(valid, seconds, 0.0) * _SECOND).astype(np.int64)
    return Times(micros=micros, valid=valid, zoned=np.full(len(seconds), zoned))


def _serial(cells: pa.StringArray, writing: Writing, dated: bool) -> Times:
    """Return times counted in days; the part of a day may stand in a column of its own, after a blank."""
    parted = pc.extract_regex(cells, _PART_OF_DAY)
    both = parted.is_valid()
    days = read_cells(pc.if_else(both, pc.struct_field(parted, "day"), cells), writing=writing).values
    if pc.any(both).as_py():
        part = read_cells(pc.coalesce(pc.struct_field(parted, "part"), pa.scalar("0")), writing=writing)
        days = np.where(both, days + part.values, np.nan)
    days = np.where(days >= 1, days - _SERIAL, np.nan) if dated else np.where(days >= 0, days % 1, np.nan)
    return _from_seconds(np.round(days * _DAY / _SECOND, 3), zoned=False)


def _spelled(cells: pa.StringArray, unit: str) -> NDArray[np.float64]:
    """Return elapsed times written as h:mm:ss or mm:ss [s], h:mm where the unit is the hour; NaN for all others."""
    whole, parts = (("hours", "minutes"), ("minutes", "seconds"))[unit != "h"], r"(\d+):(\d\d)"
    spelled = pc.replace_substring(cells, ",", ".")
    spelled = pc.replace_substring_regex(
        spelled, rf"^{parts}:(\d\d(\.\d+)?)$", r"\1 hours \2 minutes \3 seconds"
    )
    spelled = pc.replace_substring_regex(spelled, rf"^{parts}((\.\d+)?)$", rf"\1 {whole[0]} \2\3 {whole[1]}")
    spelled = pc.if_else(pc.match_substring(spelled, "minutes"), spelled, None)
    return np.asarray(pd.to_timedelta(spelled.to_pandas()).dt.total_seconds())


def spread(micros: Micros) -> Micros:
    """Return ascending times [µs] with the rows of one time spread evenly to the next, over no more than is usual."""
    first = np.flatnonzero(np.concatenate([[True], np.diff(micros) > 0])[: len(micros)])
    if len(first) < 2:
        return micros
    steps = np.diff(micros[first])
    usual = int(np.median(steps))
    counts = np.diff(np.concatenate([first, [len(micros)]]))
    room = np.minimum(np.concatenate([steps, [usual]]), usual)
    place = np.arange(len(micros)) - np.repeat(first, counts)
    return np.asarray(micros + place * np.repeat(room, counts) // np.repeat(counts, counts), np.int64)


def utc_micros(index: pd.Index) -> Micros:
    """Return the times of a time-zone-aware index [µs of UTC]."""
    return np.asarray(pd.DatetimeIndex(index).tz_convert("UTC").as_unit("us").asi8)


def unwrap_midnight(clock: Micros, *, first_day: dt.date) -> Micros:
    """Return local times [µs] from clock times [µs since midnight], a day later after each jump back of half a day.

    Where most steps go back, by less than that, the rows were written newest first and are counted from their end.
    """
    steps = np.diff(clock)
    if np.sum((steps < 0) & (steps > -_HALF_DAY)) > np.sum((steps > 0) & (steps < _HALF_DAY)):
        return unwrap_midnight(clock[::-1], first_day=first_day)[::-1]
    days = np.concatenate([[0], np.cumsum(steps < -_HALF_DAY)])[: len(clock)]
    return clock + _DAY * (days.astype(np.int64) + (first_day - dt.date(1970, 1, 1)).days)


def moment_on_utc(moment: dt.datetime | dt.time, *, date: dt.date, zone: str) -> pd.Timestamp:
    """Return a time written in visit.toml in the visit's zone; a clock time is of the visit's day.

    Raises
    ------
    RefusalError
        The local time does not exist, or occurs twice.
    """
    whole = moment if isinstance(moment, dt.datetime) else dt.datetime.combine(date, moment)
    stamp = pd.Timestamp(whole).as_unit("us")
    if stamp.tz is not None:
        return stamp.tz_convert(ZoneInfo(zone))
    placed = stamp.tz_localize(ZoneInfo(zone), ambiguous="NaT", nonexistent="NaT")
    if not isinstance(placed, pd.Timestamp):
        exists = stamp.tz_localize(ZoneInfo(zone), ambiguous=True, nonexistent="NaT") is not pd.NaT
        beside = [(stamp + pd.Timedelta(days=day)).tz_localize(ZoneInfo(zone)) for day in (-1, 1)]
        offsets = [f"{whole.isoformat()}{day.isoformat()[-6:]}" for day in beside]
        raise RefusalError(
            f"{whole:%H:%M:%S} {'occurs twice' if exists else 'does not exist'} on {whole:%Y-%m-%d} in {zone}",
            rule="the clocks are changed that night",
            way_out=f"Write the time with its offset from UTC: {' or '.join(offsets)}",
        )
    return placed


def standard_time(date: dt.date, *, zone: str) -> str:
    """Return in words the fixed offset that a zone keeps in winter, "" where no zone of whole hours is it."""
    noons = [dt.datetime(date.year, month, 1, 12, tzinfo=ZoneInfo(zone)) for month in (1, 7)]
    hours = min((noon.utcoffset() or dt.timedelta()) / dt.timedelta(hours=1) for noon in noons)
    if hours != int(hours):
        return ""
    return f"'Etc/GMT{-int(hours):+d}' ({abs(int(hours))} h {'ahead of' if hours > 0 else 'behind'} UTC)"


@dataclass(frozen=True, slots=True, kw_only=True)
class OnUTC:
    """Local times set on UTC [µs]; `twice` could not be told apart, `never` do not exist in the zone."""

    micros: Micros
    twice: Mask
    never: Mask


def set_on_utc(local: Micros, *, zone: str) -> OnUTC:
    """Set local times on UTC; an hour that occurs twice is told apart by the order of the rows where that is plain."""
    shift = _one_shift(local, zone)
    if shift is not None:
        none = np.zeros(len(local), bool)
        return OnUTC(micros=local + shift, twice=none, never=none)
    first = _localized(local, zone, summer=True)
    second = _localized(local, zone, summer=False)
    never = first == pd.NaT.value
    open_question = (first != second) & ~never
    micros, twice = np.where(open_question, np.int64(pd.NaT.value), first), open_question.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[False], open_question, [False]]).astype(np.int8)))
    for begin, end in edges.reshape(-1, 2):
        chosen = _told_apart(first, second, slice(int(begin), int(end)))
        if chosen is not None:
            micros[begin:end], twice[begin:end] = chosen, False
    return OnUTC(micros=micros, twice=twice, never=never)


def _one_shift(local: Micros, zone: str) -> int | None:
    """Return what sets all times on UTC [µs], or None where the clocks are changed between the first and the last."""
    first, last = (int(end) // _QUARTER for end in (local.min(), local.max()))
    if last - first > _QUARTERS_LOOKED_AT:
        return None
    quarters = np.arange(first, last + 1) * _QUARTER
    shifts = [_localized(quarters, zone, summer=summer) - quarters for summer in (True, False)]
    shift = int(shifts[0][0])
    return shift if np.ptp(shifts) == 0 and abs(shift) <= _DAY else None


def _localized(local: Micros, zone: str, *, summer: bool) -> Micros:
    """Return local times on UTC, an hour that occurs twice as of `summer`.

    Clocks are changed at full quarters of an hour, so one look-up serves each.
    """
    quarters = local // _QUARTER
    starts = np.flatnonzero(np.concatenate([[True], quarters[1:] != quarters[:-1]]))[: len(local)]
    naive = pd.DatetimeIndex((quarters[starts] * _QUARTER).astype("datetime64[us]"))
    placed = naive.tz_localize(ZoneInfo(zone), ambiguous=np.full(len(naive), summer), nonexistent="NaT")
    micros = np.asarray(placed.tz_convert("UTC").tz_localize(None).as_unit("us").asi8)
    lengths = np.diff(np.concatenate([starts, [len(local)]]))
    set_on = np.repeat(micros, lengths)
    return np.where(set_on == pd.NaT.value, set_on, set_on + local % _QUARTER)


def _told_apart(first: Micros, second: Micros, run: slice) -> Micros | None:
    """Return the one reading of an hour that occurs twice which its neighbours allow, or None."""
    early, late = first[run], second[run]
    back = np.flatnonzero(np.diff(early) < 0)
    if len(back) == 1:
        return np.concatenate([early[: back[0] + 1], late[back[0] + 1 :]])
    steps = np.diff(first)
    interval = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    fits = [
        candidate
        for candidate in (early, late)
        if (run.start == 0 or 0 <= candidate[0] - first[run.start - 1] <= _UNBROKEN * interval)
        and (run.stop == len(first) or 0 <= first[run.stop] - candidate[-1] <= _UNBROKEN * interval)
    ]
    return fits[0] if len(back) == 0 and len(fits) == 1 else None
