"""Awkward logs, made by hand: each with what must come out of it."""

from __future__ import annotations

import codecs
import csv
import datetime as dt
import io
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fluewright.visit import Cell, Readings, VisitError
from fluewright.visit.problems import RefusalError
from fluewright.visit.schema import Attendance, Instrument, Log
from fluewright.visit.tidy import read_log
from fluewright.visit.times import moment_on_utc
from fluewright.visit.wordings import contradiction, unit_of

NAN = float("nan")
ATTENDANCE = Attendance(date=dt.date(2026, 1, 14), time_zone="America/New_York")
INSTRUMENTS = {
    "analyzer": Instrument.model_validate(
        {
            "description": "analyzer",
            "accuracy": {
                "oxygen_dry": {"absolute": "0.2 percent"},
                "carbon_monoxide_dry": {"absolute": "5 ppm", "span": ["0 ppm", "4000 ppm"]},
            },
        }
    )
}
O2_AND_CO = {"O2": ("oxygen_dry", "percent"), "CO": ("carbon_monoxide_dry", "ppm")}


def read(
    path: Path,
    content: str | bytes,
    columns: Mapping[str, tuple[str, str]] = O2_AND_CO,
    zone: str = "America/New_York",
    despite: str | None = None,
    **log: Any,
) -> Readings:
    file = path / "log.csv"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    entry = {
        "file": "log.csv",
        "instrument": "analyzer",
        "time": {"column": "Time"},
        "columns": {
            name: {"quantity": quantity, "unit": unit, "despite_heading": despite}
            for name, (quantity, unit) in columns.items()
        },
        **log,
    }
    attendance = ATTENDANCE.model_copy(update={"time_zone": zone})
    return read_log(
        file, log=Log.model_validate(entry), attendance=attendance, instruments=INSTRUMENTS
    ).readings


@dataclass(frozen=True)
class Case:
    """A log, how visit.toml describes it, and what must come out.

    `times` are local times of the day that rows must have, `oxygen` [percent] and `co` [ppm] their readings, `aside`
    the rows set aside for each reason. Rows that are neither are an error of the reader.
    """

    content: str | bytes
    log: dict[str, Any] = field(default_factory=dict)
    times: str = "10:00:00 10:00:05"
    oxygen: tuple[float, ...] | None = (5.1, 5.2)
    co: tuple[float, ...] | None = (31.0, 32.0)
    aside: dict[str, int] = field(default_factory=dict)
    note: str = ""
    zone: str = "America/New_York"


HEAD = "Time,O2,CO\n"
ROWS = "2026-01-14 10:00:00,5.1,31\n2026-01-14 10:00:05,5.2,32\n"
PLAIN = HEAD + ROWS
SEMICOLON = "Time;O2;CO\n2026-01-14 10:00:00;5,1;31\n2026-01-14 10:00:05;5,2;32\n"
COMMA = {"delimiter": ";", "decimal": ","}


def clock(form: str, *cells: str, column: str = "column") -> Case:
    rows = "".join(f'"{cell}",5.{number},3{number}\n' for number, cell in enumerate(cells, start=1))
    return Case(HEAD + rows, {"time": {column: "Time", "format": form}})


def elapsed(*cells: str, times: str = "10:00:00 10:00:05", **time: str) -> Case:
    made = clock("elapsed", *cells)
    time |= made.log["time"]
    return Case(made.content, {"time": {**time, "start": dt.datetime(2026, 1, 14, 10)}}, times)


def cell(o2: str, oxygen: float, **log: Any) -> Case:
    return Case(
        f"Time|O2|CO\n2026-01-14 10:00:00|{o2}|31\n",
        {"delimiter": "|", **log},
        "10:00:00",
        (oxygen,),
        (31.0,),
    )


