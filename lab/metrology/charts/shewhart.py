"""Charts with fixed limits: individuals, means and ranges, proportions, counts.

Limits stand at three standard deviations of what is plotted about its centre,
with the standard deviation from the spread within (moving ranges or subgroups),
never from the spread of all values, which a drift would widen until it hid itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import (
    non_negative,
    points,
    positive,
    same_length,
    vector,
)
from lab.metrology.charts.baseline import (
    Baseline,
    individuals_baseline,
    moving_ranges,
)
from lab.metrology.charts.constants import chart_constants
from lab.metrology.errors import BadShape, Degenerate, OutOfDomain

__all__ = [
    "CountsChart",
    "IndividualsChart",
    "MeanRangeChart",
    "ProportionsChart",
    "counts_chart",
    "individuals_chart",
    "mean_range_chart",
    "proportions_chart",
]


@dataclass(frozen=True, slots=True, eq=False)
class IndividualsChart:
    """Single values and their moving ranges with limits; `beyond` are indices."""

    baseline: Baseline
    values: NDArray[np.float64]
    lower: float
    upper: float
    moving_ranges: NDArray[np.float64]
    mean_range: float
    upper_range: float
    beyond: tuple[int, ...]
    ranges_beyond: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class MeanRangeChart:
    """Means and ranges of subgroups with limits; `beyond` are subgroup indices."""

    means: NDArray[np.float64]
    ranges: NDArray[np.float64]
    grand_mean: float
    mean_range: float
    sigma: float
    lower: float
    upper: float
    lower_range: float
    upper_range: float
    beyond: tuple[int, ...]
    ranges_beyond: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class ProportionsChart:
    """Proportions with limits, one pair of limits for each sample."""

    proportions: NDArray[np.float64]
    mean_proportion: float
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    beyond: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class CountsChart:
    """Counts in areas of equal opportunity, with limits."""

    counts: NDArray[np.float64]
    mean_count: float
    lower: float
    upper: float
    beyond: tuple[int, ...]


def individuals_chart(
    values: ArrayLike,
    baseline: Baseline | None = None,
    *,
    starts: Sequence[int] = (),
    d2: float | None = None,
    upper_d4: float | None = None,
) -> IndividualsChart:
    """Make the chart of single values and moving ranges.

    x̄ ± 3·MR̄/d2, and D4·MR̄ for the ranges.

    Parameters
    ----------
    values : array_like, shape (N,)
        In the order of time; with the errors of a check, in mm or as a share of
        the limit.
    baseline : Baseline or None
        Kept from earlier; None takes it from these values, which is right only
        while the baseline is being gathered.
    starts : sequence of int
        Indices of first values after a break: no moving range across it.
    d2, upper_d4 : float or None
        Computed, unless rounded table values (1.128, 3.267) must be followed.

    Returns
    -------
    chart : IndividualsChart

    Raises
    ------
    TooFew, Degenerate
        As `individuals_baseline`, if there is no baseline yet.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    .. [2] ISO 7870-2, Shewhart control charts.

    Examples
    --------
    >>> flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    >>> chart = individuals_chart(flow, d2=1.128)
    >>> round(chart.upper, 4), round(chart.lower, 4)
    (55.8041, 45.8159)
    """
    series = vector("values", values)
    base = baseline or individuals_baseline(series, starts=starts, d2=d2)
    pair = chart_constants(2)
    mean_range = base.sigma * (pair.d2 if d2 is None else positive("d2", d2))
    upper_range = mean_range * (pair.upper_d4 if upper_d4 is None else upper_d4)
    ranges = moving_ranges(series, starts=starts)
    lower, upper = base.centre - 3.0 * base.sigma, base.centre + 3.0 * base.sigma
    return IndividualsChart(
        baseline=base,
        values=series,
        lower=lower,
        upper=upper,
        moving_ranges=ranges,
        mean_range=mean_range,
        upper_range=upper_range,
        beyond=_indices((series > upper) | (series < lower)),
        ranges_beyond=_indices(ranges > upper_range),
    )


def mean_range_chart(
    subgroups: ArrayLike, baseline: Baseline | None = None
) -> MeanRangeChart:
    """Make the chart of means and ranges of subgroups.

    x̿ ± A2·R̄ for the means, D3·R̄ and D4·R̄ for the ranges.

    Parameters
    ----------
    subgroups : array_like, shape (M, n)
        One subgroup a row, in the order of time.
    baseline : Baseline or None
        Kept from earlier, with sigma that of single values; None takes it from
        these subgroups.

    Returns
    -------
    chart : MeanRangeChart

    Raises
    ------
    BadShape, TooFew, NotFinite
        If it isn't a table of numbers with two or more columns.
    Degenerate
        If all ranges are zero.

    References
    ----------
    .. [1] Montgomery, D. C. (1991). Introduction to Statistical Quality Control,
       2nd ed., pp. 206-213.

    Examples
    --------
    >>> mean_range_chart([[1.0, 2.0], [2.0, 4.0], [1.0, 3.0]]).mean_range
    1.6666666666666667
    """
    table = _table(subgroups)
    constants = chart_constants(table.shape[1])
    means, ranges = table.mean(axis=1), np.ptp(table, axis=1)
    centre, mean_range = float(means.mean()), float(ranges.mean())
    if baseline is not None:
        centre, mean_range = baseline.centre, baseline.sigma * constants.d2
    if mean_range <= 0.0:
        raise Degenerate("All subgroups have a range of zero; record more digits.")
    half_width = constants.a2 * mean_range
    lower, upper = centre - half_width, centre + half_width
    lower_range = constants.upper_d3 * mean_range
    upper_range = constants.upper_d4 * mean_range
    return MeanRangeChart(
        means=means,
        ranges=ranges,
        grand_mean=centre,
        mean_range=mean_range,
        sigma=mean_range / constants.d2,
        lower=lower,
        upper=upper,
        lower_range=lower_range,
        upper_range=upper_range,
        beyond=_indices((means > upper) | (means < lower)),
        ranges_beyond=_indices((ranges > upper_range) | (ranges < lower_range)),
    )


def proportions_chart(
    counts: ArrayLike, sizes: ArrayLike, mean_proportion: float | None = None
) -> ProportionsChart:
    """Make the chart of proportions, p̄ ± 3·√(p̄·(1 − p̄)/n).

    Parameters
    ----------
    counts : array_like, shape (N,)
        Items found in each sample.
    sizes : array_like, shape (N,)
        Size of each sample.
    mean_proportion : float or None
        Kept from earlier; None takes it from these samples.

    Returns
    -------
    chart : ProportionsChart
        Limits are cut at 0 and 1.

    Raises
    ------
    OutOfDomain
        If a count exceeds its sample, or the proportion lies outside 0 to 1.
    Degenerate
        If the mean proportion is 0 or 1.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.

    Examples
    --------
    >>> round(proportions_chart([10, 12], [50, 50]).mean_proportion, 3)
    0.22
    """
    found, size = vector("counts", counts), vector("sizes", sizes)
    same_length(counts=found, sizes=size)
    if np.any(found < 0) or np.any(found > size) or np.any(size <= 0):
        raise OutOfDomain("Each count must lie between 0 and the size of its sample.")
    mean = (
        float(found.sum() / size.sum())
        if mean_proportion is None
        else non_negative("mean_proportion", mean_proportion)
    )
    if mean > 1.0:
        raise OutOfDomain(f"mean_proportion is {mean:g}; it must lie between 0 and 1.")
    if mean in (0.0, 1.0):
        raise Degenerate(
            f"The mean proportion is {mean:g}; there is no spread to chart."
        )
    half_width = 3.0 * np.sqrt(mean * (1.0 - mean) / size)
    lower = np.maximum(mean - half_width, 0.0)
    upper = np.minimum(mean + half_width, 1.0)
    proportions = found / size
    return ProportionsChart(
        proportions=proportions,
        mean_proportion=mean,
        lower=lower,
        upper=upper,
        beyond=_indices((proportions > upper) | (proportions < lower)),
    )


def counts_chart(counts: ArrayLike, mean_count: float | None = None) -> CountsChart:
    """Make the chart of counts, c̄ ± 3·√c̄.

    Parameters
    ----------
    counts : array_like, shape (N,)
        Findings in areas or times of equal opportunity.
    mean_count : float or None
        Kept from earlier; None takes it from these counts.

    Returns
    -------
    chart : CountsChart
        The lower limit is cut at 0.

    Raises
    ------
    OutOfDomain
        If a count is negative.
    Degenerate
        If all counts are zero.

    References
    ----------
    .. [1] NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.1.

    Examples
    --------
    >>> chart = counts_chart([16, 14, 18])
    >>> chart.lower, chart.upper
    (4.0, 28.0)
    """
    found = vector("counts", counts)
    if np.any(found < 0):
        raise OutOfDomain("counts holds a negative value; a count is zero or more.")
    mean = float(found.mean()) if mean_count is None else mean_count
    if non_negative("mean_count", mean) == 0.0:
        raise Degenerate("All counts are zero; there is no spread to chart.")
    half_width = 3.0 * mean**0.5
    lower, upper = max(mean - half_width, 0.0), mean + half_width
    return CountsChart(
        counts=found,
        mean_count=mean,
        lower=lower,
        upper=upper,
        beyond=_indices((found > upper) | (found < lower)),
    )


def _table(subgroups: ArrayLike) -> NDArray[np.float64]:
    """Return the subgroups as a table of as many columns as its first row has."""
    try:
        shape = np.shape(subgroups)
    except ValueError as ragged:
        raise BadShape(
            "subgroups differ in size; they must be equally long."
        ) from ragged
    if len(shape) == 2 and shape[1] < 2:
        raise BadShape(
            "subgroups must hold two or more values each; for single values use the "
            "individuals chart."
        )
    return points("subgroups", subgroups, columns=shape[1] if len(shape) == 2 else 2)


def _indices(marks: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(index) for index in np.flatnonzero(marks))
