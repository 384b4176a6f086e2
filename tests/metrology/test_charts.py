"""Control charts: constants, baselines, limits, and the run rules."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.charts import (
    Baseline,
    chart_constants,
    counts_chart,
    ewma_chart,
    individuals_baseline,
    individuals_chart,
    mean_range_chart,
    moving_ranges,
    nelson,
    proportions_chart,
    signals,
    western_electric,
)
from lab.metrology.errors import BadShape, Degenerate, NotFinite, OutOfDomain, TooFew

# Steps of a quarter make values that lie exactly on the lines, which is where
# readings of a rule differ.
heights = st.integers(-14, 14).map(lambda quarter: quarter / 4)
series = st.lists(heights, max_size=40)
STEADY = Baseline(0.0, 1.0, 25)


class TestConstants:
    def test_two_and_three_in_closed_form(self) -> None:
        # The range of two normal values is half-normal: d2 = 2/√π, d3² = 2 − 4/π;
        # d2 of three is 3/√π (Tippett 1925).
        two, three = chart_constants(2), chart_constants(3)
        assert two.d2 == pytest.approx(2 / math.sqrt(math.pi), rel=1e-11)
        assert two.d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-10)
        assert three.d2 == pytest.approx(3 / math.sqrt(math.pi), rel=1e-11)

    def test_against_a_simulation(self) -> None:
        draws = np.random.default_rng(7).normal(size=(200_000, 6))
        ranges = np.ptp(draws, axis=1)
        six = chart_constants(6)
        # Standard errors: d3/√N = 0.0019 of the mean, about as much of d3, and
        # 0.0007 of c4; four of each.
        assert ranges.mean() == pytest.approx(six.d2, abs=0.0076)
        assert ranges.std() == pytest.approx(six.d3, abs=0.0076)
        assert draws.std(axis=1, ddof=1).mean() == pytest.approx(six.c4, abs=0.0028)

    @pytest.mark.parametrize("n", [1, 0, -3, 51])
    def test_refusals(self, n: int) -> None:
        with pytest.raises(OutOfDomain, match=f"n is {n}; subgroups hold 2 to 50"):
            chart_constants(n)


class TestBaseline:
    @given(st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=30), st.floats(-5, 5))
    def test_moves_and_scales_with_the_values(
        self, values: list[float], shift: float
    ) -> None:
        if np.ptp(values) < 1e-3:
            return
        plain = individuals_baseline(values)
        moved = individuals_baseline([1000.0 * (x + shift) for x in values])
        assert moved.centre == pytest.approx(1000 * (plain.centre + shift), abs=1e-8)
        assert moved.sigma == pytest.approx(1000 * plain.sigma, rel=1e-9)

    def test_no_moving_range_across_a_break_or_a_value_left_out(self) -> None:
        ranges = moving_ranges([1, 2, 50, 3, 4, 9], left_out=[2], starts=[5])
        np.testing.assert_array_equal(ranges, [np.nan, 1, np.nan, np.nan, 1, np.nan])
        base = individuals_baseline([1, 2, 50, 3, 4, 9], left_out=[2], starts=[5])
        assert base.centre == pytest.approx(19 / 5)
        assert base.sigma == pytest.approx(math.sqrt(math.pi) / 2)
        assert base.left_out == (2,)
        assert base.count == 5

    def test_provisional_until_twenty(self) -> None:
        values = np.random.default_rng(0).normal(size=20)
        assert individuals_baseline(values[:19]).is_provisional
        assert not individuals_baseline(values).is_provisional

    def test_refusals(self) -> None:
        with pytest.raises(TooFew, match="No two neighbouring values"):
            individuals_baseline([1, 2, 3], left_out=[1])
        with pytest.raises(Degenerate, match="All values of the baseline are equal"):
            individuals_baseline([2, 2, 2])
        with pytest.raises(OutOfDomain, match="left_out names value 3; there are 3"):
            individuals_baseline([1, 2, 3], left_out=[3])
        with pytest.raises(OutOfDomain, match="starts names value -1"):
            moving_ranges([1, 2, 3], starts=[-1])
        with pytest.raises(OutOfDomain, match="sigma is 0"):
            Baseline(0.0, 0.0, 5)
        with pytest.raises(NotFinite, match="values holds 1 value"):
            individuals_baseline([1, math.nan, 3])


class TestIndividuals:
    def test_kept_baseline_does_not_follow_a_drift(self) -> None:
        random = np.random.default_rng(1)
        good = individuals_baseline(random.normal(0.0, 1.0, 25))
        drifting = random.normal(0.0, 1.0, 40) + np.linspace(0.0, 8.0, 40)
        found = individuals_chart(drifting, good)
        assert found.baseline is good
        assert 39 in found.beyond
        assert 0 not in found.beyond

    def test_a_jump_shows_in_the_ranges_except_across_a_break(self) -> None:
        values = [0.0, 1.0, 0.0, 9.0, 8.0, 9.0]
        assert individuals_chart(values, STEADY).ranges_beyond == (3,)
        assert individuals_chart(values, STEADY, starts=[3]).ranges_beyond == ()

    @given(st.lists(st.floats(-6.0, 6.0), min_size=1, max_size=30))
    def test_mirror_image(self, values: list[float]) -> None:
        plain = individuals_chart(values, STEADY)
        mirrored = individuals_chart([-x for x in values], STEADY)
        assert mirrored.beyond == plain.beyond

    def test_false_alarms_of_a_known_sigma(self) -> None:
        """With known centre and sigma one value in 370 lies beyond the limits."""
        values = np.random.default_rng(11).normal(size=400_000)
        share = len(individuals_chart(values, STEADY).beyond) / 400_000
        # Binomial standard deviation 8.2e-5: four of them.
        assert share == pytest.approx(0.0026998, abs=3.3e-4)


class TestMeanRange:
    def test_against_the_formulas(self) -> None:
        table = np.random.default_rng(3).normal(10.0, 0.2, (20, 4))
        found = mean_range_chart(table)
        mean_range = np.ptp(table, axis=1).mean()
        # A2 = 0.729, D4 = 2.282 for n = 4 (ISO 7870-2), to their three decimals.
        assert found.upper - found.grand_mean == pytest.approx(
            0.729 * mean_range, rel=1e-3
        )
        assert found.upper_range == pytest.approx(2.282 * mean_range, rel=1e-3)
        assert found.lower_range == 0.0
        assert found.sigma == pytest.approx(0.2, rel=0.2)

    def test_kept_baseline(self) -> None:
        found = mean_range_chart([[0.0, 0.1], [5.0, 5.1]], STEADY)
        assert found.grand_mean == 0.0
        assert found.beyond == (1,)

    @pytest.mark.parametrize(
        ("table", "error", "message"),
        [
            ([1, 2, 3], BadShape, r"subgroups must have shape \(N, 2\)"),
            ([[1], [2]], BadShape, "two or more values each"),
            ([[1, 2], [3]], BadShape, "subgroups differ in size"),
            (np.empty((0, 3)), TooFew, "subgroups holds 0 points"),
            ([[1, math.nan]], NotFinite, "subgroups holds 1 value"),
            ([[1, 1], [2, 2]], Degenerate, "range of zero"),
        ],
    )
    def test_refusals(self, table: object, error: type, message: str) -> None:
        with pytest.raises(error, match=message):
            mean_range_chart(table)  # type: ignore[arg-type]


class TestAttributes:
    def test_limits_follow_the_size_of_the_sample(self) -> None:
        found = proportions_chart([10, 40], [100, 400])
        assert found.mean_proportion == pytest.approx(0.1)
        np.testing.assert_allclose(found.upper, [0.19, 0.145], atol=1e-12)

    def test_limits_are_cut_at_what_can_be(self) -> None:
        assert proportions_chart([1, 0], [10, 10]).lower[0] == 0.0
        assert proportions_chart([10, 9], [10, 10]).upper[0] == 1.0
        assert counts_chart([1, 2, 1]).lower == 0.0

    def test_kept_means(self) -> None:
        assert proportions_chart([30], [100], 0.1).beyond == (0,)
        assert counts_chart([40], 16.0).beyond == (0,)

    def test_refusals(self) -> None:
        with pytest.raises(OutOfDomain, match="between 0 and the size"):
            proportions_chart([5], [4])
        with pytest.raises(OutOfDomain, match=r"mean_proportion is 1\.5"):
            proportions_chart([1], [4], 1.5)
        with pytest.raises(Degenerate, match="mean proportion is 0"):
            proportions_chart([0, 0], [4, 4])
        with pytest.raises(BadShape, match="counts has 1, sizes has 2"):
            proportions_chart([1], [4, 4])
        with pytest.raises(OutOfDomain, match="holds a negative value"):
            counts_chart([-1, 3])
        with pytest.raises(Degenerate, match="All counts are zero"):
            counts_chart([0, 0])


class TestEwma:
    @given(
        st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=30),
        st.floats(0.05, 1.0),
    )
    def test_against_the_recursion(self, values: list[float], weight: float) -> None:
        found = ewma_chart(values, Baseline(0.5, 1.3, 25), weight=weight)
        average = 0.5
        for step, value in enumerate(values):
            average = weight * value + (1 - weight) * average
            assert found.averages[step] == pytest.approx(average, abs=1e-12)

    def test_weight_one_is_the_individuals_chart(self) -> None:
        values = [0.0, 3.1, -3.2, 2.9]
        assert ewma_chart(values, STEADY, weight=1.0).beyond == (1, 2)
        assert individuals_chart(values, STEADY).beyond == (1, 2)

    def test_limits_widen_to_their_final_distance(self) -> None:
        upper = ewma_chart(np.zeros(200), STEADY, weight=0.2).upper
        assert np.all(np.diff(upper) >= 0)
        assert upper[-1] == pytest.approx(3 * math.sqrt(0.2 / 1.8), rel=1e-9)

    def test_variance_of_the_average(self) -> None:
        """The stated limits are three standard deviations of the average itself."""
        draws = np.random.default_rng(5).normal(size=(20_000, 6))
        averages = np.array([ewma_chart(row, STEADY).averages for row in draws])
        upper = ewma_chart(np.zeros(6), STEADY).upper
        # A standard deviation of 20,000 values is known to 0.5 %.
        np.testing.assert_allclose(3 * averages.std(axis=0), upper, rtol=0.02)

    def test_sees_a_small_shift_that_the_individuals_chart_misses(self) -> None:
        values = np.tile([1.3, 0.7], 15)
        assert individuals_chart(values, STEADY).beyond == ()
        assert ewma_chart(values, STEADY).beyond != ()

    @pytest.mark.parametrize("weight", [0.0, -0.1, 1.1])
    def test_weight_outside_its_range(self, weight: float) -> None:
        with pytest.raises(OutOfDomain, match="above 0 and up to 1"):
            ewma_chart([1.0], STEADY, weight=weight)

    def test_width(self) -> None:
        with pytest.raises(OutOfDomain, match="width is 0"):
            ewma_chart([1.0], STEADY, width=0.0)


def in_words(z: list[float], rules: str) -> set[tuple[int, int]]:
    """Apply the rules as their texts read, one window after the other."""

    def last(count: int, at: int) -> list[float]:
        return z[max(0, at - count + 1) : at + 1]

    def beyond(sigmas: float, enough: int, run: int, at: int) -> bool:
        for side in (1, -1):
            marks = [side * value > sigmas for value in last(run, at)]
            if sum(marks) >= enough and marks[-1]:
                return True
        return False

    def full(run: int, at: int) -> list[float] | None:
        window = last(run, at)
        return window if len(window) == run else None

    def steps(window: list[float]) -> list[float]:
        return [b - a for a, b in pairwise(window)]

    fired: set[tuple[int, int]] = set()
    for at in range(len(z)):
        truths = {
            "three sigma": beyond(3, 1, 1, at),
            "two of three": beyond(2, 2, 3, at),
            "four of five": beyond(1, 4, 5, at),
            "eight": beyond(0, 8, 8, at),
            "nine": beyond(0, 9, 9, at),
        }
        six, fourteen = full(6, at), full(14, at)
        truths["trend"] = six is not None and (
            all(step > 0 for step in steps(six)) or all(step < 0 for step in steps(six))
        )
        truths["alternating"] = fourteen is not None and all(
            a * b < 0 for a, b in pairwise(steps(fourteen))
        )
        fifteen, eight = full(15, at), full(8, at)
        truths["hugging"] = fifteen is not None and all(abs(v) < 1 for v in fifteen)
        truths["avoiding"] = (
            eight is not None
            and all(abs(v) > 1 for v in eight)
            and min(eight) < 0 < max(eight)
        )
        names = {
            "western electric": [
                "three sigma",
                "two of three",
                "four of five",
                "eight",
            ],
            "nelson": [
                "three sigma",
                "nine",
                "trend",
                "alternating",
                "two of three",
                "four of five",
                "hugging",
                "avoiding",
            ],
        }[rules]
        fired |= {(i + 1, at) for i, name in enumerate(names) if truths[name]}
    return fired


def fired(found: tuple) -> set[tuple[int, int]]:
    return {(each.rule, each.index) for each in found}


class TestRules:
    @given(series)
    def test_western_electric_as_its_text_reads(self, z: list[float]) -> None:
        assert fired(western_electric(z)) == in_words(z, "western electric")

    @given(series)
    def test_nelson_as_its_text_reads(self, z: list[float]) -> None:
        assert fired(nelson(z)) == in_words(z, "nelson")

    @given(
        st.lists(st.sampled_from([0.25, 0.5, -0.75, 1.25, -1.5]), min_size=8),
        st.sampled_from([1, -1]),
    )
    def test_long_runs_as_their_texts_read(self, z: list[float], side: int) -> None:
        """Few heights, so that runs of eight to fifteen do occur."""
        for rising in (z, [side * abs(value) for value in z]):
            assert fired(nelson(rising)) == in_words(rising, "nelson")

    def test_alternating_and_rising_runs_do_fire(self) -> None:
        zigzag = [0.5 if i % 2 else -0.5 for i in range(16)]
        assert {(4, 13), (4, 14), (4, 15)} <= fired(nelson(zigzag))
        assert (3, 5) in fired(nelson([0.1, 0.2, 0.3, 0.4, 0.5, 0.6]))
        assert (3, 5) not in fired(nelson([0.1, 0.2, 0.3, 0.3, 0.5, 0.6]))

    @given(series)
    def test_mirror_image(self, z: list[float]) -> None:
        mirrored = [-value for value in z]
        assert fired(nelson(mirrored)) == fired(nelson(z))
        assert fired(western_electric(mirrored)) == fired(western_electric(z))

    def test_the_two_sets_are_kept_apart(self) -> None:
        eight = [0.5] * 8
        assert fired(western_electric(eight)) == {(4, 7)}
        assert fired(nelson(eight)) == set()

    def test_false_alarms_of_the_western_electric_set(self) -> None:
        """About one signal-free stretch in 92 values (Champ and Woodall 1987)."""
        random = np.random.default_rng(23)
        lengths = []
        for _ in range(1500):
            found = western_electric(random.normal(size=1200))
            lengths.append(found[0].index + 1 if found else 1200)
        # 91.75 published; the standard error of the mean of 1500 is about 2.3.
        assert np.mean(lengths) == pytest.approx(91.75, abs=9.0)

    def test_no_run_across_a_break(self) -> None:
        values = [10.5] * 12
        base = Baseline(10.0, 1.0, 25)
        assert fired(signals(values, base)) == {(4, i) for i in range(7, 12)}
        assert signals(values, base, starts=[6]) == ()
        assert fired(signals(values, base, nelson, starts=[3])) == {(2, 11)}

    def test_break_outside_the_series(self) -> None:
        with pytest.raises(OutOfDomain, match="outside the 3"):
            signals([1, 2, 3], STEADY, starts=[7])

    def test_empty(self) -> None:
        assert western_electric([]) == nelson([]) == ()
