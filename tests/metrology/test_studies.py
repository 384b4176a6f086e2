"""Trends, type 1 studies, capability, E_n and tests for outliers."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from lab.metrology.errors import BadShape, Degenerate, OutOfDomain, TooFew
from lab.metrology.studies import (
    Side,
    capability,
    en_score,
    forecast_limit,
    grubbs,
    grubbs_critical,
    tietjen_moore,
    type_one_study,
)

DAYS = np.array([0.0, 30.0, 61.0, 95.0, 120.0, 150.0, 185.0, 210.0])
RISING = np.array([1.0, 2.2, 2.4, 4.1, 4.3, 5.6, 6.1, 7.4])


class TestForecast:
    def test_line_and_band_against_statsmodels(self) -> None:
        found = forecast_limit(DAYS, RISING, 12.0)
        fitted = sm.OLS(RISING, sm.add_constant(DAYS)).fit()
        assert found.intercept == pytest.approx(fitted.params[0], rel=1e-9)
        assert found.slope == pytest.approx(fitted.params[1], rel=1e-9)
        assert found.u_slope == pytest.approx(fitted.bse[1], rel=1e-9)
        # At the earliest time the upper end of the two-sided 90 % band, which is
        # the one-sided 95 % one, must stand at the limit.
        there = fitted.get_prediction([[1.0, found.earliest_time]])
        assert there.conf_int(alpha=0.10)[0, 1] == pytest.approx(12.0, rel=1e-9)

    def test_band_of_a_single_value_against_statsmodels(self) -> None:
        found = forecast_limit(DAYS, RISING, 12.0, of_single_value=True)
        fitted = sm.OLS(RISING, sm.add_constant(DAYS)).fit()
        there = fitted.get_prediction([[1.0, found.earliest_time]])
        assert there.conf_int(obs=True, alpha=0.10)[0, 1] == pytest.approx(
            12.0, rel=1e-9
        )

    @given(st.integers(0, 10_000), st.floats(3.0, 20.0))
    def test_earliest_is_the_first_touch_of_the_band(
        self, seed: int, limit: float
    ) -> None:
        """Walk along the band's edges on both sides instead of solving for them."""
        random = np.random.default_rng(seed)
        values = random.normal(0.0, 0.5, 6) + random.normal(0.0, 0.02) * DAYS[:6]
        found = forecast_limit(DAYS[:6], values, limit)
        fitted = sm.OLS(values, sm.add_constant(DAYS[:6])).fit()
        ahead = DAYS[5] + np.linspace(0.0, 4000.0, 8001)
        band = fitted.get_prediction(sm.add_constant(ahead)).conf_int(alpha=0.10)
        touched = (band[:, 1] >= limit) | (band[:, 0] <= -limit)
        if not touched.any():
            assert found.earliest_time is None or found.earliest_time > ahead[-1] - 0.5
        else:
            first = ahead[int(np.argmax(touched))]
            assert found.earliest_time == pytest.approx(first, abs=0.51)

    @given(st.floats(-500.0, 500.0), st.sampled_from([1.0, 24.0, 1 / 30.4]))
    def test_origin_and_unit_of_time(self, shift: float, unit: float) -> None:
        plain = forecast_limit(DAYS, RISING, 12.0)
        other = forecast_limit((DAYS + shift) * unit, RISING, 12.0)
        for mine, theirs in (
            (plain.expected_time, other.expected_time),
            (plain.earliest_time, other.earliest_time),
        ):
            assert theirs / unit - shift == pytest.approx(mine, abs=1e-6)

    def test_mirror_image(self) -> None:
        up, down = (
            forecast_limit(DAYS, RISING, 12.0),
            forecast_limit(DAYS, -RISING, 12.0),
        )
        assert down.earliest_time == pytest.approx(up.earliest_time, rel=1e-12)
        assert down.expected_time == pytest.approx(up.expected_time, rel=1e-12)

    def test_without_scatter_both_times_agree(self) -> None:
        found = forecast_limit([0, 1, 2, 3], [0.0, 1.0, 2.0, 3.0], 10.0)
        assert found.expected_time == pytest.approx(10.0)
        # s is 1e-16 here, not zero: the band is as thin as rounding.
        assert found.earliest_time == pytest.approx(10.0, abs=1e-6)

    def test_a_level_line_is_never_at_the_limit(self) -> None:
        found = forecast_limit([0, 1, 2, 3], [0.5, 0.5, 0.5, 0.5], 2.0)
        assert found.expected_time is None
        assert found.earliest_time is None
        assert "never reached" in found.words

    def test_limit_already_reached(self) -> None:
        found = forecast_limit(DAYS, RISING, 5.0)
        assert found.expected_time == found.earliest_time == 210.0
        assert "already reached" in found.words

    def test_a_wide_band_meets_the_limit_on_the_other_side_too(self) -> None:
        """A weak downward line with much scatter may still be rising."""
        values = [0.5, -0.8, 0.9, -0.7, 0.4, -0.6]
        found = forecast_limit(DAYS[:6], values, 2.0)
        assert not found.is_significant
        assert found.earliest_time is not None
        assert found.expected_time is not None
        assert found.earliest_time < found.expected_time

    def test_bound_is_early_nineteen_times_in_twenty(self) -> None:
        """True line meets 10 at t = 100; the bound must lie before it in 95 %."""
        random = np.random.default_rng(17)
        times = np.arange(8) * 5.0
        early = 0
        for _ in range(1000):
            values = 0.1 * times + random.normal(0.0, 0.3, 8)
            bound = forecast_limit(times, values, 10.0).earliest_time
            early += bound is not None and bound <= 100.0
        # Binomial standard deviation 0.7 %: four of them.
        assert early / 1000 == pytest.approx(0.95, abs=0.028)

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="at least 3 are needed"):
            forecast_limit([0, 1], [0, 1], 2.0)
        with pytest.raises(Degenerate, match="All x are equal"):
            forecast_limit([1, 1, 1], [0, 1, 2], 2.0)
        with pytest.raises(BadShape, match="times has 3, values has 4"):
            forecast_limit([1, 2, 3], [0, 1, 2, 3], 2.0)
        with pytest.raises(OutOfDomain, match="limit is 0"):
            forecast_limit([1, 2, 3], [0, 1, 2], 0.0)
        with pytest.raises(OutOfDomain, match="probability is 1"):
            forecast_limit([1, 2, 3], [0, 1, 2], 1.0, probability=1.0)


