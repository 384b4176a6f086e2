r"""Propagation of distributions by Monte Carlo (JCGM 101:2008, clauses 7 and 8).

Trials are drawn in blocks of :math:`M = \max(10^4, \lceil 100/(1-p) \rceil)`. With a
number of significant digits asked for, blocks are added until twice the standard
deviation of the mean over the blocks is below the numerical tolerance δ for estimate,
standard uncertainty and both ends of the interval (7.9). Or the number of trials is
stated. The same seed gives the same numbers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.errors import MetrologyError, NotFinite, OutOfDomain
from lab.metrology.uncertainty.budget import Budget, FloatArray
from lab.metrology.uncertainty.coverage import Expanded
from lab.metrology.uncertainty.distributions import Distribution, Normal, StudentT
from lab.metrology.uncertainty.inputs import Input

__all__ = [
    "Agreement",
    "MonteCarlo",
    "NotConverged",
    "compare",
    "numerical_tolerance",
    "propagate",
]

#: Few enough that a block of every input stays in the cache of a processor.
_BLOCK = 10_000
_MOST_TRIALS = 20_000_000


class NotConverged(MetrologyError):
    """The digits asked for need more trials than were allowed."""


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """What Monte Carlo found, in the unit of the measurand.

    ``low``, ``high``: the shortest interval of the stated probability.
    ``symmetric_low``, ``symmetric_high``: the one with equal tails. ``tolerance``: the
    numerical tolerance δ that was asked for, None if the trials were stated.
    """

    estimate: float
    u: float
    low: float
    high: float
    symmetric_low: float
    symmetric_high: float
    probability: float
    trials: int
    tolerance: float | None


@dataclass(frozen=True, slots=True)
class Agreement:
    """Comparison of the law of propagation with Monte Carlo (JCGM 101, 8.1).

    ``validated`` if both ends of the intervals differ by no more than ``tolerance``.
    """

    low_difference: float
    high_difference: float
    tolerance: float
    validated: bool


def propagate(
    budget: Budget,
    probability: float = 0.95,
    *,
    seed: int,
    trials: int | None = None,
    significant_digits: int = 2,
    most_trials: int = _MOST_TRIALS,
) -> MonteCarlo:
    """Propagate the distributions of a budget by Monte Carlo.

    Parameters
    ----------
    budget : Budget
        Inputs and model. A normal input with finite degrees of freedom is drawn from
        the t distribution (JCGM 101, 6.4.9).
    probability : float
        Coverage probability of the intervals.
    seed : int
        Seed of the generator (PCG64); the same seed gives the same result.
    trials : int, optional
        Stated number of trials; adaptive if left out.
    significant_digits : int
        Digits of u that are to be stable, for the adaptive procedure: 1 to 4.
    most_trials : int
        Where the adaptive procedure gives up.

    Returns
    -------
    MonteCarlo

    Raises
    ------
    NotConverged
        If the adaptive procedure reaches ``most_trials``.
    NotFinite
        If the model gives a value that is no number for a draw.
    OutOfDomain
        If a parameter is unusable, or correlated inputs are not all normal.

    References
    ----------
    .. [1] JCGM 101:2008, clauses 6, 7.

    Examples
    --------
    >>> from lab.metrology.uncertainty import Budget, Input, Normal
    >>> inputs = [Input(f"x{i}", 0.0, Normal(1.0), sensitivity=1.0) for i in range(4)]
    >>> result = propagate(Budget("sum", inputs, estimate=0.0), seed=1, trials=200_000)
    >>> round(result.u, 1), round(result.high, 1)
    (2.0, 3.9)
    """
    if not 0 < probability < 1:
        raise OutOfDomain(f"probability must lie between 0 and 1, got {probability}.")
    block = max(_BLOCK, math.ceil(100.0 / (1.0 - probability)))
    sampler = _Sampler(budget, np.random.Generator(np.random.PCG64(seed)))
    if trials is not None:
        if trials < block:
            raise OutOfDomain(
                f"trials must be at least {block} for a probability of {probability}, "
                f"got {trials}."
            )
        sample = np.empty(trials)
        for start in range(0, trials, block):
            part = sample[start : start + block]
            part[:] = sampler.draw(len(part))
        return _summary(sample, probability, None)
    if significant_digits not in (1, 2, 3, 4):
        raise OutOfDomain(
            f"significant_digits must be 1 to 4, got {significant_digits}."
        )
    return _adaptive(sampler, probability, block, significant_digits, most_trials)


def numerical_tolerance(u: float, significant_digits: int) -> float:
    r"""Give the numerical tolerance δ of a standard uncertainty (JCGM 101, 7.9.2).

    With :math:`u = c \times 10^l`, c an integer of so many digits, δ is
    :math:`\tfrac12 10^l`.

    Examples
    --------
    >>> numerical_tolerance(0.00035, 2)
    5e-06
    """
    if not (math.isfinite(u) and u > 0):
        raise OutOfDomain(f"u must be finite and greater than zero, got {u}.")
    decade = math.floor(math.log10(u)) - (significant_digits - 1)
    # Rounding may carry into the next decade: 0.0996 to two digits is 0.10.
    if round(u / 10.0**decade) >= 10**significant_digits:
        decade += 1
    return 0.5 * 10.0**decade


def compare(
    expanded: Expanded, found: MonteCarlo, significant_digits: int = 2
) -> Agreement:
    """Compare the interval of the law of propagation with that of Monte Carlo.

    Parameters
    ----------
    expanded : Expanded
        Estimate ± U from :func:`lab.metrology.uncertainty.expand`.
    found : MonteCarlo
        For the same probability, with a numerical tolerance of at most a fifth of
        the δ used here (JCGM 101, 8.2): ask it for one digit more.
    significant_digits : int
        Digits of u that are meaningful.

    Returns
    -------
    Agreement

    Raises
    ------
    OutOfDomain
        If the probabilities differ.

    References
    ----------
    .. [1] JCGM 101:2008, 8.1.

    Examples
    --------
    >>> from lab.metrology.uncertainty import Budget, Input, Normal, combine, expand
    >>> budget = Budget("y", [Input("x", 0, Normal(1.0), sensitivity=1.0)], estimate=0)
    >>> found = propagate(budget, seed=3, trials=400_000)
    >>> compare(expand(combine(budget)), found, significant_digits=1).validated
    True
    """
    if not math.isclose(expanded.probability, found.probability, rel_tol=1e-9):
        raise OutOfDomain(
            f"The intervals have different probabilities, {expanded.probability} and "
            f"{found.probability}; they cannot be compared."
        )
    tolerance = numerical_tolerance(expanded.u, significant_digits)
    low = abs(expanded.estimate - expanded.expanded_u - found.low)
    high = abs(expanded.estimate + expanded.expanded_u - found.high)
    return Agreement(low, high, tolerance, low <= tolerance and high <= tolerance)


class _Sampler:
    """Draws the measurand of one budget; holds the state of the generator."""

    def __init__(self, budget: Budget, generator: np.random.Generator) -> None:
        self._budget = budget
        self._generator = generator
        self._distributions = [_drawn_from(each) for each in budget.inputs]
        self._factor = _joint_factor(budget)

    def draw(self, count: int) -> FloatArray:
        """Draw the measurand ``count`` times."""
        values = {}
        joint = self._draw_joint(count)
        for index, each in enumerate(self._budget.inputs):
            if index in joint:
                drawn = joint[index]
            else:
                drawn = self._distributions[index].draw(self._generator, count)
            drawn += each.estimate
            values[each.name] = drawn
        result = self._budget.evaluate(values)
        if not np.isfinite(np.sum(result)) and not np.all(np.isfinite(result)):
            raise NotFinite(
                f"The model of {self._budget.measurand} gives no number for "
                f"{int(np.sum(~np.isfinite(result)))} of {count} draws: an input "
                "reaches where the model does not hold."
            )
        return result

    def _draw_joint(self, count: int) -> dict[int, FloatArray]:
        if self._factor is None:
            return {}
        members, factor = self._factor
        drawn = factor @ self._generator.standard_normal((len(members), count))
        return dict(zip(members, drawn, strict=True))


def _drawn_from(each: Input) -> Distribution:
    if isinstance(each.distribution, Normal) and math.isfinite(each.effective_dof):
        return StudentT(each.u, each.effective_dof)
    return each.distribution


def _joint_factor(budget: Budget) -> tuple[list[int], FloatArray] | None:
    """Factor the covariance of the correlated inputs (JCGM 101, 6.4.8)."""
    if budget.correlation is None:
        return None
    linked = budget.correlation - np.eye(len(budget.inputs))
    members = [int(index) for index in np.flatnonzero(np.any(linked != 0.0, axis=0))]
    if not members:
        return None
    for index in members:
        each = budget.inputs[index]
        if not isinstance(_drawn_from(each), Normal):
            raise OutOfDomain(
                f"{each.name} is correlated and not drawn as normal, and a correlation "
                "coefficient alone does not say how to draw it. Make the common cause "
                "an input of its own."
            )
    spreads = np.array([budget.inputs[index].u for index in members])
    matrix = budget.correlation[np.ix_(members, members)]
    # Eigenvalues, for a correlation of 1 has no Cholesky factor.
    values, vectors = np.linalg.eigh(matrix)
    factor = vectors * np.sqrt(np.maximum(values, 0.0))
    return members, spreads[:, None] * factor


def _adaptive(
    sampler: _Sampler, probability: float, block: int, digits: int, most_trials: int
) -> MonteCarlo:
    blocks: list[FloatArray] = []
    rows: list[tuple[float, float, float, float]] = []
    while (len(blocks) + 1) * block <= most_trials:
        drawn = sampler.draw(block)
        blocks.append(drawn)
        one = _summary(drawn.copy(), probability, None)
        rows.append((one.estimate, one.u, one.low, one.high))
        count = len(rows)
        if count < 2:
            continue
        table = np.array(rows)
        spread = 2.0 * np.std(table, axis=0, ddof=1) / math.sqrt(count)
        u = float(np.sqrt(np.mean(table[:, 1] ** 2)))
        if u == 0.0:
            return _summary(np.concatenate(blocks), probability, 0.0)
        tolerance = numerical_tolerance(u, digits)
        if np.all(spread < tolerance):
            return _summary(np.concatenate(blocks), probability, tolerance)
    raise NotConverged(
        f"{most_trials} trials do not make {digits} digits stable; ask for fewer "
        "digits or allow more trials."
    )


def _summary(
    sample: NDArray[np.float64], probability: float, tolerance: float | None
) -> MonteCarlo:
    """Summarise a sample, which is reordered in place (JCGM 101, 7.5 to 7.7)."""
    count = len(sample)
    estimate = float(np.mean(sample))
    u = math.sqrt(float(np.var(sample, ddof=1)))
    # The interval holds q of the trials, so its low end is among the lowest count - q
    # and its high end among the highest: only these need to be in order.
    held = min(int(probability * count + 0.5), count - 1)
    outside = count - held
    if outside < held:
        sample.partition((outside - 1, held))
        sample[:outside].sort()
        sample[held:].sort()
    else:
        sample.sort()
    widths = sample[held:] - sample[:outside]
    start = int(np.argmin(widths))
    middle = outside // 2
    return MonteCarlo(
        estimate=estimate,
        u=u,
        low=float(sample[start]),
        high=float(sample[start + held]),
        symmetric_low=float(sample[middle]),
        symmetric_high=float(sample[middle + held]),
        probability=probability,
        trials=count,
        tolerance=tolerance,
    )
