"""Problems on heat: the dew point and what condenses, where the heat goes, and another gas in the same burner."""

from __future__ import annotations

import math

from fluewright import sources
from fluewright.combustion import (
    Fuel,
    blend,
    dry_air,
    flue_gas,
    fuel,
    moist_air_water_fraction,
    saturation_pressure,
    stack_loss_european,
    stack_losses,
)
from fluewright.studies.worksheet.air import us_gas
from fluewright.studies.worksheet.draw import Amount, Draw, Task, amount, answer, number
from fluewright.studies.worksheet.flame import REFERENCE, gross_heats

_PERCENT, _KILO = 100.0, 1e3
_ATMOSPHERE = 101325.0


def _steam_table(draw: Draw, kelvin: float) -> tuple[tuple[Amount, Amount], tuple[Amount, Amount]]:
    """Return the two lines of a steam table on either side of a temperature: temperature and pressure."""
    unit, step = draw.pick("degF", "degC"), draw.pick(4, 2)
    below = math.floor(amount(kelvin, unit, 9).value / step) * step
    rows = [Amount(value=float(at), unit=unit, decimals=0) for at in (below, below + step)]
    first, second = (
        (row, amount(float(saturation_pressure(row.si)), draw.pick("inHg", "hPa"))) for row in rows
    )
    return first, second


def _dew_point_steps(draw: Draw, water: float, kelvin: float) -> tuple[str, str, str]:
    """Return the lines of the steam table in words, and the steps from a water fraction to the dew point."""
    (low, low_p), (high, high_p) = _steam_table(draw, kelvin)
    whole = amount(_ATMOSPHERE, low_p.unit)
    part = amount(water * _ATMOSPHERE, low_p.unit)
    return (
        f"A steam table has {low_p} at {low} and {high_p} at {high}.",
        f"Its pressure: {number(water)} × {whole.bare} = {part}.",
        f"Between the lines of the table: {low.bare} + ({part.bare} − {low_p.bare}) ÷ ({high_p.bare} − {low_p.bare}) "
        f"× {number(high.value - low.value)} = {amount(kelvin, low.unit)}.",
    )


# ---------------------------------------------------------------------------- dew point and condensing


def dew_point(draw: Draw) -> Task:
    """Water in the gas, and where it begins to condense."""
    extra = draw.amount("excess_air", (0, 150, 0.5, "percent"))
    gas = fuel("methane")
    flue = flue_gas(gas, excess_air=extra.si)
    water, kelvin = float(flue.water_fraction), float(flue.water_dew_point)
    air = number(float(gas.stoichiometric_air))
    table, pressure, interpolated = _dew_point_steps(draw, water, kelvin)
    unit = draw.pick("degF", "degC")
    return Task(
        title="Dew point of a flue gas",
        text=(
            f"Methane is burned completely with {extra} excess of dry air, at one atmosphere "
            f"({amount(_ATMOSPHERE, draw.pick('inHg', 'hPa'))}). How much water does the flue gas hold, and at what "
            f"temperature does it begin to condense? {table}"
        ),
        steps=(
            f"Two moles of water in 1 + {air} × {number(1 + extra.si)} = {number(2 / water)} moles of flue gas.",
            f"Water: 2 ÷ {number(2 / water)} = {number(water)}, or {number(_PERCENT * water, 3)} %.",
            pressure,
            interpolated,
        ),
        answers=(
            answer("Water in the flue gas", water, "percent", decimals=1, within=0.015),
            answer("Dew point", kelvin, unit, decimals=draw.pick(0, 1), by=draw.pick(1.0, 0.6)),
        ),
    )


