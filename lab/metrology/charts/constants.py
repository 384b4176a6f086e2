"""Control-chart constants, computed instead of tabled.

For samples of n independent normal values of standard deviation 1, d2 and d3 are
the mean and the standard deviation of the range, and c4 is the mean of the
sample standard deviation. With F the distribution function of the range,

    F(w) = n ∫ φ(x)·[Φ(x + w) − Φ(x)]^(n−1) dx,

d2 = ∫ (1 − F) dw and d2² + d3² = ∫ 2w·(1 − F) dw, over w from 0 to infinity. The
rest follow: A2 = 3/(d2·√n), D3, D4 = 1 ∓ 3·d3/d2, A3 = 3/(c4·√n) and
B3, B4 = 1 ∓ 3·√(1 − c4²)/c4, the lower ones not below zero.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import gammaln, ndtr

from lab.metrology.errors import OutOfDomain

__all__ = ["ChartConstants", "chart_constants"]

_LARGEST_SUBGROUP = 50


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Constants of control charts for subgroups of `n`, named as in ISO 7870-2."""

    n: int
    d2: float
    d3: float
    c4: float
    a2: float
    a3: float
    b3: float
    b4: float
    # The standards write them as D3 and D4; d3 is another constant.
    upper_d3: float
    upper_d4: float


@cache
def chart_constants(n: int) -> ChartConstants:
    """Compute the control-chart constants for subgroups of n.

    Parameters
    ----------
    n : int
        Size of a subgroup, 2 to 50.

    Returns
    -------
    constants : ChartConstants

    Raises
    ------
    OutOfDomain
        If n lies outside 2 to 50.

    Notes
    -----
    The integrals are taken by Gauss-Legendre and trapezoidal rules fine enough
    for 10 digits. Printed tables are rounded to three or four digits, and two of
    them can differ in the last one (D4 for n = 5: 2.114 or 2.115).

    References
    ----------
    .. [1] ISO 7870-2, Control charts, Part 2: Shewhart control charts.
    .. [2] Tippett, L. H. C. (1925). On the extreme individuals and the range of
       samples taken from a normal population. Biometrika 17, 364-387.

    Examples
    --------
    >>> five = chart_constants(5)
    >>> round(five.d2, 3), round(five.a2, 3), round(five.upper_d4, 3)
    (2.326, 0.577, 2.114)
    """
    if not 2 <= n <= _LARGEST_SUBGROUP:
        raise OutOfDomain(
            f"n is {n}; subgroups hold 2 to {_LARGEST_SUBGROUP} values. For single "
            "values use the individuals chart."
        )
    d2, d3 = _range_moments(n)
    c4 = math.sqrt(2.0 / (n - 1)) * math.exp(
        float(gammaln(n / 2.0) - gammaln((n - 1) / 2.0))
    )
    spread = 3.0 * math.sqrt(1.0 - c4**2) / c4
    return ChartConstants(
        n=n,
        d2=d2,
        d3=d3,
        c4=c4,
        a2=3.0 / (d2 * math.sqrt(n)),
        a3=3.0 / (c4 * math.sqrt(n)),
        b3=max(0.0, 1.0 - spread),
        b4=1.0 + spread,
        upper_d3=max(0.0, 1.0 - 3.0 * d3 / d2),
        upper_d4=1.0 + 3.0 * d3 / d2,
    )


def _range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of n standard normal values."""
    # The trapezoidal rule is exact to rounding for a smooth integrand that dies
    # out at both ends; the range starts at a hard zero, hence Gauss-Legendre.
    x = np.linspace(-9.0, 9.0, 721)
    density = np.exp(-0.5 * x**2) / math.sqrt(2.0 * math.pi)
    nodes, node_weights = np.polynomial.legendre.leggauss(200)
    w = 7.5 * (nodes + 1.0)
    between = ndtr(x[None, :] + w[:, None]) - ndtr(x)[None, :]
    below = n * (between ** (n - 1) @ density) * (x[1] - x[0])
    above = 7.5 * node_weights * (1.0 - below)
    mean = float(above.sum())
    return mean, math.sqrt(2.0 * float(above @ w) - mean**2)
