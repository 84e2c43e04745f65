"""The fit of a settling: what is one, and what only looks like one."""

from __future__ import annotations

import numpy as np
import pytest

from fluewright.steady.bins import Settling, fit_settling
from fluewright.steady.criteria import rules
from fluewright.units import Array

BINS, ROWS, WIDTH = 99, 5, 10.0  # means over 10 s of readings every 2 s, as of 16.5 minutes
TIME = np.arange(BINS) * WIDTH


def binned(path: Array, *, digits: int, seed: int, noise: float = 0.02) -> Array:
    rows = path + noise * np.random.default_rng(seed).standard_normal(path.size)
    return np.asarray(np.round(rows, digits).reshape(BINS, ROWS).mean(axis=1))


def fitted(value: Array) -> Settling:
    believed = (rules().curvature, rules().curvature_second)
    return fit_settling(TIME, value, drifts=True, slowest=rules().slowest_settling, believed_from=believed)


@pytest.mark.law
@pytest.mark.parametrize("start", [6.0, 6.03, 6.07])
@pytest.mark.parametrize("drift", [-0.3, -0.2, -0.15, 0.15, 0.2, 0.25, 0.3])
def test_the_steps_of_a_slow_drift_shown_in_few_digits_are_no_settling(drift: float, start: float) -> None:
    path = start + drift * np.arange(BINS * ROWS) / (1.4 * BINS * ROWS)
    assert fitted(binned(path, digits=1, seed=1, noise=0.0)).amplitudes == ()


@pytest.mark.law
@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("digits", [1, 2])
def test_a_true_settling_is_found_in_few_digits_as_well(digits: int, seed: int) -> None:
    path = 6.0 - 0.6 * np.exp(-np.arange(BINS * ROWS) * WIDTH / ROWS / 180.0)
    found = fitted(binned(path, digits=digits, seed=seed))
    assert float(found.at(0.0)) == pytest.approx(-0.6, abs=0.15)
