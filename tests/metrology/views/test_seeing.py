from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from lab.metrology.errors import BadShape, Degenerate, OutOfDomain
from lab.metrology.frames import Noise
from lab.metrology.meshes import make_mesh, read_mesh
from lab.metrology.views import (
    Reason,
    Tracker,
    find_sites,
    plan_targets,
    poses_looking_at,
    see_targets,
    surround,
)
from lab.metrology.views.rays import HAS_EMBREE, NOTHING, Blockers
from lab.metrology.views.sites import sharp_edges
from tests.metrology.views.cradle import TRACKER, boxes, cradle, cradle_mesh

Array = NDArray[np.float64]

PLATE = boxes([(np.array([-100.0, -1.0, -100.0]), np.array([100.0, 1.0, 100.0]))])
NONE = plan_targets([], np.zeros((0, 3)), np.zeros((0, 3)))


def reason(
    point: list[float],
    normal: list[float],
    *,
    place: tuple[float, float, float] = (0.0, -2000.0, 0.0),
    turns: bool = False,
    with_plate: bool = False,
) -> Reason:
    targets = plan_targets(["T"], [point], [normal], turns=[turns])
    poses = poses_looking_at([place], [0.0, 0.0, 0.0])
    around = surround([PLATE] if with_plate else [])
    return Reason(int(see_targets(targets, poses, TRACKER, around).reasons[0, 0]))


@pytest.mark.parametrize(
    ("point", "normal", "expected"),
    [
        ([0, 0, 0], [0, -1, 0], Reason.SEEN),
        ([0, 0, 0], [0, 1, 0], Reason.TURNED_AWAY),
        ([0, 0, 0], [math.sin(0.95), -math.cos(0.95), 0], Reason.SEEN),
        ([0, 0, 0], [math.sin(0.97), -math.cos(0.97), 0], Reason.TURNED_AWAY),
        ([0, -1500, 0], [0, -1, 0], Reason.OUT_OF_RANGE),
        ([0, 1700, 0], [0, -1, 0], Reason.OUT_OF_RANGE),
        ([950, 0, 0], [-0.5, -1, 0], Reason.OUT_OF_VIEW),
        ([0, 0, 750], [0, -1, -0.5], Reason.OUT_OF_VIEW),
        ([0, -4000, 0], [0, 1, 0], Reason.OUT_OF_VIEW),
    ],
)
def test_range_field_and_incidence(
    point: list[float], normal: list[float], expected: Reason
) -> None:
    assert reason(point, normal) is expected


def test_a_plate_hides_what_is_behind_it_and_nothing_before_it() -> None:
    assert reason([0, 50, 0], [0, -1, 0], with_plate=True) is Reason.HIDDEN
    assert reason([0, 50, 150], [0, -1, 0], with_plate=True) is Reason.SEEN
    # The plate stands behind the tracker: the distance is compared.
    behind = (0.0, -2000.0, 0.0)
    assert (
        reason([0, -200, 0], [0, -1, 0], place=behind, with_plate=True) is Reason.SEEN
    )


def test_targets_on_the_facet_itself_are_seen() -> None:
    """Without the lift half of them hide behind the facet that they lie on."""
    random = np.random.default_rng(0)
    points = np.column_stack(
        [random.uniform(-90, 90, 500), np.full(500, -1.0), random.uniform(-90, 90, 500)]
    )
    targets = plan_targets(
        [str(k) for k in range(500)], points, np.tile([0.0, -1.0, 0.0], (500, 1))
    )
    poses = poses_looking_at([[300, -2000, 500]], [0, 0, 0])
    for with_embree in (True, False):
        around = surround([PLATE], with_embree=with_embree)
        assert see_targets(targets, poses, TRACKER, around).seen.all()


def test_axis_targets_turn_to_face_the_tracker() -> None:
    """About an upright axis they face any level pose, but not one from above."""
    assert reason([0, 0, 0], [0, 0, 1], turns=True) is Reason.SEEN
    steep = (0.0, -600.0, 1900.0)
    assert reason([0, 0, 0], [0, 0, 1], turns=True, place=steep) is Reason.TURNED_AWAY
    # A flat target with that normal is seen from above only.
    assert reason([0, 0, 0], [0, 0, 1], place=steep) is Reason.SEEN


