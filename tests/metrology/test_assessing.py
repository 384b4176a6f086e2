"""Bounds on what air outside its limits did to a length."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.errors import MetrologyError
from lab.metrology.thermal import (
    Expansion,
    Temperature,
    condition_effect,
    deviation_in_gap,
    length_at_temperature,
)


@given(
    st.floats(1.0, 5000.0),
    st.floats(-10.0, 10.0),
    st.floats(0.0, 1.0),
    st.floats(1e-6, 25e-6),
)
def test_the_shift_is_that_of_the_exact_expansion(
    length: float, deviation: float, u_k: float, per_k: float
) -> None:
    effect = condition_effect(length, Expansion(per_k, 0.0), deviation, u_k)
    exact = length_at_temperature(
        length, Expansion(per_k, 0.0), Temperature(20.0 + deviation, u_k)
    )
    assert effect.shift_mm == pytest.approx(exact.correction_mm, rel=1e-6, abs=1e-12)
    assert effect.u_mm == pytest.approx(exact.u_from_temperature_mm, rel=1e-9)
    assert effect.most_mm >= abs(effect.shift_mm)


def test_the_coefficient_counts_with_the_deviation() -> None:
    effect = condition_effect(1000.0, Expansion(11.5e-6, 1.2e-6), 2.0, 0.0)
    assert effect.u_mm == pytest.approx(1000.0 * 1.2e-6 * 2.0, rel=1e-12)


@given(st.floats(-5, 5), st.floats(-5, 5), st.floats(0, 1e5), st.floats(0, 5))
def test_a_gap_is_never_better_than_its_edges(
    first: float, last: float, length: float, rate: float
) -> None:
    found = deviation_in_gap(first, last, length, rate)
    assert abs(found) >= max(abs(first), abs(last))
    assert abs(found) == pytest.approx(abs(deviation_in_gap(last, first, length, rate)))


def test_senseless_figures_are_refused() -> None:
    with pytest.raises(MetrologyError, match="length_mm"):
        condition_effect(0.0, Expansion(11.5e-6, 0.0), 1.0, 0.1)
    with pytest.raises(MetrologyError, match="deviation_k"):
        condition_effect(1.0, Expansion(11.5e-6, 0.0), math.nan, 0.1)
    with pytest.raises(MetrologyError, match="length_s"):
        deviation_in_gap(0.1, 0.1, -1.0, 1.0)
