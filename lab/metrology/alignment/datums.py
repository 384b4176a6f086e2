"""Alignment by datums: 3-2-1, and datum targets with a direction each.

A datum target holds the part in one direction only. At nominal point q with unit
direction n a measured point p must satisfy ``n · (R·p + t - q) = 0``; where along the
surface it was touched doesn't matter. Six such conditions that leave nothing free
fix the pose; more are met by least squares.

`align_datum_targets` treats all alike. `align_321` gives precedence, as a datum
system does (ISO 5459, from memory): the primary's points are met by least squares
first and take three freedoms, then the secondary's within what the primary leaves
(a turn about its normal and a shift across it), then the tertiary's in the one shift
that is left. With exactly three, two and one points both give the same pose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from lab.metrology import arrays
from lab.metrology.alignment.bestfit import fit_rigid
from lab.metrology.alignment.transforms import Transform
from lab.metrology.errors import Degenerate, OutOfDomain
from lab.metrology.fits.refusals import NotConverged

__all__ = [
    "Datum",
    "DatumAlignment",
    "DatumsLeaveFreedom",
    "align_321",
    "align_datum_targets",
]

_WEAKEST = 1e-6
_ROUNDS = 100


class DatumsLeaveFreedom(Degenerate):
    """The datums don't fix the part: it can still move or turn."""


@dataclass(frozen=True, slots=True, eq=False)
class Datum:
    """A plane datum of a 3-2-1 alignment.

    Attributes
    ----------
    nominal_a_mm : array_like, shape (N, 3)
        Where its targets are on the drawing, frame a.
    direction_a : array_like, shape (3,)
        The normal of the datum plane there, of any length.
    measured_b_mm : array_like, shape (N, 3)
        The same targets as measured, frame b.
    """

    nominal_a_mm: ArrayLike
    direction_a: ArrayLike
    measured_b_mm: ArrayLike


@dataclass(frozen=True, slots=True, eq=False)
class DatumAlignment:
    """A pose from datums.

    `residuals_mm` are the signed distances left along each target's direction, in
    the order given (primary, secondary, tertiary).
    """

    tf_a_b: Transform
    residuals_mm: NDArray[np.float64]


def align_datum_targets(
    nominal_a_mm: ArrayLike, directions_a: ArrayLike, measured_b_mm: ArrayLike
) -> DatumAlignment:
    """Find the pose that meets datum targets, each in its own direction.

    Parameters
    ----------
    nominal_a_mm : array_like, shape (N, 3)
        Nominal targets, frame a, millimetres; at least six.
    directions_a : array_like, shape (N, 3)
        The direction in which each holds the part, of any length.
    measured_b_mm : array_like, shape (N, 3)
        The targets as measured, frame b.

    Returns
    -------
    alignment : DatumAlignment

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain
        If an input can't be used.
    DatumsLeaveFreedom
        If the part can still move or turn.
    CoincidentPoints, CollinearPoints, NotConverged
        If the targets don't determine a first pose, or lead to none.

    Examples
    --------
    >>> nominal = [[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 1], [9, 0, 1], [0, 5, 1.0]]
    >>> directions = [[0, 0, 1]] * 3 + [[0, 1, 0]] * 2 + [[1, 0, 0]]
    >>> measured = np.array(nominal) + [4, 5, 6]
    >>> pose = align_datum_targets(nominal, directions, measured)
    >>> (pose.tf_a_b.translation_a_b + 0.0).round(6).tolist()
    [-4.0, -5.0, -6.0]
    """
    targets = _targets(nominal_a_mm, directions_a, measured_b_mm, minimum=6)
    pose = _first_pose([targets])
    rotation, shift = _meet(targets, pose, np.eye(6), "The set of datum targets")
    return _finished([targets], rotation, shift)


def align_321(primary: Datum, secondary: Datum, tertiary: Datum) -> DatumAlignment:
    """Find the pose that meets three plane datums in their order of precedence.

    Parameters
    ----------
    primary, secondary, tertiary : Datum
        At least three, two and one targets.

    Returns
    -------
    alignment : DatumAlignment

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain
        If an input can't be used.
    DatumsLeaveFreedom
        If two directions are parallel, or targets too close to hold a turn.
    CoincidentPoints, CollinearPoints, NotConverged
        If the targets don't determine a first pose, or lead to none.

    Examples
    --------
    >>> a = np.array([[0, 0, 0], [90, 0, 0], [0, 90, 0]])
    >>> b = np.array([[10, 0, 5], [80, 0, 5]])
    >>> c = np.array([[0, 50, 5]])
    >>> pose = align_321(
    ...     Datum(a, [0, 0, 1], a + 1),
    ...     Datum(b, [0, 1, 0], b + 1),
    ...     Datum(c, [1, 0, 0], c + 1),
    ... )
    >>> pose.tf_a_b.translation_a_b.round(6).tolist()
    [-1.0, -1.0, -1.0]
    """
    groups = [
        _group(datum, minimum)
        for datum, minimum in ((primary, 3), (secondary, 2), (tertiary, 1))
    ]
    first, second = groups[0].directions[0], groups[1].directions[0]
    along = np.cross(first, second)
    if np.linalg.norm(along) < _WEAKEST:
        raise DatumsLeaveFreedom(
            "The directions of the primary and the secondary datum are parallel."
        )
    along = along / np.linalg.norm(along)
    beside = np.cross(along, first)
    none = np.zeros(3)
    # Columns (shift, turn): what each datum leaves to the next.
    free = [
        np.eye(6),
        np.column_stack([[*along, *none], [*beside, *none], [*none, *first]]),
        np.array([[*along, *none]]).T,
    ]
    pose = _first_pose(groups)
    names = ("The primary datum", "The secondary datum", "The tertiary datum")
    for group, freedom, name, rank in zip(groups, free, names, (3, 2, 1), strict=True):
        pose = _meet(group, pose, freedom, name, rank)
    return _finished(groups, *pose)


