"""Numbers enter the exact comparison as a person would write them."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.decimals import exact, exact_positive
from lab.metrology.errors import NotFinite, OutOfDomain


@given(st.decimals(min_value=-10_000, max_value=10_000, places=6))
def test_a_typed_number_survives_its_way_through_a_float(number: Decimal) -> None:
    assert exact("value", float(number)) == number


@given(st.decimals(allow_nan=False, allow_infinity=False))
def test_a_decimal_is_kept_as_it_is(number: Decimal) -> None:
    assert exact("value", number) is number


def test_noise_of_a_sum_of_floats_is_dropped() -> None:
    assert exact("value", 0.1 + 0.2) == Decimal("0.3")
    assert exact("value", np.float64(10.0) + np.float64(1e-12)) == Decimal(10)
    assert exact("value", np.int64(3)) == Decimal(3)


def test_a_tiny_uncertainty_keeps_its_digits() -> None:
    assert exact_positive("expanded_u", 2.5e-12) == Decimal("2.5e-12")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("NaN")])
def test_what_is_not_finite_is_refused(value: Decimal | float) -> None:
    with pytest.raises(NotFinite, match="value must be finite"):
        exact("value", value)


@pytest.mark.parametrize("value", ["10.0", True, None, 1j])
def test_what_is_no_number_is_refused(value: object) -> None:
    with pytest.raises(OutOfDomain, match="value must be a number"):
        exact("value", value)  # type: ignore[arg-type]


@pytest.mark.parametrize("value", [0, -0.1, Decimal(0)])
def test_an_uncertainty_of_zero_or_below_is_refused(value: Decimal | float) -> None:
    with pytest.raises(OutOfDomain, match="expanded_u must be greater than zero"):
        exact_positive("expanded_u", value)
