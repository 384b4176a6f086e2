"""Minimum-zone association: the narrowest zone that holds every point.

A form tolerance on a drawing limits the width of the *minimum zone* unless it says
otherwise (ISO 1101, from memory); the range about a least-squares feature is never
smaller. The zones here are found by linear programmes: for a line or a plane the
deviations are linear in the slopes, and once the frame has turned with the zone
the slopes vanish and nothing is approximated; for a circle the radial distances
are made linear about the last centre and solved again until nothing improves; for
a line in space the round zone is cut out by tangent planes.

Only the few points that bear the zone matter, so a programme starts with some
extreme points and takes in those that break it [1]_. The width reported is that of
*all* points about the feature found. The zones are local minima: for points whose
form error is small against their size that is the minimum.

All points count: leave outliers out beforehand, knowingly.

References
----------
.. [1] Carr, K., Ferreira, P. (1995). Verification of form tolerances. Precision
   Engineering 17, 131-143 and 144-156.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.fits.circles import fit_circle_2d
from lab.metrology.fits.linear import fit_line_2d, fit_line_3d, fit_plane
from lab.metrology.fits.programmes import narrowest_strip, narrowest_tube
from lab.metrology.fits.refusals import ArcTooShort

__all__ = [
    "AxisZone",
    "CircleZone",
    "LineZone",
    "PlaneZone",
    "minimum_zone_circle",
    "minimum_zone_line_2d",
    "minimum_zone_line_3d",
    "minimum_zone_plane",
]

_ROUNDS = 100
_SMALLEST_GAIN = 1e-9  # relative, a little above what the programmes can resolve
_ROUNDING = 1e-13  # a width relative to the size that is rounding only
_FURTHEST = 10.0  # centres of rings, in radii of the least-squares circle


@dataclass(frozen=True, slots=True, eq=False)
class LineZone:
    """Two parallel lines: straightness in a plane. The point is midway."""

    width_mm: float
    point_mm: NDArray[np.float64]
    direction: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class AxisZone:
    """A cylinder about a line: straightness of an axis in space."""

    diameter_mm: float
    point_mm: NDArray[np.float64]
    direction: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class PlaneZone:
    """Two parallel planes: flatness. The point is midway."""

    width_mm: float
    point_mm: NDArray[np.float64]
    normal: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class CircleZone:
    """Two concentric circles: roundness."""

    width_mm: float
    centre_mm: NDArray[np.float64]
    inner_radius_mm: float
    outer_radius_mm: float


def minimum_zone_line_2d(points_mm: ArrayLike) -> LineZone:
    """Find the two closest parallel lines that hold points of a plane between them.

    Parameters
    ----------
    points_mm : array_like, shape (N, 2)
        At least two points, millimetres.

    Returns
    -------
    zone : LineZone

    Raises
    ------
    BadShape, NotFinite, TooFew, CoincidentPoints, DirectionUndetermined
        As `fit_line_2d` does.

    Examples
    --------
    >>> zone = minimum_zone_line_2d([[0, 0], [1, 1], [2, 0], [3, 1]])
    >>> round(zone.width_mm, 6)
    1.0
    """
    points = arrays.points("points_mm", points_mm, minimum=2, columns=2)
    line = fit_line_2d(points)
    frame = np.vstack([line.direction, line.normal])
    frame, low, high = _flat_zone(points - line.point_mm, frame)
    return LineZone(
        width_mm=high - low,
        point_mm=line.point_mm + 0.5 * (low + high) * frame[1],
        direction=frame[0],
    )


def minimum_zone_plane(points_mm: ArrayLike) -> PlaneZone:
    """Find the two closest parallel planes that hold points between them.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least three points, millimetres.

    Returns
    -------
    zone : PlaneZone

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `fit_plane` does.
    CoincidentPoints, CollinearPoints, DirectionUndetermined
        As `fit_plane` does.

    Examples
    --------
    >>> corners = [[0, 0, 0.01], [100, 0, 0], [0, 100, 0], [100, 100, 0.01]]
    >>> round(minimum_zone_plane(corners).width_mm, 6)
    0.01
    """
    points = arrays.points("points_mm", points_mm, minimum=3)
    plane = fit_plane(points)
    frame, low, high = _flat_zone(points - plane.point_mm, plane.basis)
    return PlaneZone(
        width_mm=high - low,
        point_mm=plane.point_mm + 0.5 * (low + high) * frame[2],
        normal=frame[2],
    )


def minimum_zone_circle(points_mm: ArrayLike) -> CircleZone:
    """Find the two closest concentric circles that hold points between them.

    Parameters
    ----------
    points_mm : array_like, shape (N, 2)
        At least three points, millimetres, in the plane of the section.

    Returns
    -------
    zone : CircleZone

    Raises
    ------
    BadShape, NotFinite, TooFew, CoincidentPoints, CollinearPoints
        As `fit_circle_2d` does.
    ArcTooShort
        If the narrowest zone has no finite centre.

    Examples
    --------
    >>> square = [[1, 0], [0, 1], [-1, 0], [0, -1], [0.8, 0.8], [-0.8, -0.8]]
    >>> zone = minimum_zone_circle(square)
    >>> round(zone.width_mm, 6)
    0.131371
    """
    points = arrays.points("points_mm", points_mm, minimum=3, columns=2)
    circle = fit_circle_2d(points)
    centre = np.zeros(2)
    lengths, outward = _radial(points - circle.centre_mm)
    reach = circle.radius_mm
    for _ in range(_ROUNDS):
        width = float(np.ptp(lengths))
        if width <= _ROUNDING * circle.radius_mm or reach <= _ROUNDING * width:
            break
        change = narrowest_strip(outward, lengths, reach)
        moved = _radial(points - circle.centre_mm - (centre + change))
        gain = width - float(np.ptp(moved[0]))
        if gain > 0.0:
            centre = centre + change
            lengths, outward = moved
            _refuse_run_away(centre, circle.radius_mm)
        else:
            reach = 0.25 * float(np.linalg.norm(change))
        if 0.0 <= gain <= _SMALLEST_GAIN * width:
            break
    return CircleZone(
        width_mm=float(np.ptp(lengths)),
        centre_mm=circle.centre_mm + centre,
        inner_radius_mm=float(lengths.min()),
        outer_radius_mm=float(lengths.max()),
    )


def minimum_zone_line_3d(points_mm: ArrayLike) -> AxisZone:
    """Find the thinnest cylinder that holds points in space.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least two points, millimetres: those of a derived axis, say.

    Returns
    -------
    zone : AxisZone

    Raises
    ------
    BadShape, NotFinite, TooFew, CoincidentPoints, DirectionUndetermined
        As `fit_line_3d` does.
    NotConverged
        If the cuts don't close on the zone.

    Examples
    --------
    >>> bent = [[0, 0, 0], [50, 0, 0.02], [100, 0, 0]]
    >>> round(minimum_zone_line_3d(bent).diameter_mm, 6)
    0.02
    """
    points = arrays.points("points_mm", points_mm, minimum=2)
    line = fit_line_3d(points)
    best, frame = line.point_mm, line.basis
    radius = 0.5 * line.form.range_mm
    for _ in range(_ROUNDS):
        local = (points - best) @ frame.T
        if radius <= _ROUNDING * float(np.abs(local).max()):
            break
        offset, slope = narrowest_tube(local)
        moved = best + offset @ frame[:2]
        turned = _frame_along(frame[2] + slope @ frame[:2], frame[0])
        across = (points - moved) @ turned[:2].T
        after = float(np.hypot(across[:, 0], across[:, 1]).max())
        gain = radius - after
        if gain > 0.0:
            best, frame, radius = moved, turned, after
        if gain <= _SMALLEST_GAIN * radius:
            break
    return AxisZone(diameter_mm=2.0 * radius, point_mm=best, direction=frame[2])


def _flat_zone(
    local: NDArray[np.float64], frame: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float, float]:
    """Turn a frame, whose last row is the normal, until the zone is narrowest."""
    coordinates = local @ frame.T
    for _ in range(_ROUNDS):
        width = float(np.ptp(coordinates[:, -1]))
        if width <= _ROUNDING * float(np.abs(coordinates).max()):
            break
        slopes = narrowest_strip(coordinates[:, :-1], coordinates[:, -1])
        turned = _frame_along(frame[-1] - slopes @ frame[:-1], frame[0])
        moved = local @ turned.T
        gain = width - float(np.ptp(moved[:, -1]))
        if gain > 0.0:
            frame, coordinates = turned, moved
        if gain <= _SMALLEST_GAIN * width:
            break
    across = coordinates[:, -1]
    return frame, float(across.min()), float(across.max())


def _frame_along(
    last: NDArray[np.float64], first: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return an orthonormal frame with the given last row, first nearly as given."""
    last = last / np.linalg.norm(last)
    first = first - (first @ last) * last
    first = first / np.linalg.norm(first)
    if len(last) == 2:
        return np.vstack([first, last])
    return np.vstack([first, np.cross(last, first), last])


def _radial(
    local: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return distances from the origin and the unit vectors outward."""
    lengths = np.hypot(local[:, 0], local[:, 1])
    safe = np.where(lengths > 0.0, lengths, 1.0)
    return lengths, local / safe[:, np.newaxis]


def _refuse_run_away(centre: NDArray[np.float64], radius_mm: float) -> None:
    if float(np.linalg.norm(centre)) > _FURTHEST * radius_mm:
        raise ArcTooShort(
            "The narrowest ring about the points has its centre further and further "
            "away: the arc is too short to say anything of roundness."
        )
