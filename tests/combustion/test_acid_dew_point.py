"""Sulfuric-acid dew point: laws, limits, inputs. Its published values are in tests/published."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from fluewright.combustion.acid_dew_point import acid_dew_point, sulfur_trioxide
from fluewright.errors import InputError
from fluewright.units import quantity

WATER = np.linspace(0.05, 0.30, 11)
TRIOXIDE = np.geomspace(1e-7, 1e-4, 13)


@pytest.mark.law
def test_rises_with_water_with_trioxide_and_with_pressure() -> None:
    grid = acid_dew_point(WATER[:, None], sulfur_trioxide_wet=TRIOXIDE[None, :])
    assert np.all(np.diff(grid, axis=0) > 0)
    assert np.all(np.diff(grid, axis=1) > 0)
    assert np.all(
        acid_dew_point(WATER, sulfur_trioxide_wet=1e-5, pressure=8e4)
        < acid_dew_point(WATER, sulfur_trioxide_wet=1e-5)
    )


@pytest.mark.law
def test_lies_above_the_water_dew_point() -> None:
    from fluewright.combustion.water import saturation_temperature

    grid = acid_dew_point(WATER[:, None], sulfur_trioxide_wet=TRIOXIDE[None, :])
    assert np.all(grid > saturation_temperature(WATER * 101325.0)[:, None])


@pytest.mark.published
def test_two_other_correlations_agree_within_the_stated_ten_kelvin() -> None:
    # Okkes, Hydrocarbon Processing, July 1987; ZareNezhad, Oil & Gas Journal 107, 2009: values from memory.
    water, trioxide = WATER[:, None], TRIOXIDE[None, :]
    okkes = (
        273.15
        + 203.25
        + 27.6 * np.log10(water)
        + 10.83 * np.log10(trioxide)
        + 1.06 * (np.log10(trioxide) + 8) ** 2.19
    )
    w, s = np.log(water * 760), np.log(trioxide * 760)
    zarenezhad = 273.15 + 150 + 11.664 * s + 8.1328 * w - 0.383226 * w * s
    ours = acid_dew_point(water, sulfur_trioxide_wet=trioxide)
    assert np.abs(ours - okkes).max() < 10.0
    assert np.abs(ours - zarenezhad).max() < 10.0


@pytest.mark.parametrize(
    ("water", "trioxide"), [(0.04, 1e-5), (0.31, 1e-5), (0.1, 9e-8), (0.1, 1.1e-4), (np.nan, 1e-5)]
)
def test_outside_of_the_limits_a_scalar_is_an_error_and_an_array_is_masked(
    water: float, trioxide: float
) -> None:
    with pytest.raises(InputError, match=r"no acid dew point for water_wet .* judge by the water dew point"):
        acid_dew_point(water, sulfur_trioxide_wet=trioxide)
    masked = acid_dew_point(np.array([water, 0.1]), sulfur_trioxide_wet=np.array([trioxide, 1e-5]))
    assert np.isnan(masked[0])
    assert 400 < masked[1] < 420


def test_no_trioxide_has_no_acid_dew_point() -> None:
    assert np.isnan(acid_dew_point(0.1, sulfur_trioxide_wet=0.0))


def test_series_and_quantities_give_what_plain_numbers_give() -> None:
    plain = acid_dew_point(np.array([0.1, 0.2]), sulfur_trioxide_wet=1e-5, pressure=9e4)
    series = acid_dew_point(pd.Series([0.1, 0.2]), sulfur_trioxide_wet=1e-5, pressure=9e4)
    quantities = acid_dew_point(
        quantity(np.array([10.0, 20.0]), "percent"),
        sulfur_trioxide_wet=quantity(10.0, "ppm"),
        pressure=quantity(90.0, "kPa"),
    )
    np.testing.assert_allclose(series, plain, rtol=1e-14)
    np.testing.assert_allclose(quantities, plain, rtol=1e-12)
    assert isinstance(acid_dew_point(0.1, sulfur_trioxide_wet=1e-5), float)


def test_conversion_is_a_share() -> None:
    assert sulfur_trioxide(100e-6, conversion=0.05) == pytest.approx(5e-6)
    with pytest.raises(InputError, match="lies between 0 and 1"):
        sulfur_trioxide(100e-6, conversion=2.0)
