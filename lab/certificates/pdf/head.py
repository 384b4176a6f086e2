"""The first page: whose document it is, for whom, about what, by which method."""

from __future__ import annotations

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, HRFlowable, Table, TableStyle

from lab.common.pdf import look
from lab.common.pdf.pieces import (
    BARE,
    OWN_FONT,
    gap,
    grid,
    joined,
    paragraph,
    plain_table,
    section,
)

Snapshot = dict[str, Any]


def heading(snapshot: Snapshot, width: float) -> list[Flowable]:
    return [
        _owner(snapshot["laboratory"], width),
        gap(14),
        HRFlowable(width=24 * mm, thickness=2.2, color=look.ACCENT, hAlign="LEFT"),
        gap(2),
        paragraph(snapshot["title"], look.TITLE),
        paragraph(snapshot["issue"]["number"], look.NUMBER),
        gap(8),
        *_change(snapshot["change"], width),
        _facts(snapshot, width),
    ]


def items(snapshot: Snapshot, width: float) -> list[Flowable]:
    rows = [
        (one["serial"], one["description"], one["condition"], one["received_on"])
        for one in snapshot["items"]
    ]
    heads = ("Serial or tag", "Item", "Condition as received", "Received")
    return [*section("Items"), plain_table(heads, rows, (30, 48, 62, 22), width)]


def _owner(laboratory: dict[str, Any], width: float) -> Table:
    reach = [*laboratory["address"], laboratory["phone"], laboratory["email"]]
    left = [paragraph(laboratory["name"], look.OWNER)]
    if laboratory["accreditation"]:
        left += [gap(2), paragraph(laboratory["accreditation"], look.SMALL)]
    right = [paragraph(line, look.SMALL_RIGHT) for line in reach if line]
    return Table(
        [[left, right]],
        colWidths=[width * 0.6, width * 0.4],
        splitInRow=1,
        style=TableStyle(BARE),
    )


def _change(change: dict[str, str] | None, width: float) -> list[Flowable]:
    """Return what ties the document to an earlier one, before anything else."""
    if change is None:
        return []
    box = Table(
        [
            [paragraph(change["statement"], look.STRONG_BODY)],
            [paragraph(change["text"], look.BODY)],
        ],
        colWidths=[width],
        splitInRow=1,
        style=TableStyle(
            [
                OWN_FONT,
                ("LINEBEFORE", (0, 0), (0, -1), 2.2, look.ACCENT),
                ("LEFTPADDING", (0, 0), (-1, -1), 8),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ]
        ),
    )
    return [box, gap(10)]


def _facts(snapshot: Snapshot, width: float) -> Table:
    customer, part, method = snapshot["customer"], snapshot["part"], snapshot["method"]
    agreement = snapshot["agreement"]
    reviewed = f"No. {agreement['number']}, of {agreement['agreed_on']}"
    return grid(
        [
            [
                _cell("Customer", customer["name"], *customer["address"]),
                _cell(
                    "Contact",
                    customer["contact"],
                    customer["contact_email"],
                    customer["contact_phone"],
                ),
            ],
            [
                _cell(
                    "Part",
                    f"{part['number']} {part['name']}",
                    f"revision {part['revision']}",
                    part["material"],
                ),
                _cell("Method", method["text"], method["reference_document"]),
            ],
            [
                _cell("Place of work", *map(_place, snapshot["place_of_work"])),
                _cell("Measured on", snapshot["measured_on"]["text"]),
            ],
            [
                _cell("Order", customer["order"], f"Job {snapshot['job']}"),
                _cell(
                    "Contract review", f"{reviewed}, with {agreement['agreed_with']}"
                ),
            ],
        ],
        width,
    )


def _cell(label: str, first: str, *lines: str) -> tuple[str, list[Flowable]]:
    body = [paragraph(line, look.BODY) for line in lines if line]
    return label, [paragraph(first, look.STRONG_BODY), *body]


def _place(place: dict[str, Any]) -> str:
    return joined([place["name"], *place["address"], joined(place["rooms"], " and ")])
