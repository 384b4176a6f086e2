"""When a trend will meet a limit: the expected time, and the earliest one.

A straight line is fitted to errors over time. It meets the limit at the expected
time; the upper (lower) edge of its one-sided 95 % band meets it at the earliest
time, and that is the one to plan by: with few values the band widens quickly, and
the expected time alone would promise what nobody knows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import t as student

from lab.metrology.adjustment import StraightLine, calibration_line
from lab.metrology.arrays import finite, positive, same_length, vector
from lab.metrology.errors import OutOfDomain

__all__ = ["TrendForecast", "forecast_limit"]

_UPPER: Final = 1.0
_LOWER: Final = -1.0


@dataclass(frozen=True, slots=True)
class TrendForecast:
    """A straight-line trend and when it meets ±limit.

    Times are in the unit and from the origin of the times given; None stands for
    never. `level` is the line's value at the last time; `intercept` at time 0.
    """

    slope: float
    u_slope: float
    intercept: float
    level: float
    standard_deviation: float
    degrees_of_freedom: int
    is_significant: bool
    limit: float
    last_time: float
    expected_time: float | None
    earliest_time: float | None
    words: str


def forecast_limit(
    times: ArrayLike,
    values: ArrayLike,
    limit: float,
    *,
    probability: float = 0.95,
    of_single_value: bool = False,
    time_unit: str = "days",
) -> TrendForecast:
    """Fit a line to errors over time and say when it meets ±limit.

    Parameters
    ----------
    times : array_like, shape (N,)
        In one unit (days, months), N ≥ 3, in any order.
    values : array_like, shape (N,)
        Errors, all from after the last break.
    limit : float
        Largest permissible |error|, in the unit of the values.
    probability : float
        One-sided, of the band.
    of_single_value : bool
        False: the band of the line, for when the system itself is at its limit.
        True: the wider band in which the next single value will lie, for when a
        check may fail.
    time_unit : str
        Of `times`, for the sentence.

    Returns
    -------
    forecast : TrendForecast

    Raises
    ------
    TooFew
        If there are fewer than 3 values.
    Degenerate
        If all times are equal.
    OutOfDomain
        If the limit isn't positive or the probability lies outside 0.5 to 1.

    Notes
    -----
    With the line a + b·t of covariance C from s² with N − 2 degrees of freedom,
    the earliest time solves a + b·t + t_p·√(C_aa + 2t·C_ab + t²·C_bb) = limit after
    the last time (and its mirror image), a quadratic equation (Fieller). The band
    holds if the drift stays straight: far ahead that is an assumption.

    References
    ----------
    .. [1] ILAC-G24/OIML D 10:2022, 6.3 (interval from the drift).
    .. [2] Draper, N. R., Smith, H., Applied Regression Analysis, ch. 3 (inverse
       regression and its limits).

    Examples
    --------
    >>> forecast = forecast_limit([0, 12, 24, 36], [0.2, 0.9, 1.7, 2.3], 4.0)
    >>> round(forecast.expected_time, 4), round(forecast.earliest_time, 1)
    (64.0563, 59.3)
    """
    when, errors = vector("times", times), vector("values", values)
    same_length(times=when, values=errors)
    permitted = positive("limit", limit)
    if not 0.5 < finite("probability", probability) < 1.0:
        raise OutOfDomain(
            f"probability is {probability:g}; it must lie between 0.5 and 1."
        )
    last = float(when.max())
    # From the last time on, so that what lies ahead is a small positive number.
    line = calibration_line(when - last, errors)
    quantile = float(student.ppf(probability, line.degrees_of_freedom))
    own_variance = line.variance_factor if of_single_value else 0.0
    ahead = [
        _first_meeting(line, side, permitted, quantile, own_variance)
        for side in (_UPPER, _LOWER)
    ]
    earliest = min((each for each in ahead if each is not None), default=None)
    expected = _expected_meeting(line, permitted)
    two_sided = float(student.ppf(0.975, line.degrees_of_freedom))
    is_significant = abs(line.slope) > two_sided * line.u_slope
    return TrendForecast(
        slope=line.slope,
        u_slope=line.u_slope,
        intercept=line.at(-last),
        level=line.intercept,
        standard_deviation=line.standard_deviation,
        degrees_of_freedom=line.degrees_of_freedom,
        is_significant=is_significant,
        limit=permitted,
        last_time=last,
        expected_time=None if expected is None else last + expected,
        earliest_time=None if earliest is None else last + earliest,
        words=_words(is_significant, expected, earliest, time_unit),
    )


def _expected_meeting(line: StraightLine, limit: float) -> float | None:
    """Time ahead at which the line itself is at the limit it moves towards."""
    if abs(line.intercept) >= limit:
        return 0.0
    if line.slope == 0.0:
        return None
    return line.x_for(math.copysign(limit, line.slope))


def _first_meeting(
    line: StraightLine,
    side: float,
    limit: float,
    quantile: float,
    own_variance: float,
) -> float | None:
    """Time ahead at which the band's edge on one side is at the limit."""
    level, slope = side * line.intercept, side * line.slope
    q2 = quantile**2
    c0 = line.u_intercept**2 + own_variance
    room = limit - level
    if room <= quantile * math.sqrt(c0):
        return 0.0
    # (room − slope·t)² = q²·(c0 + 2·c1·t + c2·t²), with room − slope·t ≥ 0. The
    # edge is convex in t and starts below the limit, so it crosses at most once.
    roots = np.roots(
        [
            slope**2 - q2 * line.u_slope**2,
            -2.0 * room * slope - 2.0 * q2 * line.covariance,
            room**2 - q2 * c0,
        ]
    )
    real = roots.real[np.abs(roots.imag) <= 1e-9 * np.abs(roots.real)]
    ahead = [float(t) for t in real if t > 0.0 and room - slope * t >= -1e-9 * room]
    return min(ahead, default=None)


def _words(
    is_significant: bool, expected: float | None, earliest: float | None, unit: str
) -> str:
    trend = "The trend is significant" if is_significant else "There is no clear trend"
    if earliest == 0.0:
        return f"{trend}; within its band the limit is already reached."
    if earliest is None:
        return f"{trend}; within its band the limit is never reached."
    start = (
        f"{trend}; within its band the limit is reached no sooner than "
        f"{_rounded(earliest)} {unit} after the last value"
    )
    if expected is None:
        return f"{start}, and by the line itself never."
    return f"{start}, and by the line itself after {_rounded(expected)}."


def _rounded(time: float) -> str:
    """Write three digits of a time without an exponent, which nobody says."""
    return f"{float(f'{time:.3g}'):.0f}" if time >= 100.0 else f"{time:.3g}"