def humid_air(draw: Draw) -> Task:
    """The water that the air brings."""
    humidity = draw.amount("relative_humidity", (30, 95, 1, "percent"))
    warm = draw.amount("air_temperature", (60, 95, 1, "degF"), (15, 35, 0.5, "degC"))
    extra = draw.amount("excess_air", (10, 100, 1, "percent"))
    gas = fuel("methane")
    air_water = float(moist_air_water_fraction(humidity.si, temperature=warm.si))
    flue = flue_gas(gas, excess_air=extra.si, air_water_fraction=air_water)
    water, kelvin, brought = (
        float(flue.water_fraction),
        float(flue.water_dew_point),
        float(flue.air_water_moles),
    )
    saturated = amount(float(saturation_pressure(warm.si)), draw.pick("inHg", "hPa"))
    whole = amount(_ATMOSPHERE, saturated.unit)
    table, pressure, interpolated = _dew_point_steps(draw, water, kelvin)
    air, total = float(flue.air_moles), float(flue.water_moles) + float(flue.dry_moles)
    return Task(
        title="Dew point with humid air",
        text=(
            f"Methane is burned completely with {extra} excess air, at one atmosphere ({whole}). The air is at "
            f"{warm} and {humidity} relative humidity; water is saturated at {warm} at {saturated}. How much water "
            f"does the air hold, and what is the dew point of the flue gas? {table}"
        ),
        steps=(
            f"Water in the air: {number(humidity.si)} × {saturated.bare} ÷ {whole.bare} = {number(air_water)}.",
            f"Dry air for one mole of methane: {number(float(gas.stoichiometric_air))} × {number(1 + extra.si)} = "
            f"{number(air)} mol.",
            f"It brings water: {number(air)} × {number(air_water)} ÷ (1 − {number(air_water)}) = {number(brought)} "
            "mol.",
            f"Flue gas: 1 + {number(air)} + {number(brought)} = {number(total)} mol.",
            f"Water in it: (2 + {number(brought)}) ÷ {number(total)} = {number(water)}.",
            pressure,
            interpolated,
        ),
        answers=(
            answer("Water in the air", air_water, "percent", decimals=2, within=0.02),
            answer(
                "Dew point",
                kelvin,
                draw.pick("degF", "degC"),
                decimals=draw.pick(0, 1),
                by=draw.pick(1.0, 0.6),
            ),
        ),
    )


def condensate(draw: Draw) -> Task:
    """How much water a cool exchanger takes out."""
    extra = draw.amount("excess_air", (15, 45, 1, "percent"))
    cool = draw.amount("flue_temperature", (90, 118, 1, "degF"), (32, 48, 0.5, "degC"))
    rate = draw.amount("heat_input", (40000, 200000, 1000, "Btu/h"), (10, 60, 0.5, "kW"))
    gas = fuel("methane")
    flue = flue_gas(gas, excess_air=extra.si)
    share = float(
        stack_losses(
            flue, flue_temperature=cool.si, air_temperature=REFERENCE, condensing=True
        ).condensed_fraction
    )
    gross, mass = (
        float(gas.gross_heating_value_molar),
        sources.table("species")["component"]["H2O"]["molar_mass"] / _KILO,
    )
    flow = rate.si / gross * 2 * share * mass
    vapor_p = amount(float(saturation_pressure(cool.si)), draw.pick("inHg", "hPa"))
    whole, dry = amount(_ATMOSPHERE, vapor_p.unit), float(flue.dry_moles)
    vapor = dry * vapor_p.si / (_ATMOSPHERE - vapor_p.si)
    heat, unit = amount(gross, draw.pick("Btu/mol", "MJ/mol")), draw.pick("lb/h", "kg/h")
    hourly = "" if draw.system == "US" else "3.6 × "
    weight = amount(mass, draw.pick("lb/mol", "kg/mol"))
    return Task(
        title="Condensate of a condensing boiler",
        text=(
            f"A condensing boiler burns methane at {rate}, gross, with {extra} excess of dry air, and its flue gas "
            f"leaves saturated at {cool}, at one atmosphere ({whole}). Water is saturated there at {vapor_p}. The "
            f"gross heat of methane is {heat}, and a mole of water weighs {number(weight.value)} "
            f"{draw.pick('lb', 'kg')}. What share of the water condenses, and how much is that in an hour?"
        ),
        steps=(
            f"Dry flue gas: {number(float(gas.stoichiometric_air))} × {number(1 + extra.si)} − 1 = {number(dry)} mol "
            "for one of methane.",
            f"Water that stays vapor: {number(dry)} × {vapor_p.bare} ÷ ({whole.bare} − {vapor_p.bare}) = "
            f"{number(vapor)} mol.",
            f"Share condensed: (2 − {number(vapor)}) ÷ 2 = {number(share)}.",
            f"Methane: {hourly}{rate.bare} ÷ {heat.bare} = "
            f"{number(float(rate.value * (1 if draw.system == 'US' else 3.6) / heat.value))} mol/h.",
            f"Condensate: {number(float(rate.value * (1 if draw.system == 'US' else 3.6) / heat.value))} × 2 × "
            f"{number(share)} × {number(weight.value)} = {amount(flow, unit, 3)}.",
        ),
        answers=(
            answer("Share of the water condensed", share, "percent", decimals=0, within=0.025, by=1),
            answer("Condensate", flow, unit, decimals=draw.pick(1, 2), within=0.03),
        ),
    )


