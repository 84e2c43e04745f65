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
from fluewright.studies.judging import _spot_number
from fluewright.visit import SpotReading

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
        ("320 ppm", "correct", "correct"),  # 320 x 20.9 / (20.9 - 6.8) = 474, beyond 400
        ("900 ppm", "correct", "leave_off"),  # 1,334, beyond the level for stopping as well
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
        (["2026-01-14 10:20:02", "6", "8", "1900", "330", "0", "70", "0"], 1900),  # several of them
        (["2026-01-14 10:20:02", "6.8", "3500"], 3500),
        (["2026-01-14 10:20:02", "3500", "330.0", "70.0"], 3500),  # oxygen is lacking
        (["2026-01-14 10:20:02", "6.8", ">2000", "330"], 2000),
        (["2026-01-14 10:20:02", "CO > 4000 ppm - pump stopped"], 4000),
        (["2026-01-14 10:20:02", "CO HIGH 2500 ppm"], 2500),
        (["2026-01-14 10:20:02", "6.8", "OVER", "330.0", "70.0", "ALARM"], 4000),  # the top of the span
        (["2026-01-14 10:20:02", "6.8", "HI"], 4000),
        (["2026-01-14 10:20:02", "6.8", "3500", "330.0", '"70.0'], 3500),  # a quotation mark is not closed
        (["ALARM", "6.8", "3500", "330.0", "70.0"], 3500),
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


def test_rows_that_do_not_fit_in_several_ways_hide_no_danger_of_each_other(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    rows = [[*row, ""] for row in settled]  # each row ends in a delimiter
    rows[200] = ["2026-01-14 10:20:02", "6.8", "3500"]
    rows[240][2], rows[240][5] = "41", "pump"
    (found,) = of_rule(audited(make_visit, complete_plan, rows), "carbon_monoxide_dry_misfit_rows")
    assert found.measured is not None
    assert found.measured.value == pytest.approx(3500 * PPM)


@pytest.mark.parametrize(
    "row",
    [
        ["Count", "360", "3600", "360", "360"],
        ["Max", "7.1", "3600", "330.9", "70.4"],
        ["2026-01-14 10:20:02", "6.8", "4"],
        [
            "2026-01-14 10:20:02",
            "6.8",
            "41",
            "480.0",
            "70.0",
            "",
            "x",
        ],  # the flue's 480 is no carbon monoxide
        ["2026-01-14 10:20:02", "6.8", "41", "480.0", "70.0", "probe moved", " again"],
        ["2026-01-14 10:20:02", "Average:", "6.8", "480"],
        ["2026-01-14 10:20:02", "door opened 480"],
        ["2026-01-14 10:20:02", "CO 30 ppm, CO2 8.4 %"],
        ["2026-01-14 10:20:02", "6.8", "41", "480.0", "70.0", "clocked 2 ft3", " 90 s"],
    ],
)
def test_a_row_that_does_not_fit_and_holds_no_danger_is_accounted_for_only(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], row: list[str]
) -> None:
    settled.insert(241, row)
    audit = audited(make_visit, complete_plan, settled)
    assert audit.verdict.name == "no_tested_limit_exceeded"
    assert sum(part.rows for part in audit.visit.readings.accounts[0].set_aside) == 1


def test_a_log_that_ends_in_the_midst_of_a_row_is_counted_from_the_row_s_beginning(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    # The flue's temperature stands before carbon monoxide.
    folder = make_visit(complete_plan, [[a, b, d, c, e] for a, b, c, d, e in settled])
    log = folder / "flue.csv"
    whole = log.read_text().rstrip("\n").replace("CO,Flue", "Flue,CO")
    log.write_text(f"{whole}\n2026-01-14 10:30:00,6.8,480")
    assert fw.audit(fw.open_visit(folder)).verdict.name == "no_tested_limit_exceeded"
    log.write_text(f"{whole}\n2026-01-14 10:30:00,6.8,480,70.0\n")  # whole as far as it goes
    assert fw.audit(fw.open_visit(folder)).verdict.name == "no_tested_limit_exceeded"
    log.write_text(
        f"{whole}\n2026-01-14 10:30:00,330.0,480,70.0\n"
    )  # such is no oxygen: a cell is lacking before
    assert fw.audit(fw.open_visit(folder)).verdict.name == "correct"


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


@pytest.mark.parametrize("oxygen", [None, "5.5 percent"])
def test_a_reading_by_hand_beside_a_log_is_judged_with_its_oxygen(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], oxygen: str | None
) -> None:
    readings = complete_plan["test_points"][0]["readings"]
    readings["carbon_monoxide_dry"] = {"value": "350 ppm", "instrument": "flue"}
    if oxygen is not None:
        readings["oxygen_dry"] = {"value": oxygen, "instrument": "flue"}
    audit = audited(make_visit, complete_plan, settled)
    (found,) = (one for one in of_rule(audit, AIR_FREE) if one.outcome == "beyond")
    assert found.measured is not None
    by_hand = 350 * 20.9 / (20.9 - (5.5 if oxygen else 6.8))
    assert found.measured.value / PPM == pytest.approx(by_hand, rel=0.01)
    assert ("by hand" if oxygen else "the window's") in found.measured.basis.rpartition("with ")[2]


