"""Points of interest: where it matters how well the part's pose is known.

The characteristics' own places where they are known, by the faces that they are on;
else the corners of the part's box. Only extremes matter, for the standard deviation of
a body's pose grows outward: of many points the corners of their convex hull are kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError

from lab.metrology.errors import OutOfDomain
from lab.metrology.meshes import Mesh

__all__ = ["points_of_interest"]

Array = NDArray[np.float64]

_MOST = 24


def points_of_interest(
    mesh: Mesh, characteristics: Mapping[str, Iterable[int]] | None = None
) -> Array:
    """Return the points at which a pose is judged.

    Parameters
    ----------
    mesh : Mesh
        The part.
    characteristics : mapping of str to iterable of int, optional
        The triangles of each characteristic. Default: the corners of the part's box.

    Returns
    -------
    points_mm : ndarray, shape (Q, 3)
        At most 24 of them; the outermost.

    Raises
    ------
    OutOfDomain
        If a triangle isn't there.

    Examples
    --------
    >>> from lab.metrology.meshes import make_mesh
    >>> mesh = make_mesh([[0, 0, 0], [9, 0, 0], [0, 9, 0], [9, 9, 5]],
    ...                  [[0, 1, 2], [1, 3, 2]])
    >>> len(points_of_interest(mesh)), len(points_of_interest(mesh, {"A": [0]}))
    (8, 3)
    """
    listed = sorted({k for chosen in (characteristics or {}).values() for k in chosen})
    if not listed:
        low, high = mesh.vertices_mm.min(axis=0), mesh.vertices_mm.max(axis=0)
        corners = np.indices((2, 2, 2)).reshape(3, -1).T
        return np.asarray(np.where(corners, high, low), dtype=np.float64)
    if listed[0] < 0 or listed[-1] >= len(mesh.triangles):
        raise OutOfDomain(f"The mesh has no triangle {listed[-1]}.")
    points = mesh.vertices_mm[np.unique(mesh.triangles[listed])]
    return _outermost(points)


def _outermost(points: Array) -> Array:
    """Keep the hull's corners, and of many those that lie farthest apart."""
    if len(points) > 4:
        # Flat or straight sets have no hull in space; all are kept for thinning.
        with suppress(QhullError):
            points = points[ConvexHull(points).vertices]
    if len(points) <= _MOST:
        return points
    middle = points.mean(axis=0)
    chosen = [int(np.argmax(np.linalg.norm(points - middle, axis=1)))]
    apart = np.linalg.norm(points - points[chosen[0]], axis=1)
    while len(chosen) < _MOST:
        chosen.append(int(np.argmax(apart)))
        apart = np.minimum(apart, np.linalg.norm(points - points[chosen[-1]], axis=1))
    return np.asarray(points[chosen])
