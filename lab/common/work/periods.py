"""Periodic work: one row per kind and period, whoever inserts it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from lab.common import clock
from lab.common.work.kinds import Kind, all_kinds
from lab.common.work.models import WorkItem

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
OPEN = (WorkItem.State.WANTED, WorkItem.State.RUNNING)


def period_of(instant: datetime, every: timedelta) -> str:
    """Return the name of the period that an instant lies in: the time it began."""
    began = EPOCH + (instant - EPOCH) // every * every
    return began.isoformat().replace("+00:00", "Z")


class Ticks:
    """Remembers which periods this process has seen to, so that it asks seldom."""

    def __init__(self) -> None:
        self._seen: dict[str, str] = {}

    def insert_due(self) -> None:
        """Insert the row of each period that has begun, once among all workers.

        However many periods went by without a worker, the present one makes up for
        them. While an earlier tick is still open no further one is added to it.
        """
        for name, kind in all_kinds().items():
            if kind.every is None:
                continue
            period = period_of(clock.now(), kind.every)
            if self._seen.get(name) == period or _has_open_tick(name):
                continue
            self._seen[name] = period
            if _is_due(kind):
                row = WorkItem(kind=name, period=period)
                WorkItem.objects.bulk_create([row], ignore_conflicts=True)


def _has_open_tick(name: str) -> bool:
    ticks = WorkItem.objects.filter(kind=name, state__in=OPEN)
    return ticks.exclude(period="").exists()


def _is_due(kind: Kind) -> bool:
    return kind.due is None or kind.due()
