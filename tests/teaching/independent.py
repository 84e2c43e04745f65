"""The answers of the worksheet worked another way: other libraries, other data, forward where the sheet goes backward.

Every function takes what a problem gives (SI) and returns the answers in order, in SI; a word stands as it is. Air
holds 20.95 % oxygen and else nitrogen, as textbooks have it, where the sheet counts 20.94 % and argon.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import cea
import chemicals
import iapws
import numpy as np
import psychrolib
from chemicals import heat_capacity

Given = Mapping[str, Any]
AIR_OXYGEN = 0.2095
ATMOSPHERE = 101325.0
GAS_CONSTANT = 8.314462618
FORMULAS = {"methane": (1, 4), "propane": (3, 8), "butane": (4, 10), "hydrogen": (0, 2), "ethane": (2, 6)}
# Heats of formation at 25 °C of the ideal gases [J/mol]: CODATA for CO, CO2 and water, NIST WebBook for the fuels.
FORMATION = {"methane": -74600.0, "ethane": -83850.0, "propane": -104700.0, "butane": -125790.0, "hydrogen": 0.0,
             "CO": -110530.0, "CO2": -393510.0, "H2O": -241826.0, "H2O(l)": -285830.0}  # fmt: skip
_CAS = {"CO2": "124-38-9", "H2O": "7732-18-5", "N2": "7727-37-9", "O2": "7782-44-7", "CO": "630-08-0"}


def stoichiometry(name: str) -> dict[str, float]:
    """Return oxygen, carbon dioxide and water of burning one mole, by the library's count of atoms."""
    carbon, hydrogen = FORMULAS[name]
    atoms = {key: value for key, value in (("C", carbon), ("H", hydrogen)) if value}
    made = chemicals.combustion_stoichiometry(atoms)
    return {"O2": -made["O2"], "CO2": made.get("CO2", 0.0), "H2O": made.get("H2O", 0.0)}


def gross(name: str) -> float:
    """Return the gross heat of combustion at 25 °C [J/mol], by heats of formation."""
    made = stoichiometry(name)
    return FORMATION[name] - made["CO2"] * FORMATION["CO2"] - made["H2O"] * FORMATION["H2O(l)"]


def net(name: str) -> float:
    """Return the net heat of combustion at 25 °C [J/mol]."""
    return gross(name) - stoichiometry(name)["H2O"] * (FORMATION["H2O"] - FORMATION["H2O(l)"])


def sensible(gas: str, kelvin: float) -> float:
    """Return the heat above 25 °C [J/mol], by the heat capacities of the Thermodynamics Research Center."""
    row = heat_capacity.TRC_gas_data.loc[_CAS[gas]]
    a = [row[f"a{n}"] for n in range(8)]
    return float(heat_capacity.TRCCp_integral(kelvin, *a) - heat_capacity.TRCCp_integral(298.15, *a))


def products(name: str, ratio: float, carbon_monoxide: float = 0.0) -> dict[str, float]:
    """Return the wet flue gas of one mole, burned with `ratio` times its air, some carbon left as CO."""
    made = stoichiometry(name)
    need = made["O2"]
    return {
        "CO2": made["CO2"] - carbon_monoxide,
        "CO": carbon_monoxide,
        "H2O": made["H2O"],
        "O2": need * (ratio - 1) + carbon_monoxide / 2,
        "N2": need * ratio * (1 - AIR_OXYGEN) / AIR_OXYGEN,
    }


def dry(gas: Mapping[str, float]) -> float:
    return sum(amount for name, amount in gas.items() if name != "H2O")


def solved(residual: Callable[[float], float], low: float, high: float) -> float:
    """Return the root by bisection: forward calculation, asked backward."""
    rising = residual(high) > residual(low)
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (low, middle) if (residual(middle) > 0) == rising else (middle, high)
    return (low + high) / 2


