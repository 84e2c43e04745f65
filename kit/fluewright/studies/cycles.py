"""The burner cycles of a visit's logs: what each settled at, its peaks of carbon monoxide, and all of them together.

A cycle's numbers come about as a test point's do: the same means with the same noise, the same draws of the errors
that the whole visit shares, the same chain of formulas, run on many cycles and their draws at once.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright import sources, units
from fluewright.appliance import COVERAGE, Number
from fluewright.combustion import Fuel
from fluewright.steady import (
    DILUTION,
    Cycle,
    Cycles,
    Peak,
    SettledPoint,
    Window,
    draw_means,
    find_cycles,
    named_criteria,
    settled_point,
)
from fluewright.studies import inputs as given
from fluewright.studies import numbers as core
from fluewright.units import Array
from fluewright.visit import SpotReading, StatedAccuracy, Visit

_CHANNELS = (
    *DILUTION,
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
_MONOXIDE = "carbon_monoxide_dry"
_BASIS = "mean over the settled part of the cycle"
# As many draws for each cycle as for a test point, and fewer of many cycles: so many of all together, but never fewer
# for one than tell the ends of its interval to 4 % of the half-width (one standard deviation of the normal's ends).
_DRAWS_OF_ALL, _FEWEST_DRAWS = 100_000, 1_000
_AT_ONCE = 32_000  # draws through the chain: memory stays flat
_SUMMED = 1_000  # of more cycles, at most so many, evenly spread, tell the interval of their median
_BOTH_ENDS = 1 - math.sqrt(0.05)  # holds 95 % of the sum of two errors, each even over one step, in steps


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """What a steady window settled at: its means and results as numbers, and their draws [SI], by name."""

    numbers: Mapping[str, Number]
    draws: Mapping[str, Array]


@dataclass(frozen=True, slots=True, kw_only=True)
class BurnerCycle:
    """One burner cycle with its numbers by name: times, peaks, means over its settled part, and results from them.

    What was not seen, or never settled, has no number.
    """

    cycle: Cycle
    numbers: Mapping[str, Number]


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How one number differs from cycle to cycle.

    `deviation` is the standard deviation of the values [SI], NaN of one cycle: it describes them, as they were found,
    and has no interval.
    """

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
    no light-off was seen with a reading of it. `interval` [s] is the usual step between the readings that tell on from
    off, `draws` how many draws tell the interval of a cycle that is no test point's.
    """

    told_by: str
    cycles: tuple[BurnerCycle, ...]
    whole: int
    never_settled: int
    share_on: Number | None
    light_offs: Number | None
    spreads: Mapping[str, Spread]
    worst: BurnerCycle | None
    interval: float
    draws: int


def cycles_of(visit: Visit, *, windows: Iterable[Window], rows: pd.DataFrame, bounds: pd.DataFrame) -> Cycles:
    """Return the burner cycles of a visit's logs, looked through from end to end, not test point by test point.

    Parameters
    ----------
    visit : Visit
        Whose logs are looked through.
    windows : iterable of Window
        The windows that the rules found for the test points.
    rows, bounds : DataFrame
        Every row of the logs [SI], set aside or not, and row for row the least values of over-range cells: peaks
        are looked for in these.
    """
    read = _MONOXIDE in rows and given.usable(visit, _MONOXIDE)
    return find_cycles(
        _evidence(visit),
        monoxide=rows[_MONOXIDE] if read else pd.Series(dtype=float, index=rows.index[:0]),
        least_monoxide=bounds[_MONOXIDE] if read and _MONOXIDE in bounds else None,
        windows=windows,
        criteria=named_criteria(visit.plan.steady.criteria),
        system=visit.plan.report.units,
    )


def in_light_off(found: Cycles, times: pd.DatetimeIndex) -> NDArray[np.bool_]:
    """Tell which of some times lie in the first minutes after a light-off that was seen, as limits hold after them."""
    within = np.zeros(len(times), dtype=bool)
    told = sources.table("appliance")["light_off"]["limits_hold_after"]
    after = pd.Timedelta(seconds=units.parse(told, "s", "light_off"))
    for start in (cycle.start for cycle in found.cycles if cycle.lit):
        first, last = int(times.searchsorted(start)) - 1, int(times.searchsorted(start + after))
        within[max(first, 0) : last] = True
    return within


def burner_cycles(
    visit: Visit,
    fuel: Fuel,
    found: Cycles,
    *,
    shared: given.SharedInputs,
    accuracies: Callable[[pd.DataFrame], Mapping[str, StatedAccuracy]],
    known: Mapping[Window, Settled],
    bounds: pd.DataFrame,
) -> BurnerCycles:
    """Return the burner cycles of a visit's logs with their results.

    Parameters
    ----------
    visit : Visit
        Whose they are.
    fuel : Fuel
        What was burned.
    found : Cycles
        As `cycles_of` gives them.
    shared : SharedInputs
        What the whole visit shares.
    accuracies : callable
        The accuracies of the channels in a window of rows, as `settled_accuracies` gives them.
    known : mapping of Window to Settled
        What the test points settled at in such a window: it is what a cycle settled at that has the same one.
    bounds : DataFrame
        Row for row of the logs the least values [SI] of over-range cells.
    """
    frame = _evidence(visit)
    windowed = dict.fromkeys(cycle.settled for cycle in found.cycles if cycle.settled is not None)
    new = [window for window in windowed if window not in known]
    draws = min(core.DRAWS, max(_FEWEST_DRAWS, _DRAWS_OF_ALL // max(len(new), 1)))
    formed = _formed(visit, fuel, _parts(visit, frame, new, accuracies, bounds), shared=shared, draws=draws)
    summed = -(-len(windowed) // _SUMMED)
    settled = {}
    for place, window in enumerate(windowed):
        one = _as_a_cycle(known[window], frame.columns, draws) if window in known else next(formed)
        settled[window] = replace(one, draws={}) if place % summed else one
    half = given.half_widths(visit).get(_MONOXIDE, (0.0, 0.0))
    cycles = tuple(
        BurnerCycle(
            cycle=cycle,
            numbers={
                **_times_and_peaks(cycle, half, found.interval),
                **(settled[cycle.settled].numbers if cycle.settled is not None else {}),
            },
        )
        for cycle in found.cycles
    )
    return _summed_up(found, cycles, settled, draws)


def _evidence(visit: Visit) -> pd.DataFrame:
    """Return the channels that tell and describe a burner's cycles; what an instrument computed is not among them."""
    frame = visit.readings.frame
    names = [name for name in (*_CHANNELS, "burner_on") if name in frame and given.usable(visit, name)]
    return pd.DataFrame({name: frame[name] for name in names}, index=frame.index, copy=False)


