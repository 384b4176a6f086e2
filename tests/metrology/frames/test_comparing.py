from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats
from scipy.spatial.transform import Rotation

from lab.metrology.errors import BadShape, OutOfDomain, TooFew
from lab.metrology.frames import (
    Coordinates,
    FrameComparison,
    Noise,
    NoStableMajority,
    compare_frames,
    make_coordinates,
    solve_frame,
)
from tests.metrology.frames.networks import ring_scene

Array = NDArray[np.float64]

U_MM = 0.01
COUNT = 20
NAMES = [f"T{k}" for k in range(COUNT)]
POINTS = np.random.default_rng(0).uniform(-500.0, 500.0, (COUNT, 3))


def measured(points: Array, seed: int) -> Coordinates:
    noise = np.random.default_rng(seed).normal(0.0, U_MM, points.shape)
    return make_coordinates(NAMES, points + noise, np.full(points.shape, U_MM))


def compared(changed: Array, seed: int, **options: float) -> FrameComparison:
    """Compare with frames that are turned and shifted against one another."""
    turn = Rotation.random(random_state=seed).as_matrix()
    return compare_frames(
        measured(POINTS, 2 * seed),
        measured(changed @ turn.T + [40.0, -9.0, 700.0], 2 * seed + 1),
        **options,
    )


def test_an_unchanged_part_is_called_moved_as_often_as_stated() -> None:
    """Ten per cent family-wise; the limits are missed in two of a thousand."""
    runs = [compared(POINTS, seed, probability=0.1) for seed in range(80)]
    accused = sum(bool(run.moved) for run in runs)
    low, high = stats.binom.ppf([0.001, 0.999], len(runs), 0.1)
    assert low <= accused <= high
    expanded = sum(run.expansion.is_significant for run in runs)
    assert expanded <= stats.binom.ppf(0.999, len(runs), 0.05)


@given(
    seed=st.integers(0, 2**20),
    moved=st.sets(st.integers(0, COUNT - 1), min_size=1, max_size=6),
)
def test_moved_targets_are_named_and_measured(seed: int, moved: set[int]) -> None:
    changed = POINTS.copy()
    random = np.random.default_rng(seed + 1)
    for index in moved:
        direction = random.normal(size=3)
        changed[index] += (0.3 + 0.1 * index) * direction / np.linalg.norm(direction)
    found = compared(changed, seed % 1000)
    # A chance exceedance beside them is allowed for: one in a hundred runs.
    assert {NAMES[index] for index in moved} <= {each.name for each in found.moved}
    assert len(found.moved) <= len(moved) + 1
    for each in found.moved:
        index = NAMES.index(each.name)
        shift = changed[index] - POINTS[index]
        assert np.linalg.norm(np.array(each.shift_mm) - shift) < 6.0 * each.u_shift_mm


def test_expansion_is_reported_as_temperature_and_moves_nobody() -> None:
    found = compared(POINTS * (1.0 + 5 * 11.5e-6), 3, expansion_per_k=11.5e-6)
    assert found.moved == ()
    assert found.expansion.is_significant
    assert found.expansion.temperature_k == pytest.approx(
        5.0, abs=4.0 * (found.expansion.u_temperature_k or 0.0)
    )
    assert found.tf_before_after.scale < 1.0
    assert "change of temperature" in found.words[0]


def test_a_slipped_group_is_told_from_targets_that_moved_singly() -> None:
    changed = POINTS.copy()
    group = [1, 4, 7, 9]
    middle = changed[group].mean(axis=0)
    turn = Rotation.from_rotvec([0.0, 0.0, 2e-3]).as_matrix()
    changed[group] = (changed[group] - middle) @ turn.T + middle + [0.3, 0.0, 0.1]
    changed[12] += [0.0, 0.5, 0.0]
    found = compared(changed, 5)
    (moved,) = found.groups
    assert set(moved.names) == {NAMES[index] for index in group}
    np.testing.assert_allclose(moved.shift_mm, [0.3, 0.0, 0.1], atol=0.03)
    assert moved.turn_rad is not None
    np.testing.assert_allclose(moved.turn_rad, [0.0, 0.0, 2e-3], atol=1.5e-4)
    assert any("T12 moved by" in words for words in found.words)
    assert any("moved as one body" in words for words in found.words)


def test_two_that_moved_alike_are_a_group_without_a_turn() -> None:
    changed = POINTS.copy()
    changed[[2, 8]] += [0.0, 0.0, 0.4]
    (group,) = compared(changed, 6).groups
    assert set(group.names) == {"T2", "T8"}
    assert group.turn_rad is None


