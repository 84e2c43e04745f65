"""The exporters: any notebook becomes PDF and HTML whole, or not at all; the same input gives the same bytes."""

from __future__ import annotations

import base64
import hashlib
import io
import os
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import nbformat
import numpy as np
import pikepdf
import pypdf
import pytest
import typst
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output, new_raw_cell
from PIL import Image

from fluewright.errors import InputError, RenderError, UnknownNameError
from fluewright.report import typesetting
from fluewright.report.drawing import Drawing, drawing_style, figure, glyphs
from fluewright.report.exporter import AuditHTMLExporter, TypstPDFExporter, TypstSourceExporter
from fluewright.report.objects import (
    Attachment,
    Attachments,
    Callout,
    Document,
    Facts,
    Figure,
    Paragraph,
    Section,
    Table,
    spreadsheet_cell,
)
from fluewright.report.typesetting import HTML, TYPST_SOURCE, laid_out, printed_page, typst_fonts

MADE = datetime(2025, 1, 14, 16, 30, tzinfo=UTC)
PNG = base64.b64encode(
    bytes.fromhex(
        "89504e470d0a1a0a0000000d4948445200000001000000010802000000907753de0000000c49444154"
        "789c63f8cfc0000003010100c9fe92ef0000000049454e44ae426082"
    )
).decode()


def document(**changes: Any) -> Document:
    given: dict[str, Any] = {"title": "Audit", "header": ("Site", "Appliance"), "date": "14 January 2025"}
    return Document(**{**given, "made": MADE, **changes})


def shown(*parts: Any) -> nbformat.NotebookNode:
    """Return a notebook that was run and shows `parts`, one cell each; text is a Markdown cell."""
    return new_notebook(
        cells=[
            new_markdown_cell(part)
            if isinstance(part, str)
            else new_code_cell("show()", outputs=[new_output("display_data", data=part._repr_mimebundle_())])
            for part in parts
        ]
    )


def printing(*outputs: Any) -> nbformat.NotebookNode:
    return new_notebook(cells=[new_code_cell("secret_code()", outputs=list(outputs))])


def data(**formats: Any) -> Any:
    return new_output("display_data", data={key.replace("__", "/"): v for key, v in formats.items()})


def a_figure() -> Figure:
    with drawing_style():
        drawing = Drawing(figsize=(4, 1.5))
        drawing.add_subplot().plot([1, 2])
    return figure(drawing, alt="A line that rises.", caption="It rises.")


def pdf_of(notebook: nbformat.NotebookNode, **metadata: str) -> bytes:
    return bytes(TypstPDFExporter().from_notebook_node(notebook, {"metadata": {"name": "n", **metadata}})[0])


