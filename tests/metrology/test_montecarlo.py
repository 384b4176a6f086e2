"""Propagation of distributions by Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from lab.metrology.errors import NotFinite, OutOfDomain
from lab.metrology.uncertainty import (
    Budget,
    Input,
    Normal,
    NotConverged,
    Rectangular,
    StudentT,
    combine,
    compare,
    expand,
    propagate,
)
from lab.metrology.uncertainty.montecarlo import numerical_tolerance

SUM_OF_NORMALS = Budget(
    "Y",
    [Input(f"X{i}", 0.0, Normal(1.0), sensitivity=1.0) for i in range(4)],
    estimate=0.0,
)


def test_the_same_seed_gives_the_same_numbers() -> None:
    one = propagate(SUM_OF_NORMALS, seed=4, trials=50_000)
    assert one == propagate(SUM_OF_NORMALS, seed=4, trials=50_000)
    assert one != propagate(SUM_OF_NORMALS, seed=5, trials=50_000)


def test_four_normals_of_jcgm_101() -> None:
    found = propagate(SUM_OF_NORMALS, seed=1, trials=1_000_000)
    # Three standard errors of a million trials: 3 * 2/1000, and 3 * 2/sqrt(2)/1000.
    assert found.estimate == pytest.approx(0.0, abs=0.006)
    assert found.u == pytest.approx(2.0, abs=0.005)
    assert found.symmetric_high == pytest.approx(3.92, abs=0.02)
    # The shortest interval is flat at its optimum, so its ends scatter more.
    assert found.high - found.low == pytest.approx(7.84, abs=0.03)


def test_the_shortest_interval_of_a_lopsided_distribution() -> None:
    # The square of a standard normal: chi-squared with one degree of freedom, whose
    # shortest 95 % interval starts at zero (JCGM 101, 9.4 has such a case).
    budget = Budget("y", [Input("x", 0.0, Normal(1.0))], model=lambda x: x["x"] ** 2)
    found = propagate(budget, seed=2, trials=1_000_000)
    assert found.low == pytest.approx(0.0, abs=1e-4)
    # The density there is 0.03, so a quantile of a million trials is good to 0.007.
    assert found.high == pytest.approx(stats.chi2.ppf(0.95, 1), abs=0.025)
    assert found.symmetric_high > found.high
    # The law of propagation sees a slope of zero there, and nothing else.
    assert combine(budget).u == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("probability", [0.3, 0.5, 0.95, 0.99])
def test_intervals_are_those_of_a_full_sort(probability: float) -> None:
    budget = Budget(
        "y", [Input("x", 0.0, StudentT(1.0, 5))], model=lambda x: np.exp(x["x"] / 4)
    )
    found = propagate(budget, probability, seed=9, trials=20_000)
    drawn = 0.0 + np.concatenate(
        [
            StudentT(1.0, 5).draw(generator, 10_000)
            for generator in [np.random.default_rng(9)]
            for _ in range(2)
        ]
    )
    ordered = np.sort(np.exp(drawn / 4))
    held = int(probability * 20_000 + 0.5)
    widths = ordered[held:] - ordered[: 20_000 - held]
    start = int(np.argmin(widths))
    assert found.low == ordered[start]
    assert found.high == ordered[start + held]
    middle = (20_000 - held) // 2
    assert found.symmetric_low == ordered[middle]
    assert found.symmetric_high == ordered[middle + held]


def test_adaptive_trials_reach_the_digits_asked_for() -> None:
    inputs = [
        Input("a", 10.0, Normal(0.3), sensitivity=1.0),
        Input("b", 0.0, Rectangular(0.4), sensitivity=1.0),
    ]
    budget = Budget("y", inputs, estimate=10.0)
    exact_u = math.hypot(0.3, 0.4 / math.sqrt(3))
    one = propagate(budget, seed=6, significant_digits=1)
    two = propagate(budget, seed=6, significant_digits=2)
    assert one.tolerance == pytest.approx(0.05)
    assert two.tolerance == pytest.approx(0.005)
    assert one.trials < two.trials
    assert two.u == pytest.approx(exact_u, abs=0.005)
    with pytest.raises(NotConverged, match="do not make 4 digits stable"):
        propagate(budget, seed=6, significant_digits=4, most_trials=50_000)


def test_nothing_uncertain_is_stable_at_once() -> None:
    budget = Budget("y", [Input("x", 3.0, Normal(0.0), sensitivity=1.0)], estimate=3.0)
    found = propagate(budget, seed=1)
    assert (found.estimate, found.u, found.low, found.high) == (3.0, 0.0, 3.0, 3.0)


@pytest.mark.parametrize(
    ("u", "digits", "expected"),
    [
        (0.035, 2, 0.0005),
        (0.00035, 1, 0.00005),
        (35.0, 2, 0.5),
        (0.0996, 2, 0.005),
        (9.5, 1, 5.0),
        (0.0994, 2, 0.0005),
    ],
)
def test_numerical_tolerance(u: float, digits: int, expected: float) -> None:
    assert numerical_tolerance(u, digits) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("coefficient", [-1.0, -0.4, 0.7, 1.0])
def test_correlated_normals_are_drawn_jointly(coefficient: float) -> None:
    inputs = [
        Input("a", 1.0, Normal(3.0), sensitivity=1.0),
        Input("own", 0.0, Normal(0.5), sensitivity=1.0),
        Input("b", 2.0, Normal(4.0), sensitivity=1.0),
    ]
    matrix = np.eye(3)
    matrix[0, 2] = matrix[2, 0] = coefficient
    budget = Budget("y", inputs, estimate=3.0, correlation=matrix)
    found = propagate(budget, seed=8, trials=400_000)
    # The standard deviation of 400,000 draws is known to 0.11 %; three of these.
    assert found.u == pytest.approx(combine(budget).u, rel=0.0035)


def test_a_normal_of_few_degrees_of_freedom_is_drawn_from_t() -> None:
    stated = Budget(
        "y",
        [Input("x", 0.0, Normal(1.0), degrees_of_freedom=8.0, sensitivity=1.0)],
        estimate=0.0,
    )
    drawn = Budget(
        "y", [Input("x", 0.0, StudentT(1.0, 8.0), sensitivity=1.0)], estimate=0.0
    )
    assert propagate(stated, seed=3, trials=20_000) == propagate(
        drawn, seed=3, trials=20_000
    )


def test_clause_8_validates_a_linear_budget_and_not_a_curved_one() -> None:
    found = propagate(SUM_OF_NORMALS, seed=12, significant_digits=2)
    agreement = compare(expand(combine(SUM_OF_NORMALS)), found, significant_digits=2)
    assert agreement.validated
    assert agreement.tolerance == 0.05
    # Microwave mismatch of JCGM 101, 9.4: 1 - gamma squared, at gamma = 0.
    curved = Budget(
        "loss",
        [Input("x1", 0.005, Normal(0.005)), Input("x2", 0.0, Normal(0.005))],
        model=lambda x: x["x1"] ** 2 + x["x2"] ** 2,
    )
    drawn = propagate(curved, seed=12, significant_digits=2)
    assert not compare(expand(combine(curved)), drawn, significant_digits=2).validated


def test_refusals() -> None:
    with pytest.raises(OutOfDomain, match="probability must lie between 0 and 1"):
        propagate(SUM_OF_NORMALS, 1.0, seed=1)
    with pytest.raises(OutOfDomain, match="trials must be at least 10000"):
        propagate(SUM_OF_NORMALS, seed=1, trials=9_999)
    with pytest.raises(OutOfDomain, match="significant_digits must be 1 to 4"):
        propagate(SUM_OF_NORMALS, seed=1, significant_digits=0)
    with pytest.raises(OutOfDomain, match="u must be finite and greater than zero"):
        numerical_tolerance(0.0, 2)
    root = Budget(
        "root",
        [Input("x", 1.0, Normal(1.0))],
        model=lambda x: np.sqrt(np.where(x["x"] < 0, np.nan, x["x"])),
    )
    with pytest.raises(NotFinite, match=r"no number for [0-9]+ of 10000 draws"):
        propagate(root, seed=1, trials=10_000)
    matrix = np.array([[1.0, 0.5], [0.5, 1.0]])
    inputs = [
        Input("a", 0.0, Rectangular(1.0), sensitivity=1.0),
        Input("b", 0.0, Normal(1.0), sensitivity=1.0),
    ]
    with pytest.raises(OutOfDomain, match="a is correlated and not drawn as normal"):
        propagate(Budget("y", inputs, estimate=0.0, correlation=matrix), seed=1)
    wide = propagate(SUM_OF_NORMALS, 0.99, seed=1, trials=20_000)
    with pytest.raises(OutOfDomain, match="different probabilities"):
        compare(expand(combine(SUM_OF_NORMALS)), wide)
