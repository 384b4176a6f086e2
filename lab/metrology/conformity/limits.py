r"""Conformance probability, and the limits within which a value is accepted.

With :math:`F` the distribution function of the standardised measurand (a
:class:`lab.metrology.shapes.Shape`) the conformance probability of a result
:math:`y \pm u` is (JCGM 106:2012, 7.2 to 7.4)

.. math::
    p_c = F\left(\frac{T_U - y}{u}\right) - F\left(\frac{T_L - y}{u}\right).

For a characteristic that cannot be negative no probability may lie below zero: the
density is cut at zero and scaled up again, which is the posterior of a flat prior on
[0, ∞) (JCGM 106:2012, clause 6), so :math:`1 - p_c` is the upper tail divided by
:math:`F(y/u)`.

A rule stated as a probability accepts where :math:`p_c \ge p`. With one limit that is
a guard band :math:`w = z(p)\,u`. With two limits nearer than 5 u both tails count and
the limits are solved for; from 5 u on the far tail is below 0.04 % and ISO 14253-1
lets one limit count (from memory). For shapes with heavier tails than the normal both
limits always count.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from scipy import optimize

from lab.metrology.conformity.rules import Rule, RuleKind
from lab.metrology.conformity.tolerance import Tolerance
from lab.metrology.decimals import PRECISE, exact, exact_positive
from lab.metrology.errors import MetrologyError, OutOfDomain
from lab.metrology.shapes import NORMAL, Shape

__all__ = [
    "AcceptanceLimits",
    "Conformance",
    "EmptyAcceptance",
    "acceptance_limits",
    "conformance",
]

#: Below this many standard uncertainties between the limits both of them act.
TWO_SIDED_BELOW_U = 5


class EmptyAcceptance(MetrologyError):
    """The rule leaves no value that could be accepted: refuse it at contract review."""


@dataclass(frozen=True, slots=True)
class Conformance:
    """The probability that the true value is inside the tolerance, and outside.

    Both are computed directly, so that neither loses its digits when it is small.
    """

    inside: float
    outside: float


@dataclass(frozen=True, slots=True)
class AcceptanceLimits:
    """The zones of a rule, in the unit of the tolerance; None where there is no limit.

    ``lower``, ``upper``: values between are accepted. ``outer_lower``,
    ``outer_upper``: values beyond are failed outright (conditional verdicts) or
    proven nonconforming (ISO 14253-1); None for binary rules.
    """

    lower: Decimal | None
    upper: Decimal | None
    outer_lower: Decimal | None
    outer_upper: Decimal | None


def conformance(
    value: float, u: float, tolerance: Tolerance, shape: Shape = NORMAL
) -> Conformance:
    """Give the conformance probability of a result.

    Parameters
    ----------
    value, u : float
        The result and its standard uncertainty, in the unit of the tolerance.
    tolerance : Tolerance
        One or two limits.
    shape : Shape
        Distribution of the measurand about the result.

    Returns
    -------
    Conformance

    Raises
    ------
    OutOfDomain
        If u is not above zero, or the value of a non-negative characteristic is
        below zero.

    References
    ----------
    .. [1] JCGM 106:2012, 7.2 to 7.4.

    Examples
    --------
    >>> limits = Tolerance(Decimal("12.5"), Decimal("16.3"))
    >>> round(conformance(13.6, 1.8, limits).inside, 2)
    0.66
    """
    if not u > 0:
        msg = f"u must be greater than zero, got {u}."
        raise OutOfDomain(msg)
    if tolerance.non_negative:
        return _conformance_above_zero(value, u, tolerance, shape)
    to_upper = None if tolerance.upper is None else (float(tolerance.upper) - value) / u
    to_lower = None if tolerance.lower is None else (float(tolerance.lower) - value) / u
    above = 0.0 if to_upper is None else shape.below(-to_upper)
    below = 0.0 if to_lower is None else shape.below(to_lower)
    outside = min(above + below, 1.0)
    if to_upper is not None and to_upper < 0:
        inside = shape.below(to_upper) - below
    elif to_lower is not None and to_lower > 0:
        inside = shape.below(-to_lower) - above
    else:
        inside = 1.0 - outside
    return Conformance(inside=max(inside, 0.0), outside=outside)


def acceptance_limits(
    expanded_u: Decimal | float,
    coverage_factor: Decimal | float,
    tolerance: Tolerance,
    rule: Rule,
    shape: Shape = NORMAL,
) -> AcceptanceLimits:
    """Give the limits of acceptance; call it at contract review with the U expected.

    Parameters
    ----------
    expanded_u, coverage_factor : Decimal or float
        U (in the unit of the tolerance) and its k; the standard uncertainty is U/k.
    tolerance : Tolerance
        What is required.
    rule : Rule
        What was agreed.
    shape : Shape
        Distribution of the measurand about the result.

    Returns
    -------
    AcceptanceLimits

    Raises
    ------
    EmptyAcceptance
        If no value could be accepted.

    References
    ----------
    .. [1] ILAC-G8:09/2019, 4.2. [2] ISO 14253-1:2017, clause 5. [3] JCGM 106:2012, 8.

    Examples
    --------
    >>> limits = acceptance_limits(
    ...     Decimal("0.012"), 2, Tolerance(Decimal("9.95"), Decimal("10.05")),
    ...     Rule("guarded", guard_factor=Decimal(1)),
    ... )
    >>> limits.lower, limits.upper
    (Decimal('9.962'), Decimal('10.038'))
    """
    spread = exact_positive("expanded_u", expanded_u)
    factor = exact_positive("coverage_factor", coverage_factor)
    if rule.by_probability:
        found = _by_probability(PRECISE.divide(spread, factor), tolerance, rule, shape)
    else:
        found = _by_guard_band(spread, tolerance, rule)
    _refuse_empty(found, tolerance, spread)
    return found


def _conformance_above_zero(
    value: float, u: float, tolerance: Tolerance, shape: Shape
) -> Conformance:
    if value < 0:
        msg = f"The value of a non-negative characteristic is below zero: {value}."
        raise OutOfDomain(msg)
    to_upper = (float(tolerance.upper or 0) - value) / u
    above_zero = shape.below(value / u)
    outside = shape.below(-to_upper) / above_zero
    inside = (shape.below(to_upper) - shape.below(-value / u)) / above_zero
    return Conformance(inside=max(inside, 0.0), outside=min(outside, 1.0))


def _by_guard_band(
    expanded_u: Decimal, tolerance: Tolerance, rule: Rule
) -> AcceptanceLimits:
    guard_band = (rule.guard_factor or Decimal(0)) * expanded_u
    outer = rule.kind is RuleKind.GUARDED_CONDITIONAL
    lower, upper = tolerance.lower, tolerance.upper
    return AcceptanceLimits(
        lower=None if lower is None else lower + guard_band,
        upper=None if upper is None else upper - guard_band,
        outer_lower=None if lower is None or not outer else lower - guard_band,
        outer_upper=None if upper is None or not outer else upper + guard_band,
    )


def _by_probability(
    u: Decimal, tolerance: Tolerance, rule: Rule, shape: Shape
) -> AcceptanceLimits:
    probability = float(rule.probability or 0)
    outer = rule.kind is RuleKind.ISO_14253_1
    if tolerance.non_negative or _both_limits_act(u, tolerance, shape):
        return _solved(float(u), tolerance, probability, shape, outer=outer)
    guard_band = exact("z", shape.quantile(probability)) * u
    lower, upper = tolerance.lower, tolerance.upper
    return AcceptanceLimits(
        lower=None if lower is None else lower + guard_band,
        upper=None if upper is None else upper - guard_band,
        outer_lower=None if lower is None or not outer else lower - guard_band,
        outer_upper=None if upper is None or not outer else upper + guard_band,
    )


def _both_limits_act(u: Decimal, tolerance: Tolerance, shape: Shape) -> bool:
    width = tolerance.width
    if width is None:
        return False
    return width < TWO_SIDED_BELOW_U * u or shape != NORMAL


def _solved(
    u: float, tolerance: Tolerance, probability: float, shape: Shape, *, outer: bool
) -> AcceptanceLimits:
    # The conformance probability falls from its best place (the middle, or zero for
    # a characteristic that cannot be negative) toward and beyond the upper limit.
    upper = float(tolerance.upper or 0)
    lower = 0.0 if tolerance.lower is None else float(tolerance.lower)
    best = 0.0 if tolerance.non_negative else (lower + upper) / 2.0
    most = conformance(best, u, tolerance, shape).inside
    if most < probability:
        msg = (
            "No value could be accepted: even the best one conforms with a probability "
            f"of {most:.3f}, and the rule asks for {probability}. The tolerance is too "
            f"narrow for a standard uncertainty of {u:.3g}."
        )
        raise EmptyAcceptance(msg)

    def place(of: float) -> Decimal:
        # One u beyond where the upper limit alone would have it: past the root.
        far = upper + (max(shape.quantile(1.0 - of), 0.0) + 1.0) * u
        root = optimize.brentq(
            lambda y: conformance(y, u, tolerance, shape).inside - of,
            best,
            far,
            xtol=1e-13 * max(1.0, abs(far)),
        )
        return exact("limit", float(root))

    mirror = (
        None if tolerance.lower is None else tolerance.lower + (tolerance.upper or 0)
    )
    accepted = place(probability)
    rejected = place(1.0 - probability) if outer else None
    return AcceptanceLimits(
        lower=None if mirror is None else mirror - accepted,
        upper=accepted,
        outer_lower=None if mirror is None or rejected is None else mirror - rejected,
        outer_upper=rejected,
    )


def _refuse_empty(
    found: AcceptanceLimits, tolerance: Tolerance, expanded_u: Decimal
) -> None:
    lowest = Decimal(0) if tolerance.non_negative else found.lower
    if lowest is not None and found.upper is not None and lowest > found.upper:
        msg = (
            f"No value could be accepted: with U = {expanded_u} the guard bands of "
            f"the rule leave nothing between {tolerance.lower} and {tolerance.upper}. "
            "Agree another rule, a wider tolerance, or a method of smaller uncertainty."
        )
        raise EmptyAcceptance(msg)
