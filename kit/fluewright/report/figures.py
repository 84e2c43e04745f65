"""The figures of an audit: an audit in, a figure with caption and alt text out."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from fluewright import sources
from fluewright.appliance import Number
from fluewright.report import words
from fluewright.report.abreast import number_of
from fluewright.report.drawing import COLORS, Drawing, drawing_style, figure, text_width
from fluewright.report.objects import Figure
from fluewright.report.result_tables import CREDITS, LOSSES, RANKED, burned_points, contributions
from fluewright.report.visit_tables import marks
from fluewright.steady import Stretch, Window
from fluewright.steady.words import rate
from fluewright.studies.audit import Audit, PointAudit
from fluewright.studies.numbers import Contribution
from fluewright.units import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SHADE, _EDGE, _HATCH = "#e3e8ee", "#55606b", "#9aa4ad"
_LINES = ("-", "--", "-.", ":")
_LABEL_ROOM = 12 / 72  # inches of a panel, for the name of a line
_FAR_APART = pd.Timedelta(hours=1)  # test points further apart than this get a figure each
_GAP_ABOVE = 0.18  # inches above each panel, for its title
_MOST_DRAWN = 1_500  # readings of a line; above, the least and the greatest of each bin are drawn
_GAP = pd.Timedelta(seconds=60)  # a line is broken where no row was logged for longer
_PANEL, _NAMED_PANEL, _STRIP = 0.30, 0.40, 0.17  # inches; a panel of several lines holds their names


def _drawing(audit: Audit, height: float) -> Drawing:
    return Drawing(figsize=(text_width(audit.visit.plan.report.paper.lower()), height))


def _margins(
    drawing: Drawing, *, left: float, right: float, top: float, bottom: float
) -> Mapping[str, float]:
    """Return margins given in inches as the fractions matplotlib asks for."""
    width, height = drawing.get_size_inches()
    return {
        "left": left / width,
        "right": 1 - right / width,
        "top": 1 - top / height,
        "bottom": bottom / height,
    }


# ---------------------------------------------------------------------------- stabilization

_PANELS = (
    ("oxygen_dry", "oxygen_wet", "carbon_dioxide_dry"),
    ("carbon_monoxide_dry",),
    ("nitric_oxide_dry", "nitrogen_dioxide_dry", "nitrogen_oxides_dry"),
    ("flue_temperature",),
    ("supply_temperature", "return_temperature"),
    ("air_temperature", "ambient_temperature", "outdoor_temperature"),
    ("carbon_monoxide_ambient", "carbon_monoxide_supply", "carbon_monoxide_return"),
    ("supply_static_pressure", "return_static_pressure"),
)
_LEFT_OUT = frozenset({"burner_on", "blower_on"})


def stabilization(audit: Audit) -> tuple[Figure, ...]:
    """Return all channels on one time axis, windows and refused stretches marked; one figure unless far apart."""
    return tuple(_stabilization(audit, points) for points in near_points(audit))


def near_points(audit: Audit) -> tuple[tuple[PointAudit, ...], ...]:
    """Return the test points in order of time, those near each other together."""
    ordered = sorted(audit.points, key=lambda point: point.rows.start)
    groups = [[ordered[0]]]
    for before, after in itertools.pairwise(ordered):
        if after.rows.start - before.rows.end > _FAR_APART:
            groups.append([])
        groups[-1].append(after)
    return tuple(tuple(group) for group in groups)


def _panels(frame: pd.DataFrame) -> tuple[tuple[str, ...], ...]:
    """Return the channels that were logged, those of a kind together."""
    read = [name for name in frame.columns if frame[name].notna().any() and name not in _LEFT_OUT]
    found = [tuple(name for name in panel if name in read) for panel in _PANELS]
    alone = [(name,) for name in read if not any(name in panel for panel in _PANELS)]
    return tuple(panel for panel in (*found, *alone) if panel)


def _stabilization(audit: Audit, points: Sequence[PointAudit]) -> Figure:
    start, end = points[0].rows.start, max(point.rows.end for point in points)
    frame = audit.visit.readings.frame.loc[start:end]
    panels = _panels(frame)
    with drawing_style():
        tall = [_PANEL if len(panel) == 1 else _NAMED_PANEL for panel in panels]
        drawing = _drawing(audit, 0.5 + _STRIP + sum(tall) + _GAP_ABOVE * len(panels) + 0.42)
        width, height = drawing.get_size_inches()
        left, wide = 0.62 / width, 1 - 0.72 / width
        strip = drawing.add_axes((left, 1 - (0.3 + _STRIP) / height, wide, _STRIP / height))
        axes = [strip]
        for number, panel in enumerate(panels):
            bottom = 0.5 + _STRIP + sum(tall[: number + 1]) + number * _GAP_ABOVE + 0.14
            place = (left, 1 - bottom / height, wide, tall[number] / height)
            axes.append(drawing.add_axes(place, sharex=strip))
            _draw_panel(axes[-1], audit, frame, panel)
            for point in points:
                _shade_window(axes[-1], audit, point)
        _draw_strip(strip, audit, points)
        time_axis(axes[-1], audit, start, end)
    return figure(drawing, alt=_alt(audit, points, panels), caption=_caption(audit, points))


def local(audit: Audit, moments: pd.DatetimeIndex | pd.Timestamp) -> Any:
    """Return clock times of the visit's zone without the zone, which matplotlib would shift."""
    return moments.tz_convert(audit.visit.plan.visit.time_zone).tz_localize(None)


