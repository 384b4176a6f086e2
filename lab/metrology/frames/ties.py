"""What holds a network together: which exposures share which targets.

Two exposures are tied in space if they see at least three common targets that are not
on one line. Tied exposures are one group, and groups that share three targets between
them are tied likewise; what can't be reached so is a network of its own. (A few rigid
networks can't be built up in this way; they are refused all the same, for nothing
would check them.)

Three targets have no redundancy: a tie of fewer than four is a *weak tie*, where one
wrong point turns one part of the network against the other and nothing shows it.

The strength of the tie between two exposures is the least information about their
mutual rotation, for the rotation vector's normal matrix is tr(S)·I - S with S the
scatter of the common targets about their centre: its least eigenvalue is the sum of
the two smaller ones of S, taken here as (second invariant)/(trace), which is right
within a factor of two and needs no eigenvalues.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import (
    breadth_first_order,
    connected_components,
    minimum_spanning_tree,
)

from lab.metrology.errors import Degenerate
from lab.metrology.frames.exposures import Exposures

__all__ = [
    "NotConnected",
    "Pairs",
    "Ties",
    "WeakTie",
    "group_ties",
    "is_on_a_line",
    "judge_ties",
    "tie_pairs",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_FLATTEST = 1e-4  # strength over the spread along the line, squared lengths
_REDUNDANT = 4


class NotConnected(Degenerate):
    """The exposures fall into groups that share too few targets.

    `groups` holds the names of the exposures of each group.
    """

    groups: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class WeakTie:
    """Two groups of exposures that share fewer than four targets not on one line."""

    exposures: tuple[str, ...]
    others: tuple[str, ...]
    common_targets: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Ties:
    """How a network hangs together.

    Attributes
    ----------
    weak : tuple of WeakTie
        Where it is held by too little to be checked.
    seen_once : tuple of str
        Targets seen from a single exposure: they help nothing and nothing checks
        them.
    seen_twice : tuple of str
        Targets that a disagreement would be found at, but not whose fault it is.
    """

    weak: tuple[WeakTie, ...]
    seen_once: tuple[str, ...]
    seen_twice: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Common targets of pairs of exposures, first < second.

    `common` counts them, `strength_mm2` says how well they hold the pair's rotation;
    it is zero where they are on one line.
    """

    first: Index
    second: Index
    common: Index
    strength_mm2: Array
    count: int

    def components(self, at_least: int) -> tuple[int, Index]:
        """Group exposures that share so many targets not on one line."""
        held = (self.common >= at_least) & (self.strength_mm2 > 0.0)
        graph = csr_array(
            (np.ones(int(held.sum())), (self.first[held], self.second[held])),
            shape=(self.count, self.count),
        )
        groups, labels = connected_components(graph, directed=False)
        return int(groups), np.asarray(labels, dtype=np.intp)

    def strongest_tree(self, root: int) -> tuple[Index, Index]:
        """Return the order in which exposures are reached, and each one's parent."""
        held = (self.common >= 3) & (self.strength_mm2 > 0.0)
        graph = csr_array(
            (1.0 / self.strength_mm2[held], (self.first[held], self.second[held])),
            shape=(self.count, self.count),
        )
        order, parents = breadth_first_order(
            minimum_spanning_tree(graph), root, directed=False
        )
        return np.asarray(order, dtype=np.intp), np.asarray(parents, dtype=np.intp)


def tie_pairs(exposures: Exposures) -> Pairs:
    """Count the common targets of all pairs of exposures, with their strengths."""
    shape = (len(exposures.exposure_names), len(exposures.target_names))
    place = (exposures.exposure, exposures.target)

    def table(values: Array) -> csr_array:
        return csr_array((values, place), shape=shape)

    seen = table(np.ones(len(exposures))).T.tocsr()
    # About each exposure's middle the second moments keep their digits.
    middle = _middles(exposures)
    local = exposures.points_mm - middle[exposures.exposure]
    common = (table(np.ones(len(exposures))) @ seen).toarray()
    first, second = np.nonzero(np.triu(common >= 3, k=1))
    number = common[first, second]
    sums = [(table(local[:, a]) @ seen).toarray()[first, second] for a in range(3)]

    def scatter(a: int, b: int) -> Array:
        products = (table(local[:, a] * local[:, b]) @ seen).toarray()
        return np.asarray(products[first, second] - sums[a] * sums[b] / number)

    xx, yy, zz = (scatter(a, a) for a in range(3))
    xy, xz, yz = scatter(0, 1), scatter(0, 2), scatter(1, 2)
    trace = np.maximum(xx + yy + zz, 1e-300)
    minors = xx * yy + xx * zz + yy * zz - xy**2 - xz**2 - yz**2
    strength = np.maximum(minors, 0.0) / trace
    strength[strength <= _FLATTEST * trace] = 0.0
    return Pairs(
        first.astype(np.intp),
        second.astype(np.intp),
        np.round(number).astype(np.intp),
        strength,
        shape[0],
    )


