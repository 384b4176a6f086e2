"""Fits that survive outliers: up to three points in ten that belong elsewhere.

A start is found that the outliers can't have bent: features through few random
points, or for cylinders and cones through few random points along each direction,
are compared by the sum of the smallest 65 % of their squared distances, and the
best are improved by fitting those 65 % again until they stay the same
(concentration after Rousseeuw and Van Driessen [1]_). From there the feature is
fitted to the points within `cutoff` times the robust standard deviation (1.4826
times the median distance), until they stay the same.

What is left out is returned as left out. The random choices are always the same
for the same points; nothing here uses a clock or shared state.

References
----------
.. [1] Rousseeuw, P. J., Van Driessen, K. (2006). Computing LTS regression for large
   data sets. Data Mining and Knowledge Discovery 12, 29-45.
.. [2] Fischler, M. A., Bolles, R. C. (1981). Random sample consensus. Commun. ACM
   24, 381-395.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import Degenerate, OutOfDomain
from lab.metrology.fits.axial import AxialModel
from lab.metrology.fits.circles import fit_circle_2d, fit_circle_3d
from lab.metrology.fits.cones import fit_cone
from lab.metrology.fits.cylinders import fit_cylinder
from lab.metrology.fits.linear import fit_line_2d, fit_line_3d, fit_plane
from lab.metrology.fits.local import localise
from lab.metrology.fits.robust_axial import axial_distances
from lab.metrology.fits.solver import sample
from lab.metrology.fits.spheres import fit_sphere

__all__ = ["NoMajority", "RobustFit", "fit_robust"]

TRUSTED_SHARE = 0.65
_SAMPLE = 1500
_KEPT = 8
_ROUNDS = 50
# Robust standard deviation from the median distance: 1/Φ⁻¹(3/4) for one direction;
# for distances in two directions (Rayleigh), 1/sqrt(2·ln 2).
_FROM_MEDIAN = {1: 1.4826022185056018, 2: 0.8493218002880191}


class _Feature(Protocol):
    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]: ...


F = TypeVar("F", bound=_Feature)


class NoMajority(Degenerate):
    """Fewer than half of the points agree on one feature."""


@dataclass(frozen=True, slots=True, eq=False)
class RobustFit(Generic[F]):
    """A least-squares feature of the points that belong to it.

    Attributes
    ----------
    feature
        What the fitting function returns for the points used.
    used : ndarray of bool, shape (N,)
        Which points it rests on.
    left_out : ndarray of int
        The others, by index from zero.
    standard_deviation_mm : float
        Robust, of the distances of the points used.
    """

    feature: F
    used: NDArray[np.bool_]
    left_out: NDArray[np.intp]
    standard_deviation_mm: float


@dataclass(frozen=True, slots=True)
class _Plan:
    """How a start is found for a fitting function."""

    fewest: int
    trials: int
    columns: int = 3
    directions: int = 1  # in which a distance is measured
    axial: AxialModel | None = None


_PLANS: dict[Callable[..., Any], _Plan] = {
    fit_line_2d: _Plan(fewest=2, trials=60, columns=2),
    fit_line_3d: _Plan(fewest=2, trials=60, directions=2),
    fit_plane: _Plan(fewest=3, trials=80),
    fit_circle_2d: _Plan(fewest=3, trials=80, columns=2),
    fit_circle_3d: _Plan(fewest=3, trials=80, directions=2),
    fit_sphere: _Plan(fewest=4, trials=120),
    fit_cylinder: _Plan(fewest=6, trials=40, axial=AxialModel(is_cone=False)),
    fit_cone: _Plan(fewest=7, trials=60, axial=AxialModel(is_cone=True)),
}


def fit_robust(
    fit: Callable[[NDArray[np.float64]], F],
    points_mm: ArrayLike,
    *,
    cutoff: float = 3.0,
) -> RobustFit[F]:
    """Fit a feature to the points that belong to it, and say which don't.

    Parameters
    ----------
    fit : function
        One of `fit_line_2d`, `fit_line_3d`, `fit_plane`, `fit_circle_2d`,
        `fit_circle_3d`, `fit_sphere`, `fit_cylinder`, `fit_cone`.
    points_mm : array_like, shape (N, 2) or (N, 3)
        Millimetres; up to about a third may belong elsewhere.
    cutoff : float
        A point is left out beyond this many robust standard deviations. For a
        distance in two directions (lines and circles in space) it is raised so
        that as many good points stay.

    Returns
    -------
    robust : RobustFit

    Raises
    ------
    OutOfDomain
        If `fit` isn't one of those.
    NoMajority
        If fewer than half of the points agree.
    BadShape, NotFinite, TooFew, Degenerate
        As `fit` does.

    Examples
    --------
    >>> x = np.arange(10.0)
    >>> points = np.column_stack([x, 2 * x])
    >>> points[[3, 7], 1] = 40.0
    >>> fit_robust(fit_line_2d, points).left_out.tolist()
    [3, 7]
    """
    plan = _PLANS.get(fit)
    if plan is None:
        known = ", ".join(function.__name__ for function in _PLANS)
        raise OutOfDomain(f"fit must be one of {known}; it is {fit!r}.")
    points = arrays.points("points_mm", points_mm, plan.fewest, plan.columns)
    arrays.positive("cutoff", cutoff)
    local = localise(points)
    floor = 10.0 * local.resolution * local.scale_mm
    if plan.axial is not None:
        distance = axial_distances(plan.axial, local, TRUSTED_SHARE, plan.trials)
    else:
        distance = _distances_by_subsets(fit, plan, points)
    return _settle(fit, plan, points, distance, cutoff, floor)


def _distances_by_subsets(
    fit: Callable[[NDArray[np.float64]], F], plan: _Plan, points: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return distances from the best feature through few random points."""
    few = sample(points, _SAMPLE)
    held = _trusted(len(few), plan.fewest)
    random = np.random.default_rng(0)
    found: list[tuple[float, int, F]] = []
    for trial in range(plan.trials):
        chosen = random.choice(len(few), size=plan.fewest, replace=False)
        feature = _tried(fit, few[chosen])
        if feature is not None:
            found.append((_trimmed(feature.distances_mm(few), held), trial, feature))
    if not found:
        # Let the fit itself say what is wrong with the points.
        return fit(points).distances_mm(points)
    found.sort(key=lambda entry: entry[:2])
    improved = [_concentrate(fit, few, held, entry) for entry in found[:_KEPT]]
    best = min(improved, key=lambda entry: entry[:2])[2]
    return best.distances_mm(points)


