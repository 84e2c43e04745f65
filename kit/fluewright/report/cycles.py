"""The burner cycles of a long log: a figure with one mark a cycle, what they have in common, and the cycles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from fluewright import sources
from fluewright.appliance import Number
from fluewright.report import words
from fluewright.report.drawing import COLORS, Drawing, drawing_style, figure, text_width
from fluewright.report.figures import local, time_axis
from fluewright.report.objects import Align, Figure, Paragraph, Section, Table
from fluewright.steady import DILUTION, OXYGEN
from fluewright.steady.words import digits
from fluewright.studies.audit import Audit
from fluewright.studies.cycles import LIGHT_OFF_PEAK, PEAK, BurnerCycle

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_PALE = "#9aa4ad"
_ALL = 14  # cycles that all stand in the table; of more only
_SHOWN = 12  # do: the first, the last and the worst
_PANEL, _GAP_ABOVE = 0.5, 0.2  # inches
_FEW = 100  # cycles up to which each has room for a mark of full size
_THINNEST = 0.7  # points: a cycle of a long log must still show
_COMPARED = (
    "burner_on_time",
    "burner_off_time",
    "settling_time",
    *DILUTION,
    "carbon_monoxide_dry",
    "flue_temperature",
    "excess_air",
    "excess_air_oxygen_rule",
    "carbon_monoxide_air_free",
    "carbon_monoxide_air_free_oxygen_rule",
    "efficiency_gross",
    LIGHT_OFF_PEAK,
    PEAK,
)
_TIMES = ("burner_on_time", "settling_time")  # what they are sure to is the same for all, and said below
_LABELS = {
    LIGHT_OFF_PEAK: "Carbon monoxide, dry, greatest at light-off",
    PEAK: "Carbon monoxide, dry, greatest in any row",
}
_HEADS = {
    "burner_on_time": "On",
    "settling_time": "Settled\nafter",
    **dict.fromkeys(DILUTION, "Oxygen"),
    "carbon_dioxide_dry": "Carbon dioxide",
    "flue_temperature": "Flue gas",
    "carbon_monoxide_air_free_oxygen_rule": "CO, air-\nfree",
    "efficiency_gross": "Efficiency,\ngross",
    LIGHT_OFF_PEAK: "CO at\nlight-off",
}


def burner_cycles(audit: Audit) -> Section | None:
    """Return the burner cycles of the logs, or None where there are no more of them than test points to show them."""
    if len(audit.cycles.cycles) <= max(len(audit.points), 1):
        return None
    return Section("Burner cycles", [_figure(audit), _spreads(audit), _cycles(audit), _remark(audit)])


def _paper(audit: Audit) -> str:
    return audit.visit.plan.report.paper.lower()


# ---------------------------------------------------------------------------- the figure


def _figure(audit: Audit) -> Figure:
    """Return one mark a cycle over time: how long it was on, and where read, what it settled at and its peak."""
    cycles, spreads = audit.cycles.cycles, audit.cycles.spreads
    oxygen = next((name for name in DILUTION if name in spreads), "")
    settled = [name for name in (oxygen, "efficiency_gross") if name in spreads]
    peaks = [LIGHT_OFF_PEAK] if LIGHT_OFF_PEAK in spreads else []
    count = 1 + len(settled) + len(peaks)
    start, end = cycles[0].cycle.start, cycles[-1].cycle.end
    with drawing_style():
        height = 0.12 + (_PANEL + _GAP_ABOVE) * count + 0.42
        drawing = Drawing(figsize=(text_width(_paper(audit)), height))
        axes = drawing.subplots(count, 1, sharex=True, squeeze=False)[:, 0]
        drawing.subplots_adjust(
            left=0.62 / drawing.get_figwidth(),
            right=1 - 0.1 / drawing.get_figwidth(),
            top=1 - (_GAP_ABOVE + 0.05) / height,
            bottom=0.45 / height,
            hspace=_GAP_ABOVE / _PANEL + 0.1,
        )
        time_axis(axes[-1], audit, start, end)
        _draw_times(axes[0], audit)
        for ax, name in zip(axes[1:], settled, strict=False):
            _draw_settled(ax, audit, name)
        for ax in axes[1 + len(settled) :]:
            _draw_peaks(ax, audit)
        drawing.align_ylabels(axes)
        for ax in axes[:-1]:
            ax.tick_params(labelbottom=False)
        for ax in axes:
            ax.tick_params(labelsize=7.5)
            ax.locator_params(axis="y", nbins=4)
    said = _said(audit)
    panels = words.joined(["the time on", *(_named(name) for name in (*settled, *peaks))])
    return figure(drawing, alt=f"One mark a burner cycle over time: {panels}. {said}", caption=said)


def _named(name: str) -> str:
    label = _label(name)
    return label[0].lower() + label[1:]


def _label(name: str) -> str:
    return _LABELS.get(name) or sources.quantity(name).label


def _title(ax: Axes, audit: Audit, name: str, title: str) -> None:
    ax.set_title(title, fontsize=7.5, fontweight="normal", pad=2.5)
    ax.set_ylabel(words.sign(_quantity(name), audit.visit.plan.report.units), fontsize=8)


def _quantity(name: str) -> str:
    """Return the quantity that a number of a cycle is one of."""
    return "carbon_monoxide_dry" if name in _LABELS else name


def _draw_times(ax: Axes, audit: Audit) -> None:
    """Draw a bar a cycle, as wide as it was long; pale where it never settled."""
    cycles = [one.cycle for one in audit.cycles.cycles]
    system = audit.visit.plan.report.units
    long = np.array([float(words.on_page("burner_on_time", one.on_time, system)) for one in cycles])
    points = 72 * ax.get_position().width * ax.figure.get_figwidth()  # type: ignore[union-attr]
    low, high = ax.get_xlim()
    # An axis of time counts days.
    wide = points * np.array([one.on_time for one in cycles]) / ((high - low) * 86_400)
    middle = local(audit, pd.DatetimeIndex([one.start + (one.end - one.start) / 2 for one in cycles]))
    colors = [_PALE if one.settled is None else COLORS[0] for one in cycles]
    ax.vlines(middle, 0, long, colors=colors, linewidths=np.maximum(wide, _THINNEST))
    ax.set_ylim(0, None)
    _title(ax, audit, "burner_on_time", "Time on (dark: settled; pale: never settled)")


def _draw_settled(ax: Axes, audit: Audit, name: str) -> None:
    moments, values = _values(audit, name)
    ax.plot(moments, values, linestyle="none", marker="o", color=COLORS[0], markersize=_size(len(values)))
    ax.margins(y=0.25)
    _title(ax, audit, name, f"{sources.quantity(name).label}, mean of the settled part")


def _draw_peaks(ax: Axes, audit: Audit) -> None:
    """Draw a stem a cycle up to its peak; the greatest carries its number."""
    moments, values = _values(audit, LIGHT_OFF_PEAK)
    seen = [one for one in audit.cycles.cycles if LIGHT_OFF_PEAK in one.numbers]
    over = np.array([one.numbers[LIGHT_OFF_PEAK].is_lower_bound for one in seen])
    few, size = len(values) <= _FEW, _size(len(values))
    if few:
        ax.vlines(moments, 0, values, colors=COLORS[1], linewidths=0.8)
    ax.plot(moments[~over], values[~over], linestyle="none", marker="s", color=COLORS[1], markersize=size)
    ax.plot(moments[over], values[over], linestyle="none", marker="^", color="black", markersize=size + 1)
    worst = int(np.argmax(values))
    ax.annotate(
        words.printed(seen[worst].numbers[LIGHT_OFF_PEAK], audit.visit.plan.report.units).value,
        (moments[worst], values[worst]),
        xytext=(0, 3),
        textcoords="offset points",
        ha="center",
        fontsize=7.5,
        annotation_clip=False,
    )
    ax.set_ylim(0, 1.35 * float(values.max()) or 1.0)
    note = " (▲ at least so much: above the instrument's range)" if over.any() else ""
    _title(ax, audit, LIGHT_OFF_PEAK, f"{_LABELS[LIGHT_OFF_PEAK]}{note}")


def _size(count: int) -> float:
    return 3.5 if count <= _FEW else 1.5


def _values(audit: Audit, name: str) -> tuple[pd.DatetimeIndex, np.ndarray]:
    """Return the light-offs of the cycles that have a number, and the number in the unit shown."""
    seen = [one for one in audit.cycles.cycles if name in one.numbers]
    values = np.array([one.numbers[name].value for one in seen])
    moments = local(audit, pd.DatetimeIndex([one.cycle.start for one in seen]))
    return moments, np.asarray(words.on_page(_quantity(name), values, audit.visit.plan.report.units))


def _said(audit: Audit) -> str:
    """Return in sentences what the cycles show."""
    found, system = audit.cycles, audit.visit.plan.report.units
    count, never = len(found.cycles), found.never_settled
    text = f"{count:,} burner cycles"
    if found.share_on is not None and found.light_offs is not None:
        share, rate = (words.printed(one, system) for one in (found.share_on, found.light_offs))
        text += f", {rate.value} light-offs {rate.sign}, on for {share.value} {share.sign} of the time"
    settled = f"{count - never:,} settled, {never:,} never did" if never else "all settled"
    settled = "none ever settled" if never == count else settled
    parts = [f"{text}; {settled}."]
    efficiency = found.spreads.get("efficiency_gross")
    if efficiency is not None and efficiency.cycles > 1:
        low, high = (
            words.bare("efficiency_gross", end.value, system)
            for end in (efficiency.least, efficiency.greatest)
        )
        span = f"{low} % in each of them" if low == high else f"{low} to {high} % from cycle to cycle"
        half = (efficiency.median.high - efficiency.median.low) / 2
        common = f", with an error common to all of ± {words.half_width('efficiency_gross', half, system)}"
        parts.append(f"Settled, gross efficiency was {span}{common if half > 0 else ''}.")
    if found.worst is not None and found.worst.cycle.light_off_peak is not None:
        most = words.printed(found.worst.numbers[LIGHT_OFF_PEAK], system)
        when = _when(audit, found.worst.cycle.light_off_peak.when)
        parts.append(f"Carbon monoxide at light-off was worst at {when}: {most.value} {most.sign}.")
    return " ".join(parts)


def _when(audit: Audit, moment: pd.Timestamp) -> str:
    """Return a clock time of the visit's zone, with the day where the cycles reach over several."""
    zone = audit.visit.plan.visit.time_zone
    first, last = (audit.cycles.cycles[place].cycle.start.tz_convert(zone).date() for place in (0, -1))
    day = "" if first == last else f"{moment.tz_convert(zone):%b %d} "
    return f"{day}{words.clock(moment, zone)}"


