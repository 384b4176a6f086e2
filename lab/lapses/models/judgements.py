"""What was found about a session's checks, calibrations and circumstances."""

from __future__ import annotations

from django.db import models

from lab.checks.models import CheckProcedure, MeasuringSystem
from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.jobs.models import Hold, MeasuringSession


class Judgement(models.Model):
    """How a session stands by the lapse rules, and when to judge it again.

    ``state`` says how far it is bracketed, in the words of
    :class:`lab.metrology.bracketing.State`; ``word`` is what is shown: the worst that
    is found now, or else the state. Findings once written stay beside it.
    """

    session = models.OneToOneField(
        MeasuringSession, on_delete=models.PROTECT, related_name="judgement"
    )
    state = models.CharField(max_length=30)
    word = models.CharField(max_length=40)
    judged_at = models.DateTimeField()
    judge_again_at = models.DateTimeField(null=True, db_index=True)

    class Meta:
        ordering = ["session"]

    def __str__(self) -> str:
        return f"{self.session}: {self.word}"


class Bookmark(models.Model):
    """Up to where the checks and breaks of a system have been judged.

    Writers of a system's records take its lock, so their keys grow in the order in
    which they are committed; what lies beyond these keys is new.
    """

    system = models.OneToOneField(
        MeasuringSystem, on_delete=models.PROTECT, related_name="bookmark"
    )
    last_check = models.BigIntegerField(default=0)
    last_void = models.BigIntegerField(default=0)
    last_confirmation = models.BigIntegerField(default=0)
    last_break = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.system}, judged up to check {self.last_check}"


class Finding(FrozenModel):
    """One finding on one session, written once for its cause; its hold stands by it."""

    session = models.ForeignKey(
        MeasuringSession, on_delete=models.PROTECT, related_name="findings"
    )
    name = models.CharField(max_length=40)
    cause = models.CharField(
        max_length=80,
        db_index=True,
        help_text="The record behind it, such as check:17: one cause, many findings.",
    )
    procedure = models.ForeignKey(
        CheckProcedure,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="Whose next check bears on it.",
    )
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
