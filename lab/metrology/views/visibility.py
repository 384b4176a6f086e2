"""Which target is seen from which pose, and if not, why not.

In this order, the cheap questions first: in range; in the field of view; turned to the
tracker by no more than the incidence limit (an axis target turns to face it as far as
its axis lets it); and nothing in between. The line of sight starts lifted off the
surface along the target's normal, by what single precision and the mesh's own noise
make uncertain, or a target on a facet would hide behind the facet that it lies on.

Obstacles of the part (the part, its fixture, what turns with them on a table) are in
the part's frame; those of the room (a person, a pillar) stand still when the part
turns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from lab.metrology import arrays
from lab.metrology.meshes import Mesh
from lab.metrology.views.rays import Blockers
from lab.metrology.views.trackers import PlannedTargets, Poses, Tracker

__all__ = ["Reason", "Surroundings", "Visibility", "see_targets", "surround"]

Array = NDArray[np.float64]

_LEAST_LIFT = 1e-6  # of the size of the mesh: what single precision leaves
_NOISES = 3.0
_PAIRS = 16_000  # of a pose and a target, looked at together


class Reason(IntEnum):
    """Why a target isn't seen from a pose."""

    SEEN = 0
    OUT_OF_RANGE = 1
    OUT_OF_VIEW = 2
    TURNED_AWAY = 3
    HIDDEN = 4


@dataclass(frozen=True, slots=True, eq=False)
class Surroundings:
    """What can stand between, with the lift that lines of sight start with."""

    part: Blockers
    room: Blockers
    lift_mm: float

    def hide(
        self, starts_mm: Array, poses: Poses, pose: NDArray[np.intp]
    ) -> NDArray[np.bool_]:
        """Say which points of the part are hidden from their poses, shape (N,)."""
        places = poses.places_mm[pose]
        hidden = self.part.block(starts_mm, places)
        if len(self.room.corners):
            left = np.flatnonzero(~hidden)
            hidden[left] = self.room.block(
                poses.in_room(starts_mm[left], pose[left]),
                poses.in_room(places[left], pose[left]),
            )
        return hidden


