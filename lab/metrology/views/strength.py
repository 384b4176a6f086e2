r"""How strongly the targets in view hold the part's pose, where it matters.

From one pose the tracker finds the part's pose p (a shift and a turn) from the targets
that it sees, by least squares with their noise:

.. math:: \Sigma_p = \Bigl(\sum_j A_j^\top W_j A_j\Bigr)^{-1},\qquad
    A_j = [\,I \;\; -[x_j]_\times\,].

At a point of interest q the part is then known with :math:`A_q \Sigma_p A_q^\top`; its
largest standard deviation there, over all directions and all points of interest, is
what is judged. Targets added never make it worse.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.alignment.bestfit import derivatives
from lab.metrology.views.trackers import PlannedTargets, Poses, Tracker

__all__ = ["Strengths", "measure_strengths"]

Array = NDArray[np.float64]

_SINGULAR = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Strengths:
    """Information of every target at every pose, ready to be summed.

    Attributes
    ----------
    information : ndarray, shape (P, N, 6, 6)
        Of the part's pose, about the middle of the points of interest, with turns
        in units of `length_mm`; zero where the target isn't seen.
    levers : ndarray, shape (Q, 3, 6)
        From the pose to the points of interest.
    """

    information: Array
    levers: Array

    def worst_mm(self, pose: int, chosen: NDArray[np.intp]) -> float:
        """Return the largest standard deviation with some targets, one pose."""
        total = self.information[pose, chosen].sum(axis=0)
        return float(self._worst(total[np.newaxis])[0])

    def worst_after_loss_mm(self, pose: int, chosen: NDArray[np.intp]) -> float:
        """Return the same when the target that hurts most is lost."""
        own = self.information[pose, chosen]
        if len(own) == 0:
            return float("inf")
        return float(self._worst(own.sum(axis=0) - own).max())

    def of_all(self, seen: NDArray[np.bool_]) -> tuple[Array, Array, NDArray[np.intp]]:
        """Return, for every pose, what all seen targets give.

        Returns
        -------
        worst_mm, after_loss_mm : ndarray, shape (P,)
            Infinite where the pose isn't held.
        weakest : ndarray of int, shape (P,)
            The target whose loss hurts most, -1 where none is seen.
        """
        total = np.einsum("pn,pnij->pij", seen.astype(np.float64), self.information)
        worst = self._worst(total)
        after = np.full(len(seen), np.inf)
        weakest = np.full(len(seen), -1, dtype=np.intp)
        pose, target = np.nonzero(seen)
        lost = self._worst(total[pose] - self.information[pose, target])
        for index in range(len(seen)):
            low, high = np.searchsorted(pose, [index, index + 1])
            if high > low:
                found = low + int(np.argmax(lost[low:high]))
                after[index], weakest[index] = lost[found], target[found]
        return worst, after, weakest

    def _worst(self, information: Array) -> Array:
        """Return the largest standard deviation for each of many sums, (M, 6, 6)."""
        found = np.full(len(information), np.inf)
        values, vectors = np.linalg.eigh(information)
        held = np.flatnonzero(values[:, 0] > _SINGULAR * np.maximum(values[:, 5], 0.0))
        if len(held):
            inverse = (
                vectors[held]
                / values[held, np.newaxis]
                @ np.swapaxes(vectors[held], 1, 2)
            )
            spread = np.einsum(
                "qab,mbc,qdc->mqad", self.levers, inverse, self.levers, optimize=True
            )
            largest = np.linalg.eigvalsh(spread)[:, :, 2].max(axis=1)
            found[held] = np.sqrt(np.maximum(largest, 0.0))
        return found


def measure_strengths(
    targets: PlannedTargets,
    poses: Poses,
    tracker: Tracker,
    seen: NDArray[np.bool_],
    points_of_interest_mm: Array,
) -> Strengths:
    """Prepare the strengths of all targets at all poses.

    Parameters
    ----------
    targets, poses, tracker : PlannedTargets, Poses, Tracker
        As for `see_targets`.
    seen : ndarray of bool, shape (P, N)
        Which target is seen from which pose.
    points_of_interest_mm : ndarray, shape (Q, 3)
        Characteristics, or corners of the part.

    Returns
    -------
    Strengths
    """
    interest = np.asarray(points_of_interest_mm, dtype=np.float64)
    middle = interest.mean(axis=0)
    local = targets.points_mm - middle
    length = max(float(np.linalg.norm(local, axis=1).max(initial=1.0)), 1.0)
    unit = np.array([1.0, 1.0, 1.0, 1.0 / length, 1.0 / length, 1.0 / length])
    design = derivatives(local, with_scale=False) * unit
    pose, target = np.nonzero(seen)
    away = targets.points_mm[target] - poses.places_mm[pose]
    ranges = np.linalg.norm(away, axis=1)
    sight = away / ranges[:, np.newaxis]
    across = tracker.noise.lateral_at(ranges) ** -2.0 if len(ranges) else ranges
    along = tracker.noise.depth_at(ranges) ** -2.0 if len(ranges) else ranges
    weight = across[:, np.newaxis, np.newaxis] * np.eye(3) + (along - across)[
        :, np.newaxis, np.newaxis
    ] * (sight[:, :, np.newaxis] * sight[:, np.newaxis, :])
    rows = design[target]
    information = np.zeros((*seen.shape, 6, 6))
    information[pose, target] = np.swapaxes(rows, 1, 2) @ weight @ rows
    levers = derivatives(interest - middle, with_scale=False) * unit
    return Strengths(information, levers)