class TestTypeOne:
    READINGS = (20.303, 20.301, 20.304, 20.303, 20.306, 20.296, 20.301, 20.3)

    def test_factors_are_parameters(self) -> None:
        usual = type_one_study(self.READINGS, 20.302, 0.06)
        other = type_one_study(
            self.READINGS, 20.302, 0.06, share=0.15, sigma_multiple=4.0
        )
        assert other.cg == pytest.approx(usual.cg * 0.15 / 0.2 * 6 / 4)

    @given(st.floats(0.001, 1000.0), st.floats(-100.0, 100.0))
    def test_unit_and_origin_do_not_matter(self, unit: float, shift: float) -> None:
        plain = type_one_study(self.READINGS, 20.302, 0.06)
        moved = np.array(self.READINGS) * unit + shift
        other = type_one_study(moved, 20.302 * unit + shift, 0.06 * unit)
        # Of readings near 20 with a spread of 0.003 at most 1e-9 survives.
        assert other.cg == pytest.approx(plain.cg, rel=1e-4)
        assert other.cgk == pytest.approx(plain.cgk, rel=1e-4)

    def test_bias_counts_against_cgk_only(self) -> None:
        centred = type_one_study(self.READINGS, float(np.mean(self.READINGS)), 0.06)
        biased = type_one_study(self.READINGS, 20.297, 0.06)
        assert biased.cg == centred.cg
        assert biased.cgk < centred.cgk == pytest.approx(centred.cg)

    def test_verdict_and_shortness(self) -> None:
        found = type_one_study(self.READINGS, 20.302, 0.3)
        assert found.is_capable
        assert found.is_short
        many = type_one_study(self.READINGS * 4, 20.302, 0.3)
        assert not many.is_short
        assert not type_one_study(self.READINGS, 20.302, 0.3, required=9).is_capable

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="readings holds 1"):
            type_one_study([1.0], 1.0, 0.1)
        with pytest.raises(Degenerate, match="resolution hides the spread"):
            type_one_study([1.0, 1.0], 1.0, 0.1)
        with pytest.raises(OutOfDomain, match="tolerance is 0"):
            type_one_study([1.0, 1.1], 1.0, 0.0)


class TestCapability:
    def test_one_limit_only(self) -> None:
        found = capability(16.0, 2.0, upper=22.0)
        assert (found.cp, found.cpk, found.cpm) == (None, 1.0, None)
        assert capability(16.0, 2.0, lower=4.0).cpk == 2.0

    @given(st.floats(8.5, 19.5), st.floats(0.1, 5.0))
    def test_identities(self, mean: float, s: float) -> None:
        found = capability(mean, s, lower=8.0, upper=20.0)
        # Cpk = Cp·(1 − k), and Cp is the mean of both one-sided indices.
        assert found.cpk == pytest.approx(found.cp * (1 - found.off_centre), abs=1e-9)
        assert found.cp == pytest.approx((found.cp_upper + found.cp_lower) / 2)
        assert found.cpm <= found.cp + 1e-12

    def test_refusals(self) -> None:
        with pytest.raises(OutOfDomain, match="capability needs a limit"):
            capability(1.0, 1.0)
        with pytest.raises(OutOfDomain, match="upside down"):
            capability(1.0, 1.0, lower=3.0, upper=2.0)
        with pytest.raises(OutOfDomain, match="standard_deviation is 0"):
            capability(1.0, 0.0, lower=3.0)


