"""Weighted best-fit alignment of corresponding points, rigid or with scale.

The least-squares rotation is that of Kabsch [1]_ and Umeyama [2]_: from the singular
values of the weighted cross-covariance, with the determinant kept at +1, so that
noise or a mirrored set can never give a reflection.

Covariance: about the weighted centroid, translation, rotation and scale separate,

    Σ_t = s²/Σw,   Σ_θ = s²·(Σ w·(|x|²·I - x·xᵀ))⁻¹,   σ_m² = s²/Σ w·|x|²,

with x the mapped points less their centroid; it is then carried to the origin of
frame b. The errors of the points are taken as isotropic and independent.

References
----------
.. [1] Kabsch, W. (1976). Acta Cryst. A32, 922-923.
.. [2] Umeyama, S. (1991). IEEE Trans. Pattern Anal. Mach. Intell. 13, 376-380.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from lab.metrology import arrays
from lab.metrology.alignment.transforms import Transform
from lab.metrology.errors import Degenerate, OutOfDomain
from lab.metrology.fits.local import localise
from lab.metrology.fits.statistics import Covariance

__all__ = ["Alignment", "VarianceFactor", "fit_rigid", "fit_similarity"]

_TESTED_AT = 0.05
_UNIQUE = 1e-12


@dataclass(frozen=True, slots=True)
class VarianceFactor:
    """Whether the residuals agree with the stated uncertainties.

    `factor` is the weighted sum of squares over the degrees of freedom. `exceeds`
    says whether it is significantly above one (χ² test, one-sided, 5 %); if so, it
    inflates the covariance. One below never shrinks it.
    """

    factor: float
    critical: float
    exceeds: bool


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """A best fit of frame b onto frame a.

    Attributes
    ----------
    tf_a_b : Transform
        ``points_a ≈ tf_a_b.apply(points_b)``.
    residuals_mm : ndarray, shape (N, k)
        Points of a less the mapped points of b, in frame a.
    rms_mm : float
        Root of the mean squared length of a residual (per point, unweighted).
    degrees_of_freedom : int
        Coordinates minus parameters.
    covariance : Covariance or None
        Of the translation (mm), the rotation vector applied in frame a after the
        motion (rad), and the relative scale. None without redundancy and without
        stated uncertainties.
    variance_factor : VarianceFactor or None
        None without stated uncertainties or without redundancy.
    """

    tf_a_b: Transform
    residuals_mm: NDArray[np.float64]
    rms_mm: float
    degrees_of_freedom: int
    covariance: Covariance | None
    variance_factor: VarianceFactor | None

    def covariance_at(self, points_b: ArrayLike) -> NDArray[np.float64]:
        """Return the covariance of mapped points due to the alignment alone.

        Parameters
        ----------
        points_b : array_like, shape (N, k)
            Millimetres; they need not have taken part.

        Returns
        -------
        covariance_mm2 : ndarray, shape (N, k, k)
            In frame a.

        Raises
        ------
        Degenerate
            If the alignment has no covariance.
        """
        if self.covariance is None:
            raise Degenerate(
                "The alignment has no redundancy and no stated uncertainty: its own "
                "uncertainty is unknown."
            )
        arms = self.tf_a_b.apply(points_b) - self.tf_a_b.translation_a_b
        rows = derivatives(arms, with_scale="scale" in self.covariance.names)
        return np.asarray(
            rows @ self.covariance.matrix @ np.swapaxes(rows, 1, 2), dtype=np.float64
        )


def fit_rigid(
    points_a: ArrayLike, points_b: ArrayLike, *, u_mm: ArrayLike | None = None
) -> Alignment:
    """Find the rigid motion that best maps frame b onto frame a.

    Minimises the sum of ``|p_a - tf_a_b.apply(p_b)|² / u²``.

    Parameters
    ----------
    points_a, points_b : array_like, shape (N, 3) or (N, 2)
        The same points seen from each frame, millimetres; at least three that aren't
        collinear, or two within a plane.
    u_mm : array_like, shape (N,), optional
        Standard uncertainty of each pair's difference in each coordinate. Without
        it all weigh the same and the residuals give the uncertainty.

    Returns
    -------
    alignment : Alignment

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain
        If shapes differ or a value can't be used.
    CoincidentPoints, CollinearPoints, Degenerate
        If the points don't determine an orientation.

    Examples
    --------
    >>> part = np.array([[0.0, 0, 0], [100, 0, 0], [0, 80, 0], [0, 0, 60]])
    >>> machine = part[:, [1, 2, 0]] + [5, 6, 7]
    >>> fit_rigid(machine, part).tf_a_b.translation_a_b.round(9).tolist()
    [5.0, 6.0, 7.0]
    """
    pair = _checked(points_a, points_b, u_mm)
    return _aligned(pair, with_scale=False, about_origin=False)


def fit_similarity(
    points_a: ArrayLike,
    points_b: ArrayLike,
    *,
    u_mm: ArrayLike | None = None,
    about_origin: bool = False,
) -> Alignment:
    """Find the motion with scale that best maps frame b onto frame a.

    Errors are in frame a only: fitting the other way round is another problem and
    does not give the inverse.

    Parameters
    ----------
    points_a, points_b : array_like, shape (N, 3) or (N, 2)
        The same points seen from each frame, millimetres.
    u_mm : array_like, shape (N,), optional
        As for `fit_rigid`.
    about_origin : bool
        Keep the translation at zero. The covariance is that of the rotation and
        the scale alone.

    Returns
    -------
    alignment : Alignment

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain
        If shapes differ or a value can't be used.
    CoincidentPoints, CollinearPoints, Degenerate
        If the points don't determine an orientation.

    Examples
    --------
    >>> part = np.array([[0.0, 0, 0], [100, 0, 0], [0, 80, 0], [0, 0, 60]])
    >>> round(fit_similarity(1.001 * part, part).tf_a_b.scale, 9)
    1.001
    """
    pair = _checked(points_a, points_b, u_mm)
    return _aligned(pair, with_scale=True, about_origin=about_origin)


@dataclass(frozen=True, slots=True, eq=False)
class _Pair:
    points_a: NDArray[np.float64]
    points_b: NDArray[np.float64]
    weights: NDArray[np.float64]
    stated: bool


def _checked(points_a: ArrayLike, points_b: ArrayLike, u_mm: ArrayLike | None) -> _Pair:
    columns = 2 if np.ndim(points_a) == 2 and np.shape(points_a)[1] == 2 else 3
    a = arrays.points("points_a", points_a, minimum=columns, columns=columns)
    b = arrays.points("points_b", points_b, minimum=columns, columns=columns)
    arrays.same_length(points_a=a, points_b=b)
    if columns == 3:
        localise(a).refuse_collinear("an orientation (points_a)")
        localise(b).refuse_collinear("an orientation (points_b)")
    if u_mm is None:
        return _Pair(a, b, np.ones(len(a)), stated=False)
    u = arrays.vector("u_mm", u_mm)
    arrays.same_length(points_a=a, u_mm=u)
    if np.any(u <= 0.0):
        worst = int(np.argmin(u))
        raise OutOfDomain(f"u_mm[{worst}] is {u[worst]:g}; it must be above zero.")
    return _Pair(a, b, u**-2.0, stated=True)


def _aligned(pair: _Pair, *, with_scale: bool, about_origin: bool) -> Alignment:
    weights = pair.weights / pair.weights.sum()
    width = pair.points_a.shape[1]
    centre_a = np.zeros(width) if about_origin else weights @ pair.points_a
    centre_b = np.zeros(width) if about_origin else weights @ pair.points_b
    local_a, local_b = pair.points_a - centre_a, pair.points_b - centre_b
    rotation, stretch = best_rotation((weights[:, np.newaxis] * local_a).T @ local_b)
    spread = float(weights @ np.einsum("ij,ij->i", local_b, local_b))
    scale = stretch / spread if with_scale else 1.0
    transform = Transform(rotation, centre_a - scale * (rotation @ centre_b), scale)
    # Residuals about the centroids keep their digits far from the origin.
    residuals = local_a - scale * (local_b @ rotation.T)
    count = len(residuals)
    parameters = (0 if about_origin else width) + (1 if width == 2 else 3) + with_scale
    degrees = width * count - parameters
    squares = np.einsum("ij,ij->i", residuals, residuals)
    factor, variance = _variance(pair, squares, degrees)
    covariance = None
    if variance is not None:
        covariance = _covariance(
            pair.weights, local_b @ rotation.T * scale, centre_b, transform,
            variance, with_scale, about_origin,
        )  # fmt: skip
    return Alignment(
        tf_a_b=transform,
        residuals_mm=residuals,
        rms_mm=math.sqrt(float(squares.mean())),
        degrees_of_freedom=degrees,
        covariance=covariance,
        variance_factor=factor,
    )


def best_rotation(cross: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """Return the proper rotation that maximises ``trace(Rᵀ·cross)``, and the trace.

    Raises
    ------
    Degenerate
        If several rotations do equally well.
    """
    left, singular, right = np.linalg.svd(cross)
    signs = np.ones(len(singular))
    if np.linalg.det(left @ right) < 0.0:
        signs[-1] = -1.0
    if singular[-2] + signs[-1] * singular[-1] <= _UNIQUE * singular[0]:
        raise Degenerate(
            "Several rotations map the points equally well: they are collinear, or "
            "one set is the mirror image of the other."
        )
    return (left * signs) @ right, float(singular @ signs)


def _variance(
    pair: _Pair, squares: NDArray[np.float64], degrees: int
) -> tuple[VarianceFactor | None, float | None]:
    """Return the tested variance factor, and what scales the cofactors."""
    if degrees <= 0:
        return None, (1.0 if pair.stated else None)
    factor = float(pair.weights @ squares) / degrees
    if not pair.stated:
        return None, factor
    critical = float(stats.chi2.isf(_TESTED_AT, degrees)) / degrees
    exceeds = factor > critical
    return VarianceFactor(factor, critical, exceeds), (factor if exceeds else 1.0)


def cross_matrices(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the matrices [v]× with ``[v]× @ w = v × w``, shape (N, 3, 3)."""
    found = np.zeros((len(vectors), 3, 3))
    x, y, z = vectors.T
    found[:, 0, 1], found[:, 0, 2], found[:, 1, 2] = -z, y, -x
    found[:, 1, 0], found[:, 2, 0], found[:, 2, 1] = z, -y, x
    return found


