"""The audit against the simulator's truth, and its own laws."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fluewright as fw
from fluewright.errors import InputError
from fluewright.report.basis import methods
from fluewright.report.visit_tables import column_map
from fluewright.steady import criteria_names
from fluewright.studies.audit import Audit, check
from fluewright.studies.inputs import spot_means
from fluewright.studies.numbers import interval
from fluewright.studies.results import results_text

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data-demo"
Make = Callable[..., Path]
pytestmark = pytest.mark.law

TOLD = (
    "excess_air",
    "carbon_monoxide_air_free",
    "water_dew_point",
    "efficiency_gross",
    "efficiency_net",
    "condensed_fraction",
    "temperature_rise",
    "heat_input_ratio",
)


def truths() -> Iterator[tuple[str, str, str, float]]:
    for path in sorted((DEMO / "truth").glob("*.json")):
        truth = json.loads(path.read_text(encoding="utf-8"))
        for point, values in truth["test_points"].items():
            for name in TOLD:
                if name in values:
                    yield path.stem, point, name, values[name]["value"]


@pytest.fixture(scope="module")
def audits() -> dict[str, dict[str, Any]]:
    names = ("hall-furnace", "laundry-boiler", "workshop-heater")
    return {name: dict(fw.audit(fw.open_visit(DEMO / name)).results) for name in names}


@pytest.mark.parametrize(("visit", "point", "name", "truth"), list(truths()))
def test_the_interval_holds_the_truth_of_the_simulator(
    audits: dict[str, dict[str, Any]], visit: str, point: str, name: str, truth: float
) -> None:
    found = next(one for one in audits[visit]["test_points"] if one["name"] == point)
    if found["window"] is None:
        assert not set(TOLD[:-1]) & found["numbers"].keys()  # it never settled: no number is made up for it
    if name == "heat_input_ratio" and visit == "workshop-heater":
        assert name not in found["numbers"]  # its meter was not clocked
    if name not in found["numbers"]:
        assert found["window"] is None or name == "heat_input_ratio"
        return
    number = found["numbers"][name]
    assert number["interval_low"] <= truth <= number["interval_high"]


def test_the_verdicts_of_the_demo_visits(audits: dict[str, dict[str, Any]]) -> None:
    named = {name: results["verdict"]["name"] for name, results in audits.items()}
    assert named == {
        "hall-furnace": "no_tested_limit_exceeded",
        "laundry-boiler": "incomplete",
        "workshop-heater": "leave_off",
    }
    assert audits["laundry-boiler"]["not_tested"]


def test_every_row_is_accounted_for(audits: dict[str, dict[str, Any]]) -> None:
    for results in audits.values():
        for account in results["account_of_rows"]:
            assert account["read"] == account["used"] + sum(part["rows"] for part in account["set_aside"])
        for point in results["test_points"]:
            window = point["window"]["rows"] if point["window"] else 0
            assert point["rows"] == window + sum(part["rows"] for part in point["refused"])


def test_losses_and_credits_add_up_to_the_input(audits: dict[str, dict[str, Any]]) -> None:
    for results in audits.values():
        for point in results["test_points"]:
            numbers = {name: number["value"] for name, number in point["numbers"].items()}
            if "efficiency_gross" not in numbers:
                continue
            for ending, efficiency in (("", "efficiency_gross"), ("_net", "efficiency_net")):
                lost = sum(
                    value
                    for name, value in numbers.items()
                    if name.startswith("loss_")
                    and name.endswith("_net") == bool(ending)
                    and name.removesuffix("_net") not in ("loss_casing", "loss_stack_european")
                )
                credit = numbers[f"credit_air{ending}"] + numbers[f"credit_fuel{ending}"]
                assert numbers[efficiency] == pytest.approx(1 - lost + credit, abs=1e-11)


def test_a_difference_is_more_certain_than_its_parts(audits: dict[str, dict[str, Any]]) -> None:
    results = audits["hall-furnace"]
    (difference,) = results["differences"]
    assert (difference["from"], difference["to"]) == ("as found", "as left")

    def width(number: dict[str, Any]) -> float:
        return float(number["interval_high"] - number["interval_low"])

    name = "efficiency_gross"
    parts = [width(point["numbers"][name]) for point in results["test_points"]]
    alone = sum(part**2 for part in parts) ** 0.5  # were the instruments' errors not shared
    assert width(difference["numbers"][name]) < 0.8 * alone
    values = [point["numbers"][name]["value"] for point in results["test_points"]]
    assert difference["numbers"][name]["value"] == pytest.approx(values[1] - values[0], abs=1e-12)


def test_what_was_read_once_for_the_visit_cancels_in_a_difference(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    """Three readings of the intake's air that scatter by kelvins: wrong by the same at both test points."""
    del complete_plan["logs"][0]["columns"]["Air"]
    (point,) = complete_plan["test_points"]
    complete_plan["test_points"] = [
        {**point, "name": "as found", "end": "2026-01-14T10:14:55"},
        {**point, "name": "as left", "start": "2026-01-14T10:15:00", "replaces": "as found"},
    ]

    def audited(name: str, *readings: str) -> Audit:
        complete_plan["readings"]["air_temperature"] = [
            {"value": value, "instrument": "flue"} for value in readings
        ]
        return fw.audit(fw.open_visit(make_visit(complete_plan, settled, name)))

    one, three = audited("one", "70 degF"), audited("three", "60 degF", "70 degF", "80 degF")
    width = {
        name: [
            number.high - number.low for number in (made.points[1].numbers["efficiency_gross"], difference)
        ]
        for name, made in (("one", one), ("three", three))
        for difference in [made.differences["as found", "as left"]["efficiency_gross"]]
    }
    assert width["three"][0] > 2 * width["one"][0]
    assert width["three"][1] == pytest.approx(width["one"][1], rel=0.05)


