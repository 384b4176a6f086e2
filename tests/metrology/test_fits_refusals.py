"""Sets that determine nothing are refused, each for its own reason."""

from __future__ import annotations

import math

import numpy as np
import pytest

from lab.metrology.errors import (
    BadShape,
    Degenerate,
    NotFinite,
    OutOfDomain,
    TooFew,
)
from lab.metrology.fits import (
    ArcTooShort,
    CoincidentPoints,
    CollinearPoints,
    CoplanarPoints,
    DirectionUndetermined,
    NoMajority,
    NotConverged,
    angle_between,
    extent_along,
    fit_circle_2d,
    fit_circle_3d,
    fit_circle_algebraic,
    fit_cone,
    fit_cylinder,
    fit_line_2d,
    fit_line_3d,
    fit_plane,
    fit_robust,
    fit_sphere,
    minimum_zone_circle,
)
from tests.metrology import shapes_for_fits as shapes

FEWEST = {
    fit_line_2d: 2,
    fit_line_3d: 2,
    fit_plane: 3,
    fit_circle_2d: 3,
    fit_circle_3d: 3,
    fit_sphere: 4,
    fit_cylinder: 6,
    fit_cone: 7,
}
IN_A_PLANE = {fit_line_2d, fit_circle_2d}


def along_a_line(count: int, columns: int) -> np.ndarray:
    return np.arange(count, dtype=float)[:, np.newaxis] * np.arange(1, columns + 1)


@pytest.mark.parametrize("fit", FEWEST)
def test_too_few_points(fit):
    columns = 2 if fit in IN_A_PLANE else 3
    with pytest.raises(TooFew, match=f"at least {FEWEST[fit]} are needed"):
        fit(np.random.default_rng(0).normal(size=(FEWEST[fit] - 1, columns)))


@pytest.mark.parametrize("fit", FEWEST)
def test_coincident_points(fit):
    columns = 2 if fit in IN_A_PLANE else 3
    # At 1e6 mm the last digits differ, but they are rounding.
    points = np.full((10, columns), 1e6) + 1e-10 * np.arange(10)[:, np.newaxis]
    with pytest.raises(CoincidentPoints, match="all the same point"):
        fit(points)


@pytest.mark.parametrize("offset", [0.0, 1e6])
@pytest.mark.parametrize(
    "fit",
    [fit_plane, fit_circle_2d, fit_circle_3d, fit_sphere, fit_cylinder, fit_cone],
)
def test_collinear_points(fit, offset):
    columns = 2 if fit in IN_A_PLANE else 3
    with pytest.raises(CollinearPoints, match="lie on one straight line"):
        fit(along_a_line(12, columns) + offset)


@pytest.mark.parametrize("fit", [fit_sphere, fit_cylinder, fit_cone])
def test_coplanar_points(fit):
    random = shapes.generator(0)
    points, _ = shapes.turned(shapes.plane(random, noise=0.0), random, 300.0)
    with pytest.raises(CoplanarPoints, match=r"lie in one plane .*Add points off"):
        fit(points)


def test_a_cloud_has_no_direction():
    cloud = shapes.generator(0).normal(size=(500, 3))
    with pytest.raises(DirectionUndetermined, match="don't determine the line"):
        fit_line_3d(cloud)
    with pytest.raises(DirectionUndetermined, match="the plane's normal"):
        fit_plane(cloud)
    with pytest.raises(DirectionUndetermined, match="mm across and only"):
        fit_line_2d(cloud[:, :2])


def test_too_little_of_an_arc_cap_or_jacket():
    random = shapes.generator(1)
    with pytest.raises(ArcTooShort, match=r"small an arc of the circle.*Measure more"):
        fit_circle_2d(shapes.circle(random, arc=0.02))
    with pytest.raises(ArcTooShort, match="small a cap of the sphere"):
        fit_sphere(shapes.sphere(random, half_angle=0.01))
    with pytest.raises((ArcTooShort, DirectionUndetermined), match="Measure"):
        fit_cylinder(shapes.cylinder(random, arc=0.02))
    refused = (ArcTooShort, DirectionUndetermined, NotConverged)
    with pytest.raises(refused, match=r"Measure|don't resemble"):
        fit_cone(shapes.cone(random, arc=0.02))


def test_the_limit_of_an_arc_can_be_lifted():
    arc = shapes.circle(shapes.generator(1), arc=0.02)
    found = fit_circle_2d(arc, largest_relative_u_radius=math.inf)
    assert found.radius_mm > 0


def test_one_ring_says_nothing_of_an_axis():
    random = shapes.generator(2)
    ring = np.column_stack([shapes.circle(random), 0.01 * random.normal(size=200)])
    # A ring is as flat as the plane it lies in, and so is the widest cylinder.
    with pytest.raises((DirectionUndetermined, ArcTooShort), match="Measure"):
        fit_cylinder(ring)


def test_a_cylinder_has_no_apex():
    random = shapes.generator(3)
    cone = fit_cone(shapes.cone(random, half_angle=0.3))
    flat = type(cone)(
        cone.point_mm, cone.basis, 5.0, 0.0, 1.0, cone.form, cone.covariance
    )
    with pytest.raises(Degenerate, match="half angle is zero: it has no apex"):
        _ = flat.apex_mm


@pytest.mark.parametrize(
    ("value", "error", "match"),
    [
        (np.full((9, 3), np.nan), NotFinite, "points_mm holds 27 value"),
        (np.zeros((9, 2)), BadShape, r"must have shape \(N, 3\)"),
    ],
)
def test_bad_arrays(value, error, match):
    with pytest.raises(error, match=match):
        fit_cylinder(value)


def test_other_bad_arguments():
    points = shapes.circle(shapes.generator(4))
    with pytest.raises(OutOfDomain, match="u_point_mm is 0; it must be greater"):
        fit_circle_2d(points, u_point_mm=0.0)
    with pytest.raises(OutOfDomain, match="method is 'median'; it must be one of kasa"):
        fit_circle_algebraic(points, "median")  # type: ignore[arg-type]
    with pytest.raises(OutOfDomain, match="fit must be one of fit_line_2d"):
        fit_robust(minimum_zone_circle, points)  # type: ignore[type-var]
    with pytest.raises(OutOfDomain, match="direction has no length"):
        extent_along([[0, 0, 0]], [0, 0, 0])


def test_a_feature_of_a_minority_is_refused():
    random = shapes.generator(5)
    points, _ = shapes.soiled(shapes.plane(random, 400), random, "scattered", 0.6)
    with pytest.raises(NoMajority, match=r"Only 1\d\d of 400 points agree"):
        fit_robust(fit_plane, points)


def test_features_without_covariance_have_relations_without_uncertainty():
    exact = fit_plane([[0, 0, 0], [1, 0, 0], [0, 1, 0]])
    assert angle_between(exact, exact).u_rad is None
