"""The study: identities of a conversion, balances for each fuel, and what it concludes."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import resources
from typing import Any

import jsonschema
import numpy as np
import pytest

from fluewright import combustion
from fluewright.combustion import fuel, fuel_names
from fluewright.combustion.forward import enthalpy
from fluewright.studies.fuel_switch import FuelSwitch, fuel_switch, read_request, results_text
from fluewright.studies.fuel_switch.convert import primary_air_share
from fluewright.studies.fuel_switch.study import FuelCase

from .conftest import DEMO

Study = Callable[[dict[str, Any]], FuelSwitch]
FUELS = ["propane", "biomethane", "hydrogen", "butane", "G25"]


def there_and_back(asked: dict[str, Any], study: Study, name: str) -> tuple[FuelCase, FuelCase]:
    asked["proposed"] = [{"name": name, "manifold_pressure": "10 inH2O"}]
    there = study(asked).proposed[0]
    asked["present"], asked["proposed"] = (
        asked["proposed"][0],
        [{**asked["present"], "manifold_pressure": "3.5 inH2O"}],
    )
    asked["appliance"].pop("manifold_pressure")
    return there, study(asked).proposed[0]


@pytest.mark.law
@pytest.mark.parametrize("name", FUELS)
def test_there_and_back_returns_the_start(asked: dict[str, Any], study: Study, name: str) -> None:
    there, back = there_and_back(asked, study, name)
    for quantity in ("orifice_area_relative", "pipe_pressure_drop_relative"):
        product = [case.conversion.numbers[quantity].value for case in (there, back) if case.conversion]
        assert np.prod(product) == pytest.approx(1.0)
    heat = [case.unchanged.numbers["heat_input_relative"].value for case in (there, back) if case.unchanged]
    assert np.prod(heat) == pytest.approx(1.0)


@pytest.mark.law
@pytest.mark.parametrize("name", FUELS)
def test_orifice_area_is_the_square_root_law_with_wobbe(
    asked: dict[str, Any], study: Study, name: str
) -> None:
    there, _ = there_and_back(asked, study, name)
    assert there.conversion is not None
    was, now, air = 3.5 * 249.08891, 10 * 249.08891, 101325.0
    law = fuel("natural gas").wobbe_gross / fuel(name).wobbe_gross * np.sqrt(was / now)
    denser = np.sqrt((air + was) / (air + now))
    assert there.conversion.numbers["orifice_area_relative"].value == pytest.approx(law * denser, rel=1e-3)


@pytest.mark.law
def test_a_known_orifice_cancels_the_discharge_coefficient(asked: dict[str, Any], study: Study) -> None:
    asked["appliance"] |= {"orifices": 4}
    wide = study(asked).proposed[0].conversion
    asked["appliance"] |= {"orifice": "#43"}
    narrow = study(asked).proposed[0].conversion
    assert wide is not None
    assert narrow is not None
    widths = [
        one.numbers["orifice_diameter"].high - one.numbers["orifice_diameter"].low for one in (wide, narrow)
    ]
    assert widths[0] > 2.5 * widths[1]
    assert narrow.numbers["orifice_diameter"].value == pytest.approx(
        narrow.numbers["orifice_diameter_present"].value
        * np.sqrt(narrow.numbers["orifice_area_relative"].value)
    )
    for size in narrow.sizes:
        area = (size.drill.diameter / narrow.numbers["orifice_diameter"].value) ** 2
        assert size.relative.value == pytest.approx(area)


@pytest.mark.law
@pytest.mark.parametrize("name", ["natural gas", "propane", "butane", "hydrogen", "biomethane"])
def test_heat_balances_for_each_fuel(asked: dict[str, Any], study: Study, name: str) -> None:
    if name != "natural gas":
        asked["proposed"] = [{"name": name}]
    made = study(asked)
    case = made.present if name == "natural gas" else made.proposed[0]
    gas = fuel(name)
    water = float(made.givens.air_water_fraction[0])
    flue = combustion.flue_gas(gas, oxygen_dry=0.06, air_water_fraction=water)
    burned = {part: float(moles) for part, moles in flue.moles.items() if part in {"CO2", "H2O", "O2", "N2"}}
    burned["AR"] = float(flue.moles["Ar"])
    share = combustion.dry_air()
    air = {"AR" if part == "Ar" else part: float(flue.air_moles) * share[part] for part in share}
    air["H2O"] = float(flue.air_water_moles)
    # All water stays vapor: the net heating value, less what the flue gas and plus what the air hold above 25 °C.
    useful = (
        gas.net_heating_value_molar
        + float(enthalpy(air, 293.15) - enthalpy(air, 298.15))
        - float(enthalpy(burned, 453.15) - enthalpy(burned, 298.15))
    )
    found = case.same_oxygen.numbers["efficiency_gross"].value
    assert found == pytest.approx(useful / gas.gross_heating_value_molar, abs=2e-4)


@pytest.mark.law
def test_mass_goes_in_as_it_comes_out(demo: FuelSwitch) -> None:
    for case in demo.cases:
        numbers, gas = case.same_oxygen.numbers, case.gas.fuel
        moles = demo.givens.heat_input / gas.gross_heating_value_molar
        air = (
            numbers["combustion_air_flow"].value
            * demo.givens.pressure[0]
            / (8.314462618 * demo.givens.air_temperature[0])
        )
        water = demo.givens.air_water_fraction[0]
        mass = moles * gas.molar_mass + air * ((1 - water) * 28.96546e-3 + water * 18.01528e-3)
        assert numbers["stack_mass_flow"].value == pytest.approx(mass, rel=1e-5)


@pytest.mark.law
def test_the_same_air_at_the_same_heat_moves_oxygen_little(demo: FuelSwitch) -> None:
    for case in demo.proposed:
        assert case.same_air.numbers["oxygen_dry"].value == pytest.approx(0.065, abs=0.006)
        flow = [one.same_air.numbers["combustion_air_flow"].value for one in (demo.present, case)]
        assert flow[1] == pytest.approx(flow[0], rel=1e-9)


@pytest.mark.law
def test_a_gas_much_like_the_present_one_needs_nothing(asked: dict[str, Any], study: Study) -> None:
    asked["proposed"] = [{"name": "Gulf Coast gas"}]
    case = study(asked).proposed[0]
    assert case.unchanged is not None
    assert case.unchanged.weight == "note"
    assert case.unchanged.numbers["heat_input_relative"].value == pytest.approx(1.0, abs=0.01)
    assert {one.outcome for one in case.unchanged.indices} <= {"within", "beyond preferable"}
    assert "the maker's word comes first" in case.conclusion


def test_propane_on_a_natural_gas_appliance_is_a_stop(asked: dict[str, Any], study: Study) -> None:
    case = study(asked).proposed[0]
    assert case.unchanged is not None
    assert case.unchanged.weight == "stop"
    said = " ".join(reason.text for reason in case.unchanged.reasons)
    gas, present = fuel("propane"), fuel("natural gas")
    heat = gas.wobbe_gross / present.wobbe_gross
    need = (gas.stoichiometric_air / gas.gross_heating_value_molar) / (
        present.stoichiometric_air / present.gross_heating_value_molar
    )
    air = combustion.flue_gas(present, oxygen_dry=0.06).air_ratio / heat / need
    assert f"It would fire at {100 * heat:.0f} % of the heat input" in said
    assert air < 1
    assert case.unchanged.numbers["air_ratio"].value == pytest.approx(air, rel=1e-3)
    assert "of the air it needs: the flue gas would hold some" in said
    assert "another family of gas" in said
    assert "sinks to floors" in said
    assert case.conclusion == "Never connect propane to this appliance as it is."


def test_hydrogen_is_never_within_a_family(asked: dict[str, Any], study: Study) -> None:
    asked["proposed"] = [{"name": "hydrogen"}, {"blend": {"natural gas": 0.8, "hydrogen": 0.2}}]
    pure, mixed = study(asked).proposed
    assert pure.unchanged is not None
    assert mixed.unchanged is not None
    assert pure.unchanged.weight == "stop"
    assert "no group of gas" in pure.unchanged.reasons[0].text + pure.unchanged.reasons[1].text
    assert mixed.unchanged.weight == "correct"
    assert mixed.unchanged.scope == ""


@pytest.mark.law
def test_primary_air_of_the_same_gas_at_the_same_area_is_the_same(demo: FuelSwitch) -> None:
    gas = demo.present.gas
    assert primary_air_share(gas, gas, demo.givens, np.ones(1)) == pytest.approx(1.0)
    # A smaller hole at the same heat is a faster jet: more air.
    assert np.all(primary_air_share(gas, gas, demo.givens, np.array(0.5)) > 1.0)


@pytest.mark.law
def test_intervals_hold_their_values_and_are_there_where_something_is_unsure(demo: FuelSwitch) -> None:
    for case in demo.cases:
        for number in (*case.properties.values(), *case.same_oxygen.numbers.values()):
            assert not number.has_interval or number.low <= number.value <= number.high
    assert demo.proposed[0].properties["wobbe_gross"].has_interval  # by the composition of the day
    unsure = demo.present.same_oxygen.numbers["efficiency_gross"]
    assert unsure.high - unsure.low > 0.01  # by oxygen to half a point and the flue to 10 K


@pytest.mark.law
def test_sweeps_start_at_today_and_run_the_right_way(demo: FuelSwitch) -> None:
    by_name = {one.name: one for one in demo.sweeps}
    assert set(by_name) == {"hydrogen", "propane-air", "inert", "altitude"}
    for name in ("hydrogen", "inert", "altitude"):
        heat = by_name[name].panels[0].curves[0].values
        assert heat[0] == pytest.approx(1.0)
        assert np.all(np.diff(heat[: len(heat) // 2]) < 0)
    crossing = by_name["propane-air"].panels[0].curves[0].values
    assert crossing[0] < 1 < crossing[-1]
    assert np.all(np.diff(crossing) > 0)


@pytest.mark.published
def test_carbon_dioxide_per_heat_is_that_of_the_published_factors(demo: FuelSwitch) -> None:
    # 40 CFR 98 Table C-1 as quoted: natural gas 53.06, propane gas 61.46 kg/MMBtu; its gases differ from these.
    per = 1e6 * 1055.05585262
    natural, propane = demo.proposed[0], demo.present
    assert natural.properties["carbon_dioxide_per_heat"].value * per == pytest.approx(53.06, rel=0.005)
    assert propane.properties["carbon_dioxide_per_heat"].value * per == pytest.approx(62.87, rel=0.005)


def test_results_match_their_published_schema(demo: FuelSwitch) -> None:
    folder = resources.files("fluewright.studies.fuel_switch")
    schema = json.loads(folder.joinpath("results.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    found = json.loads(results_text(demo))
    jsonschema.validate(found, schema)
    found["fuels"][0]["properties"]["wobbe_gross"].pop("unit")
    with pytest.raises(jsonschema.ValidationError, match="'unit' is a required property"):
        jsonschema.validate(found, schema)


def test_the_same_request_gives_the_same_results(demo: FuelSwitch) -> None:
    assert results_text(fuel_switch(read_request(DEMO))) == results_text(demo)


def test_every_fuel_of_the_library_can_be_asked_about(asked: dict[str, Any], study: Study) -> None:
    for name in fuel_names():
        if name != "natural gas":
            asked["proposed"] = [{"name": name}]
            case = study(asked).proposed[0]
            assert case.unchanged is not None
            assert case.conclusion
