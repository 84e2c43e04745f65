"""A visit folder becomes readings, or one clear message for each thing to put right."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fluewright import audit
from fluewright.errors import InputError, UnitError
from fluewright.visit import Cell, RowAccount, VisitError, accuracy_of, check_visit, open_visit, read_number
from fluewright.visit.problems import shown

Writer = Callable[..., Path]

HOSTILE = [
    '#read("x")',
    "$ *_@ `x`",
    "<script>alert(1)</script>",
    "=1+1",
    "x" * 5000,
    "\u202eשלום مرحبا",
    "🔥 O₂ [%]",
    "a = 'b'",
]


def flue(*lines: str) -> dict[str, str]:
    return {"flue.csv": "Time,O2,CO,T\n" + "".join(f"2026-01-14 {line}\n" for line in lines)}


STEADY = (
    "10:00:00,6,30,400",
    "10:00:05,6,30,400",
    "10:00:10,6,30,400",
    "10:00:15,6,30,400",
    "10:00:20,6,30,400",
)


def swapped(place: int, line: str) -> dict[str, str]:
    return flue(*(line if number == place else known for number, known in enumerate(STEADY)))


def test_a_visit_is_read_in_si_on_the_visits_clock(write_visit: Writer) -> None:
    folder = write_visit(more='[readings]\ncarbon_monoxide_ambient = ["2 ppm", "> 9 ppm"]\n')
    visit = open_visit(folder)
    frame = visit.readings.frame
    assert list(frame) == ["oxygen_dry", "carbon_monoxide_dry", "flue_temperature"]
    assert frame.index.name == "time"
    assert str(frame.index.tz) == "America/New_York"
    assert frame.index[0] == pd.Timestamp("2026-01-14T15:00:00Z")
    np.testing.assert_allclose(frame["oxygen_dry"], [0.06, 0.061, 0.062, 0.061, 0.06], rtol=1e-14)
    np.testing.assert_allclose(frame["carbon_monoxide_dry"], [30e-6, 31e-6, 32e-6, 33e-6, 34e-6], rtol=1e-14)
    np.testing.assert_allclose(frame["flue_temperature"].iloc[0], (400 - 32) / 1.8 + 273.15, rtol=1e-14)
    assert visit.readings.states.empty
    assert visit.readings.lower_bounds.empty
    account = visit.readings.accounts[0]
    assert (account.read, account.used, account.set_aside) == (5, 5, ())
    assert account.sha256 == hashlib.sha256((folder / "flue.csv").read_bytes()).hexdigest()
    assert visit.plan_sha256 == hashlib.sha256((folder / "visit.toml").read_bytes()).hexdigest()
    channel = visit.readings.channels["carbon_monoxide_dry"]
    assert (channel.column, channel.unit, channel.instrument, channel.origin) == (
        "CO",
        "ppm",
        "analyzer",
        "measured",
    )
    point = visit.test_points[0]
    assert (point.start, point.end) == (frame.index[0], frame.index[-1])
    spots = visit.spots["carbon_monoxide_ambient"]
    assert [(spot.value, spot.bound) for spot in spots] == [
        (pytest.approx(2e-6), ""),
        (pytest.approx(9e-6), ">"),
    ]
    assert check_visit(folder) == ()


PLAN_FAULTS = {
    "unknown key": (
        {"tested_by": "testd_by"},
        r"the key 'testd_by' is not known \(visit.toml, line 5, .*mean tested_by\?",
    ),
    "definition of steady": (
        {"[fuel]": '[steady]\ncriteria = "ASHRAE 103"\n[fuel]'},
        r"no definition of steady 'ASHRAE 103' \(visit.toml, line 11, steady.criteria\): definitions of steady go by "
        r"their names. Did you mean 'furnace or boiler, ASHRAE 103'\?",
    ),
    "AM and PM with 24 hours": (
        {'"Time" }': '"Time", format = "%m/%d/%Y %H:%M:%S %p" }'},
        r"'%m/%d/%Y %H:%M:%S %p' is no way to write a date and time .*%I with %p",
    ),
    "unknown table": ({"[site]": "[sight]"}, r"the key 'sight' is not known .*mean site\?"),
    "missing table": (
        {'[fuel]\nname = "natural gas"\n': ""},
        r"'fuel' is missing \(visit.toml\): .*\[fuel\]",
    ),
    "missing key": ({'name = "as found"\n': ""}, r"'name' is missing \(visit.toml, line 26, test_points\)"),
    "broken TOML": (
        {"[site]": "[site"},
        r"the line cannot be read: '\[site' \(visit.toml, line 6, column 6\)",
    ),
    "key twice": ({"[site]": '[site]\nname = "x"'}, r"cannot be read: .*overwrite"),
    "no quotes": ({'"furnace"': "furnace"}, r"visit.toml, line 9, column 8.*invalid value"),
    "layout": ({"layout = 1": "layout = 2"}, r"layout is '2' .*Write 1"),
    "number as text": (
        {'name = "natural gas"': "name = 7"},
        r"name is '7' \(visit.toml, line 11, fuel.name\).*in quotes",
    ),
    "date in quotes": (
        {"date = 2026-01-14": 'date = "tomorrow"'},
        r"date is 'tomorrow' \(visit.toml, line 3.*2026-01-31",
    ),
    "time zone": (
        {"America/New_York": "America/Harrow"},
        r"'America/Harrow' is no time zone \(visit.toml, line 4",
    ),
    "time zone of a path": ({"America/New_York": "../../etc/passwd"}, r"is no time zone"),
    "fuel blank": ({'name = "natural gas"': 'name = ""'}, r"name is '' \(visit.toml, line 11, fuel.name\)"),
    "fuel not at all": ({'name = "natural gas"': ""}, r"names no fuel"),
    "fuel twice": (
        {'name = "natural gas"': 'name = "natural gas"\ncomposition = {CH4 = 1.0}'},
        r"name and a composition",
    ),
    "fuel in percent": (
        {'name = "natural gas"': "composition = {CH4 = 94.0, N2 = 6.0}"},
        r"'CH4' is 94.*94 % as 0.94",
    ),
    "fuel not closing": (
        {'name = "natural gas"': "composition = {CH4 = 0.9}"},
        r"add up to 0.9.*add up to 1",
    ),
    "unit unknown": (
        {'unit = "percent"': 'unit = "percant"'},
        r"'percant' is not a known unit \(visit.toml, line 22, logs.columns.O2",
    ),
    "unit missing": ({'unit = "percent"': 'unit = ""'}, r"oxygen_dry has no unit"),
    "unit of another kind": (
        {'"oxygen_dry", unit': '"gas_volume_flow", unit'},
        r"gas_volume_flow is given in 'percent' .*ft\^3/hour or m\^3/hour",
    ),
    "temperature difference": ({'"degF"': '"delta_degF"'}, r"given in delta_degF .*not a difference"),
    "farad": ({'"degF"': '"F"'}, r"given in 'F' .*degF or degC"),
    "quantity unknown": (
        {'"oxygen_dry", unit': '"oxygen", unit'},
        r"no quantity 'oxygen' .*Did you mean oxygen_",
    ),
    "quantity twice": (
        {'"carbon_monoxide_dry", unit': '"oxygen_dry", unit'},
        r"oxygen_dry is given to .*'O2' and 'CO'",
    ),
    "computed as measured": (
        {'"oxygen_dry", unit': '"excess_air", unit'},
        r"excess_air is declared as measured.*'instrument'",
    ),
    "column missing": ({'"O2" =': '"O2x" ='}, r"no column 'O2x' \(flue.csv, row 1\).*Did you mean 'O2'\?"),
    "time column missing": (
        {'column = "Time"': 'column = "Clock"'},
        r"no column 'Clock' \(flue.csv, row 1\)",
    ),
    "time not named": ({'{ column = "Time" }': "{}"}, r"time names no column .*time_column"),
    "time named twice": (
        {'{ column = "Time" }': '{column = "Time", time_column = "Time"}'},
        r"time is named twice",
    ),
    "time pattern": (
        {'"Time" }': '"Time", format = "%Q" }'},
        r"'%Q' is no way to write a date and time .*%d.%m.%Y",
    ),
    "time pattern without date": (
        {'"Time" }': '"Time", format = "%H:%M:%S" }'},
        r"no way to write .*time_column",
    ),
    "elapsed without start": ({'"Time" }': '"Time", format = "elapsed" }'}, r"elapsed time has no start"),
    "delimiter": ({"[logs.columns]": 'delimiter = "-"\n[logs.columns]'}, r"delimiter is '-' .*Write ','"),
    "encoding": ({"[logs.columns]": 'encoding = "zip"\n[logs.columns]'}, r"no text encoding 'zip'"),
    "marks": (
        {"[logs.columns]": 'thousands = "."\n[logs.columns]'},
        r"decimal mark and the mark between thousands",
    ),
    "header row": ({"[logs.columns]": "header_row = -1\n[logs.columns]"}, r"header_row is '-1' .*at least 0"),
    "instrument unknown": (
        {'instrument = "analyzer"': 'instrument = "analyser"'},
        r"no instrument 'analyser' .*mean analyzer\?",
    ),
    "accuracy unit": (
        {'absolute = "0.2 percent"': 'absolute = "0.2 degF"'},
        r"absolute .*degF.*accuracy.oxygen_dry",
    ),
    "accuracy of span": (
        {'absolute = "0.2 percent"': 'of_span = "1 percent"'},
        r"share of the span.*no span",
    ),
    "span without unit": ({'"0 ppm", "2000 ppm"': '"0 ppm", "2000"'}, r"'2000' has no unit .*'2000 ppm'\."),
    "accuracy without unit": (
        {"carbon_monoxide_dry = { abs": 'flue_temperature = { absolute = "2" }\ncarbon_monoxide_dry = { abs'},
        r"absolute: '2' has no unit .*such as '2 delta_degF' or '2 delta_degC'\.",
    ),
    "span reversed": ({'["0 ppm", "2000 ppm"]': '["2000 ppm", "0 ppm"]'}, r"runs from 2000 ppm to 0 ppm"),
    "reading by hand below zero": (
        {"[fuel]": '[readings]\nrelative_humidity = "-4 percent"\n[fuel]'},
        r"relative_humidity is '-4 percent' .*outside of what it can be",
    ),
    "accuracy below zero": (
        {'absolute = "0.2 ': 'absolute = "-0.2 '},
        r"absolute is '-0.2 percent' .*below zero",
    ),
    "resolution below zero": (
        {'absolute = "0.2 percent"': 'resolution = "-1 percent"'},
        r"resolution is '-1 percent' .*below zero",
    ),
    "response time below zero": (
        {'absolute = "0.2 percent"': 'response_time = "-20 s"'},
        r"response_time is '-20 s' .*below zero",
    ),
    "tolerance below zero": (
        {"[logs.columns]": 'within = "-5 s"\n[logs.columns]'},
        r"within is '-5 s' .*below zero",
    ),
    "calibrated after the visit": (
        {'description = "flue': 'calibrated = 2027-01-01\ndescription = "flue'},
        r"calibrated on 2027-01-01, after the visit of 2026-01-14",
    ),
    "due before it was calibrated": (
        {'description = "flue': 'calibrated = 2025-01-01\ncalibration_due = 2024-01-01\ndescription = "flue'},
        r"due on 2024-01-01, before it was calibrated on 2025-01-01",
    ),
    "oxygen range reversed": (
        {'"furnace"': '"furnace"\noxygen_range = ["6 percent", "4 percent"]'},
        r"oxygen range does not run from low to high",
    ),
    "meaning of a word": (
        {"[logs.columns]": 'words = { ALARM = "danger" }\n[logs.columns]'},
        r"ALARM is 'danger' .*'over range', 'under range' or 'no reading'",
    ),
    "appliance type": ({'"furnace"': '"furnas"'}, r"no appliance type 'furnas' .*mean furnace\?"),
    "temperature rise": (
        {'"furnace"': '"furnace"\ntemperature_rise = ["65 delta_degF", "35 delta_degF"]'},
        r"rise does not run from low to high",
    ),
    "rated input without unit": (
        {'"furnace"': '"furnace"\nrated_input = 80000'},
        r"'80000' has no unit .*rated_input.*quotes",
    ),
    "rated input as text without unit": (
        {'"furnace"': '"furnace"\nrated_input = "80000"'},
        r"rated_input: '80000' has no unit .*'80000 Btu/hour' or '80000 kW'\.",
    ),
    "rated input of another kind": (
        {'"furnace"': '"furnace"\nrated_input = "80000 ft"'},
        r"rated_input.* 'ft'.*rated_input",
    ),
    "log outside": ({'"flue.csv"': '"../flue.csv"'}, r"'../flue.csv' lies outside the visit folder"),
    "log absolute": ({'"flue.csv"': '"/etc/passwd"'}, r"'/etc/passwd' lies outside"),
    "log missing": ({'"flue.csv"': '"flu.csv"'}, r"no log 'flu.csv' in the folder .*mean 'flue.csv'\?"),
    "log with a null": ({'"flue.csv"': '"a\\u0000"'}, r"no log 'a\\x00'"),
    "point reversed": ({"end = 10:00:20": "end = 09:59:20"}, r"starts before it ends.*midnight"),
    "point outside": (
        {"end = 10:00:20": "end = 11:00:20"},
        r"'as found', .*leaves the log .*10:00:00 to 2026-01-14 10:00:20",
    ),
    "point empty": (
        {"start = 10:00:00\nend = 10:00:20": "start = 10:00:01\nend = 10:00:04"},
        r"holds no row of the log",
    ),
    "point as text": ({"end = 10:00:20": 'end = "late"'}, r"'late' is no time \(visit.toml, line 29"),
    "aside without bound": (
        {"[logs.columns]": 'set_aside = [{ because = "why" }]\n[logs.columns]'},
        r"not bounded",
    ),
    "aside reversed": (
        {"[logs.columns]": 'set_aside = [{ rows = [9, 3], because = "why" }]\n[logs.columns]'},
        r"rows = \[3, 9\]",
    ),
    "aside without reason": (
        {"[logs.columns]": 'set_aside = [{ rows = [3, 3], because = "" }]\n[logs.columns]'},
        r"because is ''",
    ),
}


def test_a_fault_in_the_plan_hides_no_other(write_visit: Writer) -> None:
    """What the schema refuses is told together with what only shows once the rest is read."""
    folder = write_visit(
        swap={'time_zone = "America/New_York"': 'time_zone = "America/New_York"\ntested = "x"'},
        more='[readings]\noxygen_dry = 6\nrelative_humidity = "140 percent"\n[checks]\nspillage = "fine"\n',
    )
    told = "\n".join(map(str, check_visit(folder)))
    for what in (
        "key 'tested'",
        "'6' is no reading",
        "relative_humidity is '140",
        "result of spillage is 'fine'",
    ):
        assert told.count(what) == 1, told
    assert len(check_visit(folder)) == 4, told


def test_a_column_map_that_nobody_confirmed_says_how(write_visit: Writer) -> None:
    swap = {f'"{name}" = ': f'# "{name}" = ' for name in ("O2", "CO", "T")}
    with pytest.raises(VisitError, match=r"columns holds nothing .* Take away the # of each proposed column"):
        open_visit(write_visit(swap=swap))


def test_what_is_no_number_is_counted_by_what_it_was(write_visit: Writer) -> None:
    rows = flue(
        "10:00:00,6,30,400",
        "10:00:05,---,OVER,400",
        "10:00:10,,>1500,400",
        "10:00:15,<1,3,400",
        "10:00:20,6,3,400",
    )
    readings = open_visit(write_visit(files=rows)).readings
    counts = {name: readings.cells(name) for name in readings.channels}
    assert counts["oxygen_dry"] == {
        Cell.NUMBER: 2,
        Cell.EMPTY: 1,
        Cell.OVER_RANGE: 0,
        Cell.UNDER_RANGE: 1,
        Cell.NO_NUMBER: 1,
    }
    assert counts["carbon_monoxide_dry"][Cell.OVER_RANGE] == 2
    assert counts["flue_temperature"] == {cell: 5 * (cell == Cell.NUMBER) for cell in Cell}


@pytest.mark.parametrize("name", PLAN_FAULTS)
def test_a_fault_in_the_plan_is_one_clear_message(write_visit: Writer, name: str) -> None:
    swap, message = PLAN_FAULTS[name]
    folder = write_visit(swap=swap)
    with pytest.raises(VisitError, match=f"(?s){message}") as caught:
        open_visit(folder)
    assert len(caught.value.problems) == 1, caught.value
    problem = caught.value.problems[0]
    assert problem.what
    assert problem.where
    assert problem.way_out
    assert not re.search(r"pydantic|Input should|type=|Value error|errors\.", str(caught.value))
    assert check_visit(folder) == caught.value.problems


ADDED_FAULTS = {
    "check unknown": ('[checks]\nspilage = "no fault seen"\n', r"no check 'spilage' .*mean spillage\?"),
    "check result": (
        '[checks]\nspillage = "fine"\n',
        r"result of spillage is 'fine' .*'no fault seen', 'fault seen'",
    ),
    "spot without unit": (
        '[readings]\noutdoor_temperature = "20"\n',
        r"outdoor_temperature: '20' has no unit",
    ),
    "spot not in quotes": ("[readings]\noutdoor_temperature = 20\n", r"'20' is no reading .*in quotes"),
    "spot of another kind": (
        '[readings]\ndraft_breech = "3 percent"\n',
        r"draft_breech is given in 'percent'",
    ),
    "spot impossible": ('[readings]\noxygen_dry = "60 percent"\n', r"oxygen_dry is '60 percent' .*outside"),
    "spot of a difference": ('[readings]\noutdoor_temperature = "5 delta_degF"\n', r"that is a difference"),
    "limit that cannot be": (
        '[limits]\ncarbon_monoxide_dry = { value = "-9 ppm", source = "the maker" }\n',
        r"the limit of carbon_monoxide_dry is '-9 ppm' .*not below zero",
    ),
    "spot with comma": (
        '[readings]\noxygen_dry = "5,2 percent"\n',
        r"oxygen_dry: '5,2 percent' holds a comma",
    ),
    "spot over a range that is not known": (
        '[readings]\noxygen_dry = "OVER"\n',
        r"over the instrument's range .*> 2000 ppm",
    ),
    "spot of an unknown instrument": (
        '[readings]\noxygen_dry = { value = "5 percent", instrument = "probe" }\n',
        r"no instrument 'probe'",
    ),
    "limit": (
        '[limits]\nflue_temperature = { value = "9 ppm", holds = "at most", source = "the maker" }\n',
        r"flue_temperature is given in 'ppm'",
    ),
    "points overlap": (
        '[[test_points]]\nname = "as left"\nstart = 10:00:10\nend = 10:00:20\n',
        r"'as found' and 'as left' overlap .*10:00:20, the second starts 10:00:10",
    ),
    "point that repeats none": (
        'replaces = "as left"\n',
        r"'as found' repeats the test point 'as left' .*before it",
    ),
    "point that repeats one of another rate": (
        '[[test_points]]\nname = "as left"\nstart = 10:00:20\nend = 10:00:30\nstage = "low"\nreplaces = "as found"\n',
        r"'as left' is at another firing rate than 'as found', which it repeats",
    ),
    "window outside": (
        'window = { start = 10:00:05, end = 10:00:30, because = "steady" }\n',
        r"the window, 10:00:05 to 10:00:30, leaves its test point",
    ),
    "meter seconds": ('meter = { dial = "2 ft^3", seconds = [0.0] }\n', r"took 0 s.*between 0 and 3600"),
}


@pytest.mark.parametrize("name", ADDED_FAULTS)
def test_a_fault_in_what_is_optional_is_one_clear_message(write_visit: Writer, name: str) -> None:
    more, message = ADDED_FAULTS[name]
    with pytest.raises(VisitError, match=f"(?s){message}") as caught:
        open_visit(write_visit(more=more))
    assert len(caught.value.problems) == 1, caught.value


def test_points_that_do_not_follow_each_other_in_the_file_may_not_overlap(write_visit: Writer) -> None:
    points = "".join(
        f'[[test_points]]\nname = "{name}"\nstart = 10:00:{start}\nend = 10:00:{end}\n'
        for name, start, end in (("last", 15, 20), ("between", "05", 15))
    )
    with pytest.raises(VisitError, match="'as found' and 'between' overlap"):
        open_visit(write_visit(swap={"end = 10:00:20": "end = 10:00:10"}, more=points))


LOG_FAULTS = {
    "missing": ({}, r"no log 'flue.csv' in the folder"),
    "empty": ({"flue.csv": ""}, r"the log is empty \(flue.csv\)"),
    "blank lines only": ({"flue.csv": "\n\n \n"}, r"the log is empty"),
    "names only": (flue(), r"no row of the log can be used: below its column names it is empty"),
    "text for a number": (
        swapped(1, "10:00:05,abc,30,400"),
        r"oxygen_dry is 'abc' in column 'O2' at 10:00:05 \(flue.csv, row 3\).*words = { \"abc\" = \"over range\" }",
    ),
    "impossible number": (
        swapped(3, "10:00:15,23.1,30,400"),
        r"oxygen_dry is 23.1 percent at 10:00:15 \(flue.csv, row 5\): "
        r".*above 22 percent.*set the row aside",
    ),
    "wrong unit": (
        flue(*(line.replace("400", "4000") for line in STEADY)),
        r"flue_temperature is 4000 degF .*4 more",
    ),
    "time going backwards": (
        swapped(2, "09:00:10,6,30,400"),
        r"time goes back from 10:00:05 to 09:00:10 \(flue.csv, row 4\)",
    ),
    "unreadable time": (
        swapped(3, "10.00 Uhr,6,30,400"),
        r"'2026-01-14 10.00 Uhr' cannot be read \(flue.csv, row 5\)",
    ),
    "over a range that is not known": (
        swapped(1, "10:00:05,6,30,OL"),
        r"flue_temperature is over the instrument's range at 10:00:05 \(flue.csv, row 3\).*span",
    ),
    "lone thousands mark": (
        {"flue.csv": 'Time,O2,CO,T\n2026-01-14 10:00:00,6,"1,234",400\n'},
        r"carbon_monoxide_dry is '1,234' .*decimal = \",\" or thousands = \",\"",
    ),
    "not a log": ({"flue.csv": bytes(range(256))}, r"no column|is not utf-8"),
    "latin letters": (
        {"flue.csv": "Time,O2,CO,T,°\n".encode("latin-1")},
        r"byte 0xb0 is not utf-8 \(flue.csv, row 1\).*cp1252",
    ),
    "another delimiter": (
        {name: text.replace(",", ";") for name, text in flue(*STEADY).items()},
        r"no column 'Time' .*delimiter = ';' meant",
    ),
    "decimal commas among commas": (
        flue(*(line.replace(",6", ",6,1") for line in STEADY)),
        r"rows have 5 cells where .* 4",
    ),
}


@pytest.mark.parametrize("name", LOG_FAULTS)
def test_a_fault_in_a_log_names_file_row_and_way_out(write_visit: Writer, name: str) -> None:
    files, message = LOG_FAULTS[name]
    folder = write_visit(files=files)
    before = sorted(path.name for path in folder.iterdir())
    with pytest.raises(VisitError, match=f"(?s){message}"):
        open_visit(folder)
    assert sorted(path.name for path in folder.iterdir()) == before


def test_all_problems_come_at_once(write_visit: Writer) -> None:
    files = flue(*STEADY[:3], "10:00:15,abc,30,4000", STEADY[4])
    folder = write_visit(files=files, swap={"tested_by": "testd_by", '"furnace"': "7"})
    found = "\n".join(map(str, check_visit(folder)))
    for part in ("testd_by", "type is '7'", "'abc'", "4000 degF"):
        assert part in found
    with pytest.raises(VisitError, match=r"4 things to put right\n1\. .*\n2\. "):
        open_visit(folder)


def test_problems_of_a_plan_with_faults_stand_in_the_order_of_the_file(write_visit: Writer) -> None:
    folder = write_visit(
        swap={"end = 10:00:20": "end = 5", "tested_by": "testd_by", "[site]": "[site]\nnam = 3"}
    )
    lines = [int(re.search(r"line (\d+)", problem.where)[1]) for problem in check_visit(folder)]  # type: ignore[index]
    assert lines == sorted(lines)
    assert len(lines) == 3


def test_what_is_no_visit_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for name, message in (
        ("file", "it is a file"),
        ("nowhere", "there is no such folder"),
        (".", r"there is no visit\.toml"),
    ):
        with pytest.raises(InputError, match=message):
            open_visit(tmp_path / name)


def test_a_log_that_is_a_link_out_of_the_folder_is_refused(write_visit: Writer, tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("Time,O2,CO,T\n")
    folder = write_visit(files={})
    (folder / "flue.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(VisitError, match="lies outside"):
        open_visit(folder)


def test_visit_toml_in_another_encoding_is_told(write_visit: Writer) -> None:
    folder = write_visit()
    text = (folder / "visit.toml").read_text()
    (folder / "visit.toml").write_bytes(text.replace("Dana", "Zoë").encode("latin-1"))
    with pytest.raises(VisitError, match=r"not UTF-8 \(visit.toml, line 5\)"):
        open_visit(folder)
    (folder / "visit.toml").write_bytes(("\ufeff" + text.replace("\n", "\r\n")).encode())
    assert check_visit(folder) == ()


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_is_kept_as_it_is(write_visit: Writer, text: str) -> None:
    quoted = '"' + text.replace('"', '""') + '"'
    key = '"' + text.replace('"', '\\"') + '"'
    log = flue(*STEADY)["flue.csv"].replace("O2", quoted, 1)
    folder = write_visit(files={"flue.csv": log}, swap={'"O2" =': f"{key} =", '"Dana Example"': key})
    visit = open_visit(folder)
    assert visit.plan.visit.tested_by == text
    assert visit.readings.channels["oxygen_dry"].column == text
    np.testing.assert_allclose(visit.readings.frame["oxygen_dry"], 0.06)


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_in_a_message_stays_on_one_line(write_visit: Writer, text: str) -> None:
    key = '"' + (text + "\\n\\u001b[31m").replace('"', '\\"') + '"'
    (problem,) = check_visit(write_visit(swap={'"O2" =': f"{key} ="}))
    assert "\n" not in str(problem)
    assert "\x1b" not in str(problem)


def test_free_text_may_be_long_and_no_longer(write_visit: Writer) -> None:
    long = "x" * 20_001
    (problem,) = check_visit(write_visit(swap={"Dana Example": long}))
    assert "at most 20000" in str(problem)
    assert len(str(problem)) < 400


# -------------------------------------------------------------------------------- over range, safety


def test_a_reading_over_range_is_a_lower_bound(write_visit: Writer) -> None:
    files = flue(
        "10:00:00,6,>2500,400",
        "10:00:05,6,OVER,400",
        "10:00:10,6,2000,400",
        "10:00:15,6,1999,400",
        "10:00:20,6,---,400",
    )
    readings = open_visit(write_visit(files=files)).readings
    co = "carbon_monoxide_dry"
    np.testing.assert_allclose(readings.frame[co], [np.nan, np.nan, np.nan, 1999e-6, np.nan])
    assert readings.states[co].tolist() == [Cell.OVER_RANGE] * 3 + [Cell.NUMBER, Cell.NO_NUMBER]
    assert readings.states[co].dtype == np.int8
    np.testing.assert_allclose(readings.lower_bounds[co], [2500e-6, 2000e-6, 2000e-6, np.nan, np.nan])
    assert list(readings.states) == list(readings.lower_bounds) == [co]


def test_what_was_set_aside_stays_to_be_judged(write_visit: Writer) -> None:
    files = flue(*STEADY[:2], "10:00:10,6,OVER,400", "10:00:15,6,1500,400", "10:00:15,6,1800,400", STEADY[4])
    swap = {"[logs.columns]": 'set_aside = [{ rows = [4, 4], because = "peak" }]\n[logs.columns]'}
    readings = open_visit(write_visit(files=files, swap=swap)).readings
    np.testing.assert_allclose(readings.aside["carbon_monoxide_dry"], [2000e-6, 1800e-6])
    assert [part.reason for part in readings.accounts[0].set_aside] == [
        "set aside in visit.toml: peak",
        "same time as the row before",
    ]


def test_a_spot_over_range_is_a_lower_bound(write_visit: Writer) -> None:
    more = """[readings]
