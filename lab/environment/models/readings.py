"""Readings of loggers: a row for each sensor, quantity and hour."""

from __future__ import annotations

from django.db import models

from lab.equipment.models import Device


class AirQuantity(models.TextChoices):
    """What a channel of a sensor measures. The value is what rows hold."""

    TEMPERATURE = "temperature", "Temperature"
    HUMIDITY = "humidity", "Relative humidity"

    @property
    def unit(self) -> str:
        """Return the unit in which its readings are kept."""
        return "°C" if self is AirQuantity.TEMPERATURE else "%"


class ReadingHour(models.Model):
    """The readings of one channel in one hour, as its sensor gave them.

    ``block`` holds them exactly (:mod:`lab.metrology.environment.packing`); nothing
    else is ever read for a statement of conformity. ``envelope`` is there in dense
    hours only. A row changes when a late reading joins it; no reading in it does.
    """

    sensor = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    quantity = models.CharField(max_length=12, choices=AirQuantity.choices)
    hour = models.IntegerField(help_text="Whole hours since 1970-01-01 00:00 UTC.")
    count = models.PositiveIntegerField()
    lowest = models.FloatField()
    highest = models.FloatField()
    mean = models.FloatField()
    block = models.BinaryField()
    envelope = models.BinaryField(default=b"")

    class Meta:
        ordering = ["sensor", "quantity", "hour"]
        constraints = [
            models.UniqueConstraint(
                fields=["sensor", "quantity", "hour"], name="reading_hour_once"
            ),
            models.CheckConstraint(
                condition=models.Q(count__gt=0), name="reading_hour_not_empty"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sensor_id} {self.quantity} {self.hour}: {self.count}"