CASES: dict[str, Case] = {
    # dialects
    "plain": Case(PLAIN),
    "semicolon and decimal comma": Case(SEMICOLON, COMMA),
    "tab": Case(PLAIN.replace(",", "\t"), {"delimiter": "\t"}),
    "pipe": Case(PLAIN.replace(",", "|"), {"delimiter": "|"}),
    "carriage returns and line feeds": Case(PLAIN.replace("\n", "\r\n")),
    "carriage returns alone": Case(PLAIN.replace("\n", "\r")),
    "no line feed at the end": Case(PLAIN.rstrip("\n")),
    "quoted": Case("".join(f'"{line}"\n'.replace(",", '","') for line in PLAIN.splitlines())),
    "decimal comma in quotes": Case(
        HEAD + ROWS.replace("5.1", '"5,1"').replace("5.2", '"5,2"'), {"decimal": ","}
    ),
    "blanks around cells": Case(PLAIN.replace(",", " , ")),
    "blanks around names": Case(PLAIN.replace("O2", " O2 ")),
    "a minus as pages write it": cell("\u22120.1", -0.1),
    # encodings
    "byte order mark": Case(codecs.BOM_UTF8 + PLAIN.encode()),
    "UTF-16 little": Case(codecs.BOM_UTF16_LE + PLAIN.encode("utf-16-le")),
    "UTF-16 big": Case(codecs.BOM_UTF16_BE + PLAIN.encode("utf-16-be")),
    "UTF-16 without mark": Case(PLAIN.encode("utf-16-le"), {"encoding": "utf-16-le"}),
    "Latin-1": Case(PLAIN.replace("\n", ",°\n").encode("latin-1"), {"encoding": "latin-1"}),
    "null bytes after the last row": Case(PLAIN.encode() + b"\0" * 40, aside={"blank line": 1}),
    # lines that are not readings
    "preamble": Case(
        "Serial;12\n\nSite;Hall\n" + SEMICOLON, {**COMMA, "header_row": 4}, note="3 lines above"
    ),
    "units row": Case(HEAD + "yyyy-mm-dd,%,ppm\n" + ROWS, aside={"units row": 1}),
    "units row with a blank time": Case(HEAD + ",%,ppm\n" + ROWS, aside={"units row": 1}),
    "units row that names a switch": Case(
        PLAIN.replace("CO\n", "CO,Fan\n,%,ppm,on\n", 1).replace("31\n", "31,1\n").replace("32\n", "32,0\n"),
        {"columns": {**O2_AND_CO, "Fan": ("blower_on", "1")}},
        aside={"units row": 1},
    ),
    "no column names": Case(
        ROWS,
        {
            "header_row": 0,
            "time": {"column": "column 1"},
            "columns": {"column 2": O2_AND_CO["O2"], "column 3": O2_AND_CO["CO"]},
        },
    ),
    "names again in mid-file": Case(PLAIN.replace("32\n", "32\n" + HEAD), aside={"column names again": 1}),
    "blank lines": Case(PLAIN.replace("31\n", "31\n\n\n"), aside={"blank line": 2}),
    "lines of delimiters": Case(PLAIN + ",,\n", aside={"blank line": 1}),
    "summary below": Case(PLAIN + "Average,5.15,31.5\nMax,5.2,32\n", aside={"text row": 2}),
    "remark in mid-file": Case(PLAIN.replace("31\n", "31\nprobe moved\n"), aside={"text row": 1}),
    "remark with commas": Case(
        PLAIN.replace("31\n", "31\nprobe moved, again, and again\n"), aside={"text row": 1}
    ),
    "reading without time": Case(PLAIN + ",5.3,33\n", aside={"no time": 1}),
    "cut last line": Case(PLAIN + "2026-01-14 10:00:10,5", aside={"2 cells where a row has 3": 1}),
    "cell too many": Case(PLAIN + "2026-01-14 10:00:10,5,3,33\n", aside={"4 cells where a row has 3": 1}),
    "quote not closed": Case(
        PLAIN + '2026-01-14 10:00:10,"5.3,33\n', aside={"a quotation mark is not closed": 1}
    ),
    "quote not closed after an inch mark": Case(
        PLAIN + '4" vent,"5.3,33\n2026-01-14 10:00:10,5.3,33\n',
        times="10:00:00 10:00:05 10:00:10",
        oxygen=(5.1, 5.2, 5.3),
        co=(31, 32, 33),
        aside={"a quotation mark is not closed": 1},
    ),
    "line feed in a quoted cell": Case(
        PLAIN + '2026-01-14 10:00:10,5.3,"33\n"\n', aside={"a quotation mark is not closed": 2}
    ),
    "quotes in a quoted cell": Case(
        PLAIN.replace("5.1", '"5.1"') + '"a ""remark""",,\n', aside={"text row": 1}
    ),
    "inch mark in a remark": Case(PLAIN + 'remark on the 4" vent,,\n', aside={"text row": 1}),
    # columns
    "columns in another order": Case("CO,Time,O2\n31,2026-01-14 10:00:00,5.1\n32,2026-01-14 10:00:05,5.2\n"),
    "columns not asked for": Case(
        "Time,x,O2,y,CO\n2026-01-14 10:00:00,a,5.1,b,31\n", {}, "10:00:00", (5.1,), (31.0,)
    ),
    "blank column": Case(PLAIN.replace("O2,", "O2,,").replace(".1,", ".1,,").replace(".2,", ".2,,")),
    "delimiter at the end of names and rows": Case(PLAIN.replace("\n", ",\n")),
    "delimiter at the end of rows only": Case(HEAD + ROWS.replace("\n", ",\n")),
    "delimiter at the end of names only": Case(HEAD.replace("\n", ",\n") + ROWS),
    "two columns of one name": Case(
        "Time,O2,O2,CO\n2026-01-14 10:00:00,5.1,9,31\n",
        {"columns": {"column 2": O2_AND_CO["O2"], "CO": O2_AND_CO["CO"]}},
        "10:00:00",
        (5.1,),
        (31.0,),
    ),
    "name with a comma": Case(
        PLAIN.replace("O2", '"O2, dry"'),
        {"columns": {"O2, dry": O2_AND_CO["O2"], "CO": O2_AND_CO["CO"]}},
    ),
    # cells
    "empty cells": Case(PLAIN.replace("5.1", "").replace("32", ""), {}, oxygen=(NAN, 5.2), co=(31.0, NAN)),
    "decimal comma between pipes": cell("0,5", 0.5, decimal=","),
    "plus sign": cell("+5.1", 5.1),
    "no zero before the point": cell(".5", 0.5),
    "no figure after the point": cell("5.", 5.0),
    "powers of ten": cell("5.1e0", 5.1),
    "slightly negative, within the accuracy": cell("-0.1", -0.1),
    "sentinel": cell("-999", NAN),
    "not a number": cell("NaN", NAN),
    "hash": cell("#N/A", NAN),
    "dashes": cell("---", NAN),
    "below range": cell("<0.1", NAN),
    "no-break blank": cell("\u00a05.1\u00a0", 5.1),
    # time
    "ISO with T": clock("ISO", "2026-01-14T10:00:00", "2026-01-14T10:00:05"),
    "ISO with zone": clock("ISO", "2026-01-14T15:00:00Z", "2026-01-14T10:00:05-05:00"),
    "ISO with fractions": clock("ISO", "2026-01-14 10:00:00.000", "2026-01-14 10:00:05,000"),
    "ISO without seconds": Case(
        HEAD + "2026-01-14 10:00,5.1,31\n2026-01-14 10:01,5.2,32\n", times="10:00:00 10:01:00"
    ),
    "day first": clock("%d/%m/%Y %H:%M:%S", "14/01/2026 10:00:00", "14/01/2026 10:00:05"),
    "month first": clock("%m/%d/%Y %H:%M:%S", "01/14/2026 10:00:00", "1/14/2026 10:00:05"),
    "day and month in points": clock("%d.%m.%y %H:%M:%S", "14.01.26 10:00:00", "14.01.26 10:00:05"),
    "month as a word": clock("%d %b %Y %H:%M:%S", "14 Jan 2026 10:00:00", "14 Jan 2026 10:00:05"),
    "twelve hours": clock("%m/%d/%Y %I:%M:%S %p", "01/14/2026 10:00:00 AM", "01/14/2026 10:00:05 am"),
    "twelve hours past midnight and noon": Case(
        HEAD + "01/14/2026 12:00:00 AM,5.1,31\n01/14/2026 12:00:05 PM,5.2,32\n",
        {"time": {"column": "Time", "format": "%m/%d/%Y %I:%M:%S %p"}},
        "00:00:00 12:00:05",
    ),
    "zone in the pattern": clock(
        "%Y-%m-%d %H:%M:%S %z", "2026-01-14 16:00:00 +0100", "2026-01-14 15:00:05 +0000"
    ),
    "epoch seconds": clock("epoch", "1768402800", "1768402805.0"),
    "epoch milliseconds": clock("epoch", "1768402800000", "1768402805000"),
    "epoch microseconds": clock("epoch", "1768402800000000", "1768402805000000"),
    "clock alone": clock("ISO", "10:00:00", "10:00:05", column="time_column"),
    "clock without leading zero": Case(
        HEAD + "9:59:58,5.1,31\n10:00:05,5.2,32\n", {"time": {"time_column": "Time"}}, "09:59:58 10:00:05"
    ),
    "clock of twelve hours": clock("%I:%M:%S %p", "10:00:00 AM", "10:00:05 AM", column="time_column"),
    "clock past midnight": Case(
        HEAD + "23:59:58,5.1,31\n00:00:03,5.2,32\n",
        {"time": {"time_column": "Time"}},
        "23:59:58 00:00:03",
        note="passes midnight",
    ),
    "clock past midnight, newest first": Case(
        HEAD + "00:00:03,5.3,33\n23:59:58,5.2,32\n23:59:53,5.1,31\n",
        {"time": {"time_column": "Time"}},
        "23:59:53 23:59:58 00:00:03",
        oxygen=(5.1, 5.2, 5.3),
        co=(31, 32, 33),
        note="newest first",
    ),
    "date and clock apart": Case(
        "Date,Time,O2,CO\n14.01.2026,10:00:00,5.1,31\n14.01.2026,10:00:05,5.2,32\n",
        {"time": {"date_column": "Date", "time_column": "Time", "format": "%d.%m.%Y %H:%M:%S"}},
    ),
    "elapsed seconds": Case(
        HEAD + "0,5.1,31\n5.0,5.2,32\n",
        {"time": {"column": "Time", "format": "elapsed", "start": dt.datetime(2026, 1, 14, 10)}},
    ),
    "elapsed minutes": elapsed("0", "0.5", times="10:00:00 10:00:30", unit="min"),
    "elapsed hours": elapsed("0.25", "0.5", times="10:15:00 10:30:00", unit="h"),
    "elapsed milliseconds": elapsed("0", "5000", unit="ms"),
    "elapsed minutes and seconds": elapsed("0:00", "0:05"),
    "elapsed minutes beyond an hour": elapsed("75:05", "75:10.0", times="11:15:05 11:15:10", unit="min"),
    "elapsed hours and minutes": elapsed("0:00", "1:30", times="10:00:00 11:30:00", unit="h"),
    "elapsed hours, minutes and seconds": elapsed("0:00:00", "1:30:05", times="10:00:00 11:30:05", unit="h"),
    "days as workbooks count": clock("serial", "46036.41666666666", "46036.41672453704"),
    "dotted a.m.": clock("%m/%d/%Y %I:%M:%S %p", "01/14/2026 10:00:00 a.m.", "01/14/2026 10:00:05 A. M."),
    "year of two digits": clock("%d.%m.%y %H:%M:%S", "14.01.26 10:00:00", "14.01.26 10:00:05"),
    "elapsed clock": Case(
        HEAD + "0:00:00,5.1,31\n0:00:05,5.2,32\n",
        {"time": {"column": "Time", "format": "elapsed", "start": dt.datetime(2026, 1, 14, 10)}},
    ),
    "elapsed with decimal comma": Case(
        "Time;O2;CO\n0,0;5,1;31\n5,0;5,2;32\n",
        {**COMMA, "time": {"column": "Time", "format": "elapsed", "start": dt.datetime(2026, 1, 14, 10)}},
    ),
    "clock corrected": Case(
        PLAIN.replace("10:00:0", "09:58:0"),
        {"time": {"column": "Time", "offset": "2 minute"}},
        note="120 s added",
    ),
    "newest first": Case(HEAD + "".join(reversed(ROWS.splitlines(keepends=True))), times="10:00:00 10:00:05"),
    "newest first, three rows": Case(
        HEAD + "2026-01-14 10:00:10,5.3,33\n2026-01-14 10:00:05,5.2,32\n2026-01-14 10:00:00,5.1,31\n",
        times="10:00:00 10:00:05 10:00:10",
        oxygen=(5.1, 5.2, 5.3),
        co=(31, 32, 33),
        note="newest first",
    ),
    "same time twice": Case(PLAIN + "2026-01-14 10:00:05,9.9,99\n", aside={"same time as the row before": 1}),
    "through the night the clocks go back": Case(
        HEAD + "2026-11-01 01:59:00,5.1,31\n2026-11-01 01:00:00,5.2,32\n",
        {"columns": {"O2": O2_AND_CO["O2"]}},
        "01:59:00 01:00:00",
        co=None,
    ),
    "into the hour that occurs twice": Case(
        HEAD
        + "".join(f"2026-11-01 {hour},5,30\n" for hour in ("00:59:00", "00:59:30", "01:00:00", "01:00:30")),
        times="00:59:00 00:59:30 01:00:00 01:00:30",
        oxygen=(5, 5, 5, 5),
        co=(30, 30, 30, 30),
    ),
    "the night the clocks go forward": Case(
        HEAD + "2026-03-08 01:59:58,5.1,31\n2026-03-08 03:00:03,5.2,32\n", times="01:59:58 03:00:03"
    ),
    "standard time kept": Case(
        HEAD + "2026-03-08 02:30:00,5.1,31\n2026-03-08 02:30:05,5.2,32\n",
        times="02:30:00 02:30:05",
        zone="Etc/GMT+5",
    ),
    # set aside by a person
    "set aside by rows": Case(
        PLAIN + "2026-01-14 10:00:10,99,33\n",
        {"set_aside": [{"rows": [4, 4], "because": "probe out"}]},
        aside={"set aside in visit.toml: probe out": 1},
    ),
    "set aside by time": Case(
        PLAIN + "2026-01-14 10:00:10,bad,33\n",
        {"set_aside": [{"start": dt.time(10, 0, 8), "end": dt.time(10, 1), "because": "probe out"}]},
        aside={"set aside in visit.toml: probe out": 1},
    ),
    "unreadable time set aside": Case(
        PLAIN + "10 o'clock,5.3,33\n",
        {"set_aside": [{"rows": [4, 4], "because": "power cut"}]},
        aside={"time cannot be read": 1},
    ),
    "gap": Case(
        HEAD
        + "".join(f"2026-01-14 {time},5.1,31\n" for time in ("10:00:00", "10:00:05", "10:00:10", "10:02:00")),
        times="10:00:00 10:00:05 10:00:10 10:02:00",
        oxygen=(5.1,) * 4,
        co=(31,) * 4,
        note="rows follow each other every 5 s; 1 gap of more than 25 s, the longest 110 s before row 5",
    ),
    "row going back set aside": Case(
        PLAIN + "2026-01-14 09:00:10,5.3,33\n",
        {"set_aside": [{"rows": [4, 4], "because": "clock set"}]},
        aside={"set aside in visit.toml: clock set": 1},
    ),
}


