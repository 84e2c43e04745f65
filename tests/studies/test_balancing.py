"""The balance of a test point: it fits where readings are true, and finds the reading that is not."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import fluewright as fw
from fluewright.studies import audit as auditing
from fluewright.studies.balancing import Balance, balance

DEMO = Path(__file__).resolve().parents[2] / "data-demo"
Make = Callable[..., Path]
pytestmark = pytest.mark.law


@pytest.fixture(scope="module")
def given() -> tuple[Any, ...]:
    """Return what the balance of the hall as left is made from."""
    kept: list[tuple[Any, ...]] = []
    original = auditing.balance

    def spy(*arguments: Any) -> Balance | None:
        kept.append(arguments)
        return original(*arguments)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(auditing, "balance", spy)
        fw.audit(fw.open_visit(DEMO / "hall-furnace"))
    return kept[-1]


def test_true_readings_fit_and_are_made_more_certain(given: tuple[Any, ...]) -> None:
    found = balance(*given)
    assert found is not None
    assert found.fit == "fits"
    assert found.suspects == ()
    assert found.degrees_of_freedom == 2
    for name, (before, after) in found.results.items():
        assert after.high - after.low <= (before.high - before.low) * (1 + 1e-6), name
        assert before.low < after.value < before.high
    by_meter, by_manifold = (
        found.results[name][1].value for name in ("heat_input_clocked", "heat_input_manifold")
    )
    assert by_meter == pytest.approx(by_manifold, rel=1e-6)
    assert "Draft at the breech" in found.unchecked
    assert any({"Airflow", "Supply temperature", "Return temperature"} <= set(one) for one in found.alike)
    assert found.closure is not None
    assert found.closure.low < 0 < found.closure.high


def test_gas_without_carbon_monoxide_has_a_balance(given: tuple[Any, ...]) -> None:
    """A share of a gas is not moved below zero where the derivatives are formed."""
    fuel, fuel_draws, inputs, settings = given
    none = [
        replace(one, central=0.0, draws=np.maximum(one.draws - one.central, 0.0))
        if one.name == "carbon_monoxide_dry"
        else one
        for one in inputs
    ]
    found = balance(fuel, fuel_draws, none, settings)
    assert found is not None
    assert found.fit == "fits"


def test_a_gross_error_in_each_reading_is_attributed_to_it_or_to_its_set(given: tuple[Any, ...]) -> None:
    fuel, fuel_draws, inputs, settings = given
    sound = balance(*given)
    assert sound is not None
    rng = np.random.default_rng(11)
    groups = {one.group for one in inputs}
    runs, attributed = 0, 0
    for reading in sound.readings:
        for sign in (1.0, -1.0, 1.0, -1.0):
            pick = {group: int(rng.integers(len(inputs[0].draws))) for group in groups}
            moved = []
            for one in inputs:
                error = float(one.draws[pick[one.group]] - one.central)
                if one.group == reading.label:
                    error += sign * 2 * reading.detectable
                moved.append(replace(one, central=one.central + error, draws=one.draws + error))
            found = balance(fuel, fuel_draws, moved, settings)
            assert found is not None
            runs += 1
            attributed += reading.label in found.suspects
            # A reading that acts in quite another way is not blamed.
            assert "Draft at the breech" not in found.suspects
    assert attributed >= 0.9 * runs, (attributed, runs)


def test_the_laundrys_infrared_cell_is_held_against_its_oxygen() -> None:
    laundry = fw.audit(fw.open_visit(DEMO / "laundry-boiler"))
    truth = json.loads((DEMO / "truth" / "laundry-boiler.json").read_text(encoding="utf-8"))["test_points"]
    for point in laundry.points:
        read, computed = (
            point.readings["carbon_dioxide_dry"],
            point.numbers["carbon_dioxide_dry_computed"],
        )
        true = truth[point.name]["carbon_dioxide_dry"]["value"]
        # The cell reads gas that still holds water at 5 °C (872 Pa of 98,900): 0.9 % less than in dry gas.
        assert computed.low < true / (1 - 872 / 98_900) < computed.high
        assert read.low < true < read.high
        difference = point.numbers["carbon_dioxide_difference"]
        assert difference.value == pytest.approx(read.value / (1 - 872 / 98_900) - computed.value, abs=1e-5)
        assert point.balance is not None
        assert "carbon dioxide measured, and by oxygen" in point.balance.conditions
        assert point.balance.degrees_of_freedom == 2
        assert point.balance.fit == "fits"


def test_where_nothing_is_redundant_there_is_no_balance(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    audit = fw.audit(fw.open_visit(make_visit(complete_plan, settled)))
    assert audit.points[0].balance is None


def test_carbon_dioxide_that_was_measured_is_held_against_oxygen(
    make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    complete_plan["instruments"]["flue"]["accuracy"]["carbon_dioxide_dry"] = {"absolute": "0.2 percent"}
    readings = complete_plan["test_points"][0]["readings"]
    readings["carbon_dioxide_dry"] = {"value": "7.9 percent", "instrument": "flue"}
    agree = fw.audit(fw.open_visit(make_visit(complete_plan, settled, "agree")))
    assert agree.points[0].balance is not None
    assert agree.points[0].balance.fit == "fits"
    readings["carbon_dioxide_dry"]["value"] = "9.4 percent"
    contradict = fw.audit(fw.open_visit(make_visit(complete_plan, settled, "contradict")))
    found = next(one for one in contradict.judgements if one.rule == "balance")
    assert found.weight == "correct"
    assert "Oxygen in flue gas, dry" in found.action
    assert "Carbon dioxide in flue gas, dry" in found.action
    fits, not_so = (
        next(one for one in audit.judgements if one.rule == "carbon_dioxide_against_oxygen")
        for audit in (agree, contradict)
    )
    assert (fits.outcome, fits.weight) == ("within", "")
    assert (not_so.outcome, not_so.weight) == ("beyond", "note")
    assert "dilution by air cannot cause it" in not_so.meaning
    # What the instrument calculated itself is no evidence, and binds nothing.
    hall = fw.audit(fw.open_visit(DEMO / "hall-furnace"))
    assert all(
        "carbon dioxide" not in " ".join(point.balance.conditions) for point in hall.points if point.balance
    )


@pytest.mark.parametrize("factor", [0.02, 100])
def test_readings_that_contradict_one_another_by_far_are_told_and_not_refused(
    tmp_path: Path, factor: float
) -> None:
    folder = tmp_path / "hall"
    shutil.copytree(DEMO / "hall-furnace", folder)
    plan = folder / "visit.toml"
    text = plan.read_text(encoding="utf-8")
    dial = re.compile(r'dial = "([\d.]+) ')
    assert dial.search(text)
    plan.write_text(dial.sub(lambda found: f'dial = "{float(found[1]) * factor:g} ', text), encoding="utf-8")
    findings = {one.rule for one in fw.audit(fw.open_visit(folder)).findings}
    assert {"clock_against_manifold", "heat_input_rate"} & findings
