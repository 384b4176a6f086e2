"""Bars in view of a session: a test of the tracker's scale, kept with the session."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models import CalibratedValue, Device
from lab.jobs.models.sessions import MeasuringSession
from lab.metrology.units import LENGTH, TEMPERATURE


class ScaleTest(FrozenModel):
    """The scale of a session's system by the bars that were in view, as it came out.

    The tracker's own scale is kept; ``scale_error`` is m − 1. Nothing is scaled away.
    """

    session = models.ForeignKey(
        MeasuringSession, on_delete=models.PROTECT, related_name="scale_tests"
    )
    at = models.DateTimeField()
    thermometer = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    scale_error = models.FloatField()
    u_scale = models.FloatField()
    is_significant = models.BooleanField()
    is_consistent = models.BooleanField(null=True, help_text="Empty for a single bar.")
    longest_bar_mm = models.FloatField()
    words = models.TextField(help_text="The outcome in sentences, as it was shown.")
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.session}, scale by bars"

    @property
    def is_good(self) -> bool:
        return not self.is_significant and self.is_consistent is not False

    @property
    def word(self) -> str:
        if self.is_consistent is False:
            return "Bars contradict each other"
        return "Scale is off" if self.is_significant else "Scale stands"

    @property
    def shape(self) -> str:
        return "state-good" if self.is_good else "state-bad"


class ScaleTestBar(FrozenModel):
    """One bar of a test: what was read, and what that says by itself."""

    test = models.ForeignKey(ScaleTest, on_delete=models.PROTECT, related_name="bars")
    calibrated_value = models.ForeignKey(
        CalibratedValue, on_delete=models.PROTECT, related_name="+"
    )
    reading = QuantityField(LENGTH)
    reading_u = QuantityField(LENGTH)
    temperature = QuantityField(TEMPERATURE)
    scale_error = models.FloatField(help_text="Of this bar alone: m − 1.")
    weight = models.FloatField()

    class Meta(FrozenModel.Meta):
        ordering = ["test", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["test", "calibrated_value"], name="scale_test_bar_once"
            )
        ]

    def __str__(self) -> str:
        return f"{self.test}: {self.calibrated_value}"
