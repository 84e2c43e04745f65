"""Problems on air: what a fuel needs, what is left over, and what an instrument shows of it."""

from __future__ import annotations

from typing import Any

from fluewright import sources
from fluewright.combustion import Fuel, dry_air, flue_gas, fuel, reference_conditions, saturation_pressure
from fluewright.studies.worksheet.draw import Draw, Task, amount, answer, number

_FORMULAS = {"methane": "CH₄", "propane": "C₃H₈", "butane": "C₄H₁₀", "hydrogen": "H₂"}
_HYDROCARBONS = ("methane", "propane", "butane")
_PERCENT = 100.0


def _air_oxygen() -> str:
    return number(dry_air()["O2"])


def trade_oxygen() -> str:
    """Return the oxygen of air as the trade's rule counts it, in percent."""
    return number(_PERCENT * float(sources.table("air")["trade"]["oxygen"]))


def us_gas() -> Any:
    """Return the state at which US customary volumes of gas are counted: 60 °F, 14.696 psia, dry."""
    return reference_conditions("US 60 °F, 14.696 psia")


# ---------------------------------------------------------------------------- stoichiometry and air


def air_for_a_volume(draw: Draw) -> Task:
    """Count atoms, then count air."""
    name = draw.choice("fuel", tuple(_FORMULAS))
    volume = draw.amount("volume", (10, 210, 1, "ft^3"), (0.5, 6.5, 0.01, "m^3"))
    gas = fuel(name)
    need, ratio = float(gas.oxygen_need), float(gas.stoichiometric_air)
    made = [
        f"{number(count)} {what}" for count, what in ((gas.carbon, "CO₂"), (gas.hydrogen / 2, "H₂O")) if count
    ]
    equation = f"{_FORMULAS[name]} + {number(need)} O₂ → {' + '.join(made)}".replace(" 1 ", " ")
    return Task(
        title="Air for a volume of gas",
        text=(
            f"{volume} of {name} ({_FORMULAS[name]}) is burned completely in dry air. How much air does it take, at "
            "the temperature and pressure of the gas?"
        ),
        steps=(
            f"Count atoms: {equation}.",
            f"Air for one volume of gas: {number(need)} ÷ {_air_oxygen()} = {number(ratio)} volumes.",
            f"Air: {number(ratio)} × {volume.bare} = {amount(ratio * volume.si, volume.unit)}.",
        ),
        answers=(answer("Air", ratio * volume.si, volume.unit, decimals=draw.pick(0, 2), within=0.015),),
    )


def air_for_a_burner(draw: Draw) -> Task:
    """From a heat input to gas and to air."""
    rate = draw.amount("heat_input", (40000, 160000, 500, "Btu/h"), (10, 50, 0.1, "kW"))
    extra = draw.amount("excess_air", (15, 80, 1, "percent"))
    gas = fuel("methane")
    heat = amount(
        gas.properties(us_gas() if draw.system == "US" else None).gross_heating_value,
        draw.pick("Btu/ft^3", "MJ/m^3"),
    )
    flow, ratio, lam = rate.si / heat.si, float(gas.stoichiometric_air), 1 + extra.si
    unit = draw.pick("ft^3/h", "m^3/h")
    shown = amount(flow, unit)
    first = (
        f"{rate.bare} ÷ {heat.bare} = {shown}"
        if draw.system == "US"
        else f"{rate.bare} × 3.6 ÷ {heat.bare} = {shown} (1 kW is 3.6 MJ/h)"
    )
    return Task(
        title="Gas and air for a burner",
        text=(
            f"A burner fires methane at {rate}, gross. The gross heating value is {heat}. It runs with {extra} "
            "excess air. How much gas and how much dry air does it take, at the state the heating value is counted "
            "at?"
        ),
        steps=(
            f"Gas: {first}.",
            f"Air to burn it: 2 ÷ {_air_oxygen()} = {number(ratio)} volumes for each of methane.",
            f"With the excess: {shown.bare} × {number(ratio)} × {number(lam)} = {amount(flow * ratio * lam, unit)}.",
        ),
        answers=(
            answer("Gas", flow, unit, decimals=draw.pick(1, 2), within=0.01),
            answer("Air", flow * ratio * lam, unit, decimals=draw.pick(0, 1), within=0.02),
        ),
    )


