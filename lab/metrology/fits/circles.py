"""Least-squares circles, in a plane and in space.

`fit_circle_2d` minimises the sum of squared orthogonal (radial) distances, which
has no closed form [1]_; see `lab.metrology.fits.round` for the parameters that
keep short arcs harmless. `fit_circle_algebraic` gives the three closed-form fits
that are met in the literature; they are biased, the one of Kåsa grossly so on
short arcs, and are here for comparison.

In space the plane is associated first and the circle within it, as is common
practice (no source); the two sets of residuals are reported apart.

References
----------
.. [1] Gander, W., Golub, G. H., Strebel, R. (1994). Least-squares fitting of
   circles and ellipses. BIT 34, 558-578.
.. [2] Kåsa, I. (1976). IEEE Trans. Instrum. Meas. 25, 8-14.
.. [3] Pratt, V. (1987). Computer Graphics 21 (4), 145-152.
.. [4] Taubin, G. (1991). IEEE Trans. Pattern Anal. Mach. Intell. 13, 1115-1138.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain
from lab.metrology.fits.linear import Plane, fit_plane
from lab.metrology.fits.local import LocalPoints, localise, triangle_of
from lab.metrology.fits.refusals import ArcTooShort
from lab.metrology.fits.round import (
    RoundModel,
    centre_of,
    normalised,
    round_distances,
    taubin,
)
from lab.metrology.fits.solver import solve
from lab.metrology.fits.statistics import Covariance, Form, covariance_of, form_of

__all__ = [
    "LARGEST_RELATIVE_U_RADIUS",
    "AlgebraicCircle",
    "Circle2",
    "Circle3",
    "fit_circle_2d",
    "fit_circle_3d",
    "fit_circle_algebraic",
]

# A radius uncertain by more than a third of itself is no radius: beyond, the
# first-order covariance means nothing either (our choice, no source).
LARGEST_RELATIVE_U_RADIUS = 1.0 / 3.0
_FLATTEST = 1e-12  # curvature in local units that is rounding only


@dataclass(frozen=True, slots=True, eq=False)
class Circle2:
    """A circle in a plane; residuals are positive outside."""

    centre_mm: NDArray[np.float64]
    radius_mm: float
    form: Form
    covariance: Covariance | None

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return signed distances of points, positive outside."""
        points = arrays.points("points_mm", points_mm, columns=2)
        return np.asarray(
            np.linalg.norm(points - self.centre_mm, axis=1) - self.radius_mm
        )


