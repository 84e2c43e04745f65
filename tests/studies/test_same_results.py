"""One test written in other dialects, clocks, orders and units gives the same results.json."""

from __future__ import annotations

import copy
import csv
import datetime as dt
import io
import random
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

import fluewright as fw
from fluewright import units

DEMO = Path(__file__).resolve().parents[2] / "data-demo"
Make = Callable[..., Path]
pytestmark = pytest.mark.law

DRAWS = 1_000  # a twentieth of what an audit takes: each way of writing is a whole audit
# A number in another unit is written to 17 digits, so readings agree within 1e-16 of themselves, and results, which are
# smooth in them, within 1e-12, of which results.json shows twelve digits; but the balance solves linear equations in
# numbers that differ by up to a million, and keeps that much less.
CLOSE, CLOSE_IN_BALANCE = 1e-10, 1e-7
STANDARD_TIME = dt.timezone(dt.timedelta(hours=-5))  # New York in January


# ------------------------------------------------------------------------------------------- a log as values


@dataclass(frozen=True)
class Table:
    """A log: when its rows were written, and its columns as the text of numbers with a point."""

    times: Sequence[dt.datetime]
    columns: Mapping[str, Sequence[str]]


def table_of(name: str, pattern: str, *, above: int = 0, clocks: int = 1, **dialect: Any) -> Table:
    """Return a log of the demo data; `clocks` columns hold its time."""
    lines = (DEMO / name).read_text(encoding=dialect.pop("encoding", "utf-8")).splitlines()[above:]
    names, *rows = csv.reader(lines, **dialect)
    rows = [row for row in rows if row[0]]  # a row of units has no time
    return Table(
        times=[dt.datetime.strptime(" ".join(row[:clocks]), pattern) for row in rows],
        columns={
            name: [row[place].replace(",", ".") for row in rows]
            for place, name in enumerate(names)
            if place >= clocks
        },
    )


def plan_of(name: str) -> dict[str, Any]:
    return tomllib.loads((DEMO / name / "visit.toml").read_text(encoding="utf-8"))


TWELVE = "%m/%d/%Y %I:%M:%S %p"
FLUE = table_of("hall-furnace/flue.csv", TWELVE, above=3)
AIR = table_of("hall-furnace/air.csv", TWELVE)


# ------------------------------------------------------------------------------------------- ways to write it


Write = Callable[[Table, dict[str, Any]], bytes]


@dataclass(frozen=True)
class Clock:
    """How the times of a log are written: the cells of each time column, and what visit.toml says of them."""

    cells: Mapping[str, Callable[[dt.datetime], object]]
    entry: Mapping[str, Any]


def stamped(pattern: str, **more: Any) -> Clock:
    return Clock({"Time": lambda time: time.strftime(pattern)}, {"column": "Time", "format": pattern, **more})


def iso(zone: dt.tzinfo | None = None, mark: str = "T") -> Clock:
    def cell(time: dt.datetime) -> str:
        placed = time if zone is None else time.replace(tzinfo=STANDARD_TIME).astimezone(zone)
        return placed.isoformat(sep=mark).replace("+00:00", "Z")

    return Clock({"Time": cell}, {"column": "Time"})


def since(time: dt.datetime) -> int:
    return int((time - FLUE.times[0]).total_seconds())


def epoch(time: dt.datetime) -> int:
    return int(time.replace(tzinfo=STANDARD_TIME).timestamp())