def air_for_a_mixture(draw: Draw) -> Task:
    """A pipeline gas: its air, and the most carbon dioxide its flue gas can hold."""
    ethane = draw.amount("ethane", (2, 9, 0.1, "percent"))
    inert = draw.amount("carbon_dioxide", (0, 3, 0.1, "percent"))
    nitrogen = draw.amount("nitrogen", (0.5, 4, 0.1, "percent"))
    methane = 1 - ethane.si - inert.si - nitrogen.si
    gas = Fuel(composition={"CH4": methane, "C2H6": ethane.si, "CO2": inert.si, "N2": nitrogen.si})
    need, air = float(gas.oxygen_need), float(gas.stoichiometric_air)
    carbon, rest = methane + 2 * ethane.si + inert.si, air - need
    dry = carbon + nitrogen.si + rest
    return Task(
        title="Air and ultimate carbon dioxide of a pipeline gas",
        text=(
            f"A gas holds {number(_PERCENT * methane)} % methane, {ethane} ethane, {inert} carbon dioxide and "
            f"{nitrogen} nitrogen by volume. How much dry air does a volume of it need, and how much carbon dioxide "
            "would its dry flue gas hold with no excess air (the ultimate carbon dioxide)?"
        ),
        steps=(
            f"Oxygen: 2 × {number(methane)} + 3.5 × {number(ethane.si)} = {number(need)} volumes.",
            f"Air: {number(need)} ÷ {_air_oxygen()} = {number(air)} volumes.",
            f"Carbon dioxide: {number(methane)} + 2 × {number(ethane.si)} + {number(inert.si)} = {number(carbon)}.",
            f"What the air brings beside oxygen: {number(air)} − {number(need)} = {number(rest)}.",
            f"Dry flue gas: {number(carbon)} + {number(nitrogen.si)} + {number(rest)} = {number(dry)}.",
            f"Share of carbon dioxide: {number(carbon)} ÷ {number(dry)} = {number(carbon / dry)}. (The trace of "
            "carbon dioxide in the air adds 0.05 points.)",
        ),
        answers=(
            answer("Air for one volume of gas", air, "", decimals=2, within=0.015),
            answer("Ultimate carbon dioxide", gas.ultimate_carbon_dioxide, "percent", decimals=1, by=0.2),
        ),
    )


# ---------------------------------------------------------------------------- excess air and the two rules


def _rule_step(oxygen: str, share: float) -> str:
    trade = trade_oxygen()
    worked = f"{oxygen} ÷ ({trade} − {oxygen}) = {number(share)}"
    return f"By the dry-oxygen rule: {worked}, or {number(_PERCENT * share, 3)} %."


def oxygen_rule(draw: Draw) -> Task:
    """The rule of the trade."""
    oxygen = draw.amount("oxygen_dry", (2, 12, 0.01, "percent"))
    share = float(flue_gas(fuel("methane"), oxygen_dry=oxygen.si).excess_air_oxygen_rule)
    return Task(
        title="Excess air by the dry-oxygen rule",
        text=f"A dried sample of flue gas holds {oxygen} oxygen. What is the excess air by the dry-oxygen rule?",
        steps=(_rule_step(oxygen.bare, share),),
        answers=(answer("Excess air, dry-oxygen rule", share, "percent", decimals=1, within=0.015),),
    )


def _balance_steps(gas: Fuel, oxygen: str, beside: float, ratio: float) -> tuple[str, str]:
    """Return the steps from oxygen, `number` of a share, to the air ratio; `beside` is products less oxygen used."""
    need, air = number(float(gas.oxygen_need)), number(float(gas.stoichiometric_air))
    sign, plus = ("−", "−") if beside < 0 else ("+", "+")
    return (
        f"With λ the air ratio, one volume of gas leaves {need} (λ − 1) of oxygen in {air} λ {sign} "
        f"{number(abs(beside))} of flue gas. That share is {oxygen}.",
        f"Solved for λ: ({need} {plus} {number(abs(beside))} × {oxygen}) ÷ ({need} − {air} × {oxygen}) = "
        f"{number(ratio)}.",
    )


