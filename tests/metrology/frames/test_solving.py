from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lab.metrology.adjustment import adjust
from lab.metrology.errors import BadShape, Degenerate, NotFinite, OutOfDomain, TooFew
from lab.metrology.frames import (
    Bar,
    Exposures,
    Frame,
    NetworkTooLarge,
    Noise,
    NotConnected,
    ScaleUndetermined,
    SeenTwice,
    make_exposures,
    solve_frame,
    solving,
)
from tests.metrology.frames.networks import Scene, all_seen, even_noise, ring_scene

NOISE = Noise(lateral_mm=0.02, depth_mm=0.05, reference_mm=1500.0)


@pytest.fixture(scope="module")
def scene() -> Scene:
    return ring_scene()


def dense_design(scene: Scene, targets: int) -> np.ndarray:
    """Return the derivatives of all sightings by all unknowns, plainly."""
    rows = len(scene.target)
    design = np.zeros((3 * rows, 3 * targets + 6 * len(scene.rotations)))
    for row, (exposure, target) in enumerate(
        zip(scene.exposure, scene.target, strict=True)
    ):
        block = slice(3 * row, 3 * row + 3)
        rotation = scene.rotations[exposure]
        x, y, z = rotation @ scene.points_mm[target]
        pose = 3 * targets + 6 * exposure
        design[block, 3 * target : 3 * target + 3] = rotation
        design[block, pose : pose + 3] = np.eye(3)
        design[block, pose + 3 : pose + 6] = -np.array(
            [[0, -z, y], [z, 0, -x], [-y, x, 0]]
        )
    return design


def test_cofactors_equal_the_pseudo_inverse_of_the_whole_system(scene: Scene) -> None:
    """Inner constraints give the pseudo-inverse of the targets' own normal matrix."""
    frame = solve_frame(scene.exposures(NOISE, None), layout_mm=scene.layout)
    count = len(scene.names)
    order = [scene.names.index(name) for name in frame.target_names]
    unit = np.linalg.inv(np.linalg.cholesky(NOISE.covariances(scene.seen_mm)))
    design = dense_design(scene, count)
    whole = np.vstack(
        [unit[row] @ design[3 * row : 3 * row + 3] for row in range(len(scene.target))]
    )
    normal = whole.T @ whole
    width = 3 * count
    reduced = normal[:width, :width] - normal[:width, width:] @ np.linalg.solve(
        normal[width:, width:], normal[width:, :width]
    )
    rows = (3 * np.array(order)[:, np.newaxis] + np.arange(3)).ravel()
    expected = np.linalg.pinv(reduced, rcond=1e-10, hermitian=True)[np.ix_(rows, rows)]
    # The pseudo-inverse itself loses six digits to the condition of the poses.
    np.testing.assert_allclose(frame.cofactors, expected, rtol=1e-5, atol=1e-9)
    residual = np.eye(len(whole)) - whole @ np.linalg.pinv(whole, rcond=1e-10)
    np.testing.assert_allclose(
        frame.reliability.redundancy.sum(), np.trace(residual), rtol=1e-7
    )


def test_residuals_and_redundancy_equal_those_of_a_plain_adjustment() -> None:
    """With targets held and one exposure the model is a plain one of six unknowns."""
    scene = ring_scene(exposures=3, targets=9)
    exposures = scene.exposures(NOISE, seed=3)
    frame = solve_frame(exposures, held_mm=scene.layout)
    assert frame.degrees_of_freedom == 3 * len(exposures) - 18
    design = dense_design(scene, len(scene.names))[:, 3 * len(scene.names) :]
    blocks = exposures.covariances_mm2
    covariance = np.zeros((3 * len(blocks), 3 * len(blocks)))
    for row, block in enumerate(blocks):
        covariance[3 * row : 3 * row + 3, 3 * row : 3 * row + 3] = block
    observed = (exposures.points_mm - scene.seen_mm).ravel()
    plain = adjust(design, observed, covariance=covariance)
    # Linearised at the truth instead of the solution: second order, 0.05²/800 mm.
    np.testing.assert_allclose(frame.residuals_mm.ravel(), plain.residuals, atol=2e-5)
    np.testing.assert_allclose(
        frame.reliability.redundancy.ravel(), plain.redundancy, atol=1e-4
    )
    assert frame.sum_of_squares == pytest.approx(plain.sum_of_squares, rel=1e-3)


