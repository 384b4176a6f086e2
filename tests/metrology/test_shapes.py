"""Shapes of a result's distribution, against SciPy."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from lab.metrology.errors import OutOfDomain
from lab.metrology.shapes import (
    NORMAL,
    RECTANGULAR,
    BlurredTrapezoid,
    Normal,
    Shape,
    Student,
    Trapezoid,
)

SHAPES: list[Shape] = [
    NORMAL,
    Student(3.0),
    Student(17.5),
    RECTANGULAR,
    Trapezoid(0.0),
    Trapezoid(0.4),
    BlurredTrapezoid(1.0, 0.2),
    BlurredTrapezoid(0.4, 0.3),
    BlurredTrapezoid(0.0, 0.05),
]


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
@given(probability=st.floats(0.001, 0.999))
def test_quantile_and_probability_are_inverse(shape: Shape, probability: float) -> None:
    z = shape.quantile(probability)
    assert shape.below(z) == pytest.approx(probability, abs=1e-9)
    assert shape.below(z) + shape.below(-z) == pytest.approx(1.0, abs=1e-12)


def test_normal_and_t_are_scipys() -> None:
    for z in (-4.0, -0.3, 0.0, 1.7):
        assert Normal().below(z) == pytest.approx(stats.norm.cdf(z), abs=1e-15)
        assert Student(4.5).below(z) == pytest.approx(stats.t.cdf(z, 4.5), abs=1e-13)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.6, 0.95])
def test_a_trapezoid_is_scipys(share: float) -> None:
    shape = Trapezoid(share)
    width = 2 * shape.half_width
    reference = stats.trapezoid(
        (1 - share) / 2, (1 + share) / 2, loc=-shape.half_width, scale=width
    )
    assert reference.std() == pytest.approx(1.0, abs=1e-9)
    for z in np.linspace(-2.6, 2.6, 27):
        assert shape.below(float(z)) == pytest.approx(reference.cdf(z), abs=1e-12)


@pytest.mark.parametrize(
    ("share", "ratio"),
    [(1.0, 0.3), (1.0 - 1e-7, 0.3), (0.9999, 0.1), (0.3, 0.2), (0.0, 1.0)],
)
def test_a_blurred_trapezoid_is_the_numerical_convolution(
    share: float, ratio: float
) -> None:
    shape = BlurredTrapezoid(share, ratio)
    u_trapezoid = 1.0 / math.hypot(1.0, ratio)
    sigma = ratio * u_trapezoid
    for z in (-1.9, -0.7, 0.4, 1.6):
        expected, _ = integrate.quad(
            lambda x, z=z: (
                Trapezoid(share).below((z - x) / u_trapezoid)
                * stats.norm.pdf(x, scale=sigma)
            ),
            -12 * sigma,
            12 * sigma,
            points=[z - u_trapezoid * c for c in (-1.7, 0.0, 1.7)],
            limit=200,
        )
        # The quadrature is told 1.5e-8.
        assert shape.below(z) == pytest.approx(expected, abs=2e-7)


def test_a_vanishing_rest_leaves_the_trapezoid() -> None:
    for share in (0.0, 1 / 3, 1.0):
        assert BlurredTrapezoid(share, 1e-4).quantile(0.975) == pytest.approx(
            Trapezoid(share).quantile(0.975), abs=1e-4
        )


def test_a_dominant_rest_leaves_the_normal() -> None:
    assert BlurredTrapezoid(1.0, 50.0).quantile(0.975) == pytest.approx(
        1.959964, abs=1e-5
    )


def test_refusals() -> None:
    with pytest.raises(OutOfDomain, match="degrees_of_freedom must be finite"):
        Student(math.inf)
    with pytest.raises(OutOfDomain, match="degrees_of_freedom"):
        Student(0.0)
    with pytest.raises(OutOfDomain, match="top_share must lie within 0 and 1"):
        Trapezoid(1.1)
    with pytest.raises(OutOfDomain, match="top_share must lie within 0 and 1"):
        BlurredTrapezoid(-0.1, 0.1)
    with pytest.raises(OutOfDomain, match="rest_ratio must be finite"):
        BlurredTrapezoid(0.5, 0.0)
    with pytest.raises(OutOfDomain, match="probability must lie between"):
        NORMAL.quantile(1.0)