def is_on_a_line(points_mm: Array, share: float = _FLATTEST) -> bool:
    """Say whether points are on one line, so that they hold no rotation about it."""
    if len(points_mm) < 3:
        return True
    local = points_mm - points_mm.mean(axis=0)
    values = np.linalg.eigvalsh(local.T @ local)
    return bool(values[0] + values[1] <= share * max(float(values[2]), 1e-300))


def group_ties(
    labels: Index, seen: Array, coordinates_mm: Array, at_least: int
) -> Index:
    """Join groups that share so many targets not on one line, as far as it goes.

    Parameters
    ----------
    labels : ndarray of int, shape (E,)
        The group of each exposure.
    seen : ndarray of bool, shape (E, T)
        Which exposure sees which target.
    coordinates_mm : ndarray, shape (T, 3)
        Where the targets are, in one frame.
    at_least : int
        The fewest common targets that join.

    Returns
    -------
    labels : ndarray of int, shape (E,)
    """
    joined = labels.copy()
    while True:
        names = np.unique(joined)
        held = np.array([seen[joined == name].any(axis=0) for name in names])
        for a, b in zip(*np.triu_indices(len(names), k=1), strict=True):
            both = held[a] & held[b]
            if both.sum() >= at_least and not is_on_a_line(coordinates_mm[both]):
                joined[joined == names[b]] = names[a]
                break
        else:
            return joined


def judge_ties(exposures: Exposures, pairs: Pairs, coordinates_mm: Array) -> Ties:
    """Say where a solved network hangs by too little."""
    count = np.bincount(exposures.target, minlength=len(exposures.target_names))
    _, labels = pairs.components(_REDUNDANT)
    weak: tuple[WeakTie, ...] = ()
    if labels.max() > 0:
        seen = np.zeros(
            (len(exposures.exposure_names), len(exposures.target_names)), dtype=bool
        )
        seen[exposures.exposure, exposures.target] = True
        labels = group_ties(labels, seen, coordinates_mm, _REDUNDANT)
        weak = _weak_ties(exposures, labels, seen)
    names = np.array(exposures.target_names, dtype=object)
    return Ties(weak, tuple(names[count == 1]), tuple(names[count == 2]))


def _weak_ties(
    exposures: Exposures, labels: Index, seen: NDArray[np.bool_]
) -> tuple[WeakTie, ...]:
    """List each group beside everything else."""
    groups = np.unique(labels)
    if len(groups) == 2:
        groups = groups[1:]
    found = []
    for group in groups if len(np.unique(labels)) > 1 else ():
        inside = labels == group
        both = seen[inside].any(axis=0) & seen[~inside].any(axis=0)
        found.append(
            WeakTie(
                _named(exposures.exposure_names, inside),
                _named(exposures.exposure_names, ~inside),
                _named(exposures.target_names, both),
            )
        )
    return tuple(found)


def _named(names: tuple[str, ...], chosen: NDArray[np.bool_]) -> tuple[str, ...]:
    return tuple(names[index] for index in np.flatnonzero(chosen))


def _middles(exposures: Exposures) -> Array:
    count = np.bincount(exposures.exposure, minlength=len(exposures.exposure_names))
    sums = np.stack(
        [
            np.bincount(
                exposures.exposure,
                weights=exposures.points_mm[:, axis],
                minlength=len(count),
            )
            for axis in range(3)
        ],
        axis=1,
    )
    return np.asarray(sums / np.maximum(count, 1)[:, np.newaxis])
