"""Is everything there that the lab leans on? Told without a secret."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import DEFAULT_DB_ALIAS, Error, connections

from lab.common import clock, fences
from lab.common.work.selectors import failed_items, last_heartbeat, waiting_since

#: A worker that hasn't shown itself for so long is taken for dead.
SILENCE_TOLERATED = timedelta(minutes=1)
#: Work that waits longer than this for a worker will be missed by somebody.
WAIT_TOLERATED = timedelta(minutes=15)


@dataclass(frozen=True, slots=True)
class Health:
    """What was found; ages in seconds, None where there is nothing to be old."""

    database: bool
    fences: bool = False
    oldest_wanted_s: float | None = None
    worker_silent_s: float | None = None
    failed_work: int = 0

    @property
    def worker(self) -> bool:
        silent = self.worker_silent_s
        return silent is not None and silent <= SILENCE_TOLERATED.total_seconds()

    @property
    def work(self) -> bool:
        waits = self.oldest_wanted_s
        return waits is None or waits <= WAIT_TOLERATED.total_seconds()

    @property
    def ok(self) -> bool:
        return self.database and self.fences and self.worker and self.work

    def described(self) -> dict[str, object]:
        """Return what the page says."""
        return {
            "ok": self.ok,
            "database": "reachable" if self.database else "not reachable",
            "fences": "standing" if self.fences else "not all standing",
            "worker": "alive" if self.worker else "silent",
            "worker_silent_s": self.worker_silent_s,
            "oldest_wanted_s": self.oldest_wanted_s,
            "failed_work": self.failed_work,
        }


def examine() -> Health:
    """Ask the database everything; where it doesn't answer, that is the answer."""
    try:
        return Health(
            database=True,
            fences=not fences.missing(connections[DEFAULT_DB_ALIAS]),
            oldest_wanted_s=_age_s(waiting_since()),
            worker_silent_s=_age_s(last_heartbeat()),
            failed_work=failed_items().count(),
        )
    except Error:
        return Health(database=False)


def _age_s(since: datetime | None) -> float | None:
    if since is None:
        return None
    return round(max((clock.now() - since).total_seconds(), 0.0), 1)
