"""Air side, water side, draft and altitude against printed values; each row of the file says where from."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fluewright.appliance import air_side, altitude, draft, heat_input_clocked, manifold, water_side
from fluewright.units import convert, registry

ROWS = pd.read_csv(Path(__file__).parent / "published" / "appliance.csv", dtype=str, keep_default_na=False)
TEXT = {"fluid", "practice"}


def _flow_temperature(given: dict[str, object]) -> dict[str, object]:
    """Trade figures count the volume at the return where nothing else is said."""
    return {"flow_temperature": given["return_temperature"], **given}


def _size(value: object) -> float:
    return float(np.asarray(value))


CHECKS = {
    "sensible_heat_factor": ("J/(m^3*delta_degC)", lambda given: air_side.sensible_heat_factor(**given)),
    "airflow": (
        "m^3/s",
        lambda given: air_side.airflow(**{**given, "flow_temperature": convert(70.0, "degF", "K")}),
    ),
    "air_heat_output": ("W", lambda given: air_side.air_heat_output(**_flow_temperature(given))),
    "theoretical_draft": ("Pa", lambda given: -draft.theoretical_draft(**given)),
    "moist_air_density": ("kg/m^3", lambda given: air_side.moist_air_density(**given)),
    "liquid_density": ("kg/m^3", lambda given: water_side.liquid_density(**given)),
    "water_heat_output": ("W", lambda given: water_side.water_heat_output(**given)),
    "altitude_rating": ("1", lambda given: altitude.altitude_rating(**given)),
    # With a heating value of one the heat is the volume: what the tables of dials print.
    "meter_rate": (
        "m^3/s",
        lambda given: heat_input_clocked(**given, heating_value=1.0, compensated=True),
    ),
    "heat_input_by_nameplate": ("W", lambda given: manifold.heat_input_by_nameplate(**given)),
}


def _inputs(text: str) -> dict[str, object]:
    made: dict[str, object] = {}
    for part in text.split(";"):
        name, _, value = (piece.strip() for piece in part.partition("="))
        number, _, unit = value.partition(" ")
        made[name] = value if name in TEXT else registry().Quantity(float(number), unit)
    return made


def _allowed(row: pd.Series[str]) -> float:
    number, _, percent = row["tolerance"].partition(" ")
    if percent:
        return float(number) / 100 * float(row["value"])
    decimals = len(row["value"].partition(".")[2])
    return float(number) if number else 0.5 * 10.0**-decimals


@pytest.mark.published
@pytest.mark.parametrize(
    "row", [pytest.param(row, id=f"{row['id']} ({row['status']})") for _, row in ROWS.iterrows()]
)
def test_printed_value(row: pd.Series[str]) -> None:
    unit, check = CHECKS[row["check"]]
    computed = convert(_size(check(_inputs(row["inputs"]))), unit, row["unit"])
    assert computed == pytest.approx(float(row["value"]), abs=_allowed(row)), row["source"]


def test_every_row_says_where_from_and_gives_a_reason_for_its_tolerance() -> None:
    assert (ROWS[["source", "place", "status"]] != "").all(axis=None)
    assert set(ROWS["status"]) <= {"read", "quoted", "derived", "memory", "common practice"}
    assert not ROWS["id"].duplicated().any()
    assert len(ROWS) >= 15


@pytest.mark.published
def test_output_is_84_percent_of_the_input() -> None:
    # Common practice without source: 1,200 cfm at a 39 °F rise is 84 % of a 60,000 Btu/h input.
    quantity = registry().Quantity
    heat = air_side.air_heat_output(
        quantity(1200.0, "cubic_foot_per_minute"),
        supply_temperature=quantity(109.0, "degF"),
        return_temperature=quantity(70.0, "degF"),
        flow_temperature=quantity(70.0, "degF"),
    )
    assert float(heat) / convert(60_000.0, "Btu/hour", "W") == pytest.approx(0.84, abs=0.005)
