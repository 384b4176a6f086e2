"""What stands between two points: rays against triangles.

Embree answers where it is installed; there is no build of it for some processors, so
that a tree of boxes in NumPy gives the same answers there, more slowly. Both compare
the *distance*: what stands behind the eye blocks nothing.

Embree computes in single precision, so that meshes are moved to their middle first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lab.metrology.deviation.tree import Tree
from lab.metrology.meshes import Mesh

try:
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene
except ImportError:  # pragma: no cover - depends on the processor
    EmbreeScene = None

__all__ = ["HAS_EMBREE", "NOTHING", "Blockers", "Hits"]

Array = NDArray[np.float64]

HAS_EMBREE = EmbreeScene is not None
NOTHING = -1
_BLOCK = 20_000  # rays taken down the tree together


@dataclass(frozen=True, slots=True, eq=False)
class Hits:
    """What rays meet first.

    `triangles` (N,), -1 where nothing; `distances_mm` (N,), infinite there.
    """

    triangles: NDArray[np.intp]
    distances_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class Blockers:
    """Meshes made ready for many rays; build them once with `Blockers.of`."""

    corners: Array
    origin_mm: Array
    size_mm: float
    scene: Any
    tree: Tree | None

    @classmethod
    def of(cls, meshes: Sequence[Mesh], *, with_embree: bool = True) -> Blockers:
        """Prepare meshes; none at all block nothing."""
        listed = [mesh.vertices_mm[mesh.triangles] for mesh in meshes]
        corners = np.concatenate(listed) if listed else np.zeros((0, 3, 3))
        if len(corners) == 0:
            return cls(corners, np.zeros(3), 0.0, None, None)
        low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
        origin = 0.5 * (low + high)
        size = float(np.linalg.norm(high - low))
        if with_embree and HAS_EMBREE:
            scene = EmbreeScene()
            TriangleMesh(scene, (corners - origin).astype(np.float32))
            return cls(corners, origin, size, scene, None)
        return cls(corners, origin, size, None, Tree.over(corners - origin))

    def block(self, starts_mm: Array, ends_mm: Array) -> NDArray[np.bool_]:
        """Say which lines from starts to ends are blocked, shape (N,)."""
        if len(self.corners) == 0 or len(starts_mm) == 0:
            return np.zeros(len(starts_mm), dtype=bool)
        ahead = ends_mm - starts_mm
        if self.scene is not None:
            # Directions as long as the lines: the farthest that counts is then 1.
            found = self.scene.run(
                (starts_mm - self.origin_mm).astype(np.float32),
                ahead.astype(np.float32),
                dists=np.ones(len(ahead), dtype=np.float32),
                query="OCCLUDED",
            )
            return np.asarray(found != NOTHING)
        lengths = np.linalg.norm(ahead, axis=1)
        ahead = ahead / np.where(lengths > 0.0, lengths, 1.0)[:, np.newaxis]
        hits = self._walk(starts_mm - self.origin_mm, ahead, lengths)
        return np.asarray(hits.triangles != NOTHING)

    def first_hits(self, starts_mm: Array, ahead: Array) -> Hits:
        """Return what rays with unit directions meet first."""
        count = len(starts_mm)
        if len(self.corners) == 0 or count == 0:
            nothing = np.full(count, NOTHING, dtype=np.intp)
            return Hits(nothing, np.full(count, np.inf))
        local = starts_mm - self.origin_mm
        if self.scene is None:
            return self._walk(local, ahead, np.full(count, np.inf))
        found = self.scene.run(local.astype(np.float32), ahead.astype(np.float32))
        triangles = np.asarray(found, dtype=np.intp)
        # The distance anew in double precision, from the triangle that was met.
        distances = np.full(count, np.inf)
        met = np.flatnonzero(triangles != NOTHING)
        corners = self.corners[triangles[met]] - self.origin_mm
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        facing = np.einsum("ij,ij->i", normal, ahead[met])
        apart = np.einsum("ij,ij->i", corners[:, 0] - local[met], normal)
        distances[met] = apart / np.where(facing != 0.0, facing, 1e-300)
        return Hits(triangles, distances)

    def _walk(self, starts: Array, ahead: Array, reach: Array) -> Hits:
        """Take rays down the tree of boxes, and measure the triangles at its leaves."""
        count = len(starts)
        triangles = np.full(count, NOTHING, dtype=np.intp)
        distances = np.full(count, np.inf)
        for start in range(0, count, _BLOCK):
            block = slice(start, start + _BLOCK)
            found = _nearest_hits(self.tree, starts[block], ahead[block], reach[block])
            triangles[block], distances[block] = found.triangles, found.distances_mm
        return Hits(triangles, distances)


def _nearest_hits(tree: Tree | None, starts: Array, ahead: Array, reach: Array) -> Hits:
    triangles = np.full(len(starts), NOTHING, dtype=np.intp)
    distances = np.full(len(starts), np.inf)
    if tree is None:
        return Hits(triangles, distances)
    ray, triangle = _candidates(tree, starts, ahead, reach)
    met = _meet(tree, triangle, starts[ray], ahead[ray])
    good = np.flatnonzero(met <= reach[ray])
    ray, triangle, met = ray[good], triangle[good], met[good]
    order = np.lexsort((met, ray))
    winners, first = np.unique(ray[order], return_index=True)
    triangles[winners] = triangle[order[first]]
    distances[winners] = met[order[first]]
    return Hits(triangles, distances)


def _candidates(
    tree: Tree, starts: Array, ahead: Array, reach: Array
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return pairs of a ray and a triangle whose leaf's box it enters."""
    with np.errstate(divide="ignore"):
        slowness = 1.0 / ahead
    ray = np.arange(len(starts), dtype=np.intp)
    node = np.zeros(len(starts), dtype=np.intp)
    for level, (low, high) in enumerate(zip(tree.lows, tree.highs, strict=True)):
        if level > 0:
            node = ((node << 2)[:, np.newaxis] + np.arange(4)).ravel()
            ray = np.repeat(ray, 4)
        enter, leave = np.zeros(len(ray)), reach[ray].copy()
        for axis in range(3):
            with np.errstate(invalid="ignore"):
                near = (low[axis][node] - starts[ray, axis]) * slowness[ray, axis]
                far = (high[axis][node] - starts[ray, axis]) * slowness[ray, axis]
            # A ray within the plane of a face of the box gives NaN: it is inside.
            enter = np.fmax(enter, np.fmin(near, far))
            leave = np.fmin(leave, np.fmax(near, far))
        inside = np.flatnonzero(enter <= leave * (1.0 + 1e-12) + 1e-9)
        ray, node = ray[inside], node[inside]
    sizes = np.diff(tree.starts)[node]
    within = np.arange(int(sizes.sum())) - np.repeat(np.cumsum(sizes) - sizes, sizes)
    return (
        np.repeat(ray, sizes),
        tree.order[np.repeat(tree.starts[node], sizes) + within],
    )


def _meet(tree: Tree, chosen: NDArray[np.intp], starts: Array, ahead: Array) -> Array:
    """Return how far along each ray its triangle is met, infinite if it isn't.

    As Möller and Trumbore (1997), J. Graphics Tools 2 (1), 21-28.
    """
    parts = tree.triangles
    first, second = parts.first[chosen], parts.second[chosen]
    across = np.cross(ahead, second)
    determinant = np.einsum("ij,ij->i", first, across)
    flat = np.abs(determinant) < 1e-14 * np.maximum(
        np.linalg.norm(first, axis=1) * np.linalg.norm(second, axis=1), 1e-300
    )
    inverse = 1.0 / np.where(flat, 1.0, determinant)
    away = starts - parts.corner[chosen]
    u = np.einsum("ij,ij->i", away, across) * inverse
    beside = np.cross(away, first)
    v = np.einsum("ij,ij->i", ahead, beside) * inverse
    distance = np.einsum("ij,ij->i", second, beside) * inverse
    good = ~flat & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (distance > 0.0)
    return np.where(good, distance, np.inf)