def text_of(pdf: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


DOTS_PER_POINT = 1.0


def drawn(notebook: nbformat.NotebookNode) -> list[np.ndarray]:
    """Return each page as an image in grey."""
    source, _ = TypstSourceExporter().from_notebook_node(notebook)
    pages = typst.compile(
        source.encode(),
        font_paths=typst_fonts(),
        ignore_system_fonts=True,
        format="png",
        ppi=72 * DOTS_PER_POINT,
    )
    images = pages if isinstance(pages, list) else [pages]
    return [np.asarray(Image.open(io.BytesIO(image)).convert("L")) for image in images]


def html_of(notebook: nbformat.NotebookNode, **metadata: str) -> str:
    return str(AuditHTMLExporter().from_notebook_node(notebook, {"metadata": {"name": "n", **metadata}})[0])


def body_of(page: str) -> str:
    return page[page.index("<main>") :]


def words_of(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", body_of(page)))


# ---- the PDF as a file --------------------------------------------------------------------------------------


def full() -> nbformat.NotebookNode:
    return shown(
        document(),
        Section(
            "One",
            [Callout("stop", "Leave it off."), Table(columns=("a", "b"), rows=[("x", "1.5")], caption="C")],
        ),
        "## Two\n\nWords with *stress*.",
        a_figure(),
        Attachments(
            [
                Attachment(name="results.json", description="numbers", content=b'{"a": 1}'),
                Attachment(name="log.bin", description="a log", content=bytes(range(256)), mime="text/csv"),
            ]
        ),
    )


def test_the_same_notebook_gives_the_same_bytes() -> None:
    assert pdf_of(full()) == pdf_of(full())
    assert html_of(full()) == html_of(full())


def test_another_moment_gives_another_file() -> None:
    other = document(made=datetime(2025, 1, 14, 16, 31, tzinfo=UTC))
    assert pdf_of(shown(document())) != pdf_of(shown(other))


def test_meets_the_accessible_archive_standards_and_embeds_every_font() -> None:
    pdf, resources = TypstPDFExporter().from_notebook_node(full())
    assert resources["pdf_standards"] == ["a-3a", "ua-1"]
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        with opened.open_metadata() as metadata:
            assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
            assert metadata["dc:title"] == "Audit"
        fonts = [
            o
            for o in opened.objects
            if isinstance(o, pikepdf.Dictionary) and o.get("/Type") == "/FontDescriptor"
        ]
        assert fonts
        assert all({"/FontFile2", "/FontFile3"} & set(font.keys()) for font in fonts)
        assert opened.Root.MarkInfo.Marked
        assert str(opened.docinfo["/CreationDate"]).startswith("D:20250114163000")


def test_attachments_come_back_byte_for_byte_with_their_type() -> None:
    with pikepdf.open(io.BytesIO(pdf_of(full()))) as opened:
        files = {name: spec.get_file() for name, spec in opened.attachments.items()}
        found = {name: (file.read_bytes(), file.mime_type) for name, file in files.items()}
    assert found == {
        "results.json": (b'{"a": 1}', "application/json"),
        "log.bin": (bytes(range(256)), "text/csv"),
    }


def test_an_attachment_by_path_travels_and_is_listed_with_its_hash(tmp_path: Path) -> None:
    log = tmp_path / "flue.csv"
    log.write_bytes(b"time,o2\r\n" * 1000)
    notebook = shown(document(), Attachments([Attachment(name="flue.csv", description="log", path=log)]))
    pdf = pdf_of(notebook)
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert opened.attachments["flue.csv"].get_file().read_bytes() == log.read_bytes()
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    assert digest in re.sub(r"\s", "", text_of(pdf))
    assert (
        f'download="flue.csv" href="data:text/csv;base64,{base64.b64encode(log.read_bytes()).decode()}"'
        in html_of(notebook)
    )


def test_an_attachment_that_changed_since_is_refused(tmp_path: Path) -> None:
    log = tmp_path / "flue.csv"
    log.write_bytes(b"one")
    notebook = shown(document(), Attachments([Attachment(name="flue.csv", description="log", path=log)]))
    log.write_bytes(b"two")
    with pytest.raises(RenderError, match=r"attachment 'flue\.csv' .* changed"):
        pdf_of(notebook)
    log.unlink()
    with pytest.raises(RenderError, match=r"attachment 'flue\.csv' cannot be read"):
        pdf_of(notebook)


@pytest.mark.parametrize(("paper", "width", "height"), [("letter", 612, 792), ("a4", 595.28, 841.89)])
def test_paper(paper: str, width: float, height: float) -> None:
    page = pypdf.PdfReader(io.BytesIO(pdf_of(shown(document(paper=paper))))).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(
        (width, height), abs=0.02
    )


def test_every_page_carries_site_appliance_date_and_page_of_pages() -> None:
    pages = pypdf.PdfReader(io.BytesIO(pdf_of(shown(document(), Paragraph("word " * 3000))))).pages
    assert len(pages) >= 3
    for number, page in enumerate(pages, start=1):
        head = page.extract_text()[:200]
        for words in ("Site", "Appliance", "14 January 2025", f"page {number} of {len(pages)}"):
            assert words in head


def test_a_long_table_repeats_its_header_and_a_short_one_stays_whole() -> None:
    rows = [(f"row {n}", str(n)) for n in range(200)]
    pages = text_pages(pdf_of(shown(document(), Table(columns=("Head word", "n"), rows=rows))))
    assert len(pages) >= 3
    assert all("Head word" in page for page in pages)
    filler = Paragraph("\n".join("line" for _ in range(44)))
    short = Table(columns=("Head word", "n"), rows=rows[:12])
    first, second = text_pages(pdf_of(shown(document(), filler, short)))
    assert "row" not in first
    assert all(f"row {n} {n}" in second for n in range(12))


def text_pages(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


@pytest.mark.parametrize("lines", range(28, 48, 3))
def test_no_heading_ends_a_page(lines: int) -> None:
    filler = Paragraph("\n".join("line" for _ in range(lines)))
    pages = text_pages(pdf_of(shown(document(), filler, Section("Heading", [Paragraph("below " * 60)]))))
    (page,) = [page for page in pages if "Heading" in page]
    assert "below" in page


def test_a_table_of_fifteen_columns_of_words_stays_on_the_page() -> None:
    words = "neighborhood measurement"
    table = Table(columns=[words] * 15, rows=[[words] * 15] * 3)
    reader = pypdf.PdfReader(io.BytesIO(pdf_of(shown(document(paper="a4"), table))))
    assert re.sub(r"\s", "", reader.pages[0].extract_text()).count("n") >= 2 * 15 * 4
    for page in drawn(shown(document(paper="a4"), table)):
        inked = np.flatnonzero(page.min(axis=0) < 200) / DOTS_PER_POINT
        assert inked.min() > 72 * 20 / 25.4 - 2
        assert inked.max() < 595.28 - 72 * 20 / 25.4 + 2


def test_columns_do_not_run_into_each_other() -> None:
    (page,) = drawn(
        shown(document(), Table(columns=["x" * 40] * 4, rows=[["W" * 60, "i" * 300, "ab " * 30, "1"]]))
    )
    ink = page[int(95 * DOTS_PER_POINT) :] < 200
    ink = ink[ink.mean(axis=1) < 0.7]  # leave out the rules, which go from margin to margin
    empty = np.flatnonzero(~ink.any(axis=0))
    gaps = np.split(empty, np.flatnonzero(np.diff(empty) > 1) + 1)
    assert sum(len(gap) >= 5 * DOTS_PER_POINT for gap in gaps) == 5  # two margins, three between four columns


# ---- what the parts promise ---------------------------------------------------------------------------------


def test_numbers_stand_with_their_points_below_each_other() -> None:
    table = Table(
        columns=("n",), rows=[("1.25",), ("100",), ("—",), ("9.5",), ("not tested",)], align=("decimal",)
    )
    cells = re.findall(r'<td class="fw-decimal"><span>(.*?)</span>(.*?)</td>', table.as_html())
    tails = {text: text.partition(".")[2] + padding for text, padding in cells if text[0].isdigit()}
    # U+2008 is as wide as a point, U+2007 as a digit.
    assert tails == {"1.25": "25", "100": "\u2008\u2007\u2007", "9.5": "5\u2007"}


UNPARTED = {
    "84.6 (84.1 to 85.1) %": "84.6 (84.1 to 85.1)~%",
    "± 2 °F or 0.5 % of reading": "±~2~°F or 0.5~% of reading",
    "warming by 0.3 °F/min": "warming by 0.3~°F/^min",
    "−0.02 in. w.c. at the breech": "−0.02~in.~w.c. at the breech",
    "± 0.21 points, 12 ppm": "±~0.21~points, 12~ppm",
    "within 45 s of 5 samples": "within 45~s of 5 samples",
    "airflow 14 cfm per 1,000 Btu/h": "airflow 14~cfm per 1,000~Btu/^h",
    "3 of 4 doors, 7 Kings Way": "3 of 4 doors, 7 Kings Way",
}


@pytest.mark.parametrize("text", UNPARTED)
def test_a_number_keeps_its_unit_on_its_line_on_pages_and_nowhere_else(text: str) -> None:
    held = UNPARTED[text].replace("~", "\u00a0").replace("^", "\u2060")
    parts = (
        Table(columns=(text,), rows=[(text,)], caption=text, notes=[text]),
        Facts([("x", text)]),
        Paragraph(text, points=[text]),
        Callout("note", text, text=text, points=[text]),
        Section(text, [Paragraph("x")]),
        Figure(svg="<svg/>", alt="x", caption=text),
    )
    for part in parts:
        for form in (part.as_typst(), part.as_html()):
            assert held in form
            assert (text in form) == (text == held)
        assert text in part.as_text()
    assert spreadsheet_cell(text) == text


@pytest.mark.law
def test_a_number_and_its_unit_never_part_at_a_line_end() -> None:
    """Words of every length before it move the number along the line; a line ends before or after it."""
    lines = [f"{'x' * length} {'y ' * 30}± 12.5 °F {'z ' * 12}" for length in range(1, 60)]
    text = "\n".join(text_pages(pdf_of(shown(document(), *map(Paragraph, lines)))))
    assert text.count("±") == len(lines)
    assert not re.search(r"±\s*\n|12\.5\s*\n", text)


def test_dates_and_short_cells_stay_on_one_line_in_html() -> None:
    rows = [("2025-10-06", "2026-10-06, OVERDUE at the test", "a sentence of many words")]
    cells = re.findall(r"<td.*?</td>", Table(columns=("a", "b", "c"), rows=rows).as_html())
    assert ['fw-left fw-short"' in cell for cell in cells] == [True, False, False]
    assert '<span class="fw-short">2026-10-06</span>, OVERDUE' in cells[1]


def test_a_column_is_taken_for_numbers_only_where_all_of_it_is() -> None:
    table = Table(columns=("a", "b", "c"), rows=[("1", "1", "—"), ("x", "2.5", "3 %")])
    assert re.findall(r'<th scope="col" class="fw-(\w+)"', table.as_html()) == ["left", "decimal", "decimal"]


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"columns": ("a",), "rows": [("1", "2")]}, r"row 0 of the table has 2 cells for 1 columns"),
        ({"columns": ("a",), "rows": [(1.5,)]}, r"row 0 holds 1\.5"),
        ({"columns": ("a",), "rows": [("1",)], "align": ("left", "left")}, r"1 columns but 2 alignments"),
        ({"columns": ("a",), "rows": [("1",)], "emphasis": {1: "strong"}}, r"there is no row 1 to emphasize"),
    ],
)
def test_a_table_refuses_what_does_not_fit(wrong: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Table(**wrong)


def test_other_refusals() -> None:
    with pytest.raises(InputError, match="needs alt text"):
        Figure(svg="<svg/>", alt=" ")
    with pytest.raises(UnknownNameError, match=r"no weight of a callout 'stpo'; did you mean 'stop'"):
        Callout("stpo", "x")  # type: ignore[arg-type]
    with pytest.raises(UnknownNameError, match=r"no paper 'a5'; did you mean 'a4'"):
        document(paper="a5")
    with pytest.raises(InputError, match="no time zone"):
        document(made=datetime(2025, 1, 1))
    with pytest.raises(InputError, match="either its content or its path"):
        Attachment(name="a", description="b")
    with pytest.raises(InputError, match="without folders"):
        Attachment(name="../a", description="b", content=b"")
    with pytest.raises(InputError, match="two attachments are named 'a'"):
        Attachments([Attachment(name="a", description="b", content=b"")] * 2)


def test_a_stop_is_drawn_in_black_with_its_word_and_a_sign() -> None:
    notebook = shown(document(), Callout("stop", "Leave it off."))
    page = pypdf.PdfReader(io.BytesIO(pdf_of(notebook))).pages[0]
    assert re.search(r"!\s*STOP\s*Leave it off\.", page.extract_text())
    assert 'class="fw-callout fw-stop"' in html_of(notebook)


def test_a_figure_has_words_for_those_who_cannot_see_it_and_text_that_can_be_searched() -> None:
    with drawing_style():
        drawing = Drawing(figsize=(4, 2))
        drawing.add_subplot().set_title("Searchable title")
    notebook = shown(document(), figure(drawing, alt="A line that rises.", caption="It rises."))
    pdf = pdf_of(notebook)
    assert "Searchable title" in text_of(pdf)
    assert re.search(r"Figure\s1\.\sIt rises\.", text_of(pdf))
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        alts = [str(o["/Alt"]) for o in opened.objects if isinstance(o, pikepdf.Dictionary) and "/Alt" in o]
    assert alts == ["A line that rises."]
    assert 'aria-label="A line that rises."' in html_of(notebook)


def test_both_formats_hold_the_same_words_in_the_same_order() -> None:
    printed, page = text_of(pdf_of(full())), words_of(html_of(full()))
    places = ["Leave it off.", "x", "Two", "Words with", "It rises.", "results.json", "log.bin"]
    for text in (printed, page):
        found = [text.index(words) for words in places]
        assert found == sorted(found)


# ---- any notebook -------------------------------------------------------------------------------------------


def test_code_is_hidden_unless_asked_for() -> None:
    notebook = printing(data(text__plain="42"))
    assert "secret_code" not in text_of(pdf_of(notebook)) + html_of(notebook)
    taught, _ = TypstPDFExporter(show_code=True).from_notebook_node(notebook)
    assert "secret_code()" in text_of(taught)


def test_markdown_is_read_as_a_reader_of_notebooks_expects() -> None:
    notebook = shown(
        "---\ntitle: stays\n---\n\nafter",
        "@10:04 the reading rose; ask a@example.org\nlist without a blank line:\n- one\n- two",
        "<b>raw</b> \\newcommand{\\x}{y} \\begin{a}z\\end{a}",
        "***",
        "$E = mc^2$",
        "| a | b |\n|---|--:|\n| x | 1 |",
        "unclosed\n\n```\nfence",
        "```\nanother",
        "last",
    )
    for text in (
        text_of(pdf_of(notebook)),
        words_of(html_of(notebook)).replace("&lt;", "<").replace("&gt;", ">"),
    ):
        for words in (
            "title: stays",
            "@10:04 the reading",
            "one",
            "<b>raw</b>",
            r"\newcommand{\x}{y}",
            "fence",
            "another",
            "last",
        ):
            assert words in text
    page = body_of(html_of(notebook))
    assert "<math" in page
    assert "<li>one</li>" in page
    assert "<td" in page


def test_outputs_of_other_libraries() -> None:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="4" height="4">'
        '<script>alert(1)</script><rect width="4" height="4"/></svg>'
    )
    table = (
        "<style scoped>.x{}</style><table class='dataframe'><tr><th>a_b</th></tr>"
        "<tr><td onclick='alert(1)'>1.5</td></tr></table>"
    )
    notebook = printing(
        new_output("stream", name="stdout", text="\x1b[31mred\x1b[0m *text*\n"),
        data(image__png=PNG, text__plain="<Figure>"),
        new_output("display_data", data={"image/svg+xml": svg}),
        data(text__html=table, text__plain="a_b 1.5"),
        data(
            text__html="<p onclick='alert(2)'>kept <a href='javascript:alert(3)'>words</a></p>",
            text__plain="<x.HTML object>",
        ),
        data(text__markdown="**bold**", text__plain="<x.Markdown object>"),
        data(text__latex="$x^2$", text__plain="x**2"),
        new_output(
            "display_data",
            data={"application/vnd.jupyter.widget-view+json": {}, "text/plain": "Slider(value=0)"},
        ),
    )
    text, page = text_of(pdf_of(notebook)), body_of(html_of(notebook))
    for words in ("red *text*", "a_b", "1.5", "kept words", "bold", "Slider(value=0)"):
        assert words in text
        assert words in words_of(page).replace("  ", " ")
    assert page.count("<img ") == 2
    assert not re.search(r"<script|onclick|javascript:", page)


