"""How a certificate ends: remarks, statements, who signs, how to ask about it."""

from __future__ import annotations

from typing import Any, Final

import segno
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Table, TableStyle

from lab.common.pdf import look
from lab.common.pdf.pieces import (
    BARE,
    OWN_FONT,
    gap,
    grid,
    joined,
    paragraph,
    said,
    section,
)

Snapshot = dict[str, Any]
QR_SIZE: Final = 27 * mm
#: Blank modules that a reader needs around the code (ISO/IEC 18004; from memory).
QUIET_ZONE: Final = 4
CODE_GROUP: Final = 4


class QrCode(Flowable):
    """An address as a square code, drawn as rectangles."""

    def __init__(self, address: str) -> None:
        super().__init__()
        self.address = address
        self.rows = list(segno.make_qr(address, error="m").matrix)
        self.width = self.height = QR_SIZE

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        module = QR_SIZE / (len(self.rows) + 2 * QUIET_ZONE)
        path = self.canv.beginPath()
        for down, row in enumerate(self.rows):
            bottom = QR_SIZE - (down + 1 + QUIET_ZONE) * module
            for start, length in _dark_runs(row):
                left = (start + QUIET_ZONE) * module
                path.rect(left, bottom, length * module, module)
        self.canv.setFillColor(look.INK)
        self.canv.drawPath(path, stroke=0, fill=1)
        self.canv.linkURL(self.address, (0, 0, QR_SIZE, QR_SIZE), relative=1)


def _dark_runs(row: Any) -> list[tuple[int, int]]:
    """Return where dark modules begin in a row, and how many stand together."""
    runs: list[tuple[int, int]] = []
    for place, dark in enumerate(row):
        if not dark:
            continue
        if runs and sum(runs[-1]) == place:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((place, 1))
    return runs


def remarks(snapshot: Snapshot) -> list[Flowable]:
    """Return deviations and what else bears on the results (R14, R17, R21, R25)."""
    passed = snapshot["gates_passed"]
    return [
        *section("Method, sampling and remarks"),
        *said("Deviations from the method", snapshot["deviations"]),
        *said("Sampling", snapshot["sampling"]),
        *said("Adjustment or repair", snapshot["adjustment"]),
        *said("Passed over by a named person", *map(str, passed)),
        *_opinion(snapshot["opinion"]),
    ]


def _opinion(opinion: dict[str, str]) -> list[Flowable]:
    if not opinion["text"]:
        return []
    return said(opinion["heading"], f"{opinion['text']} ({opinion['author']})")


def statements(snapshot: Snapshot) -> list[Flowable]:
    stated = snapshot["statements"]
    order = ("items_only", "as_received", "customer_data", "no_partial_copy")
    lines = [paragraph(stated[name], look.BODY) for name in order if stated[name]]
    spaced = [part for line in lines for part in (line, gap(3))]
    return [*section("Statements"), *spaced]


def signatures(snapshot: Snapshot, width: float) -> list[Flowable]:
    """Return the last block, kept on one page: who, how to ask, and the end."""
    issue = snapshot["issue"]
    signed = grid(
        [
            [
                _signed("Reviewed by", issue["reviewed_by"], issue["reviewed_on"]),
                _signed("Authorised by", issue["authorised_by"], issue["issued_at"]),
            ]
        ],
        width,
    )
    end = f"End of {snapshot['title']} {issue['number']}"
    parts = [gap(10), signed, gap(8), _authenticity(issue, width), gap(8)]
    return [KeepTogether([*parts, _end_mark(end, width)])]


def _signed(label: str, name: str, when: str) -> tuple[str, list[Flowable]]:
    return label, [paragraph(name, look.ROW_TITLE), paragraph(when, look.BODY)]


def _authenticity(issue: dict[str, Any], width: float) -> Table:
    code = issue["authenticity_code"]
    grouped = joined(
        [code[at : at + CODE_GROUP] for at in range(0, len(code), CODE_GROUP)], " "
    )
    words = [
        *said(
            "Whether this document is authentic and in force is told at",
            issue["authenticity_url"],
        ),
        *said("Code", grouped),
        *said("Head of the laboratory's sealed record at issue", issue["seal_head"]),
        *_signature(issue.get("signature")),
        paragraph(f"Program version {issue['program_version']}", look.SMALL),
    ]
    return Table(
        [[QrCode(issue["authenticity_url"]), words]],
        colWidths=[QR_SIZE + 4 * mm, width - QR_SIZE - 4 * mm],
        style=TableStyle(BARE),
    )


def _signature(signature: dict[str, str] | None) -> list[Flowable]:
    if not signature:
        return []
    mark = signature["fingerprint"]
    pairs = joined([mark[at : at + 8] for at in range(0, len(mark), 8)], " ")
    return said(
        "Signed electronically (PAdES) with the key of",
        f"{signature['holder']}, whose certificate has the SHA-256 {pairs}",
    )


def _end_mark(words: str, width: float) -> Table:
    return Table(
        [[paragraph(words, look.END)]],
        colWidths=[width],
        style=TableStyle(
            [
                OWN_FONT,
                ("LINEABOVE", (0, 0), (-1, 0), look.LINE, look.INK),
                ("LINEBELOW", (0, 0), (-1, 0), look.LINE, look.INK),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 4),
            ]
        ),
    )
