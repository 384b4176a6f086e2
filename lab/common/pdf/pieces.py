"""What a certificate is built from: paragraphs, grids, tables, numbers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    HRFlowable,
    LongTable,
    Spacer,
    Table,
    TableStyle,
)

from lab.common.pdf import fonts, look
from lab.common.pdf.lines import Lines
from lab.common.pdf.text import text

#: What :class:`Number` sets at its decimal sign; all else is set as words.
NUMERAL: Final = re.compile(r"[+\u2212-]?\d+(?:\.\d+)?")
#: Commands of a table's style: what to do, from which cell to which, and how.
Commands = list[tuple[Any, ...]]
CELL_PADDING: Final = 2.5
ROOM_AFTER_TITLE: Final = 38 * mm
#: Without it an empty cell asks for a font that is not embedded.
OWN_FONT: Final = ("FONT", (0, 0), (-1, -1), fonts.PLAIN)
#: A table that only lays things side by side.
BARE: Final[Commands] = [
    OWN_FONT,
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 0),
    ("TOPPADDING", (0, 0), (-1, -1), 0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 0),
]


def paragraph(said: object, style: ParagraphStyle = look.BODY) -> Lines:
    return Lines(text(said), style)


def joined(strings: Iterable[str], between: str = ", ") -> str:
    """Join the strings that say something."""
    return between.join(one for one in strings if one)


def section(title: str) -> list[Flowable]:
    """Return the head of a section: a rule across the sheet, and the title on it.

    It goes to the next page where little more than the title would stand on this one.
    """
    rule = HRFlowable(
        width="100%", thickness=look.LINE, color=look.INK, spaceBefore=11, spaceAfter=3
    )
    return [CondPageBreak(ROOM_AFTER_TITLE), rule, paragraph(title, look.SECTION)]


def gap(height: float = 4) -> Spacer:
    return Spacer(0, height)


class Number(Flowable):
    """A number set so that its decimal sign stands where the column has it.

    Parameters
    ----------
    said : str
        As the snapshot has it; what is no plain numeral is set right-aligned instead.
    after : float
        Width that the column keeps for decimal sign and decimals, in points.
    """

    def __init__(self, said: str, after: float) -> None:
        super().__init__()
        self.said, self.after = said, after
        self.words: Lines | None = None

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        self.width, style = width, look.CELL_RIGHT
        whole = stringWidth(self.said.partition(".")[0], style.fontName, style.fontSize)
        if NUMERAL.fullmatch(self.said) and whole + self.after <= width:
            self.words = None
            self.height = style.leading
        else:
            self.words = paragraph(self.said, style)
            _, self.height = self.words.wrap(width, height)
        return self.width, self.height

    def draw(self) -> None:
        if self.words is not None:
            self.words.drawOn(self.canv, 0, 0)
            return
        style = look.CELL_RIGHT
        whole = stringWidth(self.said.partition(".")[0], style.fontName, style.fontSize)
        self.canv.setFont(style.fontName, style.fontSize)
        self.canv.setFillColor(style.textColor)
        left = self.width - self.after - whole
        # Drawn as one string: whoever copies it gets the number in one piece.
        self.canv.drawString(left, style.leading - style.fontSize, self.said)


def numbers(column: Sequence[str]) -> list[Number | str]:
    """Set the numbers of a column by one decimal sign; what is empty stays so."""
    style = look.CELL_RIGHT
    after = max(
        (
            stringWidth(
                "".join(said.partition(".")[1:]), style.fontName, style.fontSize
            )
            for said in column
            if NUMERAL.fullmatch(said)
        ),
        default=0.0,
    )
    return [Number(said, after) if said else "" for said in column]


class Rows(LongTable):
    """A table that is broken between its rows, and inside one only if it must be.

    A row that doesn't fit goes to the next page whole. One that is taller than a page
    is broken where it stands at the top of one, so that nothing is ever cut off.
    """

    def split(self, width: float, height: float) -> list[Flowable]:
        self.splitInRow = 0
        parts: list[Flowable] = super().split(width, height)
        if not parts and self._frame._atTop:
            self.splitInRow = 1
            parts = super().split(width, height)
        return parts


def table(
    rows: Sequence[Sequence[Any]],
    widths: Sequence[float],
    *,
    heads: int = 1,
    commands: Commands | None = None,
) -> Table:
    """Lay a table whose head is repeated on every page that it goes on to."""
    style: Commands = [
        OWN_FONT,
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("VALIGN", (0, 0), (-1, heads - 1), "BOTTOM"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2 * CELL_PADDING),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), CELL_PADDING),
        ("BOTTOMPADDING", (0, 0), (-1, -1), CELL_PADDING),
        ("LINEBELOW", (0, heads - 1), (-1, heads - 1), look.HAIR, look.RULE_STRONG),
        ("LINEBELOW", (0, heads), (-1, -1), look.HAIR, look.RULE),
    ]
    return Rows(
        [list(row) for row in rows],
        colWidths=list(widths),
        repeatRows=heads,
        style=TableStyle(style + (commands or [])),
    )


def plain_table(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    widths: Sequence[float],
    width: float,
) -> Table:
    """Lay a table of words; the widths are shares of the whole."""
    scale = width / sum(widths)
    body = [[paragraph(said, look.CELL) for said in row] for row in rows]
    head = [paragraph(said, look.HEAD) for said in heads]
    return table([head, *body], [share * scale for share in widths])


def grid(
    rows: Sequence[Sequence[tuple[str, Sequence[Flowable]]]], width: float
) -> Table:
    """Lay cells as a drawing's title block has them: a small label, what it says."""
    columns = max(map(len, rows))
    cells = [
        [
            [paragraph(label, look.LABEL), *content] if label or content else ""
            for label, content in row
        ]
        for row in rows
    ]
    return Table(
        cells,
        colWidths=[width / columns] * columns,
        splitInRow=1,
        style=TableStyle(
            [
                OWN_FONT,
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("GRID", (0, 0), (-1, -1), look.HAIR, look.RULE_STRONG),
                ("BOX", (0, 0), (-1, -1), look.LINE, look.INK),
                ("LEFTPADDING", (0, 0), (-1, -1), 5),
                ("RIGHTPADDING", (0, 0), (-1, -1), 5),
                ("TOPPADDING", (0, 0), (-1, -1), 2.5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
            ]
        ),
    )


def said(label: str, *strings: str) -> list[Flowable]:
    """Return a labelled paragraph, or nothing where there is nothing to say."""
    lines = [one for one in strings if one]
    if not lines:
        return []
    body = "<br/>".join(map(text, lines))
    return [paragraph(label, look.LABEL_ABOVE), Lines(body, look.SAID)]
