"""The report of a fuel-switch study: what it must say, and the files it becomes."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pikepdf
import pypdf
import pytest

from fluewright.errors import InputError
from fluewright.report.fuel_switch import (
    assumptions,
    cautions,
    changes,
    comparison,
    flames,
    interchange,
    methods,
    page_one,
    steps,
    sweeps,
    write_fuel_switch,
)
from fluewright.studies.fuel_switch import FuelSwitch, Request, fuel_switch

from .conftest import DEMO

SECTIONS = (page_one, steps, comparison, flames, changes, interchange, sweeps, assumptions, methods, cautions)


def whole(study: FuelSwitch) -> str:
    return "\n".join(section(study).as_text() for section in SECTIONS)


def test_page_one_says_never_and_that_the_maker_comes_first(demo: FuelSwitch) -> None:
    text = page_one(demo).as_text()
    assert "STOP: Never connect natural gas to this appliance as it is." in text
    assert "Ask the appliance's maker first" in text
    assert text.index("Never connect") < text.index("At a glance")


def test_nothing_is_called_safe(demo: FuelSwitch) -> None:
    assert not re.findall(r"\b(safe|safely|passed|sound)\b", whole(demo), re.IGNORECASE)


def test_the_cautions_of_a_conversion_are_there(demo: FuelSwitch) -> None:
    text = whole(demo)
    for needed in (
        "heavier than air",
        "odor",
        "listed conversion kit",
        "permit",
        "Leak test",
        "carbon monoxide alarm",
    ):
        assert needed.lower() in text.lower()
    assert "to be checked against the edition in force" in text


def test_a_warning_of_a_visit_comes_before_everything(demo: FuelSwitch) -> None:
    warned = demo.request.model_copy(update={"warning": "The visit ended in: Leave it off."})
    text = page_one(fuel_switch(warned)).as_text()
    assert text.index("Leave it off") < text.index("Never connect")


def test_five_fuels_go_into_one_table_without_intervals() -> None:
    asked = {
        "study": {"date": "2026-03-02"},
        "report": {"units": "SI", "paper": "A4"},
        "site": {"name": "Harrow Lane laundry"},
        "appliance": {"rated_input": "24 kW", "burner": "ratio-controlled", "condensing": True},
        "present": {"name": "natural gas"},
        "proposed": [{"name": name} for name in ("biomethane", "propane", "G25", "hydrogen")],
    }
    text = whole(fuel_switch(Request.model_validate(asked)))
    assert "stand in the attached results.json" in text
    assert "there is no manifold pressure to set" in text
    assert not re.search(r"\bnan\b", text)


def test_the_files_are_whole_and_carry_the_results(tmp_path: Path) -> None:
    written = write_fuel_switch(DEMO, output=tmp_path / "new")
    assert [path.name for path in written.paths] == ["workshop.pdf", "workshop.html", "workshop.results.json"]
    assert written.conclusions[0] == "Never connect natural gas to this appliance as it is."
    pdf = written.paths[0].read_bytes()
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert 8 <= len(reader.pages) <= 14
    assert "Never connect natural gas" in reader.pages[0].extract_text().replace("\n", " ")
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert set(opened.attachments) == {"results.json", "request.json"}
        inside = opened.attachments["results.json"].get_file().read_bytes()
    assert inside == written.paths[2].read_bytes()
    assert json.loads(inside)["layout"] == "fluewright fuel-switch results 1"
    written.paths[0].write_bytes(b"other")
    with pytest.raises(InputError, match="is there already and differs"):
        write_fuel_switch(DEMO, output=tmp_path / "new")


@pytest.mark.slow
def test_the_same_request_is_the_same_pdf(tmp_path: Path) -> None:
    first, second = (write_fuel_switch(DEMO, output=tmp_path / name).paths[0].read_bytes() for name in "ab")
    assert first == second


def test_a_wrong_request_writes_nothing(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(DEMO.read_text(encoding="utf-8").replace("HD-5 propane", "HD-6 propane"), encoding="utf-8")
    with pytest.raises(InputError, match="there is no fuel 'HD-6 propane'; did you mean 'HD-5 propane'"):
        write_fuel_switch(bad, output=tmp_path / "out")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "needs a request file, or --visit with --to"),
        ({"request": DEMO, "visit": DEMO.parent}, "and not both"),
        ({"request": DEMO, "to": ["propane"]}, "--to goes with --visit"),
    ],
)
def test_what_was_asked_must_be_one_thing(tmp_path: Path, asked: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        write_fuel_switch(**asked, output=tmp_path)  # type: ignore[arg-type]
