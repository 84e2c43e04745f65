"""What the fresh air inside a log says of the cells: what oxygen drifted by, and the zero of carbon monoxide.

Evidence only. It widens the intervals of the readings, and corrects none of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from fluewright import combustion, sources, units
from fluewright.appliance import COVERAGE, Number
from fluewright.steady import OXYGEN, ROOM_AIR, mean_noise, probable_fresh_air, stated_or_assumed
from fluewright.units import Array
from fluewright.visit import Drift, Visit, accuracy_of

When: TypeAlias = Literal["before", "after"]

_MONOXIDE, _ROOM, _HUMIDITY = "carbon_monoxide_dry", "carbon_monoxide_ambient", "relative_humidity"


@dataclass(frozen=True, slots=True, kw_only=True)
class FreshAirCheck:
    """What a cell showed of fresh air in the log, and what it should have shown [SI].

    `when` is before the first burn or after the last; `by` says in words where the reference comes from.
    """

    quantity: str
    instrument: str
    when: When
    shown: float
    reference: float
    by: str
    error: Number


# What was found of a visit as long as it lives: every reading of a cell asks for it, and a long log is long to search.
_KNOWN: WeakKeyDictionary[Visit, dict[str, tuple[FreshAirCheck, ...]]] = WeakKeyDictionary()


def fresh_air_checks(visit: Visit, quantity: str) -> tuple[FreshAirCheck, ...]:
    """Return what the cell of one quantity showed in the fresh air of its log; nothing where that tells nothing.

    Oxygen before the first burn is held against air's, and after the last burn against itself before the first, so that
    the error it was set right with cancels. Carbon monoxide is held against the room's by another instrument, or
    against none.
    """
    known = _KNOWN.setdefault(visit, {})
    if quantity not in known:
        monoxide = _monoxide_checks(visit) if quantity == _MONOXIDE else ()
        known[quantity] = tuple(_oxygen_checks(visit, quantity) if quantity in OXYGEN else monoxide)
    return known[quantity]


def fresh_air_drift(visit: Visit, quantity: str, *, instrument: str) -> Drift:
    """Return the errors found in the log's fresh air as a check of the instrument that wrote it; nothing for others.

    One check tells no slope: what it found counts in full at every reading.
    """
    channel = visit.readings.channels.get(quantity)
    if channel is None or channel.instrument != instrument:
        return Drift()
    found = {one.when: ((one.shown, one.error.value),) for one in fresh_air_checks(visit, quantity)}
    return Drift(before=found.get("before", ()), after=found.get("after", ()))


def oxygen_zero_drift(visit: Visit) -> Number | None:
    """Return oxygen in fresh air after the burns less before them, or None where the log does not tell it."""
    found = (one for quantity in OXYGEN for one in fresh_air_checks(visit, quantity))
    return next((one.error for one in found if one.when == "after"), None)


# ---------------------------------------------------------------------------- oxygen and carbon monoxide


def _oxygen_checks(visit: Visit, quantity: str) -> Iterator[FreshAirCheck]:
    before, after = (_settled(visit, quantity, one) for one in _airs(visit, quantity))
    if before is None:
        return
    resolution = accuracy_of(visit.plan, quantity).resolution
    dry = combustion.dry_air()["O2"]
    moist = dry * (1 - _water(visit, quantity, before.index))
    shown = float(before.mean())
    yield _check(
        visit,
        quantity,
        "before",
        shown=shown,
        reference=min(max(shown, moist), dry),
        by=f"fresh air: {100 * dry:.1f} % dry, {100 * moist:.1f} % as moist as it may be",
        noise=math.hypot(_noise(before), resolution / math.sqrt(12)),
    )
    if after is not None:
        yield _check(
            visit,
            quantity,
            "after",
            shown=float(after.mean()),
            reference=shown,
            by="as it read before the first burn",
            noise=math.hypot(_noise(before), _noise(after), resolution / math.sqrt(6)),
        )


_OXYGEN_ERRORS: Mapping[When, tuple[str, str]] = {
    "before": (
        "oxygen_fresh_air_error",
        "mean in fresh air before the first burn less what air holds, dry or moist, whichever is nearer",
    ),
    "after": ("oxygen_zero_drift", "mean in fresh air after the last burn less mean before the first"),
}


def _check(
    visit: Visit, quantity: str, when: When, *, shown: float, reference: float, by: str, noise: float
) -> FreshAirCheck:
    """Return what a cell showed of fresh air less what it should have; `noise` is the standard error of both."""
    error, basis = "carbon_monoxide_zero_error", f"mean in fresh air {when} the burns less the room's, {by}"
    if quantity in OXYGEN:
        error, basis = _OXYGEN_ERRORS[when]
    found, half = shown - reference, COVERAGE * noise
    return FreshAirCheck(
        quantity=quantity,
        instrument=visit.readings.channels[quantity].instrument,
        when=when,
        shown=shown,
        reference=reference,
        by=by,
        error=Number(
            quantity=error, value=found, low=found - half, high=found + half, origin="computed", basis=basis
        ),
    )


def _water(visit: Visit, quantity: str, times: pd.Index) -> float:
    """Return the share of water in fresh air as a cell of oxygen meets it, by the humidity read or usual."""
    site, logged = visit.plan.site, visit.readings.frame
    start, end = logged.index.slice_locs(times[0], times[-1])
    warmth = [float(logged[name].iloc[start:end].mean()) for name in ROOM_AIR if name in logged]
    temperature = max((one for one in warmth if np.isfinite(one)), default=_rule("warm", "K"))
    humidity = [one.value for one in visit.by_hand(_HUMIDITY)]
    if _HUMIDITY in logged:
        humidity.append(float(logged[_HUMIDITY].max()))
    usual = units.parse(sources.table("assumptions")[_HUMIDITY]["value"], "1", _HUMIDITY)
    pressure = site.barometric_pressure or combustion.standard_atmosphere_pressure(site.elevation or 0.0)
    most = max((one for one in humidity if np.isfinite(one)), default=usual)
    water = float(
        combustion.moist_air_water_fraction(min(most, 1.0), temperature=temperature, pressure=pressure)
    )
    tool = visit.plan.instruments.get(visit.readings.channels[quantity].instrument)
    if quantity == "oxygen_wet" or tool is None or tool.sample_dew_point is None:
        return water
    return min(water, float(combustion.saturation_pressure(tool.sample_dew_point) / pressure))


def _monoxide_checks(visit: Visit) -> Iterator[FreshAirCheck]:
    whens: tuple[When, When] = ("before", "after")
    for when, air in zip(whens, _airs(visit, _MONOXIDE), strict=True):
        settled = _settled(visit, _MONOXIDE, air)
        room = None if settled is None else _room(visit, settled.index)
        if settled is None or room is None:
            continue
        noise = math.hypot(_noise(settled), accuracy_of(visit.plan, _MONOXIDE).resolution / math.sqrt(12))
        yield _check(
            visit,
            _MONOXIDE,
            when,
            shown=float(settled.mean()),
            reference=room.value,
            by=room.by,
            noise=math.hypot(noise, room.half_width / math.sqrt(3)),
        )


def _noise(settled: pd.Series[float]) -> float:
    return mean_noise(np.asarray(settled, dtype=np.float64)).standard_error


# ---------------------------------------------------------------------------- fresh air that the cell had settled in


def _rules() -> Mapping[str, Any]:
    rules: Mapping[str, Any] = sources.table("appliance")["fresh_air_check"]
    return rules


def _rule(name: str, unit: str) -> float:
    return units.parse(_rules()[name], unit, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Air:
    """Readings of one quantity in fresh air before or after the burns, and those that the cell may still remember."""

    values: pd.Series[float]
    remembered: pd.Series[float]


def _airs(visit: Visit, quantity: str) -> tuple[_Air | None, _Air | None]:
    """Return the fresh air before the first burn and after the last, as the oxygen of the log tells them."""
    frame, channels = visit.readings.frame, visit.readings.channels
    oxygen = next((one for one in OXYGEN if one in frame and channels[one].origin == "measured"), None)
    if oxygen is None or quantity not in frame or channels[quantity].origin != "measured":
        return None, None
    fresh = _rule("oxygen", "mol/mol")
    share, value = _with_bounds(visit, oxygen, 0, len(frame)).to_numpy(), frame[quantity].to_numpy()
    burning = share < fresh
    burning[: (probable := probable_fresh_air(frame))] = False
    if not burning.any():
        return None, None
    lit, out = int(np.argmax(burning)), len(burning) - 1 - int(np.argmax(burning[::-1]))
    stamps = frame.index
    first = stamps.searchsorted(stamps[lit] - _seconds("lead") - _seconds("memory"))
    recent = stamps.searchsorted(stamps[out] - _seconds("memory"))

    def air(start: int, end: int) -> pd.Series[float]:
        part = slice(start, end)
        read = ((share[part] >= fresh) | (np.arange(start, end) < probable)) & np.isfinite(value[part])
        return pd.Series(value[part][read], index=stamps[part][read])

    tail = max(out + 1, int(stamps.searchsorted(stamps[-1] - _seconds("last"))))
    before, after = air(int(first), lit), air(tail, len(frame))
    wait = max(_response(visit, quantity), _rule("answer", "s"))
    return (
        _Air(values=before[before.index < stamps[lit] - _seconds("lead")], remembered=before.iloc[:0]),
        _Air(
            values=after[after.index >= stamps[out] + pd.Timedelta(seconds=wait)],
            remembered=_with_bounds(visit, quantity, int(recent), out + 1),
        ),
    )


def _with_bounds(visit: Visit, quantity: str, start: int, end: int) -> pd.Series[float]:
    """Return readings of some rows, over-range ones as their lower bounds."""
    values, bounds = visit.readings.frame[quantity].iloc[start:end], visit.readings.lower_bounds
    return values.fillna(bounds[quantity].iloc[start:end]) if quantity in bounds else values


def _seconds(name: str) -> pd.Timedelta:
    return pd.Timedelta(seconds=_rule(name, "s"))


def _response(visit: Visit, quantity: str) -> float:
    return accuracy_of(visit.plan, quantity).response_time or _rule("response_time", "s")


def _settled(visit: Visit, quantity: str, air: _Air | None) -> pd.Series[float] | None:
    """Return the readings of fresh air once the cell has forgotten the flue gas, None where they do not stand still.

    A sensor of the first order keeps a tenth of a step for each response time; cells are slower. So each reading of
    flue gas takes its own time to be forgotten, and the last of these ends the wait. Then the second half of the rows
    must not lie apart from the first, as it would on a tail.
    """
    if air is None or not len(air.values):
        return None
    still = _rule("still_oxygen" if quantity in OXYGEN else "still_carbon_monoxide", "mol/mol")
    values = air.values
    if len(air.remembered):
        left = np.abs(air.remembered.to_numpy(dtype=np.float64) - float(values.median()))
        tenths = np.log10(np.maximum(np.nan_to_num(left) / still, 1.0))
        slow = float(_rules()["forgets"]) * _response(visit, quantity)
        forgotten = (air.remembered.index + pd.to_timedelta(slow * tenths, unit="s")).max()
        values = values[values.index >= forgotten]
    if len(values) < _rules()["least_rows"]:
        return None
    half = len(values) // 2
    moved = float(values.iloc[half:].mean() - values.iloc[:half].mean())
    return values if abs(moved) <= max(still, accuracy_of(visit.plan, quantity).resolution) else None


# ---------------------------------------------------------------------------- what the room held


@dataclass(frozen=True, slots=True, kw_only=True)
class _RoomAir:
    """Carbon monoxide in the room [SI], the half-width of what it may be, and by what it is known, in words."""

    value: float
    half_width: float
    by: str


def _room(visit: Visit, times: pd.Index) -> _RoomAir | None:
    """Return what the room held at `times`, or None where it held too much to be a zero gas.

    A reading by the same instrument has the same error of zero, and one by an instrument that was not named may have:
    neither tells the zero.
    """
    ours = visit.readings.channels[_MONOXIDE].instrument
    read = _logged(visit, times) or _by_hand(visit)
    if any(values.max() > _rule("room", "mol/mol") for values in read.values()):
        return None
    others = {tool: values for tool, values in read.items() if tool not in ("", ours)}
    if not others:
        return _RoomAir(value=0.0, half_width=0.0, by="not measured by another instrument and taken as none")
    tool, values = next(iter(others.items()))
    value = float(values.mean())
    stated = stated_or_assumed(accuracy_of(visit.plan, _ROOM, instrument=tool), _ROOM)
    half = stated.half_width(value) + float(np.ptp(values)) / 2
    return _RoomAir(value=value, half_width=half, by="by another instrument")


def _logged(visit: Visit, times: pd.Index) -> Mapping[str, Array]:
    """Return the logged readings of the room at `times`, by instrument; nothing where there are none."""
    channel = visit.readings.channels.get(_ROOM)
    if channel is None or channel.origin != "measured":
        return {}
    start, end = visit.readings.frame.index.slice_locs(times[0], times[-1])
    values = np.asarray(_with_bounds(visit, _ROOM, int(start), int(end)).dropna(), dtype=np.float64)
    return {channel.instrument: values} if len(values) else {}


def _by_hand(visit: Visit) -> Mapping[str, Array]:
    """Return the readings of the room by hand, by instrument; a bound counts as what it bounds."""
    taken: dict[str, list[float]] = {}
    for one in visit.by_hand(_ROOM):
        taken.setdefault(one.instrument, []).append(one.value)
    return {tool: np.array(values) for tool, values in taken.items()}
