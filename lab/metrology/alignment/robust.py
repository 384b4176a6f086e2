"""An alignment that survives two points in five that don't correspond.

Rigid motions through triples of points (all triples, or two thousand random ones)
are compared by the sum of their smallest squared residuals over 60 % of the points,
the best are improved by concentration [1]_, and points within the cutoff of the
result are aligned by least squares until they stay the same. What is left out is
returned as left out.

References
----------
.. [1] Rousseeuw, P. J., Van Driessen, K. (2006). Computing LTS regression for large
   data sets. Data Mining and Knowledge Discovery 12, 29-45.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from lab.metrology import arrays
from lab.metrology.alignment.bestfit import Alignment, fit_rigid, fit_similarity
from lab.metrology.errors import Degenerate, MetrologyError
from lab.metrology.fits.local import localise
from lab.metrology.fits.robust import NoMajority

__all__ = ["RobustAlignment", "align_robustly"]

_TRUSTED = 0.6
_TRIPLES = 2000
_KEPT = 12
_ROUNDS = 50
_SAMPLE = 500  # points by which triples are compared
_FLATTEST = 1e-3  # smallest sine of a triple's angle that gives an orientation


@dataclass(frozen=True, slots=True, eq=False)
class RobustAlignment:
    """An alignment of the points that correspond, and which do.

    `standard_deviation_mm` is that of the residuals in each coordinate.
    """

    alignment: Alignment
    used: NDArray[np.bool_]
    left_out: NDArray[np.intp]
    standard_deviation_mm: float


def align_robustly(
    points_a: ArrayLike,
    points_b: ArrayLike,
    *,
    with_scale: bool = False,
    cutoff: float = 3.0,
) -> RobustAlignment:
    """Align the points that correspond, and say which don't.

    Parameters
    ----------
    points_a, points_b : array_like, shape (N, 3)
        The same points seen from each frame, millimetres, at least four; up to
        40 % of the pairs may be wrong.
    with_scale : bool
        Similarity instead of rigid.
    cutoff : float
        How far a good point may lie off, as for one coordinate of a normal
        distribution; the radius in space is raised to hold as many.

    Returns
    -------
    robust : RobustAlignment

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain, Degenerate
        As `fit_rigid` does.
    NoMajority
        If no more than half of the points agree.

    Examples
    --------
    >>> part = np.random.default_rng(0).uniform(0, 500, (10, 3))
    >>> seen = part + [10, 20, 30]
    >>> seen[[1, 4, 6]] += [[30, 0, 0], [0, -50, 5], [9, 9, 9]]
    >>> align_robustly(seen, part).left_out.tolist()
    [1, 4, 6]
    """
    a = arrays.points("points_a", points_a, minimum=4)
    b = arrays.points("points_b", points_b, minimum=4)
    arrays.same_length(points_a=a, points_b=b)
    arrays.positive("cutoff", cutoff)
    local = localise(b)
    local.refuse_collinear("an orientation (points_b)")
    floor = 10.0 * max(local.resolution * local.scale_mm, _rounding(a))
    outside = math.erfc(cutoff / math.sqrt(2.0))
    limit = math.sqrt(float(stats.chi2.isf(outside, 3)))
    trusted = _best_trusted(a, b, with_scale)
    return _settle(a, b, trusted, with_scale, limit, floor)


def _best_trusted(
    a: NDArray[np.float64], b: NDArray[np.float64], with_scale: bool
) -> NDArray[np.bool_]:
    """Return the trusted share of the points under the best start."""
    triples = _triples(len(a))
    rotations, scales, usable = _through(a[triples], b[triples], with_scale)
    triples, rotations, scales = triples[usable], rotations[usable], scales[usable]
    if len(triples) == 0:
        raise Degenerate(
            "No three of the points span a triangle: they don't determine an "
            "orientation."
        )
    centres_a, centres_b = a[triples].mean(axis=1), b[triples].mean(axis=1)
    few = _few(len(a))
    held = _held(len(few))
    costs = np.empty(len(triples))
    for index, (rotation, scale) in enumerate(zip(rotations, scales, strict=True)):
        moved = scale * (b[few] - centres_b[index]) @ rotation.T + centres_a[index]
        squares = np.einsum("ij,ij->i", a[few] - moved, a[few] - moved)
        costs[index] = np.partition(squares, held - 1)[:held].sum()
    best: tuple[float, NDArray[np.bool_]] | None = None
    for index in np.argsort(costs)[:_KEPT]:
        moved = (
            scales[index] * (b - centres_b[index]) @ rotations[index].T
            + centres_a[index]
        )
        found = _concentrate(a, b, np.linalg.norm(a - moved, axis=1), with_scale)
        if best is None or found[0] < best[0]:
            best = found
    assert best is not None  # noqa: S101 - there is at least one triple
    return best[1]


def _triples(count: int) -> NDArray[np.intp]:
    if math.comb(count, 3) <= _TRIPLES:
        return np.array(list(itertools.combinations(range(count), 3)), dtype=np.intp)
    random = np.random.default_rng(0)
    return np.array(
        [random.choice(count, size=3, replace=False) for _ in range(_TRIPLES)],
        dtype=np.intp,
    )


def _few(count: int) -> NDArray[np.intp]:
    if count <= _SAMPLE:
        return np.arange(count, dtype=np.intp)
    chosen = np.random.default_rng(1).choice(count, size=_SAMPLE, replace=False)
    return np.asarray(chosen, dtype=np.intp)


def _through(
    a: NDArray[np.float64], b: NDArray[np.float64], with_scale: bool
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Return the motions through triples, shape (n, 3, 3), all at once."""
    usable = _spans(a) & _spans(b)
    a = a - a.mean(axis=1, keepdims=True)
    b = b - b.mean(axis=1, keepdims=True)
    left, singular, right = np.linalg.svd(np.swapaxes(a, 1, 2) @ b)
    signs = np.ones_like(singular)
    signs[:, 2] = np.sign(np.linalg.det(left @ right))
    rotations = (left * signs[:, np.newaxis, :]) @ right
    scales = np.ones(len(a))
    if with_scale:
        spread = np.einsum("nij,nij->n", b, b)
        scales = np.einsum("ni,ni->n", singular, signs) / np.maximum(spread, 1e-300)
    return rotations, scales, usable


