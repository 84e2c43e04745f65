"""Exporters on nbconvert: a notebook as Typst source, as PDF without LaTeX or a browser, as HTML.

Installed as ``audit-typst``, ``audit-pdf`` and ``audit-html``, so that ``jupyter nbconvert --to audit-pdf``
works on any notebook. A report shows what its cells display, not their code. What cannot be shown stops it.
"""

from __future__ import annotations

import base64
import functools
import hashlib
import html
import mimetypes
import os
import re
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, ClassVar
from urllib.parse import unquote

import pypandoc
import typst
from nbconvert.exporters.templateexporter import TemplateExporter
from traitlets import Bool, List, Unicode, default

from fluewright.errors import RenderError
from fluewright.report.drawing import FAMILIES, INVISIBLE, glyphs, type_folders
from fluewright.report.objects import (
    ATTACHMENTS,
    DOCUMENT,
    TYPST,
    Document,
    code_point,
    html_text,
    shown,
    templates,
    typst_string,
)

__all__ = ["AuditHTMLExporter", "TypstPDFExporter", "TypstSourceExporter", "warm_up"]


# ---- the pieces of a notebook, in order -------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Piece:
    """One thing to print: its kind says how `content` is to be read."""

    kind: str  # native, markdown, html, printed, code, or an image's MIME type
    content: str
    cell: int
    attachments: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


_IMAGES = ("image/svg+xml", "image/png", "image/jpeg", "image/gif", "image/webp")
_HEAD = 48  # characters of a site's or an appliance's name that the head of a page can hold
_ANSI = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]*(?:\x07|\x1b\\)|[@-Z\\-_])")
_BARE_OBJECT = re.compile(r"<[\w.]+(?: object| at 0x|\b).*>", re.DOTALL)


def _joined(text: object) -> str:
    return "".join(text) if isinstance(text, list) else str(text)


def _shown_pieces(data: Mapping[str, Any], cell: int, native: str) -> _Piece:
    """Return the richest form of one output that a page can show."""
    if TYPST in data and native in data:
        return _Piece(kind="native", content=_joined(data[native]), cell=cell)
    plain = _joined(data.get("text/plain", ""))
    for kind in _IMAGES:
        if kind in data:
            return _Piece(kind=kind, content=_joined(data[kind]), cell=cell)
    if "text/markdown" in data:
        return _Piece(kind="markdown", content=_joined(data["text/markdown"]), cell=cell)
    if "text/latex" in data and "text/html" not in data:
        return _Piece(kind="markdown", content=_joined(data["text/latex"]), cell=cell)
    if "text/html" in data and ("<table" in _joined(data["text/html"]) or _BARE_OBJECT.fullmatch(plain)):
        return _Piece(kind="html", content=_joined(data["text/html"]), cell=cell)
    if plain.strip():
        return _Piece(kind="printed", content=plain, cell=cell)
    raise RenderError(
        f"an output of cell {cell} cannot be shown on a page: it holds {', '.join(sorted(data))}; "
        "display text, Markdown, HTML or an image instead"
    )


def _pieces(nb: Any, *, native: str, code: bool, warn: Callable[[str], None]) -> Iterator[_Piece]:
    """Yield what the notebook shows; refuse an error, report what was written to the error stream."""
    for number, cell in enumerate(nb.cells, start=1):
        if cell.cell_type == "markdown":
            yield _Piece(
                kind="markdown", content=cell.source, cell=number, attachments=cell.get("attachments", {})
            )
        if cell.cell_type == "raw" and not cell.metadata.get("raw_mimetype") and cell.source.strip():
            yield _Piece(kind="printed", content=cell.source, cell=number)
        if cell.cell_type != "code":
            continue
        if code and cell.source.strip():
            yield _Piece(kind="code", content=cell.source, cell=number)
        for output in cell.get("outputs", []):
            if output.output_type == "error":
                raise RenderError(
                    f"cell {number} ended in an error, so there is no report: {output.ename}: {output.evalue}"
                )
            if output.output_type == "stream":
                text = _ANSI.sub("", _joined(output.text))
                if output.name == "stderr":
                    warn(f"cell {number}: {text.strip()}")
                elif text.strip():
                    yield _Piece(kind="printed", content=text, cell=number)
                continue
            if DOCUMENT not in output.data:
                yield _shown_pieces(output.data, number, native)


