"""The burner cycles of a visit against the truth of the simulator, and against the test points of the same visit."""

from __future__ import annotations

import itertools
import json
import math
import shutil
import time
from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pandas as pd
import pytest

import fluewright as fw
from fluewright.appliance import Number
from fluewright.combustion import Fuel
from fluewright.steady import Peak
from fluewright.studies import inputs as given
from fluewright.studies import numbers as core
from fluewright.studies.audit import Audit
from fluewright.studies.cycles import (
    LIGHT_OFF_PEAK,
    PEAK,
    BurnerCycles,
    _peak,
    _spread,
    _time,
    burner_cycles,
    cycles_of,
)
from fluewright.studies.practice import practice_visit
from fluewright.studies.results import results_text

DEMO = Path(__file__).resolve().parents[2] / "data-demo"
ROUGH = 7  # the light-off that the scenario makes rough, counted from 0
LONG_ENOUGH, TOO_SHORT = 660, 420  # s: burns of the scenario at least, or at most, so long
Make = Callable[..., Path]


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> tuple[Audit, dict[str, Any]]:
    """Return the audit of three hours of a furnace on its thermostat, and the truth."""
    made = practice_visit(tmp_path_factory.mktemp("cycling") / "visit", scenario="cycling-furnace", seed=3)
    return fw.audit(fw.open_visit(made.folder)), json.loads(made.truth.read_text(encoding="utf-8"))


def test_every_burn_of_the_simulator_is_a_cycle_with_its_times(
    practice: tuple[Audit, dict[str, Any]],
) -> None:
    audit, truth = practice
    cycles = audit.cycles.cycles
    assert len(cycles) == len(truth["cycles"]) == 13
    off = None
    for one, true in zip(cycles, truth["cycles"], strict=True):
        lit = pd.Timestamp(true["lit"]).tz_localize("America/New_York")
        late = (one.cycle.start - lit).total_seconds()
        assert 0 <= late <= 12  # what the sampling line and the cell take
        assert one.numbers["burner_on_time"].value == pytest.approx(true["on_time"]["value"], abs=4)
        if off is not None:
            assert one.numbers["burner_off_time"].value == pytest.approx((lit - off).total_seconds(), abs=4)
        off = pd.Timestamp(true["off"]).tz_localize("America/New_York")
    on = sum(true["on_time"]["value"] for true in truth["cycles"])
    assert audit.cycles.share_on is not None
    assert audit.cycles.share_on.value == pytest.approx(on / 10_800, abs=0.005)
    assert audit.cycles.light_offs is not None
    assert audit.cycles.light_offs.value == pytest.approx(13 / 10_800, rel=0.001)
    assert audit.cycles.whole == 13


def test_long_burns_settle_at_the_truth_and_short_ones_never(practice: tuple[Audit, dict[str, Any]]) -> None:
    audit, truth = practice
    (point,) = audit.points
    half = {name: (one.high - one.low) / 2 for name, one in {**point.readings, **point.numbers}.items()}
    for one, true in zip(audit.cycles.cycles, truth["cycles"], strict=True):
        long = true["on_time"]["value"]
        assert long >= LONG_ENOUGH or long <= TOO_SHORT
        assert (one.cycle.settled is not None) == (long >= LONG_ENOUGH)
        if one.cycle.settled is None:
            assert one.cycle.why_never
            assert not {"oxygen_dry", "efficiency_gross", "settling_time"} & one.numbers.keys()
            continue
        for name in ("excess_air", "efficiency_gross", "carbon_monoxide_air_free"):
            # The instruments' errors are those of the test point: so is the width in which the truth must lie.
            assert one.numbers[name].value == pytest.approx(true[name]["value"], abs=1.2 * half[name])
        assert one.numbers["settling_time"].value >= true["settling_time"]["value"] - 60
    assert audit.cycles.never_settled == sum(
        true["on_time"]["value"] <= TOO_SHORT for true in truth["cycles"]
    )


def test_the_spread_between_cycles_knows_no_common_error(practice: tuple[Audit, dict[str, Any]]) -> None:
    audit, truth = practice
    found = audit.cycles.spreads["oxygen_dry"]
    true = [one["oxygen_dry"]["value"] for one in truth["cycles"] if one["on_time"]["value"] >= LONG_ENOUGH]
    assert found.cycles == len(true) == 6
    assert (
        abs(found.median.value - np.median(true)) < 0.002 + 0.001
    )  # the cell's accuracy, and the gas's moisture
    assert found.deviation == pytest.approx(np.std(true, ddof=1), abs=1.5e-4)
    assert found.least.value <= found.median.value <= found.greatest.value


