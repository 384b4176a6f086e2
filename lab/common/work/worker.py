"""One worker process: Celery with a thread pool and our dispatcher inside."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from celery import bootsteps
from celery.platforms import SecurityWarning
from django.conf import settings
from filelock import FileLock, Timeout

from lab.celery import app
from lab.common.work.dispatcher import Dispatcher
from lab.common.work.queue import give_back_all_running

logger = logging.getLogger(__name__)

#: What the worker's process ends with when another has the data folder.
FOLDER_TAKEN = 75  # EX_TEMPFAIL of sysexits.h


class FolderTaken(RuntimeError):
    """Another worker serves this data folder."""


class DispatcherStep(bootsteps.StartStopStep):  # type: ignore[misc]  # no types
    """Starts the dispatcher once the pool stands, and stops it first."""

    requires = ("celery.worker.components:Pool",)

    def __init__(self, worker: Any, **options: Any) -> None:
        super().__init__(worker, **options)
        self.dispatcher = Dispatcher()

    def start(self, worker: Any) -> None:
        self.dispatcher.start()

    def stop(self, worker: Any) -> None:
        self.dispatcher.stop()


def work(*, threads: int) -> int:
    """Work until a signal says to stop; return the process's exit code.

    Without Redis this process is the only worker that its data folder may have, so
    every row that says ``running`` was left by one that died.

    Raises
    ------
    FolderTaken
        If another worker holds the folder.
    """
    if settings.REDIS_URL:
        return _run_celery(threads)
    with sole_worker(settings.DATA_DIR):
        given_back = give_back_all_running()
        if given_back:
            logger.warning("%d rows were interrupted and are wanted again.", given_back)
        return _run_celery(threads)


@contextmanager
def sole_worker(folder: Path) -> Iterator[None]:
    """Hold the folder's lock, which the system lets go of however the process ends."""
    folder.mkdir(parents=True, exist_ok=True)
    lock = FileLock(folder / "worker.lock")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise FolderTaken(
            f"Another worker already serves the folder {folder}. "
            "One is enough; for several, set REDIS_URL."
        ) from None
    try:
        yield
    finally:
        lock.release()


def _run_celery(threads: int) -> int:
    # The warning is about messages that carry code; ours carry a number as JSON.
    warnings.filterwarnings("ignore", category=SecurityWarning)
    app.in_worker = True
    app.steps["worker"].add(DispatcherStep)
    worker = app.Worker(
        pool="threads",
        concurrency=threads,
        loglevel="WARNING",
        quiet=True,
        without_gossip=True,
        without_mingle=True,
        without_heartbeat=True,
    )
    worker.start()
    return int(worker.exitcode or 0)
