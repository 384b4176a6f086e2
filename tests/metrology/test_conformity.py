"""Verdicts by the agreed rule."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.conformity import (
    Burden,
    ConditionsNotStated,
    EmptyAcceptance,
    Evaluation,
    Rule,
    RuleKind,
    Tolerance,
    Verdict,
    acceptance_limits,
    conformance,
    decide,
)
from lab.metrology.errors import OutOfDomain
from lab.metrology.shapes import NORMAL, RECTANGULAR, Student

TWO_SIDED = Tolerance(Decimal("9.95"), Decimal("10.05"))
UPPER = Tolerance(None, Decimal("10.05"))
LOWER = Tolerance(Decimal("9.95"), None)
SIMPLE = Rule(RuleKind.SIMPLE)
GUARDED = Rule(RuleKind.GUARDED, guard_factor=Decimal(1))
CONDITIONAL = Rule(RuleKind.GUARDED_CONDITIONAL, guard_factor=Decimal(1))
PROBABLE = Rule(RuleKind.PROBABILITY, probability=Decimal("0.95"))
SUPPLIER = Rule(RuleKind.ISO_14253_1, burden=Burden.CONFORMITY)
CUSTOMER = Rule(RuleKind.ISO_14253_1, burden=Burden.NONCONFORMITY)
MINIMUM_ZONE = Evaluation(2400, "none", "minimum zone")
FLATNESS = Tolerance(None, Decimal("0.05"), non_negative=True)


def verdict(value: str, tolerance: Tolerance, rule: Rule, spread: str = "0.01") -> str:
    return decide(Decimal(value), Decimal(spread), 2, tolerance, rule).verdict.value


@pytest.mark.parametrize(
    ("value", "rule", "expected"),
    [
        ("10.05", SIMPLE, "pass"),
        ("10.0500001", SIMPLE, "fail"),
        ("9.95", SIMPLE, "pass"),
        ("10.04", GUARDED, "pass"),
        ("10.0401", GUARDED, "fail"),
        ("9.9599", GUARDED, "fail"),
        ("10.04", CONDITIONAL, "pass"),
        ("10.05", CONDITIONAL, "conditional pass"),
        ("10.06", CONDITIONAL, "conditional fail"),
        ("10.0601", CONDITIONAL, "fail"),
        ("9.9399", CONDITIONAL, "fail"),
        ("10.0417", PROBABLE, "pass"),
        ("10.0418", PROBABLE, "fail"),
        ("10.0417", SUPPLIER, "conformity proven"),
        ("10.0418", SUPPLIER, "neither conformity nor nonconformity proven"),
        ("10.0582", SUPPLIER, "neither conformity nor nonconformity proven"),
        ("10.0583", CUSTOMER, "nonconformity proven"),
    ],
)
def test_zones_of_each_rule(value: str, rule: Rule, expected: str) -> None:
    # w = z(0.95) u = 1.64485 x 0.005 mm = 0.00822 mm for the probability rules.
    assert verdict(value, TWO_SIDED, rule) == expected


@given(
    st.decimals(min_value=-1000, max_value=1000, places=4),
    st.decimals(min_value=Decimal("0.001"), max_value=1, places=4),
    st.sampled_from([-1, 1]),
)
def test_a_value_typed_on_the_limit_is_accepted(
    nominal: Decimal, deviation: Decimal, side: int
) -> None:
    # In binary floats one case of nine would be refused.
    tolerance = Tolerance.around(nominal, -deviation, deviation)
    on_limit = nominal + side * deviation
    assert verdict(str(on_limit), tolerance, SIMPLE, "0.0001") == "pass"
    decision = decide(float(on_limit), 0.0001, 2, tolerance, SIMPLE)
    assert decision.verdict is Verdict.PASS


@given(
    st.floats(min_value=9.9, max_value=10.1),
    st.floats(min_value=0.001, max_value=0.04),
    st.sampled_from([SIMPLE, GUARDED, CONDITIONAL, PROBABLE, SUPPLIER]),
)
def test_mirrored_values_have_the_same_verdict(
    value: float, spread: float, rule: Rule
) -> None:
    mirrored = 20 - Decimal(str(round(value, 6)))
    one = decide(Decimal(str(round(value, 6))), spread, 2, TWO_SIDED, rule)
    two = decide(mirrored, spread, 2, TWO_SIDED, rule)
    assert one.verdict is two.verdict
    # 20 - v is exact, so only the rounding of (T - y)/u differs.
    assert one.conformance_probability == pytest.approx(
        two.conformance_probability, abs=1e-9
    )


@given(
    st.decimals(min_value=9, max_value=11, places=5),
    st.decimals(min_value=Decimal("0.002"), max_value=Decimal("0.04"), places=5),
    st.sampled_from([SIMPLE, GUARDED, CONDITIONAL, PROBABLE, SUPPLIER, CUSTOMER]),
)
def test_the_unit_of_print_changes_no_verdict(
    value: Decimal, spread: Decimal, rule: Rule
) -> None:
    metric = decide(value, spread, 2, TWO_SIDED, rule)
    inch = decide(value, spread, 2, TWO_SIDED, rule, unit="in")
    assert metric.verdict is inch.verdict
    assert metric.acceptance_upper == inch.acceptance_upper
    assert metric.specific_risk == inch.specific_risk


@given(
    st.decimals(min_value=10, max_value=Decimal("10.1"), places=5),
    st.decimals(min_value=0, max_value=Decimal("0.05"), places=5),
)
def test_a_better_value_never_has_a_worse_verdict(
    value: Decimal, better_by: Decimal
) -> None:
    order = [
        Verdict.PASS,
        Verdict.CONDITIONAL_PASS,
        Verdict.CONDITIONAL_FAIL,
        Verdict.FAIL,
    ]
    worse = decide(value, Decimal("0.02"), 2, UPPER, CONDITIONAL)
    better = decide(value - better_by, Decimal("0.02"), 2, UPPER, CONDITIONAL)
    assert order.index(better.verdict) <= order.index(worse.verdict)
    assert better.conformance_probability >= worse.conformance_probability


@given(st.floats(min_value=0.01, max_value=0.049))
def test_both_limits_act_where_they_are_near(u: float) -> None:
    # T = 0.1 mm and u from T/10 to T/2: the solved limits have p exactly.
    rule = Rule(RuleKind.PROBABILITY, probability=Decimal("0.6"))
    limits = acceptance_limits(2 * u, 2, TWO_SIDED, rule)
    assert limits.lower is not None
    assert limits.upper is not None
    for limit in (limits.lower, limits.upper):
        # Limits are kept to the picometre: 1e-9 mm / u changes p by less than 1e-7.
        chance = conformance(float(limit), u, TWO_SIDED).inside
        if 5 * u > 0.1:
            assert chance == pytest.approx(0.6, abs=1e-6)
        else:
            assert chance == pytest.approx(0.6, abs=4e-4)


def test_the_limits_of_iso_14253_are_solved_on_both_sides() -> None:
    rule = Rule(
        RuleKind.ISO_14253_1, probability=Decimal("0.8"), burden=Burden.CONFORMITY
    )
    limits = acceptance_limits(Decimal("0.06"), 2, TWO_SIDED, rule)
    assert limits.upper is not None
    assert limits.outer_upper is not None
    assert limits.lower == 20 - limits.upper
    assert limits.outer_lower == 20 - limits.outer_upper
    inside = conformance(float(limits.upper), 0.03, TWO_SIDED).inside
    outside = conformance(float(limits.outer_upper), 0.03, TWO_SIDED).outside
    assert inside == pytest.approx(0.8, abs=1e-6)
    assert outside == pytest.approx(0.8, abs=1e-6)
    one_sided = acceptance_limits(Decimal("0.06"), 2, UPPER, rule).upper
    assert one_sided is not None
    assert limits.upper < one_sided


def test_the_guard_band_follows_the_shape_and_not_a_fixed_share_of_u() -> None:
    # 0.83 U guards 5 % for normal and k = 2; with k = 1.65 and a rectangular
    # distribution it would leave 10.6 %.
    factor = Decimal("0.83")
    rule = Rule(RuleKind.GUARDED, guard_factor=factor)
    k = 0.95 * 3**0.5
    limit = Decimal("10.05") - factor * Decimal("0.02")
    careless = decide(limit, Decimal("0.02"), k, UPPER, rule, shape=RECTANGULAR)
    assert careless.specific_risk == pytest.approx(0.106, abs=0.0005)
    right = acceptance_limits(Decimal("0.02"), k, UPPER, PROBABLE, RECTANGULAR)
    assert right.upper is not None
    decision = decide(
        right.upper, Decimal("0.02"), k, UPPER, PROBABLE, shape=RECTANGULAR
    )
    assert decision.verdict is Verdict.PASS
    assert decision.specific_risk == pytest.approx(0.05, abs=1e-6)


def test_few_degrees_of_freedom_widen_the_guard_band() -> None:
    wide = acceptance_limits(Decimal("0.01"), 2, UPPER, PROBABLE, Student(4)).upper
    normal = acceptance_limits(Decimal("0.01"), 2, UPPER, PROBABLE, NORMAL).upper
    assert wide is not None
    assert normal is not None
    assert wide < normal
    # t(4) at 95 % one-sided is 2.132 (JCGM 100, Table G.2 has it two-sided at 90 %).
    assert float(Decimal("10.05") - wide) == pytest.approx(2.132 * 0.005, abs=5e-6)


@pytest.mark.parametrize("rule", [GUARDED, CONDITIONAL, PROBABLE, SUPPLIER, CUSTOMER])
def test_an_empty_acceptance_interval_refuses_the_rule(rule: Rule) -> None:
    with pytest.raises(EmptyAcceptance, match="No value could be accepted"):
        acceptance_limits(Decimal("0.12"), 2, TWO_SIDED, rule)
    with pytest.raises(EmptyAcceptance, match="No value could be accepted"):
        decide(Decimal(10), Decimal("0.12"), 2, TWO_SIDED, rule)


def test_a_guard_band_of_half_the_tolerance_leaves_one_value() -> None:
    limits = acceptance_limits(Decimal("0.05"), 2, TWO_SIDED, GUARDED)
    assert limits.lower == limits.upper == 10


def test_one_sided_tolerances_have_one_acceptance_limit() -> None:
    limits = acceptance_limits(Decimal("0.01"), 2, LOWER, SUPPLIER)
    assert limits.upper is None
    assert limits.outer_upper is None
    assert verdict("99", LOWER, SUPPLIER) == "conformity proven"
    assert verdict("9.9", LOWER, SUPPLIER) == "nonconformity proven"


def test_a_relaxed_rule_fails_only_what_is_out_by_the_guard_band() -> None:
    rule = Rule(RuleKind.GUARDED, guard_factor=Decimal(-1))
    decision = decide(Decimal("10.06"), Decimal("0.01"), 2, UPPER, rule)
    assert decision.verdict is Verdict.PASS
    # The value is 2 u outside: 97.7 % of what is accepted there is nonconforming.
    assert decision.specific_risk == pytest.approx(0.97725, abs=1e-5)
    assert "w = −1 U" in decision.sentence


@pytest.mark.parametrize(
    ("value", "rule", "met"),
    [
        ("10.0", SUPPLIER, True),
        ("10.05", SUPPLIER, False),
        ("10.1", SUPPLIER, False),
        ("10.0", CUSTOMER, False),
        ("10.05", CUSTOMER, False),
        ("10.1", CUSTOMER, True),
        ("10.1", SIMPLE, None),
    ],
)
def test_who_must_prove_what(value: str, rule: Rule, met: bool | None) -> None:
    decision = decide(Decimal(value), Decimal("0.01"), 2, TWO_SIDED, rule)
    assert decision.burden_met is met
    if met is not None:
        word = "and was." if met else "and was not."
        assert f"{rule.burden} was to be proven {word}" in decision.sentence


def test_the_specific_risk_is_of_the_verdict_given() -> None:
    accepted = decide(Decimal("10.04"), Decimal("0.01"), 2, UPPER, GUARDED)
    assert accepted.specific_risk == pytest.approx(0.02275, abs=1e-5)
    assert accepted.accepts
    refused = decide(Decimal("10.06"), Decimal("0.01"), 2, UPPER, GUARDED)
    assert refused.specific_risk == pytest.approx(0.02275, abs=1e-5)
    assert not refused.accepts
    neither = decide(Decimal("10.05"), Decimal("0.01"), 2, UPPER, SUPPLIER)
    assert neither.specific_risk is None
    assert not neither.accepts


def test_small_probabilities_keep_their_digits() -> None:
    far_inside = conformance(10.0, 0.005, UPPER)
    far_outside = conformance(10.1, 0.005, TWO_SIDED)
    far_below = conformance(9.9, 0.005, TWO_SIDED)
    # Ten standard uncertainties: 7.619853e-24 (Abramowitz and Stegun, Table 26.2).
    assert far_inside.outside == pytest.approx(7.619853e-24, rel=1e-6)
    assert far_outside.inside == pytest.approx(7.619853e-24, rel=1e-6)
    assert far_below.inside == pytest.approx(7.619853e-24, rel=1e-6)


def test_ratios_are_named_as_what_they_are() -> None:
    decision = decide(Decimal(10), Decimal("0.02"), Decimal("2"), TWO_SIDED, SIMPLE)
    assert decision.test_uncertainty_ratio == pytest.approx(0.1 / 0.04)
    assert decision.capability_index == pytest.approx(0.1 / 0.04)
    assert decide(10, 0.02, 2, UPPER, SIMPLE).test_uncertainty_ratio is None


def test_form_has_no_density_below_zero() -> None:
    near_zero = conformance(0.001, 0.02, FLATNESS)
    assert near_zero.inside + near_zero.outside == pytest.approx(1.0, abs=1e-12)
    # Twice the upper tail at zero: half of the density was cut off and scaled up.
    at_zero = conformance(0.0, 0.025, FLATNESS)
    assert at_zero.outside == pytest.approx(2 * 0.0227501319, abs=1e-9)
    plain = conformance(0.001, 0.02, Tolerance(None, Decimal("0.05")))
    assert near_zero.outside > plain.outside


def test_the_limit_for_form_is_solved_with_the_cut_density() -> None:
    limits = acceptance_limits(Decimal("0.04"), 2, FLATNESS, SUPPLIER)
    assert limits.lower is None
    assert limits.upper is not None
    inside = conformance(float(limits.upper), 0.02, FLATNESS).inside
    assert inside == pytest.approx(0.95, abs=1e-6)
    assert float(limits.upper) < 0.05 - 1.64485 * 0.02
    with pytest.raises(EmptyAcceptance, match="No value could be accepted"):
        acceptance_limits(Decimal("0.06"), 2, FLATNESS, SUPPLIER)
    with pytest.raises(EmptyAcceptance, match="No value could be accepted"):
        acceptance_limits(Decimal("0.06"), 2, FLATNESS, GUARDED)


def test_form_needs_its_points_filter_and_association() -> None:
    with pytest.raises(ConditionsNotStated, match="needs its evaluation"):
        decide(Decimal("0.03"), Decimal("0.01"), 2, FLATNESS, GUARDED)
    decision = decide(
        Decimal("0.03"),
        Decimal("0.01"),
        2,
        FLATNESS,
        GUARDED,
        evaluation=MINIMUM_ZONE,
    )
    assert decision.verdict is Verdict.PASS
    assert "2400 points, filter: none, association: minimum zone" in decision.sentence
    with pytest.raises(OutOfDomain, match="below zero"):
        decide(-0.001, 0.01, 2, FLATNESS, GUARDED, evaluation=MINIMUM_ZONE)


def test_the_uncertainty_is_raised_to_what_the_method_claims() -> None:
    decision = decide(
        Decimal("10.045"), Decimal("0.004"), 2, UPPER, GUARDED, cmc=Decimal("0.01")
    )
    assert decision.verdict is Verdict.FAIL
    assert decision.acceptance_upper == Decimal("10.04")
    assert decision.printed.expanded_u_text == "0.010"


def test_the_digits_of_the_decision_do_not_contradict_it() -> None:
    decision = decide(Decimal("10.0404"), Decimal("0.010"), 2, UPPER, GUARDED)
    assert decision.verdict is Verdict.FAIL
    assert decision.printed.text == "(10.0404 ± 0.0100) mm"
    assert "at most 10.0400 mm" in decision.sentence


def test_the_sentence_names_rule_limits_and_risk() -> None:
    decision = decide(Decimal("10.042"), Decimal("0.012"), 2, TWO_SIDED, CONDITIONAL)
    assert decision.sentence == (
        "Conditional pass (inside the tolerance, within the guard band): "
        "(10.042 ± 0.012) mm (k = 2.00) against 9.950 mm to 10.050 mm; rule: guarded "
        "acceptance with guard band w = 1 U (ILAC-G8:09/2019), statement with "
        "conditional verdicts; accepted: 9.962 mm to 10.038 mm; failed outright: below "
        "9.938 mm or above 10.062 mm. Probability of conformity 90.9 %; risk of false "
        "acceptance 9.1 %."
    )


def test_a_sentence_in_inches_speaks_of_inches_only() -> None:
    decision = decide(
        Decimal("10.042"), Decimal("0.012"), 2, TWO_SIDED, SUPPLIER, unit="in"
    )
    assert "mm" not in decision.sentence
    assert "(0.39535 ± 0.00047) in" in decision.sentence
    assert "nonconformity proven: below" in decision.sentence
