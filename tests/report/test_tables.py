"""What the tables say is what the audit holds: in the right units, adding up, and never kinder than it is."""

from __future__ import annotations

import math
import re
import shutil
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fluewright import sources
from fluewright.report import abreast, finding_tables, result_tables, visit_tables, words
from fluewright.report.objects import Facts, Paragraph, Section, Table
from fluewright.studies.audit import Audit
from fluewright.studies.audit import audit as make
from fluewright.units import convert
from fluewright.visit import open_visit

MakeAudit = Callable[..., Audit]
DEMO = Path(__file__).resolve().parents[2] / "data-demo"


def tables_in(part: Table | Section) -> Iterator[Table]:
    if isinstance(part, Table):
        yield part
    else:
        for inner in part.parts:
            assert isinstance(inner, Table | Section)
            yield from tables_in(inner)


def row_of(part: Table | Section, label: str) -> list[str]:
    """Return the first row that begins with `label`."""
    return next(list(row) for table in tables_in(part) for row in table.rows if row[0].startswith(label))


def number_in(text: str) -> float:
    return float(text.replace(",", "").replace("−", "-"))


# ---------------------------------------------------------------------------- main numbers


def test_page_one_holds_the_number_its_interval_and_what_it_is_held_against(hall: Audit) -> None:
    row = row_of(result_tables.headline_numbers(hall), "Flue-gas temperature")
    held = hall.points[-1].readings["flue_temperature"]
    low, high = (convert(end, "K", "degF") for end in (held.low, held.high))
    found = re.fullmatch(r"([\d.]+) to ([\d.]+)", row[5])
    assert found is not None
    assert number_in(row[4]) == pytest.approx(convert(held.value, "K", "degF"), abs=0.051)
    assert (float(found[1]), float(found[2])) == pytest.approx((low, high), abs=0.051)
    assert row[1] == "°F"
    assert row[6].startswith("usually 250 to 475")


def test_the_limit_stands_beside_air_free_carbon_monoxide_with_its_source(hall: Audit) -> None:
    (table,) = tables_in(result_tables.headline_numbers(hall))
    row = row_of(table, "Carbon monoxide, air-free, by the dry-oxygen rule; worst")
    letter = row[-1].removeprefix("at most 400 ")
    assert re.fullmatch(r"\([a-z]\)", letter)
    assert f"{letter} ANSI Z21.47" in " ".join(table.notes)


def test_each_stage_is_held_against_its_own_nameplate(laundry: Audit) -> None:
    part = result_tables.headline_numbers(laundry)
    assert row_of(part, "Oxygen in flue gas")[-1].startswith("4 to 6; 4.5 to 6.5 (")
    assert row_of(part, "Heat input by meter")[-1] == "nameplate 50; 13.5"


def test_the_strictest_limit_is_shown_with_its_own_source(laundry: Audit) -> None:
    shown = abreast.yardstick(laundry, "carbon_monoxide_ambient")
    assert shown.text == "at most 5"  # the visit's own, below the 35 ppm of the table
    assert shown.citation is not None
    assert "house rule" in shown.citation.source


def test_readings_taken_several_times_by_hand_have_an_interval(hall: Audit) -> None:
    for label, name in (("Airflow", "air_volume_flow"), ("Electric power drawn", "electric_power")):
        row = row_of(result_tables.rates(hall), label)
        for point, value, interval in zip(hall.points, row[2::2], row[3::2], strict=False):
            assert [value, interval] == [
                getattr(words.printed(point.readings[name], "US"), part) for part in ("value", "interval")
            ]
            assert " to " in interval


def test_a_pressure_to_aim_at_is_for_who_is_qualified(hall: Audit, laundry: Audit) -> None:
    def noted(audit: Audit) -> str:
        return " ".join(note for table in tables_in(result_tables.rates(audit)) for note in table.notes)

    assert "what a person qualified for gas valves would consider, after the maker's instructions" in noted(
        hall
    )
    assert "would consider" not in noted(laundry)  # a ratio-controlled burner has none


