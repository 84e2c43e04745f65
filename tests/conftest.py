"""Small visits made by hand, for tests that need a whole folder."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import settings

# The same examples on every run, and no time limit on a slow machine's first call.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")

Visit = dict[str, Any]

# A furnace of the invented co-operative with every required test made: the one visit that may end in
# "no tested limit exceeded". Each safety test spoils one thing of it.
COMPLETE: Visit = {
    "layout": 1,
    "visit": {"date": "2026-01-14", "time_zone": "America/New_York", "tested_by": "R. Tester"},
    "site": {"name": "Harrow Lane hall", "barometric_pressure": "1000 hPa"},
    "appliance": {
        "type": "furnace",
        "description": "induced-draft furnace",
        "draft": "induced",
        "rated_input": "80000 Btu/h",
        "temperature_rise": ["35 delta_degF", "65 delta_degF"],
    },
    "fuel": {"name": "natural gas"},
    "sampling": {"at_outlet": True},
    "instruments": {
        "flue": {
            "description": "flue-gas instrument",
            "sample_dew_point": "5 degC",
            "accuracy": {
                "oxygen_dry": {"absolute": "0.2 percent", "resolution": "0.1 percent"},
                "carbon_monoxide_dry": {
                    "absolute": "10 ppm",
                    "of_reading": "5 percent",
                    "span": ["0 ppm", "4000 ppm"],
                    "resolution": "1 ppm",
                },
                "flue_temperature": {"absolute": "2 delta_degF"},
                "air_temperature": {"absolute": "1 delta_degF"},
            },
        },
        "room": {
            "description": "room carbon monoxide meter",
            "accuracy": {"carbon_monoxide_ambient": {"absolute": "2 ppm", "resolution": "1 ppm"}},
        },
        "pair": {
            "description": "two thermometers",
            "accuracy": {
                "supply_temperature": {"absolute": "1 delta_degF"},
                "return_temperature": {"absolute": "1 delta_degF"},
            },
        },
    },
    "logs": [
        {
            "file": "flue.csv",
            "instrument": "flue",
            "time": {"column": "Time"},
            "columns": {
                "O2": {"quantity": "oxygen_dry", "unit": "percent"},
                "CO": {"quantity": "carbon_monoxide_dry", "unit": "ppm"},
                "Flue": {"quantity": "flue_temperature", "unit": "degF"},
                "Air": {"quantity": "air_temperature", "unit": "degF"},
            },
        }
    ],
    "readings": {
        "relative_humidity": "40 percent",
        "humidity_temperature": "70 degF",
        "outdoor_temperature": "35 degF",
    },
    "test_points": [
        {
            "name": "as left",
            "start": "2026-01-14T10:00:00",
            "end": "2026-01-14T10:30:00",
            "readings": {
                "carbon_monoxide_ambient": [
                    {"value": "1 ppm", "instrument": "room"},
                    {"value": "2 ppm", "instrument": "room"},
                ],
                "supply_temperature": {"value": "118 degF", "instrument": "pair"},
                "return_temperature": {"value": "68 degF", "instrument": "pair"},
                "draft_inducer": "-0.4 inH2O",
            },
        }
    ],
    "checks": dict.fromkeys(
        (
            "gas_leak",
            "visual_inspection",
            "spillage",
            "heat_exchanger_inspection",
            "flame_rollout",
            "vent_condition",
            "safety_controls",
            "carbon_monoxide_alarm",
        ),
        "no fault seen",
    ),
}


def settled_rows(count: int = 360, *, seed: int = 1) -> list[list[str]]:
    """Return rows every 5 s of a furnace that holds still: time, O2 %, CO ppm, flue °F, air °F."""
    rng = np.random.default_rng(seed)
    oxygen = 6.8 + 0.03 * rng.standard_normal(count)
    monoxide = 40 + rng.standard_normal(count)
    flue = 330 + 0.3 * rng.standard_normal(count)
    air = 70 + 0.1 * rng.standard_normal(count)
    seconds = 5 * np.arange(count)
    return [
        [f"2026-01-14 10:{s // 60:02d}:{s % 60:02d}", f"{a:.1f}", f"{b:.0f}", f"{c:.1f}", f"{d:.1f}"]
        for s, a, b, c, d in zip(seconds, oxygen, monoxide, flue, air, strict=True)
    ]


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        if value[:4].isdigit() and value[4:5] == "-" and value[7:8] == "-":
            return value
        escaped = "".join(
            f"\\u{ord(c):04x}" if ord(c) < 32 or c in '\\"' or 126 < ord(c) < 160 else c for c in value
        )
        return f'"{escaped}"'
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_toml(str(key))} = {_toml(item)}" for key, item in value.items()) + "}"
    return str(value)


def write_visit(folder: Path, plan: Visit, rows: list[list[str]]) -> Path:
    """Write a visit folder; returns it."""
    folder.mkdir(parents=True, exist_ok=True)
    text = "\n".join(f"{_toml(key)} = {_toml(value)}" for key, value in plan.items())
    (folder / "visit.toml").write_text(text, encoding="utf-8")
    header = ["Time", "O2", "CO", "Flue", "Air"]
    lines = [",".join(row) for row in [header, *rows]]
    (folder / "flue.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


@pytest.fixture
def complete_plan() -> Visit:
    """Return visit.toml of a furnace with every required test made, as a dict that may be changed."""
    return copy.deepcopy(COMPLETE)


@pytest.fixture
def settled() -> list[list[str]]:
    """Return the rows of a log that holds still; may be changed."""
    return settled_rows()


@pytest.fixture
def make_visit(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes a visit folder from its plan, its rows and its name."""

    def make(plan: Visit, rows: list[list[str]], name: str = "visit") -> Path:
        return write_visit(tmp_path / name, plan, rows)

    return make