def test_the_rough_light_off_is_the_worst(practice: tuple[Audit, dict[str, Any]]) -> None:
    audit, truth = practice
    worst = audit.cycles.worst
    assert worst is audit.cycles.cycles[ROUGH]
    assert worst.cycle.light_off_peak is not None
    others = [one.numbers[LIGHT_OFF_PEAK].value for one in audit.cycles.cycles if one is not worst]
    assert worst.numbers[LIGHT_OFF_PEAK].value > 3 * max(others)
    lit = pd.Timestamp(truth["cycles"][ROUGH]["lit"]).tz_localize("America/New_York")
    assert 0 < (worst.cycle.light_off_peak.when - lit).total_seconds() < 60


@pytest.mark.law
def test_a_correction_for_drift_that_was_asked_for_reaches_the_cycles(tmp_path: Path) -> None:
    folder = shutil.copytree(DEMO / "hall-furnace", tmp_path / "visit")
    checks = "[instruments.analyzer.drift_checks.oxygen_dry]\ncorrect = true\n"
    checks += 'zero_before = { applied = "0 percent", shown = "0.0 percent" }\n'
    checks += 'zero_after = { applied = "0 percent", shown = "0.4 percent" }\n'
    plan = folder / "visit.toml"
    plan.write_text(f"{plan.read_text(encoding='utf-8')}\n{checks}", encoding="utf-8")
    audit = fw.audit(fw.open_visit(folder))
    before = fw.audit(fw.open_visit(DEMO / "hall-furnace"))
    for one, old, point in zip(audit.cycles.cycles, before.cycles.cycles, audit.points, strict=True):
        assert old.numbers["oxygen_dry"].value - one.numbers["oxygen_dry"].value == pytest.approx(0.002)
        assert one.numbers["excess_air"].value == pytest.approx(point.numbers["excess_air"].value, rel=1e-9)


def test_a_burner_that_hunts_never_settles_in_any_cycle(tmp_path: Path) -> None:
    made = practice_visit(tmp_path / "visit", scenario="cycling-furnace", fault="never-settles", seed=3)
    found = fw.audit(fw.open_visit(made.folder)).cycles
    assert (len(found.cycles), found.never_settled) == (13, 13)
    assert "efficiency_gross" not in found.spreads


def test_results_hold_every_cycle_and_keep_the_schema(practice: tuple[Audit, dict[str, Any]]) -> None:
    audit, _ = practice
    results = json.loads(results_text(audit.results))
    text = resources.files("fluewright.studies").joinpath("results.schema.json").read_text(encoding="utf-8")
    jsonschema.Draft202012Validator(json.loads(text)).validate(results)
    cycles = results["cycles"]
    assert len(cycles["rows"]) == cycles["summary"]["cycles"] == 13
    assert sum(row["settled"] is None for row in cycles["rows"]) == cycles["summary"]["never_settled"] == 7
    assert all((row["settled"] is None) == bool(row["why_never_settled"]) for row in cycles["rows"])
    assert cycles["summary"]["spreads"]["efficiency_gross"]["cycles"] == 6


# --- visits made by hand ---------------------------------------------------------------------------------------------


def cycling_rows(cycles: int, *, on: int = 90, off: int = 30, step: int = 10) -> list[list[str]]:
    """Return rows every `step` s of a furnace that is off for `off` rows, then on for `on`, and so on, off at last."""
    count = cycles * (on + off) + off
    place = np.arange(count) % (on + off)
    burning = (place >= off) & (np.arange(count) < cycles * (on + off))
    age = np.where(burning, (place - off) * step, 0.0)
    since = np.where(np.arange(count) < off, np.inf, place * step)
    flue = np.where(burning, 330 - 260 * np.exp(-age / 60), 70 + 260 * np.exp(-since / 60))
    monoxide = np.where(burning, 40 + 200 * np.exp(-age / 15), 0)
    rng = np.random.default_rng(1)
    oxygen = np.where(burning, 6.8, 20.9) + 0.03 * rng.standard_normal(count)
    times = pd.date_range("2026-01-14 10:00", periods=count, freq=f"{step}s").strftime("%Y-%m-%d %H:%M:%S")
    return [
        [when, f"{a:.1f}", f"{b:.0f}", f"{c:.1f}", "70.0"]
        for when, a, b, c in zip(times, oxygen, monoxide, flue, strict=True)
    ]


