from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lab.metrology.errors import OutOfDomain
from lab.metrology.frames import (
    Blunder,
    Exposures,
    Noise,
    Shift,
    advise,
    find_mislabelled,
    shift_tests,
    snoop_frame,
    solve_frame,
)
from lab.metrology.frames.reliability import family_share, noncentrality
from tests.metrology.frames.networks import Scene, all_seen, ring_scene

NOISE = Noise(lateral_mm=0.02, depth_mm=0.03, reference_mm=1500.0)


@pytest.fixture(scope="module")
def scene() -> Scene:
    return ring_scene()


def swapped(exposures: Exposures, exposure: int) -> tuple[Exposures, str, str]:
    """Swap the first two labels of one exposure."""
    rows = np.flatnonzero(exposures.exposure == exposure)[:2]
    target = exposures.target.copy()
    target[rows] = target[rows[::-1]]
    names = [exposures.target_names[k] for k in exposures.target[rows]]
    return replace(exposures, target=target), names[0], names[1]


@pytest.mark.parametrize("exposure", range(12))
def test_swapped_labels_are_found_named_and_corrected(
    scene: Scene, exposure: int
) -> None:
    """In any exposure, the first of the spanning tree included."""
    wrong, first, second = swapped(scene.exposures(NOISE, seed=exposure), exposure)
    run = snoop_frame(wrong, layout_mm=scene.layout)
    assert {(m.exposure, m.labelled, m.is_target) for m in run.mislabelled} == {
        (f"{exposure + 1}", first, second),
        (f"{exposure + 1}", second, first),
    }
    assert all(each.is_swap for each in run.mislabelled)
    assert f"In exposure {exposure + 1} the labels" in run.words[0]
    assert run.found == ()
    right = solve_frame(scene.exposures(NOISE, seed=exposure), layout_mm=scene.layout)
    np.testing.assert_allclose(run.frame.points_mm, right.points_mm, atol=1e-6)


def test_a_label_of_a_target_that_is_not_in_view_is_found(scene: Scene) -> None:
    exposures = scene.exposures(NOISE, seed=3)
    rows = np.flatnonzero(exposures.exposure == 4)
    unseen = np.setdiff1d(np.arange(24), exposures.target[rows])[0]
    target = exposures.target.copy()
    own, target[rows[1]] = target[rows[1]], unseen
    (found,) = find_mislabelled(replace(exposures, target=target))
    assert (found.labelled, found.is_target) == (
        exposures.target_names[unseen],
        exposures.target_names[own],
    )
    assert not found.is_swap
    assert "lies where" in found.words


def test_a_label_that_is_taken_is_left_out() -> None:
    """Three go round: one of them lands where nothing is."""
    scene = all_seen(ring_scene(exposures=8, targets=14))
    exposures = scene.exposures(NOISE, seed=4)
    rows = np.flatnonzero(exposures.exposure == 2)
    target = exposures.target.copy()
    target[rows[:3]] = target[np.roll(rows[:3], 1)]
    run = snoop_frame(replace(exposures, target=target), layout_mm=scene.layout)
    assert len(run.mislabelled) == 3
    assert len(run.frame.exposures) == len(exposures)


def test_groups_that_only_held_targets_tie_are_snooped() -> None:
    scene = all_seen(ring_scene(exposures=6, targets=16))
    seen = scene.exposures(NOISE, seed=9)
    early = seen.exposure < 3
    own = (seen.target < 8) & early | (seen.target >= 8) & ~early
    apart = seen.without(np.flatnonzero(~own))
    run = snoop_frame(apart, held_mm=scene.layout)
    assert run.words == ()
    assert run.frame.datum == "16 targets held at their known coordinates"


def test_a_blunder_is_left_out_and_described(scene: Scene) -> None:
    change = np.zeros((len(scene.target), 3))
    row = scene.row(5, int(scene.target[scene.exposure == 5][3]))
    change[row] = [0.5, 0.0, 0.0]
    run = snoop_frame(scene.exposures(NOISE, 1, change), layout_mm=scene.layout)
    (found,) = run.found
    assert isinstance(found, Blunder)
    assert (found.target, found.exposure) == (scene.names[scene.target[row]], "6")
    # Half a millimetre, give or take a few times the noise in depth.
    assert found.error_mm == pytest.approx(0.5, abs=0.15)
    assert "was left out of that exposure" in found.words
    plain = solve_frame(scene.exposures(NOISE, 1, change), layout_mm=scene.layout)
    advice = advise(plain)
    assert advice[0].level == "stop"
    assert f"target {found.target} in exposure 6" in advice[0].words


