"""Do the 95 % intervals hold the truth, and do windows start where the burn has truly settled?

Each visit draws its instruments' specifications, then one bias per channel from the stated rectangle, shared by
all samples; fuel and humidity within their stated spread; warm-up, drift, lag, noise, cycling, modulation, dropped
rows, an adjustment in mid-test. The analysis sees the readings and the specifications only. Truth is the mean of
the lag-free, noise-free signals over the window that was accepted. Signals are made from formulas of their own; the
chain from readings to results is the package's, so this asks about windows and intervals, not about combustion.

Run: python tests/benchmarks/interval_coverage.py [VISITS] [SEED]; a minute or two. The tables of a run of 1,000
visits or more are written beside this file, for the validation notebook.
"""

from __future__ import annotations

import itertools
import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fluewright.combustion import Fuel, flue_gas, stack_losses
from fluewright.steady import draw_means, find_steady_window, named_criteria, settled_point
from fluewright.units import Array
from fluewright.visit import StatedAccuracy

VISITS = 3_600
SEED = 11
RECORDED_FROM = 1_000  # visits
TABLE = Path(__file__).with_suffix(".csv")
DRAWS = 3_000
PPM, PERCENT = 1e-6, 1e-2
FRESH = 0.209
CHANNELS = ("oxygen_dry", "carbon_monoxide_dry", "flue_temperature", "air_temperature")
RESULTS = ("excess_air", "efficiency_gross", "carbon_monoxide_air_free")
SETTLING = ("start_not_early", "median_late_share", "found_where_steady", "none_where_not")
START = pd.Timestamp("2026-01-14 10:00", tz="America/New_York")


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """One visit: what the analysis sees, and the truth it does not."""

    frame: pd.DataFrame
    accuracies: Mapping[str, StatedAccuracy]
    true: Mapping[str, Array]
    calm: Mapping[str, Array]
    sensed: Mapping[str, Array]
    noise: Mapping[str, tuple[float, float]]
    burning: NDArray[np.bool_]
    events: Array
    time: Array
    step: float
    fuel: Fuel
    water: float
    dew: float
    condensing: bool
    cycling: bool
    modulating: bool


def fuel_of(ethane: Array | float, nitrogen: Array | float) -> Fuel:
    return Fuel(
        composition={"CH4": 1 - ethane - nitrogen, "C2H6": ethane, "N2": nitrogen}, name="gas of the day"
    )


ETHANE, NITROGEN, WATER, DEW = (0.02, 0.06), (0.005, 0.025), (0.005, 0.014), (275.0, 281.0)


def chain(
    signals: Mapping[str, Array], fuel: Fuel, water: Array | float, dew: Array | float, condensing: bool
) -> dict[str, Array]:
    flue = flue_gas(
        fuel,
        oxygen_dry=signals["oxygen_dry"],
        carbon_monoxide_dry=signals["carbon_monoxide_dry"],
        air_water_fraction=water,
        sample_dew_point=dew,
    )
    losses = stack_losses(
        flue,
        flue_temperature=signals["flue_temperature"],
        air_temperature=signals["air_temperature"],
        condensing=condensing,
    )
    return {
        "excess_air": np.asarray(flue.excess_air),
        "efficiency_gross": np.asarray(losses.efficiency_gross),
        "carbon_monoxide_air_free": np.asarray(flue.carbon_monoxide_air_free),
    }


def lagged(values: Array, response: float, step: float) -> Array:
    """Return values behind a first-order sensor; `response` [s] is to 90 % of a step."""
    keep = np.exp(-step * np.log(10) / response)
    return np.fromiter(itertools.accumulate(values, lambda held, new: keep * held + (1 - keep) * new), float)


def remembering(rng: np.random.Generator, count: int, memory: float, step: float) -> Array:
    keep = np.exp(-step / memory)
    fresh = np.sqrt(1 - keep**2) * rng.standard_normal(count)
    fresh[0] = rng.standard_normal()
    return np.fromiter(itertools.accumulate(fresh, lambda held, new: keep * held + new), float)


