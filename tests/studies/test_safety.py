"""Safety cannot be talked away: only the complete visit itself may end in "no tested limit exceeded"."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import fluewright as fw
from fluewright.appliance import CarbonMonoxideRows
from fluewright.studies.audit import Audit
from fluewright.visit import VisitError

Make = Callable[..., Path]
pytestmark = pytest.mark.law


def judged(make: Make, plan: dict[str, Any], rows: list[list[str]]) -> Audit:
    return fw.audit(fw.open_visit(make(plan, rows)))


def weights(audit: Audit) -> dict[str, str]:
    return {one.rule: one.weight for one in audit.judgements if one.weight}


def test_the_complete_visit_exceeds_no_tested_limit(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    audit = judged(make_visit, complete_plan, settled)
    assert audit.verdict.name == "no_tested_limit_exceeded", (audit.verdict.because, weights(audit))


@pytest.mark.parametrize("when", [3, 100, 200, 350])
def test_a_manual_window_does_not_leave_out_a_carbon_monoxide_peak(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], when: int
) -> None:
    settled[when][2] = "600"
    complete_plan["test_points"][0]["window"] = {
        "start": "2026-01-14T10:10:00",
        "end": "2026-01-14T10:15:00",
        "because": "quiet here",
    }
    audit = judged(make_visit, complete_plan, settled)
    assert audit.points[0].steadiness.window is not None
    assert audit.points[0].steadiness.window.chosen_by == "person"
    assert weights(audit)["carbon_monoxide_air_free_furnace"] == "correct"
    assert audit.verdict.name == "correct"


def test_a_peak_before_the_first_test_point_counts(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    settled[5][2] = "600"
    complete_plan["test_points"][0]["start"] = "2026-01-14T10:05:00"
    assert judged(make_visit, complete_plan, settled).verdict.name == "correct"


@pytest.mark.parametrize("word", ["> 4000", "OVER", "4000"])
def test_an_over_range_cell_is_at_least_its_range(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], word: str
) -> None:
    settled[40][2] = word
    audit = judged(make_visit, complete_plan, settled)
    assert audit.verdict.name == "leave_off"  # at least 4,000 ppm lies beyond the stop at 1,200 ppm
    assert weights(audit)["carbon_monoxide_over_range"] == "correct"
    rows = audit.points[0].carbon_monoxide
    assert rows is not None
    assert rows.dry.is_lower_bound
    assert rows.over_range == 1
    over = next(one for one in audit.judgements if one.rule == "carbon_monoxide_over_range")
    assert over.limit_high == pytest.approx(4000e-6)


def test_over_range_of_a_small_cell_is_at_least_correct(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    accuracy = complete_plan["instruments"]["flue"]["accuracy"]["carbon_monoxide_dry"]
    accuracy["span"] = ["0 ppm", "100 ppm"]
    settled[40][2] = "OVER"
    audit = judged(make_visit, complete_plan, settled)
    assert audit.verdict.name == "correct"


def test_carbon_monoxide_in_a_row_taken_for_fresh_air_counts(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled[:20]:
        row[1], row[2] = "20.9", "0"
    settled[10][2] = "700"
    audit = judged(make_visit, complete_plan, settled)
    assert audit.verdict.name == "correct"


def test_a_missing_ambient_reading_is_not_tested(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    del complete_plan["test_points"][0]["readings"]["carbon_monoxide_ambient"]
    audit = judged(make_visit, complete_plan, settled)
    assert audit.verdict.name == "incomplete"
    assert [test.name for test in audit.not_tested] == ["carbon_monoxide_ambient"]


@pytest.mark.parametrize("name", ["gas_leak", "spillage", "heat_exchanger_inspection", "flame_rollout"])
@pytest.mark.parametrize("result", [None, "not tested"])
def test_a_check_that_was_not_made_is_not_tested(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    name: str,
    result: str | None,
) -> None:
    if result is None:
        del complete_plan["checks"][name]
    else:
        complete_plan["checks"][name] = result
    assert judged(make_visit, complete_plan, settled).verdict.name == "incomplete"


def test_a_limit_from_memory_is_not_enough(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    # The limit of a wall furnace was seen in no text; its other tests are all made.
    complete_plan["appliance"]["type"] = "wall furnace"
    audit = judged(make_visit, complete_plan, settled)
    assert audit.verdict.name == "incomplete"
    assert "carbon_monoxide_air_free" in [test.name for test in audit.unlimited]


def test_a_type_without_a_limit_borrows_none(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["appliance"]["type"] = "unit heater"
    audit = judged(make_visit, complete_plan, settled)
    assert audit.verdict.name == "incomplete"
    assert any(one.outcome == "no limit known" for one in audit.judgements)


def test_an_interval_that_straddles_the_limit_cannot_tell(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled:
        row[2] = "265"  # air-free about 393 ppm, of 400
    audit = judged(make_visit, complete_plan, settled)
    outcomes = {one.rule: one.outcome for one in audit.judgements}
    assert outcomes["carbon_monoxide_air_free_furnace_2"] == "cannot tell"
    assert audit.verdict.name == "correct"
    assert any(one.action.startswith("Test again") for one in audit.findings)


def test_ambient_carbon_monoxide_entered_for_subtraction_lifts_no_finding(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled:
        row[2] = "320"
    complete_plan["sampling"]["subtract_ambient_carbon_monoxide"] = True
    ambient = complete_plan["test_points"][0]["readings"]
    ambient["carbon_monoxide_ambient"] = {"value": "8 ppm", "instrument": "room"}
    audit = judged(make_visit, complete_plan, settled)
    assert weights(audit)["carbon_monoxide_air_free_furnace"] == "correct"
    assert audit.verdict.name == "correct"
    plain = {**complete_plan, "sampling": {"at_outlet": True}}
    unsubtracted = judged(make_visit, plain, settled)
    for rule in ("carbon_monoxide_air_free_furnace", "carbon_monoxide_air_free_furnace_2"):
        both = [
            next(one for one in found.judgements if one.rule == rule).measured
            for found in (audit, unsubtracted)
        ]
        assert both[0] is not None
        assert both[1] is not None
        assert both[0].value == pytest.approx(both[1].value, rel=1e-12)


def test_ambient_carbon_monoxide_at_the_top_tier_stops(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["test_points"][0]["readings"]["carbon_monoxide_ambient"] = {
        "value": "85 ppm",
        "instrument": "room",
    }
    assert judged(make_visit, complete_plan, settled).verdict.name == "leave_off"


def test_an_entered_limit_for_advice_does_not_lift_the_one_for_stopping(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["test_points"][0]["readings"]["carbon_monoxide_ambient"] = {
        "value": "85 ppm",
        "instrument": "room",
    }
    complete_plan["limits"] = {
        "carbon_monoxide_ambient": {"value": "500 ppm", "weight": "note", "source": "local rule"}
    }
    assert judged(make_visit, complete_plan, settled).verdict.name == "leave_off"


def test_a_log_without_a_steady_window_says_so_and_offers_the_least_bad(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for number, row in enumerate(settled):
        row[1] = f"{5 + 4 * number / len(settled):.1f}"
        row[3] = f"{250 + 0.4 * number:.1f}"
    audit = judged(make_visit, complete_plan, settled)
    point = audit.points[0]
    assert point.steadiness.window is None
    assert point.steadiness.least_bad is not None
    assert point.numbers.get("efficiency_gross") is None
    assert audit.verdict.name in ("incomplete", "correct")


def test_a_dilute_sample_cannot_tell(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled:
        row[1] = "16.5"
    audit = judged(make_visit, complete_plan, settled)
    assert weights(audit)["sample_state"] == "correct"
    found = next(one for one in audit.judgements if one.rule == "sample_state")
    assert found.limit_high == 0.15
    assert found.measured is not None
    assert found.measured.value == pytest.approx(0.165, abs=0.001)


def test_a_flue_below_its_dew_point_in_an_appliance_not_made_for_it(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for number, row in enumerate(settled):
        row[3] = f"{115 + 0.1 * (number % 3):.1f}"
    audit = judged(make_visit, complete_plan, settled)
    assert weights(audit)["dew_point_margin"] == "correct"
    complete_plan["appliance"]["condensing"] = True
    wet = judged(make_visit, complete_plan, settled)
    assert "dew_point_margin" not in {one.rule for one in wet.judgements}
    assert wet.points[0].numbers["condensed_fraction"].value > 0


@pytest.mark.parametrize(("word", "verdict"), [("600", "correct"), ("OVER", "leave_off")])
def test_setting_rows_aside_does_not_hide_a_peak(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], word: str, verdict: str
) -> None:
    settled[60][2] = word
    complete_plan["logs"][0]["set_aside"] = [{"rows": [55, 70], "because": "the hose had slipped off"}]
    audit = judged(make_visit, complete_plan, settled)
    assert sum(part.rows for part in audit.visit.readings.accounts[0].set_aside) == 16
    assert audit.verdict.name == verdict


Rows = list[tuple[str, str]]


def with_its_own_log(
    make: Make, plan: dict[str, Any], rows: list[list[str]], monoxide: Rows, **asked: bool
) -> CarbonMonoxideRows:
    """Return the worst carbon monoxide of a visit that logs it in a file of its own."""
    column = plan["logs"][0]["columns"].pop("CO")
    log = {"file": "co.csv", "instrument": "flue", "time": {"column": "Time"}, "columns": {"CO": column}}
    plan["logs"] = [plan["logs"][0], log | asked]
    folder = make(plan, rows)
    (folder / "co.csv").write_text("Time,CO\n" + "".join(f"{time},{cell}\n" for time, cell in monoxide))
    found = fw.audit(fw.open_visit(folder)).points[0].carbon_monoxide
    assert found is not None
    return found


def two_seconds_late(rows: list[list[str]]) -> Rows:
    """Return the carbon monoxide of rows at times between theirs."""
    return [(f"{row[0][:-1]}{int(row[0][-1]) + 2}", row[2]) for row in rows]


@pytest.mark.parametrize("late", [False, True])
@pytest.mark.parametrize("word", ["41", "OVER"])
def test_a_reading_that_stands_in_a_log_twice_counts_once(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], late: bool, word: str
) -> None:
    settled[60][2] = word
    once = two_seconds_late(settled) if late else [(row[0], row[2]) for row in settled]
    found = with_its_own_log(
        make_visit, complete_plan, settled, [row for row in once for _ in range(1 + (row[1] == word))]
    )
    assert found.rows == len(settled)
    assert found.over_range == (word == "OVER")
    assert found.dilute == 0


@pytest.mark.parametrize("word", ["600", "OVER"])
def test_another_reading_at_the_time_of_one_that_was_used_counts(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], word: str
) -> None:
    monoxide = two_seconds_late(settled)
    monoxide.insert(61, (monoxide[60][0], word))
    found = with_its_own_log(make_visit, complete_plan, settled, monoxide)
    assert found.rows == len(settled) + 1
    assert found.dry.value == pytest.approx(4000e-6 if word == "OVER" else 600e-6)


@pytest.mark.parametrize("word", ["600", "OVER"])
def test_interpolation_does_not_flatten_a_peak(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], word: str
) -> None:
    settled[60][2] = word
    found = with_its_own_log(make_visit, complete_plan, settled, two_seconds_late(settled), interpolate=True)
    assert found.dry.value == pytest.approx(4000e-6 if word == "OVER" else 600e-6)
    assert found.over_range == (word == "OVER")


@pytest.mark.parametrize("time", ["", "25:61"])
def test_a_row_without_a_time_keeps_its_carbon_monoxide(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], time: str
) -> None:
    settled[60][0], settled[60][2] = time, "600"
    row = 60 + 2
    if time:
        complete_plan["logs"][0]["set_aside"] = [{"rows": [row, row], "because": "the logger restarted"}]
    audit = judged(make_visit, complete_plan, settled)
    assert weights(audit)["carbon_monoxide_air_free_furnace"] == "correct"
    found = audit.points[0].carbon_monoxide
    assert found is not None
    assert str(found.when.tz_localize(None)) == settled[59][0]  # it stands at the time of the row before it


@pytest.mark.parametrize("place", ["every row", "one row", "by hand"])
def test_carbon_monoxide_above_its_range_gives_no_efficiency(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], place: str
) -> None:
    log = complete_plan["logs"][0]
    if place == "by hand":
        (column,) = [name for name, one in log["columns"].items() if one["quantity"] == "carbon_monoxide_dry"]
        del log["columns"][column]
        complete_plan["test_points"][0].setdefault("readings", {})["carbon_monoxide_dry"] = "> 4000 ppm"
    for row in settled if place == "every row" else settled[-20:-19] if place == "one row" else []:
        row[2] = "OVER"
    (point,) = judged(make_visit, complete_plan, settled).points
    assert point.settled is not None
    assert not {"efficiency_gross", "excess_air", "carbon_monoxide_air_free"} & point.numbers.keys()
    assert point.readings["carbon_monoxide_dry"].is_lower_bound
    assert "left the instrument's range" in point.state


def test_a_visit_without_carbon_monoxide_says_that_it_took_none(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    columns = complete_plan["logs"][0]["columns"]
    (column,) = [name for name, one in columns.items() if one["quantity"] == "carbon_monoxide_dry"]
    del columns[column]
    audit = judged(make_visit, complete_plan, settled)
    assert "efficiency_gross" in audit.points[0].numbers
    assert [one.text for one in audit.assumptions if one.subject == "carbon_monoxide_dry"] == ["none"]


def test_ambient_carbon_monoxide_logged_outside_of_every_test_point_counts(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    columns = complete_plan["logs"][0]["columns"]
    columns["Air"] = {"quantity": "carbon_monoxide_ambient", "unit": "ppm", "instrument": "room"}
    for number, row in enumerate(settled):
        row[4] = "90" if number == 4 else "1"
    complete_plan["test_points"][0] |= {"start": "2026-01-14T10:05:00"}
    complete_plan["test_points"][0]["readings"]["air_temperature"] = "70 degF"
    assert judged(make_visit, complete_plan, settled).verdict.name == "leave_off"


def test_air_let_in_in_mid_test_is_told(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled[240:]:  # from 10:20 on, a twelfth of what is sampled is room air
        row[1], row[2] = f"{float(row[1]) * 11 / 12 + 20.9 / 12:.1f}", f"{float(row[2]) * 11 / 12:.0f}"
    audit = judged(make_visit, complete_plan, settled)
    (told,) = (one for one in audit.judgements if one.rule == "level_moved")
    assert told.weight == "note"
    assert "held still at 6.8 % for 19 min before the window, and at 8.0 % in it" in told.headline


def test_a_level_that_stays_is_not_told_of(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    assert "level_moved" not in weights(judged(make_visit, complete_plan, settled))


def test_a_limit_entered_for_advice_does_not_lift_the_one_for_correcting(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled:
        row[2] = "400"  # some 590 ppm air-free
    complete_plan["limits"] = {
        "carbon_monoxide_air_free": {"value": "700 ppm", "weight": "note", "source": "house rule"}
    }
    audit = judged(make_visit, complete_plan, settled)
    assert weights(audit)["carbon_monoxide_air_free_furnace"] == "correct"


@pytest.mark.parametrize(("holds", "outcome"), [("at least", "beyond"), ("at most", "within")])
def test_a_limit_that_may_hold_either_side_says_which(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], holds: str, outcome: str
) -> None:
    limit = {"value": "95 percent", "source": "house rule", "holds": holds}
    complete_plan["limits"] = {"efficiency_gross": limit}
    audit = judged(make_visit, complete_plan, settled)
    (found,) = (one for one in audit.judgements if one.rule == "efficiency_gross_entered")
    assert found.outcome == outcome
    del limit["holds"]
    with pytest.raises(VisitError, match="does not say which side of it holds"):
        judged(make_visit, complete_plan, settled)
