"""The rows that say what a worker is wanted for."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from lab.common import clock


class WorkItem(models.Model):
    """One piece of work: wanted, running under a lease, done or failed.

    The row is the queue: a message only nudges. Work about an object names its id;
    periodic work names its period instead, so that a missed tick is one row.
    """

    class State(models.TextChoices):
        WANTED = "wanted", "wanted"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"

    kind = models.CharField(max_length=80)
    object_id = models.BigIntegerField(default=0)
    period = models.CharField(max_length=40, blank=True)
    state = models.CharField(max_length=10, choices=State.choices, default=State.WANTED)
    wanted_at = models.DateTimeField(default=clock.now)
    not_before = models.DateTimeField(default=clock.now)
    attempts = models.PositiveSmallIntegerField(default=0)
    token = models.CharField(max_length=32, blank=True)
    lease_until = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    error = models.TextField(blank=True)

    class Meta:
        app_label = "common"
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "object_id"],
                condition=Q(state="wanted", period=""),
                name="work_wanted_once",
            ),
            models.UniqueConstraint(
                fields=["kind", "period"],
                condition=~Q(period=""),
                name="work_period_once",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "not_before"], name="work_by_state"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.period or self.object_id}: {self.state}"


class WorkerHeartbeat(models.Model):
    """When a worker last showed that it lives; old rows go with the done work."""

    name = models.CharField(max_length=120, unique=True)
    started_at = models.DateTimeField()
    at = models.DateTimeField()

    class Meta:
        app_label = "common"

    def __str__(self) -> str:
        return f"{self.name} at {self.at:%Y-%m-%d %H:%M:%S}"