def ratio_of(name: str, oxygen: float, *, wet: bool = False, carbon_monoxide: float = 0.0) -> float:
    """Return the air ratio whose flue gas shows this oxygen."""

    def residual(ratio: float) -> float:
        left = carbon_monoxide
        for _ in range(20):  # carbon monoxide is a share of dry gas that it itself changes a little
            gas = products(name, ratio, left)
            left = carbon_monoxide * dry(gas)
        return gas["O2"] / (sum(gas.values()) if wet else dry(gas)) - oxygen

    return solved(residual, 1.0, 6.0)


def rule(oxygen: float) -> float:
    return oxygen / (0.209 - oxygen)


def saturation(kelvin: float) -> float:
    """Return the saturation pressure [Pa] by the iapws library."""
    return float(iapws.iapws97._PSat_T(kelvin)) * 1e6


def dew_point(water: float) -> float:
    return float(iapws.iapws97._TSat_P(water * ATMOSPHERE / 1e6))


# ---------------------------------------------------------------------------- stoichiometry, excess air, instrument


def air_for_a_volume(g: Given) -> list[Any]:
    return [g["volume"] * stoichiometry(g["fuel"])["O2"] / AIR_OXYGEN]


def air_for_a_burner(g: Given) -> list[Any]:
    # Real-gas factor of methane at 15 °C: 0.998 (ISO 6976:2016, as quoted).
    per_volume = ATMOSPHERE / (0.998 * GAS_CONSTANT * 288.4)
    gas = g["heat_input"] / (
        1.0008 * gross("methane") * per_volume
    )  # heats at 15 °C are 0.08 % above those at 25 °C
    return [gas, gas * 2 / AIR_OXYGEN * (1 + g["excess_air"])]


def air_for_a_mixture(g: Given) -> list[Any]:
    shares = {"methane": 1 - g["ethane"] - g["carbon_dioxide"] - g["nitrogen"], "ethane": g["ethane"]}
    oxygen = sum(share * stoichiometry(name)["O2"] for name, share in shares.items())
    carbon = sum(share * stoichiometry(name)["CO2"] for name, share in shares.items()) + g["carbon_dioxide"]
    nitrogen = g["nitrogen"] + oxygen * (1 - AIR_OXYGEN) / AIR_OXYGEN
    return [oxygen / AIR_OXYGEN, carbon / (carbon + nitrogen)]


def oxygen_rule(g: Given) -> list[Any]:
    return [rule(g["oxygen_dry"])]


def two_rules(g: Given) -> list[Any]:
    return [rule(g["oxygen_dry"]), ratio_of(g["fuel"], g["oxygen_dry"]) - 1]


def wet_oxygen(g: Given) -> list[Any]:
    ratio = ratio_of(g["fuel"], g["oxygen_wet"], wet=True)
    gas = products(g["fuel"], ratio)
    return [ratio - 1, gas["O2"] / dry(gas)]


def air_free(g: Given) -> list[Any]:
    return [g["carbon_monoxide_dry"] * 0.209 / (0.209 - g["oxygen_dry"])]


def dried_sample(g: Given) -> list[Any]:
    water = saturation(g["sample_dew_point"]) / g["pressure"]
    return [water, g["oxygen_read"] / (1 - water)]


def leaking_probe(g: Given) -> list[Any]:
    flue, room = 1 - g["leak"], g["leak"]
    oxygen, monoxide = flue * g["oxygen_dry"] + room * AIR_OXYGEN, flue * g["carbon_monoxide_dry"]
    return [oxygen, monoxide, rule(oxygen), monoxide * 0.209 / (0.209 - oxygen)]


# ---------------------------------------------------------------------------- flame and emissions


def flame_temperature(g: Given) -> list[Any]:
    gas = products("methane", 1 + g["excess_air"])
    held = net("methane")
    return [solved(lambda t: sum(n * sensible(name, t) for name, n in gas.items() if n) - held, 800, 2600)]


