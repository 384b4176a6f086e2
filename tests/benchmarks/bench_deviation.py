"""Signed distances of a million points from a mesh of a hundred thousand triangles.

Points lie about a wavy sheet of uneven triangles as a scan's do (0.03 mm), farther off
(1 mm), and far away (20 mm). Time is stated for preparing the mesh and for the search,
and memory as the growth of the process's peak while searching. The floor is one query
of the nearest centre of a triangle, by `scipy.spatial.cKDTree`, of the same points:
what any search by a tree has to pay.
"""

from __future__ import annotations

import argparse
import resource
import time

import numpy as np
from scipy.spatial import cKDTree

from lab.metrology.deviation import Surface
from lab.metrology.meshes import Mesh, make_mesh


def peak_megabytes() -> float:
    """Return the largest memory that the process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def wavy_sheet(triangles: int) -> Mesh:
    """Return a closed, wavy slab whose triangles differ in size and shape."""
    side = round((triangles / 4) ** 0.5)
    random = np.random.default_rng(3)
    steps = np.cumsum(random.uniform(0.5, 1.5, (2, side + 1)), axis=1)
    x, y = np.meshgrid(*(800.0 * each / each[-1] for each in steps))
    z = 15.0 * np.sin(x / 60.0) * np.cos(y / 90.0)
    top = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    bottom = top - [[0.0, 0.0, 40.0]]
    count = side + 1
    first = (np.arange(side)[:, np.newaxis] * count + np.arange(side)).ravel()
    square = np.column_stack([first, first + 1, first + count + 1, first + count])
    up = np.vstack([square[:, [0, 1, 2]], square[:, [0, 2, 3]]])
    rim = np.concatenate(
        [
            np.arange(side),
            side + count * np.arange(side),
            count * count - 1 - np.arange(side),
            count * (side - np.arange(side)),
        ]
    )
    ahead = np.roll(rim, -1)
    under = count * count
    walls = np.vstack(
        [
            np.column_stack([ahead, rim, rim + under]),
            np.column_stack([ahead, rim + under, ahead + under]),
        ]
    )
    faces = np.vstack([up, up[:, ::-1] + under, walls])
    return make_mesh(np.vstack([top, bottom]), faces)


def main(tiny: bool = False) -> dict[float, float]:
    """Print times, memory and ratios, and return the ratios by distance."""
    triangles, count = (4_000, 20_000) if tiny else (100_000, 1_000_000)
    mesh = wavy_sheet(triangles)
    start = time.perf_counter()
    surface = Surface.of(mesh)
    prepared = time.perf_counter() - start
    print(  # noqa: T201 (a benchmark prints)
        f"mesh of {len(mesh.triangles)} triangles, watertight: {mesh.is_watertight}, "
        f"prepared in {prepared:.2f} s"
    )
    random = np.random.default_rng(4)
    chosen = random.choice(len(mesh.triangles), size=count)
    inner = random.dirichlet([1.0, 1.0, 1.0], count)
    feet = np.einsum("ni,nij->nj", inner, mesh.vertices_mm[mesh.triangles[chosen]])
    centres = cKDTree(mesh.vertices_mm[mesh.triangles].mean(axis=1))
    ratios = {}
    for apart in (0.03, 1.0, 20.0):
        away = apart * random.normal(size=(count, 1))
        points = feet + away * surface.face_normals[chosen]
        start = time.perf_counter()
        centres.query(points)
        floor = time.perf_counter() - start
        before = peak_megabytes()
        start = time.perf_counter()
        surface.signed_distances(points)
        taken = time.perf_counter() - start
        ratios[apart] = taken / floor
        print(  # noqa: T201 (a benchmark prints)
            f"{count} points within about {apart:g} mm: {taken:.2f} s, memory "
            f"{max(0.0, peak_megabytes() - before):.0f} MB more, nearest centres alone "
            f"{floor:.2f} s, ratio {ratios[apart]:.1f}"
        )
    return ratios


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tiny", action="store_true", help="a run of a second")
    main(tiny=parser.parse_args().tiny)
