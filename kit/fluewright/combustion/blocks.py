"""Array formulas applied block by block: temporaries stay in the processor's cache, and memory stays flat."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fluewright.units import Array

Values: TypeAlias = Any  # float for scalar inputs, read-only array for array inputs

ROWS = 16_000  # 128 kB an array: a dozen temporaries fit the second-level cache


def blockwise(
    kernel: Callable[..., Sequence[Any]], *operands: Any, kinds: Sequence[Any] = (np.float64,)
) -> tuple[NDArray[Any], ...]:
    """Return `kernel` applied to the broadcast operands, computed in blocks of rows.

    Parameters
    ----------
    kernel : callable
        Elementwise; takes one array (or NumPy scalar) per operand, returns one per entry of `kinds`.
    *operands : float or array
        Broadcast against one another; what holds one value reaches the kernel as a scalar.
    kinds : sequence of dtypes
        The type of each output.

    Returns
    -------
    tuple of ndarray
        New arrays of the broadcast shape (0-d for scalars).
    """
    arrays = [np.asarray(operand) for operand in operands]
    shape = np.broadcast_shapes(*(array.shape for array in arrays))
    size = math.prod(shape)
    whole = [array.size == 1 for array in arrays]
    columns = [
        array.reshape(())[()] if single else _column(array, shape, size)
        for array, single in zip(arrays, whole, strict=True)
    ]
    outputs = [np.empty(size, dtype=kind) for kind in kinds]
    with np.errstate(all="ignore"):  # rows without a number are NaN and labeled, not warned of
        for start in range(0, size, ROWS):
            rows = slice(start, start + ROWS)
            results = kernel(
                *(column if single else column[rows] for column, single in zip(columns, whole, strict=True))
            )
            for output, result in zip(outputs, results, strict=True):
                output[rows] = result
    return tuple(output.reshape(shape) for output in outputs)


def _column(array: NDArray[Any], shape: tuple[int, ...], size: int) -> NDArray[Any]:
    return array if array.shape == (size,) else np.broadcast_to(array, shape).reshape(size)


def plain(values: Any) -> Values:
    """Return a 0-d array as a float, any other as a read-only array."""
    array: Array = np.asarray(values)
    if array.ndim == 0:
        return array.item()
    view = array.view()
    view.setflags(write=False)
    return view
