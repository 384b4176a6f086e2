"""Straight lines through readings: errors in one coordinate, or in both.

A calibration line has reference values without error of their own on x and readings
on y. Where both have stated uncertainties, the line that minimises the weighted
distances in both is found by York's iteration.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.adjustment.least_squares import NotConverged, adjust
from lab.metrology.errors import BadShape, Degenerate, OutOfDomain, TooFew

__all__ = ["StraightLine", "calibration_line", "errors_in_both_line"]

Array = NDArray[np.float64]

_STEPS = 500
# A relative change of a few units in the last place: the iteration has settled.
_SETTLED = 1e-14


@dataclass(frozen=True, slots=True)
class StraightLine:
    """The line y = intercept + slope · x with its uncertainty.

    Attributes
    ----------
    intercept, slope : float
        The parameters.
    u_intercept, u_slope : float
        Their standard uncertainties.
    covariance : float
        Covariance of intercept and slope; zero for a line through the origin.
    standard_deviation : float
        s0: of a reading of unit weight about the line; where uncertainties were
        given, the factor by which the readings scatter more (above 1) or less.
    degrees_of_freedom : int
        Readings minus parameters.
    residuals : ndarray, shape (N,)
        Measured y minus the line at the measured x.
    """

    intercept: float
    slope: float
    u_intercept: float
    u_slope: float
    covariance: float
    standard_deviation: float
    degrees_of_freedom: int
    residuals: Array

    @property
    def correlation(self) -> float:
        """Return the correlation of intercept and slope."""
        product = self.u_intercept * self.u_slope
        return self.covariance / product if product else 0.0

    @property
    def variance_factor(self) -> float:
        """Return s0 squared, the reduced chi-squared where u were given."""
        return self.standard_deviation**2

    def at(self, x: float) -> float:
        """Return y on the line at x."""
        return self.intercept + self.slope * x

    def u_at(self, x: float) -> float:
        """Return the standard uncertainty of the line itself at x."""
        variance = (
            self.u_intercept**2 + 2.0 * x * self.covariance + (x * self.u_slope) ** 2
        )
        return math.sqrt(max(variance, 0.0))

    def x_for(self, y: float) -> float:
        """Return the x whose reading is y: the line read backwards."""
        if self.slope == 0.0:
            raise Degenerate("The line is level, so no x belongs to a reading.")
        return (y - self.intercept) / self.slope


def calibration_line(
    x: ArrayLike,
    y: ArrayLike,
    *,
    u_y: ArrayLike | None = None,
    through_origin: bool = False,
) -> StraightLine:
    r"""Fit y = a + b x, all the error being in y.

    Minimises :math:`\sum (y_i - a - b x_i)^2 / u_i^2`.

    Parameters
    ----------
    x : array_like, shape (N,)
        Reference values.
    y : array_like, shape (N,)
        Readings.
    u_y : array_like, shape (N,), optional
        Standard uncertainties of the readings, up to a common factor, which is
        estimated. Default: all equal.
    through_origin : bool
        Hold a at zero.

    Returns
    -------
    StraightLine
        The line; its uncertainties come from the scatter about it.

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If the arrays differ in length, hold NaN, or an uncertainty is not positive.
    TooFew
        If there are not more readings than parameters.
    Degenerate
        If all x are equal.

    References
    ----------
    .. [1] JCGM 100:2008, H.3.
    .. [2] NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.6.

    Examples
    --------
    >>> line = calibration_line([1.0, 2.0, 3.0, 4.0], [1.1, 1.9, 3.1, 3.9])
    >>> round(line.slope, 3), round(line.intercept, 3), line.degrees_of_freedom
    (0.96, 0.1, 2)
    """
    across = arrays.vector("x", x)
    up = arrays.vector("y", y)
    count = arrays.same_length(x=across, y=up)
    unknowns = 1 if through_origin else 2
    if count <= unknowns:
        raise TooFew(
            f"{count} readings leave nothing to estimate the scatter from; "
            f"at least {unknowns + 1} are needed."
        )
    weights = None if u_y is None else _weights("u_y", u_y, count)
    # About the mean the two columns are nearly orthogonal, which saves digits when
    # the x lie far from zero beside their spread.
    centre = 0.0 if through_origin else math.fsum(across) / count
    column = (across - centre)[:, None]
    if not through_origin and np.ptp(across) == 0.0:
        raise Degenerate("All x are equal, so no slope can be fitted.")
    design = column if through_origin else np.hstack([np.ones((count, 1)), column])
    fitted = adjust(design, up, weights=weights)
    # Back from the centre to the origin, a = a_c - b * centre.
    back = np.array([[1.0, -centre], [0.0, 1.0]])
    intercept_slope, spread = np.zeros(2), np.zeros((2, 2))
    intercept_slope[2 - unknowns :] = fitted.parameters
    spread[2 - unknowns :, 2 - unknowns :] = fitted.covariance
    intercept, slope = back @ intercept_slope
    spread = back @ spread @ back.T
    return StraightLine(
        intercept=float(intercept),
        slope=float(slope),
        u_intercept=math.sqrt(spread[0, 0]),
        u_slope=math.sqrt(spread[1, 1]),
        covariance=float(spread[0, 1]),
        standard_deviation=fitted.standard_deviation,
        degrees_of_freedom=fitted.degrees_of_freedom,
        residuals=fitted.residuals,
    )


def errors_in_both_line(
    x: ArrayLike,
    y: ArrayLike,
    u_x: ArrayLike,
    u_y: ArrayLike,
    *,
    correlation: ArrayLike | float = 0.0,
) -> StraightLine:
    r"""Fit y = a + b x where both coordinates have stated uncertainties.

    Minimises :math:`\sum W_i (y_i - a - b x_i)^2` with
    :math:`W_i = 1 / (u_{y,i}^2 + b^2 u_{x,i}^2 - 2 b r_i u_{x,i} u_{y,i})`.

    Parameters
    ----------
    x, y : array_like, shape (N,)
        The points, N >= 3.
    u_x, u_y : array_like, shape (N,)
        Their standard uncertainties, all positive.
    correlation : float or array_like, shape (N,)
        Correlation of the two errors of each point, above -1 and below 1.

    Returns
    -------
    StraightLine
        The line. Its uncertainties rest on the stated ones alone and are not
        scaled by the scatter; ``variance_factor`` is the reduced chi-squared.

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If the arrays differ in length, hold NaN, or are out of their ranges.
    TooFew
        If there are fewer than three points.
    Degenerate
        If all x are equal.
    NotConverged
        If the iteration does not settle: the line is nearly upright.

    References
    ----------
    .. [1] York, D., Evensen, N. M., Lopez Martinez, M., and De Basabe Delgado, J.
       (2004). Unified equations for the slope, intercept, and standard errors of
       the best straight line. Am. J. Phys. 72, 367-375.

    Examples
    --------
    >>> line = errors_in_both_line(
    ...     [0.0, 1.0, 2.0], [0.1, 0.9, 2.1], [0.1, 0.1, 0.1], [0.1, 0.1, 0.1]
    ... )
    >>> round(line.slope, 4)
    1.0067
    """
    across = arrays.vector("x", x, minimum=3)
    up = arrays.vector("y", y, minimum=3)
    count = arrays.same_length(x=across, y=up)
    weight_x = _weights("u_x", u_x, count)
    weight_y = _weights("u_y", u_y, count)
    shared = np.broadcast_to(np.asarray(correlation, dtype=np.float64), (count,))
    if not np.all(np.abs(shared) < 1):
        raise OutOfDomain("correlation must lie above -1 and below 1.")
    # The ordinary line is the customary start of the iteration.
    slope = calibration_line(across, up).slope
    for _ in range(_STEPS):
        step = _york_step(across, up, weight_x, weight_y, shared, slope)
        moved, slope = abs(step.slope - slope), step.slope
        if moved <= _SETTLED * abs(slope):
            break
    else:
        raise NotConverged(
            f"The slope did not settle in {_STEPS} steps; "
            "a line that is nearly upright is fitted with x and y exchanged."
        )
    intercept = step.mean_y - slope * step.mean_x
    total = float(step.weight.sum())
    middle = float(step.weight @ step.adjusted_x / total)
    u_slope = 1.0 / math.sqrt(float(step.weight @ (step.adjusted_x - middle) ** 2))
    residuals = up - intercept - slope * across
    chi_squared = float(step.weight @ residuals**2)
    return StraightLine(
        intercept=intercept,
        slope=slope,
        u_intercept=math.sqrt(1.0 / total + (middle * u_slope) ** 2),
        u_slope=u_slope,
        covariance=-middle * u_slope**2,
        standard_deviation=math.sqrt(chi_squared / (count - 2)),
        degrees_of_freedom=count - 2,
        residuals=residuals,
    )


@dataclass(frozen=True, slots=True)
class _YorkStep:
    """One pass of York's iteration, with the weights of the slope it came from."""

    slope: float
    mean_x: float
    mean_y: float
    adjusted_x: Array
    weight: Array


