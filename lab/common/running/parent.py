"""A child process that leaves when its parent is gone, however the parent went."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time

#: How long a child may take to leave by itself after its parent is gone.
GRACE_S = 10.0


def leave_with_parent() -> None:
    """Stop this process when its standard input ends.

    The parent holds the other end of that pipe and never writes to it; the system
    closes it even where the parent is killed. First the process is asked to stop,
    so that running work can finish; after a grace it is ended.
    """
    threading.Thread(target=_watch, name="parent-watch", daemon=True).start()


def _watch() -> None:
    while os.read(sys.stdin.fileno(), 1024):
        continue
    os.kill(os.getpid(), signal.SIGTERM)
    time.sleep(GRACE_S)
    os._exit(1)
