"""Kinds of work that leave a line in a file each time they begin and end."""

from __future__ import annotations

import os
import random
import time

from lab.common.work import Kind


def note(object_id: int) -> None:
    _write(f"ran {object_id}")


def nap(object_id: int) -> None:
    """Take a while, a different one for each object and the same at each try."""
    _write(f"began {object_id}")
    time.sleep(random.Random(object_id).uniform(0.02, 0.12))
    _write(f"ran {object_id}")


def _write(line: str) -> None:
    """Append a line in one write, which the system keeps whole."""
    handle = os.open(os.environ["PROBE_LOG"], os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.write(handle, f"{line}\n".encode())
    os.close(handle)


KINDS = {
    "work_probe.note": Kind(note, limit_s=30, tries=5),
    "work_probe.nap": Kind(nap, limit_s=30, tries=5),
}
