"""Problems on a log and on trust: the firing rate, steady or not, within or beyond, and how sure."""

from __future__ import annotations

import math

from fluewright import units
from fluewright.appliance import Number, heat_input_clocked, judge
from fluewright.combustion import flue_gas, fuel
from fluewright.sources import limits as safety
from fluewright.steady import named_criteria
from fluewright.studies.worksheet.air import trade_oxygen
from fluewright.studies.worksheet.draw import Amount, Draw, Task, amount, answer, number, word

_PERCENT = 100.0
_LIMIT = "carbon_monoxide_air_free_furnace"


# ---------------------------------------------------------------------------- reading a log


def clocked_meter(draw: Draw) -> Task:
    """A dial and a stopwatch."""
    dial = draw.choice("dial", draw.pick(("1", "2", "5"), ("0.02", "0.05", "0.1")))
    unit = draw.pick("ft^3", "m^3")
    volume = Amount(value=float(dial), unit=unit, decimals=2)
    heat = draw.amount("heating_value", (990, 1060, 1, "Btu/ft^3"), (36.0, 40.0, 0.1, "MJ/m^3"))
    rated = draw.amount("rated_input", (60000, 140000, 5000, "Btu/h"), (15, 40, 1, "kW"))
    about = draw.amount("about", (75, 125, 1, "percent"))
    seconds = Amount(value=round(volume.si * heat.si / (rated.si * about.si), 1), unit="s", decimals=1)
    rate = float(heat_input_clocked(volume.si, seconds=seconds.si, heating_value=heat.si, compensated=True))
    turns, share = amount(rate, rated.unit), rate / rated.si
    hour = "3600" if draw.system == "US" else "1000"
    return Task(
        title="Clocking the meter",
        text=(
            f"With all else off, {dial} {volume.sign} pass the meter in {seconds}. The gas holds {heat} gross, as "
            f"the meter counts it, and the nameplate says {rated}. What is the firing rate, and what share of the "
            "rating is that?"
        ),
        steps=(
            f"Firing rate: {dial} ÷ {seconds.bare} × {hour} × {heat.bare} = {turns}"
            + (" (3600 s in an hour)." if draw.system == "US" else " (1 MJ/s is 1000 kW)."),
            f"Share of the rating: {turns.bare} ÷ {rated.bare} = {number(share)}, or {number(_PERCENT * share, 3)} %.",
        ),
        answers=(
            answer("Firing rate, gross", rate, rated.unit, decimals=draw.pick(-2, 1), within=0.01),
            answer("Share of the rating", share, "percent", decimals=0, within=0.01, by=1),
        ),
    )


def judged_monoxide(draw: Draw) -> Task:
    """Within, beyond, or cannot tell."""
    oxygen = draw.amount("oxygen_dry", (3, 11, 0.1, "percent"))
    monoxide = draw.amount("carbon_monoxide_dry", (150, 360, 1, "ppm"))
    absolute = draw.amount("accuracy_absolute", (5, 25, 1, "ppm"))
    share = draw.amount("accuracy_of_reading", (3, 10, 1, "percent"))
    half = max(absolute.si, share.si * monoxide.si)
    at = (monoxide.si - half, monoxide.si, monoxide.si + half)
    low, free, high = (
        float(one)
        for one in flue_gas(
            fuel("natural gas"), oxygen_dry=oxygen.si, carbon_monoxide_dry=at
        ).carbon_monoxide_air_free_oxygen_rule
    )
    limit = safety.limits()[_LIMIT]
    made = Number(quantity="carbon_monoxide_air_free", value=free, low=low, high=high, origin="computed")
    outcome = judge(made, limit, test_point="").outcome
    top, trade = amount(limit.tiers[0].value, "ppm", 3), trade_oxygen()
    factor = free / monoxide.si
    return Task(
        title="Within, beyond, or cannot tell",
        text=(
            f"A furnace's dry flue gas holds {oxygen} oxygen and {monoxide} of carbon monoxide. The carbon monoxide "
            f"cell is good to {absolute} or {share} of the reading, whichever is greater; take the oxygen as exact. "
            "What is the carbon monoxide air-free by the oxygen rule, between which bounds does it lie, and how does "
            f"it stand against a limit of {top} ({limit.citation.source}, {limit.citation.edition}; "
            f"{limit.citation.status_words}): within, beyond, or cannot tell?"
        ),
        steps=(
            f"Accuracy: {share} of {monoxide} is {amount(share.si * monoxide.si, 'ppm', 3)}, so ± "
            f"{amount(half, 'ppm', 3)}.",
            f"Factor to air-free: {trade} ÷ ({trade} − {oxygen.bare}) = {number(factor)}.",
            f"Air-free: {monoxide.bare} × {number(factor)} = {amount(free, 'ppm')}; half-width "
            f"{amount(half, 'ppm').bare} × {number(factor)} = {amount(half * factor, 'ppm')}.",
            f"From {amount(low, 'ppm', 3)} to {amount(high, 'ppm', 3)}, against {top}: {outcome}.",
        ),
        answers=(
            answer("Carbon monoxide, dry, air-free", free, "ppm", decimals=0, within=0.015, by=1),
            answer("Lower bound", low, "ppm", decimals=0, within=0.015, by=2),
            answer("Upper bound", high, "ppm", decimals=0, within=0.015, by=2),
            word("Against the limit", outcome),
        ),
    )