@given(seed=st.integers(0, 2**31))
def test_the_frame_does_not_depend_on_order_or_place(seed: int) -> None:
    scene = ring_scene(exposures=6, targets=12, seed=7)
    random = np.random.default_rng(seed)
    exposures = scene.exposures(NOISE, seed=1)
    plain = solve_frame(exposures, layout_mm=scene.layout)
    turn = Rotation.random(random_state=seed).as_matrix()
    shift = random.uniform(-5000.0, 5000.0, 3)
    order = random.permutation(len(exposures))
    mixed = make_exposures(
        [exposures.exposure_names[exposures.exposure[k]] for k in order],
        [exposures.target_names[exposures.target[k]] for k in order],
        exposures.points_mm[order],
        covariances_mm2=exposures.covariances_mm2[order],
    )
    moved = solve_frame(
        mixed, layout_mm={n: turn @ p + shift for n, p in scene.layout.items()}
    )
    back = (moved.coordinates.of(plain.target_names).points_mm - shift) @ turn
    # Rounding at 5 m, and where the iteration stops: a thousandth of the noise.
    np.testing.assert_allclose(back, plain.points_mm, atol=2e-6)
    assert moved.sum_of_squares == pytest.approx(plain.sum_of_squares, rel=1e-6)


def test_exact_sightings_give_exact_targets(scene: Scene) -> None:
    frame = solve_frame(scene.exposures(NOISE, None), layout_mm=scene.layout)
    order = [scene.names.index(name) for name in frame.target_names]
    np.testing.assert_allclose(frame.points_mm, scene.points_mm[order], atol=1e-8)
    tf = frame.tf_exposure_frame("3")
    np.testing.assert_allclose(tf.rotation_a_b, scene.rotations[2], atol=1e-10)
    np.testing.assert_allclose(tf.translation_a_b, scene.translations[2], atol=1e-7)


