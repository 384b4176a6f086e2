"""Least-squares spheres: orthogonal distances, full or a cap.

The method is that of the circle, in one more dimension; see
`lab.metrology.fits.round`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.fits.circles import (
    LARGEST_RELATIVE_U_RADIUS,
    refuse_short,
    round_result,
)
from lab.metrology.fits.local import LocalPoints, localise
from lab.metrology.fits.refusals import CoplanarPoints
from lab.metrology.fits.round import RoundModel, taubin
from lab.metrology.fits.solver import solve
from lab.metrology.fits.statistics import Covariance, Form, covariance_of

__all__ = ["Sphere", "fit_sphere"]


@dataclass(frozen=True, slots=True, eq=False)
class Sphere:
    """A sphere; residuals are positive outside."""

    centre_mm: NDArray[np.float64]
    radius_mm: float
    form: Form
    covariance: Covariance | None

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return signed distances of points, positive outside."""
        points = arrays.points("points_mm", points_mm)
        return np.asarray(
            np.linalg.norm(points - self.centre_mm, axis=1) - self.radius_mm
        )


def fit_sphere(
    points_mm: ArrayLike,
    *,
    u_point_mm: float | None = None,
    largest_relative_u_radius: float = LARGEST_RELATIVE_U_RADIUS,
) -> Sphere:
    """Fit a sphere of free radius to points in space.

    Minimises the sum of squares of ``|p - centre| - radius``.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least four points, millimetres.
    u_point_mm : float, optional
        Standard uncertainty of a point in the radial direction, if known.
    largest_relative_u_radius : float
        Refuse a cap that leaves the radius more uncertain than this share of
        itself; ``math.inf`` accepts anything that has a solution.

    Returns
    -------
    sphere : Sphere
        Covariance over ``("x_mm", "y_mm", "z_mm", "radius_mm")``.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, CollinearPoints, CoplanarPoints, ArcTooShort, NotConverged
        If the points don't determine a sphere.

    Examples
    --------
    >>> sphere = fit_sphere([[5, 0, 0], [-5, 0, 0], [0, 5, 0], [0, 0, 5]])
    >>> round(sphere.radius_mm, 9)
    5.0
    """
    local = localise(arrays.points("points_mm", points_mm, minimum=4))
    local.refuse_collinear("a sphere")
    refuse_coplanar(local, "a sphere")
    section = solve(
        RoundModel(), taubin(local.points), local.points, floor=local.resolution
    ).state
    centre, radius, form, cofactor = round_result(local, section)
    names = ("x_mm", "y_mm", "z_mm", "radius_mm")
    covariance = covariance_of(names, cofactor, form, u_point_mm)
    refuse_short(covariance, radius, largest_relative_u_radius, "sphere", "a cap")
    return Sphere(centre, radius, form, covariance)


def refuse_coplanar(local: LocalPoints, wanted: str) -> None:
    """Raise unless the points spread in three directions."""
    if local.spread[2] <= local.resolution:
        raise CoplanarPoints(
            f"The {len(local.points)} points lie in one plane (within "
            f"{local.spread[2] * local.scale_mm:.2g} mm): they don't determine "
            f"{wanted}. Add points off the plane."
        )
