"""How the trade writes headings, units and words: `wordings.toml` looked up, never a unit or quantity decided by it."""

from __future__ import annotations

import functools
import re
import tomllib
import unicodedata
from collections.abc import Mapping
from importlib import resources
from typing import Any

from fluewright import sources, units
from fluewright.errors import UnitError

_SHORT = 3  # letters: "TA" is the air in one language and the flue gas in another
_SAME = 1e-3  # relative: inches of water of 4 °C and of 20 °C are told by the same sign


@functools.cache
def wordings() -> Mapping[str, Any]:
    """Return the whole of `wordings.toml`."""
    return tomllib.loads(
        resources.files("fluewright.visit").joinpath("wordings.toml").read_text(encoding="utf-8")
    )


def plain(text: str) -> str:
    """Return a heading in lower case with marks left out, subscripts made plain."""
    text = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(re.sub(r"[^\w%]|_", " ", text).split())


def unit_of(text: str) -> str | None:
    """Return pint's name of a unit as it is written in the field, None where it is not known."""
    known: Mapping[str, str] = wordings()["units"]
    return known.get(" ".join(unicodedata.normalize("NFKC", text).strip(" []()").casefold().split()))


def split_unit(heading: str) -> tuple[str, str]:
    """Return the name and the unit of a heading such as "O2 [%]", "CO ppm" or "T flue (°C)"."""
    heading = unicodedata.normalize("NFKC", heading).strip()
    if found := re.fullmatch(r"(.*?)\s*[\[({]\s*([^\[\](){}]*?)\s*[\])}]\s*", heading, re.DOTALL):
        return found[1], found[2]
    for gap in re.finditer(r"[\s_,/]+", heading):
        if gap.start() and unit_of(heading[gap.end() :]) is not None:
            return heading[: gap.start()], heading[gap.end() :]
    return heading, ""


def quantities_named(name: str) -> list[str]:
    """Return the quantities that a heading without its unit may name."""
    words: Mapping[str, list[str]] = wordings()["quantities"]
    return [quantity for quantity, headings in words.items() if plain(name) in headings]


def same_unit(one: str, other: str, quantity: str) -> bool | None:
    """Tell whether two units say the same of a quantity, None where one of them is no unit of it."""
    unit = sources.quantity(quantity).unit
    try:
        (slope, offset), (other_slope, other_offset) = (
            units.factor(each, unit, quantity) for each in (one, other)
        )
    except UnitError:
        return None
    return abs(slope / other_slope - 1) < _SAME and abs(offset - other_offset) < _SAME * abs(slope)


def contradiction(heading: str, below: str, *, quantity: str, unit: str) -> str:
    """Return how a heading, or the unit in the cell `below` it, plainly contradicts the column map; "" where not.

    A unit of one letter, which may be a channel's or a thermocouple's, counts below a heading, or where the heading
    names what is measured; a heading of several meanings is no contradiction.
    """
    name, in_heading = split_unit(heading)
    named_so = quantities_named(name)
    for text, where in ((in_heading, "in"), (below.strip(" []()"), "below")):
        found, letter = unit_of(text), len(text) == 1 and text.isalpha()
        if found in {None, "1"} or (letter and where == "in" and (found == "kelvin" or not named_so)):
            continue
        same = same_unit(str(found), unit, quantity)
        if same is False or (same is None and not letter):
            return f"the unit {text} stands {where} its heading"
    group, named = _group(quantity), {_group(one) for one in named_so}
    # A heading may stand in several rows: "Flue" above "O2" says where, and not that it is a temperature.
    kinds = {sources.quantity(one).unit for one in (quantity, *named_so)}
    if len(kinds) > 1 or (kinds == {"K"} and len(plain(name)) <= _SHORT):
        return ""
    if len(named) == 1 and None not in (group, *named) and group not in named:
        return "its heading names another quantity"
    return ""


def _group(quantity: str) -> int | None:
    """Return the group in which a quantity stands, of those that plainly exclude each other."""
    groups: list[list[str]] = wordings()["apart"]
    return next((place for place, group in enumerate(groups) if quantity in group), None)
