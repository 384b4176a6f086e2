"""CSV that a spreadsheet shows and doesn't run.

A cell that begins with ``=``, ``+``, ``-``, ``@``, a tab or a carriage return can be
taken for a formula, and a part's name may come from outside. Such a text gets an
apostrophe in front. Numbers keep their minus sign: they are written from numbers,
never from text.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Final

Cell = str | int | float | Decimal | date | datetime | None

#: The last four are the wide forms that some spreadsheets take for the same signs.
DANGEROUS: Final = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
#: Tells spreadsheets that the text is UTF-8; without it "µm" comes out wrong.
BYTE_ORDER_MARK: Final = "\ufeff"


def csv_lines(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[str]:
    """Yield the lines of a CSV file (RFC 4180), the first with the byte order mark.

    Raises
    ------
    ValueError
        If a row has another number of cells than the header, or a number is NaN or
        infinite.
    """
    yield BYTE_ORDER_MARK + _line(header)
    for row in rows:
        if len(row) != len(header):
            raise ValueError(f"A row has {len(row)} cells; the header {len(header)}.")
        yield _line(row)


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    return "".join(csv_lines(header, rows)).encode()


def safe_cell(cell: Cell) -> str:
    """Return the text of one cell, with an apostrophe where it could be a formula."""
    if cell is None:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(DANGEROUS) else cell
    if isinstance(cell, datetime):
        return cell.astimezone(UTC).isoformat()
    if isinstance(cell, Decimal):
        return _finite(f"{cell:f}", cell.is_finite())
    if isinstance(cell, float):
        return _finite(repr(cell), math.isfinite(cell))
    return str(cell)


def _finite(text: str, is_finite: bool) -> str:
    if not is_finite:
        raise ValueError(f"{text} is no number for a table.")
    return text


def _line(cells: Sequence[Cell]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerow([safe_cell(cell) for cell in cells])
    return out.getvalue()
