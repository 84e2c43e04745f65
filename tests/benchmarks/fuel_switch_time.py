"""How long does a fuel-switch study take, and what do the kept flame speeds save?

One run, one machine state: ratios count, not times. Run: python tests/benchmarks/fuel_switch_time.py
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from fluewright.combustion import fuel
from fluewright.combustion.flame_speed import computed_flame_speed, laminar_flame_speed
from fluewright.report.fuel_switch import write_fuel_switch
from fluewright.studies.fuel_switch import fuel_switch, read_request

REQUEST = Path(__file__).parents[2] / "data-demo" / "fuel-switch" / "workshop.toml"


def seconds(work: Callable[[], object], times: int = 3) -> float:
    """Return the shortest of a few runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def report() -> None:
    """Write the whole study to a folder that goes away."""
    with tempfile.TemporaryDirectory() as folder:
        write_fuel_switch(REQUEST, output=Path(folder))


def main() -> None:
    """Time the study, its report, and one flame computed anew."""
    request, gas = read_request(REQUEST), fuel("methane")
    study = fuel_switch(request)
    points = sum(len(one.along) * len(one.panels) for one in study.sweeps)
    study_time, report_time = seconds(lambda: fuel_switch(request)), seconds(report, times=2)
    kept_time = seconds(lambda: laminar_flame_speed(gas))
    flame_time = seconds(lambda: computed_flame_speed(gas), times=1)
    figures = {
        "study_s": round(study_time, 3),
        "report_s": round(report_time, 2),
        "study_ratio_to_one_computed_flame": round(study_time / flame_time, 4),
        "report_ratio_to_one_computed_flame": round(report_time / flame_time, 3),
        "kept_flame_ratio_to_computed_flame": float(f"{kept_time / flame_time:.2g}"),
        "sweep_points": points,
    }
    print(f"study of {len(study.cases)} fuels with {points} points of sweeps: {study_time:.2f} s")
    print(f"its PDF, HTML and results.json, from a cold kernel: {report_time:.1f} s")
    print(f"one laminar flame computed anew: {flame_time:.1f} s, from the kept ones {kept_time * 1e6:.0f} µs")
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
