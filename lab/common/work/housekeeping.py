"""Rows that have told their story go, so that the table stays small."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.conf import settings
from django.db.models import QuerySet

from lab.common import clock
from lab.common.work.kinds import all_kinds
from lab.common.work.models import WorkerHeartbeat, WorkItem

BATCH = 500
#: Ticks that come round many times a day say nothing worth a month's keeping.
FREQUENT = timedelta(hours=1)
FREQUENT_KEPT = timedelta(days=1)


def purge_done_work() -> int:
    """Delete done rows after their time, and the heartbeats of workers long gone."""
    now = clock.now()
    frequent = [
        name
        for name, kind in all_kinds().items()
        if kind.every and kind.every < FREQUENT
    ]
    purged = _purge(_done_before(now - settings.WORK_DONE_KEPT))
    purged += _purge(_done_before(now - FREQUENT_KEPT).filter(kind__in=frequent))
    WorkerHeartbeat.objects.filter(at__lt=now - FREQUENT_KEPT).delete()
    return purged


def _done_before(instant: datetime) -> QuerySet[WorkItem]:
    return WorkItem.objects.filter(state=WorkItem.State.DONE, finished_at__lt=instant)


def _purge(items: QuerySet[WorkItem]) -> int:
    """Delete in small batches: a long transaction would keep people waiting."""
    purged = 0
    while pks := list(items.values_list("pk", flat=True)[:BATCH]):
        purged += WorkItem.objects.filter(pk__in=pks).delete()[0]
    return purged
