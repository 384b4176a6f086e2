"""What cylinders and cones share: an axis, and the search for its direction.

A state is an orthonormal basis (rows e1, e2, axis), the round cross-section in
the plane of e1 and e2 through the local origin (see `lab.metrology.fits.round`),
and for the cone its half angle. A step tilts the axis by an exact rotation.

No start is asked of the caller. Some six hundred directions over the hemisphere and the
points' principal axes are ranked by a closed-form fit after Taubin [1]_ of the
cross-section seen along each; the solver is run from the best of them, apart from
one another, on a sample of the points, and the least sum of squares wins.

References
----------
.. [1] Taubin, G. (1991). IEEE Trans. Pattern Anal. Mach. Intell. 13, 1115-1138.
.. [2] Lukács, G., Martin, R., Marshall, D. (1998). Faithful least-squares fitting
   of spheres, cylinders, cones and tori. ECCV '98, LNCS 1406, 671-686.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from lab.metrology.fits.local import LocalPoints
from lab.metrology.fits.refusals import NotConverged
from lab.metrology.fits.round import (
    normalised,
    round_distances,
    section_derivatives,
    tangent_of,
)
from lab.metrology.fits.solver import Model, Solution, sample, solve

__all__ = ["AxialModel", "AxialState", "best_start", "directions_over_hemisphere"]

_DIRECTIONS = 600
_SEARCHED = 400  # points that the search for a start looks at
_APART = math.cos(math.radians(12.0))


@dataclass(frozen=True, slots=True, eq=False)
class AxialState:
    """Basis (rows e1, e2, axis), cross-section (A, b1, b2, D), half angle."""

    basis: NDArray[np.float64]
    section: NDArray[np.float64]
    half_angle_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class AxialModel:
    """A cylinder, or with `is_cone` a cone, for the solver.

    With the distance d2 from the cross-section, the outward unit vector u there,
    z along the axis and the half angle ψ, the distance from a generator is
    ``d = cos ψ·d2 - sin ψ·z``; a cylinder has ψ = 0. Steps are three along the
    cross-section's constraint, two tilts, and the half angle.
    """

    is_cone: bool

    def rows(
        self, state: AxialState, points: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return distances and their derivatives with respect to a step."""
        local = points @ state.basis.T
        flat, along = local[:, :2], local[:, 2]
        distance, squares, root = round_distances(state.section, flat)
        rows = np.empty((len(points), 6 if self.is_cone else 5))
        rows[:, :3] = section_derivatives(distance, squares, root, flat) @ tangent_of(
            state.section
        )
        outward = flat * (2.0 * state.section[0])
        outward += state.section[1:3]
        outward /= root[:, np.newaxis]
        outward *= -along[:, np.newaxis]
        rows[:, 3:5] = outward
        if not self.is_cone:
            return distance, rows
        cosine, sine = math.cos(state.half_angle_rad), math.sin(state.half_angle_rad)
        rows[:, :5] *= cosine
        rows[:, 3:5] -= sine * flat
        rows[:, 5] = -sine * distance - cosine * along
        return cosine * distance - sine * along, rows

    def step(self, state: AxialState, delta: NDArray[np.float64]) -> AxialState | None:
        """Return the state after a step, or None where there is no such feature."""
        section = state.section + tangent_of(state.section) @ delta[:3]
        if section[0] < 0.0 and self.is_cone:
            return None  # a cone turned inside out is another cone
        kept = normalised(section)
        half_angle = state.half_angle_rad + (float(delta[5]) if self.is_cone else 0.0)
        if kept is None or abs(half_angle) >= 0.5 * math.pi:
            return None
        turn = delta[3] * state.basis[1] - delta[4] * state.basis[0]
        basis = state.basis @ Rotation.from_rotvec(turn).as_matrix().T
        return AxialState(basis, kept, half_angle)


def directions_over_hemisphere(count: int) -> NDArray[np.float64]:
    """Return `count` nearly evenly spread unit vectors with z ≥ 0, shape (n, 3)."""
    index = np.arange(count) + 0.5
    height = index / count
    angle = index * math.pi * (3.0 - math.sqrt(5.0))
    flat = np.sqrt(1.0 - height**2)
    return np.column_stack([flat * np.cos(angle), flat * np.sin(angle), height])


def bases_of(axes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a right-handed basis (rows e1, e2, axis) for each axis, (n, 3, 3)."""
    helper = np.eye(3)[np.argmin(np.abs(axes), axis=1)]
    first = np.cross(helper, axes)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.stack([first, np.cross(axes, first), axes], axis=1)


def candidate_bases(local: LocalPoints) -> NDArray[np.float64]:
    """Return the bases to be ranked: the principal axes first, then all around."""
    directions = directions_over_hemisphere(_DIRECTIONS)
    return bases_of(np.vstack([local.axes, directions]))


def best_apart(
    bases: NDArray[np.float64], scores: NDArray[np.float64], count: int
) -> list[int]:
    """Return the indices of the best-scored axes that differ by some degrees.

    The three principal axes, which stand first, are always among them: the axis
    of a long thin feature is one of them to within less than any grid.
    """
    chosen = [0, 1, 2]
    for index in np.argsort(scores):
        if len(chosen) >= count + 3:
            break
        cosines = np.abs(bases[chosen[3:], 2] @ bases[index, 2])
        if not np.any(cosines > _APART):
            chosen.append(int(index))
    return chosen


def best_start(
    model: Model[AxialState],
    starts: Sequence[AxialState],
    local: LocalPoints,
) -> AxialState:
    """Solve on a sample from each start, and return the best state found."""
    few = sample(local.points, _SEARCHED)
    best: Solution[AxialState] | None = None
    for start in starts:
        try:
            found = solve(model, start, few, floor=local.resolution, most_iterations=60)
        except NotConverged:
            continue
        if best is None or found.cost < best.cost:
            best = found
    if best is None:
        raise NotConverged(
            "No best fit was found from any of the directions tried: the points "
            "don't resemble the feature."
        )
    return best.state
