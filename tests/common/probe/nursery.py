"""Starts a worker for each line it reads and prints its process id.

Everything is imported once and each worker is a fork, so that twenty can be started
and killed in the time that a few would need to import Django and Celery.
"""

from __future__ import annotations

import os
import sys

import django

django.setup()

from lab.common.work.kinds import all_kinds  # noqa: E402 - needs Django set up
from lab.common.work.worker import work  # noqa: E402


def main() -> None:
    all_kinds()
    _say("ready")
    for _line in sys.stdin:
        child = os.fork()
        if child == 0:
            os._exit(work(threads=2))
        _say(child)
        os.waitpid(child, 0)
        _say("gone")


def _say(word: object) -> None:
    sys.stdout.write(f"{word}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
