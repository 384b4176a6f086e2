"""Corrective actions: set down with their days, done, and looked at for effect."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.evidence.models.cases import Case


def _person() -> models.ForeignKey:  # type: ignore[type-arg]
    return models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )


class Action(FrozenModel):
    """Something to be done so that it does not happen again, and when to look."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="actions")
    what = models.TextField()
    responsible = _person()
    due_on = models.DateField()
    effect_due_on = models.DateField(help_text="When to look whether it helped.")
    added_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["case", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(effect_due_on__gte=F("due_on")),
                name="action_days_in_order",
            )
        ]

    def __str__(self) -> str:
        return f"{self.case}: {self.what[:60]}"


class ActionDone(FrozenModel):
    """That an action was taken, and what exactly was done."""

    action = models.OneToOneField(Action, on_delete=models.PROTECT, related_name="done")
    note = models.TextField()
    done_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.action}, done"


class EffectCheck(FrozenModel):
    """Whether an action helped, as somebody looked later."""

    action = models.OneToOneField(
        Action, on_delete=models.PROTECT, related_name="effect"
    )
    helped = models.BooleanField()
    note = models.TextField(help_text="What was looked at.")
    checked_by = _person()
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.action}, effect"
