"""Least squares on a manifold by damped Gauss–Newton steps.

A model gives, at a state, the signed orthogonal distances of points and their
derivatives with respect to a small step, and takes such a step. Blocks of rows
are reduced to a triangle by orthogonal transformations, so that no normal
equations are formed and memory does not grow with the number of points.

Steps are plain Gauss–Newton while they help; damping after Levenberg [1]_ and
Marquardt [2]_ comes in when one does not.

References
----------
.. [1] Levenberg, K. (1944). Q. Appl. Math. 2, 164-168.
.. [2] Marquardt, D. W. (1963). J. SIAM 11, 431-441.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from lab.metrology.fits.refusals import NotConverged

__all__ = ["Model", "Solution", "distances", "reduce_rows", "sample", "solve"]

State = TypeVar("State")

_ROWS_AT_ONCE = 8192
_SAMPLE = 20_000
# Predicted relative decreases of the sum of squares: below the first a step is the
# last; with many points the second is far below any uncertainty; below the third
# a step that doesn't succeed is up against rounding.
_ENOUGH = 1e-18
_ENOUGH_OF_MANY = 1e-13
_FLAT = 1e-10
_MOST_DAMPING = 1e12


class Model(Protocol[State]):
    """What the solver must know of a feature."""

    def rows(
        self, state: State, points: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return distances, shape (N,), and their derivatives, shape (N, k)."""
        ...

    def step(self, state: State, delta: NDArray[np.float64]) -> State | None:
        """Return the state after a step, or None if the step leaves the model."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Solution(Generic[State]):
    """A minimum: the state, its sum of squares, and how many steps it took."""

    state: State
    cost: float
    iterations: int


@dataclass(slots=True)
class _Reduced:
    triangle: NDArray[np.float64]
    target: NDArray[np.float64]
    cost: float


def sample(points: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    """Return `count` of the points, always the same ones, in a random order.

    A stride would follow the order of scanning and could meet one line only.
    """
    if len(points) <= count:
        return points
    chosen = np.random.default_rng(0).choice(len(points), size=count, replace=False)
    return np.ascontiguousarray(points[chosen])


def solve(
    model: Model[State],
    state: State,
    points: NDArray[np.float64],
    *,
    floor: float,
    most_iterations: int = 100,
) -> Solution[State]:
    """Minimise the sum of squared distances, from a sample first if it is large.

    Parameters
    ----------
    model : Model
        The feature.
    state : State
        Where to start.
    points : ndarray, shape (N, k)
        Local points, of unit spread.
    floor : float
        A distance that is rounding only, in local units.
    most_iterations : int
        After so many the points are said not to resemble the feature.

    Raises
    ------
    NotConverged
        If no minimum is found.
    """
    if len(points) > _SAMPLE:
        state = _iterate(
            model, state, sample(points, _SAMPLE // 4), floor, most_iterations
        ).state
    return _iterate(model, state, points, floor, most_iterations)


def _iterate(
    model: Model[State],
    state: State,
    points: NDArray[np.float64],
    floor: float,
    most_iterations: int,
) -> Solution[State]:
    now = reduce_rows(model, state, points)
    smallest = len(points) * floor**2
    enough = _ENOUGH if len(points) <= _SAMPLE else _ENOUGH_OF_MANY
    damping = 0.0
    for iteration in range(1, most_iterations + 1):
        delta, gain = _step_of(now, damping)
        moved = model.step(state, delta)
        if gain <= enough * now.cost or now.cost <= smallest:
            # The last step is so small that it needs no look at its effect.
            return Solution(state if moved is None else moved, now.cost, iteration)
        after = None if moved is None else reduce_rows(model, moved, points)
        if moved is not None and after is not None and after.cost <= now.cost:
            state, now = moved, after
            damping = 0.0 if damping < 1e-6 else damping / 100.0
        elif gain <= _FLAT * now.cost:
            return Solution(state, now.cost, iteration)
        elif damping > _MOST_DAMPING:
            break
        else:
            damping = max(1e-3, damping * 10.0)
    raise NotConverged(
        f"No best fit was found in {most_iterations} steps: the points don't "
        "resemble the feature, or too little of it."
    )


def _step_of(now: _Reduced, damping: float) -> tuple[NDArray[np.float64], float]:
    """Return the (damped) step and the sum of squares that it is to remove."""
    width = now.triangle.shape[1]
    lengths = np.linalg.norm(now.triangle, axis=0)
    lengths[lengths == 0.0] = 1.0
    scaled = now.triangle / lengths
    if damping > 0.0:
        stacked = np.vstack([scaled, math.sqrt(damping) * np.eye(width)])
        target = np.concatenate([now.target, np.zeros(width)])
    else:
        stacked, target = scaled, now.target
    step, *_ = np.linalg.lstsq(stacked, -target, rcond=1e-13)
    removed = scaled @ step
    return step / lengths, float(removed @ removed)


def reduce_rows(
    model: Model[State], state: State, points: NDArray[np.float64]
) -> _Reduced:
    """Return the triangle, the rotated distances and the sum of squares."""
    triangle: NDArray[np.float64] | None = None
    cost = 0.0
    for start in range(0, len(points), _ROWS_AT_ONCE):
        residual, jacobian = model.rows(state, points[start : start + _ROWS_AT_ONCE])
        block = np.column_stack([jacobian, residual])
        if triangle is not None:
            block = np.vstack([triangle, block])
        triangle = np.asarray(np.linalg.qr(block, mode="r"))
        cost += float(residual @ residual)
    assert triangle is not None  # noqa: S101 - there is at least one block
    width = triangle.shape[1] - 1
    rows = min(width, len(triangle))
    return _Reduced(triangle[:rows, :width], triangle[:rows, width], cost)


def distances(
    model: Model[State], state: State, points: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the signed distances of all points, block by block."""
    found = np.empty(len(points))
    for start in range(0, len(points), _ROWS_AT_ONCE):
        block = slice(start, start + _ROWS_AT_ONCE)
        found[block] = model.rows(state, points[block])[0]
    return found