@dataclass(frozen=True, slots=True, eq=False)
class _Targets:
    nominal: NDArray[np.float64]
    directions: NDArray[np.float64]
    measured: NDArray[np.float64]


_Pose = tuple[NDArray[np.float64], NDArray[np.float64]]


def _targets(
    nominal: ArrayLike, directions: ArrayLike, measured: ArrayLike, minimum: int
) -> _Targets:
    q = arrays.points("nominal_a_mm", nominal, minimum)
    n = arrays.points("directions_a", directions, minimum)
    p = arrays.points("measured_b_mm", measured, minimum)
    arrays.same_length(nominal_a_mm=q, directions_a=n, measured_b_mm=p)
    lengths = np.linalg.norm(n, axis=1, keepdims=True)
    if np.any(lengths == 0.0):
        raise OutOfDomain(
            f"The direction of target {int(np.argmin(lengths))} has no length."
        )
    return _Targets(q, n / lengths, p)


def _group(datum: Datum, minimum: int) -> _Targets:
    nominal = arrays.points("nominal_a_mm", datum.nominal_a_mm, minimum)
    direction = arrays.vector("direction_a", datum.direction_a, minimum=3)
    directions = np.tile(direction, (len(nominal), 1))
    return _targets(nominal, directions, datum.measured_b_mm, minimum)


def _first_pose(groups: list[_Targets]) -> _Pose:
    """Start where the targets lie nearest to their nominal points."""
    nominal = np.vstack([group.nominal for group in groups])
    measured = np.vstack([group.measured for group in groups])
    start = fit_rigid(nominal, measured).tf_a_b
    return start.rotation_a_b, start.translation_a_b


def _meet(
    targets: _Targets,
    pose: _Pose,
    freedom: NDArray[np.float64],
    name: str,
    rank: int = 6,
) -> _Pose:
    """Step within the freedom until the targets' conditions are met."""
    rotation, shift = pose
    size = float(np.linalg.norm(np.ptp(targets.nominal, axis=0)))
    scale = size if size > 0.0 else 1.0
    units = np.array([1.0, 1.0, 1.0, 1.0 / scale, 1.0 / scale, 1.0 / scale])
    for _ in range(_ROUNDS):
        placed = targets.measured @ rotation.T + shift
        pivot = placed.mean(axis=0)
        residual = np.einsum("ij,ij->i", targets.directions, placed - targets.nominal)
        turning = np.cross(placed - pivot, targets.directions)
        rows = np.hstack([targets.directions, turning]) * units @ freedom
        _refuse_free(rows, rank, name)
        step = np.linalg.lstsq(rows, -residual, rcond=_WEAKEST)[0]
        move = units * (freedom @ step)
        turn = Rotation.from_rotvec(move[3:]).as_matrix()
        rotation = turn @ rotation
        shift = turn @ (shift - pivot) + pivot + move[:3]
        if float(np.abs(step).max()) <= 1e-13 * (scale + float(np.abs(pivot).max())):
            return rotation, shift
    raise NotConverged(
        f"{name} led to no pose: the measured targets are too far from the nominal "
        "ones."
    )


def _refuse_free(rows: NDArray[np.float64], rank: int, name: str) -> None:
    singular = np.linalg.svd(rows, compute_uv=False)
    held = int(np.count_nonzero(singular > _WEAKEST * singular[0]))
    if held < rank:
        raise DatumsLeaveFreedom(
            f"{name} fixes {held} of the {rank} freedoms that it must: the targets "
            "are too close together, in line, or point the same way."
        )


def _finished(
    groups: list[_Targets], rotation: NDArray[np.float64], shift: NDArray[np.float64]
) -> DatumAlignment:
    residuals = [
        np.einsum(
            "ij,ij->i",
            group.directions,
            group.measured @ rotation.T + shift - group.nominal,
        )
        for group in groups
    ]
    return DatumAlignment(Transform(rotation, shift), np.concatenate(residuals))
