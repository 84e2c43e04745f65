"""Fresh air inside a log tells what a cell's zero is, or nothing; it widens intervals and corrects none."""

from __future__ import annotations

import copy
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fluewright as fw
from fluewright.studies.fresh_air import fresh_air_checks
from fluewright.studies.inputs import known_accuracy
from fluewright.visit import accuracy_of

Plan = dict[str, Any]
MONOXIDE = "carbon_monoxide_dry"
STEP, BEFORE, BURN, AFTER = 5, 120, 1080, 240  # s
RESPONSE = 30.0  # s, to 90 % of a step, as stated


@pytest.fixture
def plan(complete_plan: Plan) -> Plan:
    complete_plan["instruments"]["flue"]["accuracy"][MONOXIDE]["response_time"] = f"{RESPONSE:g} s"
    complete_plan["test_points"][0]["end"] = "2026-01-14T10:20:30"
    return complete_plan


def log(
    *,
    air: float = 20.9,
    zero: float = 0.0,
    level: float = 40.0,
    lag: float = RESPONSE,
    drift: float = 0.0,
    after: int = AFTER,
    room: float = 0.0,
    tail: float = 0.0,
) -> list[list[str]]:
    """Return a log with fresh air before and after one burn, CO behind a first-order cell with a zero [ppm].

    `air` [%] is the oxygen shown in fresh air; `drift` [%] is what oxygen gains from before the burn to after it;
    `tail` [ppm] lingers for minutes.
    """
    rng = np.random.default_rng(4)
    seconds = np.arange(0, BEFORE + BURN + after, STEP)
    burning = (seconds >= BEFORE) & (seconds < BEFORE + BURN)
    since = np.clip(seconds - BEFORE - BURN, 0, None)
    true = np.where(burning, level, room)
    cell = np.empty(len(seconds))
    held, keep = room, 0.1 ** (STEP / lag)
    for row, value in enumerate(true):
        held = keep * held + (1 - keep) * value
        cell[row] = held
    cell += np.where(seconds >= BEFORE + BURN, tail * np.exp(-since / 120), 0.0)
    shown = np.clip(cell + zero + 0.3 * rng.standard_normal(len(seconds)), 0, None)
    oxygen = np.where(burning, 6.8, air) + np.where(seconds >= BEFORE + BURN / 2, drift, 0.0)
    flue = np.where(burning, 330.0, 70.0) + 0.3 * rng.standard_normal(len(seconds))
    return [
        [f"2026-01-14 10:{s // 60:02d}:{s % 60:02d}", f"{o:.1f}", f"{c:.0f}", f"{t:.1f}", "70.0"]
        for s, o, c, t in zip(seconds, oxygen, shown, flue, strict=True)
    ]


@pytest.fixture
def opened(plan: Plan, make_visit: Callable[..., Path]) -> Callable[..., fw.Visit]:
    """Return a function that opens a visit of one log, named so that several may be open at once."""
    count = iter(range(100))

    def make(changed: Plan | None = None, **how: float) -> fw.Visit:
        return fw.open_visit(make_visit(changed or plan, log(**how), f"visit-{next(count)}"))

    return make


def errors(visit: fw.Visit) -> dict[str, float]:
    """Return the zero of carbon monoxide [ppm] by when it was seen."""
    return {one.when: 1e6 * one.error.value for one in fresh_air_checks(visit, MONOXIDE)}


def with_room(plan: Plan, value: str, instrument: str) -> Plan:
    changed = copy.deepcopy(plan)
    reading = {"value": value, **({"instrument": instrument} if instrument else {})}
    changed["test_points"][0]["readings"]["carbon_monoxide_ambient"] = reading
    return changed


@pytest.mark.law
@pytest.mark.parametrize("level", [40.0, 400.0, 3000.0])
@pytest.mark.parametrize("slower", [0.5, 1.0, 1.5])
@pytest.mark.parametrize("response", [30.0, 120.0])
@pytest.mark.parametrize("after", [45, 60, 90, 120, 180, 240, 300, 480])
def test_a_cell_that_still_forgets_the_flue_gas_is_not_taken_for_a_zero(
    opened: Callable[..., fw.Visit], plan: Plan, level: float, slower: float, response: float, after: int
) -> None:
    plan["instruments"]["flue"]["accuracy"][MONOXIDE]["response_time"] = f"{response:g} s"
    found = errors(opened(with_room(plan, "0 ppm", "room"), level=level, lag=slower * response, after=after))
    assert abs(found["before"]) < 1.0
    assert abs(found.get("after", 0.0)) < 2.5
    assert "after" in found or after < 7 * response


