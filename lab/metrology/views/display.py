"""A copy of a mesh for the screen, and what was picked on it.

A pick in the browser snaps to a vertex of what is drawn. On a plain part's few large
triangles that is useless, so the copy is subdivided until its edges are short enough
to pick on; and it is rounded and perhaps reduced, so that a pick is brought back onto
the original before anything is computed from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.deviation import Surface
from lab.metrology.errors import OutOfDomain
from lab.metrology.meshes import Mesh

__all__ = ["DisplayCopy", "Pick", "make_display_copy", "project_picks"]

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class DisplayCopy:
    """Vertices and triangles for drawing.

    Attributes
    ----------
    vertices_mm : ndarray of float32, shape (V, 3)
    triangles : ndarray of int32, shape (T, 3)
    originals : ndarray of int, shape (T,)
        The triangle of the original that each lies on.
    longest_mm : float
        The longest edge.
    """

    vertices_mm: NDArray[np.float32]
    triangles: NDArray[np.int32]
    originals: NDArray[np.intp]
    longest_mm: float


@dataclass(frozen=True, slots=True)
class Pick:
    """A pick brought back onto the original.

    `off_mm` is how far it was moved.
    """

    point_mm: tuple[float, float, float]
    normal: tuple[float, float, float]
    triangle: int
    off_mm: float


def make_display_copy(
    mesh: Mesh, *, edge_mm: float, most_triangles: int = 60_000
) -> DisplayCopy:
    """Subdivide a mesh until no edge is longer, or there are enough triangles.

    Parameters
    ----------
    mesh : Mesh
        The original; where it has more triangles than that already it is drawn as it
        is.
    edge_mm : float
        The longest edge wanted.
    most_triangles : int
        Where subdividing stops.

    Returns
    -------
    DisplayCopy

    Raises
    ------
    NotFinite, OutOfDomain
        If the edge is no length, or no triangle is allowed.

    Notes
    -----
    Every edge longer than wanted is halved, in all triangles that it belongs to, so
    that no gaps appear; a triangle is cut in two, three or four.

    Examples
    --------
    >>> from lab.metrology.meshes import make_mesh
    >>> square = make_mesh(
    ...     [[0, 0, 0], [90, 0, 0], [90, 90, 0], [0, 90, 0]], [[0, 1, 2], [0, 2, 3]]
    ... )
    >>> copy = make_display_copy(square, edge_mm=30)
    >>> copy.longest_mm <= 30, len(copy.triangles)
    (True, 64)
    """
    longest = arrays.positive("edge_mm", edge_mm)
    if most_triangles < 1:
        raise OutOfDomain(f"most_triangles is {most_triangles}; it must be above zero.")
    vertices, faces = mesh.vertices_mm, mesh.triangles
    originals = np.arange(len(faces), dtype=np.intp)
    while True:
        lengths = _edge_lengths(vertices, faces)
        long = lengths > longest
        if not np.any(long) or len(faces) + int(long.sum()) > most_triangles:
            break
        vertices, faces, originals = _halved(vertices, faces, originals, long)
    return DisplayCopy(
        vertices.astype(np.float32),
        faces.astype(np.int32),
        originals,
        float(_edge_lengths(vertices, faces).max()),
    )


def project_picks(surface: Surface, picks_mm: ArrayLike) -> tuple[Pick, ...]:
    """Bring picks onto the original surface.

    Parameters
    ----------
    surface : Surface
        Of the original mesh; made once for many picks.
    picks_mm : array_like, shape (N, 3)
        As they came from the screen.

    Returns
    -------
    tuple of Pick
        With the face's own normal at each.

    Raises
    ------
    BadShape, NotFinite, TooFew
        If the picks aren't points.
    """
    found = surface.signed_distances(picks_mm)
    normals = surface.face_normals[found.triangles]
    return tuple(
        Pick(
            (float(point[0]), float(point[1]), float(point[2])),
            (float(normal[0]), float(normal[1]), float(normal[2])),
            int(triangle),
            math.fabs(float(off)),
        )
        for point, normal, triangle, off in zip(
            found.feet_mm, normals, found.triangles, found.distances_mm, strict=True
        )
    )


def _edge_lengths(vertices: Array, faces: NDArray[np.int64]) -> Array:
    """Return the lengths of the edges 0-1, 1-2, 2-0, shape (T, 3)."""
    corners = vertices[faces]
    return np.asarray(np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2))


def _halved(
    vertices: Array,
    faces: NDArray[np.int64],
    originals: NDArray[np.intp],
    long: NDArray[np.bool_],
) -> tuple[Array, NDArray[np.int64], NDArray[np.intp]]:
    """Halve the long edges and cut the triangles that have some."""
    ends = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2), axis=2)
    chosen, where = np.unique(ends[long], axis=0, return_inverse=True)
    middles = np.full(faces.shape, -1, dtype=np.int64)
    middles[long] = len(vertices) + where.reshape(-1)
    added = 0.5 * (vertices[chosen[:, 0]] + vertices[chosen[:, 1]])
    parts, owners = [], []
    for count in range(4):
        rows = np.flatnonzero(long.sum(axis=1) == count)
        if len(rows) == 0:
            continue
        for part in _cut(faces[rows], middles[rows], long[rows], count):
            parts.append(part)
            owners.append(originals[rows])
    return np.vstack([vertices, added]), np.vstack(parts), np.concatenate(owners)


def _cut(
    faces: NDArray[np.int64],
    middles: NDArray[np.int64],
    long: NDArray[np.bool_],
    count: int,
) -> list[NDArray[np.int64]]:
    """Cut triangles that all have so many edges to halve."""
    if count == 0:
        return [faces]
    # Turn each triangle so that its long edges come first (with two, the short one
    # last; with one, the long one first).
    first = np.argmax(long, axis=1) if count == 1 else np.zeros(len(faces), np.intp)
    if count == 2:
        first = (np.argmin(long, axis=1) + 1) % 3
    order = (first[:, np.newaxis] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(faces, order, axis=1).T
    ab, bc, ca = np.take_along_axis(middles, order, axis=1).T
    if count == 1:
        corners = [(a, ab, c), (ab, b, c)]
    elif count == 2:
        corners = [(ab, b, bc), (a, ab, bc), (a, bc, c)]
    else:
        corners = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    return [np.column_stack(three) for three in corners]
