"""Each notebook runs as a person would run it, from its own folder, and prints."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from pathlib import Path

import pypdf

ROOT = Path(__file__).resolve().parents[1]
NOTEBOOKS = ROOT / "notebooks"


def exported(name: str, folder: Path) -> str:
    """Return the text of a notebook that nbconvert ran and exported as the README says."""
    command = [sys.executable, "-m", "nbconvert", "--execute", "--to", "audit-pdf", f"{name}.ipynb"]
    done = subprocess.run(
        [*command, "--output-dir", str(folder)], cwd=NOTEBOOKS, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    pages = pypdf.PdfReader(io.BytesIO((folder / f"{name}.pdf").read_bytes())).pages
    return "\n".join(page.extract_text() for page in pages)


def test_the_audit_notebook_runs_by_hand_and_prints(tmp_path: Path) -> None:
    text = exported("audit", tmp_path)
    assert "No tested limit exceeded." in text
    assert "Where the heat goes" in text


def test_the_validation_notebook_lists_every_published_value_and_the_coverage(tmp_path: Path) -> None:
    text = exported("validation", tmp_path)
    values = re.findall(r"\b(?:quoted|memory|run|derived)\b", text)
    assert len(values) > 300
    # The recorded run, and the one made now.
    assert len(re.findall(r"as stated\s+CO near zero", text)) == 2
    assert text.count("U-shaped") == 1