ELAPSED = {"column": "Time", "format": "elapsed", "start": FLUE.times[0]}
CLOCKS: Mapping[str, Clock] = {
    "ISO": iso(),
    "ISO with a blank": iso(mark=" "),
    "ISO of UTC": iso(dt.UTC),
    "ISO with an offset": iso(STANDARD_TIME),
    "ISO with another offset": iso(dt.timezone(dt.timedelta(hours=5, minutes=30))),
    "day first": stamped("%d/%m/%Y %H:%M:%S"),
    "day first in points": stamped("%d.%m.%y %H:%M:%S"),
    "month first": stamped("%m/%d/%Y %H:%M:%S"),
    "twelve hours": stamped("%m/%d/%Y %I:%M:%S %p"),
    "month as a word": stamped("%d %b %Y %H:%M:%S"),
    "offset in the pattern": Clock(
        {"Time": lambda time: time.replace(tzinfo=STANDARD_TIME).strftime("%Y/%m/%d %H:%M:%S %z")},
        {"column": "Time", "format": "%Y/%m/%d %H:%M:%S %z"},
    ),
    "epoch": Clock({"Time": epoch}, {"column": "Time", "format": "epoch"}),
    "epoch in milliseconds": Clock(
        {"Time": lambda time: 1000 * epoch(time)}, {"column": "Time", "format": "epoch"}
    ),
    "elapsed": Clock({"Time": since}, ELAPSED),
    "elapsed clock": Clock({"Time": lambda time: str(time - FLUE.times[0])}, ELAPSED),
    "clock alone": Clock({"Time": lambda time: time.strftime("%H:%M:%S")}, {"time_column": "Time"}),
    "clock of twelve hours": Clock(
        {"Time": lambda time: time.strftime("%I:%M:%S %p")},
        {"time_column": "Time", "format": "%I:%M:%S %p"},
    ),
    "date and clock": Clock(
        {"Day": lambda time: time.strftime("%d.%m.%Y"), "Clock": lambda time: time.strftime("%H:%M:%S")},
        {"date_column": "Day", "time_column": "Clock", "format": "%d.%m.%Y %H:%M:%S"},
    ),
    "a slow clock, set right": Clock(
        {"Time": lambda time: (time - dt.timedelta(seconds=95)).isoformat()},
        {"column": "Time", "offset": "95 s"},
    ),
}


@dataclass(frozen=True)
class Way:
    """How a log is written."""

    clock: str = "twelve hours"
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    encoding: str = "utf-8"
    newline: str = "\n"
    quoting: int = csv.QUOTE_MINIMAL
    preamble: Sequence[str] = ()
    units_row: bool = False
    names: bool = True
    names_again: Sequence[int] = ()
    remark_at: int | None = None
    blank_lines: Sequence[int] = ()
    footer: bool = False
    blank_columns: int = 0
    remarks: bool = False
    last_delimiter: bool = False
    padded: bool = False
    order: int | None = None
    newest_first: bool = False
    rows_twice: Sequence[int] = ()
    units: Mapping[str, tuple[str, Fraction, Fraction]] = field(default_factory=dict)


def number(text: str, way: Way) -> str:
    """Return the text of a number with a point as a log writes it."""
    whole, point, rest = text.partition(".")
    if way.thousands:
        whole = f"{int(whole):,}".replace(",", way.thousands)
    return f"{whole}{way.decimal if point else ''}{rest}"


def in_unit(text: str, slope: Fraction, offset: Fraction) -> str:
    """Return slope × number + offset as text: whole and exact where it can be, else of 17 digits."""
    value = Fraction(text) * slope + offset
    return str(value) if value.denominator == 1 else format(float(value), ".17f").rstrip("0")


def columns_of(table: Table, entry: dict[str, Any], way: Way) -> dict[str, list[str]]:
    """Return the columns in the units of a way, which are entered in the column map."""
    made = {}
    for name, cells in table.columns.items():
        unit, slope, offset = way.units.get(name, (None, Fraction(1), Fraction(0)))
        made[name] = [in_unit(cell, slope, offset) for cell in cells] if unit else list(cells)
        if unit:
            entry["columns"][name] |= {"unit": unit, "despite_heading": "converted, with the heading left"}
    return made


