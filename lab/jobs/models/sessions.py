"""Measuring sessions: stretches of measuring, paused and resumed, event by event."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from lab.checks.models import MeasuringSystem
from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.equipment.models import Device
from lab.jobs.models.items import JobItem
from lab.jobs.models.jobs import Job
from lab.laboratory.models import Room
from lab.metrology.units import TEMPERATURE


class MeasuringSession(models.Model):
    """A stretch of measuring on a job with one measuring system.

    ``state`` repeats what the events say, so that "which sessions run" is an index
    look-up and that two people can't both start what is paused.
    """

    class State(models.TextChoices):
        RUNNING = "running", "Running"
        PAUSED = "paused", "Paused"
        ENDED = "ended", "Ended"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="sessions")
    system = models.ForeignKey(
        MeasuringSystem, on_delete=models.PROTECT, related_name="sessions"
    )
    room = models.ForeignKey(Room, on_delete=models.PROTECT, related_name="sessions")
    items = models.ManyToManyField(JobItem, related_name="sessions")
    state = models.CharField(
        max_length=10, choices=State.choices, default=State.RUNNING
    )
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="sessions"
    )
    first_at = models.DateTimeField(help_text="Start of the first segment.")
    last_at = models.DateTimeField(help_text="The newest event said to have happened.")

    class Meta:
        ordering = ["-first_at", "-pk"]
        indexes = [
            models.Index(fields=["system", "first_at"], name="session_by_system"),
            models.Index(fields=["state"], name="session_by_state"),
        ]

    def __str__(self) -> str:
        return f"{self.job}, session {self.pk}"


class SessionEvent(FrozenModel):
    """Start, pause, resume or end of a session; a corrected time supersedes."""

    class Kind(models.TextChoices):
        START = "start", "Start"
        PAUSE = "pause", "Pause"
        RESUME = "resume", "Resume"
        END = "end", "End"

    session = models.ForeignKey(
        MeasuringSession, on_delete=models.PROTECT, related_name="events"
    )
    kind = models.CharField(max_length=10, choices=Kind.choices)
    at = models.DateTimeField()
    reason = models.TextField(blank=True)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="superseded_by"
    )
    said_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["session", "at", "pk"]

    def __str__(self) -> str:
        return f"{self.session}: {self.kind}"


class PartTemperature(FrozenModel):
    """How warm an item was at one instant, by contact; a correction supersedes."""

    item = models.ForeignKey(
        JobItem, on_delete=models.PROTECT, related_name="temperatures"
    )
    session = models.ForeignKey(
        MeasuringSession,
        on_delete=models.PROTECT,
        null=True,
        related_name="part_temperatures",
    )
    at = models.DateTimeField()
    temperature = QuantityField(TEMPERATURE)
    place = models.CharField(max_length=80, blank=True, help_text="Where on the item.")
    thermometer = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, related_name="superseded_by"
    )
    reason = models.TextField(blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["item", "-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.item}: {self.temperature}"