@pytest.mark.parametrize("name", [name for name in CASES if name != "newest first"])
def test_an_awkward_log_is_read(tmp_path: Path, name: str) -> None:
    case = CASES[name]
    readings = read(tmp_path, case.content, zone=case.zone, **case.log)
    assert [f"{time:%H:%M:%S}" for time in readings.frame.index] == case.times.split()
    assert readings.frame.index.is_monotonic_increasing
    if case.oxygen is not None:
        np.testing.assert_allclose(readings.frame["oxygen_dry"] * 100, case.oxygen, rtol=1e-12)
    if case.co is not None:
        np.testing.assert_allclose(readings.frame["carbon_monoxide_dry"] * 1e6, case.co, rtol=1e-12)
    account = readings.accounts[0]
    assert {part.reason: part.rows for part in account.set_aside} == case.aside
    assert account.used == len(readings.frame)
    assert case.note in "; ".join(account.notes)
    if isinstance(case.content, str):
        lines = io.StringIO(case.content, newline=None).read().removesuffix("\n").split("\n")
        assert account.read == len(lines) - case.log.get("header_row", 1)


NUMBERS: Mapping[str, tuple[dict[str, Any], float]] = {  # as carbon monoxide [ppm] may be written
    "1,234.5": ({}, 1234.5),
    "1,234": ({"thousands": ","}, 1234),
    "1.234,5": ({"decimal": ","}, 1234.5),
    "1.234": ({"decimal": ",", "thousands": "."}, 1234),
    "1,234 ": ({"decimal": ","}, 1.234),
    "1 234": ({}, 1234),
    "1 234,5": ({"decimal": ","}, 1234.5),
    "1\u202f234": ({}, 1234),
    "1'234.5": ({}, 1234.5),
    "1’234": ({}, 1234),
    "1.2345E3": ({}, 1234.5),
    "1,2345e+03": ({"decimal": ","}, 1234.5),
    "0001234": ({}, 1234),
    "1234 ppm": ({}, 1234),
    "1234ppmv": ({}, 1234),
    "1.234,5 ppm": ({"decimal": ",", "thousands": "."}, 1234.5),
}
WORDS: Mapping[str, tuple[Cell, float]] = {  # what stands there instead, and the least it can be [ppm]
    "OVER": (Cell.OVER_RANGE, 4000),
    "Over range": (Cell.OVER_RANGE, 4000),
    "OL": (Cell.OVER_RANGE, 4000),
    "++++": (Cell.OVER_RANGE, 4000),
    "^^^": (Cell.OVER_RANGE, 4000),
    "inf": (Cell.OVER_RANGE, 4000),
    ">2000": (Cell.OVER_RANGE, 2000),
    "> 2 000": (Cell.OVER_RANGE, 2000),
    ">=2000": (Cell.OVER_RANGE, 2000),
    "≥2000": (Cell.OVER_RANGE, 2000),
    "4000": (Cell.OVER_RANGE, 4000),  # the top of the span: it may be more
    "O.R.": (Cell.OVER_RANGE, 4000),
    "off scale": (Cell.OVER_RANGE, 4000),
    "OvrRng!": (Cell.OVER_RANGE, 4000),
    "Überlauf": (Cell.OVER_RANGE, 4000),
    "Zu hoch": (Cell.OVER_RANGE, 4000),
    "hors plage": (Cell.OVER_RANGE, 4000),
    "fuera de rango": (Cell.OVER_RANGE, 4000),
    "fuori scala": (Cell.OVER_RANGE, 4000),
    ">2000 ppm": (Cell.OVER_RANGE, 2000),
    "> 2,000.5 ppm": (Cell.OVER_RANGE, 2000.5),
    "<5ppm": (Cell.UNDER_RANGE, NAN),
    "zu niedrig": (Cell.UNDER_RANGE, NAN),
    "Fehler": (Cell.NO_NUMBER, NAN),
    "erreur": (Cell.NO_NUMBER, NAN),
    "sin lectura": (Cell.NO_NUMBER, NAN),
    "guasto": (Cell.NO_NUMBER, NAN),
    "UNDER": (Cell.UNDER_RANGE, NAN),
    "<5": (Cell.UNDER_RANGE, NAN),
    "<<<": (Cell.UNDER_RANGE, NAN),
    "": (Cell.EMPTY, NAN),
    "  ": (Cell.EMPTY, NAN),
    "---": (Cell.NO_NUMBER, NAN),
    "–": (Cell.NO_NUMBER, NAN),
    "****": (Cell.NO_NUMBER, NAN),
    "-.-": (Cell.NO_NUMBER, NAN),
    "Error": (Cell.NO_NUMBER, NAN),
    "purge": (Cell.NO_NUMBER, NAN),
    "n/a": (Cell.NO_NUMBER, NAN),
    "#DIV/0!": (Cell.NO_NUMBER, NAN),
    "NaN": (Cell.NO_NUMBER, NAN),
    "-999": (Cell.NO_NUMBER, NAN),
    "9999": (Cell.OVER_RANGE, 4000),  # beyond the span, and no sentinel where it can be a reading
}