def _outputs(nb: Any, mime: str) -> Iterator[Any]:
    for cell in nb.cells:
        for output in cell.get("outputs", []):
            if mime in output.get("data", {}):
                yield output["data"][mime]


def _document(nb: Any, name: str) -> tuple[Document, bool]:
    """Return the document that the notebook declares, or one made up for it, and whether it was declared."""
    record = next(_outputs(nb, DOCUMENT), None)
    if record is not None:
        return Document(**{**record, "made": datetime.fromisoformat(record["made"])}), True
    moment = os.environ.get("SOURCE_DATE_EPOCH")
    made = datetime.fromtimestamp(int(moment), UTC) if moment else datetime.now(UTC)
    title = str(nb.metadata.get("title") or name or "Notebook")
    return Document(title=title, header=(), date="", made=made.replace(microsecond=0)), False


def _attachments(nb: Any) -> dict[str, tuple[Mapping[str, Any], bytes]]:
    """Return every attached file by name: its record and its bytes, checked against the record."""
    found: dict[str, tuple[Mapping[str, Any], bytes]] = {}
    for record in (record for records in _outputs(nb, ATTACHMENTS) for record in records):
        name = record["name"]
        if name in found:
            raise RenderError(f"two attachments are named '{name}'; give each its own name")
        try:
            content = (
                Path(record["path"]).read_bytes() if record["path"] else base64.b64decode(record["base64"])
            )
        except OSError as error:
            raise RenderError(
                f"attachment '{name}' cannot be read from {record['path']}: {error.strerror}"
            ) from error
        if hashlib.sha256(content).hexdigest() != record["sha256"]:
            raise RenderError(
                f"attachment '{name}' ({record['path']}) changed while the report was made; run it again"
            )
        found[name] = (record, content)
    return found


# ---- Markdown and HTML by pandoc --------------------------------------------------------------------------

# Off: what would read an address or a time as a citation, swallow a cell as metadata, or let markup through.
_READERS = {
    "markdown": "markdown-citations-example_lists-raw_html-raw_tex-raw_attribute-native_divs-native_spans"
    "-yaml_metadata_block-pandoc_title_block-mmd_title_block-auto_identifiers-implicit_figures"
    "-fancy_lists-latex_macros-simple_tables-multiline_tables-grid_tables-table_captions+lists_without_preceding_blankline-blank_before_header"
    "-blank_before_blockquote+autolink_bare_uris+task_lists-smart",
    "html": "html-raw_html-native_divs-native_spans-auto_identifiers",
}
_SEPARATOR = "7d1fe2c09bcellboundary4a86e3f5"


def _pandoc(text: str, reader: str, writer: str) -> str:
    options = ["--wrap=preserve", "--syntax-highlighting=none", *(["--mathml"] if writer == "html5" else [])]
    try:
        converted = pypandoc.convert_text(
            text, writer, format=_READERS[reader], extra_args=options, verify_format=False, sandbox=True
        )
    except RuntimeError as error:
        raise RenderError(f"pandoc could not read a cell as {reader}: {error}") from error
    return str(converted)


@functools.lru_cache(maxsize=16)
def _converted(sources: tuple[str, ...], reader: str, writer: str) -> tuple[str, ...]:
    """Return every source converted, by one call of pandoc where the sources do not run into each other."""
    if not any(source.strip() for source in sources):
        return ("",) * len(sources)
    between = f"\n\n<p>{_SEPARATOR}</p>\n\n" if reader == "html" else f"\n\n{_SEPARATOR}\n\n"
    whole = _pandoc(between.join(sources), reader, writer)
    parts = re.split(rf"\s*(?:<p>)?{_SEPARATOR}(?:</p>)?\s*", whole)
    if len(parts) == len(sources):
        return tuple(parts)
    # An unclosed fence swallows the separator: then one at a time.
    return tuple(_pandoc(source, reader, writer) for source in sources)


