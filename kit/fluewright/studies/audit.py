"""The audit of a visit: from readings to test points, results, judgements and the verdict. One direction only."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from threadpoolctl import ThreadpoolController

from fluewright import combustion, sources, units
from fluewright.appliance import (
    CarbonMonoxideRows,
    Evidence,
    Judgement,
    Number,
    VerdictGiven,
    carbon_monoxide_rows,
    drill,
    gravity,
    missing_tests,
    put_right,
    verdict,
)
from fluewright.combustion import Fuel
from fluewright.errors import InputError
from fluewright.sources import limits as safety
from fluewright.steady import (
    DILUTION,
    OXYGEN,
    ChannelMean,
    Cycles,
    SettledPoint,
    Steadiness,
    draw_means,
    find_steady_window,
    named_criteria,
    settled_point,
    sums_of,
)
from fluewright.studies import inputs as given
from fluewright.studies import judging
from fluewright.studies import numbers as core
from fluewright.studies.balancing import Balance, balance
from fluewright.studies.cycles import BurnerCycles, Settled, burner_cycles, cycles_of, in_light_off
from fluewright.studies.evidence import (
    BlowerShifts,
    ambient_rise,
    blower_shifts,
    heat_exchanger_evidence,
    telling,
)
from fluewright.studies.fresh_air import oxygen_zero_drift
from fluewright.studies.heat_settings import Stage, stage_of
from fluewright.studies.inputs import Assumption
from fluewright.studies.instrument_checks import (
    CheckedReading,
    calibration_judgements,
    checked_readings,
    fresh_air_judgements,
)
from fluewright.studies.visit_record import VisitRecord, record_judgements, visit_record
from fluewright.studies.yearly import YearlySavings, yearly_savings
from fluewright.visit import SpotReading, StatedAccuracy, TestPointRows, Visit, drift_of, tell_more

_RANKED = ("efficiency_gross", "excess_air", "carbon_monoxide_air_free_oxygen_rule")
_MONOXIDE = "carbon_monoxide_dry"
_FLUE = frozenset({*DILUTION, _MONOXIDE, "flue_temperature"})
_TRACE = 1e-4  # of the SI unit: a unit for traces, such as ppm
_NO_OXYGEN = 1e-3  # a column in such a unit that never holds more is of another unit, chosen here
_MISSING = 0.1  # share of the rows of a window without a number that is told beside the mean of the others
_NO_WEATHER = 8_000.0  # Pa, chosen here: beyond the extremes of weather
_ALGEBRA = ThreadpoolController()  # threads that wait by turning: these arrays are too small for them
_FRESH_AIR = 0.2  # a whole log at or above this share of oxygen held no flue gas


@dataclass(frozen=True, slots=True, kw_only=True)
class DewPointCurve:
    """The water dew point [K] of this fuel's flue gas over excess air, at the site's pressure and humidity."""

    excess_air: units.Array
    dew_point: units.Array


@dataclass(frozen=True, slots=True, kw_only=True)
class PointAudit:
    """One test point: its rows, its window, its readings and its results.

    `above_range` holds the channels of which some reading in the window was only known to be at least so much: they
    have no mean. `settled` is None where no window was found or chosen; `numbers` is then empty. `state` says in words
    what kept an air-free value from being formed.
    """

    rows: TestPointRows
    frame: pd.DataFrame
    steadiness: Steadiness
    settled: SettledPoint | None
    spots: Mapping[str, tuple[SpotReading, ...]]
    above_range: Mapping[str, float]
    readings: Mapping[str, Number]
    numbers: Mapping[str, Number]
    contributions: Mapping[str, tuple[core.Contribution, ...]]
    carbon_monoxide: CarbonMonoxideRows | None
    flame: combustion.AdiabaticFlame | None
    state: str
    stage: Stage
    balance: Balance | None
    blower: BlowerShifts

    @property
    def name(self) -> str:
        """The test point's name."""
        return self.rows.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Audit:
    """The whole audit of a visit, as values; a report only shows it."""

    visit: Visit
    fuel: Fuel
    points: tuple[PointAudit, ...]
    cycles: BurnerCycles
    judgements: tuple[Judgement, ...]
    verdict: VerdictGiven
    not_tested: tuple[safety.RequiredTest, ...]
    not_tested_recommended: tuple[safety.RequiredTest, ...]
    unlimited: tuple[safety.RequiredTest, ...]
    differences: Mapping[tuple[str, str], Mapping[str, Number]]
    savings: Mapping[tuple[str, str], YearlySavings]
    evidence: Evidence | None
    oxygen_zero_drift: Number | None
    instrument_checks: tuple[CheckedReading, ...]
    record: VisitRecord
    assumptions: tuple[Assumption, ...]
    dew_points: DewPointCurve

    @property
    def findings(self) -> tuple[Judgement, ...]:
        """The judgements that weigh something, gravest first."""
        return tuple(sorted((one for one in self.judgements if one.weight), key=lambda one: -gravity(one)))

    @property
    def results(self) -> Mapping[str, Any]:
        """What results.json holds."""
        from fluewright.studies.results import results_of  # results_of takes an Audit

        return results_of(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Settling:
    """A test point on its way: its rows, window and means, before any result is formed.

    `above_range` holds by channel the mean over the window [SI] of readings and of the least they can have been.
    `by_hand` are means of what was read by hand; without a window they tell all but what the flue gas does.
    """

    rows: TestPointRows
    frame: pd.DataFrame
    steadiness: Steadiness
    settled: SettledPoint | None
    by_hand: Mapping[str, ChannelMean]
    spots: Mapping[str, tuple[SpotReading, ...]]
    above_range: Mapping[str, float]

    @property
    def name(self) -> str:
        """Its name."""
        return self.rows.name

    @property
    def means(self) -> Mapping[str, ChannelMean]:
        """What results are formed of."""
        return self.by_hand if self.settled is None else self.settled.means


def _evidence(visit: Visit, frame: pd.DataFrame) -> pd.DataFrame:
    """Return the columns that may serve as evidence."""
    return frame[[name for name in frame.columns if given.usable(visit, name)]]


def _steadiness(visit: Visit, rows: TestPointRows) -> Steadiness:
    """Return what became of the rows of a test point, by the definition of steady that the visit names."""
    return find_steady_window(
        _with_tops(visit, _evidence(visit, visit.readings.frame.loc[rows.start : rows.end])),
        criteria=named_criteria(visit.plan.steady.criteria),
        manual=rows.manual_window,
        system=visit.plan.report.units,
    )


def _with_tops(visit: Visit, frame: pd.DataFrame) -> pd.DataFrame:
    """Return readings with oxygen above the range of its cell, which is fresh air, as what it is at least."""
    bounds = visit.readings.lower_bounds
    tops = {name: bounds[name] for name in OXYGEN if name in frame and name in bounds}
    fresh = {name: frame[name].fillna(top[top >= _FRESH_AIR]) for name, top in tops.items()}
    return frame.assign(**fresh) if fresh else frame


def _settle(
    visit: Visit,
    rows: TestPointRows,
    shared: Mapping[str, ChannelMean],
    accuracies: Callable[[pd.DataFrame], Mapping[str, StatedAccuracy]],
) -> _Settling:
    """Return a test point with its window, and the means of logged and hand-read quantities.

    `shared` holds the means of what was read by hand once for the whole visit, `accuracies` gives those of a window.
    """
    frame = visit.readings.frame.loc[rows.start : rows.end]
    evidence, steadiness = _evidence(visit, frame), _steadiness(visit, rows)
    by_hand = {name: mean for name, mean in shared.items() if name not in rows.spots}
    by_hand |= given.spot_means(visit, rows.spots)
    spots = {**visit.spots, **rows.spots}
    above: Mapping[str, float] = {}
    settled = None
    if steadiness.window is not None:
        window = steadiness.window.of(evidence)
        above = _above_range(visit, window, spots)
        found = settled_point(
            evidence, name=rows.name, window=steadiness.window, accuracies=accuracies(window)
        )
        means = given.logged_means(visit, found, but=above)
        settled = replace(found, means={**by_hand, **means})
    return _Settling(
        rows=rows,
        frame=frame,
        steadiness=steadiness,
        settled=settled,
        by_hand={name: mean for name, mean in by_hand.items() if name not in _FLUE},
        spots=spots,
        above_range=above,
    )


def _above_range(
    visit: Visit, window: pd.DataFrame, spots: Mapping[str, tuple[SpotReading, ...]]
) -> Mapping[str, float]:
    """Return the least that the mean [SI] can be of what left its range in a window, or when it was read by hand."""
    bounds = visit.readings.lower_bounds.loc[window.index[0] : window.index[-1]].reindex(window.index)
    return {
        name: float(np.fmax(window[name], bounds[name]).mean())
        if name in window
        else float(np.mean([one.value for one in spots[name]]))
        for name in given.above_range(bounds, spots, logged=window.columns)
    }


def _refuse_oxygen(visit: Visit) -> None:
    """Refuse a visit in whose logs no flue gas was ever read, or in whose oxygen a unit is mistaken."""
    frame = visit.readings.frame
    for name in OXYGEN:
        if name not in frame or not frame[name].notna().any():
            continue
        channel = visit.readings.channels[name]
        if units.factor(channel.unit, "mol/mol", name)[0] < _TRACE and frame[name].max() < _NO_OXYGEN:
            raise InputError(
                f"{channel.file}: the highest {sources.quantity(name).label.lower()} is {frame[name].max() * 1e6:.4g} "
                f"ppm, which is none to speak of: oxygen is read in percent. Check column '{channel.column}' and its "
                f"unit '{channel.unit}' in visit.toml: is percent meant?"
            )
        if not (frame[name] < _FRESH_AIR).any():
            monoxide = frame.get(_MONOXIDE)
            highest = np.nan if monoxide is None else monoxide.max() * 1e6
            beside = f" Carbon monoxide reached {highest:.4g} ppm in it all the same." if highest > 0 else ""
            raise InputError(
                f"{channel.file}: every row is fresh air: the lowest {sources.quantity(name).label.lower()} is "
                f"{frame[name].min():.1%}, and fresh air holds 20.9 %. No flue gas was sampled in this log.{beside} "
                f"Check that the probe was in the flue, that column '{channel.column}' is the right one, and that "
                f"its unit '{channel.unit}' is right in visit.toml."
            )


def _window_of(point: _Settling) -> pd.DataFrame:
    """Return the rows of a settled point's steady window."""
    assert point.settled is not None
    return point.settled.window.of(point.frame)


def _reading_numbers(visit: Visit, point: _Settling) -> Mapping[str, Number]:
    """Return the means of a settled point as numbers; what an instrument computed is shown and never used."""
    if point.settled is None:
        return {}
    made = {
        name: given.mean_number(mean, basis=_basis(visit, point, mean))
        for name, mean in point.settled.means.items()
    }
    made |= {
        name: Number(
            quantity=name,
            value=least,
            low=least,
            high=np.inf,
            origin="measured",
            basis="mean of readings, one above the instrument's range taken as its top",
        )
        for name, least in point.above_range.items()
    }
    window = _window_of(point)
    for name in window.columns:
        if given.usable(visit, name):
            continue
        sums = sums_of(window[name].to_numpy(dtype=np.float64))
        if sums is not None:
            made[f"{name}_instrument"] = Number(
                quantity=name,
                value=sums.mean,
                origin="instrument",
                basis="computed inside the instrument; shown, not used",
            )
    return made


def _basis(visit: Visit, point: _Settling, mean: ChannelMean) -> str:
    """Return how a mean was formed, and what was done to it because visit.toml asked."""
    name = mean.quantity
    channel = visit.readings.channels.get(name)
    by_hand = "" if channel is not None else point.spots[name][0].instrument
    text = "read by hand" if channel is None else "mean over the window"
    rows = mean.samples + mean.missing
    if channel is not None and mean.missing > _MISSING * rows:
        text = f"mean of the {mean.samples:,} of {rows:,} rows of the window that hold a number"
    if channel is not None and channel.interpolated:
        text += "; interpolated between the readings of its log, as asked"
    if drift_of(visit.plan, name, instrument=by_hand or None).correct:
        text += "; corrected for drift, as asked"
    if mean.shown > mean.mean:
        text += "; it came out below zero, which no gas can be, and is shown as zero"
    return text


def _state(point: _Settling, results: Mapping[str, Number]) -> str:
    """Return in words what kept an air-free value from being formed, or nothing."""
    if _MONOXIDE in point.above_range:
        return "carbon monoxide left the instrument's range in the window, so excess air and losses cannot be told"
    if point.settled is None or _MONOXIDE not in point.settled.means:
        return ""
    if "carbon_monoxide_air_free" in results:
        return ""
    if "excess_air" in results:
        return "the sample is too dilute for an air-free value"
    if not any(name in point.settled.means for name in DILUTION):
        return "neither oxygen nor carbon dioxide was read, so its dilution is not known"
    return "no flue gas was read in the window"


def _every_row(visit: Visit) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return all rows of the logs in order of time, set aside or not, and the least values of over-range cells.

    What was dangerous in a row that was set aside stays dangerous.
    """
    readings = visit.readings
    bounds = readings.lower_bounds
    aside = readings.aside[tell_more(readings.aside, readings.frame, bounds)]
    if not len(aside):
        return readings.frame, bounds
    tops = pd.DataFrame(index=aside.index)
    for name in aside.columns:
        span = given.known_accuracy(visit, str(name)).span
        if span is not None:
            tops[name] = aside[name].where(aside[name] >= span[1])
    rows = pd.concat([readings.frame, aside])
    order = np.argsort(rows.index.to_numpy(), kind="stable")
    return rows.iloc[order], pd.concat([bounds, tops]).iloc[order]


def _stretches(
    visit: Visit, rows: pd.DataFrame, bounds: pd.DataFrame
) -> Mapping[str, tuple[pd.DataFrame, pd.DataFrame]]:
    """Return the rows that count to each test point: every row counts to one of them.

    Rows before the first test point count to the first; rows between two count to the earlier.
    """
    ordered = sorted(visit.test_points, key=lambda point: point.start)
    edges = [0, *(int(rows.index.searchsorted(point.start)) for point in ordered[1:]), len(rows)]
    return {
        point.name: (rows.iloc[first:last], bounds.iloc[first:last])
        for point, first, last in zip(ordered, edges[:-1], edges[1:], strict=True)
    }


def _worst(
    visit: Visit, fuel: Fuel, cycles: Future[Cycles], rows: pd.DataFrame, bounds: pd.DataFrame
) -> CarbonMonoxideRows | None:
    """Return the worst carbon monoxide of the rows that count to a test point."""
    oxygen = next((name for name in DILUTION if name in rows and given.usable(visit, name)), None)
    return carbon_monoxide_rows(
        rows,
        lower_bounds=bounds,
        fuel=fuel,
        half_widths=given.half_widths(visit),
        oxygen_name=oxygen,
        light_off=in_light_off(cycles.result(), pd.DatetimeIndex(rows.index)),
    )


def _flame(
    fuel: Fuel, values: Mapping[str, float], inputs: Mapping[str, float]
) -> combustion.AdiabaticFlame | None:
    """Return the adiabatic flame at the test point's air, or None where its air is not known."""
    if not np.isfinite(values.get("excess_air", np.nan)):
        return None
    return combustion.adiabatic_flame(
        fuel,
        excess_air=values["excess_air"],
        air_temperature=inputs.get("air_temperature", 298.15),
        air_water_fraction=values["air_water_fraction"],
        pressure=inputs["barometric_pressure"],
    )


def _dew_point_curve(fuel: Fuel, formed: Sequence[_Formed]) -> DewPointCurve:
    """Return the dew points with the air of the last test point that settled, of a standard atmosphere without one."""
    settled = (one for one in reversed(formed) if one.point.settled is not None)
    last = next(settled, None)
    pressure, water = (101325.0, 0.0) if last is None else (last.pressure, last.water)
    airs = (one.point.numbers["excess_air"].value for one in formed if "excess_air" in one.point.numbers)
    excess = np.linspace(0.0, max(2.0, *(1.5 * air for air in airs), 0.0), 81)
    flue = combustion.flue_gas(fuel, excess_air=excess, air_water_fraction=water, pressure=pressure)
    return DewPointCurve(excess_air=excess, dew_point=np.asarray(flue.water_dew_point))


def _with_effects(
    assumptions: tuple[Assumption, ...], ranked: Mapping[str, tuple[core.Contribution, ...]]
) -> tuple[Assumption, ...]:
    """Return the assumptions with what each alone moves in the gross efficiency."""
    widths = {one.group: one.half_width for one in ranked.get("efficiency_gross", ())}

    def effect(one: Assumption) -> Number | None:
        width = widths.get(one.group)
        return None if width is None else Number(quantity="efficiency_gross", value=width, origin="computed")

    return tuple(replace(one, effect=effect(one)) for one in assumptions)


def check(visit: Visit) -> Fuel:
    """Return the fuel of a visit that can be audited.

    Raises
    ------
    InputError
        No flue gas was ever read, a window chosen by a person holds none, or the composition is none.
    UnknownNameError
        The fuel or the drill size of the orifices is not known.
    """
    _refuse_oxygen(visit)
    if visit.plan.appliance.orifices is not None:
        drill(visit.plan.appliance.orifices.size)
    for rows in visit.test_points:
        if rows.manual_window is not None:
            _steadiness(visit, rows)
    _refuse_barometer(visit)
    fuel = given.fuel_of(visit)
    given.fuel_spread(visit, fuel)
    return fuel


def _refuse_barometer(visit: Visit) -> None:
    """Refuse a barometer that no weather makes at the elevation stated: most likely it was reduced to sea level."""
    site = visit.plan.site
    if site.barometric_pressure is None or site.elevation is None:
        return
    usual = float(combustion.standard_atmosphere_pressure(site.elevation))
    if abs(site.barometric_pressure - usual) > _NO_WEATHER:
        raise InputError(
            f"the barometric pressure, {site.barometric_pressure / 100:,.0f} hPa, is far from the "
            f"{usual / 100:,.0f} hPa of the standard atmosphere at {site.elevation:,.0f} m, and no weather makes it "
            "so: it is that at the site, not reduced to sea level. Check it, and elevation, in visit.toml"
        )


def audit(visit: Visit) -> Audit:
    """Return the audit of a visit.

    Parameters
    ----------
    visit : Visit
        As `open_visit` returns it.

    Returns
    -------
    Audit
        Every number with its interval, every judgement with its limit and source, and the verdict.

    Raises
    ------
    InputError
        No flue gas was ever read, or the fuel is not one that can be burned here.
    UnknownNameError
        The fuel or the type of appliance is not known.
    """
    with _ALGEBRA.limit(limits=1):
        return _audited(visit)


def _audited(visit: Visit) -> Audit:
    fuel = check(visit)
    rng = np.random.default_rng(core.SEED)
    shared = given.shared_inputs(visit, fuel, rng)
    by_hand = given.spot_means(visit, visit.spots)
    accuracies = given.settled_accuracies(visit)
    settling = [_settle(visit, rows, by_hand, accuracies) for rows in visit.test_points]
    drawn = draw_means(settling, draws=core.DRAWS, seed=core.SEED)
    rows, bounds = _every_row(visit)
    stretches = _stretches(visit, rows, bounds)
    windows = [point.steadiness.by_rules for point in settling if point.steadiness.by_rules]
    with ThreadPoolExecutor(1) as beside:  # what takes all rows leaves the interpreter to what takes few
        cycles = beside.submit(cycles_of, visit, windows=windows, rows=rows, bounds=bounds)
        worst = {name: beside.submit(_worst, visit, fuel, cycles, *part) for name, part in stretches.items()}
        formed = [
            _formed(
                visit,
                fuel,
                shared,
                point,
                draws=next(drawn),
                stretch=stretches[point.rows.name],
                worst=worst[point.rows.name],
                rng=rng,
            )
            for point in settling
        ]
    points = tuple(one.point for one in formed)
    evaluated = {one.point.name: one.evaluated for one in formed}
    known = {one.point.settled.window: one.known for one in formed if one.point.settled is not None}
    assumptions = (*shared.assumptions, *(made for one in formed for made in one.assumptions))
    drift = oxygen_zero_drift(visit)
    tested = [_tested(point, *stretches[point.name], drift) for point in points]
    record = visit_record(visit)
    replaces = {point.name: point.replaces for point in visit.plan.test_points if point.replaces}
    judged = put_right(_judged(visit, tested, record), replaces=replaces)
    subjects = judging.tested_subjects(visit, tested, judged, replaced=replaces.values())
    appliance = visit.plan.appliance
    required, recommended = (
        tests(appliance.type, condensing=appliance.condensing, draft=appliance.draft)
        for tests in (safety.required_tests, safety.recommended_tests)
    )
    missing = missing_tests(required, subjects)
    unlimited = judging.unlimited_tests(required, judged, subjects)
    return Audit(
        visit=visit,
        fuel=fuel,
        points=points,
        cycles=burner_cycles(
            visit,
            fuel,
            cycles.result(),
            shared=shared,
            accuracies=accuracies,
            known=known,
            bounds=bounds,
        ),
        judgements=judged,
        verdict=verdict(judged, missing=missing, unlimited=unlimited),
        not_tested=missing,
        not_tested_recommended=missing_tests(recommended, subjects),
        unlimited=unlimited,
        differences={
            (old, new): core.differences(evaluated[old], evaluated[new]) for new, old in replaces.items()
        },
        savings={
            (old, new): found
            for new, old in replaces.items()
            if (found := yearly_savings(visit, fuel, evaluated[old], evaluated[new])) is not None
        },
        evidence=heat_exchanger_evidence(visit, judged, {point.name: point.blower for point in points}),
        oxygen_zero_drift=drift,
        instrument_checks=checked_readings(
            visit, ((one.name, one.settled.means) for one in points if one.settled is not None)
        ),
        record=record,
        assumptions=_with_effects(
            tuple(dict.fromkeys(assumptions)),
            next((one.contributions for one in points if one.contributions), {}),
        ),
        dew_points=_dew_point_curve(fuel, formed),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Formed:
    """A test point with its results: their values and draws, what had to be assumed, what a cycle may take over.

    `pressure` [Pa] and `water` [mol/mol] are those of its air.
    """

    point: PointAudit
    evaluated: tuple[Mapping[str, float], Mapping[str, units.Array]]
    known: Settled
    assumptions: tuple[Assumption, ...]
    pressure: float
    water: float


def _formed(
    visit: Visit,
    fuel: Fuel,
    shared: given.SharedInputs,
    point: _Settling,
    *,
    draws: Mapping[str, units.Array],
    stretch: tuple[pd.DataFrame, pd.DataFrame],
    worst: Future[CarbonMonoxideRows | None],
    rng: np.random.Generator,
) -> _Formed:
    """Return a test point with its results; without a window it has none but those of clocking and of all its rows."""
    settled = point.settled
    settings = given.settings_of(visit, fuel, point.rows)
    clock, assumptions = given.clock_inputs(
        visit, point.rows, None if settled is None else _window_of(point), rng
    )
    means = point.means
    if _MONOXIDE in point.above_range:  # the balance of the flue gas needs both
        means = {name: mean for name, mean in means.items() if name not in DILUTION}
    inputs, stand_ins = given.point_inputs(means, draws, (*shared.inputs, *clock))
    if means:
        assumptions += [*stand_ins, *given.unstated_accuracies(visit, means.values())]
    evaluated = core.evaluate(fuel, shared.fuel_draws, inputs, settings)
    values, found = evaluated
    numbers, readings = core.numbers(values, found), _reading_numbers(visit, point)
    rise = ambient_rise(visit, stretch[0], point.spots)
    centers = {one.name: one.central for one in inputs}
    return _Formed(
        point=PointAudit(
            rows=point.rows,
            frame=point.frame,
            steadiness=point.steadiness,
            settled=settled,
            spots=point.spots,
            above_range=point.above_range,
            readings=readings,
            numbers=numbers if rise is None else {**numbers, "carbon_monoxide_ambient_rise": rise},
            contributions=core.contributions(fuel, shared.fuel_draws, inputs, settings, of=_RANKED)
            if settled is not None
            else {},
            flame=_flame(fuel, values, centers) if settled is not None else None,
            state=_state(point, numbers),
            stage=stage_of(visit, point.rows),
            balance=balance(fuel, shared.fuel_draws, inputs, settings) if settled is not None else None,
            blower=blower_shifts(visit, point.rows, point.frame),
            carbon_monoxide=worst.result(),
        ),
        evaluated=evaluated,
        known=Settled(
            numbers={**{name: readings[name] for name in (settled.means if settled else ())}, **numbers},
            draws={**draws, **found},
        ),
        assumptions=tuple(assumptions),
        pressure=centers["barometric_pressure"],
        water=values.get("air_water_fraction", 0.0),
    )


def _judged(visit: Visit, tested: list[judging.Tested], record: VisitRecord) -> tuple[Judgement, ...]:
    """Return every judgement of a visit: of the readings, of the instruments that took them, and of the record."""
    judged = judging.judgements(visit, tested)
    return (
        *judged,
        *fresh_air_judgements(visit),
        *calibration_judgements(visit),
        *record_judgements(visit, record, judged),
    )


def _tested(
    point: PointAudit, rows: pd.DataFrame, bounds: pd.DataFrame, drift: Number | None
) -> judging.Tested:
    """Return what of a test point is judged; a drift of the oxygen cell counts to each of them."""
    apart = {**telling(point.blower.shifts), **({} if drift is None else {"oxygen_zero_drift": drift})}
    return judging.Tested(
        name=point.name,
        settled=point.settled is not None,
        numbers={**point.numbers, **point.readings, **apart},
        carbon_monoxide=point.carbon_monoxide,
        rows=rows,
        lower_bounds=bounds,
        spots=point.spots,
        state="" if _MONOXIDE in point.above_range else point.state,  # that is judged by itself
        stage=point.stage,
        balance=point.balance,
        moved=point.steadiness.moved,
    )