def settling(draw: Draw) -> Task:
    """A first-order rise: how far it still has to go."""
    unit, difference = draw.pick("degF", "degC"), draw.pick("delta_degF", "delta_degC")
    first = draw.amount("first", (300, 380, 0.5, "degF"), (150, 195, 0.5, "degC"))
    early = draw.amount("early_rise", (6, 15, 0.1, difference), (3.5, 8, 0.1, difference))
    late = draw.amount("late_rise", (1.5, 5, 0.1, difference), (0.8, 2.8, 0.1, difference))
    minutes = draw.amount("minutes", (2, 5, 1, "minute"))
    readings = [first.value, first.value + early.value, first.value + early.value + late.value]
    second, third = (Amount(value=round(v, 1), unit=unit, decimals=1) for v in readings[1:])
    left = late.value**2 / (early.value - late.value)
    criteria = named_criteria()
    allowed = criteria.limits["flue_temperature"].slope * units.convert(1.0, "K/s", f"{difference}/minute")
    slope = late.value / minutes.value
    steady = "not steady" if slope > allowed else "steady"
    ratio = late.value / early.value
    degrees = Amount(value=0, unit=difference, decimals=0).sign
    return Task(
        title="How far it still has to rise",
        text=(
            f"A flue temperature rises to its end as a first-order lag. Readings {minutes} apart: {first}, {second}, "
            f"{third}. How far will it still rise, and is it steady over the last {minutes}, if at most "
            f"{number(allowed, 3)} {degrees}/min is allowed?"
        ),
        steps=(
            f"Rises: {second.bare} − {first.bare} = {early.bare} and {third.bare} − {second.bare} = {late.bare}; "
            f"each is the one before times {late.bare} ÷ {early.bare} = {number(ratio)}.",
            f"Still to come, a geometric series: {late.bare} × {number(ratio)} ÷ (1 − {number(ratio)}) = "
            f"{number(left, 3)} {degrees}.",
            f"Last slope: {late.bare} ÷ {minutes.bare} = {number(slope, 3)} {degrees}/min, against "
            f"{number(allowed, 3)}: {steady}.",
        ),
        answers=(
            answer(
                "Still to rise",
                left * units.factor(difference, "K")[0],
                difference,
                decimals=1,
                within=0.05,
                by=0.2,
            ),
            word("Over the last readings", steady),
        ),
    )


# ---------------------------------------------------------------------------- uncertainty at the stack


