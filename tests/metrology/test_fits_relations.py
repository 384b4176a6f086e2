"""Lengths and angles between fitted features, and what their fits leave uncertain."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from lab.metrology.fits import (
    angle_between,
    distance_between_axes,
    distance_between_centres,
    distance_between_planes,
    distance_to_axis,
    distance_to_plane,
    fit_circle_3d,
    fit_cylinder,
    fit_line_3d,
    fit_plane,
    fit_sphere,
)
from tests.metrology import shapes_for_fits as shapes

NOISE = 0.01
TURN = Rotation.from_euler("xyz", [0.3, -0.5, 0.9])


def lying(random):
    """Return a plane, a line and a sphere's points with fresh noise."""
    plane = shapes.plane(random, 30, noise=NOISE)
    line = np.add(TURN.apply(shapes.line(random, 30, noise=NOISE)), [20, 30, 80])
    ball = np.add(shapes.sphere(random, 30, radius=5.0, noise=NOISE), [150, 40, 60])
    return plane, line, ball


RELATIONS = {
    "centres": lambda p, ln, b, r: distance_between_centres(
        fit_sphere(b), fit_sphere(shapes.sphere(r, 30, noise=NOISE))
    ),
    "to plane": lambda p, ln, b, r: distance_to_plane(fit_sphere(b), fit_plane(p)),
    "to axis": lambda p, ln, b, r: distance_to_axis(fit_sphere(b), fit_line_3d(ln)),
    "point to plane": lambda p, ln, b, r: distance_to_plane([0, 0, 9], fit_plane(p)),
    "axes": lambda p, ln, b, r: distance_between_axes(
        fit_line_3d(shapes.line(r, 30, noise=NOISE)), fit_line_3d(ln)
    ),
    "planes": lambda p, ln, b, r: distance_between_planes(
        fit_plane(p), fit_plane(np.add(shapes.plane(r, 30, noise=NOISE), [200, 0, 25]))
    ),
    "angle": lambda p, ln, b, r: angle_between(fit_plane(p), fit_line_3d(ln)),
    "angle of lines": lambda p, ln, b, r: angle_between(
        fit_line_3d(shapes.line(r, 30, noise=NOISE)), fit_line_3d(ln)
    ),
}


def value_of(relation) -> float:
    return relation.angle_rad if hasattr(relation, "angle_rad") else relation.length_mm


def u_of(relation) -> float:
    return relation.u_rad if hasattr(relation, "u_rad") else relation.u_mm


@pytest.mark.parametrize("name", RELATIONS)
def test_the_stated_uncertainty_is_what_relations_scatter_by(name):
    random = shapes.generator(21)
    found = [RELATIONS[name](*lying(random), random) for _ in range(300)]
    values = np.array([value_of(each) for each in found])
    if name in ("to plane", "point to plane"):
        # The sign of a normal is free between runs only where it isn't dominant.
        values = np.abs(values)
    claimed = np.median([u_of(each) for each in found])
    # 300 values give a standard deviation to 4 %; the claim varies as points do.
    assert np.std(values) == pytest.approx(claimed, rel=0.2)


def test_exact_lengths_and_angles():
    floor = fit_plane([[0, 0, 0], [9, 0, 0], [0, 5, 0], [9, 5, 0]])
    shelf = fit_plane([[0, 0, 7], [9, 0, 7], [0, 5, 7], [9, 5, 7]])
    assert distance_between_planes(floor, shelf).length_mm == pytest.approx(7)
    assert angle_between(floor, shelf).angle_rad == pytest.approx(0, abs=1e-12)
    assert distance_to_plane([3, 3, -2], floor).length_mm == pytest.approx(-2)
    post = fit_line_3d([[4, 4, 0], [4, 4, 1], [4, 4, 5]])
    assert angle_between(floor, post).angle_rad == pytest.approx(math.pi / 2)
    assert angle_between(post, floor).angle_rad == pytest.approx(math.pi / 2)
    assert distance_to_axis([7, 8, 3], post).length_mm == pytest.approx(5)
    beam = fit_line_3d([[0, 10, 3], [2, 10, 3], [9, 10, 3]])
    assert distance_between_axes(post, beam).length_mm == pytest.approx(6)
    beside = fit_line_3d([[7, 8, 0], [7, 8, 1], [7, 8, 5]])
    assert distance_between_axes(post, beside).length_mm == pytest.approx(5)
    assert angle_between(post, beam).angle_rad == pytest.approx(math.pi / 2)


def test_circles_and_cylinders_take_part():
    random = shapes.generator(22)
    rim = np.column_stack(
        [shapes.circle(random, noise=0.001), 0.001 * random.normal(size=200)]
    )
    circle = fit_circle_3d(np.add(rim, [0, 0, 40]))
    bore = fit_cylinder(shapes.cylinder(random, noise=0.001))
    assert distance_to_axis(circle, bore).length_mm < 0.001
    assert angle_between(circle, bore).angle_rad == pytest.approx(math.pi / 2, abs=1e-3)
    ball = fit_sphere(shapes.sphere(random, noise=0.001))
    assert distance_between_centres(circle, ball).length_mm == pytest.approx(
        40.0, abs=0.001
    )
    base = fit_plane(shapes.plane(random, noise=0.001))
    found = distance_to_plane(circle, base)
    assert abs(found.length_mm) == pytest.approx(40.0, abs=0.01)
    assert found.u_mm is not None


def test_parallel_features_have_the_uncertainty_of_their_tilts():
    random = shapes.generator(23)
    first = fit_plane(shapes.plane(random, 100))
    found = angle_between(first, first)
    assert found.angle_rad == pytest.approx(0, abs=1e-12)
    assert first.covariance is not None
    tilts = [first.covariance.u("tilt_1_rad"), first.covariance.u("tilt_2_rad")]
    assert found.u_rad == pytest.approx(math.hypot(*tilts))


def test_coincident_centres_have_no_direction():
    ball = fit_sphere(shapes.sphere(shapes.generator(24)))
    found = distance_between_centres(ball, ball)
    assert found.length_mm == 0.0
    post = fit_line_3d(shapes.line(shapes.generator(25)))
    assert distance_to_axis(post.point_mm, post).length_mm == 0.0


def test_a_ball_bar_has_the_length_it_was_made_with(shared_data):
    content = shared_data("mesh/own_ballbar_points.csv").read_text()
    rows = np.loadtxt(content.splitlines(), delimiter=",", skiprows=1)
    balls = [fit_sphere(rows[rows[:, 3] == ball, :3]) for ball in (0, 1)]
    bar = distance_between_centres(*balls)
    assert bar.u_mm is not None
    # Three standard uncertainties of the fits; radial noise was 0.02 mm.
    assert bar.length_mm == pytest.approx(500.0123, abs=3 * bar.u_mm)
    for ball in balls:
        assert ball.form.standard_deviation_mm == pytest.approx(0.02, rel=0.1)
        assert ball.covariance is not None
        assert ball.radius_mm == pytest.approx(
            19.05, abs=4 * ball.covariance.u("radius_mm")
        )
