"""What every fit reports about its residuals and its parameters.

The *range* of the residuals is the form error about the associated feature: the
largest minus the smallest signed orthogonal distance. The *95 % dispersion* is
the width of the narrowest band, parallel to the associated feature, that holds
at least 95 % of the points; it is what ISO 10360-13 and VDI/VDE 2634-3 use for
optical systems, where one speck of dust in a hundred thousand points must not
decide (definition recalled from memory).

The covariance follows from the law of propagation applied to the least-squares
equations, Σ = s²·(JᵀJ)⁻¹, and holds for *independent* points. Points of an
optical scan are not: see `Covariance.for_independent`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.arrays import positive
from lab.metrology.errors import OutOfDomain

__all__ = ["DISPERSION_SHARE", "Covariance", "Form", "narrowest_band"]

DISPERSION_SHARE = 0.95


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """Residuals of a fit, and what is said of them.

    Attributes
    ----------
    residuals_mm : ndarray, shape (N,)
        Signed orthogonal distances in the order of the points; positive outside,
        or on the side of the normal. For a line in space they have no sign.
    rms_mm : float
        Root of the mean square residual.
    standard_deviation_mm : float or None
        Root of the sum of squares over the degrees of freedom; None without any.
    range_mm : float
        Form error about the fitted feature. For a line in space: the diameter of
        the cylinder about it that holds all points.
    dispersion_95_mm : float
        The same for the best 95 % of the points.
    degrees_of_freedom : int
        Equations minus parameters.
    """

    residuals_mm: NDArray[np.float64]
    rms_mm: float
    standard_deviation_mm: float | None
    range_mm: float
    dispersion_95_mm: float
    degrees_of_freedom: int


@dataclass(frozen=True, slots=True, eq=False)
class Covariance:
    """Covariance of the parameters of a fitted feature.

    Attributes
    ----------
    names : tuple of str
        The parameters, in the order of the rows, each with its unit.
    matrix : ndarray, shape (k, k)
        In products of those units.
    points : int
        How many points, taken as independent, it was computed from.
    """

    names: tuple[str, ...]
    matrix: NDArray[np.float64]
    points: int

    def u(self, name: str) -> float:
        """Return the standard uncertainty of one parameter.

        Raises
        ------
        OutOfDomain
            If the feature has no such parameter.
        """
        if name not in self.names:
            listed = ", ".join(self.names)
            raise OutOfDomain(f"There is no parameter {name!r}; there are {listed}.")
        index = self.names.index(name)
        return math.sqrt(float(self.matrix[index, index]))

    def for_independent(self, count: float) -> Covariance:
        """Return the covariance as if only `count` points were independent.

        Neighbouring points of an optical scan share the errors of the pose, the
        line and the surface's reflectance. A hundred thousand of them do not
        average to a nonsense 0.1 µm; how many independent passes or patches they
        amount to is for the person to state.

        Raises
        ------
        OutOfDomain
            If `count` is not above zero, or exceeds the number of points.
        """
        if positive("count", count) > self.points:
            raise OutOfDomain(
                f"count is {count:g}, but there are only {self.points} points."
            )
        return Covariance(self.names, self.matrix * (self.points / count), self.points)


def form_of(
    residuals_mm: NDArray[np.float64],
    degrees_of_freedom: int,
    *,
    two_sided: bool = True,
    sum_of_squares_mm2: float | None = None,
) -> Form:
    """Summarise residuals; `two_sided` is False for distances without a sign."""
    squares = sum_of_squares_mm2
    if squares is None:
        squares = float(residuals_mm @ residuals_mm)
    if two_sided:
        width = float(residuals_mm.max() - residuals_mm.min())
        band = narrowest_band(residuals_mm, DISPERSION_SHARE)
    else:
        width = 2.0 * float(residuals_mm.max())
        held = _held(len(residuals_mm), DISPERSION_SHARE)
        band = 2.0 * float(np.partition(residuals_mm, held - 1)[held - 1])
    return Form(
        residuals_mm=residuals_mm,
        rms_mm=math.sqrt(squares / len(residuals_mm)),
        standard_deviation_mm=(
            math.sqrt(squares / degrees_of_freedom) if degrees_of_freedom > 0 else None
        ),
        range_mm=width,
        dispersion_95_mm=band,
        degrees_of_freedom=degrees_of_freedom,
    )


def narrowest_band(values: NDArray[np.float64], share: float) -> float:
    """Return the width of the narrowest interval that holds a share of values.

    Parameters
    ----------
    values : ndarray, shape (N,)
        In any order.
    share : float
        Above 0, up to 1. At least ``ceil(share * N)`` values are held.

    Returns
    -------
    width : float
        In the unit of the values.

    Examples
    --------
    >>> narrowest_band(np.array([0.0, 1.0, 1.5, 2.0, 9.0]), 0.6)
    1.0
    """
    held = _held(len(values), share)
    left_out = len(values) - held
    # Only the two tails decide, so the middle need not be sorted.
    edges = np.partition(values, sorted({left_out, held - 1}))
    low = np.sort(edges[: left_out + 1])
    high = np.sort(edges[held - 1 :])
    return float((high - low).min())


def covariance_of(
    names: tuple[str, ...],
    cofactor: NDArray[np.float64],
    form: Form,
    u_point_mm: float | None,
) -> Covariance | None:
    """Scale a cofactor matrix by the stated, else by the observed, variance.

    Without redundancy the points say nothing of their own scatter; where none is
    stated either, there is no covariance to report.
    """
    sigma_mm = form.standard_deviation_mm
    if u_point_mm is not None:
        sigma_mm = positive("u_point_mm", u_point_mm)
    if sigma_mm is None:
        return None
    return Covariance(names, cofactor * sigma_mm**2, len(form.residuals_mm))


def _held(count: int, share: float) -> int:
    # A share of 0.95 of 20 is 19, though the product in binary may exceed it.
    return max(1, math.ceil(share * count * (1.0 - 1e-12)))
