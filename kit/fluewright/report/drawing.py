"""How figures of a report are drawn: the style for matplotlib, the type, and SVG that sets well."""

from __future__ import annotations

import contextlib
import functools
import hashlib
import io
import re
import warnings
from collections.abc import Iterator
from pathlib import Path

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.figure import Figure as Drawing
from matplotlib.ft2font import FT2Font

from fluewright.report.objects import MARGIN, PAPER_WIDTH, Figure, code_point, shown, templates

__all__ = ["COLORS", "Drawing", "drawing_style", "figure", "glyphs", "text_width", "type_folders"]

# Okabe and Ito's colors, distinct to color-blind readers; in this order also distinct in grey.
COLORS = ("#0072B2", "#D55E00", "#111111", "#009E73", "#CC79A7", "#E69F00")


@contextlib.contextmanager
def drawing_style() -> Iterator[None]:
    """Draw in the style of the report while this context lasts: its type, colors and line styles."""
    known = {entry.fname for entry in font_manager.fontManager.ttflist}
    for path in sorted((templates() / "fonts").glob("FluewrightSans-*.ttf")):
        if str(path) not in known:
            font_manager.fontManager.addfont(str(path))
    with mpl.rc_context(fname=str(templates() / "drawing.mplstyle")):
        yield


def text_width(paper: str) -> float:
    """Return the width of the text on `paper` ("letter" or "a4"), in inches."""
    return PAPER_WIDTH[paper] - 2 * MARGIN


def figure(drawing: Drawing, *, alt: str, caption: str = "") -> Figure:
    """Return a matplotlib figure as a figure of the report; the same drawing gives the same bytes.

    Parameters
    ----------
    drawing : matplotlib.figure.Figure
        ``Drawing(figsize=(text_width(paper), height))`` made within `drawing_style`, without pyplot.
    alt, caption : str
        See `Figure`.
    """
    # The salt keeps the inner names of two figures on one page apart, and the same from run to run.
    salt = hashlib.sha256(f"{alt}\n{caption}".encode()).hexdigest()[:12]
    nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
    buffer = io.StringIO()
    with drawing_style(), mpl.rc_context({"svg.hashsalt": salt}), warnings.catch_warnings():
        # A character that no font has is written as its code point below.
        warnings.filterwarnings("ignore", r"Glyph \d+ .* missing from font")
        drawing.savefig(buffer, format="svg", metadata=nothing)
    svg = shown(buffer.getvalue())
    svg = re.sub(r"(<text\b[^>]*>)([^<]*)", lambda found: found[1] + _in_families(found[2]), svg)
    return Figure(svg=svg[svg.index("<svg") :], alt=alt, caption=caption)


# ---- type -----------------------------------------------------------------------------------------------


def type_folders() -> tuple[Path, Path]:
    """Return the folders of the fonts that a page is set in: our own, and matplotlib's."""
    return templates() / "fonts", Path(mpl.get_data_path()) / "fonts" / "ttf"


@functools.cache
def glyphs(family: str) -> frozenset[int]:
    """Return the code points that a family can draw, in regular and in bold."""
    own, common = type_folders()
    files = {
        "Fluewright Sans": (own / "FluewrightSans-Regular.ttf",),
        "DejaVu Sans": (common / "DejaVuSans.ttf", common / "DejaVuSans-Bold.ttf"),
        "Fluewright Emoji": (own / "FluewrightEmoji-Regular.ttf",),
    }[family]
    return frozenset.intersection(*(frozenset(FT2Font(str(path)).get_charmap()) for path in files))


# Drawn as nothing by every font: joiners, selectors, direction marks.
INVISIBLE = frozenset(
    {0x00AD, 0x061C, *range(0x200B, 0x2010), *range(0xFE00, 0xFE10), *range(0xE0020, 0xE0080)}
)
FAMILIES = ("Fluewright Sans", "DejaVu Sans", "Fluewright Emoji")


def _in_families(text: str) -> str:
    """Return the text of an SVG element with each stretch bound to the family that has its characters.

    The page's compiler looks for another font by itself only in simple cases; in others it fails.
    """
    if text.isascii():
        return text
    runs: list[tuple[str, str]] = []
    for character in text:
        if ord(character) in INVISIBLE and runs:
            family = runs[-1][0]
        else:
            family = next((family for family in FAMILIES if ord(character) in glyphs(family)), "")
            character = character if family else code_point(character)
            family = family or FAMILIES[0]
        if runs and runs[-1][0] == family:
            runs[-1] = (family, runs[-1][1] + character)
        else:
            runs.append((family, character))
    return "".join(
        run if family == FAMILIES[0] else f"<tspan style=\"font-family: '{family}'\">{run}</tspan>"
        for family, run in runs
    )
