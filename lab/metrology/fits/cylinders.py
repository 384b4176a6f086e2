"""Least-squares cylinders: orthogonal distances, from a part of the jacket on.

See `lab.metrology.fits.axial` for the parameters and the search for the axis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lab.metrology import arrays
from lab.metrology.fits.axial import (
    AxialModel,
    AxialState,
    best_apart,
    best_start,
    candidate_bases,
)
from lab.metrology.fits.circles import LARGEST_RELATIVE_U_RADIUS, refuse_short
from lab.metrology.fits.local import LocalPoints, localise, triangle_of
from lab.metrology.fits.refusals import ArcTooShort, DirectionUndetermined
from lab.metrology.fits.round import centre_of, moved_section, normalised
from lab.metrology.fits.solver import distances, sample, solve
from lab.metrology.fits.spheres import refuse_coplanar
from lab.metrology.fits.statistics import Covariance, Form, covariance_of, form_of

__all__ = ["Cylinder", "fit_cylinder"]

_RANKED = 200  # points by which directions are ranked
_STARTS = 5
_LARGEST_U_TILT_RAD = 0.2  # beyond, first order means nothing (our choice)
_WEAKEST = 1e-9  # relative singular value that is rounding only
_FLATTEST = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """A cylinder; rows of `basis` are e1, e2, axis; residuals positive outside.

    `point_mm` is the point of the axis nearest to the centroid of the points, and
    `length_mm` what the points cover along the axis.
    """

    point_mm: NDArray[np.float64]
    basis: NDArray[np.float64]
    radius_mm: float
    length_mm: float
    form: Form
    covariance: Covariance | None

    @property
    def direction(self) -> NDArray[np.float64]:
        """The unit direction of the axis; its sign is free."""
        third: NDArray[np.float64] = self.basis[2]
        return third

    def distances_mm(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return signed distances of points, positive outside."""
        points = arrays.points("points_mm", points_mm)
        across = (points - self.point_mm) @ self.basis[:2].T
        return np.asarray(
            np.hypot(across[:, 0], across[:, 1]) - self.radius_mm, dtype=np.float64
        )


def fit_cylinder(
    points_mm: ArrayLike,
    *,
    u_point_mm: float | None = None,
    largest_relative_u_radius: float = LARGEST_RELATIVE_U_RADIUS,
) -> Cylinder:
    """Fit a cylinder of free radius to points in space.

    Minimises the sum of squares of the distance from the axis less the radius.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        At least six points, millimetres: five lie on several cylinders.
    u_point_mm : float, optional
        Standard uncertainty of a point in the radial direction, if known.
    largest_relative_u_radius : float
        Refuse a patch that leaves the radius more uncertain than this share of
        itself.

    Returns
    -------
    cylinder : Cylinder
        Covariance over the offsets of the axis along e1 and e2, its tilts towards
        them, and the radius, at `point_mm`.

    Raises
    ------
    BadShape, NotFinite, TooFew
        As `lab.metrology.arrays.points` does.
    CoincidentPoints, CollinearPoints, CoplanarPoints
        If the points don't spread in space.
    ArcTooShort, DirectionUndetermined, NotConverged
        If they don't determine a radius or an axis.

    Examples
    --------
    >>> angle, height = np.meshgrid(np.linspace(0, 3, 7), [0.0, 10.0, 20.0])
    >>> flat = [5 * np.cos(angle.ravel()), 5 * np.sin(angle.ravel())]
    >>> cylinder = fit_cylinder(np.column_stack([*flat, height.ravel()]))
    >>> round(cylinder.radius_mm, 9), abs(cylinder.direction).round(9).tolist()
    (5.0, [0.0, 0.0, 1.0])
    """
    local = localise(arrays.points("points_mm", points_mm, minimum=6))
    local.refuse_collinear("a cylinder")
    refuse_coplanar(local, "a cylinder")
    model = AxialModel(is_cone=False)
    start = best_start(model, _starts(local), local)
    state = solve(model, start, local.points, floor=local.resolution).state
    if state.section[0] <= _FLATTEST:
        raise ArcTooShort(
            "The points show no curvature at all: the best cylinder is flat. "
            "Measure more of the jacket."
        )
    return _result(local, _signed(state), u_point_mm, largest_relative_u_radius)


