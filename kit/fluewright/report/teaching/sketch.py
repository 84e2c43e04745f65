"""How the figures of the lessons are drawn: panels with fixed margins, marks, axes in the units of the class."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from fluewright import sources, units
from fluewright.report import words
from fluewright.report.drawing import COLORS, Drawing, text_width
from fluewright.report.live import Slider
from fluewright.report.words import System
from fluewright.units import Array

FUELS = ("methane", "natural gas", "propane", "butane", "hydrogen")
BLUE, RED, BLACK, GREEN, PINK, AMBER = COLORS
PERCENT, PPM = 100.0, 1e6
ROOM = 298.15  # K


def panels(
    count: int, height: float, *, widths: Sequence[float] = (), wspace: float = 0.32
) -> tuple[Drawing, Any]:
    """Return a drawing as wide as the page's text and its axes in a row, with fixed margins."""
    drawing = Drawing(figsize=(text_width("a4"), height))
    axes = drawing.subplots(1, count, squeeze=False, width_ratios=widths or None)[0]
    drawing.subplots_adjust(left=0.09, right=0.97, bottom=0.48 / height, top=1 - 0.32 / height, wspace=wspace)
    return drawing, axes


def mark(axes: Any, x: float, y: float, text: str, *, color: str = BLACK, below: bool = False) -> None:
    """Mark where the sliders stand, its value on the side that has room; `below` on a rising curve."""
    axes.plot([x], [y], marker="o", color=color, zorder=5)
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    place = (x - left) / (right - left) > 0.6
    height = (y - low) / (high - low)
    under = height > 0.85 or (below and height > 0.12)
    axes.annotate(
        text,
        (x, y),
        xytext=(-6 if place else 6, -13 if under else 6),
        textcoords="offset points",
        ha="right" if place else "left",
        fontweight="bold",
    )


def plain_decades(axis: Any) -> None:
    """Label the decades of a logarithmic axis with plain numbers, every second one where there are many."""
    low, high = (math.log10(end) for end in axis.get_view_interval())
    step = 2 if high - low > 5 else 1
    decades = [10.0**power for power in range(math.ceil(low - 1e-9), math.floor(high + 1e-9) + 1, step)]
    axis.set_ticks(decades, labels=[f"{value:,g}" for value in decades])
    axis.set_ticks([], minor=True)


def degrees(kelvin: Any, system: System) -> Any:
    """Return a temperature [K] in the degrees of the class."""
    return words.on_page("flue_temperature", kelvin, system)


def kelvin_of(shown: float, system: System) -> float:
    """Return a temperature in the degrees of the class in kelvin."""
    return float(units.convert(shown, sources.quantity("flue_temperature").shown(system).unit, "K"))


def temperature_slider(
    name: str,
    label: str,
    us: tuple[float, float, float],
    si: tuple[float, float, float],
    system: System,
    step: float = 5,
) -> Slider:
    """Return a slider of a temperature: lowest, highest and start in either system."""
    low, high, start = us if system == "US" else si
    return Slider(name, label, (low, high, step), start=start, sign=words.sign("flue_temperature", system))


def percent(value: Any, decimals: int = 1) -> str:
    """Return a share in percent, as printed."""
    return f"{PERCENT * float(value):.{decimals}f} %"


def widen(axes: Any, values: Array) -> None:
    """Give an axis at least a tenth of its values as height, so that a trifle does not look like a change."""
    low, high = float(np.min(values)), float(np.max(values))
    room = max(0.25 * (high - low), 0.05 * abs(high + low) / 2)
    axes.set_ylim(low - room, high + room)
