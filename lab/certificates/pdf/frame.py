"""The frame of each page with its title block, and the page's number of how many."""

from __future__ import annotations

from typing import Any, Final

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from lab.common.pdf import look
from lab.common.pdf.lines import Lines
from lab.common.pdf.pieces import joined, paragraph
from lab.common.pdf.text import text

#: Widths of the title block's cells in its two rows, as shares of the frame.
UPPER: Final = (0.34, 0.30, 0.22, 0.14)
LOWER: Final = (0.34, 0.30, 0.22, 0.14)
LOWER_HEIGHT: Final = 11 * mm
#: Below this a shrunk text is no longer legible; no field of a record gets there.
SMALLEST: Final = 4.0


class NumberedCanvas(Canvas):
    """A canvas that knows, when it draws a page's frame, how many pages there are."""

    snapshot: dict[str, Any]
    sheet: look.Sheet

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 - the canvas calls it so
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        for number, page in enumerate(self._pages, start=1):
            self.__dict__.update(page)
            _draw_frame(self, number, len(self._pages))
            super().showPage()
        super().save()


def canvas_for(snapshot: dict[str, Any], sheet: look.Sheet) -> type[NumberedCanvas]:
    """Return the canvas that frames the pages of one certificate."""
    return type(
        "FramedCanvas", (NumberedCanvas,), {"snapshot": snapshot, "sheet": sheet}
    )


def _draw_frame(canvas: NumberedCanvas, page: int, pages: int) -> None:
    sheet = canvas.sheet
    canvas.saveState()
    canvas.setStrokeColor(look.INK)
    canvas.setLineWidth(look.LINE)
    canvas.rect(
        sheet.left, sheet.bottom, sheet.right - sheet.left, sheet.top - sheet.bottom
    )
    _centring_marks(canvas, sheet)
    _title_block(canvas, page, pages)
    canvas.restoreState()


def _centring_marks(canvas: Canvas, sheet: look.Sheet) -> None:
    across, up = (sheet.left + sheet.right) / 2, (sheet.bottom + sheet.top) / 2
    reach = 3 * mm
    canvas.setLineWidth(look.HAIR)
    canvas.lines(
        [
            (across, sheet.bottom, across, sheet.bottom - reach),
            (across, sheet.top, across, sheet.top + reach),
            (sheet.left, up, sheet.left - reach, up),
            (sheet.right, up, sheet.right + reach, up),
        ]
    )


def _title_block(canvas: NumberedCanvas, page: int, pages: int) -> None:
    issue, snapshot = canvas.snapshot["issue"], canvas.snapshot
    change = snapshot["change"]
    changed = f"{change['kind']} of {change['number']}" if change else ""
    upper = [
        ("Laboratory", snapshot["laboratory"]["name"], look.STRONG_BODY),
        ("Document", joined([snapshot["title"], changed]), look.STRONG_BODY),
        ("Number", issue["number"], look.NUMBER),
        ("Page", f"{page} of {pages}", look.STRONG_BODY),
    ]
    lower = [
        ("Customer", snapshot["customer"]["name"], look.BODY),
        ("Order", snapshot["customer"]["order"], look.BODY),
        ("Job", snapshot["job"], look.BODY),
        ("Issued", issue["issued_on"], look.BODY),
    ]
    base, height = canvas.sheet.bottom, look.BLOCK_HEIGHT
    canvas.setStrokeColor(look.INK)
    canvas.setLineWidth(look.LINE)
    canvas.line(canvas.sheet.left, base + height, canvas.sheet.right, base + height)
    _cells(canvas, UPPER, upper, base + LOWER_HEIGHT, height - LOWER_HEIGHT)
    _cells(canvas, LOWER, lower, base, LOWER_HEIGHT)
    canvas.setLineWidth(look.HAIR)
    canvas.line(
        canvas.sheet.left, base + LOWER_HEIGHT, canvas.sheet.right, base + LOWER_HEIGHT
    )


def _cells(
    canvas: NumberedCanvas,
    shares: tuple[float, ...],
    cells: list[tuple[str, str, ParagraphStyle]],
    bottom: float,
    height: float,
) -> None:
    left, whole = canvas.sheet.left, canvas.sheet.right - canvas.sheet.left
    for share, (label, content, style) in zip(shares, cells, strict=True):
        width = share * whole
        _cell(canvas, label, content, style, (left, bottom, width, height))
        left += width
        canvas.setLineWidth(look.HAIR)
        if left < canvas.sheet.right - 1:
            canvas.line(left, bottom, left, bottom + height)


def _cell(
    canvas: Canvas,
    label: str,
    content: str,
    style: ParagraphStyle,
    box: tuple[float, float, float, float],
) -> None:
    left, bottom, width, height = box
    left, width = left + 4, width - 8
    name = paragraph(label, look.LABEL)
    _, taken = name.wrap(width, height)
    name.drawOn(canvas, left, bottom + height - taken - 1.5)
    room = height - taken - 3.5
    shrunk = fitted(content, style, width, room)
    _, taken_by_content = shrunk.wrap(width, room)
    shrunk.drawOn(canvas, left, bottom + height - taken - 1.5 - taken_by_content)


def fitted(content: str, style: ParagraphStyle, width: float, height: float) -> Lines:
    """Return a paragraph as large as the style says, or as small as the box needs."""
    size, markup = style.fontSize, text(content)
    while True:
        smaller = style.clone(
            f"{style.name} {size}", fontSize=size, leading=round(size * 1.15, 2)
        )
        made = Lines(markup, smaller)
        if size <= SMALLEST or made.wrap(width, height)[1] <= height:
            return made
        size -= 0.5
