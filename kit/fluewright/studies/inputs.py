"""What the chain of formulas is fed: the fuel, what the visit shares, the clocked meter, and what had to be assumed."""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from fluewright import combustion, sources, units
from fluewright.appliance import Number, altitude_citation, gas_flow_counted
from fluewright.combustion import Fuel
from fluewright.errors import InputError
from fluewright.steady import DILUTION, ChannelMean, SettledPoint, mean_noise, spot_mean, stated_or_assumed
from fluewright.studies import numbers as core
from fluewright.studies.fresh_air import fresh_air_drift
from fluewright.studies.heat_settings import (
    heat_carrier_of,
    heat_inputs,
    heat_settings,
    plan_point,
    rating_of,
    stage_of,
)
from fluewright.visit import (
    Drift,
    SpotReading,
    StatedAccuracy,
    TestPointRows,
    Visit,
    accuracy_of,
    drift_of,
    on_display,
)

_LABELS = {
    "meter_factor": "gas meter, and the dial entered",
    "clock_seconds": "time clocked at the meter",
    "heating_value": "heating value of the gas",
}
_LEAST_TRY = 0.1  # of the mean try at the meter: what scatters never ends at none
_USUAL_BASE = "US 60 °F, 14.696 psia"


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """What was taken because the visit did not say.

    `group` is the input whose uncertainty it belongs to; `effect` the half-width that this input alone adds to the
    gross efficiency. `unstated` where it is the accuracy of the instrument that read `subject`.
    """

    subject: str
    number: Number | None
    text: str
    why: str
    group: str = ""
    unstated: bool = False
    effect: Number | None = None


def fuel_of(visit: Visit) -> Fuel:
    """Return the fuel that the visit states, by name or by composition.

    Raises
    ------
    UnknownNameError
        No fuel or component has that name.
    InputError
        The mole fractions do not add up to one.
    """
    stated = visit.plan.fuel
    if stated.name is not None:
        return combustion.fuel(stated.name)
    shares = dict(stated.composition or {})
    return Fuel(composition=shares, name="fuel as entered", source=stated.source, normalize=True)


def fuel_spread(visit: Visit, fuel: Fuel) -> Mapping[str, float] | None:
    """Return the half-width of each mole fraction that the visit states, by symbol; None where it states none.

    Raises
    ------
    UnknownNameError
        No component has that name.
    InputError
        The fuel does not hold it.
    """
    stated = visit.plan.fuel.spread
    if stated is None:
        return None
    spread = {combustion.component_symbol(name): half for name, half in stated.items()}
    for name in stated:
        if combustion.component_symbol(name) not in fuel.composition:
            raise InputError(
                f"fuel.spread in visit.toml names {name}, which '{fuel.name}' does not hold; its components are "
                f"{', '.join(fuel.composition)}"
            )
    return spread


def _assumed(name: str, key: str, unit: str) -> float:
    return units.parse(sources.table("assumptions")[name][key], unit, name)


def _fuel_draws(fuel: Fuel, spread: Mapping[str, float] | None, rng: np.random.Generator) -> Fuel:
    """Return the fuel with drawn compositions: each minor component varies, the main one takes up the rest."""
    main = max(fuel.composition, key=lambda name: float(fuel.composition[name]))
    share = _assumed("fuel_spread", "value", "1")
    drawn: dict[str, units.Array] = {}
    for name, fraction in fuel.composition.items():
        half = spread.get(name, 0.0) if spread is not None else share * float(fraction)
        if name != main:
            drawn[name] = np.maximum(float(fraction) + half * rng.uniform(-1.0, 1.0, core.DRAWS), 0.0)
    drawn[main] = 1.0 - sum(drawn.values(), start=np.zeros(core.DRAWS))
    return Fuel(composition=drawn, name=fuel.name)


