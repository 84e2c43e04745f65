"""The vectorised chain as a whole: against Cantera row by row, in blocks, in any unit, for any kind of input."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cantera as ct
import numpy as np
import pandas as pd
import pytest

from fluewright.combustion import (
    Fuel,
    blend,
    carbon_oxygen_test,
    dry_air,
    flue_gas,
    fuel,
    fuel_from_heating_value,
    loss_map,
    moist_air_water_fraction,
    saturation_pressure,
    saturation_temperature,
    sensible_enthalpy,
    stack_loss_european,
    stack_losses,
    vaporization_enthalpy,
)
from fluewright.combustion.blocks import ROWS
from fluewright.units import quantity

ROWS_OF_CANTERA = 10_000
SPECIES = ("CO2", "H2O", "O2", "N2", "Ar", "CO")


def random_readings(rows: int, seed: int) -> dict[str, np.ndarray]:
    random = np.random.default_rng(seed)
    return {
        "oxygen_dry": random.uniform(0.003, 0.18, rows),
        "carbon_monoxide_dry": random.uniform(0.0, 4e-3, rows),
        "air_water_fraction": random.uniform(0.0, 0.05, rows),
        "pressure": random.uniform(70_000.0, 105_000.0, rows),
        "flue_temperature": random.uniform(275.0, 1500.0, rows),
        "air_temperature": random.uniform(215.0, 600.0, rows),
    }


def by_cantera(gas: Fuel, given: dict[str, np.ndarray], condensing: bool) -> np.ndarray:
    """Return gross efficiencies by a plain loop: two linear equations and Cantera's phase for every row."""
    known = {species.name: species for species in ct.Species.list_from_file("nasa_gas.yaml")}
    phase = ct.Solution(thermo="ideal-gas", species=[known[name] for name in SPECIES])
    liquid = {species.name: species for species in ct.Species.list_from_file("nasa_condensed.yaml")}[
        "H2O(L)"
    ].thermo
    air, stoichiometric, heat = dry_air(), gas.stoichiometric_air, gas.gross_heating_value_molar
    base = gas.carbon + gas.sulfur + gas.nitrogen / 2 + gas.atoms("Ar") - gas.oxygen_need

    def above_25(moles: np.ndarray, kelvin: float) -> float:
        held = []
        for temperature in (kelvin, 298.15):
            phase.TPX = temperature, ct.one_atm, moles
            held.append(phase.enthalpy_mole / 1e3)
        return float(moles.sum() * (held[0] - held[1]))

    out = np.empty(len(given["oxygen_dry"]))
    for row, (oxygen, monoxide, water, pressure, flue_kelvin, air_kelvin) in enumerate(
        zip(*(given[name].tolist() for name in given), strict=True)
    ):
        ratio, burnt_half = np.linalg.solve(
            [
                [gas.oxygen_need - oxygen * stoichiometric, 0.5 - oxygen / 2],
                [monoxide * stoichiometric, monoxide / 2 - 1],
            ],
            [gas.oxygen_need + oxygen * base, -monoxide * base],
        )
        air_moles = ratio * stoichiometric
        damp = air_moles * water / (1 - water)
        came = np.array([air["CO2"], damp / air_moles, air["O2"], air["N2"], air["Ar"], 0.0]) * air_moles
        left = np.array(
            [
                gas.carbon + air_moles * air["CO2"] - burnt_half,
                gas.hydrogen / 2 + damp,
                gas.oxygen_need * (ratio - 1) + burnt_half / 2,
                gas.nitrogen / 2 + air_moles * air["N2"],
                gas.atoms("Ar") + air_moles * air["Ar"],
                burnt_half,
            ]
        )
        condensed = 0.0
        saturation = saturation_pressure(flue_kelvin) if flue_kelvin < 647.0 else np.inf
        if condensing and saturation < pressure:
            dry = left.sum() - left[1]
            condensed = max(0.0, left[1] - dry * saturation / (pressure - saturation))
        left[1] -= condensed
        lost = above_25(left, flue_kelvin) + (left[1] - damp) * 44_013.0 + burnt_half * 282_980.0
        if condensed:
            lost += condensed * (liquid.h(flue_kelvin) - liquid.h(298.15)) / 1e3
        out[row] = (heat + above_25(came, air_kelvin) - lost) / heat
    return out


