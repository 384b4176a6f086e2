"""Tolerances, rules and numbers that cannot be used are refused in words."""

from __future__ import annotations

from decimal import Decimal

import pytest

from lab.metrology.conformity import (
    ConditionsNotStated,
    Evaluation,
    MaterialCondition,
    NotEvaluable,
    Rule,
    RuleKind,
    Tolerance,
    conformance,
    decide,
    require_evaluable,
)
from lab.metrology.errors import NotFinite, OutOfDomain

UPPER = Tolerance(None, Decimal("10.05"))
SIMPLE = Rule(RuleKind.SIMPLE)


@pytest.mark.parametrize(
    ("lower", "upper", "words"),
    [
        (None, None, "needs a lower limit, an upper limit, or both"),
        ("10.05", "9.95", "upside down"),
        ("10.05", "10.05", "upside down"),
    ],
)
def test_tolerances_that_judge_nothing_are_refused(
    lower: str | None, upper: str | None, words: str
) -> None:
    with pytest.raises(OutOfDomain, match=words):
        Tolerance(
            None if lower is None else Decimal(lower),
            None if upper is None else Decimal(upper),
        )


def test_limits_must_be_typed_and_finite() -> None:
    with pytest.raises(OutOfDomain, match="upper must be a Decimal"):
        Tolerance(None, 10.05)  # type: ignore[arg-type]
    with pytest.raises(OutOfDomain, match="nominal must be a Decimal"):
        Tolerance.around(10.0, Decimal(-1), Decimal(1))  # type: ignore[arg-type]
    with pytest.raises(NotFinite, match="lower must be finite"):
        Tolerance(Decimal("NaN"), None)


@pytest.mark.parametrize(
    ("lower", "upper"), [("0", "0.05"), (None, "0"), ("0.01", None)]
)
def test_form_has_an_upper_limit_only(lower: str | None, upper: str | None) -> None:
    with pytest.raises(OutOfDomain, match="upper limit above zero and no lower one"):
        Tolerance(
            None if lower is None else Decimal(lower),
            None if upper is None else Decimal(upper),
            non_negative=True,
        )


@pytest.mark.parametrize(
    ("kind", "numbers", "words"),
    [
        ("guarded", {}, "needs guard_factor"),
        ("simple", {"guard_factor": Decimal(1)}, "takes no guard_factor"),
        ("guarded", {"guard_factor": Decimal(4)}, "within -1 and 3"),
        ("guarded_conditional", {"guard_factor": Decimal(0)}, "above zero"),
        ("probability", {}, "needs a probability"),
        ("simple", {"probability": Decimal("0.9")}, "takes no probability"),
        ("probability", {"probability": Decimal(1)}, "0.5 and below 1"),
        ("probability", {"probability": Decimal("0.4")}, "0.5 and below 1"),
        ("iso_14253_1", {}, "burden"),
        ("iso_14253_1", {"burden": "nobody"}, "burden must be one of"),
        ("simple", {"burden": "conformity"}, "burden"),
        ("by eye", {}, "kind of a rule must be one of"),
    ],
)
def test_a_rule_has_just_its_own_numbers(
    kind: str, numbers: dict[str, object], words: str
) -> None:
    with pytest.raises(OutOfDomain, match=words):
        Rule(kind, **numbers)  # type: ignore[arg-type]


def test_what_cannot_be_evaluated_is_refused_in_words() -> None:
    with pytest.raises(NotEvaluable, match="position of bore 3: the maximum material"):
        require_evaluable(MaterialCondition.MAXIMUM_MATERIAL, "position of bore 3")
    with pytest.raises(ConditionsNotStated, match="filter_text must be stated"):
        Evaluation(100, " ", "least squares")
    with pytest.raises(OutOfDomain, match="number_of_points"):
        Evaluation(0, "none", "least squares")


@pytest.mark.parametrize(
    ("value", "spread", "factor", "words"),
    [
        (float("nan"), 0.01, 2, "value must be finite"),
        (10, 0, 2, "expanded_u must be greater than zero"),
        (10, -0.01, 2, "expanded_u must be greater than zero"),
        (10, 0.01, 0, "coverage_factor must be greater than zero"),
        (10, float("inf"), 2, "expanded_u must be finite"),
    ],
)
def test_unusable_numbers_are_refused(
    value: float, spread: float, factor: float, words: str
) -> None:
    with pytest.raises((OutOfDomain, NotFinite), match=words):
        decide(value, spread, factor, UPPER, SIMPLE)
    with pytest.raises(OutOfDomain, match="u must be greater than zero"):
        conformance(10.0, 0.0, UPPER)
