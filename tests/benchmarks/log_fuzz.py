"""Does every log end in readings whose account of rows adds up, or in a clear error: never a traceback or a hang?

Logs are made from a seed: delimiters, decimal marks, encodings, ways to write time, preambles, words instead of
numbers, units in cells and below the names, ragged rows, open quotation marks, and some workbooks and Parquet files;
then bytes are put in, taken out or cut off. Each is read as visit.toml
describes it (not always rightly), and its column map is proposed. Larger logs of the worst kinds are read in
processes of their own, whose peak of memory is held against a fixed base plus the greater of four times the file
and two and a half times the frame. Run: python tests/benchmarks/log_fuzz.py [INPUTS] [SEED]
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pyarrow as pa
import pyarrow.parquet as pq

from fluewright.errors import InputError
from fluewright.visit import VisitError
from fluewright.visit.proposal import propose_log
from fluewright.visit.schema import Attendance, Instrument, Log
from fluewright.visit.tidy import OneLog, read_log

INPUTS = 20_000
SEED = 7
TABLES = 0.1  # share of workbooks and Parquet files
HANG = 20  # s
LARGE = 12_000_000  # bytes, about
BASE = 64 * 1024 * 1024  # bytes: what reading needs besides what it reads
MEBIBYTE = 1024 * 1024
ATTENDANCE = Attendance(date=dt.date(2026, 1, 14), time_zone="America/New_York")
INSTRUMENTS = {
    "analyzer": Instrument.model_validate(
        {
            "description": "flue-gas analyzer",
            "accuracy": {"carbon_monoxide_dry": {"absolute": "5 ppm", "span": ["0 ppm", "4000 ppm"]}},
        }
    )
}
# fmt: off
CELLS = (
    "", "5.1", "5,1", "-", "---", ">2000", "<5", "OVER", "nan", "inf", "1e5", "1e999", "abc", "on", "=1+1",
    "1,234.5", "1.234,5", "1 234", "9999", "-999", "1" * 400, "1_0", ".", "1.", "e5", "0x10", "+", "5", "٣",
    'a"b', '"a', 'b"', '"5"', '"a,b"', '"', '""', "'", "%", "°C", "\0", "\t", " ", "\u00a0", "\u2028", "\x85",
    "é", "🔥", "Time", "O2", "CO", "2026-01-14", "25:61:00", "NaT", "24:00:00",
    "30 ppm", "5,1 %", ">4000 ppm", "30 °C", "ALARM", "wait", "1:5", "-1:05:00", "46036.5", "a.m.",
)
# fmt: on
FORMS = {
    "ISO": "%Y-%m-%d %H:%M:%S",
    "clock": "%H:%M:%S",
    "%d.%m.%Y %H:%M:%S": "%d.%m.%Y %H:%M:%S",
    "%m/%d/%Y %I:%M:%S %p": "%m/%d/%Y %I:%M:%S %p",
    "epoch": "",
    "elapsed": "",
    "serial": "",
}
UNITS = ("", "%", "ppm", "° C", "K", "mystery", "inH2O", "(ppm)", "1", '"', "mg/m3")


class HangError(Exception):
    """A log took longer than any may."""


def _stamp(chance: random.Random, row: int, form: str) -> str:
    if chance.random() < 0.05:
        return chance.choice(CELLS)
    moment = dt.datetime(2026, 1, 14, 10) + dt.timedelta(seconds=5 * row)
    if chance.random() < 0.01:  # another day: a jump, or a night on which the clocks are changed
        moment = dt.datetime(
            2026, chance.choice((1, 3, 11)), chance.choice((1, 8, 14)), chance.randrange(24), 30
        )
    if form == "epoch":
        return str(moment.timestamp())
    if form == "serial":
        return str((moment - dt.datetime(1899, 12, 30)) / dt.timedelta(days=1))
    if form == "elapsed":
        return chance.choice((str(5 * row), f"{5 * row // 60}:{5 * row % 60:02d}"))
    return moment.strftime(FORMS[form])


def _lines(chance: random.Random, form: str, mark: str, decimal: str, header_row: int) -> Iterator[str]:
    def scrap() -> str:
        return mark.join(chance.choice(CELLS) for _ in range(chance.randrange(7)))

    names = ["Time", "O2", "CO", "x"]
    chance.shuffle(names)
    yield from (scrap() for _ in range(header_row - 1))
    if header_row:
        yield mark.join(
            f"{name} [{chance.choice(UNITS)}]" if chance.random() < 0.02 else name for name in names
        )
    if chance.random() < 0.1:
        yield mark.join(chance.choice(UNITS) for _ in names)
    for row in range(chance.randrange(14)):
        cells = {
            "Time": _stamp(chance, row, form),
            "O2": f"5{decimal}{row % 10}" if chance.random() < 0.96 else chance.choice(CELLS),
            "CO": str(30 + row) if chance.random() < 0.96 else chance.choice(CELLS),
            "x": chance.choice(CELLS),
        }
        yield mark.join(cells[name] for name in names) if chance.random() < 0.9 else scrap()


def _damaged(chance: random.Random, content: bytes) -> bytes:
    for _ in range(chance.choice((0, 0, 0, 1, 3))):
        place = chance.randrange(len(content) + 1)
        end = chance.choice((place, place, place + chance.randrange(1, 6), len(content)))
        put = bytes([chance.randrange(256)]) if end == place else b""
        content = content[:place] + put + content[end:]
    return content


def _case(chance: random.Random) -> tuple[bytes, Log]:
    """Return the bytes of a log and how visit.toml describes it."""
    mark, decimal, form = chance.choice(",;\t|"), chance.choice(".,"), chance.choice(list(FORMS))
    header_row = chance.choice((0, 1, 1, 1, 2, 3))
    end = chance.choice(("\n", "\n", "\r\n", "\r"))
    text = end.join(_lines(chance, form, mark, decimal, header_row)) + chance.choice(("", end, 3 * end))
    written = chance.choice(("utf-8", "utf-8", "utf-8", "utf-16", "utf-8-sig"))
    stamps, oxygen, monoxide = ("Time", "O2", "CO") if header_row else ("column 1", "column 2", "column 3")
    clock: dict[str, Any] = {"column": stamps, "format": form}
    if form == "elapsed":
        clock |= {"start": dt.datetime(2026, 1, 14, 10), "unit": chance.choice(("s", "min", "h", "ms"))}
    if form == "clock":
        clock = {"time_column": stamps}
    log: dict[str, Any] = {
        "file": "log.csv",
        "instrument": "analyzer",
        "time": clock,
        "delimiter": mark,
        "decimal": decimal,
        "header_row": header_row,
        "encoding": chance.choice((written, written, "utf-8", "latin-1")),
        "columns": {
            oxygen: {"quantity": "oxygen_dry", "unit": "percent"},
            monoxide: {"quantity": "carbon_monoxide_dry", "unit": "ppm"},
        },
    }
    if chance.random() < 0.2 and form != "clock":
        clock["spread"] = True
    if chance.random() < 0.2:
        log["words"] = {"ALARM": "over range", "wait": "no reading"}
    if chance.random() < 0.2:
        log["set_aside"] = [{"rows": [3, 4], "because": "the probe was moved"}]
    return _damaged(chance, text.encode(written)), Log.model_validate(log)


def _table_case(chance: random.Random) -> tuple[bytes, Log]:
    """Return the bytes of a workbook or a Parquet file, and how visit.toml describes it."""
    rows = range(chance.randrange(1, 14))
    stamps = [dt.datetime(2026, 1, 14, 10) + dt.timedelta(seconds=5 * row) for row in rows]
    cells: list[list[Any]] = [
        [chance.choice(CELLS).replace("\0", "") if chance.random() < 0.04 else value for value in row]
        for row in zip(stamps, (5 + row / 10 for row in rows), (30 + row for row in rows), strict=True)
    ]
    sink = io.BytesIO()
    if chance.random() < 0.5:
        book = openpyxl.Workbook(write_only=True)
        sheet = book.create_sheet("Log")
        for row in (["Time", "O2", "CO"], *cells):
            sheet.append([one for one in row if not isinstance(one, str) or one.isprintable()])
        book.save(sink)
    else:
        texts = [pa.array([str(row[place]) for row in cells]) for place in range(3)]
        texts[0] = pa.array(stamps) if chance.random() < 0.5 else texts[0]
        pq.write_table(pa.table(texts, names=["Time", "O2", "CO"]), sink)
    log = {
        "file": "log.csv",
        "instrument": "analyzer",
        "time": {"column": "Time"},
        "columns": {
            "O2": {"quantity": "oxygen_dry", "unit": "percent"},
            "CO": {"quantity": "carbon_monoxide_dry", "unit": "ppm"},
        },
    }
    return _damaged(chance, sink.getvalue()), Log.model_validate(log)


def _adds_up(read: OneLog) -> bool:
    """Tell whether every row is used or set aside, and the frame holds the rows used in order of time."""
    (account,), frame = read.readings.accounts, read.readings.frame
    aside = sum(part.rows for part in account.set_aside)
    ordered = frame.index.is_monotonic_increasing and frame.index.is_unique
    return account.read == account.used + aside and account.used == len(frame) > 0 and ordered


def _outcome(path: Path, log: Log) -> str:
    """Return what becomes of one log: "read", "clear_errors", "wrong_accounts", "hangs" or "tracebacks"."""
    signal.alarm(HANG)
    try:
        with contextlib.suppress(InputError):
            propose_log(path)
        try:
            read = read_log(path, log=log, attendance=ATTENDANCE, instruments=INSTRUMENTS)
        except VisitError as error:
            return "clear_errors" if str(error) and error.problems else "tracebacks"
        return "read" if _adds_up(read) else "wrong_accounts"
    except HangError:
        return "hangs"
    except Exception:
        traceback.print_exc()
        return "tracebacks"
    finally:
        signal.alarm(0)


# ------------------------------------------------------------------------------------------- memory


def _large(kind: str) -> Iterator[str]:
    """Yield the lines of a large log of one of the worst kinds."""
    yield "Time,O2,CO"
    start = dt.datetime(2026, 1, 14, 10)
    if kind == "one endless line":
        yield "5" * LARGE
        return
    rows = LARGE // 32
    quoted = '"' if kind == "quoted" else ""
    for row in range(rows):
        stamp = start + dt.timedelta(seconds=row)
        if kind == "a text of its own in each row":
            yield f"{stamp},5.1,text {row}"
        elif kind == "ragged" and row % 2:
            yield f"{stamp},5.1"
        elif kind == "an open quotation mark in each row":
            yield f'{stamp},5.1,"{row % 90}'
        elif kind == "no time":
            yield f"sometime,5.1,{row % 90}"
        elif kind == "over range":
            yield f"{stamp},5.1,{'>2000' if row % 2 else 31}"
        else:
            yield f"{quoted}{stamp}{quoted},5.{row % 10},{row % 90}"


LARGE_KINDS = (
    "plain",
    "quoted",
    "over range",
    "a text of its own in each row",
    "ragged",
    "no time",
    "an open quotation mark in each row",
    "one endless line",
)


def _read_large(path: Path) -> None:
    """Read one large log and print the bytes of its frame."""
    log = Log.model_validate(
        {
            "file": path.name,
            "instrument": "analyzer",
            "time": {"column": "Time"},
            "columns": {
                "O2": {"quantity": "oxygen_dry", "unit": "percent"},
                "CO": {"quantity": "carbon_monoxide_dry", "unit": "ppm"},
            },
        }
    )
    try:
        read = read_log(path, log=log, attendance=ATTENDANCE, instruments=INSTRUMENTS)
    except VisitError as error:
        print(0, len(str(error)))
    else:
        print(int(read.readings.frame.memory_usage().sum()), 0)


def _peak(path: Path) -> tuple[int, int]:
    """Return the peak of memory [bytes] of a process that reads one log, and the bytes of the frame."""
    process = subprocess.Popen(
        [sys.executable, __file__, "read", str(path)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    said = process.stdout.read().split()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"reading {path} ended with {process.returncode}")
    return usage.ru_maxrss * 1024, int(said[0])


def _memory(folder: Path) -> dict[str, Any]:
    """Return how many large logs took more memory than they may, and the greatest share of it that was taken."""
    small = folder / "small.csv"
    small.write_text("Time,O2,CO\n2026-01-14 10:00:00,5.1,31\n2026-01-14 10:00:05,5.1,31\n")
    base = _peak(small)[0] + BASE
    shares = {}
    for kind in LARGE_KINDS:
        path = folder / "large.csv"
        path.write_text("\n".join(_large(kind)) + "\n")
        peak, frame = _peak(path)
        allowed = base + max(4 * path.stat().st_size, 2.5 * frame)
        shares[kind] = peak / allowed
        print(f"{kind}: {peak / MEBIBYTE:.0f} MiB of {allowed / MEBIBYTE:.0f} MiB allowed")
    return {
        "large_inputs": len(shares),
        "large_over_memory": sum(share > 1 for share in shares.values()),
        "largest_share_of_memory": round(max(shares.values()), 3),
    }


def main() -> None:
    """Read them all and print, as the last line one JSON object."""
    if len(sys.argv) == 3 and sys.argv[1] == "read":
        _read_large(Path(sys.argv[2]))
        return
    inputs = int(sys.argv[1]) if len(sys.argv) > 1 else INPUTS
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else SEED

    def stop(*_: object) -> None:
        raise HangError

    signal.signal(signal.SIGALRM, stop)
    chance, outcomes, slowest = random.Random(seed), Counter[str](), 0.0
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "log.csv"
        for _ in range(inputs):
            content, log = (_table_case if chance.random() < TABLES else _case)(chance)
            path.write_bytes(content)
            start = time.perf_counter()
            outcome = _outcome(path, log)
            slowest = max(slowest, time.perf_counter() - start)
            outcomes[outcome] += 1
            if outcome not in {"read", "clear_errors"}:
                print(f"{outcome}: {content[:400]!r} as {log}")
        memory = _memory(Path(name))
    print(f"{inputs} logs from seed {seed}, the slowest {slowest:.2f} s: {dict(outcomes)}")
    counted = ("clear_errors", "read", "tracebacks", "hangs", "wrong_accounts")
    figures = {"inputs": inputs, **{outcome: outcomes[outcome] for outcome in counted}}
    print(json.dumps({**figures, **memory, "seed": seed}))


if __name__ == "__main__":
    main()
