"""A tubular cradle of 1200 × 800 × 700 mm, with trackers around it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.frames import Noise
from lab.metrology.meshes import Mesh, make_mesh
from lab.metrology.views import (
    PlannedTargets,
    Poses,
    Surroundings,
    Tracker,
    Visibility,
    find_sites,
    plan_targets,
    poses_looking_at,
    see_targets,
    surround,
)

Array = NDArray[np.float64]

SIZE_MM = (1200.0, 800.0, 700.0)
TUBE_MM = 60.0

TRACKER = Tracker(
    nearest_mm=600.0,
    farthest_mm=3600.0,
    half_width_rad=math.radians(25.0),
    half_height_rad=math.radians(20.0),
    incidence_limit_rad=math.radians(55.0),
    noise=Noise(lateral_mm=0.015, depth_mm=0.04, reference_mm=2000.0),
)

_FACES = [
    [0, 2, 3], [0, 3, 1], [4, 5, 7], [4, 7, 6], [0, 1, 5], [0, 5, 4],
    [2, 6, 7], [2, 7, 3], [0, 4, 6], [0, 6, 2], [1, 3, 7], [1, 7, 5],
]  # fmt: skip


def box(low: Array, high: Array) -> tuple[Array, NDArray[np.int64]]:
    """Return the eight corners and twelve triangles of a box, outward."""
    corners = np.array(
        [[(low, high)[i & 1][0], (low, high)[i >> 1 & 1][1], (low, high)[i >> 2][2]]
         for i in range(8)]
    )  # fmt: skip
    return corners, np.array(_FACES, dtype=np.int64)


def boxes(bounds: list[tuple[Array, Array]]) -> Mesh:
    """Return several boxes as one mesh."""
    parts = [box(np.asarray(low), np.asarray(high)) for low, high in bounds]
    return make_mesh(
        np.vstack([corners for corners, _ in parts]),
        np.vstack([faces + 8 * index for index, (_, faces) in enumerate(parts)]),
    )


def cradle_mesh() -> Mesh:
    """Return twelve tubes along the edges, and two cross members below."""
    x, y, z = (0.5 * side for side in SIZE_MM)
    t = TUBE_MM
    bounds: list[tuple[list[float], list[float]]] = []
    for side in (-1, 1):
        for other in (-1, 1):
            a, b = sorted((side * y, side * (y - t)))
            c, d = sorted((other * z, other * (z - t)))
            bounds.append(([-x, a, c], [x, b, d]))
            a, b = sorted((side * x, side * (x - t)))
            bounds.append(([a, -y + t, c], [b, y - t, d]))
            c, d = sorted((other * y, other * (y - t)))
            bounds.append(([a, c, -z + t], [b, d, z - t]))
    for place in (-200.0, 200.0):
        bounds.append(([place - 30.0, -y + t, -z], [place + 30.0, y - t, -z + t]))
    return boxes([(np.array(low), np.array(high)) for low, high in bounds])


@dataclass(frozen=True)
class Cradle:
    """Everything that a plan of it needs."""

    mesh: Mesh
    sites: PlannedTargets
    none: PlannedTargets
    poses: Poses
    surroundings: Surroundings
    seen: Visibility

    @property
    def seen_none(self) -> NDArray[np.bool_]:
        return np.zeros((len(self.poses), 0), dtype=bool)

    @property
    def corners_mm(self) -> Array:
        return box(-0.5 * np.array(SIZE_MM), 0.5 * np.array(SIZE_MM))[0]


def stations(count: int, heights: tuple[float, ...], radius_mm: float) -> Poses:
    """Return a ring of stations at each height, looking at the middle."""
    angles = 2.0 * np.pi * (np.arange(count) + 0.5) / count
    places = [
        [radius_mm * math.cos(angle), radius_mm * math.sin(angle), height]
        for height in heights
        for angle in angles
    ]
    return poses_looking_at(np.array(places), [0.0, 0.0, 0.0])


def cradle(sites: int = 400, ring: int = 48, seed: int = 0) -> Cradle:
    """Return the cradle with its sites and three rings of poses."""
    mesh = cradle_mesh()
    found = find_sites(mesh, spacing_mm=42.0, edge_mm=12.0, most=sites, seed=seed)
    poses = stations(ring, (-300.0, 500.0, 1300.0), 2000.0)
    around = surround([mesh])
    return Cradle(
        mesh,
        found,
        plan_targets([], np.zeros((0, 3)), np.zeros((0, 3))),
        poses,
        around,
        see_targets(found, poses, TRACKER, around),
    )