def _times_and_peaks(cycle: Cycle, half: tuple[float, float], step: float) -> dict[str, Number]:
    """Return the times of a cycle, read every `step` [s], and its peaks of carbon monoxide.

    Their accuracy is `half` (absolute, share).
    """
    made = {}
    if cycle.lit and cycle.ended:
        made["burner_on_time"] = _time("burner_on_time", cycle.on_time, step, "from light-off to shut-down")
    if np.isfinite(cycle.off_before):
        made["burner_off_time"] = _time(
            "burner_off_time", cycle.off_before, step, "from shut-down to light-off"
        )
    if np.isfinite(cycle.settled_after):
        made["settling_time"] = _time("settling_time", cycle.settled_after, step, "from light-off on")
    if cycle.light_off_peak is not None:
        made[LIGHT_OFF_PEAK] = _peak(cycle.light_off_peak, half, "dry; greatest of the light-off")
    if cycle.peak is not None:
        made[PEAK] = _peak(cycle.peak, half, "dry; greatest of every row from this light-off to the next")
    return made


def _time(quantity: str, seconds: float, step: float, basis: str) -> Number:
    """Return a time between two moments, each of which lies somewhere between two readings."""
    reach = _BOTH_ENDS * step
    return Number(
        quantity=quantity,
        value=seconds,
        low=max(seconds - reach, 0.0),
        high=seconds + reach,
        origin="measured",
        basis=basis,
    )


