"""One result against one tolerance under one agreed rule."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from lab.metrology.conformity.limits import (
    AcceptanceLimits,
    Conformance,
    acceptance_limits,
    conformance,
)
from lab.metrology.conformity.rules import Burden, Rule, RuleKind, Verdict
from lab.metrology.conformity.sentence import conformity_sentence
from lab.metrology.conformity.tolerance import (
    ConditionsNotStated,
    Evaluation,
    Tolerance,
)
from lab.metrology.decimals import PRECISE, exact, exact_positive
from lab.metrology.errors import OutOfDomain
from lab.metrology.rounding import (
    Bound,
    PrintedResult,
    print_quantity,
    reported_expanded_u,
)
from lab.metrology.shapes import NORMAL, Shape

__all__ = ["Decision", "decide"]

_ACCEPTING = (Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.CONFORMITY_PROVEN)


@dataclass(frozen=True, slots=True)
class Decision:
    """A verdict with everything that must stand beside it.

    ``acceptance_lower``, ``acceptance_upper``
        Unrounded acceptance limits; None on a side without a tolerance limit.
    ``outer_lower``, ``outer_upper``
        Limits beyond which a value fails outright (conditional verdicts) or is
        proven nonconforming (ISO 14253-1); None for binary rules.
    ``conformance_probability``
        Probability that the true value is inside the tolerance.
    ``specific_risk``
        Probability that this verdict is wrong: of false acceptance if it accepts,
        of false rejection if it rejects; None where neither is proven, for then
        nothing is claimed.
    ``burden_met``
        Whether the proof that was owed was given (ISO 14253-1); else None.
    ``test_uncertainty_ratio``, ``capability_index``
        TUR = T/(2U) and C_m = T/(4u); None for one-sided tolerances.
    ``printed``
        Value and U with digits that do not contradict the verdict.
    ``sentence``
        What must be printed with the verdict.
    """

    verdict: Verdict
    acceptance_lower: Decimal | None
    acceptance_upper: Decimal | None
    outer_lower: Decimal | None
    outer_upper: Decimal | None
    conformance_probability: float
    specific_risk: float | None
    burden_met: bool | None
    test_uncertainty_ratio: float | None
    capability_index: float | None
    printed: PrintedResult
    sentence: str

    @property
    def accepts(self) -> bool:
        """Whether the verdict accepts the item, conditionally or not."""
        return self.verdict in _ACCEPTING


def decide(
    value: Decimal | float,
    expanded_u: Decimal | float,
    coverage_factor: Decimal | float,
    tolerance: Tolerance,
    rule: Rule,
    *,
    shape: Shape = NORMAL,
    unit: str = "mm",
    cmc: Decimal | float | None = None,
    digits: int = 2,
    evaluation: Evaluation | None = None,
) -> Decision:
    """Judge a result by the agreed rule.

    The comparison is exact: typed numbers as ``Decimal``, computed ones by their
    shortest decimal text. A value exactly on a limit goes to the better zone.

    Parameters
    ----------
    value, expanded_u : Decimal or float
        The unrounded result and its U, in the unit of the tolerance: millimetres for
        lengths (whatever ``unit`` prints), degrees for angles.
    coverage_factor : Decimal or float
        k of U.
    tolerance : Tolerance
        What is required.
    rule : Rule
        What was agreed.
    shape : Shape
        Distribution of the measurand about the result, from the budget.
    unit : str
        Unit of the printed text (:func:`lab.metrology.rounding.unit_named`).
    cmc : Decimal or float, optional
        Smallest U that the method claims; U is raised to it before anything else.
    digits : {1, 2}
        Significant digits of the printed U.
    evaluation : Evaluation, optional
        Points, filter and association; required for non-negative characteristics.

    Returns
    -------
    Decision

    Raises
    ------
    EmptyAcceptance
        If no value could be accepted under this rule.
    ConditionsNotStated
        If a form, position or profile value comes without its evaluation.
    NotFinite, OutOfDomain, BadUnit
        If a number or the unit is unusable.

    References
    ----------
    .. [1] JCGM 106:2012. [2] ILAC-G8:09/2019. [3] ISO 14253-1:2017.

    Examples
    --------
    >>> decision = decide(
    ...     Decimal("10.042"), Decimal("0.012"), 2,
    ...     Tolerance(Decimal("9.95"), Decimal("10.05")),
    ...     Rule("guarded_conditional", guard_factor=Decimal(1)),
    ... )
    >>> decision.verdict.value
    'conditional pass'
    >>> decision.acceptance_upper
    Decimal('10.038')
    """
    number = exact("value", value)
    _check_non_negative(number, tolerance, evaluation)
    spread = reported_expanded_u(expanded_u, cmc)
    factor = exact_positive("coverage_factor", coverage_factor)
    u = PRECISE.divide(spread, factor)
    limits = acceptance_limits(spread, factor, tolerance, rule, shape)
    verdict = _verdict(number, limits, tolerance, rule)
    chance = conformance(float(number), float(u), tolerance, shape)
    printed = print_quantity(
        number,
        spread,
        unit=unit,
        digits=digits,
        cmc=cmc,
        bounds=_bounds(limits, tolerance),
    )
    risk = _specific_risk(verdict, chance)
    width = tolerance.width
    return Decision(
        verdict=verdict,
        acceptance_lower=limits.lower,
        acceptance_upper=limits.upper,
        outer_lower=limits.outer_lower,
        outer_upper=limits.outer_upper,
        conformance_probability=chance.inside,
        specific_risk=risk,
        burden_met=_burden_met(verdict, rule),
        test_uncertainty_ratio=None if width is None else float(width / (2 * spread)),
        capability_index=None if width is None else float(width / (4 * u)),
        printed=printed,
        sentence=conformity_sentence(
            verdict=verdict,
            printed=printed,
            coverage_factor=factor,
            tolerance=tolerance,
            rule=rule,
            limits=limits,
            chance=chance,
            risk=risk,
            shape=shape,
            unit=unit,
            evaluation=evaluation,
        ),
    )


def _check_non_negative(
    value: Decimal, tolerance: Tolerance, evaluation: Evaluation | None
) -> None:
    if not tolerance.non_negative:
        return
    if value < 0:
        msg = f"The value of a non-negative characteristic is below zero: {value}."
        raise OutOfDomain(msg)
    if evaluation is None:
        msg = (
            "A form, position or profile value needs its evaluation (number of points, "
            "filter, association): without them it cannot be compared."
        )
        raise ConditionsNotStated(msg)


def _within(value: Decimal, lower: Decimal | None, upper: Decimal | None) -> bool:
    return (lower is None or value >= lower) and (upper is None or value <= upper)


def _verdict(
    value: Decimal, limits: AcceptanceLimits, tolerance: Tolerance, rule: Rule
) -> Verdict:
    accepted = _within(value, limits.lower, limits.upper)
    if rule.binary:
        return Verdict.PASS if accepted else Verdict.FAIL
    between = _within(value, limits.outer_lower, limits.outer_upper)
    if rule.kind is RuleKind.ISO_14253_1:
        if accepted:
            return Verdict.CONFORMITY_PROVEN
        return Verdict.NEITHER_PROVEN if between else Verdict.NONCONFORMITY_PROVEN
    if accepted:
        return Verdict.PASS
    if _within(value, tolerance.lower, tolerance.upper):
        return Verdict.CONDITIONAL_PASS
    return Verdict.CONDITIONAL_FAIL if between else Verdict.FAIL


def _bounds(limits: AcceptanceLimits, tolerance: Tolerance) -> list[Bound]:
    lower = (tolerance.lower, limits.lower, limits.outer_lower)
    upper = (tolerance.upper, limits.upper, limits.outer_upper)
    return [Bound(limit, "lower") for limit in lower if limit is not None] + [
        Bound(limit, "upper") for limit in upper if limit is not None
    ]


def _specific_risk(verdict: Verdict, chance: Conformance) -> float | None:
    if verdict is Verdict.NEITHER_PROVEN:
        return None
    return chance.outside if verdict in _ACCEPTING else chance.inside


def _burden_met(verdict: Verdict, rule: Rule) -> bool | None:
    if rule.burden is None:
        return None
    owed = (
        Verdict.CONFORMITY_PROVEN
        if rule.burden is Burden.CONFORMITY
        else Verdict.NONCONFORMITY_PROVEN
    )
    return verdict is owed
