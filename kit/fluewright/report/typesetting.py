"""From what a notebook shows to its pages: Typst source, PDF, HTML. Nothing of Jupyter is loaded here."""

from __future__ import annotations

import base64
import functools
import hashlib
import html
import importlib.util
import mimetypes
import re
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeAlias
from urllib.parse import unquote

import jinja2
import pypandoc
import typst

from fluewright.errors import RenderError
from fluewright.report.objects import TYPST, Document, code_point, html_text, shown, templates, typst_string
from fluewright.report.pieces import IMAGES, Piece, attachments_of, document_of, joined, pieces_of

__all__ = [
    "HTML",
    "STANDARDS",
    "TYPST_SOURCE",
    "Form",
    "Layout",
    "compiled",
    "laid_out",
    "printed_page",
    "typst_fonts",
    "warm_up",
]

Files: TypeAlias = dict[str, bytes]

# Sets of PDF standards in order of preference. The accessible ones ask for headings in order and for words
# beside every picture and equation; the archive's own always holds, and lets files travel inside.
STANDARDS: tuple[tuple[str, ...], ...] = (("a-3a", "ua-1"), ("a-3b",))


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A form of page: how each kind of piece is written in it.

    Parameters
    ----------
    template : str
        The page template.
    native : str
        The MIME type in which our own parts bring their source.
    writer : str
        pandoc's name of the form.
    image : callable
        From MIME type, bytes, alt text and the files beside the page to the source that shows a picture.
    literal : callable
        From text to the source that prints it as it is.
    relocated : callable
        From source by pandoc, and what finds a named picture, to source that shows the pictures found.
    """

    template: str
    native: str
    writer: str
    image: Callable[[str, bytes, str, Files], str]
    literal: Callable[[str], str]
    relocated: Callable[[str, Callable[[str], tuple[str, bytes] | None], Files], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """What a page template prints, and the files that the page names."""

    document: Document
    declared: bool
    parts: Sequence[str]
    attached: Sequence[Mapping[str, Any]]
    contents: Mapping[str, bytes]
    files: Mapping[str, bytes]
    style: str = field(default="", repr=False)


def laid_out(
    nb: Mapping[str, Any], form: Form, *, name: str, folder: Path, code: bool, warn: Callable[[str], None]
) -> Layout:
    """Return the notebook's pieces written in `form`.

    Parameters
    ----------
    nb : mapping
        A notebook that was run.
    form : Form
        `TYPST_SOURCE` or `HTML`.
    name : str
        The notebook's name: the title, where it declares none.
    folder : Path
        Where pictures that Markdown names are looked for.
    code : bool
        Whether the code of each cell is printed too.
    warn : callable
        Told what the notebook wrote to its error stream.

    Raises
    ------
    RenderError
        Something cannot be shown.
    """
    document, declared = document_of(nb, name)
    attached = attachments_of(nb)
    contents = {file: content for file, (_, content) in attached.items()}
    files = {f"attached/{file}": content for file, content in contents.items()}
    pieces = list(pieces_of(nb, native=form.native, code=code, warn=warn))
    return Layout(
        document=document,
        declared=declared,
        parts=_written(pieces, form, folder, files),
        attached=[record for record, _ in attached.values()],
        contents=contents,
        files=files,
        style=_style() if form is HTML else "",
    )


def _written(pieces: Sequence[Piece], form: Form, folder: Path, files: Files) -> list[str]:
    by_pandoc: dict[int, str] = {}
    for reader in _READERS:
        chosen = [n for n, piece in enumerate(pieces) if piece.kind == reader]
        texts = _converted(tuple(shown(pieces[n].content) for n in chosen), reader, form.writer)
        for n, text in zip(chosen, texts, strict=True):
            if reader == "html" and not re.search(r"\w|<img|image\(", re.sub(r"<(?!img)[^>]*>", "", text)):
                raise RenderError(
                    f"the HTML that cell {pieces[n].cell} shows has nothing that a page can carry"
                )
            by_pandoc[n] = form.relocated(
                text, functools.partial(_picture, piece=pieces[n], folder=folder), files
            )
    return [by_pandoc[n] if n in by_pandoc else _one(piece, form, files) for n, piece in enumerate(pieces)]


def _one(piece: Piece, form: Form, files: Files) -> str:
    if piece.kind == "native":
        return piece.content
    if piece.kind in IMAGES:
        text = piece.kind == "image/svg+xml"
        data = piece.content.encode() if text else base64.b64decode(piece.content)
        return form.image(piece.kind, data, f"Image shown by cell {piece.cell}", files)
    return form.literal(piece.content.rstrip("\n"))


def printed_page(layout: Layout, form: Form) -> str:
    """Return the whole page as source."""
    page = _templates().get_template(form.template).render(report=layout)
    return in_our_glyphs(page) if form is TYPST_SOURCE else page


@functools.cache
def _templates() -> jinja2.Environment:
    made = jinja2.Environment(loader=jinja2.FileSystemLoader(templates() / "audit"), autoescape=False)
    made.filters.update(FILTERS)
    return made


_HEAD = 48  # characters of a site's or an appliance's name that the head of a page can hold
FILTERS: Mapping[str, Callable[[str], str]] = {
    "typst_string": typst_string,
    "shortened": lambda text: text if len(text) <= _HEAD else f"{text[: _HEAD - 1]}…",
    "escaped": html.escape,
}


# ---- Markdown and HTML by pandoc --------------------------------------------------------------------------

# Off: what would read an address or a time as a citation, swallow a cell as metadata, or let markup through.
_READERS = {
    "markdown": "markdown-citations-example_lists-fancy_lists-raw_html-raw_tex-raw_attribute-latex_macros"
    "-native_divs-native_spans-fenced_divs-bracketed_spans-yaml_metadata_block-pandoc_title_block-mmd_title_block"
    "-simple_tables-multiline_tables-grid_tables-table_captions-auto_identifiers-implicit_figures-smart"
    "-blank_before_header-blank_before_blockquote+lists_without_preceding_blankline+autolink_bare_uris"
    "+task_lists",
    "html": "html-raw_html-native_divs-native_spans-auto_identifiers",
}
_SEPARATOR = "7d1fe2c09bcellboundary4a86e3f5"


def _pandoc(text: str, reader: str, writer: str) -> str:
    options = ["--wrap=preserve", "--syntax-highlighting=none"]
    if writer == "html5":  # the page's own title is its only heading of the first level
        options += ["--mathml", "--shift-heading-level-by=1"]
    try:
        converted = pypandoc.convert_text(
            text, writer, format=_READERS[reader], extra_args=options, verify_format=False, sandbox=True
        )
    except RuntimeError as error:
        raise RenderError(f"pandoc could not read a cell as {reader}: {error}") from error
    return str(converted)


@functools.lru_cache(maxsize=16)
def _converted(sources: tuple[str, ...], reader: str, writer: str) -> tuple[str, ...]:
    """Return every source converted: Markdown by one call of pandoc, where no cell runs into the next."""
    if not any(source.strip() for source in sources):
        return ("",) * len(sources)
    if reader == "markdown":
        whole = _pandoc(f"\n\n*{_SEPARATOR}*\n\n".join(sources), reader, writer)
        # Only where the mark between two cells was read as the emphasis it is, and not within a fence that one
        # cell opens and another closes.
        mark = {"typst": rf"#emph\[{_SEPARATOR}\]", "html5": rf"<p><em>{_SEPARATOR}</em></p>"}[writer]
        parts = re.split(rf"\s*^{mark}$\s*", whole, flags=re.MULTILINE)
        if len(parts) == len(sources):
            return tuple(parts)
    return tuple(_pandoc(source, reader, writer) for source in sources)


def _picture(address: str, *, piece: Piece, folder: Path) -> tuple[str, bytes] | None:
    """Return the MIME type and bytes of a picture that a Markdown cell names, or None for one elsewhere."""
    if address.startswith("attachment:"):
        for mime, data in piece.attachments.get(unquote(address.removeprefix("attachment:")), {}).items():
            return mime, base64.b64decode(joined(data))
    if found := re.fullmatch(r"data:(image/[\w.+-]+);base64,(.+)", address, re.DOTALL):
        return found[1], base64.b64decode(found[2])
    mime = mimetypes.guess_type(address)[0] or ""
    path = folder / unquote(address)
    return (mime, path.read_bytes()) if mime in IMAGES and "://" not in address and path.is_file() else None


# ---- Typst ------------------------------------------------------------------------------------------------


def _filed(mime: str, data: bytes, files: Files) -> str:
    """Put a picture among the files, by a name that its content gives, and return the name."""
    name = f"pictures/{hashlib.sha256(data).hexdigest()[:16]}{mimetypes.guess_extension(mime) or ''}"
    files[name] = data
    return name


def _typst_image(mime: str, data: bytes, alt: str, files: Files) -> str:
    return f"#fw-image({typst_string(_filed(mime, data, files))}, alt: {typst_string(alt)})\n"


def _typst_literal(text: str) -> str:
    return f"#fw-printed({typst_string(text)})\n"


def _typst_relocated(text: str, picture: Callable[[str], tuple[str, bytes] | None], files: Files) -> str:
    def located(found: re.Match[str]) -> str:
        address = re.sub(r"\\(.)", r"\1", found[2])
        there = picture(address)
        if there is None:
            return f"{found[1]}fw-elsewhere({typst_string(address)}"
        return f"{found[1]}image({typst_string(_filed(*there, files))}"

    return re.sub(r'(#box\(|#figure\()image\("((?:[^"\\]|\\.)*)"', located, text)


TYPST_SOURCE = Form(
    template="index.typ.j2",
    native=TYPST,
    writer="typst",
    image=_typst_image,
    literal=_typst_literal,
    relocated=_typst_relocated,
)

# What our own type surely has; a character beyond it is looked up in all fonts of the page.
_SURE = re.compile(
    "[\x00-\x7e\u00a0-\u017f\u0391-\u03a1\u03a3-\u03a9\u03b1-\u03c9\u2007\u2009-\u200b\u2010-\u201e\u2020-\u2022\u2026"
    "\u202f-\u2033\u2039\u203a\u2044\u2070\u2074-\u208e\u20ac\u2122\u2190-\u2193\u2206\u2211\u2212\u221a\u221e\u2248"
    "\u2260\u2264\u2265\u25a0\u25a1\u25b2-\u25ba\u25bc-\u25c4\u25cf\u2713\u2714\u2717\u2718]+"
)


def in_our_glyphs(source: str) -> str:
    """Return the source with every character that no font of the page can draw as its visible code point.

    An empty box would hide what was written, and PDF/A forbids it.
    """
    doubtful = set(_SURE.sub("", source))
    if not doubtful:
        return source
    from fluewright.report.drawing import FAMILIES, INVISIBLE, glyphs

    lacking = {ord(character) for character in doubtful} - INVISIBLE.union(*map(glyphs, FAMILIES))
    return source.translate({point: code_point(chr(point)) for point in lacking})


@functools.cache
def typst_fonts() -> Any:
    """Return the fonts a page is set in: ours and matplotlib's, none of this computer's own."""
    # Found without loading matplotlib, which takes longer than setting a page.
    place = importlib.util.find_spec("matplotlib")
    assert place is not None
    assert place.origin is not None
    common = Path(place.origin).parent / "mpl-data" / "fonts" / "ttf"
    return typst.Fonts(include_system_fonts=False, font_paths=[templates() / "fonts", common])


def compiled(
    source: str, layout: Layout, standards: Sequence[Sequence[str]] = STANDARDS
) -> tuple[bytes, tuple[str, ...]]:
    """Return the PDF of a page's source, and the first set of standards that it could be made to meet.

    Raises
    ------
    RenderError
        The source cannot be set under any of them.
    """
    moment = int(layout.document.made.timestamp())
    with tempfile.TemporaryDirectory(prefix="fluewright-") as folder:
        root = Path(folder)
        for name, content in {"main.typ": source.encode(), **layout.files}.items():
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
        chosen: Any
        for chosen in standards:
            try:
                pdf: Any = compiler.compile(format="pdf", pdf_standards=list(chosen), timestamp=moment)
            except BaseException as error:
                # The compiler's own defects arrive as an exception that no `except Exception` sees.
                if not isinstance(error, typst.TypstError) and type(error).__name__ != "PanicException":
                    raise
                refusal = error
            else:
                return pdf, tuple(chosen)
    raise RenderError(f"the page could not be set: {refusal}") from refusal


# ---- HTML -------------------------------------------------------------------------------------------------


def _data_address(mime: str, data: bytes) -> str:
    return f"data:{mime};base64,{base64.b64encode(data).decode()}"


def _html_image(mime: str, data: bytes, alt: str, files: Files) -> str:
    return f'<img class="fw-image" alt="{alt}" src="{_data_address(mime, data)}">\n'


def _html_literal(text: str) -> str:
    return f'<pre class="fw-printed">{html.escape(shown(text))}</pre>\n'


def _html_relocated(text: str, picture: Callable[[str], tuple[str, bytes] | None], files: Files) -> str:
    def located(found: re.Match[str]) -> str:
        address = html.unescape(found[1])
        there = picture(address)
        if there is None:
            return f"<span>[image not in this file: {html_text(address)}]</span>"
        return found[0].replace(f'"{found[1]}"', f'"{_data_address(*there)}"')

    return re.sub(r'<img\s[^>]*?src="([^"]*)"[^>]*>', located, re.sub(r"<\w[^<>]*>", _tame, text))


def _tame(tag: re.Match[str]) -> str:
    """Return a tag without attributes that would run something, its links only to pages and people."""
    calm = re.sub(
        r'\s(?:on\w+|style)="[^"]*"', lambda found: found[0] if "text-align" in found[0] else "", tag[0]
    )
    return re.sub(r'\shref="(?!https?:|mailto:|#)[^"]*"', "", calm)


HTML = Form(
    template="index.html.j2",
    native="text/html",
    writer="html5",
    image=_html_image,
    literal=_html_literal,
    relocated=_html_relocated,
)


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


def warm_up(markdown: Sequence[str] = ()) -> None:
    """Do ahead what every report needs: load fonts and templates, convert the Markdown that is known."""
    sources = tuple(shown(source) for source in markdown)
    for form in (TYPST_SOURCE, HTML):
        _templates().get_template(form.template)
        _converted(sources, "markdown", form.writer)
    _style()
    typst.Compiler(b"= x", font_paths=typst_fonts(), ignore_system_fonts=True).compile(format="pdf")
