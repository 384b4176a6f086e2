"""Which surface a hand-held line scanner can reach while the tracker sees it.

A point of the surface is reached if the scanner can be held at its stand-off from it,
in a direction within its own incidence limit, with nothing in between, and stands there
in the tracker's range, field of view and sight at some pose that sees enough. The
scanner is taken as a point that the tracker sees from all sides; its body and the hand
that holds it need room besides, so that what is found is the most that can be reached.

Directions are tried on rings about the normal. Points are drawn by area with a seed,
and one at least on every triangle that is asked for, so that shares are estimates:
their standard error is stated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.meshes import Mesh
from lab.metrology.views.trackers import Poses, Tracker
from lab.metrology.views.visibility import Surroundings

__all__ = ["Reach", "Scanner", "ShareReached", "reach_surface"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_RINGS = ((0.0, 1), (0.5, 6), (1.0, 10))  # share of the incidence limit, directions
_MOST_POINTS = 50_000


@dataclass(frozen=True, slots=True)
class Scanner:
    """A hand-held line scanner.

    Attributes
    ----------
    stand_off_mm : float
        From the surface to the scanner's own targets' middle, about which the tracker
        sees it.
    incidence_limit_rad : float
        Between the surface's normal and the direction to the scanner.
    """

    stand_off_mm: float
    incidence_limit_rad: float

    def __post_init__(self) -> None:
        """Refuse a scanner that stands nowhere or scans along the surface."""
        arrays.positive("stand_off_mm", self.stand_off_mm)
        limit = arrays.finite("incidence_limit_rad", self.incidence_limit_rad)
        if not 0.0 < limit < 0.5 * math.pi:
            raise OutOfDomain(
                f"incidence_limit_rad is {limit:g}; it must lie between 0 and a right "
                "angle."
            )


@dataclass(frozen=True, slots=True)
class ShareReached:
    """The part of a characteristic's surface that can be reached.

    `u_share` is the standard error of the estimate; `points` how many it rests on.
    """

    share: float
    u_share: float
    points: int


@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """What of the surface can be reached.

    Attributes
    ----------
    whole : ShareReached
        Of all faces asked for.
    by_characteristic : mapping of str to ShareReached
        As asked for.
    unreached_triangles : ndarray of int
        Triangles none of whose points can be reached from any pose.
    points_mm, triangles, reached : ndarray, shape (N, 3), (N,), (N,)
        The points that were tried, the triangles that they lie on, and whether each
        can be reached.
    poses_used : ndarray of bool, shape (P, N)
        Which pose can follow the scanner to which point.
    """

    whole: ShareReached
    by_characteristic: Mapping[str, ShareReached]
    unreached_triangles: Index
    points_mm: Array
    triangles: Index
    reached: NDArray[np.bool_]
    poses_used: NDArray[np.bool_]


def reach_surface(
    mesh: Mesh,
    scanner: Scanner,
    poses: Poses,
    tracker: Tracker,
    surroundings: Surroundings,
    *,
    characteristics: Mapping[str, Iterable[int]] | None = None,
    sees_enough: NDArray[np.bool_] | None = None,
    points: int = 2000,
    seed: int = 0,
) -> Reach:
    """Say how much of the surface can be scanned.

    Parameters
    ----------
    mesh : Mesh
        The part.
    scanner : Scanner
        Stand-off and incidence.
    poses, tracker, surroundings : Poses, Tracker, Surroundings
        As for `see_targets`.
    characteristics : mapping of str to iterable of int, optional
        Triangles of each; default the whole mesh, without names.
    sees_enough : ndarray of bool, shape (P,), optional
        Poses that can be used; default all.
    points : int
        How many are drawn, beside one for every triangle.
    seed : int
        Of the draw.

    Returns
    -------
    Reach

    Raises
    ------
    OutOfDomain
        If a triangle isn't there, or there are too many points.
    TooFew
        If there is nothing to reach.
    """
    # An iterator can be read once only.
    listed = {name: list(chosen) for name, chosen in (characteristics or {}).items()}
    asked = _asked(mesh, None if characteristics is None else listed)
    used = np.ones(len(poses), dtype=np.bool_)
    if sees_enough is not None:
        used &= sees_enough
    spots, triangles, normals, weights = _spots(mesh, asked, points, seed)
    follows = _follows(
        spots, normals, scanner, poses, tracker, surroundings, np.flatnonzero(used)
    )
    reached = np.asarray(follows.any(axis=0), dtype=np.bool_)
    shares = {
        name: _share(reached, weights, np.isin(triangles, chosen))
        for name, chosen in listed.items()
    }
    best = np.zeros(len(mesh.triangles), dtype=bool)
    best[triangles[reached]] = True
    return Reach(
        whole=_share(reached, weights, np.ones(len(reached), dtype=bool)),
        by_characteristic=shares,
        unreached_triangles=np.setdiff1d(asked, np.flatnonzero(best)),
        points_mm=spots,
        triangles=triangles,
        reached=reached,
        poses_used=follows,
    )


def _asked(mesh: Mesh, characteristics: Mapping[str, list[int]] | None) -> Index:
    if characteristics is None:
        return np.arange(len(mesh.triangles), dtype=np.intp)
    listed = sorted({index for chosen in characteristics.values() for index in chosen})
    if not listed:
        raise TooFew("No characteristic has a face to reach.")
    if listed[0] < 0 or listed[-1] >= len(mesh.triangles):
        raise OutOfDomain(f"The mesh has no triangle {listed[-1]}.")
    return np.array(listed, dtype=np.intp)


def _spots(
    mesh: Mesh, asked: Index, points: int, seed: int
) -> tuple[Array, Index, Array, Array]:
    """Return points on the triangles asked for, with the area that each stands for."""
    if points < 1 or points + len(asked) > _MOST_POINTS:
        raise OutOfDomain(
            f"{points} points and one on each of {len(asked):,} triangles; they must "
            f"be from 1 to {_MOST_POINTS:,} together. Ask for fewer faces."
        )
    corners = mesh.vertices_mm[mesh.triangles[asked]]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = 0.5 * np.linalg.norm(across, axis=1)
    if not np.any(areas > 0.0):
        raise TooFew("The faces asked for have no area.")
    random = np.random.default_rng(seed)
    drawn = random.choice(len(asked), size=points, p=areas / areas.sum())
    chosen = np.concatenate([np.arange(len(asked)), drawn])
    inner = random.dirichlet([1.0, 1.0, 1.0], len(chosen))
    spots = np.einsum("ni,nij->nj", inner, corners[chosen])
    count = np.bincount(chosen, minlength=len(asked))
    lengths = np.where(areas > 0.0, 2.0 * areas, 1.0)
    return (
        spots,
        asked[chosen],
        across[chosen] / lengths[chosen, np.newaxis],
        areas[chosen] / count[chosen],
    )


def _follows(
    spots: Array,
    normals: Array,
    scanner: Scanner,
    poses: Poses,
    tracker: Tracker,
    surroundings: Surroundings,
    usable: Index,
) -> NDArray[np.bool_]:
    """Return which pose can follow the scanner to which point, (P, N)."""
    found = np.zeros((len(poses), len(spots)), dtype=bool)
    starts = spots + surroundings.lift_mm * normals
    for direction in _directions(normals, scanner.incidence_limit_rad):
        places = spots + scanner.stand_off_mm * direction
        free = np.flatnonzero(~surroundings.part.block(starts, places))
        if len(free) == 0:
            continue
        inside = tracker.contains(poses.seen_from(places[free]))
        # What one direction reached from a pose needs no other direction.
        inside &= ~found[:, free]
        pose, index = np.nonzero(inside)
        chosen = np.isin(pose, usable)
        pose, spot = pose[chosen], free[index[chosen]]
        # The line to the scanner may cross the room's obstacles at that pose too.
        hidden = surroundings.hide(places[spot], poses, pose)
        if len(surroundings.room.corners):
            hidden |= surroundings.room.block(
                poses.in_room(starts[spot], pose), poses.in_room(places[spot], pose)
            )
        found[pose[~hidden], spot[~hidden]] = True
    return found


def _directions(normals: Array, limit: float) -> list[Array]:
    """Return directions on rings about each normal, each shape (N, 3)."""
    helper = np.where(
        np.abs(normals[:, :1]) < 0.9, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]]
    )
    first = np.cross(normals, helper)
    first /= np.maximum(np.linalg.norm(first, axis=1, keepdims=True), 1e-300)
    second = np.cross(normals, first)
    found = []
    for share, count in _RINGS:
        tilt = share * limit
        for angle in 2.0 * np.pi * np.arange(count) / count:
            side = math.cos(angle) * first + math.sin(angle) * second
            found.append(math.cos(tilt) * normals + math.sin(tilt) * side)
    return found


def _share(
    reached: NDArray[np.bool_], weights: Array, chosen: NDArray[np.bool_]
) -> ShareReached:
    weight = weights[chosen]
    total = float(weight.sum())
    if total <= 0.0:
        return ShareReached(0.0, 0.0, int(chosen.sum()))
    share = float((weight * reached[chosen]).sum()) / total
    effective = total**2 / float((weight**2).sum())
    spread = math.sqrt(max(share * (1.0 - share), 0.0) / effective)
    return ShareReached(share, spread, int(chosen.sum()))