def test_a_long_tail_is_no_zero(opened: Callable[..., fw.Visit]) -> None:
    assert set(errors(opened())) == {"before", "after"}
    assert set(errors(opened(tail=40.0))) == {"before"}


def test_the_zero_is_held_against_the_room_by_another_instrument(
    opened: Callable[..., fw.Visit], plan: Plan
) -> None:
    def found(reading: str, by: str) -> dict[str, float]:
        return errors(opened(with_room(plan, reading, by), room=6.0))

    assert found("6 ppm", "room") == pytest.approx({"before": 0.0, "after": 0.0}, abs=0.5)
    # The cell's own reading of the room, or one by nobody knows what, says nothing of its zero.
    for by in ("flue", ""):
        assert found("6 ppm", by) == pytest.approx({"before": 6.0, "after": 6.0}, abs=0.5)
    (check, _) = fresh_air_checks(opened(with_room(plan, "6 ppm", ""), room=6.0), MONOXIDE)
    assert "taken as none" in check.error.basis


@pytest.mark.parametrize("by", ["room", "flue", ""])
def test_a_room_that_holds_carbon_monoxide_is_no_zero_gas(
    opened: Callable[..., fw.Visit], plan: Plan, by: str
) -> None:
    assert errors(opened(with_room(plan, "12 ppm", by), room=12.0)) == {}
    assert errors(opened(with_room(plan, "> 12 ppm", by), room=12.0)) == {}


def test_a_zero_beyond_the_stated_accuracy_is_a_note_and_within_it_is_none(
    opened: Callable[..., fw.Visit], plan: Plan
) -> None:
    def judged(zero: float) -> tuple[str, str]:
        audit = fw.audit(opened(with_room(plan, "0 ppm", "room"), zero=zero))
        (one,) = [one for one in audit.judgements if one.rule == "carbon_monoxide_zero"]
        return one.outcome, one.weight

    assert judged(0.0) == ("within", "")
    assert judged(10.0) == ("cannot tell", "")
    assert judged(20.0) == ("beyond", "note")


def test_a_zero_widens_the_readings_and_moves_none(opened: Callable[..., fw.Visit]) -> None:
    clean, off = opened(), opened(zero=20.0)
    (stated, found) = (known_accuracy(one, MONOXIDE, reading=40e-6) for one in (clean, off))
    assert stated.absolute == pytest.approx(accuracy_of(clean.plan, MONOXIDE).absolute, rel=0.02)
    worst = max(errors(off).values()) * 1e-6
    assert found.absolute == pytest.approx(np.hypot(10e-6, worst))
    before, after = (fw.audit(one).points[0].settled for one in (clean, off))
    assert before is not None
    assert after is not None
    held = after.means[MONOXIDE]
    assert held.mean - before.means[MONOXIDE].mean == pytest.approx(20e-6, abs=0.2e-6)
    assert held.low < 40e-6 < held.high


def test_oxygen_that_drifted_widens_its_interval_by_the_drift(opened: Callable[..., fw.Visit]) -> None:
    before, check = fresh_air_checks(opened(drift=0.4), "oxygen_dry")
    assert (before.when, before.error.value, check.when) == ("before", pytest.approx(0.0), "after")
    assert check.error.value == pytest.approx(0.004, abs=1e-9)
    assert known_accuracy(opened(drift=0.4), "oxygen_dry", reading=0.068).absolute == pytest.approx(
        np.hypot(0.002, 0.004)
    )
    assert known_accuracy(opened(), "oxygen_dry", reading=0.068) == accuracy_of(opened().plan, "oxygen_dry")


def test_the_drift_is_that_of_the_instrument_that_wrote_the_log(
    opened: Callable[..., fw.Visit], plan: Plan
) -> None:
    plan["instruments"]["second"] = copy.deepcopy(plan["instruments"]["flue"])
    visit = opened(drift=0.4)
    assert known_accuracy(visit, "oxygen_dry", "second").absolute == pytest.approx(0.002)
    assert known_accuracy(visit, "oxygen_dry", "flue").absolute > 0.004