def _peak(peak: Peak, half: tuple[float, float], basis: str) -> Number:
    # A cell that reads less than none shows an error of at least that size.
    value, reach = max(peak.value, 0.0), max(half[0], half[1] * peak.value, -peak.value)
    low, high = (value, np.inf) if peak.at_least else (max(value - reach, 0.0), value + reach)
    return Number(quantity=_MONOXIDE, value=value, low=low, high=high, origin="measured", basis=basis)


# ---------------------------------------------------------------------------- what settled


@dataclass(frozen=True, slots=True)
class _Part:
    """The settled part of a cycle: its means, which of them were logged, and which the chain is fed."""

    point: SettledPoint
    logged: tuple[str, ...]
    fed: tuple[str, ...]


def _parts(
    visit: Visit,
    frame: pd.DataFrame,
    windows: Iterable[Window],
    accuracies: Callable[[pd.DataFrame], Mapping[str, StatedAccuracy]],
    bounds: pd.DataFrame,
) -> Iterator[_Part]:
    """Yield the means over each window, as of a test point; what left its range there has none.

    The balance of the flue gas needs all of it: monoxide beyond its range leaves no result.
    """
    spots = _by_hand(visit)
    by_hand, bounded = given.spot_means(visit, spots), bounds.dropna(how="all")
    for window in windows:
        rows = window.of(frame)
        beyond = bounded.loc[window.start : window.end] if len(bounded) else bounded
        above = given.above_range(beyond, spots, logged=frame.columns)
        name = f"cycle settled at {window.start.isoformat()}"
        found = settled_point(rows, name=name, window=window, accuracies=accuracies(rows))
        means = given.logged_means(visit, found, but=above)
        point = replace(found, means={**by_hand, **means})
        lost = DILUTION if _MONOXIDE in above else ()
        yield _Part(point, tuple(means), tuple(name for name in point.means if name not in lost))


def _as_a_cycle(point: Settled, logged: Iterable[str], draws: int) -> Settled:
    """Return what a test point settled at as what its cycle did."""
    means = {name: replace(point.numbers[name], basis=_BASIS) for name in logged if name in point.numbers}
    numbers = means | {name: point.numbers[name] for name in _RESULTS if name in point.numbers}
    return Settled(numbers=numbers, draws={name: point.draws[name][:draws] for name in numbers})


def _by_hand(visit: Visit) -> Mapping[str, tuple[SpotReading, ...]]:
    """Return the channels read by hand: for the whole visit, else at its first test point that has them."""
    taken = dict(visit.spots)
    for point in visit.test_points:
        taken = {**point.spots, **taken}
    return {name: spots for name, spots in taken.items() if name in _CHANNELS}


