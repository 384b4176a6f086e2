"""The items of a job: what came in, in which state, and that it went back."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.common.quantities import QuantityField
from lab.jobs.models.jobs import Job
from lab.metrology.units import AREA, LENGTH, MASS, TEMPERATURE


class JobItem(models.Model):
    """One thing to be measured, told from every other by its serial or tag."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="items")
    position = models.PositiveSmallIntegerField()
    serial = models.CharField(max_length=60)

    class Meta:
        ordering = ["job", "position"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "serial"], name="item_serial_once_a_job"
            )
        ]

    def __str__(self) -> str:
        return self.serial


class ItemReceipt(FrozenModel):
    """That an item came in: when, in which condition, how warm, where it was put."""

    item = models.OneToOneField(
        JobItem, on_delete=models.PROTECT, related_name="receipt"
    )
    at = models.DateTimeField()
    condition = models.CharField(max_length=200)
    damaged = models.BooleanField(default=False)
    temperature = QuantityField(TEMPERATURE, required=False)
    place = models.CharField(max_length=80)
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.item} received"


class ItemBody(FrozenModel):
    """What decides how fast an item takes up the room's temperature; the newest counts.

    ``stuff`` is a line of the handbook table of :mod:`lab.metrology.thermal`, for
    density, heat capacity and conductivity alone. Either the surface or the thickness
    of the walls is known.
    """

    item = models.ForeignKey(JobItem, on_delete=models.PROTECT, related_name="bodies")
    mass = QuantityField(MASS)
    stuff = models.CharField(max_length=40)
    surface = QuantityField(AREA, required=False)
    wall = QuantityField(LENGTH, required=False)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["item", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(surface_text="") ^ Q(wall_text=""),
                name="item_body_surface_or_wall",
            )
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.mass} of {self.stuff}"


class ItemReturn(FrozenModel):
    """That an item left the lab: when, in which condition, to whom."""

    item = models.OneToOneField(
        JobItem, on_delete=models.PROTECT, related_name="returning"
    )
    at = models.DateTimeField()
    condition = models.CharField(max_length=200)
    handed_to = models.CharField(max_length=120)
    returned_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        pass

    def __str__(self) -> str:
        return f"{self.item} returned"
