"""Saying in which span a sensor's readings are still to be looked through."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Max

from lab.common.work import enqueue
from lab.environment.models import NewReadings, ReadingHour
from lab.environment.times import instant_of
from lab.equipment.models import Device
from lab.metrology.environment.packing import HOUR_US


def note_new_readings(sensor: Device, first: datetime, last: datetime) -> None:
    """Say that a span is to be looked through; in the transaction that keeps it."""
    row, made = NewReadings.objects.get_or_create(
        sensor=sensor, defaults={"first_at": first, "last_at": last}
    )
    if not made:
        row.first_at, row.last_at = min(row.first_at, first), max(row.last_at, last)
        row.save(update_fields=["first_at", "last_at"])
    enqueue("environment.find_excursions", sensor.pk)


def note_placement(sensor: Device, since: datetime) -> None:
    """Say that what a sensor read since an instant belongs to another room now."""
    rows = ReadingHour.objects.filter(sensor=sensor)
    newest = rows.aggregate(newest=Max("hour"))["newest"]
    if newest is None:
        return
    last = instant_of((newest + 1) * HOUR_US)
    if last > since:
        note_new_readings(sensor, since, last)
