"""The fewest things that meet covering conditions, by integer programme.

Minimise the sum of x (each 0 or 1) so that every row of a table of counts reaches its
need, and pairs in conflict are not both chosen. HiGHS, through SciPy, proves the
optimum or gives the best found and the proven lower bound at its time limit.

Conditions that are no counts come in as cuts. They must be *monotone*: choosing more
never breaks them. If a choice fails such a condition, so does any choice that holds
nothing outside it, so that at least one of the others must be chosen: a valid cut, the
stronger the larger the failing set it is taken from. When no condition fails the
optimum is proven for all of them (logic-based Benders decomposition [1]_).

References
----------
.. [1] Hooker, J. N., Ottosson, G. (2003). Logic-based Benders decomposition.
   Mathematical Programming 96, 33-60.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, vstack

from lab.metrology.errors import Degenerate

__all__ = ["Chosen", "NoPlan", "Programme", "greedy_cover"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

Cut = tuple[NDArray[np.bool_], int]
FindCuts = Callable[[NDArray[np.bool_]], list[Cut]]


class NoPlan(Degenerate):
    """No choice meets the conditions."""


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """A choice, and what is proven of it.

    Attributes
    ----------
    chosen : ndarray of bool, shape (S,)
        Meets every count; every condition too if `meets_all`.
    lower_bound : int
        No choice that meets the counts (and the cuts so far) is smaller.
    meets_all : bool
        Whether the conditions that are no counts were met as well.
    """

    chosen: NDArray[np.bool_]
    lower_bound: int
    meets_all: bool

    @property
    def count(self) -> int:
        """How many were chosen."""
        return int(self.chosen.sum())


@dataclass(frozen=True, slots=True, eq=False)
class Programme:
    """Covering conditions on S things.

    Attributes
    ----------
    table : ndarray of bool, shape (R, S)
        Which thing counts for which row.
    needs : ndarray of int, shape (R,)
        How many each row needs.
    conflicts : ndarray of int, shape (K, 2)
        Pairs of which one may be chosen at most.
    allowed : ndarray of bool, shape (S,)
        What may be chosen at all.
    """

    table: NDArray[np.bool_]
    needs: Index
    conflicts: Index
    allowed: NDArray[np.bool_]

    def solve(self, find_cuts: FindCuts, time_limit_s: float) -> Chosen:
        """Find the fewest.

        Parameters
        ----------
        find_cuts : callable
            From a choice to the cuts that it breaks: things of which at least so many
            must be chosen. None where all conditions are met.
        time_limit_s : float
            For everything; at its end the best that was found is returned.

        Returns
        -------
        Chosen

        Raises
        ------
        NoPlan
            If nothing meets the counts and the cuts.
        """
        deadline = time.monotonic() + time_limit_s
        cuts: list[Cut] = []
        bound = 0
        while True:
            left = max(deadline - time.monotonic(), 0.1)
            choice, lower = self._optimum(cuts, left)
            bound = max(bound, lower)
            broken = find_cuts(choice)
            if not broken:
                return Chosen(choice, bound, meets_all=True)
            if time.monotonic() >= deadline:
                return Chosen(choice, bound, meets_all=False)
            cuts.extend(broken)

    def _optimum(
        self, cuts: list[Cut], time_limit_s: float
    ) -> tuple[NDArray[np.bool_], int]:
        size = self.table.shape[1]
        rows = [csr_array(self.table.astype(np.float64))]
        lower = [self.needs.astype(np.float64)]
        upper = [np.full(len(self.needs), np.inf)]
        if cuts:
            rows.append(csr_array(np.array([cut for cut, _ in cuts], dtype=np.float64)))
            lower.append(np.array([need for _, need in cuts], dtype=np.float64))
            upper.append(np.full(len(cuts), np.inf))
        if len(self.conflicts):
            count = len(self.conflicts)
            place = (np.repeat(np.arange(count), 2), self.conflicts.ravel())
            rows.append(csr_array((np.ones(2 * count), place), shape=(count, size)))
            lower.append(np.full(count, -np.inf))
            upper.append(np.ones(count))
        solved = milp(
            np.ones(size),
            constraints=LinearConstraint(
                vstack(rows, format="csr"), np.concatenate(lower), np.concatenate(upper)
            ),
            integrality=np.ones(size),
            bounds=Bounds(np.zeros(size), self.allowed.astype(np.float64)),
            options={"time_limit": time_limit_s, "mip_rel_gap": 0.0},
        )
        if solved.x is None:
            if solved.status == 1:
                raise NoPlan(
                    f"No plan was found within {time_limit_s:.0f} s; allow more time "
                    "or fewer candidates."
                )
            raise NoPlan(
                "No choice meets the conditions together: candidates that may not "
                "stand side by side are all needed. Allow them to be nearer, or offer "
                "more."
            )
        # The bound is found in floats: what is 21.0000001 is 21.
        lowest = math.ceil(float(solved.mip_dual_bound) - 1e-6)
        return np.asarray(solved.x > 0.5), max(lowest, 0)


def greedy_cover(programme: Programme) -> NDArray[np.bool_]:
    """Choose, one by one, what fills the most rows that still need something.

    What a person does with a pencil; it needs more than the fewest as a rule.

    Raises
    ------
    NoPlan
        If it can't go on.
    """
    need = programme.needs.copy()
    free = programme.allowed.copy()
    chosen = np.zeros(len(free), dtype=bool)
    beside: dict[int, list[int]] = {}
    for a, b in programme.conflicts.tolist():
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    while np.any(need > 0):
        gain = (programme.table[need > 0].sum(axis=0)) * free
        best = int(np.argmax(gain))
        if gain[best] == 0:
            raise NoPlan("Choosing one by one comes to an end before all is covered.")
        chosen[best], free[best] = True, False
        free[beside.get(best, [])] = False
        need = need - programme.table[:, best]
    return chosen