def biased(rng: np.random.Generator, kind: str) -> float:
    """Return a sensor's error as a share of its stated accuracy."""
    if kind == "normal":
        return float(rng.normal(0, 0.5))
    if kind == "U-shaped":
        return float(np.sin(rng.uniform(-np.pi / 2, np.pi / 2)))
    if kind == "out of specification" and rng.random() < 0.05:
        return float(rng.choice([-1.0, 1.0]) * rng.uniform(1.0, 2.0))
    return float(rng.uniform(-1, 1))


def make(rng: np.random.Generator, bias: str) -> Made:
    step = float(rng.choice([1.0, 2.0, 5.0]))
    condensing, cycling = rng.random() < 0.35, rng.random() < 0.4
    modulating, adjusted = rng.random() < 0.12, rng.random() < 0.2
    on = (
        [60 * rng.uniform(6, 25) for _ in range(int(rng.integers(2, 4)))]
        if cycling
        else [60 * rng.uniform(8, 40)]
    )
    edges = np.cumsum(
        [90.0, *itertools.chain.from_iterable((length, 60 * rng.uniform(2, 4)) for length in on)]
    )
    time = np.arange(0.0, edges[-1], step)
    age = np.full(len(time), -1.0)
    since_off = np.full(len(time), np.inf)
    events = list(edges[:-1:2])
    for lit, out in zip(edges[:-1:2], edges[1::2], strict=True):
        age = np.where((time >= lit) & (time < out), time - lit, age)
        since_off = np.where(time >= out, time - out, since_off)
    burning = age >= 0
    old = np.clip(age, 0, None)

    oxygen = rng.uniform(2, 11) * PERCENT
    monoxide = np.exp(rng.uniform(np.log(1.0), np.log(600.0))) * PPM
    hot = rng.uniform(308, 328) if condensing else rng.uniform(400, 520)
    air = rng.uniform(275, 300)
    drift = rng.uniform(0, 0.25) / 60 * (1 - np.exp(-time / 1500)) / np.maximum(time, 1) * 1500
    calm = {
        "oxygen_dry": np.full(len(time), oxygen),
        "carbon_monoxide_dry": np.full(len(time), monoxide),
        "flue_temperature": hot + drift * time,
        "air_temperature": np.full(len(time), air),
    }
    tau = {"oxygen_dry": rng.uniform(15, 80), "carbon_monoxide_dry": rng.uniform(15, 60)}
    tau["flue_temperature"], slow_tau, slow_share = (
        rng.uniform(30, 100),
        rng.uniform(100, 240),
        rng.uniform(0.1, 0.4),
    )
    size = {
        "oxygen_dry": rng.uniform(0.2, 2) * PERCENT,
        "carbon_monoxide_dry": rng.uniform(0, 300) * PPM,
        "flue_temperature": air - hot,
    }
    true = {name: value.copy() for name, value in calm.items()}
    for name, amount in size.items():
        slow = slow_share if name == "flue_temperature" else 0.0  # the metal behind the first surfaces
        true[name] += amount * ((1 - slow) * np.exp(-old / tau[name]) + slow * np.exp(-old / slow_tau))
    if adjusted and not cycling:
        at = edges[0] + rng.uniform(0.3, 0.8) * on[0]
        events.append(at)
        moved = time >= at
        for name, amount in {
            "oxygen_dry": rng.uniform(-1.5, 1.5) * PERCENT,
            "carbon_monoxide_dry": rng.uniform(-0.5, 1.0) * monoxide,
            "flue_temperature": rng.uniform(-10, 10) if condensing else rng.uniform(-40, 40),
        }.items():
            calm[name] = calm[name] + np.where(moved, amount, 0.0)
            slow = np.exp(-np.clip(time - at, 0, None) / tau[name])
            true[name] = true[name] + np.where(moved, amount * (1 - slow), 0.0)
    if modulating:
        period = rng.uniform(90, 400)
        true["oxygen_dry"] = true["oxygen_dry"] + rng.uniform(0.6, 1.5) * PERCENT * np.sin(
            2 * np.pi * time / period
        )
    true["oxygen_dry"] = np.where(burning, np.maximum(true["oxygen_dry"], 0.003), FRESH)
    calm["oxygen_dry"] = np.maximum(calm["oxygen_dry"], 0.003)
    true["carbon_monoxide_dry"] = np.where(burning, true["carbon_monoxide_dry"], 0.0)
    cooling = air + (hot - air) * np.exp(-np.minimum(since_off, 1e6) / tau["flue_temperature"])
    true["flue_temperature"] = np.where(
        burning, true["flue_temperature"], np.where(time < edges[0], air, cooling)
    )

    accuracies = {
        "oxygen_dry": StatedAccuracy(
            instrument="flue",
            absolute=rng.choice([0.2, 0.3]) * PERCENT,
            resolution=0.1 * PERCENT,
            response_time=20,
        ),
        "carbon_monoxide_dry": StatedAccuracy(
            instrument="flue",
            absolute=rng.choice([5, 10, 20]) * PPM,
            of_reading=rng.choice([0.0, 0.05, 0.1]),
            resolution=PPM,
            response_time=30,
        ),
        "flue_temperature": StatedAccuracy(
            instrument="flue",
            absolute=rng.choice([0.5, 1, 2]),
            of_reading=0.005,
            resolution=0.1,
            response_time=15,
        ),
        "air_temperature": StatedAccuracy(instrument="air", absolute=rng.choice([0.5, 1.0]), resolution=0.1),
    }
    noise = {
        "oxygen_dry": (rng.uniform(0.005, 0.06) * PERCENT, rng.uniform(3, 15)),
        "carbon_monoxide_dry": (
            rng.uniform(0.5, 1.5) * PPM + rng.uniform(0.005, 0.02) * monoxide,
            rng.uniform(3, 15),
        ),
        "flue_temperature": (rng.uniform(0.05, 0.4), rng.uniform(3, 20)),
        "air_temperature": (rng.uniform(0.05, 0.3), rng.uniform(5, 30)),
    }
    sensed, read = {}, {}
    for name in CHANNELS:
        part = accuracies[name]
        sensed[name] = lagged(true[name], part.response_time, step) if part.response_time else true[name]
        shown = sensed[name] - 273.15 if name.endswith("temperature") else sensed[name]
        error = biased(rng, bias) * np.maximum(part.absolute, part.of_reading * np.abs(shown))
        spread, memory = noise[name]
        value = sensed[name] + error + spread * remembering(rng, len(time), memory, step)
        if name.endswith("dry"):
            value = np.maximum(value, 0.0)
        read[name] = np.round(value / part.resolution) * part.resolution
    frame = pd.DataFrame(read, index=START + pd.to_timedelta(time, unit="s"))
    if rng.random() < 0.5:  # the other half did not log what makes the flue drift
        back = 293.0 + drift * time + 0.1 * remembering(rng, len(time), 10.0, step)
        frame["return_temperature"] = np.round(back, 1)
    if rng.random() < 0.3:
        frame = frame[rng.random(len(frame)) > 0.05]
    return Made(
        frame=frame,
        accuracies=accuracies,
        true=true,
        calm=calm,
        sensed=sensed,
        noise=noise,
        burning=burning,
        events=np.sort([*events, *edges[1::2]]),
        time=time,
        step=step,
        fuel=fuel_of(rng.uniform(*ETHANE), rng.uniform(*NITROGEN)),
        water=float(rng.uniform(*WATER)),
        dew=float(rng.uniform(*DEW)),
        condensing=condensing,
        cycling=cycling,
        modulating=modulating,
    )