def surround(
    part: Sequence[Mesh],
    room: Sequence[Mesh] = (),
    *,
    mesh_noise_mm: float = 0.02,
    with_embree: bool = True,
) -> Surroundings:
    """Prepare what can stand in the way.

    Parameters
    ----------
    part : sequence of Mesh
        The part, its fixture, and what moves with them, in the part's frame.
    room : sequence of Mesh
        Obstacles that stand in the room.
    mesh_noise_mm : float
        How far the mesh lies off the surface, or targets off the mesh.
    with_embree : bool
        False takes the slower search even where Embree is installed.

    Returns
    -------
    Surroundings

    Raises
    ------
    NotFinite, OutOfDomain
        If the noise is no length.
    """
    noise = arrays.non_negative("mesh_noise_mm", mesh_noise_mm)
    blockers = Blockers.of(part, with_embree=with_embree)
    return Surroundings(
        blockers,
        Blockers.of(room, with_embree=with_embree),
        max(_LEAST_LIFT * blockers.size_mm, _NOISES * noise, 1e-3),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Visibility:
    """Which target is seen from which pose.

    Attributes
    ----------
    seen : ndarray of bool, shape (P, N)
        By pose and target.
    reasons : ndarray of int, shape (P, N)
        The first `Reason` that keeps it from being seen.
    cosine : ndarray, shape (P, N)
        Of the incidence.
    lift_mm : float
        What lines of sight started with.
    """

    seen: NDArray[np.bool_]
    reasons: NDArray[np.int8]
    cosine: Array
    lift_mm: float

    @property
    def incidence_rad(self) -> Array:
        """Return the angles between faces and lines of sight, shape (P, N)."""
        return np.asarray(np.arccos(np.clip(self.cosine, -1.0, 1.0)))


def see_targets(
    targets: PlannedTargets,
    poses: Poses,
    tracker: Tracker,
    surroundings: Surroundings,
) -> Visibility:
    """Say which targets are seen from which poses.

    Parameters
    ----------
    targets : PlannedTargets
        N targets or sites in the part's frame.
    poses : Poses
        P poses in the part's frame.
    tracker : Tracker
        Range, field of view, incidence limit.
    surroundings : Surroundings
        What can stand in the way.

    Returns
    -------
    Visibility

    Examples
    --------
    >>> from lab.metrology.frames import Noise
    >>> from lab.metrology.views.trackers import plan_targets, poses_looking_at
    >>> tracker = Tracker(500, 4000, 0.5, 0.4, 1.0, Noise(0.01, 0.02))
    >>> targets = plan_targets(
    ...     ["A", "B"], [[0, 0, 0], [9, 0, 0]], [[0, -1, 0], [0, 1, 0]]
    ... )
    >>> poses = poses_looking_at([[0, -2000, 0]], [0, 0, 0])
    >>> found = see_targets(targets, poses, tracker, surround([]))
    >>> found.seen.tolist(), Reason(found.reasons[0, 1]).name
    ([[True, False]], 'TURNED_AWAY')
    """
    reasons, cosine = _before_rays(targets, poses, tracker)
    # Far faster than asking for rows and columns.
    pose, target = np.divmod(
        np.flatnonzero(reasons == Reason.SEEN), max(len(targets), 1)
    )
    lifted = targets.points_mm + surroundings.lift_mm * targets.directions
    starts = lifted[target]
    turning = np.flatnonzero(targets.turns[target])
    if len(turning):
        # Towards the pose, for there is no facet that an axis target lies on.
        start = targets.points_mm[target[turning]]
        away = poses.places_mm[pose[turning]] - start
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        starts[turning] = start + surroundings.lift_mm * away
    hidden = surroundings.hide(starts, poses, pose)
    reasons[pose[hidden], target[hidden]] = Reason.HIDDEN
    return Visibility(reasons == Reason.SEEN, reasons, cosine, surroundings.lift_mm)


def _before_rays(
    targets: PlannedTargets, poses: Poses, tracker: Tracker
) -> tuple[NDArray[np.int8], Array]:
    """Return what range, view and incidence say, and the cosine of the incidence.

    All pairs at once by products of matrices, some poses at a time, for what fits the
    processor's cache is several times faster.
    """
    count = len(poses)
    reasons = np.empty((count, len(targets)), dtype=np.int8)
    cosine = np.empty((count, len(targets)))
    points = np.ascontiguousarray(targets.points_mm.T)
    faces = np.ascontiguousarray(targets.directions.T)
    heights = np.einsum("kn,kn->n", points, faces)
    turning = np.flatnonzero(targets.turns)
    block = max(1, _PAIRS // max(len(targets), 1))
    for start in range(0, count, block):
        some = slice(start, start + block)
        places = poses.places_mm[some]
        x, y, z = (
            axes @ points - np.einsum("pk,pk->p", axes, places)[:, np.newaxis]
            for axes in np.moveaxis(poses.rotations_part_tracker[some], 2, 0)
        )
        ranges = np.sqrt(x * x + y * y + z * z)
        facing = (places @ faces - heights) / np.maximum(ranges, 1e-300)
        if len(turning):
            # The face turns about its axis until only the tilt along it is left.
            along = np.clip(facing[:, turning], -1.0, 1.0)
            facing[:, turning] = np.sqrt(1.0 - along * along)
        cosine[some] = facing
        reasons[some] = _first_reason(x, y, z, ranges, facing, tracker)
    return reasons, cosine


def _first_reason(
    x: Array, y: Array, z: Array, ranges: Array, facing: Array, tracker: Tracker
) -> NDArray[np.int8]:
    turned = facing < math.cos(tracker.incidence_limit_rad)
    inside = np.abs(x) <= z * math.tan(tracker.half_width_rad)
    inside &= np.abs(y) <= z * math.tan(tracker.half_height_rad)
    inside &= z > 0.0
    near = (ranges >= tracker.nearest_mm) & (ranges <= tracker.farthest_mm)
    reasons = turned * np.int8(Reason.TURNED_AWAY)
    reasons[~inside] = Reason.OUT_OF_VIEW
    reasons[~near] = Reason.OUT_OF_RANGE
    return reasons
