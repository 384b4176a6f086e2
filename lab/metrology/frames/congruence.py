r"""Differences of two frames tested with their full covariance, datum apart.

With d the differences of the common targets and A the derivatives by what may differ
without anything having moved (shift, turn, and scale where it is free),

.. math:: W = \Sigma^{-1} - \Sigma^{-1} A\,(A^\top \Sigma^{-1} A)^{-1} A^\top
    \Sigma^{-1}

is their weight after these have been fitted. Σ of a free network is singular along
just these directions; adding any multiple of A Aᵀ to it makes it regular and does not
change W.

Shifts of the targets M alone are estimated as :math:`(W_{MM})^{-1} (W d)_M` with the
covariance :math:`(W_{MM})^{-1}`: all other targets are then what holds them together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.alignment.bestfit import derivatives

__all__ = ["Congruence", "Shifts"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_FLOOR = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Shifts:
    """Shifts of some targets, estimated together.

    `shifts_mm` (M, 3), `covariance_mm2` (3M, 3M).
    """

    shifts_mm: Array
    covariance_mm2: Array


@dataclass(frozen=True, slots=True, eq=False)
class Congruence:
    """Differences d of n targets and their weight after shift, turn (and scale).

    `design` holds the derivatives (3n, 6 or 7), `covariance` the regular Σ.
    """

    differences: Array
    design: Array
    covariance: Array
    weight: Array

    @classmethod
    def of(
        cls, differences: Array, places: Array, covariance: Array, *, with_scale: bool
    ) -> Congruence:
        """Prepare the test of differences, shape (n, 3), at places, shape (n, 3)."""
        arms = places - places.mean(axis=0)
        design = derivatives(arms, with_scale=with_scale)
        design = design.reshape(3 * len(places), -1)
        unit = design / np.linalg.norm(design, axis=0)
        size = float(np.trace(covariance)) / len(covariance)
        # Only what moves nothing may be added where the scale is fixed.
        rigid = unit[:, :6]
        regular = covariance + 1e3 * size * (rigid @ rigid.T)
        # Held targets have no uncertainty at all; a hundredth of the usual one keeps
        # the matrix regular and changes no test.
        regular[np.diag_indices(len(regular))] += _FLOOR * size
        inverse = np.linalg.inv(regular)
        across = inverse @ unit
        weight = inverse - across @ np.linalg.solve(unit.T @ across, across.T)
        return cls(differences.reshape(-1), design, regular, 0.5 * (weight + weight.T))

    @property
    def statistic(self) -> float:
        """The whole of what is left, χ² with 3n less the columns of the design."""
        return float(self.differences @ self.weight @ self.differences)

    @property
    def degrees(self) -> int:
        """Degrees of freedom of `statistic`."""
        return len(self.differences) - int(self.design.shape[1])

    def parameters(self) -> tuple[Array, Array]:
        """Return shift, turn (and scale) about the middle, and their covariance."""
        across = np.linalg.solve(self.covariance, self.design)
        cofactors = np.linalg.inv(self.design.T @ across)
        return np.asarray(cofactors @ (across.T @ self.differences)), cofactors

    def each(self) -> tuple[Array, Array]:
        """Return T of every target alone, and the weights of its shift, (n, 3, 3)."""
        count = len(self.differences) // 3
        blocks = self.weight.reshape(count, 3, count, 3)
        own = blocks[np.arange(count), :, np.arange(count), :]
        pull = (self.weight @ self.differences).reshape(count, 3)
        solved = np.linalg.solve(own, pull[:, :, np.newaxis])[:, :, 0]
        return np.einsum("ni,ni->n", pull, solved), own

    def shifts(self, moved: Index) -> Shifts:
        """Estimate the shifts of some targets together."""
        rows = (3 * moved[:, np.newaxis] + np.arange(3)).ravel()
        inverse = np.linalg.inv(self.weight[np.ix_(rows, rows)])
        pull = (self.weight @ self.differences)[rows]
        return Shifts((inverse @ pull).reshape(-1, 3), inverse)
