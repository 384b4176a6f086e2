"""The picture of deviations on a certificate: a nominal surface, coloured.

One ray a pixel finds what is seen (see `lab.metrology.deviation.visible`). A pixel
takes the weighted mean deviation of the measured points around the place seen, on the
same side of the part; where none lies within `gap_mm` it is drawn as not measured.
Which colours, and why: `lab.metrology.deviation.scale`.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image
from scipy.spatial import cKDTree

from lab.metrology import arrays
from lab.metrology.deviation.legend import with_legend
from lab.metrology.deviation.scale import ColourScale
from lab.metrology.deviation.surface import SignedDistances, Surface
from lab.metrology.deviation.visible import NOTHING, View, look_along, seen_by_rays
from lab.metrology.errors import OutOfDomain

__all__ = ["Picture", "draw_deviations"]

_NEIGHBOURS = 6
_CREASE = 0.9  # cosine below which neighbouring pixels are divided by an outline
_PAPER = np.array([255, 255, 255], dtype=np.uint8)
_INK = np.array([30, 30, 30], dtype=np.uint8)
_UNMEASURED = np.array([225, 225, 225], dtype=np.uint8)
_HATCH = 6  # pixels from one hatching line to the next


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A picture as PNG bytes, with what it shows.

    `share_measured` is of the pixels of the part, as is `share_outside` among the
    measured ones; `pixel_mm` the size of a pixel on the part.
    """

    png: bytes
    width: int
    height: int
    pixel_mm: float
    share_measured: float
    share_outside: float
    map_name: str


def draw_deviations(
    surface: Surface,
    measured: SignedDistances,
    scale: ColourScale,
    *,
    lower_mm: float,
    upper_mm: float,
    gap_mm: float,
    direction: ArrayLike = (-1.0, 1.0, -1.0),
    up: ArrayLike = (0.0, 0.0, 1.0),
    width: int = 900,
    height: int = 600,
) -> Picture:
    """Draw a surface in the colours of the deviations measured on it.

    Parameters
    ----------
    surface : Surface
        The nominal surface.
    measured : SignedDistances
        What `surface.signed_distances` said of the measured points.
    scale : ColourScale
        Steps and colours.
    lower_mm, upper_mm : float
        The tolerance; outside it is hatched.
    gap_mm : float
        Farther than this from every measured point the surface is not measured.
    direction, up : array_like, shape (3,)
        Where the viewer looks, and what is up in the picture, in the mesh's frame.
    width, height : int
        Of the part's picture, from 50 to 4,000 pixels; the scale stands beside it.

    Returns
    -------
    picture : Picture

    Raises
    ------
    BadShape, NotFinite, OutOfDomain
        If an input can't be used.
    """
    lower, upper = (
        arrays.finite("lower_mm", lower_mm),
        arrays.finite("upper_mm", upper_mm),
    )
    if lower > upper:
        raise OutOfDomain(
            f"The tolerance is upside down: lower_mm is {lower:g}, upper_mm {upper:g}."
        )
    for name, side in (("width", width), ("height", height)):
        if not 50 <= side <= 4000:
            raise OutOfDomain(f"{name} is {side}; it must lie from 50 to 4,000.")
    gap = arrays.positive("gap_mm", gap_mm)
    view = look_along(surface.mesh.vertices_mm, direction, up, width, height)
    corners = surface.mesh.vertices_mm[surface.mesh.triangles]
    seen = seen_by_rays(corners, view)
    on_part = np.flatnonzero(seen != NOTHING)
    places = _places(view, corners, seen[on_part], on_part, surface)
    deviation = _deviation_at(surface, measured, places, seen[on_part], gap)
    pixels = _painted(view, on_part, deviation, scale, lower, upper)
    pixels[_outlines(view, surface, seen, on_part, places)] = _INK
    image = Image.fromarray(pixels.reshape(height, width, 3))
    framed = with_legend(image, scale, lower, upper)
    is_known = ~np.isnan(deviation)
    known = deviation[is_known]
    outside = (known < lower) | (known > upper)
    return Picture(
        png=_png(framed),
        width=framed.width,
        height=framed.height,
        pixel_mm=view.pixel_mm,
        share_measured=float(is_known.mean()) if len(deviation) else 0.0,
        share_outside=float(outside.mean()) if len(known) else 0.0,
        map_name=scale.map_name,
    )


