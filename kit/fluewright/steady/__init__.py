"""The steady window of a burn, why other stretches were refused, and the means with their intervals."""

from __future__ import annotations

from fluewright.steady.criteria import Criteria, Limits, criteria_names, named_criteria
from fluewright.steady.noise import Noise, half_width, mean_noise
from fluewright.steady.test_point import (
    ChannelMean,
    SettledPoint,
    assumed_accuracy,
    draw_means,
    settled_point,
    spot_mean,
)
from fluewright.steady.window import Phase, Steadiness, Stretch, Window, find_steady_window

__all__ = [
    "ChannelMean",
    "Criteria",
    "Limits",
    "Noise",
    "Phase",
    "SettledPoint",
    "Steadiness",
    "Stretch",
    "Window",
    "assumed_accuracy",
    "criteria_names",
    "draw_means",
    "find_steady_window",
    "half_width",
    "mean_noise",
    "named_criteria",
    "settled_point",
    "spot_mean",
]
