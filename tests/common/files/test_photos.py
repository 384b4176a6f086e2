"""Photos come out upright, bare of everything but pixels, or are refused in words."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from lab.common.errors import DomainError
from lab.common.files.photos import (
    NotAPhoto,
    TooManyPixels,
    read_answer,
    reencode,
    reencode_in_child,
)

MANY = 1_000_000
Maker = Callable[..., bytes]


def opened(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


@pytest.mark.parametrize(
    ("written_as", "content_type"),
    [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")],
)
def test_each_type_stays_its_type(
    picture: Maker, written_as: str, content_type: str
) -> None:
    made = reencode(picture(written_as), max_pixels=MANY)
    assert (made.content_type, made.width, made.height) == (content_type, 40, 20)
    assert opened(made.content).format == written_as


@pytest.mark.parametrize("written_as", ["JPEG", "PNG", "WEBP"])
def test_place_camera_and_comments_are_gone(picture: Maker, written_as: str) -> None:
    exif = Image.Exif()
    exif[0x010F] = "Invented Camera Works"
    exif.get_ifd(0x8825)[1] = "N"
    extras = {"exif": exif, "icc_profile": b"a profile that is none"}
    if written_as == "JPEG":
        extras["comment"] = b"taken in the Net Loft"
    sent = picture(written_as, **extras)
    assert b"Invented Camera" in sent
    kept = reencode(sent, max_pixels=MANY).content
    for trace in (b"Invented Camera", b"Net Loft", b"Exif", b"EXIF", b"profile"):
        assert trace not in kept
    assert not opened(kept).getexif()


def test_text_chunks_of_a_png_are_gone(picture: Maker) -> None:
    notes = PngImagePlugin.PngInfo()
    notes.add_text("Author", "somebody")
    notes.add_itxt("XML:com.adobe.xmp", "<x:xmpmeta/>")
    kept = reencode(picture("PNG", pnginfo=notes), max_pixels=MANY).content
    assert b"somebody" not in kept
    assert b"xmpmeta" not in kept


def test_bytes_behind_the_picture_are_gone(picture: Maker) -> None:
    sent = picture("PNG") + b"PK\x03\x04 and a page <html>"
    assert b"<html>" not in reencode(sent, max_pixels=MANY).content


def test_a_photo_taken_sideways_stands_upright(picture: Maker) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter: the sent width is the height
    made = reencode(picture("PNG", exif=exif), max_pixels=MANY)
    assert (made.width, made.height) == (20, 40)
    # The red pixel of the top left corner came to the top right.
    assert opened(made.content).getpixel((19, 0)) == (255, 0, 0)


@pytest.mark.parametrize(
    ("written_as", "mode", "kept_mode"),
    [
        ("JPEG", "CMYK", "RGB"),
        ("JPEG", "L", "L"),
        ("PNG", "P", "RGB"),
        ("PNG", "RGBA", "RGBA"),
        ("PNG", "I;16", "I;16"),
        ("PNG", "1", "1"),
        ("WEBP", "RGBA", "RGBA"),
    ],
)
def test_every_mode_of_pixels_is_taken(
    written_as: str, mode: str, kept_mode: str
) -> None:
    out = io.BytesIO()
    Image.new(mode, (8, 8)).save(out, written_as)
    made = reencode(out.getvalue(), max_pixels=MANY)
    assert opened(made.content).mode == kept_mode


def test_a_see_through_palette_stays_see_through() -> None:
    out = io.BytesIO()
    Image.new("P", (8, 8)).save(out, "PNG", transparency=0)
    assert opened(reencode(out.getvalue(), max_pixels=MANY).content).mode == "RGBA"


def test_the_pixels_are_counted_before_they_are_decoded(picture: Maker) -> None:
    sent = picture("PNG", size=(1000, 1000))
    assert reencode(sent, max_pixels=1_000_000).width == 1000
    with pytest.raises(TooManyPixels, match=r"1000 × 1000 pixels; 0.999999 million"):
        reencode(sent, max_pixels=999_999)
    # A header that states four thousand million pixels, and not one behind it.
    bomb = sent[:16] + (65_000).to_bytes(4, "big") * 2 + sent[24:]
    with pytest.raises((TooManyPixels, NotAPhoto)):
        reencode(bomb, max_pixels=MANY)


def test_other_formats_are_not_even_opened() -> None:
    for written_as in ("GIF", "BMP", "TIFF", "PPM", "ICO"):
        out = io.BytesIO()
        Image.new("RGB", (32, 32)).save(out, written_as)
        with pytest.raises(NotAPhoto, match="damaged, or of another type"):
            reencode(out.getvalue(), max_pixels=MANY)


@pytest.mark.parametrize("written_as", ["JPEG", "PNG", "WEBP"])
def test_a_cut_picture_is_refused(picture: Maker, written_as: str) -> None:
    sent = picture(written_as, size=(200, 200))
    with pytest.raises(NotAPhoto):
        reencode(sent[: len(sent) // 2], max_pixels=MANY)


@given(
    written_as=st.sampled_from(["JPEG", "PNG", "WEBP"]),
    where=st.integers(0, 300),
    put=st.binary(min_size=1, max_size=8),
)
def test_a_damaged_picture_is_read_or_refused_and_never_breaks(
    written_as: str, where: int, put: bytes
) -> None:
    out = io.BytesIO()
    Image.linear_gradient("L").resize((64, 64)).convert("RGB").save(out, written_as)
    damaged = bytearray(out.getvalue())
    damaged[where : where + len(put)] = put
    refused = False
    try:
        made = reencode(bytes(damaged), max_pixels=MANY)
    except DomainError as refusal:
        refused = refusal.field == "file"
    assert refused or made.width * made.height <= MANY


def test_the_sandboxes_words_carry_the_same_picture(picture: Maker) -> None:
    sent = picture("PNG")
    answer = reencode_in_child(b"5000\n" + sent)
    assert read_answer(answer) == reencode(sent, max_pixels=5000)
