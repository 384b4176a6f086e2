"""The thread in each worker that feeds wanted rows to Celery, a few at a time."""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Collection
from datetime import timedelta
from itertools import takewhile

from django.conf import settings
from django.db import close_old_connections

from lab.common import clock
from lab.common.work.models import WorkerHeartbeat, WorkItem
from lab.common.work.periods import Ticks
from lab.common.work.queue import UNREACHABLE, give_back_expired, ready_items, send

logger = logging.getLogger(__name__)

TICK_S = 0.5
SWEEP_S = 5.0
HEARTBEAT_S = 10.0
#: With Redis a row is announced at its commit; what still waits so long after was
#: overlooked: the message was lost, or the row is one to be tried again.
OVERLOOKED = timedelta(seconds=2)


class Window:
    """The rows that were fed and have not begun: at most a few.

    Feeding every wanted row at every tick would fill the queue with duplicates.
    """

    size = 16
    #: A message may be lost with its broker; then its row is fed again.
    again_after_s = 30.0

    def __init__(self) -> None:
        self._fed: dict[int, float] = {}
        self._changed = threading.Condition()

    def add(self, pk: int) -> None:
        with self._changed:
            self._fed[pk] = time.monotonic()

    def begun(self, pk: int) -> None:
        """Note that a worker's thread has taken a row up, or found it taken."""
        with self._changed:
            self._fed.pop(pk, None)
            self._changed.notify()

    def keep_only(self, wanted: Collection[int]) -> None:
        """Forget rows that are wanted no more, and messages that must be lost."""
        oldest = time.monotonic() - self.again_after_s
        with self._changed:
            self._fed = {
                pk: fed
                for pk, fed in self._fed.items()
                if pk in wanted and fed > oldest
            }

    def ids(self) -> list[int]:
        with self._changed:
            return list(self._fed)

    def wait_until_empty(self, timeout: float) -> None:
        """Return when all that was fed has begun, or after ``timeout`` seconds."""
        with self._changed:
            if self._fed:
                self._changed.wait_for(lambda: not self._fed, timeout)
                return
        time.sleep(timeout)


#: The window of this worker process; its tasks report to it when they begin.
window = Window()


class Dispatcher:
    """Feeds, sweeps, ticks and beats until it is told to stop."""

    def __init__(self) -> None:
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._loop, name="dispatcher")
        self._thread.daemon = True
        self._ticks = Ticks()
        self._name = f"{socket.gethostname()}:{os.getpid()}"[:120]
        self._started_at = clock.now()
        self._last_sweep = self._last_heartbeat = float("-inf")

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout=5)

    def turn(self) -> None:
        """Do what the present moment asks for, once."""
        if _time_for(self._last_heartbeat, HEARTBEAT_S):
            self._beat()
            self._last_heartbeat = time.monotonic()
        if _time_for(self._last_sweep, SWEEP_S):
            give_back_expired()
            self._last_sweep = time.monotonic()
        self._ticks.insert_due()
        feed()

    def _loop(self) -> None:
        while not self._stopping.is_set():
            try:
                self.turn()
            except Exception:
                # The database may be away for a while; the next turn asks again.
                logger.exception("The dispatcher's turn failed.")
            finally:
                close_old_connections()
            window.wait_until_empty(TICK_S)

    def _beat(self) -> None:
        WorkerHeartbeat.objects.update_or_create(
            name=self._name,
            defaults={"at": clock.now(), "started_at": self._started_at},
        )


def feed() -> int:
    """Send as many ready rows as the window has room for; return how many."""
    fed = window.ids()
    if fed:
        still = WorkItem.objects.filter(pk__in=fed, state=WorkItem.State.WANTED)
        window.keep_only(set(still.values_list("pk", flat=True)))
        fed = window.ids()
    room = window.size - len(fed)
    if room <= 0:
        return 0
    rows = ready_items().exclude(pk__in=fed)
    if settings.REDIS_URL:
        rows = rows.filter(not_before__lte=clock.now() - OVERLOOKED)
    pks = list(rows.values_list("pk", flat=True)[:room])
    return sum(1 for _ in takewhile(_sent, pks))


def _sent(pk: int) -> bool:
    """Send a row's id and note it in the window; tell whether the queue took it."""
    window.add(pk)
    try:
        send(pk)
    except UNREACHABLE as error:
        window.begun(pk)
        logger.warning("The queue can't be reached, and is asked again: %s", error)
        return False
    return True


def _time_for(last: float, interval_s: float) -> bool:
    return time.monotonic() - last >= interval_s
