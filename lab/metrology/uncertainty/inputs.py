r"""Input quantities of a budget, evaluated by statistics (Type A) or otherwise (B)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from lab.metrology.arrays import finite, positive, vector
from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.uncertainty.distributions import Distribution, StudentT

__all__ = [
    "Input",
    "degrees_of_freedom_from_reliability",
    "from_readings",
    "relative_uncertainty_of_s",
]


@dataclass(frozen=True, slots=True)
class Input:
    """One input quantity.

    Parameters
    ----------
    name : str
        Unique in its budget; printed.
    estimate : float
        Best estimate.
    distribution : Distribution
        Of the quantity about its estimate.
    degrees_of_freedom : float, optional
        Where the distribution itself implies none: how well its width is known
        (JCGM 100, G.4.2). Infinite if left out.
    sensitivity : float, optional
        Analytic sensitivity coefficient; found by central differences from the
        model if left out.
    unit : str
        For print.

    Examples
    --------
    >>> from lab.metrology.uncertainty import Rectangular
    >>> Input("temperature", 20.3, Rectangular(0.1), unit="°C").effective_dof
    inf
    """

    name: str
    estimate: float
    distribution: Distribution
    degrees_of_freedom: float | None = None
    sensitivity: float | None = None
    unit: str = ""

    def __post_init__(self) -> None:
        """Refuse an input that is no number, or whose degrees of freedom clash."""
        if not self.name.strip():
            raise OutOfDomain("An input quantity needs a name.")
        finite(f"estimate of {self.name}", self.estimate)
        if self.sensitivity is not None:
            finite(f"sensitivity of {self.name}", self.sensitivity)
        stated = self.degrees_of_freedom
        if stated is None:
            return
        if not stated > 0:
            raise OutOfDomain(
                f"degrees_of_freedom of {self.name} must be above zero, got {stated}."
            )
        implied = self.distribution.degrees_of_freedom
        if math.isfinite(implied) and stated != implied:
            raise OutOfDomain(
                f"{self.name}: its distribution implies {implied:g} degrees of "
                f"freedom, and {stated:g} are stated; state them once."
            )

    @property
    def u(self) -> float:
        """Standard uncertainty of the input."""
        return self.distribution.standard_uncertainty

    @property
    def effective_dof(self) -> float:
        """Degrees of freedom, stated or implied."""
        if self.degrees_of_freedom is None:
            return self.distribution.degrees_of_freedom
        return self.degrees_of_freedom


def from_readings(
    name: str, readings: ArrayLike, *, sensitivity: float | None = None, unit: str = ""
) -> Input:
    r"""Evaluate repeated readings by statistics (Type A).

    Mean, :math:`s/\sqrt{n}` and n - 1 degrees of freedom (JCGM 100:2008, 4.2).

    Parameters
    ----------
    name : str
        Name of the input.
    readings : array_like, shape (n,)
        At least two independent readings.
    sensitivity, unit
        As in :class:`Input`.

    Returns
    -------
    Input

    Raises
    ------
    TooFew, NotFinite, BadShape
        If the readings are fewer than two or unusable.

    Examples
    --------
    >>> reading = from_readings("length", [10.01, 10.03, 10.02], unit="mm")
    >>> round(reading.u, 5), reading.effective_dof
    (0.00577, 2.0)
    """
    values = vector("readings", readings)
    if len(values) < 2:
        raise TooFew(f"{name}: a Type A evaluation needs at least two readings.")
    scale = float(np.std(values, ddof=1)) / math.sqrt(len(values))
    return Input(
        name,
        float(np.mean(values)),
        StudentT(scale, float(len(values) - 1)),
        sensitivity=sensitivity,
        unit=unit,
    )


def degrees_of_freedom_from_reliability(relative_uncertainty: float) -> float:
    r"""Give the degrees of freedom of a Type B uncertainty from how well it is known.

    :math:`\nu = \tfrac12 (\Delta u / u)^{-2}` (JCGM 100:2008, G.4.2, equation G.3).

    Examples
    --------
    >>> degrees_of_freedom_from_reliability(0.25)
    8.0
    """
    return 0.5 / positive("relative_uncertainty", relative_uncertainty) ** 2


def relative_uncertainty_of_s(count: int) -> float:
    r"""Give the relative standard deviation of s from ``count`` normal readings.

    .. math:: \sigma(s)/\sigma = \sqrt{1 - c_4^2}, \qquad
        c_4 = \sqrt{\tfrac{2}{n-1}}\,\frac{\Gamma(n/2)}{\Gamma((n-1)/2)}

    over the expected value :math:`c_4 \sigma` of s, as JCGM 100:2008, Table E.1 gives.

    Examples
    --------
    >>> round(100 * relative_uncertainty_of_s(10))
    24
    """
    if count < 2:
        raise TooFew(f"count must be at least 2, got {count}.")
    half = (count - 1) / 2.0
    c4 = math.exp(math.lgamma(half + 0.5) - math.lgamma(half)) / math.sqrt(half)
    return math.sqrt(1.0 - c4**2) / c4
