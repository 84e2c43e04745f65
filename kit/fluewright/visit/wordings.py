"""How the trade writes headings, units and words: `wordings.toml` looked up, never a unit or quantity decided by it."""

from __future__ import annotations

import functools
import re
import tomllib
import unicodedata
from collections.abc import Mapping, Sequence
from importlib import resources
from typing import Any

from fluewright import sources, units
from fluewright.errors import UnitError
from fluewright.visit.problems import RefusalError, shown

_SHORT = 3  # letters: "TA" is the air in one language and the flue gas in another
_SIGNS = str.maketrans("º˚∘″”“\u2212", '°°°"""-')  # signs taken for one another
_TAIL = r"(.+?)[\s_]+(avg|average|mean|max|min|raw|#?\d{1,2})"  # what may follow the unit of a heading
_THOUSAND_OR_MILLION = r"[\d.\s]mbtu(?!h)"  # the trade's M is a thousand, that of physics a million
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


def _signed(text: str) -> str:
    """Return text with one sign for each degree, inch, exponent and subscript."""
    return unicodedata.normalize("NFKC", text.translate(_SIGNS))


@functools.lru_cache(maxsize=4096)
def unit_of(text: str, quantity: str = "") -> str | None:
    """Return pint's name of a unit as it is written in the field, of a quantity; None where it is not known.

    A unit that no factor turns into another, such as mg/m3, is returned as it is written.
    """
    word = re.sub(r"[\s.()\[\]]", "", _signed(text).casefold())
    if quantity == "barometric_pressure" and word in wordings()["barometer"]:
        return str(wordings()["barometer"][word])
    known: Mapping[str, str] = wordings()["units"]
    return known.get(word, word if word in wordings()["without_factor"] else None)


def unit_in_pint(unit: str, quantity: str) -> str:
    """Return pint's name of a unit as it is written in visit.toml; the unit itself where it is none of the quantity.

    A single letter is left to pint: F is the farad, C the coulomb.
    """
    if not is_letter(unit) and same_unit(unit, unit, quantity) is None:
        found = unit_of(unit, quantity)
        if found not in {None, "1"} and same_unit(str(found), str(found), quantity) is not None:
            return str(found)
    return unit


def read_number(text: str, unit: str, name: str, *, usual: Sequence[str] = ()) -> float:
    """Return a number with its unit, written in visit.toml, in the SI unit `unit`; also as the field writes units.

    Where a difference of temperatures is wanted, "2 °F" is one.

    Raises
    ------
    UnitError
        As `units.parse` has it.
    """
    text = str(text).translate(_SIGNS)
    refuse_thousand_or_million(text, name)
    try:
        return units.parse(text, unit, name, usual=usual)
    except UnitError as error:
        parted = re.fullmatch(r"\s*([+-]?[\d.]+(?:e[+-]?\d+)?)\s*(\S.*?)\s*", text, re.IGNORECASE)
        if parted is not None and unit_of(parted[2]) in wordings()["without_factor"]:
            raise UnitError(
                f"{name}: no factor turns '{parted[2]}' into a unit of it: it takes a temperature and a pressure, or "
                f"the fuel; have the instrument read it in {' or '.join(usual or (unit,))}"
            ) from error
        found = None if parted is None or is_letter(parted[2]) else _written_unit(parted[2], name)
        if parted is None or found is None:
            raise
        if unit.startswith("delta_") and found in {"degF", "degC"}:
            found = f"delta_{found}"
        try:
            return units.parse(f"{parted[1]} {found}", unit, name, usual=usual)
        except UnitError:
            raise error from None  # as it was written


def refuse_thousand_or_million(text: str, name: str) -> None:
    """Refuse MBtu after a blank or a number.

    Raises
    ------
    UnitError
        It is there.
    """
    if re.search(_THOUSAND_OR_MILLION, text, re.IGNORECASE):
        raise UnitError(f"{name}: '{text.strip()}' may be a thousand Btu or a million; write kBtu or MMBtu")


