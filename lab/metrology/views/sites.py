"""Candidate sites for targets on a surface.

Points spread evenly over the surface (drawn by area with a seed, then thinned so that
neighbours keep their distance), away from sharp edges and open borders by what a
target needs, and never on faces that were kept out.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.meshes import Mesh
from lab.metrology.views.trackers import PlannedTargets, plan_targets

__all__ = ["SitesLeftNone", "find_sites", "sharp_edges"]

Array = NDArray[np.float64]

_SHARP_RAD = math.radians(20.0)
_DRAWN = 60  # points drawn for each site wanted
_MOST_DRAWN = 60_000


class SitesLeftNone(TooFew):
    """No place on the surface is far enough from edges and kept-out faces."""


def find_sites(
    mesh: Mesh,
    *,
    spacing_mm: float,
    edge_mm: float,
    keep_out: Iterable[int] = (),
    most: int = 400,
    seed: int = 0,
) -> PlannedTargets:
    """Return candidate sites with the outward normals of their faces.

    Parameters
    ----------
    mesh : Mesh
        The part or fixture.
    spacing_mm : float
        The least distance between sites.
    edge_mm : float
        The least distance from sharp edges and open borders: the radius of a target
        and a margin.
    keep_out : iterable of int
        Triangles that must stay bare.
    most : int
        The most sites.
    seed : int
        Of the draw: the same seed gives the same sites.

    Returns
    -------
    PlannedTargets
        Named "S1", "S2", …

    Raises
    ------
    SitesLeftNone
        If there are none.
    NotFinite, OutOfDomain
        If a length or the number isn't one, or a kept-out face isn't there.

    Examples
    --------
    >>> from lab.metrology.meshes import make_mesh
    >>> square = make_mesh(
    ...     [[0, 0, 0], [300, 0, 0], [300, 300, 0], [0, 300, 0]],
    ...     [[0, 1, 2], [0, 2, 3]],
    ... )
    >>> sites = find_sites(square, spacing_mm=60, edge_mm=20)
    >>> bool(sites.points_mm[:, :2].min() >= 20), sites.directions[0].tolist()
    (True, [0.0, 0.0, 1.0])
    """
    spacing = arrays.positive("spacing_mm", spacing_mm)
    edge = arrays.non_negative("edge_mm", edge_mm)
    if most < 1:
        raise OutOfDomain(f"most is {most}; at least one site must be allowed.")
    corners = mesh.vertices_mm[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(normals, axis=1)
    allowed = areas > 0.0
    kept = np.array(sorted(set(keep_out)), dtype=np.intp)
    if len(kept) and (kept[0] < 0 or kept[-1] >= len(areas)):
        raise OutOfDomain(f"The mesh has no triangle {kept[-1]}.")
    allowed[kept] = False
    points, faces = _drawn(corners, np.where(allowed, areas, 0.0), most, seed)
    if edge > 0.0 and len(points):
        free = _clear_of(points, sharp_edges(mesh), edge)
        points, faces = points[free], faces[free]
    chosen = _thinned(points, spacing, most)
    if len(chosen) == 0:
        raise SitesLeftNone(
            f"No place on the surface is {edge:g} mm from every sharp edge and off the "
            "kept-out faces: use smaller targets or free a face."
        )
    faces = faces[chosen]
    return plan_targets(
        [f"S{index + 1}" for index in range(len(chosen))],
        points[chosen],
        normals[faces] / areas[faces, np.newaxis],
    )


def sharp_edges(mesh: Mesh, sharp_rad: float = _SHARP_RAD) -> Array:
    """Return the ends of sharp edges and open borders, shape (K, 2, 3)."""
    corners = mesh.vertices_mm[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    normals = normals / np.where(lengths > 0.0, lengths, 1.0)
    ends = np.sort(
        np.vstack([mesh.triangles[:, [0, 1]], mesh.triangles[:, [1, 2]],
                   mesh.triangles[:, [2, 0]]]), axis=1,
    )  # fmt: skip
    owner = np.tile(np.arange(len(mesh.triangles)), 3)
    unique, edge, counts = np.unique(
        ends, axis=0, return_inverse=True, return_counts=True
    )
    edge = edge.reshape(-1)
    order = np.argsort(edge, kind="stable")
    first = order[np.cumsum(counts) - counts]
    last = order[np.cumsum(counts) - 1]
    cosine = np.einsum("ij,ij->i", normals[owner[first]], normals[owner[last]])
    sharp = (counts != 2) | (cosine < math.cos(sharp_rad))
    return np.asarray(mesh.vertices_mm[unique[sharp]])


def _drawn(
    corners: Array, areas: Array, most: int, seed: int
) -> tuple[Array, NDArray[np.intp]]:
    total = float(areas.sum())
    if total <= 0.0:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.intp)
    random = np.random.default_rng(seed)
    count = min(_DRAWN * most, _MOST_DRAWN)
    faces = random.choice(len(areas), size=count, p=areas / total)
    first, second = random.random((2, count, 1))
    folded = first + second > 1.0
    first, second = (
        np.where(folded, 1.0 - first, first),
        np.where(folded, 1.0 - second, second),
    )
    chosen = corners[faces]
    points = (
        chosen[:, 0]
        + first * (chosen[:, 1] - chosen[:, 0])
        + second * (chosen[:, 2] - chosen[:, 0])
    )
    return points, faces.astype(np.intp)


def _clear_of(points: Array, edges: Array, least: float) -> NDArray[np.bool_]:
    """Say which points keep their distance from every edge, exactly."""
    clear = np.ones(len(points), dtype=bool)
    tree = cKDTree(points)
    for start, end in edges:
        along = end - start
        length = float(np.linalg.norm(along))
        near = tree.query_ball_point(0.5 * (start + end), 0.5 * length + least)
        if not near:
            continue
        away = points[near] - start
        share = np.clip(away @ along / max(length * length, 1e-300), 0.0, 1.0)
        apart = np.linalg.norm(away - share[:, np.newaxis] * along, axis=1)
        clear[np.array(near)[apart < least]] = False
    return clear


def _thinned(points: Array, spacing: float, most: int) -> NDArray[np.intp]:
    """Keep points in the order drawn that are no nearer than the spacing."""
    if len(points) == 0:
        return np.zeros(0, dtype=np.intp)
    tree = cKDTree(points)
    free = np.ones(len(points), dtype=bool)
    chosen: list[int] = []
    for index in range(len(points)):
        if not free[index]:
            continue
        chosen.append(index)
        if len(chosen) >= most:
            break
        free[tree.query_ball_point(points[index], spacing)] = False
    return np.array(chosen, dtype=np.intp)