def _starts(local: LocalPoints) -> list[AxialState]:
    """Rank directions by Taubin's fit of the cross-section, and return the best."""
    bases = candidate_bases(local)
    points = sample(local.points, _RANKED)
    flat = np.einsum("nij,pj->npi", bases[:, :2], points)
    flat_mean = flat.mean(axis=1, keepdims=True)
    flat = flat - flat_mean
    squares = np.einsum("npi,npi->np", flat, flat)
    mean = squares.mean(axis=1, keepdims=True)
    first = (squares - mean) / (2.0 * np.sqrt(mean))
    rows = np.concatenate([first[:, :, np.newaxis], flat], axis=2)
    values, vectors = np.linalg.eigh(np.swapaxes(rows, 1, 2) @ rows)
    chosen = best_apart(bases, values[:, 0], _STARTS)
    starts = []
    for index in chosen:
        least = vectors[index, :, 0]
        curvature = least[0] / (2.0 * math.sqrt(float(mean[index, 0])))
        centred = np.array(
            [curvature, least[1], least[2], -float(mean[index, 0]) * curvature]
        )
        section = normalised(moved_section(centred, flat_mean[index, 0]))
        if section is not None:
            starts.append(AxialState(bases[index], section))
    return starts


def _signed(state: AxialState) -> AxialState:
    """Return the state with the largest component of the axis positive."""
    axis = state.basis[2]
    return state if axis[int(np.argmax(np.abs(axis)))] > 0.0 else turned(state)


def turned(state: AxialState) -> AxialState:
    """Return the same surface with its axis the other way round."""
    flip = np.array([1.0, -1.0, -1.0])
    section = state.section * np.array([1.0, 1.0, -1.0, 1.0])
    return AxialState(state.basis * flip[:, np.newaxis], section, -state.half_angle_rad)


def axis_rows(
    local: LocalPoints, basis: NDArray[np.float64], centre: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return outward unit vectors across the axis, the same times z, and z.

    The minus signs of ∂d/∂(offsets, tilts) are left out: they cancel in JᵀJ with
    those of the other columns as long as all are.
    """
    coordinates = local.points @ basis.T
    outward = coordinates[:, :2] - centre
    lengths = np.hypot(outward[:, 0], outward[:, 1])
    lengths[lengths == 0.0] = 1.0
    outward /= lengths[:, np.newaxis]
    along = coordinates[:, 2]
    return outward, outward * along[:, np.newaxis], along


def _result(
    local: LocalPoints,
    state: AxialState,
    u_point_mm: float | None,
    largest_relative_u_radius: float,
) -> Cylinder:
    scale = local.scale_mm
    centre = centre_of(state.section)
    outward, tilted, along = axis_rows(local, state.basis, centre)
    rows = np.column_stack([outward, tilted, np.ones(len(along))])
    units = np.array([1.0, 1.0, 1.0 / scale, 1.0 / scale, 1.0])
    cofactor = cofactor_of(triangle_of(rows), units)
    count = len(local.points)
    residuals = distances(AxialModel(is_cone=False), state, local.points) * scale
    form = form_of(residuals, count - 5)
    names = ("offset_1_mm", "offset_2_mm", "tilt_1_rad", "tilt_2_rad", "radius_mm")
    covariance = covariance_of(names, cofactor, form, u_point_mm)
    radius_mm = scale / (2.0 * float(state.section[0]))
    refuse_short(covariance, radius_mm, largest_relative_u_radius, "cylinder", "a part")
    refuse_loose_axis(covariance)
    return Cylinder(
        point_mm=local.to_mm(centre @ state.basis[:2]),
        basis=state.basis,
        radius_mm=radius_mm,
        length_mm=float(np.ptp(along)) * scale,
        form=form,
        covariance=covariance,
    )


def cofactor_of(
    triangle: NDArray[np.float64], units: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return (JᵀJ)⁻¹ with each parameter brought to its unit.

    Raises
    ------
    DirectionUndetermined
        If the points leave a combination of the parameters free.
    """
    lengths = np.linalg.norm(triangle, axis=0)
    lengths[lengths == 0.0] = 1.0
    scaled = triangle / lengths
    if np.linalg.cond(scaled) > 1.0 / _WEAKEST:
        raise DirectionUndetermined(
            "The points leave the axis free to move or tilt: they lie on one ring, "
            "or on too few lines. Measure along the axis as well as around it."
        )
    inverse = np.linalg.inv(scaled) * (units / lengths)[:, np.newaxis]
    return np.asarray(inverse @ inverse.T, dtype=np.float64)


def refuse_loose_axis(covariance: Covariance | None) -> None:
    """Raise if the scatter leaves the direction of the axis open."""
    if covariance is None:
        return
    tilt_rad = max(covariance.u("tilt_1_rad"), covariance.u("tilt_2_rad"))
    if tilt_rad > _LARGEST_U_TILT_RAD:
        raise DirectionUndetermined(
            f"The points leave the direction of the axis uncertain by "
            f"{math.degrees(tilt_rad):.2g}°. Measure along the axis as well as "
            "around it."
        )