def two_rules(draw: Draw) -> Task:
    """The rule of the trade against the balance of the fuel."""
    name = draw.choice("fuel", _HYDROCARBONS)
    oxygen = draw.amount("oxygen_dry", (2, 10, 0.1, "percent"))
    gas = fuel(name)
    flue = flue_gas(gas, oxygen_dry=oxygen.si)
    rule, balance, ratio = (float(v) for v in (flue.excess_air_oxygen_rule, flue.excess_air, flue.air_ratio))
    return Task(
        title="The two rules for excess air",
        text=(
            f"The dried flue gas of {name} ({_FORMULAS[name]}), burned in dry air, holds {oxygen} oxygen and no "
            "carbon monoxide. What is the excess air by the dry-oxygen rule, and what is it by the balance of the "
            "fuel?"
        ),
        steps=(
            _rule_step(oxygen.bare, rule),
            *_balance_steps(gas, number(oxygen.si), float(gas.carbon - gas.oxygen_need), ratio),
            f"Excess air: {number(ratio)} − 1 = {number(balance, 3)}, or {number(_PERCENT * balance, 3)} %.",
        ),
        answers=(
            answer("Excess air, dry-oxygen rule", rule, "percent", decimals=1, within=0.015),
            answer("Excess air, balance of the fuel", balance, "percent", decimals=1, within=0.025, by=0.4),
        ),
    )


def wet_oxygen(draw: Draw) -> Task:
    """A cell in the wet gas, and what a dried sample would show."""
    name = draw.choice("fuel", _HYDROCARBONS)
    oxygen = draw.amount("oxygen_wet", (1.5, 9, 0.1, "percent"))
    gas = fuel(name)
    flue = flue_gas(gas, oxygen_wet=oxygen.si)
    ratio, balance, dried = float(flue.air_ratio), float(flue.excess_air), float(flue.oxygen_dry)
    need, air, water = float(gas.oxygen_need), float(gas.stoichiometric_air), float(gas.hydrogen) / 2
    dry, left = ratio * air + float(gas.carbon) - need, need * balance
    less = number(need - float(gas.carbon))
    return Task(
        title="Wet oxygen and dry oxygen",
        text=(
            f"A zirconia cell in the wet flue gas of {name} ({_FORMULAS[name]}), burned in dry air, shows {oxygen} "
            "oxygen. What is the excess air by the balance, and what would an instrument show that dries its sample?"
        ),
        steps=(
            *_balance_steps(gas, number(oxygen.si), float(gas.carbon - gas.oxygen_need) + water, ratio),
            f"Excess air: {number(ratio)} − 1 = {number(balance, 3)}, or {number(_PERCENT * balance, 3)} %.",
            f"Dry flue gas: {number(air)} × {number(ratio)} − {less} = {number(dry)} volumes.",
            f"Oxygen left: {number(need)} × ({number(ratio)} − 1) = {number(left)} volumes.",
            f"Share in dry gas: {number(left)} ÷ {number(dry)} = {number(dried)}, or {number(_PERCENT * dried, 3)} %.",
        ),
        answers=(
            answer("Excess air, balance of the fuel", balance, "percent", decimals=1, within=0.025, by=0.4),
            answer("Oxygen, dried sample", dried, "percent", decimals=1, within=0.02),
        ),
    )


# ---------------------------------------------------------------------------- what the instrument measures


def air_free(draw: Draw) -> Task:
    """Carbon monoxide as if no excess air had thinned it."""
    oxygen = draw.amount("oxygen_dry", (3, 13, 0.1, "percent"))
    monoxide = draw.amount("carbon_monoxide_dry", (15, 400, 1, "ppm"))
    flue = flue_gas(fuel("natural gas"), oxygen_dry=oxygen.si, carbon_monoxide_dry=monoxide.si)
    free = float(flue.carbon_monoxide_air_free_oxygen_rule)
    trade = trade_oxygen()
    return Task(
        title="Carbon monoxide, air-free",
        text=(
            f"An instrument shows {monoxide} of carbon monoxide and {oxygen} oxygen, both in dried gas. What is the "
            "carbon monoxide air-free, by the oxygen rule?"
        ),
        steps=(f"{monoxide.bare} × {trade} ÷ ({trade} − {oxygen.bare}) = {amount(free, 'ppm', 3)}.",),
        answers=(answer("Carbon monoxide, dry, air-free", free, "ppm", decimals=0, within=0.015, by=1),),
    )


