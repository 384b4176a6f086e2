"""An interval stated to cover 95 % covers 94.5 % to 95.5 % of 10,000 cases.

Each case is a measurement of a known true value: every input is off by a draw from its
own distribution, Type A inputs are evaluated from simulated readings, the budget is
combined and expanded, and the interval holds the true value or not. The standard
deviation of a share of 10,000 cases is 0.22 %, so the band is 2.3 of them wide on each
side; the seeds are fixed. Ordinary budgets, few degrees of freedom and dominant
rectangular terms are each a group of their own, for each has its own coverage factor.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from lab.metrology.uncertainty import (
    Arcsine,
    Budget,
    CoverageMethod,
    Distribution,
    Input,
    Normal,
    Rectangular,
    Triangular,
    combine,
    expand,
    from_readings,
)

CASES = 10_000


def type_b(
    generator: np.random.Generator, name: str, distribution: Distribution, slope: float
) -> Input:
    """Know an input of true value zero by an estimate that is off by a draw."""
    error = float(distribution.draw(generator, 1)[0])
    return Input(name, error, distribution, sensitivity=slope)


def type_a(
    generator: np.random.Generator, name: str, scatter: float, count: int
) -> Input:
    """Read an input of true value zero a few times."""
    return from_readings(name, generator.normal(0.0, scatter, count), sensitivity=1.0)


def covers(inputs: list[Input], method: CoverageMethod) -> bool:
    error = math.fsum((each.sensitivity or 0.0) * each.estimate for each in inputs)
    expanded = expand(combine(Budget("error", inputs, estimate=error)))
    assert expanded.method is method
    return abs(error) <= expanded.expanded_u


def ordinary(generator: np.random.Generator) -> bool:
    """Six to nine influences of comparable size, one of them from 10 to 30 readings."""
    inputs = [type_a(generator, "mean", 3.0, int(generator.integers(10, 31)))]
    for number in range(int(generator.integers(5, 9))):
        size = float(generator.uniform(0.6, 1.4))
        shapes: list[Distribution] = [
            Normal(size),
            Rectangular(size * math.sqrt(3.0)),
            Triangular(size * math.sqrt(6.0)),
            Arcsine(size * math.sqrt(2.0)),
        ]
        shape = shapes[int(generator.integers(len(shapes)))]
        inputs.append(type_b(generator, f"influence {number}", shape, 1.0))
    return covers(inputs, CoverageMethod.STUDENT)


def few_readings(generator: np.random.Generator) -> bool:
    """Three to six readings, and nothing else that counts."""
    inputs = [
        type_a(generator, "mean", 3.0, int(generator.integers(3, 7))),
        type_b(generator, "calibration", Normal(0.03), 1.0),
    ]
    return covers(inputs, CoverageMethod.STUDENT)


def few_among_others(generator: np.random.Generator) -> bool:
    """Three to six readings that outweigh two well-known influences."""
    inputs = [
        type_a(generator, "mean", 3.0, int(generator.integers(3, 7))),
        type_b(generator, "calibration", Normal(0.3), 1.0),
        type_b(generator, "temperature", Normal(0.3), -1.0),
    ]
    return covers(inputs, CoverageMethod.STUDENT)


def dominant_rectangle(generator: np.random.Generator) -> bool:
    """One or two dominant rectangles, all others together up to 0.3 of them."""
    second = float(generator.choice([0.0, generator.uniform(0.3, 1.0)]))
    together = math.hypot(1.0, second)
    rest = together * float(generator.uniform(0.02, 0.29))
    inputs = [
        type_b(generator, "resolution", Rectangular(math.sqrt(3.0)), 1.0),
        type_b(generator, "calibration", Normal(0.6 * rest), 1.0),
        type_b(generator, "scatter", Normal(0.8 * rest), 1.0),
    ]
    if second:
        half_width = second * math.sqrt(3.0)
        inputs.append(type_b(generator, "play", Rectangular(half_width), 1.0))
    return covers(inputs, CoverageMethod.BLURRED_TRAPEZOID)


@pytest.mark.parametrize(
    ("case", "seed"),
    [(ordinary, 7), (few_readings, 7), (dominant_rectangle, 7)],
)
def test_the_stated_coverage_is_kept(
    case: Callable[[np.random.Generator], bool], seed: int
) -> None:
    generator = np.random.default_rng(seed)
    share = sum(case(generator) for _ in range(CASES)) / CASES
    assert 0.945 <= share <= 0.955


def test_few_degrees_of_freedom_among_others_are_covered_nearly_as_stated() -> None:
    # The Welch-Satterthwaite formula is approximate: over 60,000 cases this group is
    # covered with 94.3 %, and the documentation says so. 0.7 % is three standard
    # deviations of a share of 10,000.
    generator = np.random.default_rng(7)
    share = sum(few_among_others(generator) for _ in range(CASES)) / CASES
    assert share == pytest.approx(0.943, abs=0.007)


def test_eas_factor_alone_covers_less_where_the_rest_is_not_small() -> None:
    # Why the rest is folded in: at the limit of EA-4/02, a rest of 0.3 of the
    # dominant rectangle, k = 1.65 covers 92.7 % (1,000,000 draws, +- 0.03 %).
    rectangle, rest = Rectangular(math.sqrt(3.0)), Normal(0.3)
    inputs = [
        Input("resolution", 0.0, rectangle, sensitivity=1.0),
        Input("rest", 0.0, rest, sensitivity=1.0),
    ]
    combined = combine(Budget("error", inputs, estimate=0.0))
    generator = np.random.default_rng(3)
    errors = rectangle.draw(generator, 1_000_000) + rest.draw(generator, 1_000_000)
    plain = expand(combined, method=CoverageMethod.TRAPEZOID).expanded_u
    folded = expand(combined).expanded_u
    assert np.mean(np.abs(errors) <= plain) == pytest.approx(0.927, abs=0.001)
    assert np.mean(np.abs(errors) <= folded) == pytest.approx(0.950, abs=0.001)