@pytest.mark.law
@pytest.mark.parametrize(("name", "condensing"), [("natural gas", True), ("propane", False)])
def test_ten_thousand_random_rows_equal_cantera_row_by_row(name: str, condensing: bool) -> None:
    given = random_readings(ROWS_OF_CANTERA, seed=20)
    flue = flue_gas(
        fuel(name),
        oxygen_dry=given["oxygen_dry"],
        carbon_monoxide_dry=given["carbon_monoxide_dry"],
        air_water_fraction=given["air_water_fraction"],
        pressure=given["pressure"],
    )
    loss = stack_losses(
        flue,
        flue_temperature=given["flue_temperature"],
        air_temperature=given["air_temperature"],
        condensing=condensing,
    )
    want = by_cantera(fuel(name), given, condensing)
    np.testing.assert_allclose(loss.efficiency_gross, want, rtol=1e-9, atol=1e-9 * np.median(want))
    assert not condensing or np.count_nonzero(loss.condensed_fraction) > 100


@pytest.mark.law
def test_blocks_do_not_show() -> None:
    given = random_readings(2 * ROWS + 37, seed=3)

    def run(rows: slice) -> tuple[np.ndarray, ...]:
        part = {name: column[rows] for name, column in given.items()}
        flue = flue_gas(
            fuel("natural gas"),
            oxygen_dry=part["oxygen_dry"],
            carbon_monoxide_dry=part["carbon_monoxide_dry"],
            air_water_fraction=part["air_water_fraction"],
            pressure=part["pressure"],
        )
        loss = stack_losses(
            flue,
            flue_temperature=part["flue_temperature"],
            air_temperature=part["air_temperature"],
            condensing=True,
        )
        return (
            flue.air_ratio,
            flue.water_dew_point,
            flue.carbon_monoxide_air_free,
            loss.efficiency_gross,
            loss.dry_gas,
        )

    whole = run(slice(None))
    for rows in (slice(0, 5), slice(ROWS - 3, ROWS + 3), slice(2 * ROWS - 1, None)):
        for column, part in zip(whole, run(rows), strict=True):
            np.testing.assert_allclose(part, column[rows], rtol=1e-13)


@pytest.mark.law
def test_empty_arrays_give_empty_results() -> None:
    flue = flue_gas(fuel("natural gas"), oxygen_dry=np.array([]))
    loss = stack_losses(flue, flue_temperature=np.array([]), air_temperature=293.0)
    assert flue.air_ratio.shape == flue.water_dew_point.shape == loss.efficiency_gross.shape == (0,)


@pytest.mark.law
def test_results_do_not_depend_on_the_unit() -> None:
    si = flue_gas(fuel("propane"), oxygen_dry=0.063, carbon_monoxide_dry=85e-6, pressure=98_200.0)
    us = flue_gas(
        fuel("propane"),
        oxygen_dry=quantity(6.3, "percent"),
        carbon_monoxide_dry=quantity(85.0, "ppm"),
        pressure=quantity(98_200.0 / 3386.389, "inHg"),
    )
    assert us.excess_air == pytest.approx(si.excess_air, rel=1e-12)
    assert us.water_dew_point == pytest.approx(si.water_dew_point, rel=1e-6)
    one = stack_losses(si, flue_temperature=450.0, air_temperature=290.0)
    other = stack_losses(
        si,
        flue_temperature=quantity(350.33, "degF"),
        air_temperature=quantity(16.85, "degC"),
        fuel_temperature=None,
    )
    assert other.efficiency_gross == pytest.approx(one.efficiency_gross, rel=1e-12)


