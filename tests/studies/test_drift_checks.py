"""What zero and span checks found is in the interval, and in the value only where visit.toml asks."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

import fluewright as fw
from fluewright.studies import inputs
from fluewright.studies.inputs import half_widths, known_accuracy
from fluewright.visit import Drift, VisitError, check_visit

DEMO = Path(__file__).parents[2] / "data-demo" / "hall-furnace"
CHECKS = """
[instruments.analyzer.drift_checks.oxygen_dry]
zero_before = { applied = "0 percent", shown = "0.0 percent" }
zero_after = { applied = "0 percent", shown = "0.2 percent" }
span_before = { applied = "20.9 percent", shown = "20.9 percent" }
span_after = { applied = "20.9 percent", shown = "21.5 percent" }
"""


@pytest.fixture(autouse=True)
def _only_what_is_entered(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what the log's own fresh air shows: it has its own tests."""
    monkeypatch.setattr(inputs, "fresh_air_drift", lambda *_, **__: Drift())


def visit_with(tmp_path: Path, text: str) -> fw.Visit:
    folder = shutil.copytree(DEMO, tmp_path / "visit", dirs_exist_ok=True)
    plan = folder / "visit.toml"
    before = DEMO.joinpath("visit.toml").read_text(encoding="utf-8")
    assert "[instruments.analyzer]" in before
    plan.write_text(before + text, encoding="utf-8")
    return fw.open_visit(folder)


@pytest.mark.law
def test_the_correction_undoes_an_error_that_is_a_line() -> None:
    """As EPA Method 7E forms a drift-corrected concentration (equation 7E-5B, from memory)."""

    def shown(true: float, zero: float, gain: float) -> float:
        return zero + gain * true

    before = [(shown(true, 1e-6, 0.99), shown(true, 1e-6, 0.99) - true) for true in (0.0, 500e-6)]
    drift = Drift(before=tuple(before), after=tuple(before), correct=True)
    for true in (0.0, 40e-6, 300e-6):
        read = shown(true, 1e-6, 0.99)
        assert read + drift.correction(read) == pytest.approx(true, abs=1e-15)
        assert drift.half_width(read, corrected=True) == pytest.approx(0.0, abs=1e-18)
        assert drift.half_width(read) == pytest.approx(abs(read - true))


@pytest.mark.law
def test_half_of_what_drifted_stays_uncertain_after_the_correction() -> None:
    drift = Drift(before=((0.001, 0.001),), after=((0.005, 0.005),), correct=True)
    assert drift.correction(0.06) == pytest.approx(-0.003)
    assert drift.half_width(0.06, corrected=True) == pytest.approx(0.002)
    assert drift.half_width(0.06) == pytest.approx(0.005)


def test_an_instrument_without_checks_is_as_stated(tmp_path: Path) -> None:
    visit = visit_with(tmp_path, "")
    assert known_accuracy(visit, "oxygen_dry") == fw.visit.accuracy_of(visit.plan, "oxygen_dry")


def test_drift_widens_every_interval_and_moves_none_unasked(tmp_path: Path) -> None:
    plain = visit_with(tmp_path, "")
    stated = known_accuracy(plain, "oxygen_dry")
    before = fw.audit(plain).points[0]
    checked = visit_with(tmp_path, CHECKS)
    after = fw.audit(checked).points[0]
    assert before.settled is not None
    assert after.settled is not None
    old, new = before.settled.means["oxygen_dry"], after.settled.means["oxygen_dry"]
    assert new.mean == old.mean
    # The error found afterwards, on the line from 0.2 % at 0.2 % shown to 0.6 % at 21.5 % shown.
    found = np.interp(old.mean, [0.002, 0.215], [0.002, 0.006])
    assert new.bias == pytest.approx(np.hypot(old.bias, found), rel=1e-9)
    excess = "excess_air"
    assert after.numbers[excess].high - after.numbers[excess].low > (
        before.numbers[excess].high - before.numbers[excess].low
    )
    assert half_widths(checked)["oxygen_dry"][0] > half_widths(plain)["oxygen_dry"][0]
    assert known_accuracy(checked, "oxygen_dry", reading=0.0).absolute == pytest.approx(
        np.hypot(stated.absolute, 0.002 - 0.002 * 0.004 / 0.213), rel=1e-6
    )


