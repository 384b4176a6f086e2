"""Signed distances against every triangle, summaries against plain sums."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from trimesh.triangles import closest_point

from lab.metrology.alignment import transform_from_parameters
from lab.metrology.deviation import (
    Surface,
    fit_to_surface,
    signed_distances,
    summarise_deviations,
    vertex_areas,
    vertex_normals,
    worst_regions,
)
from lab.metrology.errors import (
    BadShape,
    Degenerate,
    NotFinite,
    OutOfDomain,
    TooFew,
)
from lab.metrology.fits import NotConverged
from lab.metrology.meshes import Mesh, make_mesh

seeds = st.integers(0, 2**31)


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return make_mesh(np.array(shape.vertices), np.array(shape.faces))


BALL = mesh_of(trimesh.creation.icosphere(3, radius=50.0))
BLOCK = mesh_of(trimesh.creation.box((80.0, 50.0, 20.0)))
# A shape with notches, where the nearest feature is often an edge or a corner.
CROWN = mesh_of(
    trimesh.creation.extrude_triangulation(
        [[0, 0], [40, 5], [80, 0], [45, 30], [80, 80], [40, 50], [0, 80], [20, 30]],
        [[0, 1, 7], [1, 3, 7], [1, 2, 3], [3, 5, 7], [3, 4, 5], [5, 6, 7]],
        15.0,
    )
)


def by_every_triangle(mesh: Mesh, points: np.ndarray) -> np.ndarray:
    """Return unsigned distances by another library's formula, triangle by triangle."""
    corners = mesh.vertices_mm[mesh.triangles]
    best = np.full(len(points), math.inf)
    for corner in corners:
        feet = closest_point(np.repeat(corner[np.newaxis], len(points), axis=0), points)
        best = np.minimum(best, np.linalg.norm(points - feet, axis=1))
    return best


def is_inside(mesh: Mesh, points: np.ndarray) -> np.ndarray:
    """Say by the solid angle which points a closed mesh holds (van Oosterom)."""
    total = np.zeros(len(points))
    for corner in mesh.vertices_mm[mesh.triangles]:
        arms = corner[np.newaxis] - points[:, np.newaxis]
        lengths = np.linalg.norm(arms, axis=2)
        a, b, c = arms[:, 0], arms[:, 1], arms[:, 2]
        volume = np.einsum("ij,ij->i", a, np.cross(b, c))
        dots = lengths.prod(axis=1)
        for first, second, third in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
            inner = np.einsum("ij,ij->i", arms[:, first], arms[:, second])
            dots += inner * lengths[:, third]
        total += 2 * np.arctan2(volume, dots)
    return total > 2 * math.pi


@pytest.mark.parametrize("mesh", [BALL, BLOCK, CROWN], ids=["ball", "block", "crown"])
@pytest.mark.parametrize("reach", [1.0, 30.0, 1000.0])
def test_distances_are_those_from_the_nearest_of_all_triangles(mesh, reach):
    random = np.random.default_rng(0)
    places = mesh.vertices_mm[random.choice(len(mesh.vertices_mm), 150)]
    inner = random.dirichlet([1, 1, 1], 150)
    faces = mesh.vertices_mm[mesh.triangles[random.choice(len(mesh.triangles), 150)]]
    on_faces = np.einsum("ni,nij->nj", inner, faces)
    points = np.vstack([places, on_faces])
    points += random.normal(scale=reach, size=points.shape)
    found = signed_distances(points, mesh)
    expected = by_every_triangle(mesh, points)
    # Both are exact but for rounding of coordinates up to 1e3 mm.
    np.testing.assert_allclose(np.abs(found.distances_mm), expected, atol=1e-10)
    assert found.is_sign_certain
    clear = expected > 1e-6
    inside = is_inside(mesh, points[clear])
    np.testing.assert_array_equal(found.distances_mm[clear] < 0, inside)
    apart = np.linalg.norm(points - found.feet_mm, axis=1)
    np.testing.assert_allclose(apart, expected, atol=1e-10)


@given(seeds)
def test_a_soup_of_slivers_is_searched_exactly(seed):
    random = np.random.default_rng(seed)
    count = int(random.integers(1, 80))
    # Long thin triangles across one another: boxes that say little.
    corners = random.normal(size=(count, 3, 3)) * [100.0, 1.0, 0.01]
    corners = corners[:, :, random.permutation(3)]
    mesh = make_mesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))
    points = random.normal(scale=60.0, size=(50, 3))
    found = signed_distances(points, mesh)
    np.testing.assert_allclose(
        np.abs(found.distances_mm), by_every_triangle(mesh, points), atol=1e-9
    )


