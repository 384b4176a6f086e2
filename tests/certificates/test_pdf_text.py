"""The one way in which a string gets on to a page: printed, never obeyed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import font_source_sans_pro
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from hypothesis import given
from hypothesis import strategies as st

from lab.certificates.pdf import FontUnusable, UnprintableText, render, unprintable
from lab.common.pdf.text import missing_signs, text
from tests.certificates.drawn import drawn, example, reader, squeezed, words_of

#: A person, a place and goods, as nobody sensible would name them.
HOSTILE = [
    '<img src="x.png"/>',
    "a<b>c",
    "</para><para>",
    "&amp; &lt;b&gt; &#65;",
    '<font color="red">',
    '<a href="https://outside.example/">here</a>',
    "\"quoted\" and 'quoted'",
    "{{ 7 * 7 }} ${HOME} %(x)s",
    "W" * 60,
    "שלום עולם",
    "مرحبا بالعالم",
    "Größe Łódź Ærø Кириллица Ελληνικά",
    "⌀ 12 ⏥ 0.05 ▲●◐",
]


@pytest.fixture
def hanzi_font(tmp_path: Path) -> Path:
    """A font with TrueType outlines, and with two signs that no other here has."""
    signs = {ord("測"): "measure", ord("定"): "fix"}
    pen = TTGlyphPen(None)
    pen.moveTo((100, 0))
    for corner in ((100, 700), (900, 700), (900, 0)):
        pen.lineTo(corner)
    pen.closePath()
    box, names = pen.glyph(), [".notdef", *signs.values()]
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap(signs)
    builder.setupGlyf(dict.fromkeys(names, box))
    builder.setupHorizontalMetrics(dict.fromkeys(names, (1000, 100)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Two Signs", "psName": "TwoSigns"})
    builder.setupOS2(sTypoAscender=800, sTypoDescender=-200)
    builder.setupPost()
    path = tmp_path / "two-signs.ttf"
    builder.save(path)
    return path


def snapshot_about(name: str) -> dict[str, Any]:
    """Return the example with one name in every place that a person types in."""
    snapshot = example()
    for block in ("laboratory", "customer", "part", "method"):
        words = {key: name for key, old in snapshot[block].items() if old}
        snapshot[block] |= {k: v for k, v in words.items() if k != "address"}
        if "address" in snapshot[block]:
            snapshot[block]["address"] = [name]
    snapshot["items"] = [dict.fromkeys(one, name) for one in snapshot["items"]]
    for group in snapshot["results"]:
        group["serial"] = name
        for row in group["rows"]:
            row.update(dict.fromkeys(("number", "description", "value", "unit"), name))
    for names in ("deviations", "sampling", "adjustment"):
        snapshot[names] = name
    snapshot["opinion"]["text"] = snapshot["change"]["text"] = name
    snapshot["issue"] |= dict.fromkeys(("authorised_by", "reviewed_by"), name)
    return snapshot


@pytest.mark.parametrize("name", HOSTILE)
def test_whatever_a_name_holds_is_printed_as_it_stands(name: str) -> None:
    snapshot = snapshot_about(name)
    printed = squeezed(words_of(render(json.dumps(snapshot))))
    # In the title block of each page, twice in the head, in each item, in remarks.
    assert printed.count(squeezed(name)) > 20


@pytest.mark.parametrize("name", HOSTILE)
def test_a_name_brings_in_no_picture_link_or_script(name: str) -> None:
    pages = reader(render(json.dumps(snapshot_about(name)))).pages
    links = [
        str(annotation.get_object()["/A"]["/URI"])
        for page in pages
        for annotation in page.get("/Annots") or ()
    ]
    assert links == [example()["issue"]["authenticity_url"]]
    assert [list(page.images) for page in pages] == [[] for _ in pages]


def read_back(markup: str) -> str:
    """Return what a reader of the markup sees: its text, with its line breaks."""
    root = ElementTree.fromstring(f"<para>{markup}</para>")  # our own markup
    for mark in root.iter("br"):
        mark.tail = "\n" + (mark.tail or "")
    return "".join(root.itertext())


@given(st.text(st.characters(codec="latin-1", exclude_categories=["Cc", "Cf"])))
def test_markup_read_back_is_the_string(said: str) -> None:
    assert read_back(text(said)) == said


@given(st.text())
def test_any_string_is_marked_up_or_refused_by_its_signs(said: str) -> None:
    missing = missing_signs([said])
    if missing:
        with pytest.raises(UnprintableText, match=r"UNBROKEN_FALLBACK_FONT"):
            text(said)
        return
    tags = {mark.tag for mark in ElementTree.fromstring(f"<p>{text(said)}</p>").iter()}
    assert tags <= {"p", "br", "font"}


def test_lines_stay_lines() -> None:
    assert text("3 Sluice Road\nPort Ennis") == "3 Sluice Road<br/>Port Ennis"


@pytest.mark.parametrize(
    ("said", "printed"),
    [
        ("bell\x07", "bell[U+0007]"),
        ("part\u202e7-X\u202c", "part[U+202E]7-X[U+202C]"),
        ("pri\ue000vate", "pri[U+E000]vate"),
        ("lone\ud800", "lone[U+D800]"),
        ("soft\u00adhyphen\u200b", "softhyphen"),
        ("tab\tbed", "tab bed"),
        ("cafe\u0301", "café"),
    ],
)
def test_signs_without_a_shape_are_told_by_number_or_left_out(
    said: str, printed: str
) -> None:
    assert text(said) == printed


# --- Fonts ------------------------------------------------------------------------


def test_signs_that_no_font_has_are_refused_by_name() -> None:
    snapshot = example()
    snapshot["customer"]["name"] = "測定の港"
    with pytest.raises(UnprintableText, match=r"測 \(U\+6E2C\).*FALLBACK_FONT") as info:
        render(json.dumps(snapshot))
    assert "and 0 more" not in str(info.value)
    assert unprintable(json.dumps(snapshot)) == "の定測港"
    assert unprintable(json.dumps(example())) == ""


def test_a_named_font_prints_what_the_sheets_own_lacks(
    hanzi_font: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("UNBROKEN_FALLBACK_FONT", str(hanzi_font))
    snapshot = example()
    snapshot["customer"]["name"] = "定測 & 測定 (Port Ennis)"
    pdf = render(json.dumps(snapshot))
    assert "定測&測定(PortEnnis)" in squeezed(words_of(pdf))
    # Each sign is drawn by the font that has it, on the line where it belongs.
    faces = {str(f["/BaseFont"]) for f in fonts_of(pdf)}
    assert any(face.endswith("+TwoSigns") for face in faces)
    assert "定測" in [run.text for run in drawn(reader(pdf).pages[0]).runs]


def test_the_first_of_several_named_fonts_that_has_a_sign_prints_it(
    hanzi_font: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own = Path(font_source_sans_pro.__file__).parent / "files/SourceSansPro-Light.ttf"
    monkeypatch.setenv("UNBROKEN_FALLBACK_FONT", f"{own}:{hanzi_font}")
    assert unprintable(json.dumps({"schema": 1, "name": "測定"})) == ""


@pytest.mark.parametrize("name", ["SourceSansPro-Regular.otf", "no-such.ttf"])
def test_a_named_font_that_cannot_be_embedded_is_refused(
    monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    path = Path(font_source_sans_pro.__file__).parent / "files" / name
    monkeypatch.setenv("UNBROKEN_FALLBACK_FONT", str(path))
    snapshot = example()
    snapshot["customer"]["name"] = "測定"
    with pytest.raises(FontUnusable, match="TrueType outlines"):
        render(json.dumps(snapshot))


def fonts_of(pdf: bytes) -> list[Any]:
    return [
        font.get_object()
        for page in reader(pdf).pages
        for font in page["/Resources"]["/Font"].values()
    ]


def test_every_font_is_embedded() -> None:
    fonts = fonts_of(render(json.dumps(snapshot_about("שלום – Port Ennis ▲"))))
    assert len({str(font["/BaseFont"]) for font in fonts}) == 3
    assert all("/FontFile2" in font["/FontDescriptor"].get_object() for font in fonts)
