"""Least squares against general-purpose libraries, and what it may not depend on."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize

from lab.metrology.adjustment import (
    NotConverged,
    adjust,
    adjust_nonlinear,
    summarise,
)
from lab.metrology.errors import (
    BadShape,
    Degenerate,
    NotFinite,
    OutOfDomain,
    TooFew,
)

seeds = st.integers(0, 2**32 - 1)


def problem(seed: int, count: int = 12, unknowns: int = 3):
    random = np.random.default_rng(seed)
    design = random.normal(size=(count, unknowns))
    return random, design, random.normal(size=count)


def covariance_of(random, count: int):
    root = random.normal(size=(count, count))
    return root @ root.T + count * np.eye(count)


# Both sides solve well-conditioned systems of a dozen observations in float64; they
# differ by rounding alone, a few hundred units in the last place.
CLOSE = {"rtol": 1e-10, "atol": 1e-12}


@given(seeds)
def test_weights_agree_with_statsmodels(seed):
    random, design, observations = problem(seed)
    weights = random.uniform(0.2, 5.0, len(observations))
    ours = adjust(design, observations, weights=weights)
    theirs = sm.WLS(observations, design, weights=weights).fit()
    assert_allclose(ours.parameters, theirs.params, **CLOSE)
    assert_allclose(ours.covariance, theirs.cov_params(), **CLOSE)
    assert_allclose(ours.residuals, theirs.resid, **CLOSE)
    assert_allclose(ours.variance_factor, theirs.scale, **CLOSE)
    assert ours.degrees_of_freedom == theirs.df_resid
    leverage = sm.OLS(theirs.model.wendog, theirs.model.wexog).fit().get_influence()
    assert_allclose(ours.redundancy, 1 - leverage.hat_matrix_diag, **CLOSE)


@given(seeds)
def test_full_covariance_agrees_with_statsmodels(seed):
    random, design, observations = problem(seed)
    covariance = covariance_of(random, len(observations))
    ours = adjust(design, observations, covariance=covariance)
    theirs = sm.GLS(observations, design, sigma=covariance).fit()
    assert_allclose(ours.parameters, theirs.params, **CLOSE)
    assert_allclose(ours.covariance, theirs.cov_params(), **CLOSE)
    # By the definition: the diagonal of I - A N^-1 A^T Q^-1.
    inverse = np.linalg.inv(covariance)
    normal = np.linalg.inv(design.T @ inverse @ design)
    hat = design @ normal @ design.T @ inverse
    assert_allclose(ours.redundancy, 1 - np.diag(hat), rtol=1e-8, atol=1e-10)
    assert_allclose(ours.redundancy.sum(), ours.degrees_of_freedom, rtol=1e-10)


@given(seeds)
def test_diagonal_covariance_is_weights(seed):
    random, design, observations = problem(seed)
    variances = random.uniform(0.2, 5.0, len(observations))
    by_weights = adjust(design, observations, weights=1 / variances)
    by_covariance = adjust(design, observations, covariance=np.diag(variances))
    assert_allclose(by_weights.parameters, by_covariance.parameters, **CLOSE)
    assert_allclose(by_weights.redundancy, by_covariance.redundancy, **CLOSE)


@given(seeds)
def test_order_of_observations_does_not_matter(seed):
    random, design, observations = problem(seed)
    order = random.permutation(len(observations))
    straight = adjust(design, observations)
    mixed = adjust(design[order], observations[order])
    assert_allclose(mixed.parameters, straight.parameters, **CLOSE)
    assert_allclose(mixed.residuals, straight.residuals[order], **CLOSE)


@given(seeds, st.floats(1e-6, 1e6))
def test_unit_of_a_parameter_does_not_matter(seed, factor):
    _, design, observations = problem(seed)
    scaled = design * [factor, 1.0, 1.0]
    straight, other = adjust(design, observations), adjust(scaled, observations)
    assert_allclose(other.parameters[0] * factor, straight.parameters[0], rtol=1e-8)
    assert_allclose(other.residuals, straight.residuals, rtol=1e-8, atol=1e-10)


def test_parameters_without_redundancy_have_cofactors_only():
    solved = adjust(np.eye(2), [1.0, 2.0])
    assert solved.degrees_of_freedom == 0
    assert_allclose(solved.cofactors, np.eye(2))
    with pytest.raises(TooFew, match="variance factor cannot be estimated"):
        _ = solved.variance_factor


@pytest.mark.parametrize(
    ("design", "observations", "more", "error", "message"),
    [
        ([1.0, 2.0], [1.0, 2.0], {}, BadShape, "one observation a row"),
        (np.eye(3), [1.0, 2.0], {}, BadShape, "equally long"),
        (np.eye(3)[:2], [1.0, 2.0], {}, TooFew, "cannot determine 3 parameters"),
        ([[1.0, 0.0]] * 3, [1.0] * 3, {}, Degenerate, "depends on parameter 1"),
        ([[1.0, 2.0]] * 3, [1.0] * 3, {}, Degenerate, "only 1 of 2 parameters"),
        (np.eye(2), [1.0, np.nan], {}, NotFinite, "observations"),
        (np.eye(2), [1.0, 2.0], {"weights": [1.0]}, BadShape, "but 1 weights"),
        (np.eye(2), [1.0, 2.0], {"weights": [1, 0]}, OutOfDomain, "Weight 1 is 0"),
        (np.eye(2), [1.0, 2.0], {"covariance": [[1, 0]]}, BadShape, r"\(2, 2\)"),
        (
            np.eye(2),
            [1.0, 2.0],
            {"covariance": [[1, 2], [0, 1]]},
            OutOfDomain,
            "symmetric",
        ),
        (
            np.eye(2),
            [1.0, 2.0],
            {"covariance": [[1, 2], [2, 1]]},
            OutOfDomain,
            "positive definite",
        ),
        (
            np.eye(2),
            [1.0, 2.0],
            {"covariance": np.eye(2), "weights": [1, 1]},
            BadShape,
            "not both",
        ),
    ],
)
def test_bad_input_is_refused(design, observations, more, error, message):
    with pytest.raises(error, match=message):
        adjust(design, observations, **more)


@given(seeds)
def test_nonlinear_agrees_with_scipy(seed):
    random = np.random.default_rng(seed)
    x = np.linspace(0.0, 4.0, 15)
    truth = random.uniform([1.0, -1.0], [3.0, -0.3])
    y = truth[0] * np.exp(truth[1] * x) + random.normal(0.0, 0.01, len(x))

    def model(p):
        return p[0] * np.exp(p[1] * x)

    def jacobian(p):
        return np.column_stack([np.exp(p[1] * x), p[0] * x * np.exp(p[1] * x)])

    solved = adjust_nonlinear(model, jacobian, y, [2.0, -0.5])
    ours = solved.adjustment
    theirs, spread = optimize.curve_fit(
        lambda _, a, b: model([a, b]), x, y, p0=[2.0, -0.5], xtol=1e-12, ftol=1e-12
    )
    # SciPy stops at a relative change of 1e-12 of the sum of squares, which leaves
    # the parameters with about half as many digits.
    assert_allclose(ours.parameters, theirs, rtol=1e-6)
    assert_allclose(ours.covariance, spread, rtol=1e-4)
    assert_allclose(ours.residuals, y - model(ours.parameters), rtol=0, atol=1e-15)
    assert_allclose(solved.iterates[0], [2.0, -0.5])
    assert_allclose(solved.iterates[-1], ours.parameters)


def test_nonlinear_that_cannot_settle_is_told():
    def model(p):
        return np.array([p[0], p[0] ** 2])

    def jacobian(p):
        return np.array([[1.0], [2 * p[0]]])

    with pytest.raises(NotConverged, match="did not settle in 1 steps"):
        adjust_nonlinear(model, jacobian, [3.0, 4.0], [100.0], steps=1)
    with pytest.raises(NotConverged, match="No step lowers the sum"):
        # The wrong sign of the derivatives leads uphill, however short the step.
        adjust_nonlinear(model, lambda p: -jacobian(p), [3.0, 4.0], [1.0])


def test_halved_steps_come_home_from_a_bad_start():
    """A plain Gauss-Newton step from here overshoots and runs away."""

    def model(p):
        return np.arctan(p)

    def jacobian(p):
        return np.array([[1 / (1 + p[0] ** 2)]])

    solved = adjust_nonlinear(model, jacobian, [0.0], [3.0])
    assert abs(solved.adjustment.parameters[0]) < 1e-12


readings = st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=30)


@given(readings)
def test_summary_agrees_with_numpy(values):
    told = summarise(values)
    assert_allclose(told.mean, np.mean(values), rtol=1e-12, atol=1e-10)
    assert_allclose(told.standard_deviation, np.std(values, ddof=1), atol=1e-9)
    assert told.range == max(values) - min(values)
    assert told.degrees_of_freedom == len(values) - 1
    assert_allclose(told.u_mean * len(values) ** 0.5, told.standard_deviation)


@given(st.lists(st.integers(-50, 50), min_size=3, max_size=30), st.integers(0, 10**12))
def test_shift_leaves_the_standard_deviation_as_it_is(values, shift):
    """Whole numbers up to 1e12 are exact in float64; a one-pass form fails here."""
    told, moved = summarise(values), summarise([value + shift for value in values])
    # The mean is rounded at the size of the shift, 1e-4 at the most.
    assert_allclose(moved.mean - shift, told.mean, atol=1e-3)
    assert_allclose(moved.standard_deviation, told.standard_deviation, atol=1e-7)


def test_series_without_spread_has_no_autocorrelation():
    with pytest.raises(Degenerate, match="All values are equal"):
        _ = summarise([1.0, 1.0, 1.0]).lag1_autocorrelation
    with pytest.raises(TooFew, match="at least 2"):
        summarise([1.0])
