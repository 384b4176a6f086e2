"""The baseline of a chart: the values from which its limits are computed, once.

Limits that are recomputed with every new value follow a drift and never show it.
So a baseline is taken from a stretch of values while the system was known to be
good, and kept; later values are judged against it. After an adjustment or a
repair a new baseline begins: values before and after belong to two systems, and
the moving range is never taken across such a place, nor across a value that was
left out.

A value may be left out of a baseline for a cause that was found, never because it
lies far out; the baseline says which ones were.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import finite, positive, vector
from lab.metrology.charts.constants import chart_constants
from lab.metrology.errors import Degenerate, OutOfDomain, TooFew

__all__ = ["FULL_BASELINE", "Baseline", "individuals_baseline", "moving_ranges"]

FULL_BASELINE: Final = 20
"""Fewer values than this make a provisional baseline (common practice, 20 to 25)."""


@dataclass(frozen=True, slots=True)
class Baseline:
    """Centre and short-term standard deviation that a chart is judged against."""

    centre: float
    sigma: float
    count: int
    left_out: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a baseline without spread: every later value would be a signal."""
        finite("centre", self.centre)
        positive("sigma", self.sigma)

    @property
    def is_provisional(self) -> bool:
        """Whether it stands on fewer than `FULL_BASELINE` values."""
        return self.count < FULL_BASELINE

    def standardised(self, values: ArrayLike) -> NDArray[np.float64]:
        """Return values as multiples of sigma from the centre.

        Parameters
        ----------
        values : array_like, shape (N,)
            In the unit of the baseline.

        Returns
        -------
        z : ndarray, shape (N,)
        """
        return np.asarray((vector("values", values) - self.centre) / self.sigma)


def moving_ranges(
    values: ArrayLike, *, left_out: Sequence[int] = (), starts: Sequence[int] = ()
) -> NDArray[np.float64]:
    """Return |x_i − x_(i−1)|, with NaN where there is no honest one.

    Parameters
    ----------
    values : array_like, shape (N,)
        In the order of time.
    left_out : sequence of int
        Indices of values that don't count.
    starts : sequence of int
        Indices of values that are the first after a break.

    Returns
    -------
    ranges : ndarray, shape (N,)
        NaN at index 0, at `starts`, at values left out, and at those after them.

    Raises
    ------
    OutOfDomain
        If an index isn't one of the values.

    Examples
    --------
    >>> moving_ranges([1.0, 3.0, 2.0, 8.0], starts=[3]).tolist()
    [nan, 2.0, 1.0, nan]
    """
    series = vector("values", values)
    ranges = np.full(len(series), np.nan)
    ranges[1:] = np.abs(np.diff(series))
    _refuse_index("starts", starts, len(series))
    _refuse_index("left_out", left_out, len(series))
    ranges[list(starts)] = np.nan
    for index in left_out:
        ranges[index : index + 2] = np.nan
    return ranges


def individuals_baseline(
    values: ArrayLike,
    *,
    left_out: Sequence[int] = (),
    starts: Sequence[int] = (),
    d2: float | None = None,
) -> Baseline:
    """Take a baseline from single values: mean, and mean moving range over d2.

    Parameters
    ----------
    values : array_like, shape (N,)
        In the order of time; all of them, with what is left out named.
    left_out : sequence of int
        Indices left out for a known cause.
    starts : sequence of int
        Indices of first values after a break within the baseline.
    d2 : float or None
        2/√π unless a rounded table value must be followed (1.128).

    Returns
    -------
    baseline : Baseline

    Raises
    ------
    TooFew
        If no moving range is left.
    Degenerate
        If all moving ranges are zero: the readings are too coarse for a chart.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.

    Examples
    --------
    >>> round(individuals_baseline([1.0, 2.0, 1.0, 3.0]).sigma, 4)
    1.1816
    """
    series = vector("values", values, minimum=2)
    ranges = moving_ranges(series, left_out=left_out, starts=starts)
    ranges = ranges[~np.isnan(ranges)]
    if len(ranges) == 0:
        raise TooFew(
            "No two neighbouring values are left in the baseline; a moving range "
            "needs two that follow each other without a break."
        )
    if not np.any(ranges > 0.0):
        raise Degenerate(
            "All values of the baseline are equal; record more digits, or wait until "
            "the readings show their spread."
        )
    kept = np.delete(series, sorted(set(left_out)))
    divisor = chart_constants(2).d2 if d2 is None else positive("d2", d2)
    return Baseline(
        centre=float(kept.mean()),
        sigma=float(ranges.mean()) / divisor,
        count=len(kept),
        left_out=tuple(sorted(set(left_out))),
    )


def _refuse_index(name: str, indices: Sequence[int], count: int) -> None:
    for index in indices:
        if not 0 <= index < count:
            raise OutOfDomain(
                f"{name} names value {index}; there are {count}, counted from zero."
            )
