"""Calibrations of devices as their certificates state them."""

from __future__ import annotations

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models.devices import Device
from lab.metrology.units import LENGTH, TEMPERATURE, TEMPERATURE_DIFFERENCE


class Calibration(FrozenModel):
    """One calibration of a device as its certificate states it.

    Recording it is one act, accepting it another: until a person has accepted it, the
    device is out of use. It counts from ``counts_from`` on and to the end of
    ``due_on``, both local days of the laboratory. Later values supersede earlier ones
    from their own first day.
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
        help_text="As recorded: no result is seen to fail what the lab requires."
    )
    notes = models.TextField(blank=True)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="superseded_by"
    )
    reason = models.TextField(blank=True, help_text="Why it is recorded anew.")
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

    @property
    def is_decided(self) -> bool:
        return hasattr(self, "acceptance")

    @property
    def is_rejected(self) -> bool:
        return self.is_decided and not self.acceptance.accepted

    @property
    def is_good(self) -> bool:
        """Tell whether a person accepted it, and nothing recorded speaks against it."""
        accepted = self.is_decided and self.acceptance.accepted
        return accepted and self.requirement_met


class Moment(models.TextChoices):
    """Whether a result is from before or after what was done to the device."""

    AS_FOUND = "as found", "As found"
    AS_LEFT = "as left", "As left"


class CalibratedValue(FrozenModel):
    """One value of a calibration with its uncertainty, at its reference temperature."""

    Moment = Moment

    class Measurand(models.TextChoices):
        LENGTH = "length", "Length or distance"
        DIAMETER = "diameter", "Diameter"
        FORM = "form", "Form"
        FLATNESS = "flatness", "Flatness"

    calibration = models.ForeignKey(
        Calibration, on_delete=models.PROTECT, related_name="values"
    )
    label = models.CharField(max_length=80, help_text="Length A–B, for one.")
    measurand = models.CharField(
        max_length=10, choices=Measurand.choices, default=Measurand.LENGTH
    )
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

    @property
    def is_dimension(self) -> bool:
        """Tell what grows with temperature from a form, which is a deviation."""
        return self.measurand in {self.Measurand.LENGTH, self.Measurand.DIAMETER}


class SensorCorrection(FrozenModel):
    """What is added to a sensor's reading at one calibrated point, with its U."""

    Moment = Moment

    calibration = models.ForeignKey(
        Calibration, on_delete=models.PROTECT, related_name="corrections"
    )
    moment = models.CharField(
        max_length=10, choices=Moment.choices, default=Moment.AS_LEFT
    )
    reading = QuantityField(TEMPERATURE)
    correction = QuantityField(TEMPERATURE_DIFFERENCE)
    expanded_u = QuantityField(TEMPERATURE_DIFFERENCE)
    coverage_factor_text = models.CharField(max_length=10, default="2")

    class Meta(FrozenModel.Meta):
        ordering = ["calibration", "moment", "reading_degc"]
        constraints = [
            models.UniqueConstraint(
                fields=["calibration", "moment", "reading_degc"],
                name="sensor_correction_once",
            )
        ]

    def __str__(self) -> str:
        return f"at {self.reading}: {self.correction}"

    @property
    def standard_u_k(self) -> Decimal:
        return self.expanded_u.value / Decimal(self.coverage_factor_text)


class CertificateFile(FrozenModel):
    """A digital certificate that was read for a device, before it is recorded."""

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="certificate_files"
    )
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    brought_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["device", "-pk"]

    def __str__(self) -> str:
        return f"{self.device.tag}: {self.file}"
