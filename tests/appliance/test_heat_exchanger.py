"""Evidence of the heat exchanger: shifts when the blower starts, and conclusions that are never a pass."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from fluewright import sources
from fluewright.appliance import Number
from fluewright.appliance.heat_exchanger import (
    BlowerStart,
    Grade,
    Sign,
    find_blower_start,
    shift_at_blower_start,
    supply_over_return,
    weigh_evidence,
)

START = pd.Timestamp("2026-01-14 10:00", tz="America/New_York")


def log(
    *, blower_at: float | None = 120.0, step: float = 0.0, drift: float = 0.0, seed: int = 1
) -> pd.DataFrame:
    """Return five minutes of a burn, oxygen every 2 s; the blower starts and moves oxygen by `step`."""
    rng = np.random.default_rng(seed)
    seconds = np.arange(0.0, 300.0, 2.0)
    oxygen = 0.068 + drift * seconds + 2e-4 * rng.standard_normal(seconds.size)
    monoxide = 40e-6 + 1e-6 * rng.standard_normal(seconds.size)
    frame = pd.DataFrame(
        {"oxygen_dry": oxygen, "carbon_monoxide_dry": monoxide},
        index=START + pd.to_timedelta(seconds, unit="s"),
    )
    if blower_at is not None:
        on = seconds >= blower_at
        frame["blower_on"] = np.where(np.arange(seconds.size) % 5 == 0, on, np.nan)
        frame["oxygen_dry"] += step * (1 - np.exp(-np.clip(seconds - blower_at, 0, None) / 9.0))
    return frame


def shift(frame: pd.DataFrame) -> Number:
    start = find_blower_start(frame)
    assert start is not None
    return shift_at_blower_start(
        frame, start, response_times={"oxygen_dry": 25.0}, resolutions={"oxygen_dry": 1e-3}
    )["oxygen_dry"]


def test_the_start_is_taken_from_the_log_or_from_the_visit_and_never_guessed() -> None:
    found = find_blower_start(log())
    assert found is not None
    assert found.known_by == "log"
    assert abs((found.moment - START).total_seconds() - 120) <= 10
    assert find_blower_start(log(blower_at=None)) is None
    assert find_blower_start(log(blower_at=-1.0)) is None  # it ran all along
    entered = START + pd.Timedelta(seconds=90)
    assert find_blower_start(log(), entered=entered) == BlowerStart(moment=entered, known_by="entered")


@pytest.mark.law
@pytest.mark.parametrize("step", [0.004, 0.010, -0.005])
def test_a_step_is_found_with_its_size(step: float) -> None:
    found = shift(log(step=step))
    assert found.low <= step <= found.high
    assert found.low > 0 or found.high < 0


@pytest.mark.law
def test_without_a_step_the_interval_holds_nothing_at_all() -> None:
    held = [(one := shift(log(seed=seed))).low <= 0 <= one.high for seed in range(60)]
    assert np.mean(held) >= 0.9


@pytest.mark.law
def test_a_reading_that_was_still_on_its_way_tells_nothing() -> None:
    found = shift(log(drift=-2e-4))  # 1.2 % of oxygen per minute
    assert found.low < 0 < found.high or found.high < 0
    assert found.high - found.low > 0.005


def test_too_few_rows_on_either_side_tell_nothing() -> None:
    assert shift_at_blower_start(log(blower_at=8.0), BlowerStart(moment=START, known_by="entered")) == {}


@pytest.mark.law
def test_supply_over_return_carries_both_uncertainties() -> None:
    def reading(name: str, value: float, half: float) -> Number:
        return Number(quantity=name, value=value, low=value - half, high=value + half, origin="measured")

    found = supply_over_return(
        reading("carbon_monoxide_supply", 5e-6, 2e-6), reading("carbon_monoxide_return", 1e-6, 1e-6)
    )
    assert (found.value, found.low, found.high) == pytest.approx((4e-6, 1e-6, 7e-6))


SIGNS: tuple[Sign, ...] = ("seen", "not seen", "cannot tell", "not tested")


@pytest.mark.law
def test_no_combination_of_signs_reads_as_a_pass() -> None:
    words = sources.table("appliance")["evidence"]
    for breach, first, second in itertools.product(SIGNS, repeat=3):
        found = weigh_evidence(breach=breach, signs={"supply": first, "flame": second})
        text = found.sentence.lower()
        assert not any(word in text.split() for word in ("safe", "passed", "sound", "tight."))
        if breach == "seen":
            assert found.grade == "breach seen"
        if "seen" in (first, second) and breach != "seen":
            assert found.grade in ("signs of a leak", "one sign of a leak")
        if {breach, first, second} == {"not tested"}:
            assert found.grade == "not tested"
    assert "does not show the heat exchanger to be tight" in words["no sign seen"]


@pytest.mark.parametrize(
    ("breach", "signs", "grade"),
    [
        ("not tested", ["not seen"], "no sign seen"),
        ("not seen", ["cannot tell", "not seen"], "cannot tell"),
        ("not seen", ["seen", "not seen"], "one sign of a leak"),
        ("not tested", ["seen", "seen"], "signs of a leak"),
        ("seen", ["not seen"], "breach seen"),
    ],
)
def test_the_conclusion_is_graded(breach: Sign, signs: list[Sign], grade: Grade) -> None:
    assert weigh_evidence(breach=breach, signs=dict(zip("abc", signs, strict=False))).grade == grade
