"""What is said of a set of deviations: share inside, percentiles, worst regions.

Points of a scan are dense where the scanner lingered. Where weights are given (the
area that each point stands for) shares, means and percentiles are of the surface and
not of the points.

Regions are groups of points outside the tolerance that hang together: points in the
same or neighbouring cells of a cubic grid. Above and below are kept apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from lab.metrology import arrays
from lab.metrology.errors import OutOfDomain
from lab.metrology.meshes import Mesh

__all__ = [
    "PERCENTS",
    "DeviationSummary",
    "Region",
    "summarise_deviations",
    "vertex_areas",
    "worst_regions",
]

PERCENTS = (0.1, 1.0, 2.5, 5.0, 25.0, 50.0, 75.0, 95.0, 97.5, 99.0, 99.9)


_MOST_CELLS = 2.0**62


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """A group of neighbouring points outside the tolerance, on one side of it.

    `share` is of the whole weight, `worst_mm` the deviation farthest from the
    tolerance and `worst_at_mm` where it is; `size_mm` the extents of the group.
    """

    points: int
    share: float
    mean_mm: float
    worst_mm: float
    worst_at_mm: NDArray[np.float64]
    centre_mm: NDArray[np.float64]
    size_mm: NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class DeviationSummary:
    """Figures of a set of deviations.

    Attributes
    ----------
    points : int
        How many were judged.
    left_out : int
        How many lay beyond `reach_mm` and were left out.
    share_inside, share_below, share_above : float
        Of the weight, against the tolerance; limits count as inside.
    mean_mm, rms_mm, lowest_mm, highest_mm : float
        Of the deviations judged.
    percentiles_mm : dict
        Percent to deviation: the least below or at which that share lies.
    """

    points: int
    left_out: int
    share_inside: float
    share_below: float
    share_above: float
    mean_mm: float
    rms_mm: float
    lowest_mm: float
    highest_mm: float
    percentiles_mm: dict[float, float]


def summarise_deviations(
    distances_mm: ArrayLike,
    *,
    lower_mm: float,
    upper_mm: float,
    weights: ArrayLike | None = None,
    reach_mm: float = math.inf,
) -> DeviationSummary:
    """Summarise signed distances against a tolerance.

    Parameters
    ----------
    distances_mm : array_like, shape (N,)
        Positive outside.
    lower_mm, upper_mm : float
        The tolerance.
    weights : array_like, shape (N,), optional
        What each point stands for, not negative: see `vertex_areas`.
    reach_mm : float
        Points farther away are not of this surface; they are left out, and counted.

    Returns
    -------
    summary : DeviationSummary

    Raises
    ------
    BadShape, NotFinite, TooFew
        If an input isn't what it should be, or nothing lies within reach.
    OutOfDomain
        If the tolerance is upside down, a weight negative, or all of them zero.

    Examples
    --------
    >>> told = summarise_deviations([-0.2, 0.0, 0.1, 0.3], lower_mm=-0.1, upper_mm=0.1)
    >>> told.share_inside, told.share_below, told.share_above
    (0.5, 0.25, 0.25)
    """
    distances = arrays.vector("distances_mm", distances_mm)
    lower, upper = _tolerance(lower_mm, upper_mm)
    share = _weights(weights, distances)
    near = np.abs(distances) <= reach_mm
    left_out = int(np.count_nonzero(~near))
    distances, share = distances[near], share[near]
    arrays.vector("distances_mm within reach", distances)
    total = float(share.sum())
    if total <= 0.0:
        raise OutOfDomain("weights of the points within reach are all zero.")
    share = share / total
    below, above = distances < lower, distances > upper
    share_below, share_above = float(share[below].sum()), float(share[above].sum())
    inside = float(share[~below & ~above].sum())
    return DeviationSummary(
        points=len(distances),
        left_out=left_out,
        share_inside=inside,
        share_below=share_below,
        share_above=share_above,
        mean_mm=float(share @ distances),
        rms_mm=math.sqrt(float(share @ distances**2)),
        lowest_mm=float(distances.min()),
        highest_mm=float(distances.max()),
        percentiles_mm=_percentiles(distances, share),
    )


def worst_regions(
    points_mm: ArrayLike,
    distances_mm: ArrayLike,
    *,
    lower_mm: float,
    upper_mm: float,
    apart_mm: float,
    most: int = 10,
    fewest_points: int = 1,
    weights: ArrayLike | None = None,
) -> tuple[Region, ...]:
    """Group the points outside a tolerance, and return the worst groups first.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        Where the deviations are.
    distances_mm : array_like, shape (N,)
        Positive outside.
    lower_mm, upper_mm : float
        The tolerance.
    apart_mm : float
        The cell of the grid: points no farther apart along each axis are one group;
        groups more than twice that apart are two.
    most : int
        How many regions are returned.
    fewest_points : int
        Smaller groups are specks and not returned.
    weights : array_like, shape (N,), optional
        As for `summarise_deviations`.

    Returns
    -------
    regions : tuple of Region
        By how far their worst point lies outside the tolerance.

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain
        If an input isn't what it should be.

    Examples
    --------
    >>> places = [[0, 0, 0], [1, 0, 0], [50, 0, 0], [90, 0, 0]]
    >>> found = worst_regions(
    ...     places, [0.2, 0.3, -0.5, 0], lower_mm=-0.1, upper_mm=0.1, apart_mm=2
    ... )
    >>> [(region.points, region.worst_mm) for region in found]
    [(1, -0.5), (2, 0.3)]
    """
    points = arrays.points("points_mm", points_mm)
    distances = arrays.vector("distances_mm", distances_mm)
    arrays.same_length(points_mm=points, distances_mm=distances)
    lower, upper = _tolerance(lower_mm, upper_mm)
    cell = arrays.positive("apart_mm", apart_mm)
    share = _weights(weights, distances)
    share = share / max(float(share.sum()), 1e-300)
    regions: list[Region] = []
    for side, outside in ((-1.0, distances < lower), (1.0, distances > upper)):
        index = np.flatnonzero(outside)
        if len(index):
            groups = _groups(points[index], cell)
            members = _members(groups, fewest_points)
            regions += [
                _region(points[which], distances[which], share[which], side)
                for which in (index[each] for each in members)
            ]
    regions.sort(
        key=lambda region: max(lower - region.worst_mm, region.worst_mm - upper),
        reverse=True,
    )
    return tuple(regions[:most])


def vertex_areas(mesh: Mesh) -> NDArray[np.float64]:
    """Return the area that each vertex of a mesh stands for, in mm².

    A third of the area of each triangle at it.

    Examples
    --------
    >>> from lab.metrology.meshes import make_mesh
    >>> mesh = make_mesh([[0, 0, 0], [3, 0, 0], [0, 2, 0]], [[0, 1, 2]])
    >>> vertex_areas(mesh).tolist()
    [1.0, 1.0, 1.0]
    """
    corners = mesh.vertices_mm[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    thirds = np.linalg.norm(normals, axis=1) / 6.0
    areas = np.bincount(
        mesh.triangles.ravel(),
        weights=np.repeat(thirds, 3),
        minlength=len(mesh.vertices_mm),
    )
    return areas.astype(np.float64)


def _tolerance(lower_mm: float, upper_mm: float) -> tuple[float, float]:
    lower = arrays.finite("lower_mm", lower_mm)
    upper = arrays.finite("upper_mm", upper_mm)
    if lower > upper:
        raise OutOfDomain(
            f"The tolerance is upside down: lower_mm is {lower:g}, upper_mm {upper:g}."
        )
    return lower, upper


def _weights(
    weights: ArrayLike | None, distances: NDArray[np.float64]
) -> NDArray[np.float64]:
    if weights is None:
        return np.ones(len(distances))
    found = arrays.vector("weights", weights)
    arrays.same_length(distances_mm=distances, weights=found)
    if np.any(found < 0.0):
        worst = int(np.argmin(found))
        raise OutOfDomain(
            f"weights[{worst}] is {found[worst]:g}; none may be negative."
        )
    return found


def _percentiles(
    distances: NDArray[np.float64], share: NDArray[np.float64]
) -> dict[float, float]:
    order = np.argsort(distances)
    reached = np.cumsum(share[order])
    wanted = np.array(PERCENTS) / 100.0
    # The sum of many shares falls short of one by rounding.
    places = np.searchsorted(reached, wanted * reached[-1] * (1.0 - 1e-12))
    values = distances[order][np.minimum(places, len(order) - 1)]
    return {
        percent: float(value) for percent, value in zip(PERCENTS, values, strict=True)
    }


def _groups(points: NDArray[np.float64], cell: float) -> NDArray[np.intp]:
    """Return the number of the group of neighbouring cells that each point lies in."""
    steps = np.floor((points - points.min(axis=0)) / cell).astype(np.int64) + 1
    spans = steps.max(axis=0) + 2
    if float(np.prod(spans.astype(np.float64))) > _MOST_CELLS:
        raise OutOfDomain(
            f"apart_mm is {cell:g}, far too small for points that lie "
            f"{float(np.ptp(points, axis=0).max()):g} mm apart."
        )
    key = (steps[:, 0] * spans[1] + steps[:, 1]) * spans[2] + steps[:, 2]
    cells, owner = np.unique(key, return_inverse=True)
    links = []
    for offset in _half_of_the_neighbours(spans):
        place = np.minimum(np.searchsorted(cells, cells + offset), len(cells) - 1)
        there = np.flatnonzero(cells[place] == cells + offset)
        links.append(np.column_stack([there, place[there]]))
    pairs = np.vstack(links)
    graph = coo_array(
        (np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (len(cells), len(cells))
    )
    labels = connected_components(graph, directed=False)[1]
    return np.asarray(labels[owner.reshape(-1)], dtype=np.intp)


def _half_of_the_neighbours(spans: NDArray[np.int64]) -> list[int]:
    """Return the keys' differences of 13 of the 26 neighbours; the rest mirror them."""
    offsets = [
        int((x * spans[1] + y) * spans[2] + z)
        for x in (-1, 0, 1)
        for y in (-1, 0, 1)
        for z in (-1, 0, 1)
    ]
    return [offset for offset in offsets if offset > 0]


def _members(groups: NDArray[np.intp], fewest: int) -> list[NDArray[np.intp]]:
    """Return the members of each group that is large enough."""
    order = np.argsort(groups, kind="stable")
    starts = np.flatnonzero(np.diff(groups[order])) + 1
    return [each for each in np.split(order, starts) if len(each) >= fewest]


def _region(
    points: NDArray[np.float64],
    distances: NDArray[np.float64],
    share: NDArray[np.float64],
    side: float,
) -> Region:
    worst = int(np.argmax(side * distances))
    return Region(
        points=len(points),
        share=float(share.sum()),
        mean_mm=float(distances.mean()),
        worst_mm=float(distances[worst]),
        worst_at_mm=points[worst],
        centre_mm=points.mean(axis=0),
        size_mm=np.ptp(points, axis=0),
    )
