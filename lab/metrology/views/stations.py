"""The fewest stations that cover everything that must be covered.

Candidates are poses; only those that see enough can be used. What must be covered may
be the targets (each from two stations, so that something checks it) or patches of the
surface (once). The chosen stations must hang together: from each to every other by
steps between stations that share four targets.

That they hang together is no count, and choosing more can break it (a station alone).
Its cuts are of another kind: where the chosen stations fall apart, for a station a of
one part C and a station b outside it,

    sum of the stations outside C that share enough with C  >=  x_a + x_b - 1.
"""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components

from lab.metrology import arrays
from lab.metrology.errors import BadShape, OutOfDomain
from lab.metrology.views.programme import NoPlan
from lab.metrology.views.trackers import Poses

__all__ = ["StationPlan", "advise_stations"]

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

_SHARED = 4


@dataclass(frozen=True, slots=True, eq=False)
class StationPlan:
    """Which poses to use.

    Attributes
    ----------
    stations : tuple of str
        Chosen among the candidates.
    lower_bound : int
        No choice is smaller.
    hang_together : bool
        Whether every two are joined by steps with four shared targets.
    uncovered : ndarray of int
        What no candidate that sees enough can cover as often as asked; it was left
        out of the conditions.
    """

    stations: tuple[str, ...]
    lower_bound: int
    hang_together: bool
    uncovered: NDArray[np.intp]

    @property
    def is_proven(self) -> bool:
        """Whether no smaller choice exists."""
        return self.hang_together and len(self.stations) == self.lower_bound

    @property
    def gap(self) -> int:
        """How many fewer there could be at most."""
        return len(self.stations) - self.lower_bound


def advise_stations(
    poses: Poses,
    sees_enough: Flags,
    covers: Flags,
    *,
    times: int = 1,
    seen_targets: Flags | None = None,
    time_limit_s: float = 30.0,
) -> StationPlan:
    """Find the fewest stations.

    Parameters
    ----------
    poses : Poses
        P candidates.
    sees_enough : ndarray of bool, shape (P,)
        Which of them see enough targets.
    covers : ndarray of bool, shape (P, K)
        What each candidate covers.
    times : int
        How often each thing must be covered.
    seen_targets : ndarray of bool, shape (P, N), optional
        Which targets each candidate sees: the stations must then hang together.
    time_limit_s : float
        At its end the best that was found is returned, with the bound.

    Returns
    -------
    StationPlan

    Raises
    ------
    NoPlan
        If no candidate sees enough, or the candidates can't hang together.
    BadShape, OutOfDomain
        If the tables don't fit together.

    Examples
    --------
    >>> from lab.metrology.views.trackers import poses_looking_at
    >>> poses = poses_looking_at(
    ...     [[0, -900, 0], [900, 0, 0], [0, 900, 0]], [0, 0, 0], names=["A", "B", "C"]
    ... )
    >>> covers = np.array([[1, 1, 0], [0, 1, 0], [0, 1, 1]], dtype=bool)
    >>> advise_stations(poses, np.ones(3, dtype=bool), covers).stations
    ('A', 'C')
    """
    if times < 1:
        raise OutOfDomain(f"times is {times}; everything must be covered once at least")
    limit = arrays.positive("time_limit_s", time_limit_s)
    usable, table = np.asarray(sees_enough, bool), np.asarray(covers, bool)
    if usable.shape != (len(poses),) or table.ndim != 2 or len(table) != len(poses):
        raise BadShape(
            f"For {len(poses)} poses, sees_enough has shape {usable.shape} and covers "
            f"{table.shape}; they need a row each."
        )
    if not np.any(usable):
        raise NoPlan("No candidate sees enough; add targets first.")
    coverable = (table & usable[:, np.newaxis]).sum(axis=0) >= times
    tied = None
    if seen_targets is not None:
        shared = np.asarray(seen_targets, dtype=np.int64)
        tied = (shared @ shared.T) >= _SHARED
    search = _Search(usable, table[:, coverable], times, tied)
    chosen, bound, together = search.solve(limit)
    return StationPlan(
        tuple(poses.names[index] for index in np.flatnonzero(chosen)),
        bound,
        together,
        np.flatnonzero(~coverable),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    usable: Flags
    table: Flags
    times: int
    tied: Flags | None

    def solve(self, time_limit_s: float) -> tuple[Flags, int, bool]:
        deadline = time.monotonic() + time_limit_s
        cuts: list[Array] = []
        bound = 0
        while True:
            left = max(deadline - time.monotonic(), 0.1)
            chosen, lower = self._optimum(cuts, left)
            bound = max(bound, lower)
            parts = self._parts(chosen)
            if len(parts) <= 1:
                return chosen, bound, True
            if time.monotonic() >= deadline:
                return chosen, bound, False
            cuts.extend(self._apart(parts))

    def _parts(self, chosen: Flags) -> list[NDArray[np.intp]]:
        index = np.flatnonzero(chosen)
        if self.tied is None or len(index) == 0:
            return [index]
        count, labels = connected_components(
            csr_array(self.tied[np.ix_(index, index)]), directed=False
        )
        return [index[labels == part] for part in range(count)]

    def _apart(self, parts: list[NDArray[np.intp]]) -> list[Array]:
        """Return rows r with r·x <= 1: for a in C and b outside, what joins them."""
        found: list[Array] = []
        if self.tied is None:
            return found
        for part in parts:
            joining = self.tied[part].any(axis=0) & self.usable
            joining[part] = False
            other = next(each for each in parts if each is not part)
            row = np.zeros(len(self.usable))
            row[joining] = -1.0
            row[part[0]] += 1.0
            row[other[0]] += 1.0
            found.append(row)
        return found

    def _optimum(self, cuts: list[Array], time_limit_s: float) -> tuple[Flags, int]:
        size = len(self.usable)
        rows = [self.table.T.astype(np.float64), np.ones((1, size))]
        lower = [np.full(self.table.shape[1], float(self.times)), np.ones(1)]
        upper = [np.full(self.table.shape[1] + 1, np.inf)]
        if cuts:
            rows.append(np.array(cuts))
            lower.append(np.full(len(cuts), -np.inf))
            upper.append(np.ones(len(cuts)))
        solved = milp(
            np.ones(size),
            constraints=LinearConstraint(
                csr_array(np.vstack(rows)), np.concatenate(lower), np.concatenate(upper)
            ),
            integrality=np.ones(size),
            bounds=Bounds(np.zeros(size), self.usable.astype(np.float64)),
            options={"time_limit": time_limit_s, "mip_rel_gap": 0.0},
        )
        if solved.x is None:
            raise NoPlan(
                "The candidates that see enough can't cover everything and hang "
                "together: add stations between them, or targets that both see."
            )
        bound = int(np.ceil(float(solved.mip_dual_bound) - 1e-6))
        return np.asarray(solved.x > 0.5), max(bound, 0)