def steady_spans(made: Made) -> list[tuple[float, float]]:
    """Return (settling, end) [s] of every burn or setting that truly settles before the next event."""
    given = made.fuel, made.water, made.dew, made.condensing
    usable = made.burning & (made.sensed["oxygen_dry"] < 0.18)
    now = chain(
        {name: np.where(usable, value, made.calm[name]) for name, value in made.sensed.items()}, *given
    )
    then = chain(made.calm, *given)
    off = np.abs(now["excess_air"] - then["excess_air"]) > 0.005
    off |= np.abs(now["efficiency_gross"] - then["efficiency_gross"]) > 0.001
    monoxide = then["carbon_monoxide_air_free"]
    off |= np.abs(now["carbon_monoxide_air_free"] - monoxide) > np.maximum(5 * PPM, 0.05 * monoxide)
    off |= ~usable
    spans = []
    for begin, end in itertools.pairwise([*made.events, made.time[-1] + made.step]):
        rows = np.flatnonzero((made.time >= begin) & (made.time < end))
        if not len(rows) or not made.burning[rows[0]]:
            continue
        late = rows[off[rows]]
        settled = made.time[late[-1]] + made.step if len(late) else begin
        if settled < end:
            spans.append((float(settled), float(end)))
    return spans


def shared_draws(seed: int) -> tuple[Fuel, Array, Array]:
    rng = np.random.default_rng([seed, 77])
    fuel = fuel_of(rng.uniform(*ETHANE, DRAWS), rng.uniform(*NITROGEN, DRAWS))
    return fuel, rng.uniform(*WATER, DRAWS), rng.uniform(*DEW, DRAWS)


