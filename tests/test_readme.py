"""The Python of README runs as it stands."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def test_the_notebook_example_runs(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(ROOT)
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, flags=re.S)
    found: dict[str, object] = {}
    exec(compile(code, "README.md", "exec"), found)
    printed = capsys.readouterr().out
    # Common practice without source: 5.5 % oxygen on natural gas is about a third more air than needed.
    assert 0.28 < found["flue"].excess_air < 0.36  # type: ignore[attr-defined]
    assert "gross" in printed


def test_every_command_of_readme_exists() -> None:
    from fluewright.cli import cli

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    typed = " ".join(re.findall(r"```(?:console|sh)\n(.*?)```", text, flags=re.S))
    assert set(re.findall(r"bin/fluewright (\S+)", typed)) == set(cli.commands)
