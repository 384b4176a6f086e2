"""A whole evaluation on a made-up grille with known bow, twist, noise and pose."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from PIL import Image

from lab.metrology.alignment import (
    align_robustly,
    fit_rigid,
    transform_from_matrix,
    transform_from_parameters,
)
from lab.metrology.deviation import (
    Surface,
    colour_scale,
    draw_deviations,
    fit_to_surface,
    summarise_deviations,
    vertex_areas,
    vertex_normals,
    worst_regions,
)
from lab.metrology.meshes import read_mesh

# How the as-built mesh was made from the nominal one, from the note beside the files.
POSE = [
    [9.261830782e-01, -3.019254105e-01, 2.258892476e-01, 3.5e02],
    [3.246383095e-01, 9.432177525e-01, -7.035793813e-02, -1.2e02],
    [-1.918198990e-01, 1.384966352e-01, 9.716088762e-01, 8.0e01],
    [0.0, 0.0, 0.0, 1.0],
]
BOW_MM, TWIST_RAD, NOISE_MM = 0.8, math.radians(0.05), 0.03
HALF_LENGTH_MM = 600.0


def bow_of(x):
    return np.sin(np.pi * (x + HALF_LENGTH_MM) / (2 * HALF_LENGTH_MM))


@pytest.fixture(scope="module")
def grille(request):
    find = request.getfixturevalue("shared_data")
    nominal = read_mesh(find("mesh/own_grille_nominal.stl").read_bytes())
    built = read_mesh(find("mesh/own_grille_as_built.ply").read_bytes())
    return Surface.of(nominal), built, transform_from_matrix(POSE)


def targets_on(surface, built, pose):
    """Return nominal places at the ends, where there is no bow, and as measured.

    A target takes the nearest vertex of the as-built mesh, seen in its own frame.
    """
    back = pose.inverse().apply(built.vertices_mm)
    ends = np.abs(np.abs(back[:, 0]) - HALF_LENGTH_MM) < 3.0
    nominal = surface.mesh.vertices_mm
    places = nominal[np.abs(np.abs(nominal[:, 0]) - HALF_LENGTH_MM) < 3.0]
    measured = built.vertices_mm[ends]
    near = back[ends]
    chosen = [int(np.argmin(np.linalg.norm(near - place, axis=1))) for place in places]
    close = np.linalg.norm(near[chosen] - places, axis=1) < 0.8
    return places[close], measured[chosen][close]


def test_the_pose_is_recovered_from_targets_also_with_bad_ones(grille):
    surface, built, pose = grille
    nominal, measured = targets_on(surface, built, pose)
    assert len(nominal) >= 8
    found = fit_rigid(nominal, measured).tf_a_b.after(pose)
    # The twist moves the ends against one another by up to 0.38 mm along z and
    # cancels in the mean; 0.03 mm of noise is left, over the root of the targets.
    assert np.linalg.norm(found.translation_a_b) < 0.05
    turn = math.acos(min(1.0, (np.trace(found.rotation_a_b) - 1) / 2))
    assert turn < 1e-4
    bad = measured.copy()
    bad[: len(bad) // 3] += [25.0, -14.0, 9.0]
    robust = align_robustly(nominal, bad)
    assert set(range(len(bad) // 3)) <= set(robust.left_out)


def test_the_pose_is_recovered_from_points_alone(grille):
    surface, built, pose = grille
    rough = transform_from_parameters([3, -2, 2], [0.005, -0.004, 0.006])
    found = fit_to_surface(
        built.vertices_mm,
        surface,
        rough.after(pose.inverse()),
        normals=vertex_normals(built),
    )
    left = found.tf_nominal_measured.after(pose)
    turn = math.acos(min(1.0, (np.trace(left.rotation_a_b) - 1) / 2))
    assert turn < 1e-4
    # Sideways nothing was bent; along z a best fit takes up the mean of the bow.
    assert np.abs(left.translation_a_b[:2]).max() < 0.02
    assert left.translation_a_b[2] == pytest.approx(-0.8 * 2 / math.pi, abs=0.06)


def bow_twist_and_noise(surface, placed):
    """Return the amplitudes fitted to faces that look along z, and what is left."""
    found = surface.signed_distances(placed)
    normals = surface.face_normals[found.triangles]
    level = np.abs(normals[:, 2]) > 0.999
    # Well inside a face: vertices on edges moved along other directions.
    corners = surface.mesh.vertices_mm[surface.mesh.triangles]
    x, y = found.feet_mm[:, 0], found.feet_mm[:, 1]
    edges = np.unique(np.round(corners[:, :, :2].reshape(-1, 2), 3), axis=0)
    apart = np.min(
        [np.maximum(np.abs(x - ex), np.abs(y - ey)) for ex, ey in edges], axis=0
    )
    inner = level & (apart > 1.0)
    along_z = found.distances_mm[inner] * np.sign(normals[inner, 2])
    x, y = x[inner], y[inner]
    lever = y * x / HALF_LENGTH_MM
    rows = np.column_stack([bow_of(x), lever, np.ones_like(x), x / 600, y / 440])
    solution, *_ = np.linalg.lstsq(rows, along_z, rcond=None)
    left = along_z - rows @ solution
    # Vertices on the borders of faces took only a part of their noise along z.
    return solution[0], solution[1], 1.4826 * float(np.median(np.abs(left)))


def test_bow_twist_and_noise_are_recovered(grille):
    surface, built, pose = grille
    nominal, measured = targets_on(surface, built, pose)
    tf_nominal_built = fit_rigid(nominal, measured).tf_a_b
    placed = tf_nominal_built.apply(built.vertices_mm)
    bow, twist, noise = bow_twist_and_noise(surface, placed)
    assert bow == pytest.approx(BOW_MM, abs=0.02)
    assert twist == pytest.approx(TWIST_RAD, rel=0.05)
    assert noise == pytest.approx(NOISE_MM, rel=0.10)


def test_figures_regions_and_picture_for_a_certificate(grille):
    surface, built, pose = grille
    found = surface.signed_distances(pose.inverse().apply(built.vertices_mm))
    areas = vertex_areas(built)
    told = summarise_deviations(
        found.distances_mm, lower_mm=-0.5, upper_mm=0.5, weights=areas
    )
    assert told.left_out == 0
    assert 0.6 < told.share_inside < 0.9
    # Bow and twist together, plus three sigma of noise.
    assert 0.8 < told.highest_mm < 0.8 + 0.4 + 0.15
    regions = worst_regions(
        found.feet_mm,
        found.distances_mm,
        lower_mm=-0.5,
        upper_mm=0.5,
        apart_mm=40.0,
        fewest_points=20,
        weights=areas,
    )
    # The bow is greatest in the middle of the length.
    assert abs(regions[0].worst_at_mm[0]) < 350
    picture = draw_deviations(
        surface,
        found,
        colour_scale(-1.0, 1.0, 10),
        lower_mm=-0.5,
        upper_mm=0.5,
        gap_mm=25.0,
    )
    assert picture.share_measured > 0.98
    image = Image.open(io.BytesIO(picture.png))
    assert image.size == (picture.width, picture.height)
