"""Small linear programmes over many points, by exchange of the points that bear.

Two problems come up in minimum-zone association:

- `narrowest_strip`: the slopes x for which the values less columns·x span least;
- `narrowest_tube`: the straight line in space about which points in coordinates
  (x, y, z), z roughly along it, lie within the smallest distance in x and y.

Either starts with a few extreme points and takes in those that break the answer,
so that a million points cost a few passes over them and not a programme with a
million rows.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from lab.metrology.fits.refusals import NotConverged

__all__ = ["narrowest_strip", "narrowest_tube"]

_ROUNDS = 200
_SLACK = 1e-9  # relative to the width: what the programmes' tolerances allow
_REACH = 20.0  # bound of slopes and offsets, in units in which they are near one
_OPTIONS = {
    "primal_feasibility_tolerance": 1e-10,
    "dual_feasibility_tolerance": 1e-10,
}


def narrowest_strip(
    columns: NDArray[np.float64], values: NDArray[np.float64], reach: float = np.inf
) -> NDArray[np.float64]:
    """Return x, shape (k,), that minimises the range of ``values - columns @ x``.

    `reach` bounds each component of x.
    """
    size = np.abs(columns).max(axis=0)
    size[size == 0.0] = 1.0
    width = float(np.ptp(values))
    scaled, heights = columns / size, (values - values.mean()) / width
    bound = np.minimum(_REACH, reach * size / width)
    working = _extremes(np.column_stack([scaled, heights]))
    for _ in range(_ROUNDS):
        slopes, low, high = _strip_of(scaled[working], heights[working], bound)
        left = heights - scaled @ slopes
        lowest, highest = int(np.argmin(left)), int(np.argmax(left))
        broken = [
            index
            for index, excess in (
                (lowest, low - left[lowest]),
                (highest, left[highest] - high),
            )
            if excess > _SLACK and index not in working
        ]
        if not broken:
            return np.asarray(slopes * width / size, dtype=np.float64)
        working.extend(broken)
    raise NotConverged("The narrowest zone was not found: the points are too ragged.")


def _strip_of(
    columns: NDArray[np.float64],
    heights: NDArray[np.float64],
    bound: NDArray[np.float64],
) -> tuple[NDArray[np.float64], float, float]:
    """Solve for slopes, low and high: low ≤ heights - columns·slopes ≤ high."""
    count, width = columns.shape
    above = np.hstack([-columns, np.zeros((count, 1)), -np.ones((count, 1))])
    below = np.hstack([columns, np.ones((count, 1)), np.zeros((count, 1))])
    found = linprog(
        c=[*np.zeros(width), -1.0, 1.0],
        A_ub=np.vstack([above, below]),
        b_ub=np.concatenate([-heights, heights]),
        bounds=[*((-limit, limit) for limit in bound), (None, None), (None, None)],
        method="highs",
        options=_OPTIONS,
    )
    _refuse_unsolved(found.status, found.message)
    return found.x[:width], float(found.x[-2]), float(found.x[-1])


def narrowest_tube(
    points: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return offsets c and slopes s, each (2,), of the best line (c + z·s, z)."""
    radius = float(np.hypot(points[:, 0], points[:, 1]).max())
    length = float(np.abs(points[:, 2]).max())
    flat, along = points[:, :2] / radius, points[:, 2] / length
    angles = np.arange(8) * (np.pi / 4.0)
    directions = [np.array([np.cos(angle), np.sin(angle)]) for angle in angles]
    bearing = [int(np.argmax(flat @ direction)) for direction in directions]
    for _ in range(_ROUNDS):
        unknown, least = _tube_of(np.array(directions), flat[bearing], along[bearing])
        left = flat - unknown[:2] - along[:, np.newaxis] * unknown[2:]
        distance = np.hypot(left[:, 0], left[:, 1])
        worst = int(np.argmax(distance))
        if distance[worst] <= least + _SLACK:
            return radius * unknown[:2], radius / length * unknown[2:]
        directions.append(left[worst] / distance[worst])
        bearing.append(worst)
    raise NotConverged("The thinnest zone was not found: the points are too ragged.")


def _tube_of(
    directions: NDArray[np.float64],
    flat: NDArray[np.float64],
    along: NDArray[np.float64],
) -> tuple[NDArray[np.float64], float]:
    """Solve for c, s and the radius, each direction cutting at its own point."""
    rows = np.hstack(
        [
            -directions,
            -directions * along[:, np.newaxis],
            -np.ones((len(directions), 1)),
        ]
    )
    found = linprog(
        c=[0.0, 0.0, 0.0, 0.0, 1.0],
        A_ub=rows,
        b_ub=-np.einsum("ij,ij->i", directions, flat),
        bounds=[(-_REACH, _REACH)] * 4 + [(0.0, None)],
        method="highs",
        options=_OPTIONS,
    )
    _refuse_unsolved(found.status, found.message)
    return found.x[:4], float(found.x[4])


def _extremes(rows: NDArray[np.float64]) -> list[int]:
    """Return the points furthest out in a few directions."""
    width = rows.shape[1]
    corners = np.array(np.meshgrid(*[[-1.0, 0.0, 1.0]] * width)).reshape(width, -1)
    return sorted({int(index) for index in np.argmax(rows @ corners, axis=0)})


def _refuse_unsolved(status: int, message: str) -> None:
    if status != 0:
        raise NotConverged(f"The narrowest zone was not found: {message}")
