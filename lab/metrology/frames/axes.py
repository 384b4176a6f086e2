r"""Axis targets: a reflector that is turned about an axis to face another station.

Such a target is the same point for all stations only if the reflector's centre lies on
the axis. Its stops lie on a circle: the centre of the circle is a point of the axis
and its radius is how far the reflector is off it. Three stops give a circle whatever
they are, so at least four are asked for, over at least 120°; the spread of the stops
along the axis is its play.

The axis has no sign of its own; it is given one by convention: its largest component
is positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import Degenerate
from lab.metrology.fits import fit_circle_3d

__all__ = [
    "LEAST_ANGLE_RAD",
    "LEAST_STOPS",
    "Axis",
    "StopsTooFew",
    "StopsTooNarrow",
    "counted_targets",
    "solve_axis",
]

Array = NDArray[np.float64]

LEAST_STOPS = 4
LEAST_ANGLE_RAD = math.radians(120.0)


class StopsTooFew(Degenerate):
    """Fewer than four stops: the circle would have no redundancy."""


class StopsTooNarrow(Degenerate):
    """The stops cover too little of the turn."""


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """An axis solved from the stops of a reflector.

    Attributes
    ----------
    centre_mm, u_centre_mm : ndarray, shape (3,)
        Where the plane of the stops meets the axis, with standard uncertainties.
    direction : ndarray, shape (3,)
        Unit vector, its largest component positive by convention.
    u_direction_rad : float
        Of the tilt in the worse of two directions.
    radius_mm, u_radius_mm : float
        How far the reflector is off the axis.
    covered_rad : float
        The part of the turn that the stops cover.
    axial_play_mm, roundness_mm : float
        Range of the stops along the axis, and of their distances from it.
    stops : int
        How many.
    """

    centre_mm: Array
    u_centre_mm: Array
    direction: Array
    u_direction_rad: float
    radius_mm: float
    u_radius_mm: float
    covered_rad: float
    axial_play_mm: float
    roundness_mm: float
    stops: int

    def is_within(self, runout_mm: float) -> bool:
        """Say whether the reflector turns on the spot.

        Its radius and twice the uncertainty of it must be within the stated runout.
        """
        allowed = arrays.positive("runout_mm", runout_mm)
        return self.radius_mm + 2.0 * self.u_radius_mm <= allowed


def solve_axis(stops_mm: ArrayLike, *, u_mm: float) -> Axis:
    """Solve an axis from the places of its reflector at several stops.

    Parameters
    ----------
    stops_mm : array_like, shape (N, 3)
        The reflector's centre at each stop, in one frame.
    u_mm : float
        Standard uncertainty of a coordinate of a stop.

    Returns
    -------
    Axis

    Raises
    ------
    StopsTooFew
        With fewer than four stops.
    StopsTooNarrow
        If they cover less than 120° of the turn.
    BadShape, NotFinite, OutOfDomain, Degenerate
        If the stops aren't a circle's.

    Notes
    -----
    The covariance is that of the stated uncertainty where the residuals agree with it
    and is raised by theirs where they are larger; it is never made smaller.

    A reflector on the axis shows stops at one place: see `counted_targets`.

    Examples
    --------
    >>> turn = np.radians([0, 60, 120, 180, 240])
    >>> stops = np.column_stack([20 * np.cos(turn), 20 * np.sin(turn), 0 * turn])
    >>> axis = solve_axis(stops + [0, 0, 5], u_mm=0.01)
    >>> axis.centre_mm.round(6).tolist(), round(axis.radius_mm, 6)
    ([0.0, 0.0, 5.0], 20.0)
    >>> axis.direction.round(6).tolist()
    [0.0, 0.0, 1.0]
    """
    stops = arrays.points("stops_mm", stops_mm, minimum=1)
    u = arrays.positive("u_mm", u_mm)
    if len(stops) < LEAST_STOPS:
        raise StopsTooFew(
            f"The axis has {len(stops)} stops; {LEAST_STOPS} are needed, for three "
            "lie on a circle whatever they are."
        )
    circle = fit_circle_3d(stops)
    first, second, normal = circle.basis
    local = stops - circle.centre_mm
    x, y, z = local @ first, local @ second, local @ normal
    covered = _covered(np.arctan2(y, x))
    if covered < LEAST_ANGLE_RAD - 1e-9:
        raise StopsTooNarrow(
            f"The stops cover {math.degrees(covered):.0f}° of the turn; at least "
            f"{math.degrees(LEAST_ANGLE_RAD):.0f}° are needed."
        )
    radial = np.hypot(x, y) - circle.radius_mm
    in_plane = _raised(u, radial, len(stops) - 3)
    along = _raised(u, z, len(stops) - 3)
    design = np.column_stack([-np.cos(np.arctan2(y, x)), -np.sin(np.arctan2(y, x)),
                              -np.ones(len(x))])  # fmt: skip
    planar = in_plane**2 * np.linalg.inv(design.T @ design)
    tilted = np.column_stack([np.ones(len(x)), x, y])
    tilt = along**2 * np.linalg.inv(tilted.T @ tilted)
    in_frame = first, second, normal
    spread = np.zeros((3, 3))
    spread[:2, :2], spread[2, 2] = planar[:2, :2], tilt[0, 0]
    turned = np.array(in_frame).T @ spread @ np.array(in_frame)
    largest = int(np.argmax(np.abs(normal)))
    return Axis(
        centre_mm=circle.centre_mm,
        u_centre_mm=np.sqrt(np.diag(turned)),
        direction=normal if normal[largest] > 0.0 else -normal,
        u_direction_rad=math.sqrt(float(np.linalg.eigvalsh(tilt[1:, 1:])[-1])),
        radius_mm=circle.radius_mm,
        u_radius_mm=math.sqrt(float(planar[2, 2])),
        covered_rad=covered,
        axial_play_mm=float(np.ptp(z)),
        roundness_mm=float(np.ptp(radial)),
        stops=len(stops),
    )


def counted_targets(
    stops: int, *, runout_mm: float | None, allowed_mm: float, is_indexed: bool
) -> int:
    """Return for how many fixed targets an axis target counts.

    Parameters
    ----------
    stops : int
        Its indexed stops, or 1.
    runout_mm : float or None
        How far its reflector is known to be off the axis; None if unknown.
    allowed_mm : float
        The runout that the budget holds.
    is_indexed : bool
        Whether each stop comes back to the same place; each is then a target of its
        own.

    Returns
    -------
    int
        One if it turns on the spot, the number of stops if they are indexed, else
        zero.

    Raises
    ------
    NotFinite, OutOfDomain
        If a length is no length.

    Examples
    --------
    >>> counted_targets(1, runout_mm=0.004, allowed_mm=0.01, is_indexed=False)
    1
    >>> counted_targets(1, runout_mm=None, allowed_mm=0.01, is_indexed=False)
    0
    """
    allowed = arrays.positive("allowed_mm", allowed_mm)
    if is_indexed:
        return stops
    if runout_mm is None:
        return 0
    return int(arrays.non_negative("runout_mm", runout_mm) <= allowed)


def _covered(angles: Array) -> float:
    """Return the turn less the largest gap between neighbouring stops."""
    ordered = np.sort(np.mod(angles, 2.0 * np.pi))
    gaps = np.diff(np.append(ordered, ordered[0] + 2.0 * np.pi))
    return float(2.0 * np.pi - gaps.max())


def _raised(u: float, residuals: Array, degrees: int) -> float:
    """Return the standard uncertainty of a stop, raised where the residuals are."""
    return max(u, math.sqrt(float(residuals @ residuals) / max(degrees, 1)))
