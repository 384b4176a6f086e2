r"""Several quantities read at the same time, and results that share inputs.

Readings taken together are correlated, and so are several results that follow from
the same inputs (JCGM 100:2008, 5.2.3, H.2).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import same_length, vector
from lab.metrology.errors import BadShape, Degenerate, TooFew
from lab.metrology.uncertainty.budget import Combination
from lab.metrology.uncertainty.inputs import Input, from_readings

__all__ = ["SimultaneousReadings", "correlation_between", "simultaneous_readings"]


@dataclass(frozen=True, slots=True)
class SimultaneousReadings:
    """Inputs from readings taken together, with their correlation matrix."""

    inputs: tuple[Input, ...]
    correlation: NDArray[np.float64]


def simultaneous_readings(readings: Mapping[str, ArrayLike]) -> SimultaneousReadings:
    r"""Evaluate readings of several quantities that were taken at the same time.

    .. math:: r(\bar x, \bar y) = \frac{\sum (x_k - \bar x)(y_k - \bar y)}
        {\sqrt{\sum (x_k - \bar x)^2 \sum (y_k - \bar y)^2}}

    Parameters
    ----------
    readings : mapping of str to array_like, shape (n,)
        Readings of each quantity, in the order in which they were taken together.

    Returns
    -------
    SimultaneousReadings

    Raises
    ------
    TooFew, BadShape, NotFinite
        If readings are missing, unequal in number or unusable.
    Degenerate
        If a quantity does not scatter at all, so that it has no correlation.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2.3, equation (17).

    Examples
    --------
    >>> found = simultaneous_readings({"V": [1.0, 2.0, 3.0], "I": [3.0, 2.0, 1.5]})
    >>> round(float(found.correlation[0, 1]), 3)
    -0.982
    """
    if len(readings) < 2:
        raise TooFew("Simultaneous readings need at least two quantities.")
    columns = {name: vector(name, values) for name, values in readings.items()}
    same_length(**columns)
    inputs = tuple(from_readings(name, column) for name, column in columns.items())
    still = [each.name for each in inputs if each.u == 0.0]
    if still:
        raise Degenerate(
            f"{', '.join(still)}: all readings are equal, so there is no correlation."
        )
    matrix = np.corrcoef(np.array(list(columns.values())))
    return SimultaneousReadings(inputs, matrix)


def correlation_between(first: Combination, second: Combination) -> float:
    r"""Give the correlation of two results that follow from the same inputs.

    .. math:: r(y_1, y_2) = \frac{\sum_i \sum_j c_{1i}\,c_{2j}\,u(x_i, x_j)}
        {u(y_1)\,u(y_2)}

    Parameters
    ----------
    first, second : Combination
        Combined from budgets with the same inputs in the same order.

    Returns
    -------
    float

    Raises
    ------
    BadShape
        If the budgets do not have the same inputs.
    Degenerate
        If a result has no uncertainty.

    References
    ----------
    .. [1] JCGM 100:2008, H.2.3, equation (H.9).

    Examples
    --------
    >>> from lab.metrology.uncertainty import Budget, Input, Normal, combine
    >>> inputs = [Input("a", 1.0, Normal(0.1)), Input("b", 2.0, Normal(0.1))]
    >>> plus = combine(Budget("sum", inputs, model=lambda x: x["a"] + x["b"]))
    >>> minus = combine(Budget("difference", inputs, model=lambda x: x["a"] - x["b"]))
    >>> round(correlation_between(plus, minus), 6)
    0.0
    """
    if first.covariance.shape != second.covariance.shape or not np.array_equal(
        first.covariance, second.covariance
    ):
        raise BadShape(
            f"{first.measurand} and {second.measurand} do not follow from the same "
            "inputs in the same order."
        )
    product = first.u * second.u
    if product == 0.0:
        raise Degenerate("A result without uncertainty has no correlation.")
    shared = float(first.sensitivities @ first.covariance @ second.sensitivities)
    return math.copysign(min(abs(shared / product), 1.0), shared)
