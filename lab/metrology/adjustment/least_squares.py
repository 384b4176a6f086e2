"""Least squares of any linear or nonlinear model.

The linear model is ``observations = design @ parameters + residuals`` with the
covariance matrix of the observations known up to one variance factor. Observations
and design are first brought to unit weight (divided by the Cholesky factor of that
covariance), then solved by QR, which keeps twice the digits that the normal
equations would. A nonlinear model is linearised again and again (Gauss-Newton), with
the step halved while it would make the sum of squares grow.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg

from lab.metrology import arrays
from lab.metrology.errors import BadShape, Degenerate, OutOfDomain, TooFew

__all__ = [
    "Adjustment",
    "NonlinearAdjustment",
    "NotConverged",
    "adjust",
    "adjust_nonlinear",
]

Array = NDArray[np.float64]

_HALVINGS = 40


class NotConverged(Degenerate):
    """The iteration stopped without an answer."""


@dataclass(frozen=True, slots=True)
class Adjustment:
    """The least-squares answer for N observations and P parameters.

    Attributes
    ----------
    parameters : ndarray, shape (P,)
        The adjusted parameters.
    residuals : ndarray, shape (N,)
        Observed minus adjusted, in the unit of the observations.
    cofactors : ndarray, shape (P, P)
        Covariance of the parameters for a variance factor of 1: what applies
        where the covariance of the observations is known and not estimated.
    redundancy : ndarray, shape (N,)
        Share of each observation's error that shows in its own residual, 0 to 1;
        they sum to the degrees of freedom.
    sum_of_squares : float
        Weighted sum of the squared residuals.
    degrees_of_freedom : int
        N minus P.
    """

    parameters: Array
    residuals: Array
    cofactors: Array
    redundancy: Array
    sum_of_squares: float
    degrees_of_freedom: int

    @property
    def variance_factor(self) -> float:
        """Return the sum of squares over the degrees of freedom, s0 squared."""
        if self.degrees_of_freedom < 1:
            raise TooFew(
                "There are as many parameters as observations, so the variance "
                "factor cannot be estimated; use the cofactors."
            )
        return self.sum_of_squares / self.degrees_of_freedom

    @property
    def standard_deviation(self) -> float:
        """Return s0, the standard deviation of an observation of unit weight."""
        return math.sqrt(self.variance_factor)

    @property
    def covariance(self) -> Array:
        """Return the covariance of the parameters, shape (P, P), with s0 squared."""
        return np.asarray(self.cofactors * self.variance_factor)

    @property
    def u_parameters(self) -> Array:
        """Return the standard uncertainties of the parameters, shape (P,)."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


@dataclass(frozen=True, slots=True)
class NonlinearAdjustment:
    """The answer of an iterated adjustment.

    Attributes
    ----------
    adjustment : Adjustment
        The answer; the residuals are those of the nonlinear model.
    iterates : ndarray, shape (K, P)
        The start and the parameters after each step.
    """

    adjustment: Adjustment
    iterates: Array


def adjust(
    design: ArrayLike,
    observations: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    covariance: ArrayLike | None = None,
) -> Adjustment:
    r"""Solve a linear model by least squares.

    Finds the parameters x that make :math:`v^T Q^{-1} v` least, where
    :math:`v = l - A x` are the residuals and Q is the covariance of the
    observations up to the variance factor.

    Parameters
    ----------
    design : array_like, shape (N, P)
        Derivatives of the observations by the parameters.
    observations : array_like, shape (N,)
        The observations.
    weights : array_like, shape (N,), optional
        One over the variance of each observation, all positive. Default 1.
    covariance : array_like, shape (N, N), optional
        The full covariance of the observations, instead of weights.

    Returns
    -------
    Adjustment
        Parameters, residuals and their statistics.

    Raises
    ------
    BadShape, NotFinite
        If an array is not what it should be.
    TooFew
        If there are fewer observations than parameters.
    OutOfDomain
        If a weight is not positive, or the covariance is not symmetric and
        positive definite.
    Degenerate
        If the observations do not determine all parameters.

    Notes
    -----
    Columns of the design are scaled to unit length before the rank is judged, so
    that the units of the parameters do not decide what counts as singular.

    References
    ----------
    .. [1] Mikhail, E. M., and Ackermann, F. (1976). Observations and Least
       Squares. New York: IEP.
    .. [2] Golub, G. H., and Van Loan, C. F. (2013). Matrix Computations, 4th ed.,
       section 5.3.

    Examples
    --------
    >>> fitted = adjust([[1, 0], [1, 1], [1, 2]], [1.0, 3.1, 4.9])
    >>> fitted.parameters.round(6).tolist()
    [1.05, 1.95]
    >>> fitted.degrees_of_freedom
    1
    """
    matrix = _design(design)
    values = arrays.vector("observations", observations)
    arrays.same_length(design=matrix, observations=values)
    return _solve(matrix, values, _unit_weight(len(values), weights, covariance))


