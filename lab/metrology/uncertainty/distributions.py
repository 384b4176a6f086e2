r"""Distributions of an input quantity about its estimate.

Each knows its standard uncertainty (for the law of propagation), and how to draw
deviations from the estimate (for Monte Carlo).

====================  ========================  ==================================
distribution          standard uncertainty      source
====================  ========================  ==================================
normal                u, or U/k                 JCGM 100:2008, 4.3.3
rectangular           a/√3                      JCGM 100:2008, 4.3.7
triangular            a/√6                      JCGM 100:2008, 4.3.9
arcsine (U-shaped)    a/√2                      JCGM 101:2008, 6.4.6
trapezoidal           a √((1 + β²)/6)           JCGM 100:2008, 4.3.9
curvilinear trapezoid √(a²/3 + d²/9)            JCGM 101:2008, 6.4.3
scaled and shifted t  s (its scale)             JCGM 100, G.3; JCGM 101, 6.4.9
====================  ========================  ==================================

For the t distribution the guide uses its scale s with the degrees of freedom, while
the standard deviation of what is drawn is :math:`s\sqrt{\nu/(\nu-2)}`: that is why
Monte Carlo gives a larger standard uncertainty where degrees of freedom are few.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from lab.metrology.arrays import non_negative, positive
from lab.metrology.errors import OutOfDomain

__all__ = [
    "Arcsine",
    "CurvilinearTrapezoid",
    "Distribution",
    "Normal",
    "Rectangular",
    "StudentT",
    "Trapezoidal",
    "Triangular",
]


class Distribution(Protocol):
    """What the budget and the Monte Carlo need of a distribution."""

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        ...

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom that the distribution itself implies."""
        ...

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        ...

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        ...


@dataclass(frozen=True, slots=True)
class _Certain:
    """What the distributions without degrees of freedom of their own share."""

    @property
    def degrees_of_freedom(self) -> float:
        """Infinite: the distribution is taken as known."""
        return math.inf


@dataclass(frozen=True, slots=True)
class Normal(_Certain):
    """Normal with standard uncertainty ``u``.

    Examples
    --------
    >>> round(Normal.from_expanded(0.075, 3).standard_uncertainty, 6)
    0.025
    """

    u: float

    def __post_init__(self) -> None:
        """Refuse a negative or non-finite u."""
        non_negative("u", self.u)

    @classmethod
    def from_expanded(cls, expanded_u: float, coverage_factor: float) -> Normal:
        """Take U and k from a calibration certificate."""
        positive("coverage_factor", coverage_factor)
        return cls(expanded_u / coverage_factor)

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        return "normal"

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        return self.u

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        drawn = generator.standard_normal(count)
        drawn *= self.u
        return drawn


@dataclass(frozen=True, slots=True)
class Rectangular(_Certain):
    """Rectangular within ± ``half_width``.

    Examples
    --------
    >>> round(Rectangular(0.05).standard_uncertainty, 4)
    0.0289
    """

    half_width: float

    def __post_init__(self) -> None:
        """Refuse a negative or non-finite half-width."""
        non_negative("half_width", self.half_width)

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        return "rectangular"

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        return self.half_width / math.sqrt(3.0)

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        drawn = generator.random(count)
        drawn -= 0.5
        drawn *= 2.0 * self.half_width
        return drawn


@dataclass(frozen=True, slots=True)
class Triangular(_Certain):
    """Triangular within ± ``half_width``.

    Examples
    --------
    >>> round(Triangular(1.0).standard_uncertainty, 4)
    0.4082
    """

    half_width: float

    def __post_init__(self) -> None:
        """Refuse a negative or non-finite half-width."""
        non_negative("half_width", self.half_width)

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        return "triangular"

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        return self.half_width / math.sqrt(6.0)

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        return self.half_width * (generator.random(count) - generator.random(count))