def monoxide(path: Path, cell: str, log: dict[str, Any]) -> Readings:
    content = f"Time|O2|CO\n2026-01-14 10:00:00|5|31\n2026-01-14 10:00:05|5|{cell}\n"
    return read(path, content, {"CO": O2_AND_CO["CO"]}, delimiter="|", **log)


@pytest.mark.parametrize("text", NUMBERS)
def test_a_number_is_read_as_it_is_written(tmp_path: Path, text: str) -> None:
    log, value = NUMBERS[text]
    readings = monoxide(tmp_path, text, log)
    np.testing.assert_allclose(readings.frame["carbon_monoxide_dry"] * 1e6, [31, value], rtol=1e-12)
    assert readings.states.empty


@pytest.mark.parametrize("text", WORDS)
def test_a_word_for_a_number_is_labelled(tmp_path: Path, text: str) -> None:
    state, least = WORDS[text]
    readings = monoxide(tmp_path, text, {})
    np.testing.assert_allclose(readings.frame["carbon_monoxide_dry"] * 1e6, [31, NAN], rtol=1e-12)
    assert readings.states["carbon_monoxide_dry"].tolist() == [Cell.NUMBER, state]
    if np.isnan(least):
        assert readings.lower_bounds.empty
    else:
        np.testing.assert_allclose(readings.lower_bounds["carbon_monoxide_dry"] * 1e6, [NAN, least])
    assert readings.accounts[0].used == 2  # no row is lost for it


def test_two_rows_going_back_are_no_log_newest_first(tmp_path: Path) -> None:
    with pytest.raises(VisitError, match="time goes back"):
        read(tmp_path, CASES["newest first"].content)


@pytest.mark.parametrize(
    ("cell", "meaning", "state", "least"),
    [
        ("ALARM", "over range", Cell.OVER_RANGE, 4000),
        ("wait  for it", "no reading", Cell.NO_NUMBER, NAN),
        ("9998", "no reading", Cell.NO_NUMBER, NAN),
        ("hi", "under range", Cell.UNDER_RANGE, NAN),
        (">4.000", "over range", Cell.OVER_RANGE, 4000),
    ],
)
def test_visit_toml_says_what_a_word_means(
    tmp_path: Path, cell: str, meaning: str, state: Cell, least: float
) -> None:
    readings = monoxide(tmp_path, cell, {"words": {cell.capitalize(): meaning}})
    assert readings.states["carbon_monoxide_dry"].tolist() == [Cell.NUMBER, state]
    assert np.isnan(readings.frame["carbon_monoxide_dry"].iloc[1])
    if np.isfinite(least):
        assert readings.lower_bounds["carbon_monoxide_dry"].iloc[1] * 1e6 == pytest.approx(least)


def test_what_a_word_means_is_one_of_three(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="'over range', 'under range' or 'no reading'"):
        monoxide(tmp_path, "ALARM", {"words": {"ALARM": "danger"}})


def test_a_row_set_aside_for_a_word_keeps_a_trace_of_it(tmp_path: Path) -> None:
    aside = {"set_aside": [{"rows": [3, 3], "because": "a word"}]}
    readings = monoxide(tmp_path, "O.R.", aside)
    assert readings.aside["carbon_monoxide_dry"].iloc[0] * 1e6 == pytest.approx(4000)
    (account,) = monoxide(tmp_path, "ALARM", aside).accounts
    assert any("'ALARM'" in note for note in account.notes)


TEMPERATURES = ("21,5 °C", "21,5°C", "21,5 deg C", "21,5 ° C", "21,5 ºC", "21,5")


def test_cells_may_carry_the_unit_of_their_column(tmp_path: Path) -> None:
    rows = "".join(f"2026-01-14 10:00:0{n};{cell}\n" for n, cell in enumerate(TEMPERATURES))
    readings = read(tmp_path, "Time;T\n" + rows, {"T": ("flue_temperature", "degC")}, **COMMA)
    np.testing.assert_allclose(readings.frame["flue_temperature"], 294.65, rtol=1e-12)
    with pytest.raises(VisitError, match=r"'21,5 °C' in column 'T' .*Put the cell into degF, or .*\"degC\""):
        read(tmp_path, "Time;T\n" + rows, {"T": ("flue_temperature", "degF")}, **COMMA)


DRAFT = {"Draft": ("draft_breech", "Pa")}


def drafts(*cells: str) -> str:
    rows = "".join(f"2026-01-14 10:00:0{number},{cell}\n" for number, cell in enumerate(cells))
    return f"Time,Draft\n{rows}"


def test_a_lone_sentinel_that_could_be_a_reading_is_none_and_told(tmp_path: Path) -> None:
    readings = read(tmp_path, drafts("-12", "-999.9", "-11.5", "-999.9"), DRAFT)
    np.testing.assert_array_equal(readings.frame["draft_breech"], [-12, NAN, -11.5, NAN])
    assert readings.states["draft_breech"].tolist() == [0, Cell.NO_NUMBER, 0, Cell.NO_NUMBER]
    assert any(
        "-999.9 in column 'Draft' is taken for no reading, 2 times" in n for n in readings.accounts[0].notes
    )


@pytest.mark.parametrize(
    "cells",
    [
        ("-12", "-99.8", "-12", "-12"),  # no sentinel
        ("-30", "-99.9", "-98", "-30"),  # among its like
        ("-12", "-30", "-99.9", "-12"),  # a peak with a shoulder
        ("-99.9", "-99.9"),
    ],
)
def test_a_reading_that_happens_to_be_a_sentinel_is_kept(tmp_path: Path, cells: tuple[str, ...]) -> None:
    readings = read(tmp_path, drafts(*cells), DRAFT)
    np.testing.assert_array_equal(readings.frame["draft_breech"], [float(cell) for cell in cells])


def test_no_sentinel_hides_carbon_monoxide(tmp_path: Path) -> None:
    room = {"CO": ("carbon_monoxide_ambient", "ppm")}
    rows = "".join(f"2026-01-14 10:00:0{number},{cell}\n" for number, cell in enumerate(("30", "9999", "31")))
    readings = read(tmp_path, f"Time,CO\n{rows}", room)
    np.testing.assert_allclose(readings.frame["carbon_monoxide_ambient"] * 1e6, [30, 9999, 31], rtol=1e-12)


