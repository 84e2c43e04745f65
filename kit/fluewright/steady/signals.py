"""What other readings tell of the burner: its fan running before light-off, its firing rate moving."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fluewright.steady.criteria import rules
from fluewright.steady.rows import Rows, State, first_of
from fluewright.units import Array

_FAN = "draft_inducer"
RATES = ("firing_rate_setting", "gas_volume_flow")  # the first that was logged


def pre_purges(frame: pd.DataFrame, rows: Rows) -> dict[int, int]:
    """Return by run the row from which the burner's fan runs without a break up to the light-off that follows.

    The fan runs where the pressure at the inducer is at least a share of its median while burning. Without that
    reading a pre-purge cannot be told from other fresh air.
    """
    if _FAN not in frame:
        return {}
    pull = np.abs(frame[_FAN].to_numpy(dtype=np.float64))
    burning = pull[(rows.state == State.BURNING) & np.isfinite(pull)]
    if not len(burning) or not np.median(burning) > 0:
        return {}
    still = ~(pull >= rules().fan * np.median(burning))
    found = {}
    for burn in np.flatnonzero(rows.burning & rows.lit):
        start, stop = int(rows.start[burn - 1]), int(rows.stop[burn - 1])
        idle = np.flatnonzero(still[start:stop])
        first = start + int(idle[-1]) + 1 if len(idle) else start
        if first < stop == rows.start[burn]:
            found[int(burn) - 1] = first
    return found


def moving_rate(frame: pd.DataFrame, start: int, stop: int) -> tuple[float, float] | None:
    """Return between which shares of its greatest the firing rate moved in some rows, or None where it stood still."""
    name = first_of(RATES, frame)
    if name is None:
        return None
    rate: Array = frame[name].to_numpy(dtype=np.float64)
    part = rate[start:stop]
    part = part[np.isfinite(part)]
    if not len(part):
        return None
    low, high = np.quantile(part, (0.02, 0.98)) / np.nanmax(rate)  # a meter's noise is no modulation
    return (float(low), float(high)) if high - low >= rules().modulates else None