def written(way: Way, table: Table, entry: dict[str, Any]) -> bytes:
    """Return the bytes of a log, whose entry in visit.toml is changed to tell how it is written."""
    cells: dict[str, list[str]] = {
        name: [str(cell(time)) for time in table.times] for name, cell in CLOCKS[way.clock].cells.items()
    }
    cells |= {
        name: [number(cell, way) for cell in column] for name, column in columns_of(table, entry, way).items()
    }
    count = len(table.times)
    cells |= {" " * place: [""] * count for place in range(1, way.blank_columns + 1)}
    if way.remarks:
        cells["Remark"] = [
            f'"{place} in." {way.delimiter} ' if place % 7 == 3 else "" for place in range(count)
        ]
    names = list(cells)
    if way.order is not None:
        random.Random(way.order).shuffle(names)
    head = [name.strip() for name in names]
    lines: list[list[str]] = [head] if way.names else []
    if way.units_row:
        lines.append([entry["columns"].get(name, {"unit": ""})["unit"] for name in head])
    order = range(count)[::-1] if way.newest_first else range(count)
    for row in order:
        line = [f" {cells[name][row]} " if way.padded else cells[name][row] for name in names]
        lines += [head] if row in way.names_again else []
        lines += [["probe moved a little"]] if row == way.remark_at else []
        lines += [[]] if row in way.blank_lines else []
        lines += [line, line] if row in way.rows_twice else [line]
    if way.footer:
        labels = dict.fromkeys(CLOCKS[way.clock].cells, "Mean")
        lines += [[], [labels.get(name, "5") for name in head], ["End of log"]]
    out = io.StringIO()
    out.write("".join(f"{line}{way.newline}" for line in way.preamble))
    writer = csv.writer(out, delimiter=way.delimiter, quoting=way.quoting, lineterminator=way.newline)  # type: ignore[arg-type]
    for line in lines:
        writer.writerow([*line, ""] if way.last_delimiter and len(line) == len(names) else line)
    entry.pop("header_row", None)
    entry |= {
        "time": dict(CLOCKS[way.clock].entry),
        "delimiter": way.delimiter,
        "decimal": way.decimal,
        "thousands": way.thousands,
        "encoding": way.encoding,
        "header_row": len(way.preamble) + 1 if way.names else 0,
    }
    if not way.names:
        by_place = {name: f"column {names.index(name) + 1}" for name in names}
        entry["columns"] = {by_place[name]: column for name, column in entry["columns"].items()}
        for key in ("column", "date_column", "time_column"):
            if key in entry["time"]:
                entry["time"][key] = by_place[entry["time"][key]]
    return out.getvalue().encode(way.encoding)


def workbook(
    *, apart: bool = False, head: Sequence[Sequence[object]] = (), below: Sequence[Sequence[object]] = ()
) -> Write:
    """Return a writer of workbooks, with more rows above and below, time `apart` from the date."""

    def write(table: Table, entry: dict[str, Any]) -> bytes:
        book = openpyxl.Workbook(write_only=True)
        book.create_sheet("Cover").append(["nothing here"])
        sheet = book.create_sheet("Log")
        for row in head:
            sheet.append(row)
        sheet.append(["Day", "Clock", *table.columns] if apart else ["Time", *table.columns])
        for time, *cells in zip(table.times, *table.columns.values(), strict=True):
            sheet.append([*([time.date(), time.time()] if apart else [time]), *map(float, cells)])
        for row in below:
            sheet.append(row)
        sink = io.BytesIO()
        book.save(sink)
        entry |= {"time": {"column": "Time"}, "header_row": len(head) + 1, "sheet": "Log"}
        if apart:
            entry["time"] = {"date_column": "Day", "time_column": "Clock"}
        return sink.getvalue()

    return write


def parquet(*, zone: str | None = None, text: bool = False) -> Write:
    """Return a writer of Parquet files, with times in a zone or none, and numbers as such or as text."""

    def write(table: Table, entry: dict[str, Any]) -> bytes:
        placed = [time.replace(tzinfo=STANDARD_TIME) for time in table.times]
        times = pa.array(placed if zone else table.times, pa.timestamp("ms", zone))
        cells = {
            name: pa.array([cell.replace(".", ",") for cell in column] if text else list(map(float, column)))
            for name, column in table.columns.items()
        }
        sink = io.BytesIO()
        pq.write_table(pa.table({**cells, "Time": times}), sink)
        entry |= {"time": {"column": "Time"}, "header_row": 1, "decimal": "," if text else "."}
        return sink.getvalue()

    return write


# ------------------------------------------------------------------------------------------- results


OF_FILES = {"account_of_rows", "channels", "provenance"}