def _york_step(
    x: Array, y: Array, weight_x: Array, weight_y: Array, shared: Array, slope: float
) -> _YorkStep:
    geometric = np.sqrt(weight_x * weight_y)
    weight = (
        weight_x
        * weight_y
        / (weight_x + slope**2 * weight_y - 2.0 * slope * shared * geometric)
    )
    mean_x = float(weight @ x / weight.sum())
    mean_y = float(weight @ y / weight.sum())
    offset_x, offset_y = x - mean_x, y - mean_y
    shift = weight * (
        offset_x / weight_y
        + slope * offset_y / weight_x
        - (slope * offset_x + offset_y) * shared / geometric
    )
    return _YorkStep(
        slope=float((weight * shift) @ offset_y / ((weight * shift) @ offset_x)),
        mean_x=mean_x,
        mean_y=mean_y,
        adjusted_x=mean_x + shift,
        weight=weight,
    )


def _weights(name: str, uncertainties: ArrayLike, count: int) -> Array:
    checked = arrays.vector(name, uncertainties)
    if len(checked) != count:
        raise BadShape(f"There are {count} points but {name} has {len(checked)}.")
    if np.any(checked <= 0):
        worst = int(np.argmin(checked))
        raise OutOfDomain(
            f"{name} {worst} is {checked[worst]:g}; an uncertainty must be positive."
        )
    return 1.0 / checked**2
