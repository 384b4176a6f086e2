"""Devices on their way to a calibration laboratory, and what stands in for them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from lab.common import clock
from lab.common.frozen import FrozenModel
from lab.equipment.models.devices import Device


class Provider(models.Model):
    """A calibration laboratory that the lab sends devices to."""

    name = models.CharField(max_length=120, unique=True)
    accreditation = models.CharField(max_length=120, blank=True)
    lead_days = models.PositiveSmallIntegerField(
        help_text="Days from sending a device until it is back, as a rule."
    )
    notes = models.TextField(blank=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Dispatch(FrozenModel):
    """A device sent away; until its return it is out of use."""

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="dispatches"
    )
    provider = models.ForeignKey(
        Provider, on_delete=models.PROTECT, related_name="dispatches"
    )
    sent_on = models.DateField()
    expected_back = models.DateField()
    carrier = models.CharField(max_length=120, help_text="Who carries it.")
    purpose = models.TextField()
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["device", "-sent_on", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(expected_back__gte=F("sent_on")),
                name="dispatch_days_in_order",
            )
        ]

    def __str__(self) -> str:
        return f"{self.device.tag} to {self.provider}"


class DispatchReturn(FrozenModel):
    """A device that came back, and in which condition."""

    dispatch = models.OneToOneField(
        Dispatch, on_delete=models.PROTECT, related_name="came_back"
    )
    returned_on = models.DateField()
    condition = models.TextField(help_text="As it was unpacked.")
    received_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    recorded_at = models.DateTimeField(default=clock.now, editable=False)

    class Meta(FrozenModel.Meta):
        ordering = ["dispatch"]

    def __str__(self) -> str:
        return f"{self.dispatch}: back"


class StandIn(models.Model):
    """A device that can take another's place, and what is different then."""

    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="stand_ins"
    )
    stand_in = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="+")
    difference = models.CharField(
        max_length=200, blank=True, help_text="What it can't do, or does otherwise."
    )

    class Meta:
        ordering = ["device", "stand_in__tag"]
        constraints = [
            models.UniqueConstraint(
                fields=["device", "stand_in"], name="stand_in_once"
            ),
            models.CheckConstraint(
                condition=~Q(device=F("stand_in")), name="stand_in_is_another"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.stand_in.tag} for {self.device.tag}"