def cea_gas(ratio: float, **state: float) -> tuple[float, dict[str, float]]:
    """Return temperature [K] and wet mole fractions of methane and air by NASA CEA, at fixed T or at fixed enthalpy."""
    names = ["CH4", "O2", "N2"]
    reactants, made = cea.Mixture(names), cea.Mixture(names, products_from_reactants=True)
    solver = cea.EqSolver(made, reactants=reactants)
    solution = cea.EqSolution(solver)
    oxygen = 2 * ratio
    weights = reactants.moles_to_weights(np.array([1.0, oxygen, oxygen * (1 - AIR_OXYGEN) / AIR_OXYGEN]))
    if "temperature" in state:
        solver.solve(solution, cea.TP, state["temperature"], 1.01325, weights)
    else:
        # Fuel at 25 °C, air at its own temperature, each by the program's own enthalpies.
        cold = reactants.calc_property(cea.ENTHALPY, weights, 298.15)
        only_air = weights * np.array([0.0, 1.0, 1.0])
        warm, cool = (reactants.calc_property(cea.ENTHALPY, only_air, t) for t in (state["air"], 298.15))
        share = only_air.sum() / weights.sum()
        solver.solve(solution, cea.HP, (cold + share * (warm - cool)) / cea.R, 1.01325, weights)
    fractions = {name: float(solution.mole_fractions.get(name, 0.0)) for name in ("CO", "CO2", "H2", "O2")}
    return float(solution.T), fractions


def held_by_dissociation(g: Given) -> list[Any]:
    _, gas = cea_gas(1 + g["excess_air"], air=g["air_temperature"])
    moles = 1 / (gas["CO"] + gas["CO2"])
    monoxide, hydrogen = FORMATION["CO"] - FORMATION["CO2"], -FORMATION["H2O"]
    return [moles * (gas["CO"] * monoxide + gas["H2"] * hydrogen) / net("methane")]


def dissociation_constant(g: Given) -> list[Any]:
    return [cea_gas(1 + g["excess_air"], temperature=g["temperature"])[1]["CO"]]


def reference_oxygen(g: Given) -> list[Any]:
    return [g["nitrogen_oxides_dry"] * (20.9 - 3) / (20.9 - 100 * g["oxygen_dry"])]


def per_heat(g: Given) -> list[Any]:
    # 40 CFR 60 Appendix A-7, Method 19: 8710 dscf/MMBtu, and 1.194e-7 lb/scf for 1 ppm of NOx, as quoted.
    pounds = 1.194e-7 * 1e6 * g["nitrogen_oxides_dry"] * 8710 * 20.9 / (20.9 - 100 * g["oxygen_dry"])
    return [pounds * 0.45359237 / 1055.056e6]


def carbon_left(g: Given) -> list[Any]:
    ratio = ratio_of("methane", g["oxygen_dry"], carbon_monoxide=g["carbon_monoxide_dry"])
    left = solved(lambda c: c / dry(products("methane", ratio, c)) - g["carbon_monoxide_dry"], 0.0, 0.5)
    return [left, left * (FORMATION["CO"] - FORMATION["CO2"]) / gross("methane")]


# ---------------------------------------------------------------------------- dew point, losses, fuel switch


def wet_dew_point(g: Given) -> list[Any]:
    gas = products("methane", 1 + g["excess_air"])
    water = gas["H2O"] / sum(gas.values())
    return [water, dew_point(water)]


def humid_air(g: Given) -> list[Any]:
    psychrolib.SetUnitSystem(psychrolib.SI)
    mass = psychrolib.GetHumRatioFromRelHum(g["air_temperature"] - 273.15, g["relative_humidity"], ATMOSPHERE)
    moles = mass / 0.621945
    air = moles / (1 + moles)
    gas = products("methane", 1 + g["excess_air"])
    brought = 2 * (1 + g["excess_air"]) / AIR_OXYGEN * moles
    water = (gas["H2O"] + brought) / (sum(gas.values()) + brought)
    return [air, dew_point(water)]


