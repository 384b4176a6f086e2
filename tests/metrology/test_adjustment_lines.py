"""Straight lines, level networks and trilateration: cross-checks and refusals."""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize

from lab.metrology.adjustment import (
    HeightDifference,
    NotConverged,
    calibration_line,
    errors_in_both_line,
    level_network,
    trilaterate,
)
from lab.metrology.errors import BadShape, Degenerate, OutOfDomain, TooFew

seeds = st.integers(0, 2**32 - 1)


def readings(seed: int, count: int = 12):
    random = np.random.default_rng(seed)
    x = np.sort(random.uniform(-5.0, 5.0, count))
    return random, x, 0.7 - 1.3 * x + random.normal(0.0, 0.1, count)


@given(seeds)
def test_line_agrees_with_statsmodels(seed):
    random, x, y = readings(seed)
    u_y = random.uniform(0.5, 2.0, len(x))
    ours = calibration_line(x, y, u_y=u_y)
    theirs = sm.WLS(y, sm.add_constant(x), weights=1 / u_y**2).fit()
    spread = theirs.cov_params()
    assert_allclose([ours.intercept, ours.slope], theirs.params, rtol=1e-9)
    assert_allclose([ours.u_intercept, ours.u_slope], theirs.bse, rtol=1e-9)
    assert_allclose(ours.covariance, spread[0, 1], rtol=1e-8, atol=1e-12)
    predicted = theirs.get_prediction([[1.0, 2.5]])
    assert_allclose(ours.at(2.5), predicted.predicted_mean[0], rtol=1e-9)
    assert_allclose(ours.u_at(2.5), predicted.se_mean[0], rtol=1e-9)
    assert_allclose(ours.x_for(ours.at(2.5)), 2.5, rtol=1e-12)


@given(seeds)
def test_line_through_the_origin_agrees_with_statsmodels(seed):
    _, x, y = readings(seed)
    ours = calibration_line(x, y, through_origin=True)
    theirs = sm.OLS(y, x).fit()
    assert_allclose(ours.slope, theirs.params[0], rtol=1e-10)
    assert_allclose(ours.u_slope, theirs.bse[0], rtol=1e-10)
    assert (ours.intercept, ours.u_intercept, ours.correlation) == (0.0, 0.0, 0.0)


@given(seeds)
def test_line_far_from_the_origin_keeps_its_digits(seed):
    """Shifting x moves the intercept only; 1e6 costs six of sixteen digits."""
    _, x, y = readings(seed)
    near, far = calibration_line(x, y), calibration_line(x + 1e6, y)
    assert_allclose(far.slope, near.slope, rtol=1e-8)
    assert_allclose(far.u_slope, near.u_slope, rtol=1e-8)
    assert_allclose(far.at(1e6 + 1.0), near.at(1.0), rtol=0, atol=1e-8)


@given(seeds)
def test_errors_in_both_agree_with_an_adjustment_of_every_coordinate(seed):
    """SciPy moves the line and each point's true x; the sum that it makes least is
    the same, and so is the curvature at its foot.
    """
    random, x, y = readings(seed)
    u_x, u_y = random.uniform(0.05, 0.2, (2, len(x)))
    measured = x + random.normal(0.0, u_x)

    def residuals(unknowns):
        intercept, slope, true_x = unknowns[0], unknowns[1], unknowns[2:]
        off = (y - intercept - slope * true_x) / u_y
        return np.concatenate([(measured - true_x) / u_x, off])

    start = np.concatenate([[0.0, -1.0], measured])
    theirs = optimize.least_squares(residuals, start, xtol=1e-15, ftol=1e-15, gtol=None)
    ours = errors_in_both_line(measured, y, u_x, u_y)
    # SciPy differentiates numerically, which costs half of the digits.
    assert_allclose([ours.intercept, ours.slope], theirs.x[:2], rtol=1e-6, atol=1e-7)
    assert_allclose(
        ours.variance_factor, 2 * theirs.cost / ours.degrees_of_freedom, rtol=1e-9
    )
    spread = np.linalg.inv(theirs.jac.T @ theirs.jac)[:2, :2]
    assert_allclose(
        [ours.u_intercept, ours.u_slope], np.sqrt(np.diag(spread)), rtol=1e-5
    )
    assert_allclose(ours.covariance, spread[0, 1], rtol=1e-4, atol=1e-8)


@given(seeds)
def test_exchanged_axes_give_the_same_line(seed):
    random, x, y = readings(seed)
    u_x, u_y = random.uniform(0.05, 0.2, (2, len(x)))
    one = errors_in_both_line(x, y, u_x, u_y)
    other = errors_in_both_line(y, x, u_y, u_x)
    assert_allclose(one.slope * other.slope, 1.0, rtol=1e-9)
    assert_allclose(one.variance_factor, other.variance_factor, rtol=1e-8)


@given(seeds)
def test_tiny_errors_in_x_are_none(seed):
    random, x, y = readings(seed)
    u_y = random.uniform(0.5, 2.0, len(x))
    both = errors_in_both_line(x, y, np.full(len(x), 1e-9), u_y)
    alone = calibration_line(x, y, u_y=u_y)
    assert_allclose(both.slope, alone.slope, rtol=1e-9)
    # Here the stated uncertainties count, there the scatter about the line as well.
    assert_allclose(both.u_slope * alone.standard_deviation, alone.u_slope, rtol=1e-9)


