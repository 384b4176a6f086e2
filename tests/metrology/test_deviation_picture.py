"""The picture of deviations: what is seen, what the colours say, and to whom."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from PIL import Image

from lab.metrology.deviation import (
    MAP_NAME,
    Surface,
    colour_scale,
    draw_deviations,
    relative_luminance,
)
from lab.metrology.deviation.legend import signed
from lab.metrology.deviation.visible import (
    NOTHING,
    look_along,
    seen_by_depth_buffer,
    seen_by_rays,
)
from lab.metrology.errors import OutOfDomain
from lab.metrology.meshes import make_mesh

BLOCK = trimesh.creation.box((80.0, 50.0, 20.0)).subdivide_to_size(6.0)
SURFACE = Surface.of(make_mesh(np.array(BLOCK.vertices), np.array(BLOCK.faces)))
SCALE = colour_scale(-1.0, 1.0, 10)
# Machado, Oliveira, Fernandes (2009), severity 1.0, for linear sRGB.
DEFICIENT = {
    "protanopia": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deuteranopia": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritanopia": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def measured(offset: np.ndarray | float = 0.0):
    """Return what a dense scan of the block would find, off by an offset along z."""
    points, _ = trimesh.sample.sample_surface(BLOCK, 8000, seed=1)
    found = SURFACE.signed_distances(points)
    return replace(found, distances_mm=np.zeros(len(points)) + offset)


def pixels_of(picture) -> np.ndarray:
    image = Image.open(io.BytesIO(picture.png))
    assert image.size == (picture.width, picture.height)
    return np.asarray(image.convert("RGB"))


def test_lightness_rises_with_deviation_so_that_grey_keeps_order_and_sign():
    luminance = relative_luminance(SCALE.colours)
    assert np.all(np.diff(luminance) > 0)
    # As CIE lightness, 0 to 100, neighbouring steps differ by at least 4 (a
    # difference of 1 to 2 is just seen) and the whole spans most of the range.
    lightness = 116 * np.cbrt(luminance) - 16
    assert np.diff(lightness).min() > 4
    assert np.ptp(lightness) > 60


@pytest.mark.parametrize("kind", DEFICIENT)
def test_readers_who_see_fewer_colours_see_the_same_order(kind):
    share = SCALE.colours / 255.0
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ np.array(DEFICIENT[kind]).T, 0, 1)
    luminance = seen @ [0.2126, 0.7152, 0.0722]
    assert np.all(np.diff(116 * np.cbrt(luminance) - 16) > 3)


def test_steps_and_ends_of_the_scale():
    steps = SCALE.step_of(np.array([-5.0, -1.0, -0.81, -0.79, 0.05, 0.99, 1.0, 5.0]))
    assert steps.tolist() == [0, 0, 0, 1, 5, 9, 9, 9]
    assert SCALE.map_name == MAP_NAME
    with pytest.raises(OutOfDomain, match="The scale must rise: lowest_mm is 1"):
        colour_scale(1, -1)
    with pytest.raises(OutOfDomain, match="steps is 50; it must lie from 2 to 20"):
        colour_scale(-1, 1, 50)


def test_numbers_on_the_scale_have_signs_and_zero_has_none():
    assert [signed(value, 2) for value in (0.5, -0.25, -0.001)] == [
        "+0.50",
        "−0.25",
        "0.00",
    ]


@pytest.mark.parametrize("direction", [(0, 0, -1), (-1, 1, -1), (1, 0.3, 0.2)])
def test_rays_and_depth_buffer_see_the_same(direction):
    corners = SURFACE.mesh.vertices_mm[SURFACE.mesh.triangles]
    view = look_along(SURFACE.mesh.vertices_mm, direction, (0.1, 1, 0), 200, 150)
    rays = seen_by_rays(corners, view)
    buffer = seen_by_depth_buffer(corners, view)
    # Only pixels whose ray meets an edge may go to either triangle.
    assert np.mean(rays != buffer) < 0.01
    assert np.mean((rays == NOTHING) != (buffer == NOTHING)) < 0.003
    assert np.any(rays == NOTHING)
    normals = SURFACE.face_normals[rays[rays != NOTHING]]
    assert np.all(normals @ view.basis[2] < 1e-6)  # only faces turned to the viewer


def test_a_plain_offset_has_one_colour():
    picture = draw_deviations(
        SURFACE, measured(0.5), SCALE, lower_mm=-1, upper_mm=1, gap_mm=5
    )
    assert picture.share_measured == pytest.approx(1.0, abs=0.01)
    assert picture.share_outside == 0.0
    part = pixels_of(picture)[:, :900].reshape(-1, 3)
    colours, counts = np.unique(part, axis=0, return_counts=True)
    common = {tuple(each) for each in colours[np.argsort(counts)[-2:]].tolist()}
    assert common == {(255, 255, 255), tuple(SCALE.colours[7].tolist())}


def test_outside_tolerance_is_hatched_and_counted():
    above = draw_deviations(
        SURFACE, measured(0.5), SCALE, lower_mm=-0.2, upper_mm=0.2, gap_mm=5
    )
    plain = draw_deviations(
        SURFACE, measured(0.5), SCALE, lower_mm=-0.2, upper_mm=0.9, gap_mm=5
    )
    assert above.share_outside == pytest.approx(1.0)
    dark = [
        (pixels_of(each)[:, :900] == 30).all(axis=2).sum() for each in (above, plain)
    ]
    assert dark[0] > dark[1] + 5000


def test_what_was_not_measured_is_shown_so_and_walls_don_t_show_through():
    found = measured(0.5)
    # Only the underside was measured; the picture looks from above.
    below = found.feet_mm[:, 2] < -9.99
    half = replace(
        found,
        distances_mm=found.distances_mm[below],
        feet_mm=found.feet_mm[below],
        triangles=found.triangles[below],
    )
    options = {"lower_mm": -1, "upper_mm": 1, "up": (0, 1, 0)}
    from_above = draw_deviations(
        SURFACE, half, SCALE, gap_mm=50, direction=(0, 0, -1), **options
    )
    from_below = draw_deviations(
        SURFACE, half, SCALE, gap_mm=5, direction=(0, 0, 1), **options
    )
    assert from_above.share_measured == 0.0
    assert from_above.share_outside == 0.0
    assert from_below.share_measured == pytest.approx(1.0, abs=0.01)


def test_the_same_input_gives_the_same_bytes():
    one, two = (
        draw_deviations(
            SURFACE, measured(0.1), SCALE, lower_mm=-1, upper_mm=1, gap_mm=5, width=200,
            height=150,
        ).png
        for _ in range(2)
    )  # fmt: skip
    assert one == two


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"lower_mm": 2.0}, "The tolerance is upside down"),
        ({"width": 10}, "width is 10; it must lie from 50 to 4,000"),
        ({"gap_mm": 0.0}, "gap_mm is 0; it must be greater than zero"),
        ({"direction": (0, 0, 0)}, "direction has no length"),
        ({"direction": (0, 0, 1), "up": (0, 0, 2)}, "direction and up are parallel"),
    ],
)
def test_refusals(change, match):
    asked = {"lower_mm": -1.0, "upper_mm": 1.0, "gap_mm": 5.0} | change
    with pytest.raises(OutOfDomain, match=match):
        draw_deviations(SURFACE, measured(), SCALE, **asked)