def test_sparse_views_are_eliminated_as_crowded_ones_are(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    exposures = scene.exposures(NOISE, seed=2)
    crowded = solve_frame(exposures)
    for module in ("normal", "reliability"):
        monkeypatch.setattr(f"lab.metrology.frames.{module}._CROWDED", 2.0)
    sparse = solve_frame(exposures)
    np.testing.assert_allclose(sparse.points_mm, crowded.points_mm, atol=1e-9)
    np.testing.assert_allclose(
        sparse.reliability.statistics, crowded.reliability.statistics, rtol=1e-6
    )


def test_datum_of_some_targets_changes_coordinates_but_no_distance(
    scene: Scene,
) -> None:
    exposures = scene.exposures(NOISE, seed=4)
    every = solve_frame(exposures, layout_mm=scene.layout)
    some = solve_frame(exposures, layout_mm=scene.layout, datum_targets=scene.names[:6])
    apart = [
        np.linalg.norm(f.points_mm[:, np.newaxis] - f.points_mm, axis=2)
        for f in (every, some)
    ]
    np.testing.assert_allclose(apart[0], apart[1], atol=1e-6)
    inner = every.coordinates.covariance_mm2.trace()
    assert inner < some.coordinates.covariance_mm2.trace()
    # The variance of a distance is the same in every datum.
    row = np.zeros(3 * len(every.target_names))
    direction = every.points_mm[8] - every.points_mm[3]
    direction /= np.linalg.norm(direction)
    row[24:27], row[9:12] = direction, -direction
    variances = [row @ f.coordinates.covariance_mm2 @ row for f in (every, some)]
    # Taken at coordinates that differ by a turn of some µrad.
    assert variances[0] == pytest.approx(variances[1], rel=1e-5)


def test_a_variance_factor_above_one_inflates_and_one_below_never_shrinks(
    scene: Scene,
) -> None:
    seen = scene.exposures(even_noise(0.02), seed=5)

    def frame_with(stated_mm: float) -> Frame:
        covariances = np.tile(stated_mm**2 * np.eye(3), (len(seen), 1, 1))
        return solve_frame(
            make_exposures(
                [seen.exposure_names[k] for k in seen.exposure],
                [seen.target_names[k] for k in seen.target],
                seen.points_mm,
                covariances_mm2=covariances,
            )
        )

    small, large = frame_with(0.01), frame_with(0.04)
    assert small.inflation == pytest.approx(4.0, rel=0.2)
    assert large.variance_factor is not None
    assert large.variance_factor.factor < 0.5
    assert large.inflation == 1.0
    # A noise stated too small accuses nobody: the tests take it from the residuals.
    assert small.reliability.worst is None
    assert small.reliability.factor == pytest.approx(4.0, rel=0.25)


def test_estimated_scale_comes_from_the_bar(scene: Scene) -> None:
    true_scale = 1.0 + 80e-6
    seen = scene.exposures(NOISE, seed=6)
    exposures = make_exposures(
        [seen.exposure_names[k] for k in seen.exposure],
        [seen.target_names[k] for k in seen.target],
        true_scale * seen.points_mm,
        covariances_mm2=seen.covariances_mm2,
    )
    length = float(np.linalg.norm(scene.points_mm[1] - scene.points_mm[0]))
    bar = Bar("R1", scene.names[0], scene.names[1], length, 0.002)
    frame = solve_frame(exposures, bars=[bar], estimate_scale=True)
    assert abs(frame.scales[0] - true_scale) < 4.0 * frame.u_scales[0]
    assert frame.reliability.redundancy.sum() == pytest.approx(
        frame.degrees_of_freedom, abs=0.01
    )
    with pytest.raises(ScaleUndetermined, match="seventh freedom"):
        solve_frame(exposures, estimate_scale=True)


def test_two_systems_have_a_scale_each(scene: Scene) -> None:
    seen = scene.exposures(even_noise(0.005), seed=8)
    first = seen.exposure < 6
    factors = np.where(first, 1.0, 1.0 + 300e-6)[:, np.newaxis]
    exposures = make_exposures(
        [seen.exposure_names[k] for k in seen.exposure],
        [seen.target_names[k] for k in seen.target],
        factors * seen.points_mm,
        covariances_mm2=seen.covariances_mm2,
    )
    length = float(np.linalg.norm(scene.points_mm[9] - scene.points_mm[4]))
    frame = solve_frame(
        exposures,
        bars=[Bar("R1", scene.names[4], scene.names[9], length, 0.001)],
        systems=["cold"] * 6 + ["warm"] * 6,
        estimate_scale=True,
    )
    ratio = frame.scales[1] / frame.scales[0]
    assert ratio - 1.0 == pytest.approx(300e-6, abs=20e-6)
    with pytest.raises(BadShape, match="12 exposures but 1 systems"):
        solve_frame(exposures, systems=["cold"])


def groups_apart() -> Exposures:
    """Two groups of three exposures that share two targets only."""
    scene = all_seen(ring_scene(exposures=6, targets=16))
    seen = scene.exposures(NOISE, seed=9)
    early = seen.exposure < 3
    own = (seen.target < 9) & early | (seen.target >= 7) & ~early
    return seen.without(np.flatnonzero(~own))


def test_disconnected_exposures_are_refused_with_their_groups() -> None:
    with pytest.raises(NotConnected, match="2 groups") as refused:
        solve_frame(groups_apart())
    assert refused.value.groups == (("1", "2", "3"), ("4", "5", "6"))
    assert "1, 2, 3" in str(refused.value)


def test_groups_are_joined_through_what_they_share_together() -> None:
    """No single pair shares three targets, but the groups do."""
    scene = all_seen(ring_scene(exposures=6, targets=20))
    seen = scene.exposures(NOISE, seed=10)
    inside = np.where(seen.exposure < 3, seen.target < 10, seen.target >= 10)
    # Each of the first three sees two more, all different: six in common in all.
    extra = (seen.exposure < 3) & (
        (seen.target == 10 + 2 * seen.exposure)
        | (seen.target == 11 + 2 * seen.exposure)
    )
    kept = seen.without(np.flatnonzero(~(inside | extra)))
    frame = solve_frame(kept, layout_mm=scene.layout)
    order = [scene.names.index(name) for name in frame.target_names]
    np.testing.assert_allclose(frame.points_mm, scene.points_mm[order], atol=0.3)
    assert frame.ties.weak == ()


def test_weak_ties_and_targets_seen_once_are_named() -> None:
    scene = all_seen(ring_scene(exposures=6, targets=16))
    seen = scene.exposures(NOISE, seed=9)
    early = seen.exposure < 3
    own = (seen.target < 9) & early | (seen.target >= 6) & ~early
    frame = solve_frame(seen.without(np.flatnonzero(~own)))
    (tie,) = frame.ties.weak
    assert {tie.exposures, tie.others} == {("1", "2", "3"), ("4", "5", "6")}
    assert tie.common_targets == scene.names[6:9]


def small(names: str = "ABCD") -> Exposures:
    places = np.array([[0, 0, 900], [90, 0, 900], [0, 90, 950], [40, 40, 990.0]])
    return make_exposures(
        ["1"] * 4 + ["2"] * 4,
        list(names) * 2,
        np.vstack([places, places + np.array([5.0, 0.0, 0.0])]),
        noise=NOISE,
    )


def test_what_cannot_be_solved_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    exposures = small()
    with pytest.raises(SeenTwice, match="target A in exposure 1"):
        small("AACD")
    with pytest.raises(BadShape, match="2 names of exposures, 1 of targets"):
        make_exposures(["1", "1"], ["A"], [[0, 0, 9]], noise=NOISE)
    with pytest.raises(BadShape, match="either the noise or"):
        make_exposures(["1"], ["A"], [[0, 0, 9]])
    with pytest.raises(NotFinite, match="points_mm"):
        make_exposures(["1"], ["A"], [[0, 0, np.nan]], noise=NOISE)
    with pytest.raises(Degenerate, match="lies at the tracker itself"):
        make_exposures(["1"], ["A"], [[0, 0, 0]], noise=NOISE)
    with pytest.raises(OutOfDomain, match="symmetric and positive definite"):
        make_exposures(
            ["1"], ["A"], [[0, 0, 9]], covariances_mm2=np.diag([1.0, -1, 1])[np.newaxis]
        )
    with pytest.raises(BadShape, match=r"must have shape \(1, 3, 3\)"):
        make_exposures(["1"], ["A"], [[0, 0, 9]], covariances_mm2=np.eye(3))
    with pytest.raises(TooFew, match="None of the held targets"):
        solve_frame(exposures, held_mm={"Z": [0, 0, 0]})
    with pytest.raises(Degenerate, match="2 held targets"):
        solve_frame(exposures, held_mm={"A": [0, 0, 0], "B": [90, 0, 0]})
    with pytest.raises(TooFew, match="targets of the datum are in the layout"):
        solve_frame(exposures, layout_mm={"A": [0, 0, 0]})
    with pytest.raises(OutOfDomain, match="Datum target Z is not seen"):
        solve_frame(exposures, datum_targets=["A", "B", "Z"])
    with pytest.raises(Degenerate, match="targets of the datum are fewer"):
        solve_frame(exposures, datum_targets=["A", "B"])
    with pytest.raises(BadShape, match="orientations must have shape"):
        solve_frame(exposures, orientations=np.eye(3))
    with pytest.raises(OutOfDomain, match="must be a rotation"):
        solve_frame(exposures, orientations=np.tile(2.0 * np.eye(3), (2, 1, 1)))
    monkeypatch.setattr(solving, "MOST_TARGETS", 3)
    with pytest.raises(NetworkTooLarge, match="4 targets"):
        solve_frame(exposures)


def test_known_orientations_need_a_common_target() -> None:
    exposures = make_exposures(
        ["1", "1", "2", "2"], list("ABCD"),
        [[0, 0, 9], [1, 0, 9], [0, 1, 9], [1, 1, 9.0]], noise=NOISE,
    )  # fmt: skip
    with pytest.raises(NotConnected, match="without a common target: 1; 2"):
        solve_frame(exposures, orientations=np.tile(np.eye(3), (2, 1, 1)))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"lateral_mm": 0.0}, "lateral_mm"),
        ({"depth_mm": -1.0}, "depth_mm"),
        ({"reference_mm": 0.0}, "reference_mm"),
        ({"depth_power": 5.0}, "from 0 to 4"),
    ],
)
def test_noise_refuses_what_is_no_noise(change: dict[str, float], words: str) -> None:
    with pytest.raises(OutOfDomain, match=words):
        Noise(**({"lateral_mm": 0.01, "depth_mm": 0.02} | change))


def test_noise_grows_along_and_across_the_line_of_sight() -> None:
    noise = Noise(0.01, 0.03, reference_mm=1000.0)
    (covariance,) = noise.covariances([[0.0, 0.0, 3000.0]])
    np.testing.assert_allclose(np.sqrt(np.diag(covariance)), [0.03, 0.03, 0.27])
