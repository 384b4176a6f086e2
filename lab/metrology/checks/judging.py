"""The verdict of a check: error against limit, position by position.

Simple acceptance compares |error| with the limit itself; the risk is shared, and
the procedure has agreed to that. Guarded acceptance asks that the system lies
within the limit with a stated probability, so that the test uncertainty u
narrows the limit (ISO 14253-1): |e| ≤ M − z(p)·u as long as the far limit is out
of reach, and less where the limits are narrow against u. A form has an upper limit
only. That arithmetic is `lab.metrology.conformity`'s.

A check has passed if every position has: the prescribed positions are there to
show different faults, and a good one doesn't make up for a bad one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from lab.metrology.arrays import finite, non_negative
from lab.metrology.checks.limits import Limit
from lab.metrology.checks.references import ReferenceValue
from lab.metrology.conformity.limits import EmptyAcceptance, acceptance_limits
from lab.metrology.conformity.rules import Rule as DecisionRule
from lab.metrology.conformity.rules import RuleKind
from lab.metrology.conformity.tolerance import Tolerance
from lab.metrology.decimals import exact
from lab.metrology.errors import OutOfDomain, TooFew

__all__ = [
    "Acceptance",
    "CheckResult",
    "NothingCouldPass",
    "PositionResult",
    "Quantity",
    "Rule",
    "Verdict",
    "acceptance_limit",
    "judge_check",
    "judge_position",
]

# A reading exactly at the limit must not fail by the rounding of a subtraction:
# 5 m are known to 1e-12 mm in binary, and a picometre is no error of length.
_ROUNDING_MM: Final = 1e-9


class NothingCouldPass(OutOfDomain):
    """The test uncertainty leaves no error that could be accepted."""


class Quantity(StrEnum):
    """What a check measures."""

    LENGTH = "length"
    SPHERE_SPACING = "sphere spacing"
    PROBING_SIZE = "probing size"
    PROBING_FORM = "probing form"
    FLAT_FORM = "flat form"

    @property
    def is_form(self) -> bool:
        """Whether it is zero or more, with an upper limit only."""
        return self in (Quantity.PROBING_FORM, Quantity.FLAT_FORM)


class Rule(StrEnum):
    """How the test uncertainty is handled."""

    SIMPLE = "simple acceptance"
    GUARDED = "guarded acceptance"


class Verdict(StrEnum):
    """What a position or a check came to."""

    PASS = "pass"  # noqa: S105 (a verdict, not a password)
    FAIL = "fail"


@dataclass(frozen=True, slots=True)
class Acceptance:
    """The rule of a procedure; the probability counts for guarded acceptance."""

    rule: Rule = Rule.GUARDED
    probability: float = 0.95

    def __post_init__(self) -> None:
        """Refuse a probability that would accept more than simple acceptance."""
        if not 0.5 < finite("probability", self.probability) < 1.0:
            raise OutOfDomain(
                f"probability is {self.probability:g}; it must lie between 0.5 and 1."
            )


@dataclass(frozen=True, slots=True)
class PositionResult:
    """One position of a check, judged.

    `share_of_limit` is |error| / limit: what the chart of a system shows.
    `test_uncertainty_ratio` is limit / (2u), None for u = 0.
    """

    position: str
    quantity: Quantity
    measured_mm: float
    reference_mm: float
    error_mm: float
    limit_mm: float
    acceptance_limit_mm: float
    u_test_mm: float
    test_uncertainty_ratio: float | None
    share_of_limit: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class CheckResult:
    """A whole check: the verdict, the worst position, and the reason in words."""

    verdict: Verdict
    worst: PositionResult
    failed: tuple[PositionResult, ...]
    positions: tuple[PositionResult, ...]
    reason: str


def acceptance_limit(
    limit_mm: float, u_test_mm: float, acceptance: Acceptance, *, one_sided: bool
) -> float:
    """Return the largest |error| that is accepted.

    Parameters
    ----------
    limit_mm : float
        The limit M, in mm.
    u_test_mm : float
        Standard uncertainty of the test, in mm.
    acceptance : Acceptance
        The procedure's rule.
    one_sided : bool
        True for a form: there is no lower limit.

    Returns
    -------
    acceptance_limit_mm : float
        The limit itself for simple acceptance.

    Raises
    ------
    NothingCouldPass
        If even an error of zero would be refused.

    References
    ----------
    .. [1] ISO 14253-1:2017, decision rules for verifying conformity.
    .. [2] JCGM 106:2012, 8.3 (guarded acceptance), 7.2 (two-sided).

    Examples
    --------
    >>> acceptance_limit(0.060, 0.005, Acceptance(Rule.SIMPLE), one_sided=False)
    0.06
    >>> round(acceptance_limit(0.06, 0.005, Acceptance(), one_sided=False), 6)
    0.051776
    """
    u = non_negative("u_test_mm", u_test_mm)
    if acceptance.rule is Rule.SIMPLE or u == 0.0:
        return limit_mm
    upper = exact("limit_mm", limit_mm)
    tolerance = Tolerance(None if one_sided else -upper, upper, non_negative=one_sided)
    rule = DecisionRule(
        RuleKind.PROBABILITY, probability=exact("probability", acceptance.probability)
    )
    try:
        found = acceptance_limits(u, 1, tolerance, rule)
    except EmptyAcceptance as empty:
        raise NothingCouldPass(
            f"With a test uncertainty u of {u * 1000:.3g} µm no error is within "
            f"{limit_mm * 1000:.3g} µm at {acceptance.probability * 100:g} %: no "
            "value could be accepted. Use a better artefact, a wider limit or "
            "another rule."
        ) from empty
    return float(upper if found.upper is None else found.upper)


def judge_position(
    position: str,
    quantity: Quantity,
    measured_mm: float,
    reference: ReferenceValue,
    limit: Limit,
    acceptance: Acceptance,
) -> PositionResult:
    """Judge one reading of an artefact against its reference.

    Parameters
    ----------
    position : str
        What the position is called in the procedure.
    quantity : Quantity
        What was measured.
    measured_mm : float
        Length, spacing, diameter or form as the system gave it, in mm.
    reference : ReferenceValue
        From `length_reference` or `form_reference`.
    limit : Limit
        A + L/K is taken at the calibrated value for lengths and spacings, and at
        zero for sizes and forms.
    acceptance : Acceptance
        The procedure's rule.

    Returns
    -------
    result : PositionResult

    Raises
    ------
    NothingCouldPass
        If the rule leaves no acceptable error.
    OutOfDomain
        If a form is negative or a length isn't positive.

    References
    ----------
    .. [1] ISO 10360-13, coordinate measuring systems with optical sensors
       (probing form and size, sphere spacing, length; from memory).

    Examples
    --------
    >>> from lab.metrology.checks import (
    ...     Artefact, Expansion, ProcessingState, Temperature, length_reference)
    >>> bar = Artefact(1000.0, 0.002, Expansion(11.5e-6, 1.2e-6))
    >>> reference = length_reference(
    ...     bar, Temperature(21.0, 0.1), ProcessingState.AS_MEASURED)
    >>> result = judge_position("along X", Quantity.LENGTH, 1000.0315, reference,
    ...     Limit(0.050), Acceptance(Rule.SIMPLE))
    >>> round(result.error_mm, 4), result.verdict.value
    (0.02, 'pass')
    """
    measured = finite(f"measured_mm at {position!r}", measured_mm)
    _refuse_impossible(position, quantity, measured)
    spans = quantity in (Quantity.LENGTH, Quantity.SPHERE_SPACING)
    limit_mm = limit.at(reference.calibrated_mm if spans else 0.0)
    accepted_mm = acceptance_limit(
        limit_mm, reference.u_mm, acceptance, one_sided=quantity.is_form
    )
    error_mm = measured - reference.value_mm
    is_within = abs(error_mm) <= accepted_mm + _ROUNDING_MM
    return PositionResult(
        position=position,
        quantity=quantity,
        measured_mm=measured,
        reference_mm=reference.value_mm,
        error_mm=error_mm,
        limit_mm=limit_mm,
        acceptance_limit_mm=accepted_mm,
        u_test_mm=reference.u_mm,
        test_uncertainty_ratio=(
            limit_mm / (2.0 * reference.u_mm) if reference.u_mm else None
        ),
        share_of_limit=abs(error_mm) / limit_mm,
        verdict=Verdict.PASS if is_within else Verdict.FAIL,
    )


def judge_check(positions: Sequence[PositionResult]) -> CheckResult:
    """Judge a whole check: passed if every position passed.

    Parameters
    ----------
    positions : sequence of PositionResult
        Every prescribed position.

    Returns
    -------
    check : CheckResult
        `worst` is the position that used most of what the rule accepts.

    Raises
    ------
    TooFew
        If there are no positions.
    OutOfDomain
        If a position and quantity appear twice: one of them would hide the other.

    Examples
    --------
    >>> form = PositionResult("A", Quantity.PROBING_FORM, 0.03, 0.0, 0.03, 0.05,
    ...     0.05, 0.0, None, 0.6, Verdict.PASS)
    >>> judge_check([form]).reason
    'All 1 positions pass; the worst is probing form at A with 60 % of its limit.'
    """
    if not positions:
        raise TooFew("positions is empty; a check needs at least one position.")
    seen: set[tuple[str, Quantity]] = set()
    for result in positions:
        key = (result.position, result.quantity)
        if key in seen:
            raise OutOfDomain(
                f"{result.quantity.value} at {result.position!r} is given twice; "
                "name the repeats apart, and keep them all."
            )
        seen.add(key)
    failed = tuple(each for each in positions if each.verdict is Verdict.FAIL)
    worst = max(
        failed or positions,
        key=lambda each: abs(each.error_mm) / each.acceptance_limit_mm,
    )
    return CheckResult(
        verdict=Verdict.FAIL if failed else Verdict.PASS,
        worst=worst,
        failed=failed,
        positions=tuple(positions),
        reason=_reason(worst, len(failed), len(positions)),
    )


def _reason(worst: PositionResult, failed: int, count: int) -> str:
    opening = (
        f"{failed} of {count} positions fail"
        if failed
        else f"All {count} positions pass"
    )
    return (
        f"{opening}; the worst is {worst.quantity.value} at {worst.position} with "
        f"{worst.share_of_limit * 100:.3g} % of its limit."
    )


def _refuse_impossible(position: str, quantity: Quantity, measured_mm: float) -> None:
    if quantity.is_form and measured_mm < 0.0:
        raise OutOfDomain(
            f"measured_mm at {position!r} is {measured_mm:g}; a {quantity.value} is "
            "zero or more. Enter the reading, not its difference from a limit."
        )
    if not quantity.is_form and measured_mm <= 0.0:
        raise OutOfDomain(
            f"measured_mm at {position!r} is {measured_mm:g}; a {quantity.value} is "
            "more than zero. Enter the length read, not the error."
        )
