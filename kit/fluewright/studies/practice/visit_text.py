"""The visit.toml of a practice visit: what the tester would have written down."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from fluewright import sources, units
from fluewright.studies.practice import instruments
from fluewright.studies.practice.course import Course, molar_volume, physics

_LINE = 110


def visit_text(scenario: Mapping[str, Any], course: Course, *, seed: int, command: str) -> str:
    """Return visit.toml for a course: the scenario's words, readings by hand, and the logs' column maps."""
    stated = scenario["visit"]
    table = sources.table("practice")
    used = _instruments(scenario)
    plan = {
        "layout": 1,
        "report": stated["report"],
        "visit": {"date": scenario["start"].date(), **stated["visit"]},
        "site": {**stated["site"], "barometric_pressure": scenario["barometric_pressure"]},
        "appliance": {**stated["appliance"], "rated_input": scenario["rated_input"]},
        "fuel": _fuel(scenario, course),
        "sampling": stated["sampling"],
        "readings": _readings(scenario.get("spots", {}), course, seed),
        "checks": stated["checks"],
        "record": {key: part for key, part in stated["record"].items() if part is not False},
        **{name: stated[name] for name in ("savings", "limits") if name in stated},
        "instruments": {
            name: {key: value for key, value in table["instruments"][name].items() if key != "sensors"}
            for name in used
        },
        "logs": [_log(log) for log in scenario["logs"].values()],
        "test_points": [_test_point(point, scenario, course, seed) for point in scenario["test_points"]],
    }
    opening = f"# Invented: a simulated visit, no real site, person or appliance.\n# Made by: {command}\n\n"
    return opening + "\n".join(_section(plan, ())).strip() + "\n"


def _fuel(scenario: Mapping[str, Any], course: Course) -> dict[str, Any]:
    """Return the fuel as stated, with the heating value of the sound fuel where the supplier states one."""
    stated = dict(scenario["visit"]["fuel"])
    unit = stated.pop("heating_value_unit", None)
    if unit is None:
        return stated
    volume = molar_volume(scenario, physics("base_pressure", "Pa"), physics("base_temperature", "K"))
    value = units.convert(course.heating_value_stated / volume, "J/m^3", unit)
    decimals = 2 if value < 100 else 0
    return {**stated, "heating_value": f"{value:.{decimals}f} {unit}"}


def _instruments(scenario: Mapping[str, Any]) -> list[str]:
    spots = [scenario.get("spots", {}), *(point.get("spots", {}) for point in scenario["test_points"])]
    by_hand = [entry["instrument"] for readings in spots for entry in readings.values()]
    return list(dict.fromkeys([*(log["instrument"] for log in scenario["logs"].values()), *by_hand]))


def _readings(spots: Mapping[str, Any], course: Course, seed: int) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for quantity, entry in spots.items():
        taken = instruments.spot(course, entry, quantity, seed)
        out[quantity] = taken[0] if len(taken) == 1 else taken
    return out


def _test_point(
    point: Mapping[str, Any], scenario: Mapping[str, Any], course: Course, seed: int
) -> dict[str, Any]:
    start: dt.datetime = scenario["start"]

    def clock(second: float) -> dt.time:
        return (start + dt.timedelta(seconds=second)).time()

    out: dict[str, Any] = {"name": point["name"], "start": clock(point["start"]), "end": clock(point["end"])}
    said = ("firing_rate", "stage", "airflow_at", "changed", "replaces", "notes")
    out |= {key: point[key] for key in said if key in point}
    if "blower_started" in point:
        out["blower_started"] = clock(point["blower_started"])
    if "clocked_at" in point:
        out["meter"] = instruments.clocked(course, scenario["meter"], point["clocked_at"], seed)
    out["readings"] = _readings(point.get("spots", {}), course, seed)
    return out


def _log(log: Mapping[str, Any]) -> dict[str, Any]:
    encoding = {"utf-8-sig": "utf-8-sig", "latin-1": "latin-1"}.get(log.get("encoding", ""), "utf-8")
    time = log["time"]
    if len(time) == 1:
        timed = {"column": time[0]["column"], "format": time[0]["format"]}
    else:
        timed = {
            "date_column": time[0]["column"],
            "time_column": time[1]["column"],
            "format": " ".join(part["format"] for part in time),
        }
    if timed["format"] == "%Y-%m-%dT%H:%M:%S":
        timed["format"] = "ISO"
    out: dict[str, Any] = {"file": log["file"], "instrument": log["instrument"], "time": timed}
    out |= {key: log[key] for key in ("delimiter", "decimal") if key in log}
    if encoding != "utf-8":
        out["encoding"] = encoding
    if log.get("preamble"):
        out["header_row"] = len(log["preamble"]) + 1
    out["columns"] = {
        column["name"]: {
            "quantity": column["quantity"],
            "unit": column["unit"],
            **({"origin": "instrument"} if "calculated_from" in column else {}),
            **({"origin": column["origin"]} if "origin" in column else {}),
        }
        for column in log["columns"]
    }
    return out


def _inline(value: object) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(name)} = {_inline(part)}" for name, part in value.items()) + " }"
    if isinstance(value, list | tuple):
        whole = "[" + ", ".join(_inline(part) for part in value) + "]"
        lines = "".join(f"  {_inline(part)},\n" for part in value)
        return whole if len(whole) < _LINE else f"[\n{lines}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, int | float):
        return repr(value)
    return json.dumps(value, ensure_ascii=False)


def _key(name: str) -> str:
    plain = name.replace("_", "").replace("-", "")
    return name if plain.isascii() and plain.isalnum() else json.dumps(name, ensure_ascii=False)


def _section(table: Mapping[str, Any], path: tuple[str, ...]) -> list[str]:
    """Return the body of a table as TOML lines: its own values, then its tables, then its lists of tables."""
    own: list[str] = []
    later: list[str] = []
    for name, value in table.items():
        title = ".".join(_key(part) for part in (*path, name))
        if not path and isinstance(value, list):
            for part in value:
                later += ["", f"[[{title}]]", *_section(part, (name,))]
        elif isinstance(value, Mapping) and (not path or len(_inline(value)) > _LINE or _deep(value)):
            body = _section(value, (*path, name))
            later += body if not body or body[0] == "" else ["", f"[{title}]", *body]
        else:
            own.append(f"{_key(name)} = {_inline(value)}")
    return own + later


def _deep(value: Mapping[str, Any]) -> bool:
    return any(isinstance(part, Mapping) for part in value.values())
