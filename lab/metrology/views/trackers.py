"""Trackers, poses and targets as a plan states them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from lab.metrology import arrays
from lab.metrology.errors import BadShape, Degenerate, OutOfDomain
from lab.metrology.frames import Noise

__all__ = ["PlannedTargets", "Poses", "Tracker", "plan_targets", "poses_looking_at"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tracker:
    """What a tracker can see. It looks along its positive z axis; x is to the right.

    Attributes
    ----------
    nearest_mm, farthest_mm : float
        Its range, from its origin.
    half_width_rad, half_height_rad : float
        Its field of view, from the middle to the edge.
    incidence_limit_rad : float
        Between a target's normal and the line of sight; below a right angle.
    noise : Noise
        Of a seen target.
    """

    nearest_mm: float
    farthest_mm: float
    half_width_rad: float
    half_height_rad: float
    incidence_limit_rad: float
    noise: Noise

    def __post_init__(self) -> None:
        """Refuse a tracker that sees nothing."""
        near = arrays.non_negative("nearest_mm", self.nearest_mm)
        if near >= arrays.positive("farthest_mm", self.farthest_mm):
            raise OutOfDomain(
                f"The range is upside down: nearest_mm is {near:g}, farthest_mm "
                f"{self.farthest_mm:g}."
            )
        for name, angle in (
            ("half_width_rad", self.half_width_rad),
            ("half_height_rad", self.half_height_rad),
            ("incidence_limit_rad", self.incidence_limit_rad),
        ):
            if not 0.0 < arrays.finite(name, angle) < 0.5 * math.pi:
                raise OutOfDomain(
                    f"{name} is {angle:g}; it must lie between 0 and a right angle."
                )

    def contains(self, points_tracker_mm: Array) -> NDArray[np.bool_]:
        """Say which points are in range and in the field of view, (…, 3) → (…)."""
        x, y, z = np.moveaxis(points_tracker_mm, -1, 0)
        ranges = np.sqrt(x * x + y * y + z * z)
        near = (ranges >= self.nearest_mm) & (ranges <= self.farthest_mm)
        wide = np.abs(x) <= z * math.tan(self.half_width_rad)
        high = np.abs(y) <= z * math.tan(self.half_height_rad)
        return np.asarray(near & wide & high & (z > 0.0))


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """Poses of the tracker in the part's frame.

    Attributes
    ----------
    names : tuple of str, length P
        In the order in which they will be taken.
    places_mm : ndarray, shape (P, 3)
        Of the tracker's origin.
    rotations_part_tracker : ndarray, shape (P, 3, 3)
        Directions of the tracker into the part's frame; the third column is where
        it looks.
    rotations_room_part, places_room_mm : ndarray, shape (P, 3, 3), (P, 3)
        The part in the room at each pose, for obstacles that stand in the room:
        ``room = rotation @ part + place``. The part stands still by default.
    """

    names: tuple[str, ...]
    places_mm: Array
    rotations_part_tracker: Array
    rotations_room_part: Array
    places_room_mm: Array

    def __len__(self) -> int:
        """Return the number of poses."""
        return len(self.names)

    def seen_from(self, points_mm: Array) -> Array:
        """Return points of the part in the tracker's frame of every pose, (P, N, 3)."""
        away = points_mm[np.newaxis] - self.places_mm[:, np.newaxis]
        return np.asarray(away @ self.rotations_part_tracker)

    def in_room(self, points_mm: Array, pose: NDArray[np.intp]) -> Array:
        """Return points of the part in the room at their poses, shape (N, 3)."""
        turned = np.einsum("nij,nj->ni", self.rotations_room_part[pose], points_mm)
        return np.asarray(turned + self.places_room_mm[pose])

    def on_table(
        self, angles_rad: ArrayLike, axis: ArrayLike, centre_mm: ArrayLike
    ) -> Poses:
        """Return every pose at every angle of a table that turns the part.

        Turning the part by an angle about the table's axis turns the tracker the
        other way in the part's frame, and leaves the room where it is.

        Raises
        ------
        BadShape, NotFinite, TooFew, Degenerate
            If the angles or the axis can't be used.
        """
        angles = arrays.vector("angles_rad", angles_rad)
        about = _unit("axis", axis)
        centre = arrays.points("centre_mm", np.asarray(centre_mm)[np.newaxis])[0]
        turns = Rotation.from_rotvec(np.outer(angles, about)).as_matrix()
        back = np.swapaxes(turns, 1, 2)
        away = self.places_mm - centre
        places = np.einsum("aij,pj->pai", back, away) + centre
        turned = np.einsum("aij,pjk->paik", back, self.rotations_part_tracker)
        count = len(self) * len(angles)
        return Poses(
            tuple(
                f"{name} at {math.degrees(angle):g}°"
                for name in self.names
                for angle in angles
            ),
            places.reshape(count, 3),
            turned.reshape(count, 3, 3),
            np.tile(turns, (len(self), 1, 1)),
            np.tile(centre - np.einsum("aij,j->ai", turns, centre), (len(self), 1)),
        )


