"""Sessions of other systems that share a device with a failed check: to be decided."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.checks.models import ArtefactCheck
from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.jobs.models import MeasuringSession


class SuspicionTask(FrozenModel):
    """One session that a failed check of another system may bear on as well.

    The check may have failed for its tracker, its scanner or its artefact. Until a
    person has decided, certificates that lean on the session wait.
    """

    artefact_check = models.ForeignKey(
        ArtefactCheck, on_delete=models.PROTECT, related_name="suspicion_tasks"
    )
    session = models.ForeignKey(
        MeasuringSession, on_delete=models.PROTECT, related_name="suspicion_tasks"
    )
    shared = models.CharField(max_length=200, help_text="The devices that both used.")
    raised_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["artefact_check", "session"]
        constraints = [
            models.UniqueConstraint(
                fields=["artefact_check", "session"], name="suspicion_task_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.session} after check {self.artefact_check_id}"

    @property
    def is_open(self) -> bool:
        return not hasattr(self, "decision")


class TaskDecision(FrozenModel):
    """Whether the session is affected, and why."""

    class Outcome(models.TextChoices):
        UNAFFECTED = "unaffected", "Not affected"
        AFFECTED = "affected", "Affected: the session becomes suspect"

    task = models.OneToOneField(
        SuspicionTask, on_delete=models.PROTECT, related_name="decision"
    )
    outcome = models.CharField(max_length=20, choices=Outcome.choices)
    reason = models.TextField()
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    decided_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.task}: {self.outcome}"
