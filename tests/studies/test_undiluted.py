"""Carbon monoxide whose dilution is not known, rows that do not fit, and limits that follow what was not read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import fluewright as fw
from fluewright.appliance import Judgement
from fluewright.errors import InputError
from fluewright.studies.audit import Audit

Make = Callable[..., Path]
pytestmark = pytest.mark.law
AIR_FREE = "carbon_monoxide_air_free_furnace"
PPM = 1e-6


def audited(make: Make, plan: dict[str, Any], rows: list[list[str]]) -> Audit:
    return fw.audit(fw.open_visit(make(plan, rows)))


def of_rule(audit: Audit, start: str) -> list[Judgement]:
    return [one for one in audit.judgements if one.rule.startswith(start)]


@pytest.mark.parametrize(
    ("reading", "weight", "verdict"),
    [
        ("900 ppm", "correct", "correct"),
        ("1300 ppm", "correct", "leave_off"),  # beyond the level for stopping as well
        ("> 450 ppm", "correct", "correct"),
        ("150 ppm", "", "no_tested_limit_exceeded"),
    ],
)
def test_a_reading_by_hand_is_at_least_as_much_air_free(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    reading: str,
    weight: str,
    verdict: str,
) -> None:
    complete_plan["test_points"][0]["readings"]["carbon_monoxide_dry"] = {
        "value": reading,
        "instrument": "flue",
    }
    audit = audited(make_visit, complete_plan, settled)
    assert max((one.weight for one in of_rule(audit, AIR_FREE)), key=("", "correct").index) == weight
    assert audit.verdict.name == verdict


@pytest.mark.parametrize(("monoxide", "beyond"), [("330", False), ("500", True)])
@pytest.mark.parametrize("oxygen", ["---", None])
def test_without_oxygen_air_free_is_never_within(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    monoxide: str,
    beyond: bool,
    oxygen: str | None,
) -> None:
    for row in settled:
        row[1], row[2] = oxygen or "", monoxide
    if oxygen is None:
        del complete_plan["logs"][0]["columns"]["O2"]
    audit = audited(make_visit, complete_plan, settled)
    assert {one.outcome for one in of_rule(audit, AIR_FREE)} == ({"beyond"} if beyond else set())
    assert audit.verdict.name == "correct"
    told = of_rule(audit, "sample_state")
    assert [one.outcome for one in told] == ["cannot tell"]
    assert "neither oxygen nor carbon dioxide was read" in told[0].headline


def test_a_log_of_fresh_air_only_tells_its_carbon_monoxide(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    for row in settled:
        row[1] = "20.3"
    settled[100][2] = "3200"
    with pytest.raises(InputError, match="Carbon monoxide reached 3200 ppm in it all the same"):
        audited(make_visit, complete_plan, settled)


@pytest.mark.parametrize(
    ("row", "value"),
    [
        (["2026-01-14 10:20:02", "6.8", "3500", "330.0", "70.0", "ALARM"], 3500),
        (["2026-01-14 10:20:02", "6", "8", "3500", "330.0", "70.0"], 3500),  # a decimal comma
        (["2026-01-14 10:20:02", "6.8", "3500"], 3500),
        (["2026-01-14 10:20:02", "6.8", ">2000", "330"], 2000),
    ],
)
def test_a_row_that_does_not_fit_may_hold_danger(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], row: list[str], value: float
) -> None:
    settled.insert(241, row)
    audit = audited(make_visit, complete_plan, settled)
    (found,) = of_rule(audit, "carbon_monoxide_dry_misfit_rows")
    assert (found.outcome, found.weight) == ("cannot tell", "correct")
    assert found.measured is not None
    assert found.measured.value == pytest.approx(value * PPM)
    assert "row 243 of flue.csv" in found.action
    assert audit.verdict.name == "correct"
    complete_plan["logs"][0]["set_aside"] = [{"rows": [243, 243], "because": "a test of the alarm"}]
    assert audited(make_visit, complete_plan, settled).verdict.name == "no_tested_limit_exceeded"


def test_a_row_with_more_cells_than_names_may_hold_danger(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    rows = [[*row, ""] for row in settled]  # each row ends in a delimiter
    rows[240][2], rows[240][5] = "3500", "ALARM"
    audit = audited(make_visit, complete_plan, rows)
    (found,) = of_rule(audit, "carbon_monoxide_dry_misfit_rows")
    assert found.measured is not None
    assert found.measured.value == pytest.approx(3500 * PPM)


def test_a_row_that_does_not_fit_and_holds_no_danger_is_accounted_for_only(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    settled.append(
        ["2026-01-14 10:30:00", "6.8", "4"]
    )  # the instrument was switched off in the midst of a row
    audit = audited(make_visit, complete_plan, settled)
    assert audit.verdict.name == "no_tested_limit_exceeded"
    value, row = audit.visit.readings.accounts[0].misfits["carbon_monoxide_dry"]
    assert value == pytest.approx(4 * PPM)
    assert row == 362


@pytest.mark.parametrize(
    ("draft", "outcome"),
    [("0.03 inH2O", "beyond"), ("-0.004 inH2O", "cannot tell"), ("-0.02 inH2O", "within")],
)
def test_draft_without_the_outdoor_temperature_is_told_where_any_weather_agrees(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], draft: str, outcome: str
) -> None:
    # Least suction is 0.5 Pa (0.002 inH2O) above 90 °F and 2.5 Pa (0.010 inH2O) below 10 °F.
    complete_plan["appliance"]["draft"] = "natural"
    del complete_plan["readings"]["outdoor_temperature"]
    readings = complete_plan["test_points"][0]["readings"]
    readings["draft_breech"] = {"value": draft, "instrument": "gauge"}
    complete_plan["instruments"]["gauge"] = {
        "description": "draft gauge",
        "accuracy": {"draft_breech": {"absolute": "0.001 inH2O"}},
    }
    audit = audited(make_visit, complete_plan, settled)
    (found,) = of_rule(audit, "draft_breech_natural")
    assert found.outcome == outcome
    assert found.weight == ("" if outcome == "within" else "correct")
    assert ("outdoor temperature was not read" in found.headline) is (outcome == "cannot tell")


def test_each_reading_by_hand_has_the_accuracy_of_its_own_instrument(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["instruments"]["coarse"] = {
        "description": "coarse meter",
        "accuracy": {"carbon_monoxide_ambient": {"absolute": "50 ppm"}},
    }
    complete_plan["test_points"][0]["readings"]["carbon_monoxide_ambient"] = [
        {"value": "1 ppm", "instrument": "room"},
        {"value": "6 ppm", "instrument": "coarse"},
    ]
    audit = audited(make_visit, complete_plan, settled)
    found = of_rule(audit, "carbon_monoxide_ambient")
    assert {one.outcome for one in found} == {"cannot tell"}
    assert max(one.measured.high for one in found if one.measured) == pytest.approx(56 * PPM)
