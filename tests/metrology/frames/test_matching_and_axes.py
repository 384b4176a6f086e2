from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lab.metrology.errors import OutOfDomain, TooFew
from lab.metrology.frames import (
    AmbiguousMatch,
    Bar,
    NoMatch,
    StopsTooFew,
    StopsTooNarrow,
    check_scale,
    counted_targets,
    make_coordinates,
    match_exposure,
    solve_axis,
)

LAYOUT = np.random.default_rng(11).uniform(-600.0, 600.0, (40, 3))


@given(seed=st.integers(0, 2**31), strangers=st.integers(0, 3))
def test_matching_finds_every_target_and_no_stranger(seed: int, strangers: int) -> None:
    random = np.random.default_rng(seed)
    chosen = random.permutation(40)[:11]
    turn = Rotation.random(random_state=seed).as_matrix()
    seen = LAYOUT[chosen] @ turn.T + random.uniform(-2000, 2000, 3)
    seen += random.normal(0.0, 0.05, seen.shape)
    middle, far = seen.mean(axis=0), random.normal(size=(strangers, 3))
    extra = middle + 2500.0 * far / np.linalg.norm(far, axis=1, keepdims=True)
    order = random.permutation(11 + strangers)
    points = np.vstack([seen, extra])[order]
    expected = np.concatenate([chosen, np.full(strangers, -1)])[order]
    match = match_exposure(points, LAYOUT, tolerance_mm=0.5)
    assert match.targets.tolist() == expected.tolist()
    np.testing.assert_allclose(match.tf_exposure_layout.rotation_a_b, turn, atol=1e-3)
    assert match.largest_mm < 0.5


def test_matching_refuses_what_is_not_this_layout() -> None:
    strangers = np.random.default_rng(1).uniform(-600, 600, (10, 3))
    with pytest.raises(NoMatch, match="No pose explains 5 of the 10 points"):
        match_exposure(strangers, LAYOUT, tolerance_mm=0.5)
    mirrored = LAYOUT[:9] * [-1.0, 1.0, 1.0]
    with pytest.raises(NoMatch, match="not this layout's"):
        match_exposure(mirrored, LAYOUT, tolerance_mm=0.5)


def test_matching_refuses_a_symmetric_layout_unless_something_breaks_it() -> None:
    angles = np.radians([0, 60, 120, 180, 240, 300])
    ring = 300.0 * np.column_stack([np.cos(angles), np.sin(angles), 0 * angles])
    with pytest.raises(AmbiguousMatch, match="look alike when turned"):
        match_exposure(ring + np.array([0, 0, 900]), ring, tolerance_mm=1.0)
    broken = np.vstack([ring, [[100.0, 37.0, 60.0], [-40.0, 90.0, -30.0]]])
    found = match_exposure(broken + np.array([0, 0, 900]), broken, tolerance_mm=1.0)
    assert found.targets.tolist() == list(range(8))


def test_matching_refuses_a_tolerance_that_mixes_neighbours() -> None:
    layout = np.vstack([LAYOUT, LAYOUT[0] + [2.0, 0, 0]])
    with pytest.raises(OutOfDomain, match="only 2 mm apart"):
        match_exposure(LAYOUT[:6], layout, tolerance_mm=1.0)
    with pytest.raises(TooFew, match="points_mm"):
        match_exposure(LAYOUT[:3], LAYOUT, tolerance_mm=0.5)


def stops(degrees: list[float], radius: float = 25.0) -> np.ndarray:
    angles = np.radians(degrees)
    flat = np.column_stack(
        [radius * np.cos(angles), radius * np.sin(angles), 0.0 * angles]
    )
    return flat @ Rotation.from_rotvec([0.3, -0.5, 0.2]).as_matrix().T + [900, 40, -7]


@given(seed=st.integers(0, 2**31))
def test_axis_is_within_its_uncertainty(seed: int) -> None:
    random = np.random.default_rng(seed)
    exact = stops([0, 40, 95, 140, 200, 250])
    axis = solve_axis(exact + random.normal(0.0, 0.02, exact.shape), u_mm=0.02)
    direction = Rotation.from_rotvec([0.3, -0.5, 0.2]).as_matrix()[:, 2]
    assert axis.direction[np.argmax(np.abs(axis.direction))] > 0.0
    # Six sigma in each: some thousand examples in the deep profile.
    np.testing.assert_array_less(
        np.abs(axis.centre_mm - [900, 40, -7]), 6.0 * axis.u_centre_mm
    )
    assert abs(axis.radius_mm - 25.0) < 6.0 * axis.u_radius_mm
    tilt = math.acos(min(1.0, abs(float(axis.direction @ direction))))
    assert tilt < 7.0 * axis.u_direction_rad
    assert 0.0 < axis.axial_play_mm < 0.2


