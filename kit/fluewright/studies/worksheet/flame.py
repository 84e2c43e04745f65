"""Problems on the flame: how hot it is, what dissociates, what is left as carbon monoxide and nitric oxide."""

from __future__ import annotations

import math

from fluewright import sources
from fluewright.combustion import (
    adiabatic_flame,
    dry_flue_by_factor,
    emission_per_heat,
    equilibrium_products,
    flue_gas,
    fraction_at_reference_oxygen,
    fuel,
    mass_concentration,
    published_fuel_factor,
    stack_losses,
)
from fluewright.studies.worksheet.air import trade_oxygen
from fluewright.studies.worksheet.draw import Draw, Task, amount, answer, number

REFERENCE = 298.15  # K, where heats of combustion are tabulated
_PERCENT, _KILO = 100.0, 1e3


def gross_heats() -> dict[str, float]:
    """Return the gross heats of combustion at 25 °C [J/mol] of the gases that may stay unburnt."""
    iso = sources.table("species")
    return {name: float(iso["component"][name]["gross"][-1]) * _KILO for name in ("CO", "H2", "CH4")}


# ---------------------------------------------------------------------------- adiabatic flame and dissociation


def flame_temperature(draw: Draw) -> Task:
    """All the heat into the products."""
    extra = draw.amount("excess_air", (0, 120, 0.5, "percent"))
    gas = fuel("methane")
    hot = float(adiabatic_flame(gas, excess_air=extra.si).frozen_temperature)
    moles = 1 + float(gas.stoichiometric_air) * (1 + extra.si)
    heat = float(gas.net_heating_value_molar)
    capacity = heat / moles / (hot - REFERENCE)
    unit = draw.pick("degF", "degC")
    rise = hot - REFERENCE
    start = "77 + 1.8 × " if draw.system == "US" else "25 + "
    return Task(
        title="The flame without dissociation",
        text=(
            f"One mole of methane burns completely in dry air with {extra} excess, all at "
            f"{draw.pick('77 °F', '25 °C')}. Its net heat, {number(heat / _KILO)} kJ, goes into the products, whose "
            f"mean heat capacity on the way up is {number(capacity)} J/(mol K). How hot do they become, if nothing "
            "dissociates?"
        ),
        steps=(
            "Products, as many moles as went in (CH₄ + 2 O₂ → CO₂ + 2 H₂O): 1 + "
            f"{number(float(gas.stoichiometric_air))} × {number(1 + extra.si)} = {number(moles)} mol.",
            f"Rise: {number(heat)} ÷ ({number(moles)} × {number(capacity)}) = {number(rise)} K.",
            f"Temperature: {start}{number(rise)} = {amount(hot, unit)}.",
        ),
        answers=(answer("Flame temperature, no dissociation", hot, unit, decimals=0, within=0.015),),
    )


def held_by_dissociation(draw: Draw) -> Task:
    """The heat that carbon monoxide and hydrogen keep in the flame."""
    air = draw.amount("air_temperature", (40, 900, 1, "degF"), (5, 480, 1, "degC"))
    extra = draw.amount("excess_air", (0, 15, 0.5, "percent"))
    gas = fuel("methane")
    flame = adiabatic_flame(gas, excess_air=extra.si, air_temperature=air.si)
    monoxide, dioxide, hydrogen = (float(flame.composition[name]) for name in ("CO", "CO2", "H2"))
    moles = 1 / (monoxide + dioxide)
    heats = gross_heats()
    vapor = heats["H2"] - (gas.gross_heating_value_molar - gas.net_heating_value_molar) / 2
    net = float(gas.net_heating_value_molar)
    held = moles * (monoxide * heats["CO"] + hydrogen * vapor)
    a, b, c = (number(v / _KILO) for v in (heats["CO"], vapor, net))
    return Task(
        title="Heat held by dissociation",
        text=(
            f"Methane burns with {extra} excess air that arrives at {air}. At equilibrium the adiabatic flame has "
            f"{amount(flame.temperature, draw.pick('degF', 'degC'))}, and of its wet gas "
            f"{number(_PERCENT * monoxide)} % is carbon monoxide, {number(_PERCENT * dioxide)} % carbon dioxide and "
            f"{number(_PERCENT * hydrogen)} % hydrogen. What share of the net heat ({c} kJ/mol) is not set free "
            f"there? Carbon monoxide holds {a} kJ/mol and hydrogen, to water vapor, {b} kJ/mol."
        ),
        steps=(
            f"Carbon is kept: moles of gas for one of methane, 1 ÷ ({number(monoxide)} + {number(dioxide)}) = "
            f"{number(moles)}.",
            f"Heat held: {number(moles)} × ({number(monoxide)} × {a} + {number(hydrogen)} × {b}) = "
            f"{number(held / _KILO)} kJ.",
            f"Share: {number(held / _KILO)} ÷ {c} = {number(held / net)}, or {number(_PERCENT * held / net, 3)} %.",
        ),
        answers=(answer("Share of the net heat held", held / net, "percent", decimals=1, within=0.03),),
    )