def _formed(
    visit: Visit, fuel: Fuel, parts: Iterable[_Part], *, shared: given.SharedInputs, draws: int
) -> Iterator[Settled]:
    """Yield what each part settled at, in their order."""
    parts = list(parts)
    settings = core.Settings(
        condensing=visit.plan.appliance.condensing and visit.plan.sampling.at_outlet,
        subtract_ambient=False,
        stack_loss_fuel="",
        rated_input=None,
    )
    drawn = zip(parts, draw_means((part.point for part in parts), draws=draws, seed=core.SEED), strict=True)
    for fed, alike in itertools.groupby(drawn, key=lambda pair: pair[0].fed):
        while block := list(itertools.islice(alike, max(_AT_ONCE // draws, 1))):
            inputs = [
                given.point_inputs({name: part.point.means[name] for name in fed}, means, shared.inputs)[0]
                for part, means in block
            ]
            results = core.evaluate_each(fuel, shared.fuel_draws, inputs, settings, draws=draws)
            for (part, means), (values, found) in zip(block, results, strict=True):
                formed = core.numbers({name: values[name] for name in _RESULTS if name in values}, found)
                read = {name: given.mean_number(part.point.means[name], basis=_BASIS) for name in part.logged}
                numbers = {**read, **formed}
                both = {**means, **found}
                yield Settled(
                    numbers=numbers, draws={name: both[name].astype(np.float32) for name in numbers}
                )


# ---------------------------------------------------------------------------- from cycle to cycle


def _summed_up(
    found: Cycles, cycles: tuple[BurnerCycle, ...], settled: Mapping[Window, Settled], draws: int
) -> BurnerCycles:
    """Return the cycles with what they have in common."""
    share_on = light_offs = None
    if found.time_known > 0:
        share_on, light_offs = _rates(found)
    names = dict.fromkeys(name for one in cycles for name in one.numbers)
    seen = [one for one in cycles if LIGHT_OFF_PEAK in one.numbers]
    return BurnerCycles(
        told_by=found.told_by,
        cycles=cycles,
        whole=sum(one.cycle.lit and one.cycle.ended for one in cycles),
        never_settled=sum(one.cycle.settled is None for one in cycles),
        share_on=share_on,
        light_offs=light_offs,
        spreads={name: _spread(*_of_one(name, cycles, settled)) for name in names},
        worst=max(seen, key=lambda one: _rank(one.numbers[LIGHT_OFF_PEAK]), default=None),
        interval=found.interval,
        draws=draws,
    )


def _rates(found: Cycles) -> tuple[Number, Number]:
    """Return the share of time on and the rate of light-offs; each on and off is known to within one step."""
    known, step = found.time_known, found.interval
    basis = f"of the {known / 3600:.3g} h in which the logs tell on from off"
    on, lit = found.time_on / known, sum(one.lit for one in found.cycles)
    reach = COVERAGE * step * math.sqrt(2 * len(found.cycles) / 12) / known
    share = Number(
        quantity="burner_on_share",
        value=on,
        low=max(on - reach, 0.0),
        high=min(on + reach, 1.0),
        origin="computed",
        basis=basis,
    )
    rate = Number(
        quantity="burner_light_off_rate",
        value=lit / known,
        low=lit / (known + _BOTH_ENDS * step),
        high=lit / max(known - _BOTH_ENDS * step, step),
        origin="computed",
        basis=basis,
    )
    return share, rate


def _of_one(
    name: str, cycles: Iterable[BurnerCycle], settled: Mapping[Window, Settled]
) -> tuple[list[Number], list[tuple[Number, Array]]]:
    """Return one number of all cycles that have it, and those with their draws that tell the median's interval."""
    numbers, drawn = [], []
    for one in cycles:
        if name not in one.numbers:
            continue
        numbers.append(one.numbers[name])
        draws = settled[one.cycle.settled].draws if one.cycle.settled is not None else {}
        if name in draws:
            drawn.append((one.numbers[name], draws[name]))
    return numbers, drawn


def _rank(number: Number) -> tuple[float, bool]:
    return number.value, number.is_lower_bound


def _spread(numbers: Sequence[Number], drawn: Sequence[tuple[Number, Array]]) -> Spread:
    """Return how numbers differ; the median's interval is formed within each draw, or else of the ends of theirs.

    The median of the ends is right where the error is common to all, as of the cell that read the peaks, and too wide
    where each has its own, as of times.
    """
    values = [number.value for number in numbers]
    value = float(np.median(values))
    spreads = len(values) > 1 and not any(number.is_lower_bound for number in numbers)
    if drawn:
        rows = np.stack([draws for _, draws in drawn])
        rows[np.isnan(rows)] = np.inf  # too dilute: beyond an end
        moved = value - float(np.median([number.value for number, _ in drawn]))
        low, high = (end + moved for end in core.interval(np.median(rows, axis=0)))
    else:
        low, high = (float(np.median([getattr(one, end) for one in numbers])) for end in ("low", "high"))
    median = Number(
        quantity=numbers[0].quantity,
        value=value,
        low=low,
        high=high,
        origin=numbers[0].origin,
        basis=f"{numbers[0].basis}; median of {len(values)} cycles",
    )
    return Spread(
        median=median,
        least=min(numbers, key=_rank),
        greatest=max(numbers, key=_rank),
        deviation=float(np.std(values, ddof=1)) if spreads else float("nan"),
        cycles=len(values),
    )
