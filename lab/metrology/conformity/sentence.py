"""The sentence that is printed with a verdict (ISO/IEC 17025:2017, 7.8.6.2).

It names the result, the requirement, the rule with its source, the acceptance limits
and the risk of a wrong verdict. All figures come from the rounding module.
"""

from __future__ import annotations

from decimal import Decimal

from lab.metrology.conformity.limits import AcceptanceLimits, Conformance
from lab.metrology.conformity.rules import Burden, Rule, RuleKind, Verdict
from lab.metrology.conformity.tolerance import Evaluation, Tolerance
from lab.metrology.rounding import (
    PrintedResult,
    print_coverage_factor,
    print_limit,
    print_probability,
    unit_named,
)
from lab.metrology.shapes import NORMAL, Shape

__all__ = ["conformity_sentence", "rule_text"]

_MEANING = {
    Verdict.PASS: "Pass",
    Verdict.FAIL: "Fail",
    Verdict.CONDITIONAL_PASS: (
        "Conditional pass (inside the tolerance, within the guard band)"
    ),
    Verdict.CONDITIONAL_FAIL: (
        "Conditional fail (outside the tolerance, within the guard band)"
    ),
    Verdict.CONFORMITY_PROVEN: "Conformity is proven",
    Verdict.NONCONFORMITY_PROVEN: "Nonconformity is proven",
    Verdict.NEITHER_PROVEN: "Neither conformity nor nonconformity is proven",
}

_RISK = {
    Verdict.PASS: "false acceptance",
    Verdict.CONDITIONAL_PASS: "false acceptance",
    Verdict.CONFORMITY_PROVEN: "false acceptance",
    Verdict.FAIL: "false rejection",
    Verdict.CONDITIONAL_FAIL: "false rejection",
    Verdict.NONCONFORMITY_PROVEN: "false rejection",
}


def rule_text(rule: Rule) -> str:
    """Describe a rule in the words that contract review and certificate print.

    Examples
    --------
    >>> rule_text(Rule("guarded", guard_factor=Decimal("0.83")))
    'guarded acceptance with guard band w = 0.83 U (ILAC-G8:09/2019), binary statement'
    """
    if rule.kind is RuleKind.SIMPLE:
        return "simple acceptance, w = 0 (ILAC-G8:09/2019)"
    if rule.kind is RuleKind.PROBABILITY:
        return (
            "acceptance where the conformance probability is at least "
            f"{_percent(rule.probability)} (JCGM 106:2012)"
        )
    if rule.kind is RuleKind.ISO_14253_1:
        return (
            f"ISO 14253-1:2017 with a probability limit of {_percent(rule.probability)}"
            f", {rule.burden} to be proven"
        )
    statement = (
        "statement with conditional verdicts"
        if rule.kind is RuleKind.GUARDED_CONDITIONAL
        else "binary statement"
    )
    factor = f"{rule.guard_factor:f}".replace("-", "\N{MINUS SIGN}")
    return (
        f"guarded acceptance with guard band w = {factor} U (ILAC-G8:09/2019), "
        f"{statement}"
    )


def conformity_sentence(
    *,
    verdict: Verdict,
    printed: PrintedResult,
    coverage_factor: Decimal,
    tolerance: Tolerance,
    rule: Rule,
    limits: AcceptanceLimits,
    chance: Conformance,
    risk: float | None,
    shape: Shape,
    unit: str,
    evaluation: Evaluation | None,
) -> str:
    """Write what must be printed with a verdict; called by ``decide``.

    The parameters are those of :func:`lab.metrology.conformity.decide` and what it
    found.
    """
    places = printed.places
    required = _span(tolerance.lower, tolerance.upper, places, unit, computed=False)
    accepted = _span(limits.lower, limits.upper, places, unit, computed=True)
    parts = [
        (
            f"{_MEANING[verdict]}: {printed.text} "
            f"(k = {print_coverage_factor(coverage_factor)}) against {required}; "
            f"rule: {rule_text(rule)}; accepted: {accepted}"
            f"{_beyond(rule, limits, places, unit)}."
        ),
        f"Probability of conformity {print_probability(chance.inside)}{_by(shape)}"
        + (
            "; nothing is claimed, so there is no risk of a wrong claim."
            if risk is None
            else f"; risk of {_RISK[verdict]} {print_probability(risk)}."
        ),
    ]
    if rule.burden is not None:
        parts.append(_burden_sentence(rule.burden, verdict))
    if evaluation is not None:
        parts.append(f"Evaluated from {evaluation.text}.")
    return " ".join(parts)


def _beyond(rule: Rule, limits: AcceptanceLimits, places: int, unit: str) -> str:
    """Say from where on a value fails outright, for rules of more than two verdicts."""
    symbol = unit_named(unit).symbol
    ends = [
        f"{word} {print_limit(limit, places, unit, computed=True)} {symbol}"
        for word, limit in (
            ("below", limits.outer_lower),
            ("above", limits.outer_upper),
        )
        if limit is not None
    ]
    if not ends:
        return ""
    what = (
        "nonconformity proven"
        if rule.kind is RuleKind.ISO_14253_1
        else "failed outright"
    )
    return f"; {what}: {' or '.join(ends)}"


def _burden_sentence(burden: Burden, verdict: Verdict) -> str:
    owed = (
        Verdict.CONFORMITY_PROVEN
        if burden is Burden.CONFORMITY
        else Verdict.NONCONFORMITY_PROVEN
    )
    word = "and was" if verdict is owed else "and was not"
    return f"As agreed, {burden} was to be proven {word}."


def _span(
    lower: Decimal | None,
    upper: Decimal | None,
    places: int,
    unit: str,
    *,
    computed: bool,
) -> str:
    symbol = unit_named(unit).symbol
    ends = [
        None if limit is None else print_limit(limit, places, unit, computed=computed)
        for limit in (lower, upper)
    ]
    if ends[0] is None:
        return f"at most {ends[1]} {symbol}"
    if ends[1] is None:
        return f"at least {ends[0]} {symbol}"
    return f"{ends[0]} {symbol} to {ends[1]} {symbol}"


def _by(shape: Shape) -> str:
    return "" if shape == NORMAL else f" ({shape.name} distribution)"


def _percent(probability: Decimal | None) -> str:
    return f"{(probability or Decimal(0)) * 100:f}".rstrip("0").rstrip(".") + " %"
