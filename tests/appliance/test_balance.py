"""Reconciliation: textbook and hand-worked examples, its laws, and gross errors found where they were planted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from fluewright import sources
from fluewright.appliance.balance import Reconciliation, reconcile
from fluewright.errors import InputError
from fluewright.units import Array

# A heat exchanger with a bypass: S. Narasimhan and C. Jordache, Data Reconciliation and Gross Error Detection (2000),
# example 1-1. Readings and balances as quoted by an open collection of benchmark problems; the printed reconciled
# values are from memory.
BYPASS = np.array(
    [[1, -1, -1, 0, 0, 0], [0, 1, 0, -1, 0, 0], [0, 0, 1, 0, -1, 0], [0, 0, 0, 1, 1, -1]], float
)
BYPASS_READ = np.array([101.91, 64.45, 34.65, 64.20, 36.44, 98.88])
BYPASS_PRINTED = ["100.22", "64.50", "35.72", "64.50", "35.72", "100.22"]

# Feed water, steam and condensate of a turbine plant: the example of VDI 2048 part 1; the file says where from.
# Half-widths are 95 %; two pairs of meters are correlated; mD is in no balance. The manual of an open-source modeling
# tool prints the correlation of the two steam flows as 0.39951; the library that was run takes 0.4.
PRINTED = pd.read_csv(Path(__file__).parent / "published" / "vdi_2048.csv", dtype=str)
PLANT = tuple(PRINTED["flow"])
PLANT_READ, PLANT_HALF = (PRINTED[name].to_numpy(dtype=float) for name in ("measured", "half_width"))
PLANT_BALANCES = np.array(
    [
        [1, 1, -1, -1, 0.4, 0, 0, 0, 0, 0, 0],
        [0, 0, 1, 1, -1, -1, -1, -1, -1, 0, 0],
        [0, 0, 0, 0, 0, 0, 1, 1, 1, -1, 0],
    ]
)


def plant(*, correlation_of_steam: float = 0.39951) -> Reconciliation:
    deviation = PLANT_HALF / 1.959964
    covariance = np.diag(deviation**2)
    for one, other, correlation in (("mSPL", "mSPLL", correlation_of_steam), ("mFDKEL", "mFDKELL", 0.2)):
        i, j = PLANT.index(one), PLANT.index(other)
        covariance[i, j] = covariance[j, i] = correlation * deviation[i] * deviation[j]
    return reconcile(
        PLANT,
        measured=PLANT_READ,
        covariance=covariance,
        conditions=lambda x: x @ PLANT_BALANCES.T,
    )


@pytest.mark.published
def test_textbook_bypass() -> None:
    found = reconcile(
        [f"F{n}" for n in range(1, 7)],
        measured=BYPASS_READ,
        covariance=np.eye(6),
        conditions=lambda x: x @ BYPASS.T,
    )
    assert [f"{value:.2f}" for value in found.corrected] == BYPASS_PRINTED
    assert found.fit == "fits"
    assert found.suspects == ()


@pytest.mark.published
def test_the_turbine_example_of_vdi_2048() -> None:
    found = plant()
    assert found.degrees_of_freedom == 3
    assert f"{found.quality_limit:.5f}" == "7.81473"  # as printed
    assert np.abs(found.corrected @ PLANT_BALANCES.T).max() < 1e-9
    # The two feed-water meters stand in one balance side by side: an error of one cannot be told from the other's.
    assert found.fit == "does not fit"
    assert set(found.suspects) == {"mFDKEL", "mFDKELL"}
    assert found.explained
    assert "mD" in found.unchecked
    assert found.corrected[PLANT.index("mD")] == PLANT_READ[PLANT.index("mD")]


@pytest.mark.published
def test_the_turbine_example_is_corrected_as_an_independent_library_corrects_it() -> None:
    found = plant(correlation_of_steam=0.4)
    half = 1.959964 * np.sqrt(np.diag(found.corrected_covariance))
    assert found.corrected == pytest.approx(PRINTED["corrected"].to_numpy(dtype=float), rel=1e-9)
    assert half == pytest.approx(PRINTED["corrected_half_width"].to_numpy(dtype=float), rel=1e-6)


@pytest.mark.law
def test_a_splitter_by_hand() -> None:
    # 10.0 in, 6.2 and 4.2 out, each ±1 (one deviation) but the last ±2: 0.4 too much leaves.
    # M = 1 + 1 + 4 = 6; corrections 0.4 x (1, -1, -4)/6; chi-square 0.16/6.
    found = reconcile(
        ("in", "first", "second"),
        measured=np.array([10.0, 6.2, 4.2]),
        covariance=np.diag([1.0, 1.0, 4.0]),
        conditions=lambda x: x @ np.array([[1.0, -1.0, -1.0]]).T,
        greatest_error=np.full(3, 100.0),
    )
    assert found.corrected == pytest.approx([10.0 + 0.4 / 6, 6.2 - 0.4 / 6, 4.2 - 1.6 / 6], abs=1e-12)
    assert found.chi_square == pytest.approx(0.16 / 6, rel=1e-9)
    assert np.diag(found.corrected_covariance) == pytest.approx([1 - 1 / 6, 1 - 1 / 6, 4 - 16 / 6], rel=1e-9)
    assert found.alike == (("in", "first", "second"),)


@pytest.mark.law
def test_the_limits_are_those_of_the_distributions() -> None:
    table = sources.table("appliance")["balance"]
    for freedom, (quality, alpha) in enumerate(
        zip(table["chi_square_quality"], table["chi_square_alpha"], strict=True), start=1
    ):
        assert quality == pytest.approx(stats.chi2.ppf(0.95, freedom), abs=1e-6)
        assert alpha == pytest.approx(stats.chi2.ppf(0.99, freedom), abs=1e-6)
    assert table["normal_alpha"] == pytest.approx(stats.norm.ppf(0.995), abs=1e-6)
    assert table["normal_power"] == pytest.approx(stats.norm.ppf(0.90), abs=1e-6)


# A furnace, simply: heat by clock and by manifold pressure, by losses and by air.
READINGS = (
    "seconds",
    "heating value",
    "manifold",
    "efficiency",
    "airflow",
    "supply",
    "return",
    "dial",
    "draft",
)
TRUE = np.array([91.7, 38.2e6, 850.0, 0.80, 0.5, 323.0, 293.0, 0.0566, 8.0])
RATED = TRUE[7] / TRUE[0] * TRUE[1]
FACTOR = RATED * TRUE[3] / (TRUE[4] * (TRUE[5] - TRUE[6]))
DEVIATION = np.array([0.3, 0.3e6, 10.0, 0.006, 0.012, 0.3, 0.3, 0.0, 0.5])


def heat(x: Array) -> Array:
    seconds, value, manifold, efficiency, flow, supply, back, dial, _ = x.T
    clocked = dial / seconds * value
    by_manifold = RATED * np.sqrt(manifold / 850.0) * value / 38.2e6
    delivered = flow * FACTOR * (supply - back)
    return np.stack([np.log(by_manifold / clocked), np.log(delivered / (clocked * efficiency))], axis=-1)


BELIEVABLE = np.where(np.isin(READINGS, ("supply", "return")), 50.0, TRUE)


def furnace(read: Array) -> Reconciliation:
    return reconcile(
        READINGS,
        measured=read,
        covariance=np.diag(DEVIATION**2),
        conditions=heat,
        greatest_error=BELIEVABLE,
        condition_covariance=np.diag([0.015**2, 0.01**2]),
    )


@pytest.mark.law
def test_conditions_that_are_not_linear_hold_exactly_where_the_model_is_exact() -> None:
    read = TRUE + np.array([2.0, 1e6, -40.0, 0.02, 0.03, 1.0, -1.0, 0.0, 0.0])
    found = reconcile(
        READINGS, measured=read, covariance=np.diag(DEVIATION**2), conditions=heat, greatest_error=BELIEVABLE
    )
    assert np.abs(heat(found.corrected[np.newaxis, :])).max() < 1e-8
    before, after = (found.standard_deviation(corrected=corrected) for corrected in (False, True))
    assert (after <= before * (1 + 1e-9)).all()
    assert after[0] < 0.9 * before[0] or after[4] < 0.9 * before[4]


@pytest.mark.law
def test_what_nothing_checks_is_listed_and_what_acts_alike_is_named_as_a_set() -> None:
    found = furnace(TRUE)
    assert found.unchecked == ("draft",)
    sets = {frozenset(one) for one in found.alike}
    assert frozenset({"seconds", "dial"}) in sets
    assert frozenset({"heating value", "efficiency", "airflow", "supply", "return"}) in sets
    assert frozenset({"manifold"}) in sets
    assert np.isinf(found.detectable[READINGS.index("draft")])


@pytest.mark.law
def test_a_sound_balance_is_called_wrong_as_seldom_as_stated() -> None:
    rng = np.random.default_rng(3)
    model = np.zeros(len(TRUE))
    model[[READINGS.index("manifold"), READINGS.index("airflow")]] = 2 * 0.015 * 850, 0.01 * 0.5
    found_in_sound = [
        furnace(TRUE + np.hypot(DEVIATION, model) * rng.standard_normal(len(TRUE))) for _ in range(400)
    ]
    wrong = np.mean([one.fit == "does not fit" for one in found_in_sound])
    doubtful = np.mean([one.fit != "fits" for one in found_in_sound])
    assert wrong < 0.03
    assert 0.02 < doubtful < 0.09
    assert np.mean([one.chi_square for one in found_in_sound]) == pytest.approx(2.0, abs=0.25)


@pytest.mark.law
@pytest.mark.parametrize("channel", [n for n in READINGS if n != "draft"])
def test_a_gross_error_is_attributed_to_its_reading_or_to_the_set_it_belongs_to(channel: str) -> None:
    rng = np.random.default_rng(sum(map(ord, channel)))
    where = READINGS.index(channel)
    planted = 2.0 * furnace(TRUE).detectable[where]
    attributed, others = 0, []
    for run in range(80):
        read = TRUE + DEVIATION * rng.standard_normal(len(TRUE))
        read[2] += 2 * 0.015 * 850 * rng.standard_normal()
        read[4] += 0.01 * 0.5 * rng.standard_normal()
        read[where] += planted if run % 2 else -planted
        found = furnace(read)
        attributed += channel in found.suspects
        others.append(len(found.suspects))
    assert attributed >= 0.9 * 80
    # Nothing is blamed that acts in another way: never every reading of the balance.
    assert np.median(others) <= 5


@pytest.mark.law
def test_an_error_of_the_detectable_size_is_found_as_often_as_stated() -> None:
    rng = np.random.default_rng(5)
    where = READINGS.index("manifold")
    size = furnace(TRUE).detectable[where]
    limit = sources.table("appliance")["balance"]["normal_alpha"]
    passed = []
    for _ in range(300):
        read = TRUE + DEVIATION * rng.standard_normal(len(TRUE))
        read[2] += 2 * 0.015 * 850 * rng.standard_normal() + size
        read[4] += 0.01 * 0.5 * rng.standard_normal()
        passed.append(furnace(read).test[where] > limit)
    assert np.mean(passed) == pytest.approx(0.90, abs=0.05)


def test_what_cannot_be_balanced_is_refused() -> None:
    with pytest.raises(InputError, match="no number"):
        furnace(np.where(np.arange(len(TRUE)) == 0, np.nan, TRUE))
    with pytest.raises(InputError, match="two conditions say the same"):
        reconcile(
            ("a", "b"),
            measured=np.array([1.0, 1.1]),
            covariance=np.eye(2),
            conditions=lambda x: np.stack([x[:, 0] - x[:, 1], 2 * (x[:, 0] - x[:, 1])], axis=-1),
        )