def dissociation_constant(draw: Draw) -> Task:
    """One constant, two gases: the law of mass action."""
    hot = draw.amount("temperature", (3000, 3900, 5, "degF"), (1650, 2150, 5, "degC"))
    extra = draw.amount("excess_air", (5, 60, 1, "percent"))
    gas = fuel("methane")
    even, lean = (
        equilibrium_products(gas, air_ratio=ratio, temperature=hot.si).wet for ratio in (1.0, 1 + extra.si)
    )
    constant = float(even["CO2"]) / float(even["CO"]) / math.sqrt(float(even["O2"]))
    monoxide, dioxide, oxygen = (float(lean[name]) for name in ("CO", "CO2", "O2"))
    return Task(
        title="Carbon monoxide at equilibrium",
        text=(
            f"At {hot} and one atmosphere, the products of methane with just enough air hold "
            f"{number(_PERCENT * float(even['CO2']))} % carbon dioxide, {number(_PERCENT * float(even['CO']))} % "
            f"carbon monoxide and {number(_PERCENT * float(even['O2']))} % oxygen at equilibrium. With {extra} "
            f"excess air, at the same temperature, they hold {number(_PERCENT * dioxide)} % carbon dioxide and "
            f"{number(_PERCENT * oxygen)} % oxygen (all wet). How much carbon monoxide do they hold then?"
        ),
        steps=(
            "At one temperature and pressure CO₂ ÷ (CO × √O₂) is a constant.",
            f"The constant: {number(float(even['CO2']))} ÷ ({number(float(even['CO']))} × "
            f"√{number(float(even['O2']))}) = {number(constant)}.",
            f"Carbon monoxide: {number(dioxide)} ÷ ({number(constant)} × √{number(oxygen)}) = {number(monoxide)}, or "
            f"{amount(monoxide, 'ppm', 3)}.",
        ),
        answers=(answer("Carbon monoxide at equilibrium, wet", monoxide, "ppm", decimals=-1, within=0.03),),
    )


# ---------------------------------------------------------------------------- where CO and NO come from


def reference_oxygen(draw: Draw) -> Task:
    """Nitrogen oxides at a stated oxygen."""
    made = draw.amount("nitrogen_oxides_dry", (15, 120, 1, "ppm"))
    oxygen = draw.amount("oxygen_dry", (4, 12, 0.1, "percent"))
    at = fraction_at_reference_oxygen(made.si, oxygen_dry=oxygen.si, reference_oxygen=0.03)
    fresh = trade_oxygen()
    return Task(
        title="Nitrogen oxides at 3 % oxygen",
        text=f"Dry flue gas holds {made} of nitrogen oxides at {oxygen} oxygen. How much is that at 3 % oxygen?",
        steps=(f"{made.bare} × ({fresh} − 3) ÷ ({fresh} − {oxygen.bare}) = {amount(at, 'ppm', 3)}.",),
        answers=(answer("Nitrogen oxides, dry, at 3 % oxygen", at, "ppm", decimals=1, within=0.01),),
    )