def _draw_strip(ax: Axes, audit: Audit, points: Sequence[PointAudit]) -> None:
    """Draw what each stretch is: windows grey and named, refused ones hatched with their letter above."""
    whole = points[0].rows.start, max(point.rows.end for point in points)
    room = (whole[1] - whole[0]) / 60
    last, level = whole[0] - 2 * room, 0
    for mark in (one for one in marks(points) if one.letter):
        left, right = mark.part.start, mark.part.end
        accepted = isinstance(mark.part, Window)
        ax.axvspan(
            local(audit, left),
            local(audit, right),
            facecolor=_SHADE if accepted else "none",
            edgecolor=_EDGE if accepted else _HATCH,
            hatch=None if accepted else "////",
            linewidth=0.8 if accepted else 0.4,
        )
        middle = left + (right - left) / 2
        level = (level + 1) % 2 if middle - last < room and not accepted else 0
        last = middle if not accepted else last
        ax.annotate(
            "window" if accepted and right - left > 3 * room else "" if accepted else mark.letter,
            (local(audit, middle), 0.5 if accepted else 1.0),
            xycoords=("data", "axes fraction"),
            xytext=(0, -1 if accepted else 2 + 8 * level),
            textcoords="offset points",
            ha="center",
            va="center" if accepted else "bottom",
            fontsize=7.5,
            annotation_clip=False,
        )
    for point in points:
        ax.annotate(
            words.heading(point.name),
            (local(audit, point.rows.start), 0),
            xycoords=("data", "axes fraction"),
            xytext=(0, -3),
            textcoords="offset points",
            va="top",
            fontsize=7.5,
            fontweight="bold",
        )
    ax.set_yticks([])
    ax.grid(visible=False)
    ax.spines[:].set_visible(False)
    ax.tick_params(bottom=False, labelbottom=False)


