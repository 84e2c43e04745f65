"""A class of 200 practice visits with every fault, each audited by the kit and marked against its sealed truth.

Run as ``python tests/benchmarks/practice_class.py``. The score table is written to practice_class.csv beside this file,
for the validation notebook, and printed as one JSON object on the last line. About two minutes.
"""

from __future__ import annotations

import csv
import json
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

from fluewright.studies.marking import Mark, mark_audit, scores
from fluewright.studies.practice import fault_names, practice_visit

VISITS = 200
SCENARIOS = ("furnace", "boiler", "unit-heater")
TABLE = Path(__file__).with_suffix(".csv")


def marked_class(visits: int, folder: Path) -> tuple[Mark, ...]:
    """Return the marks of so many visits: every scenario with each of its faults and without, seeds ascending."""
    kinds = [(scenario, fault) for scenario in SCENARIOS for fault in (None, *fault_names(scenario))]
    marks = []
    for number in range(visits):
        scenario, fault = kinds[number % len(kinds)]
        made = practice_visit(
            folder / f"visit-{number:03d}", scenario=scenario, seed=1000 + number, fault=fault
        )
        marks.append(mark_audit(made.folder, truth=made.truth))
    return tuple(marks)


def main(visits: int = VISITS) -> None:
    """Mark the class, write the table, print it."""
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        marks = marked_class(visits, Path(folder))
    rows = [asdict(score) for score in scores(marks)]
    with TABLE.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(
            {**row, "fault": row["fault"] or "none", "numbers_held": f"{row['numbers_held']:.3f}"}
            for row in rows
        )
    for row in rows:
        print(
            f"{row['fault'] or 'none':24}"
            + "  ".join(f"{name} {value:.3g}" for name, value in row.items() if name != "fault")
        )
    faulty = [row for row in rows if row["fault"]]
    summary = {
        "visits": len(marks),
        "faults_found": sum(row["found"] for row in faulty) / sum(row["visits"] for row in faulty),
        "invented": sum(row["invented"] for row in rows),
        "seconds": round(time.perf_counter() - began, 1),
    }
    print(json.dumps(summary))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