def oracle_widths(made: Made, rows: NDArray[np.intp], seed: int) -> dict[str, float]:
    """Return interval widths of one who knows the true window, its true noise and its memory."""
    rng = np.random.default_rng([seed, 78])
    signals = {}
    for name in CHANNELS:
        part, mean = made.accuracies[name], float(np.mean(made.true[name][rows]))
        shown = mean - 273.15 if name.endswith("temperature") else mean
        half = max(part.absolute, part.of_reading * abs(shown))
        spread, memory = made.noise[name]
        keep = np.exp(-made.step / memory)
        error = spread * np.sqrt((1 + keep) / (1 - keep) / len(rows))
        draw = mean + half * rng.uniform(-1, 1, DRAWS) + error * rng.standard_normal(DRAWS)
        signals[name] = np.maximum(draw, 0.0)
    drawn = chain(signals, *shared_draws(seed), made.condensing)
    return {name: float(np.subtract(*np.nanquantile(value, [0.975, 0.025]))) for name, value in drawn.items()}


def visit(seed: int, number: int, bias: str) -> dict[str, object]:
    """Return what one visit shows: its strata, whether each interval held, widths, and how the window lay."""
    made = make(np.random.default_rng([seed, number]), bias)
    least = named_criteria().minimum_length
    spans = steady_spans(made)
    long = [span for span in spans if span[1] - span[0] >= least]
    found = find_steady_window(made.frame)
    record: dict[str, object] = {"true_steady": bool(long), "found": found.window is not None}
    if found.window is None:
        return record
    start = (found.window.start - START).total_seconds()
    stop = (found.window.end - START).total_seconds()
    rows = np.flatnonzero((made.time >= start - 1e-6) & (made.time <= stop + 1e-6))
    before = [span for span in spans if span[0] - made.step - 1e-6 <= start < span[1]]
    record["not_early"] = bool(before)
    if before:
        settled, end = before[-1]
        record["late_share"] = max(start - settled, 0.0) / (end - settled)
    point = settled_point(made.frame, name="test", window=found.window, accuracies=made.accuracies)
    (means,) = draw_means([point], draws=DRAWS, seed=seed + number)
    drawn = chain(means, *shared_draws(seed + number), made.condensing)
    given = made.fuel, made.water, made.dew, made.condensing
    truth = chain({name: value[rows].mean(keepdims=True) for name, value in made.true.items()}, *given)
    oracle = oracle_widths(made, rows, seed + number)
    for name in RESULTS:
        low, high = np.nanquantile(drawn[name], [0.025, 0.975])
        if name == "carbon_monoxide_air_free" and np.mean(drawn[name] <= 0) > 0.025:
            low = 0.0
        record[name] = bool(low <= truth[name][0] <= high)
        record[f"{name} width"] = float((high - low) / oracle[name])
    mean = means["carbon_monoxide_dry"]
    record |= {
        "low CO": bool(np.mean(made.true["carbon_monoxide_dry"][rows]) < 50 * PPM),
        "high CO": bool(np.mean(made.true["carbon_monoxide_dry"][rows]) >= 50 * PPM),
        "CO near zero": bool(np.mean(mean <= 0) > 0.025),
        "condensing": made.condensing,
        "cycling": made.cycling,
        "high O2": bool(np.mean(made.true["oxygen_dry"][rows]) >= 0.07),
    }
    return record


