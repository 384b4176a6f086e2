"""What the air of a room was like over a window, and what it is like now."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import OuterRef, QuerySet, Subquery

from lab.environment.models import SpotReading
from lab.equipment.models import Device
from lab.laboratory.models import Room
from lab.metrology.units import Quantity

#: How old a reading may be that still says what a room is like (common practice, no
#: source).
FRESH = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Conditions:
    """The air of a room in a window, as the readings in force tell of it.

    Lowest and highest are as typed. Humidity is None if no reading has it.
    """

    temperature_lowest: Quantity
    temperature_highest: Quantity
    humidity_lowest: Quantity | None
    humidity_highest: Quantity | None
    count: int
    first_at: datetime
    last_at: datetime
    sensors: tuple[Device, ...]


def readings_in_force(room: Room) -> QuerySet[SpotReading]:
    """Return a room's readings that no correction supersedes, newest first."""
    rows = SpotReading.objects.filter(room=room, superseded_by=None)
    return rows.select_related("sensor", "recorded_by").order_by("-at", "-pk")


def conditions(room: Room, start: datetime, end: datetime) -> Conditions | None:
    """Return what the air was like from an instant to another, both included."""
    readings = list(readings_in_force(room).filter(at__gte=start, at__lte=end))
    if not readings:
        return None
    temperatures = [one.temperature for one in readings]
    humidities = [one.humidity for one in readings if one.humidity is not None]
    sensors = {one.sensor_id: one.sensor for one in readings}
    return Conditions(
        temperature_lowest=min(temperatures, key=_value),
        temperature_highest=max(temperatures, key=_value),
        humidity_lowest=min(humidities, key=_value, default=None),
        humidity_highest=max(humidities, key=_value, default=None),
        count=len(readings),
        first_at=readings[-1].at,
        last_at=readings[0].at,
        sensors=tuple(sorted(sensors.values(), key=lambda sensor: sensor.tag)),
    )


def newest_readings(rooms: QuerySet[Room]) -> dict[int, SpotReading]:
    """Return the newest reading in force of each room, by the room's key."""
    newest = (
        SpotReading.objects.filter(room=OuterRef("pk"), superseded_by=None)
        .order_by("-at", "-pk")
        .values("pk")[:1]
    )
    keys = rooms.annotate(newest=Subquery(newest)).values_list("newest", flat=True)
    found = SpotReading.objects.select_related("sensor").in_bulk(
        [key for key in keys if key is not None]
    )
    return {reading.room_id: reading for reading in found.values()}


def _value(quantity: Quantity) -> Decimal:
    return quantity.value
