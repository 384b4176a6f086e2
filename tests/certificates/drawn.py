"""What a PDF draws, read back: each line of text with its place, each filled square."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any

from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

EXAMPLE = Path(__file__).with_name("snapshots") / "schema_1.json"
Matrix = tuple[float, float, float, float, float, float]


def example() -> dict[str, Any]:
    """Return the example snapshot, fresh for each test to change."""
    return json.loads(EXAMPLE.read_text())


def reader(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf))


def words_of(pdf: bytes) -> str:
    """Return all text of a PDF, with single blanks between words."""
    return " ".join(" ".join(page.extract_text().split()) for page in reader(pdf).pages)


def squeezed(text: str) -> str:
    """Return a text without its white space: where lines break is the layout's."""
    return re.sub(r"\s+", "", text)


@dataclass(frozen=True)
class Run:
    """Text drawn in one go: its glyphs' bytes, where it begins and ends, how large."""

    text: str
    left: float
    right: float
    base: float
    size: float

    def overlaps(self, other: Run) -> bool:
        """Tell whether two runs are drawn over one another, by more than a hair."""
        apart = self.right < other.left + 0.2 or other.right < self.left + 0.2
        low, high = sorted((self, other), key=lambda run: run.base)
        # Between the top of a capital letter and the base of the line above.
        return not apart and low.base + 0.6 * low.size > high.base


@dataclass
class Drawn:
    """All that one page draws."""

    runs: list[Run] = field(default_factory=list)
    squares: list[tuple[float, float, float, float]] = field(default_factory=list)


def drawn(page: PageObject) -> Drawn:
    """Follow a page's drawing operations, as far as ours use them."""
    pen = _Pen(page)
    for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
        handler = getattr(pen, f"do_{_NAMES.get(operator, '')}", None)
        if handler is not None:
            handler(*operands)
    return pen.made


_NAMES = {
    b"q": "save",
    b"Q": "restore",
    b"cm": "transform",
    b"BT": "begin",
    b"Tm": "place",
    b"Td": "move",
    b"TL": "leading",
    b"T*": "next_line",
    b"Tf": "font",
    b"Tj": "show",
    b"re": "rectangle",
}


class _Pen:
    def __init__(self, page: PageObject) -> None:
        self.fonts = {
            name: _Font(font.get_object())
            for name, font in page["/Resources"]["/Font"].items()
        }
        self.made = Drawn()
        self.ctm: Matrix = (1, 0, 0, 1, 0, 0)
        self.kept: list[Matrix] = []
        self.x = self.y = self.line_x = self.line_y = 0.0
        self.lead = self.size = 0.0
        self.face: _Font | None = None

    def do_save(self) -> None:
        self.kept.append(self.ctm)

    def do_restore(self) -> None:
        self.ctm = self.kept.pop()

    def do_transform(self, *new: Any) -> None:
        a, b, c, d, e, f = map(float, new)
        assert (a, b, c, d) == (1, 0, 0, 1), (
            "Our pages only shift, never turn or scale."
        )
        self.ctm = (1, 0, 0, 1, self.ctm[4] + e, self.ctm[5] + f)

    def do_begin(self) -> None:
        self.x = self.y = self.line_x = self.line_y = 0.0

    def do_place(self, *matrix: Any) -> None:
        self.x = self.line_x = float(matrix[4])
        self.y = self.line_y = float(matrix[5])

    def do_move(self, right: Any, up: Any) -> None:
        self.x = self.line_x = self.line_x + float(right)
        self.y = self.line_y = self.line_y + float(up)

    def do_leading(self, lead: Any) -> None:
        self.lead = float(lead)

    def do_next_line(self) -> None:
        self.do_move(0, -self.lead)

    def do_font(self, name: Any, size: Any) -> None:
        self.face, self.size = self.fonts[name], float(size)

    def do_show(self, string: Any) -> None:
        assert self.face is not None
        raw = string.original_bytes
        left = self.x + self.ctm[4]
        width = self.face.width(raw) * self.size / 1000
        self.x += width
        if raw.strip():
            text = self.face.text(raw)
            run = Run(text, left, left + width, self.y + self.ctm[5], self.size)
            self.made.runs.append(run)

    def do_rectangle(self, x: Any, y: Any, width: Any, height: Any) -> None:
        left, bottom = float(x) + self.ctm[4], float(y) + self.ctm[5]
        self.made.squares.append((left, bottom, float(width), float(height)))


class _Font:
    """Widths and meanings of the one-byte codes of an embedded subset."""

    def __init__(self, font: Any) -> None:
        self.first = int(font["/FirstChar"])
        self.widths = [float(one) for one in font["/Widths"]]
        table = font["/ToUnicode"].get_object().get_data().decode("ascii")
        self.meanings = {
            int(code, 16): bytes.fromhex(sign).decode("utf-16-be")
            for code, sign in re.findall(r"^<(\w\w)> <(\w{4,})>$", table, re.MULTILINE)
        }

    def width(self, raw: bytes) -> float:
        return sum(self.widths[code - self.first] for code in raw)

    def text(self, raw: bytes) -> str:
        return "".join(self.meanings.get(code, "") for code in raw)
