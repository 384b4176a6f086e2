"""What the lab requires of a device, and whether a calibration meets it."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models.calibrations import Calibration
from lab.equipment.models.devices import Device
from lab.metrology.units import LENGTH, TEMPERATURE_DIFFERENCE


class Requirement(FrozenModel):
    """What the lab requires of a device's calibration; the newest row speaks.

    For a length: how far the value may have moved from its reference, and how large
    its expanded uncertainty may be. For a sensor: how large a correction may be, and
    its expanded uncertainty. What can't be put in numbers stands in ``statement``.
    """

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="requirements"
    )
    statement = models.TextField(help_text="The requirement in words, and its source.")
    label = models.CharField(max_length=80, blank=True)
    reference = QuantityField(LENGTH, required=False)
    limit = QuantityField(LENGTH, required=False)
    largest_u = QuantityField(LENGTH, required=False)
    largest_correction = QuantityField(TEMPERATURE_DIFFERENCE, required=False)
    largest_correction_u = QuantityField(TEMPERATURE_DIFFERENCE, required=False)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["device", "-pk"]

    def __str__(self) -> str:
        return f"{self.device.tag}: {self.statement}"


class CalibrationAcceptance(FrozenModel):
    """A person's decision on a recorded calibration; without one it doesn't count."""

    calibration = models.OneToOneField(
        Calibration, on_delete=models.PROTECT, related_name="acceptance"
    )
    accepted = models.BooleanField()
    requirement = models.ForeignKey(
        Requirement, on_delete=models.PROTECT, null=True, related_name="+"
    )
    findings = models.TextField(help_text="Each comparison that was made, in words.")
    words = models.TextField(help_text="The decision, in the person's words.")
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    decided_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["calibration"]

    def __str__(self) -> str:
        return f"{self.calibration}: {'accepted' if self.accepted else 'rejected'}"