@pytest.mark.parametrize(
    ("monoxide", "beside", "outcome", "least"),
    [
        # By hand with CO2: natural gas makes some 11.9 % at most, so 4.5 % is 2.6 times diluted.
        (["600 ppm"], {"carbon_dioxide_dry": ["4.5 percent"]}, "beyond", 1_200),
        (["600 ppm"], {"oxygen_wet": ["12 percent"]}, "beyond", 1_200),
        # 390 x 20.9 / (20.9 - 17.0) = 2,090, in a sample too dilute to tell
        (["390 ppm"], {"oxygen_dry": ["17 percent"]}, "cannot tell", 1_800),
        # the first with the first: 390 x 20.9 / 14.9 = 547, whatever air came into the second
        (["390 ppm", "380 ppm"], {"oxygen_dry": ["6 percent", "18 percent"]}, "beyond", 500),
    ],
)
def test_a_reading_by_hand_goes_with_what_was_read_with_it(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    monoxide: list[str],
    beside: dict[str, list[str]],
    outcome: str,
    least: float,
) -> None:
    readings = complete_plan["test_points"][0]["readings"]
    for name, values in {"carbon_monoxide_dry": monoxide, **beside}.items():
        readings[name] = [{"value": value, "instrument": "flue"} for value in values]
    found = of_rule(audited(make_visit, complete_plan, settled), AIR_FREE)
    assert any(
        one.outcome == outcome and one.measured is not None and one.measured.low / PPM > least
        for one in found
    )


@pytest.mark.parametrize(("reading", "outcomes"), [("< 100 ppm", {"cannot tell"}), ("< 5 ppm", {"within"})])
def test_a_reading_below_a_bound_may_be_anything_down_to_none(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    reading: str,
    outcomes: set[str],
) -> None:
    complete_plan["test_points"][0]["readings"]["carbon_monoxide_ambient"] = {
        "value": reading,
        "instrument": "room",
    }
    found = of_rule(audited(make_visit, complete_plan, settled), "carbon_monoxide_ambient")
    found = [one for one in found if one.role == "limit"]
    assert {one.outcome for one in found} == outcomes
    assert all(one.measured is not None and one.measured.low == 0 for one in found)


@pytest.mark.parametrize("oxygen", ["6 percent", "17 percent"])
def test_a_flue_reading_below_a_bound_is_never_beyond_an_air_free_limit(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], oxygen: str
) -> None:
    """500 ppm would be 701 air-free at 6 %, and 2,680 at 17 %; less than that may be none."""
    readings = complete_plan["test_points"][0]["readings"]
    readings["carbon_monoxide_dry"] = {"value": "< 500 ppm", "instrument": "flue"}
    readings["oxygen_dry"] = {"value": oxygen, "instrument": "flue"}
    found = of_rule(audited(make_visit, complete_plan, settled), AIR_FREE)
    assert "beyond" not in {one.outcome for one in found}
    assert ("cannot tell" in {one.outcome for one in found}) is (oxygen == "6 percent")


def lit_in_fresh_air(settled: list[list[str]]) -> list[list[str]]:
    """Return the rows with two minutes of fresh air before the burner lights in row 24."""
    for row in settled[:24]:
        row[1:4] = "20.9", "0", "75.0"
    return settled


@pytest.mark.parametrize(("row", "weight"), [(26, "note"), (55, "note"), (65, "correct")])
def test_a_peak_at_light_off_is_a_note_and_a_later_one_is_not(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], row: int, weight: str
) -> None:
    rows = lit_in_fresh_air(settled)
    rows[row][2] = "400"  # 593 ppm air-free: beyond the limit, below the level for stopping
    audit = audited(make_visit, complete_plan, rows)
    assert audit.points[0].settled is not None
    assert [one.weight for one in of_rule(audit, AIR_FREE) if one.weight] == [weight]
    assert (audit.verdict.name == "no_tested_limit_exceeded") is (weight == "note")
    worst = audit.points[0].carbon_monoxide
    assert worst is not None
    assert worst.air_free.value / PPM == pytest.approx(400 * 20.9 / 14.1, rel=0.03)


def test_a_peak_at_light_off_beyond_the_level_for_stopping_stops(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    rows = lit_in_fresh_air(settled)
    rows[26][2] = "1100"
    assert audited(make_visit, complete_plan, rows).verdict.name == "leave_off"


@pytest.mark.parametrize(
    ("rows", "oxygen", "monoxide", "told"),
    [
        (60, "16.0", "380", True),  # 1,620 ppm by the oxygen rule, for five minutes
        (12, "16.0", "380", False),  # a minute only, as at light-off and shut-down
        (60, "16.0", "40", False),  # 171 ppm
        (60, "20.4", "30", False),  # the room's air
    ],
)
def test_minutes_of_a_dilute_sample_that_may_be_beyond_are_told(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    rows: int,
    oxygen: str,
    monoxide: str,
    told: bool,
) -> None:
    for row in settled[20 : 20 + rows]:
        row[1], row[2] = oxygen, monoxide
    audit = audited(make_visit, complete_plan, settled)
    found = of_rule(audit, f"{AIR_FREE}_dilute")
    assert [(one.outcome, one.weight) for one in found] == [("cannot tell", "correct")] * told
    assert (audit.verdict.name == "no_tested_limit_exceeded") is not told


def test_a_share_of_a_temperature_read_by_hand_is_of_what_the_display_shows(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["instruments"]["pair"]["accuracy"]["supply_temperature"] = {"of_reading": "1 percent"}
    visit = fw.open_visit(make_visit(complete_plan, settled))
    found = _spot_number(
        visit,
        "supply_temperature",
        [SpotReading(quantity="supply_temperature", value=323.15, instrument="pair")],
        lowest=False,
    )
    assert found is not None
    assert found.high == pytest.approx(323.15 + 0.01 * 50)


def test_a_burn_too_short_for_its_first_minutes_to_end_is_held_against_the_limit(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    rows = lit_in_fresh_air(settled)
    for row in rows[24:54]:
        row[2] = "400"
    for row in rows[54:]:
        row[1:4] = "20.9", "0", "75.0"
    audit = audited(make_visit, complete_plan, rows)
    assert "correct" in {one.weight for one in of_rule(audit, AIR_FREE)}
