r"""A budget, and its combination by the law of propagation (JCGM 100:2008, clause 5).

.. math::
    u_c^2(y) = \sum_i \sum_j c_i\,c_j\,u(x_i)\,u(x_j)\,r(x_i, x_j)

Sensitivities :math:`c_i` are taken where they are stated, else found from the model
by central differences over ± u/4 and ± u/8 (extrapolated to a vanishing step, so that
they are exact for a model up to the fourth power in one input).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lab.metrology.arrays import finite
from lab.metrology.errors import BadShape, MetrologyError, NotFinite, OutOfDomain
from lab.metrology.uncertainty.inputs import Input

__all__ = [
    "Budget",
    "Combination",
    "Contribution",
    "DuplicateInput",
    "Model",
    "combine",
]

FloatArray = NDArray[np.float64]

#: A model takes one array for each input by name, all of one shape, and returns one.
Model = Callable[[Mapping[str, FloatArray]], FloatArray]

_SYMMETRY = 1e-9


class DuplicateInput(MetrologyError):
    """Two inputs of one budget bear the same name."""


@dataclass(frozen=True, slots=True)
class Budget:
    """Input quantities and how the measurand follows from them.

    Parameters
    ----------
    measurand : str
        What is measured; printed.
    inputs : sequence of Input
        At least one.
    model : callable, optional
        From arrays of the inputs, by name, to the measurand. Left out for a linear
        budget, in which every input states its sensitivity.
    estimate : float, optional
        Best estimate of the measurand, for a linear budget only.
    correlation : array_like, shape (n, n), optional
        Correlation coefficients in the order of the inputs. The identity if left out.
    unit : str
        Unit of the measurand, for print.

    Raises
    ------
    DuplicateInput, BadShape, OutOfDomain, NotFinite
        If names repeat, neither model nor sensitivities say how the measurand
        follows, or the correlation matrix is none.
    """

    measurand: str
    inputs: Sequence[Input]
    model: Model | None = None
    estimate: float | None = None
    correlation: FloatArray | None = None
    unit: str = ""
    _names: tuple[str, ...] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Check that the budget hangs together."""
        object.__setattr__(self, "inputs", tuple(self.inputs))
        if not self.inputs:
            raise BadShape(f"The budget of {self.measurand} has no inputs.")
        names = tuple(each.name for each in self.inputs)
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise DuplicateInput(
                f"The budget of {self.measurand} holds {', '.join(twice)} twice: an "
                "influence is counted once."
            )
        object.__setattr__(self, "_names", names)
        self._check_model()
        if self.correlation is not None:
            matrix = _correlation(self.correlation, names)
            object.__setattr__(self, "correlation", matrix)

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the inputs, in their order."""
        return self._names

    def evaluate(self, values: Mapping[str, FloatArray]) -> FloatArray:
        """Give the measurand for arrays of the inputs, by name.

        Raises
        ------
        BadShape, NotFinite
            If the model returns another shape than it was given, or no number.
        """
        if self.model is None:
            return self._evaluate_linear(values)
        shape = values[self.names[0]].shape
        result = np.asarray(self.model(values), dtype=np.float64)
        if result.shape != shape:
            raise BadShape(
                f"The model of {self.measurand} returned shape {result.shape} for "
                f"inputs of shape {shape}."
            )
        return result

    def _evaluate_linear(self, values: Mapping[str, FloatArray]) -> FloatArray:
        total = np.full_like(values[self.names[0]], self.estimate or 0.0)
        for each in self.inputs:
            total += (each.sensitivity or 0.0) * (values[each.name] - each.estimate)
        return total

    def _check_model(self) -> None:
        if self.model is not None:
            if self.estimate is not None:
                raise OutOfDomain(
                    f"The budget of {self.measurand} has a model, so its estimate "
                    "follows; state none."
                )
            return
        missing = [each.name for each in self.inputs if each.sensitivity is None]
        if missing:
            raise OutOfDomain(
                f"The budget of {self.measurand} has no model, and no sensitivity for "
                f"{', '.join(missing)}."
            )
        if self.estimate is None:
            raise OutOfDomain(
                f"The budget of {self.measurand} has neither a model nor an estimate."
            )
        finite(f"estimate of {self.measurand}", self.estimate)


@dataclass(frozen=True, slots=True)
class Contribution:
    """What one input contributes.

    ``contribution`` is c·u (signed by the sensitivity); ``share`` its part of the
    variance, correlations included: the shares add up to 1, and one may be negative.
    """

    name: str
    estimate: float
    unit: str
    distribution: str
    u: float
    degrees_of_freedom: float
    sensitivity: float
    contribution: float
    share: float


@dataclass(frozen=True, slots=True)
class Combination:
    """A combined budget.

    ``contributions`` stand largest first. ``sensitivities`` and ``covariance`` (of
    the inputs) keep the order of the budget.
    """

    measurand: str
    unit: str
    estimate: float
    u: float
    effective_dof: float
    contributions: tuple[Contribution, ...]
    sensitivities: FloatArray
    covariance: FloatArray

    def named(self, name: str) -> Contribution:
        """Give the contribution of one input.

        Raises
        ------
        OutOfDomain
            If there is no such input.
        """
        for each in self.contributions:
            if each.name == name:
                return each
        raise OutOfDomain(f"The budget of {self.measurand} has no input {name!r}.")


def combine(budget: Budget) -> Combination:
    """Combine a budget by the law of propagation of uncertainty.

    Parameters
    ----------
    budget : Budget
        The inputs and the model.

    Returns
    -------
    Combination
        Estimate, combined standard uncertainty, effective degrees of freedom by
        Welch and Satterthwaite, and the contributions, largest first.

    Raises
    ------
    NotFinite
        If the model gives no number at or near the estimates.

    Notes
    -----
    The Welch-Satterthwaite formula (JCGM 100, G.4.1) holds for independent inputs.
    Inputs that are correlated, directly or in a chain, are taken together as one term
    whose degrees of freedom are the fewest among them, which is exact for means of
    the same simultaneous readings and never too many otherwise.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, 5.2.2, G.4.

    Examples
    --------
    >>> from lab.metrology.uncertainty import Budget, Input, Normal, Rectangular
    >>> budget = Budget(
    ...     "length at 20 °C",
    ...     [
    ...         Input("length", 500.0, Normal(0.004), unit="mm"),
    ...         Input("temperature", 21.0, Rectangular(0.5), unit="°C"),
    ...     ],
    ...     model=lambda x: x["length"] / (1 + 23.1e-6 * (x["temperature"] - 20)),
    ... )
    >>> result = combine(budget)
    >>> round(result.estimate, 4), round(result.u, 4)
    (499.9885, 0.0052)
    >>> [each.name for each in result.contributions]
    ['length', 'temperature']
    """
    estimate = _estimate(budget)
    slopes = _sensitivities(budget)
    spreads = np.array([each.u for each in budget.inputs])
    matrix = np.eye(len(spreads)) if budget.correlation is None else budget.correlation
    parts = slopes * spreads
    pulls = parts * (matrix @ parts)
    variance = max(float(np.sum(pulls)), 0.0)
    contributions = [
        Contribution(
            name=each.name,
            estimate=each.estimate,
            unit=each.unit,
            distribution=each.distribution.name,
            u=each.u,
            degrees_of_freedom=each.effective_dof,
            sensitivity=float(slope),
            contribution=float(part),
            share=float(pull) / variance if variance > 0 else 0.0,
        )
        for each, slope, part, pull in zip(
            budget.inputs, slopes, parts, pulls, strict=True
        )
    ]
    contributions.sort(key=lambda each: abs(each.contribution), reverse=True)
    return Combination(
        measurand=budget.measurand,
        unit=budget.unit,
        estimate=estimate,
        u=math.sqrt(variance),
        effective_dof=_effective_dof(budget, parts, matrix, variance),
        contributions=tuple(contributions),
        sensitivities=slopes,
        covariance=np.outer(spreads, spreads) * matrix,
    )


def _correlation(value: FloatArray, names: tuple[str, ...]) -> FloatArray:
    matrix = np.array(value, dtype=np.float64)
    count = len(names)
    if matrix.shape != (count, count):
        raise BadShape(
            f"correlation must have shape ({count}, {count}), got {matrix.shape}."
        )
    if not np.all(np.isfinite(matrix)):
        raise NotFinite("correlation must hold finite numbers only.")
    if not np.allclose(np.diag(matrix), 1.0, atol=_SYMMETRY):
        raise OutOfDomain("correlation must have ones on its diagonal.")
    if not np.allclose(matrix, matrix.T, atol=_SYMMETRY):
        raise OutOfDomain("correlation must be symmetric.")
    if float(np.linalg.eigvalsh(matrix)[0]) < -_SYMMETRY * count:
        raise OutOfDomain(
            "correlation is no correlation matrix: it has a negative eigenvalue, so "
            "the coefficients contradict one another."
        )
    return matrix


def _values(budget: Budget, index: int = 0, step: float = 0.0) -> dict[str, FloatArray]:
    values = {
        each.name: np.array([each.estimate], dtype=np.float64) for each in budget.inputs
    }
    values[budget.names[index]] += step
    return values


def _estimate(budget: Budget) -> float:
    if budget.model is None:
        # A linear budget is about its estimate.
        return float(budget.estimate or 0.0)
    estimate = float(budget.evaluate(_values(budget))[0])
    if not math.isfinite(estimate):
        raise NotFinite(
            f"The model of {budget.measurand} gives {estimate} at the estimates."
        )
    return estimate


def _sensitivities(budget: Budget) -> FloatArray:
    return np.array(
        [
            _slope(budget, index) if each.sensitivity is None else each.sensitivity
            for index, each in enumerate(budget.inputs)
        ]
    )


def _slope(budget: Budget, index: int) -> float:
    each = budget.inputs[index]
    # A constant has no share whatever its sensitivity; the step is for print only.
    reach = each.u or max(abs(each.estimate), 1.0) * 1e-3
    wide = _difference(budget, index, reach / 4.0)
    narrow = _difference(budget, index, reach / 8.0)
    slope = (4.0 * narrow - wide) / 3.0
    if not math.isfinite(slope):
        raise NotFinite(
            f"The model of {budget.measurand} gives no number within the uncertainty "
            f"of {each.name}."
        )
    return slope


def _difference(budget: Budget, index: int, step: float) -> float:
    above = _values(budget, index, step)
    below = _values(budget, index, -step)
    name = budget.names[index]
    # What was really added, after rounding to a float.
    span = float(above[name][0] - below[name][0])
    return float(budget.evaluate(above)[0] - budget.evaluate(below)[0]) / span


def _effective_dof(
    budget: Budget, parts: FloatArray, matrix: FloatArray, variance: float
) -> float:
    total = 0.0
    for group in _groups(matrix):
        freedom = min(budget.inputs[index].effective_dof for index in group)
        if math.isinf(freedom):
            continue
        part = parts[group]
        joint = float(part @ matrix[np.ix_(group, group)] @ part)
        total += joint**2 / freedom
    return variance**2 / total if total > 0 else math.inf


def _groups(matrix: FloatArray) -> list[list[int]]:
    """Split the inputs into groups that are correlated, directly or in a chain."""
    if np.count_nonzero(matrix) == len(matrix):
        return [[index] for index in range(len(matrix))]
    left = set(range(len(matrix)))
    groups = []
    while left:
        group, edge = set[int](), {min(left)}
        while edge:
            group |= edge
            near = np.flatnonzero(np.any(matrix[sorted(edge)] != 0.0, axis=0))
            edge = {int(index) for index in near} - group
        left -= group
        groups.append(sorted(group))
    return groups
