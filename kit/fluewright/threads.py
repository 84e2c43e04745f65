"""Long steps that do not need each other, taken two at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

_Item = TypeVar("_Item")
_Made = TypeVar("_Made")

_AT_ONCE = 2  # more would wait for memory, and for each other's turn in the interpreter
_WORTH_IT = 100_000  # values, below which a step is over before a thread has begun; chosen by measurement


def side_by_side(
    function: Callable[[_Item], _Made], items: Iterable[_Item], *, values: int
) -> tuple[_Made, ...]:
    """Return what a function makes of each item, in their order.

    Parameters
    ----------
    function : callable
        A pure function that works on arrays, during which others may run.
    items : iterable
        What it is called with, one by one.
    values : int
        The length of the arrays: short ones are taken one after the other.
    """
    if values < _WORTH_IT:
        return tuple(map(function, items))
    with ThreadPoolExecutor(_AT_ONCE) as pool:
        return tuple(pool.map(function, items))
