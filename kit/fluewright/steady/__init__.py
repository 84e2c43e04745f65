"""The steady window of a burn, why other stretches were refused, the means with their intervals; burner cycles."""

from __future__ import annotations

from fluewright.steady.criteria import Criteria, Limits, criteria_names, named_criteria
from fluewright.steady.cycles import Cycle, Cycles, Peak, find_cycles
from fluewright.steady.noise import Noise, half_width, mean_noise
from fluewright.steady.rows import DILUTION, OXYGEN, ROOM_AIR, first_of, probable_fresh_air
from fluewright.steady.sums import Sums, sums_of
from fluewright.steady.test_point import (
    ChannelMean,
    SettledPoint,
    assumed_accuracy,
    draw_means,
    settled_point,
    spot_mean,
    stated_or_assumed,
)
from fluewright.steady.window import Moved, Phase, Steadiness, Stretch, Window, find_steady_window

__all__ = [
    "DILUTION",
    "OXYGEN",
    "ROOM_AIR",
    "ChannelMean",
    "Criteria",
    "Cycle",
    "Cycles",
    "Limits",
    "Moved",
    "Noise",
    "Peak",
    "Phase",
    "SettledPoint",
    "Steadiness",
    "Stretch",
    "Sums",
    "Window",
    "assumed_accuracy",
    "criteria_names",
    "draw_means",
    "find_cycles",
    "find_steady_window",
    "first_of",
    "half_width",
    "mean_noise",
    "named_criteria",
    "probable_fresh_air",
    "settled_point",
    "spot_mean",
    "stated_or_assumed",
    "sums_of",
]
