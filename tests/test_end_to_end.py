"""From visit folders to the files a customer gets, read back and compared with results.json and the truth."""

from __future__ import annotations

import hashlib
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pikepdf
import pypdf
import pytest

from fluewright.report.audits import WrittenAudit, write_audits
from fluewright.units import convert

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "data-demo"
NAMES = ("hall-furnace", "laundry-boiler", "workshop-heater")
SENTENCES = {
    "hall-furnace": "No tested limit exceeded.",
    "laundry-boiler": "Incomplete.",
    "workshop-heater": "Leave it off.",
}
Make = Callable[..., Path]


def text_of(path: Path) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(path.read_bytes())).pages]


def squeezed(text: str) -> str:
    """Return text without the breaks of lines and of long words that a page makes."""
    return re.sub(r"[\s\u200b\u00ad]+", "", text)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, WrittenAudit]:
    folder = tmp_path_factory.mktemp("reports")
    made = list(write_audits([DEMO / name for name in NAMES], output=folder))
    for one in made:
        assert one.error is None, one.error
    return {one.visit.name: one for one in made}


def part(written: dict[str, WrittenAudit], name: str, ending: str) -> Path:
    return next(path for path in written[name].paths if path.name.endswith(ending))


def results(written: dict[str, WrittenAudit], name: str) -> dict[str, Any]:
    return dict(json.loads(part(written, name, "results.json").read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("name", "most"), [("workshop-heater", 7), ("laundry-boiler", 8), ("hall-furnace", 11)]
)
def test_a_report_is_as_short_as_it_can_be(written: dict[str, WrittenAudit], name: str, most: int) -> None:
    """A report on one test point has four to seven pages; one on two is not two reports."""
    assert 4 <= len(text_of(part(written, name, ".pdf"))) <= most


@pytest.mark.parametrize("name", NAMES)
def test_page_one_gives_the_verdict_and_the_findings(written: dict[str, WrittenAudit], name: str) -> None:
    first = squeezed(text_of(part(written, name, ".pdf"))[0])
    assert squeezed(SENTENCES[name]) in first
    held = results(written, name)
    for one in held["judgements"]:
        if one["weight"] == "stop":
            assert squeezed(one["headline"])[:40] in first
    for test in held["not_tested"]:
        assert squeezed(test) in first
    for forbidden in ("passed", "issafe", "issound"):
        assert forbidden not in first.lower()


@pytest.mark.parametrize("name", ["hall-furnace", "laundry-boiler"])
def test_the_numbers_on_paper_are_those_of_results_json(written: dict[str, WrittenAudit], name: str) -> None:
    held = results(written, name)
    text = squeezed("".join(text_of(part(written, name, ".pdf"))))
    for point in held["test_points"]:
        numbers = point["numbers"]
        efficiency = f"{100 * numbers['efficiency_gross']['value']:.1f}"
        assert efficiency in text
        excess = 100 * numbers["excess_air"]["value"]
        assert f"{excess:.0f}" in text or f"{excess:.1f}" in text
        unit = "degF" if name == "hall-furnace" else "degC"
        dew_point = convert(numbers["water_dew_point"]["value"], "K", unit)
        assert f"{dew_point:.1f}" in text or f"{dew_point:.0f}" in text


@pytest.mark.parametrize("name", NAMES)
def test_the_files_of_the_visit_travel_inside(written: dict[str, WrittenAudit], name: str) -> None:
    path = part(written, name, ".pdf")
    with pikepdf.open(path) as pdf:
        attached = {key: bytes(spec.get_file().read_bytes()) for key, spec in pdf.attachments.items()}
        with pdf.open_metadata() as metadata:
            assert metadata["pdfaid:part"] == "3"
            assert metadata["pdfaid:conformance"] in ("B", "A")
    folder = DEMO / name
    expected = {file.name: file.read_bytes() for file in folder.iterdir()}
    expected["results.json"] = part(written, name, "results.json").read_bytes()
    assert {key.rsplit("/", 1)[-1]: value for key, value in attached.items()} == expected
    text = squeezed("".join(text_of(path)))
    for content in (value for key, value in expected.items() if key != "results.json"):
        assert hashlib.sha256(content).hexdigest()[:16] in text


@pytest.mark.parametrize("name", NAMES)
def test_the_html_loads_nothing_from_elsewhere(written: dict[str, WrittenAudit], name: str) -> None:
    html = part(written, name, ".html").read_text(encoding="utf-8")
    assert SENTENCES[name] in html
    assert "<script" not in html.lower()
    for loading in (
        r'src="(?!data:)',
        r"@import",
        r'<link[^>]+href="(?!data:)',
        r"url\((?!['\"]?(?:data:|#))",
    ):
        assert not re.search(loading, html), loading


def test_the_report_keeps_to_the_units_that_the_visit_asks_for(written: dict[str, WrittenAudit]) -> None:
    us = "".join(text_of(part(written, "hall-furnace", ".pdf")))
    si = "".join(text_of(part(written, "laundry-boiler", ".pdf")))
    assert "°F" in us
    assert "Btu/h" in us
    assert "°C" in si
    for sign in ("°F", "Btu", "in. w.c."):
        assert sign not in si
    with pikepdf.open(part(written, "hall-furnace", ".pdf")) as letter:
        assert [float(edge) for edge in letter.pages[0].mediabox] == pytest.approx([0, 0, 612, 792], abs=1)
    with pikepdf.open(part(written, "laundry-boiler", ".pdf")) as a4:
        assert [float(edge) for edge in a4.pages[0].mediabox] == pytest.approx([0, 0, 595.3, 841.9], abs=1)


def test_no_raw_name_reaches_paper(written: dict[str, WrittenAudit]) -> None:
    for name in NAMES:
        text = "".join(text_of(part(written, name, ".pdf")))
        assert not re.search(
            r"\b(?:oxygen_dry|carbon_monoxide_\w+|flue_temperature|efficiency_gross)\b", text
        )
        assert "nan" not in re.findall(r"\b\w+\b", text)


def test_the_same_input_gives_identical_bytes(written: dict[str, WrittenAudit], tmp_path: Path) -> None:
    (again,) = write_audits([DEMO / "hall-furnace"], output=tmp_path)
    assert again.error is None
    for path in again.paths:
        first = next(one for one in written["hall-furnace"].paths if one.name == path.name)
        assert path.read_bytes() == first.read_bytes(), path.name


HOSTILE = (
    '#read("x")',
    "$x^2$ and *bold* _it_ `code` @ref <label> // c /* c */ \\ \"q\" 'a' [b] {c} ~ =1+1",
    "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "=1+1",
    "-@SUM(1)",
    "שלום עולם — مرحبا",
    "ok 🔥 fire",
    "https://example.invalid/{{ 7*7 }} {% raw %}",
)


def test_hostile_text_prints_as_itself(
    tmp_path: Path, make_visit: Make, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    plan = complete_plan
    texts = iter(HOSTILE * 5)
    plan["visit"] |= {
        key: next(texts) for key in ("tested_by", "licence", "organization", "client", "purpose", "notes")
    }
    plan["site"] |= {"name": next(texts), "address": next(texts)}
    plan["appliance"] |= {
        key: next(texts) for key in ("description", "location", "make", "model", "serial", "vent", "notes")
    }
    plan["sampling"] |= {"port": next(texts), "notes": next(texts)}
    plan["test_points"][0] |= {"changed": next(texts), "notes": "W" * 5000}
    for instrument in plan["instruments"].values():
        instrument |= {"description": next(texts), "serial": next(texts)}
    plan["checks"]["gas_leak"] = {"result": "fault seen", "note": next(texts)}
    plan["limits"] = {"carbon_monoxide_air_free": {"value": "50 ppm", "source": next(texts)}}
    columns = plan["logs"][0]["columns"]
    plan["logs"][0]["columns"] = dict(columns)
    folder = make_visit(plan, settled, "hostile")
    header = (folder / "flue.csv").read_text(encoding="utf-8")
    odd = '=HYPERLINK(#read("x"))$*_@<b>'
    (folder / "flue.csv").write_text(
        header.replace("Flue", f'"{odd.replace(chr(34), chr(34) * 2)}"', 1), "utf-8"
    )
    plan_text = (folder / "visit.toml").read_text(encoding="utf-8")
    escaped = odd.replace('"', "\\u0022")
    assert '"Flue" = {' in plan_text
    (folder / "visit.toml").write_text(plan_text.replace('"Flue" = {', f'"{escaped}" = {{', 1), "utf-8")
    (made,) = write_audits([folder], output=tmp_path / "reports")
    assert made.error is None, made.error
    paths = {path.suffix: path for path in made.paths}
    text = squeezed("".join(text_of(paths[".pdf"])))
    html = paths[".html"].read_text(encoding="utf-8")
    for hostile in ('#read("x")', "<script>alert(1)</script>", "$x^2$", "=1+1", "{{7*7}}", "W" * 200):
        assert squeezed(hostile) in text, hostile
    assert squeezed(odd) in text
    assert "<script>alert" not in html
    assert "<img src=x" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "שלום" in html
