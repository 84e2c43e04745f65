"""How long is the way from a long log to audit results, against pandas reading the same log with its times?

A visit with one log of fifteen columns is made: a burn that warms up and settles, its noise remembered from row to
row as real sensors' is, a cell without a reading now and then. One run measures both by turns, the best of each
counts, as a ratio. The ten million rows are read in a process of their own, whose peak of memory is asked of the
system. Run: python tests/benchmarks/log_pipeline.py [ROWS] [LONG_ROWS] [ROUNDS] [SEED]; LONG_ROWS of 0 leaves them out.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv as pacsv

import fluewright as fw

ROWS = 1_000_000
LONG_ROWS = 10_000_000
ROUNDS = 3
SEED = 7
CHUNK = 250_000
START = np.datetime64("2026-01-14T10:00:00", "s")
MISSING_EVERY = 5_000
MEMORY = 0.6  # share of the noise that a row keeps from the one before
WARM_UP = 300.0  # s, time constant
# Column: quantity, unit, settled mean, rise over the warm-up, noise, decimals.
COLUMNS = {
    "O2": ("oxygen_dry", "percent", 6.0, 0.0, 0.04, 2),
    "CO": ("carbon_monoxide_dry", "ppm", 40.0, -30.0, 1.0, 0),
    "CO2": ("carbon_dioxide_dry", "percent", 8.4, 0.0, 0.03, 2),
    "NO": ("nitric_oxide_dry", "ppm", 55.0, 10.0, 1.0, 0),
    "T flue": ("flue_temperature", "degF", 380.0, 200.0, 0.6, 1),
    "T air": ("air_temperature", "degF", 70.0, 0.0, 0.1, 1),
    "T room": ("ambient_temperature", "degF", 70.5, 0.0, 0.1, 1),
    "RH": ("relative_humidity", "percent", 40.0, 0.0, 0.3, 1),
    "Draft": ("draft_breech", "inH2O", -0.03, -0.02, 0.001, 3),
    "Manifold": ("manifold_pressure", "inH2O", 3.5, 0.0, 0.01, 2),
    "Supply": ("supply_temperature", "degF", 125.0, 50.0, 0.2, 1),
    "Return": ("return_temperature", "degF", 70.0, 0.0, 0.1, 1),
    "Eff": ("efficiency_gross", "percent", 80.5, -4.0, 0.05, 1),
    "EA": ("excess_air", "percent", 36.0, 0.0, 0.5, 1),
}
COMPUTED = ("Eff", "EA")
PLAN = """\
layout = 1
[visit]
date = 2026-01-14
time_zone = "Etc/GMT+5"
tested_by = "Dana Example"
[site]
name = "Harrow Lane Housing Co-operative, the hall"
elevation = "210 m"
[appliance]
type = "furnace"
rated_input = "80000 Btu/h"
[fuel]
name = "natural gas"
[instruments.analyzer]
description = "flue-gas analyzer"
[instruments.analyzer.accuracy]
oxygen_dry = { absolute = "0.2 percent", span = ["0 percent", "25 percent"], resolution = "0.01 percent" }
carbon_monoxide_dry = { absolute = "5 ppm", of_reading = "5 percent", span = ["0 ppm", "4000 ppm"] }
flue_temperature = { absolute = "2 delta_degF" }
"""


def visit_text(rows: int) -> str:
    """Return visit.toml: the column map, and one test point over the whole log."""
    computed = ', origin = "instrument"'
    columns = "\n".join(
        f'"{name}" = {{ quantity = "{quantity}", unit = "{unit}"{computed if name in COMPUTED else ""} }}'
        for name, (quantity, unit, *_) in COLUMNS.items()
    )
    log = '[[logs]]\nfile = "log.csv"\ninstrument = "analyzer"\ntime = { column = "Time" }\n[logs.columns]'
    end = START + np.timedelta64(rows - 1, "s")
    return f'{PLAN}{log}\n{columns}\n[[test_points]]\nname = "as found"\nstart = {START}\nend = {end}\n'


def _noise(random: np.random.Generator, rows: int) -> np.ndarray:
    """Return noise of unit spread in which a row remembers those before it, by a short sum over fresh noise."""
    fresh = random.standard_normal(rows + 8)
    weights = MEMORY ** np.arange(8)
    return np.convolve(fresh, weights / math.sqrt((weights**2).sum()), mode="valid")[:rows]


def make_visit(folder: Path, *, rows: int, seed: int) -> Path:
    """Write a visit with a log of `rows` rows, chunk by chunk, and return its folder."""
    folder.mkdir()
    (folder / "visit.toml").write_text(visit_text(rows), encoding="utf-8")
    random = np.random.default_rng(seed)
    with (folder / "log.csv").open("wb") as file:
        for first in range(0, rows, CHUNK):
            seconds = np.arange(first, min(first + CHUNK, rows))
            stamps = pa.array((START + seconds.astype("timedelta64[s]")).astype("datetime64[s]"))
            table = {"Time": pc.strftime(stamps, "%Y-%m-%d %H:%M:%S")}
            for name, (_, _, mean, rise, noise, decimals) in COLUMNS.items():
                settled = mean - rise * np.exp(-seconds / WARM_UP)
                values = np.round(settled + noise * _noise(random, len(seconds)), decimals)
                table[name] = pa.array(values, mask=seconds % MISSING_EVERY == MISSING_EVERY - 1)
            pacsv.write_csv(
                pa.table(table),
                file,
                pacsv.WriteOptions(include_header=first == 0, quoting_style="none"),
            )
    return folder


def audited(folder: Path) -> int:
    """Return how many numbers the audit of a visit has, from its files."""
    results = fw.audit(fw.open_visit(folder)).results
    return len(json.dumps(results, default=str))


def parts(folder: Path) -> tuple[float, float]:
    """Return the time that reading takes and the time that the audit takes."""
    start = time.perf_counter()
    visit = fw.open_visit(folder)
    read = time.perf_counter()
    fw.audit(visit).results  # noqa: B018
    return read - start, time.perf_counter() - read


def read_csv(folder: Path) -> int:
    """Return how many rows pandas reads."""
    return len(pd.read_csv(folder / "log.csv", parse_dates=["Time"]))


def seconds(step: Callable[[Path], object], folder: Path) -> float:
    """Return the time of one step."""
    start = time.perf_counter()
    step(folder)
    return time.perf_counter() - start


def in_a_process(folder: Path, task: str) -> tuple[float, float]:
    """Return the time and the peak of memory [MiB] of a task in a process of its own, imports not timed."""
    process = subprocess.Popen(
        [sys.executable, __file__, task, str(folder)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    taken = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{task} of {folder} ended with {process.returncode}")
    return float(taken), usage.ru_maxrss / 1024


def main() -> None:
    """Measure and print, as the last line one JSON object."""
    tasks: dict[str, Callable[[Path], object]] = {"audited": audited, "read_csv": read_csv}
    if len(sys.argv) == 3 and sys.argv[1] in tasks:
        print(seconds(tasks[sys.argv[1]], Path(sys.argv[2])))
        return
    given = [int(text) for text in sys.argv[1:]]
    rows, long_rows, rounds, seed = (*given, *(ROWS, LONG_ROWS, ROUNDS, SEED)[len(given) :])
    figures: dict[str, float | int | None] = {"peak_mib_ten_million_rows": None, "growth_exponent": None}
    with tempfile.TemporaryDirectory() as name:
        folder = make_visit(Path(name) / "visit", rows=rows, seed=seed)
        small = make_visit(Path(name) / "small", rows=max(rows // 100, 1_000), seed=seed)
        os.sync()  # nothing is being written meanwhile
        audited(small)  # what is loaded and made once is not the log's
        read_csv(small)
        turns = [(seconds(read_csv, folder), seconds(audited, folder)) for _ in range(rounds)]
        peer, ours = (min(column) for column in zip(*turns, strict=True))
        reading, auditing = parts(folder)
        print(
            f"{rows} rows: pandas.read_csv {peer:.2f} s, file to audit results {ours:.2f} s, best of {rounds}"
        )
        print(f"once more, part by part: reading {reading:.2f} s, audit and results {auditing:.2f} s")
        figures |= {"time_ratio_to_read_csv": round(ours / peer, 3), "rows": rows}
        if long_rows:
            once = in_a_process(folder, "audited")[0]
            long = make_visit(Path(name) / "long", rows=long_rows, seed=seed)
            os.sync()
            taken, peak = in_a_process(long, "audited")
            peer_taken, peer_peak = in_a_process(long, "read_csv")
            print(f"{long_rows} rows: {taken:.1f} s, {peak:.0f} MiB")
            print(f"pandas.read_csv of them: {peer_taken:.1f} s, {peer_peak:.0f} MiB")
            figures |= {
                "peak_mib_ten_million_rows": round(peak) if long_rows == LONG_ROWS else None,
                "growth_exponent": round(math.log(taken / once) / math.log(long_rows / rows), 3),
                "time_ratio_to_read_csv_long": round(taken / peer_taken, 3),
                "long_rows": long_rows,
            }
    print(json.dumps({**figures, "rounds": rounds, "seed": seed}))


if __name__ == "__main__":
    main()
