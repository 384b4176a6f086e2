"""Distributions of inputs: their standard uncertainty, and what is drawn from them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from lab.metrology.errors import NotFinite, OutOfDomain
from lab.metrology.uncertainty import (
    Arcsine,
    CurvilinearTrapezoid,
    Distribution,
    Normal,
    Rectangular,
    StudentT,
    Trapezoidal,
    Triangular,
)

DRAWS = 400_000

REFERENCES = [
    (Normal(0.3), stats.norm(scale=0.3)),
    (Rectangular(0.5), stats.uniform(-0.5, 1.0)),
    (Triangular(2.0), stats.triang(0.5, loc=-2.0, scale=4.0)),
    (Arcsine(0.5), stats.arcsine(loc=-0.5, scale=1.0)),
    (Trapezoidal(1.0, 0.25), stats.trapezoid(0.375, 0.625, loc=-1.0, scale=2.0)),
    (StudentT(0.2, 7.0), stats.t(7.0, scale=0.2)),
]


@pytest.mark.parametrize(
    ("distribution", "reference"),
    REFERENCES,
    ids=lambda each: getattr(each, "name", ""),
)
def test_draws_follow_scipys_distribution(
    distribution: Distribution, reference: stats.rv_continuous
) -> None:
    drawn = distribution.draw(np.random.default_rng(5), DRAWS)
    assert drawn.shape == (DRAWS,)
    # Kolmogorov-Smirnov at one in a thousand; the seed is fixed.
    assert stats.kstest(drawn, reference.cdf).pvalue > 0.001


@pytest.mark.parametrize(
    ("distribution", "reference"),
    REFERENCES[:-1],
    ids=lambda each: getattr(each, "name", ""),
)
def test_the_standard_uncertainty_is_the_standard_deviation(
    distribution: Distribution, reference: stats.rv_continuous
) -> None:
    assert distribution.standard_uncertainty == pytest.approx(
        reference.std(), rel=1e-12
    )
    assert math.isinf(distribution.degrees_of_freedom)


def test_few_degrees_of_freedom_draw_wider_than_their_scale() -> None:
    distribution = StudentT(0.2, 7.0)
    drawn = distribution.draw(np.random.default_rng(5), DRAWS)
    assert distribution.standard_uncertainty == 0.2
    # The standard deviation of 400,000 draws is known to about 0.2 %.
    assert np.std(drawn) == pytest.approx(0.2 * math.sqrt(7 / 5), rel=0.01)


def test_an_inexact_rectangle_draws_what_its_formula_says() -> None:
    distribution = CurvilinearTrapezoid(0.05, 0.025)
    drawn = distribution.draw(np.random.default_rng(5), DRAWS)
    # The standard deviation of 400,000 draws is known to about 0.1 %.
    assert np.std(drawn) == pytest.approx(distribution.standard_uncertainty, rel=0.005)
    assert np.max(np.abs(drawn)) <= 0.075
    exact = CurvilinearTrapezoid(0.05, 0.0)
    assert exact.standard_uncertainty == pytest.approx(
        Rectangular(0.05).standard_uncertainty
    )


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Normal(-1.0), "u is -1; it must not be negative"),
        (lambda: Rectangular(-1.0), "half_width is -1"),
        (lambda: Triangular(-1.0), "half_width is -1"),
        (lambda: Arcsine(-1.0), "half_width is -1"),
        (lambda: Trapezoidal(1.0, 1.5), "top_share must lie within 0 and 1"),
        (lambda: CurvilinearTrapezoid(1.0, 2.0), "must not exceed half_width"),
        (lambda: StudentT(1.0, 0.0), "degrees_of_freedom is 0"),
        (lambda: Normal.from_expanded(0.1, 0.0), "coverage_factor is 0"),
    ],
)
def test_refusals(make: object, words: str) -> None:
    with pytest.raises(OutOfDomain, match=words):
        make()  # type: ignore[operator]


def test_what_is_not_finite_is_refused() -> None:
    with pytest.raises(NotFinite, match="u is nan"):
        Normal(float("nan"))
    with pytest.raises(NotFinite, match="half_width is inf"):
        Rectangular(float("inf"))