@dataclass(frozen=True, slots=True)
class Arcsine(_Certain):
    """Arcsine (U-shaped) within ± ``half_width``: a cyclic influence.

    Examples
    --------
    >>> round(Arcsine(0.5).standard_uncertainty, 4)
    0.3536
    """

    half_width: float

    def __post_init__(self) -> None:
        """Refuse a negative or non-finite half-width."""
        non_negative("half_width", self.half_width)

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        return "arcsine"

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        return self.half_width / math.sqrt(2.0)

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        return self.half_width * np.sin(2.0 * math.pi * generator.random(count))


@dataclass(frozen=True, slots=True)
class Trapezoidal(_Certain):
    """Symmetric trapezoid; ``top_share`` is the width of its top over its base.

    Examples
    --------
    >>> round(Trapezoidal(1.0, 1.0).standard_uncertainty, 4)
    0.5774
    """

    half_width: float
    top_share: float

    def __post_init__(self) -> None:
        """Refuse a negative half-width or a share outside 0 to 1."""
        non_negative("half_width", self.half_width)
        if not 0 <= self.top_share <= 1:
            raise OutOfDomain(
                f"top_share must lie within 0 and 1, got {self.top_share}."
            )

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        return "trapezoidal"

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        return self.half_width * math.sqrt((1.0 + self.top_share**2) / 6.0)

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        # The sum of two rectangles of half-widths a(1+β)/2 and a(1-β)/2.
        wide = self.half_width * (1.0 + self.top_share) / 2.0
        narrow = self.half_width * (1.0 - self.top_share) / 2.0
        first = wide * (2.0 * generator.random(count) - 1.0)
        return first + narrow * (2.0 * generator.random(count) - 1.0)


@dataclass(frozen=True, slots=True)
class CurvilinearTrapezoid(_Certain):
    """Rectangular whose half-width is itself known only within ± ``inexactness``.

    JCGM 101:2008, 6.4.3: CTrap(a, b, d) with half-width (b - a)/2 and d. The formula
    of u is from memory; it follows from the law of total variance.

    Examples
    --------
    >>> round(CurvilinearTrapezoid(0.050, 0.025).standard_uncertainty, 6)
    0.030046
    """

    half_width: float
    inexactness: float

    def __post_init__(self) -> None:
        """Refuse negative widths, or an inexactness beyond the half-width."""
        non_negative("half_width", self.half_width)
        non_negative("inexactness", self.inexactness)
        if self.inexactness > self.half_width:
            raise OutOfDomain(
                f"inexactness {self.inexactness} must not exceed half_width "
                f"{self.half_width}."
            )

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        return "curvilinear trapezoid"

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        return math.sqrt(self.half_width**2 / 3.0 + self.inexactness**2 / 9.0)

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        limit = self.half_width + self.inexactness * (
            2.0 * generator.random(count) - 1.0
        )
        return limit * (2.0 * generator.random(count) - 1.0)


@dataclass(frozen=True, slots=True)
class StudentT:
    """Scaled t: an estimate from few readings; ``scale`` is s/√n.

    Examples
    --------
    >>> StudentT(25.0, 18).standard_uncertainty
    25.0
    """

    scale: float
    degrees_of_freedom: float

    def __post_init__(self) -> None:
        """Refuse a negative scale, or degrees of freedom not above zero."""
        non_negative("scale", self.scale)
        positive("degrees_of_freedom", self.degrees_of_freedom)

    @property
    def name(self) -> str:
        """The name of the distribution in words."""
        return f"t with {self.degrees_of_freedom:g} degrees of freedom"

    @property
    def standard_uncertainty(self) -> float:
        """The u that enters the law of propagation."""
        return self.scale

    def draw(self, generator: np.random.Generator, count: int) -> NDArray[np.float64]:
        """Draw deviations from the estimate, shape (count,)."""
        drawn = generator.standard_t(self.degrees_of_freedom, count)
        drawn *= self.scale
        return drawn
