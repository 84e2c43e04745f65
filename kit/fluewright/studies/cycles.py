"""The burner cycles of a visit's logs: what each settled at, its peaks of carbon monoxide, and all of them together.

The chain of formulas that gives a test point its results runs once, over all settled cycles at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from fluewright import sources
from fluewright.appliance import Number
from fluewright.appliance.numbers import Origin
from fluewright.combustion import Fuel
from fluewright.steady import Cycle, Cycles, Peak, SettledPart, Window, find_cycles, named_criteria, spot_mean
from fluewright.studies import inputs as given
from fluewright.studies import numbers as core
from fluewright.units import Array
from fluewright.visit import SpotReading, Visit, drift_of

_CHANNELS = (
    *core.OXYGEN,
    "carbon_monoxide_dry",
    *core.UNBURNT,
    "flue_temperature",
    "supply_temperature",
    "return_temperature",
    "air_temperature",
    "ambient_temperature",
    "relative_humidity",
    "humidity_temperature",
    "barometric_pressure",
)
_RESULTS = (
    "excess_air",
    "excess_air_oxygen_rule",
    "carbon_monoxide_air_free",
    "carbon_monoxide_air_free_oxygen_rule",
    "efficiency_gross",
)
LIGHT_OFF_PEAK, PEAK = "carbon_monoxide_dry_light_off", "carbon_monoxide_dry_greatest"
_BASIS = "settled part of the cycle"  # no interval: the instruments' errors, given with the test points, are common


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnerCycle:
    """One burner cycle with its numbers by name: times, peaks, means over its settled part, and results from them.

    What was not seen, or never settled, has no number.
    """

    cycle: Cycle
    numbers: Mapping[str, Number]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How one number differs from cycle to cycle; `deviation` is the standard deviation [SI], NaN of one cycle."""

    median: Number
    least: Number
    greatest: Number
    deviation: float
    cycles: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnerCycles:
    """All burner cycles of a visit's logs in order of time.

    `whole` counts those seen from light-off to shut-down, of which alone the times on are compared; `never_settled`
    those of all that never settled. `worst` is the cycle with the greatest carbon monoxide at light-off, None where
    no light-off was seen with a reading of it.
    """

    told_by: str
    cycles: tuple[BurnerCycle, ...]
    whole: int
    never_settled: int
    share_on: Number | None
    light_offs: Number | None
    spreads: Mapping[str, Spread]
    worst: BurnerCycle | None


def burner_cycles(
    visit: Visit,
    fuel: Fuel,
    *,
    shared: Iterable[core.Input],
    windows: Iterable[Window],
    rows: pd.DataFrame,
    bounds: pd.DataFrame,
) -> BurnerCycles:
    """Return the burner cycles of a visit's logs.

    Parameters
    ----------
    visit : Visit
        Whose logs are looked through from end to end, not test point by test point.
    fuel : Fuel
        What was burned.
    shared : iterable of Input
        What the whole visit shares.
    windows : iterable of Window
        The windows that the rules found for the test points.
    rows, bounds : DataFrame
        Every row of the logs [SI], set aside or not, and row for row the least values of over-range cells: peaks
        are looked for in these.
    """
    name = "carbon_monoxide_dry"
    read = name in rows and given.usable(visit, name)
    found = find_cycles(
        _evidence(visit),
        monoxide=rows[name] if read else pd.Series(dtype=float, index=rows.index[:0]),
        least_monoxide=bounds[name] if read and name in bounds else None,
        windows=windows,
        criteria=named_criteria(visit.plan.steady.criteria),
        system=visit.plan.report.units,
    )
    settled = [cycle.settled for cycle in found.cycles if cycle.settled is not None]
    above = [_above_range(visit, part, bounds) for part in settled]
    formed = iter(_settled_numbers(visit, fuel, settled, above, shared))
    half = given.half_widths(visit).get(name, (0.0, 0.0))
    cycles = tuple(
        BurnerCycle(
            cycle=cycle, numbers=_times_and_peaks(cycle, half) | (next(formed) if cycle.settled else {})
        )
        for cycle in found.cycles
    )
    return _summed_up(found, cycles)


def _evidence(visit: Visit) -> pd.DataFrame:
    """Return the channels that tell and describe a burner's cycles; what an instrument computed is not among them."""
    frame = visit.readings.frame
    names = [name for name in (*_CHANNELS, "burner_on") if name in frame and given.usable(visit, name)]
    return pd.DataFrame({name: frame[name] for name in names}, index=frame.index, copy=False)


def _times_and_peaks(cycle: Cycle, half: tuple[float, float]) -> dict[str, Number]:
    """Return the times of a cycle and its peaks of carbon monoxide, whose accuracy is `half` (absolute, share)."""
    made = {}
    if cycle.lit and cycle.ended:
        made["burner_on_time"] = _time("burner_on_time", cycle.on_time, "from light-off to shut-down")
    if np.isfinite(cycle.off_before):
        made["burner_off_time"] = _time("burner_off_time", cycle.off_before, "from shut-down to light-off")
    if cycle.settled is not None and np.isfinite(cycle.settled.after):
        made["settling_time"] = _time("settling_time", cycle.settled.after, "from light-off on")
    if cycle.light_off_peak is not None:
        made[LIGHT_OFF_PEAK] = _peak(cycle.light_off_peak, half, "dry; greatest of the light-off")
    if cycle.peak is not None:
        made[PEAK] = _peak(cycle.peak, half, "dry; greatest of every row from this light-off to the next")
    return made


def _time(quantity: str, seconds: float, basis: str) -> Number:
    return Number(quantity=quantity, value=seconds, origin="measured", basis=basis)