CONTRADICTED: dict[
    str, tuple[str, str, str, str, str]
] = {  # heading, cell below, quantity, unit, what is told
    "percent for ppm": ("CO [%]", "", "carbon_monoxide_dry", "ppm", "unit % stands in its heading"),
    "percent for ppm, unbracketed": ("CO vol%", "", "carbon_monoxide_dry", "ppm", "unit vol% stands in"),
    "percent below": ("CO", "%", "carbon_monoxide_dry", "ppm", "unit % stands below its heading"),
    "Celsius": ("TF [°C]", "", "flue_temperature", "degF", "unit °C stands in"),
    "Celsius below, in brackets": ("TF", "[°C]", "flue_temperature", "degF", "unit °C stands below"),
    "Celsius below": ("TF", "C", "flue_temperature", "degF", "unit C stands below"),
    "Fahrenheit": ("Stack [F]", "", "flue_temperature", "degC", "unit F stands in"),
    "pascal": ("Draft (Pa)", "", "draft_breech", "inH2O", "unit Pa stands in"),
    "another kind": ("Probe [°C]", "", "oxygen_dry", "percent", "unit °C stands in"),
    "another gas": ("CO2", "", "oxygen_dry", "percent", "names another quantity"),
    "air for flue": ("Combustion air temp", "", "flue_temperature", "degF", "names another quantity"),
    "Celsius, with a blank": ("TF", "° C", "flue_temperature", "degF", "unit ° C stands below"),
    "Celsius, averaged": ("Flue °C avg", "", "flue_temperature", "degF", "unit °C stands in"),
    "Celsius, numbered": ("TF (°C) 1", "", "flue_temperature", "degF", "unit °C stands in"),
    "millimeters for inches": ("Draft", "mmH2O", "draft_breech", "inH2O", "unit mmH2O stands below"),
    "inches of water": ("Draft (inches)", "", "draft_breech", "Pa", "unit inches stands in"),
    "a mass": ("CO", "mg/m³", "carbon_monoxide_dry", "ppm", "no factor turns it into ppm"),
    "parts in a billion": ("CO", "ppb", "carbon_monoxide_dry", "ppm", "unit ppb stands below"),
    "standard volume": ("Gas flow", "scfh", "gas_volume_flow", "ft^3/hour", "no factor turns it into ft"),
}
SPELLED = {
    "degC": ("° C", "Deg. C", "deg C.", "ºC", "˚C", "℃", "oC", "C°", "[°C]"),
    "degF": ("° F", "Deg. F", "ºF", "˚F", "℉"),
    "inH2O": ("in. w.g.", "IN.WG", "inches", '"H2O', "″WC", "in. H2O", "iwc"),
    "mmH2O": ("mmWC", "mmH2O", "mm w.c."),
    "daPa": ("daPa",),
    "percent": ("Vol.-%", "% vol", "%"),
    "permille": ("‰",),
    "ppm": ("ppm (dry)", "ppmv"),
    "ppb": ("ppb",),
    "ccf": ("ccf", "100 cf"),
    "liter/hour": ("l/h",),
    "m^3/hour": ("m3/hr", "m³/h"),
}


@pytest.mark.parametrize("name", CONTRADICTED)
def test_a_map_that_the_log_plainly_contradicts_needs_a_reason(tmp_path: Path, name: str) -> None:
    heading, below, quantity, unit, told = CONTRADICTED[name]
    units = f",{below}\n" if below else ""
    content = f"Time,{heading}\n{units}2026-01-14 10:00:00,5\n"
    with pytest.raises(VisitError, match=rf"column .*{told}.*log.csv, row 1.*despite_heading"):
        read(tmp_path, content, {heading: (quantity, unit)})
    (account,) = read(tmp_path, content, {heading: (quantity, unit)}, despite="the maker's misprint").accounts
    assert any("the maker's misprint" in note and told in note for note in account.notes)


@pytest.mark.parametrize("unit", SPELLED)
def test_a_unit_is_known_as_the_field_writes_it(unit: str) -> None:
    assert {text: unit_of(text) for text in SPELLED[unit]} == dict.fromkeys(SPELLED[unit], unit)


def test_inches_of_a_barometer_are_of_mercury() -> None:
    assert contradiction("Baro (inches)", "", quantity="barometric_pressure", unit="inHg") == ""
    assert contradiction("Baro (inches)", "", quantity="barometric_pressure", unit="hPa")


ROWS_OF_UNITS = [  # row below the headings of O2, CO, T flue and T air, which are in degC; what is told of T flue
    (",,K,K", "'K' of column 'TF' may be a type of thermocouple"),
    ("S1,S2,K,J", ""),
    ("A,B,C,D", ""),
    ("%,ppm,K,J", "'K' of column 'TF' may be a type of thermocouple"),
    ("%,ppm,K,°C", "unit K stands below"),
    ("%,ppm,F,h", "unit F stands below"),
    (",,F,F", "unit F stands below"),
    ("%,ppm,mystery,°C", "units row: 'mystery' of column 'TF' is not known; the map's unit was taken, degC"),
    ("%,ppm,-,°C", ""),
    ("O2 cell,CO cell,probe 1,°C", ""),
]


@pytest.mark.parametrize(("below", "told"), ROWS_OF_UNITS)
def test_a_letter_or_a_strange_word_is_judged_by_its_row(tmp_path: Path, below: str, told: str) -> None:
    content = f"Time,O2,CO,TF,TA\n,{below}\n2026-01-14 10:00:00,5.1,31,20.5,20.1\n"
    columns = {"TF": ("flue_temperature", "degC")}
    if told.startswith("unit "):
        with pytest.raises(VisitError, match=told):
            read(tmp_path, content, columns)
        return
    notes = [note for note in read(tmp_path, content, columns).accounts[0].notes if "units row" in note]
    assert [told in note for note in notes] == [True] * bool(told)


def test_what_a_units_row_says_of_a_switch_is_not_asked_about(tmp_path: Path) -> None:
    content = "Time,O2,CO,TF,Blower\n,%,ppm,degC,on\n2026-01-14 10:00:00,5.1,31,20.5,1\n"
    columns = {"TF": ("flue_temperature", "degC"), "Blower": ("blower_on", "1")}
    assert not [note for note in read(tmp_path, content, columns).accounts[0].notes if "Blower" in note]


@pytest.mark.parametrize("written", ["° F", "ºF", "Deg. F", "℉"])
def test_the_map_may_write_a_unit_as_the_field_does(tmp_path: Path, written: str) -> None:
    content = "Time,TF\n2026-01-14 10:00:00,212\n"
    readings = read(tmp_path, content, {"TF": ("flue_temperature", written)})
    assert readings.frame["flue_temperature"].iloc[0] == pytest.approx(373.15)
    assert readings.channels["flue_temperature"].unit == "degF"


def test_a_mass_in_a_volume_is_refused_as_the_unit_of_a_gas(tmp_path: Path) -> None:
    with pytest.raises(
        ValueError, match=r"no factor turns that into a unit of it.*Have the instrument write it in ppm"
    ):
        read(tmp_path, "Time,CO\n2026-01-14 10:00:00,30\n", {"CO": ("carbon_monoxide_dry", "mg/m3")})


ELAPSED = [  # heading, cell below, unit in visit.toml, what is told
    ("Elapsed [min]", "", "s", "read in s, and the unit min stands in its heading"),
    ("Elapsed [s]", "", "min", "read in min, and the unit s stands in its heading"),
    ("t_ms", "", "s", "the unit ms stands in its heading"),
    ("Seconds", "", "min", "the unit s stands in its heading"),
    ("t", "min", "s", "the unit min stands below its heading"),
    ("Elapsed [min]", "", "min", ""),
    ("t", "", "min", ""),
    ("Elapsed [mm:ss]", "", "s", ""),
]


@pytest.mark.parametrize(("heading", "below", "unit", "told"), ELAPSED)
def test_the_unit_of_elapsed_time_is_held_against_its_heading(
    tmp_path: Path, heading: str, below: str, unit: str, told: str
) -> None:
    content = f"{heading},O2,CO\n" + (f"{below},%,ppm\n" if below else "") + "0,5.1,31\n5,5.2,32\n"
    time = {"column": heading, "format": "elapsed", "unit": unit, "start": dt.datetime(2026, 1, 14, 10)}
    if told:
        with pytest.raises(
            VisitError, match=rf"{told}.*log.csv, row 1.*time.unit right, .*time.despite_heading"
        ):
            read(tmp_path, content, time=time)
        time["despite_heading"] = "the maker's misprint"
    (account,) = read(tmp_path, content, time=time).accounts
    assert any("the maker's misprint" in note and told[-20:] in note for note in account.notes) == bool(told)


SERIAL = "Date,Time,O2,CO\n46036,{},5.1,31\n46036,{},5.2,32\n"