def condensate(g: Given) -> list[Any]:
    gas = products("methane", 1 + g["excess_air"])
    pressure = saturation(g["flue_temperature"])
    vapor = dry(gas) * pressure / (ATMOSPHERE - pressure)
    flow = g["heat_input"] / gross("methane") * (gas["H2O"] - vapor) * chemicals.MW("7732-18-5") / 1e3
    return [1 - vapor / gas["H2O"], flow]


def european_rule(g: Given) -> list[Any]:
    # 1. BImSchV, Annex, as quoted: natural gas 0.66 and 0.009; liquefied gas 0.63 and 0.008.
    a, b = {"natural gas": (0.66, 0.009), "propane": (0.63, 0.008)}[g["fuel"]]
    return [(g["flue_temperature"] - g["air_temperature"]) * (a / (21 - 100 * g["oxygen_dry"]) + b) / 100]


def efficiency(gas: Mapping[str, float], hot: float, air: float, cold: float) -> float:
    """Return gross efficiency: what goes up the flue, sensible, latent and unburnt, less what the air brought."""
    out = sum(n * sensible(name, hot) for name, n in gas.items() if n)
    latent = gas["H2O"] * (FORMATION["H2O"] - FORMATION["H2O(l)"])
    unburnt = gas["CO"] * (FORMATION["CO"] - FORMATION["CO2"])
    brought = air * (AIR_OXYGEN * sensible("O2", cold) + (1 - AIR_OXYGEN) * sensible("N2", cold))
    return 1 - (out + latent + unburnt - brought) / gross("methane")


def gross_efficiency(g: Given) -> list[Any]:
    gas = products("methane", 1 + g["excess_air"])
    return [efficiency(gas, g["flue_temperature"], 0.0, 298.15)]


def full_balance(g: Given) -> list[Any]:
    ratio = ratio_of("methane", g["oxygen_dry"], carbon_monoxide=g["carbon_monoxide_dry"])
    left = solved(lambda c: c / dry(products("methane", ratio, c)) - g["carbon_monoxide_dry"], 0.0, 0.5)
    made = efficiency(
        products("methane", ratio, left), g["flue_temperature"], 2 * ratio / AIR_OXYGEN, g["air_temperature"]
    )
    return [made, made * gross("methane") / net("methane")]


def wobbe_index(g: Given) -> list[Any]:
    shares = {"methane": 1 - g["ethane"] - g["nitrogen"], "ethane": g["ethane"]}
    heat = sum(share * gross(name) for name, share in shares.items())
    mass = 16.0425 * shares["methane"] + 30.069 * shares["ethane"] + 28.0134 * g["nitrogen"]
    per_volume = 1.0008 * heat * ATMOSPHERE / (0.998 * GAS_CONSTANT * 288.4)
    return [per_volume / math.sqrt(mass / 28.9655 / 0.998)]


def _hydrogen_blend(share: float) -> tuple[float, float, float]:
    """Return heat and oxygen for a mole, and the molar mass, of methane with hydrogen."""
    heat = (1 - share) * gross("methane") + share * gross("hydrogen")
    return heat, 2 * (1 - share) + share / 2, 16.0425 * (1 - share) + 2.0159 * share


def same_orifice(g: Given) -> list[Any]:
    (heat, _, mass), (heat_2, _, mass_2) = _hydrogen_blend(0.0), _hydrogen_blend(g["hydrogen"])
    return [g["heat_input"] * heat_2 / heat * math.sqrt(mass / mass_2)]


def same_air(g: Given) -> list[Any]:
    (_, oxygen, mass), (_, oxygen_2, mass_2) = _hydrogen_blend(0.0), _hydrogen_blend(g["hydrogen"])
    air = (1 + g["excess_air"]) * oxygen / AIR_OXYGEN / math.sqrt(mass / mass_2)  # for one mole of the blend
    left = AIR_OXYGEN * air - oxygen_2
    whole = left + (1 - AIR_OXYGEN) * air + (1 - g["hydrogen"])
    return [air * AIR_OXYGEN / oxygen_2 - 1, left / whole]


