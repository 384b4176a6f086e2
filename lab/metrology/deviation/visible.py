"""Which triangle is seen at each pixel of a parallel projection.

One ray a pixel, traced by Embree where it is installed. Where it isn't (there is no
build for some processors), triangles are drawn one by one into a depth buffer: the
same answer but for pixels on an edge, and slower.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain

try:
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene
except ImportError:  # pragma: no cover - depends on the processor
    EmbreeScene = None

__all__ = ["NOTHING", "View", "look_along", "seen_by_depth_buffer", "seen_by_rays"]

NOTHING = -1


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """A parallel projection onto pixels.

    Rows of `basis` are right, down and ahead in the frame of the mesh. `corner_mm` is
    the middle of the top left pixel, in those coordinates, before the mesh.
    """

    basis: NDArray[np.float64]
    corner_mm: NDArray[np.float64]
    pixel_mm: float
    width: int
    height: int

    def centres(self) -> NDArray[np.float64]:
        """Return the middles of the pixels in the frame of the mesh, row by row."""
        column, row = np.meshgrid(np.arange(self.width), np.arange(self.height))
        local = np.empty((self.width * self.height, 3))
        local[:, 0] = self.corner_mm[0] + column.ravel() * self.pixel_mm
        local[:, 1] = self.corner_mm[1] + row.ravel() * self.pixel_mm
        local[:, 2] = self.corner_mm[2]
        return np.asarray(local @ self.basis, dtype=np.float64)


def look_along(
    vertices_mm: NDArray[np.float64],
    direction: ArrayLike,
    up: ArrayLike,
    width: int,
    height: int,
) -> View:
    """Return the view along a direction that just holds all vertices.

    Raises
    ------
    BadShape, NotFinite
        If the directions aren't vectors of three numbers.
    OutOfDomain
        If one has no length, or they are parallel.
    """
    ahead = _unit("direction", direction)
    upward = _unit("up", up)
    right = np.cross(ahead, upward)
    if np.linalg.norm(right) < 1e-6:
        raise OutOfDomain("direction and up are parallel: the picture has no top.")
    right /= np.linalg.norm(right)
    basis = np.vstack([right, np.cross(ahead, right), ahead])
    local = vertices_mm @ basis.T
    low, high = local.min(axis=0), local.max(axis=0)
    span = np.maximum(high - low, 1e-9 * float(np.abs(high - low).max()))
    pixel = 1.04 * max(float(span[0]) / width, float(span[1]) / height)
    middle = 0.5 * (low + high)
    corner = np.array(
        [
            middle[0] - 0.5 * pixel * (width - 1),
            middle[1] - 0.5 * pixel * (height - 1),
            low[2] - max(float(span[2]), pixel),
        ]
    )
    return View(basis, corner, pixel, width, height)


def seen_by_rays(corners: NDArray[np.float64], view: View) -> NDArray[np.intp]:
    """Return the triangle seen at each pixel, shape (height · width,), or NOTHING."""
    if EmbreeScene is None:  # pragma: no cover - depends on the processor
        return seen_by_depth_buffer(corners, view)
    # Embree computes in single precision: near the origin it has digits to spare.
    origin = corners.reshape(-1, 3).mean(axis=0)
    scene = EmbreeScene()
    TriangleMesh(scene, (corners - origin).astype(np.float32))
    starts = (view.centres() - origin).astype(np.float32)
    ahead = np.tile(view.basis[2].astype(np.float32), (len(starts), 1))
    return np.asarray(scene.run(starts, ahead), dtype=np.intp)


def seen_by_depth_buffer(corners: NDArray[np.float64], view: View) -> NDArray[np.intp]:
    """Return what `seen_by_rays` does, without Embree."""
    local = corners @ view.basis.T
    flat = (local[:, :, :2] - view.corner_mm[:2]) / view.pixel_mm
    first, second = flat[:, 1] - flat[:, 0], flat[:, 2] - flat[:, 0]
    area = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    limits = np.array([view.width, view.height]) - 1
    low = np.clip(np.ceil(flat.min(axis=1)), 0, limits + 1).astype(np.intp)
    high = np.clip(np.floor(flat.max(axis=1)), -1, limits).astype(np.intp)
    depth = np.full((view.height, view.width), math.inf)
    seen = np.full((view.height, view.width), NOTHING, dtype=np.intp)
    drawn = np.flatnonzero((area != 0.0) & np.all(low <= high, axis=1))
    for triangle in drawn:
        (left, top), (right, bottom) = low[triangle], high[triangle]
        x = np.arange(left, right + 1) - flat[triangle, 0, 0]
        y = np.arange(top, bottom + 1)[:, np.newaxis] - flat[triangle, 0, 1]
        u = (x * second[triangle, 1] - y * second[triangle, 0]) / area[triangle]
        v = (y * first[triangle, 0] - x * first[triangle, 1]) / area[triangle]
        z = local[triangle, :, 2]
        here = z[0] + u * (z[1] - z[0]) + v * (z[2] - z[0])
        window = slice(top, bottom + 1), slice(left, right + 1)
        nearer = (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (here < depth[window])
        depth[window][nearer] = here[nearer]
        seen[window][nearer] = triangle
    return seen.ravel()


def _unit(name: str, value: ArrayLike) -> NDArray[np.float64]:
    vector = arrays.vector(name, value, minimum=3)[:3]
    length = float(np.linalg.norm(vector))
    if length == 0.0:
        raise OutOfDomain(f"{name} has no length; it must point somewhere.")
    return vector / length
