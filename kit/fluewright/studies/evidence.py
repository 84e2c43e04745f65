"""What the log says of the heat exchanger around the blower's start, and of the room over a test point."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from fluewright.appliance import (
    COVERAGE,
    BlowerStart,
    Evidence,
    Judgement,
    Number,
    Sign,
    find_blower_start,
    shift_at_blower_start,
    weigh_evidence,
)
from fluewright.sources import limits as safety
from fluewright.steady import mean_noise
from fluewright.studies.heat_settings import heat_carrier_of, plan_point
from fluewright.studies.inputs import known_accuracy, usable
from fluewright.visit import SpotReading, TestPointRows, Visit, moment_on_utc

_ROOM_ROWS = 3  # of a fifth of the log: fewer tell no trend
_BREACH = "heat_exchanger_inspection"
_FLAME = "flame_disturbance"
_SUPPLY = ("carbon_monoxide_supply_over_return", "carbon_monoxide_supply")
_SHIFTS = ("oxygen_shift", "oxygen_shift_down", "carbon_monoxide_shift")


@dataclass(frozen=True, slots=True, kw_only=True)
class BlowerShifts:
    """The blower's start within a test point, None where the log does not hold it, and the shifts found there."""

    start: BlowerStart | None
    shifts: Mapping[str, Number]


def blower_shifts(visit: Visit, rows: TestPointRows, frame: pd.DataFrame) -> BlowerShifts:
    """Return what shifted in the flue when the blower of a test point started."""
    point = plan_point(visit, rows)
    entered = None
    if point.blower_started is not None:
        entered = moment_on_utc(
            point.blower_started, date=visit.plan.visit.date, zone=visit.plan.visit.time_zone
        )
    start = find_blower_start(frame, entered=entered) if heat_carrier_of(visit) == "air" else None
    if start is None:
        return BlowerShifts(start=None, shifts={})
    watched = frame[[name for name in frame if usable(visit, str(name))]]
    stated = {str(name): known_accuracy(visit, str(name)) for name in watched}
    shifts = shift_at_blower_start(
        watched,
        start,
        response_times={name: one.response_time for name, one in stated.items()},
        resolutions={name: one.resolution for name, one in stated.items()},
    )
    return BlowerShifts(start=start, shifts={f"{name}_shift": shift for name, shift in shifts.items()})


def telling(shifts: Mapping[str, Number]) -> Mapping[str, Number]:
    """Return the shifts that say something: those whose interval is narrower than the limit they are judged by."""
    limits = {
        one.quantity: abs(one.tiers[0].value) for one in safety.limits().values() if one.name in _SHIFTS
    }
    return {
        name: one
        for name, one in shifts.items()
        if (one.high - one.low) / 2 < limits.get(one.quantity, math.inf)
    }


def heat_exchanger_evidence(
    visit: Visit, judged: tuple[Judgement, ...], shifts: Mapping[str, BlowerShifts]
) -> Evidence | None:
    """Return the graded evidence of the heat exchanger of a visit, or None for an appliance that heats no air."""
    if heat_carrier_of(visit) != "air":
        return None
    standing = [one for one in judged if not one.put_right]

    def ruled(names: tuple[str, ...]) -> Sign:
        outcomes = {one.outcome for one in standing if one.rule.rstrip("_23456789") in names}
        if "beyond" in outcomes:
            return "seen"
        return "cannot tell" if "cannot tell" in outcomes else "not seen" if outcomes else "not tested"

    def checked(name: str) -> Sign:
        result = visit.plan.checks[name].result if name in visit.plan.checks else "not tested"
        return {"fault seen": "seen", "no fault seen": "not seen"}.get(result, "not tested")  # type: ignore[return-value]

    shift = ruled(_SHIFTS)
    if shift == "not tested" and any(one.start is not None for one in shifts.values()):
        shift = "cannot tell"
    return weigh_evidence(
        breach=checked(_BREACH),
        signs={
            "carbon monoxide in supply air over return air": ruled(_SUPPLY),
            "flame disturbed when the blower starts": checked(_FLAME),
            "oxygen or carbon monoxide shifts when the blower starts": shift,
        },
    )


def ambient_rise(
    visit: Visit, rows: pd.DataFrame, spots: Mapping[str, tuple[SpotReading, ...]]
) -> Number | None:
    """Return how far carbon monoxide in the room rose over a test point, or None where it was read once or never.

    By the log where there is one (mean of the last fifth less that of the first), else by the readings by hand in the
    order they are written. The monitor's error cancels, but for its steps.
    """
    name = "carbon_monoxide_ambient"
    taken = [one for one in spots.get(name, ()) if not one.bound]
    logged = rows[name].dropna().to_numpy(dtype=np.float64) if name in rows else np.empty(0)
    part = logged.size // 5
    if part >= _ROOM_ROWS:
        ends = logged[:part], logged[-part:]
        rise = float(ends[1].mean() - ends[0].mean())
        instrument = ""
        noise = math.hypot(*(mean_noise(end).standard_error for end in ends))
    elif len(taken) > 1:
        rise, noise, instrument = taken[-1].value - taken[0].value, 0.0, taken[0].instrument
    else:
        return None
    half = COVERAGE * math.hypot(noise, known_accuracy(visit, name, instrument).resolution / math.sqrt(6))
    return Number(
        quantity="carbon_monoxide_ambient_rise",
        value=rise,
        low=rise - half,
        high=rise + half,
        origin="computed",
        basis="last less first, of the log or by hand; one instrument",
    )
