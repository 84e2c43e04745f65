"""Numbers of this room in the words and units a technician knows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal, TypeAlias

from fluewright import sources, units

System: TypeAlias = Literal["US", "SI"]


def channel_words(name: str) -> str:
    """Return what a sentence calls a channel."""
    words: dict[str, str] = sources.table("steady")["words"]
    label = sources.quantity(name).label
    return words.get(name, label[0].lower() + label[1:])


def digits(value: float) -> str:
    """Return a number with two significant digits, or as an integer from 10 up, never with an exponent."""
    if value < 0:
        return f"−{digits(-value)}"
    if value >= 9.95 or value == 0:
        return f"{value:.0f}"
    decimals = 1
    while decimals < 6 and value < 0.995 * 10.0 ** (1 - decimals):
        decimals += 1
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") or "0"


def change(name: str, difference: float, system: System) -> str:
    """Return a difference of one channel [SI] with its unit ("6 °F", "3.3 K")."""
    shown = sources.quantity(name).shown(system)
    slope, _ = units.factor(sources.quantity(name).unit, shown.unit, name)
    return f"{digits(difference * slope)} {'K' if shown.unit == 'degC' else shown.sign}".rstrip()


def rate(name: str, per_second: float, system: System) -> str:
    """Return a slope of one channel [SI per second] per minute ("6 °F/min")."""
    return f"{change(name, per_second * 60, system)}/min"


def duration(seconds: float) -> str:
    """Return a length of time, rounded down ("45 s", "12.5 min"): 4.98 min is not the 5 min asked for."""
    if seconds < 100:
        return f"{math.floor(seconds + 1e-6)} s"
    return f"{math.floor(seconds / 6 + 1e-6) / 10:g} min"


def listed(names: Sequence[str]) -> str:
    """Return channel names as a list in words ("oxygen, carbon monoxide and flue temperature")."""
    words = [channel_words(name) for name in names]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
