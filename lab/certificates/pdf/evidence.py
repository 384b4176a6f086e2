"""What the results rest on: conditions, standards, sessions and their checks."""

from __future__ import annotations

from typing import Any

from reportlab.platypus import Flowable

from lab.common.pdf import look
from lab.common.pdf.pieces import (
    gap,
    joined,
    paragraph,
    plain_table,
    said,
    section,
)

Snapshot = dict[str, Any]


def conditions(snapshot: Snapshot, width: float) -> list[Flowable]:
    stated = snapshot["conditions"]
    names = ("session", "room", "temperature", "humidity", "readings", "from", "until")
    rooms = [[row[name] for name in names] for row in stated["rooms"]]
    heads = (
        "Session",
        "Room",
        "Temperature",
        "Relative humidity",
        "Readings",
        "From",
        "Until",
    )
    parts = [
        *section("Conditions"),
        plain_table(heads, rooms, (15, 26, 34, 28, 16, 26, 26), width),
    ]
    # Snapshots from before there were loggers have no summary.
    for row in stated["rooms"]:
        if row.get("summary"):
            parts += said(f"Session {row['session']}", row["summary"])
    if not stated["part_temperatures"]:
        return parts
    warm = ("serial", "session", "temperature", "at", "thermometer")
    items = [[row[name] for name in warm] for row in stated["part_temperatures"]]
    columns = ("Item", "Session", "Temperature by contact", "At", "Thermometer")
    return [*parts, gap(8), plain_table(columns, items, (50, 18, 40, 42, 22), width)]


def traceability(snapshot: Snapshot, width: float) -> list[Flowable]:
    chain = snapshot["traceability"]
    rows = [
        (
            joined([row["tag"], row["name"]], " "),
            row["serial"],
            row["certificate_number"],
            joined([row["provider"], row["accreditation"]]),
            row["calibrated_on"],
            row["due_on"],
            joined(row["sessions"]),
        )
        for row in chain["standards"]
    ]
    heads = (
        "Instrument or standard",
        "Serial",
        "Certificate",
        "Calibrated by",
        "Calibrated",
        "Valid to",
        "Session",
    )
    return [
        *section("Metrological traceability"),
        paragraph(chain["statement"], look.BODY),
        gap(4),
        plain_table(heads, rows, (38, 24, 27, 34, 18, 18, 14), width),
    ]


def sessions(snapshot: Snapshot) -> list[Flowable]:
    if not snapshot["sessions"]:
        return []
    parts: list[Flowable] = section("Measuring sessions and checks")
    for one in snapshot["sessions"]:
        parts += said(f"Session {one['label']}", *_session(one))
    evaluated = snapshot["evaluation"]
    parts += said("Evaluated by", joined(evaluated["evaluated_by"]))
    parts += said("Evaluated with", joined(evaluated["software"]))
    return parts


def _session(one: dict[str, Any]) -> list[str]:
    findings = [
        joined(
            [f"Finding: {found['name']}. {found['reason']}", found["assessment"]], " "
        )
        for found in one["findings"]
    ]
    return [
        (
            f"{one['system']} ({one['tracker']}, {one['scanner']}) in {one['room']}, "
            f"{one['from']} to {one['until']}, measured by "
            f"{joined(one['measured_by'])}"
        ),
        joined(["Checks: " + joined(one["checks"], "; ") if one["checks"] else ""]),
        one["statement"],
        *findings,
    ]
