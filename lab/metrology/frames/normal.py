r"""The normal equations of a target network, with the poses eliminated.

Observation k sees target j from exposure i at

.. math:: z_k = s_g\,(R_i X_j + t_i) + \epsilon_k,

s the scale of the tracker's system g, 1 unless it is estimated. Each exposure's six
unknowns, a shift and a turn about the centre of what it sees, occur only in its own
observations, so that they are eliminated one exposure at a time. What remains is a
system of the targets (and scales) alone,

.. math:: S = N_{xx} - \sum_i F_i^\top F_i,\qquad F_i = L_i^{-1} N_{px,i},\quad
          N_{pp,i} = L_i L_i^\top .

The normal matrix of all unknowns is never formed. S fills up wherever two targets are
seen together, so it is kept as a full matrix: its factor and its inverse by dense
routines take less time than a sparse factorisation with as many back-substitutions.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from lab.metrology.alignment.bestfit import cross_matrices
from lab.metrology.errors import Degenerate
from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.start import segment_sums

__all__ = [
    "Normal",
    "State",
    "build_normal",
    "inverse_of",
    "solved",
    "spread_coupling",
    "whitening",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_CROWDED = 0.12  # share of the targets in one view from which one product is faster
_FLOOR = 1e-10


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """The unknowns: poses (E), targets (T) and scales of systems (G)."""

    rotations: Array
    translations: Array
    coordinates_mm: Array
    scales: Array


@dataclass(frozen=True, slots=True, eq=False)
class Normal:
    """Normal equations about a state, all at unit weight.

    Attributes
    ----------
    matrix, right : ndarray, shape (U, U), (U,)
        Of the targets, then the scales.
    residuals : ndarray, shape (N, 3)
        Seen minus computed, at unit weight.
    by_target, by_pose, by_scale : ndarray, shape (N, 3, 3), (N, 3, 6), (N, 3)
        Derivatives at unit weight.
    factors : ndarray, shape (E, 6, 6)
        The lower factors L of the exposures' own blocks.
    coupling : ndarray, shape (N, 6, 3)
        The columns of F of each observation's target.
    scale_coupling : ndarray, shape (E, 6)
        The column of F of the exposure's scale; zero unless it is estimated.
    pose_right : ndarray, shape (E, 6)
        The right side of the exposures, divided by L.
    centres_mm : ndarray, shape (E, 3)
        What each exposure turns about, in the frame of the targets.
    """

    matrix: Array
    right: Array
    residuals: Array
    by_target: Array
    by_pose: Array
    by_scale: Array
    factors: Array
    coupling: Array
    scale_coupling: Array
    pose_right: Array
    centres_mm: Array

    def pose_steps(self, exposures: Exposures, step: Array, system: Index) -> Array:
        """Return the exposures' shifts and turns that go with a step, (E, 6)."""
        count = len(self.factors)
        targets = step[: 3 * len(exposures.target_names)].reshape(-1, 3)
        carried = segment_sums(
            np.einsum("nij,nj->ni", self.coupling, targets[exposures.target]),
            exposures.exposure,
            count,
        )
        scales = step[3 * len(exposures.target_names) :]
        if len(scales):
            carried = carried + self.scale_coupling * scales[system][:, np.newaxis]
        left = (self.pose_right - carried)[:, :, np.newaxis]
        return solved(np.swapaxes(self.factors, 1, 2), left)[:, :, 0]


def solved(matrices: Array, right: Array) -> Array:
    """Solve many small systems at once."""
    return np.asarray(np.linalg.solve(matrices, right), dtype=np.float64)


def whitening(covariances: Array) -> Array:
    """Return the inverses of the lower Cholesky factors, shape (N, 3, 3)."""
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariances)))


def build_normal(
    exposures: Exposures,
    state: State,
    unit: Array,
    system: Index,
    *,
    with_scale: bool,
    turns: bool = True,
) -> Normal:
    """Linearise about a state and eliminate the poses.

    Parameters
    ----------
    exposures : Exposures
        What was seen.
    state : State
        Where to linearise.
    unit : ndarray, shape (N, 3, 3)
        As `whitening` returns.
    system : ndarray of int, shape (E,)
        The tracker's system that each exposure belongs to.
    with_scale : bool
        Whether the systems' scales are unknown.
    turns : bool
        Whether the exposures' orientations are unknown.

    Returns
    -------
    Normal

    Raises
    ------
    Degenerate
        If an exposure's targets don't fix its pose.
    """
    i, count = exposures.exposure, len(exposures.exposure_names)
    turned = np.einsum(
        "nij,nj->ni", state.rotations[i], state.coordinates_mm[exposures.target]
    )
    placed = turned + state.translations[i]
    scale = state.scales[system[i]]
    weight = np.maximum(np.bincount(i, minlength=count), 1)[:, np.newaxis]
    middle = segment_sums(turned, i, count) / weight
    whole = scale[:, np.newaxis, np.newaxis] * unit
    by_target = whole @ state.rotations[i]
    by_turn = -whole @ cross_matrices(turned - middle[i])
    by_pose = np.concatenate([whole, by_turn], axis=2)
    if not turns:
        by_pose[:, :, 3:] = 0.0
    residuals = exposures.points_mm - scale[:, np.newaxis] * placed
    residuals = np.einsum("nij,nj->ni", unit, residuals)
    factors = _pose_factors(exposures, by_pose, turns)
    across = np.swapaxes(by_pose, 1, 2)
    own = factors[i]
    coupling = solved(own, across @ by_target)
    pose_right = solved(
        factors,
        segment_sums(across @ residuals[:, :, np.newaxis], i, count),
    )[:, :, 0]
    by_scale = np.einsum("nij,nj->ni", unit, placed)
    scale_coupling = np.zeros((count, 6))
    if with_scale:
        scale_coupling = solved(
            factors, segment_sums(across @ by_scale[:, :, np.newaxis], i, count)
        )[:, :, 0]
    matrix, right = _reduced(exposures, by_target, residuals, coupling, pose_right)
    if with_scale:
        matrix, right = _with_scales(
            exposures, matrix, right, by_target, by_scale, residuals, coupling,
            scale_coupling, pose_right, system, len(state.scales),
        )  # fmt: skip
    centres = np.einsum("nji,nj->ni", state.rotations, middle)
    return Normal(
        matrix, right, residuals, by_target, by_pose, by_scale, factors, coupling,
        scale_coupling, pose_right, centres,
    )  # fmt: skip