def test_oxygen_in_ppm_is_asked_about(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["logs"][0]["columns"]["O2"]["unit"] = "ppm"
    with pytest.raises(InputError, match=r"flue\.csv: the highest oxygen .* 'ppm' .*is percent meant"):
        check(fw.open_visit(make_visit(complete_plan, settled)))


@pytest.mark.parametrize(("last", "overdue"), [("2025-01-13", False), ("2025-01-12", True)])
def test_a_calibration_of_more_than_a_year_ago_without_a_due_date_is_a_note(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], last: str, overdue: bool
) -> None:
    complete_plan["instruments"]["flue"]["calibrated"] = dt.date.fromisoformat(last)
    audit = fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    found = [one for one in audit.findings if one.rule == "calibration_overdue"]
    assert len(found) == overdue
    assert all(f"last {last}, no due date given" in one.headline for one in found)


@pytest.mark.parametrize(("due", "overdue"), [("2026-01-13", True), ("2026-01-14", False)])
def test_an_overdue_calibration_is_a_note(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], due: str, overdue: bool
) -> None:
    tool = next(iter(complete_plan["instruments"].values()))
    tool["calibration_due"] = dt.date.fromisoformat(due)
    audit = fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    found = [one for one in audit.findings if one.rule == "calibration_overdue"]
    assert [one.weight for one in found] == ["note"] * overdue
    assert all(due in one.headline and tool["description"] in one.headline for one in found)
    told = [one["rule"] for one in audit.results["judgements"]]
    assert ("calibration_overdue" in told) is overdue


def test_the_same_visit_gives_the_same_text() -> None:
    texts = {results_text(fw.audit(fw.open_visit(DEMO / "hall-furnace")).results) for _ in range(2)}
    assert len(texts) == 1


def test_what_an_instrument_computed_is_shown_and_never_used(audits: dict[str, dict[str, Any]]) -> None:
    for point in audits["hall-furnace"]["test_points"]:
        reading = point["readings"]["carbon_dioxide_dry_instrument"]
        assert reading["origin"] == "instrument"
        assert "not used" in reading["basis"]
    subjects = {one["subject"] for one in audits["hall-furnace"]["judgements"]}
    assert "carbon_dioxide_dry" not in subjects