def _rectangular(name: str, central: float, low: float, high: float, rng: np.random.Generator) -> core.Input:
    """Return an input drawn evenly between `low` and `high` [SI]."""
    return core.Input(
        name=name, central=central, draws=rng.uniform(low, high, core.DRAWS), group=_group(name)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SharedInputs:
    """What all test points of a visit share: inputs drawn once, and the assumptions made for them."""

    inputs: tuple[core.Input, ...]
    assumptions: tuple[Assumption, ...]
    fuel_draws: Fuel


def _assume(name: str, number: Number | None, text: str = "", *, group: str = "") -> Assumption:
    why = sources.table("assumptions")[name]["why"]
    named = group or (_group(number.quantity) if number is not None else _group(name))
    return Assumption(subject=name, number=number, text=text, why=why, group=named)


def _group(quantity: str) -> str:
    """Return the name under which an input's share of the uncertainty is listed."""
    known = sources.quantities().get(quantity)
    return known.label if known is not None else _LABELS.get(quantity, quantity.replace("_", " "))


def _read(visit: Visit, name: str) -> bool:
    """Whether a quantity was read at every test point, in a log or by hand."""
    return (
        name in visit.spots
        or name in visit.readings.frame
        or all(name in point.spots for point in visit.test_points)
    )


def _site_pressure(visit: Visit, rng: np.random.Generator) -> tuple[core.Input, list[Assumption]]:
    """Return the pressure at the site as entered, from the elevation, or assumed."""
    site = visit.plan.site
    name = "barometric_pressure"
    if site.barometric_pressure is not None:
        value = site.barometric_pressure
        tools = [tool for tool, one in visit.plan.instruments.items() if name in one.accuracy]
        stated = max(known_accuracy(visit, name, tool).half_width(value) for tool in tools or [""])
        return _rectangular(name, value, value - stated, value + stated, rng), []
    if site.elevation is not None:
        value = float(combustion.standard_atmosphere_pressure(site.elevation))
        half = _assumed("barometric_pressure_weather", "value", "Pa")
        number = Number(quantity=name, value=value, low=value - half, high=value + half, origin="assumed")
        made = _assume("barometric_pressure_weather", number, "standard atmosphere at the site's elevation")
        return _rectangular(name, value, value - half, value + half, rng), [made]
    drawn, made = _span(name, name, "Pa", rng)
    return drawn, [] if _read(visit, name) else [made]


def _span(name: str, quantity: str, unit: str, rng: np.random.Generator) -> tuple[core.Input, Assumption]:
    low, value, high = (_assumed(name, key, unit) for key in ("low", "value", "high"))
    number = Number(quantity=quantity, value=value, low=low, high=high, origin="assumed")
    return _rectangular(quantity, value, low, high, rng), _assume(name, number)


def shared_inputs(visit: Visit, fuel: Fuel, rng: np.random.Generator) -> SharedInputs:
    """Return what every test point of the visit shares, drawn once."""
    plan = visit.plan
    pressure, assumptions = _site_pressure(visit, rng)
    inputs = [pressure]
    if not _read(visit, "relative_humidity"):
        humidity, made = _span("relative_humidity", "relative_humidity", "1", rng)
        inputs.append(humidity)
        assumptions.append(made)
    dryer = _sample_dew_point(visit)
    if dryer is None:
        drawn, made = _span("sample_dew_point", "sample_dew_point", "K", rng)
        inputs.append(drawn)
        assumptions += [] if _read(visit, "sample_dew_point") else [made]
    else:
        inputs.append(_rectangular("sample_dew_point", dryer, dryer, dryer, rng))
    casing = plan.appliance.casing_loss or 0.0
    inputs.append(_rectangular("casing_loss", casing, casing, casing, rng))
    if plan.appliance.casing_loss is None:
        assumptions.append(
            Assumption(
                subject="loss_casing",
                number=Number(quantity="loss_casing", value=0.0, origin="assumed"),
                text="",
                why="no casing loss was entered: the efficiency counts flue losses only",
            )
        )
    if plan.appliance.condensing and not plan.sampling.at_outlet:
        assumptions.append(
            Assumption(
                subject="condensed_fraction",
                number=Number(quantity="condensed_fraction", value=0.0, origin="assumed"),
                text="",
                why="the appliance is made to condense, but the visit does not say that it was sampled at its outlet: "
                "no heat of condensation was credited",
            )
        )
    if plan.fuel.spread is None:
        half = _assumed("fuel_spread", "value", "1")
        words = f"{fuel.name}: each minor component within ± {100 * half:.0f} % of its share"
        assumptions.append(_assume("fuel_spread", None, words, group=core.FUEL_GROUP))
    if any(point.meter is not None for point in plan.test_points) or _gas_was_logged(visit):
        inputs += _meter_inputs(visit, fuel, rng, assumptions)
    inputs += heat_inputs(visit)
    assumptions += _heat_assumptions(visit)
    return SharedInputs(
        inputs=tuple(inputs),
        assumptions=tuple(assumptions),
        fuel_draws=_fuel_draws(fuel, fuel_spread(visit, fuel), rng),
    )


def _heat_assumptions(visit: Visit) -> list[Assumption]:
    """Return what had to be assumed for the heat flows, where any can be formed."""
    plan = visit.plan
    made = []
    if heat_carrier_of(visit) and read_somewhere(visit, "supply_temperature"):
        if plan.appliance.casing_loss is None:
            made.append(_assume("casing_balance", None, _spread_words("casing_balance")))
        made.append(_assume("stray_heat", None, _spread_words("stray_heat")))
    by_manifold = plan.appliance.manifold_pressure is not None and plan.appliance.burner != "ratio control"
    if by_manifold and plan.appliance.rated_input and read_somewhere(visit, "manifold_pressure"):
        made.append(_assume("manifold_factor", None, _spread_words("manifold_factor")))
    elevation, rated = plan.site.elevation, plan.appliance.rated_input
    if elevation is not None and rated is not None and (rating_of(visit, "high") or rated) < rated:
        practice = altitude_citation(plan.appliance.altitude_practice)
        made.append(
            Assumption(
                subject="altitude_rating",
                number=Number(
                    quantity="heat_input_rated", value=rating_of(visit, "high") or rated, origin="computed"
                ),
                text=f"{plan.appliance.altitude_practice}: {practice.words}",
                why="the rating is reduced at the site's elevation",
            )
        )
    return made


def _spread_words(name: str) -> str:
    entry = sources.table("assumptions")[name]
    span = f"{entry['low']} to {entry['high']}".replace(" percent", " %").replace("-", "−")
    return f"{entry['label']}: {span}"


def read_somewhere(visit: Visit, name: str) -> bool:
    """Whether a quantity was read at any test point, in a log or by hand."""
    return (
        name in visit.spots
        or name in visit.readings.frame
        or any(name in point.spots for point in visit.test_points)
    )


def _meter_inputs(
    visit: Visit, fuel: Fuel, rng: np.random.Generator, assumptions: list[Assumption]
) -> list[core.Input]:
    """Return the inputs of clocking that the whole visit shares."""
    stated = visit.plan.fuel.heating_value
    base = heating_value_base(visit)
    value = float(fuel.gross_heating_value_volume(base)) if stated is None else stated
    half = value * _assumed("heating_value" if stated is None else "heating_value_stated", "value", "1")
    if stated is None:
        number = Number(
            quantity="gross_heating_value_volume",
            value=value,
            low=value - half,
            high=value + half,
            origin="assumed",
            basis=f"{base_words(base)}, of the fuel's typical composition",
        )
        assumptions.append(_assume("heating_value", number))
    else:
        words = f"as stated, within ± {100 * half / value:.0f} %"
        assumptions.append(_assume("heating_value_stated", None, words, group=_group("heating_value")))
        if visit.plan.fuel.heating_value_base is None:
            taken = Number(
                quantity="gross_heating_value_volume", value=stated, origin="assumed", basis=base_words(base)
            )
            assumptions.append(_assume("heating_value_base", taken))
    meter = _assumed("meter_accuracy", "value", "1")
    seconds = _assumed("meter_clock", "value", "s")
    assumptions += [
        _assume(
            "meter_accuracy",
            None,
            f"the meter is right within ± {100 * meter:.0f} %",
            group=_group("meter_factor"),
        ),
    ]
    if any(point.meter is not None and point.meter.seconds for point in visit.plan.test_points):
        words = f"each time is right within ± {seconds:g} s"
        assumptions.append(_assume("meter_clock", None, words, group=_group("clock_seconds")))
    return [
        _rectangular("heating_value", value, value - half, value + half, rng),
        _rectangular("meter_factor", 1.0, 1.0 - meter, 1.0 + meter, rng),
    ]


def heating_value_base(visit: Visit) -> combustion.ReferenceConditions:
    """Return the state of the gas that the heating value is per volume of: as stated, or 60 °F dry."""
    return combustion.reference_conditions(visit.plan.fuel.heating_value_base or _USUAL_BASE)


def base_words(base: combustion.ReferenceConditions) -> str:
    """Return a base in words: temperature, pressure, dry or saturated."""
    warm = units.convert(base.metering_temperature, "K", "degC")
    return f"{warm:.2f} °C, {base.pressure / 1e3:.3f} kPa, {'saturated' if base.saturated else 'dry'}"


def _dry_pressure(base: combustion.ReferenceConditions) -> float:
    """Return the pressure of the gas itself at a base [Pa]: of a saturated volume the water's share is none."""
    water = float(combustion.saturation_pressure(base.metering_temperature)) if base.saturated else 0.0
    return base.pressure - water


def _sample_dew_point(visit: Visit) -> float | None:
    """Return the dew point stated of the instrument that read the flue gas, by log or by hand."""
    for name in DILUTION:
        tools = [visit.readings.channels[name].instrument] if name in visit.readings.channels else []
        tools += [one.instrument for one in visit.by_hand(name)]
        for instrument in filter(None, map(visit.plan.instruments.get, tools)):
            if instrument.sample_dew_point is not None:
                return float(instrument.sample_dew_point)
    return None


# ---------------------------------------------------------------------------- a test point


def known_accuracy(
    visit: Visit,
    quantity: str,
    instrument: str = "",
    *,
    reading: float | None = None,
    corrected: bool = False,
) -> StatedAccuracy:
    """Return the accuracy stated for a quantity [SI], or the one assumed, with the drift that checks found.

    Parameters
    ----------
    reading : float, optional
        The reading [SI] at which drift counts; where not given, cautiously the greatest of the log or of the checks.
    corrected : bool
        Whether the reading is corrected for drift where visit.toml asks: half of the drift then stays.
    """
    stated, drifts = _stated(visit, quantity, instrument)
    if not drifts:
        return stated
    at = _greatest(visit, quantity, drifts) if reading is None else reading
    return _with_drift(stated, quantity, at, drifts, corrected=corrected)


def drift_half_width(visit: Visit, quantity: str, instrument: str, *, reading: float) -> float:
    """Return how wrong a settled reading may be [SI] by what checks, or the log's own fresh air, found."""
    return _half_width(_drifts(visit, quantity, instrument), reading, corrected=True)


def _stated(
    visit: Visit, quantity: str, instrument: str = ""
) -> tuple[StatedAccuracy, tuple[Drift, Drift] | None]:
    """Return the accuracy stated or assumed, and the drifts that checks found of it, None where they found none."""
    stated = stated_or_assumed(accuracy_of(visit.plan, quantity, instrument=instrument or None), quantity)
    drifts = _drifts(visit, quantity, stated.instrument)
    return stated, drifts if any(one.before or one.after for one in drifts) else None


def _drifts(visit: Visit, quantity: str, instrument: str) -> tuple[Drift, Drift]:
    """Return what the checks entered found of one quantity of an instrument, and what fresh air in the log did."""
    return (
        drift_of(visit.plan, quantity, instrument=instrument),
        fresh_air_drift(visit, quantity, instrument=instrument),
    )


def _half_width(drifts: tuple[Drift, Drift], reading: float, *, corrected: bool) -> float:
    """Return the greater of the two, which see the same cell; where one is corrected for, so is what the other saw."""
    entered, seen = drifts
    half = entered.half_width(reading, corrected=corrected)
    return half if corrected and entered.correct else max(half, seen.half_width(reading))


def _greatest(visit: Visit, quantity: str, drifts: tuple[Drift, Drift]) -> float:
    logged = visit.readings.frame[quantity].max() if quantity in visit.readings.frame else np.nan
    checked = [shown for one in drifts for shown, _ in (*one.before, *one.after)]
    return max(checked) if np.isnan(logged) else float(logged)


def _with_drift(
    stated: StatedAccuracy, quantity: str, reading: float, drifts: tuple[Drift, Drift], *, corrected: bool
) -> StatedAccuracy:
    """Return an accuracy whose greatest part is, at `reading`, the stated one and the drift together.

    Both are rectangular and apart from each other: their sum is replaced by one rectangle of the same variance.
    """
    drift = _half_width(drifts, reading, corrected=corrected)
    shown = abs(on_display(quantity, reading))
    share = math.hypot(stated.of_reading, drift / shown) if stated.of_reading and shown else 0.0
    return replace(
        stated,
        absolute=math.hypot(stated.absolute, drift),
        of_reading=share,
        of_span=math.hypot(stated.of_span, drift) if stated.of_span else 0.0,
        wandered=min(max(one.wandered(reading) for one in drifts), drift),
    )


def settled_accuracies(visit: Visit) -> Callable[[pd.DataFrame], Mapping[str, StatedAccuracy]]:
    """Return what gives the accuracy of each channel of a steady window: drift counts at its mean there.

    Where visit.toml asks for it, drift is corrected; half of it then stays.
    """
    known = {str(name): _stated(visit, str(name)) for name in visit.readings.frame}

    def accuracy(name: str, window: pd.DataFrame) -> StatedAccuracy:
        stated, drifts = known[name]
        if drifts is None:
            return stated
        value = window[name].to_numpy(dtype=np.float64)
        if not np.isfinite(value).any():
            return stated
        reading = float(np.nanmean(value))
        return _with_drift(stated, name, reading, drifts, corrected=True)

    return lambda window: {str(name): accuracy(str(name), window) for name in window}


def drift_corrected(visit: Visit, mean: ChannelMean) -> ChannelMean:
    """Return a mean corrected for drift where visit.toml asks for it, with its interval moved along.

    The interval of a share of a gas that comes out as less than zero is that of zero.
    """
    added = drift_of(visit.plan, mean.quantity, instrument=None).correction(mean.mean)
    if not added:
        return mean
    moved, width = replace(mean, mean=mean.mean + added), mean.high - mean.shown
    low = max(moved.shown - width, sources.quantity(mean.quantity).floor)
    return replace(moved, low=low, high=moved.shown + width)


def logged_means(visit: Visit, settled: SettledPoint, *, but: Container[str]) -> Mapping[str, ChannelMean]:
    """Return the means of a settled point corrected for drift as asked, `but` those of what left its range."""
    return {name: drift_corrected(visit, mean) for name, mean in settled.means.items() if name not in but}


def mean_number(mean: ChannelMean, *, basis: str) -> Number:
    """Return a mean as a number of the audit."""
    return Number(
        quantity=mean.quantity,
        value=mean.shown,
        low=mean.low,
        high=mean.high,
        origin="measured",
        basis=basis,
    )


def spot_means(visit: Visit, spots: Mapping[str, tuple[SpotReading, ...]]) -> Mapping[str, ChannelMean]:
    """Return the means of what was read by hand, each reading corrected for drift where visit.toml asks for it.

    A reading that is only a bound has none.
    """
    made = {}
    for quantity, taken in spots.items():
        if not taken or any(one.bound for one in taken):
            continue
        values = [
            one.value
            + drift_of(visit.plan, quantity, instrument=one.instrument or None).correction(one.value)
            for one in taken
        ]
        tools = dict.fromkeys(one.instrument for one in taken)
        accuracies = [
            known_accuracy(visit, quantity, tool, reading=float(np.mean(values)), corrected=True)
            for tool in tools
        ]
        means = (spot_mean(quantity, values, accuracy=accuracy) for accuracy in accuracies)
        made[quantity] = max(means, key=lambda mean: mean.bias)  # of several instruments the least sure one
    return made


def above_range(
    bounds: pd.DataFrame, spots: Mapping[str, tuple[SpotReading, ...]], *, logged: Iterable[str]
) -> list[str]:
    """Return what left its range in the rows of `bounds`, or when it was read by hand: such has no mean.

    What is `logged` is not looked for by hand.
    """
    known = set(logged)
    by_hand = [
        name for name, taken in spots.items() if name not in known and any(one.bound == ">" for one in taken)
    ]
    return by_hand + [str(name) for name in bounds if name in known and bounds[name].notna().any()]


def unstated_accuracies(visit: Visit, means: Iterable[ChannelMean]) -> list[Assumption]:
    """Return one assumption for each quantity whose instrument stated no accuracy."""
    made = []
    for mean in means:
        if not mean.accuracy_stated:
            label = sources.quantity(mean.quantity).label
            made.append(
                Assumption(
                    subject=mean.quantity,
                    number=None,
                    text=f"a cautious accuracy was taken for: {label}",
                    why="no accuracy of its instrument was stated",
                    group=label,
                    unstated=True,
                )
            )
    return made


def usable(visit: Visit, name: str) -> bool:
    """Whether a channel may serve as evidence: what an instrument computed is shown, never used."""
    channel = visit.readings.channels.get(name)
    return channel is None or channel.origin == "measured"


def half_widths(visit: Visit) -> Mapping[str, tuple[float, float]]:
    """Return the stated accuracy of what carbon monoxide is judged with: (absolute [SI], share of reading)."""
    made = {}
    for name in ("carbon_monoxide_dry", *DILUTION):
        if name in visit.readings.channels:
            stated = known_accuracy(visit, name)
            made[name] = (max(stated.absolute, stated.of_span) + stated.resolution / 2, stated.of_reading)
    return made


def fuel_kind(fuel: Fuel) -> str:
    """Return the kind of fuel, by its main component, that simple formulas and trade figures are for, or nothing."""
    main = max(fuel.composition, key=lambda name: float(fuel.composition[name]))
    kinds = {"CH4": "natural gas", "C3H8": "propane", "n-C4H10": "butane", "i-C4H10": "butane"}
    return kinds.get(main, "") if float(fuel.composition[main]) > 0.5 else ""


def settings_of(visit: Visit, fuel: Fuel, rows: TestPointRows) -> core.Settings:
    """Return what the chain needs of a test point besides readings."""
    plan = visit.plan
    meter = plan_point(visit, rows).meter
    base = heating_value_base(visit)
    return core.Settings(
        condensing=plan.appliance.condensing and plan.sampling.at_outlet,
        subtract_ambient=plan.sampling.subtract_ambient_carbon_monoxide,
        stack_loss_fuel=fuel_kind(fuel),
        rated_input=rating_of(visit, stage_of(visit, rows)),
        dial_volume=meter.dial * meter.revolutions if meter is not None and meter.dial is not None else None,
        compensated=meter.compensated if meter is not None else False,
        base_pressure=_dry_pressure(base),
        base_temperature=base.metering_temperature,
        heat=heat_settings(visit, rows),
    )


def clock_inputs(
    visit: Visit, rows: TestPointRows, window: pd.DataFrame | None, rng: np.random.Generator
) -> tuple[list[core.Input], list[Assumption]]:
    """Return the inputs of one clocking: times by hand or pulses in the log, pressure and temperature at the meter.

    Parameters
    ----------
    window : DataFrame or None
        The rows of the steady window, None where there is none: pulses outside of it tell no steady rate.
    """
    meter = plan_point(visit, rows).meter
    if meter is None and not _gas_was_logged(visit):
        return [], []
    inputs = []
    if meter is not None and meter.seconds:
        seconds = float(np.mean(meter.seconds))
        half = _assumed("meter_clock", "value", "s") / math.sqrt(len(meter.seconds))
        clock = _rectangular("clock_seconds", seconds, seconds - half, seconds + half, rng)
        scatter = mean_noise(np.asarray(meter.seconds, dtype=np.float64))
        if scatter.standard_error > 0:
            strayed = scatter.standard_error * rng.standard_t(scatter.degrees_of_freedom, core.DRAWS)
            clock = replace(clock, draws=np.maximum(clock.draws + strayed, _LEAST_TRY * seconds))
        inputs.append(clock)
    elif window is not None and "gas_volume" in window and "gas_volume_flow" not in window:
        flow = gas_flow_counted(
            window["gas_volume"], resolution=known_accuracy(visit, "gas_volume").resolution
        )
        if flow is not None:
            inputs.append(_rectangular("gas_volume_flow", flow[0], flow[0] - flow[1], flow[0] + flow[1], rng))
    assumptions = []
    for name, entered, unit in (
        ("meter_pressure", meter.pressure if meter is not None else None, "Pa"),
        ("meter_temperature", meter.temperature if meter is not None else None, "K"),
    ):
        if entered is not None or (meter is not None and meter.compensated):
            value = entered if entered is not None else _assumed(name, "value", unit)
            inputs.append(_rectangular(name, value, value, value, rng))
        else:
            drawn, made = _span(name, name, unit, rng)
            inputs.append(drawn)
            assumptions.append(made)
    return inputs, assumptions


def _gas_was_logged(visit: Visit) -> bool:
    return any(read_somewhere(visit, name) for name in ("gas_volume", "gas_volume_flow"))


def point_inputs(
    means: Mapping[str, ChannelMean], drawn: Mapping[str, units.Array], shared: Iterable[core.Input]
) -> tuple[tuple[core.Input, ...], list[Assumption]]:
    """Return the inputs of the chain: means of the test point, what the visit shares, and their stand-ins."""
    made = {
        name: core.Input(
            name=name,
            central=mean.shown,
            draws=drawn[name],
            group=sources.quantity(name).label,
        )
        for name, mean in means.items()
    }
    for one in shared:
        made.setdefault(one.name, one)
    assumptions = []

    def stand_in(name: str, other: str, why: str) -> None:
        if name not in made and other in made:
            taken = made[other]
            made[name] = core.Input(name=name, central=taken.central, draws=taken.draws, group=taken.group)
            number = Number(quantity=name, value=taken.central, origin="assumed")
            assumptions.append(Assumption(subject=name, number=number, text="", why=why))

    if "carbon_monoxide_dry" not in made and any(name in made for name in DILUTION):
        why = "not read: losses and excess air are formed as if there were none"
        assumptions.append(Assumption(subject="carbon_monoxide_dry", number=None, text="none", why=why))
    stand_in(
        "air_temperature", "ambient_temperature", "not read at the burner's intake: the room's was taken"
    )
    stand_in(
        "humidity_temperature",
        "ambient_temperature",
        "no temperature was given with the humidity: the room's was taken",
    )
    stand_in(
        "humidity_temperature",
        "air_temperature",
        "no temperature was given with the humidity: the combustion air's was taken",
    )
    if "humidity_temperature" not in made:
        made["humidity_temperature"] = core.Input(
            name="humidity_temperature", central=293.15, draws=np.full(core.DRAWS, 293.15), group="humidity"
        )
    return tuple(made.values()), assumptions
