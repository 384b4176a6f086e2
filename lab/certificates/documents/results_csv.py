"""The results of a certificate as a table for other programs."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any, Final

from lab.common.files.csvout import Cell, csv_bytes

COLUMNS: Final = (
    "certificate",
    "serial",
    "characteristic",
    "description",
    "nominal",
    "tolerance",
    "value",
    "unit",
    "expanded_u",
    "coverage_factor",
    "coverage_probability",
    "verdict",
    "temperature",
    "session",
    "provider",
)
NUMBERS: Final = frozenset({"value", "expanded_u", "coverage_factor"})
#: The sign that a certificate prints before a negative number.
PRINTED_MINUS: Final = "−"


def results_csv(snapshot: dict[str, Any]) -> bytes:
    """Return every stated result in a row, as the document prints it."""
    number = snapshot["issue"]["number"]
    rows = [
        _row(row | {"certificate": number, "serial": group["serial"]})
        for group in snapshot["results"]
        for row in group["rows"]
    ]
    return csv_bytes(COLUMNS, rows)


def _row(facts: dict[str, Any]) -> list[Cell]:
    facts = facts | {"characteristic": facts["number"]}
    return [
        _number(facts[name]) if name in NUMBERS else facts[name] for name in COLUMNS
    ]


def _number(text: str) -> Cell:
    """Return a number with all its digits; what is none stays a text."""
    try:
        return Decimal(text.replace(PRINTED_MINUS, "-"))
    except InvalidOperation:
        return text