def _spans(triples: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Say which triples are triangles and not lines."""
    first = triples[:, 1] - triples[:, 0]
    second = triples[:, 2] - triples[:, 0]
    third = triples[:, 2] - triples[:, 1]
    longest = np.max(
        [np.einsum("ij,ij->i", side, side) for side in (first, second, third)], axis=0
    )
    area = np.linalg.norm(np.cross(first, second), axis=1)
    return np.asarray(area > _FLATTEST * longest, dtype=np.bool_)


def _concentrate(
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    distance: NDArray[np.float64],
    with_scale: bool,
) -> tuple[float, NDArray[np.bool_]]:
    """Align the nearest points again while their sum of squares shrinks."""
    fit = fit_similarity if with_scale else fit_rigid
    held = _held(len(a))
    cost = np.inf
    trusted = np.zeros(len(a), dtype=bool)
    for _ in range(_ROUNDS):
        nearest = np.argpartition(distance, held - 1)[:held]
        after = float((distance[nearest] ** 2).sum())
        if after >= cost * (1.0 - 1e-9):
            break
        cost = after
        trusted[:] = False
        trusted[nearest] = True
        try:
            tf_a_b = fit(a[trusted], b[trusted]).tf_a_b
        except MetrologyError:
            break
        distance = np.linalg.norm(a - tf_a_b.apply(b), axis=1)
    return cost, trusted


def _settle(
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    used: NDArray[np.bool_],
    with_scale: bool,
    limit: float,
    floor: float,
) -> RobustAlignment:
    fit = fit_similarity if with_scale else fit_rigid
    # The nearest share of a clean set scatters less than the whole by about half.
    widening = 2.0
    for _ in range(_ROUNDS):
        alignment = fit(a[used], b[used])
        squares = float(np.einsum("ij,ij->", *[alignment.residuals_mm] * 2))
        degrees = max(alignment.degrees_of_freedom, 1)
        deviation = max(math.sqrt(squares / degrees), floor)
        distance = np.linalg.norm(a - alignment.tf_a_b.apply(b), axis=1)
        again = distance <= limit * deviation * widening
        if widening == 1.0 and np.array_equal(again, used):
            break
        used, widening = again, 1.0
        if 2 * int(used.sum()) <= len(used) or int(used.sum()) < 3:
            raise NoMajority(
                f"Only {int(used.sum())} of {len(used)} pairs agree on one motion: "
                "check which point is which."
            )
    return RobustAlignment(alignment, used, np.flatnonzero(~used), deviation)


def _held(count: int) -> int:
    return min(count, max(3, math.ceil(_TRUSTED * count * (1.0 - 1e-12))))


def _rounding(points: NDArray[np.float64]) -> float:
    return float(np.finfo(np.float64).eps * np.abs(points).max())
