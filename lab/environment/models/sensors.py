"""Which sensor stands where, from when on."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models import Device
from lab.laboratory.models import Room


class SensorPlacement(FrozenModel):
    """A sensor stands in a room from an instant on, until the next row about it.

    Without a room it was taken out. Of two rows from the same instant on, the one
    recorded later counts: that is how a mistake is corrected.
    """

    sensor = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="placements"
    )
    room = models.ForeignKey(
        Room, on_delete=models.PROTECT, null=True, related_name="placements"
    )
    since = models.DateTimeField()
    position = models.CharField(
        max_length=120, blank=True, help_text="On the north wall, 1.5 m up, for one."
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["sensor", "since", "pk"]
        indexes = [
            models.Index(fields=["sensor", "since"], name="placement_by_sensor"),
            models.Index(fields=["room", "since"], name="placement_by_room"),
        ]

    def __str__(self) -> str:
        return f"{self.sensor.tag}: {self.room.name if self.room else 'taken out'}"
