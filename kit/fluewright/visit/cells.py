"""The cells of a log: numbers as instruments write them, and the words they write instead of numbers."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from fluewright.units import Array
from fluewright.visit.readings import Cell

TEXT = -1  # the state of a cell that is neither a number nor a word known below; never leaves this room

# Words of the trade's instruments, lower case, without a source: common practice.
_NO_READING = frozenset(
    {
        "na",
        "n/a",
        "#n/a",
        "nan",
        "null",
        "none",
        "nil",
        "err",
        "error",
        "fault",
        "fail",
        "failed",
        "off",
        "open",
    }
    | {"short", "purge", "purging", "warmup", "warm-up", "wait", "invalid"}
    | {"#div/0!", "#value!", "#ref!", "#num!", "#name?", "#null!"}  # of a sheet
)
_OVER_RANGE = frozenset(
    {
        "over",
        "over range",
        "over-range",
        "over_range",
        "overrange",
        "overload",
        "overflow",
        "ovr",
        "ovf",
        "ovl",
    }
    | {"ofl", "ol", "o.l", "o.l.", "or", "hi", "high", "max", "inf", "+inf", "infinity"}
)
_UNDER_RANGE = frozenset(
    {
        "under",
        "under range",
        "under-range",
        "under_range",
        "underrange",
        "underflow",
        "udr",
        "ufl",
        "ul",
        "lo",
    }
    | {"low", "-inf"}
)
SWITCHES = frozenset({"blower_on", "burner_on"})  # quantities that are on or off
_SWITCH = {"on": 1.0, "true": 1.0, "yes": 1.0, "off": 0.0, "false": 0.0, "no": 0.0}

_BLANKS = " \t\u00a0\u2007\u2009\u202f"
_NUMBER = r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?"
_GROUPED = re.compile(r"([+-]?[1-9][0-9]{0,2})((?:([ ',.])[0-9]{3})(?:\3[0-9]{3})*)([.,][0-9]*)?", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cells:
    """What cells held: a number or NaN, the state, and the bound of a reading out of range.

    `states` is None where every cell is a number or empty, `bounds` where no cell holds a bound.
    """

    values: Array
    states: NDArray[np.int8] | None = None
    bounds: Array | None = None

    def taken(self, places: NDArray[Any]) -> Cells:
        """Return the cells at some places, or where a mask is true."""
        states = None if self.states is None else self.states[places]
        bounds = None if self.bounds is None else self.bounds[places]
        return Cells(values=self.values[places], states=states, bounds=bounds)


@dataclass(frozen=True, slots=True, kw_only=True)
class Writing:
    """How a log writes numbers: the decimal mark, the mark between thousands, and whether on and off are numbers."""

    decimal: str = "."
    thousands: str = ""
    switch: bool = False


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
    """Read one cell in full: words, bounds such as ">2000", and thousands marks."""
    word = text.strip(_BLANKS).lower()
    number = _number(word, writing)
    if number is not None:
        return Word(state=Cell.NUMBER, value=number)
    if not word:
        return Word(state=Cell.EMPTY)
    if writing.switch and word in _SWITCH:
        return Word(state=Cell.NUMBER, value=_SWITCH[word])
    if word in _OVER_RANGE or (len(word) > 1 and not word.strip("+^>")):
        return Word(state=Cell.OVER_RANGE)
    if word in _UNDER_RANGE or (len(word) > 1 and not word.strip("<")):
        return Word(state=Cell.UNDER_RANGE)
    if word in _NO_READING or not word.strip("-–—_.*?/#"):
        return Word(state=Cell.NO_NUMBER)
    bound = _number(word.lstrip(">≥=<≤ "), writing) if word[0] in ">≥<≤" else None
    if bound is not None:
        return Word(state=Cell.OVER_RANGE if word[0] in ">≥" else Cell.UNDER_RANGE, bound=bound)
    return Word(state=TEXT)


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
