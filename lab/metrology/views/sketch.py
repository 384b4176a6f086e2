"""What a tracker sees from a pose, as a picture for a set-up sheet.

One ray a pixel finds the part; its shade follows from how far the face is turned away,
with outlines where depth or direction jump, so that it prints well in grey. Targets
are drawn over it with their labels: a filled disc for one that the tracker sees, an
open ring for one that it doesn't. Nothing is told by colour alone.
"""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from lab.metrology.errors import BadShape, OutOfDomain
from lab.metrology.views.rays import NOTHING, Blockers, Hits
from lab.metrology.views.trackers import PlannedTargets, Poses

__all__ = ["Sketch", "sketch_pose"]

Array = NDArray[np.float64]

_PAPER = 255
_INK = (25, 25, 25)
_LIGHT, _DARK = 235.0, 120.0
_CREASE = 0.9
_JUMP = 0.03  # of the depth, from pixel to pixel
_SEEN = (0, 90, 140)
_DISC = 5
_MARGIN = 1.06


@dataclass(frozen=True, slots=True, eq=False)
class Sketch:
    """A picture as PNG bytes.

    `places` gives the pixel of each target that lies in the picture, column and row.
    `half_width_rad` is the angle from its middle to its side.
    """

    png: bytes
    width: int
    height: int
    half_width_rad: float
    places: Mapping[str, tuple[float, float]]


def sketch_pose(
    part: Blockers,
    poses: Poses,
    pose: int,
    targets: PlannedTargets,
    seen: NDArray[np.bool_],
    *,
    width: int = 900,
    height: int = 675,
) -> Sketch:
    """Draw the part and its targets as the tracker sees them.

    Parameters
    ----------
    part : Blockers
        Made of the part and its fixture, in the part's frame.
    poses : Poses
        The planned poses.
    pose : int
        Which of them.
    targets : PlannedTargets
        N targets.
    seen : ndarray of bool, shape (N,)
        Which of them are seen from this pose.
    width, height : int
        From 50 to 4,000 pixels.

    Returns
    -------
    Sketch

    Raises
    ------
    OutOfDomain
        If the size or the pose can't be, or nothing lies before the tracker.
    BadShape
        If there isn't one flag for each target.
    """
    for name, side in (("width", width), ("height", height)):
        if not 50 <= side <= 4000:
            raise OutOfDomain(f"{name} is {side}; it must lie from 50 to 4,000.")
    if not 0 <= pose < len(poses):
        raise OutOfDomain(f"There is no pose {pose} among {len(poses)}.")
    if len(seen) != len(targets):
        raise BadShape(f"There are {len(targets)} targets but {len(seen)} flags.")
    place, turn = poses.places_mm[pose], poses.rotations_part_tracker[pose]
    camera = _Camera.around(part, targets, place, turn, width, height)
    hits = part.first_hits(np.tile(place, (width * height, 1)), camera.rays())
    shades = _shaded(part, camera, hits)
    image = Image.fromarray(shades).convert("RGB")
    drawn = _labelled(image, camera, targets, seen)
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", optimize=True)
    half = math.atan(0.5 * width * camera.step)
    return Sketch(buffer.getvalue(), width, height, half, drawn)