def refuse_impossible(number: float, text: str, name: str, unit: str) -> None:
    """Refuse a difference where a temperature is asked for, and of a quantity, `name`, a number that cannot be.

    Raises
    ------
    RefusalError
        It is one of these; `text` is how it was written, `number` what it is in the SI unit `unit`.
    """
    known = sources.quantities().get(name)
    if unit == "K" and "delta" in text:
        raise RefusalError(
            f"{name} is {shown(text)}",
            rule="that is a difference, and a temperature is asked for",
            way_out="Write it in degF or degC, without delta",
        )
    low, high = (None, None) if known is None else (known.low, known.high)
    if (low is not None and number < low) or (high is not None and number > high):
        raise RefusalError(
            f"{name} is {shown(text)}",
            rule="that is outside of what it can be",
            way_out="Check the number and its unit",
        )


def read_quantity(text: str, quantity: str) -> float:
    """Return a number of a quantity with its unit, such as "5.2 percent", in its SI unit.

    Raises
    ------
    UnitError, RefusalError
        As `read_number` and `refuse_impossible` have it.
    """
    known = sources.quantity(quantity)
    number = read_number(text, known.unit, quantity, usual=known.usual_units)
    refuse_impossible(number, text, quantity, known.unit)
    return number


def _written_unit(unit: str, quantity: str) -> str | None:
    """Return pint's name of a unit written after a number, None where it is not known."""
    word = re.sub(r"[\s.()\[\]]", "", _signed(unit).casefold())
    known: Mapping[str, str] = wordings()["written"]
    found = known.get(word) or unit_of(unit, quantity)
    return None if found in {None, "1"} else found


def split_unit(heading: str) -> tuple[str, str]:
    """Return the name and the unit of a heading such as "O2 [%]", "CO ppm" or "T flue (°C)"."""
    heading = _signed(heading).strip()
    for part in re.finditer(r"\s*[\[({]([^\[\](){}]*)[\])}]", heading):
        if unit_of(part[1]) not in {None, "1"}:
            return heading[: part.start()] + heading[part.end() :], part[1].strip()
    if found := re.fullmatch(r"(.*?)\s*[\[({]\s*([^\[\](){}]*?)\s*[\])}]\s*", heading, re.DOTALL):
        return found[1], found[2]
    for gap in re.finditer(r"[\s_,/]+", heading):
        if gap.start() and unit_of(heading[gap.end() :]) is not None:
            return _without_in(heading[: gap.start()]), heading[gap.end() :]
    if tail := re.fullmatch(_TAIL, heading, re.IGNORECASE):
        name, unit = split_unit(tail[1])
        if len(unit) > 1:
            return f"{name} {tail[2]}", unit
    return heading, ""


def _without_in(name: str) -> str:
    """Return a name without the "in" that led to its unit, as in "CO in ppm", where it is a known name only then."""
    bare = re.sub(r"[\s_]+(in|en)$", "", name, flags=re.IGNORECASE)
    return bare if quantities_named(bare) and not quantities_named(name) else name


def split_time_unit(heading: str, below: str) -> tuple[str, str]:
    """Return the name and the unit of a heading such as "Time (min)" or "t_ms", "" where it has none."""
    name, unit = split_unit(heading)
    last = re.fullmatch(r"(.+?)(?:[\s_]+in)?[\s_,/]+(\w+)", name)
    if not unit and last and _time_unit(last[2]):
        name, unit = last[1], last[2]
    return name, _time_unit(unit) or _time_unit(below)


def _time_unit(text: str) -> str:
    """Return the unit of elapsed time that a text writes, "" where it writes none."""
    units_of_time: Mapping[str, list[str]] = wordings()["time"]["units"]
    word = text.strip(" []().").casefold()
    return next((unit for unit, words in units_of_time.items() if word in words), "")


def quantities_named(name: str) -> list[str]:
    """Return the quantities that a heading without its unit may name.

    One with a sign in brackets, such as "Oxygen (O2)", names what both do: "CO (3 % O2)" is not the CO of the gas.
    """
    words: Mapping[str, list[str]] = wordings()["quantities"]
    named = [quantity for quantity, headings in words.items() if plain(name) in headings]
    if not named and (parts := re.fullmatch(r"([^\[\](){}]+)[\[({]([^\[\](){}]+)[\])}]\s*", name)):
        inside = quantities_named(parts[2])
        return [quantity for quantity in quantities_named(parts[1]) if quantity in inside]
    return named


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


