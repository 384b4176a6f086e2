"""What air outside its limits can have done to a length, as a bound.

The part is brought to 20 °C by the temperature that was read on it. While the air goes
elsewhere, the part follows it with a delay; the bound takes it to follow at once, so
that the true effect is no larger:

    |ΔL| ≤ L·|α|·|ΔT|,    u = L·√((α·u_T)² + (u_α·ΔT)²),    U = 2·u.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from lab.metrology.arrays import finite, non_negative, positive
from lab.metrology.thermal.length import Expansion

__all__ = ["ConditionEffect", "condition_effect", "deviation_in_gap"]

_COVERAGE = 2.0


@dataclass(frozen=True, slots=True)
class ConditionEffect:
    """A bound on what a deviation of temperature did to a length, in mm."""

    shift_mm: float
    u_mm: float

    @property
    def expanded_u_mm(self) -> float:
        """Expanded uncertainty of the shift, k = 2."""
        return _COVERAGE * self.u_mm

    @property
    def most_mm(self) -> float:
        """The shift with its expanded uncertainty on top."""
        return abs(self.shift_mm) + self.expanded_u_mm


def condition_effect(
    length_mm: float, expansion: Expansion, deviation_k: float, u_k: float
) -> ConditionEffect:
    """Bound what a deviation of the air's temperature did to a length.

    Parameters
    ----------
    length_mm : float
        The length, in mm.
    expansion : Expansion
        Of the part.
    deviation_k : float
        Largest difference of the air from the temperature that was corrected by, in
        K, with its sign.
    u_k : float
        Standard uncertainty of that difference.

    Returns
    -------
    effect : ConditionEffect

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2 (first order, uncorrelated).

    Examples
    --------
    >>> steel = Expansion(11.5e-6, 1.2e-6)
    >>> effect = condition_effect(1000.0, steel, 1.5, 0.2)
    >>> round(effect.shift_mm * 1000, 2), round(effect.expanded_u_mm * 1000, 2)
    (17.25, 5.84)
    """
    length = positive("length_mm", length_mm)
    deviation = finite("deviation_k", deviation_k)
    return ConditionEffect(
        shift_mm=length * expansion.per_k * deviation,
        u_mm=length
        * math.hypot(
            expansion.per_k * non_negative("u_k", u_k), expansion.u_per_k * deviation
        ),
    )


def deviation_in_gap(
    first_k: float, last_k: float, length_s: float, rate_k_per_h: float
) -> float:
    """Bound the deviation within a gap in the readings, of which nothing is known.

    From either edge the air can have moved by no more than half of the gap at the
    fastest rate: the worse edge, and that on top.

    Parameters
    ----------
    first_k, last_k : float
        Deviations at the edges of the gap, in K.
    length_s : float
        Its length, in s.
    rate_k_per_h : float
        The fastest change that is taken to be possible, in K/h.

    Returns
    -------
    deviation_k : float
        With the sign of the worse edge.

    Examples
    --------
    >>> deviation_in_gap(0.2, -0.4, 3600.0, 1.0)
    -0.9
    """
    worse = max(finite("first_k", first_k), finite("last_k", last_k), key=abs)
    moved = (
        non_negative("rate_k_per_h", rate_k_per_h)
        * non_negative("length_s", length_s)
        / 7200.0
    )
    return worse + math.copysign(moved, worse)
