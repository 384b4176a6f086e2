"""A part's time constant from readings of its surface."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares
from scipy.stats import t as student

from lab.metrology.arrays import same_length, vector
from lab.metrology.errors import Degenerate
from lab.metrology.soak.bodies import Room, TimeConstant

__all__ = ["fit_time_constant"]

# A fitted range wider than the range of film coefficients tells nothing new.
_WIDEST_USEFUL_RATIO: Final = 6.0
_UNDETERMINED: Final = (
    "The surface readings don't determine the time constant to better than a factor "
    "of six; wait until the part has moved further towards the room's temperature."
)


def fit_time_constant(
    times_s: ArrayLike, surface_degc: ArrayLike, room: Room
) -> TimeConstant:
    """Fit a part's time constant to readings of its surface.

    T(t) = room(t) − r·τ + (Δ0 + r·τ)·exp(−t/τ), in Δ0 and ln τ.

    Parameters
    ----------
    times_s : array_like, shape (N,)
        Times since any instant, in s, N ≥ 4, in any order.
    surface_degc : array_like, shape (N,)
        Surface temperatures, in °C.
    room : Room
        The room's temperature at the first reading, and its drift.

    Returns
    -------
    constant : TimeConstant
        The two-sided 95 % range of τ.

    Raises
    ------
    TooFew
        If there are fewer than 4 readings.
    Degenerate
        If the readings don't determine τ to better than a factor of six, which
        is what is known of it without them.

    Notes
    -----
    The range is symmetric in ln τ, with Student's t for N − 2 degrees of
    freedom. Readings that follow each other so closely that the sensor's errors
    are alike make it too narrow; a reading every τ/10 or so is enough.

    Examples
    --------
    >>> t = np.arange(0.0, 7200.0, 600.0)
    >>> wiggle = 0.01 * np.array([1, -1] * 6)
    >>> fit = fit_time_constant(t, 20 + 5 * np.exp(-t / 5000) + wiggle, Room(20.0))
    >>> fit.shortest_s < 5000 < fit.longest_s
    True
    """
    times = vector("times_s", times_s, minimum=4)
    surface = vector("surface_degc", surface_degc, minimum=4)
    same_length(times_s=times, surface_degc=surface)
    elapsed = times - times.min()
    span_s = float(elapsed.max())
    if span_s <= 0.0:
        raise Degenerate("All surface readings have one time; no cooling can be seen.")
    rate_k_per_s = room.drift_k_per_h / 3600.0
    first_k = float(surface[int(np.argmin(elapsed))] - room.degc)

    def misfit(unknowns: NDArray[np.float64]) -> NDArray[np.float64]:
        start_k, log_tau = unknowns
        tau = math.exp(log_tau)
        modelled = _deviation(elapsed, start_k, tau, rate_k_per_s)
        return np.asarray(room.degc + rate_k_per_s * elapsed + modelled - surface)

    # Beyond these the readings can't tell τ from zero or from infinity.
    log_low, log_high = math.log(span_s * 1e-3), math.log(span_s * 1e3)
    fit = least_squares(
        misfit,
        x0=[first_k, math.log(span_s / 2.0)],
        bounds=([-np.inf, log_low], [np.inf, log_high]),
        x_scale="jac",
        xtol=1e-12,
        ftol=1e-12,
        gtol=1e-12,
    )
    half_range = _half_range_of_log(fit.jac, fit.fun)
    log_tau = float(fit.x[1])
    return TimeConstant(
        shortest_s=math.exp(log_tau - half_range),
        longest_s=math.exp(log_tau + half_range),
        origin=f"{len(times)} surface readings over {span_s / 3600:.3g} h",
    )


def _deviation(
    elapsed_s: NDArray[np.float64], start_k: float, tau_s: float, rate_k_per_s: float
) -> NDArray[np.float64]:
    """Part minus room, for a room that drifts at a constant rate."""
    lag_k = -rate_k_per_s * tau_s
    return np.asarray(lag_k + (start_k - lag_k) * np.exp(-elapsed_s / tau_s))


def _half_range_of_log(
    jacobian: NDArray[np.float64], residuals: NDArray[np.float64]
) -> float:
    """Return the 95 % half-range of ln τ, or refuse readings that don't tell."""
    freedom = len(residuals) - 2
    normal = jacobian.T @ jacobian
    scale = np.sqrt(np.diag(normal))
    if not np.all(scale > 0.0):
        raise Degenerate(_UNDETERMINED)
    correlation = normal / np.outer(scale, scale)
    if np.linalg.cond(correlation) > 1e12:
        raise Degenerate(_UNDETERMINED)
    cofactor = float(np.linalg.inv(correlation)[1, 1]) / scale[1] ** 2
    variance = float(residuals @ residuals) / freedom
    half_range = float(student.ppf(0.975, freedom)) * math.sqrt(variance * cofactor)
    if 2.0 * half_range > math.log(_WIDEST_USEFUL_RATIO):
        raise Degenerate(_UNDETERMINED)
    return half_range
