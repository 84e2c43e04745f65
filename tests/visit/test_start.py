"""A visit is started whole, with nothing guessed in silence, and passes the check once it is filled in."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from fluewright.errors import InputError
from fluewright.visit import check_visit, open_visit, start_visit
from fluewright.visit.proposal import propose_log
from fluewright.visit.wordings import plain, wordings

LOG = "Time,O2 [%],CO [ppm],T flue [°F],Draft [inWC],CO2 [%],Eff,Spare\n" + "".join(
    f"2026-01-14 10:00:{second:02d},5.{second % 10},3{second % 10},380,-0.02,8.1,82.5,x\n"
    for second in range(0, 60, 5)
)
BLANKS = {
    'time_zone = ""': 'time_zone = "America/New_York"',
    '[site]\nname = ""': '[site]\nname = "Harrow Lane Housing Co-operative, the hall"',
    '[appliance]\ntype = ""': '[appliance]\ntype = "furnace"',
    '[fuel]\nname = ""': '[fuel]\nname = "natural gas"',
    'description = ""\n# [instruments': 'description = "flue-gas analyzer"\n# [instruments',
    'start = "" ': "start = 10:00:00 ",
    'end = ""\n': "end = 10:00:55\n",
}


def filled(plan: Path, blanks: Mapping[str, str]) -> Path:
    text = plan.read_text(encoding="utf-8")
    for blank, content in blanks.items():
        assert blank in text, blank
        text = text.replace(blank, content, 1)
    plan.write_text(text, encoding="utf-8")
    return plan.parent


def test_a_started_visit_passes_the_check_once_filled_in(tmp_path: Path) -> None:
    (tmp_path / "flue.csv").write_text(LOG, encoding="utf-8")
    plan = start_visit(tmp_path / "visit", logs=[tmp_path / "flue.csv"])
    assert plan == tmp_path / "visit" / "visit.toml"
    problems = check_visit(plan.parent)
    assert len(problems) == len(BLANKS)
    assert all("visit.toml, line" in problem.where for problem in problems)
    assert check_visit(filled(plan, BLANKS)) == ()
    frame = open_visit(plan.parent).readings.frame
    assert list(frame) == ["oxygen_dry", "carbon_monoxide_dry", "flue_temperature"]
    np.testing.assert_allclose(frame["oxygen_dry"].iloc[1], 0.055)


def test_logs_of_one_stem_have_instruments_of_their_own(tmp_path: Path) -> None:
    names = ("Air 1.csv", "air-1.csv", "air-1.txt")
    for name in names:
        (tmp_path / name).write_text(LOG, encoding="utf-8")
    plan = start_visit(tmp_path / "visit", logs=[tmp_path / name for name in names])
    written = tomllib.loads(plan.read_text(encoding="utf-8"))
    assert len(written["instruments"]) == len(written["logs"]) == len(names)
    assert {log["instrument"] for log in written["logs"]} == set(written["instruments"])


@pytest.mark.parametrize("day", ["14-Jan-2026 10:00:", "Jan 14, 2026 10:00:", "14 January 2026 10:00:"])
def test_a_month_written_as_a_word_is_proposed_so_that_the_log_opens(tmp_path: Path, day: str) -> None:
    log = re.sub(r"^2026-01-14 10:00:(\d\d)", rf'"{day}\1"', LOG, flags=re.MULTILINE)
    (tmp_path / "flue.csv").write_text(log, encoding="utf-8")
    folder = filled(start_visit(tmp_path / "visit", logs=[tmp_path / "flue.csv"]), BLANKS)
    assert check_visit(folder) == ()
    index = open_visit(folder).readings.frame.index
    assert f"{index[1].tz_convert('America/New_York'):%Y-%m-%d %H:%M:%S}" == "2026-01-14 10:00:05"


def test_a_visit_started_without_logs_passes_once_filled_in(tmp_path: Path) -> None:
    plan = start_visit(tmp_path / "visit")
    (tmp_path / "visit" / "flue.csv").write_text(LOG, encoding="utf-8")
    blanks = {
        **BLANKS,
        'date = ""': "date = 2026-01-14",
        'file = ""': 'file = "flue.csv"',
        'column = "" }': 'column = "Time" }',
        '# "O2" = ': '"O2 [%]" = ',
    }
    del blanks['description = ""\n# [instruments']
    blanks['description = ""\n# serial'] = 'description = "flue-gas analyzer"\n# serial'
    assert check_visit(filled(plan, blanks)) == ()


def test_every_commented_example_in_a_started_visit_is_sound(tmp_path: Path) -> None:
    """A person takes the # away and nothing else; only one fuel, and blanks are filled."""
    (tmp_path / "flue.csv").write_text(LOG, encoding="utf-8")
    plan = start_visit(tmp_path / "visit", logs=[tmp_path / "flue.csv"])
    text = filled(plan, BLANKS).joinpath("visit.toml").read_text(encoding="utf-8")
    opened = re.sub(r"^# (?=[a-z_]+ = |\[)", "", text, flags=re.MULTILINE)
    opened = re.sub(r"^.*composition = .*\n", "", opened, flags=re.MULTILINE)
    opened = re.sub(r'^(.* = "" *(#.*)?|.*absolute = "".*)\n', "", opened, flags=re.MULTILINE)
    plan.write_text(opened, encoding="utf-8")
    assert check_visit(plan.parent) == ()
    content = tomllib.loads(opened)
    assert content["test_points"][0]["meter"]["seconds"]
    assert content["appliance"]["temperature_rise"]


