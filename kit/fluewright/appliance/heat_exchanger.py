"""Evidence of the heat exchanger: what changed in the flue when the blower started, and a graded conclusion.

A crack shows where house air and flue gas meet: carbon monoxide in the supply air, or house air in the flue. Neither
has to show: under an inducer's suction a crack leaks air into the flue only, and a tight joint may open when hot. So
the evidence is graded from a breach that was seen down to signs that were not seen, and never reads as a pass.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import pandas as pd

from fluewright import sources, units
from fluewright.appliance.numbers import COVERAGE, Number
from fluewright.steady import mean_noise
from fluewright.units import Array

_TABLE = sources.table("appliance")["blower_start"]
WATCHED = (
    "oxygen_dry",
    "oxygen_wet",
    "carbon_monoxide_dry",
    "draft_overfire",
    "draft_breech",
    "draft_inducer",
)

Sign: TypeAlias = Literal["seen", "not seen", "cannot tell", "not tested"]
Grade: TypeAlias = Literal[
    "breach seen", "signs of a leak", "one sign of a leak", "cannot tell", "no sign seen", "not tested"
]


def _seconds(key: str) -> float:
    return units.parse(_TABLE[key], "s", key)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlowerStart:
    """When the blower started while the burner ran, and how that is known: "log" or "entered"."""

    moment: pd.Timestamp
    known_by: Literal["log", "entered"]


def find_blower_start(frame: pd.DataFrame, *, entered: pd.Timestamp | None = None) -> BlowerStart | None:
    """Return the first start of the blower in a test point, or None where the log does not say.

    A start is not guessed from temperatures: a plenum warms and cools for many reasons.

    Parameters
    ----------
    frame : DataFrame
        Rows of the test point [SI]; `blower_on` where it was logged.
    entered : Timestamp, optional
        The moment as the visit states it; it is taken before the log's.
    """
    if entered is not None:
        return BlowerStart(moment=entered, known_by="entered")
    if "blower_on" not in frame:
        return None
    known = frame["blower_on"].dropna()
    on = known.to_numpy(dtype=np.float64) > 0.5
    starts = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    return BlowerStart(moment=known.index[starts[0]], known_by="log") if starts.size else None


def _line(times: Array, values: Array) -> tuple[float, float]:
    """Return the slope of a straight line [1/s], and its standard error."""
    centered = times - times.mean()
    across = float(centered @ centered)
    slope = float(centered @ (values - values.mean())) / across
    rest = values - values.mean() - slope * centered
    return slope, math.sqrt(float(rest @ rest) / max(len(values) - 2, 1) / across)


def shift_at_blower_start(
    frame: pd.DataFrame,
    start: BlowerStart,
    *,
    response_times: Mapping[str, float] | None = None,
    resolutions: Mapping[str, float] | None = None,
) -> Mapping[str, Number]:
    """Return by how much each watched reading shifted when the blower started.

    The instrument's bias cancels, since it is the same on both sides. A drift that was under way before the start may
    have gone on or died away; the interval allows both, so a reading that had not settled tells little.

    Parameters
    ----------
    frame : DataFrame
        Rows of the test point [SI], time as index.
    start : BlowerStart
        As `find_blower_start` returns it.
    response_times : mapping of str to float, optional
        Of each quantity's instrument [s], to 90 %.
    resolutions : mapping of str to float, optional
        Of each quantity's display [SI].

    Returns
    -------
    mapping
        Quantity to its shift with a 95 % interval; a reading with too few rows on either side is left out.
    """
    moment = start.moment
    seconds = np.asarray((pd.DatetimeIndex(frame.index) - moment).total_seconds(), dtype=np.float64)
    responses, steps = response_times or {}, resolutions or {}
    made: dict[str, Number] = {}
    for name in WATCHED:
        if name not in frame:
            continue
        values = frame[name].to_numpy(dtype=np.float64)
        answered = _seconds("settling") + (responses.get(name) or _seconds("response_time"))
        first = (seconds >= -_seconds("before")) & (seconds < 0) & np.isfinite(values)
        then = (seconds >= answered) & (seconds < answered + _seconds("after")) & np.isfinite(values)
        if min(first.sum(), then.sum()) < _TABLE["least_rows"]:
            continue
        made[name] = _shift(name, seconds, values, first, then, steps.get(name, 0.0))
    return made


def _shift(name: str, seconds: Array, values: Array, first: Array, then: Array, resolution: float) -> Number:
    mask_first, mask_then = first.astype(bool), then.astype(bool)
    apart = float(seconds[mask_then].mean() - seconds[mask_first].mean())
    slope, slope_error = _line(seconds[mask_first], values[mask_first])
    shift = float(values[mask_then].mean() - values[mask_first].mean())
    noise = math.hypot(
        mean_noise(values[mask_first]).standard_error,
        mean_noise(values[mask_then]).standard_error,
        resolution / math.sqrt(6),  # of two roundings, each a rectangle of half the resolution
    )
    # The drift before the start may have gone on or died away: both are allowed, evenly.
    drift = slope * apart
    middle = shift - drift / 2
    half = COVERAGE * math.sqrt(noise**2 + (drift**2 / 12) + (slope_error * apart / 2) ** 2)
    return Number(
        quantity=f"{name}_shift",
        value=middle,
        low=middle - half,
        high=middle + half,
        origin="computed",
        basis="mean after the blower's start less mean before, less half of the drift that was under way",
    )


def supply_over_return(supply: Number, back: Number) -> Number:
    """Return carbon monoxide in supply air less that in return air, with the interval of both."""
    return Number(
        quantity="carbon_monoxide_supply_over_return",
        value=supply.value - back.value,
        low=supply.low - back.high,
        high=supply.high - back.low,
        origin="computed",
        basis="supply air less return air",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What each step of the inspection showed, and the conclusion they allow together."""

    signs: Mapping[str, Sign]
    grade: Grade

    @property
    def sentence(self) -> str:
        """The conclusion in words."""
        return str(sources.table("appliance")["evidence"][self.grade])


def weigh_evidence(*, breach: Sign, signs: Mapping[str, Sign]) -> Evidence:
    """Return the conclusion that the steps of an inspection allow, graded; never a pass.

    Parameters
    ----------
    breach : Sign
        Whether a crack, hole or open seam was seen.
    signs : mapping of str to Sign
        The other steps: carbon monoxide in supply air, flame disturbance, shifts when the blower started.
    """
    found: Iterable[Sign] = tuple(signs.values())
    seen = sum(sign == "seen" for sign in found)
    everything = {"crack, hole or open seam": breach, **signs}
    tested = [sign for sign in everything.values() if sign != "not tested"]
    grade: Grade = (
        "breach seen"
        if breach == "seen"
        else "signs of a leak"
        if seen > 1
        else "one sign of a leak"
        if seen
        else "not tested"
        if not tested
        else "cannot tell"
        if "cannot tell" in tested
        else "no sign seen"
    )
    return Evidence(signs=everything, grade=grade)
