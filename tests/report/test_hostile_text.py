"""Whatever a person typed prints as it is, in every part, in PDF and in HTML; nothing of it is obeyed."""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from typing import Any

import nbformat
import numpy as np
import pypdf
import pytest
import typst
from PIL import Image

from fluewright.report.drawing import Drawing, drawing_style, figure
from fluewright.report.exporter import AuditHTMLExporter, TypstPDFExporter, TypstSourceExporter
from fluewright.report.objects import (
    Attachment,
    Attachments,
    Callout,
    Document,
    Facts,
    Paragraph,
    Section,
    Signatures,
    Table,
    spreadsheet_cell,
)
from fluewright.report.typesetting import typst_fonts

HOSTILE = {
    "typst code": '#read("x") #panic("boom") #import "a" #eval("1")',
    "typst markup": "*bold* _it_ <label> @ref `raw` = h / t: d ~ -- --- ... // c /* d */ \\ \\u{41}",
    "math": "$x^2$ $ \\frac{a}{b} $",
    "script": "<script>alert(1)</script><img src=x onerror=alert(1)></td></table>",
    "entities": "&lt;b&gt; &amp; ]]> --> <!-- x",
    "formula": "=1+1",
    "quotes": "C:\\new\\table \"double\" 'single' `tick` ```",
    "brackets": "])}#[({",
    "template": "{{ 7*7 }} {% raw %} {# gone #}",
    "front matter": "---\ntitle: x\n---",
    "hebrew": "שלום עולם",
    "arabic": "مرحبا بالعالم",
    "emoji": "🔥 ok 👍🏽 ❤️",
}


def _parts(text: str) -> list[object]:
    with drawing_style():
        drawing = Drawing(figsize=(4, 1.5))
        axes = drawing.add_subplot()
        axes.plot([1, 2])
        axes.set_title(text[:40])
        axes.set_xlabel(text[:40])
    return [
        Section(f"S {text[:200]}", [Paragraph(text, points=[text])]),
        Callout("stop", text, text=text, points=[text], word=text[:60]),
        Table(columns=(text, "n"), rows=[(text, "1"), ("x", "2.5")], caption=text, notes=[text]),
        Facts([(text[:80], text)]),
        Signatures([(text[:80], text[:80])], statement=text),
        figure(drawing, alt=text, caption=text),
        Attachments([Attachment(name="a.txt", description=text, content=b"a")]),
    ]


def _notebook(*shown: object, text: str = "T") -> nbformat.NotebookNode:
    document = Document(
        title=text[:300],
        subtitle=text[:300],
        header=(text, text),
        date=text[:30],
        made=datetime(2025, 1, 14, 16, 30, tzinfo=UTC),
    )
    outputs = [
        nbformat.v4.new_output("display_data", data=part._repr_mimebundle_())  # type: ignore[attr-defined]
        for part in (document, *shown)
    ]
    return nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("", outputs=outputs)])


def _squeezed(text: str) -> str:
    """Leave out what line breaking adds or takes."""
    return re.sub(r"[\s\u200b\ufe0f]", "", text)


def _pdf_text(notebook: nbformat.NotebookNode) -> str:
    pdf, _ = TypstPDFExporter().from_notebook_node(notebook)
    return _squeezed("".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages))


class _Page(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""
        self._silent = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.attributes.update(name for name, _ in attrs)
        self._silent = tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._silent = False

    def handle_data(self, data: str) -> None:
        self.text += "" if self._silent else data


def _html(notebook: nbformat.NotebookNode) -> _Page:
    page = _Page()
    page.feed(AuditHTMLExporter().from_notebook_node(notebook)[0])
    return page


# How often the whole text stands in a page made of every part: paragraph, its point, the callout's title,
# text and point, table head, cell, caption and note, fact, statement, figure caption, attachment.
_FULL = 13


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_prints_as_itself_in_pdf(text: str) -> None:
    printed = _pdf_text(_notebook(*_parts(text), text=text))
    # Word by word: a reader of PDFs gives the words of a right-to-left line in the order they stand.
    counts = {word: printed.count(_squeezed(word)) for word in text.split()}
    assert min(counts.values()) >= _FULL, counts


@pytest.mark.parametrize(("letter", "count"), [("W", 5000), ("ש", 500), ("م", 500), ("🔥", 500), ("中", 200)])
def test_characters_without_a_space_stay_within_the_margins(letter: str, count: int) -> None:
    for page in _drawn(_notebook(*_parts(letter * count))):
        inked = np.flatnonzero(page.min(axis=0) < 200) / _DOTS_PER_POINT
        # Frames of callouts stand astride the margin by up to 3 pt.
        assert inked.min() > 72 * 20 / 25.4 - 4
        assert inked.max() < 612 - 72 * 20 / 25.4 + 4


def test_five_thousand_characters_lose_none() -> None:
    assert _pdf_text(_notebook(Paragraph("x" * 5000))).count("x") == 5000


_DOTS_PER_POINT = 0.5


def _drawn(notebook: nbformat.NotebookNode) -> list[np.ndarray]:
    """Return each page as an image in grey."""
    source, _ = TypstSourceExporter().from_notebook_node(notebook)
    source = re.sub(r"#pdf\.attach\([^()]*\([^()]*\)[^()]*\)", "", source)
    pages: Any = typst.compile(
        source.encode(),
        font_paths=typst_fonts(),
        ignore_system_fonts=True,
        format="png",
        ppi=72 * _DOTS_PER_POINT,
    )
    return [np.asarray(Image.open(io.BytesIO(page)).convert("L")) for page in pages]


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_prints_as_itself_in_html_and_adds_no_element(text: str) -> None:
    page = _html(_notebook(*_parts(text), text=text))
    count = _squeezed(page.text).count(_squeezed(text))
    assert count >= _FULL
    plain = _html(_notebook(*_parts("plain words"), text="plain words"))
    assert page.tags <= plain.tags | {"br", "tspan"}
    assert not [name for name in page.attributes if name.startswith("on")]


def test_a_long_right_to_left_text_loses_no_letter() -> None:
    assert _pdf_text(_notebook(Paragraph("שלום" * 1250))).count("ש") == 1250


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("a\x00b\x1bc", "a‹U+0000›b‹U+001B›c"),
        ("paid \u202e001\u202c", "paid‹U+202E›001‹U+202C›"),
        ("\ue000\ufeff", "‹U+E000›‹U+FEFF›"),
    ],
)
def test_what_cannot_be_seen_prints_as_its_code_point(text: str, printed: str) -> None:
    notebook = _notebook(*_parts(text), text=text)
    assert _pdf_text(notebook).count(printed) >= _FULL
    assert _squeezed(_html(notebook).text).count(printed) >= _FULL


def test_a_script_that_no_font_here_has_prints_as_code_points_in_the_pdf_only() -> None:
    notebook = _notebook(*_parts("中文"), text="中文")
    assert _pdf_text(notebook).count("‹U+4E2D›‹U+6587›") >= _FULL
    assert _html(notebook).text.count("中文") >= _FULL


@pytest.mark.parametrize("text", ["=1+1", "+1-2", "-A1", "@SUM(A1)", "\t=1", "\r=1"])
def test_spreadsheet_cell_starts_no_formula(text: str) -> None:
    assert spreadsheet_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-1.5", "+3", "12 %", "plain", "", "1-2"])
def test_spreadsheet_cell_leaves_numbers_and_words(text: str) -> None:
    assert spreadsheet_cell(text) == text