# ---------------------------------------------------------------------------- where the heat goes


def european_rule(draw: Draw) -> Task:
    """The simple formula of European practice."""
    kind = draw.choice("fuel", ("natural gas", "propane"))
    oxygen = draw.amount("oxygen_dry", (3, 12, 0.1, "percent"))
    hot = draw.amount("flue_temperature", (250, 500, 1, "degF"), (120, 260, 1, "degC"))
    cool = draw.amount("air_temperature", (55, 85, 1, "degF"), (12, 30, 1, "degC"))
    table = sources.table("stack_loss")
    a, b, fresh = (
        *(table["coefficients"][kind][name] for name in ("A2", "B")),
        table["formula"]["oxygen_of_air"],
    )
    loss = float(
        stack_loss_european(oxygen.si, flue_temperature=hot.si, air_temperature=cool.si, fuel_kind=kind)
    )
    rise = hot.si - cool.si
    scale = " ÷ 1.8" if draw.system == "US" else ""
    return Task(
        title="Stack loss by the European formula",
        text=(
            f"A non-condensing appliance burns {kind}. Its dry flue gas holds {oxygen} oxygen and leaves at {hot}; "
            f"the air comes in at {cool}. What is the stack loss, in percent of the net heat, by (t flue − t air) × "
            f"(A ÷ (21 − O₂) + B), with A = {number(a)}, B = {number(b)}, temperatures in °C and oxygen in percent?"
        ),
        steps=(
            f"Difference: ({hot.bare} − {cool.bare}){scale} = {number(rise)} K.",
            f"Loss: {number(rise)} × ({number(a)} ÷ ({number(fresh)} − {oxygen.bare}) + {number(b)}) = "
            f"{number(_PERCENT * loss)} %.",
        ),
        answers=(answer("Stack loss, of the net heat", loss, "percent", decimals=1, within=0.01, by=0.1),),
    )