def test_axis_uncertainties_are_those_of_repeated_solutions() -> None:
    exact = stops([0, 60, 120, 180])
    random = np.random.default_rng(0)
    solved = [
        solve_axis(exact + random.normal(0.0, 0.01, exact.shape), u_mm=0.01)
        for _ in range(150)
    ]
    centres = np.array([axis.centre_mm for axis in solved])
    stated = solve_axis(exact, u_mm=0.01)
    # A standard deviation from 150 values is uncertain by 6 %: five of that.
    np.testing.assert_allclose(centres.std(axis=0), stated.u_centre_mm, rtol=0.3)
    radii = np.array([axis.radius_mm for axis in solved])
    assert radii.std() == pytest.approx(stated.u_radius_mm, rel=0.3)


def test_axis_refuses_too_few_or_too_narrow_stops() -> None:
    with pytest.raises(StopsTooFew, match="3 stops; 4 are needed"):
        solve_axis(stops([0, 120, 240]), u_mm=0.01)
    with pytest.raises(StopsTooNarrow, match="cover 90° of the turn"):
        solve_axis(stops([0, 30, 60, 90]), u_mm=0.01)
    assert solve_axis(stops([0, 40, 80, 120]), u_mm=0.01).stops == 4


def test_axis_targets_count_only_if_they_stay_or_are_indexed() -> None:
    assert counted_targets(6, runout_mm=None, allowed_mm=0.01, is_indexed=True) == 6
    assert counted_targets(1, runout_mm=0.02, allowed_mm=0.01, is_indexed=False) == 0
    axis = solve_axis(stops([0, 60, 120, 180, 240, 300], 0.5), u_mm=0.001)
    assert axis.is_within(0.51)
    assert not axis.is_within(0.5)


def test_bars_test_the_scale_and_one_another() -> None:
    points = np.array([[0, 0, 0], [1000.02, 0, 0], [0, 800.016, 0], [9, 9, 2400.0]])
    frame = make_coordinates("ABCD", points, np.full((4, 3), 0.001))
    bars = [Bar("long", "A", "B", 1000.0, 0.003), Bar("short", "A", "C", 800.0, 0.003)]
    found = check_scale(frame, [*bars, Bar("gone", "A", "Z", 500.0, 0.003)])
    assert 1e6 * (found.scale - 1.0) == pytest.approx(20.0, abs=1e-6)
    assert found.is_significant
    assert found.bars_agree
    assert found.not_seen == ("gone",)
    assert any("extrapolated" in words for words in found.words)
    off = check_scale(frame, [bars[0], Bar("bent", "A", "C", 800.1, 0.003)])
    assert off.bars_agree is False
    assert not off.is_significant
    assert any("disagree" in words for words in off.words)
    alone = check_scale(frame, bars[:1])
    assert alone.bars_agree is None
    assert any("no redundancy" in words for words in alone.words)


def test_what_bars_have_in_common_is_not_averaged_away() -> None:
    points = np.array([[0, 0, 0], [1000.0, 0, 0], [0, 1000.0, 0]])
    frame = make_coordinates("ABC", points, np.full((3, 3), 1e-6))

    def u_scale(own: float, common: float) -> float:
        bars = [
            Bar("1", "A", "B", 1000.0, own, common),
            Bar("2", "A", "C", 1000.0, own, common),
        ]
        return check_scale(frame, bars).u_scale

    assert u_scale(0.004, 0.0) == pytest.approx(4e-6 / math.sqrt(2.0), rel=1e-3)
    assert u_scale(1e-5, 0.004) == pytest.approx(4e-6, rel=1e-3)


def test_bars_that_are_none_are_refused() -> None:
    frame = make_coordinates("AB", [[0, 0, 0], [9, 0, 0]], np.full((2, 3), 0.01))
    with pytest.raises(TooFew, match="No bar has both"):
        check_scale(frame, [])
    with pytest.raises(OutOfDomain, match="same target at both ends"):
        Bar("R", "A", "A", 100.0, 0.01)
    with pytest.raises(OutOfDomain, match="length_mm of bar R"):
        Bar("R", "A", "B", -1.0, 0.01)
    with pytest.raises(OutOfDomain, match="probability is 2"):
        check_scale(frame, [Bar("R", "A", "B", 9.0, 0.01)], probability=2.0)
