"""Long, greedy or hostile work in a process of its own, with bounds that hold.

A mesh, a large XML file or a photo from outside is read by a child process that
gets bytes and answers with bytes. It has neither the program's environment (no
secrets, no database) nor the right to run or grow for ever; whatever happens to
it, the caller gets an answer or a :class:`lab.common.errors.DomainError`.
"""

from __future__ import annotations

import json
import logging
import os
import struct
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as FutureTimeout
from contextlib import suppress
from pathlib import Path
from typing import IO

from lab.common.errors import DomainError, NotAcceptable

logger = logging.getLogger(__name__)

CHILD = Path(__file__).with_name("sandbox_child.py")
COMPLAINT_LENGTH = 4000
LAST_BREATH_S = 5.0
#: What a child sees of our environment: how to find its libraries and its language.
PASSED_ON = ("PATH", "LANG", "LC_ALL", "SYSTEMROOT", "TMPDIR", "TEMP", "TMP")


class TookTooLong(NotAcceptable):
    """The work was not done within its time."""


class NeedsTooMuchMemory(NotAcceptable):
    """The work wanted more memory than it may have."""


class BrokeDown(DomainError):
    """The work's process died, or failed in a way that nobody foresaw."""


def run_sandboxed(
    target: str, payload: bytes, *, timeout_s: float, memory_mb: int
) -> bytes:
    """Call ``package.module:function`` with bytes in a child process.

    Parameters
    ----------
    target : str
        A function of one ``bytes`` argument that returns ``bytes``. Its module is
        imported in the child; whatever it doesn't import is not loaded.
    payload : bytes
        What the function is called with.
    timeout_s : float
        How long the child may live, its start included, and how much processor
        time it may use.
    memory_mb : int
        How much memory the work may take beside what its imports take. Enforced
        where the platform can (Linux).

    Raises
    ------
    NotAcceptable
        If the function refuses (a DomainError or a MetrologyError, in its own
        words), takes too long or needs too much memory.
    BrokeDown
        If the child crashes, or the function fails unforeseen; the log has it all.
    """
    command = [sys.executable, "-P", str(CHILD), target, str(timeout_s), str(memory_mb)]
    with (
        tempfile.TemporaryFile() as log,
        subprocess.Popen(  # noqa: S603 - our own interpreter and our own script
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=log,
            bufsize=0,  # a buffer that a dead child left behind can't be closed
            env=_environment(),
        ) as child,
    ):
        answer = _converse(child, payload, timeout_s)
        returncode = _ended(child)
        log.seek(0)
        complaints = log.read()
    return _read(target, answer, complaints, returncode)


def _converse(
    child: subprocess.Popen[bytes], payload: bytes, timeout_s: float
) -> bytes:
    """Hand the payload over and take the answer, both at once, within the time.

    The child's input stays open until the answer is here: its end tells the child
    that we are gone, and with us everybody who could want the answer.
    """
    assert child.stdin is not None  # noqa: S101 - for the type checker: both are
    assert child.stdout is not None  # noqa: S101 - pipes by the call above
    with ThreadPoolExecutor(max_workers=2) as threads:
        threads.submit(_hand_over, child.stdin, payload)
        answer = threads.submit(child.stdout.read)
        try:
            return answer.result(timeout=timeout_s)
        except FutureTimeout:
            child.kill()
            raise TookTooLong(
                f"This was not done within {timeout_s:g} seconds and was stopped. "
                "Try with less at once."
            ) from None
        except BaseException:
            child.kill()  # else both threads would wait for it, and we for them
            raise


def _ended(child: subprocess.Popen[bytes]) -> int:
    """Wait for the end of a child that has closed its output; it has no more to do."""
    try:
        return child.wait(timeout=LAST_BREATH_S)
    except subprocess.TimeoutExpired:
        child.kill()
        return child.wait()


def _hand_over(pipe: IO[bytes], payload: bytes) -> None:
    """Write the length and the payload; a child that died early says so elsewhere."""
    rest = memoryview(struct.pack(">Q", len(payload)) + payload)
    with suppress(BrokenPipeError):
        while rest:
            rest = rest[pipe.write(rest) :]


def _environment() -> dict[str, str]:
    environment = {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    return environment | {
        "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
        # One thread: several would each claim address space, and a core of the lab's.
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
        "MALLOC_ARENA_MAX": "1",
    }


def _read(target: str, answer: bytes, complaints: bytes, returncode: int) -> bytes:
    head, _, body = answer.partition(b"\n")
    try:
        outcome = json.loads(head)
    except ValueError:
        _log(target, complaints, returncode)
        raise _death(returncode) from None
    if outcome["outcome"] == "done":
        return body
    if outcome["outcome"] == "refused":
        raise NotAcceptable(outcome["sentence"], field=outcome["field"])
    if outcome["outcome"] == "memory":
        raise _too_much_memory()
    _log(target, complaints, returncode)
    raise BrokeDown("This could not be worked through; what went wrong is in the log.")


def _death(returncode: int) -> DomainError:
    """Say what a child died of that left no answer."""
    if os.name == "posix" and returncode == -24:  # SIGXCPU: out of processor time
        return TookTooLong("This used up its processor time. Try with less at once.")
    return BrokeDown(
        "The process that worked on this died. The file may be damaged, or need "
        "more memory than it may have."
    )


def _too_much_memory() -> NeedsTooMuchMemory:
    return NeedsTooMuchMemory(
        "This needs more memory than it may have. Try with a smaller file."
    )


def _log(target: str, complaints: bytes, returncode: int) -> None:
    text = complaints.decode(errors="replace")[-COMPLAINT_LENGTH:]
    logger.error("The sandbox for %s ended with %s:\n%s", target, returncode, text)