@dataclass(frozen=True, slots=True, eq=False)
class _Camera:
    """A camera at the tracker; `step` is a pixel's width at unit depth."""

    place: Array
    turn: Array
    step: float
    middle: tuple[float, float]
    width: int
    height: int

    @classmethod
    def around(
        cls,
        part: Blockers,
        targets: PlannedTargets,
        place: Array,
        turn: Array,
        width: int,
        height: int,
    ) -> _Camera:
        """Return the camera whose picture just holds the part and the targets."""
        points = np.vstack([part.corners.reshape(-1, 3), targets.points_mm])
        local = (points - place) @ turn
        local = local[local[:, 2] > 1e-6]
        if len(local) == 0:
            raise OutOfDomain("Nothing lies before the tracker at this pose.")
        flat = local[:, :2] / local[:, 2:]
        low, high = flat.min(axis=0), flat.max(axis=0)
        span = np.maximum(high - low, 1e-6)
        step = _MARGIN * max(float(span[0]) / width, float(span[1]) / height)
        middle = 0.5 * (low + high)
        return cls(
            place, turn, step, (float(middle[0]), float(middle[1])), width, height
        )

    def rays(self) -> Array:
        """Return a unit direction for every pixel, row by row."""
        column, row = np.meshgrid(np.arange(self.width), np.arange(self.height))
        local = np.ones((self.width * self.height, 3))
        local[:, 0] = self.middle[0] + self.step * (column.ravel() - 0.5 * self.width)
        local[:, 1] = self.middle[1] + self.step * (row.ravel() - 0.5 * self.height)
        local /= np.linalg.norm(local, axis=1, keepdims=True)
        return np.asarray(local @ self.turn.T)

    def pixel(self, points: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Return columns and rows of points, and which lie in the picture."""
        local = (points - self.place) @ self.turn
        before = local[:, 2] > 1e-6
        depth = np.where(before, local[:, 2], 1.0)
        column = (local[:, 0] / depth - self.middle[0]) / self.step + 0.5 * self.width
        row = (local[:, 1] / depth - self.middle[1]) / self.step + 0.5 * self.height
        inside = before & (column >= 0) & (column < self.width)
        return column, row, inside & (row >= 0) & (row < self.height)


def _shaded(part: Blockers, camera: _Camera, hits: Hits) -> NDArray[np.uint8]:
    """Return the shades of all pixels, with outlines."""
    shape = (camera.height, camera.width)
    shades = np.full(len(hits.triangles), _PAPER, dtype=np.uint8)
    on = np.flatnonzero(hits.triangles != NOTHING)
    normals = np.zeros((len(shades), 3))
    if len(on):
        corners = part.corners[hits.triangles[on]]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
        normals[on] = normal
        facing = np.abs(np.einsum("ij,ij->i", normal, camera.rays()[on]))
        shades[on] = np.round(_DARK + (_LIGHT - _DARK) * facing).astype(np.uint8)
    depth = np.where(np.isfinite(hits.distances_mm), hits.distances_mm, 1e12)
    lines = _outlines(depth.reshape(shape), normals.reshape(*shape, 3))
    picture = shades.reshape(shape)
    picture[lines] = _INK[0]
    return picture


def _outlines(depth: Array, normals: Array) -> NDArray[np.bool_]:
    lines = np.zeros(depth.shape, dtype=bool)
    for axis in (0, 1):
        ahead = (slice(1, None), slice(None)) if axis == 0 else (
            slice(None), slice(1, None)
        )  # fmt: skip
        behind = (slice(None, -1), slice(None)) if axis == 0 else (
            slice(None), slice(None, -1)
        )  # fmt: skip
        near = np.minimum(depth[ahead], depth[behind])
        jump = np.abs(depth[ahead] - depth[behind]) > _JUMP * near
        cosine = np.einsum("ijk,ijk->ij", normals[ahead], normals[behind])
        both = (depth[ahead] < 1e12) & (depth[behind] < 1e12)
        lines[ahead] |= jump | (both & (cosine < _CREASE))
    return lines


def _labelled(
    image: Image.Image,
    camera: _Camera,
    targets: PlannedTargets,
    seen: NDArray[np.bool_],
) -> dict[str, tuple[float, float]]:
    """Draw the targets with their labels; those that are seen last, on top."""
    draw = ImageDraw.Draw(image)
    column, row, inside = camera.pixel(targets.points_mm)
    places = {}
    for index in sorted(np.flatnonzero(inside), key=lambda k: bool(seen[k])):
        x, y = float(column[index]), float(row[index])
        box = (x - _DISC, y - _DISC, x + _DISC, y + _DISC)
        if seen[index]:
            draw.ellipse(box, fill=_SEEN, outline=_INK)
        else:
            draw.ellipse(box, outline=_INK, width=2)
        name = targets.names[index]
        right = x + _DISC + 3
        anchor = "lm"
        if right + draw.textlength(name, font=_font()) > camera.width:
            right, anchor = x - _DISC - 3, "rm"
        draw.text(
            (right, y), name, font=_font(), fill=_INK, anchor=anchor,
            stroke_width=2, stroke_fill=(255, 255, 255),
        )  # fmt: skip
        places[name] = (x, y)
    return places


@cache
def _font() -> ImageFont.FreeTypeFont:
    folder = files("font_source_sans_pro").joinpath("files")
    content = folder.joinpath("SourceSansPro-Regular.ttf").read_bytes()
    return ImageFont.truetype(io.BytesIO(content), 15)
