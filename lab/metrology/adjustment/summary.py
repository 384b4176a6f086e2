"""Mean, standard deviation and lag-1 autocorrelation of one series.

The mean is a correctly rounded sum divided by the count. The standard deviation is
the corrected two-pass form; the one-pass form, sum of squares minus squared sum,
loses every digit when the spread is small beside the mean, which is just how
readings of a length look.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lab.metrology import arrays
from lab.metrology.errors import Degenerate

__all__ = ["Summary", "summarise"]


@dataclass(frozen=True, slots=True)
class Summary:
    """What a series of N values has in common, in the unit of the values.

    Attributes
    ----------
    count : int
        N.
    mean : float
        Arithmetic mean.
    standard_deviation : float
        Experimental standard deviation, with N - 1.
    u_mean : float
        Standard deviation of the mean.
    minimum, maximum : float
        The extremes.
    """

    count: int
    mean: float
    standard_deviation: float
    u_mean: float
    minimum: float
    maximum: float
    _lag_products: float
    _squares: float

    @property
    def degrees_of_freedom(self) -> int:
        """Return N - 1."""
        return self.count - 1

    @property
    def range(self) -> float:
        """Return the largest minus the smallest value."""
        return self.maximum - self.minimum

    @property
    def lag1_autocorrelation(self) -> float:
        """Return the autocorrelation of neighbouring values."""
        if self._squares == 0.0:
            raise Degenerate("All values are equal, so they have no autocorrelation.")
        return self._lag_products / self._squares


def summarise(values: ArrayLike) -> Summary:
    r"""Summarise one series of readings.

    The lag-1 autocorrelation is
    :math:`\sum (x_i - \bar x)(x_{i-1} - \bar x) / \sum (x_i - \bar x)^2`.

    Parameters
    ----------
    values : array_like, shape (N,)
        At least two readings in the order in which they were taken.

    Returns
    -------
    Summary
        Count, mean, standard deviation and what follows from them.

    Raises
    ------
    BadShape, NotFinite
        If `values` is no list of finite numbers.
    TooFew
        If there are fewer than two.

    Notes
    -----
    float64 holds the data with 15 to 16 digits, so a spread that is 1e-7 of the
    mean comes out with 9 digits whatever the algorithm.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2.1 to 4.2.3.
    .. [2] Chan, T. F., Golub, G. H., and LeVeque, R. J. (1983). Algorithms for
       computing the sample variance. The American Statistician 37, 242-247.
    .. [3] NIST Statistical Reference Datasets, univariate summary statistics.

    Examples
    --------
    >>> told = summarise([10000001.0, 10000003.0, 10000002.0])
    >>> told.mean, told.standard_deviation
    (10000002.0, 1.0)
    """
    series = arrays.vector("values", values, minimum=2)
    count = len(series)
    mean = math.fsum(series) / count
    deviations = series - mean
    squares = float(deviations @ deviations)
    # The mean is itself rounded; the square of the deviations' sum takes that out.
    corrected = max(squares - float(np.sum(deviations)) ** 2 / count, 0.0)
    deviation = math.sqrt(corrected / (count - 1))
    return Summary(
        count=count,
        mean=mean,
        standard_deviation=deviation,
        u_mean=deviation / math.sqrt(count),
        minimum=float(series.min()),
        maximum=float(series.max()),
        _lag_products=float(deviations[1:] @ deviations[:-1]),
        _squares=squares,
    )
