"""The rules of the house: lint, types, rooms; and notebooks kept without outputs."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def _run(*command: str) -> None:
    whole = [sys.executable, "-m", *command]
    done = subprocess.run(whole, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_ruff_finds_nothing() -> None:
    _run("ruff", "check", "kit", "tests")


def test_ruff_would_format_nothing() -> None:
    _run("ruff", "format", "--check", "kit", "tests")


def test_types_are_strict() -> None:
    _run("mypy")


def test_rooms_import_only_rooms_above_them() -> None:
    lint = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run([lint], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("path", sorted(ROOT.glob("notebooks/**/*.ipynb")), ids=lambda path: path.stem)
def test_notebooks_are_kept_clean(path: Path) -> None:
    notebook = json.loads(path.read_text(encoding="utf-8"))
    assert notebook["metadata"]["kernelspec"]["name"] == "python3"
    identities = [cell["id"] for cell in notebook["cells"]]
    assert len(set(identities)) == len(identities)
    for cell in notebook["cells"]:
        source = "".join(cell["source"])
        if cell["cell_type"] == "code":
            assert not cell["outputs"]
            assert cell["execution_count"] is None
            assert "def " not in source, "a notebook calls; it does not define"


def test_quick_start_is_two_blocks_of_one_line() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.split("## Quick start", 1)[1].split("\n## ", 1)[0]
    blocks = [part.split("```", 1)[0].strip() for part in section.split("```sh")[1:]]
    assert len(blocks) == 2
    assert all("\n" not in block for block in blocks)