def test_an_empty_notebook_and_a_raw_cell() -> None:
    assert pdf_of(new_notebook()).startswith(b"%PDF")
    notebook = new_notebook(
        cells=[new_raw_cell("raw #words"), new_raw_cell("\\tex", metadata={"raw_mimetype": "text/latex"})]
    )
    assert "raw #words" in text_of(pdf_of(notebook))
    assert "tex" not in text_of(pdf_of(notebook))


def test_pictures_of_markdown_travel_and_others_are_named(tmp_path: Path) -> None:
    (tmp_path / "local one.png").write_bytes(base64.b64decode(PNG))
    cell = new_markdown_cell(
        "![a](local%20one.png) ![b](attachment:c.png) ![d](https://example.org/e.png) ![f](missing.png)",
        attachments={"c.png": {"image/png": PNG}},
    )
    notebook = new_notebook(cells=[cell])
    text, page = text_of(pdf_of(notebook, path=str(tmp_path))), body_of(html_of(notebook, path=str(tmp_path)))
    assert page.count("data:image/png;base64,") == 2
    for words in ("https://example.org/e.png", "missing.png"):
        assert words in text
        assert words in page
    assert not re.search(r'src="(?!data:)', page)


def test_the_html_loads_nothing_and_runs_nothing() -> None:
    page = html_of(full())
    assert not re.search(r"<script|<link|<iframe|<object|@import", page)
    assert not re.search(r'(?:src|href)="(?!data:|#)', page)
    assert not re.search(r"url\((?!data:|#)", page)
    assert "default-src 'none'" in page
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy
    assert "script-src" not in policy[1]


