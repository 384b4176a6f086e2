"""Signed distances of points from a nominal surface: positive outside.

The distance is that from the nearest triangle, exactly (see
`lab.metrology.deviation.tree`). The side follows from the normal of what is nearest:
a face, an edge or a corner, where that of an edge is the sum of its two faces'
normals and that of a corner the sum weighted by the angles there. For a watertight
mesh this sign is proven right everywhere, which the normal of whichever triangle
comes first is not [1]_.

For an open surface the sign says on which side of the nearest part a point lies.

References
----------
.. [1] Bærentzen, J. A., Aanæs, H. (2005). Signed distance computation using the
   angle weighted pseudonormal. IEEE Trans. Vis. Comput. Graph. 11, 243-253.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.deviation.tree import Tree
from lab.metrology.deviation.triangles import CORNER, EDGE, feature_of, nearest_on
from lab.metrology.meshes import Mesh

__all__ = ["SignedDistances", "Surface", "signed_distances", "vertex_normals"]

_ROWS_AT_ONCE = 65_536


@dataclass(frozen=True, slots=True, eq=False)
class SignedDistances:
    """Where points lie against a surface.

    Attributes
    ----------
    distances_mm : ndarray, shape (N,)
        Positive outside, negative inside the material.
    feet_mm : ndarray, shape (N, 3)
        The nearest points of the surface.
    triangles : ndarray of int, shape (N,)
        The triangles that hold them.
    is_sign_certain : bool
        Whether the mesh is watertight, so that inside and outside are known.
    """

    distances_mm: NDArray[np.float64]
    feet_mm: NDArray[np.float64]
    triangles: NDArray[np.intp]
    is_sign_certain: bool


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A mesh made ready for many questions; build it once with `Surface.of`."""

    mesh: Mesh
    origin_mm: NDArray[np.float64]
    tree: Tree
    face_normals: NDArray[np.float64]
    edge_normals: NDArray[np.float64]
    corner_normals: NDArray[np.float64]

    @classmethod
    def of(cls, mesh: Mesh) -> Surface:
        """Prepare the search tree and the normals of a mesh."""
        origin = 0.5 * (mesh.vertices_mm.min(axis=0) + mesh.vertices_mm.max(axis=0))
        corners = (mesh.vertices_mm - origin)[mesh.triangles]
        faces = _face_normals(corners)
        return cls(
            mesh=mesh,
            origin_mm=origin,
            tree=Tree.over(corners),
            face_normals=faces,
            edge_normals=_edge_normals(mesh.triangles, faces),
            corner_normals=_corner_normals(mesh, corners, faces),
        )

    def signed_distances(self, points_mm: ArrayLike) -> SignedDistances:
        """Return the signed distances of points, shape (N, 3), in millimetres.

        Raises
        ------
        BadShape, NotFinite, TooFew
            As `lab.metrology.arrays.points` does.
        """
        points = arrays.points("points_mm", points_mm) - self.origin_mm
        triangles = self.tree.nearest(points)
        distances = np.empty(len(points))
        feet = np.empty_like(points)
        for start in range(0, len(points), _ROWS_AT_ONCE):
            block = slice(start, start + _ROWS_AT_ONCE)
            distances[block], feet[block] = self._signed(
                points[block], triangles[block]
            )
        feet += self.origin_mm
        return SignedDistances(distances, feet, triangles, self.mesh.is_watertight)

    def _signed(
        self, points: NDArray[np.float64], triangles: NDArray[np.intp]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        parts = self.tree.triangles
        squares, first, second = nearest_on(parts, triangles, points)
        feet = parts.corner[triangles] + first[:, np.newaxis] * parts.first[triangles]
        feet += second[:, np.newaxis] * parts.second[triangles]
        normals = self._normals(triangles, feature_of(first, second))
        side = np.einsum("ij,ij->i", points - feet, normals)
        return np.where(side < 0.0, -np.sqrt(squares), np.sqrt(squares)), feet

    def _normals(
        self, triangles: NDArray[np.intp], features: NDArray[np.int8]
    ) -> NDArray[np.float64]:
        """Return the normals of the faces, edges or corners that are nearest."""
        normals = self.face_normals[triangles]
        at_edge = np.flatnonzero((features >= EDGE) & (features < CORNER))
        normals[at_edge] = self.edge_normals[
            triangles[at_edge], features[at_edge] - EDGE
        ]
        at_corner = np.flatnonzero(features >= CORNER)
        vertices = self.mesh.triangles[
            triangles[at_corner], features[at_corner] - CORNER
        ]
        normals[at_corner] = self.corner_normals[vertices]
        return normals


def signed_distances(points_mm: ArrayLike, mesh: Mesh) -> SignedDistances:
    """Return the signed distances of points from a mesh, positive outside.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        Points in the frame of the mesh, millimetres.
    mesh : Mesh
        The nominal surface. For several sets of points make a `Surface` once.

    Returns
    -------
    found : SignedDistances

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.

    Examples
    --------
    >>> from lab.metrology.meshes import make_mesh
    >>> corners = [[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]]
    >>> outward = [[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]
    >>> mesh = make_mesh(corners, outward)
    >>> signed_distances([[1, 1, -2], [1, 1, 0.5]], mesh).distances_mm.tolist()
    [2.0, -0.5]
    """
    return Surface.of(mesh).signed_distances(points_mm)


def vertex_normals(mesh: Mesh) -> NDArray[np.float64]:
    """Return outward unit normals at the vertices of a mesh, shape (V, 3).

    The faces' normals weighted by their angles at the vertex; zero where they cancel.

    Examples
    --------
    >>> from lab.metrology.meshes import make_mesh
    >>> flat = make_mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2]])
    >>> vertex_normals(flat)[0].tolist()
    [0.0, 0.0, 1.0]
    """
    corners = mesh.vertices_mm[mesh.triangles]
    normals = _corner_normals(mesh, corners, _face_normals(corners))
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.asarray(normals / np.where(lengths > 0.0, lengths, 1.0), dtype=np.float64)


def _face_normals(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.asarray(normals / np.where(lengths > 0.0, lengths, 1.0), dtype=np.float64)


def _edge_normals(
    triangles: NDArray[np.int64], faces: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the sums of the normals at each edge (0-1, 1-2, 2-0), (T, 3, 3)."""
    ends = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2)
    low, high = ends.min(axis=2), ends.max(axis=2)
    key = (low * (int(triangles.max()) + 1) + high).ravel()
    _, edge = np.unique(key, return_inverse=True)
    edge = edge.reshape(-1)
    owner = np.repeat(np.arange(len(triangles)), 3)
    sums = np.column_stack(
        [np.bincount(edge, weights=faces[owner, axis]) for axis in range(3)]
    )
    return sums.astype(np.float64)[edge].reshape(-1, 3, 3)


def _corner_normals(
    mesh: Mesh, corners: NDArray[np.float64], faces: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the sums of the normals at each vertex, weighted by angle, (V, 3)."""
    ahead = np.roll(corners, -1, axis=1) - corners
    behind = np.roll(corners, 1, axis=1) - corners
    across = np.linalg.norm(np.cross(ahead, behind), axis=2)
    angles = np.arctan2(across, np.einsum("tij,tij->ti", ahead, behind)).ravel()
    vertex = mesh.triangles.ravel()
    owner = np.repeat(np.arange(len(faces)), 3)
    count = len(mesh.vertices_mm)
    return np.column_stack(
        [
            np.bincount(vertex, weights=angles * faces[owner, axis], minlength=count)
            for axis in range(3)
        ]
    )
