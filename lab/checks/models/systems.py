"""Measuring systems, and what may make them measure differently."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models import Device


class MeasuringSystem(models.Model):
    """A tracker and a scanner that measure together. Its row is the lock of its checks.

    Whoever records a check, a break or a finding of it, or issues a certificate that
    leans on it, locks this row first (DEVELOPERS.md, "Locks").
    """

    name = models.CharField(max_length=80, unique=True)
    tracker = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    scanner = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Break(FrozenModel):
    """Anything after which a system may measure differently."""

    class Kind(models.TextChoices):
        ADJUSTMENT = "adjustment", "Adjustment"
        REPAIR = "repair", "Repair"
        FIRMWARE = "firmware", "Firmware"
        FIELD_CALIBRATION = "field calibration", "Field calibration"
        KNOCK = "knock", "Knock or fall"
        TRANSPORT = "transport", "Transport"
        MOVE = "move", "Move to another place"

    #: Kinds that set the system anew, so that its control chart begins again.
    RESETTING = (Kind.ADJUSTMENT, Kind.REPAIR, Kind.FIRMWARE, Kind.FIELD_CALIBRATION)

    system = models.ForeignKey(
        MeasuringSystem, on_delete=models.PROTECT, related_name="breaks"
    )
    kind = models.CharField(max_length=20, choices=Kind.choices)
    at = models.DateTimeField()
    note = models.TextField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["system", "at"], name="break_by_system")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.system}"
