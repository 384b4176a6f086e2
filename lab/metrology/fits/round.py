"""What circles, spheres, cylinders and cones share: the round cross-section.

A circle or sphere is written as the zero set of

    P(q) = A·|q|² + b·q + D,        |b|² - 4·A·D = 1,

after Pratt [1]_. Its centre is -b/(2A), its radius 1/(2|A|), and the signed
orthogonal distance of a point q is

    d = 2·P / (1 + sqrt(1 + 4·A·P)),

positive outside for A > 0. Nothing here grows without bound as the arc becomes
flat: a straight line or a plane is A = 0, so that nearly flat arcs are as easy
for the solver as full circles. The start is Taubin's algebraic fit [2]_.

References
----------
.. [1] Pratt, V. (1987). Computer Graphics 21 (4), 145-152.
.. [2] Taubin, G. (1991). IEEE Trans. Pattern Anal. Mach. Intell. 13, 1115-1138.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lab.metrology.fits.local import triangle_of

__all__ = ["RoundModel", "normalised", "round_distances", "taubin"]

_TINY = 1e-30


def normalised(section: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Scale (A, b, D) to |b|² - 4AD = 1 with A ≥ 0; None if no real circle."""
    squared = float(section[1:-1] @ section[1:-1]) - 4.0 * section[0] * section[-1]
    if not squared > 0.0:
        return None
    sign = -1.0 if section[0] < 0.0 else 1.0
    return np.asarray(section * (sign / math.sqrt(squared)), dtype=np.float64)


def centre_of(section: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the centre; the section must be curved."""
    return np.asarray(section[1:-1] / (-2.0 * section[0]), dtype=np.float64)


def moved_section(
    section: NDArray[np.float64], origin: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return a section, given about `origin`, about zero instead."""
    curvature, slope, constant = section[0], section[1:3], section[3]
    moved = slope - 2.0 * curvature * origin
    value = curvature * float(origin @ origin) - float(slope @ origin) + constant
    return np.array([curvature, *moved, value])


def taubin(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the section (A, b, D) of Taubin's fit to centred points."""
    squares = np.einsum("ij,ij->i", points, points)
    mean = float(squares.mean())
    rows = np.column_stack([(squares - mean) / (2.0 * math.sqrt(mean)), points])
    least = np.linalg.svd(triangle_of(rows))[2][-1]
    curvature = least[0] / (2.0 * math.sqrt(mean))
    section = np.concatenate([[curvature], least[1:], [-mean * curvature]])
    found = normalised(section)
    assert found is not None  # noqa: S101 - |b|² - 4AD = |b|² + 4A²·mean here
    return found


def round_distances(
    section: NDArray[np.float64], points: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return distances, |q|², and 1 + 2·A·d = |q - centre| / radius."""
    squares = np.einsum("ij,ij->i", points, points)
    value = section[0] * squares + points @ section[1:-1] + section[-1]
    root = np.sqrt(np.maximum(1.0 + 4.0 * section[0] * value, _TINY))
    return 2.0 * value / (1.0 + root), squares, root


def section_derivatives(
    distance: NDArray[np.float64],
    squares: NDArray[np.float64],
    root: NDArray[np.float64],
    points: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return ∂d/∂(A, b, D): from A·d² + d = P, (1 + 2Ad)·∂d = ∂P - d²·∂A."""
    rows = np.column_stack([squares - distance * distance, points, np.ones_like(root)])
    rows /= root[:, np.newaxis]
    return rows


def tangent_of(section: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return an orthonormal basis, as columns, of steps that keep the constraint."""
    gradient = 2.0 * section
    gradient[0], gradient[-1] = -4.0 * section[-1], -4.0 * section[0]
    return np.linalg.svd(gradient[np.newaxis, :])[2][1:].T


@dataclass(frozen=True, slots=True)
class RoundModel:
    """A circle (two columns) or a sphere (three) for the solver; state (A, b, D)."""

    def rows(
        self, state: NDArray[np.float64], points: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return distances and their derivatives along the constraint."""
        distance, squares, root = round_distances(state, points)
        rows = section_derivatives(distance, squares, root, points)
        return distance, rows @ tangent_of(state)

    def step(
        self, state: NDArray[np.float64], delta: NDArray[np.float64]
    ) -> NDArray[np.float64] | None:
        """Return the section after a step along the constraint."""
        return normalised(state + tangent_of(state) @ delta)