carbon_monoxide_dry = [
  "> 2000 ppm",
  { value = "OVER", instrument = "analyzer" },
  { value = "2000 ppm", instrument = "analyzer" },
  "< 5 ppm",
  "1900ppm",
]
blower_on = "on"
"""
    visit = open_visit(write_visit(more=more))
    spots = [(spot.bound, round(spot.value * 1e6)) for spot in visit.spots["carbon_monoxide_dry"]]
    assert spots == [(">", 2000), (">", 2000), (">", 2000), ("<", 5), ("", 1900)]
    assert visit.spots["blower_on"][0].value == 1.0


def test_stated_accuracy_in_si(write_visit: Writer) -> None:
    plan = open_visit(
        write_visit(
            swap={
                "[instruments.analyzer.accuracy]": "[instruments.analyzer.accuracy]\n"
                'flue_temperature = { absolute = "3.6 delta_degF", of_span = "1 percent", '
                'span = ["32 degF", "932 degF"], resolution = "0.1 delta_degC", response_time = "0.5 minute" }'
            }
        )
    ).plan
    temperature = accuracy_of(plan, "flue_temperature")
    assert temperature.absolute == pytest.approx(2.0)
    assert temperature.of_span == pytest.approx(5.0)
    assert temperature.resolution == pytest.approx(0.1)
    assert temperature.response_time == 30.0
    assert temperature.span == (pytest.approx(273.15), pytest.approx(773.15))
    assert accuracy_of(plan, "carbon_monoxide_dry").of_reading == pytest.approx(0.05)
    assert not accuracy_of(plan, "draft_breech").stated


# ------------------------------------------------------------------------------------- several logs

METER = """\
[[logs]]
file = "meter.csv"
instrument = "analyzer"
time = { column = "Time" }
[logs.columns]
"Q" = { quantity = "gas_volume_flow", unit = "ft^3/hour" }
"""


def test_logs_are_joined_to_the_nearest_reading_and_nothing_is_interpolated(write_visit: Writer) -> None:
    meter = "Time,Q\n" + "".join(
        f"2026-01-14 10:00:{second:02d},{second + 50}\n" for second in range(3, 15, 4)
    )
    readings = open_visit(write_visit(files={**flue(*STEADY), "meter.csv": meter}, more_logs=METER)).readings
    flow = readings.frame["gas_volume_flow"] / (0.3048**3 / 3600)
    np.testing.assert_allclose(flow, [np.nan, 53, 61, np.nan, np.nan], rtol=1e-12)
    assert readings.states["gas_volume_flow"].tolist() == [Cell.EMPTY, 0, 0, Cell.EMPTY, Cell.EMPTY]
    account = readings.accounts[1]
    assert (account.read, account.used) == (3, 2)
    assert account.set_aside[0].first_row == 3
    assert any("within 2 s" in note for note in account.notes)
    assert len(readings.aside) == 1


def later(minute: int, rows: tuple[str, ...]) -> str:
    text = flue(*rows)["flue.csv"]
    return text.replace("10:00:", f"10:{minute:02d}:")


SECOND = """\
[[logs]]
file = "second.csv"
instrument = "analyzer"
time = { column = "Time" }
[logs.columns]
"O2" = { quantity = "oxygen_dry", unit = "percent" }
"CO" = { quantity = "carbon_monoxide_dry", unit = "ppm" }
"""


def test_a_log_of_the_same_quantities_continues_the_first(write_visit: Writer) -> None:
    files = {**flue(*STEADY), "second.csv": later(5, (*STEADY[:4], "10:00:20,6,OVER,400"))}
    readings = open_visit(write_visit(files=files, more_logs=SECOND)).readings
    assert len(readings.frame) == 10
    assert readings.frame.index.is_monotonic_increasing
    assert readings.channels["oxygen_dry"].file == "flue.csv, second.csv"
    assert readings.states["flue_temperature"].tolist() == [Cell.NUMBER] * 5 + [Cell.EMPTY] * 5
    assert readings.lower_bounds["carbon_monoxide_dry"].iloc[-1] == pytest.approx(2000e-6)
    assert [account.used for account in readings.accounts] == [5, 5]


@pytest.mark.parametrize(
    ("swap", "other"),
    [
        ({'instrument = "analyzer"': 'instrument = "second"'}, "measured by 'second'"),
        ({'unit = "percent" }': 'unit = "percent", origin = "instrument" }'}, "computed by 'analyzer'"),
    ],
)
def test_one_quantity_by_two_instruments_is_refused(
    write_visit: Writer, swap: dict[str, str], other: str
) -> None:
    second = SECOND
    for old, new in swap.items():
        second = second.replace(old, new)
    files = {**flue(*STEADY), "second.csv": later(5, STEADY)}
    more = '[instruments.second]\ndescription = "another"\n'
    with pytest.raises(
        VisitError,
        match=f"oxygen_dry is measured by 'analyzer' in flue.csv, and {other} in second.csv .*name it the same",
    ):
        open_visit(write_visit(files=files, more_logs=second, more=more))


def test_logs_that_hold_the_same_reading_twice_are_refused(write_visit: Writer) -> None:
    files = {**flue(*STEADY), "second.csv": flue(*STEADY)["flue.csv"]}
    with pytest.raises(
        VisitError,
        match=r"oxygen_dry stands in two logs at the same time, 10:00:00 \(flue.csv and s.*rows = \[2, 6\]",
    ):
        open_visit(write_visit(files=files, more_logs=SECOND))


def test_a_log_with_another_clock_is_refused(write_visit: Writer) -> None:
    meter = "Time,Q\n2026-01-14 12:00:00,50\n2026-01-14 12:00:05,50\n"
    with pytest.raises(VisitError, match=r"(?s)nowhere near those of flue.csv \(meter.csv\).*time.offset"):
        open_visit(write_visit(files={**flue(*STEADY), "meter.csv": meter}, more_logs=METER))


def test_a_log_with_its_clock_corrected_is_joined(write_visit: Writer) -> None:
    meter = "Time,Q\n2026-01-14 12:00:00,50\n2026-01-14 12:00:05,51\n"
    shifted = METER.replace('"Time" }', '"Time", offset = "-2 hour" }')
    readings = open_visit(
        write_visit(files={**flue(*STEADY), "meter.csv": meter}, more_logs=shifted)
    ).readings
    assert readings.states["gas_volume_flow"].tolist() == [0, 0, Cell.EMPTY, Cell.EMPTY, Cell.EMPTY]
    assert "-7200 s added to its times, as entered" in readings.accounts[1].notes


VALUES = [
    '""',
    '"x"',
    "7",
    "1.5",
    "true",
    "[]",
    "{}",
    "2026-01-14",
    "10:00:00",
    "[1, 2]",
    '["a"]',
    "{a = 1}",
    "-3",
]
VALUES += [
    '"5 percent"',
    '"nan degF"',
    "[[1]]",
    "inf",
    "99999999999999999999",
    '"\\u0000"',
    "0001-01-01",
    '">5"',
]


@pytest.mark.law
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_value_anywhere_is_taken_or_refused_in_words(
    tmp_path: Path, plan_text: str, data: st.DataObject
) -> None:
    lines = plan_text.splitlines()
    place = data.draw(st.sampled_from([number for number, line in enumerate(lines) if "=" in line]))
    lines[place] = lines[place].split("=")[0] + "= " + data.draw(st.sampled_from(VALUES))
    (tmp_path / "visit.toml").write_text("\n".join(lines), encoding="utf-8")
    (tmp_path / "flue.csv").write_text(flue(*STEADY)["flue.csv"], encoding="utf-8")
    for problem in check_visit(tmp_path):
        assert problem.what
        assert problem.way_out
        assert not re.search(r"pydantic|Input should|type=|Value error|NoneType", str(problem))


@pytest.mark.law
@given(st.integers(0, 50), st.integers(0, 50))
def test_an_account_that_does_not_add_up_cannot_be_made(read: int, used: int) -> None:
    account = RowAccount(file="a", sha256="", size=0, read=read, used=read)
    if used != read:
        with pytest.raises(AssertionError, match="does not add up"):
            replace(account, used=used)


@given(st.text())
def test_shown_text_is_one_short_line(text: str) -> None:
    line = shown(text)
    assert len(line.splitlines()) == 1
    assert len(line) <= 63


# ---------------------------------------------------------------------------- numbers as the field writes them


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("0.2%", "mol/mol", 0.002),
        ("0.2 vol%", "mol/mol", 0.002),
        ("2 °F", "delta_degC", 2 / 1.8),
        ("72 °F", "K", (72 + 459.67) / 1.8),
        ("3.5 in. W.C.", "Pa", 3.5 * 249.08891),
        ('-0.02"wc', "Pa", -0.02 * 249.08891),
        ("80 MBH", "W", 80e3 * 1055.05585262 / 3600),
        ("80000 btuh", "W", 80e3 * 1055.05585262 / 3600),
        ("1030 Btu/cf", "J/m^3", 1030 * 1055.05585262 / 0.3048**3),
        ("38 MJ/m³", "J/m^3", 38e6),
        ("2 cu ft", "m^3", 2 * 0.3048**3),
        ("690 ft.", "m", 690 * 0.3048),
        ("973 acfm", "m^3/s", 973 * 0.3048**3 / 60),  # no attofeet
    ],
)
def test_units_may_be_written_as_the_field_writes_them(text: str, unit: str, expected: float) -> None:
    """Factors by hand: exact inch, pound and conventional inch of water; the international table's Btu."""
    assert read_number(text, unit, "value") == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("80,000 Btu/h", "W", "holds a comma, which may be of decimals or of thousands"),
        ("120 F", "K", "given in 'F'"),  # a letter may be the farad
        ("20 mg/m3", "mol/mol", "no factor turns 'mg/m3'"),
        ("0.5 inWC", "W", "not a unit"),
        ("5", "Pa", "has no unit"),
        ("80 MBtu", "W", "a thousand Btu or a million"),  # of a thousand, or of a million
        ("5 % of reading", "1", "not a unit"),
        ("78 Nl/min", "m^3/s", "no factor turns"),  # of normal litres, not nanolitres
        ("78 al/min", "m^3/s", "not a unit"),
        ("78 dcfm", "m^3/s", "not a unit"),  # of dry gas, not decifeet
    ],
)
def test_a_number_that_may_mean_two_things_is_refused(text: str, unit: str, message: str) -> None:
    with pytest.raises(UnitError, match=message):
        read_number(text, unit, "value")


