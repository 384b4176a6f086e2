"""Holds: reasons why a job may not go on, each cleared by a person with a reason."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.jobs.models.jobs import Job
from lab.jobs.models.sessions import MeasuringSession


class Hold(FrozenModel):
    """One hold. A cause raises one hold on a job, ever: the database sees to it."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="holds")
    session = models.ForeignKey(
        MeasuringSession, on_delete=models.PROTECT, null=True, related_name="holds"
    )
    cause_key = models.CharField(
        max_length=160, help_text="What raised it, such as suspect:check:17:session:4."
    )
    title = models.CharField(max_length=80)
    reason = models.TextField()
    raised_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="Empty where a finding raised it.",
    )
    raised_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["job", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "cause_key"], name="hold_once_a_cause"
            )
        ]

    def __str__(self) -> str:
        return f"{self.job}: {self.title}"


class HoldClearance(FrozenModel):
    """That a person cleared a hold, and why the job may go on."""

    hold = models.OneToOneField(
        Hold, on_delete=models.PROTECT, related_name="clearance"
    )
    reason = models.TextField()
    cleared_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    cleared_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.hold}, cleared"
