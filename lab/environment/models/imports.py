"""Files of readings on their way into the archive, and how their sources write."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.common import clock
from lab.common.files.models import StoredFile
from lab.environment.logs.layout import Layout, layout_from
from lab.environment.logs.report import Told, told_from
from lab.environment.models.readings import AirQuantity
from lab.equipment.models import Device


class ReadingSource(models.Model):
    """A logger or a program that writes files, and how it was last found to write."""

    name = models.CharField(max_length=80, unique=True)
    layout_text = models.TextField(blank=True, help_text="Canonical JSON.")
    created_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def layout(self) -> Layout | None:
        return layout_from(self.layout_text) if self.layout_text else None


class ReadingImport(models.Model):
    """One file: looked at, confirmed, read in the background, published at once.

    ``run`` names the run that reads it now; a run that was overtaken or cancelled
    finds another name there and stops. Nothing of it is seen before it is done.
    """

    class State(models.TextChoices):
        LOOKED_AT = "looked at", "Waits for confirmation"
        WANTED = "wanted", "Waits for its turn"
        RUNNING = "running", "Being read"
        DONE = "done", "Imported"
        FAILED = "failed", "Failed"
        CANCELLED = "cancelled", "Cancelled"

    #: From where each state may be reached.
    TRANSITIONS = {
        State.WANTED: (State.LOOKED_AT, State.FAILED),
        State.RUNNING: (State.WANTED, State.RUNNING),
        State.DONE: (State.RUNNING,),
        State.FAILED: (State.WANTED, State.RUNNING),
        State.CANCELLED: (State.LOOKED_AT, State.WANTED, State.RUNNING, State.FAILED),
    }

    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    source = models.ForeignKey(
        ReadingSource, on_delete=models.PROTECT, related_name="imports"
    )
    name = models.CharField(max_length=200, help_text="What its sender called it.")
    state = models.CharField(
        max_length=12, choices=State.choices, default=State.LOOKED_AT
    )
    layout_text = models.TextField(blank=True, help_text="As confirmed.")
    run = models.CharField(max_length=32, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    bytes_read = models.PositiveBigIntegerField(default=0)
    rows_read = models.PositiveBigIntegerField(default=0)
    added = models.PositiveBigIntegerField(default=0)
    known = models.PositiveBigIntegerField(default=0)
    left_out = models.PositiveBigIntegerField(default=0)
    report_text = models.TextField(blank=True, help_text="Canonical JSON.")
    error = models.TextField(blank=True)
    uploaded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    uploaded_at = models.DateTimeField(default=clock.now, editable=False)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["-uploaded_at", "-pk"]
        indexes = [models.Index(fields=["uploaded_at", "id"], name="import_by_time")]

    def __str__(self) -> str:
        return self.name

    @property
    def layout(self) -> Layout | None:
        return layout_from(self.layout_text) if self.layout_text else None

    @property
    def report(self) -> Told | None:
        return told_from(self.report_text) if self.report_text else None

    @property
    def is_under_way(self) -> bool:
        return self.state in (self.State.WANTED, self.State.RUNNING)

    @property
    def may_be_cancelled(self) -> bool:
        return self.state in self.TRANSITIONS[self.State.CANCELLED]

    @property
    def percent(self) -> int:
        return min(100, 100 * self.bytes_read // max(self.file.size, 1))

    @property
    def shape(self) -> str:
        """Return the class of the state sign that goes with the state."""
        shapes = {"done": "state-good", "failed": "state-bad", "cancelled": "state-off"}
        return shapes.get(self.state, "state-wait")


class StagedHour(models.Model):
    """New readings of an import, by channel and hour, before anybody may see them."""

    reading_import = models.ForeignKey(
        ReadingImport, on_delete=models.CASCADE, related_name="staged"
    )
    run = models.CharField(
        max_length=32, help_text="Rows of a run that was overtaken are never used."
    )
    sensor = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    quantity = models.CharField(max_length=12, choices=AirQuantity.choices)
    hour = models.IntegerField()
    count = models.PositiveIntegerField()
    lowest = models.FloatField()
    highest = models.FloatField()
    mean = models.FloatField()
    block = models.BinaryField()
    envelope = models.BinaryField(default=b"")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["reading_import", "run", "sensor", "quantity", "hour"],
                name="staged_hour_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.reading_import_id}: {self.sensor_id} {self.quantity} {self.hour}"