def adjust_nonlinear(
    model: Callable[[Array], Array],
    jacobian: Callable[[Array], Array],
    observations: ArrayLike,
    start: ArrayLike,
    *,
    weights: ArrayLike | None = None,
    covariance: ArrayLike | None = None,
    tolerance: float = 1e-12,
    steps: int = 100,
) -> NonlinearAdjustment:
    """Solve a nonlinear model by Gauss-Newton with halved steps.

    Parameters
    ----------
    model : callable
        Parameters, shape (P,), to computed observations, shape (N,).
    jacobian : callable
        Parameters, shape (P,), to the derivatives of the observations, (N, P).
    observations : array_like, shape (N,)
        The observations.
    start : array_like, shape (P,)
        Where the iteration starts.
    weights, covariance : array_like, optional
        As in `adjust`.
    tolerance : float
        The iteration ends when a step is below this share of the parameters.
    steps : int
        The most steps that are tried.

    Returns
    -------
    NonlinearAdjustment
        The answer, and the parameters after each step.

    Raises
    ------
    NotConverged
        If the steps run out, or no step makes the sum of squares smaller.
    BadShape, NotFinite, TooFew, OutOfDomain, Degenerate
        As in `adjust`.

    Notes
    -----
    Near the solution the sum of squares changes by less than its own rounding, so
    a step that is not smaller there but below the tolerance still ends it.

    References
    ----------
    .. [1] Bjorck, A. (1996). Numerical Methods for Least Squares Problems,
       section 9.2.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.array([0.0, 1.0, 2.0])
    >>> fitted = adjust_nonlinear(
    ...     lambda p: p[0] * np.exp(p[1] * x),
    ...     lambda p: np.column_stack([np.exp(p[1] * x), p[0] * x * np.exp(p[1] * x)]),
    ...     2.0 * np.exp(-0.5 * x),
    ...     [1.0, 0.0],
    ... )
    >>> fitted.adjustment.parameters.round(9).tolist()
    [2.0, -0.5]
    """
    values = arrays.vector("observations", observations)
    parameters = arrays.vector("start", start).copy()
    unit = _unit_weight(len(values), weights, covariance)
    iterates = [parameters]
    for _ in range(steps):
        matrix = _design(jacobian(parameters))
        arrays.same_length(jacobian=matrix, observations=values)
        solved = _solve(matrix, values - model(parameters), unit)
        step = solved.parameters
        if np.linalg.norm(step) <= tolerance * np.linalg.norm(parameters) + 1e-300:
            parameters = parameters + step
            residuals = values - model(parameters)
            return NonlinearAdjustment(
                replace(
                    solved,
                    parameters=parameters,
                    residuals=residuals,
                    sum_of_squares=float(np.sum(unit.whiten(residuals) ** 2)),
                ),
                np.array([*iterates, parameters]),
            )
        parameters = _shortened(model, values, unit, parameters, step)
        iterates.append(parameters)
    raise NotConverged(
        f"The adjustment did not settle in {steps} steps; "
        "start nearer to the solution or look for a wrong observation."
    )


def _shortened(
    model: Callable[[Array], Array],
    values: Array,
    unit: _UnitWeight,
    parameters: Array,
    step: Array,
) -> Array:
    """Return the parameters after the longest halved step that lowers the sum."""

    def cost(trial: Array) -> float:
        return float(np.sum(unit.whiten(values - model(trial)) ** 2))

    before = cost(parameters)
    # Rounding alone may raise the sum at the solution; that much is no growth.
    allowed = before * (1 + 1e-12) + 1e-300
    for halving in range(_HALVINGS):
        trial: Array = parameters + step * 0.5**halving
        if cost(trial) <= allowed:
            return trial
    raise NotConverged(
        "No step lowers the sum of squares any further, yet the steps are not small; "
        "start nearer to the solution or look for a wrong observation."
    )