def contradiction(heading: str, below: str, *, quantity: str, unit: str, row: Sequence[str] = ()) -> str:
    """Return how a heading, or the unit in the cell `below` it, plainly contradicts the column map; "" where not.

    A unit of one letter, which may be a channel's or a thermocouple's, counts in a `row` of units, or where the heading
    names what is measured; a heading of several meanings is no contradiction.
    """
    name, in_heading = split_unit(heading)
    named_so = quantities_named(name)
    for text, where in ((in_heading, "in"), (below.strip(" []()"), "below")):
        found, letter = unit_of(text, quantity), is_letter(text)
        counts = named_so and found != "kelvin" if where == "in" else letters_count(text, row or (below,))
        if found in {None, "1"} or (letter and not counts):
            continue
        same = same_unit(str(found), unit, quantity)
        if same is False or (same is None and not letter):
            factor = f", and no factor turns it into {unit}" if found in wordings()["without_factor"] else ""
            return f"the unit {text} stands {where} its heading{factor}"
    group, named = _group(quantity), {_group(one) for one in named_so}
    # A heading may stand in several rows: "Flue" above "O2" says where, and not that it is a temperature.
    kinds = {sources.quantity(one).unit for one in (quantity, *named_so)}
    if len(kinds) > 1 or (kinds == {"K"} and len(plain(name)) <= _SHORT):
        return ""
    if len(named) == 1 and None not in (group, *named) and group not in named:
        return "its heading names another quantity"
    return ""


def time_contradiction(heading: str, below: str, *, unit: str) -> str:
    """Return how the heading of elapsed time, or the cell `below` it, says another unit than visit.toml; "" if not."""
    told = _time_unit(heading) or split_time_unit(heading, "")[1]
    for found, where in ((told, "in"), (_time_unit(below), "below")):
        if found not in {"", unit}:
            return f"the unit {found} stands {where} its heading"
    return ""


def is_letter(text: str) -> bool:
    """Tell whether a text is one letter."""
    return len(text) == 1 and text.isalpha()


def is_row_of_units(row: Sequence[str]) -> bool:
    """Tell whether most cells of the row below the headings, single letters left aside, are units."""
    cells = [cell for cell in _filled(row) if not is_letter(cell) and unit_of(cell) != "1"]
    return 2 * sum(unit_of(cell) is not None for cell in cells) > len(cells)


def letters_count(letter: str, row: Sequence[str]) -> bool:
    """Tell whether a letter is a unit by the row in which it stands: a row of units, or one of such letters alone.

    K is a type of thermocouple where nothing else in the row is a unit, or another letter is none.
    """
    strange = any(is_letter(cell) and unit_of(cell) is None for cell in _filled(row))
    kelvin = unit_of(letter) == "kelvin"
    if all(map(is_letter, _filled(row))):
        return not kelvin and not strange
    return is_row_of_units(row) and not (kelvin and strange)


def unknown_unit(below: str, *, unit: str, row: Sequence[str]) -> str:
    """Return why a cell of a row of units is not taken for one, "" where it is, or where the row holds other things."""
    text = below.strip(" []()")
    found, of_units = unit_of(text), is_row_of_units(row)
    if is_letter(text) and found not in {None, unit}:
        doubtful = not letters_count(text, row) and (of_units or all(map(is_letter, _filled(row))))
        return "may be a type of thermocouple" if doubtful else ""
    return "is not known" if text and found is None and of_units else ""


def _filled(row: Sequence[str]) -> list[str]:
    return [text for cell in row if (text := cell.strip(" []()"))]


def _group(quantity: str) -> int | None:
    """Return the group in which a quantity stands, of those that plainly exclude each other."""
    groups: list[list[str]] = wordings()["apart"]
    return next((place for place, group in enumerate(groups) if quantity in group), None)
