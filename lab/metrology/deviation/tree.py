"""Which triangle is nearest to a point: a bounding-volume tree, searched in bulk.

Triangles are split at the median of their centres along the longest side of their
box until a leaf holds a few; every split is made for all nodes of a level at once.
A search takes a block of points down the tree together. Each point has an upper
bound, at first its exact distance from the triangle whose centre is nearest; a box
that is farther away than the bound can't hold the nearest triangle and is dropped.
What remains at the leaves is measured exactly. Nothing is approximated: the triangle
found is the nearest, whatever the shapes of the triangles and the distances.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lab.metrology.deviation.triangles import Triangles, nearest_on

__all__ = ["Tree"]

_LEAF = 4  # triangles at most
_SKIP = 2  # levels taken at a time, so that each node has four children
_BLOCK = 16_384  # points taken down together
_MOST_PAIRS = 500_000  # of a point and a box, before the next level is opened
_SLACK = 1.0 + 1e-12  # a bound must survive its own rounding


@dataclass(frozen=True, slots=True, eq=False)
class Tree:
    """A search tree over triangles.

    `lows` and `highs` hold the corners of the boxes of each level taken, root side
    first; the node k of one level has the children 4k … 4k+3 of the next. `order`
    lists the triangles leaf by leaf, `starts` where each leaf begins.
    """

    triangles: Triangles
    centres: cKDTree
    order: NDArray[np.intp]
    starts: NDArray[np.intp]
    lows: tuple[NDArray[np.float64], ...]
    highs: tuple[NDArray[np.float64], ...]

    @classmethod
    def over(cls, corners: NDArray[np.float64]) -> Tree:
        """Build the tree over triangles given by their corners, shape (T, 3, 3)."""
        count = len(corners)
        centres = corners.mean(axis=1)
        depth = 0
        while count > _LEAF << depth:
            depth += _SKIP
        order, starts = _split(centres, depth)
        low = np.minimum.reduceat(corners.min(axis=1)[order], starts[:-1], axis=0)
        high = np.maximum.reduceat(corners.max(axis=1)[order], starts[:-1], axis=0)
        lows, highs = [low], [high]
        for _ in range(depth // _SKIP):
            low = low.reshape(-1, 1 << _SKIP, 3).min(axis=1)
            high = high.reshape(-1, 1 << _SKIP, 3).max(axis=1)
            lows.append(low)
            highs.append(high)
        return cls(
            triangles=Triangles.of(corners),
            centres=cKDTree(centres),
            order=order,
            starts=starts,
            lows=tuple(np.ascontiguousarray(each.T) for each in reversed(lows)),
            highs=tuple(np.ascontiguousarray(each.T) for each in reversed(highs)),
        )

    def nearest(self, points: NDArray[np.float64]) -> NDArray[np.intp]:
        """Return the index of the triangle nearest to each point, shape (N,)."""
        found = np.empty(len(points), dtype=np.intp)
        along = _neighbourly(points)
        for start in range(0, len(points), _BLOCK):
            block = along[start : start + _BLOCK]
            found[block] = self._nearest_of_block(points[block])
        return found

    def _nearest_of_block(self, points: NDArray[np.float64]) -> NDArray[np.intp]:
        guess = np.asarray(self.centres.query(points)[1], dtype=np.intp)
        bound = nearest_on(self.triangles, guess, points)[0] * _SLACK
        pairs = self._down(points, bound)
        if pairs is None:
            # Points far inside a hollow shape are nearly as far from all of it:
            # fewer at a time keep the memory bounded.
            middle = len(points) // 2
            return np.concatenate(
                [
                    self._nearest_of_block(points[:middle]),
                    self._nearest_of_block(points[middle:]),
                ]
            )
        point, triangle = self._open(*pairs)
        squares = nearest_on(self.triangles, triangle, points[point])[0]
        # Sorted by point and then by distance, the first pair of each point wins; a
        # point without any keeps the guess.
        order = np.lexsort((squares, point))
        winners, first = np.unique(point[order], return_index=True)
        guess[winners] = triangle[order[first]]
        return guess

    def _open(
        self, point: NDArray[np.intp], leaf: NDArray[np.intp]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Return pairs of a point and a triangle from pairs of a point and a leaf."""
        sizes = np.diff(self.starts)[leaf]
        within = np.arange(int(sizes.sum())) - np.repeat(
            np.cumsum(sizes) - sizes, sizes
        )
        triangle = self.order[np.repeat(self.starts[leaf], sizes) + within]
        return np.repeat(point, sizes), triangle

    def _down(
        self, points: NDArray[np.float64], bound: NDArray[np.float64]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]] | None:
        """Return pairs of a point and a leaf that may hold its nearest triangle.

        None if there are more pairs than memory should hold.
        """
        coordinates = np.ascontiguousarray(points.T)
        point = np.arange(len(points), dtype=np.intp)
        node = np.zeros(len(points), dtype=np.intp)
        for level, (low, high) in enumerate(zip(self.lows, self.highs, strict=True)):
            if level > 0:
                if len(point) > _MOST_PAIRS and len(points) > 1:
                    return None
                children = np.arange(1 << _SKIP)
                node = ((node << _SKIP)[:, np.newaxis] + children).ravel()
                point = np.repeat(point, 1 << _SKIP)
            squares = np.zeros(len(point))
            for axis in range(3):
                position = coordinates[axis][point]
                outside = np.maximum(low[axis][node] - position, 0.0)
                np.maximum(outside, position - high[axis][node], out=outside)
                squares += outside * outside
            near = np.flatnonzero(squares <= bound[point])
            point, node = point[near], node[near]
        return point, node


def _split(
    centres: NDArray[np.float64], depth: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the order of the triangles by leaf, and the starts of the leaves."""
    count = len(centres)
    order = np.arange(count, dtype=np.intp)
    starts = np.array([0, count], dtype=np.intp)
    for _ in range(depth):
        heads = starts[:-1]
        ordered = centres[order]
        size = np.maximum.reduceat(ordered, heads) - np.minimum.reduceat(ordered, heads)
        widest = np.argmax(size, axis=1)
        node = np.repeat(np.arange(len(heads)), np.diff(starts))
        key = ordered[np.arange(count), widest[node]]
        order = order[np.lexsort((key, node))]
        middle = (starts[:-1] + starts[1:]) // 2
        starts = np.sort(np.concatenate([starts, middle]))
    return order, starts


def _neighbourly(points: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return an order in which neighbours in space follow one another.

    Points of a block then go down the same branches, which stay in the cache.
    """
    low = points.min(axis=0)
    size = float(np.ptp(points, axis=0).max())
    cells = np.zeros(len(points), dtype=np.int64)
    if size > 0.0:
        steps = ((points - low) * (1023.0 / size)).astype(np.int64)
        for bit in range(10):
            for axis in range(3):
                cells |= ((steps[:, axis] >> bit) & 1) << (3 * bit + axis)
    return np.argsort(cells, kind="stable")
