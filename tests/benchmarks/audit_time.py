"""How long does an audit take, cold and for each further visit, against stock nbconvert on a bare notebook?

The bare notebook imports what an audit uses and draws one plot; stock nbconvert runs it to HTML. All three are
run in turn, so that the machine's own pace falls on each alike; the best of each counts, as ratios.
Run: python tests/benchmarks/audit_time.py [ROUNDS]
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import nbformat

ROUNDS = 3
DEMO = Path(__file__).parents[2] / "data-demo"
VISITS = ("hall-furnace", "laundry-boiler", "workshop-heater")
BARE = """
import cantera
import matplotlib.pyplot as plt
import pandas
import pint
plt.plot([1, 2, 3])
"""


def seconds(command: list[str], folder: Path) -> float:
    """Return the wall time of a command that must succeed."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *command], cwd=folder, check=True, capture_output=True)
    return time.perf_counter() - start


def stock(folder: Path) -> float:
    """Return the time of stock nbconvert on the bare notebook."""
    return seconds(["-m", "nbconvert", "--to", "html", "--execute", "bare.ipynb"], folder)


def audits(folder: Path, visits: tuple[str, ...]) -> float:
    """Return the time of one command for all of `visits`."""
    shutil.rmtree(folder / "reports", ignore_errors=True)
    start = ["-c", "from fluewright.cli import main; main()", "audit"]
    taken = seconds([*start, *(str(DEMO / visit) for visit in visits)], folder)
    assert len(list((folder / "reports").glob("*.pdf"))) == len(visits)
    return taken


def main() -> None:
    """Measure and print, as the last line one JSON object."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else ROUNDS
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(BARE)])
        nbformat.write(notebook, folder / "bare.ipynb")
        times = [(stock(folder), audits(folder, VISITS[:1]), audits(folder, VISITS)) for _ in range(rounds)]
    bare, one, several = (min(column) for column in zip(*times, strict=True))
    further = (several - one) / (len(VISITS) - 1)
    print(f"stock nbconvert on a bare notebook: {bare:.2f} s, best of {rounds}")
    print(f"one audit, cold: {one:.2f} s; each further visit in the same call: {further:.2f} s")
    print(
        json.dumps(
            {
                "cold_ratio_to_stock_nbconvert": round(one / bare, 3),
                "further_visit_ratio_to_stock_nbconvert": round(further / bare, 3),
                "rounds": rounds,
                "seed": None,
            }
        )
    )


if __name__ == "__main__":
    main()