def test_correlated_errors_along_the_line_say_little_about_it():
    """Errors that move points along the line move no point away from it."""
    x = np.arange(6.0)
    u = np.full(6, 0.1)
    along = errors_in_both_line(x, x + 0.01 * (-1) ** x, u, u, correlation=0.9)
    across = errors_in_both_line(x, x + 0.01 * (-1) ** x, u, u, correlation=-0.9)
    assert along.u_slope < across.u_slope / 3


@pytest.mark.parametrize(
    ("run", "error", "message"),
    [
        (lambda: calibration_line([1, 2], [1, 2]), TooFew, "nothing to estimate"),
        (lambda: calibration_line([1, 1, 1], [1, 2, 3]), Degenerate, "x are equal"),
        (
            lambda: calibration_line([1, 2, 3], [1, 2, 3], u_y=[1, -1, 1]),
            OutOfDomain,
            "u_y 1 is -1",
        ),
        (
            lambda: calibration_line([1, 2, 3], [1, 2, 3], u_y=[1, 1]),
            BadShape,
            "u_y has 2",
        ),
        (
            lambda: calibration_line([1, 2, 3], [0, 0, 0]).x_for(2.0),
            Degenerate,
            "level",
        ),
        (
            lambda: errors_in_both_line([1, 2], [1, 2], [1, 1], [1, 1]),
            TooFew,
            "at least 3",
        ),
        (
            lambda: errors_in_both_line(
                [1, 2, 3], [1, 2, 3], [1] * 3, [1] * 3, correlation=1.0
            ),
            OutOfDomain,
            "above -1 and below 1",
        ),
    ],
)
def test_lines_refuse_bad_input(run, error, message):
    with pytest.raises(error, match=message):
        run()


def network(seed: int):
    random = np.random.default_rng(seed)
    heights = dict(zip("ABCDE", random.uniform(0.0, 50.0, 5), strict=True))
    pairs = ["AB", "BC", "CD", "DE", "EA", "AC", "BD"]
    runs = [
        HeightDifference(
            start,
            to,
            heights[to] - heights[start] + random.normal(0.0, 0.002),
            weight=random.uniform(0.5, 2.0),
        )
        for start, to in pairs
    ]
    return heights, runs


@given(seeds)
def test_level_network_finds_the_heights(seed):
    heights, runs = network(seed)
    solved = level_network(runs, {"A": heights["A"]})
    assert solved.adjustment.degrees_of_freedom == 3
    for name, height in solved.heights.items():
        # Seven runs of 2 mm scatter: six standard deviations are ample.
        assert abs(height - heights[name]) < 0.02
        assert solved.u_heights[name] > 0


@given(seeds)
def test_direction_of_a_run_does_not_matter(seed):
    heights, runs = network(seed)
    turned = [
        HeightDifference(run.to, run.start, -run.difference, run.weight) for run in runs
    ]
    one = level_network(runs, {"A": heights["A"]})
    other = level_network(turned, {"A": heights["A"]})
    for name in one.heights:
        assert_allclose(other.heights[name], one.heights[name], rtol=1e-11)


def test_level_network_refuses_what_it_cannot_solve():
    run = HeightDifference("A", "B", 1.0)
    with pytest.raises(TooFew, match="No height is held"):
        level_network([run], {})
    with pytest.raises(TooFew, match="nothing to adjust"):
        level_network([run], {"A": 0.0, "B": 1.0})
    loose = [run, HeightDifference("C", "D", 1.0)]
    with pytest.raises(Degenerate, match="ties C, D to a held height"):
        level_network(loose, {"A": 0.0})
    with pytest.raises(OutOfDomain, match="Weight 0 is 0"):
        level_network([HeightDifference("A", "B", 1.0, weight=0.0)], {"A": 0.0})
    alone = level_network([run], {"A": 2.0})
    assert alone.heights == {"B": 3.0}
    assert alone.u_heights == {}


@given(seeds)
def test_trilateration_returns_to_the_point(seed):
    random = np.random.default_rng(seed)
    stations = random.uniform(-3000.0, 3000.0, (8, 3))
    point = random.uniform(-500.0, 500.0, 3)
    distances = np.linalg.norm(stations - point, axis=1)
    found = trilaterate(stations, distances, point + random.normal(0.0, 100.0, 3))
    assert_allclose(found.position, point, rtol=0, atol=1e-8)
    turn, _ = np.linalg.qr(random.normal(size=(3, 3)))
    turned = trilaterate(stations @ turn.T, distances, turn @ (point + 10.0))
    assert_allclose(turned.position, turn @ point, rtol=0, atol=1e-8)


def test_trilateration_refuses_what_it_cannot_solve():
    stations = [[0.0, 0.0], [10.0, 0.0], [0.0, 10.0]]
    with pytest.raises(BadShape, match="equally long"):
        trilaterate(stations, [1.0, 2.0], [1.0, 1.0])
    with pytest.raises(TooFew, match="as many stations"):
        trilaterate(stations[:1], [1.0], [1.0, 1.0])
    with pytest.raises(OutOfDomain, match="Distance 1 is -2"):
        trilaterate(stations, [1.0, -2.0, 3.0], [1.0, 1.0])
    with pytest.raises(Degenerate, match="lies on station 0"):
        trilaterate(stations, [7.0, 7.0, 7.0], [0.0, 0.0])
    in_line = [[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]]
    with pytest.raises((Degenerate, NotConverged), match=r"determine|depends|lowers"):
        trilaterate(in_line, [5.0, 5.0, 15.0], [5.0, 0.0])
    with pytest.raises(BadShape, match="2 or 3 coordinates"):
        trilaterate([[0.0] * 4] * 4, [1.0] * 4, [1.0] * 4)
