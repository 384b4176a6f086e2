"""Which points don't belong: data snooping, one point at a time.

For each point the hypothesis "this one moved" is tested. With its residual v and
the residual's cofactor Q, T = vᵀ·Q⁻¹·v is what the weighted sum of squares loses
when the point is left out. Where uncertainties are stated, T follows χ² with k
degrees of freedom (k = 3 in space); where not, the others give the variance and

    F = (T/k) / ((S - T)/(ν - k))

follows F(k, ν - k). The worst point is left out if it exceeds the critical value for
the *whole family* of tests (Šidák), the rest is fitted anew, and so on. One at a
time, because one bad point bends the residuals of all others.

References
----------
.. [1] Baarda, W. (1968). A testing procedure for use in geodetic networks.
   Netherlands Geodetic Commission, Publ. on Geodesy 2 (5).
.. [2] Šidák, Z. (1967). J. Am. Stat. Assoc. 62, 626-633.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from lab.metrology import arrays
from lab.metrology.alignment.bestfit import (
    Alignment,
    derivatives,
    fit_rigid,
    fit_similarity,
)
from lab.metrology.errors import OutOfDomain

__all__ = ["LeftOut", "Snooping", "snoop"]

_UNTESTABLE = 1e-9


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A point that failed its test: index from zero, statistic, critical value."""

    index: int
    statistic: float
    critical: float


@dataclass(frozen=True, slots=True, eq=False)
class Snooping:
    """An alignment of the points that belong, and what became of the others.

    Attributes
    ----------
    alignment : Alignment
        Of the points kept; its residuals are theirs.
    kept : ndarray of bool, shape (N,)
        Which they are.
    left_out : tuple of LeftOut
        In the order in which they fell.
    untestable : ndarray of int
        Points kept that no test can judge: without them the rest is collinear or
        has no redundancy.
    """

    alignment: Alignment
    kept: NDArray[np.bool_]
    left_out: tuple[LeftOut, ...]
    untestable: NDArray[np.intp]


def snoop(
    points_a: ArrayLike,
    points_b: ArrayLike,
    *,
    u_mm: ArrayLike | None = None,
    with_scale: bool = False,
    family_probability: float = 0.05,
) -> Snooping:
    """Align, and leave out one point at a time while the worst fails its test.

    Parameters
    ----------
    points_a, points_b : array_like, shape (N, 3) or (N, 2)
        The same points seen from each frame, millimetres.
    u_mm : array_like, shape (N,), optional
        Standard uncertainty of each pair's difference in each coordinate.
    with_scale : bool
        Similarity instead of rigid.
    family_probability : float
        Probability that any point of a clean set fails.

    Returns
    -------
    snooping : Snooping

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain, Degenerate
        As `fit_rigid` does.

    Examples
    --------
    >>> part = 100 * np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 1.0]])
    >>> seen = part + [1, 2, 3]
    >>> seen[3, 2] += 0.5
    >>> snoop(seen, part, u_mm=np.full(5, 0.02)).left_out[0].index
    3
    """
    if not 0.0 < family_probability < 1.0:
        raise OutOfDomain(
            f"family_probability is {family_probability:g}; it must lie between 0 "
            "and 1."
        )
    fit = fit_similarity if with_scale else fit_rigid
    a, b = np.asarray(points_a), np.asarray(points_b)
    u = None if u_mm is None else arrays.vector("u_mm", u_mm)
    alignment = fit(a, b, u_mm=u)
    kept = np.ones(len(a), dtype=bool)
    left_out: list[LeftOut] = []
    while True:
        share = 1.0 - (1.0 - family_probability) ** (1.0 / int(kept.sum()))
        u_kept = None if u is None else u[kept]
        found = _tests(alignment, b[kept], u_kept, share, with_scale)
        indices = np.flatnonzero(kept)
        if found.worst is None:
            return Snooping(alignment, kept, tuple(left_out), indices[~found.testable])
        worst = int(indices[found.worst])
        left_out.append(LeftOut(worst, found.statistic, found.critical))
        kept[worst] = False
        alignment = fit(a[kept], b[kept], u_mm=None if u is None else u[kept])


@dataclass(frozen=True, slots=True, eq=False)
class _Tests:
    testable: NDArray[np.bool_]
    worst: int | None
    statistic: float
    critical: float


def _tests(
    alignment: Alignment,
    points_b: NDArray[np.float64],
    u: NDArray[np.float64] | None,
    share: float,
    with_scale: bool,
) -> _Tests:
    """Test every point, and name the worst if it fails."""
    residuals = alignment.residuals_mm
    count, width = residuals.shape
    weights = np.ones(count) if u is None else u**-2.0
    cofactors = _residual_cofactors(alignment, points_b, weights, with_scale)
    smallest = np.linalg.eigvalsh(cofactors * weights[:, np.newaxis, np.newaxis])[:, 0]
    spare = alignment.degrees_of_freedom - width
    testable = smallest > _UNTESTABLE
    if u is None and spare < 1:
        testable[:] = False
    if not np.any(testable):
        return _Tests(testable, None, 0.0, 0.0)
    losses = np.zeros(count)
    solved = np.linalg.solve(cofactors[testable], residuals[testable, :, np.newaxis])
    losses[testable] = np.einsum("ni,ni->n", residuals[testable], solved[:, :, 0])
    if u is not None:
        statistics = losses
        critical = float(stats.chi2.isf(share, width))
    else:
        squares = float(np.einsum("ij,ij->", residuals, residuals))
        left = np.maximum(squares - losses, 1e-30 + 1e-14 * squares)
        statistics = (losses / width) / (left / spare)
        critical = float(stats.f.isf(share, width, spare))
    worst = int(np.argmax(np.where(testable, statistics, -np.inf)))
    failed = statistics[worst] > critical
    return _Tests(
        testable, worst if failed else None, float(statistics[worst]), critical
    )


def _residual_cofactors(
    alignment: Alignment,
    points_b: NDArray[np.float64],
    weights: NDArray[np.float64],
    with_scale: bool,
) -> NDArray[np.float64]:
    """Return Q = W⁻¹ - J·(JᵀWJ)⁻¹·Jᵀ for each point, shape (N, k, k)."""
    mapped = alignment.tf_a_b.apply(points_b)
    arms = mapped - (weights @ mapped) / weights.sum()
    rows = derivatives(arms, with_scale=with_scale)
    normal = np.einsum("n,nki,nkj->ij", weights, rows, rows)
    inverse = np.linalg.pinv(normal, rcond=1e-14, hermitian=True)
    own = np.eye(mapped.shape[1]) / weights[:, np.newaxis, np.newaxis]
    return np.asarray(own - rows @ inverse @ np.swapaxes(rows, 1, 2), dtype=np.float64)
