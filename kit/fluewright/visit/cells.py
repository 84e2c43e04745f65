"""The cells of a log: numbers as instruments write them, and the words they write instead of numbers."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from fluewright.units import Array
from fluewright.visit.readings import Cell
from fluewright.visit.wordings import same_unit, unit_of, wordings

TEXT = -1  # the state of a cell that is neither a number nor a word known below; never leaves this room

SWITCHES = frozenset({"blower_on", "burner_on"})  # quantities that are on or off
_SWITCH = {"on": 1.0, "true": 1.0, "yes": 1.0, "off": 0.0, "false": 0.0, "no": 0.0}
_MEANINGS = {
    "no reading": Cell.NO_NUMBER,
    "over range": Cell.OVER_RANGE,
    "under range": Cell.UNDER_RANGE,
}

_BLANKS = " \t\u00a0\u2007\u2009\u202f"
_MINUS = "\u2212"  # as word processors and pages write it
_NUMBER = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?"
_GROUPED = re.compile(r"([+-]?[1-9][0-9]{0,2})((?:([ ',.])[0-9]{3})(?:\3[0-9]{3})*)([.,][0-9]*)?", re.ASCII)
_AMBIGUOUS = re.compile(r"[1-9][0-9]{0,2}[.,][0-9]{3}( ?\D*)?")  # a bound: of thousands, or to three decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """What cells held: a number or NaN, the state, and the bound of a reading out of range.

    `states` is None where every cell is a number, `bounds` where no cell holds a bound.
    """

    values: Array
    states: NDArray[np.int8] | None = None
    bounds: Array | None = None

    def taken(self, places: NDArray[Any]) -> Cells:
        """Return the cells at some places, or where a mask is true."""
        states = None if self.states is None else self.states[places]
        bounds = None if self.bounds is None else self.bounds[places]
        return Cells(values=self.values[places], states=states, bounds=bounds)

    def scaled(self, scale: tuple[float, float]) -> Cells:
        """Return the cells in another unit: times a slope, and an offset added."""
        slope, offset = scale
        bounds = None if self.bounds is None else self.bounds * slope + offset
        return Cells(values=self.values * slope + offset, states=self.states, bounds=bounds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """How a log writes numbers: the decimal mark, the mark between thousands, and whether on and off are numbers.

    `words` says what words mean, by visit.toml. A number may carry its unit, where that is `unit`, of `quantity`.
    """

    decimal: str = "."
    thousands: str = ""
    switch: bool = False
    words: Mapping[str, str] = field(default_factory=dict)
    unit: str = ""
    quantity: str = ""


def read_cells(tokens: pa.StringArray, *, writing: Writing) -> Cells:
    """Read each token; a token that is no number and no known word gets the state `TEXT`."""
    trimmed = pc.utf8_trim(tokens, characters=_BLANKS)
    numbers = pc.replace_substring(trimmed, ",", ".") if writing.decimal == "," else trimmed
    foreign = writing.decimal == "," and pc.any(pc.match_substring(trimmed, ".")).as_py()
    if not foreign:
        try:
            values = pc.cast(numbers, pa.float64()).to_numpy(zero_copy_only=False)
        except pa.ArrowInvalid:
            pass
        else:
            if np.isfinite(values).all():
                return Cells(values=values)
    numbers = pc.replace_substring(numbers, _MINUS, "-")
    plain = pc.match_substring_regex(numbers, f"^{_NUMBER}$")
    if foreign:
        plain = pc.and_(plain, pc.invert(pc.match_substring(trimmed, ".")))
    unsigned = pc.utf8_ltrim(numbers, characters="+")
    values = np.array(pc.cast(pc.if_else(plain, unsigned, None), pa.float64()).to_numpy(zero_copy_only=False))
    states, bounds = np.zeros(len(values), np.int8), np.full(len(values), np.nan)
    for place in np.flatnonzero(~np.isfinite(values)):
        cell = read_word(str(trimmed[int(place)]), writing=writing)
        values[place], states[place], bounds[place] = cell.value, cell.state, cell.bound
    return Cells(
        values=values,
        states=states if states.any() else None,
        bounds=bounds if np.isfinite(bounds).any() else None,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """One cell that is not a plain number."""

    state: int
    value: float = float("nan")
    bound: float = float("nan")


def read_word(text: str, *, writing: Writing) -> Word:
    """Read one cell in full: words, bounds such as ">2000", thousands marks, and numbers that carry their unit."""
    word = _folded(text)
    if (meant := _meant(word, writing)) is not None:
        return Word(state=meant)
    number = _number(word, writing)
    if number is not None:
        return Word(state=Cell.NUMBER, value=number)
    if not word:
        return Word(state=Cell.EMPTY)
    if writing.switch and word in _SWITCH:
        return Word(state=Cell.NUMBER, value=_SWITCH[word])
    if state := _words().get(word, _words().get(word.rstrip(".!"))):
        return Word(state=state)
    if len(word) > 1 and not word.strip("+^>"):
        return Word(state=Cell.OVER_RANGE)
    if len(word) > 1 and not word.strip("<"):
        return Word(state=Cell.UNDER_RANGE)
    if not word.strip("-–—_.*?/# "):
        return Word(state=Cell.NO_NUMBER)
    bounded = word[0] in ">≥<≤"
    written = word.lstrip(">≥=<≤ ") if bounded else word
    ambiguous = bounded and writing.decimal in written and _AMBIGUOUS.fullmatch(written)
    number = None if ambiguous else _with_unit(written, writing)
    if number is None:
        return Word(state=TEXT)
    if not bounded:
        return Word(state=Cell.NUMBER, value=number)
    return Word(state=Cell.OVER_RANGE if word[0] in ">≥" else Cell.UNDER_RANGE, bound=number)


def _folded(text: str) -> str:
    """Return the text of a cell in lower case, with single blanks and one sign for minus."""
    return " ".join(text.replace(_MINUS, "-").casefold().split())


@functools.cache
def _words() -> Mapping[str, Cell]:
    """Return what the words of the trade's instruments mean."""
    known = wordings()["cells"]
    return {word: state for meaning, state in _MEANINGS.items() for word in known[meaning.replace(" ", "_")]}