def _concentrate(
    fit: Callable[[NDArray[np.float64]], F],
    points: NDArray[np.float64],
    held: int,
    entry: tuple[float, int, F],
) -> tuple[float, int, F]:
    """Fit the nearest points again while their sum of squares shrinks."""
    cost, trial, feature = entry
    for _ in range(_ROUNDS):
        nearest = np.argpartition(np.abs(feature.distances_mm(points)), held - 1)
        again = _tried(fit, points[nearest[:held]])
        if again is None:
            break
        after = _trimmed(again.distances_mm(points), held)
        if after >= cost * (1.0 - 1e-6):
            break
        cost, feature = after, again
    return cost, trial, feature


def _tried(
    fit: Callable[[NDArray[np.float64]], F], points: NDArray[np.float64]
) -> F | None:
    """Return the feature of a random set of points, which may be degenerate."""
    try:
        return fit(points)
    except Degenerate:
        return None


def _settle(
    fit: Callable[[NDArray[np.float64]], F],
    plan: _Plan,
    points: NDArray[np.float64],
    distance: NDArray[np.float64],
    cutoff: float,
    floor: float,
) -> RobustFit[F]:
    """Fit the points within the cutoff until they stay the same."""
    limit = cutoff if plan.directions == 1 else _in_two_directions(cutoff)
    distance = np.abs(distance)
    held = _trusted(len(points), plan.fewest)
    # At first the median of the trusted share alone: outliers widen any other.
    nearest = np.partition(distance, held - 1)[:held]
    deviation = max(_deviation(nearest, plan), floor) * 1.6
    used = distance <= limit * deviation
    for _ in range(_ROUNDS):
        _refuse_minority(used)
        feature = fit(points[used])
        distance = np.abs(feature.distances_mm(points))
        deviation = max(_deviation(distance[used], plan), floor)
        again = distance <= limit * deviation
        if np.array_equal(again, used):
            break
        used = again
    return RobustFit(feature, used, np.flatnonzero(~used), deviation)


def _deviation(distance: NDArray[np.float64], plan: _Plan) -> float:
    return _FROM_MEDIAN[plan.directions] * float(np.median(distance))


def _in_two_directions(cutoff: float) -> float:
    """Return the radius, in σ, within which as many lie as within ±cutoff·σ."""
    outside = max(math.erfc(cutoff / math.sqrt(2.0)), 1e-300)
    return math.sqrt(-2.0 * math.log(outside))


def _refuse_minority(used: NDArray[np.bool_]) -> None:
    count = int(np.count_nonzero(used))
    if 2 * count < len(used):
        raise NoMajority(
            f"Only {count} of {len(used)} points agree on one feature: it isn't what "
            "was measured, or the points must be cleaned first."
        )


def _trimmed(distance: NDArray[np.float64], held: int) -> float:
    squares = np.partition(distance * distance, held - 1)
    return float(squares[:held].sum())


def _trusted(count: int, fewest: int) -> int:
    return min(count, max(fewest, math.ceil(TRUSTED_SHARE * count)))
