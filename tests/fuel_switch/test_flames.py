"""Flame speeds, limits of flammability, thermal nitric oxide: published values and laws."""

from __future__ import annotations

import numpy as np
import pytest

from fluewright import sources
from fluewright.combustion import Fuel, adiabatic_flame, blend, dry_air, fuel, thermal_nitric_oxide
from fluewright.combustion.flame_speed import computed_flame_speed, laminar_flame_speed
from fluewright.combustion.flammability import flammability_limits
from fluewright.combustion.nitric_oxide import thermal_nitric_oxide_rate
from fluewright.errors import InputError

from .conftest import published

SPEEDS = published("flame_speed")


def composed(text: str) -> Fuel:
    return Fuel(composition={part.split(":")[0]: float(part.split(":")[1]) for part in text.split()})


@pytest.mark.published
@pytest.mark.parametrize("row", SPEEDS, ids=lambda row: f"{row['id']} (value {row['status']})")
def test_flame_speed_lies_within_what_laboratories_measure(row: dict[str, str]) -> None:
    gas, ratio = composed(row["composition"]), row["equivalence_ratio"]
    if ratio == "maximum":
        found = np.max(laminar_flame_speed(gas, equivalence_ratio=np.linspace(0.6, 1.4, 81)).value)
    else:
        found = laminar_flame_speed(gas, equivalence_ratio=float(ratio)).value
    assert float(row["low"]) <= found <= float(row["high"])


@pytest.mark.law
def test_hydrogen_makes_the_flame_faster_and_inert_gas_slower() -> None:
    share = np.linspace(0.0, 1.0, 21)
    speed = laminar_flame_speed(blend({"methane": 1 - share, "hydrogen": share}, by="volume")).value
    assert np.all(np.diff(speed) > 0)
    inert = np.linspace(0.0, 0.3, 13)
    for symbol in ("N2", "CO2"):
        slowed = laminar_flame_speed(Fuel(composition={"CH4": 1 - inert, symbol: inert})).value
        assert np.all(np.diff(slowed) < 0)


@pytest.mark.law
def test_air_in_the_fuel_does_not_change_the_flame_at_the_same_mixture() -> None:
    share = 0.6
    parts = {name: (1 - share) * part for name, part in dry_air().items()}
    mixed = Fuel(composition={"CH4": share, **parts}, normalize=True)
    # What argon and carbon dioxide the air brought counts as inert gas: under half a percent.
    assert laminar_flame_speed(mixed).value == pytest.approx(
        laminar_flame_speed(fuel("methane")).value, rel=0.01
    )


def test_propane_is_measured_and_a_mixture_without_either_is_not_known() -> None:
    assert laminar_flame_speed(fuel("HD-5 propane")).origin == "measured"
    unknown = laminar_flame_speed(blend({"propane": 0.5, "methane": 0.5}, by="volume"))
    assert unknown.origin == ""
    assert np.isnan(unknown.value)
    assert "unsuited to propane" in unknown.note
    with pytest.raises(InputError, match="unsuited to propane, butane and carbon monoxide"):
        computed_flame_speed(fuel("propane"))


def test_rows_outside_of_the_scope_are_not_numbers() -> None:
    nitrogen = np.array([0.1, 0.5])
    found = laminar_flame_speed(Fuel(composition={"CH4": 1 - nitrogen, "N2": nitrogen})).value
    assert np.isfinite(found).tolist() == [True, False]
    with pytest.raises(InputError, match=r"flame speeds are kept from 0\.6 to 1\.4"):
        laminar_flame_speed(fuel("methane"), equivalence_ratio=2.0)


@pytest.mark.slow
@pytest.mark.pin
def test_a_flame_computed_anew_is_the_kept_one() -> None:
    gas = fuel("methane")
    assert computed_flame_speed(gas) == pytest.approx(laminar_flame_speed(gas).value, rel=0.015)


@pytest.mark.slow
@pytest.mark.law
def test_natural_gas_may_count_as_methane() -> None:
    gas = fuel("natural gas")
    assert computed_flame_speed(gas) == pytest.approx(laminar_flame_speed(gas).value, rel=0.03)


@pytest.mark.law
def test_flammability_of_a_pure_gas_is_its_own_and_air_in_it_widens_its_share() -> None:
    data = sources.table("flammability")["limits"]["components"]
    for symbol, (low, high) in data.items():
        limits = flammability_limits(Fuel(composition={symbol: 1.0}))
        assert (limits.lower, limits.upper) == pytest.approx((low, high))
    half = flammability_limits(Fuel(composition={"C3H8": 0.5, "N2": 0.395, "O2": 0.105}))
    assert half.lower == pytest.approx(2 * data["C3H8"][0])


@pytest.mark.law
def test_flammability_of_a_mixture_lies_between_its_parts() -> None:
    share = np.linspace(0.0, 1.0, 11)
    lower = flammability_limits(blend({"methane": 1 - share, "propane": share}, by="volume")).lower
    assert np.all(np.diff(lower) < 0)
    with pytest.raises(InputError, match="nothing in it burns"):
        flammability_limits(Fuel(composition={"N2": 1.0}))


def test_a_gas_that_burns_as_it_is_piped_says_so() -> None:
    lean = Fuel(composition={"C3H8": 0.08, "N2": 0.727, "O2": 0.193})
    assert flammability_limits(lean).upper == 1.0


@pytest.mark.law
@pytest.mark.parametrize("excess_air", [0.0, 0.3])
def test_the_rate_of_nitric_oxide_is_that_of_the_reactor_at_its_beginning(excess_air: float) -> None:
    gas = fuel("methane")
    rate = thermal_nitric_oxide_rate(adiabatic_flame(gas, excess_air=excess_air))
    step = 1e-4
    reacted = (
        thermal_nitric_oxide(gas, residence_time=[0.0, step], excess_air=excess_air).kinetic_dry[1] / step
    )
    # Another source's rate constant: the two differ by 6 to 13 %.
    assert rate == pytest.approx(reacted, rel=0.2)