def test_least_detectable_move_is_found_with_the_power() -> None:
    """Moved by just that in any direction: in 80 % of the runs."""
    least = compared(POINTS, 0).least_detectable_mm["T3"]
    found = 0
    for seed in range(25):
        changed = POINTS.copy()
        direction = np.random.default_rng(seed).normal(size=3)
        changed[3] += least * direction / np.linalg.norm(direction)
        found += "T3" in {each.name for each in compared(changed, seed).moved}
    # All directions are about equally well seen here, so the worst is the usual one.
    low, high = stats.binom.ppf([0.001, 0.9999], 25, 0.8)
    assert low <= found <= high


def test_fewer_than_half_stable_gives_no_answer() -> None:
    random = np.random.default_rng(4)
    changed = POINTS.copy()
    changed[:11] += random.normal(0.0, 2.0, (11, 3))
    with pytest.raises(NoStableMajority, match="there is no answer"):
        compared(changed, 7)


def test_solved_frames_with_full_covariance_are_compared() -> None:
    """Both free networks with a singular covariance, each in its own datum."""
    scene = ring_scene()
    noise = Noise(0.01, 0.03, reference_mm=1500.0)
    morning = solve_frame(scene.exposures(noise, 1), layout_mm=scene.layout)
    points = scene.points_mm.copy()
    points[6] += [0.0, 0.0, 0.25]
    change = np.zeros((len(scene.target), 3))
    rows = np.flatnonzero(scene.target == 6)
    change[rows] = scene.rotations[scene.exposure[rows]] @ [0.0, 0.0, 0.25]
    evening = solve_frame(scene.exposures(noise, 2, change))
    found = compare_frames(morning.coordinates, evening.coordinates)
    assert [each.name for each in found.moved] == ["T07"]
    assert found.moved[0].shift_mm[2] == pytest.approx(0.25, abs=0.05)
    assert len(found.stable) == 23


def test_frames_on_held_targets_are_compared() -> None:
    """Held targets have no uncertainty; the others are compared against them."""
    scene = ring_scene()
    noise = Noise(0.01, 0.03, reference_mm=1500.0)
    held = dict(list(scene.layout.items())[:5])
    change = np.zeros((len(scene.target), 3))
    rows = np.flatnonzero(scene.target == 9)
    change[rows] = scene.rotations[scene.exposure[rows]] @ [0.3, 0.0, 0.0]
    frames = [
        solve_frame(scene.exposures(noise, seed, added), held_mm=held).coordinates
        for seed, added in ((3, None), (4, change))
    ]
    found = compare_frames(*frames)
    assert [each.name for each in found.moved] == ["T10"]


def test_only_common_targets_are_compared() -> None:
    before = measured(POINTS, 1)
    after = measured(POINTS, 2)
    found = compare_frames(before.of(NAMES[:-2]), after.of(NAMES[3:]))
    assert found.only_before == ("T0", "T1", "T2")
    assert found.only_after == ("T18", "T19")
    with pytest.raises(TooFew, match="3 targets in common"):
        compare_frames(before.of(NAMES[:3]), after)


def test_what_is_no_comparison_is_refused() -> None:
    frame = measured(POINTS, 1)
    with pytest.raises(OutOfDomain, match="probability is 1"):
        compare_frames(frame, frame, probability=1.0)
    with pytest.raises(OutOfDomain, match="expansion_per_k"):
        compare_frames(frame, measured(POINTS, 2), expansion_per_k=0.0)
    with pytest.raises(OutOfDomain, match="no target Z"):
        frame.of(["Z"])
    with pytest.raises(BadShape, match="2 names for 1 targets"):
        make_coordinates(["A", "B"], [[0, 0, 0]], [[1, 1, 1]])
    with pytest.raises(BadShape, match="must have shape"):
        make_coordinates(["A"], [[0, 0, 0]], np.eye(2))
    skew = np.eye(3) + np.triu(np.ones((3, 3)), 1)
    with pytest.raises(OutOfDomain, match="symmetric"):
        make_coordinates(["A"], [[0, 0, 0]], skew)
    ellipsoid = make_coordinates(["A"], [[0, 0, 0]], [[0.3, 0.1, 0.2]]).ellipsoids()
    np.testing.assert_allclose(ellipsoid.semi_axes_mm[0], [0.3, 0.2, 0.1])
    np.testing.assert_allclose(np.abs(ellipsoid.axes[0, 0]), [1.0, 0.0, 0.0])