def test_doubtful_columns_are_left_for_a_person(tmp_path: Path) -> None:
    (tmp_path / "flue.csv").write_text(LOG, encoding="utf-8")
    plan = start_visit(tmp_path / "visit", logs=[tmp_path / "flue.csv"]).read_text(encoding="utf-8")
    columns = tomllib.loads(plan)["logs"][0]["columns"]
    assert columns == {
        "O2 [%]": {"quantity": "oxygen_dry", "unit": "percent"},
        "CO [ppm]": {"quantity": "carbon_monoxide_dry", "unit": "ppm"},
        "T flue [°F]": {"quantity": "flue_temperature", "unit": "degF"},
    }
    for doubt in (
        r'# "Draft \[inWC\]" = .*"inH2O" }   # one of draft_breech, draft_overfire, draft_inducer',
        r'# "CO2 \[%\]" = .*   # most instruments compute it',
        r'# "Eff" = .*origin = "instrument"',
        r'# "Spare" = { quantity = "", unit = "" }   # not recognized',
    ):
        assert re.search(doubt, plan), doubt


HEADINGS = {
    "O2 (%)": ("oxygen_dry", "percent", ""),
    "Oxygen %": ("oxygen_dry", "percent", ""),
    "O₂ / Vol.%": ("oxygen_dry", "percent", ""),
    "O2 dry": ("oxygen_dry", "", "the log does not say the unit"),
    "CO ppm": ("carbon_monoxide_dry", "ppm", ""),
    "CO air-free [ppm]": ("carbon_monoxide_air_free", "ppm", ""),
    "Stack Temp (°C)": ("flue_temperature", "degC", ""),
    "T-Flue, deg F": ("flue_temperature", "degF", ""),
    "flue_gas_temperature_degF": ("flue_temperature", "degF", ""),
    "Stack Temp": ("flue_temperature", "", "the log does not say the unit"),
    "Air temp [K]": ("air_temperature", "kelvin", "the values do not look like it"),
    "Lambda": ("air_ratio", "1", ""),
    "Temp 1 [°C]": ("", "degC", "not recognized"),
    "Draft [Pa]": ("draft_breech", "Pa", "one of"),
    "Flue [°F]": ("flue_temperature", "degF", ""),
    "Stack (°C)": ("flue_temperature", "degC", ""),
    "Stack": ("flue_temperature", "", "the log does not say the unit"),
    "Supply [°F]": ("supply_temperature", "degF", ""),
    "Supply [inWC]": ("supply_static_pressure", "inH2O", "the values do not look like it"),
    "Supply [Pa]": ("supply_static_pressure", "Pa", ""),
    "Supply [ppm]": ("carbon_monoxide_supply", "ppm", ""),
    "Supply": ("supply_temperature", "", "the log does not say the unit"),
    "Return (degrees C)": ("return_temperature", "degC", ""),
    "Return [Pa]": ("return_static_pressure", "Pa", ""),
    "Flow [°C]": ("supply_temperature", "degC", ""),
    "Flow [l/min]": (
        "gas_volume_flow",
        "liter/minute",
        "one of gas_volume_flow, air_volume_flow, water_volume_flow",
    ),
    "Room [ppm]": ("carbon_monoxide_ambient", "ppm", ""),
    "Room [°F]": ("ambient_temperature", "degF", ""),
    "Inlet [mbar]": ("gas_inlet_pressure", "mbar", ""),
    "Gas pressure [mbar]": ("gas_inlet_pressure", "mbar", "one of gas_inlet_pressure, manifold_pressure"),
    "λ [-]": ("air_ratio", "1", ""),
    "Combustion efficiency [%]": ("efficiency_gross", "percent", "one of"),
    "Flue [%]": ("flue_temperature", "percent", "percent is no unit of flue_temperature"),
    # in the words of several languages, with and without their accents
    "T Luft [°C]": ("air_temperature", "degC", ""),
    "Intake air temperature (°F)": ("air_temperature", "degF", ""),
    "Aria comburente [°C]": ("air_temperature", "degC", ""),
    "T. aire [°C]": ("air_temperature", "degC", ""),
    "Luchttemperatuur (°C)": ("air_temperature", "degC", ""),
    "T stack [°C]": ("flue_temperature", "degC", ""),
    "T Abgas (°C)": ("flue_temperature", "degC", ""),
    "Température des fumées (°C)": ("flue_temperature", "degC", ""),
    "TEMPERATURE FUMEES [°C]": ("flue_temperature", "degC", ""),
    "Temperatura de humos [°C]": ("flue_temperature", "degC", ""),
    "Temp. fumi [°C]": ("flue_temperature", "degC", ""),
    "Rookgastemperatuur °C": ("flue_temperature", "degC", ""),
    "Außentemperatur [°C]": ("outdoor_temperature", "degC", ""),
    "Restsauerstoff [%]": ("oxygen_dry", "percent", ""),
    "Oxígeno [%]": ("oxygen_dry", "percent", ""),
    "Monoxyde de carbone [ppm]": ("carbon_monoxide_dry", "ppm", ""),
    "CO unverdünnt [ppm]": ("carbon_monoxide_air_free", "ppm", ""),
    "Anidride carbonica [%]": ("carbon_dioxide_dry", "percent", "most instruments compute it"),
    "Stikstofmonoxide [ppm]": ("nitric_oxide_dry", "ppm", ""),
    "Oxydes d'azote [ppm]": ("nitrogen_oxides_dry", "ppm", ""),
    "CO Umgebung [ppm]": ("carbon_monoxide_ambient", "ppm", ""),
    "Ambiente [ppm]": ("carbon_monoxide_ambient", "ppm", ""),
    "Ambiente [°C]": ("ambient_temperature", "degC", ""),
    "Kaminzug [Pa]": ("draft_breech", "Pa", ""),
    "Voordruk [mbar]": ("gas_inlet_pressure", "mbar", ""),
    "Pressione ugelli [mbar]": ("manifold_pressure", "mbar", ""),
    "Presión atmosférica [mbar]": ("barometric_pressure", "mbar", "the values do not look like it"),
    "Gaszählerstand [m3]": ("gas_volume", "m^3", ""),
    "Débit gaz (m3/h)": ("gas_volume_flow", "m^3/hour", ""),
    # of several meanings: left for a person
    "Ta [°C]": ("air_temperature", "degC", "one of air_temperature, ambient_temperature"),
    "Tf [°C]": ("flue_temperature", "degC", "one of flue_temperature, supply_temperature"),
    "Inlet air temperature [°F]": ("air_temperature", "degF", "one of air_temperature, return_temperature"),
    "Zuluft [°C]": ("air_temperature", "degC", "one of air_temperature, supply_temperature"),
    "Tirage [Pa]": ("draft_breech", "Pa", "one of draft_breech, draft_overfire, draft_inducer"),
    "Gasdruk [mbar]": ("gas_inlet_pressure", "mbar", "one of gas_inlet_pressure, manifold_pressure"),
    "Gas consumption [m3]": ("gas_volume", "m^3", ""),
    "Gas consumption": ("gas_volume", "", "the log does not say the unit"),
    "Net stack temp [°C]": ("", "degC", "not recognized"),
    # at a burner the inlet may be of the combustion air
    "Inlet Temp [C]": ("air_temperature", "degC", "one of air_temperature, return_temperature"),
    "T in °C": ("air_temperature", "degC", "one of air_temperature, return_temperature"),
    # a sign in brackets that says the same, and one that does not
    "Oxygen (O2) [%]": ("oxygen_dry", "percent", ""),
    "Carbon Monoxide (CO) [ppm]": ("carbon_monoxide_dry", "ppm", ""),
    "Flue Gas Temp (FGT) [°C]": ("flue_temperature", "degC", ""),
    "CO (3% O2) [ppm]": ("", "ppm", "not recognized"),
    "CO (O2) [ppm]": ("", "ppm", "not recognized"),
    "O2 in %": ("oxygen_dry", "percent", ""),
    "Abgastemperatur in °C": ("flue_temperature", "degC", ""),
    "Draft in WC": ("draft_breech", "inH2O", "one of"),
    "Tamb [°C]": ("ambient_temperature", "degC", ""),
    "T° fumée °C": ("flue_temperature", "degC", ""),
    "T. gases °C": ("flue_temperature", "degC", ""),
    "Temp. aire [°C]": ("air_temperature", "degC", ""),
    "Air [°C]": ("", "degC", "not recognized"),
}


