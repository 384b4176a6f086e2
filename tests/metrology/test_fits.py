"""Least-squares features: hard sets, covariances, and other people's answers."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize
from scipy.spatial.transform import Rotation
from skspatial.objects import Line, Plane, Points
from skspatial.objects import Sphere as PlainSphere

from lab.metrology.fits import (
    Covariance,
    fit_circle_2d,
    fit_circle_3d,
    fit_cone,
    fit_cylinder,
    fit_line_2d,
    fit_line_3d,
    fit_plane,
    fit_sphere,
    narrowest_band,
)
from tests.metrology import shapes_for_fits as shapes

seeds = st.integers(0, 2**31)
CASES = Path(__file__).parent / "cases" / "fits.json"


def sine_between(first, second) -> float:
    return float(np.linalg.norm(np.cross(first, second)))


def test_line_and_plane_agree_with_another_library():
    random = shapes.generator(1)
    line, _ = shapes.turned(shapes.line(random), random)
    ours, theirs = fit_line_3d(line), Line.best_fit(Points(line))
    # Both take the same singular vector; only rounding divides them.
    assert sine_between(ours.direction, theirs.direction) < 1e-12
    np.testing.assert_allclose(ours.point_mm, theirs.point, atol=1e-11)
    plane, _ = shapes.turned(shapes.plane(random), random)
    assert sine_between(fit_plane(plane).normal, Plane.best_fit(plane).normal) < 1e-12


def test_sphere_without_noise_agrees_with_another_library():
    points = shapes.sphere(shapes.generator(2), noise=0.0)
    theirs = PlainSphere.best_fit(points)
    ours = fit_sphere(points)
    np.testing.assert_allclose(ours.centre_mm, theirs.point, atol=1e-10)
    assert ours.radius_mm == pytest.approx(float(theirs.radius), abs=1e-10)


@pytest.mark.parametrize("arc", [2 * math.pi, 0.6])
def test_circle_agrees_with_a_general_solver(arc):
    points = shapes.circle(shapes.generator(3), arc=arc)

    def radial(unknown):
        return np.hypot(*(points - unknown[:2]).T) - unknown[2]

    theirs = optimize.least_squares(
        radial, [0.1, 0.1, 29.0], xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac"
    )
    ours = fit_circle_2d(points)
    # Where the arc is short the cost is flat: the general solver stops 1e-7 early.
    np.testing.assert_allclose([*ours.centre_mm, ours.radius_mm], theirs.x, atol=1e-6)
    jacobian = theirs.jac
    variance = 2 * theirs.cost / (len(points) - 3)
    assert ours.covariance is not None
    np.testing.assert_allclose(
        ours.covariance.matrix,
        variance * np.linalg.inv(jacobian.T @ jacobian),
        rtol=1e-4,
    )


def test_cylinder_and_cone_cost_is_no_higher_than_a_general_solver_finds():
    random = shapes.generator(4)
    points = shapes.cone(random, arc=2.0)

    def apart(unknown):
        centre, turn, radius, angle = unknown[:2], unknown[2:4], unknown[4], unknown[5]
        local = Rotation.from_rotvec([*turn, 0.0]).apply(points)
        across = np.hypot(local[:, 0] - centre[0], local[:, 1] - centre[1])
        return math.cos(angle) * (across - radius) - math.sin(angle) * local[:, 2]

    start = [0.0, 0.0, 0.0, 0.0, 30.0, 0.3]
    theirs = optimize.least_squares(apart, start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    ours = fit_cone(points)
    assert ours.form.rms_mm**2 * len(points) <= 2 * theirs.cost * (1 + 1e-9)
    assert ours.half_angle_rad == pytest.approx(theirs.x[5], abs=1e-6)


def test_the_reference_cylinder_has_its_axis_where_it_was_made():
    checks = json.loads(CASES.read_text())["checks"]
    (pair,) = [check for check in checks if check["id"] == "ns-cylinder-a1"]
    cylinder = fit_cylinder(pair["inputs"]["points"])
    # The point of the axis from which the pair was constructed.
    away = cylinder.point_mm - np.array([10.0, -20.0, 30.0])
    assert sine_between(away, cylinder.direction) < 1e-6


HARD = {
    "short arc": (fit_circle_2d, lambda r: shapes.circle(r, arc=0.2, noise=1e-3), 30.0),
    "nearly flat": (
        fit_circle_2d,
        lambda r: shapes.circle(r, radius=1e5, arc=1e-3, noise=1e-5),
        1e5,
    ),
    "small cap": (
        fit_sphere,
        lambda r: shapes.sphere(r, half_angle=0.1, noise=1e-4),
        25.0,
    ),
    "part of a jacket": (
        fit_cylinder,
        lambda r: shapes.cylinder(r, arc=0.5, noise=1e-3),
        20.0,
    ),
    "wire": (
        fit_cylinder,
        lambda r: shapes.cylinder(r, radius=0.5, length=1000.0),
        0.5,
    ),
    "ring": (fit_cylinder, lambda r: shapes.cylinder(r, length=1.0), 20.0),
    "flat patch of a tank": (
        fit_cylinder,
        lambda r: shapes.cylinder(r, radius=1000.0, arc=0.05, noise=1e-3),
        1000.0,
    ),
    "eight points": (
        fit_cylinder,
        lambda r: shapes.cylinder(r, count=8, noise=0.0),
        20.0,
    ),
}


@pytest.mark.parametrize("offset", [0.0, 1e6])
@pytest.mark.parametrize("name", HARD)
def test_hard_sets_converge_to_what_they_were_made_from(name, offset):
    fit, make, radius = HARD[name]
    for seed in range(3):
        random = shapes.generator(seed)
        points = make(random)
        if points.shape[1] == 3:
            points, _ = shapes.turned(points, random, offset)
        else:
            points = points + offset
        found = fit(points)
        assert found.covariance is not None
        # Five sigma of the fit's own claim; rounding at 1e6 mm is 1e-10 mm, which
        # a patch of a thousandth of the radius magnifies about a millionfold.
        assert found.radius_mm == pytest.approx(
            radius, abs=5 * found.covariance.u("radius_mm") + 1e-4
        )


CONES = {
    "whole": {},
    "part of a jacket": {"arc": 0.4, "noise": 1e-3},
    "steep": {"half_angle": 1.2, "length": 20.0},
    "nearly flat": {"half_angle": 1.4, "length": 5.0},
    "taper of a morse": {"half_angle": 0.026, "radius": 10.0, "length": 80.0},
    "nearly a cylinder": {"half_angle": 0.002, "radius": 10.0, "length": 100.0},
    "countersink": {"half_angle": 0.785, "radius": 5.0, "length": 3.0},
    "nine points": {"count": 9, "noise": 0.0},
}


@pytest.mark.parametrize("offset", [0.0, 1e6])
@pytest.mark.parametrize("name", CONES)
def test_cones_converge_to_what_they_were_made_from(name, offset):
    made = CONES[name]
    for seed in range(2):
        random = shapes.generator(seed)
        points, rotation = shapes.turned(shapes.cone(random, **made), random, offset)
        cone = fit_cone(points)
        assert cone.covariance is not None
        angle = made.get("half_angle", 0.3)
        # As above; the tilt has two components.
        slack = 5 * cone.covariance.u("half_angle_rad") + 1e-9
        assert cone.half_angle_rad == pytest.approx(angle, abs=slack)
        tilt = max(cone.covariance.u("tilt_1_rad"), cone.covariance.u("tilt_2_rad"))
        assert sine_between(cone.direction, rotation[:, 2]) < 7 * tilt + 1e-9
        assert cone.direction @ rotation[:, 2] > 0  # it widens along its axis


def test_the_apex_is_where_the_generators_meet():
    random = shapes.generator(5)
    points = shapes.cone(random, half_angle=0.5, noise=0.0)
    height = 30.0 / math.tan(0.5)
    np.testing.assert_allclose(fit_cone(points).apex_mm, [0, 0, -height], atol=1e-8)


@pytest.mark.parametrize(
    ("fit", "make"),
    [
        (fit_sphere, lambda r: shapes.sphere(r, 100_000)),
        (fit_cylinder, lambda r: shapes.cylinder(r, 100_000, arc=1.0)),
        (fit_cone, lambda r: shapes.cone(r, 100_000, arc=1.0)),
    ],
)
def test_a_hundred_thousand_points_far_away(fit, make):
    random = shapes.generator(6)
    points, _ = shapes.turned(make(random), random, 1e6)
    found = fit(points)
    # The noise was 0.01 mm; its estimate from 1e5 points is good to 0.3 %.
    assert found.form.standard_deviation_mm == pytest.approx(0.01, rel=0.02)


@given(seeds)
def test_fits_move_and_turn_with_the_points(seed):
    random = shapes.generator(seed)
    points = shapes.cylinder(random, count=40, arc=2.0)
    rotation = Rotation.random(rng=random)
    shift = random.uniform(-500, 500, 3)
    here, there = fit_cylinder(points), fit_cylinder(rotation.apply(points) + shift)
    # The minimum is quadratic: 1e-9 mm is far inside what rounding leaves of it.
    assert there.radius_mm == pytest.approx(here.radius_mm, abs=1e-8)
    assert sine_between(there.direction, rotation.apply(here.direction)) < 1e-9
    np.testing.assert_allclose(
        there.point_mm, rotation.apply(here.point_mm) + shift, atol=1e-7
    )
    np.testing.assert_allclose(
        there.form.residuals_mm, here.form.residuals_mm, atol=1e-8
    )


@given(seeds, st.sampled_from([0.001, 25.4, 1000.0]))
def test_fits_scale_with_the_unit_and_don_t_mind_the_order(seed, unit):
    random = shapes.generator(seed)
    points = shapes.sphere(random, count=30, half_angle=1.0)
    shuffled = random.permutation(points)
    here, there = fit_sphere(points), fit_sphere(shuffled * unit)
    assert there.radius_mm == pytest.approx(here.radius_mm * unit, rel=1e-9)
    assert there.form.range_mm == pytest.approx(here.form.range_mm * unit, rel=1e-6)
    assert here.covariance is not None
    assert there.covariance is not None
    assert there.covariance.u("radius_mm") == pytest.approx(
        here.covariance.u("radius_mm") * unit, rel=1e-6
    )


COVERED = [
    (fit_line_2d, lambda r: shapes.line(r, 12)[:, :2], lambda f: f.normal[0], 0.0),
    (fit_plane, lambda r: shapes.plane(r, 12), lambda f: f.basis[0, 2], 0.0),
    (fit_circle_2d, lambda r: shapes.circle(r, 12), lambda f: f.radius_mm, 30.0),
    (fit_circle_2d, lambda r: shapes.circle(r, 40, arc=1.0), lambda f: f.radius_mm, 30),
    (fit_sphere, lambda r: shapes.sphere(r, 12), lambda f: f.radius_mm, 25.0),
    (fit_cylinder, lambda r: shapes.cylinder(r, 12), lambda f: f.radius_mm, 20.0),
    (fit_cone, lambda r: shapes.cone(r, 14), lambda f: f.half_angle_rad, 0.3),
]
U = {
    fit_line_2d: "angle_rad",
    fit_plane: "tilt_1_rad",
    fit_circle_2d: "radius_mm",
    fit_sphere: "radius_mm",
    fit_cylinder: "radius_mm",
    fit_cone: "half_angle_rad",
}


@pytest.mark.parametrize(("fit", "make", "read", "truth"), COVERED)
def test_the_stated_uncertainty_is_what_the_answers_scatter_by(fit, make, read, truth):
    random = shapes.generator(7)
    errors = []
    # Searching for an axis takes a while.
    trials = 40 if fit in (fit_cylinder, fit_cone) else 200
    for _ in range(trials):
        found = fit(make(random), u_point_mm=0.01)
        errors.append((read(found) - truth) / found.covariance.u(U[fit]))
    # Three standard deviations of a standard deviation from so many errors.
    assert np.std(errors) == pytest.approx(1.0, abs=3 / math.sqrt(2 * trials))


def test_circle_in_space_keeps_plane_and_circle_apart():
    random = shapes.generator(8)
    flat = shapes.circle(random, noise=0.01)
    points = np.column_stack([flat, 0.05 * random.normal(size=len(flat))])
    points, rotation = shapes.turned(points, random, 200.0)
    circle = fit_circle_3d(points)
    # 200 points estimate a standard deviation to 5 %.
    assert circle.form.standard_deviation_mm == pytest.approx(0.01, rel=0.15)
    assert circle.plane.form.standard_deviation_mm == pytest.approx(0.05, rel=0.15)
    assert circle.covariance is not None
    ratio = circle.covariance.u("offset_3_mm") / circle.covariance.u("offset_1_mm")
    # Along the normal every point counts in full, across only by its cosine.
    assert ratio == pytest.approx(5 / math.sqrt(2), rel=0.2)
    np.testing.assert_allclose(
        circle.distances_mm(points),
        np.hypot(circle.form.residuals_mm, circle.plane.form.residuals_mm),
        atol=1e-10,
    )
    assert sine_between(circle.normal, rotation[:, 2]) < 0.002


@pytest.mark.parametrize(
    ("fit", "make"),
    [
        (fit_line_2d, lambda r: shapes.line(r)[:, :2]),
        (fit_line_3d, shapes.line),
        (fit_plane, shapes.plane),
        (fit_circle_2d, shapes.circle),
        (fit_sphere, shapes.sphere),
        (fit_cylinder, shapes.cylinder),
        (fit_cone, shapes.cone),
    ],
)
def test_residuals_are_the_distances_from_the_feature(fit, make):
    points = make(shapes.generator(9))
    found = fit(points)
    np.testing.assert_allclose(
        found.distances_mm(points), found.form.residuals_mm, atol=1e-10
    )
    assert found.form.dispersion_95_mm < found.form.range_mm


def test_exactly_enough_points_have_no_covariance_unless_one_is_stated():
    corners = [[5.0, 0.0], [0.0, 5.0], [-5.0, 0.0]]
    assert fit_circle_2d(corners).covariance is None
    assert fit_circle_2d(corners).form.standard_deviation_mm is None
    stated = fit_circle_2d(corners, u_point_mm=0.01).covariance
    assert stated is not None
    # At the middle of a half circle r = (x1 - x2)/2 of two points: u/√2.
    assert stated.u("radius_mm") == pytest.approx(0.01 / math.sqrt(2))


def test_independent_patches_scale_the_covariance():
    found = fit_plane(shapes.plane(shapes.generator(10), 10_000)).covariance
    assert isinstance(found, Covariance)
    patches = found.for_independent(25)
    assert patches.u("offset_mm") == pytest.approx(20 * found.u("offset_mm"))
    with pytest.raises(ValueError, match="there are only 10000 points"):
        found.for_independent(10_001)
    with pytest.raises(ValueError, match="no parameter 'radius_mm'; there are offset"):
        found.u("radius_mm")


@given(
    st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=60),
    st.floats(0.05, 1.0),
)
def test_the_narrowest_band_is_the_best_of_all_bands(values, share):
    held = max(1, math.ceil(share * len(values) * (1 - 1e-12)))
    ordered = sorted(values)
    widths = [
        ordered[start + held - 1] - ordered[start]
        for start in range(len(values) - held + 1)
    ]
    assert narrowest_band(np.array(values), share) == min(widths)
