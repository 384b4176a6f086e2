"""How a sheet looks: paper and ink, thin rules, one accent, a filing margin.

The frame leaves 20 mm on the side where a sheet is filed and 10 mm on the others, as
drawing sheets have it (ISO 5457; figures from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.enums import TA_CENTER, TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm

from lab.common.pdf.fonts import PLAIN, STRONG

INK: Final[Color] = HexColor("#1b262d")
QUIET: Final[Color] = HexColor("#4a565e")
RULE: Final[Color] = HexColor("#cfcabb")
RULE_STRONG: Final[Color] = HexColor("#857e6b")
ACCENT: Final[Color] = HexColor("#8f2f20")
HAIR: Final = 0.4
LINE: Final = 0.8

SIZES: Final = {"a4": A4, "letter": LETTER}
FILED, EDGE = 20 * mm, 10 * mm
BLOCK_HEIGHT: Final = 25 * mm
PADDING: Final = 4 * mm


@dataclass(frozen=True, slots=True)
class Sheet:
    """One size of paper, and where things lie on it; lengths in points."""

    width: float
    height: float

    @property
    def left(self) -> float:
        return FILED

    @property
    def right(self) -> float:
        return self.width - EDGE

    @property
    def bottom(self) -> float:
        return EDGE

    @property
    def top(self) -> float:
        return self.height - EDGE

    @property
    def body_width(self) -> float:
        return self.right - self.left - 2 * PADDING


def sheet_of(paper: str) -> Sheet:
    """Return the sheet of a paper by the name that the snapshot gives it."""
    return Sheet(*SIZES[paper])


def _style(name: str, size: float, **changes: object) -> ParagraphStyle:
    settings = {
        "fontName": PLAIN,
        "fontSize": size,
        "leading": round(size * 1.25, 2),
        "textColor": INK,
        "splitLongWords": 1,
    }
    return ParagraphStyle(name, **(settings | changes))


BODY = _style("body", 9)
SMALL = _style("small", 7, textColor=QUIET)
SMALL_STRONG = _style("strong small", 7, fontName=STRONG)
SMALL_RIGHT = _style("small right", 7, textColor=QUIET, alignment=TA_RIGHT)
LABEL = _style("label", 6.8, textColor=QUIET)
LABEL_ABOVE = _style("label above", 6.8, textColor=QUIET, keepWithNext=1)
SAID = _style("said", 9, spaceAfter=5, allowWidows=0, allowOrphans=0)
STRONG_BODY = _style("strong", 9, fontName=STRONG)
CELL = _style("cell", 8.5)
CELL_STRONG = _style("strong cell", 8.5, fontName=STRONG)
CELL_RIGHT = _style("right cell", 8.5, alignment=TA_RIGHT)
HEAD = _style("head", 7, fontName=STRONG, textColor=QUIET)
HEAD_RIGHT = _style(
    "right head", 7, fontName=STRONG, textColor=QUIET, alignment=TA_RIGHT
)
ROW_TITLE = _style("row title", 9.5, fontName=STRONG)
SECTION = _style("section", 11, fontName=STRONG, spaceAfter=3)
TITLE = _style("title", 24, fontName=STRONG, leading=28)
OWNER = _style("owner", 13, fontName=STRONG)
NUMBER = _style("number", 14, fontName=STRONG, textColor=ACCENT)
END = _style("end", 8.5, fontName=STRONG, alignment=TA_CENTER)
