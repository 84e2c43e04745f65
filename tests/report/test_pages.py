"""The sections of the report: every visit gets all of them, page one keeps its promises, the notebook stays thin."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from fluewright import report, sources
from fluewright.errors import InputError
from fluewright.report import pages
from fluewright.report.objects import TYPST, Callout, Paragraph, Section
from fluewright.studies.audit import Audit
from fluewright.studies.audit import audit as make
from fluewright.visit import open_visit

MakeAudit = Callable[..., Audit]
NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "audit.ipynb"
SECTIONS = (
    "page_one",
    "conditions",
    "stabilization",
    "flue_gas",
    "heat",
    "dew_points",
    "changes",
    "rates",
    "findings",
    "uncertainty",
    "assumptions",
    "rows",
    "methods",
    "provenance",
    "cautions",
    "signatures",
)
HOSTILE = '#read("x") $x$ *_@ <script>alert(1)</script> =1+1 שלום 🔥'


def text_of(audit: Audit) -> str:
    return "\n".join(getattr(pages, name)(audit).as_text() for name in SECTIONS)


# ---------------------------------------------------------------------------- every visit gets all of it


def spoiled(plan: dict[str, Any], rows: list[list[str]], how: str) -> list[list[str]]:
    """Spoil one thing of a complete visit; return its rows."""
    if how == "metric":
        plan["report"] = {"units": "SI", "paper": "A4"}
    if how == "no carbon monoxide":
        del plan["logs"][0]["columns"]["CO"]
    if how == "no oxygen":
        del plan["logs"][0]["columns"]["O2"]
    if how == "no combustion air":
        del plan["logs"][0]["columns"]["Air"]
    if how == "no checks, no readings by hand":
        plan["checks"], plan["readings"], plan["test_points"][0]["readings"] = {}, {}, {}
    if how == "dilute":
        return [[time, "16.5", *rest] for time, _, *rest in rows]
    if how == "over range":
        return [[time, oxygen, ">4000", *rest] for time, oxygen, _, *rest in rows]
    if how == "broken off":
        plan["test_points"][0]["end"] = "2026-01-14T10:02:00"
    return rows


@pytest.mark.parametrize(
    "how",
    [
        "nothing",
        "metric",
        "no carbon monoxide",
        "no oxygen",
        "no combustion air",
        "no checks, no readings by hand",
        "dilute",
        "over range",
        "broken off",
    ],
)
def test_every_section_shows_itself_whatever_is_missing(
    how: str, make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    made = make_audit(complete_plan, spoiled(complete_plan, settled, how))
    for name in report.__all__:
        part = getattr(report, name)(made)
        if name in ("burner_cycles", "savings"):  # a single burn, and nothing changed
            assert part is None
            continue
        bundle = part._repr_mimebundle_()
        assert bundle["text/plain"].strip(), name
        assert bundle["text/html"].strip(), name
    said = pages.page_one(made).as_text()
    assert made.verdict.sentence in said
    if how not in ("nothing", "metric", "no combustion air"):  # no limit needs the temperature of the air
        assert made.verdict.name != "no_tested_limit_exceeded"


@pytest.mark.parametrize("name", ["hall", "laundry", "workshop"])
def test_no_inner_name_reaches_the_page(name: str, request: pytest.FixtureRequest) -> None:
    text = text_of(request.getfixturevalue(name))
    inner = {quantity for quantity in sources.quantities() if "_" in quantity}
    assert not {word for word in re.findall(r"[a-z]+(?:_[a-z]+)+", text) if word in inner}


def test_a_report_never_mixes_units(
    make_visit: Callable[..., Path], complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    us = make(open_visit(make_visit(complete_plan, settled, "us")))
    complete_plan["report"] = {"units": "SI", "paper": "A4"}
    si = make(open_visit(make_visit(complete_plan, settled, "si")))
    left_out = ("methods",)  # sources name the base conditions they were printed for

    def said(audit: Audit) -> str:
        return "\n".join(getattr(pages, name)(audit).as_text() for name in SECTIONS if name not in left_out)

    assert not re.findall(r"°C|\bkW\b|\bmbar\b|\bhPa\b|\bMJ\b|\d K\b", said(us))
    assert not re.findall(r"°F|\bBtu\b|in\. w\.c\.|\binHg\b|\bft\b|\bcfm\b", said(si))


# ---------------------------------------------------------------------------- page one


@pytest.mark.parametrize("name", ["hall", "laundry", "workshop"])
def test_page_one_answers_the_owner_in_order(name: str, request: pytest.FixtureRequest) -> None:
    made = request.getfixturevalue(name)
    text = pages.page_one(made).as_text()
    places = [
        text.index(made.visit.plan.site.name),
        text.index(made.verdict.sentence),
        text.index("Not tested"),
    ]
    assert places == sorted(places)
    assert made.verdict.meaning in text
    for one in made.findings:
        assert one.headline[:60] in text
    for test in (*made.not_tested, *made.not_tested_recommended, *made.unlimited):
        assert test.label in text
    for forbidden in ("safe", "passed", "sound", "satisfactory"):
        assert not re.search(rf"\b{forbidden}\b", text, re.IGNORECASE)


def test_a_stop_is_boxed_as_one_and_incomplete_is_not_quiet(workshop: Audit, laundry: Audit) -> None:
    def box(audit: Audit) -> Callout:
        return next(part for part in pages.page_one(audit).parts if isinstance(part, Callout))

    assert box(workshop).weight == "stop"
    assert box(laundry).weight == "correct"
    assert box(laundry).title == "Incomplete."


def test_an_offered_window_stands_in_the_report_for_a_person_to_accept(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    restless = [
        [time, oxygen, f"{40 + 200 * (number // 12 % 2)}", *rest]
        for number, (time, oxygen, _, *rest) in enumerate(settled)
    ]
    made = make_audit(complete_plan, restless)
    text = pages.stabilization(made).as_text()
    assert "no steady window, so nothing is formed of the flue gas" in text
    assert "window = { start = " in text
    assert "no test point has a steady window" in pages.heat(made).as_text()


def test_sections_without_data_are_one_sentence(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    del complete_plan["logs"][0]["columns"]["Flue"]
    made = make_audit(complete_plan, settled)
    for part in (pages.heat(made), pages.dew_points(made), pages.changes(made)):
        text = part.as_text()
        assert text.count(".") == 1
        assert "\n" not in text
        assert isinstance(part, Paragraph)  # a heading stands only where there is something to show below it


def test_a_section_with_something_to_show_has_its_heading(hall: Audit) -> None:
    for part in (pages.heat(hall), pages.dew_points(hall), pages.changes(hall), pages.uncertainty(hall)):
        assert isinstance(part, Section)
        assert part.title


# ---------------------------------------------------------------------------- what a person typed


def test_whatever_a_person_typed_is_in_the_report_as_it_is(
    make_audit: MakeAudit, complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    fields = {
        "visit": ("tested_by", "organization", "client", "purpose", "notes"),
        "site": ("name", "address"),
        "appliance": ("description", "location", "make", "model", "serial", "vent", "notes"),
        "sampling": ("port", "notes"),
    }
    typed = []
    for part, names in fields.items():
        for name in names:
            complete_plan[part][name] = f"{HOSTILE} {part}.{name}"
            typed.append(complete_plan[part][name])
    complete_plan["test_points"][0] |= {"changed": f"{HOSTILE} changed", "notes": f"{HOSTILE} point notes"}
    complete_plan["checks"]["visual_inspection"] = {"result": "fault seen", "note": f"{HOSTILE} check"}
    made = make_audit(complete_plan, settled)
    text = text_of(made)
    for words in (*typed, f"{HOSTILE} changed", f"{HOSTILE} point notes", f"{HOSTILE} check"):
        assert words in text
    markup = (
        pages.conditions(made).as_html() + pages.page_one(made).as_html() + pages.findings(made).as_html()
    )
    assert "<script" not in markup
    assert "&lt;script&gt;" in markup


# ---------------------------------------------------------------------------- proof


def test_a_log_that_changed_after_it_was_read_is_not_attached(
    make_visit: Callable[..., Path], complete_plan: dict[str, Any], settled: list[list[str]]
) -> None:
    folder = make_visit(complete_plan, settled)
    made = make(open_visit(folder))
    assert {file.name for file in pages.attachments(made).files} == {"results.json", "visit.toml", "flue.csv"}
    with (folder / "flue.csv").open("a", encoding="utf-8") as log:
        log.write("\n")
    with pytest.raises(InputError, match="changed after it was read"):
        pages.attachments(made)


def test_attached_logs_of_one_name_keep_apart() -> None:
    made = pages._names(iter(["a/flue.csv", "b/flue.csv", "visit.toml", "c\\room.csv"]))
    assert made == ["flue.csv", "2-flue.csv", "3-visit.toml", "room.csv"]


def test_the_results_travel_as_they_are(hall: Audit) -> None:
    attached = next(file for file in pages.attachments(hall).files if file.name == "results.json")
    assert attached.content is not None
    held = json.loads(attached.content)
    value = held["test_points"][-1]["numbers"]["efficiency_gross"]["value"]
    assert value == pytest.approx(hall.points[-1].numbers["efficiency_gross"].value, rel=1e-11)


def test_the_provenance_says_with_what_and_how_to_repeat(hall: Audit) -> None:
    text = pages.provenance(hall).as_text()
    for word in ("fluewright", "cantera", "draws", "seed", "the same files give the same numbers"):
        assert word in text


def test_the_methods_fit_the_appliance_and_mark_what_is_from_memory(hall: Audit, laundry: Audit) -> None:
    plain, wet = (pages.methods(audit).as_text() for audit in (hall, laundry))
    assert "No latent heat is credited" in plain
    assert "European simple formula" in plain
    assert "Latent heat is credited for what condenses" in wet
    assert "European simple formula" not in wet
    assert "value from memory" in plain
    assert "77 °F" in plain
    assert "25 °C" in wet


def test_the_moment_of_the_document_is_the_tests_own(hall: Audit) -> None:
    made = pages.document(hall).made
    assert made == max(point.rows.end for point in hall.points).floor("s").to_pydatetime()
    assert made.tzinfo is not None


# ---------------------------------------------------------------------------- the notebook


@pytest.fixture(scope="module")
def notebook() -> dict[str, Any]:
    return dict(json.loads(NOTEBOOK.read_text(encoding="utf-8")))


def test_the_notebook_is_thin_and_carries_no_output(notebook: dict[str, Any]) -> None:
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    assert notebook["metadata"]["kernelspec"]["name"] == "python3"
    ids = [cell["id"] for cell in notebook["cells"]]
    assert len(set(ids)) == len(ids)
    for cell in code:
        assert cell["outputs"] == []
        assert cell["execution_count"] is None
        assert not re.search(r"\b(def|class|for|while|if|lambda)\b", "".join(cell["source"]).split("#")[0])


def test_the_notebook_shows_every_section_once(notebook: dict[str, Any]) -> None:
    source = "\n".join("".join(cell["source"]) for cell in notebook["cells"] if cell["cell_type"] == "code")
    shown = re.findall(r"report\.(\w+)\(audit\)", source)
    assert sorted(shown) == sorted(report.__all__)
    assert shown[:2] == ["document", "page_one"]


def test_one_parameters_cell_typed_and_commented(notebook: dict[str, Any]) -> None:
    (cell,) = [cell for cell in notebook["cells"] if "parameters" in cell["metadata"].get("tags", ())]
    for line in "".join(cell["source"]).splitlines():
        assert re.fullmatch(r"\w+: (str|int|float|bool) = .+  # \w.+", line)


def test_the_names_of_the_report_load_nothing_until_asked_for() -> None:
    asked = (
        "import sys, fluewright.report; print(sorted({'matplotlib', 'pandas', 'cantera'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    with pytest.raises(AttributeError, match="no attribute 'page_two'"):
        report.page_two  # noqa: B018


def test_parts_prefer_the_private_type_of_the_exporters(hall: Audit) -> None:
    assert isinstance(pages.page_one(hall), Section)
    assert TYPST in pages.page_one(hall)._repr_mimebundle_()


def test_a_report_is_dated_within_the_hour_that_occurs_twice() -> None:
    end = pd.Timestamp("2026-11-01 06:30:00.7", tz="UTC").tz_convert("America/New_York")
    assert pages._whole_second(end).isoformat() == "2026-11-01T01:30:00-05:00"
