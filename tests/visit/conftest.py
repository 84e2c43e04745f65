from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

PLAN = """\
layout = 1
[visit]
date = 2026-01-14
time_zone = "America/New_York"
tested_by = "Dana Example"
[site]
name = "Harrow Lane Housing Co-operative, the hall"
[appliance]
type = "furnace"
[fuel]
name = "natural gas"
[instruments.analyzer]
description = "flue-gas analyzer"
[instruments.analyzer.accuracy]
oxygen_dry = { absolute = "0.2 percent" }
carbon_monoxide_dry = { absolute = "5 ppm", of_reading = "5 percent", span = ["0 ppm", "2000 ppm"] }
{{logs}}
[[test_points]]
name = "as found"
start = 10:00:00
end = 10:00:20
"""

LOG = """\
[[logs]]
file = "flue.csv"
instrument = "analyzer"
time = { column = "Time" }
[logs.columns]
"O2" = { quantity = "oxygen_dry", unit = "percent" }
"CO" = { quantity = "carbon_monoxide_dry", unit = "ppm" }
"T" = { quantity = "flue_temperature", unit = "degF" }
"""

FLUE = """\
Time,O2,CO,T
2026-01-14 10:00:00,6.0,30,400
2026-01-14 10:00:05,6.1,31,401
2026-01-14 10:00:10,6.2,32,402
2026-01-14 10:00:15,6.1,33,403
2026-01-14 10:00:20,6.0,34,404
"""

Writer = Callable[..., Path]


@pytest.fixture
def plan_text() -> str:
    """The text of a whole visit.toml."""
    return PLAN.replace("{{logs}}", LOG)


@pytest.fixture
def flue_text() -> str:
    """The text of a whole log of flue gas, a row each five seconds."""
    return FLUE


@pytest.fixture
def write_visit(tmp_path: Path) -> Writer:
    """Return a writer of visit folders: whole by default, each part replaceable."""

    def write(
        *,
        files: Mapping[str, str | bytes] | None = None,
        more_logs: str = "",
        swap: Mapping[str, str] | None = None,
        more: str = "",
    ) -> Path:
        folder = tmp_path / "visit"
        folder.mkdir()
        text = PLAN.replace("{{logs}}", LOG + more_logs) + more
        for old, new in (swap or {}).items():
            assert old in text, old
            text = text.replace(old, new, 1)
        (folder / "visit.toml").write_text(text, encoding="utf-8")
        for name, content in ({"flue.csv": FLUE} if files is None else files).items():
            (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        return folder

    return write
