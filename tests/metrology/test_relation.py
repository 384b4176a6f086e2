"""The frame's share as the uncertainty of a relation between features."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from lab.metrology.budgets import (
    CarriedPoint,
    TermKind,
    angle_relation,
    carried_point,
    distance_relation,
    frame_term,
    position_relation,
    relation_u,
)
from lab.metrology.errors import (
    BadShape,
    Degenerate,
    NotFinite,
    OutOfDomain,
    TooFew,
)

GENERATOR = np.random.default_rng(11)
TARGETS = GENERATOR.uniform(-500.0, 500.0, (10, 3))
NEAR = np.arange(10) < 6
FAR = np.arange(10) >= 4
FIRST = np.array([-300.0, 40.0, 10.0])
SECOND = np.array([450.0, -20.0, 60.0])


def moved(
    seen: NDArray[np.bool_], error: NDArray[np.float64], point: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Carry a point with SciPy's best-fit motion from true to erroneous targets."""
    true, wrong = TARGETS[seen], (TARGETS + error)[seen]
    centre_true, centre_wrong = true.mean(axis=0), wrong.mean(axis=0)
    turn, _ = Rotation.align_vectors(wrong - centre_wrong, true - centre_true)
    return np.asarray(centre_wrong + turn.apply(point - centre_true))


def carried() -> tuple[CarriedPoint, CarriedPoint]:
    return (
        carried_point(TARGETS, NEAR, FIRST),
        carried_point(TARGETS, FAR, SECOND),
    )


def test_a_feature_moves_as_scipys_best_fit_moves_it() -> None:
    error = GENERATOR.normal(0.0, 1e-3, TARGETS.shape)
    for seen, point in ((NEAR, FIRST), (FAR, SECOND), (NEAR, SECOND)):
        predicted = carried_point(TARGETS, seen, point).displacement @ error.ravel()
        # Second order: the square of a rotation of 1e-5 times 1000 mm.
        np.testing.assert_allclose(
            moved(seen, error, point) - point, predicted, atol=1e-7
        )


def test_the_scatter_of_a_distance_is_what_its_relation_says() -> None:
    root = GENERATOR.normal(0.0, 0.01, (30, 30)) / np.sqrt(30)
    covariance = root @ root.T
    predicted = relation_u(distance_relation(*carried()), covariance)
    length = np.linalg.norm(SECOND - FIRST)
    errors = []
    for _ in range(4000):
        error = (root @ GENERATOR.standard_normal(30)).reshape(10, 3)
        between = moved(FAR, error, SECOND) - moved(NEAR, error, FIRST)
        errors.append(float(np.linalg.norm(between) - length))
    # The standard deviation of 4,000 draws is known to 1.1 %; the seed is fixed.
    assert np.std(errors) == pytest.approx(predicted, rel=0.035)


def test_angle_and_position_follow_the_rotation() -> None:
    error = GENERATOR.normal(0.0, 1e-3, TARGETS.shape)
    first, second = carried()
    one, two = np.array([1.0, 0.0, 0.2]), np.array([0.3, 1.0, 0.0])

    def turned(seen: NDArray[np.bool_]) -> Rotation:
        true, wrong = TARGETS[seen], (TARGETS + error)[seen]
        turn, _ = Rotation.align_vectors(
            wrong - wrong.mean(axis=0), true - true.mean(axis=0)
        )
        return turn

    def angle(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
        return float(np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b)))

    change = angle(turned(NEAR).apply(one), turned(FAR).apply(two)) - angle(one, two)
    predicted = angle_relation(first, second, one, two) @ error.ravel()
    assert change == pytest.approx(predicted, abs=1e-10)
    in_datum = (
        turned(NEAR).inv().apply(moved(FAR, error, SECOND) - moved(NEAR, error, FIRST))
    )
    np.testing.assert_allclose(
        in_datum - (SECOND - FIRST),
        position_relation(first, second) @ error.ravel(),
        atol=1e-7,
    )


