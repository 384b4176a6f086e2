r"""How well the observations check one another, and which of them fail.

The redundancy number of a coordinate is the share of its error that shows in its own
residual. The residual of a whole observation (a point, three coordinates) with
cofactor :math:`Q_v` is tested by

.. math:: T = v^\top Q_v^{-1} v \sim \chi^2_3,

which does not depend on how the axes lie [1]_. Where thousands are tested, some exceed
the critical value of a single test by chance: the critical value here is that of the
*whole family* (Šidák [2]_), so that a clean network is accused with the stated
probability as a whole.

The smallest detectable blunder is the error of an observation, in the direction in
which it is worst seen, that its test finds with the stated power.

Where the network's variance factor is significantly above one, the tests are divided
by a factor estimated from the median of all T: a noise that was stated too small then
accuses nobody, and a few blunders don't hide behind the factor that they cause.

References
----------
.. [1] Baarda, W. (1968). A testing procedure for use in geodetic networks.
   Netherlands Geodetic Commission, Publ. on Geodesy 2 (5).
.. [2] Šidák, Z. (1967). J. Am. Stat. Assoc. 62, 626-633.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from lab.metrology.frames.exposures import Exposures
from lab.metrology.frames.normal import Normal, spread_coupling
from lab.metrology.frames.start import segment_sums

__all__ = [
    "FAMILY_PROBABILITY",
    "POWER",
    "Reliability",
    "ResidualCofactors",
    "family_share",
    "judge_reliability",
    "noncentrality",
    "residual_cofactors",
]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

FAMILY_PROBABILITY = 0.01
POWER = 0.8
_UNTESTABLE = 1e-6
_CROWDED = 0.12
_MEDIAN_OF_THREE = float(stats.chi2.median(3))


@dataclass(frozen=True, slots=True, eq=False)
class Reliability:
    """What each observation's residual says.

    Attributes
    ----------
    redundancy : ndarray, shape (N, 3)
        By coordinate of the tracker's frame, 0 to 1; they sum to the degrees of
        freedom.
    standardised : ndarray, shape (N, 3)
        Residuals over their standard deviations; NaN where nothing checks them.
    critical_standardised : float
        What the largest of all of them stays below in a clean network, with one
        minus the family probability.
    statistics : ndarray, shape (N,)
        T of each observation, a point at a time; NaN where it can't be tested.
    critical : float
        The same for T.
    smallest_detectable_mm : ndarray, shape (N,)
        Infinite where nothing checks it.
    factor : float
        What all variances were multiplied by for the tests; 1 unless the variance
        factor is significantly above one.
    family_probability, power : float
        As stated.
    pose_cofactors : ndarray, shape (E, 6, 6)
        Of each exposure's shift and turn about the middle of what it sees.
    """

    redundancy: Array
    standardised: Array
    critical_standardised: float
    statistics: Array
    critical: float
    smallest_detectable_mm: Array
    factor: float
    family_probability: float
    power: float
    pose_cofactors: Array

    @property
    def untestable(self) -> NDArray[np.bool_]:
        """Which observations nothing checks, shape (N,)."""
        return np.isnan(self.statistics)

    @property
    def worst(self) -> int | None:
        """The observation that fails its test by most, or None if none fails."""
        if np.all(self.untestable):
            return None
        found = int(np.nanargmax(self.statistics))
        return found if self.statistics[found] > self.critical else None


@dataclass(frozen=True, slots=True, eq=False)
class ResidualCofactors:
    """Cofactors of the whitened residuals, and what they were made from.

    `own` (N, 3, 3) of each observation; `lever` (N, 3, 6) are its derivatives by
    its pose over L; `carried` (N, 3, 6) the rows of QFᵀ of its target.
    """

    own: Array
    lever: Array
    carried: Array
    pose: Array


def residual_cofactors(
    exposures: Exposures, normal: Normal, cofactors: Array, system: Index
) -> ResidualCofactors:
    """Return the cofactors of the whitened residuals, observation by observation."""
    i, j = exposures.exposure, exposures.target
    count = len(exposures.exposure_names)
    width = 3 * len(exposures.target_names)
    carried = _carried(exposures, normal.coupling, cofactors[:width, :width])
    inner = segment_sums(normal.coupling @ carried, i, count)  # F·Q·Fᵀ per exposure
    back = np.linalg.inv(np.swapaxes(normal.factors, 1, 2))  # L⁻ᵀ
    lever = normal.by_pose @ back[i]
    blocks = cofactors[:width, :width].reshape(width // 3, 3, width // 3, 3)
    by_target = normal.by_target
    seen = by_target @ blocks[j, :, j, :] @ np.swapaxes(by_target, 1, 2)
    if cofactors.shape[0] > width:
        scaled = _scale_share(exposures, normal, cofactors, system)
        carried = carried + scaled.carried
        inner = inner + scaled.inner
        seen = seen + scaled.seen
    mixed = by_target @ carried
    if cofactors.shape[0] > width:
        mixed = mixed + normal.by_scale[:, :, np.newaxis] * scaled.row[i][:, np.newaxis]
    mixed = mixed @ np.swapaxes(lever, 1, 2)
    turned = lever @ (inner + np.eye(6))[i] @ np.swapaxes(lever, 1, 2)
    left = np.eye(3) - seen + mixed + np.swapaxes(mixed, 1, 2) - turned
    pose = back @ (np.eye(6) + inner) @ np.swapaxes(back, 1, 2)
    return ResidualCofactors(left, lever, carried, pose)


@dataclass(frozen=True, slots=True, eq=False)
class _ScaleShare:
    carried: Array
    inner: Array
    seen: Array
    row: Array


def _scale_share(
    exposures: Exposures, normal: Normal, cofactors: Array, system: Index
) -> _ScaleShare:
    """Return what estimated scales add to the products with the cofactors."""
    i, j = exposures.exposure, exposures.target
    count, width = len(exposures.exposure_names), 3 * len(exposures.target_names)
    coupling = normal.scale_coupling  # f, (E, 6)
    own = np.diag(cofactors)[width:][system]  # of the scale of each exposure
    tied = cofactors[:width, width:].reshape(width // 3, 3, -1)
    shared = tied[j, :, system[i]]  # (N, 3)
    across = segment_sums(
        np.einsum("nij,nj->ni", normal.coupling, shared), i, count
    )  # F·Q_xs, (E, 6)
    mixed = across[:, :, np.newaxis] * coupling[:, np.newaxis]
    inner = mixed + np.swapaxes(mixed, 1, 2)
    inner += (
        own[:, np.newaxis, np.newaxis]
        * coupling[:, :, np.newaxis]
        * coupling[:, np.newaxis]
    )
    turned = np.einsum("nij,nj->ni", normal.by_target, shared)
    by_scale = normal.by_scale
    both = turned[:, :, np.newaxis] * by_scale[:, np.newaxis]
    seen = both + np.swapaxes(both, 1, 2)
    seen += (
        own[i][:, np.newaxis, np.newaxis]
        * by_scale[:, :, np.newaxis]
        * by_scale[:, np.newaxis]
    )
    return _ScaleShare(
        carried=shared[:, :, np.newaxis] * coupling[i][:, np.newaxis],
        inner=inner,
        seen=seen,
        row=across + own[:, np.newaxis] * coupling,
    )


def _carried(exposures: Exposures, coupling: Array, cofactors: Array) -> Array:
    """Return the rows of Q·Fᵀ that belong to each observation's target, (N, 3, 6)."""
    targets = len(exposures.target_names)
    crowding = len(exposures) / max(len(exposures.exposure_names) * targets, 1)
    if crowding > _CROWDED:
        full = spread_coupling(exposures, coupling)
        product = (cofactors @ full.T).reshape(targets, 3, -1, 6)
        return np.asarray(product[exposures.target, :, exposures.exposure, :])
    found = np.empty((len(exposures), 3, 6))
    starts = [*exposures.starts, len(exposures)]
    for start, stop in itertools.pairwise(starts):
        rows = (3 * exposures.target[start:stop, np.newaxis] + np.arange(3)).ravel()
        own = coupling[start:stop].transpose(1, 0, 2).reshape(6, -1)
        part = cofactors[rows[:, np.newaxis], rows] @ own.T
        found[start:stop] = part.reshape(stop - start, 3, 6)
    return found


