"""Calibrations of devices as their certificates state them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models.devices import Device
from lab.metrology.units import LENGTH, TEMPERATURE


class Calibration(FrozenModel):
    """One calibration of a device as its certificate states it.

    It counts from ``counts_from`` on and to the end of ``due_on``, both local days of
    the laboratory. Later values supersede earlier ones from their own first day.
    """

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="calibrations"
    )
    calibrated_on = models.DateField()
    counts_from = models.DateField()
    due_on = models.DateField(help_text="The last day on which it is current.")
    certificate_number = models.CharField(max_length=80)
    provider = models.CharField(max_length=120)
    accreditation = models.CharField(
        max_length=120, blank=True, help_text="The provider's, for this quantity."
    )
    document = models.ForeignKey(
        StoredFile, on_delete=models.PROTECT, null=True, related_name="+"
    )
    adjusted = models.BooleanField(
        default=False, help_text="Adjusted or repaired at this calibration."
    )
    requirement_met = models.BooleanField(
        help_text="The results meet what the lab requires of this device."
    )
    notes = models.TextField(blank=True)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="superseded_by"
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["device", "-counts_from", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(counts_from__gte=F("calibrated_on"))
                & Q(due_on__gte=F("counts_from")),
                name="calibration_days_in_order",
            ),
            models.UniqueConstraint(
                fields=["device", "certificate_number"],
                condition=Q(supersedes=None),
                name="calibration_one_original",
            ),
        ]
        indexes = [
            models.Index(fields=["device", "counts_from"], name="calibration_by_day"),
            models.Index(fields=["due_on"], name="calibration_by_due"),
        ]

    def __str__(self) -> str:
        return f"{self.device.tag}: {self.certificate_number}"


class CalibratedValue(FrozenModel):
    """One value of a calibration with its uncertainty, at its reference temperature."""

    class Moment(models.TextChoices):
        AS_FOUND = "as found", "As found"
        AS_LEFT = "as left", "As left"

    calibration = models.ForeignKey(
        Calibration, on_delete=models.PROTECT, related_name="values"
    )
    label = models.CharField(max_length=80, help_text="Length A–B, for one.")
    moment = models.CharField(
        max_length=10, choices=Moment.choices, default=Moment.AS_LEFT
    )
    value = QuantityField(LENGTH)
    expanded_u = QuantityField(LENGTH)
    coverage_factor_text = models.CharField(max_length=10, default="2")
    temperature = QuantityField(TEMPERATURE)

    class Meta(FrozenModel.Meta):
        ordering = ["calibration", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["calibration", "label", "moment"],
                name="calibrated_value_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.label}: {self.value}"
