"""Logs kept in workbooks and Parquet files come out as the same log written as text does."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from fluewright.visit import Cell, Readings, VisitError, check_visit, open_visit, start_visit
from fluewright.visit.proposal import propose_log
from fluewright.visit.schema import Attendance, Instrument, Log
from fluewright.visit.tidy import read_log

Writer = Callable[..., Path]
START = dt.datetime(2026, 1, 14, 10)
TIMES = [START + dt.timedelta(seconds=5 * row) for row in range(4)]
NAMES = ["Time", "O2", "CO"]
ATTENDANCE = Attendance(date=dt.date(2026, 1, 14), time_zone="America/New_York")
INSTRUMENTS = {
    "analyzer": Instrument.model_validate(
        {
            "description": "analyzer",
            "accuracy": {"carbon_monoxide_dry": {"absolute": "5 ppm", "span": ["0 ppm", "4000 ppm"]}},
        }
    )
}


def workbook(*rows: Sequence[object], more: Mapping[str, Sequence[Sequence[object]]] | None = None) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for name, others in (more or {}).items():
        sheet = book.create_sheet(name)
        for row in others:
            sheet.append(row)
    sink = io.BytesIO()
    book.save(sink)
    return sink.getvalue()


def parquet(**columns: Any) -> bytes:
    sink = io.BytesIO()
    pq.write_table(pa.table(columns), sink)
    return sink.getvalue()


def read(folder: Path, content: bytes, **log: Any) -> Readings:
    path = folder / "log.table"
    path.write_bytes(content)
    columns = {
        "O2": {"quantity": "oxygen_dry", "unit": "percent"},
        "CO": {"quantity": "carbon_monoxide_dry", "unit": "ppm"},
    }
    entry = {
        "file": path.name,
        "instrument": "analyzer",
        "time": {"column": "Time"},
        "columns": columns,
        **log,
    }
    made = Log.model_validate(entry)
    return read_log(path, log=made, attendance=ATTENDANCE, instruments=INSTRUMENTS).readings


def test_a_cell_shown_in_percent_is_read_as_it_is_shown(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    for row in (NAMES, [TIMES[0], 0.051, 31], [TIMES[1], 5.2, 32]):
        book.active.append(row)
    book.active["B2"].number_format = "0.0%"
    sink = io.BytesIO()
    book.save(sink)
    readings = read(tmp_path, sink.getvalue())
    np.testing.assert_allclose(readings.frame["oxygen_dry"], [0.051, 0.052], rtol=1e-12)
    (column, _) = propose_log(tmp_path / "log.table").columns
    assert (column.quantity, column.unit) == ("oxygen_dry", "percent")
    with pytest.raises(
        VisitError, match=r"'5.1 %' in column 'O2' .*Put the cell into 1, or write .*\"percent\""
    ):
        read(tmp_path, sink.getvalue(), columns={"O2": {"quantity": "oxygen_dry", "unit": "1"}})


ROWS = [[time, 5.1 + row / 10, 31 + row] for row, time in enumerate(TIMES)]


def holds_the_rows(readings: Readings, rows: int = 4) -> None:
    frame = readings.frame
    assert [stamp.strftime("%H:%M:%S") for stamp in frame.index] == [
        f"{time:%H:%M:%S}" for time in TIMES[:rows]
    ]
    np.testing.assert_allclose(frame["oxygen_dry"] * 100, [5.1, 5.2, 5.3, 5.4][:rows])
    np.testing.assert_allclose(frame["carbon_monoxide_dry"] * 1e6, [31, 32, 33, 34][:rows])


def test_a_workbook_is_read_as_its_text_would_be(tmp_path: Path) -> None:
    readings = read(tmp_path, workbook(NAMES, *ROWS))
    holds_the_rows(readings)
    (account,) = readings.accounts
    assert (account.read, account.used, account.set_aside) == (4, 4, ())
    assert account.size == (tmp_path / "log.table").stat().st_size
    assert len(account.sha256) == 64


def test_preamble_units_row_blank_rows_footer_and_words_of_a_sheet_are_accounted_for(tmp_path: Path) -> None:
    rows = [
        ["Boiler room"],
        [],
        [*NAMES, "spare"],
        [None, "%", "ppm"],
        ROWS[0],
        [],
        [TIMES[1], 5.2, "OVER"],
        [TIMES[2], "#DIV/0!", ">3000"],
        [TIMES[3], "---", 34, None, None, None],
        ["Mean", 5.25, 32],
    ]
    readings = read(tmp_path, workbook(*rows), header_row=3)
    (account,) = readings.accounts
    aside = {part.reason: (part.rows, part.first_row) for part in account.set_aside}
    assert aside == {"units row": (1, 4), "blank line": (1, 6), "text row": (1, 10)}
    assert account.used == 4
    assert readings.states["carbon_monoxide_dry"].tolist() == [
        Cell.NUMBER,
        Cell.OVER_RANGE,
        Cell.OVER_RANGE,
        Cell.NUMBER,
    ]
    np.testing.assert_allclose(readings.lower_bounds["carbon_monoxide_dry"].iloc[1:3] * 1e6, [4000, 3000])
    assert readings.states["oxygen_dry"].tolist() == [0, 0, Cell.NO_NUMBER, Cell.NO_NUMBER]


def test_decimal_commas_written_as_text_stand_beside_numbers(tmp_path: Path) -> None:
    rows = [[time, f"5,{row + 1}" if row % 2 else 5.1 + row / 10, 31 + row] for row, time in enumerate(TIMES)]
    holds_the_rows(read(tmp_path, workbook(NAMES, *rows), decimal=","))


def test_a_date_column_and_a_time_column_of_a_sheet(tmp_path: Path) -> None:
    rows = [[time.date(), time.time(), *ROWS[row][1:]] for row, time in enumerate(TIMES)]
    book = workbook(["Date", "Clock", "O2", "CO"], *rows)
    holds_the_rows(read(tmp_path, book, time={"date_column": "Date", "time_column": "Clock"}))


def test_times_a_sheet_keeps_as_times_do_not_pass_for_written_ones(tmp_path: Path) -> None:
    """A sheet that turned some day-first dates into months would be mixed up in silence."""
    rows = [["13/01/2026 10:00:00", 5.1, 31], [dt.datetime(2026, 1, 2, 10), 5.2, 32]]
    with pytest.raises(VisitError, match=r"'2026-01-02 10:00:00' cannot be read \(log.table, row 3\)"):
        read(tmp_path, workbook(NAMES, *rows), time={"column": "Time", "format": "%d/%m/%Y %H:%M:%S"})


def test_which_of_several_sheets_is_asked(tmp_path: Path) -> None:
    book = workbook(["nothing here"], more={"Log": [NAMES, *ROWS]})
    with pytest.raises(VisitError, match=r"has the sheets 'Sheet', 'Log'.*Write sheet ="):
        read(tmp_path, book)
    with pytest.raises(VisitError, match=r"there is no sheet 'Logs'.*'Sheet', 'Log'"):
        read(tmp_path, book, sheet="Logs")
    holds_the_rows(read(tmp_path, book, sheet="Log"))


def test_a_sheet_of_a_file_that_has_none_is_told(write_visit: Writer) -> None:
    folder = write_visit(swap={'file = "flue.csv"\n': 'file = "flue.csv"\nsheet = "Log"\n'})
    with pytest.raises(
        VisitError,
        match=r"the sheet 'Log' is named of 'flue.csv', which is a text file \(visit.toml, line 19, logs.sheet\): "
        r"only a workbook \(.xlsx\) has sheets. Take sheet out",
    ):
        open_visit(folder)
    (folder / "flue.csv").write_bytes(parquet(Time=["2026-01-14 10:00:00"], O2=[5.0], CO=[31], T=[400]))
    assert any("which is a Parquet file" in problem.what for problem in check_visit(folder))
    (folder / "flue.csv").write_bytes(workbook(NAMES, *ROWS))
    assert not any("which is a" in problem.what for problem in check_visit(folder))


@pytest.mark.parametrize(
    "damage",
    [
        lambda content: content[: len(content) // 2],
        lambda content: content[:200] + b"\0" * 400 + content[600:],
        lambda content: b"PK\x03\x04 not a workbook",
        lambda content: b"PAR1 not Parquet",
    ],
)
def test_a_damaged_table_is_a_clear_error(tmp_path: Path, damage: Any) -> None:
    with pytest.raises(VisitError, match=r"cannot be read.*log\.table.*Export it again"):
        read(tmp_path, damage(workbook(NAMES, *ROWS)))


def test_an_old_workbook_is_told_as_one(tmp_path: Path) -> None:
    with pytest.raises(VisitError, match=r"of the old kind.*Save it as \.xlsx"):
        read(tmp_path, b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 512)


def test_an_empty_sheet_is_an_empty_log(tmp_path: Path) -> None:
    with pytest.raises(VisitError, match=r"the log is empty"):
        read(tmp_path, workbook())


@pytest.mark.parametrize(
    "times",
    [
        pa.array(TIMES, pa.timestamp("us")),
        pa.array(TIMES, pa.timestamp("ns")),
        pa.array([time + dt.timedelta(hours=5) for time in TIMES], pa.timestamp("ms", "UTC")),
        pa.array([time + dt.timedelta(hours=5) for time in TIMES], pa.timestamp("us", "Europe/Berlin")),
        pa.array([str(time) for time in TIMES]),
    ],
    ids=["µs", "ns", "UTC", "zone", "text"],
)
def test_parquet_is_read_as_its_text_would_be(tmp_path: Path, times: pa.Array) -> None:
    oxygen = pa.array([5.1, 5.2, 5.3, 5.4], pa.float32())
    readings = read(tmp_path, parquet(Time=times, O2=oxygen, CO=pa.array([31, 32, 33, 34])))
    holds_the_rows(readings)
    assert readings.accounts[0].read == 4


def test_what_parquet_holds_instead_of_numbers(tmp_path: Path) -> None:
    content = parquet(
        Time=pa.array([*TIMES[:3], None]),
        O2=pa.array([5.1, None, float("nan"), 5.4]),
        CO=pa.array(["31", "OVER", 'a "word"\nin two lines', "34"]).dictionary_encode(),
    )
    with pytest.raises(
        VisitError, match=r"'a \"word\" in two lines' in column 'CO' at 10:00:10 \(log.table, row 4\)"
    ):
        read(tmp_path, content)
    readings = read(tmp_path, content, set_aside=[{"rows": [4, 4], "because": "a remark"}])
    assert {part.reason: part.rows for part in readings.accounts[0].set_aside} == {
        "set aside in visit.toml: a remark": 1,
        "no time": 1,
    }
    assert readings.states["oxygen_dry"].tolist() == [Cell.NUMBER, Cell.EMPTY]


def test_parquet_names_its_columns_itself(tmp_path: Path) -> None:
    content = parquet(Time=pa.array(TIMES), O2=pa.array([5.0] * 4), CO=pa.array([30] * 4))
    with pytest.raises(VisitError, match=r"header_row is 3.*Leave header_row out"):
        read(tmp_path, content, header_row=3)
    nested = parquet(Time=pa.array(TIMES), O2=pa.array([[1.0]] * 4), CO=pa.array([30] * 4))
    with pytest.raises(VisitError, match=r"Parquet cannot be read"):
        read(tmp_path, nested)


def test_the_same_visit_as_text_workbook_and_parquet(write_visit: Writer) -> None:
    folder = write_visit()
    text = open_visit(folder).readings
    frame = pd.read_csv(folder / "flue.csv", parse_dates=["Time"])
    sink = io.BytesIO()
    frame.to_parquet(sink, index=False)
    rows = [[stamp.to_pydatetime(), *row] for stamp, *row in frame.itertuples(index=False)]
    for content in (sink.getvalue(), workbook(list(frame), *rows)):
        (folder / "flue.csv").write_bytes(content)
        assert check_visit(folder) == ()
        table = open_visit(folder).readings
        pd.testing.assert_frame_equal(table.frame, text.frame)
        assert table.accounts[0].used == text.accounts[0].used


def test_a_column_map_is_proposed_for_a_workbook(tmp_path: Path) -> None:
    (tmp_path / "flue.xlsx").write_bytes(workbook(["Date", "Time", "O2 [%]", "CO [ppm]"], *_split_rows()))
    proposal = propose_log(tmp_path / "flue.xlsx")
    assert list(proposal.time) == ['time = { date_column = "Date", time_column = "Time" }']
    assert dict(proposal.dialect) == {}
    assert {one.name: (one.quantity, one.unit, one.doubt) for one in proposal.columns} == {
        "O2 [%]": ("oxygen_dry", "percent", ""),
        "CO [ppm]": ("carbon_monoxide_dry", "ppm", ""),
    }
    assert proposal.date == "2026-01-14"


def _split_rows() -> list[list[object]]:
    return [[time.date(), time.time(), *ROWS[row][1:]] for row, time in enumerate(TIMES)]


def test_a_column_map_is_proposed_for_parquet(tmp_path: Path) -> None:
    content = parquet(**{"Time": pa.array(TIMES), "O2 (%)": pa.array([5.0, 5.1, 5.2, 5.3])})
    (tmp_path / "flue.parquet").write_bytes(content)
    proposal = propose_log(tmp_path / "flue.parquet")
    assert list(proposal.time) == ['time = { column = "Time" }']
    assert [(one.quantity, one.unit, one.doubt) for one in proposal.columns] == [
        ("oxygen_dry", "percent", "")
    ]


def test_a_visit_started_with_several_sheets_asks_for_one(tmp_path: Path) -> None:
    (tmp_path / "flue.xlsx").write_bytes(workbook(["Time", "O2 [%]", "CO [ppm]"], *ROWS, more={"Notes": []}))
    plan = start_visit(tmp_path / "visit", logs=[tmp_path / "flue.xlsx"])
    text = plan.read_text(encoding="utf-8")
    assert '# The workbook has the sheets "Sheet", "Notes"' in text
    assert any("sheet" in str(problem) for problem in check_visit(plan.parent))


@pytest.mark.parametrize(
    ("number_format", "written", "expected"),
    [
        ("0.0%", 0.051, 0.051),
        ('0.0"%"', 5.1, 0.051),
        ("0.0\\%", 5.1, 0.051),
        ("0.00%;[Red]-0.00%", 0.051, 0.051),
    ],
)
def test_a_percent_sign_counts_where_the_sheet_multiplies_by_it(
    tmp_path: Path, number_format: str, written: float, expected: float
) -> None:
    """Also far below the first rows: an analyzer zeroes itself for minutes before it shows numbers."""
    book = openpyxl.Workbook()
    book.active.append(NAMES)
    for row in range(300):
        shown = "zeroing" if row < 250 else written
        book.active.append([START + dt.timedelta(seconds=row), shown, 31])
    for (cell,) in book.active["B252:B301"]:
        cell.number_format = number_format
    sink = io.BytesIO()
    book.save(sink)
    found = read(tmp_path, sink.getvalue()).frame["oxygen_dry"]
    assert found.notna().sum() == 50
    assert found.dropna().to_numpy() == pytest.approx(expected)


def test_of_several_sheets_that_with_the_rows_is_proposed(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(workbook(["Report of the test"], ["by the tester"], more={"Data": [NAMES, *ROWS]}))
    found = propose_log(path)
    assert [column.quantity for column in found.columns] == ["oxygen_dry", "carbon_monoxide_dry"]
    assert any('the columns below are of "Data"' in line for line in found.time)
