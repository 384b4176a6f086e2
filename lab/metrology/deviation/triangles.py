"""The point of a triangle nearest to a point, exactly, for many pairs at once.

The plane of a triangle is cut into seven regions, nearest to its face, one of three
edges or one of three corners; which one holds follows from the signs of a few dot
products [1]_.

References
----------
.. [1] Ericson, C. (2005). Real-Time Collision Detection, section 5.1.5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["CORNER", "EDGE", "FACE", "Triangles", "nearest_on"]

# The nearest feature: the face; edge 0 (corners 0-1), 1 (1-2), 2 (2-0); a corner.
FACE = 0
EDGE = 1
CORNER = 4


@dataclass(frozen=True, slots=True, eq=False)
class Triangles:
    """Triangles by a corner and two sides, each shape (T, 3), with their products."""

    corner: NDArray[np.float64]
    first: NDArray[np.float64]
    second: NDArray[np.float64]
    products: NDArray[np.float64]

    @classmethod
    def of(cls, corners: NDArray[np.float64]) -> Triangles:
        """Prepare triangles given by their corners, shape (T, 3, 3)."""
        first = corners[:, 1] - corners[:, 0]
        second = corners[:, 2] - corners[:, 0]
        products = np.column_stack(
            [
                np.einsum("ij,ij->i", first, first),
                np.einsum("ij,ij->i", first, second),
                np.einsum("ij,ij->i", second, second),
            ]
        )
        return cls(corners[:, 0].copy(), first, second, products)


def nearest_on(
    triangles: Triangles, chosen: NDArray[np.intp], points: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return squared distances and the two weights of the nearest points.

    Parameters
    ----------
    triangles : Triangles
        T of them.
    chosen : ndarray of int, shape (M,)
        The triangle of each pair.
    points : ndarray, shape (M, 3)
        The point of each pair.

    Returns
    -------
    squares, first, second : ndarray, shape (M,)
        The nearest point is corner + first·(side 1) + second·(side 2).
    """
    away = points - triangles.corner[chosen]
    along = triangles.first[chosen]
    across = triangles.second[chosen]
    aa, ab, bb = triangles.products[chosen].T
    pa = np.einsum("ij,ij->i", away, along)
    pb = np.einsum("ij,ij->i", away, across)
    first, second = _weights(aa, ab, bb, pa, pb)
    left = away - first[:, np.newaxis] * along
    left -= second[:, np.newaxis] * across
    return np.einsum("ij,ij->i", left, left), first, second


def _weights(
    aa: NDArray[np.float64],
    ab: NDArray[np.float64],
    bb: NDArray[np.float64],
    pa: NDArray[np.float64],
    pb: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the weights of the sides at the nearest points."""
    # The face first: where both weights are positive and sum to less than one.
    determinant = aa * bb - ab * ab
    safe = np.where(determinant > 0.0, determinant, 1.0)
    first = (bb * pa - ab * pb) / safe
    second = (aa * pb - ab * pa) / safe
    outside = (first < 0.0) | (second < 0.0) | (first + second > 1.0)
    outside |= determinant <= 0.0
    index = np.flatnonzero(outside)
    if len(index):
        first[index], second[index] = _on_border(
            aa[index], ab[index], bb[index], pa[index], pb[index]
        )
    return first, second


def _on_border(
    aa: NDArray[np.float64],
    ab: NDArray[np.float64],
    bb: NDArray[np.float64],
    pa: NDArray[np.float64],
    pb: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the best of the nearest points of the three sides."""
    zero = np.zeros_like(pa)
    on_first = _share(pa, aa)
    on_second = _share(pb, bb)
    third = aa - 2.0 * ab + bb
    on_third = _share(pb - pa + aa - ab, third)
    # Squared distances less their common |away|²:
    # u²·aa + 2uv·ab + v²·bb - 2·(u·pa + v·pb).
    first_cost = on_first * (on_first * aa - 2.0 * pa)
    second_cost = on_second * (on_second * bb - 2.0 * pb)
    u, v = 1.0 - on_third, on_third
    third_cost = u * (u * aa + 2.0 * v * ab - 2.0 * pa) + v * (v * bb - 2.0 * pb)
    by_second = second_cost < first_cost
    best = np.where(by_second, second_cost, first_cost)
    first = np.where(by_second, zero, on_first)
    second = np.where(by_second, on_second, zero)
    by_third = third_cost < best
    return np.where(by_third, u, first), np.where(by_third, v, second)


def _share(
    along: NDArray[np.float64], square: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the position along a side, from 0 to 1."""
    safe = np.where(square > 0.0, square, 1.0)
    return np.asarray(np.clip(along / safe, 0.0, 1.0), dtype=np.float64)


def feature_of(
    first: NDArray[np.float64], second: NDArray[np.float64], rounding: float = 1e-9
) -> NDArray[np.int8]:
    """Return which feature holds the nearest point: FACE, EDGE + k or CORNER + k.

    Points within `rounding` (a share of the triangle) of an edge or corner count as
    on it; there the normals of face, edge and corner agree on the side.
    """
    rest = 1.0 - first - second
    at_first, at_second, at_rest = (
        first <= rounding, second <= rounding, rest <= rounding,
    )  # fmt: skip
    found = np.full(len(first), FACE, dtype=np.int8)
    found[at_second] = EDGE
    found[at_rest] = EDGE + 1
    found[at_first] = EDGE + 2
    found[at_first & at_second] = CORNER
    found[at_second & at_rest] = CORNER + 1
    found[at_first & at_rest] = CORNER + 2
    return found