# ---------------------------------------------------------------------------- the tables


def _spreads(audit: Audit) -> Table:
    """Return how the cycles differ: median, least and greatest of each number with their intervals, and the scatter."""
    system = audit.visit.plan.report.units
    rows = []
    for name in _COMPARED:
        if (one := audit.cycles.spreads.get(name)) is None:
            continue
        quantity = _quantity(name)
        deviation = float(words.on_page(quantity, one.deviation, system, change=True))
        rows.append(
            [
                _label(name),
                words.sign(quantity, system),
                *(
                    text
                    for shown in (words.printed(end, system) for end in (one.median, one.least, one.greatest))
                    for text in (shown.value, shown.interval)
                ),
                "–" if np.isnan(deviation) else digits(deviation),
                f"{one.cycles:,}",
            ]
        )
    return Table(
        columns=["", "Unit", *_ends("Median", "Least", "Greatest"), "Standard\ndev.", "Cycles"],
        rows=rows,
        caption="What the burner cycles have in common, and how they differ, with 95 % intervals.",
        align=["left", "left", *(("decimal", "left") * 3), "decimal", "right"],
    )


def _ends(*heads: str) -> list[str]:
    return [text for head in heads for text in (head, "95 % interval")]


def _cycles(audit: Audit) -> Table:
    """Return the cycles, where there are many the first, the last and the worst at light-off."""
    cycles, system = audit.cycles.cycles, audit.visit.plan.report.units
    names = [name for name in _HEADS if any(name in one.numbers for one in cycles)]
    if any(name in names for name in OXYGEN):
        names = [name for name in names if name != "carbon_dioxide_dry"]
    chosen = _chosen(cycles)
    caption = "The burner cycles, with 95 % intervals."
    if len(chosen) < len(cycles):
        caption = (
            "Burner cycles, with 95 % intervals: the first, the last, and those with the most carbon monoxide at "
            f"light-off. All {len(cycles):,} stand in results.json."
        )
    aligns: list[Align] = ["right", "left", *(["decimal"] * len(names)), "left"]  # type: ignore[list-item]
    return Table(
        columns=["No.", "Light-off", *(_head(name, system) for name in names), "Remark"],
        rows=[
            [
                f"{place + 1:,}",
                _when(audit, cycles[place].cycle.start),
                *(_cell(cycles[place], name, system) for name in names),
                _note(cycles[place]),
            ]
            for place in chosen
        ],
        caption=caption,
        align=aligns,
    )


