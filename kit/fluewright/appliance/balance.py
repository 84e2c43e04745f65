"""Redundant readings reconciled: weighted least squares after VDI 2048, and the reading that does not fit.

Readings that are bound by conditions (the heat that comes in leaves by the flue, the casing and the air) contradict one
another a little, because each is uncertain. They are moved, each by as much as it is uncertain, until the conditions
hold. How far they had to be moved tells whether the uncertainties can explain it, and which of them cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from fluewright import sources
from fluewright.errors import InputError
from fluewright.units import Array

_TABLE = sources.table("appliance")["balance"]
Fit: TypeAlias = Literal["fits", "cannot tell", "does not fit"]

_STEP = 1e-4  # of a reading's standard deviation or size: small for a derivative, large against rounding
_ROUNDS = 20
_SETTLED = 1e-9  # of a standard deviation


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reconciliation:
    """Readings as measured and as corrected, and what their contradictions say.

    Arrays run over `names`. `contradictions` are the conditions at the measured values, `contradiction_covariance`
    what the uncertainties allow them. `test` is the correction over its standard deviation (the measurement test), NaN
    where a reading is not corrected. `detectable` is the gross error that is found with 90 % probability, infinite for
    a reading that nothing checks. `alike` are sets of readings that act on the conditions alike. `suspects` are the
    readings of which a single error may be the cause, with those that the redundancy cannot tell apart from it,
    likeliest first; empty where the readings fit. `explained` is whether one error is enough.
    """

    names: tuple[str, ...]
    measured: Array
    covariance: Array
    corrected: Array
    corrected_covariance: Array
    contradictions: Array
    contradiction_covariance: Array
    chi_square: float
    degrees_of_freedom: int
    quality_limit: float
    alpha_limit: float
    test: Array
    detectable: Array
    alike: tuple[tuple[str, ...], ...]
    unchecked: tuple[str, ...]
    suspects: tuple[str, ...]
    explained: bool

    @property
    def fit(self) -> Fit:
        """Whether the uncertainties explain the contradictions: VDI 2048's 95 %, and the 99 % of a finding."""
        if self.chi_square <= self.quality_limit:
            return "fits"
        return "cannot tell" if self.chi_square <= self.alpha_limit else "does not fit"

    def standard_deviation(self, *, corrected: bool) -> Array:
        """Return the standard deviation of each reading, as measured or as corrected."""
        of = self.corrected_covariance if corrected else self.covariance
        return np.sqrt(np.maximum(np.diag(of), 0.0))


def _chi_square_limit(key: str, freedom: int) -> float:
    table = _TABLE[key]
    if freedom > len(table):
        raise InputError(f"{freedom} conditions bind these readings; at most {len(table)} are provided for")
    return float(table[freedom - 1])


def _linear(conditions: Callable[[Array], Array], at: Array, scale: Array) -> tuple[Array, Array]:
    """Return each condition and its derivative by each reading, from one call on the readings and all displaced."""
    step = _STEP * scale
    found = np.asarray(conditions(np.concatenate([[at], at + np.diag(step), at - np.diag(step)])))
    rise = found[1 : at.size + 1] - found[at.size + 1 :]
    return found[0], (rise / (2 * step[:, np.newaxis])).T


def _alike(names: Sequence[str], columns: Array, checked: Array) -> tuple[tuple[str, ...], ...]:
    """Return the sets of checked readings whose errors act on the conditions alike; each reading in one set."""
    left = [i for i in range(len(names)) if checked[i]]
    found = []
    while left:
        first = left[0]
        cosine = columns[:, left].T @ columns[:, first]
        same = [i for i, c in zip(left, np.abs(cosine), strict=True) if c >= _TABLE["alike"]]
        found.append(tuple(names[i] for i in same))
        left = [i for i in left if i not in same]
    return tuple(found)