def derivatives(arms: NDArray[np.float64], *, with_scale: bool) -> NDArray[np.float64]:
    """Return ∂p_a/∂(translation, rotation, scale) at arms from the origin of b."""
    count, width = arms.shape
    shift = np.broadcast_to(np.eye(width), (count, width, width))
    if width == 3:
        turn = -cross_matrices(arms)
    else:
        turn = np.stack([-arms[:, 1], arms[:, 0]], axis=1)[:, :, np.newaxis]
    columns = [shift, turn]
    if with_scale:
        columns.append(arms[:, :, np.newaxis])
    return np.concatenate(columns, axis=2)


def _names(width: int, with_scale: bool) -> tuple[str, ...]:
    axes = "xyz"[:width]
    turns = ("angle_rad",) if width == 2 else tuple(f"turn_{axis}_rad" for axis in axes)
    return (*(f"{axis}_mm" for axis in axes), *turns, *(("scale",) * with_scale))


def _covariance(
    weights: NDArray[np.float64],
    arms: NDArray[np.float64],
    centre_b: NDArray[np.float64],
    transform: Transform,
    variance: float,
    with_scale: bool,
    about_origin: bool,
) -> Covariance:
    """Return the covariance at the origin of b, from that about the centroid."""
    width = arms.shape[1]
    rows = derivatives(arms, with_scale=with_scale)
    if about_origin:
        rows = rows[:, :, width:]
    normal = np.einsum("n,nki,nkj->ij", weights, rows, rows)
    lengths = np.sqrt(np.diag(normal))
    inverse = np.linalg.inv(normal / np.outer(lengths, lengths))
    matrix = variance * inverse / np.outer(lengths, lengths)
    names = _names(width, with_scale)
    if about_origin:
        return Covariance(names[width:], matrix, len(weights))
    # translation = image of the centroid - (its arm turned and scaled).
    arm = transform.scale * (transform.rotation_a_b @ centre_b)
    carry = np.eye(len(names))
    carry[:width, width:] = -derivatives(arm[np.newaxis], with_scale=with_scale)[
        0, :, width:
    ]
    return Covariance(names, carry @ matrix @ carry.T, len(weights))
