"""What air outside its limits did to the characteristics, as a person assessed it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.jobs.models import MeasuringSession
from lab.parts.models import Characteristic


class ConditionsAssessment(FrozenModel):
    """One assessment of a session's conditions: what was computed, and the decision."""

    class Outcome(models.TextChoices):
        STAND = "stand", "The results stand"
        NOT_USED = "not used", "The results are not used; measure anew"

    session = models.ForeignKey(
        MeasuringSession, on_delete=models.PROTECT, related_name="assessments"
    )
    outcome = models.CharField(max_length=10, choices=Outcome.choices)
    reason = models.TextField()
    reference_degc = models.FloatField()
    deviation_k = models.FloatField()
    u_k = models.FloatField()
    basis = models.TextField(help_text="What the bound rests on, as it was shown.")
    assessed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["session", "-pk"]

    def __str__(self) -> str:
        return f"{self.session}, conditions: {self.get_outcome_display().lower()}"


class AssessedCharacteristic(FrozenModel):
    """The bound on one characteristic, in µm, with its expanded uncertainty (k = 2)."""

    assessment = models.ForeignKey(
        ConditionsAssessment, on_delete=models.PROTECT, related_name="effects"
    )
    characteristic = models.ForeignKey(
        Characteristic, on_delete=models.PROTECT, related_name="+"
    )
    shift_um = models.FloatField()
    expanded_u_um = models.FloatField()
    tolerance_um = models.FloatField(null=True)

    class Meta(FrozenModel.Meta):
        ordering = ["assessment", "characteristic__position"]
        constraints = [
            models.UniqueConstraint(
                fields=["assessment", "characteristic"],
                name="assessed_characteristic_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.characteristic}: {self.shift_um:.1f} µm"
