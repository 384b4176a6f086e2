r"""Global risks: what a rule does to a whole process, before any item is measured.

With a normal prior of the process, :math:`\eta \sim N(\mu_0, u_0)`, and a measuring
process of standard uncertainty :math:`u_m`, the chance that an item of true value
:math:`\eta` is accepted is :math:`F(\eta) = \Phi((A_U-\eta)/u_m) -
\Phi((A_L-\eta)/u_m)`. Then (JCGM 106:2012, 9.5)

.. math::
    R_C = \int_{\eta \notin T} F(\eta)\,g_0(\eta)\,d\eta, \qquad
    R_P = \int_{\eta \in T} \bigl(1 - F(\eta)\bigr)\,g_0(\eta)\,d\eta .
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from lab.metrology.conformity.limits import AcceptanceLimits
from lab.metrology.conformity.tolerance import Tolerance
from lab.metrology.errors import NotFinite, OutOfDomain

__all__ = ["GlobalRisk", "ProcessPrior", "global_risk"]

# Beyond so many standard deviations the prior holds less than 1e-23.
_REACH = 10.0
# A panel no wider than half the narrower of both spreads is integrated by 16-point
# Gauss-Legendre to rounding error.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)
_MOST_PANELS = 20_000


@dataclass(frozen=True, slots=True)
class ProcessPrior:
    """What is known of the items before they are measured: a normal distribution.

    ``mean`` and ``standard_deviation`` of the true values, in the unit of the
    tolerance.
    """

    mean: float
    standard_deviation: float

    def __post_init__(self) -> None:
        """Refuse a prior that is no distribution."""
        if not (math.isfinite(self.mean) and math.isfinite(self.standard_deviation)):
            msg = "mean and standard_deviation of the process must be finite."
            raise NotFinite(msg)
        if self.standard_deviation <= 0:
            msg = (
                "standard_deviation of the process must be greater than zero, got "
                f"{self.standard_deviation}."
            )
            raise OutOfDomain(msg)


@dataclass(frozen=True, slots=True)
class GlobalRisk:
    """Joint probabilities of a process under a rule.

    ``consumer``: an item does not conform and is accepted. ``producer``: it conforms
    and is not. ``nonconforming``: share of the items that do not conform.
    ``accepted``: share that is accepted.
    """

    consumer: float
    producer: float
    nonconforming: float
    accepted: float

    @property
    def nonconforming_among_accepted(self) -> float:
        """Share of the accepted items that do not conform."""
        return self.consumer / self.accepted if self.accepted > 0 else 0.0


def global_risk(
    tolerance: Tolerance, limits: AcceptanceLimits, u: float, prior: ProcessPrior
) -> GlobalRisk:
    """Give the consumer's and the producer's risk of a process under a rule.

    Parameters
    ----------
    tolerance : Tolerance
        What is required.
    limits : AcceptanceLimits
        What is accepted.
    u : float
        Standard uncertainty of the measuring process, in the unit of the tolerance.
    prior : ProcessPrior
        Distribution of the true values.

    Returns
    -------
    GlobalRisk

    Raises
    ------
    OutOfDomain
        If u is not above zero, so small against the process that the integral would
        need too many steps, or the characteristic is non-negative (a normal process
        would have values below zero).

    References
    ----------
    .. [1] JCGM 106:2012, 9.5.

    Examples
    --------
    >>> tolerance = Tolerance(Decimal("1499.8"), Decimal("1500.2"))
    >>> limits = AcceptanceLimits(tolerance.lower, tolerance.upper, None, None)
    >>> risk = global_risk(tolerance, limits, 0.04, ProcessPrior(1500.0, 0.12))
    >>> round(risk.consumer, 6), round(risk.producer, 6)
    (0.018942, 0.037208)
    """
    if not (math.isfinite(u) and u > 0):
        msg = f"u must be finite and greater than zero, got {u}."
        raise OutOfDomain(msg)
    if tolerance.non_negative:
        msg = (
            "A normal process would put values below zero; the global risk of a "
            "non-negative characteristic is not computed."
        )
        raise OutOfDomain(msg)
    low = prior.mean - _REACH * prior.standard_deviation
    high = prior.mean + _REACH * prior.standard_deviation
    lower = min(max(_or(tolerance.lower, low), low), high)
    upper = max(min(_or(tolerance.upper, high), high), low)
    step = min(u, prior.standard_deviation) / 2.0
    below = _joint(low, lower, step, limits, u, prior)
    inside = _joint(lower, upper, step, limits, u, prior)
    above = _joint(upper, high, step, limits, u, prior)
    return GlobalRisk(
        consumer=below.accepted + above.accepted,
        producer=inside.refused,
        nonconforming=_outside(tolerance, prior),
        accepted=below.accepted + inside.accepted + above.accepted,
    )


@dataclass(frozen=True, slots=True)
class _Joint:
    accepted: float
    refused: float


def _joint(
    start: float,
    end: float,
    step: float,
    limits: AcceptanceLimits,
    u: float,
    prior: ProcessPrior,
) -> _Joint:
    if end <= start:
        return _Joint(0.0, 0.0)
    panels = math.ceil((end - start) / step)
    if panels > _MOST_PANELS:
        msg = (
            f"u = {u:.3g} is so small against the process that the risk is that of the "
            "limits themselves."
        )
        raise OutOfDomain(msg)
    edges = np.linspace(start, end, panels + 1)
    half = np.diff(edges)[:, None] / 2.0
    eta = (edges[:-1, None] + half) + half * _NODES
    density = np.exp(-0.5 * ((eta - prior.mean) / prior.standard_deviation) ** 2)
    weight = half * _WEIGHTS * density
    weight /= prior.standard_deviation * math.sqrt(2.0 * math.pi)
    refused = _refused(eta, limits, u)
    return _Joint(
        accepted=float(np.sum(weight * (1.0 - refused))),
        refused=float(np.sum(weight * refused)),
    )


def _refused(
    eta: NDArray[np.float64], limits: AcceptanceLimits, u: float
) -> NDArray[np.float64]:
    chance = np.zeros_like(eta)
    if limits.upper is not None:
        chance += special.ndtr((eta - float(limits.upper)) / u)
    if limits.lower is not None:
        chance += special.ndtr((float(limits.lower) - eta) / u)
    return chance


def _outside(tolerance: Tolerance, prior: ProcessPrior) -> float:
    share = 0.0
    if tolerance.upper is not None:
        share += float(
            special.ndtr(
                (prior.mean - float(tolerance.upper)) / prior.standard_deviation
            )
        )
    if tolerance.lower is not None:
        share += float(
            special.ndtr(
                (float(tolerance.lower) - prior.mean) / prior.standard_deviation
            )
        )
    return share


def _or(limit: Decimal | None, otherwise: float) -> float:
    return otherwise if limit is None else float(limit)