def test_a_table_turns_the_part_and_leaves_the_room() -> None:
    """A pillar in the room hides the same view from the same station at any angle."""
    station = poses_looking_at([[0, -2000, 0]], [0, 0, 0], names=["A"])
    table = station.on_table(np.radians([0, 90, 180, 270]), [0, 0, 1], [0, 0, 0])
    assert table.names == ("A at 0°", "A at 90°", "A at 180°", "A at 270°")
    # On the side of the part that faces the station once the table has turned 90°.
    targets = plan_targets(["front", "side"], [[0, -50, 0], [-50, 0, 0]],
                           [[0, -1, 0], [-1, 0, 0]])  # fmt: skip
    free = see_targets(targets, table, TRACKER, surround([])).seen
    assert free.tolist() == [[True, False], [False, True], [False, False], [False] * 2]
    pillar = boxes(
        [(np.array([-80.0, -700.0, -800.0]), np.array([80.0, -600.0, 800.0]))]
    )
    assert not see_targets(targets, table, TRACKER, surround([], [pillar])).seen.any()
    turning = see_targets(targets, table, TRACKER, surround([pillar])).seen
    assert turning.tolist() == [[False, False], [False, True], [False] * 2, [False] * 2]


def test_seen_from_and_in_room_agree_with_the_table() -> None:
    station = poses_looking_at([[300, -2000, 100]], [0, 0, 0])
    table = station.on_table([0.7], [0, 0.6, 0.8], [10, 20, 30])
    points = np.random.default_rng(0).uniform(-400, 400, (5, 3))
    in_room = table.in_room(points, np.zeros(5, dtype=np.intp))
    np.testing.assert_allclose(
        table.seen_from(points)[0], station.seen_from(in_room)[0], atol=1e-9
    )


@given(seed=st.integers(0, 2**31))
def test_the_tree_meets_what_every_triangle_tried_would(seed: int) -> None:
    random = np.random.default_rng(seed)
    corners = random.uniform(-100, 100, (30, 3, 3))
    mesh = make_mesh(corners.reshape(-1, 3), np.arange(90).reshape(30, 3))
    tree = Blockers.of([mesh], with_embree=False)
    starts = random.uniform(-150, 150, (40, 3))
    ahead = random.normal(size=(40, 3))
    ahead[:6] = np.vstack([np.eye(3), -np.eye(3)])
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    hits = tree.first_hits(starts, ahead)
    triangles = mesh.vertices_mm[mesh.triangles]
    a, b, c = triangles.transpose(1, 0, 2)
    for k in range(40):
        sides = np.stack([b - a, c - a, np.broadcast_to(-ahead[k], a.shape)], axis=2)
        u, v, t = np.linalg.solve(sides, (starts[k] - a)[:, :, np.newaxis])[:, :, 0].T
        met = np.where((u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0), t, np.inf)
        assert hits.distances_mm[k] == pytest.approx(met.min(), rel=1e-9)
        if np.isfinite(met.min()):
            assert hits.triangles[k] == np.argmin(met)
        ends = starts[k] + 50.0 * ahead[k]
        blocked = tree.block(starts[k : k + 1], ends[np.newaxis])[0]
        assert blocked == (met.min() <= 50.0)


@pytest.mark.skipif(not HAS_EMBREE, reason="Embree isn't installed here.")
def test_embree_and_the_tree_agree_on_the_cradle() -> None:
    made = cradle()
    slow = surround([made.mesh], with_embree=False)
    found = see_targets(made.sites, made.poses, TRACKER, slow)
    # Lines that graze an edge may fall either way in single precision.
    assert np.mean(found.seen != made.seen.seen) < 1e-4
    hits = [
        Blockers.of([made.mesh], with_embree=each).first_hits(
            np.tile([0.0, -2000.0, 0.0], (400, 1)),
            (made.sites.points_mm - [0, -2000, 0])
            / np.linalg.norm(made.sites.points_mm - [0, -2000, 0], axis=1)[:, None],
        )
        for each in (True, False)
    ]
    same = hits[0].triangles == hits[1].triangles
    assert same.mean() > 0.99
    np.testing.assert_allclose(
        hits[0].distances_mm[same], hits[1].distances_mm[same], atol=1e-6
    )


def test_nothing_blocks_nothing() -> None:
    empty = Blockers.of([])
    assert not empty.block(np.zeros((2, 3)), np.ones((2, 3))).any()
    hits = empty.first_hits(np.zeros((2, 3)), np.tile([0.0, 0.0, 1.0], (2, 1)))
    assert hits.triangles.tolist() == [NOTHING, NOTHING]


