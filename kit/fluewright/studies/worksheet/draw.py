"""Numbers drawn for one problem, each with its unit, and how numbers and answers are written."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias, TypeVar

import numpy as np

from fluewright import units

__all__ = ["Amount", "Answer", "Draw", "System", "Task", "amount", "answer", "number", "word"]

System: TypeAlias = Literal["US", "SI"]
_One = TypeVar("_One")
Range: TypeAlias = tuple[float, float, float, str]  # lowest, highest, step, unit

_UNGROUPED = 4  # digits before the point that are read at a glance
_SIGNS = {
    "": "",
    "percent": "%",
    "degF": "°F",
    "degC": "°C",
    "delta_degF": "°F",
    "delta_degC": "K",
    "ft^3": "ft³",
    "m^3": "m³",
    "ft^3/h": "ft³/h",
    "m^3/h": "m³/h",
    "Btu/ft^3": "Btu/ft³",
    "MJ/m^3": "MJ/m³",
    "minute": "min",
}


@functools.cache
def _base(unit: str) -> str:
    """Return the SI unit of the kind of `unit`, by pint's name."""
    return str(units.quantity(1.0, unit or "1").to_base_units().units)


def number(value: float, digits: int = 4) -> str:
    """Return a plain number with `digits` significant digits and no exponent."""
    return _spaced(np.format_float_positional(value, precision=digits, fractional=False, trim="-"))


def _spaced(text: str) -> str:
    """Return a number with a true minus and, from five digits on, commas between the thousands."""
    whole, point, rest = text.partition(".")
    grouped = f"{int(whole):,}" if len(whole.lstrip("-")) > _UNGROUPED else whole
    return f"{grouped}{point}{rest}".replace("-", "−")


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A number as printed, in `unit` (pint's name), with its decimals."""

    value: float
    unit: str
    decimals: int

    @property
    def si(self) -> float:
        """The same in SI base units."""
        return float(units.convert(self.value, self.unit or "1", _base(self.unit)))

    @property
    def bare(self) -> str:
        """The number without its unit."""
        return _spaced(f"{round(self.value, self.decimals) + 0.0:.{max(self.decimals, 0)}f}")

    @property
    def sign(self) -> str:
        """The unit as printed."""
        return _SIGNS.get(self.unit, self.unit)

    def __str__(self) -> str:
        """Return number and unit."""
        return f"{self.bare} {self.sign}".rstrip()


def amount(value: float, unit: str, digits: int = 4) -> Amount:
    """Return an SI value as printed in `unit`, with `digits` significant digits."""
    shown = float(units.convert(value, _base(unit), unit or "1"))
    leading = math.floor(math.log10(abs(shown))) if shown else 0
    decimals = digits - 1 - leading
    return Amount(value=round(shown, decimals), unit=unit, decimals=max(0, decimals))


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What is asked for: `value`, `low` and `high` in the unit `sign` stands for; a word has no numbers.

    `text` is the answer rounded as a person would, `accepted` what counts as right, in words.
    """

    label: str
    text: str
    accepted: str
    sign: str = ""
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan


def answer(
    label: str, value: Any, unit: str, *, decimals: int, within: float = 0.0, by: float = 0.0
) -> Answer:
    """Return an answer from its SI value, with the range that rounding on the way may reach.

    Parameters
    ----------
    label : str
        What is asked for.
    value : float
        In SI base units.
    unit : str
        As printed, by pint's name.
    decimals : int
        Of the answer as a person would give it.
    within, by : float
        Half-width of the accepted range, as a share of the value and in the unit printed; the greater counts.
    """
    shown = float(units.convert(float(value), _base(unit), unit or "1"))
    half, last = max(within * abs(shown), by), 10.0**-decimals
    low = math.floor((shown - half) / last) * last
    high = math.ceil((shown + half) / last) * last
    rounded, least, most = (Amount(value=one, unit=unit, decimals=decimals) for one in (shown, low, high))
    return Answer(
        label=label,
        text=str(rounded),
        accepted=f"{least.bare} to {most}",
        sign=rounded.sign,
        value=shown,
        low=round(low, decimals),
        high=round(high, decimals),
    )


def word(label: str, text: str) -> Answer:
    """Return an answer that is a word."""
    return Answer(label=label, text=text, accepted=text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What one problem asks, the steps that lead to its answers, and the answers."""

    title: str
    text: str
    steps: tuple[str, ...]
    answers: tuple[Answer, ...]


class Draw:
    """The numbers of one problem, drawn in round figures of the system of units it is printed in."""

    def __init__(self, rng: np.random.Generator, system: System) -> None:
        self._rng = rng
        self.system = system
        self.given: dict[str, float | str] = {}

    def amount(self, name: str, us: Range, si: Range | None = None) -> Amount:
        """Return a number from a grid: lowest, highest, step, unit; the same grid where `si` is not given."""
        low, high, step, unit = si if si is not None and self.system == "SI" else us
        value = low + step * int(self._rng.integers(round((high - low) / step) + 1))
        decimals = max(0, -math.floor(math.log10(step) + 1e-9))
        drawn = Amount(value=round(value, decimals), unit=unit, decimals=decimals)
        self.given[name] = drawn.si
        return drawn

    def choice(self, name: str, options: Sequence[str]) -> str:
        """Return one of the options."""
        chosen = options[int(self._rng.integers(len(options)))]
        self.given[name] = chosen
        return chosen

    def pick(self, us: _One, si: _One) -> _One:
        """Return what the system printed asks for: a unit, a number of decimals, a step."""
        return us if self.system == "US" else si