def _pose_factors(exposures: Exposures, by_pose: Array, turns: bool) -> Array:
    count = len(exposures.exposure_names)
    blocks = segment_sums(
        np.swapaxes(by_pose, 1, 2) @ by_pose, exposures.exposure, count
    )
    if not turns:
        blocks[:, 3:, 3:] = np.eye(3)
    # Judged with each unknown in its own unit.
    lengths = np.sqrt(np.maximum(np.einsum("nii->ni", blocks), 1e-300))
    scaled = blocks / (lengths[:, :, np.newaxis] * lengths[:, np.newaxis, :])
    least = np.linalg.eigvalsh(scaled)[:, 0]
    if np.any(least <= _FLOOR):
        worst = exposures.exposure_names[int(np.argmin(least))]
        raise Degenerate(
            f"What exposure {worst} sees does not fix its pose: it needs three "
            "targets that are not on one line."
        )
    return np.asarray(np.linalg.cholesky(blocks))


def _reduced(
    exposures: Exposures,
    by_target: Array,
    residuals: Array,
    coupling: Array,
    pose_right: Array,
) -> tuple[Array, Array]:
    """Return the matrix and the right side of the targets alone."""
    count = len(exposures.target_names)
    blocks = segment_sums(
        np.swapaxes(by_target, 1, 2) @ by_target, exposures.target, count
    )
    own = np.einsum("nji,nj->ni", by_target, residuals) - np.einsum(
        "nji,nj->ni", coupling, pose_right[exposures.exposure]
    )
    right = segment_sums(own, exposures.target, count).reshape(-1)
    matrix = np.zeros((3 * count, 3 * count))
    diagonal = matrix.reshape(count, 3, count, 3)
    diagonal[np.arange(count), :, np.arange(count), :] = blocks
    crowding = len(exposures) / max(len(exposures.exposure_names) * count, 1)
    if crowding > _CROWDED:
        full = spread_coupling(exposures, coupling)
        matrix -= full.T @ full
        return matrix, right
    starts = [*exposures.starts, len(exposures)]
    for start, stop in itertools.pairwise(starts):
        targets = exposures.target[start:stop]
        rows = (3 * targets[:, np.newaxis] + np.arange(3)).ravel()
        own_part = coupling[start:stop].transpose(1, 0, 2).reshape(6, -1)
        matrix[rows[:, np.newaxis], rows] -= own_part.T @ own_part
    return matrix, right


def spread_coupling(exposures: Exposures, coupling: Array) -> Array:
    """Return F of all exposures as one matrix, shape (6E, 3T)."""
    shape = (len(exposures.exposure_names), 6, len(exposures.target_names), 3)
    full = np.zeros(shape)
    full[exposures.exposure, :, exposures.target, :] = coupling
    return full.reshape(6 * shape[0], 3 * shape[2])


def _with_scales(
    exposures: Exposures,
    matrix: Array,
    right: Array,
    by_target: Array,
    by_scale: Array,
    residuals: Array,
    coupling: Array,
    scale_coupling: Array,
    pose_right: Array,
    system: Index,
    systems: int,
) -> tuple[Array, Array]:
    """Border the system by one unknown scale for each system."""
    i, count = exposures.exposure, len(exposures.target_names)
    group = system[i]
    mixed = np.einsum("nji,nj->ni", by_target, by_scale) - np.einsum(
        "nji,nj->ni", coupling, scale_coupling[i]
    )
    border = segment_sums(mixed, group * count + exposures.target, systems * count)
    border = border.reshape(systems, 3 * count)
    poses = np.bincount(
        system, weights=np.einsum("ni,ni->n", scale_coupling, scale_coupling),
        minlength=systems,
    )  # fmt: skip
    corner = np.diag(
        np.bincount(
            group, weights=np.einsum("ni,ni->n", by_scale, by_scale), minlength=systems
        )
        - poses
    )
    tail = np.bincount(
        group, weights=np.einsum("ni,ni->n", by_scale, residuals), minlength=systems
    ) - np.bincount(
        system, weights=np.einsum("ni,ni->n", scale_coupling, pose_right),
        minlength=systems,
    )  # fmt: skip
    bordered = np.block([[matrix, border.T], [border, corner]])
    return bordered, np.concatenate([right, tail])


def inverse_of(matrix: Array) -> Array:
    """Return the inverse of a symmetric positive definite matrix."""
    lengths = np.sqrt(np.abs(np.diag(matrix)))
    scaled = matrix / lengths[:, np.newaxis] / lengths
    factor, failed = linalg.lapack.dpotrf(scaled, lower=1, overwrite_a=1)
    if failed == 0:
        inverse, failed = linalg.lapack.dpotri(factor, lower=1, overwrite_c=1)
    if failed:
        raise Degenerate("The exposures don't determine all targets.")
    lower = np.tril(inverse)
    full = lower + np.tril(lower, -1).T
    return np.asarray(full / lengths[:, np.newaxis] / lengths)
