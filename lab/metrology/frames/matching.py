"""Which target is which: unlabelled exposures matched to a layout.

The distances between three seen points are looked for in the layout; each place where
they occur is a hypothesis of the pose, which all other points confirm or don't. The
best must explain enough of the points, and no other pose may explain nearly as many:
a layout that is symmetric can't be told from itself turned.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree

from lab.metrology import arrays
from lab.metrology.alignment import Transform, fit_rigid
from lab.metrology.errors import Degenerate, OutOfDomain
from lab.metrology.frames.ties import is_on_a_line

__all__ = ["AmbiguousMatch", "Match", "NoMatch", "match_exposure"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

UNMATCHED = -1
_TRIPLES = 60
_LEAST = 4


class NoMatch(Degenerate):
    """No pose explains enough of the points."""


class AmbiguousMatch(Degenerate):
    """Two poses explain the points about equally well."""


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """Points of one exposure with their targets.

    Attributes
    ----------
    targets : ndarray of int, shape (N,)
        Index in the layout, or -1 for a point that is no target of it.
    tf_exposure_layout : Transform
        The pose.
    largest_mm : float
        The largest misfit of a matched point.
    """

    targets: Index
    tf_exposure_layout: Transform
    largest_mm: float


def match_exposure(
    points_mm: ArrayLike, layout_mm: ArrayLike, *, tolerance_mm: float
) -> Match:
    """Match unlabelled points to the targets of a layout.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        Seen from one pose, in the tracker's frame; at least four.
    layout_mm : array_like, shape (T, 3)
        Where the targets are, nominally or from an earlier frame.
    tolerance_mm : float
        How far a point may lie off its target; well below half the distance of
        neighbouring targets.

    Returns
    -------
    Match

    Raises
    ------
    NoMatch
        If fewer than four points, or fewer than half, can be explained.
    AmbiguousMatch
        If another pose explains nearly as many.
    BadShape, NotFinite, TooFew, OutOfDomain
        If the input can't be used.

    Examples
    --------
    >>> layout = np.random.default_rng(2).uniform(0, 500, (10, 3))
    >>> seen = layout[[7, 2, 5, 0, 9]][:, [1, 2, 0]] + [0, 0, 900]
    >>> match_exposure(seen, layout, tolerance_mm=0.5).targets.tolist()
    [7, 2, 5, 0, 9]
    """
    points = arrays.points("points_mm", points_mm, minimum=_LEAST)
    layout = arrays.points("layout_mm", layout_mm, minimum=_LEAST)
    tolerance = arrays.positive("tolerance_mm", tolerance_mm)
    tree = cKDTree(layout)
    nearest = float(tree.query(layout, k=2)[0][:, 1].min())
    if 2.0 * tolerance >= nearest:
        raise OutOfDomain(
            f"tolerance_mm is {tolerance:g}, but two targets of the layout are only "
            f"{nearest:.3g} mm apart; it must be below half of that."
        )
    distances = np.linalg.norm(layout[:, np.newaxis] - layout, axis=2)
    wanted = max(_LEAST, (len(points) + 1) // 2)
    for triple in _triples(points):
        found = _hypotheses(points, layout, distances, triple, tolerance)
        judged = [_explained(points, tree, motion, tolerance) for motion in found]
        judged = [each for each in judged if _count(each[0]) >= wanted]
        if judged:
            return _only_best(points, layout, judged, tolerance)
    raise NoMatch(
        f"No pose explains {wanted} of the {len(points)} points within "
        f"{tolerance:g} mm: they are not this layout's, or it has changed."
    )


def _triples(points: Array) -> list[tuple[int, int, int]]:
    """Return well-spread triples, the best first."""
    count = len(points)
    if count <= 12:
        listed = list(itertools.combinations(range(count), 3))
    else:
        random = np.random.default_rng(0)
        drawn = [random.choice(count, 3, replace=False) for _ in range(220)]
        listed = [(int(a), int(b), int(c)) for a, b, c in drawn]
    index = np.array(listed)
    a, b, c = points[index[:, 0]], points[index[:, 1]], points[index[:, 2]]
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    order = np.argsort(-area)
    # The widest are the surest, but no point may spoil all that are tried.
    chosen: list[tuple[int, int, int]] = []
    used = np.zeros(count, dtype=int)
    for position in order:
        if len(chosen) >= _TRIPLES:
            break
        triple = listed[int(position)]
        if used[list(triple)].max() < max(_TRIPLES // count, 3) and area[position] > 0:
            chosen.append(triple)
            used[list(triple)] += 1
    return chosen


def _hypotheses(
    points: Array,
    layout: Array,
    distances: Array,
    triple: tuple[int, int, int],
    tolerance: float,
) -> list[Transform]:
    """Return the poses that lay the layout's triangles on a seen one."""
    a, b, c = points[list(triple)]
    slack = 2.0 * tolerance
    ab, ac, bc = (float(np.linalg.norm(v)) for v in (b - a, c - a, c - b))
    found = []
    near_ab = np.argwhere(np.abs(distances - ab) <= slack)
    near_ac, near_bc = np.abs(distances - ac) <= slack, np.abs(distances - bc) <= slack
    for p, q in near_ab:
        for r in np.flatnonzero(near_ac[p] & near_bc[q]):
            corners = layout[[p, q, r]]
            if r not in (p, q) and not is_on_a_line(corners):
                found.append(fit_rigid(np.array([a, b, c]), corners).tf_a_b)
    return found


def _explained(
    points: Array, tree: cKDTree, motion: Transform, tolerance: float
) -> tuple[Index, Transform]:
    """Return which targets explain which points under a pose, after refining it."""
    # The triangle's own noise is carried to the farthest points by leverage.
    targets = _nearest(points, tree, motion, 3.0 * tolerance)
    for _ in range(2):
        matched = targets != UNMATCHED
        layout = np.asarray(tree.data)[targets[matched]]
        if matched.sum() < 3 or is_on_a_line(layout):
            return targets, motion
        motion = fit_rigid(points[matched], layout).tf_a_b
        targets = _nearest(points, tree, motion, tolerance)
    return targets, motion


def _nearest(points: Array, tree: cKDTree, motion: Transform, reach: float) -> Index:
    apart, index = tree.query(
        motion.inverse().apply(points), distance_upper_bound=reach
    )
    targets = np.where(np.isfinite(apart), index, UNMATCHED).astype(np.intp)
    # A target is seen once: of two points at one target the nearer one is it.
    for target in np.unique(targets[targets != UNMATCHED]):
        rows = np.flatnonzero(targets == target)
        targets[rows[apart[rows] > apart[rows].min()]] = UNMATCHED
    return targets


def _count(targets: Index) -> int:
    return int(np.count_nonzero(targets != UNMATCHED))


def _only_best(
    points: Array,
    layout: Array,
    judged: list[tuple[Index, Transform]],
    tolerance: float,
) -> Match:
    judged.sort(key=lambda each: -_count(each[0]))
    targets, motion = judged[0]
    for other, _ in judged[1:]:
        if _count(other) >= _count(targets) - 1:
            both = (other != UNMATCHED) & (targets != UNMATCHED)
            if np.any(other[both] != targets[both]):
                raise AmbiguousMatch(
                    f"Two poses explain {_count(targets)} and {_count(other)} of the "
                    f"{len(points)} points: the targets in view look alike when "
                    "turned. Label some, or add a target that breaks the symmetry."
                )
    matched = targets != UNMATCHED
    apart = points[matched] - motion.apply(layout[targets[matched]])
    return Match(targets, motion, float(np.linalg.norm(apart, axis=1).max()))