@pytest.fixture
def long_plan(complete_plan: dict[str, Any]) -> dict[str, Any]:
    complete_plan["test_points"][0] |= {"start": "2026-01-14T10:05:00", "end": "2026-01-14T10:20:00"}
    return complete_plan


def test_over_range_at_light_off_is_a_least_value_everywhere(
    long_plan: dict[str, Any], make_visit: Make
) -> None:
    rows = cycling_rows(3)
    rows[30 + 120 + 2][2] = "OVER"
    audit = fw.audit(fw.open_visit(make_visit(long_plan, rows)))
    peaks = [one.numbers[LIGHT_OFF_PEAK] for one in audit.cycles.cycles]
    assert [one.is_lower_bound for one in peaks] == [False, True, False]
    assert peaks[1].value == pytest.approx(4000e-6)
    assert audit.cycles.worst is audit.cycles.cycles[1]
    numbers = audit.results["cycles"]["rows"][1]["numbers"]
    assert numbers[LIGHT_OFF_PEAK]["at_least"] is True
    assert numbers[LIGHT_OFF_PEAK]["interval_high"] is None


def test_a_cycle_beyond_the_range_of_the_cell_has_no_efficiency(
    long_plan: dict[str, Any], make_visit: Make
) -> None:
    rows = cycling_rows(3)
    rows[30 + 120 + 80][2] = "OVER"  # late in the second burn, where it has settled
    found = [one.numbers for one in fw.audit(fw.open_visit(make_visit(long_plan, rows))).cycles.cycles]
    assert ["efficiency_gross" in numbers for numbers in found] == [True, False, True]
    assert ["carbon_monoxide_dry" in numbers for numbers in found] == [True, False, True]
    assert all("oxygen_dry" in numbers for numbers in found)  # that was read


def test_monoxide_beyond_its_range_by_hand_gives_no_cycle_an_efficiency(
    long_plan: dict[str, Any], make_visit: Make
) -> None:
    del long_plan["logs"][0]["columns"]["CO"]
    long_plan["test_points"][0].setdefault("readings", {})["carbon_monoxide_dry"] = "> 4000 ppm"
    found = fw.audit(fw.open_visit(make_visit(long_plan, cycling_rows(3)))).cycles.cycles
    assert all("oxygen_dry" in one.numbers and "efficiency_gross" not in one.numbers for one in found)


def test_a_row_set_aside_keeps_its_peak(long_plan: dict[str, Any], make_visit: Make) -> None:
    rows = cycling_rows(3)
    rows[30 + 240 + 1][2] = "1500"
    long_plan["logs"][0]["set_aside"] = [
        {"rows": [30 + 240 + 2, 30 + 240 + 2], "because": "the hose had slipped off"}
    ]
    audit = fw.audit(fw.open_visit(make_visit(long_plan, rows)))
    assert sum(part.rows for part in audit.visit.readings.accounts[0].set_aside) == 1
    assert audit.cycles.cycles[2].numbers[LIGHT_OFF_PEAK].value == pytest.approx(1500e-6)
    assert audit.cycles.cycles[2].numbers[PEAK].value == pytest.approx(1500e-6)


