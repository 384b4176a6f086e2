"""Labels for the lab's own devices: one of 62 × 29 mm, or an A4 sheet of them.

A label says what the device is, how its calibration stands on the day of printing, and
leads to its record by a code. Customers' items never get one of these: what recommends
a day for the next calibration is not for their labels (ISO/IEC 17025:2017, 7.8.4.3).
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any, Final

import segno
from django.conf import settings
from django.urls import reverse
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from lab.common.pdf import fonts, look
from lab.common.pdf.lines import Lines
from lab.common.pdf.text import text
from lab.equipment.selectors import Standing

WIDTH, HEIGHT = 62 * mm, 29 * mm
COLUMNS, ROWS = 3, 9
PER_SHEET: Final = COLUMNS * ROWS
#: The sheet's labels stand without gaps in the middle of the page.
LEFT, BOTTOM = (A4[0] - COLUMNS * WIDTH) / 2, (A4[1] - ROWS * HEIGHT) / 2
EDGE: Final = 2 * mm
CODE: Final = 25 * mm
#: Blank modules that a reader needs around the code (ISO/IEC 18004; from memory).
QUIET_ZONE: Final = 4
TAG_SIZE, SMALLEST = 13.0, 6.0
#: Words of a standing with which a device may not be used.
NOT_FOR_USE: Final = frozenset(
    {
        "Out of service",
        "Away for calibration",
        "Not calibrated",
        "Requirement not met",
        "Waits for acceptance",
        "Calibration overdue",
    }
)


def label_pdf(standing: Standing, today: date) -> bytes:
    """Return one label as a page of its own size."""
    canvas = _canvas((WIDTH, HEIGHT), f"Label of {standing.device.tag}")
    _draw(canvas, standing, today)
    return bytes(canvas.getpdfdata())


def sheet_pdf(standings: Sequence[Standing], today: date, *, used: int = 0) -> bytes:
    """Return A4 sheets of labels; the first ``used`` places are left free.

    Raises
    ------
    ValueError
        If ``used`` leaves no place on the first sheet, or there is nothing to print.
    """
    if not 0 <= used < PER_SHEET or not standings:
        raise ValueError(f"{len(standings)} labels, {used} of {PER_SHEET} places used.")
    canvas = _canvas(A4, "Labels of devices")
    for place, standing in enumerate(standings, start=used):
        if place > used and place % PER_SHEET == 0:
            canvas.showPage()
        row, column = divmod(place % PER_SHEET, COLUMNS)
        canvas.saveState()
        canvas.translate(LEFT + column * WIDTH, BOTTOM + (ROWS - 1 - row) * HEIGHT)
        _draw(canvas, standing, today)
        canvas.restoreState()
    return bytes(canvas.getpdfdata())


def said_of(standing: Standing, today: date) -> list[str]:
    """Return what a label says of a device's state, the most needed first.

    The day until which it is current stands only on a device that may be used.
    """
    lines = []
    if standing.word in NOT_FOR_USE:
        lines.append(f"DO NOT USE: {standing.word.lower()}")
    elif standing.status is not None and standing.status.restriction:
        lines.append(f"RESTRICTED: {standing.status.restriction}")
    if standing.word not in NOT_FOR_USE and standing.calibration is not None:
        lines.append(f"Calibrated {standing.calibration.calibrated_on:%Y-%m-%d}")
        lines.append(f"Current until {standing.calibration.due_on:%Y-%m-%d}")
    return [*lines, f"Printed {today:%Y-%m-%d}"]


def _canvas(size: tuple[float, float], title: str) -> Canvas:
    fonts.sheet()
    canvas = Canvas(io.BytesIO(), pagesize=size, invariant=1, lang="en")
    canvas.setTitle(title)
    return canvas


def _draw(canvas: Canvas, standing: Standing, today: date) -> None:
    device = standing.device
    page = reverse("equipment:detail", args=[device.tag])
    _draw_code(canvas, settings.SITE_URL + page)
    left, top = EDGE + CODE + EDGE, HEIGHT - EDGE
    width = WIDTH - left - EDGE
    size = TAG_SIZE
    while size > SMALLEST and stringWidth(device.tag, fonts.STRONG, size) > width:
        size -= 0.5
    canvas.setFillColor(look.INK)
    canvas.setFont(fonts.STRONG, size)
    canvas.drawString(left, top - TAG_SIZE * 0.85, device.tag)
    lines = [(one, True) for one in said_of(standing, today)[:-1]]
    lines += [(device.name, False), (f"Serial {device.serial}", False)]
    if device.laser_class:
        lines.append((f"Laser class {device.laser_class}", False))
    lines.append((said_of(standing, today)[-1], False))
    _draw_lines(canvas, lines, (left, top - TAG_SIZE - 2, width))


def _draw_lines(
    canvas: Canvas, lines: Sequence[tuple[str, bool]], at: tuple[float, float, float]
) -> None:
    """Draw lines from the top down, the most needed first, until the label is full."""
    left, top, width = at
    for said, is_strong in lines:
        words = Lines(text(said), look.SMALL_STRONG if is_strong else look.SMALL)
        _, height = words.wrap(width, HEIGHT)
        if top - height < EDGE / 2:
            return
        top -= height
        words.drawOn(canvas, left, top)


def _draw_code(canvas: Canvas, address: str) -> None:
    rows = list(segno.make_qr(address, error="m").matrix)
    module = CODE / (len(rows) + 2 * QUIET_ZONE)
    path = canvas.beginPath()
    for down, row in enumerate(rows):
        bottom = EDGE + CODE - (down + 1 + QUIET_ZONE) * module
        for start, length in _dark_runs(row):
            left = EDGE + (start + QUIET_ZONE) * module
            path.rect(left, bottom, length * module, module)
    canvas.setFillColor(look.INK)
    canvas.drawPath(path, stroke=0, fill=1)


def _dark_runs(row: Any) -> Iterator[tuple[int, int]]:
    """Yield where dark modules begin in a row, and how many stand together."""
    start: int | None = None
    for place, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = place
        elif not dark and start is not None:
            yield start, place - start
            start = None