def gross_efficiency(draw: Draw) -> Task:
    """Dry gas, water vapor, latent heat: what is left is the efficiency."""
    extra = draw.amount("excess_air", (15, 120, 1, "percent"))
    hot = draw.amount("flue_temperature", (260, 550, 1, "degF"), (125, 290, 1, "degC"))
    gas = fuel("methane")
    flue = flue_gas(gas, excess_air=extra.si)
    loss = stack_losses(flue, flue_temperature=hot.si, air_temperature=REFERENCE)
    gross, latent_heat = (
        float(gas.gross_heating_value_molar),
        float(gas.gross_heating_value_molar - gas.net_heating_value_molar),
    )
    dry, rise = float(flue.dry_moles), hot.si - REFERENCE
    dry_capacity = float(loss.dry_gas) * gross / dry / rise
    vapor_capacity = float(loss.water_sensible) * gross / 2 / rise
    parts = [float(part) for part in (loss.dry_gas, loss.water_sensible, loss.water_latent)]
    from_, scale = draw.pick("77", "25"), " ÷ 1.8" if draw.system == "US" else ""
    shown = number(gross / _KILO)
    return Task(
        title="Gross efficiency from the parts",
        text=(
            f"Methane is burned completely with {extra} excess of dry air. Air and gas come in at "
            f"{draw.pick('77 °F', '25 °C')}, the flue gas leaves at {hot}. From there to the flue the dry gas takes "
            f"up {number(dry_capacity)} J/(mol K) and water vapor {number(vapor_capacity)} J/(mol K). The gross heat "
            f"of methane is {shown} kJ/mol, of which {number(latent_heat / _KILO)} kJ leave as latent heat. What is "
            "the steady-state combustion efficiency, gross?"
        ),
        steps=(
            f"Dry gas: {number(float(gas.stoichiometric_air))} × {number(1 + extra.si)} − 1 = {number(dry)} mol; "
            f"rise ({hot.bare} − {from_}){scale} = {number(rise)} K.",
            f"Lost with it: {number(dry)} × {number(dry_capacity)} × {number(rise)} ÷ {number(gross)} = "
            f"{number(parts[0])}.",
            f"With the vapor: 2 × {number(vapor_capacity)} × {number(rise)} ÷ {number(gross)} = {number(parts[1])}.",
            f"As latent heat: {number(latent_heat / _KILO)} ÷ {shown} = {number(parts[2])}.",
            f"Left: 1 − {number(parts[0])} − {number(parts[1])} − {number(parts[2])} = "
            f"{number(float(loss.efficiency_gross))}.",
        ),
        answers=(answer("Efficiency, gross", loss.efficiency_gross, "percent", decimals=1, by=0.3),),
    )


