"""Orifices: published capacity tables, a furnace maker's table, and the square-root law."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fluewright.appliance.orifice import (
    drill,
    gas_density,
    nearest_drill,
    orifice_diameter,
    orifice_heat_input,
    orifice_pressure_drop,
    target_manifold_pressure,
)
from fluewright.combustion import fuel, reference_conditions
from fluewright.errors import InputError, UnitError, UnknownNameError
from fluewright.units import convert, quantity

from .conftest import published

CAPACITY = published("orifice_capacity")
FURNACE = published("furnace_orifices")
US = reference_conditions("US 60 °F, 14.696 psia")


def volume_flow(gas: str, diameter: float, drop: float, density: float) -> float:
    """Return the flow [ft³/h] that a gas of another relative density would have through the hole."""
    burned = fuel(gas)
    heat = orifice_heat_input(burned, diameter=diameter, pressure_drop=drop, coefficient=0.90)
    flow = heat / burned.gross_heating_value_molar * burned.properties(US).molar_volume
    return float(convert(flow, "m^3/s", "ft^3/hour") * np.sqrt(burned.relative_density / density))


def test_there_are_enough_published_orifices_of_both_gases() -> None:
    assert len(CAPACITY) == 171
    assert {row["gas"] for row in CAPACITY} == {"natural gas", "propane", "butane"}
    assert {row["status"] for row in CAPACITY + FURNACE} == {"read"}


@pytest.mark.published
@pytest.mark.parametrize(
    "row", CAPACITY, ids=lambda row: f"{row['drill']}, {row['gas']}, {row['pressure_inch_water']} in."
)
def test_capacity_table(row: dict[str, str]) -> None:
    drop = convert(float(row["pressure_inch_water"]), "inH2O", "Pa")
    found = volume_flow(
        {"natural gas": "natural gas", "propane": "propane", "butane": "butane"}[row["gas"]],
        drill(row["drill"]).diameter,
        drop,
        float(row["relative_density"]),
    )
    # The table counts the gas at its base; before the hole it is denser by its own pressure (root of 1 to 1.027),
    # and its standard air is 0.2 % thinner. Printed to a thousandth.
    denser = np.sqrt(1 + drop / 101325.0)
    assert found / denser == pytest.approx(float(row["value"]), rel=0.003, abs=0.001)


@pytest.mark.published
@pytest.mark.parametrize("row", CAPACITY[::9], ids=lambda row: row["drill"])
def test_drill_diameters(row: dict[str, str]) -> None:
    assert convert(drill(row["drill"]).diameter, "m", "inch") == pytest.approx(
        float(row["diameter_inch"]), abs=5e-5
    )


@pytest.mark.published
def test_a_furnace_makers_table_is_one_orifice_coefficient() -> None:
    implied = []
    for row in FURNACE:
        # A gas of the row's heating value and density: methane's flow, scaled by the square-root law.
        flow = volume_flow(
            "methane",
            drill(row["drill"]).diameter,
            convert(float(row["pressure_inch_water"]), "inH2O", "Pa"),
            float(row["relative_density"]),
        )
        implied.append(0.90 * 22000 / float(row["heating_value"]) / flow)
    # Pressures are printed to 0.1 in. of some 3.5: 1.4 % of the pressure either way, 0.7 % of the flow.
    assert np.mean(implied) == pytest.approx(0.87, abs=0.005)
    assert np.ptp(implied) < 0.02


@pytest.mark.law
@settings(max_examples=40, deadline=None)
@given(st.floats(0.5e-3, 6e-3), st.floats(200.0, 4000.0), st.integers(1, 12), st.floats(0.8, 0.95))
def test_size_pressure_and_heat_invert_each_other(
    size: float, drop: float, count: int, coefficient: float
) -> None:
    gas = fuel("natural gas")
    same = {"count": count, "coefficient": coefficient, "barometric_pressure": 95000.0}
    heat = orifice_heat_input(gas, diameter=size, pressure_drop=drop, **same)
    assert orifice_diameter(gas, heat_input=heat, pressure_drop=drop, **same) == pytest.approx(size)
    assert orifice_pressure_drop(gas, heat_input=heat, diameter=size, **same) == pytest.approx(drop)


@pytest.mark.law
def test_heat_input_of_two_gases_goes_as_their_wobbe_index() -> None:
    one, other = fuel("natural gas"), fuel("propane")
    heat = [orifice_heat_input(gas, diameter=2e-3, pressure_drop=900.0) for gas in (one, other)]
    # Wobbe at 15 °C against heat at 25 °C and relative density real: alike within 0.05 %.
    assert heat[1] / heat[0] == pytest.approx(other.wobbe_gross / one.wobbe_gross, rel=5e-4)


@pytest.mark.law
def test_twice_the_pressure_is_root_two_of_the_heat_but_for_the_denser_gas() -> None:
    heat = orifice_heat_input(fuel("methane"), diameter=2e-3, pressure_drop=np.array([500.0, 1000.0]))
    denser = np.sqrt((101325 + 1000) / (101325 + 500))
    assert heat[1] / heat[0] == pytest.approx(np.sqrt(2) * denser)


@pytest.mark.law
def test_target_pressure_there_and_back_is_referred_to_the_burner_box() -> None:
    there = target_manifold_pressure(
        870.0, heat_input=22e3, heat_input_wanted=20e3, burner_box_pressure=-120.0
    )
    back = target_manifold_pressure(
        there, heat_input=20e3, heat_input_wanted=22e3, burner_box_pressure=-120.0
    )
    assert back == pytest.approx(870.0)
    assert there + 120.0 == pytest.approx((870.0 + 120.0) * (20 / 22) ** 2)


@pytest.mark.law
def test_density_follows_the_gas_law() -> None:
    gas = fuel("propane")
    assert gas_density(gas, pressure=2 * 101325.0) == pytest.approx(2 * gas.properties().density)
    assert gas_density(gas, temperature=2 * 288.15) == pytest.approx(gas.properties().density / 2)


def test_quantities_are_converted_and_wrong_units_are_errors() -> None:
    gas = fuel("methane")
    plain = orifice_heat_input(gas, diameter=2e-3, pressure_drop=870.0)
    assert orifice_heat_input(gas, diameter=quantity(2, "mm"), pressure_drop=quantity(870, "Pa")) == plain
    with pytest.raises(UnitError, match="diameter is given in 'kelvin'"):
        orifice_heat_input(gas, diameter=quantity(2, "kelvin"), pressure_drop=870.0)


@pytest.mark.parametrize("name", ["#54", "54", "No. 54", "no 54"])
def test_a_drill_goes_by_its_usual_names(name: str) -> None:
    assert drill(name).name == "#54"


def test_letters_go_on_from_the_numbers_and_metric_names_are_read() -> None:
    assert drill("f").diameter == pytest.approx(0.257 * 0.0254)
    assert drill("1.4 mm").diameter == pytest.approx(1.4e-3)
    assert nearest_drill(0.2345 * 0.0254, series="number").name == "A"
    assert nearest_drill(1.42e-3, series="metric").name == "1.40 mm"
    assert drill("1.42 mm").diameter == pytest.approx(1.42e-3)
    assert drill("1/8 in").diameter == pytest.approx(3.175e-3)
    assert drill('0.082"').diameter == pytest.approx(0.082 * 0.0254)
    for none in ("#99", "140 mm", "3/0 in"):
        with pytest.raises(UnknownNameError, match="there is no drill size"):
            drill(none)
    with pytest.raises(InputError, match=r"goes from #80 to Z"):
        nearest_drill(0.1e-3, series="number")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"diameter": 0.0}, "diameter must be above zero"),
        ({"pressure_drop": -10.0}, "pressure_drop must be above zero"),
        ({"count": 0}, "count must be above zero"),
        ({"coefficient": 0.0}, "coefficient must be above zero"),
        ({"barometric_pressure": float("nan")}, "barometric_pressure must be above zero"),
    ],
)
def test_what_cannot_flow_is_refused(change: dict[str, float], said: str) -> None:
    with pytest.raises(InputError, match=said):
        orifice_heat_input(fuel("methane"), **{"diameter": 2e-3, "pressure_drop": 870.0} | change)
