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
    incidence_rad : ndarray, shape (P, N)
        Between the face and the line of sight.
    lift_mm : float
        What lines of sight started with.
    """

    seen: NDArray[np.bool_]
    reasons: NDArray[np.int8]
    incidence_rad: Array
    lift_mm: float


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
    away = poses.places_mm[:, np.newaxis] - targets.points_mm[np.newaxis]
    ranges = np.linalg.norm(away, axis=2)
    sight = away / np.where(ranges > 0.0, ranges, 1.0)[:, :, np.newaxis]
    faces = _faces(targets, sight)
    cosine = np.clip(np.einsum("pnk,pnk->pn", faces, sight), -1.0, 1.0)
    reasons = np.zeros(ranges.shape, dtype=np.int8)
    reasons[cosine < math.cos(tracker.incidence_limit_rad)] = Reason.TURNED_AWAY
    inside = tracker.contains(poses.seen_from(targets.points_mm))
    reasons[~inside] = Reason.OUT_OF_VIEW
    far = (ranges < tracker.nearest_mm) | (ranges > tracker.farthest_mm)
    reasons[far] = Reason.OUT_OF_RANGE
    pose, target = np.nonzero(reasons == Reason.SEEN)
    starts = targets.points_mm[target] + surroundings.lift_mm * faces[pose, target]
    hidden = surroundings.hide(starts, poses, pose)
    reasons[pose[hidden], target[hidden]] = Reason.HIDDEN
    return Visibility(
        reasons == Reason.SEEN, reasons, np.arccos(cosine), surroundings.lift_mm
    )


def _faces(targets: PlannedTargets, sight: Array) -> Array:
    """Return where the face of each target looks at each pose, (P, N, 3)."""
    faces = np.broadcast_to(targets.directions, sight.shape).copy()
    turning = np.flatnonzero(targets.turns)
    if len(turning):
        axes = targets.directions[turning]
        along = np.einsum("pnk,nk->pn", sight[:, turning], axes)
        across = sight[:, turning] - along[:, :, np.newaxis] * axes
        lengths = np.linalg.norm(across, axis=2, keepdims=True)
        # Seen straight along its axis, a face beside the axis shows only its edge.
        faces[:, turning] = across / np.where(lengths > 1e-12, lengths, 1.0)
    return faces