class TestEn:
    def test_boundary_agrees(self) -> None:
        assert en_score(5.0, 4.0, 0.6, 0.8).agrees
        assert not en_score(5.001, 4.0, 0.6, 0.8).agrees

    @given(st.floats(-10, 10), st.floats(-10, 10), st.floats(0.01, 5))
    def test_exchange_turns_the_sign(self, x: float, y: float, u: float) -> None:
        assert en_score(x, y, u, 1.0).score == -en_score(y, x, 1.0, u).score

    def test_refusals(self) -> None:
        with pytest.raises(Degenerate, match="E_n needs one"):
            en_score(1.0, 2.0, 0.0, 0.0)
        with pytest.raises(OutOfDomain, match="expanded_u_value is -1"):
            en_score(1.0, 2.0, -1.0, 1.0)


class TestGrubbs:
    def test_sides(self) -> None:
        values = [1.0, 1.1, 0.9, 1.05, 0.95, 9.0]
        assert grubbs(values, side=Side.LARGEST).index == 5
        assert grubbs(values, side=Side.EITHER).index == 5
        low = grubbs(values, side=Side.SMALLEST)
        assert low.index == 2
        assert not low.is_outlier
        assert grubbs([-v for v in values], side=Side.SMALLEST).index == 5

    @given(st.permutations(range(7)))
    def test_order_does_not_matter(self, order: list[int]) -> None:
        values = np.array([2.0, 2.1, 1.9, 2.2, 1.7, 2.05, 3.4])
        found = grubbs(values[list(order)])
        assert found.value == 3.4
        assert found.statistic == pytest.approx(grubbs(values).statistic, rel=1e-12)

    @pytest.mark.parametrize("side", list(Side))
    def test_size_of_the_test(self, side: Side) -> None:
        """Five of a hundred normal samples are called contaminated."""
        draws = np.random.default_rng(29).normal(size=(20_000, 9))
        away = draws - draws.mean(axis=1, keepdims=True)
        extreme = {
            Side.LARGEST: away.max(axis=1),
            Side.SMALLEST: -away.min(axis=1),
            Side.EITHER: np.abs(away).max(axis=1),
        }[side]
        share = np.mean(
            extreme / draws.std(axis=1, ddof=1) > grubbs_critical(9, 0.05, side)
        )
        # Binomial standard deviation 0.15 %: four of them.
        assert share == pytest.approx(0.05, abs=0.0062)

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="values holds 2"):
            grubbs([1.0, 2.0])
        with pytest.raises(TooFew, match="at least 3"):
            grubbs_critical(2)
        with pytest.raises(Degenerate, match="nothing to stand out from"):
            grubbs([1.0, 1.0, 1.0])
        with pytest.raises(OutOfDomain, match=r"alpha is 0\.7"):
            grubbs_critical(5, 0.7)


class TestTietjenMoore:
    VENUS = (
        -1.4, -0.44, -0.3, -0.24, -0.22, -0.13, -0.05, 0.06, 0.1, 0.18, 0.2, 0.39,
        0.48, 0.63, 1.01,
    )  # fmt: skip

    def test_simulated_critical_value_is_the_published_one(self) -> None:
        # The handbook prints 0.317; the 5 % quantile of 20,000 is good to 0.003.
        assert tietjen_moore(self.VENUS, 2).critical == pytest.approx(0.317, abs=0.01)

    def test_same_seed_same_answer(self) -> None:
        one, two = (tietjen_moore(self.VENUS, 2, seed=4) for _ in range(2))
        assert one == two

    def test_one_outlier_agrees_with_grubbs(self) -> None:
        """For k = 1 the statistic is a function of Grubbs' G."""
        n = len(self.VENUS)
        g = grubbs(self.VENUS).statistic
        expected = 1 - n * g**2 / (n - 1) ** 2
        assert tietjen_moore(self.VENUS, 1).statistic == pytest.approx(expected)

    def test_clean_values_are_left_alone(self) -> None:
        clean = norm.ppf((np.arange(20) + 0.5) / 20)  # a sample as it should be
        assert not tietjen_moore(clean, 2).are_outliers

    def test_refusals(self) -> None:
        with pytest.raises(OutOfDomain, match="outliers is 0"):
            tietjen_moore(self.VENUS, 0)
        with pytest.raises(TooFew, match="values holds 3"):
            tietjen_moore([1.0, 2.0, 3.0], 2)
        with pytest.raises(OutOfDomain, match="alpha is 0"):
            tietjen_moore(self.VENUS, 2, alpha=0.0)
        with pytest.raises(Degenerate, match="All values are equal"):
            tietjen_moore([1.0] * 5, 2)


def test_forecast_needs_finite_times() -> None:
    with pytest.raises(ValueError, match="times holds 1 value"):
        forecast_limit([0.0, math.inf, 2.0], [0, 1, 2], 2.0)