def stated_accuracy(draw: Draw) -> Task:
    """Whichever is greater."""
    monoxide = draw.amount("carbon_monoxide_dry", (20, 900, 1, "ppm"))
    absolute = draw.amount("accuracy_absolute", (5, 20, 1, "ppm"))
    share = draw.amount("accuracy_of_reading", (3, 10, 1, "percent"))
    half = max(absolute.si, share.si * monoxide.si)
    return Task(
        title="What the maker promises",
        text=(
            f"A carbon monoxide cell is good to {absolute} or {share} of the reading, whichever is greater. It reads "
            f"{monoxide}. Between which bounds does the true value lie?"
        ),
        steps=(
            f"Of the reading: {number(share.si)} × {monoxide.bare} = {amount(share.si * monoxide.si, 'ppm', 3)}, "
            f"against {absolute}: ± {amount(half, 'ppm', 3)}.",
            f"From {monoxide.bare} − {amount(half, 'ppm', 3).bare} = {amount(monoxide.si - half, 'ppm', 4)} to "
            f"{monoxide.bare} + {amount(half, 'ppm', 3).bare} = {amount(monoxide.si + half, 'ppm', 4)}.",
        ),
        answers=(
            answer("Lower bound", monoxide.si - half, "ppm", decimals=0, by=1),
            answer("Upper bound", monoxide.si + half, "ppm", decimals=0, by=1),
        ),
    )


def oxygen_to_air(draw: Draw) -> Task:
    """An interval of oxygen becomes a lopsided one of excess air."""
    oxygen = draw.amount("oxygen_dry", (4, 13, 0.1, "percent"))
    half = draw.amount("accuracy", (0.1, 0.8, 0.05, "percent"))
    low, high = (
        float(v)
        for v in flue_gas(
            fuel("natural gas"), oxygen_dry=(oxygen.si - half.si, oxygen.si + half.si)
        ).excess_air_oxygen_rule
    )
    trade, down, up = trade_oxygen(), number(oxygen.value - half.value), number(oxygen.value + half.value)
    return Task(
        title="From the oxygen cell to excess air",
        text=(
            f"An oxygen cell reads {oxygen}, good to ± {half}. Between which bounds does the excess air lie, by the "
            "dry-oxygen rule?"
        ),
        steps=(
            f"Lower: {down} ÷ ({trade} − {down}) = {number(low)}.",
            f"Upper: {up} ÷ ({trade} − {up}) = {number(high)}.",
        ),
        answers=(
            answer("Lower bound of excess air", low, "percent", decimals=1, within=0.015),
            answer("Upper bound of excess air", high, "percent", decimals=1, within=0.015),
        ),
    )


def bias_and_noise(draw: Draw) -> Task:
    """What averaging takes away, and what it leaves."""
    bias = draw.amount("bias", (0.1, 0.4, 0.05, "percent"))
    noise = draw.amount("noise", (0.05, 0.6, 0.01, "percent"))
    count = int(draw.choice("count", ("9", "16", "25", "36", "64", "100")))
    one = 2 * math.sqrt(bias.si**2 / 3 + noise.si**2 / count)
    difference = 2 * noise.si * math.sqrt(2 / count)
    return Task(
        title="Bias and noise",
        text=(
            f"The mean of {count} independent oxygen readings has noise of {noise} (standard deviation of one "
            f"reading); the cell itself may be wrong by up to ± {bias}, anywhere between with equal chance. What is "
            "the expanded uncertainty (k = 2) of the mean, and of the difference of two such means by the same cell, "
            "as found and as left?"
        ),
        steps=(
            f"The cell's error, as a standard uncertainty: {bias.bare} ÷ √3 = "
            f"{number(_PERCENT * bias.si / math.sqrt(3))} points. Averaging does not shrink it.",
            f"The noise of the mean: {noise.bare} ÷ √{count} = {number(_PERCENT * noise.si / math.sqrt(count))} "
            "points.",
            f"Of the mean: 2 × √({bias.bare} × {bias.bare} ÷ 3 + {noise.bare} × {noise.bare} ÷ {count}) = "
            f"{number(_PERCENT * one, 3)} points.",
            f"Of the difference, in which the cell's error cancels: 2 × √(2 × {noise.bare} × {noise.bare} ÷ {count}) "
            f"= {number(_PERCENT * difference, 3)} points.",
        ),
        answers=(
            answer("Uncertainty of the mean", one, "percent", decimals=2, within=0.04, by=0.01),
            answer("Uncertainty of the difference", difference, "percent", decimals=2, within=0.04, by=0.01),
        ),
    )