# ---------------------------------------------------------------------------- a log, and how sure


def clocked_meter(g: Given, us: bool) -> list[Any]:
    volume = float(g["dial"]) * (0.3048**3 if us else 1.0)
    seconds = round(volume * g["heating_value"] / (g["rated_input"] * g["about"]), 1)
    rate = volume * g["heating_value"] / seconds
    return [rate, rate / g["rated_input"]]


def judged_monoxide(g: Given) -> list[Any]:
    half = max(g["accuracy_absolute"], g["accuracy_of_reading"] * g["carbon_monoxide_dry"])
    factor = 0.209 / (0.209 - g["oxygen_dry"])
    low, middle, high = (factor * (g["carbon_monoxide_dry"] + sign * half) for sign in (-1, 0, 1))
    word = (
        "within" if high < 400e-6 else "beyond" if low > 400e-6 else "cannot tell"
    )  # ANSI Z21.47: 0.04 percent
    return [middle, low, high, word]


def settling(g: Given) -> list[Any]:
    ratio = g["late_rise"] / g["early_rise"]
    left = sum(g["late_rise"] * ratio**step for step in range(1, 4000))
    steady = g["late_rise"] / g["minutes"] * 60 <= 2 / 1.8  # 2 °F per minute
    return [left, "steady" if steady else "not steady"]


def stated_accuracy(g: Given) -> list[Any]:
    half = max(g["accuracy_absolute"], g["accuracy_of_reading"] * g["carbon_monoxide_dry"])
    return [g["carbon_monoxide_dry"] - half, g["carbon_monoxide_dry"] + half]


def oxygen_to_air(g: Given) -> list[Any]:
    return [rule(g["oxygen_dry"] - g["accuracy"]), rule(g["oxygen_dry"] + g["accuracy"])]


def bias_and_noise(g: Given) -> list[Any]:
    # Drawn, not derived: 40,000 visits, each with one error of the cell and two means of noisy readings.
    rng = np.random.default_rng(5)
    bias = rng.uniform(-g["bias"], g["bias"], 40000)
    first, second = rng.normal(0, g["noise"] / math.sqrt(int(g["count"])), (2, 40000))
    return [2 * np.std(bias + first), 2 * np.std((bias + first) - (bias + second))]


WORKED: Mapping[tuple[str, str], Callable[..., list[Any]]] = {
    ("stoichiometry", "basic"): air_for_a_volume,
    ("stoichiometry", "working"): air_for_a_burner,
    ("stoichiometry", "advanced"): air_for_a_mixture,
    ("excess air", "basic"): oxygen_rule,
    ("excess air", "working"): two_rules,
    ("excess air", "advanced"): wet_oxygen,
    ("instrument", "basic"): air_free,
    ("instrument", "working"): dried_sample,
    ("instrument", "advanced"): leaking_probe,
    ("flame", "basic"): flame_temperature,
    ("flame", "working"): held_by_dissociation,
    ("flame", "advanced"): dissociation_constant,
    ("emissions", "basic"): reference_oxygen,
    ("emissions", "working"): per_heat,
    ("emissions", "advanced"): carbon_left,
    ("dew point", "basic"): wet_dew_point,
    ("dew point", "working"): humid_air,
    ("dew point", "advanced"): condensate,
    ("losses", "basic"): european_rule,
    ("losses", "working"): gross_efficiency,
    ("losses", "advanced"): full_balance,
    ("log", "basic"): clocked_meter,
    ("log", "working"): judged_monoxide,
    ("log", "advanced"): settling,
    ("uncertainty", "basic"): stated_accuracy,
    ("uncertainty", "working"): oxygen_to_air,
    ("uncertainty", "advanced"): bias_and_noise,
    ("fuel switch", "basic"): wobbe_index,
    ("fuel switch", "working"): same_orifice,
    ("fuel switch", "advanced"): same_air,
}
