"""Excursions of a room's air from its limits, and what people said of them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models import Device
from lab.laboratory.models import Room


class Excursion(models.Model):
    """A stretch in which a room was outside a limit, or in which readings miss.

    Found again each time that readings join the stretch: it then moves, or is no
    longer in force where the readings that came late tell otherwise. What was
    acknowledged is never deleted. An open one ran on to the newest reading.
    """

    class Kind(models.TextChoices):
        TEMPERATURE = "temperature", "Temperature"
        RATE = "rate", "Rate of change"
        HUMIDITY = "humidity", "Relative humidity"
        SPREAD = "spread", "Spread in the room"
        GAP = "gap", "Readings missing"

    class Side(models.TextChoices):
        ABOVE = "above", "above"
        BELOW = "below", "below"
        NONE = "", ""

    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="excursions")
    sensor = models.ForeignKey(
        Device,
        on_delete=models.PROTECT,
        null=True,
        related_name="+",
        help_text="Empty for the spread, which is between sensors.",
    )
    kind = models.CharField(max_length=12, choices=Kind.choices)
    side = models.CharField(max_length=5, choices=Side.choices, blank=True)
    start = models.DateTimeField()
    end = models.DateTimeField()
    is_open = models.BooleanField(default=False)
    worst = models.FloatField(null=True)
    worst_at = models.DateTimeField(null=True)
    limit = models.CharField(max_length=80, help_text="The limit, in words.")
    in_force = models.BooleanField(default=True)
    found_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["-start", "-pk"]
        indexes = [models.Index(fields=["room", "end"], name="excursion_by_room")]
        constraints = [
            models.CheckConstraint(
                condition=Q(end__gte=F("start")), name="excursion_times_in_order"
            )
        ]

    def __str__(self) -> str:
        return f"{self.room.name}: {self.get_kind_display().lower()}, {self.worst_text}"

    @property
    def unit(self) -> str:
        return {"temperature": "°C", "rate": "K/h", "humidity": "%", "spread": "K"}.get(
            self.kind, "min"
        )

    @property
    def worst_text(self) -> str:
        """Return the worst value with its unit; of a gap, how long it is."""
        if self.worst is None:
            return f"{(self.end - self.start).total_seconds() / 60:.0f} min"
        places = 0 if self.kind == self.Kind.HUMIDITY else 2
        return f"{self.worst:.{places}f} {self.unit}".replace("-", "\N{MINUS SIGN}")


class ExcursionNote(FrozenModel):
    """That somebody has seen an excursion as it was then, and what they say of it."""

    excursion = models.ForeignKey(
        Excursion, on_delete=models.PROTECT, related_name="notes"
    )
    note = models.TextField()
    seen_end = models.DateTimeField()
    noted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["excursion", "pk"]

    def __str__(self) -> str:
        return f"{self.excursion}: {self.note}"


class NewReadings(models.Model):
    """The span of a sensor's readings in which no excursion has been looked for yet.

    Widened in the transaction that keeps readings, and taken away in the one that
    writes what was found, so that a killed worker loses nothing.
    """

    sensor = models.OneToOneField(Device, on_delete=models.PROTECT, related_name="+")
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.sensor.tag}: {self.first_at} to {self.last_at}"
