"""The exponentially weighted moving average: small shifts and slow drifts.

    z_i = λ·x_i + (1 − λ)·z_(i−1),  z_0 = centre,

with limits that start narrow and widen to their final distance,

    centre ± L·σ·√( λ/(2 − λ) · (1 − (1 − λ)^(2i)) ).

It sees a drift of one sigma in about ten values, where the limits of the
individuals chart need forty, and misses a single wild value that they catch;
a check is therefore judged by both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

from lab.metrology.arrays import finite, positive, vector
from lab.metrology.charts.baseline import Baseline
from lab.metrology.errors import OutOfDomain

__all__ = ["EwmaChart", "ewma_chart"]


@dataclass(frozen=True, slots=True, eq=False)
class EwmaChart:
    """The moving average with its limits, one pair for each value."""

    averages: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    beyond: tuple[int, ...]


def ewma_chart(
    values: ArrayLike,
    baseline: Baseline,
    *,
    weight: float = 0.2,
    width: float = 3.0,
) -> EwmaChart:
    """Make the chart of the exponentially weighted moving average.

    Parameters
    ----------
    values : array_like, shape (N,)
        Since the last break, in the order of time, in the unit of the baseline.
    baseline : Baseline
        Its centre is the start and the target.
    weight : float
        λ of the newest value, above 0 and up to 1. With 1 it is the individuals
        chart.
    width : float
        L, the half-width of the limits in standard deviations of the average.

    Returns
    -------
    chart : EwmaChart

    Raises
    ------
    OutOfDomain
        If the weight lies outside 0 to 1, or the width isn't positive.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.
    .. [2] Lucas, J. M., Saccucci, M. S. (1990). Exponentially weighted moving
       average control schemes. Technometrics 32, 1-12.

    Examples
    --------
    >>> chart = ewma_chart([52.0, 47.0], Baseline(50.0, 2.0539, 25), weight=0.3)
    >>> [round(float(each), 2) for each in chart.averages]
    [50.6, 49.52]
    """
    series = vector("values", values)
    newest = finite("weight", weight)
    if not 0.0 < newest <= 1.0:
        raise OutOfDomain(f"weight is {newest:g}; it must lie above 0 and up to 1.")
    older = 1.0 - newest
    averages, _ = lfilter(
        [newest], [1.0, -older], series, zi=np.array([older * baseline.centre])
    )
    steps = np.arange(1, len(series) + 1)
    factor = np.sqrt(newest / (2.0 - newest) * (1.0 - older ** (2 * steps)))
    half_width = positive("width", width) * baseline.sigma * factor
    lower, upper = baseline.centre - half_width, baseline.centre + half_width
    beyond = np.flatnonzero((averages > upper) | (averages < lower))
    return EwmaChart(
        averages=averages,
        lower=lower,
        upper=upper,
        beyond=tuple(int(index) for index in beyond),
    )
