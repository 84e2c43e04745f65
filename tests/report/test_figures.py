"""Figures say their finding, carry words for who cannot see them, add up, and hide no extreme."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fluewright import sources
from fluewright.report import figures
from fluewright.report.drawing import Drawing, drawing_style
from fluewright.report.objects import Figure
from fluewright.studies.audit import Audit

MakeAudit = Callable[..., Audit]


def all_figures(audit: Audit) -> list[Figure]:
    found = [*figures.stabilization(audit), figures.heat(audit), figures.dew_points(audit)]
    found.append(figures.uncertainty(audit, audit.points[-1]))
    return [one for one in found if one is not None]


@pytest.mark.parametrize("name", ["hall", "laundry"])
def test_every_figure_has_words_for_who_cannot_see_it_and_no_inner_name(
    name: str, request: pytest.FixtureRequest
) -> None:
    for one in all_figures(request.getfixturevalue(name)):
        assert len(one.alt) > 60
        assert one.caption.endswith(".")
        drawn = " ".join(re.findall(r">([^<>]+)</(?:text|tspan)>", one.svg))
        for text in (one.alt, one.caption, drawn):
            assert not [quantity for quantity in sources.quantities() if "_" in quantity and quantity in text]


def test_every_axis_of_the_stabilization_carries_its_unit_and_the_visit_zone(hall: Audit) -> None:
    (drawn,) = figures.stabilization(hall)
    for unit in ("%", "ppm", "°F"):
        assert f">{unit}</text>" in re.sub(r"</?tspan[^>]*>", "", drawn.svg)
    assert "Local time, America/New York" in drawn.svg
    assert "°C" not in drawn.svg


def test_the_names_of_lines_close_together_stay_inside_their_panel() -> None:
    with drawing_style():
        made = Drawing(figsize=(6.0, 1.0))
        ax = made.add_axes((0.1, 0.3, 0.8, figures._NAMED_PANEL))
        moments = pd.date_range("2026-01-14 10:00", periods=3, freq="min")
        lines = [
            figures._Line(x=moments, y=np.array(values)) for values in ([300.0, 130, 122], [66.0, 67, 68])
        ]
        for line in lines:
            ax.plot(line.x, line.y, label="return temperature")
        ax.margins(y=0.4)
        figures._label_lines(ax, lines)
        made.draw_without_rendering()
        panel = ax.get_window_extent()
        for name in ax.texts:
            drawn = name.get_window_extent()
            assert panel.y0 <= drawn.y0
            assert drawn.y1 <= panel.y1 + 1


def test_the_caption_says_when_it_settled_and_how_the_flue_still_moved(laundry: Audit) -> None:
    (drawn,) = figures.stabilization(laundry)
    for point in laundry.points:
        window = point.steadiness.window
        assert window is not None
        start = window.start.tz_convert("America/New_York").strftime("%H:%M:%S")
        assert f"steady from {start}" in drawn.caption
    assert re.search(r"the flue was still (warming|cooling) by [\d.]+ K/min", drawn.caption)


def test_without_a_window_the_caption_says_so_and_over_range_readings_are_marked(workshop: Audit) -> None:
    (drawn,) = figures.stabilization(workshop)
    assert "no steady window was found" in drawn.caption
    assert "above the instrument's range" in re.sub(r"</?tspan[^>]*>", "", drawn.svg)


def test_test_points_far_apart_get_a_figure_each(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    later = [[row[0].replace(" 10:", " 14:"), *row[1:]] for row in settled]
    first = complete_plan["test_points"][0]
    second = {**first, "name": "afternoon", "start": "2026-01-14T14:00:00", "end": "2026-01-14T14:30:00"}
    complete_plan["test_points"].append(second)
    made = make_audit(complete_plan, [*settled, *later])
    assert [[point.name for point in group] for group in figures.near_points(made)] == [
        ["as left"],
        ["afternoon"],
    ]
    assert len(figures.stabilization(made)) == 2


@pytest.mark.law
@pytest.mark.parametrize("name", ["hall", "laundry"])
def test_the_steps_drawn_add_to_the_gross_input(name: str, request: pytest.FixtureRequest) -> None:
    made = request.getfixturevalue(name)
    alt = figures.heat(made).alt
    for point in made.points:
        left = point.numbers["efficiency_gross"].value
        steps = figures._steps(point)
        assert sum(value for _, value in steps) + left == pytest.approx(1.0, abs=1e-12)
        assert all(f" {100 * value:.2f} %" in alt for _, value in steps)
        assert f"left for use {100 * left:.1f} %" in alt


def test_condensation_is_told_with_how_far_below_the_dew_point(laundry: Audit) -> None:
    drawn = figures.dew_points(laundry)
    assert drawn is not None
    assert (
        len(
            re.findall(
                r"below its dew point of .*?: it is wet; [\d.]+ \([\d. to]+\) % of its water", drawn.caption
            )
        )
        == 2
    )


def test_no_condensation_is_told_with_the_margin(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    made = make_audit(complete_plan, settled)
    drawn = figures.dew_points(made)
    assert drawn is not None
    margin = made.points[0].numbers["dew_point_margin"].value * 1.8
    found = re.search(r"the flue gas is ([\d.]+) .* above its dew point", drawn.caption)
    assert found is not None
    assert float(found[1]) == pytest.approx(margin, abs=0.06)


def test_without_a_window_there_is_no_dew_point_to_draw(workshop: Audit) -> None:
    assert figures.dew_points(workshop) is None


@pytest.mark.law
@given(count=st.integers(1, 40_000), seed=st.integers(0, 2**32 - 1), missing=st.floats(0, 0.9))
def test_thinning_a_long_log_keeps_its_least_and_its_greatest_reading(
    count: int, seed: int, missing: float
) -> None:
    rng = np.random.default_rng(seed)
    values = rng.standard_normal(count)
    values[rng.random(count) < missing] = np.nan
    index = pd.date_range("2026-01-14", periods=count, freq="s", tz="UTC")
    whole = pd.Series(values, index=index, name="oxygen_dry")
    thin = figures._thinned(whole)
    per_bin = -(-count // (figures._MOST_DRAWN // 2))
    assert len(thin) <= figures._MOST_DRAWN + per_bin  # and the rest that fills no bin
    if np.isfinite(values).any():
        assert thin.min() == whole.min()
        assert thin.max() == whole.max()
    assert thin.index.is_monotonic_increasing
    assert thin.equals(whole.loc[thin.index])  # nothing is invented


@pytest.mark.law
def test_no_line_is_drawn_across_a_gap() -> None:
    index = pd.date_range("2026-01-14", periods=10, freq="5s", tz="UTC")
    index = index.append(pd.date_range("2026-01-14 01:00", periods=10, freq="5s", tz="UTC"))
    whole = pd.Series(np.ones(20), index=index, name="oxygen_dry")
    broken = figures._broken(whole)
    assert len(broken) == 21
    assert math.isnan(broken.iloc[10])
    assert figures._broken(whole.iloc[:10]).equals(whole.iloc[:10])


# ---------------------------------------------------------------------------- uncertainty


def test_the_bars_of_uncertainty_say_which_instrument_to_improve_and_what_it_gives(laundry: Audit) -> None:
    point = laundry.points[-1]
    drawn = figures.uncertainty(laundry, point)
    first = point.contributions["efficiency_gross"][0]
    number = point.numbers["efficiency_gross"]
    assert f"{100 * first.share:.0f} % of the variance" in drawn.caption
    found = re.search(r"would be about ± ([\d.]+) points instead of ± ([\d.]+) points", drawn.caption)
    assert found is not None
    then, now = map(float, found.groups())
    assert now == pytest.approx(50 * (number.high - number.low), rel=0.05)
    # Variances add: what is left of the square without the first share.
    assert then == pytest.approx(now * math.sqrt(1 - first.share), rel=0.06)
    half = re.search(r"Flue-gas temperature at the sampling point ± ([\d.]+) points", drawn.alt)
    assert half is not None
    assert float(half[1]) == pytest.approx(100 * first.half_width, rel=0.06)
    assert f"± {half[1]} points" in drawn.svg


def test_a_window_is_counted_from_the_light_off_before_it(hall: Audit) -> None:
    point = hall.points[0]
    steady = point.steadiness
    (lit,) = (part for part in steady.refused if part.phase == "light-off")
    assert steady.window is not None
    later, after = (
        replace(lit, start=steady.window.start + pd.Timedelta(minutes=minutes)) for minutes in (-2, 2)
    )
    again = replace(steady, rows=steady.rows + 2 * lit.rows, refused=(*steady.refused, later, after))
    assert ", 2 min after light-off" in figures._settled_words(hall, replace(point, steadiness=again))
