"""Every device of the lab: instruments, artefacts, sensors; and their status."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.laboratory.models import Room
from lab.metrology.units import EXPANSION


class DeviceKind(models.TextChoices):
    """What a device is."""

    TRACKER = "tracker", "Tracker"
    SCANNER = "scanner", "Scanner"
    SCALE_BAR = "scale bar", "Scale bar"
    BALL_BAR = "ball bar", "Ball bar"
    SPHERE = "sphere", "Sphere"
    STEP = "step artefact", "Step artefact"
    FLAT = "flat", "Flat artefact"
    CONTACT_THERMOMETER = "contact thermometer", "Contact thermometer"
    LOGGER = "logger", "Temperature and humidity logger"
    ROTARY_TABLE = "rotary table", "Rotary table"


ARTEFACTS = (
    DeviceKind.SCALE_BAR,
    DeviceKind.BALL_BAR,
    DeviceKind.SPHERE,
    DeviceKind.STEP,
    DeviceKind.FLAT,
)
#: Kinds that carry a calibration of their own; a table only has to turn.
CALIBRATED = tuple(kind for kind in DeviceKind if kind != DeviceKind.ROTARY_TABLE)


class Device(models.Model):
    """One device by the lab's own tag; status and calibrations are rows apart."""

    tag = models.SlugField(max_length=30, unique=True)
    kind = models.CharField(max_length=30, choices=DeviceKind.choices)
    name = models.CharField(max_length=80)
    maker = models.CharField(max_length=80, blank=True)
    type_name = models.CharField(max_length=80, blank=True)
    serial = models.CharField(max_length=60)
    firmware = models.CharField(max_length=60, blank=True)
    room = models.ForeignKey(
        Room, on_delete=models.PROTECT, null=True, related_name="devices"
    )
    expansion = QuantityField(EXPANSION, required=False)
    expansion_u = QuantityField(EXPANSION, required=False)
    laser_class = models.CharField(
        max_length=10, blank=True, help_text="To IEC 60825-1, from its label."
    )
    notes = models.TextField(blank=True)
    created_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["tag"]

    def __str__(self) -> str:
        return f"{self.tag} {self.name}"

    @property
    def is_artefact(self) -> bool:
        return self.kind in ARTEFACTS

    @property
    def needs_calibration(self) -> bool:
        return self.kind in CALIBRATED


class DeviceStatus(FrozenModel):
    """A device's status from an instant on; the newest row is the present one."""

    class Status(models.TextChoices):
        IN_SERVICE = "in service", "In service"
        RESTRICTED = "restricted", "Restricted"
        OUT_OF_SERVICE = "out of service", "Out of service"

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="statuses"
    )
    status = models.CharField(max_length=20, choices=Status.choices)
    reason = models.TextField()
    restriction = models.TextField(
        blank=True, help_text="What it may not be used for, or up to which limit."
    )
    at = models.DateTimeField(default=clock.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["device", "-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(status="restricted") ^ models.Q(restriction=""),
                name="only_restricted_has_a_restriction",
            )
        ]

    def __str__(self) -> str:
        return f"{self.device}: {self.status}"