def _meant(word: str, writing: Writing) -> Cell | None:
    """Return what visit.toml says of a word."""
    return next(
        (_MEANINGS[meaning] for name, meaning in writing.words.items() if _folded(name) == word), None
    )


def meant_numbers(writing: Writing) -> Mapping[float, Cell]:
    """Return the numbers that stand among the words of visit.toml, and what they mean."""
    numbers = ((_number(word.strip(_BLANKS), writing), meaning) for word, meaning in writing.words.items())
    return {number: _MEANINGS[meaning] for number, meaning in numbers if number is not None}


def _with_unit(word: str, writing: Writing) -> float | None:
    """Return a number, or one that carries the unit of its column."""
    number, unit = unit_parted(word)
    alike = unit in {"", writing.unit}
    if not alike and writing.quantity:
        alike = same_unit(unit, writing.unit, writing.quantity) is True
    return _number(number, writing) if alike else None


def unit_parted(word: str) -> tuple[str, str]:
    """Return the number and pint's name of the unit of a cell such as "30 ppm"; all of it and "" without a unit."""
    found = re.fullmatch(r"([+-]?[\d.,][\d.,' ]*?)\s*([^\d\s.,'].*)", word)
    unit = unit_of(found[2]) if found else None
    return (word, "") if found is None or unit in {None, "1"} else (found[1], str(unit))


def _number(word: str, writing: Writing) -> float | None:
    """Return the number a word writes; a lone mark that could be of decimals or of thousands is no number."""
    for blank in _BLANKS[1:]:
        word = word.replace(blank, " ")
    word = word.replace("’", "'")
    if (grouped := _GROUPED.fullmatch(word)) is not None:
        sign_and_head, groups, mark, decimals = grouped.groups()
        unambiguous = mark in " '" or len(groups) > len(",000") or decimals is not None
        if mark != writing.decimal and (unambiguous or mark == writing.thousands):
            word = sign_and_head + groups.replace(mark, "") + (decimals or "")
    if writing.decimal == ",":
        word = word.translate({ord("."): "?", ord(","): "."})
    if re.fullmatch(_NUMBER, word, re.ASCII) is None:
        return None
    value = float(word)
    return value if np.isfinite(value) else None