def poses_looking_at(
    places_mm: ArrayLike,
    towards_mm: ArrayLike,
    *,
    up: ArrayLike = (0.0, 0.0, 1.0),
    names: Sequence[str] | None = None,
) -> Poses:
    """Return poses of a tracker that stands level and looks at a point.

    Parameters
    ----------
    places_mm : array_like, shape (P, 3)
        Where the tracker stands, in the part's frame.
    towards_mm : array_like, shape (3,)
        Where it looks.
    up : array_like, shape (3,)
        What is up; the tracker's y axis points down.
    names : sequence of str, optional
        Default "1", "2", …

    Returns
    -------
    Poses

    Raises
    ------
    BadShape, NotFinite, TooFew
        If the places aren't points.
    Degenerate
        If a tracker stands at the point, or looks straight up or down.

    Examples
    --------
    >>> poses = poses_looking_at([[0, -2000, 0]], [0, 0, 0])
    >>> poses.rotations_part_tracker[0].round(9).tolist()
    [[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]
    """
    places = arrays.points("places_mm", places_mm)
    towards = arrays.points("towards_mm", np.asarray(towards_mm)[np.newaxis])[0]
    upward = _unit("up", up)
    ahead = towards - places
    lengths = np.linalg.norm(ahead, axis=1, keepdims=True)
    right = np.cross(ahead / np.where(lengths > 0.0, lengths, 1.0), upward)
    sideways = np.linalg.norm(right, axis=1, keepdims=True)
    if np.any(lengths == 0.0) or np.any(sideways < 1e-6):
        raise Degenerate(
            f"Pose {int(np.argmin(sideways)) + 1} looks straight up or down, or stands "
            "at the point that it looks at: state its rotation."
        )
    ahead, right = ahead / lengths, right / sideways
    rotations = np.stack([right, np.cross(ahead, right), ahead], axis=2)
    count = len(places)
    given = tuple(names) if names is not None else tuple(map(str, range(1, count + 1)))
    if len(given) != count:
        raise BadShape(f"There are {count} poses but {len(given)} names.")
    return Poses(
        given,
        places,
        rotations,
        np.tile(np.eye(3), (count, 1, 1)),
        np.zeros((count, 3)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class PlannedTargets:
    """Targets, or sites for targets, on the part.

    `directions` (N, 3) are the normals of flat targets, or the axes of axis targets
    (`turns` is true), whose face turns to the tracker as far as it can.
    """

    names: tuple[str, ...]
    points_mm: Array
    directions: Array
    turns: NDArray[np.bool_]

    def __len__(self) -> int:
        """Return the number of targets."""
        return len(self.names)

    def and_also(self, others: PlannedTargets) -> PlannedTargets:
        """Return these targets, then the others."""
        return PlannedTargets(
            self.names + others.names,
            np.vstack([self.points_mm, others.points_mm]),
            np.vstack([self.directions, others.directions]),
            np.concatenate([self.turns, others.turns]),
        )


def plan_targets(
    names: Sequence[str],
    points_mm: ArrayLike,
    directions: ArrayLike,
    *,
    turns: Sequence[bool] | None = None,
) -> PlannedTargets:
    """Gather targets of a layout.

    Parameters
    ----------
    names : sequence of str, length N
        Each once.
    points_mm, directions : array_like, shape (N, 3)
        Where they are and where they face, or about which axis they turn.
    turns : sequence of bool, optional
        Which are axis targets, whose face is parallel to their axis.

    Returns
    -------
    PlannedTargets

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If they don't fit together, or a direction has no length.

    Examples
    --------
    >>> len(plan_targets(["A"], [[0, 0, 0]], [[0, 0, 2]]))
    1
    """
    listed = tuple(names)
    places = arrays.points("points_mm", points_mm, minimum=0)
    faces = arrays.points("directions", directions, minimum=0)
    turning = np.zeros(len(listed), dtype=bool)
    if turns is not None:
        turning = np.asarray(list(turns), dtype=bool)
    if not len(listed) == len(places) == len(faces) == len(turning):
        raise BadShape(
            f"There are {len(listed)} names, {len(places)} points, {len(faces)} "
            f"directions and {len(turning)} kinds; they must be equally many."
        )
    if len(set(listed)) != len(listed):
        raise BadShape("Two targets have the same name.")
    lengths = np.linalg.norm(faces, axis=1, keepdims=True)
    if np.any(lengths == 0.0):
        name = listed[int(np.argmin(lengths))]
        raise OutOfDomain(f"The direction of target {name} has no length.")
    return PlannedTargets(listed, places, faces / lengths, turning)


def _unit(name: str, value: ArrayLike) -> Array:
    given = arrays.points(name, np.asarray(value)[np.newaxis])[0]
    length = float(np.linalg.norm(given))
    if length == 0.0:
        raise Degenerate(f"{name} has no length; it must point somewhere.")
    return np.asarray(given / length)