def test_both_rules_of_excess_air_are_printed_and_differ(hall: Audit) -> None:
    part = result_tables.headline_numbers(hall)
    rule = number_in(row_of(part, "Excess air, by the dry-oxygen rule")[4])
    balance = number_in(row_of(part, "Excess air, by carbon–oxygen balance")[4])
    assert 3 < rule - balance < 8  # several points for natural gas


def test_an_over_range_reading_is_a_least_value_and_never_an_interval(workshop: Audit) -> None:
    row = row_of(result_tables.headline_numbers(workshop), "Carbon monoxide, air-free")
    assert row[2].startswith("at least ")
    assert row[3] == ""
    assert row[-1] == ""  # no limit is known for this type, and none is borrowed
    noted = " ".join(note for table in tables_in(result_tables.flue_gas(workshop)) for note in table.notes)
    assert "above the range of the instrument, so at least so much" in noted


def test_page_one_says_why_an_efficiency_cannot_be_told(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    settled[200][2] = settled[201][2] = "OVER"
    made = make_audit(complete_plan, settled)
    assert "163 of" not in made.points[0].steadiness.outcome
    assert re.search(r"carbon monoxide held still on the \d+ of \d+ rows", made.points[0].steadiness.outcome)
    shown = result_tables.headline_numbers(made)
    for label in ("Steady-state combustion efficiency", "Excess air, by the dry-oxygen rule"):
        assert row_of(shown, label)[2] == "cannot tell"
    noted = " ".join(note for table in tables_in(shown) for note in table.notes)
    assert "cannot tell: carbon monoxide left the instrument’s range" in noted.replace("'", "’")


def test_a_long_list_of_stretches_tells_of_the_burns_and_sums_up_the_fresh_air(
    make_audit: MakeAudit,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(visit_tables, "_MOST_LETTERED", 4)
    for start in range(0, 360, 45):  # two minutes and a half of fresh air, then one and a quarter of flue gas
        for row in settled[start : start + 30]:
            row[1:4] = ["20.9", "0", "70.0"]
    made = make_audit(complete_plan, settled)
    shown = visit_tables.stretches(made, made.points)
    lettered = [row for row in shown.rows if row[0] and row[0] != "window"]
    assert len(lettered) == 4
    assert not [row for row in lettered if "fresh air" in row[4]]
    (summed,) = [row for row in shown.rows if "without flue gas" in row[4]]
    fresh = [part.rows for part in made.points[0].steadiness.refused if part.phase == "fresh air"]
    assert number_in(summed[3]) == sum(fresh)
    assert summed[4].startswith(f"{len(fresh)} more stretches")


def test_without_a_carbon_monoxide_channel_it_is_not_tested_everywhere(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    del complete_plan["logs"][0]["columns"]["CO"]
    made = make_audit(complete_plan, settled)
    assert row_of(result_tables.flue_gas(made), "Carbon monoxide in flue gas")[2] == "not tested"
    assert row_of(result_tables.headline_numbers(made), "Carbon monoxide, air-free")[2] == "not tested"
    assert any(
        row[0].startswith("Carbon monoxide in the flue, air-free (")
        for row in finding_tables.not_tested(made).rows
    )


def test_a_dilute_sample_gives_no_air_free_value_and_says_why(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    rows = [[time, "16.5", monoxide, flue, air] for time, _, monoxide, flue, air in settled]
    made = make_audit(complete_plan, rows)
    assert made.points[0].state
    assert row_of(result_tables.headline_numbers(made), "Carbon monoxide, air-free")[2] == "cannot tell"


def test_what_the_instrument_computed_stands_apart(hall: Audit) -> None:
    *_, computed = tables_in(result_tables.flue_gas(hall))
    heads = [row[0] for row in computed.rows if not any(row[1:])]
    assert heads[-1] == "Computed inside the instrument, not used"
    assert computed.rows[-1][0] == "Carbon dioxide in flue gas, dry"
    assert computed.rows[-1][3] == ""  # no interval: nothing is known of how it was computed


@pytest.mark.law
@pytest.mark.parametrize("name", ["hall", "laundry"])
def test_the_parts_of_the_heat_add_to_the_input_gross_and_net(
    name: str, request: pytest.FixtureRequest
) -> None:
    part = result_tables.losses(request.getfixturevalue(name))
    for table in tables_in(part):
        *parts, whole = table.rows
        for column in (1, 3, 4, 6)[: 2 * ((len(whole) - 1) // 3)]:
            shown = sum(number_in(row[column]) for row in parts)
            assert shown == pytest.approx(number_in(whole[column]), abs=0.005 * len(parts))


def test_many_test_points_stand_three_abreast() -> None:
    cell = words.Printed(value="1", interval="0 to 2", sign="%")
    names = [f"point {number}" for number in range(7)]
    lines = [abreast.heading_line("Group"), abreast.Line(label="Oxygen", sign="%", cells=(cell,) * 7)]
    made = list(tables_in(abreast.side_by_side(names, lines, caption="All.", notes=["last"])))
    assert [len(table.columns) for table in made] == [8, 8, 4]
    assert [table.caption for table in made] == ["All.", "All, continued.", "All, continued."]
    assert [bool(table.notes) for table in made] == [False, False, True]
    assert [head for table in made for head in table.columns if head.startswith("Point")] == [
        name.capitalize() for name in names
    ]


# ---------------------------------------------------------------------------- changes


def test_differences_carry_their_sign_and_no_offset(hall: Audit) -> None:
    if not any("dew_point_margin" in found for found in hall.differences.values()):
        pytest.skip("one of the two test points has no window")
    table = result_tables.change(hall, "as found", "as left")
    row = row_of(table, "Flue temperature less water dew point")
    before, after, difference = map(number_in, row[1:4])
    assert difference == pytest.approx(after - before, abs=0.15)
    assert row[5] == "°F"
    heat = row_of(table, "Heat input by meter, gross")
    assert heat[3].startswith("−")
    assert row_of(table, "Heat input by meter against the nameplate")[5] == "points"


# ---------------------------------------------------------------------------- stretches and rows


@pytest.mark.law
@pytest.mark.parametrize("name", ["hall", "laundry", "workshop"])
def test_the_stretches_of_a_test_point_add_up_to_its_rows(name: str, request: pytest.FixtureRequest) -> None:
    made = request.getfixturevalue(name)
    table = visit_tables.stretches(made, made.points)
    wholes = [n for n, row in enumerate(table.rows) if row[4].endswith(": all rows")]
    assert len(wholes) == len(made.points)
    for first, last in zip(wholes, [*wholes[1:], len(table.rows)], strict=True):
        parts = [number_in(row[3]) for row in table.rows[first + 1 : last]]
        assert sum(parts) == number_in(table.rows[first][3])


def test_each_refused_stretch_has_its_own_letter_and_a_reason(hall: Audit) -> None:
    marks = visit_tables.marks(hall.points)
    letters = [mark.letter for mark in marks if mark.letter != "window"]
    assert letters == [chr(ord("a") + number) for number in range(len(letters))]
    rows = {row[0]: row[4] for row in visit_tables.stretches(hall, hall.points).rows}
    assert all(len(rows[letter]) > 15 for letter in letters)
    assert [abreast.letter(number) for number in (25, 26, 27, 52)] == ["z", "aa", "ab", "ba"]


@pytest.mark.law
@pytest.mark.parametrize("name", ["hall", "laundry", "workshop"])
def test_the_account_of_rows_adds_up_in_every_line(name: str, request: pytest.FixtureRequest) -> None:
    for row in visit_tables.account_of_rows(request.getfixturevalue(name)).rows:
        read, used, aside = map(number_in, row[1:4])
        assert read == used + aside
        assert aside == 0 or "set aside" in row[4]


@pytest.mark.law
def test_the_lines_on_offer_are_toml_that_makes_the_window_they_promise(
    make_visit: Callable[..., Any], complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    restless = [
        [time, oxygen, f"{40 + 200 * (number // 12 % 2):.0f}", flue, air]
        for number, (time, oxygen, _, flue, air) in enumerate(settled)
    ]
    before = make(open_visit(make_visit(complete_plan, restless, "before")))
    (point,) = before.points
    assert point.steadiness.window is None
    table = visit_tables.window_lines(before, point)
    assert table is not None
    offered = tomllib.loads("\n".join(row[0] for row in table.rows))["window"]
    window = {"start": f"{offered['start']}", "end": f"{offered['end']}", "because": offered["because"]}
    complete_plan["test_points"][0]["window"] = {
        **window,
        "start": f"2026-01-14T{window['start']}",
        "end": f"2026-01-14T{window['end']}",
    }
    after = make(open_visit(make_visit(complete_plan, restless, "after")))
    chosen, least_bad = after.points[0].steadiness.window, point.steadiness.least_bad
    assert chosen is not None
    assert least_bad is not None
    assert (chosen.start, chosen.end, chosen.chosen_by) == (least_bad.start, least_bad.end, "person")
    told = [row[4] for row in visit_tables.stretches(after, after.points).rows if row[0] == "window"]
    assert told == ["Window chosen by a person: why a person accepts it."]


# ---------------------------------------------------------------------------- conditions and instruments


def test_an_overdue_calibration_and_an_accuracy_nobody_stated_are_told(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    tool = complete_plan["instruments"]["flue"]
    tool["calibrated"], tool["calibration_due"] = "2024-12-01", "2025-12-01"
    del tool["accuracy"]["oxygen_dry"]
    made = make_audit(complete_plan, settled)
    row = next(row for row in visit_tables.instruments(made).rows if row[0].startswith("flue-gas instrument"))
    assert row[1:3] == ("2024-12-01", "2025-12-01, OVERDUE at the test")
    assert re.search(r"[Oo]xygen: not stated, assumed ± 0\.3\d* points", row[3])
    others = [
        row for row in visit_tables.instruments(made).rows if not row[0].startswith("flue-gas instrument")
    ]
    assert all(row[1:3] == ("not stated", "not stated") for row in others)


def test_names_that_hold_commas_are_told_apart_by_semicolons(hall: Audit) -> None:
    rows = visit_tables.instruments(hall).rows
    manometer = next(row for row in rows if row[0].startswith("Digital manometer"))[3]
    assert (
        "Draft at the inducer; static pressure, supply; static pressure, return; pressure where the orifice "
        "discharges: ± 0.01 in. w.c. or 1 % of reading." in manometer
    )
    for row in rows:
        for told in row[3].rstrip(".").split(". "):
            assert " and " not in told.partition(": ")[0], told


def test_what_was_not_tested_is_required_or_recommended(workshop: Audit) -> None:
    table = finding_tables.not_tested(workshop)
    heads = [table.rows[number][0] for number in table.emphasis]
    assert heads == ["REQUIRED", "Recommended"]
    first = [row[0].rpartition(" (")[0] for row in table.rows]
    required = [test.label for test in workshop.not_tested]
    assert first[1 : len(required) + 1] == required
    assert first[len(required) + 2 :] == [test.label for test in workshop.not_tested_recommended]


def test_a_reading_by_hand_with_no_instrument_named_is_told(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    notes = " ".join(visit_tables.instruments(make_audit(complete_plan, settled)).notes)
    assert "instrument that was not named" in notes
    assert "draft at the inducer" in notes


def test_a_typed_text_is_shortened_on_page_one_and_printed_in_full_after_it(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["site"]["name"] = "long " * 1000
    made = make_audit(complete_plan, settled)
    first = dict(visit_tables.facts(made).pairs)
    assert len(first["Where"]) <= 220
    assert dict(visit_tables.conditions(made).pairs)["Where, in full"] == "long " * 1000


# ---------------------------------------------------------------------------- findings


def test_stops_come_first_and_a_finding_on_paper_keeps_its_number(workshop: Audit) -> None:
    table = finding_tables.findings_table(workshop)
    weights = [row[0] for row in table.rows]
    assert weights == sorted(weights, key=["STOP", "CORRECT", "NOTE"].index)
    text = table.as_text()
    for one in workshop.findings:
        assert one.headline[:60] in text
        assert one.action in text
    assert "trigger: above 1,200 ppm" in text


def test_what_was_put_right_says_so_and_asks_for_nothing_more(hall: Audit) -> None:
    done = [one for one in finding_tables.findings(hall) if one.first.put_right]
    assert done
    for one in done:
        assert "put right" in finding_tables.headline(hall, one)
        assert "Who may" not in finding_tables.reasoning(hall, one).as_text()
    rows = [row for row in finding_tables.findings_table(hall).rows if "put right" in row[1]]
    assert all(row[2].startswith("Nothing more") for row in rows)


def test_a_stop_that_was_put_right_still_says_what_to_do(hall: Audit) -> None:
    one = replace(
        next(j for j in hall.judgements if j.put_right), weight="correct", action="Have it confirmed."
    )
    finding = finding_tables.Finding(judgements=(one,))
    assert "Have it confirmed." in finding_tables.reasoning(hall, finding).as_text()


def test_no_trigger_and_no_check_is_ever_said_to_be_within(hall: Audit) -> None:
    table = finding_tables.judged_within(hall)
    assert isinstance(table, Table)
    lines = [line for row in table.rows for line in row[-1].split("\n")]
    triggers = [line for line in lines if line.lower().startswith("trigger")]
    assert triggers
    assert all("not exceeded" in line and "within" not in line for line in triggers)
    seen = finding_tables.checks(hall)
    assert isinstance(seen, Facts)
    assert "within" not in seen.as_text()


def test_every_finding_has_its_source_and_who_may_put_it_right(workshop: Audit) -> None:
    for finding in finding_tables.findings(workshop):
        text = finding_tables.reasoning(workshop, finding).as_text()
        if finding.first.citation is not None:
            assert finding.first.citation.source in text
            assert finding.first.citation.place in text
        assert "Who may: " in text


def test_a_limit_from_memory_is_marked_where_it_is_shown(workshop: Audit) -> None:
    remembered = [one for one in workshop.judgements if one.citation and one.citation.status == "memory"]
    assert remembered
    for part in (result_tables.rates(workshop),):
        notes = " ".join(note for table in tables_in(part) for note in table.notes)
        assert "to be checked against the edition in force" in notes
    assert any("to be checked" in text for text in finding_tables.limit_sources(workshop))


def test_without_any_check_that_is_said(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["checks"] = {}
    seen = finding_tables.checks(make_audit(complete_plan, settled))
    assert isinstance(seen, Paragraph)
    assert "No check by eye" in seen.text


# ---------------------------------------------------------------------------- readings that are usually taken


def test_a_logged_reading_of_an_unsettled_point_is_never_called_not_tested(workshop: Audit) -> None:
    row = row_of(result_tables.rates(workshop), "Carbon monoxide in the room")
    worst = (
        1e6 * workshop.visit.readings.frame["carbon_monoxide_ambient"].max()
    )  # every row counts, also after it
    assert number_in(row[2]) == pytest.approx(worst, abs=0.5)


def test_what_the_type_is_usually_tested_by_is_listed_as_not_tested(workshop: Audit) -> None:
    assert row_of(result_tables.rates(workshop), "Temperature rise of the air")[2] == "not tested"
    assert row_of(result_tables.rates(workshop), "Carbon monoxide in supply air")[2] == "not tested"


def test_the_clocking_of_the_meter_can_be_repeated_from_the_page(hall: Audit) -> None:
    notes = " ".join(note for table in tables_in(result_tables.rates(hall)) for note in table.notes)
    assert "2 ft³ in 94.1, 93.7 and 94.6 s" in notes
    assert "other gas loads were off" in notes


# ---------------------------------------------------------------------------- uncertainty and assumptions


@pytest.mark.law
def test_the_shares_of_the_variance_of_one_result_add_to_the_whole(hall: Audit) -> None:
    point = result_tables.ranked_point(hall)
    assert point is not None
    table = result_tables.uncertainty(hall, point)
    for column in range(1, len(table.columns)):
        shares = [re.search(r"\((\d+) %\)", row[column]) for row in table.rows]
        total = sum(int(found[1]) for found in shares if found)
        assert 97 <= total <= 102  # what is below two percent is left out, and each is rounded


def test_every_assumption_has_its_reason(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["readings"].pop("relative_humidity")
    del complete_plan["site"]["barometric_pressure"]
    made = make_audit(complete_plan, settled)
    table = visit_tables.assumptions(made)
    assert len(table.rows) == sum(not one.unstated for one in made.assumptions) + 1
    assert all(row[1] not in ("", "–") and len(row[2]) > 10 for row in table.rows)
    humidity = next(row for row in table.rows if row[0] == sources.quantity("relative_humidity").label)
    assert "50 (20 to 80) %" in humidity[1]
    assert math.isfinite(float(re.sub(r"[^\d.]", "", humidity[3])))


def test_accuracies_that_nobody_stated_are_one_row_and_each_its_own_in_the_results(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    del complete_plan["instruments"]["flue"]["accuracy"]
    made = make_audit(complete_plan, settled)
    unstated = [one for one in made.assumptions if one.unstated]
    assert {"oxygen_dry", "flue_temperature", "air_temperature", "carbon_monoxide_dry"} <= {
        one.subject for one in unstated
    }
    rows = [row for row in visit_tables.assumptions(made).rows if "cautious" in row[1]]
    assert len(rows) == 1
    (row,) = rows
    names = [words.in_a_sentence(one.subject) for one in unstated]
    assert all(name in row[1] for name in names)
    moved = [float(found) for found in re.findall(r"\(± ([\d.]+) points\)", row[1])]
    assert len(moved) > 2
    assert moved == sorted(moved, reverse=True)
    together = math.hypot(*(one.effect.value for one in unstated if one.effect is not None))
    assert 100 * together == pytest.approx(math.hypot(*moved), rel=0.05)
    assert row[3] == f"± {words.half_width('efficiency_gross', together, 'US')} together"
    kept = {one["subject"] for one in made.results["assumptions"]}
    assert {one.subject for one in unstated} <= kept


def test_an_assumed_heating_value_says_at_what_state_in_the_units_of_the_visit(laundry: Audit) -> None:
    row = row_of(visit_tables.assumptions(laundry), "Heating value, gross")
    assert "MJ/m³, 15.56 °C, 101.325 kPa, dry" in row[1]
    plan = laundry.visit.plan.model_copy(
        update={"report": laundry.visit.plan.report.model_copy(update={"units": "US"})}
    )
    us = replace(laundry, visit=replace(laundry.visit, plan=plan))
    row = row_of(visit_tables.assumptions(us), "Heating value, gross")
    assert "Btu/ft³, 60 °F, 14.696 psia, dry" in row[1]


# ---------------------------------------------------------------------------- instruments


def checked(plan: dict[str, Any], **more: object) -> dict[str, Any]:
    """Return a plan whose gas instrument was checked: its oxygen reads 0.2 % too much at zero and 0.4 % at span."""
    plan["instruments"]["flue"]["drift_checks"] = {
        "oxygen_dry": {
            "zero_before": {"applied": "0 percent", "shown": "0.2 percent"},
            "zero_after": {"applied": "0 percent", "shown": "0.2 percent", "note": "bottle 7"},
            **more,
        }
    }
    return plan


def test_checks_of_the_instruments_show_what_was_read_and_what_that_did(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    made = make_audit(checked(complete_plan), settled)
    table = visit_tables.instrument_checks(made)
    assert table is not None
    first, second = (list(row) for row in table.rows)
    assert first[:4] == ["Oxygen; zero, before", "0.2 %", "0 %", "+0.2 points"]
    assert second[:4] == ["Oxygen; zero, after", "0.2 %", "0 %, bottle 7", "+0.2 points"]
    settled_point = made.points[0].settled
    assert settled_point is not None
    half = words.half_width("oxygen_dry", settled_point.means["oxygen_dry"].bias, "US")
    assert first[4] == f"± {half} instead of ± 0.21 points."


def test_a_correction_that_was_asked_for_is_told_with_its_amount(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    table = visit_tables.instrument_checks(make_audit(checked(complete_plan, correct=True), settled))
    assert table is not None
    assert table.rows[0][4] == "± 0.21 points, no wider; −0.2 points added, as asked."


def test_no_table_of_checks_without_any(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    made = make_audit(complete_plan, settled)
    assert visit_tables.instrument_checks(made) is None
    notes = " ".join(visit_tables.instruments(made).notes)
    assert "Leak test of probe and hose: not tested" in notes
    assert "zero and span checks: not tested" in notes


def test_the_record_of_leak_and_bump_test_stands_with_the_instruments(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["checks"] |= {
        "probe_leak": {"result": "no fault seen", "note": "hose pinched, pump stalled"},
        "bump_test": "fault seen",
    }
    notes = " ".join(visit_tables.instruments(make_audit(complete_plan, settled)).notes)
    assert "probe and hose: no fault seen (hose pinched, pump stalled)" in notes
    assert "bump test of the carbon monoxide cell: fault seen" in notes


def test_a_clock_that_was_put_right_and_an_interpolated_log_are_labeled(tmp_path: Path) -> None:
    folder = shutil.copytree(DEMO / "hall-furnace", tmp_path / "hall")
    plan = folder / "visit.toml"
    text = plan.read_text(encoding="utf-8")
    asked = 'file = "air.csv"\ninterpolate = true\n'
    assert 'file = "air.csv"\n' in text
    head, tail = text.split('file = "air.csv"\n')
    tail = re.sub(r"time = \{ ", 'time = { offset = "-12 s", ', tail, count=1)
    assert "offset" in tail
    plan.write_text(head + asked + tail, encoding="utf-8")
    made = make(open_visit(folder))
    assert "interpolated as asked" in visit_tables.column_map(made).points[1]
    assert "interpolated" not in visit_tables.column_map(made).points[0]
    assert "Clock of air.csv: −12 s added to its times, as entered." in visit_tables.instruments(made).notes
    said = visit_tables.account_of_rows(made).rows[1][4]
    assert "interpolated to the times of flue.csv, as asked" in said
    results = made.results
    assert results["account_of_rows"][0]["clock"] is None
    assert results["account_of_rows"][1]["clock"].startswith("-12 s")
    assert results["account_of_rows"][0]["clock_offset"] is None
    clock = results["account_of_rows"][1]["clock_offset"]
    assert (clock["offset"]["value"], clock["offset"]["unit"], clock["offset"]["origin"]) == (
        -12,
        "s",
        "entered",
    )
    assert (clock["events"], clock["reference"], clock["offset"]["interval_low"]) == (0, None, None)
    assert {one["quantity"] for one in results["channels"] if one["interpolated"]} == {
        "supply_temperature",
        "return_temperature",
    }
    readings = results["test_points"][0]["readings"]
    assert "interpolated" in readings["supply_temperature"]["basis"]
    assert "interpolated" not in readings["oxygen_dry"]["basis"]