def judge_reliability(
    exposures: Exposures,
    normal: Normal,
    cofactors: Array,
    unit: Array,
    system: Index,
    *,
    exceeds: bool,
    family_probability: float = FAMILY_PROBABILITY,
    power: float = POWER,
) -> Reliability:
    """Test every observation of a solved network."""
    known = residual_cofactors(exposures, normal, cofactors, system)
    back = np.linalg.inv(unit)
    redundancy = np.einsum("nij,njk,nki->ni", back, known.own, unit)
    values, vectors = np.linalg.eigh(known.own)
    testable = values[:, 0] > _UNTESTABLE
    turned = np.einsum("nji,nj->ni", vectors, normal.residuals)
    safe = np.where(values > _UNTESTABLE, values, 1.0)
    statistics = np.where(testable, (turned**2 / safe).sum(axis=1), np.nan)
    factor = 1.0
    if exceeds and np.any(testable):
        factor = max(1.0, float(np.nanmedian(statistics)) / _MEDIAN_OF_THREE)
    statistics = statistics / factor
    cofactor = np.einsum("nij,njk,nlk->nil", back, known.own, back)
    own = np.einsum("nii->ni", cofactor)
    residuals = np.einsum("nij,nj->ni", back, normal.residuals)
    stated = np.einsum("nij,nij->ni", back, back)
    checked = own > _UNTESTABLE * stated
    standardised = np.full_like(own, np.nan)
    standardised[checked] = residuals[checked] / np.sqrt(factor * own[checked])
    tested = int(testable.sum())
    return Reliability(
        redundancy=redundancy,
        standardised=standardised,
        critical_standardised=float(
            stats.norm.isf(0.5 * family_share(family_probability, int(checked.sum())))
        ),
        statistics=statistics,
        critical=float(stats.chi2.isf(family_share(family_probability, tested), 3)),
        smallest_detectable_mm=_smallest(
            known.own, unit, testable, factor, family_probability, power
        ),
        factor=factor,
        family_probability=family_probability,
        power=power,
        pose_cofactors=known.pose,
    )


def _smallest(
    own: Array,
    unit: Array,
    testable: NDArray[np.bool_],
    factor: float,
    family_probability: float,
    power: float,
) -> Array:
    """Return the blunder that is found with the power, in the worst direction."""
    found = np.full(len(own), np.inf)
    share = family_share(family_probability, int(testable.sum()))
    seen = np.einsum("nji,njk,nkl->nil", unit, own, unit)  # W·Q_v·W
    least = np.linalg.eigvalsh(seen)[:, 0]
    wanted = factor * noncentrality(share, power)
    good = testable & (least > 0.0)
    found[good] = np.sqrt(wanted / least[good])
    return found


def family_share(family_probability: float, tests: int) -> float:
    """Return the probability of error of one test out of so many."""
    return float(-np.expm1(np.log1p(-family_probability) / max(tests, 1)))


@cache
def noncentrality(share: float, power: float, degrees: int = 3) -> float:
    """Return the noncentrality that a test at this level finds with this power."""
    critical = float(stats.chi2.isf(share, degrees))

    def missing(value: float) -> float:
        return float(stats.ncx2.sf(critical, degrees, value)) - power

    return float(optimize.brentq(missing, 1e-9, 10.0 * critical + 100.0))