# ---- refusals -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("exporter", [TypstSourceExporter, TypstPDFExporter, AuditHTMLExporter])
@pytest.mark.parametrize(
    ("output", "words"),
    [
        (
            new_output("error", ename="ValueError", evalue="odd", traceback=[]),
            r"cell 1 ended in an error.*ValueError: odd",
        ),
        (data(application__json={"a": 1}), r"cell 1 cannot be shown on a page: it holds application/json"),
        (
            data(text__html="<script>draw()</script>", text__plain="<a.b object>"),
            r"the HTML that cell 1 shows has nothing",
        ),
    ],
    ids=["error", "unknown form", "script only"],
)
def test_what_cannot_be_shown_stops_the_export(exporter: Any, output: Any, words: str) -> None:
    with pytest.raises(RenderError, match=words):
        exporter().from_notebook_node(printing(output))


def test_the_error_stream_is_logged_not_printed(caplog: pytest.LogCaptureFixture) -> None:
    notebook = printing(new_output("stream", name="stderr", text="a warning"), data(text__plain="42"))
    assert "a warning" not in text_of(pdf_of(notebook))
    assert "cell 1: a warning" in caplog.text


def test_nbconvert_knows_the_exporters_by_name(tmp_path: Path) -> None:
    nbformat.write(shown("# Plain\n\nwords"), tmp_path / "any.ipynb")
    command = [sys.executable, "-m", "nbconvert", "--to", "audit-pdf", "any.ipynb"]
    subprocess.run(
        command, cwd=tmp_path, check=True, capture_output=True, env={**os.environ, "SOURCE_DATE_EPOCH": "0"}
    )
    assert "words" in text_of((tmp_path / "any.pdf").read_bytes())
    nbformat.write(printing(new_output("error", ename="E", evalue="v", traceback=[])), tmp_path / "bad.ipynb")
    failed = subprocess.run([*command[:-1], "bad.ipynb"], cwd=tmp_path, capture_output=True, check=False)
    assert failed.returncode != 0
    assert not (tmp_path / "bad.pdf").exists()


