"""Which sensors stood in a room, and where a sensor stood."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from lab.common import clock
from lab.environment.models import SensorPlacement
from lab.equipment.models import Device
from lab.laboratory.models import Room


@dataclass(frozen=True, slots=True)
class Stay:
    """A stretch of time that a sensor spent at one place; ``end`` is open if None."""

    sensor: Device
    room: Room | None
    position: str
    start: datetime
    end: datetime | None


def stays_of(sensor: Device) -> list[Stay]:
    """Return where a sensor has stood, the earliest first."""
    rows = SensorPlacement.objects.filter(sensor=sensor)
    return _stays(rows.select_related("room__site", "sensor"))


def present_stays(sensors: QuerySet[Device]) -> list[tuple[Device, Stay | None]]:
    """Return sensors with where each stands now; None if it was never placed."""
    rows = SensorPlacement.objects.filter(sensor__in=sensors, since__lte=clock.now())
    stays = _stays(rows.select_related("room__site", "sensor"))
    latest = {stay.sensor.pk: stay for stay in stays}  # the last of each counts
    return [(sensor, latest.get(sensor.pk)) for sensor in sensors]


def sensors_in(room: Room, start: datetime, end: datetime) -> list[Stay]:
    """Return who stood in a room during [start, end), cut to that window."""
    ever = SensorPlacement.objects.filter(room=room, since__lt=end).values("sensor")
    rows = SensorPlacement.objects.filter(sensor__in=ever)
    found = []
    for stay in _stays(rows.select_related("room__site", "sensor")):
        first, last = max(stay.start, start), min(stay.end or end, end)
        if stay.room == room and first < last:
            found.append(Stay(stay.sensor, room, stay.position, first, last))
    return sorted(found, key=lambda stay: (stay.sensor.tag, stay.start))


def _stays(rows: Iterable[SensorPlacement]) -> list[Stay]:
    """Return stays, sensor by sensor; each row ends the one before."""
    by_sensor: dict[int, dict[datetime, SensorPlacement]] = {}
    for row in sorted(rows, key=lambda row: (row.sensor_id, row.since, row.pk)):
        # Of two from the same instant on, the one recorded later replaces the other.
        by_sensor.setdefault(row.sensor_id, {})[row.since] = row
    found = []
    for placements in by_sensor.values():
        ordered = list(placements.values())
        ends = [row.since for row in ordered[1:]] + [None]
        for row, end in zip(ordered, ends, strict=True):
            found.append(Stay(row.sensor, row.room, row.position, row.since, end))
    return found
