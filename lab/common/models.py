"""Records that every app leans on: the audit chain, stored files, work, numbers."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.common.running.models import DemoMarker
from lab.common.work.models import WorkerHeartbeat, WorkItem

__all__ = [
    "AuditEntry",
    "AuditSeal",
    "DemoMarker",
    "NumberSeries",
    "StoredFile",
    "WorkItem",
    "WorkerHeartbeat",
]


class AuditEntry(FrozenModel):
    """One thing done by one actor to one record, with the values that changed."""

    recorded_at = models.DateTimeField(default=clock.now, editable=False)
    verb = models.CharField(max_length=80)
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="Empty where the program itself acted.",
    )
    actor_name = models.CharField(max_length=200)
    subject_type = models.CharField(max_length=80)
    subject_id = models.CharField(max_length=40)
    subject_name = models.CharField(max_length=200)
    reason = models.TextField(blank=True)
    values_text = models.TextField(help_text="Canonical JSON: before and after.")

    class Meta(FrozenModel.Meta):
        indexes = [
            models.Index(
                fields=["subject_type", "subject_id", "id"], name="audit_by_subject"
            ),
            models.Index(fields=["recorded_at", "id"], name="audit_by_time"),
        ]

    def __str__(self) -> str:
        return f"{self.verb} {self.subject_name}"

    @property
    def words(self) -> str:
        """Return what was done as words: ``job.moved`` is "Job moved"."""
        return self.verb.replace(".", " ").replace("_", " ").capitalize()

    @property
    def has_values(self) -> bool:
        return self.values_text != '{"after":{},"before":{}}'

    def sealed_content(self) -> dict[str, Any]:
        """Return what the seal's digest covers: everything the entry says."""
        return {
            "id": self.pk,
            "recorded_at": self.recorded_at,
            "verb": self.verb,
            "actor": self.actor_id,
            "actor_name": self.actor_name,
            "subject": [self.subject_type, self.subject_id, self.subject_name],
            "reason": self.reason,
            "values": self.values_text,
        }


class AuditSeal(FrozenModel):
    """One link of the chain over the audit entries."""

    position = models.PositiveBigIntegerField(unique=True)
    entry = models.OneToOneField(
        AuditEntry, on_delete=models.PROTECT, related_name="seal"
    )
    digest = models.CharField(max_length=64)
    sealed_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.position}: {self.digest[:12]}"


class NumberSeries(models.Model):
    """The last number given in one series and year; see :mod:`lab.common.numbering`."""

    series = models.CharField(max_length=40)
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["series", "year"], name="number_series_once_a_year"
            )
        ]

    def __str__(self) -> str:
        return f"{self.series} {self.year}: {self.last}"
