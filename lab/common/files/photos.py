"""Photos from outside, written anew by our own encoder within bounds.

What comes out holds pixels and nothing else: no place, no camera, no thumbnail of
what was cropped away, no bytes that another program might take for something to
run. It stands upright without the camera's note on how it was held. Colours of a
wide gamut are taken for sRGB: a photo here shows a part, it does not measure colour.

The module needs no Django, so that the sandbox's child can load it alone.
"""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from typing import Final

from PIL import Image, ImageOps

from lab.common.errors import NotAcceptable

FORMATS: Final = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
#: How each format is written: small enough to load on a tablet, good enough to judge.
WRITTEN: Final = {
    "JPEG": {"quality": 88, "optimize": True},
    "PNG": {"compress_level": 6},
    "WEBP": {"quality": 88, "method": 4},
}
MODES: Final = {
    "JPEG": ("L", "RGB"),
    "PNG": ("1", "L", "LA", "RGB", "RGBA", "I;16"),
    "WEBP": ("RGB", "RGBA"),
}
#: What Pillow raises for broken files; it promises no common ancestor.
BROKEN: Final = (OSError, SyntaxError, ValueError, EOFError, TypeError, IndexError)


class NotAPhoto(NotAcceptable):
    """The bytes can't be read as a picture of a type that we take."""


class TooManyPixels(NotAcceptable):
    """The picture is larger than may be decoded."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A re-encoded picture and its size in pixels."""

    content: bytes
    content_type: str
    width: int
    height: int


def reencode(blob: bytes, *, max_pixels: int) -> Picture:
    """Decode a JPEG, PNG or WebP and encode it anew, upright and without metadata.

    Raises
    ------
    NotAPhoto
        If it is none of these, or broken.
    TooManyPixels
        If it states more pixels than ``max_pixels``; nothing was decoded then.
    """
    try:
        with Image.open(io.BytesIO(blob), formats=tuple(FORMATS)) as image:
            _refuse_too_many_pixels(image.size, max_pixels)
            return _write(image, image.format or "")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_many_pixels("more", max_pixels) from None
    except BROKEN:
        raise NotAPhoto(
            "This can't be read as a JPEG, PNG or WebP picture: it is damaged, or of "
            "another type. Save it anew in one of these and send it again.",
            field="file",
        ) from None


def reencode_in_child(payload: bytes) -> bytes:
    """Do the same behind the sandbox: bytes in, a line of facts and the bytes out.

    ``payload`` is the largest number of pixels, a line feed, and the picture.
    """
    max_pixels, _, blob = payload.partition(b"\n")
    picture = reencode(blob, max_pixels=int(max_pixels))
    facts = [picture.content_type, picture.width, picture.height]
    return json.dumps(facts).encode() + b"\n" + picture.content


def read_answer(answer: bytes) -> Picture:
    """Read what :func:`reencode_in_child` wrote."""
    facts, _, content = answer.partition(b"\n")
    content_type, width, height = json.loads(facts)
    return Picture(content, content_type, width, height)


def _refuse_too_many_pixels(size: tuple[int, int], max_pixels: int) -> None:
    width, height = size
    if width * height > max_pixels:
        raise _too_many_pixels(f"{width} × {height}", max_pixels)


def _too_many_pixels(found: str, max_pixels: int) -> TooManyPixels:
    return TooManyPixels(
        f"The picture has {found} pixels; {max_pixels / 1e6:g} million are the most "
        "that are taken. Send it smaller.",
        field="file",
    )


def _write(image: Image.Image, written_as: str) -> Picture:
    upright = ImageOps.exif_transpose(image)
    clean = _in_mode_for(upright, written_as)
    clean.info = {}  # Pillow would carry comments and profiles over from here
    out = io.BytesIO()
    clean.save(out, written_as, **WRITTEN[written_as])
    return Picture(out.getvalue(), FORMATS[written_as], clean.width, clean.height)


def _in_mode_for(image: Image.Image, written_as: str) -> Image.Image:
    if image.mode in MODES[written_as] and "transparency" not in image.info:
        return image.copy()
    if written_as != "JPEG" and image.has_transparency_data:
        return image.convert("RGBA")
    return image.convert("RGB")