def test_a_serial_day_and_a_part_of_a_day_may_stand_in_two_columns(tmp_path: Path) -> None:
    time = {"date_column": "Date", "time_column": "Time", "format": "serial"}
    content = SERIAL.format("0.41666667", "0.41672454")
    readings = read(tmp_path, content, time=time)
    assert [f"{stamp:%Y-%m-%d %H:%M:%S}" for stamp in readings.frame.index] == [
        "2026-01-14 10:00:00",
        "2026-01-14 10:00:05",
    ]
    for day in ("", "46036"):  # a day that is not asked for is left out
        alone = content.replace("0.4", f"{day}.4")
        alone_readings = read(tmp_path, alone, time={"time_column": "Time", "format": "serial"})
        pd.testing.assert_index_equal(alone_readings.frame.index, readings.frame.index)
    with pytest.raises(VisitError, match=r'Write time\.format = "serial"'):
        read(tmp_path, content, time={"date_column": "Date", "time_column": "Time"})
    with pytest.raises(VisitError, match="'46036' cannot be read"):
        read(tmp_path, SERIAL.format("0.41666667", ""), time=time)


@pytest.mark.parametrize(
    ("row", "first"),
    [
        ("EVENT,gas valve adjusted", "If it is a remark, set the row aside"),
        ("EVENT,DONE", "If it is a remark, set the row aside"),
        ("5.2,gas valve adjusted", "If it is a remark, set the row aside"),
        ("5.2,*** marker 1 ***", "If it is a remark, set the row aside"),
        ("5.2,ALARM", "Say what it means"),
    ],
)
def test_a_remark_is_rather_set_aside_than_given_a_meaning(tmp_path: Path, row: str, first: str) -> None:
    content = f"{PLAIN}2026-01-14 10:00:10,{row}\n"
    with pytest.raises(
        VisitError, match=rf"in column 'CO' at [^.]*\.csv, row 4\): [^.]*\. {first}.*words = "
    ):
        read(tmp_path, content)
    often = content + "2026-01-14 10:00:15,5.3,gas valve adjusted\n"
    if row.startswith("5.2,gas"):  # a phrase that stands there more than once is what the instrument writes
        with pytest.raises(VisitError, match=r"\. Say what it means"):
            read(tmp_path, often)


@pytest.mark.parametrize(
    ("heading", "quantity", "unit"),
    [
        ("CO (C)", "carbon_monoxide_dry", "ppm"),  # a channel, or corrected
        ("Probe 1 (C)", "flue_temperature", "degF"),
        ("Flue gas (K)", "flue_temperature", "degC"),  # a thermocouple of type K
        ("O2 (w)", "oxygen_wet", "percent"),
        ("Ambient", "carbon_monoxide_ambient", "ppm"),
        ("CO", "carbon_monoxide_ambient", "ppm"),
        ("Room temp", "air_temperature", "degC"),
        ("TS", "supply_temperature", "degC"),
        ("TA", "flue_temperature", "degC"),
        ("Flow", "supply_temperature", "degC"),
        ("Pressure [in. w.c.]", "manifold_pressure", "inch_H2O_60F"),
        ("Baro hPa", "barometric_pressure", "mbar"),
        ("NO ppm", "nitrogen_oxides_dry", "ppm"),
    ],
)
def test_a_doubtful_heading_is_no_contradiction(quantity: str, heading: str, unit: str) -> None:
    assert contradiction(heading, "", quantity=quantity, unit=unit) == ""


def sub_second(*seconds: int) -> str:
    return HEAD + "".join(f"2026-01-14 10:00:{second:02d},5.1,31\n" for second in seconds)


def test_a_clock_coarser_than_the_rows_is_told(tmp_path: Path) -> None:
    (account,) = read(tmp_path, sub_second(0, 0, 0, 1, 1, 1, 2, 2)).accounts
    assert (account.used, account.set_aside[0].rows) == (3, 5)
    assert any(
        "5 rows have the time of the row before" in note and "time.spread" in note for note in account.notes
    )
    (account,) = read(tmp_path, sub_second(0, 1, 1, 2, 3)).accounts
    assert not any("time.spread" in note for note in account.notes)


@pytest.mark.parametrize("turned", [False, True])
def test_rows_of_one_time_are_spread_to_the_next_where_asked(tmp_path: Path, turned: bool) -> None:
    seconds = (0, 0, 0, 0, 1, 1, 9, 9)
    content = sub_second(*(seconds[::-1] if turned else seconds))
    spread = {"time": {"column": "Time", "spread": True}}
    readings = read(tmp_path, content, **spread)
    after = (readings.frame.index - readings.frame.index[0]).total_seconds()
    # After the break the rows go on as before it: over the usual time to the next, here (1 + 8) / 2 s.
    np.testing.assert_allclose(after, [0, 0.25, 0.5, 0.75, 1, 3.25, 9, 11.25], rtol=1e-12)
    assert any("5 rows of the same time as others were spread" in note for note in readings.accounts[0].notes)
    assert not readings.accounts[0].set_aside


def test_rows_far_apart_are_asked_about(tmp_path: Path) -> None:
    time = {"column": "Time", "format": "elapsed", "start": dt.datetime(2026, 1, 14, 10)}
    content = HEAD + "".join(f"{step},5.1,31\n" for step in range(0, 25_000, 5000))
    (account,) = read(tmp_path, content, time=time).accounts
    assert any("every 5000 s, slow for a log of a visit: is time.format" in note for note in account.notes)
    (account,) = read(tmp_path, content, time={**time, "unit": "ms"}).accounts
    assert any(note == "rows follow each other every 5 s" for note in account.notes)


def test_the_way_out_of_a_clock_change_is_of_the_zone(tmp_path: Path) -> None:
    night = PLAIN.replace("01-14 10", "10-25 02")
    with pytest.raises(VisitError, match=r"fixed offset: 'Etc/GMT-1' \(1 h ahead of UTC\)"):
        read(tmp_path, night, zone="Europe/Berlin")
    with pytest.raises(VisitError, match=r"Set the rows aside in visit.toml\.$"):
        read(tmp_path, PLAIN.replace("01-14 10", "04-05 02"), zone="Australia/Adelaide")  # 9 h 30 min ahead
    moment = dt.time(2, 10)
    with pytest.raises(RefusalError, match=r"2026-10-25T02:10:00\+02:00 or 2026-10-25T02:10:00\+01:00"):
        moment_on_utc(moment, date=dt.date(2026, 10, 25), zone="Europe/Berlin")
    with pytest.raises(
        RefusalError, match=r"does not exist.*2026-03-29T02:10:00\+01:00 or 2026-03-29T02:10:00\+02:00"
    ):
        moment_on_utc(moment, date=dt.date(2026, 3, 29), zone="Europe/Berlin")


def test_only_elapsed_time_has_a_unit(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="only elapsed time has one"):
        read(tmp_path, PLAIN, time={"column": "Time", "unit": "min"})