def per_heat(draw: Draw) -> Task:
    """Nitrogen oxides for the heat put in."""
    made = draw.amount("nitrogen_oxides_dry", (15, 120, 1, "ppm"))
    oxygen = draw.amount("oxygen_dry", (2, 12, 0.1, "percent"))
    factor = published_fuel_factor("natural gas")
    emitted = emission_per_heat(
        made.si, species="NOx", dry_flue=dry_flue_by_factor(factor, oxygen_dry=oxygen.si)
    )
    fresh = trade_oxygen()
    unit = draw.pick("lb/MMBtu", "mg/kWh")
    gas = amount(factor, draw.pick("ft^3/MMBtu", "m^3/kWh"))
    thinned = gas.value * float(fresh) / (float(fresh) - oxygen.value)
    state = sources.table("emission_factors")["fuel_factor"]
    weight = mass_concentration(1e-6, species="NOx", temperature=state["temperature"])
    mass = amount(weight, draw.pick("lb/ft^3", "mg/m^3"))
    volume = draw.pick("ft³", "m³")
    # A pound in a million cubic feet: a number that a person can write down.
    heavy, many = draw.pick((mass.value * 1e6, "a million ft³"), (mass.value, "1 m³"))
    return Task(
        title="Nitrogen oxides for the heat put in",
        text=(
            f"Dry flue gas of natural gas holds {made} of nitrogen oxides at {oxygen} oxygen. By EPA Method 19 "
            f"natural gas makes {number(gas.value)} {volume} of dry flue gas for each {draw.pick('MMBtu', 'kWh')} "
            f"with no excess air, and 1 ppm of nitrogen oxides, counted as NO₂, weighs {number(heavy)} "
            f"{draw.pick('lb', 'mg')} in {many} of it. How much nitrogen oxides go out for the heat put in (gross)?"
        ),
        steps=(
            f"Dry flue gas: {number(gas.value)} × {fresh} ÷ ({fresh} − {oxygen.bare}) = {number(thinned)} {volume}.",
            f"Nitrogen oxides: {number(thinned)} × {made.bare} × {number(heavy)}{draw.pick(' ÷ 1,000,000', '')} = "
            f"{amount(emitted, unit, 3)}.",
        ),
        answers=(answer("Nitrogen oxides", emitted, unit, decimals=draw.pick(4, 1), within=0.015),),
    )


def carbon_left(draw: Draw) -> Task:
    """The carbon, and the heat, that carbon monoxide takes along."""
    oxygen = draw.amount("oxygen_dry", (2, 10, 0.1, "percent"))
    monoxide = draw.amount("carbon_monoxide_dry", (150, 3000, 10, "ppm"))
    gas = fuel("methane")
    flue = flue_gas(gas, oxygen_dry=oxygen.si, carbon_monoxide_dry=monoxide.si)
    dry = float(flue.dry_moles)
    left = monoxide.si * dry
    lost = float(stack_losses(flue, flue_temperature=REFERENCE, air_temperature=REFERENCE).carbon_monoxide)
    heats = gross_heats()
    a, b = number(heats["CO"] / _KILO), number(heats["CH4"] / _KILO)
    ratio = float(flue_gas(gas, oxygen_dry=oxygen.si).air_ratio)
    air = number(float(gas.stoichiometric_air))
    plain = ratio * float(gas.stoichiometric_air) - 1
    return Task(
        title="Carbon left as carbon monoxide",
        text=(
            f"The dry flue gas of methane, burned in dry air, holds {oxygen} oxygen and {monoxide} of carbon "
            f"monoxide. What share of the carbon left as carbon monoxide, and what share of the gross heat ({b} "
            f"kJ/mol) went with it? Carbon monoxide holds {a} kJ/mol."
        ),
        steps=(
            f"Air ratio, carbon monoxide neglected: (2 − {number(oxygen.si)}) ÷ (2 − {air} × {number(oxygen.si)}) = "
            f"{number(ratio)}.",
            f"Dry flue gas for one mole of methane: {air} × {number(ratio)} − 1 = {number(plain)} mol; with carbon "
            f"monoxide in the balance {number(dry)} mol.",
            f"Carbon monoxide: {number(monoxide.si)} × {number(dry)} = {number(left)} mol, and methane holds one "
            f"mole of carbon: {number(_PERCENT * left, 3)} %.",
            f"Heat: {number(left)} × {a} ÷ {b} = {number(lost)}.",
        ),
        answers=(
            answer("Carbon left as carbon monoxide", left, "percent", decimals=2, within=0.03, by=0.01),
            answer("Gross heat lost with it", lost, "percent", decimals=2, within=0.03, by=0.01),
        ),
    )
