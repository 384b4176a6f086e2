r"""The frame's share: the uncertainty of the relation between two features.

A feature is carried by the targets in view when it was scanned: an error of these
targets turns and shifts the scanner's pose by the rigid motion that fits them best, and
the feature with it. With the stacked target errors :math:`\delta X` (covariance
:math:`\Sigma`, from the network adjustment) the displacement of a point p is

.. math:: \delta p = \bigl(T + [\,\cdot\,]_p\,\Omega\bigr)\,\delta X,
    \qquad \Omega = N^{-1} A^\top ,

and a relation between two features, such as their distance, has the variance
:math:`J \Sigma J^\top`: what both share cancels. Coordinates' own standard deviations
depend on the datum of the network and say nothing of a relation; they are not used.
The scale is no part of :math:`\Sigma` for a free network and is added apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology.arrays import points, vector
from lab.metrology.budgets.terms import Term, TermKind
from lab.metrology.errors import BadShape, Degenerate, NotFinite, OutOfDomain
from lab.metrology.uncertainty import Normal

__all__ = [
    "CarriedPoint",
    "angle_relation",
    "carried_point",
    "distance_relation",
    "frame_term",
    "position_relation",
    "relation_u",
]

FloatArray = NDArray[np.float64]

# Targets whose second largest spread is below this share of the largest are collinear.
_COLLINEAR = 1e-6


@dataclass(frozen=True, slots=True)
class CarriedPoint:
    """How a feature moves with errors of the targets that carried it.

    ``point_mm``, shape (3,): the feature. ``displacement``, shape (3, 3N): Jacobian
    of its position with respect to all N targets, x, y, z of each in turn.
    ``rotation``, shape (3, 3N): Jacobian of the small rotation, rad/mm.
    """

    point_mm: FloatArray
    displacement: FloatArray
    rotation: FloatArray


def carried_point(
    targets_mm: ArrayLike, seen: ArrayLike, point_mm: ArrayLike
) -> CarriedPoint:
    """Find how a feature moves with errors of the targets in view.

    Parameters
    ----------
    targets_mm : array_like, shape (N, 3)
        All targets of the frame, in mm.
    seen : array_like of bool, shape (N,)
        Those in view while the feature was scanned; at least three, not in a line.
    point_mm : array_like, shape (3,)
        The feature: centre of a fitted sphere or circle, or point of a plane or axis.

    Returns
    -------
    CarriedPoint

    Raises
    ------
    BadShape, TooFew, NotFinite
        If arrays are unusable.
    Degenerate
        If fewer than three targets are seen, or they lie in a line.

    Examples
    --------
    >>> targets = [[0, 0, 0], [100, 0, 0], [0, 100, 0], [100, 100, 0]]
    >>> carried = carried_point(targets, [True] * 4, [50, 50, 0])
    >>> carried.displacement[0, ::3].round(6).tolist()
    [0.25, 0.25, 0.25, 0.25]
    """
    targets = points("targets_mm", targets_mm, minimum=3)
    place = vector("point_mm", point_mm, minimum=3)
    mask = np.asarray(seen)
    if mask.shape != (len(targets),) or mask.dtype != np.bool_:
        raise BadShape(
            f"seen must be {len(targets)} truth values, one for each target; got "
            f"shape {mask.shape} of {mask.dtype}."
        )
    if place.shape != (3,):
        raise BadShape(f"point_mm must have shape (3,), got {place.shape}.")
    members = np.flatnonzero(mask)
    if len(members) < 3:
        raise Degenerate(
            f"{len(members)} targets in view do not fix a pose; three are needed."
        )
    centre = targets[members].mean(axis=0)
    arms = targets[members] - centre
    spread = np.linalg.svd(arms, compute_uv=False)
    if spread[1] <= _COLLINEAR * spread[0]:
        raise Degenerate("The targets in view lie in a line, so the pose can turn.")
    # Small rotation of the best fit: (sum |a|^2 I - a a^T) w = sum a x dX.
    normal = np.eye(3) * np.sum(arms**2) - arms.T @ arms
    inverse = np.linalg.inv(normal)
    rotation = np.zeros((3, 3 * len(targets)))
    displacement = np.zeros((3, 3 * len(targets)))
    lever = _cross(place - centre)
    for member, arm in zip(members, arms, strict=True):
        columns = slice(3 * int(member), 3 * int(member) + 3)
        rotation[:, columns] = inverse @ _cross(arm)
        displacement[:, columns] = np.eye(3) / len(members)
        displacement[:, columns] -= lever @ rotation[:, columns]
    return CarriedPoint(place, displacement, rotation)


def distance_relation(first: CarriedPoint, second: CarriedPoint) -> FloatArray:
    """Give the Jacobian of the distance between two features, shape (3N,).

    Raises
    ------
    Degenerate
        If they coincide.

    Examples
    --------
    >>> targets = [[0, 0, 0], [100, 0, 0], [0, 100, 0], [100, 100, 0]]
    >>> one = carried_point(targets, [True] * 4, [0, 0, 0])
    >>> two = carried_point(targets, [True] * 4, [100, 0, 0])
    >>> float(np.abs(distance_relation(one, two)).max().round(9))
    0.0
    """
    between = second.point_mm - first.point_mm
    length = float(np.linalg.norm(between))
    if length == 0.0:
        raise Degenerate(
            "The two features coincide, so their distance has no direction."
        )
    direction: FloatArray = between / length
    return direction @ (second.displacement - first.displacement)


def position_relation(datum: CarriedPoint, feature: CarriedPoint) -> FloatArray:
    """Give the Jacobian of a feature's place relative to its datum, shape (3, 3N).

    The datum turns the coordinate system with it.
    """
    arm = _cross(feature.point_mm - datum.point_mm)
    return feature.displacement - datum.displacement + arm @ datum.rotation


def angle_relation(
    first: CarriedPoint,
    second: CarriedPoint,
    first_direction: ArrayLike,
    second_direction: ArrayLike,
) -> FloatArray:
    """Give the Jacobian of the angle between two directions, rad/mm, shape (3N,).

    Raises
    ------
    Degenerate
        If the directions are parallel: the plane of the angle is not defined.
    """
    one = vector("first_direction", first_direction, minimum=3)
    two = vector("second_direction", second_direction, minimum=3)
    axis = np.cross(one, two)
    size = float(np.linalg.norm(axis))
    if size <= 1e-9 * float(np.linalg.norm(one) * np.linalg.norm(two)):
        raise Degenerate("The directions are parallel; evaluate parallelism instead.")
    unit: FloatArray = axis / size
    return unit @ (second.rotation - first.rotation)


def relation_u(jacobian: ArrayLike, covariance_mm2: ArrayLike) -> float:
    r"""Give the standard uncertainty of one relation, :math:`\sqrt{J \Sigma J^\top}`.

    Parameters
    ----------
    jacobian : array_like, shape (M,)
        Of the relation with respect to the targets' coordinates.
    covariance_mm2 : array_like, shape (M, M)
        Full covariance of the targets, in mm².

    Returns
    -------
    float

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If the shapes differ, or the covariance is not one.

    Examples
    --------
    >>> relation_u([1.0, -1.0], [[4.0, 4.0], [4.0, 4.0]])
    0.0
    """
    row = vector("jacobian", jacobian)
    matrix = np.asarray(covariance_mm2, dtype=np.float64)
    if matrix.shape != (len(row), len(row)):
        raise BadShape(
            f"covariance_mm2 must have shape ({len(row)}, {len(row)}) to match the "
            f"jacobian, got {matrix.shape}."
        )
    if not np.all(np.isfinite(matrix)):
        raise NotFinite("covariance_mm2 must hold finite numbers only.")
    largest = float(np.max(np.abs(matrix), initial=0.0))
    if not np.allclose(matrix, matrix.T, rtol=0.0, atol=1e-9 * largest):
        raise OutOfDomain("covariance_mm2 must be symmetric.")
    variance = float(row @ matrix @ row)
    noise = 1e-12 * float(np.sum(row**2)) * largest * len(row)
    if variance < -noise:
        raise OutOfDomain(
            "covariance_mm2 is no covariance: it gives this relation a negative "
            "variance."
        )
    return math.sqrt(max(variance, 0.0))


def frame_term(
    jacobian: ArrayLike, covariance_mm2: ArrayLike, *, unit: str = "mm"
) -> Term:
    """Give the frame's share of a relation as a term of a budget.

    Examples
    --------
    >>> round(frame_term([1.0, -1.0], [[4.0, 0.0], [0.0, 4.0]]).contribution, 6)
    2.828427
    """
    spread = relation_u(jacobian, covariance_mm2)
    return Term(TermKind.FRAME, "relation through the frame", Normal(spread), unit=unit)


def _cross(arm: FloatArray) -> FloatArray:
    """Give the matrix of the cross product with ``arm`` from the left."""
    x, y, z = arm
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
