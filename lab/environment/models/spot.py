"""What the air of a room was like: readings taken by hand from its sensor."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models import Device
from lab.laboratory.models import Room
from lab.metrology.units import HUMIDITY, TEMPERATURE


class SpotReading(FrozenModel):
    """Temperature and humidity of a room at one instant, read from one sensor."""

    room = models.ForeignKey(
        Room, on_delete=models.PROTECT, related_name="spot_readings"
    )
    sensor = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    temperature = QuantityField(TEMPERATURE)
    humidity = QuantityField(HUMIDITY, required=False)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="superseded_by"
    )
    reason = models.TextField(blank=True, help_text="Why an earlier one is corrected.")
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["room", "at"], name="spot_reading_by_room")]

    def __str__(self) -> str:
        return f"{self.room.name}: {self.temperature}"

    @property
    def is_superseded(self) -> bool:
        return hasattr(self, "superseded_by")