def full_balance(draw: Draw) -> Task:
    """Readings to efficiency, gross and net, with cold air and carbon monoxide."""
    oxygen = draw.amount("oxygen_dry", (3, 10, 0.1, "percent"))
    monoxide = draw.amount("carbon_monoxide_dry", (100, 2000, 10, "ppm"))
    hot = draw.amount("flue_temperature", (280, 520, 1, "degF"), (140, 270, 1, "degC"))
    cold = draw.amount("air_temperature", (0, 60, 1, "degF"), (-18, 15, 1, "degC"))
    gas = fuel("methane")
    flue = flue_gas(gas, oxygen_dry=oxygen.si, carbon_monoxide_dry=monoxide.si)
    loss = stack_losses(flue, flue_temperature=hot.si, air_temperature=cold.si)
    gross, net = float(gas.gross_heating_value_molar), float(gas.net_heating_value_molar)
    dry, air, rise, fall = (
        float(flue.dry_moles),
        float(flue.air_moles),
        hot.si - REFERENCE,
        cold.si - REFERENCE,
    )
    dry_capacity = float(loss.dry_gas) * gross / dry / rise
    vapor_capacity = float(loss.water_sensible) * gross / 2 / rise
    air_capacity = float(loss.credit_air) * gross / air / fall
    ratio, heats = float(flue.air_ratio), gross_heats()
    parts = [
        float(v)
        for v in (loss.dry_gas, loss.water_sensible, loss.water_latent, loss.carbon_monoxide, loss.credit_air)
    ]
    gross_share, net_share = float(loss.efficiency_gross), float(loss.efficiency_net)
    from_, scale = draw.pick("77", "25"), " ÷ 1.8" if draw.system == "US" else ""
    need, chill = number(float(gas.stoichiometric_air)), f"({cold.bare})" if cold.value < 0 else cold.bare
    return Task(
        title="From readings to efficiency",
        text=(
            f"Dry flue gas of methane holds {oxygen} oxygen and {monoxide} of carbon monoxide, and leaves at {hot}. "
            f"The dry air comes in at {cold}, the gas at {draw.pick('77 °F', '25 °C')}. Mean heat capacities from "
            f"there: dry flue gas {number(dry_capacity)}, water vapor {number(vapor_capacity)}, air "
            f"{number(air_capacity)} J/(mol K). Methane holds {number(gross / _KILO)} kJ/mol gross and "
            f"{number(net / _KILO)} kJ/mol net, carbon monoxide {number(heats['CO'] / _KILO)} kJ/mol. What is the "
            "steady-state combustion efficiency, gross and net?"
        ),
        steps=(
            f"Air ratio: (2 − {number(oxygen.si)}) ÷ (2 − {need} × {number(oxygen.si)}) = "
            f"{number(float(flue_gas(gas, oxygen_dry=oxygen.si).air_ratio))}; carbon monoxide takes it to "
            f"{number(ratio)}.",
            f"Dry gas: {need} × {number(ratio)} − 1 = {number(air - 1)}, a little more with carbon monoxide: "
            f"{number(dry)} mol.",
            f"Lost with it: {number(dry)} × {number(dry_capacity)} × ({hot.bare} − {from_}){scale} ÷ {number(gross)} "
            f"= {number(parts[0])}.",
            f"With the vapor: 2 × {number(vapor_capacity)} × ({hot.bare} − {from_}){scale} ÷ {number(gross)} = "
            f"{number(parts[1])}.",
            f"As latent heat: ({number(gross / _KILO)} − {number(net / _KILO)}) ÷ {number(gross / _KILO)} = "
            f"{number(parts[2])}.",
            f"As carbon monoxide: {number(dry)} × {number(monoxide.si)} × {number(heats['CO'])} ÷ {number(gross)} = "
            f"{number(parts[3])}.",
            f"The air brings less than at {draw.pick('77 °F', '25 °C')}: {number(air)} × {number(air_capacity)} × "
            f"({from_} − {chill}){scale} ÷ {number(gross)} = {number(-parts[4])} to pay for.",
            f"Gross: 1 − {number(parts[0])} − {number(parts[1])} − {number(parts[2])} − {number(parts[3])} − "
            f"{number(-parts[4])} = {number(gross_share)}.",
            f"Net: {number(gross_share)} × {number(gross / _KILO)} ÷ {number(net / _KILO)} = {number(net_share)}.",
        ),
        answers=(
            answer("Efficiency, gross", gross_share, "percent", decimals=1, by=0.3),
            answer("Efficiency, net", net_share, "percent", decimals=1, by=0.4),
        ),
    )


# ---------------------------------------------------------------------------- another gas in the same burner


def _heat(draw: Draw, gas: Fuel) -> tuple[Amount, float]:
    """Return the gross heating value as printed, and the relative density."""
    at = gas.properties(us_gas() if draw.system == "US" else None)
    return amount(float(at.gross_heating_value), draw.pick("Btu/ft^3", "MJ/m^3")), float(at.relative_density)


def wobbe_index(draw: Draw) -> Task:
    """What a burner sees of a gas."""
    ethane = draw.amount("ethane", (0.5, 12, 0.1, "percent"))
    nitrogen = draw.amount("nitrogen", (0.2, 8, 0.1, "percent"))
    gas = Fuel(composition={"CH4": 1 - ethane.si - nitrogen.si, "C2H6": ethane.si, "N2": nitrogen.si})
    heat, density = _heat(draw, gas)
    wobbe = heat.si / math.sqrt(density)
    return Task(
        title="Wobbe index",
        text=f"A gas has a gross heating value of {heat} and a relative density of {number(density)}. What is its "
        "Wobbe index?",
        steps=(f"{heat.bare} ÷ √{number(density)} = {amount(wobbe, heat.unit)}.",),
        answers=(answer("Wobbe index, gross", wobbe, heat.unit, decimals=draw.pick(0, 1), within=0.005),),
    )