def test_accuracies_take_the_fields_units(write_visit: Writer) -> None:
    accuracy = (
        'flue_temperature = { absolute = "±3.6 °F", resolution = "0.1 °C", span = ["32 °F", "932 °F"] }'
    )
    swap = {"[instruments.analyzer.accuracy]": f"[instruments.analyzer.accuracy]\n{accuracy}"}
    found = accuracy_of(open_visit(write_visit(swap=swap)).plan, "flue_temperature")
    assert (found.absolute, found.resolution) == (pytest.approx(2.0), pytest.approx(0.1))
    assert found.span == (pytest.approx(273.15), pytest.approx(773.15))


def test_a_limit_in_the_fields_units_is_judged_by(write_visit: Writer) -> None:
    read = '[readings]\ndraft_breech = "-0.02 in. w.c."\n'
    limit = '[limits.draft_breech]\nvalue = "-0.01inWC"\nsource = "house rule"\n'
    visit = open_visit(write_visit(swap={"[[test_points]]": f"{read}{limit}[[test_points]]"}))
    (judged,) = (one for one in audit(visit).results["judgements"] if "house rule" in one["source"])
    assert judged["limit_high"] == pytest.approx(-2.4908891)


@pytest.mark.parametrize(
    ("swap", "message"),
    [
        ({'type = "furnace"': 'type = "furnace"\nrated_input = "80 MBtu/h"'}, "a thousand Btu or a million"),
        (
            {"[logs.columns]": '[logs.columns]\nPower = { quantity = "electric_power", unit = "MBtu/h" }'},
            "a thousand Btu or a million",
        ),
        ({"[appliance]": 'barometric_pressure = "101.3 Pa"\n[appliance]'}, "outside of what it can be"),
        ({"[appliance]": 'elevation = "690m"\n[appliance]'}, "has no blank between number and unit"),
        ({'of_reading = "5 percent"': 'of_reading = "5 ppm"'}, "a share of it"),
        ({'absolute = "5 ppm"': 'absolute = "5 %"'}, "more than its whole span"),
        (
            {"[[test_points]]": '[[test_points]]\nmeter = { dial = "2 ft^3", seconds = [92, 7] }'},
            "the tries at the meter took 7 s and 92 s",
        ),
        (
            {
                "[[test_points]]": "[[test_points]]\n"
                'meter = { dial = "2 ft^3", seconds = [92.7], temperature = "60 delta_degF" }'
            },
            "a difference, and a temperature is asked for",
        ),
    ],
)
def test_a_slip_of_unit_or_mark_is_told(write_visit: Writer, swap: dict[str, str], message: str) -> None:
    with pytest.raises(VisitError, match=message):
        open_visit(write_visit(swap=swap))


def test_a_limit_may_be_in_thousands_of_btu(write_visit: Writer) -> None:
    limit = '[limits.heat_input_clocked]\nvalue = "90 MBH"\nholds = "at most"\nsource = "house rule"\n'
    visit = open_visit(write_visit(swap={"[[test_points]]": f"{limit}[[test_points]]"}))
    assert visit.plan.limits["heat_input_clocked"].value == "90 MBH"
