"""The printed text of a value and its uncertainty."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.errors import BadUnit, NotFinite, OutOfDomain
from lab.metrology.rounding import (
    Bound,
    print_coverage_factor,
    print_limit,
    print_probability,
    print_quantity,
    print_result,
    print_significant,
    reported_expanded_u,
)

VALUES = st.decimals(min_value=-5000, max_value=5000, places=8)
SPREADS = st.decimals(min_value=Decimal("0.00001"), max_value=90, places=8)


@pytest.mark.parametrize(
    ("value", "spread", "text"),
    [
        # Two digits, nearest, ties up, and the carry into a new decade.
        ("10.01234", "0.0996", "(10.01 ± 0.10) mm"),
        ("10.01234", "0.0995", "(10.01 ± 0.10) mm"),
        ("10.01234", "0.0994", "(10.012 ± 0.099) mm"),
        ("10.0125", "0.0125", "(10.013 ± 0.013) mm"),
        ("-0.00049", "0.012", "(0.000 ± 0.012) mm"),
        ("-10.0125", "0.012", "(−10.013 ± 0.012) mm"),
        ("1234.5", "123", "(1230 ± 120) mm"),
        ("1.5", "0.000123", "(1.50000 ± 0.00012) mm"),
    ],
)
def test_two_significant_digits(value: str, spread: str, text: str) -> None:
    assert print_result(Decimal(value), Decimal(spread)).text == text


@pytest.mark.parametrize(
    ("spread", "text"),
    [
        ("0.0104", "0.01"),  # 3.8 % below: allowed
        ("0.0106", "0.02"),  # 5.7 % below: up
        ("0.0145", "0.02"),
        ("0.0151", "0.02"),
        ("0.096", "0.1"),
        ("0.94", "0.9"),  # 4.3 % below
        ("0.949", "1"),  # 5.2 % below: up, into a new decade
    ],
)
def test_one_digit_is_not_below_by_more_than_five_percent(
    spread: str, text: str
) -> None:
    assert print_result(Decimal(10), Decimal(spread), digits=1).expanded_u_text == text


@given(VALUES, SPREADS, st.sampled_from([1, 2]))
def test_printed_numbers_are_within_their_rounding(
    value: Decimal, spread: Decimal, digits: int
) -> None:
    printed = print_result(value, spread, digits=digits)
    step = Decimal(1).scaleb(-printed.places)
    assert abs(printed.value - value) <= step / 2
    assert len(printed.expanded_u.as_tuple().digits) == digits
    if digits == 2:
        assert abs(printed.expanded_u - spread) <= step / 2
    else:
        assert printed.expanded_u >= spread * Decimal("0.95")
        assert printed.expanded_u - spread <= step


@given(VALUES, SPREADS)
def test_the_machine_number_is_the_text(value: Decimal, spread: Decimal) -> None:
    printed = print_result(value, spread)
    assert Decimal(printed.value_text.replace("−", "-")) == printed.value
    assert Decimal(printed.expanded_u_text) == printed.expanded_u
    assert not printed.value_text.startswith("−0.000000000")


@given(VALUES, SPREADS)
def test_inches_are_rounded_from_the_unrounded_value(
    value: Decimal, spread: Decimal
) -> None:
    printed = print_result(value, spread, unit="in")
    step = Fraction(1, 2) * Fraction(10) ** -printed.places
    assert abs(Fraction(printed.value) - Fraction(value) / Fraction("25.4")) <= step


def test_rounding_in_millimetres_first_would_print_another_inch() -> None:
    # 25.3949 mm is 0.99980 in; rounded to 25.39 mm first it would be 0.9996 in.
    assert print_result(Decimal("25.3949"), Decimal("0.012"), unit="in").value_text == (
        "0.99980"
    )


@given(VALUES, SPREADS, SPREADS, st.sampled_from([1, 2]))
def test_never_below_the_smallest_uncertainty_claimed(
    value: Decimal, spread: Decimal, cmc: Decimal, digits: int
) -> None:
    printed = print_result(value, spread, cmc_mm=cmc, digits=digits)
    assert printed.expanded_u >= cmc


def test_rounding_does_not_slip_below_the_smallest_uncertainty() -> None:
    printed = print_result(10.0, 0.008, cmc_mm=Decimal("0.0124"))
    assert printed.expanded_u_text == "0.013"
    assert reported_expanded_u(0.02, cmc=0.01) == Decimal("0.02")


def test_one_digit_more_where_the_digits_would_contradict_the_verdict() -> None:
    bounds = [Bound(Decimal("10.05"), "upper")]
    printed = print_result(Decimal("10.0504"), Decimal("0.012"), bounds=bounds)
    assert printed.text == "(10.0504 ± 0.0120) mm"
    assert printed.extra_digits == 1
    inside = print_result(Decimal("10.0496"), Decimal("0.012"), bounds=bounds)
    assert inside.text == "(10.050 ± 0.012) mm"


def test_a_value_on_a_limit_that_ends_between_two_digits_is_shown_on_it() -> None:
    bounds = [Bound(Decimal("10.0046"), "upper")]
    printed = print_result(Decimal("10.0046"), Decimal("0.02"), bounds=bounds)
    assert printed.value == Decimal("10.0046")


@given(
    VALUES,
    SPREADS,
    st.decimals(min_value=-3, max_value=3, places=7),
    st.sampled_from(["lower", "upper"]),
    st.sampled_from(["mm", "in"]),
)
def test_the_digits_never_contradict_a_limit(
    value: Decimal, spread: Decimal, away: Decimal, side: str, unit: str
) -> None:
    limit = (value + away * spread).quantize(Decimal("1e-8"))
    bound = Bound(limit, side)  # type: ignore[arg-type]
    printed = print_result(value, spread, unit=unit, bounds=[bound])
    shown_limit = Decimal(
        print_limit(limit, printed.places, unit, computed=True).replace("−", "-")
    )
    assert bound.keeps(value, limit) == bound.keeps(printed.value, shown_limit)
    if unit == "mm":
        assert bound.keeps(value, limit) == bound.keeps(printed.value, limit)


def test_other_quantities_have_their_own_units() -> None:
    assert print_quantity(20.123, 0.05, unit="degC").text == "(20.123 ± 0.050) °C"
    assert print_quantity(20.123, 0.05, unit="°C").unit == "°C"
    assert print_quantity(0.0123, 0.0021, unit="µm").text == "(12.3 ± 2.1) µm"
    assert print_quantity(90, 0.01, unit="°").unit == "°"


def test_a_limit_is_printed_exactly_where_it_was_typed() -> None:
    assert print_limit(Decimal("10"), 3) == "10.000"
    assert print_limit(Decimal("10.00461"), 3) == "10.00461"
    assert print_limit(Decimal("10.16"), 4, "in") == "0.4000"
    assert print_limit(Decimal("10.17"), 4, "in") == "0.4004"


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (0.0, "less than 0.01 %"),
        (1.0, "more than 99.99 %"),
        (0.5, "50.0 %"),
        (0.00123, "0.12 %"),
        (0.99877, "99.88 %"),
    ],
)
def test_a_probability_is_never_a_false_certainty(
    probability: float, text: str
) -> None:
    assert print_probability(probability) == text


def test_the_coverage_factor_has_two_decimals() -> None:
    assert print_coverage_factor(1.6449) == "1.64"


def test_a_figure_of_a_budget_has_its_significant_digits() -> None:
    assert print_significant(0.0996) == "0.10"
    assert print_significant(1234.0) == "1200"
    assert print_significant(2.5e-11) == "0.000000000025"
    assert print_significant(Decimal("-0.00345"), 2) == "−0.0035"


def test_refusals_name_the_item() -> None:
    with pytest.raises(OutOfDomain, match="digits must be at least 1"):
        print_significant(1.0, 0)
    with pytest.raises(BadUnit, match="unit of a length must be mm, in or µm"):
        print_result(10, 0.1, unit="deg")
    with pytest.raises(BadUnit, match="got 'furlong'"):
        print_result(10, 0.1, unit="furlong")
    with pytest.raises(OutOfDomain, match="digits must be 1 or 2, got 3"):
        print_result(10, 0.1, digits=3)
    with pytest.raises(NotFinite, match="value must be finite"):
        print_result(float("nan"), 0.1)
    with pytest.raises(OutOfDomain, match="expanded_u must be greater than zero"):
        print_result(10, 0)
    with pytest.raises(OutOfDomain, match="probability must lie within 0 and 1"):
        print_probability(1.1)
