"""The faces that certificates are set in, and which of them has which sign.

Source Sans comes with a package and sets everything it can. For the scripts that it
lacks an operator names further fonts in ``UNBROKEN_FALLBACK_FONT`` (paths, parted as
in ``PATH``); after them comes DejaVu Sans, where matplotlib is installed. Only fonts
with TrueType outlines can be embedded: of those for Chinese, Japanese and Korean,
Droid Sans Fallback can be (Debian: fonts-droid-fallback), Noto Sans CJK can't.
"""

from __future__ import annotations

import functools
import importlib.util
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import font_source_sans_pro
from reportlab.lib.fonts import addMapping
from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFError, TTFont

from lab import environ

#: Names by which the faces of the sheet are registered.
PLAIN: Final = "Sheet"
STRONG: Final = "SheetStrong"
SETTING: Final = "UNBROKEN_FALLBACK_FONT"
_SOURCE_SANS: Final = Path(font_source_sans_pro.__file__).parent / "files"
_FILES: Final = {
    PLAIN: _SOURCE_SANS / "SourceSansPro-Regular.ttf",
    STRONG: _SOURCE_SANS / "SourceSansPro-Semibold.ttf",
}


class FontUnusable(ValueError):
    """A font that the operator named can't be read, or can't be embedded."""


@dataclass(frozen=True, slots=True)
class Face:
    """A registered font: its name, and the signs (code points) that it has."""

    name: str
    signs: frozenset[int]


@functools.cache
def sheet() -> Face:
    """Register the sheet's own faces; return the signs that all of them have."""
    faces = [_register(name, path) for name, path in _FILES.items()]
    for name in _FILES:
        # Markup inside a paragraph never changes weight or slope, so that every
        # combination is the face itself.
        for bold, italic in ((0, 0), (1, 0), (0, 1), (1, 1)):
            addMapping(name, bold, italic, name)
    return Face(PLAIN, frozenset.intersection(*(face.signs for face in faces)))


def others() -> tuple[Face, ...]:
    """Return the faces for what the sheet's own lack, in the order of preference.

    Raises
    ------
    FontUnusable
        If the operator named a file that is no TrueType font.
    """
    return _others(environ.text(SETTING))


@functools.cache
def _others(said: str) -> tuple[Face, ...]:
    paths = [Path(one) for one in said.split(os.pathsep) if one]
    named = [_named(path) for path in paths]
    dejavu = _dejavu()
    last = [_register("Further", dejavu)] if dejavu else []
    return (*named, *last)


def _named(path: Path) -> Face:
    try:
        return _register(f"Named {path}", path)
    except (OSError, TTFError) as problem:
        raise FontUnusable(
            f"{SETTING} names {path}, which can't be embedded: {problem}. Name a font "
            "with TrueType outlines."
        ) from problem


def _dejavu() -> Path | None:
    """Find DejaVu Sans in matplotlib's folder, without importing matplotlib."""
    found = importlib.util.find_spec("matplotlib")
    for folder in (found.submodule_search_locations or ()) if found else ():
        path = Path(folder, "mpl-data", "fonts", "ttf", "DejaVuSans.ttf")
        if path.exists():
            return path
    return None


def _register(name: str, path: Path) -> Face:
    font = TTFont(name, str(path))
    registerFont(font)
    addMapping(name, 0, 0, name)
    return Face(name, frozenset(font.face.charToGlyph))
