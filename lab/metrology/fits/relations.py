"""Lengths, distances and angles between fitted features, with their uncertainty.

The uncertainty of a relation is J·Σ·Jᵀ to first order, from the covariances of the
two fits, which are taken as independent: it is the *fits'* share only. What both
features have in common, such as the frame or the scale, is not in it and belongs to
the budget. Where a feature has no covariance, neither has the relation.

Reference for the closest points of two lines: any text on analytic geometry; see
for instance Eberly, D., *Geometric Tools for Computer Graphics* (2003), ch. 10.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain
from lab.metrology.fits.circles import Circle3
from lab.metrology.fits.cones import Cone
from lab.metrology.fits.cylinders import Cylinder
from lab.metrology.fits.linear import Line3, Plane
from lab.metrology.fits.spheres import Sphere
from lab.metrology.fits.statistics import Covariance

__all__ = [
    "Angle",
    "Length",
    "angle_between",
    "distance_between_axes",
    "distance_between_centres",
    "distance_between_planes",
    "distance_to_axis",
    "distance_to_plane",
    "extent_along",
]

Centred = Sphere | Circle3
Axial = Line3 | Cylinder | Cone
Directed = Plane | Circle3 | Line3 | Cylinder | Cone

# Below this sine, two axes are parallel as far as rounding can tell.
_PARALLEL = 1e-9


@dataclass(frozen=True, slots=True)
class Length:
    """A length in millimetres and its standard uncertainty from the fits."""

    length_mm: float
    u_mm: float | None


@dataclass(frozen=True, slots=True)
class Angle:
    """An angle in radians and its standard uncertainty from the fits."""

    angle_rad: float
    u_rad: float | None


def distance_between_centres(first: Centred, second: Centred) -> Length:
    """Return the distance between the centres of two spheres or circles.

    Examples
    --------
    >>> from lab.metrology.fits.spheres import fit_sphere
    >>> shell = np.vstack([np.eye(3), -np.eye(3)])
    >>> pair = fit_sphere(10 * shell), fit_sphere(10 * shell + [500, 0, 0])
    >>> round(distance_between_centres(*pair).length_mm, 9)
    500.0
    """
    apart = first.centre_mm - second.centre_mm
    length = float(np.linalg.norm(apart))
    along = apart / length if length > 0.0 else np.zeros(3)
    return Length(length, _u((first, along, None), (second, -along, None)))


def distance_to_plane(point: Centred | ArrayLike, plane: Plane) -> Length:
    """Return the signed distance of a centre or point, positive along the normal.

    A point given as coordinates is taken as exact.
    """
    position = _position(point)
    away = position - plane.point_mm
    length = float(away @ plane.normal)
    share = (plane, -plane.normal, away)
    if isinstance(point, Sphere | Circle3):
        return Length(length, _u((point, plane.normal, None), share))
    return Length(length, _u(share))


def distance_to_axis(point: Centred | ArrayLike, axis: Axial) -> Length:
    """Return the distance of a centre or point from a line or axis.

    A point given as coordinates is taken as exact.
    """
    away = _position(point) - axis.point_mm
    along = float(away @ axis.direction)
    across = away - along * axis.direction
    length = float(np.linalg.norm(across))
    outward = across / length if length > 0.0 else np.zeros(3)
    share = (axis, -outward, -along * outward)
    if isinstance(point, Sphere | Circle3):
        return Length(length, _u((point, outward, None), share))
    return Length(length, _u(share))


def distance_between_axes(first: Axial, second: Axial) -> Length:
    """Return the shortest distance between two lines or axes.

    For parallel axes it is the distance of the second's point from the first.
    """
    normal = np.cross(first.direction, second.direction)
    sine = float(np.linalg.norm(normal))
    if sine < _PARALLEL:
        return distance_to_axis(second.point_mm, first)
    normal = normal / sine
    apart = second.point_mm - first.point_mm
    length = float(apart @ normal)
    sign = -1.0 if length < 0.0 else 1.0
    # Positions along each axis of the closest points, from the origin points.
    first_along = float(np.cross(apart, second.direction) @ normal) / sine
    second_along = float(np.cross(apart, first.direction) @ normal) / sine
    return Length(
        abs(length),
        _u(
            (first, -sign * normal, -sign * first_along * normal),
            (second, sign * normal, sign * second_along * normal),
        ),
    )


def distance_between_planes(datum: Plane, other: Plane) -> Length:
    """Return the distance of the second plane's centroid from the first plane.

    It isn't symmetric unless the planes are parallel: the first is the datum.
    """
    away = other.point_mm - datum.point_mm
    length = float(away @ datum.normal)
    sign = -1.0 if length < 0.0 else 1.0
    # The point of the second is its centroid: it moves along its own normal only.
    return Length(
        abs(length),
        _u(
            (datum, -sign * datum.normal, sign * away),
            (other, sign * datum.normal, None),
        ),
    )


def angle_between(first: Directed, second: Directed) -> Angle:
    """Return the angle between two features, from 0 to π/2.

    Between two axes, or two normals: the angle of their directions. Between an axis
    and a plane (or a circle's plane): the angle of the axis to the plane.

    Examples
    --------
    >>> from lab.metrology.fits.linear import fit_plane
    >>> floor = fit_plane([[0, 0, 0], [9, 0, 0], [0, 5, 0], [9, 5, 0]])
    >>> wall = fit_plane([[0, 0, 0], [9, 0, 9], [0, 5, 0], [9, 5, 9]])
    >>> round(math.degrees(angle_between(floor, wall).angle_rad), 6)
    45.0
    """
    one, other = _direction(first), _direction(second)
    cosine = float(one @ other)
    if cosine < 0.0:
        other, cosine = -other, -cosine
    normal = np.cross(one, other)
    sine = float(np.linalg.norm(normal))
    angle = math.atan2(sine, cosine)
    if isinstance(first, Plane | Circle3) != isinstance(second, Plane | Circle3):
        angle = 0.5 * math.pi - angle
    if sine < _PARALLEL:
        return Angle(angle, _u_of_parallel(first, second))
    # ∂angle/∂direction: within the plane of both, away from the other.
    one_away = (cosine * one - other) / sine
    other_away = (cosine * other - one) / sine
    if float(_direction(second) @ other) < 0.0:
        other_away = -other_away
    return Angle(angle, _u((first, None, one_away), (second, None, other_away)))


def extent_along(points_mm: ArrayLike, direction: ArrayLike) -> float:
    """Return the extent of points along a direction, in millimetres.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        Millimetres.
    direction : array_like, shape (3,)
        Of any length but zero.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays` does.
    OutOfDomain
        If the direction is zero.

    Examples
    --------
    >>> extent_along([[0, 0, 0], [3, 4, 0]], [2, 0, 0])
    3.0
    """
    points = arrays.points("points_mm", points_mm)
    along = _position(direction)
    length = float(np.linalg.norm(along))
    if length == 0.0:
        raise OutOfDomain("direction has no length; it must point somewhere.")
    return float(np.ptp(points @ along)) / length


def _position(point: Centred | ArrayLike) -> NDArray[np.float64]:
    if isinstance(point, Sphere | Circle3):
        return point.centre_mm
    coordinates = arrays.vector("point", np.asarray(point), minimum=3)
    return arrays.points("point", coordinates.reshape(1, -1)).reshape(3)


def _direction(feature: Directed) -> NDArray[np.float64]:
    if isinstance(feature, Plane | Circle3):
        return feature.normal
    return feature.direction


_Share = tuple[
    Centred | Directed, NDArray[np.float64] | None, NDArray[np.float64] | None
]


def _u(*shares: _Share) -> float | None:
    """Combine the shares of features: each with ∂/∂point and ∂/∂direction."""
    variance = 0.0
    for feature, by_point, by_direction in shares:
        covariance = feature.covariance
        if covariance is None:
            return None
        row = _row(feature, covariance, by_point, by_direction)
        variance += float(row @ covariance.matrix @ row)
    return math.sqrt(max(variance, 0.0))


def _row(
    feature: Centred | Directed,
    covariance: Covariance,
    by_point: NDArray[np.float64] | None,
    by_direction: NDArray[np.float64] | None,
) -> NDArray[np.float64]:
    """Return the derivatives with respect to the feature's own parameters."""
    point = np.zeros(3) if by_point is None else by_point
    direction = np.zeros(3) if by_direction is None else by_direction
    basis = np.eye(3) if isinstance(feature, Sphere) else feature.basis
    known = {
        "x_mm": point[0],
        "y_mm": point[1],
        "z_mm": point[2],
        "offset_1_mm": basis[0] @ point,
        "offset_2_mm": basis[1] @ point,
        "offset_3_mm": basis[2] @ point,
        "offset_mm": basis[2] @ point,
        "tilt_1_rad": basis[0] @ direction,
        "tilt_2_rad": basis[1] @ direction,
    }
    return np.array([float(known.get(name, 0.0)) for name in covariance.names])


def _u_of_parallel(first: Directed, second: Directed) -> float | None:
    """Return the root mean square of the angle's uncertainty over all azimuths.

    At zero the angle has no derivative; what is uncertain is the tilt itself.
    """
    total = 0.0
    for feature in (first, second):
        covariance = feature.covariance
        if covariance is None:
            return None
        total += covariance.u("tilt_1_rad") ** 2 + covariance.u("tilt_2_rad") ** 2
    return math.sqrt(0.5 * total)
