"""Fuels: composition, ISO 6976 properties, blends, and a gas known only by its heating value."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context

import chemicals
import numpy as np
import pytest
from chemicals.combustion import combustion_data, combustion_stoichiometry
from chemicals.reaction import Hfg
from hypothesis import given, settings
from hypothesis import strategies as st

from fluewright import sources
from fluewright.combustion import (
    Fuel,
    ReferenceConditions,
    adiabatic_flame,
    blend,
    dry_air,
    flue_gas,
    fuel,
    fuel_from_heating_value,
    fuel_names,
    heating_value_thermochemical,
    reference_conditions,
    stack_losses,
)
from fluewright.errors import InputError, UnitError, UnknownNameError
from fluewright.units import convert, quantity

COMPONENTS = sources.table("species")["component"]
CAS = {
    "CH4": "74-82-8",
    "C2H6": "74-84-0",
    "C3H8": "74-98-6",
    "n-C4H10": "106-97-8",
    "i-C4H10": "75-28-5",
    "n-C5H12": "109-66-0",
    "i-C5H12": "78-78-4",
    "neo-C5H12": "463-82-1",
    "n-C6H14": "110-54-3",
    "C2H4": "74-85-1",
    "C3H6": "115-07-1",
    "H2": "1333-74-0",
    "CO": "630-08-0",
    "H2S": "7783-06-4",
}
COMBUSTIBLE = sorted(CAS)


@st.composite
def mixtures(draw: st.DrawFn) -> Fuel:
    """Draw a mixture of any components that burns."""
    weights = {name: draw(st.floats(0.0, 1.0)) for name in COMPONENTS}
    weights["CH4"] += 0.2
    weights["O2"] *= 0.1  # a gas with much oxygen of its own needs none to burn
    return Fuel(composition=weights, normalize=True)


def test_the_library_names_every_source() -> None:
    for name in fuel_names():
        gas = fuel(name)
        assert gas.source
        assert gas.status in {"read", "quoted", "memory", "chosen", "defined"}
        assert sum(gas.composition.values()) == pytest.approx(1.0, abs=1e-12)
        assert gas.status == "defined" or gas.assumed or gas.status == "quoted"


@pytest.mark.parametrize("name", fuel_names())
def test_printed_compositions_sum_to_one(name: str) -> None:
    assert sum(sources.table("fuels")[name]["composition"].values()) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.published
def test_natural_gas_has_the_properties_printed_beside_its_analysis() -> None:
    gas = fuel("natural gas")  # the figures are in the source of sources/fuels.toml
    assert gas.relative_density == pytest.approx(0.59, abs=0.005)
    assert gas.gross_heating_value == pytest.approx(38.7e6, abs=0.05e6)
    assert gas.wobbe_gross == pytest.approx(50.4e6, abs=0.05e6)


def _numbers(entry: object) -> list[str]:
    if isinstance(entry, Mapping):
        return [number for value in entry.values() for number in _numbers(value)]
    if isinstance(entry, list):
        return [number for value in entry for number in _numbers(value)]
    return [repr(entry)] if isinstance(entry, int | float) else []


@pytest.mark.pin
@pytest.mark.parametrize(
    ("table", "digest"),
    [
        ("species", "b719076000d5"),
        ("water", "7765dc2cb01e"),
        ("air", "9f917533cebc"),
        ("fuels", "2248f465a052"),
        ("stack_loss", "5fd84d60491d"),
        ("flue_gas", "2d81c1369413"),
        ("reference_conditions", "fd886f112682"),
    ],
)
def test_no_digit_of_a_table_was_edited(table: str, digest: str) -> None:
    """A digit edited in a table of the core fails here, and must be changed here as well."""
    text = " ".join(_numbers(sources.table(table)))
    assert hashlib.sha256(text.encode()).hexdigest()[:12] == digest


@pytest.mark.published
def test_the_air_has_the_molar_mass_of_iso_6976() -> None:
    mass = {"O2": 31.9988, "N2": 28.0134, "Ar": 39.948, "CO2": 44.0095}
    ours = sum(part * mass[name] for name, part in dry_air().items())
    assert ours == pytest.approx(sources.table("species")["air"]["molar_mass"], abs=0.002)
    assert sum(dry_air().values()) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("symbol", COMBUSTIBLE)
def test_molar_mass_and_oxygen_need_against_an_independent_library(symbol: str) -> None:
    gas = Fuel(composition={symbol: 1.0})
    atoms = COMPONENTS[symbol]["atoms"]
    assert gas.molar_mass * 1e3 == pytest.approx(chemicals.MW(CAS[symbol]), abs=2e-3)
    assert gas.oxygen_need == pytest.approx(-combustion_stoichiometry(dict(atoms))["O2"], rel=1e-12)


@pytest.mark.parametrize("symbol", COMBUSTIBLE)
def test_heating_value_against_heats_of_formation_of_two_libraries(symbol: str) -> None:
    gas = Fuel(composition={symbol: 1.0})
    if symbol != "H2S":  # the library counts a different end state of sulfur
        other = combustion_data(formula=symbol.split("-")[-1], Hf=Hfg(CAS[symbol])).HHV
        assert gas.gross_heating_value_molar == pytest.approx(-other, rel=1e-3)
    assert heating_value_thermochemical(gas) == pytest.approx(gas.gross_heating_value_molar, rel=2e-3)


@pytest.mark.law
@pytest.mark.parametrize("name", ["natural gas", "Gulf Coast gas", "propane", "butane", "hydrogen", "G25"])
def test_iso_and_the_mechanism_differ_by_no_more_than_a_few_parts_in_ten_thousand(name: str) -> None:
    gas = fuel(name)
    assert heating_value_thermochemical(gas) == pytest.approx(gas.gross_heating_value_molar, rel=3e-4)
    assert heating_value_thermochemical(gas, basis="net") == pytest.approx(
        gas.net_heating_value_molar, rel=3e-4
    )


def test_an_unknown_basis_is_refused() -> None:
    with pytest.raises(UnknownNameError, match="no basis 'lower'"):
        heating_value_thermochemical(fuel("methane"), basis="lower")


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "dry", "wet", "carbon"), [("methane", 8615, 10626, 1005), ("propane", 8846, 10461, 1211)]
)
def test_fuel_factors_from_a_composition(name: str, dry: float, wet: float, carbon: float) -> None:
    factors = fuel(
        name
    ).fuel_factors  # derived in the collection of published values, from Method 19's definitions
    assert convert(factors.dry, "m^3/J", "ft^3/MMBtu") == pytest.approx(dry, abs=3)
    assert convert(factors.wet, "m^3/J", "ft^3/MMBtu") == pytest.approx(wet, abs=3)
    assert convert(factors.carbon, "m^3/J", "ft^3/MMBtu") == pytest.approx(carbon, abs=1)
    assert factors.ratio == pytest.approx(0.209 * factors.dry / factors.carbon, rel=1e-12)


@pytest.mark.parametrize("name", ["natural gas", "propane", "butane"])
def test_fuel_factor_lies_in_the_published_range(name: str) -> None:
    low, high = sources.table("flue_gas")["fuel_factor_range"][name.replace(" ", "_")]  # value from memory
    assert low < fuel(name).fuel_factors.ratio < high


def test_hydrogen_has_no_fuel_factor_of_carbon() -> None:
    assert np.isnan(fuel("hydrogen").fuel_factors.ratio)


@pytest.mark.law
@settings(max_examples=60, deadline=None)
@given(mixtures())
def test_properties_of_any_mixture_hang_together(gas: Fuel) -> None:
    properties = gas.properties()
    assert properties.gross_heating_value_molar >= properties.net_heating_value_molar > 0
    assert properties.wobbe_gross == pytest.approx(
        properties.gross_heating_value / np.sqrt(properties.relative_density), rel=1e-12
    )
    assert properties.gross_heating_value_mass * gas.molar_mass == pytest.approx(
        properties.gross_heating_value_molar, rel=1e-12
    )
    assert properties.gross_heating_value * properties.molar_volume == pytest.approx(
        properties.gross_heating_value_molar, rel=1e-12
    )
    assert properties.density * properties.molar_volume == pytest.approx(gas.molar_mass, rel=1e-12)
    latent = 44013.0 * gas.hydrogen / 2
    assert gas.gross_heating_value_molar - gas.net_heating_value_molar == pytest.approx(
        latent, rel=1e-9, abs=1e-6
    )
    assert gas.stoichiometric_air == pytest.approx(gas.oxygen_need / dry_air()["O2"], rel=1e-12)
    assert 0 <= gas.ultimate_carbon_dioxide < 1


@pytest.mark.law
def test_a_saturated_volume_holds_less_gas() -> None:
    gas = fuel("natural gas")
    dry = gas.properties(reference_conditions("US 60 °F, 14.73 psia"))
    wet = gas.properties(reference_conditions("US 60 °F, 14.73 psia, saturated"))
    # Common practice without source: saturated at 60 °F and 14.73 psia a cubic foot of ideal gas holds 98.26 % gas.
    ideal = (
        wet.gross_heating_value * wet.compression_factor / (dry.gross_heating_value * dry.compression_factor)
    )
    assert ideal == pytest.approx(0.9826, abs=5e-5)
    lower = gas.properties(reference_conditions("US 60 °F, 14.696 psia"))
    assert dry.gross_heating_value / lower.gross_heating_value == pytest.approx(14.73 / 14.696, rel=1e-5)


@pytest.mark.law
def test_gas_and_air_come_nearer_to_ideal_as_pressure_falls() -> None:
    share = 95_000.0 / 101_325.0
    thin = fuel("methane").properties(ReferenceConditions(pressure=95_000.0))
    factor, air = 1 - share * 0.04452**2, 1 - share * (1 - 0.999595)  # ISO 6976:2016, 15 °C, as quoted
    assert thin.compression_factor == pytest.approx(factor, rel=1e-12)
    assert thin.relative_density == pytest.approx(16.04246 / 28.96546 * air / factor, rel=1e-12)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"combustion_temperature": 290.0}, "combustion_temperature is 290.0 K; ISO 6976 tabulates"),
        ({"metering_temperature": 298.15}, "metering_temperature is 298.15 K; ISO 6976 tabulates"),
        ({"pressure": 50_000.0}, "ISO 6976 covers 90000.0 to 110000.0 Pa"),
        ({"pressure": float("nan")}, "ISO 6976 covers"),
    ],
)
def test_reference_conditions_outside_of_the_tables_are_refused(wrong: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        ReferenceConditions(**wrong)


def test_unknown_reference_conditions_suggest_a_known_one() -> None:
    with pytest.raises(UnknownNameError, match=r"did you mean 'US 60 °F, 14.73 psia'"):
        reference_conditions("US 60 °F, 14.73")


@pytest.mark.parametrize(
    ("composition", "words"),
    [
        ({"CH4": 0.9, "C2H6": 0.05}, "sums to 0.95, not to 1"),
        ({"CH4": 1.1, "C2H6": -0.1}, "a fraction lies between 0 and 1"),
        ({"CH4": 94.0, "C2H6": 6.0}, "a percentage is divided by 100"),
        ({"CH4": float("nan")}, "a fraction lies between 0 and 1"),
        ({"CH4": [0.9, 1.0], "N2": [0.1, 0.1]}, "sums to 1.1, not to 1"),
        ({}, "sums to 0, not to 1"),
    ],
)
def test_a_wrong_composition_is_refused(composition: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Fuel(composition=composition, name="test gas")


def test_an_unknown_component_suggests_a_known_one() -> None:
    with pytest.raises(UnknownNameError, match="no fuel component 'n-C4H11'; did you mean 'n-C4H10'"):
        Fuel(composition={"n-C4H11": 1.0})


def test_a_composition_is_scaled_only_when_asked() -> None:
    gas = Fuel(composition={"CH4": 9.0e-1, "N2": 9.0e-2}, normalize=True)
    assert gas.composition["CH4"] == pytest.approx(0.9 / 0.99)


def test_components_go_by_several_names() -> None:
    gas = Fuel(composition={"methane": 0.9, "Propane": 0.05, "C6+": 0.02, "n-hexane": 0.03})
    assert dict(gas.composition) == pytest.approx({"CH4": 0.9, "C3H8": 0.05, "n-C6H14": 0.05})


def test_a_fuel_cannot_be_changed() -> None:
    gas = fuel("methane")
    with pytest.raises(TypeError, match="does not support item assignment"):
        gas.composition["CH4"] = 0.5  # type: ignore[index]
    with pytest.raises(AttributeError, match="name"):
        gas.name = "other"  # type: ignore[misc]


def test_an_unknown_fuel_suggests_a_known_one() -> None:
    with pytest.raises(UnknownNameError, match="no fuel 'natural gaz'; did you mean 'natural gas'"):
        fuel("natural gaz")


@pytest.mark.law
def test_draws_of_a_composition_give_each_what_one_fuel_gives() -> None:
    methane = np.array([0.90, 0.93, 0.96])
    many = Fuel(composition={"CH4": methane, "C2H6": 0.98 - methane, "N2": 0.02})
    for row, part in enumerate(methane):
        one = Fuel(composition={"CH4": part, "C2H6": 0.98 - part, "N2": 0.02})
        assert many.gross_heating_value[row] == pytest.approx(one.gross_heating_value, rel=1e-14)
        assert many.wobbe_net[row] == pytest.approx(one.wobbe_net, rel=1e-14)
        assert many.ultimate_carbon_dioxide[row] == pytest.approx(one.ultimate_carbon_dioxide, rel=1e-14)


@pytest.mark.law
def test_fractions_may_carry_units() -> None:
    gas = Fuel(composition={"CH4": quantity(94.0, "percent"), "N2": quantity(6.0, "percent")})
    assert gas.composition["CH4"] == pytest.approx(0.94)
    with pytest.raises(UnitError, match="fraction of CH4 is given in 'kilogram'"):
        Fuel(composition={"CH4": quantity(1.0, "kg")})


@pytest.mark.law
@settings(max_examples=30, deadline=None)
@given(mixtures(), mixtures(), st.floats(0.0, 1.0), st.sampled_from(["volume", "energy", "mass"]))
def test_a_blend_holds_the_shares_asked_for(one: Fuel, other: Fuel, share: float, by: str) -> None:
    mixed = blend({one: share, other: 1 - share}, by=by)
    per_mole = {
        "volume": lambda gas: 1.0,
        "energy": lambda gas: gas.gross_heating_value_molar,
        "mass": lambda gas: gas.molar_mass,
    }[by]
    moles_one = share / per_mole(one)
    moles_other = (1 - share) / per_mole(other)
    part = moles_one / (moles_one + moles_other)
    expected = part * one.gross_heating_value_molar + (1 - part) * other.gross_heating_value_molar
    assert mixed.gross_heating_value_molar == pytest.approx(expected, rel=1e-12)
    assert part * per_mole(one) / (part * per_mole(one) + (1 - part) * per_mole(other)) == pytest.approx(
        share
    )


@pytest.mark.law
def test_a_fuel_blended_with_itself_stays_itself() -> None:
    same = blend({fuel("natural gas"): 0.3, "natural gas": 0.7}, by="energy")
    assert same.gross_heating_value == pytest.approx(fuel("natural gas").gross_heating_value, rel=1e-12)
    assert same.kind == "natural gas"
    assert same.assumed


def test_hydrogen_by_energy_is_more_by_volume() -> None:
    assert blend({"natural gas": 0.9, "hydrogen": 0.1}, by="energy").composition["H2"] > 0.25


@pytest.mark.parametrize(
    ("shares", "by", "error", "words"),
    [
        ({"natural gas": 0.5, "hydrogen": 0.4}, "volume", InputError, "shares of a blend sum to 0.9"),
        ({"natural gas": 1.5, "hydrogen": -0.5}, "volume", InputError, "a fraction lies between 0 and 1"),
        ({"natural gas": 0.5, "hydrogen": 0.5}, "weight", UnknownNameError, "way to count a blend 'weight'"),
        ({"natural gas": 0.5, "hydrogn": 0.5}, "volume", UnknownNameError, "did you mean 'hydrogen'"),
        ({}, "volume", InputError, "shares of a blend sum to 0"),
    ],
)
def test_a_wrong_blend_is_refused(
    shares: dict[str, float], by: str, error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        blend(shares, by=by)


def test_inert_gas_cannot_be_blended_by_energy() -> None:
    with pytest.raises(InputError, match="has no heating value"):
        blend({Fuel(composition={"N2": 1.0}, name="nitrogen"): 0.5, "methane": 0.5}, by="energy")


@pytest.mark.law
@settings(max_examples=40, deadline=None)
@given(st.floats(0.0, 0.15), st.floats(0.0, 0.08))
def test_a_bill_gives_back_its_figures(higher: float, inert: float) -> None:
    typical = fuel("natural gas").composition
    parts = {name: part * higher for name, part in typical.items() if name not in {"CH4", "N2", "CO2", "O2"}}
    total = sum(parts.values()) or 1.0
    parts = {name: part * higher / total for name, part in parts.items()}
    parts |= {"N2": inert * 2 / 3, "CO2": inert / 3, "CH4": 1 - sum(parts.values()) - inert}
    gas = Fuel(composition=parts)
    base = reference_conditions("US 60 °F, 14.73 psia, saturated")
    told = gas.properties(base)
    found = fuel_from_heating_value(
        told.gross_heating_value, relative_density=told.relative_density, reference=base
    )
    assert found.properties(base).gross_heating_value == pytest.approx(told.gross_heating_value, rel=1e-9)
    assert found.properties(base).relative_density == pytest.approx(told.relative_density, rel=1e-9)
    assert found.composition["CH4"] == pytest.approx(gas.composition["CH4"], abs=1e-6)
    assert found.carbon == pytest.approx(gas.carbon, abs=1e-6)


def test_a_bill_makes_an_assumed_fuel_and_says_so() -> None:
    found = fuel_from_heating_value(
        quantity(1037.0, "Btu/ft^3"), reference=reference_conditions("US 60 °F, 14.73 psia")
    )
    assert found.status == "assumed"
    assert "composition found from the heating value alone" in found.assumed
    base = reference_conditions("US 60 °F, 14.73 psia")
    assert convert(found.gross_heating_value_volume(base), "J/m^3", "Btu/ft^3") == pytest.approx(
        1037.0, rel=1e-9
    )
    many = fuel_from_heating_value(np.array([38.0e6, 38.5e6, 39.0e6]))
    np.testing.assert_allclose(many.gross_heating_value, [38.0e6, 38.5e6, 39.0e6], rtol=1e-9)


@pytest.mark.parametrize(
    ("heating_value", "density"),
    [(95e6, None), (38.5e6, 1.5), (10e6, None), (float("nan"), None), (-1.0, 0.6)],
)
def test_a_bill_that_fits_no_pipeline_gas_is_refused(heating_value: float, density: float | None) -> None:
    with pytest.raises(InputError, match="no pipeline gas has a gross heating value"):
        fuel_from_heating_value(heating_value, relative_density=density)


@pytest.mark.law
def test_fuels_and_results_pass_between_processes() -> None:
    gas = fuel("natural gas")
    flue = flue_gas(gas, oxygen_dry=np.array([0.03, 0.05]), carbon_monoxide_dry=50e-6)
    again = pickle.loads(pickle.dumps(flue))
    assert dict(again.fuel.composition) == dict(gas.composition)
    assert again.fuel.source == gas.source
    np.testing.assert_array_equal(again.excess_air, flue.excess_air)
    with ProcessPoolExecutor(max_workers=1, mp_context=get_context("spawn")) as pool:
        there = pool.submit(stack_losses, flue, flue_temperature=430.0, air_temperature=293.0).result()
    here = stack_losses(flue, flue_temperature=430.0, air_temperature=293.0)
    np.testing.assert_array_equal(there.efficiency_gross, here.efficiency_gross)


@pytest.mark.law
def test_threads_do_not_disturb_each_other() -> None:
    air = np.linspace(0.0, 1.0, 64)
    alone = [adiabatic_flame(fuel("methane"), excess_air=one).temperature for one in air]
    with ThreadPoolExecutor(max_workers=8) as pool:
        together = list(
            pool.map(lambda one: adiabatic_flame(fuel("methane"), excess_air=one).temperature, air)
        )
    assert together == alone
