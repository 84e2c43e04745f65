"""The section on burner cycles: shown where a log holds more of them than test points, capped however long it is."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pandas as pd
import pytest

from fluewright import report, sources
from fluewright.appliance import Number
from fluewright.report.cycles import _chosen
from fluewright.report.objects import Figure, Section, Table
from fluewright.steady import Cycle, Peak
from fluewright.studies.audit import Audit, audit
from fluewright.studies.cycles import LIGHT_OFF_PEAK, BurnerCycle
from fluewright.studies.practice import practice_visit
from fluewright.visit import open_visit


@pytest.fixture(scope="module")
def cycling(tmp_path_factory: pytest.TempPathFactory) -> Audit:
    """Return three hours of a furnace on its thermostat: thirteen cycles, six of which settle."""
    made = practice_visit(tmp_path_factory.mktemp("cycling") / "visit", scenario="cycling-furnace", seed=3)
    return audit(open_visit(made.folder))


def parts(shown: Section | None) -> tuple[Figure, Table, Table]:
    assert shown is not None
    drawn, spreads, table, _ = shown.parts
    assert isinstance(drawn, Figure)
    assert isinstance(spreads, Table)
    assert isinstance(table, Table)
    return drawn, spreads, table


@pytest.mark.parametrize("name", ["hall", "laundry", "workshop"])
def test_a_log_with_no_more_burns_than_test_points_shows_nothing(
    name: str, request: pytest.FixtureRequest
) -> None:
    assert report.burner_cycles(request.getfixturevalue(name)) is None


def test_the_caption_says_how_many_settled_and_when_the_worst_light_off_was(cycling: Audit) -> None:
    drawn, _, _ = parts(report.burner_cycles(cycling))
    assert (
        "13 burner cycles, 4.3 light-offs per hour, on for 73 % of the time; 6 settled, 7 never did."
        in drawn.caption
    )
    worst = cycling.cycles.worst
    assert worst is not None
    assert worst.cycle.light_off_peak is not None
    when = worst.cycle.light_off_peak.when.tz_convert("America/New_York").strftime("%H:%M:%S")
    ppm = round(1e6 * worst.cycle.light_off_peak.value)
    assert f"Carbon monoxide at light-off was worst at {when}: {ppm} ppm." in drawn.caption
    assert drawn.caption in drawn.alt


def test_the_figure_names_its_panels_units_and_zone_and_no_inner_name(cycling: Audit) -> None:
    drawn, _, _ = parts(report.burner_cycles(cycling))
    text = " ".join(re.findall(r">([^<>]+)</(?:text|tspan)>", drawn.svg))
    for said in (
        "Time on",
        "Oxygen in flue gas, dry",
        "efficiency, gross",
        "greatest at light-off",
        "Local time",
    ):
        assert said in text
    for unit in ("min", "%", "ppm"):
        assert f">{unit}</text>" in re.sub(r"</?tspan[^>]*>", "", drawn.svg)
    inner = [name for name in (*sources.quantities(), LIGHT_OFF_PEAK) if "_" in name]
    assert not [name for name in inner if name in text + drawn.alt + drawn.caption]


def test_the_tables_hold_the_numbers_of_the_cycles(cycling: Audit) -> None:
    _, spreads, table = parts(report.burner_cycles(cycling))
    rows = {row[0]: row for row in spreads.rows}
    on = rows["Time on, from light-off to shut-down"]
    assert (on[1], *on[2:8:2], on[-1]) == ("min", "7.00", "3.00", "20.00", "13")
    assert on[3:9:2] == ["6.97 to 7.03", "2.97 to 3.03", "19.97 to 20.03"]  # read every 2 s
    assert rows["Steady-state combustion efficiency, gross"][-1] == "6"
    assert len(table.rows) == 13  # a little more than the table would pick: all of them
    efficiency = [head.startswith("Efficiency") for head in table.columns].index(True)
    for row, one in zip(table.rows, cycling.cycles.cycles, strict=True):
        told = one.numbers.get("efficiency_gross")
        if told is not None:
            value, half = (float(text) for text in row[efficiency].split(" ± "))
            assert value == pytest.approx(100 * told.value, abs=0.05)
            assert half == pytest.approx(50 * (told.high - told.low), abs=0.05)
        assert float(row[2]) == pytest.approx(one.cycle.on_time / 60)
        assert ("never settled: " in row[-1]) == (one.cycle.settled is None)
        assert ("–" in row) == (one.cycle.settled is None)


def test_a_cycle_cut_off_says_so_and_its_time_on_is_a_least_value(cycling: Audit) -> None:
    found = cycling.cycles
    first = found.cycles[0]
    kept = {name: number for name, number in first.numbers.items() if name != "burner_on_time"}
    cut = BurnerCycle(cycle=replace(first.cycle, lit=False), numbers=kept)
    shown = report.burner_cycles(replace(cycling, cycles=replace(found, cycles=(cut, *found.cycles[1:]))))
    row = parts(shown)[2].rows[0]
    assert row[2] == "≥ 16"
    assert row[-1] == "light-off not seen"


def test_an_over_range_light_off_is_a_least_value_with_a_mark_of_its_own(cycling: Audit) -> None:
    found = cycling.cycles
    one = found.cycles[4]
    over = Number(quantity="carbon_monoxide_dry", value=4e-3, low=4e-3, high=math.inf, origin="measured")
    peak = Peak(value=4e-3, at_least=True, when=one.cycle.start)
    worst = BurnerCycle(
        cycle=replace(one.cycle, light_off_peak=peak), numbers={**one.numbers, LIGHT_OFF_PEAK: over}
    )
    cycles = (*found.cycles[:4], worst, *found.cycles[5:])
    shown = report.burner_cycles(replace(cycling, cycles=replace(found, cycles=cycles, worst=worst)))
    drawn, _, table = parts(shown)
    assert "worst at 11:01:26: at least 4,000 ppm." in drawn.caption
    assert "at least so much" in drawn.svg
    assert "at least so much" not in parts(report.burner_cycles(cycling))[0].svg
    assert "at least 4,000" in table.rows[4]


def test_of_many_cycles_the_first_the_last_and_the_worst_are_shown_and_all_are_counted(
    cycling: Audit,
) -> None:
    found = cycling.cycles
    many = found.cycles * 20
    shown = report.burner_cycles(replace(cycling, cycles=replace(found, cycles=many)))
    drawn, _, table = parts(shown)
    assert len(table.rows) == 12
    assert "All 260 stand in results.json." in table.caption
    assert "260 burner cycles" in drawn.caption


def test_the_cycles_picked_are_in_order_and_hold_the_worst() -> None:
    at = pd.Timestamp("2026-01-14 10:00", tz="UTC")
    cycle = Cycle(
        start=at,
        end=at,
        on_time=60.0,
        off_before=math.nan,
        lit=True,
        ended=True,
        settled=None,
        settled_after=math.nan,
        why_never="short",
        light_off_peak=None,
        peak=None,
    )
    numbers = [
        {LIGHT_OFF_PEAK: Number(quantity="carbon_monoxide_dry", value=value * 1e-6, origin="measured")}
        for value in [*range(100, 130), 900, *range(130, 140), 800, *range(60)]
    ]
    cycles = [BurnerCycle(cycle=cycle, numbers=one) for one in numbers]
    places = _chosen(cycles)
    assert len(places) == 12
    assert places == sorted(set(places))
    assert {0, 1, 2, 3, 30, 41, len(cycles) - 1} <= set(places)


def test_the_text_says_what_times_and_intervals_rest_on(cycling: Audit) -> None:
    shown = report.burner_cycles(cycling)
    assert shown is not None
    said = shown.parts[-1].as_text()
    assert "lies somewhere within 2 s, the step between two readings" in said
    assert "common to all cycles" in said
    half = (
        cycling.cycles.spreads["efficiency_gross"].median.high
        - cycling.cycles.spreads["efficiency_gross"].median.low
    ) / 2
    assert f"an error common to all of ± {100 * half:.2g} points" in parts(shown)[0].caption


def test_the_section_prints_as_a_page_and_as_html(cycling: Audit) -> None:
    shown = report.burner_cycles(cycling)
    assert shown is not None
    bundle = shown._repr_mimebundle_()
    assert "<h2>Burner cycles</h2>" in bundle["text/html"]
    assert bundle["text/html"].count("<table") == 2
    assert "Burner cycles" in bundle["text/plain"]