REFUSED: dict[str, tuple[str | bytes, dict[str, Any], str]] = {
    "text": (PLAIN.replace("5.2", "five"), {}, r"'five' in column 'O2' at 10:00:05 \(log.csv, row 3\)"),
    "point in decimal commas": (
        SEMICOLON.replace("5,2", "5.2"),
        COMMA,
        r"'5.2' in column 'O2' .*thousands = \"\.\"",
    ),
    "digits of another script": (PLAIN.replace("5.2", "٥"), {}, r"in column 'O2'"),
    "underscore": (PLAIN.replace("5.2", "5_2"), {}, r"'5_2' in column"),
    "ISO with no such day": (
        PLAIN.replace("01-14", "02-30"),
        {},
        r"'2026-02-30 10:00:00' cannot be read \(and 1 more like it\) \(log.csv, row 2\)",
    ),
    "date alone": (PLAIN.replace(" 10:00:05", ""), {}, r"'2026-01-14' cannot be read \(log.csv, row 3\)"),
    "day first read as ISO": (
        PLAIN.replace("2026-01-14", "14/01/2026"),
        {},
        r"'14/01/2026 10:00:00' cannot be read \(and 1 more like it\) \(log.csv, row 2\).*%d/%m/%Y",
    ),
    "word unknown": (PLAIN.replace("32", "ALARM"), {}, r"'ALARM' .*words = { \"ALARM\" = \"over range\" }"),
    "code of a fault": (PLAIN.replace("32", "E-12"), {}, r"'E-12' .*words = { \"E-12\" = "),
    "bound of four or four thousand": (PLAIN.replace("32", ">4.000"), {}, r"'>4.000' .*words = "),
    "clock that starts anew": (
        HEAD + "14:09:55,5.1,31\n00:00:00,5.2,32\n00:00:05,5.2,32\n",
        {"time": {"time_column": "Time"}},
        r"the clock jumps from 14:09:55 to 00:00:00 \(log.csv, row 3\).*rows = \[3, 4\]",
    ),
    "lone mark of thousands": (PLAIN.replace("32", '"1,234"'), {}, r"'1,234' in column 'CO' .*thousands = "),
    "day or month first is not guessed": (
        PLAIN.replace("2026-01-14", "01/02/2026"),
        {},
        r"'01/02/2026 10:00:00' cannot be read .*'%d/%m/%Y %H:%M:%S' if the day comes first, '%m/%d/%Y",
    ),
    "month first read as day first": (
        HEAD + "01/14/2026 10:00:00,5,31\n",
        {"time": {"column": "Time", "format": "%d/%m/%Y %H:%M:%S"}},
        r"'01/14/2026 10:00:00' cannot be read",
    ),
    "hour that does not exist": (
        PLAIN.replace("01-14 10", "03-08 02"),
        {},
        r"02:00:00 does not exist on 2026-03-08 in Am",
    ),
    "days as workbooks count, read as ISO": (
        HEAD + "46036.41666666666,5.1,31\n",
        {},
        r"'46036.41666666666' cannot be read .*time.format = \"serial\"",
    ),
    "hour that occurs twice": (
        PLAIN.replace("01-14 10", "11-01 01"),
        {},
        r"01:00:00 occurs twice .*\(and 1 more .*row 2",
    ),
    "column names too far down": (PLAIN, {"header_row": 9}, r"ends before its column names .*it is 9"),
    "column names in a row of readings": (
        PLAIN,
        {"header_row": 2},
        r"no column 'Time' \(log.csv, row 2\).*header_row",
    ),
    "names blank": ("\n" + PLAIN, {}, r"rows have 3 cells where the column names are"),
    "column 9 of 3": (PLAIN, {"time": {"column": "column 9"}}, r"no column 'column 9'"),
    "two columns of one name": (PLAIN.replace("CO", "O2"), {}, r"two columns are named 'O2' .*'column 2'"),
    "long line": ("x" * (3 << 20), {}, r"the line does not end|no column"),
    "names again in another order": (
        PLAIN + "Time,CO,O2\n2026-01-14 10:00:10,35,5.3\n",
        {},
        r"the columns are named again, with 'CO' where 'O2' stood \(log.csv, row 4\)",
    ),
    "names again with other units": (
        PLAIN.replace(HEAD, HEAD + ",%,ppm\n") + HEAD + ",ppm,ppm\n2026-01-14 10:00:10,5.3,35\n",
        {},
        r"the columns are named again, with 'ppm' where '%' stood \(log.csv, row 6\)",
    ),
    "long line below rows": (
        HEAD + ROWS + "x" * (6 << 20),
        {},
        r"the line does not end \(log.csv, row 4\)",
    ),
    "UTF-16 that ends in a letter": (
        codecs.BOM_UTF16_LE + PLAIN.encode("utf-16-le")[:-1],
        {"encoding": "utf-16"},
        r"the log is not whole utf-16: truncated data \(log.csv, row 3\).*its end is missing",
    ),
    "all rows text": (
        HEAD + "a,b,c\n",
        {},
        r"no row of the log can be used \(1 × units row, the first in row 2: 'a,b,c'\)",
    ),
    "UTF-16 without mark": (
        b"x" + PLAIN.encode("utf-16-le"),
        {"encoding": "utf-16"},
        "no byte order mark.*utf-16-le",
    ),
    "nothing set aside by time": (
        PLAIN,
        {"set_aside": [{"start": dt.time(11), "end": dt.time(12), "because": "probe out"}]},
        r"stretch to set aside, 11:00:00 to 12:00:00, holds no row",
    ),
    "nothing set aside by rows": (
        PLAIN,
        {"set_aside": [{"rows": [4, 5], "because": "probe out"}]},
        r"stretch to set aside, rows 4 to 5, holds no row",
    ),
    "text at a time that does not exist": (
        HEAD + "2026-03-08 02:00:00,five,31\n",
        {},
        r"02:00:00 does not exist .*'five' in column 'O2' at a time that cannot be told \(log.csv, row 2\)",
    ),
    "all set aside": (
        PLAIN,
        {"set_aside": [{"rows": [1, 9], "because": "all wrong"}]},
        r"no row of the log can be used \(2 × set aside in visit.toml: all wrong",
    ),
    "not UTF-8 far down": (
        (HEAD + ROWS * 1).encode() + b"2026-01-14 10:00:10,5.3,33,\xb0\n",
        {},
        r"byte 0xb0 is not utf-8 \(log.csv, row 4\)",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_an_awkward_log_is_refused_in_words(tmp_path: Path, name: str) -> None:
    content, log, message = REFUSED[name]
    with pytest.raises(VisitError, match=f"(?s){message}"):
        read(tmp_path, content, **log)


def test_a_fault_far_down_is_told_by_its_row(tmp_path: Path) -> None:
    start = pd.Timestamp("2026-01-14 00:00:00")
    lines = [f"{start + pd.Timedelta(seconds=number)},5.1,31" for number in range(70_000)]
    lines[69_000] = lines[69_000].replace("5.1", "bad")
    with pytest.raises(VisitError, match=r"'bad' in column 'O2' at 19:10:00 \(log.csv, row 69002\)"):
        read(tmp_path, HEAD + "\n".join(lines))
    lines[69_000] = lines[69_000].replace("bad", "---")
    readings = read(tmp_path, HEAD + "\n".join(lines))
    assert readings.states["oxygen_dry"].to_numpy().nonzero()[0].tolist() == [69_000]
    assert readings.states["oxygen_dry"].iloc[69_000] == Cell.NO_NUMBER


WORST: Mapping[str, str] = {  # what stands after the time and the oxygen of every second row
    "plain": "31",
    "an open quotation mark": '"31',
    "an inch mark": '31\n4" vent,"5.3,33',
    "many quotation marks": '31\n,"3' + '"",""' * 20,
    "a cell too many": "31,3",
    "a remark": "31\nthe probe was moved",
    "no time": "31\n,5.1,31",
}


@pytest.mark.law
@pytest.mark.parametrize("name", WORST)
def test_the_work_of_an_awkward_log_grows_with_its_rows(tmp_path: Path, name: str) -> None:
    """Four times the rows take about four times the time; sixteen times, were each row to look at all of them."""

    def seconds(rows: int) -> float:
        start = pd.Timestamp("2026-01-14 00:00:00")
        stamps = pd.date_range(start, periods=rows, freq="s").strftime("%Y-%m-%d %H:%M:%S")
        lines = [f"{stamp},5.1,{WORST[name] if row % 2 else 31}\n" for row, stamp in enumerate(stamps)]
        content = (HEAD + "".join(lines)).encode()
        taken = []
        for _ in range(3):
            began = time.perf_counter()
            account = read(tmp_path, content).accounts[0]
            taken.append(time.perf_counter() - began)
            assert account.read == content.count(b"\n") - 1
        return min(taken)

    assert seconds(16_000) / seconds(4_000) < 9


# ------------------------------------------------------------------------------------------- laws


@pytest.mark.law
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("size", [100, 250, 1000])
def test_where_a_log_is_cut_into_blocks_does_not_matter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, newline: str, size: int
) -> None:
    odd = ["---,31", "5.1,OVER", ",>30", "5.1", "5,1,31", '5.1,"31', "nan,31", 'a"b,"c', "+5.1,+31", "5.1,é"]
    lines = [
        f"2026-01-14 10:00:{number:02d},{odd[number % 10] if number % 3 else '5.1,31'}"
        for number in range(60)
    ]
    lines[10:10], lines[40:40] = ["", "a remark", HEAD.strip()], [",,", "Average,5,31"]
    rows = [number + 2 for number, line in enumerate(lines) if line.endswith("é")]
    content = newline.join([HEAD.strip(), *lines])
    setting = {"set_aside": [{"rows": [row, row], "because": "a letter"} for row in rows]}
    whole = read(tmp_path, content, **setting)
    monkeypatch.setattr("fluewright.visit.logs._BLOCK", size)
    cut = read(tmp_path, content, **setting)
    pd.testing.assert_frame_equal(whole.frame, cut.frame)
    pd.testing.assert_frame_equal(whole.states, cut.states)
    pd.testing.assert_frame_equal(whole.lower_bounds, cut.lower_bounds)
    pd.testing.assert_frame_equal(whole.aside, cut.aside)
    assert whole.accounts == cut.accounts
    assert len({part.reason for part in whole.accounts[0].set_aside}) == 7


SI = {"O2": ("oxygen_dry", "percent"), "T": ("flue_temperature", "degC"), "p": ("manifold_pressure", "mbar")}
US = {"O2": ("oxygen_dry", "percent"), "T": ("flue_temperature", "degF"), "p": ("manifold_pressure", "inH2O")}


@pytest.mark.law
def test_us_and_si_logs_of_one_test_give_the_same_readings(tmp_path: Path) -> None:
    """Numbers exact in both systems: 9/5 of a whole degree, and inches of water of 249.08891 Pa."""
    celsius, inches = (200, 205, 210), (3.5, 3.25, 3.0)
    times = [f"2026-01-14 10:00:0{second}" for second in (0, 3, 6)]
    us = "Time,O2,T,p\n" + "".join(
        f"{time},5.5,{c * 9 / 5 + 32},{p}\n" for time, c, p in zip(times, celsius, inches, strict=True)
    )
    si = "p;Time;T;O2\n" + "".join(
        f"{p * 2.4908891:.12f};{time};{c};5.5\n".replace(".", ",")
        for time, c, p in zip(times, celsius, inches, strict=True)
    )
    one = read(tmp_path, us, US)
    other = read(tmp_path, si, SI, **COMMA)
    pd.testing.assert_frame_equal(one.frame, other.frame[list(one.frame)], rtol=1e-13)


@st.composite
def dialects(draw: st.DrawFn) -> dict[str, Any]:
    delimiter = draw(st.sampled_from([",", ";", "\t", "|"]))
    decimal = draw(st.sampled_from([".", ","]))
    return {
        "delimiter": delimiter,
        "decimal": decimal,
        "encoding": draw(st.sampled_from(["utf-8", "utf-16", "utf-8-sig", "latin-1"])),
        "newline": draw(st.sampled_from(["\n", "\r\n", "\r"])),
        "quoting": draw(st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL])),
        "preamble": draw(st.lists(st.sampled_from(["", "Serial 12", "x;y,z"]), max_size=3)),
        "order": draw(st.permutations(["Time", "O2", "CO", "more"])),
    }


