"""What the sandbox runs on a file of readings or points; it loads no framework."""

from __future__ import annotations

import json

from lab.metrology.checks import Quantity
from lab.metrology.checks.files import readings_from_file


def read(payload: bytes) -> bytes:
    """Read a file: a line of JSON with what is asked, then the file's content."""
    line, _, content = payload.partition(b"\n")
    asked = json.loads(line)
    found = readings_from_file(content, Quantity(asked["quantity"]), asked["names"])
    answer = {
        "texts": found.texts,
        "fitted_mm": found.fitted_mm,
        "notes": list(found.notes),
    }
    return json.dumps(answer).encode()