def _head(name: str, system: words.System) -> str:
    return f"{_HEADS[name]},\n{words.sign(_quantity(name), system)}"


def _cell(one: BurnerCycle, name: str, system: words.System) -> str:
    if name == "burner_on_time" and name not in one.numbers:
        return f"≥ {words.bare(name, one.cycle.on_time, system)}"
    number: Number | None = one.numbers.get(name)
    if number is None:
        return "–"
    return words.printed(number, system).value if name in _TIMES else words.with_reach(number, system)


def _note(one: BurnerCycle) -> str:
    unseen = {
        (False, False): "light-off and shut-down not seen",
        (False, True): "light-off not seen",
        (True, False): "shut-down not seen",
    }
    never = f"never settled: {one.cycle.why_never}" if one.cycle.why_never else ""
    return words.together(unseen.get((one.cycle.lit, one.cycle.ended), ""), never)


def _chosen(cycles: Sequence[BurnerCycle]) -> list[int]:
    """Return the places of the cycles that the table shows, in order of time."""
    if len(cycles) <= _ALL:
        return list(range(len(cycles)))
    third = _SHOWN // 3
    ends = [*range(third), *range(len(cycles) - third, len(cycles))]
    inner = range(third, len(cycles) - third)
    worst = sorted(inner, key=lambda place: _worst(cycles[place].numbers), reverse=True)[: _SHOWN - 2 * third]
    return sorted([*ends, *worst])


def _worst(numbers: Mapping[str, Number]) -> float:
    return numbers[LIGHT_OFF_PEAK].value if LIGHT_OFF_PEAK in numbers else -1.0


def _remark(audit: Audit) -> Paragraph:
    """Return how on and off were told, and what the numbers of a cycle are."""
    told = (
        "On and off are told by the burner's own signal."
        if audit.cycles.told_by == "burner signal"
        else "On and off are told by the flue gas: a probe out of the flue for long looks like a burner off."
    )
    whole = f"Times on are those of the {audit.cycles.whole:,} cycles seen from light-off to shut-down."
    step = f"{audit.cycles.interval:.3g} s"
    return Paragraph(
        f"{told} {whole} Each light-off and shut-down lies somewhere within {step}, the step between two readings; the "
        "times are as sure as that. A cycle counts as settled by the rules that find a test point's window, and has "
        "its intervals by the same means. Most of their width is the instruments' errors, common to all cycles: a "
        "difference from cycle to cycle is surer than the intervals look. The standard deviation describes the values "
        "as found, their noise included. The light-off is a burn's first minute.",
        quiet=True,
    )