STRATA = ("low CO", "high CO", "CO near zero", "condensing", "cycling", "high O2")
BIASES = ("normal", "U-shaped", "out of specification")


def share(table: pd.DataFrame, column: str) -> float:
    return round(float(table[column].dropna().astype(float).mean()), 4)


def run(visits: int, seed: int, bias: str = "as stated") -> pd.DataFrame:
    return pd.DataFrame([visit(seed, number, bias) for number in range(visits)])


def coverage(table: pd.DataFrame, *, biases: str = "as stated") -> pd.DataFrame:
    """Return the share of intervals that hold the truth, of all visits with a window and of each kind of them."""
    used = table[table["found"]]
    kinds = {"all": used}
    if biases == "as stated":
        kinds |= {stratum: used[used[stratum].astype(bool)] for stratum in STRATA}
    rows = [
        {"sensor errors": biases, "visits of the kind": kind, "windows": len(part)}
        | {name: share(part, name) for name in RESULTS}
        for kind, part in kinds.items()
    ]
    return pd.DataFrame(rows)


def windows(table: pd.DataFrame) -> pd.DataFrame:
    """Return how wide intervals are against those of an oracle that knows the window, and how windows lie.

    Settling is the time from which the noise-free signals stay close to where they are going.
    """
    used, steady, rest = table[table["found"]], table[table["true_steady"]], table[~table["true_steady"]]
    rows = [
        (
            f"median width of the interval of {name}, as a multiple of the oracle's",
            used,
            round(float(used[f"{name} width"].median()), 4),
        )
        for name in RESULTS
    ]
    rows += [
        ("share of windows that start at most a sample before settling", used, share(used, "not_early")),
        (
            "median share of the steady time that passes before the window starts",
            used,
            round(float(used["late_share"].median()), 4),
        ),
        ("share of visits with steady time enough that have a window", steady, share(steady, "found")),
        ("share of the other visits that have none", rest, round(1 - share(rest, "found"), 4)),
    ]
    return pd.DataFrame(
        [{"windows": what, "of visits": len(part), "value": value} for what, part, value in rows]
    )


def main() -> None:
    visits = int(sys.argv[1]) if len(sys.argv) > 1 else VISITS
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else SEED
    table = run(visits, seed)
    wrong = {bias: run(visits // 3, seed + 1, bias) for bias in BIASES}
    covered = pd.concat([coverage(table), *(coverage(part, biases=bias) for bias, part in wrong.items())])
    lying = windows(table)
    if visits >= RECORDED_FROM:
        covered.to_csv(TABLE, index=False, lineterminator="\n")
        lying.to_csv(TABLE.with_stem("interval_windows"), index=False, lineterminator="\n")
    print(covered.to_string(index=False), lying.to_string(index=False), sep="\n\n")
    held = {
        (row["sensor errors"], row["visits of the kind"]): {name: row[name] for name in RESULTS}
        for _, row in covered.iterrows()
    }
    values = lying["value"].tolist()
    figures: dict[str, object] = {
        "visits": visits,
        "seed": seed,
        "windows": int(table["found"].sum()),
        "coverage": held["as stated", "all"],
        "median_width_to_oracle": dict(zip(RESULTS, values[:3], strict=True)),
        "strata": {stratum: held["as stated", stratum] for stratum in STRATA},
        "settling": dict(zip(SETTLING, values[3:], strict=True)),
    }
    figures |= {f"coverage, bias {bias}": held[bias, "all"] for bias in BIASES}
    print(json.dumps(figures))


if __name__ == "__main__":
    main()
