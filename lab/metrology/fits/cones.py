"""Least-squares cones: distances from the generators, apex in or out of reach.

See `lab.metrology.fits.axial` for the parameters. Distances are taken from the
generator in the same half-plane through the axis, which is the orthogonal
distance for every point that isn't beyond the apex.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.errors import Degenerate
from lab.metrology.fits.axial import (
    AxialModel,
    AxialState,
    best_apart,
    best_start,
    candidate_bases,
)
from lab.metrology.fits.circles import LARGEST_RELATIVE_U_RADIUS, refuse_short
from lab.metrology.fits.cylinders import (
    axis_rows,
    cofactor_of,
    refuse_loose_axis,
    turned,
)
from lab.metrology.fits.local import LocalPoints, localise, triangle_of
from lab.metrology.fits.refusals import ArcTooShort, NotConverged
from lab.metrology.fits.round import centre_of, moved_section, normalised, taubin
from lab.metrology.fits.solver import distances, sample, solve
from lab.metrology.fits.spheres import refuse_coplanar
from lab.metrology.fits.statistics import Covariance, Form, covariance_of, form_of

__all__ = ["Cone", "fit_cone"]

_RANKED = 200
_STARTS = 9
_FLATTEST = 1e-9
_SMALLEST_HALF_ANGLE_RAD = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Cone:
    """A cone that widens along its axis; rows of `basis` are e1, e2, axis.

    `point_mm` is a point of the axis near the centroid of the points, `radius_mm`
    the radius there, across the axis. Residuals are positive outside.
    """

    point_mm: NDArray[np.float64]
    basis: NDArray[np.float64]
    radius_mm: float
    half_angle_rad: float
    length_mm: float
    form: Form
    covariance: Covariance | None

    @property
    def direction(self) -> NDArray[np.float64]:
        """The unit direction of the axis, from the apex into the cone."""
        third: NDArray[np.float64] = self.basis[2]
        return third

    @property
    def apex_mm(self) -> NDArray[np.float64]:
        """The apex.

        Raises
        ------
        Degenerate
            If the half angle is zero: a cylinder has no apex.
        """
        if self.half_angle_rad < _SMALLEST_HALF_ANGLE_RAD:
            raise Degenerate("The cone's half angle is zero: it has no apex.")
        height_mm = self.radius_mm / math.tan(self.half_angle_rad)
        return np.asarray(self.point_mm - height_mm * self.direction, dtype=np.float64)

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return signed distances of points from the generators, positive outside."""
        points = arrays.points("points_mm", points_mm)
        local = (points - self.point_mm) @ self.basis.T
        across = np.hypot(local[:, 0], local[:, 1]) - self.radius_mm
        cosine, sine = math.cos(self.half_angle_rad), math.sin(self.half_angle_rad)
        return np.asarray(cosine * across - sine * local[:, 2], dtype=np.float64)


def fit_cone(
    points_mm: ArrayLike,
    *,
    u_point_mm: float | None = None,
    largest_relative_u_radius: float = LARGEST_RELATIVE_U_RADIUS,
) -> Cone:
    """Fit a cone of free angle to points in space.

    Minimises the sum of squares of the distances from the generators.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least seven points, millimetres: six lie on several cones.
    u_point_mm : float, optional
        Standard uncertainty of a point across the surface, if known.
    largest_relative_u_radius : float
        Refuse a patch that leaves the radius more uncertain than this share of
        itself.

    Returns
    -------
    cone : Cone
        Covariance over the offsets of the axis along e1 and e2, its tilts towards
        them, the radius, and the half angle, at `point_mm`.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, CollinearPoints, CoplanarPoints
        If the points don't spread in space.
    ArcTooShort, DirectionUndetermined, NotConverged
        If they don't determine a cone.

    Examples
    --------
    >>> angle, height = np.meshgrid(np.linspace(0, 5, 9), [10.0, 15.0, 20.0])
    >>> flat = height * [np.cos(angle), np.sin(angle)]
    >>> cone = fit_cone(np.column_stack([*flat.reshape(2, -1), height.ravel()]))
    >>> round(math.degrees(cone.half_angle_rad), 6)
    45.0
    """
    local = localise(arrays.points("points_mm", points_mm, minimum=7))
    local.refuse_collinear("a cone")
    refuse_coplanar(local, "a cone")
    model = AxialModel(is_cone=True)
    start = best_start(model, _starts(local), local)
    state = solve(model, start, local.points, floor=local.resolution).state
    if state.section[0] <= _FLATTEST:
        raise ArcTooShort(
            "The points show no curvature at all: the best cone is flat. Measure "
            "more of the jacket."
        )
    if state.half_angle_rad < 0.0:
        state = turned(state)
    return _result(local, state, u_point_mm, largest_relative_u_radius)


