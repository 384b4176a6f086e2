"""Tests for values that don't belong: one (Grubbs), or k at once.

Both assume that the rest is normal. A value that a test marks is looked at, and
left out only for a cause that is found: neither function removes anything.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import t as student

from lab.metrology.arrays import finite, vector
from lab.metrology.errors import Degenerate, OutOfDomain, TooFew

__all__ = [
    "Grubbs",
    "Side",
    "TietjenMoore",
    "grubbs",
    "grubbs_critical",
    "tietjen_moore",
]

_SIMULATED: Final = 20_000
_CHUNK: Final = 1_000_000


class Side(StrEnum):
    """Where an outlier is looked for."""

    LARGEST = "largest"
    SMALLEST = "smallest"
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class Grubbs:
    """Grubbs' test of the value at `index`."""

    index: int
    value: float
    statistic: float
    critical: float
    is_outlier: bool


@dataclass(frozen=True, slots=True)
class TietjenMoore:
    """Tietjen and Moore's test of the k values at `indices`, farthest first.

    The k values are outliers if `statistic` lies below `critical`, which is
    simulated and good to about two digits.
    """

    indices: tuple[int, ...]
    statistic: float
    critical: float
    are_outliers: bool


def grubbs_critical(count: int, alpha: float = 0.05, side: Side = Side.EITHER) -> float:
    """Return the critical value of Grubbs' test.

    G = (n − 1)/√n · √(t²/(n − 2 + t²)), t the upper α/n (one side) or α/(2n)
    (either side) quantile of Student's t with n − 2 degrees of freedom.

    Parameters
    ----------
    count : int
        Number of values, 3 or more.
    alpha : float
        Significance level.
    side : Side
        Where the outlier is looked for.

    Returns
    -------
    critical : float

    Raises
    ------
    TooFew
        If there are fewer than 3 values.
    OutOfDomain
        If alpha lies outside 0 to 0.5.

    References
    ----------
    .. [1] Grubbs, F. E. (1969). Procedures for detecting outlying observations in
       samples. Technometrics 11, 1-21.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.

    Examples
    --------
    >>> round(grubbs_critical(8, 0.05, Side.LARGEST), 4)
    2.0317
    """
    if count < 3:
        raise TooFew(f"{count} values; Grubbs' test needs at least 3.")
    if not 0.0 < finite("alpha", alpha) < 0.5:
        raise OutOfDomain(f"alpha is {alpha:g}; it must lie between 0 and 0.5.")
    tails = count * (2.0 if side is Side.EITHER else 1.0)
    quantile = float(student.isf(alpha / tails, count - 2))
    share = quantile**2 / (count - 2 + quantile**2)
    return (count - 1) / math.sqrt(count) * math.sqrt(share)


def grubbs(values: ArrayLike, alpha: float = 0.05, side: Side = Side.EITHER) -> Grubbs:
    """Test whether the farthest value belongs to the rest.

    Parameters
    ----------
    values : array_like, shape (N,)
        Three or more.
    alpha : float
        Significance level.
    side : Side
        Where the outlier is looked for; decide before looking.

    Returns
    -------
    test : Grubbs

    Raises
    ------
    TooFew
        If there are fewer than 3 values.
    Degenerate
        If all are equal.

    Examples
    --------
    >>> x = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    >>> test = grubbs(x, side=Side.LARGEST)
    >>> round(test.statistic, 4), test.index, test.is_outlier
    (2.4688, 7, True)
    """
    series = vector("values", values, minimum=3)
    away = series - series.mean()
    deviation = float(series.std(ddof=1))
    _refuse_equal(series)
    if side is Side.EITHER:
        away = np.abs(away)
    elif side is Side.SMALLEST:
        away = -away
    index = int(np.argmax(away))
    statistic = float(away[index]) / deviation
    critical = grubbs_critical(len(series), alpha, side)
    return Grubbs(
        index=index,
        value=float(series[index]),
        statistic=statistic,
        critical=critical,
        is_outlier=statistic > critical,
    )


def tietjen_moore(
    values: ArrayLike, outliers: int, alpha: float = 0.05, *, seed: int = 0
) -> TietjenMoore:
    """Test whether the k values farthest from the mean belong to the rest.

    E_k is the sum of squares of the rest about its own mean over that of all
    about theirs.

    Parameters
    ----------
    values : array_like, shape (N,)
        N ≥ k + 2.
    outliers : int
        k, decided before looking; a wrong k misleads.
    alpha : float
        Significance level.
    seed : int
        Of the simulation of the critical value; the same seed, the same value.

    Returns
    -------
    test : TietjenMoore

    Raises
    ------
    TooFew
        If k leaves fewer than two values.
    OutOfDomain
        If k is below 1 or alpha outside 0 to 0.5.
    Degenerate
        If all values are equal.

    References
    ----------
    .. [1] Tietjen, G. L., Moore, R. H. (1972). Some Grubbs-type statistics for
       the detection of several outliers. Technometrics 14, 583-597.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.2.

    Examples
    --------
    >>> x = [-1.4, -0.44, -0.3, -0.24, -0.22, -0.13, -0.05, 0.06, 0.1, 0.18, 0.2,
    ...     0.39, 0.48, 0.63, 1.01]
    >>> test = tietjen_moore(x, 2)
    >>> round(test.statistic, 3), test.indices, test.are_outliers
    (0.292, (0, 14), True)
    """
    if outliers < 1:
        raise OutOfDomain(f"outliers is {outliers}; it must be 1 or more.")
    if not 0.0 < finite("alpha", alpha) < 0.5:
        raise OutOfDomain(f"alpha is {alpha:g}; it must lie between 0 and 0.5.")
    series = vector("values", values, minimum=outliers + 2)
    _refuse_equal(series)
    away = np.abs(series - series.mean())
    farthest = np.argsort(-away, kind="stable")[:outliers]
    statistic = float(_remaining_share(series[None, :], outliers)[0])
    critical = _simulated_critical(len(series), outliers, alpha, seed)
    return TietjenMoore(
        indices=tuple(int(index) for index in farthest),
        statistic=statistic,
        critical=critical,
        are_outliers=statistic < critical,
    )


def _remaining_share(rows: NDArray[np.float64], outliers: int) -> NDArray[np.float64]:
    """E_k of each row."""
    away = np.abs(rows - rows.mean(axis=1, keepdims=True))
    order = np.argsort(away, axis=1)[:, : rows.shape[1] - outliers]
    rest = np.take_along_axis(rows, order, axis=1)
    return np.asarray(
        rest.var(axis=1) * rest.shape[1] / (rows.var(axis=1) * rows.shape[1])
    )


def _simulated_critical(count: int, outliers: int, alpha: float, seed: int) -> float:
    random = np.random.default_rng(seed)
    at_once = max(1, _CHUNK // count)
    shares = [
        _remaining_share(
            random.normal(size=(min(at_once, _SIMULATED - start), count)), outliers
        )
        for start in range(0, _SIMULATED, at_once)
    ]
    return float(np.quantile(np.concatenate(shares), alpha))


def _refuse_equal(series: NDArray[np.float64]) -> None:
    if np.ptp(series) == 0.0:
        raise Degenerate("All values are equal; there is nothing to stand out from.")