def test_sites_keep_their_distances() -> None:
    mesh = cradle_mesh()
    kept_out = [0, 1]
    sites = find_sites(mesh, spacing_mm=50, edge_mm=15, keep_out=kept_out, most=200)
    apart = np.linalg.norm(sites.points_mm[:, None] - sites.points_mm, axis=2)
    assert apart[np.triu_indices(len(sites), 1)].min() >= 50.0
    for start, end in sharp_edges(mesh):
        along = end - start
        share = np.clip((sites.points_mm - start) @ along / (along @ along), 0.0, 1.0)
        feet = start + share[:, np.newaxis] * along
        assert np.linalg.norm(sites.points_mm - feet, axis=1).min() >= 15.0
    triangles = mesh.vertices_mm[mesh.triangles[kept_out]]
    for a, b, c in triangles:
        normal = np.cross(b - a, c - a)
        flat = np.abs((sites.points_mm - a) @ normal) / np.linalg.norm(normal) < 1e-6
        for point in sites.points_mm[flat]:
            u, v = np.linalg.lstsq(np.column_stack([b - a, c - a]), point - a,
                                   rcond=None)[0]  # fmt: skip
            assert not (u > 0 and v > 0 and u + v < 1)
    again = find_sites(mesh, spacing_mm=50, edge_mm=15, keep_out=kept_out, most=200)
    np.testing.assert_array_equal(sites.points_mm, again.points_mm)


@pytest.mark.parametrize(
    "name",
    ["own_grille_nominal.stl", "trimesh_featuretype.STL", "trimesh_plate_holes.STL",
     "pyvista_nut.ply", "trimesh_box.STL", "trimesh_sphere.ply"],
)  # fmt: skip
def test_real_meshes_are_analysed(
    shared_data: Callable[[str], Path], name: str
) -> None:
    mesh = read_mesh((shared_data("mesh") / name).read_bytes())
    size = float(np.linalg.norm(mesh.size_mm))
    middle = 0.5 * (mesh.vertices_mm.min(axis=0) + mesh.vertices_mm.max(axis=0))
    sites = find_sites(mesh, spacing_mm=0.05 * size, edge_mm=0.002 * size, most=60)
    angles = 2.0 * np.pi * np.arange(12) / 12
    ring = middle + 2.0 * size * np.column_stack(
        [np.cos(angles), np.sin(angles), np.full(12, 0.6)]
    )
    tracker = Tracker(0.5 * size, 5.0 * size, 0.5, 0.5, 1.0, Noise(0.01, 0.03))
    poses = poses_looking_at(ring, middle)
    found = see_targets(
        sites, poses, tracker, surround([mesh], mesh_noise_mm=1e-3 * size)
    )
    outward = np.einsum("nk,nk->n", sites.points_mm - middle, sites.directions) > 0
    assert found.seen.sum() > 12
    # From outside, a target that looks inward through a bore is rarely seen.
    assert found.seen[:, outward].any(axis=0).mean() > 0.3


def test_plans_refuse_what_is_no_plan() -> None:
    with pytest.raises(BadShape, match="2 names, 1 points"):
        plan_targets(["A", "B"], [[0, 0, 0]], [[0, 0, 1]])
    with pytest.raises(BadShape, match="same name"):
        plan_targets(["A", "A"], [[0, 0, 0]] * 2, [[0, 0, 1]] * 2)
    with pytest.raises(OutOfDomain, match="direction of target A has no length"):
        plan_targets(["A"], [[0, 0, 0]], [[0, 0, 0]])
    with pytest.raises(Degenerate, match="straight up or down"):
        poses_looking_at([[0, 0, 900]], [0, 0, 0])
    with pytest.raises(BadShape, match="1 poses but 2 names"):
        poses_looking_at([[900, 0, 0]], [0, 0, 0], names=["A", "B"])
    with pytest.raises(Degenerate, match="axis has no length"):
        poses_looking_at([[900, 0, 0]], [0, 0, 0]).on_table([0.0], [0, 0, 0], [0, 0, 0])
    with pytest.raises(OutOfDomain, match="upside down"):
        Tracker(900.0, 600.0, 0.4, 0.4, 1.0, Noise(0.01, 0.02))
    with pytest.raises(OutOfDomain, match="half_height_rad"):
        Tracker(600.0, 900.0, 0.4, 1.6, 1.0, Noise(0.01, 0.02))
    with pytest.raises(OutOfDomain, match="no triangle 999"):
        find_sites(PLATE, spacing_mm=10, edge_mm=1, keep_out=[999])
    with pytest.raises(OutOfDomain, match="at least one site"):
        find_sites(PLATE, spacing_mm=10, edge_mm=1, most=0)
    with pytest.raises(ValueError, match="200 mm from every sharp edge"):
        find_sites(PLATE, spacing_mm=10, edge_mm=200)
    assert len(NONE) == 0
