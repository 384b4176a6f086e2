"""A value calibrated at a temperature other than 20 °C, as a check uses it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.checks import Artefact, ProcessingState, length_reference
from lab.metrology.errors import OutOfDomain
from lab.metrology.thermal import Expansion, Temperature

STEEL = Expansion(11.5e-6, 0.5e-6)
AT_23 = Artefact(1200.0, 0.001, STEEL, reference_degc=23.0)


def test_where_it_was_calibrated_no_coefficient_is_needed() -> None:
    used = length_reference(AT_23, Temperature(23.0, 0.0), ProcessingState.AS_MEASURED)
    assert used.value_mm == pytest.approx(1200.0, abs=1e-12)
    assert used.u_mm == pytest.approx(0.001, rel=1e-12)


def test_it_is_brought_to_20_degrees_by_its_own_coefficient() -> None:
    """By hand: 1200 mm · 11.5e-6/K · 3 K = 41.4 µm shorter, less 1.4 nm."""
    used = length_reference(AT_23, Temperature(20.0, 0.0), ProcessingState.AT_REFERENCE)
    assert used.value_mm == pytest.approx(1199.9586, abs=2e-6)
    assert used.correction_mm == pytest.approx(-0.0414, abs=2e-6)
    # 1200 mm · 0.5e-6/K · 3 K = 1.8 µm beside the 1 µm of the certificate.
    assert used.u_mm == pytest.approx((0.001**2 + 0.0018**2) ** 0.5, rel=1e-4)


@given(
    calibrated=st.floats(min_value=15.0, max_value=25.0),
    used=st.floats(min_value=15.0, max_value=25.0),
)
def test_a_value_means_the_same_at_whichever_temperature_it_is_stated(
    calibrated: float, used: float
) -> None:
    at_20 = Artefact(1000.0, 0.001, STEEL)
    elsewhere = Artefact(
        1000.0 * (1.0 + STEEL.per_k * (calibrated - 20.0)),
        0.001,
        STEEL,
        reference_degc=calibrated,
    )
    temperature = Temperature(used, 0.1)
    for state in (ProcessingState.AS_MEASURED, ProcessingState.AT_REFERENCE):
        one = length_reference(at_20, temperature, state)
        other = length_reference(elsewhere, temperature, state)
        assert other.value_mm == pytest.approx(one.value_mm, abs=1e-9)
        share = next(term for term in other.terms if "coefficient" in term.name)
        # The farther from where it was calibrated, the more the coefficient matters.
        expected = 1000.0 * abs(used - calibrated) * STEEL.u_per_k
        assert share.u_mm == pytest.approx(expected, rel=1e-4, abs=1e-12)


def test_a_reference_temperature_that_no_room_has_is_refused() -> None:
    with pytest.raises(OutOfDomain, match="temperature_degc"):
        Artefact(1000.0, 0.001, STEEL, reference_degc=293.15)
