"""Points moved to their centroid and scaled to unit spread before any fitting.

A set a kilometre from the origin keeps all the digits that its coordinates
hold, and thresholds need not know about units.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.fits.refusals import CoincidentPoints, CollinearPoints

__all__ = ["LocalPoints", "localise", "triangle_of"]

_ROWS_AT_ONCE = 8192
_EPSILON = float(np.finfo(np.float64).eps)


@dataclass(frozen=True, slots=True, eq=False)
class LocalPoints:
    """Centred and scaled points: ``points = (points_mm - origin_mm) / scale_mm``.

    `resolution` is the rounding of the given coordinates in local units: what
    lies below it is not geometry. `spread` holds the root-mean-square extents
    along the principal axes, largest first, and `axes` those axes as rows.
    """

    origin_mm: NDArray[np.float64]
    scale_mm: float
    points: NDArray[np.float64]
    resolution: float
    spread: NDArray[np.float64]
    axes: NDArray[np.float64]

    def to_mm(self, local: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bring a local point back to millimetres."""
        return np.asarray(self.origin_mm + self.scale_mm * local, dtype=np.float64)

    def refuse_collinear(self, wanted: str) -> None:
        """Raise unless the points spread in at least two directions."""
        if self.spread[1] <= self.resolution:
            raise CollinearPoints(
                f"The {len(self.points)} points lie on one straight line (within "
                f"{self.spread[1] * self.scale_mm:.2g} mm): they don't determine "
                f"{wanted}. Add points beside the line."
            )


def localise(points_mm: NDArray[np.float64]) -> LocalPoints:
    """Centre and scale points, and find their principal axes.

    Raises
    ------
    CoincidentPoints
        If they are all the same point.
    """
    count = len(points_mm)
    ones = np.ones(count)
    # Against the first point first: differences of neighbours are exact, and the
    # mean of small numbers keeps its digits.
    local = points_mm - points_mm[0]
    mean = ones @ local / count
    local -= mean
    largest = float(np.abs(points_mm[0]).max()) + math.sqrt(
        float(np.einsum("ij,ij->i", local, local).max())
    )
    triangle = triangle_of(local)
    _, singular, axes = np.linalg.svd(triangle)
    spread_mm = singular / math.sqrt(count)
    scale_mm = float(np.linalg.norm(spread_mm))
    if scale_mm <= 8.0 * _EPSILON * largest:
        raise CoincidentPoints(
            f"The {count} points are all the same point; they determine nothing."
        )
    local /= scale_mm
    return LocalPoints(
        origin_mm=points_mm[0] + mean,
        scale_mm=scale_mm,
        points=local,
        resolution=16.0 * _EPSILON * (1.0 + largest / scale_mm),
        spread=spread_mm / scale_mm,
        axes=axes,
    )


def triangle_of(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the triangular factor of a tall matrix, block by block.

    It has the accuracy of one orthogonal factorisation of the whole, a small
    part of its memory, and stays in the processor's cache.
    """
    width = rows.shape[1]
    triangle = np.zeros((width, width))
    for start in range(0, len(rows), _ROWS_AT_ONCE):
        block = np.vstack([triangle, rows[start : start + _ROWS_AT_ONCE]])
        triangle = np.asarray(np.linalg.qr(block, mode="r"))
    return triangle