GAS = fuel("natural gas")


def _flue(oxygen: Any) -> Any:
    return flue_gas(GAS, oxygen_dry=oxygen)


# Every public function of numbers: how it is called, the values, their unit, another unit with its factor.
CALLS: dict[str, tuple[Callable[[Any], Any], list[float], str, float]] = {
    "flue_gas": (lambda x: _flue(x).excess_air, [0.03, 0.05], "percent", 100.0),
    "flue_gas wet": (lambda x: flue_gas(GAS, oxygen_wet=x).excess_air, [0.03, 0.05], "percent", 100.0),
    "flue_gas carbon dioxide": (
        lambda x: flue_gas(GAS, carbon_dioxide_dry=x).excess_air,
        [0.08, 0.09],
        "percent",
        100.0,
    ),
    "flue_gas excess air": (lambda x: flue_gas(GAS, excess_air=x).oxygen_dry, [0.2, 0.5], "percent", 100.0),
    "flue_gas monoxide": (
        lambda x: flue_gas(GAS, oxygen_dry=0.05, carbon_monoxide_dry=x).carbon_monoxide_air_free,
        [5e-5, 1e-4],
        "ppm",
        1e6,
    ),
    "flue_gas water": (
        lambda x: flue_gas(GAS, oxygen_dry=0.05, air_water_fraction=x).water_dew_point,
        [0.01, 0.02],
        "percent",
        100.0,
    ),
    "stack_losses": (
        lambda x: stack_losses(_flue(0.05), flue_temperature=x, air_temperature=293.0).efficiency_gross,
        [420.0, 480.0],
        "millikelvin",
        1e3,
    ),
    "stack_losses air": (
        lambda x: stack_losses(_flue(0.05), flue_temperature=450.0, air_temperature=x).efficiency_net,
        [280.0, 300.0],
        "millikelvin",
        1e3,
    ),
    "stack_losses fuel": (
        lambda x: (
            stack_losses(
                _flue(0.05), flue_temperature=450.0, air_temperature=293.0, fuel_temperature=x
            ).efficiency_gross
        ),
        [280.0, 300.0],
        "millikelvin",
        1e3,
    ),
    "stack_losses condensate": (
        lambda x: (
            stack_losses(
                _flue(0.05),
                flue_temperature=320.0,
                air_temperature=293.0,
                condensing=True,
                condensate_measured=x,
            ).efficiency_gross
        ),
        [1e-8, 2e-8],
        "gram/kilojoule",
        1e6,
    ),
    "stack_losses casing": (
        lambda x: (
            stack_losses(
                _flue(0.05), flue_temperature=450.0, air_temperature=293.0, casing_loss=x
            ).efficiency_thermal_gross
        ),
        [0.01, 0.02],
        "percent",
        100.0,
    ),
    "stack_loss_european": (
        lambda x: stack_loss_european(x, flue_temperature=450.0, air_temperature=293.0, fuel_kind="propane"),
        [0.03, 0.05],
        "percent",
        100.0,
    ),
    "carbon_oxygen_test": (
        lambda x: carbon_oxygen_test(GAS, oxygen_dry=0.05, carbon_dioxide_dry=x).fuel_factor,
        [0.085, 0.09],
        "percent",
        100.0,
    ),
    "saturation_pressure": (saturation_pressure, [290.0, 330.0], "millikelvin", 1e3),
    "saturation_temperature": (saturation_temperature, [2000.0, 9000.0], "hPa", 1e-2),
    "vaporization_enthalpy": (vaporization_enthalpy, [290.0, 330.0], "millikelvin", 1e3),
    "moist_air_water_fraction": (
        lambda x: moist_air_water_fraction(x, temperature=293.15),
        [0.3, 0.6],
        "percent",
        100.0,
    ),
    "sensible_enthalpy": (
        lambda x: sensible_enthalpy({"CO2": 1.0, "N2": 3.0}, temperature=x),
        [400.0, 1200.0],
        "millikelvin",
        1e3,
    ),
    "fuel_from_heating_value": (
        lambda x: fuel_from_heating_value(x).composition["CH4"],
        [38.2e6, 38.6e6],
        "MJ/m^3",
        1e-6,
    ),
    "blend": (
        lambda x: blend({"natural gas": x, "hydrogen": 1 - x}, by="volume").gross_heating_value,
        [0.8, 0.9],
        "percent",
        100.0,
    ),
    "Fuel": (
        lambda x: Fuel(composition={"CH4": x, "N2": 1 - x}).wobbe_gross,
        [0.9, 0.95],
        "percent",
        100.0,
    ),
    "Fuel.sensible_enthalpy": (
        lambda x: GAS.sensible_enthalpy(temperature=x),
        [280.0, 330.0],
        "millikelvin",
        1e3,
    ),
}