def test_points_equally_far_from_everything_are_answered_in_pieces():
    ball = Surface.of(mesh_of(trimesh.creation.icosphere(5, radius=50.0)))
    points = np.random.default_rng(1).normal(scale=0.5, size=(150, 3))
    found = ball.signed_distances(points)
    # Within half a millimetre of the centre of a polyhedron of 20,480 faces.
    assert np.all(found.distances_mm < -46)
    assert np.all(found.distances_mm >= -50)


@given(seeds)
def test_distances_move_with_the_part(seed):
    random = np.random.default_rng(seed)
    points = random.uniform(-100, 100, (40, 3))
    motion = transform_from_parameters(
        random.uniform(-1e5, 1e5, 3), random.uniform(-1, 1, 3)
    )
    moved = make_mesh(motion.apply(CROWN.vertices_mm), CROWN.triangles)
    here = signed_distances(points, CROWN).distances_mm
    there = signed_distances(motion.apply(points), moved).distances_mm
    # Coordinates of 1e5 mm end at 1e-11 mm.
    np.testing.assert_allclose(there, here, atol=1e-9)


def test_an_open_surface_has_sides_but_no_certain_sign():
    sheet = make_mesh(
        [[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0]], [[0, 1, 2], [0, 2, 3]]
    )
    found = signed_distances([[4, 4, 2], [4, 4, -2], [4, 4, 0], [12, 4, 0]], sheet)
    assert found.distances_mm.tolist() == [2, -2, 0, 3]
    assert not found.is_sign_certain


def test_points_that_are_none():
    with pytest.raises(NotFinite, match="points_mm holds 1 value"):
        signed_distances([[0, 0, np.nan]], BLOCK)
    with pytest.raises(TooFew, match="points_mm holds no points"):
        signed_distances([], BLOCK)


@given(
    st.lists(st.floats(-2, 2), min_size=1, max_size=80),
    st.floats(-1, 0),
    st.floats(0, 1),
    seeds,
)
def test_shares_and_means_are_plain_weighted_sums(values, lower, upper, seed):
    weights = np.random.default_rng(seed).uniform(0.1, 3.0, len(values))
    told = summarise_deviations(values, lower_mm=lower, upper_mm=upper, weights=weights)
    inside = sum(
        weight
        for value, weight in zip(values, weights, strict=True)
        if lower <= value <= upper
    )
    # Sums in another order.
    assert told.share_inside == pytest.approx(inside / weights.sum(), abs=1e-12)
    total = told.share_inside + told.share_below + told.share_above
    assert total == pytest.approx(1, abs=1e-12)
    assert told.mean_mm == pytest.approx(np.average(values, weights=weights), abs=1e-12)
    percentiles = list(told.percentiles_mm.values())
    assert percentiles == sorted(percentiles)
    assert told.lowest_mm <= percentiles[0]
    assert percentiles[-1] <= told.highest_mm
    for percent, value in told.percentiles_mm.items():
        below = weights[np.array(values) <= value].sum() / weights.sum()
        assert below >= percent / 100 - 1e-9


def test_percentiles_without_weights_agree_with_another_library():
    values = np.random.default_rng(2).normal(size=999)
    told = summarise_deviations(values, lower_mm=-1, upper_mm=1)
    for percent, value in told.percentiles_mm.items():
        assert value == np.percentile(values, percent, method="inverted_cdf")


def test_points_out_of_reach_are_left_out_and_counted():
    told = summarise_deviations([0.1, -0.2, 7.0], lower_mm=-1, upper_mm=1, reach_mm=2)
    assert (told.points, told.left_out, told.highest_mm) == (2, 1, 0.1)
    with pytest.raises(TooFew, match="within reach holds 0 values"):
        summarise_deviations([7.0], lower_mm=-1, upper_mm=1, reach_mm=2)


def test_areas_of_vertices_add_up():
    assert vertex_areas(BLOCK).sum() == pytest.approx(BLOCK.area_mm2)
    outward = np.einsum("ij,ij->i", vertex_normals(BALL), BALL.vertices_mm)
    assert np.all(outward > 49.9)


def test_regions_are_the_bumps_that_were_made():
    grid = (
        np.array(np.meshgrid(np.arange(100.0), np.arange(60.0), [0.0])).reshape(3, -1).T
    )
    deviation = np.zeros(len(grid))
    bump = np.hypot(grid[:, 0] - 20, grid[:, 1] - 20) < 6
    dent = np.hypot(grid[:, 0] - 70, grid[:, 1] - 40) < 9
    deviation[bump], deviation[dent] = 0.4, -0.7
    # Beside the dent lies a ridge: neighbours, but on the other side of tolerance.
    ridge = (grid[:, 0] > 80) & (grid[:, 1] > 35) & (grid[:, 1] < 45)
    deviation[ridge] = 0.3
    found = worst_regions(grid, deviation, lower_mm=-0.1, upper_mm=0.1, apart_mm=1.5)
    assert [region.worst_mm for region in found] == [-0.7, 0.4, 0.3]
    assert [region.points for region in found] == [dent.sum(), bump.sum(), ridge.sum()]
    np.testing.assert_allclose(found[1].centre_mm, [20, 20, 0], atol=1e-9)
    assert found[1].size_mm.tolist() == [10.0, 10.0, 0.0]
    assert sum(region.share for region in found) == pytest.approx(
        (bump.sum() + dent.sum() + ridge.sum()) / len(grid)
    )
    few = worst_regions(
        grid, deviation, lower_mm=-0.1, upper_mm=0.1, apart_mm=1.5, most=1
    )
    assert len(few) == 1
    none = worst_regions(grid, deviation, lower_mm=-1, upper_mm=1, apart_mm=1.5)
    assert none == ()
    large = worst_regions(
        grid, deviation, lower_mm=-0.1, upper_mm=0.1, apart_mm=1.5, fewest_points=190
    )
    assert [region.worst_mm for region in large] == [-0.7]