def _draw_panel(ax: Axes, audit: Audit, frame: pd.DataFrame, panel: Sequence[str]) -> None:
    system = audit.visit.plan.report.units
    drawn = {name: _drawn(audit, _thinned(_broken(frame[name]))) for name in panel}
    for number, (name, line) in enumerate(drawn.items()):
        ax.plot(
            line.x, line.y, color=COLORS[number], linestyle=_LINES[number], label=words.in_a_sentence(name)
        )
    ax.margins(y=0.15 if len(panel) == 1 else 0.4)
    if len(panel) > 1:
        _label_lines(ax, list(drawn.values()))
    labels = [_channel_label(audit, name) for name in panel]
    over = {name: bounds for name in panel if len(bounds := _over_range(audit, frame, name))}
    for bounds in over.values():
        line = _drawn(audit, _thinned(bounds))
        ax.plot(line.x, line.y, linestyle="none", marker="^", color="black", markersize=3)
    note = " (▲ at least so much: above the instrument's range)" if over else ""
    ax.set_title("; ".join(labels) + note, fontsize=7.5, fontweight="normal", pad=2.5)
    ax.set_ylabel(words.sign(panel[0], system) or "on, off", fontsize=8)
    ax.locator_params(axis="y", nbins=3)
    ax.tick_params(labelbottom=False, labelsize=7.5)


@dataclass(frozen=True, slots=True)
class _Line:
    """Clock times and values in the units shown."""

    x: pd.DatetimeIndex
    y: Array


def _drawn(audit: Audit, series: pd.Series[float]) -> _Line:
    values = words.on_page(str(series.name), series.to_numpy(dtype=float), audit.visit.plan.report.units)
    return _Line(x=local(audit, pd.DatetimeIndex(series.index)), y=np.asarray(values))


def _over_range(audit: Audit, frame: pd.DataFrame, name: str) -> pd.Series[float]:
    """Return the least values of a channel's over-range readings."""
    bounds = audit.visit.readings.lower_bounds
    return (
        bounds[name].loc[frame.index[0] : frame.index[-1]].dropna()
        if name in bounds
        else pd.Series(dtype=float)
    )


def _channel_label(audit: Audit, name: str) -> str:
    computed = audit.visit.readings.channels[name].origin == "instrument"
    return sources.quantity(name).label + (", computed inside the instrument" if computed else "")


def _label_lines(ax: Axes, lines: Sequence[_Line]) -> None:
    """Name each line at its last reading: above it, or below where another line leaves no room above."""
    low, high = ax.get_ylim()
    share = _LABEL_ROOM / _NAMED_PANEL
    ends = [(float(line.y[np.isfinite(line.y)][-1]), line.x[np.isfinite(line.y)][-1]) for line in lines]
    for drawn, (value, moment) in zip(ax.get_lines(), ends, strict=True):
        above = not any(0 < other - value < share * (high - low) for other, _ in ends)
        if not above:
            low = min(low, (value - share * high) / (1 - share))
        ax.annotate(
            str(drawn.get_label()),
            (moment, value),
            xytext=(-2, 2 if above else -2),
            textcoords="offset points",
            ha="right",
            va="bottom" if above else "top",
            fontsize=7,
            color=drawn.get_color(),
        )
    ax.set_ylim(low, high)


def _shade_window(ax: Axes, audit: Audit, point: PointAudit) -> None:
    window = point.steadiness.window
    if window is not None:
        ax.axvspan(local(audit, window.start), local(audit, window.end), color=_SHADE, zorder=0, linewidth=0)
    for moment in (point.rows.start, point.rows.end):
        ax.axvline(local(audit, moment), color=_EDGE, linewidth=0.5, linestyle=(0, (1, 2)), zorder=0)


def time_axis(ax: Axes, audit: Audit, start: pd.Timestamp, end: pd.Timestamp) -> None:
    """Draw an axis of local time from `start` to `end`."""
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

    locator = AutoDateLocator(  # type: ignore[no-untyped-call]
        minticks=4, maxticks=12
    )
    ax.xaxis.set_major_locator(locator)
    ax.xaxis.set_major_formatter(
        ConciseDateFormatter(  # type: ignore[no-untyped-call]
            locator, zero_formats=["", "%Y", "%b", "%b %d", "%H:%M", "%H:%M"], show_offset=False
        )
    )
    ax.tick_params(labelbottom=True)
    margin = (end - start) / 100
    ax.set_xlim(local(audit, start - margin), local(audit, end + margin))
    ax.set_xlabel(f"Local time, {audit.visit.plan.visit.time_zone.replace('_', ' ')}")


