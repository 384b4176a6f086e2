"""What was found about a session's checks, calibrations and circumstances."""

from __future__ import annotations

from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.jobs.models import Hold, MeasuringSession


class Judgement(models.Model):
    """How a session stands by the lapse rules, and when to judge it again."""

    class State(models.TextChoices):
        RUNNING = "running", "Running"
        OPEN = "open", "Open: the closing check is still to come"
        BRACKETED = "bracketed", "Bracketed by passed checks"
        START_ONLY = "checked at start only", "Checked at its start only"
        FOUND = "found", "With findings"

    session = models.OneToOneField(
        MeasuringSession, on_delete=models.PROTECT, related_name="judgement"
    )
    state = models.CharField(max_length=30, choices=State.choices)
    findings_text = models.TextField(help_text="Canonical JSON: cause keys found now.")
    judged_at = models.DateTimeField()
    judge_again_at = models.DateTimeField(null=True, db_index=True)

    class Meta:
        ordering = ["session"]

    def __str__(self) -> str:
        return f"{self.session}: {self.state}"


class Finding(FrozenModel):
    """One finding on one session, written once for its cause; its hold stands by it."""

    session = models.ForeignKey(
        MeasuringSession, on_delete=models.PROTECT, related_name="findings"
    )
    name = models.CharField(max_length=40)
    cause_key = models.CharField(max_length=160)
    reason = models.TextField()
    window_from = models.DateTimeField(null=True)
    window_until = models.DateTimeField(null=True)
    hold = models.OneToOneField(Hold, on_delete=models.PROTECT, related_name="finding")
    found_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["session", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["session", "cause_key"], name="finding_once_a_cause"
            )
        ]

    def __str__(self) -> str:
        return f"{self.session}: {self.name}"
