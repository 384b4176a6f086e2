from __future__ import annotations

import io

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from lab.metrology.deviation import Surface
from lab.metrology.errors import BadShape, OutOfDomain
from lab.metrology.meshes import make_mesh
from lab.metrology.views import (
    Blockers,
    make_display_copy,
    plan_targets,
    points_of_interest,
    poses_looking_at,
    project_picks,
    sketch_pose,
)
from tests.metrology.views.cradle import boxes, cradle_mesh

CUBE = boxes([(np.array([-50.0] * 3), np.array([50.0] * 3))])
POSES = poses_looking_at([[0, -900, 0], [0, 900, 0]], [0, 0, 0])
TARGETS = plan_targets(
    ["middle", "right", "behind"], [[0, -50, 0], [40, -50, 40], [0, 50, 0]],
    [[0, -1, 0], [0, -1, 0], [0, 1, 0]],
)  # fmt: skip
SEEN = np.array([True, True, False])


def pixels(png: bytes) -> NDArray[np.uint8]:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


@pytest.mark.parametrize("with_embree", [True, False])
def test_a_sketch_shows_the_part_and_where_its_targets_are(with_embree: bool) -> None:
    part = Blockers.of([CUBE], with_embree=with_embree)
    sketch = sketch_pose(part, POSES, 0, TARGETS, SEEN, width=400, height=300)
    shown = pixels(sketch.png)
    assert shown.shape == (300, 400, 3)
    # The cube's front fills the height, the paper is white beside it.
    assert shown[150, 5].tolist() == [255, 255, 255]
    assert 100 < shown[120, 160, 0] < 250
    column, row = sketch.places["middle"]
    assert (column, row) == (pytest.approx(200.0), pytest.approx(150.0))
    # Filled where it is seen; x to the right and z up.
    assert shown[round(row), round(column)].tolist() == [0, 90, 140]
    right = sketch.places["right"]
    assert right[0] > column
    assert right[1] < row
    assert "behind" in sketch.places


def test_a_target_that_is_not_seen_is_an_open_ring() -> None:
    part = Blockers.of([CUBE])
    sketch = sketch_pose(part, POSES, 0, TARGETS, ~SEEN, width=400, height=300)
    column, row = sketch.places["right"]
    assert pixels(sketch.png)[round(row), round(column)].tolist() != [0, 90, 140]


def test_sketches_refuse_what_cannot_be_drawn() -> None:
    part = Blockers.of([CUBE])
    with pytest.raises(OutOfDomain, match="width is 10"):
        sketch_pose(part, POSES, 0, TARGETS, SEEN, width=10)
    with pytest.raises(OutOfDomain, match="no pose 2"):
        sketch_pose(part, POSES, 2, TARGETS, SEEN)
    with pytest.raises(BadShape, match="3 targets but 1 flags"):
        sketch_pose(part, POSES, 0, TARGETS, SEEN[:1])
    away = poses_looking_at([[0, -900, 0]], [0, -1800, 0])
    with pytest.raises(OutOfDomain, match="Nothing lies before"):
        sketch_pose(part, away, 0, TARGETS, SEEN)


def test_a_display_copy_has_short_edges_and_the_same_surface() -> None:
    mesh = cradle_mesh()
    copy = make_display_copy(mesh, edge_mm=40.0)
    assert copy.longest_mm <= 40.0
    fine = make_mesh(copy.vertices_mm.astype(np.float64), copy.triangles)
    assert fine.area_mm2 == pytest.approx(mesh.area_mm2, rel=1e-5)
    assert fine.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-5)
    corners = mesh.vertices_mm[mesh.triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    middles = copy.vertices_mm[copy.triangles].mean(axis=1)
    off = np.einsum(
        "ij,ij->i", middles - corners[copy.originals, 0], normal[copy.originals]
    ) / np.linalg.norm(normal[copy.originals], axis=1)
    # Single precision at 600 mm.
    assert np.abs(off).max() < 2e-4


def test_a_closed_mesh_stays_closed_when_cut() -> None:
    copy = make_display_copy(CUBE, edge_mm=17.0)
    assert make_mesh(copy.vertices_mm.astype(float), copy.triangles).is_watertight


def test_subdividing_stops_at_the_most_that_is_drawn() -> None:
    copy = make_display_copy(CUBE, edge_mm=1.0, most_triangles=500)
    assert len(copy.triangles) <= 500
    assert copy.longest_mm > 1.0
    with pytest.raises(OutOfDomain, match="edge_mm"):
        make_display_copy(CUBE, edge_mm=0.0)
    with pytest.raises(OutOfDomain, match="most_triangles is 0"):
        make_display_copy(CUBE, edge_mm=9.0, most_triangles=0)


def test_picks_come_back_onto_the_original() -> None:
    (pick,) = project_picks(Surface.of(CUBE), [[10.0, -50.3, 20.0]])
    assert pick.point_mm == pytest.approx((10.0, -50.0, 20.0))
    assert pick.normal == pytest.approx((0.0, -1.0, 0.0))
    assert pick.off_mm == pytest.approx(0.3)
    assert 0 <= pick.triangle < 12


def test_points_of_interest_are_the_outermost() -> None:
    np.testing.assert_array_equal(
        np.abs(points_of_interest(CUBE)), np.full((8, 3), 50.0)
    )
    mesh = cradle_mesh()
    every = points_of_interest(mesh, {"all": range(len(mesh.triangles))})
    assert len(every) <= 24
    assert np.abs(every).max(axis=0).tolist() == [600.0, 400.0, 350.0]
    assert len(points_of_interest(CUBE, {"top": [0, 1]})) == 4
    with pytest.raises(OutOfDomain, match="no triangle 99"):
        points_of_interest(CUBE, {"A": [99]})
