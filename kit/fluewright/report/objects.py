"""What a cell of a report's notebook displays: tables, figures, callouts, as values that show themselves.

Each value prints as plain text, as HTML, and as Typst source under a private MIME type that the exporters of
this room prefer. Text is data: it is written as a string literal in Typst and escaped in HTML, so whatever a
person typed prints as it is. The kernel imports this module, so it stays light: no nbformat, no nbconvert.
"""

from __future__ import annotations

import base64
import functools
import hashlib
import html
import mimetypes
import re
from collections.abc import Mapping, Sequence
from dataclasses import KW_ONLY, asdict, dataclass, field
from datetime import datetime
from importlib import resources
from pathlib import Path
from typing import Any, Literal, TypeAlias

from fluewright import sources
from fluewright.errors import InputError, UnknownNameError

__all__ = [
    "ATTACHMENTS",
    "DOCUMENT",
    "TYPST",
    "Attachment",
    "Attachments",
    "Callout",
    "Document",
    "Facts",
    "Figure",
    "Paragraph",
    "Section",
    "Signatures",
    "Table",
    "spreadsheet_cell",
]

TYPST = "application/vnd.fluewright.typst"
DOCUMENT = "application/vnd.fluewright.document+json"
ATTACHMENTS = "application/vnd.fluewright.attachments+json"

Weight: TypeAlias = Literal["stop", "correct", "note", "plain"]
Bundle: TypeAlias = dict[str, Any]

_SIGNS = {"stop": "\u2716", "correct": "\u25b2", "note": "\u25a0", "plain": ""}
PAPER_WIDTH = {"letter": 8.5, "a4": 210 / 25.4}  # inches
MARGIN = 20 / 25.4  # inches; the same in the page template
_LARGEST_LINK = 1 << 20  # bytes: a larger attachment is named in the HTML, not carried by it


# ---- text, made harmless in each format -------------------------------------------------------------------

# Control characters, and the marks that would turn neighboring text around, are shown by their code point.
_UNSHOWABLE = re.compile(
    r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\uf8ff\ufeff\ufff9-\ufffc\ufffe\uffff]"
)


def code_point(character: str) -> str:
    """Return the visible notation of a character that has no glyph, as ‹U+0000›."""
    return f"‹U+{ord(character):04X}›"


def shown(text: str) -> str:
    """Return `text` with line ends unified and every unprintable character as its code point."""
    unified = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ")
    return _UNSHOWABLE.sub(lambda found: code_point(found.group()), unified)


def typst_string(text: str) -> str:
    r"""Return `text` as a Typst string literal: inside one, only ``\`` and ``"`` mean anything."""
    escaped = shown(text).replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'


def html_text(text: str) -> str:
    """Return `text` escaped for HTML, line ends kept as line breaks."""
    return html.escape(shown(text)).replace("\n", "<br>")


# Units that the nomenclature does not print by themselves.
_MORE_SIGNS = ("points", "K", "s", "min", "h", "m", "mm", "ft", "Pa", "kPa", "psia", "kWh", "therms")


@functools.cache
def _partable() -> re.Pattern[str]:
    """Return where a line must not end: between a number and its unit, within a unit, after a sign of plus or minus."""
    shown_signs = {one.shown(system).sign for one in sources.quantities().values() for system in ("US", "SI")}
    # Of a rate such as "cfm per ton" only the number and "cfm" are held: the whole is too long for a column.
    signs = {sign for sign in {*shown_signs, *_MORE_SIGNS} if sign and " per " not in sign}
    units = "|".join(map(re.escape, sorted(signs, key=len, reverse=True)))
    return re.compile(rf"(?<=±) (?=\d)|(?<=[\d)]) (?:{units})(?:/\w+)?(?!\w)")


def unparted(text: str) -> str:
    """Return `text` with no-break spaces and word joiners where a number and its unit must stay on one line.

    For pages only: what is kept as data, and what a spreadsheet opens, has plain spaces.
    """
    return _partable().sub(lambda found: found[0].replace(" ", "\u00a0").replace("/", "/\u2060"), text)


def _typst_words(text: str) -> str:
    return typst_string(unparted(text))


def _html_words(text: str) -> str:
    return html_text(unparted(text))


