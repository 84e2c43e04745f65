"""The steady window of a burn, why other stretches were refused, and the mean of a test point with its interval."""

from __future__ import annotations

from fluewright.steady.criteria import Criteria, Limits, criteria_names, named_criteria
from fluewright.steady.test_point import Accuracy, ChannelMean, SettledPoint, settled_point
from fluewright.steady.window import (
    Phase,
    Steadiness,
    Stretch,
    Window,
    find_steady_window,
)

__all__ = [
    "Accuracy",
    "ChannelMean",
    "Criteria",
    "Limits",
    "Phase",
    "SettledPoint",
    "Steadiness",
    "Stretch",
    "Window",
    "criteria_names",
    "find_steady_window",
    "named_criteria",
    "settled_point",
]