def test_a_switch_on_the_burner_tells_cycles_from_a_log_of_its_own(
    long_plan: dict[str, Any], make_visit: Make
) -> None:
    rows = cycling_rows(3)
    states = ["off" if float(row[1]) > 20 else "on" for row in rows]
    hidden = [
        [row[0], "15.0" if state == "off" else row[1], *row[2:]]
        for row, state in zip(rows, states, strict=True)
    ]
    assert len(fw.audit(fw.open_visit(make_visit(long_plan, hidden))).cycles.cycles) == 1
    switch = {"quantity": "burner_on", "unit": "1"}
    log = {
        "file": "burner.csv",
        "instrument": "flue",
        "time": {"column": "Time"},
        "columns": {"Burner": switch},
    }
    long_plan["logs"].append(log)
    folder = make_visit(long_plan, hidden, "switched")
    lines = ["Time,Burner", *(f"{row[0]},{state}" for row, state in zip(rows, states, strict=True))]
    (folder / "burner.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = fw.audit(fw.open_visit(folder)).cycles
    assert found.told_by == "burner signal"
    assert [one.numbers["burner_on_time"].value for one in found.cycles] == pytest.approx([900] * 3)
    assert [one.numbers["burner_off_time"].value for one in found.cycles[1:]] == pytest.approx([300] * 2)
    assert found.never_settled == 0


def test_what_an_instrument_computed_tells_no_cycle(long_plan: dict[str, Any], make_visit: Make) -> None:
    long_plan["logs"][0]["columns"]["CO"]["origin"] = "instrument"
    for one in fw.audit(fw.open_visit(make_visit(long_plan, cycling_rows(2)))).cycles.cycles:
        assert (
            not {LIGHT_OFF_PEAK, PEAK, "carbon_monoxide_dry", "carbon_monoxide_air_free"} & one.numbers.keys()
        )


def test_a_thousand_cycles_are_found_in_a_time_like_that_of_reading_them(
    long_plan: dict[str, Any], make_visit: Make, record_property: Callable[[str, object], None]
) -> None:
    folder = make_visit(long_plan, cycling_rows(1000))
    start = time.perf_counter()
    visit = fw.open_visit(folder)
    read = time.perf_counter()
    found = fw.audit(visit).cycles
    record_property("audit_to_reading", (time.perf_counter() - read) / (read - start))  # told, not judged
    assert len(found.cycles) == found.whole == 1000
    assert found.never_settled == 0
    assert found.spreads["burner_on_time"].deviation == pytest.approx(0, abs=1e-6)
    assert found.spreads["oxygen_dry"].median.value == pytest.approx(0.068, abs=1e-4)


def test_a_peak_read_below_zero_has_an_interval_that_holds_zero() -> None:
    when = pd.Timestamp("2026-01-14 10:00", tz="America/New_York")
    found = _peak(Peak(value=-25e-6, at_least=False, when=when), (5e-6, 0.05), "dry")
    assert (found.low, found.value, found.high) == (0.0, 0.0, 25e-6)


def test_a_reading_beyond_its_range_leaves_no_standard_deviation() -> None:
    sure = [
        Number(quantity="carbon_monoxide_dry", value=value, low=value, high=value, origin="measured")
        for value in (40e-6, 60e-6)
    ]
    assert _spread(sure, []).deviation == pytest.approx(math.sqrt(200) * 1e-6)
    assert math.isnan(_spread([*sure, replace(sure[0], value=4000e-6, high=math.inf)], []).deviation)


# --- intervals -------------------------------------------------------------------------------------------------------

RESULTS = ("excess_air", "excess_air_oxygen_rule", "carbon_monoxide_air_free", "efficiency_gross")


def cycles_alone(audit: Audit) -> BurnerCycles:
    """Return the cycles of an audit, formed anew in the test points' windows: by means and draws of their own."""
    visit = audit.visit
    shared = given.shared_inputs(visit, audit.fuel, np.random.default_rng(core.SEED))
    windows = [one.steadiness.by_rules for one in audit.points if one.steadiness.by_rules is not None]
    bounds = visit.readings.lower_bounds
    return burner_cycles(
        visit,
        audit.fuel,
        cycles_of(visit, windows=windows, rows=visit.readings.frame, bounds=bounds),
        shared=shared,
        accuracies=given.settled_accuracies(visit),
        known={},
        bounds=bounds,
    )


@pytest.mark.law
@pytest.mark.parametrize("name", ["hall-furnace", "laundry-boiler", "workshop-heater"])
def test_every_number_of_a_cycle_has_an_interval_that_holds_it(name: str) -> None:
    found = fw.audit(fw.open_visit(DEMO / name)).cycles
    numbers = [number for one in found.cycles for number in one.numbers.values()]
    numbers += [end for one in found.spreads.values() for end in (one.median, one.least, one.greatest)]
    assert found.share_on is not None
    assert found.light_offs is not None
    for number in (*numbers, found.share_on, found.light_offs):
        assert number.has_interval, number
        assert number.low <= number.value <= number.high


@pytest.mark.law
@pytest.mark.parametrize("name", ["hall-furnace", "laundry-boiler"])
def test_a_cycle_that_settled_in_a_test_points_window_has_its_values_and_intervals(name: str) -> None:
    """Handed over, they are its very numbers; formed anew, they differ by what few draws leave open."""
    audit = fw.audit(fw.open_visit(DEMO / name))
    points = {point.settled.window: point for point in audit.points if point.settled is not None}
    shared = 0
    for one, alone in zip(audit.cycles.cycles, cycles_alone(audit).cycles, strict=True):
        if one.cycle.settled not in points:
            continue
        point = points[one.cycle.settled]
        shared += 1
        assert alone.cycle.settled is one.cycle.settled
        for quantity, number in one.numbers.items():
            told = {**point.readings, **point.numbers}.get(quantity)
            if told is None:
                continue
            assert (number.value, number.low, number.high) == (told.value, told.low, told.high)
            again, half = alone.numbers[quantity], (told.high - told.low) / 2
            assert again.value == pytest.approx(told.value, rel=1e-12)
            # Four standard errors of an end at 20,000 draws; a mean has no draws, its interval is a formula.
            allowed = 1e-9 if quantity in point.readings else 0.04
            assert (again.low, again.high) == pytest.approx((told.low, told.high), abs=allowed * half + 1e-15)
    assert shared


@pytest.mark.law
@pytest.mark.parametrize(
    ("cycles", "accuracy", "least", "most"),
    [(30, "0.2 percent", 0.95, 1.05), (2, "0.2 percent", 0.95, 1.05), (30, "0.0001 percent", 0.1, 0.5)],
)
def test_the_median_of_cycles_loses_their_noise_and_keeps_the_instruments_error(
    cycles: int, accuracy: str, least: float, most: float, long_plan: dict[str, Any], make_visit: Make
) -> None:
    stated = {"absolute": accuracy, "resolution": "0.0001 percent"}
    long_plan["instruments"]["flue"]["accuracy"]["oxygen_dry"] = stated
    found = fw.audit(fw.open_visit(make_visit(long_plan, cycling_rows(cycles)))).cycles
    one, median = found.cycles[1].numbers["oxygen_dry"], found.spreads["oxygen_dry"].median
    # Of noise alone, 1.25 over the root of 30 is left. The first cycle is the test point's: of errors drawn apart for
    # it and for the second, 0.82 would be left.
    assert least <= (median.high - median.low) / (one.high - one.low) <= most


@pytest.mark.law
def test_fewer_draws_of_many_cycles_tell_nearly_the_same(long_plan: dict[str, Any], make_visit: Make) -> None:
    few, many = (
        fw.audit(fw.open_visit(make_visit(long_plan, cycling_rows(count), f"{count}"))).cycles
        for count in (4, 150)
    )
    assert (few.draws, many.draws) == (core.DRAWS, 1_000)
    for name in RESULTS:
        one, other = few.cycles[2].numbers[name], many.cycles[2].numbers[name]
        half = (one.high - one.low) / 2
        assert other.value == pytest.approx(one.value, rel=1e-9)
        assert (other.low, other.high) == pytest.approx(
            (one.low, one.high), abs=0.17 * half
        )  # four standard errors


@pytest.mark.law
def test_near_zero_monoxide_the_interval_of_a_cycle_is_one_sided(
    long_plan: dict[str, Any], make_visit: Make
) -> None:
    rows = [[when, oxygen, "2", *rest] for when, oxygen, _, *rest in cycling_rows(3)]
    for one in fw.audit(fw.open_visit(make_visit(long_plan, rows))).cycles.cycles:
        for name in ("carbon_monoxide_dry", "carbon_monoxide_air_free"):
            number = one.numbers[name]
            assert number.low == 0.0 < number.value < number.high


@pytest.mark.law
def test_a_time_is_known_to_what_lies_between_two_readings() -> None:
    """On a clock read every 10 s, 95 % of the times between two moments lie in the interval told of them."""
    rng = np.random.default_rng(2)
    lit, off = rng.uniform(0, 100, 4000), rng.uniform(900, 1000, 4000)
    first, last = (
        np.ceil(lit / 10) * 10,
        np.floor(off / 10) * 10,
    )  # the first and the last row in which it burned
    held = []
    for true, seen in zip(off - lit, last - first + 10, strict=True):
        number = _time("burner_on_time", float(seen), 10.0, "")
        held.append(number.low <= true <= number.high)
    assert np.mean(held) == pytest.approx(0.95, abs=4 * np.sqrt(0.05 * 0.95 / 4000))


def simulated(rng: np.random.Generator, plan: dict[str, Any]) -> tuple[list[list[str]], pd.DataFrame]:
    """Return the rows of four burns read with errors as stated, and what is true of each row [SI]."""
    step, on, off = 5.0, 1200.0, 300.0
    time = np.arange(0.0, 4 * (on + off) + off, step)
    age = time % (on + off) - off
    burning = (age >= 0) & (time < 4 * (on + off))
    level = np.repeat(rng.normal(0, 0.1, 5), round((on + off) / step))[: len(time)]  # from cycle to cycle
    fading = np.exp(-np.clip(age, 0, None) / 50)
    true = pd.DataFrame(
        {
            "oxygen_dry": np.where(burning, rng.uniform(3, 9) + level + fading, 20.9),
            "carbon_monoxide_dry": np.where(burning, np.exp(rng.uniform(1.5, 6)) * (1 + 3 * fading), 0.0),
            "flue_temperature": rng.uniform(300, 450) - 200 * np.where(burning, fading, 1 - fading),
            "air_temperature": np.full(len(time), rng.uniform(50, 75)),
        }
    )
    read = []
    for (name, value), noise in zip(true.items(), (0.03, 1.0, 0.4, 0.1), strict=True):
        stated = plan["instruments"]["flue"]["accuracy"][name]
        absolute, share = (float(stated.get(key, "0").split()[0]) for key in ("absolute", "of_reading"))
        error = rng.uniform(-1, 1) * np.maximum(absolute, share / 100 * value)
        white = rng.standard_normal(len(time))
        wander = np.fromiter(itertools.accumulate(white, lambda held, new: 0.7 * held + 0.7 * new), float)
        read.append(np.maximum(value + error + noise * wander, 0.0))
    times = pd.date_range("2026-01-14 10:00", periods=len(time), freq=f"{step:g}s")
    rows = [
        [f"{when:%Y-%m-%d %H:%M:%S}", f"{a:.2f}", f"{b:.0f}", f"{c:.1f}", f"{d:.1f}"]
        for when, a, b, c, d in zip(times, *read, strict=True)
    ]
    scale = {"oxygen_dry": 1e-2, "carbon_monoxide_dry": 1e-6}
    si = {
        name: value * scale[str(name)] if name in scale else (value + 459.67) / 1.8
        for name, value in true.items()
    }
    return rows, pd.DataFrame(si).set_index(times.tz_localize("America/New_York"))


@pytest.mark.law
@pytest.mark.slow
def test_intervals_of_cycles_hold_the_truth_of_simulated_visits(
    long_plan: dict[str, Any], make_visit: Make
) -> None:
    """Errors are drawn once a visit, each from what is stated of it; so cycles of a visit fail together."""
    long_plan["instruments"]["flue"]["accuracy"]["oxygen_dry"]["resolution"] = "0.01 percent"
    visits, inside, off = 80, [], []
    for number in range(visits):
        rng = np.random.default_rng([7, number])
        rows, true = simulated(rng, long_plan)
        audit = fw.audit(fw.open_visit(make_visit(long_plan, rows, f"{number}")))
        shared = given.shared_inputs(audit.visit, audit.fuel, np.random.default_rng(core.SEED))
        by_hand = given.spot_means(audit.visit, audit.visit.spots)
        drawn = int(rng.integers(core.DRAWS))
        burned = Fuel(
            composition={
                name: np.asarray(share)[drawn] for name, share in shared.fuel_draws.composition.items()
            }
        )
        fixed = {one.name: one.draws[drawn] for one in shared.inputs}
        fixed |= {name: mean.mean + mean.bias * rng.uniform(-1, 1) for name, mean in by_hand.items()}
        settled = [one for one in audit.cycles.cycles if one.cycle.settled is not None]
        assert len(settled) >= 2
        for one in settled:
            assert one.cycle.settled is not None
            means = one.cycle.settled.of(true).mean().to_dict()
            fed = {name: np.array([value]) for name, value in (fixed | means).items()}
            settings = core.Settings(
                condensing=False, subtract_ambient=False, stack_loss_fuel="", rated_input=None
            )
            truth = means | {
                name: float(np.ravel(value)[0]) for name, value in core.chain(burned, fed, settings).items()
            }
            numbers = {name: one.numbers[name] for name in (*means, *RESULTS)}
            inside.append({name: told.low <= truth[name] <= told.high for name, told in numbers.items()})
            off.append(
                {
                    name: 2 * (truth[name] - told.value) / (told.high - told.low)
                    for name, told in numbers.items()
                }
            )
    allowed = 4 * np.sqrt(0.05 * 0.95 / visits)  # four standard errors, had each visit but one cycle
    for name, share in pd.DataFrame(inside).mean().items():
        assert share == pytest.approx(0.95, abs=allowed), name
    # Nor are they too wide: in half-widths, errors have the deviation 0.51 where normal and 0.61 where rectangular.
    for name, spread in np.sqrt((pd.DataFrame(off) ** 2).mean()).items():
        assert 0.4 < spread < 0.72, name
