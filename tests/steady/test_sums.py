"""The sums of a channel against the plain formulas on the rows that hold a number."""

from __future__ import annotations

import numpy as np
import pytest

from fluewright.steady import sums_of
from fluewright.steady.sums import Times


def gaps(kind: str, rows: int) -> np.ndarray:
    """Return which rows of a channel hold no number."""
    random = np.random.default_rng(11)
    kinds = {
        "none": np.zeros(rows, bool),
        "few": random.random(rows) < 2e-3,
        "a stretch": (np.arange(rows) > 0.3 * rows) & (np.arange(rows) < 0.6 * rows),
        "the ends": (np.arange(rows) < 7) | (np.arange(rows) > rows - 9),
        "half": random.random(rows) < 0.5,
        "nearly all": random.random(rows) < 0.97,
        "all but two": np.isin(np.arange(rows), (rows // 2, rows // 2 + 1), invert=True),
        "all but one": np.arange(rows) != rows // 3,
    }
    return kinds[kind]


@pytest.mark.parametrize("rows", [25, 4_096, 4_097, 50_001, 200_003])
@pytest.mark.parametrize(
    "kind", ["none", "few", "a stretch", "the ends", "half", "nearly all", "all but two", "all but one"]
)
def test_sums_are_those_of_the_rows_that_hold_a_number(kind: str, rows: int) -> None:
    seconds = np.cumsum(np.random.default_rng(5).choice([1.0, 2.0], rows))
    value = 480.0 + 1e-4 * seconds + np.random.default_rng(6).standard_normal(rows)
    value[gaps(kind, rows)] = np.nan
    read = np.isfinite(value)
    number, time = value[read], seconds[read]
    if not len(number):
        assert sums_of(value, Times.of(seconds)) is None
        return
    found = sums_of(value, Times.of(seconds))
    assert found is not None
    assert found.count == len(number)
    assert found.mean == pytest.approx(number.mean(), rel=1e-13)
    assert (found.least, found.greatest) == (number.min(), number.max())
    away = time - time.mean()
    slope = float(away @ number / (away @ away)) if len(number) > 1 else 0.0
    assert found.slope == pytest.approx(slope, rel=1e-7, abs=1e-12)
    batch = -(-len(number) // 4096)
    whole = number[: len(number) // batch * batch].reshape(-1, batch).mean(axis=1)
    np.testing.assert_allclose(found.batches, whole, rtol=1e-13)


def test_without_times_there_is_no_slope_and_without_numbers_no_sums() -> None:
    found = sums_of(np.array([1.0, 2.0, 4.0]))
    assert found is not None
    assert (found.slope, found.mean) == (0.0, pytest.approx(7 / 3))
    assert sums_of(np.full(9, np.nan)) is None