@pytest.mark.law
@pytest.mark.parametrize("name", CALLS)
def test_scalars_arrays_series_and_quantities_give_the_same(name: str) -> None:
    call, values, unit, scale = CALLS[name]
    scalars = [call(value) for value in values]
    assert all(isinstance(result, float) for result in scalars)
    assert all(np.isfinite(scalars))
    given = np.array(values)
    before = given.copy()
    results = {
        "array": call(given),
        "series": call(pd.Series(values, index=["a", "b"])),
        "quantity of an array": call(quantity(given * scale, unit)),
    }
    for kind, result in results.items():
        assert isinstance(result, np.ndarray), kind
        np.testing.assert_allclose(result, scalars, rtol=1e-9, err_msg=kind)
    assert call(quantity(values[0] * scale, unit)) == pytest.approx(scalars[0], rel=1e-9)
    np.testing.assert_array_equal(given, before)


@pytest.mark.law
def test_the_map_takes_quantities() -> None:
    want = loss_map(GAS, oxygen_dry=[0.03, 0.05], flue_temperature=[400.0, 450.0]).efficiency_gross
    got = loss_map(
        GAS, oxygen_dry=quantity([3.0, 5.0], "percent"), flue_temperature=pd.Series([400.0, 450.0])
    )
    np.testing.assert_allclose(got.efficiency_gross, want, rtol=1e-12)


@pytest.mark.law
def test_draws_of_the_fuel_equal_one_fuel_at_a_time() -> None:
    random = np.random.default_rng(5)
    methane = random.uniform(0.85, 0.97, ROWS + 11)
    many = Fuel(composition={"CH4": methane, "C2H6": 0.98 - methane, "N2": 0.02})
    flue = flue_gas(many, oxygen_dry=0.05, carbon_monoxide_dry=1e-4, air_water_fraction=0.01)
    loss = stack_losses(
        flue, flue_temperature=310.0, air_temperature=290.0, fuel_temperature=290.0, condensing=True
    )
    for row in (0, ROWS - 1, ROWS, ROWS + 10):
        one = Fuel(composition={"CH4": methane[row], "C2H6": 0.98 - methane[row], "N2": 0.02})
        single = stack_losses(
            flue_gas(one, oxygen_dry=0.05, carbon_monoxide_dry=1e-4, air_water_fraction=0.01),
            flue_temperature=310.0,
            air_temperature=290.0,
            fuel_temperature=290.0,
            condensing=True,
        )
        for name in (
            "efficiency_gross",
            "efficiency_net",
            "dry_gas",
            "water_latent",
            "credit_air",
            "credit_fuel",
        ):
            assert getattr(loss, name)[row] == pytest.approx(getattr(single, name), rel=1e-12), name
        assert loss.net.water_latent[row] == pytest.approx(single.net.water_latent, rel=1e-9)
