"""Least-squares lines and planes: orthogonal distances, in closed form.

The best line and plane pass through the centroid; their directions are the
singular vectors of the centred points [1]_. The points are first reduced to a
3 × 3 triangle by orthogonal transformations, which loses no accuracy and is what
makes a million points quick.

References
----------
.. [1] Shakarji, C. M. (1998). Least-squares fitting algorithms of the NIST
   algorithm testing system. J. Res. NIST 103, 633-641.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.fits.local import LocalPoints, localise
from lab.metrology.fits.refusals import DirectionUndetermined
from lab.metrology.fits.statistics import Covariance, Form, covariance_of, form_of

__all__ = ["Line2", "Line3", "Plane", "fit_line_2d", "fit_line_3d", "fit_plane"]

# When the points spread across by more than half of what they spread along, the
# direction is an accident of which points were taken (our choice, no source).
_LARGEST_ASPECT = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Line2:
    """A line in a plane: `point_mm` is the centroid, `normal` is 90° left of it."""

    point_mm: NDArray[np.float64]
    direction: NDArray[np.float64]
    form: Form
    covariance: Covariance | None

    @property
    def normal(self) -> NDArray[np.float64]:
        """The unit normal, a quarter turn anticlockwise from the direction."""
        return np.array([-self.direction[1], self.direction[0]])

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return signed distances of points, positive on the normal's side."""
        points = arrays.points("points_mm", points_mm, columns=2)
        return np.asarray((points - self.point_mm) @ self.normal, dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Line3:
    """A line in space: `point_mm` is the centroid, rows of `basis` are e1, e2, line."""

    point_mm: NDArray[np.float64]
    basis: NDArray[np.float64]
    form: Form
    covariance: Covariance | None

    @property
    def direction(self) -> NDArray[np.float64]:
        """The unit direction of the line; its sign is free."""
        third: NDArray[np.float64] = self.basis[2]
        return third

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return distances of points from the line; they have no sign."""
        points = arrays.points("points_mm", points_mm)
        across = (points - self.point_mm) @ self.basis[:2].T
        return np.asarray(np.hypot(across[:, 0], across[:, 1]), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """A plane: `point_mm` is the centroid, rows of `basis` are e1, e2, normal."""

    point_mm: NDArray[np.float64]
    basis: NDArray[np.float64]
    form: Form
    covariance: Covariance | None

    @property
    def normal(self) -> NDArray[np.float64]:
        """The unit normal; its sign is free (largest component positive)."""
        third: NDArray[np.float64] = self.basis[2]
        return third

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return signed distances of points, positive on the normal's side."""
        points = arrays.points("points_mm", points_mm)
        return np.asarray((points - self.point_mm) @ self.normal, dtype=np.float64)


def fit_line_2d(points_mm: ArrayLike, *, u_point_mm: float | None = None) -> Line2:
    """Fit a straight line to points in a plane.

    Minimises the sum of squared orthogonal distances.

    Parameters
    ----------
    points_mm : array_like, shape (N, 2)
        At least two points, millimetres.
    u_point_mm : float, optional
        Standard uncertainty of a point across the line, if known beforehand; else
        the residuals give it.

    Returns
    -------
    line : Line2
        Covariance over ``("offset_mm", "angle_rad")`` at the centroid.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, DirectionUndetermined
        If the points don't give a direction.

    Examples
    --------
    >>> line = fit_line_2d([[0.0, 1.0], [1.0, 2.0], [2.0, 3.0]])
    >>> (line.direction / line.direction[0]).round(9).tolist()
    [1.0, 1.0]
    """
    local = localise(arrays.points("points_mm", points_mm, minimum=2, columns=2))
    _refuse_wide(local, 1, "the line")
    direction = _signed(local.axes[0])
    normal = np.array([-direction[1], direction[0]])
    count = len(local.points)
    residuals = (local.points @ normal) * local.scale_mm
    form = form_of(residuals, count - 2)
    along_mm = local.spread[0] * local.scale_mm
    cofactor = np.diag([1.0, along_mm**-2]) / count
    return Line2(
        point_mm=local.origin_mm,
        direction=direction,
        form=form,
        covariance=covariance_of(
            ("offset_mm", "angle_rad"), cofactor, form, u_point_mm
        ),
    )


def fit_line_3d(points_mm: ArrayLike, *, u_point_mm: float | None = None) -> Line3:
    """Fit a straight line to points in space.

    Minimises the sum of squared orthogonal distances.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least two points, millimetres.
    u_point_mm : float, optional
        Standard uncertainty of a point in each direction across the line.

    Returns
    -------
    line : Line3
        Covariance over the offsets along e1 and e2 and the tilts towards them.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, DirectionUndetermined
        If the points don't give a direction.

    Examples
    --------
    >>> line = fit_line_3d([[0, 0, 5], [1, 0, 5], [2, 0, 5], [3, 0, 5]])
    >>> abs(line.direction).round(9).tolist()
    [1.0, 0.0, 0.0]
    """
    local = localise(arrays.points("points_mm", points_mm, minimum=2))
    _refuse_wide(local, 1, "the line")
    basis = _right_handed(local.axes[1], _signed(local.axes[0]))
    count = len(local.points)
    across = local.points @ basis[:2].T
    residuals = np.hypot(across[:, 0], across[:, 1]) * local.scale_mm
    form = form_of(residuals, 2 * count - 4, two_sided=False)
    along_mm = local.spread[0] * local.scale_mm
    cofactor = np.diag([1.0, 1.0, along_mm**-2, along_mm**-2]) / count
    names = ("offset_1_mm", "offset_2_mm", "tilt_1_rad", "tilt_2_rad")
    return Line3(
        point_mm=local.origin_mm,
        basis=basis,
        form=form,
        covariance=covariance_of(names, cofactor, form, u_point_mm),
    )


def fit_plane(points_mm: ArrayLike, *, u_point_mm: float | None = None) -> Plane:
    """Fit a plane to points in space.

    Minimises the sum of squared orthogonal distances.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least three points, millimetres.
    u_point_mm : float, optional
        Standard uncertainty of a point along the normal.

    Returns
    -------
    plane : Plane
        Covariance over the offset along the normal at the centroid and the tilts of
        the normal towards e1 (the longest extent) and e2.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, CollinearPoints, DirectionUndetermined
        If the points don't give a normal.

    Examples
    --------
    >>> plane = fit_plane([[0, 0, 1], [10, 0, 1], [0, 10, 1], [10, 10, 1]])
    >>> plane.normal.round(9).tolist(), round(plane.form.range_mm, 9)
    ([0.0, 0.0, 1.0], 0.0)
    """
    local = localise(arrays.points("points_mm", points_mm, minimum=3))
    local.refuse_collinear("a plane")
    _refuse_wide(local, 2, "the plane's normal")
    normal = _signed(local.axes[2])
    basis = _right_handed(local.axes[0], normal)
    count = len(local.points)
    residuals = (local.points @ normal) * local.scale_mm
    form = form_of(residuals, count - 3)
    first_mm, second_mm = local.spread[:2] * local.scale_mm
    cofactor = np.diag([1.0, first_mm**-2, second_mm**-2]) / count
    names = ("offset_mm", "tilt_1_rad", "tilt_2_rad")
    return Plane(
        point_mm=local.origin_mm,
        basis=basis,
        form=form,
        covariance=covariance_of(names, cofactor, form, u_point_mm),
    )


def _refuse_wide(local: LocalPoints, across: int, wanted: str) -> None:
    """Refuse points that spread across nearly as far as along."""
    along, wide = local.spread[across - 1], local.spread[across]
    if wide > _LARGEST_ASPECT * along:
        raise DirectionUndetermined(
            f"The points spread {wide * local.scale_mm:.3g} mm across and only "
            f"{along * local.scale_mm:.3g} mm along: they don't determine {wanted}."
        )


def _signed(direction: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the direction with its largest component positive."""
    largest = direction[int(np.argmax(np.abs(direction)))]
    return np.asarray(direction if largest > 0 else -direction, dtype=np.float64)


def _right_handed(
    first: NDArray[np.float64], third: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return rows e1, e2, e3 with e1 × e2 = e3."""
    return np.vstack([first, np.cross(third, first), third])