@dataclass(frozen=True, slots=True, eq=False)
class Circle3:
    """A circle in space; rows of `basis` are e1, e2, normal.

    `form` is of the radial distances within the plane (roundness); `plane` is the
    plane associated first, and its form that of the axial distances.
    """

    centre_mm: NDArray[np.float64]
    radius_mm: float
    basis: NDArray[np.float64]
    form: Form
    plane: Plane
    covariance: Covariance | None

    @property
    def normal(self) -> NDArray[np.float64]:
        """The unit normal of the circle's plane; its sign is free."""
        third: NDArray[np.float64] = self.basis[2]
        return third

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return the distances of points from the circle; they have no sign."""
        points = arrays.points("points_mm", points_mm)
        local = (points - self.centre_mm) @ self.basis.T
        radial = np.hypot(local[:, 0], local[:, 1]) - self.radius_mm
        return np.asarray(np.hypot(radial, local[:, 2]), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class AlgebraicCircle:
    """A closed-form circle, and the rms of the orthogonal distances from it."""

    centre_mm: NDArray[np.float64]
    radius_mm: float
    rms_mm: float


def fit_circle_2d(
    points_mm: ArrayLike,
    *,
    u_point_mm: float | None = None,
    largest_relative_u_radius: float = LARGEST_RELATIVE_U_RADIUS,
) -> Circle2:
    """Fit a circle to points in a plane.

    Minimises the sum of squares of ``|p - centre| - radius``.

    Parameters
    ----------
    points_mm : array_like, shape (N, 2)
        At least three points, millimetres.
    u_point_mm : float, optional
        Standard uncertainty of a point in the radial direction, if known.
    largest_relative_u_radius : float
        Refuse an arc that leaves the radius more uncertain than this share of
        itself; ``math.inf`` accepts anything that has a solution.

    Returns
    -------
    circle : Circle2
        Covariance over ``("x_mm", "y_mm", "radius_mm")``.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, CollinearPoints, ArcTooShort, NotConverged
        If the points don't determine a circle.

    Examples
    --------
    >>> circle = fit_circle_2d([[5.0, 0.0], [0.0, 5.0], [-5.0, 0.0]])
    >>> round(circle.radius_mm, 9)
    5.0
    """
    local = localise(arrays.points("points_mm", points_mm, minimum=3, columns=2))
    local.refuse_collinear("a circle")
    section = solve(
        RoundModel(), taubin(local.points), local.points, floor=local.resolution
    ).state
    centre, radius, form, cofactor = round_result(local, section)
    covariance = covariance_of(
        ("x_mm", "y_mm", "radius_mm"), cofactor, form, u_point_mm
    )
    refuse_short(covariance, radius, largest_relative_u_radius, "circle", "an arc")
    return Circle2(centre, radius, form, covariance)


def fit_circle_3d(
    points_mm: ArrayLike,
    *,
    u_point_mm: float | None = None,
    largest_relative_u_radius: float = LARGEST_RELATIVE_U_RADIUS,
) -> Circle3:
    """Fit a circle to points in space: the plane first, then the circle in it.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least three points, millimetres.
    u_point_mm : float, optional
        Standard uncertainty of a point in each direction, if known.
    largest_relative_u_radius : float
        As for `fit_circle_2d`.

    Returns
    -------
    circle : Circle3
        Covariance over the offsets of the centre along e1, e2 and the normal, the
        tilts of the normal towards e1 and e2, and the radius. With exactly three
        points and no `u_point_mm` there is none.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, CollinearPoints, DirectionUndetermined, ArcTooShort
        If the points don't determine a plane, or a circle in it.

    Examples
    --------
    >>> circle = fit_circle_3d([[5, 0, 2], [0, 5, 2], [-5, 0, 2], [0, -5, 2]])
    >>> (circle.centre_mm + 0.0).round(9).tolist(), round(circle.radius_mm, 9)
    ([0.0, 0.0, 2.0], 5.0)
    """
    points = arrays.points("points_mm", points_mm, minimum=3)
    plane = fit_plane(points, u_point_mm=u_point_mm)
    flat = (points - plane.point_mm) @ plane.basis[:2].T
    circle = fit_circle_2d(
        flat,
        u_point_mm=u_point_mm,
        largest_relative_u_radius=largest_relative_u_radius,
    )
    return Circle3(
        centre_mm=plane.point_mm + circle.centre_mm @ plane.basis[:2],
        radius_mm=circle.radius_mm,
        basis=plane.basis,
        form=circle.form,
        plane=plane,
        covariance=_covariance_in_space(plane, circle),
    )


def fit_circle_algebraic(
    points_mm: ArrayLike, method: Literal["kasa", "pratt", "taubin"]
) -> AlgebraicCircle:
    """Fit a circle in closed form, for comparison with the geometric fit.

    With ``P(q) = A·|q|² + b·q + D`` each minimises the sum of P² under a different
    side condition: ``A = 1`` (Kåsa [2]_), ``|b|² - 4AD = 1`` (Pratt [3]_), or the
    mean of ``|∇P|²`` equal to one (Taubin [4]_).

    Parameters
    ----------
    points_mm : array_like, shape (N, 2)
        At least three points, millimetres.
    method : {"kasa", "pratt", "taubin"}
        Which side condition.

    Returns
    -------
    circle : AlgebraicCircle

    Raises
    ------
    BadShape, NotFinite, TooFew, CoincidentPoints, CollinearPoints, ArcTooShort
        As for `fit_circle_2d`.
    OutOfDomain
        If there is no such method.

    Examples
    --------
    >>> corners = [[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]]
    >>> round(fit_circle_algebraic(corners, "pratt").radius_mm, 9)
    1.0
    """
    ways = {"kasa": _kasa, "pratt": _pratt, "taubin": taubin}
    if method not in ways:
        raise OutOfDomain(f"method is {method!r}; it must be one of {', '.join(ways)}.")
    local = localise(arrays.points("points_mm", points_mm, minimum=3, columns=2))
    local.refuse_collinear("a circle")
    centre, radius, form, _ = round_result(local, ways[method](local.points))
    return AlgebraicCircle(centre, radius, form.rms_mm)


def round_result(
    local: LocalPoints, section: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float, Form, NDArray[np.float64]]:
    """Return centre, radius, form and the cofactor of both, in millimetres."""
    if section[0] <= _FLATTEST:
        raise ArcTooShort(
            "The points show no curvature at all: the best circle or sphere is "
            "flat. Measure a longer arc or a larger cap."
        )
    residuals = round_distances(section, local.points)[0] * local.scale_mm
    count, width = local.points.shape
    centre = centre_of(section)
    radius_mm = local.scale_mm / (2.0 * float(section[0]))
    form = form_of(residuals, count - width - 1)
    outward = local.points - centre
    lengths = np.linalg.norm(outward, axis=1)
    lengths[lengths == 0.0] = 1.0
    rows = np.column_stack([outward / -lengths[:, np.newaxis], -np.ones(count)])
    # Distances scale like the parameters, so that the cofactor has no unit.
    inverse = np.linalg.pinv(triangle_of(rows), rcond=1e-15)
    return local.to_mm(centre), radius_mm, form, inverse @ inverse.T


def refuse_short(
    covariance: Covariance | None,
    radius_mm: float,
    largest_relative: float,
    feature: str,
    patch: str,
) -> None:
    """Raise if the radius is more uncertain than the share of itself allowed."""
    if covariance is None:
        return
    relative = covariance.u("radius_mm") / radius_mm
    if relative > largest_relative:
        percent = f"{100 * relative:.2g}" if math.isfinite(relative) else "infinitely"
        raise ArcTooShort(
            f"The points cover too small {patch} of the {feature}: its radius, "
            f"{radius_mm:.4g} mm, is uncertain by {percent} % (largest allowed: "
            f"{100 * largest_relative:.0f} %). Measure more of it, or with less "
            "scatter."
        )


def _covariance_in_space(plane: Plane, circle: Circle2) -> Covariance | None:
    """Join the plane's and the circle's covariance at the circle's centre."""
    if plane.covariance is None or circle.covariance is None:
        return None
    # Residuals along the normal and along the radius are different readings of
    # the same points: to first order they share no error.
    first, second = circle.centre_mm
    to_centre = np.array([[1.0, -first, -second], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    matrix = np.zeros((6, 6))
    within, across = [0, 1, 5], [2, 3, 4]
    matrix[np.ix_(within, within)] = circle.covariance.matrix
    matrix[np.ix_(across, across)] = to_centre @ plane.covariance.matrix @ to_centre.T
    names = (
        "offset_1_mm",
        "offset_2_mm",
        "offset_3_mm",
        "tilt_1_rad",
        "tilt_2_rad",
        "radius_mm",
    )
    return Covariance(names, matrix, plane.covariance.points)


def _kasa(points: NDArray[np.float64]) -> NDArray[np.float64]:
    squares = np.einsum("ij,ij->i", points, points)
    rows = np.column_stack([points, np.ones(len(points))])
    solution, *_ = np.linalg.lstsq(rows, -squares, rcond=None)
    section = np.concatenate([[1.0], solution])
    found = normalised(section)
    assert found is not None  # noqa: S101 - three points have a real circle
    return found


def _pratt(points: NDArray[np.float64]) -> NDArray[np.float64]:
    squares = np.einsum("ij,ij->i", points, points)
    rows = np.column_stack([squares, points, np.ones(len(points))])
    _, singular, axes = np.linalg.svd(triangle_of(rows))
    if singular[-1] <= 1e-12 * singular[0]:
        section = axes[-1]
    else:
        # The side condition is vᵀBv = 1; with Y² = MᵀM the problem becomes the
        # smallest positive eigenvalue of Y·B⁻¹·Y, which needs no inverse of B.
        width = len(singular)
        inverse_b = np.eye(width)
        inverse_b[[0, -1], [0, -1]] = 0.0
        inverse_b[0, -1] = inverse_b[-1, 0] = -0.5
        root = axes.T @ np.diag(singular) @ axes
        values, vectors = np.linalg.eigh(root @ inverse_b @ root)
        chosen = vectors[:, int(np.argmax(values > 0.0))]
        section = axes.T @ ((axes @ chosen) / singular)
    found = normalised(section)
    assert found is not None  # noqa: S101 - the side condition holds
    return found