def told(folder: Path) -> Mapping[str, Any]:
    """Return what results.json says, flat, but for what describes the files themselves."""
    results = dict(fw.audit(fw.open_visit(folder)).results)
    return dict(_flat({key: results[key] for key in results.keys() - OF_FILES}))


def _flat(value: Any, where: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for key, item in value.items():
            yield from _flat(item, f"{where}.{key}")
    elif isinstance(value, list | tuple):
        for place, item in enumerate(value):
            yield from _flat(item, f"{where}[{place}]")
    else:
        yield where, value


def visit_of(make_visit: Make, plan: dict[str, Any], *logs: tuple[Table, Write], name: str = "visit") -> Path:
    """Write a visit whose logs are written anew; the entry of each in visit.toml tells how."""
    contents = [write(table, entry) for (table, write), entry in zip(logs, plan["logs"], strict=True)]
    folder = make_visit(plan, [], name)
    for entry, content in zip(plan["logs"], contents, strict=True):
        (folder / entry["file"]).write_bytes(content)
    return folder


def hall_of(make_visit: Make, flue: Write, air: Write, *, name: str = "visit") -> Path:
    return visit_of(make_visit, plan_of("hall-furnace"), (FLUE, flue), (AIR, air), name=name)


def differing(ours: Mapping[str, Any], theirs: Mapping[str, Any]) -> list[str]:
    return [
        f"{where}: {ours.get(where)!r} and not {theirs.get(where)!r}"
        for where in sorted(ours.keys() | theirs.keys())
        if ours.get(where) != theirs.get(where)
    ]


def beyond(ours: Mapping[str, Any], theirs: Mapping[str, Any]) -> list[str]:
    """Return what differs by more than numbers written in other units may."""

    def alike(where: str) -> bool:
        one, other = ours[where], theirs[where]
        if isinstance(one, float) and isinstance(other, float):
            balance = ".balance" in where or where.startswith(".judgements")
            return one == pytest.approx(other, rel=CLOSE_IN_BALANCE if balance else CLOSE, abs=1e-14)
        return bool(one == other or ".spot_readings" in where)  # those are text, with the last digit rounded

    assert ours.keys() == theirs.keys()
    return [where for where in ours if not alike(where)]


@pytest.fixture(scope="module", autouse=True)
def _fewer_draws() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("fluewright.studies.numbers.DRAWS", DRAWS)
        patch.setattr("fluewright.studies.numbers.CONTRIBUTION_DRAWS", DRAWS)
        yield


@pytest.fixture(scope="module")
def plain(_fewer_draws: None) -> Mapping[str, Any]:
    """What the demo visit of the hall says as it is."""
    found = told(DEMO / "hall-furnace")
    assert sum(isinstance(value, float) for value in found.values()) > 500
    assert any(where.startswith(".differences") for where in found)
    return found


SEMICOLON = Way(delimiter=";", decimal=",")
INSTRUMENT = ("Instrument;FA-0417", "", 'Site, "hall"', "tested\tby R. Example")
WAYS: Mapping[str, Way] = {
    "comma": Way(),
    "semicolon and decimal comma": SEMICOLON,
    "tab": Way(delimiter="\t"),
    "pipe": Way(delimiter="|"),
    "decimal comma in quotes": Way(decimal=","),
    "all quoted": Way(quoting=csv.QUOTE_ALL),
    "carriage returns and line feeds": Way(newline="\r\n"),
    "carriage returns": replace(SEMICOLON, newline="\r"),
    "byte order mark": Way(encoding="utf-8-sig"),
    "UTF-16": Way(encoding="utf-16"),
    "UTF-16 without a mark": Way(encoding="utf-16-le", newline="\r\n"),
    "Latin-1": replace(SEMICOLON, encoding="latin-1", preamble=("Räume, 20 °C",)),
    "preamble": Way(preamble=INSTRUMENT),
    "units row": Way(units_row=True),
    "names again": Way(names_again=(400, 1100)),
    "a remark and blank lines": Way(remark_at=700, blank_lines=(0, 3, 800, 801)),
    "footer": Way(footer=True),
    "no column names": Way(names=False),
    "blank columns": Way(blank_columns=3, last_delimiter=True),
    "a column of remarks": Way(remarks=True),
    "blanks around cells": Way(padded=True),
    "columns shuffled": Way(order=1, blank_columns=1),
    "newest first": Way(newest_first=True),
    "rows written twice": Way(rows_twice=range(0, 1500, 10)),
    **{f"time as {name}": Way(clock=name) for name in CLOCKS},
}


def any_way(seed: int) -> Way:
    """Return a way in which everything is chosen by lot."""
    chance = random.Random(seed)
    delimiter = chance.choice(",;\t|")
    return Way(
        clock=chance.choice(list(CLOCKS)),
        delimiter=delimiter,
        decimal=chance.choice(".,"),
        encoding=chance.choice(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
        newline=chance.choice(["\n", "\r\n", "\r"]),
        quoting=chance.choice([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
        preamble=chance.sample(INSTRUMENT, chance.randrange(4)),
        units_row=chance.random() < 0.5,
        names_again=chance.sample(range(2, 300), chance.randrange(3)),
        remark_at=chance.choice([None, 150]),
        blank_lines=chance.sample(range(300), chance.randrange(3)),
        footer=chance.random() < 0.5,
        blank_columns=chance.randrange(3),
        remarks=chance.random() < 0.3,
        last_delimiter=chance.random() < 0.3,
        order=seed,
        newest_first=chance.random() < 0.3,
        rows_twice=chance.sample(range(300), chance.randrange(4)),
    )


TABLES: Mapping[str, Write] = {
    "a workbook": workbook(),
    "a workbook with date and clock": workbook(apart=True),
    "a workbook with more rows": workbook(
        head=[["Flue test"], [], ["Instrument", "FA-0417"]], below=[[], ["Mean", 5.0, 5.0], ["End of log"]]
    ),
    "Parquet": parquet(),
    "Parquet with times of UTC": parquet(zone="UTC"),
    "Parquet with times of a zone": parquet(zone="Europe/Berlin"),
    "Parquet of text": parquet(text=True),
}

# As slope and offset from the unit of the demo visit, exact.
CELSIUS = ("degC", Fraction(5, 9), Fraction(-160, 9))
KELVIN = ("kelvin", Fraction(5, 9), Fraction(45967, 180))
IN_SI = Way(
    units={
        "O2 dry [%]": ("ppm", Fraction(10_000), Fraction(0)),
        "CO [ppm]": ("percent", Fraction(1, 10_000), Fraction(0)),
        "Flue [F]": CELSIUS,
        "Intake air [F]": KELVIN,
        "Return": KELVIN,
        "Supply": CELSIUS,
    }
)
PLAN_IN_SI = {
    "inH2O": "Pa",
    "inHg": "hPa",
    "degF": "degC",
    "delta_degF": "delta_degC",
    "foot": "m",
    "foot**3": "m**3",
    "Btu/hour": "kW",
    "Btu/foot**3": "MJ/m**3",
    "cubic_foot_per_minute": "m**3/hour",
    "therm": "kW*hour",
    "ppm": "percent",
    "minute": "s",
}
FAHRENHEIT = ("degF", Fraction(9, 5), Fraction(32))
GALLON = Fraction("3.785411784")
BOILER_IN_US = Way(
    clock="twelve hours",
    units={
        "Flue [°C]": FAHRENHEIT,
        "Intake air [°C]": FAHRENHEIT,
        "Supply [°C]": FAHRENHEIT,
        "Return [°C]": FAHRENHEIT,
        "Flow [L/h]": ("gallon/minute", 1 / GALLON / 60, Fraction(0)),
    },
)


def in_other_units(value: Any, to: Mapping[str, str]) -> Any:
    """Return a plan whose numbers with a unit in `to` are written in another, to 17 digits."""
    if isinstance(value, dict):
        return {key: in_other_units(item, to) for key, item in value.items()}
    if isinstance(value, list):
        return [in_other_units(item, to) for item in value]
    found = re.fullmatch(r"([+-]?[\d.]+) (\S+)", value) if isinstance(value, str) else None
    if found is None or found[2] not in to:
        return value
    return f"{units.quantity(float(found[1]), found[2]).to(to[found[2]]).magnitude:.17g} {to[found[2]]}"


# ------------------------------------------------------------------------------------------- the laws


@pytest.mark.parametrize("name", WAYS)
def test_a_way_of_writing_changes_nothing(plain: Mapping[str, Any], make_visit: Make, name: str) -> None:
    write = partial(written, WAYS[name])
    assert differing(told(hall_of(make_visit, write, write)), plain) == []


@pytest.mark.parametrize("seed", range(10))
def test_ways_of_writing_chosen_by_lot_change_nothing(
    plain: Mapping[str, Any], make_visit: Make, seed: int
) -> None:
    flue, air = (partial(written, any_way(number)) for number in (seed, 100 + seed))
    assert differing(told(hall_of(make_visit, flue, air)), plain) == []


@pytest.mark.parametrize("name", TABLES)
def test_a_table_changes_nothing(plain: Mapping[str, Any], make_visit: Make, name: str) -> None:
    assert differing(told(hall_of(make_visit, TABLES[name], TABLES[name])), plain) == []


def test_a_log_in_two_files_changes_nothing(plain: Mapping[str, Any], make_visit: Make) -> None:
    plan = plan_of("hall-furnace")
    flue, air = plan["logs"]
    plan["logs"] = [flue, air, {**copy.deepcopy(flue), "file": "more.csv"}]
    pieces = [
        Table(times=FLUE.times[part], columns={name: cells[part] for name, cells in FLUE.columns.items()})
        for part in (slice(700, None), slice(700))  # the later one is entered first
    ]
    first, second = partial(written, Way(order=5)), partial(written, SEMICOLON)
    folder = visit_of(make_visit, plan, (pieces[0], first), (AIR, first), (pieces[1], second))
    assert differing(told(folder), plain) == []


def test_us_and_si_units_and_marks_between_thousands(plain: Mapping[str, Any], make_visit: Make) -> None:
    def told_of(way: Way, name: str) -> Mapping[str, Any]:
        write = partial(written, way)
        folder = hall_of(make_visit, write, write, name=name)
        assert not way.thousands or f"207{way.thousands}000" in (folder / "flue.csv").read_text("utf-8")
        return told(folder)

    si = told_of(IN_SI, "si")
    assert differing(si, plain) != []  # rounding is there to be seen
    assert beyond(si, plain) == []
    for number, (thousands, decimal) in enumerate((",.", ".,", " ,", "'.")):
        way = replace(IN_SI, delimiter=";", thousands=thousands, decimal=decimal, order=number)
        assert differing(told_of(way, f"si {number}"), si) == []


def test_a_whole_visit_in_si(plain: Mapping[str, Any], make_visit: Make) -> None:
    """Nameplate, accuracies, hand readings and the year's fuel in other units as well."""
    plan = in_other_units(plan_of("hall-furnace"), PLAN_IN_SI)
    assert plan["appliance"]["rated_input"].endswith(" kW")
    assert plan["readings"]["gas_lockup_pressure"]["value"].endswith(" Pa")
    write = partial(written, replace(IN_SI, delimiter=";", decimal=","))
    assert beyond(told(visit_of(make_visit, plan, (FLUE, write), (AIR, write))), plain) == []


def test_a_whole_visit_in_us_units(make_visit: Make) -> None:
    """The boiler's visit, whose demo data are in SI."""
    flue = table_of(
        "laundry-boiler/flue.csv", "%d.%m.%Y %H:%M:%S", clocks=2, delimiter=";", encoding="utf-8-sig"
    )
    water = table_of("laundry-boiler/water.csv", "%Y-%m-%dT%H:%M:%S", delimiter=";", encoding="latin-1")
    to = {new: old for old, new in PLAN_IN_SI.items()} | {"liter/hour": "gallon/minute"}
    plan = in_other_units(plan_of("laundry-boiler"), to)
    write = partial(written, BOILER_IN_US)
    found = told(visit_of(make_visit, plan, (flue, write), (water, write)))
    assert beyond(found, told(DEMO / "laundry-boiler")) == []
