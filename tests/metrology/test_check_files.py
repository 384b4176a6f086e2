"""Readings of a check out of text files: read as they stand, or fitted to points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lab.metrology.checks import Quantity, readings_from_file
from lab.metrology.errors import (
    BadShape,
    Degenerate,
    MetrologyError,
    NotFinite,
    OutOfDomain,
    TooFew,
)
from lab.metrology.typed import AmbiguousNumber, NotANumber

NAMES = ["Along the room", "Upright"]


def read(text: str, quantity: Quantity = Quantity.LENGTH, names=NAMES):
    return readings_from_file(text.encode(), quantity, names)


@pytest.mark.parametrize(
    "text",
    [
        "Along the room,1000.02\nUpright,1000.03\n",
        "upright;1000.03\r\nALONG THE ROOM;1000.02\r\n",
        "position\treading\nAlong the room\t1000.02\nUpright\t1000.03",
        "reading,position\n1000.02,Along the room\n\n1000.03,Upright",
        "# taken on Monday\n1000.02\n1000.03\n",
        "reading [mm]\n1000.02\n1000.03\n",
        '"Along the room","1000.02"\n"Upright","1000.03"',
        "\ufeffposition,reading\nAlong the room,1000.02\nUpright,1000.03",
    ],
)
def test_readings_are_read_as_they_stand(text: str) -> None:
    assert read(text).texts == {"Along the room": "1000.02", "Upright": "1000.03"}


def test_a_decimal_comma_is_kept_and_never_parts_a_number() -> None:
    found = read("Along the room;1000,02\nUpright;1000,03")
    assert found.texts["Upright"] == "1000,03"
    with pytest.raises(BadShape, match=r"Row 1 has 3 columns.*semicolons"):
        read("Upright,1000,0473")
    with pytest.raises(BadShape, match="Row 2 has 3 columns"):
        read("position,reading\nUpright,1000,0473")
    with pytest.raises(OutOfDomain, match="Row 1 names '1000'"):
        read("1000,0473\n1000,0330")


@pytest.mark.parametrize(
    ("text", "kind", "match"),
    [
        ("", TooFew, "no rows"),
        ("position,reading\n", TooFew, "no readings"),
        ("Sideways,1000.0", OutOfDomain, "names 'Sideways'.*Along the room, Upright"),
        ("Upright,1000\nUpright,1001", OutOfDomain, "second reading"),
        ("1\n2\n3", OutOfDomain, "one too many"),
        ("a\0b", BadShape, "no text"),
        ("1000.02\nNaN", NotFinite, "Row 2: NaN"),
        ("Upright;1,234", AmbiguousNumber, "Row 1: 1,234 could mean"),
        ("<html><script>", NotANumber, "Row 1: "),
        ("x,y,z\n1,2,3", OutOfDomain, "read, not fitted"),
    ],
)
def test_what_cannot_be_read_is_refused(text, kind, match) -> None:
    names = ["Upright"] if text.startswith("x") else NAMES
    with pytest.raises(kind, match=match):
        read(text, names=names)


# --- Points ---------------------------------------------------------------------------


def sphere(centre, radius: float, count: int = 60, seed: int = 5) -> np.ndarray:
    """Points all over a sphere of exactly that radius."""
    directions = np.random.default_rng(seed).normal(size=(count, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    return np.asarray(centre) + radius * directions


def lines(points, *before: str) -> str:
    rows = [",".join([*before, *map(repr, map(float, xyz))]) for xyz in points]
    return "\n".join(rows)


def test_points_of_one_sphere_need_no_names() -> None:
    plain = "\n".join(" ".join(f"{v:.9f}" for v in p) for p in sphere((1, 2, 3), 12.5))
    found = read(plain, Quantity.PROBING_SIZE, ["Middle"])
    # 60 points rounded to a picometre fix the diameter far better than a nanometre.
    assert found.fitted_mm["Middle"] == pytest.approx(25.0, abs=1e-6)
    assert found.notes[0].startswith("Middle: sphere of free radius through 60 points")
    assert not found.texts


def test_points_say_to_which_reading_they_belong() -> None:
    text = "position,x [mm],y [mm],z [mm],quality\n"
    for name, radius in (("near", 12.5), ("Far", 12.6)):
        rows = lines(sphere((0, 0, 500), radius), name).splitlines()
        text += "".join(f"{row},ok\n" for row in rows)
    found = read(text, Quantity.PROBING_SIZE, ["Near", "Far"])
    assert found.fitted_mm == pytest.approx({"Near": 25.0, "Far": 25.2}, abs=1e-6)


def test_the_form_of_a_sphere_is_the_range_of_its_distances() -> None:
    points = sphere((0, 0, 0), 12.5)
    points[7] *= 1.002  # 25 µm out
    found = read("x,y,z\n" + lines(points), Quantity.PROBING_FORM, ["Middle"])
    # The fit gives a little way to the one point, by less than 2 of its 25 µm.
    assert 0.023 < found.fitted_mm["Middle"] < 0.0255


def test_a_flat_is_fitted_by_a_plane() -> None:
    grid = [(x, y, 0.0) for x in range(5) for y in range(5)]
    lifted = [*grid, (2.0, 2.0, 0.010)]  # above the middle: nothing tilts
    found = read("x,y,z\n" + lines(lifted), Quantity.FLAT_FORM, ["Flat"])
    assert found.fitted_mm["Flat"] == pytest.approx(0.010, abs=1e-9)
    assert found.notes == ("Flat: plane through 26 points.",)


def test_a_spacing_is_between_the_centres_of_two_spheres() -> None:
    text = "feature,x,y,z\n" + lines(sphere((0, 0, 0), 10), "a")
    text += "\n" + lines(sphere((300, 400, 0), 10), "B")
    found = read(text, Quantity.SPHERE_SPACING, ["Along"])
    assert found.fitted_mm["Along"] == pytest.approx(500.0, abs=1e-6)
    alone = "feature,x,y,z\n" + lines(sphere((0, 0, 0), 10), "A")
    with pytest.raises(OutOfDomain, match="Along: needs points of two spheres"):
        read(alone, Quantity.SPHERE_SPACING, ["Along"])


@pytest.mark.parametrize(
    ("text", "kind", "match"),
    [
        ("x,y,z\n1,2,3", BadShape, "column “position”"),
        ("position,x,y,z\nNear,1,2", BadShape, "Row 2 has 3 columns"),
        ("position,x,y,z\nNear,1,2,nan", BadShape, "Row 2 has 'nan'"),
        ("position,x,y,z\nNear,1,2,1_0", BadShape, "Row 2 has '1_0'"),
        ("position,x,y,z\nNear,1,2,3", MetrologyError, "Near: "),
    ],
)
def test_points_that_tell_no_size_are_refused(text, kind, match) -> None:
    with pytest.raises(kind, match=match):
        read(text, Quantity.PROBING_SIZE, ["Near", "Far"])


def test_a_reading_without_points_and_a_flat_line_of_points_are_refused() -> None:
    text = "position,x,y,z\n" + lines(sphere((0, 0, 0), 10), "Near")
    with pytest.raises(TooFew, match="no points of 'Far'"):
        read(text, Quantity.PROBING_SIZE, ["Near", "Far"])
    row = "x,y,z\n" + lines([(k, k, k) for k in range(9)])
    with pytest.raises(Degenerate, match="Flat: "):
        read(row, Quantity.FLAT_FORM, ["Flat"])
    two = "feature,x,y,z\nA,0,0,0\nB,1,0,0\nA,0,1,0\nB,1,1,0"
    with pytest.raises(OutOfDomain, match="has points of 2 features"):
        read(two, Quantity.FLAT_FORM, ["Flat"])


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    try:
        found = readings_from_file(content, Quantity.PROBING_SIZE, NAMES)
    except MetrologyError:
        return
    assert set(found.texts) | set(found.fitted_mm) <= set(NAMES)
