r"""Shapes of the distribution that a measurement result stands for.

A result :math:`y` with standard uncertainty :math:`u` states a distribution of the
measurand :math:`Y`. A *shape* is the distribution of :math:`Z = (Y - y)/u`: normal
by default, Student's t where the effective degrees of freedom are few, rectangular
or trapezoidal where one or two limits dominate the budget. Coverage factors and
conformance probabilities both follow from it, so that the guard band of a rule
stated as a probability is :math:`z(p)\,u` with the :math:`z` of the *right* shape:
0.83 U guards 5 % for a normal distribution and k = 2, but for a rectangular one
with k = 1.65 it leaves 10.6 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

from scipy import optimize, special

from lab.metrology.errors import OutOfDomain

__all__ = [
    "NORMAL",
    "RECTANGULAR",
    "BlurredTrapezoid",
    "Normal",
    "Shape",
    "Student",
    "Trapezoid",
]


class Shape(Protocol):
    """A symmetric distribution of ``(Y - y) / u``."""

    def below(self, z: float) -> float:
        """Give the probability that the standardised measurand is at most ``z``."""
        ...

    def quantile(self, probability: float) -> float:
        """Give the ``z`` that is not exceeded with the stated probability."""
        ...

    @property
    def name(self) -> str:
        """The name of the shape in words."""
        ...


@dataclass(frozen=True, slots=True)
class Normal:
    """The normal shape.

    Examples
    --------
    >>> round(Normal().quantile(0.95), 4)
    1.6449
    """

    @property
    def name(self) -> str:
        """The name of the shape in words."""
        return "normal"

    def below(self, z: float) -> float:
        """Give the probability that the standardised measurand is at most ``z``."""
        return float(special.ndtr(z))

    def quantile(self, probability: float) -> float:
        """Give the ``z`` that is not exceeded with the stated probability."""
        return float(special.ndtri(_probability(probability)))


@dataclass(frozen=True, slots=True)
class Student:
    """Student's t: a standard uncertainty known with few degrees of freedom.

    ``u`` is the scale of the distribution, as in JCGM 100 annex G; its standard
    deviation is larger by ``sqrt(dof / (dof - 2))``.

    Examples
    --------
    >>> round(Student(10).quantile(0.975), 3)
    2.228
    """

    degrees_of_freedom: float

    def __post_init__(self) -> None:
        """Refuse degrees of freedom that are not above zero."""
        if not (math.isfinite(self.degrees_of_freedom) and self.degrees_of_freedom > 0):
            msg = (
                "degrees_of_freedom must be finite and above zero, got "
                f"{self.degrees_of_freedom}; use NORMAL where they are infinite."
            )
            raise OutOfDomain(msg)

    @property
    def name(self) -> str:
        """The name of the shape in words."""
        return f"Student's t with {self.degrees_of_freedom:g} degrees of freedom"

    def below(self, z: float) -> float:
        """Give the probability that the standardised measurand is at most ``z``."""
        return float(special.stdtr(self.degrees_of_freedom, z))

    def quantile(self, probability: float) -> float:
        """Give the ``z`` that is not exceeded with the stated probability."""
        return float(
            special.stdtrit(self.degrees_of_freedom, _probability(probability))
        )


@dataclass(frozen=True, slots=True)
class Trapezoid:
    r"""A symmetric trapezoid, the sum of two rectangular inputs.

    ``top_share`` is :math:`\beta = |a_1 - a_2| / (a_1 + a_2)`, the width of the top
    over the width of the base: 1 is a rectangle, 0 a triangle (EA-4/02 S10.13). The
    half-width of the base in units of u is :math:`\sqrt{6/(1+\beta^2)}`.

    Examples
    --------
    >>> round(RECTANGULAR.quantile(0.975), 3)
    1.645
    """

    top_share: float

    def __post_init__(self) -> None:
        """Refuse a share outside 0 to 1."""
        if not 0 <= self.top_share <= 1:
            msg = f"top_share must lie within 0 and 1, got {self.top_share}."
            raise OutOfDomain(msg)

    @property
    def name(self) -> str:
        """The name of the shape in words."""
        return "rectangular" if self.top_share == 1 else "trapezoidal"

    @property
    def half_width(self) -> float:
        """Half the base, in units of the standard uncertainty."""
        return math.sqrt(6.0 / (1.0 + self.top_share**2))

    def below(self, z: float) -> float:
        """Give the probability that the standardised measurand is at most ``z``."""
        upper_tail = self._tail(abs(z) / self.half_width)
        return 1.0 - upper_tail if z >= 0 else upper_tail

    def quantile(self, probability: float) -> float:
        """Give the ``z`` that is not exceeded with the stated probability."""
        tail = min(_probability(probability), 1.0 - probability)
        size = self.half_width * self._tail_start(tail)
        return size if probability >= 0.5 else -size

    def _tail(self, x: float) -> float:
        # x is |z| over the half-width. The density is 1/(1+beta) on the top and
        # falls linearly to zero at x = 1.
        beta = self.top_share
        if x >= 1:
            return 0.0
        if x <= beta:
            return 0.5 - x / (1.0 + beta)
        return (1.0 - x) ** 2 / (2.0 * (1.0 - beta**2))

    def _tail_start(self, tail: float) -> float:
        beta = self.top_share
        if tail >= (1.0 - beta) / (2.0 * (1.0 + beta)):
            return (0.5 - tail) * (1.0 + beta)
        return 1.0 - math.sqrt(2.0 * tail * (1.0 - beta**2))


@dataclass(frozen=True, slots=True)
class BlurredTrapezoid:
    r"""A symmetric trapezoid plus an independent normal rest.

    ``top_share`` is β of the trapezoid; ``rest_ratio`` the standard uncertainty of the
    rest over that of the trapezoid. The distribution function is closed: the trapezoid
    is a sum of four ramps, and a ramp blurred by a normal integrates to
    :math:`\tfrac12[(x^2+\sigma^2)\Phi(x/\sigma) + x\sigma\varphi(x/\sigma)]`.

    Examples
    --------
    >>> round(BlurredTrapezoid(1.0, 0.3).quantile(0.975), 3)
    1.729
    """

    top_share: float
    rest_ratio: float

    def __post_init__(self) -> None:
        """Refuse a share outside 0 to 1, and a rest that is not above zero."""
        if not 0 <= self.top_share <= 1:
            msg = f"top_share must lie within 0 and 1, got {self.top_share}."
            raise OutOfDomain(msg)
        if not (math.isfinite(self.rest_ratio) and self.rest_ratio > 0):
            msg = f"rest_ratio must be finite and above zero, got {self.rest_ratio}."
            raise OutOfDomain(msg)

    @property
    def name(self) -> str:
        """The name of the shape in words."""
        shape = "rectangular" if self.top_share == 1 else "trapezoidal"
        return f"{shape} with a normal rest"

    def below(self, z: float) -> float:
        """Give the probability that the standardised measurand is at most ``z``."""
        tail = min(max(self._tail(-abs(z)), 0.0), 0.5)
        return 1.0 - tail if z >= 0 else tail

    def quantile(self, probability: float) -> float:
        """Give the ``z`` that is not exceeded with the stated probability."""
        tail = min(_probability(probability), 1.0 - probability)
        if tail == 0.5:
            return 0.0
        base, sigma = self._base_and_sigma()
        size = optimize.brentq(
            lambda z: self.below(-z) - tail, 0.0, base + 10.0 * sigma, xtol=1e-13
        )
        return float(size) if probability >= 0.5 else -float(size)

    def _base_and_sigma(self) -> tuple[float, float]:
        trapezoid_u = 1.0 / math.hypot(1.0, self.rest_ratio)
        base = trapezoid_u * math.sqrt(6.0 / (1.0 + self.top_share**2))
        return base, trapezoid_u * self.rest_ratio

    def _tail(self, z: float) -> float:
        base, sigma = self._base_and_sigma()
        if 1.0 - self.top_share < _RECTANGLE:
            ends = _blurred_ramp(z + base, sigma) - _blurred_ramp(z - base, sigma)
            return ends / (2.0 * base)
        top = base * self.top_share
        corners = (
            _blurred_parabola(z + base, sigma)
            - _blurred_parabola(z + top, sigma)
            - _blurred_parabola(z - top, sigma)
            + _blurred_parabola(z - base, sigma)
        )
        return corners / ((base - top) * (base + top))


NORMAL = Normal()
RECTANGULAR = Trapezoid(1.0)


# A top this near to the base is a rectangle; the four ramps would cancel.
_RECTANGLE = 1e-6


def _blurred_ramp(x: float, sigma: float) -> float:
    t = x / sigma
    density = math.exp(-0.5 * t * t) / math.sqrt(2.0 * math.pi)
    return x * float(special.ndtr(t)) + sigma * density


def _blurred_parabola(x: float, sigma: float) -> float:
    t = x / sigma
    density = math.exp(-0.5 * t * t) / math.sqrt(2.0 * math.pi)
    return 0.5 * (
        (x * x + sigma * sigma) * float(special.ndtr(t)) + x * sigma * density
    )


def _probability(probability: float) -> float:
    if not 0 < probability < 1:
        msg = f"probability must lie between 0 and 1, got {probability}."
        raise OutOfDomain(msg)
    return float(probability)
