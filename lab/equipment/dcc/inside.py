"""A certificate from outside is read in a process of its own, within bounds."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Final

from lab.common.sandbox import run_sandboxed
from lab.equipment.dcc.reading import read_dcc
from lab.equipment.dcc.records import Certificate

SECONDS: Final = 30.0
MEMORY_MB: Final = 400


def read_sandboxed(blob: bytes, *, now: datetime) -> Certificate:
    """Read a file in the sandbox.

    Raises
    ------
    NotAcceptable
        With the reason, as :func:`lab.equipment.dcc.reading.read_dcc`, or if the file
        needs more time or memory than it may have.
    """
    payload = f"{now.astimezone(UTC).isoformat()}\n".encode() + blob
    answer = run_sandboxed(
        "lab.equipment.dcc.inside:read_in_child",
        payload,
        timeout_s=SECONDS,
        memory_mb=MEMORY_MB,
    )
    return Certificate.from_json(answer)


def read_in_child(payload: bytes) -> bytes:
    moment, _, blob = payload.partition(b"\n")
    return read_dcc(blob, now=datetime.fromisoformat(moment.decode())).to_json()