def _picture(address: str, piece: _Piece, folder: Path) -> tuple[str, bytes] | None:
    """Return the MIME type and bytes of a picture that a Markdown cell names, or None for one elsewhere."""
    if address.startswith("attachment:"):
        for mime, data in piece.attachments.get(unquote(address.removeprefix("attachment:")), {}).items():
            return mime, base64.b64decode(_joined(data))
    if found := re.fullmatch(r"data:(image/[\w.+-]+);base64,(.+)", address, re.DOTALL):
        return found[1], base64.b64decode(found[2])
    mime = mimetypes.guess_type(address)[0] or ""
    path = folder / unquote(address)
    return (mime, path.read_bytes()) if mime in _IMAGES and "://" not in address and path.is_file() else None


# ---- the two exporters of text ----------------------------------------------------------------------------


class _ReportExporter(TemplateExporter):
    """What the exporters share: the pieces of the notebook, converted in batches, handed to the template."""

    show_code = Bool(False, help="Print the code of each cell too, for teaching.").tag(config=True)
    _writer: ClassVar[str] = ""
    _native: ClassVar[str] = ""

    @default("template_name")
    def _template_name_default(self) -> str:
        return "audit"

    @default("extra_template_basedirs")
    def _default_extra_template_basedirs(self) -> list[str]:
        return [str(templates())]

    @default("optimistic_validation")
    def _optimistic_validation_default(self) -> bool:
        return True

    def _init_preprocessors(self) -> None:
        super()._init_preprocessors()  # type: ignore[no-untyped-call]
        self.register_preprocessor(self._prepare)  # type: ignore[no-untyped-call]

    def _prepare(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        """Put into `resources` all that the template prints."""
        metadata = resources.get("metadata", {})
        document, declared = _document(nb, metadata.get("name", ""))
        attached = _attachments(nb)
        pieces = list(_pieces(nb, native=self._native, code=self.show_code, warn=self.log.warning))
        files: dict[str, bytes] = {f"attached/{name}": content for name, (_, content) in attached.items()}
        folder = Path(metadata.get("path") or ".")
        resources["report"] = {
            "document": document,
            "declared": declared,
            "attached": [record for record, _ in attached.values()],
            "contents": {name: content for name, (_, content) in attached.items()},
            "parts": self._printed(pieces, folder, files),
        }
        resources["outputs"] = files
        return nb, resources

    def _printed(self, pieces: Sequence[_Piece], folder: Path, files: dict[str, bytes]) -> list[str]:
        converted: dict[int, str] = {}
        for reader in _READERS:
            chosen = [(n, piece.content) for n, piece in enumerate(pieces) if piece.kind == reader]
            texts = _converted(tuple(shown(content) for _, content in chosen), reader, self._writer)
            for (n, _), text in zip(chosen, texts, strict=True):
                if reader == "html" and not re.search(r"\w|<img|image\(", text):
                    raise RenderError(
                        f"the HTML that cell {pieces[n].cell} shows has nothing that a page can carry"
                    )
                converted[n] = self._with_pictures(text, pieces[n], folder, files)
        return [converted[n] if n in converted else self._one(piece, files) for n, piece in enumerate(pieces)]

    def _one(self, piece: _Piece, files: dict[str, bytes]) -> str:
        if piece.kind == "native":
            return piece.content
        if piece.kind in _IMAGES:
            text = piece.kind == "image/svg+xml"
            data = piece.content.encode() if text else base64.b64decode(piece.content)
            return self._image(piece.kind, data, f"Image shown by cell {piece.cell}", files)
        return self._literal(piece.content.rstrip("\n"))

    def _image(self, mime: str, data: bytes, alt: str, files: dict[str, bytes]) -> str:
        raise NotImplementedError

    def _literal(self, text: str) -> str:
        raise NotImplementedError

    def _with_pictures(self, text: str, piece: _Piece, folder: Path, files: dict[str, bytes]) -> str:
        raise NotImplementedError


class TypstSourceExporter(_ReportExporter):
    """A notebook as the source of a Typst document, its attached files and pictures beside it."""

    file_extension = Unicode(".typ").tag(config=True)
    export_from_notebook = "Typst source"
    output_mimetype = "text/vnd.typst"

    _writer = "typst"
    _native = TYPST

    @default("template_extension")
    def _template_extension_default(self) -> str:
        return ".typ.j2"

    def default_filters(self) -> Iterator[tuple[str, Any]]:
        """Add to nbconvert's filters the one that writes a text as a Typst string."""
        yield from super().default_filters()  # type: ignore[no-untyped-call]
        yield "typst_string", typst_string
        yield "shortened", lambda text: text if len(text) <= _HEAD else f"{text[: _HEAD - 1]}…"

    def from_notebook_node(self, nb: Any, resources: Any = None, **kw: Any) -> tuple[Any, Any]:
        """Return the source and the resources, in which ``outputs`` are the files that the source names."""
        source, resources = super().from_notebook_node(nb, resources, **kw)
        return _in_our_glyphs(source), resources

    def _image(self, mime: str, data: bytes, alt: str, files: dict[str, bytes]) -> str:
        return f"#fw-image({typst_string(_filed(mime, data, files))}, alt: {typst_string(alt)})\n"

    def _literal(self, text: str) -> str:
        return f"#fw-printed({typst_string(text)})\n"

    def _with_pictures(self, text: str, piece: _Piece, folder: Path, files: dict[str, bytes]) -> str:
        def located(found: re.Match[str]) -> str:
            address = re.sub(r"\\(.)", r"\1", found[2])
            picture = _picture(address, piece, folder)
            if picture is None:
                return f"{found[1]}fw-elsewhere({typst_string(address)}"
            return f"{found[1]}image({typst_string(_filed(*picture, files))}"

        return re.sub(r'(#box\(|#figure\()image\("((?:[^"\\]|\\.)*)"', located, text)


def _filed(mime: str, data: bytes, files: dict[str, bytes]) -> str:
    """Put a picture among the files, by a name that its content gives, and return the name."""
    name = f"pictures/{hashlib.sha256(data).hexdigest()[:16]}{mimetypes.guess_extension(mime) or ''}"
    files[name] = data
    return name


class AuditHTMLExporter(_ReportExporter):
    """A notebook as one HTML file that loads nothing from elsewhere and runs nothing."""

    file_extension = Unicode(".html").tag(config=True)
    export_from_notebook = "HTML, self-contained"
    output_mimetype = "text/html"

    _writer = "html5"
    _native = "text/html"

    def from_notebook_node(self, nb: Any, resources: Any = None, **kw: Any) -> tuple[Any, Any]:
        """Return the page and the resources."""
        page, resources = super().from_notebook_node(nb, resources, **kw)
        del resources["outputs"]  # all is inside the page
        return page, resources

    def _prepare(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        nb, resources = super()._prepare(nb, resources)
        resources["report"]["style"] = _style()
        return nb, resources

    def _image(self, mime: str, data: bytes, alt: str, files: dict[str, bytes]) -> str:
        return f'<img class="fw-image" alt="{alt}" src="{_data_address(mime, data)}">\n'

    def _literal(self, text: str) -> str:
        return f'<pre class="fw-printed">{html.escape(shown(text))}</pre>\n'

    def _with_pictures(self, text: str, piece: _Piece, folder: Path, files: dict[str, bytes]) -> str:
        def located(found: re.Match[str]) -> str:
            address = html.unescape(found[1])
            picture = _picture(address, piece, folder)
            if picture is None:
                return f"<span>[image not in this file: {html_text(address)}]</span>"
            return found[0].replace(f'"{found[1]}"', f'"{_data_address(*picture)}"')

        return re.sub(r'<img\s[^>]*?src="([^"]*)"[^>]*>', located, re.sub(r"<\w[^<>]*>", _tame, text))


def _tame(tag: re.Match[str]) -> str:
    """Return a tag without attributes that would run something, its links only to pages and people."""
    calm = re.sub(
        r'\s(?:on\w+|style)="[^"]*"', lambda found: found[0] if "text-align" in found[0] else "", tag[0]
    )
    return re.sub(r'\shref="(?!https?:|mailto:|#)[^"]*"', "", calm)


def _data_address(mime: str, data: bytes) -> str:
    return f"data:{mime};base64,{base64.b64encode(data).decode()}"


@functools.cache
def _style() -> str:
    """Return the style of the page with the type inside it."""
    faces = "".join(
        f'@font-face{{font-family:"Fluewright Sans";font-weight:{weight};'
        f"src:url({_data_address('font/ttf', (templates() / 'fonts' / name).read_bytes())})}}\n"
        for weight, name in ((400, "FluewrightSans-Regular.ttf"), (700, "FluewrightSans-Bold.ttf"))
    )
    return faces + "".join(
        (templates() / name).read_text(encoding="utf-8") for name in ("parts.css", "page.css")
    )


# ---- the PDF ----------------------------------------------------------------------------------------------


@functools.cache
def typst_fonts() -> Any:
    """Return the fonts a page is set in: ours and matplotlib's, none of this computer's own."""
    return typst.Fonts(include_system_fonts=False, font_paths=[str(folder) for folder in type_folders()])


@functools.cache
def _glyphs() -> frozenset[int]:
    return INVISIBLE.union(*map(glyphs, FAMILIES))


def _in_our_glyphs(source: str) -> str:
    """Return the source with every character that no font here can draw as its visible code point.

    An empty box would hide what was written, and PDF/A forbids it.
    """
    lacking = {ord(character) for character in set(source) if not character.isascii()} - _glyphs()
    return source.translate({point: code_point(chr(point)) for point in lacking})


class TypstPDFExporter(TypstSourceExporter):
    """A notebook as PDF/A-3, by the Typst compiler; the same notebook and date give the same bytes."""

    file_extension = Unicode(".pdf").tag(config=True)
    export_from_notebook = "PDF by Typst"
    output_mimetype = "text/vnd.typst"

    pdf_standards = List(
        [["a-3a", "ua-1"], ["a-3b"]],
        help="Sets of PDF standards; the first that the notebook can meet is used. The accessible ones ask "
        "for headings in order and for words beside every picture and equation.",
    ).tag(config=True)

    def from_notebook_node(self, nb: Any, resources: Any = None, **kw: Any) -> tuple[Any, Any]:
        """Return the PDF as bytes, and the resources, in which ``pdf_standards`` are those it meets."""
        source, resources = super().from_notebook_node(nb, resources, **kw)
        made = resources["report"]["document"].made
        pdf, met = self._compiled(source, resources.pop("outputs"), int(made.timestamp()))
        resources["pdf_standards"] = met
        resources["output_extension"] = ".pdf"
        return pdf, resources

    def _compiled(self, source: str, files: Mapping[str, bytes], moment: int) -> tuple[bytes, list[str]]:
        with tempfile.TemporaryDirectory(prefix="fluewright-") as folder:
            root = Path(folder)
            for name, content in {"main.typ": source.encode(), **files}.items():
                path = root / name
                path.parent.mkdir(exist_ok=True)
                path.write_bytes(content)
            compiler = typst.Compiler(
                root / "main.typ",
                root=root,
                font_paths=typst_fonts(),
                ignore_system_fonts=True,
                package_path=root,
            )
            standards: Any
            for standards in self.pdf_standards:
                try:
                    pdf: Any = compiler.compile(format="pdf", pdf_standards=standards, timestamp=moment)
                except typst.TypstError as error:
                    refusal: BaseException = error
                except BaseException as error:
                    # The compiler's own defects arrive as an exception that no `except Exception` sees.
                    if type(error).__name__ != "PanicException":
                        raise
                    refusal = error
                else:
                    return pdf, list(standards)
        raise RenderError(f"the page could not be set: {refusal}") from refusal


def warm_up(markdown: Sequence[str] = ()) -> None:
    """Do ahead what every export needs: load fonts and templates, convert the known Markdown."""
    _glyphs()
    _style()
    sources = tuple(shown(source) for source in markdown)
    for exporter in (TypstSourceExporter, AuditHTMLExporter):
        _converted(sources, "markdown", exporter._writer)
        exporter().template  # noqa: B018
    typst.Compiler(b"= x", font_paths=typst_fonts(), ignore_system_fonts=True).compile(format="pdf")
