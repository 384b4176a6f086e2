"""Combination and expansion of budgets."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
import uncertainties
import uncertainties.umath
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.errors import (
    BadShape,
    Degenerate,
    NotFinite,
    OutOfDomain,
    TooFew,
)
from lab.metrology.uncertainty import (
    Arcsine,
    Budget,
    CoverageMethod,
    DuplicateInput,
    Input,
    Normal,
    Rectangular,
    StudentT,
    combine,
    correlation_between,
    degrees_of_freedom_from_reliability,
    dominance,
    expand,
    from_readings,
    relative_uncertainty_of_s,
    simultaneous_readings,
    student_coverage_factor,
    trapezoid_coverage_factor,
    truncated_dof,
)

SIZES = st.floats(0.01, 10.0)


def linear(*terms: tuple[str, float, float]) -> Budget:
    inputs = [
        Input(name, 0.0, Normal(u), sensitivity=slope) for name, u, slope in terms
    ]
    return Budget("y", inputs, estimate=0.0)


def test_the_uncertainties_package_agrees_on_a_nonlinear_model() -> None:
    inputs = [
        Input("length", 500.0, Normal(0.01)),
        Input("temperature", 23.0, Normal(0.4)),
        Input("expansion", 23.1e-6, Normal(1.2e-6)),
        Input("tilt", 0.02, Normal(0.001)),
    ]
    correlation = np.eye(4)
    correlation[0, 1] = correlation[1, 0] = 0.4

    def model(x: dict[str, np.ndarray]) -> np.ndarray:
        return (
            x["length"]
            / (1 + x["expansion"] * (x["temperature"] - 20.0))
            * np.cos(x["tilt"])
        )

    found = combine(Budget("L20", inputs, model=model, correlation=correlation))
    covariance = np.diag([each.u for each in inputs]) @ correlation
    covariance = covariance @ np.diag([each.u for each in inputs])
    length, temperature, expansion, tilt = uncertainties.correlated_values(
        [each.estimate for each in inputs], covariance.tolist()
    )
    expected = length / (1 + expansion * (temperature - 20.0))
    expected = expected * uncertainties.umath.cos(tilt)
    assert found.estimate == pytest.approx(expected.nominal_value, rel=1e-14)
    # Extrapolated differences against exact derivatives.
    assert found.u == pytest.approx(expected.std_dev, rel=1e-8)


def test_differences_are_exact_to_the_fourth_power() -> None:
    inputs = [Input("x", 2.0, Normal(1.5))]
    for power in (1, 2, 3, 4):
        found = combine(
            Budget("y", inputs, model=lambda x, power=power: x["x"] ** power)
        )
        assert found.sensitivities[0] == pytest.approx(power * 2.0 ** (power - 1))


def test_a_stated_sensitivity_is_taken_before_the_model() -> None:
    inputs = [Input("x", 2.0, Normal(0.1), sensitivity=7.0)]
    found = combine(Budget("y", inputs, model=lambda x: x["x"] ** 2))
    assert (found.estimate, found.u) == (4.0, pytest.approx(0.7))


@given(st.lists(SIZES, min_size=2, max_size=6))
def test_contributions_stand_largest_first_and_shares_add_up(
    sizes: list[float],
) -> None:
    found = combine(linear(*((f"x{i}", u, 1.0) for i, u in enumerate(sizes))))
    parts = [abs(each.contribution) for each in found.contributions]
    assert parts == sorted(parts, reverse=True)
    assert math.fsum(each.share for each in found.contributions) == pytest.approx(1.0)
    assert found.u == pytest.approx(math.hypot(*sizes))


@given(st.permutations(["a", "b", "c", "d"]))
def test_the_order_of_the_inputs_does_not_matter(order: list[str]) -> None:
    sizes = {"a": 1.0, "b": 0.5, "c": 0.2, "d": 3.0}
    found = combine(linear(*((name, sizes[name], 1.0) for name in order)))
    # Sums in another order differ by rounding.
    assert found.u == pytest.approx(math.hypot(*sizes.values()), rel=1e-14)
    assert [each.name for each in found.contributions] == ["d", "a", "b", "c"]


@given(st.sampled_from([1e-3, 25.4, 1e6]), SIZES, SIZES)
def test_the_unit_does_not_matter(factor: float, first: float, second: float) -> None:
    one = expand(combine(linear(("a", first, 2.0), ("b", second, -1.0))))
    two = expand(
        combine(linear(("a", first * factor, 2.0), ("b", second * factor, -1.0)))
    )
    assert two.expanded_u == pytest.approx(one.expanded_u * factor, rel=1e-12)


@pytest.mark.parametrize(
    ("coefficient", "expected"), [(1.0, 7.0), (-1.0, 1.0), (0.0, 5.0)]
)
def test_correlation_adds_or_cancels(coefficient: float, expected: float) -> None:
    inputs = [
        Input("a", 0.0, Normal(3.0), sensitivity=1.0),
        Input("b", 0.0, Normal(4.0), sensitivity=1.0),
    ]
    matrix = np.array([[1.0, coefficient], [coefficient, 1.0]])
    found = combine(Budget("y", inputs, estimate=0.0, correlation=matrix))
    assert found.u == pytest.approx(expected)
    assert math.fsum(each.share for each in found.contributions) == pytest.approx(1.0)


def test_correlated_inputs_share_their_degrees_of_freedom() -> None:
    read = simultaneous_readings(
        {
            "V": [5.007, 4.994, 5.005, 4.990, 4.999],
            "I": [0.019663, 0.019639, 0.019640, 0.019685, 0.019678],
        }
    )
    found = combine(
        Budget(
            "R",
            read.inputs,
            model=lambda x: x["V"] / x["I"],
            correlation=read.correlation,
        )
    )
    # Five simultaneous readings: four degrees of freedom (JCGM 100, H.2.4).
    assert found.effective_dof == pytest.approx(4.0)


def test_welch_and_satterthwaite_by_hand() -> None:
    inputs = [
        Input("a", 0.0, StudentT(3.0, 4), sensitivity=1.0),
        Input("b", 0.0, Normal(4.0), degrees_of_freedom=10, sensitivity=1.0),
        Input("c", 0.0, Rectangular(1.0), sensitivity=1.0),
    ]
    found = combine(Budget("y", inputs, estimate=0.0))
    variance = 9 + 16 + 1 / 3
    assert found.effective_dof == pytest.approx(variance**2 / (81 / 4 + 256 / 10))
    assert math.isinf(combine(linear(("a", 1.0, 1.0))).effective_dof)


@pytest.mark.parametrize(
    ("given_dof", "truncated"),
    [
        (16.75, 16.0),
        (18.999999, 19.0),
        (19.0000001, 19.0),
        (18.999, 18.0),
        (1.0, 1.0),
        (math.inf, math.inf),
    ],
)
def test_degrees_of_freedom_are_truncated_once(
    given_dof: float, truncated: float
) -> None:
    assert truncated_dof(given_dof) == truncated


def test_a_chain_of_correlations_is_one_group() -> None:
    matrix = np.eye(4)
    matrix[0, 1] = matrix[1, 0] = 0.5
    matrix[1, 2] = matrix[2, 1] = 0.5
    inputs = [
        Input(name, 0.0, Normal(1.0), degrees_of_freedom=dof, sensitivity=1.0)
        for name, dof in (("a", 20.0), ("b", 8.0), ("c", 30.0), ("d", 5.0))
    ]
    found = combine(Budget("y", inputs, estimate=0.0, correlation=matrix))
    # a, b, c together: variance 3 + 2 (0.5 + 0.5) = 5 with 8; d: 1 with 5.
    assert found.effective_dof == pytest.approx(36 / (25 / 8 + 1 / 5))


def test_a_stated_coverage_factor_has_its_probability() -> None:
    expanded = expand(combine(linear(("a", 1.0, 1.0))), coverage_factor=2.0)
    assert expanded.method is CoverageMethod.STATED
    assert expanded.probability == pytest.approx(0.954499736)
    assert expanded.expanded_u == 2.0


def test_dominance_of_one_two_and_no_rectangle() -> None:
    def found(*terms: tuple[str, float, bool]) -> tuple[str, ...]:
        inputs = [
            Input(
                name,
                0.0,
                Rectangular(u * math.sqrt(3)) if is_rectangle else Normal(u),
                sensitivity=1.0,
            )
            for name, u, is_rectangle in terms
        ]
        return dominance(combine(Budget("y", inputs, estimate=0.0))).names

    assert found(("a", 1.0, True), ("b", 0.3, False)) == ("a",)
    assert found(("a", 1.0, True), ("b", 0.31, False)) == ()
    assert found(("a", 1.0, True), ("b", 0.5, True), ("c", 0.3, False)) == ("a", "b")
    assert found(("a", 1.0, False), ("b", 0.2, True)) == ()


def test_a_rectangle_of_uncertain_width_or_correlated_does_not_dominate() -> None:
    wobbly = Input("a", 0.0, Rectangular(1.0), degrees_of_freedom=8.0, sensitivity=1.0)
    small = Input("b", 0.0, Normal(0.01), sensitivity=1.0)
    assert dominance(combine(Budget("y", [wobbly, small], estimate=0.0))).names == ()
    firm = Input("a", 0.0, Rectangular(1.0), sensitivity=1.0)
    matrix = np.array([[1.0, 0.5], [0.5, 1.0]])
    budget = Budget("y", [firm, small], estimate=0.0, correlation=matrix)
    assert dominance(combine(budget)).names == ()


@pytest.mark.parametrize("probability", [0.9, 0.95, 0.99])
def test_the_trapezoid_factor_has_both_of_its_branches(probability: float) -> None:
    # EA-4/02, S10.13 below p/(2-p), and the flat top above it.
    for beta in (0.0, 0.3, 0.8, 0.97, 1.0):
        spread = math.sqrt((1 + beta**2) / 6)
        if beta <= probability / (2 - probability):
            expected = (1 - math.sqrt((1 - probability) * (1 - beta**2))) / spread
        else:
            expected = probability * (1 + beta) / 2 / spread
        assert trapezoid_coverage_factor(probability, beta) == pytest.approx(expected)


def test_results_of_the_same_inputs_are_correlated() -> None:
    inputs = [Input("a", 1.0, Normal(0.3)), Input("b", 2.0, Normal(0.4))]
    first = combine(Budget("a", inputs, model=lambda x: x["a"]))
    both = combine(Budget("sum", inputs, model=lambda x: x["a"] + x["b"]))
    assert correlation_between(first, both) == pytest.approx(0.6)
    assert correlation_between(first, first) == pytest.approx(1.0)
    with pytest.raises(BadShape, match="same inputs in the same order"):
        correlation_between(first, combine(linear(("a", 1.0, 1.0))))


def test_readings_are_evaluated_by_statistics() -> None:
    read = from_readings("x", [10.1, 10.3, 10.2, 10.2])
    assert read.estimate == pytest.approx(10.2)
    assert read.u == pytest.approx(np.std([1, 3, 2, 2], ddof=1) / 10 / 2)
    assert read.effective_dof == 3.0
    assert degrees_of_freedom_from_reliability(0.5) == 2.0
    # For many readings 1/sqrt(2(n-1)).
    assert relative_uncertainty_of_s(1000) == pytest.approx(
        1 / math.sqrt(2 * 999), rel=1e-3
    )


def refusal_cases() -> list[tuple[Callable[[], object], type[Exception], str]]:
    one = Input("a", 0.0, Normal(1.0), sensitivity=1.0)
    bare = Input("b", 1.0, Normal(1.0))
    half = np.array([[1.0, 0.5], [0.4, 1.0]])
    beyond = np.array([[1.0, 1.5], [1.5, 1.0]])
    two = [one, Input("c", 0.0, Normal(1.0), sensitivity=1.0)]

    def budget(**more: object) -> Callable[[], object]:
        return lambda: Budget("y", two, estimate=0.0, **more)  # type: ignore[arg-type]

    return [
        (lambda: Budget("y", [], estimate=0.0), BadShape, "has no inputs"),
        (lambda: Budget("y", [one, one], estimate=0.0), DuplicateInput, "a twice"),
        (
            lambda: Budget("y", [bare], estimate=0.0),
            OutOfDomain,
            "no sensitivity for b",
        ),
        (lambda: Budget("y", [one]), OutOfDomain, "neither a model nor an estimate"),
        (
            lambda: Budget("y", [one], model=lambda x: x["a"], estimate=1.0),
            OutOfDomain,
            "so its estimate follows",
        ),
        (lambda: Budget("y", [one], estimate=math.nan), NotFinite, "estimate of y"),
        (budget(correlation=np.eye(3)), BadShape, r"shape \(2, 2\)"),
        (budget(correlation=np.eye(2) * math.nan), NotFinite, "finite numbers only"),
        (budget(correlation=np.eye(2) * 2), OutOfDomain, "ones on its diagonal"),
        (budget(correlation=half), OutOfDomain, "symmetric"),
        (budget(correlation=beyond), OutOfDomain, "negative eigenvalue"),
        (lambda: Input(" ", 0.0, Normal(1.0)), OutOfDomain, "needs a name"),
        (lambda: Input("a", math.inf, Normal(1.0)), NotFinite, "estimate of a"),
        (
            lambda: Input("a", 0.0, Normal(1.0), sensitivity=math.nan),
            NotFinite,
            "sensitivity of a",
        ),
        (
            lambda: Input("a", 0.0, Normal(1.0), degrees_of_freedom=0.0),
            OutOfDomain,
            "above zero",
        ),
        (
            lambda: Input("a", 0.0, StudentT(1.0, 4), degrees_of_freedom=5.0),
            OutOfDomain,
            "state them once",
        ),
        (
            lambda: combine(Budget("y", [bare], model=lambda x: np.zeros(3))),
            BadShape,
            r"returned shape \(3,\)",
        ),
        (
            lambda: combine(Budget("y", [bare], model=lambda x: x["b"] * math.nan)),
            NotFinite,
            "at the estimates",
        ),
        (
            lambda: combine(
                Budget("y", [bare], model=lambda x: np.where(x["b"] > 1, math.inf, 1.0))
            ),
            NotFinite,
            "within the uncertainty of b",
        ),
        (lambda: combine(linear(("a", 1, 1))).named("z"), OutOfDomain, "no input 'z'"),
        (lambda: from_readings("x", [1.0]), TooFew, "at least two readings"),
        (lambda: from_readings("x", [1.0, math.nan]), NotFinite, "readings"),
        (lambda: simultaneous_readings({"x": [1, 2]}), TooFew, "at least two"),
        (
            lambda: simultaneous_readings({"x": [1, 2], "y": [1, 2, 3]}),
            BadShape,
            "equally long",
        ),
        (
            lambda: simultaneous_readings({"x": [1, 2], "y": [3, 3]}),
            Degenerate,
            "y: all readings are equal",
        ),
        (lambda: relative_uncertainty_of_s(1), TooFew, "at least 2"),
        (lambda: truncated_dof(0.9), OutOfDomain, "below 1"),
        (lambda: student_coverage_factor(1.0, 5), OutOfDomain, "between 0 and 1"),
        (
            lambda: expand(
                combine(linear(("a", 1, 1))), method=CoverageMethod.TRAPEZOID
            ),
            OutOfDomain,
            "No one or two rectangular terms dominate",
        ),
        (
            lambda: expand(combine(linear(("a", 1, 1))), method=CoverageMethod.STATED),
            OutOfDomain,
            "goes with the method STATED",
        ),
    ]


@pytest.mark.parametrize(("make", "error", "words"), refusal_cases())
def test_refusals(
    make: Callable[[], object], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        make()


def test_a_constant_has_no_share() -> None:
    inputs = [Input("x", 2.0, Normal(0.1)), Input("constant", 5.0, Normal(0.0))]
    found = combine(Budget("y", inputs, model=lambda x: x["x"] * x["constant"]))
    assert found.named("constant").contribution == 0.0
    assert found.named("constant").sensitivity == pytest.approx(2.0)
    nothing = combine(
        Budget("y", [Input("x", 0, Arcsine(0.0), sensitivity=1)], None, 0)
    )
    assert nothing.u == 0.0
    assert nothing.contributions[0].share == 0.0