def same_orifice(draw: Draw) -> Task:
    """Hydrogen in the gas: what it does to the firing rate."""
    share = draw.amount("hydrogen", (3, 30, 0.5, "percent"))
    rate = draw.amount("heat_input", (40000, 160000, 500, "Btu/h"), (10, 50, 0.1, "kW"))
    before = fuel("methane")
    after = blend({"methane": 1 - share.si, "hydrogen": share.si}, by="volume")
    (heat, density), (heat_2, density_2) = _heat(draw, before), _heat(draw, after)
    ratio = heat_2.si / heat.si * math.sqrt(density / density_2)
    return Task(
        title="Hydrogen through the same orifice",
        text=(
            f"A burner with a fixed orifice fires methane at {rate} (gross heating value {heat}, relative density "
            f"{number(density)}). The supply changes to a blend with {share} hydrogen by volume ({heat_2}, "
            f"{number(density_2)}), at the same pressure. What is the heat input then?"
        ),
        steps=(
            "At the same pressure the volume that flows goes as 1 ÷ √density, so heat goes as the Wobbe index.",
            f"Ratio of heat: {heat_2.bare} ÷ {heat.bare} × √({number(density)} ÷ {number(density_2)}) = "
            f"{number(ratio)}.",
            f"Heat input: {number(ratio)} × {rate.bare} = {amount(ratio * rate.si, rate.unit)}.",
        ),
        answers=(
            answer(
                "Heat input with the blend",
                ratio * rate.si,
                rate.unit,
                decimals=draw.pick(-2, 1),
                within=0.01,
            ),
        ),
    )


def same_air(draw: Draw) -> Task:
    """The same orifice and the same fan: what becomes of the excess air."""
    share = draw.amount("hydrogen", (3, 30, 0.5, "percent"))
    extra = draw.amount("excess_air", (15, 80, 1, "percent"))
    before = fuel("methane")
    after = blend({"methane": 1 - share.si, "hydrogen": share.si}, by="volume")
    density, density_2 = (float(gas.relative_density) for gas in (before, after))
    air, air_2 = float(before.stoichiometric_air), float(after.stoichiometric_air)
    flow = math.sqrt(density / density_2)
    ratio = (1 + extra.si) * air / (air_2 * flow)
    flue = flue_gas(after, excess_air=ratio - 1)
    oxygen, carbon = float(flue.oxygen_dry), 1 - share.si
    need, fresh = float(after.oxygen_need), number(float(after.oxygen_need))
    dry, left = ratio * air_2 + carbon - need, need * (ratio - 1)
    return Task(
        title="Hydrogen with the same air",
        text=(
            f"A burner with a fixed orifice and a fixed fan runs on methane with {extra} excess air (dry). The "
            f"supply changes to a blend with {share} hydrogen by volume at the same pressure. Relative densities: "
            f"{number(density)} and {number(density_2)}. What are the excess air and the dry oxygen then?"
        ),
        steps=(
            f"Gas flow, relative: √({number(density)} ÷ {number(density_2)}) = {number(flow)}.",
            f"Oxygen the blend needs: 2 × {number(carbon)} + 0.5 × {number(share.si)} = {fresh}; its air, {fresh} ÷ "
            f"{number(dry_air()['O2'])} = {number(air_2)}.",
            f"Air ratio: {number(1 + extra.si)} × {number(air)} ÷ ({number(air_2)} × {number(flow)}) = "
            f"{number(ratio)}.",
            f"Excess air: {number(ratio)} − 1 = {number(ratio - 1, 3)}, or {number(_PERCENT * (ratio - 1), 3)} %.",
            f"Dry flue gas: {number(ratio)} × {number(air_2)} + {number(carbon)} − {fresh} = {number(dry)}.",
            f"Oxygen left: {fresh} × ({number(ratio)} − 1) = {number(left)}; share {number(left)} ÷ {number(dry)} = "
            f"{number(oxygen)}.",
        ),
        answers=(
            answer("Excess air with the blend", ratio - 1, "percent", decimals=1, within=0.02, by=0.6),
            answer("Oxygen, dry", oxygen, "percent", decimals=1, within=0.02, by=0.2),
        ),
    )
