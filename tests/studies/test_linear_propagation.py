"""The audit's Monte Carlo against the law of propagation of uncertainty (JCGM 100), by the `uncertainties` package."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import uncertainties
from uncertainties import UFloat, ufloat

import fluewright as fw
from fluewright.combustion import Fuel
from fluewright.steady import ChannelMean, draw_means
from fluewright.studies import inputs as given
from fluewright.studies import numbers as core
from fluewright.visit import open_visit

DEMO = Path(__file__).resolve().parents[2] / "data-demo"
RESULTS = (
    "excess_air",
    "excess_air_oxygen_rule",
    "carbon_monoxide_air_free",
    "carbon_dioxide_dry_computed",
    "water_dew_point",
    "loss_dry_gas",
    "loss_water_latent",
    "loss_carbon_monoxide",
    "efficiency_gross",
    "efficiency_net",
    "heat_input_clocked",
    "temperature_rise",
    "heat_output",
)
pytestmark = pytest.mark.law


@dataclass(frozen=True)
class BaseCase:
    """The furnace as found: what the audit feeds its chain, and what the audit says."""

    fuel: Fuel
    fuel_draws: Fuel
    inputs: Sequence[core.Input]
    settings: core.Settings
    means: Mapping[str, ChannelMean]
    told: Mapping[str, object]

    def result(self, name: str, *values: float) -> float:
        """Return one result of the chain at values of the inputs, then of the fuel's minor components."""
        count = len(self.inputs)
        minor = dict(zip(self.minor, values[count:], strict=True))
        fuel = Fuel(composition={**minor, self.main: 1.0 - sum(minor.values())}, name=self.fuel.name)
        fed = {one.name: np.array([value]) for one, value in zip(self.inputs, values, strict=False)}
        return float(np.ravel(core.chain(fuel, fed, self.settings)[name])[0])

    @property
    def main(self) -> str:
        return max(self.fuel.composition, key=lambda name: float(self.fuel.composition[name]))

    @property
    def minor(self) -> list[str]:
        return [name for name in self.fuel.composition if name != self.main]

    def standard_uncertainty(self, one: core.Input) -> float:
        """Return what is stated of a mean: a rectangle and Student's noise; of what else is drawn, what was drawn."""
        if one.name not in self.means:
            return float(np.std(one.draws))
        mean = self.means[one.name]
        freedom = mean.degrees_of_freedom
        student = freedom / (freedom - 2) if np.isfinite(freedom) else 1.0
        return float(np.sqrt(mean.bias**2 / 3 + mean.noise**2 * student))

    def linear(self, name: str, *, scale: float = 1.0) -> UFloat:
        """Return a result with the standard uncertainty that first derivatives make of that of the inputs."""
        stated = [(one.central, self.standard_uncertainty(one)) for one in self.inputs]
        composition, drawn = self.fuel.composition, self.fuel_draws.composition
        stated += [(float(composition[gas]), float(np.std(drawn[gas]))) for gas in self.minor]
        fed = [ufloat(value, scale * spread) if spread else value for value, spread in stated]

        def result(*values: float) -> float:
            return self.result(name, *values)

        made: UFloat = uncertainties.wrap(result)(*fed)
        return made


@pytest.fixture(scope="module")
def base_case() -> BaseCase:
    visit = open_visit(DEMO / "hall-furnace")
    audited = fw.audit(visit)
    point = audited.points[0]
    assert point.settled is not None
    rng = np.random.default_rng(core.SEED)
    shared = given.shared_inputs(visit, audited.fuel, rng)
    window = point.frame.loc[point.settled.window.start : point.settled.window.end]
    clock, _ = given.clock_inputs(visit, point.rows, window, rng)
    settled = [one.settled for one in audited.points if one.settled is not None]
    drawn, *_ = draw_means(settled, draws=core.DRAWS, seed=core.SEED)
    inputs, _ = given.point_inputs(point.settled.means, drawn, (*shared.inputs, *clock))
    return BaseCase(
        fuel=audited.fuel,
        fuel_draws=shared.fuel_draws,
        inputs=inputs,
        settings=given.settings_of(visit, audited.fuel, point.rows),
        means=point.settled.means,
        told=point.numbers,
    )


def test_the_case_is_the_audits_own(base_case: BaseCase) -> None:
    made = core.numbers(
        *core.evaluate(base_case.fuel, base_case.fuel_draws, base_case.inputs, base_case.settings)
    )
    for name in RESULTS:
        assert made[name] == base_case.told[name]


@pytest.mark.parametrize("name", RESULTS)
def test_linear_propagation_gives_the_standard_deviation_of_the_draws(base_case: BaseCase, name: str) -> None:
    _, draws = core.evaluate(base_case.fuel, base_case.fuel_draws, base_case.inputs, base_case.settings)
    linear = base_case.linear(name)
    # The standard deviation of n draws has a relative standard error of 1 / sqrt(2 (n - 1)) where they are normal, and
    # less where rectangles rule, as they do here; terms of the second order are a tenth of that.
    sampling = 1 / np.sqrt(2 * (core.DRAWS - 1))
    assert np.std(draws[name], ddof=1) == pytest.approx(linear.std_dev, rel=4 * sampling)
    standard_error = linear.std_dev / np.sqrt(core.DRAWS)
    assert np.mean(draws[name]) == pytest.approx(linear.nominal_value, abs=4 * standard_error)


@pytest.mark.parametrize("name", RESULTS)
def test_of_small_normal_errors_the_interval_is_1_96_standard_uncertainties(
    base_case: BaseCase, name: str
) -> None:
    scale = 0.1
    rng = np.random.default_rng(1)

    def normal(center: float, deviation: float) -> np.ndarray:
        return center + scale * deviation * rng.standard_normal(core.DRAWS)

    inputs = [
        replace(one, draws=normal(one.central, base_case.standard_uncertainty(one)))
        for one in base_case.inputs
    ]
    minor = {
        gas: normal(
            float(base_case.fuel.composition[gas]), float(np.std(base_case.fuel_draws.composition[gas]))
        )
        for gas in base_case.minor
    }
    burned = Fuel(composition={**minor, base_case.main: 1.0 - sum(minor.values())}, name="drawn")
    number = core.numbers(*core.evaluate(base_case.fuel, burned, inputs, base_case.settings))[name]
    linear = base_case.linear(name, scale=scale)
    assert number.value == pytest.approx(linear.nominal_value, rel=1e-12)
    # The quantile at p of n normal draws has a standard error of sqrt(p (1 - p) / n) / density, in standard deviations.
    density = np.exp(-(1.96**2) / 2) / np.sqrt(2 * np.pi)
    allowed = 4 * linear.std_dev * np.sqrt(0.025 * 0.975 / core.DRAWS) / density
    assert number.low == pytest.approx(linear.nominal_value - 1.959964 * linear.std_dev, abs=allowed)
    assert number.high == pytest.approx(linear.nominal_value + 1.959964 * linear.std_dev, abs=allowed)
