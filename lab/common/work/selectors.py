"""What is asked about work: what failed, how long it waits, whether anybody works."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Max, Min, QuerySet

from lab.common import clock
from lab.common.work.models import WorkerHeartbeat, WorkItem


def failed_items() -> QuerySet[WorkItem]:
    """Return what waits for a person's word, the latest failure first."""
    failed = WorkItem.objects.filter(state=WorkItem.State.FAILED)
    return failed.order_by("-finished_at", "-pk")


def waiting_since() -> datetime | None:
    """Return since when the oldest row has been ready for a worker, if one is."""
    ready = WorkItem.objects.filter(
        state=WorkItem.State.WANTED, not_before__lte=clock.now()
    )
    oldest: datetime | None = ready.aggregate(oldest=Min("not_before"))["oldest"]
    return oldest


def last_heartbeat() -> datetime | None:
    """Return when any worker last showed that it lives."""
    latest: datetime | None = WorkerHeartbeat.objects.aggregate(latest=Max("at"))[
        "latest"
    ]
    return latest