@pytest.mark.law
def test_every_wording_can_be_met_and_stands_once() -> None:
    """A heading is compared once its marks and capitals are gone; a wording that holds some is never met."""
    for quantity, words in wordings()["quantities"].items():
        assert [plain(word) for word in words] == words, quantity
        assert len(set(words)) == len(words), quantity


@pytest.mark.parametrize("heading", HEADINGS)
def test_a_column_is_proposed_from_its_heading_and_values(tmp_path: Path, heading: str) -> None:
    quantity, unit, doubt = HEADINGS[heading]
    (tmp_path / "log.csv").write_text(
        f"Time\t{heading}\n" + "".join(f"2026-01-14 10:00:0{second}\t9.{second}\n" for second in range(9)),
        encoding="utf-8",
    )
    (column,) = propose_log(tmp_path / "log.csv").columns
    assert (column.name, column.quantity, column.unit) == (heading, quantity, unit)
    assert column.doubt.startswith(doubt)
    assert bool(column.doubt) == bool(doubt)


TIMES = {
    "2026-01-14 10:00:0{}": 'time = { column = "Time" }',
    "14.01.2026 10:00:0{}": 'time = { column = "Time", format = "%d.%m.%Y %H:%M:%S" }',
    "01/14/2026 10:00:0{} AM": 'time = { column = "Time", format = "%m/%d/%Y %I:%M:%S %p" }',
    "04/03/2026 10:00:0{}": 'time = { column = "Time", format = "" }',
    "10:00:0{}": 'time = { time_column = "Time" }',
    "176840280{}": 'time = { column = "Time", format = "epoch" }',
    "{}": 'time = { column = "Time", format = "elapsed", start = "" }',
    "day {}": 'time = { column = "Time", format = "" }',
    "2026.014 10h00m0{}": 'time = { column = "Time", format = "" }',
    "14-Jan-2026 10:00:0{}": 'time = { column = "Time", format = "%d-%b-%Y %H:%M:%S" }',
    "Jan 14, 2026 10:0{}": 'time = { column = "Time", format = "%b %d, %Y %H:%M" }',
    "May 14, 2026 10:0{}": 'time = { column = "Time", format = "%b %d, %Y %H:%M" }',
    "14 January 2026 10:00:0{} AM": 'time = { column = "Time", format = "%d %B %Y %I:%M:%S %p" }',
    "14.01.26 10:00:0{}": 'time = { column = "Time", format = "%d.%m.%y %H:%M:%S" }',
    "2/3/26 10:00:0{} AM": 'time = { column = "Time", format = "" }',
    "01/14/2026 10:00:0{} a.m.": 'time = { column = "Time", format = "%m/%d/%Y %I:%M:%S %p" }',
    "46036.4166{}": 'time = { column = "Time", format = "serial" }',
    "00:0{}": 'time = { column = "Time", format = "elapsed", start = "" }',
}
COUNTED = {
    "Time (min)": 'time = { column = "Time (min)", format = "elapsed", unit = "min", start = "" }',
    "t [ms]": 'time = { column = "t [ms]", format = "elapsed", unit = "ms", start = "" }',
    "Time_h": 'time = { column = "Time_h", format = "elapsed", unit = "h", start = "" }',
    "Elapsed s": 'time = { column = "Elapsed s", format = "elapsed", start = "" }',
}