def _peak(peak: Peak, half: tuple[float, float], basis: str) -> Number:
    reach = max(half[0], half[1] * peak.value)
    low, high = (peak.value, np.inf) if peak.at_least else (max(peak.value - reach, 0.0), peak.value + reach)
    return Number(
        quantity="carbon_monoxide_dry", value=peak.value, low=low, high=high, origin="measured", basis=basis
    )


# ---------------------------------------------------------------------------- what settled


def _above_range(visit: Visit, part: SettledPart, bounds: pd.DataFrame) -> list[str]:
    """Return the channels that left their range in a settled part: they have no mean, and monoxide no result either."""
    return given.above_range(bounds.loc[part.start : part.end], _by_hand(visit), logged=part.means)


def _settled_numbers(
    visit: Visit,
    fuel: Fuel,
    parts: Sequence[SettledPart],
    above: Sequence[Sequence[str]],
    shared: Iterable[core.Input],
) -> list[dict[str, Number]]:
    """Return, for each settled part, the means of its channels and the results formed from them."""
    if not parts:
        return []
    means = {name: _corrected(visit, name, [part.means[name] for part in parts]) for name in parts[0].means}
    results = core.chain(
        fuel,
        _chain_inputs(
            visit, {name: value for name, value in means.items() if np.isfinite(value).any()}, shared
        ),
        core.Settings(
            condensing=visit.plan.appliance.condensing and visit.plan.sampling.at_outlet,
            subtract_ambient=False,
            stack_loss_fuel="",
            rated_input=None,
        ),
    )
    formed = {name: np.broadcast_to(results[name], len(parts)) for name in _RESULTS if name in results}
    columns: list[tuple[str, Array, Origin]] = [(name, value, "measured") for name, value in means.items()]
    columns += [(name, value, "computed") for name, value in formed.items()]
    return [
        {
            name: Number(quantity=name, value=float(value[place]), origin=origin, basis=_BASIS)
            for name, value, origin in columns
            if np.isfinite(value[place])
            and (name if origin == "measured" else "carbon_monoxide_dry") not in lost
        }
        for place, lost in enumerate(above)
    ]


def _corrected(visit: Visit, name: str, means: Sequence[float]) -> Array:
    """Return means over the cycles, corrected for drift where visit.toml asks for it."""
    drift = drift_of(visit.plan, name)
    return np.array([mean + drift.correction(mean) for mean in means])


def _by_hand(visit: Visit) -> Mapping[str, tuple[SpotReading, ...]]:
    """Return the channels read by hand: for the whole visit, else at its first test point that has them."""
    taken = dict(visit.spots)
    for point in visit.test_points:
        taken = {**point.spots, **taken}
    return {name: spots for name, spots in taken.items() if name in _CHANNELS}


def _chain_inputs(
    visit: Visit, means: Mapping[str, Array], shared: Iterable[core.Input]
) -> Mapping[str, Array]:
    """Return what the chain is fed, one value a cycle: means, else readings by hand, else what the visit shares."""
    count = len(next(iter(means.values()))) if means else 0
    typical = given.spot_means(visit, _by_hand(visit))
    every = {name: np.full(count, mean.mean) for name, mean in typical.items()} | {
        name: value.clip(0.0) if sources.quantity(name).unit == "mol/mol" else value
        for name, value in means.items()
    }
    taken, _ = given.point_inputs(
        {name: spot_mean(name, value) for name, value in every.items()},
        every,
        [replace(one, draws=np.full(count, one.central)) for one in shared],
    )
    return {one.name: one.draws if one.draws.size == count else np.full(count, one.central) for one in taken}


# ---------------------------------------------------------------------------- from cycle to cycle


def _summed_up(found: Cycles, cycles: tuple[BurnerCycle, ...]) -> BurnerCycles:
    """Return the cycles with what they have in common."""
    share_on = light_offs = None
    if found.time_known > 0:
        basis = f"of the {found.time_known / 3600:.3g} h in which the logs tell on from off"
        lit = sum(one.lit for one in found.cycles)
        share_on = Number(
            quantity="burner_on_share", value=found.time_on / found.time_known, origin="computed", basis=basis
        )
        light_offs = Number(
            quantity="burner_light_off_rate", value=lit / found.time_known, origin="computed", basis=basis
        )
    names = dict.fromkeys(name for one in cycles for name in one.numbers)
    seen = [one for one in cycles if LIGHT_OFF_PEAK in one.numbers]
    return BurnerCycles(
        told_by=found.told_by,
        cycles=cycles,
        whole=sum(one.cycle.lit and one.cycle.ended for one in cycles),
        never_settled=sum(one.cycle.settled is None for one in cycles),
        share_on=share_on,
        light_offs=light_offs,
        spreads={
            name: _spread([one.numbers[name] for one in cycles if name in one.numbers]) for name in names
        },
        worst=max(seen, key=lambda one: _rank(one.numbers[LIGHT_OFF_PEAK]), default=None),
    )


def _rank(number: Number) -> tuple[float, bool]:
    return number.value, number.is_lower_bound


def _spread(numbers: Sequence[Number]) -> Spread:
    values = [number.value for number in numbers]
    median = Number(
        quantity=numbers[0].quantity,
        value=float(np.median(values)),
        origin=numbers[0].origin,
        basis=f"median of {len(values)} cycles",
    )
    return Spread(
        median=median,
        least=min(numbers, key=_rank),
        greatest=max(numbers, key=_rank),
        deviation=float(np.std(values, ddof=1)) if len(values) > 1 else float("nan"),
        cycles=len(values),
    )
