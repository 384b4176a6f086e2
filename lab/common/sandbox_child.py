"""What runs inside the sandbox: bounds first, then one function, then one answer.

Started as a script by :mod:`lab.common.sandbox`. It imports the function's module
and nothing else of the project, so that it starts fast.
"""

from __future__ import annotations

import json
import os
import struct
import sys
import threading
import traceback
from importlib import import_module
from pathlib import Path
from typing import BinaryIO

try:
    import resource
except ImportError:  # Windows has no such limits; the time limit still holds
    resource = None  # type: ignore[assignment]

MEGABYTE = 1024 * 1024


def main(target: str, timeout_s: float, memory_mb: int) -> None:
    answers = _private_stdout()
    try:
        payload = _read_payload(sys.stdin.buffer)
        module, _, name = target.partition(":")
        function = getattr(import_module(module), name)
        _leave_with_parent()
        _limit(timeout_s, memory_mb)
        result = function(payload)
        if not isinstance(result, bytes):
            raise TypeError(f"{target} returned {type(result).__name__}, not bytes.")
        head: dict[str, object] = {"outcome": "done"}
    except MemoryError:
        head, result = {"outcome": "memory"}, b""
    except Exception as error:  # noqa: BLE001 - every failure becomes an answer
        head, result = _described(error), b""
    _lift_memory_limit()
    answers.write(json.dumps(head).encode() + b"\n" + result)
    answers.flush()


def _private_stdout() -> BinaryIO:
    """Keep the real output for the answer; whatever prints goes to the log."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    return answers


def _read_payload(pipe: BinaryIO) -> bytes:
    (length,) = struct.unpack(">Q", pipe.read(8))
    return pipe.read(length)


def _leave_with_parent() -> None:
    """End when the parent is gone: nobody waits for the answer any more."""

    def watch() -> None:
        os.read(0, 1)  # not through sys.stdin, whose lock would delay our own end
        os._exit(1)

    threading.stack_size(256 * 1024)
    threading.Thread(target=watch, daemon=True).start()


def _limit(timeout_s: float, memory_mb: int) -> None:
    """Bound processor time, and memory beside what the imports have taken.

    Address space is counted, as the kernel counts nothing finer. Only Linux both
    tells how much is in use and keeps to the limit.
    """
    if resource is None:
        return
    seconds = int(timeout_s) + 1
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    statistics = Path("/proc/self/statm")
    if statistics.exists():
        used = int(statistics.read_text().split()[0]) * resource.getpagesize()
        limit = used + memory_mb * MEGABYTE
        resource.setrlimit(resource.RLIMIT_AS, (limit, resource.RLIM_INFINITY))


def _lift_memory_limit() -> None:
    """Let the answer be written: the function has had its share."""
    if resource is not None:
        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (hard, hard))


def _described(error: Exception) -> dict[str, object]:
    """Tell a refusal in words from a failure, without importing either's module.

    A function that can raise a refusal has imported the class by now.
    """
    refusals = tuple(
        getattr(sys.modules[module], name)
        for module, name in (
            ("lab.common.errors", "DomainError"),
            ("lab.metrology.errors", "MetrologyError"),
        )
        if module in sys.modules
    )
    if isinstance(error, refusals):
        field = getattr(error, "field", None)
        return {"outcome": "refused", "sentence": str(error), "field": field}
    traceback.print_exception(error, file=sys.stderr)
    return {"outcome": "failed"}


if __name__ == "__main__":
    main(sys.argv[1], float(sys.argv[2]), int(sys.argv[3]))
