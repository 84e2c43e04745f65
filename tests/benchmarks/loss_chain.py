"""How fast is the loss chain, against loops in Cantera and against reading the log it comes from?

One run, one machine state: ratios count, not times. Run: python tests/benchmarks/loss_chain.py [ROWS] [SEED]
"""

from __future__ import annotations

import io
import json
import multiprocessing
import resource
import sys
import time
from collections.abc import Callable
from typing import Any

import cantera as ct
import numpy as np
import pandas as pd

from fluewright.combustion import adiabatic_flame, flue_gas, fuel, saturation_pressure, stack_losses
from fluewright.combustion.air import dry_air

ROWS = 1_000_000
SEED = 7
LOOPED = 2_000
FLAMES = 300
MEMORY_ROWS = 10_000_000
KIBIBYTE = 1024
Readings = dict[str, np.ndarray]


def readings(rows: int, seed: int) -> Readings:
    """Return plausible readings of a condensing appliance, some of them fresh air or nothing."""
    random = np.random.default_rng(seed)
    made = {
        "oxygen_dry": random.uniform(0.02, 0.12, rows),
        "carbon_monoxide_dry": random.uniform(0.0, 5e-4, rows),
        "flue_temperature": random.uniform(305.0, 480.0, rows),
        "air_temperature": random.uniform(255.0, 310.0, rows),
        "air_water_fraction": random.uniform(0.0, 0.03, rows),
    }
    made["oxygen_dry"][::50] = 0.2095
    made["carbon_monoxide_dry"][7::100] = np.nan
    return made


def chain(given: Readings) -> tuple[Any, ...]:
    """Return what an audit asks: balance, both rules, air-free CO, losses, condensing, dew point."""
    flue = flue_gas(
        fuel("natural gas"),
        oxygen_dry=given["oxygen_dry"],
        carbon_monoxide_dry=given["carbon_monoxide_dry"],
        air_water_fraction=given["air_water_fraction"],
    )
    loss = stack_losses(
        flue,
        flue_temperature=given["flue_temperature"],
        air_temperature=given["air_temperature"],
        condensing=True,
    )
    return flue, loss, flue.water_dew_point, flue.carbon_monoxide_air_free


def property_loop(given: Readings, rows: int) -> np.ndarray:
    """Return the gross efficiency of the first rows by plain Python and Cantera's enthalpies, row by row."""
    gas = fuel("natural gas")
    known = {species.name: species for species in ct.Species.list_from_file("nasa_gas.yaml")}
    names = ["CO2", "H2O", "O2", "N2", "Ar", "CO"]
    phase = ct.Solution(thermo="ideal-gas", species=[known[name] for name in names])
    liquid = {species.name: species for species in ct.Species.list_from_file("nasa_condensed.yaml")}[
        "H2O(L)"
    ].thermo
    air = dry_air()
    carbon, half, need = gas.carbon, gas.hydrogen / 2, gas.oxygen_need
    base, heat = gas.dry_products_without_air, gas.gross_heating_value_molar
    phase.TP = 298.15, ct.one_atm
    zero = phase.partial_molar_enthalpies / 1e3
    liquid_zero = liquid.h(298.15) / 1e3
    out = np.full(rows, np.nan)
    for row in range(rows):
        oxygen, monoxide = given["oxygen_dry"][row], given["carbon_monoxide_dry"][row]
        if not oxygen < 0.209 or np.isnan(monoxide):
            continue
        water = given["air_water_fraction"][row]
        dry = (base + need / air["O2"]) / (1 - monoxide / 2 - (oxygen - monoxide / 2) / air["O2"])
        air_moles = dry * (1 - monoxide / 2) - base
        damp = air_moles * water / (1 - water)
        vapor = half + damp
        products = np.array(
            [
                carbon + air_moles * air["CO2"] - monoxide * dry,
                vapor,
                oxygen * dry,
                gas.nitrogen / 2 + air_moles * air["N2"],
                air_moles * air["Ar"],
                monoxide * dry,
            ]
        )
        phase.TP = given["flue_temperature"][row], ct.one_atm
        sensible = phase.partial_molar_enthalpies / 1e3 - zero
        saturation = saturation_pressure(float(given["flue_temperature"][row]))
        condensed = (
            max(0.0, vapor - dry * saturation / (101325.0 - saturation)) if saturation < 101325.0 else 0.0
        )
        lost = products @ sensible - condensed * sensible[1]
        lost += condensed * (liquid.h(given["flue_temperature"][row]) / 1e3 - liquid_zero)
        lost += (half - condensed) * 44013.0 + monoxide * dry * 282980.0
        phase.TP = given["air_temperature"][row], ct.one_atm
        brought = phase.partial_molar_enthalpies / 1e3 - zero
        moist = np.array([air["CO2"], 0.0, air["O2"], air["N2"], air["Ar"], 0.0]) * air_moles
        moist[1] = damp
        out[row] = 1 - (lost - moist @ brought) / heat
    return out


def equilibrium_loop(given: Readings, rows: int) -> None:
    """Do as a careless notebook does: burn each row at equilibrium with the full mechanism of 53 species."""
    phase = ct.Solution("gri30.yaml")
    for row in range(rows):
        excess = given["oxygen_dry"][row] / max(0.209 - given["oxygen_dry"][row], 0.01)
        phase.TP = given["air_temperature"][row], ct.one_atm
        phase.set_equivalence_ratio(1 / (1 + excess), "CH4:0.95, C2H6:0.04, N2:0.01", "O2:0.21, N2:0.79")
        phase.equilibrate("HP")


