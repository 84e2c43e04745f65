"""The commands as a person uses them: what they print, what they refuse, what they leave behind."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from fluewright.cli import main

ROOT = Path(__file__).resolve().parents[1]
Make = Callable[..., Path]
Spoil = Callable[[Path], object]


def run(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    status = 0
    try:
        main([str(argument) for argument in arguments])
    except SystemExit as stop:
        status = int(stop.code or 0)
    printed = capsys.readouterr()
    return status, printed.out, printed.err


def edit(name: str, old: str, new: str) -> Spoil:
    def spoil(folder: Path) -> None:
        path = folder / name
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    return spoil


def to_file(folder: Path) -> None:
    shutil.rmtree(folder)
    folder.write_text("not a folder", encoding="utf-8")


def all_fresh_air(folder: Path) -> None:
    path = folder / "flue.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines[1:]]
    path.write_text(
        "\n".join([lines[0], *(",".join([row[0], "20.9", *row[2:]]) for row in rows)]), encoding="utf-8"
    )


def backwards(folder: Path) -> None:
    path = folder / "flue.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[20], lines[60] = lines[60], lines[20]
    path.write_text("\n".join(lines), encoding="utf-8")


# What is spoiled, and what the message must name: the file, the row or key, and the way out.
SPOILED: dict[str, tuple[Spoil, tuple[str, ...]]] = {
    "missing log": (lambda folder: (folder / "flue.csv").unlink(), ("flue.csv", "visit.toml")),
    "empty log": (lambda folder: (folder / "flue.csv").write_text(""), ("flue.csv", "empty")),
    "unknown unit": (edit("visit.toml", '"degF"', '"degrees"'), ("degrees", "degF")),
    "column missing": (edit("flue.csv", "CO,", "C0,"), ("flue.csv", "row 1", "'CO'")),
    "unit of the wrong kind": (
        edit("visit.toml", '"ppm"', '"inH2O"'),
        ("carbon_monoxide_dry", "inH2O", "ppm"),
    ),
    "text for a number": (
        edit("flue.csv", "10:00:05,", "10:00:05,six "),
        ("flue.csv", "row 3", "O2", "rows = [3, 3]"),
    ),
    "time going backwards": (backwards, ("flue.csv", "row 22", "goes back")),
    "all rows fresh air": (all_fresh_air, ("flue.csv", "fresh air", "O2")),
    "unknown key": (edit("visit.toml", '"rated_input"', '"rated_inptu"'), ("rated_inptu", "rated_input")),
    "broken TOML": (edit("visit.toml", '"layout" = 1', '"layout" = = 1'), ("visit.toml", "line 1")),
    "a visit that is a file": (to_file, ("is a file", "folder")),
    "no such fuel": (edit("visit.toml", '"natural gas"', '"natural gsa"'), ("natural gsa", "natural gas")),
    "no such appliance": (edit("visit.toml", '"furnace"', '"furnase"'), ("furnase", "furnace")),
}


@pytest.mark.parametrize("case", SPOILED)
@pytest.mark.parametrize("command", ["check", "results"])
def test_what_is_wrong_is_said_once_and_clearly(
    case: str,
    command: str,
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    folder = make_visit(complete_plan, settled)
    spoil, words = SPOILED[case]
    spoil(folder)
    status, out, err = run(capsys, command, folder)
    assert status == 1
    assert out == ""
    assert "Traceback" not in err
    assert len(err.strip().splitlines()) == 1, err
    for word in words:
        assert word in err, err


def test_an_audit_of_spoiled_visits_writes_nothing_for_them(
    tmp_path: Path,
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    folders = []
    for case, (spoil, _) in SPOILED.items():
        folder = make_visit(complete_plan, settled, case.replace(" ", "-"))
        spoil(folder)
        folders.append(folder)
    status, out, err = run(capsys, "audit", *folders, "--output", tmp_path / "reports")
    assert status == 1
    assert out == ""
    assert not (tmp_path / "reports").exists()
    for folder, (_, words) in zip(folders, SPOILED.values(), strict=True):
        line = next(line for line in err.splitlines() if str(folder) in line)
        assert all(word in line for word in words), line


def test_a_folder_that_cannot_be_written_is_said_before_any_work(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "taken").write_text("a file")
    status, out, err = run(
        capsys, "audit", ROOT / "data-demo" / "hall-furnace", "--output", tmp_path / "taken" / "reports"
    )
    assert (status, out) == (1, "")
    assert "cannot be written" in err
    assert "--output" in err


def test_two_visits_of_one_name_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, _, err = run(capsys, "audit", tmp_path / "a" / "hall", tmp_path / "b" / "hall")
    assert status == 1
    assert "two visits are named 'hall'" in err


def test_several_problems_are_listed_at_once(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    complete_plan["site"]["nmae"] = "x"
    complete_plan["appliance"]["rated_input"] = "80000"
    settled[7][3] = "hot"
    status, _, err = run(capsys, "check", make_visit(complete_plan, settled))
    assert status == 1
    for word in ("nmae", "name", "rated_input", "80000", "row 9", "hot"):
        assert word in err


def test_a_check_tells_what_was_made_of_the_logs(
    make_visit: Make,
    complete_plan: dict[str, Any],
    settled: list[list[str]],
    capsys: pytest.CaptureFixture[str],
) -> None:
    settled.insert(5, ["footer"])
    for row in settled:
        row[-1:] = [""] if len(row) > 1 else row[-1:]
    status, out, _ = run(capsys, "check", make_visit(complete_plan, settled))
    assert status == 0
    assert "flue.csv: rows follow each other every" in out
    assert "flue.csv: 1 of 361 rows set aside: text row" in out
    assert "holds no number" in out


def test_results_hold_to_their_schema(capsys: pytest.CaptureFixture[str]) -> None:
    from importlib import resources

    schema = json.loads(
        resources.files("fluewright.studies").joinpath("results.schema.json").read_text(encoding="utf-8")
    )
    for visit in ("hall-furnace", "laundry-boiler", "workshop-heater"):
        status, out, _ = run(capsys, "results", ROOT / "data-demo" / visit)
        assert status == 0
        jsonschema.Draft202012Validator(schema).validate(json.loads(out))


def test_usage_errors_exit_with_two(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "audit")[0] == 2
    assert run(capsys, "nonsense")[0] == 2
