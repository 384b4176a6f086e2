"""Lengths at 20 °C, the scale from bars, and the table of materials."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from lab.metrology.errors import Degenerate, NotFinite, OutOfDomain, TooFew
from lab.metrology.thermal import (
    MATERIALS,
    AppliedCorrection,
    Bar,
    DifferentProcessingStates,
    Expansion,
    MeanCoefficient,
    ProcessingState,
    Temperature,
    UnknownProcessingState,
    coefficient_spread,
    coefficients_over,
    imported_length,
    length_at_reference,
    length_at_temperature,
    material,
    part_length_from_bar,
    require_same_state,
    scale_at_length,
    scale_from_bars,
)

STEEL = Expansion(11.5e-6, 1.2e-6)
ALUMINIUM = Expansion(23.1e-6, 2.3e-6)
lengths = st.floats(1.0, 5000.0)
temperatures = st.floats(10.0, 35.0)
coefficients = st.floats(-1e-6, 3e-5)


class TestLength:
    @given(lengths, coefficients, temperatures)
    def test_there_and_back(self, length: float, alpha: float, degc: float) -> None:
        expansion, at = Expansion(alpha, 0.0), Temperature(degc, 0.0)
        warm = length_at_temperature(length, expansion, at)
        back = length_at_reference(warm.length_mm, expansion, at)
        assert back.length_mm == pytest.approx(length, rel=1e-15)
        assert back.correction_mm == pytest.approx(-warm.correction_mm, abs=1e-12)

    @given(lengths, coefficients)
    def test_nothing_changes_at_20_degrees(self, length: float, alpha: float) -> None:
        found = length_at_reference(
            length, Expansion(alpha, 1e-6), Temperature(20.0, 0.0), 0.003
        )
        assert found.length_mm == length
        assert found.u_mm == 0.003

    @given(lengths, st.floats(1e-6, 3e-5), temperatures)
    def test_shares_against_automatic_differentiation(
        self, length: float, alpha: float, degc: float
    ) -> None:
        """The uncertainties package propagates the same formula by itself."""
        found = length_at_reference(
            length, Expansion(alpha, alpha / 10), Temperature(degc, 0.2), 0.004
        )
        alpha_u, degc_u = ufloat(alpha, alpha / 10), ufloat(degc, 0.2)
        expected = ufloat(length, 0.004) / (1 + alpha_u * (degc_u - 20))
        assert found.length_mm == pytest.approx(expected.nominal_value, rel=1e-14)
        # Both are first order; 1e-9 leaves room for rounding only.
        assert found.u_mm == pytest.approx(expected.std_dev, rel=1e-9)

    def test_the_other_direction_too(self) -> None:
        found = length_at_temperature(750.0, STEEL, Temperature(23.0, 0.3), 0.002)
        expected = ufloat(750.0, 0.002) * (
            1 + ufloat(11.5e-6, 1.2e-6) * (ufloat(23.0, 0.3) - 20)
        )
        assert found.u_mm == pytest.approx(expected.std_dev, rel=1e-9)

    def test_exact_and_first_order_forms_differ_by_13_nanometres(self) -> None:
        found = length_at_reference(
            1000.0, Expansion(23.1e-6, 0.0), Temperature(25.0, 0.0)
        )
        first_order_mm = 1000.0 * (1 - 23.1e-6 * 5)
        assert found.length_mm - first_order_mm == pytest.approx(13e-6, abs=0.5e-6)

    @pytest.mark.parametrize(
        ("length", "u", "message"),
        [
            (0.0, 0.0, "length_mm is 0; it must be greater than zero"),
            (-5.0, 0.0, "length_mm is -5"),
            (5.0, -0.1, "u_length_mm is -0.1; it must not be negative"),
        ],
    )
    def test_refusals(self, length: float, u: float, message: str) -> None:
        with pytest.raises(OutOfDomain, match=message):
            length_at_reference(length, Expansion(0.0, 0.0), Temperature(20, 0), u)

    def test_coefficient_typed_without_its_exponent(self) -> None:
        with pytest.raises(OutOfDomain, match=r"Enter 11.5 µm/\(m·K\) as 11.5e-6"):
            Expansion(11.5, 1.2)

    def test_temperature_typed_in_kelvin(self) -> None:
        with pytest.raises(OutOfDomain, match=r"temperature_degc is 293\.15"):
            Temperature(293.15, 0.1)

    def test_nan(self) -> None:
        with pytest.raises(NotFinite, match="temperature_degc is nan"):
            Temperature(math.nan, 0.1)


class TestPartFromBar:
    def part(self, correlation: float, **changes: object) -> float:
        known: dict[str, object] = {
            "u_bar_length_mm": 0.0,
            "bar_expansion": Expansion(11.5e-6, 0.0),
            "bar_temperature": Temperature(22.0, 0.3),
            "part_expansion": Expansion(23.1e-6, 0.0),
            "part_temperature": Temperature(22.0, 0.3),
        }
        found = part_length_from_bar(
            2000.0,
            1000.0,
            1000.0,
            sensor_correlation=correlation,
            **(known | changes),  # type: ignore[arg-type]
        )
        return found.u_from_temperatures_mm

    def test_one_sensor_enters_as_the_difference_of_the_coefficients(self) -> None:
        # (α_part − α_bar)·L·u(T), to the first-order factor 1 + αΔT ≈ 1 + 5e-5.
        by_hand = (23.1e-6 - 11.5e-6) * 2000.0 * 0.3
        assert self.part(1.0) == pytest.approx(by_hand, rel=1e-4)

    def test_two_sensors_combine_in_squares(self) -> None:
        by_hand = math.hypot(23.1e-6, 11.5e-6) * 2000.0 * 0.3
        assert self.part(0.0) == pytest.approx(by_hand, rel=1e-4)

    def test_a_bar_that_shrinks_when_warm_adds_to_the_part(self) -> None:
        by_hand = (23.1e-6 + 0.5e-6) * 2000.0 * 0.3
        found = self.part(1.0, bar_expansion=Expansion(-0.5e-6, 0.0))
        assert found == pytest.approx(by_hand, rel=1e-4)

    @given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
    def test_more_correlation_never_hurts_here(self, one: float, two: float) -> None:
        low, high = sorted((one, two))
        assert self.part(high) <= self.part(low) + 1e-15

    def test_all_shares_against_automatic_differentiation(self) -> None:
        found = part_length_from_bar(
            1500.0,
            1000.02,
            1000.0,
            u_bar_length_mm=0.003,
            bar_expansion=STEEL,
            bar_temperature=Temperature(22.5, 0.2),
            part_expansion=ALUMINIUM,
            part_temperature=Temperature(22.5, 0.2),
            sensor_correlation=1.0,
        )
        shared = ufloat(22.5, 0.2)
        bar = ufloat(1000.0, 0.003) * (1 + ufloat(11.5e-6, 1.2e-6) * (shared - 20))
        expected = (
            1500.0 * bar / 1000.02 / (1 + ufloat(23.1e-6, 2.3e-6) * (shared - 20))
        )
        assert found.length_mm == pytest.approx(expected.nominal_value, rel=1e-14)
        assert found.u_mm == pytest.approx(expected.std_dev, rel=1e-9)

    @pytest.mark.parametrize("correlation", [-0.1, 1.1])
    def test_correlation_outside_its_range(self, correlation: float) -> None:
        with pytest.raises(OutOfDomain, match="sensor_correlation is"):
            self.part(correlation)


def bar(name: str, length_mm: float, error_mm: float, **changes: object) -> Bar:
    """Make a bar at 20 °C that reads long by `error_mm`."""
    plain = Bar(
        name=name,
        length_mm=length_mm,
        u_length_mm=0.002,
        reading_mm=length_mm + error_mm,
        u_reading_mm=0.003,
        expansion=STEEL,
        temperature=Temperature(20.0, 0.0),
        laboratory="",
        sensor="",
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


class TestScale:
    def test_single_bar_has_no_redundancy(self) -> None:
        found = scale_from_bars([bar("one", 500.0, 0.005)])
        assert found.redundancy == 0
        assert found.p_value is None
        assert found.is_consistent is None
        assert found.scale_error == pytest.approx(1e-5, rel=1e-9)
        assert found.u_scale == pytest.approx(math.hypot(0.002, 0.003) / 500.0)
        assert "there is no redundancy" in found.words

    def test_five_micrometres_on_half_a_metre_are_thirty_on_three(self) -> None:
        scale = scale_from_bars([bar("one", 500.0, 0.005)])
        far = scale_at_length(scale, 3000.0)
        assert far.error_mm == pytest.approx(0.030, abs=1e-9)
        assert far.times_longest_bar == pytest.approx(6.0)
        assert far.is_extrapolated
        assert not scale_at_length(scale, 400.0).is_extrapolated

    def test_independent_bars_are_the_weighted_mean(self) -> None:
        bars = [bar("one", 500.0, 0.004), bar("two", 1500.0, 0.02)]
        found = scale_from_bars(bars)
        u = np.hypot(0.002, 0.003) / np.array([500.0, 1500.0])
        expected = np.average([8e-6, 0.02 / 1500.0], weights=u**-2)
        assert found.scale_error == pytest.approx(expected, rel=1e-6)
        assert found.u_scale == pytest.approx((u**-2).sum() ** -0.5, rel=1e-9)

    def test_a_common_error_is_not_averaged_away(self) -> None:
        """Equal bars of one laboratory: u² = u_common² + (own²)/N."""
        common = {"laboratory": "K", "u_common_mm": 0.0015}
        bars = [bar(f"bar {i}", 1000.0, 0.0, **common) for i in range(4)]
        found = scale_from_bars(bars)
        own = (0.002**2 - 0.0015**2) + 0.003**2
        assert found.u_scale * 1000.0 == pytest.approx(
            math.sqrt(0.0015**2 + own / 4), rel=1e-9
        )

    def test_a_shared_sensor_is_not_averaged_away(self) -> None:
        shared = {"sensor": "T1", "temperature": Temperature(20.0, 0.2)}
        bars = [bar(f"bar {i}", 1000.0, 0.0, **shared) for i in range(3)]
        by_sensor = 1000.0 * 11.5e-6 * 0.2
        own = 0.002**2 + 0.003**2
        assert scale_from_bars(bars).u_scale * 1000.0 == pytest.approx(
            math.sqrt(by_sensor**2 + own / 3), rel=1e-9
        )

    def test_a_shared_coefficient_is_not_averaged_away(self) -> None:
        shared = {"expansion_source": "table", "temperature": Temperature(22.0, 0.0)}
        bars = [bar(f"bar {i}", 1000.0, 0.023, **shared) for i in range(2)]
        by_expansion = 1000.0 * 1.2e-6 * 2.0
        own = 0.002**2 + 0.003**2
        assert scale_from_bars(bars).u_scale * 1000.0 == pytest.approx(
            math.sqrt(by_expansion**2 + own / 2), rel=1e-4
        )

    @given(st.permutations(range(4)))
    def test_order_does_not_matter(self, order: list[int]) -> None:
        bars = [
            bar("a", 500.0, 0.004, laboratory="K", u_common_mm=0.001),
            bar("b", 1000.0, 0.012, laboratory="K", u_common_mm=0.001),
            bar("c", 1500.0, 0.010),
            bar("d", 800.0, 0.007),
        ]
        plain = scale_from_bars(bars)
        shuffled = scale_from_bars([bars[i] for i in order])
        assert shuffled.scale_error == pytest.approx(plain.scale_error, abs=1e-15)
        assert shuffled.chi_squared == pytest.approx(plain.chi_squared, rel=1e-9)

    def test_contradicting_bars_are_found(self) -> None:
        bars = [bar("one", 1000.0, 0.0), bar("two", 1000.0, 0.0)]
        assert scale_from_bars(bars).is_consistent
        found = scale_from_bars([*bars, bar("bent", 1000.0, 0.03)])
        assert found.is_consistent is False
        assert "contradict each other" in found.words

    def test_consistency_test_has_its_stated_size(self) -> None:
        """Of 4,000 sets drawn from the stated covariance 5 % are called wrong."""
        random = np.random.default_rng(20)
        rejected = 0
        for _ in range(4000):
            common = random.normal(0.0, 0.0015)
            bars = [
                bar(
                    f"bar {i}",
                    1000.0,
                    common
                    + random.normal(0.0, math.sqrt(0.002**2 - 0.0015**2))
                    + random.normal(0.0, 0.003),
                    laboratory="K",
                    u_common_mm=0.0015,
                )
                for i in range(3)
            ]
            rejected += scale_from_bars(bars).is_consistent is False
        # Binomial standard deviation is 0.34 %: four of them.
        assert rejected / 4000 == pytest.approx(0.05, abs=0.014)

    def test_significance(self) -> None:
        assert not scale_from_bars([bar("a", 1000.0, 0.005)]).is_significant
        assert scale_from_bars([bar("a", 1000.0, 0.010)]).is_significant

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="at least one calibrated bar"):
            scale_from_bars([])
        with pytest.raises(OutOfDomain, match="Two bars have one name"):
            scale_from_bars([bar("a", 500.0, 0.0), bar("a", 600.0, 0.0)])
        with pytest.raises(
            OutOfDomain, match=r"u_common_mm of .a. is 0\.01, more than"
        ):
            bar("a", 500.0, 0.0, u_common_mm=0.01)
        with pytest.raises(Degenerate, match="has no uncertainty at all"):
            scale_from_bars([bar("a", 500.0, 0.0, u_length_mm=0.0, u_reading_mm=0.0)])
        wholly_common = {
            "laboratory": "K",
            "u_common_mm": 0.002,
            "u_reading_mm": 0.0,
        }
        with pytest.raises(Degenerate, match="share their whole uncertainty"):
            scale_from_bars(
                [bar(name, 500.0, 0.0, **wholly_common) for name in ("a", "b")]
            )


class TestMaterials:
    @pytest.mark.parametrize("name", MATERIALS)
    def test_defaults_are_wide_and_have_a_source(self, name: str) -> None:
        line = material(name)
        assert line.expansion.u_per_k >= 0.0999 * abs(line.expansion.per_k)
        assert line.source

    def test_unknown_material_lists_those_that_there_are(self) -> None:
        with pytest.raises(OutOfDomain, match=r"no material 'wood'.*aluminium, steel"):
            material("wood")

    def test_a_record_needs_range_and_source(self) -> None:
        with pytest.raises(OutOfDomain, match="needs its source"):
            MeanCoefficient(11.5e-6, 20.0, 100.0, " ")
        with pytest.raises(OutOfDomain, match="range 100 to 20 °C"):
            MeanCoefficient(11.5e-6, 100.0, 20.0, "a table")

    def test_a_wider_range_is_no_match(self) -> None:
        record = MeanCoefficient(13.5e-6, 0.0, 400.0, "a table")
        assert coefficients_over([record], 0.0, 100.0) == ()

    def test_spread_needs_two(self) -> None:
        with pytest.raises(TooFew, match="a spread needs two"):
            coefficient_spread([MeanCoefficient(13.5e-6, 0.0, 400.0, "a table")])


class TestStates:
    WARM = Temperature(25.0, 0.1)

    def test_as_measured_is_corrected_once(self) -> None:
        found = imported_length(
            1000.0, ProcessingState.AS_MEASURED, ALUMINIUM, self.WARM
        )
        assert found == length_at_reference(1000.0, ALUMINIUM, self.WARM)

    def test_the_same_correction_made_elsewhere_is_not_made_again(self) -> None:
        done = AppliedCorrection(ALUMINIUM.per_k, 25.0)
        found = imported_length(
            1000.0,
            ProcessingState.AT_REFERENCE,
            ALUMINIUM,
            self.WARM,
            applied=done,
            u_length_mm=0.003,
        )
        assert found.length_mm == pytest.approx(1000.0, abs=1e-12)
        assert found.u_from_length_mm == pytest.approx(0.003, rel=1e-12)
        assert found.u_from_temperature_mm > 0.0

    @given(st.floats(15.0, 30.0), st.floats(0.0, 3e-5))
    def test_a_wrong_correction_made_elsewhere_is_undone(
        self, degc: float, alpha: float
    ) -> None:
        true_mm = 1000.0 * (1 + ALUMINIUM.per_k * 5.0)
        wrongly = true_mm / (1 + alpha * (degc - 20.0))
        found = imported_length(
            wrongly,
            ProcessingState.AT_REFERENCE,
            ALUMINIUM,
            self.WARM,
            applied=AppliedCorrection(alpha, degc),
        )
        assert found.length_mm == pytest.approx(1000.0, abs=1e-9)
        assert found.correction_mm == pytest.approx(1000.0 - wrongly, abs=1e-9)

    def test_refusals(self) -> None:
        done = AppliedCorrection(11.5e-6, 22.0)
        with pytest.raises(UnknownProcessingState, match="find out and say so"):
            imported_length(1.0, ProcessingState.UNKNOWN, STEEL, self.WARM)
        with pytest.raises(UnknownProcessingState, match="with which coefficient"):
            imported_length(1.0, ProcessingState.AT_REFERENCE, STEEL, self.WARM)
        with pytest.raises(OutOfDomain, match="carries no applied correction"):
            imported_length(
                1.0, ProcessingState.AS_MEASURED, STEEL, self.WARM, applied=done
            )

    def test_checks_are_evaluated_like_the_jobs(self) -> None:
        raw, done = ProcessingState.AS_MEASURED, ProcessingState.AT_REFERENCE
        require_same_state(done, done)
        with pytest.raises(DifferentProcessingStates, match="in the state of the jobs"):
            require_same_state(raw, done)
        with pytest.raises(UnknownProcessingState, match="were brought to 20 °C alike"):
            require_same_state(raw, ProcessingState.UNKNOWN)
