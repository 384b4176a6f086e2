"""Motions between frames: proper rotation, scale, translation.

`tf_a_b` maps frame b into frame a: ``points_a = tf_a_b.apply(points_b)``, and
adjacent letters cancel: ``tf_a_c = tf_a_b.after(tf_b_c)``. The rotation is that of
the position vector, as the trade uses it; the coordinate-frame convention of some
handbooks has the opposite sign.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from lab.metrology import arrays
from lab.metrology.errors import BadShape, OutOfDomain

__all__ = ["Transform", "transform_from_matrix", "transform_from_parameters"]

_ORTHOGONAL = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Transform:
    """A similarity motion: ``p_a = scale · rotation_a_b @ p_b + translation_a_b``.

    Attributes
    ----------
    rotation_a_b : ndarray, shape (k, k)
        Proper: its determinant is +1. k is 3, or 2 within a plane.
    translation_a_b : ndarray, shape (k,)
        Millimetres: the origin of frame b, seen in a.
    scale : float
        1 for a rigid motion.
    """

    rotation_a_b: NDArray[np.float64]
    translation_a_b: NDArray[np.float64]
    scale: float = 1.0

    def apply(self, points_b: ArrayLike) -> NDArray[np.float64]:
        """Return points of frame b in frame a, shape (N, k), millimetres.

        Raises
        ------
        BadShape, NotFinite, TooFew
            As `lab.metrology.arrays.points` does.
        """
        width = len(self.translation_a_b)
        points = arrays.points("points_b", points_b, columns=width)
        moved = points @ (self.scale * self.rotation_a_b.T)
        moved += self.translation_a_b
        return np.asarray(moved, dtype=np.float64)

    def rotate(self, directions_b: ArrayLike) -> NDArray[np.float64]:
        """Return directions of frame b in frame a, shape (N, k)."""
        width = len(self.translation_a_b)
        directions = arrays.points("directions_b", directions_b, columns=width)
        return np.asarray(directions @ self.rotation_a_b.T, dtype=np.float64)

    def inverse(self) -> Transform:
        """Return the motion that maps frame a into frame b."""
        back = self.rotation_a_b.T
        return Transform(
            back, -(back @ self.translation_a_b) / self.scale, 1.0 / self.scale
        )

    def after(self, tf_b_c: Transform) -> Transform:
        """Return the motion that maps frame c into frame a: first b_c, then a_b.

        Raises
        ------
        BadShape
            If one is of a plane and the other of space.
        """
        if len(tf_b_c.translation_a_b) != len(self.translation_a_b):
            raise BadShape("A motion within a plane cannot follow one in space.")
        return Transform(
            self.rotation_a_b @ tf_b_c.rotation_a_b,
            self.scale * (self.rotation_a_b @ tf_b_c.translation_a_b)
            + self.translation_a_b,
            self.scale * tf_b_c.scale,
        )

    def matrix(self) -> NDArray[np.float64]:
        """Return the homogeneous matrix, shape (k + 1, k + 1)."""
        width = len(self.translation_a_b)
        found = np.eye(width + 1)
        found[:width, :width] = self.scale * self.rotation_a_b
        found[:width, width] = self.translation_a_b
        return found


def transform_from_matrix(matrix: ArrayLike) -> Transform:
    """Read a motion from a homogeneous matrix.

    Parameters
    ----------
    matrix : array_like, shape (4, 4) or (3, 3)
        Last row 0 … 0 1; the rest a scaled proper rotation and a translation.

    Returns
    -------
    tf_a_b : Transform
        The rotation is made orthogonal to the last digit.

    Raises
    ------
    BadShape, NotFinite
        If it isn't a matrix of numbers.
    OutOfDomain
        If it shears, mirrors, or projects.

    Examples
    --------
    >>> transform_from_matrix(np.eye(4)).scale
    1.0
    """
    given = np.asarray(matrix)
    columns = 3 if given.shape == (3, 3) else 4
    rows = arrays.points("matrix", matrix, minimum=columns, columns=columns)
    if len(rows) != columns:
        raise BadShape(f"matrix must be square; it has shape {rows.shape}.")
    if np.any(rows[-1] != np.eye(columns)[-1]):
        raise OutOfDomain("matrix must end in the row 0 … 0 1: it projects otherwise.")
    linear = rows[:-1, :-1]
    left, stretch, right = np.linalg.svd(linear)
    if stretch[-1] <= 0.0 or stretch[0] / stretch[-1] > 1.0 + _ORTHOGONAL:
        raise OutOfDomain("matrix shears or flattens: it isn't a similarity motion.")
    rotation = left @ right
    if np.linalg.det(rotation) < 0.0:
        raise OutOfDomain("matrix mirrors: only proper rotations are motions.")
    return Transform(rotation, rows[:-1, -1].copy(), float(stretch.mean()))


def transform_from_parameters(
    translation_mm: ArrayLike, rotation_vector_rad: ArrayLike, scale: float = 1.0
) -> Transform:
    """Make a motion in space from its six or seven parameters.

    Parameters
    ----------
    translation_mm : array_like, shape (3,)
        The origin of frame b, seen in a.
    rotation_vector_rad : array_like, shape (3,)
        Axis times angle, of the position vector. For small angles its components
        are the rotations about x, y and z of a seven-parameter transformation in
        the position-vector convention.
    scale : float
        1 plus the scale difference.

    Returns
    -------
    tf_a_b : Transform

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If a parameter isn't what it should be.

    References
    ----------
    .. [1] IOGP Publication 373-7-2, Guidance Note 7 part 2, method 9606.

    Examples
    --------
    >>> turn = transform_from_parameters([0, 0, 5], [0, 0, np.pi / 2])
    >>> turn.apply([[1, 0, 0]]).round(9).tolist()
    [[0.0, 1.0, 5.0]]
    """
    translation = _three("translation_mm", translation_mm)
    turn = _three("rotation_vector_rad", rotation_vector_rad)
    return Transform(
        Rotation.from_rotvec(turn).as_matrix(),
        translation,
        arrays.positive("scale", scale),
    )


def _three(name: str, value: ArrayLike) -> NDArray[np.float64]:
    vector = arrays.vector(name, value, minimum=3)
    if len(vector) != 3:
        raise BadShape(f"{name} must have three components; it has {len(vector)}.")
    return vector