READINGS = st.lists(
    st.tuples(
        st.integers(0, 2090).map(lambda value: value / 100),
        st.one_of(st.integers(0, 3999), st.sampled_from(["---", "", "OVER", ">2000"])),
    ),
    min_size=1,
    max_size=20,
)


def written(rows: list[tuple[float, Any]], dialect: dict[str, Any]) -> bytes:
    out = io.StringIO()
    out.write("".join(f"{line}{dialect['newline']}" for line in dialect["preamble"]))
    writer = csv.writer(
        out, delimiter=dialect["delimiter"], quoting=dialect["quoting"], lineterminator=dialect["newline"]
    )
    writer.writerow(dialect["order"])
    for number, (oxygen, co) in enumerate(rows):
        time = f"2026-01-14 10:{number // 12:02d}:{number % 12 * 5:02d}"
        cells = {"Time": time, "O2": str(oxygen).replace(".", dialect["decimal"]), "CO": co, "more": "x"}
        writer.writerow([cells[name] for name in dialect["order"]])
    return out.getvalue().encode(dialect["encoding"])


@pytest.mark.law
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=READINGS, dialect=dialects())
def test_the_dialect_of_a_log_does_not_matter(
    tmp_path: Path, rows: list[tuple[float, Any]], dialect: dict[str, Any]
) -> None:
    keys = {key: dialect[key] for key in ("delimiter", "decimal", "encoding")}
    readings = read(tmp_path, written(rows, dialect), header_row=len(dialect["preamble"]) + 1, **keys)
    np.testing.assert_allclose(readings.frame["oxygen_dry"], [oxygen / 100 for oxygen, _ in rows], rtol=1e-12)
    numbers = [co * 1e-6 if isinstance(co, int) else np.nan for _, co in rows]
    np.testing.assert_allclose(readings.frame["carbon_monoxide_dry"], numbers, rtol=1e-12)
    bounds = {"OVER": 4000e-6, ">2000": 2000e-6}
    if any(co in bounds for _, co in rows):
        expected = [bounds.get(co, np.nan) for _, co in rows]
        np.testing.assert_allclose(readings.lower_bounds["carbon_monoxide_dry"], expected, rtol=1e-12)
    assert readings.accounts[0].read == readings.accounts[0].used == len(rows)


def attempt(path: Path, content: str | bytes) -> Readings | None:
    """Return the readings, or None where the log was refused in words; anything else raised is a defect."""
    try:
        return read(path, content)
    except VisitError as error:
        refused = [problem.what and problem.where and problem.way_out for problem in error.problems]
    assert refused
    assert all(refused)
    return None


LINES = st.lists(
    st.one_of(
        st.sampled_from(
            [
                HEAD.strip(),
                "",
                ",,",
                "2026-01-14 10:00:00,5,30",
                "2026-01-14 10:00:05,5,30",
                "a,b,c",
                "---",
                '"',
                "\0",
            ]
        ),
        st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\n\r"), max_size=30),
        st.tuples(st.text(max_size=5), st.text(max_size=5), st.text(max_size=5)).map(",".join),
    ),
    max_size=15,
)


@pytest.mark.law
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(lines=LINES)
def test_any_lines_are_accounted_for_or_refused_in_words(tmp_path: Path, lines: list[str]) -> None:
    content = HEAD + "2026-01-14 09:00:00,5,30\n" + "\n".join(lines)
    count = io.StringIO(content, newline=None).read()
    readings = attempt(tmp_path, content)
    if readings is None:
        return
    account = readings.accounts[0]
    assert account.read == count.count("\n") + (not count.endswith("\n")) - 1
    assert account.used == len(readings.frame)
    assert readings.frame.index.is_monotonic_increasing
    assert readings.frame.index.is_unique


@pytest.mark.law
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.one_of(
        st.binary(max_size=400), st.binary(max_size=100).map(lambda tail: PLAIN.encode() + tail)
    )
)
def test_any_bytes_are_accounted_for_or_refused_in_words(tmp_path: Path, content: bytes) -> None:
    readings = attempt(tmp_path, content)
    if readings is not None:
        assert readings.accounts[0].read >= readings.accounts[0].used > 0


@pytest.mark.parametrize("end", [",", ", ", ",,"])
def test_rows_that_end_in_a_delimiter_more_than_others_are_read(tmp_path: Path, end: str) -> None:
    """As an instrument writes them once a further column has been switched on, and holds nothing."""
    rows = [f"2026-01-14 10:00:{row:02d},5.1,{30 + row}" for row in range(60)]
    rows[7] = rows[7].replace("5.1", "zeroing")  # a word asks for another way of reading
    log = "\n".join(["Time,O2,CO", *(row + end * (place % 3 == 0) for place, row in enumerate(rows))]) + "\n"
    found = read(tmp_path, log)
    assert found.accounts[0].used == 60
    assert found.frame["carbon_monoxide_dry"].to_numpy() * 1e6 == pytest.approx(np.arange(30, 90))