def test_drift_corrected_as_asked_is_not_counted_again(opened: Callable[..., fw.Visit], plan: Plan) -> None:
    plan["instruments"]["flue"]["drift_checks"] = {
        "oxygen_dry": {
            "span_before": {"applied": "20.9 percent", "shown": "20.9 percent"},
            "span_after": {"applied": "20.9 percent", "shown": "21.3 percent"},
        }
    }
    seen = known_accuracy(opened(drift=0.4), "oxygen_dry", reading=0.068, corrected=True)
    assert seen.absolute == pytest.approx(np.hypot(0.002, 0.004))
    plan["instruments"]["flue"]["drift_checks"]["oxygen_dry"]["correct"] = True
    asked = known_accuracy(opened(drift=0.4), "oxygen_dry", reading=0.068, corrected=True)
    assert asked.absolute == pytest.approx(np.hypot(0.002, 0.002))


@pytest.mark.parametrize(
    ("air", "outcome", "weight"),
    [
        (20.9, "within", ""),
        (20.6, "within", ""),  # moist
        (20.3, "beyond", "note"),
        (19.6, "beyond", "note"),
        (21.3, "beyond", "note"),
    ],
)
def test_oxygen_in_fresh_air_is_held_against_what_air_holds(
    opened: Callable[..., fw.Visit], plan: Plan, air: float, outcome: str, weight: str
) -> None:
    plan["instruments"]["flue"].pop("sample_dew_point", None)
    audit = fw.audit(opened(air=air, after=0))
    (one,) = [one for one in audit.judgements if one.rule == "oxygen_fresh_air"]
    assert (one.outcome, one.weight) == (outcome, weight)
    (settled,) = [point.settled for point in audit.points]
    assert settled is not None
    moist = 20.95 * (1 - 0.40 * 2.50 / 101.3)  # 40 % of the saturation pressure at 70 °F, in kPa
    error = abs(air - np.clip(air, moist, 20.95)) / 100
    assert settled.means["oxygen_dry"].bias == pytest.approx(np.hypot(0.002, error), abs=2e-4)


def test_the_humidity_that_was_read_and_a_dryer_tell_what_fresh_air_holds(
    opened: Callable[..., fw.Visit], plan: Plan
) -> None:
    plan["instruments"]["flue"].pop("sample_dew_point", None)

    def reference(**reading: str) -> float:
        changed = copy.deepcopy(plan)
        del changed["readings"]["relative_humidity"]
        changed["readings"] |= reading
        (check,) = fresh_air_checks(opened(changed, air=20.0, after=0), "oxygen_dry")
        return check.reference

    usual = reference()
    assert reference(relative_humidity="90 percent") < usual < reference(relative_humidity="10 percent")
    plan["instruments"]["flue"]["sample_dew_point"] = "3 degC"
    assert reference(relative_humidity="90 percent") == pytest.approx(0.2095 * (1 - 758 / 101325), abs=2e-4)


def test_what_was_checked_is_in_the_results(opened: Callable[..., fw.Visit], plan: Plan) -> None:
    plan["instruments"]["flue"]["drift_checks"] = {
        MONOXIDE: {"zero_before": {"applied": "0 ppm", "shown": "7 ppm", "note": "outdoor air"}}
    }
    audit = fw.audit(opened(with_room(plan, "0 ppm", "room")))
    by_quantity = {one["quantity"]: one for one in audit.results["instrument_checks"]}
    monoxide = by_quantity[MONOXIDE]
    entered = monoxide["checks"][0]
    assert (entered["kind"], entered["by"]) == ("zero, before", "outdoor air")
    assert entered["difference"] == pytest.approx(7e-6)
    assert [one["kind"] for one in monoxide["checks"][1:]] == [
        "fresh air in the log, before",
        "fresh air in the log, after",
    ]
    assert not monoxide["corrected"]
    assert monoxide["half_width_used"] == pytest.approx(np.hypot(monoxide["half_width_stated"], 7e-6))
    settled = audit.points[0].settled
    assert settled is not None
    assert monoxide["half_width_used"] == pytest.approx(settled.means[MONOXIDE].bias)


def test_a_log_without_fresh_air_tells_nothing(
    plan: Plan, settled: list[list[str]], make_visit: Callable[..., Path]
) -> None:
    audit = fw.audit(fw.open_visit(make_visit(plan, settled)))
    assert audit.instrument_checks == ()
    assert audit.oxygen_zero_drift is None
    assert "carbon_monoxide_zero" not in {one.rule for one in audit.judgements}
