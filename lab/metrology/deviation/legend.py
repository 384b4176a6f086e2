"""The bar beside a picture of deviations: steps, limits, and what the marks mean."""

from __future__ import annotations

import io
import math
from functools import cache
from importlib.resources import files

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from lab.metrology.deviation.scale import ColourScale

__all__ = ["with_legend"]

_MARGIN = 16
_BAR = 28
_WIDE = 190
_TEXT = 15
_INK = (30, 30, 30)
_PAPER = (255, 255, 255)
_GREY = (225, 225, 225)


def with_legend(
    picture: Image.Image, scale: ColourScale, lower_mm: float, upper_mm: float
) -> Image.Image:
    """Return the picture with its scale to the right of it."""
    height = max(picture.height, 360)
    framed = Image.new("RGB", (picture.width + _WIDE, height), _PAPER)
    framed.paste(picture, (0, (height - picture.height) // 2))
    draw = ImageDraw.Draw(framed)
    left = picture.width + _MARGIN
    top, bottom = _MARGIN + 28, height - _MARGIN - 96
    draw.text((left, _MARGIN - 4), "deviation in mm", font=_font(), fill=_INK)
    _bar(draw, scale, left, top, bottom)
    _limits(draw, scale, left, top, bottom, lower_mm, upper_mm)
    _keys(draw, left, bottom + 18)
    return framed


def _bar(
    draw: ImageDraw.ImageDraw, scale: ColourScale, left: int, top: int, bottom: int
) -> None:
    """Draw the steps, highest at the top, with the value at every edge."""
    steps = len(scale.colours)
    edges = np.linspace(bottom, top, steps + 1)
    decimals = _decimals(scale)
    for step in range(steps):
        colour = tuple(int(part) for part in scale.colours[step])
        box = (left, edges[step + 1], left + _BAR, edges[step])
        draw.rectangle(box, fill=colour, outline=_INK)
    for edge, value in zip(edges, scale.edges_mm, strict=True):
        draw.line((left + _BAR, edge, left + _BAR + 5, edge), fill=_INK)
        draw.text(
            (left + _BAR + 9, edge),
            signed(float(value), decimals),
            font=_font(),
            fill=_INK,
            anchor="lm",
        )


def _limits(
    draw: ImageDraw.ImageDraw,
    scale: ColourScale,
    left: int,
    top: int,
    bottom: int,
    lower_mm: float,
    upper_mm: float,
) -> None:
    """Mark the limits of the tolerance by arrowheads at the bar's right."""
    low, high = float(scale.edges_mm[0]), float(scale.edges_mm[-1])
    for limit, name in ((lower_mm, "lower"), (upper_mm, "upper")):
        if not low <= limit <= high:
            continue
        edge = bottom + (top - bottom) * (limit - low) / (high - low)
        tip = left + _BAR + 76
        draw.polygon([(tip, edge), (tip + 9, edge - 5), (tip + 9, edge + 5)], fill=_INK)
        draw.text((tip + 13, edge), name, font=_font(), fill=_INK, anchor="lm")


def _keys(draw: ImageDraw.ImageDraw, left: int, top: int) -> None:
    """Explain hatching and dots."""
    box = (left, top, left + _BAR, top + 18)
    draw.rectangle(box, fill=_PAPER, outline=_INK)
    for start in range(-18, _BAR, 6):
        low, high = max(start, 0), min(start + 18, _BAR)
        draw.line(
            (
                left + low,
                top + 18 - (low - start),
                left + high,
                top + start + 18 - high,
            ),
            fill=_INK,
        )
    draw.text(
        (left + _BAR + 9, top + 9), "outside tolerance", font=_font(), fill=_INK,
        anchor="lm",
    )  # fmt: skip
    top += 30
    draw.rectangle((left, top, left + _BAR, top + 18), fill=_GREY, outline=_INK)
    for x in range(left + 4, left + _BAR, 4):
        for y in range(top + 4, top + 18, 4):
            draw.point((x, y), fill=_INK)
    draw.text(
        (left + _BAR + 9, top + 9), "not measured", font=_font(), fill=_INK, anchor="lm"
    )


def signed(value: float, decimals: int) -> str:
    """Return a number with its sign; zero has none."""
    text = f"{value:+.{decimals}f}".replace("-", "\N{MINUS SIGN}")
    return text[1:] if float(f"{value:.{decimals}f}") == 0.0 else text


def _decimals(scale: ColourScale) -> int:
    """Return the decimals that tell all edges apart exactly, up to four."""
    for decimals in range(4):
        if np.allclose(np.round(scale.edges_mm, decimals), scale.edges_mm, atol=1e-9):
            return decimals
    step = float(scale.edges_mm[1] - scale.edges_mm[0])
    return min(4, max(0, 1 - math.floor(math.log10(step))))


@cache
def _font() -> ImageFont.FreeTypeFont:
    folder = files("font_source_sans_pro").joinpath("files")
    content = folder.joinpath("SourceSansPro-Regular.ttf").read_bytes()
    return ImageFont.truetype(io.BytesIO(content), _TEXT)