@pytest.mark.parametrize("heading", COUNTED)
def test_the_unit_of_elapsed_time_is_read_from_its_heading(tmp_path: Path, heading: str) -> None:
    rows = "".join(f"{second},5.{second}\n" for second in range(9))
    (tmp_path / "log.csv").write_text(f"{heading},O2 [%]\n{rows}", encoding="utf-8")
    assert propose_log(tmp_path / "log.csv").time[-1] == COUNTED[heading]


def test_counted_time_that_may_be_something_else_is_asked_about(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("Time,O2\n00:00,5\n00:05,5\n", encoding="utf-8")
    assert '# time = { time_column = "Time" }' in propose_log(tmp_path / "log.csv").time
    (tmp_path / "log.csv").write_text("Time,O2\n0,5\n5000,5\n10000,5\n", encoding="utf-8")
    assert any('"ms"?' in line for line in propose_log(tmp_path / "log.csv").time)


ROW = "2026-01-14 10:00:00,5.9,30,199.5,20.1\n"


@pytest.mark.parametrize(
    ("head", "header_row", "time", "names"),
    [
        (
            "Report 12,,,,\n,Gas,Gas,Temperature,Temperature\nTime,O2,CO,Flue,Intake\n,%,ppm,degF,degF\n",
            3,
            "Time",
            ["O2", "CO", "Flue", "Intake"],
        ),
        (
            "Time,Flue,Flue,Flue,Air\n,O2,CO,Temp,Temp\n,%,ppm,degF,degF\n",
            2,
            "column 1",
            ["O2", "CO", "column 4", "column 5"],
        ),
    ],
)
def test_names_over_several_lines_are_read_together(
    tmp_path: Path, head: str, header_row: int, time: str, names: list[str]
) -> None:
    (tmp_path / "log.csv").write_text(head + 3 * ROW, encoding="utf-8")
    proposal = propose_log(tmp_path / "log.csv")
    assert proposal.dialect["header_row"] == header_row
    assert proposal.time == [f'time = {{ column = "{time}" }}']
    assert [(column.name, column.quantity, column.unit, column.doubt) for column in proposal.columns] == [
        (names[0], "oxygen_dry", "percent", ""),
        (names[1], "carbon_monoxide_dry", "ppm", ""),
        (names[2], "flue_temperature", "degF", ""),
        (names[3], "air_temperature", "degF", ""),
    ]


def test_columns_of_one_name_are_called_by_their_places(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("Time,O2 [%],O2 [%]\n2026-01-14 10:00:00,5,5\n", encoding="utf-8")
    plan = start_visit(tmp_path / "visit", logs=[tmp_path / "log.csv"]).read_text(encoding="utf-8")
    tomllib.loads(plan.replace('# "col', '"col'))
    assert [column.name for column in propose_log(tmp_path / "log.csv").columns] == ["column 2", "column 3"]


def test_a_unit_in_the_cells_is_proposed(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("Time,O2\n2026-01-14 10:00:00,5.1 %\n", encoding="utf-8")
    (column,) = propose_log(tmp_path / "log.csv").columns
    assert (column.unit, column.doubt) == ("percent", "")


@pytest.mark.parametrize(
    "row",
    [
        "2026-01-14 10:00:0{},20.{}%,{}ppm,2{}.0°C,20.0 °C\n",
        "2026-01-14 10:00:0{},20.{} Vol.%,{} ppm,2{} C,20C\n",
    ],
)
def test_cells_with_their_units_are_no_names(tmp_path: Path, row: str) -> None:
    rows = "".join(row.format(*4 * [second]) for second in range(5))
    bound = "2026-01-14 09:59:59,20.9 %,<1 ppm,20 °C,20 °C\n"
    (tmp_path / "log.csv").write_text(f"Time,O2,CO,T flue,T air\n{bound}{rows}", encoding="utf-8")
    proposal = propose_log(tmp_path / "log.csv")
    assert proposal.time == ['time = { column = "Time" }']
    assert "header_row" not in proposal.dialect
    assert [(column.quantity, column.unit, column.doubt) for column in proposal.columns] == [
        ("oxygen_dry", "percent", ""),
        ("carbon_monoxide_dry", "ppm", ""),
        ("flue_temperature", "degC", ""),
        ("air_temperature", "degC", ""),
    ]


@pytest.mark.parametrize("word", ["- -", "zeroing", "Calibrating", "over range"])
def test_words_for_no_reading_are_neither_names_nor_text(tmp_path: Path, word: str) -> None:
    rows = f"10:00:00,{word},{word}\n10:00:05,{word},{word}\n10:00:10,5.1,30\n"
    (tmp_path / "log.csv").write_text(f"Uhrzeit,O2 [%],CO [ppm]\n{rows}", encoding="utf-8")
    proposal = propose_log(tmp_path / "log.csv")
    assert proposal.time == ['time = { time_column = "Uhrzeit" }']
    assert [column.doubt for column in proposal.columns] == ["", ""]


def test_headings_repeated_below_are_not_looked_at(tmp_path: Path) -> None:
    head = "Time,O2,CO,Blob\n,%,ppm,mbar\n"
    rows = "2026-01-14 10:00:00,5.1,30,2\n2026-01-14 10:00:05,5.2,31,2\n"
    (tmp_path / "log.csv").write_text(head + rows + head + rows, encoding="utf-8")
    columns = propose_log(tmp_path / "log.csv").columns
    assert [(column.quantity, column.unit, column.doubt) for column in columns] == [
        ("oxygen_dry", "percent", ""),
        ("carbon_monoxide_dry", "ppm", ""),
        ("", "mbar", "not recognized"),
    ]


def test_a_text_among_readings_is_shown(tmp_path: Path) -> None:
    rows = "10:00:00,5.1\n10:00:05,*** marker 1 ***\n10:00:10,5.1\n"
    (tmp_path / "log.csv").write_text(f"Time,O2 [%]\n{rows}", encoding="utf-8")
    (column,) = propose_log(tmp_path / "log.csv").columns
    assert column.doubt == 'some cells hold text, such as "*** marker 1 ***"'


@pytest.mark.parametrize(("rows_of_one_time", "asked"), [(1, False), (12, True)])
def test_a_clock_that_tells_less_than_its_rows_is_asked_about(
    tmp_path: Path, rows_of_one_time: int, asked: bool
) -> None:
    rows = "".join(f"14.01.2026,10:{row // rows_of_one_time:02d},5.{row % 10}\n" for row in range(36))
    (tmp_path / "log.csv").write_text(f"Date,Time,O2 [%]\n{rows}", encoding="utf-8")
    time = propose_log(tmp_path / "log.csv").time
    line = 'time = { date_column = "Date", time_column = "Time", format = "%d.%m.%Y %H:%M" }'
    assert time[-1] == line
    assert (f"# {line.removesuffix(' }')}, spread = true }}" in time) == asked == (len(time) > 1)


@pytest.mark.parametrize("form", TIMES)
def test_the_way_time_is_written_is_proposed_and_never_guessed(tmp_path: Path, form: str) -> None:
    rows = "".join(f"{form.format(second)}\t5.{second}\n" for second in range(9))
    (tmp_path / "log.csv").write_text(f"Time\tO2 [%]\n{rows}", encoding="utf-8")
    proposal = propose_log(tmp_path / "log.csv")
    assert proposal.time[-1] == TIMES[form]
    if 'format = ""' in TIMES[form] and "/" not in form:
        assert "Say how times are written" in proposal.time[0]
    if "/3" in form or "/03" in form:
        assert "Day or month first?" in proposal.time[0]


def test_a_serial_day_and_a_part_of_a_day_are_proposed(tmp_path: Path) -> None:
    rows = "".join(f"46036,0.4166{second},5.{second}\n" for second in range(9))
    (tmp_path / "log.csv").write_text(f"Date,Time,O2 [%]\n{rows}", encoding="utf-8")
    assert propose_log(tmp_path / "log.csv").time == [
        'time = { date_column = "Date", time_column = "Time", format = "serial" }'
    ]


@pytest.mark.parametrize("names", [("Fecha", "Hora"), ("Data", "Ora"), ("Date", "Heure"), ("Datum", "Tijd")])
def test_date_and_clock_are_found_by_their_words(tmp_path: Path, names: tuple[str, str]) -> None:
    rows = "".join(f"14.01.2026,10:00:0{second},5.{second}\n" for second in range(9))
    (tmp_path / "log.csv").write_text(f"{','.join(names)},O2 [%]\n{rows}", encoding="utf-8")
    day, clock = names
    assert propose_log(tmp_path / "log.csv").time == [
        f'time = {{ date_column = "{day}", time_column = "{clock}", format = "%d.%m.%Y %H:%M:%S" }}'
    ]


def test_the_dialect_is_proposed(tmp_path: Path) -> None:
    text = "Serial;12\n\nDatum;Uhrzeit;O2;T flue\n;;%;°C\n" + "".join(
        f"14.01.2026;10:00:0{second};5,{second};180,5\n" for second in range(9)
    )
    (tmp_path / "log.txt").write_bytes(text.encode("cp1252"))
    proposal = propose_log(tmp_path / "log.txt")
    assert proposal.dialect == {"encoding": "cp1252", "delimiter": ";", "decimal": ",", "header_row": 3}
    assert proposal.time == [
        'time = { date_column = "Datum", time_column = "Uhrzeit", format = "%d.%m.%Y %H:%M:%S" }'
    ]
    assert proposal.date == "2026-01-14"
    assert [(column.quantity, column.unit, column.doubt) for column in proposal.columns] == [
        ("oxygen_dry", "percent", ""),
        ("flue_temperature", "degC", ""),
    ]


@pytest.mark.parametrize("name", ['#read("x")', "a\\b", "“x”", "<script>", "x" * 300, "\u202eשלום"])
def test_hostile_headings_are_proposed_as_they_are(tmp_path: Path, name: str) -> None:
    quoted = '"' + name.replace('"', '""') + '"'
    (tmp_path / "log.csv").write_text(f"Time,{quoted},O2 [%]\n2026-01-14 10:00:00,1,5\n", encoding="utf-8")
    plan = start_visit(tmp_path / "visit", logs=[tmp_path / "log.csv"]).read_text(encoding="utf-8")
    line = next(line for line in plan.splitlines() if "not recognized" in line)
    assert list(tomllib.loads(line.removeprefix("# "))) == [name]


def test_nothing_is_overwritten_and_nothing_half_written(tmp_path: Path) -> None:
    full = tmp_path / "full"
    full.mkdir()
    (full / "notes").write_text("mine")
    (tmp_path / "file").write_text("x")
    (tmp_path / "image.csv").write_bytes(b"\x89PNG\x00\x00")
    (tmp_path / "visit.toml").write_text("Time,O2\n1,2\n")
    for folder, logs, message in (
        (full, [], "is not empty"),
        (tmp_path / "file", [], "is a file"),
        (tmp_path / "no" / "where", [], "there is no folder"),
        (tmp_path / "new", [tmp_path / "none.csv"], "there is no log"),
        (tmp_path / "new", [tmp_path / "image.csv"], "no columns were found"),
        (tmp_path / "new", [tmp_path / "visit.toml"], "cannot stand in the visit folder twice"),
        (tmp_path / "new", [tmp_path / "file", tmp_path / "file"], "twice"),
    ):
        with pytest.raises(InputError, match=message):
            start_visit(folder, logs=logs)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "full", "image.csv", "visit.toml"]
    assert [path.name for path in full.iterdir()] == ["notes"]


def test_a_failure_while_writing_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("fluewright.visit.start._plan_text", fail)
    with pytest.raises(InputError, match=r"No space left on device\. Nothing was written"):
        start_visit(tmp_path / "visit")
    assert list(tmp_path.iterdir()) == []


def test_an_empty_folder_may_be_started_in(tmp_path: Path) -> None:
    (tmp_path / "visit").mkdir()
    assert start_visit(tmp_path / "visit").is_file()
