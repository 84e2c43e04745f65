"""The figures of a fuel-switch study: a study in, a figure with caption and alt text out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fluewright import sources, units
from fluewright.report import words
from fluewright.report.drawing import COLORS, Drawing, drawing_style, figure, text_width
from fluewright.report.objects import Figure
from fluewright.studies.fuel_switch import FuelCase, FuelSwitch
from fluewright.studies.fuel_switch.givens import percent
from fluewright.studies.fuel_switch.sweeps import Panel, Sweep

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SHADE, _EDGE = "#e3e8ee", "#55606b"
_LINES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
_MARKS = ("o", "s", "D", "^", "v")
_SMALL = 7.5


def _drawing(study: FuelSwitch, height: float) -> Drawing:
    return Drawing(figsize=(text_width(study.request.report.paper.lower()), height))


def _margins(drawing: Drawing, *, left: float, right: float, top: float, bottom: float) -> dict[str, Any]:
    """Return margins given in inches as the fractions matplotlib asks for."""
    width, height = drawing.get_size_inches()
    return {
        "left": left / width,
        "right": 1 - right / width,
        "top": 1 - top / height,
        "bottom": bottom / height,
    }


def _axis_label(quantity: str, system: words.System) -> str:
    return words.sign(quantity, system)


# ---------------------------------------------------------------------------- the fuels beside each other

_COMPARED = (
    ("gross_heating_value_volume", "Heating value by volume"),
    ("wobbe_gross", "Wobbe index"),
    ("relative_density", "Relative density"),
    ("air_per_heat", "Air per heat"),
    ("flue_gas_wet_per_heat", "Flue gas per heat"),
    ("condensate_per_heat", "Water per heat"),
    ("carbon_dioxide_per_heat", "Carbon dioxide per heat"),
    ("flame_speed", "Flame speed"),
)


def compared(study: FuelSwitch) -> Figure:
    """Return every proposed fuel against the present one, property by property."""
    found = [(name, label) for name, label in _COMPARED if _property(study.present, name) > 0]
    step = 0.8 / len(study.proposed)
    with drawing_style():
        drawing = _drawing(study, 0.85 + (0.14 * len(study.proposed) + 0.1) * len(found))
        inches = _margins(drawing, left=1.75, right=0.4, top=0.3, bottom=0.55)
        ax = drawing.subplots(gridspec_kw=inches)
        rows = np.arange(len(found))
        for number, case in enumerate(study.proposed):
            shares = np.array([_share(study, case, name) for name, _ in found])
            at = rows + (number - (len(study.proposed) - 1) / 2) * step
            ax.hlines(at, 100, shares, color=COLORS[number], linewidth=1.0, linestyle="-")
            ax.plot(
                shares, at, linestyle="none", marker=_MARKS[number], color=COLORS[number], label=case.name
            )
            for row, share in zip(at[np.isfinite(shares)], shares[np.isfinite(shares)], strict=True):
                ax.annotate(
                    f"{share:.0f}",
                    (share, row),
                    xytext=(5 if share >= 100 else -5, 0),
                    textcoords="offset points",
                    ha="left" if share >= 100 else "right",
                    va="center",
                    fontsize=7,
                    annotation_clip=False,
                )
        ax.axvline(100, color="black", linewidth=0.8)
        ax.set_yticks(rows, [label for _, label in found])
        ax.invert_yaxis()
        ax.grid(axis="y", visible=False)
        ax.set_xlabel(f"Percent of {study.present.name}", loc="left")
        ax.margins(x=0.1)
        _legend(drawing)
    names = words.joined(case.name for case in study.proposed)
    first = study.proposed[0]
    heating, wobbe, air = (
        _share(study, first, name) for name in ("gross_heating_value_volume", "wobbe_gross", "air_per_heat")
    )
    return figure(
        drawing,
        alt=f"Dots for {names} in percent of {study.present.name}, one row for each of {len(found)} "
        f"properties; for {first.name} heating value by volume {heating:.0f}, Wobbe index {wobbe:.0f}, air "
        f"per heat {air:.0f} percent.",
        caption=f"{words.capital(names)} against {study.present.name}. By volume the fuels differ widely; "
        f"the air and the flue gas per heat differ little ({first.name}: {air:.0f} % of the air), which is "
        "why one appliance can burn both once its orifices fit.",
    )


def _legend(drawing: Drawing) -> None:
    """Name the lines above the drawing, once for all its axes."""
    handles, labels = drawing.axes[0].get_legend_handles_labels()
    drawing.legend(
        handles,
        [words.brief(label, 34) for label in labels],
        loc="upper center",
        ncol=len(labels),
        fontsize=_SMALL,
    )


def _property(case: FuelCase, name: str) -> float:
    found = case.properties.get(name) or case.flames.numbers.get(name)
    return found.value if found is not None else float("nan")


def _share(study: FuelSwitch, case: FuelCase, name: str) -> float:
    today = _property(study.present, name)
    return 100 * _property(case, name) / today if today else float("nan")


# ---------------------------------------------------------------------------- oxygen to carbon dioxide and dew point


def oxygen_curves(study: FuelSwitch) -> Figure:
    """Return carbon dioxide and dew point over oxygen, a line for each fuel, with the point the appliance runs at."""
    system = study.givens.system
    with drawing_style():
        drawing = _drawing(study, 2.3)
        inches = _margins(drawing, left=0.45, right=0.15, top=0.5, bottom=0.5)
        axes = drawing.subplots(1, 2, gridspec_kw={**inches, "wspace": 0.18})
        for ax, quantity, title in (
            (axes[0], "carbon_dioxide_dry", "Carbon dioxide, dry, %"),
            (axes[1], "water_dew_point", f"Dew point of water, {words.sign('water_dew_point', system)}"),
        ):
            for number, case in enumerate(study.cases):
                values = words.on_page(quantity, getattr(case.curves, quantity), system)
                style = {"color": COLORS[number], "linestyle": _LINES[number], "label": case.name}
                ax.plot(100 * case.curves.oxygen_dry, values, **style)
                at = words.on_page(quantity, case.same_oxygen.numbers[quantity].value, system)
                ax.plot([100 * float(study.givens.oxygen_dry[0])], [at], _MARKS[number], color=COLORS[number])
            ax.set_title(title, fontsize=8.5)
            ax.set_xlabel("Oxygen in dry flue gas, %", loc="left")
        _legend(drawing)
    at = f"{100 * float(study.givens.oxygen_dry[0]):.1f} %"
    pairs = words.joined(
        f"{case.name} "
        f"{words.bound('carbon_dioxide_dry', case.same_oxygen.numbers['carbon_dioxide_dry'].value, system)} "
        "and "
        f"{words.bound('water_dew_point', round(case.same_oxygen.numbers['water_dew_point'].value, 1), system)}"
        for case in study.cases
    )
    return figure(
        drawing,
        alt="Two drawings over oxygen from 0 to 12 percent, one line for each fuel: carbon dioxide falls, "
        f"dew point falls. At {at} oxygen: {pairs}.",
        caption=f"At {at} oxygen the carbon dioxide and the dew point are: {pairs}. A carbon dioxide "
        "reading set on one fuel is wrong on another: set by oxygen, or by the new fuel's own figure.",
    )


# ---------------------------------------------------------------------------- if nothing is changed


def unchanged(study: FuelSwitch) -> Figure:
    """Return the fuels on the plane of heat input and air, with the ranges in which an appliance may not be."""
    rules = sources.table("fuel_switch")["thresholds"]
    with drawing_style():
        drawing = _drawing(study, 2.9)
        inches = _margins(drawing, left=0.55, right=0.15, top=0.15, bottom=0.55)
        ax = drawing.subplots(gridspec_kw=inches)
        ratio = float(study.present.same_oxygen.air_ratio[0])
        points = [(1.0, ratio, study.present.name)]
        for case in study.proposed:
            assert case.unchanged is not None
            found = case.unchanged.numbers
            points.append((found["heat_input_relative"].value, found["air_ratio"].value, case.name))
        right = max(1.3, *(point[0] + 0.15 for point in points))
        left = min(0.6, *(point[0] - 0.1 for point in points))
        top = max(ratio + 0.4, *(point[1] + 0.25 for point in points))
        bottom = min(0.75, *(point[1] - 0.1 for point in points))
        ax.axhspan(bottom, 1.0, facecolor="#c9d1d9", edgecolor="none")
        ax.axhspan(1.0, rules["air_ratio_low"], facecolor=_SHADE, edgecolor="none")
        ax.axvspan(
            rules["heat_input_high"], right, facecolor="none", edgecolor="#9aa4ad", hatch="////", linewidth=0
        )
        heats = np.linspace(max(left, 0.2), right, 80)
        ax.plot(heats, ratio / heats, color=_EDGE, linewidth=0.8, linestyle=":")
        for text, x, y in (
            ("starved of air", left + 0.02, (bottom + 1.0) / 2),
            ("too little excess air", left + 0.02, (1.0 + rules["air_ratio_low"]) / 2),
        ):
            ax.text(x, y, text, va="center", fontsize=_SMALL, color="#16202a")
        ax.text(
            right - 0.02,
            top - 0.03,
            "over the rating",
            ha="right",
            va="top",
            fontsize=_SMALL,
            bbox={"fc": "white", "ec": "none", "pad": 1.5},
        )
        lifted: list[tuple[float, float]] = []
        for number, (x, y, name) in enumerate(points):
            near = sum(
                abs(x - a) < 0.12 * (right - left) and abs(y - b) < 0.08 * (top - bottom) for a, b in lifted
            )
            lifted.append((x, y))
            ax.plot(
                [x],
                [y],
                _MARKS[number % 5],
                color="black" if number == 0 else COLORS[(number - 1) % 6],
                markersize=7,
            )
            ax.annotate(
                f"{name}{' (today)' if number == 0 else ''}",
                (x, y),
                xytext=(7, 5 + 12 * near),
                textcoords="offset points",
                fontsize=8,
                bbox={"fc": "white", "ec": "none", "pad": 0.8},
            )
        ax.set_xlim(left, right)
        ax.set_ylim(bottom, top)
        ax.grid(axis="both")
        ax.set_xlabel("Heat input against today", loc="left")
        ax.set_ylabel("Air, times what the fuel needs")
        ax.xaxis.set_major_formatter(lambda value, _: f"{100 * value:.0f} %")
    said = words.joined(
        f"{name} at {percent(x)} of the heat input with {y:.2f} times the air it needs"
        for x, y, name in points[1:]
    )
    return figure(
        drawing,
        alt=f"A plane of heat input against today and air ratio. Today at 100 percent and {ratio:.2f}; "
        f"{said}. Shaded below an air ratio of one, hatched above 105 percent of the heat input.",
        caption="Computed so that nobody tries it. "
        f"If another fuel is connected and nothing is changed: {said}. The dotted line is the air "
        "that the appliance moves today: a richer fuel slides down it into want of air, a leaner one up it.",
    )


def wobbe(study: FuelSwitch) -> Figure:
    """Return the Wobbe index of each fuel over the groups of EN 437."""
    system = study.givens.system
    data = sources.table("interchange")["en_437"]
    slope = float(words.on_page("wobbe_gross", 1.0, system))
    rows = list(data["groups"].items())
    with drawing_style():
        drawing = _drawing(study, 1.1 + 0.2 * len(rows))
        inches = _margins(drawing, left=1.4, right=0.2, top=0.45, bottom=0.55)
        ax = drawing.subplots(gridspec_kw=inches)
        for row, (_, (low, high)) in enumerate(rows):
            ends = [units.convert(end, data["unit"], "J/m^3") * slope for end in (low, high)]
            ax.barh(
                row,
                ends[1] - ends[0],
                left=ends[0],
                height=0.55,
                facecolor=_SHADE,
                edgecolor=_EDGE,
                linewidth=0.6,
            )
        ends_at = sorted(
            (case.properties["wobbe_gross"].value * slope, number, case.name)
            for number, case in enumerate(study.cases)
        )
        span = units.convert(90.0, data["unit"], "J/m^3") * slope
        level, last = 0, -np.inf
        for at, number, name in ends_at:
            level = level + 1 if at - last < 0.16 * span else 0
            last = at
            ax.axvline(at, color=COLORS[number], linestyle=_LINES[number], linewidth=1.4)
            ax.annotate(
                name,
                (at, -0.75),
                xytext=(0, 2 + 10 * level),
                textcoords="offset points",
                ha="center",
                va="bottom",
                fontsize=_SMALL,
                color=COLORS[number],
                annotation_clip=False,
            )
        ax.set_yticks(range(len(rows)), [name.replace("family, group", "family,") for name, _ in rows])
        ax.set_ylim(len(rows) - 0.4, -0.7)
        ax.set_xlim(0, span)
        ax.grid(visible=False)
        ax.set_xlabel(f"Wobbe index, gross, {words.sign('wobbe_gross', system)}", loc="left")
    said = words.joined(
        f"{name} {at:,.0f}" if system == "US" else f"{name} {at:.1f}" for at, _, name in ends_at
    )
    return figure(
        drawing,
        alt=f"Bars for the groups of gas of EN 437 over the gross Wobbe index, with a line for each fuel: {said}.",
        caption="Fuels of one group may stand in for one another on appliances made for the group; fuels "
        f"of two families never do. Wobbe indices: {said}.",
    )


# ---------------------------------------------------------------------------- sweeps


def sweep(study: FuelSwitch, one: Sweep) -> Figure:
    """Return a sweep as small drawings over one range."""
    columns = 3 if len(one.panels) > 4 else 2
    rows = -(-len(one.panels) // columns)
    with drawing_style():
        drawing = _drawing(study, 0.5 + 1.08 * rows)
        inches = _margins(drawing, left=0.5, right=0.2, top=0.22, bottom=0.46)
        axes = drawing.subplots(
            rows, columns, sharex=True, squeeze=False, gridspec_kw={**inches, "hspace": 0.42, "wspace": 0.32}
        )
        for ax, panel in zip(axes.flat, one.panels, strict=False):
            _draw_panel(ax, study, one, panel)
        for ax in axes[-1]:
            ax.set_xlabel(words.brief(one.axis, 46), loc="left", fontsize=_SMALL)
        for ax in list(axes.flat)[len(one.panels) :]:
            ax.set_visible(False)
    titles = words.joined(panel.title.lower() for panel in one.panels)
    return figure(
        drawing,
        alt=f"{len(one.panels)} small drawings over: {one.axis}. They show {titles}. {one.finding}",
        caption=f"{one.finding} {one.note}",
    )


def _draw_panel(ax: Axes, study: FuelSwitch, one: Sweep, panel: Panel) -> None:
    system = study.givens.system
    quantity = panel.curves[0].quantity
    for number, curve in enumerate(panel.curves):
        values = words.on_page(quantity, curve.values, system)
        ax.plot(one.along, values, color=COLORS[number], linestyle=_LINES[number], label=curve.name)
    if len(panel.curves) > 1:
        ax.legend(fontsize=6.5, loc="best", handlelength=2.4)
    for name, bound in panel.bounds.items():
        at = float(words.on_page(quantity, bound, system))
        ax.axhline(at, color="black", linewidth=0.7, linestyle=(0, (2, 2)))
        end = (float(one.along[-1]), at)
        ax.annotate(
            name, end, xytext=(-2, 2), textcoords="offset points", fontsize=7, ha="right", va="bottom"
        )
    if one.valid_to is not None:
        ax.axvspan(one.valid_to, float(one.along[-1]), facecolor=_SHADE, edgecolor="none", zorder=0)
    ax.set_title(
        f"{panel.title}, {_axis_label(quantity, system)}".rstrip(", "), fontsize=_SMALL, fontweight="normal"
    )
    ax.set_xlim(float(one.along[0]), float(one.along[-1]))
    ax.margins(y=0.14)
    ax.locator_params(axis="y", nbins=4)
    ax.tick_params(labelsize=7)