def spreadsheet_cell(text: str) -> str:
    """Return `text` safe to open in a spreadsheet: one that would start a formula gets an apostrophe."""
    return (
        f"'{text}"
        if text.startswith(("=", "+", "-", "@", "\t", "\r")) and not _NUMBER.fullmatch(text)
        else text
    )


def _typst_array(items: Sequence[str]) -> str:
    return f"({', '.join(items)}{',' if len(items) == 1 else ''})"


def _call(name: str, *positional: str, **named: str) -> str:
    """Return one call of a function of the page template, as Typst markup."""
    arguments = [*positional, *(f"{key.replace('_', '-')}: {value}" for key, value in named.items())]
    return f"#{name}({', '.join(arguments)})\n"


# ---- tables -----------------------------------------------------------------------------------------------

_NUMBER = re.compile(r"[<>≤≥≈~±+\-−]?\s?\d[\d, \u2009\u202f]*(?:\.(?P<decimals>\d+))?\s?%?")
_NO_NUMBER = frozenset({"", "-", "–", "—"})

Align: TypeAlias = Literal["left", "right", "center", "decimal"]
Emphasis: TypeAlias = Literal["strong", "total", "quiet", "stop", "correct", "note"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table of text, at most as wide as the page, its header repeated on every page it reaches.

    Parameters
    ----------
    columns : sequence of str
        The header; empty strings are allowed.
    rows : sequence of sequences of str
        One text for every column.
    caption : str
        Printed above, after "Table" and its number; empty prints neither.
    align : sequence of str
        "left", "right", "center" or "decimal" for each column; by default a column of numbers is aligned on
        the decimal point and any other on the left.
    emphasis : mapping of int to str
        Row number to "strong", "total" (rule above), "quiet", or a weight of a finding ("stop", "correct",
        "note": the first cell becomes a tag that shows in black and white).
    notes : sequence of str
        Printed small below.

    Raises
    ------
    InputError
        A row or `align` has another length than `columns`, or a row to emphasize does not exist.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    caption: str = ""
    align: Sequence[Align] = ()
    emphasis: Mapping[int, Emphasis] = field(default_factory=dict)
    notes: Sequence[str] = ()

    def __post_init__(self) -> None:
        width = len(self.columns)
        for number, row in enumerate(self.rows):
            if len(row) != width:
                raise InputError(
                    f"row {number} of the table has {len(row)} cells for {width} columns: {list(row)!r}"
                )
            for cell in row:
                if not isinstance(cell, str):
                    raise InputError(f"a table holds text; row {number} holds {cell!r}: format it first")
        if self.align and len(self.align) != width:
            raise InputError(f"the table has {width} columns but {len(self.align)} alignments")
        if stray := [number for number in self.emphasis if not 0 <= number < len(self.rows)]:
            raise InputError(f"the table has {len(self.rows)} rows; there is no row {stray[0]} to emphasize")

    def _alignments(self) -> list[str]:
        return list(self.align) or [self._guessed(column) for column in range(len(self.columns))]

    def _guessed(self, column: int) -> str:
        cells = [row[column].strip() for row in self.rows if row[column].strip() not in _NO_NUMBER]
        return "decimal" if cells and all(_NUMBER.fullmatch(cell) for cell in cells) else "left"

    def _padding(self, column: int) -> list[str]:
        """Return for each row the digits lacking after the point, so that points stand below each other."""
        found = [_NUMBER.fullmatch(row[column].strip()) for row in self.rows]
        decimals = [len(match["decimals"] or "") if match else 0 for match in found]
        most = max(decimals, default=0)
        return [
            ("" if own else "." if most else "") + "0" * (most - own) if match else ""
            for own, match in zip(decimals, found, strict=True)
        ]

    def _paddings(self) -> list[list[str]]:
        nothing = [""] * len(self.rows)
        return [
            self._padding(column) if align == "decimal" else nothing
            for column, align in enumerate(self._alignments())
        ]

    def _widths(self) -> list[int]:
        """Return the longest line of each column, in characters."""
        columns = zip(self.columns, *self.rows, strict=True)
        return [
            max((len(line) for cell in column for line in cell.splitlines()), default=1) for column in columns
        ]

    def as_typst(self) -> str:
        """Return the table as Typst source."""
        aligns, paddings = self._alignments(), self._paddings()
        body = [
            _typst_array(
                [
                    _typst_array([_typst_words(cell), typst_string(paddings[n][number])])
                    for n, cell in enumerate(row)
                ]
            )
            for number, row in enumerate(self.rows)
        ]
        long = any(len(cell) > _LONG_CELL for row in self.rows for cell in row)
        return _call(
            "fw-table",
            header=_typst_array([_typst_words(head) for head in self.columns]),
            aligns=_typst_array([typst_string(align) for align in aligns]),
            rows=_typst_array(body),
            emphasis=_typst_array([typst_string(self.emphasis.get(n, "")) for n in range(len(self.rows))]),
            caption=_typst_words(self.caption),
            notes=_typst_array([_typst_words(note) for note in self.notes]),
            short="true" if len(self.rows) <= _SHORT_TABLE and self._letters() <= _SHORT_TEXT else "false",
            split_rows="true" if long else "false",
        )

    def _letters(self) -> int:
        return sum(len(cell) for row in self.rows for cell in row)

    def as_html(self) -> str:
        """Return the table as HTML."""
        aligns, paddings = self._alignments(), self._paddings()
        head = "".join(
            f'<th scope="col" class="fw-{align}">{_html_words(name)}</th>'
            for name, align in zip(self.columns, aligns, strict=True)
        )
        body = "".join(
            f'<tr class="fw-{self.emphasis.get(number, "row")}">'
            + "".join(
                f'<td class="fw-{align}{_html_breaks(cell, align)}">'
                f"<span>{_html_cell(cell)}</span>"
                f"{_html_padding(padding[number])}</td>"
                for cell, align, padding in zip(row, aligns, paddings, strict=True)
            )
            + "</tr>"
            for number, row in enumerate(self.rows)
        )
        caption = f"<caption>{_html_words(self.caption)}</caption>" if self.caption else ""
        header = f"<thead><tr>{head}</tr></thead>" if any(self.columns) else ""
        notes = "".join(f'<p class="fw-note-line">{_html_words(note)}</p>' for note in self.notes)
        table = f'<table class="fw-table">{caption}{header}<tbody>{body}</tbody></table>'
        return f'<div class="fw-block">{table}{notes}</div>\n'

    def as_text(self) -> str:
        """Return the table as plain text."""
        widths = self._widths()
        lines = [
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in (self.columns, *self.rows)
        ]
        return "\n".join(filter(None, [self.caption, *lines, *self.notes]))

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        return _bundle(self)


_SHORT_TABLE, _SHORT_TEXT = 14, 1000  # rows and characters: up to here a table is kept on one page
_LONG_CELL = 600  # characters: a row with a longer cell may split over two pages
_LONG_RUN = re.compile(r"\S{29,}")  # longer than any word: a name, a hash
_SHORT_CELL = 16  # characters: a date, "not stated", "87,300 to 90,400"; such a cell stays on one line
_DATE = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def _html_breaks(cell: str, align: str) -> str:
    """Return the class of a cell whose line may break anywhere, or nowhere; others keep their words whole."""
    if _LONG_RUN.search(cell):
        return " fw-long"
    return " fw-short" if len(cell) <= _SHORT_CELL and align != "decimal" else ""


def _html_cell(cell: str) -> str:
    """Return the text of a cell as HTML, dates whole: browsers break a line after a hyphen."""
    return _DATE.sub(r'<span class="fw-short">\g<0></span>', _html_words(cell))


def _html_padding(digits: str) -> str:
    # Figure space and punctuation space are as wide as the digit and the point they stand for.
    return digits.replace(".", "\u2008").replace("0", "\u2007")


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are, in two columns without a header, such as who tested what, where and when."""

    pairs: Sequence[tuple[str, str]]

    def as_typst(self) -> str:
        """Return the facts as Typst source."""
        pairs = [_typst_array([_typst_words(name), _typst_words(value)]) for name, value in self.pairs]
        return _call("fw-facts", _typst_array(pairs))

    def as_html(self) -> str:
        """Return the facts as an HTML description list."""
        pairs = "".join(
            f"<dt>{_html_words(name)}</dt><dd>{_html_words(value)}</dd>" for name, value in self.pairs
        )
        return f'<dl class="fw-facts">{pairs}</dl>\n'

    def as_text(self) -> str:
        """Return the facts as plain text."""
        return "\n".join(f"{name}: {value}" for name, value in self.pairs)

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        return _bundle(self)


# ---- words ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph made from data and, below it, points of a list; `quiet` prints it small, as a remark.

    Wording that never changes belongs in a Markdown cell instead.
    """

    text: str = ""
    _: KW_ONLY
    points: Sequence[str] = ()
    quiet: bool = False

    def as_typst(self) -> str:
        """Return the paragraph as Typst source."""
        return _call(
            "fw-paragraph",
            _typst_words(self.text),
            points=_typst_array([_typst_words(point) for point in self.points]),
            quiet="true" if self.quiet else "false",
        )

    def as_html(self) -> str:
        """Return the paragraph as HTML."""
        words = f"<p>{_html_words(self.text)}</p>" if self.text else ""
        kind = "fw-paragraph fw-quiet" if self.quiet else "fw-paragraph"
        return f'<div class="{kind}">{words}{_html_list(self.points)}</div>\n'

    def as_text(self) -> str:
        """Return the paragraph as plain text."""
        return "\n".join(filter(None, [self.text, *_text_list(self.points)]))

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        return _bundle(self)


def _html_list(points: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{_html_words(point)}</li>' for point in points)}</ul>" if points else ""


def _text_list(points: Sequence[str]) -> list[str]:
    return [f"- {point}" for point in points]


@dataclass(frozen=True, slots=True)
class Callout:
    """A box that must not be missed, also in black and white.

    Parameters
    ----------
    weight : {"stop", "correct", "note", "plain"}
        How heavy the box is drawn.
    title : str
        One sentence, printed large.
    text : str
        What to do, and why.
    points : sequence of str
        Items of a list below.
    word : str
        The word in capitals beside the sign; by default the weight.
    """

    weight: Weight
    title: str
    _: KW_ONLY
    text: str = ""
    points: Sequence[str] = ()
    word: str = ""

    def __post_init__(self) -> None:
        if self.weight not in _SIGNS:
            raise UnknownNameError("weight of a callout", self.weight, _SIGNS)

    def _word(self) -> str:
        return (self.word or ("" if self.weight == "plain" else self.weight)).upper()

    def as_typst(self) -> str:
        """Return the box as Typst source."""
        return _call(
            "fw-callout",
            typst_string(self.weight),
            word=typst_string(self._word()),
            title=_typst_words(self.title),
            text=_typst_words(self.text),
            points=_typst_array([_typst_words(point) for point in self.points]),
        )

    def as_html(self) -> str:
        """Return the box as HTML."""
        word = (
            f'<p class="fw-word">{_SIGNS[self.weight]} {_html_words(self._word())}</p>'
            if self._word()
            else ""
        )
        words = f"<p>{_html_words(self.text)}</p>" if self.text else ""
        title = f'<p class="fw-title">{_html_words(self.title)}</p>'
        inner = word + title + words + _html_list(self.points)
        return f'<div class="fw-callout fw-{self.weight}" role="note">{inner}</div>\n'

    def as_text(self) -> str:
        """Return the box as plain text."""
        head = f"{self._word()}: {self.title}" if self._word() else self.title
        return "\n".join(filter(None, [head, self.text, *_text_list(self.points)]))

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        return _bundle(self)


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and the parts below it, shown in one go.

    Parameters
    ----------
    title : str
        The heading; empty prints the parts alone.
    parts : sequence of parts
        Any values of this module.
    level : int
        1 for a chapter of the report, 2 and 3 below it.
    new_page : bool
        Begin on a new page.
    together : bool
        Keep the parts on one page, where they fit on one.
    """

    title: str
    parts: Sequence[Part] = ()
    _: KW_ONLY
    level: int = 1
    new_page: bool = False
    together: bool = False

    def as_typst(self) -> str:
        """Return the section as Typst source."""
        start = "#pagebreak(weak: true)\n" if self.new_page else ""
        head = _call("heading", _typst_words(self.title), level=str(self.level)) if self.title else ""
        inner = head + "\n".join(part.as_typst() for part in self.parts)
        return start + (f"#block(breakable: false, width: 100%)[\n{inner}]\n" if self.together else inner)

    def as_html(self) -> str:
        """Return the section as HTML."""
        head = f"<h{self.level + 1}>{_html_words(self.title)}</h{self.level + 1}>\n" if self.title else ""
        return head + "".join(part.as_html() for part in self.parts)

    def as_text(self) -> str:
        """Return the section as plain text."""
        return "\n\n".join(filter(None, [self.title, *(part.as_text() for part in self.parts)]))

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        return _bundle(self)


@dataclass(frozen=True, slots=True)
class Signatures:
    """Lines to sign on: for each person the role, and the name where it is known."""

    people: Sequence[tuple[str, str]]
    _: KW_ONLY
    statement: str = ""

    def as_typst(self) -> str:
        """Return the lines as Typst source."""
        people = [_typst_array([_typst_words(role), _typst_words(name)]) for role, name in self.people]
        return _call("fw-signatures", _typst_array(people), statement=_typst_words(self.statement))

    def as_html(self) -> str:
        """Return the lines as HTML."""
        words = f"<p>{_html_words(self.statement)}</p>" if self.statement else ""
        lines = "".join(
            f"<div><b>{_html_words(name)}</b><i></i><i></i><span>{_html_words(role)}</span><span>Signature</span><span>Date</span></div>"
            for role, name in self.people
        )
        return f'<div class="fw-signatures">{words}{lines}</div>\n'

    def as_text(self) -> str:
        """Return the lines as plain text."""
        lines = [f"{role}: {name}  Signature: ________  Date: ________" for role, name in self.people]
        return "\n".join(filter(None, [self.statement, *lines]))

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        return _bundle(self)


# ---- figures ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A drawing as SVG, with its caption and with words for a reader who cannot see it.

    Parameters
    ----------
    svg : str
        The drawing, beginning with its ``<svg`` element.
    alt : str
        What it shows, in a sentence or two; must not be empty.
    caption : str
        The finding, printed below after "Figure" and its number.
    """

    svg: str
    alt: str
    caption: str = ""

    def __post_init__(self) -> None:
        if not self.alt.strip():
            raise InputError(
                "a figure needs alt text: one sentence on what it shows, for a reader who cannot see it"
            )

    def as_typst(self) -> str:
        """Return the figure as Typst source."""
        return _call(
            "fw-figure",
            typst_string(self.svg),
            alt=typst_string(self.alt),
            caption=_typst_words(self.caption),
        )

    def as_html(self) -> str:
        """Return the figure as HTML."""
        caption = f"<figcaption>{_html_words(self.caption)}</figcaption>" if self.caption else ""
        image = f'<div role="img" aria-label="{html.escape(shown(self.alt))}">{self.svg}</div>'
        return f'<figure class="fw-figure">{image}{caption}</figure>\n'

    def as_text(self) -> str:
        """Return what the figure says, as plain text."""
        return "\n".join(filter(None, [f"[{self.alt}]", self.caption]))

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        return _bundle(self)


# ---- the document, and what travels inside it -------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """The title, the running header and the paper of a report; shown once, as its first output.

    Parameters
    ----------
    title : str
        Printed at the top of page one, and the name of the PDF.
    header : sequence of str
        What the head of each page carries at the left: site, appliance.
    date : str
        The date as printed at the right of each head, before "page x of y".
    made : datetime
        With its time zone: the moment written into the PDF (the audit's, not the clock's, so that the same
        audit is the same file).
    paper : {"letter", "a4"}
        The paper.
    language : str
        Two-letter code.
    subtitle : str
        A line below the title.
    """

    title: str
    header: Sequence[str]
    date: str
    made: datetime
    paper: Literal["letter", "a4"] = "letter"
    language: str = "en"
    subtitle: str = ""

    def __post_init__(self) -> None:
        if self.paper not in PAPER_WIDTH:
            raise UnknownNameError("paper", self.paper, PAPER_WIDTH)
        if self.made.tzinfo is None:
            raise InputError(
                f"the moment of the report, {self.made.isoformat()}, has no time zone; give it one"
            )

    def as_text(self) -> str:
        """Return the title and the header as plain text."""
        return "\n".join(filter(None, [self.title, self.subtitle, " · ".join([*self.header, self.date])]))

    def as_html(self) -> str:
        """Return the title block as HTML."""
        subtitle = f'<p class="fw-subtitle">{html_text(self.subtitle)}</p>' if self.subtitle else ""
        line = html_text(" · ".join(filter(None, [*self.header, self.date])))
        return (
            f'<header class="fw-document"><h1>{html_text(self.title)}</h1>{subtitle}<p>{line}</p></header>\n'
        )

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        record = {**asdict(self), "header": list(self.header), "made": self.made.isoformat()}
        # In a notebook opened by hand the first output brings the style for all others.
        style = f"<style>{(templates() / 'parts.css').read_text(encoding='utf-8')}</style>"
        return {DOCUMENT: record, "text/html": style + self.as_html(), "text/plain": self.as_text()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Attachment:
    """A file that travels inside the PDF: its bytes, or the path to read them from.

    Parameters
    ----------
    name : str
        File name inside the PDF.
    description : str
        What it holds, in words.
    content : bytes, optional
        The bytes themselves.
    path : Path, optional
        Where they are; read again when the PDF is made and refused if they changed since.
    mime : str
        The type; by default told by the name.
    """

    name: str
    description: str
    content: bytes | None = None
    path: Path | None = None
    mime: str = ""

    def __post_init__(self) -> None:
        if (self.content is None) == (self.path is None):
            raise InputError(f"attachment '{self.name}' needs either its content or its path")
        if not self.name or "/" in self.name or "\\" in self.name:
            raise InputError(f"attachment '{self.name}': give a file name without folders")

    def read(self) -> bytes:
        """Return the bytes."""
        if self.content is not None:
            return self.content
        assert self.path is not None
        return self.path.read_bytes()

    def mime_type(self) -> str:
        """Return the type given, or the one its name tells."""
        known = {
            ".toml": "application/toml",
            ".json": "application/json",
            ".csv": "text/csv",
            ".txt": "text/plain",
        }
        suffix = Path(self.name).suffix.lower()
        return (
            self.mime or known.get(suffix) or mimetypes.guess_type(self.name)[0] or "application/octet-stream"
        )


@dataclass(frozen=True, slots=True)
class Attachments:
    """The files that travel inside the PDF, listed with size and hash; the HTML lets small ones be saved."""

    files: Sequence[Attachment]

    def __post_init__(self) -> None:
        names = [file.name for file in self.files]
        if twice := {name for name in names if names.count(name) > 1}:
            raise InputError(f"two attachments are named '{min(twice)}'; give each its own name")

    def _table(self, contents: Sequence[bytes]) -> Table:
        return Table(
            columns=("File", "Holds", "Bytes", "SHA-256"),
            rows=[
                (file.name, file.description, f"{len(content):,}", hashlib.sha256(content).hexdigest())
                for file, content in zip(self.files, contents, strict=True)
            ],
        )

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        contents = [file.read() for file in self.files]
        table = self._table(contents)
        links = " ".join(
            f'<a download="{html.escape(file.name)}" href="data:{html.escape(file.mime_type())};base64,'
            f'{base64.b64encode(content).decode()}">{html_text(file.name)}</a>'
            for file, content in zip(self.files, contents, strict=True)
            if len(content) <= _LARGEST_LINK
        )
        records = [
            {
                "name": file.name,
                "mime": file.mime_type(),
                "description": file.description,
                "sha256": hashlib.sha256(content).hexdigest(),
                "path": None if file.path is None else str(file.path.resolve()),
                "base64": base64.b64encode(content).decode() if file.path is None else None,
            }
            for file, content in zip(self.files, contents, strict=True)
        ]
        return {
            ATTACHMENTS: records,
            TYPST: table.as_typst(),
            "text/html": table.as_html() + (f'<p class="fw-links">Save: {links}</p>\n' if links else ""),
            "text/plain": table.as_text(),
        }


# ---- common -----------------------------------------------------------------------------------------------

Part: TypeAlias = Table | Facts | Paragraph | Callout | Section | Signatures | Figure


def _bundle(part: Part) -> Bundle:
    return {TYPST: part.as_typst(), "text/html": part.as_html(), "text/plain": part.as_text()}


@functools.cache
def templates() -> Path:
    """Return the folder of the page templates and fonts."""
    return Path(str(resources.files("fluewright.report"))) / "templates"
