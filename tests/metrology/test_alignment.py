"""Best-fit alignment: known motions, claims of uncertainty, and bad pairs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.spatial.transform import Rotation

from lab.metrology.alignment import (
    Transform,
    align_robustly,
    fit_rigid,
    fit_similarity,
    snoop,
    transform_from_matrix,
    transform_from_parameters,
)
from lab.metrology.errors import (
    BadShape,
    Degenerate,
    NotFinite,
    OutOfDomain,
    TooFew,
)
from lab.metrology.fits import CoincidentPoints, CollinearPoints, NoMajority

seeds = st.integers(0, 2**31)


def moved(seed, count=8, scale=1.0, noise=0.0, offset=0.0, flat=False):
    """Return points of b, the same in a, and the motion between."""
    random = np.random.default_rng(seed)
    points_b = random.uniform(-500, 500, (count, 3)) + offset
    if flat:
        points_b[:, 2] = offset
    truth = Transform(
        Rotation.random(rng=random).as_matrix(), random.uniform(-900, 900, 3), scale
    )
    points_a = truth.apply(points_b) + noise * random.normal(size=(count, 3))
    return points_a, points_b, truth


@given(seeds, st.booleans())
def test_known_motions_are_recovered_flat_sets_too(seed, flat):
    points_a, points_b, truth = moved(seed, flat=flat)
    found = fit_rigid(points_a, points_b).tf_a_b
    # Coordinates of 1e3 mm carry 1e-13 mm of rounding each.
    np.testing.assert_allclose(found.rotation_a_b, truth.rotation_a_b, atol=1e-12)
    np.testing.assert_allclose(found.translation_a_b, truth.translation_a_b, atol=1e-9)
    assert np.linalg.det(found.rotation_a_b) == pytest.approx(1.0, abs=1e-12)


@given(seeds, st.floats(0.9, 1.1))
def test_known_scales_are_recovered(seed, scale):
    points_a, points_b, truth = moved(seed, scale=scale)
    found = fit_similarity(points_a, points_b).tf_a_b
    assert found.scale == pytest.approx(scale, abs=1e-12)
    np.testing.assert_allclose(found.rotation_a_b, truth.rotation_a_b, atol=1e-11)


@given(seeds)
def test_rotation_agrees_with_another_library_also_weighted(seed):
    points_a, points_b, _ = moved(seed, noise=5.0)
    random = np.random.default_rng(seed)
    u = random.uniform(0.5, 3.0, len(points_a))
    weights = u**-2.0
    centre_a = weights @ points_a / weights.sum()
    centre_b = weights @ points_b / weights.sum()
    theirs, _ = Rotation.align_vectors(
        points_a - centre_a, points_b - centre_b, weights=weights
    )
    found = fit_rigid(points_a, points_b, u_mm=u).tf_a_b
    # One singular-value decomposition each.
    np.testing.assert_allclose(found.rotation_a_b, theirs.as_matrix(), atol=1e-10)


@given(seeds)
def test_a_mirrored_set_still_gets_a_proper_rotation(seed):
    points_a, points_b, _ = moved(seed, noise=1.0)
    mirrored = points_a * [-1, 1, 1]
    found = fit_rigid(mirrored, points_b)
    assert np.linalg.det(found.tf_a_b.rotation_a_b) == pytest.approx(1.0, abs=1e-12)


@given(seeds)
def test_inverse_and_chain_cancel(seed):
    points_a, points_b, truth = moved(seed, scale=1.02)
    back = truth.inverse()
    np.testing.assert_allclose(back.apply(points_a), points_b, atol=1e-9)
    nothing = truth.after(back)
    np.testing.assert_allclose(nothing.matrix(), np.eye(4), atol=1e-9)
    again = transform_from_matrix(truth.matrix())
    assert again.scale == pytest.approx(1.02, abs=1e-12)
    np.testing.assert_allclose(again.rotation_a_b, truth.rotation_a_b, atol=1e-12)
    np.testing.assert_allclose(
        truth.rotate([[0, 0, 1]])[0], truth.rotation_a_b[:, 2], atol=1e-15
    )


@given(seeds)
def test_far_from_the_origin_the_fit_is_as_good(seed):
    near = fit_rigid(*moved(seed, noise=0.02)[:2])
    far = fit_rigid(*moved(seed, noise=0.02, offset=1e6)[:2])
    # The same noise about the same shape; coordinates of 1e6 mm end at 1e-10 mm.
    np.testing.assert_allclose(far.residuals_mm, near.residuals_mm, atol=1e-7)


@pytest.mark.parametrize("with_scale", [False, True])
def test_the_covariance_is_what_the_parameters_scatter_by(with_scale):
    random = np.random.default_rng(3)
    points_b = np.add(random.uniform(-300, 300, (6, 3)), [800, -200, 100])
    u = np.array([0.01, 0.02, 0.02, 0.03, 0.02, 0.05])
    truth = transform_from_parameters([10, 20, 30], [0.3, -0.2, 0.9])
    exact = truth.apply(points_b)
    fit = fit_similarity if with_scale else fit_rigid
    errors, claimed = [], fit(exact, points_b, u_mm=u).covariance
    assert claimed is not None
    for _ in range(3000):
        noisy = exact + u[:, np.newaxis] * random.normal(size=(6, 3))
        found = fit(noisy, points_b, u_mm=u).tf_a_b
        turn = Rotation.from_matrix(found.rotation_a_b @ truth.rotation_a_b.T)
        shift = found.translation_a_b - truth.translation_a_b
        errors.append([*shift, *turn.as_rotvec(), *[found.scale - 1.0] * with_scale])
    observed = np.cov(np.array(errors).T)
    scales = np.sqrt(np.diag(claimed.matrix))
    # 3000 draws give a variance to 2.6 % and a correlation to 0.02.
    np.testing.assert_allclose(
        observed / np.outer(scales, scales),
        claimed.matrix / np.outer(scales, scales),
        atol=0.1,
    )
    assert claimed.names[:6] == (
        "x_mm", "y_mm", "z_mm", "turn_x_rad", "turn_y_rad", "turn_z_rad",
    )  # fmt: skip
    assert (claimed.names[-1] == "scale") is with_scale


def test_mapped_points_are_least_uncertain_at_the_centroid():
    points_a, points_b, _ = moved(5, noise=0.02)
    found = fit_rigid(points_a, points_b, u_mm=np.full(8, 0.02))
    centroid = points_b.mean(axis=0)
    at = found.covariance_at([centroid, np.add(centroid, [1000, 0, 0])])
    # At the centroid only the translation is left: u/√8 in each coordinate.
    np.testing.assert_allclose(at[0], np.eye(3) * 0.02**2 / 8, atol=1e-12)
    assert np.trace(at[1]) > np.trace(at[0])


def test_the_variance_factor_inflates_and_never_shrinks():
    points_a, points_b, _ = moved(6, noise=0.1)
    honest = fit_rigid(points_a, points_b, u_mm=np.full(8, 0.1))
    boasting = fit_rigid(points_a, points_b, u_mm=np.full(8, 0.01))
    modest = fit_rigid(points_a, points_b, u_mm=np.full(8, 1.0))
    assert honest.variance_factor is not None
    assert boasting.variance_factor is not None
    assert modest.variance_factor is not None
    assert not honest.variance_factor.exceeds
    assert boasting.variance_factor.exceeds
    assert boasting.variance_factor.factor == pytest.approx(
        100 * honest.variance_factor.factor
    )
    critical = stats.chi2.isf(0.05, 18) / 18
    assert honest.variance_factor.critical == pytest.approx(critical)
    assert honest.covariance is not None
    assert boasting.covariance is not None
    assert modest.covariance is not None
    assert modest.covariance.u("x_mm") == pytest.approx(
        10 * honest.covariance.u("x_mm")
    )
    assert boasting.covariance.u("x_mm") == pytest.approx(
        honest.covariance.u("x_mm") * math.sqrt(honest.variance_factor.factor)
    )


def test_two_dimensions():
    angle = 0.4
    turn = np.array(
        [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
    )
    points_b = np.array([[0, 0], [100, 0], [40, 70.0]])
    points_a = points_b @ turn.T * 1.5 + [3, 4]
    found = fit_similarity(points_a, points_b)
    assert found.tf_a_b.scale == pytest.approx(1.5)
    np.testing.assert_allclose(found.tf_a_b.rotation_a_b, turn, atol=1e-12)
    assert fit_rigid(points_a / 1.5, points_b).degrees_of_freedom == 3
    with pytest.raises(BadShape, match="within a plane cannot follow one in space"):
        found.tf_a_b.after(transform_from_parameters([0, 0, 0], [0, 0, 0]))


def test_the_residuals_without_redundancy_claim_nothing():
    points_a, points_b, _ = moved(7, count=2)
    flat = fit_similarity(points_a[:, :2] * 0 + [[0, 0], [5, 5]], points_b[:, :2])
    assert flat.degrees_of_freedom == 0
    assert flat.covariance is None
    with pytest.raises(Degenerate, match="no redundancy and no stated uncertainty"):
        flat.covariance_at([[0.0, 0.0]])
    stated = fit_similarity([[0, 0], [5, 5]], points_b[:, :2], u_mm=[0.1, 0.1])
    assert stated.covariance is not None
    assert stated.variance_factor is None


def test_refusals():
    points_a, points_b, _ = moved(8)
    line = np.outer(np.arange(5.0), [1, 2, 3])
    with pytest.raises(CollinearPoints, match=r"an orientation \(points_a\)"):
        fit_rigid(line, points_b[:5])
    with pytest.raises(CollinearPoints, match=r"an orientation \(points_b\)"):
        fit_rigid(points_a[:5], line + 1e6)
    with pytest.raises(CoincidentPoints, match="all the same point"):
        fit_rigid(np.ones((4, 3)), points_b[:4])
    with pytest.raises(BadShape, match="points_a has 8, points_b has 7"):
        fit_rigid(points_a, points_b[:7])
    with pytest.raises(BadShape, match="u_mm has 3"):
        fit_rigid(points_a, points_b, u_mm=[1, 1, 1])
    with pytest.raises(OutOfDomain, match=r"u_mm\[2\] is 0; it must be above zero"):
        fit_rigid(points_a, points_b, u_mm=[1, 1, 0, 1, 1, 1, 1, 1])
    with pytest.raises(TooFew, match="points_a holds 2 points; at least 3"):
        fit_rigid(points_a[:2], points_b[:2])
    with pytest.raises(NotFinite, match="points_b holds 1 value"):
        fit_rigid(points_a, np.where(points_b == points_b[0, 0], np.nan, points_b))
    # The mirror image of a symmetric frame fits equally well in many ways.
    axes = np.vstack([np.eye(3), -np.eye(3)])
    with pytest.raises(Degenerate, match="Several rotations map the points equally"):
        fit_rigid(-axes[:, [0, 1, 2]] * 1.0, axes)


@pytest.mark.parametrize(
    ("matrix", "error", "match"),
    [
        (np.diag([1, 1, -1, 1]), OutOfDomain, "mirrors"),
        (np.diag([1, 1, 2, 1]), OutOfDomain, "shears or flattens"),
        (np.ones((4, 4)), OutOfDomain, "must end in the row"),
        (np.eye(5), BadShape, r"must have shape \(N, 4\)"),
        (np.eye(4)[:3], TooFew, "at least 4 are needed"),
        (np.vstack([np.eye(4), np.eye(4)]), BadShape, "must be square"),
    ],
)
def test_matrices_that_are_no_motion(matrix, error, match):
    with pytest.raises(error, match=match):
        transform_from_matrix(matrix)


def test_parameters_that_are_no_motion():
    with pytest.raises(BadShape, match="translation_mm must have three components"):
        transform_from_parameters([0, 0, 0, 0], [0, 0, 0])
    with pytest.raises(OutOfDomain, match="scale is 0; it must be greater than zero"):
        transform_from_parameters([0, 0, 0], [0, 0, 0], 0.0)


@pytest.mark.parametrize("stated", [True, False])
def test_snooping_finds_the_moved_points_one_by_one(stated):
    points_a, points_b, _ = moved(9, count=12, noise=0.02)
    points_a[4] += [0.3, 0, 0]
    points_a[9] += [0, -0.2, 0.2]
    u = np.full(12, 0.02) if stated else None
    found = snoop(points_a, points_b, u_mm=u)
    assert {each.index for each in found.left_out} == {4, 9}
    assert all(each.statistic > each.critical for each in found.left_out)
    assert np.flatnonzero(~found.kept).tolist() == [4, 9]
    assert len(found.alignment.residuals_mm) == 10
    assert len(found.untestable) == 0


@pytest.mark.parametrize("stated", [True, False])
def test_snooping_a_clean_family_errs_as_often_as_stated(stated):
    families = 400
    false_alarms = 0
    for seed in range(families):
        points_a, points_b, _ = moved(seed, count=8, noise=0.02)
        u = np.full(8, 0.02) if stated else None
        false_alarms += bool(snoop(points_a, points_b, u_mm=u).left_out)
    # 5 % of 400 is 20, with a standard deviation of 4.4; the tests of a family are
    # correlated, so that the true rate lies a little below.
    assert 6 <= false_alarms <= 34


def test_the_statistic_is_what_leaving_out_gains():
    points_a, points_b, _ = moved(10, count=7, noise=0.02)
    points_a[2] += 0.5
    with_it = (fit_rigid(points_a, points_b).residuals_mm ** 2).sum()
    rest = np.arange(7) != 2
    without = (fit_rigid(points_a[rest], points_b[rest]).residuals_mm ** 2).sum()
    out = snoop(points_a, points_b, u_mm=np.full(7, 0.02)).left_out[0]
    expected = (with_it - without) / 0.02**2
    # Linearised about a residual of half a millimetre in half a metre.
    assert out.index == 2
    assert out.statistic == pytest.approx(expected, rel=1e-3)


def test_points_that_no_test_can_judge_are_named():
    # Without the first point the other three lie on a line.
    points_b = np.array([[0, 50, 0], [0, 0, 0], [100, 0, 0], [200, 0, 0.0]])
    found = snoop(points_b + 0.0, points_b, u_mm=np.full(4, 0.02))
    assert found.untestable.tolist() == [0]
    with pytest.raises(OutOfDomain, match="family_probability is 1; it must lie"):
        snoop(points_b, points_b, family_probability=1.0)


@pytest.mark.parametrize("count", [10, 25, 200, 3000])
@pytest.mark.parametrize("with_scale", [False, True])
def test_two_pairs_in_five_may_be_wrong(count, with_scale):
    for seed in range(3):
        scale = 1.01 if with_scale else 1.0
        points_a, points_b, _ = moved(seed, count=count, noise=0.02, scale=scale)
        random = np.random.default_rng(seed)
        wrong = random.choice(count, size=int(0.4 * count), replace=False)
        points_a[wrong] += random.normal(scale=80.0, size=(len(wrong), 3))
        found = align_robustly(points_a, points_b, with_scale=with_scale)
        assert set(wrong) <= set(found.left_out)
        # Of the good ones one in 370 lies beyond three sigma.
        assert len(found.left_out) - len(wrong) <= max(1, 0.01 * count)
        right = np.setdiff1d(np.arange(count), wrong)
        clean = (fit_similarity if with_scale else fit_rigid)(
            points_a[right], points_b[right]
        )
        np.testing.assert_allclose(
            found.alignment.tf_a_b.apply(points_b),
            clean.tf_a_b.apply(points_b),
            atol=0.05,
        )


def test_wrong_pairs_that_agree_among_themselves_are_left_out_too():
    points_a, points_b, _ = moved(11, count=20, noise=0.02)
    points_a[:8] += [40.0, -25.0, 10.0]  # the fixture slipped
    found = align_robustly(points_a, points_b)
    assert found.left_out.tolist() == list(range(8))


def test_swapped_names_have_no_majority():
    points_a, points_b, _ = moved(12, count=12)
    random = np.random.default_rng(12)
    with pytest.raises(NoMajority, match="check which point is which"):
        align_robustly(points_a[random.permutation(12)] * 1.0, points_b, cutoff=0.2)


def test_robust_refusals():
    line = np.outer(np.arange(6.0), [1, 2, 3])
    with pytest.raises(CollinearPoints, match="an orientation"):
        align_robustly(line, line)
    with pytest.raises(TooFew, match="at least 4"):
        align_robustly(line[:3], line[:3])
    sliver = np.column_stack([np.arange(6.0), [0, 1e-5, 0, 1e-5, 0, 1e-5], np.zeros(6)])
    with pytest.raises(Degenerate, match="No three of the points span a triangle"):
        align_robustly(sliver, sliver)
