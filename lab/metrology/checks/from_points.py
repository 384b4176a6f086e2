"""Readings of a check out of point clouds: spheres, flats, and lengths.

Size and form of a sphere come from the least-squares sphere of free radius; form
is the range of the radial distances, and beside it stands the width of the shell
that holds 95 % of the points, which ISO 10360-13 also defines (both from memory,
not seen). A flat's form is the range about the least-squares plane. The spacing
of two spheres is the distance between their centres, which no probing error of
size enters; a length between two opposite faces lets it enter in full, which is
why both are checked.

Which points are accepted is decided before this: nothing is filtered here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lab.metrology.errors import Degenerate
from lab.metrology.fits import fit_plane, fit_sphere

__all__ = [
    "FaceLength",
    "FlatForm",
    "Probing",
    "SphereSpacing",
    "flat_form_from_points",
    "length_from_faces",
    "probing_from_points",
    "spacing_from_points",
]

# Opposite faces of an artefact are parallel to far better than this (0.6°).
_LARGEST_FACE_ANGLE_RAD = 0.01


@dataclass(frozen=True, slots=True)
class Probing:
    """Probing size and form on one sphere."""

    diameter_mm: float
    form_mm: float
    dispersion_95_mm: float
    count: int


@dataclass(frozen=True, slots=True)
class SphereSpacing:
    """The distance between the centres of two spheres, and both spheres' forms."""

    distance_mm: float
    form_a_mm: float
    form_b_mm: float


@dataclass(frozen=True, slots=True)
class FlatForm:
    """Form of a flat about its least-squares plane."""

    form_mm: float
    dispersion_95_mm: float
    count: int


@dataclass(frozen=True, slots=True)
class FaceLength:
    """The distance between two opposite faces, and how far they are off parallel."""

    length_mm: float
    angle_rad: float
    form_a_mm: float
    form_b_mm: float


def probing_from_points(points_mm: ArrayLike) -> Probing:
    """Return probing size and form from the points on one calibrated sphere.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        Accepted points, in mm.

    Returns
    -------
    probing : Probing
        `diameter_mm` is to be compared with the calibrated diameter, `form_mm`
        with the limit of form.

    Raises
    ------
    MetrologyError
        What `fit_sphere` refuses: too few points, coplanar, a cap too small.

    References
    ----------
    .. [1] ISO 10360-13, optical 3D coordinate measuring systems (from memory).

    Examples
    --------
    >>> six = [[5, 0, 0], [-5, 0, 0], [0, 5, 0], [0, -5, 0], [0, 0, 5], [0, 0, -5]]
    >>> round(probing_from_points(six).diameter_mm, 9)
    10.0
    """
    sphere = fit_sphere(points_mm)
    return Probing(
        diameter_mm=2.0 * sphere.radius_mm,
        form_mm=sphere.form.range_mm,
        dispersion_95_mm=sphere.form.dispersion_95_mm,
        count=len(sphere.form.residuals_mm),
    )


def spacing_from_points(
    points_a_mm: ArrayLike, points_b_mm: ArrayLike
) -> SphereSpacing:
    """Return the distance between the centres of two spheres.

    Parameters
    ----------
    points_a_mm, points_b_mm : array_like, shape (N, 3)
        Points on either sphere, in mm, in one frame.

    Returns
    -------
    spacing : SphereSpacing

    Raises
    ------
    MetrologyError
        What `fit_sphere` refuses.

    Examples
    --------
    >>> six = np.array([[5, 0, 0], [-5, 0, 0], [0, 5, 0], [0, -5, 0], [0, 0, 5],
    ...     [0, 0, -5]])
    >>> round(spacing_from_points(six, six + [300, 400, 0]).distance_mm, 9)
    500.0
    """
    sphere_a, sphere_b = fit_sphere(points_a_mm), fit_sphere(points_b_mm)
    return SphereSpacing(
        distance_mm=float(np.linalg.norm(sphere_b.centre_mm - sphere_a.centre_mm)),
        form_a_mm=sphere_a.form.range_mm,
        form_b_mm=sphere_b.form.range_mm,
    )


def flat_form_from_points(points_mm: ArrayLike) -> FlatForm:
    """Return the form of a flat: the range about its least-squares plane.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        Accepted points, in mm.

    Returns
    -------
    flat : FlatForm

    Raises
    ------
    MetrologyError
        What `fit_plane` refuses: too few points, collinear ones.

    Examples
    --------
    >>> flat_form_from_points([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]]).form_mm
    0.0
    """
    plane = fit_plane(points_mm)
    return FlatForm(
        form_mm=plane.form.range_mm,
        dispersion_95_mm=plane.form.dispersion_95_mm,
        count=len(plane.form.residuals_mm),
    )


def length_from_faces(points_a_mm: ArrayLike, points_b_mm: ArrayLike) -> FaceLength:
    """Return the distance between two opposite faces of an artefact.

    The centroid of one face from the other along the mean of both normals.

    Parameters
    ----------
    points_a_mm, points_b_mm : array_like, shape (N, 3)
        Points on either face, in mm, spread evenly so that the centroid is the
        face's middle.

    Returns
    -------
    length : FaceLength

    Raises
    ------
    Degenerate
        If the faces are off parallel by more than 0.01 rad: not opposite faces.
    MetrologyError
        What `fit_plane` refuses.

    Examples
    --------
    >>> face = np.array([[0, 0, 0], [9, 0, 0], [0, 9, 0], [9, 9, 0]])
    >>> round(length_from_faces(face, face + [0, 0, 100]).length_mm, 9)
    100.0
    """
    plane_a, plane_b = fit_plane(points_a_mm), fit_plane(points_b_mm)
    is_opposed = plane_a.normal @ plane_b.normal < 0.0
    normal_b = -plane_b.normal if is_opposed else plane_b.normal
    angle_rad = float(
        np.arctan2(
            np.linalg.norm(np.cross(plane_a.normal, normal_b)),
            plane_a.normal @ normal_b,
        )
    )
    if angle_rad > _LARGEST_FACE_ANGLE_RAD:
        raise Degenerate(
            f"The two faces are {np.degrees(angle_rad):.2g}° off parallel; opposite "
            "faces of an artefact are not. Check which points belong to which face."
        )
    along = plane_a.normal + normal_b
    along = along / np.linalg.norm(along)
    return FaceLength(
        length_mm=abs(float(along @ (plane_b.point_mm - plane_a.point_mm))),
        angle_rad=angle_rad,
        form_a_mm=plane_a.form.range_mm,
        form_b_mm=plane_b.form.range_mm,
    )