def _design(design: ArrayLike) -> Array:
    matrix = np.asarray(design)
    if matrix.ndim != 2:
        raise BadShape(
            "design must have shape (N, P), one observation a row; "
            f"it has shape {matrix.shape}."
        )
    return arrays.points("design", matrix, columns=matrix.shape[1])


@dataclass(frozen=True, slots=True)
class _UnitWeight:
    """Brings observations to unit weight and back.

    Either the square roots of the weights or the lower Cholesky factor of the
    covariance is kept; neither where all weights are 1.
    """

    roots: Array | None = None
    factor: Array | None = None

    def whiten(self, array: Array) -> Array:
        if self.factor is not None:
            whitened: Array = linalg.solve_triangular(self.factor, array, lower=True)
            return whitened
        return array if self.roots is None else (array.T * self.roots).T

    def redundancy(self, orthogonal: Array) -> Array:
        """Return the diagonal of I - A N⁻¹ Aᵀ Q⁻¹ from the QR factor of L⁻¹ A."""
        if self.factor is None:
            return np.asarray(1.0 - np.sum(orthogonal**2, axis=1))
        back = self.factor @ orthogonal
        across = linalg.solve_triangular(self.factor.T, orthogonal)
        return np.asarray(1.0 - np.sum(back * across, axis=1))


def _unit_weight(
    count: int, weights: ArrayLike | None, covariance: ArrayLike | None
) -> _UnitWeight:
    if weights is not None and covariance is not None:
        raise BadShape("Give weights or covariance, not both.")
    if covariance is not None:
        return _UnitWeight(factor=_cholesky(count, covariance))
    if weights is None:
        return _UnitWeight()
    checked = arrays.vector("weights", weights)
    if len(checked) != count:
        raise BadShape(f"There are {count} observations but {len(checked)} weights.")
    if np.any(checked <= 0):
        worst = int(np.argmin(checked))
        raise OutOfDomain(
            f"Weight {worst} is {checked[worst]:g}; every weight must be positive."
        )
    return _UnitWeight(roots=np.sqrt(checked))


def _cholesky(count: int, covariance: ArrayLike) -> Array:
    matrix = arrays.points("covariance", covariance, columns=count)
    if len(matrix) != count:
        raise BadShape(
            f"covariance must have shape ({count}, {count}); "
            f"it has shape {matrix.shape}."
        )
    if not np.allclose(matrix, matrix.T, rtol=1e-9, atol=0):
        raise OutOfDomain("covariance must be symmetric.")
    try:
        factor: Array = linalg.cholesky(matrix, lower=True)
    except linalg.LinAlgError:
        raise OutOfDomain("covariance must be positive definite.") from None
    return factor


def _solve(matrix: Array, values: Array, unit: _UnitWeight) -> Adjustment:
    """Solve the system at unit weight by QR of the column-scaled design."""
    design, right = unit.whiten(matrix), unit.whiten(values)
    count, unknowns = design.shape
    if count < unknowns:
        raise TooFew(
            f"{count} observations cannot determine {unknowns} parameters; "
            f"at least {unknowns} are needed."
        )
    scales = np.linalg.norm(design, axis=0)
    if np.any(scales == 0):
        missing = int(np.argmin(scales))
        raise Degenerate(f"No observation depends on parameter {missing}.")
    orthogonal, triangular = linalg.qr(design / scales, mode="economic")
    singular = linalg.svdvals(triangular)
    rank = int(np.sum(singular > singular[0] * max(count, unknowns) * 2.3e-16))
    if rank < unknowns:
        raise Degenerate(
            f"The observations determine only {rank} of {unknowns} parameters."
        )
    parameters = linalg.solve_triangular(triangular, orthogonal.T @ right) / scales
    inverse = linalg.solve_triangular(triangular, np.eye(unknowns)) / scales[:, None]
    whitened = right - design @ parameters
    return Adjustment(
        parameters=parameters,
        residuals=values - matrix @ parameters,
        cofactors=inverse @ inverse.T,
        redundancy=unit.redundancy(orthogonal),
        sum_of_squares=float(whitened @ whitened),
        degrees_of_freedom=count - unknowns,
    )
