"""What the shared validation lets through, and how it refuses the rest."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from lab.metrology import arrays
from lab.metrology.errors import BadShape, NotFinite, OutOfDomain, TooFew


def test_points_are_not_copied_and_not_changed():
    given = np.arange(6.0).reshape(2, 3)
    assert arrays.points("p", given) is given


@pytest.mark.parametrize(
    "value", [[[1, 2, 3]], ((1.0, 2, 3),), [[Decimal("1.0"), Decimal(2), 3]]]
)
def test_points_accepts_what_holds_numbers(value):
    assert arrays.points("p", value).tolist() == [[1.0, 2.0, 3.0]]


@pytest.mark.parametrize(
    ("value", "error", "match"),
    [
        ([[1, 2]], BadShape, r"p must have shape \(N, 3\).*\(1, 2\)"),
        ([1, 2, 3], BadShape, r"one point a row; it has shape \(3,\)"),
        ([[1, 2, 3], [1, 2]], BadShape, "p has rows of unequal length"),
        ([["1", "2", "3"]], BadShape, "p must hold real numbers; it holds str"),
        ([[1j, 2, 3]], BadShape, "must hold real numbers; it holds complex128"),
        ([[None, 2, 3]], BadShape, "must hold real numbers; it holds object"),
        ([[True, False, True]], BadShape, "must hold real numbers; it holds bool"),
        ([], TooFew, "p holds no points; at least 1"),
        ([[0, 0, 0], [0, np.nan, 0]], NotFinite, r"nan, stands at \(1, 1\)"),
        ([[0, 0, np.inf], [-np.inf, 0, 0]], NotFinite, "holds 2 value"),
    ],
)
def test_points_refuses(value, error, match):
    with pytest.raises(error, match=match):
        arrays.points("p", value)


def test_points_refuses_masked_values():
    masked = np.ma.masked_equal([[0.0, 1.0, 2.0]], 1.0)
    with pytest.raises(NotFinite, match="p has masked values"):
        arrays.points("p", masked)


def test_points_says_how_many_are_needed():
    with pytest.raises(TooFew, match="p holds 1 points; at least 3 are needed"):
        arrays.points("p", [[1, 2, 3]], minimum=3)


def test_values_whose_sum_overflows_are_still_finite():
    assert len(arrays.vector("v", [1.7e308, 1.7e308])) == 2


def test_vector_refuses_a_table_and_says_where_a_value_is_not_finite():
    with pytest.raises(BadShape, match=r"v must have shape \(N,\)"):
        arrays.vector("v", [[1.0]])
    with pytest.raises(NotFinite, match="the first, nan, stands at 1"):
        arrays.vector("v", [1.0, np.nan])
    with pytest.raises(TooFew, match="v holds 1 values; at least 2"):
        arrays.vector("v", [1.0], minimum=2)


def test_same_length_names_the_unequal():
    with pytest.raises(BadShape, match="a has 2, b has 3"):
        arrays.same_length(a=np.zeros(2), b=np.zeros(3))


def test_single_numbers():
    assert arrays.finite("x", np.float64(2)) == 2.0
    assert arrays.non_negative("x", 0) == 0.0
    with pytest.raises(BadShape, match="x must be a single number"):
        arrays.finite("x", [1.0])  # type: ignore[arg-type]
    with pytest.raises(BadShape, match="x must hold real numbers"):
        arrays.finite("x", "12")  # type: ignore[arg-type]
    with pytest.raises(NotFinite, match="x is nan"):
        arrays.positive("x", float("nan"))
    with pytest.raises(OutOfDomain, match="x is 0; it must be greater than zero"):
        arrays.positive("x", 0)
    with pytest.raises(OutOfDomain, match="x is -1; it must not be negative"):
        arrays.non_negative("x", -1)