def _places(
    view: View,
    corners: NDArray[np.float64],
    triangles: NDArray[np.intp],
    pixels: NDArray[np.intp],
    surface: Surface,
) -> NDArray[np.float64]:
    """Return where the rays of pixels meet the planes of their triangles."""
    starts = view.centres()[pixels]
    normals = surface.face_normals[triangles]
    facing = normals @ view.basis[2]
    facing[np.abs(facing) < 1e-12] = 1e-12
    reach = np.einsum("ij,ij->i", corners[triangles, 0] - starts, normals) / facing
    return np.asarray(starts + reach[:, np.newaxis] * view.basis[2], dtype=np.float64)


def _deviation_at(
    surface: Surface,
    measured: SignedDistances,
    places: NDArray[np.float64],
    triangles: NDArray[np.intp],
    gap: float,
) -> NDArray[np.float64]:
    """Return the mean deviation around places, NaN where none was measured."""
    if len(places) == 0:
        return np.empty(0)
    # Normals as three more coordinates, as long as the gap: what faces another way by
    # 60° or more is out of reach, so that the far side of a wall never shows through.
    known = np.hstack(
        [measured.feet_mm, gap * surface.face_normals[measured.triangles]]
    )
    wanted = np.hstack([places, gap * surface.face_normals[triangles]])
    count = min(_NEIGHBOURS, len(known))
    apart, index = cKDTree(known).query(
        wanted, k=[*range(1, count + 1)], distance_upper_bound=gap
    )
    near = np.isfinite(apart)
    index = np.where(near, index, 0)
    weight = np.where(near, 1.0 / (np.where(near, apart, 1.0) + 0.05 * gap), 0.0)
    total = weight.sum(axis=1)
    mean = (weight * measured.distances_mm[index]).sum(axis=1)
    return np.where(total > 0.0, mean / np.where(total > 0.0, total, 1.0), np.nan)


def _painted(
    view: View,
    on_part: NDArray[np.intp],
    deviation: NDArray[np.float64],
    scale: ColourScale,
    lower: float,
    upper: float,
) -> NDArray[np.uint8]:
    """Return the colours of all pixels, shape (height · width, 3)."""
    pixels = np.tile(_PAPER, (view.width * view.height, 1))
    known = ~np.isnan(deviation)
    pixels[on_part[known]] = scale.colours[scale.step_of(deviation[known])]
    row, column = np.divmod(on_part, view.width)
    dots = (row % 4 == 0) & (column % 4 == 0)
    pixels[on_part[~known]] = _UNMEASURED
    pixels[on_part[~known & dots]] = _INK
    hatched = known & ((row + column) % _HATCH == 0)
    below, above = hatched & (deviation < lower), hatched & (deviation > upper)
    # Dark hatching on the light end, light hatching on the dark end.
    pixels[on_part[above]] = _INK
    pixels[on_part[below]] = _PAPER
    return pixels


def _outlines(
    view: View,
    surface: Surface,
    seen: NDArray[np.intp],
    on_part: NDArray[np.intp],
    places: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Say which pixels lie on an outline or a crease."""
    shape = (view.height, view.width)
    depth = np.full(view.width * view.height, np.inf)
    depth[on_part] = places @ view.basis[2]
    normals = np.zeros((view.width * view.height, 3))
    normals[on_part] = surface.face_normals[seen[on_part]]
    deep, facing = depth.reshape(shape), normals.reshape(*shape, 3)
    line = np.zeros(shape, dtype=bool)
    for axis in (0, 1):
        ahead = tuple(slice(1, None) if a == axis else slice(None) for a in (0, 1))
        behind = tuple(slice(None, -1) if a == axis else slice(None) for a in (0, 1))
        with np.errstate(invalid="ignore"):
            step = np.abs(deep[ahead] - deep[behind])
        cosine = np.einsum("ijk,ijk->ij", facing[ahead], facing[behind])
        # A steep face changes depth from pixel to pixel without being an edge.
        jump = ~(step <= 8.0 * view.pixel_mm) & ~np.isnan(step)
        line[ahead] |= jump | ((cosine < _CREASE) & np.isfinite(step))
    return line.ravel()


def _png(image: Image.Image) -> bytes:
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", optimize=True)
    return buffer.getvalue()
