"""A number of the audit: its value, its 95 % interval, and where it came from."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from fluewright import sources

COVERAGE = 1.959964  # 97.5 % point of the normal distribution

Origin: TypeAlias = Literal["measured", "entered", "assumed", "computed", "instrument"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """One number that reaches the report, in the SI unit of its quantity.

    `low` and `high` bound the 95 % coverage interval, probabilistically symmetric (JCGM 101); both are NaN where no
    interval can be given, and `high` alone is infinite for a reading that is only known to be at least `low`.
    """

    quantity: str
    value: float
    low: float = math.nan
    high: float = math.nan
    origin: Origin
    basis: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        sources.quantity(self.quantity)

    @property
    def unit(self) -> str:
        """The SI unit, by pint's name."""
        return sources.quantity(self.quantity).unit

    @property
    def has_interval(self) -> bool:
        """Whether a coverage interval is known."""
        return not (math.isnan(self.low) or math.isnan(self.high))

    @property
    def is_lower_bound(self) -> bool:
        """Whether the value is only known to be at least this much."""
        return self.high == math.inf