def test_ranked_contributions_make_up_the_whole(audits: dict[str, dict[str, Any]]) -> None:
    for point in audits["hall-furnace"]["test_points"]:
        for name, ranked in point["uncertainty"].items():
            assert sum(one["share"] for one in ranked) == pytest.approx(1.0, abs=1e-6)
            assert [one["share"] for one in ranked] == sorted((one["share"] for one in ranked), reverse=True)
            widths = [one["half_width"] for one in ranked]
            number = point["numbers"][name]
            half = (number["interval_high"] - number["interval_low"]) / 2
            # More than the greatest alone, less than all in the same direction.
            assert 0.98 * max(widths) <= half <= sum(widths)
            assert half == pytest.approx(sum(width**2 for width in widths) ** 0.5, rel=0.25)


def test_a_retest_is_said_to_have_put_right(audits: dict[str, dict[str, Any]]) -> None:
    found = [one for one in audits["hall-furnace"]["judgements"] if one["put_right"]]
    assert {one["rule"] for one in found} >= {"temperature_rise", "heat_input_ratio_high"}
    assert all(one["test_point"] == "as found" and one["weight"] == "note" for one in found)


def test_a_cell_that_reads_a_little_below_zero_still_gives_results(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled:
        row[2] = "-2"
    audit = fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    numbers = audit.points[0].numbers
    assert numbers["carbon_monoxide_air_free"].value == 0.0
    assert numbers["carbon_monoxide_air_free"].low == 0.0
    assert 0.80 < numbers["efficiency_gross"].value < 0.86


def test_the_definition_of_steady_that_the_visit_names_is_used_and_shown(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    """An hour of a flue that warms by 0.4 °F/min: steady for a field test, not by a published procedure."""
    name = "furnace or boiler, ASHRAE 103"
    complete_plan["test_points"][0]["end"] = "2026-01-14T10:59:55"
    rows = [[*row] for row in settled * 2]
    for row in rows[360:]:  # the half hour that follows
        row[0] = f"2026-01-14 10:{int(row[0][14:16]) + 30}:{row[0][17:]}"
    for number, row in enumerate(rows):
        row[3] = f"{330 + 0.4 * number / 12:.1f}"
    field = fw.audit(fw.open_visit(make_visit(complete_plan, rows, "field")))
    complete_plan["steady"] = {"criteria": name}
    audit = fw.audit(fw.open_visit(make_visit(complete_plan, rows, "procedure")))
    assert field.points[0].steadiness.window is not None
    assert audit.points[0].steadiness.window is None
    assert audit.cycles.never_settled > field.cycles.never_settled
    shown = audit.results["test_points"][0]["steady_criteria"]
    assert (shown["name"], shown["status"], shown["judged"]) == (name, "memory", ["flue_temperature"])
    method = next(text for text in methods(audit) if text.startswith("Steady window"))
    assert f"“{name}”" in method
    assert "(flue temperature)" in method
    assert "from memory" in method


def test_every_definition_of_steady_can_be_named(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for name in criteria_names():
        complete_plan["steady"] = {"criteria": name}
        visit = fw.open_visit(make_visit(complete_plan, settled, name.replace(" ", "-")))
        assert fw.audit(visit).points[0].steadiness.criteria.name == name


def test_cells_without_a_number_are_told(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    settled[0][1], settled[1][1], settled[2][2] = "---", "-999", "OVER"
    audit = fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    cells = {one["quantity"]: one["cells"] for one in audit.results["channels"]}
    assert cells["oxygen_dry"] == {
        "number": len(settled) - 2,
        "empty": 0,
        "over_range": 0,
        "under_range": 0,
        "no_number": 2,
    }
    assert cells["carbon_monoxide_dry"]["over_range"] == 1
    told = column_map(audit).as_text()
    assert "oxygen (of 360 rows 2 with a word or mark for no reading)" in told
    assert "carbon monoxide (of 360 rows 1 over range)" in told
    assert "flue temperature;" in told


def test_a_gas_below_zero_is_shown_as_none_with_an_interval_and_says_so(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    rows = [[time, oxygen, "-12", flue, air] for time, oxygen, _, flue, air in settled]
    (point,) = fw.audit(fw.open_visit(make_visit(complete_plan, rows))).points
    for number in (point.readings["carbon_monoxide_dry"], point.numbers["carbon_monoxide_air_free"]):
        assert number.value == 0.0 == number.low
        assert number.high is not None
        assert number.high > 9e-6
    assert (
        "below zero, which no gas can be, and is shown as zero" in point.readings["carbon_monoxide_dry"].basis
    )


def test_a_mean_of_some_rows_of_the_window_says_of_how_many(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled[60:]:
        row[4] = ""
    settled[100][2] = ""
    (point,) = fw.audit(fw.open_visit(make_visit(complete_plan, settled))).points
    assert point.settled is not None
    read = point.settled.means["air_temperature"]
    assert point.readings["air_temperature"].basis == (
        f"mean of the {read.samples} of {point.settled.window.rows} rows of the window that hold a number"
    )
    assert (
        point.readings["carbon_monoxide_dry"].basis == "mean over the window"
    )  # one row is not worth saying


def test_oxygen_above_the_top_of_its_cell_is_fresh_air(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["instruments"]["flue"]["accuracy"]["oxygen_dry"]["span"] = ["0 percent", "20.9 percent"]
    for row in settled[:12]:
        row[1:4] = ["20.9", "0", "70.0"]
    (point,) = fw.audit(fw.open_visit(make_visit(complete_plan, settled))).points
    told = [(part.phase, part.rows) for part in point.steadiness.refused[:2]]
    assert told == [("fresh air", 12), ("light-off", 12)]
    assert "oxygen_dry" not in point.above_range


def test_no_interval_is_formed_of_the_draws_that_happen_to_be_in_reach(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    """At 14.7 % oxygen many draws are too dilute for an air-free value: the rest would end too low."""
    for row in settled:
        row[1] = f"{float(row[1]) + 7.9:.1f}"
    complete_plan["instruments"]["flue"]["accuracy"]["oxygen_dry"]["absolute"] = "0.5 percent"
    audit = fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    assert "excess_air" in audit.points[0].numbers
    assert "carbon_monoxide_air_free" not in audit.points[0].numbers
    assert audit.points[0].state == "the sample is too dilute for an air-free value"
    draws = np.append(np.linspace(0.0, 1.0, 980), np.full(20, np.nan))
    assert interval(draws) == pytest.approx((0.025, 0.975), abs=1e-3)
    assert np.isnan(interval(np.append(draws, np.full(10, np.nan)))).all()


def test_a_dew_point_that_was_read_or_stated_is_not_assumed(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    def assumed(name: str) -> bool:
        audit = fw.audit(fw.open_visit(make_visit(complete_plan, settled, name)))
        return any(one.subject == "sample_dew_point" for one in audit.assumptions)

    dryer = complete_plan["instruments"]["flue"].pop("sample_dew_point")
    assert assumed("not told")
    complete_plan["readings"]["sample_dew_point"] = {"value": dryer, "instrument": "flue"}
    complete_plan["instruments"]["flue"]["accuracy"]["sample_dew_point"] = {"absolute": "1 delta_degC"}
    assert not assumed("read by hand")
    del complete_plan["readings"]["sample_dew_point"]
    complete_plan["instruments"]["flue"]["sample_dew_point"] = dryer
    del complete_plan["logs"][0]["columns"]["O2"]
    complete_plan["readings"]["oxygen_dry"] = {"value": "6.8 percent", "instrument": "flue"}
    assert not assumed("of the instrument that was read by hand")


def test_of_several_instruments_read_by_hand_the_least_sure_one_counts(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["instruments"]["rough"] = {
        "description": "a rough thermometer",
        "accuracy": {"outdoor_temperature": {"absolute": "9 delta_degF"}},
    }
    complete_plan["instruments"]["pair"]["accuracy"]["outdoor_temperature"] = {"absolute": "1 delta_degF"}
    for tools in (("pair", "rough"), ("rough", "pair")):
        complete_plan["readings"]["outdoor_temperature"] = [
            {"value": "35 degF", "instrument": tool} for tool in tools
        ]
        visit = fw.open_visit(make_visit(complete_plan, settled, tools[0]))
        mean = spot_means(visit, visit.spots)["outdoor_temperature"]
        assert mean.bias == pytest.approx(5.0)
        assert mean.instrument == "rough"


def test_a_window_chosen_where_there_is_no_flue_gas_is_found_by_the_check(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled[:60]:
        row[1] = "20.9"
    complete_plan["test_points"][0]["window"] = {
        "start": "2026-01-14T10:00:30",
        "end": "2026-01-14T10:03:00",
        "because": "it felt settled",
    }
    visit = fw.open_visit(make_visit(complete_plan, settled))
    with pytest.raises(InputError, match=r"chosen by hand, .* holds no flue gas"):
        check(visit)


def test_a_barometer_reduced_to_sea_level_is_asked_about(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["site"] |= {"elevation": "1500 m", "barometric_pressure": "1013 hPa"}
    with pytest.raises(InputError, match=r"1,013 hPa, is far from the 84\d hPa .* not reduced to sea level"):
        fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    complete_plan["site"] |= {"barometric_pressure": "840 hPa"}
    fw.audit(fw.open_visit(make_visit(complete_plan, settled)))


def test_the_spread_of_a_gas_that_the_fuel_does_not_hold_is_refused(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    held = {"CH4": 0.95, "C2H6": 0.0285, "N2": 0.02}  # of an analysis printed to 0.1 %: it adds up to 0.9985
    complete_plan["fuel"] = {"composition": held, "spread": {"methane": 0.01, "ethane": 0.005}}
    fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    complete_plan["fuel"]["spread"] = {"propane": 0.005}
    with pytest.raises(InputError, match="names propane, which 'fuel as entered' does not hold"):
        fw.audit(fw.open_visit(make_visit(complete_plan, settled)))


def test_tries_at_the_meter_that_scatter_tell_little(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    """Of three tries, by Student's 3.18 (three degrees of freedom at least): 3.18 s / root 3 of their mean."""
    complete_plan["test_points"][0]["meter"] = {"dial": "2 ft^3", "seconds": [84.0, 90.0, 96.0]}
    point = fw.audit(fw.open_visit(make_visit(complete_plan, settled))).points[0]
    told = point.numbers["heat_input_clocked"]
    half = 3.182 * 6.0 / 3**0.5 / 90.0
    assert told.low / told.value == pytest.approx(1 / (1 + half), abs=0.02)
    assert told.high / told.value == pytest.approx(1 / (1 - half), abs=0.02)


def test_each_reading_by_hand_is_corrected_for_the_drift_of_its_own_instrument(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    shown = {"shown": "54 degF", "applied": "50 degF"}
    checks = {"span_before": shown, "span_after": shown, "correct": True}
    complete_plan["instruments"]["other"] = {
        "description": "another thermometer",
        "accuracy": {"outdoor_temperature": {"absolute": "2 delta_degF"}},
        "drift_checks": {"outdoor_temperature": checks},
    }
    complete_plan["readings"]["outdoor_temperature"] = [
        {"value": "50 degF", "instrument": "pair"},
        {"value": "54 degF", "instrument": "other"},
    ]
    visit = fw.open_visit(make_visit(complete_plan, settled))
    assert spot_means(visit, visit.spots)["outdoor_temperature"].mean == pytest.approx(283.15, abs=0.02)


def test_without_a_window_what_was_read_by_hand_is_told_all_the_same(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    """But nothing of the flue gas: 118 °F less 68 °F is a rise of 50 °F, whatever the flue did."""
    for number, row in enumerate(settled):
        row[1], row[3] = f"{5 + 0.01 * number:.2f}", f"{250 + 0.5 * number:.1f}"
    point = fw.audit(fw.open_visit(make_visit(complete_plan, settled))).points[0]
    assert point.settled is None
    assert point.numbers["temperature_rise"].value == pytest.approx(50 / 1.8)
    assert not {"excess_air", "efficiency_gross", "dew_point_margin"} & point.numbers.keys()
