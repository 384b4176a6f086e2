"""A child process that is kept running until we leave, and never outlives us."""

from __future__ import annotations

import logging
import subprocess
import threading
import time
from collections.abc import Sequence

logger = logging.getLogger(__name__)

FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 60.0
#: A child that ran so long before it died starts afresh without the growing wait.
STEADY_S = 60.0
#: How long a child may take to leave when it is asked to.
GRACE_S = 20.0


class Supervised:
    """Starts a command, starts it again when it dies, and stops it with us.

    The command must leave at the end of its standard input, which is a pipe that
    we hold: the system closes it even if we are killed
    (:func:`lab.common.running.parent.leave_with_parent`).
    """

    def __init__(self, command: Sequence[str]) -> None:
        self._command = list(command)
        self._child: subprocess.Popen[bytes] | None = None
        self._stopping = threading.Event()
        #: Held while a child is being started: one is either known or never started.
        self._starting = threading.Lock()
        self._thread = threading.Thread(
            target=self._keep_running, name="supervisor", daemon=True
        )

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Ask the child to leave, wait for it, and end it if it doesn't."""
        self._stopping.set()
        with self._starting:
            child = self._child
        if child is not None:
            assert child.stdin is not None  # noqa: S101 - we opened it as a pipe
            child.stdin.close()
            try:
                child.wait(timeout=GRACE_S)
            except subprocess.TimeoutExpired:
                child.kill()
        self._thread.join()

    def _keep_running(self) -> None:
        wait_s = FIRST_WAIT_S
        while not self._stopping.is_set():
            began = time.monotonic()
            code = self._run_once()
            if self._stopping.is_set():
                return
            if time.monotonic() - began > STEADY_S:
                wait_s = FIRST_WAIT_S
            logger.warning(
                "%s ended with %s; it starts again in %g s.",
                " ".join(self._command[1:3]),
                code,
                wait_s,
            )
            self._stopping.wait(wait_s)
            wait_s = min(wait_s * 2, LONGEST_WAIT_S)

    def _run_once(self) -> int:
        with self._starting:
            if self._stopping.is_set():
                return 0
            # In a session of its own, so that Ctrl-C in the terminal reaches us alone
            # and the child leaves when we say so.
            self._child = subprocess.Popen(  # noqa: S603 - our own command
                self._command, stdin=subprocess.PIPE, start_new_session=True
            )
        with self._child as child:
            return child.wait()