def _starts(local: LocalPoints) -> list[AxialState]:
    """Rank directions by a Taubin fit of A·|q|² + b·q + E·z + G·z² + D."""
    bases = candidate_bases(local)
    points = sample(local.points, _RANKED)
    spaces = np.einsum("nij,pj->npi", bases, points)
    flat, along = spaces[:, :, :2], spaces[:, :, 2]
    squares = np.einsum("npi,npi->np", flat, flat)
    rows = np.stack([squares, flat[:, :, 0], flat[:, :, 1], along, along**2], axis=2)
    mean = rows.mean(axis=1, keepdims=True)
    moment = np.swapaxes(rows - mean, 1, 2) @ (rows - mean) / len(points)
    gradient = _mean_gradient_products(flat, squares, along)
    lower = np.linalg.cholesky(gradient + 1e-10 * np.eye(5))
    half = np.linalg.solve(lower, moment)
    whitened = np.linalg.solve(lower, np.swapaxes(half, 1, 2))
    values, vectors = np.linalg.eigh(0.5 * (whitened + np.swapaxes(whitened, 1, 2)))
    chosen = best_apart(bases, values[:, 0], _STARTS)
    starts = []
    for index in chosen:
        terms = np.linalg.solve(lower[index].T, vectors[index, :, 0])
        constant = -float(mean[index, 0] @ terms)
        state = _state_from(bases[index], terms, constant)
        starts.extend([state] if state is not None else [])
        starts.append(_cylindrical(bases[index], flat[index]))
    return starts


def _mean_gradient_products(
    flat: NDArray[np.float64],
    squares: NDArray[np.float64],
    along: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the mean of ∇φ·∇φᵀ over the points for each direction, (n, 5, 5)."""
    found = np.zeros((len(flat), 5, 5))
    means = 2.0 * flat.mean(axis=1)
    found[:, 0, 0] = 4.0 * squares.mean(axis=1)
    found[:, 0, 1] = found[:, 1, 0] = means[:, 0]
    found[:, 0, 2] = found[:, 2, 0] = means[:, 1]
    found[:, 1, 1] = found[:, 2, 2] = found[:, 3, 3] = 1.0
    found[:, 3, 4] = found[:, 4, 3] = 2.0 * along.mean(axis=1)
    found[:, 4, 4] = 4.0 * (along**2).mean(axis=1)
    return found


def _state_from(
    basis: NDArray[np.float64], terms: NDArray[np.float64], constant: float
) -> AxialState | None:
    """Read the cross-section at z = 0 and the slope of the radius there."""
    section = normalised(np.array([*terms[:3], constant]))
    if section is None or abs(terms[0]) < _FLATTEST:
        return None
    radius = 1.0 / (2.0 * float(section[0]))
    slope = -float(terms[3]) / (2.0 * float(terms[0]) * radius)
    return AxialState(basis, section, math.atan(slope))


def _cylindrical(basis: NDArray[np.float64], flat: NDArray[np.float64]) -> AxialState:
    """Start from a cylinder, for what the quadratic form describes badly."""
    origin = flat.mean(axis=0)
    section = normalised(moved_section(taubin(flat - origin), origin))
    if section is None:
        raise NotConverged("A cross-section of the points has no circle.")
    return AxialState(basis, section)


def _result(
    local: LocalPoints,
    state: AxialState,
    u_point_mm: float | None,
    largest_relative_u_radius: float,
) -> Cone:
    scale = local.scale_mm
    centre = centre_of(state.section)
    radius = 1.0 / (2.0 * float(state.section[0]))
    cosine, sine = math.cos(state.half_angle_rad), math.sin(state.half_angle_rad)
    outward, tilted, along = axis_rows(local, state.basis, centre)
    # A tilt turns about the centre: it moves z by the distance across the axis.
    across = (local.points @ state.basis.T)[:, :2] - centre
    beside = np.hypot(across[:, 0], across[:, 1]) - radius
    rows = np.column_stack(
        [
            cosine * outward,
            cosine * tilted + sine * across,
            np.full(len(along), cosine),
            sine * beside + cosine * along,
        ]
    )
    units = np.array([1.0, 1.0, 1.0 / scale, 1.0 / scale, 1.0, 1.0 / scale])
    cofactor = cofactor_of(triangle_of(rows), units)
    residuals = distances(AxialModel(is_cone=True), state, local.points) * scale
    form = form_of(residuals, len(local.points) - 6)
    names = (
        "offset_1_mm",
        "offset_2_mm",
        "tilt_1_rad",
        "tilt_2_rad",
        "radius_mm",
        "half_angle_rad",
    )
    covariance = covariance_of(names, cofactor, form, u_point_mm)
    refuse_short(
        covariance, radius * scale, largest_relative_u_radius, "cone", "a part"
    )
    refuse_loose_axis(covariance)
    return Cone(
        point_mm=local.to_mm(centre @ state.basis[:2]),
        basis=state.basis,
        radius_mm=radius * scale,
        half_angle_rad=state.half_angle_rad,
        length_mm=float(np.ptp(along)) * scale,
        form=form,
        covariance=covariance,
    )
