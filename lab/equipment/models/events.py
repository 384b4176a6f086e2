"""What is done to a device and what befalls it; and the maintenance that is planned."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models.devices import Device
from lab.laboratory.models import Room


class MaintenanceTask(models.Model):
    """Something that has to be done to a device every so many days."""

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="maintenance_tasks"
    )
    title = models.CharField(max_length=80)
    instructions = models.TextField(blank=True)
    every_days = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(3660)]
    )
    first_due_on = models.DateField()
    is_ended = models.BooleanField(default=False)
    created_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["device", "title", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(every_days__gte=1, every_days__lte=3660),
                name="maintenance_comes_round",
            )
        ]

    def __str__(self) -> str:
        return self.title

    def due_after(self, last_done_on: date | None) -> date:
        """Return the day by which it is due, from the day on which it was done last."""
        if last_done_on is None:
            return self.first_due_on
        return last_done_on + timedelta(days=self.every_days)


class DeviceEvent(FrozenModel):
    """One line of a device's log; what it changed stands beside what was before."""

    class Kind(models.TextChoices):
        MAINTENANCE = "maintenance", "Maintenance"
        ADJUSTMENT = "adjustment", "Adjustment"
        REPAIR = "repair", "Repair"
        MODIFICATION = "modification", "Modification"
        FIRMWARE = "firmware", "Firmware or software changed"
        DAMAGE = "damage", "Knock, fall or damage"
        MALFUNCTION = "malfunction", "Malfunction"
        MOVE = "move", "Moved to another room"
        TRANSPORT = "transport", "Transport"

    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    at = models.DateTimeField()
    note = models.TextField()
    task = models.ForeignKey(
        MaintenanceTask, on_delete=models.PROTECT, null=True, related_name="done"
    )
    firmware_before = models.CharField(max_length=60, blank=True)
    firmware_after = models.CharField(max_length=60, blank=True)
    room_before = models.ForeignKey(
        Room, on_delete=models.PROTECT, null=True, related_name="+"
    )
    room_after = models.ForeignKey(
        Room, on_delete=models.PROTECT, null=True, related_name="+"
    )
    may_measure_differently = models.BooleanField(
        help_text="Whether it breaks the chain of checks of systems with the device."
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["device", "-at", "-pk"]
        indexes = [models.Index(fields=["device", "at"], name="device_event_by_time")]

    def __str__(self) -> str:
        return f"{self.device}: {self.get_kind_display()}"


#: After these a device always may measure differently; no box takes that back.
ALWAYS_BREAKING: Final = frozenset(
    {
        DeviceEvent.Kind.ADJUSTMENT,
        DeviceEvent.Kind.REPAIR,
        DeviceEvent.Kind.MODIFICATION,
        DeviceEvent.Kind.FIRMWARE,
        DeviceEvent.Kind.DAMAGE,
        DeviceEvent.Kind.MOVE,
        DeviceEvent.Kind.TRANSPORT,
    }
)