def reconcile(
    names: Sequence[str],
    *,
    measured: Array,
    covariance: Array,
    conditions: Callable[[Array], Array],
    greatest_error: Array | None = None,
    condition_covariance: Array | None = None,
) -> Reconciliation:
    """Return readings reconciled with the conditions that bind them.

    Parameters
    ----------
    names : sequence of str, (n,)
        Of the readings.
    measured : array (n,)
        The readings, each in its own unit.
    covariance : array (n, n)
        Of the readings. A reading that is exact as far as is known (a dial's volume) has zero variance: it is not
        corrected, but it can be suspected.
    conditions : callable
        Takes readings (k, n) and returns (k, m): each condition is zero where it holds. Vectorised over k.
    greatest_error : array (n,), optional
        The greatest gross error that can be believed of each reading; one whose detectable error is greater counts as
        unchecked. By default the reading's own size.
    condition_covariance : array (m, m), optional
        Uncertainty of the conditions themselves: what the model leaves out, and inputs that are no readings.

    Returns
    -------
    Reconciliation

    Raises
    ------
    InputError
        A reading is no number, a condition depends on nothing uncertain, or two conditions say the same.

    Notes
    -----
    With f the contradictions, A their derivatives, S the covariance of the readings and C that of the conditions:
    M = A S Aᵀ + C; corrections v = -S Aᵀ M⁻¹ f; covariance of the corrected readings S - S Aᵀ M⁻¹ A S; chi-square
    fᵀ M⁻¹ f. Repeated until it settles where conditions are not linear. An error of reading j is tried by the
    generalized likelihood ratio (aⱼᵀ M⁻¹ f)² / (aⱼᵀ M⁻¹ aⱼ), which is the square of the measurement test.

    References
    ----------
    VDI 2048 part 1 (2000), Uncertainties of measurement during acceptance tests (from memory). S. Narasimhan and C.
    Jordache, Data Reconciliation and Gross Error Detection (2000), for the likelihood ratio (from memory).
    """
    start, spread = np.asarray(measured, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    if not np.isfinite(start).all() or not np.isfinite(spread).all():
        raise InputError("a reading or its uncertainty is no number; leave it out of the balance")
    deviation = np.sqrt(np.diag(spread))
    size = np.maximum(np.abs(start), 1e-12)
    scale = np.where(deviation > 0, deviation, size)
    believable = size if greatest_error is None else np.asarray(greatest_error, dtype=np.float64)

    contradictions, first = _linear(conditions, start, scale)
    count = contradictions.size
    own = np.zeros((count, count)) if condition_covariance is None else np.asarray(condition_covariance)
    here, slope, shortfall = start, first, contradictions
    for _ in range(_ROUNDS):
        within = slope @ spread @ slope.T + own
        if (
            np.linalg.matrix_rank(within / np.sqrt(np.outer(np.diag(within), np.diag(within)) + 1e-300))
            < count
        ):
            raise InputError(
                "a condition of the balance is bound to nothing uncertain, or two conditions say the same"
            )
        offset = shortfall + slope @ (start - here)
        following = start - spread @ slope.T @ np.linalg.solve(within, offset)
        moved = np.abs(following - here) / scale
        here = following
        if np.max(moved) < _SETTLED:
            break
        shortfall, slope = _linear(conditions, here, scale)

    within = first @ spread @ first.T + own
    weight = np.linalg.inv(within)
    root = np.linalg.cholesky(weight)  # root root^T = weight
    acting = root.T @ first
    length = np.linalg.norm(acting, axis=0)
    detectable = np.divide(
        _TABLE["normal_alpha"] + _TABLE["normal_power"],
        length,
        out=np.full(length.shape, np.inf),
        where=length > 0,
    )
    checked = detectable <= believable
    unit = np.divide(acting, length, out=np.zeros_like(acting), where=length > 0)
    seen = root.T @ contradictions
    likelihood = np.where(checked, (unit.T @ seen) ** 2, -np.inf)
    chi_square = float(seen @ seen)
    alpha = _chi_square_limit("chi_square_alpha", count)
    suspected: list[int] = []
    if chi_square > alpha and checked.any():
        near = likelihood >= likelihood.max() - _TABLE["likelihood"]
        suspected = sorted(np.flatnonzero(near), key=lambda i: -likelihood[i])
    rest = chi_square - (float(likelihood.max()) if checked.any() else 0.0)
    gain = spread @ slope.T @ np.linalg.inv(slope @ spread @ slope.T + own)
    corrected_by = np.sqrt(np.maximum(np.diag(spread @ first.T @ weight @ first @ spread), 0.0))
    test = np.divide(
        np.abs(spread @ first.T @ weight @ contradictions),
        corrected_by,
        out=np.full(start.shape, np.nan),
        where=corrected_by > 1e-9 * scale,
    )
    return Reconciliation(
        names=tuple(names),
        measured=start,
        covariance=spread,
        corrected=here,
        corrected_covariance=spread - gain @ slope @ spread,
        contradictions=contradictions,
        contradiction_covariance=within,
        chi_square=chi_square,
        degrees_of_freedom=count,
        quality_limit=_chi_square_limit("chi_square_quality", count),
        alpha_limit=alpha,
        test=test,
        detectable=np.where(checked, detectable, np.inf),
        alike=_alike(names, unit, checked),
        unchecked=tuple(name for name, seen_ in zip(names, checked, strict=True) if not seen_),
        suspects=tuple(names[i] for i in suspected),
        explained=count == 1 or rest <= _chi_square_limit("chi_square_alpha", count - 1),
    )
