"""What the rules look at: the burns of a test point in bins, and which bins hold still."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.steady.bins import Binned, Bins, Lines, Settling, bin_burns, fit_lines, fit_settling
from fluewright.steady.criteria import Criteria, Limits, named_criteria, rules
from fluewright.steady.rows import OXYGEN, Rows, first_of, spans
from fluewright.steady.signals import RATES
from fluewright.units import Array

SWAYS = (*OXYGEN, "carbon_monoxide_dry")  # with the wind, about what the burner makes


@dataclass(frozen=True, slots=True)
class Burns:
    """The burns of a test point, by rows and by bins.

    `lines` holds the moving lines of each channel that has a say, and `badness` how far each window is
    beyond the channel's limits (at most 1 where it holds). `holds` and `light_off` are by bins. `gappy` channels hold
    no number on some rows, `unasked` ones were logged and the criteria ask nothing of them. `rate` is the mean firing
    rate of each window, as a share of how far it may move in a steady one, None where none was logged.
    """

    rows: Rows
    bins: Bins
    lines: Mapping[str, Lines]
    badness: Mapping[str, Array]
    holds: NDArray[np.bool_]
    light_off: NDArray[np.bool_]
    criteria: Criteria
    gappy: tuple[str, ...] = ()
    unasked: tuple[str, ...] = ()
    rate: Array | None = None

    def length(self, first: int, last: int) -> float:
        """Return the time [s] that bins (last exclusive) cover."""
        return self.rows.length(*self.bins.rows(first, last)) if last > first else 0.0

    def holding(self) -> list[tuple[int, int]]:
        """Return the runs of holding bins (last exclusive) of at least half a moving window."""
        first, last = spans(self.holds)
        keep = last - first >= max(1, self.bins.moving // 2)
        return list(zip(first[keep].tolist(), last[keep].tolist(), strict=True))

    def undiluted(self, last: int) -> float:
        """Return the share of the flue gas that is not excess air, just before bin `last`."""
        for name in OXYGEN:
            if name in self.lines:
                oxygen = float(self.lines[name].mean[self.bins.window_of[last - 1]])
                return min(max(1 - oxygen / rules().air_oxygen, 0.1), 1.0)
        return 0.5  # no oxygen was logged: take much excess air, which asks for the most

    def settling(self, name: str, first: int, last: int) -> Settling:
        """Return how a channel settles through bins (last exclusive).

        The flue follows the return air or water. Where that is logged, the flue's height above it is what settles,
        and its drift is explained; else the path to which a channel settles may drift.
        """
        value = self.lines[name].binned[first:last]
        explained = name == "flue_temperature" and "return_temperature" in self.lines
        if explained:
            value = value - self.lines["return_temperature"].binned[first:last]
        return fit_settling(
            self.bins.age(first, last),
            value,
            drifts=not explained,
            slowest=rules().slowest_settling,
            believed_from=(rules().curvature, rules().curvature_second),
            # A flue settles for certain; cold return water that is not logged may let its path fall meanwhile.
            drifts_back=np.inf if name == "flue_temperature" else rules().drifts_back,
        )


def look_at_burns(frame: pd.DataFrame, rows: Rows, criteria: Criteria) -> Burns:
    """Bin every burn, and test the moving lines of each channel the criteria ask for against its limits."""
    bins = bin_burns(
        rows.seconds,
        start=rows.start[rows.burning],
        stop=rows.stop[rows.burning],
        interval=rows.interval,
        length=criteria.slope_length,
    )
    lines: dict[str, Lines] = {}
    swaying: dict[str, Binned] = {}
    gappy = []
    for name in criteria.limits:
        if name in frame and len(bins.first):
            binned = bins.average(frame[name].to_numpy(dtype=np.float64))
            if binned.share >= rules().present:
                lines[name] = fit_lines(bins, binned, size=bins.moving)
                swaying |= {name: binned} if name in SWAYS else {}
                gappy += [name] if binned.share < 1 else []
    badness = {
        name: how_bad(line, criteria.limits[name], significance=rules().significance)
        for name, line in lines.items()
    }
    holds = bins.inside.copy()
    for name, bad in sorted(badness.items(), key=lambda item: item[0] in SWAYS):
        held = bad[bins.window_of] <= 1.0
        if name in swaying and (holds & ~held).any():
            held |= _calm(bins, swaying[name], name, criteria)
        holds &= held
    if criteria.slope_length >= criteria.minimum_length:
        # Such a definition is about the whole moving window, not about its middle.
        holds = bins.covered(holds)
    light_off = _light_off(bins, rows)
    holds &= ~light_off & bool(lines)
    unasked = tuple(name for name in named_criteria().limits if name in frame and name not in criteria.limits)
    return Burns(
        rows, bins, lines, badness, holds, light_off, criteria, tuple(gappy), unasked, _rate(frame, bins)
    )


def _rate(frame: pd.DataFrame, bins: Bins) -> Array | None:
    """Return the mean firing rate of each moving window in units of the most that it moves in a steady one."""
    name = first_of(RATES, frame)
    if name is None or not len(bins.first):
        return None
    mean = fit_lines(bins, bins.average(frame[name].to_numpy(dtype=np.float64)), size=bins.moving).mean
    most = rules().modulates_by_meter if name == "gas_volume_flow" else rules().modulates
    greatest = float(np.fmax.reduce(mean))
    return mean / (most * greatest) if greatest > 0 else None


def _calm(bins: Bins, binned: Binned, name: str, criteria: Criteria) -> NDArray[np.bool_]:
    """Return in which bins a gas goes nowhere over the least length of a window, however it sways meanwhile."""
    size = round(criteria.minimum_length / bins.width)
    if size <= bins.moving:
        return np.zeros(len(bins.inside), dtype=np.bool_)
    limit = criteria.limits[name]
    line = fit_lines(bins, binned, size=size)
    bad = how_bad(line, replace(limit, slope=limit.slope * rules().sways), significance=rules().significance)
    place, whole = bins.within_long(size)
    return np.asarray(whole & (bad[place] <= 1.0))


def how_bad(line: Lines, limit: Limits, *, significance: float) -> Array:
    """Return how far each moving window is beyond its limits: infinite where it could not be read.

    A slope counts where Student's t of it is above `significance`.
    """
    grown = np.maximum(1.0, np.abs(line.mean) / limit.level)
    slope = np.abs(line.slope)
    stands_out = slope >= significance * line.slope_error
    drift = np.where(stands_out, slope / (limit.slope * grown), 0.0)
    bad = np.maximum(drift, line.spread / (limit.spread * grown))
    return np.where(np.isnan(bad), np.inf, bad)


def _light_off(bins: Bins, rows: Rows) -> NDArray[np.bool_]:
    """Return which bins lie within a burn's first minute, where its beginning was seen."""
    if not len(bins.first):
        return bins.inside
    age = (np.arange(len(bins.inside)) - bins.first_of) * bins.width
    lit = rows.lit[rows.burning][bins.burn_of]
    return np.asarray(bins.inside & (age < rules().light_off) & lit)