@given(
    st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=3),
    st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=3),
)
def test_what_the_datum_does_to_all_targets_touches_no_relation(
    shift: list[float], turn: list[float]
) -> None:
    # A rigid motion of all targets, as another choice of datum makes it.
    error = (np.array(shift) + np.cross(np.array(turn) / 1000, TARGETS)).ravel()
    first, second = carried()
    # Rounding of sums over coordinates of 500 mm.
    assert distance_relation(first, second) @ error == pytest.approx(0.0, abs=1e-10)
    np.testing.assert_allclose(
        position_relation(first, second) @ error, 0.0, atol=1e-10
    )
    angle = angle_relation(first, second, [1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
    assert angle @ error == pytest.approx(0.0, abs=1e-12)
    # The coordinates themselves do move: their sigmas depend on the datum.
    if np.abs(shift).max() > 0.5 and np.abs(turn).max() < 0.1:
        assert np.linalg.norm(first.displacement @ error) > 0.1


def test_features_carried_by_the_same_targets_keep_their_distance() -> None:
    relation = distance_relation(
        carried_point(TARGETS, NEAR, FIRST), carried_point(TARGETS, NEAR, SECOND)
    )
    # Rounding of sums over levers of 1000 mm.
    assert relation_u(relation, np.eye(30)) == pytest.approx(0.0, abs=1e-12)


def test_more_targets_carry_better_and_levers_carry_worse() -> None:
    def spread(seen: NDArray[np.bool_], point: NDArray[np.float64]) -> float:
        jacobian = carried_point(TARGETS, seen, point).displacement
        return float(np.sqrt(np.trace(jacobian @ jacobian.T)))

    centre = TARGETS.mean(axis=0)
    everything = np.ones(10, dtype=bool)
    assert spread(everything, centre) < spread(NEAR, centre)
    assert spread(everything, centre) < spread(everything, centre + 2000.0)
    assert spread(everything, centre) == pytest.approx(np.sqrt(3 / 10))


def test_the_relation_becomes_a_term() -> None:
    term = frame_term([1.0, -1.0], [[4.0, 3.0], [3.0, 4.0]])
    assert term.kind is TermKind.FRAME
    assert term.contribution == pytest.approx(np.sqrt(2.0))


def test_refusals() -> None:
    first, _ = carried()
    with pytest.raises(TooFew, match="targets_mm holds 2 points"):
        carried_point(TARGETS[:2], [True, True], FIRST)
    with pytest.raises(BadShape, match="seen must be 10 truth values"):
        carried_point(TARGETS, [True] * 9, FIRST)
    with pytest.raises(BadShape, match=r"point_mm must have shape \(3,\)"):
        carried_point(TARGETS, NEAR, [0.0, 0.0, 0.0, 0.0])
    with pytest.raises(Degenerate, match="2 targets in view do not fix a pose"):
        carried_point(TARGETS, np.arange(10) < 2, FIRST)
    with pytest.raises(Degenerate, match="lie in a line"):
        carried_point(np.outer(np.arange(5.0), [1, 2, 3]), [True] * 5, FIRST)
    with pytest.raises(Degenerate, match="features coincide"):
        distance_relation(first, first)
    with pytest.raises(Degenerate, match="directions are parallel"):
        angle_relation(first, first, [1, 0, 0], [-2, 0, 0])
    with pytest.raises(BadShape, match="to match the jacobian"):
        relation_u([1.0, 2.0], np.eye(3))
    with pytest.raises(NotFinite, match="finite numbers only"):
        relation_u([1.0], [[np.nan]])
    with pytest.raises(OutOfDomain, match="must be symmetric"):
        relation_u([1.0, 0.0], [[1.0, 0.5], [0.0, 1.0]])
    with pytest.raises(OutOfDomain, match="negative variance"):
        relation_u([1.0, -1.0], [[1.0, 3.0], [3.0, 1.0]])
