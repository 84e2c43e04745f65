"""Heat flows against the truth of the simulator; stages, altitude, nameplates and limits of the appliance."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import fluewright as fw
from fluewright.appliance import drill, gas_flow_counted
from fluewright.errors import UnknownNameError
from fluewright.sources import limits as safety
from fluewright.studies.audit import Audit
from fluewright.units import convert
from fluewright.visit import VisitError

DEMO = Path(__file__).resolve().parents[2] / "data-demo"
Make = Callable[..., Path]
pytestmark = pytest.mark.law


@pytest.fixture(scope="module")
def demos() -> dict[str, Audit]:
    return {name: fw.audit(fw.open_visit(DEMO / name)) for name in ("hall-furnace", "laundry-boiler")}


def judged(make: Make, plan: dict[str, Any], rows: list[list[str]]) -> Audit:
    return fw.audit(fw.open_visit(make(plan, rows)))


def weights(audit: Audit) -> dict[str, str]:
    return {one.rule: one.weight for one in audit.judgements if one.weight}


@pytest.mark.parametrize("visit", ["hall-furnace", "laundry-boiler"])
def test_the_intervals_hold_the_simulators_heat(demos: dict[str, Audit], visit: str) -> None:
    truth = json.loads((DEMO / "truth" / f"{visit}.json").read_text(encoding="utf-8"))["test_points"]
    for point in demos[visit].points:
        true = {name: entry["value"] for name, entry in truth[point.name].items() if isinstance(entry, dict)}
        fan = point.readings["electric_power"].value if "electric_power" in point.readings else 0.0
        told = {
            "heat_input_clocked": true["heat_input"],
            "efficiency_thermal_gross": true["efficiency_thermal_gross"],
            "heat_output": true["heat_output"] + fan,
            "heat_output_by_losses": true["heat_output"] + fan,
        }
        for name, value in told.items():
            number = point.numbers[name]
            assert number.low <= value <= number.high, (point.name, name)


def test_airflow_inferred_and_measured_agree(demos: dict[str, Audit]) -> None:
    for point in demos["hall-furnace"].points:
        inferred, measured = point.numbers["air_volume_flow_computed"], point.readings["air_volume_flow"]
        assert inferred.low < measured.high
        assert measured.low < inferred.high


def test_a_low_stage_is_judged_by_its_own_nameplate(demos: dict[str, Audit]) -> None:
    audit = demos["laundry-boiler"]
    assert [point.stage for point in audit.points] == ["high", "low"]
    ratio = audit.points[1].numbers["heat_input_ratio"]
    assert 0.9 < ratio.value < 1.02  # against 13.5 kW, not against 50
    ranges = {
        one.test_point: one.limit_low
        for one in audit.judgements
        if one.rule.startswith("oxygen_ratio_control")
    }
    assert ranges == pytest.approx({"full fire": 0.04, "low fire": 0.045})
    # A ratio-controlled burner has no manifold pressure to infer a heat input from.
    assert all("heat_input_manifold" not in point.numbers for point in audit.points)


@pytest.mark.parametrize(("practice", "share"), [(None, 0.80), ("above 2000 ft", 0.88), ("as rated", 1.0)])
def test_the_rating_is_reduced_at_altitude_by_the_practice_named(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    practice: str | None,
    share: float,
) -> None:
    complete_plan["site"] = {"name": "Harrow Lane hall", "elevation": "5000 foot"}
    complete_plan["test_points"][0]["meter"] = {"dial": "2 foot**3", "seconds": [93.0]}
    if practice is not None:
        complete_plan["appliance"]["altitude_practice"] = practice
    audit = judged(make_visit, complete_plan, settled)
    numbers = audit.points[0].numbers
    rated = numbers["heat_input_clocked"].value / numbers["heat_input_ratio"].value
    assert rated / 23445.7 == pytest.approx(share, rel=1e-3)  # 80,000 Btu/h is 23,446 W
    told = [one for one in audit.assumptions if one.subject == "altitude_rating"]
    assert bool(told) == (share < 1)


APPLIANCE: list[tuple[dict[str, Any], dict[str, Any], str, str]] = [
    ({"manifold_pressure": "3.5 inH2O"}, {"manifold_pressure": "4.3 inH2O"}, "manifold_pressure", "correct"),
    ({"manifold_pressure": "3.5 inH2O"}, {"manifold_pressure": "2.7 inH2O"}, "manifold_pressure", "correct"),
    (
        {"gas_inlet_range": ["4.5 inH2O", "10.5 inH2O"]},
        {"gas_inlet_pressure": "3.2 inH2O"},
        "gas_inlet_pressure",
        "correct",
    ),
    (
        {"gas_inlet_range": ["4.5 inH2O", "10.5 inH2O"]},
        {"gas_lockup_pressure": "14 inH2O"},
        "gas_lockup_pressure",
        "correct",
    ),
    (
        {"maximum_static_pressure": "0.5 inH2O"},
        {"supply_static_pressure": "0.4 inH2O", "return_static_pressure": "-0.4 inH2O"},
        "external_static_pressure",
        "correct",
    ),
    ({"oxygen_range": ["4 percent", "5 percent"]}, {}, "oxygen_ratio_control", "correct"),
    ({"carbon_dioxide_range": ["8.9 percent", "9.4 percent"]}, {}, "carbon_dioxide_ratio_control", "correct"),
    ({"vent_category": "I"}, {"draft_breech": "0.05 inH2O"}, "draft_breech_category", "correct"),
    ({}, {"oxygen_intake": "19.4 percent"}, "oxygen_intake", "correct"),
    ({}, {"carbon_dioxide_intake": "0.6 percent"}, "carbon_dioxide_intake", "correct"),
    (
        {},
        {"carbon_monoxide_supply": "9 ppm", "carbon_monoxide_return": "0 ppm"},
        "carbon_monoxide_supply_over_return",
        "correct",
    ),
]


@pytest.mark.parametrize(("plate", "readings", "rule", "weight"), APPLIANCE)
def test_a_reading_beyond_its_nameplate_or_trigger_is_a_finding(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    plate: dict[str, Any],
    readings: dict[str, Any],
    rule: str,
    weight: str,
) -> None:
    accuracy = {
        "carbon_monoxide_supply": {"absolute": "1 ppm"},
        "carbon_monoxide_return": {"absolute": "1 ppm"},
        **{
            name: {"absolute": "0.02 inH2O"}
            for name in ("supply_static_pressure", "return_static_pressure", "draft_breech")
        },
    }
    complete_plan["instruments"]["pair"]["accuracy"] |= accuracy
    complete_plan["appliance"] |= plate
    complete_plan["test_points"][0]["readings"] |= {
        name: {"value": value, "instrument": "pair"} if name in accuracy else value
        for name, value in readings.items()
    }
    audit = judged(make_visit, complete_plan, settled)
    assert weights(audit)[rule] == weight
    assert audit.verdict.name == "correct"
    # Without the nameplate's figure or the reading there is nothing to judge, and nothing is made up.
    for name in plate:
        del complete_plan["appliance"][name]
    for name in readings:
        del complete_plan["test_points"][0]["readings"][name]
    again = fw.audit(fw.open_visit(make_visit(complete_plan, settled, "without")))
    assert rule not in {one.rule for one in again.judgements}
    assert again.verdict.name == "no_tested_limit_exceeded"


def test_clock_and_nameplate_manifold_that_cannot_both_be_right_name_what_to_suspect(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["appliance"]["manifold_pressure"] = "3.5 inH2O"
    point = complete_plan["test_points"][0]
    point["readings"]["manifold_pressure"] = "3.5 inH2O"
    point["meter"] = {"dial": "2 foot**3", "seconds": [78.0], "pressure": "7 inH2O", "temperature": "60 degF"}
    audit = judged(make_visit, complete_plan, settled)
    found = next(one for one in audit.judgements if one.rule == "clock_against_manifold")
    assert found.weight == "correct"
    assert (found.limit_low, found.limit_high) == (1.0, 1.0)  # shown as: other than 100 %
    assert "orifices larger" in found.action
    # While the two contradict, no pressure is aimed at: the dial may have been entered wrong.
    assert "manifold_pressure_target" not in {one.rule for one in audit.judgements}
    point["meter"]["seconds"] = [93.0]
    sound = fw.audit(fw.open_visit(make_visit(complete_plan, settled, "sound")))
    assert {"clock_against_manifold", "manifold_pressure_target"} & weights(sound).keys() == set()


@pytest.mark.parametrize(
    ("seconds", "found", "verdict"),
    [
        (97.0, {}, "no_tested_limit_exceeded"),
        (110.0, {"heat_input_ratio_low": "note"}, "no_tested_limit_exceeded"),
        (140.0, {"heat_input_ratio_low": "note", "heat_input_ratio_very_low": "correct"}, "correct"),
        (83.0, {"heat_input_ratio_high": "correct"}, "correct"),
    ],
)
def test_low_firing_is_told_and_bars_the_verdict_only_where_something_must_be_wrong(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    seconds: float,
    found: dict[str, str],
    verdict: str,
) -> None:
    # Of a 2 ft³ dial about 93 s are 80,000 Btu/h; 97 s are 96 %, 110 s are 85 %, 140 s are 66 %, 83 s are 112 %.
    meter = {"dial": "2 foot**3", "seconds": [seconds], "pressure": "7 inH2O", "temperature": "60 degF"}
    complete_plan["test_points"][0]["meter"] = meter
    audit = judged(make_visit, complete_plan, settled)
    told = {rule: weight for rule, weight in weights(audit).items() if rule.startswith("heat_input_ratio")}
    assert told == found
    assert audit.verdict.name == verdict


@pytest.mark.parametrize(
    ("draft", "inches", "rule"),
    [
        # 26 ft of gas at 330 °F over air at 35 °F pull about 0.14 in. w.c. at most.
        ("natural", -0.20, "draft_above_theoretical"),
        ("natural", -0.06, ""),
        ("natural", -0.005, "draft_far_below_theoretical"),
        ("induced", -0.20, ""),  # an inducer may pull more than the chimney
    ],
)
def test_a_draft_that_the_chimney_cannot_make_or_hardly_makes_is_a_note(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    draft: str,
    inches: float,
    rule: str,
) -> None:
    complete_plan["instruments"]["pair"]["accuracy"]["draft_breech"] = {"absolute": "0.004 inH2O"}
    complete_plan["appliance"] |= {"draft": draft, "chimney_height": "26 foot"}
    complete_plan["test_points"][0]["readings"]["draft_breech"] = {
        "value": f"{inches} inH2O",
        "instrument": "pair",
    }
    audit = judged(make_visit, complete_plan, settled)
    share = audit.points[0].numbers["draft_to_theoretical"]
    # D = 0.52 H P (1/T - 1/T1), in. w.c., ft, psi, °R: the handbooks' formula, for air in the chimney.
    by_hand = 0.52 * 26 * 14.504 * (1 / 494.67 - 1 / 789.67)
    assert share.value == pytest.approx(-inches / by_hand, rel=0.02)
    told = {name: weight for name, weight in weights(audit).items() if name.endswith("_theoretical")}
    assert told == ({rule: "note"} if rule else {})


@pytest.mark.parametrize(
    ("part", "key", "value", "error", "message"),
    [
        ("appliance", "altitude_practice", "from sealevel", VisitError, "Did you mean from sea level"),
        ("appliance", "orifices", {"count": 4, "size": "#455"}, UnknownNameError, "no drill size '#455'"),
        (
            "record",
            "steps",
            [{"step": "gas leek", "at": "2026-01-14T10:00:00"}],
            VisitError,
            "Did you mean gas leak",
        ),
        ("savings", "source", "the bills", VisitError, "neither the heat nor the fuel of a year"),
    ],
)
def test_what_cannot_be_is_refused_with_the_way_out(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    part: str,
    key: str,
    value: Any,
    error: type[Exception],
    message: str,
) -> None:
    complete_plan.setdefault(part, {})[key] = value
    with pytest.raises(error, match=message):
        judged(make_visit, complete_plan, settled)


# ---------------------------------------------------------------------------- gas by the pulses of a log


def test_pulses_in_a_log_tell_the_heat_input(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    # 79.0 ft³/h in pulses of a quarter cubic foot, at the base of the heating value: 79.0 x 1030 = 81,400 Btu/h.
    complete_plan["instruments"]["pulses"] = {
        "description": "pulse counter at the meter",
        "accuracy": {"gas_volume": {"resolution": "0.25 foot**3"}},
    }
    complete_plan["fuel"]["heating_value"] = "1030 Btu/foot**3"
    complete_plan["site"]["barometric_pressure"] = "101325 Pa"
    complete_plan["logs"].append(
        {
            "file": "gas.csv",
            "instrument": "pulses",
            "time": {"column": "Time"},
            "columns": {"Gas": {"quantity": "gas_volume", "unit": "foot**3"}},
        }
    )
    complete_plan["test_points"][0]["meter"] = {"compensated": True}
    folder = make_visit(complete_plan, settled)
    lines = ["Time,Gas"] + [
        f"2026-01-14 10:{second // 60:02d}:{second % 60:02d},{0.25 * (79.0 * second / 3600 // 0.25):.2f}"
        for second in range(0, 1800, 5)
    ]
    (folder / "gas.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    number = fw.audit(fw.open_visit(folder)).points[0].numbers["heat_input_clocked"]
    truth = 79.0 * 1030 * 0.29307107
    assert number.low <= truth <= number.high
    assert number.high - number.low < 0.12 * truth


@pytest.mark.parametrize(
    ("base", "share"),
    [
        (None, 1.0),
        ("US 60 °F, 14.696 psia", 1.0),
        # By hand: 14.696/14.73; 273.15/288.7056; the water in a saturated volume, 0.2563 psia, burns not.
        ("US 60 °F, 14.73 psia", 14.696 / 14.73),
        ("US 60 °F, 14.73 psia, saturated", 14.696 / (14.73 - 0.2563)),
        ("normal 25/0", 273.15 / 288.7056),
        ("standard 15/15", 288.15 / 288.7056),
    ],
)
def test_a_heating_value_counts_at_the_base_it_is_stated_at(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]], base: str | None, share: float
) -> None:
    # 2 ft³ in 93 s of gas at 60 °F and 14.696 psia: 2/93 ft³/s of 1030 Btu/ft³ at that base are 79,742 Btu/h.
    complete_plan["fuel"] |= {"heating_value": "1030 Btu/foot**3"}
    if base is not None:
        complete_plan["fuel"]["heating_value_base"] = base
    complete_plan["site"]["barometric_pressure"] = "14.696 psi"
    complete_plan["test_points"][0]["meter"] = {
        "dial": "2 foot**3",
        "seconds": [93.0],
        "pressure": "0 Pa",
        "temperature": "60 degF",
    }
    audit = judged(make_visit, complete_plan, settled)
    heat = convert(audit.points[0].numbers["heat_input_clocked"].value, "W", "Btu/hour")
    assert heat == pytest.approx(79_742 * share, rel=2e-4)
    assert any(one.subject == "heating_value_base" for one in audit.assumptions) == (base is None)


def test_a_rating_out_of_reach_of_the_manifold_pressure_is_a_note(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    # At 5000 ft the orifices pass the root of 0.83 of the rating, and the rating is 80 % of the nameplate's: by hand
    # 3.5 in. w.c. x (0.80/0.91)² = 2.7, and 0.3 in. w.c. is how far the pressure may be moved.
    complete_plan["appliance"]["manifold_pressure"] = "3.5 inH2O"
    complete_plan["site"] = {
        "name": "Harrow Lane hall",
        "elevation": "5000 foot",
        "barometric_pressure": "24.9 inHg",
    }
    point = complete_plan["test_points"][0]
    point["readings"]["manifold_pressure"] = "3.5 inH2O"
    point["meter"] = {"dial": "2 foot**3", "seconds": [86.3], "pressure": "7 inH2O", "temperature": "60 degF"}
    audit = judged(make_visit, complete_plan, settled)
    judgement = {one.rule: one for one in audit.judgements}
    assert judgement["clock_against_manifold"].outcome == "within"
    target = judgement["manifold_pressure_target"]
    assert target.weight == "note"
    assert target.measured is not None
    assert convert(target.measured.value, "Pa", "inH2O") == pytest.approx(2.7, abs=0.1)


def test_a_count_that_stands_still_or_runs_backward_tells_nothing() -> None:
    index = pd.date_range("2026-01-14 10:00", periods=4, freq="10s", tz="UTC")
    assert gas_flow_counted(pd.Series([1.0, 1.0, 1.0, 1.0], index=index)) is None
    assert gas_flow_counted(pd.Series([1.0, 2.0, 1.0, 2.0], index=index)) is None
    flow = gas_flow_counted(pd.Series([0.0, 1.0, 2.0, 3.0], index=index))
    assert flow is not None
    assert flow[0] == pytest.approx(0.1)


def test_the_orifice_that_passes_the_clocked_heat_is_the_one_that_was_drilled(
    demos: dict[str, Audit],
) -> None:
    drilled = drill("#45").diameter
    for point in demos["hall-furnace"].points:
        number = point.numbers["orifice_diameter"]
        assert number.low <= drilled <= number.high


def test_a_manifold_that_drives_no_gas_is_a_finding_and_forms_no_heat_input(tmp_path: Path) -> None:
    """Such as a hose that came off, or one on the wrong port: the rest of the visit is audited all the same."""
    for file in (DEMO / "hall-furnace").iterdir():
        text = file.read_text(encoding="utf-8").replace('value = "4.26 inH2O"', 'value = "-0.8 inH2O"')
        (tmp_path / file.name).write_text(text, encoding="utf-8")
    audit = fw.audit(fw.open_visit(tmp_path))
    found, left = audit.points
    assert {"heat_input_clocked", "heat_output"} <= found.numbers.keys()
    of_manifold = {"heat_input_manifold", "manifold_pressure_target", "orifice_diameter"}
    assert not of_manifold & found.numbers.keys()
    assert of_manifold <= left.numbers.keys()
    judged = [one for one in audit.judgements if one.subject == "manifold_pressure"]
    assert [(one.test_point, one.outcome) for one in judged] == [
        ("as found", "beyond"),
        ("as left", "within"),
    ]


def test_room_air_that_fills_with_carbon_monoxide_is_a_finding(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    readings = complete_plan["test_points"][0]["readings"]
    readings["carbon_monoxide_ambient"] = [{"value": f"{ppm} ppm", "instrument": "room"} for ppm in (0, 3, 8)]
    audit = judged(make_visit, complete_plan, settled)
    assert weights(audit)["carbon_monoxide_ambient_rise"] == "correct"


# ---------------------------------------------------------------------------- facts of the trade, as checks only


def test_facts_of_the_trade_are_taken_as_they_are(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    # Common practice without source: about 50 % excess air is usual for an induced-draft furnace; a nameplate's rise
    # range may be as low as 15 to 45 °F.
    usual = safety.usual_range("excess_air_oxygen_rule", appliance_type="furnace")
    assert usual is not None
    assert usual.low < 0.5 < usual.high
    complete_plan["appliance"]["temperature_rise"] = ["15 delta_degF", "45 delta_degF"]
    complete_plan["test_points"][0]["readings"]["supply_temperature"]["value"] = "100 degF"
    assert "temperature_rise" not in weights(judged(make_visit, complete_plan, settled))