@pytest.mark.parametrize(
    ("exporter", "form"), [(TypstSourceExporter, TYPST_SOURCE), (AuditHTMLExporter, HTML)]
)
def test_a_page_is_the_same_with_nbconvert_and_without(exporter: Any, form: Any) -> None:
    layout = laid_out(full(), form, name="n", folder=Path(), code=False, warn=print)
    assert printed_page(layout, form) == exporter().from_notebook_node(full(), {"metadata": {"name": "n"}})[0]


def test_what_is_taken_to_be_in_our_type_is_there() -> None:
    taken = {point for point in range(0x20, 0x3000) if typesetting._SURE.fullmatch(chr(point))}
    assert len(taken) > 400
    assert taken <= glyphs("Fluewright Sans")


def test_a_fence_that_one_cell_opens_does_not_swallow_what_stands_between_it_and_the_next() -> None:
    notebook = shown(
        document(), "```\nopened", Callout("stop", "Leave it off."), "```\nclosed", "- a\n\n      b", "end"
    )
    text, page = text_of(pdf_of(notebook)), body_of(html_of(notebook))
    assert "#fw-callout" not in text
    assert "STOP" in text
    assert "<pre" not in page[page.index("opened") : page.index("closed")]
    assert "7d1fe2c09b" not in text + page
