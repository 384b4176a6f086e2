r"""A target that moved in mid-series: seen in one place before, in another after.

For target j and exposure k the hypothesis is that from k onward j was seen shifted by
one vector. With the residuals v of the observations K that this concerns, all turned
into the frame,

.. math:: g = \sum_{K} R^\top W v,\qquad
    H = \sum_{K,K'} R^\top W\,Q_v\,W' R',\qquad T = g^\top H^{-1} g \sim \chi^2_3 ,

and :math:`H^{-1} g` estimates the shift. K runs over the last observations of the
target in the order of the exposures, at least two of them and at least two before
them, for a single observation has its own test.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.frame import Frame
from lab.metrology.frames.normal import (
    Normal,
    State,
    build_normal,
    spread_coupling,
    whitening,
)
from lab.metrology.frames.reliability import (
    ResidualCofactors,
    family_share,
    noncentrality,
    residual_cofactors,
)

__all__ = ["ShiftTests", "shift_tests"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

_LEAST = 2  # observations on each side of a shift
_UNTESTABLE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class ShiftTests:
    """Tests of every target for a shift from every exposure onward.

    Attributes
    ----------
    target, first : ndarray of int, shape (M,)
        The target, and the first observation (row) after the shift.
    statistics : ndarray, shape (M,)
        T of each.
    shifts_mm : ndarray, shape (M, 3)
        In the frame.
    least_detectable_mm : ndarray, shape (M,)
        What would have been found with the power, in the worst direction.
    critical : float
        What the largest statistic stays below in a clean network.
    """

    target: Index
    first: Index
    statistics: Array
    shifts_mm: Array
    least_detectable_mm: Array
    critical: float

    @property
    def worst(self) -> int | None:
        """The test that fails by most, or None if none does."""
        if len(self.statistics) == 0:
            return None
        found = int(np.argmax(self.statistics))
        return found if self.statistics[found] > self.critical else None


def shift_tests(frame: Frame) -> ShiftTests:
    """Test every target of a frame for a shift from every exposure onward.

    Parameters
    ----------
    frame : Frame
        A solved network whose exposures are in the order in which they were taken.

    Returns
    -------
    ShiftTests
        Judged with the probability and power of the frame's own tests.
    """
    exposures, cofactors = frame.exposures, frame.cofactors
    state = State(frame.rotations, frame.translations, frame.points_mm, frame.scales)
    normal = build_normal(
        exposures,
        state,
        whitening(exposures.covariances_mm2),
        frame.system,
        with_scale=frame.has_estimated_scales,
        turns=not frame.has_known_orientations,
    )
    known = residual_cofactors(exposures, normal, cofactors, frame.system)
    judged = frame.reliability
    rotations = frame.rotations
    width = 3 * len(exposures.target_names)
    full = spread_coupling(exposures, normal.coupling)
    carried = cofactors[:width, :width] @ full.T  # Q·Fᵀ, (3T, 6E)
    inner = (full @ carried).reshape(len(rotations), 6, len(rotations), 6)
    found: list[tuple[int, Index, Array, Array]] = []
    order = np.argsort(exposures.target, kind="stable")
    counts = np.bincount(exposures.target, minlength=width // 3)
    stops = np.cumsum(counts)
    for target, (start, stop) in enumerate(zip(stops - counts, stops, strict=True)):
        rows = order[start:stop]
        if len(rows) < 2 * _LEAST:
            continue
        own = cofactors[3 * target : 3 * target + 3, 3 * target : 3 * target + 3]
        blocks = _blocks(exposures, normal, known, rows, own, carried, inner, target)
        found.append((target, *_suffixes(normal, rows, blocks)))
    return _gathered(found, judged.factor, judged.family_probability, judged.power)


def _blocks(
    exposures: Exposures,
    normal: Normal,
    known: ResidualCofactors,
    rows: Index,
    own: Array,
    carried: Array,
    inner: Array,
    target: int,
) -> Array:
    """Return A_jᵀ·Q_v·A_j of all pairs of a target's observations, (n, n, 3, 3)."""
    i = exposures.exposure[rows]
    across = np.swapaxes(normal.by_target[rows], 1, 2)
    square = across @ normal.by_target[rows]
    lever = across @ known.lever[rows]
    mine = carried[3 * target : 3 * target + 3].reshape(3, -1, 6)[:, i]
    mine = mine.transpose(1, 0, 2) @ np.swapaxes(lever, 1, 2)  # (n, 3, 3)
    # M_k·Q·M_lᵀ with M = A·e_j - lever·F, between Aᵀ and A.
    seen = (square @ own)[:, np.newaxis] @ square
    mixed = square[:, np.newaxis] @ mine
    pulled = lever @ inner[i].reshape(len(rows), 6, -1)  # (n, 3, 6E)
    pulled = pulled.reshape(len(rows), 3, -1, 6)[:, :, i].transpose(0, 2, 1, 3)
    turned = pulled @ np.swapaxes(lever, 1, 2)
    blocks = mixed + mixed.transpose(1, 0, 3, 2) - seen - turned
    each = np.arange(len(rows))
    blocks[each, each] += square - lever @ np.swapaxes(lever, 1, 2)
    return np.asarray(blocks)


def _suffixes(normal: Normal, rows: Index, blocks: Array) -> tuple[Index, Array, Array]:
    """Return the first row, g and H of every shift of one target."""
    single = np.einsum("nji,nj->ni", normal.by_target[rows], normal.residuals[rows])
    late = np.cumsum(single[::-1], axis=0)[::-1]
    both = np.cumsum(np.cumsum(blocks[::-1, ::-1], axis=0), axis=1)[::-1, ::-1]
    each = np.arange(_LEAST, len(rows) - _LEAST + 1)
    return rows[each], late[each], both[each, each]


def _gathered(
    found: list[tuple[int, Index, Array, Array]],
    factor: float,
    family_probability: float,
    power: float,
) -> ShiftTests:
    if not found:
        nothing = np.zeros(0)
        none = np.zeros(0, dtype=np.intp)
        return ShiftTests(none, none, nothing, np.zeros((0, 3)), nothing, np.inf)
    target = np.concatenate([np.full(len(f[1]), f[0], dtype=np.intp) for f in found])
    first = np.concatenate([f[1] for f in found])
    g = np.concatenate([f[2] for f in found])
    values, vectors = np.linalg.eigh(np.concatenate([f[3] for f in found]))
    good = values[:, 0] > _UNTESTABLE * np.maximum(values[:, 2], 1e-300)
    safe = np.where(values > 0.0, values, 1.0)
    turned = np.einsum("nji,nj->ni", vectors, g)
    share = family_share(family_probability, len(g))
    least = np.full(len(g), np.inf)
    least[good] = np.sqrt(factor * noncentrality(share, power) / values[good, 0])
    return ShiftTests(
        target=target,
        first=first,
        statistics=np.where(good, (turned**2 / safe).sum(axis=1) / factor, 0.0),
        shifts_mm=np.einsum("nij,nj->ni", vectors, turned / safe),
        least_detectable_mm=least,
        critical=float(stats.chi2.isf(share, 3)),
    )
