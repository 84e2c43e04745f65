"""Lesson 7: a log, a window, a verdict, and how sure."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from fluewright import sources, units
from fluewright.appliance import Number, judge
from fluewright.combustion import (
    flue_gas,
    fuel,
    stack_losses,
)
from fluewright.errors import InputError
from fluewright.report import words
from fluewright.report.drawing import drawing_style, figure
from fluewright.report.live import Live, Slider
from fluewright.report.objects import Figure
from fluewright.report.teaching.sketch import (
    BLUE,
    PERCENT,
    PPM,
    RED,
    ROOM,
    degrees,
    panels,
    percent,
)
from fluewright.report.words import System
from fluewright.sources import limits as safety
from fluewright.steady import named_criteria
from fluewright.units import Array
from fluewright.visit import Visit, open_visit

_CHANNELS = ("oxygen_dry", "carbon_monoxide_dry", "flue_temperature")


def log(folder: str | Path, system: System = "US") -> Live:
    """The log of a visit with a window that the reader moves: does it hold still, and what does it say."""
    visit = open_visit(folder)
    rows, readings = visit.test_points[0], visit.readings.frame
    if lacking := [name for name in _CHANNELS if name not in readings]:
        raise InputError(
            f"the logs of {folder} hold no {words.joined(lacking)}; this lesson reads a log that holds them"
        )
    frame = readings.loc[rows.start : rows.end, list(_CHANNELS)].dropna()
    least = named_criteria().minimum_length / 60
    minutes = np.asarray((pd.DatetimeIndex(frame.index) - rows.start).total_seconds()) / 60
    if not len(minutes) or minutes[-1] < least:
        raise InputError(
            f"the first test point of {folder} is shorter than {least:.0f} min; this lesson needs a longer one"
        )

    def draw(start: float, length: float) -> Figure:
        chosen = (minutes >= start) & (minutes < start + max(length, least))
        told = list(_window_words(frame[chosen], minutes[chosen], visit, system))
        with drawing_style():
            drawing, axes = panels(3, 2.5)
            for panel, name in zip(axes, _CHANNELS, strict=True):
                panel.plot(
                    minutes, words.on_page(name, frame[name].to_numpy(), system), color=BLUE, linewidth=0.9
                )
                panel.axvspan(start, start + max(length, least), color="#cfe3f1", zorder=0)
                panel.set(xlabel="minutes", xlim=(0, minutes[-1]))
                short = {
                    "oxygen_dry": "Oxygen",
                    "carbon_monoxide_dry": "Carbon monoxide",
                    "flue_temperature": "Flue",
                }[name]
                panel.set_title(f"{short}, {words.sign(name, system)}")
        return figure(
            drawing,
            alt=f"Oxygen, carbon monoxide and flue temperature over {minutes[-1]:.0f} minutes, window at {start:g} "
            f"min. {told[0]}",
            caption=" ".join(told),
        )

    last = math.floor(float(minutes[-1]) - least)
    return Live(
        draw=draw,
        controls=(
            Slider("start", "Window begins", (0, last, 0.5), start=last, sign="min"),
            Slider("length", "Window length", (least, 15, 0.5), start=least, sign="min"),
        ),
    )


def _window_words(frame: pd.DataFrame, minutes: Array, visit: Visit, system: System) -> Iterator[str]:
    """Yield what may be said of a window: which channels drift, and how carbon monoxide stands."""
    moving = []
    for name in _CHANNELS:
        slope = abs(float(np.polyfit(60 * (minutes - minutes[0]), frame[name].to_numpy(), 1)[0]))
        if slope > named_criteria().limits[name].slope:
            moving.append(sources.quantity(name).label.lower())
    yield (
        f"Not steady: {words.joined(moving)} still drifts."
        if moving
        else "Every channel holds still within its limit of drift."
    )
    means = frame.mean()
    free = flue_gas(
        fuel("natural gas"),
        oxygen_dry=float(means["oxygen_dry"]),
        carbon_monoxide_dry=float(means["carbon_monoxide_dry"]),
    ).carbon_monoxide_air_free_oxygen_rule
    told = (
        "too dilute for an air-free value"
        if math.isnan(float(free))
        else f"{PPM * float(free):.0f} ppm air-free"
    )
    read = f"{percent(means['oxygen_dry'])} oxygen, {PPM * means['carbon_monoxide_dry']:.0f} ppm of carbon monoxide"
    yield f"Means: {read}, {told}."
    yield "A mean over a drift is no test point; and carbon monoxide counts on every row, steady or not."


_LIMIT = "carbon_monoxide_air_free_furnace"
_DRAWS = 20000


def uncertainty(system: System = "US") -> Live:
    """What the cells' accuracy does to excess air, carbon monoxide air-free and efficiency."""
    limit = safety.limits()[_LIMIT]
    unit = "delta_degF" if system == "US" else "delta_degC"

    def draw(
        oxygen: float, oxygen_accuracy: float, monoxide_accuracy: float, temperature_accuracy: float
    ) -> Figure:
        draws = np.random.default_rng(1).uniform(-1, 1, (3, _DRAWS))
        monoxide, hot = 260e-6, 450.0
        flue = flue_gas(
            fuel("natural gas"),
            oxygen_dry=(oxygen + oxygen_accuracy * draws[0]) / PERCENT,
            carbon_monoxide_dry=monoxide * (1 + monoxide_accuracy / PERCENT * draws[1]),
        )
        loss = stack_losses(
            flue,
            flue_temperature=hot + units.convert(temperature_accuracy, unit, "delta_degC") * draws[2],
            air_temperature=ROOM,
        )
        results = {
            "Excess air, %": PERCENT * np.asarray(flue.excess_air),
            "Carbon monoxide, air-free, ppm": PPM * np.asarray(flue.carbon_monoxide_air_free_oxygen_rule),
            "Efficiency, gross, %": PERCENT * np.asarray(loss.efficiency_gross),
        }
        told = []
        with drawing_style():
            drawing, axes = panels(3, 2.4, wspace=0.2)
            for panel, (name, values) in zip(axes, results.items(), strict=True):
                low, middle, high = np.percentile(values, [2.5, 50, 97.5])
                panel.hist(values, bins=40, color="#cfe3f1")
                panel.axvspan(low, high, ymax=0.04, color=BLUE)
                panel.set(yticks=[])
                panel.grid(visible=False)
                panel.set_title(name, fontsize=8)
                panel.set_xlabel(
                    f"95 %: {low:.1f} to {high:.1f}"
                    if "ppm" not in name
                    else f"95 %: {low:.0f} to {high:.0f}"
                )
                told.append((float(low), float(middle), float(high)))
            top = PPM * limit.tiers[0].value
            axes[1].axvline(top, color=RED, linestyle="--")
        low, middle, high = (value / PPM for value in told[1])
        made = Number(
            quantity="carbon_monoxide_air_free", value=middle, low=low, high=high, origin="computed"
        )
        outcome = judge(made, limit, test_point="").outcome
        return figure(
            drawing,
            alt=f"Three spreads: excess air {told[0][0]:.1f} to {told[0][2]:.1f} %, carbon monoxide air-free "
            f"{told[1][0]:.0f} to {told[1][2]:.0f} ppm, gross efficiency {told[2][0]:.1f} to {told[2][2]:.1f} %.",
            caption=f"Against the limit of {top:.0f} ppm (dashed; {limit.citation.source}, {limit.citation.edition}) "
            f"carbon monoxide air-free is: {outcome}. Readings of {oxygen:g} % oxygen, 260 ppm of carbon monoxide "
            f"and a flue at {float(degrees(hot, system)):.0f} {words.sign('flue_temperature', system)}; every cell's "
            "error is drawn once for all its readings.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider("oxygen", "Oxygen, dry, as read", (3, 12, 0.1), start=6.5, sign="%"),
            Slider(
                "oxygen_accuracy", "Accuracy of the oxygen cell, ±", (0.05, 1, 0.05), start=0.4, sign="points"
            ),
            Slider(
                "monoxide_accuracy", "Accuracy of the CO cell, ±", (1, 20, 1), start=5, sign="% of reading"
            ),
            Slider(
                "temperature_accuracy",
                "Accuracy of the thermometer, ±",
                (1, 20, 1),
                start=4,
                sign="°F" if system == "US" else "K",
            ),
        ),
    )
