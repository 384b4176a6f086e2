"""Alignment by datums: precedence, freedom, and imperfect parts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lab.metrology.alignment import (
    Datum,
    DatumsLeaveFreedom,
    Transform,
    align_321,
    align_datum_targets,
)
from lab.metrology.errors import BadShape, OutOfDomain, TooFew

FLOOR = np.array([[0, 0, 0], [200, 0, 0], [0, 150, 0], [200, 150, 0.0]])
SIDE = np.array([[20, 0, 30], [180, 0, 30.0]])
STOP = np.array([[0, 75, 30.0]])


def placed(seed):
    random = np.random.default_rng(seed)
    turn = Rotation.random(rng=random).as_matrix()
    return Transform(turn, random.uniform(-800, 800, 3))


def datums(tf_b_a, floor=FLOOR, side=SIDE, stop=STOP):
    return (
        Datum(FLOOR[: len(floor)], [0, 0, 1], tf_b_a.apply(floor)),
        Datum(SIDE, [0, 2, 0], tf_b_a.apply(side)),
        Datum(STOP, [-1, 0, 0], tf_b_a.apply(stop)),
    )


@given(st.integers(0, 2**31))
def test_a_perfect_part_is_found_wherever_it_was_touched(seed):
    tf_b_a = placed(seed)
    random = np.random.default_rng(seed)
    # Along the surfaces the touch may be anywhere near its nominal place.
    floor = FLOOR + random.uniform(-5, 5, FLOOR.shape) * [1, 1, 0]
    side = SIDE + random.uniform(-5, 5, SIDE.shape) * [1, 0, 1]
    stop = STOP + random.uniform(-5, 5, STOP.shape) * [0, 1, 1]
    found = align_321(*datums(tf_b_a, floor, side, stop))
    nothing = found.tf_a_b.after(tf_b_a).matrix()
    # The steps end at 1e-13 of the coordinates, about 1e-10 mm.
    np.testing.assert_allclose(nothing, np.eye(4), atol=1e-8)
    np.testing.assert_allclose(found.residuals_mm, 0, atol=1e-8)


@given(st.integers(0, 2**31))
def test_three_two_one_points_agree_with_treating_all_alike(seed):
    tf_b_a = placed(seed)
    random = np.random.default_rng(seed)
    floor, side, stop = (
        each + random.normal(scale=0.5, size=each.shape)
        for each in (FLOOR[:3], SIDE, STOP)
    )
    by_order = align_321(*datums(tf_b_a, floor, side, stop))
    alike = align_datum_targets(
        np.vstack([FLOOR[:3], SIDE, STOP]),
        [[0, 0, 1]] * 3 + [[0, 1, 0]] * 2 + [[1, 0, 0]],
        tf_b_a.apply(np.vstack([floor, side, stop])),
    )
    # Six conditions have one answer.
    np.testing.assert_allclose(
        by_order.tf_a_b.matrix(), alike.tf_a_b.matrix(), atol=1e-8
    )
    np.testing.assert_allclose(by_order.residuals_mm, 0, atol=1e-8)


def test_the_primary_takes_precedence_over_the_secondary():
    tf_b_a = placed(1)
    # The side leans: it is not square to the floor by a tenth over its height.
    side = np.array([[20, 0.0, 30], [180, 0.0, 30], [100, 0.1, 90]])
    nominal = side * [1, 0, 1]
    found = align_321(
        Datum(FLOOR, [0, 0, 1], tf_b_a.apply(FLOOR)),
        Datum(nominal, [0, 1, 0], tf_b_a.apply(side)),
        Datum(STOP, [1, 0, 0], tf_b_a.apply(STOP)),
    )
    # The floor is met exactly although the side pulls.
    np.testing.assert_allclose(found.residuals_mm[:4], 0, atol=1e-8)
    # The side's residuals are those about their mean, for it can only shift.
    np.testing.assert_allclose(
        found.residuals_mm[4:7], np.array([-1, -1, 2]) / 30, atol=1e-5
    )


def test_an_uneven_floor_is_met_by_least_squares():
    tf_b_a = placed(2)
    floor = np.add(FLOOR, np.outer([0.04, -0.04, -0.04, 0.04], [0, 0, 1]))
    found = align_321(*datums(tf_b_a, floor))
    # A twist by four corners can't be turned away.
    np.testing.assert_allclose(
        found.residuals_mm[:4], [0.04, -0.04, -0.04, 0.04], atol=1e-6
    )


def test_refusals():
    identity = Transform(np.eye(3), np.zeros(3))
    floor, side, stop = datums(identity)
    with pytest.raises(DatumsLeaveFreedom, match="primary and the secondary datum are"):
        align_321(floor, Datum(SIDE, [0, 0, 1], SIDE), stop)
    with pytest.raises(DatumsLeaveFreedom, match="The tertiary datum fixes 0 of the 1"):
        align_321(floor, side, Datum(STOP, [0, 1, 0], STOP))
    above = np.array([[20, 0, 30], [20, 0, 80.0]])
    with pytest.raises(DatumsLeaveFreedom, match="secondary datum fixes 1 of the 2"):
        align_321(floor, Datum(above, [0, 1, 0], above), stop)
    row = np.array([[0, 0, 0], [50, 0, 0], [200, 0, 0.0]])
    with pytest.raises(DatumsLeaveFreedom, match="primary datum fixes 2 of the 3"):
        align_321(Datum(row, [0, 0, 1], row), side, stop)
    with pytest.raises(TooFew, match="nominal_a_mm holds 2 points; at least 3"):
        align_321(Datum(FLOOR[:2], [0, 0, 1], FLOOR[:2]), side, stop)
    with pytest.raises(BadShape, match="measured_b_mm has 3"):
        align_321(Datum(FLOOR, [0, 0, 1], FLOOR[:3]), side, stop)
    with pytest.raises(OutOfDomain, match="The direction of target 0 has no length"):
        align_321(Datum(FLOOR, [0, 0, 0], FLOOR), side, stop)
    six = np.vstack([FLOOR, SIDE])
    with pytest.raises(
        DatumsLeaveFreedom, match="The set of datum targets fixes 3 of the 6"
    ):
        align_datum_targets(six, [[0, 0, 1]] * 6, six)