def dried_sample(draw: Draw) -> Task:
    """The water a dryer leaves in the sample."""
    oxygen = draw.amount("oxygen_read", (3, 12, 0.1, "percent"))
    dew = draw.amount("sample_dew_point", (36, 80, 1, "degF"), (3, 27, 0.5, "degC"))
    air = draw.amount("pressure", (25.0, 30.2, 0.1, "inHg"), (850, 1025, 5, "hPa"))
    vapor = amount(saturation_pressure(dew.si), air.unit)
    water = vapor.si / air.si
    flue = flue_gas(fuel("natural gas"), oxygen_dry=oxygen.si, sample_dew_point=dew.si, pressure=air.si)
    dry = float(flue.oxygen_dry)
    return Task(
        title="What the dryer leaves",
        text=(
            f"An instrument dries its sample to a dew point of {dew} and then reads {oxygen} oxygen at {air}. Water "
            f"is saturated there at {vapor}. How much water is left in the sample, and what is the oxygen in truly "
            "dry gas?"
        ),
        steps=(
            f"Water: {vapor.bare} ÷ {air.bare} = {number(water)}, or {number(_PERCENT * water, 3)} %.",
            f"Dry: {oxygen.bare} ÷ (1 − {number(water)}) = {number(_PERCENT * dry)} %.",
        ),
        answers=(
            answer("Water left in the sample", water, "percent", decimals=2, within=0.03),
            answer("Oxygen, truly dry", dry, "percent", decimals=2, within=0.005),
        ),
    )


def leaking_probe(draw: Draw) -> Task:
    """Room air in the sample: what moves and what does not."""
    oxygen = draw.amount("oxygen_dry", (3, 8, 0.1, "percent"))
    monoxide = draw.amount("carbon_monoxide_dry", (40, 300, 1, "ppm"))
    leak = draw.amount("leak", (5, 40, 1, "percent"))
    fresh = dry_air()["O2"]
    read = (1 - leak.si) * oxygen.si + leak.si * fresh
    thinned = (1 - leak.si) * monoxide.si
    flue = flue_gas(fuel("natural gas"), oxygen_dry=read, carbon_monoxide_dry=thinned)
    free, rule = (float(v) for v in (flue.carbon_monoxide_air_free_oxygen_rule, flue.excess_air_oxygen_rule))
    trade, kept, show = trade_oxygen(), number(1 - leak.si), number(_PERCENT * read)
    return Task(
        title="A probe that leaks",
        text=(
            f"Dry flue gas holds {oxygen} oxygen and {monoxide} of carbon monoxide. Of what the instrument draws in, "
            f"{leak} is room air without carbon monoxide, with {number(_PERCENT * fresh)} % oxygen, from a leak. "
            "What does the instrument read, what excess air follows by the dry-oxygen rule, and what carbon monoxide "
            "air-free?"
        ),
        steps=(
            f"Oxygen: {kept} × {oxygen.bare} + {number(leak.si)} × {number(_PERCENT * fresh)} = {show} %.",
            f"Carbon monoxide: {kept} × {monoxide.bare} = {amount(thinned, 'ppm')}.",
            _rule_step(show, rule),
            f"Air-free: {amount(thinned, 'ppm').bare} × {trade} ÷ ({trade} − {show}) = {amount(free, 'ppm', 3)}: the "
            "leak hides in the oxygen and leaves the air-free value as it was.",
        ),
        answers=(
            answer("Oxygen, as read", read, "percent", decimals=1, by=0.1),
            answer("Carbon monoxide, as read", thinned, "ppm", decimals=0, within=0.01, by=1),
            answer("Excess air, dry-oxygen rule", rule, "percent", decimals=0, within=0.03),
            answer("Carbon monoxide, dry, air-free", free, "ppm", decimals=0, within=0.03, by=1),
        ),
    )