def full_mechanism_flames(excess_air: np.ndarray) -> np.ndarray:
    """Return adiabatic flame temperatures by the 53-species mechanism, in a plain loop."""
    phase = ct.Solution("gri30.yaml")
    air = {name.upper(): part for name, part in dry_air().items()}
    out = []
    for excess in excess_air:
        phase.TP = 298.15, ct.one_atm
        phase.set_equivalence_ratio(1 / (1 + excess), "CH4:1", air)
        phase.equilibrate("HP")
        out.append(phase.T)
    return np.array(out)


def log_text(rows: int, seed: int) -> str:
    """Return a log of 15 columns with a time in the first, as an instrument writes it."""
    random = np.random.default_rng(seed)
    frame = pd.DataFrame({f"channel {n}": np.round(random.uniform(0, 500, rows), 1) for n in range(14)})
    frame.insert(0, "time", pd.date_range("2026-01-14", periods=rows, freq="s").strftime("%Y-%m-%d %H:%M:%S"))
    return frame.to_csv(index=False)


def best_time(work: Callable[[], Any], times: int = 3) -> float:
    """Return the shortest of several runs [s]."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return min(taken)


def peak_against_values(rows: int, seed: int) -> float:
    """Return peak memory of the chain over the memory of its inputs and outputs, in a process of its own."""
    chain(readings(1000, seed))  # libraries and tables are not the chain's memory
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    given = plain_readings(rows, seed)
    flue, loss, dew_point, air_free = chain(given)
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * KIBIBYTE
    columns = [*given.values(), dew_point, air_free]
    for result in (flue, loss):
        columns += [getattr(result, name) for name in result.__slots__]
    arrays = [column for column in columns if isinstance(column, np.ndarray)]
    held = {array.__array_interface__["data"][0]: array.nbytes for array in arrays}
    return grown / sum(held.values())


def plain_readings(rows: int, seed: int) -> Readings:
    """Return readings like `readings`, made without temporaries that would count as the chain's peak."""
    random = np.random.default_rng(seed)
    spans = {
        "oxygen_dry": (0.02, 0.12),
        "carbon_monoxide_dry": (0.0, 5e-4),
        "flue_temperature": (305.0, 480.0),
        "air_temperature": (255.0, 310.0),
        "air_water_fraction": (0.0, 0.03),
    }
    made = {}
    for name, (low, high) in spans.items():
        column = random.random(rows)
        column *= high - low
        column += low
        made[name] = column
    return made


def main() -> None:
    """Measure, print for people, and print the figures as one JSON object."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else ROWS
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else SEED
    with multiprocessing.get_context("spawn").Pool(1) as pool:  # first, while this process is still small
        memory = pool.apply(peak_against_values, (MEMORY_ROWS, seed))
    given = readings(rows, seed)
    text = log_text(rows, seed)
    chain_time = best_time(lambda: chain(given))
    read_time = best_time(lambda: pd.read_csv(io.StringIO(text), parse_dates=["time"]), times=2)
    chain_time = min(chain_time, best_time(lambda: chain(given)))
    looped = min(LOOPED, rows)
    by_loop = property_loop(given, looped)
    by_chain = chain({name: column[:looped] for name, column in given.items()})[1].efficiency_gross
    np.testing.assert_allclose(by_chain, by_loop, rtol=1e-9)
    property_time = best_time(lambda: property_loop(given, looped), times=2) / looped
    equilibrium_time = best_time(lambda: equilibrium_loop(given, min(500, looped)), times=2) / min(
        500, looped
    )
    excess_air = np.random.default_rng(seed).uniform(-0.3, 1.0, FLAMES)
    mine = adiabatic_flame(fuel("methane"), excess_air=excess_air).temperature
    assert np.max(np.abs(mine - full_mechanism_flames(excess_air))) < 1.0
    flame_time = best_time(lambda: adiabatic_flame(fuel("methane"), excess_air=excess_air))
    full_time = best_time(lambda: full_mechanism_flames(excess_air), times=2)
    per_row = chain_time / rows
    figures = {
        "readings_per_s": round(1 / per_row),
        "ratio_to_cantera_property_loop": round(property_time / per_row, 1),
        "ratio_to_cantera_equilibrium_loop": round(equilibrium_time / per_row, 1),
        "time_ratio_to_read_csv": round(chain_time / read_time, 3),
        "memory_ratio": round(memory, 3),
        "equilibrium_ratio_to_full_mechanism": round(full_time / flame_time, 2),
        "rows": rows,
        "seed": seed,
    }
    print(f"loss chain, {rows:,} rows: {chain_time:.3f} s; reading their log: {read_time:.3f} s")
    print(f"per row: chain {per_row * 1e9:.0f} ns, Cantera's enthalpies {property_time * 1e6:.1f} µs,")
    print(f"         Cantera's equilibrium of 53 species {equilibrium_time * 1e6:.0f} µs")
    print(
        f"flames: {FLAMES / flame_time:.0f} per s, by the 53-species mechanism {FLAMES / full_time:.0f} per s"
    )
    print(f"peak memory, {MEMORY_ROWS:,} rows: {memory:.2f} times inputs and outputs")
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
