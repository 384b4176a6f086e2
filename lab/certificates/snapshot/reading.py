"""Reading snapshots, whatever schema they were written in."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from typing import Any, Final

#: The schema that is written now.
SCHEMA: Final = 1
#: From each schema to the next: pure functions, never applied to what is stored.
UPCASTS: Final[dict[int, Callable[[dict[str, Any]], dict[str, Any]]]] = {}


class UnknownSchema(ValueError):
    """A snapshot was written by a later program than this one."""


def read_snapshot(snapshot_text: str) -> dict[str, Any]:
    """Return a stored snapshot in the present schema.

    Raises
    ------
    UnknownSchema
        If it was written in a schema that this program does not know.
    """
    return upcast(json.loads(snapshot_text))


def instant_of_issue(snapshot: dict[str, Any]) -> datetime:
    """Return when a document was issued, to the minute that it prints."""
    return datetime.strptime(snapshot["issue"]["issued_at"], "%Y-%m-%d %H:%M %z")


def upcast(snapshot: dict[str, Any]) -> dict[str, Any]:
    """Bring a snapshot to the present schema, one step after the other.

    Raises
    ------
    UnknownSchema
        If it is of none that leads there.
    """
    while snapshot.get("schema") != SCHEMA:
        step = UPCASTS.get(snapshot.get("schema", 0))
        if step is None:
            raise UnknownSchema(
                f"A certificate's content is of schema {snapshot.get('schema')}; this "
                f"program reads up to {SCHEMA}. Run the program that wrote it, or a "
                "later one."
            )
        snapshot = step(snapshot)
    return snapshot
