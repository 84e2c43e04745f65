"""What a notebook that was run shows, in order: the pieces of its report, its declaration, its attached files.

Takes a notebook as plain dictionaries, as its file holds it, so that nothing of Jupyter need be loaded.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fluewright.errors import RenderError
from fluewright.report.objects import ATTACHMENTS, DOCUMENT, TYPST, Document

__all__ = ["IMAGES", "Piece", "attachments_of", "document_of", "joined", "pieces_of"]

IMAGES = ("image/svg+xml", "image/png", "image/jpeg", "image/gif", "image/webp")
_ANSI = re.compile(r"\x1b(?:\[[0-?]*[ -/]*[@-~]|\][^\x07\x1b]*(?:\x07|\x1b\\)|[@-Z\\-_])")
_BARE_OBJECT = re.compile(r"<[\w.]+(?: object| at 0x|\b).*>", re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One thing to print: its kind says how `content` is to be read.

    Parameters
    ----------
    kind : str
        "native" (source of the page itself), "markdown", "html", "printed" (as it is), or an image's MIME type.
    content : str
        The text; an image other than SVG in base64.
    cell : int
        The number of its cell, from 1.
    attachments : mapping
        The pictures that a Markdown cell brings along, by name and MIME type.
    """

    kind: str
    content: str
    cell: int
    attachments: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def joined(text: object) -> str:
    """Return a text that a notebook file may hold as a list of lines."""
    return "".join(text) if isinstance(text, list) else str(text)


def pieces_of(
    nb: Mapping[str, Any], *, native: str, code: bool, warn: Callable[[str], None]
) -> Iterator[Piece]:
    """Yield what the notebook shows.

    Parameters
    ----------
    nb : mapping
        The notebook.
    native : str
        The MIME type of our own parts that the page is made of.
    code : bool
        Whether the code of each cell is shown too.
    warn : callable
        Told what was written to the error stream, which is no part of a report.

    Raises
    ------
    RenderError
        A cell ended in an error, or shows something that no page can carry.
    """
    for number, cell in enumerate(nb["cells"], start=1):
        source, kind = joined(cell["source"]), cell["cell_type"]
        if kind == "markdown":
            yield Piece(kind="markdown", content=source, cell=number, attachments=cell.get("attachments", {}))
        elif kind == "raw" and not cell["metadata"].get("raw_mimetype") and source.strip():
            yield Piece(kind="printed", content=source, cell=number)
        elif kind == "code":
            if code and source.strip():
                yield Piece(kind="printed", content=source, cell=number)
            for output in cell.get("outputs", ()):
                yield from _shown(output, number, native, warn)


def _shown(output: Mapping[str, Any], cell: int, native: str, warn: Callable[[str], None]) -> Iterator[Piece]:
    kind = output["output_type"]
    if kind == "error":
        raise RenderError(
            f"cell {cell} ended in an error, so there is no report: {output['ename']}: {output['evalue']}"
        )
    if kind == "stream":
        text = _ANSI.sub("", joined(output["text"]))
        if output["name"] == "stderr":
            warn(f"cell {cell}: {text.strip()}")
        elif text.strip():
            yield Piece(kind="printed", content=text, cell=cell)
    elif DOCUMENT not in output["data"]:
        yield _richest(output["data"], cell, native)


def _richest(data: Mapping[str, Any], cell: int, native: str) -> Piece:
    """Return the richest form of one output that a page can carry."""
    if TYPST in data and native in data:
        return Piece(kind="native", content=joined(data[native]), cell=cell)
    plain, page = joined(data.get("text/plain", "")), joined(data.get("text/html", ""))
    for kind in IMAGES:
        if kind in data:
            return Piece(kind=kind, content=joined(data[kind]), cell=cell)
    if "text/markdown" in data:
        return Piece(kind="markdown", content=joined(data["text/markdown"]), cell=cell)
    if "text/latex" in data and not page:
        return Piece(kind="markdown", content=joined(data["text/latex"]), cell=cell)
    if page and ("<table" in page or not plain.strip() or _BARE_OBJECT.fullmatch(plain)):
        return Piece(kind="html", content=page, cell=cell)
    if plain.strip():
        return Piece(kind="printed", content=_ANSI.sub("", plain), cell=cell)
    raise RenderError(
        f"an output of cell {cell} cannot be shown on a page: it holds {', '.join(sorted(data))}; "
        "display text, Markdown, HTML or an image instead"
    )


def _held(nb: Mapping[str, Any], mime: str) -> Iterator[Any]:
    for cell in nb["cells"]:
        for output in cell.get("outputs", ()):
            if mime in output.get("data", ()):
                yield output["data"][mime]


def document_of(nb: Mapping[str, Any], name: str) -> tuple[Document, bool]:
    """Return the document that the notebook declares, or one made up for it, and whether it was declared."""
    record = next(_held(nb, DOCUMENT), None)
    if record is not None:
        return Document(**{**record, "made": datetime.fromisoformat(record["made"])}), True
    moment = os.environ.get("SOURCE_DATE_EPOCH")
    made = datetime.fromtimestamp(int(moment), UTC) if moment else datetime.now(UTC)
    title = str(nb["metadata"].get("title") or name or "Notebook")
    return Document(title=title, header=(), date="", made=made.replace(microsecond=0)), False


def attachments_of(nb: Mapping[str, Any]) -> dict[str, tuple[Mapping[str, Any], bytes]]:
    """Return every attached file by name: its record, and its bytes checked against the record.

    Raises
    ------
    RenderError
        A file cannot be read, changed since it was attached, or shares its name with another.
    """
    found: dict[str, tuple[Mapping[str, Any], bytes]] = {}
    for record in (record for records in _held(nb, ATTACHMENTS) for record in records):
        name, path = record["name"], record["path"]
        if name in found:
            raise RenderError(f"two attachments are named '{name}'; give each its own name")
        try:
            content = Path(path).read_bytes() if path else base64.b64decode(record["base64"])
        except OSError as error:
            raise RenderError(f"attachment '{name}' cannot be read from {path}: {error.strerror}") from error
        if hashlib.sha256(content).hexdigest() != record["sha256"]:
            raise RenderError(f"attachment '{name}' ({path}) changed while the report was made; run it again")
        found[name] = (record, content)
    return found