@given(seeds)
def test_regions_don_t_depend_on_the_order_of_points(seed):
    random = np.random.default_rng(seed)
    points = random.uniform(0, 100, (200, 3))
    values = random.normal(size=200)
    order = random.permutation(200)
    tolerance = {"lower_mm": -1.0, "upper_mm": 0.8, "apart_mm": 9.0, "most": 500}
    first = worst_regions(points, values, **tolerance)
    second = worst_regions(points[order], values[order], **tolerance)
    assert [(each.points, each.worst_mm) for each in first] == [
        (each.points, each.worst_mm) for each in second
    ]
    outside = int(np.count_nonzero((values < -1.0) | (values > 0.8)))
    assert sum(each.points for each in first) == outside


def test_refusals_of_summaries():
    with pytest.raises(OutOfDomain, match="upside down: lower_mm is 1, upper_mm -1"):
        summarise_deviations([0.0], lower_mm=1, upper_mm=-1)
    with pytest.raises(OutOfDomain, match=r"weights\[1\] is -1; none may be negative"):
        summarise_deviations([0.0, 0.0], lower_mm=-1, upper_mm=1, weights=[1, -1])
    with pytest.raises(OutOfDomain, match="weights of the points within reach are all"):
        summarise_deviations([0.0], lower_mm=-1, upper_mm=1, weights=[0.0])
    with pytest.raises(BadShape, match="weights has 1"):
        summarise_deviations([0.0, 0.0], lower_mm=-1, upper_mm=1, weights=[1.0])
    with pytest.raises(OutOfDomain, match="far too small for points that lie"):
        worst_regions(
            [[0, 0, 0], [1e9, 1e9, 1e9]], [5, 5], lower_mm=0, upper_mm=1, apart_mm=1e-3
        )


@pytest.mark.parametrize("with_normals", [False, True])
def test_points_find_their_way_onto_the_surface(with_normals):
    random = np.random.default_rng(3)
    surface = Surface.of(CROWN)
    shape = trimesh.Trimesh(CROWN.vertices_mm, CROWN.triangles, process=False)
    points, faces = trimesh.sample.sample_surface(shape, 4000, seed=3)
    points = points + random.normal(scale=0.01, size=points.shape)
    truth = transform_from_parameters([120, -40, 33], [0.5, -0.4, 1.2])
    placed = truth.apply(points)
    normals = truth.rotate(surface.face_normals[faces]) if with_normals else None
    rough = transform_from_parameters([1.0, -0.8, 0.6], [0.02, -0.01, 0.015])
    found = fit_to_surface(
        placed, surface, rough.after(truth.inverse()), normals=normals
    )
    left = found.tf_nominal_measured.after(truth).matrix()
    # 4000 points of 0.01 mm over 80 mm fix the pose to about 0.3 µm and 1e-5 rad.
    np.testing.assert_allclose(left, np.eye(4), atol=2e-3)
    assert found.rms_mm == pytest.approx(0.01, rel=0.1)
    assert found.used_share > 0.99


def test_a_surface_that_leaves_a_motion_free_is_refused():
    sheet = trimesh.creation.box((100.0, 100.0, 1.0))
    top = mesh_of(trimesh.Trimesh(sheet.vertices, sheet.faces[sheet.facets[0]]))
    random = np.random.default_rng(4)
    corners = top.vertices_mm[top.triangles[0]]
    points = random.dirichlet([1, 1, 1], 50) @ corners
    with pytest.raises(Degenerate, match="leaves a motion free"):
        fit_to_surface(
            points, Surface.of(top), transform_from_parameters([0] * 3, [0] * 3)
        )


def test_normals_that_point_inward_are_refused():
    surface = Surface.of(BLOCK)
    nothing = transform_from_parameters([0, 0, 0], [0, 0, 0])
    points = BLOCK.vertices_mm[BLOCK.triangles].mean(axis=1)
    with pytest.raises(NotConverged, match="or the normals point inward"):
        fit_to_surface(points, surface, nothing, normals=-surface.face_normals)
