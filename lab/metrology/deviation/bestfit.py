"""Best fit of measured points onto a nominal surface, without corresponding points.

From a start (targets, datums, or a rough placing) each step takes the nearest points
of the surface as they are and moves the set rigidly so that the distances along the
normals shrink in the least-squares sense [1]_. Points beyond `cutoff` robust
standard deviations take no part in a step, so that clamps and dirt don't pull.

A best fit shares deviations out: a bent part looks half as bent. Where datums are
specified, align to them instead.

References
----------
.. [1] Chen, Y., Medioni, G. (1992). Object modelling by registration of multiple
   range images. Image and Vision Computing 10, 145-155.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from lab.metrology import arrays
from lab.metrology.alignment import Transform
from lab.metrology.deviation.surface import Surface
from lab.metrology.errors import Degenerate
from lab.metrology.fits.refusals import NotConverged

__all__ = ["SurfaceFit", "fit_to_surface"]

_FIRST = 3_000
_SAMPLE = 20_000
_ROUNDS = 200
_SAME_SIDE = 0.5  # cosine
_WEAKEST = 1e-6
_FROM_MEDIAN = 1.4826022185056018


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceFit:
    """The motion that brings measured points onto the surface.

    `rms_mm` is of the distances of the points that took part in the last step,
    `used_share` their share of those looked at, `iterations` the number of steps.
    """

    tf_nominal_measured: Transform
    rms_mm: float
    used_share: float
    iterations: int


def fit_to_surface(
    points_mm: ArrayLike,
    surface: Surface,
    start: Transform,
    *,
    normals: ArrayLike | None = None,
    cutoff: float = 4.0,
) -> SurfaceFit:
    """Refine a placing so that points lie on a surface as well as they can.

    Parameters
    ----------
    points_mm : array_like, shape (N, 3)
        Measured points, at least six, in their own frame, millimetres. Of more than
        20,000 an even random sample is used.
    surface : Surface
        The nominal surface.
    start : Transform
        From the measured frame into the nominal, good to a small part of the size.
    normals : array_like, shape (N, 3), optional
        Outward directions of the measured surface at the points, of any length; see
        `lab.metrology.deviation.vertex_normals`. With them a point on one side of a
        thin wall isn't drawn to the other, which lets the start be farther off.
    cutoff : float
        In robust standard deviations.

    Returns
    -------
    fit : SurfaceFit

    Raises
    ------
    BadShape, NotFinite, TooFew, OutOfDomain
        If an input can't be used.
    Degenerate
        If the surface leaves a motion free (a plane, a cylinder, a sphere).
    NotConverged
        If the start is too far away.
    """
    points = arrays.points("points_mm", points_mm, minimum=6)
    arrays.positive("cutoff", cutoff)
    outward = None
    if normals is not None:
        outward = arrays.points("normals", normals)
        arrays.same_length(points_mm=points, normals=outward)
    random = np.random.default_rng(0)
    transform, total = start, 0
    for size, rest in ((_FIRST, 1e-4), (_SAMPLE, 1e-7)):
        some = np.arange(len(points))
        if len(points) > size:
            some = random.choice(len(points), size=size, replace=False)
        facing = None if outward is None else outward[some]
        transform, rms, share, steps = _refine(
            points[some], facing, surface, transform, cutoff, rest
        )
        total += steps
    return SurfaceFit(transform, rms, share, total)


def _refine(
    points: NDArray[np.float64],
    outward: NDArray[np.float64] | None,
    surface: Surface,
    transform: Transform,
    cutoff: float,
    rest: float,
) -> tuple[Transform, float, float, int]:
    size = float(np.linalg.norm(surface.mesh.size_mm))
    previous = np.inf
    for step in range(1, _ROUNDS + 1):
        placed = transform.apply(points)
        found = surface.signed_distances(placed)
        distance = found.distances_mm
        used = _agreeing(outward, transform, surface.face_normals[found.triangles])
        spread = _FROM_MEDIAN * float(np.median(np.abs(distance[used])))
        used &= np.abs(distance) <= max(cutoff * spread, 1e-12 * size)
        normals = _directions(placed, found.feet_mm, distance, surface, found.triangles)
        motion = _motion(placed[used], normals[used], distance[used], size)
        pivot = placed[used].mean(axis=0)
        transform = _moved(motion, pivot, size, transform)
        rms = math.sqrt(float(np.mean(distance[used] ** 2)))
        shift = float(np.abs(motion).max())
        # Which points take part may flicker for ever: rms at rest ends it too.
        if shift <= 1e-10 * size or abs(previous - rms) <= rest * rms:
            return transform, rms, float(used.mean()), step
        previous = rms
    raise NotConverged(
        f"The points didn't come to rest on the surface in {_ROUNDS} steps: start "
        "nearer, with targets or datums."
    )


def _agreeing(
    outward: NDArray[np.float64] | None,
    transform: Transform,
    faces: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Say which points face the same way as the place nearest to them."""
    if outward is None:
        return np.ones(len(faces), dtype=bool)
    turned = transform.rotate(outward)
    lengths = np.linalg.norm(turned, axis=1)
    cosine = np.einsum("ij,ij->i", turned, faces)
    found = np.asarray(cosine > _SAME_SIDE * lengths, dtype=np.bool_)
    if np.count_nonzero(found) < 6:
        raise NotConverged(
            "Hardly any point faces the way the surface does where it lies: the "
            "start is too far away, or the normals point inward."
        )
    return found


def _directions(
    placed: NDArray[np.float64],
    feet: NDArray[np.float64],
    distance: NDArray[np.float64],
    surface: Surface,
    triangles: NDArray[np.intp],
) -> NDArray[np.float64]:
    """Return outward unit directions from the feet; the face's where too near."""
    away = np.abs(distance)
    far = away > 1e-9 * float(np.linalg.norm(surface.mesh.size_mm))
    directions = surface.face_normals[triangles]
    directions[far] = (placed[far] - feet[far]) / distance[far, np.newaxis]
    return directions


def _motion(
    placed: NDArray[np.float64],
    normals: NDArray[np.float64],
    distance: NDArray[np.float64],
    size: float,
) -> NDArray[np.float64]:
    """Return shift (mm) and turn (scaled by the size, mm) that shrink distances."""
    turning = np.cross(placed - placed.mean(axis=0), normals) / size
    rows = np.hstack([normals, turning])
    singular = np.linalg.svd(np.linalg.qr(rows, mode="r"), compute_uv=False)
    if singular[-1] <= _WEAKEST * singular[0]:
        raise Degenerate(
            "The surface leaves a motion free: points on it can slide along without "
            "leaving it. Measure faces in other directions, or align by datums."
        )
    return np.asarray(np.linalg.lstsq(rows, -distance, rcond=None)[0])


def _moved(
    motion: NDArray[np.float64],
    pivot: NDArray[np.float64],
    size: float,
    transform: Transform,
) -> Transform:
    """Return the transform followed by a shift and a turn about the pivot."""
    turn = Rotation.from_rotvec(motion[3:] / size).as_matrix()
    return Transform(turn, pivot - turn @ pivot + motion[:3]).after(transform)