def _broken(series: pd.Series[float]) -> pd.Series[float]:
    """Return the readings with a break wherever no row was logged for long, so that no line bridges it."""
    steps = series.index.to_series().diff()
    late = steps > max(_GAP, 5 * steps.median())
    if not late.any():
        return series
    ends = pd.DatetimeIndex(series.index[late.to_numpy()]) - pd.Timedelta(milliseconds=1)
    return pd.concat([series, pd.Series(np.nan, index=ends, name=series.name)]).sort_index()


def _thinned(series: pd.Series[float]) -> pd.Series[float]:
    """Return no more readings than a page can show: of each bin the least and the greatest, at their times."""
    if len(series) <= _MOST_DRAWN:
        return series
    per_bin = -(-len(series) // (_MOST_DRAWN // 2))
    whole = len(series) // per_bin
    values = series.to_numpy(dtype=float)[: whole * per_bin].reshape(whole, per_bin)
    offsets = np.arange(whole) * per_bin
    least = np.where(np.isnan(values), np.inf, values).argmin(axis=1) + offsets
    greatest = np.where(np.isnan(values), -np.inf, values).argmax(axis=1) + offsets
    rest = np.arange(whole * per_bin, len(series))
    return series.iloc[np.unique(np.concatenate([least, greatest, rest]))]


def _caption(audit: Audit, points: Sequence[PointAudit]) -> str:
    said = " ".join(words.sentence(_settled_words(audit, point)) for point in points)
    shaded = "Shaded: the window; hatched" if any(point.steadiness.window for point in points) else "Hatched"
    return f"{said} {shaded} and lettered: refused, for the reasons in the table below."


def _settled_words(audit: Audit, point: PointAudit) -> str:
    steady, zone, system = point.steadiness, audit.visit.plan.visit.time_zone, audit.visit.plan.report.units
    window = steady.window
    if window is None:
        return f"{point.name}: no steady window was found"
    text = f"{point.name}: "
    if window.chosen_by == "person":
        agree = "the rules agree" if steady.rules_agree else "the rules do not agree"
        text += f"a person chose the window from {words.clock(window.start, zone)}, and {agree}"
    else:
        lit = _lit(point)
        after = words.duration((window.start - lit).total_seconds())
        since = "light-off" if lit > point.rows.start else "the test point began"
        text += f"steady from {words.clock(window.start, zone)}, {after} after {since}"
    slope = steady.flue_slope
    if np.isfinite(slope) and abs(slope) > 0:
        drift = rate("flue_temperature", abs(slope), system)
        text += f"; the flue was still {'warming' if slope > 0 else 'cooling'} by {drift}"
    return text


def _lit(point: PointAudit) -> pd.Timestamp:
    """Return when the burner lit last before the window, else when the test point began."""
    window = point.steadiness.window
    lit = [part.start for part in point.steadiness.refused if part.phase == "light-off"]
    return max((start for start in lit if window and start <= window.start), default=point.rows.start)


def _alt(audit: Audit, points: Sequence[PointAudit], panels: Sequence[Sequence[str]]) -> str:
    channels = words.joined(words.in_a_sentence(name) for panel in panels for name in panel)
    said = " ".join(words.sentence(_settled_words(audit, point)) for point in points)
    refused = sum(isinstance(mark.part, Stretch) for mark in marks(points))
    return f"Time charts above each other of {channels}. {said} {refused} stretches are marked as refused."


# ---------------------------------------------------------------------------- where the heat goes


def heat(audit: Audit) -> Figure:
    """Return where the gross heat input goes as steps from 100 % down to what is left, by test point."""
    points = burned_points(audit)
    steps = [_steps(point) for point in points]
    names = list(dict.fromkeys(name for one in steps for name, _ in one))
    floor = _floor(min(point.numbers["efficiency_gross"].value for point in points))
    with drawing_style():
        drawing = _drawing(audit, 0.68 + 0.165 * (len(names) + 2))
        inches = _margins(drawing, left=2.25, right=0.15, top=0.2, bottom=0.48)
        axes = drawing.subplots(
            1, len(points), sharey=True, squeeze=False, gridspec_kw={"wspace": 0.08, **inches}
        )[0]
        for ax, point, one in zip(axes, points, steps, strict=True):
            _draw_steps(ax, names, dict(one), point.numbers["efficiency_gross"].value, floor)
            ax.set_title(words.heading(point.name), fontsize=8.5)
        axes[0].set_yticks(
            range(len(names) + 2), ["Gross heat input", *map(_step_label, names), "Left for use"]
        )
        axes[0].invert_yaxis()
        axes[0].set_xlabel(f"Share of gross heat input, % (axis begins at {floor:g} %)", loc="left")
    return figure(drawing, alt=_heat_alt(points, steps), caption=_heat_caption(points, steps))


def _steps(point: PointAudit) -> list[tuple[str, float]]:
    """Return what is lost and what is brought, as shares of gross input; with what is left they add to one."""
    lost = [(name, point.numbers[name].value) for name in LOSSES if point.numbers[name].value != 0]
    brought = [(name, -point.numbers[name].value) for name in CREDITS if name in point.numbers]
    return lost + [(name, value) for name, value in brought if value != 0]


def _step_label(name: str) -> str:
    return CREDITS.get(name, sources.quantity(name).label)


def _floor(least: float) -> float:
    """Return where the axis begins [%]: a round number some way below what is left."""
    return max(0.0, 10.0 * math.floor((100 * least - 4) / 10))


def _draw_steps(
    ax: Axes, names: Sequence[str], values: Mapping[str, float], left: float, floor: float
) -> None:
    """Draw a full bar, one step per loss, and what is left; numbers beside them, so that grey print says it all."""
    at = 100.0
    ends = [(0, floor, 100.0, "100")]
    for row, name in enumerate(names, start=1):
        value = 100 * values.get(name, 0.0)
        ends.append((row, at - value, at, f"{value:.2f}" if name in values else "–"))
        ax.plot([at - value] * 2, [row - 0.3, row + 1.3], color=_EDGE, linewidth=0.5)
        at -= value
    ends.append((len(names) + 1, floor, 100 * left, f"{100 * left:.1f}"))
    for row, low, high, text in ends:
        whole = row in (0, len(names) + 1)
        ax.barh(
            row,
            high - low,
            left=low,
            height=0.62,
            facecolor="#ffffff" if whole else COLORS[0],
            edgecolor="black",
            hatch="////" if row == len(names) + 1 else None,
            linewidth=0.6,
        )
        ax.annotate(
            text.replace("-", "−"),
            (high if whole else min(low, high), row),
            xytext=(3 if whole else -3, 0),
            textcoords="offset points",
            ha="left" if whole else "right",
            va="center",
            fontsize=8,
            annotation_clip=False,
        )
    ax.set_xlim(floor, 100 + 0.09 * (100 - floor))
    ax.grid(visible=False)
    ax.tick_params(left=False)


def _heat_caption(points: Sequence[PointAudit], steps: Sequence[Sequence[tuple[str, float]]]) -> str:
    said = []
    for point, one in zip(points, steps, strict=True):
        name, value = max(one, key=lambda pair: pair[1])
        left = 100 * point.numbers["efficiency_gross"].value
        said.append(
            words.sentence(
                f"{point.name}: {left:.1f} % of the gross heat input is left for use; the largest loss, {value:.1%}"
                f", is {_lowered(_step_label(name))}".replace("%,", " %,")
            )
        )
    return " ".join([*said, "The parts add to the gross heat input."])


def _lowered(label: str) -> str:
    return label[0].lower() + label[1:]


def _heat_alt(points: Sequence[PointAudit], steps: Sequence[Sequence[tuple[str, float]]]) -> str:
    said = []
    for point, one in zip(points, steps, strict=True):
        parts = ", ".join(f"{_lowered(_step_label(name))} {100 * value:.2f} %" for name, value in one)
        said.append(
            f"{point.name}: {parts}; left for use {100 * point.numbers['efficiency_gross'].value:.1f} %."
        )
    return f"Bars stepping down from 100 % of the gross heat input. {' '.join(said)}"


# ---------------------------------------------------------------------------- dew point


def dew_points(audit: Audit) -> Figure | None:
    """Return flue temperature against dew point over excess air, or None where no test point knows both."""
    points = [
        point
        for point in audit.points
        if "dew_point_margin" in point.numbers and number_of(point, "flue_temperature") is not None
    ]
    if not points:
        return None
    system = audit.visit.plan.report.units
    curve = audit.dew_points
    most = 100 * max(point.numbers["excess_air"].value for point in points)
    with drawing_style():
        drawing = _drawing(audit, 1.85)
        ax = drawing.subplots()
        drawing.subplots_adjust(**_margins(drawing, left=0.62, right=1.45, top=0.12, bottom=0.5))
        dew = words.on_page("water_dew_point", curve.dew_point, system)
        shown = 100 * curve.excess_air <= max(100.0, 1.4 * most)
        air = 100 * curve.excess_air[shown]
        ax.plot(air, dew[shown], color=COLORS[0])
        for number, point in enumerate(points):
            _draw_flue_point(ax, point, system, number)
        low = min(ax.get_ylim()[0], float(dew[shown].min()) - 20)
        ax.fill_between(air, dew[shown], low, color=_SHADE, linewidth=0, zorder=0)
        ax.set_ylim(low, ax.get_ylim()[1] + 0.08 * (ax.get_ylim()[1] - low))
        ax.set_xlim(air[0], air[-1])
        ax.annotate(
            "Water dew point\n(below: condensation)",
            (air[-1], float(dew[shown][-1])),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
            color=COLORS[0],
            annotation_clip=False,
        )
        ax.set_xlabel("Excess air by carbon–oxygen balance, %")
        ax.set_ylabel(f"Temperature, {words.sign('water_dew_point', system)}")
    return figure(drawing, alt=_dew_alt(audit, points), caption=_dew_caption(audit, points))


_MARKERS = ("o", "s", "D", "v")


def _draw_flue_point(ax: Axes, point: PointAudit, system: words.System, number: int) -> None:
    flue = number_of(point, "flue_temperature")
    dew, air = point.numbers["water_dew_point"], point.numbers["excess_air"]
    assert flue is not None
    marker = _MARKERS[number % len(_MARKERS)]
    for one, filled in ((flue, True), (dew, False)):
        ends = (one.value, one.low, one.high)
        value, low, high = (float(words.on_page("water_dew_point", end, system)) for end in ends)
        ax.errorbar(
            100 * air.value,
            value,
            xerr=[[100 * (air.value - air.low)], [100 * (air.high - air.value)]],
            yerr=[[value - low], [high - value]],
            marker=marker,
            color="black" if filled else COLORS[0],
            markerfacecolor="black" if filled else "white",
            markersize=4.5,
            elinewidth=0.8,
            capsize=2,
            linestyle="none",
        )
        if filled:
            ax.annotate(
                f"{words.heading(point.name)}: flue gas",
                (100 * air.value, value),
                xytext=(7, 4 if flue.value > dew.value else -10),  # away from the line of dew points
                textcoords="offset points",
                fontsize=8,
            )


def margin_words(audit: Audit, point: PointAudit) -> str:
    """Return in a sentence whether the flue gas of a test point condenses, and by how much."""
    system = audit.visit.plan.report.units
    margin, dew = point.numbers["dew_point_margin"], words.amount(point.numbers["water_dew_point"], system)
    size = words.amount(margin, system, change=True).lstrip("+")
    if margin.low > 0:
        dry = "no water condenses at the sampling point"
        return f"{point.name}: the flue gas is {size} above its dew point of {dew}; {dry}"
    if margin.high < 0:
        below = words.amount(_turned(margin), system, change=True).lstrip("+")
        condensed = point.numbers.get("condensed_fraction")
        wet = condensed is not None and condensed.value > 0
        share = f"; {words.amount(condensed, system)} of its water condenses" if wet and condensed else ""
        return f"{point.name}: the flue gas is {below} below its dew point of {dew}: it is wet{share}"
    return f"{point.name}: whether the flue gas condenses cannot be told; it is {size} from its dew point of {dew}"


def _turned(number: Number) -> Number:
    return replace(number, value=-number.value, low=-number.high, high=-number.low)


def _dew_caption(audit: Audit, points: Sequence[PointAudit]) -> str:
    return " ".join(words.sentence(margin_words(audit, point)) for point in points)


def _dew_alt(audit: Audit, points: Sequence[PointAudit]) -> str:
    said = " ".join(words.sentence(margin_words(audit, point)) for point in points)
    return f"Temperature over excess air: the curve of the water dew point, and the flue gas of each test point. {said}"


# ---------------------------------------------------------------------------- uncertainty

_MOST_BARS = 6  # the table below holds the others


def uncertainty(audit: Audit, point: PointAudit) -> Figure:
    """Return what each input alone adds to the intervals of the main results, as bars with their half-widths."""
    system = audit.visit.plan.report.units
    rows = dict(itertools.islice(contributions(point).items(), _MOST_BARS))
    results = [name for name in RANKED if any(name in found for found in rows.values())]
    with drawing_style():
        drawing = _drawing(audit, 0.3 + 0.17 * len(rows))
        inches = _margins(drawing, left=2.3, right=0.05, top=0.22, bottom=0.04)
        axes = drawing.subplots(
            1, len(results), sharey=True, squeeze=False, gridspec_kw={"wspace": 0.06, **inches}
        )[0]
        for ax, name in zip(axes, results, strict=True):
            _draw_bars(ax, [found.get(name) for found in rows.values()], name, system)
        axes[0].set_yticks(range(len(rows)), [_bar_label(group) for group in rows])
        axes[0].set_ylim(len(rows) - 0.4, -0.6)
    return figure(
        drawing,
        alt=_bars_alt(audit, point),
        caption=words.sentence(f"{point.name}: {words.matters_most(audit, point)}"),
    )


def _bar_label(group: str) -> str:
    """Return a label that fits beside the bars: what a sentence calls a reading."""
    name = next((one.name for one in sources.quantities().values() if one.label == group), "")
    return words.brief(words.capital(words.in_a_sentence(name) if name else group), 40)


def _draw_bars(ax: Axes, found: Sequence[Contribution | None], name: str, system: words.System) -> None:
    widths = [one.half_width if one is not None else 0.0 for one in found]
    ax.barh(range(len(widths)), widths, height=0.62, facecolor=COLORS[0], edgecolor="black", linewidth=0.6)
    for row, (width, one) in enumerate(zip(widths, found, strict=True)):
        ax.annotate(
            f"± {words.half_width(name, width, system)}" if one is not None else "–",
            (width, row),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            fontsize=8,
            annotation_clip=False,
        )
    ax.set_xlim(0, 1.75 * max(widths))
    ax.set_xticks([])
    ax.set_title(RANKED[name], fontsize=8.5)
    ax.grid(visible=False)
    ax.spines["bottom"].set_visible(False)
    ax.tick_params(left=False)


def _bars_alt(audit: Audit, point: PointAudit) -> str:
    system = audit.visit.plan.report.units
    said = []
    for name, title in RANKED.items():
        listed = [
            f"{words.capital(group)} ± {words.half_width(name, found[name].half_width, system)}"
            for group, found in contributions(point).items()
            if name in found
        ]
        if listed:
            said.append(words.sentence(f"{title}: {'; '.join(listed)}"))
    return f"Bars of what each input alone adds to the interval of each result. {' '.join(said)}"