def test_a_shift_splits_the_target(scene: Scene) -> None:
    target = int(np.argmax(np.bincount(scene.target)))
    rows = np.flatnonzero(scene.target == target)
    late = rows[len(rows) // 2 :]
    change = np.zeros((len(scene.target), 3))
    shift = np.array([0.0, 0.3, 0.1])
    change[late] = scene.rotations[scene.exposure[late]] @ shift
    run = snoop_frame(scene.exposures(NOISE, 2, change), layout_mm=scene.layout)
    (found,) = run.found
    assert isinstance(found, Shift)
    first = f"{scene.exposure[late[0]] + 1}"
    assert (found.target, found.from_exposure) == (scene.names[target], first)
    assert found.renamed == f"{scene.names[target]} from {first}"
    np.testing.assert_allclose(found.shift_mm, shift, atol=0.06)
    assert np.linalg.norm(shift) > found.least_detectable_mm
    places = run.frame.coordinates.of([found.target, found.renamed]).points_mm
    np.testing.assert_allclose(places[1] - places[0], shift, atol=0.06)
    assert "is counted as another target" in found.words


def test_shift_statistic_equals_the_loss_of_the_sum_of_squares(scene: Scene) -> None:
    """T is what the sum of squares loses when the target is split there."""
    exposures = scene.exposures(NOISE, seed=6)
    frame = solve_frame(exposures)
    tests = shift_tests(frame)
    for index in (0, len(tests.target) // 2, len(tests.target) - 1):
        rows = np.flatnonzero(frame.exposures.target == tests.target[index])
        split = frame.exposures.relabelled(rows[rows >= tests.first[index]], "split")
        loss = frame.sum_of_squares - solve_frame(split).sum_of_squares
        # The model is not linear: second order in 0.03 mm over 1 m.
        assert tests.statistics[index] == pytest.approx(loss, rel=1e-3, abs=1e-3)


def test_statistic_of_a_sighting_equals_the_loss_too(scene: Scene) -> None:
    frame = solve_frame(scene.exposures(NOISE, seed=7))
    for row in (0, 40, 99):
        loss = (
            frame.sum_of_squares
            - solve_frame(frame.exposures.without([row])).sum_of_squares
        )
        assert frame.reliability.statistics[row] == pytest.approx(
            loss, rel=1e-3, abs=1e-3
        )


def test_smallest_detectable_blunder_is_found_with_the_stated_power(
    scene: Scene,
) -> None:
    """Shown on the statistic itself: at that size its mean is 3 + λ."""
    clean = solve_frame(scene.exposures(NOISE, None))
    row = 30
    size = clean.reliability.smallest_detectable_mm[row]
    values = []
    for axis in np.eye(3):
        change = np.zeros((len(scene.target), 3))
        change[row] = size * axis
        frame = solve_frame(scene.exposures(NOISE, None, change))
        values.append(frame.reliability.statistics[row])
    # λ of χ² with 3 degrees of freedom at the family's level and 80 %: any axis is
    # seen at least as well as the worst direction.
    judged = clean.reliability
    share = family_share(judged.family_probability, int((~judged.untestable).sum()))
    assert min(values) >= noncentrality(share, 0.8) * (1.0 - 1e-3)


def test_findings_stop_at_the_most_that_is_allowed() -> None:
    scene = ring_scene(exposures=6)
    random = np.random.default_rng(0)
    change = np.zeros((len(scene.target), 3))
    change[::7] = random.normal(0.0, 1.0, change[::7].shape)
    run = snoop_frame(scene.exposures(NOISE, 8, change), most=2, with_shifts=False)
    assert len(run.found) == 2
    with pytest.raises(OutOfDomain, match="at least one finding"):
        snoop_frame(scene.exposures(NOISE, 8), most=0)


def test_advice_names_targets_seen_once_and_an_inflated_noise(scene: Scene) -> None:
    seen = scene.exposures(NOISE, seed=9)
    rows = np.flatnonzero(seen.target == 0)
    quiet = replace(seen, covariances_mm2=0.1 * seen.covariances_mm2)
    frame = solve_frame(quiet.without(rows[1:]))
    words = " ".join(each.words for each in advise(frame))
    assert f"target {seen.target_names[0]}. See them again" in words
    assert "the uncertainties were raised by as much" in words
    assert frame.reliability.untestable[frame.exposures.target == 0].all()
    assert np.isinf(
        frame.reliability.smallest_detectable_mm[frame.exposures.target == 0]
    ).all()


def test_a_clean_frame_gets_no_advice_to_act(scene: Scene) -> None:
    advice = advise(solve_frame(scene.exposures(NOISE, seed=11)))
    assert not [each for each in advice if each.level != "note"]
