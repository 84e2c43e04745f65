"""The published JSON Schema, and where it points."""

from __future__ import annotations

import json
from importlib import resources

import jsonschema
import pytest

from fluewright import sources
from fluewright.visit import visit_schema
from fluewright.visit.schema_problems import where_in

PUBLISHED = json.loads(
    resources.files("fluewright.visit").joinpath("visit.schema.json").read_text(encoding="utf-8")
)


def test_the_published_schema_is_that_of_the_model() -> None:
    """After a change of the model: write `visit_schema()` into visit.schema.json anew."""
    assert visit_schema() == PUBLISHED


def test_the_published_schema_is_a_sound_one() -> None:
    jsonschema.Draft202012Validator.check_schema(PUBLISHED)


def test_editors_are_told_every_quantity() -> None:
    readings = {name for name, entry in sources.quantities().items() if entry.kind == "reading"}
    assert set(PUBLISHED["properties"]["readings"]["propertyNames"]["enum"]) == readings


PLAN = {
    "layout": 1,
    "visit": {"date": "2026-01-14", "time_zone": "America/New_York"},
    "site": {"name": "the hall"},
    "appliance": {"type": "furnace", "rated_input": "80000 Btu/h"},
    "fuel": {"name": "natural gas"},
    "instruments": {"analyzer": {"description": "analyzer"}},
    "logs": [
        {
            "file": "flue.csv",
            "instrument": "analyzer",
            "time": {"column": "Time"},
            "columns": {"O2": {"quantity": "oxygen_dry", "unit": "percent"}},
        }
    ],
    "test_points": [{"name": "as found", "start": "10:00:00Z", "end": "10:20:00Z"}],
    "readings": {"carbon_monoxide_ambient": ["2 ppm", {"value": "3 ppm"}]},
    "checks": {"spillage": "no fault seen", "gas_leak": {"result": "not tested", "note": "no access"}},
}


def test_the_schema_takes_a_plan_and_refuses_faults() -> None:
    jsonschema.validate(PLAN, PUBLISHED)
    for fault, message in (
        ({"tester": "x"}, "Additional properties"),
        ({"layout": 2}, "1 was expected"),
        ({"readings": {"oxygen": "5 percent"}}, "'oxygen'"),
        ({"appliance": {"type": "furnace", "rated_input": 80000}}, "80000 is not"),
    ):
        with pytest.raises(jsonschema.ValidationError, match=message):
            jsonschema.validate({**PLAN, **fault}, PUBLISHED)


TEXT = """\
layout = 1
[visit]
date = 2026-01-14   # a day
[instruments."a b".accuracy]
oxygen_dry = { absolute = "x" }
[[logs]]
file = "a"
[logs.columns]
"O 2" = { unit = "percent" }
[[logs]]
file = "b"
time.column = "t"
[logs.columns]
"O 2" = { unit = "ppm" }
"""


@pytest.mark.parametrize(
    ("place", "where"),
    [
        (("visit", "date"), "visit.toml, line 3, visit.date"),
        (("visit", "time_zone"), "visit.toml, line 2, visit.time_zone"),
        (
            ("instruments", "a b", "accuracy", "oxygen_dry", "absolute"),
            "visit.toml, line 5, instruments.'a b'.",
        ),
        (("logs", 0, "columns", "O 2"), "visit.toml, line 9, logs.columns.'O 2'"),
        (("logs", 1, "columns", "O 2", "unit"), "visit.toml, line 14, logs.columns.'O 2'.unit"),
        (("logs", 1, "time", "column"), "visit.toml, line 12, logs.time.column"),
        (("logs", 1, "instrument"), "visit.toml, line 10, logs.instrument"),
        (("fuel",), "visit.toml, fuel"),
        ((), "visit.toml"),
    ],
)
def test_where_a_key_stands(place: tuple[str | int, ...], where: str) -> None:
    assert where_in(TEXT, place).startswith(where)