def test_drift_is_corrected_where_asked_and_said(tmp_path: Path) -> None:
    plain = fw.audit(visit_with(tmp_path, "")).points[0]
    asked = fw.audit(visit_with(tmp_path, CHECKS + "correct = true\n")).points[0]
    assert plain.settled is not None
    assert asked.settled is not None
    old, new = plain.settled.means["oxygen_dry"], asked.settled.means["oxygen_dry"]
    found = np.interp(old.mean, [0.002, 0.215], [0.002, 0.006])
    assert old.mean - new.mean == pytest.approx(found / 2, rel=1e-9)
    assert new.bias == pytest.approx(np.hypot(old.bias, found / 2), rel=1e-9)
    assert "corrected for drift, as asked" in asked.readings["oxygen_dry"].basis
    assert "corrected" not in asked.readings["carbon_monoxide_dry"].basis


@pytest.mark.law
def test_a_value_lies_in_its_interval_after_a_correction_below_zero(tmp_path: Path) -> None:
    """A cell whose zero rose by far more than it reads: what is left is none, and what drifted stays uncertain."""
    entered = """
[instruments.analyzer.drift_checks.carbon_monoxide_dry]
zero_before = { applied = "0 ppm", shown = "0 ppm" }
zero_after = { applied = "0 ppm", shown = "400 ppm" }
correct = true
"""
    point = fw.audit(visit_with(tmp_path, entered)).points[0]
    assert point.settled is not None
    mean = point.settled.means["carbon_monoxide_dry"]
    assert mean.mean < 0
    shown = point.readings["carbon_monoxide_dry"]
    assert shown.low == shown.value == 0.0
    assert shown.high is not None
    assert 0.9 * 200e-6 < shown.high < 1.1 * mean.bias
    assert "below zero" in shown.basis
    free = point.numbers["carbon_monoxide_air_free"]
    assert free.low is not None
    assert free.high is not None
    assert free.low <= free.value < free.high


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("zero_before = {}", r"zero_before"),
        ("", r"the drift checks hold no check"),
        (
            'zero_before = { applied = "0 ppm", shown = "1 ppm" }\ncorrect = true',
            r"a check was made on one side only",
        ),
        ('zero_before = { applied = "0", shown = "1 ppm" }', r"applied: '0' has no unit .*such as '0 ppm'\."),
        ('zero_before = { applied = "0 ppm", shown = "none" }', r"shown: 'none' .*such as '1.5 ppm'\."),
        ('zero_before = { applied = "0 ppm", shown = "1 degF" }', r"'degF', but it needs a unit like 'ppm'"),
        ('zero_before = { applied = "0 ppm", shown = "1 pmm" }', r"'pmm' is not .*a unit such as 'ppm'"),
        (
            'zero_before = { applied = "0 ppm", shown = "9 ppm" }\n'
            'span_before = { applied = "5 ppm", shown = "5 ppm" }',
            r"the span check of carbon_monoxide_dry shows no more than the zero check",
        ),
    ],
)
def test_checks_that_cannot_be_used_are_told(tmp_path: Path, text: str, message: str) -> None:
    head = "\n[instruments.analyzer.drift_checks.carbon_monoxide_dry]\n"
    with pytest.raises(VisitError, match=message):
        visit_with(tmp_path, head + text)


def test_a_leaking_probe_and_a_dead_cell_are_findings(tmp_path: Path) -> None:
    assert check_visit(DEMO) == ()
    folder = shutil.copytree(DEMO, tmp_path / "visit")
    plan = folder / "visit.toml"
    text = plan.read_text(encoding="utf-8")
    assert "[checks]" in text
    seen = '[checks]\nprobe_leak = "fault seen"\nbump_test = "fault seen"\n'
    plan.write_text(text.replace("[checks]\n", seen, 1), encoding="utf-8")
    rules = {one.rule: one.weight for one in fw.audit(fw.open_visit(folder)).findings}
    assert rules["probe_leak"] == "correct"
    assert rules["bump_test"] == "correct"


def test_a_checked_channel_without_a_number_in_the_window_has_the_accuracy_as_stated(tmp_path: Path) -> None:
    visit = visit_with(tmp_path, CHECKS)
    window = visit.readings.frame.iloc[:20].assign(oxygen_dry=np.nan)
    found = inputs.settled_accuracies(visit)(window)["oxygen_dry"]
    assert found.absolute == pytest.approx(0.002)  # as the demo states it


def test_a_span_check_alone_does_not_tell_zero_from_slope() -> None:
    """Air of 20.9 % read as 20.6 before and 20.4 after: at 5 % a slope of that is wrong by a tenth of a point."""
    drift = Drift(before=((0.206, -0.003),), after=((0.204, -0.005),), correct=True)
    corrected = 0.05 + drift.correction(0.05)
    half = drift.half_width(0.05, corrected=True)
    for true in (0.05 / 0.206 * 0.209, 0.05 / 0.204 * 0.209, 0.05 + 0.003, 0.05 + 0.005):
        assert abs(true - corrected) <= half * (1 + 1e-9)
    assert half < 0.004
